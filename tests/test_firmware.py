"""The C header: compiled with every warning an error, run under sanitizers, and compared with the package.

The reference is `inverse_kinematics`, which has tests of its own, at the very numbers that the C gets: orientations
are rounded to the C's scalar first. Bounds are those of the docstring of `angle_error`, where they are derived.
"""

import functools
import re
import shutil
import subprocess
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest

import c_header
from c_header import (
    DRIVE,
    DTYPE,
    HIDE,
    MORE_WARNINGS,
    SANITIZERS,
    UNTOUCHED,
    WARNINGS,
    compiled,
    random_convention,
    rounded,
    text_of,
    volumes,
)
from common import FULL, wrapped
from legloop import (
    WORKING_MODES,
    Convention,
    Mechanism,
    certify,
    deg,
    inverse_kinematics,
    leg,
    reach_margin,
    rotation,
)
from legloop.lesson.cases import named_joints, random_joints, random_orientations, reachable
from legloop.workshop import firmware
from legloop.workshop.drive import BeltDrive
from legloop.workshop.firmware import LimitsWarning, Status, angle_error, write_header, write_vectors
from legloop.workshop.firmware.literals import Literals
from legloop.workshop.motion import MotionLimits
from legloop.workshop.units import mm


def reference(m, theirs, mode, convention, near=0.0):
    """Angles (NaN: none), discriminants, sqrt(a^2 + b^2), how much each leg is short; legs in their order."""
    R = convention.orientation_to_ours(theirs)
    ours = inverse_kinematics(m, R, mode, unreachable="nan")
    theta = convention.angles_to_theirs(np.nan_to_num(ours))
    theta = theta + 2 * np.pi * np.rint((near - theta) / (2 * np.pi))
    order = list(convention.leg_order)
    a, b, c = (values[:, order] for values in m.leg_equation(R))
    h = np.hypot(a, b)
    return np.where(np.isnan(ours[:, order]), np.nan, theta), leg.discriminant(a, b, c), h, abs(c) - h


def allowed(D, h, theta, scalar):
    """The bound that is stated, and the one for the edge of reach beside it: the smaller of the two holds."""
    eps = float(np.finfo(DTYPE[scalar]).eps)
    edge = 2 * np.arcsin(np.sqrt(np.minimum(1, 22.5 * eps / 2 / (2 * h)))) + eps * (7 + abs(theta))
    least = np.minimum(angle_error(np.maximum(D, 0), theta, scalar=scalar), edge)
    return least if scalar == "float" else 2 * least  # in double the reference is rounded just as much


def near_limp(m, theirs, theta, convention):
    """Where V is below 0.01, the least that `build` asks for, or above it by no more than the angles can be off."""
    R, ours = convention.orientation_to_ours(theirs), convention.angles_to_ours(np.nan_to_num(theta))
    return abs(volumes(m, R, ours)) < 0.02


def compare(program, m, theirs, mode=(1, 1, 1), convention=None):
    """Run the poses through the C; every code and every angle against the package. Returns errors and D."""
    convention = convention or Convention()
    eps = float(np.finfo(DTYPE[program.scalar]).eps)
    theirs = rounded(theirs, program.scalar)
    code, theta, _ = program.solve(theirs)
    wanted, D, h, short = reference(m, theirs, mode, convention)
    solved, reached = code == Status.SOLVED, np.isfinite(wanted).all(axis=1)
    limp = near_limp(m, theirs, wanted, convention)
    assert set(code) <= {Status.SOLVED, Status.UNREACHABLE, Status.NEAR_TYPE_2}
    assert (solved | limp)[reached].all(), "a pose within reach is refused"
    assert (limp | ~reached)[code == Status.NEAR_TYPE_2].all(), "a pose is refused for V, which is not small"
    assert short[solved].max(initial=-1) <= 32 * eps, "out of reach and solved"  # 16, and the rounding of a, b, c
    assert (theta[~solved] == UNTOUCHED).all()
    assert (abs(theta[solved]) <= float(DTYPE[program.scalar](np.pi))).all()
    both = solved & np.isfinite(wanted).all(axis=1)
    error = abs(wrapped(theta[both] - wanted[both]))
    excess = error / allowed(D[both], h[both], wanted[both], program.scalar)
    assert excess.max(initial=0) <= 1
    return error, D[both]


# --- the same mathematics -----------------------------------------------------------------------------------


def crowd():
    """Joints with modes, conventions: the bird hide in all eight modes, the edges, joints of unlike legs.

    Twenty in full. Without it every other pair of the rest is left out; a pair is one without and one with a
    convention.
    """
    found = [(HIDE, mode, None) for mode in WORKING_MODES]
    named = [m for name, m in named_joints().items() if name != "bird hide"]
    others = [*named, *random_joints(6, seed=34)]
    found += [
        (m, WORKING_MODES[k % 8], random_convention(k) if k % 2 else None)
        for k, m in enumerate(others)
        if FULL or k % 4 < 2
    ]
    return found


def test_float_agrees_over_a_hundred_thousand_poses_in_all_modes(build):
    poses = legs = 0
    worst, joints = 0.0, crowd()
    half = 50_000 // len(joints) + 1
    for k, (m, mode, convention) in enumerate(joints):
        R = np.concatenate([random_orientations(half, seed=k), reachable(m, half, seed=100 + k, margin=0)])
        if convention:
            R = convention.orientation_to_theirs(R)
        error, D = compare(build(m, mode=mode, convention=convention), m, R, mode, convention)
        poses, legs = poses + len(R), legs + error.size
        worst = max(worst, (error * np.sqrt(np.maximum(D, 0))).max() / np.finfo(np.float32).eps)
    assert poses >= 100_000
    assert legs >= 3 * 50_000
    # The bound, 32, adds up what never happens at once. An error below one unit would mean that nothing was rounded;
    # one above half of the bound, that the bound was lucky.
    assert 1 < worst < 16


def test_double_agrees_over_tens_of_thousands_of_poses(build):
    for k, (m, mode, convention) in enumerate(crowd()[1 :: 2 if FULL else 3]):
        R = np.concatenate([random_orientations(2500, seed=k), reachable(m, 2500, seed=100 + k, margin=0)])
        if convention:
            R = convention.orientation_to_theirs(R)
        compare(build(m, mode=mode, convention=convention, scalar="double"), m, R, mode, convention)


def test_the_optimiser_and_fused_products_change_nothing_that_matters(cc, tmp_path):
    fused = [*SANITIZERS, "-O3", "-ffp-contract=fast"]
    text = text_of(tmp_path, least_elbow=0, least_volume=0.01)
    program = compiled(cc, tmp_path / "fast", text, "float", fused)
    assert program.self_test() == 0
    compare(program, HIDE, reachable(HIDE, 5000, seed=1, margin=0))


