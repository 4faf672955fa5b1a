"""What must hold, whatever the joint and the pose, of stiffness, play, drive and the table for other languages."""

import csv
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from common import wrapped
from drawn import (
    View,
    angles,
    batch_is_loop,
    cases,
    close,
    conventions,
    few,
    layout_is_nothing,
    turns,
    two_poses,
    views,
)
from legloop import deg, inverse_kinematics
from legloop.lesson.cases import bird_hide
from legloop.workshop.drive import BeltDrive, size_drive
from legloop.workshop.firmware import Status, angle_error, write_vectors
from legloop.workshop.stiffness import (
    BALL_608,
    Build,
    Hinge,
    Link,
    Section,
    arc_compliance,
    compliance,
    energy,
    give,
    give_map,
    part_compliance,
    shares,
    stiffness,
    what_more_buys,
    worst_play,
)
from legloop.workshop.units import mm, rpm

SECTION = Section.rectangle(12 * mm, 8 * mm, E=2.4e9, nu=0.35)
BUILD = Build(Link(60 * mm, SECTION), Link(75 * mm, SECTION), drive=80.0)
WRENCH = np.array([3.0, -1.0, 2.0, 0.3, -0.2, 0.5])  # N, N·m
DRIVE = BeltDrive(20, 60, pitch=2 * mm, centre_distance=60 * mm)
ROUNDING = 1e-9
"""In parts of the largest entry: 1e-16 times the condition of a leg's (4, 4) matrix in m/N and rad/(N·m), 1e5 or so,
and that of the sum of three legs, 0.05 away from where it is singular."""


def six(view: View) -> np.ndarray:
    """Wrenches and twists at the centre in the other view: a polar vector above, an axial one below."""
    return np.block([[view.base, np.zeros((3, 3))], [np.zeros((3, 3)), view.axial]])


def both_sides(x: np.ndarray, view: View) -> np.ndarray:
    return six(view) @ x @ six(view).T


STIFFNESS: dict[str, tuple[Callable[..., Any], Callable[[Any, View], Any]]] = {
    "part_compliance": (
        lambda at, R, theta: part_compliance(at.m, R, theta, BUILD),
        lambda x, view: both_sides(x[..., view.order, :, :, :], view),
    ),
    "stiffness": (lambda at, R, theta: stiffness(at.m, R, theta, BUILD), both_sides),
    "compliance": (lambda at, R, theta: compliance(at.m, R, theta, BUILD), both_sides),
    "give mean": (lambda at, R, theta: give(at.m, R, theta, BUILD).mean, lambda x, _: x),
    "give worst": (lambda at, R, theta: give(at.m, R, theta, BUILD).worst, lambda x, _: x),
    "shares": (lambda at, R, theta: shares(at.m, R, theta, BUILD), lambda x, view: x[..., view.order, :]),
    "energy": (
        lambda at, R, theta: energy(at.m, R, theta, BUILD, load=six(at) @ WRENCH),
        lambda x, view: x[..., view.order, :],
    ),
    "what_more_buys": (
        lambda at, R, theta: what_more_buys(at.m, R, theta, BUILD, load=six(at) @ WRENCH)["second", "width"],
        lambda x, _: x,
    ),
}


@few(6)
@given(case=cases, how=views)
def test_what_gives_is_the_same_however_the_joint_is_described(case, how):
    ours, theirs = View(case), View(case, **how)
    for name, (call, law) in STIFFNESS.items():
        wanted = law(np.asarray(call(ours, ours.R, ours.theta)), theirs)
        close(call(theirs, theirs.R, theirs.theta), wanted, ROUNDING * np.abs(wanted).max(), name)


@few(2)
@given(case=cases, turn=turns)
def test_what_gives_in_a_batch_and_in_any_layout(case, turn):
    at, poses = View(case), two_poses(case, turn)
    for name, (call, _) in STIFFNESS.items():
        atol = ROUNDING * np.abs(call(at, *poses)).max()
        batch_is_loop(name, partial(call, at), *poses, atol=atol)
        if name != "what_more_buys":  # six times `energy`, and slow
            layout_is_nothing(name, partial(call, at), *poses, atol=atol)


@few(2)
@given(case=cases, how=views)
def test_play_is_the_same_however_the_joint_is_described(case, how):
    hinge, ours, theirs = Hinge.pair(BALL_608, 50 * mm), View(case), View(case, **how)
    found, other = (worst_play(at.m, at.R, at.theta, hinge, backlash=0.1 * deg) for at in (ours, theirs))
    # the search for the worst axis climbs from fixed axes, so that from another frame it may end elsewhere
    assert abs(other.angle / found.angle - 1) < 2e-2


two_tilts = st.tuples(st.floats(0, 0.4), st.floats(0, 0.4))


@few(4)
@given(tilt=two_tilts, azimuth=st.tuples(angles, angles), torsion=st.floats(-0.2, 0.2))
def test_a_map_of_what_gives_is_a_loop(tilt, azimuth, torsion):
    def call(*named):
        return give_map(bird_hide(), BUILD, *named[:2], torsion=named[2]).worst

    arrays = np.array(tilt), np.array(azimuth), np.full(2, torsion)
    batch_is_loop("give_map", call, *arrays, atol=1e-12)
    layout_is_nothing("give_map", call, *arrays, atol=1e-12)


