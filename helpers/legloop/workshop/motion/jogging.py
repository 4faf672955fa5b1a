"""A joystick: from the rate that it asks for to the next orientation and the next steps, one tick at a time."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ... import closing, rotation
from ..._check import Floats, choice, finite, instance, modes, rotations
from ...convention import Convention
from ...forward import follow
from ...inverse import inverse_kinematics, working_mode
from ...mechanism import Mechanism, joint
from ...reach import reach_margin
from ...velocity import CLOSES, jacobian_pair
from ..drive import BeltDrive
from .knots import Joint, evenness
from .limits import FASTEST, MotionLimits, Walls
from .result import MotionError
from .sliding import nearest_point, rows

__all__ = ["Jog", "jog"]

_PAD = 0.002
"""rad: a wall inside each limit. Beyond it the motion is led back; so a limit is met by sliding, not by stopping."""

_LOOKED_AT = np.array([0.0, 0.5, 1.0])
"""Parts of the way of a stop at which the limits are looked at: where the tick ends, half, the end."""

_GLANCE = 1e-5
"""rad: so small that the pose still closes, where a motor turns a hundred times as far; so large that evenness
changes by more than its rounding."""

_SHARES = np.array([1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05])
"""Parts of the wanted rate that are tried before the motors brake; side by side they take hardly longer than one."""

_STEPS = 12
"""Steps of `follow` after which a stop that has not arrived counts as impossible. From an easy pose a stop takes 1
to 8; to be sure that one runs into a type-2 singularity takes 30 to 130, of half a millisecond each. So the motion
slows down a little earlier there, and no tick takes long."""

_OURS = Convention()
"""Made once: a tick has no time to check it anew."""


@dataclass(frozen=True, eq=False)
class Jog:
    """Where the joint stands after a tick of the joystick, and how its motors move; hand it to the next call.

    Attributes
    ----------
    R : (3, 3) array
        Orientation of the platform.
    theta, velocity : (3,) arrays
        Motor angles in radians and speeds in rad/s.
    steps : (3,) array of int
        Motor positions in microsteps.
    limited : tuple of str
        What kept the motion from the rate asked for: "reach", "travel", "speed", "acceleration", "singular", or
        "stopping": a faster motion could not stop in time.
    """

    R: Floats
    theta: Floats
    velocity: Floats
    steps: NDArray[np.int64]
    limited: tuple[str, ...] = ()


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

    After every call such a stop ends within all limits. Where the wish would break that, a part of it is taken; where
    no part will do, the motors brake. So nothing is ever passed, whatever the joystick does next, so long as dt stays
    the same or falls. The stop is tried out where it begins, at half and at its end: it is a few degrees long, and a
    limit bends away from it by far less than the `edge` of `limits` lies inside the real one. Next to a type-2 pose a
    stop that would take long to try out counts as impossible, so motion is slower there than it need be.

    Parameters
    ----------
    m : Mechanism
        The joint.
    R : (3, 3), or Jog
        Where it stands: what the last call gave; or an orientation, for motors at rest, to begin with.
    rate : (3,)
        Wanted angular rate of the platform in rad/s, about the platform's axes or the base's, as `axes` says;
        each up to 60.
    dt : float
        Time to the next call, in seconds, up to 0.1.
    mode : (3,)
        Working mode, legs in our order. It and `convention` stay the same from call to call.
    convention : Convention, optional
        With it all that comes in and goes out is the machine's, as for `plan`.
    drive : BeltDrive
        As for `plan`.
    limits : MotionLimits
        As for `plan`; `tick` is not used. `evenness` is a limit too: towards it the rate goes down, and comes to
        rest before it; away from it nothing is slowed.
    axes : "platform" or "base"
        Whose axes `rate` is about.

    Raises
    ------
    MotionError
        The joint stands outside the limits, or no orientation continues its motion (type 2).
    UnreachableError
        It cannot stand at R at all.
    ValueError, TypeError
        A rate that is not finite or above 60 rad/s, a dt out of its range, axes of another name, a Jog of another
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
    _not_faster(wish, "rate", "a stick in degrees per second is deg * rate")
    it = Joint(m, signs.astype(np.int_), Walls.of(limits, given))
    here = _start(it, R, given)
    about = here.R @ given.platform.T if axes == "platform" else given.base.T
    # platform: their axes seen in our base are the columns of R platform^T; base: those of base^T
    after = _next(it, here, np.asarray(about @ wish), float(step))
    theirs = given.angles_to_theirs(after.theta)
    speeds = after.velocity[list(given.leg_order)] * given.sense + 0.0  # no -0
    return Jog(
        given.orientation_to_theirs(after.R),
        theirs,
        speeds,
        np.asarray(drive.steps(theirs)),
        after.limited,
    )


def _start(it: Joint, R: ArrayLike | object | Jog, given: Convention) -> Jog:
    """Where the joint stands, in our frames."""
    if isinstance(R, Jog):
        return _again(it, R, given)
    pose = rotations(R, "R")
    if pose.shape != (3, 3):
        raise ValueError(f"R has shape {pose.shape}; a joystick moves one joint, from (3, 3) or from its last Jog")
    ours = _exact(given.orientation_to_ours(pose))
    theta = inverse_kinematics(it.m, ours, it.mode, near=it.walls.middle)
    if not _allowed(it, ours, theta):
        raise MotionError(
            f"the joint stands outside its limits: motors at {np.degrees(given.angles_to_theirs(theta)).round(2)}°, "
            f"reach margins {np.degrees(reach_margin(it.m, ours)).round(2)}°; bring it in with plan, or widen them",
            (),
            None,
        )
    return Jog(ours, theta, np.zeros(3), np.zeros(3, dtype=np.int64))


def _again(it: Joint, last: Jog, given: Convention) -> Jog:
    """What the last call gave, in our frames; ValueError where it is no such thing."""
    R, theta, speed = rotations(last.R, "R.R"), finite(last.theta, "R.theta"), finite(last.velocity, "R.velocity")
    if (R.shape, theta.shape, speed.shape) != ((3, 3), (3,), (3,)):
        raise ValueError(
            f"R.R, R.theta and R.velocity have shapes {R.shape}, {theta.shape} and {speed.shape}; they are (3, 3), "
            "(3,) and (3,): hand on the Jog of the last call as it is"
        )
    _not_faster(speed, "R.velocity", "hand on the Jog of the last call as it is")
    velocity = np.empty(3)
    velocity[list(given.leg_order)] = speed * given.sense
    angles = given.angles_to_ours(theta)
    here = Jog(_closed(it.m, _exact(given.orientation_to_ours(R)), angles), angles, velocity, last.steps)
    stands = working_mode(it.m, here.R, here.theta)
    if (stands != it.mode).any():
        raise ValueError(
            f"mode is {tuple(it.mode.tolist())}, and the Jog stands in {tuple(stands.tolist())}; give the mode and "
            "the convention with which the motion was begun"
        )
    return here


def _not_faster(rates: Floats, name: str, repair: str) -> None:
    """ValueError for a rate (3,) that is no such joint's."""
    for k, rate in enumerate(rates.tolist()):
        if abs(rate) > FASTEST:
            raise ValueError(f"{name}[{k}] is {rate:g} rad/s, above {FASTEST:g}; {repair}")


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


