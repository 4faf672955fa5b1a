"""The drive stage: belt geometry against a convex hull, steps against fractions, sizes against brute force.

Sources: pitch diameters, belt length and teeth in mesh are geometry; their figures are recomputed by hand for these
tests, and no published values. Six teeth in mesh, and motors of 200 full steps: common practice, no source. The rest
needs no source: it is checked by another route here.
"""

import json
import math
import pickle
import re
import warnings
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.spatial import ConvexHull

from common import FULL
from legloop import (
    Convention,
    Mechanism,
    certify,
    deg,
    forward_kinematics,
    inverse_kinematics,
    jacobian,
    largest_tilt,
    rotation,
)
from legloop.lesson.cases import bird_hide, bird_hide_camera, named_joints, random_joints, reachable
from legloop.reach import cone
from legloop.workshop.drive import BeltDrive, DriveWarning, size_drive, standard_centre_distance, worst
from legloop.workshop.drive import motor as curves
from legloop.workshop.units import mm, rpm

SIDE = 1500  # corners of the polygon that stands for a pitch circle; it is short by 1 - sinc(pi / 1500) = 7e-7


def drive(motor=20, joint=60, **more):
    return BeltDrive(motor, joint, **{"pitch": 2 * mm, "centre_distance": 60 * mm, **more})


def quiet(*args, **more):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DriveWarning)
        return BeltDrive(*args, **more)


