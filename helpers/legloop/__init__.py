"""legloop: the kinematics of a spherical parallel joint with three legs, closed one leg at a time.

    from legloop import Mechanism, inverse_kinematics, deg, rotation
    hide = Mechanism.symmetric(proximal=60*deg, distal=75*deg, base_cone=45*deg, platform_cone=50*deg)
    inverse_kinematics(hide, rotation.ry(15*deg)) / deg

Angles are radians everywhere; ``deg`` converts. ``R`` takes platform to base coordinates; leading axes are a batch.
"""

from . import rotation
from .errors import SingularError, UnreachableError
from .inverse import WORKING_MODES, closure_error, inverse_kinematics, working_mode
from .mechanism import Mechanism, deg
from .reach import reach_margin

__all__ = [
    "WORKING_MODES",
    "Mechanism",
    "SingularError",
    "UnreachableError",
    "closure_error",
    "deg",
    "inverse_kinematics",
    "reach_margin",
    "rotation",
    "working_mode",
]
