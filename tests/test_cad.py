"""Nine axis lines to a joint: what comes back, in any CAD frame and pose; what is refused, and how."""

import warnings

import numpy as np
import pytest
from scipy.optimize import brentq

from legloop import Mechanism, closure_error, deg, inverse_kinematics, reach_margin, rotation, working_mode
from legloop.lesson.cases import bird_hide, named_joints, random_joints, random_orientations, reachable
from legloop.workshop.cad import CadWarning, from_axis_lines

ROUNDING = 1e-9  # the acceptance bound; what is measured is some 1e-14


def drawn(m, R, theta, seed=0, *, frame=None, origin=(310.0, -42.0, 77.0), radius=80.0):
    """Nine lines as a CAD program would give them: bearings at various radii, directions of any length and sense."""
    rng = np.random.default_rng(seed)
    frame = random_orientations(1, seed)[0] if frame is None else frame
    axes = np.stack([m.base_axes, m.elbow_axes(theta), m.platform_axes_at(R)], axis=1) @ frame.T
    points = np.array(origin) + radius * rng.uniform(0.7, 1.4, (3, 3, 1)) * axes
    return points, axes * rng.choice([-1, 1], (3, 3, 1)) * rng.uniform(0.1, 40, (3, 3, 1))


def home_lines(m=None, mode=(1, 1, 1), **options):
    m = bird_hide() if m is None else m
    R = rotation.from_tilt_torsion(12 * deg, 70 * deg, -8 * deg)
    return drawn(m, R, inverse_kinematics(m, R, mode), **options)


