"""The equation of one leg: its coefficients, its discriminant, its two roots, and when it has none.

A leg joins the motor axis u to the platform axis p = R v by two links of arcs alpha_1 and alpha_2, which meet
at the elbow axis w. The first link puts w on a circle about u; the second wants ``w . p = cos(alpha_2)``:

    a cos(theta) + b sin(theta) + c = 0
    a = sin(alpha_1) x . p,   b = sin(alpha_1) y . p,   c = cos(alpha_1) u . p - cos(alpha_2)

with (x, y, u) the columns of the leg's base frame. The functions here take float arrays, broadcast, and check
nothing: the public functions that call them have done so.
"""

from __future__ import annotations

import math
from itertools import product

import numpy as np
from numpy.typing import NDArray

from . import rotation
from ._check import Component, Floats

__all__ = [
    "arc_between",
    "discriminant",
    "fold",
    "margin",
    "motor_angle",
    "motor_angles",
    "reach_limits",
    "turn_into_reach",
    "undetermined",
]

ROUNDING = float(16 * np.finfo(np.float64).eps)
"""By how much |c| may exceed sqrt(a^2 + b^2) while the leg still counts as closing. Each of the three is a sum
of nine rounded products, on an orientation that is itself a product of rounded factors."""

_SLACK = 1e-9
"""How far inside its limits `turn_into_reach` leaves a leg, in radians: far above rounding, below any motor."""


_DIRECTIONS = np.array([d for d in product((-1.0, 0.0, 1.0), repeat=3) if any(d)])
_GRID = np.concatenate(  # rotation vectors: none, then the directions of a cube's corners, edges and faces
    [np.zeros((1, 3))]
    + [angle * _DIRECTIONS / np.linalg.norm(_DIRECTIONS, axis=1, keepdims=True) for angle in (0.5, 1, 1.5, 2, 2.5, 3)]
)


def fold(base_frames: Floats, platform_axes: Floats, proximal: Floats, distal: Floats) -> tuple[Floats, Floats]:
    """Fold three legs into one matrix and one constant: the nine coefficients are affine in R.

        (a1, a2, a3, b1, b2, b3, c1, c2, c3) = matrix @ vec(R) + constant,   vec(R) row by row

    Each coefficient is ``k e . (R v)``, less cos(alpha_2) in c; so its row holds the products ``k e_j v_k``.
    Shapes (3, 3, 3), (3, 3), (3,), (3,) in; (9, 9) and (9,) out.
    """
    scale = np.stack([np.sin(proximal), np.sin(proximal), np.cos(proximal)])  # a, b, c; then the legs
    matrix = np.einsum("al,lja,lk->aljk", scale, base_frames, platform_axes).reshape(9, 9)
    return matrix, np.concatenate([np.zeros(6), -np.cos(distal)])


def discriminant(a: Component, b: Component, c: Component) -> Component:
    """``D = a^2 + b^2 - c^2``, the Gram determinant of u, w and R v where the leg closes; no root if D < 0."""
    return a * a + b * b - c * c


def undetermined(a: Floats, b: Floats, c: Floats) -> NDArray[np.bool_]:
    """Where every motor angle closes the leg: u and R v parallel, and the arcs such that they may be."""
    return np.asarray((np.hypot(a, b) <= ROUNDING) & (np.abs(c) <= ROUNDING))


def motor_angle(a: Floats, b: Floats, c: Floats, mode: Floats) -> Floats:
    """The root of ``a cos(theta) + b sin(theta) + c = 0`` that belongs to a working mode, in (-pi, pi].

        theta = atan2(-b c - s a sqrt(D), -a c + s b sqrt(D)),   D = a^2 + b^2 - c^2,   s = mode

    This is ``atan2(b, a) - s arccos(-c / sqrt(a^2 + b^2))`` without the NaN that arccos gives where rounding pushes
    its argument past 1.

    ================================================  ==================  ==============================
    case                                              here                `inverse_kinematics`
    ================================================  ==================  ==============================
    D > 0, any arcs and cones (90°, gamma = 0 too)    root of the mode    the same
    D = 0 within rounding: folded or stretched        the double root     the same, in both modes
    D < 0: angle(u, R v) outside its limits           NaN                 UnreachableError, or NaN
    u parallel to R v, and no angle closes            NaN                 UnreachableError, or NaN
    u parallel to R v, and every angle closes         NaN                 `near`; without it SingularError, or NaN
    ================================================  ==================  ==============================
    """
    square = np.asarray(discriminant(a, b, c))  # plain floats come in, too
    if square.size == 0 or np.size(mode) == 0:
        return square + mode
    if square.min() <= ROUNDING**2:
        closes = (np.abs(c) - np.hypot(a, b) <= ROUNDING) & ~undetermined(a, b, c)
        square = np.where(closes, np.maximum(square, 0.0), np.nan)
    y, x = _root(a, b, c, mode * np.sqrt(square))
    theta = np.asarray(np.arctan2(y, x))
    if not theta.min() > -np.pi:  # the float just above -pi, or a NaN among them
        theta = np.where(theta <= -np.pi, np.pi, theta)
    return theta


