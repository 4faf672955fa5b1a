"""Why nothing fits: a few odd pairs, a mirror image, one leg, or all together."""

from __future__ import annotations

from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from ..errors import MirroredError
from ..mechanism import Mechanism
from .alignment import in_words, turns_round
from .one_leg import Legs, Pairs, consensus
from .search import FEWEST, NEAR, OUTLYING, SPREAD_OUT, MisfitError, refined, search
from .three_legs import join

__all__ = ["explained"]

_CONVINCING = 8  # pairs that must agree before others are called odd ones out


def explained(m: Mechanism, pairs: Pairs, misfit: MisfitError, limit: float) -> ValueError:
    """The error that says, as well as can be, why nothing fits the pairs."""
    odd = _odd_pairs(m, pairs, misfit, limit)
    if odd is not None:
        subject, verb, them = ("pair", "does", "it") if len(odd) == 1 else ("pairs", "do", "them")
        return ValueError(
            f"{subject} {', '.join(map(str, odd))} (counted from 0) {verb} not fit, while the other "
            f"{len(pairs.R) - len(odd)} fit together: were rows exchanged or mistyped? Mend {them} or "
            f"leave {them} out"
        )
    if misfit.found is not None:
        mirrored = _mirrored(m, pairs.take(misfit.sample), misfit.found, limit)
        if mirrored is not None:
            return mirrored
    largest = float(np.abs(pairs.theta).max())
    hint = (
        f"; the largest motor angle is {largest:g} rad: if that means degrees, give motor_angles*deg"
        if largest > 2 * np.pi
        else ""
    )
    if misfit.leg is not None:
        return ValueError(
            f"no convention fits: their leg {misfit.leg + 1}, taken by itself, misses closing by an rms of "
            f"{misfit.rms:.2g} with any axes, sense and zero, where {limit:.2g} is let pass. Check the link arcs "
            f"of m, and that each row of motor angles belongs to its orientation{hint}"
        )
    return ValueError(
        f"no convention fits: each leg closes by itself, but no base and platform rotation holds the three together"
        f"{'' if misfit.rms == np.inf else f' better than an rms closure error of {misfit.rms:.2g}'}, where "
        f"{limit:.2g} is let pass. Check the axes of m; if the poses are much alike, {SPREAD_OUT}{hint}"
    )


def _odd_pairs(m: Mechanism, pairs: Pairs, misfit: MisfitError, limit: float) -> list[int] | None:
    """The pairs, a quarter at most, without which the others fit; None where there are no such."""
    n = len(pairs.R)
    kept = np.arange(n)
    while True:
        odd = (
            misfit.odd if misfit.leg is None else _odd_for_leg(m, pairs.take(kept), misfit.sample, misfit.leg, limit)
        )
        if odd is None or not len(odd):
            return None
        kept = np.delete(kept, odd)
        if n - len(kept) > n // 4 or len(kept) < _CONVINCING:
            return None
        try:
            search(m, pairs.take(kept), limit)
        except MisfitError as again:
            misfit = again
        except ValueError:  # too few different poses are left to say anything
            return None
        else:
            return [i for i in range(n) if i not in kept]


def _odd_for_leg(
    m: Mechanism, pairs: Pairs, sample: NDArray[np.int_], k: int, limit: float
) -> NDArray[np.int_] | None:
    """Those of the pairs looked at that do not fit their leg k where most do."""
    few = pairs.take(sample)
    arcs = {(float(first), float(second)) for first, second in zip(m.proximal, m.distal, strict=True)}
    fits = max((consensus(few, k, pair, OUTLYING * limit, FEWEST) for pair in arcs), key=np.sum)
    return sample[~fits] if fits.sum() >= _CONVINCING else None


def _mirrored(m: Mechanism, pairs: Pairs, found: list[list[Legs]], limit: float) -> ValueError | None:
    """The error for pairs of a joint that is m but for one end, which is mirrored or numbered otherwise."""

    def holds(platform_axes: NDArray[np.float64]) -> bool:
        other = Mechanism(m.base_frames, platform_axes, m.proximal, m.distal)
        return bool(refined(other, pairs, join(other, found, NEAR), limit)[2].any())

    left_handed = holds(-m.platform_axes)
    orders = tuple(order for order in permutations(range(3)) if holds(m.platform_axes[list(order)]))
    if not left_handed and not orders:
        return None
    mirror = (
        "the joint whose platform axes, or motor axes, are the mirror image of m's: one of the two was written down "
        "in a left-handed frame, or with all its axes reversed"
    )
    order = " or ".join(in_words(order) for order in orders)
    legs = f"the joint whose platform axes are those of m in the order {order}: its two ends are numbered differently"
    which = (
        f"either {mirror}; or {legs}; the pairs cannot tell which"
        if left_handed and orders
        else (mirror if left_handed else legs)
    )
    message = f"no convention fits with m as it is. The pairs are those of {which}"
    if left_handed or any(turns_round(order) for order in orders):
        return MirroredError(message, left_handed=left_handed, renumberings=orders)
    return ValueError(message)