def quiet(*args, **options):
    """As `from_axis_lines`, with the warnings left to the tests that are about them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", CadWarning)
        return from_axis_lines(*args, **options)


def random_symmetric(rng):
    """A joint in its own first-leg frame, with the arguments that made it."""
    shape = {
        "proximal": rng.uniform(40, 110) * deg,
        "distal": rng.uniform(50, 120) * deg,
        "base_cone": rng.uniform(15, 75) * deg,
        "platform_cone": rng.uniform(15, 75) * deg,
        "azimuths": np.array([0, rng.uniform(80, 150), rng.uniform(200, 290)]) * deg,
        "twist": rng.uniform(-60, 60) * deg,
    }
    return Mechanism.symmetric(**shape), shape


def test_a_symmetric_joint_comes_back_from_any_cad_frame_pose_and_mode():
    rng = np.random.default_rng(1)
    tried = 0
    for seed in range(120):
        m, shape = random_symmetric(rng)
        try:
            R = reachable(m, 1, seed, margin=8 * deg)[0]  # far enough from a straight leg for its mode to be told
        except ValueError:
            continue
        mode = rng.choice([-1, 1], 3)
        theta = inverse_kinematics(m, R, mode)
        frame = random_orientations(1, 1000 + seed)[0]
        found = quiet(*drawn(m, R, theta, seed, frame=frame, radius=10.0 ** rng.uniform(-3, 4)), twist=shape["twist"])
        pairs = [
            (found.mechanism.base_frames, m.base_frames),
            (found.mechanism.platform_axes, m.platform_axes),
            (found.mechanism.proximal, m.proximal),
            (found.mechanism.distal, m.distal),
            (found.base_cones, np.full(3, shape["base_cone"])),
            (found.platform_cones, np.full(3, shape["platform_cone"])),
            (np.exp(1j * found.azimuths), np.exp(1j * shape["azimuths"])),
            (found.base, frame.T),
            (found.orientation, R),
            (np.exp(1j * found.motor_angles), np.exp(1j * theta)),
            (found.mode, mode),
        ]
        for mine, wanted in pairs:
            np.testing.assert_allclose(mine, wanted, rtol=0, atol=ROUNDING)
        tried += 1
    assert tried > 80


def test_bird_hide_is_read_as_symmetric_and_told_so():
    found = from_axis_lines(*home_lines())
    assert max(found.asymmetry.values()) < ROUNDING
    assert found.notes == ()
    np.testing.assert_allclose(found.centre, (310, -42, 77), rtol=0, atol=1e-9)  # 80 units away, rounding 1e-13
    assert found.miss.shape == (3, 3)
    assert found.miss.max() < 1e-9
    told = repr(found)
    for part in ("60.000°   60.000°", "75.000°", "45.000°", "50.000°", "0.000°  120.000°  240.000°", "+1 +1 +1"):
        assert part in told
    assert "symmetric, evenly spaced" in told
    assert f"{found.mechanism.home_angles()[0] / deg:.3f}" == "-75.553"


@pytest.mark.parametrize("m", random_joints(12, seed=3), ids=range(12))
def test_three_unlike_legs_close_in_the_pose_drawn_and_keep_their_axes(m):
    R = reachable(m, 1, 4, margin=5 * deg)[0]
    theta = inverse_kinematics(m, R, (1, -1, 1))
    points, directions = drawn(m, R, theta, 5)
    found = quiet(points, directions)
    assert np.abs(closure_error(found.mechanism, found.orientation, found.motor_angles)).max() < ROUNDING
    np.testing.assert_array_equal(found.mode, (1, -1, 1))
    np.testing.assert_allclose(found.mechanism.proximal, m.proximal, rtol=0, atol=ROUNDING)
    np.testing.assert_allclose(found.mechanism.distal, m.distal, rtol=0, atol=ROUNDING)
    axes = np.stack(
        [
            found.mechanism.base_axes,
            found.mechanism.elbow_axes(found.motor_angles),
            found.mechanism.platform_axes_at(found.orientation),
        ],
        axis=1,
    )
    outward = points - found.centre
    outward /= np.linalg.norm(outward, axis=-1, keepdims=True)
    np.testing.assert_allclose(axes, outward @ found.base.T, rtol=0, atol=ROUNDING)
    # The frames that the docstring promises: one cone each, away from the motors, leg 1 at azimuth 0.
    for cones in (found.base_cones, found.platform_cones):
        assert np.ptp(cones) < ROUNDING
        assert cones[0] <= 90 * deg
    assert abs(found.mechanism.base_axes[0, 1]) < ROUNDING
    assert found.mechanism.base_axes[0, 0] > 0
    assert abs(found.mechanism.platform_axes[0, 1]) < ROUNDING
    # And theta = 0 lies in the meridian, upwards: the frame's y is level, its x has z > 0.
    assert np.abs(found.mechanism.base_frames[:, 2, 1]).max() < ROUNDING
    assert (found.mechanism.base_frames[:, 2, 0] > 0).all()


def test_two_poses_of_one_joint_give_one_joint():
    m = random_joints(1, seed=8)[0]
    poses = reachable(m, 2, 9, margin=5 * deg)
    one, other = (quiet(*drawn(m, R, inverse_kinematics(m, R), k)) for k, R in enumerate(poses))
    for name in ("base_frames", "platform_axes", "proximal", "distal"):
        mine, theirs = getattr(one.mechanism, name), getattr(other.mechanism, name)
        np.testing.assert_allclose(mine, theirs, rtol=0, atol=ROUNDING)


def test_coaxial_motors_are_allowed_and_the_free_turn_is_settled():
    m = named_joints()["coaxial"]
    R = rotation.from_tilt_torsion(25 * deg, 140 * deg, 33 * deg)
    theta = inverse_kinematics(m, R)
    points, directions = drawn(m, R, theta, 6)
    points[1:, 0] = points[0, 0]  # all three motors given by one and the same point
    found = from_axis_lines(points, directions)
    assert np.abs(found.base_cones).max() < 1e-7  # the arc of two equal vectors: the root of rounding
    np.testing.assert_allclose(found.azimuths / deg, (0, 120, -120), rtol=0, atol=1e-7)
    tilt, _, torsion = rotation.to_tilt_torsion(found.orientation)
    assert abs(tilt - 25 * deg) < ROUNDING
    assert abs(torsion) < ROUNDING
    # Turned back by the torsion, which no line can show, everything is as it was drawn.
    back = inverse_kinematics(m, rotation.rz(-33 * deg) @ R)
    np.testing.assert_allclose(np.exp(1j * found.motor_angles), np.exp(1j * back), rtol=0, atol=ROUNDING)
    assert any("one line" in note for note in found.notes)


def test_bearings_measured_on_a_bench_keep_a_coaxial_and_a_flat_joint_what_they_are():
    rng = np.random.default_rng(7)
    for name, cone in (("coaxial", 0), ("flat base", 90)):
        m = named_joints()[name]
        R = rotation.from_tilt_torsion(20 * deg, 10 * deg, 0)
        for seed in range(20):
            points, directions = drawn(m, R, inverse_kinematics(m, R), seed)
            found = quiet(points + rng.normal(0, 0.3, (3, 3, 3)), directions)  # 0.3 mm in 80 mm: 0.2°
            np.testing.assert_allclose(found.base_cones / deg, cone, atol=2)  # some tenths of a degree, thrice
            assert abs(rotation.to_tilt_torsion(found.orientation)[0] / deg - 20) < 2


def test_flat_base_is_placed_by_the_way_that_the_legs_run_in_every_pose():
    m = named_joints()["flat base"]
    for k, R in enumerate(reachable(m, 20, 11, margin=8 * deg)):
        found = from_axis_lines(*drawn(m, R, inverse_kinematics(m, R), k))
        np.testing.assert_allclose(found.orientation, R, rtol=0, atol=ROUNDING)
        assert any("one plane" in note for note in found.notes)


def test_both_flat_counts_counter_clockwise():
    m = Mechanism.symmetric(proximal=70 * deg, distal=80 * deg, base_cone=90 * deg, platform_cone=90 * deg)
    R = rotation.from_tilt_torsion(20 * deg, 50 * deg, 60 * deg)
    found = quiet(*drawn(m, R, inverse_kinematics(m, R)))  # its home is out of reach
    np.testing.assert_allclose(found.orientation, R, rtol=0, atol=ROUNDING)


def test_up_and_pointing_place_motors_above_the_centre_and_hinges_below():
    m = Mechanism.symmetric(proximal=70 * deg, distal=75 * deg, base_cone=130 * deg, platform_cone=115 * deg)
    R = rotation.from_tilt_torsion(10 * deg, 50 * deg, 5 * deg)
    frame = random_orientations(1, 5)[0]
    lines = drawn(m, R, inverse_kinematics(m, R), frame=frame)
    lens = frame @ R[:, 2] + [0.2, -0.1, 0.1]  # roughly
    found = from_axis_lines(*lines, up=3 * (frame[:, 2] + [0.1, 0.2, 0]), pointing=lens)
    np.testing.assert_allclose(found.orientation, R, rtol=0, atol=ROUNDING)
    np.testing.assert_allclose(found.base_cones / deg, 130, rtol=0, atol=1e-7)
    np.testing.assert_allclose(found.platform_cones / deg, 115, rtol=0, atol=1e-7)


def test_two_motors_on_one_line_and_a_third_elsewhere():
    tops = np.array([[0, 0, 0], [0, 0, 0], [0, 70 * deg, 0]])
    frames = [rotation.ry(np.pi - tilt) @ rotation.rz(np.pi) for tilt in tops[:, 1]]
    hinges = rotation.rz(np.array([0, 120, 240]) * deg) @ [np.sin(50 * deg), 0, np.cos(50 * deg)]
    m = Mechanism(frames, hinges, 70 * deg, 85 * deg)
    R = reachable(m, 1, 3, margin=8 * deg)[0]
    found = quiet(*drawn(m, R, inverse_kinematics(m, R)))
    np.testing.assert_allclose(found.base_cones / deg, 35, rtol=0, atol=1e-7)  # the narrowest cone halves the angle
    assert np.abs(closure_error(found.mechanism, found.orientation, found.motor_angles)).max() < ROUNDING


def test_the_side_of_the_point_decides_and_the_sense_of_the_direction_does_not():
    points, directions = home_lines()
    same = from_axis_lines(points, -directions)
    assert np.abs(same.mechanism.distal / deg - 75).max() < 1e-7
    moved = points.copy()
    moved[:, 2] = 2 * np.array((310, -42, 77)) - moved[:, 2]  # the platform points on the other side of the centre
    other = quiet(moved, directions)
    np.testing.assert_allclose(other.mechanism.distal / deg, 105, rtol=0, atol=1e-7)


def test_an_arc_near_90_is_pointed_out():
    m = Mechanism.symmetric(proximal=60 * deg, distal=88 * deg, base_cone=45 * deg, platform_cone=50 * deg)
    (note,) = from_axis_lines(*home_lines(m)).notes
    assert "alpha_2 is near 90° in leg 1, 2, 3: 88.0° like 92.0°" in note


def test_an_arc_of_exactly_90_is_left_alone():
    m = Mechanism.symmetric(proximal=90 * deg, distal=90 * deg, base_cone=45 * deg, platform_cone=50 * deg)
    assert from_axis_lines(*home_lines(m)).notes == ()


def test_clockwise_legs_are_warned_about():
    points, directions = home_lines()
    order = [0, 2, 1]
    with pytest.warns(CadWarning, match=r"clockwise.*exchange legs 2 and 3"):
        found = from_axis_lines(points[order], directions[order])
    np.testing.assert_allclose(found.azimuths / deg % 360, (0, 240, 120), rtol=0, atol=1e-7)


def warned(*args, **options):
    """What `from_axis_lines` gives, and the texts of its warnings, all of them."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        found = from_axis_lines(*args, **options)
    assert all(warning.category is CadWarning for warning in caught)
    texts = [str(warning.message) for warning in caught]
    assert list(found.notes[: len(texts)]) == texts
    return found, texts


