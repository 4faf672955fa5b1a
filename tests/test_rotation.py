"""Rotation conversions against SciPy, against mpmath at 50 digits, and against closed forms.

The twelve Euler orders of Henderson, NASA TM-74839, 1977 (from memory) are checked through SciPy, which
implements them independently.
"""

import warnings
from itertools import permutations, product

import mpmath as mp
import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from legloop import deg, rotation

FIXED = ["xyz", "xzy", "yxz", "yzx", "zxy", "zyx", "xyx", "xzx", "yxy", "yzy", "zxz", "zyz"]
SEQUENCES = FIXED + [seq.upper() for seq in FIXED]

# A matrix entry is a sum of at most a dozen products of numbers up to 1, each rounded by 1.1e-16, made from
# angles that are themselves rounded by up to 2.2e-16: 5e-15 is some 20 such roundings.
ENTRY = 5e-15
# An angle near pi is rounded by 2.2e-16, and comes from entries right to a few 1e-16.
ANGLE = 3e-15

HARD_ANGLES = [1e-200, 1e-9, 1e-3, 1.0, 3.0, np.pi - 1e-3, np.pi - 1e-9]
# At the ends of the range of a tilt, at the rounding threshold of 3.6e-15 and on both sides of it, and near.
NEAR_ENDS = [0.0, 1e-16, 3e-15, 4e-15, 1e-12, 1e-9, 1e-7, 1e-4]
TILTS = [*NEAR_ENDS, 1.0, np.pi / 2, 2.5, *(np.pi - np.array(NEAR_ENDS))]


@pytest.fixture
def rng():
    return np.random.default_rng(20240917)


def ends(seq):
    """The second angles at which `seq` locks."""
    return (0.0, np.pi) if seq[0] == seq[2] else (-np.pi / 2, np.pi / 2)


def close(actual, expected, atol):
    np.testing.assert_allclose(actual, expected, rtol=0, atol=atol)


def angle_gap(actual, expected):
    """How far two angles are apart on the circle."""
    return np.abs(np.remainder(np.asarray(actual) - expected + np.pi, 2 * np.pi) - np.pi)


def scipy_euler(R, seq):
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Gimbal lock")  # SciPy says so; the lock is what we compare
        return Rotation.from_matrix(R).as_euler(seq)


def mp_about(axis, angle):
    """50-digit turn about a unit axis, by cos I + sin K + (1 - cos) a a^T."""
    a = mp.matrix(axis)
    K = mp.matrix([[0, -a[2], a[1]], [a[2], 0, -a[0]], [-a[1], a[0], 0]])
    return mp.cos(angle) * mp.eye(3) + mp.sin(angle) * K + (1 - mp.cos(angle)) * a * a.T


def mp_euler(seq, angles):
    """50-digit product of three turns, multiplied out as the conventions say."""
    R1, R2, R3 = (
        mp_about([int(letter == c) for c in "xyz"], mp.mpf(float(angle)))
        for letter, angle in zip(seq.lower(), angles, strict=True)
    )
    return R3 * R2 * R1 if seq.islower() else R1 * R2 * R3


def rounded(matrix):
    return np.array([[float(matrix[i, j]) for j in range(3)] for i in range(3)])


@pytest.fixture(autouse=True)
def _fifty_digits():
    with mp.workdps(50):
        yield


def cube_group():
    """The 24 rotations that permute the axes, with every zero written -0."""
    for order in permutations(range(3)):
        for signs in product((1.0, -1.0), repeat=3):
            R = np.full((3, 3), -0.0)
            R[range(3), order] = signs
            if np.linalg.det(R) > 0:
                yield R


# ---- coordinate axes and Euler angles


def test_right_handed_turns_of_the_axes():
    # A quarter turn is exact but for cos(pi/2) = 6e-17.
    close(rotation.rx(90 * deg) @ [0, 1, 0], [0, 0, 1], 1e-16)
    close(rotation.ry(90 * deg) @ [0, 0, 1], [1, 0, 0], 1e-16)
    close(rotation.rz(90 * deg) @ [1, 0, 0], [0, 1, 0], 1e-16)
    for about in (rotation.rx, rotation.ry, rotation.rz):
        np.testing.assert_array_equal(about(0.0), np.eye(3))
        assert not np.signbit(about(0.0)).any()  # a reader sees 0., never -0.


