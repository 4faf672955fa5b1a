"""The scrubbers: pictures of the joint, its legs and its equation that follow sliders.

Each function here gives a `Scrubber`: put it on the last line of a cell. Where no front end is, the cell shows
its picture and the words for it.
"""

from ..scrubber import Scrubber
from .assembly import scrub_assembly
from .joint import joint_rows, scrub_joint
from .one_leg import scrub_equation, scrub_leg
from .turning import scrub_frames, scrub_order, scrub_rotation

__all__ = [
    "Scrubber",
    "joint_rows",
    "scrub_assembly",
    "scrub_equation",
    "scrub_frames",
    "scrub_joint",
    "scrub_leg",
    "scrub_order",
    "scrub_rotation",
]
