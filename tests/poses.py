"""Poses at and away from the singularities, for the tests of the forward kinematics and of the rates."""

import math
from itertools import pairwise

import numpy as np
from scipy.optimize import brentq, least_squares
from scipy.spatial.transform import Rotation

from legloop import WORKING_MODES, closure_error, deg, inverse_kinematics, rotation
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


def moved_steadily(m, count, seed, most):
    """Moves in which the motors go straight: near, mode, theta at near, theta, and where the platform arrives.

    Followed in steps of at most 0.7° by Newton's method on rotation vectors, from poses in random modes; the motors
    turn by up to `most` each. Kept are the moves in which the normals stay far from coplanar and no step of the
    platform is large.
    """
    rng = np.random.default_rng(seed)
    near = reachable(m, count, seed, margin=3 * deg)
    mode = rng.choice([-1, 1], (count, 3))
    start = inverse_kinematics(m, near, mode)
    change = rng.uniform(-most, most, (count, 3)) * rng.uniform(0, 1, (count, 1))  # small ones as well
    R, clear = near, np.ones(count, dtype=bool)
    steps = math.ceil(most / (0.7 * deg))
    for k in range(1, steps + 1):
        theta, before = start + change * k / steps, R
        for _ in range(3):
            n = normals(m, R, theta)
            flat = np.abs(np.linalg.det(n)) < 0.02
            clear &= ~flat
            n[flat] = np.eye(3)
            turn = np.linalg.solve(n, np.where(flat[:, None], 0, closure_error(m, R, theta))[..., None])[..., 0]
            R = Rotation.from_rotvec(turn).as_matrix() @ R
        clear &= rotation.angle_between(before, R) < 4 * deg
    clear &= np.abs(closure_error(m, R, theta)).max(axis=1) < 1e-12
    return near[clear], mode[clear], start[clear], theta[clear], R[clear]


def moved_by_hand(m, count, seed, most):
    """As `moved_steadily`, with the platform turning about a fixed axis by up to `most`, in one working mode.

    Kept are the moves that stay clear of every singularity, seen in 60 places.
    """
    rng = np.random.default_rng(seed)
    near = reachable(m, count, seed, margin=3 * deg)
    mode = rng.choice([-1, 1], (count, 3))
    axis = rng.normal(size=(count, 3))
    axis *= rng.uniform(0, most, (count, 1)) / np.linalg.norm(axis, axis=1, keepdims=True)
    start = theta = inverse_kinematics(m, near, mode)
    R, clear, side = near, np.ones(count, dtype=bool), np.sign(np.linalg.det(normals(m, near, start)))
    for k in range(61):
        R = Rotation.from_rotvec(axis * k / 60).as_matrix() @ near
        theta = inverse_kinematics(m, R, mode, near=np.nan_to_num(theta), unreachable="nan")
        clear &= np.isfinite(theta).all(axis=1)
        n = normals(m, R, np.nan_to_num(theta))
        clear &= (side * np.linalg.det(n) > 0.05) & (np.abs(np.einsum("nli,li->nl", n, m.base_axes)) > 0.02).all(
            axis=1
        )
    return near[clear], mode[clear], start[clear], theta[clear], R[clear]
