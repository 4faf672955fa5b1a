"""Motor angles to orientations, checked by published solutions, searches, other algebra and 50-digit arithmetic."""

import math
from itertools import combinations_with_replacement, product

import mpmath
import numpy as np
import pytest
import sympy
from numpy.testing import assert_allclose, assert_array_equal
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

from common import FULL, everyday_and_edge_joints
from legloop import (
    WORKING_MODES,
    Mechanism,
    SingularError,
    UnreachableError,
    assembly_modes,
    closure_error,
    deg,
    dexterity,
    forward_kinematics,
    inverse_kinematics,
    reach_margin,
    rotation,
)
from legloop.forward import assembly, branch, multiple_roots, quadrics
from legloop.lesson.cases import named_joints, random_joints, random_orientations, reachable
from poses import cusp, normals, singular_poses

CLOSED = 1e-13  # of rows of unit vectors that were multiplied some ten times


def angles_of(count, seed):
    return np.random.default_rng(seed).uniform(-np.pi, np.pi, (count, 3))


def least_angles(found, wanted):
    """Angle from each of the wanted orientations to the nearest one found."""
    between = Rotation.from_matrix(np.repeat(wanted, len(found), axis=0)).inv()
    return (
        (between * Rotation.from_matrix(np.tile(found, (len(wanted), 1, 1))))
        .magnitude()
        .reshape(len(wanted), len(found))
        .min(axis=1)
    )


def same_set(found, wanted, tolerance):
    assert len(found) == len(wanted)
    if len(found):
        assert max(least_angles(found, wanted).max(), least_angles(wanted, found).max()) < tolerance


def fixed_elbows(elbows, platform_axes, cosines):
    """A joint whose elbow axes at theta = 0 are those given, closing at w . R v = cosines."""
    frames = [np.column_stack([w, np.cross(u, w), u]) for w, u in zip(elbows, map(across, elbows), strict=True)]
    return Mechanism(np.array(frames), platform_axes, 90 * deg, np.arccos(cosines))


def across(w):
    u = np.cross(w, [0.6, 0.48, 0.64])
    return u / np.linalg.norm(u)


def orthogonal_joint():
    """All arcs 90°, u = x, y, z, platform axes y, z, x; w_1 = (0, -s1, c1), w_2 = (c2, 0, -s2), w_3 = (-s3, c3, 0).

    Source: Bonev, Chablat, Wenger, ICRA 2006, arXiv:0708.3936.
    """
    frames = [
        np.column_stack(columns)
        for columns in (
            [[0, 0, 1], [0, -1, 0], [1, 0, 0]],
            [[1, 0, 0], [0, 0, -1], [0, 1, 0]],
            [[0, 1, 0], [-1, 0, 0], [0, 0, 1]],
        )
    ]
    return Mechanism(np.array(frames, dtype=float), np.roll(np.eye(3), 1, axis=1), 90 * deg, 90 * deg)


def hostile_joints():
    """Joints at which formulas like to fail; three legs are unlike where nothing else is said."""
    around = np.array([0, 120, 240]) * deg
    flat = np.stack([np.cos(around), np.sin(around), 0 * around], axis=1)
    uneven = np.stack([np.cos([0, 1, 2.5]), np.sin([0, 1, 2.5]), [0, 0, 0]], axis=1)
    base, top = random_orientations(6, seed=80)[:, 2].reshape(2, 3, 3)
    arcs, others = np.array([1.0, 1.2, 0.9]), np.array([1.3, 1.1, 1.2])
    close = np.array([[0, 0, 1.0], [0.01, 0, 1], [0, 0.01, 1]])
    close /= np.linalg.norm(close, axis=1, keepdims=True)

    def joint(u, v, proximal=arcs, distal=others):
        frames = [np.column_stack([x, np.cross(axis, x), axis]) for axis, x in zip(u, map(across, u), strict=True)]
        return Mechanism(np.array(frames), v, proximal, distal)

    return {
        "all axes in one plane": joint(flat, flat),
        "all axes in one plane, unevenly": joint(uneven, uneven),
        "base axes in one plane": joint(uneven, top),
        "platform axes in one plane": joint(base, uneven),
        "two legs in one place": joint(base[[0, 0, 1]], top[[0, 0, 1]], arcs[[0, 0, 1]], others[[0, 0, 1]]),
        "two motors in one place": joint(base[[0, 0, 1]], top),
        "two platform joints in one place": joint(base, top[[0, 0, 1]]),
        "two platform joints opposite": joint(base, top[[0, 0, 1]] * [[1], [-1], [1]]),
        "both links alike": joint(base, top, arcs, arcs),
        "links of 180° together": joint(base, top, arcs, np.pi - arcs),
        "base axes are platform axes": joint(base, base, arcs, arcs),
        "platform axes nearly parallel": joint(base, close),
        "coaxial, links of 180° together": Mechanism.symmetric(
            proximal=80 * deg, distal=100 * deg, base_cone=0, platform_cone=60 * deg
        ),
        "coaxial, both links alike": Mechanism.symmetric(
            proximal=80 * deg, distal=80 * deg, base_cone=0, platform_cone=60 * deg
        ),
        "short links": joint(base, base, arcs / 3, others / 3),
        "a link of 178°": joint(base, top, [178 * deg, 1.0, 1.2], [1.0, 1.1, 0.9]),
    }


def at_the_edge(m, R):
    """R turned across the first leg until some leg is within 1e-6 rad of its fold or full stretch, by bisection."""
    axis = np.cross(m.base_axes[0], m.platform_axes_at(R)[0])

    def turned(angle):
        return Rotation.from_rotvec(angle * axis / np.linalg.norm(axis)).as_matrix() @ R

    inside = 0.0
    outside = next(angle for angle in np.linspace(0, 2 * np.pi, 400) if reach_margin(m, turned(angle)).min() < 0)
    while outside - inside > 1e-6:
        middle = (inside + outside) / 2
        inside, outside = (inside, middle) if reach_margin(m, turned(middle)).min() < 0 else (middle, outside)
    return turned(inside)


def searched(m, theta, starts):
    """Orientations that close, found from starts by the steps of Gauss and Newton: many times each."""
    turn = starts
    for _ in range(60):
        N, e = normals(m, turn, theta), closure_error(m, turn, theta)
        square = np.swapaxes(N, 1, 2) @ N + 1e-13 * np.eye(3)  # far below the squares of the normals, as a rule
        step = np.linalg.solve(square, np.swapaxes(N, 1, 2) @ e[..., None])[..., 0]
        length = np.linalg.norm(step, axis=1, keepdims=True)
        turn = Rotation.from_rotvec(step * np.minimum(1, 0.5 / np.maximum(length, 1e-9))).as_matrix() @ turn
    return turn[np.abs(closure_error(m, turn, theta)).max(axis=1) < 1e-12]


def same_roots(m, theta, starts):
    """That `assembly_modes` and a search from starts all over the orientations find the same."""
    roots, (found, count) = searched(m, theta, starts), assembly_modes(m, theta, multiplicities=True)
    assert count.sum() % 2 == 0
    assert (len(found) == 0) == (len(roots) == 0)
    if len(found):
        assert np.abs(closure_error(m, found, theta)).max() < CLOSED
        assert least_angles(found, roots).max() < 1e-5  # nothing missed; beside a double root a search is slow
        assert least_angles(roots, found).max() < 1e-5  # nothing invented


