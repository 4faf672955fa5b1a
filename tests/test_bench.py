"""The bench card and what is concluded from it: every single fault, every pair, rough readings, bare signs."""

from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import brentq

from legloop import (
    Convention,
    Mechanism,
    UnreachableError,
    closure_error,
    deg,
    forward_kinematics,
    inverse_kinematics,
    rotation,
    working_mode,
)
from legloop.lesson.cases import bird_hide, named_joints
from legloop.workshop._faults import FAULTS
from legloop.workshop.bench import Fault, bench_card, diagnose
from legloop.workshop.drive import BeltDrive
from legloop.workshop.units import mm

PLUS, MINUS = (1, 1, 1), (-1, -1, -1)
SINGLE = [fault for fault in FAULTS if fault.count == 1]
PAIRS = [fault for fault in FAULTS if fault.count == 2]
MACHINE = Convention(leg_order=(2, 0, 1), sense=(-1, 1, -1), zero=(0.3, -1.2, 2.0))


def built(m, mode, convention, fault):
    """A machine with a fault, made as a builder would make it: other parts, other elbows, other cables.

    Independent of the package's predictions: the mirrored joint is a Mechanism of mirrored axes, whose frames are
    mirrored and made right-handed again by turning y round, so that its theta is counted right-handed about its u.
    Returns a function from orientations (n, 3, 3) to motor changes as this machine counts them.
    """
    mode = np.array(mode)
    if fault.mirrored:
        u = m.base_axes[0]
        normal = np.array([-u[1], u[0], 0]) / np.hypot(u[0], u[1])
        M = np.eye(3) - 2 * np.outer(normal, normal)
        m = Mechanism(M @ m.base_frames @ np.diag([1, -1, 1]), m.platform_axes @ M, m.proximal, m.distal)
        mode = -mode  # an elbow on the right is on the left in the mirror
    mode = np.where(fault.flipped, -mode, mode)
    home = m.home_angles(mode)

    def moved(R):
        theirs = convention.angles_to_theirs(inverse_kinematics(m, R, mode, near=home))
        change = theirs - convention.angles_to_theirs(home)
        return change[:, list(fault.order)] * np.where(fault.reversed, -1, 1)

    return moved


def rough(change, seed):
    return change + np.random.default_rng(seed).uniform(-2, 2, change.shape) * deg


# ---- the card


def test_the_known_numbers_of_the_bird_hide(hide):
    # Found for this collection by a root finder on the spherical triangles, printed with two decimals.
    known = {1: ((-7.40, -7.40, -7.40), (-8.25, 12.97, -4.92)), -1: ((-7.94, -7.94, -7.94), (8.25, 4.92, -12.97))}
    for sign, (yawed, tilted) in known.items():
        card = bench_card(hide, (sign,) * 3)
        assert card.names[0] == "yaw +10°"
        assert card.names[2] == "tilt 15° towards leg 1"
        np.testing.assert_allclose(card.expected[[0, 2]] / deg, (yawed, tilted), rtol=0, atol=0.005)
        assert card.expected.shape == (8, 3)
    assert "-75.553°" in repr(bench_card(hide))
    assert "+75.553°" in repr(bench_card(hide, (-1, -1, -1)))


def test_the_card_agrees_with_a_root_finder(hide):
    card = bench_card(hide, (1, -1, 1))
    home = hide.home_angles((1, -1, 1))
    for R, change in zip(card.poses, card.expected, strict=True):
        for leg in range(3):

            def gap(turn, leg=leg, R=R):
                theta = home.copy()
                theta[leg] += turn
                return closure_error(hide, R, theta)[leg]

            root = brentq(gap, change[leg] - 0.3, change[leg] + 0.3, xtol=1e-13)
            assert abs(root - change[leg]) < 1e-10


