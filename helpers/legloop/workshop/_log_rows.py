"""The lines of an orientation log below the header: numbers, or the reason why a line cannot be used.

The file is read in blocks. A block whose lines are all plain becomes numbers at once, and nearly all blocks are. Any
other block is read line by line, and only there we decide what is wrong with a line. Both ways give the same numbers,
since Python's ``float`` makes them all.
"""

from __future__ import annotations

import math
import re
from itertools import chain
from typing import BinaryIO

import numpy as np
from numpy.typing import NDArray

from .._check import Floats
from ._log_header import NUMBER, Header, Plan, RowError, fields_of, is_blank, short
from ._log_names import PER_SECOND

__all__ = ["Rows"]

BLOCK = 1 << 16
"""Bytes. Large enough that what a block costs beside its lines is nothing; small enough that one odd line does not
send many others the slow way."""

LONGEST = 131_072
"""Characters: the csv module takes no longer field."""

PLAIN = b"0123456789+-.eE "
"""Of these alone, ``float`` takes what `NUMBER` takes, and nothing else."""

CLEAR = 1e-9
"""The length of a quaternion that is nearer to the tolerance is judged by itself."""

DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)


class Rows:
    """Time in seconds (0 where there is none) and components of the good rows, their lines, and the rejected rows."""

    def __init__(self, header: Header, plan: Plan, tolerance: float) -> None:
        self.header, self.plan, self.tolerance = header, plan, tolerance
        self.samples: list[Floats] = []  # (k, 1 + components) each
        self.lines: list[NDArray[np.int64]] = []
        self.rejected: list[tuple[int, str]] = []
        self.last = header.line  # line that is neither blank nor unread
        self._good = (-math.inf, 0)  # time and line of the last good row

    def read(self, file: BinaryIO) -> None:
        """Read a file, from where it stands to its end. Blank lines at the end are no rows."""
        number = self.header.line + 1
        while block := file.read(BLOCK):
            block = (block + file.readline()).removesuffix(b"\n")
            lines = block.count(b"\n") + 1
            sample = self._plain(block.replace(b"\r\n", b"\n").removesuffix(b"\r"), lines)
            if sample is None:
                self._line_by_line(number, block)
            else:
                self._blank_until(number)
                self.samples.append(sample)
                self.lines.append(np.arange(number, number + lines, dtype=np.int64))
                self.last = number + lines - 1
                self._good = float(sample[-1, 0]), self.last
            number += lines

    def _blank_until(self, number: int) -> None:
        self.rejected += [(blank, "the line is blank") for blank in range(self.last + 1, number)]

    def _plain(self, block: bytes, lines: int) -> Floats | None:
        """The samples of a block in which nothing is out of the ordinary; None for any other."""
        plan, count, mark = self.plan, len(self.header.names), self.header.separator.encode()
        block += b"\n"
        if b'"' in block or b"\r" in block or b"#" in block:
            return None
        text = np.frombuffer(block, dtype=np.uint8)
        ends = np.flatnonzero((text == mark[0]) | (text == ord("\n")))
        if len(ends) != lines * count or np.diff(ends, prepend=-1).max() > LONGEST:
            return None
        if (text[ends[count - 1 :: count]] != ord("\n")).any():
            return None
        fields = block.replace(b"\n", mark).split(mark)
        columns = [
            fields[k : lines * count : count] for k in ([] if plan.time is None else [plan.time]) + plan.columns
        ]
        if b"".join(chain.from_iterable(columns)).translate(None, PLAIN):
            return None
        try:
            block.decode("utf-8")
            values = np.array([[*map(float, column)] for column in columns])
        except ValueError:
            return None
        if not np.isfinite(values).all():
            return None
        if plan.time is None:
            values = np.vstack([np.zeros(lines), values])
        else:
            time = values[0]
            time /= PER_SECOND[plan.time_unit]
            if not (time[0] > self._good[0] and (time[1:] > time[:-1]).all()):
                return None
        if plan.unit is None:
            with np.errstate(over="ignore"):
                lengths = np.sqrt((values[1:] * values[1:]).sum(axis=0))
            if not (np.abs(lengths - 1) < self.tolerance - CLEAR).all():
                return None
        return values.T

    def _line_by_line(self, number: int, block: bytes) -> None:
        samples, numbers = [], []
        for k, line in enumerate(block.split(b"\n"), start=number):
            line = line.strip(b"\r")
            if is_blank(line):
                continue
            self._blank_until(k)
            self.last = k
            try:
                sample = self._read(line)
            except RowError as error:
                self.rejected.append((k, str(error)))
            else:
                samples.append(sample)
                numbers.append(k)
                self._good = sample[0], k
        if samples:
            self.samples.append(np.array(samples))
            self.lines.append(np.array(numbers, dtype=np.int64))

    def _read(self, line: bytes) -> list[float]:
        """Time in seconds, then the components."""
        header, plan = self.header, self.plan
        if line.startswith(b"#"):
            raise RowError("a line that begins with # may stand only before the header")
        try:
            fields = fields_of(line.decode("utf-8"), header.separator)
        except UnicodeDecodeError as error:
            raise RowError(f"byte {line[error.start]:#04x} at place {error.start + 1} is not UTF-8 text") from None
        if len(fields) != len(header.names):
            hint = " (a decimal comma?)" if header.separator == "," and len(fields) > len(header.names) else ""
            raise RowError(f"{len(fields)} fields where the header has {len(header.names)}{hint}")
        time = 0.0
        if plan.time is not None:
            time = _number(header.names[plan.time], fields[plan.time]) / PER_SECOND[plan.time_unit]
        values = [_number(header.names[k], fields[k]) for k in plan.columns]
        if plan.unit is None and abs(math.hypot(*values) - 1) > self.tolerance:
            raise RowError(f"the quaternion is {math.hypot(*values):.6g} long, not 1")
        before, where = self._good
        if plan.time is not None and time <= before:
            name = header.names[plan.time]
            raise RowError(f"{name} does not increase: {time:.10g} s after {before:.10g} s in line {where}")
        return [time, *values]


def _number(name: str, field: str) -> float:
    text = field.strip()
    if not text:
        raise RowError(f"{name} is empty")
    if NUMBER.fullmatch(text) and math.isfinite(value := float(text)):
        return value
    if DECIMAL_COMMA.fullmatch(text):
        raise RowError(f"{name} is {short(text)}, with a decimal comma; write decimals with a point")
    raise RowError(f"{name} is {short(text)}, not a finite number")
