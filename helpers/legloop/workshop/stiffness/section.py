"""The cross section of a link: what it is made of, and how it resists bending, twisting, stretching and shear."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from ..._check import one, shown
from ._positive import positive

__all__ = ["Section"]

SOFTEST = 1e4
"""Pa. Below the modulus of a soft foam, a number is in another unit."""

LARGEST = 1.0
"""m. No link of such a joint is a metre across: the number is in millimetres. (A, I_in, I_out and J of a section of
numbers have no such bound: a part that is to be rigid is written as one a million times as thick.)"""

ODD_ZETA_5 = 31 / 32 * 1.0369277551433699
"""Sum of 1/n^5 over odd n, from the Riemann zeta function: ``(1 - 2^-5) zeta(5)``."""


@dataclass(frozen=True, kw_only=True)
class Section:
    """A cross section of one material, in the frame of an arc: "in" the plane of the arc and "out" of it, across.

    Linear, isotropic, the same along the link. A print is none of this exactly: it is softer across its layers than
    along them, it creeps under a steady load, and a hollow filling carries less than its outline says. So E belongs
    to a bar printed as the link is, bent in the same direction; see the lesson.

    Parameters
    ----------
    E, G : float
        Young's modulus and shear modulus in Pa: ``2.4e9``, not 2.4.
    A : float
        Area in m².
    I_in, I_out : float
        Second moments of area in m⁴: for bending in the plane of the arc (its radius of curvature changes), and for
        bending across it (out of that plane).
    J : float
        Torsion constant in m⁴. It is I_in + I_out only for a round section; anything else twists more easily.
    shear_in, shear_out : float
        Part of the area that carries a shear force in the plane and across it, in (0, 1]. 5/6 is that of a rectangle.

    Raises
    ------
    ValueError, TypeError
        A number is missing, not finite, not above zero or in the wrong unit; with the repair.
    """

    E: float
    G: float
    A: float
    I_in: float
    I_out: float
    J: float
    shear_in: float = 5 / 6
    shear_out: float = 5 / 6
    sizes: tuple[tuple[str, float], ...] = field(init=False, default=())
    """The measures that `rectangle` and `tube` were called with, by name, in m; empty for a section of numbers."""

    def __post_init__(self) -> None:
        for name in ("E", "G"):
            object.__setattr__(self, name, _modulus(getattr(self, name), name))
        for name, unit in {"A": "m²", "I_in": "m⁴", "I_out": "m⁴", "J": "m⁴"}.items():
            object.__setattr__(self, name, positive(getattr(self, name), name, unit))
        for name in ("shear_in", "shear_out"):
            value = positive(
                getattr(self, name), name, "", most=1.0, hint="it is a part of the area, 5/6 for a rectangle"
            )
            object.__setattr__(self, name, value)

    @classmethod
    def rectangle(cls, width: float, height: float, *, E: float, nu: float) -> Section:
        """A full rectangle; `width` in the plane of the arc, along the radius, `height` across that plane.

            A = w h,   I_in = h w^3 / 12,   I_out = w h^3 / 12,   shear 5/6
            J = (a b^3 / 3) [1 - (192 b / (pi^5 a)) sum over odd n of tanh(n pi a / 2 b) / n^5],   a >= b

        w, h in m; E in Pa; nu in (-1, 1/2], with G = E / (2 (1 + nu)). J by Saint-Venant's series, to rounding.
        Source: Timoshenko, Goodier, Theory of Elasticity (from memory).
        """
        w, h = _size(width, "width"), _size(height, "height")
        a, b = max(w, h), min(w, h)
        # tanh x = 1 - 2 / (e^2x + 1): the ones are summed in closed form, and n = 11 adds less than 1e-15 of the rest
        rest = sum(2 / (n**5 * (math.exp(min(n * math.pi * a / b, 700.0)) + 1)) for n in range(1, 12, 2))
        J = a * b**3 / 3 * (1 - 192 * b / (math.pi**5 * a) * (ODD_ZETA_5 - rest))
        section = cls(E=E, G=_shear_modulus(E, nu), A=w * h, I_in=h * w**3 / 12, I_out=w * h**3 / 12, J=J)
        return section._of_sizes(width=w, height=h)

    @classmethod
    def tube(cls, outer: float, inner: float, *, E: float, nu: float) -> Section:
        """A round tube of outer and inner diameter in m; inner 0 is a rod.

            A = pi (D^2 - d^2) / 4,   I = pi (D^4 - d^4) / 64 both ways,   J = 2 I,   m = d / D
            shear = 6 (1 + nu) (1 + m^2)^2 / ((7 + 6 nu) (1 + m^2)^2 + (20 + 12 nu) m^2)

        E in Pa; nu in (-1, 1/2]. Source of the shear factor: Cowper, J. Appl. Mech. 33, 1966 (from memory).
        """
        D, d = _size(outer, "outer"), _size(inner, "inner") if one(inner, "inner") != 0 else 0.0
        if d >= D:
            raise ValueError(f"inner is {d:g} m and outer {D:g} m; the inner diameter must be the smaller one")
        G, fill = _shear_modulus(E, nu), (1 + (d / D) ** 2) ** 2
        shear = 6 * (1 + nu) * fill / ((7 + 6 * nu) * fill + (20 + 12 * nu) * (d / D) ** 2)
        second = math.pi * (D**4 - d**4) / 64
        area = math.pi * (D**2 - d**2) / 4
        round_ = {"I_in": second, "I_out": second, "J": 2 * second, "shear_in": shear, "shear_out": shear}
        section = cls(E=E, G=G, A=area, **round_)
        return section._of_sizes(outer=D, inner=d)

    def with_size(self, name: str, value: float) -> Section:
        """The same section with one of its `sizes` changed, in m; ValueError where it has no such size."""
        sizes = dict(self.sizes)
        if not isinstance(name, str) or name not in sizes:
            there = ", ".join(sizes) or "none, since it was given by A, I_in, I_out and J"
            raise ValueError(f"{shown(name)} is no measure of this section; its measures are: {there}")
        make = Section.rectangle if "width" in sizes else Section.tube
        return make(**{**sizes, name: value}, E=self.E, nu=self.E / (2 * self.G) - 1)

    def _of_sizes(self, **sizes: float) -> Section:
        object.__setattr__(self, "sizes", tuple(sizes.items()))
        return self


def _size(value: float, name: str) -> float:
    return positive(value, name, "m", most=LARGEST, hint="millimetres are written 7e-3, or 7*mm")


def _shear_modulus(E: float, nu: float) -> float:
    """G of an isotropic material, ``E / (2 (1 + nu))``."""
    modulus, ratio = _modulus(E, "E"), one(nu, "nu")
    if not -1 < ratio <= 0.5:
        raise ValueError(f"nu is {nu}; Poisson's ratio is one number in (-1, 1/2], about 0.35 for a printed plastic")
    return modulus / (2 * (1 + ratio))


def _modulus(value: float, name: str) -> float:
    return positive(value, name, "Pa", least=SOFTEST, hint="gigapascals are written 2.4e9")
