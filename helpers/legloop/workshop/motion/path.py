"""A path through orientations: between two samples either the shortest turn, or one whose rate never jumps.

Both are one formula. Between sample k and the next, h later, with tau from 0 to 1,

    R(tau) = R_k exp(b1 w1) exp(b2 w2) exp(b3 w3)
    b1 = 1 - (1 - tau)^3,   b2 = 3 tau^2 - 2 tau^3,   b3 = tau^3
    w1 = h r_k / 3,   w3 = h r_(k+1) / 3,   exp(w2) = exp(-w1) R_k^T R_(k+1) exp(-w3)

where exp turns about a vector by its length, and r is the rate wanted at a sample, in platform axes. At tau = 0 the
rate is r_k, at 1 it is r_(k+1). Source: Kim, Kim, Shin, SIGGRAPH 1995 (from memory).

- "slerp": r is that of the one interval, so w1 = w2 = w3 and the path is the steady turn of SLERP, the shortest. Its
  rate jumps at each sample.
- "smooth": r at a sample is that of the parabola through it and its two neighbours: the mean of the rates of the two
  intervals, the shorter one weighing more. The rate is continuous; the acceleration jumps, which a motor can do.

Nothing but R_k^T R_(k+1) enters, so another base frame turns the path as a whole, and so does another platform frame.
"""

from __future__ import annotations

from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike

from ... import rotation
from ..._check import Floats, choice, finite, not_rotations, orientations, place, raise_not_rotation

__all__ = ["Path", "Pieces", "at", "checked", "growth", "interpolate", "pieces"]

Path = Literal["smooth", "slerp"]

_HALF_TURN = np.pi - 1e-3
"""Nearer to half a turn than this, the last digits of a log decide on which side the path goes."""


_PART = 16384  # samples


class Pieces(NamedTuple):
    """The n - 1 pieces between n samples."""

    start: Floats
    """(n - 1, 3, 3): R_k."""
    length: Floats
    """(n - 1,): h in seconds."""
    w1: Floats
    w2: Floats
    w3: Floats
    first: Floats
    """(n - 1,): time at which each begins."""


def interpolate(
    orientations: ArrayLike | object, times: ArrayLike, at_times: ArrayLike, *, path: Path = "smooth"
) -> Floats:
    """Orientations (k, 3, 3) on the path through samples (n, 3, 3), n at least 2, at times (k,) in seconds.

    The formula and the two paths are those of this module. `times` (n,) increase, `at_times` lie between the first
    and the last of them. ValueError otherwise; and for neighbours half a turn apart, or no rotation.
    """
    choice(path, "path", get_args(Path))
    samples, moments = checked(orientations, times)
    wanted = finite(at_times, "at_times")
    outside = (wanted < moments[0]) | (wanted > moments[-1])
    if wanted.ndim != 1 or outside.any():
        told = f"has shape {wanted.shape}" if wanted.ndim != 1 else f"holds {wanted[outside][0]:g} s"
        raise ValueError(f"at_times {told}; it is (k,), between {moments[0]:g} and {moments[-1]:g} s")
    parts = pieces(samples, moments, path)
    k = np.clip(np.searchsorted(moments, wanted, side="right") - 1, 0, len(moments) - 2)
    return at(parts, k, (wanted - moments[k]) / parts.length[k])[0]


def checked(value: ArrayLike | object, times: ArrayLike) -> tuple[Floats, Floats]:
    """Samples and times that fit together; the errors of `interpolate`, but for what lies between samples.

    Looked at in parts, so that it takes no memory to speak of: the log of a day has millions of samples.
    """
    samples, moments = orientations(value).astype(np.float64, copy=False), finite(times, "times")
    if samples.ndim != 3 or moments.ndim != 1 or len(samples) != len(moments):
        raise ValueError(
            f"orientations have shape {samples.shape} and times {moments.shape}; give (n, 3, 3) and (n,), one time "
            "for each orientation"
        )
    if len(moments) < 2:
        raise ValueError(f"times holds {len(moments)} sample; a path needs at least 2")
    for first in range(0, len(samples), _PART):
        columns = samples[first : first + _PART].reshape(-1, 9).T
        bad = not_rotations(columns)
        if bad is not None:
            raise_not_rotation(columns[:, bad], (first + bad,))
    back = moments[1:] <= moments[:-1]
    if back.any():
        k = int(np.argmax(back)) + 1
        raise ValueError(
            f"times[{k}] is {moments[k]:.10g} s after times[{k - 1}] = {moments[k - 1]:.10g} s; times must increase: "
            "sort the log, or drop the row that repeats a time"
        )
    return samples, moments


def pieces(samples: Floats, moments: Floats, path: Path, offset: int = 0) -> Pieces:
    """The pieces of a path; `offset` is the index of the first sample in the whole log, for messages."""
    length = np.diff(moments)
    between = np.swapaxes(samples[:-1], 1, 2) @ samples[1:]
    vector = rotation.to_rotation_vector(between)
    turn = np.linalg.norm(vector, axis=1)
    if (turn > _HALF_TURN).any():
        k = int(np.argmax(turn > _HALF_TURN))
        raise ValueError(
            f"{place('orientation', (offset + k + 1,))} is half a turn from the one before it; which way round is "
            "open: put a sample between them"
        )
    rate = vector / length[:, None]
    if path == "slerp":
        w1 = w3 = vector / 3
        return Pieces(samples[:-1], length, w1, w1, w3, moments[:-1])
    before, after = length[:-1, None], length[1:, None]
    inner = (after * rate[:-1] + before * rate[1:]) / (before + after)
    at_samples = np.concatenate([rate[:1], inner, rate[-1:]])
    w1, w3 = (at_samples[rows] * length[:, None] / 3 for rows in (slice(None, -1), slice(1, None)))
    back = [rotation.from_rotation_vector(-w, turns=True) for w in (w1, w3)]  # a fast sample turns them far
    rest = back[0] @ between @ back[1]
    return Pieces(samples[:-1], length, w1, rotation.to_rotation_vector(rest), w3, moments[:-1])


def growth(tau: Floats) -> tuple[Floats, Floats, Floats]:
    """b1, b2 and b3 at tau in [0, 1]; each grows from 0 to 1."""
    return 1 - (1 - tau) ** 3, (3 - 2 * tau) * tau**2, tau**3


def at(parts: Pieces, k: np.typing.NDArray[np.int_], tau: Floats) -> tuple[Floats, Floats]:
    """Orientations (n, 3, 3) and rates (n, 3), rad/s in base axes, of pieces k (n,) at tau (n,) in [0, 1].

    As exp(b w) turns about w, the rate in platform axes is
    ``(b3' w3 + exp(-b3 w3) (b2' w2 + exp(-b2 w2) b1' w1)) / h``.
    """
    tau = tau[:, None]
    w1, w2, w3 = parts.w1[k], parts.w2[k], parts.w3[k]
    b1, b2, b3 = growth(tau)
    first = rotation.from_rotation_vector(b1 * w1, turns=True)
    second, third = rotation.from_rotation_vector(b2 * w2), rotation.from_rotation_vector(b3 * w3, turns=True)
    R = parts.start[k] @ first @ second @ third
    rate = 6 * tau * (1 - tau) * w2 + _back(second, 3 * (1 - tau) ** 2 * w1)
    rate = (3 * tau**2 * w3 + _back(third, rate)) / parts.length[k][:, None]
    return R, np.einsum("nij,nj->ni", R, rate)


def _back(turn: Floats, vector: Floats) -> Floats:
    return np.asarray(np.einsum("nji,nj->ni", turn, vector))
