"""Why nothing fits: pairs read otherwise, a few odd ones, a mirror image, one leg, or all together."""

from __future__ import annotations

from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from ..errors import MirroredError
from ..mechanism import Mechanism, deg
from .alignment import in_words, turns_round
from .one_leg import Pairs, consensus
from .search import COARSEST, FEWEST, NEAR, OUTLYING, SPREAD_OUT, MisfitError, refined, search
from .three_legs import join

__all__ = ["explained"]

_CONVINCING = 8  # pairs that must agree before others are called odd ones out


def explained(m: Mechanism, pairs: Pairs, misfit: MisfitError, limit: float) -> ValueError:
    """The error that says, as well as can be, why nothing fits the pairs."""
    for explanation in (_other_reading, _odd_pairs, _mirrored):
        known = explanation(m, pairs, misfit, limit)
        if known is not None:
            return known
    largest = float(np.abs(pairs.theta).max())
    hints = ""
    if largest > 2 * np.pi:
        hints += f"; the largest motor angle is {largest:g} rad: if that means degrees, give motor_angles*deg"
    if limit < misfit.rms <= 2 * COARSEST:
        hints += f"; if the pairs were measured, tell how well, as in accuracy={COARSEST / deg:.1g}*deg"
    let_pass = f"where {limit:.2g} is let pass"
    if misfit.theirs is not None:
        return ValueError(
            f"no convention fits: their leg {misfit.theirs + 1}, taken by itself, misses closing by an rms of "
            f"{misfit.rms:.2g} with any axes, sense and zero, {let_pass}. Check the link arcs of m, and that each "
            f"row of motor angles belongs to its orientation{hints}"
        )
    if misfit.ours is not None:
        first, second = m.proximal[misfit.ours] / deg, m.distal[misfit.ours] / deg
        return ValueError(
            f"no convention fits: none of their legs closes with the arcs of our leg {misfit.ours + 1}, {first:.4g}° "
            f"and {second:.4g}°; the nearest misses by an rms of {misfit.rms:.2g}, {let_pass}. "
            f"Check these arcs{hints}"
        )
    best = "" if misfit.rms == np.inf else f" better than an rms closure error of {misfit.rms:.2g}"
    return ValueError(
        f"no convention fits: each leg closes by itself, but no base and platform rotation holds the three together"
        f"{best}, {let_pass}. Check the axes of m; if the poses are much alike, {SPREAD_OUT}{hints}"
    )


def _other_reading(m: Mechanism, pairs: Pairs, _: MisfitError, limit: float) -> ValueError | None:
    """The error for pairs that fit once their matrices are transposed, their angles read as degrees, or both."""
    transposed, radians = np.swapaxes(pairs.R, 1, 2), pairs.theta * deg
    passive = "the orientations are transposed, from base to platform (passive): give orientations.transpose(0, 2, 1)"
    degrees = "the motor angles are degrees: give motor_angles*deg"
    readings = [(Pairs(transposed, pairs.theta), passive)]
    if np.abs(pairs.theta).max() > 2 * np.pi:
        readings += [(Pairs(pairs.R, radians), degrees), (Pairs(transposed, radians), f"{passive}; and {degrees}")]
    for reading, cure in readings:
        try:
            search(m, reading, limit)
        except (MisfitError, ValueError):  # no fit either, or poses that would not determine one
            continue
        return ValueError(f"no convention fits the pairs as they are. {cure[0].upper()}{cure[1:]}; then they fit")
    return None


def _odd_pairs(m: Mechanism, pairs: Pairs, misfit: MisfitError, limit: float) -> ValueError | None:
    """The error that names the pairs, a quarter at most, without which the others fit."""
    n = len(pairs.R)
    kept = np.arange(n)
    while True:
        odd = (
            misfit.odd
            if misfit.theirs is None
            else _odd_for_leg(m, pairs.take(kept), misfit.sample, misfit.theirs, limit)
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
            break
    gone = [i for i in range(n) if i not in kept]
    subject, verb, them = ("pair", "does", "it") if len(gone) == 1 else ("pairs", "do", "them")
    return ValueError(
        f"{subject} {', '.join(map(str, gone))} (counted from 0) {verb} not fit, while the other {len(kept)} fit "
        f"together: were rows exchanged or mistyped? Mend {them} or leave {them} out"
    )


def _odd_for_leg(
    m: Mechanism, pairs: Pairs, sample: NDArray[np.int_], k: int, limit: float
) -> NDArray[np.int_] | None:
    """Those of the pairs looked at that do not fit their leg k where most do."""
    few = pairs.take(sample)
    arcs = {(float(first), float(second)) for first, second in zip(m.proximal, m.distal, strict=True)}
    fits = max((consensus(few, k, pair, OUTLYING * limit, FEWEST) for pair in arcs), key=np.sum)
    return sample[~fits] if fits.sum() >= _CONVINCING else None


def _mirrored(m: Mechanism, pairs: Pairs, misfit: MisfitError, limit: float) -> ValueError | None:
    """The error for pairs of a joint that is m but for one end, which is mirrored or numbered otherwise."""
    found, few = misfit.found, pairs.take(misfit.sample)
    if found is None:
        return None

    def holds(platform_axes: NDArray[np.float64]) -> bool:
        other = Mechanism(m.base_frames, platform_axes, m.proximal, m.distal)
        return bool(refined(other, few, join(other, found, NEAR), limit)[2].any())

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