def test_platform_axes_entered_with_other_legs_are_warned_about():
    points, directions = home_lines()
    points[[1, 2], 2], directions[[1, 2], 2] = points[[2, 1], 2], directions[[2, 1], 2]
    _, texts = warned(points, directions)
    assert "run round the other way than the motor axes: legs cross" in texts[0]


def test_a_straight_leg_has_no_mode_and_is_warned_about():
    m = bird_hide()
    edge = brentq(lambda yaw: reach_margin(m, rotation.rz(yaw)).min() - 1e-4, 1.0, 2.5)
    R = rotation.rz(edge)  # all three legs stretched, but for 0.006°
    found, texts = warned(*drawn(m, R, inverse_kinematics(m, R)))
    assert [text[:6] for text in texts] == ["leg 1 ", "leg 2 ", "leg 3 "]
    assert all("stretched or folded in the pose drawn" in text and "draw another pose" in text for text in texts)
    np.testing.assert_array_equal(found.mode, 0)
    np.testing.assert_allclose(found.mechanism.distal, m.distal, rtol=0, atol=ROUNDING)
    assert "mode              ? ? ?" in repr(found)


def test_a_home_out_of_reach_is_warned_about_and_twist_repairs_it():
    m = Mechanism.symmetric(
        proximal=40 * deg, distal=110 * deg, base_cone=60 * deg, platform_cone=60 * deg, twist=60 * deg
    )
    lines = drawn(m, np.eye(3), m.home_angles())
    found, texts = warned(*lines)
    assert len(texts) == 1
    # Without the twist the links, 40° and 110°, would have to bridge 60°, and can do 70° at the least.
    assert "home (R = I) cannot serve" in texts[0]
    assert "10° short of closing" in texts[0]
    assert "pass twist=" in texts[0]
    np.testing.assert_allclose(found.orientation, rotation.rz(60 * deg), rtol=0, atol=ROUNDING)
    assert from_axis_lines(*lines, twist=60 * deg).notes == ()


