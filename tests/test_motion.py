"""Motion: the path, the time scaling, the planner, the joystick. Checked by SciPy, differences, the way back."""

import tracemalloc
from dataclasses import replace
from importlib.metadata import files
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation, Slerp

from legloop import (
    Convention,
    deg,
    dexterity,
    forward_kinematics,
    inverse_kinematics,
    jacobian,
    reach_margin,
    rotation,
    working_mode,
)
from legloop.lesson.cases import bird_hide, named_joints, random_joints, random_orientations, reachable
from legloop.workshop.drive import BeltDrive
from legloop.workshop.log import read_log
from legloop.workshop.motion import (
    MotionError,
    MotionLimits,
    blocks,
    interpolate,
    jog,
    plan,
    plan_blocks,
    read_motion,
    write_motion,
)
from legloop.workshop.motion.knots import Joint
from legloop.workshop.motion.limits import Walls
from legloop.workshop.motion.sliding import nearest_orientations
from legloop.workshop.units import mm

HIDE = bird_hide()
HOME = HIDE.home_angles()
DRIVE = BeltDrive(20, 60, pitch=2 * mm, centre_distance=60 * mm)
LIMITS = MotionLimits(90 * deg, 400 * deg, tick=0.01)
BIRD = Path(__file__).resolve().parents[1] / "notebooks" / "data" / "marsh_harrier.csv"
MACHINE = Convention(rotation.ry(0.3), rotation.rx(-0.4), (2, 0, 1), (1, -1, 1), (0.2, -0.5, 1.0))


def wandering(count, seed=1, step=0.1, size=20 * deg):
    """Smooth invented motion inside the reach of the hide, at uneven times."""
    rng = np.random.default_rng(seed)
    times = 5 + np.cumsum(rng.uniform(0.5, 1.5, count)) * step
    phase, period = rng.uniform(0, 6, 3), rng.uniform(1, 2, 3)
    angles = size * np.sin(times[:, None] / period + phase)
    return rotation.from_rpy(*angles.T), times


def bird():
    log = read_log(BIRD, bad_rows="report")
    return log.orientations, log.times


def assert_within(table, limits, slack=1e-6):
    """Limits hold on the table by finite differences, rest at both ends included.

    The slack is relative: theta is of size 3, so its second difference has a rounding of 4 * 2.2e-16 * 3, over
    tick^2 = 1e-4 that is 3e-11 rad/s²; and each jump of the slope of at most 1e-9 rad/s adds 1e-9 / tick.
    """
    theta = table["theta"]
    padded = np.concatenate([theta[:1], theta[:1], theta, theta[-1:], theta[-1:]])
    speed = np.abs(np.diff(padded, axis=0)).max(axis=0) / limits.tick
    hard = np.abs(np.diff(padded, 2, axis=0)).max(axis=0) / limits.tick**2
    assert (speed <= limits.speed * (1 + slack)).all(), speed
    assert (hard <= limits.acceleration * (1 + slack)).all(), hard
    np.testing.assert_allclose(np.diff(table["t"]), limits.tick, rtol=1e-9)
    return speed, hard


# --- the path ------------------------------------------------------------------------------------------------


def test_slerp_is_that_of_scipy():
    samples, times = random_orientations(20, 1), np.cumsum(np.random.default_rng(2).uniform(0.1, 1, 20))
    at = np.linspace(times[0], times[-1], 777)
    wanted = Slerp(times, Rotation.from_matrix(samples))(at).as_matrix()
    np.testing.assert_allclose(interpolate(samples, times, at, path="slerp"), wanted, rtol=0, atol=1e-12)


@pytest.mark.parametrize("path", ["smooth", "slerp"])
def test_both_paths_pass_through_the_samples(path):
    samples, times = random_orientations(50, 3), np.cumsum(np.random.default_rng(4).uniform(0.1, 1, 50))
    np.testing.assert_allclose(interpolate(samples, times, times, path=path), samples, rtol=0, atol=1e-13)


def rates_beside(path, samples, times, gap=1e-6):
    """Rates just before and just after each inner sample, by differences: SciPy's logarithm."""
    inner = times[1:-1]
    late, here, early = (
        Rotation.from_matrix(interpolate(samples, times, inner + shift, path=path)) for shift in (gap, 0, -gap)
    )
    return (here * early.inv()).as_rotvec() / gap, (late * here.inv()).as_rotvec() / gap


def test_smooth_has_a_continuous_rate_and_slerp_has_not():
    samples, times = wandering(40, step=0.3)
    before, after = rates_beside("smooth", samples, times)
    # Each side is off by half the gap times an acceleration of some 1 rad/s², and by rounding over the gap, 1e-9.
    assert np.abs(before - after).max() < 1e-5
    before, after = rates_beside("slerp", samples, times)
    assert np.abs(before - after).max() > 0.02


def test_the_rate_at_a_sample_is_that_of_the_parabola_when_all_turns_share_an_axis():
    times = np.array([0.0, 0.3, 1.0, 1.2])
    angle = 0.2 + 0.4 * times - 0.3 * times**2
    before, after = rates_beside("smooth", rotation.rz(angle), times)
    np.testing.assert_allclose(after[:, 2], 0.4 - 0.6 * times[1:-1], rtol=0, atol=1e-5)  # gap times curvature
    np.testing.assert_allclose(before[:, 2], 0.4 - 0.6 * times[1:-1], rtol=0, atol=1e-5)


