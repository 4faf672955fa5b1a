"""What the platform gives, as bars: which part has which share of it, beside the joint that sliders turn and thicken.

Nothing is computed here: the numbers come in as plain ones, from a function that the caller hands over.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from html import escape
from typing import Any, NamedTuple

import ipywidgets as widgets
import numpy as np
from numpy.typing import ArrayLike

from .._check import Floats, finite, instance, modes, one, shown
from ..errors import SingularError
from ..inverse import inverse_kinematics
from ..mechanism import Mechanism, joint
from .controls import OrientationDials
from .draw import VIEW, draw_joint
from .legs import one_orientation
from .picture import Picture, beside, degrees, number, numbers_in, wrap
from .scrubber import Scrubber, Shown, State

__all__ = ["Measure", "Size", "draw_shares", "scrub_give"]

Measure = Callable[..., tuple[float, float, Sequence[float]]]
"""From R, theta and the sizes by name: mean give and worst give in rad/(N·m), and the shares, which add to 1."""

NAMES, RIGHT, TOP, PITCH = 236.0, 58.0, 62.0, 24.0  # room for names, for the last number and for the head; pixels


class Size(NamedTuple):
    """A slider for a length: what it is called, where it starts, and the lengths it can take, in m."""

    label: str
    start: float
    choices: Sequence[float]


def draw_shares(names: Sequence[str], shares: ArrayLike, told: str, *, width: float = 470.0) -> Picture:
    """Draw one bar for each share, on a scale from 0 to 100 % that never changes; the longest is the dark one.

    Parameters
    ----------
    names : sequence of str
        What the parts are called.
    shares : (n,)
        Between 0 and 1.
    told : str
        The line above the bars.
    width : float
        Pixels.

    Raises ValueError for shares out of [0, 1], another number of them than of names, or no room for the bars;
    TypeError for names or a line that are no text.
    """
    if isinstance(names, str) or not isinstance(names, Sequence) or not all(isinstance(name, str) for name in names):
        raise TypeError(f"names is {shown(names)}; give a list of texts, one for each share")
    instance(told, "told", str)
    if not 350 <= one(width, "width") <= 10_000:
        raise ValueError(f"width is {width:g}; it is in pixels, up to 10000, and below 350 there is no room for bars")
    values = finite(shares, "shares", len(names))
    if values.ndim != 1 or (values < 0).any() or (values > 1 + 1e-9).any():
        raise ValueError(f"shares is {np.round(values, 3).tolist()}; it must be one row of numbers in [0, 1]")
    height = TOP + PITCH * len(names) + 10
    scale = width - NAMES - RIGHT
    parts = [f'<text class="ll-t ll-cap ll-ink ll-m" x="14" y="24">{escape(told)}</text>']
    for percent in (0, 25, 50, 75, 100):
        x = NAMES + scale * percent / 100
        path = numbers_in("M%.2f %.2fV%.2f", x, TOP - 4, height - 10)
        parts.append(f'<path class="ll-s ll-quiet" stroke-width="{1.5 if percent == 0 else 0.6}" d="{path}"/>')
        parts.append(_text(x, TOP - 10, f"{percent} %", "ll-sub"))
    for k, (name, value) in enumerate(zip(names, values.tolist(), strict=True)):
        y = TOP + PITCH * k
        role = "ll-ink" if value == values.max() else "ll-quiet"
        place = numbers_in('x="%.2f" y="%.2f" width="%.2f" height="%.2f"', NAMES, y + 4, scale * value, PITCH - 9)
        parts.append(f'<rect class="ll-f {role}" {place} data-share="{number(value, 4)}"/>')
        parts.append(_text(NAMES - 8, y + 17, escape(name), "ll-m", "end"))
        parts.append(_text(NAMES + scale * value + 6, y + 17, f"{number(100 * value, 1)} %", "ll-m", "start"))
    large = [f"{name} {number(100 * v, 1)} %" for name, v in zip(names, values.tolist(), strict=True) if v >= 0.005]
    return wrap("".join(parts), width, height, "Shares of the parts", f"{told}: {'; '.join(large)}.")


def _text(x: float, y: float, text: str, style: str, anchor: str = "middle") -> str:
    place = numbers_in('x="%.2f" y="%.2f"', x, y)
    return f'<text class="ll-t ll-ink {style}" {place} style="text-anchor:{anchor}">{text}</text>'


def scrub_give(
    m: Mechanism,
    measure: Measure,
    names: Sequence[str],
    sizes: Mapping[str, Size],
    *,
    mode: ArrayLike = (1, 1, 1),
    R: ArrayLike | object | None = None,
    view: tuple[float, float] = VIEW,
    size: float = 336.0,
) -> Scrubber:
    """Turn the platform and change lengths, and watch how much it gives and which part has which share of that.

    Controls for `set`: the orientation as in `scrub_joint`, in radians; each of `sizes` by its key, in m. Where a leg
    cannot close, or the pose is singular, the picture says so instead.

    Parameters
    ----------
    m : Mechanism
        The joint.
    measure : function
        Called as ``measure(R, theta, **lengths)``; see `Measure`.
    names : sequence of str
        What the shares belong to.
    sizes : mapping from name to Size
        The lengths that have sliders; their names are arguments of `measure`.
    mode, R, view, size
        As for `scrub_joint`.

    Raises
    ------
    ValueError, TypeError
        As `scrub_joint`; a measure that is no function; a start that is none of its choices.
    """
    joint(m)
    if not callable(measure):
        raise TypeError(f"measure is {shown(measure)}; it must be a function of R, theta and the sizes")
    instance(sizes, "sizes", Mapping, "give a dict of name and Size")  # type: ignore[type-abstract]
    orientation = OrientationDials(np.eye(3) if R is None else one_orientation(R))
    elbows = modes(mode)
    dials = {key: _length_slider(instance(entry, f"sizes[{key!r}]", Size)) for key, entry in sizes.items()}

    def show(state: State) -> Shown:
        turn = state["R"]
        theta = inverse_kinematics(m, turn, elbows, unreachable="nan")
        shown_joint = draw_joint(m, turn, theta, view=view, size=size, frames=())
        picture = beside([shown_joint, _bars(measure, names, turn, theta, {key: state[key] for key in sizes})])
        return picture, ""

    return Scrubber(dials, show, orientation=orientation, wide=True)


def _bars(measure: Measure, names: Sequence[str], R: Floats, theta: Floats, lengths: Mapping[str, Any]) -> Picture:
    """The bars at one pose, or empty ones that say why there are none."""
    if np.isnan(theta).any():
        return draw_shares(names, np.zeros(len(names)), f"Leg {int(np.isnan(theta).argmax()) + 1} cannot close here")
    try:
        mean, worst, parts = measure(R, theta, **lengths)
    except SingularError:
        return draw_shares(names, np.zeros(len(names)), "Singular pose: the platform turns freely")
    told = f"1 N·m turns the platform by {degrees(mean, 2)} (mean), {degrees(worst, 2)} (worst)"
    return draw_shares(names, parts, told)


def _length_slider(entry: Size) -> widgets.SelectionSlider:
    options = [(number(1e3 * value, 1), float(value)) for value in entry.choices]
    nearest = min((value for _, value in options), key=lambda value: abs(value - entry.start))
    if abs(nearest - entry.start) > 1e-9:  # rounding; a nanometre is nobody's wish
        raise ValueError(
            f"{entry.label} starts at {entry.start:g} m, which is none of its choices; the nearest is {nearest:g} m"
        )
    return widgets.SelectionSlider(
        value=nearest,
        options=options,
        description=f"{entry.label} / mm",
        continuous_update=True,
        style={"description_width": "150px"},
        layout={"width": "auto", "margin": "0 2px"},
    )
