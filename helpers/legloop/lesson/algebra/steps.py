"""The steps of the derivation, each stated once: as a chain of named turns, or as a formula.

A step that stands on others is a row of stages; each stage computes, from the arguments and from what earlier stages
gave, what the next one needs. The slips that can be made in a stage come from its statement alone, through
`chain_slips`, `formula_slips` and `input_slips`: a new step needs no more than its entry here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, TypeAlias

import numpy as np

from ..._check import Floats
from .chain import Chain, Turn, in_numbers
from .formula import Evaluation, Formula, acos, atan2, sqrt, var
from .quadratic import angle_of_root, slips_of_roots
from .relation import Relation
from .slip import QUADRATIC, Operator, Slip

__all__ = ["ROLES", "STEPS", "Form", "Stage", "Step", "answer_of", "run", "values_of"]

Form: TypeAlias = Chain | Formula

ROLES: Mapping[str, str] = {
    **dict.fromkeys(("angle", "roll", "pitch", "yaw"), "angle"),
    **dict.fromkeys(("base_cone", "platform_cone"), "cone"),
    "azimuth": "azimuth",
    **dict.fromkeys(("proximal", "distal"), "arc"),
    **dict.fromkeys(("theta", "zero"), "motor"),
    **dict.fromkeys(("mode", "sense"), "sign"),
}
"""What each argument is: it decides where values are drawn from and which slips can be made. Others are numbers."""


class Stage(NamedTuple):
    """A part of a step that has a name of its own.

    It gives the `outputs`, and people write it in several equal `forms`. `confused` are whole formulas that get mixed
    up with it, each as a slip and the formula: what no change at one place makes. `rare` are such that are looked for
    alone, where nothing else fits.
    """

    name: str
    outputs: tuple[str, ...]
    forms: tuple[Form, ...]
    confused: tuple[tuple[Slip, Formula], ...] = ()
    rare: tuple[tuple[Slip, Formula], ...] = ()


@dataclass(frozen=True)
class Step:
    """A step that a learner may hand in.

    Attributes
    ----------
    name, symbol : str
        As it is called in `review`, and as its answer is called in messages.
    arguments : tuple of str
        What the answer is a function of.
    stages : tuple of Stage
        The last one gives the answer.
    components : tuple of str
        What messages call the numbers of the answer.
    relation : "equal", "factor" or "angle"
        When two answers are the same.
    shape : tuple of int
        Of the answer.
    earlier : tuple of (step, arguments)
        Steps that this one stands on, each with values of arguments, in radians, that leave nothing else of this one.
        They lead from an error without a name to the step that is to be reviewed first.
    constants : mapping
        Numbers in the stages that are not arguments of the answer.
    mistaken : tuple of (slip, stages)
        Whole other steps that get handed in for this one.
    """

    name: str
    symbol: str
    arguments: tuple[str, ...]
    stages: tuple[Stage, ...]
    components: tuple[str, ...] = ("x", "y", "z")
    relation: Relation = "equal"
    shape: tuple[int, ...] = (3,)
    earlier: tuple[tuple[str, Mapping[str, float]], ...] = ()
    constants: Mapping[str, float] = field(default_factory=dict)
    mistaken: tuple[tuple[Slip, tuple[Stage, ...]], ...] = ()

    def reference(self, given: Mapping[str, Floats]) -> Floats:
        """The right answer, (components, points), for arguments (points)."""
        return answer_of(self.stages, given)


def values_of(form: Form, evaluation: Evaluation) -> list[Floats]:
    """The numbers that a form gives."""
    return in_numbers(form, evaluation) if isinstance(form, Chain) else evaluation.formula(form)


def run(stages: tuple[Stage, ...], given: Mapping[str, Floats]) -> dict[str, Floats]:
    """All that the stages give, beside what was given; arrays broadcast."""
    known = dict(given)
    for stage in stages:
        known.update(zip(stage.outputs, values_of(stage.forms[0], Evaluation(known)), strict=True))
    return known


def answer_of(stages: tuple[Stage, ...], given: Mapping[str, Floats]) -> Floats:
    """What the last stage gives, (components, points)."""
    known = run(stages, given)
    points = np.broadcast_shapes(*(value.shape for value in given.values()))
    return np.stack([np.broadcast_to(known[name], points) for name in stages[-1].outputs])


ORIENTATION = (Turn("z", "yaw"), Turn("y", "pitch"), Turn("x", "roll"))
BASE_AXIS = (Turn("z", "azimuth"), Turn("y", "base_cone", -1, 2))
LEG_FRAME = (*BASE_AXIS, Turn("z", None, 1, 2))
ELBOW_AXIS = (*LEG_FRAME, Turn("z", "theta"), Turn("y", "proximal"))
PLATFORM_AXIS = (*ORIENTATION, Turn("z", "azimuth"), Turn("y", "platform_cone"))

_a, _b, _c, _mode = map(var, ("a", "b", "c", "mode"))
_root = _mode * sqrt(_a * _a + _b * _b - _c * _c)
HALF_ANGLE: Formula = (_c - _a, 2.0 * _b, _c + _a)
MOTOR_ANGLE: tuple[Formula, ...] = (
    (atan2(_b, _a) - _mode * acos(-_c / sqrt(_a * _a + _b * _b)),),
    (2.0 * atan2(-_b + _root, _c - _a),),
    (atan2(-_b * _c - _a * _root, -_a * _c + _b * _root),),
    angle_of_root(*HALF_ANGLE),
    (atan2(-_c, _root) - atan2(_a, _b),),
)

_NOT_QUADRATIC = Slip(
    Operator("half-angle", 1.2, "a, b, c taken for the coefficients of t^2, t, 1"), "c - a, 2*b, c + a", "a, b, c"
)
QUADRATIC_CONFUSED = ((_NOT_QUADRATIC, (_a, _b, _c)),)
ANGLE_CONFUSED = ((_NOT_QUADRATIC, (2.0 * atan2(-_b + _mode * sqrt(_b * _b - 4.0 * _a * _c), 2.0 * _a),)),)

ROOTS_OF_WRONG = tuple(slips_of_roots(HALF_ANGLE))

_wx, _wy, _wz, _ux, _uy, _uz, _vx, _vy, _vz = map(var, ("wx", "wy", "wz", "ux", "uy", "uz", "vx", "vy", "vz"))
NORMAL: Formula = (_wy * _vz - _wz * _vy, _wz * _vx - _wx * _vz, _wx * _vy - _wy * _vx)
_nx, _ny, _nz = map(var, ("nx", "ny", "nz"))
_lever = _nx * _ux + _ny * _uy + _nz * _uz
RATE_ROW: Formula = (_nx / _lever, _ny / _lever, _nz / _lever)
_length = sqrt(_nx * _nx + _ny * _ny + _nz * _nz)
_BY_LENGTH = Slip(Operator("missing-factor", 1.2, "n divided by its own length"), "n / (n @ u)", "n / sqrt(n @ n)")
ROW_CONFUSED = ((_BY_LENGTH, (_nx / _length, _ny / _length, _nz / _length)),)

VECTOR, MATRIX = ("x", "y", "z"), tuple(f"entry [{i}, {k}]" for i in range(3) for k in range(3))


def _turn_about(axis: str) -> Step:
    name = f"rotation_{axis}"
    stages = (Stage(name, MATRIX, (Chain((Turn(axis, "angle"),), "matrix"),)),)
    return Step(name, f"R{axis}", ("angle",), stages, MATRIX, shape=(3, 3))


def _zero(*names: str) -> dict[str, float]:
    return dict.fromkeys(names, 0.0)


_LISTED = (
    *map(_turn_about, "xyz"),
    Step(
        "orientation",
        "R",
        ("roll", "pitch", "yaw"),
        (Stage("orientation", MATRIX, (Chain(ORIENTATION, "matrix"),)),),
        MATRIX,
        shape=(3, 3),
        earlier=(
            ("rotation_x", _zero("pitch", "yaw")),
            ("rotation_y", _zero("roll", "yaw")),
            ("rotation_z", _zero("roll", "pitch")),
        ),
    ),
    Step(
        "base_axis",
        "u",
        ("base_cone", "azimuth"),
        (Stage("base_axis", VECTOR, (Chain(BASE_AXIS, "vector"),)),),
        earlier=(("rotation_y", _zero("azimuth")),),
    ),
    Step(
        "leg_frame",
        "B",
        ("base_cone", "azimuth"),
        (Stage("leg_frame", MATRIX, (Chain(LEG_FRAME, "matrix"),)),),
        MATRIX,
        shape=(3, 3),
        earlier=(("rotation_y", _zero("azimuth")),),
    ),
    Step(
        "elbow_axis",
        "w",
        ("base_cone", "azimuth", "proximal", "theta"),
        (Stage("elbow_axis", VECTOR, (Chain(ELBOW_AXIS, "vector"),)),),
        earlier=(("base_axis", _zero("proximal")), ("leg_frame", _zero("theta"))),
    ),
    Step(
        "platform_axis",
        "R v",
        ("platform_cone", "azimuth", "roll", "pitch", "yaw"),
        (Stage("platform_axis", VECTOR, (Chain(PLATFORM_AXIS, "vector"),)),),
        earlier=(("orientation", _zero("platform_cone")),),
    ),
    Step(
        "leg_equation",
        "(a, b, c)",
        ("base_cone", "azimuth", "proximal", "distal", "vx", "vy", "vz"),
        (Stage("leg_equation", ("a", "b", "c"), (Chain(ELBOW_AXIS, "closure"),)),),
        ("a", "b", "c"),
        "factor",
        earlier=(("elbow_axis", {}),),
    ),
    Step(
        "half_angle",
        "quadratic",
        ("a", "b", "c"),
        (Stage("half_angle", ("A", "B", "C"), (HALF_ANGLE,), QUADRATIC_CONFUSED),),
        QUADRATIC,
        "factor",
    ),
    Step(
        "motor_angle",
        "theta",
        ("a", "b", "c", "mode"),
        (Stage("motor_angle", ("theta",), MOTOR_ANGLE, ANGLE_CONFUSED, ROOTS_OF_WRONG),),
        ("theta",),
        "angle",
        (),
    ),
    Step(
        "motor_angle_full",
        "theta",
        ("base_cone", "platform_cone", "azimuth", "proximal", "distal", "roll", "pitch", "yaw", "mode"),
        (
            Stage("platform_axis", ("vx", "vy", "vz"), (Chain(PLATFORM_AXIS, "vector"),)),
            Stage("leg_equation", ("a", "b", "c"), (Chain(ELBOW_AXIS, "closure"),)),
            Stage("motor_angle", ("theta",), MOTOR_ANGLE, ANGLE_CONFUSED, ROOTS_OF_WRONG),
        ),
        ("theta",),
        "angle",
        (),
        earlier=(("platform_axis", {}), ("leg_equation", {}), ("motor_angle", {})),
    ),
    Step(
        "rate_row",
        "row",
        ("base_cone", "azimuth", "proximal", "theta", "vx", "vy", "vz"),
        (
            Stage("elbow_axis", ("wx", "wy", "wz"), (Chain(ELBOW_AXIS, "vector"),)),
            Stage("base_axis", ("ux", "uy", "uz"), (Chain(BASE_AXIS, "vector"),)),
            Stage("normal", ("nx", "ny", "nz"), (NORMAL,)),
            Stage("rate_row", VECTOR, (RATE_ROW,), ROW_CONFUSED),
        ),
        earlier=(("elbow_axis", {}), ("base_axis", {})),
    ),
)

STEPS: Mapping[str, Step] = {step.name: step for step in _LISTED}
"""Every step by its name, in the order of the derivation."""