def random_drives(count, seed):
    """Drives of all proportions, speeding up as well as slowing down, from nearly touching to far apart."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        teeth, pitch = rng.integers(8, 120, 2), rng.uniform(1.5, 6) * mm
        least = teeth.sum() * pitch / math.pi / 2
        found.append(quiet(*teeth, pitch=pitch, centre_distance=least * rng.uniform(1.001, 4)))
    return found


def circles(d):
    """The two pitch circles as points (2, n, 2): the motor at the origin, the joint on the x axis."""
    t = 2 * np.pi * np.arange(SIDE) / SIDE
    rim = np.stack([np.cos(t), np.sin(t)], axis=1)
    return np.stack([a / 2 * rim + [x, 0] for a, x in zip(d.pitch_diameters, (0, d.centre_distance), strict=True)])


# --- geometry -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("teeth", "diameter"), [(16, 10.186), (20, 12.732), (36, 22.918), (60, 38.197)])
def test_pitch_diameters_of_2_mm_pulleys(teeth, diameter):
    """A circle of z p round: z p / pi; figures recomputed, rounded to 0.001 mm."""
    assert quiet(teeth, 20, pitch=2 * mm, centre_distance=70 * mm).pitch_diameters[0] / mm == pytest.approx(
        diameter, abs=5e-4
    )
    assert quiet(20, teeth, pitch=2 * mm, centre_distance=70 * mm).pitch_diameters[1] / mm == pytest.approx(
        diameter, abs=5e-4
    )


def test_belt_of_20_and_60_teeth_60_mm_apart():
    """Geometry; figures recomputed: exact 202.712 mm, the usual approximation 202.702 mm, 8.64 teeth in mesh."""
    d = drive()
    assert d.belt_length / mm == pytest.approx(202.712, abs=5e-4)
    assert d.teeth_in_mesh == pytest.approx(8.64, abs=5e-3)
    small, large, C = *d.pitch_diameters, d.centre_distance
    usual = 2 * C + math.pi / 2 * (large + small) + (large - small) ** 2 / (4 * C)
    assert usual / mm == pytest.approx(202.702, abs=5e-4)


@pytest.mark.parametrize("d", random_drives(25, seed=1), ids=lambda d: f"{d.motor_teeth}:{d.joint_teeth}")
def test_a_taut_belt_is_the_convex_hull_of_its_two_pulleys(d):
    motor, joint = circles(d)
    hull = ConvexHull(np.concatenate([motor, joint]))
    assert d.belt_length == pytest.approx(hull.area, rel=2e-6)  # the area of a plane hull is its perimeter
    covered = np.isin(np.arange(2 * SIDE), hull.vertices).reshape(2, SIDE).sum(axis=1) / SIDE
    small = int(d.joint_teeth < d.motor_teeth)
    teeth = (d.motor_teeth, d.joint_teeth)[small]
    assert d.teeth_in_mesh == pytest.approx(teeth * covered[small], abs=teeth * 2 / SIDE)  # a corner at either end


def test_equal_pulleys_and_an_exchange_of_the_two():
    d = drive(30, 30)
    assert d.belt_length == pytest.approx(2 * 60 * mm + 60 * mm, rel=1e-15)  # 30 teeth of 2 mm round each half turn
    assert d.teeth_in_mesh == 15
    assert d.lean == 0
    forth, back = drive(20, 60), drive(60, 20)
    assert forth.belt_length == pytest.approx(back.belt_length, rel=1e-15)
    assert forth.teeth_in_mesh == pytest.approx(back.teeth_in_mesh, rel=1e-15)
    assert forth.lean == -back.lean
    assert forth.ratio == 3
    assert back.ratio == 1 / 3


def test_free_parts_touch_both_circles():
    for d in random_drives(20, seed=2):
        normal = np.array([-math.sin(d.lean), math.cos(d.lean)])  # a line leaning down towards the larger has it up
        first = d.pitch_diameters[0] / 2 * normal
        second = d.pitch_diameters[1] / 2 * normal + [d.centre_distance, 0]
        assert (second - first) @ normal == pytest.approx(0, abs=1e-15)
        assert np.linalg.norm(second - first) == pytest.approx(d.span, rel=1e-12)


@pytest.mark.parametrize("seed", range(20))
def test_standard_centre_distance_against_a_root_finder(seed):
    rng = np.random.default_rng(seed)
    motor, joint = (int(n) for n in rng.integers(8, 120, 2))
    pitch, least = rng.uniform(1.5, 6) * mm, (motor + joint) / math.pi / 2
    shortest = quiet(motor, joint, pitch=pitch, centre_distance=least * pitch * (1 + 1e-9)).belt_teeth
    for teeth in (math.ceil(shortest + 1e-3), math.ceil(shortest) + int(rng.integers(1, 200))):
        C = standard_centre_distance(motor, joint, teeth, pitch=pitch)
        assert quiet(motor, joint, pitch=pitch, centre_distance=C).belt_teeth == pytest.approx(teeth, rel=1e-14)
        found = brentq(
            lambda c, t=teeth: quiet(motor, joint, pitch=pitch, centre_distance=c).belt_teeth - t,
            least * pitch * (1 + 1e-9),
            teeth * pitch,
            xtol=1e-15,
        )
        # brentq leaves 1e-15 m; next to touching pulleys the length has a slope as small as 0.05
        assert pytest.approx(found, rel=1e-9) == C


def test_standard_centre_distance_of_equal_pulleys_is_plain_arithmetic():
    assert standard_centre_distance(20, 20, 70, pitch=2 * mm) == pytest.approx((70 - 20) / 2 * 2 * mm, rel=1e-15)
    with pytest.raises(ValueError, match=r"belt_teeth is 60; .* 20 and 60 teeth .* more than 68\.72 teeth"):
        standard_centre_distance(20, 60, 60, pitch=2 * mm)


# --- steps --------------------------------------------------------------------------------------------------


def test_full_steps_of_a_common_motor():
    """200 full steps of 1.8°: common practice, no source."""
    assert drive(20, 20, microsteps=1, centre_distance=40 * mm).step_angle / deg == pytest.approx(1.8, rel=1e-15)
    assert drive(microsteps=1).step_angle / deg == pytest.approx(0.6, rel=1e-15)
    assert drive().steps_per_joint_turn == 9600


@pytest.mark.parametrize("d", [drive(), drive(18, 47, microsteps=32), drive(60, 17, steps_per_turn=400)], ids=repr)
def test_steps_and_angles_are_inverse_and_exact(d):
    rng = np.random.default_rng(3)
    counts = np.concatenate([np.arange(-50, 51), rng.integers(-(10**9), 10**9, 2000), [2**50, -(2**50)]])
    np.testing.assert_array_equal(d.steps(d.angle(counts)), counts)
    per_turn = Fraction(d.steps_per_turn * d.microsteps * d.joint_teeth, d.motor_teeth)
    for quarters in range(-40, 41):  # exact: quarters of a turn, in rational arithmetic
        exact = per_turn * quarters / 4
        assert abs(Fraction(int(d.steps(quarters * math.pi / 2))) - exact) <= Fraction(1, 2) + Fraction(1, 10**9)
    theta = rng.uniform(-30, 30, 5000)
    assert np.abs(d.angle(d.steps(theta)) - theta).max() <= d.step_angle / 2 * (1 + 1e-9)  # rounding of theta itself


def test_rounding_once_does_not_accumulate():
    """18 to 47 teeth: one turn of the joint is 8355.55… steps, so a turn is never a whole number of them."""
    d = drive(18, 47)
    assert d.steps_per_joint_turn.denominator > 1
    small = 0.4 * d.step_angle  # each move by itself would be rounded to nothing
    path = small * np.arange(100_001)
    assert np.rint(np.diff(path) / d.step_angle).sum() == 0
    assert d.steps(path)[-1] == 40_000
    turns = d.steps(2 * np.pi * np.arange(1, 1001))
    assert turns[-1] == round(1000 * d.steps_per_joint_turn)
    assert set(np.diff(turns).tolist()) == {8355, 8356}


def test_shapes_ties_and_types():
    d = drive()
    assert isinstance(d.steps(0.3), np.int64)
    assert d.steps(np.zeros((4, 5, 3))).shape == (4, 5, 3)
    assert d.steps([]).shape == (0,)
    assert d.angle(np.zeros((2, 3), dtype=np.int32)).shape == (2, 3)
    assert d.angle(7.0) == d.angle(7)
    one = quiet(
        20, 20, pitch=2 * mm, centre_distance=30 * mm, steps_per_turn=4, microsteps=1
    )  # ties are exact floats
    assert one.steps(np.array([0.5, 1.5, 2.5, -0.5]) * np.pi / 2).tolist() == [0, 2, 2, 0]


def test_signs_zeros_and_order_come_from_the_convention():
    d, rng = drive(), np.random.default_rng(4)
    built = Convention(leg_order=(2, 0, 1), sense=(1, -1, -1), zero=(-75 * deg, 10 * deg, -80 * deg))
    ours = rng.uniform(-2, 2, (50, 3))
    by_hand = np.rint((ours[:, [2, 0, 1]] - built.zero) * [1, -1, -1] / d.step_angle)
    np.testing.assert_array_equal(d.steps(ours, convention=built), by_hand)
    assert np.abs(d.angle(d.steps(ours, convention=built), convention=built) - ours).max() <= d.step_angle / 2 + 1e-12
    assert (d.steps(built.angles_to_ours(np.zeros(3)), convention=built) == 0).all()  # its zero is where it counts 0
    np.testing.assert_array_equal(d.steps(ours, convention=Convention()), d.steps(ours))


# --- torque, speed, open belt -------------------------------------------------------------------------------


def test_power_goes_across_less_the_losses():
    for d in random_drives(20, seed=5):
        assert d.joint_torque(0.3) * d.joint_speed(50.0) == pytest.approx(d.efficiency * 0.3 * 50.0, rel=1e-14)
        assert d.motor_torque(d.joint_torque(0.3)) == pytest.approx(0.3, rel=1e-14)
        assert d.motor_speed(d.joint_speed(50.0)) == pytest.approx(50.0, rel=1e-14)
    d = drive(efficiency=1.0)
    pull = d.belt_pull(d.joint_torque(0.3))
    assert pull == pytest.approx(0.3 / (d.pitch_diameters[0] / 2), rel=1e-14)  # the same belt pulls at the motor


def test_travel_of_a_clamped_belt_against_the_hull():
    """The clamp may turn while all its arc is under the belt: counted on the points of the hull."""
    for d in random_drives(10, seed=6):
        hull = ConvexHull(np.concatenate(circles(d)))
        covered = np.isin(np.arange(SIDE, 2 * SIDE), hull.vertices).sum() / SIDE * 2 * np.pi
        clamp = 0.3 * d.pitch_diameters[1]  # 0.6 rad of its circumference
        found = d.open_belt(0.2, clamp=clamp)
        assert found.most == pytest.approx(covered - 0.6, abs=4 * np.pi / SIDE)
        assert found.left == pytest.approx((found.most - 0.2) / 2, rel=1e-14)
        assert d.open_belt(found.most, clamp=clamp).left == 0
        assert found.length == d.belt_length


def test_a_clamped_belt_gives_about_half_a_turn():
    """Common practice, no source."""
    assert drive(30, 30).open_belt(0, clamp=0).most == np.pi
    found = drive().open_belt(90 * deg, clamp=10 * mm, tail=4 * mm)
    assert found.most / deg == pytest.approx(174.5, abs=0.05)  # 180° + 2 * 12.25° - 30.0°
    assert found.length / mm == pytest.approx(210.712, abs=5e-4)
    with pytest.raises(
        ValueError, match=r"travel is 200°; the clamp .* it leaves 174\.5°: take a larger joint pulley"
    ):
        drive().open_belt(200 * deg, clamp=10 * mm)
    with pytest.raises(ValueError, match="it leaves 0°"):
        drive().open_belt(0.1, clamp=119 * mm)


# --- advice and bad input -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("made", "told"),
    [
        (
            lambda: drive(10, 60, centre_distance=45 * mm),
            r"3\.\d+ teeth are in mesh on the motor pulley, practice asks for 6",
        ),
        (lambda: drive(60, 10, centre_distance=45 * mm), "teeth are in mesh on the joint pulley"),
        (lambda: drive(12, 60), r"5\.02 teeth are in mesh on the motor pulley"),
        (
            lambda: drive(centre_distance=30 * mm),
            r"centre_distance is 30 mm, out of the usual 40\.46 to 101\.9 mm .* tensioner",
        ),
        (lambda: drive(centre_distance=150 * mm), "centre_distance is 150 mm, .* a long belt is soft"),
        (lambda: drive(pitch=0.080 * 25.4 * mm), r"pitch is 2\.032 mm, which is the 0\.080 in pitch: .* 3\.2 mm off"),
        (lambda: drive(pitch=2.03 * mm), r"pitch is 2\.03 mm, which is neither 2 mm nor 0\.080 in"),
    ],
)
def test_what_practice_advises_against_is_warned_of_where_it_is_made(made, told):
    with pytest.warns(DriveWarning, match=told) as caught:
        d = made()
    assert [str(warning.message) for warning in caught] == list(d.notes)
    assert f"note: {d.notes[0]}" in repr(d)
    assert issubclass(DriveWarning, UserWarning)


def test_the_warning_names_the_line_that_makes_the_drive():
    with pytest.warns(DriveWarning) as caught:
        BeltDrive(10, 60, pitch=2 * mm, centre_distance=45 * mm)
    assert caught[0].filename == __file__


def test_good_drives_are_quiet():
    """Six teeth in mesh at least: common practice, no source."""
    for d in (drive(), drive(16, 60), drive(20, 60, pitch=3 * mm, centre_distance=90 * mm)):
        assert d.notes == ()
        assert d.teeth_in_mesh >= 6


@pytest.mark.parametrize(
    ("wrong", "error", "told"),
    [
        ({"motor": 20.5}, TypeError, r"motor_teeth is 20\.5; it is a count and must be a whole number of teeth"),
        ({"joint": "60"}, TypeError, "joint_teeth is '60'"),
        ({"joint": True}, TypeError, "joint_teeth is True"),
        ({"motor": 5}, ValueError, "motor_teeth is 5; it must be at least 6 teeth"),
        ({"pitch": 2}, ValueError, r"pitch is 2 m .* between 0\.5 and 50 mm; .* for millimetres write 2\*mm"),
        ({"pitch": 2e-6}, ValueError, r"pitch is 2e-06 m \(0\.002 mm\)"),
        ({"pitch": np.nan}, ValueError, "pitch is nan"),
        ({"pitch": [2e-3]}, ValueError, r"pitch has shape \(1,\)"),
        ({"centre_distance": 60}, ValueError, r"centre_distance is 60 m .* write 60\*mm"),
        (
            {"centre_distance": 25 * mm},
            ValueError,
            r"centre_distance is 25 mm; .* overlap below 25\.46 mm: move the shafts",
        ),
        ({"centre_distance": -60 * mm}, ValueError, "centre_distance is -0.06 m"),
        ({"centre_distance": None}, TypeError, "centre_distance is None"),
        ({"steps_per_turn": 0}, ValueError, "steps_per_turn is 0"),
        ({"steps_per_turn": 0.72}, TypeError, r"a motor of 0\.72° per full step makes 500 .* write 500"),
        ({"steps_per_turn": np.float32(200)}, TypeError, r"is 200\.0, a float; it is a count: write 200"),
        ({"steps_per_turn": 200.5}, TypeError, r"is 200\.5; .*whole number of full steps"),
        ({"steps_per_turn": np.nan}, TypeError, r"is nan; .*whole number of full steps"),
        ({"microsteps": 16.0}, TypeError, r"microsteps is 16\.0"),
        ({"width": 6}, ValueError, r"width is 6 m .* write 6\*mm"),
        ({"efficiency": 95}, ValueError, r"efficiency is 95; it must lie in \(0, 1\]: for a percentage write 0\.95"),
        ({"efficiency": 0}, ValueError, r"efficiency is 0; it must lie in \(0, 1\]$"),
    ],
)
def test_bad_drives(wrong, error, told):
    with pytest.raises(error, match=told):
        drive(**wrong)


def test_touching_pulleys_are_refused_and_the_next_float_is_not():
    least = (20 * 2 * mm / math.pi + 60 * 2 * mm / math.pi) / 2
    with pytest.raises(ValueError, match="overlap"):
        drive(centre_distance=least)
    assert quiet(20, 60, pitch=2 * mm, centre_distance=np.nextafter(least, 1)).teeth_in_mesh > 0


@pytest.mark.parametrize(
    ("call", "error", "told"),
    [
        (lambda d: d.steps([0, np.nan]), ValueError, r"theta\[1\] is nan"),
        (lambda d: d.steps("home"), TypeError, "theta must hold real numbers"),
        (lambda d: d.steps(1e300), ValueError, r"more than 2\*\*53 steps, up to 1e\+300 rad"),
        (lambda d: d.angle(2.5), ValueError, r"steps holds 2\.5; a motor makes whole microsteps"),
        (lambda d: d.angle(2**60), ValueError, r"more than 2\*\*53"),
        (lambda d: d.angle(np.inf), ValueError, "steps is inf"),
        (lambda d: d.steps([1.0, 2.0], convention=Convention()), ValueError, "theta has shape"),
        (lambda d: d.steps(np.zeros(3), convention="mine"), TypeError, "convention must be a Convention"),
        (lambda d: d.joint_torque(None), TypeError, "motor_torque is None"),
        (lambda d: d.open_belt(-0.1, clamp=0), ValueError, "travel is -0.1 rad; .* high - low"),
        (lambda d: d.open_belt(1.0, clamp=10), ValueError, r"clamp is 10 m .* write 10\*mm"),
        (lambda d: d.open_belt([1.0, 2.0], clamp=0), ValueError, r"travel has shape \(2,\)"),
        (lambda d: d.open_belt(1.0, clamp=0, tail=-1), ValueError, "tail is -1 m"),
    ],
)
def test_bad_calls(call, error, told):
    with pytest.raises(error, match=told):
        call(drive())


def test_a_drive_is_a_value():
    d = drive(np.int64(20), np.int32(60))
    assert d == drive()
    assert hash(d) == hash(drive())
    assert type(d.motor_teeth) is int
    assert pickle.loads(pickle.dumps(d)) == d
    assert replace(d, microsteps=32).step_angle == d.step_angle / 2
    with pytest.raises(AttributeError):
        d.pitch = 3 * mm
    assert "20 : 60, ratio 3" in repr(d)
    assert "8.64 teeth in mesh" in repr(d)


# --- motor curve and ratio ----------------------------------------------------------------------------------


def random_curve(rng):
    """Two to eight rows, with bumps and a torque of zero here and there."""
    n = int(rng.integers(2, 9))
    speed = np.concatenate([[0.0], np.cumsum(rng.uniform(1, 30, n - 1))])
    torque = rng.uniform(0.05, 0.5, n) * (rng.uniform(size=n) > 0.15)
    torque[0] = max(torque[0], 0.05)
    return np.stack([speed, torque], axis=1)


@pytest.mark.parametrize("seed", range(60))
def test_ratios_against_brute_force(seed):
    """Every ratio of a fine grid tried against every pair; the answer lies within one step of the grid."""
    rng = np.random.default_rng(seed)
    rows, n = random_curve(rng), int(rng.integers(1, 6))
    speed, torque = rng.uniform(0.5, 8, n), rng.uniform(0.02, 1.5, n)
    grid = np.linspace(0, 60, 120_001)
    have = grid[:, None] * curves.torque_at(rows, grid[:, None] * speed)
    does = (have >= torque).all(axis=1)
    least = curves.smallest_ratio(rows, speed, torque)
    step = grid[1]
    if not does.any():  # at most a window that is narrower than the grid
        most = curves.largest_ratio(rows, speed, torque, least) if np.isfinite(least) else least
        assert most == np.inf or most - least < step
        return
    first = int(np.argmax(does))
    if least < grid[first] - step:  # a narrow window before it: then it must hold at that ratio itself
        assert (least * curves.torque_at(rows, least * speed) >= torque * (1 - 1e-9)).all()
    else:
        assert least == pytest.approx(grid[first], abs=step)
        end = first + int(np.argmin(np.append(does[first:], False))) - 1
        most = curves.largest_ratio(rows, speed, torque, least)
        assert most == pytest.approx(grid[end], abs=step) or most > grid[-1]


def test_brute_force_met_both_outcomes():
    """The test above is of use only if its cases are of both kinds."""
    found = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        rows, n = random_curve(rng), int(rng.integers(1, 6))
        found.append(np.isfinite(curves.smallest_ratio(rows, rng.uniform(0.5, 8, n), rng.uniform(0.02, 1.5, n))))
    assert 10 < sum(found) < 55


def test_ratio_at_rest_and_without_load():
    rows = curves.checked([(0, 0.4), (100, 0.1)])
    assert curves.smallest_ratio(rows, np.zeros(2), np.array([1.0, 0.6])) == 2.5
    assert curves.largest_ratio(rows, np.zeros(2), np.array([1.0, 0.6]), 2.5) == np.inf
    assert curves.smallest_ratio(rows, np.array([2.0]), np.zeros(1)) == 0
    assert curves.largest_ratio(rows, np.array([2.0]), np.zeros(1), 0.0) == 50  # its last speed
    assert curves.most_power(rows) == pytest.approx(0.4**2 / (4 * 0.003), rel=1e-12)  # crest of 0.4 x - 0.003 x^2


def test_a_dip_counts_at_all_higher_speeds():
    for seed in range(30):
        rows = random_curve(np.random.default_rng(seed))
        kept = curves.falling(rows)
        speed = np.union1d(np.linspace(0, rows[-1, 0], 20_001), rows[:, 0])
        lowest = np.minimum.accumulate(curves.torque_at(rows, speed))
        assert (np.diff(kept[:, 0]) > 0).all()
        # the grid may miss where a fall meets the level of before, by one step of a steep piece
        steep = np.abs(np.diff(rows[:, 1]) / np.diff(rows[:, 0])).max() * speed[-1] / 20_000
        np.testing.assert_allclose(curves.torque_at(kept, speed), lowest, rtol=0, atol=steep + 1e-12)
    dip = [(0, 0.4), (20, 0.1), (30, 0.4), (60, 0.05)]
    np.testing.assert_allclose(
        curves.falling(np.array(dip)), [(0, 0.4), (20, 0.1), (30, 0.1), (390 / 7, 0.1), (60, 0.05)]
    )
    hide = bird_hide()
    found = size_drive(hide, np.eye(3), **{**TASK, "curve": dip})
    filled = size_drive(hide, np.eye(3), **{**TASK, "curve": [(0, 0.4), (20, 0.1), (390 / 7, 0.1), (60, 0.05)]})
    assert found.ratio == pytest.approx(filled.ratio, rel=1e-12)
    assert found.largest == pytest.approx(filled.largest, rel=1e-12)


def test_most_power_against_a_fine_grid():
    for seed in range(30):
        rows = random_curve(np.random.default_rng(seed))
        speed = np.linspace(0, rows[-1, 0], 100_001)
        assert curves.most_power(rows) == pytest.approx((speed * curves.torque_at(rows, speed)).max(), rel=1e-4)


@pytest.mark.parametrize(
    ("curve", "told"),
    [
        ([0, 1], r"curve has shape \(2,\)"),
        ([(0, 0.4)], "at least two"),
        ([(10, 0.4), (20, 0.3)], r"curve begins at 10 rad/s; its first row is the motor at rest"),
        ([(0, 0.4), (20, 0.3), (20, 0.2)], r"curve\[2\] has the speed 20 rad/s after 20; sort"),
        ([(0, 0.4), (20, -0.3)], r"curve\[1\] has the torque -0\.3"),
        ([(0, 0.0), (20, 0.0)], "no torque at any speed"),
        ([(0, 0.4), (20, np.nan)], r"curve\[1, 1\] is nan"),
    ],
)
def test_bad_curves(curve, told):
    with pytest.raises(ValueError, match=told):
        size_drive(bird_hide(), np.eye(3), **{**TASK, "curve": curve})


# --- sizing -------------------------------------------------------------------------------------------------

CURVE = ((0, 0.70), (150 * rpm, 0.68), (300 * rpm, 0.61), (600 * rpm, 0.4), (900 * rpm, 0.22), (1200 * rpm, 0.11))
TASK = {**bird_hide_camera(), "speed": 120 * deg, "curve": CURVE}


@pytest.fixture(scope="module")
def promised():
    return certify(bird_hide(), (1, 1, 1), tilt=30 * deg, torsion=(-20 * deg, 20 * deg))


@pytest.fixture(scope="module")
def sized(promised):
    return size_drive(bird_hide(), promised, **TASK)


def unit_vectors(rng, count):
    v = rng.normal(size=(count, 3))
    return v / np.linalg.norm(v, axis=1, keepdims=True)


def inside(c, count, seed):
    """Orientations of the set of a certificate, a third of them on its rim, and its corners in torsion too."""
    draw = np.random.default_rng(seed).uniform(-1, 1, (3, count))
    tilt = np.minimum(abs(draw[0]) * 1.5, 1) * c.tilt
    low, high = c.torsion
    return rotation.from_tilt_torsion(
        tilt, draw[1] * np.pi, np.clip((low + high + 1.4 * draw[2] * (high - low)) / 2, low, high)
    )


def test_torque_of_a_list_is_the_slope_of_the_potential_energy(hide, promised):
    """Independent route: the height of the payload, differenced through the forward kinematics; no Jacobian."""
    R = inside(promised, 40, seed=7)
    theta, tiny = inverse_kinematics(hide, R), 1e-5
    arm = np.array(TASK["offset"])
    for up in (*np.eye(3), *unit_vectors(np.random.default_rng(21), 5)):

        def energy(angles, up=up):
            return 0.9 * 9.80665 * (forward_kinematics(hide, angles, near=R) @ arm) @ up

        slopes = [(energy(theta + tiny * e) - energy(theta - tiny * e)) / (2 * tiny) for e in np.eye(3)]
        found = size_drive(hide, R, **{**TASK, "up": up})
        most = np.abs(slopes).max()
        assert found.torque.bound == found.torque.met == pytest.approx(most, rel=1e-6)  # tiny^2, 1e-16/tiny
        assert not found.proved


def test_a_drive_that_is_chosen_for_another_up_is_too_weak(hide, promised, sized):
    """The hide's joint lies on its side. Sized as if it stood upright, the drive lacks the margin."""
    upright = size_drive(hide, promised, **{**TASK, "up": (0, 0, 1)})
    assert upright.torque.bound < 0.6 * sized.torque.bound
    assert upright.ratio < sized.least
    with pytest.raises(TypeError, match="'up'"):
        size_drive(hide, promised, **{name: value for name, value in TASK.items() if name != "up"})
    with pytest.raises(TypeError, match="'gravity'"):
        size_drive(hide, promised, **TASK, gravity=(0, 0, -9.80665))


