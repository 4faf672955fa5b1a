"""The nearest point that some limits allow: for rates and for whole orientations."""

from __future__ import annotations

import numpy as np

from ... import leg, rotation
from ..._check import Floats
from ...inverse import inverse_kinematics
from ...reach import reach_margin
from ...velocity import inverse_jacobian
from .knots import Joint

__all__ = ["nearest_orientations", "nearest_point", "rows"]

_SWEEPS = 200  # few constraints hold at once; a sweep then leaves a fixed part of what is missing
_STILL = 1e-15  # of rad or rad/s: a sweep that pushes by less has found the point, to rounding
_ROUNDS = 25


def nearest_point(target: Floats, A: Floats, b: Floats) -> Floats:
    """The y (n, 3) nearest to `target` (n, 3) with ``A y >= b``, A (n, k, 3), b (n, k).

    Sweeps over the multipliers: each limit in turn takes as much of a push along its row as it needs, never a pull.
    Rows of zeros are passed over. In plain floats, target by target: most need a few sweeps, and arrays of three are
    slow. Source: Hildreth, Naval Research Logistics Quarterly 4, 1957 (from memory).
    """
    length = np.linalg.norm(A, axis=2)
    unit = A / np.where(length > 0, length, 1.0)[..., None]
    level = np.where(length > 0, b / np.where(length > 0, length, 1.0), -np.inf)
    y = target.copy()
    for row in np.flatnonzero((np.einsum("nkj,nj->nk", unit, y) < level).any(axis=1)):
        y[row] = _pushed(y[row].tolist(), unit[row].tolist(), level[row].tolist())
    return y


def _pushed(y: list[float], unit: list[list[float]], level: list[float]) -> list[float]:
    """One target of `nearest_point`, with rows of length 1."""
    x0, x1, x2 = y
    push = [0.0] * len(unit)
    for _ in range(_SWEEPS):
        most = 0.0
        for i, (a0, a1, a2) in enumerate(unit):
            more = max(level[i] - a0 * x0 - a1 * x1 - a2 * x2, -push[i])
            push[i] += more
            x0, x1, x2 = x0 + more * a0, x1 + more * a1, x2 + more * a2
            most = max(most, abs(more))
        if most < _STILL:
            break
    return [x0, x1, x2]


def rows(joint: Joint, R: Floats, theta: Floats, slope: Floats, *, pad: float) -> tuple[Floats, Floats]:
    """The limits of reach and travel at orientations R (n, 3, 3), motor angles (n, 3) and their slope K (n, 3, 3).

    Gradients (n, 12, 3) with respect to a small turn in base axes, and room (n, 12) in radians, not negative where
    the limit is kept by `pad`; it is infinite for the travel of a motor whose angle is NaN. The span of a leg,
    angle(u, R v), grows with a turn about u x R v.
    """
    m, _, walls = joint
    p = m.platform_axes_at(R)
    normal = np.cross(m.base_axes, p)
    sine = np.linalg.norm(normal, axis=2)
    normal = normal / np.where(sine > 0, sine, 1.0)[..., None]
    span = leg.arc_between(m.base_axes, p)
    low, high = leg.reach_limits(m.proximal, m.distal)
    A = np.concatenate([-normal, normal, -slope, slope], axis=1)
    inset = walls.edge + pad
    ends = [np.where(np.isnan(theta), np.inf, left) for left in (walls.high - theta, theta - walls.low)]
    room = np.concatenate([high - inset - span, span - low - inset, ends[0] - pad, ends[1] - pad], axis=1)
    return A, room


def nearest_orientations(joint: Joint, R: Floats, near: Floats, *, pad: float) -> Floats:
    """The orientations nearest to R (n, 3, 3) that keep reach and travel by `pad`; those that do come back unchanged.

    The turn r away from R is made the shortest by steps: each solves ``min |r + d|, room + A d >= 0`` with the limits
    made straight where it stands. At its end r is a sum of rows of A, each pushing inwards: no turn near is shorter.
    """
    turn = np.zeros((len(R), 3))
    for _ in range(_ROUNDS):
        here = rotation.from_rotation_vector(turn) @ R
        theta, slope = _slopes(joint, here, near)
        A, room = rows(joint, here, theta, slope, pad=pad)
        step = nearest_point(-turn, A, -np.where(np.isfinite(room), room, 1e3))
        if np.abs(step).max(initial=0.0) < 1e-10:  # rad: far below any step of a motor
            break
        moved = rotation.from_rotation_vector(step, turns=True) @ rotation.from_rotation_vector(turn)
        turn = rotation.to_rotation_vector(moved)
    return np.asarray(rotation.from_rotation_vector(turn) @ R)


def _slopes(joint: Joint, R: Floats, near: Floats) -> tuple[Floats, Floats]:
    """Motor angles (n, 3) near `near`, and their slopes (n, 3, 3); NaN and 0 where the edge of reach is too near."""
    m, mode, _ = joint
    theta = inverse_kinematics(m, R, mode, near=near, unreachable="nan")
    inside = np.asarray((reach_margin(m, R) >= 1e-6).all(axis=1))  # there slopes are finite
    slope = np.zeros((len(R), 3, 3))
    slope[inside] = np.nan_to_num(inverse_jacobian(m, R[inside], theta[inside], singular="nan"))
    return np.where(inside[:, None], theta, np.nan), slope
