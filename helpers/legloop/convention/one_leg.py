"""One leg in a foreign frame: every way in which it fits given poses and motor angles.

With F the leg's frame where their motor reads 0, v its platform axis, both in their frames, and (R, theta) a pose of
theirs, the leg closes when

    l(theta) . F^T R v = cos(alpha_2),     l(theta) = (sin alpha_1 cos theta, s sin alpha_1 sin theta, cos alpha_1)

with s = +-1 the sense of their motor. This is bilinear in F and v; F holds three unknowns, v two. Only s = +1 is
searched: to reverse u, v and the sense (F turned by half a turn about its own y) leaves the equation as it is.

The functions here take checked arrays.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .. import rotation
from .._check import Floats
from .least_squares import CLOSE, FAR, State, distinct, minimise

__all__ = ["Legs", "Pairs", "both_senses", "consensus", "cross", "local_elbow", "search_leg"]

_MANY, _FEW = 1200, 800
"""Starts of a search with fewer than 10 pairs, and with more. In 648 trials over 27 joints at least 1 % of the starts
led to each answer from 6 pairs, 1.6 % from 10: the chance that all of them miss one is below 1e-5."""
_KEPT = 4  # of the starts that do not fit yet, one in so many, those nearest to an answer, is followed further
_COARSE, _FINE, _LAST = 8, 12, 60  # rounds before that choice, after it, and of those that then come near the limit
_HOPELESS = 60  # times the limit: after _FINE rounds a start that will fit is far below it
_SAME = 0.02  # starts that end this near, in the entries of F and v, have found the same


class Pairs(NamedTuple):
    """Poses (n, 3, 3) and motor angles (n, 3) of theirs."""

    R: Floats
    theta: Floats

    def take(self, which: NDArray[np.int_] | NDArray[np.bool_]) -> Pairs:
        """Some of the pairs."""
        return Pairs(self.R[which], self.theta[which])


class Legs(NamedTuple):
    """Solutions of one leg, best first: F (k, 3, 3), v (k, 3), sense (k,) and the rms error of each, (k,)."""

    F: Floats
    v: Floats
    sense: NDArray[np.int_]
    rms: Floats

    def take(self, which: NDArray[np.int_] | NDArray[np.bool_]) -> Legs:
        """Some of them."""
        return Legs._make(part[which] for part in self)


def search_leg(pairs: Pairs, k: int, arcs: tuple[float, float], limit: float) -> tuple[Legs, float, float]:
    """Every way in which a leg of these two arcs, sense +1, fits their leg k with an rms error of at most `limit`.

    "Every" is as certain as the note at _MANY says. Also the least rms found, and how
    sharply the pairs fix that best solution: the least singular value of the errors over its five unknowns.
    """
    problem = _OneLeg(pairs, k, arcs)
    state, cost = minimise(problem, _starts(_FEW if len(pairs.R) >= 10 else _MANY), _COARSE, FAR)
    state, cost = minimise(problem, _some(state, _promising(state, cost, limit**2 * len(pairs.R))), _FINE, CLOSE)
    near = np.flatnonzero(cost <= max((_HOPELESS * limit) ** 2 * len(pairs.R), cost.min()))
    state, cost = minimise(problem, _some(state, near), _LAST, CLOSE)
    rms = np.sqrt(cost / len(pairs.R))
    ranked = np.argsort(rms)
    F, v = (part[ranked] for part in state)
    sharp = np.linalg.svd(problem.slopes((F[:1], v[:1])), compute_uv=False)[0, 4]
    good = np.flatnonzero(rms[ranked] <= limit)
    chosen = good[_different((F[good], v[good]))]
    return (
        Legs(F[chosen], v[chosen], np.ones(len(chosen), dtype=int), rms[ranked][chosen]),
        float(rms.min()),
        float(sharp),
    )


def consensus(pairs: Pairs, k: int, arcs: tuple[float, float], limit: float, sample: int) -> NDArray[np.bool_]:
    """The largest set of pairs found, as (n,) of true and false, that one such leg fits within `limit` each.

    Every start looks at `sample` pairs of its own, so that many starts see none of a few bad pairs.
    """
    seen = np.argsort(np.random.default_rng(5).random((_MANY, len(pairs.R))), axis=1) < sample
    state, cost = minimise(_OneLeg(pairs, k, arcs, seen), _starts(_MANY), _COARSE, FAR)
    kept = np.argsort(cost)[: _MANY // _KEPT]
    state, _ = minimise(_OneLeg(pairs, k, arcs, seen[kept]), _some(state, kept), 3 * _FINE, CLOSE)
    fits = np.abs(_OneLeg(pairs, k, arcs).errors(state)) <= limit
    return np.asarray(fits[np.argmax(fits.sum(axis=1))])


def both_senses(legs: Legs) -> Legs:
    """The solutions, and after them the same with u, v and the sense reversed."""
    return Legs(
        np.concatenate([legs.F, legs.F * [-1.0, 1.0, -1.0]]),
        np.concatenate([legs.v, -legs.v]),
        np.concatenate([legs.sense, -legs.sense]),
        np.concatenate([legs.rms, legs.rms]),
    )


def local_elbow(theta: Floats, proximal: Floats | float) -> Floats:
    """``(sin alpha_1 cos theta, sin alpha_1 sin theta, cos alpha_1)``: the elbow axis in the leg's own frame."""
    s, c = np.sin(proximal), np.cos(proximal)
    return np.stack([s * np.cos(theta), s * np.sin(theta), np.broadcast_to(c, theta.shape)], axis=-1)


