"""How far the values that a proof computes are from the exact ones: to the end, not to first order.

**Which joint, which pose.** The arcs are the numbers given. `Mechanism` lets frames and axes miss orthonormality by
some 1e-6; the joint of a proof has the nearest orthonormal frames and the axes of length 1. With `off` for the
largest entry of B^T B - I and of |v|^2 - 1, no direction of it is farther than ``4 off`` from the one given. The
orientation is exactly ``Rz(azimuth) Ry(tilt) Rz(torsion - azimuth)`` of the three numbers.

**Assumed** of the machine: +, -, x, / and sqrt of float64 are rounded to nearest (IEEE 754), so that each is off by
a part e = 2^-53 at most; NumPy's sin, cos, arctan2, arccos and hypot are within four units in the last place, 8 e.

**Directions.** A turn of a vector by a rounded angle (8 e, as it is below 16), with rounded sine and cosine (8 e)
and rounded products (3 e), is off by 19 e; the two later turns, by angles that are exact, by 11 e each; three sums
of products in the frame of the leg by 6 e, the rounding of `off` by 14 e. So R v is off by ``62 e + 4 off`` at
most.

**psi and D.** psi adds the length and the arc tangent, 30 e, and the ends of an interval of psi 9 e: ``101 e + 4
off`` in all. D of a given psi is off by 35 e (the square of two sines) + 55 e (that of the difference of cosines,
at most 1 where D > 0) + 1 e. Both are below `slack`, which is ``128 e + 16 off``. `bounds.closing_bound` widens the
interval by one slack and takes another off D. Near D = 0 is |dD / dpsi| <= 2; so a computed D below -4 slack is
truly negative.

**Motor angle.** (a, b) is off by at most ``71 e + 4 off``, c by ``81 e + 4 off``, together ``152 e + 8 off``. Along
the straight line from the computed (a, b, c) to the exact ones D changes by less than 4 slack, and theta at a rate
of at most ``(|(a, b)'| + |c'|) / sqrt(D)``: this is exact, no first term of a series. With D >= 64 slack, the root
of D is there within a part of 0.035 of its least. The formula for theta, with D rounded by 4 e (a^2 + b^2) under
the root, is off by another ``34 e / sqrt(D)``; whole turns add 20 e. All this is less than ``2 slack / sqrt(D)``.

**Normals.** w is off by sin(alpha_1) times that and ``45 e + 4 off``; w x R v by R v's ``62 e + 4 off`` and 3 e
more. The quotient by sin(alpha_2) is off by less than ``4 slack / (sqrt(D) sin(alpha_2))``, since sqrt(D) is at
most sin(alpha_1) sin(alpha_2).

**Where it counts.** `bounds` takes `DOUBT`, 16, for the 2 of a motor angle and 2 `DOUBT` for the 4 of a normal. So
each computed normal n_i is one of length 1 moved by at most ``d = 2 DOUBT slack / (sqrt(D) sin(alpha_2))``. The sum
for the determinant is off by 7 e, `across` by 4 e each, the bound on the rate of n by a part of 120 e, that on its
second derivative by 200 e: 4 slack are 512 e. In the slope g, with k = |n . u| >= sqrt(D) / sin(alpha_2) and k > 8
d, the errors are: n, w and p by d, n_j x n_k by 3 d, the triple product by 7 d, n . u by 2 d; the first term of g,
a quotient, by ``(8 d / k + 2 d / k^2) 4 / 3``, less than 14 d / k^2, the other two by 10 d: ``25 d / (k^2
sin(alpha_2))`` for each leg.

**Links.** Angles between arcs come from unit normals of the arcs, off by less than 64 e over the sine of the arc;
each link is made wider by `DOUBT` slack over that sine. A distance adds a part of 1e-13 of the largest radius, 900
e.

**Boxes.** Cutting a box rounds its centre, by 4 e or less at each of forty cuts of a side, and radius rounds too:
`CUT` is added to rho.
"""

from __future__ import annotations

import numpy as np

from ..mechanism import Mechanism

__all__ = ["CUT", "DOUBT", "LEAST", "least_allowed", "slack"]

LEAST = 1e-9
"""No discriminant and no volume below this is called proved positive: rounding, 1e-14, is small beside it."""

DOUBT = 16.0
"""A motor angle is off by at most so many slacks over the root of D; 2 would do."""

CUT = 2e-13
"""By how far boxes that were cut may miss one another, and rho its exact value, in radians; 1e-13 would do."""


def slack(m: Mechanism) -> float:
    """By how much arcs psi and discriminants of m may be off: rounding, and axes that are not quite unit."""
    gram = m.base_frames @ np.swapaxes(m.base_frames, 1, 2) - np.eye(3)
    lengths = np.einsum("li,li->l", m.platform_axes, m.platform_axes) - 1
    return float(64 * np.finfo(np.float64).eps + 16 * max(np.abs(gram).max(), np.abs(lengths).max()))


def least_allowed(m: Mechanism) -> float:
    """The least discriminant that a proof about m goes down to: `LEAST`, or more if the axes are not quite unit."""
    return max(LEAST, 64 * slack(m))
