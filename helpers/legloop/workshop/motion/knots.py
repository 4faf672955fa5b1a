"""Motor angles along a path, at knots so close that a cubic between them is the path."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from ...inverse import inverse_kinematics
from ...mechanism import Mechanism
from ...velocity import inverse_jacobian, jacobian
from .limits import Walls
from .path import Pieces, at
from .timing import Cells, cells, split

__all__ = ["CUBIC", "Joint", "Knots", "cell_count", "evenness", "knots", "places", "unwrapped"]

CUBIC = 1e-6
"""How far the cubic between two knots may be from the path in their middle, rad: a hundredth of a fine microstep, and
less than `velocity.CLOSES` lets pass."""

_TURN = 0.02  # rad of the platform from knot to knot at most: the cubic then misses by 1e-9 rad in an easy pose
_DOUBLINGS = 6  # next to the edge of reach angles go like a root; 64 times as many knots follow it from 0.1° inside


class Joint(NamedTuple):
    """The joint that moves: with it, what is needed to find its motor angles."""

    m: Mechanism
    mode: NDArray[np.int_]
    walls: Walls


class Knots(NamedTuple):
    """The path at its knots, n + 1 of them."""

    cells: Cells
    jacobians: Floats
    """(n + 1, 3, 3): J, NaN where singular."""
    evenness: Floats
    """(n + 1,): 0 where singular."""
    last: NDArray[np.int_]
    """Index of the knot at the end of each piece."""

    def within(self, walls: Walls) -> bool:
        """Whether all of it keeps the travel, also between knots: a cubic leaves its chord by less than h^2 q''/8."""
        c = self.cells
        bow = c.bend * np.diff(c.s)[:, None] ** 2 / 8
        low, high = np.minimum(c.q[:-1], c.q[1:]) - bow, np.maximum(c.q[:-1], c.q[1:]) + bow
        return bool((low >= walls.low).all() and (high <= walls.high).all())

    def cut(self, at: Floats) -> Knots:
        """With knots also at the places `at` (m,); what is known of a pose there is that of the knot before it."""
        c = split(self.cells, at)
        old = np.searchsorted(self.cells.s, c.s, side="right") - 1
        even = np.interp(c.s, self.cells.s, self.evenness)  # the pace goes by it, and must not come in stairs
        last = np.searchsorted(c.s, self.cells.s[self.last])
        return Knots(c, self.jacobians[old], even, last)


def evenness(J: Floats, K: Floats) -> Floats:
    """``3 / (|J| |K|)`` of Jacobians (..., 3, 3) and their inverses, (...); 0 where one of them is NaN."""
    size = np.sqrt((J * J).sum(axis=(-2, -1)) * (K * K).sum(axis=(-2, -1)))
    return np.where(np.isnan(size), 0.0, 3 / size)


def places(count: NDArray[np.int_]) -> tuple[NDArray[np.int_], Floats]:
    """Piece and tau of the knots, `count` cells in each piece; the last knot of all is the end of the last piece."""
    k = np.repeat(np.arange(len(count)), count)
    first = np.cumsum(count) - count
    tau = (np.arange(len(k)) - first[k]) / count[k]
    return np.append(k, len(count) - 1), np.append(tau, 1.0)


def cell_count(parts: Pieces, corners: bool) -> NDArray[np.int_]:
    """Cells in each piece for a start: enough for the turn, and where the motors rest at both ends at least four."""
    size = sum(np.linalg.norm(w, axis=1) for w in (parts.w1, parts.w2, parts.w3))
    count = np.ceil(size / _TURN).astype(np.int_)
    return np.asarray(np.maximum(count, 4 if corners or len(count) == 1 else 1))


def knots(joint: Joint, parts: Pieces, corners: bool, before: Floats) -> Knots | None:
    """Knots of a path that `continuous` has shown to keep the limits; None where it bends too sharply all the same.

    `corners`: the rate jumps between pieces. `before` (3,): the path starts at the angles nearest to these. Where the
    cubic of a cell is off its middle by more than `CUBIC`, the cells of that piece are halved.
    """
    m, mode, _ = joint
    count = cell_count(parts, corners)
    for _ in range(_DOUBLINGS + 1):
        k, tau = places(count)
        R, rate = at(parts, k, tau)
        theta = unwrapped(inverse_kinematics(m, R, mode), before)
        inverse = inverse_jacobian(m, R, theta, singular="nan")
        leaving = np.einsum("nij,nj->ni", inverse, rate)[:-1]
        arriving = np.einsum("nij,nj->ni", inverse, rate)[1:]
        ends = np.cumsum(count)
        if corners and len(count) > 1:
            e = ends[:-1]
            _, coming = at(parts, k[e - 1], np.ones(len(e)))
            arriving[e - 1] = np.einsum("nij,nj->ni", inverse[e], coming)
        s = parts.first[k] + tau * parts.length[k]
        c = cells(s, theta, leaving, arriving)
        middle = (tau[:-1] + np.where(tau[1:] == 0, 1.0, tau[1:])) / 2
        between, _ = at(parts, k[:-1], middle)
        exact = inverse_kinematics(m, between, mode, near=(theta[:-1] + theta[1:]) / 2, unreachable="nan")
        cubic = (theta[:-1] + theta[1:]) / 2 + np.diff(s)[:, None] * (leaving - arriving) / 8
        rough = ~(np.abs(exact - cubic).max(axis=1) <= CUBIC)
        if not rough.any():
            break
        count[np.unique(k[:-1][rough])] *= 2
    else:
        return None
    J = jacobian(m, R, theta, singular="nan")
    return Knots(c, J, evenness(J, inverse), ends)


def unwrapped(theta: Floats, before: Floats) -> Floats:
    """Angles (n, 3) without jumps of whole turns, the first nearest to `before` (3,)."""
    whole = np.unwrap(theta, axis=0)
    return np.asarray(whole + 2 * np.pi * np.rint((before - whole[0]) / (2 * np.pi)))
