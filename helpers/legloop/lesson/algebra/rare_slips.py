"""Slips that are made seldom: one of them alone is looked for where no common slip gives the answer, never a pair."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import permutations

from .chain import Chain, show_links, written_out
from .formula import Call, Factor, Formula, Sum, Term, name_of, names_within, show_factor, var
from .formula_slips import SHORT, ratio
from .input_slips import Change, Entry
from .slip import Operator, Slip
from .steps import ROLES

__all__ = ["rare_chain_slips", "rare_formula_slips", "rare_input_slips"]

OTHER_ARGUMENT = Operator("order", 2.0, "{wrong} where {right} belongs")
ANGLES_ADDED = Operator("links-swapped", 1.8, "the angles of both links where that of one belongs")
START = Operator("frame", 1.8, "another axis than e_z at the end of the product")
NUMERATOR = Operator("brackets", 1.3, "brackets round what is above a fraction line left out")
DENOMINATOR = Operator("brackets", 1.3, "brackets round what is below a fraction line left out")
TOO_EARLY = Operator("brackets", 1.6, "a bracket closed too early")
FACTOR_TOO_MANY = Operator("missing-factor", 1.9, "a factor {name} that the other terms have not")
ALL_TIMES = Operator("length", 2.1, "another length: all of it multiplied by {name}")

_LINKS = ("proximal", "distal")


def rare_input_slips(names: Iterable[str]) -> Iterator[tuple[Slip, Change]]:
    """One angle put in for another; the angle of one link added to that of the other, or taken away."""
    for name, other in permutations(filter(_is_angle, names), 2):
        yield Slip(OTHER_ARGUMENT, name, other), {name: Entry(other)}
        if {name, other} == set(_LINKS):
            for size, sign in ((1.0, "+"), (-1.0, "-")):
                entry = Entry(name, other=other, times=size)
                yield Slip(ANGLES_ADDED, name, f"{name} {sign} {other}"), {name: entry}


def _is_angle(name: str) -> bool:
    return ROLES.get(name, "number") not in ("number", "sign")


def rare_chain_slips(chain: Chain) -> Iterator[tuple[Slip, Chain]]:
    """A link along another axis than z: the product turns e_x or e_y. Rare slips in the vector of the last turns."""
    if chain.use == "matrix" or chain.end is not None:
        return
    last = show_links(chain.links[-1:])
    for k, axis in enumerate("xy"):
        for size, sign in ((1.0, ""), (-1.0, "-")):
            end = tuple(Sum([Term(size, ())] if i == k else []) for i in range(3))
            yield Slip(START, f"{last} @ e_z", f"{last} @ {sign}e_{axis}"), chain._replace(end=end)
    for i in reversed(range(1, len(chain.links))):  # the shorter its vector is told, the better
        left, right = chain.links[:i], chain.links[i:]
        for slip, wrong in rare_formula_slips(written_out(Chain(right, "vector"))):
            yield slip._replace(part=right), Chain(left, chain.use, wrong)


def rare_formula_slips(formula: Formula) -> Iterator[tuple[Slip, Formula]]:
    """Missing brackets, a factor too many, one argument for another in a term, the sum of both links' angles."""
    names = list(names_within(formula))
    factors = dict.fromkeys(factor for terms in formula for term in terms for factor in term.factors)
    circular = [factor for factor in factors if isinstance(factor, Call) and factor.function in ("sin", "cos")]
    for i, terms in enumerate(formula):
        added = _sums_of_links(terms, i) if set(_LINKS) <= set(names) else ()
        for slip, wrong in (*_in_terms(terms, i, names), *_with_a_factor(terms, i, circular), *added):
            yield slip, (*formula[:i], wrong, *formula[i + 1 :])
    if len(formula) == 3:
        for told, factor in _times(circular):
            yield Slip(ALL_TIMES, "take that out", "", told), tuple(_longer(t, factor) for t in formula)


def _times(circular: Iterable[Call]) -> Iterator[tuple[str, Call]]:
    """The factors and their inverses, each with its words."""
    for factor in circular:
        for extra in (factor, Call("over", (Sum([Term(1.0, (factor,))]),))):
            yield show_factor(extra), extra


def _longer(terms: Iterable[Term], factor: Factor) -> Sum:
    return Sum(Term(size, (*factors, factor)) for size, factors in terms)


