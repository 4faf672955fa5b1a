"""How long a plan takes: as long as asked and the ramps, where no motor is near a limit; cells cut beside rest."""

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from legloop import deg, inverse_kinematics, rotation
from legloop.workshop.motion import MotionError, MotionLimits, blocks, interpolate, plan
from legloop.workshop.motion.timing import beside_rest, cells, rests, split
from test_motion import DRIVE, HIDE, LIMITS, assert_within, wandering

QUICK = MotionLimits(120 * deg, 600 * deg, tick=0.01)


def yaws(degrees):
    return rotation.rz(np.array(degrees) * deg)


def trembling(count, step, size, seed=3):
    samples, times = wandering(count, seed, step, size)
    noise = np.random.default_rng(seed).normal(scale=2e-5, size=(count, 3))
    return rotation.from_rotation_vector(noise) @ samples, times


REQUESTS = {
    "a hold": (yaws([0, 0, 0]), [0, 1, 2]),
    "a slow pan of three": (yaws([0, 0.5, 1]), [0, 10, 20]),
    "a slower one": (yaws([0, 3]), [0, 60]),
    "a pan": (yaws([0, 30]), [0, 20]),
    "holds and pans": (yaws([0, 0, 10, 10, 10, -5]), [0, 5, 15, 20, 21, 40]),
    "key frames": wandering(8, step=4.0),
    "a log": wandering(200, step=0.1, size=3 * deg),
    "a log that trembles": trembling(200, 0.1, 3 * deg),
}


@pytest.mark.parametrize("path", ["smooth", "slerp"])
@pytest.mark.parametrize("name", REQUESTS)
def test_far_below_the_limits_it_takes_as_long_as_asked_and_the_ramps(name, path):
    """To come to a speed V takes V / a, half of that more than to pass there at V. V is found here by differences."""
    samples, times = REQUESTS[name]
    times = np.asarray(times, dtype=float)
    made = plan(HIDE, samples, times, DRIVE, limits=QUICK, path=path)
    assert_within(made.table, QUICK)
    fine = np.linspace(times[:-1], times[1:], 41, axis=1)
    poses = interpolate(samples, times, fine.ravel(), path=path)
    theta = inverse_kinematics(HIDE, poses).reshape(*fine.shape, 3)
    speeds = np.abs(np.diff(theta, axis=1)).max(axis=(1, 2)) / (np.diff(times) / 40)  # of the fastest motor
    starts = 2 * speeds.sum() if path == "slerp" else speeds[0] + speeds[-1]
    # 1.05: differences are a mean; the motors slow down by V^2 times what the path bends, beside a. Then, the end of
    # the last tick, and a thousandth of a tick for each side of a corner at which nothing moves.
    ramps = 1.05 * starts / (2 * 600 * deg) + QUICK.tick * (1 + 2e-3 * len(times))
    assert times[-1] - times[0] - 1e-9 <= made.report.takes <= times[-1] - times[0] + ramps


def test_a_hold_is_not_slowed_and_the_report_says_so():
    made = plan(HIDE, yaws([0, 0, 0]), [0, 1, 2], DRIVE, limits=QUICK)
    assert made.report.takes == pytest.approx(2.0, abs=1e-12)
    assert len(made.table) == 201
    assert made.report.slowed == ()
    assert "takes 2.000 s; nowhere slower than asked" in str(made.report)
    assert "no travel limits given" in str(made.report)
    assert "none" not in str(made.report)


def test_a_stretch_is_one_and_travel_that_is_given_is_told():
    travel = np.array([(-np.inf, np.inf), (-3.0, 0.5), (-3.0, 0.5)])
    made = plan(HIDE, yaws([0, 0, 5]), [0, 1, 2], DRIVE, limits=MotionLimits(2, 10, tick=0.01, travel=travel))
    assert "slower than asked in 1 stretch, " in str(made.report)  # at the end: a smooth path leaves a hold gently
    assert "travel left none, " in str(made.report)
    made = plan(HIDE, yaws([0, 5]), [0, 1], DRIVE, limits=LIMITS)
    assert "slower than asked in 2 stretches, " in str(made.report)


def corners_and_holds(count, seed):
    samples, times = wandering(count, seed, step=0.2, size=5 * deg)
    rng = np.random.default_rng(seed)
    return samples[np.maximum.accumulate(np.where(rng.random(count) < 0.4, 0, np.arange(count)))], times


@pytest.mark.parametrize("path", ["smooth", "slerp"])
@pytest.mark.parametrize("seed", range(3))
def test_blocks_are_cut_beside_rest_as_the_whole_is(monkeypatch, path, seed):
    samples, times = corners_and_holds(60, seed)
    whole = plan(HIDE, samples, times, DRIVE, limits=LIMITS, path=path)
    assert_within(whole.table, LIMITS)
    for block, ahead, same in ((7, 30, True), (5, 1, False), (1, 2, False)):
        monkeypatch.setattr(blocks, "BLOCK", block)
        monkeypatch.setattr(blocks, "AHEAD", ahead)
        made = plan(HIDE, samples, times, DRIVE, limits=LIMITS, path=path)
        assert_within(made.table, LIMITS)
        if same or path == "slerp":  # at a corner the whole rests too, so nothing is lost by not looking beyond
            assert made.report.takes == pytest.approx(whole.report.takes)
            np.testing.assert_allclose(made.table["theta"], whole.table["theta"], rtol=0, atol=1e-9)