def noisy(points, directions, seed, size):
    return points + np.random.default_rng(seed).normal(0, size, points.shape), directions


def test_lines_that_nearly_meet_give_their_misses_in_the_units_of_the_user():
    points, directions = home_lines()
    unit = directions[1, 1] / np.linalg.norm(directions[1, 1])
    aside = np.cross(unit, [0.3, -0.5, 0.8])
    points[1, 1] += 0.5 * aside / np.linalg.norm(aside)
    found = from_axis_lines(points, directions)
    assert np.unravel_index(found.miss.argmax(), (3, 3)) == (1, 1)
    assert 0.3 < found.miss.max() < 0.5  # the common centre follows the line by a part of the 0.5
    # Distances from their definition: the least over the points of the line.
    along = np.linspace(-200, 200, 400_001)
    line = points[0, 2] + along[:, None] * directions[0, 2] / np.linalg.norm(directions[0, 2])
    nearest = np.linalg.norm(line - found.centre, axis=1).min()
    assert abs(nearest - found.miss[0, 2]) < 1e-5  # steps of 0.001 along a line that passes 0.05 or more away
    assert "leg 2, elbow axis misses the centre most" in repr(found)
    ten_times = from_axis_lines(points / 25.4, directions)  # the same in inches
    np.testing.assert_allclose(ten_times.miss * 25.4, found.miss, rtol=1e-9)


