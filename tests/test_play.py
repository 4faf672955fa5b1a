"""Play of bearings and drives against linear programs, the corners of a box, and hinges worked out by hand."""

from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import linprog

from legloop import Mechanism, SingularError, deg, inverse_kinematics, jacobian, rotation
from legloop.lesson.cases import bird_hide, random_joints
from legloop.workshop.stiffness import BALL_608, Bearing, Hinge, worst_play
from legloop.workshop.units import mm
from poses import regular_poses, singular_poses

HIDE = bird_hide()
TILTED = rotation.from_rpy(0.2, -0.15, 0.3)
POSE = (HIDE, TILTED, inverse_kinematics(HIDE, TILTED))
HINGES = (
    Hinge(60 * mm, 75 * mm, 20e-6, 50e-6),
    Hinge.pair(BALL_608, 58 * mm, axial=80e-6),
    Hinge(40 * mm, 52 * mm, 13e-6),
)
SIDES = 32  # of the polygon that stands for the circle of a radial clearance


def by_linear_program(m, R, theta, hinges, backlash, a):
    """Largest a . omega when each bearing's movement stays in a polygon round its circle; unknowns as they come.

    Unknown: the twist of the platform, and for each leg the movement of the pin in each bearing, along each hinge, in
    the drive, and the turns of the passive hinges. The twist must be the same by all three legs.
    """
    columns, bounds, circles = [np.vstack([-np.eye(6)] * 3)], [(None, None)] * 6, []
    axes = zip(m.base_axes, m.elbow_axes(theta), m.platform_axes_at(R), strict=True)
    for leg, three in enumerate(axes):
        for hinge, axis in zip(hinges, three, strict=True):
            side = np.linalg.svd(axis[None])[2][1:]  # two directions across the axis
            for z, other in ((hinge.near, hinge.far), (hinge.far, hinge.near)):
                circles.append((len(bounds), hinge.radial / 2))
                for d in side:  # the pin turns about where the other bearing holds it
                    omega = np.cross(axis, d) / (z - other)
                    columns.append(placed([*np.cross(omega, -other * axis), *omega], leg))
                    bounds.append((None, None))
            columns.append(placed([*axis, 0, 0, 0], leg))
            bounds.append((-hinge.axial / 2, hinge.axial / 2))
        columns.append(placed([0, 0, 0, *three[0]], leg))
        bounds.append((-backlash / 2, backlash / 2))
        for axis in three[1:]:
            columns.append(placed([0, 0, 0, *axis], leg))
            bounds.append((None, None))
    rows, limits = [], []
    for start, c in circles:
        for angle in np.arange(SIDES) * 2 * np.pi / SIDES:
            row = np.zeros(len(bounds))
            row[start : start + 2] = np.cos(angle), np.sin(angle)
            rows.append(row)
            limits.append(c)
    scale = 1e4  # the solver's own tolerance is 1e-7, of numbers that should then be near 1
    bounds = [tuple(None if x is None else scale * x for x in pair) for pair in bounds]
    cost = np.zeros(len(bounds))
    cost[3:6] = -np.asarray(a)
    found = linprog(cost, np.array(rows), scale * np.array(limits), np.column_stack(columns), np.zeros(18), bounds)
    assert found.status == 0
    return -found.fun / scale


def placed(twist, leg):
    column = np.zeros((18, 1))
    column[6 * leg : 6 * leg + 6, 0] = twist
    return column


@pytest.mark.parametrize("backlash", [0.0, 0.1 * deg])
def test_play_against_a_linear_program(backlash):
    poses = [POSE]
    for m in random_joints(3, seed=6):
        R, theta = regular_poses(m, 1, seed=7)
        poses.append((m, R[0], theta[0]))
    for pose in poses:
        found = worst_play(*pose, HINGES, backlash=backlash)
        outside = by_linear_program(*pose, HINGES, backlash, found.axis)
        inside = outside * np.cos(np.pi / SIDES)  # the circle lies between the polygon and the one shrunk by this
        assert inside <= found.angle * (1 + 1e-6)
        assert found.least <= outside * (1 + 1e-6)
        assert found.least <= found.angle <= found.least * 1.002
        for a in np.random.default_rng(8).normal(size=(12, 3)):  # no other direction is worse
            assert by_linear_program(*pose, HINGES, backlash, a / np.linalg.norm(a)) <= found.angle * 1.01


