"""Slips with an unknown amount, which is found from the answer itself: another zero, another frame, another unit.

The functions take the answers of many versions of a step, (versions, components, points), and the given answer,
(components, points), and tell which versions become the given answer, and by which amount.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from ... import rotation
from ..._check import Floats
from ...convention.alignment import best_rotations
from ...mechanism import deg
from ..picture import degrees, number
from .input_slips import NOTHING, zero_slip
from .relation import TOLERANCE, agree, key
from .samples import Points
from .slip import Operator, Slip
from .steps import Step

__all__ = ["fits", "quarter_turns"]

IN_DEGREES = Operator("degrees", 1.0, "theta in degrees")
HALF = Operator("half-angle", 1.0, "half of theta: t is tan(theta/2)")
OPPOSITE = Operator("sign", 1.2, "the wrong sign of theta")
BASE = Operator("frame", 2.5, "another base frame: Q @ (ours), where Q is {name}")
PLATFORM = Operator("frame", 2.5, "another frame on the platform: (ours) @ Q.T, where Q is {name}")
BASE_AND_ZERO = Operator("frame", 2.7, "another base frame and another zero: {name}", ("zero-offset",))
BOTH = Operator("frame", 2.6, "other frames: Q @ (ours) @ P.T, where {name}")

EVERYDAY = 0.9  # a frame whose axes are ours under other names; any other is more far-fetched
_FREE = 1e-6  # a determinant or singular value, of numbers near 1, that leaves the unknown free
_ENOUGH = 12  # points that fix two frames many times over


def quarter_turns(step: Step, points: Points) -> list[Points]:
    """The points with theta 90° and 180° further, from which `fits` finds the zero of theta."""
    turns = (np.pi / 2, np.pi) if "theta" in step.arguments else ()
    return [{**points, "theta": points["theta"] + turn} for turn in turns]


def fits(step: Step, tables: Sequence[Floats], answer: Floats) -> Iterator[tuple[int, Slip]]:
    """Rows that agree with the answer once an amount is fitted, each with its slip.

    `tables` holds the answers at the points, then those at the `quarter_turns`.
    """
    finite = np.isfinite(answer).all(axis=0)
    lost = np.asarray(
        np.isnan(tables[0][..., ~finite]).all(axis=(-2, -1))
    )  # where the answer is no number, a row must be none
    for row, slip in _fits(step, [table[..., finite] for table in tables], answer[:, finite]):
        if lost[row]:
            yield row, slip


def _fits(step: Step, tables: Sequence[Floats], given: Floats) -> Iterator[tuple[int, Slip]]:
    now, *turned = tables
    if step.relation == "angle":
        yield from _angles(now, given)
    if step.name == "leg_equation":  # theta is in its unknown: a quarter turn further makes a of b, and b of -a
        a, b, c = np.moveaxis(now, -2, 0)
        turned = [np.stack([b, -a, c], axis=-2), np.stack([-a, -b, c], axis=-2)]
    if turned:
        yield from _zeros(step, now, turned[0], turned[1], given)
    if step.relation == "equal" and step.shape in ((3,), (3, 3)):
        yield from _frames(now, given)
        if (
            turned and step.shape == (3,) and len(now) == 1
        ):  # a slip, a frame and a zero besides would explain too much
            yield from _frame_and_zero(now, turned[0], turned[1], given)


def _angles(now: Floats, given: Floats) -> Iterator[tuple[int, Slip]]:
    wanted = key("angle", now)
    scaled = (IN_DEGREES, deg, "theta*180/pi"), (HALF, 2.0, "theta/2"), (OPPOSITE, -1.0, "-theta")
    for operator, scale, wrong in scaled:
        for row in np.flatnonzero(agree(wanted, key("angle", given * scale))):
            yield int(row), Slip(operator, "theta", wrong)
    zero = np.angle(np.exp(1j * (now - given)).mean(axis=(-2, -1)))
    matches = agree(key("angle", now - zero[:, None, None]), key("angle", given))
    for row in np.flatnonzero(matches & (np.abs(zero) > NOTHING)):
        yield int(row), zero_slip(float(zero[row]), -1)


def _zeros(step: Step, now: Floats, quarter: Floats, half: Floats, given: Floats) -> Iterator[tuple[int, Slip]]:
    """With theta d further the answer is ``m + p cos(d) + q sin(d)``: cos(d) and sin(d) by least squares.

    Where a common factor is free, the cross product with the given answer has to vanish instead.
    """
    m, p = (now + half) / 2, (now - half) / 2
    q = quarter - m
    x, y, goal = (p, q, given - m)
    if step.relation == "factor":
        x, y, goal = (np.cross(part, given, axis=-2) for part in (p, q, -m))
    xx, xy, yy, xg, yg = ((s * t).sum(axis=(-2, -1)) for s, t in ((x, x), (x, y), (y, y), (x, goal), (y, goal)))
    determinant = xx * yy - xy * xy
    zero = np.arctan2(xx * yg - xy * xg, yy * xg - xy * yg)
    fitted = m + p * np.cos(zero)[:, None, None] + q * np.sin(zero)[:, None, None]
    matches = agree(key(step.relation, fitted), key(step.relation, given))
    for row in np.flatnonzero(matches & (determinant > _FREE) & (np.abs(zero) > NOTHING)):
        yield int(row), zero_slip(float(zero[row]), 1)


def _frame_and_zero(now: Floats, quarter: Floats, half: Floats, given: Floats) -> Iterator[tuple[int, Slip]]:
    """Both at once. A turn keeps the dot products of neighbouring vectors, and these are linear in cos(d), sin(d),
    cos(d)^2 and cos(d) sin(d): four unknowns by least squares give d, and then the turn is sought as ever.
    """
    m, p = (now[0] + half[0]) / 2, (now[0] - half[0]) / 2
    q = quarter[0] - m
    mm, mp, mq, pp, pq, qq, wanted = (
        (one[:, 1:] * other[:, :-1] + one[:, :-1] * other[:, 1:]).sum(axis=0) / 2
        for one, other in ((m, m), (m, p), (m, q), (p, p), (p, q), (q, q), (given, given))
    )
    terms = np.stack([2 * mp, 2 * mq, pp - qq, 2 * pq], axis=-1)
    (cosine, sine, _, _), *_ = np.linalg.lstsq(terms, wanted - mm - qq)
    zero = float(np.arctan2(sine, cosine))
    moved = (m + p * np.cos(zero) + q * np.sin(zero))[None]
    if abs(zero) > NOTHING:
        for row, slip in _turned(BASE_AND_ZERO, np.swapaxes(moved, -1, -2), given.T):
            other = zero_slip(zero, 1)
            told = f"Q @ (ours), where Q is {slip.name}, and {other.name}"
            yield row, slip._replace(name=told, amount=zero)


def _frames(now: Floats, given: Floats) -> Iterator[tuple[int, Slip]]:
    """A constant turn of the answer: on the base's side and, of a matrix, on the platform's side too."""
    if len(given) == 3:
        yield from _turned(BASE, np.swapaxes(now, -1, -2), given.T)
        return
    ours, theirs = _matrices(now), _matrices(given)
    columns = [np.swapaxes(R, -1, -2) for R in (ours, theirs)]
    turned = [*_turned(BASE, *map(_in_one_list, columns)), *_turned(PLATFORM, *map(_in_one_list, (ours, theirs)))]
    yield from turned
    if not turned and len(ours) == 1:  # a slip and two frames besides would explain too much
        yield from _two_frames(ours[0], theirs)


def _matrices(values: Floats) -> Floats:
    """(..., 9, points) as (..., points, 3, 3)."""
    return np.moveaxis(values, -1, -2).reshape(*values.shape[:-2], -1, 3, 3)


def _in_one_list(matrices: Floats) -> Floats:
    """The rows of all matrices, (..., points, 3, 3), as (..., 3 points, 3)."""
    return matrices.reshape(*matrices.shape[:-3], -1, 3)


def _turned(operator: Operator, ours: Floats, theirs: Floats) -> Iterator[tuple[int, Slip]]:
    """Versions, (versions, n, 3), whose vectors one turn takes to the given ones, (n, 3)."""
    if np.linalg.eigvalsh(theirs.T @ theirs)[1] < _FREE:
        return  # all along one line: a turn about it stays free
    steps, wanted = ((rows[..., 1:, :] * rows[..., :-1, :]).sum(axis=-1) for rows in (ours, theirs))
    for row in np.flatnonzero((np.abs(steps - wanted) <= TOLERANCE).all(axis=-1)):  # a turn keeps dot products
        Q = best_rotations(ours[row], theirs)
        if np.abs(theirs - ours[row] @ Q.T).max() <= TOLERANCE and rotation.to_axis_angle(Q)[1] > NOTHING:
            undo = "yours @ Q is right" if operator is PLATFORM else "Q.T @ yours is right"
            told = operator._replace(weight=min(operator.weight, EVERYDAY)) if _renames_axes(Q) else operator
            yield int(row), Slip(told, undo, "", f"a turn by {_in_words(Q)}", rotation=_as_rows(Q))


def _two_frames(ours: Floats, theirs: Floats) -> Iterator[tuple[int, Slip]]:
    """Q and P with ``theirs = Q @ ours @ P.T`` at all points: ``theirs @ P - Q @ ours = 0`` is linear in both."""
    eye = np.eye(3)
    equations = [
        np.hstack([np.kron(their, eye), -np.kron(eye, our.T)])
        for our, their in zip(ours[:_ENOUGH], theirs[:_ENOUGH], strict=True)
    ]
    _, sizes, rows = np.linalg.svd(np.concatenate(equations))
    if sizes[-2] < _FREE:
        return  # turns about one axis only: many frames do
    P, Q = (part / np.cbrt(np.linalg.det(part)) for part in rows[-1].reshape(2, 3, 3))
    if np.abs(theirs - Q @ ours @ P.T).max() <= TOLERANCE:
        told = f"Q is a turn by {_in_words(Q)} and P a turn by {_in_words(P)}"
        yield 0, Slip(BOTH, "Q.T @ yours @ P is right", "", told, rotation=_as_rows(Q))


def _as_rows(Q: Floats) -> tuple[tuple[float, ...], ...]:
    return tuple(map(tuple, (np.round(Q, 12) + 0.0).tolist()))  # without rounding residue


def _in_words(Q: Floats) -> str:
    axis, angle = rotation.to_axis_angle(np.round(Q, 9))  # so that rounding does not choose between axis and -axis
    main = int(np.argmax(np.abs(axis)))
    if abs(axis[main]) > 1 - _FREE:
        return f"{degrees(float(angle * np.sign(axis[main])), 2)} about {'xyz'[main]}"
    named = f" (your x, y, z is our {_axes(Q)})" if _renames_axes(Q) else ""
    return f"{degrees(float(angle), 2)} about ({', '.join(number(float(x), 3) for x in axis)}){named}"


def _renames_axes(Q: Floats) -> bool:
    """Whether it takes coordinate axes to coordinate axes, as people's frames mostly do."""
    return bool(np.abs(np.abs(Q).max(axis=1) - 1).max() < _FREE)


def _axes(Q: Floats) -> str:
    """The coordinates of which the new ones are made, such as "y, -x, z"."""
    return ", ".join(("-" if row.sum() < 0 else "") + "xyz"[int(np.argmax(np.abs(row)))] for row in Q)
