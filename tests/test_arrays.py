"""Odd and large arrays: axes of length 0, views that repeat themselves, whole numbers, 0-d, masks, millions of poses.

Layout in memory, byte order and precision of ordinary batches: `layout_is_nothing` in the files of properties.
"""

import tracemalloc
from collections.abc import Callable
from functools import partial
from typing import Any, NamedTuple

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from common import FULL
from legloop import (
    Convention,
    Links,
    assembly_modes,
    clearance,
    closure_error,
    deg,
    dexterity,
    forward_kinematics,
    inverse_jacobian,
    inverse_kinematics,
    jacobian,
    payload_moment,
    reach_margin,
    rotation,
    singularity,
    static_torque,
    working_mode,
)
from legloop.lesson.cases import bird_hide

HIDE = bird_hide()
HOME = HIDE.home_angles()
BARS = Links(radius=[0.06, 0.075], half_width=[0.005, 0.004], thickness=[0.008, 0.006])
MINE = Convention(rotation.rz(0.3), rotation.rx(0.2), (1, 2, 0), (1, -1, 1), (0.1, 0.2, 0.3))


class Batch(NamedTuple):
    """A function of arrays that broadcast: an example of each without its batch axes, the shapes of the results."""

    of: Callable[..., Any]
    arguments: tuple[Any, ...]
    results: tuple[tuple[int, ...], ...]


I3, ANGLE, AXIS = np.eye(3), np.array(0.3), np.array([0.0, 0.6, 0.8])
MODE, LOAD, ARM = np.array([1, 1, 1]), np.array([0.1, -0.2, 0.3]), np.array([0.0, 0.01, 0.05])
TURN = rotation.from_rpy(0.1, 0.2, 0.3)


def of_pose(function, *results):
    return Batch(partial(function, HIDE), (I3, HOME), results)


BATCHES = {
    "inverse_kinematics": Batch(
        lambda R, mode, near: inverse_kinematics(HIDE, R, mode, near=near), (I3, MODE, HOME), ((3,),)
    ),
    "forward_kinematics": Batch(
        lambda theta, near, mode: forward_kinematics(HIDE, theta, near=near, mode=mode), (HOME, I3, MODE), ((3, 3),)
    ),
    "assembly_modes": Batch(partial(assembly_modes, HIDE, multiplicities=True), (HOME,), ((8, 3, 3), (8,))),
    "closure_error": of_pose(closure_error, (3,)),
    "working_mode": of_pose(working_mode, (3,)),
    "reach_margin": Batch(partial(reach_margin, HIDE), (I3,), ((3,),)),
    "jacobian": of_pose(jacobian, (3, 3)),
    "inverse_jacobian": of_pose(inverse_jacobian, (3, 3)),
    "dexterity": of_pose(dexterity, ()),
    "singularity": of_pose(singularity, (), (3,), (3,), (), ()),
    "static_torque": Batch(
        lambda R, theta, load: static_torque(HIDE, R, theta, load=load), (I3, HOME, LOAD), ((3,),)
    ),
    "payload_moment": Batch(
        lambda mass, offset, R, up: payload_moment(mass, offset, R, up=up), (np.array(0.9), ARM, I3, AXIS), ((3,),)
    ),
    "clearance": Batch(lambda R, theta: clearance(HIDE, R, theta, BARS), (I3, HOME), ((), (6, 6), (6,))),
    "elbow_axes": Batch(HIDE.elbow_axes, (HOME,), ((3, 3),)),
    "platform_axes_at": Batch(HIDE.platform_axes_at, (I3,), ((3, 3),)),
    "leg_equation": Batch(HIDE.leg_equation, (I3,), ((3,), (3,), (3,))),
    "home_angles": Batch(HIDE.home_angles, (MODE,), ((3,),)),
    "angles_to_ours": Batch(MINE.angles_to_ours, (HOME,), ((3,),)),
    "angles_to_theirs": Batch(MINE.angles_to_theirs, (HOME,), ((3,),)),
    "orientation_to_ours": Batch(MINE.orientation_to_ours, (I3,), ((3, 3),)),
    "orientation_to_theirs": Batch(MINE.orientation_to_theirs, (I3,), ((3, 3),)),
    **{name: Batch(getattr(rotation, name), (ANGLE,), ((3, 3),)) for name in ("rx", "ry", "rz")},
    "from_euler": Batch(partial(rotation.from_euler, "ZYX"), (LOAD,), ((3, 3),)),
    "to_euler": Batch(partial(rotation.to_euler, "zxz"), (TURN,), ((3,),)),
    "from_rpy": Batch(rotation.from_rpy, (ANGLE, ANGLE, ANGLE), ((3, 3),)),
    "to_rpy": Batch(rotation.to_rpy, (TURN,), ((), (), ())),
    "from_axis_angle": Batch(rotation.from_axis_angle, (AXIS, ANGLE), ((3, 3),)),
    "to_axis_angle": Batch(rotation.to_axis_angle, (TURN,), ((3,), ())),
    "from_rotation_vector": Batch(rotation.from_rotation_vector, (LOAD,), ((3, 3),)),
    "to_rotation_vector": Batch(rotation.to_rotation_vector, (TURN,), ((3,),)),
    "from_quaternion": Batch(rotation.from_quaternion, (np.array([0, 0.6, 0, 0.8]),), ((3, 3),)),
    "to_quaternion": Batch(rotation.to_quaternion, (TURN,), ((4,),)),
    "from_tilt_torsion": Batch(rotation.from_tilt_torsion, (ANGLE, ANGLE, ANGLE), ((3, 3),)),
    "to_tilt_torsion": Batch(rotation.to_tilt_torsion, (TURN,), ((), (), ())),
    "angle_between": Batch(rotation.angle_between, (I3, TURN), ((),)),
}


