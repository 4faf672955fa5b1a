"""How fast a path may be run: time scaling between rest and rest, within speed and acceleration of each motor.

Along the path the motor angles are q(s), s the time of the request. Run at ``v = ds/dt <= 1`` their speed is q' v
and their acceleration ``q'' v^2 + q' dv/dt``. With x = v^2, ``dv/dt = (dx/ds) / 2``: x is straight between knots, so
dv/dt is constant there. The path itself is never changed, only the time at which each place of it is passed.

In a cell of length h, with the largest |q'| and |q''| of it, Q1 and Q2, the acceleration is within a where

    Q2 max(x0, x1) + Q1 |x1 - x0| / (2 h) <= a

That is on the safe side: the two parts are added as if they never helped one another. Running backwards from rest at
the end, the largest x0 before x1 is ``(2 h a + Q1 x1) / (2 h Q2 + Q1)``, and forwards from the start alike.
The smaller of the two, and the caps ``1, (speed / Q1)^2, a / Q2`` is the fastest x(s) that these bounds allow.

At rest, where q' jumps, x is 0, and the cell beside it is passed at half the pace on average. So it must be no longer
than what the motors need to come up to pace, ``Q1 x / (2 a)``: cells beside rest are cut (`beside_rest`, `split`).
Where q' is 0 the motors rest at any pace, and x need not be 0: to hold a pose takes as long as asked.

A motion q(t) whose speed is continuous and whose acceleration is within a has second differences over any tick within
a tick^2, and first differences within speed times tick: the table keeps what the path keeps.
Source: Bobrow, Dubowsky, Gibson, Int. J. Robotics Research 4(3), 1985; Shin, McKay, IEEE Trans. Automatic Control
30(6), 1985 (both from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats

__all__ = ["Cells", "along", "beside_rest", "caps", "cells", "profile", "rests", "split"]

_GROWTH = 4.0
"""Of the parts of a cell beside rest: where bends cost some acceleration too, x is 1 soon after the first."""


class Cells(NamedTuple):
    """A path of motor angles q(s) in n cells, a cubic in each."""

    s: Floats
    """(n + 1,): the knots."""
    q: Floats
    """(n + 1, 3)"""
    leaving: Floats
    """(n, 3): q' at the beginning of each cell."""
    arriving: Floats
    """(n, 3): q' at its end."""
    steepest: Floats
    """(n, 3): largest |q'| in it."""
    bend: Floats
    """(n, 3): largest |q''| in it."""


def cells(s: Floats, q: Floats, leaving: Floats, arriving: Floats) -> Cells:
    """The cells of knots s (n + 1,) and angles q (n + 1, 3), with the slopes at the two ends of each cell (n, 3).

    q'' is straight in a cell, so it is largest at an end; q' is largest at an end or where q'' is zero.
    """
    h = np.diff(s)[:, None]
    return Cells(s, q, leaving, arriving, *_largest(leaving, *_bends(np.diff(q, axis=0), leaving, arriving, h), h))


def _bends(rise: Floats, leaving: Floats, arriving: Floats, h: Floats) -> tuple[Floats, Floats]:
    """Slopes of q' at the two ends of cells of length h, in which q rises by `rise`."""
    chord = rise / h
    return (6 * chord - 4 * leaving - 2 * arriving) / h, (2 * leaving + 4 * arriving - 6 * chord) / h


def _slope(leaving: Floats, first: Floats, last: Floats, h: Floats, tau: Floats | float) -> Floats:
    """Slope of q at the part tau of cells with q' at their beginning, and q'' at their two ends."""
    return np.asarray(leaving + h * tau * (first + tau * (last - first) / 2))


def _largest(
    leaving: Floats, first: Floats, last: Floats, h: Floats, begin: Floats | float = 0.0, end: Floats | float = 1.0
) -> tuple[Floats, Floats]:
    """The largest |q'| and |q''| of cells between the parts `begin` and `end` of them."""
    change = last - first
    turning = np.clip(-first / np.where(change == 0, 1.0, change), begin, end)
    slopes = [_slope(leaving, first, last, h, tau) for tau in (begin, turning, end)]
    return np.abs(slopes).max(axis=0), np.maximum(np.abs(first + begin * change), np.abs(first + end * change))


def split(c: Cells, at: Floats) -> Cells:
    """The same cubics, with knots also at the places `at` (m,) within the path.

    q' and q'' of a part are those of the whole cell, not differences of q over a part that may be very short.
    """
    s = np.unique(np.concatenate([c.s, at]))
    k = np.searchsorted(c.s, s[:-1], side="right") - 1
    h = np.diff(c.s)[k][:, None]
    begin, end = ((edge - c.s[k])[:, None] / h for edge in (s[:-1], s[1:]))
    bends = _bends(np.diff(c.q, axis=0)[k], c.leaving[k], c.arriving[k], h)
    leaving = _slope(c.leaving[k], *bends, h, begin)
    arriving = np.where(end == 1, c.arriving[k], _slope(c.leaving[k], *bends, h, end))
    q = np.append(_angles(c, k, h, begin), c.q[-1:], axis=0)
    return Cells(s, q, leaving, arriving, *_largest(c.leaving[k], *bends, h, begin, end))


