"""What is wrong beyond small corrections, in words."""

from __future__ import annotations

import numpy as np

from ..._check import Floats
from ...convention import Convention
from ...convention.alignment import in_words
from ...mechanism import deg
from .hypotheses import Slip
from .result import Finding

__all__ = ["misfit", "nothing_fits", "recounted", "slip_found", "teeth_off"]

_NEAR = 0.25  # of a tooth: zeros further from whole teeth were moved by something else


def recounted(believed: Convention, found: Convention) -> list[Finding]:
    """Senses and leg order that differ from those believed."""
    findings = []
    if believed.leg_order != found.leg_order:
        findings.append(
            Finding(
                "leg_order",
                None,
                None,
                f"their legs 1, 2, 3 are our legs {in_words(found.leg_order)}, not {in_words(believed.leg_order)}: "
                "two motor cables are exchanged, or the numbers",
            )
        )
    for k, (old, new) in enumerate(zip(believed.sense, found.sense, strict=True)):
        if old != new:
            findings.append(
                Finding(
                    "sense",
                    found.leg_order[k],
                    None,
                    f"their motor {k + 1} counts the other way: its sense is {new:+d}, not {old:+d}",
                )
            )
    return findings


def slip_found(slip: Slip, tooth: float) -> Finding:
    """A belt that slipped in the course of the session."""
    size = abs(slip.teeth)
    return Finding(
        "slip",
        slip.leg,
        slip.pose,
        f"the belt of our leg {slip.leg + 1} slipped by {size} {'tooth' if size == 1 else 'teeth'} "
        f"({slip.teeth * tooth / deg:+.2f}° of our angle) before pose {slip.pose}; the zeros are those after it",
    )


def teeth_off(start: Convention, zero: Floats, sigma: Floats, tooth: float, known: list[Finding]) -> list[Finding]:
    """Zeros (3,) that are a whole number of teeth from those believed, except where a slip was found already.

    Only where the zero is known well enough to tell one tooth from none.
    """
    findings = []
    explained = {finding.leg for finding in known if finding.kind == "slip"}
    for k, (leg, shift, error) in enumerate(zip(start.leg_order, zero - start.zero, sigma, strict=True)):
        teeth = round(float(shift) / tooth)
        near = abs(shift - teeth * tooth) < min(_NEAR * tooth, 3 * error)
        if teeth and near and 3 * error < tooth / 2 and leg not in explained:
            count = f"{abs(teeth)} {'tooth makes' if abs(teeth) == 1 else 'teeth make'}"
            findings.append(
                Finding(
                    "teeth",
                    leg,
                    None,
                    f"the zero of their motor {k + 1} is {shift / deg:+.2f}° ± {error / deg:.2f}° from where it was "
                    f"believed, and {count} {teeth * tooth / deg:+.2f}°: look whether its belt has slipped",
                )
            )
    return findings


def misfit(residual: float, sensor: float) -> Finding:
    """A residual that the stated errors do not explain."""
    return Finding(
        "misfit",
        None,
        None,
        f"the poses scatter by {residual / deg:.2f}° about each axis, {residual / sensor:.1f} times the error stated "
        "for the sensor: play, a sensor that moves on its mount, a heading that drifts (free 'drift'), a belt that "
        "slipped (give tooth=), or a joint that is not as drawn (free its arcs)",
    )


def nothing_fits(scale: float, home: tuple[tuple[int, ...], float] | None = None) -> ValueError:
    """The error for data that no frames and zeros explain; `scale` is inf where no orientation closes.

    home : the working mode and the scale of zeros at home, if they do better.
    """
    if np.isinf(scale):
        told = "hardly any pose can be followed from home, R = I, by forward kinematics"
        repair = (
            "are these angles those of this joint, not of the motor shaft, is start.zero within 15° or so, and does "
            "the joint close at home?"
        )
    else:
        told = f"the best frames and zeros leave the poses {scale / deg:.1f}° off about each axis"
        repair = (
            "look at start (zeros within 15° or so, senses, leg order), at the joint's numbers, and whether each row "
            "of angles belongs to its orientation"
        )
    if home is not None:
        repair = (
            f"but zeros of a machine that was cleared at home leave {home[1] / deg:.2g}°: give "
            f"start=Convention(zero=m.home_angles({home[0]})), with your senses and leg order"
        )
    return ValueError(f"nothing fits: {told}; {repair}")
