"""The search for slips that explain an answer: one slip first, then two at once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from .fits import fits, quarter_turns
from .lengths import lengths
from .offsets import offsets
from .relation import BORDERING, ROUNDED, TOLERANCE, agree, error, key
from .samples import Points
from .slip import Slip
from .steps import Step
from .versions import FARTHEST, Block, Wrong, alone, one_rare_slip, outcome, two_slips, up_to_one_slip

__all__ = ["explanations", "same_deeds"]

SCREEN = 8
"""Points at which pairs of slips are tried first. What agrees there is tried at all points."""

DOUBTFUL = 2.4
"""A single slip beyond this weight, such as another frame, leaves room for a pair of common ones."""

_LAST: dict[str, tuple[Step, Points, list[list[Block]]]] = {}


def explanations(step: Step, points: Points, answer: Floats) -> list[Wrong]:
    """Every slip that gives exactly this answer, the least far-fetched and the last first, then pairs that do.

    Slips that are seldom made, and then pairs, are looked for when no other slip fits, and when only one does that is
    more far-fetched than a pair.
    `answer` is (components, points). Where it is no number, the slips must give no number either. The other way round
    it may have a guard, as `agree` has it; such an explanation counts only where none is exact.
    """
    with np.errstate(all="ignore"):
        singles, *turned = _singles(step, points)
        found = list(_agreeing(step, points, singles, answer))
        miss = error(step.relation, answer, step.reference(points))
        if miss[np.isfinite(miss)].max(initial=0.0) > ROUNDED:  # an amount smaller than that is a rounded constant
            fitted = list(_fitted(step, singles, turned, answer))
            found += [wrong for wrong in fitted if len(wrong.slips) == 1]
            unscaled = list(_with_lengths(step, points, singles, answer)) if _doubtful(found) else []
            found += [wrong for wrong in unscaled if len(wrong.slips) == 1]
            if _doubtful(found):
                found += _rare(step, points, answer, bool(found))
            if _doubtful(found):
                farthest = min((wrong.weight for wrong in found), default=FARTHEST)
                found += [wrong for wrong in unscaled if len(wrong.slips) == 2 and wrong.weight <= farthest]
                found += [wrong for wrong in fitted if len(wrong.slips) == 2 and wrong.weight <= farthest]
                found += _pairs(step, points, answer, farthest)
    exact = [wrong for wrong in found if not wrong.guarded]
    return sorted(exact or found, key=lambda wrong: (len(wrong.slips), wrong.weight, -max(wrong.stages, default=0)))


def _doubtful(found: list[Wrong]) -> bool:
    """Whether to look farther."""
    return all(wrong.weight > DOUBTFUL for wrong in found)


def same_deeds(step: Step, points: Points) -> dict[Slip, list[str]]:
    """For each slip the kinds of all single slips that come to the same, its own included."""
    few = {name: values[:SCREEN] for name, values in points.items()}
    groups: dict[bytes, list[Slip]] = {}
    with np.errstate(all="ignore"):
        for block in up_to_one_slip(step, few):
            for i, row in enumerate(np.round(key(step.relation, block.table), 9) + 0.0):  # + 0.0 makes 0. of -0.
                groups.setdefault(row.tobytes(), []).extend(slip for slip, _ in block.version(i).slips)
    return {slip: [other.kind for other in group] for group in groups.values() for slip in group}


def _rare(step: Step, points: Points, answer: Floats, explained: bool) -> Iterator[Wrong]:
    """Slips that are seldom made; what needs an amount only where nothing else explains the answer."""
    few = _telling(step, points, answer)
    near = {name: values[few] for name, values in points.items()}
    likely = list(_agreeing(step, near, one_rare_slip(step, near), answer[:, few]))
    found = list(_confirmed(step, points, answer, likely))
    if not explained and not found:
        found += _confirmed(step, points, answer, offsets(step, points, answer))
    yield from found


def _with_lengths(step: Step, points: Points, singles: list[Block], answer: Floats) -> Iterator[Wrong]:
    """Versions of up to one slip that agree once every vector has its length."""
    if np.isfinite(answer).all():
        for block in singles:
            for row, slip in lengths(step, points, block.table, answer):
                wrong = block.version(row)
                if wrong.fit is None:
                    yield wrong._replace(fit=slip)
                if not wrong.slips:
                    return  # what else comes to the same up to lengths is more far-fetched


def _pairs(step: Step, points: Points, answer: Floats, farthest: float) -> Iterator[Wrong]:
    """Pairs of slips that give the answer: tried at a few telling points, then at all."""
    few = _telling(step, points, answer)
    near = {name: values[few] for name, values in points.items()}
    yield from _confirmed(
        step, points, answer, _agreeing(step, near, two_slips(step, near, answer[:, few], farthest), answer[:, few])
    )


def _confirmed(step: Step, points: Points, answer: Floats, likely: Iterable[Wrong]) -> Iterator[Wrong]:
    """Of versions that agree at a few points those that do so at all."""
    for wrong in likely:
        yield from _agreeing(step, points, [alone(outcome(step, wrong, points), wrong)], answer)


def _telling(step: Step, points: Points, answer: Floats) -> NDArray[np.intp]:
    """Indices of a few points: numbers that are wrong, and two others."""
    miss = error(step.relation, answer, step.reference(points)).max(axis=0)
    order = np.argsort(np.where(np.isinf(miss), 1, np.where(miss > TOLERANCE, 0, 2)), kind="stable")
    return np.concatenate([order[: SCREEN - 2], order[-2:]])


def _agreeing(step: Step, points: Points, blocks: Iterable[Block], answer: Floats) -> Iterator[Wrong]:
    wanted = key(step.relation, answer)
    differs = error(step.relation, answer, step.reference(points)).max(axis=0) > TOLERANCE
    for block in blocks:
        keys = key(step.relation, block.table)
        for row in np.flatnonzero(agree(keys, wanted, differs)):
            missing = int((np.isnan(keys[row]) & ~np.isnan(wanted)).any(axis=0).sum())
            yield block.version(int(row))._replace(guarded=missing * (missing > wanted.shape[-1] // BORDERING))


def _singles(step: Step, points: Points) -> list[list[Block]]:
    """All versions of up to one slip, at the points and at their quarter turns.

    Whoever repairs an answer hands it in again soon: the versions of the last review of each step are kept.
    """
    last = _LAST.get(step.name)
    if last is None or last[0] is not step or not all(np.array_equal(last[1][n], points[n]) for n in step.arguments):
        blocks = [list(up_to_one_slip(step, there)) for there in (points, *quarter_turns(step, points))]
        last = _LAST[step.name] = step, points, blocks
    return last[2]


def _fitted(step: Step, singles: list[Block], turned: list[list[Block]], answer: Floats) -> Iterator[Wrong]:
    """Versions of up to one slip that agree once an unknown zero, frame or unit is found."""
    for block, *more in zip(singles, *turned, strict=True):
        for row, slip in fits(step, [block.table, *(other.table for other in more)], answer):
            wrong = block.version(row)
            if wrong.fit is None:
                yield wrong._replace(fit=slip)