def test_speed_and_step_of_a_list_by_small_turns(hide, promised):
    R, tiny = inside(promised, 200, seed=8), 1e-5
    theta = inverse_kinematics(hide, R)
    found = size_drive(hide, R, **TASK)
    axes = np.random.default_rng(9).normal(size=(3000, 3))
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    turn = rotation.from_rotation_vector(tiny * axes)
    change = inverse_kinematics(hide, turn[:, None] @ R, near=theta) - theta
    rate = np.abs(change).max() / tiny
    # 3000 directions leave gaps of some 3°, and miss the worst one by half a square of that
    assert 0.995 < rate * TASK["speed"] / found.speed.met < 1.001
    moved = [forward_kinematics(hide, theta + tiny * e, near=R) for e in np.eye(3)]
    turned = max(rotation.angle_between(R, other).max() for other in moved) / tiny
    assert found.step.met == pytest.approx(turned, rel=1e-3)
    every = [np.array([1, a, b]) for a in (1, -1) for b in (1, -1)]
    turned = (
        max(rotation.angle_between(R, forward_kinematics(hide, theta + tiny * q, near=R)).max() for q in every) / tiny
    )
    assert found.corner.met == pytest.approx(turned, rel=1e-3)


def attack(m, c, found, count=4000, seed=10):
    """Nothing in a sample of the set may exceed the bounds, and what is called met must not either."""
    here = size_drive(m, inside(c, count, seed), mode=c.mode, **{**TASK, "speed": 1 * deg})
    scale = found.speed.bound / (np.sin(m.distal) / np.sqrt(c.least_discriminant)).max()
    for name, factor in (("torque", 1), ("speed", scale / deg), ("step", 1), ("corner", 1)):
        bound, met = getattr(found, name)
        assert getattr(here, name).met * factor <= bound, name
        assert met <= bound, name


