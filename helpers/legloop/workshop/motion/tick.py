"""One tick of a joystick, in our frames: the speeds nearest to the wish from which the motors can stop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ... import closing, rotation
from ..._check import Floats
from ..._travel import Frozen
from ...forward import follow
from ...reach import reach_margin
from ...velocity import jacobian_pair
from .knots import Joint, evenness
from .result import MotionError
from .sliding import nearest_point, rows

__all__ = ["Jog", "advance", "allowed"]

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
    """

    R: Floats
    theta: Floats
    velocity: Floats
    steps: NDArray[np.int64]
    limited: tuple[str, ...] = ()


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
    share, R = _first(it, here, tried, dt)
    if share < len(tried):
        velocity = tried[share]
        limited.extend(["acceleration"] * int(hard[share] > 1))
    else:  # along the stop that was found to keep all limits a tick ago
        fast = float((np.abs(here.velocity) / (walls.acceleration * dt)).max())
        velocity = here.velocity * max(0.0, 1 - 1 / fast) if fast else np.zeros(3)
        braked, part = _ticked(it, here, _driven(here, velocity, dt)[None])
        if part[0] != 1:
            raise MotionError("the joint cannot follow its motors to a stop from where this Jog stands")
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
    good = allowed(it, poses, stop[:, kept[arrived]]).all(axis=0)
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


def allowed(it: Joint, R: Floats, theta: Floats) -> NDArray[np.bool_]:
    """Which of R (..., 3, 3) with theta (..., 3) are within the limits."""
    walls = it.walls
    within = ((theta >= walls.low) & (theta <= walls.high) & (reach_margin(it.m, R) >= walls.edge)).all(axis=-1)
    return np.asarray(within & (evenness(*jacobian_pair(it.m, R, theta, singular="nan")) >= walls.evenness))
