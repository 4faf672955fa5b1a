"""The self-test of the header: cases with the answers of this package, as C."""

from __future__ import annotations

from string import Template
from typing import Any

import numpy as np

from ... import rotation
from .limits import Limits
from .literals import Literals
from .settings import SCALARS, Settings, Status
from .vectors import Golden, golden

__all__ = ["self_test"]

_QUATERNION = np.array([1.0, -2.0, 4.0, 6.0]) / np.sqrt(57)
"""No two entries of it, nor of its matrix, are alike in size."""

_PAST = 0.01
"""So far past an end, in radians, an angle must be refused: a hundred times what a float rounds at 100 turns."""

_STEP_CHECK = """    if (legloop_steps(wanted, steps) != LEGLOOP_SOLVED
        || steps[0] != s0 || steps[1] != s1 || steps[2] != s2) {
        return 0;
    }
"""

_ENDS = Template("""    for (i = 0; i < 6; ++i) { // each motor past each of its ends, the others in the middle
        const legloop_scalar past[6] = {$past};
        legloop_scalar theta[3] = {$inside};
        theta[i / 2] = past[i];
        if (legloop_travel_(theta) != LEGLOOP_TRAVEL) {
            return $case;
        }
    }
""")


def self_test(given: Settings, number: Literals) -> dict[str, Any]:
    """What stands in the template for the self-test."""
    cases = golden(given)
    lines = _calls(given, cases, number)
    tests = (f"    if (!{line}) {{\n        return {k};\n    }}" for k, line in enumerate(lines, start=1))
    held = _QUATERNION.astype(SCALARS[given.scalar]).astype(np.float64)
    steps, limits, count = given.drive is not None, given.limits, len(lines)
    return {
        "step_parameters": ", long s0, long s1, long s2" if steps else "",
        "step_locals": "    long steps[3];\n" if steps else "",
        "step_check": _STEP_CHECK if steps else "",
        "self_test_tolerance": number(cases.tolerance),
        "volume_tolerance": number(cases.volume_tolerance),
        "self_test": "\n".join(tests),
        "count": count,
        "refused": sum("SOLVED" not in line for line in lines),
        "ends": ", then the ends of the limits" if limits else "",
        "quaternion": number.row(held),
        "long_quaternion": number.row(1.01 * held),
        "turn": _matrix([number(entry) for entry in rotation.from_quaternion(held).flat], 36),
        "turn_tolerance": number(16 * given.eps),  # 12 for the formula, half a one for the numbers here, and margin
        "quaternion_case": count + 1,
        "long_quaternion_case": count + 2,
        "normalised_case": count + 3,
        "ends_test": "" if limits is None else _ends(limits, number, count + 4),
    }


def _calls(given: Settings, cases: Golden, number: Literals) -> list[str]:
    """Calls of ``legloop_agrees_``: the golden cases, then a turn that is scaled, one mirrored, one with NaN."""
    R = cases.orientations[0].reshape(9)
    mirrored = np.concatenate([R[:6], -R[6:]])
    rows = [[number(entry) for entry in pose.flat] for pose in (*cases.orientations, 0.98 * R, mirrored, R)]
    rows[-1][0] = "no_number"
    broken = len(rows) - len(cases.codes)
    names = [Status(code) for code in cases.codes] + [Status.NOT_ROTATION] * broken
    theta = np.concatenate([cases.theta, np.zeros((broken, 3))])
    volume = np.concatenate([cases.volume, np.zeros(broken)])
    steps = given.steps(theta)
    ends = [f"{number.row(angles)}, {number(v)}" for angles, v in zip(theta, volume.tolist(), strict=True)]
    if steps is not None:
        ends = [f"{end}, {', '.join(f'{count}L' for count in row)}" for end, row in zip(ends, steps, strict=True)]
    return [
        f"legloop_agrees_({_matrix(row, 25)},\n{' ' * 25}LEGLOOP_{name.name}, {end})"
        for row, name, end in zip(rows, names, ends, strict=True)
    ]


def _ends(limits: Limits, number: Literals, case: int) -> str:
    ends = limits.closed
    past = (",\n" + " " * 40).join(number.row(pair) for pair in ends + np.array([-_PAST, _PAST]))
    return _ENDS.substitute(past=past, inside=number.row(ends.mean(axis=1)), case=case)


def _matrix(entries: list[str], indent: int) -> str:
    """Nine numbers in three lines, the second and third indented."""
    return (",\n" + " " * indent).join(", ".join(entries[k : k + 3]) for k in (0, 3, 6))
