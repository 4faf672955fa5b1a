"""Circle arcs on the unit sphere."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, pi, sin

import numpy as np

from .._check import Floats

__all__ = ["Arc", "circle", "great_arc", "great_arc_from"]


@dataclass(frozen=True)
class Arc:
    """The circle arc ``centre + first cos(t) + second sin(t)``, t from 0 to `angle`."""

    centre: Floats
    first: Floats
    second: Floats
    angle: float

    def at(self, t: float) -> Floats:
        """The point at t."""
        return np.asarray(self.centre + self.first * cos(t) + self.second * sin(t))

    def along(self, t: float) -> Floats:
        """The direction of travel at t, a unit vector."""
        return _unit(self.second * cos(t) - self.first * sin(t))


def _across(axis: Floats) -> Floats:
    """Some unit vector perpendicular to `axis`, the same one each time."""
    other = np.zeros(3)
    other[int(np.argmin(np.abs(axis)))] = 1.0
    return _unit(np.cross(axis, other))


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.sqrt(vector @ vector))


def _cross(p: Floats, q: Floats) -> Floats:
    """np.cross takes ten times as long for two single vectors."""
    (a, b, c), (x, y, z) = p.tolist(), q.tolist()
    return np.array([b * z - c * y, c * x - a * z, a * y - b * x])


def great_arc_from(p: Floats, towards: Floats, angle: float) -> Arc:
    """The great-circle arc of a given length that starts at p and runs towards another point of the sphere."""
    side = towards - p * (p @ towards)
    second = _unit(side) if side @ side > 1e-18 else _across(p)
    return Arc(np.zeros(3), p, second, angle)


def great_arc(p: Floats, q: Floats) -> Arc:
    """The shortest great-circle arc from p to q."""
    normal = _cross(p, q)
    return great_arc_from(p, q, atan2(np.sqrt(normal @ normal), p @ q))


def circle(axis: Floats, cone: float, start: Floats | None = None, angle: float = 2 * pi) -> Arc:
    """The circle on the sphere at angle `cone` from `axis`, right-handed about it, from the side of `start`.

    A negative `angle` runs the other way.
    """
    first = _across(axis) if start is None else great_arc_from(axis, start, 0.0).second
    second = _cross(axis, first) * (sin(cone) if angle >= 0 else -sin(cone))
    return Arc(axis * cos(cone), first * sin(cone), second, abs(angle))
