"""When two answers are the same: number by number, up to a common factor, or modulo whole turns.

Values are arrays (..., components, points); the leading axes hold many candidates at once.
"""

from __future__ import annotations

from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats

__all__ = ["ROUNDED", "TOLERANCE", "Relation", "agree", "error", "key"]

Relation: TypeAlias = Literal["equal", "factor", "angle"]

TOLERANCE = 1e-9
"""Two equal forms of a step differ by rounding: 1e-15 as a rule, and up to 1e-12 where one form divides by c - a at
the points where that is 0.001. A slip changes some point by far more than 1e-6."""


ROUNDED = 1e-4
"""A slip misses by more than this at some point; a constant of five digits by less at all."""


def key(relation: Relation, values: Floats) -> Floats:
    """Numbers that are equal exactly where the answers are the same.

    "factor": the products of all pairs of components of the unit vector, which know neither length nor sign.
    "angle": cosine and sine.
    """
    if relation == "equal":
        return values
    with np.errstate(all="ignore"):  # a vector of zeros has no direction: NaN
        if relation == "angle":
            return np.concatenate([np.cos(values), np.sin(values)], axis=-2)
        largest = np.abs(values).max(axis=-2, keepdims=True)
        scaled = values / largest
        unit = scaled / np.sqrt((scaled * scaled).sum(axis=-2, keepdims=True))
    products = unit[..., :, None, :] * unit[..., None, :, :]
    return np.asarray(products.reshape(*values.shape[:-2], -1, values.shape[-1]))


def error(relation: Relation, given: Floats, wanted: Floats) -> Floats:
    """How far apart two answers are, per component and point; infinite where either is not a number.

    "equal": the difference. "factor": the difference after the given vector has been scaled to unit length and the
    wanted one to its multiple nearest to that, so at most 1. "angle": the difference, a whole number of turns apart.
    """
    with np.errstate(all="ignore"):
        if relation == "factor":
            given = given / np.abs(given).max(axis=-2, keepdims=True)  # a square could be too large for a number
            given = given / np.sqrt((given * given).sum(axis=-2, keepdims=True))
            wanted = wanted / np.sqrt((wanted * wanted).sum(axis=-2, keepdims=True))
            wanted = wanted * (given * wanted).sum(axis=-2, keepdims=True)
        difference = given - wanted
        if relation == "angle":
            difference = difference - 2 * np.pi * np.rint(difference / (2 * np.pi))
    return np.where(np.isfinite(difference), np.abs(difference), np.inf)


BORDER = 1e-6
"""At the border of its domain, where rounding decides whether a root exists, an angle is good to 1e-8 only. Points in
whole degrees may lie there."""

SINGULAR = 1e9
"""A number beyond this comes of a division by rounding errors, and is none."""

BORDERING = 64
"""One point in so many may lie on the border."""


GUARDED = 8
"""At one in so many of the wrong points an answer with a guard has to be compared; chance does not agree there."""


def agree(candidates: Floats, wanted: Floats, wrong: NDArray[np.bool_] | None = None) -> NDArray[np.bool_]:
    """Which candidates, (..., components, points) of keys, equal the wanted keys; not-a-number equals itself.

    A few points may be on the border: one is a number and the other is not, or they are equal to less. With `wrong`,
    the points at which the wanted keys are not those of the right answer, a candidate may besides be no number where
    the wanted one is, as long as it is a number at one wrong point in `GUARDED`: the answer has a guard, such as
    ``sqrt(max(0, D))``, and nobody knows which.
    """
    difference = np.abs(candidates - wanted)
    size = np.maximum(np.abs(wanted), 1)  # next to a singularity rounding grows with the number
    lost = ~(np.abs(candidates) < SINGULAR), ~(np.abs(wanted) < SINGULAR)
    alike = (difference <= TOLERANCE * size) | (lost[0] & lost[1])
    if wrong is not None:
        seen = ~lost[0].any(axis=-2) & wrong
        alike |= lost[0] & (seen.sum(axis=-1) * GUARDED >= max(wrong.sum(), 1))[..., None, None]
    same = alike.all(axis=-2)
    bordering = ((difference <= BORDER * size) | lost[0] | lost[1]).all(axis=-2)
    few = (~same).sum(axis=-1) <= wanted.shape[-1] // BORDERING
    return np.asarray(few & (same | bordering).all(axis=-1))
