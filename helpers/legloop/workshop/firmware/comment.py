"""The comment at the top of the header: the joint and the limits of its motors in words."""

from __future__ import annotations

from textwrap import wrap

import numpy as np

from ...convention import Convention
from ...mechanism import deg
from .limits import Limits
from .settings import Settings

__all__ = ["about", "limits", "singular"]

WIDTH = 115
"""Of a line behind "// ": 118 in all, as everywhere here."""


def about(given: Settings) -> list[str]:
    """The joint, its mode, the machine and the drive, in lines."""
    signs = ", ".join(f"{s:+d}" for s in given.mode)
    parts = [repr(given.m), f"Working mode ({signs}), legs in the order of legloop"]
    if given.convention != Convention():
        parts.append(repr(given.convention))
    if given.drive is not None:
        parts.append(repr(given.drive))
    lines = _plain("\n".join(parts)).splitlines()
    return [part for line in lines for part in wrap(line, WIDTH, subsequent_indent=" " * 6, break_on_hyphens=False)]


def limits(given: Settings) -> list[str]:
    """The limits in degrees, in both countings, and what is to be said of home."""
    if given.limits is None:
        return ["none were given: the header does NOT check how far a motor turns."]
    lines = [f"in degrees; {given.limits.told}."]
    lines += [_both(given.limits, given.convention, k) for k in range(3)]
    home = given.home
    if home is not None:
        told = ", ".join(_degrees(angle) for angle in home)
        lines.append(f"At home (R = I) the motors stand at {told} as the machine counts.")
    lines += [f"CAUTION: {_plain(note)}." for note in given.notes]
    return [part for line in lines for part in wrap(line, WIDTH - 14, subsequent_indent="  ")]


def singular(given: Settings) -> list[str]:
    """How near to singular poses it comes, and what V can do within a tick, in lines."""
    elbow, volume, tick = given.floors.elbow, given.floors.volume, given.floors.tick(given.m, given.eps)
    links = f"within {elbow / deg:.3g} deg of folded or stretched" if elbow else "just folded or stretched"
    refused = "is refused" if elbow else "is NOT refused"
    lines = [
        f"a leg whose links are {links} {refused}: there its motor would have to race (type 1).",
        "V is the determinant of the unit normals w x R v / sin(alpha_2), legs in the order of legloop. Where it is "
        "0 the platform goes limp (type 2): the motors cannot hold it, and slower does not help. "
        f"Where |V| is below {volume:g} a pose is refused; elsewhere the platform turns by at most "
        f"{given.floors.play:.3g} times what the legs miss. legloop_track refuses a V of another sign than the last. "
        "Two samples CANNOT see V pass zero and come back between them. It does not do so where in one tick the path "
        f"of the platform is at most {_down(tick)} rad, and that of each motor as well: choose a tick that short.",
    ]
    return [part for line in lines for part in wrap(line, WIDTH - 14)]


def _down(value: float) -> str:
    """Two digits, rounded down."""
    unit = 10 ** (np.floor(np.log10(value)) - 1)
    return f"{np.floor(value / unit) * unit:.2g}"


def _both(of: Limits, convention: Convention, k: int) -> str:
    leg = convention.leg_order[k]
    theirs, ours = (f"{_degrees(low)} to {_degrees(high)}" for low, high in (of.theirs[k], of.ours[leg]))
    return f"Motor {k + 1}: {theirs} as the machine counts, {ours} as legloop does (its leg {leg + 1})."


def _degrees(angle: float) -> str:
    return f"{angle / deg + 0.0:.2f}" if np.isfinite(angle) else "no end"


def _plain(text: str) -> str:
    """Only letters that every compiler reads."""
    return text.replace("°", " deg").encode("ascii", "replace").decode("ascii")
