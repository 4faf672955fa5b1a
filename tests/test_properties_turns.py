"""What must hold whatever the turn, the frames and the counting: properties of `rotation`, of `Convention` and what
finds one, and of `Mechanism` as a value."""

import copy
import pickle

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from common import wrapped
from drawn import (
    LAYOUTS,
    View,
    angles,
    axes,
    batch_is_loop,
    cases,
    close,
    conventions,
    few,
    layout_is_nothing,
    matrix,
    on_circle,
    orders,
    turns,
    vectors,
)
from legloop import (
    WORKING_MODES,
    Convention,
    Mechanism,
    align_axes,
    deg,
    fit_convention,
    inverse_kinematics,
    rotation,
    zero_from_elbows,
)
from legloop.lesson.cases import bird_hide, random_joints, reachable

ROUNDING = 1e-14
"""A product or two of unit numbers."""

quaternions = st.builds(lambda turn: Rotation.from_rotvec(turn).as_quat(), turns)
tilts = st.floats(0, 3.14)  # pi itself is more than pi in single precision
SEQUENCES = ("xyz", "ZYX", "zxz", "YXY")

FROM = {
    "rx": (rotation.rx, angles),
    "ry": (rotation.ry, angles),
    "rz": (rotation.rz, angles),
    **{f"from_euler {seq}": (lambda a, seq=seq: rotation.from_euler(seq, a), vectors) for seq in SEQUENCES},
    "from_rpy": (rotation.from_rpy, angles, angles, angles),
    "from_axis_angle": (rotation.from_axis_angle, axes, angles),
    "from_rotation_vector": (rotation.from_rotation_vector, turns),
    "from_quaternion": (rotation.from_quaternion, quaternions),
    "from_quaternion, w first": (lambda q: rotation.from_quaternion(q, scalar_first=True), quaternions),
    "from_tilt_torsion": (rotation.from_tilt_torsion, tilts, angles, angles),
}
TO = {
    **{f"to_euler {seq}": lambda R, seq=seq: on_circle(rotation.to_euler(seq, R)) for seq in SEQUENCES},
    "to_rpy": lambda R: on_circle(np.stack(rotation.to_rpy(R), axis=-1)),
    "to_axis_angle": lambda R: np.concatenate([p.reshape(*R.shape[:-2], -1) for p in rotation.to_axis_angle(R)], -1),
    "to_rotation_vector": rotation.to_rotation_vector,
    "to_quaternion": rotation.to_quaternion,
    "to_quaternion, w first": lambda R: rotation.to_quaternion(R, scalar_first=True),
    "to_tilt_torsion": lambda R: on_circle(np.stack(rotation.to_tilt_torsion(R), axis=-1)),
    "angle_between": lambda R: rotation.angle_between(R, rotation.rx(0.3)),
}


@pytest.mark.parametrize("name", FROM)
@given(data=st.data())
def test_turns_of_a_batch_and_of_any_layout(name, data):
    call, *kinds = FROM[name]
    arrays = [np.array(data.draw(st.tuples(kind, kind))) for kind in kinds]
    batch_is_loop(name, call, *arrays, atol=ROUNDING)
    layout_is_nothing(name, call, *arrays, atol=ROUNDING)
    R = call(*arrays)
    close(R @ np.swapaxes(R, -1, -2), np.broadcast_to(np.eye(3), R.shape), ROUNDING, name)
    assert (np.linalg.det(R) > 0).all()


@pytest.mark.parametrize("name", TO)
@given(two=st.tuples(turns, turns))
def test_names_of_a_batch_and_of_any_layout(name, two):
    R = matrix(np.array(two))
    batch_is_loop(name, TO[name], R, atol=ROUNDING)
    layout_is_nothing(name, lambda R: TO[name](np.asarray(R)), R, atol=ROUNDING)
    close(TO[name](R[0]), TO[name](R)[0], ROUNDING, name)


@given(turn=turns, other=turns)
def test_names_of_a_turn_come_back(turn, other):
    R = rotation.from_rotation_vector(turn)
    close(R, matrix(turn), ROUNDING, "SciPy")
    back = {
        "quaternion": rotation.from_quaternion(rotation.to_quaternion(R)),
        "w first": rotation.from_quaternion(rotation.to_quaternion(R, scalar_first=True), scalar_first=True),
        "rpy": rotation.from_rpy(*rotation.to_rpy(R)),
        "tilt": rotation.from_tilt_torsion(*rotation.to_tilt_torsion(R)),
        "axis": rotation.from_axis_angle(*rotation.to_axis_angle(R)),
        "vector": rotation.from_rotation_vector(rotation.to_rotation_vector(R)),
        **{seq: rotation.from_euler(seq, rotation.to_euler(seq, R)) for seq in SEQUENCES},
    }
    for name, again in back.items():
        close(again, R, ROUNDING, name)
    S = matrix(other)
    apart = (Rotation.from_matrix(R).inv() * Rotation.from_matrix(S)).magnitude()
    assert abs(rotation.angle_between(R, S) - apart) < 1e-12  # SciPy goes over the quaternion of the product


