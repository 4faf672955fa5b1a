"""The two questions that motor angles can be asked: which orientations close, and which of them continues one."""

from __future__ import annotations

from typing import Literal, overload

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .. import closing
from .._check import Floats, batch, batch_index, choice, finite, flag, numbers, place, rotations
from ..errors import SingularError
from ..mechanism import Mechanism, joint, no_motor_angle
from .assembly import all_orientations
from .branch import BLOCK
from .multiple_roots import CURVE, SOUND, UNDECIDED
from .stands import ambiguity, answer, stands

__all__ = ["assembly_modes", "forward_kinematics"]


@overload
def assembly_modes(m: Mechanism, theta: ArrayLike, *, multiplicities: Literal[False] = False) -> Floats: ...
@overload
def assembly_modes(
    m: Mechanism, theta: ArrayLike, *, multiplicities: Literal[True]
) -> tuple[Floats, NDArray[np.int_]]: ...
def assembly_modes(
    m: Mechanism, theta: ArrayLike, *, multiplicities: bool = False
) -> Floats | tuple[Floats, NDArray[np.int_]]:
    """Every orientation of the platform that closes all three legs at motor angles theta; at most eight.

    The closures ``w_i . R v_i = cos(alpha_2)`` are three quadratic forms in the quaternion of R. Their eight common
    points are all computed, without a start value (`quadrics`), and proven complete; the real ones are orientations.

    Parameters
    ----------
    m : Mechanism
        The joint.
    theta : (..., 3)
        Motor angles in radians.
    multiplicities : bool
        Whether to give the multiplicities too.

    Returns
    -------
    (k, 3, 3) array, k from 0 to 8
        for a single theta, (3,): the orientations, each closing to 1e-13. None at all is an answer as well: the
        motors ask for the impossible.
    (..., 8, 3, 3) array
        for a batch: the same, filled up with NaN.
    (k,) or (..., 8) array of int, with `multiplicities`
        1 for a simple root. An orientation at which k of the eight have come together is listed once and counts k,
        up to 8: there the pose is singular of type 2. 0 where there is NaN. The sum is even.

    The orientation turned least from home comes first: they are sorted by falling trace, and where two traces are
    equal to nine decimals by their entries, row by row, the larger first. Roots count as one where a place halfway
    between them closes as well, to rounding (1.4e-14): two that are 1e-7 rad apart do.

    Raises
    ------
    SingularError
        "Not isolated": a whole curve of orientations closes, as when the platform axes are parallel; more than eight
        were found. "Can't be told apart": theta is within 1e-6 rad or so of such angles, or the arcs are about as
        short, and rounding hides which orientations close.
    ValueError, TypeError
        theta is not finite, or has the wrong shape.

    Source: at most eight: Innocenti, Parenti-Castelli, Mech. Mach. Theory 28, 1993 (abstract read).
    """
    m, angles, also = joint(m), finite(theta, "theta", 3), flag(multiplicities, "multiplicities")
    shape = angles.shape[:-1]
    R, count, verdict = all_orientations(m, angles.reshape(-1, 3))
    if verdict.any():
        index = batch_index(int(np.argmax(verdict != SOUND)), shape)
        raise _not_isolated(m, angles[index], index, int(verdict[verdict != SOUND][0]))
    if shape:
        R, count = R.reshape(*shape, 8, 3, 3), count.reshape(*shape, 8)
    else:
        R, count = R[0, count[0] > 0], count[0, count[0] > 0]
    return (R, count) if also else R


