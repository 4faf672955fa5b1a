"""From an orientation of the platform to three motor angles, and back to what they close."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import product
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from . import leg
from ._check import (
    Floats,
    batch,
    batch_index,
    choice,
    finite,
    is_rotation,
    modes,
    not_rotations,
    orientations,
    place,
    raise_not_rotation,
)
from .half_angle import SIZE, Block
from .mechanism import Mechanism, joint, no_motor_angle

__all__ = ["WORKING_MODES", "closure_error", "inverse_kinematics", "working_mode"]

WORKING_MODES: NDArray[np.int_] = np.array(list(product((1, -1), repeat=3)))
"""The eight working modes, (8, 3): +1 or -1 for each leg. ``R[:, None]`` with it solves N poses in all eight."""
WORKING_MODES.flags.writeable = False


def inverse_kinematics(
    m: Mechanism,
    R: ArrayLike | object,
    mode: ArrayLike = (1, 1, 1),
    *,
    near: ArrayLike | None = None,
    unreachable: Literal["raise", "nan"] = "raise",
) -> Floats:
    """Motor angles that hold the platform at orientation R, in closed form.

        a cos(theta) + b sin(theta) + c = 0  for each leg,  theta = atan2(-b c - s a sqrt(D), -a c + s b sqrt(D))

    with a, b, c of `Mechanism.leg_equation`, D = a^2 + b^2 - c^2, s the working mode of the leg.

    Parameters
    ----------
    m : Mechanism
        The joint.
    R : (..., 3, 3)
        Rotation matrices, or an object with ``as_matrix()``. R takes platform to base coordinates.
    mode : (..., 3)
        +1 or -1 for each leg: the sign of ``(u x w) . R v``. Seen from outside, walk from the motor axis straight
        to the platform hinge: an elbow on your right is +1, on your left -1. Broadcasts against the orientations.
    near : (..., 3), optional
        Motor angles in radians. Of the angles that differ by whole turns, the one nearest to `near` is given. Since
        the motors of a coaxial joint may turn on and on, no bound is set: degrees here come back as many turns.
    unreachable : "raise" or "nan"
        What becomes of a leg that cannot close: an error, or NaN in its place.

    Returns
    -------
    (..., 3) array
        Radians, in (-pi, pi] or nearest to `near`.

    Raises
    ------
    UnreachableError
        A leg cannot close. Says which pose, which leg, how far it is short, and a turn that brings it back.
    SingularError
        A leg closes at every motor angle, since u and R v are parallel, and no `near` says which to keep. With
        ``unreachable="nan"`` that angle is NaN too.
    ValueError, TypeError
        R is no rotation, `mode` is not +-1, shapes do not broadcast.

    Notes
    -----
    Memory beyond input and output does not grow with the batch. A batch is solved for theta/2, as `half_angle` says,
    and differs from single poses by rounding. A pose on the very edge of reach counts as reached when rounding
    alone puts it outside; `leg.motor_angle` lists all the special cases.
    """
    choice(unreachable, "unreachable", ("raise", "nan"))
    m = joint(m)
    poses, signs = orientations(R), modes(mode)
    aims = None if near is None else finite(near, "near", 3)
    if poses.ndim == 2 and signs.ndim == 1 and (aims is None or aims.ndim == 1):
        quick = _one_pose(m, poses, signs)
        if quick is not None:
            return quick if aims is None else quick + _whole_turns(quick, aims)

    batches = {"R": poses.shape[:-2], "mode": signs.shape[:-1], "near": () if aims is None else aims.shape[:-1]}
    shape = batch(**batches)
    pose_rows, sign_rows = _rows(poses, shape, 2), _rows(signs, shape, 1)
    aim_rows = None if aims is None else _rows(aims, shape, 1)
    theta = np.empty((math.prod(shape), 3))
    block = Block(m.coefficients, len(theta))
    first, count = 0, 0
    for start in range(0, len(theta), SIZE):
        part = theta[start : start + SIZE]
        stop = start + len(part)
        columns, scratch = block.load(pose_rows(start, stop), len(part))
        bad = not_rotations(columns, scratch)
        if bad is not None:
            raise_not_rotation(columns[:, bad], batch_index(start + bad, shape if poses.ndim > 2 else ()))
        sign = sign_rows(start, stop).T.astype(np.float64)
        special = block.solve(sign, part)
        if aim_rows is not None:
            aim = np.broadcast_to(aim_rows(start, stop), part.shape)
            part += _whole_turns(part, aim)
        if special.size:
            a, b, c = block.equations(special)
            angle = leg.motor_angle(a, b, c, np.broadcast_to(sign, part.T.shape)[:, special]).T
            if aim_rows is not None:
                nearest = angle + _whole_turns(angle, aim[special])
                angle = np.where(leg.undetermined(a, b, c).T, aim[special], nearest)
            part[special] = angle
            failed = special[np.isnan(angle).any(axis=1)]
            first = start + int(failed[0]) if failed.size and not count else first
            count += failed.size
    if count and unreachable == "raise":
        index = batch_index(first, shape)
        R_first = pose_rows(first, first + 1).reshape(3, 3).astype(np.float64)
        raise no_motor_angle(m, R_first, place("orientation", index), index, count)
    return theta.reshape(*shape, 3)


def working_mode(m: Mechanism, R: ArrayLike | object, theta: ArrayLike) -> NDArray[np.int_]:
    """Sign of ``(u x w) . R v`` for each leg: the working mode that R and theta stand in.

    Shapes (..., 3, 3) and (..., 3) in, (..., 3) out, of -1, 0, +1. Where the leg closes the product is
    ``mode * sqrt(D)``; 0 means that the leg is folded or stretched to within the rounding of D, whose square
    root is about 1e-7. theta in radians; ValueError for what is no rotation, for an angle that is not finite and for
    shapes that do not broadcast.
    """
    w, p = _axes(m, R, theta)
    volume = np.einsum("...i,...i->...", np.cross(m.base_axes, w), p)
    return np.where(np.abs(volume) <= math.sqrt(leg.ROUNDING), 0, np.sign(volume)).astype(np.int_)


def closure_error(m: Mechanism, R: ArrayLike | object, theta: ArrayLike) -> Floats:
    """By how much each leg misses closing: ``w . R v - cos(alpha_2)``.

    Shapes (..., 3, 3) and (..., 3) in, theta in radians; (..., 3) out, a difference of cosines, zero where the leg
    closes. ValueError for what is no rotation, an angle that is not finite, shapes that do not broadcast.
    """
    return np.asarray(np.einsum("...i,...i->...", *_axes(m, R, theta)) - np.cos(m.distal))


def _axes(m: Mechanism, R: ArrayLike | object, theta: ArrayLike) -> tuple[Floats, Floats]:
    """Elbow and platform axes, w and R v, of poses and motor angles that fit together."""
    p, w = joint(m).platform_axes_at(R), m.elbow_axes(theta)
    batch(R=p.shape[:-2], theta=w.shape[:-2])
    return w, p


def _one_pose(m: Mechanism, pose: NDArray[Any], signs: NDArray[Any]) -> Floats | None:
    """Motor angles of one pose in one mode without the cost of a batch; None when anything about it is special."""
    entries = pose.reshape(9).astype(np.float64, copy=False)
    if not is_rotation(entries.tolist()):
        return None
    matrix, constant = m.coefficients
    theta = leg.motor_angles((matrix.dot(entries) + constant).tolist(), signs.tolist())
    return None if theta is None else np.array(theta)


def _whole_turns(angle: Floats, aim: Floats) -> Floats:
    """The multiple of 2 pi that brings `angle` nearest to `aim`."""
    return np.asarray(2 * np.pi * np.rint((aim - angle) / (2 * np.pi)))


def _rows(array: NDArray[Any], shape: tuple[int, ...], core: int) -> Callable[[int, int], NDArray[Any]]:
    """A function (start, stop) that gives those rows of `array` as broadcast to the batch `shape`.

    Each row holds the last `core` axes, flat. Nothing larger than one block is ever copied: a batch that lies
    in memory in order is sliced, any other (strided, broadcast) is gathered. An array without batch axes stays
    one row, which broadcasts.
    """
    own_batch = array.shape[: array.ndim - core]
    width = math.prod(array.shape[array.ndim - core :])
    if not own_batch:
        only = array.reshape(1, width)
        return lambda *_: only
    if own_batch == shape and array.flags.c_contiguous:
        flat = array.reshape(-1, width)
        return lambda start, stop: flat[start:stop]
    aligned = array.reshape((1,) * (len(shape) - len(own_batch)) + array.shape)

    def gather(start: int, stop: int) -> NDArray[Any]:
        index = np.unravel_index(np.arange(start, stop), shape)
        own = tuple(np.zeros_like(i) if n == 1 else i for i, n in zip(index, aligned.shape, strict=False))
        return aligned[own].reshape(-1, width)

    return gather
