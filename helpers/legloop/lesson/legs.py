"""How each leg of a joint stands, in numbers and in words: what the picture, its text and the tables share."""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, cos, isnan, pi, sin

import numpy as np
from numpy.typing import ArrayLike

from .. import leg as equation
from .._check import Floats, numbers, rotations, shown
from .._travel import Frozen
from ..inverse import working_mode
from ..mechanism import Mechanism, deg, joint
from ..reach import reach_margin
from .picture import degrees

__all__ = ["SIDES", "WALK", "LegState", "leg_index", "leg_states", "one_orientation"]

SIDES = {1: "right", -1: "left"}
"""Where the elbow is in working mode +1 and -1, on the `WALK`."""

WALK = "right or left of a walk from the motor axis straight to the platform hinge, seen from outside"
"""What right and left mean. Seen so, from -u, with t the direction of the walk, right is ``t x u``; the elbow lies to
that side by ``w . (R v x u) / |R v x u|``, which has the sign of ``(u x w) . R v``, the working mode."""

SINGULAR = 0.5 * deg
"""A leg this near to the edge of its reach counts as singular in a picture: one step of a slider, about as far
as the eye can tell a straight elbow from a bent one. `legloop.working_mode` is 0 only at the edge itself."""

OPEN = 0.05 * deg
"""A gap below this rounds to 0.0° on a label and is not drawn."""


@dataclass(frozen=True, eq=False)
class LegState(Frozen):
    """One leg at one orientation and one motor angle.

    Attributes
    ----------
    number : int
        1, 2 or 3, as on drawings.
    theta : float
        Motor angle in radians; NaN for a leg that has none.
    mode : int
        +1 or -1; 0 where the leg is exactly folded or stretched, or has no motor angle.
    margin : float
        Reach margin in radians; negative when the leg cannot close.
    gap : float
        Angle(w, R v) - alpha_2 in radians: what the second link is short of closing; negative: too long.
    limit : str
        "stretched" or "folded": the edge of reach that is nearer.
    u, w, p : (3,) arrays
        Motor axis, elbow axis, platform axis R v, in base coordinates. Where theta is NaN, w is as near to
        closing as the first link can bring it.
    """

    number: int
    theta: float
    mode: int
    margin: float
    gap: float
    limit: str
    u: Floats
    w: Floats
    p: Floats

    @property
    def closed(self) -> bool:
        """Whether the second link reaches from w to R v, as far as a drawing can show."""
        return abs(self.gap) < OPEN

    @property
    def singular(self) -> bool:
        """Whether the leg closes with its links in line, so that the elbow may go to either side."""
        return self.closed and abs(self.margin) < SINGULAR

    @property
    def side(self) -> str:
        """Where the elbow is: "right" or "left" on the `WALK`; "stretched" or "folded" where the leg is singular."""
        return self.limit if self.singular else SIDES[-1 if self.mode < 0 else 1]

    @property
    def motor(self) -> str:
        """Which leg, and where its motor stands."""
        return f"leg {self.number}: " + ("no motor angle" if isnan(self.theta) else f"motor at {degrees(self.theta)}")

    def __str__(self) -> str:
        if isnan(self.theta):
            how = "closes at any motor angle" if self.closed else f"cannot close, {degrees(abs(self.gap))} short"
            return f"leg {self.number}: {how}"
        if not self.closed:
            return f"{self.motor}, open by {degrees(abs(self.gap))}"
        elbow = f"{self.side} (singular)" if self.singular else f"elbow {self.side}"
        return f"{self.motor}, {elbow}, reach margin {degrees(self.margin)}"


def one_orientation(R: ArrayLike | object) -> Floats:
    """A single rotation matrix, (3, 3); ValueError for a batch, or for what is no rotation."""
    matrix = rotations(R, "orientation R")
    if matrix.shape != (3, 3):
        raise ValueError(f"R has shape {matrix.shape}; a picture shows one pose, so give (3, 3)")
    return matrix


def leg_index(leg: object, name: str = "leg") -> int:
    """The index of a leg, 0, 1 or 2; ValueError for anything else."""
    if isinstance(leg, bool) or not isinstance(leg, int | np.integer) or leg not in (0, 1, 2):
        raise ValueError(f"{name} is {shown(leg)}; the legs are 0, 1 and 2")
    return int(leg)


def leg_states(m: Mechanism, R: ArrayLike | object, theta: ArrayLike) -> tuple[LegState, LegState, LegState]:
    """How the three legs stand at orientation R, (3, 3), and motor angles theta, (3,) in radians.

    NaN in theta means a leg without a motor angle, as `inverse_kinematics` marks it with ``unreachable="nan"``.
    Angles that do not close a leg are taken as they are, and the state says by how much it stands open.
    Raises ValueError when shapes are wrong, R is no rotation, or theta is infinite or NaN where the leg closes.
    """
    joint(m)
    angles = numbers(theta, "theta", 3).astype(float)
    if angles.shape != (3,):
        raise ValueError(f"theta has shape {angles.shape}; a picture shows one pose, so give (3,)")
    matrix = one_orientation(R)
    axes, margins = m.platform_axes_at(matrix), reach_margin(m, matrix)
    missing = np.isnan(angles)
    wrong = missing & (margins > OPEN)
    if wrong.any() and (wrong := wrong & ~equation.undetermined(*m.leg_equation(matrix))).any():
        i = int(np.argmax(wrong))
        raise ValueError(
            f"theta[{i}] is nan, but leg {i + 1} can close at this orientation (reach margin {degrees(margins[i])}); "
            "take the angle from inverse_kinematics"
        )
    known = np.where(missing, 0.0, angles)
    elbows, signs = m.elbow_axes(known), working_mode(m, matrix, known)
    for i in np.flatnonzero(missing).tolist():
        elbows[i] = _nearest_elbow(m.base_frames[i], axes[i], float(m.proximal[i]), float(m.distal[i]))
    gaps = equation.arc_between(elbows, axes) - m.distal
    nearest, farthest = equation.reach_limits(m.proximal, m.distal)
    folded = equation.arc_between(m.base_axes, axes) < (nearest + farthest) / 2
    one, two, three = (
        LegState(
            number=i + 1,
            theta=float(angles[i]),
            mode=0 if missing[i] else int(signs[i]),
            margin=float(margins[i]),
            gap=float(gaps[i]),
            limit="folded" if folded[i] else "stretched",
            u=m.base_axes[i],
            w=elbows[i],
            p=axes[i],
        )
        for i in range(3)
    )
    return one, two, three


def _nearest_elbow(frame: Floats, p: Floats, first: float, second: float) -> Floats:
    """Of the two elbows in the plane of u and p, the one that the second link misses by less."""
    u = frame[:, 2]
    x, y = float(frame[:, 0] @ p), float(frame[:, 1] @ p)
    towards = atan2(y, x) if abs(x) + abs(y) > 1e-12 else 0.0  # p on the motor axis: any plane serves
    choices = []
    for angle in (towards, towards + pi):
        side = frame[:, 0] * cos(angle) + frame[:, 1] * sin(angle)
        choices.append(u * cos(first) + side * sin(first))
    return min(choices, key=lambda w: abs(float(equation.arc_between(w, p)) - second))
