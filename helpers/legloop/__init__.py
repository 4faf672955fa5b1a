"""legloop: the kinematics of a spherical parallel joint with three legs, closed one leg at a time.

    from legloop import Mechanism, inverse_kinematics, deg, rotation
    hide = Mechanism.symmetric(proximal=60*deg, distal=75*deg, base_cone=45*deg, platform_cone=50*deg)
    inverse_kinematics(hide, rotation.ry(15*deg)) / deg

Angles are radians everywhere; ``deg`` converts. ``R`` takes platform to base coordinates; leading axes are a batch.
"""

from . import rotation
from .convention import Convention, align_axes, fit_convention, zero_from_elbows
from .crossing import PathSingularity, path_singularity
from .errors import AmbiguousError, MirroredError, SingularError, UnreachableError
from .forward import assembly_modes, forward_kinematics
from .inverse import WORKING_MODES, closure_error, inverse_kinematics, working_mode
from .mechanism import Mechanism, deg
from .reach import Certificate, Clearance, LargestTilt, Links, certify, clearance, largest_tilt, reach_margin
from .velocity import (
    Singularity,
    dexterity,
    inverse_jacobian,
    jacobian,
    payload_moment,
    singularity,
    static_torque,
)

__all__ = [
    "WORKING_MODES",
    "AmbiguousError",
    "Certificate",
    "Clearance",
    "Convention",
    "LargestTilt",
    "Links",
    "Mechanism",
    "MirroredError",
    "PathSingularity",
    "SingularError",
    "Singularity",
    "UnreachableError",
    "align_axes",
    "assembly_modes",
    "certify",
    "clearance",
    "closure_error",
    "deg",
    "dexterity",
    "fit_convention",
    "forward_kinematics",
    "inverse_jacobian",
    "inverse_kinematics",
    "jacobian",
    "largest_tilt",
    "path_singularity",
    "payload_moment",
    "reach_margin",
    "rotation",
    "singularity",
    "static_torque",
    "working_mode",
    "zero_from_elbows",
]
