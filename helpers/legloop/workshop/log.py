"""Orientation logs: read what a sensor, a tracker or a flight recorder wrote; and `write_table` for the results.

Many sensors write the scalar of a quaternion, w, first; SciPy and this package put it last. A log is therefore
read by the names of its columns, and where the names do not say which number is the scalar, the caller must.
Nothing is guessed, and no row is lost: each line after the header ends up as a sample or as a rejected row.

A log is UTF-8 text: lines that begin with # if need be, one line of column names, one line per sample.
Comma, semicolon or tab separates the fields, whichever stands in the header line; decimals have a point. A row
is one line; a quoted field that runs on to the next line is a broken row.
"""

from __future__ import annotations

from dataclasses import dataclass
from os import PathLike
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .. import _check
from .._check import Floats
from .._travel import Frozen
from ..rotation import from_quaternion, from_rpy
from ._file import file_path
from ._log_header import LogError, Rejected, make_plan, read_header
from ._log_names import PER_SECOND
from ._log_rows import BLOCK, Rows
from ._table import write_table

__all__ = ["LogError", "OrientationLog", "read_log", "write_table"]

# Small firmware normalises with the fast inverse square root, one Newton step: up to 1.75e-3 short (a known figure,
# from memory; the recorded stream of the tests is 1.69e-3 short). Three printed decimals give 1e-3 at most.
QUATERNION_TOLERANCE = 2e-3

TURN = 6.3
"""One turn in radians, as a log with one decimal writes it."""


@dataclass(frozen=True, eq=False)
class OrientationLog(Frozen):
    """The samples of a log, n of them; ``len(log)`` is n. The arrays are read-only.

    Attributes
    ----------
    times : (n,) array or None
        Seconds, increasing; None where the file has no time column.
    orientations : (n, 3, 3) array
        Rotation matrices.
    lines : (n,) array of int
        Line number in the file of each sample, counted from 1 as editors do.
    rejected : tuple of (int, str)
        Line number and reason of every row that was not used.
    unused : tuple of str
        Names of the columns that were not used.
    source : str
        Which columns were read, and how.
    """

    times: NDArray[np.float64] | None
    orientations: NDArray[np.float64]
    lines: NDArray[np.int64]
    rejected: Rejected
    unused: tuple[str, ...]
    source: str

    def __len__(self) -> int:
        return len(self.lines)


def read_log(
    path: str | PathLike[str],
    *,
    orientation: Literal["quaternion", "rpy"] | None = None,
    scalar: Literal["first", "last"] | None = None,
    angle_unit: Literal["deg", "rad"] | None = None,
    time_unit: Literal["s", "ms", "us"] | None = None,
    quaternion_tolerance: float = QUATERNION_TOLERANCE,
    bad_rows: Literal["raise", "report"] = "raise",
) -> OrientationLog:
    """Read the orientations, and the times if there are any, of a log file.

    Columns are found by name, in any order and any case. The unit is in the name, as in ``roll_deg``, ``roll.deg``,
    ``roll/deg``, ``roll (deg)``, ``roll [deg]``, ``rollDeg``; it must not contradict what the caller states.
    Columns that are not read are in ``.unused``.

    - Quaternion ``qw qx qy qz`` or ``w x y z`` (also ``q_w``, ``quat.w``, ``quaternion_w``, ``orientation.w``): the
      names tell the scalar. **Many sensors write w first**; it may stand anywhere.
    - Quaternion ``q0 q1 q2 q3`` or ``q1 q2 q3 q4``, in this order: `scalar` must be stated.
    - Angles ``roll pitch yaw`` in deg, ° or rad: ``R = Rz(yaw) Ry(pitch) Rx(roll)``. A file that has more than
      one turn in rad is refused, for these are degrees; except a yaw that is counted on over several turns, where the
      caller states ``angle_unit="rad"``.
    - Time ``time`` or ``t`` in s, ms or us; there need be none. Where none is read, a column that looks like a time,
      such as ``timestamp`` or ``t_min``, is an error.

    Parameters
    ----------
    path
        The file.
    orientation
        Which to read, when the file has both a quaternion and angles.
    scalar
        Where the scalar of the quaternion stands; needed only where the names do not say.
    angle_unit, time_unit
        Needed only where the names do not say.
    quaternion_tolerance
        How far the length of a quaternion may be from 1, in [0, 0.5]. Within it the quaternion is divided by
        its length, since logs are rounded and many filters normalise roughly; beyond it the row is bad.
    bad_rows
        ``"raise"``, or ``"report"`` to keep the good rows and list the others in ``.rejected``. Bad: too
        few or too many fields; a needed field that is empty or no finite number; a quaternion of wrong length;
        a time not above that of the last good row; a blank line, of spaces or tabs or nothing, except at the end of
        the file.

    Raises
    ------
    LogError
        A file that is no such table; a header or argument that leaves a choice open; a bad row, or with
        ``bad_rows="report"`` no good one.
    ValueError
        An argument that is none of the values allowed.
    """
    _check.choice(orientation, "orientation", ("quaternion", "rpy", None))
    _check.choice(scalar, "scalar", ("first", "last", None))
    _check.choice(angle_unit, "angle_unit", ("deg", "rad", None))
    _check.choice(time_unit, "time_unit", (*PER_SECOND, None))
    _check.choice(bad_rows, "bad_rows", ("raise", "report"))
    tolerance = _check.one(quaternion_tolerance, "quaternion_tolerance")
    if not 0 <= tolerance <= 0.5:
        raise ValueError(f"quaternion_tolerance is {tolerance}; it must be in [0, 0.5]")

    path = file_path(path)
    try:
        with path.open("rb") as file:
            header = read_header(file)
            plan = make_plan(header.names, orientation, scalar, angle_unit, time_unit)
            rows = Rows(header, plan, tolerance)
            rows.read(file)
    except OSError as error:
        raise LogError(f"{path} cannot be read: {error.strerror}") from error
    except LogError as error:
        raise LogError(f"{path.name}: {error}") from None
    total = rows.last - header.line
    if not total:
        raise LogError(f"{path.name}: there is no row after the header line")
    if rows.rejected and (bad_rows == "raise" or not rows.samples):
        raise _too_bad(path.name, tuple(rows.rejected), total)
    where = np.concatenate(rows.lines)
    times, values = _split(rows.samples)
    if plan.unit == "rad":
        names = [header.names[k] for k in plan.columns]
        _within_one_turn(path.name, values, names, where, angle_unit is not None)
    matrices = _matrices(values, plan.unit)
    used = {*plan.columns, plan.time}
    unused = tuple(name for index, name in enumerate(header.names) if index not in used)
    kept = None if plan.time is None else times
    return OrientationLog(kept, matrices, where, tuple(rows.rejected), unused, plan.source)


