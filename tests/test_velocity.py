"""Rates, torques and singular poses, checked by finite differences, energy, power and spherical trigonometry."""

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from common import everyday_and_edge_joints, wrapped
from legloop import (
    WORKING_MODES,
    Mechanism,
    SingularError,
    assembly_modes,
    closure_error,
    deg,
    dexterity,
    forward_kinematics,
    inverse_jacobian,
    inverse_kinematics,
    jacobian,
    payload_moment,
    rotation,
    singularity,
    static_torque,
    working_mode,
)
from legloop.lesson.cases import bird_hide, bird_hide_camera, named_joints, random_orientations
from legloop.velocity import jacobian_pair
from poses import normals, regular_poses, singular_pose, singular_poses

STEP = 1e-5  # of central differences: their error is some 1e-10 times the third derivative, their rounding 1e-11


def turned(R, vector):
    return Rotation.from_rotvec(vector).as_matrix() @ R


def heights(R, offset, up):
    """How high the point at `offset` of the platform is above the centre, with R and `up` alone."""
    return np.einsum("...ij,j,...i->...", R, offset, up)


def stretched(m, leg, arc):
    """An orientation at which angle(u, R v) of one leg is `arc` and the others close with room to spare."""
    u, v = m.base_axes[leg], m.platform_axes[leg]
    for seed in range(200):
        spin = Rotation.random(random_state=seed)
        side = np.cross(u, spin.apply([0, 0, 1]))
        target = np.cos(arc) * u + np.sin(arc) * side / np.linalg.norm(side)
        R = Rotation.align_vectors([target, spin.apply([1, 0, 0])], [v, [0, 0, 1]], weights=[np.inf, 1])[
            0
        ].as_matrix()
        theta = inverse_kinematics(m, R, unreachable="nan")
        if np.isfinite(theta).all() and abs(np.linalg.det(normals(m, R, theta))) > 0.05:
            others = [k for k in range(3) if k != leg]
            if (np.abs(working_mode(m, R, theta)[others]) == 1).all():
                return R, theta
    raise AssertionError("no such pose")


