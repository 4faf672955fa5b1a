"""A table of results: columns of numbers as comma-separated text, to the last digit."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from os import PathLike

import numpy as np
from numpy.typing import ArrayLike

from .. import _check
from ._file import file_path, write_text

__all__ = ["write_table"]


def write_table(path: str | PathLike[str], columns: Mapping[str, ArrayLike], *, overwrite: bool = False) -> None:
    """Write columns of equal length as comma-separated text with a line of names, which should carry the unit.

    Floats are written with as many digits as give the same number back, integers as integers, True and False as 1
    and 0, and **NaN, or a masked entry, as an empty field**, which spreadsheets and ``numpy.genfromtxt`` take as "no
    value". So whole numbers with gaps stay whole: ``np.ma.array(steps, mask=lost)``.

    Parameters
    ----------
    path
        The file.
    columns
        Name and (n,) numbers, such as ``{"time_s": t, "theta1_deg": theta[:, 0] / deg}``.
    overwrite
        Replace a file that exists.

    Raises
    ------
    FileExistsError
        The file exists, and `overwrite` is False.
    ValueError, TypeError
        No columns, unequal lengths, a name that a reader would not get back, an infinite or complex number, text.
    """
    target, replace = file_path(path), _check.flag(overwrite, "overwrite")
    _check.instance(columns, "columns", Mapping, "give a dict of name and numbers, as {'time_s': t}")  # type: ignore[type-abstract]
    if not columns:
        raise ValueError("columns is empty; give at least one name with its numbers")
    fields: list[list[str]] = []
    for name, values in columns.items():
        _check_name(name, first=not fields)
        fields.append(_as_text(values, f"columns[{name!r}]"))
    lengths = [len(column) for column in fields]
    if len(set(lengths)) > 1:
        told = ", ".join(f"{name} {length}" for name, length in zip(columns, lengths, strict=True))
        raise ValueError(f"the columns differ in length ({told}); a table needs equal ones")
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*fields, strict=True))
    write_text(target, text.getvalue(), replace)


def _check_name(name: object, *, first: bool) -> None:
    if not isinstance(name, str):
        raise TypeError(f"the column name {name!r} is no text")
    if not name or name != name.strip() or not name.isprintable() or (first and name.startswith("#")):
        raise ValueError(
            f"the column name {name!r} would not be read back as it is; it must not be empty, must not begin or end "
            "with a space, must have no control character, and the first must not begin with #"
        )


def _as_text(values: ArrayLike, name: str) -> list[str]:
    gaps = np.ma.getmaskarray(values) if isinstance(values, np.ma.MaskedArray) else None
    if gaps is not None:
        values = np.ma.getdata(values)
    try:
        flags = np.asarray(values).dtype.kind == "b"
    except ValueError:  # ragged: `numbers` says so
        flags = False
    array = np.asarray(values, dtype=np.int64) if flags else _check.numbers(values, name)
    if array.dtype.itemsize > 8:
        raise TypeError(f"{name} has dtype {array.dtype}, with more digits than are written; give float64")
    if array.ndim != 1:
        raise ValueError(f"{name} has shape {array.shape}; a column has shape (n,)")
    empty = np.isnan(array) if gaps is None else gaps | np.isnan(array)
    infinite = np.isinf(array) & ~empty
    if infinite.any():
        row = int(np.argmax(infinite))
        raise ValueError(f"{name}[{row}] is {array[row]}; a table holds finite numbers, or NaN for no value")
    return ["" if gap else repr(value) for value, gap in zip(array.tolist(), empty.tolist(), strict=True)]
