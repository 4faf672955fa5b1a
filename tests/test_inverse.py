"""Orientation to motor angles, checked by routes that share nothing with the closed form."""

import importlib.metadata
import tracemalloc
from itertools import product

import mpmath
import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from common import at_the_edge, everyday_and_edge_joints, wrapped
from legloop import (
    WORKING_MODES,
    Mechanism,
    SingularError,
    UnreachableError,
    closure_error,
    deg,
    inverse_kinematics,
    reach_margin,
    rotation,
    working_mode,
)
from legloop.half_angle import SIZE, Block
from legloop.lesson.cases import bird_hide, named_joints, random_orientations, reachable
from legloop.workshop.log import read_log


def elbow_by_turning(m: Mechanism, leg: int, theta: np.ndarray) -> np.ndarray:
    """w from the zero position, turned about u by SciPy to angles (n,): no frame product, no a, b, c."""
    x, _, u = m.base_frames[leg].T
    zero = np.sin(m.proximal[leg]) * x + np.cos(m.proximal[leg]) * u
    return Rotation.from_rotvec(theta[:, None] * u).apply(zero)


@pytest.mark.parametrize("m", everyday_and_edge_joints())
def test_every_mode_closes_every_leg(m):
    R = reachable(m, 300, seed=1, margin=0.1 * deg)
    theta = inverse_kinematics(m, R[:, None], WORKING_MODES)
    assert theta.shape == (300, 8, 3)
    assert (np.abs(theta) <= np.pi).all()
    assert not (theta == -np.pi).any()
    assert np.abs(closure_error(m, R[:, None], theta)).max() < 1e-14  # three rounded products of unit vectors
    assert_array_equal(working_mode(m, R[:, None], theta), np.broadcast_to(WORKING_MODES, theta.shape))
    for leg in range(3):  # the closure once more, from elbows that were turned, not multiplied
        w = elbow_by_turning(m, leg, theta[:20, :, leg].ravel()).reshape(20, 8, 3)
        closure = np.einsum("nki,nij,j->nk", w, R[:20], m.platform_axes[leg]) - np.cos(m.distal[leg])
        assert np.abs(closure).max() < 1e-14


@pytest.mark.parametrize("m", everyday_and_edge_joints())
def test_the_two_roots_are_those_that_a_root_finder_finds(m):
    grid = np.linspace(-np.pi, np.pi, 721)
    for R in reachable(m, 4, seed=2, margin=2 * deg):
        both = inverse_kinematics(m, R, [(1, 1, 1), (-1, -1, -1)])
        for leg in range(3):

            def closure(theta, leg=leg, R=R):
                w = elbow_by_turning(m, leg, np.atleast_1d(theta)) @ R @ m.platform_axes[leg]
                return np.squeeze(w - np.cos(m.distal[leg]))[()]

            values = closure(grid)
            crossings = np.flatnonzero(values[:-1] * values[1:] < 0)
            roots = [brentq(closure, grid[k], grid[k + 1], xtol=1e-15, rtol=1e-15) for k in crossings]
            assert len(roots) == 2
            nearest = np.sort(np.abs(wrapped(np.subtract.outer(roots, both[:, leg]))), axis=1)
            # brentq stops where the closure is rounding, 1e-16, and the slope sqrt(D) is above 0.02 here
            assert nearest[:, 0].max() < 1e-13
            assert nearest[:, 1].min() > 1e-3


def theta_in_50_digits(m: Mechanism, R: np.ndarray, leg: int, mode: int) -> mpmath.mpf:
    """The arccos form in 50 digits, for the doubles that the joint is made of, which are exact numbers."""
    with mpmath.workdps(50):
        frame = mpmath.matrix(m.base_frames[leg].tolist())
        p = mpmath.matrix(R.tolist()) * mpmath.matrix(m.platform_axes[leg].tolist())
        local = frame.T * p
        first, second = mpmath.mpf(float(m.proximal[leg])), mpmath.mpf(float(m.distal[leg]))
        a, b = mpmath.sin(first) * local[0], mpmath.sin(first) * local[1]
        c = mpmath.cos(first) * local[2] - mpmath.cos(second)
        return mpmath.atan2(b, a) - mode * mpmath.acos(-c / mpmath.sqrt(a * a + b * b))


