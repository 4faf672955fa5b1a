"""What a drawing tells of a convention: the rotation between two frames, from axes seen in both, and the zeros.

And what a mirrored set of axes gives away.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import numpy as np
from numpy.typing import ArrayLike

from .._check import Floats, one, unit
from ..errors import MirroredError
from ..leg import arc_between
from ..mechanism import Mechanism, deg, joint
from .frames import Convention

__all__ = ["align_axes", "best_rotations", "in_words", "turns_round", "zero_from_elbows"]

_FEW = 5  # axes whose orders are all tried, 120; more would take long


def align_axes(ours: ArrayLike, theirs: ArrayLike, *, tolerance: float = 1 * deg) -> Floats:
    """The rotation Q for which ``theirs`` is nearest to ``ours @ Q.T``: our coordinates to theirs.

    Q makes ``sum |theirs_i - Q ours_i|^2`` least, through a singular value decomposition. Source: Markley,
    J. Astronaut. Sci. 36(3):245-258, 1988.

    Parameters
    ----------
    ours, theirs : (n, 3)
        The same axes in both frames, n >= 2; each row a unit vector.
    tolerance : float
        How far the worst axis may miss, in radians. The default, 1°, lets through what is read off a drawing.

    Raises
    ------
    MirroredError
        No rotation fits, but a mirror image does (their frame is left-handed), or a rotation does once their legs
        are numbered the other way round. It says which, as far as the axes can show it; see its attributes.
    ValueError, TypeError
        Shapes are wrong, an axis is not unit, fewer than two axes, all axes on one line, or nothing fits: then the
        message gives the least misfit in degrees.

    Notes
    -----
    Axes in one plane, two axes among them, never show a mirror: what a reflection does to them, a rotation does too.
    Of three axes that are equally far apart, as those of a symmetric joint are, a mirror image is the same as a
    renumbering; no comparison of axes can tell the two, and the error says so. Orders are tried for up to five axes.
    """
    mine, other = unit(ours, "ours"), unit(theirs, "theirs")
    limit = _checked(tolerance)
    if mine.ndim != 2 or mine.shape != other.shape:
        raise ValueError(
            f"ours has shape {mine.shape} and theirs {other.shape}; both must be (n, 3): one row for each axis"
        )
    for name, axes in (("ours", mine), ("theirs", other)):
        if len(axes) < 2:
            raise ValueError(
                f"{name} holds {len(axes)} axis; give two axes or three: one leaves a turn about it free"
            )
        if np.linalg.svd(axes, compute_uv=False)[1] < np.sqrt(len(axes)) * limit:
            raise ValueError(
                f"the axes in {name} lie on one line within {limit / deg:.3g}°: a turn about it stays free; "
                "add an axis in another direction"
            )
    Q = best_rotations(mine, other)
    if _near(mine, other, Q, limit):
        return Q
    raise _explained(mine, other, limit)


def zero_from_elbows(
    m: Mechanism,
    base: ArrayLike | object,
    elbows: ArrayLike,
    leg_order: Sequence[int] = (0, 1, 2),
    *,
    tolerance: float = 1 * deg,
) -> Floats:
    """Our motor angles, (3,) in their leg order, where the elbows stand as theirs do at 0: `zero` of a `Convention`.

        zero[k] = atan2(w . y_i, w . x_i),    w = base.T @ elbows[k],    i = leg_order[k]

    with x_i and y_i the first two axes of our leg's frame. It holds for both senses.

    Parameters
    ----------
    m : Mechanism
        The joint, in our conventions.
    base : (3, 3)
        Our base coordinates to theirs, as `align_axes` gives it.
    elbows : (3, 3)
        Row k is the unit vector w of their leg k where their motor angle reads 0, in their base frame. If they give
        it at another angle theta, the zero is what comes out less ``sense[k] * theta[k]``.
    leg_order : three of 0, 1, 2
        As in `Convention`.
    tolerance : float
        How far the angle between w and the motor axis may be off alpha_1, in radians.

    Raises
    ------
    ValueError, TypeError
        A shape is wrong, an axis is not unit, or an axis is no elbow axis of that leg.
    """
    joint(m)
    frame = Convention(base=base, leg_order=leg_order)  # checks them
    order = list(frame.leg_order)
    rows, limit = unit(elbows, "elbows"), _checked(tolerance)
    if rows.shape != (3, 3):
        raise ValueError(f"elbows has shape {rows.shape}; it must be (3, 3): the elbow axis of each of their legs")
    x, y, u = np.moveaxis(np.einsum("lij,li->lj", m.base_frames[order], rows @ frame.base), -1, 0)
    found = np.arctan2(np.hypot(x, y), u)
    for k, (i, arc) in enumerate(zip(order, found.tolist(), strict=True)):
        wanted = float(m.proximal[i])
        if abs(arc - wanted) > limit:
            reversed_ = abs(np.pi - arc - wanted) <= limit
            repair = "it points the opposite way, take its negative" if reversed_ else "check base and leg_order"
            raise ValueError(
                f"elbows {k} is {arc / deg:.4g}° from the motor axis of our leg {i + 1}, whose first link is "
                f"{wanted / deg:.4g}°: {repair}"
            )
    return np.asarray(np.arctan2(y, x))


def best_rotations(ours: Floats, theirs: Floats) -> Floats:
    """The rotations, (..., 3, 3), that bring the rows of `ours` nearest to those of `theirs`, (..., n, 3) each.

    Where the rows leave a turn free, it is any one of those that are equally near.
    """
    U, _, Vt = np.linalg.svd(np.swapaxes(theirs, -1, -2) @ ours)
    U = U * np.stack(np.broadcast_arrays(1.0, 1.0, np.linalg.det(U @ Vt)), axis=-1)[..., None, :]
    return np.asarray(U @ Vt)


def in_words(order: Sequence[int]) -> str:
    """Leg indices as drawings count them: (0, 2, 1) is '1, 3, 2'."""
    return ", ".join(str(i + 1) for i in order)


def turns_round(order: Sequence[int]) -> bool:
    """Whether an order is an odd permutation: of three legs, one that makes counter-clockwise clockwise."""
    return bool(np.linalg.det(np.eye(len(order))[list(order)]) < 0)


def _checked(tolerance: float) -> float:
    """One angle in (0, 0.5) radians, beyond which directions count as different."""
    limit = one(tolerance, "tolerance")
    if not 0 < limit < 0.5:
        raise ValueError(f"tolerance is {limit:g}; it must be one angle in (0, 0.5) radians: for 1° write 1*deg")
    return limit


def _near(ours: Floats, theirs: Floats, Q: Floats, limit: float) -> bool:
    """Whether Q brings every row of `ours` within `limit` of its partner."""
    return bool(arc_between(theirs, ours @ Q.T).max() <= limit)


def _explained(ours: Floats, theirs: Floats, limit: float) -> ValueError:
    """The error for axes that no rotation fits as they are numbered.

    Where the best rotation is not the only one, as for a mirrored symmetric set, how far the worst axis misses
    depends on rounding. The root mean square does not: it is the least that there is.
    """
    left_handed = _near(ours, -theirs, best_rotations(ours, -theirs), limit)
    orders = list(permutations(range(len(ours)))) if len(ours) <= _FEW else []
    numbered = [(order, theirs[list(order)]) for order in orders]
    cures = [order for order, rows in numbered if _near(ours, rows, best_rotations(ours, rows), limit)]
    mirror = (
        "their frame is left-handed (theirs * (1, 1, -1) is the same in a right-handed one), or all their axes point "
        "the opposite way (take -theirs, and reverse the senses)"
    )
    way = "the other way round" if any(turns_round(order) for order in cures) else "from another leg on"
    legs = f"their legs are numbered {way} (take the rows of theirs in the order {' or '.join(map(in_words, cures))})"
    if left_handed and cures:
        message = (
            f"no rotation fits, but a mirror image does, and so does another order of the legs: either {legs}; or "
            f"{mirror}. These axes cannot tell which it is: look at the numbers in their drawing"
        )
    elif left_handed:
        orders_tried = " in any order of the legs" if orders else ""
        message = f"no rotation fits{orders_tried}, but a mirror image does: {mirror}"
    elif cures:
        message = f"no rotation fits, nor does a mirror image: {legs}"
    else:
        other = " or another order of the legs" if orders else ""
        chord = np.sqrt(np.mean(np.sum((theirs - ours @ best_rotations(ours, theirs).T) ** 2, axis=1)))
        angle = 2 * np.arcsin(chord / 2)
        message = (
            f"no rotation fits, nor does a mirror image{other}: even the best rotation leaves the axes "
            f"{angle / deg:.4g}° off (root mean square), where {limit / deg:.3g}° is let pass for each. These are "
            "not the same axes, or one of them points the opposite way"
        )
    if left_handed or any(turns_round(order) for order in cures):
        return MirroredError(message, left_handed=left_handed, renumberings=tuple(cures))
    return ValueError(message)
