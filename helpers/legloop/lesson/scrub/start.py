"""Controls that several scrubbers have: from where the picture is seen, and which orientation it starts with."""

from __future__ import annotations

from math import atan2, pi
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ...mechanism import Mechanism, deg, joint
from ..controls import OrientationDials, dial
from ..legs import leg_index, one_orientation
from ..scene import viewed
from ..scrubber import State

__all__ = ["facing", "start_orientation", "view_dials", "view_of"]


def start_orientation(R: ArrayLike | object | None) -> OrientationDials:
    """Sliders for the orientation that start at R, or at home."""
    return OrientationDials(np.eye(3) if R is None else one_orientation(R))


def view_dials(view: tuple[float, float]) -> dict[str, Any]:
    """Sliders for the direction that the picture is seen from."""
    azimuth, elevation = viewed(view)
    return {
        "view_azimuth": dial("view azimuth", azimuth, -pi, pi, 2.0),
        "view_elevation": dial("view elevation", elevation, -pi / 2, pi / 2, 2.0),
    }


def view_of(state: State) -> tuple[float, float]:
    """Azimuth and elevation of the view, as the sliders say."""
    return state["view_azimuth"], state["view_elevation"]


def facing(m: Mechanism, leg: int, aside: float) -> tuple[float, float]:
    """A view of one leg from outside, or from a little aside of it."""
    x, y, _ = joint(m).base_axes[leg_index(leg)].tolist()
    return (atan2(y, x) + aside + pi) % (2 * pi) - pi, 12 * deg