def test_the_poses_are_what_their_names_say(hide):
    card = bench_card(hide, tilt=20 * deg, yaw=5 * deg)
    tilt, azimuth, torsion = rotation.to_tilt_torsion(card.poses)
    np.testing.assert_allclose(tilt / deg, [0, 0] + [20] * 6, rtol=0, atol=1e-9)
    np.testing.assert_allclose(azimuth[2:] / deg % 360, [0, 120, 240, 180, 300, 60], rtol=0, atol=1e-9)
    np.testing.assert_allclose(torsion / deg, [5, -5] + [0] * 6, rtol=0, atol=1e-9)
    assert card.names == (
        "yaw +5°",
        "yaw -5°",
        *(f"tilt 20° {way} leg {i}" for way in ("towards", "away from") for i in (1, 2, 3)),
    )


def test_the_card_counts_as_the_machine_does(hide):
    ours, theirs = bench_card(hide), bench_card(hide, PLUS, MACHINE)
    np.testing.assert_allclose(theirs.expected, ours.expected[:, [2, 0, 1]] * (-1, 1, -1), rtol=0, atol=1e-14)
    # The reading at home, through the one object that says what zero is: -(-75.553° - 0.3 rad) for the first motor.
    assert f"{75.5532 + np.degrees(0.3):+.2f}"[:6] in repr(theirs)


def test_the_card_prints_as_a_page_and_as_a_table(hide):
    card = bench_card(hide)
    page, table = repr(card), card._repr_html_()
    assert max(map(len, page.splitlines())) <= 100
    for shown in ("yaw +10°", "tilt 15° away from leg 3"):
        assert shown in page
        assert shown in table
    for value in card.expected.ravel() / deg:
        assert f"{value:+.2f}" in page
        assert f"{value:+.2f}°" in table
    assert "every single fault" in page
    for text in (page.replace("\n", " "), table):
        assert "by hand only with the motors unplugged from their drivers" in text
    assert table.count("<tr>") == 9


def test_a_pose_out_of_reach_is_named_with_the_repair(hide):
    with pytest.raises(
        UnreachableError, match=r"tilt 55° away from leg 1: orientation 5 is out of reach.*with tilt="
    ) as e:
        bench_card(hide, tilt=55 * deg)
    assert e.value.pose == (5,)
    with pytest.raises(UnreachableError, match="home pose is out of reach"):
        bench_card(
            Mechanism.symmetric(proximal=40 * deg, distal=110 * deg, base_cone=60 * deg, platform_cone=60 * deg)
        )


# ---- faults


def test_there_are_as_many_faults_as_kinds_allow():
    assert len(SINGLE) == 1 + 7 + 5 + 7
    assert len(PAIRS) == 7 + 5 + 7 + 7 * 5 + 7 * 7 + 5 * 7
    assert len(set(FAULTS)) == len(FAULTS) == 2 * 8 * 6 * 8
    assert FAULTS[0] == Fault()
    assert len({str(fault) for fault in FAULTS}) == 768


def test_the_patterns_of_the_single_faults_differ_as_the_card_claims(hide):
    """Without `diagnose`: any two single faults, or a fault and none, differ by far more than readings can blur."""
    card = bench_card(hide)
    seen = [built(hide, PLUS, Convention(), fault)(card.poses) for fault in (Fault(), *SINGLE)]
    least = min(np.abs(one - other).max() for one, other in combinations(seen, 2))
    assert least > 9 * deg


@pytest.mark.parametrize("fault", SINGLE + PAIRS, ids=str)
def test_each_fault_and_each_pair_is_named_from_rough_readings_or_declared_the_same_as_a_plainer_one(hide, fault):
    card = bench_card(hide, PLUS, MACHINE)
    seed = FAULTS.index(fault)
    told = card.diagnose(rough(built(hide, PLUS, MACHINE, fault)(card.poses), seed))
    assert fault in told.faults
    assert told.rivals == ()
    assert told.misfit <= 2 * deg
    assert str(told.faults[0]) in told.message
    if told.faults[0] != fault:  # then nothing that turns could tell, at any orientation
        R = rotation.from_rpy(*np.random.default_rng(seed).uniform(-0.3, 0.3, (3, 50)))
        np.testing.assert_allclose(
            built(hide, PLUS, MACHINE, fault)(R), built(hide, PLUS, MACHINE, told.faults[0])(R), rtol=0, atol=1e-9
        )
        assert f"No motor angle can tell this from: {fault}" in told.message


