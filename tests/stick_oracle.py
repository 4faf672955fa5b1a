"""A joystick looked at from outside: wild sticks, and where the platform really goes between two ticks.

Nothing here is the package's but the joint's numbers and `jog` itself. The motors are moved along their path in very
fine steps; at each the orientation is found from the last one by Newton's method on the three closures.
"""

from typing import NamedTuple

import numpy as np

from legloop import Mechanism, deg, inverse_kinematics
from legloop.lesson.cases import named_joints, reachable
from legloop.workshop.drive import BeltDrive
from legloop.workshop.motion import MotionLimits, jog
from legloop.workshop.units import mm

DRIVE = BeltDrive(20, 60, pitch=2 * mm, centre_distance=60 * mm)
ODD = Mechanism.symmetric(
    proximal=70 * deg,
    distal=85 * deg,
    base_cone=38 * deg,
    platform_cone=62 * deg,
    azimuths=(0, 125 * deg, 238 * deg),
    twist=8 * deg,
)


class Tick(NamedTuple):
    """What one call was given and gave: of the motors before and after, and the orientation before and after."""

    before: tuple[np.ndarray, np.ndarray, np.ndarray]
    after: tuple[np.ndarray, np.ndarray, np.ndarray]


class Worst(NamedTuple):
    """The worst of many ticks and the stops after them, each (n,); what is positive is kept."""

    turned: np.ndarray
    """Least of ``s (u x w) . R v`` over the legs, s its sign at the start: below 0 where a leg flips."""
    volume: np.ndarray
    """Least of V over its sign at the start."""
    margin: np.ndarray
    """Least reach margin, less `edge`."""
    even: np.ndarray
    """Least evenness over its limit, less 1; inf where the limit is 0."""
    travel: np.ndarray
    speed: np.ndarray
    """Largest change of speed over what is allowed, less 1, negative; the same of speed."""
    meets: np.ndarray
    """How far the orientation that jog gives is from the one found here, negative."""


def rest_of(velocity, acceleration, dt):
    """How far the motors go in a stop, one tick after the other: the speeds fall in proportion."""
    way, now = np.zeros(3), velocity
    for _ in range(100_000):
        share = (np.abs(now) / (acceleration * dt)).max()
        if share == 0:
            break
        then = now * (1 - 1 / share) if share > 1 else 0 * now
        way, now = way + (now + then) / 2 * dt, then
    return way


def _turned(R, omega):
    """exp(omega) R by Rodrigues' formula, (n, 3, 3)."""
    angle = np.sqrt((omega * omega).sum(axis=1))[:, None, None] + 1e-100
    x, y, z = omega.T
    o = 0 * x
    K = np.array([[o, -z, y], [z, o, -x], [-y, x, o]]).transpose(2, 0, 1)
    return R + np.sin(angle) / angle * (K @ R) + (1 - np.cos(angle)) / angle**2 * (K @ (K @ R))


class Loops:
    """Elbows, hinges and closures of a joint, from its numbers."""

    def __init__(self, m):
        self.B, self.v, self.a1, self.a2 = m.base_frames, m.platform_axes, m.proximal, m.distal
        self.u = self.B[:, :, 2]

    def axes(self, R, theta):
        s = np.sin(self.a1)
        local = np.stack([s * np.cos(theta), s * np.sin(theta), np.cos(self.a1) + 0 * theta], axis=-1)
        return np.einsum("lij,nlj->nli", self.B, local), np.einsum("nij,lj->nli", R, self.v)

    def onward(self, R, theta):
        for _ in range(3):
            w, p = self.axes(R, theta)
            miss = (w * p).sum(axis=2) - np.cos(self.a2)
            N = np.cross(w, p)
            dead = np.abs(np.linalg.det(N)) < 1e-13
            N[dead] = np.eye(3)
            R = _turned(R, np.linalg.solve(N, miss[..., None])[..., 0])
        return R

    def look(self, R, theta):
        w, p = self.axes(R, theta)
        N = np.cross(w, p)
        link = (N * self.u).sum(axis=2)
        span = np.arctan2(np.linalg.norm(np.cross(self.u, p), axis=2), (self.u * p).sum(axis=2))
        total = self.a1 + self.a2
        ends = span - np.abs(self.a1 - self.a2), np.minimum(total, 2 * np.pi - total) - span
        V = np.linalg.det(N)
        with np.errstate(all="ignore"):
            J = np.linalg.inv(np.where(np.abs(V)[:, None, None] > 1e-13, N, np.nan)) * link[:, None]
            K = N / link[..., None]
            even = np.nan_to_num(3 / np.sqrt((J**2).sum(axis=(1, 2)) * (K**2).sum(axis=(1, 2))))
        return link, V, np.minimum(*ends).min(axis=1), even