def _with_a_factor(terms: Sum, component: int, circular: Sequence[Call]) -> Iterator[tuple[Slip, Sum]]:
    """A factor too many in one term, in all that share another factor, or in all."""
    groups = {tuple(range(len(terms))), *((i,) for i in range(len(terms)))}
    groups |= {tuple(i for i, term in enumerate(terms) if shared in term.factors) for shared in circular}
    for group in sorted(groups - {()}):
        chosen, rest = Sum(terms[i] for i in group), Sum(t for i, t in enumerate(terms) if i not in group)
        for told, factor in _times(circular):
            wrong = _longer(chosen, factor)
            slip = Slip(FACTOR_TOO_MANY, chosen, wrong, told, component)
            if len(group) > SHORT:
                slip = slip._replace(right=f"divide those terms by {told}", wrong="")
            yield slip, rest + wrong


def _in_terms(terms: Sum, component: int, names: Sequence[str]) -> Iterator[tuple[Slip, Sum]]:
    for i, term in enumerate(terms):
        for slip, wrong in (*_other_names(term, component, names), *_in_factors(term, component, names)):
            yield slip, Sum((*terms[:i], *wrong, *terms[i + 1 :]))


def _other_names(term: Term, component: int, names: Sequence[str]) -> Iterator[tuple[Slip, Sequence[Term]]]:
    """One argument for another of its sort, throughout a term."""
    for name in dict.fromkeys(filter(None, map(name_of, term.factors))):
        for other in names:
            if other != name and _is_angle(other) == _is_angle(name) and ROLES.get(other) != "sign":
                factors = [_renamed(factor, other) if name_of(factor) == name else factor for factor in term.factors]
                wrong = Term(term.coefficient, tuple(factors))
                yield Slip(OTHER_ARGUMENT, term, wrong, "", component), [wrong]


def _renamed(factor: Factor, name: str) -> Factor:
    return name if isinstance(factor, str) else Call(factor.function, (var(name),))


def _in_factors(term: Term, component: int, names: Sequence[str]) -> Iterator[tuple[Slip, Sequence[Term]]]:
    size, factors = term
    for k, factor in enumerate(factors):
        if isinstance(factor, str):
            continue

        def instead(other: Factor, k: int = k) -> Term:
            return Term(size, (*factors[:k], other, *factors[k + 1 :]))

        if factor.function == "atan2":
            right = Sum([Term(1.0, ratio(factor))])
            for operator, ratio_of in _without_brackets(*factor.inside):
                yield Slip(operator, right, ratio_of, "", component), [instead(Call("atan", (ratio_of,)))]
        elif len(factor.inside) == 1:
            (inside,) = factor.inside
            operator = DENOMINATOR if factor.function == "over" else TOO_EARLY
            for stop in range(1, len(inside)):
                part, rest = Call(factor.function, (Sum(inside[:stop]),)), inside[stop:]
                held = [instead(Call("", (Sum([Term(1.0, (part,)), *rest]),)))]  # what is before it multiplies it all
                for wrong in ([instead(part), *rest], held):
                    yield Slip(operator, Sum([term]), Sum(wrong), "", component), wrong
        for j, argument in enumerate(factor.inside):
            for slip, other in _in_terms(argument, component, names) if name_of(factor) is None else ():
                inside_all = (*factor.inside[:j], other, *factor.inside[j + 1 :])
                yield slip, [instead(Call(factor.function, inside_all))]


def _without_brackets(y: Sum, x: Sum) -> Iterator[tuple[Operator, Sum]]:
    """What ``(y)/(x)`` becomes: a machine divides one term only, and after ``/ 2 * x`` it multiplies by x."""
    for i, term in enumerate(y):
        if len(y) > 1:
            yield NUMERATOR, Sum((*y[:i], *y[i + 1 :])) + Sum([term]) / x
    for i, term in enumerate(x):
        if len(x) > 1:
            yield DENOMINATOR, y / Sum([term]) + Sum((*x[:i], *x[i + 1 :]))
    if len(x) == 1 and abs(x[0].coefficient) != 1:
        size, factors = x[0]
        yield DENOMINATOR, (1.0 / size) * (y * Sum([Term(1.0, factors)]))


def _sums_of_links(terms: Sum, component: int) -> Iterator[tuple[Slip, Sum]]:
    for factor in dict.fromkeys(factor for term in terms for factor in term.factors):
        name = name_of(factor)
        if isinstance(factor, Call) and name in _LINKS:
            other = _LINKS[name == _LINKS[0]]
            for both in (var(name) + var(other), var(name) - var(other)):
                added = Call(factor.function, (both,))
                wrong = Sum(Term(t.coefficient, tuple(added if f == factor else f for f in t.factors)) for t in terms)
                yield Slip(ANGLES_ADDED, factor, added, "", component), wrong
