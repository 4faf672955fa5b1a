"""A direction of the unknowns, and a pose, in words for people."""

from __future__ import annotations

import numpy as np

from ..._check import Floats
from ...mechanism import deg

__all__ = ["in_words", "pose_in_words"]

_SHARE = 0.25  # a group with less of the unit vector is not told: its square is 6 % of the whole
_FRAMES = {"base": "base frame", "platform": "platform frame"}
_LEGS = {"zero": "zeros of the motors", "proximal": "first links", "distal": "second links"}
_AXES = {"base_axes": "motor axes", "platform_axes": "platform axes"}
_ORDER = (*_FRAMES, "zero", "drift", "proximal", "distal", *_AXES)


def in_words(parts: dict[str, Floats]) -> str:
    """What turns against what, the frames first: 'a turn of the base frame about its z axis, traded against ...'."""
    sizes = {name: float(np.linalg.norm(part)) for name, part in parts.items()}
    told = [_part(name, parts[name]) for name in _ORDER if sizes.get(name, 0.0) >= _SHARE]
    return told[0] if len(told) == 1 else f"{told[0]}, traded against {', '.join(told[1:])}"


def pose_in_words(spot: Floats) -> str:
    """Tilt, azimuth and torsion, (3,) in radians."""
    tilt, azimuth, torsion = (round(float(angle) / deg) for angle in spot)
    return f"tilt {tilt}° towards {azimuth}° with torsion {torsion:+d}°".replace("+0°", "0°")


def _part(name: str, part: Floats) -> str:
    if name in _FRAMES:
        return f"a turn of the {_FRAMES[name]} about {_axis(part)}"
    if name == "drift":
        return "the drift of the heading"
    if name in _LEGS:
        return f"the {_LEGS[name]} ({_each(part)})"
    return f"the {_AXES[name]} ({_each(np.linalg.norm(part.reshape(3, 2), axis=1))})"


def _axis(vector: Floats) -> str:
    axis = vector / np.linalg.norm(vector)
    for k in range(3):
        if abs(axis[k]) > 0.98:  # within 11.5°: nobody tells it better with a sensor in the hand
            return "its " + "xyz"[k] + " axis"
    axis = axis * np.sign(axis[np.argmax(np.abs(axis))])
    return "the axis (" + ", ".join(f"{c + 0.0:.1f}" for c in np.round(axis, 1)) + ")"


def _each(shares: Floats) -> str:
    """'all alike', 'all', or which legs."""
    top = np.abs(shares).max()
    if np.abs(shares - shares.mean()).max() < 0.1 * top:
        return "all alike"
    which = np.flatnonzero(np.abs(shares) > 0.3 * top)
    return "all" if len(which) == 3 else "leg " + " and ".join(str(k + 1) for k in which)
