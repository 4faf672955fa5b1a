"""Slips that can be made with a product of turns, whatever the step."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from .chain import Chain, Flaw, Given, Link, Turn, run_transposed, show_links, written_out
from .formula import show_sum
from .formula_slips import formula_slips
from .slip import Operator, Slip

__all__ = ["chain_slips", "slips_everywhere", "slips_on_the_way"]

TRANSPOSED = Operator("transpose", 1.0, "{right} transposed", ("sign",))
PRODUCT_TRANSPOSED = Operator("transpose", 1.4, "a product transposed")
EXCHANGED = Operator("order", 1.0, "two neighbouring turns exchanged")
MOVED = Operator("order", 1.2, "{name} in the wrong place")
REVERSED = Operator("order", 1.3, "the order of the turns reversed")
LEFT_OUT = Operator("missing-factor", 1.0, "{name} left out")
OUR_FRAME = Operator("frame", 0.9, "{name} left out, as if that frame were ours", ("missing-factor",))
RUN_LEFT_OUT = Operator("missing-factor", 1.3, "the product {name} left out")
SINE_FOR_COSINE = Operator("sin-cos", 1.2, "sine and cosine exchanged in {right}")
OTHER_AXIS = Operator("frame", 3.0, "a turn about the wrong axis")
ALL_TRANSPOSED = Operator("transpose", 1.1, "every {name} transposed", ("sign",))
FLAWS = {
    "sign": Operator("sign", 1.6, "a wrong sign in the matrix {name}, wherever it stands"),
    "sin-cos": Operator(
        "sin-cos", 1.7, "sine for cosine, or cosine for sine, in the matrix {name}, wherever it stands"
    ),
}


def chain_slips(chain: Chain) -> Iterator[tuple[Slip, Chain]]:
    """Every product that is one slip away, with the slip."""
    for first in range(len(chain.links)):
        yield from _with_one_turn(chain, first)
        for stop in range(first + 2, len(chain.links) + 1):
            yield from _with_a_run(chain, first, stop)


def _with_one_turn(chain: Chain, i: int) -> Iterator[tuple[Slip, Chain]]:
    links = chain.links
    link, before, after = links[i], links[:i], links[i + 1 :]

    def instead(*others: Link) -> Chain:
        return chain._replace(links=(*before, *others, *after))

    back = link.transposed
    yield Slip(TRANSPOSED, link, str(back) if isinstance(link, Given) else f"{link}.T (= {back})"), instead(back)
    if len(links) > 1:
        right, wrong = show_links((*before[-1:], link, *after[:1])), show_links((*before[-1:], *after[:1]))
        yield Slip(OUR_FRAME if isinstance(link, Given) else LEFT_OUT, right, wrong, link), instead()
    if isinstance(link, Turn) and link.argument:
        swapped = link.with_sine_for_cosine
        yield Slip(SINE_FOR_COSINE, link, swapped), instead(swapped)
        for axis in "xyz".replace(link.axis, ""):
            other = link._replace(axis=axis)
            yield Slip(OTHER_AXIS, link, other), instead(other)


def _with_a_run(chain: Chain, first: int, stop: int) -> Iterator[tuple[Slip, Chain]]:
    before, run, after = chain.links[:first], chain.links[first:stop], chain.links[stop:]
    back, reverse, right = run_transposed(run), run[::-1], show_links(run)
    wrong = f"its transpose (= {show_links(back)})"
    yield Slip(PRODUCT_TRANSPOSED, right, wrong), chain._replace(links=(*before, *back, *after))
    if len(run) < len(chain.links):
        neighbours = show_links((*before[-1:], *run, *after[:1])), show_links((*before[-1:], *after[:1]))
        yield Slip(RUN_LEFT_OUT, *neighbours, run), chain._replace(links=(*before, *after))
    operator = EXCHANGED if len(run) == 2 else REVERSED
    yield Slip(operator, right, show_links(reverse)), chain._replace(links=(*before, *reverse, *after))
    if len(run) > 2:
        for moved, name in (((*run[1:], run[0]), run[0]), ((run[-1], *run[:-1]), run[-1])):
            yield Slip(MOVED, right, show_links(moved), name), chain._replace(links=(*before, *moved, *after))


def slips_everywhere(chain: Chain) -> Iterator[tuple[Slip, Chain]]:
    """Slips in the function for a turn about one axis, which come in wherever it is called; and all turns passive."""
    turned = [link.axis for link in chain.links if isinstance(link, Turn) and link.argument]
    for axis in sorted(set(turned)):
        name, pattern = f"R{axis}", Turn(axis, "angle")
        if turned.count(axis) > 1:
            yield Slip(ALL_TRANSPOSED, name, f"{name}.T", name), _each_turn(chain, axis, lambda turn: turn.transposed)
        for i, k in pattern.wavering:
            for flaw in (Flaw(i, k, "sign"), Flaw(i, k, "sin-cos")):
                right, wrong = (f"{_entry(t, i, k)} at [{i}, {k}]" for t in (pattern, pattern._replace(flaw=flaw)))
                yield Slip(FLAWS[flaw.kind], right, wrong, name), _each_turn(chain, axis, _with(flaw))
    if len(turned) > 1:
        every = Slip(ALL_TRANSPOSED, "active turns", "passive ones", "turn")
        yield every, _each_turn(chain, "xyz", lambda turn: turn.transposed)


def _each_turn(chain: Chain, axes: str, change: Callable[[Turn], Turn]) -> Chain:
    """The chain with its turns about some axes changed."""
    return chain._replace(
        links=tuple(change(link) if isinstance(link, Turn) and link.axis in axes else link for link in chain.links)
    )


def _with(flaw: Flaw) -> Callable[[Turn], Turn]:
    return lambda turn: turn._replace(flaw=flaw)


def _entry(turn: Turn, i: int, k: int) -> str:
    return show_sum(written_out(Chain((turn,), "matrix"))[3 * i + k])


def slips_on_the_way(chain: Chain, longest: int) -> Iterator[tuple[Slip, Chain]]:
    """Slips in the vector of the last turns, up to `longest`, which people multiply out before they go on."""
    if chain.use == "matrix" or chain.end is not None:
        return
    for i in range(max(1, len(chain.links) - longest), len(chain.links)):
        left, right = chain.links[:i], chain.links[i:]
        if isinstance(right[0], Turn) and right[0].argument:
            for slip, wrong in formula_slips(written_out(Chain(right, "vector"))):
                yield slip._replace(part=right), Chain(left, chain.use, wrong)