def _split(samples: list[Floats]) -> tuple[Floats, Floats]:
    """Times and components of all rows; the list is empty afterwards, so that no row is held twice for long."""
    size = sum(map(len, samples))
    times, values = np.empty(size), np.empty((size, samples[0].shape[1] - 1))
    while samples:
        part = samples.pop()
        times[size - len(part) : size], values[size - len(part) : size] = part[:, 0], part[:, 1:]
        size -= len(part)
    return times, values


def _matrices(values: Floats, unit: str | None) -> Floats:
    """Rotation matrices of quaternions or angles, made in blocks: a million at once take several times the memory."""
    matrices = np.empty((len(values), 3, 3))
    for start in range(0, len(values), BLOCK):
        part = values[start : start + BLOCK]
        if unit is None:
            turns = from_quaternion(part, tolerance=0.6)  # wider than any of ours: each row was judged by itself
        else:
            turns = from_rpy(*(np.radians(part) if unit == "deg" else part).T, turns=True)
        matrices[start : start + BLOCK] = turns
    return matrices


def _within_one_turn(file: str, values: Floats, names: list[str], lines: NDArray[np.int64], stated: bool) -> None:
    """Refuse radians that must be degrees: 30, as a roll, would be five turns.

    The file as a whole, also where bad rows are only reported: in the wrong unit small angles, which look well, are
    as wrong as large ones.
    """
    for role, name, column in zip(("roll", "pitch", "yaw"), names, values.T, strict=True):
        far = np.abs(column) > TURN
        if far.any() and not (stated and role == "yaw"):
            row = int(np.argmax(far))
            bare = name.casefold() == role  # the unit was stated by the caller, not by the name
            unit = "state angle_unit='deg'" if bare else "name the columns roll_deg, pitch_deg, yaw_deg"
            other = "state angle_unit='rad' as well" if role == "yaw" else "take the whole turns off"
            raise LogError(
                f"{file}: {name} is {column[row]:.6g} rad in line {lines[row]}, more than one turn; if these are "
                f"degrees, {unit}; if the angle is counted on over several turns, {other}"
            )


def _too_bad(name: str, rejected: Rejected, total: int) -> LogError:
    told = [f"  line {number}: {reason}" for number, reason in rejected[:10]]
    if len(rejected) > 10:
        told.append(f"  and {len(rejected) - 10} more")
    if len(rejected) < total:
        told.append("mend the file, or keep the other rows with bad_rows='report'")
    return LogError(f"{name}: {len(rejected)} of {total} rows cannot be used\n" + "\n".join(told), rejected=rejected)
