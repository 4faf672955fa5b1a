"""From orientations in time to targets of the motors, one for each tick."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ..._check import modes
from ...convention import Convention
from ...mechanism import Mechanism, joint
from ..drive import BeltDrive
from .blocks import Task, planned
from .knots import Joint
from .limits import MotionLimits, Walls
from .path import Path, checked
from .reachable import reachable_path
from .result import MotionPlan, numbers_of

__all__ = ["plan", "plan_blocks"]


def plan(
    m: Mechanism,
    orientations: ArrayLike | object,
    times: ArrayLike,
    drive: BeltDrive,
    *,
    mode: ArrayLike = (1, 1, 1),
    convention: Convention | None = None,
    limits: MotionLimits,
    path: Path = "smooth",
    unreachable: Literal["raise", "nearest"] = "raise",
    singular: Literal["refuse", "slow"] = "refuse",
) -> MotionPlan:
    """Motor targets that take the platform through orientations in time, from rest to rest.

    The platform goes along the path of `motion.path` through all samples. It goes as fast as asked, or slower where
    the motors cannot: then it stays on the path and is late (`motion.timing`). It never hurries to catch up.

    Parameters
    ----------
    m : Mechanism
        The joint.
    orientations : (n, 3, 3)
        Rotation matrices, or an object with ``as_matrix()``; at least two.
    times : (n,)
        Seconds, increasing.
    drive : BeltDrive
        Between motor and joint, the same for all three.
    mode : (3,)
        Working mode, legs in our order. The path keeps it.
    convention : Convention, optional
        Without it all is ours. With it all that comes in and goes out is the machine's: orientations, limits, motor
        angles and steps.
    limits : MotionLimits
        Speed, acceleration, travel, tick.
    path : "smooth" or "slerp"
        "slerp" stops at each sample where the turn changes, for its rate jumps there.
    unreachable : "raise" or "nearest"
        Where the path leaves reach or travel: an error that says from when to when, and how far off the nearest path
        would be; or that path, its `.report.deviation` told.
    singular : "refuse" or "slow"
        Where the evenness falls below that of `limits`: an error, or ``evenness / limit`` times the speed asked for;
        below a twentieth of the limit an error in either case.

    Returns
    -------
    MotionPlan
        Of the motor angles that differ by whole turns it starts with those nearest to the middle of the travel.

    Raises
    ------
    MotionError
        The joint cannot follow; see `unreachable` and `singular`. Nothing is cut off.
    ValueError, TypeError
        Times do not increase, lengths differ, no rotation, neighbours half a turn apart, an argument out of range.
    """
    blocks = list(
        plan_blocks(
            m,
            orientations,
            times,
            drive,
            mode=mode,
            convention=convention,
            limits=limits,
            path=path,
            unreachable=unreachable,
            singular=singular,
        )
    )
    report = blocks[0].report
    for block in blocks[1:]:
        report = report.then(block.report)
    return MotionPlan(
        np.concatenate([block.table for block in blocks]), np.concatenate([b.asked_at for b in blocks]), report
    )


def plan_blocks(
    m: Mechanism,
    orientations: ArrayLike | object,
    times: ArrayLike,
    drive: BeltDrive,
    *,
    mode: ArrayLike = (1, 1, 1),
    convention: Convention | None = None,
    limits: MotionLimits,
    path: Path = "smooth",
    unreachable: Literal["raise", "nearest"] = "raise",
    singular: Literal["refuse", "slow"] = "refuse",
) -> Iterator[MotionPlan]:
    """As `plan`, in parts that follow one another: memory beyond the request does not grow with its length.

    Arguments are checked at the first part. A fault raises `MotionError` when its part is reached; it then tells
    those of the whole rest, for which the request is read to its end.
    """
    if convention is not None and not isinstance(convention, Convention):
        raise TypeError(f"convention must be a Convention, not an object of type {type(convention).__name__}")
    if not isinstance(drive, BeltDrive):
        raise TypeError(f"drive must be a BeltDrive, not an object of type {type(drive).__name__}")
    if unreachable not in ("raise", "nearest"):
        raise ValueError(f"unreachable is {unreachable!r}; it must be 'raise' or 'nearest'")
    if singular not in ("refuse", "slow"):
        raise ValueError(f"singular is {singular!r}; it must be 'refuse' or 'slow'")
    samples, moments = checked(orientations, times)
    signs = modes(mode)
    if signs.shape != (3,):
        raise ValueError(f"mode has shape {signs.shape}; a path keeps one working mode, of shape (3,)")
    given = Convention() if convention is None else convention
    walls = Walls.of(limits, given)
    if convention is not None:
        samples = convention.orientation_to_ours(samples)
    it = Joint(joint(m), signs.astype(np.int_), walls)
    deviation = 0.0
    if unreachable == "nearest":
        samples, moments, deviation = reachable_path(it, samples, moments, path, numbers_of(given))
    yield from planned(Task(it, samples, moments, drive, given, path, singular == "slow", deviation))