TWO, THREE, FOUR = (list(combinations_with_replacement(range(4), degree)) for degree in (2, 3, 4))
COLUMN = {monomial: k for k, monomial in enumerate(FOUR)}


def forms(m, theta):
    """The closures as quadratic forms of the quaternion, (3, 4, 4), read from their values at a few quaternions."""
    out = []
    for w, v, distal in zip(m.elbow_axes(theta), m.platform_axes, m.distal, strict=True):

        def form(q, w=w, v=v, distal=distal):
            return (q @ q) * (w @ Rotation.from_quat(q).as_matrix() @ v - np.cos(distal))

        e = np.eye(4)
        out.append(
            [
                [(form(a + b) - form(a - b)) / 4 if i != j else form(a) for j, b in enumerate(e)]
                for i, a in enumerate(e)
            ]
        )
    return np.array(out)


def by_macaulay(Q, rng):
    """The common points of quadrics (3, 4, 4) as complex unit vectors, and the singular values of the matrix."""
    rows = []
    for form in Q:
        for multiplier in TWO:
            row = np.zeros(35, dtype=complex)
            for i, j in TWO:
                row[COLUMN[tuple(sorted((i, j, *multiplier)))]] += form[i, j] * (1 if i == j else 2)
            rows.append(row)
    _, s, vh = np.linalg.svd(np.array(rows))
    null = vh[27:].conj().T
    times = [null[[COLUMN[tuple(sorted((*monomial, i)))] for monomial in THREE]] for i in range(4)]
    below, above = np.einsum("gi,imk->gmk", rng.normal(size=(2, 4)), times)
    points = []
    for z in (null @ np.linalg.eig(np.linalg.pinv(below) @ above)[1]).T:
        i = np.argmax(np.abs(z[[COLUMN[(i,) * 4] for i in range(4)]]))
        q = z[[COLUMN[tuple(sorted((i, i, i, j)))] for j in range(4)]]
        points.append(q / np.linalg.norm(q))
    return np.array(points), s


def counted(m, theta, R, rng):
    """How many common points come out of each orientation (k, 3, 3) when the quadrics are changed by 1e-9 at random.

    Points are conserved: a root of multiplicity k becomes k simple ones, some 1e-9^(1/k) away: 0.006 for k = 4.
    """
    noise = rng.normal(size=(3, 4, 4)) + 1j * rng.normal(size=(3, 4, 4))
    points, _ = by_macaulay(forms(m, theta) + 1e-9 * (noise + noise.swapaxes(1, 2)), rng)
    away = np.sqrt(np.maximum(1 - np.abs(points @ Rotation.from_matrix(R).as_quat().T) ** 2, 0))
    return (away < 0.1).sum(axis=0)


class TestPublished:
    def test_eight_solutions_of_three_equal_cones(self):
        """Ji & Wu, "Analytical forward kinematics to the 3 DOF congruent spherical parallel robot manipulator",
        SciTePress 2013, Table 1 (read). The inputs are not printed with it: they are reconstructed from the results,
        which they return to 0.001° and 1e-4."""
        a, b, c = np.sqrt(1 / 2), np.sqrt(2) / 4, np.sqrt(6) / 4
        axes = np.array([[a, 0, a], [-b, c, a], [-b, -c, a]])
        cosines = 1 - np.array([1.30, 1.42, 1.44]) ** 2 / 2
        found = assembly_modes(fixed_elbows(axes, axes, cosines), np.zeros(3))
        printed = {
            107.141: (-0.9878, 0.0196, 0.1543),
            157.375: (0.0607, 0.0088, 0.9981),
            108.817: (0.5558, 0.7775, 0.2939),
            108.467: (0.5751, -0.7717, 0.2713),
        }
        assert len(found) == 8
        vectors = [Rotation.from_matrix(R).as_rotvec() for R in found]
        for angle, axis in printed.items():
            for sign in (1, -1):
                nearest = min(
                    vectors, key=lambda v, sign=sign, axis=axis: np.linalg.norm(v - sign * np.array(axis) * 2)
                )
                assert abs(np.linalg.norm(nearest) / deg - angle) < 0.001
                assert_allclose(nearest / np.linalg.norm(nearest), sign * np.array(axis), atol=1e-4)

    def test_orthogonal_joint_has_four_trivial_and_four_other_solutions(self):
        """Counts: Gosselin, St-Pierre, Gagné 1996 (from memory); the formula of the determinant is our own."""
        m = orthogonal_joint()
        theta = angles_of(200, seed=1)
        found = assembly_modes(m, theta)
        assert np.isfinite(found).all()  # eight, at every theta
        s, c = np.sin(theta), np.cos(theta)
        volume = np.linalg.det(np.cross(m.elbow_axes(theta)[:, None], m.platform_axes_at(found)))
        assert_allclose(np.abs(volume), np.abs(s.prod(axis=1) + c.prod(axis=1))[:, None] * np.ones(8), atol=1e-12)
        assert_array_equal((volume > 0).sum(axis=1), 4)
        # trivial: each platform axis lies along its own motor axis, so that no motor angle matters
        aligned = np.einsum("nkli,li->nkl", m.platform_axes_at(found), m.base_axes)
        trivial = (np.abs(aligned) > 1 - 1e-9).all(axis=-1)
        assert_array_equal(trivial.sum(axis=1), 4)
        constant = [found[n][trivial[n]] for n in range(200)]
        for other in constant[1:]:
            same_set(other, constant[0], 1e-9)
        assert np.abs(found[0][~trivial[0]] - found[1][~trivial[1]]).max() > 0.1

    def test_never_more_than_eight_and_always_an_even_number(self):
        """Innocenti, Parenti-Castelli, Mech. Mach. Theory 28, 1993 (abstract read): at most eight."""
        seen = set()
        for seed, m in enumerate([*named_joints().values(), *random_joints(20, seed=2)]):
            theta = angles_of(300, seed)
            found, count = assembly_modes(m, theta, multiplicities=True)
            assert found.shape == (300, 8, 3, 3)
            seen |= set(count.sum(axis=1).tolist())
        assert seen == {0, 2, 4, 6, 8}