def test_bounds_hold_over_the_promised_reach_and_are_sharp(hide, promised, sized):
    attack(hide, promised, sized, count=40_000)
    assert sized.proved
    for name in ("torque", "step", "corner"):
        bound, met = getattr(sized, name)
        assert bound <= 1.05 * met * (1 + 1e-9)
    assert sized.speed.bound <= 1.06 * sized.speed.met  # the root of a tenth
    assert 0.85 * sized.ratio < sized.least < sized.ratio < sized.largest


KINDS = {**named_joints(), **{f"random {k}": m for k, m in enumerate(random_joints(6, seed=11))}}


@pytest.mark.parametrize("m", [pytest.param(m, id=name) for name, m in KINDS.items()][:: 1 if FULL else 2])
def test_bounds_hold_for_joints_of_every_kind(m, monkeypatch):
    monkeypatch.setattr("legloop.workshop.drive.worst._BUDGET", 100_000)  # they hold all the same; it saves time
    largest = largest_tilt(m, (1, 1, 1), torsion=(-10 * deg, 15 * deg), resolution=1 * deg, budget=30_000)
    if largest.certificate is None:
        with pytest.raises(ValueError, match=r"the certificate is (refuted|undecided): .* largest_tilt"):
            size_drive(m, largest.beyond, **TASK)
        return
    c = certify(m, (1, 1, 1), tilt=0.7 * largest.tilt, torsion=(-10 * deg, 15 * deg))
    attack(m, c, size_drive(m, c, moment=0.1, margin=1.0, **{**TASK, "speed": 1 * deg}))