@pytest.mark.parametrize("path", ["smooth", "slerp"])
def test_the_path_does_not_depend_on_the_frames(path):
    samples, times = wandering(30, seed=5)
    base, platform = random_orientations(2, 6)
    at = np.linspace(times[0], times[-1], 400)
    wanted = base @ interpolate(samples, times, at, path=path) @ platform
    np.testing.assert_allclose(interpolate(base @ samples @ platform, times, at, path=path), wanted, atol=1e-13)


def test_smooth_approaches_the_motion_that_was_sampled_with_the_third_power():
    def miss(count):
        times = np.linspace(0, 4, count)
        at = np.linspace(1, 3, 501)
        true, samples = (rotation.from_rpy(0.4 * np.sin(t), 0.3 * np.cos(2 * t), 0.2 * t) for t in (at, times))
        return rotation.angle_between(interpolate(samples, times, at), true).max()

    assert 7 < miss(41) / miss(81) < 9  # a rate right to second order gives a path right to third: a factor of 8


# --- the plan ------------------------------------------------------------------------------------------------


def planned_anywhere(seed):
    """A joint, a path within its reach, and limits that it breaks when not slowed."""
    joint = [*named_joints().values(), *random_joints(4, 8)][seed]
    starts = reachable(joint, 20, seed, margin=8 * deg)
    start = starts[dexterity(joint, starts, inverse_kinematics(joint, starts, (1, -1, 1))).argmax()]
    vectors = np.cumsum(np.random.default_rng(seed).normal(scale=1.2 * deg, size=(25, 3)), axis=0)
    poses = rotation.from_rotation_vector(vectors) @ start
    good = (reach_margin(joint, poses) > 3 * deg).all(axis=1)
    theta = inverse_kinematics(joint, poses, (1, -1, 1), unreachable="nan")
    good[good] = dexterity(joint, poses[good], theta[good]) > 0.02
    keep = int(good.cumprod().sum())
    assert keep > 3
    return joint, poses[:keep], np.arange(keep) * 0.08


@pytest.mark.parametrize("seed", range(11))
@pytest.mark.parametrize("path", ["smooth", "slerp"])
def test_limits_hold_on_the_table_and_the_path_stays(seed, path):
    joint, poses, times = planned_anywhere(seed)
    limits = MotionLimits(20 * deg, (100 * deg, 150 * deg, 200 * deg), tick=0.005, evenness=0.005)
    made = plan(joint, poses, times, DRIVE, limits=limits, path=path, mode=(1, -1, 1), singular="slow")
    speed, hard = assert_within(made.table, limits)
    np.testing.assert_allclose(made.report.peak_speed, speed, rtol=1e-12)
    np.testing.assert_allclose(made.report.peak_acceleration, hard, rtol=1e-9, atol=1e-9)  # rounding over tick^2
    assert made.report.takes > made.report.asked
    assert (np.diff(made.asked_at) >= 0).all()
    assert made.asked_at[0] == times[0]
    assert made.asked_at[-1] == pytest.approx(times[-1], abs=1e-12)
    # The motors stand where the path of the request is: geometry untouched. 1e-6 rad is what a cubic may miss by.
    wanted = inverse_kinematics(
        joint, interpolate(poses, times, made.asked_at, path=path), (1, -1, 1), near=made.table["theta"]
    )
    np.testing.assert_allclose(made.table["theta"], wanted, rtol=0, atol=2e-6)


def test_some_limit_is_used_up_where_it_slows():
    samples, times = wandering(60, step=0.05)
    limits = MotionLimits(15 * deg, 3000 * deg / 10, tick=0.002)
    made = plan(HIDE, samples, times, DRIVE, limits=limits)
    assert made.report.peak_speed.max() > 0.99 * 15 * deg


def test_a_request_that_is_slow_enough_is_not_slowed_but_at_its_ends():
    samples, times = wandering(60, step=0.5)
    made = plan(HIDE, samples, times, DRIVE, limits=LIMITS)
    begin, end = made.report.slowed
    # To 20 °/s at 400 °/s² it goes half of 0.05 s, in the time of the request; stretches reach to the knot beyond.
    assert begin == (times[0], pytest.approx(times[0], abs=0.1))
    assert end == (pytest.approx(times[-1], abs=0.1), times[-1])
    middle = (made.asked_at > times[0] + 0.1) & (made.asked_at < times[-1] - 0.1)
    np.testing.assert_allclose(np.diff(made.asked_at[middle]), LIMITS.tick, rtol=0, atol=1e-9)


def test_slerp_comes_to_rest_at_a_corner():
    samples = rotation.from_rpy(*(np.array([[0, 0, 0], [20, 0, 0], [20, 15, 0]]).T * deg))
    made = plan(HIDE, samples, [0, 1, 2], DRIVE, limits=LIMITS, path="slerp")
    speed = np.abs(np.diff(made.table["theta"], axis=0)).max(axis=1) / LIMITS.tick
    corner = np.searchsorted(made.asked_at, 1.0)
    assert speed[corner - 2 : corner + 1].min() < 400 * deg * 2 * LIMITS.tick  # within two ticks of rest
    assert_within(made.table, LIMITS)
    straight = plan(HIDE, rotation.rx(np.arange(4) * 5 * deg), range(4), DRIVE, limits=LIMITS, path="slerp")
    assert len(straight.report.slowed) == 2  # the same turn goes on: there is no corner


