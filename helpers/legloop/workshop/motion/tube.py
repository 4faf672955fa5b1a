"""What holds all along a tick and the stop after it, from what is computed at a few places: a proof, no samples.

The way of the motors has a parameter s. In the tick, s from 0 to 1, their speeds go evenly from v0 to v1; in the stop
after it the motors go on along v1, to the end of the way. With h = dt (v1 - v0)

    theta' = dt v0 + h min(s, 1),    theta'' = h in the tick, 0 in the stop.

The way is cut into segments; in each, s runs from 0 to 1 again. At its start the pose closes, with normals N (rows
``n = w x R v``), ``d = n . u`` and A_i, the length of column i of N^-1. With ``r = max |theta'|``, at either end:

**The platform follows.** While it is within rho of the start, each n_i is within ``delta = sin(alpha_1) r + rho`` of
where it started, for w and R v are unit vectors. So ``N(0)^-1 N(s)`` is within ``eta = sum A_i delta_i`` of I. From
``N omega = d theta'`` follows

    |omega| <= (x + sum A_i delta_i r_i) / (1 - eta),    x = max |J theta'|, J = N^-1 diag(d) as it is at the start.

Where this is at most rho, and eta < 1, the platform cannot leave the ball before the segment ends, and N stays
regular: the path goes on, without a branch, and V = det N keeps its sign. The least rho of that kind is taken; so
|omega| <= rho. **And it comes to the next start.** Two poses in the ball that close at the same motor angles are the
same: along the turn from one to the other the closures would change by N omega, and N(0)^-1 N stays within eta of I.
So a pose that closes at the end of the segment and lies in the ball is the one at which the platform arrives.

**Second derivatives.** ``|n'| <= nu = sin(alpha_1) r + rho``; ``N omega = d theta'`` differentiated once more gives

    |omega'| <= W = sum A_i (nu_i (rho + r_i) + sin(alpha_1) sin(alpha_2) |theta''_i|) / (1 - eta)
    |n''| <= sin(alpha_1) (|theta''| + r^2 + 2 r rho) + W + rho^2

With them go bounds B of the second derivatives of all that follows. A function f with |f''| <= B is at least
``(f(0) + f(1)) / 2 - (f(1) - f(0))^2 / (2 B) - B / 8`` there, or its lower end where that parabola turns outside.

**Reach.** The leg keeps its margin where ``cos(most - edge) <= c <= cos(least + edge)``, c = u . R v. There D > 0: it
neither folds nor stretches, so the working mode stays. **Evenness** ``3 / (|J| |K|)`` is at least e where
``9 V^2 - e^2 P Q >= 0``, with

    P = sum D_i |n_j x n_k|^2 = V^2 |J|^2,    Q = sum sin^2(alpha_2) / D_i = |K|^2
    D_i = sin^2(alpha_1) sin^2(alpha_2) - (c_i - cos(alpha_1) cos(alpha_2))^2

All of it holds to rounding, and as closely as the axes of the joint are unit vectors.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ... import closing, leg
from ..._check import Floats
from ...mechanism import Mechanism
from .knots import Joint
from .ways import Ways

__all__ = ["first_proved"]

_AHEAD = 10
"""Segments of each way that are looked at side by side in one round."""

_ROUNDS = 8
"""Rounds after which a way that is not proved counts as impossible. An easy one takes one or two; next to a type-2
pose segments are short without end."""

_BOLD = 0.6
"""Of the longest segment that may be proved at its start: later poses may be worse."""

_NEWTON = 4
"""Steps of Newton's method to a pose. Each squares the error, and it begins near: some 0.01 rad away."""

_LARGEST = 0.5
"""rad: no ball is larger; so the shortest turn between two poses of it stays inside."""


class _Poses(NamedTuple):
    """What is computed at poses that close; the arrays end with the axes of the poses."""

    theta: Floats
    R: Floats
    w: Floats
    p: Floats
    pairs: Floats
    volume: Floats
    lengths: Floats
    """A, (3, ...): of the columns of N^-1."""
    link: Floats
    """d, (3, ...)."""
    c: Floats
    """u . R v, (3, ...)."""

    def turn(self, rate: Floats) -> Floats:
        """J theta', (3, ...)."""
        return np.asarray((self.pairs * (self.link * rate)).sum(axis=1) / self.volume)


