"""Faults that no small correction mends: a motor that counts the other way, exchanged legs, a belt that slipped.

Each is a hypothesis: another set of motor angles for the same orientations. All are fitted side by side under the
robust loss, and the one that explains the poses best is taken if it does so by far.
"""

from __future__ import annotations

from itertools import permutations, product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from ...convention import Convention
from ...inverse import WORKING_MODES, inverse_kinematics
from ...mechanism import Mechanism
from .problem import Data, state_of
from .robust import LOOPS, TUKEY, Fit, robust_fit
from .start import frames_of

__all__ = ["BETTER", "Setting", "Slip", "better_counting", "cleared_at_home", "counted", "first_fit", "slipped"]

BETTER = 0.4
"""Another counting is believed if its scale is less than so much of the present one. A wrong sense or order leaves
poses degrees away where the right one leaves the noise; two that are equally good differ by a few per cent."""

_GAIN = 30.0
"""A slip is believed if it lowers the sum of squares, in scales, by more. Each place where none was lowers it by
chance by about 1; the best of some hundred places by up to 2 ln 100 = 9, and the rest is margin."""

_PLACES = 16  # where a slip is looked for at first; a place a few poses off explains most of it
_ROUGH = 6  # loops of weights for a hypothesis; the winner is fitted to the end


class Setting(NamedTuple):
    """What stays the same between hypotheses: the groups, which frames are known, the motors' share of the noise."""

    groups: tuple[str, ...]
    base: Floats | None
    platform: Floats | None
    ratio: float


class Slip(NamedTuple):
    """Our leg, the first pose after the slip, and the signed number of teeth in our sense of the angle."""

    leg: int
    pose: int
    teeth: int


def first_fit(m: Mechanism, data: Data, zero: Floats, setting: Setting) -> tuple[Fit, NDArray[np.int_]] | None:
    """Robust fits from the start that the angles themselves tell, and which sets of angles they are of.

    zero : (b, 3), in the order of our legs. None if no set of angles can be followed by forward kinematics.
    """
    base, platform = frames_of(m, data._replace(theta=data.theta + zero[:, None]), setting.base, setting.platform)
    usable = np.flatnonzero(np.isfinite(base[:, 0, 0]))
    if not len(usable):
        return None
    some = data._replace(theta=data.theta[usable])
    state = state_of(m, base[usable], platform[usable], zero[usable])
    loops = LOOPS if len(usable) == 1 else _ROUGH
    return robust_fit(some, state, setting.groups, None, setting.ratio, loops=loops), usable


def counted(data: Data, convention: Convention) -> tuple[Floats, Floats]:
    """Their angles (n, 3) as ours, less the zeros, and the zeros; legs in our order."""
    raw = Convention(leg_order=convention.leg_order, sense=convention.sense).angles_to_ours(data.theta[0])
    zero = np.empty(3)
    zero[list(convention.leg_order)] = convention.zero
    return raw, zero


def better_counting(
    m: Mechanism, data: Data, start: Convention, setting: Setting, scale: float
) -> tuple[Convention, Fit] | None:
    """The plainest senses and leg order that fit far better than those of `start`, whose scale is given; or None.

    data : their motor angles, (1, n, 3). Plainest: fewest changes, of them fewest senses. A symmetric joint has
    several that fit alike, with its frames turned.
    """
    ways = [
        Convention(start.base, start.platform, order, sense, start.zero)
        for order, sense in product(permutations(range(3)), product((1, -1), repeat=3))
    ]
    pairs = [counted(data, way) for way in ways]
    theta, zero = (np.stack(parts) for parts in zip(*pairs, strict=True))
    found = first_fit(m, data._replace(theta=theta), zero, setting)
    if found is None:
        return None
    fit, usable = found
    if fit.scale.min() > BETTER * scale:
        return None

    def changes(k: np.int_) -> tuple[int, int]:
        way = ways[usable[k]]
        flipped = sum(a != b for a, b in zip(way.sense, start.sense, strict=True))
        moved = sum(a != b for a, b in zip(way.leg_order, start.leg_order, strict=True))
        return flipped + moved, flipped

    good = np.flatnonzero(fit.scale <= fit.scale.min() / BETTER)
    best = int(min(good, key=changes))
    chosen = data._replace(theta=theta[usable[best]][None])
    return ways[usable[best]], robust_fit(chosen, fit.take(best).state, setting.groups, None, setting.ratio)