class TestJacobian:
    @pytest.mark.parametrize("m", everyday_and_edge_joints())
    def test_its_inverse_is_the_derivative_of_the_inverse_kinematics(self, m):
        R, theta = regular_poses(m, 20, seed=30)
        mode = working_mode(m, R, theta)
        difference = np.empty((20, 3, 3))
        for k in range(3):
            ends = [inverse_kinematics(m, turned(R, s * STEP * np.eye(3)[k]), mode, near=theta) for s in (1, -1)]
            difference[:, :, k] = (ends[0] - ends[1]) / (2 * STEP)
        # third derivatives grow with the fifth power of 1/sqrt(D), which stays below 10 five degrees inside reach
        assert_allclose(inverse_jacobian(m, R, theta), difference, rtol=1e-5, atol=1e-5)
        assert_allclose(jacobian(m, R, theta) @ difference, np.tile(np.eye(3), (20, 1, 1)), atol=1e-5)

    @pytest.mark.parametrize("m", everyday_and_edge_joints())
    def test_it_is_the_derivative_of_the_forward_kinematics(self, m):
        R, theta = regular_poses(m, 20, seed=31)
        J = jacobian(m, R, theta)
        for k in range(3):
            ends = [forward_kinematics(m, theta + s * STEP * np.eye(3)[k], near=R) for s in (1, -1)]
            turn = Rotation.from_matrix(ends[0] @ np.swapaxes(ends[1], 1, 2)).as_rotvec() / (2 * STEP)
            assert_allclose(J[:, :, k], turn, rtol=1e-5, atol=1e-5)
        assert_allclose(J @ inverse_jacobian(m, R, theta), np.tile(np.eye(3), (20, 1, 1)), atol=1e-12)

    @pytest.mark.parametrize("kind", [0, 1, 2])
    def test_the_pair_is_the_two(self, kind):
        m = bird_hide()
        if kind == 0:
            R, theta = regular_poses(m, 5, seed=32)
        elif kind == 1:
            R, theta = stretched(m, 0, (m.proximal + m.distal)[0])
        else:
            ((m, R, theta),) = singular_poses(1, seed=33)
        J, K = jacobian_pair(m, R, theta, singular="nan")
        assert_array_equal(J, jacobian(m, R, theta, singular="nan"))
        assert_array_equal(K, inverse_jacobian(m, R, theta, singular="nan"))
        assert (np.isnan(K).any(), np.isnan(J).any()) == (kind == 1, kind == 2)
        if kind:
            with pytest.raises(SingularError) as caught:
                jacobian_pair(m, R, theta)
            assert caught.value.kind == kind

    def test_orthogonal_joint_at_home_is_isotropic(self):
        """Gosselin & Angeles, J. Mech. Transm. Autom. Des. 111:202-207, 1989 (from memory, recomputed):
        condition number 1, axes at arccos(1/sqrt(3)) = 54.7356° from the axis of symmetry."""
        m = named_joints()["all arcs 90°"]
        theta = m.home_angles()
        assert abs(dexterity(m, np.eye(3), theta) - 1) < 1e-14
        values = np.linalg.svd(jacobian(m, np.eye(3), theta))[1]
        assert_allclose(values, values[0], atol=1e-14)
        for axes in (m.base_axes, m.platform_axes):
            assert_allclose(np.arccos(axes @ np.ones(3) / np.sqrt(3)) / deg, 54.7356, atol=5e-5)

    def test_velocity_equation(self, hide):
        """Rows w x v: Gosselin & Angeles, IEEE T-RA 6(3):281-290, 1990 (from memory)."""
        R, theta = regular_poses(hide, 5, seed=32)
        rates = np.random.default_rng(33).normal(size=(5, 3))
        omega = np.einsum("nij,nj->ni", jacobian(hide, R, theta), rates)
        u, n = hide.base_axes, normals(hide, R, theta)
        assert_allclose(np.einsum("nli,ni->nl", n, omega), np.einsum("nli,li->nl", n, u) * rates, atol=1e-13)

    def test_turning_frames(self, hide):
        R, theta = regular_poses(hide, 10, seed=34)
        base, platform = random_orientations(2, seed=35)
        other = Mechanism(base @ hide.base_frames, hide.platform_axes @ platform.T, hide.proximal, hide.distal)
        moved = base @ R @ platform.T
        assert_allclose(jacobian(other, moved, theta), base @ jacobian(hide, R, theta), atol=1e-11)
        assert_allclose(inverse_jacobian(other, moved, theta), inverse_jacobian(hide, R, theta) @ base.T, atol=1e-11)
        assert_allclose(dexterity(other, moved, theta), dexterity(hide, R, theta), atol=1e-12)