class TestAllRoots:
    @pytest.mark.parametrize("m", everyday_and_edge_joints())
    def test_round_trip_in_every_mode(self, m):
        R = reachable(m, 100, seed=3)
        theta = inverse_kinematics(m, R[:, None], WORKING_MODES)
        found = assembly_modes(m, theta)
        miss = np.nanmin(np.abs(found - R[:, None, None]).max(axis=(-1, -2)), axis=-1)
        # theta is right to 1e-15, its effect grows with 1/sigma, and sigma is above 1e-5 in these poses
        assert miss.max() < 1e-9
        real = np.isfinite(found[..., 0, 0])
        e = closure_error(m, np.where(real[..., None, None], found, np.eye(3)), theta[:, :, None])
        assert np.abs(e[real]).max() < CLOSED
        assert np.abs(found[real] @ np.swapaxes(found[real], -1, -2) - np.eye(3)).max() < 1e-14
        assert (np.linalg.det(found[real]) > 0).all()

    @pytest.mark.parametrize("seed", range(3 if FULL else 1))
    def test_a_dense_search_finds_no_root_that_was_missed(self, seed):
        starts = Rotation.random(600, random_state=seed).as_matrix()
        for k, m in enumerate(random_joints(12, seed=100 + seed)):
            pose = reachable(m, 1, seed=k)
            for theta in [*inverse_kinematics(m, pose, WORKING_MODES[k % 8]), *angles_of(1, seed=k)]:
                same_roots(m, theta, starts)

    @pytest.mark.parametrize("name", list(hostile_joints())[:: 1 if FULL else 2])
    def test_nor_for_a_joint_that_nobody_would_build(self, name):
        """At random angles, at the ends of the range of angles, and where legs are just folded or stretched."""
        m, starts = hostile_joints()[name], Rotation.random(400, random_state=4).as_matrix()
        R = reachable(m, 2, seed=5, margin=0.1 * deg)
        edge = at_the_edge(m, R[0])
        thetas = [*inverse_kinematics(m, [R[0], R[1], edge], [[1, 1, 1], [-1, 1, -1], [1, -1, 1]])]
        thetas += [angles_of(1, seed=6)[0], np.full(3, np.pi), np.array([np.pi, -np.pi, 0])]
        isolated = 0
        for theta in thetas:
            try:
                assembly_modes(m, theta)
            except SingularError:  # of those joints that have a curve of orientations at special angles
                continue
            isolated += 1
            same_roots(m, theta, starts)
        assert isolated >= (3 if name == "two legs in one place" else 6)

    def test_the_whole_matrix_of_macaulay_gives_the_same_roots(self):
        """30 products (quadratic monomial) x (quadric) in 35 quartic monomials: rank 27, null space by SVD."""
        rng = np.random.default_rng(4)
        for k, m in enumerate(random_joints(15, seed=5)):
            theta = angles_of(1, seed=k)[0]
            points, s = by_macaulay(forms(m, theta), rng)
            assert s[26] > 1e-4
            assert s[27] < 1e-13
            points = points / np.take_along_axis(points, np.abs(points).argmax(axis=1)[:, None], axis=1)
            real = points[np.abs(points.imag).max(axis=1) < 1e-8].real
            same_set(assembly_modes(m, theta), Rotation.from_quat(real).as_matrix(), 1e-7)

    def test_against_50_digits_close_to_a_singularity(self):
        """Two roots 2e-4 apart, each as sharp as an input error of one ulp, divided by sigma, lets it be."""
        for m, R, theta in singular_poses(6, seed=6):
            side = np.linalg.svd(normals(m, R, theta))[2][2]
            near = Rotation.from_rotvec(1e-4 * side).as_matrix() @ R
            angles = inverse_kinematics(m, near, mode_of(m, R, theta))
            start = min(assembly_modes(m, angles), key=lambda X, near=near: np.abs(X - near).max())
            sigma = np.linalg.svd(normals(m, start, angles))[1][2]
            assert 1e-8 < sigma < 1e-2
            exact = root_in_50_digits(m, start, angles)
            assert np.abs(start - exact).max() < 32 * np.finfo(float).eps / sigma

    def test_turning_frames_and_renumbering_legs_changes_nothing(self, hide):
        theta = inverse_kinematics(hide, reachable(hide, 20, seed=7))
        base, platform = random_orientations(2, seed=8)
        other = Mechanism(base @ hide.base_frames, hide.platform_axes @ platform.T, hide.proximal, hide.distal)
        order = [2, 0, 1]
        renumbered = Mechanism(
            hide.base_frames[order], hide.platform_axes[order], hide.proximal[order], hide.distal[order]
        )
        for angles in theta:
            plain = assembly_modes(hide, angles)
            same_set(base.T @ assembly_modes(other, angles) @ platform, plain, 1e-9)
            same_set(assembly_modes(renumbered, angles[order]), plain, 1e-9)


def root_in_50_digits(m, R, theta):
    """Newton's method in 50 digits for the doubles given, which are exact numbers, on the quaternion."""
    with mpmath.workdps(50):
        rows = []
        for frame, angle, arc in zip(m.base_frames, theta, m.proximal, strict=True):
            angle, arc = mpmath.mpf(float(angle)), mpmath.mpf(float(arc))
            local = [mpmath.sin(arc) * mpmath.cos(angle), mpmath.sin(arc) * mpmath.sin(angle), mpmath.cos(arc)]
            rows.append(mpmath.matrix(frame.tolist()) * mpmath.matrix(local))
        axes = [mpmath.matrix(v.tolist()) for v in m.platform_axes]

        def matrix(x, y, z, s):
            n = x * x + y * y + z * z + s * s
            return mpmath.matrix(
                [
                    [(s * s + x * x - y * y - z * z) / n, 2 * (x * y - s * z) / n, 2 * (x * z + s * y) / n],
                    [2 * (x * y + s * z) / n, (s * s - x * x + y * y - z * z) / n, 2 * (y * z - s * x) / n],
                    [2 * (x * z - s * y) / n, 2 * (y * z + s * x) / n, (s * s - x * x - y * y + z * z) / n],
                ]
            )

        def equations(*q):
            turned = matrix(*q)
            closures = [
                (w.T * (turned * v))[0] - mpmath.cos(mpmath.mpf(float(arc)))
                for w, v, arc in zip(rows, axes, m.distal, strict=True)
            ]
            return [*closures, sum(k * k for k in q) - 1]

        q = mpmath.findroot(equations, Rotation.from_matrix(R).as_quat().tolist(), tol=1e-40)
        return np.array(matrix(*q).tolist(), dtype=float)


SPECIAL = [
    ((90, 90), (45, 90), (0, 120, 240), 0, (90, 90, 90)),
    ((90, 90), (35, 90), (0, 120, 240), 0, (-90, -90, -90)),
    ((60, 60), (30, 90), (0, 90, 270), 90, (0, 180, -90)),
    ((90, 45), (46, 90), (0, 60, 120), 180, (-90, -90, -90)),
    ((90, 90), (0, 90), (0, 60, 120), 0, (-150, -150, -150)),
    ((90, 120), (0, 90), (0, 60, 120), 0, (-135, -135, -135)),
    ((120, 60), (30, 90), (0, 120, 240), 30, (180, 180, 180)),
    ((90, 45), (50, 90), (0, 120, 240), 90, (-90, -90, -90)),
    ((60, 75), (90, 90), (0, 120, 240), 60, (-90, -90, -90)),
    ((90, 75), (0, 90), (0, 120, 240), 0, (-90, -90, -90)),
    ((26, 26), (90, 90), (283, 151, 192), 90, (-90, 90, -90)),
]