@pytest.mark.parametrize("convention", [None, MACHINE])
def test_the_steps_lead_back_to_the_request_within_their_rounding(convention):
    ours, times = wandering(12, step=0.08)
    samples = ours if convention is None else convention.orientation_to_theirs(ours)
    made = plan(HIDE, samples, times, DRIVE, convention=convention, limits=LIMITS)
    given = Convention() if convention is None else convention
    near = given.orientation_to_ours(samples[0])
    off = []
    for row, at in zip(made.table, made.asked_at, strict=True):
        near = forward_kinematics(HIDE, DRIVE.angle(row["steps"], convention=given), near=near)
        wanted = interpolate(samples, times, [at])[0]
        off.append(rotation.angle_between(given.orientation_to_theirs(near), wanted))
    # J changes by some of itself times the rounding of 1 mrad: second order, and the cubic's 1e-6.
    assert max(off) <= made.report.rounding_bound * 1.01 + 1e-5
    assert max(off) == pytest.approx(made.report.rounding, rel=0.02)
    assert made.report.rounding > 0.3 * made.report.rounding_bound  # the bound is no idle one


def test_a_convention_renames_and_changes_nothing():
    samples, times = wandering(20)
    plain = plan(HIDE, samples, times, DRIVE, limits=LIMITS)
    travel = np.stack([HOME - 60 * deg, HOME + 60 * deg], axis=1)
    low, high = np.sort([MACHINE.angles_to_theirs(end) for end in travel.T], axis=0)
    limits = MotionLimits(90 * deg, 400 * deg, tick=0.01, travel=np.stack([low, high], axis=1))
    theirs = plan(HIDE, MACHINE.orientation_to_theirs(samples), times, DRIVE, convention=MACHINE, limits=limits)
    np.testing.assert_allclose(MACHINE.angles_to_ours(theirs.table["theta"]), plain.table["theta"], atol=1e-12)
    np.testing.assert_array_equal(DRIVE.steps(theirs.table["theta"]), theirs.table["steps"])
    assert (theirs.table["theta"] >= low).all()
    assert (theirs.table["theta"] <= high).all()
    ours = np.minimum(plain.table["theta"] - travel[:, 0], travel[:, 1] - plain.table["theta"]).min(axis=0)
    np.testing.assert_allclose(theirs.report.travel_left, ours[list(MACHINE.leg_order)], rtol=0, atol=1e-4)


def test_each_motor_has_its_own_limits_in_the_order_of_the_machine():
    samples, times = wandering(20, step=0.03)
    limits = MotionLimits((10 * deg, 40 * deg, 80 * deg), (50 * deg, 200 * deg, 400 * deg), tick=0.01)
    theirs = plan(HIDE, MACHINE.orientation_to_theirs(samples), times, DRIVE, convention=MACHINE, limits=limits)
    assert_within(theirs.table, limits)


def test_angles_continue_over_whole_turns_and_start_near_the_middle_of_the_travel():
    coaxial = named_joints()["coaxial"]
    yaw = np.linspace(0, 3 * np.pi, 40)
    made = plan(coaxial, rotation.rz(yaw, turns=True), np.arange(40) * 0.3, DRIVE, limits=LIMITS)
    assert np.ptp(made.table["theta"], axis=0) == pytest.approx(3 * np.pi)
    turn = 2 * np.pi
    home = coaxial.home_angles()
    there = MotionLimits(1, 5, tick=0.01, travel=np.stack([home + turn - 0.5, home + turn + 0.5], axis=1))
    made = plan(coaxial, rotation.rz([0, 0.2]), [0, 1], DRIVE, limits=there)
    np.testing.assert_allclose(made.table["theta"][0], home + turn, rtol=0, atol=1e-12)


def test_blocks_give_what_one_block_gives(monkeypatch):
    samples, times = wandering(400, step=0.03)
    whole = plan(HIDE, samples, times, DRIVE, limits=LIMITS)
    monkeypatch.setattr(blocks, "BLOCK", 37)
    monkeypatch.setattr(blocks, "AHEAD", 60)
    parts = list(plan_blocks(HIDE, samples, times, DRIVE, limits=LIMITS))
    assert len(parts) > 10
    table = np.concatenate([part.table for part in parts])
    np.testing.assert_allclose(table["theta"], whole.table["theta"], rtol=0, atol=1e-9)
    assert_within(table, LIMITS)
    again = plan(HIDE, samples, times, DRIVE, limits=LIMITS).report
    np.testing.assert_allclose(again.peak_acceleration, whole.report.peak_acceleration, rtol=1e-6)
    assert again.takes == pytest.approx(whole.report.takes)
    assert len(again.slowed) == len(whole.report.slowed)


def test_blocks_that_look_too_short_ahead_are_slow_but_safe(monkeypatch):
    samples, times = wandering(200, step=0.03)
    limits = MotionLimits(90 * deg, 40 * deg, tick=0.01)  # so weak that two samples are too few to brake in
    takes = plan(HIDE, samples, times, DRIVE, limits=limits).report.takes
    monkeypatch.setattr(blocks, "BLOCK", 5)
    monkeypatch.setattr(blocks, "AHEAD", 1)
    made = plan(HIDE, samples, times, DRIVE, limits=limits)
    assert_within(made.table, limits)
    assert made.report.takes > takes + 1


