"""Maps of the directions that the platform can look to: one disc for one torsion, shaded by what a pose is worth.

The middle of the disc is tilt 0. A point's distance from there is the tilt, its direction the azimuth of the tilt,
as seen from above: azimuth 0 to the right, counted counter-clockwise. The value of a cell is the one at its middle.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise
from math import atan2, cos, hypot, pi, sin

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .. import rotation
from .._check import Floats, angles, modes, shown
from ..inverse import WORKING_MODES, inverse_kinematics
from ..mechanism import Mechanism, deg, joint
from ..reach import Links
from ..velocity import singularity
from .controls import ROOM, choice, dial, table
from .picture import Picture, degrees, number, numbers_in, wrap
from .quantities import QUANTITIES, Quantity, map_values
from .scrubber import Scrubber, Shown, State

__all__ = ["QUANTITIES", "Quantity", "draw_map", "map_values", "scrub_reach"]

RINGS, SECTORS = 15, 36
WIDTH, HEIGHT, CENTRE, RADIUS = 560.0, 400.0, (200.0, 212.0), 158.0  # pixels
SHADES = (0.15, 0.27, 0.4, 0.53, 0.67, 0.81, 0.96)  # opacity of each level: the stronger, the more


def draw_map(
    m: Mechanism,
    quantity: str = "margin",
    torsion: float = 0.0,
    *,
    mode: ArrayLike = (1, 1, 1),
    links: Links | None = None,
    farthest: float = 75 * deg,
    pointer: tuple[float, float] | None = None,
) -> Picture:
    """Shade the directions up to the tilt `farthest` by a quantity, at one torsion and in one working mode.

    A dot: a leg does not close. A strong line runs where the normals fall into one plane (singular of type 2),
    between cells whose det N has unlike signs. The triangles at the rim show where the motors stand.

    Parameters
    ----------
    m, quantity, mode, links
        As for `map_values`.
    torsion, farthest : float
        Radians; `torsion` in [-2 pi, 2 pi], `farthest` in (0, pi).
    pointer : tilt and azimuth, (2,), optional
        A direction to mark, in radians, its tilt not beyond `farthest`; the words then tell the value there, and
        the worst among samples that do not tilt more.

    Raises
    ------
    ValueError, TypeError
        An argument is out of its range, or not finite; no such quantity; what is no joint, no `Links`.
    """
    m, signs, limit = joint(m), _one_mode(mode), _farthest(farthest)
    turn = float(angles(torsion, "torsion", (), -2 * pi, 2 * pi, "[-2 pi, 2 pi]"))
    spot = None if pointer is None else _spot(pointer, limit)
    R = _cells(limit, turn)
    values = map_values(m, quantity, R, mode=signs, links=links)
    about = QUANTITIES[quantity]  # an unknown one has been refused
    level = np.where(np.isnan(values), -1, np.digitize(values * about.factor, about.edges))
    quads = _quads()
    parts = [f'<circle class="ll-ball" r="{RADIUS:g}" cx="{CENTRE[0]:g}" cy="{CENTRE[1]:g}"/>']
    for k, shade in enumerate(SHADES):
        if inside := "".join(quads[i] for i in np.flatnonzero(level.ravel() == k)):
            parts.append(f'<path class="ll-f ll-leg1" opacity="{shade}" data-level="{k}" d="{inside}"/>')
    if dots := "".join(_dots()[i] for i in np.flatnonzero(level.ravel() < 0)):
        parts.append(f'<path class="ll-s ll-quiet" stroke-width="2.2" data-level="-1" d="{dots}"/>')
    rim = _rim(m, R, signs)
    if rim:
        parts.append(f'<path class="ll-s ll-ink" stroke-width="3" data-rim="2" d="{rim}"/>')
    motors = _motors(m)
    parts += [_axes(limit), motors, _legend(about, bool(rim), bool(motors), spot is not None)]
    total, closing = values.size, int((level >= 0).sum())
    name = f"{about.name[0].upper()}{about.name[1:]}"
    words = [
        f"{name} over the directions of the pointing axis, torsion {degrees(turn)}, mode {_spoken(signs)}",
        f"all legs close in {closing} of {total} directions up to a tilt of {degrees(limit, 0)}",
    ]
    if closing:
        words.append(f"from {about.text(float(np.nanmin(values)))} to {about.text(float(np.nanmax(values)))}")
    words.append("a line of singular poses of type 2 crosses the map" if rim else "no line of type 2")
    if spot is not None:
        tilt, azimuth = spot
        parts.append(_pointer(tilt / limit, azimuth))
        here, worst = _at_pointer(m, quantity, (tilt, azimuth, turn), signs, links)
        words.append(f"at the pointer (tilt {degrees(tilt)}, azimuth {degrees(azimuth)}): {about.text(here)}")
        words.append(f"the worst in all directions up to that tilt, by samples: {about.text(worst)}")
    caption = f"torsion {degrees(turn, signed=True)}".replace("-", "−")
    return wrap("".join(parts), WIDTH, HEIGHT, f"Map of {about.name}", "; ".join(words) + ".", caption)


def scrub_reach(
    m: Mechanism,
    quantity: str = "margin",
    *,
    torsion: float = 0.0,
    mode: ArrayLike = (1, 1, 1),
    links: Links | None = None,
    farthest: float = 75 * deg,
    pointer: tuple[float, float] = (30 * deg, 0.0),
) -> Scrubber:
    """Move a map of directions through the torsions, the quantities and the working modes, and read it at a pointer.

    Controls for `set`: torsion, tilt, azimuth, in radians, the last two of the pointer; quantity (a key of
    `QUANTITIES`; clearance only with links); mode (a tuple of three). Arguments, (3,) and (2,), and errors
    (ValueError, TypeError) as for `draw_map`; `torsion` in [-pi, pi].
    """
    joint(m)
    limit = _farthest(farthest)
    tilt, azimuth = _spot(pointer, limit)
    offered = {key: about for key, about in QUANTITIES.items() if key != "clearance" or links is not None}
    map_values(m, quantity, np.eye(3), links=links)  # says what is wrong
    rows = [(_spoken(row), tuple(row.tolist())) for row in WORKING_MODES]
    dials = {
        "torsion": dial("torsion", torsion, -pi, pi, 1.0),
        "tilt": dial("tilt of the pointer", tilt, 0.0, limit, 1.0),
        "azimuth": dial("its azimuth", azimuth, -pi, pi, 2.0),
        "quantity": choice("what is shown", quantity, [(about.name, key) for key, about in offered.items()]),
        "mode": choice("working mode", tuple(_one_mode(mode).tolist()), rows),
    }

    def show(state: State) -> Shown:
        at = (state["tilt"], state["azimuth"], state["torsion"])
        given = {"mode": state["mode"], "links": links}
        picture = draw_map(m, state["quantity"], at[2], farthest=limit, pointer=at[:2], **given)
        cells = []
        for key, about in offered.items():
            here, worst = _at_pointer(m, key, at, np.asarray(state["mode"]), links)
            cells.append([about.name, about.text(here), about.text(worst)])
        return picture, table(("", "at the pointer", "worst up to its tilt (samples)"), cells)

    return Scrubber(dials, show)


def _one_mode(mode: ArrayLike) -> NDArray[np.int_]:
    signs = modes(mode).astype(int)
    if signs.shape != (3,):
        raise ValueError(f"mode has shape {signs.shape}; a map shows one mode, so its shape must be (3,)")
    return signs


def _farthest(value: float) -> float:
    return float(angles(value, "farthest", (), 0.0, pi, "(0, pi)"))


def _spot(pointer: object, farthest: float) -> tuple[float, float]:
    """Tilt and azimuth of the pointer, on the map."""
    if not isinstance(pointer, tuple | list) or len(pointer) != 2:
        raise ValueError(f"pointer is {shown(pointer)}; give tilt and azimuth, as (30*deg, 0.0)")
    tilt, azimuth = pointer
    tilt = float(angles(tilt, "pointer[0]", (), 0.0, farthest + ROOM, f"[0, farthest = {degrees(farthest)}]"))
    return tilt, float(angles(azimuth, "pointer[1]", (), -2 * pi, 2 * pi, "[-2 pi, 2 pi]"))


def _spoken(signs: NDArray[np.int_]) -> str:
    return " ".join(f"{s:+d}" for s in signs.tolist())


def _cells(farthest: float, torsion: float) -> Floats:
    """Orientations at the middles of the cells, (RINGS, SECTORS, 3, 3)."""
    tilt = farthest * (np.arange(RINGS) + 0.5) / RINGS
    azimuth = 2 * pi * (np.arange(SECTORS) + 0.5) / SECTORS
    return rotation.from_tilt_torsion(tilt[:, None], azimuth, torsion)


def _at_pointer(
    m: Mechanism,
    quantity: str,
    at: tuple[float, float, float],
    mode: NDArray[np.int_],
    links: Links | None,
) -> tuple[float, float]:
    """The value at a pointer (tilt, azimuth, torsion), and the worst at samples of no larger tilt; NaN: one fails."""
    tilt, azimuth, torsion = at
    rings = np.linspace(tilt, 0.0, 1 + int(np.ceil(tilt / (10 * deg))))
    around = azimuth + 2 * pi * np.arange(12) / 12
    R = rotation.from_tilt_torsion(rings[:, None], around, torsion, turns=True)
    values = map_values(m, quantity, R, mode=mode, links=links)
    worst = values.max() if quantity == "travel" else values.min()
    return float(values[0, 0]), float(worst)


def _place(r: float, azimuth: float) -> tuple[float, float]:
    """Pixels of a point at the share r of the disc's radius."""
    return CENTRE[0] + RADIUS * r * cos(azimuth), CENTRE[1] - RADIUS * r * sin(azimuth)


