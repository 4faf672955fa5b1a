"""How far the motors may turn: given in one of two countings, and told in both."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, finite
from ...convention import Convention
from ...mechanism import deg
from ..motion.limits import travel_rows

__all__ = ["Limits", "LimitsWarning", "limits_of"]

FARTHEST = 200 * np.pi
"""In radians, 100 turns: what the C functions refuse of any angle, and what stands there for an end that is open."""

NEAR = 1 * deg
"""Home nearer than this to an end is worth a word: a zero that was set by hand may be off by as much."""


class LimitsWarning(UserWarning):
    """Home lies outside the limits of a motor, or at their end; the same sentence stands in the header."""


@dataclass(frozen=True, eq=False)
class Limits:
    """Lowest and highest angle of each motor in radians; an end that was left open is infinite."""

    given: str
    """The argument that they came by: "motor_limits", in our counting, or "travel", in the machine's."""
    theirs: Floats
    """(3, 2): as the machine counts, motors in its order."""
    ours: Floats
    """(3, 2): from our theta = 0, legs in our order."""

    @property
    def middle(self) -> Floats:
        """(3,): between the two ends as the machine counts; 0 where one is open, as the plans of `motion` have it."""
        ends = np.where(np.isfinite(self.theirs).all(axis=1, keepdims=True), self.theirs, 0.0)
        return np.asarray(ends.mean(axis=1))

    @property
    def closed(self) -> Floats:
        """(3, 2): `theirs` as the C has it, with `FARTHEST` where an end is open."""
        return np.clip(self.theirs, -FARTHEST, FARTHEST)

    def notes(self, home: Floats, convention: Convention) -> tuple[str, ...]:
        """What to say where home, (3,) as the machine counts, is outside the limits or within 1° of an end."""
        room = np.minimum(home - self.theirs[:, 0], self.theirs[:, 1] - home)
        ours = convention.angles_to_ours(home)
        found = []
        for k in np.flatnonzero(room < NEAR).tolist():
            far = abs(room[k]) / deg
            where = f"{far:.2f}° outside" if room[k] < 0 else f"only {far:.2f}° inside"
            theirs, legs = home[k] / deg, ours[convention.leg_order[k]] / deg
            stands = f"it stands at {theirs:.2f}° as the machine counts, {legs:.2f}° as legloop does"
            found.append(f"home (R = I) lies {where} the limits of motor {k + 1}: {stands}; {self.told}")
        return tuple(found)

    @property
    def told(self) -> str:
        """By whose counting they were given, and how else."""
        if self.given == "travel":
            return "travel was given, as the machine counts (motor_limits is as legloop counts)"
        return "motor_limits was given, as legloop counts (travel is as the machine counts)"


def limits_of(
    motor_limits: ArrayLike | None, travel: ArrayLike | None, convention: Convention, scalar: str, type_of: Any
) -> Limits | None:
    """The limits in both countings, from one of two arguments; None where no end is given."""
    order, sense, zero = list(convention.leg_order), np.array(convention.sense)[:, None], convention.zero[:, None]
    if motor_limits is not None and travel is not None:
        raise TypeError(
            "motor_limits and travel are both given; keep one: motor_limits is as legloop counts, such as .travel "
            "of a certificate; travel is as the machine counts, such as .travel of MotionLimits"
        )
    if motor_limits is not None:
        name, ours = "motor_limits", _ours(motor_limits)
        theirs = np.sort((ours[order] - zero) * sense, axis=1)
    elif travel is not None:
        name, theirs = "travel", travel_rows(travel)
        ours = np.empty((3, 2))
        ours[order] = np.sort(theirs * sense + zero, axis=1)
    else:
        return None
    if not np.isfinite(theirs).any():
        return None
    if not (theirs.astype(type_of)[:, 0] < theirs.astype(type_of)[:, 1]).all():
        raise ValueError(f"{name} is too narrow: a {scalar} does not tell its ends apart; widen it")
    return Limits(name, theirs, ours)


def _ours(value: ArrayLike) -> Floats:
    given = finite(value, "motor_limits", 2)
    if given.shape not in ((2,), (3, 2)):
        raise ValueError(
            f"motor_limits has shape {given.shape}; give (2,), lowest and highest for all motors, or (3, 2), a row "
            "for each, legs in our order"
        )
    limits = np.broadcast_to(given, (3, 2))
    for i, (low, high) in enumerate(limits.tolist(), start=1):
        if low >= high:
            raise ValueError(f"motor_limits of motor {i} run from {low:g} to {high:g} rad; give the lower end first")
        if max(-low, high) > 4 * np.pi:
            raise ValueError(
                f"motor_limits of motor {i} run from {low:g} to {high:g} rad; they must lie in [-4 pi, 4 pi]; for "
                f"degrees write {low:g}*deg ({low * deg:.4g})"
            )
    return limits
