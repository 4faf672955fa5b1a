"""What the C header does near singular poses: V, its floors, a change of sign, and what nobody may put into a motor.

V from the C is held to cross products from the axes of the joint, and to `singularity`.
"""

import csv

import numpy as np
import pytest

from c_header import DRIVE, DTYPE, HIDE, UNTOUCHED, compiled, random_convention, rounded, text_of, volumes
from common import FULL
from legloop import WORKING_MODES, Convention, certify, deg, inverse_kinematics, leg, rotation, singularity
from legloop.lesson.cases import named_joints, random_joints, random_orientations, reachable
from legloop.workshop.firmware import Status, write_header, write_vectors
from legloop.workshop.firmware.singular import floors_of

FLOORS = {"least_elbow": 2 * deg, "least_volume": 0.05}
"""The usual ones, which the header has unless told otherwise."""
JOINTS = [(HIDE, (1, 1, 1), None), (HIDE, (-1, 1, 1), random_convention(8))]
JOINTS += [(m, WORKING_MODES[k], random_convention(k)) for k, m in enumerate(random_joints(4, seed=77))]


def states(m, theirs, mode, convention):
    """Our orientations and angles, V, and the least of |sin| of the elbows; NaN where a leg does not close."""
    R = convention.orientation_to_ours(theirs)
    theta = inverse_kinematics(m, R, mode, unreachable="nan")
    known = np.isfinite(theta).all(axis=1)
    V = np.where(known, volumes(m, R, np.nan_to_num(theta)), np.nan)
    bend = np.full(len(R), np.nan)
    bend[known] = abs(np.sin(singularity(m, R[known], theta[known]).elbow)).min(axis=1)
    return R, theta, V, bend


@pytest.mark.parametrize("scalar", ["float", "double"])
@pytest.mark.parametrize("k", range(len(JOINTS)))
def test_the_volume_and_the_codes_are_those_of_the_package(build, scalar, k):
    m, mode, given = JOINTS[k]
    convention = given or Convention()
    program = build(m, scalar=scalar, mode=mode, convention=given, **FLOORS)
    ours = np.concatenate([random_orientations(2000, seed=k), reachable(m, 6000, seed=k, margin=0)])
    theirs = rounded(convention.orientation_to_theirs(ours), scalar)
    code, theta, volume = program.solve(theirs)
    R, exact, V, bend = states(m, theirs, mode, convention)
    solved, known = code == Status.SOLVED, np.isfinite(V)
    eps = float(np.finfo(DTYPE[scalar]).eps)
    # at the very angles that the C gives, only the rounding of V is left: 36 / sin(alpha_2) + 15, doubled for double
    at_its_own = volumes(m, R[solved], convention.angles_to_ours(theta[solved]))
    assert abs(volume[solved] - at_its_own).max() <= 2 * eps * (36 / np.sin(m.distal).min() + 15)
    by_package = singularity(m, R[solved], exact[solved]).volume
    np.testing.assert_allclose(V[solved], by_package, rtol=0, atol=1e-12)
    assert abs(volume[solved] - by_package).max() <= 1e5 * eps  # the angles are off by 32 eps over the root of D
    assert (volume[~solved] == UNTOUCHED).all()
    assert (np.sign(volume[solved]) == np.sign(by_package)).all()
    assert min(abs(by_package).min(), abs(volume[solved]).min()) > 0.0499
    floor, sure = np.sin(2 * deg), 1e-4  # in float sin(elbow) at 2° is good to some 1e-5
    tight, free = known & (bend < floor - sure), known & (bend > floor + sure)
    assert np.isin(code[tight], [Status.NEAR_TYPE_1]).all()
    assert (code[free & (abs(V) < 0.0495)] == Status.NEAR_TYPE_2).all()
    assert (code[free & (abs(V) > 0.0505)] == Status.SOLVED).all()
    assert (code[free & (abs(V) < 0.0495)]).size > 20