@pytest.mark.parametrize("short_of_edge", [0.3, 1e-1, 1e-4, 1e-8, 1e-11, 1e-13, 1e-14])
@pytest.mark.parametrize("m", everyday_and_edge_joints())
def test_against_50_digits_up_to_the_edge_of_reach(m, short_of_edge):
    """An input off by one ulp moves theta by 1/sqrt(D) ulp: the tolerance is a few ulp of that size."""
    rng = np.random.default_rng(3)
    leg, end = np.repeat([0, 1, 2], 2), np.tile([0, 1], 3)
    poses = at_the_edge(m, random_orientations(6, int(rng.integers(100))), leg, end, np.full(6, short_of_edge))
    for R, k in zip(poses, leg, strict=True):
        a, b, c = (part[k] for part in m.leg_equation(R))
        root = np.sqrt(a * a + b * b - c * c)
        for sign in (1, -1):
            mode = np.where(np.arange(3) == k, sign, 1)
            exact = theta_in_50_digits(m, R, k, sign)
            alone = inverse_kinematics(m, R, mode, unreachable="nan")
            for theta in (alone, *inverse_kinematics(m, [R, R], mode, unreachable="nan")):
                assert miss(theta[k], exact) <= 8 * np.finfo(float).eps * (1 + 1 / root), f"leg {k}"


@pytest.mark.parametrize("m", everyday_and_edge_joints())
def test_against_50_digits_where_an_elbow_comes_near_half_a_turn(m):
    """Near theta = pi the tangent of theta/2 has a pole, and where the other root is near pi it is 0/0.

    Legs are turned about their motor axes, by turning their zero directions, until the one or the other root is so
    near; a batch must not lose digits there, nor where it passes from one formula to the other.
    """
    R = reachable(m, 3, seed=33, margin=3 * deg)
    for mode in ((1, 1, 1), (-1, -1, -1)):
        here = inverse_kinematics(m, R[0], mode)
        for gap in (0.0, 1e-15, 1e-9, 1e-3, 0.05, 0.1, 0.15, 0.2, 0.3):
            frames = m.base_frames @ rotation.rz(here - np.pi + gap)
            turned = Mechanism(frames, m.platform_axes, m.proximal, m.distal)
            for sign in (mode, tuple(-s for s in mode)):
                together = inverse_kinematics(turned, R, sign)
                assert (together > -np.pi).all()
                a, b, c = turned.leg_equation(R)
                root = np.sqrt(a * a + b * b - c * c)
                for n, k in product(range(3), range(3)):
                    exact = theta_in_50_digits(turned, R[n], k, sign[k])
                    assert miss(together[n, k], exact) <= 8 * np.finfo(float).eps * (1 + 1 / root[n, k])


def miss(theta: float, exact: mpmath.mpf) -> float:
    """How far an angle is from one in 50 digits, whole turns aside."""
    turn = 2 * mpmath.pi
    return abs(float(mpmath.fmod(mpmath.mpf(float(theta)) - exact + 1.5 * turn, turn) - turn / 2))