def test_what_a_symmetric_joint_cannot_tell_is_declared_and_no_more(hide):
    groups = bench_card(hide).indistinct()
    # The mirror image of a symmetric joint is the joint itself, legs 2 and 3 exchanged, elbows on the other side.
    mirrored = Fault(mirrored=True)
    same = Fault(flipped=(True, True, True), order=(0, 2, 1))
    assert (mirrored, same) in groups
    assert all(len(group) == 2 for group in groups)
    assert all(group[1].count == 2 for group in groups)  # no two single faults
    assert bench_card(named_joints()["twisted"]).indistinct() == ()  # the twist shows the mirror


def test_how_rough_readings_may_be(hide):
    """Readings to within t may be off by t to either side: they tell faults apart that differ by more than 2 t."""
    card = bench_card(hide)
    seen = [built(hide, PLUS, Convention(), fault)(card.poses) for fault in (Fault(), *SINGLE)]
    least = min(np.abs(one - other).max() for one, other in combinations(seen, 2))

    def confused(tolerance):
        return [group for group in card.indistinct(tolerance) if sum(fault.count <= 1 for fault in group) > 1]

    assert confused(0.5 * least + 0.01 * deg)
    assert not confused(0.5 * least - 0.01 * deg)


@pytest.mark.parametrize("name", [name for name in named_joints() if name not in ("all arcs 90°", "coaxial")])
@pytest.mark.parametrize("mode", [(1, 1, 1), (-1, 1, -1)])
def test_single_faults_of_other_joints(name, mode):
    m = named_joints()[name]
    card = bench_card(m, mode)
    for k, fault in enumerate(SINGLE):
        told = card.diagnose(rough(built(m, mode, Convention(), fault)(card.poses), k))
        assert told.faults[0] == fault
        # Uneven azimuths nearly have a mirror, and the card says so; the pose that is asked for must then decide.
        declared = {other for group in card.indistinct() if fault in group for other in group}
        assert set(told.rivals) <= declared
        if told.rivals:
            assert name == "uneven azimuths"


def test_where_both_elbows_move_alike_the_card_says_that_it_cannot_tell():
    m = named_joints()["all arcs 90°"]
    for R in bench_card(m).poses:  # c = 0 in every pose: the roots are half a turn apart
        np.testing.assert_allclose(
            inverse_kinematics(m, R, PLUS, near=m.home_angles()) - m.home_angles(),
            inverse_kinematics(m, R, MINUS, near=m.home_angles(MINUS)) - m.home_angles(MINUS),
            rtol=0,
            atol=1e-12,
        )
    card = bench_card(m)
    assert "cannot tell apart: as planned; or leg" in repr(card).replace("\n", " ")
    told = card.diagnose(rough(card.expected, 1))
    assert told.as_planned
    assert "No motor angle can tell this from: leg 1 is in the wrong working mode" in told.message


def test_a_machine_as_planned_is_told_so(hide):
    card = bench_card(hide, (1, -1, 1), MACHINE)
    told = card.diagnose(rough(card.expected, 5))
    assert told.as_planned
    assert told.faults == (Fault(),)
    assert repr(told).startswith("The readings are those of the machine as planned")


def signs_of(change):
    return np.where(np.abs(change) < 2 * deg, 0, np.sign(change))


