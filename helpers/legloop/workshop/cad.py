"""From the bearing axes of a CAD model, or of a model on the table, to a `Mechanism` and the pose that was drawn."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from textwrap import fill

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .. import rotation
from .._check import Floats, angles, finite, one
from .._travel import Frozen
from ..inverse import working_mode
from ..leg import arc_between
from ..mechanism import Mechanism, deg
from ._cad_notes import BENT, doubts, remarks
from ._lines import line_name, read_lines
from ._placing import azimuths, place

__all__ = ["AxisJoint", "CadWarning", "from_axis_lines"]


class CadWarning(UserWarning):
    """The lines say something that is possible, and more often a mistake; the message says what to do."""


@dataclass(frozen=True, eq=False, repr=False)
class AxisJoint(Frozen):
    """A joint read from nine axis lines, and the pose in which it was drawn. Rows are legs; angles are radians.

    Attributes
    ----------
    mechanism : Mechanism
        The joint, in the frames that `from_axis_lines` describes.
    base : (3, 3)
        Rotation from CAD to base coordinates: ``base @ d`` is a CAD direction d as the base sees it.
    orientation : (3, 3)
        R of the platform in the pose drawn.
    motor_angles : (3,)
        theta in the pose drawn; with `orientation` they close the legs to rounding.
    mode : (3,) of int
        Working mode in the pose drawn, +1 or -1; 0 for a leg whose elbow is bent there by less than 3°.
    centre : (3,)
        The common centre, in CAD coordinates and units.
    miss : (3, 3)
        Distance of each line from the centre in CAD units: leg, then motor, elbow, platform.
    size : float
        Median distance of the given points from the centre, in CAD units.
    base_cones, platform_cones : (3,)
        gamma and beta of each leg.
    azimuths, platform_azimuths : (3,)
        Where round z each motor axis is, and where round the platform's z each platform axis. On a coaxial joint the
        motor axes are nowhere round z, and `azimuths` is where the theta of each leg is counted from.
    notes : tuple of str
        What a builder should know about these lines; those that look like a mistake were also given as `CadWarning`.
    """

    mechanism: Mechanism
    base: Floats
    orientation: Floats
    motor_angles: Floats
    mode: NDArray[np.int_]
    centre: Floats
    miss: Floats
    size: float
    base_cones: Floats
    platform_cones: Floats
    azimuths: Floats
    platform_azimuths: Floats
    notes: tuple[str, ...]

    @property
    def asymmetry(self) -> dict[str, float]:
        """How far the joint is from an evenly spaced symmetric one, in radians, part by part; that one has all zero.

        Links and cones: the largest less the smallest. Azimuths: the largest departure of a step from leg to leg from
        120°. "platform against base": how unlike the steps are on the platform and on the base.
        """
        steps = np.stack([_steps(self.azimuths), _steps(self.platform_azimuths)])
        return {
            "first links": float(np.ptp(self.mechanism.proximal)),
            "second links": float(np.ptp(self.mechanism.distal)),
            "base cone": float(np.ptp(self.base_cones)),
            "platform cone": float(np.ptp(self.platform_cones)),
            "azimuths": float(np.abs(np.abs(steps) - 120 * deg).max()),
            "platform against base": float(np.abs(_half_turn(steps[0] - steps[1])).max()),
        }

    def __repr__(self) -> str:
        tilt, azimuth, torsion = (float(angle) for angle in rotation.to_tilt_torsion(self.orientation))
        signs = " ".join(f"{int(sign):+d}" if sign else "?" for sign in self.mode)
        rows = {
            "first links, alpha_1": _three(self.mechanism.proximal),
            "second links, alpha_2": _three(self.mechanism.distal),
            "base cone, gamma": _three(self.base_cones),
            "platform cone, beta": _three(self.platform_cones),
            "azimuths of the legs": _three(self.azimuths, full=True),
            "azimuths on the platform": _three(self.platform_azimuths, full=True),
            "motor angles as drawn": _three(self.motor_angles),
            "platform as drawn": f"tilt {_degrees(tilt)} towards {_degrees(azimuth)}, torsion {_degrees(torsion)}",
            "working mode": signs,
            "centre in CAD": " ".join(f"{_clean(value, 4):.4f}" for value in self.centre),
            "lines": self._lines(),
            "symmetry": self._symmetry(),
        }
        told = "".join(f"\n  {name:25} {value}" for name, value in rows.items())
        notes = "".join(
            "\n" + fill(f"note: {note}", 110, initial_indent="  ", subsequent_indent="    ") for note in self.notes
        )
        return f"Joint from nine axis lines:{told}{notes}"

    def _lines(self) -> str:
        part = float(self.miss.max() / self.size)
        if part < 1e-9:
            return "all meet in the centre, to a part in 10⁹ of the distance of the bearings"
        leg, kind = (int(i) for i in np.unravel_index(int(self.miss.argmax()), (3, 3)))
        return (
            f"{line_name((leg, kind))} misses the centre most, by {self.miss.max():.2g}, seen from there "
            f"{part / deg:.2g}°"
        )

    def _symmetry(self) -> str:
        part, worst = max(self.asymmetry.items(), key=lambda item: item[1])
        if worst < 0.005 * deg:
            return "symmetric, evenly spaced, to 0.01°"
        return f"departs by up to {worst / deg:.3g}° from a symmetric, evenly spaced joint, most in: {part}"


def from_axis_lines(
    points: ArrayLike,
    directions: ArrayLike,
    *,
    up: ArrayLike | None = None,
    pointing: ArrayLike | None = None,
    twist: float = 0.0,
    tolerance: float = 0.02,
) -> AxisJoint:
    """The joint whose nine bearing axes are given as lines, in any CAD frame, length unit and assembled pose.

    The centre is the point with the least sum of squared distances from the lines. An axis points from there to the
    side on which its given point lies: **give the point where the bearing sits**. Arcs are angles between axes.
    The motor axis of a leg is the one on which its first link turns. With a belt that is the axle of the link's
    pulley; the motor's own shaft lies beside it and misses the centre.

    Parameters
    ----------
    points : (3, 3, 3)
        A point on each axis, on the side of its bearing: leg, then motor (the bearing of the first link), elbow,
        platform, then x, y, z.
    directions : (3, 3, 3)
        A vector along each axis, of any length and either sense.
    up : (3,), optional
        A CAD direction that is roughly the base's z, whatever gravity does. Needed where the motors are above the
        centre.
    pointing : (3,), optional
        A CAD direction that is roughly the platform's z in the pose drawn. Needed where its hinges are below the
        centre, on the side away from the lens or tool.
    twist : float
        Azimuth, in radians, at which the platform axis of leg 1 shall stand beyond its motor axis at R = I.
    tolerance : float
        How far a line may miss the centre, in parts of the distance of the bearings; in (0, 0.1].

    Notes
    -----
    The frames, which lines alone do not fix, are chosen so:

    - Base: z is the axis of the cone through the three motor axes, on the side away from the motors; the motor axis
      of leg 1 is at azimuth 0. Three axes always lie on one cone, so this holds for unlike legs too.
    - Platform: z is the axis of the cone through the three platform axes, on their side of the centre; the platform
      axis of leg 1 is at azimuth `twist`. So R = I, home, is the pose in which both cones have one axis and leg 1
      has its platform axis over its motor axis.
    - Motor axes, or platform axes, flat (a cone of 90° to within 1°): z is the side from which the legs run round the
      same way on base and platform; if both are flat, the side from which they run counter-clockwise.
    - Motor axes on one line (to 1°): z is away from the motors, the legs have the azimuths of their platform axes
      less `twist`, and x is turned so that the pose drawn has no torsion.

    theta = 0 is where `Mechanism.symmetric` has it: the first link in its meridian, outwards and up. So a symmetric
    joint comes out equal to `Mechanism.symmetric` with its first azimuth 0.

    Raises
    ------
    ValueError, TypeError
        Not nine lines; a number that is not finite; a null direction; two axes of one leg parallel; one line twice;
        lines that do not meet, with the line to blame, by how much it misses, and whether mixed units explain it; a
        point that does not tell its side; `up` or `pointing` across the axis that they shall tell the ends of.

    Warns
    -----
    CadWarning
        Legs numbered clockwise seen from +z; platform and base numbered in opposite ways; an elbow that is stretched
        or folded, so that the mode is not known; a home out of reach. Each says what to do, and is in `notes`.
    """
    limit = one(tolerance, "tolerance")
    turned = float(angles(twist, "twist", (), -2 * np.pi, 2 * np.pi, "[-2 pi, 2 pi]"))
    if not 0 < limit <= 0.1:
        raise ValueError(
            f"tolerance is {limit:g}; it must be in (0, 0.1]: 0.02 is 2 % of the distance of the bearings"
        )
    lines = read_lines(points, directions, limit)
    u, w, p = np.moveaxis(lines.outward, 1, 0)
    placing = place(u, p, _direction(up, "up"), _direction(pointing, "pointing"), turned)
    m = Mechanism(placing.frames, p @ placing.platform, arc_between(u, w), arc_between(w, p))
    in_legs = np.einsum("lij,li->lj", m.base_frames, w @ placing.base.T)
    R, theta = placing.base @ placing.platform, azimuths(in_legs)
    bend = np.abs(np.einsum("li,li->l", np.cross(u, w), p)) / (np.sin(m.proximal) * np.sin(m.distal))
    mode = np.where(bend < np.sin(BENT), 0, working_mode(m, R, theta))
    likely_mistakes = doubts(m, mode)
    for doubt in likely_mistakes:
        warnings.warn(doubt, CadWarning, stacklevel=2)
    return AxisJoint(
        mechanism=m,
        base=placing.base,
        orientation=R,
        motor_angles=theta,
        mode=mode,
        centre=lines.centre,
        miss=lines.miss,
        size=lines.size,
        base_cones=arc_between(np.array([0.0, 0.0, -1.0]), m.base_axes),
        platform_cones=arc_between(np.array([0.0, 0.0, 1.0]), m.platform_axes),
        azimuths=placing.eta,
        platform_azimuths=azimuths(m.platform_axes),
        notes=(*likely_mistakes, *remarks(m, placing.coaxial, placing.flat)),
    )


def _direction(value: ArrayLike | None, name: str) -> Floats | None:
    if value is None:
        return None
    vector = finite(value, name, 3)
    largest = np.abs(vector).max(initial=0.0)
    if vector.shape != (3,) or largest < 1e-9:
        raise ValueError(f"{name} is {vector.tolist()}; give one CAD direction, such as (0, 0, 1)")
    vector = vector / largest  # first, so that no square overflows
    return np.asarray(vector / np.linalg.norm(vector))


def _half_turn(angle: Floats) -> Floats:
    return np.asarray(angle - 2 * np.pi * np.rint(angle / (2 * np.pi)))


def _steps(eta: Floats) -> Floats:
    """Azimuth from each leg to the next, within half a turn."""
    return _half_turn(np.roll(eta, -1) - eta)


def _clean(value: float, decimals: int) -> float:
    return round(float(value), decimals) + 0.0


def _degrees(angle: float) -> str:
    return f"{_clean(angle / deg, 3):.3f}°"


def _three(angles: Floats, *, full: bool = False) -> str:
    """Three angles in degrees; `full`: from 0 to 360, rounded first, so that none reads 360."""
    shown = [round(float(angle) / deg, 3) % 360 if full else round(float(angle) / deg, 3) for angle in angles]
    return " ".join(f"{angle + 0.0:8.3f}°" for angle in shown)
