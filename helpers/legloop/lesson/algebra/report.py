"""What a review says, and how a notebook shows it."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape

from .slip import Slip

__all__ = ["Report"]


@dataclass(frozen=True, repr=False)
class Report:
    """What came of an answer.

    Attributes
    ----------
    step : str
        The step that was reviewed.
    ok : bool
        Whether the answer is right.
    slips : tuple of str
        Kinds of the slips that explain it. Those of the best explanation come first, one or two; then those of other
        explanations, and other names for the same. Empty when it is right, or when nothing explains it.
    max_error : float
        The largest error over all points, in the units of the answer; an equation is scaled to unit length first.
        Infinite where the answer gives no number.
    message : str
        What is wrong, where, and what to write: a line for each thought.
    explanations : tuple of tuples of Slip
        Everything that gives exactly this answer, the least far-fetched first.
    """

    step: str
    ok: bool
    slips: tuple[str, ...]
    max_error: float
    message: str
    explanations: tuple[tuple[Slip, ...], ...] = ()

    def __repr__(self) -> str:
        return self.message

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:  # noqa: ARG002
        """What a notebook stores: the message with its first line set off, and as plain text."""
        first, *more = self.message.splitlines()
        mark = "✓" if self.ok else "✗"
        rest = "".join(f"<li>{escape(line)}</li>" for line in more)
        points = f"<ul>{rest}</ul>" if rest else ""
        html = f"<div><p><b>{mark} {escape(self.step)}</b>: {escape(first)}</p>{points}</div>"
        return {"text/html": html, "text/plain": self.message}
