"""What a drive is described by, checked at the door: lengths, shares, bounds. Nothing is repaired."""

from __future__ import annotations

import numpy as np

from ..._check import one, whole
from ..units import mm

__all__ = ["at_least", "full_steps", "length", "share"]


def share(value: object, name: str) -> float:
    """One number in (0, 1]."""
    number = one(value, name)
    if not 0 < number <= 1:
        hint = f": for a percentage write {number / 100:g}" if 1 < number <= 100 else ""
        raise ValueError(f"{name} is {number:g}; it must lie in (0, 1]{hint}")
    return number


def length(value: object, name: str, low: float, high: float) -> float:
    """One length between two bounds, in metres."""
    number = one(value, name)
    if not low <= number <= high:
        hint = f"; lengths are in metres: for millimetres write {number:g}*mm" if number > high else ""
        raise ValueError(
            f"{name} is {number:g} m ({number / mm:g} mm); it must lie between {low / mm:.4g} and "
            f"{high / mm:.4g} mm{hint}"
        )
    return number


def full_steps(value: object, name: str) -> int:
    """How many full steps of a motor make one turn."""
    number = float(value) if isinstance(value, float | np.floating) else 0.0
    if 0 < number < 1e6 and number.is_integer():
        raise TypeError(f"{name} is {number}, a float; it is a count: write {int(number)}")
    if 0 < number < 360 and abs(360 / number - round(360 / number)) < 1e-6:  # 360 / 0.72 is 500, to rounding
        told = f"a motor of {number:g}° per full step makes {round(360 / number)} full steps in a turn"
        raise TypeError(f"{name} is {number:g}; it is a count: {told}, so write {round(360 / number)}")
    return whole(value, name, 1, "full steps")


def at_least(value: object, name: str, least: float, unit: str) -> float:
    """One number that is not below a bound."""
    number = one(value, name)
    if number < least:
        raise ValueError(f"{name} is {number:g}; it must be at least {least:g} {unit}")
    return number
