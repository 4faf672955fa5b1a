"""Wrong versions of one stage of a step: one slip away, or one more slip away from a wrong version."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from ..._check import Floats
from .chain import Chain, written_out
from .chain_slips import chain_slips, slips_everywhere, slips_on_the_way
from .formula import Evaluation, names_within
from .formula_slips import formula_slips
from .input_slips import Change, changed, input_slips
from .rare_slips import rare_chain_slips, rare_formula_slips, rare_input_slips
from .slip import Slip
from .steps import Form, Stage, values_of

__all__ = ["RIGHT", "Bench", "Mutant", "distinct", "names_in", "one_slip_further", "rarely_slipped"]


class Mutant(NamedTuple):
    """A stage with slips: in what goes in, and in one of its forms; None where the form is still right."""

    slips: tuple[Slip, ...] = ()
    changes: tuple[Change, ...] = ()
    form: Form | None = None

    @property
    def weight(self) -> float:
        """How far-fetched its slips are together."""
        return sum(slip.operator.weight for slip in self.slips)


RIGHT = Mutant()

TURNS_AT_ONCE = 2
"""Turns that most people multiply out in one go."""


def one_slip_further(stage: Stage, mutant: Mutant = RIGHT, where: Sequence[int] | None = None) -> Iterator[Mutant]:
    """Every version of the stage that has one slip more; slips in a single component only in those of `where`.

    Two slips come up in one order only: what goes in, then turns of a chain, then components of what it is multiplied
    out to. Among single components it is from first to last, unless `where` says which.
    """
    slips, changes, form = mutant
    if form is None:
        for slip, change in input_slips(names_in(stage.forms[0])):
            yield Mutant((*slips, slip), (*changes, change))
        for slip, formula in stage.confused:
            yield Mutant((*slips, slip), changes, formula)
    last = slips[-1] if form is not None else None
    for right in stage.forms if form is None else (form,):
        yield from (Mutant((*slips, slip), changes, wrong) for slip, wrong in _form_slips(right, last, where))


def rarely_slipped(stage: Stage) -> Iterator[Mutant]:
    """Every version of the stage with one slip that is seldom made."""
    for slip, change in rare_input_slips(names_in(stage.forms[0])):
        yield Mutant((slip,), (change,))
    for slip, formula in stage.rare:
        yield Mutant((slip,), (), formula)
    for right in stage.forms:
        if isinstance(right, Chain):
            yield from (Mutant((slip,), (), chain) for slip, chain in rare_chain_slips(right))
        form = written_out(right) if isinstance(right, Chain) else right
        yield from (Mutant((slip,), (), formula) for slip, formula in rare_formula_slips(form))


def _form_slips(form: Form, last: Slip | None, where: Sequence[int] | None) -> Iterator[tuple[Slip, Form]]:
    """Slips in a form; `last` is the one that has been made in it."""
    onwards = range(last.component, 3) if last and last.component is not None else None
    local = last is not None and last.component is not None
    if not isinstance(form, Chain):
        there = where if where is not None or len(form) != 3 else onwards
        yield from formula_slips(form, there, coefficients=True, everywhere=not local)
        return
    yield from chain_slips(form)
    if last is None or len(last.part) <= TURNS_AT_ONCE:  # two slips in two long products are far-fetched, and many
        yield from formula_slips(written_out(form), where, coefficients=form.use == "closure")
    yield from slips_on_the_way(form, len(form.links) if last is None else TURNS_AT_ONCE)
    yield from slips_everywhere(form)
    if form.end is not None and last:
        for slip, wrong in formula_slips(form.end, onwards):
            yield slip._replace(part=last.part), form._replace(end=wrong)


def names_in(form: Form) -> list[str]:
    """The arguments of a form, each once."""
    return list(names_within(written_out(form) if isinstance(form, Chain) else form))


class Bench:
    """Evaluates mutants of one stage for the same arguments."""

    def __init__(self, stage: Stage, given: Mapping[str, Floats]) -> None:
        self.stage = stage
        self._given = given
        self._by_changes: dict[int, tuple[tuple[Change, ...], Evaluation]] = {}  # by the identity of the changes

    def values(self, mutant: Mutant) -> list[Floats]:
        """What the stage gives with these slips."""
        form = self.stage.forms[0] if mutant.form is None else mutant.form
        return values_of(form, self._evaluation(mutant.changes))

    def table(self, mutants: Sequence[Mutant], points: tuple[int, ...]) -> Floats:
        """The values of many mutants: (mutants, outputs, *points)."""
        table = np.empty((len(mutants), len(self.stage.outputs), *points))
        for row, mutant in zip(table, mutants, strict=True):
            for place, value in zip(row, self.values(mutant), strict=True):
                place[...] = value
        return table

    def _evaluation(self, changes: tuple[Change, ...]) -> Evaluation:
        kept = self._by_changes.get(id(changes))
        if kept is None:
            given = self._given
            for change in changes:
                given = changed(given, change)
            kept = self._by_changes[id(changes)] = changes, Evaluation(given)
        return kept[1]


def distinct(mutants: Sequence[Mutant], table: Floats, right: Floats) -> list[int]:
    """Of mutants that give the same numbers the least far-fetched; none that gives the right ones."""
    found: dict[bytes, int] = {}
    for i, row in enumerate(np.round(table, 9) + 0.0):  # + 0.0 makes 0. of -0.
        key = row.tobytes()
        if key not in found or mutants[i].weight < mutants[found[key]].weight:
            found[key] = i
    found.pop((np.round(right, 9) + 0.0).tobytes(), None)
    return sorted(found.values())
