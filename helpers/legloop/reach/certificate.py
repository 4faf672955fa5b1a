"""A proof over a whole set of orientations: every leg closes, the normals stay apart, motors and links have room.

`cone` cuts the set into boxes, `bounds` says what holds over a box, `proof` runs the search.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .. import rotation
from .._check import Floats, angles, finite, modes, one, whole
from .._travel import Frozen
from ..mechanism import Mechanism, deg, joint
from .gaps import Links, sized
from .met import Outcome
from .proof import Search

__all__ = ["Certificate", "certify"]


@dataclass(frozen=True, eq=False, repr=False)
class Certificate(Frozen):
    """What `certify` found out. Angles in radians; the text form shows degrees."""

    status: str
    """"proved"; "refuted": an orientation of the set fails; "undecided": neither within the budget."""
    reason: str
    """One sentence: what is proved, what fails at the witness, or what stayed undecided."""
    mode: tuple[int, int, int]
    tilt: float
    torsion: tuple[float, float]
    motor_limits: Floats | None
    """(3, 2): legs, then lowest and highest; None where none were given."""
    gap: float | None
    """How far apart, in metres, the links were asked to stay; None where the proof is about axes alone."""
    boxes: int
    """How many boxes were looked at."""
    start: Floats
    """Motor angles, (3,), at tilt 0 and `start_torsion`: they name the branch. NaN: that leg does not close there."""
    start_torsion: float
    """0 where the set contains the home pose, else the end of the torsion interval that is nearer to 0."""
    least_discriminant: Floats
    """(3,): each leg has D at least this, all over the set. NaN where not proved. This and the next three are bounds:
    sharp to a tenth, and to 0.1°, where few boxes were enough, and looser the more of them the proof itself needs."""
    least_volume: float
    """|det| of the unit normals w x R v / sin(alpha_2) is at least this. NaN where not proved."""
    travel: Floats
    """(3, 2): each motor angle stays between these two, on the branch of `start`. NaN where not proved."""
    least_clearance: float
    """`clearance` is at least this, in metres. NaN where not proved or not asked for."""
    witness: Floats | None = None
    """(3, 3): an orientation of the set that fails; only where refuted."""
    witness_point: tuple[float, float, float] | None = None
    """Its tilt, azimuth and torsion."""
    undecided: Floats = field(default_factory=lambda: np.empty((0, 3, 2)))
    """(n, 3, 2): the boxes left undecided; tilt, azimuth, torsion, then lowest and highest."""

    @property
    def proved(self) -> bool:
        """Whether everything asked for holds at every orientation of the set."""
        return self.status == "proved"

    def __repr__(self) -> str:
        low, high = (f"{x / deg + 0.0:.6g}°" for x in self.torsion)
        signs = " ".join(f"{s:+d}" for s in self.mode)
        claim = f"tilt up to {self.tilt / deg:.6g}°, torsion {low} to {high}, mode {signs}"
        lines = [f"{self.status}: {claim}; {self.boxes} boxes", f"  {self.reason}"]
        if self.proved:
            lines.append(f"  least |det| of the unit normals {self.least_volume:.4g}")
            for i, (D, (a, b)) in enumerate(zip(self.least_discriminant, self.travel, strict=True), start=1):
                lines.append(f"  leg {i}: least D {D:.4g}, motor from {a / deg:.2f}° to {b / deg:.2f}°")
            if self.gap is not None:
                lines.append(f"  links and base at least {1e3 * self.least_clearance:.4g} mm apart")
        if self.witness_point is not None:
            tilt, azimuth, torsion = (f"{x / deg + 0.0:.6g}°" for x in self.witness_point)
            lines.append(f"  witness: tilt {tilt}, azimuth {azimuth}, torsion {torsion}")
        if len(self.undecided):
            lines.append(f"  {len(self.undecided)} boxes undecided")
        return "\n".join(lines)


def certify(
    m: Mechanism,
    mode: ArrayLike,
    *,
    tilt: float,
    torsion: ArrayLike,
    motor_limits: ArrayLike | None = None,
    links: Links | None = None,
    gap: float | None = None,
    budget: int = 1_000_000,
) -> Certificate:
    """Prove, or refute, that the joint can take every orientation up to a tilt, with torsion in an interval.

    The set is ``Rz(azimuth) Ry(delta) Rz(sigma - azimuth)`` with delta in [0, tilt], any azimuth, sigma in `torsion`.
    Proved means, at every orientation of it, a numerical proof: rounding is bounded to the end, as `reach.rounding`
    derives, for the joint with the nearest orthonormal frames. It assumes IEEE 754 arithmetic rounded to nearest and
    NumPy's sin, cos, arctan2, arccos and hypot within four units in the last place.


    1. every leg closes, D >= `.least_discriminant` > 0: no singularity of type 1;
    2. |det| of the unit normals w x R v / sin(alpha_2) is at least `.least_volume` > 0: none of type 2;
    3. each motor angle, followed without a jump, stays within `.travel`, and `.travel` within `motor_limits`;
    4. with `links` and `gap`: `clearance` is at least `.least_clearance`, and that at least `gap`.

    Followed from where: home (R = I), at its angles in (-pi, pi]. If 0 is not in `torsion`, from tilt 0 at the end of
    the interval that is nearer to 0, at its angles in (-pi, pi]; `.start` and `.start_torsion` say so.

    Without `links` the proof speaks of axes and not of material. With them it speaks of the bodies that `clearance`
    compares, and of no others.

    Parameters
    ----------
    m : Mechanism
        The joint.
    mode : (3,)
        Working mode, +1 or -1 for each leg.
    tilt : float
        Largest tilt of the pointing axis, in radians, in [0, pi).
    torsion : (2,)
        Lowest and highest torsion, in radians, in [-2 pi, 2 pi]. Whole turns count: 190° is reached by turning on
        from 170°, and stands a turn of the motors away from -170° where the joint can turn so far.
    motor_limits : (2,) or (3, 2), optional
        Lowest and highest motor angle, of all motors or of each, in radians from theta = 0, in [-4 pi, 4 pi].
    links : Links, optional
        Sizes of the links and of the base.
    gap : float, optional
        How far apart these must stay, in metres, positive; goes with `links`.
    budget : int
        How many boxes may be looked at before the answer is "undecided".

    Returns
    -------
    Certificate
        ``.proved``, the margins, and, where it is not proved, a ``.witness`` that fails or the ``.undecided`` boxes.

    Raises
    ------
    ValueError, TypeError
        An argument is out of its range; the message says which and how to mend it.
    """
    return attempt(m, mode, tilt, torsion, motor_limits, links, gap, budget, sharp=True)


def attempt(
    m: Mechanism,
    mode: ArrayLike,
    tilt: float,
    torsion: ArrayLike,
    motor_limits: ArrayLike | None,
    links: Links | None,
    gap: float | None,
    budget: int,
    *,
    sharp: bool,
) -> Certificate:
    """As `certify`; without `sharp` the margins of a proof may be as loose as they like, which takes fewer boxes."""
    m, signs = joint(m), _mode(mode)
    largest = angles(tilt, "tilt", (), 0.0, np.pi, "[0, pi)").item()
    low, high = _interval(torsion)
    limits = None if motor_limits is None else _limits(motor_limits)
    material = _material(links, gap)
    most = whole(budget, "budget", 1, "boxes")
    search = Search(m, signs.astype(np.float64), largest, (low, high), limits, material, most, sharp)
    return _report(search, search.run(), signs, largest, (low, high))


def _report(
    search: Search, failure: Outcome | None, mode: NDArray[np.int_], tilt: float, torsion: tuple[float, float]
) -> Certificate:
    material = search.met.material
    axes = "every leg closes and the normals w x R v stay apart"
    outcome = failure or Outcome("proved", axes + ("" if material is None else ", and so do links and base"))
    at, left, proved = outcome.witness, outcome.undecided, failure is None
    low, high, (volume, *gap) = np.split(search.least, [3, 6])
    return Certificate(
        status=outcome.status,
        reason=outcome.reason,
        mode=(int(mode[0]), int(mode[1]), int(mode[2])),
        tilt=tilt,
        torsion=torsion,
        motor_limits=search.met.limits,
        gap=None if material is None else material[1],
        boxes=search.boxes,
        start=search.start(),
        start_torsion=float(search.origin[2]),
        least_discriminant=search.met.least_D if proved else np.full(3, np.nan),
        least_volume=float(volume) if proved else np.nan,
        travel=np.column_stack([low, -high]) if proved else np.full((3, 2), np.nan),
        least_clearance=float(gap[0]) if proved and gap else np.nan,
        witness=None if at is None else rotation.from_tilt_torsion(*at),
        witness_point=None if at is None else (float(at[0]), float(at[1]), float(at[2])),
        undecided=np.empty((0, 3, 2)) if left is None else np.swapaxes(left.ends(), 0, 1),
    )


def _mode(value: ArrayLike) -> NDArray[np.int_]:
    signs = modes(value)
    if signs.shape != (3,):
        raise ValueError(f"mode has shape {signs.shape}; a certificate is about one mode, so its shape must be (3,)")
    return signs


def _interval(value: ArrayLike) -> tuple[float, float]:
    low, high = angles(value, "torsion", (2,), -2 * np.pi, 2 * np.pi, "[-2 pi, 2 pi]").tolist()
    if low > high:
        raise ValueError(f"torsion runs from {low:g} to {high:g} rad; give the lower end first, as (-20*deg, 20*deg)")
    return low, high


def _limits(value: ArrayLike) -> Floats:
    shape = np.shape(finite(value, "motor_limits", 2))
    if shape not in ((2,), (3, 2)):
        raise ValueError(
            f"motor_limits has shape {shape}; give (2,), lowest and highest for all motors, or (3, 2), a row for each"
        )
    limits = np.array(
        np.broadcast_to(angles(value, "motor_limits", shape, -4 * np.pi, 4 * np.pi, "[-4 pi, 4 pi]"), (3, 2))
    )
    for i, (low, high) in enumerate(limits):
        if low >= high:
            raise ValueError(
                f"motor_limits of motor {i + 1} run from {low:g} to {high:g} rad; give the lower end first"
            )
    return limits


def _material(links: Links | None, gap: float | None) -> tuple[Links, float] | None:
    if links is None and gap is None:
        return None
    if links is None or gap is None:
        raise TypeError("links and gap go together: the sizes of the bodies, and how far apart they must stay")
    bodies, wanted = sized(links), one(gap, "gap")
    farthest = float(2 * bodies.radius.max() + bodies.thickness.max())
    if not 0 < wanted < farthest:
        hint = f"; millimetres are written {wanted:g}e-3" if wanted >= farthest else ""
        raise ValueError(
            f"gap is {wanted:g} m; it must be positive and below {farthest:.4g} m, since no two of these links are "
            f"ever farther apart{hint}"
        )
    return bodies, wanted
