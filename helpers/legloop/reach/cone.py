"""Sets of orientations given by tilt, azimuth and torsion, cut into boxes, and how far apart those of a box are.

Boxes are columns, n side by side: centres (3, n) and half-widths (3, n), rows tilt, azimuth, torsion, in radians.

Along a path ``R = Rz(azimuth) Ry(tilt) Rz(torsion - azimuth)`` the platform turns at

    omega = tilt' e + torsion' p + azimuth' (z - p)

with p = R z the pointing axis and e the unit vector about which it tips, perpendicular to z and p. Also
|z - p| = k = 2 sin(tilt / 2), and p . (z - p) = -k^2 / 2. So

    |omega|^2 = tilt'^2 + torsion'^2 + k^2 azimuth'^2 - k^2 torsion' azimuth'

From the centre of a box straight to any of its points, each rate is at most the half-width h and k is largest at the
largest tilt. No turn is longer than the path that makes it, and so no orientation of the box is farther from the
centre than

    rho = sqrt(h_tilt^2 + h_torsion^2 + k^2 (h_azimuth^2 + h_azimuth h_torsion))
"""

from __future__ import annotations

from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .._check import Floats

__all__ = ["Boxes", "axes_at", "cone", "halves", "radius", "samples"]

_PLACES = np.array(list(product((-1.0, 0.0, 1.0), repeat=3))).T[:, :, None]  # corners, edges, faces, centre of a box


class Boxes(NamedTuple):
    """Boxes in tilt, azimuth and torsion."""

    centre: Floats
    half: Floats

    def where(self, mask: NDArray[np.bool_] | NDArray[np.intp] | slice) -> Boxes:
        """Some of the boxes."""
        return Boxes(self.centre[:, mask], self.half[:, mask])

    def ends(self) -> Floats:
        """Lowest and highest tilt, azimuth and torsion, (3, n, 2)."""
        return np.stack([self.centre - self.half, self.centre + self.half], axis=-1)


def cone(tilt: float, low: float, high: float) -> Boxes:
    """The set tilt <= `tilt`, any azimuth, torsion from `low` to `high`, in four boxes of a quarter turn."""
    azimuths = np.pi / 4 * np.array([-3.0, -1.0, 1.0, 3.0])
    centre, half = (tilt / 2, (low + high) / 2), (tilt / 2, (high - low) / 2)
    return Boxes(
        np.stack([np.full(4, centre[0]), azimuths, np.full(4, centre[1])]),
        np.stack([np.full(4, half[0]), np.full(4, np.pi / 4), np.full(4, half[1])]),
    )


def _shares(boxes: Boxes) -> Floats:
    """How far each half-width turns the platform, (3, n)."""
    tilt, azimuth, torsion = boxes.half
    return np.stack([tilt, 2 * np.sin(np.minimum(boxes.centre[0] + tilt, np.pi) / 2) * azimuth, torsion])


def radius(boxes: Boxes) -> Floats:
    """The rho of each box, (n,): no orientation in it is farther than that from the one at its centre."""
    tilt, azimuth, torsion = _shares(boxes)
    k = 2 * np.sin(np.minimum(boxes.centre[0] + boxes.half[0], np.pi) / 2)
    return np.asarray(np.sqrt(tilt * tilt + torsion * torsion + azimuth * (azimuth + k * torsion)))


def halves(boxes: Boxes) -> Boxes:
    """Each box cut in two across the side that turns the platform most: all first halves, then all second ones."""
    side = np.argmax(_shares(boxes), axis=0)
    step = np.where(np.arange(3)[:, None] == side, boxes.half / 2, 0.0)
    half = boxes.half - step
    return Boxes(np.hstack([boxes.centre - step, boxes.centre + step]), np.hstack([half, half]))


def samples(boxes: Boxes) -> Floats:
    """Centre, corners, middles of edges and faces of each box, (3, 27 n): each place in turn, for all boxes."""
    return np.asarray((boxes.centre[:, None] + boxes.half[:, None] * _PLACES).reshape(3, -1))


def axes_at(points: Floats, platform_axes: Floats) -> Floats:
    """Platform axes R v, (3, 3, n): xyz, then leg, at points (3, n) of tilt, azimuth, torsion.

    The three turns of `rotation.from_tilt_torsion`, made on the axes themselves: no matrices to fill and multiply.
    """
    tilt, azimuth, torsion = points
    x, y, z = platform_axes.T[:, :, None]
    c, s = np.cos(torsion - azimuth), np.sin(torsion - azimuth)
    x, y = c * x - s * y, s * x + c * y
    c, s = np.cos(tilt), np.sin(tilt)
    x, z = c * x + s * z, c * z - s * x
    c, s = np.cos(azimuth), np.sin(azimuth)
    return np.stack([c * x - s * y, s * x + c * y, z])
