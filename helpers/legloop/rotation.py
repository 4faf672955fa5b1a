"""One turn in its several names: matrix, Euler angles, axis and angle, quaternion, tilt and torsion.

Rotations are active: ``R @ p`` turns the vector p within one frame. Angles are radians. Leading axes are a batch,
and several arguments broadcast together. What reads a rotation R, (..., 3, 3), also takes any object with an
``as_matrix()`` method. Every function raises a ValueError for a matrix that is no rotation, for a number that is not
finite and for shapes that do not fit, and a TypeError for what is no number.

What makes a rotation of angles raises a ValueError for an angle beyond a turn, 2 pi either way: nearly always it is
in degrees. Pass ``turns=True`` for an angle that counts on over several turns. Degrees up to 6 look like radians, and
no check can see them: ``from_rpy(5, 0, 0)`` turns by 5 rad.

Every ``to_...`` gives back, to rounding, the matrix that it read. A single angle is only as sharp as the turn
fixes it; where it is free the docstring states the choice. In (-pi, pi], half a turn reads +pi, never -pi.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import ArrayLike

from . import _check
from ._check import Floats

__all__ = [
    "angle_between",
    "from_axis_angle",
    "from_euler",
    "from_quaternion",
    "from_rotation_vector",
    "from_rpy",
    "from_tilt_torsion",
    "rx",
    "ry",
    "rz",
    "to_axis_angle",
    "to_euler",
    "to_quaternion",
    "to_rotation_vector",
    "to_rpy",
    "to_tilt_torsion",
]

# A sine (or cosine) this small is what rounding leaves of a zero in a product of up to 60 matrices; an angle read
# from it would be noise. Reading it as 0 moves no entry of the matrix by more than this.
_LOCK = 16 * np.finfo(np.float64).eps
_FIXED_SEQUENCES = [a + b + c for a, b, c in product("xyz", repeat=3) if a != b != c]


def rx(angle: ArrayLike, *, turns: bool = False) -> Floats:
    """Turn about the x axis, from y towards z: radians (...) in, (..., 3, 3) out. ValueError as said above."""
    return _about(0, _check.turn(angle, "angle", turns=turns))


def ry(angle: ArrayLike, *, turns: bool = False) -> Floats:
    """Turn about the y axis, from z towards x: radians (...) in, (..., 3, 3) out. ValueError as said above."""
    return _about(1, _check.turn(angle, "angle", turns=turns))


def rz(angle: ArrayLike, *, turns: bool = False) -> Floats:
    """Turn about the z axis, from x towards y: radians (...) in, (..., 3, 3) out. ValueError as said above."""
    return _about(2, _check.turn(angle, "angle", turns=turns))


def from_euler(seq: str, angles: ArrayLike, *, turns: bool = False) -> Floats:
    """Three turns (..., 3, 3) about coordinate axes by `angles` (..., 3) in radians, in the order of the letters.

    ``from_euler("xyz", (a, b, c)) = Rz(c) @ Ry(b) @ Rx(a)``: lower case turns about the fixed axes.
    ``from_euler("XYZ", (a, b, c)) = Rx(a) @ Ry(b) @ Rz(c)``: upper case turns about the axes that move along.

    `seq` is one of 24: three letters of x, y, z, neighbours unlike, cases not mixed; else a ValueError.
    Source: the twelve orders are tabulated in Henderson, NASA TM-74839, 1977 (from memory).
    """
    return _three_turns(seq, *np.moveaxis(_check.turn(angles, "angles", 3, turns=turns), -1, 0))


def to_euler(seq: str, R: ArrayLike | object) -> Floats:
    """Angles (..., 3), in radians, of R in the sequence `seq`; the inverse of `from_euler`, ValueError as there.

    The first and the third are in (-pi, pi]; the second is in [-pi/2, pi/2] for three different letters, in
    [0, pi] where the first letter returns. At an end of the second's range (gimbal lock; its cosine, or its sine,
    is at most 3.6e-15) only a sum or a difference of the others exists: the third is 0.
    """
    (i, j, k), moving = _axes(seq)
    # Moving axes: R^T is the product of the opposite turns about fixed axes. So X = R_k(t c) R_j(t b) R_i(t a)
    # with t = -1 if moving, else 1; e_n completes the axes, and hand = t e_n.(e_i x e_j).
    X = np.swapaxes(_check.rotations(R), -1, -2) if moving else _check.rotations(R)
    n, hand = 3 - i - j, 1 if (j == (i + 1) % 3) != moving else -1
    if k == i:  # X e_i = cos b e_i + sin b (sin c e_j - hand cos c e_n)
        cosines, sines, side = -hand * X[..., n, :], X[..., j, :], 1
    else:  # X e_i = cos b (cos c e_i + hand sin c e_j) - hand sin b e_n
        cosines, sines, side = X[..., i, :], hand * X[..., j, :], hand
    radius = np.hypot(cosines[..., i], sines[..., i])
    second = np.arctan2(radius, X[..., i, i]) if k == i else np.arctan2(-hand * X[..., n, i], radius)
    third = np.arctan2(sines[..., i], cosines[..., i]) * (radius > _LOCK)
    # The first is read after the third is undone. Read on its own it would be as uncertain near the lock as
    # the third is; read so, it makes up for the third's error, and the two together return the matrix.
    left = side * (np.cos(third)[..., None] * sines - np.sin(third)[..., None] * cosines)
    first = np.arctan2(-hand * left[..., n], left[..., j])
    return _wrapped(np.stack([first, second, third], axis=-1))


def from_rpy(roll: ArrayLike, pitch: ArrayLike, yaw: ArrayLike, *, turns: bool = False) -> Floats:
    """Matrix ``Rz(yaw) @ Ry(pitch) @ Rx(roll)`` of radians (...): about fixed x, then fixed y, then fixed z.

    ValueError for an angle that is not finite or beyond a turn, and for shapes that do not broadcast.
    """
    return _three_turns("xyz", *_angles(turns, roll=roll, pitch=pitch, yaw=yaw))


def to_rpy(R: ArrayLike | object) -> tuple[Floats, Floats, Floats]:
    """Roll and yaw in (-pi, pi], pitch in [-pi/2, pi/2], each (...) in radians; at pitch ±pi/2 the yaw is 0.

    ValueError for what is no rotation, (..., 3, 3).
    """
    roll, pitch, yaw = np.moveaxis(to_euler("xyz", R), -1, 0)
    return roll, pitch, yaw


def from_axis_angle(axis: ArrayLike, angle: ArrayLike, *, turns: bool = False) -> Floats:
    """Right-handed turn (..., 3, 3) by `angle` (...) in radians about the unit vector `axis` (..., 3).

    ``R = I + sin(angle) K + (1 - cos(angle)) K^2`` with ``K p = axis x p`` (formula of Rodrigues). An axis more than
    1e-6 off unit length raises a ValueError; within that it is divided by its length: R is a rotation to rounding.
    """
    unit, turn = _check.unit(axis, "axis"), _check.turn(angle, "angle", turns=turns)
    _check.batch(axis=unit.shape[:-1], angle=turn.shape)
    return _rodrigues(_direction(unit)[0], turn)


def to_axis_angle(R: ArrayLike | object) -> tuple[Floats, Floats]:
    """Unit axis (..., 3) and angle (...) in [0, pi] radians of R, by the quaternion: sharp near 0 and near pi.

    The identity gives the z axis. At the angle pi, of both ends, the axis has its first nonzero component positive.
    ValueError for what is no rotation, (..., 3, 3).
    """
    return _axis_angle(_check.rotations(R))


def from_rotation_vector(vector: ArrayLike, *, turns: bool = False) -> Floats:
    """Turn (..., 3, 3) about `vector` (..., 3) by its length in radians, which must be finite, and at most a turn."""
    axis, angle = _direction(_check.finite(vector, "vector", 3))
    return _rodrigues(axis, _check.turn(angle, "length of vector", turns=turns))


def to_rotation_vector(R: ArrayLike | object) -> Floats:
    """Axis times angle in radians, (..., 3), of R: the product of what `to_axis_angle` gives; ValueError as there."""
    axis, angle = to_axis_angle(R)
    return axis * angle[..., None]


def from_quaternion(q: ArrayLike, *, scalar_first: bool = False, tolerance: float = 1e-6) -> Floats:
    """Turn (..., 3, 3) of a unit quaternion (..., 4): (x, y, z, w), or, with `scalar_first`, (w, x, y, z).

    ``R = I + 2 (w K + K^2) / |q|^2`` with ``K p = (x, y, z) x p``; q and -q are the same turn. A length off 1 by more
    than `tolerance`, in [0, 1), raises a ValueError; set it higher for a log with few digits. Within it the division
    by ``|q|^2`` makes R a rotation to rounding, that of ``q / |q|``.
    """
    if not 0 <= _check.one(tolerance, "tolerance") < 1:
        raise ValueError(f"tolerance is {tolerance}; it must be one number in [0, 1)")
    first = _check.flag(scalar_first, "scalar_first")
    more = f", or, where a log has rounded its digits, raise tolerance, now {tolerance:g}"
    xyzw = np.roll(_check.unit(q, "quaternion", 4, tolerance, more), -1 if first else 0, axis=-1)
    factor = 2 / _length(xyzw) ** 2
    return _one_plus(factor * xyzw[..., 3], factor, xyzw[..., :3])


def to_quaternion(R: ArrayLike | object, *, scalar_first: bool = False) -> Floats:
    """Unit quaternion (..., 4) of R: (x, y, z, w), or, with `scalar_first`, (w, x, y, z).

    Of q and -q it is the one with w > 0, or, where w is 0, with the first nonzero of x, y, z positive. ValueError for
    what is no rotation, (..., 3, 3).
    """
    first = _check.flag(scalar_first, "scalar_first")
    return np.roll(_quaternion(_check.rotations(R)), 1 if first else 0, axis=-1)


def from_tilt_torsion(tilt: ArrayLike, azimuth: ArrayLike, torsion: ArrayLike, *, turns: bool = False) -> Floats:
    """Matrix ``Rz(azimuth) @ Ry(tilt) @ Rz(torsion - azimuth)``, (..., 3, 3), of radians (...).

    It turns by `torsion` about z, then tips z by `tilt` towards `azimuth`. A tilt outside [0, pi] raises a
    ValueError. Source: Bonev, Zlatanov, Gosselin 2002 (definition from memory); Bonev, Gosselin, ICRA 2005.
    """
    delta = _check.finite(tilt, "tilt")
    if (bad := (delta < 0) | (delta > np.pi)).any():
        index = tuple(np.argwhere(bad)[0])
        raise ValueError(
            f"{_check.place('tilt', index)} is {delta[index]:.9g}; it must be in [0, pi] radians: write degrees "
            "as 30*deg, and a negative tilt as the positive one with azimuth + pi"
        )
    phi, sigma, _ = _angles(turns, azimuth=azimuth, torsion=torsion, tilt=delta)
    return _three_turns("zyz", sigma - phi, delta, phi)


def to_tilt_torsion(R: ArrayLike | object) -> tuple[Floats, Floats, Floats]:
    """Tilt in [0, pi], azimuth and torsion in (-pi, pi], each (...) in radians, of R.

    At tilt 0 ``R = Rz(torsion)``, and the azimuth is 0. At tilt pi ``R = Rz(2 azimuth - torsion) @ Ry(pi)``:
    only ``torsion - 2 azimuth`` exists, and the azimuth is 0 again. Both where sin(tilt) is at most 3.6e-15.
    ValueError for what is no rotation, (..., 3, 3).
    """
    turn, tilt, azimuth = np.moveaxis(to_euler("zyz", R), -1, 0)  # zyz, not ZYZ: the azimuth may become 0
    return tilt, azimuth, _wrapped(turn + azimuth)


def angle_between(R1: ArrayLike | object, R2: ArrayLike | object) -> Floats:
    """Angle (...) in [0, pi] radians of ``R1.T @ R2``, the turn from R1 to R2: sharp near 0 and near pi.

    ValueError for what is no rotation, (..., 3, 3), and for batches that do not broadcast.
    """
    start, end = _check.rotations(R1, "orientation R1"), _check.rotations(R2, "orientation R2")
    _check.batch(R1=start.shape[:-2], R2=end.shape[:-2])
    return _axis_angle(np.swapaxes(start, -1, -2) @ end)[1]


def _about(axis: int, angle: Floats) -> Floats:
    """Turn about coordinate axis 0, 1 or 2."""
    after, last = (axis + 1) % 3, (axis + 2) % 3
    R = np.zeros((*angle.shape, 3, 3))
    R[..., axis, axis] = 1.0
    R[..., after, after] = R[..., last, last] = np.cos(angle)
    R[..., last, after] = np.sin(angle)
    R[..., after, last] = 0.0 - R[..., last, after]  # a mere minus would print -0. at angle 0
    return R


def _axes(seq: str) -> tuple[list[int], bool]:
    """The three axis numbers of an Euler sequence, and whether its axes move along."""
    fixed = str(seq).lower()
    if fixed not in _FIXED_SEQUENCES or seq not in (fixed, fixed.upper()):
        raise ValueError(
            f"seq is {seq!r}; it must be three letters of x, y, z, neighbours unlike, all lower case for fixed "
            "axes, as 'xyz', or all upper case for moving axes, as 'ZYX'"
        )
    return ["xyz".index(letter) for letter in fixed], seq != fixed


def _three_turns(seq: str, first: Floats, second: Floats, third: Floats) -> Floats:
    """The product behind `from_euler`, of three checked angles that broadcast."""
    axes, moving = _axes(seq)
    R1, R2, R3 = map(_about, axes, (first, second, third))
    return R1 @ R2 @ R3 if moving else R3 @ R2 @ R1


def _one_plus(s: Floats, t: Floats, vector: Floats) -> Floats:
    """``I + s K + t K^2`` with ``K p = vector x p``."""
    K = np.zeros((*vector.shape, 3))
    K[..., (2, 0, 1), (1, 2, 0)] = vector
    K[..., (1, 2, 0), (2, 0, 1)] = -vector
    return np.asarray(np.eye(3) + s[..., None, None] * K + t[..., None, None] * (K @ K))


def _rodrigues(axis: Floats, angle: Floats) -> Floats:
    # 1 - cos is written 2 sin^2 of the half, which keeps its digits near 0
    return _one_plus(np.sin(angle), 2 * np.sin(angle / 2) ** 2, axis)


def _quaternion(R: Floats) -> Floats:
    trace = np.trace(R, axis1=-2, axis2=-1)[..., None, None]
    outer = np.empty((*R.shape[:-2], 4, 4))  # 4 q q^T: each row is q times 4 of its components
    outer[..., :3, :3] = R + np.swapaxes(R, -1, -2) + (1 - trace) * np.eye(3)
    outer[..., :3, 3] = outer[..., 3, :3] = R[..., (2, 0, 1), (1, 2, 0)] - R[..., (1, 2, 0), (2, 0, 1)]
    outer[..., 3:, 3:] = 1 + trace
    largest = np.argmax(np.diagonal(outer, axis1=-2, axis2=-1), axis=-1)  # its row loses no digits
    row: Floats = np.take_along_axis(outer, largest[..., None, None], axis=-2)[..., 0, :]
    scalar_first = np.roll(row, 1, axis=-1)
    leading = np.take_along_axis(scalar_first, np.argmax(scalar_first != 0, axis=-1)[..., None], axis=-1)
    return row / np.copysign(_length(row)[..., None], leading) + 0.0  # + 0.0 makes 0. of -0.


def _axis_angle(R: Floats) -> tuple[Floats, Floats]:
    q = _quaternion(R)
    axis, sine = _direction(q[..., :3])
    return axis, 2 * np.arctan2(sine, q[..., 3])


def _length(vector: Floats) -> Floats:
    """Length over the last axis; hypot, unlike a sum of squares, keeps a vector as short as 1e-200."""
    with np.errstate(over="ignore"):  # the callers refuse an infinite length
        return np.asarray(np.hypot.reduce(vector, axis=-1))


def _direction(vector: Floats) -> tuple[Floats, Floats]:
    """Unit vector and length; the null vector points along z."""
    length = _length(vector)
    axis = np.broadcast_to([0.0, 0.0, 1.0], vector.shape).copy()
    return np.divide(vector, length[..., None], out=axis, where=length[..., None] > 0), length


def _wrapped(angle: Floats) -> Floats:
    """The same angle in (-pi, pi], from one within two turns; 0. for -0."""
    return angle + 2 * np.pi * np.where(angle > np.pi, -1.0, np.where(angle <= -np.pi, 1.0, 0.0))


def _angles(turns: bool, **named: ArrayLike) -> list[Floats]:
    """Checked angles whose shapes broadcast; each keeps its own shape."""
    checked = {name: _check.turn(value, name, turns=turns) for name, value in named.items()}
    _check.batch(**{name: array.shape for name, array in checked.items()})
    return list(checked.values())
