"""Many poses at once: a block of them in columns, on arrays that are made once and used for every block.

Each leg is solved for the half of its motor angle,

    tan(theta / 2) = (s sqrt(D) - b) / (c - a),   D = b^2 - (c - a) (c + a)

which takes fewer passes over memory than sine and cosine apart, and an arc tangent of one argument. Numerator and
denominator are the sine and cosine of theta/2, both times ``2 sqrt(a^2 + b^2) cos(theta'/2)``, sign aside, where
theta' is the root of the other mode. So digits are lost where either angle comes near half a turn, and there c - a is
small. Such poses, and those with a special case in them, are handed back, for `leg.motor_angle`, which loses none.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from ._check import Floats
from .leg import ROUNDING

__all__ = ["SIZE", "Block"]

SIZE = 4000
"""Poses at a time: few calls, and so small that no BLAS spreads its product over several threads. No power of two, by
which the rows of a block would displace one another from the cache."""

_LEAST = 0.125  # of |c - a|: at worst about three more bits are lost than by the general formula

_HALF = np.kron([[0.0, 1.0, 0.0], [-1.0, 0.0, 1.0], [1.0, 0.0, 1.0]], np.eye(3))  # b, c - a, c + a out of a, b, c


class Block:
    """Room for up to `SIZE` poses of one joint: `load` them, then `solve` them."""

    def __init__(self, coefficients: tuple[Floats, Floats], count: int) -> None:
        """For the matrix (9, 9) and the constant (9,) of `leg.fold`, and at most `count` poses."""
        self._nine = np.empty((9, 10))
        self._nine[:, :9], self._nine[:, 9] = coefficients
        self._half = _HALF @ self._nine
        width = -8 * (-min(count, SIZE) // 8)
        self._columns, self._terms, self._roots = np.split(_aligned(22, width), [10, 19])
        self._columns[9] = 1.0  # for the constant
        self._count = width

    def load(self, rows: NDArray[Any], count: int) -> tuple[Floats, Floats]:
        """Take in `count` matrices, the rows of (count, 9), or one for all of (1, 9).

        Gives them as columns, (9, count), and as many numbers that are free until `solve`, for who checks them.
        """
        self._count = count
        columns = self._columns[:9, :count]
        columns[...] = rows.T
        return columns, self._terms[:, :count]

    def solve(self, mode: NDArray[Any], theta: Floats) -> NDArray[np.intp]:
        """Write the motor angles of modes (3, count) or (3, 1) into `theta`, (count, 3).

        Gives the indices of the poses that are left over: their rows of `theta` mean nothing yet.
        """
        columns, terms, roots = (room[:, : self._count] for room in (self._columns, self._terms, self._roots))
        np.matmul(self._half, columns, out=terms)
        b, less, more = terms[0:3], terms[3:6], terms[6:9]
        np.multiply(b, b, out=roots)
        more *= less
        roots -= more
        size = np.abs(less, out=more)
        left = np.empty(0, dtype=np.intp)
        if not (roots.min() > ROUNDING**2 and size.min() > _LEAST):
            special = ~((roots > ROUNDING**2) & (size > _LEAST))
            roots[special] = less[special] = 1.0
            left = np.flatnonzero(special.any(axis=0))
        np.sqrt(roots, out=roots)
        roots *= mode
        roots -= b
        roots /= less
        np.arctan(roots, out=roots)
        roots += roots
        for i in range(3):
            np.add(roots[i], 0.0, out=theta[:, i])  # no -0.0
        return left

    def equations(self, index: NDArray[np.intp]) -> tuple[Floats, Floats, Floats]:
        """a, b, c of `leg` for some of the poses, (3, n) each."""
        nine = self._nine @ self._columns[:, index]
        return nine[0:3], nine[3:6], nine[6:9]


def _aligned(rows: int, width: int) -> Floats:
    """An array (rows, width), not filled, that begins where a cache line does: wide registers read it faster."""
    spare = np.empty(rows * width + 7)
    first = -spare.ctypes.data // spare.itemsize % 8
    return spare[first : first + rows * width].reshape(rows, width)
