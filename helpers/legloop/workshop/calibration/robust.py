"""Least squares that a few bad poses cannot bend: a loss that lets go of them, then plain least squares on the rest.

The loss is Tukey's biweight of the whitened length d of a pose: weight ``(1 - (d / c s)^2)^2`` up to ``d = c s``, 0
beyond, with s the scale that the median of d tells. A pose written into the wrong line may be 90° off; a loss that
only grows more slowly (Huber's) would still be pulled by it, this one is not at all. It judges whole poses: if the
phone had not settled, all three closures are wrong together. What it gives up is the sharp formula for uncertainties;
so it only names the outliers, and the fit itself is plain least squares without them (`plain_fit`).

Source of weight and scale: Maronna, Martin, Yohai, Robust Statistics, Wiley 2006 (from memory); the constant below is
computed in the tests.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from ...convention.least_squares import CLOSE, State, minimise
from .problem import Closures, Data

__all__ = ["FLOOR", "LOOPS", "OUTLIER", "TUKEY", "Fit", "lengths", "plain_fit", "robust_fit"]

TUKEY = 5.490
"""c: for three normal errors in a pose it loses 5 % of the sharpness of plain least squares."""

OUTLIER = 4.5
"""A pose counts as an outlier beyond so many scales: by chance one of good data in 7000 (chi squared, 3 degrees)."""

FLOOR = 1e-6
"""The least scale, in radians: far below any sensor, far above rounding, which in exact data would judge itself."""

_MEDIAN = 1.5382  # of the length of three independent standard normal numbers: sqrt(2.3660)
LOOPS = 25
"""New weights at most; ten are usual."""

_TRIALS = 10  # choices of outliers: two or three are usual, and a pose that goes to and fro is at the limit
_ROUNDS = 4  # steps with each
_STILL = 1e-3  # relative change at which the scale is found: 1 % of what chance does to it in 24 poses


class Fit(NamedTuple):
    """Where a fit ended: its state, the whitened length of every pose (b, n), and its scale (b,), in radians."""

    state: State
    length: Floats
    scale: Floats

    def take(self, which: int) -> Fit:
        """One of the b."""
        return Fit(
            tuple(part[which : which + 1] for part in self.state),
            self.length[which : which + 1],
            self.scale[which : which + 1],
        )


def lengths(problem: Closures, state: State) -> Floats:
    """The whitened length of every pose, (b, n), in radians of the sensor."""
    error = problem.errors(state)
    return np.asarray(np.linalg.norm(error.reshape(len(error), -1, 3), axis=2))


def robust_fit(
    data: Data,
    state: State,
    groups: tuple[str, ...],
    directions: Floats | None,
    ratio: float,
    *,
    loops: int = LOOPS,
) -> Fit:
    """The fit of every start under Tukey's loss, the weights renewed at most so many times."""
    free = len(directions[0]) if directions is not None else Closures(data, groups).size
    equations = 3 * len(data.time)
    shrunk = np.sqrt(equations / (equations - free))  # fitted poses lie nearer than the truth
    scale = np.full(len(state[0]), np.inf)
    for _ in range(loops):
        whiten = Closures(data, groups).whiteners(state, ratio)
        length = lengths(Closures(data, groups, whiten=whiten), state)
        before, scale = scale, np.maximum(np.median(length, axis=1) / _MEDIAN * shrunk, FLOOR)
        if (np.abs(before - scale) <= _STILL * scale).all():
            break
        weight = np.maximum(1 - (length / (TUKEY * scale[:, None])) ** 2, 0.0)  # the root of the loss's weight
        problem = Closures(data, groups, directions=directions, whiten=weight[..., None, None] * whiten)
        state, _ = minimise(problem, state, _ROUNDS, CLOSE)
    return Fit(state, length, scale)


def plain_fit(
    data: Data, state: State, groups: tuple[str, ...], directions: Floats, ratio: float, scale: float
) -> tuple[State, NDArray[np.bool_], float]:
    """Plain least squares without the outliers of one start: the state, which poses were kept, and the new scale.

    The scale is ``sqrt(sum of squares / degrees of freedom)``. It is sharper than the median's, so that all poses are
    judged anew by it, until the same ones stay.
    """
    kept = np.zeros(len(data.time), dtype=bool)
    for _ in range(_TRIALS):
        whiten = Closures(data, groups).whiteners(state, ratio)
        good = lengths(Closures(data, groups, whiten=whiten), state)[0] <= OUTLIER * scale
        if (good == kept).all():
            break
        kept, some = good, data.take(good)
        for _ in range(3):  # the weights follow the state, whose steps are small by now
            whiten = Closures(some, groups).whiteners(state, ratio)
            problem = Closures(some, groups, directions=directions, whiten=whiten)
            state, cost = minimise(problem, state, 20, CLOSE)
        freedom = 3 * int(kept.sum()) - directions.shape[1]
        scale = max(float(np.sqrt(cost[0] / max(freedom, 1))), FLOOR)
    return state, kept, scale
