"""What must hold whatever the joint and the pose: properties of every public function that takes a pose.

The poses are made without the package: frames, platform axes, arcs of the first link, an orientation and motor angles
are drawn; the arc of each second link is then what the place of its two ends asks for.
"""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from common import FULL, wrapped
from legloop import (
    Links,
    Mechanism,
    clearance,
    closure_error,
    dexterity,
    forward_kinematics,
    inverse_jacobian,
    inverse_kinematics,
    jacobian,
    payload_moment,
    reach_margin,
    rotation,
    singularity,
    static_torque,
    working_mode,
)

settings.register_profile(
    "legloop",
    derandomize=True,  # the same examples everywhere
    deadline=None,  # no timed tests
    max_examples=200 if FULL else 12,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
settings.load_profile("legloop")

BARS = Links(radius=[0.06, 0.075], half_width=[0.005, 0.004], thickness=[0.008, 0.006])
MIRROR = np.diag([1.0, -1.0, 1.0])
angles = st.floats(-np.pi, np.pi)
directions = st.tuples(*[st.floats(-1, 1)] * 3).filter(lambda v: np.linalg.norm(v) > 0.1)
turns = st.builds(lambda axis, angle: angle * np.array(axis) / np.linalg.norm(axis), directions, angles)


class Case:
    """A joint with a pose that closes."""

    def __init__(self, frames, axes, first, turn, theta):
        B = Rotation.from_rotvec(frames).as_matrix()
        v = np.array(axes) / np.linalg.norm(axes, axis=1, keepdims=True)
        self.R, self.theta = Rotation.from_rotvec(turn).as_matrix(), np.array(theta)
        first = np.array(first)
        s, c = np.sin(first), np.cos(first)
        w = np.einsum("lij,lj->li", B, np.stack([s * np.cos(theta), s * np.sin(theta), c], axis=-1))
        p = v @ self.R.T
        second = np.arctan2(np.linalg.norm(np.cross(w, p), axis=1), (w * p).sum(axis=1))
        self.sound = bool((second > 0.05).all() and (second < np.pi - 0.05).all())
        self.n = np.cross(w, p)
        self.link = np.einsum("li,li->l", self.n, B[:, :, 2])
        self.m = Mechanism(B, v, first, np.clip(second, 0.05, np.pi - 0.05))
        self.mode = np.where(self.link < 0, -1, 1)

    @property
    def regular(self):
        """Away from the singularities of both types, where small changes stay small."""
        return self.sound and np.abs(self.link).min() > 0.05 and abs(np.linalg.det(self.n)) > 0.05


three = st.tuples
cases = st.builds(
    Case,
    three(turns, turns, turns),
    three(directions, directions, directions),
    three(*[st.floats(0.3, 2.8)] * 3),
    turns,
    three(angles, angles, angles),
).filter(lambda case: case.regular)

MOMENT = np.array([0.3, -0.2, 0.5])
CALLS = {
    "inverse_kinematics": lambda m, R, ___, mode: inverse_kinematics(m, R, mode),
    "inverse_kinematics near": lambda m, R, theta, mode: inverse_kinematics(m, R, mode, near=theta),
    "forward_kinematics": lambda m, R, theta, mode: forward_kinematics(m, theta, near=R, mode=mode),
    "working_mode": lambda m, R, theta, *_: working_mode(m, R, theta),
    "closure_error": lambda m, R, theta, *_: closure_error(m, R, theta),
    "reach_margin": lambda m, R, *_: reach_margin(m, R),
    "jacobian": lambda m, R, theta, *_: jacobian(m, R, theta),
    "inverse_jacobian": lambda m, R, theta, *_: inverse_jacobian(m, R, theta),
    "dexterity": lambda m, R, theta, *_: dexterity(m, R, theta),
    "singularity": lambda m, R, theta, *_: singularity(m, R, theta).plane,
    "static_torque": lambda m, R, theta, *_: static_torque(m, R, theta, load=MOMENT),
    "clearance": lambda m, R, theta, *_: clearance(m, R, theta, BARS).least,
    "payload_moment": lambda _m, R, *_: payload_moment(0.9, [0.01, 0.02, 0.05], R),
    "elbow_axes": lambda m, _R, theta, *_: m.elbow_axes(theta),
    "platform_axes_at": lambda m, R, *_: m.platform_axes_at(R),
}
by_call = pytest.mark.parametrize("call", CALLS.values(), ids=CALLS)


@given(case=cases)
def test_the_motor_angles_that_made_the_pose_are_found(case):
    found = inverse_kinematics(case.m, case.R, case.mode)
    assert np.abs(wrapped(found - case.theta)).max() < 1e-12  # |n . u| > 0.05 divides the rounding
    assert np.abs(wrapped(inverse_kinematics(case.m, case.R, case.mode, near=case.theta) - case.theta)).max() < 1e-12
    assert (working_mode(case.m, case.R, case.theta) == case.mode).all()


@by_call
@given(case=cases, turn=turns)
def test_a_batch_is_a_loop(call, case, turn):
    # two poses of one joint: the second moves the motors by a little, so that both are on the same branch
    step = 1e-3 * turn
    second = forward_kinematics(case.m, case.theta + step, near=case.R)
    R, theta = np.stack([case.R, second]), np.stack([case.theta, case.theta + step])
    both = call(case.m, R, theta, case.mode)
    grid = call(case.m, R[:, None], theta[:, None], np.stack([case.mode] * 2))
    for k in range(2):
        one = call(case.m, R[k], theta[k], case.mode)
        assert np.shape(one) == np.shape(both)[1:]
        np.testing.assert_allclose(both[k], one, rtol=0, atol=2e-12)  # summed in another order
        np.testing.assert_allclose(np.broadcast_to(grid, (2, 2, *np.shape(one)))[k, 1], one, rtol=0, atol=2e-12)


@by_call
@given(case=cases)
def test_input_is_not_modified_and_layout_does_not_matter(call, case):
    R, theta = np.stack([case.R] * 4), np.stack([case.theta] * 4)
    plain = call(case.m, R, theta, case.mode)
    R.flags.writeable = theta.flags.writeable = False
    wide = np.zeros((8, 3, 3)), np.zeros((4, 6))
    wide[0][::2], wide[1][:, ::2] = R, theta
    for poses, motors in (
        (R, theta),
        (np.asfortranarray(R), np.asfortranarray(theta)),
        (wide[0][::2], wide[1][:, ::2]),
        (R[::-1], theta[::-1]),
        (R.tolist(), theta.tolist()),
        (np.broadcast_to(case.R, (4, 3, 3)), np.broadcast_to(case.theta, (4, 3))),
        (R.astype(">f8"), theta.astype(">f8")),
        (Rotation.from_matrix(R), theta),
    ):
        np.testing.assert_allclose(call(case.m, poses, motors, case.mode), plain, rtol=0, atol=1e-12)
    assert (R == case.R).all()
    assert (theta == case.theta).all()


@by_call
def test_an_empty_batch_gives_an_empty_batch(call, hide):
    R, theta = np.stack([np.eye(3)]), hide.home_angles()[None]
    one = call(hide, R, theta, (1, 1, 1))
    none = call(hide, R[:0], theta[:0], (1, 1, 1))
    assert none.shape == (0, *one.shape[1:])
    assert none.dtype == one.dtype


@given(case=cases, base=turns, platform=turns)
def test_turning_the_frames_of_base_and_platform_changes_nothing(case, base, platform):
    P, Q = Rotation.from_rotvec(base).as_matrix(), Rotation.from_rotvec(platform).as_matrix()
    m = Mechanism(P @ case.m.base_frames, case.m.platform_axes @ Q.T, case.m.proximal, case.m.distal)
    R = P @ case.R @ Q.T
    assert np.abs(wrapped(inverse_kinematics(m, R, case.mode) - case.theta)).max() < 1e-12
    np.testing.assert_allclose(jacobian(m, R, case.theta), P @ jacobian(case.m, case.R, case.theta), atol=1e-10)
    assert abs(dexterity(m, R, case.theta) - dexterity(case.m, case.R, case.theta)) < 1e-12
    near = forward_kinematics(m, case.theta, near=P @ Rotation.from_rotvec(1e-3 * base).as_matrix() @ case.R @ Q.T)
    np.testing.assert_allclose(near, R, atol=1e-11)


@given(case=cases, order=st.permutations(range(3)))
def test_legs_may_be_renumbered(case, order):
    m = Mechanism(
        case.m.base_frames[order], case.m.platform_axes[order], case.m.proximal[order], case.m.distal[order]
    )
    theta = case.theta[order]
    assert np.abs(wrapped(inverse_kinematics(m, case.R, case.mode[order]) - theta)).max() < 1e-12
    np.testing.assert_allclose(jacobian(m, case.R, theta), jacobian(case.m, case.R, case.theta)[:, order], atol=1e-10)
    np.testing.assert_allclose(reach_margin(m, case.R), reach_margin(case.m, case.R)[order], atol=1e-14)


@given(case=cases)
def test_the_mirror_image_of_a_joint_turns_the_other_way_in_the_other_mode(case):
    m = Mechanism(MIRROR @ case.m.base_frames @ MIRROR, case.m.platform_axes @ MIRROR, case.m.proximal, case.m.distal)
    R = MIRROR @ case.R @ MIRROR
    found = inverse_kinematics(m, R, -case.mode)
    assert np.abs(wrapped(found + case.theta)).max() < 1e-12
    # omega is an axial vector: mirrored it changes its sign once more
    np.testing.assert_allclose(jacobian(m, R, -case.theta), MIRROR @ jacobian(case.m, case.R, case.theta), atol=1e-10)
    np.testing.assert_allclose(reach_margin(m, R), reach_margin(case.m, case.R), atol=1e-14)


@given(case=cases, rate=directions)
def test_rates_and_torques_do_the_same_work(case, rate):
    omega = jacobian(case.m, case.R, case.theta) @ np.array(rate)
    np.testing.assert_allclose(inverse_jacobian(case.m, case.R, case.theta) @ omega, rate, atol=1e-9)
    torque = static_torque(case.m, case.R, case.theta, moment=MOMENT)
    assert abs(torque @ np.array(rate) - MOMENT @ omega) < 1e-9


@given(turn=turns, other=turns)
def test_names_of_a_turn_come_back(turn, other):
    R = rotation.from_rotation_vector(turn)
    np.testing.assert_allclose(R, Rotation.from_rotvec(turn).as_matrix(), atol=1e-14)
    np.testing.assert_allclose(rotation.from_quaternion(rotation.to_quaternion(R)), R, atol=1e-14)
    np.testing.assert_allclose(rotation.from_rpy(*rotation.to_rpy(R)), R, atol=1e-14)
    np.testing.assert_allclose(rotation.from_tilt_torsion(*rotation.to_tilt_torsion(R)), R, atol=1e-14)
    np.testing.assert_allclose(rotation.from_axis_angle(*rotation.to_axis_angle(R)), R, atol=1e-14)
    S = rotation.from_rotation_vector(other)
    assert (
        abs(rotation.angle_between(R, S) - (Rotation.from_matrix(R).inv() * Rotation.from_matrix(S)).magnitude())
        < 1e-12
    )
