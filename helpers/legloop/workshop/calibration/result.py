"""What a calibration found, how sure it is, and what it could not see."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, instance, one
from ..._travel import Frozen
from ...convention import Convention
from ...forward import forward_kinematics
from ...mechanism import Mechanism, deg, joint
from ...rotation import angle_between, rz
from .checks import checked_pairs, checked_times
from .unseen import Unseen

__all__ = ["Calibration", "Finding", "pose_errors"]


class Finding(NamedTuple):
    """Something that is wrong with the machine or the data, and that no small correction explains.

    kind : "sense", "leg_order", "slip", "teeth" or "misfit". leg : index of our leg, or None. pose : index of the
    first pose that it concerns, or None. words : what it is, for people.
    """

    kind: str
    leg: int | None
    pose: int | None
    words: str


@dataclass(frozen=True, eq=False, repr=False)
class Calibration(Frozen):
    """What `calibrate` found.

    Attributes
    ----------
    mechanism : Mechanism
        The joint, with link angles and axes corrected if they were free.
    convention : Convention
        Frames, senses, leg order and zeros of the machine as it stands at the end of the session.
    drift : float
        Turn of the sensor's heading about its z axis, in rad/s; 0 unless it was free.
    residual : float
        Standard error of the sensor about one axis, in radians, as the poses kept show it:
        ``sqrt(sum of squared whitened closures / freedom)``.
    freedom : int
        Degrees of freedom: three for each pose kept, less one for each direction fitted.
    sigma : mapping of str to array
        Standard error of each unknown of `free`, in radians (drift: rad/s), from the residual: "base" and
        "platform" (3,) about our x, y, z; "zero" (3,) in their leg order; "proximal", "distal" (3,); "base_axes" and
        "platform_axes" (3, 2): leg, then the turn about either axis across it, as in `problem.Closures`. A gauge is
        left out; a direction that was held counts with what the poses alone know of it. With a drift, "base"
        is that in the middle of the session.
    unseen : tuple of Unseen
        Directions held where they were, named; a held link angle or axis is as drawn.
    outliers : tuple of int
        Indices of the poses left out.
    findings : tuple of Finding
        Wrong senses, slipped belts, and a residual far above what was stated.
    """

    mechanism: Mechanism
    convention: Convention
    drift: float
    residual: float
    freedom: int
    sigma: Mapping[str, Floats]
    unseen: tuple[Unseen, ...]
    outliers: tuple[int, ...]
    findings: tuple[Finding, ...]

    def errors(
        self, orientations: ArrayLike | object, motor_angles: ArrayLike, *, times: ArrayLike | None = None
    ) -> Floats:
        """`pose_errors` of this joint and convention; `times` (n,) in seconds where the heading drifts."""
        return pose_errors(self.mechanism, self.convention, orientations, motor_angles, drift=self.drift, times=times)

    def __repr__(self) -> str:
        zeros = ", ".join(
            f"{angle / deg:.2f}°" + (f" ± {s / deg:.2f}°" if "zero" in self.sigma else "")
            for angle, s in zip(self.convention.zero, self.sigma.get("zero", np.zeros(3)), strict=True)
        )
        lines = [
            f"Calibration: residual {self.residual / deg:.3f}° about each axis, {self.freedom} degrees of freedom",
            f"  zeros {zeros}",
        ]
        lines += [f"  {name}: ± {np.max(s) / deg:.2f}° at worst" for name, s in self.sigma.items() if name != "zero"]
        lines += [f"  not seen: {direction!r}" for direction in self.unseen]
        if self.outliers:
            lines.append(f"  left out: poses {', '.join(map(str, self.outliers))}")
        lines += [f"  {finding.kind}: {finding.words}" for finding in self.findings]
        return "\n".join(lines)


def pose_errors(
    m: Mechanism,
    convention: Convention,
    orientations: ArrayLike | object,
    motor_angles: ArrayLike,
    *,
    drift: float = 0.0,
    times: ArrayLike | None = None,
) -> Floats:
    """The turn from each measured orientation to the one that the joint predicts, (n,) in radians.

        angle(base^T R_measured platform, forward_kinematics(m, angles_to_ours(theta)))

    Parameters
    ----------
    m, convention : Mechanism, Convention
        As drawn, or as calibrated.
    orientations, motor_angles : (n, 3, 3), (n, 3)
        Theirs; radians. Poses that were not used to calibrate tell the truth.
    drift, times : float, (n,)
        Turn of the sensor's heading in rad/s, and when each pose was measured, in seconds of the session's clock.

    Returns
    -------
    (n,) array
        NaN where the motors, by this description, cannot hold the platform near the measured orientation.

    Raises
    ------
    ValueError, TypeError
        Shapes do not fit, an orientation is no rotation, a number is not finite, a drift without times.
    """
    instance(convention, "convention", Convention)
    R, theta = checked_pairs(orientations, motor_angles)
    rate = one(drift, "drift")
    clock = checked_times(times, len(R), needed=rate != 0)
    ours = convention.orientation_to_ours(rz(-rate * clock, turns=True) @ R)
    predicted = forward_kinematics(joint(m), convention.angles_to_ours(theta), near=ours, unreachable="nan")
    known = np.isfinite(predicted[:, 0, 0])
    angle = angle_between(ours, np.where(known[:, None, None], predicted, ours))
    return np.where(known, angle, np.nan)
