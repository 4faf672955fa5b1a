"""One check that every size and stiffness here goes through."""

from __future__ import annotations

import math

from ..._check import one

__all__ = ["positive"]


def positive(
    value: object, name: str, unit: str, *, least: float = 0.0, most: float = math.inf, hint: str = ""
) -> float:
    """One finite number above zero, from `least` up to `most`; else an error with what the caller hints at."""
    number = one(value, name)
    told = f"{name} is {number:g} {unit}".rstrip()
    if number <= 0:
        raise ValueError(f"{told}; it must be above zero")
    if not least <= number <= most:
        bound = f"at least {least:g}" if number < least else f"at most {most:g}"
        raise ValueError(f"{told}, where {bound} is expected; {hint}")
    return number
