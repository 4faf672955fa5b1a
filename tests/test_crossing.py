"""V along a path, against determinants of our own, a root finder, and what going limp means."""

import pickle
import random
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

from drawn import View, cases, turns, two_poses, views
from legloop import deg, inverse_kinematics, path_singularity, rotation, singularity
from legloop.lesson.cases import bird_hide, random_joints, reachable
from legloop.workshop.log import read_log

HIDE = bird_hide()
ROUNDING = 1e-13  # products of nine rounded numbers of size 1


def normals(m, R, theta):
    """Unit normals, rows, with SciPy's rotations: the elbow is z of the leg's frame, turned by theta and alpha_1."""
    rows = []
    for k in range(3):
        turn = Rotation.from_matrix(m.base_frames[k]) * Rotation.from_euler("ZY", [theta[k], m.proximal[k]])
        n = np.cross(turn.apply([0, 0, 1]), R @ m.platform_axes[k])
        rows.append(n / np.linalg.norm(n))
    return np.array(rows)


def own_v(m, R, theta):
    return np.linalg.det(normals(m, R, theta))


def at_yaw(angle):
    R = rotation.rz(angle * deg)
    return R, inverse_kinematics(HIDE, R)


LIMP_AT = brentq(lambda angle: own_v(HIDE, *at_yaw(angle)), 70, 90, xtol=1e-13)
"""degrees: the bird hide's yaw at which V is 0."""


@pytest.mark.parametrize("m", random_joints(6, seed=3))
def test_v_and_its_changes_of_sign_are_those_of_a_determinant_of_our_own(m):
    R = reachable(m, 60, seed=2)
    theta = inverse_kinematics(m, R)
    look = path_singularity(m, R, theta, lines=np.arange(60) + 4)
    wanted = np.array([own_v(m, *pose) for pose in zip(R, theta, strict=True)])
    np.testing.assert_allclose(look.V, wanted, rtol=0, atol=ROUNDING)
    assert np.abs(wanted).min() > 1e-6  # far from what counts as 0
    assert look.crossings.tolist() == [[k, k + 1] for k in range(59) if wanted[k] * wanted[k + 1] < 0]
    assert look.least == np.abs(wanted).argmin()
    assert f"The least |V| is {np.abs(wanted).min():.3g}, at line {look.least + 4}." in str(look)
    assert pickle.loads(pickle.dumps(look)).crossings.tolist() == look.crossings.tolist()


def test_v_is_the_volume_of_singularity():
    R = reachable(HIDE, 20, seed=1)
    theta = inverse_kinematics(HIDE, R)
    np.testing.assert_allclose(
        path_singularity(HIDE, R, theta).V, singularity(HIDE, R, theta).volume, rtol=0, atol=ROUNDING
    )


