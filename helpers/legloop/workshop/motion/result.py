"""What planning gives: the table, the figures of the report, and the error that says where there is no plan."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from os import PathLike

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from ..._travel import Frozen, TravellingError
from ...convention import Convention
from ...mechanism import deg
from .._file import file_path
from ..drive.belt import COUNTER
from ..log import write_table
from .faults import Fault

__all__ = ["TABLE", "MotionError", "MotionPlan", "Report", "numbers_of", "read_motion", "write_motion"]

TABLE = np.dtype([("t", np.float64), ("theta", np.float64, (3,)), ("steps", np.int64, (3,))])
"""One row for each tick: seconds, motor angles in radians, motor positions in microsteps."""

_COLUMNS = ["time_s", *(f"theta{k}_rad" for k in (1, 2, 3)), *(f"motor{k}_microsteps" for k in (1, 2, 3))]


class MotionError(TravellingError):
    """The joint cannot follow a request.

    Attributes
    ----------
    faults : tuple of Fault
        From when to when, why, which leg, by how much, and at which pose; in order of time.
    """

    def __init__(self, message: str, faults: tuple[Fault, ...] = ()) -> None:
        super().__init__(message)
        self.faults = faults


@dataclass(frozen=True, eq=False)
class Report(Frozen):
    """What a plan does with its motors, and what it leaves to spare. Angles in radians; motors as in the table."""

    asked: float
    """How long the request takes, in seconds."""
    takes: float
    """How long the plan takes, to the end of its last tick."""
    slowed: tuple[tuple[float, float], ...]
    """From when to when, in the time of the request, it runs slower than asked. Speeding up from rest and coming
    to rest are part of it; to hold a pose is not."""
    peak_speed: Floats
    """(3,) rad/s: first differences of the table over the tick."""
    peak_acceleration: Floats
    """(3,) rad/s²: second differences over the tick, from and to rest."""
    lowest: Floats
    """(3,): the least motor angles of the table."""
    highest: Floats
    """(3,)"""
    travel_left: Floats
    """(3,): the least distance to an end of travel; inf without one."""
    reach_left: float
    """No leg comes nearer to the edge of its reach, rad: a bound all along the path, not a look at its samples."""
    volume: float
    """|V|, the volume that the unit normals span, is never less all along the path; 0 would be type 2. A bound."""
    evenness: float
    """Nor is this, as `MotionLimits` counts it. The three bounds are within a few percent of the least there is; less
    sharp where a very long path stays near its least throughout."""
    rounding: float
    """Farthest that whole steps turn the platform off the path, at a row of the table: ``|J d theta|``."""
    rounding_bound: float
    """What it can be at most, to first order in a step: half a step of all three motors in their worst senses, and a
    bound of J all along the path."""
    deviation: float = 0.0
    """The path was moved from the request by no more than this, because you asked for the nearest reachable one."""

    def then(self, other: Report) -> Report:
        """One report of this part and of the part that follows it."""
        slowed = list(self.slowed)
        if slowed and other.slowed and other.slowed[0][0] <= slowed[-1][1]:
            slowed[-1] = slowed[-1][0], other.slowed[0][1]
            slowed.extend(other.slowed[1:])
        else:
            slowed.extend(other.slowed)
        return Report(
            self.asked + other.asked,
            self.takes + other.takes,
            tuple(slowed),
            np.maximum(self.peak_speed, other.peak_speed),
            np.maximum(self.peak_acceleration, other.peak_acceleration),
            np.minimum(self.lowest, other.lowest),
            np.maximum(self.highest, other.highest),
            np.minimum(self.travel_left, other.travel_left),
            min(self.reach_left, other.reach_left),
            min(self.volume, other.volume),
            min(self.evenness, other.evenness),
            max(self.rounding, other.rounding),
            max(self.rounding_bound, other.rounding_bound),
            max(self.deviation, other.deviation),
        )

    def __str__(self) -> str:
        def each(values: Floats, decimals: int = 1) -> str:
            return ", ".join("none" if np.isinf(v) else f"{v / deg:.{decimals}f}°" for v in values)

        some = f"{len(self.slowed)} stretch" + "es" * (len(self.slowed) > 1)
        late = f"slower than asked in {some}, {sum(b - a for a, b in self.slowed):.2f} s in all"
        late = late if self.slowed else "nowhere slower than asked"
        free = bool(np.isinf(self.travel_left).all())
        travel = "no travel limits given" if free else f"travel left {each(self.travel_left)}"
        lines = [
            f"asked for {self.asked:.3f} s, takes {self.takes:.3f} s; {late}",
            f"peak speed of the joints {each(self.peak_speed)} per second",
            f"peak acceleration {each(self.peak_acceleration)} per second²",
            f"motor angles from {each(self.lowest)} to {each(self.highest)}; {travel}",
            f"all along the path at least: reach left {self.reach_left / deg:.2f}°, V {self.volume:.3g}, "
            f"evenness {self.evenness:.3g}",
            f"whole steps turn the platform off by {self.rounding / deg:.3f}° at most, "
            f"bound {self.rounding_bound / deg:.3f}°",
        ]
        if self.deviation:
            lines.append(f"nearest reachable path: off the request by {self.deviation / deg:.2f}° at most")
        return "\n".join(lines)


@dataclass(frozen=True, eq=False)
class MotionPlan(Frozen):
    """Targets for the controller, one for each tick, and what became of the request.

    Attributes
    ----------
    table : (n,) structured array
        ``t`` in seconds, from the first time of the request on, a tick apart; ``theta`` (3,) in radians; ``steps``
        (3,).
    asked_at : (n,) array
        Where in the request, in its own seconds, the platform stands at each row; it never decreases.
    report : Report
        Peaks, margins, what rounding costs.
    """

    table: NDArray[np.void]
    asked_at: Floats
    report: Report

    def write(self, path: str | PathLike[str], *, overwrite: bool = False) -> None:
        """The table as a CSV file; `read_motion` gives it back to the last digit. Errors as for `write_motion`."""
        write_motion(path, self.table, overwrite=overwrite)


def write_motion(path: str | PathLike[str], table: NDArray[np.void], *, overwrite: bool = False) -> None:
    """Write the table of a plan as CSV: ``time_s``, ``theta1_rad`` to ``theta3_rad``, ``motor1_microsteps`` to 3.

    `path` is the file; `table` (n,) has the fields t in seconds, theta (3,) in radians and steps (3,) in microsteps,
    as `MotionPlan` and `read_motion` give it. Every number is written with as many digits as give it back.

    FileExistsError where the file exists, unless `overwrite`. TypeError for what is no such table; ValueError for a
    time or an angle that is not finite, and for times that do not increase.
    """
    if not isinstance(table, np.ndarray) or table.dtype != TABLE or table.ndim != 1:
        raise TypeError(
            f"table is an object of type {type(table).__name__}; give the .table of a plan, or (n,) rows of its "
            "dtype: t, theta and steps"
        )
    fault = _faulty(table)
    if fault is not None:
        raise ValueError(f"table[{fault[0]}] {fault[1]}")
    columns = [table["t"] + 0.0, *(table["theta"].T + 0.0), *table["steps"].T]  # no -0
    write_table(path, dict(zip(_COLUMNS, columns, strict=True)), overwrite=overwrite)


def read_motion(path: str | PathLike[str]) -> NDArray[np.void]:
    """Read a file of `write_motion`: its table (n,), t in seconds, theta (3,) in radians, steps (3,) in microsteps.

    OSError where the file cannot be read. ValueError, with name and line of the file, for another header, a row of
    another length, a number that is none or not finite, steps that are not whole, and times that do not increase.
    """
    source = file_path(path)
    name, rows = source.name, []
    try:
        with source.open(encoding="utf-8", newline="") as file:
            reader = csv.reader(file)
            header = next(reader, [])
            if header != _COLUMNS:
                raise ValueError(
                    f"{name} begins with {','.join(header)!r}; a motion begins with {','.join(_COLUMNS)!r}"
                )
            for row in reader:
                rows.append(_row(row, f"{name}, line {reader.line_num}"))
    except UnicodeDecodeError:
        raise ValueError(f"{name} is no UTF-8 text; give a file of write_motion") from None
    table = np.array(rows, dtype=TABLE)
    fault = _faulty(table)
    if fault is not None:
        raise ValueError(f"{name}, line {fault[0] + 2} {fault[1]}")
    return table


def _row(fields: list[str], where: str) -> tuple[float, list[float], list[int]]:
    """One line of a file as a row of the table."""
    if len(fields) != len(_COLUMNS):
        raise ValueError(f"{where} has {len(fields)} fields, and a motion {len(_COLUMNS)}; it has been cut or edited")
    try:
        t, *theta = (float(field) for field in fields[:4])
        steps = [int(field) for field in fields[4:]]
    except ValueError as error:
        raise ValueError(f"{where}: {error}; write motions with write_motion") from None
    if max(map(abs, steps)) >= COUNTER:
        raise ValueError(f"{where} holds {steps} microsteps; no motor counts beyond 2**53")
    return t, theta, steps


def _faulty(table: NDArray[np.void]) -> tuple[int, str] | None:
    """The first row that no controller should be given, and what is wrong with it."""
    numbers = np.column_stack([table["t"], table["theta"]])
    lost = ~np.isfinite(numbers).all(axis=1)
    back = np.diff(table["t"], prepend=-np.inf) <= 0
    if not (lost | back).any():
        return None
    row = int(np.argmax(lost | back))
    t, *theta = numbers[row].tolist()
    if lost[row]:
        return row, f"holds t = {t} s and theta = {theta} rad; all must be finite"
    return row, f"is of {t:.10g} s, after one of {numbers[row - 1, 0]:.10g} s; times must increase"


def numbers_of(convention: Convention) -> tuple[int, int, int]:
    """The numbers, from 1, by which our three legs go in the counting of a convention."""
    first, second, third = (convention.leg_order.index(i) + 1 for i in range(3))
    return first, second, third
