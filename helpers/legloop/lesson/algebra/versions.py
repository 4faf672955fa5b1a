"""Wrong versions of a whole step, with one slip or with two, and what they answer; many at once."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import partial
from typing import NamedTuple, TypeAlias

import numpy as np

from ..._check import Floats
from .chain import Chain
from .chain_slips import slips_everywhere
from .input_slips import Change, changed, input_slips
from .mutants import RIGHT, Bench, Mutant, distinct, names_in, one_slip_further, rarely_slipped
from .rare_slips import rare_input_slips
from .relation import agree
from .slip import Slip
from .steps import Stage, Step, answer_of, run

__all__ = ["FARTHEST", "Block", "Known", "Wrong", "alone", "one_rare_slip", "outcome", "two_slips", "up_to_one_slip"]

Known: TypeAlias = Mapping[str, Floats]
"""The arguments at some points, and what stages have made of them; "leg" is always among them."""

LEAST = 1.0
"""Weight of the commonest slips."""

LEAST_IN_A_TERM = 1.4
"""Weight of the commonest slips within one component."""

FARTHEST = 3.8
"""Weight of the most far-fetched pair of slips in one stage: a factor lost in each of two terms."""

FARTHEST_EARLY = 2.4
"""The same in an early stage of a step of several, whose own review goes farther."""


class Wrong(NamedTuple):
    """A wrong version of a step: slips in what goes into every stage, within stages, and in what comes out.

    `guarded` counts the points at which it is no number while the answer that it explains is one.
    """

    changes: tuple[tuple[Slip, Change], ...] = ()
    stages: Mapping[int, Mutant] = {}
    fit: Slip | None = None
    guarded: int = 0

    @property
    def slips(self) -> tuple[tuple[Slip, int | None], ...]:
        """All its slips, each with the index of its stage if it has a single one."""
        within: dict[Slip, int | None] = {}
        for i, mutant in self.stages.items():
            for slip in mutant.slips:
                within[slip] = None if slip in within else i
        return (
            *(((self.fit, None),) if self.fit else ()),
            *((slip, None) for slip, _ in self.changes),
            *within.items(),
        )

    @property
    def weight(self) -> float:
        """How far-fetched its slips are together."""
        return sum(slip.operator.weight for slip, _ in self.slips)


class Block(NamedTuple):
    """The answers of many versions, (versions, components, points), and which version a row belongs to."""

    table: Floats
    version: Callable[[int], Wrong]


class Singles(NamedTuple):
    """The versions of one stage with one slip: what they give, (mutants, outputs, points), and what went in."""

    mutants: list[Mutant]
    outputs: Floats
    known: Known


def outcome(step: Step, wrong: Wrong, points: Known) -> Floats:
    """The answer of a wrong version without its fit, (components, points)."""
    known = points
    for _, change in wrong.changes:
        known = changed(known, change)
    for i, stage in enumerate(step.stages):
        values = Bench(stage, known).values(wrong.stages.get(i, RIGHT))
        known = {**known, **dict(zip(stage.outputs, values, strict=True))}
    given = [np.shape(known[name]) for name in step.stages[-1].outputs]  # larger than the points if slips hold arrays
    return _answer(step, known, np.broadcast_shapes(points["leg"].shape, *given))


def up_to_one_slip(step: Step, points: Known) -> Iterator[Block]:
    """The right version, and all with one slip."""
    for wrong in (Wrong(), *(Wrong((change,)) for change in _shared_changes(step)), *_in_every_chain(step)):
        yield alone(outcome(step, wrong, points), wrong)
    for slip, stages in step.mistaken:
        yield alone(answer_of(stages, points), Wrong(fit=slip))
    known = points
    for i, stage in enumerate(step.stages):
        mutants = list(one_slip_further(stage))
        table = Bench(stage, known).table(mutants, points["leg"].shape)
        yield Block(_finished(step, i, table, known), _rows(i, mutants))
        known = run((stage,), known)


def one_rare_slip(step: Step, points: Known) -> Iterator[Block]:
    """All versions with one slip that is seldom made."""
    for change in _spread(step, rare_input_slips(step.arguments)):
        yield alone(outcome(step, Wrong((change,)), points), Wrong((change,)))
    known = points
    for i, stage in enumerate(step.stages):
        mutants = list(rarely_slipped(stage))
        if mutants:
            yield Block(
                _finished(step, i, Bench(stage, known).table(mutants, points["leg"].shape), known), _rows(i, mutants)
            )
        known = run((stage,), known)


def two_slips(step: Step, points: Known, answer: Floats, limit: float) -> Iterator[Block]:
    """Versions with two slips that may give the answer: in one stage up to a weight, in two, in all and one."""
    singles: list[Singles] = []
    known = points
    for stage in step.stages:
        singles.append(_distinct_slips(stage, known))
        known = run((stage,), known)
    for i, (firsts, outputs, known) in enumerate(singles):
        yield from _in_one_stage(step, i, singles[i], answer, limit)
        slipped = _with_outputs(step.stages[i], outputs, known)
        yield from _and_one_more(step, i + 1, slipped, singles, _beside(i, firsts))
    yield from _in_all_and_one(step, points, singles)


def _in_one_stage(step: Step, i: int, singles: Singles, answer: Floats, limit: float) -> Iterator[Block]:
    """Two slips in stage i."""
    stage, known = step.stages[i], singles.known
    is_last = i == len(step.stages) - 1
    farthest = limit if is_last else min(limit, FARTHEST_EARLY)
    bench = Bench(stage, known)
    for first, values in zip(singles.mutants, singles.outputs, strict=True):
        if is_last:
            where: Sequence[int] | None = _mendable(step, values, answer)
        else:
            where = None if first.weight + LEAST_IN_A_TERM <= farthest else ()
        near = one_slip_further(stage, first, where) if first.weight + LEAST <= farthest else ()
        pairs = [pair for pair in near if pair.weight <= farthest]
        if pairs:
            table = bench.table(pairs, known["leg"].shape)
            yield Block(_finished(step, i, table, known), _rows(i, pairs))


def _and_one_more(
    step: Step, start: int, slipped: Known, singles: Sequence[Singles], version: Callable[[int, Mutant, int], Wrong]
) -> Iterator[Block]:
    """Versions that have slipped before a stage, (versions, points), each with one slip in that stage or later."""
    for k in range(start, len(step.stages)):
        stage = step.stages[k]
        bench = Bench(stage, slipped)
        shape = np.broadcast_shapes(*(value.shape for value in slipped.values()))
        for second in singles[k].mutants:
            values = np.stack([np.broadcast_to(value, shape) for value in bench.values(second)], axis=1)
            yield Block(_finished(step, k, values, slipped), partial(version, k, second))
        slipped = run((stage,), slipped)


def _in_all_and_one(step: Step, points: Known, singles: Sequence[Singles]) -> Iterator[Block]:
    """A slip in what goes into several stages, and another: of that sort, or in a stage."""
    shared = _shared_changes(step)
    if not shared:
        return
    for change in shared:
        for wrong in (*(Wrong((other,)) for other in shared), *_in_every_chain(step)):
            both = wrong._replace(changes=(change, *wrong.changes))
            yield alone(outcome(step, both, points), both)
    each = [changed(points, change) for _, change in shared]
    slipped = {name: np.stack([known[name] for known in each]) for name in points}

    def version(k: int, second: Mutant, row: int) -> Wrong:
        return Wrong((shared[row],), {k: second})

    yield from _and_one_more(step, 0, slipped, singles, version)


def _mendable(step: Step, values: Floats, answer: Floats) -> list[int]:
    """The components of which a slip in one alone can still turn these values, (components, points), into the answer.

    That is the one that differs, if only one does; with a free factor, one beside which the others have their ratio.
    """
    every = range(len(values))
    if step.relation == "angle":
        return list(every)
    if step.relation == "factor":
        beside = np.cross(values, answer, axis=0)
        return [k for k in every if agree(beside[[k]], np.zeros_like(beside[[k]]))]
    wrong = [k for k in every if not agree(values[[k]], answer[[k]])]
    return wrong if len(wrong) == 1 else []


def _distinct_slips(stage: Stage, known: Known) -> Singles:
    """One slip for each different result of a stage."""
    mutants = list(one_slip_further(stage))
    bench, shape = Bench(stage, known), known["leg"].shape
    table = bench.table(mutants, shape)
    kept = distinct(mutants, table, bench.table([RIGHT], shape)[0])
    return Singles([mutants[row] for row in kept], table[kept], known)


def _finished(step: Step, i: int, table: Floats, known: Known) -> Floats:
    """The answers that follow from what stage i gives, (versions, outputs, points)."""
    slipped = _with_outputs(step.stages[i], table, known)
    return _answer(step, run(step.stages[i + 1 :], slipped), table[:, 0].shape)


def _answer(step: Step, known: Known, shape: tuple[int, ...]) -> Floats:
    return np.stack([np.broadcast_to(known[name], shape) for name in step.stages[-1].outputs], axis=-2)


def _with_outputs(stage: Stage, table: Floats, known: Known) -> Known:
    return {**known, **{name: table[:, k] for k, name in enumerate(stage.outputs)}}


def alone(values: Floats, wrong: Wrong) -> Block:
    """A block of one version."""
    return Block(values[None], lambda _: wrong)


def _rows(i: int, mutants: list[Mutant]) -> Callable[[int], Wrong]:
    return lambda row: Wrong(stages={i: mutants[row]})


def _beside(i: int, mutants: list[Mutant]) -> Callable[[int, Mutant, int], Wrong]:
    return lambda k, mutant, row: Wrong(stages={i: mutants[row], k: mutant})


def _shared_changes(step: Step) -> list[tuple[Slip, Change]]:
    return _spread(step, input_slips(step.arguments))


def _spread(step: Step, slips: Iterable[tuple[Slip, Change]]) -> list[tuple[Slip, Change]]:
    """The slips in what goes in that no single stage can make: the arguments go into several."""
    inputs = [set(names_in(stage.forms[0])) for stage in step.stages]

    def within_one(change: Change) -> bool:
        names = {name for key, entry in change.items() for name in (key, entry.source)}
        users = [known for known in inputs if names & known]
        return len(users) == 1 and names <= users[0]

    return [(slip, change) for slip, change in slips if not within_one(change)]


def _in_every_chain(step: Step) -> list[Wrong]:
    """A slip in the function for a turn about one axis, which several stages call."""
    made: dict[Slip, dict[int, Mutant]] = {}
    for i, stage in enumerate(step.stages):
        if isinstance(stage.forms[0], Chain):
            for slip, chain in slips_everywhere(stage.forms[0]):
                made.setdefault(slip, {})[i] = Mutant((slip,), (), chain)
    return [Wrong(stages=mutants) for mutants in made.values() if len(mutants) > 1]
