"""Certificates over cones of orientations: none refuted by samples, none given where the joint fails, witnesses true.

Samples by default; LEGLOOP_FULL=1 takes more than a million.
"""

from functools import cache
from importlib import import_module

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.optimize import brentq
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from common import FULL, everyday_and_edge_joints
from legloop import (
    WORKING_MODES,
    Links,
    Mechanism,
    certify,
    clearance,
    deg,
    inverse_kinematics,
    largest_tilt,
    leg,
    reach_margin,
    rotation,
    singularity,
)
from legloop.lesson.cases import bird_hide, named_joints, random_joints
from legloop.reach import bounds, cone
from poses import normals
from test_clearance import nearest, sampled_bodies

SAMPLES = 60_000 if FULL else 4_000  # for each of some twenty joints
STEPS = 400
COAXIAL = named_joints()["coaxial"]
ODD = {
    name: Mechanism.symmetric(**{key: angle * deg for key, angle in sizes.items()})
    for name, sizes in {
        "equal links": {"proximal": 80, "distal": 80, "base_cone": 45, "platform_cone": 50},
        "links of 180° together": {"proximal": 100, "distal": 80, "base_cone": 45, "platform_cone": 50},
        "arcs near 180°": {"proximal": 175, "distal": 172, "base_cone": 80, "platform_cone": 92},
        "tiny first link": {"proximal": 2, "distal": 85, "base_cone": 45, "platform_cone": 50},
        "motors above": {"proximal": 60, "distal": 75, "base_cone": 180, "platform_cone": 70},
        "twist of 100°": {"proximal": 80, "distal": 85, "base_cone": 40, "platform_cone": 50, "twist": 100},
    }.items()
}
JOINTS = [*everyday_and_edge_joints(), *(pytest.param(m, id=name) for name, m in ODD.items())]
SIZES = Links(radius=(0.062, 0.054), half_width=0.01, thickness=0.005, motors=(0.07, 0.11, 0.016), floor=-0.12)


def orientations(tilt, azimuth, torsion):
    """By SciPy, from the definition."""
    return Rotation.from_euler("ZYZ", np.stack([azimuth, tilt, torsion - azimuth], axis=-1)).as_matrix()


def sampled(c, count, seed):
    """Points of the set of a certificate, a third of them on its boundary."""
    rng = np.random.default_rng(seed)
    tilt = c.tilt * np.where(rng.random(count) < 0.33, 1.0, rng.random(count))
    pull = np.where(rng.random(count) < 0.33, rng.integers(0, 2, count), rng.random(count))
    return tilt, rng.uniform(-np.pi, np.pi, count), c.torsion[0] + pull * (c.torsion[1] - c.torsion[0])


def unit_volume(m, R, theta):
    return np.linalg.det(normals(m, R, theta) / np.sin(m.distal)[:, None])


def followed(m, c, points):
    """Motor angles at points, carried from the start in small steps: each the root that is nearest to the last."""
    tilt, azimuth, torsion = points
    theta = np.broadcast_to(c.start, (len(tilt), 3))
    for t in np.linspace(0, 1, STEPS):  # both angles at once, unlike the path that the certificate follows
        R = orientations(t * tilt, azimuth, c.start_torsion + t * (torsion - c.start_torsion))
        theta = inverse_kinematics(m, R, c.mode, near=theta)
    return theta


@cache
def certificates(m, seed):
    """Proved certificates of m in several modes, tilts and torsions."""
    rng = np.random.default_rng(seed)
    found = []
    for mode in WORKING_MODES[rng.permutation(8)[:3]]:
        middle = 0.0 if rng.random() < 0.6 else rng.uniform(-2, 2)
        for tilt, half in zip(rng.uniform(0, 70 * deg, 3), rng.choice([0.0, 5 * deg, 40 * deg], 3), strict=True):
            c = certify(m, mode, tilt=tilt, torsion=(middle - half, middle + half), budget=20_000)
            if c.proved:
                found.append(c)
    return found


