"""How far the legs are from the edge of their reach at one orientation."""

from __future__ import annotations

from numpy.typing import ArrayLike

from .. import leg
from .._check import Floats
from ..mechanism import Mechanism, joint

__all__ = ["reach_margin"]


def reach_margin(m: Mechanism, R: ArrayLike | object) -> Floats:
    """How far each leg is from the edge of its reach at orientations R, in radians; negative: how far short.

        min(span - |alpha_1 - alpha_2|,  min(alpha_1 + alpha_2, 2 pi - alpha_1 - alpha_2) - span)

    with span = angle(u, R v). Shapes (..., 3, 3) in, (..., 3) out. The same for all working modes. ValueError for
    what is no rotation. Source: the triangle inequality of spherical trigonometry, for the triangle u, w, R v.
    """
    return leg.margin(joint(m).base_axes, m.platform_axes_at(R), m.proximal, m.distal)
