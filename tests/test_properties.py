"""What must hold whatever the joint and the pose: properties of the public functions of the top level.

Rotations and conventions have theirs in `test_properties_turns`, the workshop in `test_properties_workshop`.
"""

import copy
from collections.abc import Callable
from functools import partial
from types import SimpleNamespace
from typing import Any, NamedTuple

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from common import wrapped
from drawn import (
    Case,
    View,
    angles,
    batch_is_loop,
    cases,
    close,
    few,
    layout_is_nothing,
    on_circle,
    orders,
    turns,
    two_poses,
    vectors,
    views,
)
from legloop import (
    Certificate,
    Links,
    Mechanism,
    assembly_modes,
    certify,
    clearance,
    closure_error,
    deg,
    dexterity,
    forward_kinematics,
    inverse_jacobian,
    inverse_kinematics,
    jacobian,
    largest_tilt,
    payload_moment,
    reach_margin,
    singularity,
    static_torque,
    working_mode,
)

MOMENT, ARM, UP = np.array([0.3, -0.2, 0.5]), np.array([0.01, 0.02, 0.05]), np.array([2.0, -3.0, 6.0]) / 7
SIZES = {
    "radius": np.array([[0.06, 0.075], [0.061, 0.077], [0.065, 0.08]]),
    "half_width": np.array([[0.005, 0.004], [0.003, 0.006], [0.004, 0.004]]),
    "thickness": np.array([[0.008, 0.006], [0.007, 0.006], [0.005, 0.009]]),
}
MOTORS = (0.09, 0.13, 0.02)


def bars(view: View) -> Links:
    return Links(**{name: size[view.order] for name, size in SIZES.items()}, motors=MOTORS)


class Call(NamedTuple):
    """A function of a joint in a pose, and how its value looks from another view."""

    of: Callable[[View, Any, Any, Any], Any]
    law: Callable[[Any, View], Any]


def same(x, _view):
    return x


def each_leg(x, view):
    return x[..., view.order]


def each_leg_reflected(x, view):
    return view.hand * x[..., view.order]


def rows_of_vectors(x, view):
    return x[..., view.order, :] @ view.base.T


def angle_of_each_leg(x, view):
    return x[..., view.order, :] * [1, view.hand]


def pair_of_links(x, view):
    six = np.array([[2 * leg, 2 * leg + 1] for leg in view.order]).ravel()
    return x[..., six, :][..., six]


def one_link(x, view):
    return x.reshape(*x.shape[:-1], 3, 2)[..., view.order, :].reshape(x.shape)


AS_DRAWN = {"hand": 1, "base": np.eye(3), "platform": np.eye(3), "axial": np.eye(3), "order": [0, 1, 2]}


def sign_of(order) -> float:
    return float(np.linalg.det(np.eye(3)[order]))


CALLS = {
    "inverse_kinematics": Call(
        lambda at, R, _, mode: on_circle(inverse_kinematics(at.m, R, mode)), angle_of_each_leg
    ),
    "inverse_kinematics near": Call(
        lambda at, R, theta, mode: inverse_kinematics(at.m, R, mode, near=theta), each_leg_reflected
    ),
    "forward_kinematics": Call(
        lambda at, R, theta, mode: forward_kinematics(at.m, theta, near=R, mode=mode), lambda x, view: view.turned(x)
    ),
    "working_mode": Call(lambda at, R, theta, *_: working_mode(at.m, R, theta), each_leg_reflected),
    "closure_error": Call(lambda at, R, theta, *_: closure_error(at.m, R, theta), each_leg),
    "reach_margin": Call(lambda at, R, *_: reach_margin(at.m, R), each_leg),
    "jacobian": Call(
        lambda at, R, theta, *_: jacobian(at.m, R, theta), lambda x, view: view.base @ x[..., :, view.order]
    ),
    "inverse_jacobian": Call(lambda at, R, theta, *_: inverse_jacobian(at.m, R, theta), rows_of_vectors),
    "dexterity": Call(lambda at, R, theta, *_: dexterity(at.m, R, theta), same),
    "singularity kind": Call(lambda at, R, theta, *_: singularity(at.m, R, theta).kind, same),
    "singularity link": Call(lambda at, R, theta, *_: singularity(at.m, R, theta).link, each_leg_reflected),
    "singularity elbow": Call(lambda at, R, theta, *_: singularity(at.m, R, theta).elbow, each_leg_reflected),
    "singularity volume": Call(
        lambda at, R, theta, *_: singularity(at.m, R, theta).volume, lambda x, view: sign_of(view.order) * x
    ),
    "singularity plane": Call(lambda at, R, theta, *_: singularity(at.m, R, theta).plane, same),
    "static_torque load": Call(
        lambda at, R, theta, *_: static_torque(at.m, R, theta, load=at.axial @ MOMENT), each_leg_reflected
    ),
    "static_torque moment": Call(
        lambda at, R, theta, *_: static_torque(at.m, R, theta, moment=at.axial @ MOMENT), each_leg_reflected
    ),
    "payload_moment": Call(
        lambda at, R, *_: payload_moment(0.9, at.platform @ ARM, R, up=at.base @ UP),
        lambda x, view: x @ view.axial.T,
    ),
    "clearance least": Call(lambda at, R, theta, *_: clearance(at.m, R, theta, bars(at)).least, same),
    "clearance links": Call(lambda at, R, theta, *_: clearance(at.m, R, theta, bars(at)).links, pair_of_links),
    "clearance base": Call(lambda at, R, theta, *_: clearance(at.m, R, theta, bars(at)).base, one_link),
    "elbow_axes": Call(lambda at, _, theta, __: at.m.elbow_axes(theta), rows_of_vectors),
    "platform_axes_at": Call(lambda at, R, *_: at.m.platform_axes_at(R), rows_of_vectors),
    "leg_equation": Call(
        lambda at, R, *_: np.stack(at.m.leg_equation(R), axis=-2),
        lambda x, view: x[..., view.order] * [[1], [view.hand], [1]],
    ),
}
ROUNDING = 2e-11
"""The poses stay 0.05 away from singular ones: rounding grows 20 times at each of two divisions, in J again."""


