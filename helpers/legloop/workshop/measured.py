"""What a protractor and callipers say about a joint, how sure it is, and what that does to the pointing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from .._check import Floats, finite, flag, instance, one, rotations
from .._travel import Frozen
from ..inverse import inverse_kinematics
from ..mechanism import Mechanism, deg, joint
from ..velocity import inverse_jacobian, jacobian

__all__ = ["PointingError", "Reading", "arc_of_chord", "cone_of_offsets", "pointing_error", "protractor"]

SHORTEST = 1 * deg
"""No link between two bearings is so short; a shorter arc comes of lengths in two units, 0.06° for metres and
millimetres. No such bound holds for a cone: it is near 0 in a coaxial joint, and may be 90°."""

SOURCES = ("proximal", "distal", "base_cone", "platform_cone", "base_azimuth", "platform_azimuth")


@dataclass(frozen=True)
class Reading:
    """A value and its standard uncertainty (one sigma), both in the same unit: radians, or any length.

    The unit is not checked here: ``Reading(75, 0.5)`` is 75 of some length, but also 75 rad; degrees are ``75*deg``.
    A reading of which only limits are known, such as "to half a degree", has a standard uncertainty of its half width
    over sqrt(3): ``Reading.within(75*deg, 0.5*deg)``. Source: JCGM 100:2008, 4.3.7 (from memory).
    """

    value: float
    uncertainty: float

    def __post_init__(self) -> None:
        for name in ("value", "uncertainty"):
            object.__setattr__(self, name, one(getattr(self, name), name))
        if self.uncertainty < 0:
            raise ValueError(f"uncertainty is {self.uncertainty:g}; it must not be negative")

    @classmethod
    def within(cls, value: float, half_width: float) -> Reading:
        """The reading of a value that lies anywhere within `half_width`, not negative, of what was read."""
        limit = one(half_width, "half_width")
        if limit < 0:
            raise ValueError(f"half_width is {limit:g}; it must not be negative")
        return cls(value, limit / np.sqrt(3))


def protractor(angles: Sequence[float], resolution: float) -> Reading:
    """The mean of several readings of one angle, (n,) in radians, and its standard uncertainty.

    ``sqrt(s^2 / n + resolution^2 / 12)``, with s the standard deviation of the n readings, n >= 2, each read to
    `resolution`. Take the protractor off between readings: what is the same in all of them does not show. ValueError
    for fewer than two readings, for more than a turn, and for a resolution that is not in (0, 10°].
    """
    read, step = finite(angles, "angles"), one(resolution, "resolution")
    if read.ndim != 1 or len(read) < 2:
        raise ValueError(f"angles has shape {read.shape}; give two readings or more: one does not show its scatter")
    if not 0 < step <= 10 * deg:
        raise ValueError(
            f"resolution is {step:g} rad ({step / deg:.4g}°); it must be in (0, 10°]: one degree is 1*deg"
        )
    if np.abs(read).max() > 2 * np.pi:
        worst = float(read[np.abs(read).argmax()])
        raise ValueError(f"angles holds {worst:g} rad, more than a turn; for degrees write {worst:g}*deg")
    return Reading(float(read.mean()), float(np.sqrt(read.var(ddof=1) / len(read) + step**2 / 12)))


def arc_of_chord(chord: Reading, radius: Reading) -> Reading:
    """The arc of a link between two bearings at one radius from the centre: ``2 asin(chord / (2 radius))``.

    Callipers give the chord, between the middles of the two holes; the radius is from the centre to such a middle.
    Both are one `Reading` in one unit; the arc is in radians. ``d arc = (d chord - 2 sin(arc / 2) d radius) /
    (radius cos(arc / 2))``. ValueError for a chord that is not between 0 and two radii, and for an arc below 1°,
    which no link has; TypeError for no Reading.
    """
    _reading(chord, "chord")
    _reading(radius, "radius")
    if not (radius.value > 0 and 0 < chord.value < 2 * radius.value):
        raise ValueError(
            f"the chord is {chord.value:g} and the radius {radius.value:g}; a chord must be above 0 and below two "
            "radii: are both from middle to middle, and in one unit?"
        )
    half = np.arcsin(chord.value / (2 * radius.value))
    if 2 * half < SHORTEST:
        raise ValueError(
            f"the chord is {chord.value:g} and the radius {radius.value:g}, an arc of {2 * half / deg:.2g}°; no link "
            f"is below {SHORTEST / deg:g}°: are both in one unit?"
        )
    spread = np.hypot(chord.uncertainty, 2 * np.sin(half) * radius.uncertainty) / (radius.value * np.cos(half))
    return Reading(float(2 * half), float(spread))


def cone_of_offsets(across: Reading, along: Reading) -> Reading:
    """A cone from where a bearing sits: ``atan2(across, along)``; gamma of a motor axis, beta of a hinge.

    The bearing of a motor axis is that of the first link, or of its pulley; with a belt the motor sits elsewhere.
    `across`: its distance from the symmetry axis. `along`: how far below the centre that bearing, or above it a
    hinge, sits, measured along that axis; negative on the other side. Both are one `Reading` in one unit; the cone is
    in radians. ``d cone = (along d across - across d along) / (across^2 + along^2)``. ValueError for a negative
    `across` or two zeros, TypeError for no Reading. Two units are not noticed: cones near 0 and 90° are honest ones.
    """
    _reading(across, "across")
    _reading(along, "along")
    square = across.value**2 + along.value**2
    if across.value < 0 or not square > 0:
        raise ValueError(
            f"across is {across.value:g} and along {along.value:g}; across is a distance, and not both may be zero"
        )
    spread = np.hypot(along.value * across.uncertainty, across.value * along.uncertainty) / square
    return Reading(float(np.arctan2(across.value, along.value)), float(spread))


def _reading(value: object, name: str) -> None:
    instance(value, name, Reading, "make one with Reading(value, uncertainty)")


@dataclass(frozen=True, eq=False)
class PointingError(Frozen):
    """How far the platform may stand from the orientation that was asked for; leading axes are those of R.

    Attributes
    ----------
    covariance : (..., 3, 3)
        Of the small turn, a rotation vector in base coordinates, in rad^2.
    pointing : (...)
        Root mean square of the angle between the pointing axis asked for and that of the platform, in radians.
    turn : (...)
        Root mean square of the whole angle, the turn about the pointing axis included.
    shares : dict of name to (...)
        `pointing` with each uncertainty alone; their squares add up to its square.
    """

    covariance: Floats
    pointing: Floats
    turn: Floats
    shares: dict[str, Floats]


def pointing_error(
    m: Mechanism,
    R: ArrayLike | object,
    mode: ArrayLike = (1, 1, 1),
    *,
    proximal: ArrayLike = 0.0,
    distal: ArrayLike = 0.0,
    base_cone: ArrayLike = 0.0,
    platform_cone: ArrayLike = 0.0,
    base_azimuth: ArrayLike = 0.0,
    platform_azimuth: ArrayLike = 0.0,
    homed: bool = True,
) -> PointingError:
    """What uncertain angles of the joint do to the orientation, to first order.

    The motors go where the formulas, with the numbers of m, want them; the true joint has other numbers. Each leg
    keeps ``w . R v - cos(alpha_2) = 0``, so that for small errors e of one leg, with n = w x R v,

        n . omega = sum_k (df/de_k) e_k + (n . u) e_theta,        f = w . R v - cos(alpha_2)

    and three legs give the small turn omega of the platform.

    Parameters
    ----------
    m, R, mode
        The joint as measured, orientations (..., 3, 3), a working mode (3,).
    proximal, distal, base_cone, platform_cone, base_azimuth, platform_azimuth : one number or (3,)
        Standard uncertainties in radians, of each leg, independent of one another: of alpha_1, alpha_2, gamma (u
        turned about the y of its leg frame), beta (v leant towards or from the platform's z; a v on z leans to y),
        eta of u, eta of v.
    homed : bool
        Whether each motor's zero was set with the platform at R = I, in a jig. The errors then count from there:
        what they do at home is in the zeros. Without: the zeros are those of the formulas.

    Raises
    ------
    SingularError
        A pose is of type 2, where the platform has no definite turn; or home is of type 1, where no zero can be set.
    ValueError, TypeError
        An uncertainty is negative, or no number.
    """
    m, poses = joint(m), rotations(R)
    given = (proximal, distal, base_cone, platform_cone, base_azimuth, platform_azimuth)
    sizes = {name: _sizes(value, name) for name, value in zip(SOURCES, given, strict=True)}
    theta = inverse_kinematics(m, poses, mode)
    jacobian(m, poses, theta)  # raises where the platform has no definite turn
    normals, slopes = _slopes(m, poses, theta)
    if flag(homed, "homed"):
        home = m.home_angles(mode)
        inverse_jacobian(m, np.eye(3), home)  # raises where a zero cannot be set
        home_normals, home_slopes = _slopes(m, np.eye(3), home)
        lever = np.einsum("...li,li->...l", normals, m.base_axes) / np.einsum("li,li->l", home_normals, m.base_axes)
        slopes = slopes - lever[..., None] * home_slopes
    to_turn = np.linalg.inv(normals)  # omega = to_turn @ (right-hand sides of the three legs)
    turns = np.einsum("...il,...lk,kl->...ikl", to_turn, slopes, np.array(list(sizes.values())))
    axis = poses[..., :, 2]
    aside = turns - axis[..., :, None, None] * np.einsum("...i,...ikl->...kl", axis, turns)[..., None, :, :]
    shares = np.sqrt((aside**2).sum(axis=(-3, -1)))
    return PointingError(
        np.einsum("...ikl,...jkl->...ij", turns, turns),
        np.sqrt((aside**2).sum(axis=(-3, -2, -1))),
        np.sqrt((turns**2).sum(axis=(-3, -2, -1))),
        {name: shares[..., k] for k, name in enumerate(SOURCES)},
    )


def _sizes(value: ArrayLike, name: str) -> Floats:
    size = finite(value, name)
    if size.shape not in ((), (3,)):
        raise ValueError(f"{name} has shape {size.shape}; give one uncertainty for all legs or three")
    if (size < 0).any() or (size > 10 * deg).any():
        worst = float(size.flat[int(np.abs(size).argmax())])
        raise ValueError(
            f"{name} is {worst:g} rad ({worst / deg:.4g}°); a standard uncertainty is in [0, 10°]: half a "
            "degree is 0.5*deg"
        )
    return np.broadcast_to(size, (3,))


def _slopes(m: Mechanism, R: Floats, theta: Floats) -> tuple[Floats, Floats]:
    """Normals n, (..., 3, 3), and df/de, (..., 3, 6): leg, then the errors in the order of `SOURCES`."""
    w, p = m.elbow_axes(theta), m.platform_axes_at(R)
    x, y, u = np.moveaxis(m.base_frames, 2, 0)
    across = x * np.cos(theta)[..., None] + y * np.sin(theta)[..., None]  # w = cos(alpha_1) u + sin(alpha_1) across
    bent = np.cos(m.proximal)[:, None] * across - np.sin(m.proximal)[:, None] * u
    z, v = np.array([0.0, 0.0, 1.0]), m.platform_axes
    level = np.cross(z, v)
    length = np.linalg.norm(level, axis=1, keepdims=True)
    level = np.where(length > 1e-9, level / np.maximum(length, 1e-9), [0.0, 1.0, 0.0])  # a hinge on z leans any way
    moves = [bent, np.cross(y, w), np.cross(z, w)]  # of w: with alpha_1, gamma, eta
    hinge = [np.einsum("...ij,lj->...li", R, np.cross(about, v)) for about in (level, np.broadcast_to(z, (3, 3)))]
    first, cone, turn = (np.einsum("...li,...li->...l", move, p) for move in moves)
    beta, eta = (np.einsum("...li,...li->...l", w, move) for move in hinge)
    distal = np.broadcast_to(np.sin(m.distal), first.shape)
    return np.cross(w, p), np.stack([first, distal, cone, beta, turn, eta], axis=-1)
