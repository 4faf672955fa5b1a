"""Where a path goes limp: V at each pose of a path, and where it changes sign.

    V = det(n_1, n_2, n_3),    n_i = w_i x R v_i / sin(alpha_2),    -1 <= V <= 1

with unit normals n_i, legs in the order of the joint. V is 0 in the singular poses of type 2, where the platform goes
limp. V is continuous in the pose and the motor angles. So between two poses with opposite signs every motion of the
joint, whichever way round, has a pose with V = 0.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ._check import Floats, finite, numbers, rotations
from .mechanism import Mechanism, joint
from .velocity import singularity

__all__ = ["PathSingularity", "path_singularity"]

LIMP = """\
At V = 0 the platform goes limp: it turns although all motors are held, and no motor torque can hold it. Driving
slower doesn't help. No way round helps: every motion from the one pose to the other passes V = 0. Leave out the
poses on one side, or look for another working mode or other links with which V keeps its sign."""
SAMPLES = """\
V was computed in the samples only. Between two of them it may still touch or cross 0; `plan` checks all the path."""


class PathSingularity(NamedTuple):
    """What `path_singularity` gives. ``print`` shows it in sentences."""

    V: Floats
    """(n,): det of the unit normals, in [-1, 1]; 0 at type 2; NaN where theta is NaN."""
    crossings: NDArray[np.int64]
    """(k, 2): rows between which V changes sign, first to last. A stretch of rows at which V counts as 0, as in
    `singularity`, is a crossing, too: its first and its last row."""
    least: int | None
    """The row with the least abs(V); None where V is NaN in every row."""
    lines: NDArray[np.int64] | None
    """(n,): the names of the rows in the text, as they were given."""

    def __str__(self) -> str:
        unknown = int(np.isnan(self.V).sum())
        none = f" In {unknown} of {len(self.V)} samples a leg doesn't reach, and V is NaN there." if unknown else ""
        if self.least is None:
            return f"V is known in none of {len(self.V)} samples: in each a leg doesn't reach."
        told = [f"The least |V| is {abs(self.V[self.least]):.3g}, at {self._name(self.least)}.{none}", SAMPLES]
        if not len(self.crossings):
            return "\n".join(["V keeps its sign wherever the legs reach.", *told])
        first, *others = [self._where(a, b) for a, b in self.crossings.tolist()]
        more = f" The same at {len(others)} more: {'; '.join(others[:10])}" if others else ""
        if others:
            more += "; …" if len(others) > 10 else "."
        return "\n".join([f"{first}: this path cannot be driven.{more}", LIMP, *told])

    def _name(self, row: int) -> str:
        return f"sample {row} (counted from 0)" if self.lines is None else f"line {self.lines[row]}"

    def _where(self, a: int, b: int) -> str:
        names = (a, b) if self.lines is None else (self.lines[a], self.lines[b])
        pair = f"{'samples' if self.lines is None else 'lines'} {names[0]} and {names[1]}"
        if self.V[a] * self.V[b] < 0:
            return f"V changes sign between {pair}"
        return f"V is 0 at {self._name(a)}" if a == b else f"V is 0 in {pair.replace('and', 'to')}"


def path_singularity(
    m: Mechanism, R: ArrayLike | object, theta: ArrayLike, *, lines: ArrayLike | None = None
) -> PathSingularity:
    """V at each pose of a path, and the rows between which it changes sign: no motor drives the joint through there.

        V = det of the unit normals w_i x R v_i / sin(alpha_2),    as ``singularity(...).volume``

    Only the given poses are looked at: a crossing that is found is certain, but none found is no proof, since V may
    change its sign twice between two rows.

    Parameters
    ----------
    m
        The joint.
    R : (n, 3, 3)
        Orientations, in the order of the path.
    theta : (n, 3)
        Motor angles in radians, as from ``inverse_kinematics(m, R, mode, unreachable="nan")``. Where one is NaN, V is
        NaN; a change of sign is then looked for between the nearest rows on both sides.
    lines : (n,) of int, optional
        What the text calls the rows, as ``.lines`` of a log; without it they are samples, counted from 0.

    Raises
    ------
    ValueError, TypeError
        R and theta of a row do not close, are no rotation, no angles; no path of n poses; lines that do not increase.
    """
    m, poses, angles = joint(m), rotations(R), numbers(theta, "theta", 3).astype(np.float64)
    if poses.ndim != 3 or angles.shape != (len(poses), 3):
        raise ValueError(
            f"R has shape {poses.shape} and theta {angles.shape}; a path has (n, 3, 3) and (n, 3), in order"
        )
    names = None if lines is None else _lines(lines, len(poses))
    finite(np.where(np.isnan(angles), 0.0, angles), "theta")  # only NaN stands for an angle that there is none
    known = np.asarray(~np.isnan(angles).any(axis=1))
    V, side = np.full(len(poses), np.nan), np.zeros(len(poses))
    if known.any():
        stand_in = int(np.argmax(known))  # for a row without angles, so that an error names the right row
        held = np.where(known[:, None, None], poses, poses[stand_in])
        at = singularity(m, held, np.where(known[:, None], angles, angles[stand_in]))
        V = np.where(known, at.volume, np.nan)
        side = np.where(at.kind < 2, np.sign(at.volume), 0.0)
    rows = np.flatnonzero(known)
    least = int(rows[np.argmin(np.abs(V[rows]))]) if len(rows) else None
    return PathSingularity(V, _crossings(rows, side[rows]), least, names)


def _crossings(rows: NDArray[np.int64], side: Floats) -> NDArray[np.int64]:
    """First and last row of each run without a side, and the rows next to each change from one side to the other."""
    edges = np.flatnonzero(np.diff(side))
    starts, ends = np.append(0, edges + 1), np.append(edges, len(side) - 1)
    runs = [(rows[a], rows[b]) for a, b in zip(starts, ends, strict=True) if len(side) and side[a] == 0]
    changes = [(rows[k], rows[k + 1]) for k in edges if side[k] * side[k + 1] < 0]
    return np.array(sorted(runs + changes), dtype=np.int64).reshape(-1, 2)


def _lines(value: ArrayLike, count: int) -> NDArray[np.int64]:
    array = numbers(value, "lines")
    if array.dtype.kind not in "iu" or array.shape != (count,):
        raise ValueError(
            f"lines has dtype {array.dtype} and shape {array.shape}; with {count} poses give {count} ints"
        )
    if (array[1:] <= array[:-1]).any():
        k = int(np.argmax(array[1:] <= array[:-1])) + 1
        raise ValueError(f"lines[{k}] is {array[k]}, after {array[k - 1]}; line numbers increase")
    return array.astype(np.int64)
