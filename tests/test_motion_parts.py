"""Parts of motion by themselves: the cells of the time scaling, a tick of the joystick, what a report tells."""

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline

from legloop import Convention, deg, rotation
from legloop.lesson.cases import bird_hide
from legloop.workshop.drive import BeltDrive
from legloop.workshop.motion import MotionError, MotionLimits, blocks, jog, plan
from legloop.workshop.motion.timing import caps, cells
from legloop.workshop.units import mm

HIDE = bird_hide()
DRIVE = BeltDrive(20, 60, pitch=2 * mm, centre_distance=60 * mm)
LIMITS = MotionLimits(90 * deg, 400 * deg, tick=0.01)
MACHINE = Convention(rotation.ry(0.3), rotation.rx(-0.4), (2, 0, 1), (1, -1, 1), (0.2, -0.5, 1.0))


def test_cells_bound_rate_and_curvature_as_scipy_has_them():
    rng = np.random.default_rng(5)
    s = np.cumsum(rng.uniform(0.1, 1, 9))
    q, leaving, arriving = (rng.normal(size=(n, 3)) for n in (9, 8, 8))
    found = cells(s, q, leaving, arriving)
    for k in range(8):
        ends = s[k : k + 2]
        cubic = CubicHermiteSpline(ends, q[k : k + 2], [leaving[k], arriving[k]])
        np.testing.assert_allclose(found.bend[k], np.abs(cubic(ends, 2)).max(axis=0), rtol=1e-9)  # linear in between
        fine = np.abs(cubic(np.linspace(*ends, 2001), 1)).max(axis=0)
        np.testing.assert_allclose(found.steepest[k], fine, rtol=1e-5)  # it may lie between two of the 2001


def test_the_slower_end_of_a_cell_sets_its_pace():
    still = np.zeros((3, 3))
    standing = cells(np.arange(4.0), np.zeros((4, 3)), still, still)
    pace, nowhere = np.array([1.0, 0.5, 1.0, 1.0]), np.zeros(4, dtype=bool)
    most = caps(standing, np.ones(3), np.ones(3), pace, nowhere)
    np.testing.assert_allclose(most, [0.25, 0.25, 0.25, 1.0], rtol=1e-12)  # squares; a knot obeys both its cells


def test_a_tick_of_the_stick_is_driven_at_the_mean_of_both_speeds():
    now = jog(HIDE, rotation.ry(5 * deg), [0.3, 0.1, 0], 0.01, drive=DRIVE, limits=LIMITS)
    for rate in (0.3, 0.0, -0.2):
        last, now = now, jog(HIDE, now, [rate, 0.1, 0], 0.01, drive=DRIVE, limits=LIMITS)
        assert np.abs(now.velocity - last.velocity).max() > 0.01
        np.testing.assert_allclose(now.theta - last.theta, (now.velocity + last.velocity) / 200, rtol=0, atol=1e-12)


def test_the_nearest_path_does_not_depend_on_the_convention():
    samples, times = rotation.ry(np.array([0, 40, 73, 40, 0]) * deg), np.arange(5)  # legs close up to 70°
    plain = plan(HIDE, samples, times, DRIVE, limits=LIMITS, unreachable="nearest")
    told = MACHINE.orientation_to_theirs(samples)
    theirs = plan(HIDE, told, times, DRIVE, convention=MACHINE, limits=LIMITS, unreachable="nearest")
    assert plain.report.deviation > 3 * deg
    assert theirs.report.deviation == pytest.approx(plain.report.deviation, abs=1e-6)
    # the table follows a path that is sought to 1e-10, on knots that rounding may put elsewhere: CUBIC is 1e-6
    np.testing.assert_allclose(MACHINE.angles_to_ours(theirs.table["theta"]), plain.table["theta"], rtol=0, atol=1e-5)


def test_the_report_of_blocks_is_that_of_the_whole(monkeypatch):
    times = np.arange(400) * 0.03
    samples = rotation.from_rpy(*(0.3 * np.sin(times / period) for period in (1.0, 1.4, 1.9)))
    travel = np.stack([HIDE.home_angles() - 60 * deg, HIDE.home_angles() + 60 * deg], axis=1)
    limits = MotionLimits(90 * deg, 400 * deg, tick=0.01, travel=travel)
    whole = plan(HIDE, samples, times, DRIVE, limits=limits).report
    monkeypatch.setattr(blocks, "BLOCK", 37)
    monkeypatch.setattr(blocks, "AHEAD", 60)
    parts = plan(HIDE, samples, times, DRIVE, limits=limits).report
    for name in (
        "lowest",
        "highest",
        "travel_left",
        "reach_left",
        "volume",
        "evenness",
        "rounding",
        "rounding_bound",
    ):
        np.testing.assert_allclose(getattr(parts, name), getattr(whole, name), rtol=1e-6, err_msg=name)


def test_a_stretch_is_told_with_its_least_evenness():
    samples = rotation.ry(np.array([0, 30, 60, 68, 60]) * deg)
    slack = MotionLimits(300 * deg, 1000 * deg, tick=0.01, evenness=0.0)
    least = plan(HIDE, samples, range(5), DRIVE, limits=slack).report.evenness
    limits = MotionLimits(300 * deg, 1000 * deg, tick=0.01, evenness=1.5 * least)  # at twice, what lacks is as much
    with pytest.raises(MotionError, match="nearly singular") as caught:
        plan(HIDE, samples, range(5), DRIVE, limits=limits)
    # the report is a bound, to five percent; the fault is at a knot
    assert least <= caught.value.faults[0].worst <= least / 0.94