def worst(m, limits, dt, ticks, fine=24):
    """`Worst` of ticks of one joint and one set of limits; those that move fast are looked at in finer steps."""
    joint = Loops(m)
    R, theta, v = (np.array([t.before[k] for t in ticks]) for k in range(3))
    end, v1 = (np.array([t.after[k] for t in ticks]) for k in (0, 2))
    stop = np.array([rest_of(x, limits.acceleration, dt) for x in v1])
    found, step = _walked(joint, limits, dt, R, theta, v, v1, stop, end, fine)
    fast = np.flatnonzero(step > 0.05)
    if fast.size and fine < 10_000:
        pick = [ticks[k] for k in fast]
        for mine, finer in zip(found, worst(m, limits, dt, pick, 6 * fine), strict=True):
            mine[fast] = finer
    return found


def _walked(joint, limits, dt, R, theta, v, v1, stop, end, fine):
    link, V, margin, even = joint.look(R, theta)
    mode, hand = np.sign(link), np.sign(V)
    least = [np.full(len(R), np.inf) for _ in range(5)]
    low, high = np.asarray(limits.travel).T
    at, meets, step = R, np.zeros(len(R)), np.zeros(len(R))
    for k in range(2 * fine + 1):
        if k <= fine:
            t = k / fine * dt
            angles = theta + v * t + (v1 - v) * t * t / (2 * dt)
        else:
            angles = theta + (v + v1) / 2 * dt + (k - fine) / fine * stop
        last, at = at, joint.onward(at, angles)
        step = np.maximum(step, np.sqrt(((at - last) ** 2).sum(axis=(1, 2)) / 2))
        if k == fine:
            meets = -np.sqrt(((at - end) ** 2).sum(axis=(1, 2)) / 2)
        link, V, margin, even = joint.look(at, angles)
        rel = even / limits.evenness - 1 if limits.evenness else np.full(len(R), np.inf)
        within = np.minimum(angles - low, high - angles).min(axis=1)
        now = ((link * mode).min(axis=1), V * hand, margin - limits.edge, rel, within)
        least = [np.minimum(a, b) for a, b in zip(least, now, strict=True)]
    hard = (np.abs(v1 - v) / (limits.acceleration * dt)).max(axis=1) - 1
    fast = (np.abs(v1) / limits.speed).max(axis=1) - 1
    return Worst(*least, -np.maximum(hard, fast), meets), step


def sticks(rng, m, limits, dt, mode, count, start):
    """Ticks under a stick thrown about, reversed, and pushed at what is nearest; then let go until all is at rest."""
    state, ticks, stick, hold = start, [], np.zeros(3), 0
    more = {"mode": mode, "drive": DRIVE, "limits": limits, "axes": "base"}
    joint, scale = Loops(m), rng.choice([0.3, 1, 3, 8])
    left = 100_000
    for k in range(left):
        if k >= count:
            stick = np.zeros(3)
        elif hold == 0:
            hold, kind = int(rng.integers(1, 25)), rng.integers(5)
            if kind == 0 and np.any(stick):
                stick = -stick
            elif kind == 1 and k:  # towards the edge of a leg
                leg = rng.integers(3)
                axis = np.cross(joint.u[leg], state.R @ joint.v[leg])
                stick = rng.choice([-1, 1]) * 3 * scale * axis / np.linalg.norm(axis)
            elif kind == 2 and k:  # towards type 2
                stick = _to_flat(joint, state) * 3 * scale
            else:
                stick = rng.normal(size=3) * scale
            stick = np.clip(stick, -12, 12)
        hold = max(hold - 1, 0)
        rest = np.zeros(3)
        before = (start, None, rest) if state is start and k == 0 else (state.R, state.theta, state.velocity)
        state = jog(m, state, stick, dt, **more)
        if before[1] is None:
            before = (start, state.theta - state.velocity / 2 * dt, rest)
        ticks.append(Tick(before, (state.R, state.theta, state.velocity)))
        if k >= count and not state.velocity.any():
            return ticks
    raise AssertionError("the motors never came to rest")