def test_passive_matrix_of_lesson_10():
    # Passive ZYX (30°, -20°, 0), figures of our own: rows (cos p cos y, cos p sin y, -sin p), (-sin y, cos y, 0),
    # (sin p cos y, sin p sin y, cos p). It is the transpose of the active one. Half a unit of the last digit is 5e-5.
    passive = [[0.8138, 0.4698, 0.3420], [-0.5, 0.8660, 0.0], [-0.2962, -0.1710, 0.9397]]
    close(rotation.from_euler("ZYX", (30 * deg, -20 * deg, 0.0)).T, passive, 5e-5)


@pytest.mark.parametrize("seq", SEQUENCES)
def test_euler_agrees_with_scipy(seq, rng):
    low, high = ends(seq)
    angles = rng.uniform(-np.pi, np.pi, (200, 3))
    angles[:, 1] = rng.uniform(low + 0.05, high - 0.05, 200)
    R = rotation.from_euler(seq, angles)
    close(R, Rotation.from_euler(seq, angles).as_matrix(), ENTRY)
    # 0.05 away from the lock a rounding of 1e-15 in an entry, or in SciPy's quaternion, grows at most 20-fold.
    assert angle_gap(rotation.to_euler(seq, R), angles).max() < 1e-13
    assert angle_gap(rotation.to_euler(seq, R), scipy_euler(R, seq)).max() < 1e-13


@pytest.mark.parametrize("seq", SEQUENCES)
def test_euler_at_the_lock(seq, rng):
    angles = rng.uniform(-np.pi, np.pi, (100, 3))
    angles[:, 1] = rng.choice(ends(seq), 100)
    for R in (rotation.from_euler(seq, angles), Rotation.from_euler(seq, angles).as_matrix()):
        found = rotation.to_euler(seq, R)
        np.testing.assert_array_equal(found[:, 2], 0.0)
        close(rotation.from_euler(seq, found), R, ENTRY)
        theirs = scipy_euler(R, seq)
        np.testing.assert_array_equal(theirs[:, 2], 0.0)  # the same choice
        assert angle_gap(found[:, 0], theirs[:, 0]).max() < ANGLE


@pytest.mark.parametrize("seq", SEQUENCES)
@pytest.mark.parametrize("distance", NEAR_ENDS)
def test_euler_round_trip_and_ranges_near_the_lock(seq, distance, rng):
    low, high = ends(seq)
    angles = rng.uniform(-np.pi, np.pi, (100, 3))
    angles[:, 1] = np.where(rng.random(100) < 0.5, low + distance, high - distance)
    for R in (rotation.from_euler(seq, angles), Rotation.from_euler(seq, angles).as_matrix()):
        found = rotation.to_euler(seq, R)
        # Below the threshold reading the third angle as 0 costs at most 3.6e-15 on top of the rounding.
        close(rotation.from_euler(seq, found), R, ENTRY + 3.6e-15)
        assert (found > -np.pi).all()
        assert (found <= np.pi).all()
        assert ((low <= found[:, 1]) & (found[:, 1] <= high)).all()


@pytest.mark.parametrize("seq", SEQUENCES)
def test_euler_is_sharp_near_the_lock(seq, rng):
    # Entries rounded from 50 digits are right in relation to their size, so that even 1e-9 from the lock each
    # of the three angles can be read to the last digits; a route by arcsin or by a quaternion loses half of them.
    low, high = ends(seq)
    for second in (low + 1e-9, high - 1e-9, high - 1e-4):
        angles = np.array([rng.uniform(-3, 3), second, rng.uniform(-3, 3)])
        exact = mp_euler(seq, angles)
        # The lock's own distance is a float near pi/2 or pi: its cosine, or sine, has entries right to 1e-16.
        close(rotation.from_euler(seq, angles), rounded(exact), ENTRY)
        assert angle_gap(rotation.to_euler(seq, rounded(exact)), angles).max() < ANGLE


def test_half_a_turn_reads_plus_pi_for_every_sign_of_zero():
    for R in cube_group():
        for seq in SEQUENCES:
            found = rotation.to_euler(seq, R)
            assert found.min() > -np.pi
            close(rotation.from_euler(seq, found), R, ENTRY)
        _, azimuth, torsion = rotation.to_tilt_torsion(R)
        assert min(azimuth, torsion) > -np.pi
        close(rotation.from_rotation_vector(rotation.to_rotation_vector(R)), R, ENTRY)
        q = rotation.to_quaternion(R)
        assert not np.signbit(q[np.flatnonzero(q == 0)]).any()
        close(rotation.from_quaternion(q), R, ENTRY)
    # An angle a hair below -pi, as rounding makes it: the matrix of yaw = -pi has the sine -1.2e-16.
    assert rotation.to_rpy(rotation.rz(-np.pi))[2] == np.pi