@pytest.mark.parametrize("fault", SINGLE + PAIRS, ids=str)
def test_signs_alone_name_each_fault_on_the_whole_card(hide, fault):
    card = bench_card(hide)
    told = card.diagnose(signs_of(built(hide, PLUS, Convention(), fault)(card.poses)), signs=True)
    assert fault in told.faults
    assert told.rivals == ()
    assert np.isnan(told.misfit)


@pytest.mark.parametrize("signs", [False, True])
@pytest.mark.parametrize("fault", [Fault(), *SINGLE], ids=str)
def test_from_one_pose_on_the_pose_asked_for_leads_to_the_fault(hide, fault, signs):
    """Begin with a yaw, which tells little, and do as told: the fault is found within three poses more."""
    machine = built(hide, PLUS, Convention(), fault)
    poses = rotation.rz([10 * deg])
    read = signs_of if signs else lambda change: rough(change, 3)
    for _ in range(4):
        told = diagnose(hide, PLUS, poses, read(machine(poses)), signs=signs)
        assert told.faults
        if not told.rivals:
            break
        assert told.next_name in told.message
        assert len(told.undecided) < len(told.rivals)
        poses = np.concatenate([poses, told.next_pose[None]])
    assert fault in told.faults
    assert told.rivals == ()


def test_the_pose_asked_for_does_tell_the_first_explanation_from_the_others(hide):
    told = diagnose(hide, PLUS, rotation.rz([10 * deg]), [[-7.4 * deg] * 3])
    first = built(hide, PLUS, Convention(), told.faults[0])(told.next_pose[None])
    assert told.undecided == ()
    for rival in told.rivals:
        other = built(hide, PLUS, Convention(), rival)(told.next_pose[None])
        assert np.abs(first - other).max() > 4 * deg


def test_readings_that_fit_nothing(hide):
    card = bench_card(hide)
    strange = card.expected.copy()
    strange[4, 1] += 40 * deg
    told = card.diagnose(strange)
    assert told.faults == ()
    assert not told.as_planned
    assert "Nearest: as planned, with 1 of 24 readings wrong, most of all motor 2 in pose 5" in told.message
    assert "it read +35.1° where -4.9° is wanted" in told.message
    assert told.misfit == pytest.approx(40 * deg)
    wrong = np.sign(card.expected)
    wrong[0, 0] *= -1
    assert "Nearest: as planned, with 1 of 24 readings wrong" in card.diagnose(wrong, signs=True).message


def test_where_nothing_moved_the_supply_comes_first(hide):
    card = bench_card(hide)
    for still, signs in ((np.zeros((8, 3)), False), (np.zeros((8, 3)), True), (card.expected * 0.01, False)):
        lines = card.diagnose(still, signs=signs).message.splitlines()
        assert lines[0] == "No motor moved: look first at power, at the enable input of the drivers, at the cables."
        assert lines[1].startswith("Nothing fits. Nearest: ")
    one = card.expected * (1, 0, 1)  # a plug of motor 2
    for seen, signs in ((one, False), (np.sign(one), True)):
        assert card.diagnose(seen, signs=signs).message.startswith("Nothing fits. ")


def test_a_motor_that_turns_twice_as_far_points_to_the_microsteps(hide):
    card = bench_card(hide)
    told = card.diagnose(card.expected * (1, 2, 1))
    assert told.faults == ()
    assert "motor 2 2.00. Command one turn and count it: microstep" in told.message


