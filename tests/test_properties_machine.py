"""What must hold, whatever the joint and the pose, of how the workshop moves a joint and of what it reads off one."""

from functools import partial

import numpy as np
from hypothesis import assume, given
from hypothesis import strategies as st

from common import wrapped
from drawn import (
    LAYOUTS,
    View,
    angles,
    batch_is_loop,
    cases,
    close,
    conventions,
    few,
    layout_is_nothing,
    matrix,
    on_circle,
    orders,
    turns,
    two_poses,
    vectors,
    views,
)
from legloop import deg, inverse_kinematics, rotation
from legloop.lesson.cases import bird_hide, reachable
from legloop.workshop.bench import bench_card, diagnose
from legloop.workshop.cad import from_axis_lines
from legloop.workshop.calibration import calibrate, pose_errors
from legloop.workshop.drive import BeltDrive
from legloop.workshop.measured import pointing_error
from legloop.workshop.motion import MotionLimits, interpolate, jog, plan
from legloop.workshop.units import mm

DRIVE = BeltDrive(20, 60, pitch=2 * mm, centre_distance=60 * mm)
HIDE = bird_hide()
LIMITS = MotionLimits(90 * deg, 400 * deg, tick=0.02, edge=1e-4, evenness=0.0)
ROUNDING = 1e-10
"""In parts of the largest entry: the inverse of the normals, det N above 0.05, enters a covariance twice."""


# --- motion -------------------------------------------------------------------------------------------------


@given(case=cases, turn=turns, how=views, path=st.sampled_from(["smooth", "slerp"]))
def test_a_path_goes_through_the_same_places_in_any_frame_and_time(case, turn, how, path):
    theirs = View(case, **how)
    samples = case.R @ matrix(np.array([[0.0], [0.1], [0.3], [0.35]]) * turn)
    times, wanted = np.array([0.0, 0.5, 0.7, 1.5]), np.array([0.0, 0.2, 0.6, 0.7, 1.1, 1.5])
    plain = interpolate(samples, times, wanted, path=path)
    close(interpolate(theirs.turned(samples), times, wanted, path=path), theirs.turned(plain), 1e-13, "frames")
    close(interpolate(samples, 3 * times + 2, 3 * wanted + 2, path=path), plain, 1e-13, "a slower clock")
    close(interpolate(samples[::-1], -times[::-1], -wanted, path=path), plain, 1e-13, "backwards")
    for k in range(len(wanted)):
        close(interpolate(samples, times, wanted[k : k + 1], path=path)[0], plain[k], 1e-14, "one by one")
    layout_is_nothing("interpolate", partial(interpolate, path=path), samples, times, wanted, atol=1e-13)


@few(3)
@given(case=cases, turn=turns, how=views)
def test_motors_move_the_same_however_the_joint_is_described(case, turn, how):
    ours, theirs = View(case), View(case, **how)
    samples = case.R @ matrix(np.array([[0.0], [0.001], [0.002]]) * turn)
    made, other = (
        plan(at.m, at.turned(samples), [0, 0.1, 0.2], DRIVE, mode=at.mode, limits=LIMITS) for at in (ours, theirs)
    )
    assert len(made.table) == len(other.table)
    wanted = theirs.hand * made.table["theta"][:, theirs.order]
    turned = wrapped(other.table["theta"] - wanted)
    assert np.abs(turned).max() < 1e-9
    layout_is_nothing(
        "plan",
        lambda R, times: plan(case.m, R, times, DRIVE, mode=case.mode, limits=LIMITS).table["theta"],
        samples,
        np.array([0.0, 0.125, 0.25]),
        atol=1e-9,
    )


@few(3)
@given(case=cases, rate=vectors, how=views)
def test_a_stick_moves_the_joint_the_same_however_it_is_described(case, rate, how):
    ours, theirs = View(case), View(case, **how)
    for about in ("base", "platform"):
        at_ours, at_theirs = ours.R, theirs.R
        frame = theirs.axial if about == "base" else theirs.hand * theirs.platform
        more = {"drive": DRIVE, "limits": LIMITS, "axes": about}
        for _ in range(3):
            at_ours = jog(ours.m, at_ours, 0.05 * np.array(rate), 0.02, mode=ours.mode, **more)
            at_theirs = jog(theirs.m, at_theirs, 0.05 * frame @ rate, 0.02, mode=theirs.mode, **more)
        close(at_theirs.R, theirs.turned(at_ours.R), 1e-9, about)
        assert at_theirs.limited == at_ours.limited
        close(at_theirs.velocity, theirs.hand * at_ours.velocity[theirs.order], 1e-9, about)


# --- what is measured ---------------------------------------------------------------------------------------