def test_the_orthogonal_joint_follows_its_published_closed_form():
    """All arcs 90°, u = x, y, z, platform axes y, z, x, R = Rz(phi) Ry(theta) Rx(psi).

    Source: Bonev, Chablat, Wenger, ICRA 2006, arXiv:0708.3936, Eqs. 1-8 for the structure (read); the signs are
    derived anew from w_1 = (0, -s1, c1), w_2 = (c2, 0, -s2), w_3 = (-s3, c3, 0).
    """
    frames = np.array(
        [  # columns x, y, u, so that w = x cos + y sin is the w of the paper
            np.column_stack([[0, 0, 1], [0, -1, 0], [1, 0, 0]]),
            np.column_stack([[1, 0, 0], [0, 0, -1], [0, 1, 0]]),
            np.column_stack([[0, 1, 0], [-1, 0, 0], [0, 0, 1]]),
        ],
        dtype=float,
    )
    m = Mechanism(frames, np.array([[0, 1, 0], [0, 0, 1], [1, 0, 0]], dtype=float), 90 * deg, 90 * deg)
    phi, theta, psi = np.random.default_rng(4).uniform(-80 * deg, 80 * deg, (3, 200))
    R = Rotation.from_euler("ZYX", np.stack([phi, theta, psi], axis=1)).as_matrix()
    tangents = np.stack(
        [
            np.cos(theta) * np.sin(psi) / (np.cos(phi) * np.cos(psi) + np.sin(phi) * np.sin(theta) * np.sin(psi)),
            (np.sin(phi) * np.sin(psi) + np.cos(phi) * np.sin(theta) * np.cos(psi)) / (np.cos(theta) * np.cos(psi)),
            np.tan(phi),
        ],
        axis=1,
    )
    solved = inverse_kinematics(m, R[:, None], WORKING_MODES)
    # both roots of a leg are half a turn apart here, so tan(theta) is the same in all modes
    assert_allclose(wrapped(solved - np.arctan(tangents)[:, None], np.pi), 0, atol=1e-12)
    for one in solved:  # eight inverse solutions (the count of the same paper): all different
        gaps = np.abs(wrapped(one[:, None] - one[None])).max(axis=-1)
        assert (gaps[~np.eye(8, dtype=bool)] > 1).all()


def test_bench_figures_of_the_bird_hide(hide):
    """Degrees to the printed digit, figures of our own: what a mirrored leg order or a wrong minus would change."""
    for mode, home, yaw, tilt in (
        (1, -75.553, (-7.40, -7.40, -7.40), (-8.25, 12.97, -4.92)),
        (-1, 75.553, None, (8.25, 4.92, -12.97)),
    ):
        modes = (mode,) * 3
        assert_allclose(hide.home_angles(modes) / deg, home, atol=0.0005)
        tilted = inverse_kinematics(hide, rotation.ry(15 * deg), modes) - hide.home_angles(modes)
        assert_allclose(tilted / deg, tilt, atol=0.005)
        if yaw:
            turned = inverse_kinematics(hide, rotation.rz(10 * deg), modes) - hide.home_angles(modes)
            assert_allclose(turned / deg, yaw, atol=0.005)


def test_working_mode_plus_one_has_the_elbow_on_the_right_of_the_walk_at_home(hide):
    """Leg 1 at home walks up in the plane y = 0; seen from outside, right of that is +y. All poses: test_sides.py."""
    for mode in (1, -1):
        w = hide.elbow_axes(hide.home_angles((mode,) * 3))[0]
        assert np.sign(w[1]) == mode


def test_a_recorded_orientation_stream_closes():
    """499 samples of a motion sensor, package scikit-kinematics (BSD), tests/data/data_ngimu/quaternion.csv."""
    hide = bird_hide()
    wanted = "tests/data/data_ngimu/quaternion.csv"
    entry = next(f for f in importlib.metadata.files("scikit-kinematics") if f.as_posix() == wanted)
    recorded = read_log(entry.locate()).orientations
    R = recorded[0].T @ recorded
    assert len(R) == 499
    assert abs(rotation.angle_between(np.eye(3), R).max() / deg - 29.4) < 0.05  # its printed digit
    for mode in WORKING_MODES:
        theta = inverse_kinematics(hide, R, mode)
        assert np.abs(closure_error(hide, R, theta)).max() < 1e-12
        assert np.abs(np.diff(theta, axis=0)).max() < 5 * deg  # 20 ms apart: no jump


