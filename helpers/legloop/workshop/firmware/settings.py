"""What one header is about: the checked arguments, folded into constants, and how well they are computed with.

A machine may have its own frames, leg numbers, senses and zeros: a `Convention`. All of it goes into the constants,
so that the C has one formula and no sign of its own. With S the sense and z the zero of their leg, their angle t is
our ``S t + z``; so in their frames

    a = sin(alpha_1) x' . p,   b = sin(alpha_1) y' . p,   c = cos(alpha_1) u' . p - cos(alpha_2),   p = R_theirs v'
    x' = base (cos z x + sin z y),   y' = S base (cos z y - sin z x),   u' = base u,   v' = platform v

and the curve ``a cos t + b sin t + c`` rises at its root where mode times S is +1.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ... import leg
from ..._check import Floats, batch, finite, modes
from ...convention import Convention
from ...inverse import inverse_kinematics
from ...mechanism import Mechanism, joint
from ..drive import BeltDrive
from .limits import Limits, limits_of
from .singular import Floors, floors_of, unit_volume

__all__ = ["SCALARS", "Answers", "Settings", "Status", "angle_error", "settings"]

SCALARS: dict[str, Any] = {"float": np.float32, "double": np.float64}

RESIDUE = float(16 * np.finfo(np.float64).eps)
"""Entries of frames below this are what rounding left of a zero, such as cos(90°): they are written as zero."""


class Status(IntEnum):
    """What the C functions return. The header has the same names, with LEGLOOP_ before them."""

    SOLVED = 0
    NOT_UNIT = 1
    NOT_ROTATION = 2
    UNREACHABLE = 3
    UNDETERMINED = 4
    JUMP = 5
    TRAVEL = 6
    BAD_ARGUMENT = 7
    NEAR_TYPE_1 = 8
    NEAR_TYPE_2 = 9
    CROSSED_TYPE_2 = 10


def angle_error(discriminant: ArrayLike, theta: ArrayLike = np.pi, *, scalar: str = "float") -> Floats:
    """By how much rounding may falsify a motor angle of the header, in radians: ``eps (32 / sqrt(D) + |theta|)``.

    eps is 1.2e-7 for float, 2.2e-16 for double; D > 0 the discriminant of the leg, theta the angle, each (...). It
    counts from the matrix as the processor holds it: to round its entries is to ask for a slightly different turn.

    Where it comes from, in units of u = eps / 2. Each coordinate of p = R v misses by at most 4 u (one constant, one
    product, two sums); the pair (a, b) by 12.6 u sin(alpha_1), c by 10.9 u |cos(alpha_1)| and 2 u more; together they
    move the curve ``a cos(theta) + b sin(theta) + c`` by at most 19 u, and the rounding of D and its root counts as
    3.5 u more: E = 22.5 u. The slope of the curve at the root is sqrt(D), so theta moves by E / sqrt(D), and, as the
    slope itself shrinks towards the edge of reach, by never more than twice that: 45 u / sqrt(D). Sine and cosine of
    theta, atan2 to two units of its last place, and the turns add 14 u and 2 u |theta|; and sqrt(D) <= 1. Where D = 0
    this bound is infinite; there ``2 arcsin(sqrt(E / 2 h))``, h = sqrt(a^2 + b^2), still holds: half of the digits.
    ValueError for D < 0, shapes that do not broadcast, and a scalar that is neither "float" nor "double".
    """
    square, angle = finite(discriminant, "discriminant"), finite(theta, "theta")
    batch(discriminant=square.shape, theta=angle.shape)
    if (square < 0).any():
        raise ValueError(f"discriminant holds {square.min():g}; where it is negative the leg does not close")
    with np.errstate(divide="ignore"):
        return np.asarray(float(np.finfo(_scalar(scalar)).eps) * (32 / np.sqrt(square) + np.abs(angle)))[()]


class Answers(NamedTuple):
    """Of n poses; motors and legs in the order of the machine."""

    codes: NDArray[np.int_]
    """(n,): of `Status`."""
    theta: Floats
    """(n, 3): as the machine counts, whatever the code; NaN where a leg does not close."""
    D: Floats
    """(n, 3): discriminants."""
    volume: Floats
    """(n,): V; NaN where a leg does not close."""


@dataclass(frozen=True, eq=False)
class Settings:
    """The checked arguments of `write_header`, and what is folded from them; legs in the order of the machine."""

    m: Mechanism
    mode: NDArray[np.int_]
    """Ours, as given."""
    convention: Convention
    drive: BeltDrive | None
    scalar: str
    limits: Limits | None
    """None where none were given."""
    floors: Floors
    """How near to singular poses it may come."""
    platform: Floats
    """(3, 3): v' of each leg."""
    rows: Floats
    """(3, 3, 3): of each leg the rows that give a, b and c from p."""
    constant: Floats
    """(3,): what is subtracted in c."""
    elbow: tuple[int, int, int]

    @property
    def eps(self) -> float:
        """Unit in the last place of 1."""
        return float(np.finfo(SCALARS[self.scalar]).eps)

    @property
    def least_discriminant(self) -> Floats:
        """(3,): least D of each leg, legs in the order of the machine."""
        return self.floors.least_discriminant(self.m)[list(self.convention.leg_order)]

    @property
    def middle(self) -> Floats:
        """(3,): which of the angles that differ by whole turns `legloop_solve` takes: the one nearest to this."""
        return np.zeros(3) if self.limits is None else self.limits.middle

    @property
    def home(self) -> Floats | None:
        """(3,): motor angles at our R = I as the machine counts; None where the joint has none there."""
        angle = self.answers(self.convention.orientation_to_theirs(np.eye(3))[None]).theta[0]
        return None if np.isnan(angle).any() else angle

    @property
    def notes(self) -> tuple[str, ...]:
        """What to say of home and the limits."""
        home = self.home
        return () if self.limits is None or home is None else self.limits.notes(home, self.convention)

    def rounded(self, R: Floats) -> Floats:
        """Orientations as the C holds them, in float64."""
        return np.asarray(R.astype(SCALARS[self.scalar]).astype(np.float64) + 0.0)

    def answers(self, theirs: Floats) -> Answers:
        """What `legloop_solve` must answer at their orientations (n, 3, 3)."""
        R = self.convention.orientation_to_ours(theirs)
        ours = inverse_kinematics(self.m, R, self.mode, unreachable="nan")
        lost, order = np.isnan(ours), list(self.convention.leg_order)
        angle = self.convention.angles_to_theirs(np.where(lost, 0.0, ours))
        turns = (self.middle - angle) / (2 * np.pi)
        angle += 2 * np.pi * (np.floor(turns) + (turns - np.floor(turns) >= 0.5))
        angle = _without_residue(angle)
        angle[lost.any(axis=1)] = np.nan
        a_b_c = self.m.leg_equation(R)
        D, free = leg.discriminant(*a_b_c)[:, order], leg.undetermined(*a_b_c)[:, order]
        failed = np.where(np.less(D, self.least_discriminant), Status.NEAR_TYPE_1, Status.SOLVED)
        failed = np.where(free, Status.UNDETERMINED, np.where(lost[:, order], Status.UNREACHABLE, failed))
        first = np.argmax(failed != Status.SOLVED, axis=1)  # the leg that fails first, as in the C
        code = failed[np.arange(len(failed)), first]
        volume = unit_volume(self.m, R, ours)
        code = np.where((code == Status.SOLVED) & (np.abs(volume) < self.floors.volume), Status.NEAR_TYPE_2, code)
        if self.limits is not None:
            low, high = self.limits.theirs.T
            beyond = ((angle < low) | (angle > high)).any(axis=1)
            code = np.where((code == Status.SOLVED) & beyond, Status.TRAVEL, code)
        return Answers(code, angle, D, volume)

    def steps(self, theta: Floats) -> NDArray[np.int64] | None:
        """Microsteps of their angles (n, 3); None without a drive."""
        return None if self.drive is None else np.asarray(self.drive.steps(theta))


