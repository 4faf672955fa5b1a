"""What a plan promises between its samples. Checked with elbows of the spherical triangle, without motor angles.

The elbow lies in the span of u, p = R v and p x u: ``w = (x u + y p + s z p x u) / sin^2(psi)`` with
x = cos(alpha_1) - cos(alpha_2) cos(psi), y = cos(alpha_2) - cos(alpha_1) cos(psi) and z the root of D, since
(u x w) . p = w . (p x u). That follows from w . u, w . p and |w| = 1 alone (recomputed).
"""

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from common import FULL
from legloop import Convention, deg, inverse_kinematics, jacobian, reach_margin, rotation
from legloop.lesson.cases import bird_hide, random_joints, random_orientations
from legloop.reach import ball
from legloop.workshop.drive import BeltDrive
from legloop.workshop.motion import MotionError, MotionLimits, interpolate, plan, reachable
from legloop.workshop.motion.limits import Walls
from legloop.workshop.units import mm

HIDE = bird_hide()
DRIVE = BeltDrive(20, 60, pitch=2 * mm, centre_distance=60 * mm)
LOOKS = 500
EASY = MotionLimits(20, 1000, tick=0.01, edge=0.5 * deg, evenness=0.0)


def spherical(m, R, mode):
    """V, evenness and reach margin (n, 3) of poses (n, 3, 3), NaN where a leg does not close."""
    u, p = m.base_axes, np.einsum("nij,lj->nli", R, m.platform_axes)
    across, along = np.cross(p, u), (u * p).sum(axis=-1)
    psi = np.arctan2(np.linalg.norm(across, axis=-1), along)
    c1, c2 = np.cos(m.proximal), np.cos(m.distal)
    with np.errstate(invalid="ignore"):
        root = np.sqrt(1 - c1**2 - c2**2 - along**2 + 2 * c1 * c2 * along)
    x, y, z = c1 - c2 * along, c2 - c1 * along, np.asarray(mode) * root
    w = (x[..., None] * u + y[..., None] * p + z[..., None] * across) / (1 - along**2)[..., None]
    n = np.cross(w, p) / np.sin(m.distal)[:, None]
    K = n / (n * u).sum(axis=-1, keepdims=True)
    size = np.linalg.norm(K, axis=(1, 2))
    with np.errstate(invalid="ignore", divide="ignore"):
        volume = np.linalg.det(n)
        even = 3 / (size * np.linalg.norm(np.linalg.pinv(np.nan_to_num(K)), axis=(1, 2)))
    nearest = np.abs(m.proximal - m.distal)
    farthest = np.minimum(m.proximal + m.distal, 2 * np.pi - m.proximal - m.distal)
    return volume, even, np.minimum(psi - nearest, farthest - psi)


def pairs(joints, tries, seed):
    """Joints, modes and two poses each, all of whose shortest way between them lies within reach."""
    rng = np.random.default_rng(seed)
    for m in joints:
        mode = rng.choice([1, -1], 3)
        poses = random_orientations(200, seed=int(rng.integers(1 << 30)))
        poses = poses[(reach_margin(m, poses) > 2 * deg).all(axis=1)]
        for _ in range(tries if len(poses) > 2 else 0):
            ends = poses[rng.choice(len(poses), 2, replace=False)]
            way = rotation.angle_between(*ends)
            fine = interpolate(ends, [0, 1], np.linspace(0, 1, LOOKS + 1), path="slerp") if way < 2.5 else None
            if fine is not None and spherical(m, fine, mode)[2].min() > 0.6 * deg:
                yield m, mode, ends, fine