def test_a_straight_path_is_run_as_fast_as_speed_and_acceleration_allow():
    """A yaw of the coaxial joint turns all motors by as much, so the least time from rest to rest is known:

    d / v + v / a where the speed v is reached, 2 sqrt(d / a) where it is not.
    """
    coaxial, speed, hard = named_joints()["coaxial"], 1.5, 5.0
    limits = MotionLimits(speed, hard, tick=1e-3)
    for turn, wanted in ((1.0, 1.0 / speed + speed / hard), (0.2, 2 * np.sqrt(0.2 / hard))):
        made = plan(coaxial, rotation.rz([0, turn]), [0, 0.01], DRIVE, limits=limits)
        # Never faster than is possible; slower by the cell in which it would go over from speeding up to braking.
        assert wanted - 1e-9 <= made.report.takes < 1.03 * wanted + 2e-3


@pytest.mark.parametrize("convention", [None, MACHINE])
def test_memory_does_not_grow_with_the_log(monkeypatch, convention):
    monkeypatch.setattr(blocks, "BLOCK", 256)
    monkeypatch.setattr(blocks, "AHEAD", 32)
    peaks = []
    for count in (1000, 1000, 5000):  # the first run fills what Python keeps for later
        turn = np.arange(count) * 2 * np.pi / 64  # four times round in a block: all blocks are alike
        ours = rotation.from_rpy(0.2 * np.sin(turn), 0.2 * np.sin(turn + 1), 0.2 * np.sin(turn + 2))
        samples = ours if convention is None else convention.orientation_to_theirs(ours)
        tracemalloc.start()
        for part in plan_blocks(HIDE, samples, np.arange(count) * 0.05, DRIVE, limits=LIMITS, convention=convention):
            assert len(part.table)
        peaks.append(tracemalloc.get_traced_memory()[1] - 8 * count)  # the times are made within the call
        tracemalloc.stop()
    # A single number kept for each of 4000 samples would be 32 kB. Let pass are a flag for each, and the empty tuples
    # that Python keeps for later, up to a bound: measured 20 kB.
    assert peaks[2] - peaks[1] < 26e3, peaks


def test_csv_round_trip(tmp_path):
    made = plan(HIDE, *wandering(10), DRIVE, limits=LIMITS)
    table = made.table.copy()
    table["t"][0], table["theta"][0, 1] = -0.0, -0.0
    made = replace(made, table=table)
    path = tmp_path / "motion.csv"
    made.write(path)
    assert path.read_text().splitlines()[1].split(",")[0:3:2] == ["0.0", "0.0"]  # never -0.0
    assert path.read_text().splitlines()[0] == (
        "time_s,theta1_rad,theta2_rad,theta3_rad,motor1_microsteps,motor2_microsteps,motor3_microsteps"
    )
    again = read_motion(path)
    assert again.dtype == made.table.dtype
    np.testing.assert_array_equal(again, made.table)
    with pytest.raises(FileExistsError):
        made.write(path)
    text = path.read_text()
    after = len(made.table) + 2
    for broken, words in (
        (text.replace("_rad", "_deg"), "begins with"),
        (text + "1,2,3\n", f"motion.csv, line {after} has 3 fields"),
        (text + "99,2,3,4,5,6,7.5\n", f"motion.csv, line {after}: .*7.5"),
        (text + "99,2,3,x,5,6,7\n", f"motion.csv, line {after}: .*'x'"),
        (text + "nan,2,3,4,5,6,7\n", f"motion.csv, line {after} holds t = nan s.*finite"),
        (text + "99,2,inf,4,5,6,7\n", f"line {after} .*finite"),
        (text + "99,2,3,4,5,6,99999999999999999999\n", f"line {after} holds .* no motor counts"),
        (text + "1,2,3,4,5,6,7\n", f"line {after} is of 1 s, after one of .* times must increase"),
        ("", "begins with ''"),
    ):
        path.write_text(broken)
        with pytest.raises(ValueError, match=words):
            read_motion(path)
    path.write_bytes(b"\xff\xfe")
    with pytest.raises(ValueError, match=r"motion\.csv is no UTF-8 text"):
        read_motion(path)


def test_what_no_controller_should_be_given_is_not_written(tmp_path):
    table = plan(HIDE, *wandering(3), DRIVE, limits=LIMITS).table
    lost, back = table.copy(), table.copy()
    lost["theta"][4, 1] = np.nan
    back["t"][7] = back["t"][6]
    for given, error, words in (
        (lost, ValueError, r"table\[4\] holds t = .* nan"),
        (back, ValueError, r"table\[7\] is of .* times must increase"),
        (table["theta"], TypeError, r"give the \.table of a plan"),
        (table[:, None], TypeError, r"give the \.table of a plan"),
        (None, TypeError, "an object of type NoneType"),
    ):
        with pytest.raises(error, match=words):
            write_motion(tmp_path / "motion.csv", given)
    assert not (tmp_path / "motion.csv").exists()


def test_a_recorded_stream_from_end_to_end():
    # Source: package scikit-kinematics (BSD), tests/data/data_ngimu/quaternion.csv of its wheel, 499 samples.
    wanted = "tests/data/data_ngimu/quaternion.csv"
    (entry,) = [entry for entry in files("scikit-kinematics") or [] if entry.as_posix() == wanted]
    log = read_log(entry.locate())
    made = plan(HIDE, log.orientations, log.times, DRIVE, limits=LIMITS)
    assert_within(made.table, LIMITS)
    every = slice(None, None, 25)
    rows = DRIVE.angle(made.table["steps"][every])
    on_path = interpolate(log.orientations, log.times, made.asked_at[every])
    held = forward_kinematics(HIDE, rows, near=on_path, mode=(1, 1, 1))
    assert rotation.angle_between(held, on_path).max() <= made.report.rounding_bound * 1.01 + 1e-5
    assert made.table["t"][0] == made.asked_at[0] == log.times[0]
    assert (working_mode(HIDE, held, rows) == 1).all()