@pytest.mark.parametrize("alpha_1", [25, 60, 90, 140])
def test_how_far_normals_move(alpha_1):
    """Small turns about axes of all directions, at poses up to the edge of reach: within the bound, and near it."""
    m = Mechanism.symmetric(proximal=alpha_1 * deg, distal=70 * deg, base_cone=60 * deg, platform_cone=60 * deg)
    rng, rho = np.random.default_rng(14), np.array([1e-4])  # far below the margin: D hardly changes within it
    turns = rotation.from_rotation_vector(rho * unit_vectors(rng, 300))
    shares = []
    for pose in reachable(m, 60, seed=15, margin=0.3 * deg):
        ends = turns @ pose
        start = inverse_kinematics(m, pose)
        there = inverse_kinematics(m, ends, near=start)
        first, last = (
            np.cross(m.elbow_axes(a), m.platform_axes_at(b)) / np.sin(m.distal[:, None])
            for a, b in ((start, pose), (there, ends))
        )
        a, b, c = m.leg_equation(ends)
        least = (a * a + b * b - c * c).min(axis=0)[:, None] * (1 - 1e-3)
        moved = np.linalg.norm(last - first, axis=-1).max(axis=0)
        shares.append(moved / worst.normal_moves(m, least, rho)[:, 0])
    assert 0.95 < np.max(shares) <= 1


