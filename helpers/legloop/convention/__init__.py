"""Somebody else's frame, signs, zeros and leg numbers: a paper's, or those of the built machine."""

from .alignment import align_axes, zero_from_elbows
from .fitting import FittedConvention, fit_convention
from .frames import Convention

__all__ = ["Convention", "FittedConvention", "align_axes", "fit_convention", "zero_from_elbows"]