def test_backlash_alone_goes_through_the_jacobian():
    none = Hinge(50 * mm, 60 * mm, 0.0)
    for m in (HIDE, *random_joints(3, seed=1)):
        R, theta = regular_poses(m, 4, seed=2)
        corners = np.array(list(product((-1, 1), repeat=3))) * 0.1 * deg  # half of 0.2°
        turns = np.linalg.norm(np.einsum("nij,cj->nci", jacobian(m, R, theta), corners), axis=-1)
        found = worst_play(m, R, theta, none, backlash=0.2 * deg)
        assert_allclose(found.angle, turns.max(axis=1), rtol=2e-3)  # the bounds are 0.1 % apart


def test_play_grows_in_proportion_and_never_shrinks():
    small = worst_play(*POSE, HINGES, backlash=0.1 * deg)
    double = [Hinge(h.near, h.far, 2 * h.radial, 2 * h.axial) for h in HINGES]
    assert worst_play(*POSE, double, backlash=0.2 * deg).angle == pytest.approx(2 * small.angle, rel=2e-3)
    assert worst_play(*POSE, double, backlash=0.1 * deg).angle > small.angle
    wide = [Hinge(h.near, h.far + 10 * mm, h.radial, h.axial) for h in HINGES]
    assert worst_play(*POSE, wide, backlash=0.1 * deg).angle < small.angle
    none = worst_play(*POSE, Hinge(50 * mm, 60 * mm, 0.0))
    assert (none.angle, none.least) == (0.0, 0.0)


def test_play_of_a_batch_and_of_a_turned_base():
    R = np.stack([TILTED, np.eye(3)])
    theta = inverse_kinematics(HIDE, R)
    both = worst_play(HIDE, R, theta, HINGES)
    assert both.angle.shape == (2,)
    assert both.axis.shape == (2, 3)
    assert both.angle[0] == pytest.approx(worst_play(*POSE, HINGES).angle, rel=1e-2)  # the search may end elsewhere
    Q = rotation.from_rpy(0.5, 1.0, -2.0)
    turned = Mechanism(Q @ HIDE.base_frames, HIDE.platform_axes, HIDE.proximal, HIDE.distal)
    same = worst_play(turned, Q @ R, theta, HINGES)
    assert_allclose(same.angle, both.angle, rtol=1e-2)  # the climb starts from other axes


def test_a_bearing_608():
    # ISO 15: 8 x 22 x 7 mm; ISO 5753-1: normal clearance of this bore up to 13 µm. Both from memory.
    assert (BALL_608.bore, BALL_608.outside, BALL_608.width) == pytest.approx((8 * mm, 22 * mm, 7 * mm))
    hinge = Hinge.pair(BALL_608, 60 * mm, spacer=5 * mm, axial=10e-6)
    assert hinge == Hinge(60 * mm, 72 * mm, BALL_608.clearance, 10e-6)


def test_singular_poses_are_refused():
    m, R, theta = singular_poses(1, seed=40)[0]
    with pytest.raises(SingularError, match="the pose is singular of type 2"):
        worst_play(m, R, theta, HINGES)


BAD = [
    (lambda: Hinge(60, 67, 13e-6), r"near is 60 m.*60\*mm"),
    (lambda: Hinge(67 * mm, 60 * mm, 13e-6), r"far bearing must be the farther one"),
    (lambda: Hinge(60 * mm, 67 * mm, 13), r"radial is 13 m.*13e-6"),
    (lambda: Hinge(60 * mm, 67 * mm, 0.0, -1e-6), r"axial is -1e-06 m"),
    (lambda: Bearing(8, 22, 7, 13e-6), r"bore is 8 m.*8\*mm"),
    (lambda: Bearing(22e-3, 8e-3, 7e-3, 13e-6), r"outside is 0.008 m.*larger than the bore"),
    (lambda: Bearing(8e-3, 22e-3, 7e-3, 13), r"clearance is 13 m"),
    (lambda: worst_play(*POSE, HINGES, backlash=6), r"backlash is 6 rad.*deg"),
    (lambda: worst_play(HIDE, np.eye(3), [0, 0, 0], HINGES), r"do not close"),
]


@pytest.mark.parametrize(("call", "message"), BAD)
def test_bad_input_is_named_with_its_repair(call, message):
    with pytest.raises(ValueError, match=message):
        call()


@pytest.mark.parametrize("hinges", [HINGES[:2], (1, 2, 3), 13e-6])
def test_hinges_are_one_or_three(hinges):
    with pytest.raises(TypeError, match="one Hinge, or three"):
        worst_play(*POSE, hinges)
