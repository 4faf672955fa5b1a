"""How much the platform gives: drive and links of each leg in a row, the free hinges released, three legs summed.

Everything is referred to the centre, in base coordinates: a wrench is (force, moment about the centre), a twist
(translation of the platform's point at the centre, rotation). What a leg gives is the sum of what its parts give,

    C_i = sum over parts of H^T C_part H,     K_i = C_i^-1 with elbow and platform hinge let go

A leg cannot pass on a moment about its hinge axes w and R v. What is left are forces and a moment along the normal
n = w x R v: with B the basis of these, K_i = B (B^T C_i B)^-1 B^T. That is the same as bordering C_i with the passive
directions and inverting. K = K_1 + K_2 + K_3. Source: Pashkevich, Chablat, Wenger, Mech. Mach. Theory 44, 2009 (from
memory).

The model. Links are the arcs of `arc_compliance`, clamped to the motor's hub at u and ending at w, and from w to R v.
Rigid: the platform, the pins (also where two links have different radii, so that one passes inside the other), the
bearings, and the base. Not counted: weight of the links, load that is already there, creep, screws and inserts, and
play (`play.worst_play`). Loads are small enough that the pose does not change noticeably.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from ..._check import LONGEST, Floats, choice, instance, place
from ...errors import SingularError
from ...inverse import inverse_kinematics
from ...mechanism import Mechanism, joint
from ...rotation import from_tilt_torsion
from ...velocity import singularity
from ._positive import positive
from .arc import MODES, arc_modes
from .section import Section

__all__ = [
    "PARTS",
    "Build",
    "Give",
    "Link",
    "compliance",
    "give",
    "give_map",
    "leg_stiffness",
    "part_compliance",
    "stiffness",
]

PARTS = ("drive", *(f"{link} link: {mode}" for link in ("first", "second") for mode in MODES))
"""What a leg gives by, in the order of `part_compliance`: the drive, then each link in each of its `MODES`."""

Singular = Literal["raise", "nan"]


@dataclass(frozen=True)
class Link:
    """A link as it is built: radius of its middle line about the centre, in m, and its cross section."""

    radius: float
    section: Section

    def __post_init__(self) -> None:
        radius = positive(self.radius, "radius", "m", most=LONGEST, hint="millimetres are written 75e-3, or 75*mm")
        arc_modes(radius, 1.0, self.section)  # says what is wrong with the two together
        object.__setattr__(self, "radius", radius)


@dataclass(frozen=True)
class Build:
    """What all three legs are built of: first and second link, and the drive's stiffness about u in N·m/rad.

    ``np.inf`` is a drive that does not give at all.
    """

    first: Link
    second: Link
    drive: float

    def __post_init__(self) -> None:
        for name in ("first", "second"):
            instance(getattr(self, name), name, Link, "make one with Link(radius, section)")
        if not (isinstance(self.drive, float) and self.drive == np.inf):
            object.__setattr__(self, "drive", positive(self.drive, "drive", "N·m/rad"))


class Give(NamedTuple):
    """How far a pure moment turns the platform: what `give` finds."""

    mean: Floats
    """(...) rad/(N·m): turn along the moment, mean over all its directions."""
    worst: Floats
    """(...) rad/(N·m): turn under the worst direction."""
    axis: Floats
    """(..., 3): that direction, a unit vector in base coordinates; its sign is arbitrary."""


def part_compliance(m: Mechanism, R: ArrayLike | object, theta: ArrayLike, build: Build) -> Floats:
    """What each part of each leg adds to the twist at the centre, (..., 3, 11, 6, 6): legs, then `PARTS`.

    Shapes (..., 3, 3) and (..., 3) in, theta in radians. All matrices are symmetric and have no negative direction.
    ValueError where R and theta do not close, or are no rotation, no finite angles; TypeError for no Build.
    """
    instance(build, "build", Build, "make one with Build(first, second, drive)")
    singularity(m, R, theta)  # refuses what does not close
    u, w, p = leg_axes(m, R, theta)
    parts = np.zeros((*w.shape[:-1], len(PARTS), 6, 6))
    parts[..., 0, 3:, 3:] = u[..., :, None] * u[..., None, :] / build.drive
    first, last = 1, 1 + len(MODES)
    parts[..., first:last, :, :] = _at_centre(build.first, m.proximal, u, w)
    parts[..., last:, :, :] = _at_centre(build.second, m.distal, w, p)
    return parts


def leg_stiffness(parts: Floats, m: Mechanism, R: ArrayLike | object, theta: ArrayLike) -> Floats:
    """Stiffness of each leg at the centre, (..., 3, 6, 6), of what its parts give; forces and one moment only.

    ``K_i = B (B^T C_i B)^-1 B^T``; the leg resists neither a turn about w nor one about R v. `parts` is
    (..., 3, k, 6, 6), as from `part_compliance`, whose errors it shares.
    """
    _, w, p = leg_axes(m, R, theta)
    basis = moment_basis(m, w, p)
    turned = np.swapaxes(basis, -1, -2)
    return np.asarray(basis @ np.linalg.inv(turned @ parts.sum(axis=-3) @ basis) @ turned)


def stiffness(
    m: Mechanism, R: ArrayLike | object, theta: ArrayLike, build: Build, *, singular: Singular = "raise"
) -> Floats:
    """Stiffness K of the platform at the centre, ``wrench = K twist``, (..., 6, 6), base coordinates.

    Shapes (..., 3, 3) and (..., 3) in, theta in radians. A folded or stretched leg (type 1) still has its links, so K
    is there; at types 2 and 3 the platform turns free of the legs and there is no answer to "how much": SingularError
    with its ``.kind``, or NaN with ``singular="nan"``. Other errors as for `part_compliance`.
    """
    choice(singular, "singular", ("raise", "nan"))
    parts = part_compliance(m, R, theta, build)
    kind = np.asarray(singularity(m, R, theta).kind)
    bad = kind >= 2
    if singular == "raise" and bad.any():
        index = tuple(int(i) for i in np.argwhere(bad)[0])
        raise SingularError(
            f"{place('orientation', index)} is singular of type {int(kind[index])}: its normals w x R v are "
            "coplanar, so that the platform turns about the axis perpendicular to them whatever the links are made "
            "of; keep away from here, or mark such poses with singular='nan'",
            pose=index,
            kind=int(kind[index]),
        )
    total = leg_stiffness(parts, m, R, theta).sum(axis=-3)
    return np.asarray(np.where(bad[..., None, None], np.nan, total))


def compliance(
    m: Mechanism, R: ArrayLike | object, theta: ArrayLike, build: Build, *, singular: Singular = "raise"
) -> Floats:
    """Compliance C = K^-1 of the platform, ``twist = C wrench``, (..., 6, 6); shapes as for `stiffness`.

    Rows and columns 3 to 5 are the turn under a pure moment, in rad/(N·m). SingularError, ValueError and TypeError as
    there.
    """
    K = stiffness(m, R, theta, build, singular=singular)
    there = np.isfinite(K).all(axis=(-1, -2))
    C = np.full_like(K, np.nan)
    C[there] = np.linalg.inv(K[there])
    return C


def give(
    m: Mechanism, R: ArrayLike | object, theta: ArrayLike, build: Build, *, singular: Singular = "raise"
) -> Give:
    """How far a moment of 1 N·m turns the platform, in rad: the mean over directions and the worst, see `Give`.

    Trace over 3 and largest eigenvalue of the rotational block of `compliance`, whose shapes and errors it shares:
    SingularError, ValueError, TypeError.
    """
    turn = compliance(m, R, theta, build, singular=singular)[..., 3:, 3:]
    there = np.isfinite(turn).all(axis=(-1, -2))
    worst, axis = np.full(turn.shape[:-2], np.nan), np.full(turn.shape[:-1], np.nan)
    values, vectors = np.linalg.eigh(turn[there])
    worst[there], axis[there] = values[..., -1], vectors[..., :, -1]
    return Give(np.trace(turn, axis1=-2, axis2=-1) / 3, worst[()], axis)


def give_map(
    m: Mechanism,
    build: Build,
    tilt: ArrayLike,
    azimuth: ArrayLike,
    *,
    torsion: ArrayLike = 0.0,
    mode: ArrayLike = (1, 1, 1),
) -> Give:
    """`give` at orientations named by tilt, azimuth and torsion, which broadcast; NaN out of reach or singular.

    Angles (...) in radians; ``give_map(m, build, tilts[:, None], azimuths)`` is a map. The legs keep one working
    mode, (3,). ValueError for angles that are not finite or do not broadcast, a tilt outside [0, pi], a mode that is
    not +-1; TypeError for no Mechanism, no Build.
    """
    instance(build, "build", Build, "make one with Build(first, second, drive)")
    R = from_tilt_torsion(tilt, azimuth, torsion)
    theta = inverse_kinematics(joint(m), R, mode, unreachable="nan")
    closes = np.isfinite(theta).all(axis=-1)
    mean, worst, axis = (
        np.full(closes.shape, np.nan),
        np.full(closes.shape, np.nan),
        np.full((*closes.shape, 3), np.nan),
    )
    if closes.any():
        mean[closes], worst[closes], axis[closes] = give(m, R[closes], theta[closes], build, singular="nan")
    return Give(mean[()], worst[()], axis)


def leg_axes(m: Mechanism, R: ArrayLike | object, theta: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """u, w and R v of each leg, (..., 3, 3): leg, then xyz."""
    u, w, p = np.broadcast_arrays(m.base_axes, m.elbow_axes(theta), m.platform_axes_at(R))
    return u, w, p


def moment_basis(m: Mechanism, w: Floats, p: Floats) -> Floats:
    """The wrenches that a leg passes on, (..., 3, 6, 4): three forces, and a moment of 1 along w x R v."""
    basis = np.zeros((*w.shape[:-1], 6, 4))
    basis[..., (0, 1, 2), (0, 1, 2)] = 1.0
    basis[..., 3:, 3] = np.cross(w, p) / np.sin(m.distal)[:, None]
    return basis


def _at_centre(link: Link, arc: Floats, root: Floats, tip: Floats) -> Floats:
    """The five compliances of a link from axis `root` to axis `tip`, (..., 3, 5, 6, 6), at the centre."""
    across = np.cross(root, tip) / np.sin(arc)[:, None]
    frame = np.stack([tip, np.cross(across, tip), across], axis=-1)  # columns: the tip's x, y, z
    back = np.swapaxes(frame, -1, -2)
    shift = np.zeros_like(frame)  # the moment about the tip is that about the centre less (tip x force)
    shift[..., 1, 2], shift[..., 2, 1] = -link.radius, link.radius  # in the tip's frame the tip is at (radius, 0, 0)
    H = np.zeros((*frame.shape[:-2], 6, 6))
    H[..., :3, :3], H[..., 3:, 3:], H[..., 3:, :3] = back, back, -shift @ back
    modes = arc_modes(link.radius, arc, link.section)
    H = H[..., None, :, :]
    return np.asarray(np.swapaxes(H, -1, -2) @ modes @ H)
