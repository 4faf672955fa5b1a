"""One tick of a joystick, in our frames: the speeds nearest to the wish from which the motors can stop."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ... import rotation
from ..._check import Floats
from ..._travel import Frozen
from ...forward import follow
from ...reach import reach_margin
from ...velocity import jacobian_pair
from .knots import Joint, evenness
from .limits import MotionLimits, Walls
from .result import MotionError
from .sliding import nearest_point, rows
from .stop import braked
from .tube import first_proved
from .ways import Ways

__all__ = ["Jog", "advance", "allowed"]

_PAD = 0.002
"""rad: a wall inside each limit. Beyond it the motion is led back; so a limit is met by sliding, not by stopping."""

_GLANCE = 1e-5
"""rad: so small that the pose still closes, where a motor turns a hundred times as far; so large that evenness
changes by more than its rounding."""

_SHARES = np.array([1.0, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05])
"""Parts of the wanted rate that are tried before the motors brake; side by side they take hardly longer than one."""

_SAME = 1e-12
"""rad: the way to rest is the one that was proved a tick ago if it leaves it by no more; roundings are smaller."""


@dataclass(frozen=True, eq=False)
class Jog(Frozen):
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
    halt : (3,) array, or None
        Motor angles to which the straight way from `theta` is proved to keep all limits: when the stick is let go the
        motors come to rest before it. None: nothing is proved yet.
    limits : MotionLimits, or None
        Those for which it was proved.
    """

    R: Floats
    theta: Floats
    velocity: Floats
    steps: NDArray[np.int64]
    limited: tuple[str, ...] = ()
    halt: Floats | None = None
    limits: MotionLimits | None = None


def advance(it: Joint, here: Jog, wish: Floats, dt: float) -> Jog:
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
    slower = braked(here.velocity, walls.acceleration, dt)
    safe = _proved(here, here.velocity * dt * _ticks(here.velocity, walls, dt))
    batches = [tried[:1], tried[1:]] if wanted.any() else []
    if not safe:
        batches.append(slower[None])
    share, velocity, rest = 0, slower, None
    for batch in batches:
        rest = _first(it, here, batch, dt)
        if rest is not None:
            share, velocity = share + rest.which, batch[rest.which]
            break
        share += len(batch)
    if rest is None and safe:
        rest = _braking(it, here, _driven(here, slower, dt))
    if rest is None:
        raise MotionError(
            "no way to rest within the limits is proved from where this Jog is: dt has grown, or the limits have "
            "changed since the last call; stop(jog.theta, jog.velocity, limits, dt) brings the motors to rest anyway"
        )
    if share < len(tried) and hard[share] > 1:
        limited.append("acceleration")
    limited.extend(["stopping"] * int(share > 0))
    return Jog(rest.R, _driven(here, velocity, dt), velocity, here.steps, tuple(limited), rest.halt)


def _leaves(it: Joint, here: Jog, K: Floats, wish: Floats) -> bool:
    """Whether a small turn along the wish makes the joint more even: away from a singular pose nothing is slowed."""
    turn = wish * (_GLANCE / max(float(np.linalg.norm(wish)), 1e-12))
    poses = np.stack([here.R, rotation.from_rotation_vector(turn) @ here.R])
    now, then = evenness(*jacobian_pair(it.m, poses, here.theta + np.stack([0 * turn, K @ turn]), singular="nan"))
    return bool(then > now)


def _driven(here: Jog, velocity: Floats, dt: float) -> Floats:
    """Motor angles (..., 3) after dt in which the speeds go evenly to `velocity` (..., 3)."""
    return np.asarray(here.theta + (here.velocity + velocity) / 2 * dt)


class _Rest(NamedTuple):
    """A tick that leaves a way to rest: which one, the orientation after it, and where that way ends, as in `Jog`."""

    which: int
    R: Floats
    halt: Floats | None


def _first(it: Joint, here: Jog, velocity: Floats, dt: float) -> _Rest | None:
    """For the first of the speeds (n, 3), at the end of the tick, with which it and a stop after it are proved."""
    ticks = _ticks(velocity, it.walls, dt)
    ways = Ways(here.theta, dt * here.velocity, dt * (velocity - here.velocity).T, 1 + ticks[:, 0])
    found = first_proved(it, here.R, ways)
    if found is None:
        return None
    k, R = found
    return _Rest(k, R, _driven(here, velocity[k], dt) + dt * ticks[k] * velocity[k])


def _braking(it: Joint, here: Jog, theta: Floats) -> _Rest | None:
    """For a tick to theta (3,), along the stop that was proved a tick ago."""
    R, part = follow(it.m, here.R[..., None], here.theta[:, None], (theta - here.theta)[:, None])
    return _Rest(0, R[..., 0], here.halt) if part[0] == 1 else None


def _ticks(velocity: Floats, walls: Walls, dt: float) -> Floats:
    """How many ticks of `velocity` (..., 3) a straight stop is long at most, (..., 1), so long as dt does not grow.

    With f = max |velocity| / (acceleration dt) ticks of which the last is the fraction r of one, the speeds f, f - 1,
    ... r, 0 in parts of velocity / f take the trapezoids ``(f^2 + r - r^2) / 2``, at most ``(f^2 + 1/4) / 2``. Where
    f < 1/2 it is one trapezoid, f / 2. Both fall with dt; and what is left after a tick of the stop is no more than
    what was left before, less that tick.
    """
    f = (np.abs(velocity) / (walls.acceleration * dt)).max(axis=-1, keepdims=True)
    return np.asarray(np.where(f < 0.5, 0.5, (f + 0.25 / np.maximum(f, 0.5)) / 2))


def _proved(here: Jog, way: Floats) -> bool:
    """Whether the straight way (3,) from here lies within the one that the last call proved."""
    if not way.any():
        return True  # at rest
    if here.halt is None:
        return False
    proved = here.halt - here.theta
    part = float(way @ proved) / max(float(proved @ proved), 1e-300)
    return bool(np.abs(way - min(part, 1.0) * proved).max() <= _SAME and part >= 0)


def allowed(it: Joint, R: Floats, theta: Floats) -> NDArray[np.bool_]:
    """Which of R (..., 3, 3) with theta (..., 3) are within the limits."""
    walls = it.walls
    within = ((theta >= walls.low) & (theta <= walls.high) & (reach_margin(it.m, R) >= walls.edge)).all(axis=-1)
    even = evenness(*jacobian_pair(it.m, R, theta, singular="nan"))
    return np.asarray(within & (even >= walls.evenness) & (even > 0))
