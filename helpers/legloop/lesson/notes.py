"""What a picture of the joint can say besides: angle names, home of a link, the other elbow, right and left."""

from __future__ import annotations

from math import cos, pi, sin

import numpy as np

from .._check import Floats
from ..leg import arc_between
from ..mechanism import Mechanism, deg
from .arcs import Arc, circle, great_arc, great_arc_from
from .curve import leg_roots
from .legs import OPEN, LegState
from .picture import numbers_in
from .scene import Scene

__all__ = ["angle_names", "down_axis", "elbows", "first_link_at", "walk_arrow"]

DOWN = np.array([0.0, 0.0, -1.0])
DOWN.flags.writeable = False


def down_axis(scene: Scene) -> None:
    """The base's -z axis, from which gamma counts."""
    scene.line(Scene.INSIDE, np.zeros(3), DOWN, "quiet", 1.2, ' stroke-dasharray="4 4"')
    scene.label(DOWN, "−z", style="ll-quiet", small=True)


def first_link_at(scene: Scene, m: Mechanism, i: int, theta: float, name: str) -> None:
    """Where the first link of leg i stands at a given motor angle: a thin line and a name at its end."""
    x, y, u = m.base_frames[i].T
    side = x * cos(theta) + y * sin(theta)
    arc = great_arc_from(u, side, float(m.proximal[i]))
    scene.thin(arc, f"leg{i + 1}", 1.5, dash="7 4")
    scene.label(arc.at(arc.angle), name, style=f"ll-leg{i + 1}", small=True)


def elbows(scene: Scene, m: Mechanism, R: Floats, state: LegState, links: int) -> None:
    """The two elbows that close a leg, named by their working mode; thin links to the one it does not stand in."""
    i = state.number
    role = f"leg{i}"
    for root, name in zip(leg_roots(m, R, i - 1), ("+1", "−1"), strict=True):
        if np.isnan(root):
            continue
        w = m.elbow_axes(np.full(3, root))[i - 1]
        scene.label(w, name, style=f"ll-{role}")
        if arc_between(w, state.w) < OPEN:
            continue
        if links == 2 and state.closed:
            scene.thin(great_arc(state.u, w), role, 2.5)
            scene.thin(great_arc(state.p, w), role, 2.0)
        x, y, depth = scene.pixel(w)
        shade = role if depth >= 0 else role.replace("leg", "back")
        at = numbers_in('cx="%.2f" cy="%.2f"', x, y)
        scene.add(
            Scene.MARKS if depth >= 0 else Scene.BACK,
            depth + 2,
            f'<circle class="ll-o ll-{shade}" stroke-width="1.8" r="4.5" {at} data-leg="{i}" data-elbow="{name}"/>',
        )


def walk_arrow(scene: Scene, state: LegState, name: str = "") -> None:
    """The walk from the motor axis straight to the platform hinge, with an arrow: it says what right and left are.

    Nothing where the two axes are one line, to 1°: no way is the straight one there.
    """
    arc = great_arc(state.u, state.p)
    if not 1 * deg < arc.angle < pi - 1 * deg:
        return
    i = state.number
    scene.thin(arc, f"leg{i}", 1.5, data=f' data-leg="{i}" data-walk="way"')
    _arrow_head(scene, arc, 0.6 * arc.angle, i, f' data-leg="{i}" data-walk="head"')
    if name:
        scene.label(arc.at(0.4 * arc.angle), name, style=f"ll-leg{i}", small=True)


def _arrow_head(scene: Scene, arc: Arc, t: float, i: int, data: str = "") -> None:
    """An arrow head at t of an arc of leg i, dimmed where it is behind."""
    tip = arc.at(t)
    layer, shade = (Scene.FRONT, f"leg{i}") if float(scene.turn[2] @ tip) >= 0 else (Scene.BACK, f"back{i}")
    scene.arrow_head(layer, tip, arc.along(t), shade, 1.8, data)


def angle_names(scene: Scene, m: Mechanism, state: LegState, pointing: Floats | None, links: int) -> None:
    """The angles that describe a leg: link arcs, base cone, platform cone, motor angle."""
    i = state.number
    role = f"leg{i}"
    if links >= 1:
        scene.label(great_arc(state.u, state.w).at(float(m.proximal[i - 1]) / 2), "α", "1", style=f"ll-{role}")
    if links == 2:
        second = great_arc_from(state.p, state.w, float(m.distal[i - 1]))
        scene.label(second.at(second.angle / 2), "α", "2", style=f"ll-{role}")
    cones = [(DOWN, state.u, "γ")]
    if pointing is not None:
        cones.append((pointing, state.p, "β"))
    for pole, axis, name in cones:
        arc = great_arc(pole, axis)
        scene.thin(arc, "ink", 1.5)
        scene.label(arc.at(arc.angle / 2), name, style="ll-ink")
    if links >= 1 and abs(state.theta) > 1 * deg:  # no arc for NaN, nor where there is nothing to see
        turn = circle(state.u, 0.36, m.base_frames[i - 1][:, 0], state.theta)
        scene.thin(turn, role, 1.8)
        _arrow_head(scene, turn, turn.angle, i)
        middle = turn.at(turn.angle / 2)
        scene.label(middle, "θ", str(i), style=f"ll-{role}", away=middle - state.u)