@given(turn=turns, frame=turns, height=angles)
def test_turns_in_another_frame_and_one_after_another(turn, frame, height):
    """From a frame that is turned by P, the turn R is P R P^T: its angle stays, its axis turns along."""
    R, P = matrix(turn), matrix(frame)
    seen = rotation.from_rotation_vector(P @ rotation.to_rotation_vector(R))
    close(seen, P @ R @ P.T, ROUNDING, "the vector turns along")
    assert abs(rotation.angle_between(P, P @ R) - rotation.angle_between(np.eye(3), R)) < ROUNDING
    assert abs(rotation.angle_between(R, P) - rotation.angle_between(P, R)) < ROUNDING
    close(rotation.from_rotation_vector(-np.array(turn)), R.T, ROUNDING, "the opposite turn")
    tilt, azimuth, torsion = rotation.to_tilt_torsion(R)
    assume(np.sin(tilt) > 1e-3)  # where the tilt has a direction
    higher = rotation.to_tilt_torsion(rotation.rz(height) @ R @ rotation.rz(-height))
    close(on_circle(np.array(higher)), on_circle(np.array([tilt, azimuth + height, torsion])), 1e-11, "azimuth")
    for about in (rotation.rx, rotation.ry, rotation.rz):
        close(about(height) @ about(torsion), about(height + torsion), ROUNDING, about.__name__)


# --- conventions --------------------------------------------------------------------------------------------

METHODS = ("orientation_to_theirs", "orientation_to_ours", "angles_to_theirs", "angles_to_ours")


