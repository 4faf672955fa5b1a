"""The leg equation and its geometry, by spherical trigonometry and by determinants."""

from itertools import product

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from common import everyday_and_edge_joints
from legloop import Mechanism, deg, inverse_kinematics, leg, reach_margin
from legloop.lesson.cases import random_orientations, reachable


@pytest.mark.parametrize("m", everyday_and_edge_joints())
def test_coefficients_are_the_projections_they_are_named_for(m):
    R = random_orientations(50, seed=30)
    a, b, c = m.leg_equation(R)
    for i in range(3):
        x, y, u = m.base_frames[i].T
        p = R @ m.platform_axes[i]
        # three products of three numbers of size one, rounded in another order
        assert_allclose(a[:, i], np.sin(m.proximal[i]) * (p @ x), atol=2e-15)
        assert_allclose(b[:, i], np.sin(m.proximal[i]) * (p @ y), atol=2e-15)
        assert_allclose(c[:, i], np.cos(m.proximal[i]) * (p @ u) - np.cos(m.distal[i]), atol=2e-15)


@pytest.mark.parametrize("m", everyday_and_edge_joints())
def test_a_motor_angle_of_plain_floats_is_that_of_arrays_and_solves_the_equation(m):
    """Single numbers of Python and NumPy, the special cases of the table among them."""
    a, b, c = (part.ravel() for part in m.leg_equation(random_orientations(20, seed=31)))
    cases = [
        *zip(a, b, c, strict=True),
        (3, 4, 5),
        (3.0, 4.0, -5.0),
        (0, 0, 0),
        (0.0, 0.0, 1.0),
        (1, 0, 2),
        (1, 0, 1),
    ]
    for case in cases:
        for mode in (1, -1):
            many = leg.motor_angle(*(np.array([float(x)]) for x in case), np.array([mode]))
            for kind in (float, np.float64, np.asarray):
                one = leg.motor_angle(*(kind(float(x)) for x in case), mode)
                assert_array_equal(one, many[0])
                assert np.shape(one) == ()
            first, second, third = map(float, case)
            closes = np.hypot(first, second) >= abs(third) and (first, second) != (0, 0)
            assert np.isfinite(many[0]) == closes
            if closes:
                size = np.hypot(first, second)  # at a double root half of the digits are lost
                assert abs(first * np.cos(many[0]) + second * np.sin(many[0]) + third) < 1e-14 * max(size, 1)


def test_coefficients_are_affine_in_the_matrix(hide):
    """Probed entry by entry: what the fold adds for a unit matrix is one column of it."""
    matrix, constant = hide.coefficients
    assert matrix.shape == (9, 9)
    for k, probe in enumerate(np.eye(9)):
        for i, (x, y, u) in enumerate(np.swapaxes(hide.base_frames, 1, 2)):
            p = probe.reshape(3, 3) @ hide.platform_axes[i]
            s, c = np.sin(hide.proximal[i]), np.cos(hide.proximal[i])
            assert_allclose(matrix[[i, 3 + i, 6 + i], k], [s * (x @ p), s * (y @ p), c * (u @ p)], atol=1e-16)
    assert_array_equal(constant[:6], 0)
    assert_array_equal(constant[6:], -np.cos(hide.distal))


@pytest.mark.parametrize("m", everyday_and_edge_joints())
def test_discriminant_is_the_gram_determinant_and_the_squared_volume(m):
    R = reachable(m, 60, seed=31)
    u, w, p = m.base_axes, m.elbow_axes(inverse_kinematics(m, R, (1, -1, 1))), m.platform_axes_at(R)
    D = leg.discriminant(*m.leg_equation(R))
    edges = np.stack([np.broadcast_to(u, p.shape), w, p], axis=-2)
    assert_allclose(D, np.linalg.det(edges @ np.swapaxes(edges, -1, -2)), atol=1e-14)
    assert_allclose(D, np.linalg.det(edges) ** 2, atol=1e-14)


