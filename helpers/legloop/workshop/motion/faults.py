"""What is wrong with a path that the joint cannot follow: from when to when, why, and where it is worst."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ... import rotation
from ..._check import Floats
from ...convention import Convention
from ...inverse import inverse_kinematics
from ...mechanism import deg
from ...reach import ball
from .continuous import FLAT, Place
from .knots import Joint, cell_count, places, unwrapped
from .path import Pieces, at

__all__ = ["Fault", "described", "faults", "seen_by"]

_SHOWN = 6  # faults that a message lists
_LOOKS = 60_000  # at a block of the path: samples that jump about wildly turn by thousands of radians
_HALVINGS = 52  # of the stretch between two looks: to the last digit of its place


class Fault(NamedTuple):
    """A stretch of a path that the joint cannot follow."""

    start: float
    """Seconds, in the time of the request: the first place found that is not possible."""
    stop: float
    """The last one. At a singular pose of type 2 that the path passes, the same as `start`."""
    why: str
    """"reach", "travel", "singular" (nearer to a singular pose than the limits allow), or "type 2" (through one)."""
    leg: int
    """Index of the leg or motor that is worst, 0, 1, 2; -1 for "singular" and "type 2"."""
    worst: float
    """How far beyond the limit: radians; for "singular" the least evenness, for "type 2" 0."""
    rpy: tuple[float, float, float]
    """Roll, pitch and yaw, in radians, of the pose where it is worst."""


def faults(
    joint: Joint, parts: Pieces, before: Floats, floor: float, also: Place | None = None
) -> tuple[list[Fault], Floats]:
    """The stretches of a path that the joint cannot follow, and the motor angles (3,) at its end.

    `floor`: the evenness below which a pose is refused. `before` (3,): the angles that it starts near to. The path is
    looked at where `continuous` begins to look, twice as densely, and at the place `also`, which it has found broken.
    Where a leg does not close, its motor angle is taken to wait.
    """
    m, mode, walls = joint
    count = 2 * cell_count(parts, corners=True)
    k, tau = places(np.maximum(count * min(1.0, _LOOKS / count.sum()), 1).astype(np.int_))
    if also is not None:
        row = int(np.searchsorted(k + tau, also[0] + also[1]))
        k, tau = np.insert(k, row, also[0]), np.insert(tau, row, also[1])
    R, _ = at(parts, k, tau)
    s = parts.first[k] + tau * parts.length[k]
    b = ball(m, mode, R, np.zeros(len(R)))
    short = walls.edge - b.margin.T
    theta = inverse_kinematics(m, R, mode, unreachable="nan")
    closes = ~np.isnan(theta)
    for leg in range(3):
        held = np.maximum.accumulate(np.where(closes[:, leg], np.arange(len(s)), -1))
        theta[:, leg] = np.where(held >= 0, theta[np.maximum(held, 0), leg], before[leg])
    theta = unwrapped(theta, before)
    beyond = np.where(closes, np.maximum(theta - walls.high, walls.low - theta), -np.inf)
    good = np.asarray((short <= 0).all(axis=1))
    lacks = np.where(good, floor - b.evenness, -np.inf)[:, None]
    found = [
        *_stretches(s, R, short, "reach"),
        *_stretches(s, R, beyond, "travel"),
        *(f._replace(leg=-1, worst=floor - f.worst) for f in _stretches(s, R, lacks, "singular")),
        *_crossings(joint, parts, k + tau, good, b.volume),
    ]
    return found, theta[-1]


def _stretches(s: Floats, R: Floats, beyond: Floats, why: str) -> list[Fault]:
    """The runs of places at which some of `beyond` (n, k) is above 0."""
    bad = (beyond > 0).any(axis=1)
    edges = np.diff(np.concatenate([[0], bad.astype(int), [0]]))
    found, worst = [], []
    for i, j in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        row, leg = np.unravel_index(beyond[i:j].argmax(), beyond[i:j].shape)
        worst.append(i + int(row))
        found.append((float(s[i]), float(s[j - 1]), why, int(leg), float(beyond[i:j].max())))
    return [Fault(*fields, rpy) for fields, rpy in zip(found, _rpy(R[worst]), strict=True)]


def _crossings(joint: Joint, parts: Pieces, u: Floats, good: NDArray[np.bool_], volume: Floats) -> list[Fault]:
    """Where V passes 0 between two neighbouring places u = k + tau that are both within reach, by bisection.

    And the places themselves where V is 0 to rounding, if it has one sign on either side.
    """
    passes = good[:-1] & good[1:] & (volume[:-1] * volume[1:] < 0)
    i = np.flatnonzero(passes)
    flat = good & (np.abs(volume) <= FLAT) & ~np.append(passes, False) & ~np.insert(passes, 0, False)
    low, high = u[i], u[i + 1]
    for _ in range(_HALVINGS if len(i) else 0):
        middle = (low + high) / 2
        same = ball(joint.m, joint.mode, _at(parts, middle)[0], np.zeros(len(i))).volume * volume[i] > 0
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    R, s = _at(parts, np.sort(np.append(high, u[flat])))
    return [Fault(t, t, "type 2", -1, 0.0, rpy) for t, rpy in zip(s.tolist(), _rpy(R), strict=True)]


def _at(parts: Pieces, u: Floats) -> tuple[Floats, Floats]:
    """Orientations and times at places u = k + tau."""
    k = np.clip(np.floor(u).astype(np.int_), 0, len(parts.length) - 1)
    return at(parts, k, u - k)[0], parts.first[k] + (u - k) * parts.length[k]


def _rpy(R: Floats) -> list[tuple[float, float, float]]:
    return list(zip(*(angle.tolist() for angle in rotation.to_rpy(R)), strict=True))


def seen_by(faults: list[Fault], convention: Convention) -> list[Fault]:
    """The same faults with their poses in the frames of a convention."""
    poses = np.array([fault.rpy for fault in faults]).reshape(-1, 3)
    theirs = convention.orientation_to_theirs(rotation.from_rpy(*poses.T))
    return [fault._replace(rpy=rpy) for fault, rpy in zip(faults, _rpy(theirs), strict=True)]


def described(faults: tuple[Fault, ...], names: tuple[int, int, int]) -> str:
    """Faults in words; `names` are the numbers, from 1, by which our legs go in the frames of the caller."""
    reasons = {
        "reach": "leg {0} is {1:.3g}° short of the reach it may use",
        "travel": "motor {0} would be {1:.3g}° past its travel",
        "singular": "the joint is nearly singular, evenness {2:.3g}",
        "type 2": "V comes to 0, a singular pose of type 2",
    }
    lines = []
    for f in faults[:_SHOWN]:
        when = f"from {f.start:.6g} s to {f.stop:.6g} s" if f.stop > f.start else f"at {f.start:.6g} s"
        why = reasons[f.why].format(names[f.leg] if f.leg >= 0 else 0, f.worst / deg, f.worst)
        pose = ", ".join(f"{angle / deg:.1f}°" for angle in f.rpy)
        worst = "worst at " if f.stop > f.start else ""
        lines.append(f"  {when} {why} ({worst}roll, pitch, yaw = {pose})")
    if len(faults) > _SHOWN:
        lines.append(f"  and {len(faults) - _SHOWN} more, in .faults")
    return "\n".join(lines)
