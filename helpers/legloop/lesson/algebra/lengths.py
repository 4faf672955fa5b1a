"""Vectors of the right direction but of another length: not divided by it, or divided by something else."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from ..._check import Floats
from ..picture import number
from .relation import TOLERANCE, agree, key
from .samples import Points
from .slip import Operator, Slip
from .steps import ROLES, Step

__all__ = ["lengths"]

NOT_UNIT = Operator("length", 1.8, "{name} in the right direction, but not of length 1")
BOTH_WAYS = Operator(
    "length", 1.8, "{name} in the right direction, but not of length 1, and here and there turned round"
)
TURNED_ROUND = Operator("sign", 1.8, "{name} in the opposite direction")
NOT_SO_LONG = Operator("length", 3.0, "{name} in the right direction, but of another length")


def lengths(step: Step, points: Points, table: Floats, answer: Floats) -> Iterator[tuple[int, Slip]]:
    """Rows of versions, (versions, components, points), that are parallel to the answer, (components, points).

    Of a matrix, column by column. The answer is finite.
    """
    if step.relation != "equal" or step.shape not in ((3,), (3, 3)):
        return
    columns = [slice(None)] if step.shape == (3,) else [slice(k, None, 3) for k in range(3)]
    parallel = np.ones(len(table), dtype=bool)
    for column in columns:
        parallel &= agree(key("factor", table[:, column]), key("factor", answer[column]))
    for row in np.flatnonzero(parallel):
        ours = [table[row, column] for column in columns]
        times = [(answer[c] * v).sum(axis=0) / (v * v).sum(axis=0) for c, v in zip(columns, ours, strict=True)]
        other = [k for k, factor in enumerate(times) if np.abs(factor - 1).max() > TOLERANCE]
        if other:
            yield int(row), _slip(step, points, [ours[k] for k in other], [times[k] for k in other], other)


def _slip(step: Step, points: Points, ours: list[Floats], times: list[Floats], columns: list[int]) -> Slip:
    """`columns` of the matrix are `times` as long as `ours`; of a vector there is one."""
    unit = all(np.abs((vector * vector).sum(axis=0) - 1).max() < TOLERANCE for vector in ours)
    same_way = all((factor > 0).all() for factor in times)
    name = step.symbol
    if step.shape == (3, 3) and len(columns) < 3:
        name = f"the column{'s' * (len(columns) > 1)} {' and '.join(f'[:, {k}]' for k in columns)} of {step.symbol}"
    if all(np.abs(factor + 1).max() < TOLERANCE for factor in times):
        return Slip(TURNED_ROUND, "turn the signs round", "", name)
    operator = NOT_SO_LONG if not unit else NOT_UNIT if same_way else BOTH_WAYS
    each = "each" if len(columns) > 1 else "it"
    said = [_repair(points, factor, each) for factor in times]
    if len(set(said)) == 1 and said[0]:
        return Slip(operator, said[0], "", name)
    if unit:
        turned = "" if same_way else ", and look at the sign of what it was divided by"
        return Slip(operator, f"divide {each} by its length, sqrt(x*x + y*y + z*z){turned}", "", name)
    return Slip(operator, "look at what it is divided by", "", name)


def _repair(points: Points, times: Floats, each: str) -> str:
    """By what to divide or multiply, where the factor is a constant or one sine or cosine."""
    if np.ptp(times) < TOLERANCE:
        return f"divide {each} by {number(float(times[0]), 5)}"
    for told, part in _parts(points).items():
        if np.abs(times * part - 1).max() < TOLERANCE:
            return f"multiply {each} by {told}"
        if np.abs(times - part).max() < TOLERANCE:
            return f"divide {each} by {told}"
    return ""


def _parts(points: Points) -> Mapping[str, Floats]:
    """The sine and the cosine of each angle."""
    angles = [name for name in points if ROLES.get(name, "number") not in ("number", "sign")]
    named = (("sin", np.sin), ("cos", np.cos))
    return {f"{told}({name})": function(points[name]) for name in angles for told, function in named}
