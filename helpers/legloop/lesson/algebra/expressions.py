"""Answers in SymPy: which objects are such, and how they become functions of numbers.

This module does not load SymPy. Whoever hands in one of its objects has done so.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .faulty import Faulty
from .steps import Step

__all__ = ["as_expression", "from_sympy"]


def as_expression(answer: object) -> NDArray[Any] | None:
    """The entries of a SymPy expression or matrix, or of a list with such in it; None for anything else."""
    sympy = sys.modules.get("sympy")
    if sympy is None:
        return None
    if isinstance(answer, sympy.MatrixExpr) and not isinstance(answer, sympy.MatrixBase):
        answer = answer.as_explicit()
    if isinstance(answer, sympy.MatrixBase | sympy.NDimArray):
        return np.array(answer.tolist(), dtype=object)
    if isinstance(answer, sympy.Expr):
        return np.array(answer, dtype=object)
    if isinstance(answer, sympy.Tuple):
        answer = tuple(answer)
    if isinstance(answer, list | tuple | np.ndarray):
        entries = np.array(answer, dtype=object)
        return entries if any(isinstance(entry, sympy.Basic) for entry in entries.flat) else None
    if isinstance(answer, sympy.Basic) and not callable(answer):
        raise Faulty(f"Your answer is a SymPy {type(answer).__name__}: hand in an expression, or a matrix of them.")
    return None


def from_sympy(entries: NDArray[Any], step: Step) -> Callable[..., Any]:
    """A function of the step's arguments. Symbols count by their name, whatever is assumed about them."""
    sympy = sys.modules["sympy"]
    for entry in entries.flat:
        if not isinstance(entry, sympy.Expr | int | float | np.number):
            raise Faulty(
                f"Your answer holds a {type(entry).__name__}: every entry must be a SymPy expression or a number."
            )
    expressions = [sympy.sympify(entry) for entry in entries.flat]
    used = set().union(*(expression.free_symbols for expression in expressions))
    strange = sorted({str(symbol) for symbol in used} - set(step.arguments))
    if strange:
        raise Faulty(
            f"Your answer holds {', '.join(strange)}; {step.name} is a function of {', '.join(step.arguments)}: use "
            "the symbols of legloop.lesson.symbols, and put in what the others stand for."
        )
    unknown = sorted({str(f.func) for e in expressions for f in e.atoms(sympy.core.function.AppliedUndef)})
    if unknown:
        raise Faulty(f"Your answer holds {', '.join(unknown)}, a function without a formula: put its formula in.")
    arguments = [sympy.Symbol(name) for name in step.arguments]
    by_name = {symbol: sympy.Symbol(str(symbol)) for symbol in used}
    try:
        compiled = sympy.lambdify(arguments, [e.xreplace(by_name) for e in expressions], "numpy")
    except Exception as error:  # SymPy has many ways to say that it cannot print a thing as numbers
        raise Faulty(f"Your answer cannot be turned into numbers: {type(error).__name__}.") from None

    def function(**values: float) -> Any:
        return np.array(compiled(*(values[name] for name in step.arguments))).reshape(entries.shape)

    return function
