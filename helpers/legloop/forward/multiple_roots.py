"""Orientations at motor angles where some of the eight common points coincide, or where a curve of them closes.

Where k points coincide, rounding moves their eigenvalues apart by eps^(1/k), and where the normals leave more than
one direction free, their eigenvectors are no points at all. Sharp is only the mean of a cluster of points: the trace
of each multiplication matrix on the invariant subspace of the cluster, over k. So the eigenvalues are gathered, the
nearest first, and each counts with the smallest cluster around it that is a root: one point that is proven simple,
or several whose mean is a root to rounding.

Where Macaulay's matrix loses rank there is a curve of common points, or one to rounding. If it is real, a search from
many starts ends in more than eight places; where it does not, rounding hides what is there.

Source: the means: Corless, Gianni, Trager, ISSAC 1997 (from memory). More than eight: Bezout, as in `quadrics`.
"""

from __future__ import annotations

from functools import reduce

import numpy as np
from numpy.typing import NDArray

from .. import closing, rotation
from .._check import Floats
from ..mechanism import Mechanism
from .quadrics import ROTATIONS, Complexes, improved, misses, multiplication, real_part, simple

__all__ = ["CURVE", "SOUND", "UNDECIDED", "multiple_roots"]

Counts = NDArray[np.int_]

SOUND, CURVE, UNDECIDED = 0, 1, 2
"""All orientations of a pose are known; a curve of them closes; rounding hides what closes."""

_DEGENERATE = 1e-9  # below this the rank of Macaulay's matrix is lost in rounding, and what follows from it
_REAL = 1e-4  # means this close to a real point, and simple points, are tried as real ones
_EXACT = 1e-9  # and those this close must be real ones
_NEAR = 1e-2  # two roots farther apart are never one: one of multiplicity 8 is known to about that
_SHARP = 1e-4  # a singular value of N above this belongs to a direction in which a root is sharp
_FLAT = 1e-6  # a search that ends flatter than this, or so close to closing and no closer, decides nothing
_APART = 0.05  # ends of searches that differ so much are different orientations


def multiple_roots(m: Mechanism, theta: Floats, Q: Floats) -> tuple[Floats, Counts, int]:
    """Orientations (k, 3, 3) and multiplicities (k,) for one theta (3,), of quadrics Q (3, 4, 4); and what they are.

    That is `SOUND`, `CURVE` or `UNDECIDED`; the arrays are empty unless it is the first.
    """
    for turn in ROTATIONS:
        sigma, M = multiplication(Q, turn)
        if sigma < _DEGENERATE:
            break
        found = _common_roots(m, theta, *_clusters(Q, turn, M))
        if found is not None:
            return *found, SOUND
    return _searched(m, theta)


def _clusters(Q: Floats, turn: Floats, M: Floats) -> tuple[Complexes, Counts]:
    """Common points (k, 4), complex unit vectors, and their multiplicities (k,): together eight if all are found."""
    values = np.linalg.eigvals(M[0]).astype(np.complex128)
    nested = _nested(values)
    size = np.array([len(node) for node in nested])
    factors = M[0] - values[:, None, None] * np.eye(8)
    products = np.array([reduce(np.matmul, factors[list(node)]) for node in nested])  # 0 on the invariant subspace
    means = np.ones((len(nested), 4), dtype=np.complex128)
    for row, (k, right) in enumerate(zip(size, np.linalg.svd(products)[2], strict=True)):
        V = right[8 - k :]
        means[row, 1:] = np.einsum("ki,jil,kl->j", V, M, np.conj(V)) / k
    z = (means / np.linalg.norm(means, axis=1, keepdims=True)) @ turn
    sharp = np.concatenate([improved(Q[None], z[None, :8]), improved(Q[None], z[None, 8:], least=_SHARP)], axis=1)
    good = np.concatenate([simple(Q[None], sharp[:, :8])[0], misses(Q[None], sharp[:, 8:])[0][0] <= closing.ROUNDING])
    good &= np.abs((sharp[0] * np.conj(z)).sum(axis=1)) > 1 - _NEAR**2  # no other root was found on the way
    smallest = {next((row for row in range(15) if good[row] and k in nested[row]), -1) for k in range(8)} - {-1}
    whole = [row for row in smallest if not any(nested[row] < nested[other] for other in smallest)]
    return sharp[0, whole], size[whole]


def _nested(values: Complexes) -> list[frozenset[int]]:
    """Eight points by themselves, then the seven sets that come of joining the two sets that are nearest."""
    gap = np.abs(values[:, None] - values)
    left = [frozenset([k]) for k in range(8)]
    nested = list(left)
    while len(left) > 1:
        pairs = [
            (gap[np.ix_(list(a), list(b))].min(), i, j) for i, a in enumerate(left) for j, b in enumerate(left[:i])
        ]
        _, i, j = min(pairs)
        nested.append(left[i] | left[j])
        left = [node for k, node in enumerate(left) if k not in (i, j)] + [nested[-1]]
    return nested


def _common_roots(m: Mechanism, theta: Floats, z: Complexes, count: Counts) -> tuple[Floats, Counts] | None:
    """The real ones among common points (k, 4), as orientations; None if these are not all."""
    q = real_part(z)
    off = np.linalg.norm(z - (z * q).sum(axis=1, keepdims=True) * q, axis=1)  # distance from the line of q
    start = rotation.from_quaternion(q)
    R, e = _sharpened(m, theta, start, np.where(count > 1, _SHARP, 0.0))
    real = (off < _REAL) & (e <= closing.ROUNDING) & (rotation.angle_between(start, R) < 10 * off + _FLAT)
    if count.sum() != 8 or count[real].sum() % 2 or not real[off < _EXACT].all():
        return None
    R, count = R[real], count[real]
    groups = _groups(m, theta, R)
    R, e = _middles(m, theta, [R[group] for group in groups])
    return (
        (R, np.array([count[group].sum() for group in groups], dtype=np.int_))
        if (e <= closing.ROUNDING).all()
        else None
    )


