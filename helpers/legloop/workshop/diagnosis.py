"""From what the motors were seen to do to what is wrong with the machine, or to the pose that would tell."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import fill

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .._check import Floats, angles, finite, flag, instance, modes, rotations
from .._travel import Frozen
from ..convention import Convention
from ..inverse import inverse_kinematics
from ..mechanism import Mechanism, deg, joint
from ._faults import FAULTS, Fault, further, predictions, separations

__all__ = ["ROUGH", "Diagnosis", "diagnose", "plan", "read_to"]

ROUGH = 2 * deg
"""What a pencil mark on a pulley can be read to, and a pose set by hand."""

SAME = 1e-6
"""Predictions that nowhere differ by more, in radians, are those of one and the same behaviour: rounding leaves
1e-14, and no sensor of a builder shows a millionth."""


@dataclass(frozen=True, eq=False, repr=False)
class Diagnosis(Frozen):
    """What explains the readings. Prints as its message, in lines of 100 characters.

    Attributes
    ----------
    faults : tuple of Fault
        The plainest explanation, and after it those that no motor angle would ever tell from it; with at most one
        kind of fault more. Empty where nothing fits.
    rivals : tuple of Fault
        Other explanations that fit these readings as well, one for each behaviour, the plainest first.
    next_name, next_pose : str and (3, 3), or None
        Where there are rivals: the one further pose that tells the plainest explanation from most of them.
    undecided : tuple of Fault
        The rivals that would still fit after that pose, whichever way it turns out for the plainest.
    misfit : float
        Largest difference in radians between the readings and the plainest explanation, or the nearest if none fits;
        NaN where only signs were given.
    message : str
        All of this in words.
    """

    faults: tuple[Fault, ...]
    rivals: tuple[Fault, ...]
    next_name: str | None
    next_pose: Floats | None
    undecided: tuple[Fault, ...]
    misfit: float
    message: str

    @property
    def as_planned(self) -> bool:
        """Whether the readings are those of the machine as planned, and of no other."""
        return bool(self.faults) and self.faults[0].count == 0 and not self.rivals

    def __repr__(self) -> str:
        return "\n".join(fill(line, 100) for line in self.message.splitlines())


def diagnose(
    m: Mechanism,
    mode: ArrayLike,
    poses: ArrayLike | object,
    observed: ArrayLike,
    *,
    convention: Convention | None = None,
    signs: bool = False,
    tolerance: float = ROUGH,
) -> Diagnosis:
    """What is wrong with a machine whose motors were seen to move so, from home to each of some poses.

    Tried are all combinations of: mirrored assembly, wrong working mode of any legs, motors exchanged, motors that
    count the wrong way: 768. Those fit that are nowhere farther off than `tolerance`; of them the plainest is named,
    the one with the fewest kinds of fault.

    Parameters
    ----------
    m, mode, convention
        The joint, its working mode (3,), and the machine's numbering and senses, as planned.
    poses : (n, 3, 3)
        The orientations into which the platform was turned, in our frames; `BenchCard.poses`, or some of them.
    observed : (n, 3)
        Change of each motor from home as the machine counts it, in radians; with ``signs=True``: +1, -1, or 0 for a
        motor that moved by less than `tolerance`.
    signs : bool
        Whether `observed` holds signs only.
    tolerance : float
        How far a reading may be off, in radians, in (0, 10°].

    Raises
    ------
    UnreachableError
        A pose is out of reach of the joint as planned, so that nobody can have set it.
    ValueError, TypeError
        Shapes that do not fit, a number that is not finite, degrees for radians, signs that were not said to be such.
    """
    m, planned, machine = plan(m, mode, convention)
    R, seen = _read(poses, observed, flag(signs, "signs"))
    limit = read_to(tolerance)
    inverse_kinematics(m, R, planned)  # says which pose is out of reach, and by how much
    expected = predictions(m, planned, machine, R)
    misfit = np.abs(expected - seen).max(axis=(1, 2))
    if signs:
        fits = np.where(seen == 0, np.abs(expected) <= limit, seen * expected > -limit).all(axis=(1, 2))
        misfit = np.full(len(FAULTS), np.nan)
    else:
        fits = misfit <= limit
    if not fits.any():
        return _nothing_fits(expected, seen, limit, signs)
    names, more = further(m, planned)
    candidates = np.flatnonzero(fits)
    ahead = predictions(m, planned, machine, more)[candidates]
    classes = _classes(np.concatenate([expected[candidates], ahead], axis=1))
    plainest = [candidates[members[0]] for members in classes]
    first = [FAULTS[candidates[k]] for k in classes[0]]
    faults = tuple(fault for fault in first if fault.count <= first[0].count + 1)
    rivals = tuple(FAULTS[k] for k in plainest[1:])
    told = _told_apart(ahead[[members[0] for members in classes]], limit, signs)
    best = int(told.sum(axis=0).argmax()) if len(told) else 0
    undecided = tuple(rival for rival, apart in zip(rivals, told[:, best], strict=True) if not apart)
    decides = len(undecided) < len(rivals)
    worst = float(misfit[plainest[0]])
    name, pose = (names[best], more[best]) if decides else (None, None)
    return Diagnosis(
        faults, rivals, name, pose, undecided, worst, _told(faults, rivals, name, undecided, worst, limit)
    )


def plan(
    m: Mechanism, mode: ArrayLike, convention: Convention | None
) -> tuple[Mechanism, NDArray[np.int_], Convention]:
    """The three things that describe a machine, checked: its joint, its working mode (3,), its convention or ours.

    ValueError for a mode that is not three times +1 or -1, TypeError for no Mechanism and no Convention.
    """
    m, signs = joint(m), modes(mode).astype(np.int_)
    if signs.shape != (3,):
        raise ValueError(f"mode has shape {signs.shape}; a machine stands in one working mode, so give (3,)")
    machine = Convention() if convention is None else instance(convention, "convention", Convention)
    return m, signs, machine


def read_to(tolerance: float) -> float:
    """How far a reading may be off, one angle in radians, in (0, 10°]; ValueError, TypeError for anything else."""
    return float(angles(tolerance, "tolerance", (), 0.0, 10 * deg, "(0, 10°]"))


def _read(poses: ArrayLike | object, observed: ArrayLike, signs: bool) -> tuple[Floats, Floats]:
    R, seen = rotations(poses, "poses"), finite(observed, "observed", 3)
    if R.ndim != 3 or seen.ndim != 2 or len(R) != len(seen) or not len(R):
        raise ValueError(
            f"poses has shape {R.shape} and observed {seen.shape}; they must be (n, 3, 3) and (n, 3), n at least 1: "
            "one row of three motors for each pose. Leave out a pose that was not tried"
        )
    only_signs = bool(np.isin(seen, (-1, 0, 1)).all())
    if signs and not only_signs:
        row, motor = (int(i) for i in np.argwhere(~np.isin(seen, (-1, 0, 1)))[0])
        raise ValueError(f"observed[{row}, {motor}] is {seen[row, motor]:g}; with signs=True it must be +1, -1 or 0")
    if not signs and only_signs and seen.any():
        raise ValueError("observed holds nothing but +1, -1 and 0: if these are signs, pass signs=True")
    if not signs and np.abs(seen).max() > 2 * np.pi:
        row, motor = (int(i) for i in np.argwhere(np.abs(seen) > 2 * np.pi)[0])
        value = float(seen[row, motor])
        raise ValueError(
            f"observed[{row}, {motor}] is {value:g} rad ({value / deg:.4g}°), more than a turn; for degrees write "
            f"{value:g}*deg, and for steps divide by the steps of a turn of the joint's pulley"
        )
    return R, seen


def _classes(seen: Floats) -> list[list[int]]:
    """Indices of predictions (k, n, 3) in groups that nothing tells apart, in the order of their first members."""
    left, classes = list(range(len(seen))), []
    while left:
        apart = separations(seen[left], seen[left[0]])
        classes.append([k for k, distance in zip(left, apart, strict=True) if distance <= SAME])
        left = [k for k, distance in zip(left, apart, strict=True) if distance > SAME]
    return classes


def _told_apart(seen: Floats, limit: float, signs: bool) -> NDArray[np.bool_]:
    """Which poses (columns) tell the first of k predictions from each other one (k - 1 rows), read to `limit`.

    Readings tell two predictions apart where these differ by more than twice the limit; signs, where they are
    opposite and both are larger than the limit.
    """
    first, others = np.nan_to_num(seen[0]), np.where(np.isnan(seen[1:]), np.nan_to_num(seen[0]), seen[1:])
    if signs:
        apart = (first * others < 0) & (np.minimum(np.abs(first), np.abs(others)) > limit)
    else:
        apart = np.abs(others - first) > 2 * limit
    return np.asarray(apart.any(axis=2))


def _told(
    faults: tuple[Fault, ...],
    rivals: tuple[Fault, ...],
    name: str | None,
    undecided: tuple[Fault, ...],
    worst: float,
    limit: float,
) -> str:
    lines = [
        ("The readings are those of the machine as planned" if not faults[0].count else f"Plainest: {faults[0]}")
    ]
    if np.isfinite(worst):
        lines[0] += f" (largest difference {worst / deg:.1f}°)"
    lines += [f"No motor angle can tell this from: {fault}." for fault in faults[1:]]
    if rivals:
        lines.append(f"{len(rivals)} other explanations fit as well; the plainest of them: {rivals[0]}.")
    if name is not None:
        rest = f", except {len(undecided)} of them, beginning with: {undecided[0]}" if undecided else ""
        lines.append(f"Try one pose more: {name}. It tells the first explanation from the others{rest}.")
    elif rivals:
        lines.append(f"No pose nearby tells them apart with readings to {limit / deg:.3g}°: read more sharply.")
    lines[0] += "."
    return "\n".join(lines)


def _nothing_fits(expected: Floats, seen: Floats, limit: float, signs: bool) -> Diagnosis:
    """No combination explains the readings: name the one that most of them fit, and the worst reading.

    Where nothing moved by more than a reading may be off, the supply comes first.
    """
    off = np.where(np.sign(expected) == seen, 0.0, np.inf) if signs else np.abs(expected - seen)
    wrong = (~(off <= limit)).sum(axis=(1, 2))
    nearest = int(wrong.argmin())
    still = (np.abs(seen) <= (0 if signs else limit)).all()
    first = (
        "No motor moved: look first at power, at the enable input of the drivers, at the cables.\n" if still else ""
    )
    start = f"{first}Nothing fits. Nearest: {FAULTS[nearest]}, with {wrong[nearest]} of {seen.size} readings wrong"
    if signs:
        return Diagnosis((), (), None, None, (), float("nan"), f"{start}.")
    worst = float(np.nanmax(off[nearest]))
    pose, motor = (int(i) for i in np.unravel_index(int(np.nanargmax(off[nearest])), seen.shape))
    lines = [
        f"{start}, most of all motor {motor + 1} in pose {pose + 1}: it read {seen[pose, motor] / deg:+.1f}° where "
        f"{expected[nearest, pose, motor] / deg:+.1f}° is wanted."
    ]
    scale = _scales(expected, seen, limit)
    if scale is not None:
        fault, factors = scale
        told = ", ".join(f"motor {k + 1} {factor:.2f}" for k, factor in enumerate(factors) if abs(factor - 1) > 0.1)
        lines.append(
            f"All would fit ({fault}) if motors turned so many times as far as planned: {told}. Command one turn and "
            "count it: microstep setting, teeth of the pulleys."
        )
    else:
        lines.append(
            "Read that pose again; then check that home was set before, that the poses were the ones listed, and the "
            "numbers of the joint."
        )
    return Diagnosis((), (), None, None, (), worst, "\n".join(lines))


def _scales(expected: Floats, seen: Floats, limit: float) -> tuple[Fault, list[float]] | None:
    """The plainest fault, of one kind at most, that fits once each motor has a factor of its own, or None."""
    for fault, wanted in zip(FAULTS, expected, strict=True):
        if fault.count > 1:
            return None
        size = (wanted**2).sum(axis=0)
        if not (size > limit**2).all():
            continue
        factors = (wanted * seen).sum(axis=0) / size
        if (factors > 0.05).all() and np.abs(wanted * factors - seen).max() <= limit:
            return fault, factors.tolist()
    return None
