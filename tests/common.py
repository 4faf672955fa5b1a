"""What several test files use."""

import os

import numpy as np
import pytest

from legloop.lesson.cases import named_joints, random_joints

FULL = os.environ.get("LEGLOOP_FULL") == "1"
"""Long proofs are run in full; without it, in part."""


def everyday_and_edge_joints() -> list:
    """Joints for parametrisation: the named ones and a dozen of three unlike legs."""
    named = [pytest.param(joint, id=name) for name, joint in named_joints().items()]
    return named + [pytest.param(joint, id=f"random {i}") for i, joint in enumerate(random_joints(12, seed=20))]


def wrapped(theta: np.ndarray, period: float = 2 * np.pi) -> np.ndarray:
    """Angles brought to half a period on either side of zero, for comparing angles modulo a period."""
    return theta - period * np.rint(theta / period)
