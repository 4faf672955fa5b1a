"""The most that a set of orientations asks of a motor: proved over a certified set, or the largest of a list.

Over a list of orientations each value is computed. Over the set of a certificate the search of `proved` bounds it.
Take a box of orientations (see `reach.cone`), all within rho of its centre. At the centre let the columns of A be the
unit normals n_i = w_i x R v_i / sin(alpha_2), g_i = n_i . u_i, and J = A^-T diag(g) with the columns J_i.

**Normals.** n_i moves by at most ``d_i = sin(alpha_1) rho / sqrt(least D)``, and so does g_i; A by at most
``e = sqrt(d_1^2 + d_2^2 + d_3^2)``. For `reach.bounds` shows that |n'| is at most |omega| / sin(alpha_2) times the
root of the larger eigenvalue of ``[[q, r], [r, 1]]``, with ``q + 1 = sin^2(alpha_1) sin^2(alpha_2) / D``. Neither
eigenvalue is negative, so neither is above their sum, which is q + 1. With `bounds.motor_bound`, rounding counted
in, this is ``d_i = sin(alpha_1) dtheta_i / sin(alpha_2)``.

**J.** Elsewhere in the box A' = A + E, g' = g + h. From ``A'^-T g' e_i - A^-T g e_i = A'^-T (h_i e_i - E^T J_i)`` and
``|A'^-1| <= 1 / (s - e)``, s the smallest singular value of A, column i of J moves by at most

    c_i = (d_i + e |J_i|) / (s - e)

and J q, for signs q of +-1, by at most ``e (1 + |J q|) / (s - e)``. Where e >= s only the certificate is left: with V
its least |det A|, J_i, which is ``g_i (n_j x n_k) / det A``, is nowhere longer than ``sin(alpha_1) / V``.

**Torque.** ``T_i = -J_i . M``, and the moment M of the weight moves by at most ``W rho``, W the weight times its arm.
So T_i moves by at most ``c_i |M| + (|J_i| + c_i) W rho``. A moment of any direction and size m adds
``m (|J_i| + c_i)``.

A box whose bound is more than a twentieth above the largest value met at any centre is cut in two, while `_BUDGET`
lasts; the boxes that are left then count with the bounds they have. Rounding is within d (`bounds.slack`) and one
more part in 10^9.

**Speed.** ``theta_dot_i = n_i . omega / g_i`` is at most ``|omega| sin(alpha_2) / sqrt(D_i)``, and the certificate
has the least D_i.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ... import rotation
from ..._check import Floats
from ...inverse import inverse_kinematics
from ...mechanism import Mechanism, deg
from ...reach import Certificate, bounds, cone
from ...velocity import GRAVITY, inverse_jacobian, jacobian, payload_moment, static_torque

__all__ = ["Demands", "Load", "Worst", "listed", "proved"]

_SHARP = 1.05  # a bound is at most so many times the largest value met
_BLOCK = 8192  # boxes at a time
_BUDGET = 1_000_000  # boxes: ten seconds or so; the bird hide to 30° of tilt needs one
_ROUNDING = (
    1 + 1e-9
)  # of the values at a centre: 1e-15 times the condition of A, which `bounds.LEAST` keeps below 1e9
_SIGNS = np.array([[1, 1, 1], [1, 1, -1], [1, -1, 1], [1, -1, -1]], dtype=np.float64)  # and their opposites


class Worst(NamedTuple):
    """The largest value of something over a set of orientations, between two numbers."""

    bound: float
    """Nowhere in the set is it more. Over a list of orientations it equals `.met`."""
    met: float
    """It is so large at an orientation of the set."""


class Load(NamedTuple):
    """What the platform carries."""

    mass: float
    offset: Floats
    up: Floats
    """Unit vector in base coordinates."""
    moment: float
    """Of any direction, N·m, besides the weight."""


class Demands(NamedTuple):
    """What the joint asks of its motors."""

    torque: Worst
    """N·m at a joint pulley, without margin and friction."""
    rate: Worst
    """Rate of a motor joint, in parts of the angular rate of the platform in its worst direction."""
    step: Worst
    """Turn of the platform for a small turn of one joint, in parts of it: the longest column of J."""
    corner: Worst
    """The same where all three joints turn as much, in their worst senses."""
    met: Floats
    """(n, 2): rate as above and torque, that occur together at orientations of the set."""
    bound: Floats
    """(k, 2): the same of all orientations: the list again, or over a certificate the two bounds."""


def listed(m: Mechanism, poses: Floats, mode: Floats, load: Load) -> Demands:
    """The largest of the values at orientations (n, 3, 3) in one working mode."""
    theta = inverse_kinematics(m, poses, mode)
    J = jacobian(m, poses, theta)
    weight = payload_moment(load.mass, load.offset, poses, up=load.up)
    column = np.linalg.norm(J, axis=1)
    torque = np.abs(static_torque(m, poses, theta, load=weight)) + load.moment * column
    rate = np.linalg.norm(inverse_jacobian(m, poses, theta), axis=2)
    corner = np.linalg.norm(J @ _SIGNS.T, axis=1)
    pairs = np.stack([rate.ravel(), torque.ravel()], axis=1)
    return Demands(_met(torque), _met(rate), _met(column), _met(corner), pairs, pairs)


def _met(values: Floats) -> Worst:
    return Worst(float(values.max()), float(values.max()))


def proved(m: Mechanism, certificate: Certificate, load: Load) -> Demands:
    """Bounds on the values all over the set of a proved certificate of m."""
    c = certificate
    grid = listed(m, _grid(c), np.asarray(c.mode, dtype=np.float64), load)
    met = np.array([grid.torque.met, grid.step.met, grid.corner.met])
    bound, boxes, seen = np.zeros(3), cone.cone(c.tilt, *c.torsion), 0
    while count := boxes.centre.shape[1]:
        seen += count
        last = seen + 2 * count > _BUDGET
        rest: list[cone.Boxes] = []
        for first in range(0, count, _BLOCK):
            block = boxes.where(slice(first, first + _BLOCK))
            at, most = _over(m, c, load, block)
            met = np.maximum(met, at.max(axis=1))
            done = last | (most <= _SHARP * met[:, None]).all(axis=0)
            bound = np.maximum(bound, most.max(axis=1, initial=0.0, where=done))
            rest.append(block.where(~done))
        boxes = cone.halves(cone.Boxes(*(np.hstack(parts) for parts in zip(*rest, strict=True))))
    torque, step, corner = (Worst(float(b), float(a)) for b, a in zip(bound, met, strict=True))
    rate = Worst(float((np.sin(m.distal) / np.sqrt(c.least_discriminant)).max()), grid.rate.met)
    return Demands(torque, rate, step, corner, grid.met, np.array([[rate.bound, torque.bound]]))


def _grid(c: Certificate) -> Floats:
    """Some orientations of the set, (n, 3, 3), its rim among them."""
    tilt, azimuth, torsion = np.meshgrid(
        np.linspace(0, c.tilt, 7), np.arange(-180, 180, 10) * deg, np.linspace(*c.torsion, 7), indexing="ij"
    )
    return rotation.from_tilt_torsion(tilt, azimuth, torsion).reshape(-1, 3, 3)


def normal_moves(m: Mechanism, least: Floats, rho: Floats) -> Floats:
    """The d_i, (3, n): how far the unit normals may move within rho, (n,), where D is at least `least`, (3, n)."""
    moves = np.sin(m.proximal)[:, None] * bounds.motor_bound(m, least, rho)
    return np.asarray((moves + bounds.slack(m)) / np.sin(m.distal)[:, None])


def jacobian_moves(normals: Floats, J: Floats, d: Floats) -> tuple[Floats, Floats]:
    """The c_i, (3, n), and how far any J q may move, (n,), from normals (n, 3, 3), in rows, and d; NaN: not known."""
    e = np.sqrt((d * d).sum(axis=0))
    room = np.linalg.svd(normals, compute_uv=False)[:, 2] - e
    share = 1 / np.where(room > 0, room, np.nan)
    corner = np.linalg.norm(J @ _SIGNS.T, axis=1).max(axis=1)
    return (d + e * np.linalg.norm(J, axis=1).T) * share, e * (1 + corner) * share


def _over(m: Mechanism, c: Certificate, load: Load, boxes: cone.Boxes) -> tuple[Floats, Floats]:
    """Torque, step and corner at the centres of boxes, (3, n), and bounds on them over the boxes, (3, n)."""
    rho = cone.radius(boxes)
    p = cone.axes_at(boxes.centre, m.platform_axes)
    least = np.maximum(bounds.closing_bound(m, bounds.span(m, p), rho), c.least_discriminant[:, None])
    R = rotation.from_tilt_torsion(*boxes.centre)
    theta = bounds.pose(m, p, np.asarray(c.mode, dtype=np.float64)).theta.T
    J = jacobian(m, R, theta)
    column = np.linalg.norm(J, axis=1).T
    corner = np.linalg.norm(J @ _SIGNS.T, axis=1).max(axis=1)
    weight = payload_moment(load.mass, load.offset, R, up=load.up)
    torque = np.abs(np.einsum("nij,ni->jn", J, weight))
    at = np.stack([(torque + load.moment * column).max(axis=0), column.max(axis=0), corner])

    normals = np.cross(m.elbow_axes(theta), m.platform_axes_at(R)) / np.sin(m.distal)[:, None]
    more, turned = jacobian_moves(normals, J, normal_moves(m, least, rho))
    heavy = GRAVITY * load.mass * float(np.linalg.norm(load.offset) * np.linalg.norm(load.up))
    torque = torque + more * np.linalg.norm(weight, axis=1) + (column + more) * (heavy * rho + load.moment)
    most = np.stack([torque.max(axis=0), (column + more).max(axis=0), corner + turned])
    longest = np.sin(m.proximal) / c.least_volume
    anywhere = np.array([longest.max() * (heavy + load.moment), longest.max(), longest.sum()])
    return at, np.fmin(most * _ROUNDING, anywhere[:, None])
