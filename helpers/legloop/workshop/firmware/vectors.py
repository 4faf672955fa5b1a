"""Orientations and the answers they should have: for the self-test of a header, and as a table for any language."""

from __future__ import annotations

import warnings
from os import PathLike
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ... import rotation
from ..._check import Floats, whole
from ...convention import Convention
from ...mechanism import Mechanism
from ..drive import BeltDrive
from ..log import write_table
from .limits import LimitsWarning
from .settings import SCALARS, Settings, Status, angle_error, settings

__all__ = ["Golden", "golden", "write_vectors"]

_LEAST_D = 0.1
"""A golden case has D above this at each leg, where the joint has such poses: rounding is amplified threefold."""


def write_vectors(
    path: str | PathLike[str],
    m: Mechanism,
    *,
    mode: ArrayLike = (1, 1, 1),
    convention: Convention | None = None,
    drive: BeltDrive | None = None,
    motor_limits: ArrayLike | None = None,
    travel: ArrayLike | None = None,
    scalar: str = "float",
    count: int = 1000,
    seed: int = 0,
    overwrite: bool = False,
) -> None:
    """Write orientations and the answers to them as a CSV table, for whoever writes the joint in another language.

    Columns: ``qx qy qz qw``; ``r00 ... r22``, the matrix row by row, its entries rounded to `scalar`; ``code``, of
    `Status`; ``theta1_rad ...`` as `legloop_solve` of `write_header` gives them, computed in float64 from that
    rounded matrix; ``D1 ...``, for `angle_error`; ``steps1 ...`` if there is a drive. Empty: there is no such value.

    The first rows are three that must be refused: scaled, mirrored, all zero. Home follows, then `count` orientations
    by `seed`, half of them spread over all turns and half near home. Arguments, warnings and errors as for
    `write_header`; a ValueError or TypeError too for a `count` below 1 and for a `seed` that is no whole number from
    0 on.
    """
    given = settings(m, mode, convention, drive, motor_limits, travel, scalar)
    q, R = orientations(given, whole(count, "count", 1, "orientations"), whole(seed, "seed", 0, "steps"))
    broken = np.stack([2 * np.eye(3), np.diag([1.0, 1.0, -1.0]), np.zeros((3, 3))])
    code, theta = given.expected(R)
    first = len(broken)

    def column(values: Floats) -> Floats:
        return np.concatenate([np.full(first, np.nan), values])

    table: dict[str, ArrayLike] = {f"q{name}": column(q[:, k]) for k, name in enumerate("xyzw")}
    entries = np.concatenate([broken, R])
    table |= {f"r{i}{k}": entries[:, i, k] for i in range(3) for k in range(3)}
    table["code"] = np.concatenate([np.full(first, int(Status.NOT_ROTATION)), code])
    table |= {f"theta{k + 1}_rad": column(theta[:, k]) for k in range(3)}
    table |= {f"D{k + 1}": column(D) for k, D in enumerate(given.discriminants(R).T)}
    steps = given.steps(np.nan_to_num(theta))
    if steps is not None:
        counted = np.where(np.isnan(theta), np.nan, steps)
        table |= {f"steps{k + 1}": column(counted[:, k]) for k in range(3)}
    for note in given.notes:
        warnings.warn(note, LimitsWarning, stacklevel=2)
    write_table(path, table, overwrite=overwrite)


def orientations(given: Settings, count: int, seed: int) -> tuple[Floats, Floats]:
    """Home and `count` more in their frames: quaternions (n, 4), matrices (n, 3, 3), their entries rounded."""
    rng = np.random.default_rng(seed)
    anywhere = rng.normal(size=(count, 4))
    near_home = rng.normal(size=(count, 4)) * 0.25 + [0, 0, 0, 1]  # turned by 50° or so
    ours = np.where(np.arange(count)[:, None] % 2, near_home, anywhere)
    ours /= np.linalg.norm(ours, axis=1, keepdims=True)
    R = np.concatenate([np.eye(3)[None], rotation.from_quaternion(ours)])
    theirs = given.convention.orientation_to_theirs(R)
    return rotation.to_quaternion(theirs), theirs.astype(SCALARS[given.scalar]).astype(np.float64) + 0.0


