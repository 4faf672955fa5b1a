"""What may come in to a calibration."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, finite, one, rotations
from ...mechanism import deg
from .problem import CORE, GROUPS

__all__ = ["checked_angle", "checked_free", "checked_pairs", "checked_times"]

_TURNS = 4 * np.pi  # radians: no joint is taken further, and a few degrees taken for radians are


def checked_pairs(orientations: ArrayLike | object, motor_angles: ArrayLike) -> tuple[Floats, Floats]:
    """Orientations (n, 3, 3) and as many rows of motor angles, (n, 3)."""
    R, theta = rotations(orientations, "orientations"), finite(motor_angles, "motor_angles", 3)
    if R.ndim != 3 or theta.ndim != 2 or len(R) != len(theta):
        raise ValueError(
            f"orientations has shape {R.shape} and motor_angles {theta.shape}; they must be (n, 3, 3) and (n, 3): "
            "one row of motor angles for each orientation"
        )
    if (np.abs(theta) > _TURNS).any():
        i, k = (int(x) for x in np.argwhere(np.abs(theta) > _TURNS)[0])
        raise ValueError(
            f"motor_angles[{i}, {k}] is {theta[i, k]:.4g} rad, more than two turns; multiply degrees by deg, divide "
            "angles of the motor shaft by the ratio of the drive, or take whole turns off"
        )
    return R, theta


def checked_times(times: ArrayLike | None, count: int, *, needed: bool) -> Floats:
    """(n,) seconds that do not fall, or zeros where none are needed."""
    if times is None:
        if needed:
            raise ValueError("times is None; a drift needs the time of every pose, (n,) in seconds")
        return np.zeros(count)
    clock = finite(times, "times")
    if clock.shape != (count,):
        raise ValueError(f"times has shape {clock.shape}; with {count} poses it must be ({count},)")
    if (np.diff(clock) < 0).any():
        k = int(np.argmax(np.diff(clock) < 0)) + 1
        raise ValueError(
            f"times[{k}] is {clock[k]:g} s, before times[{k - 1}], {clock[k - 1]:g} s; give the poses in the order "
            "in which they were measured"
        )
    return clock


def checked_free(free: object) -> tuple[str, ...]:
    """The names of groups, each once, in the order of `GROUPS`; at least one of the core."""
    if isinstance(free, str) or not isinstance(free, tuple | list | set | frozenset):
        raise TypeError(f"free is {free!r}; give a tuple of names, such as ('zero', 'base', 'platform')")
    for name in free:
        if not isinstance(name, str) or name not in GROUPS:
            raise ValueError(f"free holds {name!r}; its names are {', '.join(map(repr, GROUPS))}")
    if len(set(free)) < len(free):
        raise ValueError(f"free is {tuple(free)}; name each group once")
    if not set(free) & set(CORE):
        raise ValueError(
            f"free is {tuple(free)}; link angles and axes cannot be told from zeros and frames: free at least one of "
            "'zero', 'base', 'platform' with them"
        )
    return tuple(name for name in GROUPS if name in free)


def checked_angle(value: float, name: str, most: float) -> float:
    """One angle above 0 and at most `most`, radians."""
    number = one(value, name)
    if not 0 < number <= most:
        raise ValueError(
            f"{name} is {value}; it must be one angle in radians, above 0 and at most {most / deg:.3g}° "
            f"(write {most / deg:.3g}*deg)"
        )
    return number