class _Fronts(NamedTuple):
    """How far the ways have been proved that are not given up; arrays end with the axis of the ways."""

    way: NDArray[np.intp]
    s: Floats
    longest: Floats
    """Segment, in s, that is tried at most."""
    after: Floats
    """(3, 3, n): the pose after the tick, where that has been passed."""
    here: _Poses

    def only(self, which: NDArray[np.bool_]) -> _Fronts:
        way, s, longest, after, here = self
        here = _Poses(*(x[..., which] for x in here))
        return _Fronts(way[which], s[which], longest[which], after[..., which], here)


def first_proved(it: Joint, R: Floats, ways: Ways) -> tuple[int, Floats] | None:
    """The first of the ways from the pose R (3, 3) that is proved to keep all limits, and the pose after its tick.

    None where no way is. Limits are those of travel, reach and evenness; and no way passes a type-2 pose.
    """
    way = np.flatnonzero(ways.within(it.walls.low, it.walls.high))
    n = len(way)
    begun = _poses(it.m, np.repeat(R[..., None], n, axis=2), np.repeat(ways.start[:, None], n, axis=1))
    fronts = _Fronts(way, np.zeros(n), np.full(n, np.inf), begun.R, begun)
    for left in range(_ROUNDS, -1, -1):
        if fronts.way.size and fronts.s[0] == ways.end[fronts.way[0]]:
            return int(fronts.way[0]), fronts.after[..., 0]
        places, few = _places(it.m, fronts, ways, left)
        if not few.all():
            fronts, places = fronts.only(few), places[few]
        if not fronts.way.size:
            return None
        fronts = _onward(it, fronts, ways, places)
    return None


def _onward(it: Joint, fronts: _Fronts, ways: Ways, places: Floats) -> _Fronts:
    """The fronts after one round over the segments between `places` (n, k), without the ways that break a limit."""
    theta, rate = ways.at(places, fronts.way)
    poses, closes = _continued(it.m, fronts.here, theta)
    bend = ways.bend[:, fronts.way, None] * (places[:, :-1] < 1)
    good, broken, part = _kept(it, poses, closes, rate, bend, np.diff(places))
    row, last = np.arange(len(places)), good.shape[1]
    count = np.where(good.all(axis=1), last, np.argmin(good, axis=1))
    at = np.minimum(count, last - 1)
    tick = np.argmax(places == 1, axis=1)
    over = (fronts.s < 1) & (places[row, tick] == 1) & (tick <= count)
    after = np.where(over, poses.R[..., row, tick], fronts.after)
    shorter = np.minimum(fronts.longest, (np.diff(places) * part)[row, at])
    longest = np.where(count == last, 2 * fronts.longest, shorter)
    there = _Poses(*(x[..., row, count] for x in poses))
    return _Fronts(fronts.way, places[row, count], longest, after, there).only((count == last) | ~broken[row, at])


def _places(m: Mechanism, fronts: _Fronts, ways: Ways, left: int) -> tuple[Floats, NDArray[np.bool_]]:
    """Where the next segments begin and end, (n, k), and which ways may be done within so many rounds, (n,)."""
    s, end, here = fronts.s, ways.end[fronts.way], fronts.here
    ends = np.stack([s, np.maximum(s, 1.0)], axis=1)
    _, rate = ways.at(ends, fronts.way)
    r = np.abs(rate).max(axis=2)
    x = np.maximum(*(np.sqrt((here.turn(rate[..., k]) ** 2).sum(axis=0)) for k in (0, 1)))
    # The first condition is b h <= (1 - a h)^2 to first order, h the length of the segment
    a = (here.lengths * (1 + np.sin(m.proximal)[:, None]) * r).sum(axis=0)
    b = a + 2 * here.lengths.sum(axis=0) * x
    h = np.maximum(np.minimum(_BOLD / (b + np.sqrt(b - a) * np.sqrt(b + a) + 1e-12), fronts.longest), 1e-12)
    ticking = np.ceil(np.maximum(1 - s, 0.0) / h)
    late = np.maximum(s, 1.0)
    stopping = np.ceil((end - late) / h)
    k = np.arange(_AHEAD + 1)[:, None]
    early = np.where(k == ticking, late, s + k * (1 - s) / np.maximum(ticking, 1))
    later = late + (k - ticking) * (end - late) / np.maximum(stopping, 1)
    places = np.where(k <= ticking, early, np.where(k >= ticking + stopping, end, later))
    return places.T, ticking + stopping <= _AHEAD * left