def _corner(ring: float, sector: float) -> tuple[float, float]:
    return _place(ring / RINGS, 2 * pi * sector / SECTORS)


@lru_cache(maxsize=1)
def _quads() -> list[str]:
    """The outline of each cell as a piece of a path, ring by ring."""
    return [
        numbers_in(
            "M%.1f %.1fL%.1f %.1fL%.1f %.1fL%.1f %.1fZ",
            *(x for corner in ((i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1)) for x in _corner(*corner)),
        )
        for i in range(RINGS)
        for j in range(SECTORS)
    ]


@lru_cache(maxsize=1)
def _dots() -> list[str]:
    """A dot in the middle of each cell, ring by ring: a line without length has round ends."""
    return [numbers_in("M%.1f %.1fh0", *_corner(i + 0.5, j + 0.5)) for i in range(RINGS) for j in range(SECTORS)]


def _rim(m: Mechanism, R: Floats, mode: NDArray[np.int_]) -> str:
    """The borders between cells that close and whose volumes of the normals have unlike signs, as a path."""
    theta = inverse_kinematics(m, R, mode, unreachable="nan")
    closes = np.isfinite(theta).all(axis=-1)
    side = np.zeros(closes.shape)
    side[closes] = np.sign(singularity(m, R[closes], theta[closes]).volume)
    outwards = np.argwhere(side[:-1] * side[1:] < 0).tolist()
    around = np.argwhere(side * np.roll(side, -1, axis=1) < 0).tolist()
    borders = [((i + 1, j), (i + 1, j + 1)) for i, j in outwards] + [((i, j + 1), (i + 1, j + 1)) for i, j in around]
    return "".join(numbers_in("M%.1f %.1fL%.1f %.1f", *_corner(*a), *_corner(*b)) for a, b in borders)