def test_roll_pitch_yaw(rng):
    roll, pitch, yaw = rng.uniform(-np.pi / 2, np.pi / 2, (3, 50))
    R = rotation.from_rpy(roll, pitch, yaw)
    close(R, rotation.rz(yaw) @ rotation.ry(pitch) @ rotation.rx(roll), ENTRY)
    close(R, Rotation.from_euler("ZYX", np.stack([yaw, pitch, roll], -1)).as_matrix(), ENTRY)
    found = rotation.to_rpy(R)
    assert isinstance(found, tuple)
    # The pitch that is nearest to the lock, asserted, magnifies a rounding of 1e-15 by no more than 100.
    assert np.abs(np.cos(pitch)).min() > 0.01
    close(found, [roll, pitch, yaw], 1e-13)


# ---- axis and angle, rotation vector


def test_axis_angle_agrees_with_scipy(rng):
    R = Rotation.random(300, rng=rng)
    axis, angle = rotation.to_axis_angle(R)
    close(np.linalg.norm(axis, axis=-1), 1.0, 4e-16)  # one division, one square root
    close(axis * angle[:, None], R.as_rotvec(), 1e-14)  # both through the quaternion, pi times its rounding
    close(rotation.to_rotation_vector(R), R.as_rotvec(), 1e-14)
    close(rotation.from_axis_angle(axis, angle), R.as_matrix(), ENTRY)
    close(rotation.from_rotation_vector(R.as_rotvec()), R.as_matrix(), ENTRY)
    turns = rng.uniform(-20, 20, 300)  # negative, and more than a turn
    close(
        rotation.from_axis_angle(axis, turns, turns=True),
        Rotation.from_rotvec(axis * turns[:, None]).as_matrix(),
        2e-14,
    )


@pytest.mark.parametrize("angle", HARD_ANGLES)
def test_axis_angle_against_fifty_digits(angle, rng):
    for axis in [*np.eye(3), *rng.normal(size=(5, 3))]:
        exact_axis = mp.matrix(axis.tolist()) / mp.norm(mp.matrix(axis.tolist()))
        unit = np.array([float(c) for c in exact_axis])
        R = rounded(mp_about(exact_axis, mp.mpf(angle)))
        made = rotation.from_axis_angle(unit, angle)
        close(made, R, ENTRY)
        close(rotation.from_rotation_vector(angle * unit), R, ENTRY)
        found_axis, found = rotation.to_axis_angle(R)
        # A small turn is right in relation to its size; near pi the digits of pi are the limit.
        np.testing.assert_allclose(found, angle, rtol=ANGLE)
        close(found_axis, unit, ANGLE)
        vector = rotation.to_rotation_vector(R)
        np.testing.assert_allclose(vector, angle * unit, rtol=0, atol=2 * ANGLE * angle)
        small = np.where(np.eye(3), 0.0, 1.0) * min(1.0, angle)  # off the diagonal, entries as small as the turn
        assert (np.abs(made - R) <= small * ENTRY + np.eye(3) * ENTRY).all()


def test_axis_angle_of_the_identity_and_of_half_turns():
    axis, angle = rotation.to_axis_angle(np.eye(3))
    np.testing.assert_array_equal(axis, [0, 0, 1])
    assert angle == 0
    np.testing.assert_array_equal(rotation.to_rotation_vector(np.eye(3)), [0, 0, 0])
    np.testing.assert_array_equal(rotation.from_rotation_vector([0, 0, 0]), np.eye(3))
    for flip, expected in [((1, -1, -1), (1, 0, 0)), ((-1, 1, -1), (0, 1, 0)), ((-1, -1, 1), (0, 0, 1))]:
        axis, angle = rotation.to_axis_angle(np.diag(flip))
        np.testing.assert_array_equal(axis, expected)
        assert angle == np.pi
    # Half a turn about (-1, 1, 0)/sqrt(2) swaps x and -y; the end of the axis with positive x is given.
    axis, angle = rotation.to_axis_angle([[0, -1, 0], [-1, 0, 0], [0, 0, -1]])
    close(axis, [np.sqrt(0.5), -np.sqrt(0.5), 0], 2e-16)  # one rounding
    assert angle == np.pi


