"""Which way a joint turns when its motor counts upwards: motor, belt and pulley, arrows for +steps, +theta and u."""

from __future__ import annotations

from math import acos, cos, pi, sin

from .._check import flag
from .picture import Picture, number, numbers_in, wrap

__all__ = ["draw_sense", "sense_of"]

Spot = tuple[float, float]

WIDTH, HEIGHT = 430.0, 262.0
MOTOR, JOINT = (92.0, 138.0), (290.0, 138.0)  # middles of the two pulleys in pixels
SMALL, LARGE = 26.0, 62.0  # their radii


def sense_of(*, clockwise: bool = False, away: bool = False, crossed: bool = False) -> int:
    """+1 where positive steps turn the joint by positive theta, -1 where not: each of the three turns it round.

    clockwise : seen from its shaft's end the motor turns clockwise at positive steps, as after a swapped coil pair.
    away : the shaft's end points away from the one who looks at the joint from outside. crossed : the belt, or one
    pair of gear wheels in its place, reverses the turn. TypeError for what is neither True nor False.
    """
    turns = (flag(clockwise, "clockwise"), flag(away, "away"), flag(crossed, "crossed"))
    return -1 if sum(turns) % 2 else 1


def draw_sense(*, clockwise: bool = False, away: bool = False, crossed: bool = False) -> Picture:
    """Draw a motor, its belt and the joint's pulley seen from outside, looking at the centre; arguments: `sense_of`.

    From there u comes towards the eye, and +theta is counter-clockwise. The joint's inner arrow is what it does at
    positive steps.
    """
    sense = sense_of(clockwise=clockwise, away=away, crossed=crossed)
    seen = -1 if clockwise != away else 1
    (x, y), (X, Y) = MOTOR, JOINT
    body = _belt(crossed)
    for (a, b), r, role in ((MOTOR, SMALL, "leg1"), (JOINT, LARGE, "leg2")):
        body += f'<circle class="ll-o ll-{role}" stroke-width="2.5" r="{number(r - 3)}" {_at(a, b)}/>'
    if away:  # what one sees is the back of the motor, which hides its pulley
        body += '<rect class="ll-o ll-leg1" stroke-width="2" rx="5" ' + numbers_in(
            'x="%.2f" y="%.2f" width="52" height="52"/>', x - 26, y - 26
        )
        body += _text(MOTOR, "back", "ll-leg1 ll-m")
    else:
        body += f'<circle class="ll-f ll-leg1" r="4" {_at(x, y)}/>'
    body += f'<circle class="ll-o ll-ink" stroke-width="1.8" r="8" {_at(X, Y)}/>'
    body += f'<circle class="ll-f ll-ink" r="2.6" {_at(X, Y)}/>' + _text((X + 17, Y + 1), "u", "ll-ink ll-i")
    body += _arrow(MOTOR, SMALL + 20, seen, "leg1") + _text((x, y - SMALL - 37), "+steps", "ll-leg1 ll-m")
    body += _arrow(JOINT, LARGE + 17, 1, "ink") + _text((X, Y - LARGE - 32), "+θ", "ll-ink")
    body += _arrow(JOINT, LARGE - 22, sense, "leg2") + _text((X, Y + 32), "at +steps", "ll-leg2 ll-m")
    told = f"sense {'+1' if sense > 0 else '−1'}"
    line = f"+steps turns the joint by {'+θ' if sense > 0 else '−θ'}: {told}"
    body += _text(((x + X) / 2, HEIGHT - 14), line, "ll-ink")
    turns = "counter-clockwise" if seen > 0 else "clockwise"
    alt = (
        "Seen from outside, looking at the centre, u towards the eye. "
        f"{'The motor shows its back' if away else 'The shaft of the motor points to the eye'}; at positive steps it "
        f"turns {turns} as seen from here. The belt is {'crossed' if crossed else 'not crossed'}, so the joint turns "
        f"{'counter-clockwise, which is plus theta' if sense > 0 else 'clockwise, which is minus theta'}: {told}."
    )
    return wrap(body, WIDTH, HEIGHT, "Motor, belt and pulley", alt)


def _belt(crossed: bool) -> str:
    """The closed line of the belt: to the joint, round it, back, round the motor.

    A run touches the motor at an angle a from the line of the middles, and the joint at a too, or, where it crosses
    that line, at a + pi: ``cos a = (r - R) / apart``, or ``(r + R) / apart``.
    """
    a = acos((SMALL + (LARGE if crossed else -LARGE)) / (JOINT[0] - MOTOR[0]))
    far = a + pi if crossed else a
    path = numbers_in("M%.2f %.2fL%.2f %.2f", *_on(MOTOR, SMALL, a), *_on(JOINT, LARGE, far))
    path += numbers_in("A%.2f %.2f 0 ", LARGE, LARGE) + f"1 {int(not crossed)} "
    path += numbers_in("%.2f %.2fL%.2f %.2f", *_on(JOINT, LARGE, -far), *_on(MOTOR, SMALL, -a))
    path += numbers_in("A%.2f %.2f 0 ", SMALL, SMALL) + f"{int(crossed)} 1 "
    path += numbers_in("%.2f %.2fZ", *_on(MOTOR, SMALL, a))
    return f'<path class="ll-s ll-quiet" stroke-width="4" d="{path}"/>'


def _arrow(middle: Spot, r: float, way: int, role: str) -> str:
    """An arc over the top with a head: counter-clockwise for +1, clockwise for -1."""
    start, stop = pi / 2 - way * 0.6, pi / 2 + way * 0.6
    path = numbers_in("M%.2f %.2fA%.2f %.2f 0 0 ", *_on(middle, r, start), r, r) + f"{int(way < 0)} "
    path += numbers_in("%.2f %.2f", *_on(middle, r, stop))
    tip, back = _on(middle, r, stop + way * 5 / r), stop - way * 6 / r
    head = numbers_in("M%.2f %.2fL%.2f %.2fL%.2f %.2fZ", *tip, *_on(middle, r - 5, back), *_on(middle, r + 5, back))
    return f'<path class="ll-s ll-{role}" stroke-width="2.2" d="{path}"/><path class="ll-f ll-{role}" d="{head}"/>'


def _on(middle: Spot, r: float, angle: float) -> Spot:
    """A point of a circle, in pixels; angles count counter-clockwise from the right."""
    return middle[0] + r * cos(angle), middle[1] - r * sin(angle)


def _at(x: float, y: float) -> str:
    return numbers_in('cx="%.2f" cy="%.2f"', x, y)


def _text(at: Spot, text: str, style: str) -> str:
    spot = numbers_in('x="%.2f" y="%.2f"', at[0], at[1] + 5)
    return f'<text class="ll-t {style}" {spot}>{text}</text>'
