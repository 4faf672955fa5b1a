"""Where the motors go in a tick of the joystick and in the stop after it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats

__all__ = ["Ways"]


class Ways(NamedTuple):
    """Ways of the motors from one pose, each a tick and the stop after it, side by side: n of them."""

    start: Floats
    """(3,): motor angles where they begin."""
    leaving: Floats
    """(3,): theta' there; s runs from 0 to 1 in the tick, on in the stop."""
    bend: Floats
    """(3, n): theta'' in the tick."""
    end: Floats
    """(n,): s at the end of the stop, at least 1."""

    def at(self, s: Floats, which: NDArray[np.intp]) -> tuple[Floats, Floats]:
        """Motor angles and theta', (3, n, ...), at s (n, ...) of the ways `which` (n,)."""
        fill = (1,) * (s.ndim - 1)
        bend = self.bend[:, which].reshape(3, -1, *fill)
        start, leaving = (x.reshape(3, 1, *fill) for x in (self.start, self.leaving))
        early = np.minimum(s, 1.0)
        rate = leaving + bend * early
        return start + (leaving + rate) / 2 * early + rate * (s - early), rate

    def within(self, low: Floats, high: Floats) -> NDArray[np.bool_]:
        """Which of them, (n,), keep between two angles of each motor: where one turns back, and at the ends.

        Where they begin is not looked at.
        """
        turn = np.divide(-self.leaving[:, None], self.bend, out=np.ones_like(self.bend), where=self.bend != 0)
        places = np.vstack([np.where((turn > 0) & (turn < 1), turn, 1.0), np.ones_like(self.end), self.end]).T
        theta, _ = self.at(places, np.arange(len(self.end)))
        low, high = low[:, None, None], high[:, None, None]
        return np.asarray(((theta >= low) & (theta <= high)).all(axis=(0, 2)))