def cross(p: Floats, q: Floats) -> Floats:
    """Cross product over the last axis; several times as fast as np.cross on many short vectors."""
    out = np.empty(np.broadcast_shapes(p.shape, q.shape))
    for i, (j, k) in enumerate(((1, 2), (2, 0), (0, 1))):
        out[..., i] = p[..., j] * q[..., k] - p[..., k] * q[..., j]
    return out


def _starts(count: int) -> State:
    """Frames and axes spread evenly over all there are; the same ones each time, so that a fit can be repeated."""
    parts = np.random.default_rng(4).normal(size=(count, 7))
    q, v = (part / np.linalg.norm(part, axis=1, keepdims=True) for part in (parts[:, :4], parts[:, 4:]))
    return rotation.from_quaternion(q), v


def _promising(state: State, cost: Floats, limit: float) -> NDArray[np.int_]:
    """Starts to follow: one of each place where a cost up to `limit` is reached, and the nearest of all others.

    Starts that have arrived are not ranked: the costs of several answers differ by rounding, or by no more than the
    errors of the data, and where most starts arrive a rank would drop a whole answer.
    """
    ranked = np.argsort(cost)
    arrived = int((cost <= limit).sum())
    places = ranked[:arrived][_different(_some(state, ranked[:arrived]))]
    return np.concatenate([places, ranked[arrived:][: len(cost) // _KEPT]])


def _different(state: State) -> list[int]:
    F, v = state
    return distinct(np.concatenate([F.reshape(-1, 9), v], axis=1), _SAME)


def _some(state: State, which: NDArray[np.int_]) -> State:
    return tuple(part[which] for part in state)


class _OneLeg:
    """The problem with state (F, v). Its six directions are a turn of F and a turn of v; v about itself is none.

    Every error is a sum over the 27 products F_ji v_k, with the factors l_i R_jk of its pair, and every slope is
    another sum over the same products.
    """

    def __init__(
        self, pairs: Pairs, k: int, arcs: tuple[float, float], seen: NDArray[np.bool_] | None = None
    ) -> None:
        n = len(pairs.R)
        factors = np.einsum("njk,ni->jikn", pairs.R, local_elbow(pairs.theta[:, k], arcs[0]))
        of_F = np.einsum("pai,jikn->jakpn", _TURNS, factors)  # F becomes F + F K_p, v becomes v + K_p v
        of_v = np.einsum("pkc,jikn->jicpn", _TURNS, factors)
        self.factors = factors.reshape(27, n)
        self.slope_factors = np.concatenate([of_F, of_v], axis=3).reshape(27, 6 * n)
        self.goal = np.cos(arcs[1])
        self.seen = seen
        """Which pairs each start looks at, (b, n); None: all."""

    def errors(self, state: State) -> Floats:
        errors = np.asarray(_sums(state, self.factors) - self.goal)
        return errors if self.seen is None else errors * self.seen

    def slopes(self, state: State) -> Floats:
        slopes = _sums(state, self.slope_factors).reshape(len(state[0]), 6, -1)
        return slopes if self.seen is None else slopes * self.seen[:, None]

    def move(self, state: State, step: Floats) -> State:
        F, v = state
        moved = v + cross(step[:, 3:], v)
        turns = rotation.from_rotation_vector(step[:, :3], turns=True)
        return F @ turns, moved / np.linalg.norm(moved, axis=1, keepdims=True)


_TURNS = np.cross(np.eye(3)[:, None], np.eye(3)).swapaxes(1, 2)  # K_p q = e_p x q, for the three axes p: (3, 3, 3)


def _sums(state: State, factors: Floats) -> Floats:
    """The 27 products of every start times (27, m) factors: (b, m).

    One row at a time: as one product of matrices it would wake threads that at this size cost more than they bring.
    """
    F, v = state
    products = (F.reshape(-1, 9, 1) * v[:, None]).reshape(-1, 1, 27)
    return np.asarray((products @ factors)[:, 0])
