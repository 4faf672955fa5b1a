"""How exact the answers are, from the middle of the reach to its edge, over many poses."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from common import FULL, at_the_edge, everyday_and_edge_joints, limits
from legloop import (
    WORKING_MODES,
    closure_error,
    deg,
    forward_kinematics,
    inverse_kinematics,
    reach_margin,
)
from legloop.lesson.cases import random_orientations
from poses import normals

EPS = np.finfo(float).eps
by_joint = pytest.mark.parametrize("m", everyday_and_edge_joints())


LEGS = 10_000_000 if FULL else 300_000
"""Of all joints together."""


@by_joint
def test_the_closures_of_ten_million_legs(m):
    """1e-12 is promised, anywhere within reach. Measured: 1.5e-15; the test holds 1e-14.

    Half of the poses are random. In the other half one leg is brought to 0.1 to 1e-17 rad from an end of its reach.
    There theta is unsure by EPS / sqrt(D), up to 6e-8, but it hardly matters: the closure is flat there, its slope is
    sqrt(D), which leaves EPS, and its curvature is below 1, which leaves the square, 4e-15. Beyond the edge itself a
    leg counts as closing while |c| is at most 16 EPS = 3.6e-15 above sqrt(a^2 + b^2); it misses by just that.
    """
    share, rng = LEGS / len(everyday_and_edge_joints()), np.random.default_rng(11)
    legs, worst, nearest = 0, 0.0, np.full((3, 2), np.inf)
    while legs < share:
        R = random_orientations(10_000, int(rng.integers(2**31)))
        leg, end, half = rng.integers(0, 3, 5_000), rng.integers(0, 2, 5_000), slice(5_000)
        R[half] = at_the_edge(m, R[half], leg, end, 10 ** rng.uniform(-17, -1, 5_000))
        mode = WORKING_MODES[rng.integers(0, 8, 10_000)]
        theta = inverse_kinematics(m, R, mode, unreachable="nan")
        closes = np.isfinite(theta)
        miss = np.abs(closure_error(m, R, np.nan_to_num(theta)))[closes]
        legs, worst = legs + closes.sum(), max(worst, miss.max())
        margin = np.where(closes, np.abs(reach_margin(m, R)), np.inf)
        for which in range(3):
            for side in range(2):
                mine = margin[half][(leg == which) & (end == side), which]
                nearest[which, side] = min(nearest[which, side], mine.min())
    assert worst < 1e-14
    # each leg was brought to both ends; with all arcs 90° any angle closes within 16 EPS of them, and none is given
    assert nearest.max() < (1e-15 if limits(m).min() > 0 else 20 * EPS)


@by_joint
def test_there_and_back(m):
    """From orientations to motor angles and back, by 0.3° from a near one: 1e-9 is promised away from singular poses.

    An error e of a closure turns the platform by up to sqrt(3) e / sigma, with sigma the least singular value of the
    normals, and an error of theta counts |n . u| times in the closure. That of theta is a few EPS (1 + 1 / |n . u|),
    so that nothing but 1 / sigma is left of the condition: some ten roundings of numbers of size 1 or pi, over sigma.
    """
    R = random_orientations(4_000 if FULL else 400, seed=13)
    R = R[(reach_margin(m, R) > 1 * deg).all(axis=1)][:, None]
    theta = inverse_kinematics(m, R, WORKING_MODES)
    sigma = np.linalg.svd(normals(m, R, theta), compute_uv=False)[..., 2]
    regular = sigma > 0.05
    assert (regular.sum(axis=0) > 50).all()  # in every mode
    aside = np.random.default_rng(14).normal(size=(len(R), 3))
    aside *= 0.3 * deg / np.linalg.norm(aside, axis=1, keepdims=True)
    near = Rotation.from_rotvec(aside).as_matrix()[:, None] @ R
    found = forward_kinematics(m, theta, near=near, mode=WORKING_MODES, unreachable="nan")
    miss = np.linalg.norm(found - R, axis=(-1, -2))[regular]
    assert (miss * sigma[regular]).max() < 1e-14  # nor is NaN, a pose without an answer, less than that
