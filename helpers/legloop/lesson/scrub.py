"""The scrubbers: pictures of the joint, its legs and its equation that follow sliders.

Each function here gives a `Scrubber`: put it on the last line of a cell. Where no front end is, the cell shows
its picture and the words for it.
"""

from __future__ import annotations

from math import atan2, isnan, pi
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from .. import rotation
from .._check import Floats, finite, modes
from ..convention import Convention
from ..errors import SingularError
from ..forward import assembly_modes
from ..inverse import WORKING_MODES, closure_error, inverse_kinematics, working_mode
from ..leg import arc_between
from ..mechanism import Mechanism, deg
from ..velocity import singularity
from .controls import OrientationDials, choice, dial, table
from .curve import draw_equation, leg_roots
from .draw import VIEW, draw_joint, leg_states, turned
from .legs import one_orientation
from .picture import Picture, beside, degrees, number
from .scrubber import Scrubber, Shown, State
from .turns import draw_frames, draw_turns, turn_matrix

__all__ = [
    "Scrubber",
    "joint_rows",
    "scrub_assembly",
    "scrub_equation",
    "scrub_frames",
    "scrub_joint",
    "scrub_leg",
    "scrub_order",
    "scrub_rotation",
]

AXES = [("x", "x"), ("y", "y"), ("z", "z")]


def scrub_joint(
    m: Mechanism,
    other: Mechanism | None = None,
    *,
    mode: ArrayLike = (1, 1, 1),
    R: ArrayLike | object | None = None,
    view: tuple[float, float] = VIEW,
    size: float = 400.0,
    captions: tuple[str, str] | None = None,
    **drawing: Any,
) -> Scrubber:
    """Turn the platform by hand and watch legs, motor angles, reach margins and closure.

    Controls for `set`: roll, pitch, yaw, or tilt, azimuth, torsion, or the matrix R; mode (a tuple of three);
    view_azimuth, view_elevation. Angles in radians.

    Parameters
    ----------
    m, other : Mechanism
        The joint; a second one, if given, is drawn beside it in the same pose.
    mode : (3,)
        Working mode at the start.
    R : (3, 3), optional
        Orientation at the start; home unless given.
    view, size
        As for `draw_joint`.
    captions : two strings, optional
        What the two joints are called; "first joint" and "second joint" unless given.
    **drawing
        More arguments of `draw_joint`, such as ``legs=(0,)`` or ``cones=True``.
    """
    if other is None:
        joints = {"": m}
    else:
        joints = dict(zip(captions or ("first joint", "second joint"), (m, other), strict=True))
    orientation = OrientationDials(np.eye(3) if R is None else one_orientation(R))
    start = tuple(modes(mode).astype(int).tolist())
    sides = {1: "right", -1: "left"}
    options = [
        (f"{'  '.join(f'{s:+d}' for s in row)}  ({', '.join(sides[s] for s in row)})".replace("-", "−"), tuple(row))
        for row in WORKING_MODES.tolist()
    ]
    dials = {"mode": choice("working mode", start, options), **_view_dials(view)}

    def show(state: State) -> Shown:
        pictures, tables = [], ""
        for name, joint in joints.items():
            theta = inverse_kinematics(joint, state["R"], state["mode"], unreachable="nan")
            look = {"view": _view(state), "size": size, "caption": name, **drawing}
            pictures.append(draw_joint(joint, state["R"], theta, **look))
            tables += table((name, *_COLUMNS), joint_rows(joint, state["R"], state["mode"]))
        return (pictures[0] if other is None else beside(pictures)), tables

    return Scrubber(dials, show, orientation=orientation, wide=other is not None)


_COLUMNS = ("motor", "from home", "elbow", "reach margin", "closure residual")


def joint_rows(m: Mechanism, R: Floats, mode: ArrayLike) -> list[list[str]]:
    """One row for each leg: name, motor angle, change from home, elbow, reach margin, closure residual.

    The residual is `closure_error` of R and the very angles that the row shows. Of a leg that cannot close the
    row says how far it is short.
    """
    theta = inverse_kinematics(m, R, mode, unreachable="nan")
    home = inverse_kinematics(m, np.eye(3), mode, unreachable="nan")
    residual = closure_error(m, R, np.where(np.isnan(theta), 0.0, theta))
    rows = []
    for i, state in enumerate(leg_states(m, R, theta)):
        name = f"leg {state.number}"
        if isnan(state.theta):
            why = "any angle closes" if state.closed else f"—, {degrees(-state.margin)} short"
            rows.append([name, "—", "—", "—", degrees(state.margin), why])
            continue
        change = (theta[i] - home[i] + pi) % (2 * pi) - pi
        elbow = state.limit if state.singular else ("left" if state.mode < 0 else "right")
        rows.append(
            [
                name,
                degrees(state.theta, 2),
                "—" if isnan(change) else degrees(float(change), 2, signed=True),
                elbow,
                degrees(state.margin),
                f"{abs(residual[i]):.1e}",
            ]
        )
    return rows


