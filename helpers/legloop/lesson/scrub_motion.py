"""A plan of motion as a film: the joint at a moment, beside what its motors do over time."""

from __future__ import annotations

from typing import Any

import ipywidgets as widgets
import numpy as np
from numpy.typing import ArrayLike

from .._check import finite, modes
from ..forward import forward_kinematics
from ..mechanism import Mechanism, deg, joint
from ..reach import reach_margin
from .controls import table
from .draw import VIEW, draw_joint
from .legs import one_orientation
from .picture import beside, degrees, number, stacked
from .scrubber import Scrubber, Shown, State
from .series import draw_series

__all__ = ["scrub_motion"]

FRAMES = 240  # as many as a hand can tell apart on a slider


def scrub_motion(
    m: Mechanism,
    t: ArrayLike,
    theta: ArrayLike,
    start: ArrayLike | object,
    *,
    speed: ArrayLike = (),
    mode: ArrayLike = (1, 1, 1),
    view: tuple[float, float] = VIEW,
    size: float = 400.0,
) -> Scrubber:
    """A slider over time, and a button that plays it; angles, speeds and reach margins of the three legs.

    Control for `set`: frame, a whole number from 0 on.

    Parameters
    ----------
    m : Mechanism
        The joint.
    t : (n,)
        Times in seconds, evenly spaced, n at least 3.
    theta : (n, 3)
        Motor angles in radians.
    start : (3, 3)
        Orientation near that at the first of them; from there the others follow by forward kinematics.
    speed : numbers
        Limits of speed to draw, in rad/s.
    mode : (3,)
        Working mode.
    view, size
        As for `draw_joint`.

    Raises
    ------
    ValueError, TypeError
        What is no joint, shapes that do not fit, times that do not increase, a mode that is not three times +1 or
        -1, a start that is no rotation; and as `forward_kinematics`.
    """
    joint(m)
    signs = modes(mode)
    times, angles = finite(t, "t"), finite(theta, "theta", 3)
    if times.ndim != 1 or len(times) < 3 or angles.shape != (len(times), 3):
        raise ValueError(
            f"t and theta have shapes {times.shape} and {angles.shape}; give (n,) and (n, 3), n at least 3"
        )
    if signs.shape != (3,):
        raise ValueError(f"mode has shape {signs.shape}; the joint moves in one mode, so its shape must be (3,)")
    if (np.diff(times) <= 0).any():
        k = int(np.argmax(np.diff(times) <= 0)) + 1
        raise ValueError(f"t[{k}] is {times[k]:g} s, not above t[{k - 1}], {times[k - 1]:g} s; times must increase")
    rows = np.unique(np.linspace(0, len(times) - 1, FRAMES).astype(int))
    near: Any = one_orientation(start)
    poses = []
    for row in rows:
        near = forward_kinematics(m, angles[row], near=near, mode=signs)
        poses.append(near)
    held = np.array(poses)
    margins = reach_margin(m, held)
    rates = np.gradient(angles, times, axis=0)
    last = len(rows) - 1
    slider = widgets.IntSlider(value=0, min=0, max=last, description="frame", style={"description_width": "128px"})
    lines = finite(speed, "speed").ravel()
    marks = np.concatenate([lines, -lines]) / deg

    def show(state: State) -> Shown:
        k = state["frame"]
        row, at = rows[k], float(times[rows[k]])
        stands = draw_joint(m, held[k], angles[row], view=view, size=size, frames=("platform",))
        charts = stacked(
            [
                draw_series(times, angles / deg, at, name="motor angle", unit="°"),
                draw_series(times, rates / deg, at, name="motor speed", unit="°/s", limits=marks),
                draw_series(times[rows], margins / deg, at, name="reach margin", unit="°"),
            ],
            gap=4.0,
        )
        head = (f"{number(at)} s", "angle", "speed per second", "reach margin")
        cells = [
            [f"leg {i + 1}", *(degrees(v, 2) for v in (angles[row, i], rates[row, i], margins[k, i]))]
            for i in range(3)
        ]
        return beside([stands, charts]), table(head, cells)

    scrubber = Scrubber({"frame": slider}, show, wide=True)
    play = widgets.Play(value=0, min=0, max=last, interval=60)
    widgets.jslink((play, "value"), (slider, "value"))  # in the front end: Python hears of the slider alone
    scrubber.widget = widgets.VBox([play, scrubber.widget])
    return scrubber
