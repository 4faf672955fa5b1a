"""What may be different in a built machine from what was planned, and what its motors would then be seen to do."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from .. import rotation
from .._check import Floats
from ..convention import Convention
from ..inverse import inverse_kinematics
from ..mechanism import Mechanism, deg

__all__ = ["FAULTS", "Fault", "further", "predictions", "separations", "standard"]


@dataclass(frozen=True)
class Fault:
    """One way in which a machine may differ from the plan; all defaults: it does not.

    Attributes
    ----------
    mirrored : bool
        The whole joint is the mirror image of the plan, with the mirror through z and motor axis 1.
    flipped : three bools
        The legs, as the plan counts them, whose elbow is on the other side.
    order : three of 0, 1, 2
        What answers as the machine's motor k is the one meant as motor ``order[k]``.
    reversed : three bools
        The machine's motors that count the wrong way.
    """

    mirrored: bool = False
    flipped: tuple[bool, bool, bool] = (False, False, False)
    order: tuple[int, int, int] = (0, 1, 2)
    reversed: tuple[bool, bool, bool] = (False, False, False)

    @property
    def count(self) -> int:
        """How many kinds of things are wrong: 0, for a machine as planned, to 4."""
        return self.mirrored + any(self.flipped) + (self.order != (0, 1, 2)) + any(self.reversed)

    def __str__(self) -> str:
        parts = []
        if self.mirrored:
            parts.append("the joint is assembled as its own mirror image")
        if any(self.flipped):
            parts.append(f"{_which('leg', self.flipped)} in the wrong working mode (elbow on the other side)")
        if self.order in ((0, 2, 1), (2, 1, 0), (1, 0, 2)):
            one, other = (k + 1 for k in range(3) if self.order[k] != k)
            parts.append(f"motors {one} and {other} are exchanged")
        elif self.order != (0, 1, 2):
            parts.append("motors 1, 2, 3 are those meant as " + ", ".join(str(i + 1) for i in self.order))
        if any(self.reversed):
            parts.append(f"{_which('motor', self.reversed)} counting the wrong way")
        return "; and ".join(parts) if parts else "as planned"


def _which(what: str, which: tuple[bool, ...]) -> str:
    numbers = [str(i + 1) for i, yes in enumerate(which) if yes]
    if len(numbers) == 3:
        return f"all {what}s are"
    return f"{what} {numbers[0]} is" if len(numbers) == 1 else f"{what}s {' and '.join(numbers)} are"


_YES_NO = (False, True)
_THREE: tuple[tuple[bool, bool, bool], ...] = tuple((a, b, c) for a, b, c in product(_YES_NO, repeat=3))

FAULTS: tuple[Fault, ...] = tuple(
    sorted(
        (
            Fault(mirrored, flipped, (i, j, k), back)
            for mirrored in _YES_NO
            for flipped in _THREE
            for i, j, k in permutations(range(3))
            for back in _THREE
        ),
        key=lambda fault: (fault.count, fault.mirrored, sum(fault.flipped), sum(fault.reversed), fault.order),
    )
)
"""All 768, the plainest first: one as planned, 20 single faults, 138 pairs, and what has three or four kinds."""

_FLIPPED, _ORDER, _REVERSED = (
    np.array([getattr(fault, name) for fault in FAULTS]) for name in ("flipped", "order", "reversed")
)
_MIRRORED = np.array([fault.mirrored for fault in FAULTS])


def predictions(m: Mechanism, mode: NDArray[np.int_], convention: Convention, poses: Floats) -> Floats:
    """Motor changes from home, (768, n, 3) in radians, as the machine would count them under each of `FAULTS`.

    A leg of a mirrored joint at R does the opposite of what the planned one does at M R M, M being the mirror; so
    ``change = -plan(M R M)``. NaN where a leg cannot close.
    """
    mirror = np.eye(3) - 2 * np.outer(_across(m), _across(m))
    changes = {}  # by mirrored and flipped: (n, 3)
    for flipped in _YES_NO:
        side = -mode if flipped else mode
        changes[False, flipped] = _changes(m, side, poses)
        changes[True, flipped] = -_changes(m, side, mirror @ poses @ mirror)
    table = np.array([[changes[mirrored, flipped] for flipped in _YES_NO] for mirrored in _YES_NO])
    legs = np.arange(3)
    in_plan = table[_MIRRORED.astype(int)[:, None], _FLIPPED.astype(int), :, legs].transpose(0, 2, 1)
    theirs = in_plan[:, :, list(convention.leg_order)] * np.array(convention.sense)
    seen = np.take_along_axis(theirs, np.broadcast_to(_ORDER[:, None, :], theirs.shape), axis=2)
    return np.asarray(seen * np.where(_REVERSED, -1, 1)[:, None, :])


def _changes(m: Mechanism, mode: NDArray[np.int_], poses: Floats) -> Floats:
    home = m.home_angles(mode)
    return inverse_kinematics(m, poses, mode, near=home, unreachable="nan") - home


def _across(m: Mechanism) -> Floats:
    """The normal of the plane through z and motor axis 1; where these are one line, the y axis of its frame."""
    level = np.array([-m.base_axes[0, 1], m.base_axes[0, 0], 0.0])
    length = float(np.linalg.norm(level))
    return level / length if length > 1e-9 else m.base_frames[0, :, 1]


def _leg_azimuths(m: Mechanism) -> Floats:
    """Where each leg is round z: its motor axis, or, where that is upright, its platform axis."""
    level = np.where((np.hypot(*m.base_axes.T[:2]) > 1e-9)[:, None], m.base_axes, m.platform_axes)
    return np.asarray(np.arctan2(level[:, 1], level[:, 0]))


def standard(m: Mechanism, tilt: float, yaw: float) -> tuple[tuple[str, ...], Floats]:
    """Eight poses that are easy to set by hand, in words and as (8, 3, 3): yaws, tilts towards and away from legs."""
    names = [f"yaw {yaw / deg:+.4g}°", f"yaw {-yaw / deg:+.4g}°"]
    names += [f"tilt {tilt / deg:.4g}° {way} leg {i}" for way in ("towards", "away from") for i in (1, 2, 3)]
    eta = _leg_azimuths(m)
    tilts = rotation.from_tilt_torsion(tilt, np.concatenate([eta, eta + np.pi]), 0.0)
    return tuple(names), np.concatenate([rotation.rz([yaw, -yaw]), tilts])


def further(m: Mechanism, mode: NDArray[np.int_]) -> tuple[tuple[str, ...], Floats]:
    """Poses among which a deciding one is looked for, those within reach: the standard ones of two sizes, and tilts
    towards every 30° with and without torsion; small ones first.
    """
    names: list[str] = []
    poses = []
    for tilt, yaw in ((15 * deg, 10 * deg), (25 * deg, 20 * deg)):
        told, R = standard(m, tilt, yaw)
        names += told
        poses.append(R)
        for turn in (0.0, yaw, -yaw):
            azimuth = np.arange(0, 360, 30) * deg
            also = f", torsion {turn / deg:+.4g}°" if turn else ""
            names += [f"tilt {tilt / deg:.4g}° towards azimuth {a / deg:.0f}°{also}" for a in azimuth]
            poses.append(rotation.from_tilt_torsion(tilt, azimuth, turn))
    every = np.concatenate(poses)
    reached = np.flatnonzero(~np.isnan(_changes(m, mode, every)).any(axis=1))
    return tuple(names[k] for k in reached), every[reached]


def separations(seen: Floats, one: Floats) -> Floats:
    """The largest difference of each of k predictions, (k, n, 3), from `one`, (n, 3): (k,) in radians.

    NaN, a leg that cannot close, is infinitely far from a number, and like NaN.
    """
    there, has = ~np.isnan(seen), ~np.isnan(one)
    apart = np.where(there == has, np.abs(np.where(there, seen, 0.0) - np.where(has, one, 0.0)), np.inf)
    return np.asarray(apart.max(axis=(1, 2), initial=0.0))