def test_an_axis_with_rounded_digits_still_gives_a_rotation():
    R = rotation.from_axis_angle([0.577350, 0.577350, 0.577350], 1.0)  # 4.7e-7 short
    close(R.T @ R, np.eye(3), ENTRY)
    close(R, Rotation.from_rotvec(np.full(3, np.sqrt(1 / 3))).as_matrix(), ENTRY)


# ---- quaternions


def test_quaternion_agrees_with_scipy(rng):
    R = Rotation.random(300, rng=rng)
    q = rotation.to_quaternion(R)
    close(q, R.as_quat(canonical=True), 1e-15)  # both divide a row by its length: a few roundings
    close(rotation.from_quaternion(q), R.as_matrix(), ENTRY)
    close(rotation.from_quaternion(-q), R.as_matrix(), ENTRY)
    first = rotation.to_quaternion(R, scalar_first=True)
    np.testing.assert_array_equal(first, q[:, [3, 0, 1, 2]])
    np.testing.assert_array_equal(rotation.from_quaternion(first, scalar_first=True), rotation.from_quaternion(q))


@pytest.mark.parametrize("small", [1e-12, 1e-9, 1e-5])
def test_quaternion_with_one_large_component(small, rng):
    # Each of the four components has its turn as the large one, w also as the tiny one.
    for large in range(4):
        q = small * rng.normal(size=4)
        q[large] = 1.0
        q /= np.linalg.norm(q)
        q *= np.sign(q[3])
        *vector, w = (mp.mpf(c) for c in q.tolist())
        sine = mp.sqrt(mp.fsum(c * c for c in vector))
        R = rounded(mp_about([c / sine for c in vector], 2 * mp.atan2(sine, w)))
        close(rotation.from_quaternion(q), R, ENTRY)
        close(rotation.to_quaternion(R), q, 1e-15)  # entries to 1e-16, divided by 4 times a component near 1


def test_sign_of_a_quaternion():
    for q in [(1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0), (0.6, -0.8, 0, 0), (0, 0.6, -0.8, 0), (0, 0, 0, 1)]:
        for sign in (1, -1):
            found = rotation.to_quaternion(rotation.from_quaternion(sign * np.array(q, float)))
            close(found, q, 4e-16)  # two roundings
    q = np.array([0.1, -0.7, 0.7, -0.1])
    assert rotation.to_quaternion(rotation.from_quaternion(q))[3] > 0


def test_tolerance_of_from_quaternion(rng):
    exact = Rotation.random(100, rng=rng)
    logged = np.round(exact.as_quat(), 3)
    with pytest.raises(ValueError, match="raise tolerance, now 1e-06"):
        rotation.from_quaternion(logged)
    R = rotation.from_quaternion(logged, tolerance=1e-3)  # four components, each off by 5e-4: 1e-3 at most
    close(np.swapaxes(R, -1, -2) @ R, np.broadcast_to(np.eye(3), R.shape), ENTRY)
    close(R, Rotation.from_quat(logged).as_matrix(), ENTRY)  # SciPy divides by the length
    slightly = exact.as_quat() * (1 + 9e-7)
    close(rotation.from_quaternion(slightly), exact.as_matrix(), ENTRY)
    with pytest.raises(ValueError, match="must be one number"):
        rotation.from_quaternion(np.zeros(4), tolerance=1.0)  # else a null quaternion would pass


# ---- tilt and torsion


def test_meaning_of_tilt_and_torsion(rng):
    tilt, azimuth, torsion = rng.uniform(0.1, 3), rng.uniform(-3, 3), rng.uniform(-3, 3)
    R = rotation.from_tilt_torsion(tilt, azimuth, torsion)
    pointing = [np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)]
    close(R[:, 2], pointing, ENTRY)
    close(R, Rotation.from_euler("ZYZ", [azimuth, tilt, torsion - azimuth]).as_matrix(), ENTRY)
    # Without torsion it is one turn by the tilt, about the horizontal axis across the azimuth.
    across = [-np.sin(azimuth), np.cos(azimuth), 0.0]
    untwisted = rotation.from_tilt_torsion(tilt, azimuth, 0.0)
    close(untwisted, Rotation.from_rotvec(tilt * np.array(across)).as_matrix(), ENTRY)
    close(R, untwisted @ rotation.rz(torsion), ENTRY)