@pytest.mark.parametrize("singular", ["slow", "refuse"] if FULL else ["slow"])
def test_no_path_leads_through_a_singular_pose_of_type_2(singular):
    """Random joints and ways; where V changes sign is found by SciPy on the elbows of the spherical triangle."""
    crossed = kept = 0
    for m, mode, ends, fine in pairs(random_joints(60 if FULL else 16, seed=11), 4, seed=12):
        volume, even, margin = spherical(m, fine, mode)
        signs = np.flatnonzero(np.diff(np.sign(volume)))

        def at(t, m=m, mode=mode, ends=ends):
            return spherical(m, interpolate(ends, [0, 1], [t], path="slerp"), mode)[0][0]

        if len(signs):
            crossed += 1
            with pytest.raises(MotionError, match=r"(?s)type 2.*limp.*slower does not help") as caught:
                plan(m, ends, [0, 1], DRIVE, mode=mode, limits=EASY, path="slerp", singular=singular)
            faults = [fault for fault in caught.value.faults if fault.why == "type 2"]
            assert len(faults) == len(signs)
            for fault, k in zip(faults, signs, strict=True):
                assert fault.start == fault.stop == pytest.approx(brentq(at, k / LOOKS, (k + 1) / LOOKS), abs=1e-9)
                there = interpolate(ends, [0, 1], [fault.start], path="slerp")[0]
                # time is found to rounding; poses pass a root-like place at most 1e-9 / V' of it
                assert rotation.angle_between(rotation.from_rpy(*fault.rpy), there) < 1e-7
        elif np.abs(volume).min() > 1e-6:
            kept += 1
            report = plan(m, ends, [0, 1], DRIVE, mode=mode, limits=EASY, path="slerp", singular=singular).report
            for bound, values in ((report.volume, abs(volume)), (report.evenness, even), (report.reach_left, margin)):
                assert 0.93 * values.min() < bound <= values.min() * (1 + 1e-9)
    assert crossed > 10
    assert kept > 10


def crossing(seed):
    """A joint, a mode, and a pose of type 2 well within reach, with a turn that leads across it and one along it."""
    for m, mode, ends, fine in pairs(random_joints(12, seed=seed), 4, seed=seed + 1):
        signs = np.flatnonzero(np.diff(np.sign(spherical(m, fine, mode)[0])))
        if len(signs):
            t = brentq(
                lambda t, m=m, mode=mode, ends=ends: spherical(m, interpolate(ends, [0, 1], [t], path="slerp"), mode)[
                    0
                ][0],
                signs[0] / LOOKS,
                (signs[0] + 1) / LOOKS,
            )
            pose = interpolate(ends, [0, 1], [t], path="slerp")[0]
            slopes = []
            for axis in np.eye(3):
                step = rotation.from_axis_angle(axis, [1e-5, -1e-5])
                slopes.append(np.diff(spherical(m, step @ pose, mode)[0]).item() / -2e-5)
            yield m, mode, pose, np.array(slopes)


@pytest.mark.parametrize("depth", [1e-3, 1e-6])
def test_a_path_that_dips_through_type_2_and_back_between_two_looks_is_refused(depth):
    """There and back, past V = 0 by a milliradian or a microradian; turned round as far before it, it is accepted."""
    tried = 0
    for m, mode, pose, slopes in crossing(31):
        axis = slopes / np.linalg.norm(slopes)
        far = 0.05
        for sign, passes in ((1, True), (-1, False)):
            samples = rotation.from_axis_angle(axis, np.array([-far, sign * depth, -far])) @ pose
            fine = interpolate(samples, [0, 1, 2], np.linspace(0, 2, 2001), path="slerp")
            volume, _, margin = spherical(m, fine, mode)
            if margin.min() < 0.6 * deg or passes != bool((np.sign(volume) != np.sign(volume[0])).any()):
                continue  # here V is bent so much that the way across is another
            tried += 1
            kwargs = {"mode": mode, "limits": EASY, "path": "slerp", "singular": "slow"}
            if passes:
                with pytest.raises(MotionError, match="type 2") as caught:
                    plan(m, samples, [0, 1, 2], DRIVE, **kwargs)
                near = [fault for fault in caught.value.faults if fault.why == "type 2"]
                assert len(near) == 2
                assert near[0].start < 1 < near[1].start
            else:
                report = plan(m, samples, [0, 1, 2], DRIVE, **kwargs).report
                assert 0 < report.volume <= np.abs(volume).min()
    assert tried >= 6


