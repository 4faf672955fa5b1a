"""The nearest path that the joint can follow, for a request that leaves its reach or its travel."""

from __future__ import annotations

import numpy as np

from ..._check import Floats
from ...mechanism import deg
from .continuous import Continuous, continuous, farthest
from .faults import faults
from .knots import Joint, cell_count, knots, places
from .path import Path, at, pieces
from .sliding import nearest_orientations

__all__ = ["reachable_path"]

_PADS = (0.02 * deg, 0.1 * deg, 0.5 * deg, 2 * deg)
"""How far inside the limits the moved samples are put, tried in turn: between them the path bows out a little."""


def reachable_path(joint: Joint, samples: Floats, times: Floats, path: Path) -> tuple[Floats, Floats, float] | None:
    """Samples (k, 3, 3), times (k,), and a bound of the farthest turn from the request, in radians.

    The bound is 0 where nothing was moved. Where a piece of the path has a fault all its knots become samples, and
    each is moved to the nearest orientation within reach and travel (`nearest_orientations`). Samples elsewhere stay.
    None where no padding of `_PADS` gives a path that can be followed: limits or a singular pose that cut the path in
    two, or a leg that would have to jump to its other end.
    """
    corners = path == "slerp"
    begun = times[0]
    times = times - begun
    parts = pieces(samples, times, path)
    listed = [f for f in faults(joint, parts, joint.walls.middle, -1.0)[0] if f.why in ("reach", "travel")]
    if not listed:
        return samples, times + begun, 0.0
    bad = np.zeros(len(times) - 1, dtype=bool)
    for fault in listed:
        bad |= (times[1:] >= fault.start) & (times[:-1] <= fault.stop)
    k, tau = places(np.where(bad, 2 * cell_count(parts, corners), 1))
    dense, _ = at(parts, k, tau)
    moments = parts.first[k] + tau * parts.length[k]
    inside = np.append(bad, False) | np.insert(bad, 0, False)
    touched = bad[k] | inside[np.searchsorted(times, moments, side="right") - 1]
    for pad in _PADS:
        moved = dense.copy()
        moved[touched] = nearest_orientations(joint, dense[touched], joint.walls.middle, pad=pad)
        new = pieces(moved, moments, path)
        if isinstance(continuous(joint, new, cell_count(new, corners), 0.0), Continuous):
            found = knots(joint, new, corners, joint.walls.middle)
            if found is not None and found.within(joint.walls):
                return moved, moments + begun, farthest(new, parts)
    return None