def forward_kinematics(
    m: Mechanism,
    theta: ArrayLike,
    *,
    near: ArrayLike | object,
    mode: ArrayLike | None = None,
    unreachable: Literal["raise", "nan"] = "raise",
) -> Floats:
    """The orientation of the platform at motor angles theta that continues the orientation `near`.

    Precisely: the motors start where they hold the platform at `near`. All three then turn steadily to theta, each
    the shorter way, and arrive together. The platform follows. Where it arrives is the answer, so long as it meets
    no type-2 singularity on the way, where its path would fork or end; in that case nothing is returned for it. No
    step of the computation can pass to another assembly mode (`branch.follow`).

    At `near` each leg can stand with either of its elbows. Which of them it was `mode` tells. Without it both are
    tried, unless one of them would need a turn that is out of all proportion; an answer is given only if all that
    were tried arrive at it, and refused otherwise. It is never a wrong one while the motor that turns farthest turns
    by less than 3/4 of the angle between the two stands of its leg at `near` (`stands`).

    A leg may fold or stretch on the way, type 1: the platform goes on, and the leg's working mode changes. So the
    mode to give is that at `near`: for the next line of a log ``working_mode(m, near, theta_before)``. A log that
    comes in small steps needs none.

    For motors that really go another way, or more than half a turn, ask for points along that way, each with the
    answer to the last as `near`.

    Parameters
    ----------
    m : Mechanism
        The joint.
    theta : (..., 3)
        Motor angles in radians.
    near : (..., 3, 3)
        Rotation matrices, or an object with ``as_matrix()``: the last known orientation, or a measured one. It must
        be within reach of all legs, and broadcasts against theta.
    mode : (..., 3), optional
        The working mode of the legs at `near`: +1 or -1, and 0 for a leg of which it is not known, or that is folded
        or stretched. Broadcasts.
    unreachable : "raise" or "nan"
        What becomes of a pose without an answer: an error, or NaN in its place.

    Returns
    -------
    (..., 3, 3) array
        Orientations, each closing to 1e-13. Where `near` closes at theta by itself it is returned.

    Raises
    ------
    UnreachableError
        A leg cannot close at `near`.
    SingularError
        The branch meets a type-2 singularity between `near` and theta (``.kind`` is 2): no orientation continues
        `near`. The message says after which part of the way, and if other orientations close at theta or none.
    AmbiguousError
        The step is so large that a leg may have started with its other elbow, and the answer would be another. It
        names the legs, and holds all answers with their modes.
    ValueError, TypeError
        theta is not finite, `near` is no rotation, `mode` is not -1, 0 or 1, shapes do not broadcast.
    """
    choice(unreachable, "unreachable", ("raise", "nan"))
    m, angles, starts = joint(m), finite(theta, "theta", 3), rotations(near, "orientation near")
    signs = _signs((0, 0, 0) if mode is None else mode)
    shape = batch(theta=angles.shape[:-1], near=starts.shape[:-2], mode=signs.shape[:-1])
    angles = np.broadcast_to(angles, (*shape, 3)).reshape(-1, 3)
    starts = np.broadcast_to(starts, (*shape, 3, 3)).reshape(-1, 3, 3)
    signs = np.broadcast_to(signs, (*shape, 3)).reshape(-1, 3)
    R = np.empty((3, 3, len(angles)))
    for k in range(0, len(angles), BLOCK):
        rows = slice(k, k + BLOCK)
        R[:, :, rows] = closing.orthonormal(closing.orthonormal(closing.to_columns(starts[rows])))
    at = stands(m, R, angles.T, signs.T)
    there, part, doubt = answer(m, R, at)
    failed = np.flatnonzero((part != 1) | doubt)
    if failed.size and unreachable == "raise":
        row = int(failed[0])
        index = batch_index(row, shape)
        if np.isnan(part[row]):
            raise no_motor_angle(m, starts[row], place("orientation near", index), index, int(np.isnan(part).sum()))
        error = ambiguity(m, R, at, row, index, len(failed))
        raise error or _lost(m, angles[row], part[row], index, len(failed))
    return closing.from_columns(np.where((part == 1) & ~doubt, there, np.nan)).reshape(*shape, 3, 3)


def _signs(mode: ArrayLike) -> NDArray[np.int_]:
    """Working modes (..., 3), each entry +1, -1, or 0 for unknown."""
    array = numbers(mode, "mode", 3)
    bad = (array != 0) & (np.abs(array) != 1)
    if bad.any():
        index = tuple(int(i) for i in np.argwhere(bad)[0])
        raise ValueError(
            f"mode{list(index)} is {array[index]}; it must be +1 or -1 for each leg as it stands at near, "
            "or 0 where that is not known"
        )
    return array.astype(np.int_)


def _not_isolated(m: Mechanism, theta: Floats, index: tuple[int, ...], verdict: int) -> SingularError:
    """The error for motor angles at which a whole curve of orientations closes, or does so but for rounding."""
    if verdict == CURVE:
        what, why = "are not isolated", "a whole curve of orientations closes"
    else:
        what, why = "can't be told apart", "they are closer to one another, or to a curve, than rounding shows"
    for axes, name in ((m.platform_axes, "platform"), (m.elbow_axes(theta), "elbow")):
        if np.abs(np.cross(axes, np.roll(axes, 1, axis=0))).max() < 1e-6:
            why = f"the three {name} axes are parallel, and nothing stops a turn about them"
            break
    return SingularError(
        f"at {place('motor angles', index)} the orientations that close {what}: {why}; "
        "these motor angles do not hold the platform (singular type 2): choose others",
        pose=index,
        kind=2,
    )


def _lost(m: Mechanism, theta: Floats, part: float, index: tuple[int, ...], count: int) -> SingularError:
    """The error for theta (3,) at which the branch of `near` does not arrive."""
    modes, _, verdict = all_orientations(m, theta[None])
    closing_there = 8 - int(np.isnan(modes[0, :, 0, 0]).sum())
    if verdict[0] == CURVE:
        there = "the orientations that close there are not even isolated"
    elif verdict[0] == UNDECIDED:
        there = "the orientations that close there can't be told apart"
    elif closing_there:
        there = f"assembly_modes finds {closing_there} on other branches"
    else:
        there = "none at all closes there: the motors ask for the impossible"
    others = f"; {count} poses of the batch have no answer" if count > 1 else ""
    return SingularError(
        f"{place('motor angles', index)} cannot be reached from near: after {100 * part:.4g} % of the way the "
        "platform comes up to a type-2 singularity (its normals w x R v become coplanar), where the branch ends. No "
        f"orientation at theta continues near; {there}{others}",
        pose=index,
        kind=2,
    )