@given(case=cases, turn=turns, base=angles, platform=angles, order=orders, mirrored=st.booleans())
def test_errors_of_pointing_are_the_same_from_any_azimuth(case, turn, base, platform, order, mirrored):
    """Cones are counted from z, so that the frames may turn about z only. A hinge on z has no azimuth to lean in."""
    assume(np.linalg.norm(case.m.platform_axes[:, :2], axis=1).min() > 1e-3)
    ours = View(case)
    theirs = View(case, (0, 0, base), (0, 0, platform), order, mirrored)
    R, _ = two_poses(case, turn)
    sizes = np.array([[1.0, 2, 3], [3, 1, 2], [2, 1, 1], [1, 1, 2], [2, 3, 1], [1, 3, 2]]) * 0.1 * deg
    names = ("proximal", "distal", "base_cone", "platform_cone", "base_azimuth", "platform_azimuth")

    def errors(at, R):
        given = dict(zip(names, sizes[:, at.order], strict=True))
        return pointing_error(at.m, R, at.mode, **given, homed=False)

    found, other = errors(ours, R), errors(theirs, theirs.turned(R))
    scale = np.abs(found.covariance).max()
    close(other.covariance, theirs.axial @ found.covariance @ theirs.axial.T, ROUNDING * scale, "covariance")
    for name in ("pointing", "turn"):
        close(getattr(other, name), getattr(found, name), ROUNDING * np.sqrt(scale), name)
    for name in names:
        close(other.shares[name], found.shares[name], ROUNDING * np.sqrt(scale), name)

    def call(R):
        return errors(ours, R).covariance

    batch_is_loop("pointing_error", call, R, atol=ROUNDING * scale)
    layout_is_nothing("pointing_error", call, R, atol=ROUNDING * scale)


@given(case=cases, turn=turns, error=vectors, how=conventions)
def test_errors_of_poses_are_those_that_were_planted_in_any_convention(case, turn, error, how):
    R, theta = two_poses(case, turn)
    planted = 1e-3 * np.array(error)
    measured = how.orientation_to_theirs(matrix(planted) @ R)
    angles_ = how.angles_to_theirs(theta)
    found = pose_errors(case.m, how, measured, angles_)
    close(found, [np.linalg.norm(planted)] * 2, 1e-10, "planted")
    for k in range(2):
        close(pose_errors(case.m, how, measured[k : k + 1], angles_[k : k + 1])[0], found[k], 1e-11, "one by one")
    layout_is_nothing("pose_errors", partial(pose_errors, case.m, how), measured, angles_, atol=1e-10)


@few(4)
@given(how=conventions, order=st.permutations(range(8)), flipped=st.integers(0, 2))
def test_a_diagnosis_does_not_depend_on_the_order_of_the_poses(how, order, flipped):
    card = bench_card(HIDE, convention=how)
    np.testing.assert_allclose(
        card.expected,
        how.angles_to_theirs(inverse_kinematics(HIDE, card.poses)) - how.angles_to_theirs(HIDE.home_angles()),
        atol=1e-12,
    )
    seen = card.expected * np.where(np.arange(3) == flipped, -1, 1)
    plain = card.diagnose(seen)
    other = diagnose(HIDE, (1, 1, 1), card.poses[order], seen[order], convention=how)
    assert not plain.as_planned
    assert (other.faults, other.rivals) == (plain.faults, plain.rivals)
    for change in LAYOUTS.values():
        assert diagnose(HIDE, (1, 1, 1), change(card.poses), change(seen), convention=how).faults == plain.faults


@few(4)
@given(
    turn=turns, shift=vectors, senses=st.tuples(*[st.sampled_from([-2.0, 1.0])] * 9), order=st.sampled_from((0, 1, 2))
)
def test_a_joint_from_axis_lines_does_not_depend_on_the_frame_of_the_drawing(turn, shift, senses, order):
    Q, R = matrix(turn), reachable(HIDE, 1, seed=3)[0]
    theta = inverse_kinematics(HIDE, R)
    axes = np.stack([HIDE.base_axes, HIDE.elbow_axes(theta), HIDE.platform_axes_at(R)], axis=1)
    axes = np.roll(axes, -order, axis=0)  # legs counted on from another one
    points = 80 * axes @ Q.T + 50 * np.array(shift)
    lines = axes @ Q.T * np.reshape(senses, (3, 3, 1))
    read = partial(from_axis_lines, up=Q[:, 2], pointing=Q @ R[:, 2])
    found = read(points, lines)
    close(found.mechanism.base_frames, HIDE.base_frames, 1e-12, "base")  # it looks the same from every leg
    close(found.mechanism.platform_axes, HIDE.platform_axes, 1e-12, "platform")
    close(on_circle(found.motor_angles), on_circle(np.roll(theta, -order)), 1e-12, "motor angles")
    layout_is_nothing("from_axis_lines", lambda p, d: read(p, d).mechanism.base_frames, points, lines, atol=1e-6)


@few(1)
@given(order=st.permutations(range(12)), how=conventions)
def test_a_calibration_does_not_depend_on_the_order_of_the_poses(order, how):
    tilt, azimuth, torsion = np.random.default_rng(4).uniform([[0.1], [-3], [-0.3]], [[0.5], [3], [0.3]], (3, 12))
    R = rotation.from_tilt_torsion(tilt, azimuth, torsion)
    theta = how.angles_to_theirs(inverse_kinematics(HIDE, R))
    noise = 0.3 * deg * np.random.default_rng(1).normal(size=(12, 3))
    measured = how.orientation_to_theirs(matrix(noise) @ R)
    plain, other = (
        calibrate(HIDE, measured[rows], theta[rows], start=how) for rows in (np.arange(12), np.array(order))
    )
    close(other.convention.base, plain.convention.base, 1e-6, "base")
    close(other.convention.zero, plain.convention.zero, 1e-6, "zero")
    assert sorted(order[k] for k in other.outliers) == list(plain.outliers)
    for told in ("strided", "list"):
        same = calibrate(HIDE, LAYOUTS[told](measured), LAYOUTS[told](theta), start=how)
        close(same.convention.zero, plain.convention.zero, 1e-6, told)