def rests(c: Cells, coming: Floats) -> NDArray[np.bool_]:
    """Where q' jumps, (n + 1,), and the motors must stand still. `coming` (3,) is q' before the path; after it, 0."""
    before, after = np.insert(c.arriving, 0, coming, axis=0), np.append(c.leaving, np.zeros((1, 3)), axis=0)
    # Rounding of a slope: 1e-12 times the condition of the pose; a jump of 1e-9 rad/s moves no second difference.
    return np.asarray(np.abs(after - before).max(axis=1) > 1e-9)


def beside_rest(
    c: Cells, rest: NDArray[np.bool_], speed: Floats, acceleration: Floats, slow: Floats, least: float
) -> Floats:
    """Places (m,) at which the cells beside knots of rest (n + 1,) are to be cut, for `caps` of the same limits.

    The first part is as long as a start to the cap of the cell takes, ``Q1 x / (2 a)``, and not shorter than `least`;
    those that follow grow. So it depends on the cell alone, and a cell is cut alike in every block that it is in.
    """
    h = np.diff(c.s)
    first = np.maximum(_cell_caps(c, speed, acceleration, slow) * (c.steepest / acceleration).max(axis=1) / 2, least)
    places = [np.zeros(0)]
    for cell, knot, way in ((rest[:-1], c.s[:-1], 1.0), (rest[1:], c.s[1:], -1.0)):
        begun = np.flatnonzero(cell & (first < h))
        most = np.log((h[begun] / first[begun]).max(initial=1.0)) / np.log(_GROWTH)
        far = first[begun, None] * _GROWTH ** np.arange(np.ceil(most))
        places.append((knot[begun, None] + way * far)[far < h[begun, None]])
    return np.concatenate(places)


def _cell_caps(c: Cells, speed: Floats, acceleration: Floats, slow: Floats) -> Floats:
    """The most that x may be in each cell, (n,)."""
    with np.errstate(divide="ignore"):
        cell = np.minimum((speed / c.steepest) ** 2, acceleration / c.bend).min(axis=1)
    return np.asarray(np.minimum(np.minimum(cell, 1.0), np.minimum(slow[:-1], slow[1:]) ** 2))


def caps(c: Cells, speed: Floats, acceleration: Floats, slow: Floats, rest: NDArray[np.bool_]) -> Floats:
    """The most that x may be at each knot, (n + 1,), before the knots are made to fit one another.

    `slow` (n + 1,): the most that v may be there; `rest` (n + 1,): where the motors stand still.
    """
    cell = _cell_caps(c, speed, acceleration, slow)
    x: Floats = np.minimum(np.append(cell, np.inf), np.insert(cell, 0, np.inf))
    x[rest] = 0.0
    return x


def profile(c: Cells, most: Floats, acceleration: Floats, start: float) -> Floats:
    """The x at each knot, (n + 1,): at most `start` at the first, nowhere above `most`, within the acceleration."""
    reach = 2 * np.diff(c.s)[:, None] * acceleration
    below = 2 * np.diff(c.s)[:, None] * c.bend + c.steepest
    free = below < 1e-200  # the motor stands still in this cell, and limits nothing
    below = np.where(free, 1.0, below)
    offset = np.where(free, np.inf, reach / below).tolist()
    factor = np.where(free, 0.0, c.steepest / below).tolist()
    x = most.tolist()
    for k in range(len(offset) - 1, -1, -1):
        (o1, o2, o3), (f1, f2, f3), y = offset[k], factor[k], x[k + 1]
        x[k] = min(x[k], o1 + f1 * y, o2 + f2 * y, o3 + f3 * y)
    x[0] = min(x[0], start)
    for k in range(len(offset)):
        (o1, o2, o3), (f1, f2, f3), y = offset[k], factor[k], x[k]
        x[k + 1] = min(x[k + 1], o1 + f1 * y, o2 + f2 * y, o3 + f3 * y)
    return np.array(x)


def along(c: Cells, x: Floats, clock: Floats, t: Floats) -> tuple[Floats, Floats, NDArray[np.int_]]:
    """Where the motors are at times t (m,): s (m,), q (m, 3), and the cell of each (m,).

    `clock` (n + 1,): when each knot is passed, the sum of ``2 h / (v0 + v1)``. After the last it stays there.
    """
    k = np.clip(np.searchsorted(clock, t, side="right") - 1, 0, len(clock) - 2)
    h = np.diff(c.s)[k]
    since = np.minimum(t, clock[-1]) - clock[k]
    root = np.sqrt(x)
    s = np.minimum(root[k] * since + (x[k + 1] - x[k]) / (4 * h) * since**2, h)
    return c.s[k] + s, _angles(c, k, h[:, None], (s / h)[:, None]), k


def _angles(c: Cells, k: NDArray[np.int_], h: Floats, tau: Floats) -> Floats:
    """Angles q (m, 3) at the parts tau (m, 1) of cells k (m,) of lengths h (m, 1)."""
    at_end = (3 - 2 * tau) * tau**2
    bow = tau * (1 - tau) * ((1 - tau) * c.leaving[k] - tau * c.arriving[k])
    return np.asarray(c.q[k] + at_end * (c.q[k + 1] - c.q[k]) + h * bow)
