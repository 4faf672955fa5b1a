"""What the motors may do, as one value, checked at the door."""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, finite, numbers
from ..._travel import Frozen
from ...convention import Convention
from ...mechanism import deg

__all__ = ["FASTEST", "MotionLimits", "Walls", "travel_rows"]

# No joint of this kind is so fast; a larger number is a limit in degrees, or one of the motor before its belt.
FASTEST, _HARDEST, _FARTHEST = 60.0, 2000.0, 8 * np.pi


@dataclass(frozen=True, eq=False)
class MotionLimits(Frozen):
    """Limits of the three motor joints (the pulleys on u, behind the belt), and the beat of the controller.

    Parameters
    ----------
    speed : float or (3,)
        Most that a motor joint may turn at, in rad/s: ``drive.joint_speed(300*rpm)``, or ``90*deg``.
    acceleration : float or (3,)
        Most that its speed may change, in rad/s². The acceleration itself may jump: there is no limit of jerk.
    tick : float
        Time between two targets of the controller, in seconds, up to 0.1.
    travel : (2,) or (3, 2), optional
        Lowest and highest angle of all motors, or of each, in radians; no end of travel unless given.
    edge : float
        How near to the edge of its reach a leg may come, in radians (as `reach_margin` counts); above 0, for at the
        edge itself a motor would need an infinite speed.
    evenness : float
        How near to a singular pose the joint may come: the least of ``3 / (|J| |J^-1|)``, |.| the root of the sum of
        the squares. It is 1 where every direction is as fast as any other, 0 where singular, of any type, and lies
        between `dexterity` and three times that. In [0, 1).

    Speed, acceleration and travel of the three motors are in the order and the counting of the machine where a
    `Convention` is given beside them.

    Raises
    ------
    ValueError, TypeError
        A limit is not positive, looks like degrees or milliseconds, has another shape; travel runs downwards.
    """

    speed: ArrayLike
    acceleration: ArrayLike
    _: KW_ONLY
    tick: float
    travel: ArrayLike | None = None
    edge: float = 0.5 * deg
    evenness: float = 0.05

    def __post_init__(self) -> None:
        checked = {
            "speed": _three(self.speed, "speed", FASTEST, "rad/s", "of a joint, behind the belt: drive.joint_speed"),
            "acceleration": _three(self.acceleration, "acceleration", _HARDEST, "rad/s²", "of a joint"),
            "tick": _within(self.tick, "tick", 1e-6, 0.1, "s", "for milliseconds write 1e-3 * "),
            "travel": travel_rows(self.travel),
            "edge": _within(self.edge, "edge", 1e-4, 0.5, "rad", "for degrees write deg * "),
            "evenness": _within(self.evenness, "evenness", 0.0, 0.99, "", ""),
        }
        for name, value in checked.items():
            object.__setattr__(self, name, value)
        super().__post_init__()


@dataclass(frozen=True, eq=False)
class Walls:
    """The limits in our frames and counting, as arrays; what the rest of this package computes with."""

    speed: Floats
    acceleration: Floats
    tick: float
    low: Floats
    high: Floats
    edge: float
    evenness: float

    @classmethod
    def of(cls, limits: object, convention: Convention) -> Walls:
        """Walls of checked limits that the machine counts by `convention`."""
        if not isinstance(limits, MotionLimits):
            raise TypeError(f"limits must be MotionLimits(speed, acceleration, tick=...), not {limits!r}")
        order, sense = list(convention.leg_order), np.array(convention.sense)
        theirs = np.asarray(limits.travel)
        ends = np.sort(theirs * sense[:, None] + convention.zero[:, None], axis=1)
        values = np.empty((4, 3))
        values[:, order] = np.stack([np.asarray(limits.speed), np.asarray(limits.acceleration), *ends.T])
        speed, acceleration, low, high = values
        return cls(speed, acceleration, limits.tick, low, high, limits.edge, limits.evenness)

    @property
    def middle(self) -> Floats:
        """(3,): of angles that differ by whole turns a path starts with those nearest to this."""
        closed = np.isfinite(self.low) & np.isfinite(self.high)
        return np.asarray(np.add(self.low, self.high, out=np.zeros(3), where=closed) / 2)


def _three(value: ArrayLike, name: str, most: float, unit: str, whose: str) -> Floats:
    array = finite(value, name)
    if array.shape not in ((), (3,)):
        raise ValueError(f"{name} has shape {array.shape}; give one number, or three, one for each motor")
    for number in array.ravel().tolist():
        if not number > 0:
            raise ValueError(f"{name} is {number:g} {unit}; it must be above 0, or the motors never move")
        if number > most:
            raise ValueError(
                f"{name} is {number:g} {unit}, above {most:g}; it is {whose}; for degrees write {number:g}*deg"
            )
    return np.broadcast_to(array, 3).copy()


def _within(value: object, name: str, low: float, high: float, unit: str, repair: str) -> float:
    array = finite(value, name)
    if array.shape != ():
        raise ValueError(f"{name} has shape {array.shape}; it is one number")
    number = float(array)
    if not low <= number <= high:
        hint = f"; {repair}{number:g}" if repair and number > high else ""
        raise ValueError(f"{name} is {number:g} {unit}".rstrip() + f"; it must lie in [{low:g}, {high:g}]{hint}")
    return number


def travel_rows(value: ArrayLike | None) -> Floats:
    """(3, 2) from what a travel may be given as; an end that is open, and all where it is None, is infinite."""
    if value is None:
        return np.full((3, 2), np.inf) * (-1, 1)
    array = numbers(value, "travel", 2).astype(np.float64)
    if array.shape not in ((2,), (3, 2)):
        raise ValueError(f"travel has shape {array.shape}; give (low, high) once, or one such row for each motor")
    rows = np.broadcast_to(array, (3, 2)).copy()
    for k, (low, high) in enumerate(rows.tolist()):
        where = "travel" if array.ndim == 1 else f"travel[{k}]"
        if not low < high:
            raise ValueError(f"{where} is ({low:g}, {high:g}); the lowest angle comes first and is below the highest")
        for end in (low, high):
            if np.isfinite(end) and abs(end) > _FARTHEST:
                raise ValueError(f"{where} holds {end:g} rad, more than four turns; for degrees write {end:g}*deg")
    return rows