@pytest.mark.parametrize("tilt", TILTS)
def test_tilt_torsion_round_trip(tilt, rng):
    azimuth, torsion = rng.uniform(-np.pi, np.pi, (2, 200))
    R = rotation.from_tilt_torsion(tilt, azimuth, torsion)
    for read in (R, Rotation.from_euler("ZYZ", np.stack([azimuth, 0 * azimuth + tilt, torsion - azimuth], -1))):
        found = rotation.to_tilt_torsion(read)
        close(rotation.from_tilt_torsion(*found), R, ENTRY + 3.6e-15)  # the threshold, as above
        close(found[0], tilt, ANGLE)
        for angle in found[1:]:
            assert (angle > -np.pi).all()
            assert (angle <= np.pi).all()


@pytest.mark.parametrize("tilt", [1e-9, 1e-5, 1.0, np.pi - 1e-5, np.pi - 1e-9])
def test_tilt_torsion_against_fifty_digits(tilt, rng):
    for azimuth, torsion in rng.uniform(-3, 3, (5, 2)):
        turns = (
            mp_about([0, 0, 1], azimuth),
            mp_about([0, 1, 0], tilt),
            mp_about([0, 0, 1], mp.mpf(torsion) - azimuth),
        )
        R = rounded(turns[0] * turns[1] * turns[2])
        close(rotation.from_tilt_torsion(tilt, azimuth, torsion), R, ENTRY)
        found = rotation.to_tilt_torsion(R)
        np.testing.assert_allclose(found[0], tilt, rtol=ANGLE)  # a small tilt right in relation to its size
        close(found[1:], [azimuth, torsion], ANGLE)


def test_tilt_torsion_at_its_ends():
    tilt, azimuth, torsion = rotation.to_tilt_torsion(rotation.from_tilt_torsion(0.0, 0.7, 0.4))
    assert (tilt, azimuth) == (0, 0)
    close(torsion, 0.4, ANGLE)
    R = rotation.from_tilt_torsion(np.pi, 0.7, 0.4)
    close(R, rotation.rz(2 * 0.7 - 0.4) @ rotation.ry(np.pi), ENTRY)
    tilt, azimuth, torsion = rotation.to_tilt_torsion(R)
    assert (tilt, azimuth) == (np.pi, 0)
    close(torsion, 0.4 - 2 * 0.7, ANGLE)
    # The threshold holds back rounding only: a chain of 60 matrices that ends where it began stays below it.
    rng = np.random.default_rng(3)
    chain = list(Rotation.random(30, rng=rng).as_matrix())
    there_and_back = np.linalg.multi_dot([*chain, *(R.T for R in chain[::-1])])
    assert rotation.to_tilt_torsion(there_and_back)[1] == 0
    assert rotation.to_tilt_torsion(rotation.from_tilt_torsion(1e-14, 0.7, 0.0))[1] != 0


# ---- angle between


def test_angle_between_agrees_with_scipy(rng):
    R1, R2 = Rotation.random(200, rng=rng), Rotation.random(200, rng=rng)
    close(rotation.angle_between(R1, R2), (R1.inv() * R2).magnitude(), 1e-14)  # SciPy: quaternion product
    assert rotation.angle_between(R1, R1).max() < 1e-15  # off the diagonal of R^T R only roundings are left


@pytest.mark.parametrize("angle", [0.0, 1e-9, 1e-3, 1.0, np.pi - 1e-3, np.pi - 1e-9, np.pi])
def test_angle_between_against_fifty_digits(angle, rng):
    for vector in rng.normal(size=(5, 3)):
        axis = mp.matrix(vector.tolist()) / mp.norm(mp.matrix(vector.tolist()))
        start = mp_euler("xyz", rng.uniform(-1, 1, 3))
        found = rotation.angle_between(rounded(start), rounded(start * mp_about(axis, mp.mpf(angle))))
        close(found, angle, ANGLE)


# ---- shapes, types, and what must be refused