def test_a_tick_in_which_the_volume_changes_its_sign_is_refused(build):
    for m, mode, given in JOINTS[:3]:
        convention = given or Convention()
        program = build(m, mode=mode, convention=given, **FLOORS)
        theirs = rounded(convention.orientation_to_theirs(reachable(m, 6000, seed=5)))
        code, theta, volume = program.solve(theirs)
        R, last = theirs[code == 0], theta[code == 0]
        V = volume[code == 0]
        now, before = np.random.default_rng(6).integers(0, len(R), (2, 4000))
        crossed = np.sign(V[now]) != np.sign(V[before])
        assert 100 < crossed.sum() < 3900
        for task in "ta":
            found = program.track(R[now], last[before], np.full(4000, 3.14), volume=V[before], task=task)
            assert (found[0][crossed] == Status.CROSSED_TYPE_2).all()
            assert np.isin(found[0][~crossed], [Status.SOLVED, Status.JUMP]).all()
            kept = found[0] != Status.SOLVED
            same_angles, same_volume = (last[before], V[before]) if task == "a" else (UNTOUCHED, UNTOUCHED)
            assert (found[1][kept] == np.broadcast_to(same_angles, (4000, 3))[kept]).all()
            assert (found[2][kept] == np.broadcast_to(same_volume, 4000)[kept]).all()
            assert (found[2][~kept] == V[now][~kept]).all()


def test_a_path_through_a_limp_pose_stops_before_it_and_stays_stopped(build):
    """From V below 0 to V above 0 in small ticks: the refusal begins at 0.05, beyond the pose it is a crossing."""
    program = build(HIDE, **FLOORS)
    R = reachable(HIDE, 3000, seed=9)
    V = volumes(HIDE, R, inverse_kinematics(HIDE, R))
    start, end = R[V < -0.3], R[V > 0.3]
    tried = 0
    for first, last in zip(start, end, strict=False):
        turn = rotation.to_rotation_vector(last @ first.T)
        path = rotation.from_rotation_vector(np.linspace(0, 1, 400)[:, None] * turn) @ first
        theta = inverse_kinematics(HIDE, path, unreachable="nan")
        if np.isnan(theta).any() or abs(np.diff(theta, axis=0)).max() > 0.5:
            continue
        tried += 1
        exact, codes = volumes(HIDE, path, theta), []
        code, angles, volume = program.solve(path[:1])
        for pose in path[1:]:
            code, new, new_volume = program.track([pose], angles, 3.1, volume=volume)
            codes.append(int(code[0]))
            if code == Status.SOLVED:
                angles, volume = new, new_volume
        past = np.argmax(abs(exact) < 0.0495) - 1
        assert set(codes[:past]) <= {Status.SOLVED, Status.NEAR_TYPE_2}
        assert Status.SOLVED not in codes[past:] or (exact[1:][np.array(codes) == 0] < 0).all()
        assert Status.CROSSED_TYPE_2 in codes
        if tried == 3:
            break
    assert tried == 3


def test_a_volume_that_was_never_set_is_no_last_volume(build):
    program = build(HIDE, **FLOORS)
    home = HIDE.home_angles()
    for bad in (0.0, 0.049, -0.049, np.nan, np.inf, -np.inf, 2.5, -3.0):
        code, theta, volume = program.track([np.eye(3)], [home], 0.1, volume=bad)
        assert code == Status.BAD_ARGUMENT
        assert (theta == UNTOUCHED).all()
        assert volume == UNTOUCHED


def test_an_odd_leg_order_and_turned_frames_leave_the_volume_alone(build):
    R = reachable(HIDE, 500, seed=2, margin=5 * deg)
    _, _, plain = build(HIDE).solve(R)
    for order in ((0, 2, 1), (2, 1, 0), (1, 2, 0)):
        how = Convention(*random_orientations(2, seed=1), order, (1, -1, -1), (1.0, 2.0, -1.0))
        _, _, turned = build(HIDE, convention=how).solve(how.orientation_to_theirs(R))
        np.testing.assert_allclose(turned, plain, rtol=0, atol=1e-4)


def test_within_the_tick_that_the_comment_names_the_volume_cannot_change_its_sign_twice(tmp_path):
    """Random small turns in joints of all kinds: V moves by less than the bound says.

    The bound itself is derived in `firmware.singular`; the largest share that was met says how sharp it is.
    """
    floors, most = floors_of(2 * deg, 0.05), 0.0
    for m in (*named_joints().values(), *random_joints(20 if FULL else 5, seed=4)):
        R = reachable(m, 400, seed=3, margin=1 * deg)
        theta = inverse_kinematics(m, R)
        turn = np.random.default_rng(2).normal(size=(400, 3))
        turn *= 1e-5 / np.linalg.norm(turn, axis=1, keepdims=True)
        there = rotation.from_rotation_vector(turn) @ R
        moved = inverse_kinematics(m, there, near=theta)
        path = np.maximum(abs(moved - theta).max(axis=1), 1e-5)  # the longest of the four paths
        change = abs(volumes(m, there, moved) - volumes(m, R, theta)) / path
        most = max(most, (change * floors.tick(m, 0.0)).max() / (2 * floors.volume))
    assert 0.1 < most <= 1
    told = text_of(tmp_path)
    tick = 2 * 0.05 / (3 * (1 + np.sin(60 * deg)) / np.sin(75 * deg))
    assert f"{np.floor(tick * 1e3) / 1e3:g} rad, and that of each motor as well" in " ".join(
        line.removeprefix("//").strip() for line in told.splitlines()
    )


