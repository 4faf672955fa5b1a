"""The search behind `certify`: boxes that `bounds` can judge are kept, the others are cut in two or refute the claim.

First all boxes are shown to close, which makes the working mode one continuous branch. Then, over the same boxes, the
volume of the normals is bounded away from zero and the motor angles are followed.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .._check import Floats
from ..mechanism import Mechanism, deg
from . import bounds
from .cone import Boxes, axes_at, cone, halves, radius, samples

__all__ = ["Outcome", "Search"]

Bools = NDArray[np.bool_]

_SHARE = 0.9  # a proved margin is this part, or more, of the least value met at any point
_TRAVEL = 0.1 * deg  # a proved motor travel reaches no farther than this beyond the angles met at any point
_SHARP = 50_000  # boxes after which these two are loosened, so that the rest of the budget goes to the claim itself
_BLOCK = 8192  # boxes at a time: their arrays stay in the second-level cache
_SMALLEST = 1e-8  # rho of a box that is not cut any more: what is undecided there is a margin of about zero
_WORST = 8  # boxes of each block that are searched for a witness at their corners, edges and faces
_COPLANAR = "the normals w x R v are coplanar at the witness"


class Outcome(NamedTuple):
    """How a search ended."""

    status: str
    reason: str
    witness: Floats | None = None
    """(3,): tilt, azimuth, torsion."""
    undecided: Boxes | None = None


class Search:
    """One run. It keeps the least values met at any point, which the proved ones are measured against."""

    def __init__(
        self,
        m: Mechanism,
        mode: Floats,
        tilt: float,
        torsion: tuple[float, float],
        limits: Floats | None,
        budget: int,
    ) -> None:
        self.m, self.mode, self.limits, self.budget = m, mode, limits, budget
        self.all = cone(tilt, *torsion)
        self.origin = np.array([0.0, 0.0, min(max(0.0, torsion[0]), torsion[1])])
        self.slack = bounds.slack(m)
        self.boxes = 0
        self.met_D, self.least_D = np.full(3, np.inf), np.full(3, np.inf)
        self.met_volume, self.least_volume = np.inf, np.inf
        self.met_theta, self.travel = (np.array([[np.inf, -np.inf]] * 3) for _ in range(2))
        self.sides: dict[int, Floats] = {}  # a point where the determinant is positive, and one where it is negative

    def start(self) -> Floats:
        """Motor angles in (-pi, pi] at the origin, (3,); NaN where it does not close."""
        return bounds.pose(self.m, axes_at(self.origin[:, None], self.m.platform_axes), self.mode).theta[:, 0]

    def run(self) -> Outcome | None:
        """Both stages: None when all is proved."""
        closed: list[Boxes] = []
        return self._close(closed) or self._follow(_joined(closed))

    def _loose(self) -> float:
        """By how much less sharp the margins may be after so many boxes; the proof itself is as strict as ever."""
        return max(1.0, self.boxes / _SHARP) ** 2

    def _close(self, closed: list[Boxes]) -> Outcome | None:
        """Show that every leg closes; `closed` receives the boxes. None when done."""
        front, stuck = self.all, list[Boxes]()
        while front.centre.size:
            if self.boxes + front.centre.shape[1] > self.budget:
                return self._undecided("that every leg closes", [*stuck, front])
            rest: list[Boxes] = []
            for box in _blocks(front):
                self.boxes += box.centre.shape[1]
                rho = radius(box)
                least = bounds.closing_bound(self.m, bounds.span(self.m, self._axes(box.centre)), rho)
                worst = np.argsort(least.min(axis=0))[:_WORST]
                witness = self._open(np.hstack([box.centre, samples(box.where(worst))]))
                if witness is not None:
                    return witness
                good = least >= np.maximum(bounds.LEAST, _SHARE / self._loose() * self.met_D)[:, None]
                # within a box no motor may turn so far that its angle is not known from the one at the centre
                good &= bounds.motor_bound(self.m, np.maximum(least, bounds.LEAST), rho) < np.pi / 2
                done: Bools = np.asarray(good.all(axis=0))
                self.least_D = np.minimum(self.least_D, least.min(axis=1, initial=np.inf, where=done))
                closed.append(box.where(done))
                _sort_out(box, done, rho, rest, stuck)
            front = _joined(rest)
        return self._undecided("that every leg closes", stuck) if stuck else None

    def _open(self, points: Floats) -> Outcome | None:
        """Note the discriminants at points; a witness if one of them is negative beyond rounding."""
        D = bounds.discriminants(self.m, bounds.span(self.m, self._axes(points)))
        self.met_D = np.minimum(self.met_D, D.min(axis=1))
        i, k = np.unravel_index(np.argmin(D), D.shape)
        if D[i, k] >= -self.slack:
            return None
        return Outcome("refuted", f"leg {i + 1} does not close at the witness: D = {D[i, k]:.3g}", points[:, k])

    def _follow(self, front: Boxes) -> Outcome | None:
        """Over boxes that close: bound the volume of the normals, follow the motor angles. None when done."""
        claim = "that the normals stay apart" + ("" if self.limits is None else " and the motors within their limits")
        start, stuck = self.start()[:, None], list[Boxes]()
        near = start + np.hstack(
            [bounds.followed(self.m, self.mode, self.least_D, self.origin[2], box.centre) for box in _blocks(front)]
        )
        while front.centre.size:
            if self.boxes + front.centre.shape[1] > self.budget:
                return self._undecided(claim, [*stuck, front])
            rest, angles, first = list[Boxes](), list[Floats](), 0
            for box in _blocks(front):
                last = first + box.centre.shape[1]
                self.boxes += last - first
                p, rho = self._axes(box.centre), radius(box)
                # either bound holds along the path of length rho from the centre to a point, which stays in the box
                least = np.maximum(bounds.closing_bound(self.m, bounds.span(self.m, p), rho), self.least_D[:, None])
                at = bounds.pose(self.m, p, self.mode)
                theta = _nearest(at.theta, near[:, first:last])
                volume, moves = bounds.volume_bound(self.m, at, least, rho), bounds.motor_bound(self.m, least, rho)
                low, high = theta - moves, theta + moves
                witness = self._astray(box.centre, at, theta)
                if witness is None:
                    worst = _lowest([volume, *low, *-high])
                    points = samples(box.where(worst))
                    at = bounds.pose(self.m, self._axes(points), self.mode)
                    witness = self._astray(points, at, _nearest(at.theta, np.tile(theta[:, worst], 27)))
                if witness is not None:
                    return witness
                spare = _TRAVEL * self._loose()
                inside = (low >= self.met_theta[:, :1] - spare) & (high <= self.met_theta[:, 1:] + spare)
                if self.limits is not None:
                    inside &= (low >= self.limits[:, :1]) & (high <= self.limits[:, 1:])
                done: Bools = inside.all(axis=0) & (
                    volume >= max(bounds.LEAST, _SHARE / self._loose() * self.met_volume)
                )
                self.least_volume = volume.min(initial=self.least_volume, where=done)
                self.travel[:, 0] = np.minimum(self.travel[:, 0], low.min(axis=1, initial=np.inf, where=done))
                self.travel[:, 1] = np.maximum(self.travel[:, 1], high.max(axis=1, initial=-np.inf, where=done))
                cut = _sort_out(box, done, rho, rest, stuck)
                angles.append(np.tile(theta[:, cut], 2))
                first = last
            front, near = _joined(rest), np.hstack(angles)
        return self._undecided(claim, stuck) if stuck else None

    def _astray(self, points: Floats, at: bounds.Pose, theta: Floats) -> Outcome | None:
        """Note volumes and motor angles at points; a witness where a limit is passed or the normals are coplanar."""
        self.met_theta[:, 0] = np.minimum(self.met_theta[:, 0], theta.min(axis=1))
        self.met_theta[:, 1] = np.maximum(self.met_theta[:, 1], theta.max(axis=1))
        volume = at.volume
        self.met_volume = min(self.met_volume, float(np.abs(volume).min()))
        if self.limits is not None:
            over = np.maximum(self.limits[:, :1] - theta, theta - self.limits[:, 1:])
            i, k = np.unravel_index(np.argmax(over), over.shape)
            if over[i, k] > bounds.motor_bound(self.m, self.least_D[:, None], np.zeros(1))[i, 0]:
                low, high = (f"{x / deg:.6g}°" for x in self.limits[i])
                stands = f"{theta[i, k] / deg:.6g}°"
                reason = f"motor {i + 1} stands at {stands} at the witness, its limits are {low} and {high}"
                return Outcome("refuted", reason, points[:, k])
        doubt = np.abs(volume) - bounds.volume_bound(self.m, at, self.least_D[:, None], np.zeros(1))
        k = np.argmin(np.abs(volume) + doubt)
        if abs(volume[k]) + doubt[k] < bounds.LEAST:
            return Outcome("refuted", f"{_COPLANAR}: |det| = {abs(volume[k]):.1g}", points[:, k])
        for side in (1, -1):
            k = np.argmax(side * volume)
            if side not in self.sides and side * volume[k] > bounds.LEAST:
                self.sides[side] = points[:, k]
        return self._flat() if len(self.sides) == 2 else None

    def _flat(self) -> Outcome:
        """The witness between two points where the determinant of the normals has unlike signs."""
        up, down = self.sides[1], self.sides[-1]
        least, middle = np.inf, up
        for _ in range(60):  # halvings: down to the spacing of floats
            point = (up + down) / 2
            volume = float(bounds.pose(self.m, self._axes(point[:, None]), self.mode).volume[0])
            if abs(volume) < least:
                least, middle = abs(volume), point
            up, down = (point, down) if volume > 0 else (up, point)
        reason = f"{_COPLANAR}: |det| = {least:.1g}, and its sign changes there"
        return Outcome("refuted", reason, middle)

    def _undecided(self, claim: str, left: list[Boxes]) -> Outcome:
        boxes = _joined(left)
        why = (
            f"the budget of {self.budget} boxes is used up"
            if (radius(boxes) >= _SMALLEST).any()
            else "a margin vanishes there, or all but vanishes, without a change of sign"
        )
        return Outcome("undecided", f"not decided {claim}: {why}", undecided=boxes)

    def _axes(self, points: Floats) -> Floats:
        return axes_at(points, self.m.platform_axes)


def _blocks(boxes: Boxes) -> Iterator[Boxes]:
    for first in range(0, boxes.centre.shape[1], _BLOCK):
        yield boxes.where(slice(first, first + _BLOCK))


def _joined(parts: list[Boxes]) -> Boxes:
    return Boxes(np.hstack([part.centre for part in parts]), np.hstack([part.half for part in parts]))


def _sort_out(box: Boxes, done: Bools, rho: Floats, rest: list[Boxes], stuck: list[Boxes]) -> Bools:
    """Cut the boxes that are not done in two, to `rest`; the smallest ones go to `stuck`. Which were cut."""
    small = ~done & (rho < _SMALLEST)
    if small.any():
        stuck.append(box.where(small))
    cut = ~done & ~small
    rest.append(halves(box.where(cut)))
    return np.asarray(cut)


def _nearest(theta: Floats, near: Floats) -> Floats:
    """The angles plus the whole turns that bring them nearest to `near`."""
    return np.asarray(theta + 2 * np.pi * np.rint((near - theta) / (2 * np.pi)))


def _lowest(rows: list[Floats]) -> NDArray[np.intp]:
    """Indices of the lowest few entries of each row."""
    return np.unique(np.concatenate([np.argsort(row)[:_WORST] for row in rows]))