def test_all_samples_are_solved_and_yet_the_path_cannot_be_driven():
    yaw = np.arange(0, 100, 0.25)
    R, theta = at_yaw(yaw)
    assert not np.isnan(theta).any()
    look = path_singularity(HIDE, R, theta, lines=np.arange(len(yaw)) + 235)
    before = int(LIMP_AT // 0.25)
    assert look.crossings.tolist() == [[before, before + 1]]
    assert before + 235 == 557
    first, *rest = str(look).splitlines()
    assert first == "V changes sign between lines 557 and 558: this path cannot be driven."
    for words in ("goes limp", "slower doesn't help", "The least |V| is 0.00", "samples only", "`plan`"):
        assert words in " ".join(rest)
    until = slice(before + 1)  # the same path, ended before
    good = path_singularity(HIDE, R[until], theta[until])
    assert str(good).startswith("V keeps its sign wherever the legs reach.\n")
    assert "cannot be driven" not in str(good)
    assert not len(good.crossings)


def test_where_v_is_zero_the_platform_turns_with_the_motors_held():
    """A turn by e about the axis perpendicular to the normals opens the legs by e squared, and elsewhere by e."""
    e = 1e-4
    opens = []
    for R, theta in (at_yaw(LIMP_AT), at_yaw(0)):
        free = np.linalg.svd(normals(HIDE, R, theta))[2][2]
        turned = Rotation.from_rotvec(e * free).as_matrix() @ R
        w = HIDE.elbow_axes(theta)
        opens.append(np.abs((w * (HIDE.platform_axes @ turned.T)).sum(axis=1) - np.cos(75 * deg)).max())
    assert opens[0] < 2 * e**2
    assert opens[1] > 0.3 * e


def test_signs_zeros_and_gaps_in_any_order():
    """Four kinds of rows in random order, against a loop in plain Python."""
    poses = {"-": at_yaw(70), "+": at_yaw(90), "0": at_yaw(LIMP_AT), "?": (np.eye(3), np.full(3, np.nan))}
    chance = random.Random(5)
    seen = set()
    for _ in range(300):
        signs = "".join(chance.choice("--++0?") for _ in range(chance.randint(0, 9)))
        R, theta = (np.array([poses[s][k] for s in signs]).reshape(-1, *(3,) * (2 - k)) for k in (0, 1))
        look = path_singularity(HIDE, R, theta)
        wanted, known = [], [k for k, s in enumerate(signs) if s != "?"]
        for a, b in pairwise(known):
            if {signs[a], signs[b]} == {"-", "+"}:
                wanted.append([a, b])
        run = None
        for a, b in pairwise([*known, None]):
            if signs[a] == "0":
                run = a if run is None else run
                if b is None or signs[b] != "0":
                    wanted.append([run, a])
                    run = None
        assert look.crossings.tolist() == sorted(wanted), signs
        assert look.crossings.shape == (len(wanted), 2)
        assert np.isnan(look.V).tolist() == [s == "?" for s in signs]
        assert (look.least is None) == (not known)
        text = str(look)
        assert ("cannot be driven" in text) == bool(wanted)
        assert (f"In {signs.count('?')} of {len(signs)} samples" in text) == ("?" in signs and bool(known))
        seen.add(text.splitlines()[0].split(" between")[0].split(" at ")[0].split(" in ")[0])
    assert {"V keeps its sign wherever the legs reach.", "V changes sign", "V is 0", "V is known"} <= seen


def test_a_gap_out_of_reach_hides_no_change_of_sign():
    R = np.stack([at_yaw(70)[0], rotation.rz(150 * deg), at_yaw(90)[0]])
    theta = inverse_kinematics(HIDE, R, unreachable="nan")
    look = path_singularity(HIDE, R, theta, lines=[12, 13, 14])
    assert np.isnan(look.V).tolist() == [False, True, False]
    assert str(look).startswith("V changes sign between lines 12 and 14: this path cannot be driven.")
    assert "In 1 of 3 samples a leg doesn't reach, and V is NaN there." in str(look)


def test_more_crossings_are_named_and_the_eleventh_is_counted():
    R, theta = (np.array([at_yaw(70 + 20 * (k % 2))[j] for k in range(13)]) for j in (0, 1))
    told = str(path_singularity(HIDE, R, theta)).splitlines()[0]
    assert "between samples 0 and 1: this path cannot be driven. The same at 11 more: V changes" in told
    assert told.endswith("between samples 10 and 11; …")
    assert (
        str(path_singularity(HIDE, R[:3], theta[:3]))
        .splitlines()[0]
        .endswith("The same at 1 more: V changes sign between samples 1 and 2.")
    )


@given(case=cases, how=views, turn=turns)
def test_it_is_the_same_however_the_joint_is_described(case, how, turn):
    ours, theirs = View(case), View(case, **how)
    R, theta = two_poses(case, turn)
    here = path_singularity(ours.m, R, theta)
    there = path_singularity(theirs.m, theirs.turned(R), theirs.hand * theta[:, theirs.order])
    np.testing.assert_allclose(there.V, np.linalg.det(np.eye(3)[theirs.order]) * here.V, rtol=0, atol=2e-11)
    assert there.crossings.tolist() == here.crossings.tolist()


def test_the_demo_log_keeps_the_sign_of_v():
    from test_log import DEMO

    log = read_log(DEMO, bad_rows="report")
    theta = inverse_kinematics(HIDE, log.orientations, unreachable="nan")
    look = path_singularity(HIDE, log.orientations, theta, lines=log.lines)
    assert not len(look.crossings)
    assert "The least |V| is 0.596, at line 424. In 21 of 598 samples" in str(look)
