"""The search behind `certify`: boxes that `bounds` can judge are kept, the others are cut in two or refute the claim.

First all boxes are shown to close, which makes the working mode one continuous branch. Then, over the same boxes, the
volume of the normals is bounded away from zero, the motor angles are followed, and, if asked for, the links are shown
to keep apart. `met` holds what single poses show in either stage: the poses that fail, and the least values.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from .._check import Floats
from ..mechanism import Mechanism, deg
from . import bounds, gaps
from .cone import Boxes, axes_at, cone, halves, radius, samples
from .met import CLOSES, Met, Outcome
from .rounding import CUT

__all__ = ["Search"]

Bools = NDArray[np.bool_]

_SHARE = 0.9  # a proved margin is this part, or more, of the least value met at any point
_TRAVEL = 0.1 * deg  # a proved motor travel reaches no farther than this beyond the angles met at any point
_SHARP = 50_000  # boxes after which these two are loosened, and this part of the budget after which they are given
_CLOSE, _FOLLOW = 0.25, 0.5  # up, in either stage: the rest of it goes to the claim itself
_BLOCK = 8192  # boxes at a time: their arrays stay in the second-level cache
_SMALLEST = 1e-8  # rho of a box that is not cut any more: what is undecided there is a margin of about zero
_WORST = 8  # boxes of each block that are searched for a witness at their corners, edges and faces
_DOWNHILL = 4000  # boxes after which a witness is looked for downhill, and again after four times as many


class Search:
    """One run."""

    def __init__(
        self,
        m: Mechanism,
        mode: Floats,
        tilt: float,
        torsion: tuple[float, float],
        limits: Floats | None,
        material: tuple[gaps.Links, float] | None,
        budget: int,
        sharp: bool,
    ) -> None:
        self.m, self.budget, self.sharp = m, budget, sharp
        self.all = cone(tilt, *torsion)
        self.origin = np.array([0.0, 0.0, min(max(0.0, torsion[0]), torsion[1])])
        self.met = Met(m, mode, limits, material)
        self.boxes, self.look = 0, _DOWNHILL
        self.sharpen = sharp  # whether boxes that are proved are cut all the same, for sharper margins
        self.least = np.full(self.met.asked.size, np.inf)

    def start(self) -> Floats:
        """Motor angles in (-pi, pi] at the origin, (3,); NaN where it does not close."""
        return bounds.pose(self.m, self._axes(self.origin[:, None]), self.met.mode).theta[:, 0]

    def run(self) -> Outcome | None:
        """Both stages: None when all is proved."""
        closed: list[Boxes] = []
        return self._close(closed) or self._follow(_joined(closed))

    def _loose(self) -> float:
        """By how much less sharp the margins may be after so many boxes; the proof itself is as strict as ever."""
        return max(1.0, self.boxes / _SHARP) ** 2

    def _close(self, closed: list[Boxes]) -> Outcome | None:
        """Show that every leg closes; `closed` receives the boxes. None when done."""
        front, stuck, met = self.all, list[Boxes](), self.met
        while front.centre.size:
            if self.boxes + front.centre.shape[1] > self.budget:
                return self._undecided(CLOSES, [*stuck, front])
            rest: list[Boxes] = []
            for box in _blocks(front):
                self.boxes += box.centre.shape[1]
                rho = radius(box) + CUT
                least = bounds.closing_bound(self.m, bounds.span(self.m, self._axes(box.centre)), rho)
                worst = box.where(np.argsort(least.min(axis=0))[:_WORST])
                ended = met.legs(np.hstack([box.centre, samples(worst)]))
                if self._due() if ended is None else ended.status == "undecided":  # then a pose nearby may be worse
                    ended = met.legs(met.shortest(worst, self.all)) or met.crossing(box.centre) or ended
                if ended is not None:
                    return _with(ended, [*stuck, front])
                wanted = _SHARE / self._loose() * met.D if self.sharpen else np.zeros(3)
                good = least >= np.maximum(met.allowed, wanted)[:, None]
                # within a box no motor may turn so far that its angle is not known from the one at the centre
                good &= bounds.motor_bound(self.m, np.maximum(least, met.allowed), rho) < np.pi / 2
                done: Bools = np.asarray(good.all(axis=0))
                met.least_D = np.minimum(met.least_D, least.min(axis=1, initial=np.inf, where=done))
                closed.append(box.where(done))
                _sort_out(box, done, rho, rest, stuck)
            front, _ = self._next(rest, _CLOSE)
        return self._undecided(CLOSES, stuck) if stuck else None

    def _follow(self, front: Boxes) -> Outcome | None:
        """Over boxes that close: bound the volume of the normals, follow the motor angles. None when done."""
        start, stuck, met = self.start()[:, None], list[Boxes](), self.met
        self.sharpen = self.sharp
        near = start + np.hstack(
            [bounds.followed(self.m, met.mode, met.least_D, self.origin[2], box.centre) for box in _blocks(front)]
        )
        while front.centre.size:
            if self.boxes + front.centre.shape[1] > self.budget:
                return self._undecided(met.claim, [*stuck, front])
            rest, angles, first = list[Boxes](), list[Floats](), 0
            for box in _blocks(front):
                last = first + box.centre.shape[1]
                self.boxes += last - first
                rho = radius(box) + CUT
                rows, theta = met.judge(self._axes(box.centre), near[:, first:last], rho)[:2]
                worst = np.unique(np.argsort(rows, axis=1)[:, :_WORST])
                ended = met.follow(box.centre, theta)
                ended = ended or met.follow(samples(box.where(worst)), np.tile(theta[:, worst], 27))
                if self._due() if ended is None else ended.status == "undecided":
                    ended = met.follow(*met.lowest(box, rows, theta)) or ended
                if ended is not None:
                    return _with(ended, [*stuck, front])
                done: Bools = np.asarray((rows >= self._wanted()[:, None]).all(axis=0))
                self.least = np.minimum(self.least, rows.min(axis=1, initial=np.inf, where=done))
                angles.append(theta[:, _sort_out(box, done, rho, rest, stuck)])
                first = last
            front, times = self._next(rest, _FOLLOW)
            near = np.tile(np.hstack(angles), times)
        return self._undecided(met.claim, stuck) if stuck else None

    def _due(self) -> bool:
        """Whether it is time to look downhill, which is done more and more seldom."""
        due = self.boxes >= self.look
        if due:
            self.look = 4 * self.boxes
        return due

    def _wanted(self) -> Floats:
        """How large the values of a box must be for it to be done: sharp too, as long as the budget has room."""
        asked, met = self.met.asked, self.met.values
        if not self.sharpen:
            return asked
        sharp = [*met[:6] - _TRAVEL * self._loose(), *_SHARE / self._loose() * met[6:]]
        return np.asarray(np.maximum(asked, sharp))

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


def _with(ended: Outcome, left: list[Boxes]) -> Outcome:
    """The outcome, and the boxes that were left if it decides nothing."""
    return ended if ended.status == "refuted" else ended._replace(undecided=_joined(left))


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