class Golden(NamedTuple):
    """Cases for the self-test: ``n`` that are solved, at most one out of reach, at most one beyond the limits."""

    orientations: Floats
    codes: list[int]
    theta: Floats
    """Zero where the case is refused."""
    tolerance: float


def golden(given: Settings, count: int = 6) -> Golden:
    """Choose cases whose answer no rounding can turn over: D not small, far from half a turn, a limit, half a step.

    ValueError where the joint closes at none of thousands of orientations.
    """
    _, R = orientations(given, 4000, seed=1)
    code, theta = given.expected(R)
    known = np.nan_to_num(theta).astype(SCALARS[given.scalar]).astype(np.float64)  # as it will be printed
    D = np.where(code[:, None] == Status.SOLVED, given.discriminants(R), -1.0).min(axis=1)
    least = np.minimum(_LEAST_D, D.max() / 2)
    good = (least < D) & (D > 0)
    if not good.any():
        within = "" if given.limits is None else f" within its limits ({given.limits.told})"
        raise ValueError(
            f"no orientation was found that the joint reaches in this mode{within}, so that nothing could be tested: "
            f"check the numbers of the joint and, if given, the limits ({len(R)} orientations were tried)"
        )
    tolerance = 2 * float(angle_error(D[good].min(), scalar=given.scalar))  # the reference is rounded as well
    good &= (np.abs(known - given.middle) < np.pi - 2 * tolerance).all(axis=1)
    if given.drive is not None:
        part = known / given.drive.step_angle  # in the C a product of two rounded numbers, itself rounded
        good &= (np.abs(part - np.rint(part)) < 0.5 - 4 * given.eps * np.abs(part)).all(axis=1)
    if given.limits is not None:
        inside = np.minimum(known - given.limits.theirs[:, 0], given.limits.theirs[:, 1] - known)
        good &= (inside > 2 * tolerance).all(axis=1)
    chosen = np.flatnonzero(good)[:count]
    if not len(chosen):
        raise ValueError(
            f"no orientation was found at which rounding to {given.scalar} leaves steps and limits as they are: "
            "widen the limits, take larger steps, or scalar='double'"
        )
    picked = np.concatenate([chosen, _surely_out(given, R), _surely_beyond(given, R, least, tolerance)])
    return Golden(R[picked], code[picked].tolist(), known[picked], tolerance)


def _surely_out(given: Settings, R: Floats) -> NDArray[np.intp]:
    """Index of an orientation, if there is one, whose first leg that fails is out of reach by far."""
    code, _ = given.expected(R)
    D = given.discriminants(R)
    far = (code == Status.UNREACHABLE) & (D.min(axis=1) < -_LEAST_D) & (np.abs(D) > _LEAST_D).all(axis=1)
    return np.flatnonzero(far)[:1]


def _surely_beyond(given: Settings, R: Floats, least: float, tolerance: float) -> NDArray[np.intp]:
    """Index of an orientation, if there is one, that is reached with D above `least`, clearly beyond a limit."""
    if given.limits is None:
        return np.zeros(0, dtype=np.intp)
    code, theta = given.without_limits(R)
    theta = np.where(code[:, None] == Status.SOLVED, theta, given.middle)
    low, high = given.limits.theirs.T
    solved = (given.discriminants(R) > least).all(axis=1)
    one_turn = (np.abs(theta - given.middle) < np.pi - 2 * tolerance).all(axis=1)
    beyond = (np.maximum(low - theta, theta - high) > 2 * tolerance).any(axis=1)
    return np.flatnonzero(solved & one_turn & beyond)[:1]