def test_the_platform_turns_by_no_more_than_the_docstring_says():
    """1 / |N^-1| is never below |V| / 1.5, N the rows of unit normals, by singular values."""
    rows = np.random.default_rng(5).normal(size=(100_000, 3, 3))
    rows /= np.linalg.norm(rows, axis=2, keepdims=True)
    least = np.linalg.svd(rows, compute_uv=False)[:, 2]
    assert (least / abs(np.linalg.det(rows))).min() >= 1 / 1.5


def test_within_a_certificate_its_volume_may_be_the_floor(build):
    proof = certify(HIDE, (1, 1, 1), tilt=30 * deg, torsion=(-20 * deg, 20 * deg))
    program = build(HIDE, least_elbow=2 * deg, least_volume=proof.least_volume)
    rng = np.random.default_rng(3)
    R = rotation.from_tilt_torsion(rng.uniform(0, 30 * deg, 5000), rng.uniform(-np.pi, np.pi, 5000), 0)
    code, _, volume = program.solve(R)
    assert (code == Status.SOLVED).all()
    assert abs(volume).min() > proof.least_volume


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("return LEGLOOP_NEAR_TYPE_2;", "(void)0;"),
        ("return LEGLOOP_NEAR_TYPE_1;", "(void)0;"),
        ("code = LEGLOOP_CROSSED_TYPE_2;", "code = LEGLOOP_SOLVED;"),
        ("n[1] = w[2] * p[0] - w[0] * p[2];", "n[1] = w[2] * p[0] + w[0] * p[2];"),
        ("legloop_held_(-", "legloop_held_("),
        ("cosine = cosf(angle);", "cosine = sinf(angle);"),
        ("*volume = found_volume;", "*volume = 1.0f;"),
    ],
    ids=["type 2", "type 1", "crossed", "normal", "sign", "cosine", "not given"],
)
def test_the_self_test_notices(cc, tmp_path, old, new):
    text = text_of(tmp_path, convention=Convention(leg_order=(0, 2, 1)))
    assert old in text
    assert compiled(cc, tmp_path / "bad", text.replace(old, new, 1), "float", ()).self_test() != 0


