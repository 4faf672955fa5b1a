"""Three legs in foreign frames: the base and platform rotations that hold a solution of each, and their refinement.

The functions here take checked arrays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .. import rotation
from .._check import Floats
from ..leg import arc_between
from ..mechanism import Mechanism
from .alignment import best_rotations
from .least_squares import CLOSE, FAR, State, distinct, minimise
from .one_leg import Legs, Pairs, both_senses, cross, local_elbow

__all__ = ["Fits", "closure_errors", "join", "refine", "screen", "sharpness"]

_COARSE, _FINE = 8, 40  # rounds before and after the hopeless candidates are dropped
_HOPELESS = 60  # times the limit: after _COARSE rounds a candidate that will fit is far below it
_SAME = 0.02  # candidates that near one another, in every entry, lead to the same


_Choice = tuple[NDArray[np.int_], Legs]  # solutions of a leg of theirs, and which of our legs each is for


class Fits(NamedTuple):
    """Conventions by the number: base P and platform Q (k, 3, 3), zero, leg order and sense (k, 3)."""

    P: Floats
    Q: Floats
    zero: Floats
    order: NDArray[np.int_]
    sense: NDArray[np.int_]

    def take(self, which: NDArray[np.int_] | NDArray[np.bool_] | list[int]) -> Fits:
        """Some of them."""
        return Fits._make(part[which] for part in self)

    def distinct(self) -> list[int]:
        """The index of one of each: the first of those that agree."""
        turns = [self.P.reshape(-1, 9), self.Q.reshape(-1, 9), np.cos(self.zero), np.sin(self.zero)]
        return distinct(np.concatenate([*turns, self.order, self.sense], axis=1), _SAME)


def join(m: Mechanism, found: list[list[Legs]], tolerance: float) -> Fits:
    """Every choice of one solution for each leg that one base and one platform rotation hold together.

    ``found[k][i]`` are the solutions for their leg k with the arcs of our leg i. Between the axes of any two legs
    must be the angles that m has, and every axis must lie where the best rotations bring it, within `tolerance`; the
    first is quick, the second tells a mirror image.
    """
    parts = []
    for ways in found:
        whole = [both_senses(way) for way in ways]
        ours = np.repeat(np.arange(3), [len(legs.v) for legs in whole])
        parts.append((ours, Legs._make(np.concatenate(field) for field in zip(*whole, strict=True))))
    agree = {(j, k): _agree(m, parts[j], parts[k], 2 * tolerance) for j, k in ((0, 1), (0, 2), (1, 2))}
    chosen = np.argwhere(agree[0, 1][:, :, None] & agree[0, 2][:, None, :] & agree[1, 2][None])
    order = np.stack([parts[k][0][chosen[:, k]] for k in range(3)], axis=1)
    each = [parts[k][1].take(chosen[:, k]) for k in range(3)]
    F, v = np.stack([legs.F for legs in each], axis=1), np.stack([legs.v for legs in each], axis=1)
    sense = np.stack([legs.sense for legs in each], axis=1)
    axes = ((m.base_axes[order], F[..., 2]), (m.platform_axes[order], v))
    P, Q = (best_rotations(ours, theirs) for ours, theirs in axes)
    off = [
        arc_between(theirs, ours @ np.swapaxes(turn, 1, 2)).max(axis=1)
        for (ours, theirs), turn in zip(axes, (P, Q), strict=True)
    ]
    about_u = np.swapaxes(P[:, None] @ m.base_frames[order], 2, 3) @ F  # Rz(zero), within tolerance
    zero = np.arctan2(about_u[..., 1, 0] - about_u[..., 0, 1], about_u[..., 0, 0] + about_u[..., 1, 1])
    return Fits(P, Q, zero, order, sense).take(np.maximum(*off) <= tolerance)


def screen(m: Mechanism, pairs: Pairs, candidates: Fits, limit: float) -> Fits:
    """The candidates after a few rounds of least squares, without doubles and those far from an rms of `limit`."""
    (P, Q, zero), cost = minimise(_ThreeLegs(m, pairs, candidates), candidates[:3], _COARSE, FAR)
    near = np.sqrt(cost / (3 * len(pairs.R))) <= _HOPELESS * limit
    left = Fits(P, Q, zero, candidates.order, candidates.sense).take(near)
    return left.take(left.distinct())


def refine(m: Mechanism, pairs: Pairs, candidates: Fits) -> Fits:
    """Candidates brought to the least squared closure errors over all pairs and legs."""
    (P, Q, zero), _ = minimise(_ThreeLegs(m, pairs, candidates), candidates[:3], _FINE, CLOSE)
    return candidates._replace(P=P, Q=Q, zero=zero)


def closure_errors(m: Mechanism, pairs: Pairs, fits: Fits) -> Floats:
    """``w . R v - cos(alpha_2)`` for every fit, pair and leg of theirs, (k, n, 3)."""
    return _ThreeLegs(m, pairs, fits).errors(fits[:3]).reshape(len(fits.P), len(pairs.R), 3)


def sharpness(m: Mechanism, pairs: Pairs, fits: Fits) -> Floats:
    """The nine singular values of the errors' slopes, falling, (k, 9): 0 for what the pairs leave free."""
    return np.asarray(np.linalg.svd(_ThreeLegs(m, pairs, fits).slopes(fits[:3]), compute_uv=False))


