"""An answer, as somebody hands it in, made into numbers; and what is wrong with one that gives none.

An answer is code that its author runs in their own kernel. It is called with plain numbers, and nothing is ever
evaluated from text.
"""

from __future__ import annotations

import contextlib
import inspect
import io
import re
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from ..._check import Floats
from ...mechanism import deg
from ..picture import number
from .expressions import as_expression, from_sympy
from .faulty import Faulty
from .samples import Points
from .steps import ROLES, Step

__all__ = ["MENDED", "Function", "Observed", "ask", "callable_of", "place", "repeatable"]

Function: TypeAlias = Callable[..., Any]

MENDED = {
    "returns nothing": ". It is not written yet, or lacks its return.",
    "returns complex numbers": ", and every number here is real. Use np.sqrt and np.arccos, not those of cmath; if "
    "the imaginary part is zero by nature, return the real part.",
}
"""How an answer fails, and what to do where it does so at every point. At some points only, it says that no angle
closes the leg. A failure that is not listed here says itself what to do."""

PATIENCE = 20.0
"""Seconds that an answer may take at all points together. A formula takes less than a millisecond at each."""

_REPEATED = 24
"""Points at which an answer is asked twice."""


class _NoNumber(Exception):  # noqa: N818
    """What is returned at one point is not as many real numbers as the step has; the text says how."""


@dataclass
class Observed:
    """What an answer gave.

    Attributes
    ----------
    values : (components, points) array
        NaN where it failed.
    failures : list of (int, str)
        Index of each point where it failed, and how.
    printed : bool
        Whether it wrote to the screen, as far as that was kept away.
    """

    values: Floats
    failures: list[tuple[int, str]]
    printed: bool


def callable_of(answer: object, step: Step) -> Function:
    """The answer as a function of keyword arguments. Raises `Faulty` for what can be none."""
    if answer is None or answer is ...:
        raise Faulty("Not answered yet.")
    if isinstance(answer, str):
        raise Faulty("Your answer is a text, and text is never evaluated: hand in a function or a SymPy expression.")
    expression = as_expression(answer)
    if expression is not None:
        return from_sympy(expression, step)
    if not callable(answer):
        raise Faulty(
            f"Your answer is of type {type(answer).__name__}: hand in a function of {', '.join(step.arguments)}, or "
            "a SymPy expression in legloop.lesson.symbols."
        )
    _check_names(answer, step)
    return answer


def _check_names(function: Function, step: Step) -> None:
    """Whether the function can be called with the step's names; what has no signature is tried without this."""
    try:
        signature = inspect.signature(function)
    except (TypeError, ValueError):
        return
    try:
        signature.bind(**dict.fromkeys(step.arguments, 0.0))
    except TypeError:
        theirs = ", ".join(signature.parameters)
        raise Faulty(
            f"Your function takes ({theirs}); {step.name} calls it with the names ({', '.join(step.arguments)}): "
            "give its arguments these names."
        ) from None


def ask(function: Function, step: Step, points: Points) -> Observed:
    """Call an answer at all points. Raises `Faulty` when what it gives cannot be compared at all."""
    count = len(points["leg"])
    values, failures = np.full((len(step.components), count), np.nan), []
    until = time.perf_counter() + PATIENCE
    with _quiet() as screen:
        for i in range(count):
            arguments = {name: _plain(name, points[name][i]) for name in step.arguments}
            try:
                raw = function(**arguments)
            except KeyboardInterrupt:
                raise
            except BaseException as error:  # the code of a learner may fail in any way
                failures.append((i, f"raises {_told(error)}"))
                continue
            try:
                values[:, i] = _numbers(raw, step)
            except _NoNumber as none:
                failures.append((i, str(none)))
                continue
            if not np.isfinite(values[:, i]).all():
                failures.append((i, f"gives {'nan' if np.isnan(values[:, i]).any() else 'inf'}"))
                values[:, i] = np.nan
            if time.perf_counter() > until:
                raise Faulty(
                    f"Your answer is too slow: after {PATIENCE:g} s it has not been through the {count} points. Take "
                    "what does not depend on the arguments out of the function."
                )
    return Observed(values, failures, bool(screen.getvalue()))


