"""The bench card: poses that are set by hand, and the motor changes to expect there."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from textwrap import wrap

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .._check import Floats, angles
from .._travel import Frozen
from ..convention import Convention
from ..errors import UnreachableError
from ..inverse import inverse_kinematics
from ..mechanism import Mechanism, deg
from ._faults import FAULTS, Fault, predictions, separations, standard
from .diagnosis import ROUGH, Diagnosis, diagnose, plan, read_to

__all__ = ["BenchCard", "Diagnosis", "Fault", "bench_card", "diagnose"]

_BY_HAND = (
    "Turn the platform by hand only with the motors unplugged from their drivers: a motor that is turned feeds "
    "voltage into its driver."
)


@dataclass(frozen=True, eq=False, repr=False)
class BenchCard(Frozen):
    """What the motors of a machine should do in a few poses. Prints as a plain page; a table in a notebook.

    Attributes
    ----------
    mechanism, mode, convention
        What the card was made for.
    names : tuple of str
        The poses in words, from the home pose; "towards leg 1" is towards the azimuth of its motor.
    poses : (n, 3, 3)
        The same as orientations, in our frames.
    expected : (n, 3)
        Change of each motor from home in radians, in the numbering and the sense of the machine.
    """

    mechanism: Mechanism
    mode: NDArray[np.int_]
    convention: Convention
    names: tuple[str, ...]
    poses: Floats
    expected: Floats

    def diagnose(self, observed: ArrayLike, *, signs: bool = False, tolerance: float = ROUGH) -> Diagnosis:
        """`diagnose` for what was seen in the poses of this card, (n, 3) in their order."""
        return diagnose(
            self.mechanism,
            self.mode,
            self.poses,
            observed,
            convention=self.convention,
            signs=signs,
            tolerance=tolerance,
        )

    def indistinct(self, tolerance: float = ROUGH) -> tuple[tuple[Fault, ...], ...]:
        """Groups of faults, of two kinds at most, that readings to `tolerance` may not tell apart on this card.

        Two are apart where their motor changes differ somewhere by more than twice the tolerance. A group is what is
        linked by pairs that are not; each has two members or more, the plainest first. `tolerance` in radians, in
        (0, 10°].
        """
        limit = read_to(tolerance)
        few = [k for k, fault in enumerate(FAULTS) if fault.count <= 2]
        seen = predictions(self.mechanism, self.mode, self.convention, self.poses)[few]
        near = np.array([separations(seen, one) <= 2 * limit for one in seen])
        groups, left = [], set(range(len(few)))
        while left:
            group, fresh = set(), {min(left)}
            while fresh:
                group |= fresh
                fresh = {int(k) for one in fresh for k in np.flatnonzero(near[one])} - group
            left -= group
            if len(group) > 1:
                groups.append(tuple(FAULTS[few[k]] for k in sorted(group)))
        return tuple(groups)

    def _head(self) -> str:
        home = self.mechanism.home_angles(self.mode)
        theirs = self.convention.angles_to_theirs(home)
        return (
            f"Working mode {' '.join(f'{int(s):+d}' for s in self.mode)}. At home the motor angles of legs 1, 2, 3 "
            f"are {_row(home)} and the machine's motors 1, 2, 3 read {_row(theirs)}. Below: change from home in "
            f"degrees, numbered and counted as the machine does. {_BY_HAND}"
        )

    def _foot(self) -> str:
        doubtful = [group for group in self.indistinct() if group[1].count <= 1]
        if not doubtful:
            return f"Read to ±{ROUGH / deg:g}°, the card tells every single fault from every other."
        told = " | ".join("; or ".join(str(fault) for fault in group if fault.count <= 1) for group in doubtful)
        return f"Read to ±{ROUGH / deg:g}°, the card cannot tell apart: {told}."

    def __repr__(self) -> str:
        width = max(len(name) for name in self.names)
        rows = [f"{'pose, from home':{width + 3}}  motor 1  motor 2  motor 3   seen"]
        for k, (name, change) in enumerate(zip(self.names, self.expected / deg, strict=True), start=1):
            numbers = "  ".join(f"{value:+z7.2f}" for value in change)
            rows.append(f"{k}  {name:{width}}  {numbers}   ______  ______  ______")
        return "\n".join(["Bench card", _folded(self._head()), "", *rows, "", _folded(self._foot())])

    def _repr_html_(self) -> str:
        body = "".join(
            f"<tr><td>{k}</td><td style='text-align:left'>{escape(name)}</td>"
            + "".join(f"<td>{value:+z.2f}°</td>" for value in change)
            + "<td></td>" * 3
            + "</tr>"
            for k, (name, change) in enumerate(zip(self.names, self.expected / deg, strict=True), start=1)
        )
        motors = "".join(f"<th>motor {k}</th>" for k in (1, 2, 3))
        seen = "".join(f"<th>seen {k}</th>" for k in (1, 2, 3))
        return (
            f"<p><b>Bench card.</b> {escape(self._head())}</p><table><thead><tr><th></th>"
            f"<th style='text-align:left'>pose, from home</th>{motors}{seen}</tr></thead>"
            f"<tbody>{body}</tbody></table><p>{escape(self._foot())}</p>"
        )


def bench_card(
    m: Mechanism,
    mode: ArrayLike = (1, 1, 1),
    convention: Convention | None = None,
    *,
    tilt: float = 15 * deg,
    yaw: float = 10 * deg,
) -> BenchCard:
    """Eight poses near home with the change from home to expect of each motor, to be compared with the machine.

    Yaw to both sides, tilt towards each leg and away from each. A yaw alone shows a wrong sense and hides a wrong
    elbow; a tilt alone does not tell the one from the other. Together they give each single fault of `Fault` a
    pattern of its own, except where none exists: with all arcs 90° the two elbows of a leg move alike.
    `BenchCard.indistinct` says what a card cannot tell.

    Parameters
    ----------
    m : Mechanism
        The joint as planned.
    mode : (3,)
        Its working mode as planned.
    convention : Convention, optional
        The numbering and the senses of the machine; by default ours.
    tilt, yaw : float
        Size of the poses in radians, in (0, 60°]. Larger ones are easier to read, and nearer to the edge of reach.

    Raises
    ------
    UnreachableError
        A pose, or home itself, is out of reach; says which, and how much is missing.
    ValueError, TypeError
        An argument that is none of the above.
    """
    m, planned, machine = plan(m, mode, convention)
    sizes = {"tilt": tilt, "yaw": yaw}
    names, poses = standard(
        m, *(float(angles(size, name, (), 0, 60 * deg, "(0, 60°]")) for name, size in sizes.items())
    )
    home = m.home_angles(planned)
    try:
        theta = inverse_kinematics(m, poses, planned, near=home)
    except UnreachableError as error:
        raise UnreachableError(
            f"{names[error.pose[0]]}: {error}; or make the poses smaller, with tilt= or yaw=",
            pose=error.pose,
            leg=error.leg,
            shortfall=error.shortfall,
            correction=error.correction,
            count=error.count,
        ) from None
    expected = machine.angles_to_theirs(theta) - machine.angles_to_theirs(home)
    return BenchCard(m, planned, machine, names, poses, expected)


def _row(angles: Floats) -> str:
    return " ".join(f"{angle / deg:+z.3f}°" for angle in angles)


def _folded(text: str) -> str:
    return "\n".join(wrap(text, 100))
