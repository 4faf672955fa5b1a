"""Numbers as C writes them."""

from __future__ import annotations

from collections.abc import Iterable

from ..._check import Floats
from .settings import SCALARS

__all__ = ["Literals"]


class Literals:
    """Numbers as C literals of a scalar type, with as many digits as give the same number back.

    Decimal and not hexadecimal: both are exact, people can read these, and C++ has the others only since 2017.
    """

    def __init__(self, scalar: str) -> None:
        self.type = SCALARS[scalar]
        self.suffix, self.digits = ("f", 9) if scalar == "float" else ("", 17)

    def __call__(self, value: float) -> str:
        """One number."""
        text = f"{float(self.type(value)) + 0.0:.{self.digits}g}"
        return (text if set(text) & {".", "e"} else text + ".0") + self.suffix

    def row(self, values: Iterable[float]) -> str:
        """Several, with commas between them."""
        return ", ".join(self(value) for value in values)

    def sum(self, factors: Floats, names: list[str], constant: float) -> str:
        """``k * x + ... + constant`` without the terms that are zero."""
        text = ""
        for k, name in (*zip(factors.tolist(), names, strict=True), (constant, "")):
            if k:
                sign = ("-" if k < 0 else "") if not text else (" - " if k < 0 else " + ")
                size = "" if name and abs(k) == 1 else self(abs(k))
                text += sign + size + (" * " if name and size else "") + name
        return text or self(0)