def _poses(m: Mechanism, R: Floats, theta: Floats) -> _Poses:
    """Of poses R (3, 3, n) that close at theta (3, n)."""
    w, p = closing.elbows(m, theta), closing.platform(m, R)
    n = closing.cross(w, p)
    pairs, volume = closing.adjugate(n)
    volume = np.where(np.abs(volume) < 1e-30, 1e-30, volume)  # singular: then no condition holds
    lengths = np.sqrt((pairs * pairs).sum(axis=0)) / np.abs(volume)
    u = m.base_axes.T[..., None]
    return _Poses(theta, R, w, p, pairs, volume, lengths, (n * u).sum(axis=0), (p * u).sum(axis=0))


def _continued(m: Mechanism, here: _Poses, theta: Floats) -> tuple[_Poses, NDArray[np.bool_]]:
    """Poses at theta (3, n, k), sought from the fronts (n): where the path leads to second order, then by Newton."""
    n, k = theta.shape[1:]
    at = _Poses(*(np.repeat(x, k, axis=-1) for x in here))
    theta = theta.reshape(3, -1)
    move = theta - at.theta
    omega = at.turn(move)
    u = m.base_axes.T[..., None]
    rise = closing.cross(move * closing.cross(u, at.w), at.p) + closing.cross(
        at.w, closing.cross(omega[:, None], at.p)
    )
    bent = (rise * (move * u - omega[:, None])).sum(axis=0)
    omega = omega + (at.pairs * bent).sum(axis=1) / at.volume / 2
    R, closes = closing.closed(m, closing.elbows(m, theta), closing.turned(at.R, omega), most=_NEWTON)
    poses = _poses(m, R, theta)
    return _Poses(*(x.reshape(*x.shape[:-1], n, k) for x in poses)), closes.reshape(n, k)


def _kept(
    it: Joint, poses: _Poses, closes: NDArray[np.bool_], rate: Floats, bend: Floats, h: Floats
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], Floats]:
    """Which segments (n, k) between poses (n, k + 1) are proved; which end where a limit is broken, for sure; and of
    others, which part of them might be proved.
    """
    m, walls = it.m, it.walls
    s1, s2 = np.sin(m.proximal)[:, None, None], np.sin(m.distal)[:, None, None]
    r = np.maximum(np.abs(rate[..., :-1]), np.abs(rate[..., 1:])) * h
    bend = np.abs(bend) * h * h
    first = _Poses(*(x[..., :-1] for x in poses))
    A = first.lengths
    x = np.maximum(*((first.turn(end) ** 2).sum(axis=0) for end in (rate[..., :-1], rate[..., 1:])))
    # The platform follows: b rho^2 - q rho + y <= 0
    Ar, b = A * r, A.sum(axis=0)
    s1r = s1 * r
    q, y = 1 - (Ar * (1 + s1)).sum(axis=0), h * np.sqrt(x) + (Ar * s1r).sum(axis=0) + 1e-13 * b
    square = q * q - 4 * b * y
    follows = (q > 0) & (square >= 0)
    rho = np.where(follows, 2 * y / (np.abs(q) + np.sqrt(np.abs(square))), 1.0)
    gone = ((poses.R[..., 1:] - poses.R[..., :-1]) ** 2).sum(axis=(0, 1))  # 8 sin^2 of half the angle
    follows &= closes[:, 1:] & (rho <= _LARGEST) & (gone <= 8 * np.sin(rho / 2) ** 2)
    # Second derivatives
    nu = s1r + rho
    W = (A * (nu * (rho + r) + s1 * s2 * bend)).sum(axis=0) / np.maximum(1 - (A * nu).sum(axis=0), 1e-9)
    mu = s1 * (bend + r * r) + 2 * s1r * rho + W + rho * rho
    c_bend = W + rho * rho
    low, high = leg.reach_limits(m.proximal, m.distal)
    low, high = np.cos(high - walls.edge)[:, None, None], np.cos(low + walls.edge)[:, None, None]
    room = np.concatenate([poses.c - low, high - poses.c])
    bound = np.concatenate([c_bend[None]] * 6)
    if walls.evenness:
        c = _least(room, bound)
        more, most = _room(it, poses, c[:3] + low, high - c[3:], rho, c_bend, nu, mu)
        room, bound = np.concatenate([room, more[None]]), np.concatenate([bound, most[None]])
    least = _least(room, bound)
    kept = follows & (least >= 0).all(axis=0)
    broken = follows & (room[..., 1:] < 0).any(axis=0)
    # What is missing falls with the square of the length of a segment; the rise towards a limit, with the length
    a, b = room[..., :-1], room[..., 1:]
    low = np.minimum(a, b)
    part = np.sqrt(np.maximum(low, 0.0) / np.maximum(low - least, 1e-300))
    part = np.where(least >= 0, 1.0, np.maximum(part, 2 * (b - a) / np.maximum(bound, 1e-300))).min(axis=0)
    return kept, broken, np.where(follows, np.clip(0.9 * part, 0.01, 0.7), 0.5)


