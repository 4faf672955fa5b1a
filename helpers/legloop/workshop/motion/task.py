"""The checked arguments of a plan, as one value."""

from __future__ import annotations

from typing import NamedTuple

from ..._check import Floats
from ...convention import Convention
from ..drive import BeltDrive
from .knots import Joint
from .path import Path, Pieces, pieces

__all__ = ["BLOCK", "Task"]

BLOCK = 16384
"""Samples planned at a time."""

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
    deviation: float = 0.0

    @property
    def floor(self) -> float:
        """The evenness below which a pose is refused."""
        return self.joint.walls.evenness * (_REFUSED if self.slow else 1.0)

    def orientations(self, low: int, high: int) -> Floats:
        """Samples `low` to `high`, the last included, in our frames."""
        R = self.given[low : high + 1]
        return R if self.ours else self.convention.orientation_to_ours(R)

    def pieces(self, first: int, end: int) -> Pieces:
        """The pieces of the path from sample `first` to sample `end`, in our frames; times from sample 0 on.

        A neighbour on either side enters the rates. Counted from 1970 a time has steps of a quarter of a microsecond:
        too coarse for the time of one tick.
        """
        low, high = max(first - 1, 0), min(end + 1, len(self.times) - 1)
        parts = pieces(self.orientations(low, high), self.times[low : high + 1] - self.times[0], self.path, low)
        return Pieces(*(array[first - low : end - low] for array in parts))
