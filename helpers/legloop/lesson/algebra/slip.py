"""What a slip is: what was done, where, the right writing and the wrong one."""

from __future__ import annotations

from typing import Any, NamedTuple

from .chain import show_links
from .formula import Call, Sum, Term, show_factor, show_sum, show_term

__all__ = ["KINDS", "QUADRATIC", "Operator", "Places", "Slip"]

KINDS = (
    "sign",
    "transpose",
    "order",
    "sin-cos",
    "links-swapped",
    "cone-supplement",
    "legs-reversed",
    "degrees",
    "other-elbow",
    "half-angle",
    "quadrant",
    "zero-offset",
    "frame",
    "missing-factor",
    "length",
    "brackets",
)


QUADRATIC = ("the t^2 term", "the t term", "the constant")


class Operator(NamedTuple):
    """Something that is done wrong: its kind, how far-fetched it is (1: often seen), and its words.

    The words may hold {right}, {wrong} and {name}. `also` are kinds under which the very same deed goes, too: a turn
    transposed is a wrong sign of its angle.
    """

    kind: str
    weight: float
    words: str
    also: tuple[str, ...] = ()


class Places(NamedTuple):
    """Words about some of the numbers that a stage gives: {row} is their names with commas, {list} with "and"."""

    words: str
    places: tuple[int, ...]


class Slip(NamedTuple):
    """One slip. A tuple, since a search makes some ten thousand of them; words are put together only when asked for.

    Attributes
    ----------
    operator : Operator
        What was done.
    right, wrong : object
        What belongs there, and what stands there instead: text, or a part of a formula.
    name : object
        Of what the words speak.
    component : int or None
        The number, among those that the stage gives, in which the slip sits; None when it concerns all.
    inside : str
        The function in which it sits.
    part : object
        What the component is counted in: the links of a product, whose vector it is, or "quadratic"; empty when it is
        that of the stage.
    amount : float or None
        Of a zero-offset: radians.
    rotation : three rows of three, or None
        Of a frame: the matrix that takes our coordinates to those of the answer.
    """

    operator: Operator
    right: Any
    wrong: Any
    name: Any = ""
    component: int | None = None
    inside: str = ""
    part: Any = ""
    amount: float | None = None
    rotation: tuple[tuple[float, ...], ...] | None = None

    @property
    def kind(self) -> str:
        """One of `KINDS`."""
        return self.operator.kind

    def words(self, components: tuple[str, ...]) -> str:
        """What was done and where, as in "with ...": `components` are the names of the numbers of the stage."""
        names = self._names(components)
        right, wrong, name = (_shown(part, names) for part in (self.right, self.wrong, self.name))
        done = self.operator.words.format(right=right, wrong=wrong, name=name)
        inside = f" inside {self.inside}" if self.inside in ("acos", "atan2", "sqrt") else ""
        whole = f" of the {self._whole(names)}" if self.part else ""
        where = (
            f" in {names[self.component]}{whole}"
            if self.component is not None and len(names) > 1
            else whole.replace(" of", " in", 1)
        )
        return done + inside + where

    def correction(self, components: tuple[str, ...]) -> str:
        """What to write in place of what; where there is no such place, what else to do."""
        right, wrong = (_shown(part, self._names(components)) for part in (self.right, self.wrong))
        return f"write {right}, not {wrong}" if wrong else right

    def _whole(self, names: tuple[str, ...]) -> str:
        return self.part if isinstance(self.part, str) else f"vector {_shown(self.part, names)} @ e_z"

    def _names(self, components: tuple[str, ...]) -> tuple[str, ...]:
        if not self.part:
            return components
        return QUADRATIC if isinstance(self.part, str) else ("x", "y", "z")


def _shown(part: Any, names: tuple[str, ...]) -> str:
    if isinstance(part, Places):
        told = [names[place] for place in part.places]
        return part.words.format(row=", ".join(told), list=" and ".join(told))
    if type(part) is tuple:
        return show_links(part)
    if isinstance(part, Term):
        return show_term(part) if part.coefficient < 0 else f"+{show_term(part)}"
    if isinstance(part, Sum):
        return show_sum(part)
    if isinstance(part, Call):
        return show_factor(part)
    return str(part)
