"""Slips that can be made with a formula that is written out: signs, sines, factors, roots, inverse tangents."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping

from .formula import Call, Factor, Formula, Sum, Term, name_of, show_factor, var
from .slip import Operator, Slip

__all__ = ["formula_slips"]

SIGN = Operator("sign", 1.5, "the wrong sign of a term")
SIGN_OF_GROUP = Operator("sign", 1.7, "the wrong sign of every term with {name}")
SIGN_OF_SUM = Operator("sign", 1.6, "the wrong sign of a whole sum")
SIGN_OF_ALL = Operator("sign", 1.5, "all signs turned round")
SUM_LOST = Operator("missing-factor", 1.7, "a whole component left out")
TERM_LOST = Operator("missing-factor", 1.8, "the term {right} left out")
FACTOR_LOST = Operator("missing-factor", 1.9, "the factor {name} left out of a term")
FACTOR_LOST_IN_ALL = Operator("missing-factor", 1.8, "the factor {name} left out")
NUMBER_LOST = Operator("missing-factor", 1.6, "the factor {name} left out")
TWO_LOST = Operator("half-angle", 1.4, "the factor 2, which the half-angle brings, left out", ("missing-factor",))
ROOT_LOST = Operator("missing-factor", 1.8, "a square root left out")
MODE_LOST = Operator("other-elbow", 1.2, "the mode left out: mode -1 gets the angle of mode +1", ("missing-factor",))
SIN_COS = Operator("sin-cos", 1.5, "{wrong} where {right} belongs")
SIN_COS_IN_ALL = Operator("sin-cos", 1.7, "{wrong} where {right} belongs, in every term that has it")
SIN_COS_BOTH = Operator("sin-cos", 1.6, "sine and cosine of {name} exchanged")
SIN_COS_BESIDE = Operator("sin-cos", 1.9, "sine and cosine of an angle exchanged in every term with {name}")
ARC_SINE = Operator("sin-cos", 1.7, "the inverse sine in place of the inverse cosine")
QUADRANT = Operator("quadrant", 1.0, "atan in place of atan2, which loses the quadrant")
ATAN2_EXCHANGED = Operator("sin-cos", 1.3, "the arguments of atan2 exchanged; the sine part comes first", ("order",))
COMPONENTS_EXCHANGED = Operator("order", 2.0, "two components exchanged")
LINKS_EXCHANGED = Operator("links-swapped", 1.4, "the angles of the two links exchanged")
OTHER_LINK = Operator("links-swapped", 1.6, "the angle of the other link")

_COFUNCTION = {"sin": "cos", "cos": "sin"}
_OTHER_LINK = {"proximal": "distal", "distal": "proximal"}


def formula_slips(formula: Formula, where: Iterable[int] | None = None) -> Iterator[tuple[Slip, Formula]]:
    """Every formula that is one slip away, with the slip; slips in a single component only in those of `where`."""
    factors = _factors(term for terms in formula for term in terms)
    both_links = set(_OTHER_LINK) <= {name_of(factor) for factor in factors}
    for i in range(len(formula)) if where is None else where:
        terms = formula[i]
        in_links = _in_link_angles(terms, i) if both_links else ()
        for slip, wrong in (*_in_one_term(terms, i, ""), *_in_several_terms(terms, i), *in_links):
            yield slip, (*formula[:i], wrong, *formula[i + 1 :])
    if len(formula) > 1:
        yield Slip(SIGN_OF_ALL, "it", "its negative"), tuple(-terms for terms in formula)
        for factor in factors:
            lost = tuple(_each(terms, _losing(factor)) for terms in formula)
            yield Slip(FACTOR_LOST_IN_ALL, "the terms times it", "the terms alone", factor), lost
        for i in range(len(formula)) if where is None else where:
            if formula[i]:
                yield Slip(SUM_LOST, formula[i], "0", "", i), (*formula[:i], Sum(), *formula[i + 1 :])
    if len(formula) == 3:
        if where is None:
            yield from _in_groups(formula)
        for order in ((1, 0, 2), (2, 1, 0), (0, 2, 1)):
            exchanged = tuple(formula[k] for k in order)
            told = ", ".join(str(k + 1) for k in order)
            yield Slip(COMPONENTS_EXCHANGED, "them in the order 1, 2, 3", told), exchanged


def _in_groups(formula: Formula) -> Iterator[tuple[Slip, Formula]]:
    """Sine and cosine of an angle exchanged beside one factor, as when one axis of a frame was got wrong."""
    factors = [f for f in _factors(term for terms in formula for term in terms) if isinstance(f, Call)]
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
    if len(terms) > 1:
        yield Slip(SIGN_OF_SUM, terms, "the negative of that", "", component, inside), -terms


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
    for k, factor in enumerate(factors):
        before, after = factors[:k], factors[k + 1 :]
        lost = Term(size, before + after)
        operator = MODE_LOST if factor == "mode" else FACTOR_LOST
        yield Slip(operator, term, lost, factor, component, inside), (lost,)
        if isinstance(factor, Call):
            for slip, wrong in _wrong_calls(factor, component, inside):
                yield slip, (Term(size, (*before, wrong, *after)),)


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
        above = y[0].factors if len(y) == 1 and y[0].coefficient == 1 else (Call("", (y,)),)
        ratio = Sum([Term(1.0, (*above, Call("over", (x,))))])
        for operator, wrong in ((QUADRANT, Call("atan", (ratio,))), (ATAN2_EXCHANGED, Call("atan2", (x, y)))):
            yield Slip(operator, call, wrong, "", component, inside), wrong
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
            yield Slip(SIGN_OF_GROUP, group, "the negative of that", factor, component), flipped
        lost = _losing(factor)
        yield Slip(FACTOR_LOST_IN_ALL, group, _each(group, lost), factor, component), _each(terms, lost)
        if isinstance(factor, Call) and factor.function in _COFUNCTION:
            swapped = _each(terms, _replacing({factor: _cofunction(factor)}))
            yield Slip(SIN_COS_IN_ALL, factor, _cofunction(factor), "", component), swapped
    for sine in _factors(terms):
        if isinstance(sine, Call) and sine.function == "sin" and any(_cofunction(sine) in t.factors for t in terms):
            swapped = _each(terms, _replacing({sine: _cofunction(sine), _cofunction(sine): sine}))
            yield Slip(SIN_COS_BOTH, terms, swapped, name_of(sine), component), swapped


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
        yield Slip(LINKS_EXCHANGED, terms, swapped, "", component), swapped


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
