"""Distances between the bodies of links and base, against bodies filled with sampled points."""

from importlib import import_module

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from legloop import Links, clearance, deg, inverse_kinematics, rotation
from legloop.lesson.cases import bird_hide, random_joints, reachable

HIDE = bird_hide()
SIZES = Links(
    radius=(0.06, 0.05), half_width=0.004, thickness=(0.004, 0.003), motors=(0.05, 0.09, 0.012), floor=-0.075
)
STEP = 2 * deg
"""Spacing of the sampled directions."""


def slerp(a, b):
    """Points of the great arc from a to b, by SciPy."""
    axis = np.cross(a, b)
    angle = np.arctan2(np.linalg.norm(axis), a @ b)
    turns = np.linspace(0, angle, max(2, int(np.ceil(angle / STEP)) + 1))
    turned = Rotation.from_rotvec(turns[:, None] * axis / np.linalg.norm(axis))
    return turned.apply(a.copy())  # SciPy takes no read-only view


def around(points, half):
    """The points, and directions up to an angle `half` away from each, all around."""
    found = [points]
    for out in np.linspace(0, half, max(2, int(np.ceil(half / STEP)) + 1))[1:]:
        for way in np.linspace(0, 2 * np.pi, max(8, int(2 * np.pi * out / STEP)), endpoint=False):
            side = np.cross(points, np.where(np.abs(points[:, :1]) < 0.7, [1.0, 0, 0], [0, 1.0, 0]))
            side /= np.linalg.norm(side, axis=1, keepdims=True)
            turned = np.cos(way) * side + np.sin(way) * np.cross(points, side)
            found.append(np.cos(out) * points + np.sin(out) * turned)
    return np.concatenate(found)


def body(directions, low, high):
    """Directions at radii a millimetre or less apart."""
    return (np.linspace(low, high, 2 + int((high - low) / 1e-3))[:, None, None] * directions).reshape(-1, 3)


def sampled_bodies(m, R, theta, links):
    """Points of the six links and of the three motors, and by how much more than the true distance theirs may be."""
    axes = zip(m.base_axes, m.elbow_axes(theta), m.platform_axes_at(R), strict=True)
    arcs = [slerp(*pair) for u, w, p in axes for pair in ((u, w), (w, p))]
    r, half, thick = (x.reshape(6) for x in (links.radius, links.half_width, links.thickness))
    points = [body(around(a, half[i] / r[i]), r[i] - thick[i] / 2, r[i] + thick[i] / 2) for i, a in enumerate(arcs)]
    near, far, side = links.motors
    motors = [body(around(u[None], 2 * side / (near + far)), near, far) for u in m.base_axes]
    # on each of two bodies a sample misses the nearest point by half a step along and across, and half a millimetre
    return points, motors, 2 * (np.sqrt(0.5) * STEP * far + 0.5e-3)


def nearest(tree, points, farthest):
    """Least distance between two sets of points; infinite if it is more than `farthest`."""
    return tree.query(points, distance_upper_bound=farthest)[0].min()


@pytest.mark.parametrize("seed", range(4))
def test_distances_are_those_of_sampled_bodies(seed):
    m = HIDE if seed < 2 else random_joints(4, seed=50)[seed]
    R = reachable(m, 4, seed=51 + seed)[seed]
    theta = inverse_kinematics(m, R, [(1, 1, 1), (-1, 1, -1)][seed % 2])
    got = clearance(m, R, theta, SIZES)
    points, motors, coarse = sampled_bodies(m, R, theta, SIZES)
    trees = [cKDTree(x) for x in points]
    motors = [cKDTree(x) for x in motors]
    for a in range(6):
        for b in range(6):
            if a // 2 == b // 2:
                assert got.links[a, b] == np.inf
            else:
                told = nearest(trees[b], points[a], got.links[a, b] + coarse)
                assert told - coarse <= got.links[a, b] <= told + 1e-12
        told = min(nearest(motors[i], points[a], got.base[a] + coarse) for i in range(3) if a != 2 * i)
        told = min(told, max(points[a][:, 2].min() - SIZES.floor, 0))
        assert told - coarse <= got.base[a] <= told + 1e-12
    assert got.least == min(got.links.min(), got.base.min())