@pytest.mark.parametrize("depth", [1e-4, 1e-6])
def test_a_path_that_dips_over_the_edge_between_two_looks_is_refused(depth):
    """Tilted towards leg 1, whose margin falls by as much as the tilt grows; the limit lies between two samples."""
    edge = 2 * deg
    limits = MotionLimits(20, 1000, tick=0.01, edge=edge, evenness=0.0)
    limit = brentq(lambda t: reach_margin(HIDE, rotation.ry(t)).min() - edge, 0.5, 70 * deg)
    beyond, inside = (rotation.ry(np.array([limit - 0.05, limit + d, limit - 0.05])) for d in (depth, -depth))
    with pytest.raises(MotionError, match=r"leg 1 is .*° short") as caught:
        plan(HIDE, beyond, [0, 1, 2], DRIVE, limits=limits, path="slerp")
    assert caught.value.faults[0].worst == pytest.approx(depth, rel=1e-3)
    assert edge <= plan(HIDE, inside, [0, 1, 2], DRIVE, limits=limits, path="slerp").report.reach_left <= edge + depth


@pytest.mark.parametrize("depth", [1e-6, 1e-7])
def test_an_edge_that_is_passed_with_no_sample_near_is_found_and_named(depth):
    """A smooth path whose largest tilt, sought by SciPy, lies between two samples, and depth past the limit."""
    limit = 66 * deg

    def highest(tilt):
        found = minimize_scalar(
            lambda t: -rotation.to_tilt_torsion(interpolate(path(tilt), [0, 1, 2, 3], [t])[0])[0],
            bounds=(1.1, 1.9),
            method="bounded",
            options={"xatol": 1e-12},
        )
        return float(found.x), -float(found.fun)

    def path(tilt):
        return rotation.ry(np.array([tilt - 0.1, tilt, tilt - 0.013, tilt - 0.1]))

    tilt = brentq(lambda x: highest(x)[1] - limit - depth, limit - 0.1, limit, xtol=1e-14)
    edge = float(reach_margin(HIDE, rotation.ry(limit)).min())
    limits = MotionLimits(20, 1000, tick=0.01, edge=edge, evenness=0.0)
    with pytest.raises(MotionError, match=r"leg 1 is .*° short") as caught:
        plan(HIDE, path(tilt), [0, 1, 2, 3], DRIVE, limits=limits)
    (fault,) = caught.value.faults
    assert fault.start == pytest.approx(highest(tilt)[0], abs=0.05)
    assert 0 < fault.worst <= depth * 1.001
    assert plan(HIDE, path(tilt - 2 * depth), [0, 1, 2, 3], DRIVE, limits=limits).report.reach_left >= edge


def test_the_bounds_of_a_ball_hold_in_it():
    """Poses at random in balls of every size, against the spherical triangle and the Jacobian."""
    rng = np.random.default_rng(3)
    signs = np.array([[1, 1, 1], [1, 1, -1], [1, -1, 1], [1, -1, -1]]).T
    for m in random_joints(10, seed=4):
        mode = rng.choice([1, -1], 3)
        R = random_orientations(400, seed=int(rng.integers(1 << 30)))
        rho = 10 ** rng.uniform(-5, -1, len(R))
        b = ball(m, mode, R, rho)
        known = b.least_volume > 0
        assert known.sum() > 20
        for _ in range(40):
            axis = rng.normal(size=(len(R), 3))
            turn = (
                axis / np.linalg.norm(axis, axis=1, keepdims=True) * (rho * rng.uniform(size=len(R)) ** 0.2)[:, None]
            )
            near = rotation.from_rotation_vector(turn) @ R
            volume, even, margin = (values[known] for values in spherical(m, near, mode))
            assert (np.sign(volume) == np.sign(b.volume[known])).all()
            assert (np.abs(volume) >= b.least_volume[known]).all()
            assert (even >= b.least_evenness[known]).all()
            assert (margin >= b.least_margin.T[known]).all()
            J = jacobian(m, near[known], inverse_kinematics(m, near[known], mode), singular="nan")
            gain = np.linalg.norm(J @ signs, axis=1).max(axis=1)
            assert (gain <= b.most_gain[known])[~np.isnan(gain)].all()