# --- what may come in ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("scalar", ["float", "double"])
def test_whatever_comes_in_nothing_wrong_comes_out(build, scalar):
    """Random bytes as numbers, special values, and poses with one entry spoiled: solved means right."""
    rng, count = np.random.default_rng(11), 200_000 if FULL else 30_000
    type_of = DTYPE[scalar]
    program = build(HIDE, scalar=scalar, drive=DRIVE, motor_limits=(-2.5, 0.5), **FLOORS)
    info = np.finfo(type_of)
    special = [0, -0.0, np.nan, np.inf, -np.inf, info.tiny, info.smallest_subnormal, -info.smallest_subnormal]
    special = np.array([*special, info.max, -info.max, 1, -1, 1 + info.eps, 1e-20, 1e20], dtype=type_of)
    raw = np.frombuffer(rng.bytes(9 * count * np.dtype(type_of).itemsize), dtype=type_of).reshape(count, 9)
    chosen = rng.choice(special, (count, 9))
    spoiled = random_orientations(count, seed=12).reshape(count, 9).astype(type_of)
    spoiled[np.arange(count), rng.integers(0, 9, count)] = rng.choice(special, count)
    nudged = reachable(HIDE, count // 10, seed=13).reshape(-1, 9).astype(type_of)
    off = rng.normal(size=nudged.shape) * np.geomspace(1e-9, 1e-1, len(nudged))[:, None]
    nudged = nudged * (1 + off).astype(type_of)
    solved = 0
    for R in (raw, chosen, spoiled, nudged):
        code, theta, volume = program.solve(R)
        good = code == Status.SOLVED
        assert (theta[~good] == UNTOUCHED).all()
        assert (volume[~good] == UNTOUCHED).all()
        solved += good.sum()
        rest = R[good].astype(float).reshape(-1, 3, 3)
        assert (abs(rest @ np.swapaxes(rest, 1, 2) - np.eye(3)) < 1.1e-5).all()
        assert (np.linalg.det(rest) > 0).all()
        matrix, constant = HIDE.coefficients
        a, b, c = np.split(rest.reshape(-1, 9) @ matrix.T + constant, 3, axis=1)
        miss = abs(a * np.cos(theta[good]) + b * np.sin(theta[good]) + c)  # the leg equation itself
        assert miss.max(initial=0) < 2e-6
        assert (np.sign(b * np.cos(theta[good]) - a * np.sin(theta[good])) == 1).all()  # the elbow of the mode
        assert (leg.discriminant(a, b, c) > 0).all()
        assert (abs(volume[good]) >= 0.05 * (1 - 1e-6)).all()
        assert ((theta[good] >= -2.5 - 1e-6) & (theta[good] <= 0.5 + 1e-6)).all()
        assert not good.any() or (program("n", theta[good])[0] == Status.SOLVED).all()
        quaternion = R[:, :4]
        with np.errstate(all="ignore"):
            length = np.sqrt((quaternion.astype(np.longdouble) ** 2).sum(axis=1))
        for task, extra, most in (("q", [], 6e-6), ("u", [np.full((len(R), 1), 0.1)], 0.1 + 1e-6)):
            code, out = program(task, quaternion, *extra)
            taken = code == Status.SOLVED
            assert (abs(length[taken] - 1) <= most).all()
            assert np.isfinite(out[taken]).all()
            assert (out[~taken] == UNTOUCHED).all()
            assert set(code) <= {Status.SOLVED, Status.NOT_UNIT}
    assert solved > 100


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        ({"least_elbow": 2}, ValueError, r"least_elbow is 2 rad; it must be in \[0, 45\*deg\].*2\*deg"),
        ({"least_elbow": -0.1}, ValueError, r"least_elbow is -0\.1"),
        ({"least_elbow": np.nan}, ValueError, r"least_elbow is nan"),
        ({"least_volume": 0}, ValueError, r"least_volume is 0; it must be in \[0\.01, 1\).*goes limp"),
        ({"least_volume": 1.0}, ValueError, r"least_volume is 1"),
        ({"least_volume": "much"}, TypeError, r"least_volume"),
        ({"least_volume": 0.999999}, ValueError, r"no orientation was found.*least_volume 0\.999999"),
    ],
)
def test_bad_floors_are_named(tmp_path, change, error, message):
    for write, name in ((write_header, "joint.h"), (write_vectors, "v.csv")):
        if write is write_vectors and "found" in message:
            continue
        with pytest.raises(error, match=message):
            write(tmp_path / name, HIDE, **change)
        assert not (tmp_path / name).exists()


def test_steps_are_written_as_whole_numbers_and_every_status_of_solve_has_a_row(tmp_path):
    write_vectors(tmp_path / "v.csv", HIDE, drive=DRIVE, motor_limits=(-2.5, 0.5), count=200)
    with (tmp_path / "v.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    steps = [row[f"steps{k}"] for row in rows for k in (1, 2, 3)]
    assert all(text == "" or text.lstrip("-").isdigit() for text in steps)
    assert {bool(row["steps1"]) == (row["code"] == "0") for row in rows} == {True}
    codes = {int(row["code"]) for row in rows}
    assert codes == {
        0,
        Status.NOT_ROTATION,
        Status.UNREACHABLE,
        Status.TRAVEL,
        Status.NEAR_TYPE_1,
        Status.NEAR_TYPE_2,
    }
    for row in rows:
        V = float(row["V"] or "nan")
        if int(row["code"]) == Status.NEAR_TYPE_2:
            assert abs(V) < 0.05
        elif int(row["code"]) == Status.SOLVED:
            assert abs(V) >= 0.05


def test_the_comment_explains_the_elbow_by_the_rule_that_always_holds(tmp_path):
    text = " ".join(line.removeprefix("//").strip() for line in text_of(tmp_path).splitlines())
    assert "walk from the motor axis straight to the platform hinge: the elbow is on your right in mode +1" in text
    assert "NOT refused" in text_of(tmp_path, least_elbow=0)