def test_the_end_of_a_block_is_an_end_also_where_the_motors_turn_back(monkeypatch):
    """At the third sample the motors stand still of themselves; what comes then is so sharp that it must be slow."""
    limits = MotionLimits(300 * deg, 200 * deg, tick=0.002)
    monkeypatch.setattr(blocks, "BLOCK", 1)
    monkeypatch.setattr(blocks, "AHEAD", 1)
    made = plan(HIDE, yaws([0, 4, 8, 4, 34]), 5 + np.arange(5) * 0.1, DRIVE, limits=limits)
    assert_within(made.table, limits)


def test_cells_that_are_split_are_the_same_cubics():
    rng = np.random.default_rng(5)
    s = 1e3 + np.cumsum(rng.uniform(0.1, 1, 6))
    q, leaving, arriving = (rng.normal(size=(n, 3)) for n in (6, 5, 5))
    whole = cells(s, q, leaving, arriving)
    at = np.concatenate([rng.uniform(s[0], s[-1], 20), s[2] + [1e-9, 1e-8]])
    found = split(whole, at)
    assert set(found.s) == {*s, *at}
    for k, (begin, end) in enumerate(zip(found.s[:-1], found.s[1:], strict=True)):
        j = np.searchsorted(s, begin, side="right") - 1
        cubic = CubicHermiteSpline(s[j : j + 2] - s[j], q[j : j + 2], [leaving[j], arriving[j]])
        fine = np.linspace(begin - s[j], end - s[j], 501)
        np.testing.assert_allclose(found.q[k], cubic(fine[0]), rtol=0, atol=1e-13)
        np.testing.assert_allclose(found.leaving[k], cubic(fine[0], 1), rtol=0, atol=1e-11)
        np.testing.assert_allclose(found.arriving[k], cubic(fine[-1], 1), rtol=0, atol=1e-11)
        # also in a part of 1e-9 s, where differences of q would be off by 1e-16 / 1e-18
        np.testing.assert_allclose(found.bend[k], np.abs(cubic(fine, 2)).max(axis=0), rtol=1e-9)
        np.testing.assert_allclose(found.steepest[k], np.abs(cubic(fine, 1)).max(axis=0), rtol=2e-5)
    np.testing.assert_array_equal(found.q[np.searchsorted(found.s, s)], q)
    inner = np.isin(found.s, s)
    inner[0] = inner[-1] = True
    np.testing.assert_array_equal(rests(found, np.zeros(3)), inner)  # slopes jump where they did, and nowhere else


def test_rest_is_cut_as_fine_as_the_ramp_and_no_finer_than_asked():
    day = np.array([0.0, 86400.0])
    still = cells(day, np.zeros((2, 3)), np.zeros((1, 3)), np.zeros((1, 3)))
    slow = cells(day, day[:, None] * [1.0, -2.0, 0.5], *(np.array([[1.0, -2.0, 0.5]]) for _ in range(2)))
    for c, first in ((still, 1e-5), (slow, 2.0 / 8.0 / 2)):
        at = beside_rest(c, np.array([True, True]), np.full(3, 9.0), np.full(3, 8.0), np.ones(2), 1e-5)
        assert at.min() == pytest.approx(first)
        assert day[1] - at.max() == pytest.approx(first, rel=1e-5)  # the rounding of a time of a day is 1e-11
        assert len(at) <= 2 * np.ceil(np.log2(86400 / first))  # so a long rest costs little memory
    half = beside_rest(slow, np.array([True, False]), np.full(3, 1.0), np.full(3, 8.0), np.ones(2), 1e-5)
    assert half.min() == pytest.approx(first / 4)  # at half the pace, x is a quarter, and so is the way to come to it
    assert not len(beside_rest(slow, np.array([False, False]), *(np.full(3, 9.0),) * 2, np.ones(2), 1e-5))


def test_times_counted_from_1970_change_nothing():
    samples, times = wandering(30)[0], np.arange(30) / 16  # exact, also with what is added
    epoch = 1.7e9
    for path in ("smooth", "slerp"):
        plain = plan(HIDE, samples, times, DRIVE, limits=LIMITS, path=path)
        late = plan(HIDE, samples, times + epoch, DRIVE, limits=LIMITS, path=path)
        np.testing.assert_array_equal(late.table["theta"], plain.table["theta"])
        np.testing.assert_allclose(late.table["t"] - epoch, plain.table["t"], rtol=0, atol=2.4e-7)  # its last digit
        np.testing.assert_allclose(late.asked_at - epoch, plain.asked_at, rtol=0, atol=2.4e-7)
        np.testing.assert_allclose(np.subtract(late.report.slowed, epoch), plain.report.slowed, rtol=0, atol=2.4e-7)
    tilts = rotation.ry(np.array([0, 40, 73, 40, 0]) * deg)
    told = []
    for zero in (0.0, epoch):
        with pytest.raises(MotionError) as caught:
            plan(HIDE, tilts, zero + np.arange(5), DRIVE, limits=LIMITS)
        told.append([(fault.start - zero, fault.stop - zero) for fault in caught.value.faults])
    np.testing.assert_allclose(told[0], told[1], rtol=0, atol=2.4e-7)