@given(case=cases)
def test_the_motor_angles_that_made_the_pose_are_found(case):
    found = inverse_kinematics(case.m, case.R, case.mode)
    assert np.abs(wrapped(found - case.theta)).max() < 1e-12  # |n . u| > 0.05 divides the rounding
    assert np.abs(inverse_kinematics(case.m, case.R, case.mode, near=case.theta) - case.theta).max() < 1e-12
    assert (working_mode(case.m, case.R, case.theta) == case.mode).all()
    assert np.abs(closure_error(case.m, case.R, case.theta)).max() < 2e-15  # three rounded products of unit vectors


@given(case=cases, how=views)
def test_a_joint_described_otherwise_does_the_same(case, how):
    ours, theirs = View(case), View(case, **how)
    for name, call in CALLS.items():
        wanted = call.law(np.asarray(call.of(ours, ours.R, ours.theta, ours.mode)), theirs)
        close(call.of(theirs, theirs.R, theirs.theta, theirs.mode), wanted, ROUNDING, name)


@few(5)
@given(case=cases, turn=turns)
def test_a_batch_is_a_loop(case, turn):
    at, (R, theta) = View(case), two_poses(case, turn)
    for name, call in CALLS.items():
        batch_is_loop(name, partial(call.of, at), R, theta, np.stack([case.mode] * 2), atol=ROUNDING)


@few(4)
@given(case=cases, turn=turns)
def test_input_is_not_modified_and_layout_does_not_matter(case, turn):
    at, (R, theta), mode = View(case), two_poses(case, turn), np.stack([case.mode] * 2)
    for name, call in CALLS.items():
        plain = call.of(at, R, theta, mode)
        layout_is_nothing(name, partial(call.of, at), R, theta, mode, atol=ROUNDING)
        close(call.of(at, Rotation.from_matrix(R), theta, mode), plain, ROUNDING, f"{name}, with as_matrix()")


@pytest.mark.parametrize("call", CALLS.values(), ids=CALLS)
def test_an_empty_batch_gives_an_empty_batch(call, hide):
    R, theta, mode = np.eye(3)[None], hide.home_angles()[None], np.ones((1, 3), dtype=int)
    one = np.asarray(call.of(SimpleNamespace(**AS_DRAWN, m=hide), R, theta, mode))
    none = np.asarray(call.of(SimpleNamespace(**AS_DRAWN, m=hide), R[:0], theta[:0], mode[:0]))
    assert none.shape == (0, *one.shape[1:])
    assert none.dtype == one.dtype


@given(case=cases, rate=vectors)
def test_rates_and_torques_do_the_same_work(case, rate):
    omega = jacobian(case.m, case.R, case.theta) @ np.array(rate)
    np.testing.assert_allclose(inverse_jacobian(case.m, case.R, case.theta) @ omega, rate, atol=1e-9)
    torque = static_torque(case.m, case.R, case.theta, moment=MOMENT)
    assert abs(torque @ np.array(rate) - MOMENT @ omega) < 1e-9


# --- all orientations at once -------------------------------------------------------------------------------


def same_set(found: np.ndarray, wanted: np.ndarray) -> None:
    """The same orientations, in any order."""
    assert len(found) == len(wanted)
    gaps = np.abs(found[:, None] - wanted).max(axis=(2, 3))
    assert sorted(gaps.argmin(axis=1).tolist()) == list(range(len(wanted)))
    assert gaps.min(axis=1, initial=0).max(initial=0) < 1e-9, gaps


