"""Where the joint can go: how far each leg is from its edge, proofs over whole sets, and gaps between the links."""

from .certificate import Certificate, certify
from .gaps import Clearance, Links, clearance
from .largest import LargestTilt, largest_tilt
from .margin import reach_margin

__all__ = ["Certificate", "Clearance", "LargestTilt", "Links", "certify", "clearance", "largest_tilt", "reach_margin"]
