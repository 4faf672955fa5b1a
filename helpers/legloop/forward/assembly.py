"""Every orientation that closes at given motor angles: from the common points of three quadrics to rotations."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .. import closing, rotation
from .._check import Floats
from ..mechanism import Mechanism
from .quadrics import ROTATIONS, common_points, improved, in_clusters, proven

__all__ = ["all_orientations"]

Complexes = NDArray[np.complex128]
Indices = NDArray[np.intp]

_BLOCK = 256  # poses at a time: 10 kB of matrices each, so that a block stays in the processor's second-level cache
_CLUSTER = 1e-2  # a root of multiplicity k spreads by eps^(1/k): roots farther apart than this, 0.6°, are different
_EXACT = 1e-14  # distance from a real point up to which a candidate belongs to a real eigenvalue
_SPREAD = 1e-9  # residual of candidates about a double or triple root; beside a curve of roots it is 1e-6 and more
_STEEP = 1e-4  # a singular value of N above this belongs to a direction in which a root is sharp
_FLAT = 1e-6  # a search that ends flatter than this, or so close to closing and no closer, may be on a curve of roots


def all_orientations(m: Mechanism, theta: Floats) -> tuple[Floats, NDArray[np.int_], NDArray[np.bool_]]:
    """Orientations (n, 8, 3, 3), padded with NaN, and their multiplicities (n, 8), padded with 0, at theta (n, 3).

    The third result, (n,), marks the motor angles at which the orientations are not isolated.
    """
    R = np.full((len(theta), 8, 3, 3), np.nan)
    multiplicity = np.zeros((len(theta), 8), dtype=np.int_)
    endless = np.zeros(len(theta), dtype=np.bool_)
    for start in range(0, len(theta), _BLOCK):
        pose, found, undecided = _simple_roots(m, theta[start : start + _BLOCK])
        count = np.ones(len(pose), dtype=np.int_)
        for k in undecided:
            special = _multiple_roots(m, theta[start + k])
            if special is None:
                endless[start + k] = True
            else:
                pose = np.append(pose, np.full(len(special[0]), k))
                found, count = np.concatenate([found, special[0]]), np.append(count, special[1])
        order = _order(pose, found)
        pose = pose[order]
        slot = np.arange(len(pose)) - np.searchsorted(pose, pose)
        R[start + pose, slot], multiplicity[start + pose, slot] = found[order], count[order]
    return R, multiplicity, endless


def _simple_roots(m: Mechanism, theta: Floats) -> tuple[Indices, Floats, Indices]:
    """Rows of theta and their orientations, in pairs; and the rows that are not proven to have simple roots only."""
    w = closing.elbows(m, theta.T)
    Q = _quadrics(m, w)
    z = common_points(Q)
    done, real = proven(Q, z)
    for turn in ROTATIONS:
        rest = np.flatnonzero(~done)
        if rest.size:  # next to a singular pose: another turn, and sharper candidates
            z[rest] = improved(Q[rest], common_points(Q[rest], turn))
            done[rest], real[rest] = proven(Q[rest], z[rest])
    pose, which = np.nonzero(real & done[:, None])
    q = _real(z[pose, which])
    R = (_ENTRIES @ (q[:, :, None] * q[:, None]).reshape(-1, 16).T).reshape(3, 3, -1)
    R, _ = closing.closed(m, w[:, :, pose], R)
    return pose, closing.from_columns(R), np.flatnonzero(~done)


def _real(z: Complexes) -> Floats:
    """The real unit vectors (n, 4) next to complex multiples of them."""
    x = (z * np.exp(-0.5j * np.angle((z * z).sum(axis=1, keepdims=True)))).real
    return np.asarray(x / np.linalg.norm(x, axis=1, keepdims=True))


def _quadrics(m: Mechanism, w: Floats) -> Floats:
    """The closures as quadratic forms of the quaternion, (n, 3, 4, 4): ``q.q (w . R v - cos(alpha_2)) = q^T Q q``."""
    products = (w.T[..., None] * m.platform_axes[:, None]).reshape(-1, 3, 9)  # w_i v_j, which weigh the entries of R
    return np.asarray((products @ _ENTRIES).reshape(-1, 3, 4, 4) - np.cos(m.distal)[:, None, None] * np.eye(4))


def _entries() -> Floats:
    """The entries of ``q.q R``, row by row, as quadratic forms of the quaternion q = (e, s), scalar last: (9, 16).

    q.q R = (s^2 - e.e) I + 2 e e^T + 2 s K,  K p = e x p
    """
    forms = np.zeros((3, 3, 4, 4))
    for i, j in np.ndindex(3, 3):
        forms[i, j, i, j] += 1
        forms[i, j, j, i] += 1
        if i == j:
            forms[i, j] -= np.diag([1, 1, 1, -1])
        else:
            k = 3 - i - j
            forms[i, j, k, 3] = forms[i, j, 3, k] = -1 if (j - i) % 3 == 1 else 1
    return forms.reshape(9, 16)


_ENTRIES = _entries()


def _order(pose: Indices, R: Floats) -> Indices:
    """Rows sorted by pose, then as `assembly_modes` states."""
    entries = R.reshape(-1, 9).T
    keys = np.round([entries[0] + entries[4] + entries[8], *entries], 9)
    return np.asarray(np.lexsort((*-keys[::-1], pose)))


def _multiple_roots(m: Mechanism, theta: Floats) -> tuple[Floats, NDArray[np.int_]] | None:
    """Orientations (k, 3, 3) and multiplicities (k,) for one theta (3,); None where they are not isolated."""
    Q = _quadrics(m, closing.elbows(m, theta[:, None]))
    for turn in ROTATIONS:
        z = common_points(Q, turn)
        if in_clusters(Q, z, residual=_SPREAD, size=_CLUSTER)[0]:
            found = _clustered_roots(m, theta, z[0])
            if found is not None:
                return found
    R, e, sigma = _settled(m, theta, _starts())
    closes = e <= closing.ROUNDING
    if ((e < _FLAT) & ~(closes & (sigma > _FLAT))).any():
        return None
    R = R[closes]
    R = np.array([R[group[0]] for group in _groups(m, theta, R)]).reshape(-1, 3, 3)
    return R, np.ones(len(R), dtype=np.int_)


def _clustered_roots(m: Mechanism, theta: Floats, z: Complexes) -> tuple[Floats, NDArray[np.int_]] | None:
    """As `_multiple_roots`, from eight candidates (8, 4) for the common points; None where they make no sense."""
    q = _real(z)
    off = np.linalg.norm(z - (z * q).sum(axis=1, keepdims=True) * q, axis=1)  # distance from the line of q
    off, starts = off[off < _CLUSTER], rotation.from_quaternion(q[off < _CLUSTER])
    R, e, _ = _settled(m, theta, starts)
    stayed = (e <= closing.ROUNDING) & (rotation.angle_between(starts, R) < _CLUSTER)
    if not stayed[off < _EXACT].all():
        return None
    R = R[stayed]
    groups = _groups(m, theta, R)
    count = np.array([len(group) for group in groups], dtype=np.int_)
    R, e = _middles(m, theta, [R[group] for group in groups])
    whole = (np.abs(e) <= closing.ROUNDING).all() and count.sum() % 2 == 0  # the rest of eight are conjugate pairs
    return (R, count) if whole else None


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


def _normals_and_closure(m: Mechanism, w: Floats, R: Floats) -> tuple[Floats, Floats]:
    p = closing.platform(m, R)
    return closing.cross(np.broadcast_to(w, p.shape), p), closing.closure(m, w, p)


def _step(n: Floats, e: Floats, *, damping: Floats | float = 0.0, least: float = 0.0) -> Floats:
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
            near = np.linalg.norm(pair[0] - pair[1]) < _CLUSTER
            if near and np.abs(_middles(m, theta, [pair])[1]).max() <= closing.ROUNDING:
                group.append(row)
                break
        else:
            groups.append([row])
    return groups


def _middles(m: Mechanism, theta: Floats, groups: list[Floats]) -> tuple[Floats, Floats]:
    """The middle (k, 3, 3) of each of k groups of rotations that lie close together, and its closures.

    Two steps of Newton's follow in the directions that N is not flat in: roots of high multiplicity lie along a
    curve, and the middle of two points on it is a little off it.
    """
    w = closing.elbows(m, theta[:, None])
    R = closing.to_columns(np.array([group.mean(axis=0) for group in groups]).reshape(-1, 3, 3))
    R = closing.orthonormal(closing.orthonormal(R))
    for _ in range(2):
        R = closing.turned(R, _step(*_normals_and_closure(m, w, R), least=_STEEP))
    R = closing.orthonormal(R)
    return closing.from_columns(R), closing.closure(m, w, closing.platform(m, R))


def _starts() -> Floats:
    """Orientations (256, 3, 3) spread evenly: Shoemake's map of a sequence that fills the unit cube evenly."""
    root = 1.2207440846057596  # of x^4 = x + 1
    a, b, c = (np.arange(256)[:, None] / root ** np.arange(1, 4) % 1).T
    q = [np.sqrt(1 - a) * np.sin(2 * np.pi * b), np.sqrt(1 - a) * np.cos(2 * np.pi * b)]
    q += [np.sqrt(a) * np.sin(2 * np.pi * c), np.sqrt(a) * np.cos(2 * np.pi * c)]
    return rotation.from_quaternion(np.stack(q, axis=1))
