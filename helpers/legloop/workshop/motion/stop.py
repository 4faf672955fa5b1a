"""The stop for an emergency: motors to rest, whatever the joint, its mode or its limits of place say."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, finite, instance
from .limits import MotionLimits

__all__ = ["Stop", "braked", "stop"]


class Stop(NamedTuple):
    """Motor angles in radians and speeds in rad/s, (3,) each, a tick later."""

    theta: Floats
    velocity: Floats


def stop(theta: ArrayLike, velocity: ArrayLike, limits: MotionLimits, dt: float) -> Stop:
    """The next motor angles and speeds on the way to rest: a straight line of motor angles, as fast as allowed.

        v' = v (1 - 1/f), or 0 where f <= 1,    f = max |v| / (acceleration dt),    theta' = theta + (v + v') / 2 dt

    For an emergency: a call of `jog` that raised, a limit that was changed on the way, a platform that isn't where it
    should be. It needs no joint, and asks for no mode, no reach, no travel, no evenness: it can always be called. For
    the same reason **it keeps none of these**. The motors brake as hard as `limits` allow, and what's in their way is
    in their way. While `jog` answers, let go of the stick instead: its stop is the same line, proved to be free.

    Call it again with what it gave, tick after tick, until the speeds are 0; send ``drive.steps(theta)`` each time.

    Parameters
    ----------
    theta : (3,)
        Motor angles in radians: ``state.theta`` of the last `Jog`, or the last targets that were sent.
    velocity : (3,)
        Speeds of the motors in rad/s: any that a motor can have. (At 1e16 rad/s rounding swallows the braking.)
    limits : MotionLimits
        Only `acceleration` is used. All three are in the machine's order and counting, as everywhere.
    dt : float
        Time to the next call, in seconds, from 1e-6 to 10: also after a tick that came late.

    Raises
    ------
    ValueError, TypeError
        Angles or speeds that aren't three finite numbers, a dt out of its range, limits of another kind.
    """
    angles, speeds, step = finite(theta, "theta"), finite(velocity, "velocity"), finite(dt, "dt")
    for name, array in (("theta", angles), ("velocity", speeds)):
        if array.shape != (3,):
            raise ValueError(f"{name} has shape {array.shape}; give three numbers, one for each motor")
    if step.shape != () or not 1e-6 <= step <= 10:
        raise ValueError(f"dt is {dt!r}; it must be one number of seconds in [1e-6, 10]: for milliseconds 1e-3 * dt")
    instance(limits, "limits", MotionLimits)
    slower = braked(speeds, np.asarray(limits.acceleration), float(step))
    return Stop(angles + (speeds + slower) / 2 * step, slower)


def braked(velocity: Floats, acceleration: Floats, dt: float) -> Floats:
    """Speeds (3,) after one tick of the hardest braking along a straight line."""
    ticks = float((np.abs(velocity) / (acceleration * dt)).max())
    return velocity * (1 - 1 / ticks) if ticks > 1 else np.zeros(3)
