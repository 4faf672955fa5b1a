"""Readings and their uncertainty, to angles and to the pointing of the platform: against seeded Monte Carlo."""

import numpy as np
import pytest

from legloop import Mechanism, deg, dexterity, forward_kinematics, inverse_kinematics, rotation
from legloop.lesson.cases import bird_hide, random_joints, reachable
from legloop.workshop.measured import (
    Reading,
    arc_of_chord,
    cone_of_offsets,
    pointing_error,
    protractor,
)

SIZES = {
    "proximal": (0.2, 0.1, 0.3),
    "distal": 0.25,
    "base_cone": (0.3, 0.2, 0.1),
    "platform_cone": 0.15,
    "base_azimuth": 0.2,
    "platform_azimuth": (0.1, 0.3, 0.2),
}
SIZES = {name: np.multiply(size, 0.2 * deg) for name, size in SIZES.items()}  # small: first order is what is tested


def changed(m, errors):
    """The joint with its errors, (6, 3), put in by turning its axes: no derivative anywhere."""
    d1, d2, cone, beta, turn, eta = errors
    frames = [
        rotation.rz(turn[i]) @ rotation.from_rotation_vector(cone[i] * m.base_frames[i, :, 1]) @ m.base_frames[i]
        for i in range(3)
    ]
    hinges = []
    for i, v in enumerate(m.platform_axes):
        level = np.cross([0, 0, 1], v)
        lean = rotation.from_rotation_vector(beta[i] * level / np.linalg.norm(level))
        hinges.append(rotation.rz(eta[i]) @ lean @ v)
    return Mechanism(frames, hinges, m.proximal + d1, m.distal + d2)


def arrived(m, true, R, mode, homed):
    """Where the true joint stands when the motors do what the formulas of m say."""
    theta = inverse_kinematics(m, R, mode)
    if homed:
        theta = true.home_angles(mode) + theta - m.home_angles(mode)
    return forward_kinematics(true, theta, near=R)


@pytest.mark.parametrize("homed", [True, False])
@pytest.mark.parametrize("mode", [(1, 1, 1), (1, -1, 1)])
def test_pointing_error_against_monte_carlo(homed, mode):
    m, rng = bird_hide(), np.random.default_rng(7)
    R = rotation.from_tilt_torsion(20 * deg, 70 * deg, 15 * deg)
    told = pointing_error(m, R, mode, **SIZES, homed=homed)
    scale = np.array([np.broadcast_to(size, 3) for size in SIZES.values()])
    count = 500
    turns = np.empty((count, 3))
    for k in range(count):
        there = arrived(m, changed(m, rng.normal(size=(6, 3)) * scale), R, mode, homed)
        turns[k] = rotation.to_rotation_vector(there @ R.T)
    # A standard deviation from 500 samples is known to 1/sqrt(2 x 500) = 3 %, thrice that is let pass.
    np.testing.assert_allclose(np.sqrt((turns**2).sum(axis=1).mean()), told.turn, rtol=0.1)
    moved = rotation.from_rotation_vector(turns) @ R[:, 2]
    np.testing.assert_allclose(np.sqrt((np.cross(moved, R[:, 2]) ** 2).sum(axis=1).mean()), told.pointing, rtol=0.1)
    spread = np.sqrt(np.diag(told.covariance))
    expected = told.covariance / np.outer(spread, spread)
    np.testing.assert_allclose(turns.T @ turns / count / np.outer(spread, spread), expected, rtol=0, atol=0.2)


@pytest.mark.parametrize("homed", [True, False])
@pytest.mark.parametrize("name", list(SIZES))
def test_each_error_alone_against_the_joint_that_has_it(name, homed):
    m = bird_hide()
    R = rotation.from_tilt_torsion(20 * deg, 70 * deg, 15 * deg)
    for leg in range(3):
        size = np.where(np.arange(3) == leg, 1e-5, 0.0)
        errors = np.zeros((6, 3))
        errors[list(SIZES).index(name)] = size
        there = arrived(m, changed(m, errors), R, (1, 1, 1), homed)
        told = pointing_error(m, R, **{name: size}, homed=homed)
        turn = rotation.to_rotation_vector(there @ R.T)
        # What is left out is of second order: 1e-5 of the whole.
        np.testing.assert_allclose(told.covariance, np.outer(turn, turn), rtol=0, atol=2e-4 * turn @ turn)
        assert told.shares[name] == pytest.approx(told.pointing)


def test_a_general_joint_and_a_batch():
    m = random_joints(1, seed=2)[0]
    R = reachable(m, 60, 3, margin=10 * deg)
    R = R[np.argsort(-dexterity(m, R, inverse_kinematics(m, R)))[:4]]  # near a singularity first order is too little
    errors = np.random.default_rng(1).normal(size=(6, 3)) * 1e-6
    true = changed(m, errors)
    for pose in R:
        there = rotation.to_rotation_vector(arrived(m, true, pose, (1, 1, 1), False) @ pose.T)
        parts = np.zeros(3)
        for k, name in enumerate(SIZES):
            for leg in range(3):
                single = np.zeros((6, 3))
                single[k, leg] = errors[k, leg]
                told = pointing_error(m, pose, **{name: np.abs(single[k])}, homed=False)
                part = rotation.to_rotation_vector(arrived(m, changed(m, single), pose, (1, 1, 1), False) @ pose.T)
                np.testing.assert_allclose(told.covariance, np.outer(part, part), rtol=0, atol=1e-3 * part @ part)
                parts += part
        np.testing.assert_allclose(parts, there, rtol=0, atol=1e-4 * np.linalg.norm(there) + 1e-13)
    batch = pointing_error(m, R[:, None], **SIZES, homed=False)
    assert batch.pointing.shape == (4, 1)
    assert batch.covariance.shape == (4, 1, 3, 3)
    one = pointing_error(m, R[2], **SIZES, homed=False)
    np.testing.assert_allclose(batch.covariance[2, 0], one.covariance, rtol=1e-9, atol=0)
    np.testing.assert_allclose(sum(s**2 for s in one.shares.values()), one.pointing**2, rtol=1e-12)