def test_near_gives_the_equal_angle_nearest(hide):
    R = reachable(hide, 50, seed=5)
    base = inverse_kinematics(hide, R)
    aim = base + np.random.default_rng(6).uniform(-3, 3, base.shape) + 2 * np.pi * np.arange(-1, 2)
    moved = inverse_kinematics(hide, R, near=aim)
    assert np.abs(moved - aim).max() <= np.pi + 1e-12
    assert_allclose(wrapped(moved - base), 0, atol=1e-14)
    assert_array_equal(moved[7], inverse_kinematics(hide, R[7], near=aim[7]))


def test_near_keeps_a_path_from_jumping_where_an_angle_passes_half_a_turn():
    m = named_joints()["coaxial"]
    path = rotation.rz(np.linspace(0, 170 * deg, 86))
    plain = inverse_kinematics(m, path)
    assert np.abs(np.diff(plain, axis=0)).max() > 350 * deg  # a motor told this would spin once round
    kept, angles = m.home_angles(), []
    for R in path:
        kept = inverse_kinematics(m, R, near=kept)
        angles.append(kept)
    assert np.abs(np.diff(angles, axis=0)).max() < 3 * deg
    assert_allclose(np.array(angles), np.unwrap(plain, axis=0), atol=1e-12)


class TestSpecialCases:
    """One test for each row of the table in `leg.motor_angle`."""

    @staticmethod
    def joint(proximal, distal):
        return Mechanism.symmetric(proximal=proximal, distal=distal, base_cone=40 * deg, platform_cone=50 * deg)

    @staticmethod
    def lay_first_axis(m, arc):
        """An orientation at which angle(u, R v) of leg 1 is `arc`, in the plane of u and z."""
        u, v = m.base_axes[0], m.platform_axes[0]
        across = np.cross([0, 1, 0], u)
        target = np.cos(arc) * u + np.sin(arc) * across
        return Rotation.align_vectors([target, [0, 1, 0]], [v, [0, 1, 0]], weights=[np.inf, 1])[0].as_matrix()

    @pytest.mark.parametrize("gamma", [0, 30 * deg, 90 * deg])
    @pytest.mark.parametrize(("first", "second"), list(product([60 * deg, 90 * deg], repeat=2)))
    def test_right_angles_and_the_coaxial_joint_are_regular(self, gamma, first, second):
        m = Mechanism.symmetric(proximal=first, distal=second, base_cone=gamma, platform_cone=50 * deg)
        R = reachable(m, 50, seed=8)
        theta = inverse_kinematics(m, R[:, None], WORKING_MODES)
        assert np.abs(closure_error(m, R[:, None], theta)).max() < 1e-14
        assert_array_equal(working_mode(m, R[:, None], theta), np.broadcast_to(WORKING_MODES, theta.shape))

    @pytest.mark.parametrize("edge", ["stretched", "folded"])
    def test_double_root_is_the_same_in_both_modes(self, edge):
        m = self.joint(60 * deg, 75 * deg)
        R = self.lay_first_axis(m, {"stretched": 135 * deg, "folded": 15 * deg}[edge])
        both = inverse_kinematics(m, R, [(1, 1, 1), (-1, 1, 1)], unreachable="nan")[:, 0]
        assert not np.isnan(both).any()
        assert abs(wrapped(both[0] - both[1])) < 1e-6  # sqrt of the rounding of D
        theta = np.array([both[0], 0, 0])
        assert abs(closure_error(m, R, theta)[0]) < 1e-14
        assert working_mode(m, R, theta)[0] == 0

    @pytest.mark.parametrize("arc", [14.9 * deg, 135.1 * deg, 180 * deg, 0.0])
    def test_out_of_reach_raises_or_is_nan(self, arc):
        """0 and 180°: u parallel to R v, and no angle closes."""
        m = self.joint(60 * deg, 75 * deg)
        R = self.lay_first_axis(m, arc)
        assert np.isnan(inverse_kinematics(m, R, unreachable="nan")[0])
        assert np.isnan(inverse_kinematics(m, R, near=(1, 2, 3), unreachable="nan")[0])
        with pytest.raises(UnreachableError):
            inverse_kinematics(m, R)

    @pytest.mark.parametrize(("first", "second", "arc"), [(60, 60, 0), (90, 90, 0), (90, 90, 180), (60, 120, 180)])
    def test_every_angle_closes(self, first, second, arc):
        m = self.joint(first * deg, second * deg)
        R = self.lay_first_axis(m, arc * deg)
        any_theta = np.stack([np.linspace(-3, 3, 50), np.zeros(50), np.zeros(50)], axis=1)
        assert np.abs(closure_error(m, R, any_theta)[:, 0]).max() < 1e-14  # so it is, whatever the motor does
        assert np.isnan(inverse_kinematics(m, R, unreachable="nan")[0])
        assert inverse_kinematics(m, R, near=(1.25, 0, 0), unreachable="nan")[0] == 1.25
        if (reach_margin(m, R)[1:] > 0).all():
            with pytest.raises(SingularError, match=r"leg 1.*near=") as caught:
                inverse_kinematics(m, [np.eye(3), R])
            assert (caught.value.pose, caught.value.leg) == ((1,), 0)