# --- where it cannot be followed ---------------------------------------------------------------------------------


def test_it_says_from_when_to_when_the_bird_leaves_the_reach_and_offers_the_nearest_path():
    samples, times = bird()
    with pytest.raises(MotionError, match="unreachable='nearest'") as caught:
        plan(HIDE, samples, times, DRIVE, limits=LIMITS)
    (fault,) = caught.value.faults
    assert (fault.why, fault.leg) == ("reach", 0)
    fine = np.arange(0, 29.9, 0.001)
    short = LIMITS.edge - reach_margin(HIDE, interpolate(samples, times, fine)).min(axis=1)
    assert fault.start == pytest.approx(fine[short > 0][0], abs=0.03)  # a knot of the path: half a sample of the log
    assert fault.stop == pytest.approx(fine[short > 0][-1], abs=0.03)
    assert fault.worst == pytest.approx(short.max(), abs=1e-4)
    made = plan(HIDE, samples, times, DRIVE, limits=LIMITS, unreachable="nearest")
    assert_within(made.table, LIMITS)
    # One leg is short: its span has to change by so much, no smaller turn can do that; the rest is the padding.
    assert fault.worst <= made.report.deviation < fault.worst + 0.1 * deg
    assert made.report.reach_left >= LIMITS.edge
    rows, held, near = slice(None, None, 5), [], samples[0]
    for theta in made.table["theta"][rows]:
        near = forward_kinematics(HIDE, theta, near=near, mode=(1, 1, 1))
        held.append(near)
    at = made.asked_at[rows]
    off = rotation.angle_between(held, interpolate(samples, times, at))
    assert off.max() - 2e-6 <= made.report.deviation <= off.max() + 0.05 * deg  # between two rows it may be more
    away = (at < fault.start - 0.2) | (at > fault.stop + 0.2)
    assert off[away].max() < 2e-6  # elsewhere it is the request
    assert f"{made.report.deviation / deg:.2f}°" in str(made.report)


def test_a_request_within_reach_is_left_alone_by_nearest():
    samples, times = wandering(20)
    plain, same = (plan(HIDE, samples, times, DRIVE, limits=LIMITS, unreachable=u) for u in ("raise", "nearest"))
    np.testing.assert_array_equal(plain.table, same.table)
    assert same.report.deviation == 0


@pytest.mark.parametrize("seed", range(6))
def test_nearest_orientations_are_those_of_a_general_optimiser(seed):
    travel = np.stack([HOME - 35 * deg, HOME + 35 * deg], axis=1)
    walls = Walls.of(MotionLimits(1, 5, tick=0.01, travel=travel), Convention())
    joint = Joint(HIDE, np.array([1, 1, 1]), walls)
    R = reachable(HIDE, 40, seed, margin=2 * deg)
    theta = inverse_kinematics(HIDE, R)
    R = R[(np.abs(theta - HOME) < 55 * deg).all(axis=1)][:3]
    answer = nearest_orientations(joint, R, HOME, pad=0.0)

    def room(turn, pose):
        there = rotation.from_rotation_vector(turn) @ pose
        moved = inverse_kinematics(HIDE, there, near=HOME, unreachable="nan") - HOME
        spare = np.nan_to_num(35 * deg - np.abs(moved), nan=-1.0)
        return np.concatenate([reach_margin(HIDE, there) - walls.edge, spare])

    for pose, near in zip(R, answer, strict=True):
        vector = rotation.to_rotation_vector(near @ pose.T)
        assert room(vector, pose).min() > -1e-7  # as far as the rounds of the search go
        best = minimize(
            lambda r: r @ r,
            vector + 0.01,
            constraints={"type": "ineq", "fun": room, "args": (pose,)},
            method="SLSQP",
            options={"ftol": 1e-12, "maxiter": 200},
        )
        if best.success:
            assert np.linalg.norm(vector) <= np.linalg.norm(best.x) + 1e-4


def test_travel_is_kept_or_the_fault_told_in_the_machines_numbers():
    travel = np.stack([HOME - 20 * deg, HOME + 20 * deg], axis=1)
    limits = MotionLimits(90 * deg, 400 * deg, tick=0.01, travel=travel)
    samples = rotation.ry(np.array([0, 10, 30, 10, 0]) * deg)
    with pytest.raises(MotionError, match=r"motor \d would be .* past its travel") as caught:
        plan(HIDE, samples, range(5), DRIVE, limits=limits)
    fault = caught.value.faults[0]
    assert fault.why == "travel"
    worst = np.abs(inverse_kinematics(HIDE, samples) - HOME).max(axis=0)
    assert fault.worst == pytest.approx(worst.max() - 20 * deg, abs=1e-3)
    made = plan(HIDE, samples, range(5), DRIVE, limits=limits, unreachable="nearest")
    assert (np.abs(made.table["theta"] - HOME) <= 20 * deg).all()
    assert (made.report.travel_left >= 0).all()
    low, high = np.sort([MACHINE.angles_to_theirs(end) for end in travel.T], axis=0)
    theirs = MotionLimits(90 * deg, 400 * deg, tick=0.01, travel=np.stack([low, high], axis=1))
    named = MACHINE.leg_order.index(fault.leg) + 1
    with pytest.raises(MotionError, match=f"motor {named} would"):
        plan(HIDE, MACHINE.orientation_to_theirs(samples), range(5), DRIVE, convention=MACHINE, limits=theirs)