def test_homed_in_a_jig_home_has_no_error_and_far_from_home_it_grows():
    m = bird_hide()
    tilts = rotation.from_tilt_torsion(np.array([0, 5, 15, 25]) * deg, 0, 0)
    homed = pointing_error(m, tilts, **SIZES).pointing
    assert homed[0] < 1e-15
    assert (np.diff(homed) > 0).all()
    assert pointing_error(m, np.eye(3), **SIZES, homed=False).pointing > 0.01 * deg


def monte_carlo(function, *readings, count=200_000):
    rng = np.random.default_rng(5)
    drawn = [reading.value + reading.uncertainty * rng.normal(size=count) for reading in readings]
    return function(*drawn).std()


def test_arc_of_chord():
    chord, radius = Reading(62.0, 0.1), Reading(62.0, 0.3)
    arc = arc_of_chord(chord, radius)
    assert arc.value == pytest.approx(60 * deg, abs=1e-12)
    spread = monte_carlo(lambda c, r: 2 * np.arcsin(c / 2 / r), chord, radius)
    assert arc.uncertainty == pytest.approx(spread, rel=0.01)  # 200 000 samples: 0.2 %, and the second order
    short = Reading(2 * 62.0 * np.sin(0.75 * deg), 0.1)  # an odd link, but in one unit
    assert arc_of_chord(short, radius).value == pytest.approx(1.5 * deg)


def test_cone_of_offsets():
    across, along = Reading(45.0, 0.2), Reading(45.0, 0.4)
    cone = cone_of_offsets(across, along)
    assert cone.value == pytest.approx(45 * deg, abs=1e-12)
    assert cone.uncertainty == pytest.approx(monte_carlo(np.arctan2, across, along), rel=0.01)
    assert cone_of_offsets(across, Reading(-45.0, 0.1)).value == pytest.approx(135 * deg)
    assert cone_of_offsets(Reading(0.0, 0.1), Reading(30.0, 0.1)).value == 0
    assert cone_of_offsets(Reading(0.06, 0.1), Reading(30.0, 0.1)).value == pytest.approx(2e-3, rel=1e-5)  # coaxial


def test_protractor_and_limits():
    read = protractor(np.array([74.5, 75.0, 75.5, 75.0]) * deg, 0.5 * deg)
    assert read.value == pytest.approx(75 * deg)
    assert read.uncertainty / deg == pytest.approx(np.sqrt((0.5 / 3) / 4 + 0.25 / 12))  # by hand: s^2 = 0.5 / 3
    samples = np.random.default_rng(3).uniform(-0.5, 0.5, 100_000)
    assert Reading.within(75.0, 0.5).uncertainty == pytest.approx(samples.std(), rel=0.01)


def bad(function, *args, **options):
    return lambda: function(*args, **options)


REFUSED = [
    (bad(Reading, np.nan, 0.1), "value is nan"),
    (bad(Reading, 1.0, -0.1), r"uncertainty is -0\.1; it must not be negative"),
    (bad(Reading, [1.0, 2.0], 0.1), r"value has shape \(2,\)"),
    (bad(protractor, [1.0], 0.01), r"give two readings or more"),
    (bad(protractor, [74.5, 75], 0.01), r"angles holds 75 rad, more than a turn; for degrees write 75\*deg"),
    (bad(protractor, [1.0, 1.1], 0), r"resolution is 0"),
    (bad(arc_of_chord, Reading(130, 1), Reading(62, 1)), r"chord is 130 and the radius 62"),
    (bad(arc_of_chord, Reading(0.06, 0), Reading(-62, 1)), r"radius -62"),
    (
        bad(arc_of_chord, Reading(0.1, 0.1), Reading(80, 0.3)),
        r"an arc of 0\.072°; no link is below 1°.*in one unit\?",
    ),
    (bad(arc_of_chord, Reading(124 * np.sin(0.45 * deg), 0), Reading(62, 1)), r"an arc of 0\.9°"),
    (bad(cone_of_offsets, Reading(-1, 0), Reading(1, 0)), r"across is -1"),
    (bad(cone_of_offsets, Reading(0, 0), Reading(0, 0)), r"not both may be zero"),
    (bad(pointing_error, bird_hide(), np.eye(3), proximal=0.5), r"proximal is 0\.5 rad .*half a degree is 0\.5\*deg"),
    (bad(pointing_error, bird_hide(), np.eye(3), distal=-0.01), r"distal is -0\.01"),
    (bad(pointing_error, bird_hide(), np.eye(3), distal=(0.01, 0.01)), r"distal has shape \(2,\)"),
    (bad(pointing_error, bird_hide(), rotation.rz(2.5), distal=0.01), r"out of reach"),
]


@pytest.mark.parametrize(("call", "message"), REFUSED)
def test_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
