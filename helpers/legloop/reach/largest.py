"""The largest cone for which a proof can be had, and what stops the next one."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from .._check import angles, whole
from ..mechanism import Mechanism, deg
from .certificate import Certificate, certify
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
    budget: int = 300_000,
) -> LargestTilt:
    """The largest tilt, to a resolution, for which `certify` proves the whole cone; and what stops the next one.

    By bisection: proofs from below, witnesses from above, each of which rules out every tilt from its own on. Where
    the budget is too small for either, the tilts between the last proof and the first witness stay open, and both are
    given. Arguments, (3,) modes and errors (ValueError, TypeError) as for `certify`; `resolution` in radians, in
    [1e-6, pi].
    """
    step = angles(resolution, "resolution", (), 1e-6, np.pi, "[1e-6, pi]").item()
    budget = whole(budget, "budget", 1, "boxes")
    tried = []
    trial: tuple[float, bool] | None = (0.0, False)
    while trial is not None:
        tilt, search = trial
        part = max(1, budget // 10) if search else budget  # a witness is found early or never
        about: dict[str, Any] = {"motor_limits": motor_limits, "links": links, "gap": gap, "budget": part}
        tried.append(certify(m, mode, tilt=tilt, torsion=torsion, **about))
        trial = _next_trial(tried, step)
    proved = max((c for c in tried if c.proved), key=lambda c: c.tilt, default=None)
    best = 0.0 if proved is None else proved.tilt
    beyond = min((c for c in tried if not c.proved and c.tilt >= best), key=_stop, default=None)
    refuted = min((c for c in tried if c.witness_point is not None), key=_stop, default=None)
    return LargestTilt(np.nan if proved is None else best, proved, beyond, refuted)


def _next_trial(tried: list[Certificate], step: float) -> tuple[float, bool] | None:
    """Which tilt to try next, and whether only for a witness; None when done.

    Halfway from the last proof to what is not proved; once these are near, from there to the first witness.
    """
    witness = min((_stop(c) for c in tried if c.witness_point is not None), default=np.pi)
    proved = max((c.tilt for c in tried if c.proved), default=0.0)
    unproved = min((_stop(c) for c in tried if not c.proved and c.tilt >= proved), default=np.pi)
    no_witness = max((c.tilt for c in tried if c.witness_point is None and c.tilt < witness), default=0.0)
    for low, high, search in ((proved, unproved, False), (no_witness, witness, True)):
        if high - low > step:
            return (low + high) / 2, search
    return None


def _stop(c: Certificate) -> float:
    """The lowest tilt that a certificate without proof stands against."""
    return c.tilt if c.witness_point is None else c.witness_point[0]