@functools.cache
def at_the_edge(m, count, seed):
    """Orientations at which a leg is folded or stretched, to rounding: bisection from within reach to out of it."""
    inside = reachable(m, count, seed)
    rng = np.random.default_rng(seed)
    axis = rng.normal(size=(count, 3))
    axis /= np.linalg.norm(axis, axis=1, keepdims=True)
    angle = np.linspace(0, np.pi, 60)
    turned = rotation.from_rotation_vector(angle[:, None, None] * axis) @ inside
    out = (reach_margin(m, turned) < 0).any(axis=2)
    leaves = out.any(axis=0)
    first = np.argmax(out, axis=0)[leaves]
    low, high, axis, inside = angle[first - 1], angle[first], axis[leaves], inside[leaves]
    for _ in range(60):
        half = (low + high) / 2
        turned = rotation.from_rotation_vector(half[:, None] * axis) @ inside
        within = (reach_margin(m, turned) >= 0).all(axis=1)
        low, high = np.where(within, half, low), np.where(within, high, half)
    return rotation.from_rotation_vector(low[:, None] * axis) @ inside


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_folded_and_stretched_legs(build, scalar):
    for m in (HIDE, named_joints()["coaxial"], *random_joints(2, seed=5)):
        edge = at_the_edge(m, 1000, seed=3)
        near = rotation.from_rotation_vector(np.random.default_rng(1).normal(size=(len(edge), 3)) * 1e-5) @ edge
        error, D = compare(build(m, scalar=scalar, mode=(1, -1, 1)), m, np.concatenate([edge, near]), (1, -1, 1))
        assert (abs(D) < 1e-6).any(axis=1).sum() > 200  # the edge was met
        assert error.max() > 50 * np.finfo(DTYPE[scalar]).eps  # and there the digits are lost indeed


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_axes_that_all_but_coincide(build, scalar):
    """With all arcs 90° a leg closes in every pose, and where u and R v are parallel its angle is free, and D = 0."""
    m, mode, eps = named_joints()["all arcs 90°"], (1, -1, 1), np.finfo(DTYPE[scalar]).eps
    meet = next(R for R in turns_of_a_cube() if abs(leg.discriminant(*m.leg_equation(R))).min() < 1e-20)
    small = np.random.default_rng(2).normal(size=(4000, 3)) * np.geomspace(eps / 10, 1e-2, 4000)[:, None]
    R = rounded(rotation.from_rotation_vector(small) @ meet, scalar)
    code, theta, _ = build(m, mode=mode, scalar=scalar).solve(R)
    wanted, D, h, _ = reference(m, R, mode, Convention())
    free, clear = (h < 4 * eps).any(axis=1), (h > 32 * eps).all(axis=1)  # 16, and the rounding of a and b
    assert min(free.sum(), clear.sum()) > 200
    assert (code[free] == Status.UNDETERMINED).all()
    limp = code == Status.NEAR_TYPE_2  # V depends on the angle that is all but free
    assert near_limp(m, R, wanted, Convention())[clear & limp].all()
    clear &= ~limp
    assert clear.sum() > 30
    assert (code[clear] == Status.SOLVED).all()
    error = abs(wrapped(theta[clear] - wanted[clear]))
    assert (error <= allowed(D[clear], h[clear], wanted[clear], scalar)).all()


def turns_of_a_cube():
    quarters = np.indices((4, 4, 4)).reshape(3, -1).T * 90 * deg
    return np.rint(rotation.from_euler("xyz", quarters))


def test_half_a_turn_reads_plus_pi(build):
    right = named_joints()["all arcs 90°"]
    mode = (-1, -1, -1)
    np.testing.assert_allclose(right.home_angles(mode), np.pi, rtol=0, atol=1e-15)
    program = build(right, mode=mode)
    code, theta, _ = program.solve([np.eye(3)])
    assert code == Status.SOLVED
    assert (theta == float(np.float32(np.pi))).all()
    small = np.random.default_rng(4).normal(size=(3000, 3)) * np.geomspace(1e-9, 1e-2, 3000)[:, None]
    error, _ = compare(program, right, rotation.from_rotation_vector(small), mode)
    assert len(error) == 3000
    _, theta, _ = program.solve(rotation.from_rotation_vector(small))
    assert {-1, 1} == set(np.sign(theta).ravel())  # both sides of the cut
    assert (theta > -float(np.float32(np.pi))).all()  # but never -pi itself


PARALLEL = {  # u and R v parallel at home in all legs; opposite, with arcs that make up half a turn
    "along": Mechanism.symmetric(proximal=60 * deg, distal=60 * deg, base_cone=45 * deg, platform_cone=135 * deg),
    "against": Mechanism.symmetric(
        proximal=70 * deg,
        distal=110 * deg,
        base_cone=45 * deg,
        platform_cone=45 * deg,
        twist=180 * deg,
    ),
}


@pytest.mark.parametrize("m", PARALLEL.values(), ids=PARALLEL)
@pytest.mark.parametrize("scalar", ["float", "double"])
def test_a_leg_whose_angle_may_be_anything(build, m, scalar):
    a, b, c = m.leg_equation(np.eye(3))
    assert leg.undetermined(a, b, c).all()
    program = build(m, scalar=scalar)
    code, theta, _ = program.solve([np.eye(3)])
    assert code == Status.UNDETERMINED
    assert (theta == UNTOUCHED).all()
    last = rounded([0.25, -2.5, 9.0], scalar)
    code, theta, _ = program.track([np.eye(3)], [last], 0.1, volume=volumes(m, np.eye(3), last))
    assert code == Status.SOLVED
    assert (theta == inverse_kinematics(m, np.eye(3), near=last)).all()
    assert (theta == last).all()


def test_parallel_axes_and_no_angle(build):
    m = Mechanism.symmetric(proximal=60 * deg, distal=75 * deg, base_cone=45 * deg, platform_cone=135 * deg)
    code, theta, _ = build(m).solve([np.eye(3)])
    assert code == Status.UNREACHABLE
    assert (theta == UNTOUCHED).all()


# --- what must never reach a motor --------------------------------------------------------------------------


