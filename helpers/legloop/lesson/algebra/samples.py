"""Where an answer is compared: seeded points, and the edges of the formulas."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from ... import rotation
from ..._check import Floats
from ...mechanism import Mechanism, deg
from .steps import ROLES, Step, run

__all__ = ["COEFFICIENTS", "SPECIAL", "Edges", "Leg", "Points", "draw", "edges", "legs_of", "usable_points"]

Points: TypeAlias = dict[str, Floats]
"""A value of each argument at each point, (points); "leg", "sense" and "zero" where a leg of a joint is meant."""

Leg: TypeAlias = Mapping[str, float]
"""What is fixed for one leg: some of base_cone, platform_cone, azimuth, proximal, distal, sense, zero."""

COEFFICIENTS, COORDINATES = ("a", "b", "c"), ("vx", "vy", "vz")
_LARGEST = 50.0  # answers beyond this are near a singularity, where rounding is no longer far below the tolerance
_LEAST = 0.05  # and so is D / (a^2 + b^2) below this
_ROUNDING = 1e-9  # a joint made by Mechanism.symmetric has its axes to 1e-15
_GEOMETRY = ("base_cone", "platform_cone", "azimuth", "proximal", "distal")


def draw(step: Step, count: int, seed: int, *, tidy: bool, legs: Sequence[Leg] | None = None) -> Points:
    """Points spread over all that the arguments may be: every quadrant, unequal cones, both modes, c near a.

    `tidy` gives whole degrees that a message can quote, but no multiple of 90°; otherwise nothing is round, so that a
    formula that is right at whole degrees only is found out. Where there is a mode, D is clearly positive.
    """
    rng = np.random.default_rng(seed)
    kept: list[Points] = []
    for _ in range(100):
        points = _anywhere(step, 4 * count, rng, tidy, legs)
        usable = usable_points(step, points)
        kept.append({name: values[usable] for name, values in points.items()})
        if sum(len(part["leg"]) for part in kept) >= count:
            return {name: np.concatenate([part[name] for part in kept])[:count] for name in points}
    raise ValueError(
        f"hardly any orientation is within reach of all legs of this joint, so {step.name} cannot be reviewed"
    )


def _anywhere(step: Step, count: int, rng: np.random.Generator, tidy: bool, legs: Sequence[Leg] | None) -> Points:
    points = {name: _values(name, count, rng, tidy) for name in step.arguments}
    if set(COORDINATES) <= points.keys():
        length = np.sqrt(sum(points[name] ** 2 for name in COORDINATES))
        points |= {name: points[name] / length for name in COORDINATES}
    if step.arguments[:3] == COEFFICIENTS:  # every sixth point close to c = a, where one usual form divides by c - a
        near = points["a"] + 0.001 * np.where(points["b"] > 0, 1, -1)
        points["c"] = np.where(np.arange(count) % 6 == 0, near, points["c"])
    points["leg"] = rng.integers(0, len(legs), count).astype(float) if legs else np.full(count, np.nan)
    for name in sorted({name for leg in legs or () for name in leg}):
        values = np.array([leg[name] for leg in legs or ()])
        if name in points or name in ("sense", "zero"):
            points[name] = values[points["leg"].astype(int)]
    return points | {name: np.full(count, value) for name, value in step.constants.items()}


def _values(name: str, count: int, rng: np.random.Generator, tidy: bool) -> Floats:
    role = ROLES.get(name, "number")
    if role == "sign":
        return rng.choice([-1.0, 1.0], count)
    if role == "number":
        drawn = rng.uniform(-1, 1, count)
        return np.round(drawn, 3) if tidy and name in COEFFICIENTS else drawn
    low, high = {"cone": (8, 172), "arc": (15, 165)}.get(role, (-180, 180))
    drawn = rng.uniform(low, high, count)
    if tidy:
        drawn = np.round(drawn)
        drawn = np.where(drawn % 90 == 0, drawn + 7, drawn)
    return np.asarray(drawn * deg)


def usable_points(step: Step, points: Points) -> NDArray[np.bool_]:
    """Where the right answer exists and is not close to a singularity."""
    with np.errstate(all="ignore"):
        known = run(step.stages, points)
        answer = step.reference(points)
        usable = np.asarray((np.abs(answer) <= _LARGEST).all(axis=0))
        if "mode" in step.arguments:
            a, b, c = (known[name] for name in COEFFICIENTS)
            usable &= a * a + b * b - c * c > _LEAST * (a * a + b * b)
    return usable


class Edges(NamedTuple):
    """Points at which formulas are special, each with its words; and where a right form may give another number."""

    points: Points
    words: list[str]
    excused: NDArray[np.bool_]


SPECIAL = {
    "cone": (0, 90, 180),
    "arc": (90,),
    "angle": (0, 90, -90, 180),
    "motor": (0, 90, -90, 180),
    "azimuth": (0, 90, 180),
}


def edges(step: Step, points: Points) -> Edges:
    """The first points again, one argument at a special value at a time; only those that a joint leaves free.

    At c = a the half-angle form reads 0/0 or divides by zero, depending on the sign of b and on rounding; whoever
    uses it has to know. That is no slip, so those edges are excused: the report tells of them, and marks nothing.
    """
    fixed = set(points) & set(_GEOMETRY) if not np.isnan(points["leg"]).any() else set()
    rows: list[tuple[str, bool, dict[str, float]]] = []
    for name in step.arguments:
        if name not in fixed:
            for value in SPECIAL.get(ROLES.get(name, "number"), ()):
                rows.append((f"{name} = {value}°", False, {name: float(value * deg)}))
    if {"roll", "pitch", "yaw"} <= set(step.arguments):
        rows.append(("R = I", False, dict.fromkeys(("roll", "pitch", "yaw"), 0.0)))
    if step.arguments[:3] == COEFFICIENTS:
        rows += [(f"{name} = 0", False, {name: 0.0}) for name in COEFFICIENTS]
        rows += [("c = -a", False, {"a": 0.5, "b": b, "c": -0.5}) for b in (0.75, -0.75)]
        rows += [("c = a", "mode" in step.arguments, {"a": 0.5, "b": b, "c": 0.5}) for b in (0.75, -0.75)]
        rows += [("D = 0", False, {"a": 3.0, "b": 4.0, "c": c}) for c in (5.0, -5.0)]
    if set(COORDINATES) <= set(step.arguments):
        rows += [("R v = e_z", False, dict(zip(COORDINATES, (0.0, 0.0, 1.0), strict=True)))]
    tried = {name: np.tile(values[:2], len(rows)) for name, values in points.items()}
    for i, (_, _, special) in enumerate(rows):
        for name, set_to in special.items():
            tried[name][2 * i : 2 * i + 2] = set_to
    if "mode" in tried:
        tried["mode"] = np.tile([1.0, -1.0], len(rows))
    keep = _defined(step, tried)
    words, excused = (np.repeat([row[k] for row in rows], 2)[keep] for k in (0, 1))
    return Edges({name: values[keep] for name, values in tried.items()}, words.tolist(), excused.astype(bool))


def _defined(step: Step, points: Points) -> NDArray[np.bool_]:
    """Where the right answer exists; D = 0 counts only where the edge is meant to be that."""
    with np.errstate(all="ignore"):
        answer = step.reference(points)
        if step.relation == "factor":
            return np.asarray((np.abs(answer) > 1e-6).any(axis=0))
        usable = np.asarray(np.isfinite(answer).all(axis=0) & (np.abs(answer) <= _LARGEST).all(axis=0))
    if step.name == "motor_angle":
        return usable
    return usable & usable_points(step, points)


def legs_of(m: Mechanism) -> list[Leg]:
    """The five numbers of each leg of a joint, as the steps use them.

    Raises ValueError where a leg is not of the kind that the steps describe: theta counted from its own meridian,
    and the platform axis at the azimuth of the motor axis.
    """
    legs: list[Leg] = []
    for i, (frame, v) in enumerate(zip(m.base_frames, m.platform_axes, strict=True), start=1):
        azimuth = float(np.arctan2(frame[0, 1], -frame[1, 1]))  # y = Rz(azimuth) (0, -1, 0) in every such leg
        azimuth += 2 * np.pi * (azimuth < -_ROUNDING)
        u, in_plane = rotation.rz(-azimuth) @ frame[:, 2], rotation.rz(-azimuth) @ v
        gamma, beta = (
            float(np.arctan2(max(axis[0], 0.0), height)) for axis, height in ((u, -u[2]), (in_plane, v[2]))
        )
        expected = rotation.rz(azimuth) @ rotation.ry(np.pi - gamma) @ rotation.rz(np.pi)
        if np.abs(expected - frame).max() > _ROUNDING:
            raise ValueError(
                f"leg {i} of the joint has a frame of its own: theta does not count from the meridian of its motor "
                "axis, as the steps have it; give a joint made by Mechanism.symmetric, or leave mechanism out"
            )
        if np.abs(in_plane - [np.sin(beta), 0, np.cos(beta)]).max() > _ROUNDING:
            raise ValueError(
                f"leg {i} of the joint has its platform axis at another azimuth than its motor axis; the steps have "
                "no twist: give a joint without, or leave mechanism out"
            )
        arcs = {"proximal": float(m.proximal[i - 1]), "distal": float(m.distal[i - 1])}
        legs.append({"base_cone": gamma, "platform_cone": beta, "azimuth": azimuth, **arcs})
    return legs