class TestTypes:
    """Types 1, 2, 3: Gosselin & Angeles, IEEE T-RA 6(3):281-290, 1990 (from memory)."""

    @pytest.mark.parametrize(("arc", "elbow"), [(135 * deg, np.pi), (15 * deg, 0.0)])
    @pytest.mark.parametrize("leg", range(3))
    def test_type_1_folded_or_stretched(self, hide, arc, elbow, leg):
        R, theta = stretched(hide, leg, arc)
        told = singularity(hide, R, theta)
        assert told.kind == 1
        assert abs(abs(told.elbow[leg]) - elbow) < 1e-6  # the square root of rounding
        J = jacobian(hide, R, theta)  # exists, and that motor moves nothing
        assert_allclose(J[:, leg], 0, atol=1e-6)
        assert np.linalg.svd(J)[1][1] > 0.01
        assert np.linalg.matrix_rank(J, tol=1e-6) == 2
        assert dexterity(hide, R, theta) == 0
        how = "stretched" if elbow else "folded"
        message = f"the orientation is singular of type 1: leg {leg + 1} is {how}; no rate"
        with pytest.raises(SingularError, match=message) as caught:
            inverse_jacobian(hide, R, theta)
        assert (caught.value.kind, caught.value.leg, caught.value.pose) == (1, leg, ())
        marked = inverse_jacobian(hide, R, theta, singular="nan")
        assert_array_equal(np.isnan(marked).all(axis=1), np.arange(3) == leg)
        # whatever the motors do, the platform has no rate along the normal of that leg
        n = normals(hide, R, theta)[leg]
        assert np.abs(n @ J).max() < 1e-6

    @pytest.mark.parametrize(("m", "R", "theta"), singular_poses(12, seed=50))
    def test_type_2_coplanar_normals(self, m, R, theta):
        told = singularity(m, R, theta)
        assert told.kind == 2
        assert abs(told.volume) < 1e-14
        assert told.plane < 1e-13
        assert dexterity(m, R, theta) == 0
        safe, angles = regular_poses(m, 1, seed=51)
        R_two, theta_two = np.concatenate([safe, R[None]]), np.concatenate([angles, theta[None]])
        with pytest.raises(
            SingularError,
            match=r"orientation 1 is singular of type 2: its normals w x R v are coplanar; .*no Jacobian",
        ) as caught:
            jacobian(m, R_two, theta_two)
        assert (caught.value.kind, caught.value.leg, caught.value.pose) == (2, None, (1,))
        both = jacobian(m, R_two, theta_two, singular="nan")
        assert_array_equal(np.isnan(both), np.broadcast_to([[[False]], [[True]]], (2, 3, 3)))
        # the motors are held, and the platform gives way about the axis perpendicular to the normals
        axis = np.linalg.svd(normals(m, R, theta))[2][2]
        misses = [np.abs(closure_error(m, turned(R[None], a * axis), theta)).max() for a in (1e-3, 2e-3)]
        assert misses[0] < 2e-6  # of second order
        assert 3.9 < misses[1] / misses[0] < 4.1
        # the inverse exists, and asks nothing of the motors about that axis
        assert_allclose(inverse_jacobian(m, R, theta) @ axis, 0, atol=1e-12)
        with pytest.raises(SingularError):
            static_torque(m, R, theta, load=(0, 0, 1))

    def test_type_3_both(self):
        """Orthogonal joint, each platform axis on its own motor axis, at angles with c1 c2 c3 + s1 s2 s3 = 0."""
        m = named_joints()["all arcs 90°"]
        general = assembly_modes(m, (0.3, 0.4, 0.5))
        aligned = next(R for R in general if np.abs(np.cross(m.base_axes, m.platform_axes_at(R))).max() < 1e-9)
        angles = np.array([0.3, 0.4, 0.0])
        volumes = [np.linalg.det(normals(m, aligned, [0.3, 0.4, x])) for x in np.linspace(-1.5, 1.5, 50)]
        assert min(volumes) < 0 < max(volumes)
        angles[2] = brentq(lambda x: np.linalg.det(normals(m, aligned, [0.3, 0.4, x])), -1.5, 1.5, xtol=1e-16)
        told = singularity(m, aligned, angles)
        assert told.kind == 3
        assert_allclose(told.link, 0, atol=1e-12)
        assert dexterity(m, aligned, angles) == 0
        for function, name in ((jacobian, "Jacobian"), (inverse_jacobian, "inverse Jacobian")):
            with pytest.raises(SingularError, match=f"of type 3: .*leg . is folded.* no {name}") as caught:
                function(m, aligned, angles)
            assert caught.value.kind == 3

    @pytest.mark.parametrize("m", everyday_and_edge_joints())
    def test_measures(self, m):
        R, theta = regular_poses(m, 40, seed=36)
        told = singularity(m, R, theta)
        assert_array_equal(told.kind, 0)
        n = normals(m, R, theta)
        assert_allclose(told.volume, np.linalg.det(n / np.sin(m.distal)[:, None]), atol=1e-13)
        assert_allclose(told.link, np.einsum("nli,li->nl", n, m.base_axes), atol=1e-14)
        assert_array_equal(np.sign(told.elbow), working_mode(m, R, theta))
        # spherical law of cosines in the triangle u, w, R v
        reach = np.einsum("nli,li->nl", m.platform_axes_at(R), m.base_axes)
        law = np.cos(m.proximal) * np.cos(m.distal) + np.sin(m.proximal) * np.sin(m.distal) * np.cos(told.elbow)
        assert_allclose(law, reach, atol=1e-14)
        # least angle between a normal and what the other two span, by projection
        angles = []
        for i in range(3):
            others = np.swapaxes(np.delete(n, i, axis=1), 1, 2)
            q = np.linalg.qr(others)[0]
            inside = np.linalg.norm(np.einsum("nij,ni->nj", q, n[:, i]), axis=1) / np.sin(m.distal[i])
            angles.append(np.arccos(np.minimum(inside, 1)))
        assert_allclose(told.plane, np.min(angles, axis=0), atol=1e-7)

    def test_volume_keeps_its_sign_along_a_branch(self, hide):
        theta = hide.home_angles() + np.linspace(0, 1, 50)[:, None] * np.array([25, -10, 15]) * deg
        R = forward_kinematics(hide, theta, near=np.eye(3))
        assert (
            singularity(hide, R, theta).volume * singularity(hide, np.eye(3), hide.home_angles()).volume > 0
        ).all()