class TestUnreachable:
    def test_says_which_pose_which_leg_and_how_far(self, hide):
        batch = np.broadcast_to(np.eye(3), (4, 5, 3, 3)).copy()
        batch[2, 3] = rotation.ry(80 * deg)  # angle(u_1, R v_1) is 45 + 80 + ... : 10° short, from reach_margin
        with pytest.raises(UnreachableError) as caught:
            inverse_kinematics(hide, batch)
        error = caught.value
        assert (error.pose, error.leg, error.count) == ((2, 3), 0, 1)
        assert abs(error.shortfall - 10 * deg) < 1e-12
        assert "orientation (2, 3)" in str(error)
        assert "leg 1 is 10° short" in str(error)

    def test_counts_all_and_names_the_first(self, hide):
        batch = rotation.ry(np.array([0, 80, 10, 85]) * deg)
        with pytest.raises(UnreachableError, match="2 poses") as caught:
            inverse_kinematics(hide, batch)
        assert (caught.value.pose, caught.value.count) == ((1,), 2)

    def test_poses_are_counted_through_all_blocks(self, hide):
        batch = np.broadcast_to(np.eye(3), (100, 100, 3, 3)).copy()
        assert 2 * SIZE < 10_000 < 3 * SIZE
        batch[45, 67] = batch[90, 1] = rotation.ry(80 * deg)
        with pytest.raises(UnreachableError) as caught:
            inverse_kinematics(hide, batch)
        assert (caught.value.pose, caught.value.count) == ((45, 67), 2)
        batch[45, 66, 0, 0] = 1.1
        with pytest.raises(ValueError, match=r"orientation \(45, 66\) is not a rotation"):
            inverse_kinematics(hide, batch)

    @pytest.mark.parametrize("m", everyday_and_edge_joints())
    def test_its_correction_brings_the_pose_back(self, m):
        R = random_orientations(200, seed=9)
        out = R[(reach_margin(m, R) < 0).any(axis=1)]
        assert len(out) > 10 or m == named_joints()["all arcs 90°"]  # which closes wherever it is turned
        others = random_orientations(1000, seed=5)
        others = others[(reach_margin(m, others) > 0).all(axis=1)]
        for pose in out:
            with pytest.raises(UnreachableError) as caught:
                inverse_kinematics(m, pose)
            correction = caught.value.correction
            mended = rotation.from_rotation_vector(correction) @ pose
            assert (reach_margin(m, mended) > 0).all()
            inverse_kinematics(m, mended)
            assert np.linalg.norm(correction) >= caught.value.shortfall - 1e-9  # no turn can do with less
            # short, not proven the shortest: none of 1000 orientations is within reach and much nearer; here by 0.12
            nearest = rotation.angle_between(pose, others).min()
            assert np.linalg.norm(correction) <= max(2 * nearest, nearest + 0.15)

    def test_admits_when_no_turn_helps(self):
        # three platform axes at right angles cannot all be within 41° of one motor axis: 54.7° is the best
        m = Mechanism(np.stack([np.eye(3)] * 3), np.eye(3), 20 * deg, 21 * deg)
        with pytest.raises(UnreachableError, match="no turn of the platform was found") as caught:
            inverse_kinematics(m, np.eye(3))
        assert caught.value.correction is None

    def test_one_leg_out_leaves_the_others_in_the_answer(self, hide):
        theta = inverse_kinematics(hide, rotation.ry(80 * deg), unreachable="nan")
        assert_array_equal(np.isnan(theta), reach_margin(hide, rotation.ry(80 * deg)) < 0)
        assert np.isnan(theta).sum() == 1


