"""Calibration from measured poses: planted errors come back with honest error bars, faults are named.

Seeded sessions are made here with SciPy's rotations. Few by default; LEGLOOP_FULL=1 takes hundreds.
"""

import ast
import re
from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import quad
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation
from scipy.stats import chi

from common import FULL
from legloop import Convention, Mechanism, closure_error, deg, fit_convention, inverse_kinematics, rotation
from legloop.lesson.cases import bird_hide, named_joints, random_joints
from legloop.workshop.calibration import calibrate, pose_errors, robust
from legloop.workshop.calibration.problem import GROUPS, Closures, Data, Unknowns, state_of
from legloop.workshop.calibration.words import in_words

TRIALS = 500 if FULL else 36
HIDE = bird_hide()
FRAMES = ("zero", "base", "platform")
ARCS = (*FRAMES, "proximal", "distal")
TOOTH = 6 * deg  # 60 teeth on the joint
GOOD = {"sensor_error": 0.05 * deg, "motor_error": 0.02 * deg}  # a jig with a protractor, instead of a phone


def turn(vector):
    return Rotation.from_rotvec(vector).as_matrix()


def poses(m, count, rng, tilt=25 * deg):
    """Orientations near home, (count, 3, 3), that m reaches in mode +1."""
    found = np.empty((0, 3, 3))
    while len(found) < count:
        azimuth, torsion = rng.uniform(-np.pi, np.pi, 200), rng.uniform(-20, 20, 200) * deg
        lean = tilt * np.sqrt(rng.random(200))
        trial = Rotation.from_euler("ZYZ", np.stack([azimuth, lean, torsion - azimuth], axis=1)).as_matrix()
        found = np.concatenate(
            [found, trial[np.isfinite(inverse_kinematics(m, trial, unreachable="nan")).all(axis=1)]]
        )
    return found[:count]


def convention(rng, zero=5 * deg):
    """Any heading, a phone mounted anyhow, zeros a little off."""
    return Convention(*turn(rng.normal(size=(2, 3))), zero=rng.uniform(-zero, zero, 3))


def measured(m, truth, R, rng, sensor=0.5 * deg, backlash=0.2 * deg):
    """Their orientations with the sensor's noise, and their angles, half the backlash off to either side."""
    angles = truth.angles_to_theirs(inverse_kinematics(m, R))
    noise = turn(sensor * rng.normal(size=(len(R), 3)))
    return noise @ truth.orientation_to_theirs(R), angles + rng.choice([-0.5, 0.5], angles.shape) * backlash


def session(seed, count=24, m=HIDE, **noise):
    rng = np.random.default_rng(seed)
    truth = convention(rng)
    return truth, *measured(m, truth, poses(m, count, rng), rng, **noise)


def moved(found, truth):
    """How far a convention is from the truth, by group, in the directions of `sigma`."""
    return {
        "zero": found.zero - truth.zero,
        "base": Rotation.from_matrix(truth.base.T @ found.base).as_rotvec(),
        "platform": Rotation.from_matrix(truth.platform.T @ found.platform).as_rotvec(),
    }


def within_three_sigmas(result, difference):
    return all((np.abs(part) <= 3 * result.sigma[name]).all() for name, part in difference.items())


def not_bent(result, difference):
    """A bound of 4.5 sigmas, which nine normal errors pass in all but one of some thousand sessions."""
    return all((np.abs(part) <= 4.5 * result.sigma[name]).all() for name, part in difference.items())


# --- exact data ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", named_joints())
def test_exact_poses_give_the_planted_convention(name):
    m = named_joints()[name]
    truth, R, theta = session(1, count=14, m=m, sensor=0, backlash=0)
    result = calibrate(m, R[:10], theta[:10], **GOOD)
    # rounding 1e-15, times the conditioning of ten poses, below 1e4
    assert pose_errors(m, result.convention, R, theta).max() < 1e-9
    assert result.errors(R, theta).max() < 1e-9
    assert result.residual <= robust.FLOOR
    assert result.outliers == result.findings == ()
    if name == "coaxial":  # its base may turn about the common axis, and all zeros with it
        (free,) = result.unseen
        assert free.gauge
        assert free.words.startswith("a turn of the base frame about its z axis")
        assert "zeros of the motors (all alike)" in free.words
        assert result.freedom == 30 - 8
    else:
        assert result.unseen == ()
        assert result.freedom == 30 - 9
        for part in moved(result.convention, truth).values():
            assert np.abs(part).max() < 1e-8


