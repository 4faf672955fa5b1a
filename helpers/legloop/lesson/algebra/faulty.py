"""The way out for an answer that gives no numbers to compare."""

from __future__ import annotations

__all__ = ["Faulty"]


class Faulty(Exception):  # noqa: N818 - it is the answer that is at fault
    """Says why an answer cannot be compared, and what to do; `review` turns it into a report."""
