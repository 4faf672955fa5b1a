"""The quadratic formula for t = tan(theta/2), and what becomes of it by a slip in what goes in or in its numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import product

from .formula import Call, Formula, Sum, Term, atan2, sqrt, var
from .formula_slips import formula_slips
from .slip import Operator, Slip

__all__ = ["angle_of_root", "slips_of_roots"]

NUMBERS = Operator("half-angle", 1.6, "the numbers 2 and 4 of the quadratic formula not all cancelled alike")

_MINUS_B, _SQUARE, _PRODUCT, _DIVISOR = (1.0, 2.0), (1.0, 4.0, 2.0), (1.0, 4.0), (1.0, 2.0)
"""With b half of B: what may stand before -b, b*b, A*C and A. All the first is right, all the second is right, and
2*b*b is what comes of (2*b)**2 when the 2 is not squared."""


def angle_of_root(A: Sum, B: Sum, C: Sum) -> Formula:
    """``2 atan((-B + mode sqrt(B^2 - 4 A C))/(2 A))``, which belongs to a root of A t^2 + B t + C."""
    return _put_in(_FORMULA, {"A": A, "B": B, "C": C})


def slips_of_roots(quadratic: Formula) -> Iterator[tuple[Slip, Formula]]:
    """What comes of one slip in the quadratic, (A, B, C), and of numbers in the formula that do not agree."""
    for slip, wrong in formula_slips(quadratic, coefficients=True):
        yield slip._replace(part="quadratic"), angle_of_root(*wrong)
    A, B, C = quadratic
    half = 0.5 * B
    right = [_with_numbers(numbers, A, half, C) for numbers in ((1.0, 1.0, 1.0, 1.0), (2.0, 4.0, 4.0, 2.0))]
    for numbers in product(_MINUS_B, _SQUARE, _PRODUCT, _DIVISOR):
        kept = sum(number > 1 for number in numbers)
        wrong = _with_numbers(numbers, A, half, C)
        if wrong not in right:
            yield Slip(NUMBERS, right[kept > 2][0], wrong[0]), wrong


def _numbered(minus_b: float, square: float, product: float, divisor: float) -> Formula:
    A, b, C = map(var, "AbC")
    root = var("mode") * sqrt(square * b * b - product * A * C)
    return (2.0 * atan2(-(minus_b * b) + root, divisor * A),)


def _with_numbers(numbers: tuple[float, ...], A: Sum, half: Sum, C: Sum) -> Formula:
    return _put_in(_numbered(*numbers), {"A": A, "b": half, "C": C})


def _put_in(formula: Formula, parts: Mapping[str, Sum]) -> Formula:
    """A formula with sums in the place of some of its names."""
    return tuple(_sum(terms, parts) for terms in formula)


def _sum(terms: Sum, parts: Mapping[str, Sum]) -> Sum:
    (size, factors), *more = terms or (Term(0.0, ()),)
    if size == 1 and len(factors) == 1 and factors[0] in parts and not more:
        return parts[str(factors[0])]  # a sum that stands alone needs no brackets
    return Sum(_term(term, parts) for term in terms)


def _term(term: Term, parts: Mapping[str, Sum]) -> Term:
    whole = Sum([Term(term.coefficient, ())])
    for factor in term.factors:
        if isinstance(factor, Call):
            whole = whole * Sum([Term(1.0, (Call(factor.function, _put_in(factor.inside, parts)),))])
        else:
            whole = whole * parts.get(factor, var(factor))
    return whole[0]


_B = var("B")
_FORMULA: Formula = (2.0 * atan2(-_B + var("mode") * sqrt(_B * _B - 4.0 * var("A") * var("C")), 2.0 * var("A")),)