def test_the_centre_is_the_least_squares_one():
    points, directions = noisy(*home_lines(), 3, 0.2)
    found = from_axis_lines(points, directions)
    unit = directions / np.linalg.norm(directions, axis=-1, keepdims=True)

    def cost(c):
        return (np.linalg.norm(np.cross(points - c, unit), axis=-1) ** 2).sum()

    assert cost(found.centre) == pytest.approx((found.miss**2).sum())
    for step in random_orientations(20, 4)[:, 0] * 1e-3:
        assert cost(found.centre + step) > cost(found.centre)


# ---- what is refused


def changed(index, value, of="points"):
    points, directions = home_lines()
    array = points if of == "points" else directions
    array[index] = value
    return points, directions


def scaled(mask, factor):
    points, directions = home_lines()
    points[mask] *= factor
    return points, directions


def copied(of, to, *, both=True):
    points, directions = home_lines()
    directions[to] = directions[of]
    if both:
        points[to] = points[of]
    else:
        points[to] = points[of] + 0.3 * (points[of] - np.array((310, -42, 77)))  # farther out on the same line
    return points, directions


POINTS, DIRECTIONS = home_lines()


def beside_the_pulley(legs):
    """Some motor axes are those of the motors' shafts: parallel to the pulley's axle, a belt's length beside it."""
    points = POINTS.copy()
    across = np.cross(DIRECTIONS[legs, 0], DIRECTIONS[legs, 2])
    points[legs, 0] += 60 * across / np.linalg.norm(across, axis=1, keepdims=True)
    return points, DIRECTIONS


REFUSED = [
    ("eight lines", (POINTS.reshape(9, 3)[:8], DIRECTIONS), r"points has shape \(8, 3\); that is 8 lines where nine"),
    ("nine in a row", (POINTS.reshape(9, 3), DIRECTIONS), r"shape \(9, 3\); its shape must be \(3, 3, 3\): for each"),
    ("two coordinates", (POINTS[..., :2], DIRECTIONS), r"shape \(3, 3, 2\)"),
    (
        "a leg short of a line",
        (POINTS, [*DIRECTIONS.tolist()[:2], DIRECTIONS.tolist()[2][:2]]),
        r"directions has rows",
    ),
    ("nan", changed((1, 2, 0), np.nan), r"points\[1, 2, 0\] is nan; every entry"),
    ("infinite", changed((0, 0, 2), np.inf, "directions"), r"directions\[0, 0, 2\] is inf"),
    (
        "zero direction",
        changed((2, 1), 0, "directions"),
        r"directions\[2, 1\] \(leg 3, elbow axis\).*no direction.*dif",
    ),
    ("two equal points", changed((2, 1), 1e-14, "directions"), r"leg 3, elbow axis.*no direction"),
    ("parallel links", copied((0, 0), (0, 1)), r"leg 1: its motor axis and its elbow axis are parallel"),
    (
        "parallel, reversed",
        changed((1, 2), -DIRECTIONS[1, 1], "directions"),
        r"leg 2: its elbow axis and its platform",
    ),
    ("a platform line twice", copied((0, 2), (1, 2)), r"leg 1, platform axis and leg 2, platform axis are the same"),
    (
        "twice, farther out",
        copied((0, 1), (2, 1), both=False),
        r"leg 1, elbow axis and leg 3, elbow axis are the same",
    ),
    ("another kind twice", copied((0, 2), (1, 1)), r"leg 1, platform axis and leg 2, elbow axis.*one place"),
    ("a point at the centre", changed((0, 2), (310, -42, 77)), r"points\[0, 2\] .*does not tell on which side"),
    (
        "a line beside the centre",
        changed((1, 1), POINTS[1, 1] + 30),
        r"Off by .*: leg 2, elbow axis; the others meet in",
    ),
    (
        "metres in one leg",
        scaled(np.s_[1], 1e-3),
        r"leg 2, all its lines.*times 1000 it would fit.*millimetres among m",
    ),
    ("millimetres in one leg", scaled(np.s_[2], 1e3), r"leg 3, all its lines.*times 0\.001 it would fit"),
    (
        "inches in one line",
        scaled(np.s_[0, 1], 1 / 25.4),
        r"leg 1, elbow axis.*times 25\.4 .*millimetres among inches",
    ),
    (
        "one motor's shaft",
        beside_the_pulley(slice(1, 2)),
        r"leg 2, motor axis;.*belt: the axle.*not the motor's shaft",
    ),
    (
        "two shafts",
        beside_the_pulley(slice(0, 2)),
        r"all three motor axes;.*belt: the axle of the first link's pulley",
    ),
    (
        "three shafts",
        beside_the_pulley(slice(0, 3)),
        r"all three motor axes;.*belt: the axle.*which misses the centre",
    ),
    ("metres in the motors", scaled(np.s_[:, 0], 1e-3), r"all three motor axes.*times 1000"),
    (
        "no common centre at all",
        noisy(POINTS, DIRECTIONS, 1, 15),
        r"misses the best common centre.*no single line, leg",
    ),
]


