"""Slips in what goes into a step: degrees, an angle counted from the wrong side, two arguments exchanged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations
from typing import NamedTuple, TypeAlias

import numpy as np

from ..._check import Floats
from ...mechanism import deg
from .slip import Operator, Slip
from .steps import ROLES

__all__ = ["Change", "changed", "input_slips"]


class Entry(NamedTuple):
    """``scale * source + offset``, what comes in for an argument."""

    source: str
    scale: float = 1.0
    offset: float = 0.0


Change: TypeAlias = Mapping[str, Entry]

NEGATIVE = {
    "azimuth": Operator("legs-reversed", 1.2, "the legs counted the other way round", ("sign",)),
    "sign": Operator("other-elbow", 1.0, "the other elbow: the root of the opposite mode", ("sign",)),
    "number": Operator("sign", 1.5, "the wrong sign of {right}"),
}
NEGATIVE_ANGLE = Operator("sign", 1.5, "the wrong sign of {right}")
SENSE = Operator("sign", 1.05, "the motor counted in the opposite sense")
SUPPLEMENT = Operator("cone-supplement", 1.0, "{right} counted from the opposite end of its axis")
COMPLEMENT = Operator("sin-cos", 1.5, "sine and cosine of {right} exchanged (counted from 90°)")
DEGREES = Operator("degrees", 1.3, "{name} in degrees where a sine or cosine wants radians")
RADIANS = Operator("degrees", 1.3, "{name} taken for degrees and turned into radians once more")
HALVED = Operator("half-angle", 2.2, "half of {right}")
DOUBLED = Operator("half-angle", 2.2, "twice {right}")
NO_ZERO = Operator("zero-offset", 1.0, "the zero of their motor left out")

LINKS = Operator("links-swapped", 1.0, "the two links exchanged")
ONE_LINK = Operator("links-swapped", 1.6, "one link's angle in both places")
CONES = Operator("order", 1.6, "the two cones exchanged")
PARTS = Operator("sin-cos", 1.4, "a (the cosine's factor) and b (the sine's) exchanged", ("order",))
COEFFICIENTS = Operator("order", 1.8, "two coefficients exchanged")
AXES = Operator("order", 1.6, "two of roll, pitch, yaw exchanged")
COORDINATES = Operator("order", 1.8, "two coordinates exchanged")
TURNED_AXES = Operator("frame", 1.2, "the coordinates of R v in other axes")
AXES_OF_FRAMES = (  # half a turn about x, y, z; quarter turns; the axes named in another order
    *(((1, 0), (-1, 1), (-1, 2)), ((-1, 0), (1, 1), (-1, 2)), ((-1, 0), (-1, 1), (1, 2))),
    *(((1, 0), (-1, 2), (1, 1)), ((1, 0), (1, 2), (-1, 1)), ((1, 2), (1, 1), (-1, 0)), ((-1, 2), (1, 1), (1, 0))),
    *(((-1, 1), (1, 0), (1, 2)), ((1, 1), (-1, 0), (1, 2)), ((1, 1), (1, 2), (1, 0)), ((1, 2), (1, 0), (1, 1))),
)
EXCHANGES = (  # the last one that holds a pair counts
    (("proximal", "distal"), LINKS),
    (("base_cone", "platform_cone"), CONES),
    (("a", "b", "c"), COEFFICIENTS),
    (("a", "b"), PARTS),
    (("roll", "pitch", "yaw"), AXES),
    (("vx", "vy", "vz"), COORDINATES),
)


def changed(given: Mapping[str, Floats], change: Change) -> dict[str, Floats]:
    """The arguments as they are after the slip."""
    return {**given, **{name: given[e.source] * e.scale + e.offset for name, e in change.items()}}


def input_slips(names: Iterable[str]) -> Iterator[tuple[Slip, Change]]:
    """Every slip that can be made with these arguments."""
    given = list(names)
    for name in given:
        yield from _with_one(name)
    angles = [name for name in given if ROLES.get(name, "number") not in ("number", "sign")]
    turns = [name for name in angles if ROLES[name] == "angle"]
    for told, group in (("the angles", angles), (", ".join(turns), turns)):
        for operator, scale, wrong in ((DEGREES, 1 / deg, "180/pi"), (RADIANS, deg, "pi/180")):
            if len(group) > 1:
                slip = Slip(operator._replace(weight=1.0), f"{told} as they are", f"times {wrong}", told)
                yield slip, {name: Entry(name, scale) for name in group}
    exchanges = {pair: operator for group, operator in EXCHANGES for pair in combinations(group, 2)}
    for (first, second), operator in exchanges.items():
        if {first, second} <= set(given):
            slip = Slip(operator, f"{first}, {second}", f"{second}, {first}")
            yield slip, {first: Entry(second), second: Entry(first)}
    if {"vx", "vy", "vz"} <= set(given):
        names = ("vx", "vy", "vz")
        for axes in AXES_OF_FRAMES:
            told = ", ".join(f"{'-' if sign < 0 else ''}{names[k]}" for sign, k in axes)
            turned = {name: Entry(names[k], float(sign)) for name, (sign, k) in zip(names, axes, strict=True)}
            yield Slip(TURNED_AXES, "(vx, vy, vz)", f"({told})"), turned
    if {"proximal", "distal"} <= set(given):
        for name, other in (("proximal", "distal"), ("distal", "proximal")):
            yield Slip(ONE_LINK, name, other), {name: Entry(other)}


def _with_one(name: str) -> Iterator[tuple[Slip, Change]]:
    role = ROLES.get(name, "number")
    operator = SENSE if name in ("sense", "theta") else NEGATIVE.get(role, NEGATIVE_ANGLE)
    yield Slip(operator, name, f"-{name}"), {name: Entry(name, -1.0)}
    if role in ("number", "sign"):
        return
    if name == "zero":
        yield Slip(NO_ZERO, name, "0"), {name: Entry(name, 0.0)}
    if role == "cone":
        yield Slip(SUPPLEMENT, name, f"pi - {name}"), {name: Entry(name, -1.0, np.pi)}
    yield Slip(COMPLEMENT, name, f"pi/2 - {name}"), {name: Entry(name, -1.0, np.pi / 2)}
    for operator, scale, wrong in (
        (DEGREES, 1 / deg, f"{name}*180/pi"),
        (RADIANS, deg, f"{name}*pi/180"),
        (HALVED, 0.5, f"{name}/2"),
        (DOUBLED, 2.0, f"2*{name}"),
    ):
        yield Slip(operator, name, wrong, name), {name: Entry(name, scale)}
