"""Play: how far the platform can be turned by hand while nothing bends and no motor turns.

Each of the nine hinges runs in two bearings. In each bearing the pin is free to move across its axis by half the
radial clearance, and in each hinge along its axis by half the axial one; the drive adds half its backlash. All else
is rigid. Let a moment of 1 along a press the platform to a stop, held by a wrench f_i in each leg. By virtual work
the platform has turned about a by the sum, over all bearings, of force times movement; and no bearing moves by more
than its half clearance c_g:

    a . omega  <=  sum over legs and bearings of c_g |A_g^T f_i|      for every f with  sum f_i = (0, a),
                                                                       f_i passing no moment about w, R v

(A_g: twist of the platform by a movement in bearing g). The least right side is the answer: a convex problem, by the
duality of linear programs with round constraints. It is solved by weights, as if each bearing were a spring of
compliance c_g / |A_g^T f|, again and again. Each round gives an upper bound by its f, and a lower one by a movement
that is possible; the best of both are kept.

Legs that are rigid and plays that are small: where the sphere is overconstrained, the play of one leg is limited by
the two others, and that is counted. A pin that is clamped askew, or a hinge with preloaded bearings, has less play.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from ..._check import Floats, one, place
from ...errors import SingularError
from ...mechanism import Mechanism
from ...velocity import singularity
from .hinge import Hinge
from .joint import leg_axes, moment_basis

__all__ = ["Play", "worst_play"]

ROUNDS = 400
CLOSE = 1e-3
"""Upper and lower bound this near to one another end the search in one direction."""

ASIDE = 1e-6
"""A bearing that is not used, or has no clearance, counts as if it had this part of the largest one: a little too
much play, never too little."""


class Play(NamedTuple):
    """What `worst_play` finds."""

    angle: Floats
    """(...) rad: how far the platform can stand from its middle, either way, in the worst direction found."""
    axis: Floats
    """(..., 3): that direction, a unit vector in base coordinates; its sign is arbitrary."""
    least: Floats
    """(...) rad: an angle about that axis that is proven possible; `angle` is proven not to be exceeded about it."""


def worst_play(
    m: Mechanism,
    R: ArrayLike | object,
    theta: ArrayLike,
    hinges: Hinge | Sequence[Hinge],
    *,
    backlash: float = 0.0,
) -> Play:
    """How far the platform stands askew at most because of play, see `Play`: rigid links, motors held.

    About one axis the answer is bracketed by two proven bounds, 0.1 % apart as a rule. The worst axis is searched
    for, by climbing from thirteen directions; nothing proves that there is none worse.

    Parameters
    ----------
    m, R, theta
        A joint, orientations (..., 3, 3) and motor angles (..., 3) in radians.
    hinges : Hinge or three
        Of the motor axis, the elbow and the platform, in all legs; one for all three.
    backlash : float
        Of the drive at the joint from stop to stop, in radians.

    Raises
    ------
    ValueError, TypeError, SingularError
        R and theta do not close; hinges that are none; a singular pose of type 2 or 3, where the platform is free.
    """
    three = (hinges,) * 3 if isinstance(hinges, Hinge) else tuple(hinges) if isinstance(hinges, Sequence) else ()
    if len(three) != 3 or not all(isinstance(hinge, Hinge) for hinge in three):
        raise TypeError("hinges must be one Hinge, or three: of the motor axis, the elbow and the platform")
    free = one(backlash, "backlash")
    if not 0 <= free < 1:
        raise ValueError(f"backlash is {free:g} rad; it lies between 0 and 1; degrees are written 0.2*deg")
    kind = np.asarray(singularity(m, R, theta).kind)
    if (kind >= 2).any():
        index = tuple(int(i) for i in np.argwhere(kind >= 2)[0])
        raise SingularError(
            f"{place('pose', index)} is singular of type {int(kind[index])}: there the platform turns freely "
            "even without play; ask in another pose",
            pose=index,
            kind=int(kind[index]),
        )
    axes = leg_axes(m, R, theta)
    shape = axes[0].shape[:-2]
    u, w, p = (axis.reshape(-1, 1, 3, 3) for axis in axes)  # pose, direction, leg, xyz
    half = np.array([c for hinge in three for c in (hinge.radial, hinge.radial, hinge.axial)] + [free]) / 2
    if not half.any():
        return Play(np.zeros(shape), np.broadcast_to([0.0, 0.0, 1.0], (*shape, 3)).copy(), np.zeros(shape))
    moves = np.concatenate([_moves(hinge, axis) for hinge, axis in zip(three, (u, w, p), strict=True)], axis=-3)
    turn = np.zeros((*u.shape[:-1], 1, 6, 3))
    turn[..., 0, 3:, :] = u[..., :, None] * u[..., None, :]
    moves = np.concatenate([moves, turn], axis=-3)
    basis = moment_basis(m, w, p)
    direction = np.broadcast_to(_STARTS, (len(u), *_STARTS.shape))
    best = np.zeros(direction.shape[:2])
    for _ in range(12):
        upper, lower, omega = _reach(moves, half, basis, direction)
        direction = omega / np.linalg.norm(omega, axis=-1, keepdims=True)
        if (lower <= best * (1 + CLOSE)).all():
            break
        best = np.maximum(lower, best)
    upper, lower, _ = _reach(moves, half, basis, direction)
    row = np.arange(len(u))
    worst = lower.argmax(axis=1)
    found = upper[row, worst], direction[row, worst], lower[row, worst]
    return Play(*(np.asarray(x.reshape((*shape, *x.shape[1:]))[()]) for x in found))


_CUBE = np.array(
    [(x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) > (0, 0, 0)], float
)
_STARTS = _CUBE / np.linalg.norm(_CUBE, axis=1, keepdims=True)


def _moves(hinge: Hinge, axis: Floats) -> Floats:
    """Twist at the centre by a movement of the pin: in the near bearing, in the far one, along; (..., 3, 6, 3)."""
    span = hinge.far - hinge.near
    cross = np.zeros((*axis.shape, 3))  # cross @ d = axis x d
    x, y, z = np.moveaxis(axis, -1, 0)
    cross[..., 0, 1], cross[..., 0, 2], cross[..., 1, 2] = -z, y, -x
    cross[..., 1, 0], cross[..., 2, 0], cross[..., 2, 1] = z, -y, x
    along = axis[..., :, None] * axis[..., None, :]
    across = np.eye(3) - along
    near = np.concatenate([across * hinge.far / span, -cross / span], axis=-2)
    far = np.concatenate([-across * hinge.near / span, cross / span], axis=-2)
    return np.stack([near, far, np.concatenate([along, np.zeros_like(along)], axis=-2)], axis=-3)


def _reach(moves: Floats, half: Floats, basis: Floats, a: Floats) -> tuple[Floats, Floats, Floats]:
    """Largest turn about each direction a, (pose, direction, 3): upper bound, lower bound, and a turn that has it."""
    counted = np.maximum(half, ASIDE * half.max())
    load = np.concatenate([np.zeros_like(a), a], axis=-1)[..., None]
    squares = moves @ np.swapaxes(moves, -1, -2)
    turned = np.swapaxes(basis, -1, -2)
    weight = np.broadcast_to(counted, (*a.shape[:2], 3, len(counted)))
    upper, lower, omega = np.full(a.shape[:2], np.inf), np.zeros(a.shape[:2]), np.zeros(a.shape)
    for _ in range(ROUNDS):
        soft = np.einsum("...k,...kij->...ij", weight, squares)
        K = basis @ np.linalg.inv(turned @ soft @ basis) @ turned
        twist = np.linalg.inv(K.sum(axis=-3)) @ load
        f = K @ twist[..., None, :, :]
        size = np.linalg.norm(np.swapaxes(moves, -1, -2) @ f[..., None, :, :], axis=(-1, -2))
        upper = np.minimum(upper, (counted * size).sum(axis=(-1, -2)))
        scale = (weight * size / counted).max(axis=(-1, -2))  # scaled down by it, no bearing is beyond its stop
        turn = twist[..., 3:, 0] / scale[..., None]
        now = (turn * a).sum(axis=-1)
        better = now > lower
        lower, omega = np.where(better, now, lower), np.where(better[..., None], turn, omega)
        if (upper <= lower * (1 + CLOSE)).all():
            break
        weight = counted / np.maximum(size, ASIDE * size.max(axis=(-1, -2), keepdims=True))
    return upper, lower, omega
