"""Rates, forces and singular poses: what a small turn of a motor does to the platform, and back.

With the normals ``n_i = w_i x R v_i``, which are the axes about which each leg resists the platform, the closures
differentiated give

    n_i . omega = (n_i . u_i) theta_dot_i,    N omega = diag(n . u) theta_dot,    omega = J theta_dot

omega is the angular velocity in base coordinates, theta_dot the motor rates, both in rad/s. Singular poses are of

- type 1: some n_i . u_i = 0, leg i is folded or stretched. J exists and loses rank: that motor turns without moving
  the platform, and no motor gives the platform a rate along n_i.
- type 2: the normals are coplanar. J does not exist: with all motors held, the platform still turns a little about
  the axis that is perpendicular to them.
- type 3: both.

Source: Gosselin, Angeles, IEEE Trans. Robotics and Automation 6(3), 1990 (from memory).

Orientation and motor angles must close. A pair that misses by more than `CLOSES` is refused, for the rates of a pose
that the joint cannot take mean nothing.
"""

from __future__ import annotations

import math
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import closing, leg
from ._check import LONGEST, Floats, batch, batch_index, choice, finite, place, rotations, upwards
from .errors import SingularError
from .mechanism import Mechanism, joint

__all__ = [
    "CLOSES",
    "GRAVITY",
    "SINGULAR",
    "Singularity",
    "dexterity",
    "inverse_jacobian",
    "jacobian",
    "jacobian_pair",
    "payload_moment",
    "singularity",
    "static_torque",
]

CLOSES = 4e-6
"""By how much a leg may miss closing, in `closure_error`: R and theta printed to six decimals pass."""

SINGULAR = math.sqrt(leg.ROUNDING)
"""Below this, 6e-8, a pose counts as singular: |n . u| for type 1, 1/|N^-1| of the unit normals for type 2. In a
singular pose two roots of the closures meet, and rounding moves a double root by the square root of itself; so a
pose that is nearer cannot be told from a singular one. `working_mode` gives 0 by the same measure."""


GRAVITY = 9.80665
"""m/s²: standard gravity (third General Conference on Weights and Measures, 1901; from memory)."""


class Singularity(NamedTuple):
    """What `singularity` gives: the type of each pose, and how far it is from others."""

    kind: NDArray[np.int_]
    """(...): 0 regular, 1, 2 or 3."""
    link: Floats
    """(..., 3): ``n . u = sin(alpha_1) sin(alpha_2) sin(elbow)``; 0 at type 1."""
    elbow: Floats
    """(..., 3) rad in (-pi, pi]: angle between the planes of the two links, 0 folded, pi stretched; its sign is the
    working mode."""
    volume: Floats
    """(...): V, the volume that the unit normals ``n / sin(alpha_2)`` span; 0 at type 2. It keeps its sign on an
    assembly branch."""
    plane: Floats
    """(...) rad in [0, pi/2]: least angle between one normal and the plane of the two others; 0 at type 2."""


def jacobian(
    m: Mechanism, R: ArrayLike | object, theta: ArrayLike, *, singular: Literal["raise", "nan"] = "raise"
) -> Floats:
    """The matrix J of ``omega = J theta_dot``: motor rates to the angular velocity of the platform.

        J = N^-1 diag(n . u),    N the rows n_i = w_i x R v_i

    Shapes (..., 3, 3) and (..., 3) in, theta in radians; (..., 3, 3) out, omega in base coordinates.
    At type 1 J exists. At types 2 and 3 it does not: SingularError with its ``.kind``, or NaN with
    ``singular="nan"``. ValueError where R and theta do not close, or are no rotation, no finite angles.
    """
    return _jacobian(m, _pose(m, R, theta, singular), singular)


def inverse_jacobian(
    m: Mechanism, R: ArrayLike | object, theta: ArrayLike, *, singular: Literal["raise", "nan"] = "raise"
) -> Floats:
    """The matrix K of ``theta_dot = K omega``: the motor rates that turn the platform at omega.

        K = diag(1 / (n . u)) N

    Shapes, units, ValueError and SingularError as for `jacobian`; but it is at type 2 that this matrix exists, and at
    types 1 and 3 that it does not: there a joystick would ask a motor for an infinite rate. With ``singular="nan"``
    the row of that motor is NaN, and the other rows stand.
    """
    return _inverse(m, _pose(m, R, theta, singular), singular)


def jacobian_pair(
    m: Mechanism, R: ArrayLike | object, theta: ArrayLike, *, singular: Literal["raise", "nan"] = "raise"
) -> tuple[Floats, Floats]:
    """`jacobian` and `inverse_jacobian` of the same poses, at the cost of one.

        J = N^-1 diag(n . u),    K = diag(1 / (n . u)) N

    Shapes, units and errors are those of the two; with ``singular="nan"`` each has NaN where it alone would have it.
    """
    pose = _pose(m, R, theta, singular)
    return _jacobian(m, pose, singular), _inverse(m, pose, singular)


