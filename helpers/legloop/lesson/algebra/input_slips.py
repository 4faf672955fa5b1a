"""Slips in what goes into a step: degrees, an angle counted from the wrong side, two arguments exchanged."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import combinations
from typing import NamedTuple, TypeAlias

import numpy as np

from ..._check import Floats
from ...mechanism import deg
from ..picture import degrees, number
from .slip import Operator, Slip
from .steps import ROLES

__all__ = ["NOTHING", "ZERO", "Change", "Entry", "changed", "input_slips", "zero_slip"]


class Entry(NamedTuple):
    """``scale * source + offset + times * other``, what comes in for an argument. The numbers may be arrays."""

    source: str
    scale: float = 1.0
    offset: float | Floats = 0.0
    other: str = ""
    times: float = 1.0


Change: TypeAlias = Mapping[str, Entry]

NEGATIVE = {
    "azimuth": Operator("legs-reversed", 1.2, "the legs counted the other way round", ("sign",)),
    "sign": Operator("other-elbow", 1.0, "the other elbow: the root of the opposite mode", ("sign",)),
    "number": Operator("sign", 1.5, "the wrong sign of {right}"),
}
NEGATIVE_ANGLE = Operator("sign", 1.5, "the wrong sign of {right}")
OTHER_WAY = Operator("sign", 1.3, "{name} counted the other way", ("transpose",))
SENSE = Operator("sign", 1.05, "the motor counted in the opposite sense")
SUPPLEMENT = Operator("cone-supplement", 1.0, "{right} counted from the opposite end of its axis")
COMPLEMENT = Operator("sin-cos", 1.5, "sine and cosine of {right} exchanged (counted from 90°)")
DEGREES = Operator("degrees", 1.3, "{name} in degrees where a sine or cosine wants radians")
RADIANS = Operator("degrees", 1.3, "{name} taken for degrees and turned into radians once more")
HALVED = Operator("half-angle", 2.2, "half of {right}")
DOUBLED = Operator("half-angle", 2.2, "twice {right}")
ZERO = Operator("zero-offset", 1.2, "{right} counted from another zero: {name}")
ZERO_OF_OTHER = ZERO._replace(weight=2.0)
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
NOTHING = 1e-7
"""Radians; an amount this small is rounding."""

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
    return {**given, **{name: _entered(given, entry) for name, entry in change.items()}}


def _entered(given: Mapping[str, Floats], entry: Entry) -> Floats:
    value: Floats = given[entry.source] * entry.scale + entry.offset
    return value + entry.times * given[entry.other] if entry.other else value


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
    for count in range(2, len(turns) + 1):
        for some in combinations(sorted(turns, key=list(ROLES).index), count):
            right, wrong = ", ".join(some), ", ".join(f"-{name}" for name in some)
            told = f"{', '.join(some[:-1])} and {some[-1]}"
            yield Slip(OTHER_WAY, right, wrong, told), {name: Entry(name, -1.0) for name in some}
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


def zero_slip(zero: float, side: int, of: str = "theta") -> Slip:
    """`zero` is our angle where theirs is 0, as in a `Convention`; in its place stands angle + side * zero."""
    if zero < NOTHING - np.pi:
        zero += 2 * np.pi  # half a turn is +180°, whatever rounding says
    told = f"your {of} = 0 is our {of} = {degrees(zero, 3, signed=True)} ({number(zero, 5)} rad)"
    wrong = f"{of} {'+' if side * zero > 0 else '-'} {number(abs(zero), 5)}"
    operator = ZERO if of == "theta" else ZERO_OF_OTHER
    return Slip(operator, of, wrong, told, amount=zero)


def _with_one(name: str) -> Iterator[tuple[Slip, Change]]:
    role = ROLES.get(name, "number")
    operator = SENSE if name in ("sense", "theta") else NEGATIVE.get(role, NEGATIVE_ANGLE)
    yield Slip(operator, name, f"-{name}"), {name: Entry(name, -1.0)}
    if role in ("number", "sign"):
        return
    if name == "zero":
        yield Slip(NO_ZERO, name, "0"), {name: Entry(name, 0.0)}
    if role == "azimuth":  # the staggered platform, or x and y of a base exchanged; any other zero is searched for
        for zero in (np.pi / 2, np.pi, -np.pi / 2):
            yield zero_slip(zero, 1, name), {name: Entry(name, offset=zero)}
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
