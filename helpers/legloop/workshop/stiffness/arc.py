"""How much the tip of one link gives: a beam along a circular arc, clamped at its root, by Castigliano's theorem.

The frame of the tip: x outwards along the radius, y along the arc's travel from root to tip, z across the plane of
the arc, x × y. A wrench is (force, moment), a twist (translation, rotation): translations first, in N, N·m, m, rad.

The model: small deflections; linear material; a thin beam, so that bending follows the formula of a straight one. For
a quarter ring pulled along the radius the theory of elasticity adds (3/20) (width/radius)² to bending in the plane,
0.6 % where the width is a fifth of the radius (Timoshenko, Goodier, Theory of Elasticity, from memory). A tip load is
the only load. The root is a perfect clamp; screws, inserts, glue and the softness of a hub come on top.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..._check import LONGEST, Floats, batch, finite, flag, instance, place
from .section import Section

__all__ = ["MODES", "arc_compliance", "arc_modes"]

MODES = ("bending in the plane", "bending across", "torsion", "stretch", "shear")
"""The ways in which a link takes up energy, in the order of `arc_modes`."""

# Gauss's rule on (0, 1). The integrands are trigonometric sums of degree 2 over one turn at most; 24 nodes have them
# to the last digit, and all that is added is of one sign where it matters, so that short arcs lose no digits either.
_NODES, _WEIGHTS = (0.5 * part for part in np.polynomial.legendre.leggauss(24))
_NODES = _NODES + 0.5


def arc_compliance(radius: ArrayLike, arc: ArrayLike, section: Section, *, include_shear: bool = True) -> Floats:
    """Compliance of the tip of an arc that is clamped at its root: ``twist = C wrench``, (..., 6, 6), tip frame.

        C = integral over the arc of H^T c H radius dphi,    c = diag(1/(k_in G A), 1/(E A), 1/(k_out G A),
                                                                      1/(E I_out), 1/(G J), 1/(E I_in))

    H gives, from a wrench at the tip, shear, pull and shear, bending across, torsion and bending in the plane of the
    section at the angle phi behind the tip (Castigliano: the energy's slope by a load is the deflection under it).
    The integral is by Gauss's rule, exact to rounding.

    Parameters
    ----------
    radius : (...)
        Of the middle line of the link, in m.
    arc : (...)
        In radians, in (0, 2 pi].
    section : Section
        The same all along.
    include_shear : bool
        Whether shear is counted; without it the beam is that of Euler and Bernoulli.

    Raises
    ------
    ValueError, TypeError
        Numbers out of range or in another unit, a section that reaches past the centre of the arc, no Section.

    Source: Timoshenko, Strength of Materials, 1955 (from memory).
    """
    modes, shear = arc_modes(radius, arc, section), flag(include_shear, "include_shear")
    return np.asarray(modes.sum(axis=-3) if shear else modes[..., :-1, :, :].sum(axis=-3))


def arc_modes(radius: ArrayLike, arc: ArrayLike, section: Section) -> Floats:
    """The summands of `arc_compliance` by the way in which the link takes up energy, (..., 5, 6, 6): `MODES`.

    Radius in m and arc in radians, (...) each; errors as there.
    """
    r, turn = _checked(radius, arc, section)
    phi = turn[..., None] * _NODES
    sine, cosine, rise = np.sin(phi), np.cos(phi), 2 * np.sin(phi / 2) ** 2  # rise = 1 - cos, without cancelling
    arm, lift = r[..., None] * sine, r[..., None] * rise
    row = np.zeros((*phi.shape, 6, 6))  # loads of the section, from Fx, Fy, Fz, Mx, My, Mz at the tip
    row[..., 0, 0], row[..., 0, 1] = cosine, -sine  # shear along the radius
    row[..., 1, 0], row[..., 1, 1] = sine, cosine  # pull
    row[..., 2, 2] = 1.0  # shear across
    row[..., 3, 2], row[..., 3, 3], row[..., 3, 4] = arm, cosine, -sine  # bending across
    row[..., 4, 2], row[..., 4, 3], row[..., 4, 4] = lift, sine, cosine  # torsion
    row[..., 5, 0], row[..., 5, 1], row[..., 5, 5] = -arm, lift, 1.0  # bending in the plane
    s = section
    shear = s.G * s.A
    stiff = [s.shear_in * shear, s.E * s.A, s.shear_out * shear, s.E * s.I_out, s.G * s.J, s.E * s.I_in]
    length = (r * turn)[..., None, None, None]
    energy = np.einsum("q,...qkm,...qkn->...kmn", _WEIGHTS, row, row) * length / np.array(stiff)[:, None, None]
    return np.stack([energy[..., k, :, :] for k in (5, 3, 4, 1)] + [energy[..., (0, 2), :, :].sum(axis=-3)], axis=-3)


def _checked(radius: ArrayLike, arc: ArrayLike, section: Section) -> tuple[Floats, Floats]:
    instance(section, "section", Section, "make one with Section.rectangle(width, height, E=..., nu=...)")
    r, turn = finite(radius, "radius"), finite(arc, "arc")
    bad = ~((r > 0) & (r <= LONGEST))
    if bad.any():
        index = tuple(int(i) for i in np.argwhere(bad)[0])
        raise ValueError(
            f"{place('radius', index)} is {r[index]:g} m; it must lie in (0, {LONGEST:g}]; "
            "millimetres are written 75e-3, or 75*mm"
        )
    bad = ~((turn > 0) & (turn <= 2 * np.pi))
    if bad.any():
        index = tuple(int(i) for i in np.argwhere(bad)[0])
        raise ValueError(
            f"{place('arc', index)} is {turn[index]:g} rad; it must lie in (0, 2 pi]; degrees are written 60*deg"
        )
    across = next((value for name, value in section.sizes if name in ("width", "outer")), 0.0)
    if (r <= across / 2).any():
        raise ValueError(
            f"the section is {across:g} m wide and the radius {r.min():g} m: it reaches past the centre of the arc; "
            "the radius is that of the middle line, and should be five times the width or more"
        )
    batch(radius=r.shape, arc=turn.shape)
    return np.broadcast_arrays(r, turn)[0], np.broadcast_arrays(r, turn)[1]