def no_rotations():
    good = random_orientations(6, seed=8)
    found = [0 * good[0], 2 * good[0], 0.98 * good[1], 1.0001 * good[2], -good[0], good[1] @ np.diag([1, -1, 1])]
    found += [1e30 * good[0], 1e-30 * good[0], np.ones((3, 3)), np.full((3, 3), np.nan), np.full((3, 3), np.inf)]
    found.append(good[3] @ (np.eye(3) + 1e-4 * np.eye(3, k=1)))  # skewed
    found.append(np.diag([2, 0.5, 1.0]))  # of determinant 1
    for bad in (np.nan, np.inf, -np.inf, 1e38, 3.0):
        for k in range(9):
            entry = good[4].copy()
            entry.flat[k] = bad
            found.append(entry)
    return np.stack(found)


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_what_is_no_rotation_is_refused_and_nothing_is_written(build, scalar):
    program = build(HIDE, scalar=scalar, drive=DRIVE)
    bad = no_rotations()
    code, theta, _ = program.solve(bad)
    assert (code == Status.NOT_ROTATION).all()
    assert (theta == UNTOUCHED).all()
    last = np.tile(HIDE.home_angles(), (len(bad), 1))
    for task, before in (("t", UNTOUCHED), ("a", rounded(last, scalar))):
        code, theta, _ = program.track(bad, last, np.ones(len(bad)), task=task)
        assert (code == Status.NOT_ROTATION).all()
        assert (theta == before).all()


def test_whatever_the_package_takes_for_a_rotation_the_header_takes(build):
    program = build(HIDE)
    rng = np.random.default_rng(6)
    R = reachable(HIDE, 4000, seed=6)
    stretch = 1 + rng.uniform(-4e-6, 4e-6, (4000, 3))
    bent = rounded(R @ (np.eye(3) * stretch[:, None]))
    taken = []
    for k, pose in enumerate(bent):
        try:
            rotation.to_quaternion(pose)
            taken.append(k)
        except ValueError:
            pass
    assert 50 < len(taken) < 3000
    assert (program.solve(bent[taken])[0] != Status.NOT_ROTATION).all()
    assert (program.solve(bent * (1 + 1e-5))[0] == Status.NOT_ROTATION).mean() > 0.99


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_quaternions(build, scalar):
    program = build(HIDE, scalar=scalar)
    q = rotation.to_quaternion(random_orientations(5000, seed=9))
    q = rounded(np.concatenate([q, -q, np.eye(4), -np.eye(4)]), scalar)
    code, R = program("q", q)
    assert (code == Status.SOLVED).all()
    wanted = rotation.from_quaternion(q)
    # each entry: two products, their sum, a factor, a difference, of numbers up to 2; the divisor: 5 roundings more
    np.testing.assert_allclose(R.reshape(-1, 3, 3), wanted, rtol=0, atol=12 * np.finfo(DTYPE[scalar]).eps)
    assert set(program.solve(R)[0]) <= {Status.SOLVED, Status.UNREACHABLE, Status.NEAR_TYPE_2}  # each a rotation
    bad = [q[0] * 1.001, q[0] * 0.999, 0 * q[0], q[0] * 1e30, q[0] * 1e-30, q[0] * [1, 1, 1, np.nan]]
    bad += [[np.inf, 0, 0, 1], [np.nan] * 4, [0, 0, 0, -np.inf]]
    code, R = program("q", bad)
    assert (code == Status.NOT_UNIT).all()
    assert (R == UNTOUCHED).all()


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_a_sensor_that_rounds_is_normalised_and_nothing_else(build, scalar):
    program, eps = build(HIDE, scalar=scalar), np.finfo(DTYPE[scalar]).eps
    most = float(DTYPE[scalar](0.002))
    q = rotation.to_quaternion(random_orientations(4000, seed=12))
    sent = rounded(np.round(q * 2**14) / 2**14, scalar)  # 14 bits behind the point, as many sensors send it
    assert (program("q", sent)[0] == Status.NOT_UNIT).mean() > 0.5
    limit = np.full((4000, 1), most)
    for task in "uv":
        code, unit = program(task, sent, limit)
        assert (code == Status.SOLVED).all()
        assert (program("q", unit)[0] == Status.SOLVED).all()
        # the square has four roundings at most of size 1, the root and the division one each
        exact = sent / np.linalg.norm(sent, axis=1, keepdims=True)
        np.testing.assert_allclose(unit, exact, rtol=0, atol=4 * eps)
    scale = np.repeat([[0.997], [0.999], [1.001], [1.003], [0.0], [2.0], [1e30], [1e-30]], 10, axis=0)
    tried = rounded(scale * q[:80], scalar)
    for task, before in (("u", np.full((80, 4), UNTOUCHED)), ("v", tried)):
        code, unit = program(task, tried, limit[:80])
        taken = np.isin(scale[:, 0], (0.999, 1.001))
        assert (code == np.where(taken, Status.SOLVED, Status.NOT_UNIT)).all()
        assert (unit[~taken] == before[~taken]).all()
    lost = [[np.nan, 0, 0, 1], [0, 0, 0, np.nan], [np.inf, 0, 0, 0], [0, -np.inf, 0, 1]]
    assert (program("u", lost, limit[:4])[0] == Status.NOT_UNIT).all()
    for wrong in (0, -0.01, 0.11, np.nan, np.inf):
        code, unit = program("u", [[0, 0, 0, 1]], [[wrong]])
        assert code == Status.BAD_ARGUMENT
        assert (unit == UNTOUCHED).all()
    assert program("u", [[0, 0, 0, 1.09]], [[float(DTYPE[scalar](0.1))]])[0] == Status.SOLVED


def test_the_scalar_of_a_quaternion_is_last(build):
    program = build(HIDE)
    code, R = program("q", [[0, 0, np.sin(0.2), np.cos(0.2)]])
    assert code == Status.SOLVED
    np.testing.assert_allclose(R.reshape(3, 3), rotation.rz(0.4), rtol=0, atol=3e-7)


# --- tracking, limits, steps --------------------------------------------------------------------------------


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_tracking_follows_the_motors_over_many_turns(build, scalar):
    coaxial = named_joints()["coaxial"]
    convention = random_convention(3)
    program = build(coaxial, scalar=scalar, convention=convention)
    yaw = np.linspace(0, 60 * np.pi, 3000)
    path = rounded(convention.orientation_to_theirs(rotation.rz(yaw, turns=True) @ rotation.rx(0.1)), scalar)
    R = convention.orientation_to_ours(path)
    angles = convention.angles_to_theirs(inverse_kinematics(coaxial, R))
    whole = np.unwrap(angles, axis=0) + program.solve(path[:1])[1] - angles[0]  # from where it starts, turn upon turn
    wanted = angles + 2 * np.pi * np.rint((whole - angles) / (2 * np.pi))
    code, theta, _ = program.track(path, wanted + 0.02, np.full(3000, 0.05))
    assert (code == Status.SOLVED).all()
    D = leg.discriminant(*coaxial.leg_equation(R))[:, list(convention.leg_order)]
    assert (abs(theta - wanted) <= 2 * angle_error(D, wanted, scalar=scalar)).all()
    assert abs(wanted[-1]).max() > 50 * np.pi


