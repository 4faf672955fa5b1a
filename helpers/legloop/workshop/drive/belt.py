"""One toothed belt between a stepping motor and a joint: its geometry, and steps, torque and speed across it.

The model. Both pulleys lie in one plane. The belt is thin and stiff, and runs on the pitch circles, of diameter
``teeth * pitch / pi``; its two free parts are straight. Torque and speed go across by the ratio; what is lost on the
way is one factor, `efficiency`. Left out are stretch, backlash between the teeth, pretension and its load on the
bearings, and what makes a stepping motor skip other than the torque that it is asked for.

An open belt (not crossed) turns both pulleys in the same sense. So one sign serves motor, steps and joint; which sign
that is, and where zero lies, is said by a `Convention` and nowhere else.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import KW_ONLY, dataclass
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..._check import LONGEST, Floats, finite, instance, numbers, one, whole
from ...convention import Convention
from ...mechanism import deg
from ..units import mm
from .checks import full_steps, length, share
from .loop import FEWEST, around, pitch_of
from .practice import DriveWarning, advice

__all__ = ["BeltDrive", "OpenBelt"]

COUNTER = 2**53
"""Beyond so many steps a float does not tell one from the next."""


class OpenBelt(NamedTuple):
    """What `BeltDrive.open_belt` gives."""

    length: float
    """What to cut, in metres."""
    most: float
    """How far the joint can turn from end to end, in radians: at either end the clamp is at a tangent point."""
    left: float
    """What of that is left on each side, in radians, when the clamp faces away from the motor at mid travel."""


@dataclass(frozen=True, repr=False)
class BeltDrive:
    """A motor pulley, a joint pulley, and a toothed belt round both. A frozen value.

    Parameters
    ----------
    motor_teeth, joint_teeth : int
        Teeth of the two pulleys, at least 6 each.
    pitch : float
        From tooth to tooth along the belt, in metres: ``2*mm``; from 0.5 mm to 50 mm.
    centre_distance : float
        From shaft to shaft, in metres: ``60*mm``; more than half the sum of the pitch diameters, at most 10 m.
    steps_per_turn, microsteps : int
        Full steps of the motor in one turn (200 of 1.8° is common), and steps of the controller in one full step.
    width : float
        Of the belt, in metres, up to 0.5 m.
    efficiency : float
        Torque that arrives at the joint, as a part of what the ratio promises, in (0, 1]. Toothed belts alone reach
        0.95 to 0.98 (common practice, from memory); the bearings take their share.

    Warns
    -----
    DriveWarning
        Fewer than six teeth in mesh, a centre distance out of the usual range, a pitch that may be 0.080 in and not
        2 mm. Such a drive can be built, so it is no error; and a mere attribute would be overlooked, so it is a
        warning. A program that tries many drives may ignore the category and read `.notes`, which say the same.

    Raises
    ------
    ValueError, TypeError
        A count is not whole, a length looks like millimetres, the pulleys overlap, an efficiency is above 1; the
        message names the value and the repair.
    """

    motor_teeth: int
    joint_teeth: int
    _: KW_ONLY
    pitch: float
    centre_distance: float
    steps_per_turn: int = 200
    microsteps: int = 16
    width: float = 6 * mm
    efficiency: float = 0.9

    def __post_init__(self) -> None:
        checked = {
            "motor_teeth": whole(self.motor_teeth, "motor_teeth", FEWEST, "teeth"),
            "joint_teeth": whole(self.joint_teeth, "joint_teeth", FEWEST, "teeth"),
            "pitch": pitch_of(self.pitch),
            "centre_distance": length(self.centre_distance, "centre_distance", 1 * mm, LONGEST),
            "steps_per_turn": full_steps(self.steps_per_turn, "steps_per_turn"),
            "microsteps": whole(self.microsteps, "microsteps", 1, "microsteps"),
            "width": length(self.width, "width", 0.5 * mm, 0.5),
            "efficiency": share(self.efficiency, "efficiency"),
        }
        for name, value in checked.items():
            object.__setattr__(self, name, value)  # plain int and float, also where NumPy's came in
        least = sum(self.pitch_diameters) / 2
        if not self.centre_distance > least:
            raise ValueError(
                f"centre_distance is {self.centre_distance / mm:g} mm; pulleys of {self.motor_teeth} and "
                f"{self.joint_teeth} teeth overlap below {least / mm:.4g} mm: "
                "move the shafts apart, or take fewer teeth"
            )
        for note in self.notes:
            warnings.warn(note, DriveWarning, stacklevel=3)  # the line that makes the drive

    @property
    def ratio(self) -> float:
        """``joint_teeth / motor_teeth``: turns of the motor in one turn of the joint."""
        return self.joint_teeth / self.motor_teeth

    @property
    def pitch_diameters(self) -> tuple[float, float]:
        """``teeth * pitch / pi`` of motor and joint pulley, in metres; the metal measures a little less."""
        return self.motor_teeth * self.pitch / math.pi, self.joint_teeth * self.pitch / math.pi

    @property
    def lean(self) -> float:
        """Angle in radians between a free part of the belt and the line of the shafts.

        ``sin(lean) = (D - d) / (2 C)``, with the pitch diameters D of the joint pulley and d of the motor pulley, and
        C from shaft to shaft. Negative where the motor pulley is the larger.
        """
        d, D = self.pitch_diameters
        return math.asin((D - d) / (2 * self.centre_distance))

    @property
    def span(self) -> float:
        """Length of each of the two free parts of the belt, in metres: ``C cos(lean)``."""
        return self.centre_distance * math.cos(self.lean)

    @property
    def belt_length(self) -> float:
        """Length of a closed belt along its pitch line, in metres, exact for this model:

        ``2 C cos(lean) + (pi - 2 lean) d / 2 + (pi + 2 lean) D / 2``
        """
        return around(*self.pitch_diameters, self.centre_distance)

    @property
    def belt_teeth(self) -> float:
        """``belt_length / pitch``. A closed belt has a whole number: see `standard_centre_distance`."""
        return self.belt_length / self.pitch

    @property
    def teeth_in_mesh(self) -> float:
        """Teeth on the arc that the belt covers of the smaller pulley: ``teeth (pi - 2 |lean|) / (2 pi)``."""
        return min(self.motor_teeth, self.joint_teeth) * (0.5 - abs(self.lean) / math.pi)

    @property
    def steps_per_joint_turn(self) -> Fraction:
        """``steps_per_turn * microsteps * joint_teeth / motor_teeth``, exact; not always a whole number."""
        return Fraction(self.steps_per_turn * self.microsteps * self.joint_teeth, self.motor_teeth)

    @property
    def step_angle(self) -> float:
        """How far the joint turns in one microstep of the motor, in radians."""
        return float(2 * math.pi / self.steps_per_joint_turn)

    @property
    def notes(self) -> tuple[str, ...]:
        """What practice advises against in this drive, each in one sentence; empty if nothing."""
        teeth = self.motor_teeth, self.joint_teeth
        return tuple(
            advice(
                teeth, self.pitch_diameters, self.centre_distance, self.teeth_in_mesh, self.pitch, self.belt_length
            )
        )

    def steps(self, theta: ArrayLike, *, convention: Convention | None = None) -> NDArray[np.int64]:
        """Motor positions, in microsteps counted from zero, of joint angles: ``round(theta / step_angle)``.

        Each angle is rounded once, by itself, to the nearest step (a tie to the even one): no error adds up along a
        path, and none over whole turns. `theta` (...) in radians, int64 of the same shape.

        Without `convention` the angles are counted as the machine counts them: 0 where its counter is 0, positive
        where its steps are. With it they are ours, (..., 3) and legs in our order, and
        ``convention.angles_to_theirs`` brings signs, zeros and the order of the motors. ValueError for an angle that
        is not finite, or too large to be counted.
        """
        angles = (
            finite(theta, "theta")
            if convention is None
            else instance(convention, "convention", Convention).angles_to_theirs(theta)
        )
        counts = np.rint(angles * (float(self.steps_per_joint_turn) / (2 * math.pi)))
        if (np.abs(counts) > COUNTER).any():
            raise ValueError(f"theta holds angles of more than 2**53 steps, up to {np.abs(angles).max():.3g} rad")
        return np.asarray(counts.astype(np.int64))[()]

    def angle(self, steps: ArrayLike, *, convention: Convention | None = None) -> Floats:
        """Joint angles in radians at motor positions: ``steps * step_angle``, the way back from `steps`.

        `steps` (...) whole numbers, in microsteps; floats of the same shape. With `convention` they are (..., 3),
        motors in the order of the machine, and the angles are ours. ValueError for steps that are not whole.
        """
        counts = finite(numbers(steps, "steps"), "steps")
        if (counts != np.rint(counts)).any():
            raise ValueError(
                f"steps holds {counts[counts != np.rint(counts)].flat[0]:g}; a motor makes whole microsteps: "
                "round once, with .steps(theta)"
            )
        if (np.abs(counts) > COUNTER).any():
            raise ValueError(
                f"steps holds {np.abs(counts).max():.6g}, more than 2**53: a float does not tell it exactly"
            )
        angles = counts * self.step_angle
        if convention is not None:
            angles = instance(convention, "convention", Convention).angles_to_ours(angles)
        return np.asarray(angles)[()]

    def joint_torque(self, motor_torque: ArrayLike) -> Floats:
        """Torque at the joint, N·m, that a motor torque raises a load with: ``motor_torque * ratio * efficiency``."""
        return np.asarray(finite(motor_torque, "motor_torque") * (self.ratio * self.efficiency))[()]

    def motor_torque(self, joint_torque: ArrayLike) -> Floats:
        """Torque that the motor needs to raise a load of so many N·m at the joint, friction included."""
        return np.asarray(finite(joint_torque, "joint_torque") / (self.ratio * self.efficiency))[()]

    def joint_speed(self, motor_speed: ArrayLike) -> Floats:
        """Speed of the joint in rad/s: ``motor_speed / ratio``."""
        return np.asarray(finite(motor_speed, "motor_speed") / self.ratio)[()]

    def motor_speed(self, joint_speed: ArrayLike) -> Floats:
        """Speed of the motor in rad/s: ``joint_speed * ratio``."""
        return np.asarray(finite(joint_speed, "joint_speed") * self.ratio)[()]

    def belt_pull(self, joint_torque: ArrayLike) -> Floats:
        """By how many newtons the pulling part of the belt is tighter than the other: ``2 joint_torque / D``."""
        return np.asarray(2 * finite(joint_torque, "joint_torque") / self.pitch_diameters[1])[()]

    def open_belt(self, travel: float, *, clamp: float = 10 * mm, tail: float = 0.0) -> OpenBelt:
        """A belt cut to length, both ends in one clamp on the joint pulley: its length, and the travel it leaves.

            length = belt_length + 2 tail,    most = pi + 2 lean - 2 clamp / D,    left = (most - travel) / 2

        The belt covers ``pi + 2 lean`` of the joint pulley, a little more than half a turn, and the clamp must stay
        within. The ends meet under the middle of the clamp; at mid travel, which need not be home, it faces away from
        the motor. Common practice, no source.

        Parameters
        ----------
        travel : float
            What the joint needs from end to end, in radians; 0 asks for `most` alone.
        clamp : float
            Length of the clamp along the belt, in metres.
        tail : float
            How much of each end is held beyond that, such as a tooth or two turned inwards, in metres.

        Raises
        ------
        ValueError
            The travel is more than the clamp leaves.
        """
        wanted = one(travel, "travel")
        if wanted < 0:
            raise ValueError(f"travel is {wanted:g} rad; it is counted from end to end and not negative: high - low")
        D = self.pitch_diameters[1]
        most = math.pi + 2 * self.lean - 2 * length(clamp, "clamp", 0.0, math.pi * D) / D
        if wanted > most:
            raise ValueError(
                f"travel is {wanted / deg:.4g}°; the clamp would run onto the motor's side, it leaves "
                f"{max(most, 0.0) / deg:.4g}°: take a larger joint pulley or a shorter clamp, or a closed belt, "
                "which has no end of travel"
            )
        cut = self.belt_length + 2 * length(tail, "tail", 0.0, 1.0)
        return OpenBelt(cut, most, (most - wanted) / 2)

    def __repr__(self) -> str:
        d, D = (diameter / mm for diameter in self.pitch_diameters)
        lines = [
            f"BeltDrive {self.motor_teeth} : {self.joint_teeth}, ratio {self.ratio:.4g}, "
            f"pitch {self.pitch / mm:g} mm, belt {self.width / mm:g} mm wide",
            f"  pitch diameters {d:.3f} and {D:.3f} mm, {self.centre_distance / mm:.6g} mm apart; "
            f"closed belt {self.belt_length / mm:.3f} mm = {self.belt_teeth:.2f} teeth",
            f"  {self.teeth_in_mesh:.2f} teeth in mesh; one of {self.steps_per_joint_turn} steps is "
            f"{self.step_angle / deg:.4g}°",
        ]
        return "\n".join([*lines, *(f"  note: {note}" for note in self.notes)])