def motor_angles(nine: list[float], mode: list[int]) -> list[float] | None:
    """As `motor_angle`, for the nine coefficients of one pose; in plain floats, several times as fast as arrays.

    None for a pose that has a special case in it, which only `motor_angle` knows.
    """
    theta = []
    for a, b, c, s in zip(nine[0:3], nine[3:6], nine[6:9], mode, strict=True):
        square = discriminant(a, b, c)
        if not square > ROUNDING**2:
            return None
        theta.append(math.atan2(*_root(a, b, c, s * math.sqrt(square))))
    return theta if min(theta) > -math.pi else None


def _root(a: Component, b: Component, c: Component, root: Component) -> tuple[Component, Component]:
    """Sine and cosine of the motor angle, times a^2 + b^2; `root` is mode * sqrt(D)."""
    return 0.0 - b * c - a * root, b * root - a * c


def arc_between(p: Floats, q: Floats) -> Floats:
    """The angle between unit vectors, (..., 3) each, in [0, pi]: ``atan2(|p x q|, p . q)``, exact near 0 and pi."""
    return np.asarray(np.arctan2(np.linalg.norm(np.cross(p, q), axis=-1), np.einsum("...i,...i->...", p, q)))


def reach_limits(proximal: Floats, distal: Floats) -> tuple[Floats, Floats]:
    """Least and largest angle between u and R v at which the leg closes: the spherical triangle inequality.

    ``|alpha_1 - alpha_2| <= angle(u, R v) <= min(alpha_1 + alpha_2, 2 pi - alpha_1 - alpha_2)``
    """
    total = proximal + distal
    return np.abs(proximal - distal), np.minimum(total, 2 * np.pi - total)


def margin(u: Floats, p: Floats, proximal: Floats, distal: Floats) -> Floats:
    """How far ``angle(u, p)`` stands inside `reach_limits`, in radians; negative outside."""
    nearest, farthest = reach_limits(proximal, distal)
    arc = arc_between(u, p)
    return np.minimum(arc - nearest, farthest - arc)


def turn_into_reach(u: Floats, p: Floats, proximal: Floats, distal: Floats) -> Floats | None:
    """A short rotation vector, (3,) in radians, that turns the three platform axes p = R v, (3, 3), into reach.

    Tried from where the platform stands and, if that fails or leads farther than twice what the worst leg lacks, from
    a grid of turned positions as well; the shortest result is taken, None where every start fails. The turn is short,
    not proven the shortest.
    """
    enough = 2 * (_SLACK - margin(u, p, proximal, distal).min())  # no turn can do with less than half of it
    found = np.empty((0, 3))
    for starts in (_GRID[:1], _GRID[1:]):
        turns, inside = _newton(rotation.from_rotation_vector(starts), u, p, proximal, distal)
        found = np.concatenate([found, rotation.to_rotation_vector(turns[inside])])
        length = np.linalg.norm(found, axis=1)
        if (length <= enough).any():
            break
    return np.asarray(found[np.argmin(length)]) if len(found) else None


def _newton(
    turns: Floats, u: Floats, p: Floats, proximal: Floats, distal: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    """Change turns, (n, 3, 3), until the turned platform axes are within reach; and which of them got there.

    A further turn rho changes angle(u_i, p_i) by ``rho . (u_i x p_i) / |u_i x p_i|``. Each step is the shortest
    that mends, to first order, all the legs that are outside their limits.
    """
    nearest, farthest = reach_limits(proximal, distal)
    slack = np.minimum(_SLACK, (farthest - nearest) / 2)
    for _ in range(40):
        turned = np.einsum("nij,lj->nli", turns, p)
        outside = margin(u, turned, proximal, distal) < slack / 2
        if not outside.any():
            break
        arc = arc_between(u, turned)
        change = np.where(outside, np.clip(arc, nearest + slack, farthest - slack) - arc, 0.0)
        rows = _rise(u, turned) * outside[..., None]
        # the shortest x with rows @ x = change is rows^T y, (rows rows^T) y = change; the diagonal keeps it solvable
        square = rows @ np.swapaxes(rows, -1, -2) + (1e-9 + ~outside[..., None]) * np.eye(3)
        step = np.einsum("nli,nl->ni", rows, np.linalg.solve(square, change[..., None])[..., 0])
        turns = rotation.from_rotation_vector(step, turns=True) @ turns
    return turns, np.asarray(~outside.any(axis=1))


def _rise(u: Floats, p: Floats) -> Floats:
    """The axes about which a turn of p raises angle(u, p) fastest; any one across u where the two are parallel."""
    axis = np.cross(u, p)
    length = np.linalg.norm(axis, axis=-1, keepdims=True)
    across = np.cross(u, np.eye(3)[np.argmin(np.abs(u), axis=-1)])
    across /= np.linalg.norm(across, axis=-1, keepdims=True)
    return np.where(length > 1e-12, axis / np.maximum(length, 1e-12), across)