@pytest.mark.parametrize(("lines", "message"), [case[1:] for case in REFUSED], ids=[case[0] for case in REFUSED])
def test_refused(lines, message):
    with pytest.raises(ValueError, match=message):
        from_axis_lines(*lines)


def test_units_mixed_about_an_origin_in_the_centre_are_refused_by_the_distances():
    points, directions = home_lines(origin=(0, 0, 0))
    points[1] *= 1000
    with pytest.raises(ValueError, match=r"points\[1, 0\] .*are the units mixed"):
        from_axis_lines(points, directions)
    points[1] *= 1e-6
    with pytest.raises(ValueError, match=r"points\[1, 0\] .*does not tell on which side"):
        from_axis_lines(points, directions)


def test_text_and_none_are_type_errors():
    with pytest.raises(TypeError, match="points is None"):
        from_axis_lines(None, DIRECTIONS)
    with pytest.raises(TypeError, match="directions must hold real numbers"):
        from_axis_lines(POINTS, "xyz")


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"tolerance": 0}, r"tolerance is 0; it must be in \(0, 0\.1\]"),
        ({"tolerance": 2}, r"tolerance is 2"),
        ({"tolerance": np.nan}, r"tolerance is nan"),
        ({"twist": 40}, r"twist is 40"),
        ({"up": (0, 0, 0)}, r"up is \[0\.0, 0\.0, 0\.0\]; give one CAD direction"),
        ({"up": (0, 0)}, r"up has shape \(2,\)"),
        ({"pointing": np.eye(3)}, r"pointing is .*give one CAD direction"),
    ],
    ids=str,
)
def test_options_refused(options, message):
    with pytest.raises(ValueError, match=message):
        from_axis_lines(POINTS, DIRECTIONS, **options)


def test_up_across_the_axis_does_not_tell():
    points, directions = home_lines(frame=np.eye(3))
    with pytest.raises(ValueError, match=r"up is at right angles, to 5°, to the axis.*motor axes"):
        from_axis_lines(points, directions, up=(1, 0, 0))
    with pytest.raises(ValueError, match=r"pointing is at right angles.*platform axes"):
        from_axis_lines(points, directions, pointing=(-np.sin(70 * deg), np.cos(70 * deg), 0))


def test_working_mode_agrees_with_the_core():
    m = bird_hide()
    R = rotation.from_tilt_torsion(12 * deg, 70 * deg, -8 * deg)
    for mode in ((1, -1, -1), (-1, 1, 1)):
        found = from_axis_lines(*home_lines(m, mode))
        np.testing.assert_array_equal(found.mode, mode)
        np.testing.assert_array_equal(working_mode(m, R, found.motor_angles), mode)
