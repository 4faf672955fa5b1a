"""The leg equation as a curve over the motor angle, with its two roots."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, cos, floor, isnan, pi, sin

import numpy as np
from numpy.typing import ArrayLike

from .. import leg as equation
from .._check import one
from ..mechanism import Mechanism, joint
from ..reach import reach_margin
from .legs import leg_index, one_orientation
from .picture import Picture, degrees, drawing_size, number, numbers_in, wrap

__all__ = ["draw_equation", "leg_roots"]

Place = Callable[[float, float], tuple[float, float]]

LEFT, RIGHT, TOP, BOTTOM = 58.0, 16.0, 34.0, 52.0  # room for the labels round the axes, in pixels


def leg_roots(m: Mechanism, R: ArrayLike | object, leg: int) -> tuple[float, float]:
    """Motor angles of leg 0, 1 or 2 in working modes +1 and -1, in radians; NaN where it has none."""
    leg_index(leg)
    a, b, c = (values[..., leg] for values in m.leg_equation(R))
    plus, minus = (float(equation.motor_angle(a, b, c, np.asarray(mode))) for mode in (1, -1))
    return plus, minus


def draw_equation(
    m: Mechanism,
    R: ArrayLike | object,
    leg: int = 0,
    *,
    theta: float | None = None,
    width: float = 420.0,
    height: float = 300.0,
) -> Picture:
    """Draw ``a cos(theta) + b sin(theta) + c`` of one leg over a full turn, and mark its roots +1 and -1.

    The value is ``w . R v - cos(alpha_2)``, so the scale from ``-1 - cos(alpha_2)`` to ``1 - cos(alpha_2)``
    never changes.

    Parameters
    ----------
    m, R
        A joint and one orientation, (3, 3).
    leg : int
        0, 1 or 2 as in arrays; the labels say 1, 2, 3.
    theta : float, optional
        A motor angle in radians to mark on the curve.
    width, height : float
        Pixels.

    Raises
    ------
    ValueError, TypeError
        R is no rotation, or not a single one; there is no such leg; theta is not one finite number; no pixels.
    """
    joint(m)
    orientation, (width, height) = one_orientation(R), drawing_size(width, height)
    roots = leg_roots(m, orientation, leg)
    a, b, c = (float(values[leg]) for values in m.leg_equation(orientation))
    low, high = -1 - cos(float(m.distal[leg])), 1 - cos(float(m.distal[leg]))
    role = f"leg{leg + 1}"

    def at(angle: float, value: float) -> tuple[float, float]:
        x = LEFT + (width - LEFT - RIGHT) * (angle + pi) / (2 * pi)
        return x, TOP + (height - TOP - BOTTOM) * (high - value) / (high - low)

    parts = [_axes(at, low, high, leg + 1)]
    angles = np.linspace(-pi, pi, 73).tolist()
    values = [v for t in angles for v in at(t, a * cos(t) + b * sin(t) + c)]
    path = numbers_in("M%.2f %.2f" + "L%.2f %.2f" * (len(angles) - 1), *values)
    parts.append(f'<path class="ll-s ll-{role}" stroke-width="3" data-leg="{leg + 1}" d="{path}"/>')
    words = [f"Leg {leg + 1}: {number(a)} cos θ {_signed(b)} sin θ {_signed(c)}"]
    if theta is not None:
        hand = one(theta, "theta")
        wrapped = (hand + pi) % (2 * pi) - pi
        value = a * cos(hand) + b * sin(hand) + c
        (x, y), (_, zero) = at(wrapped, value), at(wrapped, 0.0)
        line = numbers_in("M%.2f %.2fV%.2f", x, zero, y)
        parts.append(f'<path class="ll-s ll-ink" stroke-width="1.5" stroke-dasharray="4 4" d="{line}"/>')
        parts.append(_mark(x, y, "ll-f ll-ink", "hand"))
        told = number(value).replace("-", "−")
        if told != "0.00":  # on a root its own label says so
            parts.append(_text(x + 10, y + 5, told, "ll-ink ll-m", more=' style="text-anchor:start"'))
        words.append(f"at {degrees(hand)} it is {number(value)}")
    parts.extend(_roots(at, roots, f"ll-{role}"))
    if isnan(roots[0]):
        short = -float(reach_margin(m, orientation)[leg])
        told = f"no root: {degrees(short)} short" if short > 1e-9 else "zero at every motor angle"
        parts.append(_text(*at(0.0, 0.0), told, f"ll-{role}", above=10))
        words.append(told)
    else:
        words.append(f"roots at {degrees(roots[0])} (+1) and {degrees(roots[1])} (-1)")
    return wrap("".join(parts), width, height, f"The equation of leg {leg + 1}", "; ".join(words) + ".")


def _signed(value: float) -> str:
    text = number(value)
    return f"- {text[1:]}" if text.startswith("-") else f"+ {text}"


def _text(x: float, y: float, text: str, style: str, above: float = 0.0, more: str = "") -> str:
    return f'<text class="ll-t {style}" x="{number(x)}" y="{number(y - above)}"{more}>{text}</text>'


def _mark(x: float, y: float, style: str, name: str) -> str:
    return f'<circle class="{style}" stroke-width="2.5" r="6" cx="{number(x)}" cy="{number(y)}" data-root="{name}"/>'


def _rule(width: float, path: str) -> str:
    return f'<path class="ll-s ll-quiet" stroke-width="{width:g}" d="{path}"/>'


def _axes(at: Place, low: float, high: float, leg: int) -> str:
    """Frame, grid, ticks and axis names; the line of the value 0 is the strong one."""
    (left, top), (right, bottom) = at(-pi, high), at(pi, low)
    parts = [
        f'<rect class="ll-ball" x="{number(left)}" y="{number(top)}" width="{number(right - left)}" '
        f'height="{number(bottom - top)}"/>'
    ]
    for tick in range(-180, 181, 60):
        x, _ = at(tick * pi / 180, 0.0)
        parts.append(_rule(0.6, numbers_in("M%.2f %.2fV%.2f", x, top, bottom)))
        parts.append(_text(x, bottom + 17, f"{tick}°".replace("-", "−"), "ll-ink ll-m"))
    for k in range(ceil(low * 2), floor(high * 2) + 1):
        _, y = at(0.0, k / 2)
        parts.append(_rule(2.0 if k == 0 else 0.6, numbers_in("M%.2f %.2fH%.2f", left, y, right)))
        parts.append(_text(left - 20, y + 5, number(k / 2, 1).replace("-", "−"), "ll-ink ll-m"))
    parts.append(_text((left + right) / 2, bottom + 40, f"motor angle θ of leg {leg}, in degrees", "ll-ink ll-m"))
    value = "a cos θ + b sin θ + c = w · Rv − cos α₂ (no unit)"
    parts.append(_text((left + right) / 2, top - 12, value, "ll-ink ll-m"))
    return "".join(parts)


def _roots(at: Place, roots: tuple[float, float], role: str) -> str:
    """A mark on the zero line for each root: filled for +1, hollow for -1; one mark where they meet."""
    if isnan(roots[0]):
        return ""
    parts = []
    # The curve rises through root +1 and falls through root -1; the labels stand on the side where it is not,
    # outside the pair of roots unless the edge of the plot is near.
    hump = roots[0] < roots[1]
    for angle, sign, style in ((roots[1], "−1", "ll-o"), (roots[0], "+1", "ll-f")):
        x, y = at(angle, 0.0)
        parts.append(_mark(x, y, f"{style} {role}", sign.replace("−", "-")))
        left, above = (sign == "+1") == hump, hump
        if (x - at(-pi, 0.0)[0] if left else at(pi, 0.0)[0] - x) < 84:  # the length of a label
            left, above = not left, not above
        told = f"{sign}: {degrees(angle)}".replace("-", "−")
        anchor = f' style="text-anchor:{"end" if left else "start"}"'
        parts.append(_text(x - 10 if left else x + 10, y, told, role, above=10 if above else -22, more=anchor))
    return "".join(parts)