def repeatable(function: Function, step: Step, points: Points, first: Observed) -> None:
    """Ask again, in the opposite order. Raises `Faulty` when an answer has changed meanwhile."""
    again = np.arange(min(_REPEATED, len(points["leg"])))[::-1]
    second = ask(function, step, {name: values[again] for name, values in points.items()})
    same = np.isclose(second.values, first.values[:, again], rtol=1e-12, atol=1e-12, equal_nan=True).all(axis=0)
    if not same.all():
        i = int(again[np.argmin(same)])
        raise Faulty(
            f"Your answer gives different numbers for the same arguments (at {place(step, points, i)}): it depends "
            "on something else, such as a global variable that it changes or a random number. Let it depend on its "
            "arguments only."
        )


def place(step: Step, points: Points, i: int) -> str:
    """The arguments at a point, in words."""
    told = [f"{name} = {_shown(name, points[name][i])}" for name in step.arguments]
    leg = points["leg"][i]
    return ("" if np.isnan(leg) else f"leg {int(leg) + 1}: ") + ", ".join(told)


def _shown(name: str, value: float) -> str:
    role = ROLES.get(name, "number")
    if role == "sign":
        return f"{int(value):+d}"
    if role == "number":
        return number(value, 3)
    return f"{float(number(value / deg, 1)):g}°"


def _plain(name: str, value: float) -> float | int:
    return int(value) if ROLES.get(name) == "sign" else float(value)


class _Screen(io.StringIO):
    """Keeps what the thread that made it writes; what others write goes where it went before."""

    def __init__(self) -> None:
        super().__init__()
        self.owner, self.before = threading.get_ident(), sys.stdout

    def write(self, text: str) -> int:
        return super().write(text) if threading.get_ident() == self.owner else self.before.write(text)


@contextlib.contextmanager
def _quiet() -> Iterator[io.StringIO]:
    """Keep the prints of an answer from the screen: it is called hundreds of times.

    `sys.stdout` belongs to the whole process. So the main thread alone changes it, for two at a time could not put it
    back; in other threads an answer prints what it prints. Warning filters belong to the process, too, and are let
    be: Python shows a warning once for each line. NumPy keeps `errstate` for each thread by itself.
    """
    screen = _Screen()
    with np.errstate(all="ignore"):
        if threading.current_thread() is threading.main_thread():
            with contextlib.redirect_stdout(screen):
                yield screen
        else:
            yield screen


def _told(error: BaseException) -> str:
    """Kind and first line of an error, without addresses in memory, which differ from run to run."""
    try:
        lines = str(error).splitlines()
    except Exception:  # an error may fail to say what it is
        lines = []
    text = re.sub(r" at 0x[0-9a-fA-F]+", "", lines[0])[:160] if lines else ""
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def _numbers(raw: Any, step: Step) -> Floats:
    """What one call returned, as real numbers in a row."""
    if raw is None or raw is ...:
        raise _NoNumber("returns nothing")
    wanted = f"{' by '.join(map(str, step.shape))} numbers" if step.shape else "one number"
    if isinstance(raw, str | bytes):
        raise _NoNumber(f"returns a text; return {wanted}")
    try:
        array = np.array(raw.tolist() if hasattr(raw, "tolist") else raw)
        if array.dtype == object:
            array = np.array([_real(entry) for entry in array.flat]).reshape(array.shape)
    except Exception:  # ragged lists, and whatever an unknown object does when asked for its numbers
        raise _NoNumber(f"returns a {type(raw).__name__} that is not made of real numbers; return {wanted}") from None
    if array.dtype.kind == "c":
        raise _NoNumber("returns complex numbers")
    if array.dtype.kind not in "fiu":
        raise _NoNumber(f"returns a {type(raw).__name__} that is not made of real numbers; return {wanted}")
    if array.shape != step.shape and (array.shape, step.shape) != ((3, 1), (3,)):  # a column is a vector
        raise _NoNumber(f"has shape {array.shape}; it must be {step.shape}: {wanted}")
    return np.asarray(array.reshape(-1), dtype=np.float64)


def _real(entry: Any) -> float | complex:
    """An exact or symbolic number as a float; complex ones stay complex, so that they are told apart."""
    if isinstance(entry, str | bytes | bool):
        raise TypeError
    try:
        return complex(entry) if isinstance(entry, complex) else float(entry)
    except TypeError:
        return complex(entry)
