"""The rotation between two frames, from the same axes seen in both; and what a mirrored set of axes gives away."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import numpy as np
from numpy.typing import ArrayLike

from .._check import Floats, finite, unit
from ..errors import MirroredError
from ..mechanism import deg

__all__ = ["align_axes", "best_rotations", "in_words", "turns_round"]

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
        Shapes are wrong, an axis is not unit, fewer than two axes, all axes on one line, or nothing fits: the
        message gives the misfit in degrees.

    Notes
    -----
    Axes in one plane, two axes among them, never show a mirror: what a reflection does to them, a rotation does too.
    Of three axes that are equally far apart, as those of a symmetric joint are, a mirror image is the same as a
    renumbering; no comparison of axes can tell the two, and the error says so. Orders are tried for up to five axes.
    """
    mine, other = unit(ours, "ours"), unit(theirs, "theirs")
    if np.ndim(tolerance) or not 0 < finite(tolerance, "tolerance") < 0.5:
        raise ValueError(f"tolerance is {tolerance}; it must be one angle in (0, 0.5) radians: for 1° write 1*deg")
    limit = float(tolerance)
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
    miss = _misfit(mine, other, Q)
    if miss <= limit:
        return Q
    raise _explained(mine, other, miss, limit)


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


def _misfit(ours: Floats, theirs: Floats, Q: Floats) -> float:
    """The largest angle between a row of `theirs` and its partner, turned by Q."""
    chord = np.linalg.norm(theirs - ours @ Q.T, axis=-1).max()
    return float(2 * np.arcsin(min(chord / 2, 1.0)))


def _explained(ours: Floats, theirs: Floats, miss: float, limit: float) -> ValueError:
    """The error for axes that no rotation fits as they are numbered."""
    left_handed = _misfit(ours, -theirs, best_rotations(ours, -theirs)) <= limit
    orders = list(permutations(range(len(ours)))) if len(ours) <= _FEW else []
    cures = [
        order
        for order in orders
        if _misfit(ours, theirs[list(order)], best_rotations(ours, theirs[list(order)])) <= limit
    ]
    start = f"no rotation fits: the worst axis misses by {miss / deg:.4g}°"
    mirror = (
        "their frame is left-handed (theirs * (1, 1, -1) is the same in a right-handed one), or all their axes point "
        "the opposite way (take -theirs, and reverse the senses)"
    )
    way = "the other way round" if any(turns_round(order) for order in cures) else "from another leg on"
    legs = f"their legs are numbered {way} (take the rows of theirs in the order {' or '.join(map(in_words, cures))})"
    if left_handed and cures:
        message = f"{start}. A mirror image fits, and so does another order of the legs: either {legs}; or {mirror}. "
        message += "These axes cannot tell which it is: look at the numbers in their drawing"
    elif left_handed:
        message = f"{start}. A mirror image fits{', and no other order of the legs does' if orders else ''}: {mirror}"
    elif cures:
        message = f"{start}, nor does a mirror image: {legs}"
    else:
        other = " or another order of the legs" if orders else ""
        message = (
            f"{start}, nor does a mirror image{other}; {limit / deg:.3g}° is let pass. These are not the same axes, "
            "or one of them points the opposite way"
        )
    if left_handed or any(turns_round(order) for order in cures):
        return MirroredError(message, left_handed=left_handed, renumberings=tuple(cures))
    return ValueError(message)
