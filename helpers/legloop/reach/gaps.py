"""How near the links come to one another and to the base: bodies of stated size on the arcs of the joint.

A link is the part of a spherical shell whose directions lie within an angle of its arc: its axis runs along the
great circle from joint to joint, its faces are spheres about the centre, its ends are round, as a boss about a joint
is. Of two such bodies the distance is exact: the least angle between directions is that between the two arcs, less
the two half-widths, and at a given angle the law of cosines gives the least distance between two intervals of radius.

Left out: links of the same leg, which share a joint (the certificate's D tells how far one is from folding upon the
other); the platform, what it carries, and cables; whatever of a link does not fit into its shell.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .._check import LONGEST, Floats, batch, finite, instance, one, place, read_only
from .._travel import Frozen
from ..closing import cross
from ..inverse import closure_error
from ..mechanism import Mechanism, joint
from ..velocity import CLOSES

__all__ = ["Clearance", "Links", "clearance", "distances", "nearest_bodies", "sized"]

_IN_METRES = "sizes are in metres: millimetres are written {:g}e-3"

_PAIRS: NDArray[np.int_] = np.array([(a, b) for a, b in combinations(range(6), 2) if a // 2 != b // 2]).T
_MOTORS: NDArray[np.int_] = np.array([(a, i) for a in range(6) for i in range(3) if a != 2 * i]).T


@dataclass(frozen=True, init=False, eq=False)
class Links(Frozen):
    """Sizes of the links and of the base, in metres; a frozen value.

    Parameters
    ----------
    radius, half_width, thickness : float, (2,) or (3, 2)
        For all links, for first and second links, or for each leg its first and second link. `radius`: from the
        centre of the joint to the middle of the link. `half_width`: from the arc to the side face, measured on the
        sphere of that radius. `thickness`: along the radius.
    motors : (3,), optional
        The base around each motor axis: nearest and farthest distance from the centre, and half-width halfway between
        them. A body like a link without length. The first link of a leg is fixed to its own motor, and not compared.
    floor : float, optional
        z of a level surface below which all is base; negative.

    Raises
    ------
    ValueError, TypeError
        A size is not finite, not positive, or too large for its radius.
    """

    radius: Floats
    half_width: Floats
    thickness: Floats
    motors: Floats | None
    floor: float | None

    def __init__(
        self,
        *,
        radius: ArrayLike,
        half_width: ArrayLike,
        thickness: ArrayLike,
        motors: ArrayLike | None = None,
        floor: float | None = None,
    ) -> None:
        sizes = {"radius": radius, "half_width": half_width, "thickness": thickness}
        for name, value in sizes.items():
            object.__setattr__(self, name, _sizes(value, name))
        for leg, link in np.argwhere(self.thickness >= 2 * self.radius).tolist():
            raise ValueError(
                f"thickness is {self.thickness[leg, link]:g} m at a radius of {self.radius[leg, link]:g} m: it "
                "reaches to the centre of the joint; it must be less than twice the radius"
            )
        _narrow(self.half_width, self.radius, "half_width")
        object.__setattr__(self, "motors", None if motors is None else _housing(motors))
        if floor is not None:
            floor = one(floor, "floor")
            if not -LONGEST <= floor < 0:
                hint = f"; {_IN_METRES.format(floor)}" if floor < 0 else ""
                raise ValueError(
                    f"floor is {floor:g} m; it must be one negative number, at least {-LONGEST:g}: z of the base "
                    f"below the centre{hint}"
                )
        object.__setattr__(self, "floor", floor)


class Clearance(NamedTuple):
    """What `clearance` gives, in metres; links count leg by leg: first of leg 1, second of leg 1, first of leg 2."""

    least: Floats
    """(...): the least of all distances below; 0 where bodies overlap."""
    links: Floats
    """(..., 6, 6): between two links; infinite for links of the same leg, which are not compared."""
    base: Floats
    """(..., 6): between a link and the base; infinite where `Links` has neither motors nor floor."""


def clearance(m: Mechanism, R: ArrayLike | object, theta: ArrayLike, links: Links) -> Clearance:
    """The least distance between links of different legs, and between links and base, as bodies of stated size.

        distance^2 = r^2 + q^2 - 2 r q cos(gamma),   gamma = max(0, angle between the arcs - half-widths)

    least over the radii r and q of the two bodies. Shapes (..., 3, 3) and (..., 3) in, theta in radians; sizes and
    results in metres. This module says what is left out. ValueError where R and theta do not close.
    """
    m, links = joint(m), sized(links)
    w, p = m.elbow_axes(theta), m.platform_axes_at(R)
    shape = batch(R=p.shape[:-2], theta=w.shape[:-2])
    miss = np.abs(closure_error(m, R, theta))
    if (miss > CLOSES).any():
        index = tuple(int(i) for i in np.argwhere((miss > CLOSES).any(axis=-1))[0]) if shape else ()
        raise ValueError(
            f"{place('orientation', index)} and its theta do not close: they miss w . R v = cos(alpha_2) by "
            f"{miss[index].max():.3g}; take theta from inverse_kinematics(m, R, mode)"
        )
    w, p = (np.broadcast_to(axes, (*shape, 3, 3)).reshape(-1, 3, 3).T for axes in (w, p))
    least, between, base = distances(m, w, p, links)
    return Clearance(least.reshape(shape)[()], between.reshape(*shape, 6, 6), base.reshape(*shape, 6))


def distances(m: Mechanism, w: Floats, p: Floats, links: Links, grown: Floats | None = None) -> Clearance:
    """The same from columns, (3, 3, n) each: xyz, then leg, of elbow axes w and platform axes p = R v; unchecked.

    With links wider to each side by the angles `grown`, (6, n), in the order of `Clearance`.
    """
    u = np.broadcast_to(m.base_axes.T[:, :, None], w.shape)
    arcs = _arcs(np.stack([u, w], axis=2).reshape(3, 6, -1), np.stack([w, p], axis=2).reshape(3, 6, -1))
    r = links.radius.reshape(6, 1)
    half = links.thickness.reshape(6, 1) / 2
    shells = np.stack([r - half, r + half])
    wide = links.half_width.reshape(6, 1) / r + (0.0 if grown is None else grown)

    a, b = _PAIRS
    gamma = _between_arcs(arcs.where(a), arcs.where(b)) - wide[a] - wide[b]
    between = np.full((w.shape[-1], 6, 6), np.inf)
    between[:, a, b] = between[:, b, a] = _between_shells(shells[:, a], shells[:, b], gamma).T

    base = np.full((w.shape[-1], 6), np.inf)
    if links.motors is not None:
        a, i = _MOTORS
        near, far, side = links.motors
        gamma = _to_arc(u[:, i], arcs.where(a)) - wide[a] - 2 * side / (near + far)
        housing = np.full((w.shape[-1], 6, 3), np.inf)
        housing[:, a, i] = _between_shells(shells[:, a], np.array([near, far])[:, None, None], gamma).T
        base = housing.min(axis=-1)
    if links.floor is not None:
        down = np.broadcast_to(np.array([0.0, 0.0, -1.0])[:, None, None], arcs.start.shape)
        steep = np.cos(np.maximum(_to_arc(down, arcs) - wide, 0.0))
        lowest = -steep * np.where(steep > 0, shells[1], shells[0])
        base = np.minimum(base, np.maximum(lowest - links.floor, 0.0).T)
    least = np.minimum(between.min(axis=(1, 2)), base.min(axis=1))
    return Clearance(np.asarray(least), between, base)


def sized(links: object) -> Links:
    """The argument `links`, which must be a `Links`."""
    return instance(links, "links", Links, "build one with Links(radius=..., ...)")


def nearest_bodies(gaps: Clearance) -> str:
    """Which two bodies are nearest, in words, of the `Clearance` of one pose."""
    names = [f"the {which} link of leg {leg}" for leg in (1, 2, 3) for which in ("first", "second")]
    if gaps.base.min() <= gaps.links.min():
        return f"{names[int(np.argmin(gaps.base))]} and the base"
    a, b = divmod(int(np.argmin(gaps.links)), 6)
    return f"{names[a]} and {names[b]}"


class _Arcs(NamedTuple):
    """Great arcs, shorter than pi: columns (3, arcs, n), xyz first."""

    start: Floats
    end: Floats
    normal: Floats
    """start x end, as a unit vector."""
    ahead: Floats
    """normal x start: an arc holds what is on the side of `ahead` and of `back`."""
    back: Floats
    """end x normal."""

    def where(self, which: NDArray[np.int_]) -> _Arcs:
        """Some of the arcs."""
        return _Arcs(*(field[:, which] for field in self))


def _arcs(start: Floats, end: Floats) -> _Arcs:
    n = cross(start, end)
    n = n / np.sqrt(_dot(n, n))
    return _Arcs(start, end, n, cross(n, start), cross(end, n))


def _to_arc(q: Floats, arc: _Arcs) -> Floats:
    """Angle from unit vectors q to the nearest point of arcs."""
    ahead, along = _dot(arc.ahead, q), _dot(arc.start, q)
    inside = (ahead >= 0) & (_dot(arc.back, q) >= 0)
    nearer = np.where(along >= _dot(arc.end, q), arc.start, arc.end)
    apart, together = q - nearer, q + nearer  # 2 atan(|q - e| / |q + e|): sharp near 0 and pi
    y = np.where(inside, np.abs(_dot(arc.normal, q)), np.sqrt(_dot(apart, apart)))
    x = np.where(inside, np.sqrt(ahead * ahead + along * along), np.sqrt(_dot(together, together)))
    return np.asarray(np.arctan2(y, x) * np.where(inside, 1.0, 2.0))


def _between_arcs(one: _Arcs, other: _Arcs) -> Floats:
    """Least angle between points of two arcs: at an end of one, or 0 where they cross."""
    ends = np.minimum(
        np.minimum(_to_arc(one.start, other), _to_arc(one.end, other)),
        np.minimum(_to_arc(other.start, one), _to_arc(other.end, one)),
    )
    # the great circles meet at `line` and its opposite; the arcs do if both hold the one, or both the other
    line = cross(one.normal, other.normal)
    sides = np.stack([_dot(side, line) for arc in (one, other) for side in (arc.ahead, arc.back)])
    crossing = (sides > 0).all(axis=0) | (sides < 0).all(axis=0)
    return np.where(crossing, 0.0, ends)


def _between_shells(one: Floats, other: Floats, gamma: Floats) -> Floats:
    """Least distance between points at radii in two intervals, (2, n) each, whose directions are gamma or more apart.

    The square of the distance is a convex function of the two radii without a least value inside: on each edge of
    the rectangle of radii the best partner of a radius is its projection, kept within the other interval.
    """
    gamma = np.clip(gamma, 0.0, np.pi)
    c = np.cos(gamma)
    edges = [(r, np.clip(r * c, *other)) for r in one] + [(np.clip(q * c, *one), q) for q in other]
    squares = [(r - q) ** 2 + 4 * r * q * np.sin(gamma / 2) ** 2 for r, q in edges]
    return np.asarray(np.sqrt(np.min(squares, axis=0)))


def _dot(a: Floats, b: Floats) -> Floats:
    """Over the first axis."""
    return np.asarray(a[0] * b[0] + a[1] * b[1] + a[2] * b[2])


def _sizes(value: ArrayLike, name: str) -> Floats:
    array = finite(value, name)
    if array.shape not in ((), (2,), (3, 2)):
        raise ValueError(f"{name} has shape {array.shape}; give a number, (2,): first and second links, or (3, 2)")
    for index in np.argwhere((array <= 0) | (array > LONGEST))[:1]:
        where = f"[{', '.join(map(str, index))}]" if array.ndim else ""
        size = array[tuple(index)]
        told = f"at most {LONGEST:g}; {_IN_METRES.format(size)}" if size > 0 else "positive"
        raise ValueError(f"{name}{where} is {size:g} m; it must be {told}")
    return read_only(np.broadcast_to(array, (3, 2)))


def _housing(value: ArrayLike) -> Floats:
    array = finite(value, "motors", 3)
    if array.shape != (3,) or not 0 < array[0] < array[1] or array[2] <= 0:
        raise ValueError(
            f"motors is {array.tolist()}; give three positive sizes in m: nearest and farthest distance from the "
            "centre, in this order, and half-width"
        )
    if array.max() > LONGEST:
        raise ValueError(f"motors is {array.tolist()} m; {_IN_METRES.format(array.max())}")
    _narrow(array[2], (array[0] + array[1]) / 2, "the half-width of motors")
    return read_only(array)


def _narrow(half_width: ArrayLike, radius: ArrayLike, name: str) -> None:
    angle = np.asarray(half_width) / np.asarray(radius)
    if (angle >= np.pi / 2).any():
        index = np.unravel_index(int(angle.argmax()), angle.shape)
        raise ValueError(
            f"{name} is {np.asarray(half_width)[index]:g} m, {angle[index]:.3g} of its radius: a right angle or more "
            "seen from the centre. A body that wide is no link: give both in metres, as 5e-3 and 60e-3"
        )