def _next(it: Joint, here: Jog, wish: Floats, dt: float) -> Jog:
    """The state dt later, in our frames."""
    walls = it.walls
    J, K = jacobian_pair(it.m, here.R, here.theta)
    limited: list[str] = []
    even = float(evenness(J, K))
    pace = min(1.0, max(even / max(walls.evenness, 1e-300) - 1.0, 0.0) * 2)  # full at 1.5 times the limit, 0 at it
    if pace < 1 and not _leaves(it, here, K, wish):
        limited.append("singular")
        wish = pace * wish
    A, room = rows(it, here.R[None], here.theta[None], K[None], pad=_PAD)
    # In motor angles a row is A J; that much deceleration is there to stop along it when one motor alone brakes.
    brake = (np.abs(A[0] @ J) * walls.acceleration).max(axis=1) / 2
    room = np.where(np.isfinite(room[0]), room[0], 1e3)
    toward = np.minimum(np.sqrt(2 * brake * np.maximum(room, 0.0)), np.maximum(room, 0.0) / (2 * dt))
    back = np.maximum(-room, 0.0) / (4 * dt)
    slid = nearest_point(wish[None], A, (back - toward)[None])[0]
    asked, got = float(np.linalg.norm(wish)), float(np.linalg.norm(slid))
    slid = slid * min(1.0, asked / got) if got else slid  # led back no faster than asked: a stick let go means rest
    if np.abs(slid - wish).max() > 1e-9:
        pushed = A[0] @ wish < back - toward - 1e-12
        limited.extend(why for why, some in (("reach", pushed[:6]), ("travel", pushed[6:])) if some.any())
    wanted = K @ slid
    over = float((np.abs(wanted) / walls.speed).max())
    if over > 1:
        limited.append("speed")
        wanted = wanted / over
    change = _SHARES[:, None] * wanted - here.velocity
    hard = (np.abs(change) / (walls.acceleration * dt)).max(axis=1)
    tried = here.velocity + change / np.maximum(hard, 1.0)[:, None]
    share, R = _first(it, here, tried, dt)
    if share < len(tried):
        velocity = tried[share]
        limited.extend(["acceleration"] * int(hard[share] > 1))
    else:  # along the stop that was found to keep all limits a tick ago
        fast = float((np.abs(here.velocity) / (walls.acceleration * dt)).max())
        velocity = here.velocity * max(0.0, 1 - 1 / fast) if fast else np.zeros(3)
        braked, part = _ticked(it, here, _driven(here, velocity, dt)[None])
        if part[0] != 1:
            raise MotionError("the joint cannot follow its motors to a stop from where this Jog stands", (), None)
        R = braked[:, :, 0]
    limited.extend(["stopping"] * int(share > 0))
    return Jog(R, _driven(here, velocity, dt), velocity, here.steps, tuple(limited))


