"""The lowest place of a function nearby: what samples and signs do not show is looked for downhill.

A margin may vanish at one pose, on a curve or in a sliver between all samples. Boxes alone close in on it until the
budget is gone. So the search walks down from its worst boxes now and then.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from .._check import Floats
from .cone import Boxes, samples

__all__ = ["lowest"]

_HALVINGS = 36  # of a box down to 1e-11 of it: a square of that is far below rounding
_STEPS = 120
_CENTRE = 13  # of the 27 places of `samples`


def lowest(f: Callable[[Floats], Floats], start: Boxes, low: Floats, high: Floats, enough: float) -> Floats:
    """From the centre of each box to the lowest of its 27 places, and so on; with half the step where none is lower.

    `f` takes points (3, 27 n), in the order of `samples`, and gives their values, (27 n,). Points are kept between
    `low` and `high`, (3, n) or (3, 1). Ends as soon as a value is below `enough`. Gives n points, (3, n).
    """
    point, step = start.centre, start.half
    each, halvings = np.arange(point.shape[1]), np.zeros(point.shape[1])
    for _ in range(_STEPS):
        places = np.clip(samples(Boxes(point, step)).reshape(3, 27, -1), low[:, None], high[:, None])
        values = f(places.reshape(3, -1)).reshape(27, -1)
        best = np.argmin(values, axis=0)
        better = values[best, each] < values[_CENTRE]
        point = np.where(better, places[:, best, each], point)
        step, halvings = np.where(better, step, step / 2), halvings + ~better
        if (halvings >= _HALVINGS).all() or values.min() < enough:
            break
    return point
