"""From where the motors may have come: the stands that hold a known orientation, and how many of them are believed.

Each leg holds the platform at two motor angles, one for each of its elbows. An orientation alone does not tell in
which of the two the motor stood. A *reading* takes one of them for each leg, and turns each motor from there to theta
the shorter way.

Let L be the least turn that must have happened: the largest, over the legs, of the smaller of the two turns. A
reading in which some motor turns by `_BELIEVED` times L or more is not believed. All others are followed, and an
answer stands only if all of them give it. So a wrong answer needs a real motion that is not believed; let d be its
largest turn, of one motor, and g the angle between the two stands of that motor. Then d is not the smaller turn of
that leg. The smaller one is at least g - d, and so is L. From d >= 3 L follows d >= 3 (g - d):

    As long as the motor that turns farthest turns by less than 3/4 of the angle between its two stands, no reading
    other than the real one is ever answered alone.

Beside a fold that angle is small, but there both stands lie on one branch, and their readings agree.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from .. import closing, leg
from .._check import Floats, place
from ..errors import AmbiguousError
from ..mechanism import Mechanism
from .branch import BLOCK, follow

__all__ = ["ambiguity", "answer", "stands"]

Indices = NDArray[np.intp]

# Measured in all modes of many joints, with turns of the platform of up to 40°. With 2, one answer in 10^3 is wrong;
# with 3, some in 10^4; with 4 none, but twice as many are refused.
_BELIEVED = 3.0

_SAME = 1e-7  # rad; the rounding of an arrival is 1e-9 at most, other orientations are 5e-6 away (`branch`, _FLOOR)


@dataclass(frozen=True)
class Stands:
    """Motor angles that hold orientations, (2, 3, n): with the elbow of mode +1, of -1; legs; poses.

    `change` is the shorter way from there to theta, in [-pi, pi]; infinite where that elbow is ruled out.
    """

    angle: Floats
    change: Floats

    def nearer(self) -> Indices:
        """Which of the two elbows is closer to theta, (3, n)."""
        return np.asarray(np.argmin(np.abs(self.change), axis=0))

    def open_legs(self) -> NDArray[np.bool_]:
        """Where the other elbow is believed too, (3, n)."""
        turn = np.abs(self.change)
        return np.asarray(turn.max(axis=0) < _BELIEVED * turn.min(axis=0).max(axis=0))

    def way(self, elbow: Indices, rows: Indices | slice) -> tuple[Floats, Floats]:
        """Start and change, (3, k), of some rows with the elbows (3, k)."""
        index = elbow[None]
        start, change = (np.take_along_axis(a[:, :, rows], index, axis=0)[0] for a in (self.angle, self.change))
        return start, change


def stands(m: Mechanism, R: Floats, theta: Floats, mode: NDArray[np.int_]) -> Stands:
    """The stands of the motors at R (3, 3, n), and the ways from there to theta (3, n); NaN where none holds R.

    `mode`, (3, n) or (3, 1), rules out the other elbow; 0 rules out none. A leg that every angle holds keeps theta.
    """
    angle = np.empty((2, *theta.shape))
    matrix, constant = m.coefficients
    for k in range(0, theta.shape[1], BLOCK):
        rows = slice(k, k + BLOCK)
        a, b, c = (matrix @ R[:, :, rows].reshape(9, -1) + constant[:, None]).reshape(3, 3, -1)
        free = leg.undetermined(a, b, c)
        for elbow, sign in enumerate((1, -1)):
            root = leg.motor_angle(a, b, c, np.array(sign))
            angle[elbow, :, rows] = np.where(free, theta[:, rows], root)
    change = theta - angle
    change -= 2 * np.pi * np.rint(change / (2 * np.pi))
    return Stands(angle, np.where(np.stack([mode < 0, mode > 0]), np.inf, change))


def answer(m: Mechanism, R: Floats, at: Stands) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Where the platform goes from R, (3, 3, n), in the nearest reading, and the part of the way, as from `follow`.

    The third result, (n,), marks the poses that arrive so, but not in all other readings at the same place.
    """
    nearer = at.nearer()
    there, part = follow(m, R, *at.way(nearer, slice(None)))
    doubt = np.zeros(len(part), dtype=np.bool_)
    stays = (there == R).all(axis=(0, 1))  # R closes at theta by itself, and is the answer of all readings
    rows, elbow = _readings(at, nearer, (part == 1) & ~stays)
    if rows.size:
        # det N never changes its sign on a branch, so readings of either sign cannot arrive at one place
        volume = _volume(m, R[:, :, rows], at.way(elbow, rows)[0])
        doubt[rows[volume * _volume(m, R[:, :, rows], at.way(nearer[:, rows], rows)[0]) <= 0]] = True
        left = ~doubt[rows]
        rows, elbow = rows[left], elbow[:, left]
        other, arrived = follow(m, R[:, :, rows], *at.way(elbow, rows))
        doubt[rows[(arrived != 1) | (_apart(other, there[:, :, rows]) > _SAME)]] = True
    return there, part, doubt


