"""The three closures together, for many poses side by side: their normals, and Newton's step on the orientation.

The arrays here are columns: the last axis counts poses, so that every operation runs over memory in order. R is
(3, 3, n); axes of the legs are (3, 3, n): xyz, then legs. Nothing is checked: the public functions have done so.

A small turn omega of the platform changes the closure ``e_i = w_i . R v_i - cos(alpha_2)`` by ``-n_i . omega``
with the normal ``n_i = w_i x R v_i``. So Newton's step solves ``N omega = e``, N the rows n_i.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ._check import Floats
from .mechanism import Mechanism

__all__ = [
    "ROUNDING",
    "adjugate",
    "closed",
    "closure",
    "cross",
    "elbows",
    "from_columns",
    "newton_step",
    "orthonormal",
    "platform",
    "sigma",
    "to_columns",
    "turned",
]

ROUNDING = float(64 * np.finfo(np.float64).eps)
"""By how much a leg may miss closing and still count as closed: sums of nine rounded products, on axes that are
themselves products of rounded factors."""


def to_columns(R: Floats) -> Floats:
    """Orientations (n, 3, 3) as columns (3, 3, n)."""
    return np.ascontiguousarray(R.transpose(1, 2, 0))


def from_columns(R: Floats) -> Floats:
    """Columns (3, 3, n) as orientations (n, 3, 3)."""
    return np.ascontiguousarray(R.transpose(2, 0, 1))


def cross(a: Floats, b: Floats) -> Floats:
    """Cross product over the first axis."""
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def elbows(m: Mechanism, theta: Floats) -> Floats:
    """Elbow axes w at motor angles (3, n)."""
    s, c = np.sin(m.proximal)[:, None], np.cos(m.proximal)[:, None]
    local = np.empty((3, 3, theta.shape[1]))  # legs, then xyz of the leg
    local[:, 0], local[:, 1], local[:, 2] = s * np.cos(theta), s * np.sin(theta), c
    return np.ascontiguousarray((m.base_frames @ local).transpose(1, 0, 2))


def platform(m: Mechanism, R: Floats) -> Floats:
    """Platform axes R v."""
    return np.asarray(m.platform_axes @ R)


def closure(m: Mechanism, w: Floats, p: Floats) -> Floats:
    """By how much each leg misses closing, (3, n)."""
    return np.asarray(w[0] * p[0] + w[1] * p[1] + w[2] * p[2] - np.cos(m.distal)[:, None])


def adjugate(n: Floats) -> tuple[Floats, Floats]:
    """The products n_j x n_k, (3, 3, n), xyz then leg i of (i, j, k) cyclic, and the volume det N, (n,).

    Over det N the products are the columns of N^-1.
    """
    pairs = cross(n[:, (1, 2, 0)], n[:, (2, 0, 1)])
    return pairs, (n[:, 0] * pairs[:, 0]).sum(axis=0)


def sigma(pairs: Floats, volume: Floats) -> Floats:
    """``1 / |N^-1|`` in the Frobenius norm, (n,), 0 where N is singular.

    At most the smallest singular value of N, and at least 1/sqrt(3) of it.
    """
    size = np.sqrt((pairs * pairs).sum(axis=(0, 1)))
    return np.asarray(np.abs(volume) / np.where(size > 0, size, 1.0))


def newton_step(pairs: Floats, volume: Floats, e: Floats) -> Floats:
    """The turn omega, (3, n), with ``N omega = e``, by Cramer's rule from `adjugate` of N; 0 where N is singular."""
    return np.asarray((pairs * e).sum(axis=1) * ((volume != 0) / np.where(volume != 0, volume, 1.0)))


def turned(R: Floats, omega: Floats) -> Floats:
    """R after a further turn by omega, to second order: Cayley's map, a rotation whatever the size of omega."""
    half = 0.5 * omega[:, None]
    k = 2 / (1 + (half * half).sum(axis=0))
    side = cross(half, R)
    return np.asarray(R + k * (side + cross(half, side)))


def orthonormal(R: Floats) -> Floats:
    """The rotation next to a nearly orthonormal matrix: one step of Newton's, ``R (3 I - R^T R) / 2``."""
    gram = np.einsum("ijn,ikn->jkn", R, R)
    return np.asarray(1.5 * R - 0.5 * np.einsum("ijn,jkn->ikn", R, gram))


def closed(m: Mechanism, w: Floats, R: Floats, *, most: int = 8) -> tuple[Floats, NDArray[np.bool_]]:
    """Newton's method from R, the elbows held at w: the orientation where it ends, and whether that closes, (n,).

    It takes `most` steps at most.
    """
    for _ in range(most):  # each squares the error: after five a start 1e-1 away has gone as far as it will
        p = platform(m, R)
        e = closure(m, w, p)
        if not (np.abs(e) > ROUNDING / 16).any():
            break
        R = turned(R, newton_step(*adjugate(cross(w, p)), e))
    R = orthonormal(R)
    return R, np.asarray((np.abs(closure(m, w, platform(m, R))) <= ROUNDING).all(axis=0))