class TestDexterity:
    @pytest.mark.parametrize("m", everyday_and_edge_joints())
    def test_is_one_over_the_condition_number(self, m):
        R, theta = regular_poses(m, 30, seed=37)
        value = dexterity(m, R, theta)
        assert ((value > 0) & (value <= 1)).all()
        assert_allclose(value, 1 / np.linalg.cond(jacobian(m, R, theta)), atol=1e-13)
        assert_allclose(value, 1 / np.linalg.cond(inverse_jacobian(m, R, theta)), atol=1e-13)

    def test_fades_to_nothing_at_both_singularities_without_an_error(self, hide):
        type_2 = next(pose for pose in (singular_pose(hide, seed) for seed in range(100)) if pose is not None)
        for R, theta in (stretched(hide, 0, 135 * deg), type_2):
            mode = np.where(working_mode(hide, R, theta) < 0, -1, 1)
            values = []
            for size in (3e-2, 3e-3, 3e-4, 3e-5):
                axes = Rotation.random(30, random_state=1).as_matrix()[:, 0]
                near = Rotation.from_rotvec(size * axes).as_matrix() @ R
                angles = inverse_kinematics(hide, near, mode, unreachable="nan")
                inside = np.isfinite(angles).all(axis=1)
                assert inside.any()
                values.append(dexterity(hide, near[inside], angles[inside]).max())
            assert (np.diff(values) < 0).all()
            assert values[-1] < 0.02


