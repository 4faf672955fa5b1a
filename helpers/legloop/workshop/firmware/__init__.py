"""The joint for a microcontroller: one C header that stands alone, and the numbers to check it or another by."""

from .header import write_header
from .limits import LimitsWarning
from .settings import Status, angle_error
from .vectors import write_vectors

__all__ = ["LimitsWarning", "Status", "angle_error", "write_header", "write_vectors"]
