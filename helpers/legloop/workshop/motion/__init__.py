"""From a joystick or a log to motor steps in time, within speed, acceleration and travel of the motors."""

from .faults import Fault
from .jogging import jog
from .limits import MotionLimits
from .path import interpolate
from .planning import plan, plan_blocks
from .result import MotionError, MotionPlan, Report, read_motion, write_motion
from .stop import Stop, stop
from .tick import Jog

__all__ = [
    "Fault",
    "Jog",
    "MotionError",
    "MotionLimits",
    "MotionPlan",
    "Report",
    "Stop",
    "interpolate",
    "jog",
    "plan",
    "plan_blocks",
    "read_motion",
    "stop",
    "write_motion",
]
