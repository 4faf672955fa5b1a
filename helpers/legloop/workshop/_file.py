"""Where a file is to be read or written, checked at the door."""

from __future__ import annotations

from os import PathLike
from pathlib import Path

from .._check import shown

__all__ = ["file_path"]


def file_path(value: object) -> Path:
    """The argument `path` as a Path; TypeError for neither text nor a path, ValueError if it names no file."""
    if not isinstance(value, str | PathLike):
        raise TypeError(f"path is {shown(value)}; give the name of a file as text or as a pathlib.Path")
    path = Path(value)
    if not path.name or "\0" in str(path):
        raise ValueError(f"path is {str(value)!r}; it names no file")
    return path
