"""Motor angles along a path, at knots so close that a cubic between them is the path, and what is wrong with it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from ...inverse import inverse_kinematics
from ...mechanism import Mechanism
from ...reach import reach_margin
from ...velocity import inverse_jacobian, jacobian, jacobian_pair
from .limits import Walls
from .path import Pieces, at
from .timing import Cells, cells, split

__all__ = ["CUBIC", "Fault", "Joint", "Knots", "evenness", "faults", "knots", "places"]

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
    margin: Floats
    """(n + 1, 3): reach margin of the legs."""
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
        return Knots(c, self.jacobians[old], self.margin[old], even, last)


class Fault(NamedTuple):
    """A stretch of the request that the joint cannot follow."""

    start: float
    """Seconds, in the time of the request: the first knot that is not possible."""
    stop: float
    """The last."""
    why: str
    """"reach", "travel" or "singular"."""
    leg: int
    """Index of the leg or motor that is worst, 0, 1, 2; -1 for "singular"."""
    worst: float
    """How far beyond the limit: radians, or for "singular" the least evenness."""


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
    """Knots of a path; None where it comes nearer to the edge of reach than `Walls` allow, or bends without end.

    `corners`: the rate jumps between pieces. `before` (3,): the path starts at the angles nearest to these. Where the
    cubic of a cell is off its middle by more than `CUBIC`, the cells of that piece are halved.
    """
    m, mode, _ = joint
    count = cell_count(parts, corners)
    for _ in range(_DOUBLINGS + 1):
        k, tau = places(count)
        R, rate = at(parts, k, tau)
        if (reach_margin(m, R) < joint.walls.edge).any():
            return None
        theta = _unwrapped(inverse_kinematics(m, R, mode), before)
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
    return Knots(c, J, reach_margin(m, R), evenness(J, inverse), ends)


def _unwrapped(theta: Floats, before: Floats) -> Floats:
    whole = np.unwrap(theta, axis=0)
    return np.asarray(whole + 2 * np.pi * np.rint((before - whole[0]) / (2 * np.pi)))


def faults(joint: Joint, parts: Pieces, corners: bool, before: Floats, floor: float) -> tuple[list[Fault], Floats]:
    """All stretches of a path that the joint cannot follow, and the motor angles (3,) at its end.

    `floor`: the evenness below which a pose is refused. Where a leg does not close, its motor angle is taken to wait.
    """
    m, mode, walls = joint
    k, tau = places(2 * cell_count(parts, corners))  # twice as dense: a stretch that is left out is short
    R, _ = at(parts, k, tau)
    s = parts.first[k] + tau * parts.length[k]
    short = walls.edge - reach_margin(m, R)
    theta = inverse_kinematics(m, R, mode, unreachable="nan")
    closes = ~np.isnan(theta)
    for leg in range(3):
        held = np.maximum.accumulate(np.where(closes[:, leg], np.arange(len(s)), -1))
        theta[:, leg] = np.where(held >= 0, theta[np.maximum(held, 0), leg], before[leg])
    theta = _unwrapped(theta, before)
    beyond = np.where(closes, np.maximum(theta - walls.high, walls.low - theta), -np.inf)
    found = [*_stretches(s, short, "reach"), *_stretches(s, beyond, "travel")]
    good = (short <= 0).all(axis=1)
    even = np.full(len(s), np.inf)
    even[good] = evenness(*jacobian_pair(m, R[good], theta[good], singular="nan"))
    for fault in _stretches(s, (floor - even)[:, None], "singular"):
        found.append(fault._replace(leg=-1, worst=floor - fault.worst))
    return found, theta[-1]


def _stretches(s: Floats, beyond: Floats, why: str) -> list[Fault]:
    """The runs of knots at which some of `beyond` (n, k) is above 0."""
    bad = (beyond > 0).any(axis=1)
    edges = np.diff(np.concatenate([[0], bad.astype(int), [0]]))
    found = []
    for i, j in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        leg = int(beyond[i:j].max(axis=0).argmax())
        found.append(Fault(float(s[i]), float(s[j - 1]), why, leg, float(beyond[i:j].max())))
    return found
