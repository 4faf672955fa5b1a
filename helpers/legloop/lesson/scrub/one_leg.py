"""One leg: the angles that place its axes, and its equation beside it."""

from __future__ import annotations

from math import isnan, pi

import numpy as np
from numpy.typing import ArrayLike

from ...inverse import closure_error, inverse_kinematics
from ...leg import arc_between
from ...mechanism import Mechanism, deg
from ..controls import choice, dial, table
from ..curve import draw_equation, leg_roots
from ..draw import draw_joint
from ..picture import Picture, beside, degrees, number
from ..scrubber import Scrubber, Shown, State
from .start import facing, start_orientation, view_dials, view_of

__all__ = ["scrub_equation", "scrub_leg"]


def scrub_leg(
    m: Mechanism, leg: int = 0, *, view: tuple[float, float] | None = None, size: float = 420.0
) -> Scrubber:
    """The axes u, w and v of one leg at home: its motor angle, and the angles that place its axes.

    Controls for `set`: theta, proximal, base_cone, platform_cone, azimuth, view_azimuth, view_elevation; angles
    in radians. The sliders start at the leg's own values. `leg` is 0, 1 or 2, `size` in pixels. Raises ValueError for
    another leg, and for one that is not built as in `Mechanism.symmetric`, since these angles do not describe it;
    TypeError for no joint.
    """
    front = facing(m, leg, 40 * deg)
    seen_from = front if view is None else view
    u, v = m.base_axes[leg], m.platform_axes[leg]
    beta = float(arc_between(np.array([0.0, 0.0, 1.0]), v))
    gamma = float(arc_between(np.array([0.0, 0.0, -1.0]), u))
    eta = float(np.arctan2(u[1], u[0])) if np.hypot(u[0], u[1]) > 1e-12 else 0.0
    first, second = float(m.proximal[leg]), float(m.distal[leg])

    def joint(proximal: float, base_cone: float, platform_cone: float, azimuth: float) -> Mechanism:
        azimuths = [azimuth + (i - leg) * 120 * deg for i in range(3)]
        return Mechanism.symmetric(
            proximal=proximal, distal=second, base_cone=base_cone, platform_cone=platform_cone, azimuths=azimuths
        )

    own = joint(first, gamma, beta, eta)
    off = [own.base_frames[leg] - m.base_frames[leg], own.platform_axes[leg] - v]
    if max(np.abs(part).max() for part in off) > 1e-9:  # rounding is 1e-16; nobody builds to 1e-9
        raise ValueError(
            f"leg {leg + 1} is not described by gamma, beta and eta alone; "
            "scrub_leg serves joints made by Mechanism.symmetric without twist"
        )
    dials = {
        "theta": dial("motor angle θ", -60 * deg, -pi, pi),
        "base_cone": dial("base cone γ", gamma, 0.0, pi),
        "proximal": dial("first link α₁", first, 1 * deg, 179 * deg),
        "platform_cone": dial("platform cone β", beta, 0.0, pi),
        "azimuth": dial("azimuth η", eta, -pi, pi),
        **view_dials(seen_from),
    }

    def show(state: State) -> Shown:
        now = joint(*(state[name] for name in ("proximal", "base_cone", "platform_cone", "azimuth")))
        theta = np.full(3, state["theta"])
        picture = draw_joint(
            now, np.eye(3), theta, view=view_of(state), size=size, legs=(leg,), links=1, frames=("base",),
            names=True, zero=True, title=f"The axes of leg {leg + 1}",
        )  # fmt: skip
        axes = {"u": now.base_axes[leg], "w": now.elbow_axes(theta)[leg], "v": now.platform_axes[leg]}
        rows = [[name, *(number(value, 3) for value in axis)] for name, axis in axes.items()]
        words = "; ".join(f"{name} = ({', '.join(row)})" for name, *row in rows)
        alt = f"Leg {leg + 1}: motor at {degrees(state['theta'])}; {words}."
        return Picture(picture.svg, alt), table(("axis", "x", "y", "z"), rows)

    return Scrubber(dials, show)


def scrub_equation(
    m: Mechanism,
    leg: int = 0,
    *,
    theta: float = -30 * deg,
    follow: int = 0,
    R: ArrayLike | object | None = None,
    view: tuple[float, float] | None = None,
    size: float = 340.0,
) -> Scrubber:
    """The leg equation's curve with its two roots, beside the leg that it closes.

    The leg is seen from outside unless a view is given.

    Controls for `set`: theta; follow (0: the motor stands at theta; +1, -1: at that root); the orientation as in
    `scrub_joint`; view_azimuth, view_elevation. Angles in radians, R (3, 3). ValueError, TypeError for no joint, no
    such leg, no rotation, an angle outside its slider.
    """
    front, orientation = facing(m, leg, 0.0), start_orientation(R)
    stands = [("at θ, by hand", 0), ("at root +1", 1), ("at root −1", -1)]
    dials = {
        "theta": dial("motor angle θ", theta, -pi, pi),
        "follow": choice("motor stands", follow, stands),
        **view_dials(front if view is None else view),
    }

    def show(state: State) -> Shown:
        R = state["R"]
        plus, minus = leg_roots(m, R, leg)
        hand = {0: state["theta"], 1: plus, -1: minus}[state["follow"]]
        angles = inverse_kinematics(m, R, unreachable="nan")
        angles[leg] = hand
        joint = draw_joint(
            m, R, angles, view=view_of(state), size=size, legs=(leg,), frames=(), cones=True, ghost=True
        )
        mark = None if isnan(hand) else hand
        curve = draw_equation(m, R, leg, theta=mark, width=size + 40, height=size)
        a, b, c = (number(float(values[leg]), 3) for values in m.leg_equation(R))
        value = "—" if isnan(hand) else f"{float(closure_error(m, R, np.nan_to_num(angles))[leg]):.2g}"
        row = [f"leg {leg + 1}", a, b, c, degrees(plus), degrees(minus), degrees(hand), value]
        head = ("", "a", "b", "c", "root +1", "root −1", "θ", "value at θ")
        return beside([joint, curve]), table(head, [["—" if "nan" in cell else cell for cell in row]])

    return Scrubber(dials, show, orientation=orientation, wide=True)
