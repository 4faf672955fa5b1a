"""What several test files use."""

import numpy as np
import pytest

from legloop import Mechanism
from legloop.lesson.cases import bird_hide, named_joints, random_joints


@pytest.fixture
def hide() -> Mechanism:
    return bird_hide()


def everyday_and_edge_joints() -> list:
    """Joints for parametrisation: the named ones and a dozen of three unlike legs."""
    named = [pytest.param(joint, id=name) for name, joint in named_joints().items()]
    return named + [pytest.param(joint, id=f"random {i}") for i, joint in enumerate(random_joints(12, seed=20))]


def cone_of(theta: np.ndarray, period: float = 2 * np.pi) -> np.ndarray:
    """Angles brought to the half-open turn around zero, for comparing angles modulo a period."""
    return theta - period * np.rint(theta / period)