class TestBroadcasting:
    def test_a_batch_equals_its_poses_one_by_one(self, hide):
        R = reachable(hide, 24, seed=10)
        modes = WORKING_MODES[np.arange(24) % 8]
        together = inverse_kinematics(hide, R.reshape(2, 3, 4, 3, 3), modes.reshape(2, 3, 4, 3)).reshape(24, 3)
        for k in range(24):  # arctan2 of NumPy and of the C library may differ in the last digit
            assert_allclose(together[k], inverse_kinematics(hide, R[k], modes[k]), rtol=0, atol=1e-15)

    def test_modes_and_near_broadcast_against_poses(self, hide):
        R = reachable(hide, 5, seed=11)
        grid = inverse_kinematics(hide, R[:, None], WORKING_MODES, near=np.zeros(3))
        assert grid.shape == (5, 8, 3)
        assert_allclose(grid[3, 5], inverse_kinematics(hide, R[3], WORKING_MODES[5]), rtol=0, atol=1e-15)
        assert inverse_kinematics(hide, np.eye(3), WORKING_MODES).shape == (8, 3)
        at_home = inverse_kinematics(hide, np.eye(3)[None], WORKING_MODES)
        assert_allclose(at_home, hide.home_angles(WORKING_MODES), rtol=0, atol=1e-15)

    def test_large_batches_are_solved_in_blocks_like_small_ones(self, hide):
        R = reachable(hide, 500, seed=12)
        many = np.tile(R, (13, 1, 1))
        assert SIZE < len(many) < 2 * SIZE  # the last one partly filled
        # a matrix product may add up in another order when the block has another size
        assert_allclose(inverse_kinematics(hide, many), np.tile(inverse_kinematics(hide, R), (13, 1)), atol=1e-13)
        gathered = inverse_kinematics(hide, np.asfortranarray(many))  # strided in memory: the other way through
        assert_allclose(gathered, inverse_kinematics(hide, many), rtol=0, atol=1e-15)

    @pytest.mark.parametrize("near", [None, np.full(3, 7.0)])
    def test_special_poses_leave_their_neighbours_alone(self, near):
        m = named_joints()["all arcs 90°"]
        R = reachable(m, SIZE + 50, seed=14, margin=1 * deg)
        expected = inverse_kinematics(m, R, near=near)
        u, v = m.base_axes[1], m.platform_axes[1]
        axis = np.cross(v, u)  # turned until v lies along u, where every angle closes leg 2
        along = rotation.from_axis_angle(axis / np.linalg.norm(axis), np.arctan2(np.linalg.norm(axis), u @ v))
        assert_allclose(along @ v, u, atol=1e-15)
        special = [0, 7, SIZE - 1, SIZE, SIZE + 49]
        R[special] = along
        theta = inverse_kinematics(m, R, near=near, unreachable="nan")
        others = np.delete(np.arange(len(R)), special)
        assert_array_equal(theta[others], expected[others])
        assert_array_equal(theta[special, 1], np.full(5, np.nan if near is None else 7.0))
        alone = inverse_kinematics(m, along, near=near, unreachable="nan")
        # the same formula on coefficients that may be summed in another order: a few roundings of angles up to 7
        assert_allclose(theta[special], np.broadcast_to(alone, (5, 3)), rtol=0, atol=5e-15)

    def test_zero_is_never_minus_zero(self):
        # a = 1/2, b = 1/4, c = -1/2 at any pose, without rounding: the half-angle is 0 over -1 in mode +1
        block = Block((np.zeros((9, 9)), np.repeat([0.5, 0.25, -0.5], 3)), 4)
        theta = np.empty((4, 3))
        block.load(np.tile(np.eye(3).reshape(1, 9), (4, 1)), 4)
        assert block.solve(np.ones((3, 1)), theta).size == 0
        assert_array_equal(theta, np.zeros((4, 3)))
        assert not np.signbit(theta).any()

    @pytest.mark.parametrize("shape", [(0,), (0, 4), (3, 0)])
    def test_empty_batches(self, hide, shape):
        assert inverse_kinematics(hide, np.empty((*shape, 3, 3))).shape == (*shape, 3)
        assert reach_margin(hide, np.empty((*shape, 3, 3))).shape == (*shape, 3)

    def test_kinds_of_input(self, hide):
        R = reachable(hide, 3, seed=13)
        wanted = inverse_kinematics(hide, R)
        frozen = R.copy()
        frozen.flags.writeable = False
        assert_array_equal(inverse_kinematics(hide, frozen), wanted)
        assert_array_equal(inverse_kinematics(hide, R.tolist()), wanted)
        assert_allclose(inverse_kinematics(hide, Rotation.from_matrix(R)), wanted, atol=1e-12)
        assert_allclose(inverse_kinematics(hide, R.astype(np.float32)), wanted, atol=1e-4)
        assert_array_equal(inverse_kinematics(hide, np.eye(3, dtype=int)), inverse_kinematics(hide, np.eye(3)))
        assert_array_equal(R, reachable(hide, 3, seed=13))

    def test_memory_beyond_input_and_output_stays_flat(self, hide):
        def peak(R):
            tracemalloc.start()
            before = tracemalloc.get_traced_memory()[0]
            theta = inverse_kinematics(hide, R)
            extra = tracemalloc.get_traced_memory()[1] - before - theta.nbytes
            tracemalloc.stop()
            return extra

        R = np.tile(reachable(hide, 1000, seed=14), (400, 1, 1))
        small, large = peak(R[:40_000]), peak(R)
        assert large < small + 100_000  # ten times the poses, 9.6 MB more of output, not 0.1 MB more beside it
        strided = peak(np.asfortranarray(R[:, ::-1, ::-1])[:, ::-1, ::-1])
        assert strided < small + 1_000_000


