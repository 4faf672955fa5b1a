"""The text of the C header."""

from __future__ import annotations

import hashlib
import warnings
from importlib import resources
from os import PathLike
from string import Template
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..._check import ROTATION_TOLERANCE, flag
from ...convention import Convention
from ...mechanism import Mechanism, deg
from .._file import file_path, write_text
from ..drive import BeltDrive
from .comment import about, limits, singular
from .limits import FARTHEST, LimitsWarning
from .literals import Literals
from .self_test import self_test
from .settings import SCALARS, Settings, Status, settings

__all__ = ["write_header"]

TOLERANCE = 2 * ROTATION_TOLERANCE + 2e-6
"""What the package takes for a rotation has singular values within 4e-6 of 1, so that entries of R R^T - I reach
8e-6; the rest is for rounding in float, 5e-7, and margin. So whatever the package takes, the header takes."""

COUNTER = {"float": 2**24, "double": 2**30}
"""Steps that the scalar counts one by one, and that fit into a long, which has at least 32 bits."""

MEANING = {
    Status.SOLVED: "the outputs are valid",
    Status.NOT_UNIT: "the quaternion is not of length 1",
    Status.NOT_ROTATION: "scaled, skewed, mirrored, or not made of numbers",
    Status.UNREACHABLE: "a leg is too short or too long for this orientation",
    Status.UNDETERMINED: "the axes of a leg coincide: any motor angle would do",
    Status.JUMP: "a motor would have to move by more than `jump`",
    Status.TRAVEL: "an angle is outside the limits of its motor",
    Status.BAD_ARGUMENT: "an argument that is no pose is out of its range or not a number",
    Status.NEAR_TYPE_1: "a leg is folded or stretched, or nearly",
    Status.NEAR_TYPE_2: "|V| is too small: the platform is limp, or nearly; slower does not help",
    Status.CROSSED_TYPE_2: "V has changed its sign since the last tick: on the way the platform is limp",
}

_TRAVEL = Template("""
// Whether all motors stay within their limits.
static inline int legloop_travel_(const legloop_scalar theta[3])
{
    const legloop_scalar low[3] = {$low};
    const legloop_scalar high[3] = {$high};
    int i;

    for (i = 0; i < 3; ++i) {
        if (!(theta[i] >= low[i] && theta[i] <= high[i])) {
            return LEGLOOP_TRAVEL;
        }
    }
    return LEGLOOP_SOLVED;
}
""")

_STEPS = Template("""
// Positions of the motors in microsteps from zero, each rounded once: $each to a turn of the joint.
static inline int legloop_steps(const legloop_scalar theta[3], long steps[3])
{
    legloop_scalar count[3];
    int i;

    for (i = 0; i < 3; ++i) {
        count[i] = theta[i] * $per_radian;
        if (!(legloop_size_(theta[i]) <= LEGLOOP_FARTHEST && legloop_size_(count[i]) <= $counter)) {
            return LEGLOOP_BAD_ARGUMENT;
        }
    }
$travel    for (i = 0; i < 3; ++i) {
        steps[i] = lrint$f(count[i]);
    }
    return LEGLOOP_SOLVED;
}
""")

_STEPS_TRAVEL = """    if (legloop_travel_(theta) != LEGLOOP_SOLVED) {
        return LEGLOOP_TRAVEL;
    }
"""


