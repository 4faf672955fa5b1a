"""Which directions of the unknowns the poses show, how well, and which poses would show the rest.

A direction is a unit vector over all free unknowns, each of them an angle. There are two reasons not to see one. Some
change nothing in any pose of any machine: turn the base frame and all motor axes together, and only the description
has changed (`gauge`). Others would show in other poses than those measured.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ... import rotation
from ..._check import Floats
from ..._travel import Frozen
from ...convention.least_squares import State
from ...inverse import inverse_kinematics
from ...mechanism import Mechanism, deg
from .problem import Closures, Data, Unknowns, columns_of
from .words import in_words, pose_in_words

__all__ = ["Seen", "Unseen", "advice", "gauge", "gauges", "see", "weak"]

_NULL = 1e-9  # of the largest singular value: rounding in a sum of some hundred products is 1e-14
_SAMPLE = 60  # random poses and angles that show whatever can be shown
_TILTS, _AZIMUTHS, _TORSIONS = (12, 24), range(0, 360, 30), (-20, 0, 20)  # degrees: poses that may be advised
_STEEP = 0.1  # least det N of an advised pose: the nearer to a singular pose, the worse sensor and motors agree


@dataclass(frozen=True, eq=False)
class Unseen(Frozen):
    """A direction that was not fitted.

    Attributes
    ----------
    words : str
        What turns against what.
    direction : dict of str to array
        The unit vector, split into the groups of `free`.
    gauge : bool
        No pose of any kind shows it: only the description changes, not the machine.
    sigma : float
        Standard error along it, in radians, from the poses given and the stated error of the sensor; inf where they
        show nothing.
    """

    words: str
    direction: dict[str, Floats]
    gauge: bool
    sigma: float

    def __repr__(self) -> str:
        if self.gauge:
            return f"{self.words} (no pose shows it)"
        known = "these poses do not show it" if self.sigma > 1 else f"these poses show it to ±{self.sigma / deg:.0f}°"
        return f"{self.words} ({known})"


class Seen(NamedTuple):
    """Directions that these poses may show, as columns (p, q) orthonormal, best first, and their standard errors."""

    directions: Floats
    sigma: Floats


def gauge(m: Mechanism, groups: tuple[str, ...]) -> Floats:
    """The directions, as columns (p, g), that change no closure of any pose.

    They are the null space of the slopes at random orientations and motor angles, in row echelon: each begins with a
    turn of a frame about an axis of its own.
    """
    rng = np.random.default_rng(0)
    q = rng.normal(size=(_SAMPLE, 4))
    R = rotation.from_quaternion(q / np.linalg.norm(q, axis=1, keepdims=True))
    data = Data(R, rng.uniform(-np.pi, np.pi, (1, _SAMPLE, 3)), rng.uniform(-0.5, 0.5, _SAMPLE))
    state = Unknowns(
        *(np.eye(3)[None], np.eye(3)[None], np.zeros((1, 3)), np.zeros(1)),
        *(array[None] for array in (m.proximal, m.distal, m.base_frames, m.platform_axes)),
    )
    _, values, right = np.linalg.svd(Closures(data, groups).slopes(state)[0].T, full_matrices=False)
    return _echelon(right[values < _NULL * values[0]]).T


def see(slopes: Floats, error: float, free: Floats) -> Seen:
    """The directions outside the gauge, and how well poses with these whitened slopes, (3 n, p), show them.

    `free` are the gauge's columns, `error` the standard error of a whitened closure in radians.
    """
    size = slopes.shape[1]
    within = np.linalg.svd(free.T, full_matrices=True)[2][free.shape[1] :].T if free.size else np.eye(size)
    rows = np.concatenate([slopes @ within, np.zeros((max(0, size - len(slopes)), within.shape[1]))])
    _, values, right = np.linalg.svd(rows, full_matrices=False)
    values = np.where(values > _NULL * values[0], values, 0.0)
    with np.errstate(divide="ignore"):
        return Seen(within @ right.T, error / values)


def gauges(free: Floats, groups: tuple[str, ...]) -> tuple[Unseen, ...]:
    """The gauge's columns (p, g) by name."""
    return tuple(Unseen(in_words(parts), parts, True, np.inf) for parts in _split(free, groups))


def weak(directions: Floats, groups: tuple[str, ...], sigma: Floats) -> tuple[Unseen, ...]:
    """Directions (p, k) that the poses show badly, with their standard errors (k,), by name."""
    split = _split(directions, groups)
    return tuple(Unseen(in_words(parts), parts, False, float(s)) for parts, s in zip(split, sigma, strict=True))


def advice(
    m: Mechanism, state: State, groups: tuple[str, ...], slopes: Floats, mode: NDArray[np.int_], ratio: float
) -> str:
    """Three poses, in words, that would show best what the slopes (3 n, p) show worst; '' if none would.

    The first is the one that shows the worst known direction best, and so on with each added to what is known.
    """
    spots = np.array([(t, a, s) for t in _TILTS for a in _AZIMUTHS for s in _TORSIONS], dtype=float) * deg
    R = rotation.from_tilt_torsion(*spots.T)
    theta = inverse_kinematics(m, R, mode, unreachable="nan")
    near = np.isfinite(theta).all(axis=1)
    spots, R, theta = spots[near], R[near], theta[near]
    steep = np.abs(np.linalg.det(np.cross(m.elbow_axes(theta), m.platform_axes_at(R)))) > _STEEP
    spots, R, theta = spots[steep], R[steep], theta[steep]
    s = Unknowns(*state)
    data = Data(s.base[0] @ R @ s.platform[0].T, (theta - s.zero[0])[None], np.full(len(R), 0.5))
    whiten = Closures(data, groups).whiteners(state, ratio)
    offered = Closures(data, groups, whiten=whiten).slopes(state)[0].T.reshape(len(R), 3, -1)
    known = slopes.T @ slopes
    told = []
    for _ in range(3 if len(R) else 0):
        worst = np.linalg.eigh(known)[1][:, 0]
        best = int(np.argmax(np.round(((offered @ worst) ** 2).sum(axis=1), 6)))
        known = known + offered[best].T @ offered[best]
        told.append(pose_in_words(spots[best]))
    return "; ".join(dict.fromkeys(told))


def _echelon(rows: Floats) -> Floats:
    """The same space, with rows that each begin in a direction of its own, so that one frame's turn is one row."""
    rows = rows.copy()
    done = 0
    for column in range(rows.shape[1]):
        if done == len(rows):
            break
        pivot = done + int(np.argmax(np.abs(rows[done:, column])))
        if abs(rows[pivot, column]) < 1e-6:  # null spaces of exact gauges have entries of order 0.1, or rounding
            continue
        rows[[done, pivot]] = rows[[pivot, done]]
        rows[done] /= rows[done, column]
        others = [k for k in range(len(rows)) if k != done]
        rows[others] -= rows[others, column : column + 1] * rows[done]
        done += 1
    return np.asarray(rows / np.linalg.norm(rows, axis=1, keepdims=True)) if len(rows) else rows


def _split(directions: Floats, groups: tuple[str, ...]) -> list[dict[str, Floats]]:
    return [{name: column[at] for name, at in columns_of(groups).items()} for column in directions.T]
