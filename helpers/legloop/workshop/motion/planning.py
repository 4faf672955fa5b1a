"""From orientations in time to targets of the motors, one for each tick."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike

from ..._check import choice, instance, modes
from ...convention import Convention
from ...mechanism import Mechanism, joint
from ..drive import BeltDrive
from .blocks import planned
from .knots import Joint
from .limits import MotionLimits, Walls
from .path import Path, checked
from .reachable import reachable_path
from .refusal import refusal
from .result import MotionPlan
from .task import Task

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
    the motors cannot: then it stays on the path and is late (`motion.timing`). It never hurries to catch up. Far
    below the limits it is late by half the time that the motors need to come up to speed and to stop, and by a tick.

    The whole continuous path is checked, by bounds and not by samples (`motion.continuous`): it keeps the reach and
    the evenness of `limits`, and it meets no singular pose. A path on which V, the volume that the unit normals span,
    is 0 or changes sign passes a singular pose of type 2. There the platform goes limp: the motors cannot hold it,
    however slowly they go. Such a path is an error whatever the limits are.

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
        Where the path leaves reach or travel: an error that says from when to when; or the nearest path that does
        not, and `.report.deviation` bounds how far it was moved. "nearest" looks at the whole path at once: it needs
        memory in proportion to the request.
    singular : "refuse" or "slow"
        Where the evenness falls below that of `limits`: an error, or ``evenness / limit`` times the speed asked for;
        below a twentieth of the limit, and where V changes sign, an error in either case.

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

    Parameters and units are those of `plan`: orientations (n, 3, 3), times (n,) in seconds, increasing. Each part is
    a `MotionPlan` of some 16384 samples of the request: its table goes on where that of the last part ended, its
    report is of this part alone; ``report.then(next.report)`` joins two. Only the last part ends at rest.

    With ``unreachable="nearest"`` that does **not** hold: the whole path is looked at before the first part is given,
    at 2 to 3 kB for each sample. To plan a long log so, cut it where the joint may stand still.

    Raises
    ------
    ValueError, TypeError
        As `plan`, at the call; for neighbours half a turn apart when their part is reached.
    MotionError
        When the part with the first fault is reached. It lists the faults of the whole rest, for which the request is
        read to its end.
    """
    m, given = joint(m), Convention() if convention is None else instance(convention, "convention", Convention)
    instance(drive, "drive", BeltDrive)
    choice(path, "path", get_args(Path))
    choice(unreachable, "unreachable", ("raise", "nearest"))
    choice(singular, "singular", ("refuse", "slow"))
    samples, moments = checked(orientations, times)
    signs = modes(mode)
    if signs.shape != (3,):
        raise ValueError(f"mode has shape {signs.shape}; a path keeps one working mode, of shape (3,)")
    walls = Walls.of(limits, given)
    it = Joint(m, signs.astype(np.int_), walls)
    task = Task(it, samples, convention is None, moments, drive, given, path, singular == "slow")
    if unreachable == "nearest":
        moved = reachable_path(it, task.orientations(0, len(samples) - 1), moments, path)
        if moved is None:
            raise refusal(task, nearest=True)
        task = task._replace(given=moved[0], ours=True, times=moved[1], deviation=moved[2])
    return planned(task)