def test_how_far_the_jacobian_moves():
    """Over random matrices the bound holds; for a diagonal one with the worst change it is met."""
    rng = np.random.default_rng(16)
    n, d = 4000, rng.uniform(0, 0.05, (3, 4000))
    A, g = rng.normal(size=(n, 3, 3)), rng.normal(size=(n, 3))  # normals in the columns
    E = np.swapaxes(unit_vectors(rng, 3 * n).reshape(n, 3, 3) * d.T[:, :, None], 1, 2)
    before = np.linalg.inv(np.swapaxes(A, 1, 2)) * g[:, None]
    after = np.linalg.inv(np.swapaxes(A + E, 1, 2)) * (g + d.T * rng.choice([-1, 1], (n, 3)))[:, None]
    column, corner = worst.jacobian_moves(np.swapaxes(A, 1, 2), before, d)
    known = np.isfinite(corner)
    assert 0.8 < known.mean() < 1
    assert (np.linalg.norm(after - before, axis=1).T[:, known] <= column[:, known]).all()
    every = np.array([(a, b, c) for a in (1, -1) for b in (1, -1) for c in (1, -1)])
    assert (np.linalg.norm((after - before) @ every.T, axis=1).max(axis=1)[known] <= corner[known]).all()
    s, e, g = 0.5, 0.1, 0.8
    column, corner = worst.jacobian_moves(
        np.diag([1, 1, s])[None], np.diag([0, 0, g / s])[None], np.array([[0, 0, e]]).T
    )
    assert column[2, 0] == pytest.approx((g + e) / (s - e) - g / s, rel=1e-12)
    assert corner[0] == pytest.approx(e * (1 + g / s) / (s - e), rel=1e-12)


