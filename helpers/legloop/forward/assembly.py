"""Every orientation that closes at given motor angles: from the common points of three quadrics to rotations."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .. import closing
from .._check import Floats
from ..mechanism import Mechanism
from .multiple_roots import SOUND, multiple_roots
from .quadrics import ROTATIONS, common_points, improved, proven, real_part

__all__ = ["all_orientations"]

Indices = NDArray[np.intp]

_BLOCK = 256  # poses at a time: 10 kB of matrices each, so that a block stays in the processor's second-level cache


def all_orientations(m: Mechanism, theta: Floats) -> tuple[Floats, NDArray[np.int_], NDArray[np.int_]]:
    """Orientations (n, 8, 3, 3), padded with NaN, and their multiplicities (n, 8), padded with 0, at theta (n, 3).

    The third result, (n,), is one of `SOUND`, `CURVE`, `UNDECIDED`; all but the first have no orientations.
    """
    R = np.full((len(theta), 8, 3, 3), np.nan)
    multiplicity = np.zeros((len(theta), 8), dtype=np.int_)
    verdict = np.full(len(theta), SOUND)
    for start in range(0, len(theta), _BLOCK):
        w = closing.elbows(m, theta[start : start + _BLOCK].T)
        Q = _quadrics(m, w)
        pose, found, undecided = _simple_roots(m, w, Q)
        count = np.ones(len(pose), dtype=np.int_)
        for k in undecided:
            special, times, verdict[start + k] = multiple_roots(m, theta[start + k], Q[k])
            pose = np.append(pose, np.full(len(special), k))
            found, count = np.concatenate([found, special]), np.append(count, times)
        order = _order(pose, found)
        pose = pose[order]
        slot = np.arange(len(pose)) - np.searchsorted(pose, pose)
        R[start + pose, slot], multiplicity[start + pose, slot] = found[order], count[order]
    return R, multiplicity, verdict


def _simple_roots(m: Mechanism, w: Floats, Q: Floats) -> tuple[Indices, Floats, Indices]:
    """Rows and their orientations, in pairs; and the rows that are not proven to have simple roots only."""
    z = common_points(Q)
    done, real = proven(Q, z)
    for turn in ROTATIONS:
        rest = np.flatnonzero(~done)
        if rest.size:  # next to a singular pose: another turn, and sharper candidates
            z[rest] = improved(Q[rest], common_points(Q[rest], turn))
            done[rest], real[rest] = proven(Q[rest], z[rest])
    pose, which = np.nonzero(real & done[:, None])
    q = real_part(z[pose, which])
    R = (_ENTRIES @ (q[:, :, None] * q[:, None]).reshape(-1, 16).T).reshape(3, 3, -1)
    R, _ = closing.closed(m, w[:, :, pose], R)
    return pose, closing.from_columns(R), np.flatnonzero(~done)


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
