"""The whole joint, turned by sliders."""

from __future__ import annotations

from math import isnan, pi
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, modes, shown
from ...inverse import WORKING_MODES, closure_error, inverse_kinematics
from ...mechanism import Mechanism
from ...mechanism import joint as checked
from ..controls import choice, table
from ..draw import VIEW, draw_joint, leg_states
from ..legs import SIDES, WALK, one_orientation
from ..picture import beside, degrees
from ..scrubber import Scrubber, Shown, State
from .start import start_orientation, view_dials, view_of

__all__ = ["joint_rows", "scrub_joint"]

_COLUMNS = ("motor", "from home", "elbow", "reach margin", "closure residual")


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
    """Turn the platform with sliders and watch legs, motor angles, reach margins and closure.

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
        More arguments of `draw_joint`, such as ``legs=(0,)``, ``cones=True``, or ``walk=False`` for no arrows.

    Raises
    ------
    ValueError, TypeError
        What is no joint, a mode that is not three times +1 or -1, no rotation, captions that are not two, a view or
        size out of range, and as `draw_joint`.
    """
    checked(m)
    if other is None:
        joints = {"": m}
    else:
        named = ("first joint", "second joint") if captions is None else captions
        if not isinstance(named, tuple | list) or not all(isinstance(name, str) for name in named):
            raise TypeError(f"captions is {shown(captions)}; give two names, one for each joint")
        if len(named) != 2 or named[0] == named[1]:
            raise ValueError(f"captions is {shown(captions)}; give two different names, one for each joint")
        joints = dict(zip(named, (m, checked(other)), strict=True))
    orientation = start_orientation(R)
    signs = modes(mode)
    if signs.shape != (3,):
        raise ValueError(f"mode has shape {signs.shape}; a picture shows one mode, so its shape must be (3,)")
    start = tuple(signs.astype(int).tolist())
    options = [
        (f"{'  '.join(f'{s:+d}' for s in row)}  ({', '.join(SIDES[s] for s in row)})".replace("-", "−"), tuple(row))
        for row in WORKING_MODES.tolist()
    ]
    dials = {"mode": choice("working mode", start, options), **view_dials(view)}

    def show(state: State) -> Shown:
        pictures, tables = [], ""
        for name, joint in joints.items():
            theta = inverse_kinematics(joint, state["R"], state["mode"], unreachable="nan")
            look = {"view": view_of(state), "size": size, "caption": name, "walk": True, **drawing}
            pictures.append(draw_joint(joint, state["R"], theta, **look))
            tables += table((name, *_COLUMNS), joint_rows(joint, state["R"], state["mode"]))
        return (pictures[0] if other is None else beside(pictures)), f"{tables}<p>Elbow: {WALK}.</p>"

    return Scrubber(dials, show, orientation=orientation, wide=other is not None)


def joint_rows(m: Mechanism, R: Floats, mode: ArrayLike) -> list[list[str]]:
    """One row for each leg: name, motor angle, change from home, elbow, reach margin, closure residual.

    For R (3, 3) and mode (3,); angles are in degrees, the elbow is right or left on the walk of `legs.WALK`. The
    residual is `closure_error` of R and the very angles that the row shows. A leg that cannot close says how
    far it is short. Errors as for `inverse_kinematics`, and ValueError for more than one orientation.
    """
    R = one_orientation(R)
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
        rows.append(
            [
                name,
                degrees(state.theta, 2),
                "—" if isnan(change) else degrees(float(change), 2, signed=True),
                state.side,
                degrees(state.margin),
                f"{abs(residual[i]):.1e}",
            ]
        )
    return rows