def test_a_jump_is_refused(build):
    program = build(HIDE)
    home = HIDE.home_angles()
    pose = rotation.ry(10 * deg)
    move = abs(inverse_kinematics(HIDE, pose) - home).max()
    for task, before in (("t", UNTOUCHED), ("a", rounded(home))):
        code, theta, _ = program.track([pose, pose], [home, home], [move * 0.999, move * 1.001], task=task)
        assert code.tolist() == [Status.JUMP, Status.SOLVED]
        assert (theta[0] == before).all()
        np.testing.assert_allclose(theta[1], inverse_kinematics(HIDE, pose), rtol=0, atol=1e-5)
    turned = home + 2 * np.pi * np.array([3, -2, 0])  # whole turns away is no jump: the equal angle there is taken
    code, theta, _ = program.track([pose], [turned], move * 1.001)
    assert code == Status.SOLVED
    np.testing.assert_allclose(theta[0], inverse_kinematics(HIDE, pose, near=turned), rtol=0, atol=1e-5)
    for back in (pose, rotation.ry(-10 * deg)):  # the largest move goes one way, then the other
        move = abs(inverse_kinematics(HIDE, back) - home).max()
        code, *_ = program.track([back, back], [home, home], [move * 0.999, move * 1.001])
        assert code.tolist() == [Status.JUMP, Status.SOLVED]


def test_arguments_of_tracking_are_checked(build):
    program = build(HIDE)
    bad_jumps = [0.0, -0.1, 3.2, np.nan, np.inf]
    bad_lasts = [np.nan, np.inf, -np.inf, 629.0, -1e30]
    home = HIDE.home_angles()
    lasts = [home] * len(bad_jumps) + [np.where(np.arange(3) == k % 3, bad, home) for k, bad in enumerate(bad_lasts)]
    jumps = bad_jumps + [0.1] * len(bad_lasts)
    code, theta, _ = program.track([np.eye(3)] * len(jumps), lasts, jumps)
    assert (code == Status.BAD_ARGUMENT).all()
    assert (theta == UNTOUCHED).all()


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_limits_are_kept_in_the_angles_of_the_machine(build, scalar):
    convention = random_convention(12)
    limits = np.array([(-100, -20), (-110, -50), (-120, 60)]) * deg  # ours, legs in our order
    program = build(HIDE, scalar=scalar, convention=convention, motor_limits=limits, drive=DRIVE)
    turns = np.random.default_rng(2).normal(size=(3000, 3)) * 0.35
    ours = np.concatenate([rotation.from_rotation_vector(turns), random_orientations(500, seed=2)])
    theirs = rounded(convention.orientation_to_theirs(ours), scalar)
    code, theta, _ = program.solve(theirs)
    angles = inverse_kinematics(HIDE, convention.orientation_to_ours(theirs), unreachable="nan")
    inside = ((limits[:, 0] <= angles) & (angles <= limits[:, 1])).all(axis=1)  # they lie within (-pi, pi]
    near = (abs(angles[..., None] - limits) < 1e-5).any(axis=(1, 2)) | np.isnan(angles).any(axis=1)
    near |= near_limp(HIDE, theirs, convention.angles_to_theirs(np.nan_to_num(angles)), convention)
    assert ((code == Status.SOLVED) == inside)[~near].all()
    assert (code[~near & ~inside] == Status.TRAVEL).all()
    assert 200 < inside.sum() < 2800
    assert (theta[code != Status.SOLVED] == UNTOUCHED).all()
    solved = code == Status.SOLVED
    # the turn that fits the limits, not only the angle up to whole turns: a zero here may be 6 rad away
    np.testing.assert_allclose(convention.angles_to_ours(theta[solved]), angles[solved], rtol=0, atol=1e-4)
    low, high = np.sort(convention.angles_to_theirs(limits.T), axis=0)
    code, steps = program("n", [low + 1e-5, high - 1e-5, low - 1e-4, high + 1e-4])
    assert code.tolist() == [Status.SOLVED, Status.SOLVED, Status.TRAVEL, Status.TRAVEL]
    assert (steps[2:] == UNTOUCHED).all()


def near_home(count, seed):
    """Turns of 25° or so from home, within reach of the bird hide's head."""
    R = rotation.from_rotation_vector(np.random.default_rng(seed).normal(size=(2 * count, 3)) * 15 * deg)
    return R[(reach_margin(HIDE, R) > 0).all(axis=1)][:count]


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_travel_is_counted_by_the_machine_and_motor_limits_by_us(build, scalar):
    """The same pair of numbers means two things, and each is done."""
    machine = Convention(zero=HIDE.home_angles(), sense=(-1, 1, -1), leg_order=(2, 0, 1))
    travel = np.array([(-30, 20), (-25, 35), (-40, 15)]) * deg  # motors in the order of the machine
    theirs = rounded(machine.orientation_to_theirs(near_home(3000, seed=5)), scalar)
    angles = machine.angles_to_theirs(inverse_kinematics(HIDE, machine.orientation_to_ours(theirs)))
    inside = ((travel[:, 0] <= angles) & (angles <= travel[:, 1])).all(axis=1)
    sure = (abs(angles[..., None] - travel) > 1e-5).all(axis=(1, 2))  # no rounding turns these over
    assert 200 < inside.sum() < 2800
    limits = MotionLimits(1.0, 1.0, tick=0.01, travel=travel).travel  # what a plan of these motors is held to
    program = build(HIDE, scalar=scalar, convention=machine, travel=limits)
    code, *_ = program.solve(theirs)
    assert (code == np.where(inside, Status.SOLVED, Status.TRAVEL))[sure].all()
    ours = np.sort(np.stack([machine.angles_to_ours(end) for end in travel.T], axis=1), axis=1)
    other = build(HIDE, scalar=scalar, convention=machine, motor_limits=ours)
    assert (other.solve(theirs)[0] == code)[sure].all()