def test_a_nearly_singular_stretch_is_refused_or_slow_as_asked():
    samples = rotation.ry(np.array([0, 30, 60, 68, 60]) * deg)
    slack = MotionLimits(300 * deg, 1000 * deg, tick=0.01, evenness=0.0)
    plain = plan(HIDE, samples, range(5), DRIVE, limits=slack)
    least = plain.report.evenness
    limits = MotionLimits(300 * deg, 1000 * deg, tick=0.01, evenness=2 * least)
    with pytest.raises(MotionError, match="nearly singular") as caught:
        plan(HIDE, samples, range(5), DRIVE, limits=limits)
    assert "singular='slow'" in str(caught.value)
    (fault,) = caught.value.faults
    assert least <= fault.worst <= least / 0.94  # the report is a bound, to five percent; the fault is at a knot
    slow = plan(HIDE, samples, range(5), DRIVE, limits=limits, singular="slow")
    assert_within(slow.table, limits)
    pace = np.diff(slow.asked_at) / 0.01
    at = np.searchsorted(slow.asked_at, (fault.start + fault.stop) / 2)
    assert pace[at] < 0.75  # the least evenness is half the limit
    assert slow.report.takes > plain.report.takes + 0.1


def test_what_is_far_too_near_to_singular_is_refused_also_when_slow_is_asked_for():
    samples = rotation.ry(np.array([0, 40, 69.99]) * deg)  # leg 1 folds at 70°
    limits = MotionLimits(20, 500, tick=0.01, edge=1e-4, evenness=0.98)
    with pytest.raises(MotionError, match="nearly singular") as caught:
        plan(HIDE, samples, range(3), DRIVE, limits=limits, singular="slow")
    assert "singular='slow'" not in str(caught.value)
    assert caught.value.faults[-1].worst < 0.98 / 20


# --- the joystick -------------------------------------------------------------------------------------------------


def jogged(rates, limits=LIMITS, dt=0.02, start=None, **more):
    state, states = np.eye(3) if start is None else start, []
    for rate in rates:
        state = jog(HIDE, state, rate, dt, drive=DRIVE, limits=limits, **more)
        states.append(state)
    return states


def changes(states, dt=0.02):
    speed = np.array([state.velocity for state in states])
    return np.abs(np.diff(speed, axis=0, prepend=0)).max(axis=0) / dt


@pytest.mark.parametrize("axes", ["platform", "base"])
def test_the_stick_turns_about_the_axes_that_it_says(axes):
    rate = np.array([0.2, -0.1, 0.3])
    states = jogged([rate] * 30, axes=axes, start=rotation.rx(0.2))
    before, after = states[-2].R, states[-1].R
    turn = rotation.to_rotation_vector(after @ before.T if axes == "base" else before.T @ after) / 0.02
    np.testing.assert_allclose(turn, rate, rtol=0, atol=5e-3)  # the rates of motors stay, J changes in a tick
    np.testing.assert_array_equal(states[-1].steps, DRIVE.steps(states[-1].theta))
    assert changes(states).max() <= 400 * deg * (1 + 1e-9)
    assert states[0].limited == ("acceleration",)
    assert states[-1].limited == ()


def test_releasing_the_stick_stops_within_the_acceleration_limit_and_no_later():
    states = jogged([(0.3, 1.0, 0.2)] * 20 + [(0, 0, 0)] * 20)
    moving = states[19].velocity
    ticks = int(np.ceil(np.abs(moving).max() / (400 * deg * 0.02) - 1e-9))
    assert ticks >= 3
    assert (states[19 + ticks].velocity == 0).all()
    assert (states[18 + ticks].velocity != 0).any()
    assert changes(states).max() <= 400 * deg * (1 + 1e-9)
    np.testing.assert_array_equal(states[-1].theta, states[-2].theta)


def test_at_the_edge_of_reach_motion_slides_along_it():
    rate = np.array([0.1, 0.6, 0.0])  # tilts towards leg 1, whose reach ends at 70°, and a little sideways
    states = jogged([rate] * 150, axes="base")
    margin = reach_margin(HIDE, np.array([state.R for state in states]))
    assert margin.min() >= LIMITS.edge
    assert margin[-1].min() < LIMITS.edge + 0.5 * deg
    assert "reach" in states[-1].limited
    path = np.array([state.R for state in states[-20:]])
    sideways = np.linalg.norm(rotation.to_rotation_vector(path[-1] @ path[0].T))
    assert sideways > 0.5 * 0.1 * 19 * 0.02  # at half the sideways rate at least it goes on
    assert changes(states).max() <= 400 * deg * (1 + 1e-9)
    assert np.abs([s.velocity for s in states]).max() <= 90 * deg * (1 + 1e-9)
    for _ in range(15):  # let go at the limit, it comes to rest there and does not creep away
        states.append(jog(HIDE, states[-1], (0, 0, 0), 0.02, drive=DRIVE, limits=LIMITS))
    assert (states[-1].velocity == 0).all()
    assert changes(states).max() <= 400 * deg * (1 + 1e-9)


