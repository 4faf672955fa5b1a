"""Explanations in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from ...mechanism import deg
from .relation import TOLERANCE, error
from .samples import Points, usable_points
from .slip import Slip
from .steps import Step
from .versions import Wrong, outcome

__all__ = ["explained", "kinds_of", "slips_of", "worth_telling"]

_OTHERS = 3  # other explanations that a message spells out
_AS_NEAR = 0.3  # by how much another explanation of the same kind may be more far-fetched and still be told
_FARTHER = 0.8  # by how much a pair of slips may be more far-fetched than the best pair and still be told


def worth_telling(found: list[Wrong]) -> list[Wrong]:
    """The explanations in the same order: all that are one slip, and the least far-fetched pairs.

    Of those that do the same thing in two forms of a formula, the first. Pairs are so many that some coincide by
    construction, as when the second slip undoes a part of the first.
    """
    nearest = min((wrong.weight for wrong in found if len(wrong.slips) > 1), default=0.0)
    once: dict[frozenset[tuple[str, str]], Wrong] = {}
    for wrong in found:
        if len(wrong.slips) == 1 or wrong.weight <= nearest + _FARTHER:
            once.setdefault(frozenset((slip.kind, slip.operator.words) for slip, _ in wrong.slips), wrong)
    return list(once.values())


def kinds_of(found: list[Wrong], same: Mapping[Slip, list[str]]) -> tuple[str, ...]:
    """Kinds: those of the best explanation, then those of the others, then other names for the same deeds."""
    slips = [slip for wrong in found for slip, _ in wrong.slips]
    others = [kind for slip in slips for kind in (*slip.operator.also, *same.get(slip, ()))]
    return tuple(dict.fromkeys([*(slip.kind for slip in slips), *others]))


def slips_of(found: list[Wrong]) -> tuple[tuple[Slip, ...], ...]:
    """The slips of each explanation."""
    return tuple(tuple(slip for slip, _ in wrong.slips) for wrong in found)


def explained(step: Step, points: Points, found: list[Wrong]) -> Iterator[str]:
    """Lines: the best explanation, which legs show it, and some of the others."""
    best, others = found[0], _others(found, len(step.stages) - 1)
    said = [_sentence(step, slip, stage) for slip, stage in best.slips]
    if len(said) == 1:
        yield f"Your {step.symbol} is what one gets with {said[0]}."
    else:
        yield f"Your {step.symbol} is what one gets with two slips at once."
        yield from (f"{order}: {text}." for order, text in zip(("First", "Second"), said, strict=True))
    yield from _legs(step, points, best)
    for i, wrong in enumerate(others):
        common = [slip in wrong.slips for slip in best.slips]
        if len(said) == 2 and any(common):
            ((slip, stage),) = (one for one in wrong.slips if one not in best.slips)
            yield f"In place of the {'first' if common[1] else 'second'}, as well: {_sentence(step, slip, stage)}."
        else:
            told = "; and ".join(_sentence(step, slip, stage) for slip, stage in wrong.slips)
            yield f"{'Or' if i else 'Exactly the same comes out'} with {told}."


def _others(found: list[Wrong], last: int) -> list[Wrong]:
    """What else to tell: the best of every other kind or stage, then another of the same; one pair at most."""
    best, *others = found
    by_kind: dict[frozenset[tuple[str, int]], Wrong] = {}
    for wrong in others:
        by_kind.setdefault(_kinds_and_stages(wrong, last), wrong)
    same = by_kind.pop(_kinds_and_stages(best, last), None)
    singles = [wrong for wrong in by_kind.values() if len(wrong.slips) == 1]
    pairs = [wrong for wrong in by_kind.values() if len(wrong.slips) == 2]
    if same is not None and len(same.slips) == 1 and same.weight <= best.weight + _AS_NEAR:
        singles.append(same)
    return [*singles, *pairs[:1]][:_OTHERS]


def _kinds_and_stages(wrong: Wrong, last: int) -> frozenset[tuple[str, int]]:
    return frozenset((slip.kind, last if stage is None else stage) for slip, stage in wrong.slips)


def _sentence(step: Step, slip: Slip, stage: int | None) -> str:
    """What was done and what to write, without a full stop."""
    last = len(step.stages) - 1
    components = step.components if stage in (None, last) else step.stages[stage or 0].outputs
    where = f" (step {step.stages[stage].name})" if stage is not None and last else ""
    return f"{slip.words(components)}{where}: {slip.correction(components)}"


def _legs(step: Step, points: Points, wrong: Wrong) -> Iterator[str]:
    """Which legs do not show a slip: those of the joint, or of one with its legs at 0°, 120°, 240°."""
    if "azimuth" not in step.arguments or wrong.fit is not None:
        return
    anywhere = bool(np.isnan(points["leg"]).any())
    shows: list[bool] = []
    for leg in range(3):
        if anywhere:
            tried = {**points, "azimuth": np.full_like(points["azimuth"], 120 * deg * leg)}
        else:
            tried = {name: values[points["leg"] == leg] for name, values in points.items()}
        with np.errstate(all="ignore"):
            miss = error(step.relation, outcome(step, wrong, tried), step.reference(tried))
            shows.append(bool((miss[:, usable_points(step, tried)] > TOLERANCE).any()))
    if len(set(shows)) > 1:
        at = " (legs at 0°, 120°, 240°)" if anywhere else ""
        hiding, showing = ([str(i + 1) for i in range(3) if shows[i] == wanted] for wanted in (False, True))
        yield f"{_named(hiding)} not show it, {_named(showing).lower()}{at}."


def _named(legs: list[str]) -> str:
    return f"Leg {legs[0]} does" if len(legs) == 1 else f"Legs {' and '.join(legs)} do"