def test_known_distances():
    """Three alike legs, without a base: thin links, and links so wide that all overlap as seen from the centre."""
    thin = Links(radius=(0.06, 0.05), half_width=1e-9, thickness=1e-9)
    theta = HIDE.home_angles()
    got = clearance(HIDE, np.eye(3), theta, thin)
    assert (got.base == np.inf).all()
    assert_allclose(got.links[0, 2], got.links[2, 4], rtol=1e-9)
    assert_allclose(got.links[0, 2], got.links[0, 4], rtol=1e-9)
    assert_allclose(got.links, got.links.T)
    # where two bands overlap on the sphere, the distance is the difference of radii
    crossed = clearance(HIDE, np.eye(3), theta, Links(radius=(0.06, 0.05), half_width=0.05, thickness=0.002))
    assert_allclose(crossed.links[0, 3], 0.01 - 0.002, rtol=1e-9)
    assert crossed.links[0, 2] == 0
    assert crossed.least == 0


def test_radii_apart_keep_links_apart_whatever_the_pose():
    """Second links at three radii, first links outside them all: no pose brings legs nearer than the gaps."""
    links = Links(radius=[[0.10, 0.05], [0.12, 0.06], [0.14, 0.07]], half_width=0.005, thickness=0.004)
    R = reachable(HIDE, 500, seed=52)
    got = clearance(HIDE, R, inverse_kinematics(HIDE, R), links)
    assert (got.least >= 0.006 - 1e-12).all()
    assert_allclose(got.least.min(), 0.006, atol=1e-12)  # some pose crosses


def test_arcs_that_cross_and_arcs_that_do_not():
    """Arcs through one point of the sphere, in both directions; and the same cut off just before it."""
    rng = np.random.default_rng(54)
    gaps = import_module("legloop.reach.gaps")

    def between(*ends):
        a, b, c, d = (np.asarray(end)[:, None] for end in ends)
        return gaps._between_arcs(gaps._arcs(a, b), gaps._arcs(c, d))[0]

    for _ in range(100):
        R = Rotation.random(random_state=rng.integers(2**31))
        tilted = Rotation.from_euler("x", rng.uniform(0.2, 3))
        start, end, left, right = rng.uniform(0.1, 1.5, 4)

        def along(angle, R=R):
            return R.apply([np.cos(angle), np.sin(angle), 0])

        def across(angle, R=R, tilted=tilted):
            return R.apply(tilted.apply([np.cos(angle), np.sin(angle), 0]))

        one, other = (along(-start), along(end)), (across(-left), across(right))
        for first in (one, one[::-1]):
            for second in (other, other[::-1]):
                assert between(*first, *second) == 0
                assert between(*second, *first) == 0
        short = (along(-start), along(-start / 2))
        expected = np.arccos(np.clip(slerp(*short) @ slerp(*other).T, -1, 1)).min()
        assert expected - 1.5 * STEP <= between(*short, *other) <= expected + 1e-9
        assert between(*short, *other) > 0


def test_floor_alone():
    floor = Links(radius=0.06, half_width=0.003, thickness=0.004, floor=-0.07)
    got = clearance(HIDE, np.eye(3), HIDE.home_angles(), floor)
    # the first link starts at the motor axis, 45° from straight down, and rises: its round end is lowest
    lowest = -0.062 * np.cos(45 * deg - 0.003 / 0.06)
    assert_allclose(got.base[::2], lowest + 0.07, atol=2e-4)  # the link may dip a little before it rises
    assert (got.base[::2] <= lowest + 0.07 + 1e-12).all()
    assert (got.base[1::2] > got.base[::2]).all()