class TestStatics:
    def test_power_is_conserved(self, hide):
        R, theta = regular_poses(hide, 50, seed=38)
        rng = np.random.default_rng(39)
        rates, moment = rng.normal(size=(2, 50, 3))
        omega = np.einsum("nij,nj->ni", jacobian(hide, R, theta), rates)
        torque = static_torque(hide, R, theta, moment=moment)
        assert_allclose((torque * rates).sum(axis=1), (moment * omega).sum(axis=1), atol=1e-11)
        assert_array_equal(static_torque(hide, R, theta, load=-moment), torque)

    @pytest.mark.parametrize("m", everyday_and_edge_joints())
    def test_torque_that_holds_a_payload_is_the_slope_of_its_energy(self, m):
        """Virtual work: to turn motor k by d theta against the weight takes T_k d theta = d E."""
        mass, offset, up = 0.9, np.array([0.02, -0.01, 0.06]), random_orientations(10, seed=45)[:, 0]
        R, theta = regular_poses(m, 10, seed=40)

        def energy(angles):
            return 9.80665 * mass * heights(forward_kinematics(m, angles, near=R), offset, up)

        slope = [(energy(theta + STEP * e) - energy(theta - STEP * e)) / (2 * STEP) for e in np.eye(3)]
        torque = static_torque(m, R, theta, load=payload_moment(mass, offset, R, up=up))
        assert_allclose(torque, np.transpose(slope), rtol=1e-5, atol=1e-6)

    @pytest.mark.parametrize("m", everyday_and_edge_joints())
    def test_turning_a_payload_costs_its_gain_in_height(self, m):
        """The same by the inverse kinematics: T . d theta = m g dh for a small turn about any axis."""
        mass, offset, up = 0.9, np.array([0.02, -0.01, 0.06]), random_orientations(10, seed=46)[:, 0]
        R, theta = regular_poses(m, 10, seed=47)
        torque = static_torque(m, R, theta, load=payload_moment(mass, offset, R, up=up))
        for axis in np.eye(3):
            ends = [turned(R, s * STEP * axis) for s in (1, -1)]
            forth, back = (inverse_kinematics(m, end, working_mode(m, R, theta), near=theta) for end in ends)
            gain = 9.80665 * mass * (heights(ends[0], offset, up) - heights(ends[1], offset, up))
            cost = (torque * (forth - back)).sum(axis=1)
            assert_allclose(cost / (2 * STEP), gain / (2 * STEP), rtol=1e-5, atol=1e-6)

    def test_the_camera_of_the_hide_lies_on_its_side(self, hide):
        """By hand: the arm is 60 mm out along z, and the weight pulls along -x."""
        camera, home = bird_hide_camera(), hide.home_angles()
        hanging = payload_moment(**camera, R=np.eye(3))
        assert_allclose(hanging, [0, -0.9 * 9.80665 * 0.06, 0], atol=1e-15)
        torque = static_torque(hide, np.eye(3), home, load=hanging)
        assert_allclose(torque, [-0.272, 0.400, -0.129], atol=5e-4)  # recomputed; no published value
        small = 1e-4  # rad of tilt towards leg 1, which is up: T . d theta is the weight times its way up
        lifted = inverse_kinematics(hide, rotation.ry(small)) - home
        assert torque @ lifted == pytest.approx(0.9 * 9.80665 * 0.06 * small, rel=1e-3)
        upright = payload_moment(**{**camera, "up": (0, 0, 1)}, R=np.eye(3))
        assert np.abs(static_torque(hide, np.eye(3), home, load=upright)).max() < 0.07  # what a wrong `up` would say

    def test_nothing_has_a_weight_without_up(self):
        for wrong in ({}, {"gravity": (0, 0, -9.80665)}):
            with pytest.raises(TypeError, match=r"up|gravity"):
                payload_moment(0.9, (0, 0, 0.06), np.eye(3), **wrong)
        with pytest.raises(TypeError, match="positional"):
            payload_moment(0.9, (0, 0, 0.06), np.eye(3), (0, 0, -9.80665))

    def test_payload_moment_of_a_tilted_camera(self):
        """0.9 kg, 60 mm above the centre, tilted 15° towards x: 0.9 · 9.80665 · 0.06 · sin 15° about +y."""
        moment = payload_moment(0.9, (0, 0, 0.06), rotation.ry(15 * deg), up=(0, 0, 1))
        assert_allclose(moment, [0, 0.9 * 9.80665 * 0.06 * np.sin(15 * deg), 0], atol=1e-15)
        hung = payload_moment(0.9, (0, 0, 0.06), rotation.ry(15 * deg), up=(0, 0, -1))
        assert_allclose(hung, -moment, atol=1e-15)

    @pytest.mark.parametrize("up", [(0, 0, 1), (1, 0, 0), (0, -1, 0)])
    def test_motors_of_the_hide_push_the_camera_up(self, hide, up):
        """The holding torques alone would turn the platform so that the camera rises."""
        R, offset = rotation.ry(15 * deg), np.array([0.01, 0, 0.06])
        theta = inverse_kinematics(hide, R)
        torque = static_torque(hide, R, theta, load=payload_moment(0.9, offset, R, up=up))
        there = forward_kinematics(hide, theta + 1e-3 * torque, near=R)
        assert heights(there, offset, up) > heights(R, offset, up)

    def test_payload_moment_broadcasts(self):
        R = random_orientations(4, seed=41)
        moment = payload_moment([[0.5], [1.0]], (0.1, 0, 0), R, up=(0, 0, 1))
        assert moment.shape == (2, 4, 3)
        assert_allclose(moment[1, 2], np.cross(R[2] @ [0.1, 0, 0], [0, 0, -9.80665]), atol=1e-15)
        ups = payload_moment(1.0, (0.1, 0, 0), R[:, None], up=np.eye(3))
        assert_allclose(ups[2, 1], np.cross(R[2] @ [0.1, 0, 0], [0, -9.80665, 0]), atol=1e-15)