def test_where_fit_convention_works_both_agree():
    """It needs no start, and angles good to 0.1°; here are both on exact data."""
    _, R, theta = session(2, count=12, sensor=0, backlash=0)
    exact, found = fit_convention(HIDE, R, theta), calibrate(HIDE, R, theta).convention
    same = [c for c in (exact, *exact.ambiguous) if (c.leg_order, c.sense) == (found.leg_order, found.sense)]
    assert any(max(np.abs(part).max() for part in moved(found, c).values()) < 1e-8 for c in same)


@pytest.mark.parametrize("known", [("base",), ("platform",), ("base", "platform")])
def test_frames_that_are_not_free_stay_as_given(known):
    truth, R, theta = session(3, count=12, sensor=0, backlash=0)
    start = Convention(truth.base, truth.platform)
    result = calibrate(HIDE, R, theta, free=[n for n in FRAMES if n not in known], start=start)
    for name in known:
        assert_allclose(getattr(result.convention, name), getattr(truth, name), rtol=0, atol=1e-15)
        assert name not in result.sigma
    assert_allclose(result.convention.zero, truth.zero, rtol=0, atol=1e-9)


def test_a_mirrored_and_renumbered_convention_is_kept_as_believed():
    rng = np.random.default_rng(4)
    truth = Convention(*turn(rng.normal(size=(2, 3))), (2, 0, 1), (-1, 1, -1), rng.uniform(-5, 5, 3) * deg)
    R, theta = measured(HIDE, truth, poses(HIDE, 12, rng), rng, sensor=0, backlash=0)
    start = Convention(leg_order=(2, 0, 1), sense=(-1, 1, -1))
    result = calibrate(HIDE, R, theta, start=start)
    assert result.findings == ()
    assert result.convention.leg_order == (2, 0, 1)
    assert result.convention.sense == (-1, 1, -1)
    for part in moved(result.convention, truth).values():
        assert np.abs(part).max() < 1e-8


# --- slopes, and the minimum, by other routes ----------------------------------------------------------------


@pytest.mark.parametrize("m", [HIDE, *random_joints(3, seed=5)])
def test_slopes_agree_with_finite_differences(m):
    rng = np.random.default_rng(6)
    data = Data(turn(rng.normal(size=(7, 3))), rng.uniform(-3, 3, (1, 7, 3)), np.linspace(-0.5, 0.5, 7))
    state = state_of(m, *turn(rng.normal(size=(2, 1, 3))), rng.normal(size=(1, 3)))._replace(drift=np.array([0.3]))
    problem = Closures(data, tuple(GROUPS))
    slopes = problem.slopes(tuple(state))[0]
    h = 1e-5  # the error of a central difference is h^2 and rounding 1e-16/h: both about 1e-10
    for direction, slope in zip(np.eye(problem.size), slopes, strict=True):
        ahead, behind = (problem.errors(problem.move(tuple(state), s * h * direction[None]))[0] for s in (1, -1))
        assert_allclose((ahead - behind) / (2 * h), slope, rtol=0, atol=1e-9)


def test_the_closures_are_those_of_the_public_function():
    truth, R, theta = session(7, count=8)
    state = state_of(HIDE, truth.base[None], truth.platform[None], truth.zero[None])
    data = Data(R, theta[None], np.zeros(8))
    ours = closure_error(HIDE, truth.orientation_to_ours(R), truth.angles_to_ours(theta))
    assert_allclose(Closures(data, ()).errors(tuple(state))[0].reshape(8, 3), ours, rtol=0, atol=1e-14)


