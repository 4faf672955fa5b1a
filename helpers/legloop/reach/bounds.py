"""What holds all over a ball of orientations, from what is computed at its centre: the proofs behind `certify`.

The ball holds the orientations within rho of the centre. Arrays end with the axes legs, balls.

**Closing.** ``D = sin^2(alpha_1) sin^2(alpha_2) - (cos(psi) - cos(alpha_1) cos(alpha_2))^2``, psi = angle(u, R v).
A turn of rho moves R v by at most rho, hence psi too. D is a concave function of cos(psi); so over an interval of
psi it is least at one end.

**Motor angle.** With the unit normal n = w x R v / sin(alpha_2), a leg that closes has ``n . u = mode sqrt(D) /
sin(alpha_2)`` and ``theta' = n . omega / (n . u)``. So theta moves at most ``rho sin(alpha_2) / sqrt(least D)``:
every point of the ball is reached from the centre by one straight turn, along which D keeps above its least value.

**Normal.** n stays across w and across p = R v, which move by ``w' = theta' u x w`` and ``p' = omega x p``. With the
elbow angle E, ``sin(E) = mode sqrt(D) / (sin(alpha_1) sin(alpha_2))``, this gives two components of n':

    n' . w = -cot(E) (n . omega),    n' . p = -(p x n) . omega

n' lies in the plane of w and p, which are alpha_2 apart. With X and Y for these components,
``|n'|^2 sin^2(alpha_2) = X^2 + Y^2 - 2 X Y cos(alpha_2)``. n and p x n are perpendicular unit vectors; so |n'| is at
most |omega| times the root of the larger eigenvalue of ``[[q, r], [r, 1]] / sin^2(alpha_2)``, q = cot^2(E) and
r^2 = q cos^2(alpha_2). That eigenvalue grows with q, and q is largest where D is least.

**Which turn.** theta is the azimuth of R v about u, less mode times an angle of a triangle, in (0, pi). Only the
azimuth can wind. It is followed along two circles, the torsion at tilt 0 and then the tilt, in steps. On a step of
angle h the circle keeps within ``h^2 / 8`` of its chord, seen along u too. While R v is farther than that from the
line of u, no turn can hide between circle and chord: the azimuth changes by less than half a turn, as on the chord.
R v is ``sin(psi) >= sqrt(D) / sin(alpha_1)`` from that line, as ``D <= a^2 + b^2 = sin^2(alpha_1) sin^2(psi)``.

**Volume.** If each of three unit vectors n_i moves by at most d_i, their determinant, linear in each, moves by at
most ``sum |n_j x n_k| d_i + d_1 d_2 + d_1 d_3 + d_2 d_3 + d_1 d_2 d_3``. That forgets which way they move. The slope
at the centre knows it. Turn at rate 1 about a fixed axis omega and put m_i = n_j x n_k. Then V' = g . omega with

    g = sum (n_i (m_i . ((u_i x w_i) x p_i)) / (n_i . u_i) + cos(alpha_2) m_i - w_i (m_i . p_i)) / sin(alpha_2)

and V moves by at most ``|g| rho + C rho^2 / 2``, where C bounds ``V'' = sum n_i'' . m_i + 2 sum det(n_i', n_j',
n_k)`` all over the ball. Let N bound |n'| as above, and ``T = sin(alpha_2) / sqrt(least D)`` bound |theta'|. From
``(n . u) theta' = n . omega`` follows ``theta'' = n' . (omega - theta' u) / (n . u)``; so |theta''| is at most ``S
= N (1 + T) T``. From n sin(alpha_2) = w x p, with ``w'' = theta'' u x w + theta'^2 u x (u x w)`` and ``p'' = omega
x (omega x p)``,

    |n''| sin(alpha_2) <= sin(alpha_1) sqrt(S^2 + T^4) + 2 sin(alpha_1) T + 1

The smaller of the two bounds counts: the second one for small balls, the first one for large ones and near D = 0.

**Links.** A point of a second link, an angle t along its arc from w, is ``q = (sin(alpha_2 - t) w + sin(t) p) /
sin(alpha_2)``. If w moves by at most A and p by at most B, q moves by at most ``(A sin(alpha_2 - t) + B sin(t)) /
sin(alpha_2)``. This is a sinusoid in t: over the arc it is at most the larger of A and B, or, where its crest lies on
the arc, ``sqrt(A^2 + B^2 - 2 A B cos(alpha_2)) / sin(alpha_2)``. A first link turns about u: none of its points moves
farther than theta does, times the largest sine on its arc. No direction of a link in the ball is farther than that
from the same direction at the centre. So the links in the ball lie within those at the centre, grown by these angles.

**Rounding.** `rounding` derives how far computed values are from exact ones. Every bound here counts that in.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .. import closing, leg
from .._check import Floats
from ..mechanism import Mechanism
from .cone import axes_at
from .rounding import DOUBT, LEAST, slack

__all__ = [
    "LEAST",
    "Pose",
    "closing_bound",
    "discriminants",
    "followed",
    "link_moves",
    "motor_bound",
    "normal_bound",
    "pose",
    "slack",
    "span",
    "volume_bound",
]


class Pose(NamedTuple):
    """What holds at points where every leg closes: the motor angles in (-pi, pi] and the normals."""

    theta: Floats
    elbows: Floats
    """w, (3, 3, n): xyz, then leg."""
    volume: Floats
    pairs: Floats
    """n_j x n_k of the unit normals, (3, 3, n): xyz, then leg i of (i, j, k) cyclic."""
    across: Floats
    """Their lengths, (3, n)."""
    slope: Floats
    """|grad|, (n,): how fast the volume changes, at most, per radian of a small turn from here."""


def _in_leg_frames(m: Mechanism, p: Floats) -> Floats:
    """Platform axes (3, 3, n), xyz of the base, then leg, in the frame (x, y, u) of each leg."""
    return np.asarray(np.einsum("lic,iln->cln", m.base_frames, p))


def span(m: Mechanism, p: Floats) -> Floats:
    """angle(u, R v) of each leg, (3, n), sharp at 0 and pi too, of platform axes (3, 3, n): xyz, then leg."""
    x, y, z = _in_leg_frames(m, p)
    return np.asarray(np.arctan2(np.hypot(x, y), z))


def discriminants(m: Mechanism, arc: Floats) -> Floats:
    """D of each leg at angles psi between u and R v, (3, n)."""
    most = np.sin(m.proximal) * np.sin(m.distal)
    off = np.cos(arc) - (np.cos(m.proximal) * np.cos(m.distal))[:, None]
    return np.asarray((most * most)[:, None] - off * off)


def closing_bound(m: Mechanism, arc: Floats, rho: Floats) -> Floats:
    """The least D of each leg over balls whose centres have psi = `arc`, (3, n)."""
    reach = rho + slack(m)
    low, high = np.maximum(arc - reach, 0.0), np.minimum(arc + reach, np.pi)
    return np.minimum(discriminants(m, low), discriminants(m, high)) - slack(m)


def motor_bound(m: Mechanism, least: Floats, rho: Floats) -> Floats:
    """How far theta of each leg may stand from its value at the centre, (3, n), where D >= `least` > 0."""
    return (np.sin(m.distal)[:, None] * rho + DOUBT * slack(m)) / np.sqrt(least)


def link_moves(m: Mechanism, moves: Floats, rho: Floats) -> Floats:
    """By what angle any point of each link may move, (6, n): first and second link of leg 1, of leg 2, of leg 3.

    `moves` are those of the motors, (3, n), as from `motor_bound`.
    """
    s1, s2, c2 = np.sin(m.proximal)[:, None], np.sin(m.distal)[:, None], np.cos(m.distal)[:, None]
    doubt = DOUBT * slack(m)
    first = np.sin(np.minimum(m.proximal, np.pi / 2))[:, None] * moves + doubt / s1
    A, B = s1 * moves, rho + doubt
    crest = np.sqrt(A * A + B * B - 2 * A * B * c2) / s2
    on_arc = (A * c2 < B) & (B * c2 < A)
    second = np.where(on_arc, crest, np.maximum(A, B)) + doubt / s2
    return np.stack([first, second], axis=1).reshape(6, -1)


def pose(m: Mechanism, p: Floats, mode: Floats) -> Pose:
    """Motor angles and normals, in a working mode, at platform axes p where every leg closes."""
    x, y, z = _in_leg_frames(m, p)
    s, c = np.sin(m.proximal)[:, None], np.cos(m.proximal)[:, None]
    theta = leg.motor_angle(s * x, s * y, c * z - np.cos(m.distal)[:, None], mode[:, None])
    w = closing.elbows(m, theta)
    n = closing.cross(w, p) / np.sin(m.distal)[:, None]
    pairs, volume = closing.adjugate(n)
    return Pose(theta, w, volume, pairs, _length(pairs), _length(_gradient(m, w, p, n, pairs)))


def _length(a: Floats) -> Floats:
    return np.asarray(np.sqrt((a * a).sum(axis=0)))


def _gradient(m: Mechanism, w: Floats, p: Floats, n: Floats, pairs: Floats) -> Floats:
    """The vector g, (3, n), for which a small turn omega changes the volume by g . omega."""
    u = m.base_axes.T[:, :, None]
    swing = (pairs * closing.cross(closing.cross(np.broadcast_to(u, w.shape), w), p)).sum(axis=0)
    link = (n * u).sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        turn = n * (swing / link)
    parts = turn + pairs * np.cos(m.distal)[:, None] - w * (pairs * p).sum(axis=0)
    return np.asarray((parts / np.sin(m.distal)[:, None]).sum(axis=1))


def followed(m: Mechanism, mode: Floats, least: Floats, start: Floats, points: Floats) -> Floats:
    """How far the motor angles move from tilt 0 and torsion `start` to points (3, n), without a jump, (3, n).

    All orientations up to the tilts of the points must close, leg i with D >= `least`, (3,).
    """
    room = (np.sqrt(least) / np.sin(m.proximal)).min()
    longest = 2 * np.sqrt(room)  # its square over 8 is half the room
    tilt, azimuth, torsion = points
    still, level = np.zeros_like(tilt), np.full_like(tilt, start)
    swept = np.zeros_like(points)
    arcs = [
        (np.stack([still, still, level]), np.stack([still, still, torsion]), np.abs(torsion - level)),
        (np.stack([still, azimuth, torsion]), points, tilt),
    ]
    for first, last, length in arcs:
        count = int(np.ceil(length.max() / longest))
        before = _seen_along_u(m, first)
        for k in range(1, count + 1):
            after = _seen_along_u(m, first + k / count * (last - first))
            swept += np.angle(after * before.conj())
            before = after
    ends = [_fold(m, axes_at(q, m.platform_axes)) for q in (np.stack([still, still, level])[:, :1], points)]
    return np.asarray(swept - mode[:, None] * (ends[1] - ends[0]))


def _seen_along_u(m: Mechanism, points: Floats) -> NDArray[np.complex128]:
    """R v seen along u, (3, n), as x + i y of the leg frame."""
    x, y, _ = _in_leg_frames(m, axes_at(points, m.platform_axes))
    return np.asarray(x + 1j * y)


def _fold(m: Mechanism, p: Floats) -> Floats:
    """The angle at u of the triangle u, w, R v, in (0, pi), (3, n): that between the first link and R v."""
    x, y, z = _in_leg_frames(m, p)
    across = np.sin(m.proximal)[:, None] * np.hypot(x, y)
    return np.asarray(
        np.arccos(np.clip((np.cos(m.distal)[:, None] - np.cos(m.proximal)[:, None] * z) / across, -1.0, 1.0))
    )


def volume_bound(m: Mechanism, at: Pose, least: Floats, rho: Floats) -> Floats:
    """The least |det| of the unit normals over the balls, (n,); where it is not positive, nothing is known."""
    s1, s2 = np.sin(m.proximal)[:, None], np.sin(m.distal)[:, None]
    rate, link = _normal_rate(m, least), np.sqrt(least) / s2  # the most of |n'|, the least of |n . u|
    doubt, d = _doubt(m, least), normal_bound(m, least, rho)
    motor = 1 / link
    twice = s1 * np.hypot(rate * (1 + motor) * motor, motor * motor) + 2 * s1 * motor + 1
    across = np.minimum(at.across + d[(1, 2, 0),] + d[(2, 0, 1),], 1.0)
    curve = (across * twice / s2).sum(axis=0) + 2 * _pairs(rate)
    off = doubt.max(axis=0)
    slope = at.slope + (25 * off / (link * link * s2)).sum(axis=0)
    bent = _change(at.across, doubt, off) + slope * rho + curve * rho * rho / 2
    bent = np.where((link > 8 * off).all(axis=0), bent, np.inf)  # else the slope is nothing but rounding
    return np.asarray(np.abs(at.volume) - np.minimum(_change(at.across, d, off), bent) - 4 * slack(m))


def normal_bound(m: Mechanism, least: Floats, rho: Floats) -> Floats:
    """How far each computed unit normal is, at most, from any in the ball, (3, n), where D >= `least` > 0."""
    return np.asarray(np.minimum(_normal_rate(m, least) * rho, 2.0) + _doubt(m, least))  # unit vectors: at most 2


def _doubt(m: Mechanism, least: Floats) -> Floats:
    """How far a computed unit normal may be off, (3, n)."""
    return np.asarray(2 * DOUBT * slack(m) / np.sqrt(least) / np.sin(m.distal)[:, None])


def _normal_rate(m: Mechanism, least: Floats) -> Floats:
    """The most of |n'| over |omega|, (3, n)."""
    s1, s2, c2 = np.sin(m.proximal)[:, None], np.sin(m.distal)[:, None], np.cos(m.distal)[:, None]
    q = np.maximum((s1 * s2) ** 2 / least - 1, 0.0)
    return np.asarray(np.sqrt((q + 1 + np.hypot(q - 1, 2 * np.sqrt(q) * c2)) / 2) / s2)


def _change(across: Floats, d: Floats, off: Floats) -> Floats:
    """By how much a determinant changes at most, (n,), if its vectors, longer than 1 by `off`, move by d, (3, n)."""
    return np.asarray((across * d).sum(axis=0) + _pairs(d) * (1 + off) + d[0] * d[1] * d[2])


def _pairs(d: Floats) -> Floats:
    return np.asarray(d[0] * d[1] + d[2] * (d[0] + d[1]))