class TestArrays:
    CALLS = {  # noqa: RUF012
        "jacobian": (jacobian, (3, 3)),
        "inverse_jacobian": (inverse_jacobian, (3, 3)),
        "dexterity": (dexterity, ()),
        "static_torque": (lambda m, R, theta: static_torque(m, R, theta, load=(0.1, 0.2, 0.3)), (3,)),
    }

    @pytest.mark.parametrize("name", CALLS)
    def test_batches(self, hide, name):
        function, core = self.CALLS[name]
        R, theta = regular_poses(hide, 12, seed=42)
        together = function(hide, R.reshape(3, 4, 3, 3), theta.reshape(3, 4, 3))
        assert together.shape == (3, 4, *core)
        for index in np.ndindex(3, 4):
            k = 4 * index[0] + index[1]
            assert_allclose(together[index], function(hide, R[k], theta[k]), atol=1e-13)
        assert function(hide, np.empty((0, 4, 3, 3)), np.empty((0, 4, 3))).shape == (0, 4, *core)
        modes = inverse_kinematics(hide, R[0], WORKING_MODES)
        assert function(hide, R[0], modes).shape == (8, *core)
        assert_allclose(function(hide, Rotation.from_matrix(R), theta), together.reshape(12, *core), atol=1e-11)

    def test_singularity_of_batches(self, hide):
        R, theta = regular_poses(hide, 6, seed=43)
        told = singularity(hide, R.reshape(2, 3, 3, 3), theta.reshape(2, 3, 3))
        assert [field.shape for field in told] == [(2, 3), (2, 3, 3), (2, 3, 3), (2, 3), (2, 3)]
        alone = singularity(hide, R[4], theta[4])
        for field, single in zip(told, alone, strict=True):
            assert_allclose(field[1, 1], single, atol=1e-14)
        assert f"{alone.volume:.2f} {alone.plane:.2f} {dexterity(hide, R[4], theta[4]):.2f} {alone.kind}"

    def test_input_is_not_changed(self, hide):
        R, theta = regular_poses(hide, 3, seed=44)
        keep = R.copy(), theta.copy()
        for array in (R, theta):
            array.flags.writeable = False
        for function, _ in self.CALLS.values():
            function(hide, R, theta)
        assert_array_equal(R, keep[0])
        assert_array_equal(theta, keep[1])

    def test_printed_digits_pass_and_other_poses_do_not(self, hide):
        """Six decimals, as a table prints them, close well enough; whole turns change nothing."""
        R, theta = regular_poses(hide, 20, seed=45)
        J = jacobian(hide, R, theta)
        assert_allclose(jacobian(hide, np.round(R, 6), np.round(theta, 6)), J, atol=1e-3)
        assert_allclose(jacobian(hide, R, theta + 4 * np.pi), J, atol=1e-11)
        with pytest.raises(
            ValueError, match=r"orientation 7 and its theta do not close: leg 2 misses .* inverse_kin"
        ):
            jacobian(hide, R, theta + 1e-3 * (np.arange(20) == 7)[:, None] * np.array([0, 1, 0]))
        assert np.abs(wrapped(theta)).max() <= np.pi