def test_batches_broadcast_and_agree_with_single_poses():
    R = reachable(HIDE, 12, seed=53).reshape(3, 4, 3, 3)
    theta = inverse_kinematics(HIDE, R)
    got = clearance(HIDE, R, theta, SIZES)
    assert got.least.shape == (3, 4)
    assert got.links.shape == (3, 4, 6, 6)
    assert got.base.shape == (3, 4, 6)
    one = clearance(HIDE, R[2, 1], theta[2, 1], SIZES)
    assert_allclose(one.links, got.links[2, 1])
    assert_allclose(one.base, got.base[2, 1])
    assert one.least == got.least[2, 1]
    home = clearance(HIDE, np.eye(3), HIDE.home_angles([(1, 1, 1), (-1, -1, -1)]), SIZES)
    assert_allclose(home.least[0], home.least[1], rtol=1e-9)  # mirror images


def test_turning_the_legs_round_renumbers_the_distances():
    R, turn = rotation.ry(12 * deg), rotation.rz(120 * deg)
    one = clearance(HIDE, R, inverse_kinematics(HIDE, R), SIZES)
    R = turn @ R @ turn.T
    other = clearance(HIDE, R, inverse_kinematics(HIDE, R), SIZES)
    order = np.array([2, 3, 4, 5, 0, 1])
    assert_allclose(other.links[np.ix_(order, order)], one.links, rtol=1e-9)
    assert_allclose(other.base[order], one.base, rtol=1e-9)


def test_links_are_frozen():
    with pytest.raises(AttributeError):
        SIZES.floor = 0.0
    with pytest.raises(ValueError, match="read-only"):
        SIZES.radius[0, 0] = 1.0


def links(**changed):
    return lambda: Links(**{"radius": 0.06, "half_width": 0.004, "thickness": 0.004, **changed})


@pytest.mark.parametrize(
    ("call", "kind", "message"),
    [
        (links(radius=-0.06), ValueError, r"radius is -0\.06 m; it must be positive"),
        (links(radius=(0.06, 0.0)), ValueError, r"radius\[1\] is 0 m"),
        (links(radius=(1, 2, 3)), ValueError, r"radius has shape \(3,\).*\(3, 2\)"),
        (links(half_width=None), TypeError, r"half_width is None"),
        (links(half_width=0.1), ValueError, r"half_width is 0\.1 m, 1\.67 of its radius.*in metres"),
        (links(thickness=0.12), ValueError, r"thickness is 0\.12 m at a radius of 0\.06 m: it reaches to the centre"),
        (links(thickness=np.nan), ValueError, r"thickness is nan"),
        (links(motors=(0.09, 0.05, 0.01)), ValueError, r"motors is \[0\.09, 0\.05, 0\.01\]; give three"),
        (links(motors=(0.01, 0.02, 0.05)), ValueError, r"half-width of motors is 0\.05 m, 3\.33"),
        (links(motors=0.05), ValueError, r"motors has shape \(\)"),
        (links(floor=0.05), ValueError, r"floor is 0\.05 m; it must be one negative number"),
        (
            lambda: clearance(HIDE, np.eye(3), HIDE.home_angles(), 0.06),
            TypeError,
            r"links must be a Links, not an object of type float",
        ),
        (lambda: clearance(HIDE, np.eye(3), (0, 0, 0), SIZES), ValueError, r"do not close: they miss .* by 0\."),
        (lambda: clearance(HIDE, [np.eye(3)] * 2, np.zeros((3, 3)), SIZES), ValueError, r"R \(2,\), theta \(3,\)"),
        (lambda: clearance("hide", np.eye(3), (0, 0, 0), SIZES), TypeError, r"Mechanism"),
    ],
)
def test_malformed_calls_are_refused(call, kind, message):
    with pytest.raises(kind, match="(?s)" + message):
        call()