class TestMultipleRoots:
    def test_a_double_root_is_listed_once_and_counts_two(self):
        for m, R, theta in singular_poses(25, seed=9):
            found, count = assembly_modes(m, theta, multiplicities=True)
            assert np.abs(closure_error(m, found, theta)).max() < CLOSED
            gap = least_angles(found, R[None])[0]
            # the closures are flat here: a double root is as sharp as the square root of rounding
            assert gap < 3e-6
            assert count[np.argmin(np.abs(found - R).max(axis=(1, 2)))] == 2
            assert count.sum() % 2 == 0

    def test_three_roots_in_one_place(self):
        """Where folds meet in a cusp: a triple root, known to the cube root of rounding."""
        found, rounds = 0, 2 if FULL else 1
        for seed, m in enumerate([*named_joints().values(), *random_joints(12, seed=3)] * rounds):
            pose = cusp(m, seed)
            if pose is not None:
                found += 1
                R, theta = pose
                roots, count = assembly_modes(m, theta, multiplicities=True)
                assert rotation.angle_between(roots, R).min() < 1e-4
                assert count[np.argmin(rotation.angle_between(roots, R))] == 3
                assert count.sum() % 2 == 0
                assert np.abs(closure_error(m, roots, theta)).max() < CLOSED
        assert found >= 7 * rounds

    @pytest.mark.parametrize("apart", [1e-2, 1e-4])
    def test_two_roots_on_one_side_of_it_and_none_on_the_other(self, apart):
        """Beside a fold the roots stand at +-sqrt: one direction of theta has two more of them than the other."""
        for m, R, theta in singular_poses(8, seed=10):
            left = np.linalg.svd(normals(m, R, theta))[0][
                :, 2
            ]  # left . N = 0: the closure that the platform cannot mend
            slope = np.einsum("li,li->l", normals(m, R, theta), m.base_axes) * left
            if np.abs(slope).max() < 0.05:
                continue
            sides = [assembly_modes(m, theta + sign * apart**2 * slope) for sign in (1, -1)]
            near = [np.sum(least_angles(R[None], side) < 30 * apart) if len(side) else 0 for side in sides]
            assert sorted(near) == [0, 2]

    def test_a_curve_of_orientations_is_an_error_that_says_why(self):
        parallel = Mechanism(
            random_orientations(3, seed=11), np.array([[0, 0, 1.0], [0, 0, -1], [0, 0, 1]]), 1.0, 1.3
        )
        theta = inverse_kinematics(parallel, reachable(parallel, 1, seed=12)[0])
        with pytest.raises(SingularError, match=r"not isolated: the three platform axes are parallel") as caught:
            assembly_modes(parallel, theta)
        assert (caught.value.pose, caught.value.kind, caught.value.leg) == ((), 2, None)
        assert len(assembly_modes(parallel, theta + 0.3)) == 0  # and where they do not agree, nothing closes
        with pytest.raises(SingularError, match="can't be told apart: the three platform axes are parallel"):
            assembly_modes(parallel, theta + 1e-8)  # a curve of orientations closes but for 1e-8

    @pytest.mark.parametrize(("arcs", "cones", "azimuths", "twist", "theta"), SPECIAL)
    def test_isolated_roots_of_any_multiplicity_are_listed(self, arcs, cones, azimuths, twist, theta):
        """Symmetric joints at special angles: the normals leave two directions free, or all of them."""
        m = Mechanism.symmetric(
            proximal=arcs[0] * deg, distal=arcs[1] * deg, base_cone=cones[0] * deg, platform_cone=cones[1] * deg,
            azimuths=np.array(azimuths) * deg, twist=twist * deg,
        )  # fmt: skip
        theta = np.array(theta) * deg
        found, count = assembly_modes(m, theta, multiplicities=True)
        assert count.max() in (4, 8)
        assert_array_equal(counted(m, theta, found, np.random.default_rng(70)), count)
        assert np.abs(closure_error(m, found, theta)).max() < CLOSED
        ends = searched(m, theta, Rotation.random(100, random_state=71).as_matrix())
        # a search ends anywhere near a root of multiplicity 4 or 8 at which the closures vanish to rounding
        assert least_angles(found, ends).max() < 0.01
        assert least_angles(ends, found).max() < 0.01
        batch, also = assembly_modes(m, np.stack([theta, theta + 0.1]), multiplicities=True)
        assert_allclose(batch[0][: len(found)], found, atol=1e-7)  # rounding, and a root is flat
        assert_array_equal(also[0][: len(found)], count)

    def test_multiplicities_against_exact_algebra(self):
        """Both arcs 90°, platform cone 90°, theta 90° each, at azimuths with rational sine and cosine.

        There w = (-sin, cos, 0) and v = (cos, sin, 0), so that the quadrics are rational. The number of standard
        monomials of a Groebner basis is the number of common points; with all monomials of degree 8 added to the
        quadrics about a root it is the multiplicity of that root.
        """
        directions = [(sympy.Rational(1), sympy.Rational(0)), (sympy.Rational(3, 5), sympy.Rational(4, 5)),
                      (sympy.Rational(-5, 13), sympy.Rational(12, 13))]  # fmt: skip
        azimuths = np.array([math.atan2(float(s), float(c)) for c, s in directions])
        m = Mechanism.symmetric(
            proximal=90 * deg, distal=90 * deg, base_cone=45 * deg, platform_cone=90 * deg, azimuths=azimuths
        )
        found, count = assembly_modes(m, np.full(3, 90 * deg), multiplicities=True)
        assert_array_equal(count, [4, 4])
        x, y, z = sympy.symbols("x y z")

        def quadrics_at(q):
            e, s = sympy.Matrix(q[:3]), q[3]
            K = sympy.Matrix([[0, -e[2], e[1]], [e[2], 0, -e[0]], [-e[1], e[0], 0]])
            R = (s**2 - e.dot(e)) * sympy.eye(3) + 2 * e * e.T + 2 * s * K
            return [
                sympy.expand((sympy.Matrix([[-b, a, 0]]) * R * sympy.Matrix([a, b, 0]))[0]) for a, b in directions
            ]

        def points(equations):
            basis = sympy.groebner(equations, x, y, z, order="grevlex")
            assert basis.is_zero_dimensional
            leading = [sympy.Poly(p, x, y, z).monoms(order="grevlex")[0] for p in basis.exprs]
            return sum(
                not any(all(a >= b for a, b in zip(mono, lead, strict=True)) for lead in leading)
                for mono in product(range(9), repeat=3)
            )

        generic = (x, y, 1 + 2 * x - 3 * y + 5 * z, z)  # no common point at infinity
        assert points(quadrics_at(generic)) == 8
        high = [x**i * y**j * z ** (8 - i - j) for i in range(9) for j in range(9 - i)]
        for R, multiplicity in zip(found, count, strict=True):
            q = np.rint(Rotation.from_matrix(R).as_quat()).astype(int)
            assert_allclose(
                np.abs(Rotation.from_matrix(R).as_quat()), np.abs(q), atol=1e-12
            )  # no turn or half a turn
            local = iter((x, y, z))
            about = [1 if k else next(local) for k in q]
            assert points([*quadrics_at(about), *high]) == multiplicity

    @pytest.mark.parametrize(
        ("arcs", "cones", "azimuths", "twist", "theta"),
        [
            ((90, 90), (45, 90), (0, 90, 180), 90, (-90, -90, -90)),
            ((90, 45), (35, 90), (0, 90, 180), 180, (-90, -90, -90)),
            ((90, 120), (0, 90), (0, 90, 270), 0, (-90, -90, -90)),
            ((45, 90), (90, 90), (0, 90, 270), 180, (135, -45, -135)),
        ],
    )
    def test_not_isolated_is_said_of_curves_only(self, arcs, cones, azimuths, twist, theta):
        """From an orientation that closes the platform can go on along the curve, by 0.01 rad at a time, for long."""
        m = Mechanism.symmetric(
            proximal=arcs[0] * deg, distal=arcs[1] * deg, base_cone=cones[0] * deg, platform_cone=cones[1] * deg,
            azimuths=np.array(azimuths) * deg, twist=twist * deg,
        )  # fmt: skip
        theta = np.array(theta) * deg
        ends = searched(m, theta, Rotation.random(60, random_state=72).as_matrix())
        with pytest.raises(SingularError, match="not isolated: a whole curve"):
            assembly_modes(m, theta)
        longest = 0
        for R in ends[:3]:
            start, way = R, np.linalg.svd(normals(m, R, theta))[2][2]
            for _ in range(60):
                R = searched(m, theta, (Rotation.from_rotvec(0.01 * way).as_matrix() @ R)[None])
                if not len(R):
                    break
                R = R[0]
                ahead = np.linalg.svd(normals(m, R, theta))[2][2]
                way = ahead * np.sign(ahead @ way)
                longest = max(longest, rotation.angle_between(start, R))
        assert longest > 0.3

    def test_three_elbows_in_one_place(self):
        m = Mechanism.symmetric(proximal=75 * deg, distal=60 * deg, base_cone=0, platform_cone=60 * deg)
        theta = np.array([0, 120, 240]) * deg  # seen from outside, below: back to one elbow, and z can lie along it
        assert np.ptp(m.elbow_axes(theta), axis=0).max() < 1e-15
        with pytest.raises(SingularError, match="the three elbow axes are parallel"):
            assembly_modes(m, theta)

    @pytest.mark.parametrize("off", [1e-2, 1e-4, 1e-5])
    def test_close_to_a_curve_all_eight_are_found(self, off):
        """The four trivial solutions are known, and the others are eight less four, as everywhere."""
        m = orthogonal_joint()
        trivial = [R for R in assembly_modes(m, (0.3, 0.4, 0.5)) if on_motor_axes(m, R)]
        for quarters in ((0, 0, 1), (0, 1, 0), (1, 0, 1), (1, 1, 0)):
            theta = np.array(quarters) * 90 * deg + off * np.array([1, 0.3, 0.7])
            found, count = assembly_modes(m, theta, multiplicities=True)
            assert_array_equal(count, np.ones(8))
            assert least_angles(found, np.array(trivial)).max() < 1e-9
            assert np.abs(closure_error(m, found, theta)).max() < CLOSED

    @pytest.mark.parametrize("off", [1e-8, 1e-10, 1e-12])
    def test_closer_still_it_is_said_and_nothing_is_made_up(self, off):
        m = orthogonal_joint()
        for quarters in ((0, 0, 1), (0, 1, 0), (1, 0, 1), (1, 1, 0)):
            with pytest.raises(SingularError, match=r"can't be told apart: they are closer|a whole curve"):
                assembly_modes(m, np.array(quarters) * 90 * deg + off * np.array([1, 0.3, 0.7]))

    def test_orthogonal_joint_where_a_curve_closes(self):
        """theta = (0, 0, 90°): w = z, x, -x, so R with first row (0, ±1, 0) closes, whatever the rest."""
        m, quarter = orthogonal_joint(), np.array([0, 0, 90]) * deg
        for angle in np.linspace(0, 6, 7):
            R = Rotation.from_euler("x", angle).as_matrix() @ [[0, 1, 0], [-1, 0, 0], [0, 0, 1]]
            assert np.abs(closure_error(m, R, quarter)).max() < 1e-15
        with pytest.raises(SingularError, match=r"motor angles \(1, 0\).*whole curve") as caught:
            assembly_modes(m, [[[0.1, 0.2, 0.3]], [quarter]])
        assert caught.value.pose == (1, 0)


