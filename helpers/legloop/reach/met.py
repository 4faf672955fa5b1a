"""What single poses show: the least values met at any of them, and the poses that fail, each a witness.

A pose at which a bound fails, although the pose alone is its whole ball, settles a search: no cut ever gets past it.
It is a witness where it fails beyond rounding, or is singular within rounding as `singularity` counts. Else nothing
but rounding is left of the margin there, and the search ends undecided at once.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .._check import Floats
from ..leg import ROUNDING, reach_limits
from ..mechanism import Mechanism, deg
from . import bounds, gaps
from .cone import Boxes, axes_at
from .descent import lowest
from .rounding import LEAST, least_allowed

__all__ = ["CLOSES", "Met", "Outcome", "nearest"]

CLOSES = "that every leg closes"
_SPAN = 1e-13  # rounding of a distance, as a part of the largest radius
_NEGATIVE = 256 * np.finfo(np.float64).eps  # 4 slack of a joint whose axes are exactly unit
_ALONE = np.zeros(1)  # rho of a single pose
_ENOUGH = -1e-9  # a value this far below what is asked for is a witness: no need to go farther down
_COPLANAR = "the normals w x R v are coplanar at the witness"


class Outcome(NamedTuple):
    """How a search ended."""

    status: str
    reason: str
    witness: Floats | None = None
    """(3,): tilt, azimuth, torsion."""
    undecided: Boxes | None = None


class Met:
    """What one search asks for, and what it has met."""

    def __init__(
        self, m: Mechanism, mode: Floats, limits: Floats | None, material: tuple[gaps.Links, float] | None
    ) -> None:
        self.m, self.mode, self.limits, self.material = m, mode, limits, material
        self.slack, self.allowed = bounds.slack(m), least_allowed(m)
        self.near, self.far = (edge[:, None] for edge in reach_limits(m.proximal, m.distal))
        # the second stage asks that so many values stay large enough, by rows: the motor angles, the same with the
        # other sign, the volume, and, if anybody asks for it, the clearance
        ends = np.full((3, 2), (-np.inf, np.inf)) if limits is None else limits
        gap = [] if material is None else [material[1]]
        self.asked = np.array([*ends[:, 0], *-ends[:, 1], LEAST, *gap])
        self.D, self.values = np.full(3, np.inf), np.full(self.asked.size, np.inf)
        self.least_D = np.full(3, np.inf)
        """What is proved, after the first stage all over the set."""
        self.sides: dict[int, Floats] = {}  # a point where the determinant is positive, and one where it is negative

    def legs(self, points: Floats) -> Outcome | None:
        """Note the discriminants at points; how the search ends, if one of them is not positive."""
        arc = self._arcs(points)
        D = bounds.discriminants(self.m, arc)
        self.D = np.minimum(self.D, D.min(axis=1))
        i, k = np.unravel_index(np.argmin(D), D.shape)
        if D[i, k] < -4 * self.slack:
            return Outcome("refuted", f"leg {i + 1} does not close at the witness: D = {D[i, k]:.3g}", points[:, k])
        if -_NEGATIVE <= D[i, k] <= ROUNDING:  # as `singularity` counts: |n . u| is the root of D
            how = "folded upon itself" if arc[i, k] - self.near[i] < self.far[i] - arc[i, k] else "stretched"
            reason = f"leg {i + 1} is {how} at the witness: D = {abs(D[i, k]):.1g}"
            return Outcome("refuted", reason, points[:, k])
        if D[i, k] < 2 * self.allowed and (bounds.closing_bound(self.m, arc, _ALONE)[i, k] < self.allowed):
            return _nothing(CLOSES, points[:, k])
        return None

    def shortest(self, boxes: Boxes, whole: Boxes) -> Floats:
        """Points (3, 3) of the whole set, for each leg one that is nearest to its edge, downhill from some boxes."""

        def margins(points: Floats) -> Floats:
            arc = self._arcs(points)
            return np.asarray(np.minimum(arc - self.near, self.far - arc))

        def own(points: Floats) -> Floats:
            return np.asarray(np.einsum("lkl->kl", margins(points).reshape(3, -1, 3)).ravel())

        start = boxes.where(np.argmin(margins(boxes.centre), axis=1))
        low, high = whole.ends().min(axis=(1, 2)), whole.ends().max(axis=(1, 2))
        low[1], high[1] = -np.inf, np.inf  # round the circle
        return lowest(own, start, low[:, None], high[:, None], _ENOUGH)

    def crossing(self, points: Floats) -> Outcome | None:
        """How the search ends, if the volume changes its sign between points that all close, as far as is known."""
        volume = bounds.pose(self.m, axes_at(points, self.m.platform_axes), self.mode).volume
        return self._between_sides(points, volume)

    def judge(self, p: Floats, near: Floats, rho: Floats) -> tuple[Floats, Floats, bounds.Pose]:
        """The least of each value over balls, (rows, n); motor angles at their centres, next to `near`; the poses."""
        # either bound holds along the path of length rho from the centre to a point, which stays in the box
        least = np.maximum(bounds.closing_bound(self.m, bounds.span(self.m, p), rho), self.least_D[:, None])
        at = bounds.pose(self.m, p, self.mode)
        theta, moves = nearest(at.theta, near), bounds.motor_bound(self.m, least, rho)
        rows = [theta - moves, -theta - moves, bounds.volume_bound(self.m, at, least, rho)]
        if self.material is not None:
            grown = bounds.link_moves(self.m, moves, rho)
            gap = gaps.distances(self.m, at.elbows, p, self.material[0], grown).least
            rows.append(gap - _SPAN * self.material[0].radius.max())
        return np.vstack(rows), theta, at

    def follow(self, points: Floats, near: Floats) -> Outcome | None:
        """Note the values at points on the branch of `near`; how the search ends, if one of them fails."""
        p = axes_at(points, self.m.platform_axes)
        bound, theta, at = self.judge(p, near, _ALONE)
        self.values[:7] = np.minimum(self.values[:7], np.vstack([theta, -theta, np.abs(at.volume)]).min(axis=1))
        failed = self._limits(points, theta, theta - bound[:3]) or self._coplanar(points, at.volume, bound[6])
        failed = failed or self._touching(points, p, at.elbows)
        if failed is None and (bound < self.asked[:, None]).any():
            failed = _nothing(self.claim, points[:, np.argmin((bound - self.asked[:, None]).min(axis=0))])
        return failed

    def lowest(self, boxes: Boxes, rows: Floats, theta: Floats) -> tuple[Floats, Floats]:
        """Points (3, n), each the lowest of one value in one box, and the angles of the centres of these boxes.

        For each value that is asked for two boxes: those with the least bounds, `rows`.
        """
        asked = np.flatnonzero(np.isfinite(self.asked))
        start = np.argsort(rows[asked], axis=1)[:, :2].ravel()
        which = np.repeat(asked, start.size // asked.size)
        p = axes_at(boxes.centre[:, start], self.m.platform_axes)
        side = np.where(bounds.pose(self.m, p, self.mode).volume < 0, -1.0, 1.0)
        level = np.where(which == 6, 0.0, self.asked[which])  # the volume may change its sign

        def own(points: Floats) -> Floats:
            p, times = axes_at(points, self.m.platform_axes), points.shape[1] // start.size
            at = bounds.pose(self.m, p, self.mode)
            angles = nearest(at.theta, np.tile(theta[:, start], times))
            values = [angles, -angles, at.volume * np.tile(side, times)]
            if self.material is not None:
                values.append(gaps.distances(self.m, at.elbows, p, self.material[0]).least)
            picked = np.vstack(values)[np.tile(which, times), np.arange(points.shape[1])]
            return np.asarray(picked - np.tile(level, times))

        box = boxes.where(start)
        low, high = box.ends().transpose(2, 0, 1)
        return lowest(own, box, low, high, _ENOUGH), theta[:, start]

    @property
    def claim(self) -> str:
        """What the second stage shows."""
        parts = [
            "that the normals stay apart",
            *([] if self.limits is None else ["the motors within their limits"]),
            *([] if self.material is None else ["the links clear of one another and of the base"]),
        ]
        return " and ".join(parts)

    def _arcs(self, points: Floats) -> Floats:
        return bounds.span(self.m, axes_at(points, self.m.platform_axes))

    def _limits(self, points: Floats, theta: Floats, doubt: Floats) -> Outcome | None:
        if self.limits is None:
            return None
        over = np.maximum(self.limits[:, :1] - theta, theta - self.limits[:, 1:]) - doubt
        i, k = np.unravel_index(np.argmax(over), over.shape)
        if over[i, k] <= 0:
            return None
        low, high = (f"{x / deg:.6g}°" for x in self.limits[i])
        stands = f"{theta[i, k] / deg:.6g}°"
        reason = f"motor {i + 1} stands at {stands} at the witness, its limits are {low} and {high}"
        return Outcome("refuted", reason, points[:, k])

    def _coplanar(self, points: Floats, volume: Floats, bound: Floats) -> Outcome | None:
        most = 2 * np.abs(volume) - bound
        k = np.argmin(most)
        if most[k] < LEAST:
            return Outcome("refuted", f"{_COPLANAR}: |det| = {abs(volume[k]):.1g}", points[:, k])
        return self._between_sides(points, volume)

    def _between_sides(self, points: Floats, volume: Floats) -> Outcome | None:
        """The witness between two points where the determinant of the normals has unlike signs, if there are two."""
        for side in (1, -1):
            k = np.argmax(side * volume)
            if side not in self.sides and side * volume[k] > LEAST:
                self.sides[side] = points[:, k]
        if len(self.sides) < 2:
            return None
        up, down = self.sides[1], self.sides[-1]
        least, middle = float("inf"), up
        for _ in range(60):  # halvings: down to the spacing of floats
            point = (up + down) / 2
            if (ended := self.legs(point[:, None])) is not None:
                return ended
            p = axes_at(point[:, None], self.m.platform_axes)
            here = float(bounds.pose(self.m, p, self.mode).volume[0])
            if abs(here) < least:
                least, middle = abs(here), point
            up, down = (point, down) if here > 0 else (up, point)
        reason = f"{_COPLANAR}: |det| = {least:.1g}, and its sign changes there"
        return Outcome("refuted", reason, middle)

    def _touching(self, points: Floats, p: Floats, w: Floats) -> Outcome | None:
        """Note the clearance at points; a witness where it is less than the gap beyond rounding."""
        if self.material is None:
            return None
        links, wanted = self.material
        found = gaps.distances(self.m, w, p, links)
        k = int(np.argmin(found.least))
        self.values[7] = min(self.values[7], found.least[k])
        doubt = bounds.link_moves(self.m, bounds.motor_bound(self.m, self.least_D[:, None], _ALONE), _ALONE)
        if found.least[k] + 4 * (doubt.max() + _SPAN) * links.radius.max() >= wanted:
            return None
        bodies = gaps.nearest_bodies(gaps.Clearance(found.least[k], found.links[k], found.base[k]))
        return Outcome(
            "refuted",
            f"{bodies} are {1e3 * found.least[k]:.4g} mm apart at the witness, less than the {1e3 * wanted:.4g} mm "
            "asked for",
            points[:, k],
        )


def nearest(theta: Floats, near: Floats) -> Floats:
    """The angles plus the whole turns that bring them nearest to `near`."""
    return np.asarray(theta + 2 * np.pi * np.rint((near - theta) / (2 * np.pi)))


def _nothing(claim: str, point: Floats) -> Outcome:
    tilt, azimuth, torsion = (f"{x / deg + 0.0:.6g}°" for x in point)
    where = f"tilt {tilt}, azimuth {azimuth}, torsion {torsion}"
    return Outcome("undecided", f"not decided {claim}: a margin at {where} is zero but for rounding")