def _room(
    it: Joint, poses: _Poses, low: Floats, high: Floats, rho: Floats, c_bend: Floats, nu: Floats, mu: Floats
) -> tuple[Floats, Floats]:
    """``9 V^2 - e^2 P Q`` at poses (n, k + 1), e the limit of evenness, and how fast it bends between, (n, k).

    `low`, `high`: between which c stays, (3, n, k).
    """
    m, even = it.m, it.walls.evenness**2
    s1, s2 = np.sin(m.proximal)[:, None, None], np.sin(m.distal)[:, None, None]
    D = poses.link**2
    P = (D * (poses.pairs * poses.pairs).sum(axis=0)).sum(axis=0)
    room = 9 * poses.volume**2 - even * P * (s2 * s2 / np.maximum(D, 1e-300)).sum(axis=0)
    J, K = (1, 2, 0), (2, 0, 1)
    middle = (np.cos(m.proximal) * np.cos(m.distal))[:, None, None]
    low, high = low - middle, high - middle  # so far is c off where D is largest
    far = np.maximum(np.abs(low), np.abs(high))
    near = np.maximum(np.maximum(low, -high), 0.0)
    D_least, D = np.maximum((s1 * s2) ** 2 - far * far, 1e-12), (s1 * s2) ** 2 - near * near
    D1, D2 = 2 * far * rho, 2 * (rho * rho + far * c_bend)  # D' and D'': these, and those below, are bounds
    pair, s2_j, s2_k = s2[J,] * s2[K,], s2[J,], s2[K,]
    g1 = nu[J,] * s2_k + nu[K,] * s2_j
    g2 = mu[J,] * s2_k + mu[K,] * s2_j + 2 * nu[J,] * nu[K,]
    q, q1, q2 = pair * pair, 2 * pair * g1, 2 * (g1 * g1 + pair * g2)  # |n_j x n_k|^2
    P, P1, P2 = ((D * q).sum(axis=0), (D1 * q + D * q1).sum(axis=0), (D2 * q + 2 * D1 * q1 + D * q2).sum(axis=0))
    t = s2 * s2 / D_least
    Q, Q1 = t.sum(axis=0), (t * D1 / D_least).sum(axis=0)
    Q2 = (t * (2 * (D1 / D_least) ** 2 + D2 / D_least)).sum(axis=0)
    V = np.abs(poses.volume[:, :-1]) + (nu * pair).sum(axis=0)
    V2 = (mu * pair + 2 * s2 * nu[J,] * nu[K,]).sum(axis=0)
    return room, 18 * V * V2 + even * (P2 * Q + 2 * P1 * Q1 + P * Q2)


def _least(f: Floats, bound: Floats) -> Floats:
    """The least (..., k) between places where f is (..., k + 1), its second derivative at most `bound` (..., k)."""
    a, b = f[..., :-1], f[..., 1:]
    rise = np.abs(b - a)
    low = np.minimum(a, b)
    bound = np.maximum(bound, 1e-300)
    return np.where(rise >= bound / 2, low, low - (bound / 2 - rise) ** 2 / (2 * bound))