def _volume(m: Mechanism, R: Floats, theta: Floats) -> Floats:
    """The determinant of the normals, (n,), of columns (3, 3, n) and (3, n)."""
    return closing.adjugate(closing.cross(closing.elbows(m, theta), closing.platform(m, R)))[1]


def _apart(R: Floats, other: Floats) -> Floats:
    """The angle from R to the other, (n,), of columns: a turn by t moves a matrix by sqrt(8) sin(t / 2)."""
    return np.asarray(2 * np.arcsin(np.minimum(np.sqrt(((R - other) ** 2).sum(axis=(0, 1)) / 8), 1.0)))


def _readings(at: Stands, nearer: Indices, wanted: NDArray[np.bool_]) -> tuple[Indices, Indices]:
    """All believed readings of wanted poses but the nearest: the rows that they belong to, (k,); elbows, (3, k)."""
    maybe = at.open_legs() & wanted
    some = np.flatnonzero(maybe.any(axis=0))
    rows, elbows = [some[:0]], [nearer[:, :0]]
    for swap in np.array(list(product((0, 1), repeat=3)))[1:, :, None]:
        which = some[(maybe[:, some] >= swap).all(axis=0)]
        rows.append(which)
        elbows.append(nearer[:, which] ^ swap)
    return np.concatenate(rows), np.concatenate(elbows, axis=1)


def ambiguity(
    m: Mechanism, R: Floats, at: Stands, row: int, index: tuple[int, ...], count: int
) -> AmbiguousError | None:
    """The error for one pose, of which `answer` has given no answer; None where the branch ends in every reading.

    The legs in doubt are those of the readings that differ from the nearest in the fewest legs.
    """
    nearer = at.nearer()
    wanted = np.arange(R.shape[2]) == row
    rows, elbow = _readings(at, nearer, wanted)
    rows, elbow = np.append(row, rows), np.append(nearer[:, [row]], elbow, axis=1)
    there, part = follow(m, R[:, :, rows], *at.way(elbow, rows))
    arrives = part == 1
    if not arrives.any():
        return None
    apart = _apart(there, there[:, :, :1])
    swapped = elbow != elbow[:, :1]
    differ = np.where(arrives & arrives[0], apart > _SAME, arrives != arrives[0])
    fewest = differ & (swapped.sum(axis=0) == swapped[:, differ].sum(axis=0).min())
    legs = tuple(np.flatnonzero(swapped[:, fewest].any(axis=1)).tolist())
    told = "; ".join(
        f"leg {i + 1} may have come from {_degrees(at.angle[0, i, row])} (mode +1) or from "
        f"{_degrees(at.angle[1, i, row])} (mode -1)"
        for i in legs
    )
    both = fewest & arrives & arrives[0]
    if both.any():
        then = f"the answers are up to {_degrees(apart[both].max())} apart"
    else:
        then = "from one of them the platform arrives, from the other its branch ends on the way"
    others = f"; {count} poses of the batch have no answer" if count > 1 else ""
    return AmbiguousError(
        f"{place('motor angles', index)} are too far from near to tell: {told}; {then}. Give mode=, the working mode "
        f"of the legs at near, or come in smaller steps{others}",
        pose=index,
        legs=legs,
        modes=1 - 2 * elbow.T,
        orientations=closing.from_columns(np.where(arrives, there, np.nan)),
    )


def _degrees(angle: float) -> str:
    return f"{angle * 180 / np.pi:.4g}°"
