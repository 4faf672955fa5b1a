"""From three motor angles to the orientation of the platform: all that close, or the one on a known branch."""

from .tracking import assembly_modes, forward_kinematics

__all__ = ["assembly_modes", "forward_kinematics"]