def flight(count=1000):
    times = np.arange(count) * 0.02
    return rotation.from_rpy(*(0.4 * np.sin(times / period) for period in (1.0, 1.4, 1.9))), times


TRAVEL = np.stack([HIDE.home_angles() - 1.5, HIDE.home_angles() + 1.5], axis=1)


@pytest.mark.parametrize(
    ("request_", "keywords", "hint"),
    [
        (lambda R: R, {"mode": (-1, 1, 1)}, "with mode=(1, 1, 1)"),
        (lambda R: R, {"convention": Convention(sense=(-1, -1, -1))}, "if the motors counted the other way"),
        (lambda R: rotation.from_quaternion(rotation.to_quaternion(R)[:, [3, 0, 1, 2]]), {}, "scalar_first=True"),
        (lambda R: rotation.from_quaternion(rotation.to_quaternion(R)[:, [1, 2, 3, 0]]), {}, "scalar_first=False"),
    ],
)
def test_where_every_sample_fails_the_refusal_asks_for_what_was_mixed_up(request_, keywords, hint, monkeypatch):
    def searched(*_args, **_kwargs):
        raise AssertionError("nobody asked for the nearest path")

    monkeypatch.setattr(reachable, "nearest_orientations", searched)
    samples, times = flight()
    limits = MotionLimits(2, 20, tick=0.01, travel=TRAVEL)
    with pytest.raises(MotionError, match="every sample breaks a limit") as caught:
        plan(HIDE, request_(samples), times, DRIVE, limits=limits, **keywords)
    assert hint in str(caught.value)
    assert "nearest" not in str(caught.value)
    plan(HIDE, samples, times, DRIVE, limits=limits)


def test_a_fault_names_its_pose_in_the_frames_of_the_machine():
    machine = Convention(rotation.ry(0.3), rotation.rx(-0.4), (2, 0, 1), (1, -1, 1), (0.2, -0.5, 1.0))
    samples = rotation.ry(np.array([0, 40, 75]) * deg)
    faults = []
    for convention in (None, machine):
        seen = samples if convention is None else machine.orientation_to_theirs(samples)
        with pytest.raises(MotionError, match="short of the reach") as caught:
            plan(HIDE, seen, [0, 1, 2], DRIVE, limits=EASY, convention=convention)
        faults.append(caught.value.faults[0])
    pose = rotation.from_rpy(*faults[0].rpy)
    np.testing.assert_allclose(rotation.from_rpy(*faults[1].rpy), machine.orientation_to_theirs(pose), atol=1e-9)


@pytest.mark.parametrize("seed", [0, 3, 6, 7, 11])
def test_the_deviation_is_a_bound_of_how_far_the_path_was_moved(seed):
    """Against the plan's own path: twenty thousand looks, and the greatest of them sharpened by SciPy."""
    rng = np.random.default_rng(seed)
    times = np.cumsum(rng.uniform(0.3, 0.8, 8))
    samples = rotation.from_rotation_vector(rng.normal(size=(8, 3)) * 0.45)
    limits = MotionLimits(20, 1000, tick=0.01, evenness=0.0)
    made = plan(HIDE, samples, times, DRIVE, limits=limits, unreachable="nearest")
    joint = reachable.Joint(HIDE, np.array([1, 1, 1]), Walls.of(limits, Convention()))
    moved, moments, bound = reachable.reachable_path(joint, samples, times, "smooth")
    assert bound == made.report.deviation > 0

    def off(t):
        t = np.clip(np.atleast_1d(t), times[0], times[-1])
        return rotation.angle_between(interpolate(moved, moments, t), interpolate(samples, times, t))

    t = np.linspace(times[0], times[-1], 20001)
    k = int(np.argmax(off(t)))
    sharp = minimize_scalar(
        lambda x: -off(x).item(),
        bounds=(t[max(k - 1, 0)], t[min(k + 1, 20000)]),
        method="bounded",
        options={"xatol": 1e-12},
    )
    most = max(off(t).max(), -sharp.fun)
    assert most <= bound <= most * 1.01 + 2e-4