@pytest.mark.parametrize("seed", range(2))
def test_a_wild_stick_never_breaks_a_limit(seed):
    rng = np.random.default_rng(seed)
    travel = np.stack([HOME - 25 * deg, HOME + 30 * deg], axis=1)
    limits = MotionLimits(60 * deg, 300 * deg, tick=0.05, travel=travel)
    rates = np.repeat(rng.normal(scale=1.5, size=(12, 3)), 6, axis=0)
    states = jogged(rates, limits, dt=0.05)
    theta = np.array([state.theta for state in states])
    assert (theta >= travel[:, 0]).all()
    assert (theta <= travel[:, 1]).all()
    assert np.ptp(theta, axis=0).max() > 20 * deg  # it does move
    assert any("travel" in state.limited for state in states)
    assert changes(states, 0.05).max() <= 300 * deg * (1 + 1e-9)
    assert np.abs([state.velocity for state in states]).max() <= 60 * deg * (1 + 1e-9)
    R = np.array([state.R for state in states])
    back = inverse_kinematics(HIDE, R, near=theta)
    np.testing.assert_allclose(back, theta, rtol=0, atol=1e-9)  # closes to 1e-13, over the root of D


@pytest.mark.parametrize("convention", [None, MACHINE])
def test_it_can_be_let_go_at_any_tick(convention):
    """After each tick the stick might be let go: the motors go straight to rest, and all of it keeps the limits.

    That way is worked out here from speeds and acceleration alone, and looked at in a hundred places; at some ticks
    it is gone.
    """
    given = Convention() if convention is None else convention
    rng = np.random.default_rng(11)
    ends = np.sort([given.angles_to_theirs(HOME - 25 * deg), given.angles_to_theirs(HOME + 30 * deg)], axis=0)
    limits = MotionLimits(60 * deg, (200 * deg, 300 * deg, 400 * deg), tick=0.05, travel=ends.T)
    state = given.orientation_to_theirs(np.eye(3))
    options = {"drive": DRIVE, "limits": limits, "convention": convention}
    for k, rate in enumerate(np.repeat(rng.normal(scale=1.5, size=(8, 3)), 5, axis=0)):
        state = jog(HIDE, state, rate, 0.05, **options)
        share = (np.abs(state.velocity) / (limits.acceleration * 0.05)).max()  # ticks until all are at rest
        left = np.append(np.arange(share, 0, -1), 0.0)  # one part less in each tick, in the last what is left
        way = (left[1:] + left[:-1]).sum() / 2 * 0.05 * state.velocity / max(share, 1e-9)
        theta = state.theta + np.linspace(0, 1, 100)[:, None] * way
        poses = forward_kinematics(HIDE, given.angles_to_ours(theta), near=given.orientation_to_ours(state.R))
        assert ((theta >= ends[0]) & (theta <= ends[1])).all()
        assert (reach_margin(HIDE, poses) >= limits.edge).all()
        if k % 8 == 0:
            halt = state
            for _ in range(int(np.ceil(share - 1e-9))):
                halt = jog(HIDE, halt, (0, 0, 0), 0.05, **options)
            assert (halt.velocity == 0).all()
            np.testing.assert_allclose(halt.theta, state.theta + way, rtol=0, atol=1e-9)  # the sum of some roundings


def test_the_stick_of_a_machine_moves_in_its_frames():
    ours = jogged([(0.3, 0.5, -0.2)] * 8)
    wish = MACHINE.platform @ (0.3, 0.5, -0.2)
    start = MACHINE.orientation_to_theirs(np.eye(3))
    theirs = jogged([wish] * 8, start=start, convention=MACHINE)
    in_base = jogged([MACHINE.base @ (0.3, 0.5, -0.2)] * 8, start=start, convention=MACHINE, axes="base")
    plain = jogged([(0.3, 0.5, -0.2)] * 8, axes="base")
    for one, other in ((theirs, ours), (in_base, plain)):
        np.testing.assert_allclose(one[-1].theta, MACHINE.angles_to_theirs(other[-1].theta), rtol=0, atol=1e-9)
        np.testing.assert_allclose(one[-1].R, MACHINE.orientation_to_theirs(other[-1].R), rtol=0, atol=1e-9)


def test_the_stick_comes_to_rest_before_a_singular_pose():
    least = 0.25
    limits = MotionLimits(90 * deg, 400 * deg, tick=0.02, evenness=least)
    states = jogged([(0, 0.8, 0)] * 120, limits, axes="base")
    assert "singular" in states[-1].limited
    last = states[-1]
    J = jacobian(HIDE, last.R, last.theta)
    assert 3 / (np.linalg.norm(J) * np.linalg.norm(np.linalg.inv(J))) >= least
    assert np.abs(last.velocity).max() < 5 * deg


# --- bad input ----------------------------------------------------------------------------------------------------