TO = {
    "to_euler": lambda R: rotation.to_euler("zxz", R),
    "to_rpy": rotation.to_rpy,
    "to_axis_angle": rotation.to_axis_angle,
    "to_rotation_vector": rotation.to_rotation_vector,
    "to_quaternion": rotation.to_quaternion,
    "to_tilt_torsion": rotation.to_tilt_torsion,
    "R1": lambda R: rotation.angle_between(R, np.eye(3)),
    "R2": lambda R: rotation.angle_between(np.eye(3), R),
}
FROM = {  # name: the function, and the last axes of each argument
    "rx": (rotation.rx, [()]),
    "ry": (rotation.ry, [()]),
    "rz": (rotation.rz, [()]),
    "from_euler": (lambda a, **turns: rotation.from_euler("ZXY", a, **turns), [(3,)]),
    "from_rpy": (rotation.from_rpy, [(), (), ()]),
    "from_axis_angle": (rotation.from_axis_angle, [(3,), ()]),
    "from_rotation_vector": (rotation.from_rotation_vector, [(3,)]),
    "from_quaternion": (rotation.from_quaternion, [(4,)]),
    "from_tilt_torsion": (rotation.from_tilt_torsion, [(), (), ()]),
}


def arguments(name, batch, rng):
    """Valid random arguments of a `from_` function: angles in [0, 1], vectors of length 1."""
    made = [rng.random((*batch, *tail)) for tail in FROM[name][1]]
    return [a / np.linalg.norm(a, axis=-1, keepdims=True) if a.shape != batch else a for a in made]


def parts(result):
    """The arrays of a result, be it one or a tuple."""
    return result if isinstance(result, tuple) else (result,)


def flat(result):
    return np.concatenate([np.ravel(part) for part in parts(result)])


@pytest.mark.parametrize("name", FROM)
def test_from_functions_broadcast(name, rng):
    function, tails = FROM[name]
    batch = arguments(name, (2, 4), rng)
    R = function(*batch)
    assert R.shape == (2, 4, 3, 3)
    assert R.dtype == np.float64
    for index in np.ndindex(2, 4):
        close(R[index], function(*(a[index] for a in batch)), 1e-16)  # the same operations; one ulp if vectorised
    assert function(*(np.empty((0, *tail)) for tail in tails)).shape == (0, 3, 3)
    column, row = arguments(name, (2, 1), rng), arguments(name, (4,), rng)
    mixed = [column[0], *row[1:]]
    if len(mixed) > 1:
        assert function(*mixed).shape == (2, 4, 3, 3)
        close(function(*mixed)[1, 3], function(column[0][1, 0], *(a[3] for a in row[1:])), 1e-16)


@pytest.mark.parametrize("name", FROM)
def test_from_functions_take_any_real_array_and_leave_it_alone(name, rng):
    function, tails = FROM[name]
    wide = arguments(name, (6,), rng)
    strided = [np.repeat(a, 2, axis=0)[::2] for a in wide]
    before = [a.copy() for a in strided]
    for a in strided:
        a.flags.writeable = False
    expected = function(*wide)
    np.testing.assert_array_equal(function(*strided), expected)
    for a, b in zip(strided, before, strict=True):
        np.testing.assert_array_equal(a, b)
    np.testing.assert_array_equal(function(*(a.tolist() for a in wide)), expected)
    single = function(*(a.astype(np.float32) for a in wide))
    assert single.dtype == np.float64
    close(single, expected, 3e-7)  # float32 arguments up to 1 are rounded by 6e-8, and up to four of them add up
    whole = [np.eye(1, *tail, dtype=int)[0] if tail else 1 for tail in tails]
    np.testing.assert_array_equal(function(*whole), function(*(np.asarray(a, float) for a in whole)))


@pytest.mark.parametrize("name", TO)
def test_to_functions_broadcast(name, rng):
    function = TO[name]
    R = Rotation.random(8, rng=rng).as_matrix().reshape(2, 4, 3, 3)
    for index in np.ndindex(2, 4):
        for part, one in zip(parts(function(R)), parts(function(R[index])), strict=True):
            assert part.dtype == np.float64
            assert part[index].shape == np.shape(one)
            # The same operations. Products of 3 x 3 may be summed in another order, which moves an ulp or two.
            close(part[index], one, 1e-15)
    assert all(part.shape[0] == 0 for part in parts(function(np.empty((0, 3, 3)))))


