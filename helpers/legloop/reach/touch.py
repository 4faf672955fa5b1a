"""Poses at which a leg lies flat without being out of reach: D touches zero there and is positive all around.

With ``alpha_1 = alpha_2`` the platform axis can come upon the motor axis, and with ``alpha_1 + alpha_2 = pi`` upon
its opposite. No sample shows such a pose, and D has no change of sign to find it by; so Newton's method looks for it.
"""

from __future__ import annotations

import numpy as np

from .._check import Floats
from ..leg import ROUNDING
from ..mechanism import Mechanism
from .cone import Boxes, axes_at

__all__ = ["ends", "flattest"]

_STEP = 1e-6  # of the difference quotients; their error only slows the last rounds down


def ends(m: Mechanism) -> list[tuple[int, float]]:
    """Legs that can touch: leg, and +1 where R v may come upon u, -1 where upon its opposite."""
    gaps = ((1.0, m.proximal - m.distal), (-1.0, m.proximal + m.distal - np.pi))
    return [(leg, side) for side, gap in gaps for leg in range(3) if abs(gap[leg]) <= ROUNDING]


def flattest(m: Mechanism, leg: int, side: float, start: Floats, box: Boxes) -> Floats:
    """The point (3,) of tilt, azimuth and torsion, near `start`, where R v of a leg is nearest to `side` times u.

    It keeps to the tilts and torsions of one box; by Gauss and Newton, with each step cut off at these ends.
    """
    low, high = box.ends()[:, 0].T
    low[1], high[1] = -np.inf, np.inf
    axis, target = m.platform_axes[leg : leg + 1], side * m.base_axes[leg]
    point = start
    for _ in range(20):
        probes = point[:, None] + _STEP * np.hstack([np.zeros((3, 1)), np.eye(3)])
        p = axes_at(probes, axis)[:, 0]
        slope = (p[:, 1:] - p[:, :1]) / _STEP
        step = np.linalg.lstsq(slope, target - p[:, 0], rcond=1e-4)[0]
        last, point = point, np.clip(point + step, low, high)
        if np.abs(point - last).max() < 1e-12:
            break
    return np.asarray(point)
