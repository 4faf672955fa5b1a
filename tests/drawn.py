"""Joints and poses that Hypothesis draws, the same joint as others describe it, and what holds of any array argument.

The poses are made without the package: frames, platform axes, arcs of the first link, an orientation and motor angles
are drawn; the arc of each second link is then what the place of its two ends asks for.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from common import FULL
from legloop import Convention, Mechanism, forward_kinematics

settings.register_profile(
    "legloop",
    derandomize=True,  # the same examples everywhere
    deadline=None,  # no timed tests
    max_examples=200 if FULL else 12,
    suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow],
)
settings.load_profile("legloop")


def few(default: int) -> settings:
    """Fewer examples, for what takes long."""
    return settings(max_examples=10 * default if FULL else default)


angles = st.floats(-np.pi, np.pi)
vectors = st.tuples(*[st.floats(-1, 1)] * 3)
turns = st.builds(lambda vector: np.pi * np.array(vector), vectors)
"""Rotation vectors."""
axes = st.builds(
    lambda height, azimuth: (
        np.sqrt(1 - height**2) * np.cos(azimuth),
        np.sqrt(1 - height**2) * np.sin(azimuth),
        height,
    ),
    st.floats(-1, 1),
    angles,
)
orders = st.permutations(range(3))


def matrix(turn: np.ndarray) -> np.ndarray:
    return Rotation.from_rotvec(turn).as_matrix()


class Case:
    """A joint with a pose that closes."""

    def __init__(self, frames, v, first, turn, theta):
        B, v, self.R, self.theta = matrix(np.array(frames)), np.array(v), matrix(turn), np.array(theta)
        first = np.array(first)
        s, c = np.sin(first), np.cos(first)
        w = np.einsum("lij,lj->li", B, np.stack([s * np.cos(theta), s * np.sin(theta), c], axis=-1))
        p = v @ self.R.T
        second = np.arctan2(np.linalg.norm(np.cross(w, p), axis=1), (w * p).sum(axis=1))
        n = np.cross(w, p)
        link = np.einsum("li,li->l", n, B[:, :, 2])
        self.mode = np.where(link < 0, -1, 1)
        # away from the singularities of both types, where small changes stay small
        self.regular = bool(
            (np.abs(second - np.pi / 2) < np.pi / 2 - 0.05).all()
            and np.abs(link).min() > 0.05
            and abs(np.linalg.det(n)) > 0.05
        )
        self.m = Mechanism(B, v, first, second) if self.regular else None


cases = st.builds(
    Case,
    st.tuples(turns, turns, turns),
    st.tuples(axes, axes, axes),
    st.tuples(*[st.floats(0.3, 2.8)] * 3),
    turns,
    st.tuples(angles, angles, angles),
).filter(lambda case: case.regular)


conventions = st.builds(
    lambda base, platform, order, sense, zero: Convention(matrix(base), matrix(platform), order, sense, zero),
    turns,
    turns,
    orders,
    st.tuples(*[st.sampled_from([1, -1])] * 3),
    st.tuples(*[st.floats(-6, 6)] * 3),
)


def two_poses(case: Case, turn: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The pose, and one beside it on the same branch, with their motor angles."""
    theta = case.theta + 1e-3 * turn
    return np.stack([case.R, forward_kinematics(case.m, theta, near=case.R)]), np.stack([case.theta, theta])