class TestProof:
    """`quadrics.proven` and the gathering of clusters, on candidates that were tampered with."""

    @staticmethod
    def candidates(m, theta):
        Q = assembly._quadrics(m, m.elbow_axes(theta).T[:, :, None])
        return Q, quadrics.common_points(Q)

    @staticmethod
    def beside(m):
        """theta at which some orientations close."""
        return inverse_kinematics(m, reachable(m, 1, seed=60)[0])

    def test_the_quadrics_are_the_closures(self, hide):
        theta, q = angles_of(1, seed=61)[0], np.random.default_rng(62).normal(size=(30, 4))
        Q, _ = self.candidates(hide, theta)
        closures = closure_error(hide, Rotation.from_quat(q).as_matrix(), theta) * (q**2).sum(axis=1, keepdims=True)
        assert_allclose(np.einsum("ni,kij,nj->nk", q, Q[0], q), closures, atol=1e-13)

    def test_eight_different_points_are_needed(self, hide):
        Q, z = self.candidates(hide, self.beside(hide))
        complete, real = quadrics.proven(Q, z)
        assert complete
        assert real.sum() == len(assembly_modes(hide, self.beside(hide)))
        turned, same = quadrics.proven(Q, z * np.exp(1j * np.arange(8))[:, None])  # the same points
        assert turned
        assert_array_equal(same, real)
        for k in range(8):
            twice = z.copy()
            twice[0, k] = 1j * z[0, (k + 1) % 8]
            assert not quadrics.proven(Q, twice)[0].any()

    @pytest.mark.parametrize("off", [0.2, 0.5])
    def test_each_must_be_close_to_a_common_point(self, hide, off):
        Q, z = self.candidates(hide, self.beside(hide))
        for k in range(8):
            moved = z.copy()
            moved[0, k] += off * np.array([0.5, -0.5, 0.5j, -0.5])
            moved[0, k] /= np.linalg.norm(moved[0, k])
            assert not quadrics.proven(Q, moved)[0].any()

    def test_simple_points_are_needed(self):
        for m, _, theta in singular_poses(10, seed=63):
            Q = assembly._quadrics(m, m.elbow_axes(theta).T[:, :, None])
            for turn in quadrics.ROTATIONS:
                z = quadrics.common_points(Q, turn)
                assert not quadrics.proven(Q, z)[0]
                assert not quadrics.proven(Q, quadrics.improved(Q, z))[0]
                z, count = multiple_roots._clusters(Q[0], turn, quadrics.multiplication(Q[0], turn)[1])
                assert sorted(count) == [*[1] * 6, 2]
                assert quadrics.simple(Q, z[None])[0].sum() == 6

    def test_roots_far_apart_are_not_one(self):
        """Half a turn apart, as the trivial ones of the orthogonal joint: their mean, no rotation, closes as well."""
        m, theta = orthogonal_joint(), np.array([0.3, 0.4, 0.5])
        trivial = np.array([R for R in assembly_modes(m, theta) if on_motor_axes(m, R)])
        assert_allclose(rotation.angle_between(trivial[:1], trivial[1:]), np.pi)
        assert multiple_roots._groups(m, theta, trivial) == [[0], [1], [2], [3]]
        assert multiple_roots._groups(m, theta, trivial[[0, 1, 0]]) == [[0, 2], [1]]

    def test_points_must_add_up(self):
        m, R, theta = singular_poses(1, seed=64)[0]
        Q, _ = self.candidates(m, theta)
        z, count = multiple_roots._clusters(
            Q[0], quadrics.ROTATIONS[1], quadrics.multiplication(Q[0], quadrics.ROTATIONS[1])[1]
        )
        found, times = multiple_roots._common_roots(m, theta, z, count)
        assert times[least_angles(R[None], found).argmin()] == 2
        real = np.flatnonzero((count == 1) & (1 - np.abs((z * z).sum(axis=1)) < 1e-9))
        complex_ = np.flatnonzero((count == 1) & (1 - np.abs((z * z).sum(axis=1)) > 1e-9))
        assert len(real) > 0
        assert len(complex_) > 0
        for k in (real[0], complex_[0]):  # one is missing; one counts twice
            assert multiple_roots._common_roots(m, theta, np.delete(z, k, axis=0), np.delete(count, k)) is None
            assert multiple_roots._common_roots(m, theta, z, count + (np.arange(len(z)) == k)) is None
        odd = count.copy()  # eight in all, but an odd number of real ones
        odd[[real[0], complex_[0]]] = 2, 0
        assert multiple_roots._common_roots(m, theta, z, odd) is None
        stray = z.copy()  # a real point that does not close
        stray[real[0]] = np.roll(z[real[0]], 1)
        assert multiple_roots._common_roots(m, theta, stray, count) is None


