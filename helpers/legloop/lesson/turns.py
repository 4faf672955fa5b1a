"""Pictures of turns: how the axes of a frame travel when it is turned, once or several times."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import pi

import numpy as np
from numpy.typing import ArrayLike

from .. import rotation
from .._check import Floats, angles, choice, flag, instance, rotations, shown
from ..leg import arc_between
from .arcs import circle
from .picture import Picture, degrees, number, wrap
from .scene import VIEW, Scene

__all__ = ["draw_frames", "draw_turns", "pairs", "turn_matrix"]

Turn = tuple[str, float]

_MATRIX = {"x": rotation.rx, "y": rotation.ry, "z": rotation.rz}


def turn_matrix(turns: Sequence[Turn], *, moving: bool = False) -> Floats:
    """The rotation (3, 3) of turns made one after another, each an axis letter and an angle in radians.

    About the fixed axes the later turn stands on the left, ``R = R_2 R_1``; about the axes that move along
    (``moving=True``) on the right, ``R = R_1 R_2``. Raises ValueError for a letter that is not x, y or z, and for an
    angle of more than a turn.
    """
    R, along = np.eye(3), flag(moving, "moving")
    for axis, angle in pairs(turns, "turns"):
        choice(axis, "axis", tuple(_MATRIX))
        step = _MATRIX[axis](angles(angle, "angle", (), -2 * np.pi, 2 * np.pi, "[-2 pi, 2 pi]"))
        R = R @ step if along else step @ R
    return R


def pairs(turns: object, name: str) -> Sequence[Turn]:
    """Turns as a sequence of pairs; TypeError for anything else."""
    if not isinstance(turns, Sequence) or not all(
        isinstance(turn, tuple | list) and len(turn) == 2 for turn in turns
    ):
        raise TypeError(f"{name} is {shown(turns)}; give pairs of an axis and an angle, as [('x', 90*deg)]")
    return turns


def draw_turns(
    turns: Sequence[Turn],
    *,
    moving: bool = False,
    view: tuple[float, float] = VIEW,
    size: float = 360.0,
    title: str = "",
    caption: str = "",
) -> Picture:
    """Draw the fixed triad, the triad after the turns, and the circle arcs on which its tips travel.

    Parameters
    ----------
    turns : sequence of (axis, angle)
        Axis "x", "y" or "z", angle in radians, in the order in which they are made.
    moving : bool
        False: about the axes of the base. True: about the axes of the frame as it stands by then.
    view, size, title, caption
        As for `draw_joint`.

    Raises ValueError for an axis that is not x, y or z, an angle that is not one finite number, a view or size out of
    range; TypeError for what are no pairs.
    """
    R = turn_matrix(turns, moving=moving)
    scene = Scene(size, view, margin=40.0)
    scene.ball()
    scene.triad(np.eye(3), 1.0, "", ("quiet",) * 3, 1.5)
    primes = ("", "′", "″", "‴")[min(len(turns), 3)]
    scene.triad(R, 1.0, primes, ("leg1", "leg2", "leg3"), 3.5)
    for k, (axis, angle) in enumerate(turns):
        before = turn_matrix(turns[:k], moving=moving)
        pole = before[:, "xyz".index(axis)] if moving else np.eye(3)["xyz".index(axis)]
        for i, tip in enumerate(before.T):
            cone = float(arc_between(pole, tip))
            if min(cone, pi - cone) > 1e-6 and angle:
                path = circle(pole, cone, tip, float(angle))
                scene.thin(path, f"leg{i + 1}", 2.0, dash="" if k == 0 else "7 4")
    steps = ", then ".join(f"{axis} by {degrees(float(angle))}" for axis, angle in turns)
    kind = "moving" if moving else "fixed"
    columns = "; ".join(
        f"{name}{primes} = ({', '.join(number(c) for c in column)})"
        for name, column in zip("xyz", R.T.tolist(), strict=True)
    )
    alt = f"Turns about {kind} axes: {steps}; {columns}."
    return wrap(scene.body(), size, size, title or f"Turn about {steps}", alt, caption)


def draw_frames(
    frames: Mapping[str, ArrayLike | object],
    *,
    view: tuple[float, float] = VIEW,
    size: float = 360.0,
    title: str = "Frames with one origin",
    caption: str = "",
) -> Picture:
    """Draw up to four frames with one origin as triads, their axes labelled with the name of the frame.

    Parameters
    ----------
    frames : mapping from name to (3, 3)
        For each frame the rotation whose columns are its axes, seen from the frame that the view belongs to.
    view, size, title, caption
        As for `draw_joint`.

    Raises ValueError for a matrix that is no rotation, no frame, or more than four; TypeError for no mapping.
    """
    looks = [("quiet", 1.5, 1.0), ("leg1", 3.5, 1.0), ("leg2", 3.0, 0.9), ("leg3", 3.0, 0.8)]
    instance(frames, "frames", Mapping, "give a dict of name and rotation")  # type: ignore[type-abstract]
    if not 1 <= len(frames) <= len(looks):
        raise ValueError(f"{len(frames)} frames given; one to {len(looks)} can be told apart in one picture")
    scene = Scene(size, view, margin=40.0)
    scene.ball()
    words = []
    for (name, frame), (role, width, length) in zip(frames.items(), looks, strict=False):
        R = rotations(frame, f"frame {name}")
        scene.triad(R, length, "", (role,) * 3, width, sub=name)
        axes = zip("xyz", R.T.tolist(), strict=True)
        words += [f"{axis}_{name} = ({', '.join(number(c) for c in column)})" for axis, column in axes]
    return wrap(scene.body(), size, size, title, "; ".join(words) + ".", caption)
