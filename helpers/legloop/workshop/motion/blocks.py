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
from .limits import Walls
from .path import Path, Pieces, pieces
from .reachable import reachable_path
from .result import TABLE, MotionError, MotionPlan, Report, numbers_of, told

__all__ = ["AHEAD", "BLOCK", "Task", "planned"]

BLOCK = 16384
"""Samples planned at a time."""

AHEAD = 2048
"""Samples looked at beyond a block. Each block is planned as if the path ended there, at rest; so the motors can
stop in time, whatever follows. Nothing is slowed that need not be, if they can brake within so many samples."""

_UNSEEN = 1e-3  # ticks: no start of a motor is cut finer, and no hold beside a corner takes longer

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
        """The pieces of the path from sample `low` to sample `high`, in our frames; times from the first sample on.

        Counted from 1970 a time has steps of a quarter of a microsecond: too coarse for the time of one tick.
        """
        R = self.given[low : high + 1]
        R = R if self.ours else self.convention.orientation_to_ours(R)
        return pieces(R, self.times[low : high + 1] - self.times[0], self.path, low)


def planned(task: Task) -> Iterator[MotionPlan]:
    """The parts of the plan, in order; MotionError where the first fault comes."""
    walls, last = task.joint.walls, len(task.times) - 1
    begun = float(task.times[0])
    x0, clock0, row, before, coming = np.inf, 0.0, 0, walls.middle, np.zeros(3)
    rows: Floats | None = None
    for first in range(0, last, BLOCK):
        end = min(first + BLOCK, last)
        found, most = _caps(walls, _knots(task, first, min(end + AHEAD, last), before), coming, end + AHEAD >= last)
        c = found.cells
        x = timing.profile(c, most, walls.acceleration, x0)
        root = np.sqrt(x)
        stop = int(found.last[end - first - 1])
        time = clock0 + np.append(np.zeros(1), np.cumsum(2 * np.diff(c.s) / (root[:-1] + root[1:])))
        final = time[stop]
        # One more tick where the last part ends between two: the table ends at rest, at the last sample.
        ticks = int(np.ceil(final / walls.tick - 1e-9)) + (end == last)
        t = np.arange(row, max(ticks, row), dtype=np.float64) * walls.tick
        s, q, k = timing.along(c, x, time, t)
        q = _theirs(task, q)
        table = np.zeros(len(t), dtype=TABLE)
        table["t"], table["theta"], table["steps"] = begun + t, q, task.drive.steps(q)
        rows = np.repeat(q[:1], 2, axis=0) if rows is None else rows
        padded = np.concatenate([rows, q, np.repeat(q[-1:], 2 * (end == last), axis=0)])
        part = slice(0, stop + 1)
        slow = _runs(begun + c.s[part], x[part] < 1 - 1e-9)
        report = _figures(task, table, padded, found, part, k)
        takes = final - clock0 if end < last else t[-1] - clock0
        yield MotionPlan(
            table, begun + s, Report(float(c.s[stop] - c.s[0]), float(takes), slow, *report, deviation=task.deviation)
        )
        x0, clock0, row, before, rows = float(x[stop]), float(final), row + len(t), c.q[stop], padded[-2:]
        coming = c.arriving[stop - 1].copy()  # a view would keep the whole block


def _caps(walls: Walls, found: Knots, coming: Floats, ends: bool) -> tuple[Knots, Floats]:
    """The knots, cut finer beside rest, and the most that x may be at each; `ends`: the whole path ends with them.

    Where it does not, x is 0 at the last knot, and the cell before it stays whole. So no block is cut finer than the
    next one, and what this block can brake in, the next can too.
    """
    limits = walls.speed, walls.acceleration
    rest = timing.rests(found.cells, coming)
    rest[-1] &= ends
    at = timing.beside_rest(found.cells, rest, *limits, _pace(walls, found), _UNSEEN * walls.tick)
    found = found.cut(at) if len(at) else found
    most = timing.caps(found.cells, *limits, _pace(walls, found), timing.rests(found.cells, coming))
    most[-1] *= ends
    return found, most


def _pace(walls: Walls, found: Knots) -> Floats:
    """The most that v may be at each knot, for the evenness there."""
    return np.asarray(np.minimum(found.evenness / max(walls.evenness, 1e-300), 1.0))


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
    begun = float(task.times[0])
    listed = sorted(f._replace(start=begun + f.start, stop=begun + f.stop) for f in listed)
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
