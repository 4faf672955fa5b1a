"""Slips that can be made with a formula that is written out: signs, sines, factors, roots, inverse tangents."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

from .formula import Call, Factor, Formula, Sum, Term, name_of, show_factor, show_term, sqrt, var
from .slip import Operator, Places, Slip

__all__ = ["SHORT", "formula_slips", "ratio"]

SIGN = Operator("sign", 1.5, "the wrong sign of a term")
SIGN_OF_GROUP = Operator("sign", 1.7, "the wrong sign of every term with {name}")
SIGN_OF_SUM = Operator("sign", 1.6, "the wrong sign of a whole sum")
SIGN_OF_COEFFICIENT = Operator("sign", 0.9, "the wrong sign of all of {name}")
SIGN_OF_ALL = Operator("sign", 1.5, "all signs turned round")
SUM_LOST = Operator("missing-factor", 1.7, "a whole component left out")
TERM_LOST = Operator("missing-factor", 1.8, "the term {right} left out")
FACTOR_LOST = Operator("missing-factor", 1.9, "the factor {name} left out of a term")
FACTOR_LOST_IN_ALL = Operator("missing-factor", 1.8, "the factor {name} left out")
FACTOR_LOST_EVERYWHERE = Operator("missing-factor", 1.8, "the factor {name} left out wherever it belongs")
NOT_DIVIDED = Operator("missing-factor", 1.9, "a product in place of a quotient")
NUMBER_LOST = Operator("missing-factor", 1.6, "the factor {name} left out")
TWO_LOST = Operator("half-angle", 1.4, "the factor 2, which the half-angle brings, left out", ("missing-factor",))
TWO_TWICE = Operator("half-angle", 1.8, "the factor 2 of the half-angle brought in twice")
TANGENT = Operator("half-angle", 1.3, "the tangent t of half the angle given for the angle")
RATIO = Operator("missing-factor", 1.5, "the inverse tangent left out")
HALF_OF_TERM = Operator("half-angle", 1.9, "half of an angle where the whole belongs")
TWICE_TERM = Operator("half-angle", 1.9, "twice an angle where it belongs once")
PART_IN_DEGREES = Operator("degrees", 1.8, "one angle in degrees, the rest in radians")
PART_IN_RADIANS = Operator("degrees", 1.8, "one angle in radians among degrees, before all of it became radians")
ROOT_LOST = Operator("missing-factor", 1.8, "a square root left out")
MODE_LOST = Operator("other-elbow", 1.2, "the mode left out: mode -1 gets the angle of mode +1", ("missing-factor",))
SIN_COS = Operator("sin-cos", 1.5, "{wrong} where {right} belongs")
SIN_COS_IN_ALL = Operator("sin-cos", 1.7, "{wrong} where {right} belongs, in every term that has it")
SIN_COS_EVERYWHERE = Operator("sin-cos", 1.7, "{wrong} where {right} belongs, everywhere")
SIN_COS_BOTH = Operator("sin-cos", 1.6, "sine and cosine of {name} exchanged")
SIN_COS_BESIDE = Operator("sin-cos", 1.9, "sine and cosine of an angle exchanged in every term with {name}")
ARC_SINE = Operator("sin-cos", 1.7, "the inverse sine in place of the inverse cosine")
QUADRANT = Operator("quadrant", 1.0, "atan in place of atan2, which loses the quadrant")
ARC_OF_SINE = Operator("quadrant", 1.4, "the angle taken from its sine alone, which loses the quadrant")
ARC_OF_COSINE = Operator("quadrant", 1.4, "the angle taken from its cosine alone, which loses the quadrant")
ATAN2_EXCHANGED = Operator("sin-cos", 1.3, "the arguments of atan2 exchanged; the sine part comes first", ("order",))
COMPONENTS_EXCHANGED = Operator("order", 2.0, "{name} exchanged")
COEFFICIENTS_EXCHANGED = Operator("order", 1.1, "{name} exchanged", ("sin-cos",))
LINKS_EXCHANGED = Operator("links-swapped", 1.4, "the angles of the two links exchanged")
OTHER_LINK = Operator("links-swapped", 1.6, "the angle of the other link")
OTHER_LINK_EVERYWHERE = Operator("links-swapped", 1.5, "the angle of the other link, wherever it stands")

_ANGLES = ("acos", "asin", "atan2")
_COFUNCTION = {"sin": "cos", "cos": "sin"}
_OTHER_LINK = {"proximal": "distal", "distal": "proximal"}
SHORT = 3
"""Terms up to which a sum is written out as a correction; of a longer one it is said what to do."""


def formula_slips(
    formula: Formula, where: Iterable[int] | None = None, *, coefficients: bool = False, everywhere: bool = True
) -> Iterator[tuple[Slip, Formula]]:
    """Every formula that is one slip away, with the slip; slips in a single component only in those of `where`.

    Slips that hit several components alike come only with `everywhere`. Whether the components are `coefficients` of
    an equation, not those of a vector, decides what is far-fetched: coefficients are easily exchanged, and each has a
    sign of its own.
    """
    places = list(range(len(formula)) if where is None else where)
    both_links = set(_OTHER_LINK) <= {name_of(factor) for factor in _factors(_all_terms(formula))}
    for i in places:
        terms = formula[i]
        in_links = _in_link_angles(terms, i) if both_links else ()
        for slip, wrong in (*_in_one_term(terms, i, ""), *_in_several_terms(terms, i), *in_links):
            yield slip, (*formula[:i], wrong, *formula[i + 1 :])
        if coefficients and len(formula) > 1 < len(terms):
            slip = Slip(SIGN_OF_COEFFICIENT, "turn its signs round", "", Places("{list}", (i,)))
            yield slip, (*formula[:i], -terms, *formula[i + 1 :])
    if len(formula) > 1:
        yield Slip(SIGN_OF_ALL, "turn them all back", ""), tuple(-terms for terms in formula)
        if everywhere:
            yield from _everywhere(formula, both_links=both_links)
        for i in places:
            if formula[i]:
                yield Slip(SUM_LOST, formula[i], "0", "", i), (*formula[:i], Sum(), *formula[i + 1 :])
    if len(formula) == 3:
        if where is None:
            yield from _in_groups(formula)
        operator = COEFFICIENTS_EXCHANGED if coefficients else COMPONENTS_EXCHANGED
        for order, pair in (((1, 0, 2), (0, 1)), ((2, 1, 0), (0, 2)), ((0, 2, 1), (1, 2))):
            right, wrong = Places("({row})", (0, 1, 2)), Places("({row})", order)
            yield Slip(operator, right, wrong, Places("{list}", pair)), tuple(formula[k] for k in order)


def _all_terms(formula: Formula) -> list[Term]:
    return [term for terms in formula for term in terms]


def _everywhere(formula: Formula, *, both_links: bool) -> Iterator[tuple[Slip, Formula]]:
    """What hits a factor alike in several components, as when they were computed from one intermediate result."""
    for factor in _factors(_all_terms(formula)):
        holding = [i for i, terms in enumerate(formula) if any(factor in term.factors for term in terms)]
        if len(holding) < 2:
            continue
        whole = all(factor in term.factors for i in holding for term in formula[i])
        text = f"multiply {{list}} by {show_factor(factor)}" if whole else "multiply those terms in {list} by it"
        lost = tuple(_each(terms, _losing(factor)) for terms in formula)
        yield Slip(FACTOR_LOST_EVERYWHERE, Places(text, tuple(holding)), "", factor), lost
        if not isinstance(factor, Call):
            continue
        others: list[tuple[Operator, Call]] = []
        if factor.function in _COFUNCTION:
            others.append((SIN_COS_EVERYWHERE, _cofunction(factor)))
            link = _OTHER_LINK.get(name_of(factor) or "")
            if both_links and link is not None:
                others.append((OTHER_LINK_EVERYWHERE, Call(factor.function, (var(link),))))
        elif factor.function == "over":
            others.append((NOT_DIVIDED, Call("", factor.inside)))
        for operator, other in others:
            yield Slip(operator, factor, other), tuple(_each(terms, _replacing({factor: other})) for terms in formula)


def _in_groups(formula: Formula) -> Iterator[tuple[Slip, Formula]]:
    """Sine and cosine of an angle exchanged beside one factor, as when one axis of a frame was got wrong."""
    factors = [f for f in _factors(_all_terms(formula)) if isinstance(f, Call)]
    for beside in factors:
        for sine in factors:
            if sine.function == "sin" and name_of(sine) != name_of(beside):
                swap = _replacing({sine: _cofunction(sine), _cofunction(sine): sine})
                swapped = tuple(
                    Sum(swap(term) if beside in term.factors else term for term in terms) for terms in formula
                )
                told = f"{name_of(sine)} as it is beside {show_factor(beside)}"
                yield Slip(SIN_COS_BESIDE, told, f"pi/2 - {name_of(sine)}", beside), swapped


def _in_one_term(terms: Sum, component: int, inside: str) -> Iterator[tuple[Slip, Sum]]:
    for i, term in enumerate(terms):
        for slip, wrong in _wrong_terms(term, component, inside, alone=len(terms) == 1):
            yield slip, Sum((*terms[:i], *wrong, *terms[i + 1 :]))
    yield from _sign_of_sum(terms, component, inside)


def _sign_of_sum(terms: Sum, component: int, inside: str) -> Iterator[tuple[Slip, Sum]]:
    if len(terms) > 1:
        yield Slip(SIGN_OF_SUM, *_turned_round(terms), "", component, inside), -terms


def _turned_round(terms: Sum) -> tuple[Sum | str, Sum | str]:
    """The right and the wrong sum, or what to do."""
    return (terms, -terms) if len(terms) <= SHORT else ("turn all its signs round", "")


def _wrong_terms(term: Term, component: int, inside: str, *, alone: bool) -> Iterator[tuple[Slip, tuple[Term, ...]]]:
    size, factors = term
    opposite = Term(-size, factors)
    yield Slip(SIGN, term, opposite, "", component, inside), (opposite,)
    if not alone:
        yield Slip(TERM_LOST, term, "0", "", component, inside), ()
    if abs(size) != 1:
        lost = Term(size / abs(size), factors)
        operator = TWO_LOST if abs(size) == 2 else NUMBER_LOST
        yield Slip(operator, term, lost, f"{abs(size):g}", component, inside), (lost,)
        if abs(size) == 2:
            twice = Term(2 * size, factors)
            yield Slip(TWO_TWICE, term, twice, "", component, inside), (twice,)
    if not alone and any(isinstance(factor, Call) and factor.function in _ANGLES for factor in factors):
        for operator, scale, told in (
            (HALF_OF_TERM, 0.5, "*0.5"),
            (TWICE_TERM, 2.0, "*2"),
            (PART_IN_DEGREES, 180 / math.pi, "*180/pi"),
            (PART_IN_RADIANS, math.pi / 180, "*pi/180"),
        ):
            yield Slip(operator, term, show_term(term) + told, "", component, inside), (Term(scale * size, factors),)
    for k, factor in enumerate(factors):
        before, after = factors[:k], factors[k + 1 :]
        lost = Term(size, before + after)
        operator = MODE_LOST if factor == "mode" else FACTOR_LOST
        yield Slip(operator, term, lost, factor, component, inside), (lost,)
        if isinstance(factor, Call):
            for slip, wrong in _wrong_calls(factor, component, inside):
                yield slip, (Term(size, (*before, wrong, *after)),)
            if factor.function == "atan2":
                for scale in dict.fromkeys((1.0, abs(size))):
                    bare = Term(scale * size / abs(size), (*before, *ratio(factor), *after))
                    operator = RATIO if abs(size) == 1 else TANGENT
                    yield Slip(operator, term, bare, "", component, inside), (bare,)


def _wrong_calls(call: Call, component: int, inside: str) -> Iterator[tuple[Slip, Call]]:
    function, arguments = call
    if function in _COFUNCTION:
        yield Slip(SIN_COS, call, _cofunction(call), "", component, inside), _cofunction(call)
        return
    if function == "acos":
        yield Slip(ARC_SINE, "acos", "asin", "", component, inside), Call("asin", arguments)
    elif function == "sqrt":
        bare = Call("", arguments)
        yield Slip(ROOT_LOST, call, bare, "", component, inside), bare
    elif function == "atan2":
        y, x = arguments
        radius = sqrt(y * y + x * x)
        for operator, told, wrong in (
            (QUADRANT, "", Call("atan", (Sum([Term(1.0, ratio(call))]),))),
            (ARC_OF_SINE, "asin(y/hypot(x, y)) of the same y, x", Call("asin", (y / radius,))),
            (ARC_OF_COSINE, "acos(x/hypot(x, y)) of the same y, x", Call("acos", (x / radius,))),
            (ATAN2_EXCHANGED, "", Call("atan2", (x, y))),
            (TWO_TWICE, "", Call("atan2", (2.0 * y, x))),
            (TWO_TWICE, "", Call("atan2", (y, 2.0 * x))),
        ):
            yield Slip(operator, call, told or wrong, "", component, inside), wrong
    for i, argument in enumerate(arguments):
        for slip, wrong_argument in _in_one_term(argument, component, function or inside):
            yield slip, Call(function, (*arguments[:i], wrong_argument, *arguments[i + 1 :]))


def _in_several_terms(terms: Sum, component: int) -> Iterator[tuple[Slip, Sum]]:
    """What hits all terms with one factor alike, as when the factor stands before a bracket."""
    for factor in _factors(terms):
        group = Sum(term for term in terms if factor in term.factors)
        if len(group) == 1:
            continue
        if len(group) < len(terms):
            flipped = _each(terms, _flipping(factor))
            yield Slip(SIGN_OF_GROUP, *_turned_round(group), factor, component), flipped
        lost = _each(group, _losing(factor))
        told: tuple[Any, Any] = (group, lost)
        if len(group) == len(terms):
            told = (Places(f"multiply {{list}} by {show_factor(factor)}", (component,)), "")
        yield Slip(FACTOR_LOST_IN_ALL, *told, factor, component), _each(terms, _losing(factor))
        if isinstance(factor, Call) and factor.function in _COFUNCTION:
            swapped = _each(terms, _replacing({factor: _cofunction(factor)}))
            yield Slip(SIN_COS_IN_ALL, factor, _cofunction(factor), "", component), swapped
    for sine in _factors(terms):
        if isinstance(sine, Call) and sine.function == "sin" and any(_cofunction(sine) in t.factors for t in terms):
            cosine = _cofunction(sine)
            swap = f"put {show_factor(sine)} for {show_factor(cosine)} there, and {show_factor(cosine)} for the other"
            swapped = _each(terms, _replacing({sine: cosine, cosine: sine}))
            yield Slip(SIN_COS_BOTH, swap, "", name_of(sine), component), swapped


def _in_link_angles(terms: Sum, component: int) -> Iterator[tuple[Slip, Sum]]:
    """One link's angle for the other's, in one factor or, exchanged, in the whole component."""
    others: dict[Factor, Factor] = {}
    for factor in _factors(terms):
        link = _OTHER_LINK.get(name_of(factor) or "")
        if link is not None and isinstance(factor, Call):
            others[factor] = Call(factor.function, (var(link),))
            swapped = _each(terms, _replacing({factor: others[factor]}))
            yield Slip(OTHER_LINK, factor, others[factor], "", component), swapped
    if len(others) > 1:
        swapped = _each(terms, _replacing(others))
        told = "put proximal for distal there, and distal for proximal"
        yield Slip(LINKS_EXCHANGED, told, "", "", component), swapped


def ratio(atan2: Call) -> tuple[Factor, ...]:
    """Of the arguments y, x of an inverse tangent the factors of y/x."""
    y, x = atan2.inside
    above = y[0].factors if len(y) == 1 and y[0].coefficient == 1 else (Call("", (y,)),)
    return (*above, Call("over", (x,)))


def _cofunction(call: Call) -> Call:
    return Call(_COFUNCTION[call.function], call.inside)


def _factors(terms: Iterable[Term]) -> list[Factor]:
    """Every factor once, in order of appearance."""
    return list(dict.fromkeys(factor for term in terms for factor in term.factors))


def _each(terms: Sum, change: Callable[[Term], Term]) -> Sum:
    return Sum(map(change, terms))


def _losing(factor: Factor) -> Callable[[Term], Term]:
    """Terms without a factor; what has it not stays the same object, which saves computing it again."""

    def change(term: Term) -> Term:
        if factor not in term.factors:
            return term
        return Term(term.coefficient, tuple(f for f in term.factors if f != factor))

    return change


def _flipping(factor: Factor) -> Callable[[Term], Term]:
    """Terms with the opposite sign if they have a factor."""
    return lambda term: Term(-term.coefficient, term.factors) if factor in term.factors else term


def _replacing(others: Mapping[Factor, Factor]) -> Callable[[Term], Term]:
    """Terms with some factors replaced by others."""

    def change(term: Term) -> Term:
        if others.keys().isdisjoint(term.factors):
            return term
        return Term(term.coefficient, tuple(others.get(f, f) for f in term.factors))

    return change