def _to_flat(joint, state):
    """The rate along which |V| falls fastest, by differences, theta as the legs then want it to first order."""
    w, p = joint.axes(state.R[None], state.theta[None])
    N = np.cross(w, p)
    K = (N / (N * joint.u).sum(axis=2)[..., None])[0]
    V = np.linalg.det(N[0])
    slope = np.zeros(3)
    for i in range(3):
        omega = np.eye(3)[i] * 1e-5
        moved = joint.axes(_turned(state.R[None], omega[None]), (state.theta + K @ omega)[None])
        slope[i] = np.linalg.det(np.cross(*moved)[0]) - V
    return -np.sign(V) * slope / (np.linalg.norm(slope) + 1e-300)


def drawn_limits(rng, home):
    """Limits of all kinds, and a tick from 5 to 100 ms."""
    travel = None
    if rng.random() < 0.5:
        travel = np.stack([home - rng.uniform(0.2, 2, 3), home + rng.uniform(0.2, 2, 3)], axis=1)
    limits = MotionLimits(
        rng.uniform(0.5, 6, 3),
        np.exp(rng.uniform(np.log(3), np.log(60), 3)),
        tick=0.01,
        travel=travel,
        edge=rng.choice([1e-3, 0.5 * deg, 3 * deg]),
        evenness=rng.choice([0.0, 1e-3, 0.05, 0.2]),
    )
    return limits, float(np.exp(rng.uniform(np.log(5e-3), np.log(0.1))))


def random_run(seed, count=60):
    """`Worst` of a run drawn by that seed; and what was drawn, in words."""
    rng = np.random.default_rng(seed)
    name, m, mode = _JOINTS[rng.integers(len(_JOINTS))]
    mode = tuple(mode) if rng.random() < 0.7 else tuple(rng.choice([-1, 1], 3).tolist())
    limits, dt = drawn_limits(rng, m.home_angles(mode))
    ticks = []
    for start in (np.eye(3), *reachable(m, 40, seed % 1000)):
        theta = inverse_kinematics(m, start, mode)
        joint = Loops(m)
        _, V, margin, even = joint.look(start[None], theta[None])
        low, high = np.asarray(limits.travel).T
        near = theta + 2 * np.pi * np.rint((m.home_angles(mode) - theta) / (2 * np.pi))
        regular = even[0] > max(1.2 * limits.evenness, 0.01) and abs(V[0]) > 1e-3
        if regular and margin[0] > limits.edge + 0.01 and ((near > low) & (near < high)).all():
            ticks = sticks(rng, m, limits, dt, mode, count, start)
            break
    if not ticks:
        return random_run(seed + 1_000_000_000, count)
    return worst(m, limits, dt, ticks), f"{name}, mode {mode}, dt {dt:.4f}"


def broken(found):
    """Which ticks broke something, by more than roundings: rad, rad/s over what is allowed."""
    hard = (found.turned <= 0) | (found.volume <= 0) | (found.margin < -1e-9) | (found.travel < -1e-9)
    return hard | (found.even < -1e-7) | (found.speed < -1e-9) | (found.meets < -1e-8)


_JOINTS = [
    ("odd", ODD, (1, 1, -1)),
    ("odd", ODD, (1, 1, 1)),
    *((name, m, (1, 1, 1)) for name, m in named_joints().items() if name != "all arcs 90°"),
]
