"""The torque-speed curve of a motor, and the ratios at which it gives what is asked for.

Straight lines join the rows of the curve. A joint that turns at s and needs F (margin and losses included) is served
at the ratio r where ``r curve(r s) >= F``. Times s, with the motor's speed ``x = r s``: ``x curve(x) >= F s``, power
against power, from which the ratio is gone. On each straight piece the left side is a quadratic in x.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, finite

__all__ = ["checked", "falling", "largest_ratio", "most_power", "smallest_ratio", "torque_at"]

_ROUNDING = 1e-12  # of the power: a root of the quadratic, put back into it, is off by some 1e-15


def checked(value: ArrayLike) -> Floats:
    """A curve, (n, 2), of speeds that rise from 0 and torques that are not negative."""
    rows = finite(value, "curve", 2)
    if rows.ndim != 2 or len(rows) < 2:
        raise ValueError(f"curve has shape {rows.shape}; give rows of speed (rad/s) and torque (N·m), at least two")
    speed, torque = rows.T
    if speed[0] != 0:
        raise ValueError(
            f"curve begins at {speed[0]:g} rad/s; its first row is the motor at rest: (0, holding torque)"
        )
    if (np.diff(speed) <= 0).any():
        row = int(np.argmax(np.diff(speed) <= 0)) + 1
        raise ValueError(
            f"curve[{row}] has the speed {speed[row]:g} rad/s after {speed[row - 1]:g}; sort the rows by rising speed"
        )
    if (torque < 0).any():
        row = int(np.argmax(torque < 0))
        raise ValueError(f"curve[{row}] has the torque {torque[row]:g} N·m; what a motor can give is not negative")
    if not torque.max() > 0:
        raise ValueError("curve has no torque at any speed; give the torques in N·m")
    return rows


def falling(rows: Floats) -> Floats:
    """What the motor has at each speed and at all lower ones: the curve with its rises cut off.

    A joint that is to turn at some speed passes every lower one on the way; a dip there counts as well.
    """
    (before, had), *rest = rows.tolist()
    kept, least = [(before, had)], had
    for speed, torque in rest:
        if torque < least < had:  # a fall from above the least so far: where it comes down to that
            kept.append((before + (speed - before) * (had - least) / (had - torque), least))
        least = min(least, torque)
        kept.append((speed, least))
        before, had = speed, torque
    return np.array(kept)


def torque_at(rows: Floats, speed: Floats) -> Floats:
    """Torque at motor speeds, on the straight lines between the rows; none beyond the last."""
    return np.asarray(np.interp(speed, rows[:, 0], rows[:, 1], right=0.0))


def most_power(rows: Floats) -> float:
    """The largest product of speed and torque on the curve, in watts: at an end of a piece, or at its crest."""
    low, high, slope, level = _pieces(rows)
    crest = np.clip(np.divide(-level, 2 * slope, out=high.copy(), where=slope < 0), low, high)
    return float(np.max([(slope * x + level) * x for x in (low, high, crest)]))


def smallest_ratio(rows: Floats, speed: Floats, torque: Floats) -> float:
    """The smallest ratio that serves all pairs of joint speed and torque at once; infinite where there is none."""
    rest = torque[speed == 0]
    ratio = float(rest.max(initial=0.0) / rows[0, 1]) if rows[0, 1] else (np.inf if rest.any() else 0.0)
    s, need = speed[speed > 0], (torque * speed)[speed > 0]
    while np.isfinite(ratio):
        # what a pair needs from here on; the largest of these may put another pair beyond its range: again
        least = float((_reached(rows, ratio * s, need) / s).max(initial=ratio))
        if least <= ratio * (1 + _ROUNDING):
            break
        ratio = least
    return ratio


def largest_ratio(rows: Floats, speed: Floats, torque: Floats, ratio: float) -> float:
    """Up to where every ratio from this one on serves all pairs; infinite where no joint moves."""
    s, need = speed[speed > 0], (torque * speed)[speed > 0]
    return float((_left(rows, ratio * s, need) / s).min(initial=np.inf))


def _pieces(rows: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Ends of the pieces, and slope and level of the torque ``slope * x + level`` on each."""
    (low, high), (first, last) = (np.stack([c[:-1], c[1:]]) for c in rows.T)
    slope = (last - first) / (high - low)
    return low, high, slope, first - slope * low


def _reached(rows: Floats, start: Floats, need: Floats) -> Floats:
    """The first motor speed from `start` on that has the power; infinite where none has."""
    found = np.full_like(start, np.inf)
    for low, high, slope, level in zip(*_pieces(rows), strict=True):
        here = np.maximum(start, low)
        enough = (slope * here + level) * here >= need * (1 - _ROUNDING)
        roots = _roots(slope, level, need)
        roots = np.where((roots > here) & (roots <= high), roots, np.inf).min(axis=0)
        found = np.minimum(found, np.where(here <= high, np.where(enough, here, roots), np.inf))
    return found


def _left(rows: Floats, start: Floats, need: Floats) -> Floats:
    """The first motor speed beyond `start`, which has the power, where it runs out; at the latest the last one."""
    found = np.full_like(start, rows[-1, 0])
    for low, high, slope, level in zip(*_pieces(rows), strict=True):
        # a root where power falls; at `start` itself power may just have been reached, and is rising then
        roots = _roots(slope, level, need)
        falls = (roots >= np.maximum(start, low)) & (roots <= high) & (2 * slope * roots + level < 0)
        found = np.minimum(found, np.where(falls, roots, np.inf).min(axis=0))
    return found


def _roots(slope: float, level: float, need: Floats) -> Floats:
    """Both solutions x of ``(slope x + level) x = need``, (2, n), without loss of digits; NaN where there is none."""
    with np.errstate(invalid="ignore", divide="ignore"):
        half = -(level + np.copysign(np.sqrt(level * level + 4 * slope * need), level)) / 2
        roots = np.stack([half / slope if slope else np.full_like(half, np.nan), -need / half])
    return np.asarray(np.where(np.isfinite(roots), roots, np.nan))
