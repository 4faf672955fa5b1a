"""Where a file is to be read or written, checked at the door; and writing without replacing by accident."""

from __future__ import annotations

from os import PathLike
from pathlib import Path

from .._check import shown

__all__ = ["file_path", "write_text"]


def file_path(value: object) -> Path:
    """The argument `path` as a Path; TypeError for neither text nor a path, ValueError if it names no file."""
    if not isinstance(value, str | PathLike):
        raise TypeError(f"path is {shown(value)}; give the name of a file as text or as a pathlib.Path")
    path = Path(value)
    if not path.name or "\0" in str(path):
        raise ValueError(f"path is {str(value)!r}; it names no file")
    return path


def write_text(path: Path, text: str, replace: bool) -> None:
    """Write a file of UTF-8 text with the line ends it has; FileExistsError where there is one, unless `replace`."""
    try:
        with path.open("w" if replace else "x", encoding="utf-8", newline="") as file:
            file.write(text)
    except FileExistsError:
        raise FileExistsError(f"{path} exists; pass overwrite=True to replace it") from None