def test_the_minimum_is_that_of_scipy():
    """The weights by hand from their definition, held, as `calibrate` says; SciPy finds the rest by differences."""
    truth, R, theta = session(8)
    result = calibrate(HIDE, R, theta)
    assert result.outliers == ()

    def at(x):
        c = Convention(truth.base @ turn(x[0:3]), truth.platform @ turn(x[3:6]), zero=truth.zero + x[6:])
        return c.orientation_to_ours(R), c.angles_to_ours(theta)

    def factors(x):
        ours, angles = at(x)
        n = np.cross(HIDE.elbow_axes(angles), HIDE.platform_axes_at(ours))
        along = np.einsum("kij,ij->ki", n, HIDE.base_axes)
        return np.linalg.cholesky(n @ np.swapaxes(n, 1, 2) + 0.2**2 * np.einsum("ki,ij->kij", along**2, np.eye(3)))

    x = np.zeros(9)
    for _ in range(6):  # the weights follow the minimum; each round divides what is left by about a hundred
        L = factors(x)
        fit = least_squares(lambda y, L=L: np.linalg.solve(L, closure_error(HIDE, *at(y))[..., None]).ravel(), x)
        x = fit.x
    mine = np.concatenate([moved(result.convention, truth)[name] for name in ("base", "platform", "zero")])
    assert_allclose(mine, x, rtol=0, atol=1e-6)  # SciPy stops at changes of 1e-8, in a valley 1e2 longer than wide
    assert abs(result.residual - np.sqrt((fit.fun**2).sum() / (3 * 24 - 9))) < 1e-9
    covariance = result.residual**2 * np.linalg.inv(fit.jac.T @ fit.jac)
    sigma = np.concatenate([result.sigma[name] for name in ("base", "platform", "zero")])
    # SciPy's slopes are at the measured poses, mine at the model's: they differ by the noise, 0.5° or 0.01
    assert_allclose(sigma, np.sqrt(np.diag(covariance)), rtol=0.1)


def test_the_residual_is_the_turn_to_the_predicted_orientation():
    _, R, theta = session(9, count=60)
    result = calibrate(HIDE, R, theta)
    turned = result.errors(R, theta)
    # with motors a fifth as noisy as the sensor the two differ by the motors' part, some per cent
    assert abs(np.sqrt((turned**2).sum() / result.freedom) / result.residual - 1) < 0.1


# --- the robust loss -----------------------------------------------------------------------------------------


def test_the_constants_of_the_loss():
    c = robust.TUKEY
    density = chi(3).pdf

    def psi(d):
        return d * (1 - (d / c) ** 2) ** 2

    def slope(d):
        return (1 - (d / c) ** 2) * (1 - 5 * (d / c) ** 2)

    spread = quad(lambda d: psi(d) ** 2 / 3 * density(d), 0, c)[0]
    pull = quad(lambda d: (2 / 3 * psi(d) / d + slope(d) / 3) * density(d), 1e-9, c)[0]
    assert abs(pull**2 / spread - 0.95) < 0.001  # of an estimate of three numbers; Maronna et al. 2006 (from memory)
    assert abs(chi(3).median() - robust._MEDIAN) < 1e-4
    assert abs(1 / chi(3).sf(robust.OUTLIER) - 7000) < 500


@pytest.mark.parametrize("seed", range(100 if FULL else 4))
def test_outliers_are_named_and_bend_nothing(seed):
    _, R, theta = session(seed)
    clean = calibrate(HIDE, R, theta)
    rng = np.random.default_rng(seed)
    bad = rng.choice(24, 4, replace=False)
    R[bad[:3]] = turn(rng.choice([-1, 1], (3, 3)) * rng.uniform(5, 40, (3, 1)) * deg) @ R[bad[:3]]  # not settled
    theta[bad[3]] = theta[(bad[3] + 1) % 24] + 10 * deg  # the wrong line
    result = calibrate(HIDE, R, theta, tooth=TOOTH)
    assert set(bad) <= set(result.outliers)
    assert result.freedom == 3 * (24 - len(result.outliers)) - 9
    assert len(result.outliers) <= len(set(bad) | set(clean.outliers)) + 1
    assert not [finding for finding in result.findings if finding.kind == "slip"]
    kept = np.setdiff1d(np.arange(24), result.outliers)
    without = calibrate(HIDE, R[kept], theta[kept])
    if without.outliers == ():  # the same poses, so the same minimum, from another side; steps end below 1e-6
        for part in moved(result.convention, without.convention).values():
            assert np.abs(part).max() < 1e-5