def values(name: str, turn: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Two orientations, or the motor angles of two poses, as `name` takes them."""
    two = np.stack([turn, other])
    return matrix(two) if name.startswith("orientation") else two


@pytest.mark.parametrize("name", METHODS)
@given(given=conventions, turn=turns, other=turns)
def test_a_convention_maps_batches_and_any_layout(name, given, turn, other):
    kept = pickle.dumps(given)
    batch_is_loop(name, getattr(given, name), values(name, turn, other), atol=ROUNDING)
    layout_is_nothing(name, getattr(given, name), values(name, turn, other), atol=ROUNDING)
    assert pickle.dumps(given) == kept


@given(first=conventions, then=conventions, last=conventions, turn=turns, other=turns)
def test_conventions_are_a_group(first, then, last, turn, other):
    x, y = values("orientation", turn, other), values("angles", turn, other)

    def there(given, pair):
        return given.orientation_to_theirs(pair[0]), given.angles_to_theirs(pair[1])

    def back(given, pair):
        return given.orientation_to_ours(pair[0]), given.angles_to_ours(pair[1])

    def equal(found, wanted):
        close(found[0], wanted[0], ROUNDING, "orientations")
        turned = wrapped(found[1] - wanted[1])  # `then` brings a far zero back by whole turns
        assert np.abs(turned).max() < 1e-13  # sums of up to 20 rad

    equal(back(first, there(first, (x, y))), (x, y))
    equal(there(first, back(first, (x, y))), (x, y))
    equal(there(first.inverse(), (x, y)), back(first, (x, y)))
    equal(there(first.then(then), (x, y)), there(then, there(first, (x, y))))
    equal(there(first.then(then).then(last), (x, y)), there(first.then(then.then(last)), (x, y)))
    equal(there(first.then(first.inverse()), (x, y)), (x, y))


@given(case=cases, base=turns, platform=turns, order=orders)
def test_a_convention_says_what_another_description_of_the_joint_says(case, base, platform, order):
    theirs = View(case, base=base, platform=platform, order=order)
    given = Convention(matrix(base), matrix(platform), order)
    close(given.orientation_to_theirs(case.R), theirs.R, ROUNDING, "R")
    close(given.angles_to_theirs(case.theta), theirs.theta, 0, "theta")
    found = inverse_kinematics(theirs.m, given.orientation_to_theirs(case.R), theirs.mode)
    assert np.abs(wrapped(given.angles_to_ours(found) - case.theta)).max() < 1e-12  # |n . u| > 0.05 divides rounding
    elbows = theirs.m.elbow_axes(given.angles_to_theirs(case.theta))
    zero = zero_from_elbows(case.m, matrix(base), elbows, order)
    assert np.abs(wrapped(zero - case.theta[order])).max() < 1e-14 / np.sin(case.m.proximal).min()
    layout_is_nothing(
        "zero_from_elbows",
        lambda Q, w: on_circle(zero_from_elbows(case.m, Q, w, order)),
        matrix(base),
        elbows,
        atol=1e-13,
    )


# --- what finds a convention --------------------------------------------------------------------------------


@given(first=axes, second=axes, third=axes, turn=turns, order=orders, frame=turns)
def test_the_rotation_between_axes_does_not_depend_on_their_order_or_the_frame(
    first, second, third, turn, order, frame
):
    ours, Q, P = np.array([first, second, third]), matrix(turn), matrix(frame)
    spread = np.linalg.svd(ours, compute_uv=False)[1]
    assume(spread > 0.1)  # or a turn about the one line that they lie on stays free
    theirs = ours @ Q.T
    atol = 1e-14 / spread**2
    close(align_axes(ours, theirs), Q, atol, "Q")
    close(align_axes(ours[order], theirs[order]), Q, atol, "in another order")
    close(align_axes(theirs, ours), Q.T, atol, "the way back")
    close(align_axes(ours @ P.T, theirs), Q @ P.T, atol, "from another frame")
    layout_is_nothing("align_axes", align_axes, ours, theirs, atol=atol)


FITTED = [bird_hide(), *random_joints(2, seed=77)]


@few(2)
@given(which=st.integers(0, 2), given=conventions, order=st.permutations(range(9)), after=conventions)
def test_a_fit_depends_neither_on_the_order_of_the_pairs_nor_on_the_frames(which, given, order, after):
    m = FITTED[which]
    R = reachable(m, 9, seed=5)
    theta = inverse_kinematics(m, R, WORKING_MODES[:1])
    fits = {}
    for name, how in (("plain", given), ("shuffled", given), ("seen by others", given.then(after))):
        rows = order if name == "shuffled" else slice(None)
        fits[name] = fit_convention(m, how.orientation_to_theirs(R)[rows], how.angles_to_theirs(theta)[rows])
    everyone = {name: [fit, *fit.ambiguous] for name, fit in fits.items()}
    same_maps(everyone["shuffled"], everyone["plain"])
    same_maps(everyone["seen by others"], [fit.then(after) for fit in everyone["plain"]])
    assert any(is_same(fit, given) for fit in everyone["plain"])


def is_same(found: Convention, wanted: Convention) -> bool:
    """Equal maps, but for whole turns of the motors and what is left of a fit to exact pairs."""
    return (
        (found.leg_order, found.sense) == (wanted.leg_order, wanted.sense)
        and np.abs(found.base - wanted.base).max() < 1e-7
        and np.abs(found.platform - wanted.platform).max() < 1e-7
        and np.abs(wrapped(found.zero - wanted.zero)).max() < 1e-7
    )


def same_maps(found: list[Convention], wanted: list[Convention]) -> None:
    assert len(found) == len(wanted)
    for one in wanted:
        assert sum(is_same(other, one) for other in found) == 1


@few(1)
@given(given=conventions)
def test_pairs_of_any_layout_give_one_fit(given):
    m = FITTED[1]
    R = reachable(m, 9, seed=6)
    theirs, theta = given.orientation_to_theirs(R), given.angles_to_theirs(inverse_kinematics(m, R))
    plain = fit_convention(m, theirs, theta)
    for told in ("strided", "list"):
        assert is_same(fit_convention(m, LAYOUTS[told](theirs), LAYOUTS[told](theta)), plain)


# --- the joint as a value -----------------------------------------------------------------------------------


@given(case=cases)
def test_a_joint_is_what_it_was_given_in_any_layout_and_keeps_none_of_it(case):
    m = case.m
    arrays = [np.array(part) for part in (m.base_frames, m.platform_axes, m.proximal, m.distal)]
    for change in LAYOUTS.values():
        handed = [change(array) for array in arrays]
        made = Mechanism(*handed)
        assert made == m
        assert hash(made) == hash(m)
        for array in handed:
            if isinstance(array, np.ndarray) and array.flags.writeable:
                array[...] = 0
        assert made == m
    assert copy.deepcopy(m) == m
    assert pickle.loads(pickle.dumps(m)) == m


@given(azimuth=st.floats(-2, 2), twist=st.floats(-1, 1))
def test_a_symmetric_joint_turned_about_z_has_its_legs_elsewhere(azimuth, twist):
    sizes = {"proximal": 60 * deg, "distal": 75 * deg, "base_cone": 45 * deg, "platform_cone": 50 * deg}
    sizes |= {"twist": twist}
    m = Mechanism.symmetric(**sizes)
    turned = Mechanism.symmetric(**sizes, azimuths=azimuth + np.array([0, 120, 240]) * deg)
    close(turned.base_frames, rotation.rz(azimuth) @ m.base_frames, ROUNDING, "base")
    close(turned.platform_axes, m.platform_axes @ rotation.rz(azimuth).T, ROUNDING, "platform")
    for call in (m.home_angles, turned.home_angles):
        batch_is_loop("home_angles", lambda mode, call=call: on_circle(call(mode)), WORKING_MODES, atol=ROUNDING)
        layout_is_nothing("home_angles", call, WORKING_MODES.astype(float), atol=ROUNDING)
    close(turned.home_angles(WORKING_MODES), m.home_angles(WORKING_MODES), 1e-13, "home")
