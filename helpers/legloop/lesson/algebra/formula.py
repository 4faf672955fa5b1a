"""Formulas as plain data, so that a slip is a change at one place of them.

A formula is a tuple of components. A component is a sum of terms, a term is a number times factors, and a factor
is the name of an argument or a function of sums:

    cos(eta) sin(gamma) - 2 b   is   Sum([Term(1, (cos eta, sin gamma)), Term(-2, ("b",))])
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any, NamedTuple, TypeAlias

import numpy as np

from ..._check import Floats

__all__ = [
    "Call",
    "Evaluation",
    "Factor",
    "Formula",
    "Sum",
    "Term",
    "acos",
    "atan2",
    "cos",
    "name_of",
    "names_within",
    "number",
    "show_factor",
    "show_sum",
    "show_term",
    "sin",
    "sqrt",
    "var",
]

FUNCTIONS: dict[str, Callable[..., Any]] = {
    "sin": np.sin,
    "cos": np.cos,
    "sqrt": np.sqrt,
    "acos": np.arccos,
    "asin": np.arcsin,
    "atan": np.arctan,
    "atan2": np.arctan2,
    "over": np.reciprocal,
    "": lambda value: value,  # a sum in brackets
}


class Call(NamedTuple):
    """A function of sums. As every part of a formula it is compared and hashed by content."""

    function: str
    inside: tuple[Sum, ...]


Factor: TypeAlias = str | Call


class Term(NamedTuple):
    """A number times factors."""

    coefficient: float
    factors: tuple[Factor, ...]


class Sum(tuple[Term, ...]):
    """A sum of terms, with the arithmetic in which the steps are stated."""

    __slots__ = ()

    def __add__(self, other: Sum) -> Sum:  # type: ignore[override]
        return Sum((*self, *other))

    def __neg__(self) -> Sum:
        return Sum(Term(-coefficient, factors) for coefficient, factors in self)

    def __sub__(self, other: Sum) -> Sum:
        return self + -other

    def __mul__(self, other: Sum) -> Sum:  # type: ignore[override]
        """The product; a sum of several terms stays in its brackets."""
        (m, first), (n, second) = self._as_term(), other._as_term()
        return Sum([Term(m * n, first + second)])

    def __rmul__(self, number: float) -> Sum:  # type: ignore[override]
        coefficient, factors = self._as_term()
        return Sum([Term(number * coefficient, factors)])

    def __truediv__(self, other: Sum) -> Sum:
        return self * Sum([Term(1.0, (Call("over", (other,)),))])

    def _as_term(self) -> Term:
        return self[0] if len(self) == 1 else Term(1.0, (Call("", (self,)),))


Formula: TypeAlias = tuple[Sum, ...]


def var(name: str) -> Sum:
    """An argument."""
    return Sum([Term(1.0, (name,))])


def _named(function: str) -> Callable[..., Sum]:
    def build(*inside: Sum) -> Sum:
        return Sum([Term(1.0, (Call(function, inside),))])

    return build


sin, cos, sqrt, acos, atan2 = map(_named, ("sin", "cos", "sqrt", "acos", "atan2"))


def name_of(factor: Factor) -> str | None:
    """The argument that a factor is, or is the sine or cosine of; None for anything larger."""
    if isinstance(factor, str):
        return factor
    if factor.function in ("sin", "cos"):
        only = factor.inside[0][0].factors[0]
        return only if isinstance(only, str) else None
    return None


def names_within(sums: Iterable[Sum]) -> dict[str, None]:
    """The arguments that stand anywhere in some sums, each once, in order."""
    found: dict[str, None] = {}
    for terms in sums:
        for term in terms:
            for factor in term.factors:
                found |= {factor: None} if isinstance(factor, str) else names_within(factor.inside)
    return found


class Evaluation:
    """Values of formulas for given arguments; arrays broadcast.

    Wrong formulas share most of their parts with the right one. So what has been computed is kept: sums by identity,
    which costs next to nothing to look up, terms and functions by content.
    """

    def __init__(self, given: Mapping[str, Floats]) -> None:
        self.given = given
        self._sums: dict[int, tuple[Sum, Any]] = {}  # the sum is kept too, so that its identity stays its own
        self._parts: dict[Term | Call, Any] = {}
        self._turned: Evaluation | None = None
        self.shape = np.broadcast_shapes(*(np.shape(value) for value in given.values()))
        self.products: dict[tuple[Any, ...], Floats] = {}  # turns and products of turns, which `chain` computes

    def at_three_angles(self) -> Evaluation:
        """The same with theta = 0, 90°, 180° along a new first axis; made once."""
        if self._turned is None:
            theta = np.array([0, np.pi / 2, np.pi]).reshape(3, *[1] * len(self.shape))
            self._turned = Evaluation({**self.given, "theta": theta})
        return self._turned

    def formula(self, formula: Formula) -> list[Floats]:
        """The values of all components."""
        return [self.sum(component) for component in formula]

    def array(self, sums: Iterable[Sum]) -> Floats:
        """The values of sums, each broadcast to all points."""
        values = [self.sum(terms) for terms in sums]
        table = np.empty((len(values), *self.shape))
        for row, value in zip(table, values, strict=True):
            row[...] = value
        return table

    def sum(self, terms: Sum) -> Any:
        """The value of one sum; of an empty one, zero."""
        kept = self._sums.get(id(terms))
        if kept is None:
            total = self._term(terms[0]) if terms else np.float64(0.0)
            for term in terms[1:]:
                total = total + self._term(term)
            kept = self._sums[id(terms)] = terms, total
        return kept[1]

    def _term(self, term: Term) -> Any:
        value = self._parts.get(term)
        if value is None:
            value = term.coefficient
            for factor in term.factors:
                value = value * (self.given[factor] if isinstance(factor, str) else self._call(factor))
            self._parts[term] = value
        return value

    def _call(self, call: Call) -> Any:
        value = self._parts.get(call)
        if value is None:
            value = FUNCTIONS[call.function](*map(self.sum, call.inside))
            self._parts[call] = value
        return value


def number(value: float) -> str:
    """A coefficient as one writes it: 2, 0.5, 0.8660."""
    return f"{value:.4f}" if round(value, 3) != value else f"{value:g}"


def show_sum(terms: Sum) -> str:
    """As one writes it in Python: ``-cos(base_cone)*cos(proximal) + c/sqrt(a*a + b*b)``."""
    if not terms:
        return "0"
    shown = [show_term(term) for term in terms]
    joined = "".join(f" - {text[1:]}" if text.startswith("-") else f" + {text}" for text in shown[1:])
    return shown[0] + joined


def show_term(term: Term) -> str:
    """One term, with its sign when that is minus."""
    above = [show_factor(f) for f in term.factors if isinstance(f, str) or f.function != "over"]
    below = [_show_divisor(f) for f in term.factors if not isinstance(f, str) and f.function == "over"]
    size = abs(term.coefficient)
    if size != 1 or not above:
        above.insert(0, number(size))
    return ("-" if term.coefficient < 0 else "") + "*".join(above) + "".join(f"/{text}" for text in below)


def show_factor(factor: Factor) -> str:
    """An argument, or a function of sums."""
    if isinstance(factor, str):
        return factor
    if factor.function == "over":
        return f"1/{_show_divisor(factor)}"
    return f"{factor.function}({', '.join(map(show_sum, factor.inside))})"


def _show_divisor(factor: Call) -> str:
    (inside,) = factor.inside
    simple = len(inside) == 1 and inside[0].coefficient == 1 and len(inside[0].factors) == 1
    return show_sum(inside) if simple else f"({show_sum(inside)})"
