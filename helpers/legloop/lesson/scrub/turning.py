"""Turns and frames: one turn, two in either order, one pose in two frames; each with its matrix."""

from __future__ import annotations

from collections.abc import Mapping
from math import pi
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ... import rotation
from ..._check import Floats, instance
from ...convention import Convention
from ...mechanism import deg
from ..controls import choice, dial, table
from ..draw import VIEW
from ..picture import Picture, beside, degrees, number
from ..scrubber import Scrubber, Shown, State
from ..turns import draw_frames, draw_turns, pairs, turn_matrix
from .start import start_orientation, view_dials, view_of

__all__ = ["scrub_frames", "scrub_order", "scrub_rotation"]

_AXES = [("x", "x"), ("y", "y"), ("z", "z")]


def scrub_rotation(
    axis: str = "z", angle: float = 40 * deg, *, view: tuple[float, float] = VIEW, size: float = 360.0
) -> Scrubber:
    """One elementary turn: the turned triad, the arcs its tips travel on, and the matrix.

    Controls for `set`: axis ("x", "y", "z"), angle, view_azimuth, view_elevation; angles in radians. ValueError,
    TypeError for another axis, an angle outside [-pi, pi], a view or size out of range.
    """
    dials = {"axis": choice("axis", axis, _AXES), "angle": dial("angle", angle, -pi, pi), **view_dials(view)}

    def show(state: State) -> Shown:
        turns = [(state["axis"], state["angle"])]
        picture = draw_turns(turns, view=view_of(state), size=size)
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
    view_elevation; angles in radians. ValueError, TypeError for what are no such pairs, as for `scrub_rotation`.
    """
    pairs((first, second), "first, second")
    dials = {
        "axis_a": choice("axis of a", first[0], _AXES),
        "angle_a": dial("angle of a", first[1], -pi, pi),
        "axis_b": choice("axis of b", second[0], _AXES),
        "angle_b": dial("angle of b", second[1], -pi, pi),
        **view_dials(view),
    }

    def show(state: State) -> Shown:
        a, b = (state["axis_a"], state["angle_a"]), (state["axis_b"], state["angle_b"])
        orders = {"Ra Rb": ("b first, then a", [b, a]), "Rb Ra": ("a first, then b", [a, b])}
        look: dict[str, Any] = {"view": view_of(state), "size": size}
        picture = beside(
            [draw_turns(turns, caption=f"{name}: {told}", **look) for name, (told, turns) in orders.items()]
        )
        tables = _matrix_tables({name: turn_matrix(turns) for name, (_, turns) in orders.items()}, "″", size)
        apart = float(rotation.angle_between(turn_matrix([b, a]), turn_matrix([a, b])))
        note = f"The two results are {degrees(apart)} apart."
        return Picture(picture.svg, f"{picture.alt}\n{note}"), tables + note

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
    radians, R (3, 3). Raises TypeError for what is no `Convention`, ValueError for no rotation, a view or size out of
    range.
    """
    instance(convention, "convention", Convention)
    orientation = start_orientation(R)

    def show(state: State) -> Shown:
        R = state["R"]
        ends = {  # the columns of each triad are its axes in our base frame, to which the view belongs
            "on the base": {"ours": np.eye(3), "theirs": convention.base.T},
            "on the platform": {"ours": R, "theirs": R @ convention.platform.T},
        }
        picture = beside([draw_frames(ends[end], view=view_of(state), size=size, caption=end) for end in ends])
        told = {"R ours": R, "R theirs": convention.orientation_to_theirs(R)}
        angles = [[name, *map(degrees, map(float, rotation.to_rpy(matrix)))] for name, matrix in told.items()]
        note = "; ".join(f"{name}: {', '.join(row)}" for name, *row in angles)
        below = _matrix_tables(told, "′", size) + table(("", "roll", "pitch", "yaw"), angles)
        return Picture(picture.svg, f"{picture.alt}\nRoll, pitch, yaw of {note}."), below

    return Scrubber(view_dials(view), show, orientation=orientation, wide=True)


def _matrix_tables(matrices: Mapping[str, Floats], prime: str, size: float) -> str:
    """A table for each matrix, each under its picture in a row of square ones."""
    tables = [_matrix_table(R, name, prime) for name, R in matrices.items()]
    inner = "".join(f'<div style="width:{size + 12:g}px">{one}</div>' for one in tables)
    return f'<div style="display:flex">{inner}</div>'


def _matrix_table(R: Floats, name: str, prime: str) -> str:
    rows = [[axis, *(number(value, 3) for value in row)] for axis, row in zip("xyz", R.tolist(), strict=True)]
    return table((name, *(f"{axis}{prime}" for axis in "xyz")), rows)
