"""What can be said of a wrong answer that no known slip explains: where it goes wrong, and what to look at first."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from ..._check import Floats
from ...mechanism import deg
from ..picture import degrees, number
from .answers import Function, Observed, ask, place
from .faulty import Faulty
from .relation import ROUNDED, TOLERANCE, agree, error, key
from .samples import COEFFICIENTS, SPECIAL, Points, usable_points
from .steps import ROLES, Step, run

__all__ = ["against", "diagnosis"]

_PROBES = 6  # points at which an argument is set to a special value
_ROUNDED_ROOT = 1e-7  # rounding of an angle next to a double root, with room
_VISIBLE = 1e-3  # what four printed decimals show
_LISTED = 4  # points without a number that are named
_TELLING = 5  # wrong points from which a rule about where they lie may be read


def diagnosis(step: Step, points: Points, function: Function, seen: Observed) -> list[str]:
    """Sentences: what is wrong first, then where, then what to do."""
    miss = error(step.relation, seen.values, step.reference(points))
    lost = np.asarray(np.isinf(miss).any(axis=0))
    wrong = np.asarray(miss.max(axis=0) > TOLERANCE)
    told = wrong & ~lost
    if not told.any():
        i, how = seen.failures[0]
        start = f"Your {step.symbol} is right wherever it is a number, but at {place(step, points, i)} it {how}."
        return [start, *_elsewhere(step, points, seen), *_region(step, points, lost)]
    worst = float(miss[:, ~lost].max())
    if worst < ROUNDED:
        return [
            f"Your {step.symbol} agrees to some {int(-np.log10(worst))} digits, no further: a constant in it is "
            "rounded (3.14159 for np.pi, 0.866 for np.sqrt(3)/2), or it is computed in single precision."
        ]
    first = int(np.argmax((miss.max(axis=0) > min(_VISIBLE, worst / 2)) & ~lost))
    start = f"Your {step.symbol} is wrong, and neither one slip of the catalogue nor two together give it."
    roots = list(_roots(step, points, seen.values))
    said = [start, f"It shows first at {place(step, points, first)}: {against(step, points, seen.values, first)}."]
    region = _region(step, points, wrong)
    said += [*_components(step, points, seen.values), *roots, *region]
    vanishing = [] if region else _vanishing(step, points, function)
    alone = step.relation == "factor" and _in_ratio(step, points, seen.values).any()
    return [*said, *vanishing, *([] if roots or alone else _review_first(step, points, function))]


def _elsewhere(step: Step, points: Points, seen: Observed) -> Iterator[str]:
    """The other points at which an answer gives no number."""
    count = len(seen.failures)
    if count > 1:
        told = [f"at {place(step, points, i)} it {how}" for i, how in seen.failures[1:_LISTED]]
        more = [f"and so on, {count} points of {len(points['leg'])} in all"] if count > _LISTED else []
        yield f"Also {'; '.join([*told, *more])}."


def _roots(step: Step, points: Points, values: Floats) -> Iterator[str]:
    """Whether an angle solves the equation all the same, so that it is only the other root."""
    if "mode" not in step.arguments or "sense" in points:
        return
    known = run(step.stages, points)
    a, b, c = (known[name] for name in COEFFICIENTS)
    left = a * np.cos(values[0]) + b * np.sin(values[0]) + c
    if np.nanmax(np.abs(left)) <= _ROUNDED_ROOT:
        yield (
            "It solves a cos(theta) + b sin(theta) + c = 0 at every point, so the equation is right: where it is "
            "wrong it is the angle of the other elbow. Look at how the mode chooses the root."
        )


def against(step: Step, points: Points, values: Floats, i: int) -> str:
    """The numbers of an answer at a point against the right ones."""
    given, right = values[:, i], step.reference(points)[:, i]
    if step.relation == "angle":
        yours, ours = (degrees(_within_half_a_turn(float(value[0]))) for value in (given, right))
        return f"yours is {yours}, right is {ours}"
    scaled = ""
    if step.relation == "factor":
        sound = _in_ratio(step, points, values)
        kept, scaled = (sound, " beside the others") if sound.any() else (~sound, ", scaled to length 1")
        right = right / np.sqrt(right @ right)
        given = given * np.sqrt((right[kept] @ right[kept]) / (given[kept] @ given[kept]))
        given = given * (1 if given[kept] @ right[kept] >= 0 else -1)
    wrong = np.abs(given - right) > TOLERANCE
    names = [name for name, bad in zip(step.components, wrong, strict=True) if bad]
    told = [", ".join(number(float(value), 4) for value in row[wrong]) for row in (given, right)]
    return f"{', '.join(names)}{scaled}: yours is {told[0]}, right is {told[1]}"


def _in_ratio(step: Step, points: Points, values: Floats) -> NDArray[np.bool_]:
    """The two components of an equation that stand in the right ratio at every point: only the third is wrong."""
    there = np.isfinite(values).all(axis=0)
    given, right = values[:, there], step.reference(points)[:, there]
    for third in range(3):
        pair: NDArray[np.bool_] = np.asarray(np.arange(3) != third)
        if given[pair].any(axis=0).all() and agree(key("factor", given[pair]), key("factor", right[pair])):
            return pair
    return np.zeros(3, dtype=bool)


def _within_half_a_turn(angle: float) -> float:
    """The same angle in (-pi, pi]."""
    return float(np.pi - (np.pi - angle) % (2 * np.pi))


def _components(step: Step, points: Points, values: Floats) -> Iterator[str]:
    """Which components are wrong, if some are not."""
    if step.relation == "factor":
        bad = ~_in_ratio(step, points, values)
    else:
        there = np.isfinite(values).all(axis=0)
        miss = error(step.relation, values[:, there], step.reference(points)[:, there])
        bad = np.asarray((miss > TOLERANCE).any(axis=1))
    if not bad.all():
        names = [
            [name for name, b in zip(step.components, bad, strict=True) if b == wanted] for wanted in (True, False)
        ]
        yield f"Wrong is {', '.join(names[0])}; right at all points is {', '.join(names[1])}."


def _region(step: Step, points: Points, wrong: NDArray[np.bool_]) -> list[str]:
    """Where all wrong points lie, if that is no more than a part of all."""
    if wrong.sum() < _TELLING:
        return []
    holding = [(words, mask) for words, mask in _places(step, points) if (mask | ~wrong).all()]
    said, place_of_all = [], np.ones_like(wrong)
    for words, mask in sorted(holding, key=lambda place: int(place[1].sum())):
        if (place_of_all & ~mask).any():
            said.append(words)
            place_of_all &= mask
    always = ", and there always" if wrong[place_of_all].all() else ""
    return [f"It is wrong only where {' and '.join(said)}{always}."] if said else []


def _places(step: Step, points: Points) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    """Halves of the domain, in words."""
    for name in step.arguments:
        value, role = points[name], ROLES.get(name, "number")
        if role == "sign":
            yield from ((f"{name} = {sign:+d}", value == sign) for sign in (1, -1))
        elif role == "number":
            yield from ((f"{name} < 0", value < 0), (f"{name} > 0", value > 0))
        else:
            yield f"{name} is past {'' if role in ('cone', 'arc') else '±'}90°", np.abs(value) > np.pi / 2
            yield f"{name} is within {'' if role in ('cone', 'arc') else '±'}90°", np.abs(value) < np.pi / 2
            if role not in ("cone", "arc"):
                yield from ((f"{name} < 0", value < 0), (f"{name} > 0", value > 0))
    legs = points["leg"]
    if not np.isnan(legs).any():
        for leg in (1, 2, 3):
            yield f"the leg is {leg}", legs == leg - 1
            yield f"the leg is not {leg}", legs != leg - 1


def _vanishing(step: Step, points: Points, function: Function) -> Iterator[str]:
    """Special values of one argument at which the answer is right."""
    for name in step.arguments:
        role = ROLES.get(name, "number")
        if role == "sign":
            continue
        specials = {f"{value}°": value * deg for value in SPECIAL.get(role, ())} or {"0": 0.0}
        gone = [words for words, value in specials.items() if _right_at(step, points, function, {name: value})]
        if gone and len(gone) < max(len(specials), 2):
            parts = {"0": name, "0°": f"sin({name})", "180°": f"sin({name})"}
            part = {parts.get(words, f"cos({name})") for words in gone}
            look = f": look at the terms with {part.pop()}" if len(part) == 1 else ""
            yield f"The error is gone where {name} = {' or '.join(gone)}{look}."


def _review_first(step: Step, points: Points, function: Function) -> list[str]:
    """The earlier step in which the error must be, or the steps to go through."""
    level = dict.fromkeys(("roll", "pitch", "yaw"), 0.0)
    if level.keys() < set(step.arguments) and _right_at(step, points, function, level):
        return ["Review orientation first: the error is gone where roll = pitch = yaw = 0."]
    probed = [(name, fixed) for name, fixed in step.earlier if fixed]
    for name, fixed in probed:
        if not _right_at(step, points, function, fixed):
            where = ", ".join(f"{argument} = 0" for argument in fixed)
            return [f"Review {name} first: the error stays where {where}, and there nothing else is left."]
    if probed:
        return [f"What it takes from {' and '.join(name for name, _ in probed)} is right: the error is in this step."]
    names = [name for name, _ in step.earlier]
    return [f"Review {', then '.join(names)} first."] if names else []


def _right_at(step: Step, points: Points, function: Function, fixed: Mapping[str, float]) -> bool:
    """Whether the answer is right once some arguments are set, at those of a few points where there is an answer."""
    tried = {**points, **{name: np.full_like(points[name], value) for name, value in fixed.items()}}
    few = np.flatnonzero(usable_points(step, tried))[:_PROBES]
    tried = {name: values[few] for name, values in tried.items()}
    try:
        seen = ask(function, step, tried)
    except Faulty:
        return False
    return len(few) > 0 and float(error(step.relation, seen.values, step.reference(tried)).max()) <= TOLERANCE