def test_an_open_end_is_not_checked_and_all_open_is_none(build, tmp_path):
    travel = np.array([(-np.inf, -60), (-90, np.inf), (-np.inf, np.inf)]) * deg
    program = build(HIDE, travel=travel, drive=DRIVE)
    R = near_home(2000, seed=6)
    angles = inverse_kinematics(HIDE, rounded(R))
    inside = ((travel[:, 0] <= angles) & (angles <= travel[:, 1])).all(axis=1)
    sure = (abs(angles[..., None] - travel) > 1e-5).all(axis=(1, 2))
    code, *_ = program.solve(R)
    assert (code == np.where(inside, Status.SOLVED, Status.TRAVEL))[sure].all()
    assert 200 < inside.sum() < 1800
    code, _ = program("n", [[-600, 600, 600], [-600, -600, 0], [600, 0, 0]])
    assert code.tolist() == [Status.SOLVED, Status.TRAVEL, Status.TRAVEL]
    assert text_of(tmp_path, travel=(-np.inf, np.inf)) == text_of(tmp_path)


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_steps_are_those_of_convention_and_drive(build, scalar):
    convention = random_convention(21)
    program = build(HIDE, scalar=scalar, convention=convention, drive=DRIVE)
    theirs = rounded(convention.orientation_to_theirs(near_home(5000, seed=4)), scalar)
    _, theta, _ = program.solve(theirs)
    code, steps = program("n", theta)
    assert (code == Status.SOLVED).all()
    R = convention.orientation_to_ours(theirs)
    ours = inverse_kinematics(HIDE, R, near=convention.angles_to_ours(np.zeros(3)))  # nearest to the machine's zero
    wanted = DRIVE.steps(ours, convention=convention)
    exact = convention.angles_to_theirs(ours) / DRIVE.step_angle
    D = leg.discriminant(*HIDE.leg_equation(R))[:, list(convention.leg_order)]
    blur = (2 * angle_error(D, np.pi, scalar=scalar)) / DRIVE.step_angle  # twice: the product rounds once more
    assert (abs(steps - exact) <= 0.5 + blur).all()
    sure = abs(exact - np.rint(exact)) < 0.5 - blur
    assert (steps == wanted)[sure].all()
    assert sure.mean() > 0.9


def test_steps_round_ties_to_even_as_the_package_does_and_refuse_what_cannot_be_counted(build):
    whole = BeltDrive(60, 60, pitch=2 * mm, centre_distance=100 * mm, steps_per_turn=4, microsteps=1)
    program = build(HIDE, scalar="double", drive=whole)
    theta = np.arange(-9, 9)[:, None] / 2 * whole.step_angle * np.ones(3)
    code, steps = program("n", theta)
    assert (code == Status.SOLVED).all()
    assert (steps == whole.steps(theta)).all()
    fine = replace(DRIVE, microsteps=512)  # 307200 steps in a turn
    far = 2**24 * fine.step_angle  # 343 rad: a float counts no farther one by one
    bad = [[np.nan, 0, 0], [0, np.inf, 0], [0, 0, 700.0], [0, -1e30, 0], [far * 1.001, 0, 0]]
    code, steps = build(HIDE, drive=fine)("n", [*bad, [0, 0, far * 0.999]])
    assert code.tolist() == [Status.BAD_ARGUMENT] * 5 + [Status.SOLVED]
    assert (steps[:5] == UNTOUCHED).all()
    code, steps = build(HIDE, scalar="double", drive=fine)("n", [*bad, [0, -628.0, 0]])
    assert code.tolist() == [Status.BAD_ARGUMENT] * 4 + [Status.SOLVED] * 2
    assert steps[5].tolist() == fine.steps([0, -628.0, 0]).tolist()


def test_within_the_certified_reach_a_float_is_sharper_than_a_microstep(build):
    proof = certify(HIDE, (1, 1, 1), tilt=30 * deg, torsion=(-20 * deg, 20 * deg))
    assert proof.proved
    promised = angle_error(proof.least_discriminant.min(), np.abs(proof.travel).max())
    assert promised < DRIVE.step_angle / 50
    program = build(HIDE, drive=DRIVE, motor_limits=proof.travel)
    rng = np.random.default_rng(7)
    tilt, azimuth, torsion = rng.uniform(-1, 1, (3, 20_000)) * np.array([[30 * deg], [np.pi], [20 * deg]])
    R = rounded(rotation.from_tilt_torsion(abs(tilt), azimuth, torsion))
    code, theta, _ = program.solve(R)
    assert (code == Status.SOLVED).all()
    wanted = inverse_kinematics(HIDE, R)
    assert abs(theta - wanted).max() <= promised
    _, steps = program("n", theta)
    assert abs(steps - DRIVE.steps(wanted)).max() <= 1
    assert (steps != DRIVE.steps(wanted)).mean() < 0.02  # only where the angle is a tie to a fiftieth of a step


# --- the text -----------------------------------------------------------------------------------------------


def code_of(text):
    return re.sub(r"//.*|\"[^\"]*\"", "", text)


def test_a_float_header_holds_no_double_and_a_double_header_no_float(tmp_path):
    literal = re.compile(r"(?<![\w.])(?:\d+\.\d*|\.\d+|\d+(?=e))(?:e[-+]?\d+)?(f?)")
    for scalar, other in (("float", "double"), ("double", "float")):
        options = {"drive": DRIVE, "motor_limits": (-3, 3), "convention": random_convention(2)}
        code = code_of(text_of(tmp_path, scalar=scalar, **options))
        suffixes = [m[1] for m in literal.finditer(code)]
        assert len(suffixes) > 100
        assert set(suffixes) == {"f" if scalar == "float" else ""}
        assert not re.search(rf"\b{other}\b", code)
        called = set(re.findall(r"\b(sqrt|atan2|floor|sin|cos|fabs|rint|lrint)(f?)\(", code))
        assert called == {(name, suffixes[0]) for name in ("sqrt", "atan2", "floor", "sin", "cos", "lrint")}


def test_nothing_but_math_no_memory_no_statics(tmp_path):
    code = code_of(text_of(tmp_path, drive=DRIVE, motor_limits=(-3, 3)))
    assert re.findall(r"#include\s+(\S+)", code) == ["<math.h>"]
    assert not re.search(r"\b(malloc|calloc|free|alloca|extern|goto)\b", code)
    assert re.findall(r"\bstatic\b(?! inline (?:int|void|legloop_scalar) legloop_)", code) == []
    names = set(re.findall(r"\b([A-Za-z_]\w*)\s*\(", code)) - {"if", "for", "sizeof", "defined"}
    allowed = {"sqrtf", "atan2f", "floorf", "sinf", "cosf", "lrintf", "legloop_scalar"}
    assert {name for name in names if not name.lower().startswith("legloop_")} <= allowed


MIRRORED = Convention(zero=HIDE.home_angles(), sense=(-1, -1, -1), leg_order=(0, 2, 1))


def comment_of(text):
    """The comment at the top, its lines joined."""
    return " ".join(line.removeprefix("//").strip() for line in text.split("#ifndef")[0].splitlines())


