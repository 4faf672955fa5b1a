"""The steps in a convention: its frames as further turns of the chains, its zeros and senses as further stages."""

from __future__ import annotations

from dataclasses import replace

from ...convention import Convention
from .chain import Chain, Given, Link
from .formula import Formula, cos, sin, var
from .slip import Operator, Slip
from .steps import Form, Stage, Step

__all__ = ["FRAMED", "in_frame"]

FRAMED = {
    "orientation": "base @ R @ platform.T, not R",
    "base_axis": "base @ u, not u",
    "elbow_axis": "base @ w, not w",
    "platform_axis": "base @ (R v), not R v",
    "leg_equation": "(a, b, c) for base.T @ (vx, vy, vz), not for (vx, vy, vz)",
    "motor_angle_full": "sense*(theta - zero), not theta",
}
"""The steps whose answer a convention changes, and for which one azimuth says which leg is meant; and how it does."""

MOTORS = ", and sense*theta + zero in the place of theta"

OURS = Operator("frame", 0.5, "our own frame, where the convention was asked for")

_theta, _sense, _zero, _a, _b, _c = map(var, ("theta", "sense", "zero", "a", "b", "c"))
TO_OURS: Formula = (_sense * _theta + _zero,)
TO_THEIRS: Formula = (_sense * (_theta - _zero),)
COEFFICIENTS_TO_THEIRS: Formula = (
    _a * cos(_zero) + _b * sin(_zero),
    _sense * _b * cos(_zero) - _sense * _a * sin(_zero),
    _c,
)


def in_frame(step: Step, convention: Convention) -> Step:
    """The step with its answer, and theta and (vx, vy, vz) among its arguments, as they are in the convention.

    ``R_theirs = base @ R @ platform.T``, ``p_theirs = base @ p``, ``theta_theirs = sense * (theta - zero)``. Cones,
    arcs, azimuth, roll, pitch, yaw and mode keep our meaning. `sense` and `zero` are those of the leg at the azimuth.
    """
    base = Given("base", tuple(map(float, convention.base.flat)))
    platform = Given("platform", tuple(map(float, convention.platform.flat)))
    before = () if base.is_identity else (base,)
    after = (platform.transposed,) if step.name == "orientation" and not platform.is_identity else ()
    stages: tuple[Stage, ...] = step.stages
    if step.name != "motor_angle_full":
        stages = tuple(stage._replace(forms=_between(before, stage.forms, after)) for stage in stages)
    if step.name == "elbow_axis":
        stages = (Stage("their motor angle", ("theta",), (TO_OURS,)), *stages)
    elif step.name == "motor_angle_full":
        stages = (*stages, Stage("their motor angle", ("theta",), (TO_THEIRS,)))
    elif step.name == "leg_equation":
        stages = (*stages, Stage("their motor angle", ("a", "b", "c"), (COEFFICIENTS_TO_THEIRS,)))
    same_motors = all(sense == 1 and zero == 0 for sense, zero in zip(convention.sense, convention.zero, strict=True))
    motors = MOTORS if step.name in ("elbow_axis", "leg_equation") and not same_motors else ""
    ours = Slip(OURS, f"write {FRAMED[step.name]}{motors}", "")
    given = {**base.arguments(), **platform.arguments()}
    return replace(step, stages=stages, constants=given, mistaken=((ours, step.stages),))


def _between(before: tuple[Link, ...], forms: tuple[Form, ...], after: tuple[Link, ...]) -> tuple[Form, ...]:
    """The chains among some forms, lengthened at both ends."""
    return tuple(Chain((*before, *f.links, *after), f.use) if isinstance(f, Chain) else f for f in forms)
