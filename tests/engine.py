"""A joint as a general physics engine sees it: rigid bodies, hinges and points that are held together. No formula of
the package is in it beyond the places of the axes at the start."""

from __future__ import annotations

import mujoco
import numpy as np
from scipy.spatial.transform import Rotation

from legloop import Mechanism

STEP = 1e-3  # s
ARM = 0.1  # m from the centre to the points that are held together


class Engine:
    """Three legs of two hinged links, and a platform that nothing but their ends holds, assembled at R and theta.

    The motors are position servos, numbered as the legs; with ``motors=False`` the legs hang loose and a stiff
    spring pulls the platform towards `target`.
    """

    def __init__(self, m: Mechanism, R: np.ndarray, theta: np.ndarray, *, motors: bool = True, payload=None) -> None:
        u, w, p = m.base_axes, m.elbow_axes(theta), m.platform_axes_at(R)
        spec = mujoco.MjSpec()
        spec.option.timestep = STEP
        spec.option.gravity = [0, 0, 0] if payload is None else [0, 0, -9.80665]
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
            second.add_joint(name=f"elbow {k}", type=mujoco.mjtJoint.mjJNT_HINGE, axis=w[k], damping=[0.002, 0, 0])
            pin = spec.add_equality(name=f"pin {k}", type=mujoco.mjtEq.mjEQ_CONNECT, objtype=mujoco.mjtObj.mjOBJ_BODY)
            pin.name1, pin.name2 = "platform", f"second {k}"
            pin.data[:3] = ARM * p[k]
            pin.solref, pin.solimp = [2 * STEP, 1], [0.9999, 0.9999, 0.001, 0.5, 2]
            if motors:
                servo = spec.add_actuator(name=f"servo {k}", target=f"motor {k}", trntype=mujoco.mjtTrn.mjTRN_JOINT)
                servo.set_to_position(kp=20, kv=1)
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

    def push(self, R: np.ndarray, steps: int) -> None:
        """A spring and a damper turn the platform, without motors, evenly to R."""
        address = self.model.joint("free").dofadr[0] + 3
        start = self.orientation
        way = Rotation.from_matrix(R @ start.T).as_rotvec()
        for aim in Rotation.from_rotvec(np.linspace(0, 1, steps + 1)[1:, None] * way).as_matrix() @ start:
            miss = np.cross(self.orientation, aim, axis=0).sum(axis=1) / 2  # the turn that is missing, if it is small
            turn = self.data.body("platform").xmat.reshape(3, 3).T @ (20.0 * miss - 1.5 * self.omega)
            self.data.qfrc_applied[address : address + 3] = turn
            mujoco.mj_step(self.model, self.data)
        mujoco.mj_forward(self.model, self.data)
