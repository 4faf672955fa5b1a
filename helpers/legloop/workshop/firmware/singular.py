"""How near to a singular pose the C may come: two floors, V as Python has it, and what V can do between two ticks.

V is the determinant of the unit normals ``n_i = w_i x R v_i / sin(alpha_2)``, legs in our order: 0 at type 2, never
above 1 in size. Three facts about it, for the comments of the header:

- With sigma the singular values of the three rows, ``sigma_1^2 + sigma_2^2 + sigma_3^2 = 3``, so the largest two have
  a product of at most 3/2 and the least is at least ``|V| / 1.5``. The platform turns by at most ``1.5 / |V|`` times
  the root of the sum of squares of what the legs miss, as angles across the second links.
- ``w_i x R v_i`` keeps its length and moves at most as fast as ``sin(alpha_1) |theta_dot_i| + |omega|``. So where
  platform and motors each go along paths of length x, V changes by at most
  ``x sum((1 + sin(alpha_1)) / sin(alpha_2))``.
- Rounding in the C, in units of u = eps / 2: 6 in each coordinate of w, 4 in p, 14 in their product, so 24 in the
  normal as a vector; the determinant adds 30 of its own: ``u (72 / min(sin(alpha_2)) + 30)``.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..._check import Floats, one
from ...mechanism import Mechanism, deg
from ...velocity import singularity

__all__ = ["Floors", "floors_of", "unit_volume"]

LEAST_FLOOR = 0.01
"""A smaller least V would be no caution: there the platform turns by 150 times what the legs miss."""


@dataclass(frozen=True)
class Floors:
    """The least that a pose must have to be solved."""

    elbow: float
    """In radians from folded or stretched; 0: any leg that closes."""
    volume: float
    """Of |V|."""

    def least_discriminant(self, m: Mechanism) -> Floats:
        """(3,): ``D = (sin(alpha_1) sin(alpha_2) sin(elbow))^2``, legs in our order."""
        return np.asarray((np.sin(m.proximal) * np.sin(m.distal) * np.sin(self.elbow)) ** 2)

    @property
    def play(self) -> float:
        """Most that the platform turns, over what the legs miss."""
        return 1.5 / self.volume

    def tick(self, m: Mechanism, eps: float) -> float:
        """Paths of platform and motors in a tick, in radians, in which V cannot change its sign and change back."""
        rate = float(((1 + np.sin(m.proximal)) / np.sin(m.distal)).sum())
        return 2 * (self.volume - rounding(m, eps)) / rate


def rounding(m: Mechanism, eps: float) -> float:
    """By how much V from the C may differ from V of the angles that it gives."""
    return float(eps / 2 * (72 / np.sin(m.distal).min() + 30))


def volume_error(m: Mechanism, eps: float, angle: float) -> float:
    """The same from V of the exact angles, where the C misses each by at most `angle`."""
    return rounding(m, eps) + float((np.sin(m.proximal) / np.sin(m.distal)).sum()) * angle


def unit_volume(m: Mechanism, R: Floats, theta: Floats) -> Floats:
    """V, (n,), at orientations (n, 3, 3) and motor angles (n, 3) of ours; NaN where an angle is."""
    known = np.isfinite(theta).all(axis=1)
    volume = np.full(len(theta), np.nan)
    volume[known] = singularity(m, R[known], theta[known]).volume
    return volume


def floors_of(least_elbow: object, least_volume: object) -> Floors:
    """The arguments of `write_header`, checked."""
    elbow, volume = one(least_elbow, "least_elbow"), one(least_volume, "least_volume")
    if not 0 <= elbow <= 45 * deg:
        raise ValueError(
            f"least_elbow is {elbow:g} rad; it must be in [0, 45*deg], and a few degrees are usual: write 2*deg"
        )
    if not LEAST_FLOOR <= volume < 1:
        raise ValueError(
            f"least_volume is {volume:g}; it must be in [{LEAST_FLOOR:g}, 1), 0.05 for instance: it is the least "
            "size of the determinant of the unit normals, which is 0 where the platform goes limp and 1 at best"
        )
    return Floors(elbow, volume)
