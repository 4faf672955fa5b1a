"""The planner at work: a block of samples at a time, from knots to rows of the table."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from ...convention import Convention
from ..drive import BeltDrive
from . import timing
from .knots import Fault, Joint, Knots, faults, knots
from .path import Path, Pieces, pieces
from .reachable import reachable_path
from .result import TABLE, MotionError, MotionPlan, Report, numbers_of, told

__all__ = ["AHEAD", "BLOCK", "Task", "planned"]

BLOCK = 16384
"""Samples planned at a time."""

AHEAD = 2048
"""Samples looked at beyond a block. Each block is planned as if the path ended there, at rest; so the motors can
stop in time, whatever follows. Nothing is slowed that need not be, if they can brake within so many samples."""

_REFUSED = 0.05  # of the least evenness: nearer to singular than this nothing is slow enough


class Task(NamedTuple):
    """The checked arguments."""

    joint: Joint
    given: Floats
    """(n, 3, 3): orientations as they came, or in our frames if `ours`."""
    ours: bool
    times: Floats
    drive: BeltDrive
    convention: Convention
    path: Path
    slow: bool
    deviation: float

    def pieces(self, low: int, high: int) -> Pieces:
        """The pieces of the path from sample `low` to sample `high`, in our frames."""
        R = self.given[low : high + 1]
        R = R if self.ours else self.convention.orientation_to_ours(R)
        return pieces(R, self.times[low : high + 1], self.path, low)


def planned(task: Task) -> Iterator[MotionPlan]:
    """The parts of the plan, in order; MotionError where the first fault comes."""
    walls, last = task.joint.walls, len(task.times) - 1
    x0, clock0, row, before = 0.0, float(task.times[0]), 0, walls.middle
    rows: Floats | None = None
    for first in range(0, last, BLOCK):
        end = min(first + BLOCK, last)
        found = _knots(task, first, min(end + AHEAD, last), before)
        c = found.cells
        pace = np.minimum(found.evenness / max(walls.evenness, 1e-300), 1.0)
        most = timing.caps(c, walls.speed, walls.acceleration, pace)
        x = timing.profile(c, most, walls.acceleration, x0)
        root = np.sqrt(x)
        stop = int(found.last[end - first - 1])
        time = clock0 + np.concatenate([[0.0], np.cumsum(2 * np.diff(c.s) / (root[:-1] + root[1:]))])
        final = time[stop]
        # One more tick where the last part ends between two: the table ends at rest, at the last sample.
        ticks = int(np.ceil((final - task.times[0]) / walls.tick - 1e-9)) + (end == last)
        t = task.times[0] + np.arange(row, max(ticks, row)) * walls.tick
        s, q, k = timing.along(c, x, time, t)
        q = _theirs(task, q)
        table = np.zeros(len(t), dtype=TABLE)
        table["t"], table["theta"], table["steps"] = t, q, task.drive.steps(q)
        rows = np.repeat(q[:1], 2, axis=0) if rows is None else rows
        padded = np.concatenate([rows, q, np.repeat(q[-1:], 2 * (end == last), axis=0)])
        part = slice(0, stop + 1)
        slow = _runs(c.s[part], x[part] < 1 - 1e-9)
        report = _figures(task, table, padded, found, part, k)
        takes = final - clock0 if end < last else t[-1] - clock0
        yield MotionPlan(
            table, s, Report(float(c.s[stop] - c.s[0]), float(takes), slow, *report, deviation=task.deviation)
        )
        x0, clock0, row, before, rows = float(x[stop]), float(final), row + len(t), c.q[stop], padded[-2:]


def _knots(task: Task, first: int, end: int, before: Floats) -> Knots:
    """Knots of the samples from `first` to `end`, with a neighbour on either side for the rates."""
    low, high = max(first - 1, 0), min(end + 1, len(task.times) - 1)
    parts = task.pieces(low, high)
    inner = slice(first - low, end - low)
    walls = task.joint.walls
    found = knots(task.joint, type(parts)(*(array[inner] for array in parts)), task.path == "slerp", before)
    floor = walls.evenness * (_REFUSED if task.slow else 1.0)
    if found is not None and found.within(walls) and (found.evenness >= floor).all():
        return found
    raise _cannot(task, first, before, floor)


def _cannot(task: Task, first: int, before: Floats, floor: float) -> MotionError:
    """The error with all faults from sample `first` on."""
    listed: list[Fault] = []
    last = len(task.times) - 1
    for start in range(first, last, BLOCK):
        low, end = max(start - 1, 0), min(start + BLOCK, last)
        high = min(end + 1, last)
        parts = task.pieces(low, high)
        inner = type(parts)(*(array[start - low : end - low] for array in parts))
        found, before = faults(task.joint, inner, task.path == "slerp", before, floor)
        listed.extend(found)
    listed.sort()
    together = tuple(listed)
    names = numbers_of(task.convention)
    deviation = None
    offer = "choose another path, or allow less evenness in MotionLimits"
    if not together:
        return MotionError(
            f"somewhere after {task.times[first]:.6g} s the path touches a limit, or bends too sharply for a motor; "
            "move the request, or change edge or travel in MotionLimits a little",
            (),
            None,
        )
    if not any(fault.why == "singular" for fault in together):
        offer = "no path nearby that the joint can follow was found; turn the request, or widen the limits"
        try:
            R = task.given if task.ours else task.convention.orientation_to_ours(task.given)
            deviation = reachable_path(task.joint, R, task.times, task.path, names)[2]
        except MotionError:
            pass
        else:
            off = float(np.degrees(deviation))
            offer = (
                f"the nearest path that it can follow is off by {off:.3g}° at most: unreachable='nearest' takes it"
            )
    elif not task.slow:
        offer = "singular='slow' goes through slowly, if nothing is nearer than a twentieth of that; or " + offer
    return MotionError(
        f"the joint cannot follow the request:\n{told(together, names)}\n{offer}",
        together,
        deviation,
    )


def _figures(
    task: Task,
    table: NDArray[np.void],
    padded: Floats,
    found: Knots,
    part: slice,
    k: NDArray[np.int_],
) -> tuple[Floats, Floats, Floats, Floats, Floats, float, float, float, float]:
    """Peaks, margins and what rounding costs, of the rows of one part."""
    walls, given = task.joint.walls, task.convention
    speed = np.abs(np.diff(padded, axis=0)).max(axis=0, initial=0.0) / walls.tick
    hardest = np.abs(np.diff(padded, 2, axis=0)).max(axis=0, initial=0.0) / walls.tick**2
    q = found.cells.q[part]
    theta = table["theta"] if len(table) else _theirs(task, q[:1])
    left = np.minimum(q - walls.low, walls.high - q).min(axis=0)[list(given.leg_order)]
    whole = task.drive.angle(table["steps"])
    off = np.empty_like(whole)
    off[:, list(given.leg_order)] = (whole - table["theta"]) * given.sense  # as far, in our legs
    turned = np.linalg.norm(np.einsum("nij,nj->ni", found.jacobians[k], off), axis=1)
    signs = np.array([[1, 1, 1], [1, 1, -1], [1, -1, 1], [1, -1, -1]])
    worst = np.linalg.norm(found.jacobians[part] @ signs.T, axis=1).max() * task.drive.step_angle / 2
    return (
        speed,
        hardest,
        theta.min(axis=0),
        theta.max(axis=0),
        left,
        float(found.margin[part].min()),
        float(found.evenness[part].min()),
        float(turned.max(initial=0.0)),
        float(worst),
    )


def _theirs(task: Task, q: Floats) -> Floats:
    return task.convention.angles_to_theirs(q)


def _runs(s: Floats, slow: NDArray[np.bool_]) -> tuple[tuple[float, float], ...]:
    """Stretches of s in which a knot is slow; each reaches to the knots beside it."""
    wide = slow.copy()
    wide[:-1] |= slow[1:]
    wide[1:] |= slow[:-1]
    edges = np.diff(np.concatenate([[0], wide.astype(int), [0]]))
    pairs = zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1, strict=True)
    return tuple((float(s[i]), float(s[j])) for i, j in pairs)
