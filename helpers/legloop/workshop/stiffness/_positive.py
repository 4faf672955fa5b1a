"""One check that every size and stiffness here goes through."""

from __future__ import annotations

import math

from ..._check import finite, numbers

__all__ = ["positive"]


def positive(
    value: object, name: str, unit: str, *, least: float = 0.0, most: float = math.inf, hint: str = ""
) -> float:
    """One finite number above zero, from `least` up to `most`; else an error with what the caller hints at."""
    shape = numbers(value, name).shape
    if shape != ():
        raise ValueError(f"{name} has shape {shape}; give one number")
    number = float(finite(value, name))
    if number <= 0:
        raise ValueError(f"{name} is {number:g} {unit}; it must be above zero")
    if not least <= number <= most:
        bound = f"at least {least:g}" if number < least else f"at most {most:g}"
        raise ValueError(f"{name} is {number:g} {unit}, where {bound} is expected; {hint}")
    return number