def scrub_rotation(
    axis: str = "z", angle: float = 40 * deg, *, view: tuple[float, float] = VIEW, size: float = 360.0
) -> Scrubber:
    """One elementary turn: the turned triad, the arcs its tips travel on, and the matrix.

    Controls for `set`: axis ("x", "y", "z"), angle, view_azimuth, view_elevation; angles in radians.
    """
    dials = {"axis": choice("axis", axis, AXES), "angle": dial("angle", angle, -pi, pi), **_view_dials(view)}

    def show(state: State) -> Shown:
        turns = [(state["axis"], state["angle"])]
        picture = draw_turns(turns, view=_view(state), size=size)
        return picture, _matrix_table(turn_matrix(turns), f"R{state['axis']}({degrees(state['angle'])})", "′")

    return Scrubber(dials, show)


def scrub_order(
    first: tuple[str, float] = ("x", 90 * deg),
    second: tuple[str, float] = ("z", 90 * deg),
    *,
    view: tuple[float, float] = VIEW,
    size: float = 300.0,
) -> Scrubber:
    """Two turns about fixed axes in one order and in the other: R_a R_b beside R_b R_a.

    In ``R_a R_b`` the turn b is made first. Controls for `set`: axis_a, angle_a, axis_b, angle_b, view_azimuth,
    view_elevation; angles in radians.
    """
    dials = {
        "axis_a": choice("axis of a", first[0], AXES),
        "angle_a": dial("angle of a", first[1], -pi, pi),
        "axis_b": choice("axis of b", second[0], AXES),
        "angle_b": dial("angle of b", second[1], -pi, pi),
        **_view_dials(view),
    }

    def show(state: State) -> Shown:
        a, b = (state["axis_a"], state["angle_a"]), (state["axis_b"], state["angle_b"])
        orders = {"Ra Rb": ("b first, then a", [b, a]), "Rb Ra": ("a first, then b", [a, b])}
        pictures, tables = [], ""
        for name, (told, turns) in orders.items():
            pictures.append(draw_turns(turns, view=_view(state), size=size, caption=f"{name}: {told}"))
            tables += f'<div style="width:{size + 12:g}px">{_matrix_table(turn_matrix(turns), name, "″")}</div>'
        apart = float(rotation.angle_between(turn_matrix([b, a]), turn_matrix([a, b])))
        note = f"The two results are {degrees(apart)} apart."
        picture = beside(pictures)
        return Picture(picture.svg, f"{picture.alt}\n{note}"), f'<div style="display:flex">{tables}</div>{note}'

    return Scrubber(dials, show, wide=True)


def scrub_frames(
    convention: Convention,
    *,
    R: ArrayLike | object | None = None,
    view: tuple[float, float] = VIEW,
    size: float = 300.0,
) -> Scrubber:
    """One pose in two frames: our triads and theirs, on the base and on the platform, and the two matrices.

    Controls for `set`: the orientation, which is ours, as in `scrub_joint`; view_azimuth, view_elevation. Angles in
    radians. Raises TypeError for what is no `Convention`.
    """
    if not isinstance(convention, Convention):
        raise TypeError(f"convention must be a Convention, not an object of type {type(convention).__name__}")
    orientation = OrientationDials(np.eye(3) if R is None else one_orientation(R))

    def show(state: State) -> Shown:
        R = state["R"]
        ends = {  # the columns of each triad are its axes in our base frame, to which the view belongs
            "on the base": {"ours": np.eye(3), "theirs": convention.base.T},
            "on the platform": {"ours": R, "theirs": R @ convention.platform.T},
        }
        picture = beside([draw_frames(ends[end], view=_view(state), size=size, caption=end) for end in ends])
        told = {"R ours": R, "R theirs": convention.orientation_to_theirs(R)}
        tables = "".join(
            f'<div style="width:{size + 12:g}px">{_matrix_table(matrix, name, "′")}</div>'
            for name, matrix in told.items()
        )
        angles = [[name, *map(degrees, map(float, rotation.to_rpy(matrix)))] for name, matrix in told.items()]
        note = "; ".join(f"{name}: {', '.join(row)}" for name, *row in angles)
        below = f'<div style="display:flex">{tables}</div>{table(("", "roll", "pitch", "yaw"), angles)}'
        return Picture(picture.svg, f"{picture.alt}\nRoll, pitch, yaw of {note}."), below

    return Scrubber(_view_dials(view), show, orientation=orientation, wide=True)