@pytest.mark.parametrize("m", everyday_and_edge_joints())
def test_a_leg_closes_exactly_where_the_triangle_inequality_says(m):
    R = random_orientations(3000, seed=32)
    margin = reach_margin(m, R)
    D = leg.discriminant(*m.leg_equation(R))
    clear = np.abs(margin) > 1e-9
    assert_array_equal((margin > 0)[clear], (D > 0)[clear])
    # and D depends on that one angle alone: product of the sines of half the sums, four times
    arc = leg.arc_between(m.base_axes, m.platform_axes_at(R))
    half = (m.proximal + m.distal + arc) / 2
    heron = 4 * np.sin(half) * np.sin(half - m.proximal) * np.sin(half - m.distal) * np.sin(half - arc)
    assert_allclose(D, heron, atol=1e-14)


@pytest.mark.parametrize(("first", "arc", "angle", "third"), [(60, 30, 45, 42.337), (45, 30, 120, 64.177)])
def test_spherical_law_of_cosines(first, arc, angle, third):
    """Two sides and the included angle give the third side: I. Todhunter, Spherical Trigonometry, chapter IV (from
    memory); the figures are our own, by that law. The leg with that second link must have its motor turned by just
    that angle."""
    proximal, between, included = first * deg, arc * deg, angle * deg
    p = np.array([np.sin(between), 0, np.cos(between)])
    w = np.array([np.sin(proximal) * np.cos(included), np.sin(proximal) * np.sin(included), np.cos(proximal)])
    assert abs(leg.arc_between(p, w) / deg - third) < 0.0005
    axes = np.stack([p, [0, 1, 0], [1, 0, 0]])
    m = Mechanism(np.stack([np.eye(3)] * 3), axes, proximal, third * deg)
    theta = inverse_kinematics(m, np.eye(3), [(1, 1, 1), (-1, 1, 1)], unreachable="nan")[:, 0]
    assert_allclose(np.abs(theta) / deg, angle, atol=0.002)  # the printed side is rounded to 0.0005°


def test_arc_between_is_sharp_where_arccos_is_not():
    u = np.array([0.6, 0.0, 0.8])
    across = np.array([0.0, 1.0, 0.0])
    for tiny in (1e-12, 1e-9, 1e-3):
        tilted = np.cos(tiny) * u + np.sin(tiny) * across
        assert_allclose(leg.arc_between(u, tilted), tiny, rtol=1e-9)
        assert_allclose(np.pi - leg.arc_between(u, -tilted), tiny, rtol=1e-3)  # pi itself is rounded to 4e-16


def test_motor_angle_is_never_minus_pi():
    """theta = pi exactly, with every way that a zero may be signed."""
    for zero, other, mode in product((0.0, -0.0), (0.0, -0.0), (1.0, -1.0)):
        a, b, c = np.array([1.0]), np.array([zero]), np.array([1.0 + other])
        assert leg.motor_angle(a, b, c, np.array([mode])) == np.pi
    # a hair on either side of half a turn, on the edge of reach and within it: the float nearest to it is -pi or pi
    for a, b, c in ((1.0, 1e-17, 1.0), (1.0, -1e-17, 1.0), (0.0, 1.0, 1e-17), (0.0, 1.0, -1e-17)):
        assert leg.motor_angle(np.array([a]), np.array([b]), np.array([c]), np.array([-1.0])) == np.pi
    assert leg.motor_angles([0.0] * 3 + [1.0] * 3 + [1e-17] * 3, [-1] * 3) is None  # leaves it to `motor_angle`


def test_floats_and_arrays_give_the_same_root():
    nine = np.random.default_rng(33).uniform(-0.7, 0.7, (200, 9))
    plain = [leg.motor_angles(row.tolist(), [1, -1, 1]) for row in nine]
    arrays = leg.motor_angle(nine[:, :3], nine[:, 3:6], nine[:, 6:], np.array([1, -1, 1]))
    for one, other in zip(plain, arrays, strict=True):
        if one is None:
            assert np.isnan(other).any()
        else:
            assert_allclose(one, other, rtol=0, atol=5e-16)
    assert any(one is None for one in plain)
