"""Marking an exercise: the learner's function against a reference, over many cases, with a verdict in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .._check import one, shown

__all__ = ["Verdict", "check"]


@dataclass(frozen=True)
class Verdict:
    """What came of an answer: `ok`, and a sentence that says why."""

    ok: bool
    message: str

    def __repr__(self) -> str:
        return self.message


def check(
    answer: Callable[..., Any],
    reference: Callable[..., Any],
    cases: Sequence[tuple[Any, ...]],
    *,
    period: float | None = None,
    tolerance: float = 1e-9,
) -> Verdict:
    """Call `answer` and `reference` with each tuple of arguments and compare what they return.

    Parameters
    ----------
    answer : callable
        The learner's function. One that returns None or ``...`` in all cases counts as not written yet. If it does so
        in some cases, or for some of several numbers, the verdict says which.
    reference : callable
        The function it is to agree with.
    cases : sequence of tuples
        Arguments. Give edges as well as everyday values: an agreement is worth no more than its cases.
    period : float, optional
        For angles: differences of a whole number of periods do not count.
    tolerance : float
        Largest difference allowed, in the units of the answer. Formulas that are equal differ by rounding
        (1e-15 or so); formulas that are not differ by far more.

    Raises
    ------
    TypeError, ValueError
        The reference is no function, the cases are none or no tuples, a period or tolerance is not above 0. What is
        wrong with the answer is no error: the verdict says it.
    """
    if not callable(reference):
        raise TypeError(f"reference is {shown(reference)}; it must be a function")
    rows = list(cases) if isinstance(cases, Sequence | np.ndarray) else [cases]
    if isinstance(cases, str) or not all(isinstance(row, tuple | list | np.ndarray) for row in rows):
        raise TypeError(f"cases is {shown(cases)}; give a list of tuples of arguments, as [(0.1,), (0.2,)]")
    if not rows:
        raise ValueError("cases is empty; an agreement is worth no more than its cases: give at least one")
    for name, value in (("period", 1.0 if period is None else period), ("tolerance", tolerance)):
        if not one(value, name) > 0:
            raise ValueError(f"{name} is {value}; it must be above 0")
    worst, worst_case, seen, unanswered = 0.0, "", "", []
    references = [np.asarray(reference(*case), dtype=float) for case in rows]  # all first: a bad case shows at once
    for case, wanted in zip(rows, references, strict=True):
        told = ", ".join(_short(value) for value in case)
        try:
            raw = answer(*case)
        except Exception as error:  # the learner's code may fail in any way; the verdict says how
            return Verdict(False, f"With ({told}) your function raises {type(error).__name__}: {error}")
        empty = _empty(raw)
        if empty == "all":
            unanswered.append(told)
            continue
        if empty:
            return Verdict(False, f"With ({told}) your function returns no number for {empty}; the others it gives.")
        try:
            given = np.asarray(raw, dtype=float)
        except (TypeError, ValueError):
            return Verdict(False, f"With ({told}) your function returns {raw!r}, which is not made of real numbers.")
        if given.shape != wanted.shape:
            return Verdict(
                False, f"With ({told}) your answer has shape {given.shape}; it should have shape {wanted.shape}."
            )
        difference = given - wanted
        if period is not None:
            difference = difference - period * np.rint(difference / period)
        miss = float(np.abs(np.where(np.isnan(given) & np.isnan(wanted), 0.0, difference)).max(initial=0.0))
        if not miss <= worst:
            worst, worst_case = miss, told
            seen = f"yours gives {_short(given)}, the reference {_short(wanted)}"
        if not np.isfinite(miss):
            break
    if len(unanswered) == len(rows):
        return Verdict(False, "Not answered yet: your function returns nothing.")
    if unanswered:
        return Verdict(
            False,
            f"With ({unanswered[0]}) your function returns nothing, and so in {len(unanswered)} of the {len(rows)} "
            "cases: has every branch its return?",
        )
    if worst <= tolerance:
        return Verdict(True, f"Agrees in all {len(rows)} cases.")
    return Verdict(False, f"Differs by up to {worst:.3g}, most with ({worst_case}): {seen}.")


def _empty(raw: Any) -> str:
    """Which of several answers are None or ``...``: "all", "number 3 of 4", or "" where all are given."""
    if raw is None or raw is ...:
        return "all"
    if isinstance(raw, np.ndarray) and raw.dtype == object:
        raw = raw.tolist()
    if not isinstance(raw, tuple | list):
        return ""
    missing = [i for i, entry in enumerate(raw, start=1) if _empty(entry) == "all"]
    if not missing:
        return next((f"number {i} of {len(raw)}: {inner}" for i, e in enumerate(raw, 1) if (inner := _empty(e))), "")
    if len(missing) == len(raw):
        return "all"
    return f"number {' and '.join(map(str, missing))} of {len(raw)}"


def _short(value: Any) -> str:
    """A value as the verdict quotes it: four significant digits, one line."""
    if isinstance(value, str):
        return repr(value)
    array = np.asarray(value)
    if array.dtype.kind not in "fiu":
        return "…"
    shown = np.array2string(array, separator=", ", formatter={"float_kind": lambda x: f"{x + 0.0:.4g}"}, threshold=20)
    return " ".join(shown.split())
