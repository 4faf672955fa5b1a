"""The review of an answer to a step of the derivation."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ...convention import Convention
from ...mechanism import Mechanism, deg
from .answers import MENDED, Function, Observed, ask, callable_of, place, repeatable
from .diagnosis import against, diagnosis
from .faulty import Faulty
from .framed import FRAMED, in_frame
from .relation import TOLERANCE, error
from .report import Report
from .samples import Leg, Points, draw, edges, legs_of
from .search import explanations, same_deeds
from .steps import STEPS, Step
from .versions import Wrong, outcome
from .words import explained, kinds_of, slips_of, worth_telling

__all__ = ["review"]

_TIDY, _WILD = (96, 4711), (96, 1174)  # count and seed of the points in whole degrees, and of the others
_EDGE_TOLERANCE = 1e-6  # at an edge the root of a rounding error of 1e-16 may come in


def review(
    step: str | Step, answer: object, *, mechanism: Mechanism | None = None, convention: Convention | None = None
) -> Report:
    """Say whether an answer to a step of the derivation is right; if not, by which slip, and what to write instead.

    The answer is compared with the step, as it is stated in `STEPS`, at 192 seeded points: arguments in every
    quadrant, unequal cones, both modes; half of them in whole degrees, half not. Any form that gives the same numbers
    to 1e-9 is right; of `leg_equation` and `half_angle` any multiple, also by a factor that depends on the arguments;
    of the motor angles any number of whole turns more or less. A wrong answer is compared with everything that one
    slip makes of the step, then with what slips make of it that are seldom made, and if nothing fits, with what two
    of the common ones make of it. A slip is told only if it gives the same numbers at all points.

    Parameters
    ----------
    step : str
        One of `STEPS`: rotation_x, rotation_y, rotation_z, orientation, base_axis, leg_frame, elbow_axis,
        platform_axis, leg_equation, half_angle, motor_angle, motor_angle_full, rate_row. A `Step` of one's own serves
        too; its slips come from its statement.
    answer : callable, or SymPy expression, matrix or tuple
        A function that takes the step's arguments as keywords, numbers in radians, and returns numbers; a vector may
        be flat or a column. Or an expression in the symbols of `legloop.lesson.symbols`.
    mechanism : Mechanism, optional
        Take cones, arcs and azimuths from the legs of this joint, not at random; messages then name the leg. Each leg
        must be as in `Mechanism.symmetric` without twist. Steps without these arguments are reviewed as always.
    convention : Convention, optional
        Review algebra that is written in somebody else's frames: orientation, base_axis, elbow_axis, platform_axis,
        leg_equation, motor_angle_full. What is answered (R, a vector, theta) and, among the arguments, theta and
        (vx, vy, vz) are theirs; roll, pitch, yaw, cones, arcs, mode keep our meaning, and the azimuth, that of a leg
        of ours, says which leg is meant. Without a mechanism the legs stand at 0°, 120°, 240°.

    Returns
    -------
    Report
        With `ok`, `slips`, `max_error`, `message`, `explanations`. An answer that fails, gives no real numbers, has
        the wrong shape or depends on more than its arguments gets a report that says so.

    Raises
    ------
    ValueError, TypeError
        There is no such step; a convention is given for a step that is the same in every frame; the mechanism has
        legs that the steps do not describe; an argument has the wrong type.

    Notes
    -----
    A form may be undefined at single values where the step is not: the half-angle form at c = a, an equation that was
    multiplied by sin(base_cone) at base_cone = 0. That is no error; the message of the right answer tells of it. A
    number that is wrong at such a value, at c = a excepted, is one. So is a failure at any of the 192 points.

    With a slip in it, an answer often finds no angle at some points. It may then be nan, None or complex, or raise,
    or have a guard that makes any number of it: the slip is named all the same, and the guard too.

    Threads may review at the same time. An answer's prints are kept from the screen in the main thread alone.
    """
    task, legs = _task(step, mechanism, convention)
    tidy, wild = (
        draw(task, count, seed, tidy=neat, legs=legs) for (count, seed), neat in ((_TIDY, True), (_WILD, False))
    )
    points = {name: np.concatenate([tidy[name], wild[name]]) for name in tidy}
    try:
        function = callable_of(answer, task)
        seen = ask(function, task, points)
        repeatable(function, task, points, seen)
        return _report(task, points, function, seen)
    except Faulty as fault:
        return Report(task.name, False, (), math.inf, str(fault))


def _task(
    step: str | Step, mechanism: Mechanism | None, convention: Convention | None
) -> tuple[Step, list[Leg] | None]:
    """The step as it is to be reviewed, and the legs that its geometry comes from."""
    if isinstance(step, Step):
        task = step
    elif isinstance(step, str) and step in STEPS:
        task = STEPS[step]
    else:
        raise ValueError(f"step is {step!r}; it must be one of {', '.join(STEPS)}")
    if mechanism is not None and not isinstance(mechanism, Mechanism):
        raise TypeError(f"mechanism must be a Mechanism, not an object of type {type(mechanism).__name__}")
    legs = None if mechanism is None else legs_of(mechanism)
    if convention is None:
        return task, legs
    if not isinstance(convention, Convention):
        raise TypeError(f"convention must be a Convention, not an object of type {type(convention).__name__}")
    if task.name not in FRAMED:
        raise ValueError(
            f"{task.name} is reviewed without convention: it does not depend on the frame, or does not say which leg "
            f"is meant; convention goes with {', '.join(FRAMED)}"
        )
    ours: list[Leg] = legs or [{"azimuth": i * 120 * deg} for i in range(3)]
    theirs = [convention.leg_order.index(i) for i in range(3)]
    framed: list[Leg] = [
        {**leg, "sense": float(convention.sense[k]), "zero": float(convention.zero[k])}
        for leg, k in zip(ours, theirs, strict=True)
    ]
    return in_frame(task, convention), framed


def _report(step: Step, points: Points, function: Function, seen: Observed) -> Report:
    """Compare what an answer gave, and say what comes of it."""
    miss = error(step.relation, seen.values, step.reference(points))
    worst = float(miss.max())
    if worst <= TOLERANCE:
        return _right(step, points, function, seen, worst)
    if not seen.failures and np.ptp(seen.values, axis=1).max() <= TOLERANCE:
        same = "zero" if not seen.values.any() else "the same"
        line = f"Your {step.symbol} is {same} at every point: nothing in it depends on {', '.join(step.arguments)}."
        return Report(step.name, False, (), worst, "\n".join([line, *_prints(seen)]))
    there = np.asarray(np.isfinite(seen.values).all(axis=0))
    numbers = there.any()
    found = _found(step, points, seen, there) if miss[:, there].max(initial=0.0) > TOLERANCE or not numbers else []
    if found and numbers:
        lost = _lost(step, points, seen, found[0])
        if found[0].guarded:
            lost = [
                f"At {found[0].guarded} of the {miss.shape[1]} points this slip leaves no angle that closes the leg, "
                "and yours is a number all the same: a guard, such as max(0, ...) under the root, clip or abs, hides "
                "that. Take it out while you look for the slip."
            ]
        lines = [*explained(step, points, found), *lost]
    elif numbers:
        lines = diagnosis(step, points, function, seen)
    else:
        i, how = seen.failures[0]
        if not how.startswith(("raises", "gives")) and all(other == how for _, other in seen.failures):
            raise Faulty(f"At {place(step, points, i)} your answer {how}{MENDED.get(how, '.')}")
        lines = [f"Your {step.symbol} is no number at any point: at {place(step, points, i)} it {how}."]
        if found:
            lines += [
                "There is nothing to compare; but this, too, leaves no number anywhere.",
                *explained(step, points, found),
            ]
    pairs = any(len(wrong.slips) > 1 for wrong in found)
    kinds = kinds_of(found, same_deeds(step, points) if pairs else {})
    return Report(step.name, False, kinds, worst, "\n".join([*lines, *_prints(seen)]), slips_of(found))


def _found(step: Step, points: Points, seen: Observed, there: NDArray[np.bool_]) -> list[Wrong]:
    """What explains a wrong answer: with the points at which it gives no number, or else without them."""
    if not _comparable(seen):
        return []
    found = worth_telling(explanations(step, points, seen.values))
    if not found and len(there) / 2 <= there.sum() < len(there):
        kept = {name: values[there] for name, values in points.items()}
        found = worth_telling(explanations(step, kept, seen.values[:, there]))
    return found


def _lost(step: Step, points: Points, seen: Observed, best: Wrong) -> list[str]:
    """Where a slipped answer gives no number, and whether that is the slip's doing."""
    if not seen.failures:
        return []
    at = [i for i, _ in seen.failures]
    with np.errstate(all="ignore"):
        own = np.isfinite(outcome(step, best, points)[:, at]).all(axis=0)
    count = f"at {len(at)} of the {len(points['leg'])} points"
    if not own.any():
        return [f"So it gives no number {count}."]
    i, how = seen.failures[int(np.argmax(own))]
    return [f"It gives no number {count}, and that is another fault: at {place(step, points, i)} it {how}."]