def parts(result: Any) -> tuple[np.ndarray, ...]:
    return tuple(map(np.asarray, result)) if isinstance(result, tuple) else (np.asarray(result),)


def view(array: np.ndarray, batch: tuple[int, ...]) -> np.ndarray:
    """So many of it without a copy: strides of 0, read-only."""
    array = np.asarray(array)
    return np.broadcast_to(array, batch + array.shape)


@pytest.mark.parametrize("batch", [(0,), (0, 5), (5, 0), (2, 0, 3)], ids=str)
@pytest.mark.parametrize("name", BATCHES)
def test_axes_of_length_0_come_back(name, batch):
    about = BATCHES[name]
    one = parts(about.of(*(view(a, (1,)) for a in about.arguments)))
    none = parts(about.of(*(view(a, batch) for a in about.arguments)))
    assert [part.shape for part in none] == [batch + core for core in about.results]
    assert [part.dtype for part in none] == [part.dtype for part in one]


@pytest.mark.parametrize("name", [name for name, about in BATCHES.items() if len(about.arguments) > 1])
def test_an_empty_batch_broadcasts_against_others(name):
    first, *rest = BATCHES[name].arguments
    found = parts(BATCHES[name].of(view(first, (0, 1)), *(view(a, (5,)) for a in rest)))
    assert [part.shape for part in found] == [(0, 5, *core) for core in BATCHES[name].results]
    mixed = parts(BATCHES[name].of(first, *(view(a, (5, 0)) for a in rest)))
    assert [part.shape for part in mixed] == [(5, 0, *core) for core in BATCHES[name].results]


@pytest.mark.parametrize("name", BATCHES)
def test_a_view_that_repeats_itself_and_many_axes(name):
    about = BATCHES[name]
    one = parts(about.of(*(view(a, (1,)) for a in about.arguments)))
    batch = (2, 1, 3, 1, 2)
    many = parts(about.of(*(view(a, batch) for a in about.arguments)))
    for core, single, all_ in zip(about.results, one, many, strict=True):
        assert all_.shape == batch + core
        # the same operations; sums of products may be taken in another order
        assert_allclose(all_, np.broadcast_to(single.reshape(core), batch + core), rtol=0, atol=1e-14)


