"""A joint as a value: where its three motor axes and platform axes lie, and how long its links are."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import leg, rotation
from ._check import Floats, angles, finite, modes, numbers, orientations, read_only, rotations, unit
from ._travel import Frozen
from .errors import SingularError, UnreachableError

__all__ = ["Mechanism", "deg", "joint", "no_motor_angle"]

deg = np.pi / 180
"""One degree in radians: ``60*deg`` writes an angle, ``theta/deg`` reads one."""


@dataclass(frozen=True, init=False, eq=False, repr=False)
class Mechanism(Frozen):
    """Three legs about one centre: motor axes, platform axes and link arcs. A frozen value.

    Parameters
    ----------
    base_frames : (3, 3, 3)
        Frame of each leg, in base coordinates; a rotation matrix with columns x, y, u: u is the motor axis, on
        which the first link turns, from the centre towards its bearing (with a belt, that of the link's pulley, not
        of the motor's shaft); theta counts from x towards y, right-handed about u.
    platform_axes : (3, 3)
        Row i is the unit vector v_i of the joint on the platform, in platform coordinates.
    proximal, distal : (3,) or one number for all
        Arcs alpha_1 (motor to elbow) and alpha_2 (elbow to platform) in radians, strictly between 0 and pi.

    Raises
    ------
    ValueError, TypeError
        A shape is wrong, a number is not finite, a frame is no rotation, an axis is not unit, an arc is out of
        its range; the message names the value and the repair.
    """

    base_frames: Floats
    platform_axes: Floats
    proximal: Floats
    distal: Floats
    coefficients: tuple[Floats, Floats] = field(init=False)
    """Matrix (9, 9) and constant (9,) of `leg.fold`."""

    def __init__(
        self, base_frames: ArrayLike, platform_axes: ArrayLike, proximal: ArrayLike, distal: ArrayLike
    ) -> None:
        frames = _of_shape(orientations(base_frames, "base_frames"), "base_frames", (3, 3, 3))
        axes = _of_shape(numbers(platform_axes, "platform_axes", 3), "platform_axes", (3, 3))
        values = {
            "base_frames": rotations(frames, "base_frames"),
            "platform_axes": unit(axes, "platform_axes"),
            "proximal": _arcs(proximal, "proximal"),
            "distal": _arcs(distal, "distal"),
        }
        for name, value in values.items():
            object.__setattr__(self, name, read_only(value))
        matrix, constant = leg.fold(self.base_frames, self.platform_axes, self.proximal, self.distal)
        object.__setattr__(self, "coefficients", (read_only(matrix), read_only(constant)))

    @classmethod
    def symmetric(
        cls,
        *,
        proximal: float,
        distal: float,
        base_cone: float,
        platform_cone: float,
        azimuths: Sequence[float] = (0.0, 120 * deg, 240 * deg),
        twist: float = 0.0,
    ) -> Mechanism:
        """The joint whose motor axes lie on one cone and whose platform axes lie on another.

            B_i = Rz(eta_i) Ry(pi - gamma) Rz(pi)          columns x, y, u
            u_i = Rz(eta_i) (sin gamma, 0, -cos gamma)
            v_i = Rz(eta_i + twist) (sin beta, 0, cos beta)

        At theta = 0 the first link lies in the meridian of its own motor axis, pointing outwards and up.

        Parameters
        ----------
        proximal, distal : float
            Link arcs alpha_1, alpha_2 in radians, strictly between 0 and pi.
        base_cone : float
            gamma, the angle between -z and every motor axis, in [0, pi]; 0 is the coaxial joint.
        platform_cone : float
            beta, the angle between the platform's +z and every platform axis, in [0, pi].
        azimuths : three floats
            eta_i of the legs, in radians between -2 pi and 2 pi, no two alike.
        twist : float
            Azimuth of v_i beyond that of u_i at R = I, in radians between -2 pi and 2 pi.
        """
        gamma = _within(base_cone, "base_cone", 0.0, np.pi, "[0, pi]")
        beta = _within(platform_cone, "platform_cone", 0.0, np.pi, "[0, pi]")
        turn = _within(twist, "twist", -2 * np.pi, 2 * np.pi, "[-2 pi, 2 pi]")
        eta = angles(azimuths, "azimuths", (3,), -2 * np.pi, 2 * np.pi, "[-2 pi, 2 pi]")
        for i, k in ((0, 1), (0, 2), (1, 2)):
            if abs(np.sin((eta[i] - eta[k]) / 2)) < 1e-9:
                raise ValueError(
                    f"azimuths[{i}] and azimuths[{k}] are the same direction ({eta[i] / deg:.6g}° and "
                    f"{eta[k] / deg:.6g}°): two legs would lie on top of each other; space them out"
                )
        to_leg = rotation.ry(np.pi - gamma) @ rotation.rz(np.pi)
        in_meridian = np.array([np.sin(beta), 0.0, np.cos(beta)])
        return cls(
            rotation.rz(eta) @ to_leg,
            rotation.rz(eta + turn, turns=True) @ in_meridian,
            _within(proximal, "proximal", 0.0, np.pi, "(0, pi)"),
            _within(distal, "distal", 0.0, np.pi, "(0, pi)"),
        )

    @property
    def base_axes(self) -> Floats:
        """Motor axes u_i, (3, 3): leg, then xyz in base coordinates."""
        return self.base_frames[:, :, 2]

    def elbow_axes(self, theta: ArrayLike) -> Floats:
        """Elbow axes w_i at motor angles theta, (..., 3) in radians; (..., 3, 3): leg, then xyz of the base.

        ``w_i = B_i (sin alpha_1 cos theta_i, sin alpha_1 sin theta_i, cos alpha_1)``. ValueError for an angle that is
        not finite.
        """
        angle = finite(theta, "theta", 3)
        s, c = np.sin(self.proximal), np.cos(self.proximal)
        local = np.stack([s * np.cos(angle), s * np.sin(angle), np.broadcast_to(c, angle.shape)], axis=-1)
        return np.asarray(np.einsum("lij,...lj->...li", self.base_frames, local))

    def platform_axes_at(self, R: ArrayLike | object) -> Floats:
        """Platform axes R v_i for orientations R, (..., 3, 3); (..., 3, 3): leg, then xyz of the base.

        ValueError for what is no rotation.
        """
        return np.asarray(np.einsum("...ij,lj->...li", rotations(R), self.platform_axes))

    def leg_equation(self, R: ArrayLike | object) -> tuple[Floats, Floats, Floats]:
        """Coefficients a, b, c, each (..., 3), of ``a cos(theta) + b sin(theta) + c = 0`` for every leg.

        a = sin(alpha_1) x . R v,  b = sin(alpha_1) y . R v,  c = cos(alpha_1) u . R v - cos(alpha_2)

        for R (..., 3, 3); ValueError for what is no rotation.
        """
        matrix, constant = self.coefficients
        R = rotations(R)
        nine = R.reshape(*R.shape[:-2], 9) @ matrix.T + constant
        return nine[..., 0:3], nine[..., 3:6], nine[..., 6:9]

    def home_angles(self, mode: ArrayLike = (1, 1, 1)) -> Floats:
        """Motor angles at R = I, (..., 3) in radians, in working modes of shape (..., 3), as `inverse_kinematics`.

        Raises UnreachableError when a leg cannot close at home, SingularError when its angle may be anything.
        """
        theta = leg.motor_angle(*self.leg_equation(np.eye(3)), modes(mode))
        if np.isnan(theta).any():
            raise no_motor_angle(self, np.eye(3), "the home pose")
        return theta

    def __repr__(self) -> str:
        rows = zip(self.base_axes, self.platform_axes, self.proximal, self.distal, strict=True)
        return "Mechanism of three legs:" + "".join(
            f"\n  leg {i}: links {_degrees(first)} and {_degrees(second)}, "
            f"motor axis {_direction(u, '-z')}, platform axis {_direction(v, '+z')}"
            for i, (u, v, first, second) in enumerate(rows, start=1)
        )

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Mechanism):
            return NotImplemented
        return all(np.array_equal(mine, theirs) for mine, theirs in zip(self._key(), other._key(), strict=True))

    def __hash__(self) -> int:
        return hash(tuple((value + 0.0).tobytes() for value in self._key()))  # -0.0 equals 0.0, so hash it alike

    def _key(self) -> tuple[Floats, Floats, Floats, Floats]:
        return self.base_frames, self.platform_axes, self.proximal, self.distal


def joint(m: object) -> Mechanism:
    """`m`, if it is a Mechanism; a TypeError that says what it should have been, if not."""
    if not isinstance(m, Mechanism):
        shown = repr(m) if isinstance(m, str | int | float | None) else f"an object of type {type(m).__name__}"
        raise TypeError(
            f"the first argument must be a Mechanism, not {shown}; build one with Mechanism.symmetric(...)"
        )
    return m


def no_motor_angle(
    m: Mechanism, R: Floats, name: str, pose: tuple[int, ...] = (), count: int = 1
) -> UnreachableError | SingularError:
    """The error that says why orientation R, (3, 3), has no definite motor angles: which leg, and by how much.

    `name` is what the message calls the pose, `pose` its index in the batch, `count` how many poses failed.
    """
    undetermined = leg.undetermined(*m.leg_equation(R))
    axes = m.platform_axes_at(R)
    margins = leg.margin(m.base_axes, axes, m.proximal, m.distal)
    worst = int(np.argmin(margins))
    if undetermined.any() and margins[worst] > -leg.ROUNDING:
        worst = int(np.argmax(undetermined))
        return SingularError(
            f"{name}: the motor angle of leg {worst + 1} may be anything, since its platform axis lies along its "
            "motor axis; pass near= with the angles where the motors stand, and that leg keeps its own",
            pose=pose,
            leg=worst,
        )
    correction = leg.turn_into_reach(m.base_axes, axes, m.proximal, m.distal)
    repair = (
        "no turn of the platform was found that brings all legs within reach: check the joint"
        if correction is None
        else f"a turn of {np.linalg.norm(correction) / deg:.4g}° (rotation vector in .correction) brings it back"
    )
    others = f"; {count} poses of the batch are out of reach" if count > 1 else ""
    return UnreachableError(
        f"{name} is out of reach: leg {worst + 1} is {-margins[worst] / deg:.4g}° short of closing; {repair}{others}",
        pose=pose,
        leg=worst,
        shortfall=float(-margins[worst]),
        correction=correction,
        count=count,
    )


def _of_shape(array: NDArray[Any], name: str, shape: tuple[int, ...]) -> NDArray[Any]:
    if array.shape != shape:
        raise ValueError(
            f"{name} has shape {array.shape}; a joint has three legs, so its shape is {shape}: for each leg "
            + ("a frame, with the motor axis as its third column" if len(shape) == 3 else "a unit vector")
        )
    return array


def _within(value: float, name: str, low: float, high: float, interval: str) -> float:
    if finite(value, name).shape == (3,):
        raise ValueError(f"{name} has shape (3,); it is one angle for all legs; for unlike legs build Mechanism(...)")
    return float(angles(value, name, (), low, high, interval))


def _arcs(value: ArrayLike, name: str) -> Floats:
    array = finite(value, name)
    if array.shape not in ((), (3,)):
        raise ValueError(f"{name} has shape {array.shape}; give one arc for all legs or three")
    return np.broadcast_to(angles(array, name, array.shape, 0.0, np.pi, "(0, pi)"), (3,))


def _degrees(angle: float) -> str:
    return f"{round(angle / deg, 4) + 0.0:g}°"


def _direction(axis: Floats, pole: str) -> str:
    """An axis in words: how far from the pole, and at which azimuth."""
    away = float(leg.arc_between(np.array([0.0, 0.0, 1.0 if pole == "+z" else -1.0]), axis))
    if min(away, np.pi - away) < 1e-9:
        return f"{_degrees(away)} from {pole}"
    return f"{_degrees(away)} from {pole} at azimuth {_degrees(np.arctan2(axis[1], axis[0]))}"