@pytest.mark.parametrize("m", JOINTS[:: 1 if FULL else 2])
def test_no_certificate_is_refuted_by_samples(m):
    found = certificates(m, seed=40)
    for k, c in enumerate(found):
        points = sampled(c, SAMPLES // len(found), seed=41 + k)
        R = orientations(*points)
        assert (reach_margin(m, R) > 0).all()
        theta = inverse_kinematics(m, R, c.mode)
        # the certificate accounts for rounding in its own bounds; 1e-13 is that of the check
        assert (leg.discriminant(*m.leg_equation(R)) >= c.least_discriminant - 1e-13).all()
        assert (np.abs(unit_volume(m, R, theta)) >= c.least_volume - 1e-13).all()
        few = slice(0, 60)
        theta = followed(m, c, [x[few] for x in points])
        assert (theta >= c.travel[:, 0] - 1e-9).all()
        assert (theta <= c.travel[:, 1] + 1e-9).all()


def test_enough_certificates_are_proved_for_that_test_to_mean_something():
    joints = [*named_joints().values(), *random_joints(12, seed=20)]
    assert sum(len(certificates(m, seed=40)) > 0 for m in joints) >= 8


@pytest.mark.parametrize("m", JOINTS)
def test_a_cone_that_fails_is_never_proved_and_the_witness_is_true(m):
    """Cones that hold a sampled orientation at which some leg does not close."""
    rng = np.random.default_rng(42)
    tilt, azimuth, torsion = rng.uniform(0, 2.5, 400), rng.uniform(-np.pi, np.pi, 400), rng.uniform(-0.5, 0.5, 400)
    short = (reach_margin(m, orientations(tilt, azimuth, torsion)) < -1e-3).any(axis=1)
    # the joint with all arcs 90° closes everywhere
    assert short.any() or (m.proximal == 90 * deg).all()
    for k in np.flatnonzero(short)[:4]:
        low, high = sorted((0.0, torsion[k]))
        c = certify(m, (1, -1, 1), tilt=tilt[k], torsion=(low, high), budget=100_000)
        assert not c.proved
        assert c.status == "refuted"
        check_witness(m, c)


def check_witness(m, c, links=None):
    """It lies in the set, and fails in the way that the reason says."""
    tilt, _, torsion = c.witness_point
    assert 0 <= tilt <= c.tilt + 1e-12
    assert c.torsion[0] - 1e-12 <= torsion <= c.torsion[1] + 1e-12
    assert_allclose(c.witness, orientations(*(np.array(x) for x in c.witness_point)), atol=1e-14)
    at = int(next(word for word in c.reason.split() if word.isdigit())) - 1 if "coplanar" not in c.reason else None
    if "does not close" in c.reason:
        assert reach_margin(m, c.witness)[at] < 0
    elif "folded" in c.reason or "stretched" in c.reason:
        assert abs(reach_margin(m, c.witness)[at]) < 1e-7  # the root of a rounded D
    elif "mm apart" in c.reason:
        assert clearance(m, c.witness, inverse_kinematics(m, c.witness, c.mode), links).least < c.gap
    elif "motor" in c.reason:
        theta = followed(m, c, [np.array([x]) for x in c.witness_point])[0, at]
        assert not c.motor_limits[at, 0] <= theta <= c.motor_limits[at, 1]
    else:
        theta = inverse_kinematics(m, c.witness, c.mode)
        assert abs(unit_volume(m, c.witness, theta)) < 1e-12  # bisected to neighbouring floats
    assert np.isnan(c.least_discriminant).all()
    assert np.isnan(c.travel).all()
    assert np.isnan(c.least_volume)
    assert np.isnan(c.least_clearance)


def test_a_cone_with_a_singularity_of_type_2_is_refuted_by_a_coplanar_pose():
    m = named_joints()["first link 90°"]
    c = certify(m, (1, 1, 1), tilt=48 * deg, torsion=(-10 * deg, 10 * deg))
    assert c.status == "refuted"
    assert "coplanar" in c.reason
    check_witness(m, c)


def test_a_joint_that_is_singular_everywhere_is_refuted():
    """Platform cone 0: the three platform axes are one axis, and all normals lie in the plane across it."""
    m = Mechanism.symmetric(proximal=60 * deg, distal=75 * deg, base_cone=80 * deg, platform_cone=0)
    c = certify(m, (1, 1, 1), tilt=5 * deg, torsion=(0, 0))
    assert c.status == "refuted"
    assert "coplanar" in c.reason
    check_witness(m, c)


@pytest.mark.parametrize(("side", "second", "how"), [(1, 70, "folded upon itself"), (-1, 110, "stretched")])
def test_a_leg_that_lies_flat_at_one_pose_only_is_found(hide, side, second, how):
    """Links of leg 1 equal, or 180° together, and its platform axis 20° from the motor axis, or from its opposite.

    There D touches zero and nowhere changes its sign; neither samples nor signs can show it.
    """
    axes = hide.platform_axes.copy()
    axes[0] = side * rotation.ry(-20 * deg) @ hide.base_axes[0]
    m = Mechanism(hide.base_frames, axes, np.array([70, 60, 60]) * deg, np.array([second, 75, 75]) * deg)
    assert certify(m, (1, 1, -1), tilt=19 * deg, torsion=(0, 0)).proved
    c = certify(m, (1, 1, -1), tilt=21 * deg, torsion=(0, 0))
    assert c.status == "refuted"
    assert c.reason.startswith(f"leg 1 is {how} at the witness")
    assert abs(c.witness_point[0] - 20 * deg) < 1e-7
    check_witness(m, c)


@pytest.mark.parametrize("seed", range(8))
def test_a_flat_leg_is_found_wherever_it_lies(hide, seed):
    """One leg, any pose inside the set: nothing there is on the middle or at a corner of a box."""
    rng = np.random.default_rng(100 + seed)
    side, at = (1, -1)[seed % 2], rng.integers(3)
    tilt, azimuth, torsion = rng.uniform((5 * deg, -np.pi, -0.3), (40 * deg, np.pi, 0.3))
    first = rng.uniform(60, 85)
    axes, proximal, distal = hide.platform_axes.copy(), hide.proximal.copy(), hide.distal.copy()
    axes[at] = side * orientations(tilt, azimuth, torsion).T @ hide.base_axes[at]
    proximal[at], distal[at] = first * deg, (first if side > 0 else 180 - first) * deg
    m = Mechanism(hide.base_frames, axes, proximal, distal)
    ends = min(torsion, 0) - 0.02, max(torsion, 0) + 0.02
    for mode in WORKING_MODES:
        c = certify(m, mode, tilt=tilt + 2 * deg, torsion=ends, budget=100_000)
        assert c.status == "refuted"
        assert c.reason.startswith(f"leg {at + 1} is {'folded upon itself' if side > 0 else 'stretched'}")
        check_witness(m, c)


@pytest.mark.parametrize("mode", [(1, 1, 1), (1, 1, -1), (-1, 1, -1), (-1, -1, -1)])
@pytest.mark.parametrize("half", [0, 10, 170])
def test_a_home_that_is_singular_is_a_witness_at_once(mode, half):
    """Links 60° and 75°, platform axes 135° from motor axes that all point down: stretched at every torsion."""
    sizes = {"proximal": 60 * deg, "distal": 75 * deg, "base_cone": 0, "platform_cone": 45 * deg}
    m = Mechanism.symmetric(**sizes)
    c = certify(m, mode, tilt=0, torsion=(-half * deg, half * deg))
    assert c.status == "refuted"
    assert c.boxes <= 4
    assert "stretched" in c.reason
    check_witness(m, c)
    theta = inverse_kinematics(m, c.witness, mode)
    assert singularity(m, c.witness, theta).kind in (1, 3)


@pytest.mark.parametrize(
    ("sizes", "tilt", "how"),
    [
        # motor axes at azimuth eta and platform axes gamma + beta apart: 75° - 60° folded, 60° + 75° stretched
        ({"base_cone": 100, "platform_cone": 65}, 0, "folded"),
        ({"base_cone": 45, "platform_cone": 50}, 50, "stretched"),  # at the edge of the cone, in three directions
        ({"base_cone": 100, "platform_cone": 45}, 20, "folded"),
        ({"base_cone": 130, "platform_cone": 50, "distal": 60}, 0, "folded"),  # R v along u: any angle closes
    ],
)
def test_singular_poses_on_the_border_and_in_the_middle_are_witnesses_at_once(sizes, tilt, how):
    m = Mechanism.symmetric(**{key: x * deg for key, x in {"proximal": 60, "distal": 75, **sizes}.items()})
    c = certify(m, (1, 1, 1), tilt=tilt * deg, torsion=(0, 0))
    assert c.status == "refuted"
    assert c.boxes <= 100
    assert how in c.reason
    check_witness(m, c)


def test_a_limit_that_is_reached_exactly_is_left_undecided_without_spending_the_budget(hide):
    """The motor of leg 1 turns farthest at tilt 20° in one direction, which is no corner of a box."""
    free = certify(hide, (1, 1, 1), tilt=20 * deg, torsion=(0, 0))
    azimuth = np.linspace(-np.pi, np.pi, 400_001)
    R = orientations(np.full_like(azimuth, 20 * deg), azimuth, np.zeros_like(azimuth))
    most = inverse_kinematics(hide, R, near=free.start)[:, 0].max()  # to 1e-10 of its square
    limits = free.travel + np.array([-0.1, 0.1])
    limits[0, 1] = most
    c = certify(hide, (1, 1, 1), tilt=20 * deg, torsion=(0, 0), motor_limits=limits)
    assert c.status in ("undecided", "refuted")
    assert c.boxes < 100_000


def test_a_margin_of_nothing_is_left_undecided():
    """A cone up to the very edge of reach: the last digits decide, and the answer says so."""
    edge = largest_numeric_tilt(bird_hide())
    for tilt, status in ((edge - 1e-4, "proved"), (edge + 1e-4, "refuted")):
        assert certify(bird_hide(), (1, 1, 1), tilt=tilt, torsion=(0, 0)).status == status
    c = certify(bird_hide(), (1, 1, 1), tilt=edge - 1e-13, torsion=(0, 0))
    assert c.status == "undecided"
    assert c.boxes < 20_000
    assert "zero but for rounding" in c.reason
    assert len(c.undecided) > 0


def largest_numeric_tilt(m):
    """The tilt at torsion 0 where some leg first stops closing, by a root finder on each of many azimuths."""
    first = np.inf
    for azimuth in np.arange(-180, 180, 7.5) * deg:

        def margin(tilt, azimuth=azimuth):
            return reach_margin(m, orientations(np.array(tilt), np.array(azimuth), np.array(0.0))).min()

        grid = np.linspace(0, np.pi, 181)
        signs = np.array([margin(t) for t in grid])
        if (signs < 0).any():
            k = int(np.argmax(signs < 0))
            first = min(first, brentq(margin, grid[k - 1], grid[k], xtol=1e-15))
    return first


def test_largest_tilt_of_the_bird_hide_is_that_of_a_dense_search(hide):
    found = largest_tilt(hide, (1, 1, 1))
    # its volume of the normals stays away from 0 up to there, so that reach alone decides
    assert found.tilt <= largest_numeric_tilt(hide) <= found.beyond.tilt
    assert found.beyond.tilt - found.tilt <= 0.01 * deg
    assert found.certificate.proved
    assert found.certificate.tilt == found.tilt
    check_witness(hide, found.beyond)
    assert abs(found.tilt / deg - 50) < 0.01


def test_largest_tilt_says_when_there_is_none(hide):
    out_of_reach = largest_tilt(hide, (1, 1, 1), torsion=(np.pi, np.pi))
    assert np.isnan(out_of_reach.tilt)
    assert out_of_reach.certificate is None
    assert out_of_reach.beyond.status == "refuted"
    limited = largest_tilt(hide, (1, 1, 1), motor_limits=(-90 * deg, -60 * deg), resolution=0.1 * deg)
    assert 10 * deg < limited.tilt < 20 * deg
    assert "motor" in limited.beyond.reason
    check_witness(hide, limited.beyond)


def test_largest_tilt_says_what_is_open_where_the_budget_ends_before_the_proof():
    """All arcs 90°: on the circle of tilt 90° D and volume fall to zero; a proof near it takes very many boxes."""
    m = named_joints()["all arcs 90°"]
    found = largest_tilt(m, (1, 1, 1), resolution=0.1 * deg, budget=20_000)
    assert found.certificate.proved
    assert found.beyond.status == "undecided"
    assert 0 < found.beyond.tilt - found.tilt <= 0.1 * deg
    assert found.refuted.status == "refuted"
    check_witness(m, found.refuted)
    assert found.tilt < found.beyond.tilt < found.refuted.witness_point[0] <= 90.1 * deg
    more = largest_tilt(m, (1, 1, 1), resolution=0.1 * deg, budget=100_000)
    assert found.tilt < more.tilt < found.refuted.witness_point[0]


def test_largest_tilt_looks_at_a_few_times_its_budget_of_boxes(monkeypatch):
    """Equal arcs 75° and 105°: near the folded pose the proof takes ever more boxes."""
    m = Mechanism.symmetric(proximal=75 * deg, distal=105 * deg, base_cone=90 * deg, platform_cone=15 * deg)
    seen, largest = [], import_module("legloop.reach.largest")
    whole = largest.attempt

    def counted(*args, **more):
        seen.append(whole(*args, **more))
        return seen[-1]

    monkeypatch.setattr(largest, "attempt", counted)
    found = largest_tilt(m, (1, 1, 1), torsion=(-20 * deg, 20 * deg), budget=10_000)
    assert sum(c.boxes for c in seen) < 4 * 10_000
    assert found.beyond.tilt - found.tilt <= 0.01 * deg
    assert found.certificate.proved
    assert found.tilt < found.refuted.witness_point[0]


def test_largest_tilt_gives_the_witness_as_what_stops_it_where_it_is_near(hide):
    found = largest_tilt(hide, (1, 1, 1), resolution=0.1 * deg)
    assert found.refuted is found.beyond


def test_sharp_margins_are_given_up_before_the_proof_is(hide):
    """3000 boxes prove what sharp margins take 8000 for."""
    poor, rich = (
        certify(hide, (1, 1, 1), tilt=46 * deg, torsion=(-20 * deg, 20 * deg), budget=n) for n in (3000, 100_000)
    )
    assert poor.proved
    assert poor.boxes <= 3000 < rich.boxes
    assert 0 < poor.least_volume <= rich.least_volume
    assert (poor.travel[:, 0] <= rich.travel[:, 0] + 0.1 * deg).all()  # as sharp as `travel` says


def test_a_smaller_set_than_a_proved_one_is_proved(hide):
    big = certify(hide, (1, -1, 1), tilt=20 * deg, torsion=(-10 * deg, 15 * deg))
    assert big.proved
    rng = np.random.default_rng(43)
    for _ in range(20):
        ends = np.sort(rng.uniform(*big.torsion, 2))
        small = certify(hide, (1, -1, 1), tilt=rng.uniform(0, big.tilt), torsion=ends)
        assert small.proved
        # each bound is within a tenth, and 0.1°, of what the samples of its own run met
        assert (small.least_discriminant >= 0.9 * big.least_discriminant - 1e-12).all()
        if ends[0] <= 0 <= ends[1]:
            assert (small.travel[:, 0] >= big.travel[:, 0] - 0.1 * deg).all()
            assert (small.travel[:, 1] <= big.travel[:, 1] + 0.1 * deg).all()


def test_margins_are_as_sharp_as_they_say(hide):
    c = certify(hide, (1, 1, 1), tilt=30 * deg, torsion=(-20 * deg, 20 * deg))
    points = sampled(c, 20_000, seed=44)
    R = orientations(*points)
    theta = inverse_kinematics(hide, R, near=c.start)
    assert (leg.discriminant(*hide.leg_equation(R)).min(axis=0) * 0.88 <= c.least_discriminant).all()
    assert np.abs(unit_volume(hide, R, theta)).min() * 0.88 <= c.least_volume
    assert_allclose(np.stack([theta.min(axis=0), theta.max(axis=0)], axis=1), c.travel, atol=0.5 * deg)


def test_motor_limits_are_respected_and_shown(hide):
    free = certify(hide, (1, 1, 1), tilt=20 * deg, torsion=(-5 * deg, 5 * deg))
    room = 1 * deg * np.array([-1, 1])
    roomy = certify(hide, (1, 1, 1), tilt=20 * deg, torsion=(-5 * deg, 5 * deg), motor_limits=free.travel + room)
    assert roomy.proved
    assert (roomy.travel[:, 0] >= roomy.motor_limits[:, 0]).all()
    assert (roomy.travel[:, 1] <= roomy.motor_limits[:, 1]).all()
    for motor in range(3):
        tight = free.travel + room
        tight[motor, 1] -= 2 * deg
        c = certify(hide, (1, 1, 1), tilt=20 * deg, torsion=(-5 * deg, 5 * deg), motor_limits=tight)
        assert c.status == "refuted"
        assert f"motor {motor + 1}" in c.reason
        check_witness(hide, c)


def test_motor_angles_pass_180_degrees_without_a_jump():
    """The coaxial joint: a torsion turns all motors by as much, to the other side, for as many turns as one likes."""
    for low, high in ((-200, 200), (-360, 360), (0, 300), (-300, -120)):
        c = certify(COAXIAL, (1, 1, 1), tilt=10 * deg, torsion=(low * deg, high * deg))
        still = certify(COAXIAL, (1, 1, 1), tilt=10 * deg, torsion=(0, 0))
        assert c.proved
        home = COAXIAL.home_angles()
        turned = -np.array([high, low]) * deg  # u points down
        near = min(max(low, 0), high)
        if near == 0:
            assert_allclose(c.start, home, atol=1e-12)
        swing = still.travel - home[:, None]
        expected = c.start[:, None] + near * deg + turned + [swing.min(), swing.max()]
        assert_allclose(c.travel, expected, atol=0.25 * deg)  # two bounds of 0.1°, and legs that differ by rounding
        limits = c.travel + np.array([-1e-3, 1e-3])
        assert certify(COAXIAL, (1, 1, 1), tilt=10 * deg, torsion=c.torsion, motor_limits=limits).proved
        limits[0, 0] += 10 * deg
        c = certify(COAXIAL, (1, 1, 1), tilt=10 * deg, torsion=c.torsion, motor_limits=limits)
        assert c.status == "refuted"
        check_witness(COAXIAL, c)


@pytest.mark.parametrize("m", JOINTS[:: 1 if FULL else 2])
def test_motor_angles_are_followed_as_they_are_in_small_steps(m):
    for c in certificates(m, seed=40):
        points = np.stack(sampled(c, 40, seed=49))
        signs = np.array(c.mode, dtype=float)
        told = c.start + bounds.followed(m, signs, c.least_discriminant, c.start_torsion, points).T
        # the arccos of a fold near 0 or pi keeps half the digits
        assert_allclose(told, followed(m, c, points), atol=1e-7)


def test_the_branch_without_home_is_named(hide):
    c = certify(hide, (1, 1, 1), tilt=5 * deg, torsion=(10 * deg, 20 * deg))
    assert c.proved
    assert c.start_torsion == 10 * deg
    assert_allclose(c.start, inverse_kinematics(hide, rotation.rz(10 * deg)), atol=1e-14)
    assert certify(hide, (1, 1, 1), tilt=5 * deg, torsion=(-10 * deg, 20 * deg)).start_torsion == 0


def test_a_set_of_one_orientation(hide):
    c = certify(hide, (-1, 1, 1), tilt=0, torsion=(0, 0))
    assert c.proved
    theta = hide.home_angles((-1, 1, 1))
    assert_allclose(c.travel, theta[:, None] * [1, 1], atol=1e-11)
    assert_allclose(c.least_volume, np.abs(unit_volume(hide, np.eye(3), theta)), atol=1e-11)


def test_the_text_speaks_in_degrees(hide):
    text = repr(certify(hide, (1, -1, 1), tilt=15 * deg, torsion=(-5 * deg, 0)))
    assert text.startswith("proved: tilt up to 15°, torsion -5° to 0°, mode +1 -1 +1; ")
    assert "leg 2: least D" in text
    assert "witness: tilt " in repr(certify(hide, (1, 1, 1), tilt=80 * deg, torsion=(0, 0)))


def test_an_exhausted_budget_is_undecided_and_gives_back_boxes_of_the_set(hide):
    c = certify(hide, (1, 1, 1), tilt=30 * deg, torsion=(-10 * deg, 10 * deg), budget=30)
    assert c.status == "undecided"
    assert not c.proved
    assert "budget of 30" in c.reason
    low, high = np.moveaxis(c.undecided, -1, 0)
    assert (low <= high).all()
    assert (low[:, 0] >= -1e-12).all()
    assert (high[:, 0] <= 30 * deg + 1e-12).all()
    assert c.boxes <= 30


def test_the_radius_of_a_box_holds_all_of_it_and_no_less_would_do():
    rng = np.random.default_rng(45)
    reached = 0.0
    for _ in range(500):
        centre = rng.uniform([0, -np.pi, -2], [np.pi, np.pi, 2])
        half = rng.uniform(0, 0.3, 3) * rng.integers(0, 2, 3)
        half[0] = min(half[0], centre[0], np.pi - centre[0])
        box = cone.Boxes(centre[:, None], half[:, None])
        turn = rotation.angle_between(orientations(*centre[:, None]), orientations(*cone.samples(box)))
        rho = cone.radius(box)[0]
        assert turn.max() <= rho + 1e-12
        reached = max(reached, turn.max() / rho if rho > 0 else 0)
    assert reached > 0.999


def test_boxes_are_cut_without_loss(hide):
    front = cone.cone(0.7, -0.2, 0.5)
    volume = np.prod(2 * front.half, axis=0).sum()
    for _ in range(6):
        front = cone.halves(front)
    assert front.centre.shape[1] == 4 * 2**6
    assert_allclose(np.prod(2 * front.half, axis=0).sum(), volume, rtol=1e-13)
    ends = front.ends()
    assert_allclose(ends.min(axis=(1, 2)), [0, -np.pi, -0.2], atol=1e-14)
    assert_allclose(ends.max(axis=(1, 2)), [0.7, np.pi, 0.5], atol=1e-14)
    expected = hide.platform_axes_at(orientations(*front.centre))
    # three turns, each rounded, made in another order
    assert_allclose(np.transpose(cone.axes_at(front.centre, hide.platform_axes), (2, 1, 0)), expected, atol=2e-15)


@pytest.mark.parametrize("m", JOINTS)
def test_bounds_over_balls_hold_for_orientations_drawn_from_them(m):
    """Random balls of every size: D, motor angle, and volume of all that closes inside stay within their bounds."""
    rng = np.random.default_rng(46)
    mode = rng.choice([-1, 1], 3)
    R = Rotation.random(300, random_state=47).as_matrix()
    R = R[(reach_margin(m, R) > 0.5 * deg).all(axis=1)]
    p = np.transpose(m.platform_axes_at(R), (2, 1, 0))
    rho = 10 ** rng.uniform(-4, -0.5, len(R))
    least = bounds.closing_bound(m, bounds.span(m, p), rho)
    good = (least > bounds.LEAST).all(axis=0)
    at = bounds.pose(m, p, mode.astype(float))
    moves = bounds.motor_bound(m, np.maximum(least, bounds.LEAST), rho)
    volume = bounds.volume_bound(m, at, np.maximum(least, bounds.LEAST), rho)
    assert_allclose(at.theta.T, inverse_kinematics(m, R, mode), atol=1e-12)
    for _ in range(40):
        axis = rng.normal(size=(len(R), 3))
        axis *= (rho * rng.choice([1.0, 0.5], len(R)) / np.linalg.norm(axis, axis=1))[:, None]
        near = Rotation.from_rotvec(axis).as_matrix() @ R
        assert (least - 1e-14 <= leg.discriminant(*m.leg_equation(near)).T).all()
        theta = inverse_kinematics(m, near[good], mode, near=at.theta.T[good])
        small = (moves < np.pi).all(axis=0)[good]  # where the nearest angle is the continued one
        assert (np.abs(theta.T - at.theta[:, good])[:, small] <= moves[:, good][:, small]).all()
        assert (np.abs(unit_volume(m, near[good], theta)) >= volume[good] - 1e-13).all()


@pytest.mark.parametrize("m", JOINTS)
def test_no_point_of_a_link_moves_farther_than_told(m):
    rng = np.random.default_rng(61)
    R = Rotation.random(400, random_state=62).as_matrix()
    R = R[(reach_margin(m, R) > 1 * deg).all(axis=1)]
    mode = rng.choice([-1, 1], 3)
    rho = 10 ** rng.uniform(-3, -0.7, len(R))
    least = bounds.closing_bound(m, bounds.span(m, np.transpose(m.platform_axes_at(R), (2, 1, 0))), rho)
    good = (least > bounds.LEAST).all(axis=0)
    R, rho, least = R[good], rho[good], least[:, good]
    told = bounds.link_moves(m, bounds.motor_bound(m, least, rho), rho)
    theta = inverse_kinematics(m, R, mode)
    axis = rng.normal(size=(len(R), 3))
    near = Rotation.from_rotvec(axis * (rho / np.linalg.norm(axis, axis=1))[:, None]).as_matrix() @ R

    def points(R, theta):
        """(6, 9, n, 3): links, places along each, poses."""
        u = np.broadcast_to(m.base_axes, (len(R), 3, 3))
        w, p = m.elbow_axes(theta), m.platform_axes_at(R)
        shares = np.linspace(0, 1, 9)[:, None, None, None]
        found = []
        for a, b, arc in ((u, w, m.proximal), (w, p, m.distal)):
            arc = arc[:, None]
            found.append((np.sin((1 - shares) * arc) * a + np.sin(shares * arc) * b) / np.sin(arc))
        return np.stack(found, axis=3).transpose(2, 3, 0, 1, 4).reshape(6, 9, len(R), 3)

    here, there = points(R, theta), points(near, inverse_kinematics(m, near, mode))
    moved = 2 * np.arcsin(np.minimum(np.linalg.norm(here - there, axis=-1) / 2, 1))
    assert (moved.max(axis=1) <= told).all()


def test_clearance_is_proved_and_samples_do_not_refute_it(hide):
    for tilt, torsion, mode in ((30, 20, (1, 1, 1)), (45, 0, (1, 1, 1)), (30, 20, (-1, -1, -1))):
        asked = {"tilt": tilt * deg, "torsion": (-torsion * deg, torsion * deg)}
        c = certify(hide, mode, **asked, links=SIZES, gap=1e-3)
        assert c.proved
        assert c.reason.endswith("and so do links and base")
        R = orientations(*sampled(c, SAMPLES, seed=63))
        least = clearance(hide, R, inverse_kinematics(hide, R, mode), SIZES).least.min()
        assert c.gap <= c.least_clearance <= least
        assert f"at least {1000 * c.least_clearance:.4g} mm apart" in repr(c)
        assert c.least_clearance > 0.8 * least  # sharp to a tenth of the least at a few samples of its own
        closer = certify(hide, mode, **asked, links=SIZES, gap=least + 1e-4)
        assert closer.status == "refuted"
        assert "mm asked for" in closer.reason
        check_witness(hide, closer, SIZES)


def test_points_of_the_bodies_keep_the_proved_clearance(hide):
    """Bodies filled with points, at the nearest of many poses: a route without `clearance` in the distance."""
    c = certify(hide, (1, 1, 1), tilt=30 * deg, torsion=(-20 * deg, 20 * deg), links=SIZES, gap=1e-3)
    R = orientations(*sampled(c, 4000, seed=66))
    theta = inverse_kinematics(hide, R)
    told = clearance(hide, R, theta, SIZES).least
    for k in np.argsort(told)[:2]:
        links, motors, coarse = sampled_bodies(hide, R[k], theta[k], SIZES)
        trees = [cKDTree(points) for points in links]
        pairs = [(a, links[b]) for a in range(6) for b in range(a) if a // 2 != b // 2]
        pairs += [(a, motors[i]) for a in range(6) for i in range(3) if a != 2 * i]
        near = [nearest(trees[a], points, told[k] + coarse) for a, points in pairs]
        near += [points[:, 2].min() - SIZES.floor for points in links]
        assert c.least_clearance <= min(near) <= told[k] + coarse


@pytest.mark.parametrize("m", JOINTS[:: 1 if FULL else 3])
def test_no_clearance_is_refuted_by_samples(m):
    """Thin links at six radii for every joint that has a certificate; then the same links, wide."""
    shells = np.array([[0.04, 0.05], [0.06, 0.07], [0.08, 0.09]])
    for k, c in enumerate(certificates(m, seed=40)[:: 1 if FULL else 3]):
        for width in (0.002, 0.02):
            links = Links(radius=shells, half_width=width, thickness=0.003, motors=(0.1, 0.12, 0.01), floor=-0.11)
            asked = {"tilt": c.tilt, "torsion": c.torsion, "links": links, "budget": 5_000}
            found = certify(m, c.mode, **asked, gap=0.004)
            if found.status == "refuted":
                check_witness(m, found, links)
            if found.proved:
                R = orientations(*sampled(c, SAMPLES // 4, seed=64 + k))
                least = clearance(m, R, inverse_kinematics(m, R, c.mode), links).least
                assert (least >= found.least_clearance).all()
                assert found.least_clearance >= 0.004


def test_largest_tilt_with_links_ends_where_they_come_near(hide):
    asked = {"torsion": (0, 15 * deg), "resolution": 0.5 * deg, "budget": 5_000}
    found = largest_tilt(hide, (1, 1, 1), **asked, links=SIZES, gap=2e-3)
    assert found.tilt < largest_tilt(hide, (1, 1, 1), **asked).tilt - 1 * deg
    assert "mm apart" in found.refuted.reason
    check_witness(hide, found.refuted, SIZES)
    assert "links and base at least " in repr(found.certificate)


def test_slack_grows_with_axes_that_are_not_quite_unit(hide):
    off = Mechanism(hide.base_frames, hide.platform_axes * (1 + 5e-7), hide.proximal, hide.distal)
    assert bounds.slack(hide) < 1e-13
    assert bounds.slack(off) > 1e-6
    c = certify(off, (1, 1, 1), tilt=20 * deg, torsion=(0, 0))
    R = orientations(*sampled(c, 2000, seed=48))
    assert (leg.discriminant(*off.leg_equation(R)) >= c.least_discriminant).all()


def ask(**changed):
    given = {"tilt": 20 * deg, "torsion": (0, 0), **changed}
    mode = given.pop("mode", (1, 1, 1))
    return lambda: certify(bird_hide(), mode, **given)


@pytest.mark.parametrize(
    ("call", "kind", "message"),
    [
        (ask(tilt=30), ValueError, r"tilt is 30 rad.*\[0, pi\).*30\*deg"),
        (ask(tilt=-0.1), ValueError, r"tilt is -0\.1"),
        (ask(tilt=np.pi), ValueError, r"tilt is 3\.14.*\[0, pi\)"),
        (ask(tilt=[0.1, 0.2]), ValueError, r"tilt has shape \(2,\)"),
        (ask(tilt=np.nan), ValueError, r"tilt is nan"),
        (ask(tilt=None), TypeError, r"tilt is None"),
        (ask(torsion=(-20, 20)), ValueError, r"torsion\[0\] is -20 rad.*-20\*deg"),
        (ask(torsion=(0.2, -0.2)), ValueError, r"torsion runs from 0\.2 to -0\.2.*lower end first"),
        (ask(torsion=0.2), ValueError, r"torsion has shape \(\)"),
        (ask(torsion=(0, 361 * deg)), ValueError, r"torsion\[1\].*\[-2 pi, 2 pi\]"),
        (ask(mode=(1, 0, 1)), ValueError, r"mode\[1\] is 0"),
        (ask(mode=WORKING_MODES), ValueError, r"mode has shape \(8, 3\).*one mode"),
        (ask(motor_limits=(-150, 150)), ValueError, r"motor_limits\[0\] is -150 rad.*-150\*deg"),
        (ask(motor_limits=(1, -1)), ValueError, r"motor_limits of motor 1 run from 1 to -1"),
        (ask(motor_limits=(1, 2, 3)), ValueError, r"motor_limits has shape \(3,\)"),
        (ask(motor_limits=np.zeros((2, 2))), ValueError, r"motor_limits has shape \(2, 2\).*\(3, 2\)"),
        (ask(motor_limits=(-np.inf, 1)), ValueError, r"motor_limits\[0\] is -inf"),
        (ask(links=SIZES), TypeError, r"links and gap go together"),
        (ask(gap=0.002), TypeError, r"links and gap go together"),
        (ask(links=0.06, gap=0.002), TypeError, r"links must be a Links, not an object of type float"),
        (ask(links=SIZES, gap=0), ValueError, r"gap is 0 m; it must be positive"),
        (ask(links=SIZES, gap=(1, 2)), ValueError, r"gap has shape \(2,\); it is one number"),
        (ask(links=SIZES, gap=np.nan), ValueError, r"gap is nan"),
        (ask(budget=0), ValueError, r"budget is 0; it must be at least 1"),
        (ask(budget=1e6), TypeError, r"budget is 1000000\.0; it is a count and must be a whole number"),
        (lambda: certify("hide", (1, 1, 1), tilt=0.1, torsion=(0, 0)), TypeError, r"Mechanism.*'hide'"),
        (lambda: largest_tilt(bird_hide(), (1, 1, 1), resolution=0), ValueError, r"resolution is 0 rad"),
        (lambda: largest_tilt(bird_hide(), (1, 1, 1), torsion=(-20, 20)), ValueError, r"torsion\[0\] is -20"),
    ],
)
def test_malformed_calls_are_refused(call, kind, message):
    with pytest.raises(kind, match="(?s)" + message):
        call()


def test_a_certificate_is_the_same_each_time(hide):
    one, other = (certify(hide, (1, 1, 1), tilt=25 * deg, torsion=(-0.1, 0.2)) for _ in range(2))
    assert repr(one) == repr(other)
    assert_array_equal(one.travel, other.travel)
