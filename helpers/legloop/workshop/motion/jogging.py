"""A joystick: from the rate that it asks for to the next orientation and the next steps, one tick at a time."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ... import closing
from ..._check import Floats, choice, finite, instance, modes, rotations
from ...convention import Convention
from ...inverse import inverse_kinematics, working_mode
from ...mechanism import Mechanism, joint
from ...reach import reach_margin
from ...velocity import CLOSES
from ..drive import BeltDrive
from .knots import Joint
from .limits import FASTEST, MotionLimits, Walls
from .result import MotionError
from .tick import Jog, advance, allowed

__all__ = ["jog"]

_QUICKEST = 4 * np.pi
"""rad/s of the platform, two turns a second: it would cross all of its reach in a quarter of one. Nobody steers that
by hand; so a larger number is in degrees per second."""

_LIMP = 1e-3
"""The least evenness, whatever the limits say. Nearer to type 2 a microstep of a motor turns the platform by degrees,
and its motion can no longer be followed to rounding: an answer to the next call could not be promised."""

_OURS = Convention()
"""Made once: a tick has no time to check it anew."""


def jog(
    m: Mechanism,
    R: ArrayLike | object | Jog,
    rate: ArrayLike,
    dt: float,
    *,
    mode: ArrayLike = (1, 1, 1),
    convention: Convention | None = None,
    drive: BeltDrive,
    limits: MotionLimits,
    axes: Literal["platform", "base"] = "platform",
) -> Jog:
    """The next orientation and steps, `dt` later, for a joystick that asks for an angular rate.

    The motors take the speeds that turn the platform at the rate nearest to the one asked for that the limits
    allow: towards a limit of reach or travel it may go no faster than it can stop, along it freely, so motion slides
    along. All is slowed alike where a motor would be too fast. The speeds change by at most the acceleration
    times dt, evenly over the tick. ``rate = (0, 0, 0)`` stops all motors along a straight line of motor angles, as
    fast as that allows.

    Before a tick is given out, all of it and all of the stop after it is **proved** to keep reach, travel and
    evenness, to keep the working mode, and to pass no type-2 pose: by bounds over the whole path between two targets,
    not by samples (`tube`). Where the wish would break that, a part of it is taken; where no part will do, the motors
    brake along the stop that was proved a tick ago. So nothing is ever passed, whatever the joystick does next, and
    the next call accepts each Jog, so long as limits stay the same and dt stays the same or falls. Next to a type-2
    pose a way that would take long to prove counts as impossible, so motion is slower there than it need be.

    If a call does raise while motors turn, `stop` brings them to rest.

    Parameters
    ----------
    m : Mechanism
        The joint.
    R : (3, 3), or Jog
        Where it stands: what the last call gave; or an orientation, for motors at rest, to begin with.
    rate : (3,)
        Wanted angular rate of the platform in rad/s, about the platform's axes or the base's, as `axes` says;
        each up to 4 pi, two turns a second.
    dt : float
        Time to the next call, in seconds, up to 0.1.
    mode : (3,)
        Working mode, legs in our order. It and `convention` stay the same from call to call.
    convention : Convention, optional
        With it all that comes in and goes out is the machine's, as for `plan`.
    drive : BeltDrive
        As for `plan`.
    limits : MotionLimits
        As for `plan`; `tick` is not used. `evenness` is a limit too, and counts as 0.001 where it is less: towards
        it the rate goes down, and comes to rest before it; away from it nothing is slowed.
    axes : "platform" or "base"
        Whose axes `rate` is about.

    Raises
    ------
    MotionError
        The joint is outside the limits; or dt has grown, or the limits have changed, while the motors turned, and no
        way to rest is proved for the new ones.
    UnreachableError
        It cannot stand at R at all.
    ValueError, TypeError
        A rate that is not finite or above 4 pi rad/s, a dt out of its range, axes of another name, a Jog of another
        joint, mode or convention.
    """
    m, given = joint(m), _OURS if convention is None else instance(convention, "convention", Convention)
    instance(drive, "drive", BeltDrive)
    choice(axes, "axes", ("platform", "base"))
    step = finite(dt, "dt")
    if step.shape != () or not 1e-6 <= step <= 0.1:
        raise ValueError(f"dt is {dt!r}; it must be one number of seconds in [1e-6, 0.1]: for milliseconds 1e-3 * dt")
    signs, wish = modes(mode), finite(rate, "rate", 3)
    if signs.shape != (3,) or wish.shape != (3,):
        raise ValueError(f"mode and rate have shapes {signs.shape} and {wish.shape}; both are (3,)")
    _not_faster(wish, "rate", _QUICKEST, "no stick means that; one in degrees per second is deg * rate")
    walls = Walls.of(limits, given)
    it = Joint(m, signs.astype(np.int_), replace(walls, evenness=max(walls.evenness, _LIMP)))
    here = _start(it, R, given, limits)
    about = here.R @ given.platform.T if axes == "platform" else given.base.T
    # platform: their axes seen in our base are the columns of R platform^T; base: those of base^T
    after = advance(it, here, np.asarray(about @ wish), float(step))
    theirs = given.angles_to_theirs(after.theta)
    speeds = after.velocity[list(given.leg_order)] * given.sense + 0.0  # no -0
    return Jog(
        given.orientation_to_theirs(after.R),
        theirs,
        speeds,
        np.asarray(drive.steps(theirs)),
        after.limited,
        None if after.halt is None else given.angles_to_theirs(after.halt),
        limits,
    )


def _start(it: Joint, R: ArrayLike | object | Jog, given: Convention, limits: MotionLimits) -> Jog:
    """Where the joint stands, in our frames."""
    if isinstance(R, Jog):
        return _again(it, R, given, limits)
    pose = rotations(R, "R")
    if pose.shape != (3, 3):
        raise ValueError(f"R has shape {pose.shape}; a joystick moves one joint, from (3, 3) or from its last Jog")
    ours = _exact(given.orientation_to_ours(pose))
    theta = inverse_kinematics(it.m, ours, it.mode, near=it.walls.middle)
    _inside(it, ours, theta, given)
    return Jog(ours, theta, np.zeros(3), np.zeros(3, dtype=np.int64))


def _again(it: Joint, last: Jog, given: Convention, limits: MotionLimits) -> Jog:
    """What the last call gave, in our frames; ValueError where it is no such thing."""
    R, theta, speed = rotations(last.R, "R.R"), finite(last.theta, "R.theta"), finite(last.velocity, "R.velocity")
    if (R.shape, theta.shape, speed.shape) != ((3, 3), (3,), (3,)):
        raise ValueError(
            f"R.R, R.theta and R.velocity have shapes {R.shape}, {theta.shape} and {speed.shape}; they are (3, 3), "
            "(3,) and (3,): hand on the Jog of the last call as it is"
        )
    _not_faster(speed, "R.velocity", FASTEST, "hand on the Jog of the last call as it is")
    velocity = np.empty(3)
    velocity[list(given.leg_order)] = speed * given.sense
    angles = given.angles_to_ours(theta)
    halt = None if last.halt is None or last.limits != limits else given.angles_to_ours(finite(last.halt, "R.halt"))
    pose = _closed(it.m, _exact(given.orientation_to_ours(R)), angles)
    here = Jog(pose, angles, velocity, last.steps, halt=halt)
    stands = working_mode(it.m, here.R, here.theta)
    if (stands != it.mode).any():
        raise ValueError(
            f"mode is {tuple(it.mode.tolist())}, and the Jog stands in {tuple(stands.tolist())}; give the mode and "
            "the convention with which the motion was begun"
        )
    if halt is None:
        _inside(it, here.R, here.theta, given)
    return here


def _inside(it: Joint, R: Floats, theta: Floats, given: Convention) -> None:
    """MotionError for a pose outside the limits."""
    if not allowed(it, R, theta):
        raise MotionError(
            f"the joint is outside its limits: motors at {np.degrees(given.angles_to_theirs(theta)).round(2)}°, "
            f"reach margins {np.degrees(reach_margin(it.m, R)).round(2)}°; begin "
            "inside them, or widen them for the way in. If the motors of a Jog still turn, stop(jog.theta, "
            "jog.velocity, limits, dt) brings them to rest"
        )


def _not_faster(rates: Floats, name: str, most: float, repair: str) -> None:
    """ValueError for a rate (3,) that nobody means."""
    for k, rate in enumerate(rates.tolist()):
        if abs(rate) > most:
            raise ValueError(f"{name}[{k}] is {rate:g} rad/s, above {most:.4g}; {repair}")


def _closed(m: Mechanism, R: Floats, theta: Floats) -> Floats:
    """R, closed at theta by one step of Newton's, or the roundings of a day would add up; ValueError for more."""
    w, p = closing.elbows(m, theta[:, None]), closing.platform(m, R[..., None])
    miss = closing.closure(m, w, p)
    if np.abs(miss).max() > CLOSES:
        raise ValueError(
            "R is the Jog of another joint, or of another convention: its motor angles and its orientation do not "
            f"close, by {np.abs(miss).max():.3g}; hand it on to the joint and the convention that gave it, as it is"
        )
    omega = closing.newton_step(*closing.adjugate(closing.cross(w, p)), miss)
    return closing.turned(R[..., None], omega)[..., 0]


def _exact(R: Floats) -> Floats:
    """The rotation next to R (3, 3), which may be one to six decimals: each step squares what is missing."""
    return closing.orthonormal(closing.orthonormal(R[..., None]))[..., 0]