def singularity(m: Mechanism, R: ArrayLike | object, theta: ArrayLike) -> Singularity:
    """The singular type of poses, and how far from singular they are; fields as `Singularity` says.

    Shapes (..., 3, 3) and (..., 3) in, theta in radians. A pose counts as singular within `SINGULAR`. ValueError
    where R and theta do not close, or are no rotation, no finite angles.
    """
    pose = _pose(m, R, theta)
    lengths = np.sqrt((pose.pairs * pose.pairs).sum(axis=0))  # of n_j x n_k
    sines = np.abs(pose.volume) / np.where(lengths > 0, lengths, 1.0) / np.sin(m.distal)[:, None]
    plane = np.arcsin(np.minimum(sines.min(axis=0), 1.0))
    V = pose.volume / np.prod(np.sin(m.distal))
    fields: tuple[Any, ...] = pose.kind, pose.link.T, _elbow(m, pose).T, V, plane
    return Singularity(*(x.reshape((*pose.shape, *x.shape[1:]))[()] for x in fields))


def dexterity(m: Mechanism, R: ArrayLike | object, theta: ArrayLike) -> Floats:
    """How evenly the motors drive the platform: the smallest over the largest singular value of J, in [0, 1].

    1: every direction is as fast as any other (isotropic). 0: singular, of type 1, 2 or 3. It is the same number
    for J and for its inverse, and is computed from ``adj(N) diag(n . u)``, a multiple of J that exists in every pose.
    Shapes (..., 3, 3) and (..., 3) in, theta in radians; (...) out. ValueError as for `singularity`; no pose is an
    error.
    """
    pose = _pose(m, R, theta)
    values = np.linalg.svd(closing.from_columns(pose.pairs * pose.link), compute_uv=False)
    ratio: Floats = np.where(pose.kind == 0, values[:, 2] / np.where(values[:, 0] > 0, values[:, 0], 1.0), 0.0)
    result: Floats = ratio.reshape(pose.shape)[()]
    return result


def static_torque(
    m: Mechanism,
    R: ArrayLike | object,
    theta: ArrayLike,
    *,
    moment: ArrayLike | None = None,
    load: ArrayLike | None = None,
    singular: Literal["raise", "nan"] = "raise",
) -> Floats:
    """Motor torques T, (..., 3) in N·m about u, of a joint at rest without friction. Give one of two moments.

        T = J^T moment     the motors deliver `moment` to the platform
        T = -J^T load      the motors hold the platform against `load`, which gravity or a hand exerts on it

    Both are (..., 3), N·m about the centre in base coordinates, as from `payload_moment`. The powers are
    equal, ``T . theta_dot = moment . omega``. Other shapes and errors as for `jacobian`, SingularError included: near
    type 2 the torques grow without bound, and at it some loads cannot be held. TypeError for both moments, or none.
    """
    if (moment is None) == (load is None):
        raise TypeError("give either moment=, which the motors deliver, or load=, which they hold, and not both")
    M = finite(moment, "moment", 3) if load is None else -finite(load, "load", 3)
    J = jacobian(m, R, theta, singular=singular)
    batch(pose=J.shape[:-2], moment=M.shape[:-1])
    return np.asarray(np.einsum("...ij,...i->...j", J, M))


def payload_moment(mass: ArrayLike, offset: ArrayLike, R: ArrayLike | object, *, up: ArrayLike) -> Floats:
    """Moment of a weight about the centre: ``(R offset) x (-mass GRAVITY up)``, (..., 3) in N·m, base coordinates.

    `mass` (...) in kg; `offset` (..., 3) of its centre of mass from the centre of the joint in m, in platform
    coordinates; `up` (..., 3), a unit vector in base coordinates, says which way is up: (0, 0, 1) for a joint that
    stands upright, (1, 0, 0) for one that lies with its x axis up. ValueError for a negative mass, an offset beyond
    10 m (it is in millimetres), an `up` more than 1e-6 off unit length, a number that is not finite, shapes that do
    not broadcast; TypeError for no `up`.
    """
    masses, arms, ups = finite(mass, "mass"), finite(offset, "offset", 3), upwards(up)
    poses = rotations(R)
    if (masses < 0).any():
        index = tuple(int(i) for i in np.argwhere(masses < 0)[0])
        raise ValueError(f"{place('mass', index)} is {masses[index]:g} kg; a mass is not negative")
    far = np.abs(arms) > LONGEST
    if far.any():
        index = tuple(int(i) for i in np.argwhere(far)[0])
        raise ValueError(
            f"offset[{', '.join(map(str, index))}] is {arms[index]:g} m; it must be at most {LONGEST:g} m: for "
            f"millimetres write {arms[index]:g}e-3"
        )
    batch(mass=masses.shape, offset=arms.shape[:-1], R=poses.shape[:-2], up=ups.shape[:-1])
    return np.asarray(np.cross((poses @ arms[..., None])[..., 0], -GRAVITY * masses[..., None] * ups))


