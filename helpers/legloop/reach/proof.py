"""The search behind `certify`: boxes that `bounds` can judge are kept, the others are cut in two or refute the claim.

First all boxes are shown to close, which makes the working mode one continuous branch. Then, over the same boxes, the
volume of the normals is bounded away from zero, the motor angles are followed, and, if asked for, the links are shown
to keep apart.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .._check import Floats
from ..leg import ROUNDING
from ..mechanism import Mechanism, deg
from . import bounds, gaps, touch
from .cone import Boxes, axes_at, cone, halves, radius, samples

__all__ = ["Outcome", "Search"]

Bools = NDArray[np.bool_]

_SHARE = 0.9  # a proved margin is this part, or more, of the least value met at any point
_TRAVEL = 0.1 * deg  # a proved motor travel reaches no farther than this beyond the angles met at any point
_SHARP = 50_000  # boxes after which these two are loosened, and this part of the budget after which they are given
_CLOSE, _FOLLOW = 0.25, 0.5  # up, in either stage: the rest of it goes to the claim itself
_BLOCK = 8192  # boxes at a time: their arrays stay in the second-level cache
_SMALLEST = 1e-8  # rho of a box that is not cut any more: what is undecided there is a margin of about zero
_NEAR = 0.05  # a least D from which it is worth while to look for a pose where it vanishes
_SPAN = 1e-13  # rounding of a distance, as a part of the largest radius
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
        material: tuple[gaps.Links, float] | None,
        budget: int,
    ) -> None:
        self.m, self.mode, self.limits, self.material, self.budget = m, mode, limits, material, budget
        self.all = cone(tilt, *torsion)
        self.origin = np.array([0.0, 0.0, min(max(0.0, torsion[0]), torsion[1])])
        self.slack = bounds.slack(m)
        self.touching = touch.ends(m)
        self.boxes = 0
        self.sharpen = True  # whether boxes that are proved are cut all the same, for sharper margins
        self.met_D, self.least_D = np.full(3, np.inf), np.full(3, np.inf)
        # the second stage asks that so many values stay large enough, by rows: the motor angles, the same with the
        # other sign, the volume, and, if anybody asks for it, the clearance
        ends = np.full((3, 2), (-np.inf, np.inf)) if limits is None else limits
        gap = [] if material is None else [material[1]]
        self.asked = np.array([*ends[:, 0], *-ends[:, 1], bounds.LEAST, *gap])
        self.met, self.least = np.full((2, self.asked.size), np.inf)
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
        front, stuck, self.sharpen = self.all, list[Boxes](), True
        while front.centre.size:
            if self.boxes + front.centre.shape[1] > self.budget:
                return self._undecided("that every leg closes", [*stuck, front])
            rest: list[Boxes] = []
            for box in _blocks(front):
                self.boxes += box.centre.shape[1]
                rho = radius(box)
                least = bounds.closing_bound(self.m, self._spans(box.centre), rho)
                worst = np.argsort(least.min(axis=0))[:_WORST]
                witness = self._open(np.hstack([box.centre, samples(box.where(worst))]))
                if witness is not None:
                    return witness
                wanted = _SHARE / self._loose() * self.met_D if self.sharpen else np.zeros(3)
                good = least >= np.maximum(bounds.LEAST, wanted)[:, None]
                # within a box no motor may turn so far that its angle is not known from the one at the centre
                good &= bounds.motor_bound(self.m, np.maximum(least, bounds.LEAST), rho) < np.pi / 2
                done: Bools = np.asarray(good.all(axis=0))
                self.least_D = np.minimum(self.least_D, least.min(axis=1, initial=np.inf, where=done))
                closed.append(box.where(done))
                _sort_out(box, done, rho, rest, stuck)
            front, _ = self._next(rest, _CLOSE)
        return self._undecided("that every leg closes", stuck) if stuck else None

    def _open(self, points: Floats) -> Outcome | None:
        """Note the discriminants at points; a witness if one of them is negative beyond rounding."""
        D = bounds.discriminants(self.m, self._spans(points))
        self.met_D = np.minimum(self.met_D, D.min(axis=1))
        i, k = np.unravel_index(np.argmin(D), D.shape)
        if D[i, k] < -self.slack:
            return Outcome("refuted", f"leg {i + 1} does not close at the witness: D = {D[i, k]:.3g}", points[:, k])
        for leg, side in self.touching:
            if D[leg].min() > _NEAR:
                continue
            point = touch.flattest(self.m, leg, side, points[:, np.argmin(D[leg])], self.all)
            flat = bounds.discriminants(self.m, self._spans(point[:, None]))[leg, 0]
            if flat <= ROUNDING:  # as `singularity` counts: |n . u| is the root of D
                how = "folded upon itself" if side > 0 else "stretched"
                return Outcome("refuted", f"leg {leg + 1} is {how} at the witness: D = {abs(flat):.1g}", point)
        return None

    def _follow(self, front: Boxes) -> Outcome | None:
        """Over boxes that close: bound the volume of the normals, follow the motor angles. None when done."""
        parts = [
            "that the normals stay apart",
            *([] if self.limits is None else ["the motors within their limits"]),
            *([] if self.material is None else ["the links clear of one another and of the base"]),
        ]
        claim = " and ".join(parts)
        start, stuck, self.sharpen = self.start()[:, None], list[Boxes](), True
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
                theta, moves = _nearest(at.theta, near[:, first:last]), bounds.motor_bound(self.m, least, rho)
                rows = np.vstack([theta - moves, -theta - moves, bounds.volume_bound(self.m, at, least, rho)])
                if self.material is not None:
                    grown = bounds.link_moves(self.m, moves, rho)
                    gap = gaps.distances(self.m, at.elbows, p, self.material[0], grown).least
                    rows = np.vstack([rows, gap - _SPAN * self.material[0].radius.max()])
                witness = self._astray(box.centre, at, theta)
                if witness is None:
                    worst = np.unique(np.argsort(rows, axis=1)[:, :_WORST])
                    points = samples(box.where(worst))
                    p = self._axes(points)
                    at = bounds.pose(self.m, p, self.mode)
                    witness = self._astray(points, at, _nearest(at.theta, np.tile(theta[:, worst], 27)))
                    witness = witness or self._touching(points, p, at.elbows)
                if witness is not None:
                    return witness
                done: Bools = np.asarray((rows >= self._wanted()[:, None]).all(axis=0))
                self.least = np.minimum(self.least, rows.min(axis=1, initial=np.inf, where=done))
                angles.append(theta[:, _sort_out(box, done, rho, rest, stuck)])
                first = last
            front, times = self._next(rest, _FOLLOW)
            near = np.tile(np.hstack(angles), times)
        return self._undecided(claim, stuck) if stuck else None

    def _wanted(self) -> Floats:
        """How large the values of a box must be for it to be done: sharp too, as long as the budget has room."""
        if not self.sharpen:
            return self.asked
        sharp = [*self.met[:6] - _TRAVEL * self._loose(), *_SHARE / self._loose() * self.met[6:]]
        return np.asarray(np.maximum(self.asked, sharp))

    def _next(self, rest: list[Boxes], share: float) -> tuple[Boxes, int]:
        """The boxes to look at next, and how many each of those left has become: two halves, or itself once more.

        Once more if to halve them takes more than this share of the budget; from then on what is proved is not cut.
        """
        left = _joined(rest)
        count = left.centre.shape[1]
        if self.sharpen and self.boxes + 2 * count > share * self.budget:
            self.sharpen = False
            self.boxes -= count  # the same boxes are counted once
            return left, 1
        return halves(left), 2

    def _astray(self, points: Floats, at: bounds.Pose, theta: Floats) -> Outcome | None:
        """Note volumes and motor angles at points; a witness where a limit is passed or the normals are coplanar."""
        volume = at.volume
        rows = np.vstack([theta, -theta, np.abs(volume)])
        self.met[:7] = np.minimum(self.met[:7], rows.min(axis=1))
        if self.limits is not None:
            over = np.maximum(self.limits[:, :1] - theta, theta - self.limits[:, 1:])
            i, k = np.unravel_index(np.argmax(over), over.shape)
            if over[i, k] > self._doubt()[i, 0]:
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

    def _doubt(self) -> Floats:
        """By how much a computed motor angle may be off, (3, 1)."""
        return bounds.motor_bound(self.m, self.least_D[:, None], np.zeros(1))

    def _touching(self, points: Floats, p: Floats, w: Floats) -> Outcome | None:
        """Note the clearance at points; a witness where it is less than the gap beyond rounding."""
        if self.material is None:
            return None
        links, wanted = self.material
        found = gaps.distances(self.m, w, p, links)
        k = int(np.argmin(found.least))
        self.met[7] = min(self.met[7], found.least[k])
        doubt = bounds.link_moves(self.m, self._doubt(), np.zeros(1))
        if found.least[k] + 4 * (doubt.max() + _SPAN) * links.radius.max() >= wanted:
            return None
        bodies = gaps.nearest_bodies(gaps.Clearance(found.least[k], found.links[k], found.base[k]))
        return Outcome(
            "refuted",
            f"{bodies} are {1e3 * found.least[k]:.4g} mm apart at the witness, less than the {1e3 * wanted:.4g} mm "
            "asked for",
            points[:, k],
        )

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

    def _spans(self, points: Floats) -> Floats:
        return bounds.span(self.m, self._axes(points))


def _blocks(boxes: Boxes) -> Iterator[Boxes]:
    for first in range(0, boxes.centre.shape[1], _BLOCK):
        yield boxes.where(slice(first, first + _BLOCK))


def _joined(parts: list[Boxes]) -> Boxes:
    return Boxes(np.hstack([part.centre for part in parts]), np.hstack([part.half for part in parts]))


def _sort_out(box: Boxes, done: Bools, rho: Floats, rest: list[Boxes], stuck: list[Boxes]) -> Bools:
    """Hand the boxes that are not done to `rest`, the smallest of them to `stuck`. Which went to `rest`."""
    small = ~done & (rho < _SMALLEST)
    if small.any():
        stuck.append(box.where(small))
    left = ~done & ~small
    rest.append(box.where(left))
    return np.asarray(left)


def _nearest(theta: Floats, near: Floats) -> Floats:
    """The angles plus the whole turns that bring them nearest to `near`."""
    return np.asarray(theta + 2 * np.pi * np.rint((near - theta) / (2 * np.pi)))
