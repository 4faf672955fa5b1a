"""The errors of the package; each is a ValueError, so that one except clause catches any of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ._travel import TravellingError

__all__ = ["AmbiguousError", "MirroredError", "SingularError", "UnreachableError"]


class UnreachableError(TravellingError):
    """A leg cannot close: its links are too short, or too long, for the orientation asked for.

    Attributes
    ----------
    pose : tuple of int
        Index of the first such orientation in the batch; ``()`` when a single one was asked for.
    leg : int
        Index of the leg of that pose that is farthest from closing: 0, 1, 2 as in arrays. The message
        counts legs 1, 2, 3 as drawings do.
    shortfall : float
        How far that leg is from closing, in radians, positive (the negative of its reach margin).
    correction : (3,) array or None
        A rotation vector in base coordinates, in radians. Turned by it, the pose is within reach of all
        three legs: ``from_rotation_vector(correction) @ R``. None where no such turn was found.
    count : int
        How many poses of the batch cannot be reached.
    """

    def __init__(
        self,
        message: str,
        *,
        pose: tuple[int, ...],
        leg: int,
        shortfall: float,
        correction: NDArray[np.float64] | None,
        count: int,
    ) -> None:
        super().__init__(message)
        self.pose = pose
        self.leg = leg
        self.shortfall = shortfall
        self.correction = correction
        self.count = count


class SingularError(TravellingError):
    """A question that has no definite answer in this pose, such as a motor angle that may be anything.

    Attributes
    ----------
    pose : tuple of int
        Index of the first such pose in the batch; ``()`` for a single one.
    leg : int or None
        Index of the leg, 0, 1, 2; None where no single leg is to blame.
    kind : int
        Singular type: 1, a leg is folded or stretched; 2, the normals w x R v are coplanar; 3, both.
        0 where the platform axis of a leg lies along its motor axis.
    """

    def __init__(self, message: str, *, pose: tuple[int, ...], leg: int | None = None, kind: int = 0) -> None:
        super().__init__(message)
        self.pose = pose
        self.leg = leg
        self.kind = kind


class MirroredError(TravellingError):
    """Two descriptions of a joint that no rotation brings together, while a mirror image or a renumbering does.

    Attributes
    ----------
    left_handed : bool
        A mirror image fits as the legs are numbered: a left-handed frame, or all axes reversed, explains it.
    renumberings : tuple of tuples of int
        Orders of the legs in which a rotation fits: rows ``theirs[list(order)]`` in `align_axes`, rows
        ``m.platform_axes[list(order)]`` in `fit_convention`. Empty when there is none, which leaves the mirror image
        as the only explanation. With both, the axes cannot tell which it is.
    """

    def __init__(self, message: str, *, left_handed: bool, renumberings: tuple[tuple[int, ...], ...]) -> None:
        super().__init__(message)
        self.left_handed = left_handed
        self.renumberings = renumberings


class AmbiguousError(TravellingError):
    """Motor angles that may have been reached from `near` with one elbow of a leg or with the other.

    Attributes
    ----------
    pose : tuple of int
        Index of the first such pose in the batch; ``()`` for a single one.
    legs : tuple of int
        The legs in doubt: 0, 1, 2 as in arrays.
    modes : (k, 3) array of int
        The working modes at `near` that the legs may have had: +1 or -1 for each leg.
    orientations : (k, 3, 3) array
        Where the platform would stand with each of them; NaN where that branch ends on the way.
    """

    def __init__(
        self,
        message: str,
        *,
        pose: tuple[int, ...],
        legs: tuple[int, ...],
        modes: NDArray[np.int_],
        orientations: NDArray[np.float64],
    ) -> None:
        super().__init__(message)
        self.pose = pose
        self.legs = legs
        self.modes = modes
        self.orientations = orientations