class _Pose(NamedTuple):
    """Poses that close, as columns in the manner of `closing`."""

    shape: tuple[int, ...]
    w: Floats
    p: Floats
    n: Floats
    link: Floats
    pairs: Floats
    volume: Floats
    kind: NDArray[np.int_]


def _pose(m: Mechanism, R: ArrayLike | object, theta: ArrayLike, singular: str = "raise") -> _Pose:
    choice(singular, "singular", ("raise", "nan"))
    m, poses, angles = joint(m), rotations(R), finite(theta, "theta", 3)
    shape = batch(R=poses.shape[:-2], theta=angles.shape[:-1])
    w = closing.elbows(m, np.broadcast_to(angles, (*shape, 3)).reshape(-1, 3).T)
    p = closing.platform(m, closing.to_columns(np.broadcast_to(poses, (*shape, 3, 3)).reshape(-1, 3, 3)))
    miss = np.abs(closing.closure(m, w, p))
    if (miss > CLOSES).any():
        row = int(np.argmax((miss > CLOSES).any(axis=0)))
        worst = int(np.argmax(miss[:, row]))
        subject = place("orientation", batch_index(row, shape))
        raise ValueError(
            f"{subject} and its theta do not close: leg {worst + 1} misses w . R v = cos(alpha_2) by "
            f"{miss[worst, row]:.3g}, where {CLOSES:g} is let pass; take theta from "
            "inverse_kinematics(m, R, mode, near=theta), or R from forward_kinematics(m, theta, near=R)"
        )
    n = closing.cross(w, p)
    link = np.asarray(np.einsum("iln,li->ln", n, m.base_axes))
    pairs, volume = closing.adjugate(n)
    unit_sigma = closing.sigma(*closing.adjugate(n / np.sin(m.distal)[:, None]))
    kind = (np.abs(link) <= SINGULAR).any(axis=0) + 2 * (unit_sigma <= SINGULAR)
    return _Pose(shape, w, p, n, link, pairs, volume, kind)


def _jacobian(m: Mechanism, pose: _Pose, singular: str) -> Floats:
    bad = pose.kind >= 2
    if singular != "nan" and bad.any():
        raise _no_jacobian(m, pose, bad)
    return _batched(pose.pairs * pose.link / np.where(bad, np.nan, pose.volume), pose.shape)


def _inverse(m: Mechanism, pose: _Pose, singular: str) -> Floats:
    bad = pose.kind % 2 == 1
    if singular != "nan" and bad.any():
        raise _no_inverse(m, pose, bad)
    link = np.where(np.abs(pose.link) <= SINGULAR, np.nan, pose.link)
    return _batched(np.swapaxes(pose.n, 0, 1) / link[:, None], pose.shape)


def _elbow(m: Mechanism, pose: _Pose) -> Floats:
    """Signed angle between the planes of the two links of each leg, columns."""
    up = np.einsum("iln,li->ln", pose.p, m.base_axes)
    along = np.cos(m.proximal)[:, None] * (pose.w * pose.p).sum(axis=0)
    return np.asarray(np.arctan2(pose.link, up - along))


def _batched(columns: Floats, shape: tuple[int, ...]) -> Floats:
    return closing.from_columns(columns).reshape(*shape, 3, 3)


def _no_jacobian(m: Mechanism, pose: _Pose, bad: NDArray[np.bool_]) -> SingularError:
    row = int(np.argmax(bad))
    index, kind = batch_index(row, pose.shape), int(pose.kind[row])
    flat, how = _flat_leg(m, pose, row)
    more = "" if kind == 2 else f", and leg {flat + 1} is {how} as well"
    return SingularError(
        f"{place('orientation', index)} is singular of type {kind}: its normals w x R v are coplanar{more}; with the "
        "motors held the platform still turns about the axis perpendicular to them, so there is no Jacobian; keep "
        "away from here, or mark such poses with singular='nan'",
        pose=index,
        kind=kind,
    )


def _no_inverse(m: Mechanism, pose: _Pose, bad: NDArray[np.bool_]) -> SingularError:
    row = int(np.argmax(bad))
    index, kind = batch_index(row, pose.shape), int(pose.kind[row])
    flat, how = _flat_leg(m, pose, row)
    more = "" if kind == 1 else ", and the normals w x R v are coplanar as well"
    return SingularError(
        f"{place('orientation', index)} is singular of type {kind}: leg {flat + 1} is {how}{more}; no "
        "rate of its motor turns the platform about the normal of that leg, so there is no inverse Jacobian; keep "
        "away from here, or mark such poses with singular='nan'",
        pose=index,
        leg=flat,
        kind=kind,
    )


def _flat_leg(m: Mechanism, pose: _Pose, row: int) -> tuple[int, str]:
    """The leg of a pose that is nearest to lying flat, and how it lies."""
    flat = int(np.argmin(np.abs(pose.link[:, row])))
    return flat, "folded" if abs(_elbow(m, pose)[flat, row]) < np.pi / 2 else "stretched"