def cleared_at_home(
    m: Mechanism, data: Data, start: Convention, setting: Setting
) -> tuple[tuple[int, ...], float] | None:
    """The working mode in which zeros at home explain the poses best, and the scale; None if they never do.

    data : their motor angles, (1, n, 3); senses and leg order are those of `start`.
    """
    raw, _ = counted(data, start)
    zero = inverse_kinematics(m, np.eye(3), WORKING_MODES, unreachable="nan")
    closes = np.isfinite(zero).all(axis=1)
    if not closes.any():
        return None
    theta = np.broadcast_to(raw, (int(closes.sum()), *raw.shape))
    found = first_fit(m, data._replace(theta=theta), zero[closes], setting)
    if found is None:
        return None
    fit, usable = found
    best = int(np.argmin(fit.scale))
    return tuple(WORKING_MODES[closes][usable[best]].tolist()), float(fit.scale[best])


def slipped(data: Data, fit: Fit, setting: Setting, tooth: float) -> tuple[Slip, Data, Fit] | None:
    """The slip of one belt, by one or two teeth, during the session that explains the poses by far better; or None.

    The data returned have the angles before the slip put right, so that the zeros are those of the machine as it now
    stands. A slip before the last pose, or after the first, looks like one bad pose, and is left to be one.
    """
    last = len(data.time) - 1
    stride = -(-last // _PLACES)
    found = [_best(data, fit, setting, tooth, list(product(range(3), range(2, last, stride), (1, -1, 2, -2))))]
    leg, place, teeth = found[0][0]
    near = [k for k in range(place - stride + 1, place + stride) if 2 <= k < last and k != place]
    if near:
        found.append(_best(data, fit, setting, tooth, [(leg, k, teeth) for k in near]))
    scale = min(float(fit.scale[0]), *(float(trial.scale[0]) for _, _, trial in found))
    slip, changed, trial = min(found, key=lambda one: _cost(one[2].length, scale)[0])
    if _cost(fit.length, scale)[0] - _cost(trial.length, scale)[0] < _GAIN:
        return None
    return slip, changed, robust_fit(changed, trial.state, setting.groups, None, setting.ratio)


def _best(
    data: Data, fit: Fit, setting: Setting, tooth: float, places: list[tuple[int, int, int]]
) -> tuple[Slip, Data, Fit]:
    """The best of some slips, with its data and a rough fit."""
    slips = [Slip(*place) for place in places]
    theta = np.stack([_put_right(data.theta[0], slip, tooth) for slip in slips])
    state = tuple(np.repeat(part, len(slips), axis=0) for part in fit.state)
    fits = robust_fit(data._replace(theta=theta), state, setting.groups, None, setting.ratio, loops=_ROUGH)
    k = int(np.argmin(_cost(fits.length, float(min(fits.scale.min(), fit.scale[0])))))
    return slips[k], data._replace(theta=theta[k : k + 1]), fits.take(k)


def _put_right(theta: Floats, slip: Slip, tooth: float) -> Floats:
    changed = theta.copy()
    changed[: slip.pose, slip.leg] -= slip.teeth * tooth
    return changed


def _cost(length: Floats, scale: float) -> Floats:
    """Sum of squares in scales, a pose counting at most as far as the loss looks, (b,)."""
    return np.asarray(np.minimum((length / scale) ** 2, TUKEY**2).sum(axis=1))
