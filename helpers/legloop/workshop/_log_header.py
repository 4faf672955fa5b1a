"""What the header line of an orientation log says: which columns are read, and how.

`log.read_log` is the entry; nothing here is meant to be called from elsewhere. A role is read from the name of a
column or stated by the caller, never guessed from its place or its numbers.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from typing import BinaryIO

from .._travel import TravellingError
from ._log_names import ANGLE_UNITS, QUATERNION_NAME, TIME_UNITS, looks_like_time, unit_of

Rejected = tuple[tuple[int, str], ...]

WHAT_WOULD_DO = (
    "qw, qx, qy, qz or w, x, y, z in any order; or q0..q3 or q1..q4 with scalar='first' or 'last'; "
    "or roll, pitch, yaw with a unit, such as roll_deg or roll (rad)"
)

# Not float(): it would also take "1_000", "nan" and digits of other scripts.
NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)


class LogError(TravellingError):
    """A log that cannot be read as asked.

    Attributes
    ----------
    rejected : tuple of (int, str)
        Line number in the file and reason of every row that cannot be used; empty where the file as a
        whole, its header or an argument is at fault. The message shows the first ten.
    """

    def __init__(self, message: str, *, rejected: Rejected = ()) -> None:
        super().__init__(message)
        self.rejected = rejected


class RowError(Exception):
    """Why one row cannot be used."""


@dataclass(frozen=True)
class Header:
    """The line of column names: its number in the file, counted from 1, the names, the separator."""

    line: int
    names: list[str]
    separator: str


@dataclass(frozen=True)
class Plan:
    """Which columns hold x, y, z, w or roll, pitch, yaw, in which unit, and which holds the time."""

    columns: list[int]
    unit: str | None  # of the angles; None for a quaternion
    time: int | None
    time_unit: str
    source: str


def is_blank(line: bytes) -> bool:
    """Whether a line has nothing on it but spaces and tabs."""
    return not line.strip(b" \t")


def read_header(file: BinaryIO) -> Header:
    """Read up to the line of column names, the first that is neither blank nor a comment, and split it."""
    number, line = 0, b""
    while is_blank(line) or line.startswith(b"#"):
        number, raw = number + 1, file.readline()
        if not raw:
            raise LogError("the file is empty; a log begins with a line of column names")
        line = (raw.removeprefix(b"\xef\xbb\xbf") if number == 1 else raw).strip(b"\r\n")
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError as error:
        byte = line[error.start]
        raise LogError(f"line {number} is not UTF-8 text (byte {byte:#04x}); save the file as UTF-8") from None
    if control := re.search(r"[\x00-\x08\x0a-\x1f]", text):
        raise LogError(
            f"line {number} holds the control character {control[0]!r}; a log is UTF-8 text whose lines end in "
            "LF or CR LF"
        )
    separators = [mark for mark in ",;\t" if mark in re.sub('"[^"]*"', "", text)]
    if len(separators) != 1:
        found = " and ".join(map(repr, separators)) or "none"
        raise LogError(
            f"the header, line {number}, must have one kind of separator, comma, semicolon or tab; "
            f"it has {found}: {short(text)}"
        )
    try:
        names = [name.strip() for name in fields_of(text, separators[0])]
    except RowError as error:
        raise LogError(f"the header, line {number}, cannot be read: {error}") from None
    _check_names(names, number)
    return Header(number, names, separators[0])


def _check_names(names: list[str], number: int) -> None:
    if all(NUMBER.fullmatch(name) for name in names):
        raise LogError(
            f"line {number} holds numbers only, but the line of column names comes first; "
            "if it begins with #, remove the #"
        )
    for name, count in Counter(names).items():
        if count > 1:
            raise LogError(f"the column name {short(name)} occurs {count} times; each must be different")
        if unseen := next((c for c in name if not (c.isprintable() or c.isspace())), None):
            raise LogError(f"the column name {short(name)} holds the invisible character {unseen!a}; remove it")


def make_plan(
    names: list[str], orientation: str | None, scalar: str | None, angle_unit: str | None, time_unit: str | None
) -> Plan:
    """Decide from the names, and from what the caller states, which columns are read; LogError where that is open."""
    quaternions = _find_quaternions(names)
    angles = [_find(names, role, ANGLE_UNITS) for role in ("roll", "pitch", "yaw")]
    has = {"quaternion": bool(quaternions), "rpy": all(angles)}
    if orientation is None and all(has.values()):
        raise LogError(
            "the file has a quaternion and roll, pitch, yaw; say which to read: orientation='quaternion' or 'rpy'"
        )
    if not any(has.values()) or (orientation is not None and not has[orientation]):
        told = ", ".join(map(short, names[:30])) + (f" and {len(names) - 30} more" if len(names) > 30 else "")
        wanted = {None: "orientation", "quaternion": "quaternion", "rpy": "roll, pitch, yaw"}[orientation]
        raise LogError(f"there is no complete {wanted} among the columns {told}. These would do: {WHAT_WOULD_DO}")
    unit = None
    if has["rpy"] and orientation != "quaternion":
        _no_use("scalar", scalar, "quaternion is read")
        columns = [_only(names, [index for index, _ in found]) for found in angles]
        units = {names[found[0][0]]: found[0][1] for found in angles}
        unit = _agree(units, "angle_unit", angle_unit)
        how = f"unit {'by name' if all(units.values()) else 'as stated'}; Rz(yaw) Ry(pitch) Rx(roll)"
        source = f"{', '.join(names[k] for k in columns)} (in {unit}, {how})"
    else:
        _no_use("angle_unit", angle_unit, "angle is read")
        columns, source = _quaternion_columns(names, quaternions, scalar)
    time, time_unit = _time_column(names, time_unit)
    source += "; no time column" if time is None else f"; time {names[time]} (in {time_unit})"
    return Plan(columns, unit, time, time_unit, source)


def _find(names: list[str], role: str, units: Mapping[str, str]) -> list[tuple[int, str]]:
    """Index and unit, "" where none is stated, of the columns of one role."""
    found = [(index, unit_of(name, role, units)) for index, name in enumerate(names)]
    return [(index, unit) for index, unit in found if unit is not None]


def _find_quaternions(names: list[str]) -> list[tuple[str, list[list[int]]]]:
    """Every complete set of four: its roles, "xyzw", "0123" or "1234", and the columns named for each role."""
    families: dict[str, dict[str, list[int]]] = {}
    for index, name in enumerate(names):
        if match := QUATERNION_NAME.fullmatch(name.casefold()):
            families.setdefault(match[1], {}).setdefault(match[2], []).append(index)
    return [
        (roles, [family[role] for role in roles])
        for family in families.values()
        for roles in ("xyzw", "0123", "1234")
        if all(role in family for role in roles)
    ]


def _quaternion_columns(
    names: list[str], quaternions: list[tuple[str, list[list[int]]]], scalar: str | None
) -> tuple[list[int], str]:
    """Columns of x, y, z, w, and a sentence about them."""
    if len(quaternions) > 1:
        told = ", ".join(names[k] for _, found in quaternions for columns in found for k in columns)
        raise LogError(f"there is more than one quaternion ({told}); remove or rename all but one")
    roles, found = quaternions[0]
    columns = [_only(names, candidates) for candidates in found]
    in_file = sorted(columns)
    told = " ".join(names[k] for k in in_file)
    if roles == "xyzw":
        placed = {0: "first", 3: "last"}.get(in_file.index(columns[3]), f"at {names[columns[3]]}")
        if scalar is not None and scalar != placed:
            raise LogError(f"scalar={scalar!r} contradicts the columns {told}, whose names put it {placed}")
        return columns, f"quaternion {told} (scalar {placed}, by name)"
    if scalar is None:
        raise LogError(
            f"the names {told} do not say which is the scalar (w); state scalar='first', as many sensors write it, "
            "or scalar='last'"
        )
    if in_file != columns:
        raise LogError(f"the columns {told} are not in the order of their numbers; name them qw, qx, qy, qz instead")
    ordered = [*columns[1:], columns[0]] if scalar == "first" else columns
    return ordered, f"quaternion {told} (scalar {scalar}, as stated)"


def _time_column(names: list[str], time_unit: str | None) -> tuple[int | None, str]:
    """Index and unit of the time column; None where there is none."""
    found = _find(names, "time", TIME_UNITS) + _find(names, "t", TIME_UNITS)
    if not found:
        for name in filter(looks_like_time, names):
            raise LogError(
                f"the column {short(name)} looks like a time, but only time or t with the unit s, ms or us is read; "
                "name it time_s, time_ms or time_us, or, if it is none of these, not time at all"
            )
        _no_use("time_unit", time_unit, "time column 'time' or 't' is there")
        return None, ""
    index = _only(names, [index for index, _ in found])
    return index, _agree({names[index]: found[0][1]}, "time_unit", time_unit)


def _only(names: list[str], candidates: list[int]) -> int:
    if len(candidates) > 1:
        told = " and ".join(repr(names[k]) for k in candidates)
        raise LogError(f"the columns {told} could both be meant; remove or rename all but one")
    return candidates[0]


def _agree(units: Mapping[str, str], argument: str, stated: str | None) -> str:
    """The one unit that the names of the columns and the caller agree on."""
    named = {name: unit for name, unit in units.items() if unit}
    if len({*named.values()}) > 1:
        raise LogError(f"the units of {', '.join(named)} differ; a log must use one")
    for name, unit in named.items():
        if stated not in (None, unit):
            raise LogError(f"{argument}={stated!r} contradicts the column {name!r}")
    missing = [name for name in units if name not in named]
    if missing and stated is None:
        raise LogError(f"no unit is given for {', '.join(missing)}; state {argument}, or write it into the name")
    return stated if stated is not None else next(iter(named.values()))


def _no_use(argument: str, value: str | None, what: str) -> None:
    if value is not None:
        raise LogError(f"{argument}={value!r} is stated, but no {what}; leave it out")


def fields_of(text: str, separator: str) -> list[str]:
    """The fields of one line; RowError where its quotation marks do not match."""
    if "\r" in text:
        raise RowError("a carriage return stands inside the line")
    try:
        return next(csv.reader([text], delimiter=separator, skipinitialspace=True, strict=True))
    except csv.Error as error:
        told = "a quotation mark is not closed" if "unexpected end" in str(error) else str(error)
        raise RowError(told) from None


def short(text: str) -> str:
    """Text from the file, as an error message shows it."""
    return repr(text if len(text) <= 40 else text[:37] + "...")
