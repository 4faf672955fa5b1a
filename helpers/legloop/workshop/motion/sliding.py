"""The nearest point that some limits allow: for rates and for whole orientations."""

from __future__ import annotations

import numpy as np

from ... import leg, rotation
from ..._check import Floats
from ...inverse import inverse_kinematics
from ...velocity import inverse_jacobian
from .knots import Joint

__all__ = ["nearest_orientations", "nearest_point", "rows"]

_SWEEPS = 200  # few constraints hold at once; a sweep then leaves a fixed part of what is missing
_ROUNDS = 25


def nearest_point(target: Floats, A: Floats, b: Floats) -> Floats:
    """The y (n, 3) nearest to `target` (n, 3) with ``A y >= b``, A (n, k, 3), b (n, k).

    Sweeps over the multipliers: each limit in turn takes as much of a push along its row as it needs, never a pull.
    Rows of zeros are passed over. Source: Hildreth, Naval Research Logistics Quarterly 4, 1957 (from memory).
    """
    length = np.linalg.norm(A, axis=2)
    unit = A / np.where(length > 0, length, 1.0)[..., None]
    level = np.where(length > 0, b / np.where(length > 0, length, 1.0), -np.inf)
    push = np.zeros_like(level)
    y = target.copy()
    for _ in range(_SWEEPS):
        for i in range(A.shape[1]):
            wanted = np.maximum(0.0, push[:, i] + level[:, i] - np.einsum("nj,nj->n", unit[:, i], y))
            y += (wanted - push[:, i])[:, None] * unit[:, i]
            push[:, i] = wanted
    return y


def rows(joint: Joint, R: Floats, near: Floats, *, pad: float) -> tuple[Floats, Floats, Floats]:
    """The limits of reach and travel at orientations R (n, 3, 3), near motor angles `near` (3,) or (n, 3).

    Gradients (n, 12, 3) with respect to a small turn in base axes, room (n, 12) in radians, not negative where the
    limit is kept by `pad`, and the motor angles (n, 3), NaN where a leg does not close: there its travel is not
    looked at. The span of a leg, angle(u, R v), grows with a turn about u x R v.
    """
    m, mode, walls = joint
    p = m.platform_axes_at(R)
    normal = np.cross(m.base_axes, p)
    sine = np.linalg.norm(normal, axis=2)
    normal = normal / np.where(sine > 0, sine, 1.0)[..., None]
    span = leg.arc_between(m.base_axes, p)
    low, high = leg.reach_limits(m.proximal, m.distal)
    theta = inverse_kinematics(m, R, mode, near=near, unreachable="nan")
    room = np.minimum(span - low, high - span).min(axis=1)
    inside = np.asarray(room >= 1e-6)  # off the edge: slopes are finite
    slope = np.zeros((len(R), 3, 3))
    slope[inside] = np.nan_to_num(inverse_jacobian(m, R[inside], theta[inside], singular="nan"))
    A = np.concatenate([-normal, normal, -slope, slope], axis=1)
    inset = walls.edge + pad
    ends = [np.where(inside[:, None], left, np.inf) for left in (walls.high - theta, theta - walls.low)]
    every = np.concatenate([high - inset - span, span - low - inset, ends[0] - pad, ends[1] - pad], axis=1)
    return A, every, theta


def nearest_orientations(joint: Joint, R: Floats, near: Floats, *, pad: float) -> Floats:
    """The orientations nearest to R (n, 3, 3) that keep reach and travel by `pad`; those that do come back unchanged.

    The turn r away from R is made the shortest by steps: each solves ``min |r + d|, room + A d >= 0`` with the limits
    made straight where it stands. At its end r is a sum of rows of A, each pushing inwards: no turn near is shorter.
    """
    turn = np.zeros((len(R), 3))
    for _ in range(_ROUNDS):
        here = rotation.from_rotation_vector(turn) @ R
        A, room, _ = rows(joint, here, near, pad=pad)
        step = nearest_point(-turn, A, -np.where(np.isfinite(room), room, 1e3))
        if np.abs(step).max(initial=0.0) < 1e-10:  # rad: far below any step of a motor
            break
        turn = rotation.to_rotation_vector(rotation.from_rotation_vector(step) @ rotation.from_rotation_vector(turn))
    return np.asarray(rotation.from_rotation_vector(turn) @ R)