def test_the_comment_tells_the_limits_in_both_countings(tmp_path):
    """Home of the bird hide is at -75.55°; with the sense -1 an angle t of the machine is our -75.55° - t."""
    travel = np.array([(-85, 80), (-84, 70), (-83, 60)]) * deg
    text = comment_of(text_of(tmp_path, convention=MIRRORED, travel=travel))
    assert "Motor 1: -85.00 to 80.00 as the machine counts, -155.55 to 9.45 as legloop does (its leg 1)." in text
    assert "Motor 2: -84.00 to 70.00 as the machine counts, -145.55 to 8.45 as legloop does (its leg 3)." in text
    assert "travel was given, as the machine counts" in text
    assert "the motors stand at 0.00, 0.00, 0.00 as the machine counts" in text
    text = comment_of(text_of(tmp_path, convention=MIRRORED, motor_limits=travel))
    assert "Motor 2: -135.55 to 7.45 as the machine counts, -83.00 to 60.00 as legloop does (its leg 3)." in text
    assert "motor_limits was given, as legloop counts" in text
    assert "does NOT check" in comment_of(text_of(tmp_path))


def test_home_outside_the_limits_or_at_their_end_is_said(tmp_path):
    for low, told in ((0.5, r"only 0\.50° inside"), (-3.0, r"3\.00° outside")):
        limits = {"travel": [(-1, 1), (-low * deg, 1), (-1, 1)], "convention": MIRRORED}
        with pytest.warns(
            LimitsWarning, match=f"{told} the limits of motor 2.* at 0.00° .*counts, -75.55°"
        ) as caught:
            text = text_of(tmp_path, **limits)
        assert len(caught) == 1
        assert caught[0].filename == c_header.__file__  # where `text_of` calls it
        assert str(caught[0].message).replace("°", " deg") in comment_of(text)
        with pytest.warns(LimitsWarning, match=told):
            write_vectors(tmp_path / "v.csv", HIDE, **limits, overwrite=True)
    assert "CAUTION" not in text_of(tmp_path, travel=[(-1, 1), (-1.01 * deg, 1), (-1, 1)], convention=MIRRORED)
    away = certify(HIDE, (1, 1, 1), tilt=5 * deg, torsion=(10 * deg, 20 * deg))  # no joint has to pass through home
    with pytest.warns(LimitsWarning, match=r"outside the limits of motor \d"):
        text_of(tmp_path, motor_limits=away.travel)


def test_no_line_of_the_joint_or_the_limits_is_long(tmp_path):
    text = text_of(tmp_path, random_joints(1, seed=3)[0], convention=random_convention(1), drive=DRIVE)
    about = text.split("// Orientation")[0].splitlines()
    assert max(map(len, about)) <= 118
    assert sum(line.startswith("//   leg ") for line in about) == 3
    with pytest.warns(LimitsWarning):
        text = text_of(tmp_path, convention=MIRRORED, travel=(0.0, 3.0), drive=DRIVE)
    limits = text[text.index("// Limits") : text.index("// Elbows")].splitlines()
    assert len(limits) > 8
    assert max(map(len, limits)) <= 118


def test_the_same_settings_give_the_same_text_and_others_another_guard(tmp_path):
    guard = re.compile(r"#ifndef (LEGLOOP_\w+_H)")
    first, again = text_of(tmp_path, drive=DRIVE), text_of(tmp_path, drive=DRIVE)
    assert first == again
    others = [text_of(tmp_path), text_of(tmp_path, mode=(1, 1, -1)), text_of(tmp_path, scalar="double")]
    assert len({guard.search(text)[1] for text in [first, *others]}) == 4


def test_the_constants_give_the_same_number_back(tmp_path):
    for scalar, suffix in (("float", "f"), ("double", "")):
        text = text_of(tmp_path, random_joints(1, seed=3)[0], scalar=scalar)
        read = {float(n) for n in re.findall(rf"(\d+\.\d+(?:e-\d+)?){suffix} \* r\[", text)}
        wanted = abs(random_joints(1, seed=3)[0].platform_axes).astype(DTYPE[scalar]).astype(float)
        assert {float(DTYPE[scalar](n)) for n in read} == set(wanted.ravel().tolist())


def test_every_float_comes_back_from_its_digits():
    number = Literals("float")
    for value in np.random.default_rng(5).uniform(-1, 1, 5000).astype(np.float32):
        assert np.float32(number(float(value)).removesuffix("f")) == value


def test_the_header_names_the_codes_of_the_package(tmp_path):
    found = re.findall(r"LEGLOOP_(\w+) = (\d+)", text_of(tmp_path))
    assert {name: int(value) for name, value in found} == {status.name: int(status) for status in Status}


def test_the_template_is_part_of_the_package():
    assert resources.files(firmware).joinpath("joint.h.in").is_file()


# --- what the compiler and the self-test refuse -------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("atan2f(0.0f - b * c - a * root, b * root - a * c)", "atan2f(b * root - a * c, 0.0f - b * c - a * root)"),
        ("root = elbow * sqrtf(square)", "root = 0.0f - elbow * sqrtf(square)"),
        ("b * b - c * c", "b * b + c * c"),
        ("    c = 0.353553385f", "    c = 0.353653385f"),
        ("p[0] = 0.766044438f * r[0]", "p[0] = 0.766044438f * r[3]"),
        ("* LEGLOOP_PI * turns", "* LEGLOOP_PI + 0.0f * turns"),
        ("return LEGLOOP_UNREACHABLE;", "square = 0.0f;"),
        (
            "return 0;\n            }\n        }\n    }\n    return r[0]",
            "i = 3;\n            }\n        }\n    }\n    return r[0]",
        ),
        ("lrintf(count[i])", "(long)count[i]"),
        ("> 0.0f;", "!= 0.0f;"),
        ("r[1] = k * (x * y - z * w)", "r[1] = k * (x * y + z * w)"),
        ("x = q[0], y = q[1], z = q[2], w = q[3]", "w = q[0], x = q[1], y = q[2], z = q[3]"),
        ("        return LEGLOOP_NOT_UNIT;\n    }\n    k =", "        k = 0.0f;\n    }\n    k ="),
        ("unit[i] = q[i] / length;", "unit[i] = q[i];"),
        ("code = LEGLOOP_JUMP;", "code = LEGLOOP_SOLVED;"),
        ("    return legloop_travel_(theta);\n", "    return LEGLOOP_SOLVED;\n"),
        ("const legloop_scalar high[3] = {0.2", "const legloop_scalar high[3] = {3.2"),
        ("theta[i] >= low[i]", "theta[i] >= low[i] - 3.0f"),
    ],
    ids=[
        "atan2",
        "elbow",
        "D",
        "constant",
        "index",
        "turns",
        "unreachable",
        "rotation",
        "truncated",
        "mirror",
        "quaternion",
        "w first",
        "unit",
        "normalise",
        "jump",
        "travel",
        "an end",
        "low",
    ],
)
def test_the_self_test_notices(cc, build, tmp_path, old, new):
    """What a wrong library, a cast or an edit would do. The zero of the machine makes solve add turns."""
    machine = {"drive": DRIVE, "motor_limits": (-3.1, 3.1), "convention": Convention(zero=(3.0, -3.0, 3.0))}
    bounded = {"travel": (-0.1, 0.2), "convention": MIRRORED}
    good = next(
        p for p in (build(HIDE, **machine), build(HIDE, drive=DRIVE), build(HIDE, **bounded)) if old in p.text
    )
    assert compiled(cc, tmp_path / "bad", good.text.replace(old, new, 1), "float", ()).self_test() != 0


