"""Where the base frame and the platform frame lie, once the directions of the nine axes are known."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .. import rotation
from .._check import Floats
from ..mechanism import deg

__all__ = ["Placing", "azimuths", "place", "runs_counter_clockwise"]

NEAR = 1 * deg
"""Axes closer than this count as one line, and a cone this near to 90° as flat: bearings measured on a bench
scatter by some tenths of a degree, and no joint is built with a cone as narrow as 1°."""


class Placing(NamedTuple):
    """base : (3, 3), CAD to base coordinates. platform : (3, 3), columns are the platform's axes in the CAD frame.

    frames : (3, 3, 3), the leg frames in base coordinates. eta : (3,), azimuths of the legs. coaxial : whether all
    motor axes are one line. flat : whether they lie in one plane across z, so that the platform had to tell up.
    """

    base: Floats
    platform: Floats
    frames: Floats
    eta: Floats
    coaxial: bool
    flat: bool


def place(u: Floats, p: Floats, up: Floats | None, pointing: Floats | None, twist: float) -> Placing:
    """Frames for motor axes u and platform axes p, rows of (3, 3) in the CAD frame, as `from_axis_lines` has them.

    `up` and `pointing` are unit vectors of the CAD frame, or None.
    """
    coaxial = bool(np.abs(np.cross(u, u[0])).max() < np.sin(NEAR))
    q = _round(p)
    q = q / np.linalg.norm(q)
    z, flat = _up(u, coaxial)
    told_by_base = pointing is None and abs(np.dot(q, p[0])) < np.sin(NEAR)  # a flat platform has no side of its own
    if pointing is not None:
        q = q * _told(pointing, q, "pointing", "platform")
    elif not told_by_base:
        q = q * _side(q, p[0])
    if up is not None:
        z = z * _told(up, z, "up", "motor")
    elif flat:
        z = z * _side(z, _round(u)) * (1.0 if told_by_base else _side(q, _round(p)))
    if told_by_base:
        q = q * _side(q, _round(p)) * _side(z, _round(u))
    platform = _frame(q, p[0]) @ rotation.rz(-twist)
    if coaxial:
        base = _frame(z, np.eye(3)[int(np.argmin(np.abs(z)))]).T
        torsion = rotation.to_tilt_torsion(base @ platform)[2]
        base = rotation.rz(-torsion) @ base
        eta = azimuths(p @ platform) - twist
        out = np.stack([np.cos(eta), np.sin(eta), np.zeros(3)], axis=1)
        meridians = -np.sign(u @ z)[:, None] * out
    else:
        base = _frame(z, u[0]).T
        eta = azimuths(u @ base.T)
        meridians = np.tile([0.0, 0.0, 1.0], (3, 1))
    eta[0] = 0.0  # by the choice of x, of platform x on a coaxial joint; without its rounding
    frames = [_frame(axis, meridian) for axis, meridian in zip(u @ base.T, meridians, strict=True)]
    return Placing(base, platform, np.array(frames), eta, coaxial, flat and up is None)


def azimuths(axes: Floats) -> Floats:
    """Directions round z, (...) in radians in (-pi, pi], of axes (..., 3)."""
    return np.asarray(np.arctan2(axes[..., 1], axes[..., 0]))


def runs_counter_clockwise(axes: Floats) -> bool | None:
    """Whether three axes, rows of (3, 3), are passed counter-clockwise seen from +z; None where two are one line."""
    area = float(_round(axes)[2])
    return None if abs(area) < np.sin(NEAR) ** 2 else area > 0


def _round(axes: Floats) -> Floats:
    """A vector along the axis of the cone through three axes, from whose tip they are passed counter-clockwise."""
    return np.asarray(np.cross(axes[1] - axes[0], axes[2] - axes[0]))


def _up(u: Floats, coaxial: bool) -> tuple[Floats, bool]:
    """The axis of the cone through three motor axes, away from them; and whether they lie flat, the sign left open.

    Of the many cones through two axes, where two of the three are one line, it is the narrowest.
    """
    middle = u.mean(axis=0)
    if coaxial:
        return -middle / np.linalg.norm(middle), False
    _, spread, Vt = np.linalg.svd(u - middle)
    free = Vt[1:] if spread[1] < np.sin(NEAR) else Vt[2:]
    away = -free.T @ (free @ middle)
    if np.linalg.norm(away) < np.sin(NEAR):
        return np.asarray(free[-1]), True
    return np.asarray(away / np.linalg.norm(away)), False


def _told(given: Floats, axis: Floats, name: str, kind: str) -> float:
    """As `_side`, for a direction that the caller gave; an error if it does not tell."""
    if abs(np.dot(given, axis)) < np.sin(5 * deg):
        raise ValueError(
            f"{name} is at right angles, to 5°, to the axis of the cone of the three {kind} axes, so that it does "
            "not tell the two ends of that axis apart; give a CAD direction that is roughly along it"
        )
    return _side(given, axis)


def _side(a: Floats, b: Floats) -> float:
    """+1 where two vectors point to the same side, -1 where not."""
    return 1.0 if np.dot(a, b) >= 0 else -1.0


def _frame(z: Floats, meridian: Floats) -> Floats:
    """Columns x, y, z with z given and x in the half plane of z and `meridian`."""
    x = meridian - (meridian @ z) * z
    x = x / np.linalg.norm(x)
    return np.column_stack([x, np.cross(z, x), z])