@pytest.mark.parametrize("up", [(0, 0, 1), (1, 0, 0)])
@pytest.mark.parametrize("offset", [(0, 0, 0.06), (0.02, 0.01, 0.05)])
def test_bounds_over_single_boxes(hide, promised, up, offset):
    """Boxes of several sizes, those too large for a bound of their own among them, against all their corners."""
    load = worst.Load(0.9, np.array(offset), np.array(up), 0.02)
    boxes, loose = cone.cone(30 * deg, -20 * deg, 20 * deg), 0
    for _ in range(9):
        at, most = worst._over(hide, promised, load, boxes)
        inner = cone.samples(boxes)
        here, _ = worst._over(hide, promised, load, cone.Boxes(inner, np.zeros_like(inner)))
        assert (here.reshape(3, 27, -1).max(axis=1) <= most).all()
        loose += int((most[1] == np.sin(60 * deg) / promised.least_volume).sum())
        boxes = cone.halves(boxes)
    assert loose > 10
    assert (most < 4 * at.max(axis=1, keepdims=True)).any()


def test_bounds_over_tiny_boxes_next_to_the_edge(hide):
    """There J changes fast: were its change left out of the torque, these boxes would tell."""
    c = certify(hide, (1, 1, 1), tilt=48 * deg, torsion=(-1 * deg, 1 * deg))
    load = worst.Load(0.9, np.array([0, 0, 0.06]), np.array([-6.0, 6.0, -7.0]) / 11, 0.0)
    size, rng = 1e-3, np.random.default_rng(20)
    centre = np.stack([np.full(500, c.tilt - size), rng.uniform(-np.pi, np.pi, 500), np.zeros(500)])
    boxes = cone.Boxes(centre, np.full_like(centre, size))
    _, most = worst._over(hide, c, load, boxes)
    inner = cone.samples(boxes)
    here, _ = worst._over(hide, c, load, cone.Boxes(inner, np.zeros_like(inner)))
    assert (here.reshape(3, 27, -1).max(axis=1) <= most).all()


def test_corner_of_joints_that_are_not_symmetric():
    every = np.array([(a, b, c) for a in (1, -1) for b in (1, -1) for c in (1, -1)])
    seen = set()
    for m in random_joints(12, seed=17):
        R = reachable(m, 1, seed=18, margin=10 * deg)
        J = jacobian(m, R, inverse_kinematics(m, R))[0]
        lengths = np.linalg.norm(J @ every.T, axis=0)
        seen.add(int(lengths.argmax()))
        found = size_drive(m, R, **{**TASK, "speed": 0.0, "mass": 0.0})
        assert found.corner.met == pytest.approx(lengths.max(), rel=1e-12)
    assert seen == {0, 1, 2, 3}


def test_bounds_with_another_side_up(hide, promised):
    more = {**TASK, "up": np.array([-6.0, 6.0, -7.0]) / 11}
    found = size_drive(hide, promised, **more)
    here = size_drive(hide, inside(promised, 4000, seed=19), **more)
    assert here.torque.met <= found.torque.bound
    assert found.torque.met <= found.torque.bound <= 1.05 * found.torque.met * (1 + 1e-9)


def test_bounds_next_to_a_singular_pose_are_loose_and_still_bounds(monkeypatch, hide, promised):
    """Out of boxes: what is left counts with the bounds it has, at worst with those of the least |det|."""
    monkeypatch.setattr("legloop.workshop.drive.worst._BUDGET", 50)
    strong = [(x, 100 * t) for x, t in CURVE]
    loose = size_drive(hide, promised, **{**TASK, "curve": strong})
    attack(hide, promised, loose)
    assert loose.step.bound == pytest.approx(np.sin(60 * deg) / promised.least_volume, rel=1e-12)


def test_a_set_of_one_orientation(hide):
    c = certify(hide, (1, 1, 1), tilt=0.0, torsion=(5 * deg, 5 * deg))
    found, listed = size_drive(hide, c, **TASK), size_drive(hide, rotation.rz(5 * deg), **TASK)
    for name in ("torque", "step", "corner"):
        assert getattr(found, name).bound == pytest.approx(getattr(listed, name).met, rel=1e-6)
    assert found.least == pytest.approx(listed.ratio, rel=1e-9)


def test_the_ratios_do_at_every_sample_and_a_smaller_one_does_not(hide, promised, sized):
    here = size_drive(hide, inside(promised, 20_000, seed=12), **TASK)
    speed, torque = here.pairs.T

    def carries(ratio):
        return ratio * 0.9 * curves.torque_at(sized.curve, ratio * speed) >= 2 * torque

    for ratio in np.linspace(sized.ratio, sized.largest, 20):
        assert carries(ratio).all()
    assert not carries(0.97 * sized.least).all()  # samples come near to the worst orientation, not onto it
    assert carries(here.ratio * (1 + 1e-9)).all()
    assert not carries(here.ratio * (1 - 1e-9)).all()
    assert here.ratio == here.least


def test_the_drive_that_is_chosen(hide, promised, sized):
    d = drive(20, 60)
    assert sized.ratio < d.ratio < sized.largest
    assert sized.margin_of(d) > 2
    exact = quiet(1000, round(1000 * sized.ratio), pitch=2 * mm, centre_distance=2.0)
    assert sized.margin_of(exact) == pytest.approx(2, rel=1e-3)  # the ratio rounded to 0.001
    R = inside(promised, 3000, seed=13)
    theta = inverse_kinematics(hide, R)
    count = d.steps(theta)
    stands = forward_kinematics(hide, d.angle(count), near=R)
    error = rotation.angle_between(stands, R).max()
    bound, met = sized.rounding_error(d)
    assert 0.5 * met < error <= bound * (1 + 1e-3)  # to first order: a step is 6e-4
    one = max(
        rotation.angle_between(stands, forward_kinematics(hide, d.angle(count + e), near=R)).max()
        for e in np.eye(3, dtype=int)
    )
    bound, met = sized.orientation_step(d)
    assert 0.9 * met < one <= bound * (1 + 1e-3)


