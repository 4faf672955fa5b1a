"""What may come in: every public function hands its arguments to these checks first.

Nothing is repaired here. A value that is not what the function needs raises a ValueError (a TypeError for
what is no number at all) that names the argument, the place, the value and the remedy.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Sequence
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Component = TypeVar("Component", float, Floats)
Kind = TypeVar("Kind")

LONGEST = 10.0
"""m. No joint of this kind is so large: a larger number is in millimetres."""

A_TURN = 2 * np.pi + 1e-6
"""rad. A whole turn in float32 (2e-7 too long), or printed to six decimals, is still one turn."""

ROTATION_TOLERANCE = 4e-6  # float32 matrices (1e-7) and six printed decimals (2e-6) pass


def place(name: str, index: Sequence[int]) -> str:
    """'orientation 3', 'orientation (3, 1)', or 'the orientation' when there is only one."""
    if not index:
        return f"the {name}"
    return f"{name} {index[0]}" if len(index) == 1 else f"{name} {tuple(int(i) for i in index)}"


def numbers(value: object, name: str, *tail: int) -> NDArray[Any]:
    """An array of real numbers whose last axes are `tail`; its dtype is left alone, NaN is not looked for."""
    if "numpy.ma" in sys.modules and np.ma.is_masked(value):
        raise ValueError(f"{name} has masked entries, which are no numbers; leave them out, or fill them in")
    if value is None:
        raise TypeError(f"{name} is None; give {_wanted(tail)}")
    try:
        array = np.asarray(value)
    except ValueError:
        raise ValueError(
            f"{name} is no regular array, its rows are of unequal length; give {_wanted(tail)}"
        ) from None
    if array.dtype.kind not in "fiu":
        many = array.ndim and len(repr(value)) >= 60
        told = f"an array of dtype {array.dtype}" if many else shown(value)
        raise TypeError(f"{name} must hold real numbers, not {told}")
    if tail and array.shape[max(array.ndim - len(tail), 0) :] != tail:
        raise ValueError(f"{name} has shape {array.shape}; its shape must be {_shape(tail)}")
    return array


def _wanted(tail: tuple[int, ...]) -> str:
    """What an argument should be, in words."""
    return f"an array of shape {_shape(tail)}" if tail else "a number or an array of numbers"


def _shape(tail: tuple[int, ...]) -> str:
    """'(..., 3)', say: any batch axes, then the ones that are fixed."""
    return "(" + ", ".join(["...", *map(str, tail)]) + ")"


def finite(value: object, name: str, *tail: int) -> Floats:
    """As `numbers`, in float64, every entry finite."""
    array = numbers(value, name, *tail).astype(np.float64, copy=False)
    if not np.isfinite(array).all():
        index = tuple(int(i) for i in np.argwhere(~np.isfinite(array))[0])
        where = f"[{', '.join(map(str, index))}]" if index else ""
        raise ValueError(f"{name}{where} is {array[index]}; every entry must be a finite number")
    return array


def one(value: object, name: str) -> float:
    """One finite number."""
    array = finite(value, name)
    if array.shape != ():
        raise ValueError(f"{name} has shape {array.shape}; it is one number")
    return float(array)


def whole(value: object, name: str, least: int, what: str = "") -> int:
    """One count that is not below a bound."""
    if isinstance(value, bool) or not isinstance(value, int | np.integer):
        told = f"a whole number of {what}" if what else "a whole number"
        raise TypeError(f"{name} is {shown(value)}; it is a count and must be {told}, such as {max(least, 16)}")
    if value < least:
        raise ValueError(f"{name} is {value}; it must be at least {least} {what}".rstrip())
    if value > sys.maxsize:
        raise ValueError(f"{name} is {shown(value)}; it must be at most {sys.maxsize}, as far as an index reaches")
    return int(value)


def turn(value: object, name: str, *tail: int, turns: object = False) -> Floats:
    """As `finite`: angles of an orientation, at most a turn either way unless `turns` says that they count on."""
    array = finite(value, name, *tail)
    largest = np.abs(array).max(initial=0.0) if array.ndim else abs(float(array))  # one number: three times as fast
    if not flag(turns, "turns") and largest > A_TURN:
        index = tuple(int(i) for i in np.argwhere(np.abs(array) > A_TURN)[0])
        where, angle = f"[{', '.join(map(str, index))}]" if index else "", array[index]
        raise ValueError(
            f"{name}{where} is {angle:g} rad ({math.degrees(angle):.4g}°), more than a turn; for degrees write "
            f"{angle:g}*deg; where an angle counts on over whole turns, turns=True of legloop.rotation lets it pass"
        )
    return array


def angles(value: object, name: str, shape: tuple[int, ...], low: float, high: float, interval: str) -> Floats:
    """Finite angles of one shape between two bounds, which belong to them where `interval` has square brackets."""
    array = finite(value, name)
    if array.shape != shape:
        wanted = f"its shape must be {shape}" if shape else "it is one angle"
        raise ValueError(f"{name} has shape {array.shape}; {wanted}")
    under = array < low if interval.startswith("[") else array <= low
    bad = under | (array > high if interval.endswith("]") else array >= high)
    if bad.any():
        index = tuple(int(i) for i in np.argwhere(bad)[0])
        where = f"[{', '.join(map(str, index))}]" if index else ""
        angle = array[index]
        degrees = abs(angle) > high and abs(angle) > min(2 * high, 2 * np.pi)  # far too large, or more than a turn
        hint = f"; for degrees write {angle:g}*deg" if degrees else ""
        raise ValueError(
            f"{name}{where} is {angle:g} rad ({math.degrees(angle):.4g}°); it must lie in {interval}{hint}"
        )
    return array


def flag(value: object, name: str) -> bool:
    """True or False, or 1 or 0, and nothing else that merely counts as one of them."""
    if not isinstance(value, bool | np.bool_ | int | np.integer) or value not in (0, 1):
        raise TypeError(f"{name} is {shown(value)}; it must be True or False")
    return bool(value)


def choice(value: object, name: str, allowed: Sequence[str | None]) -> None:
    """Refuse what is none of some words, or None where that is one of them."""
    if not (isinstance(value, str) or value is None) or value not in allowed:
        told = " or ".join(map(repr, allowed)) if len(allowed) == 2 else f"one of {', '.join(map(repr, allowed))}"
        raise ValueError(f"{name} is {shown(value)}; it must be {told}")


def instance(value: object, name: str, kind: type[Kind], repair: str = "") -> Kind:
    """`value`, if it is an object of that kind; else an error that says what makes one."""
    if not isinstance(value, kind):
        more = f"; {repair}" if repair else ""
        what = f"an object of type {type(value).__name__}" if value is not None else "None"
        raise TypeError(f"{name} must be a {kind.__name__}, not {what}{more}")
    return value


def shown(value: object) -> str:
    """A value as a message quotes it: itself if that is short, else what it is."""
    told = repr(value)
    return told if len(told) < 60 and "\n" not in told else f"an object of type {type(value).__name__}"


def read_only(array: Floats) -> Floats:
    """A copy of the array that cannot be changed."""
    copy = np.array(array)
    copy.flags.writeable = False
    return copy


def unit(value: object, name: str, size: int = 3, tolerance: float = 1e-6, more: str = "") -> Floats:
    """As `finite`, the last axis holding vectors of length 1; `more` ends the message about one that is not."""
    array = finite(value, name, size)
    length = np.sqrt(np.einsum("...i,...i->...", array, array))
    bad = np.abs(length - 1) > tolerance
    if bad.any():
        index = tuple(int(i) for i in np.argwhere(bad)[0])
        raise ValueError(f"{place(name, index)} is {length[index]:.7g} long, not 1: divide it by its length{more}")
    return array


def upwards(value: object) -> Floats:
    """Directions that are up, (..., 3); for every function in which a weight acts."""
    return unit(value, "up", more="; it is the direction away from the ground, in base coordinates")


def batch(**shapes: tuple[int, ...]) -> tuple[int, ...]:
    """The shape that the batch axes of the named arguments broadcast to."""
    try:
        return np.broadcast_shapes(*shapes.values())
    except ValueError:
        told = ", ".join(f"{name} {shape}" for name, shape in shapes.items())
        raise ValueError(
            f"the batch shapes do not broadcast: {told}; make their axes equal, or insert axes of length 1"
        ) from None


def batch_index(row: int, shape: tuple[int, ...]) -> tuple[int, ...]:
    """Where a row of the flat batch stands in a batch of that shape."""
    return tuple(int(i) for i in np.unravel_index(row, shape)) if shape else ()


def modes(value: object, name: str = "mode") -> NDArray[Any]:
    """Working modes, (..., 3), each entry +1 or -1."""
    array = numbers(value, name, 3)
    if array.ndim == 1 and set(array.tolist()) <= {1, -1}:
        return array
    bad = np.abs(array) != 1
    if bad.any():
        index = tuple(int(i) for i in np.argwhere(bad)[0])
        raise ValueError(
            f"{name}{list(index)} is {array[index]}; a working mode has +1 or -1 for each leg, as in (1, 1, 1)"
        )
    return array


def orientations(value: ArrayLike | object, name: str = "orientation") -> NDArray[Any]:
    """The (..., 3, 3) numbers of orientations; an object with ``as_matrix()`` serves too. Not yet validated."""
    as_matrix = getattr(value, "as_matrix", None)
    return numbers(as_matrix() if callable(as_matrix) else value, name, 3, 3)


def rotations(value: ArrayLike | object, name: str = "orientation") -> Floats:
    """As `orientations`, in float64, each proven to be a rotation matrix."""
    array = orientations(value, name).astype(np.float64, copy=False)
    columns = array.reshape(-1, 9).T
    bad = not_rotations(columns)
    if bad is not None:
        raise_not_rotation(columns[:, bad], batch_index(bad, array.shape[:-2]), name)
    return array


def is_rotation(nine: list[float]) -> bool:
    """Whether nine numbers, row by row, are a rotation matrix; in plain floats, for one pose.

    With singular values 1 + e_k, det - 1 is about the sum of the e_k; and ``tr(M^T M) - 2 det - 1`` is
    ``2 sum e_k^2 - (sum e_k)^2`` to second order. By the inequality of arithmetic and geometric means both vanish
    only where all e_k do and det is +1, and the second is not below -(det - 1)^2 / 3 near there.
    """
    xx, xy, xz, yx, yy, yz, zx, zy, zz = nine
    det = xx * (yy * zz - yz * zy) - xy * (yx * zz - yz * zx) + xz * (yx * zy - yy * zx)
    square = xx * xx + xy * xy + xz * xz + yx * yx + yy * yy + yz * yz + zx * zx + zy * zy + zz * zz
    return abs(det - 1) <= ROTATION_TOLERANCE and square - 2 * det - 1 <= ROTATION_TOLERANCE**2


def not_rotations(columns: Floats, scratch: Floats | None = None) -> int | None:
    """Which of n matrices, given as (9, n), is the first that is no rotation by `is_rotation`; None when all are.

    `scratch` is four rows or more of that length to work on, if there are any at hand.
    """
    if columns.shape[1] < 2:
        return 0 if columns.size and not is_rotation(columns[:, 0].tolist()) else None
    x, y, z = columns[0:3], columns[3:6], columns[6:9]
    if scratch is None:
        scratch = np.empty((4, columns.shape[1]))
    cross, term = scratch[:3], scratch[3]
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        np.multiply(y[j], z[k], out=cross[i])
        cross[i] -= np.multiply(y[k], z[j], out=term)
    det = np.einsum("kn,kn->n", x, cross)
    skew = np.einsum("kn,kn->n", columns, columns)
    skew -= np.add(det, det, out=term)
    low, high, most = 1 - ROTATION_TOLERANCE, 1 + ROTATION_TOLERANCE, 1 + ROTATION_TOLERANCE**2
    if low <= det.min() and det.max() <= high and skew.max() <= most:
        return None
    return int(np.argmin((low <= det) & (det <= high) & (skew <= most)))


def raise_not_rotation(nine: Floats, index: Sequence[int], name: str = "orientation") -> None:
    """Say what is wrong with nine numbers that are no rotation matrix, and how to mend it."""
    matrix = nine.reshape(3, 3)
    subject = f"{place(name, index)} is not a rotation"
    if not np.isfinite(matrix).all():
        row, column = (int(i) for i in np.argwhere(~np.isfinite(matrix))[0])
        raise ValueError(f"{subject}: its entry [{row}, {column}] is {matrix[row, column]}")
    lengths = np.linalg.norm(matrix, axis=0)
    if np.abs(lengths - 1).max() > ROTATION_TOLERANCE:
        told = ", ".join(f"{length:.7g}" for length in lengths)
        raise ValueError(
            f"{subject}: its columns are {told} long, not 1; normalise them, "
            "or build the matrix with legloop.rotation"
        )
    gram = matrix.T @ matrix
    if np.abs(gram - np.eye(3)).max() > ROTATION_TOLERANCE:
        i, j = max(((0, 1), (0, 2), (1, 2)), key=lambda pair: abs(gram[pair]))
        raise ValueError(
            f"{subject}: its columns {'xyz'[i]} and {'xyz'[j]} are "
            f"{np.degrees(np.arccos(np.clip(gram[i, j], -1, 1))):.5g}° apart, not 90°; "
            "build the matrix with legloop.rotation"
        )
    if np.linalg.det(matrix) < 0:
        raise ValueError(
            f"{subject}: its determinant is -1, a mirror image; one axis points the wrong way, "
            "or the frame is left-handed"
        )
    raise ValueError(f"{subject}: it misses R^T R = I by {np.abs(gram - np.eye(3)).max():.2g}")
