"""Where the built joint stands, from measured poses: zeros, frames, its own errors, and how sure each of them is."""

from .fit import calibrate
from .result import Calibration, Finding, pose_errors
from .unseen import Unseen

__all__ = ["Calibration", "Finding", "Unseen", "calibrate", "pose_errors"]