def test_the_lessons_have_one_belt_and_one_camera():
    """Lesson 30 tries others on the way to it; what the other lessons build is the drive that it ends with."""
    lessons = Path(__file__).resolve().parent.parent / "notebooks"
    found = {"belt": set(), "camera": set()}
    for path in sorted(lessons.glob("*.ipynb")):
        book = json.loads(path.read_text(encoding="utf-8"))
        text = "".join("".join(cell["source"]) for cell in book["cells"])
        if not path.name.startswith("30"):
            found["belt"] |= set(re.findall(r"BeltDrive\((.*?)\)", text))
        found["camera"] |= set(re.findall(r"[\d.]+ kg\b(?!·)", text))
        found["camera"] |= {f"{path.name}: {word}" for word in re.findall(r"gravity=|-9\.8\d+\]", text)}
    assert found == {"belt": {"20, 60, pitch=2 * mm, centre_distance=75 * mm"}, "camera": {"0.9 kg"}}


def test_a_further_moment_and_the_load_add_up(hide):
    R = rotation.ry(np.linspace(-20, 20, 9) * deg)
    plain = size_drive(hide, R, **TASK)
    none = size_drive(hide, R, **{**TASK, "mass": 0.0}, moment=0.2)
    assert none.torque.met == pytest.approx(0.2 * none.step.met, rel=1e-12)
    both = size_drive(hide, R, **TASK, moment=0.2)
    assert plain.torque.met < both.torque.met <= plain.torque.met + none.torque.met
    still = size_drive(hide, R, **{**TASK, "speed": 0.0})
    assert still.ratio == pytest.approx(2 * still.torque.met / 0.9 / 0.7, rel=1e-12)
    assert still.largest == np.inf
    empty = size_drive(hide, R, **{**TASK, "mass": 0.0})
    assert (empty.ratio, empty.torque.met) == (0, 0)
    assert empty.margin_of(drive()) == np.inf


def test_which_way_is_up_and_modes(hide):
    """Home, by hand: standing upright nothing has an arm; lying down it is the whole 60 mm."""
    level = size_drive(hide, np.eye(3), **{**TASK, "offset": (0, 0, 0.06), "up": (0, 0, 1)})
    assert level.torque.met < 1e-15
    side = size_drive(hide, np.eye(3), **TASK)
    assert side.torque.met == pytest.approx(0.400, abs=5e-4)  # recomputed, see test_velocity; no published value
    mirrored = size_drive(hide, np.eye(3), **TASK, mode=(-1, -1, -1))
    assert mirrored.step.met == pytest.approx(size_drive(hide, np.eye(3), **TASK).step.met, rel=1e-12)


def test_no_ratio_mends_a_lack_of_power(hide, promised):
    with pytest.raises(
        ValueError, match=r"no ratio does: an orientation of the set asks for .* W, and the motor gives 2[0-9.]+ W"
    ):
        size_drive(hide, promised, **{**TASK, "speed": 1500 * deg})
    weak = [(0, 0.36), (1 * rpm, 0.36)]
    with pytest.raises(ValueError, match="go slower, carry less"):
        size_drive(hide, promised, **{**TASK, "curve": weak})


@pytest.mark.parametrize(
    ("more", "error", "told"),
    [
        ({"mode": (1, 1, 1)}, TypeError, r"mode is given beside a certificate, which is about mode \(1, 1, 1\)"),
        ({"mass": -1}, ValueError, "mass is -1; it must be at least 0 kg"),
        ({"mass": [1, 2]}, ValueError, r"mass has shape \(2,\)"),
        ({"offset": (0, 0)}, ValueError, r"offset has shape \(2,\)"),
        ({"offset": np.zeros((2, 3))}, ValueError, "one payload"),
        ({"offset": (0, 0, -60)}, ValueError, r"offset holds 60 m; .*write 60\*mm"),
        ({"speed": -1}, ValueError, "speed is -1; it must be at least 0 rad/s"),
        ({"speed": 360}, ValueError, r"speed is 360 rad/s, 57\.3 turns .* a second write 360\*deg"),
        ({"margin": 0.5}, ValueError, "margin is 0.5; it must be at least 1"),
        ({"efficiency": 90}, ValueError, "write 0.9"),
        ({"moment": np.inf}, ValueError, "moment is inf"),
        ({"up": 9.81}, ValueError, "up has shape"),
        ({"up": (0, 0, -9.81)}, ValueError, r"the up is 9\.81 long, not 1: divide"),
        ({"up": np.eye(3)}, ValueError, "one payload"),
    ],
)
def test_bad_tasks(hide, promised, more, error, told):
    with pytest.raises(error, match=told):
        size_drive(hide, promised, **{**TASK, **more})


def test_bad_sets(hide, promised):
    refuted = certify(hide, (1, 1, 1), tilt=60 * deg, torsion=(0, 0))
    with pytest.raises(ValueError, match=r"the certificate is refuted: leg \d does not close .* largest_tilt"):
        size_drive(hide, refuted, **TASK)
    with pytest.raises(ValueError, match="the certificate is of another joint"):
        size_drive(named_joints()["coaxial"], promised, **TASK)
    with pytest.raises(ValueError, match="over holds no orientation"):
        size_drive(hide, np.zeros((0, 3, 3)), **TASK)
    with pytest.raises(ValueError, match="over 1 is not a rotation"):
        size_drive(hide, [np.eye(3), 2 * np.eye(3)], **TASK)
    with pytest.raises(ValueError, match="orientation 0 is out of reach"):
        size_drive(hide, rotation.ry(80 * deg), **TASK)
    with pytest.raises(ValueError, match=r"mode has shape \(8, 3\)"):
        size_drive(hide, np.eye(3), mode=np.ones((8, 3)), **TASK)
    with pytest.raises(TypeError, match="the first argument must be a Mechanism"):
        size_drive("hide", promised, **TASK)


def test_a_sizing_says_what_is_proved(hide, sized):
    assert repr(sized).startswith("Sizing, proved over the certified set:\n  ratio from ")
    assert "(met) to" in repr(sized)
    listed = repr(size_drive(hide, np.eye(3), **TASK))
    assert "over the orientations given, none between them" in listed
    assert "(met)" not in listed
