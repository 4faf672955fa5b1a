"""How fast a path may be run: time scaling between rest and rest, within speed and acceleration of each motor.

Along the path the motor angles are q(s), s the time of the request. Run at ``v = ds/dt <= 1`` their speed is q' v
and their acceleration ``q'' v^2 + q' dv/dt``. With x = v^2, ``dv/dt = (dx/ds) / 2``: x is straight between knots, so
dv/dt is constant there. The path itself is never changed, only the time at which each place of it is passed.

In a cell of length h, with the largest |q'| and |q''| of it, Q1 and Q2, the acceleration is within a where

    Q2 max(x0, x1) + Q1 |x1 - x0| / (2 h) <= a

That is on the safe side: the two parts are added as if they never helped one another. Running backwards from rest at
the end, the largest x0 before x1 is ``(2 h a + Q1 x1) / (2 h Q2 + Q1)``, and forwards from the start alike.
The smaller of the two, and the caps ``1, (speed / Q1)^2, a / Q2`` is the fastest x(s) that these bounds allow.

A motion q(t) whose speed is continuous and whose acceleration is within a has second differences over any tick within
a tick^2, and first differences within speed times tick: the table keeps what the path keeps.
Source: Bobrow, Dubowsky, Gibson, Int. J. Robotics Research 4(3), 1985; Shin, McKay, IEEE Trans. Automatic Control
30(6), 1985 (both from memory).
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..._check import Floats

__all__ = ["Cells", "along", "caps", "cells", "profile"]


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
    chord = np.diff(q, axis=0) / h
    first, last = (6 * chord - 4 * leaving - 2 * arriving) / h, (2 * leaving + 4 * arriving - 6 * chord) / h
    change = last - first
    tau = np.clip(-first / np.where(change == 0, 1.0, change), 0.0, 1.0)
    inside = leaving + h * tau * (first + tau * change / 2)
    steepest = np.maximum(np.abs(inside), np.maximum(np.abs(leaving), np.abs(arriving)))
    return Cells(s, q, leaving, arriving, steepest, np.maximum(np.abs(first), np.abs(last)))


def caps(c: Cells, speed: Floats, acceleration: Floats, slow: Floats) -> Floats:
    """The most that x may be at each knot, (n + 1,), before the knots are made to fit one another.

    `slow` (n + 1,): the most that v may be there. Where q' jumps x is 0: the motors stop in such a corner.
    """
    with np.errstate(divide="ignore"):
        cell = np.minimum((speed / c.steepest) ** 2, acceleration / c.bend).min(axis=1)
    cell = np.minimum(cell, np.minimum(slow[:-1], slow[1:]) ** 2)
    x = np.minimum(np.append(cell, np.inf), np.insert(cell, 0, np.inf))
    # Rounding of a slope: 1e-12 times the condition of the pose; a jump of 1e-9 rad/s moves no second difference.
    jump = np.abs(c.leaving[1:] - c.arriving[:-1]).max(axis=1, initial=0.0) > 1e-9
    x[1:-1][jump] = 0.0
    return np.asarray(np.minimum(x, 1.0))


def profile(c: Cells, most: Floats, acceleration: Floats, start: float) -> Floats:
    """The x at each knot, (n + 1,): from `start` to 0 at the last, nowhere above `most`, within the acceleration."""
    reach = 2 * np.diff(c.s)[:, None] * acceleration
    below = 2 * np.diff(c.s)[:, None] * c.bend + c.steepest
    free = below < 1e-200  # the motor stands still in this cell, and limits nothing
    below = np.where(free, 1.0, below)
    offset = np.where(free, np.inf, reach / below).tolist()
    factor = np.where(free, 0.0, c.steepest / below).tolist()
    x = most.tolist()
    x[-1] = 0.0
    for k in range(len(offset) - 1, -1, -1):
        (o1, o2, o3), (f1, f2, f3), y = offset[k], factor[k], x[k + 1]
        x[k] = min(x[k], o1 + f1 * y, o2 + f2 * y, o3 + f3 * y)
    x[0] = start
    for k in range(len(offset)):
        (o1, o2, o3), (f1, f2, f3), y = offset[k], factor[k], x[k]
        x[k + 1] = min(x[k + 1], o1 + f1 * y, o2 + f2 * y, o3 + f3 * y)
    return np.array(x)


def along(c: Cells, x: Floats, clock: Floats, t: Floats) -> tuple[Floats, Floats, np.typing.NDArray[np.int_]]:
    """Where the motors are at times t (m,): s (m,), q (m, 3), and the cell of each (m,).

    `clock` (n + 1,): when each knot is passed, the sum of ``2 h / (v0 + v1)``. After the last it stays there.
    """
    k = np.clip(np.searchsorted(clock, t, side="right") - 1, 0, len(clock) - 2)
    h = np.diff(c.s)[k]
    since = np.minimum(t, clock[-1]) - clock[k]
    root = np.sqrt(x)
    s = np.minimum(root[k] * since + (x[k + 1] - x[k]) / (4 * h) * since**2, h)
    h, tau = h[:, None], (s / h)[:, None]
    at_end = (3 - 2 * tau) * tau**2
    bow = tau * (1 - tau) * ((1 - tau) * c.leaving[k] - tau * c.arriving[k])
    return c.s[k] + s, c.q[k] + at_end * (c.q[k + 1] - c.q[k]) + h * bow, k