@few(4)
@given(radius=st.tuples(*[st.floats(0.02, 0.2)] * 2), arc=st.tuples(*[st.floats(0.1, 3)] * 2))
def test_arcs_of_a_batch_and_of_any_layout(radius, arc):
    call, arrays = partial(arc_compliance, section=SECTION), (np.array(radius), np.array(arc))
    batch_is_loop("arc_compliance", call, *arrays, atol=1e-12)
    layout_is_nothing("arc_compliance", call, *arrays, atol=1e-12)


# --- drive and firmware -------------------------------------------------------------------------------------


@given(turn=turns, other=turns, how=conventions)
def test_steps_and_angles_of_a_batch_and_of_any_layout(turn, other, how):
    theta = np.stack([turn, other])
    calls = {
        "steps": partial(DRIVE.steps, convention=how),
        "angle": partial(DRIVE.angle, convention=how),
        "joint_torque": DRIVE.joint_torque,
        "motor_torque": DRIVE.motor_torque,
        "joint_speed": DRIVE.joint_speed,
        "motor_speed": DRIVE.motor_speed,
        "belt_pull": DRIVE.belt_pull,
    }
    for name, call in calls.items():
        given = np.rint(100 * theta) if name == "angle" else theta
        atol = 1e-15 * max(1, np.abs(call(given)).max())
        batch_is_loop(name, call, given, atol=atol)
        layout_is_nothing(name, call, given, atol=atol)
    np.testing.assert_array_equal(DRIVE.steps(theta, convention=how), DRIVE.steps(how.angles_to_theirs(theta)))
    back = DRIVE.angle(DRIVE.steps(theta, convention=how), convention=how)
    assert np.abs(back - theta).max() <= DRIVE.step_angle / 2 * (1 + 1e-9)


SIZED = {"mass": 0.9, "speed": 30 * deg, "curve": [(0, 50.0), (3000 * rpm, 45.0)], "moment": 0.05}


@given(case=cases, turn=turns, how=views)
def test_a_drive_is_as_large_however_the_joint_is_described(case, turn, how):
    ours, theirs = View(case), View(case, **how)
    R, _ = two_poses(case, turn)
    drives = []
    for at, poses in ((ours, R), (theirs, theirs.turned(R[::-1]))):
        arm, up = at.platform @ (0.01, 0.02, 0.05), at.base @ np.array([2.0, -3.0, 6.0]) / 7
        drives.append(size_drive(at.m, poses, mode=at.mode, offset=arm, up=up, **SIZED))
    found, other = drives
    for name in ("ratio", "largest"):
        assert abs(getattr(other, name) / getattr(found, name) - 1) < 1e-9, name
    for name in ("torque", "speed", "step", "corner"):
        assert abs(getattr(other, name).met / getattr(found, name).met - 1) < 1e-9, name


@few(3)
@given(case=cases, how=conventions, scalar=st.sampled_from(["float", "double"]))
def test_rows_of_the_table_for_other_languages_are_those_of_the_package(case, how, scalar, tmp_path_factory):
    path = tmp_path_factory.mktemp("rows") / "rows.csv"
    write_vectors(path, case.m, mode=case.mode, convention=how, scalar=scalar, count=100)
    with open(path, newline="") as file:
        rows = list(csv.DictReader(file))
    solved = [row for row in rows if int(row["code"]) == Status.SOLVED]
    assume(solved)  # a joint of little reach may have none among so few
    for row in rows[3:]:  # after the three that must be refused: home first
        R = np.array([[float(row[f"r{i}{k}"]) for k in range(3)] for i in range(3)])
        q = [float(row[f"q{name}"]) for name in "xyzw"]
        close(Rotation.from_quat(q).as_matrix(), R, 1e-7 if scalar == "float" else 1e-15, "the same, to the scalar")
        if row is rows[3]:
            close(how.orientation_to_ours(R), np.eye(3), 1e-6, "home")
    for row in solved:
        R = np.array([[float(row[f"r{i}{k}"]) for k in range(3)] for i in range(3)])
        theta = [float(row[f"theta{k}_rad"]) for k in (1, 2, 3)]
        wanted = how.angles_to_theirs(inverse_kinematics(case.m, how.orientation_to_ours(R), case.mode))
        D = min(float(row[f"D{k}"]) for k in (1, 2, 3))
        assert np.abs(wrapped(theta - wanted)).max() <= 1e-14 / np.sqrt(D) + 1e-14, row


@given(D=st.tuples(st.floats(1e-6, 1), st.floats(1e-6, 1)), theta=st.tuples(angles, angles))
def test_the_error_of_a_microcontroller_in_a_batch_and_in_any_layout(D, theta):
    batch_is_loop("angle_error", angle_error, np.array(D), np.array(theta), atol=1e-15)
    layout_is_nothing("angle_error", angle_error, np.array(D), np.array(theta), atol=1e-15)