def _comparable(seen: Observed) -> bool:
    """Whether slips may be looked for: it gives some numbers, or the nan of a formula that has left its domain."""
    return bool(np.isfinite(seen.values).any()) or all(
        "nan" in how or "ValueError" in how for _, how in seen.failures
    )


def _right(step: Step, points: Points, function: Function, seen: Observed, worst: float) -> Report:
    """The report of an answer that is right at the points: is it at the edges, too?"""
    special = edges(step, points)
    there = ask(function, step, special.points)
    right = step.reference(special.points)
    silent = ~np.isfinite(there.values).all(axis=0)
    if step.relation == "factor":
        silent |= ~there.values.any(axis=0)
    wrong = error(step.relation, there.values, right).max(axis=0) > _EDGE_TOLERANCE
    fault = wrong & ~silent & ~special.excused
    if fault.any():
        i = int(np.argmax(fault))
        lines = [
            f"Your {step.symbol} is right at {len(points['leg'])} points, but wrong where {special.words[i]}.",
            f"At {place(step, special.points, i)}: {against(step, special.points, there.values, i)}.",
        ]
        worst = float(error(step.relation, there.values, right)[:, fault].max())
        return Report(step.name, False, (), worst, "\n".join([*lines, *_prints(seen)]))
    lines = [f"Right: your {step.symbol} agrees at all {len(points['leg'])} points."]
    weak = dict.fromkeys(word for word, bad in zip(special.words, wrong, strict=True) if bad)
    if weak:
        lines.append(
            f"Mind: where {', or '.join(weak)}, this form gives no usable number; the step itself is defined there."
        )
    return Report(step.name, True, (), worst, "\n".join([*lines, *_prints(seen)]))


def _prints(seen: Observed) -> list[str]:
    return ["(It writes to the screen each time it is called; the review kept that away.)"] if seen.printed else []
