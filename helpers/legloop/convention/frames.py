"""Somebody else's frames, leg numbers, senses and zeros, as one value.

A paper, a drawing or a built machine describes the same joint as `Mechanism` does, but from another base frame, with
another frame on the platform, its legs counted in another order, its motor angles from other zeros and in the other
sense. A `Convention` is the map between that description (theirs) and the one of this package (ours).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .. import rotation
from .._check import Floats, angles, finite, instance, numbers, orientations, read_only, rotations
from .._travel import Frozen
from ..mechanism import deg

__all__ = ["Convention"]

_AS_IN = {"leg_order": "(0, 2, 1)", "sense": "(1, -1, 1)"}


@dataclass(frozen=True, init=False, eq=False, repr=False)
class Convention(Frozen):
    """The map from our description of a joint to theirs. A frozen value.

        R_theirs = base @ R_ours @ platform.T
        theta_theirs[k] = sense[k] * (theta_ours[leg_order[k]] - zero[k])

    Parameters
    ----------
    base : (3, 3)
        Rotation from our base coordinates to theirs: its columns are our base axes seen in their frame.
    platform : (3, 3)
        The same for the frames on the platform.
    leg_order : three of 0, 1, 2
        ``leg_order[k]`` is the index of our leg that they count as k.
    sense : three of +1 and -1
        -1 where their motor angle grows as ours falls.
    zero : (3,)
        ``zero[k]`` is our angle, in radians, of that leg where theirs reads 0; between -2 pi and 2 pi.

    Raises
    ------
    ValueError, TypeError
        A shape is wrong, a number is not finite, a matrix is no rotation, the legs are not each named once, a sense
        is not +-1, a zero looks like degrees.
    """

    base: Floats
    platform: Floats
    leg_order: tuple[int, int, int]
    sense: tuple[int, int, int]
    zero: Floats

    def __init__(
        self,
        base: ArrayLike | object = ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
        platform: ArrayLike | object = ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
        leg_order: Sequence[int] = (0, 1, 2),
        sense: Sequence[int] = (1, 1, 1),
        zero: ArrayLike = (0.0, 0.0, 0.0),
    ) -> None:
        order, signs = _of_legs(leg_order, "leg_order"), _of_legs(sense, "sense")
        if sorted(order.tolist()) != [0, 1, 2]:
            raise ValueError(
                f"leg_order is {tuple(order.tolist())}; it must name each of our legs once, as indices 0, 1, 2: "
                "(0, 2, 1) says that their legs 1, 2, 3 are our legs 1, 3, 2"
            )
        for k, sign in enumerate(signs.tolist()):
            if sign not in (1, -1):
                raise ValueError(
                    f"sense[{k}] is {sign}; it must be +1 where both motor angles grow together, -1 where not"
                )
        values = {
            "base": _one_rotation(base, "base"),
            "platform": _one_rotation(platform, "platform"),
            "leg_order": tuple(int(i) for i in order),
            "sense": tuple(int(s) for s in signs),
            "zero": read_only(angles(zero, "zero", (3,), -2 * np.pi, 2 * np.pi, "[-2 pi, 2 pi]")),
        }
        for name, value in values.items():
            object.__setattr__(self, name, value)

    def orientation_to_theirs(self, R: ArrayLike | object) -> Floats:
        """``base @ R @ platform.T``: our orientations (..., 3, 3) in their frames."""
        return self.base @ rotations(R) @ self.platform.T

    def orientation_to_ours(self, R: ArrayLike | object) -> Floats:
        """``base.T @ R @ platform``: their orientations (..., 3, 3) in our frames."""
        return self.base.T @ rotations(R) @ self.platform

    def angles_to_theirs(self, theta: ArrayLike) -> Floats:
        """``sense[k] * (theta[leg_order[k]] - zero[k])``: our motor angles (..., 3), radians, as theirs."""
        return (finite(theta, "theta", 3)[..., list(self.leg_order)] - self.zero) * self.sense

    def angles_to_ours(self, theta: ArrayLike) -> Floats:
        """``ours[leg_order[k]] = sense[k] * theta[k] + zero[k]``: their motor angles (..., 3), radians, as ours."""
        angles = finite(theta, "theta", 3)
        ours = np.empty_like(angles)
        ours[..., list(self.leg_order)] = angles * self.sense + self.zero
        return ours

    def then(self, other: Convention) -> Convention:
        """First the map from ours to theirs, then `other`, which reads theirs as its ours.

        ``a.then(b).angles_to_theirs(t)`` equals ``b.angles_to_theirs(a.angles_to_theirs(t))``, likewise the
        orientations; except that a zero beyond two turns is brought back by whole turns.
        """
        instance(other, "other", Convention)
        through = list(other.leg_order)
        sign = np.array(self.sense)[through]
        zero = self.zero[through] + sign * other.zero
        return Convention(
            other.base @ self.base,
            other.platform @ self.platform,
            tuple(self.leg_order[i] for i in through),
            tuple(sign * other.sense),
            np.where(np.abs(zero) > 2 * np.pi, zero - 2 * np.pi * np.rint(zero / (2 * np.pi)), zero),
        )

    def inverse(self) -> Convention:
        """The map from theirs to ours: its ``..._to_theirs`` does what ``..._to_ours`` does here."""
        back = np.argsort(self.leg_order)
        sign = np.array(self.sense)
        return Convention(
            self.base.T, self.platform.T, tuple(back), tuple(sign[back]), 0.0 - (sign * self.zero)[back]
        )

    def __repr__(self) -> str:
        return self._in_words(4)

    def _in_words(self, decimals: int) -> str:
        """The map, its angles in degrees with at most so many decimals."""
        ways = ["alike" if s > 0 else "the other way" for s in self.sense]
        legs = "".join(
            f"\n  their leg {k} is our leg {i + 1}, counted {way}, 0 at our {_degrees(zero, decimals)}"
            for k, (i, way, zero) in enumerate(zip(self.leg_order, ways, self.zero, strict=True), start=1)
        )
        base, platform = (_turn_in_words(turn, decimals) for turn in (self.base, self.platform))
        return (
            f"{type(self).__name__}, R_theirs = base @ R_ours @ platform.T:"
            f"\n  base {base}\n  platform {platform}{legs}"
        )

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Convention):
            return NotImplemented
        return self._key() == other._key()

    def __hash__(self) -> int:
        return hash(self._key())

    def _key(self) -> tuple[object, ...]:
        arrays = (self.base, self.platform, self.zero)
        return self.leg_order, self.sense, *((array + 0.0).tobytes() for array in arrays)  # + 0.0: -0. is 0.


def _of_legs(value: object, name: str) -> NDArray[Any]:
    """Three numbers, one for each leg; True is none, also beside numbers."""
    array = numbers(value, name)
    if array.shape != (3,):
        raise ValueError(f"{name} has shape {array.shape}; a joint has three legs, so its shape is (3,)")
    for k, entry in enumerate(value if isinstance(value, list | tuple) else ()):
        if isinstance(entry, bool | np.bool_):
            raise TypeError(f"{name}[{k}] is {bool(entry)}; it must be a number, as in {_AS_IN[name]}")
    return array


def _one_rotation(value: ArrayLike | object, name: str) -> Floats:
    array = orientations(value, name)
    if array.ndim != 2:
        raise ValueError(f"{name} has shape {array.shape}; a convention has one rotation there, of shape (3, 3)")
    return read_only(rotations(array, name))


def _degrees(angle: float, decimals: int) -> str:
    return f"{round(angle / deg, decimals) + 0.0:.{decimals + 3}g}°"  # three digits before the point; no -0


def _turn_in_words(R: Floats, decimals: int) -> str:
    """A turn by its angle and axis, such that what differs by less than the last decimal reads alike."""
    axis, angle = rotation.to_axis_angle(R)
    told = round(float(angle) / deg, decimals)
    if told == 0:
        return "not turned"
    components = np.round(axis, min(decimals + 1, 4)) + 0.0  # 0.1 of the axis is 6°: one decimal more; no -0
    if told == 180 and components[np.flatnonzero(components)[0]] < 0:
        components = 0.0 - components  # half a turn about an axis is half a turn about its opposite
    about = ", ".join(f"{component:g}" for component in components)
    return f"turned by {_degrees(float(angle), decimals)} about ({about})"
