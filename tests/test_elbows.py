"""From which elbows the motors came: the forward kinematics of steps of all sizes is right, or refused.

The moves come from `poses`, which knows the branch: it follows them in small steps by other means.
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from common import FULL, wrapped
from legloop import (
    AmbiguousError,
    Mechanism,
    SingularError,
    UnreachableError,
    closure_error,
    deg,
    forward_kinematics,
    inverse_kinematics,
    reach_margin,
    rotation,
    working_mode,
)
from legloop.forward import stands
from legloop.lesson.cases import named_joints, random_joints, reachable
from poses import moved_by_hand, moved_steadily, normals

JOINTS = [*named_joints().values(), *random_joints(5, seed=70)][:: 1 if FULL else 3]
RIGHT = 1e-9  # rounding, enlarged by 1/sigma, which is below 1e3 in the moves of `poses`


@pytest.fixture(scope="module")
def steady():
    """For each joint some hundred moves with straight motors, of up to 170° each."""
    return [(m, *moved_steadily(m, 160, seed, 170 * deg)) for seed, m in enumerate(JOINTS)]


def outcome(found, R):
    """Which answers are right and which are wrong; the rest is refused."""
    miss = np.abs(found - R).max(axis=(1, 2))
    return miss < RIGHT, miss >= RIGHT


def is_small(m, near, start, theta):
    """Whether the motor that turns farthest turns by less than 3/4 of the angle between its two stands."""
    other = inverse_kinematics(m, near, -working_mode(m, near, start))
    turn, gap = np.abs(theta - start), np.abs(wrapped(other - start))
    farthest = np.argmax(turn, axis=1)[:, None]
    turn, gap = (np.take_along_axis(x, farthest, axis=1)[:, 0] for x in (turn, gap))
    return turn < 0.75 * gap


class TestSteadyMotors:
    def test_with_the_mode_it_is_right_at_any_size(self, steady):
        total = 0
        for m, near, mode, _, theta, R in steady:
            assert_allclose(forward_kinematics(m, theta, near=near, mode=mode), R, atol=RIGHT)
            total += len(R)
        assert total > 60 * len(JOINTS)

    def test_without_it_is_right_or_refused(self, steady):
        """Without exception for the small moves that the docstring promises it for; 3/4 of a gap is a lot."""
        total = promised = answered = wrong = 0
        for m, near, _, start, theta, R in steady:
            right, bad = outcome(forward_kinematics(m, theta, near=near, unreachable="nan"), R)
            small = is_small(m, near, start, theta)
            assert not (bad & small).any()
            total, promised, answered = total + len(R), promised + small.sum(), answered + right.sum()
            wrong += bad.sum()
        assert promised > 0.6 * total
        assert answered > 0.4 * total
        assert wrong < 0.01 * total  # a motor that turned three times as far as it seems: nothing can tell that

    def test_small_steps_need_no_mode(self):
        total = refused = 0
        for seed, m in enumerate(JOINTS):
            near, _, _, theta, R = moved_steadily(m, 200, seed, 15 * deg)
            right, bad = outcome(forward_kinematics(m, theta, near=near, unreachable="nan"), R)
            assert not bad.any()
            total, refused = total + len(R), refused + (~right).sum()
        assert total > 150 * len(JOINTS)
        assert refused < 0.01 * total

    def test_the_nearer_stand_alone_would_be_wrong(self, steady, monkeypatch):
        monkeypatch.setattr(stands, "_BELIEVED", 1.0)
        wrong = 0
        for m, near, _, start, theta, R in steady:
            _, bad = outcome(forward_kinematics(m, theta, near=near, unreachable="nan"), R)
            wrong += (bad & is_small(m, near, start, theta)).sum()
        assert wrong > 3

    def test_when_all_stands_are_believed_nothing_is_wrong(self, steady, monkeypatch):
        monkeypatch.setattr(stands, "_BELIEVED", 1e9)
        for m, near, _, _, theta, R in steady:
            assert not outcome(forward_kinematics(m, theta, near=near, unreachable="nan"), R)[1].any()


class TestPlatformByHand:
    """Here the motors do not go straight, so the promise holds only as far as their way is like a straight one."""

    @pytest.mark.parametrize(("most", "answered"), [(15, 0.97), (40, 0.75)])
    def test_right_or_refused(self, most, answered):
        total = right = wrong = 0
        for seed, m in enumerate(JOINTS):
            near, _, start, theta, R = moved_by_hand(m, 300, 100 + seed, most * deg)
            good, bad = outcome(forward_kinematics(m, theta, near=near, unreachable="nan"), R)
            assert not (bad & is_small(m, near, start, theta)).any()
            total, right, wrong = total + len(R), right + good.sum(), wrong + bad.sum()
        assert total > 150 * len(JOINTS)
        assert right > answered * total
        assert wrong <= 0.001 * total

    @pytest.mark.parametrize("degrees", [5, 10, 15])
    def test_round_trips_beside_home_are_not_refused(self, hide, degrees):
        """The work space of the bird hide: tilt up to 30°, torsion up to 30°."""
        rng = np.random.default_rng(71)
        R = rotation.from_tilt_torsion(*(rng.uniform([[0], [-180], [-30]], [[30], [180], [30]], (3, 500)) * deg))
        axis = rng.normal(size=(500, 3))
        near = rotation.from_rotation_vector(axis / np.linalg.norm(axis, axis=1, keepdims=True) * degrees * deg) @ R
        assert_allclose(forward_kinematics(hide, inverse_kinematics(hide, R), near=near), R, atol=1e-12)


class TestRefusal:
    @pytest.fixture
    def far(self):
        return rotation.from_tilt_torsion(38 * deg, -45 * deg, -50 * deg)

    def test_a_step_of_motor_2_to_the_middle_between_its_stands(self, hide, far):
        theta = inverse_kinematics(hide, far)
        with pytest.raises(AmbiguousError, match="the motor angles are too far from near to tell") as caught:
            forward_kinematics(hide, theta, near=np.eye(3))
        error = caught.value
        assert isinstance(error, ValueError)
        assert "leg 2 may have come from -75.55° (mode +1) or from 75.55° (mode -1)" in str(error)
        assert "Give mode=" in str(error)
        assert "smaller steps" in str(error)
        assert error.pose == ()
        assert 1 in error.legs
        ours = (error.modes == 1).all(axis=1)
        assert ours.sum() == 1
        assert_allclose(error.orientations[ours][0], far, atol=1e-12)
        for mode, R in zip(error.modes, error.orientations, strict=True):
            if np.isfinite(R).all():
                assert np.abs(closure_error(hide, R, theta)).max() < 1e-13
                assert_allclose(forward_kinematics(hide, theta, near=np.eye(3), mode=mode), R, atol=1e-12)
            else:
                with pytest.raises(SingularError, match="where the branch ends"):
                    forward_kinematics(hide, theta, near=np.eye(3), mode=mode)
        apart = np.nanmax(rotation.angle_between(error.orientations[np.isfinite(error.orientations[:, 0, 0])], far))
        assert f"up to {apart / deg:.4g}° apart" in str(error)

    def test_zero_means_not_known(self, hide, far):
        theta = inverse_kinematics(hide, far)
        with pytest.raises(AmbiguousError) as caught:
            forward_kinematics(hide, theta, near=np.eye(3), mode=(1, 0, 1))
        assert caught.value.legs == (1,)
        assert_array_equal(caught.value.modes[:, [0, 2]], 1)
        assert_allclose(forward_kinematics(hide, theta, near=np.eye(3), mode=(1, 1, 1)), far, atol=1e-12)

    def test_small_steps_of_the_same_way_are_answered(self, hide, far):
        home, theta = hide.home_angles(), inverse_kinematics(hide, far)
        R = np.eye(3)
        for t in np.linspace(0, 1, 10):
            R = forward_kinematics(hide, home + t * (theta - home), near=R)
        assert_allclose(R, far, atol=1e-12)

    def test_where_one_branch_ends_and_the_other_does_not(self, steady):
        seen = 0
        for m, near, _, _, theta, _ in steady:
            found = forward_kinematics(m, theta, near=near, unreachable="nan")
            for k in np.flatnonzero(np.isnan(found[:, 0, 0])):
                with pytest.raises(AmbiguousError) as caught:
                    forward_kinematics(m, theta[k], near=near[k])
                ends = caught.value.orientations
                assert len(np.unique(caught.value.modes, axis=0)) == len(ends) > 1
                assert np.isfinite(ends).any()
                seen += "its branch ends on the way" in str(caught.value)
                if seen > 3:
                    return
        raise AssertionError("no such move was met")

    def test_in_a_batch(self, hide, far):
        theta = np.stack([hide.home_angles(), inverse_kinematics(hide, far), inverse_kinematics(hide, far)])
        with pytest.raises(
            AmbiguousError, match=r"motor angles 1 are too far.*; 2 poses of the batch have"
        ) as caught:
            forward_kinematics(hide, theta, near=np.eye(3))
        assert caught.value.pose == (1,)
        found = forward_kinematics(hide, theta, near=np.eye(3), unreachable="nan")
        assert_array_equal(np.isfinite(found[:, 0, 0]), [True, False, False])
        modes = np.array([[0, 0, 0], [0, 0, 0], [1, 1, 1]])
        found = forward_kinematics(hide, theta, near=np.eye(3), mode=modes, unreachable="nan")
        assert_array_equal(np.isfinite(found[:, 0, 0]), [True, False, True])
        assert_allclose(found[2], far, atol=1e-12)
        grid = forward_kinematics(
            hide, theta[:, None], near=np.eye(3), mode=[[1, 1, 1], [-1, -1, -1]], unreachable="nan"
        )
        assert grid.shape == (3, 2, 3, 3)

    @pytest.mark.parametrize(
        ("mode", "error", "told"),
        [
            ((1, 2, 1), ValueError, r"mode\[1\] is 2; it must be \+1 or -1 .* 0 where that is not known"),
            ((1, 0.5, 1), ValueError, r"mode\[1\] is 0.5"),
            ((1, np.nan, 1), ValueError, r"mode\[1\] is nan"),
            ((1, 1), ValueError, r"mode has shape \(2,\)"),
            ("right", TypeError, "mode must hold real numbers"),
            (np.ones((4, 3)), ValueError, r"do not broadcast: theta \(2,\), near \(\), mode \(4,\)"),
        ],
    )
    def test_bad_modes(self, hide, mode, error, told):
        with pytest.raises(error, match=told):
            forward_kinematics(hide, np.zeros((2, 3)), near=np.eye(3), mode=mode)

    @pytest.mark.parametrize("mode", [(0, 0, -1), (-1, 0, 0), (0, -1, -1), (-1, -1, -1)])
    def test_an_orientation_that_closes_at_theta_is_the_answer_whatever_the_mode(self, hide, mode):
        """Though with the elbows of that mode its det N may be of the other sign."""
        found = forward_kinematics(hide, hide.home_angles(), near=np.eye(3), mode=mode)
        assert_allclose(found, np.eye(3), atol=1e-15)

    def test_out_of_reach_comes_first(self, hide):
        with pytest.raises(UnreachableError, match="leg 1 is 10° short"):
            forward_kinematics(hide, np.zeros(3), near=rotation.ry(80 * deg), mode=(1, 1, 1))


class TestThroughAFold:
    """Motor 1 is turned through the place where its leg is stretched: the platform goes on, the mode changes."""

    @pytest.fixture
    def log(self, hide):
        """Motor angles in small steps, and the orientations, followed by Newton's method in the test."""
        tilt = 69 * deg  # leg 1 reaches 70°: 10° short at 80°, in test_forward
        assert 0 < reach_margin(hide, rotation.ry(tilt))[0] < 1.5 * deg
        R = rotation.ry(tilt)
        start = inverse_kinematics(hide, R)
        other = inverse_kinematics(hide, R, (-1, 1, 1), near=start)
        theta = start + np.linspace(-0.5, 1.5, 81)[:, None] * (other - start) * [1, 0, 0]
        poses = {20: R}
        for way in (range(21, 81), range(19, -1, -1)):
            here = R
            for k in way:
                for _ in range(5):
                    here = rotation.from_rotation_vector(
                        np.linalg.solve(normals(hide, here, theta[k]), closure_error(hide, here, theta[k]))
                    ) @ here  # fmt: skip
                poses[k] = here
        poses = np.array([poses[k] for k in range(81)])
        assert np.abs(closure_error(hide, poses, theta)).max() < 1e-14
        assert rotation.angle_between(poses[1:], poses[:-1]).max() < 1 * deg
        modes = working_mode(hide, poses, theta)
        assert_array_equal(modes[[0, -1], 0], [1, -1])  # it does pass
        return theta, poses, modes

    def test_a_log_goes_through(self, hide, log):
        theta, poses, modes = log
        plain = told = poses[0]
        for k in range(1, len(theta)):
            plain = forward_kinematics(hide, theta[k], near=plain)
            told = forward_kinematics(hide, theta[k], near=told, mode=working_mode(hide, told, theta[k - 1]))
            assert_allclose([plain, told], [poses[k]] * 2, atol=1e-11)
        assert_array_equal(working_mode(hide, told, theta[-1]), modes[-1])

    def test_in_one_step_with_the_mode_that_it_had(self, hide, log):
        theta, poses, modes = log
        found = forward_kinematics(hide, theta[-1], near=poses, mode=np.where(modes == 0, 1, modes))
        assert_allclose(found, np.broadcast_to(poses[-1], found.shape), atol=1e-11)

    def test_both_stands_beside_a_fold_lead_to_the_same(self, hide, log):
        theta, poses, _ = log
        for k in (30, 38, 42):
            for mode in ((1, 1, 1), (-1, 1, 1), (0, 1, 1)):
                found = forward_kinematics(hide, theta[60], near=poses[k], mode=mode)
                assert_allclose(found, poses[60], atol=1e-11)

    def test_at_the_fold_itself_the_mode_is_zero_and_may_be_given(self, hide):
        edge = rotation.ry(70 * deg)
        theta = inverse_kinematics(hide, edge)
        mode = working_mode(hide, edge, theta)
        assert_array_equal(mode, [0, 1, 1])
        assert_allclose(forward_kinematics(hide, theta, near=edge, mode=mode), edge, atol=1e-14)