def write_header(
    path: str | PathLike[str],
    m: Mechanism,
    *,
    mode: ArrayLike = (1, 1, 1),
    convention: Convention | None = None,
    drive: BeltDrive | None = None,
    motor_limits: ArrayLike | None = None,
    travel: ArrayLike | None = None,
    scalar: str = "float",
    least_elbow: float = 2 * deg,
    least_volume: float = 0.05,
    overwrite: bool = False,
) -> None:
    """Write the inverse kinematics of one joint in one working mode as a C99 header that stands alone.

    The header offers, with ``legloop_scalar`` for `scalar`:

    - ``int legloop_solve(const legloop_scalar r[9], legloop_scalar theta[3], legloop_scalar *volume)``;
    - ``legloop_track(r, last, last_volume, jump, theta, volume)``, the equal angles nearest to the last ones; it
      refuses a jump, and a volume of another sign than the last;
    - ``legloop_from_quaternion(q, r)``, scalar last, and before it ``legloop_normalise(q, most, unit)`` for sensors;
    - ``legloop_steps(theta, steps)``, if there is a drive;
    - ``legloop_self_test()``, 0 where the processor agrees with this package.

    Each returns a code of `Status`, 0 for success; on any other it has not touched its outputs. `angle_error` bounds
    the rounding of its angles.

    **Whose frames, whose angles.** Without `convention` they are ours. With it all that the C takes and gives is the
    machine's: the orientation in their frames, legs in their order, angles by their senses and from their zeros. The
    arguments here, `mode` and `motor_limits`, remain ours, legs in our order, as `certify` has them and gives them in
    `.travel`; `travel` alone is counted by the machine, as by `MotionLimits`. The header tells limits in both
    countings. Which of the angles that differ by whole turns `legloop_solve` gives: the one in (-pi, pi] as the
    machine counts; with limits the one nearest to the middle of them.

    **Singular poses** are refused with a margin. ``volume`` is V, the determinant of the unit normals
    ``w x R v / sin(alpha_2)``, legs in our order: ``singularity(...).volume``. The
    `.least_volume` of a certificate is the least size of the same number. Where V = 0 the platform goes limp: the
    motors cannot hold it, and slower does not help. A path along which V changes its sign passes through such a pose,
    whatever the samples say. Two samples see one change of sign, not two. The comment of the header gives a length:
    if the platform and each motor move by less in one tick, there cannot be two.

    Parameters
    ----------
    path
        Of the file, which ends in ``.h``. No name in the header depends on it.
    m : Mechanism
        The joint.
    mode : (3,)
        Working mode, +1 or -1 for each leg.
    convention : Convention, optional
        Frames, leg order, senses and zeros of the machine.
    drive : BeltDrive, optional
        Between motors and joints, the same for all three.
    motor_limits : (2,) or (3, 2), optional
        Lowest and highest motor angle, of all motors or of each, in radians from our theta = 0, in [-4 pi, 4 pi];
        legs in our order: ``motor_limits=promised.travel`` of a certificate.
    travel : (2,) or (3, 2), optional
        The same as the machine counts, motors in its order: ``travel=limits.travel`` of `MotionLimits`, with its
        bounds. Give one of the two. An infinite end is open; `legloop_solve` then gives the angle nearest to 0.
    scalar : "float" or "double"
        What the C computes with.
    least_elbow : float
        How near to folded or stretched a leg may be, in radians, as `.elbow` of `singularity` counts, in [0, 45°].
        A motor then turns at most ``1 / (sin(alpha_1) sin(least_elbow))`` times as fast as the platform: 33 times for
        2° and a first link of 60°. 0: every leg that closes is solved; in a leg whose axes coincide `legloop_track`
        keeps the last angle.
    least_volume : float
        Least size of V of a pose that is solved, in [0.01, 1); V is 1 at best. The platform turns by at most
        ``1.5 / least_volume`` times what the legs miss by play or rounding: 30 times for 0.05.
    overwrite : bool
        Replace a file that exists, as in `write_table`: someone may have edited it.

    Warns
    -----
    LimitsWarning
        Home lies outside the limits of a motor, or within 1° of an end. The joint may work elsewhere, so it is no
        error; but limits in the wrong counting look so, and the header says the same.

    Raises
    ------
    FileExistsError
        The file exists, and `overwrite` is False.
    ValueError, TypeError, OSError
        An argument is not what it should be, both `motor_limits` and `travel` are given, the joint reaches nothing in
        this mode within the limits and away from singular poses, the path cannot be written.
    """
    target, replace = file_path(path), flag(overwrite, "overwrite")
    if target.is_dir():
        raise IsADirectoryError(f"path {str(path)!r} is a directory; add the name of the header: joint.h")
    if target.suffix != ".h":
        raise ValueError(f"path is {str(path)!r}; a C header ends in .h, as joint.h does")
    if not target.parent.is_dir():
        raise FileNotFoundError(f"path {str(path)!r} lies in a directory that does not exist; make it first")
    given = settings(m, mode, convention, drive, motor_limits, travel, scalar, least_elbow, least_volume)
    text = header(given)
    for note in given.notes:
        warnings.warn(note, LimitsWarning, stacklevel=2)
    write_text(target, text, replace)


