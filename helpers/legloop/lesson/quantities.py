"""What a pose is worth: reach margin, dexterity, motor travel and clearance, with the scales that maps use."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from .._check import Floats, choice, rotations
from ..inverse import inverse_kinematics
from ..mechanism import Mechanism, deg
from ..reach import Links, clearance, reach_margin
from ..reach.gaps import sized
from ..velocity import dexterity
from .picture import number

__all__ = ["QUANTITIES", "Quantity", "map_values"]


class Quantity(NamedTuple):
    """What a map can show."""

    name: str
    unit: str
    factor: float
    """From the unit of the functions to the unit of the label."""
    edges: tuple[int | float, ...]
    """Lower end of each level but the lowest, in the unit of the label."""
    decimals: int

    def text(self, value: float) -> str:
        """A value with its unit; NaN is told as a leg that does not close."""
        return "does not close" if np.isnan(value) else number(value * self.factor, self.decimals) + self.unit


QUANTITIES = {
    "margin": Quantity("reach margin", "°", 1 / deg, (5, 10, 20, 30, 40, 50), 1),
    "dexterity": Quantity("dexterity", "", 1.0, (0.1, 0.2, 0.3, 0.4, 0.5, 0.7), 2),
    "travel": Quantity("motor travel", "°", 1 / deg, (15, 30, 45, 60, 90, 120), 1),
    "clearance": Quantity("clearance", " mm", 1e3, (1, 2, 5, 10, 15, 20), 1),
}
"""By key: the least reach margin of the legs; dexterity; how far the busiest motor stands from its home angle; the
least distance between links, and between links and base."""


def map_values(
    m: Mechanism,
    quantity: str,
    R: ArrayLike | object,
    *,
    mode: ArrayLike = (1, 1, 1),
    links: Links | None = None,
) -> Floats:
    """A quantity of `QUANTITIES` at orientations R, (..., 3, 3) to (...), in radians, metres or without a unit.

    NaN where a leg does not close. Travel is counted the short way round, and is NaN everywhere if the joint does
    not close at home. ValueError for an unknown quantity, and for "clearance" without `links`.
    """
    choice(quantity, "quantity", tuple(QUANTITIES))
    if links is not None:
        sized(links)
    turns = rotations(R)
    theta = inverse_kinematics(m, turns, mode, unreachable="nan")
    closes = np.isfinite(theta).all(axis=-1)
    if quantity == "margin":
        return np.where(closes, reach_margin(m, turns).min(axis=-1), np.nan)
    if quantity == "travel":
        home = inverse_kinematics(m, np.eye(3), mode, unreachable="nan")
        return np.asarray(np.abs(np.angle(np.exp(1j * (theta - home)))).max(axis=-1))
    values = np.full(closes.shape, np.nan)
    poses = turns[closes], theta[closes]
    if quantity == "dexterity":
        values[closes] = dexterity(m, *poses)
    elif links is None:
        raise ValueError("clearance needs links=Links(radius=..., half_width=..., thickness=...)")
    else:
        values[closes] = clearance(m, *poses, links).least
    return values