def test_a_leg_that_any_angle_holds_keeps_the_one_asked_for():
    m = named_joints()["all arcs 90°"]
    free = np.array([[0.0, 0, 1], [1, 0, 0], [0, 1, 0]])
    R = next(X for X in (free, free.T) if np.abs(np.cross(m.base_axes, m.platform_axes_at(X))).max() < 1e-12)
    for mode in (None, (1, 1, 1), (-1, 0, 1)):
        assert_allclose(forward_kinematics(m, (0.3, 0.4, 0.5), near=R, mode=mode), R, atol=1e-14)


def test_frames_and_numbering_do_not_matter(hide):
    """Refused in one base frame, refused in all; the same legs are named under their new numbers."""
    theta = inverse_kinematics(hide, rotation.from_tilt_torsion(38 * deg, -45 * deg, -50 * deg))
    order = [2, 0, 1]
    other = Mechanism(
        rotation.rx(0.7) @ hide.base_frames[order],
        hide.platform_axes[order],
        hide.proximal[order],
        hide.distal[order],
    )
    with pytest.raises(AmbiguousError) as plain:
        forward_kinematics(hide, theta, near=np.eye(3), mode=(1, 0, 1))
    with pytest.raises(AmbiguousError) as renumbered:
        forward_kinematics(other, theta[order], near=rotation.rx(0.7), mode=(1, 1, 0))
    assert plain.value.legs == (1,)
    assert renumbered.value.legs == (2,)


def test_reachable_poses_with_their_own_angles_are_themselves(hide):
    R = reachable(hide, 200, seed=72)
    mode = np.random.default_rng(73).choice([-1, 1], (200, 3))
    assert_allclose(forward_kinematics(hide, inverse_kinematics(hide, R, mode), near=R), R, atol=1e-14)