def header(given: Settings) -> str:
    """The text; the same settings give the same text."""
    number = Literals(given.scalar)
    bounded, steps = given.limits is not None, given.drive is not None
    words: dict[str, Any] = {
        "about": "\n".join(f"// {line}".rstrip() for line in about(given)),
        "frames": "both as legloop has them" if given.convention == Convention() else "both as the machine has them",
        "angles": "as legloop has them" if given.convention == Convention() else "as the machine counts them (above)",
        "limits": _indented(limits(given)),
        "singular": _indented(singular(given)),
        "least_volume": number(given.floors.volume),
        "unit": number(_parity(given) / float(np.prod(np.sin(given.m.distal)))),
        "digits": number.digits,
        "type": given.scalar,
        "bytes": np.dtype(SCALARS[given.scalar]).itemsize,
        "f": number.suffix,
        "zero": number(0),
        "tenth": number(0.1),
        "half": number(0.5),
        "one": number(1),
        "two": number(2),
        "pi": number(np.pi),
        "tolerance": number(TOLERANCE),
        "rounding": number(16 * given.eps),
        "farthest": number(FARTHEST),
        "statuses": "\n".join(_status(s) for s in Status),
        "travel": _travel(given, number) if bounded else "",
        "check_travel": "legloop_travel_(theta)" if bounded else "LEGLOOP_SOLVED",
        "legs": "\n".join(_leg(given, number, k) for k in range(3)),
        "window": _window(given),
        "middle": number.row(given.middle),
        "steps": _steps(given, number) if steps else "",
    }
    words |= self_test(given, number)
    template = Template(resources.files(__package__).joinpath("joint.h.in").read_text(encoding="ascii"))
    text = template.substitute(words, guard="$guard")
    mark = hashlib.sha256(text.encode("ascii")).hexdigest()[:16].upper()
    return Template(text).substitute(guard=f"LEGLOOP_{mark}_H")  # another joint, another guard


def _indented(lines: list[str]) -> str:
    return ("\n//" + " " * 16).join(lines)


def _status(status: Status) -> str:
    comma = "" if status == max(Status) else ","  # C99 would take one more, C++ of 1998 would not
    return f"    {f'LEGLOOP_{status.name} = {status.value}{comma}':<29} // {MEANING[status]}"


def _parity(given: Settings) -> float:
    """V counts the legs in our order; an odd order of the machine changes the sign of the determinant."""
    return float(np.round(np.linalg.det(np.eye(3)[list(given.convention.leg_order)])))


def _leg(given: Settings, number: Literals, k: int) -> str:
    p, least = ["p[0]", "p[1]", "p[2]"], float(given.least_discriminant[k])
    lines = [f"// leg {k + 1}"]
    for i in range(3):
        entries = [f"r[{3 * i + j}]" for j in range(3)]
        lines.append(f"p[{i}] = {number.sum(given.platform[k], entries, 0)};")
    constants = [0.0, 0.0, -float(given.constant[k])]
    for name, row, constant in zip("abc", given.rows[k], constants, strict=True):
        lines.append(f"{name} = {number.sum(row, p, constant)};")
    lines += [
        f"code = legloop_leg_(a, b, c, {number(given.elbow[k])}, {number(least)}, about[{k}], keep, &angle);",
        "if (code != LEGLOOP_SOLVED) {",
        "    return code;",
        "}",
        f"theta[{k}] = legloop_nearest_(angle, about[{k}]);",
        f"cosine = cos{number.suffix}(angle);",
        f"sine = sin{number.suffix}(angle);",
    ]
    for i, (a, b, c) in enumerate(given.rows[k].T):
        lines.append(f"w[{i}] = {number.sum(np.array([a, b]), ['cosine', 'sine'], c)};")
    lines.append(f"legloop_normal_(w, p, n[{k}]);")
    return "\n".join(f"    {line}" for line in lines)


def _window(given: Settings) -> str:
    if given.limits is None:
        return "in (-pi, pi]"
    open_end = np.isinf(given.limits.theirs).any()
    return "nearest to the middle of its limits" + (", or to 0 where one of them is open" if open_end else "")


def _travel(given: Settings, number: Literals) -> str:
    assert given.limits is not None
    low, high = (number.row(ends) for ends in given.limits.closed.T)
    return _TRAVEL.substitute(low=low, high=high)


def _steps(given: Settings, number: Literals) -> str:
    assert given.drive is not None
    return _STEPS.substitute(
        each=given.drive.steps_per_joint_turn,
        per_radian=number(float(given.drive.steps_per_joint_turn) / (2 * np.pi)),
        counter=number(COUNTER[given.scalar]),
        f=number.suffix,
        travel="" if given.limits is None else _STEPS_TRAVEL,
    )
