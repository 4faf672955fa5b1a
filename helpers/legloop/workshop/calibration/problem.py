"""The closures of measured poses as a least-squares problem: errors, exact slopes, steps, and what each is worth.

Measured are orientations and motor angles, in the frames and zeros of the machine. With the unknowns put in,

    R = base^T Rz(-drift t) R_measured platform,    w = B (sin a1 cos(theta + zero), sin a1 sin(..), cos a1)
    e = w . R v - cos(a2)

should be zero for every pose and leg. A small error omega of the sensor and d of the motors make it
``e = N omega + diag(n . u) d`` (signs aside) with the normals ``n = w x R v`` as rows of N. So the three closures of
a pose scatter together with the covariance ``N N^T + ratio^2 diag((n . u)^2)``, in units of the sensor's own error:
`whiteners` gives what makes them independent and equally sharp. Where motors are exact, the whitened length is that
of ``N^-1 e``: to first order the turn between the measured orientation and the one that the model predicts.

Angles here are in the order of our legs. The functions take checked arrays; b counts starts, n poses.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ... import closing, rotation
from ..._check import Floats
from ...convention.least_squares import State
from ...convention.one_leg import cross, local_elbow
from ...mechanism import Mechanism

__all__ = ["CORE", "GROUPS", "Closures", "Data", "Unknowns", "columns_of", "model_poses", "state_of", "tangents"]

GROUPS = {
    "base": 3,
    "platform": 3,
    "zero": 3,
    "drift": 1,
    "proximal": 3,
    "distal": 3,
    "base_axes": 6,
    "platform_axes": 6,
}
"""Every group of unknowns, and how many directions to move in it has. All are angles in radians."""

CORE = ("base", "platform", "zero", "drift")
"""The groups that say how the machine counts; the others say how it was built."""

_FLAT = 1e-6
"""The least standard error of a closure, in sensor errors, so that none counts infinitely where no noise moves it."""


class Data(NamedTuple):
    """Measured orientations (n, 3, 3), motor angles (b, n, 3) of our legs, and times (n,), one session long."""

    R: Floats
    theta: Floats
    time: Floats

    def take(self, which: NDArray[np.bool_]) -> Data:
        """Some of the poses."""
        return Data(self.R[which], self.theta[:, which], self.time[which])


class Unknowns(NamedTuple):
    """The state of b starts: frames (b, 3, 3), zeros (b, 3), drift per session (b,), then the joint itself."""

    base: Floats
    platform: Floats
    zero: Floats
    drift: Floats
    proximal: Floats
    distal: Floats
    frames: Floats
    v: Floats


def state_of(m: Mechanism, base: Floats, platform: Floats, zero: Floats) -> Unknowns:
    """The joint as drawn, b times, with frames (b, 3, 3) and zeros (b, 3)."""
    count = len(zero)
    arrays = (m.proximal, m.distal, m.base_frames, m.platform_axes)
    return Unknowns(
        base, platform, zero, np.zeros(count), *(np.repeat(array[None], count, axis=0) for array in arrays)
    )


def columns_of(groups: tuple[str, ...]) -> dict[str, slice]:
    """Where each group stands among the directions of a problem that has these groups free."""
    found, first = {}, 0
    for name in groups:
        found[name] = slice(first, first + GROUPS[name])
        first += GROUPS[name]
    return found


def tangents(v: Floats) -> Floats:
    """Two unit axes, (..., 2, 3), across a platform axis v: a turn about the first leads away from +z.

    A turn about the second leads to the side.
    """
    z = np.where(np.abs(v[..., 2:]) > 1 - 1e-9, np.array([1.0, 0.0, 0.0]), np.array([0.0, 0.0, 1.0]))
    first = cross(z, v)
    first = first / np.linalg.norm(first, axis=-1, keepdims=True)
    return np.stack([first, cross(v, first)], axis=-2)


class Closures:
    """The problem for `minimise`: closures of all poses and legs, whitened, along chosen directions.

    A frame moves by a turn about our x, y, z; a motor axis about x and y of its leg, a platform axis about its own
    `tangents`.
    `directions` (p, q) are combinations of the p directions of the groups; None for those themselves.
    `whiten` (b, n, 3, 3) multiplies the three closures of each pose; None leaves them as they are.
    """

    def __init__(
        self,
        data: Data,
        groups: tuple[str, ...],
        *,
        directions: Floats | None = None,
        whiten: Floats | None = None,
    ) -> None:
        self.data, self.groups = data, groups
        self.columns = columns_of(groups)
        self.size = sum(GROUPS[name] for name in groups)
        self.directions, self.whiten = directions, whiten

    def errors(self, state: State) -> Floats:
        """Whitened closures, (b, 3 n)."""
        s = Unknowns(*state)
        _, w, p = self._axes(s)
        error = (w * p).sum(-1) - np.cos(s.distal)[:, None]
        if self.whiten is not None:
            error = (self.whiten @ error[..., None])[..., 0]
        return np.asarray(error.reshape(len(error), -1))

    def slopes(self, state: State) -> Floats:
        """Their slopes, (b, q, 3 n)."""
        s = Unknowns(*state)
        R, w, p = self._axes(s)
        n = cross(w, p)
        slopes = np.zeros((*n.shape[:3], self.size))
        legs = np.arange(3)
        for name, at in self.columns.items():
            first = at.start
            if name == "base":
                slopes[..., at] = n
            elif name == "platform":
                slopes[..., at] = cross(s.v[:, None], w @ R)
            elif name == "zero":
                slopes[..., legs, first + legs] = (s.frames[:, None, ..., 2] * n).sum(-1)
            elif name == "drift":
                slopes[..., first] = self.data.time[:, None] * (n @ s.base[:, None, 2, :, None])[..., 0]
            elif name == "proximal":
                grown = local_elbow(self.data.theta + s.zero[:, None], s.proximal[:, None] + np.pi / 2)
                slopes[..., legs, first + legs] = ((s.frames[:, None] @ grown[..., None])[..., 0] * p).sum(-1)
            elif name == "distal":
                slopes[..., legs, first + legs] = np.sin(s.distal)[:, None]
            else:  # two axes across u, or across v, for each leg
                own = name == "base_axes"
                turned = n if own else cross(s.v[:, None], w @ R)
                axes = np.swapaxes(s.frames, 2, 3)[:, None, :, :2] if own else tangents(s.v)[:, None]
                for k in (0, 1):
                    slopes[..., legs, first + 2 * legs + k] = (axes[..., k, :] * turned).sum(-1)
        if self.whiten is not None:
            slopes = self.whiten @ slopes
        slopes = slopes.reshape(len(n), -1, self.size)
        if self.directions is not None:
            slopes = slopes @ self.directions
        return np.swapaxes(slopes, 1, 2)

    def move(self, state: State, step: Floats) -> State:
        """The state after a step (b, q) along the directions."""
        s = Unknowns(*state)
        whole = step if self.directions is None else step @ self.directions.T
        for name, at in self.columns.items():
            part = whole[:, at]
            if name in ("base", "platform"):
                s = s._replace(**{name: getattr(s, name) @ rotation.from_rotation_vector(part, turns=True)})
            elif name == "drift":
                s = s._replace(drift=s.drift + part[:, 0])
            elif name == "base_axes":
                turn = np.concatenate([part.reshape(-1, 3, 2), np.zeros((len(part), 3, 1))], axis=2)
                s = s._replace(frames=s.frames @ rotation.from_rotation_vector(turn, turns=True))
            elif name == "platform_axes":
                turn = (part.reshape(-1, 3, 1, 2) @ tangents(s.v))[..., 0, :]
                s = s._replace(v=(rotation.from_rotation_vector(turn, turns=True) @ s.v[..., None])[..., 0])
            else:
                s = s._replace(**{name: getattr(s, name) + part})
        return tuple(s)

    def whiteners(self, state: State, ratio: float) -> Floats:
        """What makes the closures of each pose independent and as sharp as the sensor, (b, n, 3, 3).

        The inverse of the Cholesky factor of their covariance; `ratio` is the error of a motor over that of the
        sensor about one axis.
        """
        s = Unknowns(*state)
        _, w, p = self._axes(s)
        n = cross(w, p)
        along = (s.frames[:, None, ..., 2] * n).sum(-1)
        covariance = n @ np.swapaxes(n, 2, 3)
        legs = np.arange(3)
        covariance[..., legs, legs] += (ratio * along) ** 2 + _FLAT**2
        return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))

    def orientations(self, state: State) -> Floats:
        """The measured orientations in our frames, (b, n, 3, 3)."""
        return self._axes(Unknowns(*state))[0]

    def _axes(self, s: Unknowns) -> tuple[Floats, Floats, Floats]:
        """Orientations in our frames, elbow axes and platform axes in our base frame, (b, n, 3, 3) each."""
        still = rotation.rz(-s.drift[:, None] * self.data.time, turns=True)
        R = np.swapaxes(s.base, 1, 2)[:, None] @ still @ self.data.R @ s.platform[:, None]
        local = local_elbow(self.data.theta + s.zero[:, None], s.proximal[:, None])
        return R, (s.frames[:, None] @ local[..., None])[..., 0], s.v[:, None] @ np.swapaxes(R, 2, 3)


def model_poses(state: State, data: Data) -> Data:
    """The data of one start with each orientation put where the model closes it, which takes the sensor's noise away.

    A pose at which the motors ask for the impossible keeps the measured orientation.
    """
    s = Unknowns(*state)
    m = Mechanism(s.frames[0], s.v[0] / np.linalg.norm(s.v[0], axis=1, keepdims=True), s.proximal[0], s.distal[0])
    measured = Closures(data, ()).orientations(state)[0]
    w = closing.elbows(m, (data.theta[0] + s.zero[0]).T)
    R, done = closing.closed(m, w, closing.to_columns(measured))
    R = np.where(done[:, None, None], closing.from_columns(R), measured)
    turned = rotation.rz(s.drift[0] * data.time, turns=True)
    return data._replace(R=turned @ s.base[0] @ R @ s.platform[0].T)
