"""Where the joint can go: how far each leg is from its edge, proofs over whole sets, and gaps between the links.

`ball` gives bounds near an orientation, for callers inside the package that prove something all along a path:
unchecked, as `closing`.
"""

from .ball import Ball, ball
from .certificate import Certificate, certify
from .gaps import Clearance, Links, clearance
from .largest import LargestTilt, largest_tilt
from .margin import reach_margin

__all__ = [
    "Ball",
    "Certificate",
    "Clearance",
    "LargestTilt",
    "Links",
    "ball",
    "certify",
    "clearance",
    "largest_tilt",
    "reach_margin",
]
