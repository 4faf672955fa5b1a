"""The task of a calibration: its checked arguments, and what poses show of it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, instance
from ...convention import Convention
from ...convention.least_squares import State
from ...forward import forward_kinematics
from ...inverse import working_mode
from ...mechanism import Mechanism, deg
from .checks import checked_angle, checked_free, checked_pairs, checked_times
from .hypotheses import Setting, counted
from .problem import CORE, Closures, Data, Unknowns, model_poses, state_of
from .unseen import Seen, advice, gauge, see, weak

__all__ = ["SPARE", "Task", "checked_task", "left_open", "seen_by"]

SPARE = 9
"""Least degrees of freedom: with fewer, sigma itself is known to no better than a quarter (1 / sqrt(2 * 9))."""


class Task(NamedTuple):
    """The checked arguments; `believed` says whether a start was given."""

    m: Mechanism
    data: Data
    start: Convention
    free: tuple[str, ...]
    setting: Setting
    sensor: float
    tooth: float | None
    believed: bool


def checked_task(
    m: Mechanism,
    orientations: ArrayLike | object,
    motor_angles: ArrayLike,
    free: object,
    start: Convention | None,
    errors: tuple[float, float],
    tooth: float | None,
    times: ArrayLike | None,
) -> tuple[Task, tuple[float, float]]:
    """The task, and the middle and the length of the session in seconds."""
    R, theta = checked_pairs(orientations, motor_angles)
    groups = checked_free(free)
    begin = Convention() if start is None else instance(start, "start", Convention)
    sensor = checked_angle(errors[0], "sensor_error", 10 * deg)
    ratio = checked_angle(errors[1], "motor_error", 10 * deg) / sensor
    size = None if tooth is None else checked_angle(tooth, "tooth", 90 * deg)
    clock = checked_times(times, len(R), needed="drift" in groups)
    length = float(np.ptp(clock)) if len(clock) else 0.0
    if "drift" in groups and length == 0:
        raise ValueError("times are all alike; a drift shows only between poses measured at different times")
    middle = float(clock.mean()) if "drift" in groups else 0.0
    data = Data(R, theta[None], (clock - middle) / (length or 1.0))
    setting = Setting(
        tuple(name for name in groups if name in CORE),
        None if "base" in groups else begin.base,
        None if "platform" in groups else begin.platform,
        ratio,
    )
    task = Task(m, data, begin, groups, setting, sensor, size, start is not None)
    _enough(task)
    return task, (middle, length or 1.0)


def _enough(task: Task) -> None:
    """Raise if the poses are too few, and say what they leave open."""
    count, unknowns = len(task.data.time), Closures(task.data, task.setting.groups).size
    needed = -(-(unknowns + SPARE) // 3)
    if count >= needed:
        return
    told = ""
    raw, zero = counted(task.data, task.start)
    R = forward_kinematics(task.m, raw + zero, near=np.eye(3), unreachable="nan")
    closes = np.isfinite(R[:, 0, 0])
    if closes.any():
        data = Data(R[closes], raw[None, closes], task.data.time[closes])
        state = tuple(state_of(task.m, np.eye(3)[None], np.eye(3)[None], zero[None]))
        seen, slopes = seen_by(task, data, state, task.sensor, task.setting.groups)
        told = "; they leave open: " + left_open(task, data, state, seen, slopes)
    raise ValueError(
        f"{count} poses give {3 * count} equations for {unknowns} unknowns; at least {needed} poses are needed, so "
        f"that the errors can be told from the noise, and a dozen are better{told}"
    )


def seen_by(task: Task, data: Data, state: State, error: float, groups: tuple[str, ...]) -> tuple[Seen, Floats]:
    """What poses show of groups, and their whitened slopes, (3 n, p), where the model has the poses.

    There the sensor's noise does not pretend to show what the motors did not do.
    """
    closed = model_poses(state, data)
    whiten = Closures(closed, groups).whiteners(state, task.setting.ratio)
    slopes = np.asarray(Closures(closed, groups, whiten=whiten).slopes(state)[0].T)
    return see(slopes, error, gauge(task.m, groups)), slopes


def left_open(task: Task, data: Data, state: State, seen: Seen, slopes: Floats) -> str:
    """Words for the worst direction of frames and zeros, and for poses that would show it."""
    groups = task.setting.groups
    angles = Closures(data, ()).orientations(state)[0], data.theta[0] + Unknowns(*state).zero[0]
    mode = np.where(working_mode(task.m, *angles).sum(axis=0) < 0, -1, 1)
    poses = advice(task.m, state, groups, slopes, mode, task.setting.ratio)
    add = f"; add poses such as {poses}" if poses else ""
    return f"{weak(seen.directions[:, -1:], groups, seen.sigma[-1:])[0]!r}{add}"
