"""The zero of an argument: a constant that was added to it in one stage, or everywhere, found from the answer."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from .input_slips import NOTHING, ZERO, Entry, zero_slip
from .mutants import Mutant, names_in
from .relation import key
from .samples import Points
from .steps import ROLES, Step
from .versions import Wrong, outcome

__all__ = ["offsets"]

QUARTERS = ZERO._replace(weight=2.5)  # quarter turns only exchange and turn round: two common slips may do as well

_FEW = 12  # points, which fix one number many times over
_GRID = 180  # zeros that are tried: every 2°, so that Newton's method starts near enough, next to a singularity too
_BEST = 4  # of those that are better than both neighbours
_ROUNDS = 10  # of Newton's method: from 1° off to rounding it takes five as a rule
_STEP = 1e-4  # radians, for a slope by differences
_NEAR = 1e-20  # mean square of what is left: rounding leaves 1e-30, a zero that is not yet exact 1e-14


def offsets(step: Step, points: Points, answer: Floats) -> Iterator[Wrong]:
    """Versions with another zero of one argument that agree with the answer, (components, points), where tried."""
    few = np.flatnonzero(np.isfinite(answer).all(axis=0))[:_FEW]
    points, wanted = {name: values[few] for name, values in points.items()}, _bounded(step, answer[:, few])
    for name, stage in _places(step):
        around = np.arange(_GRID) * 2 * np.pi / _GRID
        left = _left(step, points, wanted, name, stage, around)
        score = _mean_square(left)
        lowest = score <= np.minimum(np.roll(score, 1), np.roll(score, -1))
        zeros = around[np.argsort(np.where(lowest, score, np.inf))[:_BEST]]
        for _ in range(_ROUNDS):
            trio = np.concatenate([zeros - _STEP, zeros, zeros + _STEP])
            before, here, after = np.split(_left(step, points, wanted, name, stage, trio), 3)
            slope = np.nan_to_num((after - before) / (2 * _STEP))
            steepness = (slope * slope).sum(axis=(-2, -1))
            zeros = zeros - (slope * np.nan_to_num(here)).sum(axis=(-2, -1)) / np.maximum(steepness, NOTHING)
        zeros = np.angle(np.exp(1j * zeros))
        fitting = zeros[
            (_mean_square(_left(step, points, wanted, name, stage, zeros)) < _NEAR) & (np.abs(zeros) > NOTHING)
        ]
        if len(fitting):  # two may come to the same, half a turn apart
            yield _with_zeros(name, stage, fitting[[np.argmin(np.abs(fitting))]])


def _places(step: Step) -> Iterator[tuple[str, int | None]]:
    """Each argument that is an angle, with a stage; with None where it goes into several."""
    for name in step.arguments:
        stages = [i for i, stage in enumerate(step.stages) if name in names_in(stage.forms[0])]
        if ROLES.get(name, "number") not in ("number", "sign"):
            yield from ((name, i) for i in stages)
            if len(stages) > 1:
                yield name, None


def _with_zeros(name: str, stage: int | None, zeros: Floats) -> Wrong:
    """The version with these zeros, and the words for the first of them."""
    slip, change = zero_slip(float(zeros.flat[0]), 1, name), {name: Entry(name, offset=zeros)}
    if np.abs(np.sin(2 * zeros.flat[0])) < NOTHING:
        slip = slip._replace(operator=QUARTERS)
    return Wrong(((slip, change),)) if stage is None else Wrong(stages={stage: Mutant((slip,), (change,))})


def _left(step: Step, points: Points, wanted: Floats, name: str, stage: int | None, zeros: Floats) -> Floats:
    """What is between the answers with these zeros and the given one, (zeros, components of keys, points)."""
    return _bounded(step, outcome(step, _with_zeros(name, stage, zeros[:, None]), points)) - wanted


def _bounded(step: Step, values: Floats) -> Floats:
    """Keys, drawn together so that a point near a singularity counts no more than another."""
    keys = key(step.relation, values)
    return np.asarray(keys / (1 + np.sqrt((keys * keys).sum(axis=-2, keepdims=True))))


def _mean_square(left: Floats) -> NDArray[np.float64]:
    """Of what is a number; a version that gives none where the answer does, or the other way round, counts as far."""
    return np.asarray(np.where(np.isnan(left), 1.0, left * left).mean(axis=(-2, -1)))
