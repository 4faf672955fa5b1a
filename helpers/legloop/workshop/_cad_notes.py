"""What a builder should know about nine lines that were accepted: likely mistakes, and remarks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..mechanism import Mechanism, deg
from ._placing import runs_counter_clockwise

__all__ = ["BENT", "doubts", "remarks"]

BENT = 3 * deg
"""An elbow that is bent by less may be on either side: a degree in a line that was measured could turn the mode."""

LIKE_90 = 10.01 * deg
"""Within this of 90° the eye does not tell an arc from 180° less that arc."""

ALIKE = 0.05 * deg
"""Within this of 90° the two are the same for any builder."""


def doubts(m: Mechanism, mode: NDArray[np.int_]) -> list[str]:
    """What is possible, and more often a mistake."""
    found = []
    motors, hinges = runs_counter_clockwise(m.base_axes), runs_counter_clockwise(m.platform_axes)
    if (hinges if motors is None else motors) is False:
        found.append(
            "the legs are numbered clockwise seen from +z. All formulas hold, but lessons and bench cards count them "
            "counter-clockwise: exchange legs 2 and 3 in points and directions; or, if motors sit above the centre, "
            "pass up="
        )
    if None not in (motors, hinges) and motors != hinges:
        found.append(
            "the platform axes run round the other way than the motor axes: legs cross; check that each platform "
            "axis is entered with its own leg; or, if motors sit above the centre or hinges below it, pass up= or "
            "pointing="
        )
    found += [
        f"leg {i + 1} is stretched or folded in the pose drawn (its elbow is bent by less than {BENT / deg:g}°), so "
        "its working mode is not known: draw another pose"
        for i in np.flatnonzero(mode == 0).tolist()
    ]
    known = np.where(mode == 0, 1, mode)
    try:
        m.home_angles(known)
    except ValueError as error:
        found.append(
            f"home (R = I) cannot serve as the pose to count from: {error}; or pass twist=, the azimuth at which the "
            "platform axis of leg 1 stands beyond its motor axis when the platform is where you call it level"
        )
    return found


def remarks(m: Mechanism, coaxial: bool, flat: bool) -> list[str]:
    """What is as it should be, and worth knowing."""
    found = []
    if coaxial:
        found.append("the motor axes are one line: x is chosen so that the pose drawn has no torsion")
    if flat:
        found.append(
            "the motor axes lie in one plane; +z is the side from which the legs run round as they do on the "
            "platform, seen from its +z. Pass up= to state it"
        )
    for name, arcs in (("alpha_1", m.proximal), ("alpha_2", m.distal)):
        off = np.abs(arcs - np.pi / 2)
        alike = np.flatnonzero((off < LIKE_90) & (off > ALIKE)).tolist()
        if alike:
            shown = " and ".join(sorted({f"{arcs[i] / deg:.1f}° like {180 - arcs[i] / deg:.1f}°" for i in alike}))
            found.append(
                f"{name} is near 90° in leg {', '.join(str(i + 1) for i in alike)}: {shown} looks to the eye, and a "
                "point on the wrong end of an axis turns one into the other. Is each point at its bearing?"
            )
    return found
