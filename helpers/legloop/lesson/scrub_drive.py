"""A scrubber for a belt drive: turn it, change its pulleys, and see geometry and torque follow."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Sequence
from math import pi
from typing import Any

import ipywidgets as widgets
import numpy as np
from numpy.typing import ArrayLike

from .._check import finite, one, shown
from .belt import draw_belt, draw_torque
from .controls import dial, listed, table
from .picture import Picture, beside, degrees, number
from .scrubber import Scrubber, Shown, State

__all__ = ["scrub_drive"]


def scrub_drive(
    make: Callable[[int, int], Any],
    curve: ArrayLike,
    need: tuple[float, float],
    *,
    clamp: float,
    teeth: tuple[int, int] = (20, 60),
    motor_teeth: Sequence[int] = tuple(range(10, 41)),
    joint_teeth: Sequence[int] = tuple(range(20, 97)),
) -> Scrubber:
    """Two pulleys with a clamped belt, beside the torque that they give the joint.

    Controls for `set`: theta, how far the joint stands from mid travel, in radians; motor_teeth, joint_teeth.

    Parameters
    ----------
    make : function
        Gives a `BeltDrive` for the teeth of motor and joint pulley. Its warnings are shown as the notes of the drive.
    curve : (n, 2)
        Speed of the motor in rad/s and its torque in N·m.
    need : two floats
        Speed of the joint in rad/s and torque in N·m, margin included, that are asked for.
    clamp : float
        Length of the clamp along the belt, in metres.
    teeth : two of int
        What the sliders start at.
    motor_teeth, joint_teeth : sequence of int
        What the sliders offer.

    Raises
    ------
    ValueError, TypeError
        A `make` that is no function, a curve that is not (n, 2), teeth that the sliders do not offer.
    """
    if not callable(make):
        raise TypeError(f"make is {shown(make)}; it must be a function of the teeth of both pulleys")
    rows, _ = finite(curve, "curve", 2), one(clamp, "clamp")
    if rows.ndim != 2 or len(rows) < 2:
        raise ValueError(f"curve has shape {rows.shape}; give rows of speed (rad/s) and torque (N·m), at least two")
    for name, pair in (("need", need), ("teeth", teeth)):
        if finite(pair, name, 2).shape != (2,):
            raise ValueError(f"{name} is {shown(pair)}; give two numbers")
    dials = {
        "theta": dial("joint turn", 0.0, -pi / 2, pi / 2, 0.5),
        "motor_teeth": _offer("teeth, motor", teeth[0], motor_teeth),
        "joint_teeth": _offer("teeth, joint", teeth[1], joint_teeth),
    }

    def made(motor: int, joint: int) -> Any:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # they are the notes, and shown below
            return make(motor, joint)

    largest = made(max(motor_teeth), max(joint_teeth))
    room = largest.centre_distance + sum(largest.pitch_diameters) / 2, max(largest.pitch_diameters)

    def show(state: State) -> Shown:
        drive = made(state["motor_teeth"], state["joint_teeth"])
        pulleys = draw_belt(
            (drive.motor_teeth, drive.joint_teeth),
            drive.pitch_diameters,
            drive.centre_distance,
            drive.lean,
            turn=state["theta"],
            clamp=clamp,
            room=room,
        )
        at_joint = np.stack([drive.joint_speed(rows[:, 0]), drive.joint_torque(rows[:, 1])], axis=1)
        torque = draw_torque(at_joint, need, (3 * need[0], 3 * need[1]))
        row = (
            number(drive.ratio, 3),
            f"{number(1e3 * drive.belt_length)} mm = {number(drive.belt_length / drive.pitch)} teeth",
            number(drive.teeth_in_mesh),
            degrees(drive.step_angle, 4),
            f"{drive.steps(state['theta'])}",
            degrees(drive.open_belt(0.0, clamp=clamp).most),
        )
        head = ("", "ratio", "closed belt", "teeth in mesh", "one step", "steps", "travel, clamped")
        notes = "".join(f"<div>Note: {note}.</div>" for note in drive.notes)
        picture = beside([pulleys, torque])
        told = "\n".join([picture.alt, *(f"Note: {note}." for note in drive.notes)])
        return Picture(picture.svg, told), table(head, [["drive", *row]]) + notes

    return Scrubber(dials, show, wide=True)


def _offer(label: str, value: int, options: Sequence[int]) -> widgets.SelectionSlider:
    """A slider over whole numbers; ValueError for a value that is none of them."""
    listed(value, label, options)
    return widgets.SelectionSlider(
        value=value,
        options=[(str(option), option) for option in options],
        description=label,
        continuous_update=True,
        style={"description_width": "128px"},
        layout={"width": "auto", "margin": "0 2px"},
    )
