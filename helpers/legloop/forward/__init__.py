"""From three motor angles to the orientation of the platform: all that close, or the one on a known branch.

`follow` is the core of `forward_kinematics`, for callers that know the motor angles at the start and ask many times
a second: columns, as in `closing`, unchecked.
"""

from .branch import follow
from .tracking import assembly_modes, forward_kinematics

__all__ = ["assembly_modes", "follow", "forward_kinematics"]