class TestAssemblyArrays:
    def test_none_is_an_answer(self, hide):
        impossible = [theta for theta in angles_of(200, seed=13) if not len(assembly_modes(hide, theta))]
        assert len(impossible) > 5
        assert assembly_modes(hide, impossible[0]).shape == (0, 3, 3)
        w, cosines = hide.elbow_axes(impossible[0]), np.cos(hide.distal)
        poses = random_orientations(20_000, seed=14)  # 4.5° apart or so: none comes near to closing
        misses = np.abs(np.einsum("li,nli->nl", w, hide.platform_axes_at(poses)) - cosines).max(axis=1)
        assert misses.min() > 0.01

    def test_a_batch_equals_its_thetas_one_by_one(self, hide):
        theta = angles_of(24, seed=15).reshape(2, 3, 4, 3)
        together, count = assembly_modes(hide, theta, multiplicities=True)
        assert (together.shape, count.shape) == ((2, 3, 4, 8, 3, 3), (2, 3, 4, 8))
        for index in np.ndindex(2, 3, 4):
            alone, multiplicity = assembly_modes(hide, theta[index], multiplicities=True)
            k = len(alone)
            assert_allclose(together[index][:k], alone, atol=1e-11)
            assert np.isnan(together[index][k:]).all()
            assert_array_equal(count[index], [*multiplicity, *[0] * (8 - k)])

    def test_blocks_fit_together(self, hide):
        theta = angles_of(150, seed=16)
        many = assembly_modes(hide, np.tile(theta, (4, 1)))  # 600: three blocks
        assert_allclose(many, np.tile(assembly_modes(hide, theta), (4, 1, 1, 1)), atol=1e-11)

    def test_a_curve_is_named_in_any_block(self):
        theta = np.tile([0.1, 0.2, 0.3], (20, 20, 1))
        theta[15, 3] = np.array([0, 0, 90]) * deg  # row 303, in the second block of 256
        with pytest.raises(SingularError, match=r"motor angles \(15, 3\)") as caught:
            assembly_modes(orthogonal_joint(), theta)
        assert caught.value.pose == (15, 3)

    def test_order_starts_with_the_orientation_turned_least(self, hide):
        for theta in angles_of(100, seed=17):
            found = assembly_modes(hide, theta)
            turns = Rotation.from_matrix(found).magnitude() if len(found) else np.zeros(0)
            assert (np.diff(turns) > -1e-8).all()
        home = assembly_modes(hide, hide.home_angles())
        assert_allclose(home[0], np.eye(3), atol=1e-12)
        # by symmetry several are turned equally far: then the entries decide, row by row, larger first
        keys = np.round([[np.trace(R), *R.ravel()] for R in home], 9).tolist()
        assert keys == sorted(keys, reverse=True)

    @pytest.mark.parametrize("shape", [(0,), (0, 4), (3, 0)])
    def test_empty_batches(self, hide, shape):
        assert assembly_modes(hide, np.empty((*shape, 3))).shape == (*shape, 8, 3, 3)
        assert forward_kinematics(hide, np.empty((*shape, 3)), near=np.eye(3)).shape == (*shape, 3, 3)

    def test_whole_turns_make_no_difference(self, hide):
        theta = angles_of(1, seed=18)[0]
        same_set(assembly_modes(hide, theta + 2 * np.pi * np.array([3, -1, 2])), assembly_modes(hide, theta), 1e-12)