HIDE = bird_hide()
HOME = HIDE.home_angles()
I3 = np.eye(3)
Z = (0, 0, 1)


@pytest.mark.parametrize("function", [jacobian, inverse_jacobian, dexterity, singularity])
@pytest.mark.parametrize(
    ("arguments", "error", "told"),
    [
        (("hide", I3, HOME), TypeError, "must be a Mechanism"),
        ((HIDE, 0.9 * I3, HOME), ValueError, r"the orientation is not a rotation: its columns are 0\.9"),
        ((HIDE, I3, HOME[:2]), ValueError, r"theta has shape \(2,\)"),
        ((HIDE, I3, HOME * np.nan), ValueError, r"theta\[0\] is nan"),
        ((HIDE, I3, None), TypeError, "theta is None"),
        ((HIDE, np.stack([I3] * 2), np.stack([HOME] * 3)), ValueError, r"R \(2,\), theta \(3,\)"),
        ((HIDE, rotation.ry(0.1), HOME), ValueError, r"the orientation and its theta do not close: leg 2 misses"),
    ],
)
def test_bad_poses_are_refused(function, arguments, error, told):
    with pytest.raises(error, match=told):
        function(*arguments)


@pytest.mark.parametrize(
    ("call", "error", "told"),
    [
        (lambda: jacobian(HIDE, I3, HOME, singular="skip"), ValueError, "'skip'; it must be 'raise' or 'nan'"),
        (lambda: inverse_jacobian(HIDE, I3, HOME, singular=None), ValueError, "singular is None"),
        (lambda: static_torque(HIDE, I3, HOME), TypeError, "give either moment=.* or load="),
        (lambda: static_torque(HIDE, I3, HOME, moment=(0, 0, 1), load=(0, 0, 1)), TypeError, "and not both"),
        (lambda: static_torque(HIDE, I3, HOME, load=(0, 1)), ValueError, r"load has shape \(2,\)"),
        (lambda: static_torque(HIDE, I3, HOME, moment=(0, np.inf, 1)), ValueError, r"moment\[1\] is inf"),
        (
            lambda: static_torque(HIDE, [I3] * 2, [HOME] * 2, load=np.zeros((3, 3))),
            ValueError,
            r"pose \(2,\), moment \(3,\)",
        ),
        (lambda: payload_moment(-1, Z, I3, up=Z), ValueError, "the mass is -1 kg; a mass is not negative"),
        (lambda: payload_moment([1, 1, -2], Z, I3, up=Z), ValueError, "mass 2 is -2 kg"),
        (lambda: payload_moment(1, (0, 1), I3, up=Z), ValueError, r"offset has shape \(2,\)"),
        (lambda: payload_moment(1, Z, 2 * I3, up=Z), ValueError, "not a rotation"),
        (lambda: payload_moment(1, Z, I3, up=9.81), ValueError, r"up has shape \(\)"),
        (lambda: payload_moment(1, Z, I3, up=[Z, (0, 0, 0)]), ValueError, "up 1 is 0 long, not 1"),
        (lambda: payload_moment("heavy", Z, I3, up=Z), TypeError, "mass must hold real numbers, not 'heavy'"),
        (lambda: payload_moment([1, 2], np.zeros((3, 3)), I3, up=Z), ValueError, r"mass \(2,\), offset \(3,\)"),
    ],
)
def test_bad_arguments_are_refused(call, error, told):
    with pytest.raises(error, match=told):
        call()