def _agree(m: Mechanism, one: _Choice, two: _Choice, tolerance: float) -> NDArray[np.bool_]:
    """Which solutions of two legs, (k1, k2), have their axes as far apart as two different legs of m have."""
    (i, a), (j, b) = one, two
    agree = i[:, None] != j
    for ours, first, second in ((m.base_axes, a.F[..., 2], b.F[..., 2]), (m.platform_axes, a.v, b.v)):
        wanted = arc_between(ours[:, None], ours)[i[:, None], j]
        agree &= np.abs(arc_between(first[:, None], second) - wanted) <= tolerance
    return np.asarray(agree)


class _ThreeLegs:
    """The problem with state (P, Q, zero). Its nine directions: a turn of P, a turn of Q, three zeros."""

    def __init__(self, m: Mechanism, pairs: Pairs, fits: Fits) -> None:
        self.R = pairs.R
        self.theta = fits.sense[:, None] * pairs.theta
        self.frames = m.base_frames[fits.order][:, None]  # (b, 1, their leg, xyz, frame axis)
        self.v = m.platform_axes[fits.order][:, None]
        self.proximal = m.proximal[fits.order][:, None]
        self.goal = np.cos(m.distal[fits.order])[:, None]

    def errors(self, state: State) -> Floats:
        w, p, _ = self._axes(state)
        return np.asarray(((w * p).sum(-1) - self.goal).reshape(len(w), 3 * len(self.R)))

    def slopes(self, state: State) -> Floats:
        w, p, R = self._axes(state)
        slopes = np.zeros((*w.shape[:3], 9))
        slopes[..., 0:3] = cross(w, p)
        slopes[..., 3:6] = cross(self.v, w @ R)
        legs = np.arange(3)
        slopes[..., legs, 6 + legs] = (cross(self.frames[..., 2], w) * p).sum(-1)
        return np.swapaxes(slopes.reshape(len(w), 3 * len(self.R), 9), 1, 2)

    def move(self, state: State, step: Floats) -> State:
        P, Q, zero = state
        turns = rotation.from_rotation_vector(step[:, :6].reshape(-1, 2, 3), turns=True)
        return P @ turns[:, 0], Q @ turns[:, 1], zero + step[:, 6:]

    def _axes(self, state: State) -> tuple[Floats, Floats, Floats]:
        """Elbow and platform axes in our base frame, (b, n, 3, 3): their legs, then xyz; and our orientations."""
        P, Q, zero = state
        R = np.swapaxes(P, 1, 2)[:, None] @ self.R @ Q[:, None]
        local = local_elbow(self.theta + zero[:, None], self.proximal)
        return (self.frames @ local[..., None])[..., 0], self.v @ np.swapaxes(R, 2, 3), R
