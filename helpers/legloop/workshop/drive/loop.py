"""The closed belt round two pulleys: its exact length, and the distance of the shafts at which it is taut."""

from __future__ import annotations

import math

from ..._check import whole
from ..units import mm
from .checks import length

__all__ = ["FEWEST", "around", "pitch_of", "standard_centre_distance"]

FEWEST = 6
"""No pulley has fewer teeth than it needs in mesh."""


def around(d: float, D: float, C: float) -> float:
    """Length of a closed belt round pitch circles d and D whose centres are C apart."""
    lean = math.asin((D - d) / (2 * C))
    return 2 * C * math.cos(lean) + (math.pi / 2 - lean) * d + (math.pi / 2 + lean) * D


def pitch_of(value: object) -> float:
    """A belt pitch in metres."""
    return length(value, "pitch", 0.5 * mm, 50 * mm)


def standard_centre_distance(motor_teeth: int, joint_teeth: int, belt_teeth: int, *, pitch: float) -> float:
    """The distance of the shafts, one number in metres, at which a closed belt of whole teeth is just straight.

    Solves ``belt_length(C) = belt_teeth * pitch``. The length grows with C and bends upwards, so Newton's method from
    the distance of two equal pulleys, which is too large, comes down to the root without passing it. ValueError for a
    belt that is too short to go round both pulleys, and as for `BeltDrive`.
    """
    step = pitch_of(pitch)
    counts = whole(motor_teeth, "motor_teeth", FEWEST, "teeth"), whole(joint_teeth, "joint_teeth", FEWEST, "teeth")
    d, D = (count * step / math.pi for count in counts)
    wanted = whole(belt_teeth, "belt_teeth", 1, "teeth") * step
    least = (d + D) / 2
    if wanted <= around(d, D, least):
        raise ValueError(
            f"belt_teeth is {belt_teeth}; round pulleys of {counts[0]} and {counts[1]} teeth that all but touch, a "
            f"belt has more than {around(d, D, least) / step:.4g} teeth: take a longer one"
        )
    C = (wanted - math.pi * least) / 2
    for _ in range(60):
        nearer = C - (around(d, D, C) - wanted) / (2 * math.cos(math.asin((D - d) / (2 * C))))
        if not least < nearer < C:
            break
        C = nearer
    return C