def test_whole_numbers_are_numbers():
    I3_whole, ten = np.eye(3, dtype=np.int8), np.array([1, -1, 1], dtype=np.int16)
    assert_array_equal(reach_margin(HIDE, I3_whole), reach_margin(HIDE, np.eye(3)))
    assert_array_equal(inverse_kinematics(HIDE, I3_whole, ten), inverse_kinematics(HIDE, np.eye(3), (1, -1, 1)))
    assert_array_equal(
        inverse_kinematics(HIDE, np.eye(3), np.ones(3, dtype=np.uint8)), inverse_kinematics(HIDE, np.eye(3))
    )
    assert_array_equal(
        inverse_kinematics(HIDE, np.eye(3), ten.astype(float)), inverse_kinematics(HIDE, np.eye(3), (1, -1, 1))
    )
    assert_array_equal(HIDE.elbow_axes(np.array([0, 1, 2])), HIDE.elbow_axes([0.0, 1.0, 2.0]))
    assert_array_equal(closure_error(HIDE, I3_whole, [0, 1, 2]), closure_error(HIDE, np.eye(3), [0.0, 1.0, 2.0]))
    assert_array_equal(MINE.angles_to_ours(np.array([0, 1, 2])), MINE.angles_to_ours([0.0, 1.0, 2.0]))
    assert_array_equal(rotation.rx(np.uint8(1)), rotation.rx(1.0))
    assert_array_equal(rotation.from_quaternion(np.array([0, 0, 1, 0])), np.diag([-1.0, -1, 1]))
    assert_array_equal(
        payload_moment(np.int64(2), ARM, I3_whole, up=(0, 0, 1)),
        payload_moment(2.0, ARM, np.eye(3), up=(0.0, 0.0, 1.0)),
    )


@pytest.mark.parametrize("name", ["rx", "ry", "rz", "from_rpy", "from_tilt_torsion", "payload_moment"])
def test_0_d_arrays_and_numpy_scalars_are_numbers(name):
    arguments = BATCHES[name].arguments
    wanted = BATCHES[name].of(*(a.tolist() for a in arguments))
    for given in (arguments, [a[()] for a in arguments]):
        assert_array_equal(BATCHES[name].of(*given), wanted)


@pytest.mark.parametrize("name", BATCHES)
def test_masked_entries_are_no_numbers(name):
    """Without their mask they would be taken for what happens to lie under it."""
    about = BATCHES[name]
    for i, argument in enumerate(about.arguments):
        masked = np.ma.masked_array(argument, mask=np.zeros(argument.shape, dtype=bool))
        given = list(about.arguments)
        given[i] = masked
        parts(about.of(*given))  # nothing is masked
        masked[(0,) * argument.ndim] = np.ma.masked
        with pytest.raises(ValueError, match="masked entries"):
            about.of(*given)


# --- large ones ---------------------------------------------------------------------------------------------


class Peak(NamedTuple):
    """What a call took of memory beyond its arguments and its result, in bytes; and its result."""

    extra: int
    result: np.ndarray


def peak(function, *arrays) -> Peak:
    tracemalloc.start()
    try:
        before = tracemalloc.get_traced_memory()[0]
        result = function(*arrays)
        return Peak(tracemalloc.get_traced_memory()[1] - before - result.nbytes, result)
    finally:
        tracemalloc.stop()


@pytest.fixture(scope="module")
def thousand():
    """Poses well inside, and their motor angles."""
    angle = np.arange(1000)
    R = rotation.from_tilt_torsion(20 * deg * angle / 1000, 2.4 * angle, 0.2 * np.sin(angle), turns=True)
    return R, inverse_kinematics(HIDE, R)


# bytes of workspace for each pose, as measured and rounded up; None: the docstring promises that there is none
WORKSPACE = {
    "inverse_kinematics": (lambda R, _: inverse_kinematics(HIDE, R), None),
    "reach_margin": (lambda R, _: reach_margin(HIDE, R), 260),
    "closure_error": (lambda R, theta: closure_error(HIDE, R, theta), 220),
    "jacobian": (lambda R, theta: jacobian(HIDE, R, theta), 660),
    "forward_kinematics": (lambda R, theta: forward_kinematics(HIDE, theta + 1e-3, near=R), 420),
}


@pytest.mark.parametrize("name", WORKSPACE)
def test_millions_of_poses(name, thousand):
    """In full 10^7, which takes 8 GB; every result is that of the thousand poses over and over."""
    call, each = WORKSPACE[name]
    many = 10**7 if FULL else 200_000
    R, theta = (np.tile(a, (many // 1000, *(1,) * (a.ndim - 1))) for a in thousand)
    few = many // 10
    small, large = peak(call, R[:few], theta[:few]).extra, peak(call, R, theta)
    if each is None:
        assert large.extra < small + 100_000  # beside ten times as much output, which is many megabytes
    else:
        assert large.extra < 11 * small  # in proportion to the poses, and no faster
        assert large.extra < each * many
    wanted = call(*thousand)
    for start in (0, few, many - 1000):  # products may be summed in another order where the array is larger
        assert_allclose(large.result[start : start + 1000], wanted, rtol=0, atol=1e-11)
    assert large.result.shape == (many, *wanted.shape[1:])