@given(case=cases, how=views)
def test_all_orientations_are_the_same_however_the_joint_is_described(case, how):
    theirs = View(case, **how)
    found, times = assembly_modes(case.m, case.theta, multiplicities=True)
    assert times.sum() % 2 == 0
    assert 2 <= len(found) <= times.sum() <= 8
    assert np.abs(found - case.R).max(axis=(1, 2)).min() < 1e-11  # the pose that was drawn is among them
    assert np.abs(closure_error(case.m, found, case.theta)).max() < 1e-13
    same_set(assembly_modes(theirs.m, theirs.theta), theirs.turned(found))


@given(case=cases, turn=turns)
def test_all_orientations_of_a_batch_are_those_of_a_loop(case, turn):
    theta = np.stack([case.theta, case.theta + 1e-3 * turn])

    def both(theta):
        R, times = assembly_modes(case.m, theta, multiplicities=True)
        filled = np.full((*theta.shape[:-1], 8, 10), np.nan) if np.ndim(theta) > 1 else np.full((8, 10), np.nan)
        count = R.shape[-3]
        filled[..., :count, :9], filled[..., :count, 9] = R.reshape(*R.shape[:-2], 9), times
        filled[..., count:, 9] = 0
        return filled

    batch_is_loop("assembly_modes", both, theta, atol=1e-9)
    layout_is_nothing("assembly_modes", lambda theta: assembly_modes(case.m, theta), theta, atol=1e-9)


# --- whole sets of orientations -----------------------------------------------------------------------------


CONE = {"tilt": 1 * deg, "torsion": (-0.5 * deg, 0.8 * deg), "budget": 4000}
NESTED = {"radius": [[0.03, 0.04], [0.05, 0.06], [0.07, 0.08]], "half_width": [0.004] * 2, "thickness": [0.006] * 2}
"""Links that pass inside one another, 4 mm apart."""


def at_home(case: Case) -> Case:
    """The same joint with its platform frame such that the pose is R = I."""
    home = copy.copy(case)
    home.m = Mechanism(case.m.base_frames, case.m.platform_axes @ case.R.T, case.m.proximal, case.m.distal)
    home.R = np.eye(3)
    return home


def cone(view: View, links: Links | None = None) -> Certificate:
    low, high = CONE["torsion"]
    torsion = (low, high) if view.hand > 0 else (-high, -low)
    gap = None if links is None else 1e-3
    return certify(view.m, view.mode, **{**CONE, "torsion": torsion}, links=links, gap=gap)


def nested(view: View) -> Links:
    return Links(**{name: np.broadcast_to(size, (3, 2))[view.order] for name, size in NESTED.items()})


@few(8)
@given(case=cases, order=orders, bodies=st.booleans())
def test_a_proof_does_not_depend_on_the_numbers_of_the_legs(case, order, bodies):
    ours, theirs = View(at_home(case)), View(at_home(case), order=order)
    proof, other = (cone(view, nested(view) if bodies else None) for view in (ours, theirs))
    assert (other.status, other.boxes, other.witness_point) == (proof.status, proof.boxes, proof.witness_point)
    close(other.least_volume, proof.least_volume, ROUNDING, "volume")
    close(other.least_discriminant, proof.least_discriminant[order], ROUNDING, "D")
    close(other.travel, proof.travel[order], ROUNDING, "travel")
    close(other.least_clearance, proof.least_clearance, ROUNDING, "clearance")


@few(8)
@given(case=cases, azimuth=angles, mirrored=st.booleans())
def test_a_proof_does_not_depend_on_where_azimuth_0_is(case, azimuth, mirrored):
    turn = (0, 0, azimuth)
    theirs = View(at_home(case), base=turn, platform=turn, mirrored=mirrored)
    proof, other = cone(View(at_home(case))), cone(theirs)
    assert {proof.status, other.status} != {"proved", "refuted"}
    if proof.proved and other.proved and max(proof.boxes, other.boxes) < 400:
        # with so few boxes each bound is at most a tenth, or 0.1°, beyond what is met in the cone
        ratio = other.least_volume / proof.least_volume, *(other.least_discriminant / proof.least_discriminant)
        assert np.abs(np.log(ratio)).max() < np.log(1.1)
        ends = proof.travel if theirs.hand > 0 else -proof.travel[:, ::-1]  # in a mirror motors count the other way
        assert np.abs(wrapped(other.travel - ends)).max() < 0.1 * deg  # from home, at angles in (-180°, 180°]


@few(3)
@given(case=cases, order=orders)
def test_the_largest_tilt_does_not_depend_on_the_numbers_of_the_legs(case, order):
    views = View(at_home(case)), View(at_home(case), order=order)
    found, other = (largest_tilt(view.m, view.mode, resolution=1 * deg, budget=1000) for view in views)
    assert (other.refuted is None) == (found.refuted is None)
    assert abs(other.tilt - found.tilt) < 1e-12  # sums of three legs in another order: rounding