@pytest.mark.parametrize("name", TO)
def test_to_functions_take_any_rotation_and_leave_it_alone(name, rng):
    function = TO[name]
    known = Rotation.random(6, rng=rng)
    R = known.as_matrix()
    strided = np.swapaxes(np.ascontiguousarray(np.swapaxes(R, -1, -2)), -1, -2)
    strided.flags.writeable = False
    before = strided.copy()
    expected = flat(function(R))
    for same in (strided, known, R.tolist()):
        close(flat(function(same)), expected, 1e-15)  # a strided product may be summed in another order
    np.testing.assert_array_equal(strided, before)
    # float32 entries are rounded by up to 3e-8. The nearest of the six to a lock of zxz, zyz or xyz is 0.1 away,
    # which magnifies that tenfold, and several entries add up: 1e-6.
    assert np.abs(R[:, [2, 2], [2, 0]]).max() < np.cos(0.1)
    single = flat(function(R.astype(np.float32)))
    assert single.dtype == np.float64
    assert angle_gap(single, expected).max() < 1e-6
    whole = np.array([[0, -1, 0], [1, 0, 0], [0, 0, 1]])
    np.testing.assert_array_equal(flat(function(whole)), flat(function(whole.astype(float))))


def test_angle_between_broadcasts(rng):
    R = Rotation.random(6, rng=rng).as_matrix()
    table = rotation.angle_between(R[:2, None], R[2:])
    assert table.shape == (2, 4)
    close(table[1, 3], rotation.angle_between(R[1], R[5]), 1e-15)  # order of summation
    with pytest.raises(ValueError, match=r"R1 \(2,\), R2 \(4,\)"):
        rotation.angle_between(R[:2], R[2:])


SHEARED = np.eye(3) + 1e-4 * np.eye(3, k=1)
NO_ROTATIONS = [
    (None, TypeError, "None"),
    ("xyz", TypeError, "real numbers"),
    (1j * np.eye(3), TypeError, "real numbers"),
    (np.eye(3, dtype=bool), TypeError, "real numbers"),
    (np.eye(4), ValueError, r"shape \(4, 4\)"),
    (np.ones(3), ValueError, r"shape \(3,\)"),
    ([[1, 0], [0]], ValueError, "no regular array"),
    (np.diag([1, np.nan, 1]), ValueError, r"\[1, 1\] is nan"),
    (np.diag([1, 1, np.inf]), ValueError, r"\[2, 2\] is inf"),
    (0.98 * np.eye(3), ValueError, "0.98 long"),
    (SHEARED, ValueError, "apart"),
    (np.diag([1, 1, -1]), ValueError, "mirror"),
    (np.stack([np.eye(3), np.eye(3), -np.eye(3)]), ValueError, "2 is not a rotation"),
]


@pytest.mark.parametrize("name", TO)
@pytest.mark.parametrize(("bad", "error", "message"), NO_ROTATIONS)
def test_no_rotation_is_refused(name, bad, error, message):
    with pytest.raises(error, match=message):
        TO[name](bad)
    if name.startswith("R"):
        with pytest.raises(error, match=f"orientation {name}"):
            TO[name](bad)


@pytest.mark.parametrize("name", FROM)
def test_bad_numbers_are_refused(name, rng):
    function, tails = FROM[name]
    good = arguments(name, (3,), rng)
    for n, tail in enumerate(tails):

        def call(bad, n=n):
            return function(*good[:n], bad, *good[n + 1 :])

        broken = good[n].copy()
        broken[(2, *(0 for _ in tail))] = np.nan
        with pytest.raises(ValueError, match=r"\[2.*is nan"):
            call(broken)
        for nonsense in (None, "30", [None, 1.0, 2.0], np.ones((3, *tail)) > 0):
            with pytest.raises(TypeError):
                call(nonsense)
        wrong = np.ones((3, *(size + 1 for size in tail))) if tail else np.ones(5)
        if tail or len(tails) > 1:
            with pytest.raises(ValueError, match="shape"):
                call(wrong)


