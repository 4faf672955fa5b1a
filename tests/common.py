"""What several test files use."""

import os

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from legloop import Mechanism
from legloop.lesson.cases import named_joints, random_joints

FULL = os.environ.get("LEGLOOP_FULL") == "1"
"""Long proofs are run in full; without it, in part."""


def everyday_and_edge_joints() -> list:
    """Joints for parametrisation: the named ones and four of three unlike legs, in full a dozen."""
    named = [pytest.param(joint, id=name) for name, joint in named_joints().items()]
    return named + [
        pytest.param(joint, id=f"random {i}") for i, joint in enumerate(random_joints(12 if FULL else 4, seed=20))
    ]


def wrapped(theta: np.ndarray, period: float = 2 * np.pi) -> np.ndarray:
    """Angles brought to half a period on either side of zero, for comparing angles modulo a period."""
    return theta - period * np.rint(theta / period)


def limits(m: Mechanism) -> np.ndarray:
    """Least and largest angle between u and R v of each leg, (3, 2)."""
    total = m.proximal + m.distal
    return np.stack([np.abs(m.proximal - m.distal), np.minimum(total, 2 * np.pi - total)], axis=1)


def at_the_edge(m: Mechanism, R: np.ndarray, leg: np.ndarray, end: np.ndarray, inside: np.ndarray) -> np.ndarray:
    """Orientations R, (n, 3, 3), turned the short way until angle(u, R v) of a leg is `inside` one of its limits."""
    u, p = m.base_axes[leg], np.einsum("nij,nj->ni", R, m.platform_axes[leg])
    axis = np.cross(u, p)
    size = np.linalg.norm(axis, axis=1)
    arc = np.arctan2(size, (u * p).sum(axis=1))
    wanted = limits(m)[leg, end] + np.where(end == 0, inside, -inside)
    return Rotation.from_rotvec(((wanted - arc) / size)[:, None] * axis).as_matrix() @ R