def attempt(cc, folder, source, *options):
    (folder / "main.c").write_text(source)
    command = [cc, *options, "-c", folder / "main.c", "-o", folder / "main.o"]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_options_and_mixtures_that_the_header_refuses(cc, tmp_path):
    write_header(tmp_path / "a.h", HIDE)
    write_header(tmp_path / "b.h", HIDE, mode=(-1, -1, -1))
    one = '#include "a.h"\n#include "a.h"\nint main(void) { return legloop_self_test(); }\n'
    assert attempt(cc, tmp_path, one, *WARNINGS).returncode == 0
    for option in ("-ffast-math", "-ffinite-math-only"):
        done = attempt(cc, tmp_path, one, *WARNINGS, option)
        assert done.returncode != 0
        assert "NaN" in done.stderr
    done = attempt(cc, tmp_path, one, *WARNINGS, "-D_M_FP_FAST=1")  # which another compiler defines with /fp:fast
    assert "NaN" in done.stderr
    done = attempt(cc, tmp_path, '#include "b.h"\n' + one, *WARNINGS)
    assert done.returncode != 0
    assert "source file of its own" in done.stderr


EACH = {
    "legloop_solve": "legloop_scalar r[9] = {1.0f}, t[3], v; return legloop_solve(r, t, &v);",
    "legloop_track": "legloop_scalar r[9] = {1.0f}, t[3] = {0}, v = 1; return legloop_track(r, t, v, 1.0f, t, &v);",
    "legloop_normalise": "legloop_scalar q[4] = {1.0f}; return legloop_normalise(q, 0.1f, q);",
    "legloop_from_quaternion": "legloop_scalar q[4] = {1.0f}, r[9]; return legloop_from_quaternion(q, r);",
    "legloop_steps": "legloop_scalar t[3] = {0.0f}; long s[3]; return legloop_steps(t, s);",
    "legloop_self_test": "return legloop_self_test();",
}


def test_a_program_of_several_files_may_include_it_in_each_and_use_one_function(cc, tmp_path):
    """No name is defined twice, and what a file does not use is no warning there, nor with the stricter options."""
    write_header(tmp_path / "joint.h", HIDE, drive=DRIVE, motor_limits=(-3, 3))
    files = [tmp_path / "main.c"]
    for name, body in EACH.items():
        files.append(tmp_path / f"{name}.c")
        head = f'#include "joint.h"\nint use_{name}(void);\nint use_{name}(void)\n{{\n    '
        files[-1].write_text(f"{head}{body}\n}}\n")
    calls = "".join(f"int use_{name}(void);\n" for name in EACH)
    tried = " && ".join(f"use_{name}() >= 0" for name in EACH)
    files[0].write_text(f"{calls}int main(void)\n{{\n    return {tried} ? 0 : 1;\n}}\n")
    command = [
        cc,
        *WARNINGS,
        "-pedantic",
        *(f"-W{name}" for name in MORE_WARNINGS),
        *files,
        "-o",
        tmp_path / "all",
        "-lm",
    ]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert subprocess.run([tmp_path / "all"], check=False).returncode == 0
    public = set(re.findall(r"^static inline int (legloop_\w+[a-z])\(", (tmp_path / "joint.h").read_text(), re.M))
    assert public == set(EACH)


def test_it_is_cpp_as_well(tmp_path):
    cpp = shutil.which("c++")
    if cpp is None:
        pytest.skip("no C++ compiler `c++` on this machine: only C was tried")
    write_header(tmp_path / "a.h", HIDE, drive=DRIVE, motor_limits=(-3, 3))
    source = '#include "a.h"\nint main() { return legloop_self_test(); }\n'
    flags = ["-x", "c++", "-std=c++11", "-Wall", "-Wextra", "-Werror", "-Wconversion", "-Wdouble-promotion"]
    done = attempt(cpp, tmp_path, source, *flags)
    assert done.returncode == 0, done.stderr


# --- numbers for other languages ----------------------------------------------------------------------------


def test_vectors_agree_with_the_c(build, tmp_path):
    convention = random_convention(31)
    options = {
        "convention": convention,
        "drive": DRIVE,
        "motor_limits": (-150 * deg, 30 * deg),
        "mode": (1, 1, 1),
        "least_elbow": 2 * deg,
        "least_volume": 0.05,
    }
    write_vectors(tmp_path / "v.csv", HIDE, **options, count=3000)
    table = np.genfromtxt(tmp_path / "v.csv", delimiter=",", names=True)
    assert len(table) == 3 + 1 + 3000 + 2
    R = np.stack([table[f"r{i}{k}"] for i in range(3) for k in range(3)], axis=1)
    theta, D, steps = (
        np.stack([table[name.format(k)] for k in (1, 2, 3)], axis=1) for name in ("theta{}_rad", "D{}", "steps{}")
    )
    assert (rounded(R) == R).all()  # the numbers that a float holds, and the answers are those to these numbers
    exact, *_ = reference(HIDE, R[3:].reshape(-1, 3, 3), (1, 1, 1), convention, theta[3:])
    np.testing.assert_allclose(theta[3:][table["code"][3:] == 0], exact[table["code"][3:] == 0], rtol=0, atol=1e-12)
    program = build(HIDE, **options)
    code, found, volume = program.solve(R)
    assert (code == table["code"]).all()
    refused = {Status.NOT_ROTATION, Status.UNREACHABLE, Status.TRAVEL, Status.NEAR_TYPE_1, Status.NEAR_TYPE_2}
    assert set(code) == {Status.SOLVED} | refused
    assert code[-2:].tolist() == [Status.NEAR_TYPE_2, Status.NEAR_TYPE_1]
    solved = code == Status.SOLVED
    assert (np.isnan(theta).any(axis=1) == ~solved).all()
    assert (abs(found - theta)[solved] <= angle_error(D[solved], theta[solved])).all()
    assert abs(volume - table["V"])[solved].max() < 1e-3
    signs = np.sign(table["V"])
    for other in (1, -1):  # a row with the last V of another row: what the table says of such pairs
        code, *_ = program.track(
            R[solved], theta[solved], np.full(solved.sum(), 0.1), volume=other * np.ones(solved.sum())
        )
        assert (code == np.where(signs[solved] == other, Status.SOLVED, Status.CROSSED_TYPE_2)).all()
    _, counted = program("n", found[solved])
    assert abs(counted - steps[solved]).max() <= 1
    q = np.stack([table[f"q{name}"] for name in "xyzw"], axis=1)
    np.testing.assert_allclose(rotation.from_quaternion(q[3:]), R[3:].reshape(-1, 3, 3), rtol=0, atol=1e-7)