class TestFollow:
    @pytest.mark.parametrize("m", everyday_and_edge_joints())
    def test_small_steps_in_every_mode(self, m):
        """Back to the orientation that the angles were made for, unless a singularity lies between."""
        near = reachable(m, 60, seed=20, margin=3 * deg)
        R = Rotation.from_rotvec(np.random.default_rng(21).normal(size=(60, 3)) * 0.5 * deg).as_matrix() @ near
        start = inverse_kinematics(m, near[:, None], WORKING_MODES)
        theta = inverse_kinematics(m, R[:, None], WORKING_MODES, near=start)
        found = forward_kinematics(m, theta, near=near[:, None], unreachable="nan")
        before = np.linalg.det(np.cross(m.elbow_axes(start), m.platform_axes_at(near)[:, None]))
        after = np.linalg.det(np.cross(m.elbow_axes(theta), m.platform_axes_at(R)[:, None]))
        clear = (before * after > 0) & (np.minimum(np.abs(before), np.abs(after)) > 0.02)
        assert clear.mean() > 0.8
        assert np.abs(found - R[:, None])[clear].max() < 1e-12
        there = np.isfinite(found[..., 0, 0])
        assert (
            np.abs(closure_error(m, np.where(there[..., None, None], found, np.eye(3)), theta)[there]).max() < CLOSED
        )

    def test_near_may_be_a_hair_away(self, hide):
        R = reachable(hide, 40, seed=31, margin=5 * deg)
        theta = inverse_kinematics(hide, R)
        regular = dexterity(hide, R, theta) > 0.05
        R, theta = R[regular], theta[regular]
        away = np.random.default_rng(31).normal(size=(len(R), 3))
        for size in 10.0 ** np.arange(-16, -8, 0.5):
            near = rotation.from_rotation_vector(size * away) @ R
            # 1e-13 of closure over what keeps the normals apart, some 0.05
            assert_allclose(forward_kinematics(hide, theta, near=near), R, rtol=0, atol=1e-11)

    def test_a_long_way_against_an_integrator(self):
        """d omega = N^-1 diag(n . u) d theta, integrated by SciPy along the straight way of the motors."""
        compared = 0
        for k, m in enumerate([*named_joints().values(), *random_joints(6, seed=22)]):
            near = reachable(m, 1, seed=k, margin=10 * deg)[0]
            start = inverse_kinematics(m, near, WORKING_MODES[k % 8])
            change = np.random.default_rng(k).uniform(-40, 40, 3) * deg

            def rate(t, q, m=m, start=start, change=change):
                R = Rotation.from_quat(q)
                n = normals(m, R.as_matrix(), start + t * change)
                omega = np.linalg.solve(n, np.einsum("li,li->l", n, m.base_axes) * change)
                return (Rotation.from_quat([*omega, 0]) * R).as_quat(canonical=False) * np.linalg.norm(omega) / 2

            def flat(t, q, m=m, start=start, change=change):
                return abs(np.linalg.det(normals(m, Rotation.from_quat(q).as_matrix(), start + t * change))) - 1e-3

            flat.terminal = True
            way = solve_ivp(rate, (0, 1), Rotation.from_matrix(near).as_quat(), rtol=1e-10, atol=1e-12, events=flat)
            found = forward_kinematics(m, start + change, near=near, mode=WORKING_MODES[k % 8], unreachable="nan")
            if way.t[-1] == 1:
                compared += 1
                assert np.abs(found - Rotation.from_quat(way.y[:, -1]).as_matrix()).max() < 1e-7
            else:
                assert np.isnan(found).all()
        assert compared >= 5

    def test_never_passes_to_another_branch(self):
        """Orientations on either side of a type-2 singularity, with their own motor angles, in the same mode."""
        refused = stayed = 0
        for m, R, theta in singular_poses(30, seed=23):
            side = np.linalg.svd(normals(m, R, theta))[2][2]
            for size in (0.02, 0.1):
                before, after = (Rotation.from_rotvec(s * size * side).as_matrix() @ R for s in (1, -1))
                if (reach_margin(m, [before, after]) < 0).any():
                    continue
                start, end = (
                    inverse_kinematics(m, X, near=theta, mode=mode_of(m, R, theta)) for X in (before, after)
                )
                if np.linalg.det(normals(m, before, start)) * np.linalg.det(normals(m, after, end)) > 0:
                    continue
                found = forward_kinematics(m, end, near=before, unreachable="nan")
                if np.isnan(found).any():
                    refused += 1
                    with pytest.raises(SingularError, match="type-2 singularity") as caught:
                        forward_kinematics(m, end, near=before)
                    assert caught.value.kind == 2
                else:
                    stayed += 1
                    sign = np.linalg.det(normals(m, found, end)) * np.linalg.det(normals(m, before, start))
                    assert sign > 0
                    assert rotation.angle_between(found, after) > 1e-3
        assert refused + stayed > 10
        assert stayed > 0

    def test_steps_that_are_too_long_are_taken_back(self, hide, monkeypatch):
        """The proof, not the choice of the step, is what keeps to the branch."""
        near = reachable(hide, 40, seed=66, margin=5 * deg)
        theta = inverse_kinematics(hide, near) + np.random.default_rng(67).uniform(-60, 60, (40, 3)) * deg
        wanted = forward_kinematics(hide, theta, near=near, unreachable="nan")
        monkeypatch.setattr(branch, "_SHARE", 30.0)
        bold = forward_kinematics(hide, theta, near=near, unreachable="nan")
        assert 5 < np.isnan(wanted[:, 0, 0]).sum() < 35
        assert_allclose(bold, wanted, atol=1e-11)

    def test_no_step_is_taken_that_is_not_proven(self, hide, monkeypatch):
        """|d theta| + sqrt(3) |omega| must not exceed half the smallest singular value of the normals."""
        near = reachable(hide, 400, seed=68)
        start = inverse_kinematics(hide, near)
        change = np.random.default_rng(69).normal(size=(400, 3)) * 2 * deg
        R, part, caution = np.moveaxis(near, 0, -1).copy(), np.zeros(400), np.ones(400)
        monkeypatch.setattr(branch, "_SHARE", 30.0)
        branch._advance(hide, R, part, caution, start.T, change.T, np.arange(400))
        turn = Rotation.from_matrix(np.moveaxis(R, -1, 0) @ np.swapaxes(near, 1, 2)).magnitude()
        effort = np.linalg.norm(part[:, None] * change, axis=1) + np.sqrt(3) * turn
        least = np.linalg.svd(normals(hide, near, start))[1][:, 2]
        taken = part > 0
        assert 50 < taken.sum() < 350
        assert (effort[taken] <= least[taken] / 2).all()
        assert_array_equal(caution, np.where(taken, 1.0, 0.5))

    def test_nothing_is_returned_that_does_not_close(self, hide, monkeypatch):
        monkeypatch.setattr(branch, "_MOST_STEPS", 10)
        monkeypatch.setattr(branch.closing, "closed", lambda _, __, R: (R, np.zeros(R.shape[2], dtype=bool)))
        assert np.isnan(forward_kinematics(hide, hide.home_angles() + 0.01, near=np.eye(3), unreachable="nan")).all()

    def test_says_when_the_motors_ask_for_the_impossible(self, hide):
        home = hide.home_angles()
        impossible = next(t for t in angles_of(200, seed=13) if not len(assembly_modes(hide, t)))
        with pytest.raises(SingularError, match=r"motor angles 1 cannot.*none at all.*the impossible") as caught:
            forward_kinematics(hide, [home, impossible], near=np.eye(3))
        assert (caught.value.pose, caught.value.kind) == ((1,), 2)
        found = forward_kinematics(hide, [home, impossible], near=np.eye(3), unreachable="nan")
        assert_allclose(found[0], np.eye(3), atol=1e-14)
        assert np.isnan(found[1]).all()

    def test_a_branch_is_followed_to_its_very_end(self, hide):
        """Where the roots meet and vanish is found by counting them: no derivative, no step."""
        home = hide.home_angles()
        change = next(t for t in angles_of(200, seed=13) if not len(assembly_modes(hide, t))) - home
        share = np.linspace(0, 1, 1001)
        theta = home + share[:, None] * change
        found = forward_kinematics(hide, theta, near=np.eye(3), mode=(1, 1, 1), unreachable="nan")
        last = int(np.flatnonzero(np.isfinite(found[:, 0, 0]))[-1])
        low, high = share[last], share[last + 1]
        many = len(assembly_modes(hide, theta[last]))
        while high - low > 1e-11:
            middle = (low + high) / 2
            low, high = (middle, high) if len(assembly_modes(hide, home + middle * change)) == many else (low, middle)
        # the branch counts as ended some 1e-10 rad of motor travel before its end; 1e-8 before it, it does not
        before, after = (home + (low + side * 1e-8 / np.linalg.norm(change)) * change for side in (-1, 1))
        R = forward_kinematics(hide, before, near=found[last])
        assert np.abs(closure_error(hide, R, before)).max() < 1e-13
        with pytest.raises(SingularError, match="the branch ends"):
            forward_kinematics(hide, after, near=found[last])

    def test_says_when_only_other_branches_close(self):
        for m, R, theta in singular_poses(30, seed=24):
            left = np.linalg.svd(normals(m, R, theta))[0][:, 2]
            slope = np.einsum("li,li->l", normals(m, R, theta), m.base_axes) * left
            if np.abs(slope).max() < 0.1:
                continue
            sides = [theta + 1e-3 * sign * slope for sign in (1, -1)]
            for inside, outside in (sides, sides[::-1]):
                near = [X for X in assembly_modes(m, inside) if rotation.angle_between(X, R) < 0.3]
                others = len(assembly_modes(m, outside))
                if len(near) == 2 and others:
                    with pytest.raises(SingularError, match=f"assembly_modes finds {others} on other branches"):
                        forward_kinematics(m, outside, near=near[0])
                    return
        raise AssertionError("no fold with other branches was met")

    def test_from_a_singular_pose_only_itself_continues(self):
        m, R, theta = singular_poses(1, seed=25)[0]
        assert_allclose(forward_kinematics(m, theta, near=R), R, atol=1e-14)
        with pytest.raises(SingularError, match=r"after 0 % of the way"):
            forward_kinematics(m, theta + 0.01, near=R)

    def test_near_may_be_a_measurement(self, hide):
        R = reachable(hide, 50, seed=26, margin=5 * deg)
        theta = inverse_kinematics(hide, R)
        clear = np.abs(np.linalg.det(normals(hide, R, theta))) > 0.1
        measured = Rotation.from_rotvec(np.random.default_rng(27).normal(size=(50, 3)) * 0.2 * deg).as_matrix() @ R
        assert clear.sum() > 20
        assert_allclose(forward_kinematics(hide, theta[clear], near=measured[clear]), R[clear], atol=1e-12)

    def test_a_path_step_by_step_and_in_one(self, hide):
        path = rotation.from_tilt_torsion(np.linspace(0, 25, 26) * deg, 0.4, 0.2)
        theta = inverse_kinematics(hide, path)
        R = path[0]
        for k in range(1, 26):
            R = forward_kinematics(hide, theta[k], near=R)
            assert_allclose(R, path[k], atol=1e-13)
        assert_allclose(forward_kinematics(hide, theta, near=path[0]), path, atol=1e-13)

    def test_whole_turns_of_a_motor_make_no_difference(self, hide):
        R = rotation.ry(10 * deg)
        theta = inverse_kinematics(hide, R) + 2 * np.pi * np.array([5, -2, 0])
        assert_allclose(forward_kinematics(hide, theta, near=np.eye(3)), R, atol=1e-13)

    def test_near_out_of_reach(self, hide):
        near = np.stack([np.eye(3), rotation.ry(80 * deg)])
        with pytest.raises(UnreachableError, match="near 1 is out of reach: leg 1 is 10° short") as caught:
            forward_kinematics(hide, hide.home_angles(), near=near)
        assert (caught.value.pose, caught.value.leg, caught.value.count) == ((1,), 0, 1)
        impossible = next(t for t in angles_of(200, seed=13) if not len(assembly_modes(hide, t)))
        theta = [hide.home_angles(), hide.home_angles(), impossible]  # no answer either, but near a pose within reach
        with pytest.raises(UnreachableError) as caught:
            forward_kinematics(hide, theta, near=[*near, np.eye(3)])
        assert caught.value.count == 1
        found = forward_kinematics(hide, hide.home_angles(), near=near, unreachable="nan")
        assert np.isnan(found).all(axis=(1, 2)).tolist() == [False, True]

    def test_a_leg_whose_angle_may_be_anything_keeps_the_one_asked_for(self):
        m = named_joints()["all arcs 90°"]
        theta = np.array([0.3, 0.4, 0.5])
        aligned = next(R for R in assembly_modes(m, theta) if on_motor_axes(m, R))
        assert_allclose(forward_kinematics(m, theta, near=aligned), aligned, atol=1e-14)

    def test_batches_and_kinds_of_input(self, hide):
        R = reachable(hide, 6, seed=28, margin=5 * deg)
        theta = inverse_kinematics(hide, R)
        near = Rotation.from_rotvec([0, 0, 1e-3]).as_matrix() @ R
        keep = near.copy(), theta.copy()
        found = forward_kinematics(hide, theta, near=near)
        assert_allclose(found, R, atol=1e-11)
        assert_array_equal(near, keep[0])
        assert_array_equal(theta, keep[1])
        assert_allclose(forward_kinematics(hide, theta, near=Rotation.from_matrix(near)), R, atol=1e-11)
        assert_allclose(forward_kinematics(hide, theta.tolist(), near=near.astype(np.float32)), R, atol=1e-11)
        grid = forward_kinematics(hide, theta[:, None], near=near[None], unreachable="nan")
        assert grid.shape == (6, 6, 3, 3)
        assert_allclose(grid[range(6), range(6)], R, atol=1e-11)
        assert_allclose(forward_kinematics(hide, theta[2], near=near[2]), found[2], atol=1e-14)
        many = forward_kinematics(hide, np.tile(theta, (700, 1)), near=np.tile(near, (700, 1, 1)))  # several blocks
        assert_allclose(many, np.tile(found, (700, 1, 1)), atol=1e-14)