# --- error bars ----------------------------------------------------------------------------------------------


def test_planted_errors_lie_within_three_sigmas():
    """All nine unknowns at once, with sensor noise, backlash and an unknown heading."""
    good = 0
    scale = []
    for seed in range(1000, 1000 + TRIALS):
        truth, R, theta = session(seed)
        result = calibrate(HIDE, R, theta)
        difference = moved(result.convention, truth)
        good += within_three_sigmas(result, difference)
        scale.append([difference[name] / result.sigma[name] for name in FRAMES])
    assert good >= 0.95 * TRIALS
    # nor are the bars too long; 324 numbers that hang together in threes scatter by 7 %
    assert 0.85 < np.std(scale) < 1.15


def test_link_angles_come_back_with_their_sigmas_where_the_poses_carry_them():
    scale = []
    before = after = 0.0
    for seed in range(TRIALS // 4):
        rng = np.random.default_rng(seed)
        arcs = HIDE.proximal + 0.7 * deg * rng.normal(size=3), HIDE.distal + 0.7 * deg * rng.normal(size=3)
        built = Mechanism(HIDE.base_frames, HIDE.platform_axes, *arcs)
        truth = convention(rng)
        R, theta = measured(built, truth, poses(built, 40, rng, 35 * deg), rng, 0.05 * deg, 0.04 * deg)
        result = calibrate(HIDE, R, theta, free=ARCS, **GOOD)
        assert result.unseen == ()
        off = {"proximal": result.mechanism.proximal - arcs[0], "distal": result.mechanism.distal - arcs[1]}
        off |= moved(result.convention, truth)
        scale.append([off[name] / result.sigma[name] for name in off])
        if seed < 3:
            fresh, angles = measured(built, truth, poses(built, 20, rng, 35 * deg), rng, 0, 0)  # poses held out
            frames = calibrate(HIDE, R, theta, **GOOD)
            before += frames.errors(fresh, angles).mean()
            after += result.errors(fresh, angles).mean()
    assert (
        after < 0.3 * before
    )  # zeros and frames take away most of what wrong arcs do, and leave a tenth of a degree
    # 225 normal numbers that hang together in fives: 99.7 % within three sigmas, and a spread of 1 to 10 %
    assert (np.abs(scale) <= 3).mean() >= 0.98
    assert 0.8 < np.std(scale) < 1.2


def test_axes_that_the_poses_carry_come_back():
    rng = np.random.default_rng(10)
    frames = HIDE.base_frames @ turn(0.5 * deg * rng.normal(size=(3, 3)))
    axes = np.einsum("lij,lj->li", turn(0.5 * deg * rng.normal(size=(3, 3))), HIDE.platform_axes)
    built = Mechanism(frames, axes, HIDE.proximal + 0.5 * deg, HIDE.distal - 0.5 * deg)
    truth = convention(rng)
    R, theta = measured(built, truth, poses(built, 60, rng, 35 * deg), rng, 0.01 * deg, 0.004 * deg)
    result = calibrate(
        HIDE, R, theta, free=tuple(GROUPS)[:3] + tuple(GROUPS)[4:], sensor_error=0.01 * deg, motor_error=0.002 * deg
    )
    assert [u.gauge for u in result.unseen] == [True] * 6  # three turns of each frame, and nothing else

    def angles(rows):
        return np.arccos((rows @ rows.T)[np.triu_indices(3, 1)])

    for found, planted, drawn in (
        (result.mechanism.base_axes, built.base_axes, HIDE.base_axes),
        (result.mechanism.platform_axes, built.platform_axes, HIDE.platform_axes),
    ):  # what no choice of frames changes: the angles between axes
        assert np.abs(angles(found) - angles(planted)).max() < 0.15 * deg
        assert np.abs(angles(drawn) - angles(planted)).max() > 0.3 * deg
    fresh, readings = measured(built, truth, poses(built, 20, rng, 35 * deg), rng, 0, 0)
    assert result.errors(fresh, readings).max() < 0.05 * deg


def test_backlash_always_from_one_side_is_a_zero():
    truth, R, theta = session(11, count=12, sensor=0, backlash=0)
    result = calibrate(HIDE, R, theta + 0.3 * deg)
    assert_allclose(result.convention.zero, truth.zero - 0.3 * deg, rtol=0, atol=1e-9)


# --- what cannot be seen -------------------------------------------------------------------------------------


def test_a_gauge_changes_no_closure():
    """Along every direction called gauge, all closures of all poses stay, by the step itself and to second order."""
    _, R, theta = session(12, count=40)
    groups = tuple(GROUPS)
    result = calibrate(HIDE, R, theta, free=groups, times=np.arange(40.0))
    c = result.convention
    state = tuple(state_of(HIDE, c.base[None], c.platform[None], c.zero[None]))
    problem = Closures(Data(R, theta[None], np.linspace(-0.5, 0.5, 40)), groups)
    gauges = [u for u in result.unseen if u.gauge]
    assert len(gauges) == 6
    for unseen in gauges:
        direction = np.concatenate([unseen.direction[name] for name in groups])
        changed = problem.errors(problem.move(state, 1e-4 * direction[None])) - problem.errors(state)
        assert np.abs(changed).max() < 1e-7  # second order: (1e-4)^2, with room for ten
    assert {u.words.split(",")[0] for u in gauges} == {
        f"a turn of the {frame} frame about its {axis} axis" for frame in ("base", "platform") for axis in "xyz"
    }


def test_arcs_that_the_poses_do_not_carry_stay_as_drawn_and_are_named():
    _, R, theta = session(13)
    result = calibrate(HIDE, R, theta, free=ARCS)
    assert len(result.unseen) >= 2
    assert not any(u.gauge for u in result.unseen)
    assert all(u.sigma > 2 * deg for u in result.unseen)
    assert any("zeros of the motors" in u.words and "second links" in u.words for u in result.unseen)
    state = np.concatenate([result.mechanism.proximal - HIDE.proximal, result.mechanism.distal - HIDE.distal])
    assert np.abs(state).max() < 3 * deg
    assert (result.sigma["distal"] > 2 * deg).any()  # the error bar says that the data alone do not know it
    assert result.freedom == 72 - (15 - len(result.unseen))


POOR = {
    "yaw only": (rotation.rz(np.linspace(-30, 30, 15) * deg), "base frame about its z axis"),
    "one tilt": (rotation.ry(np.linspace(-25, 25, 15) * deg), "base frame about its y axis"),
    "hardly moved": (turn(0.5 * deg * np.random.default_rng(0).normal(size=(20, 3))), "traded against"),
}
ADVICE = re.compile(r"tilt (\d+)° towards (\d+)° with torsion ([-+]?\d+)°")


@pytest.mark.parametrize("sensor", [0, 0.5 * deg])
@pytest.mark.parametrize("name", POOR)
def test_poor_poses_are_refused_and_the_advised_ones_cure_them(name, sensor):
    R, words = POOR[name]
    rng = np.random.default_rng(14)
    truth = convention(rng)
    with pytest.raises(ValueError, match="leave open") as caught:
        calibrate(HIDE, *measured(HIDE, truth, R, rng, sensor, 0))
    assert words in str(caught.value)
    advised = np.array(ADVICE.findall(str(caught.value)), dtype=float) * deg
    assert len(advised) >= 2
    more = np.concatenate([R, *[rotation.from_tilt_torsion(*advised.T)] * 2])  # each of them twice
    calibrate(HIDE, *measured(HIDE, truth, more, rng, sensor, 0))


@pytest.mark.parametrize("count", [0, 1, 3, 5])
def test_too_few_poses_are_refused(count):
    _, R, theta = session(15)
    with pytest.raises(ValueError, match=f"^{count} poses give .* at least 6 poses are needed") as caught:
        calibrate(HIDE, R[:count], theta[:count])
    assert bool(count) == ("leave open: " in str(caught.value)) == ("add poses such as tilt" in str(caught.value))
    assert calibrate(HIDE, R[:8], theta[:8]).freedom == 15


# --- faults --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("motor", [0, 1, 2])
def test_a_motor_that_counts_the_other_way_is_named(motor):
    truth, R, theta = session(16)
    theta[:, motor] *= -1
    result = calibrate(HIDE, R, theta)
    (finding,) = result.findings
    assert (finding.kind, finding.leg) == ("sense", motor)
    assert f"motor {motor + 1} counts the other way" in finding.words
    assert result.convention.sense == tuple(-1 if k == motor else 1 for k in range(3))
    right = calibrate(HIDE, *session(16)[1:])
    assert_allclose(result.convention.zero, right.convention.zero, rtol=0, atol=1e-4)  # where the loss stops
    assert not_bent(result, moved(result.convention, truth))


def test_exchanged_cables_are_named():
    uneven = named_joints()["uneven azimuths"]
    _, R, theta = session(17, m=uneven)
    result = calibrate(uneven, R, theta[:, [1, 0, 2]])
    assert [finding.kind for finding in result.findings] == ["leg_order"]
    assert result.convention.leg_order == (1, 0, 2)


def slip_cases():
    rng = np.random.default_rng(18)
    for seed in range(60 if FULL else 4):
        yield seed, int(rng.integers(3)), int(rng.integers(2, 23)), int(rng.choice([-2, -1, 1, 2]))


@pytest.mark.parametrize(("seed", "leg", "pose", "teeth"), list(slip_cases()))
def test_a_belt_that_slips_in_the_session_is_named(seed, leg, pose, teeth):
    truth, R, theta = session(seed)
    theta[pose:, leg] -= teeth * TOOTH  # the same joint angle is read so much lower: the zero has risen
    result = calibrate(HIDE, R, theta, tooth=TOOTH)
    (slip,) = [finding for finding in result.findings if finding.kind == "slip"]
    assert (slip.leg, slip.pose) == (leg, pose)
    assert f"belt of our leg {leg + 1} slipped by {abs(teeth)} t" in slip.words
    now = Convention(truth.base, truth.platform, zero=truth.zero + teeth * TOOTH * np.eye(3)[leg])
    assert not_bent(result, moved(result.convention, now))


def test_no_slip_is_found_where_none_was():
    for seed in range(100 if FULL else 4):
        _, R, theta = session(seed)
        result = calibrate(HIDE, R, theta, tooth=TOOTH, sensor_error=0.2 * deg)  # stated too small: one is looked for
        assert "slip" not in [finding.kind for finding in result.findings]


def test_a_belt_put_on_one_tooth_off_is_named():
    truth, R, theta = session(19, sensor=0.1 * deg, backlash=0.04 * deg)
    theta[:, 2] += TOOTH
    start = Convention(zero=truth.zero)
    (finding,) = calibrate(HIDE, R, theta, tooth=TOOTH, start=start).findings
    assert (finding.kind, finding.leg) == ("teeth", 2)
    assert "1 tooth makes -6.00°" in finding.words
    assert calibrate(HIDE, *session(19)[1:], tooth=TOOTH, start=start).findings == ()


def test_a_heading_that_drifts():
    times = 15.0 * np.arange(24)
    rate = 2 * deg / 60
    for seed in range(20, 24):
        _, R, theta = session(seed)
        R = turn(np.outer(rate * times, [0, 0, 1])) @ R
        still, drifting = calibrate(HIDE, R, theta), calibrate(HIDE, R, theta, free=(*FRAMES, "drift"), times=times)
        assert still.residual > 2 * drifting.residual
        assert abs(drifting.drift - rate) < 4 * drifting.sigma["drift"] < 0.2 * rate
        assert drifting.errors(R, theta, times=times).mean() < 0.5 * still.errors(R, theta).mean()
        late = times + 1000  # another clock: the same joint, and the base turned back to that clock's start
        again = calibrate(HIDE, R, theta, free=(*FRAMES, "drift"), times=late)
        assert_allclose(again.errors(R, theta, times=late), drifting.errors(R, theta, times=times), atol=1e-7)


def test_transposed_matrices_and_mixed_rows_are_refused():
    _, R, theta = session(25)
    for seed in range(25, 29 if FULL else 27):
        _, there, angles = session(seed)
        with pytest.raises(ValueError, match="transpose each"):
            calibrate(HIDE, np.swapaxes(there, 1, 2), angles)
    with pytest.raises(ValueError, match="nothing fits"):
        calibrate(HIDE, R, theta[::-1])
    with pytest.raises(ValueError, match=r"motor_angles\[0, 0\] .* multiply degrees by deg"):
        calibrate(HIDE, R, theta / deg)
    with pytest.raises(ValueError, match="followed from home"):
        calibrate(HIDE, R, theta + 90 * deg)


@pytest.mark.parametrize("mode", [(1, -1, 1), *([(1, 1, 1), (-1, -1, -1)] if FULL else [])])
def test_a_machine_that_was_cleared_at_home_is_told_its_start(mode):
    rng = np.random.default_rng(31)
    sense = (-1, 1, -1)
    R = poses(HIDE, 24, rng)
    R = R[np.isfinite(inverse_kinematics(HIDE, R, mode, unreachable="nan")).all(axis=1)]
    truth = Convention(sense=sense, zero=HIDE.home_angles(mode) + rng.uniform(-2, 2, 3) * deg)
    theirs = truth.angles_to_theirs(inverse_kinematics(HIDE, R, mode))
    with pytest.raises(ValueError, match=r"nothing fits: .* cleared at home leave .*m\.home_angles\(\(") as caught:
        calibrate(HIDE, R, theirs, start=Convention(sense=sense))
    told = ast.literal_eval(re.search(r"m\.home_angles\((\(.*?\))\)", str(caught.value))[1])
    assert told == mode
    result = calibrate(HIDE, R, theirs, start=Convention(sense=sense, zero=HIDE.home_angles(told)))
    assert_allclose(result.convention.zero, truth.zero, atol=1e-6)


def test_angles_of_the_motor_shaft_are_refused():
    _, R, theta = session(32)
    with pytest.raises(ValueError, match=r"nothing fits: .* (not of the motor shaft|belongs to its orientation)"):
        calibrate(HIDE, R, 7 * theta)


def test_many_contradictions_are_no_outliers():
    _, R, theta = session(26)
    rng = np.random.default_rng(26)
    R[:9] = turn(rng.uniform(-15, 15, (9, 3)) * deg) @ R[:9]
    with pytest.raises(ValueError, match=r"^\d+ of 24 poses contradict the rest: 0, 1, 2, .* tooth="):
        calibrate(HIDE, R, theta)


def test_a_sensor_that_was_turned_on_the_way_is_no_noise():
    _, R, theta = session(26)
    R[:10] = turn([0, 0, 20 * deg]) @ R[:10]
    with pytest.raises(ValueError, match=r"nothing fits: .* leave the poses 6\.0° off"):
        calibrate(HIDE, R, theta)


# --- bad input -----------------------------------------------------------------------------------------------


@cache
def twelve():
    return session(27, count=12)[1:]


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"free": ()}, ValueError, "free is"),
        ({"free": "zero"}, TypeError, "free is 'zero'; give a tuple"),
        ({"free": ("zero", "gamma")}, ValueError, "free holds 'gamma'; its names are 'base', 'platform'"),
        ({"free": ("zero", "zero")}, ValueError, "name each group once"),
        ({"free": ("proximal",)}, ValueError, "free at least one of"),
        ({"free": ("zero", "drift")}, ValueError, "times is None; a drift needs"),
        ({"free": ("zero", "drift"), "times": np.zeros(12)}, ValueError, "times are all alike"),
        ({"times": np.zeros(11)}, ValueError, r"times has shape \(11,\)"),
        ({"times": [0, 1, 2, 3, 2, 5, 6, 7, 8, 9, 10, 11]}, ValueError, r"times\[4\] is 2 s, before times\[3\], 3 s"),
        ({"start": HIDE}, TypeError, "start must be a Convention"),
        ({"tooth": 6}, ValueError, r"tooth is 6; .* at most 90°"),
        ({"sensor_error": 0}, ValueError, "sensor_error is 0"),
        ({"motor_error": -1}, ValueError, "motor_error is -1"),
        ({"sensor_error": np.nan}, ValueError, "sensor_error is nan"),
        ({"orientations": np.eye(3)}, ValueError, r"orientations has shape \(3, 3\)"),
        ({"orientations": 2 * np.stack([np.eye(3)] * 12)}, ValueError, "orientations 0 is not a rotation"),
        ({"motor_angles": np.zeros((11, 3))}, ValueError, r"motor_angles \(11, 3\)"),
        ({"motor_angles": np.full((12, 3), np.inf)}, ValueError, r"motor_angles\[0, 0\] is inf"),
        ({"motor_angles": np.full((12, 3), -200.0)}, ValueError, r"motor_angles\[0, 0\] is -200 rad, more than two"),
        ({"m": "hide"}, TypeError, "must be a Mechanism"),
        (
            {"free": tuple(GROUPS), "times": np.arange(8), "orientations": twelve()[0][:8], **GOOD}
            | {"motor_angles": twelve()[1][:8]},
            ValueError,
            "8 poses are too few to fit",
        ),
    ],
)
def test_bad_input_is_named(change, error, words):
    R, theta = twelve()
    arguments = {"m": HIDE, "orientations": R, "motor_angles": theta} | change
    with pytest.raises(error, match=words):
        calibrate(**arguments)


