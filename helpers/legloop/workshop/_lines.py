"""Nine bearing axes as lines in space: their common centre, the side that each bearing sits on, what is wrong."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .._check import Floats, finite
from ..leg import arc_between
from ..mechanism import deg

__all__ = ["KINDS", "Lines", "line_name", "read_lines"]

KINDS = ("motor", "elbow", "platform")

PARALLEL = 1 * deg
"""Two axes of one leg closer than this are no link that anybody builds, but one line entered twice."""

SAME = 1e-6
"""Lines that differ by less, in radians and in parts of the joint's size, are the same line: CAD exports have six
decimals."""

FAR = 20.0
"""Bearings of one joint lie at distances from the centre that differ by a factor of 3 or so; by a factor of 20,
they are in different units, or the point is not at the bearing."""

LARGEST = 1e9
"""A thousand kilometres in millimetres: beyond it a slip, and a danger to the digits of what is small."""

_MOTOR_AXIS = "with a belt: the axle of the first link's pulley, not the motor's shaft, which misses the centre"

UNITS = {1000.0: "millimetres among metres", 25.4: "millimetres among inches", 10.0: "millimetres among centimetres"}


class Lines(NamedTuple):
    """Lines that nearly meet. Every array begins with leg and kind, (3, 3, ...).

    outward : (3, 3, 3), unit, from the centre towards the bearing. miss : (3, 3), distance of the line from the
    centre. size : median distance of the given points from the centre.
    """

    outward: Floats
    centre: Floats
    miss: Floats
    size: float


def line_name(index: tuple[int, int]) -> str:
    """(1, 0) is 'leg 2, motor axis'."""
    return f"leg {index[0] + 1}, {KINDS[index[1]]} axis"


def read_lines(points: ArrayLike, directions: ArrayLike, tolerance: float) -> Lines:
    """Check nine lines, find the point nearest to all, and turn each direction outwards; ValueError as it fails."""
    p, d = _nine(points, "points"), _unit(_nine(directions, "directions"))
    for leg, kind in np.argwhere(np.abs(p).max(axis=-1) > LARGEST).tolist():
        raise ValueError(
            f"points[{leg}, {kind}] ({line_name((leg, kind))}) is {p[leg, kind].tolist()}; coordinates are at most "
            f"{LARGEST:g} in size, in whatever unit: take a larger unit, or an origin near the joint"
        )
    _no_line_twice_in_a_leg(d)
    centre, miss, size = _fit(p, d)
    if not miss.max() <= tolerance * size:
        raise _not_meeting(p, d, tolerance)
    along = np.einsum("lki,lki->lk", p - centre, d)
    _at_the_bearings(np.abs(along), size)
    outward = d * np.sign(along)[..., None]
    _no_line_twice(p, outward, size)
    return Lines(outward, centre, miss, size)


def _nine(value: ArrayLike, name: str) -> Floats:
    try:
        array = finite(value, name)
    except ValueError as error:
        if "regular" not in str(error):
            raise
        array = np.empty((0,))  # rows of unequal length: a point or a line is missing
    if array.shape != (3, 3, 3):
        lines = array.size // 3
        count = f"that is {lines} lines where nine are needed; " if array.size and lines != 9 else ""
        shape = f"has shape {array.shape}" if array.size else "has rows of unequal length"
        raise ValueError(
            f"{name} {shape}; {count}its shape must be (3, 3, 3): for each of the three legs its motor, elbow and "
            "platform axis, in this order, and for each of them x, y, z"
        )
    return array


def _unit(d: Floats) -> Floats:
    largest = np.abs(d).max(axis=-1)
    for leg, kind in np.argwhere(largest < 1e-9).tolist():
        raise ValueError(
            f"directions[{leg}, {kind}] ({line_name((leg, kind))}) is {d[leg, kind].tolist()}: no direction; give "
            "any vector along the axis, for instance the difference of two different points on it"
        )
    d = d / largest[..., None]  # first, so that no square overflows
    return np.asarray(d / np.linalg.norm(d, axis=-1, keepdims=True))


def _no_line_twice_in_a_leg(d: Floats) -> None:
    for leg in range(3):
        for one, other in ((0, 1), (1, 2)):
            apart = float(arc_between(d[leg, one], d[leg, other]))
            if min(apart, np.pi - apart) < PARALLEL:
                raise ValueError(
                    f"leg {leg + 1}: its {KINDS[one]} axis and its {KINDS[other]} axis are parallel to within "
                    f"{min(apart, np.pi - apart) / deg:.2g}°, so the link between them would have no arc; was one "
                    "line entered twice?"
                )


def _no_line_twice(p: Floats, outward: Floats, size: float) -> None:
    """Motor axes of several legs may be one line (the coaxial joint); no other two bearings may."""
    every = [(leg, kind) for leg in range(3) for kind in range(3)]
    for n, one in enumerate(every):
        for other in every[n + 1 :]:
            one_line = float(arc_between(outward[one], outward[other])) < SAME
            one_point = float(np.linalg.norm(p[one] - p[other])) < SAME * size
            if one_line and one[1] == other[1] and one[1] > 0:
                raise ValueError(
                    f"{line_name(one)} and {line_name(other)} are the same line; was one entered twice? Only motor "
                    "axes may coincide, as those of a coaxial joint do"
                )
            if one_line and one_point and one[1] != other[1]:
                raise ValueError(
                    f"{line_name(one)} and {line_name(other)} have the same line and the same point: two bearings "
                    "cannot be in one place; was one entered twice?"
                )


def _at_the_bearings(along: Floats, size: float) -> None:
    for leg, kind in np.argwhere(along < size / FAR).tolist():
        raise ValueError(
            f"points[{leg}, {kind}] ({line_name((leg, kind))}) lies only {along[leg, kind]:.4g} from the centre "
            f"along its axis, where others lie about {size:.4g} away: so near it does not tell on which side the "
            "bearing sits; give a point at the bearing itself, in the same unit as the others"
        )
    for leg, kind in np.argwhere(along > size * FAR).tolist():
        raise ValueError(
            f"points[{leg}, {kind}] ({line_name((leg, kind))}) lies {along[leg, kind]:.4g} from the centre, where "
            f"others lie about {size:.4g} away: are the units mixed? give all points in one unit"
        )


def _centre(p: Floats, d: Floats) -> Floats:
    """The point with the least sum of squared distances from the lines, (..., 3) points and unit directions.

    ``sum_k (I - d_k d_k^T) (c - p_k) = 0``, solved about the middle of the points and in parts of their spread, so
    that a faraway origin or a large unit costs no digits.
    """
    p, d = p.reshape(-1, 3), d.reshape(-1, 3)
    middle = p.mean(axis=0)
    spread = float(np.abs(p - middle).max()) or 1.0
    across = np.eye(3) - d[:, :, None] * d[:, None, :]
    right = np.einsum("kij,kj->i", across, (p - middle) / spread)
    return np.asarray(middle + spread * np.linalg.lstsq(across.sum(axis=0), right, rcond=None)[0])


def _fit(p: Floats, d: Floats) -> tuple[Floats, Floats, float]:
    """The best common centre of lines, by how much each misses it, and how far their points lie from it (median)."""
    centre = _centre(p, d)
    return centre, _distance(p, d, centre), float(np.median(np.linalg.norm(p - centre, axis=-1)))


def _distance(p: Floats, d: Floats, centre: Floats) -> Floats:
    return np.asarray(np.linalg.norm(np.cross(p - centre, d), axis=-1))


def _suspects() -> Iterator[tuple[NDArray[np.bool_], str]]:
    """Which lines may be to blame together, (3, 3) of True, and their name: one line, a leg, all of a kind."""
    for leg in range(3):
        for kind in range(3):
            mask = np.zeros((3, 3), dtype=bool)
            mask[leg, kind] = True
            yield mask, line_name((leg, kind))
    for leg in range(3):
        yield np.repeat(np.arange(3) == leg, 3).reshape(3, 3), f"leg {leg + 1}, all its lines"
    for kind in range(3):
        yield np.tile(np.arange(3) == kind, (3, 1)), f"all three {KINDS[kind]} axes"


def _not_meeting(p: Floats, d: Floats, tolerance: float) -> ValueError:
    """The error for lines without a common centre: which to blame, by how much it misses, and the likely cause."""
    culprits = []
    for mask, name in _suspects():
        centre, miss, size = _fit(p[~mask], d[~mask])
        if miss.max() <= tolerance * size:
            culprits.append((int(mask.sum()), float(miss.max()), mask, name))
    if not culprits:
        centre, miss, size = _fit(p, d)
        leg, kind = (int(i) for i in np.unravel_index(int(miss.argmax()), (3, 3)))
        return ValueError(
            f"the nine lines do not meet: {line_name((leg, kind))} misses the best common centre by "
            f"{miss.max():.4g}, {100 * miss.max() / size:.3g} % of the distance of the bearings, and no single line, "
            f"leg or kind of axis explains it ({100 * tolerance:.3g} % are let pass): check that points and "
            "directions belong together, and that all are in one frame and one unit"
        )
    _, rest, mask, name = min(culprits, key=lambda culprit: culprit[:2])  # fewest lines, then the best rest
    centre, _, size = _fit(p[~mask], d[~mask])
    off = float(_distance(p[mask], d[mask], centre).max())
    cause = "check that point and direction belong together, and were taken from the right feature"
    if mask[:, 0].any() and not mask[:, 1:].any():
        cause += f" ({_MOTOR_AXIS})"
    for factor, units in UNITS.items():
        for scale in (factor, 1 / factor):
            if _distance(p[mask] * scale, d[mask], centre).max() <= tolerance * size:
                cause = f"with points times {scale:.4g} it would fit, so units are mixed ({units}?): use one for all"
    return ValueError(
        f"the nine lines do not meet. Off by {off:.4g}: {name}; the others meet in {np.round(centre, 4).tolist()} to "
        f"{rest:.2g}. That is {100 * off / size:.3g} % of the distance of the bearings, {size:.4g}, and "
        f"{100 * tolerance:.3g} % are let pass; {cause}"
    )
