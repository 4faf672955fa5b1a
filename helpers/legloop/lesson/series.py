"""Three numbers over time, one line for each leg, with a mark at one moment."""

from __future__ import annotations

from html import escape

import numpy as np
from numpy.typing import ArrayLike

from .._check import Floats, finite, instance, one
from .palette import LINES
from .picture import Picture, drawing_size, number, numbers_in, wrap

__all__ = ["draw_series"]

LEFT, RIGHT, TOP, BOTTOM = 58.0, 26.0, 34.0, 30.0
POINTS = 400  # more than a pixel can tell apart


def draw_series(
    t: ArrayLike,
    values: ArrayLike,
    at: float,
    *,
    name: str,
    unit: str,
    limits: ArrayLike = (),
    size: tuple[float, float] = (430.0, 150.0),
) -> Picture:
    """Lines of values (n, 3) over times t (n,) in seconds, increasing, n at least 2; a mark at the time `at`.

    `name` and `unit` stand above; `limits` are heights at which a dashed line is drawn. Of a long series so many rows
    are drawn as can be told apart; each of them is the row itself. ValueError for shapes that do not fit, times that
    do not increase, and a moment `at` outside them; TypeError for a name or unit that is no text.
    """
    for given, words in (("name", name), ("unit", unit)):
        instance(words, given, str)
    times, lines, levels = finite(t, "t"), finite(values, "values", 3), finite(limits, "limits")
    if times.ndim != 1 or len(times) < 2 or lines.shape != (len(times), 3):
        raise ValueError(
            f"t and values have shapes {times.shape} and {lines.shape}; give (n,) and (n, 3), n at least 2"
        )
    if (np.diff(times) <= 0).any():
        k = int(np.argmax(np.diff(times) <= 0)) + 1
        raise ValueError(f"t[{k}] is {times[k]:g} s, not above t[{k - 1}], {times[k - 1]:g} s; times must increase")
    if not times[0] <= one(at, "at") <= times[-1]:
        raise ValueError(f"at is {at:g} s; it must lie between {times[0]:g} and {times[-1]:g} s, the ends of t")
    width, height = drawing_size(*finite(size, "size", 2).tolist())
    low, high = _range(np.append(lines, levels))
    across, up = width - LEFT - RIGHT, height - TOP - BOTTOM

    def x(time: Floats | float) -> Floats:
        return np.asarray(LEFT + (time - times[0]) / (times[-1] - times[0]) * across)

    def y(value: Floats | float) -> Floats:
        return np.asarray(TOP + (high - value) / (high - low) * up)

    box = numbers_in('x="%.2f" y="%.2f" width="%.2f" height="%.2f"', LEFT, TOP, across, up)
    parts = [f'<rect class="ll-ball" {box}/>']
    for level in levels.ravel().tolist():
        path = numbers_in("M%.2f %.2fH%.2f", LEFT, float(y(level)), LEFT + across)
        parts.append(f'<path class="ll-s ll-ink" stroke-width="1" stroke-dasharray="5 4" d="{path}"/>')
    rows = np.unique(np.linspace(0, len(times) - 1, POINTS).astype(int))
    now = [float(np.interp(at, times, line)) for line in lines.T]
    for leg in range(3):
        points = zip(x(times[rows]).tolist(), y(lines[rows, leg]).tolist(), strict=True)
        path = "L".join(numbers_in("%.2f %.2f", *point) for point in points)
        sample, line = (
            LEFT + across - 64 + 30 * leg,
            f'class="ll-s ll-leg{leg + 1}" stroke-dasharray="{LINES[leg + 1]}"',
        )
        parts.append(f'<path {line} stroke-width="1.8" d="M{path}"/>')
        parts.append(f'<path {line} stroke-width="1.8" d="{numbers_in("M%.2f %.2fh20", sample - 10, 27)}"/>')
        spot = numbers_in('cx="%.2f" cy="%.2f"', float(x(at)), float(y(now[leg])))
        parts.append(f'<circle class="ll-f ll-leg{leg + 1}" r="4" {spot}/>')
        parts.append(_text(sample, 20, str(leg + 1), f"ll-leg{leg + 1} ll-m"))
    cursor = numbers_in("M%.2f %.2fV%.2f", float(x(at)), TOP, TOP + up)
    parts.append(f'<path class="ll-s ll-quiet" stroke-width="1" d="{cursor}"/>')
    for value in (low, high):
        parts.append(_text(LEFT - 26, float(y(value)) + 5, number(value, 1), "ll-ink ll-m"))
    for time in (times[0], times[-1]):
        parts.append(_text(float(x(time)), height - 10, number(float(time), 1) + " s", "ll-ink ll-m"))
    told = ", ".join(number(value, 1) for value in now)
    alt = f"{name} in {unit} at {number(at, 2)} s: {told}; from {number(low, 1)} to {number(high, 1)} on the scale."
    return wrap("".join(parts), width, height, f"{name} over time", alt, f"{name} ({unit})")


def _range(values: Floats) -> tuple[float, float]:
    """Ends of the scale: those of the values, a twentieth wider; never nothing."""
    low, high = float(values.min()), float(values.max())
    room = max((high - low) / 20, 1e-3)
    return low - room, high + room


def _text(x: float, y: float, text: str, style: str) -> str:
    return f'<text class="ll-t {style}" x="{number(x)}" y="{number(y)}">{escape(text)}</text>'
