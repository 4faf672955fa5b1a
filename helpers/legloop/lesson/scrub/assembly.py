"""Every orientation that closes at three motor angles, side by side."""

from __future__ import annotations

from math import pi
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from ... import rotation
from ..._check import angles
from ...errors import SingularError
from ...forward import assembly_modes
from ...inverse import working_mode
from ...mechanism import Mechanism, joint
from ...velocity import singularity
from ..controls import dial, table
from ..draw import VIEW, draw_joint, turned
from ..legs import SIDES, WALK
from ..picture import Picture, beside, degrees, number, stacked
from ..scrubber import Scrubber, Shown, State
from .start import view_dials, view_of

__all__ = ["scrub_assembly"]


def scrub_assembly(
    m: Mechanism, theta: ArrayLike | None = None, *, view: tuple[float, float] = VIEW, size: float = 230.0
) -> Scrubber:
    """Three motor angles, and a picture of every orientation of the platform that closes there.

    In the upper row det N > 0, in the lower row det N < 0, N the normals ``w x R v``: two orientations that come
    together and vanish stand one in each row. Where nothing closes, or a whole curve of orientations, the picture
    shows the first links alone.

    Controls for `set`: theta_1, theta_2, theta_3, view_azimuth, view_elevation; angles in radians. The motors start
    at `theta`, (3,), or at home in mode +1. ValueError, TypeError for what is no joint, for motor angles outside
    [-pi, pi], for a view or size out of range.
    """
    joint(m)
    start = m.home_angles() if theta is None else angles(theta, "theta", (3,), -pi, pi, "[-pi, pi]")
    motors = {f"theta_{i + 1}": dial(f"motor angle θ{i + 1}", float(start[i]), -pi, pi) for i in range(3)}

    def show(state: State) -> Shown:
        motor_angles = np.array([state[name] for name in motors])
        look: dict[str, Any] = {"view": view_of(state), "size": size, "frames": (), "walk": True}
        told = f"Motors at {', '.join(map(degrees, motor_angles.tolist()))}: "
        try:
            found, count = assembly_modes(m, motor_angles, multiplicities=True)
            told += f"{len(found) or 'no'} orientation{'s close' if len(found) != 1 else ' closes'}."
        except SingularError as error:
            found, count = np.empty((0, 3, 3)), np.empty(0, dtype=int)
            told += f"{error}."
        if not len(found):
            bare = draw_joint(m, np.eye(3), motor_angles, links=1, platform=False, **look)
            return Picture(bare.svg, told), f"<p>{told}</p>"
        volume = singularity(m, found, motor_angles).volume
        rows = [row for row in (np.flatnonzero(volume > 0), np.flatnonzero(volume <= 0)) if row.size]
        drawn = [
            beside([draw_joint(m, found[k], motor_angles, caption=f"{k + 1}", **look) for k in row]) for row in rows
        ]
        elbows = working_mode(m, found, motor_angles)
        cells, words = [], []
        for k in np.concatenate(rows).tolist():
            name, det = f"{k + 1}", number(float(volume[k]), 3)
            tilt = map(degrees, map(float, rotation.to_tilt_torsion(found[k])))
            sides = "  ".join(SIDES.get(s, "in line") for s in elbows[k].tolist())
            cells.append([name, *tilt, sides, det, ("", "single", "double", "triple")[count[k]]])
            words.append(f"{name}: {turned(found[k])}, det N {det}")
        head = ("", "tilt", "azimuth of tilt", "torsion", "elbows 1, 2, 3", "det N", "root")
        note = f"<p>{told}</p>{table(head, cells)}<p>Elbows: {WALK}.</p>"
        return Picture(stacked(drawn).svg, f"{told} {'; '.join(words)}."), note

    return Scrubber(motors | view_dials(view), show, wide=True)