def _leaves(it: Joint, here: Jog, K: Floats, wish: Floats) -> bool:
    """Whether a small turn along the wish makes the joint more even: away from a singular pose nothing is slowed."""
    turn = wish * (_GLANCE / max(float(np.linalg.norm(wish)), 1e-12))
    poses = np.stack([here.R, rotation.from_rotation_vector(turn) @ here.R])
    now, then = evenness(*jacobian_pair(it.m, poses, here.theta + np.stack([0 * turn, K @ turn]), singular="nan"))
    return bool(then > now)


def _driven(here: Jog, velocity: Floats, dt: float) -> Floats:
    """Motor angles (..., 3) after dt in which the speeds go evenly to `velocity` (..., 3)."""
    return np.asarray(here.theta + (here.velocity + velocity) / 2 * dt)


def _ticked(it: Joint, here: Jog, theta: Floats, steps: int | None = None) -> tuple[Floats, Floats]:
    """What `follow` gives, in columns, when the motors go straight to theta (n, 3)."""
    alike = np.repeat(here.R[..., None], len(theta), axis=2), np.repeat(here.theta[:, None], len(theta), axis=1)
    return follow(it.m, *alike, (theta - here.theta).T, steps=steps)


def _first(it: Joint, here: Jog, velocity: Floats, dt: float) -> tuple[int, Floats]:
    """The first of the speeds (n, 3), at the end of the tick, from which the motors can stop within the limits.

    Its index, and the orientation there; n where there is none.
    """
    walls = it.walls
    theta = _driven(here, velocity, dt)
    way = _LOOKED_AT[:, None, None] * _stop(velocity, walls.acceleration, dt)
    stop = theta + way
    kept = np.flatnonzero(((stop >= walls.low) & (stop <= walls.high)).all(axis=(0, 2)))
    R, part = _ticked(it, here, theta[kept], _STEPS)
    kept, R = kept[part == 1], R[:, :, part == 1]
    looks = len(_LOOKED_AT)
    start, change = np.tile(theta[kept].T, looks), way[:, kept].reshape(-1, 3).T
    there, part = follow(it.m, np.tile(R, looks), start, change, steps=_STEPS)
    arrived = np.flatnonzero((part.reshape(looks, -1) == 1).all(axis=0))
    poses = closing.from_columns(there).reshape(looks, -1, 3, 3)[:, arrived]
    good = _allowed(it, poses, stop[:, kept[arrived]]).all(axis=0)
    if not good.any():
        return len(velocity), here.R
    first = int(arrived[np.argmax(good)])
    return int(kept[first]), R[:, :, first]


def _stop(velocity: Floats, acceleration: Floats, dt: float) -> Floats:
    """How far the motors go in stops along straight lines, (..., 3): the speeds fall by one part in each tick.

    With f = max |velocity| / (acceleration dt) ticks of which the last is the fraction r of one, the speeds f, f - 1,
    ... r, 0 in parts of velocity / f take the trapezoids ``(f^2 - r^2) / 2 + r / 2``.
    """
    ticks = (np.abs(velocity) / (acceleration * dt)).max(axis=-1, keepdims=True)
    rest = ticks % 1.0
    return np.asarray(velocity * dt * (ticks**2 - rest**2 + rest) / np.where(ticks > 0, 2 * ticks, 1.0))


def _allowed(it: Joint, R: Floats, theta: Floats) -> NDArray[np.bool_]:
    """Which of R (..., 3, 3) with theta (..., 3) are within the limits."""
    walls = it.walls
    within = ((theta >= walls.low) & (theta <= walls.high) & (reach_margin(it.m, R) >= walls.edge)).all(axis=-1)
    return np.asarray(within & (evenness(*jacobian_pair(it.m, R, theta, singular="nan")) >= walls.evenness))
