"""What holds all along a path, between its samples too: by bounds on how fast it can change, not by a closer look.

A piece of the path (`motion.path`) turns as ``exp(b1 w1) exp(b2 w2) exp(b3 w3)``, and b1, b2, b3 grow with tau. So
from one tau to another it turns by at most ``sum |w_i| (b_i(there) - b_i(here))``: that part of the path lies in a
ball about the orientation in its middle, and `reach.ball` bounds what a ball holds. A part whose bounds do not reach
the limits is cut in two; so is one that may hold the least value of all, until that is known to a few percent.

Where V, the volume that the unit normals span, has opposite signs at two places, the path passes V = 0 between them:
a singular pose of type 2. Where the least |V| of each part is positive, beyond rounding, it does not.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ... import rotation
from ..._check import Floats
from ...reach import ball
from ...velocity import SINGULAR
from .knots import Joint
from .path import Pieces, at, growth

__all__ = ["FLAT", "Continuous", "Place", "continuous", "farthest"]

FLAT = 2 * SINGULAR
"""No |V| below this counts as apart from 0. `velocity` asks for |V| over the root of the squares of all |n_j x n_k|,
which is at most the root of 3, to be above `SINGULAR`."""

_SHARP = 0.95  # of the least value met at any point: what is proved of the whole is at least that
_PATIENCE = 20_000  # parts after which that is loosened; the proof of the limits is as strict as ever
_SMALLEST = 1e-9  # rad: a part that turns by less and is still undecided touches a limit, as far as rounding can tell
_BLOCK = 8192  # parts at a time: their arrays stay in the second-level cache
_MOST = 400_000  # parts beside the first: a path that hugs a limit for long at less than a microradian takes more

_FINE = 1e-4  # rad: to which a distance of paths is found


class Place(NamedTuple):
    """A place on a path."""

    k: int
    """The piece."""
    tau: float


class Continuous(NamedTuple):
    """What holds all along each of the pieces."""

    margin: Floats
    """(n,) rad: no leg comes nearer to the edge of its reach."""
    volume: Floats
    """(n,): |V| is never less."""
    evenness: Floats
    """(n,): nor is that."""
    gain: Floats
    """(n,): whatever the motors are off by, in rad, the platform is off by no more than that times this."""


class _Parts(NamedTuple):
    """Parts of pieces."""

    k: NDArray[np.int_]
    begin: Floats
    end: Floats

    @property
    def middle(self) -> Floats:
        return (self.begin + self.end) / 2

    def where(self, mask: NDArray[np.bool_] | slice) -> _Parts:
        return _Parts(self.k[mask], self.begin[mask], self.end[mask])

    def then(self, other: _Parts) -> _Parts:
        return _Parts(*(np.append(mine, theirs) for mine, theirs in zip(self, other, strict=True)))

    def halves(self) -> _Parts:
        half = self.middle
        return _Parts(np.tile(self.k, 2), np.append(self.begin, half), np.append(half, self.end))


def continuous(joint: Joint, parts: Pieces, count: NDArray[np.int_], floor: float) -> Continuous | Place:
    """Bounds for each piece of a path; or the first place found where it cannot be followed, whatever the speed.

    A place is broken where a leg comes nearer to the edge than `walls.edge`, where the evenness is below `floor`, and
    where V is 0. `count` (n,): parts of each piece to begin with.
    """
    m, mode, walls = joint
    k = np.repeat(np.arange(len(count)), count)
    first = np.arange(len(k)) - (np.cumsum(count) - count)[k]
    open_ = _Parts(k, first / count[k], (first + 1) / count[k])
    met = np.array([np.inf, np.inf, np.inf, -np.inf])
    found = np.full((4, len(count)), np.inf)
    side, looked = 0.0, -len(k)
    while len(open_.k):
        some, open_ = open_.where(slice(_BLOCK)), open_.where(slice(_BLOCK, None))
        looked += len(some.k)
        R, _ = at(parts, some.k, some.middle)
        rho = turned(parts, some)
        b = ball(m, mode, R, rho)
        margin, volume = b.margin.min(axis=0), np.nan_to_num(b.volume)
        side = side or float(np.sign(volume[0]))
        bad = (margin < walls.edge) | (volume * side <= FLAT) | ~(b.evenness >= floor)
        if bad.any():
            return _first(some.where(bad))
        low = np.stack([b.least_margin.min(axis=0), b.least_volume, b.least_evenness, -b.most_gain])
        met = np.minimum(met, np.stack([margin, np.abs(volume), b.evenness, -b.gain]).min(axis=1))
        proved = (low[0] >= walls.edge) & (low[1] > FLAT) & (low[2] >= floor)
        share = _SHARP / max(1.0, looked / _PATIENCE)
        done = proved & (low[:3] >= share * met[:3, None]).all(axis=0) & (low[3] >= met[3] / share)
        for row, values in zip(found, low, strict=True):
            np.minimum.at(row, some.k[done], values[done])
        stuck = ~proved & (rho < _SMALLEST)
        if stuck.any() or looked > _MOST:
            return _first(some.where(stuck if stuck.any() else ~done))
        open_ = open_.then(some.where(~done).halves())
    return Continuous(found[0], found[1], found[2], -found[3])


def turned(parts: Pieces, some: _Parts) -> Floats:
    """How far the path turns, at most, from the middle of each part to any place in it, (m,)."""
    lengths = np.stack([np.linalg.norm(w, axis=1)[some.k] for w in (parts.w1, parts.w2, parts.w3)])
    begin, middle, end = (np.stack(growth(tau)) for tau in (some.begin, some.middle, some.end))
    return np.asarray(np.maximum((lengths * (middle - begin)).sum(axis=0), (lengths * (end - middle)).sum(axis=0)))


def _first(some: _Parts) -> Place:
    i = int(np.lexsort((some.middle, some.k))[0])
    return Place(int(some.k[i]), float(some.middle[i]))


def farthest(one: Pieces, other: Pieces) -> float:
    """A bound, in radians, of how far apart two paths over the same time are; a piece of `one` is in one of `other`.

    In a part both keep within the turns of `turned` from their middles. A part that may hold the greatest distance is
    cut in two until that is known to 0.01°, or to a share of it that grows with the number of parts.
    """
    open_ = _Parts(np.arange(len(one.length)), np.zeros(len(one.length)), np.ones(len(one.length)))
    met, most, looked = 0.0, 0.0, -len(open_.k)
    while len(open_.k):
        looked += len(open_.k)
        taus = open_.begin, open_.middle, open_.end
        begin, middle, end = (one.first[open_.k] + tau * one.length[open_.k] for tau in taus)
        k = np.clip(np.searchsorted(other.first, middle, side="right") - 1, 0, len(other.length) - 1)
        theirs = _Parts(k, *(np.clip((t - other.first[k]) / other.length[k], 0.0, 1.0) for t in (begin, end)))
        apart = rotation.angle_between(at(one, open_.k, open_.middle)[0], at(other, k, theirs.middle)[0])
        bound = apart + turned(one, open_) + turned(other, theirs)
        met = max(met, float(apart.max()))
        done = bound <= met * (1 + max(looked, 0) / _PATIENCE / 10) + _FINE
        most = max(most, float(bound[done].max(initial=0.0)))
        open_ = open_.where(~done).halves()
    return most