class View:
    """A joint in a pose, as somebody describes it: from other frames, its legs in another order, or in a mirror.

    `base` and `platform` turn vectors of the base and of the platform into theirs; both reflect if `hand` is -1. Then
    theta is the negative, and so is the working mode. An axial vector, such as a rate or a moment, is turned by
    `axial`. `order` holds our numbers of their legs.
    """

    def __init__(self, case: Case, base=(0, 0, 0), platform=(0, 0, 0), order=(0, 1, 2), mirrored=False):
        self.hand = -1 if mirrored else 1
        mirror = np.diag([1.0, self.hand, 1.0])
        self.base, self.platform = matrix(np.array(base)) @ mirror, matrix(np.array(platform)) @ mirror
        self.axial, self.order = self.hand * self.base, list(order)
        self.m = Mechanism(
            (self.base @ case.m.base_frames @ mirror)[self.order],  # y is reflected back: right-handed again
            (case.m.platform_axes @ self.platform.T)[self.order],
            case.m.proximal[self.order],
            case.m.distal[self.order],
        )
        self.R = self.base @ case.R @ self.platform.T
        self.theta, self.mode = self.hand * case.theta[self.order], self.hand * case.mode[self.order]

    def turned(self, R: np.ndarray) -> np.ndarray:
        """Our orientations as theirs."""
        return self.base @ R @ self.platform.T


views = st.fixed_dictionaries(
    {"base": turns, "platform": turns, "order": orders, "mirrored": st.booleans()},
)


def on_circle(theta: np.ndarray) -> np.ndarray:
    """Angles as places on the unit circle, (..., 2): -180° and 180° are one."""
    return np.stack([np.cos(theta), np.sin(theta)], axis=-1)


def close(found: Any, wanted: Any, atol: float, told: str) -> None:
    np.testing.assert_allclose(found, wanted, rtol=0, atol=atol, err_msg=told)


def batch_is_loop(name: str, call: Callable[..., Any], *arrays: np.ndarray, atol: float) -> None:
    """A call with a batch gives, at each place, what it gives for that place, and so it does where batches broadcast.

    The arrays have one batch axis. `atol` is for sums that are added up in another order.
    """
    both = np.asarray(call(*arrays))
    square = np.asarray(call(*(array[:, None] for array in arrays)))
    for k in range(len(both)):
        alone = [array[k] for array in arrays]
        one = np.asarray(call(*alone))
        assert both.shape == (len(arrays[0]), *one.shape), f"{name}: shape {both.shape} of a batch of {one.shape}"
        close(both[k], one, atol, name)
        close(square[k, 0], one, atol, name)
        for i, array in enumerate(alone):  # each argument as a batch against single others
            mixed = np.asarray(call(*alone[:i], np.stack([array] * 2), *alone[i + 1 :]))
            wanted = np.broadcast_to(one, (2, *one.shape))  # which one is as well, if that argument is not used
            close(np.broadcast_to(mixed, wanted.shape), wanted, atol, f"{name}, argument {i} as a batch")


def layout_is_nothing(name: str, call: Callable[..., Any], *arrays: np.ndarray, atol: float) -> None:
    """Neither the layout in memory nor the byte order nor the precision of arguments matters; none is written to."""
    plain = np.asarray(call(*arrays))
    for told, change in LAYOUTS.items():
        given = [change(array) for array in arrays]
        before = [np.array(array) for array in given]
        close(call(*given), plain, atol, f"{name}, {told}")
        for array, kept in zip(given, before, strict=True):
            np.testing.assert_array_equal(array, kept, err_msg=f"{name} has written to its {told} argument")
    for kind in (np.float32, np.longdouble):  # other numbers, but then their values count
        other = [array.astype(kind) for array in arrays]
        close(call(*other), call(*(array.astype(np.float64) for array in other)), atol, f"{name}, {kind.__name__}")


def _frozen(array: np.ndarray) -> np.ndarray:
    array = array.copy()
    array.flags.writeable = False
    return array


def _every_other(array: np.ndarray) -> np.ndarray:
    wide = np.full([2 * size for size in array.shape], np.nan)
    every = tuple(slice(None, None, 2) for _ in array.shape)
    wide[every] = array
    return wide[every]


LAYOUTS: dict[str, Callable[[np.ndarray], Any]] = {
    "read-only": _frozen,
    "Fortran": lambda array: np.asfortranarray(array.copy()),
    "strided": _every_other,
    "reversed": lambda array: array[..., ::-1].copy()[..., ::-1],
    "list": lambda array: array.tolist(),
    "big-endian": lambda array: array.astype(">f8"),
}
