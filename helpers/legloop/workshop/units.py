"""The units that stand on drawings and data sheets: ``2*mm`` writes a length in metres, ``300*rpm`` a speed in rad/s.

Functions take and give SI units, so a length in millimetres has to be multiplied somewhere. Written so, as ``60*deg``
writes an angle, the unit stands beside the number where a reader sees it; and ``x/mm`` reads a length back.
"""

from __future__ import annotations

import math

__all__ = ["mm", "rpm"]

mm = 1e-3
"""One millimetre in metres."""

rpm = 2 * math.pi / 60
"""One revolution per minute in radians per second."""