def _text(x: float, y: float, words: str, style: str = "ll-ink ll-m", anchor: str = "middle") -> str:
    return f'<text class="ll-t {style}" x="{number(x)}" y="{number(y)}" style="text-anchor:{anchor}">{words}</text>'


def _axes(farthest: float) -> str:
    """Circles of equal tilt, and what the two coordinates are."""
    parts = []
    for share in (1 / 3, 2 / 3, 1.0):
        parts.append(
            f'<circle class="ll-s ll-quiet" stroke-width="{1.5 if share == 1 else 0.8}" r="{number(RADIUS * share)}" '
            f'cx="{CENTRE[0]:g}" cy="{CENTRE[1]:g}"/>'
        )
        x, y = _place(share, 90 * deg)
        parts.append(_text(x, y + 4, degrees(farthest * share, 0)))
    for azimuth in range(-120, 181, 60):
        x, y = _place(1.13, azimuth * deg)
        parts.append(_text(x, y + 5, f"{azimuth}°".replace("-", "−")))
    parts.append(_text(CENTRE[0], HEIGHT - 7, "from the middle: tilt; around: azimuth of the tilt"))
    return "".join(parts)


def _motors(m: Mechanism) -> str:
    """A triangle with the number of the leg at the azimuth of each motor axis; none where that points up or down."""
    parts = []
    for k, (x, y, _) in enumerate(m.base_axes.tolist(), start=1):
        if hypot(x, y) < 1e-9:
            continue
        azimuth = atan2(y, x)
        corners = [c for r, off in ((0.95, 0.0), (1.01, 0.035), (1.01, -0.035)) for c in _place(r, azimuth + off)]
        parts.append(f'<path class="ll-f ll-leg{k}" d="{numbers_in("M%.1f %.1fL%.1f %.1fL%.1f %.1fZ", *corners)}"/>')
        px, py = _place(0.88, azimuth)
        parts.append(_text(px, py + 5, f"{k}", f"ll-leg{k} ll-m"))
    return "".join(parts)


