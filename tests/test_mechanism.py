"""The joint as a value: where its axes lie, that it cannot be changed, and how it is copied and compared."""

import copy
import dataclasses
import pickle

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.spatial.transform import Rotation

from common import everyday_and_edge_joints
from legloop import WORKING_MODES, Mechanism, SingularError, UnreachableError, deg, inverse_kinematics, leg, rotation
from legloop.lesson.cases import random_orientations

SIZES = {"proximal": 60 * deg, "distal": 75 * deg, "base_cone": 45 * deg, "platform_cone": 50 * deg}


def turned(axis: str, angle: float, vector: object) -> np.ndarray:
    return Rotation.from_euler(axis, angle).apply(vector)


@pytest.mark.parametrize("gamma", [0, 20 * deg, 45 * deg, 90 * deg, 120 * deg, 180 * deg])
def test_axes_of_the_symmetric_joint(gamma):
    """By turning vectors one elementary turn at a time with SciPy, which shares no code with the frames."""
    azimuths, twist, beta = (0.3, 2.0, 4.4), 0.2, 50 * deg
    m = Mechanism.symmetric(
        proximal=60 * deg, distal=75 * deg, base_cone=gamma, platform_cone=beta, azimuths=azimuths, twist=twist
    )
    theta = np.array([0.4, -1.7, 2.9])
    w = m.elbow_axes(theta)
    for i, eta in enumerate(azimuths):
        u = turned("z", eta, turned("y", -gamma, [0, 0, -1]))  # -z, leaned outwards in the plane y = 0, then around
        assert_allclose(m.base_axes[i], u, atol=1e-15)
        assert_allclose(m.platform_axes[i], turned("z", eta + twist, turned("y", beta, [0, 0, 1])), atol=1e-15)
        zero = turned("z", eta, turned("y", -(gamma + m.proximal[i]), [0, 0, -1]))  # on the same meridian, further up
        assert_allclose(m.elbow_axes(np.zeros(3))[i], zero, atol=1e-15)
        assert_allclose(w[i], Rotation.from_rotvec(theta[i] * u).apply(zero), atol=1e-15)


def test_theta_counts_counter_clockwise_seen_from_outside(hide):
    """Looking from the motor to the centre, the view direction is -u; counter-clockwise is right-handed about u."""
    small = 1e-6
    w0, w1 = hide.elbow_axes(np.zeros(3)), hide.elbow_axes(np.full(3, small))
    for u, before, after in zip(hide.base_axes, w0, w1, strict=True):
        assert np.cross(before, after) @ u > 0.5 * small * np.sin(60 * deg) ** 2


@pytest.mark.parametrize("m", everyday_and_edge_joints())
def test_home_angles_are_the_inverse_at_the_identity(m):
    for mode in WORKING_MODES:
        try:
            wanted = inverse_kinematics(m, np.eye(3), mode)
        except UnreachableError:
            with pytest.raises(UnreachableError, match="the home pose is out of reach"):
                m.home_angles(mode)
        else:
            assert_allclose(m.home_angles(mode), wanted, rtol=0, atol=1e-15)
    if leg.margin(m.base_axes, m.platform_axes, m.proximal, m.distal).min() > 0:
        assert m.home_angles(WORKING_MODES).shape == (8, 3)


def test_home_may_be_undetermined():
    axes = np.stack([rotation.rz(k * 120 * deg) @ rotation.ry(130 * deg) for k in range(3)])
    m = Mechanism(axes, axes[:, :, 2], 60 * deg, 60 * deg)
    with pytest.raises(SingularError, match="home pose: the motor angle of leg 1 may be anything"):
        m.home_angles()


def test_bases_broadcast(hide):
    theta = np.random.default_rng(40).uniform(-3, 3, (4, 5, 3))
    w = hide.elbow_axes(theta)
    assert w.shape == (4, 5, 3, 3)
    assert_allclose(np.linalg.norm(w, axis=-1), 1, atol=1e-15)
    assert_array_equal(w[2, 3], hide.elbow_axes(theta[2, 3]))
    R = random_orientations(6, seed=41).reshape(2, 3, 3, 3)
    assert_allclose(hide.platform_axes_at(R)[1, 2], (R[1, 2] @ hide.platform_axes.T).T, atol=1e-15)
    assert all(k.shape == (2, 3, 3) for k in hide.leg_equation(R))


def test_it_cannot_be_changed(hide):
    with pytest.raises(dataclasses.FrozenInstanceError):
        hide.proximal = np.ones(3)
    for array in (
        hide.base_frames,
        hide.platform_axes,
        hide.proximal,
        hide.distal,
        *hide.coefficients,
        hide.base_axes,
    ):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


def test_it_does_not_keep_the_arrays_it_was_given(hide):
    frames, axes, arcs = hide.base_frames.copy(), hide.platform_axes.copy(), hide.proximal.copy()
    m = Mechanism(frames, axes, arcs, 75 * deg)
    frames[:], axes[:], arcs[:] = 0, 0, 0
    assert m == hide


@pytest.mark.parametrize(
    "again", [copy.copy, copy.deepcopy, lambda m: pickle.loads(pickle.dumps(m)), dataclasses.replace]
)
def test_copies_are_equal_and_frozen(hide, again):
    twin = again(hide)
    assert twin == hide
    assert hash(twin) == hash(hide)
    assert not twin.base_frames.flags.writeable
    assert_array_equal(twin.coefficients[0], hide.coefficients[0])


def test_equality_looks_at_every_number(hide):
    assert hide != dataclasses.replace(hide, distal=75.0001 * deg)
    assert hide != dataclasses.replace(hide, platform_axes=hide.platform_axes[[1, 2, 0]])
    assert hide != "a joint"
    assert len({hide, Mechanism.symmetric(**SIZES), dataclasses.replace(hide, proximal=1)}) == 2


def test_zeros_of_either_sign_are_the_same_joint():
    parts = np.stack([np.eye(3)[[1, 2, 0]]] * 3), np.eye(3), 80 * deg, 70 * deg
    one, other = (Mechanism(*(np.where(np.equal(x, 0), zero, x) for x in parts)) for zero in (0.0, -0.0))
    assert one == other
    assert hash(one) == hash(other)


def test_legs_may_stand_opposite_one_another():
    m = Mechanism.symmetric(**SIZES, azimuths=(0, 180 * deg, 270 * deg))
    assert_allclose(np.arctan2(m.base_axes[:, 1], m.base_axes[:, 0]) / deg % 360, [0, 180, 270], atol=1e-12)
    with pytest.raises(ValueError, match="same direction"):
        Mechanism.symmetric(**SIZES, azimuths=(0, 180 * deg, -180 * deg))


def test_it_prints_itself_in_degrees(hide):
    assert repr(hide).splitlines()[2] == (
        "  leg 2: links 60° and 75°, motor axis 45° from -z at azimuth 120°, "
        "platform axis 50° from +z at azimuth 120°"
    )
    coaxial = Mechanism.symmetric(**{**SIZES, "base_cone": 0})
    assert "motor axis 0° from -z, platform" in repr(coaxial)
