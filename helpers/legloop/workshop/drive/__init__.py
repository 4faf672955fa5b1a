"""From a motor to its joint by a toothed belt: geometry, steps, torque, and the ratio that the task needs."""

from .belt import BeltDrive, OpenBelt
from .loop import standard_centre_distance
from .practice import DriveWarning
from .sizing import Sizing, size_drive
from .worst import Worst

__all__ = [
    "BeltDrive",
    "DriveWarning",
    "OpenBelt",
    "Sizing",
    "Worst",
    "size_drive",
    "standard_centre_distance",
]
