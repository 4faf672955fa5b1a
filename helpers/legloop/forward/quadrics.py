"""All common points of three quadrics in projective space: the algebra behind the assembly modes.

Three quadrics ``z^T Q_i z = 0`` in four unknowns have eight common points, complex ones and multiplicities counted,
or infinitely many (Bezout). They are found without a start value. Write Z for the 20 cubic monomials of a point z.

1. The 12 products x_j f_i of the unknowns with the quadrics vanish at every common point: 12 linear equations for Z,
   with an 8-dimensional null space, an orthonormal basis of which is N (20 x 8). So ``Z(z_k) = N c_k``.
2. The values of the quartic monomials follow. Those that contain x_0 are x_0 times a cubic, so N serves again (each
   point scaled by its x_0). The other 15 follow from the 18 equations (x_i x_j) f_k with i, j > 0.
   Steps 1 and 2 give, in two small pieces, the null space of the 30 x 35 matrix of all products of a quadratic
   monomial with a quadric, which has rank 27: Macaulay's matrix of degree four.
3. Multiplication by x_1 / x_0 is then an 8 x 8 matrix, whose eigenvectors are the c_k.

The unknowns are turned by a fixed rotation first, so that x_0 and x_1 are nothing special in the joint: no point
has x_0 = 0, no two have the same x_1 / x_0. A pose for which that goes wrong fails the test `proven` and is tried
with the next rotation.

Source: Macaulay matrices and eigenvalues, as in Stetter, Numerical Polynomial Algebra, 2004 (from memory); the two
pieces are our own arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, combinations_with_replacement

import numpy as np
from numpy.typing import NDArray

from .._check import Floats

__all__ = [
    "ROTATIONS",
    "Complexes",
    "common_points",
    "improved",
    "misses",
    "multiplication",
    "proven",
    "real_part",
    "simple",
]

Complexes = NDArray[np.complex128]
Monomial = tuple[int, ...]  # the unknowns that it multiplies, in order: (0, 0, 3) is x_0^2 x_3

ROTATIONS = np.linalg.qr(np.sin(np.arange(1.0, 49.0) ** 2).reshape(3, 4, 4))[0]
"""Fixed rotations of the unknowns, with no pattern to them: ``x = rotation @ z``."""
ROTATIONS.flags.writeable = False


def common_points(Q: Floats, rotation: Floats = ROTATIONS[0]) -> Complexes:
    """Eight candidates z, (n, 8, 4), of unit length, for the common points of quadrics Q, (n, 3, 4, 4) symmetric.

    `proven` tells if they are all the common points that there are, and which are real.
    """
    f = (rotation @ Q @ rotation.T)[..., _FIRST, _SECOND] * _TIMES
    flat = np.concatenate([f.reshape(-1, 30), np.zeros((len(f), 1))], axis=1)
    null = np.linalg.qr(flat[:, _CUBIC.T], mode="complete")[0][:, :, 12:]
    left = flat[:, _WITHOUT_X0]
    across = np.swapaxes(left, 1, 2)
    # The term 1e-15, at the level of rounding, keeps a degenerate pose from stopping the batch with an error.
    rest = -np.linalg.solve(across @ left + 1e-15 * np.eye(15), across @ (flat[:, _WITH_X0] @ null))
    shifted = np.concatenate([null, rest], axis=1)[:, _SHIFTED[1]]
    _, vectors = np.linalg.eig(np.swapaxes(null, 1, 2) @ shifted)
    cubics = np.swapaxes(null @ vectors, 1, 2)
    largest = np.argmax(np.abs(cubics[..., np.diagonal(_SQUARE_TIMES)]), axis=-1)
    x = np.take_along_axis(cubics, _SQUARE_TIMES[largest], axis=-1)  # x_p^2 (x_0, x_1, x_2, x_3)
    x = x / np.sqrt((np.abs(x) ** 2).sum(axis=-1, keepdims=True))
    return np.asarray((x @ rotation).astype(np.complex128, copy=False))


def multiplication(Q: Floats, rotation: Floats) -> tuple[float, Floats]:
    """The matrices (3, 8, 8) of multiplication by x_1 / x_0, x_2 / x_0, x_3 / x_0 for one set of quadrics (3, 4, 4).

    They commute, and each common point is a joint eigenvalue of theirs. Also the 27th singular value of Macaulay's
    matrix over its largest, from which they are made: 0 if there are infinitely many common points.
    """
    f = np.append((rotation @ Q @ rotation.T)[:, _FIRST, _SECOND] * _TIMES, 0.0)
    _, size, rows = np.linalg.svd(f[_QUARTIC])
    null = rows[27:].T
    return float(size[26] / size[0]), np.asarray(np.linalg.pinv(null[_SHIFTED[0]]) @ null[_SHIFTED[1:]])


def improved(Q: Floats, z: Complexes, least: float = 1e-15) -> Complexes:
    """Candidates after four steps of Newton's on ``z^T Q_i z = 0``: sharper where they are simple, lost elsewhere.

    They stay where they are in directions whose singular values are at most `least` of the largest.
    """
    for _ in range(4):
        rows = np.einsum("nkij,naj->naki", Q, z)
        matrix = np.concatenate([2 * rows, np.conj(z)[:, :, None]], axis=2)
        missed = np.concatenate([np.einsum("naki,nai->nak", rows, z), np.zeros((*z.shape[:2], 1))], axis=2)
        z = z - (np.linalg.pinv(matrix, rcond=least) @ missed[..., None])[..., 0]
        z = z / np.linalg.norm(z, axis=2, keepdims=True)
    return z


def real_part(z: Complexes) -> Floats:
    """The real unit vectors (n, 4) next to complex multiples of them."""
    x = (z * np.exp(-0.5j * np.angle((z * z).sum(axis=1, keepdims=True)))).real
    return np.asarray(x / np.linalg.norm(x, axis=1, keepdims=True))


def proven(Q: Floats, z: Complexes) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Whether eight candidates are eight different simple common points, so all of them, (n,); the real ones, (n, 8).

    With r the residual of a candidate and sigma the smallest singular value of its rows Q_i z, Newton's method
    converges from it to a simple common point, at most r / sigma away, when ``8 r <= sigma^2`` (theorem of Newton
    and Kantorovich; here no singular value of a Q_i exceeds 2). Candidates farther apart than these distances are
    different points. By Bezout eight different ones are all. The conjugate of a common point is another; so one that
    is not apart from its own conjugate is real.
    """
    residual, sigma = misses(Q, z)
    error = np.divide(residual, sigma, out=np.ones_like(sigma), where=sigma > 0)
    apart = _gaps(z) > 16 * (error[:, :, None] + error[:, None, :]) ** 2 + 1e-12
    from_conjugate = 2 * (1 - np.abs((z * z).sum(axis=-1)))
    real = from_conjugate <= 16 * (2 * error) ** 2 + 1e-12
    return np.asarray((8 * residual <= sigma**2).all(axis=1) & apart.all(axis=(1, 2))), np.asarray(real)