def settings(
    m: object,
    mode: ArrayLike,
    convention: object,
    drive: object,
    motor_limits: ArrayLike | None,
    travel: ArrayLike | None,
    scalar: object,
    least_elbow: object,
    least_volume: object,
) -> Settings:
    """Check the arguments, and fold joint, mode and convention into constants."""
    m, signs = joint(m), modes(mode)
    if signs.shape != (3,):
        raise ValueError(f"mode has shape {signs.shape}; a header is about one working mode, as in (1, 1, 1)")
    if convention is not None and not isinstance(convention, Convention):
        raise TypeError(
            f"convention is an object of type {type(convention).__name__}; give a Convention, such as .convention of "
            "a calibration, or None for frames and angles of this package"
        )
    if drive is not None and not isinstance(drive, BeltDrive):
        raise TypeError(
            f"drive is an object of type {type(drive).__name__}; give a BeltDrive, or None for angles without steps"
        )
    type_of = _scalar(scalar)
    theirs = Convention() if convention is None else convention
    order, sense, zero = list(theirs.leg_order), np.array(theirs.sense), theirs.zero
    x, y, u = np.moveaxis(m.base_frames[order], -1, 0)  # (3, 3) each: legs, then xyz
    cosine, sine = np.cos(zero)[:, None], np.sin(zero)[:, None]
    turned = np.stack([cosine * x + sine * y, sense[:, None] * (cosine * y - sine * x), u], axis=1)
    first = m.proximal[order]
    size = np.stack([np.sin(first), np.sin(first), np.cos(first)], axis=1)
    first_elbow, second_elbow, third_elbow = (signs[order] * sense).tolist()
    return Settings(
        m,
        signs.astype(np.int_),
        theirs,
        drive,
        str(scalar),
        limits_of(motor_limits, travel, theirs, str(scalar), type_of),
        floors_of(least_elbow, least_volume),
        _without_residue(m.platform_axes[order] @ theirs.platform.T),
        _without_residue(size[..., None] * (turned @ theirs.base.T)),
        _without_residue(np.cos(m.distal[order])),
        (int(first_elbow), int(second_elbow), int(third_elbow)),
    )


def _without_residue(values: Floats) -> Floats:
    return np.where(np.abs(values) < RESIDUE, 0.0, values)


def _scalar(scalar: object) -> Any:
    if not isinstance(scalar, str) or scalar not in SCALARS:
        raise ValueError(f"scalar is {scalar!r}; it must be 'float' (most microcontrollers) or 'double'")
    return SCALARS[scalar]
