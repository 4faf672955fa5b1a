"""The largest cone for which a proof can be had, and what stops the next one."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from .._check import angles, whole
from ..mechanism import Mechanism, deg
from .certificate import Certificate, attempt
from .gaps import Links

__all__ = ["LargestTilt", "largest_tilt"]


class LargestTilt(NamedTuple):
    """What `largest_tilt` found."""

    tilt: float
    """The largest tilt proved, in radians; NaN where not even tilt 0 could be."""
    certificate: Certificate | None
    """Its proof."""
    beyond: Certificate | None
    """What stops it: the certificate, not proved, of a tilt at most `resolution` larger. None: nothing does."""
    refuted: Certificate | None
    """What no larger budget mends: the certificate with the lowest witness found. `beyond` itself, unless that is
    undecided: then the largest tilt that holds lies between `tilt` and this witness. None: no pose that fails."""


def largest_tilt(
    m: Mechanism,
    mode: ArrayLike,
    *,
    torsion: ArrayLike = (0.0, 0.0),
    motor_limits: ArrayLike | None = None,
    links: Links | None = None,
    gap: float | None = None,
    resolution: float = 0.01 * deg,
    budget: int = 200_000,
) -> LargestTilt:
    """The largest tilt, to a resolution, for which `certify` proves the whole cone; and what stops the next one.

    By bisection: proofs from below, witnesses from above, each of which rules out every tilt from its own on.
    First a tenth of the budget is allowed for each tilt; then, between the last proof and the first witness,
    half of what is left of twice the budget. So the whole search looks at some three times `budget` boxes at
    most, a few seconds; the last of them are for sharp margins. Where that is too small to prove or to refute,
    the tilts between last proof and first witness stay open, and both are given. Arguments, (3,) modes and
    errors (ValueError, TypeError) as for `certify`; `resolution` in radians, in [1e-6, pi].
    """
    step = angles(resolution, "resolution", (), 1e-6, np.pi, "[1e-6, pi]").item()
    budget = left = whole(budget, "budget", 1, "boxes")
    left *= 2

    def tried(tilt: float, boxes: int, sharp: bool = False) -> Certificate:
        nonlocal left
        c = attempt(m, mode, tilt, torsion, motor_limits, links, gap, max(1, boxes), sharp=sharp)
        left -= c.boxes
        return c

    proved = tried(0.0, budget, True)
    if not proved.proved:
        return LargestTilt(np.nan, None, proved, proved if proved.witness_point is not None else None)
    beyond: Certificate | None = None
    refuted: Certificate | None = None
    low, high = 0.0, np.pi  # of the tilts that are neither proved nor refuted, nor left undecided
    while high - low > step:
        c = tried((low + high) / 2, budget // 10)
        if c.witness_point is not None:
            beyond = refuted = c
            high = c.witness_point[0]
        else:
            proved, low = c if c.proved else proved, c.tilt
    while _stop(beyond) - proved.tilt > step:
        c = tried((proved.tilt + _stop(beyond)) / 2, max(left // 2, budget // 50))
        proved, beyond = (c, beyond) if c.proved else (proved, c)
        refuted = refuted if c.witness_point is None else c
    if beyond is not None and beyond.tilt - proved.tilt > step:  # its witness is near, but its cone is larger
        beyond = tried(proved.tilt + step, budget // 10)
    sharp = tried(proved.tilt, budget, True)
    return LargestTilt(proved.tilt, sharp if sharp.proved else proved, beyond, refuted)


def _stop(c: Certificate | None) -> float:
    """The lowest tilt that a certificate without proof stands against; pi without one."""
    return np.pi if c is None else c.tilt if c.witness_point is None else c.witness_point[0]