def test_angle_error_by_hand():
    eps = 2.0**-23
    assert angle_error(0.25, 1.0) == pytest.approx(65 * eps, rel=1e-15)
    assert angle_error(0.25, -1.0, scalar="double") == pytest.approx(65 * 2.0**-52, rel=1e-15)
    assert angle_error(0.0) == np.inf
    assert angle_error([1.0, 0.25], 0.0).tolist() == [32 * eps, 64 * eps]


# --- bad input ----------------------------------------------------------------------------------------------

SHORT = Mechanism.symmetric(proximal=10 * deg, distal=10 * deg, base_cone=45 * deg, platform_cone=20 * deg)
BAD = [
    ("no joint", {"m": "bird"}, TypeError, r"must be a Mechanism, not 'bird'"),
    ("scalar", {"scalar": "half"}, ValueError, r"scalar is 'half'.*'float'.*'double'"),
    ("a type", {"scalar": float}, ValueError, r"scalar is <class 'float'>"),
    ("mode 0", {"mode": (1, 0, 1)}, ValueError, r"mode\[1\] is 0"),
    ("two modes", {"mode": [(1, 1, 1), (1, 1, -1)]}, ValueError, r"mode has shape \(2, 3\).*one working mode"),
    ("convention", {"convention": (1, 1, 1)}, TypeError, r"convention is an object of type tuple; give a Convention"),
    ("drive", {"drive": 9600}, TypeError, r"drive is an object of type int; give a BeltDrive"),
    ("limits in degrees", {"motor_limits": (-90, 90)}, ValueError, r"-90 to 90 rad.*-90\*deg"),
    ("limits turned", {"motor_limits": (1, -1)}, ValueError, r"motor 1 run from 1 to -1 rad; give the lower end"),
    ("limits nan", {"motor_limits": (np.nan, 1)}, ValueError, r"motor_limits\[0\] is nan"),
    ("limits of two", {"motor_limits": np.zeros((2, 2))}, ValueError, r"shape \(2, 2\); give \(2,\).*\(3, 2\)"),
    ("limits too narrow", {"motor_limits": (1, 1 + 1e-9)}, ValueError, r"narrow.*float.*widen"),
    (
        "nothing within limits",
        {"motor_limits": (2, 3)},
        ValueError,
        r"no orientation was found.*motor_limits was given",
    ),
    (
        "both",
        {"motor_limits": (-2, 2), "travel": (-2, 2)},
        TypeError,
        r"both given; keep one.*as legloop.*as the machine",
    ),
    ("travel in degrees", {"travel": (-90, 90)}, ValueError, r"travel holds -90 rad, .*-90\*deg"),
    ("travel too narrow", {"travel": (1, 1 + 1e-9)}, ValueError, r"travel is too narrow.*float.*widen"),
    ("links too short", {"m": SHORT}, ValueError, r"no orientation was found that the joint reaches"),
]


@pytest.mark.parametrize(("change", "error", "message"), [c[1:] for c in BAD], ids=[c[0] for c in BAD])
def test_bad_arguments_are_named(tmp_path, change, error, message):
    m = change.get("m", HIDE)
    options = {k: v for k, v in change.items() if k != "m"}
    with pytest.raises(error, match=message):
        write_header(tmp_path / "joint.h", m, **options)
    assert not (tmp_path / "joint.h").exists()


def test_steps_finer_than_a_float_are_refused(tmp_path):
    finest = replace(DRIVE, microsteps=400_000)  # 2.6e-8 rad: a float of 1 rad is coarser
    with pytest.raises(ValueError, match=r"larger steps, or scalar='double'"):
        write_header(tmp_path / "joint.h", HIDE, drive=finest)
    write_header(tmp_path / "joint.h", HIDE, drive=finest, scalar="double")


def test_paths(tmp_path):
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub.h").mkdir()
    for path, error, message in [
        (tmp_path / "sub", IsADirectoryError, "add the name of the header"),
        (tmp_path / "sub.h", IsADirectoryError, "is a directory"),
        (tmp_path / "joint.txt", ValueError, r"ends in \.h"),
        (tmp_path / "none" / "joint.h", FileNotFoundError, "directory that does not exist; make it first"),
        (7, TypeError, "path|str"),
    ]:
        with pytest.raises(error, match=message):
            write_header(path, HIDE)
    mine = tmp_path / "joint.h"
    mine.write_text("int mine;")
    with pytest.raises(FileExistsError, match=r"exists; pass overwrite=True"):
        write_header(mine, HIDE)
    assert mine.read_text() == "int mine;"
    write_header(mine, HIDE, overwrite=True)
    assert "legloop_solve" in mine.read_text()


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        ({"count": 0}, ValueError, r"count is 0; it must be at least 1"),
        ({"count": 2.5}, TypeError, r"count is 2\.5"),
        ({"seed": -1}, ValueError, r"seed is -1"),
        ({"scalar": "int"}, ValueError, r"scalar is 'int'"),
        ({"convention": 1}, TypeError, r"convention is an object of type int"),
    ],
)
def test_bad_arguments_of_vectors(tmp_path, change, error, message):
    with pytest.raises(error, match=message):
        write_vectors(tmp_path / "v.csv", HIDE, **change)
    write_vectors(tmp_path / "v.csv", HIDE, count=1)
    with pytest.raises(FileExistsError, match="overwrite=True"):
        write_vectors(tmp_path / "v.csv", HIDE, count=1)


@pytest.mark.parametrize(
    ("args", "message"), [((-0.1,), "negative"), ((np.nan,), "discriminant is nan"), ((1.0, np.inf), "theta is inf")]
)
def test_bad_arguments_of_angle_error(args, message):
    with pytest.raises(ValueError, match=message):
        angle_error(*args)
    with pytest.raises(ValueError, match="scalar is 'quad'"):
        angle_error(1.0, scalar="quad")
