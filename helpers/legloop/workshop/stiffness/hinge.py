"""A pin in two bearings, and how much room it has to move in them."""

from __future__ import annotations

from dataclasses import dataclass

from ..._check import LONGEST, instance, one
from ._positive import positive

__all__ = ["BALL_608", "Bearing", "Hinge"]


def _clearance(value: float, name: str, size: float) -> float:
    """A clearance in m: 0 or more, and less than the length that it belongs to."""
    clearance = one(value, name)
    if not 0 <= clearance < size:
        raise ValueError(
            f"{name} is {clearance:g} m; a clearance lies between 0 and the {size:g} m of its bearing or span; "
            "micrometres are written 13e-6"
        )
    return clearance


@dataclass(frozen=True)
class Bearing:
    """A ball bearing: bore, outside diameter and width, and its radial clearance from stop to stop, in m."""

    bore: float
    outside: float
    width: float
    clearance: float

    def __post_init__(self) -> None:
        for name in ("bore", "outside", "width"):
            value = positive(getattr(self, name), name, "m", most=1.0, hint="millimetres are written 8e-3, or 8*mm")
            object.__setattr__(self, name, value)
        if self.outside <= self.bore:
            raise ValueError(f"outside is {self.outside:g} m; it must be larger than the bore, {self.bore:g} m")
        object.__setattr__(self, "clearance", _clearance(self.clearance, "clearance", self.width))


BALL_608 = Bearing(bore=8e-3, outside=22e-3, width=7e-3, clearance=13e-6)
"""The size 608, 8 x 22 x 7 mm (boundary dimensions of ISO 15), with the largest normal clearance of its bore, 13 µm
(ISO 5753-1). All from memory."""


@dataclass(frozen=True)
class Hinge:
    """A pin in two bearings, at `near` and `far` from the centre of the joint along the axis, in m.

    `radial` and `axial` are clearances from stop to stop, in m; 0 is none. The pin tilts by
    radial / (far - near), to either side.
    """

    near: float
    far: float
    radial: float
    axial: float = 0.0

    def __post_init__(self) -> None:
        hint = "millimetres are written 60e-3, or 60*mm"
        near, far = (positive(getattr(self, name), name, "m", most=LONGEST, hint=hint) for name in ("near", "far"))
        if far <= near:
            raise ValueError(f"near is {near:g} m and far {far:g} m; the far bearing must be the farther one")
        for name in ("radial", "axial"):
            object.__setattr__(self, name, _clearance(getattr(self, name), name, far - near))

    @classmethod
    def pair(cls, bearing: Bearing, near: float, *, spacer: float = 0.0, axial: float = 0.0) -> Hinge:
        """Two equal bearings with a spacer between them, all in m; `near`: where the middle of the nearer one is."""
        instance(bearing, "bearing", Bearing, "BALL_608 is one")
        start, between = one(near, "near"), one(spacer, "spacer")
        if not 0 <= between <= 1:
            hint = f"; millimetres are written {between:g}e-3" if between > 1 else ""
            raise ValueError(f"spacer is {between:g} m; it must lie in [0, 1]{hint}")
        return cls(start, start + bearing.width + between, bearing.clearance, axial)
