"""Which ratio a task needs: the torque and the speed that it asks for, against the curve of the motor.

At a ratio r a joint that turns at s needs a motor that turns at r s, and has there ``r * efficiency * curve(r s)``. A
small ratio lacks torque. A large one makes the motor so fast that its torque falls away. In between lie the ratios
that do, if there are any: torque times speed does not change across a drive, so no ratio mends a lack of power.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ... import rotation
from ..._check import LONGEST, Floats, finite, instance, modes, rotations, upwards
from ..._travel import Frozen
from ...inverse import inverse_kinematics
from ...mechanism import Mechanism, deg, joint
from ...reach import Certificate
from . import motor
from .belt import BeltDrive
from .checks import at_least, share
from .worst import Load, Worst, listed, proved

__all__ = ["Sizing", "size_drive"]

FASTEST = 30.0
"""rad/s, nearly five turns a second. At that rate a platform crosses a reach of 100° in 60 ms; no joint of this kind
is so fast, and a larger number is in degrees a second."""


@dataclass(frozen=True, eq=False, repr=False)
class Sizing(Frozen):
    """What `size_drive` found. Every `Worst` is a pair: `.bound`, which nothing exceeds, and `.met`."""

    ratio: float
    """The smallest ratio that is known to do, with the margin."""
    largest: float
    """From `ratio` up to this every ratio does; above it the motor would be too fast for its torque."""
    least: float
    """No smaller ratio does: it would fail at an orientation that is known. Between `least` and `ratio` it is open;
    over a list of orientations they are the same."""
    proved: bool
    """Whether the bounds hold all over a certified set; False: over the orientations given, and none between them."""
    torque: Worst
    """What the load asks of a joint, in N·m, without the margin and without friction in the drive."""
    speed: Worst
    """How fast a joint turns, in rad/s."""
    step: Worst
    """How far the platform turns per turn of one joint, the others held; without a unit."""
    corner: Worst
    """How far it turns where all three joints turn by as much, in their worst senses."""
    margin: float
    """What was asked for."""
    curve: Floats
    """(n, 2): speed of the motor in rad/s, and the torque in N·m that it has there and at every lower speed."""
    pairs: Floats
    """(k, 2): joint speed and torque that were asked for together."""

    def orientation_step(self, drive: BeltDrive) -> Worst:
        """How far the platform turns, in radians and at worst, when one motor makes one microstep."""
        return Worst(*(value * _drive(drive).step_angle for value in self.step))

    def rounding_error(self, drive: BeltDrive) -> Worst:
        """How far the platform is from what was asked, in radians and at worst, since steps are whole.

        Each joint is off by up to half a step. To first order: a step squared is small beside a step.
        """
        return Worst(*(value * _drive(drive).step_angle / 2 for value in self.corner))

    def margin_of(self, drive: BeltDrive) -> float:
        """What the drive has, over what is needed, at worst: torque available at the joint by torque asked for."""
        speed, torque = self.pairs.T
        have = _drive(drive).joint_torque(motor.torque_at(self.curve, drive.motor_speed(speed)))
        return float((have / np.where(torque > 0, torque, np.nan)).min(initial=np.inf, where=torque > 0))

    def __repr__(self) -> str:
        kind = "proved over the certified set" if self.proved else "over the orientations given, none between them"
        return (
            f"Sizing, {kind}:\n  ratio from {self.ratio:.4g} to {self.largest:.4g} with margin {self.margin:g}; none "
            f"below {self.least:.4g}\n  joint torque {_range(self.torque, 1)} N·m, joint speed "
            f"{_range(self.speed, 1 / deg)} °/s\n  platform per joint turn {_range(self.step, 1)} with one motor, "
            f"{_range(self.corner, 1)} with all three"
        )


def size_drive(
    m: Mechanism,
    over: Certificate | ArrayLike | object,
    *,
    mass: float,
    offset: ArrayLike,
    up: ArrayLike,
    speed: float,
    curve: ArrayLike,
    margin: float = 2.0,
    efficiency: float = 0.9,
    moment: float = 0.0,
    mode: ArrayLike | None = None,
) -> Sizing:
    """The smallest ratio that carries a payload over a whole set of orientations, with a margin.

        margin * torque <= ratio * efficiency * curve(ratio * joint speed)

    Over a proved certificate: for **every** orientation of its set, by bounds that are at most a twentieth above what
    is met there (the speed as sharp as the certificate's least D; all of it looser next to singular poses). The
    largest torque and the largest speed are taken together, though they may belong to different orientations: that
    is on the safe side, and part of what lies between `.least` and `.ratio`. Over a list: each orientation with its
    own torque and speed, and nothing between.

    The model is that of a joint at rest or at a steady rate: weight and `moment`; no friction in the joint, no weight
    of the links. A payload with inertia I that is accelerated by alpha adds I * alpha to `moment`. The motor's own
    rotor is left out: seen from the joint its inertia counts ratio² times.

    Parameters
    ----------
    m : Mechanism
        The joint.
    over : Certificate, or (..., 3, 3)
        Where: a proved certificate of this joint, or orientations.
    mass, offset, up
        As for `payload_moment`: kg; (3,) from the centre of the joint in platform coordinates, in m; (3,), a unit
        vector in base coordinates: which way is up.
    speed : float
        Angular rate of the platform about any axis, up to this, in rad/s, in [0, 30]: ``360*deg``.
    curve : (n, 2)
        Motor speed in rad/s, rising from 0, and the torque in N·m that it has there; straight between the rows, none
        beyond the last. ``(300*rpm, 0.33)`` is a row. For a stepping motor its pull-out torque at your voltage. Where
        it dips and recovers, it counts as not recovered: the motor has to pass the dip.
    margin : float
        Available over needed torque, at least 1.
    efficiency : float
        As for `BeltDrive`.
    moment : float
        Of any direction, on the platform, besides the weight (wind, a cable, inertia), in N·m.
    mode : (3,), optional
        Working mode over a list, (1, 1, 1) unless given; a certificate has its own.

    Raises
    ------
    ValueError, TypeError
        The certificate is not proved, or of another joint; no ratio does (the message says what is short); an
        argument is out of its range. UnreachableError, SingularError: the joint cannot take an orientation of a list.
    """
    m, rows, rate = joint(m), motor.falling(motor.checked(curve)), _rate(speed)
    factor = at_least(margin, "margin", 1.0, "times what is needed") / share(efficiency, "efficiency")
    load = Load(
        at_least(mass, "mass", 0.0, "kg"),
        _arm(offset),
        _three(upwards(up), "up"),
        at_least(moment, "moment", 0.0, "N·m"),
    )
    certified = isinstance(over, Certificate)
    if isinstance(over, Certificate):
        demands = proved(m, _of_this_joint(m, over, mode), load)
    else:
        demands = listed(m, _some(over), _one_mode(mode), load)
    scale = np.array([rate, 1.0])
    least, _ = _ratios(rows, demands.met * scale, factor, "an orientation of the set")
    ratio, largest = _ratios(rows, demands.bound * scale, factor, "the bounds over the set")
    return Sizing(
        ratio=ratio,
        largest=largest,
        least=least,
        proved=certified,
        torque=demands.torque,
        speed=Worst(*(rate * value for value in demands.rate)),
        step=demands.step,
        corner=demands.corner,
        margin=margin,
        curve=rows,
        pairs=demands.bound * scale,
    )


def _drive(value: object) -> BeltDrive:
    return instance(value, "drive", BeltDrive)


def _ratios(rows: Floats, pairs: Floats, factor: float, what: str) -> tuple[float, float]:
    """The smallest ratio for pairs of joint speed and torque, and up to where the larger ones do as well."""
    speed, torque = pairs[:, 0], pairs[:, 1] * factor
    ratio = motor.smallest_ratio(rows, speed, torque)
    if np.isfinite(ratio):
        return ratio, motor.largest_ratio(rows, speed, torque, ratio)
    k = int(np.argmax(speed * torque))
    raise ValueError(
        f"no ratio does: {what} asks for {torque[k]:.3g} N·m at {speed[k] / deg:.3g} °/s with margin and losses, "
        f"{speed[k] * torque[k]:.3g} W, and the motor gives {motor.most_power(rows):.3g} W at most; go slower, carry "
        "less, take a smaller margin, a smaller set or a stronger motor"
    )


def _of_this_joint(m: Mechanism, c: Certificate, mode: ArrayLike | None) -> Certificate:
    """The certificate, if it is proved and of this joint."""
    if mode is not None:
        raise TypeError(f"mode is given beside a certificate, which is about mode {c.mode}; leave mode out")
    if not c.proved:
        raise ValueError(
            f"the certificate is {c.status}: {c.reason}; size over a proved one, such as that of largest_tilt, or "
            "over a list of orientations"
        )
    start = inverse_kinematics(m, rotation.rz(c.start_torsion), c.mode, unreachable="nan")
    if not np.abs(start - c.start).max() < 1e-9:  # the same formula on the same numbers: rounding at most
        raise ValueError(
            "the certificate is of another joint: its motors start elsewhere; certify the joint that you size"
        )
    return c


def _some(over: ArrayLike | object) -> Floats:
    poses = rotations(over, "over").reshape(-1, 3, 3)
    if not len(poses):
        raise ValueError("over holds no orientation; give at least one, or a proved certificate")
    return poses


def _one_mode(value: ArrayLike | None) -> Floats:
    mode = np.asarray(modes((1, 1, 1) if value is None else value), dtype=np.float64)
    if mode.shape != (3,):
        raise ValueError(f"mode has shape {mode.shape}; a drive is sized for one working mode, so its shape is (3,)")
    return mode


def _three(value: ArrayLike, name: str) -> Floats:
    vector = finite(value, name, 3)
    if vector.shape != (3,):
        raise ValueError(f"{name} has shape {vector.shape}; a drive is sized for one payload, so its shape is (3,)")
    return vector


def _arm(offset: ArrayLike) -> Floats:
    vector = _three(offset, "offset")
    far = float(np.abs(vector).max())
    if far > LONGEST:
        raise ValueError(
            f"offset holds {far:g} m; its entries must be at most {LONGEST:g} m: for millimetres write {far:g}*mm"
        )
    return vector


def _rate(speed: float) -> float:
    rate = at_least(speed, "speed", 0.0, "rad/s")
    if rate > FASTEST:
        raise ValueError(
            f"speed is {rate:g} rad/s, {rate / (2 * np.pi):.3g} turns of the platform a second; it must be at most "
            f"{FASTEST:g} rad/s: for degrees a second write {rate:g}*deg"
        )
    return rate


def _range(worst: Worst, scale: float) -> str:
    low, high = (f"{value * scale:.3g}" for value in (worst.met, worst.bound))
    return f"{low}" if low == high else f"{low} (met) to {high} (bound)"
