"""The joystick between its ticks: no leg flips, no limit is passed, whatever the stick does; and the emergency stop.

Where the platform goes is found by `stick_oracle`, in fine steps along the path of the motors, by its own closures.
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from common import FULL
from legloop import Convention, deg, inverse_kinematics, jacobian, rotation, singularity
from legloop.lesson.cases import bird_hide
from legloop.workshop.motion import MotionError, MotionLimits, jog, stop, tube
from legloop.workshop.motion.knots import Joint
from legloop.workshop.motion.limits import Walls
from legloop.workshop.motion.tube import first_proved
from legloop.workshop.motion.ways import Ways
from stick_oracle import DRIVE, ODD, Loops, Tick, broken, random_run, rest_of, worst

HIDE = bird_hide()


def driven(m, limits, dt, rates, mode=(1, 1, 1)):
    """The ticks of a stick, as `worst` takes them, and the last state."""
    state = jog(m, np.eye(3), (0, 0, 0), dt, mode=mode, drive=DRIVE, limits=limits)
    ticks = []
    for rate in rates:
        after = jog(m, state, rate, dt, mode=mode, drive=DRIVE, limits=limits)
        ticks.append(Tick((state.R, state.theta, state.velocity), (after.R, after.theta, after.velocity)))
        state = after
    return ticks, state


def test_a_stick_that_once_stretched_a_leg_inside_a_tick():
    limits = MotionLimits(4, 20, tick=0.1)
    rates = [(-5, 3, -8)] * 7 + [(5, -3, 8)] * 7 + [(0, 0, 0)] * 8
    ticks, last = driven(HIDE, limits, 0.1, rates)
    assert not broken(worst(HIDE, limits, 0.1, ticks)).any()
    assert not last.velocity.any()
    assert max(np.abs(t.after[2]).max() for t in ticks) > 3.5  # it is fast where it may be


def test_no_leg_flips_while_the_stick_is_let_go():
    limits = MotionLimits(4, 5.3, tick=0.1)
    rng = np.random.default_rng(3)
    for _ in range(8 if FULL else 1):
        rates = np.repeat(rng.normal(scale=4, size=(6, 3)).clip(-12, 12), 8, axis=0)
        ticks, last = driven(HIDE, limits, 0.1, [*rates, *np.zeros((9, 3))])
        assert not broken(worst(HIDE, limits, 0.1, ticks)).any()
        assert not last.velocity.any()


@pytest.mark.parametrize("seed", range(24 if FULL else 2))
def test_nothing_is_passed_between_two_ticks(seed):
    """In full more than ten thousand ticks; a million are a matter of `benchmarks/stick.py`."""
    found, what = random_run(seed, 450 if FULL else 30)
    assert not broken(found).any(), what


@pytest.mark.parametrize("rate", [(0, 6, 0), (0, 0, 6)])
def test_no_rate_crosses_a_type_2_pose_where_evenness_is_no_limit(rate):
    limits = MotionLimits(8, 100, tick=0.05, edge=1e-3, evenness=0)
    for m, mode in ((HIDE, (1, 1, 1)), (ODD, (1, 1, -1))):
        ticks, _ = driven(m, limits, 0.05, [rate] * 20 + [tuple(-np.array(rate))] * 10, mode)
        found = worst(m, limits, 0.05, ticks)
        assert found.volume.min() > 0
        assert found.turned.min() > 0


@pytest.mark.parametrize(("size", "kept"), [(0.9, True), (1.1, False)])
def test_a_tick_out_and_back_is_judged_by_its_middle(size, kept):
    """It begins and ends at rest inside all limits; at half time it is beyond the edge, or not quite."""
    limits = MotionLimits(4, 20, tick=0.1, edge=4 * deg)
    R, far = rotation.ry(63 * deg), rotation.ry(66 * deg)  # leg 1 folds at 70°
    start = inverse_kinematics(HIDE, R)
    out = size * (inverse_kinematics(HIDE, far, near=start) - start)
    # theta = start + leaving s + bend s^2 / 2 is back at s = 1, and farthest, leaving / 4, at s = 1/2
    ways = Ways(start, 4 * out, -8 * out[:, None], np.array([1.0]))
    loops, at, least = Loops(HIDE), R[None], np.inf
    for s in np.linspace(0, 1, 400):
        theta = (start + 4 * s * (1 - s) * out)[None]
        at = loops.onward(at, theta)
        least = min(least, loops.look(at, theta)[2][0])
    assert (least > 4 * deg) == kept
    it = Joint(HIDE, np.ones(3, dtype=int), Walls.of(limits, Convention()))
    assert (first_proved(it, R, ways) is not None) == kept


def test_ways_are_those_of_the_motors():
    """Speeds change evenly in the tick, and keep their ratio after it: summed in fine steps."""
    rng = np.random.default_rng(2)
    start, leaving, bend = rng.normal(size=3), rng.normal(size=3), rng.normal(size=(3, 2))
    ways = Ways(start, leaving, bend, np.array([2.5, 1.7]))
    s = np.linspace(0, 2.5, 25_001)
    theta, rate = ways.at(np.stack([s, s]), np.array([0, 1]))
    for k in range(2):
        speeds = leaving[:, None] + bend[:, k, None] * np.minimum(s, 1)
        np.testing.assert_allclose(rate[:, k], speeds, rtol=0, atol=1e-14)
        summed = start + (speeds[:, :-1] + speeds[:, 1:]).sum(axis=1) / 2 * 1e-4
        np.testing.assert_allclose(theta[:, k, -1], summed, rtol=0, atol=1e-9)
        low, high = theta[:, k, :].min(axis=1), theta[:, k, :].max(axis=1)
        only = ways._replace(bend=bend[:, k, None], end=np.array([2.5]))
        assert only.within(low - 1e-6, high + 1e-6)[0]  # turning points between two of the places: less than 1e-8
        assert not only.within(low + 1e-4, high + 1)[0] or (low == start).any()
        assert not only.within(low - 1, high - 1e-4)[0] or (high == start).any()


def test_a_function_stays_between_its_ends_and_what_its_bend_allows():
    rng = np.random.default_rng(6)
    pace, phase, size = rng.uniform(0.1, 6, 4000), rng.uniform(0, 7, 4000), rng.uniform(0.1, 5, 4000)
    f = size * np.sin(pace * np.linspace(0, 1, 400)[:, None] + phase)
    least = tube._least(f[[0, -1]].T, (size * pace**2)[:, None])[:, 0]
    assert (least <= f.min(axis=0) + 1e-12).all()
    a, b = f[0], f[-1]
    bent = np.full((4000, 1), 3.0)  # the parabola itself, which bends as much as is allowed, all along
    x = np.linspace(0, 1, 2001)[:, None]
    parabola = a + (b - a) * x - 1.5 * x * (1 - x)
    np.testing.assert_allclose(tube._least(np.stack([a, b], axis=1), bent)[:, 0], parabola.min(axis=0), atol=1e-6)


# --- the stop that can always be commanded ------------------------------------------------------------------------


def test_the_emergency_stop_is_straight_and_as_fast_as_allowed():
    rng = np.random.default_rng(4)
    for _ in range(40):
        limits = MotionLimits(5, rng.uniform(2, 50, 3), tick=0.01)
        dt = float(np.exp(rng.uniform(np.log(1e-3), np.log(0.3))))
        theta, velocity = rng.normal(size=3) * 3, rng.normal(size=3) * rng.choice([0.1, 3, 90])
        at, speeds = theta, [velocity]
        while speeds[-1].any():
            at, speed = stop(at, speeds[-1], limits, dt)
            speeds.append(speed)
        np.testing.assert_allclose(at - theta, rest_of(velocity, limits.acceleration, dt), rtol=1e-9, atol=1e-12)
        assert np.abs(np.cross(at - theta, velocity)).max() <= 1e-9 * (velocity @ velocity)
        hard = np.abs(np.diff(speeds, axis=0)) / (limits.acceleration * dt)
        assert hard.max() <= 1 + 1e-9
        assert (hard[:-1].max(axis=1, initial=0) > 1 - 1e-9).all()


def test_the_emergency_stop_asks_neither_mode_nor_reach():
    """Where `jog` refuses to go on, it stops."""
    limits = MotionLimits(4, 20, tick=0.05)
    _, state = driven(HIDE, limits, 0.05, [(2, 0, 0)] * 6)
    assert np.abs(state.velocity).max() > 1
    narrower = MotionLimits(4, 20, tick=0.05, travel=(-0.01, 0.01))
    with pytest.raises(MotionError, match=r"outside its limits.*stop\("):
        jog(HIDE, state, (0, 0, 0), 0.05, drive=DRIVE, limits=narrower)
    theta, velocity = state.theta, state.velocity
    while velocity.any():
        theta, velocity = stop(theta, velocity, narrower, 0.05)
    np.testing.assert_allclose(theta - state.theta, rest_of(state.velocity, narrower.acceleration, 0.05), rtol=1e-9)


def test_a_stick_let_go_goes_the_same_way_as_the_stop():
    limits = MotionLimits(4, 20, tick=0.05)
    _, state = driven(HIDE, limits, 0.05, [(2, 1, -1)] * 6)
    theta, velocity = stop(state.theta, state.velocity, limits, 0.05)
    after = jog(HIDE, state, (0, 0, 0), 0.05, drive=DRIVE, limits=limits)
    np.testing.assert_allclose(after.theta, theta, rtol=0, atol=1e-13)
    np.testing.assert_allclose(after.velocity, velocity, rtol=0, atol=1e-13)


def test_a_stop_that_was_proved_for_a_shorter_tick_is_not_taken_for_granted():
    """Near the edge, with ticks of 5 ms, fast; then one of 100 ms, in which the motors cannot stop in time."""
    limits = MotionLimits(4, 40, tick=0.005)
    state = rotation.ry(0.0)
    errors = []
    for k in range(130):
        state = jog(HIDE, state, (0, 3, 0), 0.005, drive=DRIVE, limits=limits, axes="base")
        if k % 10 == 9:
            try:
                late = jog(HIDE, state, (0, 0, 0), 0.1, drive=DRIVE, limits=limits, axes="base")
            except MotionError as error:
                errors.append(str(error))
            else:
                tick = Tick((state.R, state.theta, state.velocity), (late.R, late.theta, late.velocity))
                assert not broken(worst(HIDE, limits, 0.1, [tick])).any()
    assert errors
    assert all("dt has grown" in error for error in errors)
    again = replace(state, halt=None)  # nothing is known: it is proved anew
    assert jog(HIDE, again, (0, 0, 0), 0.005, drive=DRIVE, limits=limits).halt is not None


def test_with_no_evenness_asked_for_the_stick_stays_apart_from_type_2_and_is_always_answered():
    """Pushed at V = 0, which the hide meets at 80.6° of yaw. Nearer than 0.001 no tick can be followed exactly."""
    limits, state = MotionLimits(4, 20, tick=0.02, evenness=0.0), rotation.rz(78 * deg)
    least = np.inf
    for rate in [(0, 0, 1.5)] * 60 + [(0.3, -0.2, 2)] * 40 + [(0, 0, 0)] * 20:
        state = jog(HIDE, state, rate, 0.02, drive=DRIVE, limits=limits, axes="base")
        J = jacobian(HIDE, state.R, state.theta)
        least = min(least, 3 / (np.linalg.norm(J) * np.linalg.norm(np.linalg.inv(J))))
    assert 1e-3 <= least < 0.02
    assert not state.velocity.any()

    def volume(yaw):
        return singularity(HIDE, rotation.rz(yaw), inverse_kinematics(HIDE, rotation.rz(yaw))).volume

    limp = brentq(volume, 80 * deg, 82 * deg)
    with pytest.raises(MotionError, match="outside its limits"):
        jog(HIDE, rotation.rz(limp - 1e-4), (0, 0, 0), 0.02, drive=DRIVE, limits=limits)
