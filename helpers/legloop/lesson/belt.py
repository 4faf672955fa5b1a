"""Pictures of a belt drive from plain numbers: its two pulleys from the side, and torque over speed at the joint."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, floor, log10, pi, sin

import numpy as np

from .._check import Floats, finite, one, whole
from .picture import Picture, degrees, drawing_size, number, numbers_in, wrap

__all__ = ["draw_belt", "draw_torque"]

Spot = tuple[float, float]
Place = Callable[[float, float], Spot]

LEFT, RIGHT, TOP, BOTTOM = 62.0, 16.0, 40.0, 50.0  # room for the labels round the axes, in pixels


def draw_belt(
    teeth: tuple[int, int],
    diameters: tuple[float, float],
    distance: float,
    lean: float,
    *,
    turn: float = 0.0,
    clamp: float | None = None,
    room: tuple[float, float] | None = None,
    width: float = 400.0,
    height: float = 300.0,
) -> Picture:
    """Draw motor pulley, joint pulley and the belt round both, seen so that a positive turn is counter-clockwise.

    Parameters
    ----------
    teeth, diameters : two numbers each
        Of the motor pulley, at the left, and of the joint pulley: counts, and pitch diameters in metres.
    distance, lean : float
        From shaft to shaft in metres; angle between the free belt and that line in radians.
    turn : float
        How far the joint stands from mid travel, in radians.
    clamp : float, optional
        Length along the belt of the clamp on the joint pulley, in metres; a closed belt unless given.
    room : two floats, optional
        Metres across and up that the picture holds; unless given, what the pulleys need.
    width, height : float
        Pixels.

    Raises ValueError, TypeError for what are not two numbers above 0, a length or an angle out of range.
    """
    width, height = drawing_size(width, height)
    _two(teeth, "teeth")
    for i, count in enumerate(teeth):
        whole(count, f"teeth[{i}]", 1, "teeth")
    _two(diameters, "diameters")
    if one(distance, "distance") <= 0:
        raise ValueError(f"distance is {distance:g} m; it must be above 0")
    if not abs(one(lean, "lean")) < pi / 2:
        raise ValueError(f"lean is {lean:g} rad; it is less than a right angle; for degrees write {lean:g}*deg")
    one(turn, "turn")
    if clamp is not None and one(clamp, "clamp") < 0:
        raise ValueError(f"clamp is {clamp:g} m; it must not be negative")
    if room is not None:
        _two(room, "room")
    across, up = room or (distance + sum(diameters) / 2, max(diameters))
    scale = min((width - 60) / across, (height - 110) / up)
    left = (width - scale * (distance + sum(diameters) / 2)) / 2 + scale * diameters[0] / 2
    middle = (left, height / 2 + 4), (left + scale * distance, height / 2 + 4)
    radii = scale * diameters[0] / 2, scale * diameters[1] / 2
    turns = turn * teeth[1] / teeth[0], turn
    parts, most = [_belt(middle, radii, lean)], 0.0
    covered = (pi / 2 + lean, 3 * pi / 2 - lean), (-pi / 2 - lean, pi / 2 + lean)
    for k, (name, plus) in enumerate((("motor", "+steps"), ("joint", "+θ"))):
        role, (x, y), r = f"leg{k + 1}", middle[k], radii[k] + 21
        parts.append(_pulley(middle[k], radii[k], teeth[k], turns[k], covered[k], role))
        parts.append(_arrow(middle[k], r, pi / 2, role))
        parts.append(_text(x, y - r - 10, plus, f"ll-{role} ll-m"))
        aside = "" if k else ' style="text-anchor:end"'  # where the belt leans, it is not in the way
        parts.append(_text(x if k else x + r, y + r + 12, f"{name}: {teeth[k]} teeth", f"ll-{role} ll-m", aside))
    words = [f"Motor pulley of {teeth[0]} teeth at the left, joint pulley of {teeth[1]} at the right"]
    if clamp is not None:
        half = clamp / diameters[1]
        most = pi / 2 + lean - half
        parts.append(_clamp(middle[1], radii[1], turn, half, most))
        told = f"{degrees(most - abs(turn))} left on this side"
        if abs(turn) > most:
            told = f"the clamp is {degrees(abs(turn) - most)} past the end"
            parts.append(_text(width / 2, height - 8, told, "ll-leg2 ll-m"))
        words.append(f"the joint {degrees(turn, signed=True)} from mid travel, {told}")
    words.append(f"the motor has turned {degrees(turns[0], signed=True)}")
    alt = "; ".join(words) + "."
    return wrap("".join(parts), width, height, "A belt drive", alt, "from the side")


def _two(value: object, name: str) -> None:
    """Two numbers above 0."""
    pair = finite(value, name, 2)
    if pair.shape != (2,) or (pair <= 0).any():
        raise ValueError(f"{name} is {pair.tolist()}; give two numbers above 0")


def draw_torque(
    rows: Floats,
    need: tuple[float, float],
    limits: tuple[float, float],
    *,
    points: Floats | None = None,
    width: float = 350.0,
    height: float = 300.0,
) -> Picture:
    """Draw the torque that a drive has over the speed of the joint, and the corner that it has to clear.

    Parameters
    ----------
    rows : (n, 2)
        Speed of the joint in rad/s, rising, and torque in N·m, joined by straight lines.
    need : two floats
        Speed and torque that are asked for; all below and to the left of them is asked for as well.
    limits : two floats
        Where the axes end, in rad/s and N·m.
    points : (n, 2), optional
        Single pairs of speed and torque that are asked for.
    width, height : float
        Pixels.

    Raises ValueError, TypeError for a curve that is not (n, 2), pairs that are no two numbers, no pixels.
    """
    width, height = drawing_size(width, height)
    if finite(rows, "rows", 2).ndim != 2 or len(rows) < 2:
        raise ValueError(f"rows has shape {np.shape(rows)}; give speed and torque, (n, 2), n at least 2")
    if finite(need, "need", 2).shape != (2,) or min(need) < 0:
        raise ValueError(f"need is {need}; give a speed in rad/s and a torque in N·m, not negative")
    _two(limits, "limits")
    if points is not None:
        finite(points, "points", 2)

    def at(speed: float, torque: float) -> tuple[float, float]:
        x = LEFT + (width - LEFT - RIGHT) * speed / limits[0]
        return x, height - BOTTOM - (height - TOP - BOTTOM) * torque / limits[1]

    parts = [_axes(limits, at)]
    (x0, y0), (x, y) = at(0.0, 0.0), at(*need)
    box = numbers_in("M%.2f %.2fH%.2fV%.2fH%.2fZ", x0, y0, x, y, x0)
    parts.append(f'<path class="ll-f ll-back2" opacity="0.3" d="{box}"/>')
    for point in [] if points is None else points.tolist():
        spot = numbers_in('cx="%.1f" cy="%.1f"', *at(*point))
        parts.append(f'<circle class="ll-f ll-leg2" r="1.4" {spot}/>')
    parts.append(f'<path class="ll-s ll-leg1" stroke-width="3" d="{_curve(rows, limits, at)}"/>')
    spot = numbers_in('cx="%.2f" cy="%.2f"', x, y)
    parts.append(f'<circle class="ll-o ll-leg2" stroke-width="2.5" r="5.5" {spot}/>')
    have = _available(rows, need[0])
    verdict = "enough" if have >= need[1] else "too little"
    told = f"at {degrees(need[0], 0)}/s: {number(have)} N·m of {number(need[1])}, {verdict}"
    parts.append(_text((LEFT + width - RIGHT) / 2, TOP - 10, told, f"ll-leg{1 if verdict == 'enough' else 2} ll-m"))
    alt = f"At the joint {told}."
    return wrap("".join(parts), width, height, "Torque available over torque needed", alt)


def _available(rows: Floats, speed: float) -> float:
    return float(np.interp(speed, rows[:, 0], rows[:, 1], right=0.0))


def _curve(rows: Floats, limits: tuple[float, float], at: Place) -> str:
    """The curve as a path, interrupted where it leaves the axes."""
    path, drawing = "", False
    for speed in np.linspace(0, min(limits[0], rows[-1, 0]), 241).tolist():  # steps of less than two pixels
        torque = _available(rows, speed)
        if torque <= limits[1]:
            path += numbers_in("%s%%.2f %%.2f" % ("L" if drawing else "M"), *at(speed, torque))
        drawing = torque <= limits[1]
    if rows[-1, 0] < limits[0]:  # beyond its last row there is none
        path += numbers_in("V%.2f", at(0.0, 0.0)[1])
    return path


def _axes(limits: tuple[float, float], at: Place) -> str:
    """Frame, ticks and names of the axes."""
    (left, bottom), (right, top) = at(0.0, 0.0), at(*limits)
    size = numbers_in('width="%.2f" height="%.2f"', right - left, bottom - top)
    parts = [f'<rect class="ll-ball" x="{number(left)}" y="{number(top)}" {size}/>']
    for speed in _ticks(limits[0] * 180 / pi):
        x, _ = at(speed * pi / 180, 0.0)
        parts.append(_rule(numbers_in("M%.2f %.2fV%.2f", x, bottom, top)))
        parts.append(_text(x, bottom + 17, f"{speed:g}", "ll-ink ll-m"))
    for torque in _ticks(limits[1]):
        _, y = at(0.0, torque)
        parts.append(_rule(numbers_in("M%.2f %.2fH%.2f", left, y, right)))
        parts.append(_text(left - 22, y + 5, f"{torque:g}", "ll-ink ll-m"))
    parts.append(_text((left + right) / 2, bottom + 38, "speed of the joint (°/s)", "ll-ink ll-m"))
    middle = (top + bottom) / 2
    aside = f' transform="rotate(-90 14 {number(middle)})"'
    parts.append(_text(14, middle, "torque at the joint (N·m)", "ll-ink ll-m", aside))
    return "".join(parts)


def _ticks(limit: float) -> list[float]:
    """Round numbers from 0 to a limit, three to seven of them."""
    power = 10.0 ** floor(log10(limit / 3))
    step = next(power * k for k in (10, 5, 2, 1) if limit / (power * k) >= 3 or k == 1)
    return [round(k * step, 6) for k in range(int(limit / step + 1e-9) + 1)]


def _belt(middle: tuple[Spot, Spot], radii: tuple[float, float], lean: float) -> str:
    """The closed line of the belt: over the top to the joint, round it, back below, round the motor."""
    a, b = (_on(middle[k], radii[k], pi / 2 + lean) for k in (0, 1))
    c, d = (_on(middle[k], radii[k], -pi / 2 - lean) for k in (0, 1))
    r, R = radii
    path = numbers_in("M%.2f %.2fL%.2f %.2fA%.2f %.2f 0 ", *a, *b, R, R) + f"{int(lean > 0)} 1 "
    path += numbers_in("%.2f %.2fL%.2f %.2fA%.2f %.2f 0 ", *d, *c, r, r) + f"{int(lean < 0)} 1 "
    path += numbers_in("%.2f %.2fZ", *a)
    return f'<path class="ll-s ll-ink" stroke-width="5" d="{path}"/>'


def _pulley(middle: Spot, r: float, teeth: int, turn: float, covered: tuple[float, float], role: str) -> str:
    """A disc with a mark that shows its turn, and its teeth: long where the belt covers them."""
    long, short = "", ""
    for k in range(teeth):
        t = turn + 2 * pi * k / teeth
        inside = (t - covered[0]) % (2 * pi) <= covered[1] - covered[0]
        line = numbers_in("M%.2f %.2fL%.2f %.2f", *_on(middle, r - 4, t), *_on(middle, r - (10 if inside else 7), t))
        long, short = (long + line, short) if inside else (long, short + line)
    (x, y), (mx, my) = middle, _on(middle, r - 12, turn)
    at = numbers_in('cx="%.2f" cy="%.2f"', x, y)
    return (
        f'<circle class="ll-ball" r="{number(r - 2.5)}" {at}/>'
        f'<path class="ll-s ll-{role}" stroke-width="1.8" d="{long}"/>'
        f'<path class="ll-s ll-quiet" stroke-width="1.2" d="{short}"/>'
        f'<path class="ll-s ll-{role}" stroke-width="2.5" d="{numbers_in("M%.2f %.2fL%.2f %.2f", x, y, mx, my)}"/>'
        f'<circle class="ll-f ll-{role}" r="4" {at}/>'
    )


def _clamp(middle: Spot, r: float, turn: float, half: float, most: float) -> str:
    """The clamp as a thick arc, and thin lines where its middle may go at most."""
    role = "leg3" if abs(turn) <= most else "leg2"
    (ax, ay), (bx, by) = (_on(middle, r + 1, turn + sign * half) for sign in (1, -1))
    path = numbers_in("M%.2f %.2fA%.2f %.2f 0 ", ax, ay, r + 1, r + 1) + f"{int(half > pi / 2)} 1 "
    path += numbers_in("%.2f %.2f", bx, by)
    ends = "".join(
        numbers_in("M%.2f %.2fL%.2f %.2f", *_on(middle, r + 6, sign * most), *_on(middle, r + 16, sign * most))
        for sign in (1, -1)
    )
    return (
        f'<path class="ll-s ll-{role}" stroke-width="11" style="stroke-linecap:butt" d="{path}"/>'
        f'<path class="ll-s ll-ink" stroke-width="2" d="{ends}"/>'
    )


def _arrow(middle: Spot, r: float, mid: float, role: str) -> str:
    """An arc with a head, 50° long, counter-clockwise."""
    first, last = mid - 25 * pi / 180, mid + 25 * pi / 180
    (ax, ay), (bx, by) = _on(middle, r, first), _on(middle, r, last)
    path = numbers_in("M%.2f %.2fA%.2f %.2f 0 0 0 %.2f %.2f", ax, ay, r, r, bx, by)
    back, along = _on(middle, r, last - 7 / r), (cos(last), -sin(last))
    corners = [(back[0] + s * along[0], back[1] + s * along[1]) for s in (-4.5, 4.5)]
    tip = _on(middle, r, last + 4 / r)
    head = numbers_in("M%.2f %.2fL%.2f %.2fL%.2f %.2fZ", *tip, *corners[0], *corners[1])
    return f'<path class="ll-s ll-{role}" stroke-width="2" d="{path}"/><path class="ll-f ll-{role}" d="{head}"/>'


def _on(middle: Spot, r: float, angle: float) -> Spot:
    """A point of a circle, in pixels; angles count counter-clockwise from the right."""
    return middle[0] + r * cos(angle), middle[1] - r * sin(angle)


def _rule(path: str) -> str:
    return f'<path class="ll-s ll-quiet" stroke-width="0.6" d="{path}"/>'


def _text(x: float, y: float, text: str, style: str, more: str = "") -> str:
    return f'<text class="ll-t {style}" x="{number(x)}" y="{number(y)}"{more}>{text}</text>'