READ = bench_card(bird_hide())
REFUSED = [
    (
        {"observed": READ.expected[:5]},
        ValueError,
        r"poses has shape \(8, 3, 3\) and observed \(5, 3\).*Leave out a pose",
    ),
    ({"observed": READ.expected[0], "poses": READ.poses[0]}, ValueError, r"poses has shape \(3, 3\)"),
    ({"observed": np.full((8, 3), np.nan)}, ValueError, r"observed\[0, 0\] is nan"),
    (
        {"observed": READ.expected / deg},
        ValueError,
        r"observed\[0, 0\] is -7\.396.* rad.*for degrees write -7\.396.*\*deg",
    ),
    ({"observed": np.sign(READ.expected)}, ValueError, r"nothing but \+1, -1 and 0.*signs=True"),
    ({"signs": True}, ValueError, r"observed\[0, 0\] is -0\.129.*with signs=True it must be \+1, -1 or 0"),
    ({"observed": "plus"}, TypeError, r"observed must hold real numbers"),
    ({"poses": 2 * READ.poses}, ValueError, r"poses 0 is not a rotation"),
    ({"poses": np.tile(rotation.rz(2.5), (8, 1, 1))}, UnreachableError, r"orientation 0 is out of reach: leg"),
    ({"tolerance": 0}, ValueError, r"tolerance is 0"),
    ({"tolerance": 2}, ValueError, r"tolerance is 2 rad .*for degrees write 2\*deg"),
    ({"mode": [PLUS]}, ValueError, r"mode has shape \(1, 3\); a machine stands in one"),
    ({"mode": (1, 0, 1)}, ValueError, r"mode\[1\] is 0"),
    ({"convention": (0, 1, 2)}, TypeError, r"convention must be a Convention, not an object of type tuple"),
    ({"m": "bird hide"}, TypeError, r"must be a Mechanism"),
]


@pytest.mark.parametrize(("options", "kind", "message"), REFUSED)
def test_diagnose_refuses(options, kind, message):
    call = {"m": bird_hide(), "mode": PLUS, "poses": READ.poses, "observed": READ.expected, **options}
    with pytest.raises(kind, match=message):
        diagnose(call.pop("m"), call.pop("mode"), call.pop("poses"), call.pop("observed"), **call)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ({"tilt": 15}, r"tilt is 15 rad .*for degrees write 15\*deg"),
        ({"yaw": 0}, r"yaw is 0 rad"),
        ({"tilt": np.nan}, r"tilt is nan"),
        ({"yaw": -0.1}, r"yaw is -0\.1"),
    ],
    ids=str,
)
def test_bench_card_refuses(hide, options, message):
    with pytest.raises(ValueError, match=message):
        bench_card(hide, **options)


# ---- steps


def test_absolute_targets_rounded_once_stay_within_half_a_step_and_rounded_changes_drift(hide):
    """A slow circle of the pointing axis, ten times round, in 20 000 targets at 3200 x 60/17 steps to a turn."""
    belt = BeltDrive(17, 60, pitch=2 * mm, centre_distance=60 * mm)
    phi = np.linspace(0, 20 * np.pi, 20_001)
    theta = inverse_kinematics(hide, rotation.from_tilt_torsion(12 * deg, phi, 0, turns=True))
    exact = theta / (2 * np.pi) * 3200 * 60 / 17
    absolute = belt.steps(theta)
    assert np.abs(absolute - exact).max() <= 0.5
    np.testing.assert_array_equal(absolute[0], absolute[-1])  # back where it began
    sent = np.diff(absolute, axis=0)  # what goes to the driver: differences of rounded targets
    np.testing.assert_array_equal(absolute[0] + sent.sum(axis=0), absolute[-1])
    accumulated = absolute[0] + np.cumsum(belt.steps(np.diff(theta, axis=0)), axis=0)
    assert np.abs(accumulated - exact[1:]).max() > 50  # steps: what rounds each change and adds up loses its place


def test_a_zero_that_is_off_shows_as_a_pose_that_is_off(hide):
    """What the lesson says about home: one motor's zero off by a degree turns the platform by some tenths or more."""
    R = forward_kinematics(hide, hide.home_angles() + np.array([1, 0, 0]) * deg, near=np.eye(3))
    assert 0.3 < rotation.angle_between(R, np.eye(3)) / deg < 3
    assert (working_mode(hide, R, hide.home_angles() + np.array([1, 0, 0]) * deg) == 1).all()
