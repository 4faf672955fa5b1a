"""Every convention under which given pairs close the legs of a joint, within what rounding explains.

The functions here take checked arrays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .._check import Floats
from ..mechanism import Mechanism, deg
from .one_leg import Legs, Pairs, search_leg
from .three_legs import Fits, closure_errors, join, refine, screen

__all__ = ["COARSEST", "EXACT", "FEWEST", "NEAR", "OUTLYING", "SPREAD_OUT", "MisfitError", "refined", "search"]

FEWEST = 6
"""Pairs that a search needs: each gives a leg one equation; five fix its unknowns, the sixth can contradict them."""

COARSEST = 0.1 * deg
"""The largest error of angles, in radians, from which a fit can still be told from a coincidence."""

OUTLYING = 4.0
"""How much larger than the limit of the rms, which is twice the errors of the data, a single error of a fit may be:
twice because all four angles of a closure may err the same way, and twice because a fit may lean away from a pair."""

EXACT = 1e-9
"""Rms below which fits are alike: far above rounding (1e-15), far below the last digit of any data."""

NEAR = 0.3
"""How far, in radians, the solutions of single legs may disagree before the three are refined together."""

SPREAD_OUT = "add poses that differ more, turned about several axes"
"""The repair for poses that leave something undetermined."""

_SEARCHED = 16  # pairs, far apart, that the search looks at; more would take longer and find the same
_BLOCK = 100_000  # candidates times pairs refined at once: about a hundred megabytes
_ALIKE = 2.0  # how much larger an rms is still as good: what chance makes of the sum of some dozen squares
_EXACT_LEG = 1e-8  # rms of a leg whose pairs are exact; of three legs within EXACT each is below it
_MOST = 80  # solutions of a leg that are joined; a leg that well-spread poses determine has at most 8
_MANY, _DISTINCT = 6000, 1500
"""Candidates before and after screening that are followed. Well-spread poses give at most 768, for the joint with the
most symmetry; poses 4° around home rounded to 0.01° gave it 4600 and 768."""
_TOO_ALIKE = f"these poses are too much alike for the errors of the data; {SPREAD_OUT}"


class MisfitError(Exception):
    """Nothing fits: the pairs looked at, the least rms error, and what is known.

    That is one of: their leg that no arcs fit; our leg whose arcs fit no leg of theirs; the solutions of the legs, of
    which no three hold together; the pairs that do not fit where the others do.
    """

    def __init__(
        self,
        sample: NDArray[np.int_],
        rms: float,
        *,
        theirs: int | None = None,
        ours: int | None = None,
        found: list[list[Legs]] | None = None,
        odd: NDArray[np.int_] | None = None,
    ) -> None:
        super().__init__()
        self.sample, self.rms = sample, rms
        self.theirs, self.ours, self.found, self.odd = theirs, ours, found, odd


def search(m: Mechanism, pairs: Pairs, limit: float) -> tuple[Fits, Floats]:
    """Everything that fits the pairs equally well, and each one's rms; a MisfitError where that exceeds `limit`."""
    sample = _far_apart(pairs.R, _SEARCHED)
    few = pairs.take(sample)
    found = _legs(m, few, sample, limit)
    for bound in (_EXACT_LEG, limit):  # exact data first: coincidences within the limit then need no looking at
        within = [[legs.take(legs.rms <= bound) for legs in ways] for ways in found]
        if max(len(legs.v) for ways in within for legs in ways) > _MOST:
            raise ValueError(_TOO_ALIKE)
        candidates = join(m, within, NEAR)
        fits, rms, good = refined(m, few, candidates, bound)
        if good.any():
            break
    else:
        raise MisfitError(sample, rms.min(initial=np.inf), found=found)
    if len(sample) < len(pairs.R):
        by_sample = fits.take([int(np.argmin(np.where(good, rms, np.inf)))])
        fits, rms, good = refined(m, pairs, fits.take(good), limit)
        if not good.any():
            errors = closure_errors(m, pairs, by_sample)[0]
            odd = np.flatnonzero(np.abs(errors).max(axis=1) > OUTLYING * limit)
            raise MisfitError(sample, float(np.sqrt(np.mean(errors**2))), odd=odd)
    alike = good & (rms <= _ALIKE * rms[good].min() + EXACT)
    return fits.take(alike), rms[alike]


