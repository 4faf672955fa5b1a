"""From pairs of orientations and motor angles, published or measured, to the convention that they are written in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .._check import Floats, finite, one, read_only, rotations
from ..mechanism import Mechanism, deg, joint
from ..rotation import angle_between, from_axis_angle
from .frames import Convention
from .misfit import explained
from .one_leg import Pairs
from .search import COARSEST, EXACT, FEWEST, SPREAD_OUT, MisfitError, search
from .three_legs import Fits, sharpness

__all__ = ["FittedConvention", "fit_convention"]

_VAGUE = 0.1  # rad; a convention that its own errors could move so far is not determined


@dataclass(frozen=True, init=False, eq=False, repr=False)
class FittedConvention(Convention):
    """What `fit_convention` found: a `Convention`, equal to any other with the same values, and how sure it is.

    Attributes
    ----------
    residual : float
        Root mean square of ``w . R v - cos(alpha_2)`` over all pairs and legs, as `closure_error` gives it; where
        the legs stand well it is about the error of a motor angle in radians.
    uncertainty : float
        Standard error, in radians, of the worst determined combination of the unknowns, from the residual.
    ambiguous : tuple of Convention
        Every other convention that fits the pairs as well.
    free_axis : (3,) array or None
        None unless all motor axes lie on one line: then this line, in our base frame. The base may turn about it by
        any angle if the zeros turn along, and no pair of any kind shows the difference. The convention given, and
        each in `ambiguous`, is the one of its family with ``zero[0] == 0``.
    """

    residual: float
    uncertainty: float
    ambiguous: tuple[Convention, ...]
    free_axis: Floats | None

    def __init__(
        self,
        base: ArrayLike,
        platform: ArrayLike,
        leg_order: tuple[int, int, int],
        sense: tuple[int, int, int],
        zero: ArrayLike,
        residual: float,
        uncertainty: float,
        ambiguous: tuple[Convention, ...],
        free_axis: Floats | None,
    ) -> None:
        super().__init__(base, platform, leg_order, sense, zero)
        values = {
            "residual": residual,
            "uncertainty": uncertainty,
            "ambiguous": ambiguous,
            "free_axis": None if free_axis is None else read_only(free_axis),
        }
        for name, value in values.items():
            object.__setattr__(self, name, value)

    def __repr__(self) -> str:
        """As of any `Convention`, with the decimals that the fit knows: the rest would be noise."""
        uncertainty = self.uncertainty / deg
        decimals = int(np.clip(np.floor(-np.log10(uncertainty)), 0, 4))
        others = len(self.ambiguous)
        also = {0: "no other fits", 1: "1 other fits"}.get(others, f"{others} others fit")
        free = "" if self.free_axis is None else "; the base may turn about the common motor axis, all zeros with it"
        sure = f"{uncertainty:.1g}°" if uncertainty > 1e-4 else "better than 0.0001°"
        error = f"{self.residual:.1e}" if self.residual > EXACT else "only rounding"
        return (
            f"{self._in_words(decimals)}\n  fit: rms closure error {error}, worst direction known to {sure}, "
            f"{also} as well{free}"
        )


def fit_convention(
    m: Mechanism, orientations: ArrayLike | object, motor_angles: ArrayLike, *, accuracy: float = 0.005 * deg
) -> FittedConvention:
    """The `Convention` under which pairs of orientations and motor angles close the legs of m.

    Parameters
    ----------
    m : Mechanism
        The joint, in our conventions.
    orientations : (n, 3, 3)
        Their orientations; or an object with ``as_matrix()``.
    motor_angles : (n, 3)
        Their motor angles, in radians, in their leg order. Working modes need not be known, nor be the same.
    accuracy : float
        Largest error of their angles, in radians, at most 0.1°: of each motor angle, and of each of three angles that
        state an orientation. The default, 0.005°, is that of numbers rounded to 0.01°; it serves for exact ones too.

    Returns
    -------
    FittedConvention
        Of all that fit as well, the plainest: fewest legs renumbered, then fewest senses reversed, then least turned.
        Its `ambiguous` holds the others, the plainer first. Zeros lie in (-179°, 181°].

    Raises
    ------
    MirroredError
        The pairs are those of a joint whose motor axes or platform axes are the mirror image of m's.
    ValueError, TypeError
        Fewer than 6 pairs; poses that leave the convention undetermined, such as turns about one axis only; nothing
        fits, which the message explains as far as it can: transposed matrices, degrees, odd pairs, the leg; or the
        platform axes of m lie on one line, about which no motor angle tells how the platform is turned.

    Notes
    -----
    Unknown are three angles of the base, three of the platform and three zeros; n pairs give 3 n equations. They are
    solved leg by leg first, five unknowns and n equations each: hence the 6 pairs. A dozen poses far apart are
    better. A fit has an rms closure error of at most ``2 * accuracy``: each of the four angles moves a closure by at
    most its own error, and the rms of a sum of four independent errors is at most twice their bound. No single
    closure error is beyond ``8 * accuracy``: four that add up, and as much again because a fit may lean away from one
    pair. Nothing worse is a fit.
    """
    pairs, limit = _checked(joint(m), orientations, motor_angles), 2 * _largest_error(accuracy)
    try:
        fits, rms = search(m, pairs, limit)
    except MisfitError as misfit:
        raise explained(m, pairs, misfit, limit) from None
    coaxial = _on_one_line(m.base_axes)
    if coaxial:
        fits = _turned_to_zero(m, fits)
    fits = fits._replace(zero=_within_half_a_turn(fits.zero))
    ranked = _plainest_first(fits, rms)
    fits, rms = fits.take(ranked), rms[ranked]
    unknowns = 8 if coaxial else 9
    sharp = sharpness(m, pairs, fits.take([0]))[0, unknowns - 1]
    scatter = max(float(rms[0]) * np.sqrt(3 * len(pairs.R) / (3 * len(pairs.R) - unknowns)), EXACT)
    if scatter > _VAGUE * sharp:
        raise ValueError(
            f"these poses do not determine the convention: within the errors of the data it could be "
            f"very different; {SPREAD_OUT}"
        )
    first, *others = (
        Convention(P, Q, tuple(order), tuple(sense), zero) for P, Q, zero, order, sense in zip(*fits, strict=True)
    )
    return FittedConvention(
        first.base,
        first.platform,
        first.leg_order,
        first.sense,
        first.zero,
        float(rms[0]),
        float(scatter / sharp),
        tuple(others),
        m.base_axes[0] if coaxial else None,
    )


def _checked(m: Mechanism, orientations: ArrayLike | object, motor_angles: ArrayLike) -> Pairs:
    R, theta = rotations(orientations, "orientations"), finite(motor_angles, "motor_angles", 3)
    if R.ndim != 3 or theta.ndim != 2 or len(R) != len(theta):
        raise ValueError(
            f"orientations has shape {R.shape} and motor_angles {theta.shape}; they must be (n, 3, 3) and (n, 3): "
            "one row of motor angles for each orientation"
        )
    if len(R) < FEWEST:
        raise ValueError(
            f"{len(R)} pairs are too few: each gives a leg one equation for its five unknowns (where its motor axis "
            f"points: 2, its platform axis: 2, its zero: 1), so at least {FEWEST} are needed to contradict a wrong "
            "answer; a dozen are better"
        )
    if _on_one_line(m.platform_axes):
        raise ValueError(
            "the platform axes of m lie on one line: no motor angle tells how the platform is turned about it, so "
            "that no pairs can determine the platform's frame"
        )
    return Pairs(R, theta)


def _largest_error(accuracy: float) -> float:
    error = one(accuracy, "accuracy")
    if not 0 < error <= COARSEST:
        raise ValueError(
            f"accuracy is {accuracy}; it must be one angle in radians, above 0 and at most {COARSEST / deg:.1g}° "
            f"(write {COARSEST / deg:.1g}*deg): from coarser pairs no fit can be told from a coincidence"
        )
    return error


def _on_one_line(axes: Floats) -> bool:
    return bool(np.linalg.norm(np.cross(axes[0], axes), axis=1).max() < 1e-9)


def _turned_to_zero(m: Mechanism, fits: Fits) -> Fits:
    """Of each family of a coaxial joint, the convention whose first zero is 0: base and zeros turned together."""
    line = m.base_axes[0]
    along = np.sign(m.base_axes[fits.order] @ line)
    turn = along[:, 0] * fits.zero[:, 0]
    zero = fits.zero - along * turn[:, None]
    zero[:, 0] = 0.0
    return fits._replace(P=fits.P @ from_axis_angle(line, turn, turns=True), zero=zero)


def _within_half_a_turn(zero: Floats) -> Floats:
    """Angles in [-pi, pi], where those within 1° of -pi go up to +pi: half a turn keeps its sign under errors."""
    return zero - 2 * np.pi * np.ceil((zero - np.pi - 1 * deg) / (2 * np.pi))


def _plainest_first(fits: Fits, rms: Floats) -> list[int]:
    """One of each, the plainest first: legs as ours, senses as ours, little turned; a worse rms comes after all.

    Of equally plain ones all the rest decides, so that the order does not depend on rounding.
    """
    worse = rms > 1.01 * rms.min() + EXACT
    renumbered, reversed_ = (fits.order != np.arange(3)).sum(axis=1), (fits.sense < 0).sum(axis=1)
    turned = np.round(angle_between(np.eye(3), fits.P) + angle_between(np.eye(3), fits.Q), 6)
    moved = np.round(np.abs(fits.zero).sum(axis=1), 6)
    rest = [np.round(fits.P, 3), np.round(fits.Q, 3), np.round(fits.zero, 3), fits.order, fits.sense]
    plain = np.column_stack([part.reshape(len(rms), -1) for part in rest]) + 0.0  # + 0.0: -0 is 0
    ranked = np.lexsort((*plain.T, moved, turned, reversed_, renumbered, worse))
    return [int(i) for i in ranked[fits.take(ranked).distinct()]]