def _pointer(share: float, azimuth: float) -> str:
    x, y = _place(share, azimuth)
    return (
        f'<circle class="ll-s ll-ink" stroke-width="1.4" stroke-dasharray="5 4" r="{number(RADIUS * share)}" '
        f'cx="{CENTRE[0]:g}" cy="{CENTRE[1]:g}" data-ring="1"/>'
        f'<circle class="ll-o ll-ink" stroke-width="2.5" r="6" cx="{number(x)}" cy="{number(y)}" data-pointer="1"/>'
    )


def _legend(about: Quantity, rim: bool, motors: bool, pointer: bool) -> str:
    """What each shade means, strongest first, and each mark that is on the map."""
    box = '<rect class="ll-ball" width="26" height="18"/>'
    edges = [f"{edge}{about.unit}" for edge in about.edges]
    told = [f"below {edges[0]}", *(f"{a} to {b}" for a, b in pairwise(edges)), f"from {edges[-1]}"]
    rows = [
        (f'{box}<rect class="ll-f ll-leg1" opacity="{shade}" width="26" height="18"/>', words)
        for shade, words in zip(SHADES, told, strict=True)
    ][::-1]
    rows.append((f'{box}<path class="ll-s ll-quiet" stroke-width="2.2" d="M13 9h0"/>', "does not close"))
    if rim:
        rows.append(('<path class="ll-s ll-ink" stroke-width="3" d="M0 9h26"/>', "type 2"))
    if motors:
        rows.append(('<path class="ll-f ll-leg1" d="M6 3h14l-7 12Z"/>', "motor 1, 2, 3"))
    if pointer:
        rows.append(('<circle class="ll-o ll-ink" stroke-width="2.5" r="6" cx="13" cy="9"/>', "pointer"))
    parts = [_text(416, 44, about.name, "ll-ink ll-m ll-cap", "start")]
    for k, (mark, words) in enumerate(rows):
        label = _text(36, 14, words, anchor="start")
        parts.append(f'<g transform="translate(416 {62 + 25 * k})">{mark}{label}</g>')
    return "".join(parts)