def refined(m: Mechanism, pairs: Pairs, candidates: Fits, limit: float) -> tuple[Fits, Floats, NDArray[np.bool_]]:
    """The candidates brought to least squares, the rms closure error of each, and which of them are fits."""
    if len(candidates.P) > _MANY:
        raise ValueError(_TOO_ALIKE)
    size = max(1, _BLOCK // len(pairs.R))
    blocks = [np.arange(i, min(i + size, len(candidates.P))) for i in range(0, max(1, len(candidates.P)), size)]
    screened = [screen(m, pairs, candidates.take(block), limit) for block in blocks]
    if sum(len(fits.P) for fits in screened) > _DISTINCT:
        raise ValueError(_TOO_ALIKE)
    fits = [refine(m, pairs, left) for left in screened]
    errors = [closure_errors(m, pairs, left) for left in fits]
    rms = np.concatenate([np.sqrt(np.mean(error**2, axis=(1, 2))) for error in errors])
    largest = np.concatenate([np.abs(error).max(axis=(1, 2), initial=0.0) for error in errors])
    return (
        Fits._make(np.concatenate(parts) for parts in zip(*fits, strict=True)),
        rms,
        (rms <= limit) & (largest <= OUTLYING * limit),
    )


def _legs(m: Mechanism, pairs: Pairs, sample: NDArray[np.int_], limit: float) -> list[list[Legs]]:
    """Solutions for their leg k with the arcs of our leg i, as ``[k][i]``; none where i is needed elsewhere."""
    none = Legs(np.empty((0, 3, 3)), np.empty((0, 3)), np.empty(0, dtype=int), np.empty(0))
    found, taken, nearest = [], set(), np.full(3, np.inf)
    for k in range(3):
        arcs = {i: (float(m.proximal[i]), float(m.distal[i])) for i in range(3) if i not in taken}
        ways = {pair: search_leg(pairs, k, pair, limit) for pair in dict.fromkeys(arcs.values())}
        for i, pair in arcs.items():
            nearest[i] = min(nearest[i], ways[pair][1])
        legs, rms, sharp = min(ways.values(), key=lambda way: way[1])
        if not len(legs.v):
            raise MisfitError(sample, rms, theirs=k)
        spare = len(pairs.R) - 5  # equations beyond the unknowns: the errors are larger than what the fit leaves
        scatter = max(rms * np.sqrt(len(pairs.R) / spare), EXACT)
        if scatter > NEAR * sharp:
            raise ValueError(
                f"these poses do not determine leg {k + 1} of theirs: within the errors of the data it fits with "
                f"very different axes; {SPREAD_OUT}"
            )
        found.append([ways[arcs[i]][0] if i in arcs else none for i in range(3)])
        fitting = [i for i in arcs if len(found[k][i].v)]
        if len(fitting) == 1:
            taken.update(fitting)
    worst = int(np.argmax(nearest))
    if nearest[worst] > limit:
        raise MisfitError(sample, float(nearest[worst]), ours=worst)
    return found


def _far_apart(R: Floats, count: int) -> NDArray[np.int_]:
    """Indices of `count` poses, each next one the farthest from those before it; all of them if they are fewer."""
    rows = R.reshape(-1, 9)
    chosen, gap = [0], 3 - rows @ rows[0]  # 3 - trace(R_i^T R_j) grows with the angle between the two
    while len(chosen) < min(count, len(R)):
        chosen.append(int(np.argmax(gap)))
        gap = np.minimum(gap, 3 - rows @ rows[chosen[-1]])
        gap[chosen] = -1.0  # rounding leaves of a pose's own 0 more than of another's that is equal to it
    return np.sort(chosen)