def simple(Q: Floats, z: Complexes) -> NDArray[np.bool_]:
    """Which candidates (n, k, 4) are simple common points, as in `proven`, and 1e-7 away from all others: (n, k)."""
    missed, sigma = misses(Q, z)
    alone = 8 * missed <= sigma**2
    error = np.divide(missed, sigma, out=np.zeros_like(sigma), where=alone & (sigma > 0))
    apart = _gaps(z) > 16 * (error[:, :, None] + error[:, None, :]) ** 2 + 1e-14
    return np.asarray(alone & apart.all(axis=2))


def misses(Q: Floats, z: Complexes) -> tuple[Floats, Floats]:
    """By how much each candidate misses the quadrics, and a lower bound of its sigma: (n, 8) each."""
    rows = z[:, None] @ Q
    missed = np.sqrt((np.abs((rows * z[:, None]).sum(axis=-1)) ** 2).sum(axis=1))
    # |minors| is the product of all three singular values; the two largest make at most half the sum of the squares
    return missed, 2 * _minors(rows) / (np.abs(rows) ** 2).sum(axis=(1, 3))


def _gaps(z: Complexes) -> Floats:
    """Squared distances between candidates, as points: (n, k, k), 4 from one to itself. Their rounding is 1e-15."""
    return np.asarray(2 * (1 - np.abs(z @ np.conj(np.swapaxes(z, 1, 2)))) + 4 * np.eye(z.shape[1]))


def _minors(rows: Complexes) -> Floats:
    """The length of the vector of the four 3 x 3 minors of three rows: (n, 3, k, 4) to (n, k)."""
    a, b, c = np.moveaxis(rows, (1, 3), (0, 1))
    products = a[:, None] * b
    pairs = products - np.swapaxes(products, 0, 1)
    minors = (pairs[_TRIPLES, _NEXT] * c[_LAST]).sum(axis=1)
    return np.asarray(np.sqrt((np.abs(minors) ** 2).sum(axis=0)))


def _numbered(degree: int, unknowns: Sequence[int] = range(4)) -> dict[Monomial, int]:
    return {m: k for k, m in enumerate(combinations_with_replacement(unknowns, degree))}


def _times(*factors: Monomial) -> Monomial:
    return tuple(sorted(sum(factors, ())))


def _products(multipliers: Sequence[Monomial], columns: dict[Monomial, int]) -> NDArray[np.intp]:
    """Which coefficient stands where in the matrix of the products (multiplier) x f_i, restricted to some monomials.

    Coefficient 10 i + k belongs to quadratic monomial k of f_i; number 30 stands for zero.
    """
    table = np.full((3 * len(multipliers), len(columns)), 30)
    for row, (multiplier, i) in enumerate((multiplier, i) for multiplier in multipliers for i in range(3)):
        for monomial, k in _SQUARES.items():
            product = _times(multiplier, monomial)
            if product in columns:
                table[row, columns[product]] = 10 * i + k
    return table


_TRIPLES = np.array(list(combinations(range(4), 3)))
_NEXT, _LAST = np.roll(_TRIPLES, -1, axis=1), np.roll(_TRIPLES, -2, axis=1)
_SQUARES, _CUBES = _numbered(2), _numbered(3)
_FIRST, _SECOND = np.array(list(_SQUARES)).T
_TIMES = np.where(_FIRST == _SECOND, 1.0, 2.0)  # how often x_first x_second stands in a quadratic form
_QUARTICS = {_times((0,), m): k for m, k in _CUBES.items()}  # those with x_0, numbered as the cubic they leave
_PURE = _numbered(4, (1, 2, 3))
_CUBIC = _products([(j,) for j in range(4)], _CUBES)  # (12, 20)
_WITH_X0 = _products(list(_numbered(2, (1, 2, 3))), _QUARTICS)  # (18, 20)
_WITHOUT_X0 = _products(list(_numbered(2, (1, 2, 3))), _PURE)  # (18, 15)
_ALL_QUARTICS = _QUARTICS | {m: 20 + k for m, k in _PURE.items()}
_QUARTIC = _products(list(_SQUARES), _ALL_QUARTICS)  # (30, 35)
_SHIFTED = np.array([[_ALL_QUARTICS[_times((j,), m)] for m in _CUBES] for j in range(4)])
_SQUARE_TIMES = np.array([[_CUBES[_times((p, p), (j,))] for j in range(4)] for p in range(4)])
