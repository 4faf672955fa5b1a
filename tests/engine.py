"""A joint as a general physics engine sees it: rigid bodies, hinges and points that are held together.

No formula of the package is in it: from a Mechanism it takes the numbers that describe a joint, and nothing more.
"""

from __future__ import annotations

import mujoco
import numpy as np
from scipy.spatial.transform import Rotation

from legloop import Mechanism

STEP = 1e-3  # s
ARM = 0.1  # m from the centre to the points that are held together


def assembled(m: Mechanism, R: np.ndarray, theta: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Axes u, w and R v of the three legs, each link laid out by its arc, as a fitter would.

    The bodies keep the arcs that they start with. So where R and theta do not close the engine would drive another
    joint, without a word: the arc that is left for each second link has to be its own.
    """
    x, _, u = np.moveaxis(m.base_frames, 2, 0)
    zero = np.sin(m.proximal)[:, None] * x + np.cos(m.proximal)[:, None] * u
    w, p = Rotation.from_rotvec(theta[:, None] * u).apply(zero), m.platform_axes @ R.T
    left = np.arctan2(np.linalg.norm(np.cross(w, p), axis=1), (w * p).sum(axis=1))
    # rounding, over the slope of the closure: sin(alpha_2), above 0.6 in these joints
    assert np.abs(left - m.distal).max() < 1e-13, f"second links of {left} rad, where {m.distal} were asked for"
    return u, w, p


class Engine:
    """Three legs of two hinged links, and a platform that nothing but their ends holds, assembled at R and theta.

    The motors are position servos of the stiffness `servo` in N·m/rad, numbered as the legs; with ``servo=None`` the
    legs hang loose.
    """

    def __init__(
        self,
        m: Mechanism,
        R: np.ndarray,
        theta: np.ndarray,
        *,
        servo: float | None = 20.0,
        payload=None,
        up=(0, 0, 1),
    ) -> None:
        u, w, p = assembled(m, R, theta)
        spec = mujoco.MjSpec()
        spec.option.timestep = STEP
        spec.option.gravity = [0, 0, 0] if payload is None else -9.80665 * np.asarray(up)
        spec.option.integrator = mujoco.mjtIntegrator.mjINT_IMPLICITFAST
        spec.option.iterations, spec.option.tolerance = 100, 1e-14

        def body(parent, name):
            child = parent.add_body(name=name)
            child.mass, child.inertia, child.explicitinertial = 0.2, [2e-3, 2e-3, 2e-3], True
            child.ipos = [0, 0, 0]  # links balanced about the centre, so that only the payload has weight
            return child

        platform = body(spec.worldbody, "platform")
        platform.add_joint(name="free", type=mujoco.mjtJoint.mjJNT_FREE, damping=[0.01, 0, 0])
        if payload is not None:
            mass, offset = payload
            load = platform.add_body(name="payload", pos=R @ offset)
            load.mass, load.inertia, load.ipos, load.explicitinertial = mass, [1e-5] * 3, [0, 0, 0], True
        for k in range(3):
            first = body(spec.worldbody, f"first {k}")
            first.add_joint(name=f"motor {k}", type=mujoco.mjtJoint.mjJNT_HINGE, axis=u[k], damping=[0.02, 0, 0])
            second = body(first, f"second {k}")
            second.add_joint(name=f"elbow {k}", type=mujoco.mjtJoint.mjJNT_HINGE, axis=w[k], damping=[0.01, 0, 0])
            pin = spec.add_equality(name=f"pin {k}", type=mujoco.mjtEq.mjEQ_CONNECT, objtype=mujoco.mjtObj.mjOBJ_BODY)
            pin.name1, pin.name2 = "platform", f"second {k}"
            pin.data[:3] = ARM * p[k]
            pin.solref, pin.solimp = [2 * STEP, 1], [0.9999, 0.9999, 0.001, 0.5, 2]
            if servo is not None:
                motor = spec.add_actuator(name=f"servo {k}", target=f"motor {k}", trntype=mujoco.mjtTrn.mjTRN_JOINT)
                motor.set_to_position(kp=servo, kv=servo / 20)
        self.model = spec.compile()
        self.data = mujoco.MjData(self.model)
        self.start, self.theta0 = R, np.asarray(theta)
        mujoco.mj_forward(self.model, self.data)
        self.motors = [self.model.joint(f"motor {k}") for k in range(3)]

    @property
    def theta(self) -> np.ndarray:
        """Motor angles, counted on from those at the start."""
        return self.theta0 + [self.data.qpos[j.qposadr[0]] for j in self.motors]

    @property
    def rates(self) -> np.ndarray:
        return np.array([self.data.qvel[j.dofadr[0]] for j in self.motors])

    @property
    def orientation(self) -> np.ndarray:
        """Where the platform stands, as seen from the base; its own frame is that of the joint's formulas."""
        return self.data.body("platform").xmat.reshape(3, 3) @ self.start

    @property
    def omega(self) -> np.ndarray:
        """Angular velocity of the platform in base coordinates; the engine keeps it in the platform's own."""
        address = self.model.joint("free").dofadr[0] + 3
        return self.data.body("platform").xmat.reshape(3, 3) @ self.data.qvel[address : address + 3]

    @property
    def torques(self) -> np.ndarray:
        return np.array(self.data.actuator_force)

    def drive(self, theta: np.ndarray, steps: int) -> None:
        """The servos go evenly from where they were sent last to theta."""
        start = self.data.ctrl.copy()
        for k in range(steps):
            self.data.ctrl[:] = start + (k + 1) / steps * (theta - self.theta0 - start)
            mujoco.mj_step(self.model, self.data)
        mujoco.mj_forward(self.model, self.data)  # a step leaves the places of the bodies one step behind the angles

    def settle(self) -> None:
        """The servos stay where they were sent, a hand lets go; until nothing moves by 1e-9 rad/s or m/s any more."""
        self.data.qfrc_applied[:] = 0
        for _ in range(300):
            mujoco.mj_step(self.model, self.data, 100)
            if np.abs(self.data.qvel).max() < 1e-9:
                mujoco.mj_forward(self.model, self.data)
                return
        raise AssertionError(f"after {300 * 100 * STEP:g} s the joint still moves: {self.data.qvel}")

    def push(self, R: np.ndarray, steps: int) -> None:
        """A spring and a damper turn the platform, without motors, evenly to R."""
        address = self.model.joint("free").dofadr[0] + 3
        start = self.orientation
        way = Rotation.from_matrix(R @ start.T).as_rotvec()
        for aim in Rotation.from_rotvec(np.linspace(0, 1, steps + 1)[1:, None] * way).as_matrix() @ start:
            turn = aim @ self.orientation.T  # what is missing; its skew half is the rotation vector, if it is small
            miss = np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]) / 2
            moment = self.data.body("platform").xmat.reshape(3, 3).T @ (20.0 * miss - 1.5 * self.omega)
            self.data.qfrc_applied[address : address + 3] = moment
            mujoco.mj_step(self.model, self.data)
        mujoco.mj_forward(self.model, self.data)
