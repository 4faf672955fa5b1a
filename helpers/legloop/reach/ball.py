"""What holds near an orientation: bounds over all orientations within a given turn of it, for proofs along a path.

With the unit normals n_i, D_i the discriminants, l_i = n_i . u_i = s sqrt(D_i) / sin(alpha_2) and V = det(n_i), the
columns of J are ``(n_j x n_k) l_i / V`` and the rows of its inverse ``n_i / l_i``. So

    |J|^2 = sum |n_j x n_k|^2 l_i^2 / V^2,    |J^-1|^2 = sum 1 / l_i^2,    evenness = 3 / (|J| |J^-1|)

Over the ball each factor is bounded by itself (`bounds`): n_i moves by at most d_i, so n_j x n_k moves by at most
d_j + d_k + d_j d_k; D lies between its least and its greatest value for the angles that psi can take.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .. import closing, leg
from .._check import Floats
from ..mechanism import Mechanism
from . import bounds
from .rounding import CUT, least_allowed

__all__ = ["Ball", "ball"]

_ROUNDED = 1e-12  # relative: the last products and roots of a bound are off by some 1e-15 each
_SIGNS = np.array([[1, 1, 1], [1, 1, -1], [1, -1, 1], [1, -1, -1]]).T


class Ball(NamedTuple):
    """Values at the centres of n balls, and what they are at least, or at most, all over each ball."""

    margin: Floats
    """(3, n) rad: `reach_margin`."""
    least_margin: Floats
    volume: Floats
    """(n,): V, with its sign; NaN where a leg does not close."""
    least_volume: Floats
    """(n,): of |V|. Where it is positive, V has one sign in the ball. 0 where nothing is known."""
    evenness: Floats
    """(n,): 3 / (|J| |J^-1|)."""
    least_evenness: Floats
    gain: Floats
    """(n,): how far the platform turns, at most, when each motor moves by 1 at most: max |J e|, e of +1 and -1."""
    most_gain: Floats
    """(n,); inf where nothing is known."""


def ball(m: Mechanism, mode: NDArray[np.int_], R: Floats, rho: Floats) -> Ball:
    """Bounds over the orientations within rho (n,), in radians, of R (n, 3, 3), in a working mode (3,); unchecked."""
    rho = rho + CUT  # R is a product of rounded turns
    p = closing.platform(m, closing.to_columns(R))
    arc = bounds.span(m, p)
    nearest, farthest = (limit[:, None] for limit in leg.reach_limits(m.proximal, m.distal))
    margin = np.minimum(arc - nearest, farthest - arc)
    low = bounds.closing_bound(m, arc, rho)
    known = (low >= least_allowed(m)).all(axis=0)
    low = np.where(known, low, 1.0)
    at = bounds.pose(m, p, mode.astype(np.float64))
    d = bounds.normal_bound(m, low, rho)
    s2 = np.sin(m.distal)[:, None]
    link = np.sqrt(np.maximum(bounds.discriminants(m, arc), 0.0)) / s2
    links = np.sqrt(low) / s2, np.sqrt(_greatest(m, arc, rho)) / s2
    volume = np.abs(at.volume)
    least = np.where(known, np.maximum(bounds.volume_bound(m, at, low, rho), 0.0), 0.0)
    turned = d[[1, 2, 0]] + d[[2, 0, 1]] + d[[1, 2, 0]] * d[[2, 0, 1]]
    with np.errstate(divide="ignore", invalid="ignore"):
        columns = at.pairs * link / volume
        gain = np.sqrt((np.einsum("iln,lk->ikn", columns, _SIGNS) ** 2).sum(axis=0)).max(axis=0)
        even = 3 * volume / np.sqrt(((at.across * link) ** 2).sum(axis=0) * (1 / link**2).sum(axis=0))
        wide = np.minimum(at.across + turned, 1.0)
        least_even = 3 * least / np.sqrt(((wide * links[1]) ** 2).sum(axis=0) * (1 / links[0] ** 2).sum(axis=0))
        apart = np.maximum(links[1] - link, link - links[0])
        more = (turned * links[1] + at.across * apart + at.across * link * (volume - least) / volume) / least
        most = np.where(least > 0, gain + more.sum(axis=0), np.inf)
    return Ball(
        margin,
        margin - rho - bounds.slack(m),
        at.volume,
        least,
        even,
        least_even * (1 - _ROUNDED),
        gain,
        most * (1 + _ROUNDED),
    )


def _greatest(m: Mechanism, arc: Floats, rho: Floats) -> Floats:
    """The greatest D of each leg over balls whose centres have psi = `arc`, (3, n)."""
    reach = rho + bounds.slack(m)
    crest = np.arccos(np.cos(m.proximal) * np.cos(m.distal))[:, None]
    return np.maximum(bounds.discriminants(m, np.clip(crest, arc - reach, arc + reach)), 0.0) + bounds.slack(m)
