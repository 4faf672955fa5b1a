"""Seeded joints and poses that the lessons and the tests check against: random ones, and the edges by name."""

from __future__ import annotations

from typing import Any

import numpy as np

from .. import Mechanism, deg, reach_margin, rotation
from .._check import Floats, one, whole

__all__ = ["bird_hide", "bird_hide_camera", "named_joints", "random_joints", "random_orientations", "reachable"]


def bird_hide() -> Mechanism:
    """The joint of the lessons: the camera head of a bird hide. Links 60° and 75°, cones 45° and 50°."""
    return Mechanism.symmetric(proximal=60 * deg, distal=75 * deg, base_cone=45 * deg, platform_cone=50 * deg)


def bird_hide_camera() -> dict[str, Any]:
    """What the bird hide carries, as arguments of every function in which a weight acts: mass, offset, up.

    0.9 kg, its centre of mass 60 mm out along the lens and 10 mm above it. The joint lies on its side: z looks out of
    the window, and base x is up.
    """
    return {"mass": 0.9, "offset": (0.010, 0.0, 0.060), "up": (1.0, 0.0, 0.0)}


def named_joints() -> dict[str, Mechanism]:
    """Joints at the edges of the formulas, all of which close at home, by name."""
    right = 90 * deg
    orthogonal = np.stack([np.roll(np.eye(3), -k, axis=1) for k in range(3)])
    return {
        "bird hide": bird_hide(),
        "coaxial": Mechanism.symmetric(proximal=75 * deg, distal=80 * deg, base_cone=0, platform_cone=60 * deg),
        "all arcs 90°": Mechanism(orthogonal, np.roll(np.eye(3), 1, axis=1), right, right),
        "first link 90°": Mechanism.symmetric(
            proximal=right, distal=70 * deg, base_cone=30 * deg, platform_cone=40 * deg
        ),
        "flat base": Mechanism.symmetric(proximal=65 * deg, distal=80 * deg, base_cone=right, platform_cone=40 * deg),
        "twisted": Mechanism.symmetric(
            proximal=70 * deg, distal=85 * deg, base_cone=35 * deg, platform_cone=55 * deg, twist=40 * deg
        ),
        "uneven azimuths": Mechanism.symmetric(
            proximal=60 * deg,
            distal=75 * deg,
            base_cone=45 * deg,
            platform_cone=50 * deg,
            azimuths=(10 * deg, 100 * deg, 250 * deg),
        ),
    }


def random_orientations(count: int, seed: int) -> Floats:
    """Rotation matrices, (count, 3, 3), spread evenly over all orientations: normalised Gaussian quaternions.

    TypeError, ValueError for a count or a seed that is no whole number from 0 on; so for `random_joints` and
    `reachable`.
    """
    q = _random(count, seed).normal(size=(count, 4))
    return rotation.from_quaternion(q / np.linalg.norm(q, axis=1, keepdims=True))


def random_joints(count: int, seed: int) -> list[Mechanism]:
    """So many joints of three unlike legs: random frames, axes and arcs, each with some pose within reach."""
    rng = _random(count, seed)
    joints: list[Mechanism] = []
    while len(joints) < count:
        axes = rng.normal(size=(3, 3))
        joint = Mechanism(
            random_orientations(3, int(rng.integers(2**31))),
            axes / np.linalg.norm(axes, axis=1, keepdims=True),
            rng.uniform(30 * deg, 120 * deg, 3),
            rng.uniform(40 * deg, 130 * deg, 3),
        )
        trial = random_orientations(200, int(rng.integers(2**31)))
        if (reach_margin(joint, trial) > 1 * deg).all(axis=1).sum() >= 10:
            joints.append(joint)
    return joints


def reachable(m: Mechanism, count: int, seed: int, margin: float = 1 * deg) -> Floats:
    """Orientations, (count, 3, 3), at which every leg of m closes with a margin to spare, in radians.

    Raises ValueError when hardly any orientation does.
    """
    _random(count, seed)  # checks them
    least, found = one(margin, "margin"), np.empty((0, 3, 3))
    for attempt in range(100):
        trial = random_orientations(max(500, 4 * count), seed + 7919 * attempt)
        found = np.concatenate([found, trial[(reach_margin(m, trial) > least).all(axis=1)]])
        if len(found) >= count:
            return found[:count]
    raise ValueError(f"only {len(found)} of the {count} orientations asked for were found within reach of {m}")


def _random(count: int, seed: int) -> np.random.Generator:
    """The generator of that seed, for so many things, once both are known to be whole numbers."""
    whole(count, "count", 0)
    return np.random.default_rng(whole(seed, "seed", 0))
