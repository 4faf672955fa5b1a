"""The joint in a general physics engine, MuJoCo: bodies, hinges and pins only, and none of the package's formulas.

The bodies are assembled at an orientation and the motor angles that the package gives for it; each link has to come
out as long as it is (`engine.assembled`). All else is the engine's.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from common import wrapped
from engine import Engine, assembled
from legloop import (
    WORKING_MODES,
    Mechanism,
    deg,
    inverse_kinematics,
    jacobian,
    payload_moment,
    reach_margin,
    singularity,
    static_torque,
)
from legloop.lesson.cases import bird_hide, named_joints, random_joints, random_orientations, reachable

ODD = random_joints(2, seed=31)
JOINTS: dict[str, Mechanism] = {
    "bird hide": bird_hide(),
    "orthogonal": named_joints()["all arcs 90°"],
    "coaxial": named_joints()["coaxial"],
    "odd": ODD[0],
    "odd too": ODD[1],
}
by_joint = pytest.mark.parametrize("name", JOINTS)
POINTS = 12


def paths(m: Mechanism, mode: np.ndarray, count: int, seed: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """Paths of orientations, with motor angles, that turn steadily by up to 40° and keep clear of singular poses."""
    rng = np.random.default_rng(seed)
    found: list[tuple[np.ndarray, np.ndarray]] = []
    for start in reachable(m, 400, seed, margin=5 * deg):
        turn = rng.normal(size=3)
        turn *= rng.uniform(10, 40) * deg / np.linalg.norm(turn)
        R = Rotation.from_rotvec(np.linspace(0, 1, POINTS)[:, None] * turn).as_matrix() @ start
        if reach_margin(m, R).min() < 5 * deg:
            continue
        theta = np.unwrap(inverse_kinematics(m, R, mode), axis=0)
        if singularity(m, R, theta).plane.min() > 15 * deg:
            found.append((R, theta))
        if len(found) == count:
            return found
    raise AssertionError(f"{len(found)} paths found in mode {mode}")


def side(m: Mechanism, R: np.ndarray, theta: np.ndarray) -> np.ndarray:
    """On which side of the plane of u and R v each elbow stands, by the axes as assembled: the working mode."""
    u, w, p = assembled(m, R, theta)
    return np.sign(np.linalg.det(np.stack([u, w, p], axis=1)))


def apart(R: np.ndarray, other: np.ndarray) -> float:
    return float(Rotation.from_matrix(R @ other.T).magnitude())


@by_joint
def test_servos_driven_to_the_helpers_angles_settle_the_platform_where_it_was_asked_for(name):
    m, tried = JOINTS[name], 0
    for mode in WORKING_MODES:
        for R, theta in paths(m, mode, 2, seed=5):
            np.testing.assert_array_equal(side(m, R[0], theta[0]), mode)
            engine = Engine(m, R[0], theta[0])
            for point in theta[1:]:
                engine.drive(point, 60)
            engine.settle()
            assert np.abs(engine.theta - theta[-1]).max() < 1e-8  # nothing pulls at the servos
            miss = apart(engine.orientation, R[-1])
            # at rest nothing strains the pins: rounding is left, and 1e-9 rad/s of motion; measured: 2e-8°
            assert miss < 1e-6 * deg, f"{name}, mode {mode}: {miss / deg:.3g}°"
            tried += 1
    assert tried == 16


@by_joint
def test_a_platform_that_is_pushed_turns_loose_motors_to_the_helpers_angles(name):
    m = JOINTS[name]
    for mode in WORKING_MODES:
        (R, theta), *_ = paths(m, mode, 1, seed=6)
        engine = Engine(m, R[0], theta[0], servo=None)
        for point in R[1:]:
            engine.push(point, 60)
        engine.push(R[-1], 300)
        engine.settle()
        assert apart(engine.orientation, R[0]) > 15 * deg  # it came along
        expected = inverse_kinematics(m, engine.orientation, mode)
        # let go and at rest, nothing strains the pins; measured: below 1e-11°
        assert np.abs(wrapped(engine.theta - expected)).max() < 1e-8 * deg


@by_joint
def test_the_jacobian_gives_the_engines_velocities(name):
    m = JOINTS[name]
    for mode in WORKING_MODES:
        (R, theta), *_ = paths(m, mode, 1, seed=7)
        engine = Engine(m, R[0], theta[0])
        for point in theta[1:]:
            engine.drive(point, 60)
            here = inverse_kinematics(m, engine.orientation, mode)
            J = jacobian(m, engine.orientation, here)
            assert np.linalg.norm(engine.rates) > 0.05
            # the pins are springs: what they give while the speed changes is not in J; measured: 1.3e-3
            assert np.abs(J @ engine.rates - engine.omega).max() < 2e-3 * np.linalg.norm(engine.omega)


@by_joint
def test_servos_that_hold_a_payload_exert_the_static_torque(name):
    m = JOINTS[name]
    mass, offset = 0.9, np.array([0.012, -0.02, 0.06])
    for mode, up in zip(WORKING_MODES, random_orientations(8, seed=9)[:, 2], strict=True):
        (R, theta), *_ = paths(m, mode, 1, seed=8)
        engine = Engine(m, R[0], theta[0], servo=500.0, payload=(mass, offset), up=up)
        engine.settle()
        assert apart(engine.orientation, R[0]) < 1 * deg  # it gave way, and did not fall into another pose
        here = inverse_kinematics(m, engine.orientation, mode)
        weight = payload_moment(mass, offset, engine.orientation, up=up)
        told = static_torque(m, engine.orientation, here, load=weight)
        assert np.abs(told).max() > 0.1
        assert np.abs(engine.torques - told).max() < 2e-3 * np.abs(told).max()  # the pins give; measured: 1.1e-3
