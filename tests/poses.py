"""Poses at and away from the singularities, for the tests of the forward kinematics and of the rates."""

from itertools import pairwise

import numpy as np
from scipy.optimize import brentq, least_squares
from scipy.spatial.transform import Rotation

from legloop import WORKING_MODES, deg, inverse_kinematics
from legloop.lesson.cases import named_joints, random_joints, reachable


def normals(m, R, theta):
    return np.cross(m.elbow_axes(theta), m.platform_axes_at(R))


def regular_poses(m, count, seed):
    """Orientations and motor angles in mixed modes, well away from every singularity."""
    R = reachable(m, 6 * count, seed, margin=5 * deg)
    theta = inverse_kinematics(m, R, WORKING_MODES[np.arange(len(R)) % 8])
    far = np.abs(np.linalg.det(normals(m, R, theta))) > 0.15
    assert far.sum() >= count
    return R[far][:count], theta[far][:count]


def singular_pose(m, seed):
    """An orientation and motor angles of m with coplanar normals, found by a root finder along an arc; or None."""
    rng = np.random.default_rng(seed)
    start, mode = reachable(m, 1, seed)[0], rng.choice([-1, 1], 3)
    axis = Rotation.from_rotvec(rng.normal(size=3)).apply([0, 0, 1])

    def at(angle):
        R = Rotation.from_rotvec(angle * axis).as_matrix() @ start
        return R, inverse_kinematics(m, R, mode, unreachable="nan")

    def volume(angle):
        return np.linalg.det(normals(m, *at(angle)))

    grid = np.linspace(0, 1.5, 40)
    inside = [a for a in grid if np.isfinite(at(a)[1]).all()]
    for a, b in pairwise(inside):
        if b - a < 0.05 and volume(a) * volume(b) < 0:
            root = brentq(volume, a, b, xtol=1e-16, rtol=1e-15)
            return at(root)
    return None


def cusp(m, seed):
    """A singular pose of m at which three roots meet, by least squares from a random start; or None.

    The closures are flat about the axis that the normals leave free, and so is their second derivative.
    """
    rng = np.random.default_rng(seed)
    start, mode = reachable(m, 1, seed)[0], rng.choice([-1, 1], 3)

    def at(x):
        R = Rotation.from_rotvec(x).as_matrix() @ start
        return R, inverse_kinematics(m, R, mode, unreachable="nan")

    def flatness(x):
        R, theta = at(x)
        if np.isnan(theta).any():
            return np.ones(2)
        n = normals(m, R, theta)
        left, _, right = np.linalg.svd(n)
        bend = np.cross(right[2], np.cross(right[2], m.platform_axes_at(R)))
        return np.array([np.linalg.det(n), left[:, 2] @ np.einsum("li,li->l", m.elbow_axes(theta), bend)])

    found = least_squares(flatness, 0.2 * rng.normal(size=3), xtol=1e-15, ftol=1e-15, gtol=1e-15)
    return at(found.x) if np.abs(found.fun).max() < 1e-12 else None


def singular_poses(count, seed):
    """So many singular poses of named and random joints: (joint, R, theta)."""
    found = []
    joints = [*named_joints().values(), *random_joints(8, seed=seed)]
    while len(found) < count:
        for m in joints:
            seed += 1
            pose = singular_pose(m, seed)
            if pose is not None:
                found.append((m, *pose))
    return found[:count]
