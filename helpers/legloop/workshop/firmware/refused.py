"""Poses that are surely refused for being nearly singular: one for V, one for a leg, where such are found."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from ... import rotation
from ..._check import Floats
from .settings import Answers, Settings, Status

__all__ = ["nearly_singular"]

_PAIRS, _HALVINGS = 200, 40


def nearly_singular(given: Settings, theirs: Floats) -> Floats:
    """(k, 3, 3), k at most 2, unrounded, in their frames: refused with `NEAR_TYPE_2`, then with `NEAR_TYPE_1`.

    Found by bisection between the poses `theirs`, (n, 3, 3): from V above 0 to V below, and from within reach to out
    of it. A pose counts where no rounding of the scalar turns its code over.
    """
    at = given.answers(theirs)
    clear, least = 64 * given.eps, given.least_discriminant
    free = np.isfinite(at.volume) & _all_above(at, least + clear)

    def flat(here: Answers) -> NDArray[np.bool_]:
        return np.asarray((np.abs(here.volume) < given.floors.volume / 2) & _all_above(here, least + clear))

    def tight(here: Answers) -> NDArray[np.bool_]:
        sure = (np.abs(here.D - least) > clear).all(axis=1) & _all_above(here, clear)
        return np.asarray(sure & (here.codes == Status.NEAR_TYPE_1))

    positive, negative = theirs[free & (at.volume > 0)], theirs[free & (at.volume < 0)]
    out = theirs[at.codes == Status.UNREACHABLE]
    limp = _between(given, positive, negative, lambda here: np.asarray(here.volume > 0), flat)
    return np.concatenate([limp, _between(given, theirs[free], out, lambda here: _all_above(here, least / 2), tight)])


def _all_above(at: Answers, least: Floats | float) -> NDArray[np.bool_]:
    return np.asarray(np.greater(at.D, least).all(axis=1))


def _between(
    given: Settings,
    inside: Floats,
    outside: Floats,
    keeps: Callable[[Answers], NDArray[np.bool_]],
    sure: Callable[[Answers], NDArray[np.bool_]],
) -> Floats:
    """The first pose on the way from one of `inside` to one of `outside` at which `keeps` ends, if it is `sure`."""
    pairs = min(len(inside), len(outside), _PAIRS)
    start = inside[:pairs]
    way = rotation.to_rotation_vector(outside[:pairs] @ np.swapaxes(start, -1, -2))
    low, high = np.zeros((pairs, 1)), np.ones((pairs, 1))
    for _ in range(_HALVINGS if pairs else 0):
        middle = (low + high) / 2
        kept = keeps(given.answers(rotation.from_rotation_vector(middle * way) @ start))[:, None]
        low, high = np.where(kept, middle, low), np.where(kept, high, middle)
    R = rotation.from_rotation_vector(low * way) @ start
    return R[np.flatnonzero(sure(given.answers(given.rounded(R))))[:1]]
