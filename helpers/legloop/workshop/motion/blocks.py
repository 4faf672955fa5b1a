"""The planner at work: a block of samples at a time, from knots to rows of the table."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from . import timing
from .continuous import Continuous, Place, continuous
from .knots import Knots, cell_count, knots
from .limits import Walls
from .refusal import refusal
from .result import TABLE, MotionPlan, Report
from .task import BLOCK, Task

__all__ = ["AHEAD", "planned"]

AHEAD = 2048
"""Samples looked at beyond a block. Each block is planned as if the path ended there, at rest; so the motors can
stop in time, whatever follows. Nothing is slowed that need not be, if they can brake within so many samples."""

_UNSEEN = 1e-3  # ticks: no start of a motor is cut finer, and no hold beside a corner takes longer


def planned(task: Task) -> Iterator[MotionPlan]:
    """The parts of the plan, in order; MotionError where the first fault comes."""
    walls, last = task.joint.walls, len(task.times) - 1
    begun = float(task.times[0])
    x0, clock0, row, before, coming = np.inf, 0.0, 0, walls.middle, np.zeros(3)
    rows: Floats | None = None
    for first in range(0, last, BLOCK):
        end = min(first + BLOCK, last)
        found, bounds = _knots(task, first, min(end + AHEAD, last), before)
        found, most = _caps(walls, found, coming, end + AHEAD >= last)
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
        bounds = Continuous(*(values[: end - first] for values in bounds))
        report = _figures(task, table, padded, found, part, k, bounds)
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


def _knots(task: Task, first: int, end: int, before: Floats) -> tuple[Knots, Continuous]:
    """Knots of the samples from `first` to `end`, and what holds between them; MotionError where there are none."""
    parts, walls = task.pieces(first, end), task.joint.walls
    corners = task.path == "slerp"
    bounds = continuous(task.joint, parts, cell_count(parts, corners), task.floor)
    if isinstance(bounds, Place):
        raise refusal(task, first, before, bounds)
    found = knots(task.joint, parts, corners, before)
    if found is None or not found.within(walls):
        raise refusal(task, first, before)
    return found, bounds


def _figures(
    task: Task,
    table: NDArray[np.void],
    padded: Floats,
    found: Knots,
    part: slice,
    k: NDArray[np.int_],
    bounds: Continuous,
) -> tuple[Floats, Floats, Floats, Floats, Floats, float, float, float, float, float]:
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
    return (
        speed,
        hardest,
        theta.min(axis=0),
        theta.max(axis=0),
        left,
        float(bounds.margin.min()),
        float(bounds.volume.min()),
        float(bounds.evenness.min()),
        float(turned.max(initial=0.0)),
        float(bounds.gain.max() * task.drive.step_angle / 2),
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
