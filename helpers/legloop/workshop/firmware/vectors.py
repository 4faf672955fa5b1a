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
from ...mechanism import Mechanism, deg
from ..drive import BeltDrive
from ..log import write_table
from .limits import LimitsWarning
from .refused import nearly_singular
from .settings import SCALARS, Answers, Settings, Status, angle_error, settings
from .singular import volume_error

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
    least_elbow: float = 2 * deg,
    least_volume: float = 0.05,
    count: int = 1000,
    seed: int = 0,
    overwrite: bool = False,
) -> None:
    """Write orientations and the answers to them as a CSV table, for whoever writes the joint in another language.

    Columns: ``qx qy qz qw``; ``r00 ... r22``, the matrix row by row, its entries rounded to `scalar`; ``code``, of
    `Status`; ``theta1_rad ...`` as `legloop_solve` of `write_header` gives them, computed in float64 from that
    rounded matrix; ``D1 ...``, for `angle_error`; ``V``, which the C gives where the code is 0; ``steps1 ...``, whole
    numbers, if there is a drive. Empty: there is no such value.

    The first rows are three that must be refused: scaled, mirrored, all zero. Home follows, then `count` orientations
    by `seed`, half of them spread over all turns and half near home; at last, if such are found, one that is refused
    for V and one for a leg that is nearly folded or stretched. Any two solved rows whose V differ in sign are a pair
    for `Status.CROSSED_TYPE_2`. Arguments, warnings and errors as for
    `write_header`; a ValueError or TypeError too for a `count` below 1 and for a `seed` that is no whole number from
    0 on.
    """
    given = settings(m, mode, convention, drive, motor_limits, travel, scalar, least_elbow, least_volume)
    q, R = orientations(given, whole(count, "count", 1, "orientations"), whole(seed, "seed", 0, "steps"))
    near = nearly_singular(given, R)
    q, R = np.concatenate([q, rotation.to_quaternion(near)]), np.concatenate([R, given.rounded(near)])
    broken = np.stack([2 * np.eye(3), np.diag([1.0, 1.0, -1.0]), np.zeros((3, 3))])
    at = given.answers(R)
    solved = (at.codes == Status.SOLVED)[:, None]
    theta = np.where(solved, at.theta, np.nan)
    first = len(broken)

    def column(values: Floats) -> Floats:
        return np.concatenate([np.full(first, np.nan), values])

    table: dict[str, ArrayLike] = {f"q{name}": column(q[:, k]) for k, name in enumerate("xyzw")}
    entries = np.concatenate([broken, R])
    table |= {f"r{i}{k}": entries[:, i, k] for i in range(3) for k in range(3)}
    table["code"] = np.concatenate([np.full(first, int(Status.NOT_ROTATION)), at.codes])
    table |= {f"theta{k + 1}_rad": column(theta[:, k]) for k in range(3)}
    table |= {f"D{k + 1}": column(D) for k, D in enumerate(at.D.T)} | {"V": column(at.volume)}
    steps = given.steps(np.nan_to_num(theta))
    if steps is not None:
        counted = np.concatenate([np.zeros((first, 3), dtype=np.int64), steps])
        unsolved = np.concatenate([np.ones((first, 1), dtype=bool), ~solved])
        table |= {f"steps{k + 1}": np.ma.array(counted[:, k], mask=unsolved[:, 0]) for k in range(3)}
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
    return rotation.to_quaternion(theirs), given.rounded(theirs)


class Golden(NamedTuple):
    """Cases for the self-test: ``n`` that are solved, then at most one of each kind that is refused."""

    orientations: Floats
    codes: list[int]
    theta: Floats
    """Zero where the case is refused."""
    volume: Floats
    """V; zero where the case is refused."""
    tolerance: float
    """Of the angles."""
    volume_tolerance: float


def golden(given: Settings, count: int = 6) -> Golden:
    """Choose cases whose answer no rounding turns over: D not small, far from a floor, a limit, half a turn or step.

    ValueError where the joint closes at none of thousands of orientations.
    """
    _, R = orientations(given, 4000, seed=1)
    at = given.answers(R)
    known = np.nan_to_num(at.theta).astype(SCALARS[given.scalar]).astype(np.float64)  # as it will be printed
    solved = at.codes == Status.SOLVED
    D = np.where(solved[:, None], at.D, -1.0).min(axis=1)
    least = np.minimum(_LEAST_D, D.max() / 2)
    good = (least < D) & (D > 0)
    if not good.any():
        within = "" if given.limits is None else f" within its limits ({given.limits.told})"
        raise ValueError(
            f"no orientation was found that the joint reaches in this mode{within}, far enough from singular poses "
            f"(least_elbow {given.floors.elbow / deg:g}°, least_volume {given.floors.volume:g}), so that nothing "
            "could be tested: check the numbers of the joint and, if given, the limits "
            f"({len(R)} orientations were tried)"
        )
    tolerance = 2 * float(angle_error(D[good].min(), scalar=given.scalar))  # the reference is rounded as well
    blur = 2 * volume_error(given.m, given.eps, tolerance)
    good &= np.abs(at.volume) > given.floors.volume + blur
    good &= np.greater(at.D, given.least_discriminant + 64 * given.eps).all(axis=1)
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
            f"no orientation was found at which rounding to {given.scalar} leaves steps, floors and limits as they "
            "are: widen the limits, take larger steps, or scalar='double'"
        )
    clear = (np.abs(at.volume) > given.floors.volume + blur) & np.greater(at.D, least).all(axis=1)
    refused = np.concatenate([R[_surely_out(at)], R[_surely_beyond(given, at, clear, tolerance)]])
    refused = np.concatenate([refused, given.rounded(nearly_singular(given, R))])
    codes = [int(Status.SOLVED)] * len(chosen) + given.answers(refused).codes.tolist()
    zeros = np.zeros((len(refused), 3))
    return Golden(
        np.concatenate([R[chosen], refused]),
        codes,
        np.concatenate([known[chosen], zeros]),
        np.concatenate([at.volume[chosen], zeros[:, 0]]),
        tolerance,
        blur,
    )


def _surely_out(at: Answers) -> NDArray[np.intp]:
    """Index of an orientation, if there is one, whose first leg that fails is out of reach by far."""
    far = (at.codes == Status.UNREACHABLE) & (at.D.min(axis=1) < -_LEAST_D) & (np.abs(at.D) > _LEAST_D).all(axis=1)
    return np.flatnonzero(far)[:1]


def _surely_beyond(given: Settings, at: Answers, clear: NDArray[np.bool_], tolerance: float) -> NDArray[np.intp]:
    """Index of an orientation, if there is one, that is reached and `clear` of floors, and clearly beyond a limit."""
    if given.limits is None:
        return np.zeros(0, dtype=np.intp)
    theta = np.where(clear[:, None], at.theta, given.middle)
    low, high = given.limits.theirs.T
    one_turn = (np.abs(theta - given.middle) < np.pi - 2 * tolerance).all(axis=1)
    beyond = (np.maximum(low - theta, theta - high) > 2 * tolerance).any(axis=1)
    return np.flatnonzero(clear & one_turn & beyond)[:1]