@pytest.mark.parametrize("name", [name for name in FROM if name != "from_quaternion"])
def test_degrees_are_refused_and_whole_turns_are_allowed_when_asked_for(name, rng):
    """Every angle of every maker, alone and in a batch, against SciPy; the tilt has an interval of its own."""
    function, tails = FROM[name]
    good = arguments(name, (3,), rng)
    turned = [2 * np.pi * rng.choice([-1, 1], 3) * (2 + n) for n in range(3)]
    for n, tail in enumerate(tails):
        if (name, n) in {("from_axis_angle", 0), ("from_tilt_torsion", 0)}:
            continue
        for k in np.ndindex(tail):
            for size in (6.284, -12.0, 30, 1e5):
                spoilt = good[n].copy()
                spoilt[(1, *k)] = size
                bad = [*good[:n], spoilt, *good[n + 1 :]]
                with pytest.raises(ValueError, match=r"\[1.*more than a turn; for degrees write .*\*deg.*turns=True"):
                    function(*bad)
                with pytest.raises(ValueError, match="more than a turn"):
                    function(*(argument[1] for argument in bad))
                assert np.isfinite(function(*bad, turns=True)).all()
            more = good[n].copy()
            if name == "from_rotation_vector":
                more *= 1 + turned[k[0]][:, None] / np.linalg.norm(more, axis=1, keepdims=True)
            else:
                more[(slice(None), *k)] += turned[n]
            close(function(*good[:n], more, *good[n + 1 :], turns=True), function(*good), 1e-14)  # 1e-16 of 30 rad


def test_a_whole_turn_passes_also_when_it_is_rounded():
    for turn in (2 * np.pi, -2 * np.pi, 360 * deg, np.float32(2 * np.pi), 6.283186):
        close(rotation.rz(turn), np.eye(3), 1e-6)
    with pytest.raises(TypeError, match="turns is 2; it must be True or False"):
        rotation.rz(9.0, turns=2)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda: rotation.from_rpy(5, 12, -10),
            r"pitch is 12 rad \(687\.5°\), more than a turn; for degrees write 12\*d",
        ),
        (lambda: rotation.from_rotation_vector([[0, 0, 1], [0, 0, 30]]), r"length of vector\[1\] is 30 rad"),
        (lambda: rotation.from_axis_angle([[0, 0, 1], [0, 0, 2]], 0.1), r"axis 1 is 2 long, not 1: divide"),
        (lambda: rotation.from_axis_angle([0, 0, 0], 0.1), "the axis is 0 long"),
        (lambda: rotation.from_axis_angle(np.eye(3), np.ones(2)), r"axis \(3,\), angle \(2,\)"),
        (lambda: rotation.from_rotation_vector([1.5e308, 1.5e308, 0]), "length of vector is inf"),
        (lambda: rotation.from_quaternion([[0, 0, 0, 1], [0, 0, 0.6, 0.7]]), "quaternion 1 is 0.9219544 long"),
        (lambda: rotation.from_quaternion([0, 0, 0, 1.1]), "the quaternion is 1.1 long, not 1: divide it"),
        (lambda: rotation.from_quaternion([0, 0, 0, 0]), "the quaternion is 0 long"),
        (lambda: rotation.from_quaternion([0, 0, 0, 1], tolerance=-1), "tolerance is -1"),
        (lambda: rotation.from_quaternion([0, 0, 0, 1], tolerance=[0.1, 0.2]), r"tolerance has shape \(2,\)"),
        (lambda: rotation.from_quaternion([0, 0, 0, 1], tolerance=np.nan), "tolerance is nan"),
        (lambda: rotation.from_rpy(np.ones(2), np.ones(3), 0), r"roll \(2,\), pitch \(3,\), yaw \(\)"),
        (lambda: rotation.from_tilt_torsion(-0.1, 0, 0), r"the tilt is -0.1; .* positive one with azimuth \+ pi"),
        (lambda: rotation.from_tilt_torsion([0.1, 30], 0, 0), r"tilt 1 is 30; .* 30\*deg"),
        (lambda: rotation.from_tilt_torsion(np.ones(2), np.ones(3), 0), r"azimuth \(3,\)"),
    ],
)
def test_messages_name_the_argument_the_place_the_value_and_the_repair(call, message):
    with pytest.raises(ValueError, match=message):
        call()


@pytest.mark.parametrize(
    "seq", ["xxz", "xzz", "xYz", "XyZ", "ab", "abc", "xy", "xyzx", "", None, 12, ["x", "y", "z"]]
)
def test_bad_sequences_are_refused(seq):
    with pytest.raises(ValueError, match=r"seq is .* three letters"):
        rotation.from_euler(seq, (0, 0, 0))
    with pytest.raises(ValueError, match=r"seq is .* three letters"):
        rotation.to_euler(seq, np.eye(3))


def test_the_remedy_for_a_negative_tilt_holds():
    made = rotation.from_tilt_torsion(0.1, 0.7 + np.pi, 0.3)
    close(made, rotation.rz(0.7) @ rotation.ry(-0.1) @ rotation.rz(0.3 - 0.7), ENTRY)