def _matrix_table(R: Floats, name: str, prime: str) -> str:
    rows = [[axis, *(number(value, 3) for value in row)] for axis, row in zip("xyz", R.tolist(), strict=True)]
    return table((name, *(f"{axis}{prime}" for axis in "xyz")), rows)


def scrub_leg(
    m: Mechanism, leg: int = 0, *, view: tuple[float, float] | None = None, size: float = 420.0
) -> Scrubber:
    """The axes u, w and v of one leg at home: its motor angle, and the angles that place its axes.

    Controls for `set`: theta, proximal, base_cone, platform_cone, azimuth, view_azimuth, view_elevation; angles
    in radians. The sliders start at the leg's own values. Raises ValueError for a leg that is not built as in
    `Mechanism.symmetric`, since these angles do not describe it.
    """
    facing = view or _facing(m, leg, 40 * deg)
    u, v = m.base_axes[leg], m.platform_axes[leg]
    beta = float(arc_between(np.array([0.0, 0.0, 1.0]), v))
    gamma = float(arc_between(np.array([0.0, 0.0, -1.0]), u))
    eta = float(np.arctan2(u[1], u[0])) if np.hypot(u[0], u[1]) > 1e-12 else 0.0
    first, second = float(m.proximal[leg]), float(m.distal[leg])

    def joint(proximal: float, base_cone: float, platform_cone: float, azimuth: float) -> Mechanism:
        azimuths = [azimuth + (i - leg) * 120 * deg for i in range(3)]
        return Mechanism.symmetric(
            proximal=proximal, distal=second, base_cone=base_cone, platform_cone=platform_cone, azimuths=azimuths
        )

    own = joint(first, gamma, beta, eta)
    off = [own.base_frames[leg] - m.base_frames[leg], own.platform_axes[leg] - v]
    if max(np.abs(part).max() for part in off) > 1e-9:  # rounding is 1e-16; nobody builds to 1e-9
        raise ValueError(
            f"leg {leg + 1} is not described by gamma, beta and eta alone; "
            "scrub_leg serves joints made by Mechanism.symmetric without twist"
        )
    dials = {
        "theta": dial("motor angle θ", -60 * deg, -pi, pi),
        "base_cone": dial("base cone γ", gamma, 0.0, pi),
        "proximal": dial("first link α₁", first, 1 * deg, 179 * deg),
        "platform_cone": dial("platform cone β", beta, 0.0, pi),
        "azimuth": dial("azimuth η", eta, -pi, pi),
        **_view_dials(facing),
    }

    def show(state: State) -> Shown:
        now = joint(*(state[name] for name in ("proximal", "base_cone", "platform_cone", "azimuth")))
        theta = np.full(3, state["theta"])
        picture = draw_joint(
            now, np.eye(3), theta, view=_view(state), size=size, legs=(leg,), links=1, frames=("base",),
            names=True, zero=True, title=f"The axes of leg {leg + 1}",
        )  # fmt: skip
        axes = {"u": now.base_axes[leg], "w": now.elbow_axes(theta)[leg], "v": now.platform_axes[leg]}
        rows = [[name, *(number(value, 3) for value in axis)] for name, axis in axes.items()]
        words = "; ".join(f"{name} = ({', '.join(row)})" for name, *row in rows)
        alt = f"Leg {leg + 1}: motor at {degrees(state['theta'])}; {words}."
        return Picture(picture.svg, alt), table(("axis", "x", "y", "z"), rows)

    return Scrubber(dials, show)


def scrub_equation(
    m: Mechanism,
    leg: int = 0,
    *,
    theta: float = -30 * deg,
    follow: int = 0,
    R: ArrayLike | object | None = None,
    view: tuple[float, float] | None = None,
    size: float = 340.0,
) -> Scrubber:
    """The leg equation's curve with its two roots, beside the leg that it closes.

    The leg is seen from outside unless a view is given.

    Controls for `set`: theta; follow (0: the motor stands at theta; +1, -1: at that root); the orientation as in
    `scrub_joint`; view_azimuth, view_elevation. Angles in radians.
    """
    orientation = OrientationDials(np.eye(3) if R is None else one_orientation(R))
    stands = [("at θ, by hand", 0), ("at root +1", 1), ("at root −1", -1)]
    dials = {
        "theta": dial("motor angle θ", theta, -pi, pi),
        "follow": choice("motor stands", follow, stands),
        **_view_dials(view or _facing(m, leg, 0.0)),
    }

    def show(state: State) -> Shown:
        R = state["R"]
        plus, minus = leg_roots(m, R, leg)
        hand = {0: state["theta"], 1: plus, -1: minus}[state["follow"]]
        angles = inverse_kinematics(m, R, unreachable="nan")
        angles[leg] = hand
        joint = draw_joint(m, R, angles, view=_view(state), size=size, legs=(leg,), frames=(), cones=True, ghost=True)
        mark = None if isnan(hand) else hand
        curve = draw_equation(m, R, leg, theta=mark, width=size + 40, height=size)
        a, b, c = (number(float(values[leg]), 3) for values in m.leg_equation(R))
        value = "—" if isnan(hand) else f"{float(closure_error(m, R, np.nan_to_num(angles))[leg]):.2g}"
        row = [f"leg {leg + 1}", a, b, c, degrees(plus), degrees(minus), degrees(hand), value]
        head = ("", "a", "b", "c", "root +1", "root −1", "θ", "value at θ")
        return beside([joint, curve]), table(head, [["—" if "nan" in cell else cell for cell in row]])

    return Scrubber(dials, show, orientation=orientation, wide=True)