def _searched(m: Mechanism, theta: Floats) -> tuple[Floats, Counts, int]:
    """As `multiple_roots`, from the ends of searches from many starts."""
    R, e, sigma = _settled(m, theta, _starts())
    closes = e <= closing.ROUNDING
    different = R[:0]
    for end in R[closes]:
        if (rotation.angle_between(different, end) > _APART).all():
            different = np.append(different, end[None], axis=0)
    if len(different) > 8:
        return R[:0], np.zeros(0, dtype=np.int_), CURVE
    if ((e < _FLAT) & ~(closes & (sigma > _FLAT))).any():
        return R[:0], np.zeros(0, dtype=np.int_), UNDECIDED
    R = R[closes]
    R = R[[group[0] for group in _groups(m, theta, R)]]
    return R, np.ones(len(R), dtype=np.int_), SOUND


def _settled(m: Mechanism, theta: Floats, R: Floats) -> tuple[Floats, Floats, Floats]:
    """Where a search for orientations ends from starts (n, 3, 3); by how much it misses closing, and its sigma, (n,).

    Levenberg's steps ``N^T (N N^T + mu)^-1 e`` with mu = |e|^1.5, through the singular values of N. They arrive also
    where N is singular, and where the roots form a curve; at a multiple root slowly. None is longer than |e|^0.25,
    so that rounding does not throw them off a flat root.
    """
    w = closing.elbows(m, theta[:, None])
    columns = closing.to_columns(R)
    for _ in range(60):  # halves the distance to a double root each time
        n, e = _normals_and_closure(m, w, columns)
        e = np.where((np.abs(e) <= closing.ROUNDING / 4).all(axis=0), 0.0, e)  # arrived: what is left is noise
        if not e.any():
            break
        columns = closing.turned(columns, _step(n, e, damping=(e * e).sum(axis=0)[:, None] ** 0.75))
    columns = closing.orthonormal(columns)
    n, e = _normals_and_closure(m, w, columns)
    return closing.from_columns(columns), np.abs(e).max(axis=0), closing.sigma(*closing.adjugate(n))


def _sharpened(m: Mechanism, theta: Floats, R: Floats, least: Floats) -> tuple[Floats, Floats]:
    """Where Newton's method ends from rotations (k, 3, 3), and by how much each misses closing, (k,).

    It moves in those directions only whose singular values of N exceed `least`, (k,).
    """
    w = closing.elbows(m, theta[:, None])
    columns = closing.to_columns(R)
    for _ in range(4):
        columns = closing.turned(columns, _step(*_normals_and_closure(m, w, columns), least=least[:, None]))
    columns = closing.orthonormal(columns)
    return closing.from_columns(columns), np.abs(_normals_and_closure(m, w, columns)[1]).max(axis=0)


def _normals_and_closure(m: Mechanism, w: Floats, R: Floats) -> tuple[Floats, Floats]:
    p = closing.platform(m, R)
    return closing.cross(np.broadcast_to(w, p.shape), p), closing.closure(m, w, p)


def _step(n: Floats, e: Floats, *, damping: Floats | float = 0.0, least: Floats | float = 0.0) -> Floats:
    """The turn ``N^-1 e``, columns; a singular value s inverts to s / (s^2 + damping), and to 0 up to `least`."""
    u, s, vh = np.linalg.svd(n.transpose(2, 1, 0))
    inverse = (s > least) * s / np.maximum(s * s + damping, np.finfo(np.float64).tiny)
    return np.asarray(np.einsum("nki,nk,njk,jn->in", vh, inverse, u, e))


def _groups(m: Mechanism, theta: Floats, R: Floats) -> list[list[int]]:
    """Rows of R that are one root: close together, and a place halfway between them closes as well."""
    groups: list[list[int]] = []
    for row, pose in enumerate(R):
        for group in groups:
            pair = np.stack([pose, R[group[0]]])
            near = np.linalg.norm(pair[0] - pair[1]) < _NEAR
            if near and _middles(m, theta, [pair])[1].max() <= closing.ROUNDING:
                group.append(row)
                break
        else:
            groups.append([row])
    return groups


def _middles(m: Mechanism, theta: Floats, groups: list[Floats]) -> tuple[Floats, Floats]:
    """The middle (k, 3, 3) of each of k groups of rotations that lie close together, and by how much it misses.

    Steps of Newton's follow in the directions that N is not flat in: roots of high multiplicity lie along a curve,
    and the middle of two points on it is a little off it.
    """
    R = closing.to_columns(np.array([group.mean(axis=0) for group in groups]).reshape(-1, 3, 3))
    R = closing.from_columns(closing.orthonormal(closing.orthonormal(R)))
    return _sharpened(m, theta, R, np.full(len(R), _SHARP))


def _starts() -> Floats:
    """Orientations (256, 3, 3) spread evenly: Shoemake's map of a sequence that fills the unit cube evenly."""
    root = 1.2207440846057596  # of x^4 = x + 1
    a, b, c = (np.arange(256)[:, None] / root ** np.arange(1, 4) % 1).T
    q = [np.sqrt(1 - a) * np.sin(2 * np.pi * b), np.sqrt(1 - a) * np.cos(2 * np.pi * b)]
    q += [np.sqrt(a) * np.sin(2 * np.pi * c), np.sqrt(a) * np.cos(2 * np.pi * c)]
    return rotation.from_quaternion(np.stack(q, axis=1))
