"""The joystick for a long time and near its limits: no warning, no drift, no tick that takes long, no trap."""

from dataclasses import replace

import numpy as np
import pytest

from common import FULL
from legloop import closing, closure_error, deg, inverse_kinematics, jacobian, reach_margin, rotation
from legloop.forward import follow
from legloop.lesson.cases import named_joints, random_joints
from legloop.workshop.motion import MotionLimits, jog, tick, tube
from test_motion import DRIVE, HIDE, LIMITS, MACHINE

NARROW = MotionLimits(120 * deg, 600 * deg, tick=0.01, travel=(-150 * deg, 20 * deg))


def stick(seed, scale, count):
    """A stick that is thrown somewhere else every 37 ticks."""
    rng = np.random.default_rng(seed)
    return np.repeat(np.clip(rng.normal(size=(count // 37 + 1, 3)) * scale, -12, 12), 37, axis=0)[:count]


def driven(rates, limits=NARROW, start=None, dt=0.01, **more):
    state, states = np.eye(3) if start is None else start, []
    for rate in rates:
        state = jog(HIDE, state, rate, dt, drive=DRIVE, limits=limits, **more)
        states.append(state)
    return states


def evenness(state):
    J = jacobian(HIDE, state.R, state.theta)
    return 3 / (np.linalg.norm(J) * np.linalg.norm(np.linalg.inv(J)))


# A warning is an error in these tests, as in all others. Seed 1 at scale 3 is one in which the motors stand, and the
# roundings of 312 ticks had once added up to more than `follow` lets pass.
@pytest.mark.parametrize(("seed", "scale"), [(1, 3), *((s, x) for s in range(3) for x in (0.2, 1, 8) if FULL)])
def test_no_stick_leads_out_of_the_limits_or_to_a_warning(seed, scale):
    states = driven(stick(seed, scale, 900 if FULL else 320))
    theta, speed = (np.array([getattr(state, name) for state in states]) for name in ("theta", "velocity"))
    assert ((theta >= -150 * deg) & (theta <= 20 * deg)).all()
    assert (reach_margin(HIDE, np.array([state.R for state in states])) >= NARROW.edge).all()
    assert min(map(evenness, states)) >= NARROW.evenness * (1 - 1e-9)  # the inverse here is another one
    assert np.abs(speed).max() <= 120 * deg * (1 + 1e-9)
    assert np.abs(np.diff(speed, axis=0, prepend=0)).max() <= 600 * deg * 0.01 * (1 + 1e-9)


@pytest.mark.parametrize("convention", [None, MACHINE])
def test_closing_does_not_wear_off(convention):
    """Ten thousand ticks in full; most of them at rest, where nothing but the roundings of the frames happens."""
    count = (10_000 if convention is None else 2000) if FULL else 300
    rates = stick(4, 0.5, count) * (np.arange(count) % 400 < 74)[:, None]
    ours = np.eye(3) if convention is None else convention.orientation_to_theirs(np.eye(3))
    given = MACHINE if convention is not None else None
    states = driven(rates, LIMITS, ours, dt=0.02, convention=given)
    R, theta = np.array([state.R for state in states]), np.array([state.theta for state in states])
    if convention is not None:
        R, theta = convention.orientation_to_ours(R), convention.angles_to_ours(theta)
    miss = np.abs(closure_error(HIDE, R, theta)).max(axis=1)
    assert miss.max() < closing.ROUNDING + 1e-15  # what a tick may leave, and the roundings of looking at it
    speed = np.array([state.velocity for state in states])
    rest = np.flatnonzero(~speed[1:].any(axis=1) & ~speed[:-1].any(axis=1)) + 1
    assert len(rest) > count / 3
    assert miss[rest].max() < closing.ROUNDING / 8  # out and in again by the frames is a dozen products
    assert np.abs(R @ np.swapaxes(R, 1, 2) - np.eye(3)).max() < 1e-14


def test_a_tick_closes_what_the_last_one_let_pass():
    """A tick may end as far from closing as `follow` lets pass; the next one takes it away, also at rest."""
    state = driven([(0.1, 0.2, 0.3)] * 3 + [(0, 0, 0)] * 9)[-1]
    assert (state.velocity == 0).all()
    off = replace(state, R=rotation.from_rotation_vector([6e-15, -6e-15, 6e-15]) @ state.R)
    assert np.abs(closure_error(HIDE, off.R, off.theta)).max() > 2e-15
    after = jog(HIDE, off, (0, 0, 0), 0.01, drive=DRIVE, limits=NARROW)
    assert np.abs(closure_error(HIDE, after.R, after.theta)).max() < 1e-15


def test_motors_that_stand_still_hold_a_platform_that_closes_nearly():
    R = rotation.from_rotation_vector(1e-11 * np.array([1.0, -2.0, 0.5]))
    start = HIDE.home_angles()
    assert np.abs(closure_error(HIDE, R, start)).max() > closing.ROUNDING
    there, part = follow(HIDE, R[..., None], start[:, None], np.zeros((3, 1)))
    assert part[0] == 1
    np.testing.assert_allclose(there[..., 0], np.eye(3), rtol=0, atol=1e-14)


def test_a_tick_takes_a_bounded_number_of_rounds(monkeypatch):
    """Counted, not timed: the full rate takes so many rounds at most, its parts side by side as many again."""
    taken, true = [], tube._onward

    def counted(*arguments):
        taken[-1] += 1
        return true(*arguments)

    monkeypatch.setattr(tube, "_onward", counted)
    state = np.eye(3)
    for rate in stick(1, 3, 130):
        taken.append(0)
        state = jog(HIDE, state, rate, 0.01, drive=DRIVE, limits=NARROW)
    assert 2 < max(taken) <= 2 * tube._ROUNDS
    assert np.median(taken) <= 2


def test_the_largest_share_of_the_rate_that_allows_a_stop_is_taken(monkeypatch):
    """From each of many states, with all shares and with two of them: the finer ones lose less of the speed."""
    rates = stick(1, 3, 130)
    states = [np.eye(3), *driven(rates)]
    met = [k for k, state in enumerate(states[1:]) if "stopping" in state.limited]
    fine = [states[k + 1].velocity for k in met]
    monkeypatch.setattr(tick, "_SHARES", np.array([1.0, 0.5, 0.1]))
    coarse = [jog(HIDE, states[k], rates[k], 0.01, drive=DRIVE, limits=NARROW).velocity for k in met]
    gained = np.linalg.norm(fine, axis=1) - np.linalg.norm(coarse, axis=1)
    assert len(met) > 5
    assert gained.max() > 1 * deg


def test_the_stick_leads_out_of_a_singular_corner_again():
    least = 0.25
    limits = MotionLimits(90 * deg, 400 * deg, tick=0.02, evenness=least)
    states = driven([(0, 0.8, 0)] * 120, limits, dt=0.02, axes="base")
    assert "singular" in states[-1].limited
    assert evenness(states[-1]) < 1.01 * least
    back = driven([(0, -0.8, 0)] * 20, limits, states[-1], dt=0.02, axes="base")
    assert "singular" not in back[0].limited
    assert evenness(back[-1]) > 1.2 * least  # 20 ticks at 0.8 rad/s are 18°
    for rate in ((0.0, 0.0, 0.0), (0.0, 0.8, 0.0)):  # let go there, or pushed on, it stays
        still = driven([rate] * 10, limits, states[-1], dt=0.02, axes="base")
        assert min(map(evenness, still)) >= least * (1 - 1e-9)
        assert "singular" in still[-1].limited


def test_a_jog_of_another_joint_is_named():
    (other,) = random_joints(1, 5)
    state = driven([(0.1, 0.2, 0.3)] * 3)[-1]
    for joint in (other, named_joints()["coaxial"]):
        with pytest.raises(ValueError, match=r"R is the Jog of another joint.*do not close"):
            jog(joint, state, (0, 0, 0), 0.01, drive=DRIVE, limits=LIMITS)


def test_a_jog_that_was_printed_to_six_decimals_goes_on():
    state = driven([(0.1, 0.2, 0.3)] * 3)[-1]
    rough = replace(state, R=state.R.round(6), theta=state.theta.round(6))
    after = jog(HIDE, rough, (0.1, 0.2, 0.3), 0.01, drive=DRIVE, limits=LIMITS)
    np.testing.assert_allclose(inverse_kinematics(HIDE, after.R, near=after.theta), after.theta, rtol=0, atol=1e-11)
