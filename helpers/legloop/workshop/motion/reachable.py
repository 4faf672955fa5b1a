"""The nearest path that the joint can follow, for a request that leaves its reach or its travel."""

from __future__ import annotations

import numpy as np

from ... import rotation
from ..._check import Floats
from ...mechanism import deg
from .knots import Joint, cell_count, faults, knots, places
from .path import Path, at, interpolate, pieces
from .result import MotionError, told
from .sliding import nearest_orientations

__all__ = ["reachable_path"]

_PADS = (0.02 * deg, 0.1 * deg, 0.5 * deg, 2 * deg)
"""How far inside the limits the moved samples are put, tried in turn: between them the path bows out a little."""


def reachable_path(
    joint: Joint, samples: Floats, times: Floats, path: Path, names: tuple[int, int, int]
) -> tuple[Floats, Floats, float]:
    """Samples (k, 3, 3), times (k,), and the farthest turn from the request, in radians; 0 where nothing was moved.

    Where a piece of the path has a fault all its knots become samples, and each is moved to the nearest orientation
    within reach and travel (`nearest_orientations`). Samples elsewhere stay. MotionError where no padding of `_PADS`
    gives a path that can be followed: limits that cut the path in two, or a leg that would have to jump to its other
    end. `names`: the numbers by which our legs go in messages.
    """
    corners = path == "slerp"
    parts = pieces(samples, times, path)
    listed, _ = faults(joint, parts, corners, joint.walls.middle, -1.0)
    if not listed:
        return samples, times, 0.0
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
        found = knots(joint, pieces(moved, moments, path), corners, joint.walls.middle)
        if found is not None and found.within(joint.walls):
            fine = np.unique(np.concatenate([moments, (moments[1:] + moments[:-1]) / 2]))
            off = rotation.angle_between(
                interpolate(moved, moments, fine, path=path), interpolate(samples, times, fine, path=path)
            )
            return moved, moments, float(off.max())
    raise MotionError(
        f"no path nearby was found that the joint can follow:\n{told(tuple(listed), names)}", tuple(listed), None
    )
