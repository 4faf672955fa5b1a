"""Where a calibration starts: the two frames, from nothing but the zeros to within some degrees.

The motor angles tell the orientation of the platform in our frames, by forward kinematics. Turns from pose to pose
are the same turns in both descriptions, their axes seen in two frames: ``log(R'_i R'_j^T) = base log(R_i R_j^T)``.
So the base is the rotation that brings one set of vectors nearest to the other, in closed form, whatever the heading
of the sensor and however it is mounted. Then the platform is the mean of ``R'^T base R``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ... import rotation
from ..._check import Floats
from ...convention.alignment import best_rotations
from ...forward import forward_kinematics
from ...mechanism import Mechanism
from .problem import Data

__all__ = ["frames_of"]

_PAIRS = 600  # turns between poses that are compared; more add nothing
_FEWEST = 4  # poses that must be followed for a start to be worth trying


def frames_of(m: Mechanism, data: Data, base: Floats | None, platform: Floats | None) -> tuple[Floats, Floats]:
    """Base and platform rotations, (b, 3, 3), for each of b sets of motor angles; NaN where too few poses close.

    One that is given is kept.
    """
    count = len(data.theta)
    if base is not None and platform is not None:
        return np.repeat(base[None], count, axis=0), np.repeat(platform[None], count, axis=0)
    ours = forward_kinematics(m, data.theta, near=np.eye(3), unreachable="nan")
    known = np.isfinite(ours[..., 0, 0])
    ours = np.where(known[..., None, None], ours, np.eye(3))
    weight = known[..., None].astype(float)
    if base is None and platform is None:
        first, second = np.triu_indices(len(data.time), 1)
        some = slice(None, None, -(-len(first) // _PAIRS))
        i, j = first[some], second[some]
        turns = weight[:, i] * weight[:, j] * _turns(ours, i, j)
        bases = best_rotations(turns, np.broadcast_to(_turns(data.R, i, j), turns.shape))
    elif base is None and platform is not None:
        bases = _mean(data.R @ platform @ np.swapaxes(ours, 2, 3), weight)
    else:
        bases = np.repeat(np.asarray(base)[None], count, axis=0)
    if platform is None:
        platforms = _mean(np.swapaxes(data.R, 1, 2) @ bases[:, None] @ ours, weight)
    else:
        platforms = np.repeat(platform[None], count, axis=0)
    bases[known.sum(axis=1) < _FEWEST] = np.nan
    return bases, platforms


def _turns(R: Floats, i: NDArray[np.int_], j: NDArray[np.int_]) -> Floats:
    return rotation.to_rotation_vector(R[..., i, :, :] @ np.swapaxes(R[..., j, :, :], -1, -2))


def _mean(R: Floats, weight: Floats) -> Floats:
    """The rotations nearest to the weighted sums of rotations (b, n, 3, 3)."""
    total = (weight[..., None] * R).sum(axis=1)
    return best_rotations(np.broadcast_to(np.eye(3), total.shape), np.swapaxes(total, 1, 2))