def test_turning_base_and_platform_frames_changes_nothing(hide):
    """The motor angles of a joint do not depend on how its frames were drawn."""
    R = reachable(hide, 40, seed=15)
    theta = inverse_kinematics(hide, R)
    for base, platform in zip(random_orientations(10, seed=16), random_orientations(10, seed=17), strict=True):
        other = Mechanism(base @ hide.base_frames, hide.platform_axes @ platform.T, hide.proximal, hide.distal)
        assert_allclose(inverse_kinematics(other, base @ R @ platform.T), theta, atol=1e-12)


def test_the_mirror_joint_in_the_mirrored_mode_has_opposite_angles():
    sizes = {"proximal": 55 * deg, "distal": 80 * deg, "base_cone": 35 * deg, "platform_cone": 60 * deg}
    m = Mechanism.symmetric(**sizes, azimuths=(0, 1.9, 4.0), twist=0.3)
    mirrored = Mechanism.symmetric(**sizes, azimuths=(0, -1.9, -4.0), twist=-0.3)
    mirror = np.diag([1, -1, 1])
    R = reachable(m, 40, seed=18)
    theta = inverse_kinematics(m, R, (1, -1, 1))
    assert_allclose(inverse_kinematics(mirrored, mirror @ R @ mirror, (-1, 1, -1)), -theta, atol=1e-12)
