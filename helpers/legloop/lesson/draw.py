"""One picture of the joint, from one pure function; no widget, no plotting library, no state."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import ArrayLike

from .. import rotation
from .._check import Floats, finite, flag, shown
from ..mechanism import Mechanism, deg
from .arcs import Arc, circle, great_arc, great_arc_from
from .curve import draw_equation
from .legs import SIDES, WALK, LegState, leg_index, leg_states, one_orientation
from .notes import angle_names, down_axis, elbows, first_link_at, walk_arrow
from .palette import PATTERNS
from .picture import Picture, beside, degrees, numbers_in, wrap
from .scene import VIEW, Scene
from .turns import draw_frames, draw_turns

__all__ = [
    "VIEW",
    "LegState",
    "Picture",
    "beside",
    "draw_equation",
    "draw_frames",
    "draw_joint",
    "draw_turns",
    "leg_states",
]

_FRAMES = ("base", "platform")
FIRST, SECOND = 9.0, 6.0  # widths of the links in pixels: the driven link is the stronger one


def draw_joint(
    m: Mechanism,
    R: ArrayLike | object,
    theta: ArrayLike,
    *,
    view: tuple[float, float] = VIEW,
    size: float = 420.0,
    legs: Sequence[int] = (0, 1, 2),
    links: int = 2,
    frames: Collection[str] = ("base", "platform"),
    platform: bool = True,
    names: bool = False,
    zero: bool = False,
    home: ArrayLike | None = None,
    cones: bool = False,
    ghost: bool = False,
    walk: bool = False,
    title: str = "Spherical joint with three legs",
    caption: str = "",
) -> Picture:
    """Draw a joint on its sphere, at orientation R and motor angles theta.

    The motor axes u, elbow axes w and platform axes R v are points of the unit sphere, the links are great-circle
    arcs between them. What lies behind is dimmed. Where the second link does not reach, or reaches too far, the
    gap is dashed and labelled with its size.

    Parameters
    ----------
    m : Mechanism
        The joint.
    R : (3, 3)
        Orientation, or an object with ``as_matrix()``.
    theta : (3,)
        Motor angles in radians; NaN for a leg that cannot close.
    view : two floats
        Azimuth and elevation of the viewer in radians.
    size : float
        Width and height in pixels.
    legs : indices
        The legs to draw: 0, 1, 2 as in arrays (labels say 1, 2, 3).
    links : 0, 1 or 2
        How many links of each leg to draw.
    frames : collection of "base", "platform"
        Which triads to draw; the platform's axes are labelled x', y', z'.
    platform : bool
        Draw the platform, its plate, pointing axis and lens.
    names : bool
        The angles alpha_1, alpha_2, gamma, beta and theta, named.
    zero : bool
        Where the first link stands at theta = 0.
    home : (3,), optional
        Motor angles in radians at which to mark the home position of the first link.
    cones : bool
        The circles on which w may lie, at alpha_1 about u and at alpha_2 about R v: where they cross, the leg closes.
    ghost : bool
        The other elbow, thin, and the working mode +1 or -1 beside both; and the walk.
    walk : bool
        An arrow from the motor axis straight to the platform hinge. Walk along it, on the outside of the sphere: an
        elbow on your right is working mode +1, on your left -1.
    title : str
        What the picture is called, for those who do not see it.
    caption : str
        A heading in the picture.

    Raises
    ------
    ValueError, TypeError
        As `leg_states`; also for a view or size that is not finite, or a leg that does not exist.
    """
    drawn = _indices(legs)
    if isinstance(links, bool) or not isinstance(links, int) or links not in (0, 1, 2):
        raise ValueError(f"links is {shown(links)}; a leg has two links, so it must be 0, 1 or 2")
    wanted = [frames] if isinstance(frames, str) or not isinstance(frames, Collection) else list(frames)
    if isinstance(frames, str) or not all(isinstance(frame, str) and frame in _FRAMES for frame in wanted):
        raise ValueError(f"frames is {shown(frames)}; it may hold 'base' and 'platform', as ('base',)")
    wishes = {"platform": platform, "names": names, "zero": zero, "cones": cones, "ghost": ghost, "walk": walk}
    for name, wish in wishes.items():
        flag(wish, name)
    at_home = None if home is None else finite(home, "home", 3)
    if at_home is not None and at_home.shape != (3,):
        raise ValueError(f"home has shape {at_home.shape}; a picture shows one pose, so give (3,)")
    scene = Scene(size, view)
    orientation = one_orientation(R)
    states = leg_states(m, orientation, theta)
    scene.ball()
    if "base" in frames:
        scene.triad(np.eye(3), 0.62, "", ("quiet",) * 3, 1.5)
    if "platform" in frames:
        scene.triad(orientation, 0.4, "′", ("ink",) * 3, 2.5)
    if platform:
        _platform(scene, [state.p for state in states], orientation[:, 2])
    for i in drawn:
        state = states[i]
        if cones:
            scene.thin(circle(state.u, float(m.proximal[i])), f"leg{i + 1}", 1.5)
            scene.thin(circle(state.p, float(m.distal[i])), f"leg{i + 1}", 1.5, dash="1 4")
        _leg(scene, m, state, links)
        if zero:
            first_link_at(scene, m, i, 0.0, "θ = 0")
        if at_home is not None:
            first_link_at(scene, m, i, float(at_home[i]), "home")
        if walk or ghost:
            walk_arrow(scene, state, "walk" if ghost else "")
        if ghost:
            elbows(scene, m, orientation, state, links)
        if names:
            angle_names(scene, m, state, orientation[:, 2] if platform else None, links)
    if names:
        down_axis(scene)
    for i in drawn:
        _points(scene, states[i], links, platform)
    told = [f"View from azimuth {degrees(view[0], 0)}, elevation {degrees(view[1], 0)}"]
    if platform:
        told.append(f"platform {turned(orientation)}")
    told += [str(states[i]) if links == 2 else states[i].motor for i in drawn]
    if any(f"elbow {side}" in words for words in told for side in SIDES.values()):
        told.append(f"elbows: {WALK}")
    return wrap(scene.body(), size, size, title, "; ".join(told) + ".", caption)


def turned(R: Floats) -> str:
    """An orientation in words: tilt, its azimuth, torsion, with one decimal of a degree."""
    tilt, azimuth, torsion = (float(angle) for angle in rotation.to_tilt_torsion(R))
    twist = f"torsion {degrees(torsion)}"
    if tilt < 0.05 * deg:  # rounds to 0.0°, and then the azimuth says nothing
        return f"level, {twist}"
    return f"tilted {degrees(tilt)} towards azimuth {degrees(azimuth)}, {twist}"


def _indices(legs: object) -> list[int]:
    if not isinstance(legs, Collection):
        raise TypeError(f"legs is {shown(legs)}; give the indices of the legs to draw, as (0, 1, 2)")
    return sorted({leg_index(i, "an entry of legs") for i in legs})


def _platform(scene: Scene, corners: list[Floats], pointing: Floats) -> None:
    """The plate that carries the three platform joints, and the pointing axis with a lens at its end."""
    path = numbers_in("%.2f %.2fL%.2f %.2fL%.2f %.2f", *(c for p in corners for c in scene.pixel(p)[:2]))
    scene.add(
        Scene.INSIDE,
        -9.0,
        f'<path class="ll-s ll-ink" stroke-width="1.2" d="M{path}Z"/>'
        f'<path class="ll-f ll-ink" fill-opacity="0.09" d="M{path}Z"/>',
    )
    front = float(scene.turn[2] @ pointing) >= 0
    layer = Scene.FRONT if front else Scene.BACK
    role = "ink" if front else "quiet"
    scene.line(Scene.INSIDE, np.zeros(3), pointing, role, 1.5)
    scene.line(layer, pointing * 0.98, pointing * 1.12, role, 13.0, ' style="stroke-linecap:butt"')
    rim = Arc(pointing * 1.12, *_ring(pointing, 0.085), 2 * np.pi)
    glass = Arc(pointing * 1.125, *_ring(pointing, 0.045), 2 * np.pi)
    depth = 1.13 * float(scene.turn[2] @ pointing)
    for arc, fill in ((rim, "ll-o"), (glass, "ll-f")):
        path = scene.path(arc, 0.0, arc.angle, weight=3.0)
        scene.add(layer, depth, f'<path class="{fill} ll-{role}" stroke-width="2" data-axis="pointing" d="{path}Z"/>')


def _ring(axis: Floats, radius: float) -> tuple[Floats, Floats]:
    arc = circle(axis, np.pi / 2)
    return arc.first * radius, arc.second * radius


def _leg(scene: Scene, m: Mechanism, state: LegState, links: int) -> None:
    """Motor, first and second link of one leg; a dashed gap where the second link does not meet the elbow."""
    i = state.number
    front = float(scene.turn[2] @ state.u) >= 0
    shade = f"{'leg' if front else 'back'}{i}"
    layer = Scene.FRONT if front else Scene.BACK
    scene.line(layer, state.u, state.u * 1.17, shade, 15.0, ' style="stroke-linecap:butt"')
    if links >= 1:
        _link(scene, great_arc_from(state.u, state.w, float(m.proximal[i - 1])), i, 1, FIRST)
    if links == 2:
        second = great_arc_from(state.p, state.w, float(m.distal[i - 1]))
        _link(scene, second, i, 2, SECOND)
        if not state.closed:
            gap = great_arc(second.at(second.angle), state.w)
            path = scene.path(gap, 0.0, gap.angle)
            scene.add(
                Scene.MARKS,
                -9.0,
                f'<path class="ll-s ll-ink" stroke-width="2" stroke-dasharray="1 4.5" data-leg="{i}" '
                f'data-gap="{degrees(abs(state.gap))}" d="{path}"/>',
            )
            scene.label(gap.at(gap.angle / 2), degrees(abs(state.gap)), style=f"ll-leg{i}")


def _link(scene: Scene, arc: Arc, i: int, link: int, width: float) -> None:
    for front, start, stop in scene.pieces(arc):
        path = scene.path(arc, start, stop, weight=width / 3)
        depth = float(scene.turn[2] @ arc.at((start + stop) / 2))
        shade, wide = (f"leg{i}", width) if front else (f"back{i}", width * 0.7)
        data = f'data-leg="{i}" data-link="{link}" data-side="{"front" if front else "back"}"'
        parts = [f'<path class="ll-s ll-{shade}" stroke-width="{wide:g}" {data} d="{path}"/>']
        if front:  # what passes behind is interrupted beside the link
            parts.insert(0, f'<path class="ll-gap" stroke-width="{wide + 4:g}" d="{path}"/>')
        if PATTERNS[i]:
            core = f'stroke-width="{wide * 0.32:.3g}" stroke-dasharray="{PATTERNS[i]}"'
            parts.append(f'<path class="ll-core" {core} d="{path}"/>')
        scene.add(Scene.FRONT if front else Scene.BACK, depth, "".join(parts))


def _points(scene: Scene, state: LegState, links: int, platform: bool) -> None:
    """The joints of one leg as round marks, labelled u, w, Rv."""
    i = state.number
    marks = [("u", state.u, "ll-o", 5.0)]
    if links >= 1:
        marks.append(("w", state.w, "ll-o", 6.0))
    if links == 2 or platform:
        marks.append(("Rv", state.p, "ll-f", 6.0))
    for name, point, kind, radius in marks:
        x, y, depth = scene.pixel(point)
        front = depth >= -1e-9
        shade = f"{'leg' if front else 'back'}{i}"
        at = numbers_in('cx="%.2f" cy="%.2f"', x, y)
        scene.add(
            Scene.MARKS if front else Scene.BACK,
            depth + 2,
            f'<circle class="{kind} ll-{shade}" stroke-width="2.5" r="{radius:g}" {at} data-leg="{i}" '
            f'data-axis="{name}"/>',
        )
        scene.obstacles.append((x, y, 4.0))
        scene.label(point, name, str(i), style=f"ll-leg{i}")
        if name == "w" and state.singular:
            scene.add(
                Scene.MARKS,
                depth + 2,
                f'<circle class="ll-s ll-leg{i}" stroke-width="1.5" r="11" {at} data-leg="{i}" '
                f'data-singular="{state.limit}"/>',
            )
            scene.label(point, f"singular: {state.limit}", style=f"ll-leg{i}", small=True)