def good():
    return {"orientations": rotation.rx([0, 0.1, 0.2]), "times": [0.0, 1.0, 2.0], "drive": DRIVE, "limits": LIMITS}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"times": [0, 1, 1]}, r"times\[2\] is 1 s after times\[1\] = 1 s; times must increase"),
        ({"times": [0, 1, -4]}, r"times\[2\] is -4 s"),
        ({"times": [0, 1]}, "one time for each"),
        ({"times": [0, np.nan, 2]}, r"times\[1\] is nan"),
        ({"times": [0.0], "orientations": np.eye(3)[None]}, "at least 2"),
        ({"orientations": np.eye(3)}, "give"),
        ({"orientations": rotation.rx([0, 0.1, 0.2]) * [[[1.0]], [[np.nan]], [[1.0]]]}, "orientation 1"),
        ({"orientations": 1.1 * rotation.rx([0, 0.1, 0.2])}, "not a rotation"),
        ({"orientations": rotation.rx([0, 0, np.pi])}, "orientation 2 is half a turn"),
        ({"mode": (1, 1)}, "mode"),
        ({"mode": [(1, 1, 1)]}, "mode has shape"),
        ({"mode": (1, 0, 1)}, "mode"),
        ({"path": "spline"}, "path is 'spline'"),
        ({"unreachable": "nan"}, "unreachable is 'nan'"),
        ({"singular": "skip"}, "singular is 'skip'"),
        ({"limits": (1, 2)}, "limits must be MotionLimits"),
        ({"drive": 200}, "drive must be a BeltDrive"),
        ({"convention": "theirs"}, "convention must be a Convention"),
        ({"path": np.zeros(3)}, "path is .* 'smooth' or 'slerp'"),
        ({"m": DRIVE}, "the first argument must be a Mechanism"),
    ],
)
def test_bad_requests_are_named(change, words):
    with pytest.raises((ValueError, TypeError), match=words):
        plan(**{"m": HIDE, **good(), **change})
    if words.startswith("orientation 2"):  # what lies between samples is seen when their part is reached
        return
    with pytest.raises((ValueError, TypeError), match=words):
        plan_blocks(**{"m": HIDE, **good(), **change})  # at the call, before a part is asked for


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"speed": 0}, "speed is 0 rad/s; it must be above 0"),
        ({"speed": -1}, "speed is -1"),
        ({"speed": 300}, r"drive.joint_speed; for degrees write 300\*deg"),
        ({"speed": (1, 2)}, "three, one for each motor"),
        ({"acceleration": (1, 0, 1)}, "acceleration is 0"),
        ({"acceleration": 5000}, r"5000\*deg"),
        ({"acceleration": np.nan}, "acceleration is nan"),
        ({"tick": 0}, "tick is 0 s"),
        ({"tick": 10}, "for milliseconds"),
        ({"tick": (1e-3, 1e-3)}, "one number"),
        ({"travel": (-90, 90)}, r"travel holds -90 rad, more than four turns; for degrees write -90\*deg"),
        ({"travel": [(-1, 1), (-1, 1), (1, -1)]}, r"travel\[2\] is \(1, -1\)"),
        ({"travel": (np.nan, 1)}, "travel is"),
        ({"travel": [(-1, 1)] * 2}, "travel has shape"),
        ({"edge": 0}, "edge is 0 rad"),
        ({"edge": 2}, r"write deg \* 2"),
        ({"evenness": 1}, "evenness is 1; it must lie in"),
    ],
)
def test_bad_limits_are_named(change, words):
    with pytest.raises(ValueError, match=words):
        MotionLimits(**{"speed": 1, "acceleration": 5, "tick": 0.01, **change})


START = jog(HIDE, np.eye(3), (0, 0.1, 0), 0.02, drive=DRIVE, limits=LIMITS)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"rate": (0, np.nan, 0)}, r"rate\[1\] is nan"),
        ({"rate": (0, 1)}, "rate has shape"),
        ({"dt": 0}, "dt is 0"),
        ({"dt": 20}, "1e-3"),
        ({"axes": "world"}, "axes is 'world'"),
        ({"mode": [(1, 1, 1)]}, "mode and rate"),
        ({"R": np.eye(3)[None]}, "R has shape"),
        ({"R": rotation.ry(69.9 * deg)}, "outside its limits"),
        ({"R": rotation.ry(80 * deg)}, "out of reach"),
        ({"drive": None}, "drive must be"),
        ({"convention": 1}, "convention must be"),
        ({"limits": None}, "limits must be"),
        ({"rate": (0, 90, 0)}, r"rate\[1\] is 90 rad/s, above 12.57; .* deg \* rate"),
        ({"axes": np.zeros(2)}, "axes is .*'platform' or 'base'"),
        ({"R": replace(START, velocity=np.full(3, np.nan))}, r"R\.velocity\[0\] is nan"),
        ({"R": replace(START, velocity=np.full(3, 1e6))}, r"R\.velocity\[0\] is 1e\+06 rad/s, above 60"),
        ({"R": replace(START, theta=None)}, r"R\.theta is None"),
        ({"R": replace(START, R=np.stack([START.R] * 2))}, r"shapes \(2, 3, 3\).*the Jog of the last call"),
        ({"R": replace(START, theta=START.theta + 0.1)}, "do not close"),
        ({"R": START, "mode": (1, -1, 1)}, r"mode is \(1, -1, 1\), and the Jog stands in \(1, 1, 1\)"),
        ({"R": START, "convention": MACHINE}, "give the mode and the convention|do not close"),
    ],
)
def test_bad_jogs_are_named(change, words):
    arguments = {"R": np.eye(3), "rate": (0, 0, 0), "dt": 0.02, "drive": DRIVE, "limits": LIMITS, **change}
    with pytest.raises((ValueError, TypeError), match=words):
        jog(HIDE, **arguments)


@pytest.mark.parametrize("at", [[-1.0], [3.0], [[0.5]], [np.nan]])
def test_times_off_the_path_are_refused(at):
    with pytest.raises(ValueError, match="at_times"):
        interpolate(good()["orientations"], good()["times"], at)


def test_a_bad_orientation_far_into_a_log_is_named():
    samples = np.tile(np.eye(3), (20_000, 1, 1))
    samples[17_000] *= 1.01
    with pytest.raises(ValueError, match="orientation 17000 is not a rotation"):
        plan_blocks(HIDE, samples, np.arange(20_000.0), DRIVE, limits=LIMITS)