def test_scipy_rotations_serve():
    R, theta = twelve()
    assert_allclose(
        calibrate(HIDE, Rotation.from_matrix(R), theta).convention.zero,
        calibrate(HIDE, R, theta).convention.zero,
        rtol=0,
        atol=1e-9,
    )


def test_pose_errors():
    truth, R, theta = session(28, count=6, sensor=0, backlash=0)
    assert pose_errors(HIDE, truth, R, theta).max() < 1e-7  # arccos-free, but R is a product of four matrices
    turned = turn([0.02, -0.03, 0.04]) @ R
    assert_allclose(pose_errors(HIDE, truth, turned, theta), np.linalg.norm([0.02, -0.03, 0.04]), rtol=1e-6)
    wild = np.array([[170, 0, 0]]) * deg
    assert np.isnan(pose_errors(HIDE, Convention(), np.eye(3)[None], wild)).all()
    with pytest.raises(ValueError, match="times is None"):
        pose_errors(HIDE, truth, R, theta, drift=0.1)


def test_legs_are_named_whatever_the_sign_of_their_share():
    assert in_words({"zero": np.array([0.7, -0.7, 0.0])}) == "the zeros of the motors (leg 1 and 2)"
    assert in_words({"distal": np.array([0.0, 0.0, -1.0])}) == "the second links (leg 3)"


def test_the_report_says_all_of_it():
    _, R, theta = session(29)
    R[5] = turn([0.4, 0, 0]) @ R[5]
    theta[:, 1] *= -1
    told = repr(calibrate(HIDE, R, theta, free=ARCS))
    for words in ("residual", "degrees of freedom", "zeros", "base: ±", "not seen: ", "left out: poses 5", "sense: "):
        assert words in told


def test_unknowns_of_a_drawn_joint_are_the_joint():
    state = state_of(HIDE, np.eye(3)[None], np.eye(3)[None], np.zeros((1, 3)))
    assert isinstance(state, Unknowns)
    assert Mechanism(state.frames[0], state.v[0], state.proximal[0], state.distal[0]) == HIDE