def scrub_assembly(
    m: Mechanism, theta: ArrayLike | None = None, *, view: tuple[float, float] = VIEW, size: float = 230.0
) -> Scrubber:
    """Three motor angles, and a picture of every orientation of the platform that closes there.

    In the upper row det N > 0, in the lower row det N < 0, N the normals ``w x R v``: two orientations that come
    together and vanish stand one in each row. Where nothing closes, or a whole curve of orientations, the picture
    shows the first links alone.

    Controls for `set`: theta_1, theta_2, theta_3, view_azimuth, view_elevation; angles in radians. The motors start
    at `theta`, (3,), or at home in mode +1.
    """
    start = m.home_angles() if theta is None else finite(theta, "theta", 3)
    motors = {f"theta_{i + 1}": dial(f"motor angle θ{i + 1}", float(start[i]), -pi, pi) for i in range(3)}

    def show(state: State) -> Shown:
        angles = np.array([state[name] for name in motors])
        look: dict[str, Any] = {"view": _view(state), "size": size, "frames": ()}
        told = f"Motors at {', '.join(map(degrees, angles.tolist()))}: "
        try:
            found, count = assembly_modes(m, angles, multiplicities=True)
            told += f"{len(found) or 'no'} orientation{'s close' if len(found) != 1 else ' closes'}."
        except SingularError as error:
            found, count = np.empty((0, 3, 3)), np.empty(0, dtype=int)
            told += f"{error}."
        if not len(found):
            bare = draw_joint(m, np.eye(3), angles, links=1, platform=False, **look)
            return Picture(bare.svg, told), f"<p>{told}</p>"
        volume = singularity(m, found, angles).volume
        rows = [row for row in (np.flatnonzero(volume > 0), np.flatnonzero(volume <= 0)) if row.size]
        drawn = [[draw_joint(m, found[k], angles, caption=f"{k + 1}", **look) for k in row] for row in rows]
        elbows = working_mode(m, found, angles)
        cells, words = [], []
        for k in np.concatenate(rows).tolist():
            name, det = f"{k + 1}", number(float(volume[k]), 3)
            tilt = map(degrees, map(float, rotation.to_tilt_torsion(found[k])))
            sides = "  ".join({1: "right", -1: "left", 0: "in line"}[s] for s in elbows[k].tolist())
            cells.append([name, *tilt, sides, det, ("", "single", "double", "triple")[count[k]]])
            words.append(f"{name}: {turned(found[k])}, det N {det}")
        head = ("", "tilt", "azimuth of tilt", "torsion", "elbows 1, 2, 3", "det N", "root")
        return Picture(_stacked(drawn, size), f"{told} {'; '.join(words)}."), f"<p>{told}</p>{table(head, cells)}"

    return Scrubber(motors | _view_dials(view), show, wide=True)


def _stacked(rows: list[list[Picture]], size: float, gap: float = 12.0) -> str:
    """Rows of equal square pictures, one under the other, as one SVG."""
    pitch = size + gap
    width, height = pitch * max(map(len, rows)) - gap, pitch * len(rows) - gap
    inner = "".join(
        beside(row, gap).svg.replace("<svg ", f'<svg y="{pitch * k:g}" ', 1) for k, row in enumerate(rows)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" '
        f'height="{height:g}" role="group">{inner}</svg>'
    )


def _view_dials(view: tuple[float, float]) -> dict[str, Any]:
    return {
        "view_azimuth": dial("view azimuth", view[0], -pi, pi, 2.0),
        "view_elevation": dial("view elevation", view[1], -pi / 2, pi / 2, 2.0),
    }


def _facing(m: Mechanism, leg: int, aside: float) -> tuple[float, float]:
    """A view of one leg from outside, or from a little aside of it."""
    if leg not in (0, 1, 2):
        raise ValueError(f"leg is {leg!r}; the legs are 0, 1 and 2")
    x, y, _ = m.base_axes[leg].tolist()
    return (atan2(y, x) + aside + pi) % (2 * pi) - pi, 12 * deg


def _view(state: State) -> tuple[float, float]:
    return state["view_azimuth"], state["view_elevation"]
