"""For people who learn: symbolic steps, review of answers, drawings, scrubbers."""

from __future__ import annotations

from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

from .algebra.reviewer import review

if TYPE_CHECKING:
    from . import symbols

__all__ = ["review", "symbols"]


def __getattr__(name: str) -> ModuleType:
    """`symbols` on first use: it loads SymPy, which a drawing or a scrubber does not need."""
    if name != "symbols":
        raise AttributeError(f"module {__name__} has no attribute {name}")
    return import_module(f"{__name__}.symbols")
