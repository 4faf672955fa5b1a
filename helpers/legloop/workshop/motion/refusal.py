"""The error for a request that the joint cannot follow: what is wrong, from when to when, and what may help."""

from __future__ import annotations

import numpy as np

from ... import rotation
from ..._check import Floats
from ...inverse import inverse_kinematics
from ...reach import reach_margin
from .continuous import Place
from .faults import Fault, described, faults, seen_by
from .result import MotionError, numbers_of
from .task import BLOCK, Task

__all__ = ["refusal"]

_LOOKED_AT = 500  # samples that are tried otherwise: enough to tell a request that fails as a whole
_MODES = [(i, j, k) for i in (1, -1) for j in (1, -1) for k in (1, -1)]


def refusal(
    task: Task, first: int = 0, before: Floats | None = None, broken: Place | None = None, *, nearest: bool = False
) -> MotionError:
    """The error with all faults from sample `first` on.

    `before` (3,): the motor angles there; `broken`: a place at fault in the pieces from `first` on; `nearest`: the
    nearest path was asked for, and there is none.
    """
    last, begun = len(task.times) - 1, float(task.times[0])
    before = task.joint.walls.middle if before is None else before
    listed: list[Fault] = []
    for start in range(first, last, BLOCK):
        end = min(start + BLOCK, last)
        also = broken._replace(k=broken.k - (start - first)) if broken else None
        also = also if also and 0 <= also.k < end - start else None
        found, before = faults(task.joint, task.pieces(start, end), before, task.floor, also)
        listed.extend(found)
    listed = [f._replace(start=begun + f.start, stop=begun + f.stop) for f in listed]
    together = tuple(sorted(seen_by(listed, task.convention)))
    kinds = {fault.why for fault in together}
    if not together:
        return MotionError(
            f"somewhere after {begun + float(task.times[first] - task.times[0]):.6g} s the path comes so near to a "
            "limit that rounding decides, or bends too sharply for a motor; move the request a little, or change "
            "edge or travel in MotionLimits"
        )
    lines = ["the joint cannot follow the request:", described(together, numbers_of(task.convention))]
    if nearest:
        lines.append("no path nearby that the joint can follow was found; turn the request, or widen the limits")
    alike = _alike(task)
    if alike:
        lines.append(alike)
    elif "type 2" in kinds:
        lines.append(
            "at a singular pose of type 2 the platform goes limp: the motors cannot hold it. Going slower does not "
            "help, and wider limits don't. No path in this mode leads to poses where V has the other sign: leave "
            "those out. Where the path comes back at once, lead it round"
        )
    elif kinds & {"reach", "travel"}:
        if not nearest:
            lines.append("unreachable='nearest' looks for the nearest path that it can follow")
    elif not task.slow:
        lines.append(
            "singular='slow' goes through slowly, if nothing is nearer than a twentieth of the limit; or choose "
            "another path"
        )
    else:
        lines.append("so near to a singular pose no pace is slow enough; choose another path")
    return MotionError("\n".join(lines), together)


def _alike(task: Task) -> str | None:
    """What to look at where every sample fails: then it is hardly the path. None where some samples are possible."""
    rows = np.unique(np.linspace(0, len(task.times) - 1, _LOOKED_AT).astype(np.int_))
    R = np.concatenate([task.orientations(k, k) for k in rows.tolist()])
    mode = tuple(task.joint.mode.tolist())
    if _possible(task, R, mode).any() or len(rows) < 2:
        return None
    q = rotation.to_quaternion(task.convention.orientation_to_theirs(R))
    helps = [f"with mode={other}" for other in _MODES if other != mode and _possible(task, R, other).all()]
    for name, order in (("scalar_first=True", (1, 2, 3, 0)), ("scalar_first=False", (3, 0, 1, 2))):
        reread = task.convention.orientation_to_ours(rotation.from_quaternion(q[:, order]))
        if _possible(task, reread, mode).all():
            helps.append(f"had the quaternions been read with {name}")
    if _possible(task, R, mode, -1).all():
        helps.append("if the motors counted the other way")
    hint = f" All samples would be possible {', or '.join(helps)}." if helps else ""
    return (
        "every sample breaks a limit, so it is hardly the path: check mode=, the sense and zero of the Convention, "
        f"the travel in MotionLimits, and whether quaternions were read with the scalar first or last.{hint}"
    )


def _possible(task: Task, R: Floats, mode: tuple[int, ...], sense: int = 1) -> np.typing.NDArray[np.bool_]:
    """Which of R (n, 3, 3) keep reach and travel, in a mode, with motors that count as they do or the other way."""
    m, _, walls = task.joint
    theta = inverse_kinematics(m, R, mode, near=sense * walls.middle, unreachable="nan") * sense
    keeps = (theta >= walls.low) & (theta <= walls.high) & (reach_margin(m, R) >= walls.edge)
    return np.asarray(keeps.all(axis=1))