def on_motor_axes(m, R):
    return np.abs(np.cross(m.base_axes, m.platform_axes_at(R))).max() < 1e-9


def mode_of(m, R, theta):
    volume = np.einsum("li,li->l", np.cross(m.base_axes, m.elbow_axes(theta)), m.platform_axes_at(R))
    return np.where(volume > 0, 1, -1)


@pytest.mark.parametrize(
    ("call", "error", "told"),
    [
        (lambda _: assembly_modes("hide", (0, 0, 0)), TypeError, "must be a Mechanism, not 'hide'"),
        (lambda m: assembly_modes(m, (0, 0)), ValueError, r"theta has shape \(2,\); its shape must be \(\.\.\., 3\)"),
        (lambda m: assembly_modes(m, (0, np.nan, 0)), ValueError, r"theta\[1\] is nan"),
        (lambda m: assembly_modes(m, None), TypeError, "theta is None"),
        (lambda m: assembly_modes(m, "abc"), TypeError, "theta must hold real numbers"),
        (lambda _: forward_kinematics(0, (0, 0, 0), near=np.eye(3)), TypeError, "must be a Mechanism, not 0"),
        (lambda m: forward_kinematics(m, (0, 0), near=np.eye(3)), ValueError, r"theta has shape \(2,\)"),
        (lambda m: forward_kinematics(m, (0, 0, np.inf), near=np.eye(3)), ValueError, r"theta\[2\] is inf"),
        (
            lambda m: forward_kinematics(m, (0, 0, 0), near=2 * np.eye(3)),
            ValueError,
            r"near is not a rotation.*2, 2, 2",
        ),
        (lambda m: forward_kinematics(m, (0, 0, 0), near=[np.eye(3), -np.eye(3)]), ValueError, "near 1 is not a rot"),
        (lambda m: forward_kinematics(m, (0, 0, 0), near=(0, 0, 0)), ValueError, r"near has shape \(3,\)"),
        (lambda m: forward_kinematics(m, (0, 0, 0), near=None), TypeError, "near is None"),
        (
            lambda m: forward_kinematics(m, np.zeros((4, 3)), near=np.stack([np.eye(3)] * 3)),
            ValueError,
            r"theta \(4,\), near \(3,\)",
        ),
        (
            lambda m: forward_kinematics(m, (0, 0, 0), near=np.eye(3), unreachable="skip"),
            ValueError,
            "'skip'; it must be 'raise' or 'nan'",
        ),
    ],
)
def test_bad_input_is_refused(hide, call, error, told):
    with pytest.raises(error, match=told):
        call(hide)
