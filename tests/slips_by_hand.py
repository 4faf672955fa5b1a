# ruff: noqa: ARG001, ARG005
"""Wrong answers as learners write them, each with the kind of slip that was made. None comes from the reviewer.

Every entry was written out by hand: (step, kind, answer), or with two kinds for two slips at once. Where one deed has
two fair names, the entry holds the name that its author had in mind.
"""

from math import acos, asin, atan, atan2, cos, degrees, hypot, pi, radians, sin, sqrt, tan

import numpy as np

DEG = pi / 180
E_Z = np.array([0, 0, 1])


def rx(t):
    return np.array([[1, 0, 0], [0, cos(t), -sin(t)], [0, sin(t), cos(t)]])


def ry(t):
    return np.array([[cos(t), 0, sin(t)], [0, 1, 0], [-sin(t), 0, cos(t)]])


def rz(t):
    return np.array([[cos(t), -sin(t), 0], [sin(t), cos(t), 0], [0, 0, 1]])


def rpy(roll, pitch, yaw):
    return rz(yaw) @ ry(pitch) @ rx(roll)


def frame(base_cone, azimuth):
    return rz(azimuth) @ ry(pi - base_cone) @ rz(pi)


def equation(base_cone, azimuth, proximal, distal, p):
    x, y, z = frame(base_cone, azimuth).T @ p
    return sin(proximal) * x, sin(proximal) * y, cos(proximal) * z - cos(distal)


def solved(a, b, c, mode):
    d = a * a + b * b - c * c
    root = mode * sqrt(d) if d >= 0 else float("nan")
    return atan2(-b * c - a * root, -a * c + b * root)


def _(step, *kinds_and_answer):
    *kinds, answer = kinds_and_answer
    return step, tuple(kinds), answer


# ------------------------------------------------------------------------------------------------ one slip

ROTATIONS = [
    _(
        "rotation_x",
        "transpose",
        lambda angle: [[1, 0, 0], [0, cos(angle), sin(angle)], [0, -sin(angle), cos(angle)]],
    ),
    _("rotation_x", "sign", lambda angle: [[1, 0, 0], [0, cos(angle), sin(angle)], [0, sin(angle), cos(angle)]]),
    _("rotation_x", "sin-cos", lambda angle: [[1, 0, 0], [0, sin(angle), -cos(angle)], [0, cos(angle), sin(angle)]]),
    _("rotation_x", "degrees", lambda angle: rx(radians(angle))),
    _("rotation_x", "half-angle", lambda angle: rx(angle / 2)),
    _("rotation_x", "sin-cos", lambda angle: [[1, 0, 0], [0, cos(angle), -cos(angle)], [0, sin(angle), cos(angle)]]),
    _(
        "rotation_y",
        "transpose",
        lambda angle: [[cos(angle), 0, -sin(angle)], [0, 1, 0], [sin(angle), 0, cos(angle)]],
    ),
    _("rotation_y", "sign", lambda angle: [[cos(angle), 0, sin(angle)], [0, 1, 0], [sin(angle), 0, cos(angle)]]),
    _("rotation_y", "degrees", lambda angle: ry(degrees(angle))),
    _("rotation_y", "sign", lambda angle: [[cos(angle), 0, sin(angle)], [0, -1, 0], [-sin(angle), 0, cos(angle)]]),
    _("rotation_y", "frame", lambda angle: rz(angle)),
    _("rotation_z", "transpose", lambda angle: rz(angle).T),
    _("rotation_z", "sign", lambda angle: rz(-angle)),
    _("rotation_z", "sign", lambda angle: [[-cos(angle), -sin(angle), 0], [sin(angle), cos(angle), 0], [0, 0, 1]]),
    _("rotation_z", "degrees", lambda angle: rz(angle * 180 / pi)),
    _("rotation_z", "sin-cos", lambda angle: [[sin(angle), -cos(angle), 0], [cos(angle), sin(angle), 0], [0, 0, 1]]),
    _("rotation_z", "missing-factor", lambda angle: [[cos(angle), -1, 0], [sin(angle), cos(angle), 0], [0, 0, 1]]),
]


def written(roll, pitch, yaw):
    """The orientation entry by entry; the slips below change one."""
    (sr, cr), (sp, cp), (sy, cy) = ((sin(t), cos(t)) for t in (roll, pitch, yaw))
    return [
        [cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr],
        [sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr],
        [-sp, cp * sr, cp * cr],
    ]


def with_entry(i, k, entry):
    def answer(roll, pitch, yaw):
        matrix = written(roll, pitch, yaw)
        matrix[i][k] = entry(roll, pitch, yaw)
        return matrix

    return answer


ORIENTATIONS = [
    _("orientation", "order", lambda roll, pitch, yaw: rx(roll) @ ry(pitch) @ rz(yaw)),
    _("orientation", "order", lambda roll, pitch, yaw: rz(yaw) @ rx(roll) @ ry(pitch)),
    _("orientation", "order", lambda roll, pitch, yaw: ry(pitch) @ rz(yaw) @ rx(roll)),
    _("orientation", "order", lambda roll, pitch, yaw: rz(roll) @ ry(pitch) @ rx(yaw)),
    _("orientation", "transpose", lambda roll, pitch, yaw: rpy(roll, pitch, yaw).T),
    _("orientation", "transpose", lambda roll, pitch, yaw: rz(yaw).T @ ry(pitch) @ rx(roll)),
    _("orientation", "transpose", lambda roll, pitch, yaw: rz(yaw) @ ry(pitch) @ rx(roll).T),
    _("orientation", "sign", lambda roll, pitch, yaw: rz(yaw) @ ry(-pitch) @ rx(roll)),
    _("orientation", "sign", with_entry(0, 1, lambda r, p, y: cos(y) * sin(p) * sin(r) + sin(y) * cos(r))),
    _("orientation", "sign", with_entry(1, 2, lambda r, p, y: sin(y) * sin(p) * cos(r) + cos(y) * sin(r))),
    _("orientation", "sign", with_entry(2, 0, lambda r, p, y: sin(p))),
    _("orientation", "sin-cos", with_entry(0, 0, lambda r, p, y: sin(y) * cos(p))),
    _("orientation", "sin-cos", with_entry(1, 1, lambda r, p, y: sin(y) * sin(p) * sin(r) + cos(y) * sin(r))),
    _("orientation", "missing-factor", with_entry(0, 2, lambda r, p, y: cos(y) * sin(p) * cos(r))),
    _("orientation", "missing-factor", with_entry(2, 1, lambda r, p, y: sin(r))),
    _("orientation", "missing-factor", lambda roll, pitch, yaw: rz(yaw) @ ry(pitch)),
    _("orientation", "degrees", lambda roll, pitch, yaw: rpy(radians(roll), radians(pitch), radians(yaw))),
    _("orientation", "degrees", lambda roll, pitch, yaw: rpy(roll, pitch, degrees(yaw))),
    _("orientation", "half-angle", lambda roll, pitch, yaw: rpy(roll, pitch / 2, yaw)),
    _("orientation", "frame", lambda roll, pitch, yaw: rz(pi / 2) @ rpy(roll, pitch, yaw)),
    _("orientation", "frame", lambda roll, pitch, yaw: rpy(roll, pitch, yaw) @ rx(0.3)),
    _("orientation", "frame", lambda roll, pitch, yaw: rx(pi) @ rpy(roll, pitch, yaw) @ rx(pi)),
]

BASE_AXES = [
    _("base_axis", "legs-reversed", lambda base_cone, azimuth: rz(-azimuth) @ [sin(base_cone), 0, -cos(base_cone)]),
    _("base_axis", "transpose", lambda base_cone, azimuth: rz(azimuth).T @ ry(pi - base_cone) @ E_Z),
    _("base_axis", "transpose", lambda base_cone, azimuth: rz(azimuth) @ ry(pi - base_cone).T @ E_Z),
    _("base_axis", "order", lambda base_cone, azimuth: ry(pi - base_cone) @ rz(azimuth) @ E_Z),
    _("base_axis", "missing-factor", lambda base_cone, azimuth: ry(pi - base_cone) @ E_Z),
    _(
        "base_axis",
        "cone-supplement",
        lambda base_cone, azimuth: [sin(base_cone) * cos(azimuth), sin(base_cone) * sin(azimuth), cos(base_cone)],
    ),
    _("base_axis", "cone-supplement", lambda base_cone, azimuth: rz(azimuth) @ ry(base_cone) @ E_Z),
    _(
        "base_axis",
        "sign",
        lambda base_cone, azimuth: [-sin(base_cone) * cos(azimuth), sin(base_cone) * sin(azimuth), -cos(base_cone)],
    ),
    _(
        "base_axis",
        "sign",
        lambda base_cone, azimuth: [sin(base_cone) * cos(azimuth), -sin(base_cone) * sin(azimuth), -cos(base_cone)],
    ),
    _(
        "base_axis",
        "sign",
        lambda base_cone, azimuth: [-sin(base_cone) * cos(azimuth), -sin(base_cone) * sin(azimuth), cos(base_cone)],
    ),
    _(
        "base_axis",
        "sin-cos",
        lambda base_cone, azimuth: [sin(base_cone) * cos(azimuth), sin(base_cone) * sin(azimuth), -sin(base_cone)],
    ),
    _(
        "base_axis",
        "sin-cos",
        lambda base_cone, azimuth: [cos(base_cone) * cos(azimuth), cos(base_cone) * sin(azimuth), -sin(base_cone)],
    ),
    _(
        "base_axis",
        "sin-cos",
        lambda base_cone, azimuth: [sin(base_cone) * sin(azimuth), sin(base_cone) * cos(azimuth), -cos(base_cone)],
    ),
    _("base_axis", "missing-factor", lambda base_cone, azimuth: [cos(azimuth), sin(azimuth), -cos(base_cone)]),
    _(
        "base_axis",
        "missing-factor",
        lambda base_cone, azimuth: [sin(base_cone) * cos(azimuth), sin(azimuth), -cos(base_cone)],
    ),
    _(
        "base_axis",
        "frame",
        lambda base_cone, azimuth: [-sin(base_cone) * sin(azimuth), sin(base_cone) * cos(azimuth), -cos(base_cone)],
    ),
    _("base_axis", "degrees", lambda base_cone, azimuth: rz(radians(azimuth)) @ ry(pi - radians(base_cone)) @ E_Z),
    _("base_axis", "degrees", lambda base_cone, azimuth: rz(degrees(azimuth)) @ ry(pi - base_cone) @ E_Z),
    _("base_axis", "half-angle", lambda base_cone, azimuth: rz(azimuth) @ ry(pi - base_cone / 2) @ E_Z),
    _("leg_frame", "transpose", lambda base_cone, azimuth: frame(base_cone, azimuth).T),
    _("leg_frame", "missing-factor", lambda base_cone, azimuth: rz(azimuth) @ ry(pi - base_cone)),
    _("leg_frame", "order", lambda base_cone, azimuth: ry(pi - base_cone) @ rz(azimuth) @ rz(pi)),
    _("leg_frame", "cone-supplement", lambda base_cone, azimuth: rz(azimuth) @ ry(base_cone) @ rz(pi)),
    _("leg_frame", "legs-reversed", lambda base_cone, azimuth: frame(base_cone, -azimuth)),
]


def elbow(base_cone, azimuth, proximal, theta):
    return frame(base_cone, azimuth) @ rz(theta) @ ry(proximal) @ E_Z


def w_components(g, e, p, t):
    """Right; the entries below spell out a wrong one."""
    out, side = sin(g) * cos(p) + cos(g) * sin(p) * cos(t), sin(p) * sin(t)
    return [cos(e) * out + sin(e) * side, sin(e) * out - cos(e) * side, -cos(g) * cos(p) + sin(g) * sin(p) * cos(t)]


def w_with(k, component):
    def answer(base_cone, azimuth, proximal, theta):
        w = w_components(base_cone, azimuth, proximal, theta)
        w[k] = component(base_cone, azimuth, proximal, theta)
        return w

    return answer


def w_from(out, side, up):
    """The elbow from its parts outwards, sideways and up."""

    def answer(base_cone, azimuth, proximal, theta):
        parts = (f(base_cone, proximal, theta) for f in (out, side, up))
        o, s, z = parts
        return [cos(azimuth) * o + sin(azimuth) * s, sin(azimuth) * o - cos(azimuth) * s, z]

    return answer


def right_out(g, p, t):
    return sin(g) * cos(p) + cos(g) * sin(p) * cos(t)


def right_side(g, p, t):
    return sin(p) * sin(t)


def right_up(g, p, t):
    return -cos(g) * cos(p) + sin(g) * sin(p) * cos(t)


ELBOWS = [
    _(
        "elbow_axis",
        "transpose",
        lambda base_cone, azimuth, proximal, theta: (
            rz(azimuth).T @ ry(pi - base_cone) @ rz(pi) @ rz(theta) @ ry(proximal) @ E_Z
        ),
    ),
    _(
        "elbow_axis",
        "transpose",
        lambda base_cone, azimuth, proximal, theta: frame(base_cone, azimuth).T @ rz(theta) @ ry(proximal) @ E_Z,
    ),
    _(
        "elbow_axis",
        "transpose",
        lambda base_cone, azimuth, proximal, theta: frame(base_cone, azimuth) @ rz(theta) @ ry(proximal).T @ E_Z,
    ),
    _("elbow_axis", "sign", lambda base_cone, azimuth, proximal, theta: elbow(base_cone, azimuth, proximal, -theta)),
    _("elbow_axis", "sign", w_from(right_out, lambda g, p, t: -sin(p) * sin(t), right_up)),
    _(
        "elbow_axis",
        "sign",
        w_with(0, lambda g, e, p, t: cos(e) * right_out(g, p, t) - sin(e) * right_side(g, p, t)),
    ),
    _(
        "elbow_axis",
        "sign",
        w_with(1, lambda g, e, p, t: sin(e) * right_out(g, p, t) + cos(e) * right_side(g, p, t)),
    ),
    _("elbow_axis", "sign", w_with(2, lambda g, e, p, t: cos(g) * cos(p) + sin(g) * sin(p) * cos(t))),
    _("elbow_axis", "sign", w_with(2, lambda g, e, p, t: -cos(g) * cos(p) - sin(g) * sin(p) * cos(t))),
    _("elbow_axis", "sign", w_from(lambda g, p, t: sin(g) * cos(p) - cos(g) * sin(p) * cos(t), right_side, right_up)),
    _(
        "elbow_axis",
        "sign",
        lambda base_cone, azimuth, proximal, theta: -np.array(elbow(base_cone, azimuth, proximal, theta)),
    ),
    _("elbow_axis", "sin-cos", w_with(2, lambda g, e, p, t: -cos(g) * sin(p) + sin(g) * sin(p) * cos(t))),
    _("elbow_axis", "sin-cos", w_with(2, lambda g, e, p, t: -cos(g) * cos(p) + sin(g) * sin(p) * sin(t))),
    _("elbow_axis", "sin-cos", w_from(right_out, lambda g, p, t: cos(p) * sin(t), right_up)),
    _(
        "elbow_axis",
        "sin-cos",
        lambda base_cone, azimuth, proximal, theta: (
            frame(base_cone, azimuth) @ [cos(proximal) * cos(theta), cos(proximal) * sin(theta), sin(proximal)]
        ),
    ),
    _(
        "elbow_axis",
        "sin-cos",
        lambda base_cone, azimuth, proximal, theta: (
            frame(base_cone, azimuth) @ [sin(proximal) * sin(theta), sin(proximal) * cos(theta), cos(proximal)]
        ),
    ),
    _(
        "elbow_axis",
        "cone-supplement",
        lambda base_cone, azimuth, proximal, theta: elbow(pi - base_cone, azimuth, proximal, theta),
    ),
    _(
        "elbow_axis",
        "legs-reversed",
        lambda base_cone, azimuth, proximal, theta: elbow(base_cone, -azimuth, proximal, theta),
    ),
    _(
        "elbow_axis",
        "degrees",
        lambda base_cone, azimuth, proximal, theta: elbow(base_cone, azimuth, proximal, degrees(theta)),
    ),
    _(
        "elbow_axis",
        "degrees",
        lambda base_cone, azimuth, proximal, theta: elbow(
            base_cone * DEG, azimuth * DEG, proximal * DEG, theta * DEG
        ),
    ),
    _(
        "elbow_axis",
        "zero-offset",
        lambda base_cone, azimuth, proximal, theta: elbow(base_cone, azimuth, proximal, theta - 1.3187),
    ),
    _(
        "elbow_axis",
        "zero-offset",
        lambda base_cone, azimuth, proximal, theta: elbow(base_cone, azimuth, proximal, theta + pi / 2),
    ),
    _(
        "elbow_axis",
        "missing-factor",
        lambda base_cone, azimuth, proximal, theta: rz(azimuth) @ ry(pi - base_cone) @ rz(theta) @ ry(proximal) @ E_Z,
    ),
    _(
        "elbow_axis",
        "missing-factor",
        lambda base_cone, azimuth, proximal, theta: frame(base_cone, azimuth) @ ry(proximal) @ E_Z,
    ),
    _("elbow_axis", "missing-factor", w_from(right_out, lambda g, p, t: sin(t), right_up)),
    _("elbow_axis", "missing-factor", w_with(2, lambda g, e, p, t: -cos(g) * cos(p) + sin(g) * cos(t))),
    _("elbow_axis", "missing-factor", w_with(0, lambda g, e, p, t: cos(e) * right_out(g, p, t))),
    _(
        "elbow_axis",
        "order",
        lambda base_cone, azimuth, proximal, theta: frame(base_cone, azimuth) @ ry(proximal) @ rz(theta) @ E_Z,
    ),
    _(
        "elbow_axis",
        "order",
        lambda base_cone, azimuth, proximal, theta: (
            ry(pi - base_cone) @ rz(azimuth) @ rz(pi) @ rz(theta) @ ry(proximal) @ E_Z
        ),
    ),
    _(
        "elbow_axis",
        "half-angle",
        lambda base_cone, azimuth, proximal, theta: elbow(base_cone, azimuth, proximal, theta / 2),
    ),
    _(
        "elbow_axis",
        "frame",
        lambda base_cone, azimuth, proximal, theta: rx(pi) @ elbow(base_cone, azimuth, proximal, theta),
    ),
]


def platform(platform_cone, azimuth, R):
    return R @ [sin(platform_cone) * cos(azimuth), sin(platform_cone) * sin(azimuth), cos(platform_cone)]


def v_row(k, row):
    """R v with one component multiplied out by hand, from the sines and cosines of roll, pitch, yaw and v."""

    def answer(platform_cone, azimuth, roll, pitch, yaw):
        v = [sin(platform_cone) * cos(azimuth), sin(platform_cone) * sin(azimuth), cos(platform_cone)]
        p = np.array(written(roll, pitch, yaw)) @ v
        p[k] = row(roll, pitch, yaw, *v)
        return p

    return answer


PLATFORMS = [
    _(
        "platform_axis",
        "transpose",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(platform_cone, azimuth, rpy(roll, pitch, yaw).T),
    ),
    _(
        "platform_axis",
        "transpose",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(
            platform_cone, azimuth, rz(yaw) @ ry(pitch).T @ rx(roll)
        ),
    ),
    _(
        "platform_axis",
        "order",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(
            platform_cone, azimuth, rx(roll) @ ry(pitch) @ rz(yaw)
        ),
    ),
    _(
        "platform_axis",
        "order",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(
            platform_cone, azimuth, rz(yaw) @ rx(roll) @ ry(pitch)
        ),
    ),
    _(
        "platform_axis",
        "order",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(platform_cone, azimuth, rpy(pitch, roll, yaw)),
    ),
    _(
        "platform_axis",
        "order",
        lambda platform_cone, azimuth, roll, pitch, yaw: (
            rpy(roll, pitch, yaw) @ ry(platform_cone) @ rz(azimuth) @ E_Z
        ),
    ),
    _(
        "platform_axis",
        "legs-reversed",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(platform_cone, -azimuth, rpy(roll, pitch, yaw)),
    ),
    _(
        "platform_axis",
        "cone-supplement",
        lambda platform_cone, azimuth, roll, pitch, yaw: (
            rpy(roll, pitch, yaw)
            @ [sin(platform_cone) * cos(azimuth), sin(platform_cone) * sin(azimuth), -cos(platform_cone)]
        ),
    ),
    _(
        "platform_axis",
        "sin-cos",
        lambda platform_cone, azimuth, roll, pitch, yaw: (
            rpy(roll, pitch, yaw)
            @ [cos(platform_cone) * cos(azimuth), cos(platform_cone) * sin(azimuth), sin(platform_cone)]
        ),
    ),
    _(
        "platform_axis",
        "missing-factor",
        lambda platform_cone, azimuth, roll, pitch, yaw: rpy(roll, pitch, yaw) @ ry(platform_cone) @ E_Z,
    ),
    _(
        "platform_axis",
        "missing-factor",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(platform_cone, azimuth, rz(yaw) @ ry(pitch)),
    ),
    _(
        "platform_axis",
        "missing-factor",
        lambda platform_cone, azimuth, roll, pitch, yaw: (
            rpy(roll, pitch, yaw) @ [cos(azimuth), sin(azimuth), cos(platform_cone)]
        ),
    ),
    _(
        "platform_axis",
        "degrees",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(
            platform_cone * DEG, azimuth * DEG, rpy(roll * DEG, pitch * DEG, yaw * DEG)
        ),
    ),
    _(
        "platform_axis",
        "degrees",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(
            radians(platform_cone), azimuth, rpy(roll, pitch, yaw)
        ),
    ),
    _(
        "platform_axis",
        "frame",
        lambda platform_cone, azimuth, roll, pitch, yaw: (
            rz(-pi / 2) @ platform(platform_cone, azimuth, rpy(roll, pitch, yaw))
        ),
    ),
    _(
        "platform_axis",
        "sign",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(platform_cone, azimuth, rpy(roll, pitch, -yaw)),
    ),
    _(
        "platform_axis",
        "sign",
        v_row(2, lambda r, p, y, vx, vy, vz: sin(p) * vx + cos(p) * sin(r) * vy + cos(p) * cos(r) * vz),
    ),
    _(
        "platform_axis",
        "sign",
        v_row(
            0,
            lambda r, p, y, vx, vy, vz: (
                cos(y) * cos(p) * vx
                + (cos(y) * sin(p) * sin(r) + sin(y) * cos(r)) * vy
                + (cos(y) * sin(p) * cos(r) + sin(y) * sin(r)) * vz
            ),
        ),
    ),
    _(
        "platform_axis",
        "sin-cos",
        v_row(2, lambda r, p, y, vx, vy, vz: -sin(p) * vx + cos(p) * cos(r) * vy + cos(p) * cos(r) * vz),
    ),
    _(
        "platform_axis",
        "missing-factor",
        v_row(2, lambda r, p, y, vx, vy, vz: -sin(p) * vx + sin(r) * vy + cos(p) * cos(r) * vz),
    ),
]


def abc(x=None, y=None, u=None, a=None, b=None, c=None):
    """A leg equation by dot products with x, y, u; wrong parts are put in by name."""

    def answer(base_cone, azimuth, proximal, distal, vx, vy, vz):
        g, e, p = base_cone, azimuth, np.array([vx, vy, vz])
        X = p @ ((x or axis_x)(g, e))
        Y = p @ ((y or axis_y)(g, e))
        Z = p @ ((u or axis_u)(g, e))
        return (
            (a or (lambda p1, p2, X: sin(p1) * X))(proximal, distal, X),
            (b or (lambda p1, p2, Y: sin(p1) * Y))(proximal, distal, Y),
            (c or (lambda p1, p2, Z: cos(p1) * Z - cos(p2)))(proximal, distal, Z),
        )

    return answer


def axis_x(g, e):
    return np.array([cos(e) * cos(g), sin(e) * cos(g), sin(g)])


def axis_y(g, e):
    return np.array([sin(e), -cos(e), 0])


def axis_u(g, e):
    return np.array([cos(e) * sin(g), sin(e) * sin(g), -cos(g)])


def legs(change):
    """The right equation of changed arguments."""

    def answer(base_cone, azimuth, proximal, distal, vx, vy, vz):
        g, e, p1, p2, p = change(base_cone, azimuth, proximal, distal, np.array([vx, vy, vz]))
        return equation(g, e, p1, p2, p)

    return answer


EQUATIONS = [
    _("leg_equation", "sign", abc(c=lambda p1, p2, Z: cos(p1) * Z + cos(p2))),
    _("leg_equation", "sign", abc(b=lambda p1, p2, Y: -sin(p1) * Y)),
    _("leg_equation", "sign", abc(a=lambda p1, p2, X: -sin(p1) * X)),
    _("leg_equation", "sign", abc(c=lambda p1, p2, Z: -cos(p1) * Z + cos(p2))),
    _("leg_equation", "sign", abc(u=lambda g, e: [cos(e) * sin(g), sin(e) * sin(g), cos(g)])),
    _("leg_equation", "sign", abc(x=lambda g, e: [cos(e) * cos(g), sin(e) * cos(g), -sin(g)])),
    _("leg_equation", "sign", abc(y=lambda g, e: [sin(e), cos(e), 0])),
    _("leg_equation", "sin-cos", abc(a=lambda p1, p2, X: cos(p1) * X)),
    _("leg_equation", "sin-cos", abc(c=lambda p1, p2, Z: cos(p1) * Z - sin(p2))),
    _("leg_equation", "sin-cos", abc(c=lambda p1, p2, Z: sin(p1) * Z - cos(p2))),
    _("leg_equation", "sin-cos", abc(x=lambda g, e: [cos(e) * cos(g), sin(e) * cos(g), cos(g)])),
    _("leg_equation", "sin-cos", abc(y=lambda g, e: [cos(e), -sin(e), 0])),
    _("leg_equation", "links-swapped", legs(lambda g, e, p1, p2, p: (g, e, p2, p1, p))),
    _("leg_equation", "links-swapped", abc(c=lambda p1, p2, Z: cos(p2) * Z - cos(p1))),
    _("leg_equation", "links-swapped", abc(c=lambda p1, p2, Z: cos(p1) * Z - cos(p1))),
    _("leg_equation", "missing-factor", abc(c=lambda p1, p2, Z: Z - cos(p2))),
    _("leg_equation", "missing-factor", abc(c=lambda p1, p2, Z: cos(p1) * Z)),
    _("leg_equation", "missing-factor", abc(a=lambda p1, p2, X: X)),
    _(
        "leg_equation",
        "missing-factor",
        lambda base_cone, azimuth, proximal, distal, vx, vy, vz: (
            axis_x(base_cone, azimuth) @ [vx, vy, vz],
            axis_y(base_cone, azimuth) @ [vx, vy, vz],
            cos(proximal) * (axis_u(base_cone, azimuth) @ [vx, vy, vz]) - cos(distal),
        ),
    ),
    _("leg_equation", "cone-supplement", legs(lambda g, e, p1, p2, p: (pi - g, e, p1, p2, p))),
    _("leg_equation", "legs-reversed", legs(lambda g, e, p1, p2, p: (g, -e, p1, p2, p))),
    _("leg_equation", "degrees", legs(lambda g, e, p1, p2, p: (g * DEG, e * DEG, p1 * DEG, p2 * DEG, p))),
    _("leg_equation", "degrees", legs(lambda g, e, p1, p2, p: (g, e, p1, degrees(p2), p))),
    _("leg_equation", "half-angle", legs(lambda g, e, p1, p2, p: (g, e, p1, p2 / 2, p))),
    _(
        "leg_equation",
        "transpose",
        lambda base_cone, azimuth, proximal, distal, vx, vy, vz: equation(
            0, 0, proximal, distal, frame(0, 0) @ (frame(base_cone, azimuth) @ [vx, vy, vz])
        ),
    ),
    _(
        "leg_equation",
        "sin-cos",
        lambda base_cone, azimuth, proximal, distal, vx, vy, vz: (lambda a, b, c: (b, a, c))(
            *equation(base_cone, azimuth, proximal, distal, np.array([vx, vy, vz]))
        ),
    ),
    _(
        "leg_equation",
        "zero-offset",
        lambda base_cone, azimuth, proximal, distal, vx, vy, vz: (
            lambda a, b, c: (a * cos(0.7) + b * sin(0.7), b * cos(0.7) - a * sin(0.7), c)
        )(*equation(base_cone, azimuth, proximal, distal, np.array([vx, vy, vz]))),
    ),
]

QUADRATICS = [
    _("half_angle", "half-angle", lambda a, b, c: (c - a, b, c + a)),
    _("half_angle", "half-angle", lambda a, b, c: (a, b, c)),
    _("half_angle", "sign", lambda a, b, c: (c + a, 2 * b, c - a)),
    _("half_angle", "sign", lambda a, b, c: (c - a, -2 * b, c + a)),
    _("half_angle", "sign", lambda a, b, c: (a - c, 2 * b, c + a)),
    _("half_angle", "sign", lambda a, b, c: (c - a, 2 * b, c - a)),
    _("half_angle", "sign", lambda a, b, c: (-c - a, 2 * b, a - c)),
    _("half_angle", "missing-factor", lambda a, b, c: (-a, 2 * b, c + a)),
    _("half_angle", "missing-factor", lambda a, b, c: (c - a, 2 * b, c)),
    _("half_angle", "sin-cos", lambda a, b, c: (c - b, 2 * a, c + b)),
    _("half_angle", "order", lambda a, b, c: (2 * b, c - a, c + a)),
]


def discriminant(a, b, c):
    return a * a + b * b - c * c


def half(a, b, c, mode):
    return (-b + mode * sqrt(discriminant(a, b, c))) / (c - a)


def phase(a, b, c):
    return acos(-c / hypot(a, b))


MOTORS = [
    _("motor_angle", "other-elbow", lambda a, b, c, mode: atan2(b, a) + mode * phase(a, b, c)),
    _("motor_angle", "other-elbow", lambda a, b, c, mode: 2 * atan(half(a, b, c, -mode))),
    _("motor_angle", "other-elbow", lambda a, b, c, mode: atan2(b, a) - phase(a, b, c)),
    _("motor_angle", "other-elbow", lambda a, b, c, mode: 2 * atan(half(a, b, c, 1))),
    _("motor_angle", "quadrant", lambda a, b, c, mode: atan(b / a) - mode * phase(a, b, c)),
    _(
        "motor_angle",
        "quadrant",
        lambda a, b, c, mode: atan(
            (-b * c - mode * a * sqrt(discriminant(a, b, c))) / (-a * c + mode * b * sqrt(discriminant(a, b, c)))
        ),
    ),
    _("motor_angle", "half-angle", lambda a, b, c, mode: atan(half(a, b, c, mode))),
    _("motor_angle", "half-angle", lambda a, b, c, mode: solved(a, b, c, mode) / 2),
    _("motor_angle", "sign", lambda a, b, c, mode: atan2(b, a) - mode * acos(c / hypot(a, b))),
    _("motor_angle", "sign", lambda a, b, c, mode: atan2(-b, a) - mode * phase(a, b, c)),
    _("motor_angle", "sign", lambda a, b, c, mode: 2 * atan((b + mode * sqrt(discriminant(a, b, c))) / (c - a))),
    _("motor_angle", "sign", lambda a, b, c, mode: 2 * atan((-b + mode * sqrt(discriminant(a, b, c))) / (c + a))),
    _("motor_angle", "sign", lambda a, b, c, mode: 2 * atan((-b + mode * sqrt(a * a + b * b + c * c)) / (c - a))),
    _("motor_angle", "sign", lambda a, b, c, mode: 2 * atan((-b + mode * sqrt(discriminant(a, b, c))) / (a - c))),
    _("motor_angle", "sign", lambda a, b, c, mode: -solved(a, b, c, mode)),
    _("motor_angle", "sin-cos", lambda a, b, c, mode: atan2(a, b) - mode * phase(a, b, c)),
    _("motor_angle", "sin-cos", lambda a, b, c, mode: atan2(b, a) - mode * asin(-c / hypot(a, b))),
    _(
        "motor_angle",
        "sin-cos",
        lambda a, b, c, mode: atan2(
            -a * c + mode * b * sqrt(discriminant(a, b, c)), -b * c - mode * a * sqrt(discriminant(a, b, c))
        ),
    ),
    _("motor_angle", "degrees", lambda a, b, c, mode: degrees(solved(a, b, c, mode))),
    _("motor_angle", "degrees", lambda a, b, c, mode: degrees(atan2(b, a) - mode * phase(a, b, c)) % 360),
    _("motor_angle", "zero-offset", lambda a, b, c, mode: solved(a, b, c, mode) - pi / 2),
    _("motor_angle", "zero-offset", lambda a, b, c, mode: solved(a, b, c, mode) + 75.553 * DEG),
    _("motor_angle", "missing-factor", lambda a, b, c, mode: -mode * phase(a, b, c)),
    _("motor_angle", "missing-factor", lambda a, b, c, mode: 2 * atan((-b + mode * sqrt(a * a + b * b)) / (c - a))),
    _(
        "motor_angle",
        "half-angle",
        lambda a, b, c, mode: (
            2 * atan((-b + mode * sqrt(b * b - 4 * a * c)) / (2 * a)) if b * b > 4 * a * c else np.nan
        ),
    ),
]


def motor(**parts):
    """The whole way with one part changed: R, v, B, the equation, the solution, or what goes in."""

    def answer(base_cone, platform_cone, azimuth, proximal, distal, roll, pitch, yaw, mode):
        given = (base_cone, platform_cone, azimuth, proximal, distal, roll, pitch, yaw, mode)
        g, beta, e, p1, p2, roll, pitch, yaw, mode = parts.get("given", lambda *them: them)(*given)
        R = parts.get("R", rpy)(roll, pitch, yaw)
        v = parts.get("v", lambda beta, e: rz(e) @ [sin(beta), 0, cos(beta)])(beta, e)
        x, y, z = parts.get("B", frame)(g, e).T @ (R @ v)
        a, b, c = parts.get("abc", lambda x, y, z, p1, p2: (sin(p1) * x, sin(p1) * y, cos(p1) * z - cos(p2)))(
            x, y, z, p1, p2
        )
        return parts.get("solution", solved)(a, b, c, mode)

    return answer


def f(kind, **parts):
    return _("motor_angle_full", kind, motor(**parts))


WHOLE = [
    f("transpose", R=lambda roll, pitch, yaw: rpy(roll, pitch, yaw).T),
    f("transpose", R=lambda roll, pitch, yaw: rz(yaw) @ ry(pitch) @ rx(roll).T),
    f("transpose", B=lambda g, e: rz(e).T @ ry(pi - g) @ rz(pi)),
    f("order", R=lambda roll, pitch, yaw: rx(roll) @ ry(pitch) @ rz(yaw)),
    f("order", R=lambda roll, pitch, yaw: ry(pitch) @ rz(yaw) @ rx(roll)),
    f("order", B=lambda g, e: ry(pi - g) @ rz(e) @ rz(pi)),
    f("missing-factor", v=lambda beta, e: np.array([sin(beta), 0, cos(beta)])),
    f("missing-factor", R=lambda roll, pitch, yaw: ry(pitch) @ rx(roll)),
    f("missing-factor", abc=lambda x, y, z, p1, p2: (x, y, cos(p1) * z - cos(p2))),
    f("missing-factor", B=lambda g, e: rz(e) @ ry(pi - g)),
    f("links-swapped", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e, p2, p1, r, p, y, m)),
    f("cone-supplement", given=lambda g, k, e, p1, p2, r, p, y, m: (pi - g, k, e, p1, p2, r, p, y, m)),
    f("cone-supplement", v=lambda beta, e: rz(e) @ [sin(beta), 0, -cos(beta)]),
    f("legs-reversed", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, -e, p1, p2, r, p, y, m)),
    f("legs-reversed", v=lambda beta, e: rz(-e) @ [sin(beta), 0, cos(beta)]),
    f("degrees", given=lambda g, k, e, p1, p2, r, p, y, m: (*(t * DEG for t in (g, k, e, p1, p2, r, p, y)), m)),
    f("degrees", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e, p1, p2, *(degrees(t) for t in (r, p, y)), m)),
    f("degrees", solution=lambda a, b, c, mode: degrees(solved(a, b, c, mode))),
    f("other-elbow", solution=lambda a, b, c, mode: solved(a, b, c, -mode)),
    f("other-elbow", solution=lambda a, b, c, mode: solved(a, b, c, 1)),
    f("zero-offset", solution=lambda a, b, c, mode: solved(a, b, c, mode) + pi),
    f("zero-offset", solution=lambda a, b, c, mode: solved(a, b, c, mode) - 0.25),
    f("sign", abc=lambda x, y, z, p1, p2: (sin(p1) * x, sin(p1) * y, cos(p1) * z + cos(p2))),
    f("sign", abc=lambda x, y, z, p1, p2: (sin(p1) * x, -sin(p1) * y, cos(p1) * z - cos(p2))),
    f("sign", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e, p1, p2, r, -p, y, m)),
    f("sin-cos", abc=lambda x, y, z, p1, p2: (cos(p1) * x, cos(p1) * y, sin(p1) * z - cos(p2))),
    f("sin-cos", v=lambda beta, e: rz(e) @ [cos(beta), 0, sin(beta)]),
    f(
        "quadrant",
        solution=lambda a, b, c, mode: atan(b / a) - mode * (phase(a, b, c) if c * c < a * a + b * b else np.nan),
    ),
    f("half-angle", solution=lambda a, b, c, mode: solved(a, b, c, mode) / 2),
]


def wrong_row(kind, row):
    def answer(base_cone, azimuth, proximal, theta, vx, vy, vz):
        return row(elbow(base_cone, azimuth, proximal, theta), axis_u(base_cone, azimuth), np.array([vx, vy, vz]))

    return _("rate_row", kind, answer)


RATES = [
    wrong_row("sign", lambda w, u, p: -np.cross(w, p) / (np.cross(w, p) @ u)),
    wrong_row("missing-factor", lambda w, u, p: np.cross(w, p)),
    _(
        "rate_row",
        "transpose",
        lambda base_cone, azimuth, proximal, theta, vx, vy, vz: (lambda n: n / (n @ axis_u(base_cone, azimuth)))(
            np.cross(rz(azimuth).T @ ry(pi - base_cone) @ rz(pi) @ rz(theta) @ ry(proximal) @ E_Z, [vx, vy, vz])
        ),
    ),
    _(
        "rate_row",
        "cone-supplement",
        lambda base_cone, azimuth, proximal, theta, vx, vy, vz: (lambda n: n / (n @ axis_u(pi - base_cone, azimuth)))(
            np.cross(elbow(base_cone, azimuth, proximal, theta), [vx, vy, vz])
        ),
    ),
]

# ----------------------------------------- one slip again, in other writings, added after the catalogue was closed


def by_axes(x=None, y=None, u=None, along=cos, across=sin, ct=cos, st=sin):
    """The elbow as a sum over the axes of the leg, with wrong axes or wrong functions put in."""

    def answer(base_cone, azimuth, proximal, theta):
        axes = [(given or right)(base_cone, azimuth) for given, right in ((x, axis_x), (y, axis_y), (u, axis_u))]
        X, Y, U = map(np.array, axes)
        return along(proximal) * U + across(proximal) * (ct(theta) * X + st(theta) * Y)

    return answer


def w_(kind, *args, **parts):
    return _("elbow_axis", kind, by_axes(*args, **parts))


def p_(kind, answer):
    def called(platform_cone, azimuth, roll, pitch, yaw):
        v = np.array([sin(platform_cone) * cos(azimuth), sin(platform_cone) * sin(azimuth), cos(platform_cone)])
        return answer(v, platform_cone, azimuth, roll, pitch, yaw)

    return _("platform_axis", kind, called)


LATER = [
    _("rotation_y", "sin-cos", lambda angle: [[sin(angle), 0, cos(angle)], [0, 1, 0], [-cos(angle), 0, sin(angle)]]),
    _("rotation_x", "sign", lambda angle: [[1, 0, 0], [0, cos(angle), -sin(angle)], [0, -sin(angle), cos(angle)]]),
    _("rotation_z", "half-angle", lambda angle: rz(2 * angle)),
    _("orientation", "transpose", lambda roll, pitch, yaw: rz(yaw).T @ ry(pitch).T @ rx(roll).T),
    _(
        "orientation",
        "sign",
        lambda roll, pitch, yaw: (
            rz(yaw) @ ry(pitch) @ [[1, 0, 0], [0, cos(roll), sin(roll)], [0, sin(roll), cos(roll)]]
        ),
    ),
    _("orientation", "missing-factor", with_entry(0, 1, lambda r, p, y: cos(y) * sin(p) - sin(y) * cos(r))),
    _("orientation", "sin-cos", with_entry(1, 0, lambda r, p, y: cos(y) * cos(p))),
    _("orientation", "sin-cos", with_entry(2, 2, lambda r, p, y: cos(p) * sin(r))),
    _("orientation", "missing-factor", with_entry(0, 0, lambda r, p, y: cos(p))),
    _("orientation", "order", lambda roll, pitch, yaw: ry(pitch) @ rx(roll) @ rz(yaw)),
    _(
        "base_axis",
        "sin-cos",
        lambda base_cone, azimuth: [sin(base_cone) * cos(azimuth), cos(base_cone) * sin(azimuth), -cos(base_cone)],
    ),
    _(
        "base_axis",
        "missing-factor",
        lambda base_cone, azimuth: [sin(base_cone) * cos(azimuth), sin(base_cone) * sin(azimuth), -1],
    ),
    _("base_axis", "missing-factor", lambda base_cone, azimuth: [sin(base_cone) * cos(azimuth), 0, -cos(base_cone)]),
    _(
        "base_axis",
        "degrees",
        lambda base_cone, azimuth: [
            sin(base_cone * DEG) * cos(azimuth),
            sin(base_cone * DEG) * sin(azimuth),
            -cos(base_cone * DEG),
        ],
    ),
    _(
        "base_axis",
        "frame",
        lambda base_cone, azimuth: [
            sin(base_cone) * cos(azimuth + 1),
            sin(base_cone) * sin(azimuth + 1),
            -cos(base_cone),
        ],
    ),
    _("base_axis", "half-angle", lambda base_cone, azimuth: rz(azimuth / 2) @ [sin(base_cone), 0, -cos(base_cone)]),
    w_("sign", along=lambda p: -cos(p)),
    w_("sign", x=lambda g, e: [cos(e) * cos(g), sin(e) * cos(g), -sin(g)]),
    w_("sign", y=lambda g, e: [-sin(e), cos(e), 0]),
    w_("sign", y=lambda g, e: [sin(e), cos(e), 0]),
    w_("sign", u=lambda g, e: [cos(e) * sin(g), sin(e) * sin(g), cos(g)]),
    w_("sin-cos", ct=sin, st=cos),
    w_("sin-cos", along=sin, across=cos),
    w_("sin-cos", x=lambda g, e: [cos(e) * sin(g), sin(e) * sin(g), cos(g)]),
    w_("sin-cos", y=lambda g, e: [cos(e), -sin(e), 0]),
    w_("missing-factor", across=lambda p: 1),
    w_("missing-factor", along=lambda p: 1),
    w_("missing-factor", st=lambda t: 1),
    _(
        "elbow_axis",
        "frame",
        lambda base_cone, azimuth, proximal, theta: frame(base_cone, azimuth) @ rz(theta) @ rx(proximal) @ E_Z,
    ),
    _(
        "elbow_axis",
        "degrees",
        lambda base_cone, azimuth, proximal, theta: elbow(base_cone, azimuth, degrees(proximal), theta),
    ),
    _(
        "elbow_axis",
        "transpose",
        lambda base_cone, azimuth, proximal, theta: (
            rz(azimuth) @ ry(pi - base_cone).T @ rz(pi) @ rz(theta) @ ry(proximal) @ E_Z
        ),
    ),
    _(
        "elbow_axis",
        "order",
        lambda base_cone, azimuth, proximal, theta: (
            rz(azimuth) @ rz(pi) @ ry(pi - base_cone) @ rz(theta) @ ry(proximal) @ E_Z
        ),
    ),
    _(
        "elbow_axis",
        "missing-factor",
        lambda base_cone, azimuth, proximal, theta: ry(pi - base_cone) @ rz(pi) @ rz(theta) @ ry(proximal) @ E_Z,
    ),
    p_("order", lambda v, beta, e, r, p, y: rz(e) @ rpy(r, p, y) @ [sin(beta), 0, cos(beta)]),
    p_("sin-cos", lambda v, beta, e, r, p, y: rpy(r, p, y) @ [sin(beta) * sin(e), sin(beta) * cos(e), cos(beta)]),
    p_("missing-factor", lambda v, beta, e, r, p, y: rpy(r, p, y) @ [v[0], v[1], 1]),
    p_("missing-factor", lambda v, beta, e, r, p, y: v),
    p_("sign", lambda v, beta, e, r, p, y: rpy(-r, p, y) @ v),
    p_("sign", lambda v, beta, e, r, p, y: -(rpy(r, p, y) @ v)),
    p_("degrees", lambda v, beta, e, r, p, y: rpy(radians(r), radians(p), radians(y)) @ v),
    p_("half-angle", lambda v, beta, e, r, p, y: rpy(r, p, y) @ rz(e) @ ry(beta / 2) @ E_Z),
    p_("transpose", lambda v, beta, e, r, p, y: v @ rpy(r, p, y)),
    _("leg_equation", "sign", abc(y=lambda g, e: [-sin(e), -cos(e), 0])),
    _("leg_equation", "sign", abc(u=lambda g, e: [-cos(e) * sin(g), -sin(e) * sin(g), cos(g)])),
    _("leg_equation", "missing-factor", abc(b=lambda p1, p2, Y: 0)),
    _("leg_equation", "missing-factor", abc(x=lambda g, e: [cos(e) * cos(g), sin(e) * cos(g), 0])),
    _("leg_equation", "missing-factor", abc(u=lambda g, e: [cos(e), sin(e), -cos(g)])),
    _("leg_equation", "order", lambda **k: (lambda a, b, c: (c, b, a))(*abc()(**k))),
    _(
        "leg_equation",
        "degrees",
        abc(
            a=lambda p1, p2, X: sin(degrees(p1)) * X,
            b=lambda p1, p2, Y: sin(degrees(p1)) * Y,
            c=lambda p1, p2, Z: cos(degrees(p1)) * Z - cos(p2),
        ),
    ),
    _("leg_equation", "sign", abc(c=lambda p1, p2, Z: -cos(p1) * Z - cos(p2))),
    _("leg_equation", "links-swapped", abc(a=lambda p1, p2, X: sin(p2) * X)),
    _("half_angle", "missing-factor", lambda a, b, c: (c - a, 2 * b, a)),
    _("half_angle", "missing-factor", lambda a, b, c: (c, 2 * b, c + a)),
    _("half_angle", "missing-factor", lambda a, b, c: (c - a, 0, c + a)),
    _("half_angle", "sin-cos", lambda a, b, c: (c - b, 2 * a, c + b)),
    _(
        "motor_angle",
        "missing-factor",
        lambda a, b, c, mode: atan2(b, a) - mode * (acos(-c) if abs(c) <= 1 else np.nan),
    ),
    _(
        "motor_angle",
        "missing-factor",
        lambda a, b, c, mode: (
            atan2(b, a) - mode * (acos(-c / (a * a + b * b)) if abs(c) <= a * a + b * b else np.nan)
        ),
    ),
    _("motor_angle", "missing-factor", lambda a, b, c, mode: atan2(b, a)),
    _("motor_angle", "missing-factor", lambda a, b, c, mode: 2 * atan((-b + mode * discriminant(a, b, c)) / (c - a))),
    _(
        "motor_angle",
        "missing-factor",
        lambda a, b, c, mode: 2 * atan((mode * sqrt(discriminant(a, b, c))) / (c - a)),
    ),
    _("motor_angle", "sin-cos", lambda a, b, c, mode: 2 * atan2(c - a, -b + mode * sqrt(discriminant(a, b, c)))),
    _("motor_angle", "sign", lambda a, b, c, mode: atan2(b, -a) - mode * phase(a, b, c)),
    _("motor_angle", "degrees", lambda a, b, c, mode: degrees(2 * atan(half(a, b, c, mode)))),
    _("motor_angle", "quadrant", lambda a, b, c, mode: atan(-c / (mode * sqrt(discriminant(a, b, c)))) - atan2(a, b)),
    _(
        "motor_angle",
        "half-angle",
        lambda a, b, c, mode: 2 * atan((-2 * b + mode * sqrt(4 * b * b - 4 * (c * c - a * a))) / (c - a)),
    ),
    f("order", given=lambda g, k, e, p1, p2, r, p, y, m: (k, g, e, p1, p2, r, p, y, m)),
    f("sign", solution=lambda a, b, c, mode: -solved(a, b, c, mode)),
    f("sign", solution=lambda a, b, c, mode: solved(-a, b, c, mode)),
    f("half-angle", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e, p1, p2 / 2, r, p, y, m)),
    f("order", R=lambda roll, pitch, yaw: rpy(yaw, pitch, roll)),
    f("transpose", B=lambda g, e: frame(g, e).T),
    f("links-swapped", abc=lambda x, y, z, p1, p2: (sin(p1) * x, sin(p1) * y, cos(p2) * z - cos(p1))),
    f("zero-offset", solution=lambda a, b, c, mode: solved(a, b, c, mode) + pi / 3),
    f("sin-cos", solution=lambda a, b, c, mode: solved(b, a, c, mode)),
    f("degrees", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, degrees(e), p1, p2, r, p, y, m)),
    f("missing-factor", abc=lambda x, y, z, p1, p2: (sin(p1) * x, sin(p1) * y, z - cos(p2))),
]


# --------------------------------------------------- one slip once more: other books' habits, and what students write


def vector(v):
    """R v with another v put in."""
    return lambda platform_cone, azimuth, roll, pitch, yaw: rpy(roll, pitch, yaw) @ v(platform_cone, azimuth)


def turned(product):
    """w from one product of turns of (base_cone, azimuth, proximal, theta)."""
    return lambda base_cone, azimuth, proximal, theta: product(base_cone, azimuth, proximal, theta) @ E_Z


def root(a, b, c):
    return sqrt(discriminant(a, b, c))


STRANGER = [
    # rotations
    _("rotation_x", "sign", lambda angle: [[1, 0, 0], [0, -cos(angle), -sin(angle)], [0, sin(angle), -cos(angle)]]),
    _("rotation_x", "frame", lambda angle: [[cos(angle), -sin(angle), 0], [sin(angle), cos(angle), 0], [0, 0, 1]]),
    _("rotation_y", "transpose", lambda angle: ry(angle).T),
    _("rotation_y", "sin-cos", lambda angle: [[cos(angle), 0, cos(angle)], [0, 1, 0], [-sin(angle), 0, cos(angle)]]),
    _(
        "rotation_y",
        "missing-factor",
        lambda angle: [[cos(angle), 0, sin(angle)], [0, 0, 0], [-sin(angle), 0, cos(angle)]],
    ),
    _("rotation_z", "degrees", lambda angle: rz(radians(angle))),
    _("rotation_z", "sign", lambda angle: [[cos(angle), sin(angle), 0], [sin(angle), cos(angle), 0], [0, 0, 1]]),
    # orientation
    _("orientation", "order", lambda roll, pitch, yaw: rx(yaw) @ ry(pitch) @ rz(roll)),
    _("orientation", "order", lambda roll, pitch, yaw: rpy(pitch, roll, yaw)),
    _("orientation", "transpose", lambda roll, pitch, yaw: rx(-roll) @ ry(-pitch) @ rz(-yaw)),
    _("orientation", "degrees", lambda roll, pitch, yaw: rpy(*np.radians([roll, pitch, yaw]))),
    _("orientation", "degrees", lambda roll, pitch, yaw: rpy(*np.degrees([roll, pitch, yaw]))),
    _("orientation", "frame", lambda roll, pitch, yaw: rz(yaw) @ ry(pitch) @ rz(roll)),
    _("orientation", "frame", lambda roll, pitch, yaw: rz(yaw) @ rx(pitch) @ rx(roll)),
    _("orientation", "missing-factor", lambda roll, pitch, yaw: rz(yaw) @ rx(roll)),
    _("orientation", "sign", lambda roll, pitch, yaw: rpy(roll, pitch, yaw) * [[1, 1, 1], [1, 1, 1], [1, 1, -1]]),
    # base axis
    _(
        "base_axis",
        "cone-supplement",
        lambda base_cone, azimuth: [cos(azimuth) * sin(base_cone), sin(azimuth) * sin(base_cone), cos(base_cone)],
    ),
    _("base_axis", "legs-reversed", lambda base_cone, azimuth: axis_u(base_cone, 2 * pi - azimuth)),
    _("base_axis", "sin-cos", lambda base_cone, azimuth: rz(azimuth) @ [cos(base_cone), 0, -sin(base_cone)]),
    _("base_axis", "frame", lambda base_cone, azimuth: rz(azimuth) @ rx(pi - base_cone) @ E_Z),
    _("base_axis", "frame", lambda base_cone, azimuth: rx(pi) @ axis_u(base_cone, azimuth)),
    _(
        "base_axis",
        "sin-cos",
        lambda base_cone, azimuth: [sin(base_cone) * cos(azimuth), cos(base_cone) * sin(azimuth), -cos(base_cone)],
    ),
    # elbow
    _("elbow_axis", "transpose", turned(lambda g, e, p, t: frame(g, e) @ rz(t).T @ ry(p))),
    _("elbow_axis", "order", turned(lambda g, e, p, t: rz(e) @ rz(t) @ ry(pi - g) @ rz(pi) @ ry(p))),
    _("elbow_axis", "cone-supplement", turned(lambda g, e, p, t: rz(e) @ ry(g) @ rz(pi) @ rz(t) @ ry(p))),
    _("elbow_axis", "sign", turned(lambda g, e, p, t: frame(g, e) @ rz(t) @ ry(-p))),
    _("elbow_axis", "legs-reversed", turned(lambda g, e, p, t: frame(g, -e) @ rz(t) @ ry(p))),
    _("elbow_axis", "degrees", turned(lambda g, e, p, t: frame(g, e) @ rz(degrees(t)) @ ry(p))),
    _("elbow_axis", "zero-offset", turned(lambda g, e, p, t: frame(g, e) @ rz(t + radians(75.553)) @ ry(p))),
    _("elbow_axis", "missing-factor", turned(lambda g, e, p, t: rz(e) @ rz(pi) @ rz(t) @ ry(p))),
    _(
        "elbow_axis",
        "sin-cos",
        w_with(1, lambda g, e, p, t: cos(e) * right_out(g, p, t) - cos(e) * right_side(g, p, t)),
    ),
    _("elbow_axis", "missing-factor", w_with(2, lambda g, e, p, t: -cos(p) + sin(g) * sin(p) * cos(t))),
    _(
        "elbow_axis",
        "missing-factor",
        w_from(lambda g, p, t: sin(g) * cos(p) + sin(p) * cos(t), right_side, right_up),
    ),
    _(
        "elbow_axis",
        "sin-cos",
        w_from(lambda g, p, t: cos(g) * cos(p) + sin(g) * sin(p) * cos(t), right_side, right_up),
    ),
    _(
        "elbow_axis",
        "frame",
        lambda base_cone, azimuth, proximal, theta: rx(pi) @ elbow(base_cone, azimuth, proximal, -theta),
    ),
    _(
        "elbow_axis",
        "frame",
        lambda base_cone, azimuth, proximal, theta: np.roll(elbow(base_cone, azimuth, proximal, theta), 1),
    ),
    # platform axis
    _(
        "platform_axis",
        "transpose",
        lambda platform_cone, azimuth, roll, pitch, yaw: (
            rx(-roll) @ ry(-pitch) @ rz(-yaw) @ rz(azimuth) @ ry(platform_cone) @ E_Z
        ),
    ),
    _("platform_axis", "cone-supplement", vector(lambda beta, e: rz(e) @ ry(pi - beta) @ E_Z)),
    _("platform_axis", "sin-cos", vector(lambda beta, e: rz(e) @ [cos(beta), 0, sin(beta)])),
    _("platform_axis", "missing-factor", vector(lambda beta, e: [sin(beta) * cos(e), sin(e), cos(beta)])),
    _("platform_axis", "transpose", vector(lambda beta, e: rz(e).T @ ry(beta) @ E_Z)),
    _("platform_axis", "sign", vector(lambda beta, e: rz(e) @ ry(-beta) @ E_Z)),
    _("platform_axis", "frame", vector(lambda beta, e: rz(e) @ rx(beta) @ E_Z)),
    _(
        "platform_axis",
        "missing-factor",
        lambda platform_cone, azimuth, roll, pitch, yaw: rz(yaw) @ platform(platform_cone, azimuth, rx(roll)),
    ),
    _(
        "platform_axis",
        "degrees",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(
            platform_cone, degrees(azimuth), rpy(roll, pitch, yaw)
        ),
    ),
    # the leg equation
    _("leg_equation", "sign", abc(c=lambda p1, p2, Z: cos(p1) * Z + cos(p2))),
    _("leg_equation", "sin-cos", abc(c=lambda p1, p2, Z: sin(p1) * Z - sin(p2))),
    _("leg_equation", "links-swapped", abc(a=lambda p1, p2, X: sin(p2) * X, b=lambda p1, p2, Y: sin(p2) * Y)),
    _("leg_equation", "missing-factor", abc(b=lambda p1, p2, Y: Y)),
    _("leg_equation", "sign", abc(x=lambda g, e: -axis_x(g, e))),
    _(
        "leg_equation",
        "legs-reversed",
        abc(x=lambda g, e: axis_x(g, -e), y=lambda g, e: axis_y(g, -e), u=lambda g, e: axis_u(g, -e)),
    ),
    _(
        "leg_equation",
        "cone-supplement",
        abc(x=lambda g, e: axis_x(pi - g, e), y=lambda g, e: axis_y(pi - g, e), u=lambda g, e: axis_u(pi - g, e)),
    ),
    _("leg_equation", "missing-factor", abc(y=lambda g, e: [sin(e), 0, 0])),
    _("leg_equation", "order", lambda **k: (lambda a, b, c: (b, a, c))(*abc()(**k))),
    _("leg_equation", "sign", lambda **k: (lambda a, b, c: (a, b, -c))(*abc()(**k))),
    _(
        "leg_equation",
        "frame",
        lambda base_cone, azimuth, proximal, distal, vx, vy, vz: equation(
            base_cone, azimuth, proximal, distal, np.array([vx, -vy, -vz])
        ),
    ),
    # the quadratic
    _("half_angle", "sign", lambda a, b, c: (a + c, 2 * b, a - c)),
    _("half_angle", "order", lambda a, b, c: (c - a, c + a, 2 * b)),
    _("half_angle", "half-angle", lambda a, b, c: (c - a, 4 * b, c + a)),
    _("half_angle", "missing-factor", lambda a, b, c: (c - a, 2, c + a)),
    _("half_angle", "sign", lambda a, b, c: (c - a, 2 * b, a - c)),
    # the motor angle
    _("motor_angle", "half-angle", lambda a, b, c, mode: half(a, b, c, mode)),
    _("motor_angle", "half-angle", lambda a, b, c, mode: 2 * half(a, b, c, mode)),
    _("motor_angle", "half-angle", lambda a, b, c, mode: tan(solved(a, b, c, mode) / 2)),
    _("motor_angle", "other-elbow", lambda a, b, c, mode: 2 * atan((-b - mode * root(a, b, c)) / (c - a))),
    _(
        "motor_angle",
        "sign",
        lambda a, b, c, mode: (
            2 * atan((-b + mode * sqrt(c * c - a * a - b * b)) / (c - a)) if c * c > a * a + b * b else np.nan
        ),
    ),
    _("motor_angle", "quadrant", lambda a, b, c, mode: atan(b / a) - mode * acos(-c / hypot(a, b))),
    _("motor_angle", "half-angle", lambda a, b, c, mode: atan2(b, a) - mode * acos(-c / hypot(a, b)) / 2),
    _("motor_angle", "half-angle", lambda a, b, c, mode: 2 * atan((-b + mode * root(a, b, c)) / (2 * (c - a)))),
    _("motor_angle", "sign", lambda a, b, c, mode: acos(-c / hypot(a, b)) * mode - atan2(b, a)),
    _("motor_angle", "missing-factor", lambda a, b, c, mode: 2 * atan2(-b + mode * discriminant(a, b, c), c - a)),
    _("motor_angle", "sign", lambda a, b, c, mode: 2 * atan2(-b + mode * root(a, b, c), a - c)),
    _("motor_angle", "sin-cos", lambda a, b, c, mode: 2 * atan2(c - a, -b + mode * root(a, b, c))),
    _("motor_angle", "quadrant", lambda a, b, c, mode: asin((-b * c - mode * a * root(a, b, c)) / (a * a + b * b))),
    _("motor_angle", "quadrant", lambda a, b, c, mode: acos((-a * c + mode * b * root(a, b, c)) / (a * a + b * b))),
    _("motor_angle", "other-elbow", lambda a, b, c, mode: asin(-c / hypot(a, b)) - atan2(a, b)),
    _("motor_angle", "degrees", lambda a, b, c, mode: degrees(atan2(b, a)) - mode * degrees(acos(-c / hypot(a, b)))),
    _("motor_angle", "degrees", lambda a, b, c, mode: degrees(atan2(b, a)) - mode * acos(-c / hypot(a, b))),
    # the whole way
    _("motor_angle_full", "transpose", motor(R=lambda r, p, y: rx(-r) @ ry(-p) @ rz(-y))),
    _("motor_angle_full", "order", motor(R=lambda r, p, y: rpy(p, r, y))),
    _(
        "motor_angle_full",
        "degrees",
        motor(given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e, p1, p2, radians(r), radians(p), radians(y), m)),
    ),
    _("motor_angle_full", "sin-cos", motor(solution=lambda a, b, c, mode: atan2(a, b) - mode * phase(a, b, c))),
    _("motor_angle_full", "missing-factor", motor(R=lambda r, p, y: np.eye(3))),
    _(
        "motor_angle_full",
        "sign",
        motor(abc=lambda x, y, z, p1, p2: (sin(p1) * x, sin(p1) * y, -cos(p1) * z - cos(p2))),
    ),
    _("motor_angle_full", "half-angle", motor(solution=lambda a, b, c, mode: atan(half(a, b, c, mode)))),
    _("motor_angle_full", "cone-supplement", motor(v=lambda beta, e: rz(e) @ ry(pi - beta) @ E_Z)),
    _("motor_angle_full", "order", motor(given=lambda g, k, e, p1, p2, r, p, y, m: (k, g, e, p1, p2, r, p, y, m))),
    _("motor_angle_full", "legs-reversed", motor(B=lambda g, e: frame(g, -e))),
    _(
        "motor_angle_full",
        "missing-factor",
        motor(abc=lambda x, y, z, p1, p2: (sin(p1) * x, sin(p1) * y, cos(p1) * z)),
    ),
    _(
        "motor_angle_full",
        "links-swapped",
        motor(abc=lambda x, y, z, p1, p2: (sin(p2) * x, sin(p2) * y, cos(p1) * z - cos(p2))),
    ),
    # rates
    wrong_row("missing-factor", lambda w, u, p: np.cross(w, p) / np.linalg.norm(np.cross(w, p))),
    wrong_row("sign", lambda w, u, p: np.cross(p, w) / (np.cross(w, p) @ u)),
    wrong_row("missing-factor", lambda w, u, p: (np.cross(w, p) @ u) * np.cross(w, p)),
]

# ------------------------------- one slip, in the manner of people who did not know the catalogue: whole other habits


def spun(axis, angle, v):
    """v turned about an axis, by the formula of Rodrigues."""
    axis, v = np.asarray(axis), np.asarray(v)
    return v * cos(angle) + np.cross(axis, v) * sin(angle) + axis * (axis @ v) * (1 - cos(angle))


def staggered(step):
    """v with the hinges of the platform between the motors."""
    return lambda beta, e: np.array([sin(beta) * cos(e + step), sin(beta) * sin(e + step), cos(beta)])


def from_quadratic(A, B, C):
    """The root of A t^2 + B t + C that belongs to the mode, with wrong coefficients put in."""

    def answer(a, b, c, mode):
        p, q, r = A(a, b, c), B(a, b, c), C(a, b, c)
        return 2 * atan((-q + mode * sqrt(q * q - 4 * p * r)) / (2 * p)) if q * q >= 4 * p * r else np.nan

    return answer


def with_numbers(minus_b, square, product, divisor):
    """t with the 2 and the 4 of the quadratic formula cancelled here and kept there."""

    def answer(a, b, c, mode):
        under = square * b * b - product * (c - a) * (c + a)
        return 2 * atan2(-minus_b * b + mode * sqrt(under), divisor * (c - a)) if under >= 0 else np.nan

    return answer


def columns_of(change):
    """The leg frame from its columns x, y, u."""
    return lambda base_cone, azimuth: np.column_stack(change(*frame(base_cone, azimuth).T))


def from_tangent(u, x, y, p, t):
    return u + tan(p) * (cos(t) * x + sin(t) * y)


def on_axes(change):
    """w from the three axes of the leg."""
    return lambda base_cone, azimuth, proximal, theta: change(
        *(np.array(axis(base_cone, azimuth)) for axis in (axis_u, axis_x, axis_y)), proximal, theta
    )


def right_row(base_cone, azimuth, proximal, theta, vx, vy, vz):
    n = np.cross(elbow(base_cone, azimuth, proximal, theta), [vx, vy, vz])
    return n / (n @ axis_u(base_cone, azimuth))


def m_(kind, answer):
    return _("motor_angle", kind, answer)


OUTSIDE = [
    # a constant beside an angle
    _("platform_axis", "zero-offset", vector(staggered(pi / 3))),
    _("platform_axis", "zero-offset", vector(staggered(pi))),
    _("platform_axis", "zero-offset", vector(staggered(radians(30)))),
    _("platform_axis", "zero-offset", vector(lambda beta, e: rz(e + pi / 2) @ ry(beta) @ E_Z)),
    _("platform_axis", "zero-offset", vector(lambda beta, e: rz(e) @ ry(beta + radians(5)) @ E_Z)),
    p_("zero-offset", lambda v, beta, e, r, p, y: rpy(r, p - radians(12), y) @ v),
    f("zero-offset", v=staggered(pi / 3)),
    f("zero-offset", v=staggered(-pi / 3)),
    f("zero-offset", v=staggered(pi)),
    f("zero-offset", v=staggered(pi / 2)),
    f("zero-offset", B=lambda g, e: frame(g, e + radians(20))),
    f("zero-offset", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e + pi / 6, p1, p2, r, p, y, m)),
    f("zero-offset", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e, p1, p2 + radians(3), r, p, y, m)),
    _("base_axis", "zero-offset", lambda base_cone, azimuth: axis_u(base_cone, azimuth - pi / 2)),
    _("base_axis", "zero-offset", lambda base_cone, azimuth: axis_u(base_cone + radians(10), azimuth)),
    _("leg_equation", "zero-offset", legs(lambda g, e, p1, p2, p: (g, e + 2 * pi / 3, p1, p2, p))),
    _("leg_equation", "zero-offset", legs(lambda g, e, p1, p2, p: (g, e, p1, p2 - 0.05, p))),
    _("elbow_axis", "zero-offset", turned(lambda g, e, p, t: frame(g, e) @ rz(t) @ ry(p + 0.1))),
    _("orientation", "zero-offset", lambda roll, pitch, yaw: rpy(roll, pitch + radians(10), yaw)),
    _("rate_row", "zero-offset", lambda azimuth, **k: right_row(azimuth=azimuth + pi / 5, **k)),
    # the numbers of the quadratic formula, and a wrong quadratic in it
    m_("half-angle", with_numbers(1, 1, 4, 1)),
    m_("half-angle", with_numbers(1, 1, 4, 2)),
    m_("half-angle", with_numbers(1, 1, 1, 2)),
    m_("half-angle", with_numbers(2, 1, 1, 2)),
    m_("half-angle", with_numbers(2, 1, 1, 1)),
    m_("missing-factor", with_numbers(2, 4, 1, 2)),
    m_("half-angle", with_numbers(2, 2, 4, 2)),
    m_("half-angle", from_quadratic(lambda a, b, c: c - a, lambda a, b, c: b, lambda a, b, c: c + a)),
    m_("order", from_quadratic(lambda a, b, c: a - c, lambda a, b, c: 2 * b, lambda a, b, c: c + a)),
    m_("sign", from_quadratic(lambda a, b, c: c - a, lambda a, b, c: 2 * b, lambda a, b, c: c - a)),
    m_("sign", from_quadratic(lambda a, b, c: c + a, lambda a, b, c: 2 * b, lambda a, b, c: c - a)),
    f("half-angle", solution=with_numbers(1, 1, 4, 1)),
    f("half-angle", solution=with_numbers(2, 1, 1, 2)),
    # brackets
    m_("brackets", lambda a, b, c, mode: 2 * atan(-b + mode * root(a, b, c) / (c - a))),
    m_("brackets", lambda a, b, c, mode: 2 * atan((-b + mode * root(a, b, c)) / c - a)),
    m_(
        "brackets",
        lambda a, b, c, mode: 2 * atan((-2 * b + mode * sqrt(4 * b * b - 4 * (c * c - a * a))) / 2 * (c - a)),
    ),
    m_("brackets", lambda a, b, c, mode: 2 * atan2(-b + mode * sqrt(a * a + b * b) - c * c, c - a)),
    m_("brackets", lambda a, b, c, mode: atan2(-c, mode * (sqrt(a * a + b * b) - c * c)) - atan2(a, b)),
    f(
        "brackets",
        solution=lambda a, b, c, mode: (
            2 * atan(-b + mode * root(a, b, c) / (c - a)) if c * c < a * a + b * b else np.nan
        ),
    ),
    # the right direction
    _(
        "base_axis",
        "length",
        lambda base_cone, azimuth: [tan(base_cone) * cos(azimuth), tan(base_cone) * sin(azimuth), -1],
    ),
    _("base_axis", "length", lambda base_cone, azimuth: [cos(azimuth), sin(azimuth), -1 / tan(base_cone)]),
    _(
        "base_axis",
        "length",
        lambda base_cone, azimuth: np.cross(axis_x(base_cone, azimuth), 0.5 * axis_y(base_cone, azimuth)),
    ),
    _("base_axis", "length", lambda base_cone, azimuth: axis_u(base_cone, azimuth) * (1 + sin(azimuth) ** 2)),
    _("leg_frame", "length", columns_of(lambda x, y, u: (np.cross(np.cross(u, E_Z), u), np.cross(u, E_Z), u))),
    _("leg_frame", "length", columns_of(lambda x, y, u: (x, 2 * y, u))),
    _("leg_frame", "sign", columns_of(lambda x, y, u: (x, -y, u))),
    _("elbow_axis", "length", on_axes(from_tangent)),
    _("elbow_axis", "length", on_axes(lambda u, x, y, p, t: u / tan(p) + cos(t) * x + sin(t) * y)),
    _("platform_axis", "length", vector(lambda beta, e: [cos(e), sin(e), 1 / tan(beta)])),
    p_("length", lambda v, beta, e, r, p, y: 1.2 * rpy(r, p, y) @ v),
    f("length", v=lambda beta, e: np.array([cos(e), sin(e), 1 / tan(beta)])),
    wrong_row("length", lambda w, u, p: np.cross(w, p) / (np.cross(w, p) @ u) ** 2),
    # both links' angles
    _("leg_equation", "links-swapped", abc(c=lambda p1, p2, Z: cos(p1) * Z - cos(p1 + p2))),
    _("leg_equation", "links-swapped", abc(c=lambda p1, p2, Z: cos(p1) * Z - cos(p2 - p1))),
    _("leg_equation", "links-swapped", abc(c=lambda p1, p2, Z: cos(p1 + p2) * Z - cos(p2))),
    _("leg_equation", "links-swapped", legs(lambda g, e, p1, p2, p: (g, e, p1 + p2, p2, p))),
    f("links-swapped", abc=lambda x, y, z, p1, p2: (sin(p1) * x, sin(p1) * y, cos(p1) * z - cos(p1 + p2))),
    # half of it in degrees
    m_("degrees", lambda a, b, c, mode: radians(degrees(atan2(b, a)) - mode * phase(a, b, c))),
    m_("degrees", lambda a, b, c, mode: np.deg2rad(atan2(b, a) - mode * np.rad2deg(phase(a, b, c)))),
    m_("degrees", lambda a, b, c, mode: radians(degrees(atan2(-c, mode * root(a, b, c))) - atan2(a, b))),
    f(
        "degrees",
        solution=lambda a, b, c, mode: (
            radians(degrees(atan2(b, a)) - mode * phase(a, b, c)) if c * c < a * a + b * b else np.nan
        ),
    ),
    # the angles of the camera counted the other way
    p_("sign", lambda v, beta, e, r, p, y: rpy(-r, -p, -y) @ v),
    p_("sign", lambda v, beta, e, r, p, y: rpy(r, -p, -y) @ v),
    p_("sign", lambda v, beta, e, r, p, y: rpy(-r, -p, y) @ v),
    _("orientation", "sign", lambda roll, pitch, yaw: rpy(-roll, -pitch, -yaw)),
    _("orientation", "sign", lambda roll, pitch, yaw: rpy(-roll, pitch, -yaw)),
    f("sign", R=lambda r, p, y: rpy(-r, -p, -y)),
    f("sign", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e, p1, p2, -r, -p, y, m)),
    # a link along another axis
    _(
        "elbow_axis",
        "frame",
        lambda base_cone, azimuth, proximal, theta: frame(base_cone, azimuth) @ rz(theta) @ ry(proximal)[:, 0],
    ),
    _(
        "elbow_axis",
        "frame",
        lambda base_cone, azimuth, proximal, theta: frame(base_cone, azimuth) @ rz(theta) @ ry(proximal) @ [0, 1, 0],
    ),
    _("base_axis", "frame", lambda base_cone, azimuth: rz(azimuth) @ ry(pi - base_cone) @ [1, 0, 0]),
    p_("frame", lambda v, beta, e, r, p, y: rpy(r, p, y) @ rz(e) @ ry(beta) @ [1, 0, 0]),
    f("frame", v=lambda beta, e: rz(e) @ ry(beta) @ [1, 0, 0]),
    # a factor too many: divided through, but not everywhere
    _("leg_equation", "missing-factor", abc(c=lambda p1, p2, Z: cos(p1) * (Z - cos(p2)))),
    _(
        "leg_equation",
        "missing-factor",
        abc(a=lambda p1, p2, X: X, b=lambda p1, p2, Y: Y, c=lambda p1, p2, Z: Z / tan(p1) - cos(p2)),
    ),
    _("leg_equation", "missing-factor", abc(a=lambda p1, p2, X: tan(p1) * X, b=lambda p1, p2, Y: tan(p1) * Y)),
    _(
        "elbow_axis",
        "missing-factor",
        on_axes(lambda u, x, y, p, t: (lambda w: w * cos(t) + np.cross(u, w) * sin(t))(cos(p) * u + sin(p) * x)),
    ),
    _("orientation", "missing-factor", with_entry(2, 0, lambda r, p, y: -sin(p) * cos(r))),
    # one argument for another
    f("order", given=lambda g, k, e, p1, p2, r, p, y, m: (k, k, e, p1, p2, r, p, y, m)),
    _("orientation", "order", lambda roll, pitch, yaw: rpy(roll, roll, yaw)),
    _("orientation", "order", with_entry(1, 0, lambda r, p, y: sin(y) * cos(r))),
    p_("order", lambda v, beta, e, r, p, y: rpy(r, p, p) @ v),
    _("elbow_axis", "order", turned(lambda g, e, p, t: frame(g, e) @ rz(t) @ ry(g))),
    m_("order", lambda a, b, c, mode: atan2(b, a) - mode * (acos(-c / hypot(a, c)))),
    # the right formula of Rodrigues, turned the wrong way
    _("elbow_axis", "transpose", on_axes(lambda u, x, y, p, t: spun(u, -t, cos(p) * u + sin(p) * x))),
]


SINGLE = [
    *ROTATIONS,
    *ORIENTATIONS,
    *BASE_AXES,
    *ELBOWS,
    *PLATFORMS,
    *EQUATIONS,
    *QUADRATICS,
    *MOTORS,
    *WHOLE,
    *RATES,
    *LATER,
    *STRANGER,
    *OUTSIDE,
]

# ------------------------------------------------------------------------------------------ two slips at once


def both(step, first, second, answer):
    return _(step, first, second, answer)


PAIRS_OF_AXES = [
    both(
        "base_axis",
        "missing-factor",
        "cone-supplement",
        lambda base_cone, azimuth: [cos(azimuth), sin(azimuth), cos(base_cone)],
    ),
    both(
        "base_axis",
        "degrees",
        "transpose",
        lambda base_cone, azimuth: rz(degrees(azimuth)).T @ ry(pi - base_cone) @ E_Z,
    ),
    both("orientation", "order", "transpose", lambda roll, pitch, yaw: rx(roll) @ ry(pitch).T @ rz(yaw)),
    both(
        "orientation",
        "sign",
        "sign",
        lambda roll, pitch, yaw: (
            *with_entry(0, 1, lambda r, p, y: cos(y) * sin(p) * sin(r) + sin(y) * cos(r))(roll, pitch, yaw)[:2],
            [sin(pitch), cos(pitch) * sin(roll), cos(pitch) * cos(roll)],
        ),
    ),
    both(
        "orientation", "degrees", "order", lambda roll, pitch, yaw: rx(roll * DEG) @ ry(pitch * DEG) @ rz(yaw * DEG)
    ),
    both("orientation", "missing-factor", "transpose", lambda roll, pitch, yaw: rz(yaw).T @ rx(roll)),
    both("orientation", "frame", "transpose", lambda roll, pitch, yaw: rz(0.4) @ rz(yaw) @ ry(pitch).T @ rx(roll)),
    both(
        "orientation",
        "sin-cos",
        "sign",
        lambda roll, pitch, yaw: (
            *with_entry(0, 0, lambda r, p, y: sin(y) * cos(p))(roll, pitch, yaw)[:2],
            [sin(pitch), cos(pitch) * sin(roll), cos(pitch) * cos(roll)],
        ),
    ),
    both("rotation_z", "degrees", "transpose", lambda angle: rz(degrees(angle)).T),
    both(
        "rotation_y",
        "sin-cos",
        "sign",
        lambda angle: [[sin(angle), 0, cos(angle)], [0, 1, 0], [cos(angle), 0, sin(angle)]],
    ),
    both(
        "elbow_axis",
        "legs-reversed",
        "sign",
        lambda base_cone, azimuth, proximal, theta: elbow(base_cone, -azimuth, proximal, theta) * [1, 1, -1],
    ),
    both(
        "elbow_axis",
        "cone-supplement",
        "sign",
        lambda base_cone, azimuth, proximal, theta: elbow(pi - base_cone, azimuth, proximal, -theta),
    ),
    both(
        "elbow_axis",
        "sign",
        "zero-offset",
        lambda base_cone, azimuth, proximal, theta: elbow(base_cone, azimuth, proximal, 0.6 - theta),
    ),
    both(
        "elbow_axis",
        "transpose",
        "zero-offset",
        lambda base_cone, azimuth, proximal, theta: rz(azimuth).T @ elbow(base_cone, 0, proximal, theta + 0.9),
    ),
    both(
        "elbow_axis",
        "missing-factor",
        "cone-supplement",
        lambda base_cone, azimuth, proximal, theta: (
            frame(pi - base_cone, azimuth) @ [cos(theta) * sin(proximal), sin(theta), cos(proximal)]
        ),
    ),
    both("elbow_axis", "sin-cos", "sign", w_from(right_out, lambda g, p, t: -cos(p) * sin(t), right_up)),
    both("elbow_axis", "sin-cos", "sign", w_with(2, lambda g, e, p, t: cos(g) * cos(p) + sin(g) * sin(p) * sin(t))),
    both(
        "elbow_axis",
        "degrees",
        "legs-reversed",
        lambda base_cone, azimuth, proximal, theta: elbow(base_cone, -azimuth, proximal, radians(theta)),
    ),
    both(
        "elbow_axis",
        "half-angle",
        "cone-supplement",
        lambda base_cone, azimuth, proximal, theta: elbow(pi - base_cone, azimuth, proximal / 2, theta),
    ),
    both(
        "platform_axis",
        "transpose",
        "legs-reversed",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(platform_cone, -azimuth, rpy(roll, pitch, yaw).T),
    ),
    both(
        "platform_axis",
        "order",
        "cone-supplement",
        lambda platform_cone, azimuth, roll, pitch, yaw: platform(
            pi - platform_cone, azimuth, rx(roll) @ ry(pitch) @ rz(yaw)
        ),
    ),
    both(
        "platform_axis",
        "sin-cos",
        "transpose",
        lambda platform_cone, azimuth, roll, pitch, yaw: (
            rz(yaw)
            @ ry(pitch).T
            @ rx(roll)
            @ [cos(platform_cone) * cos(azimuth), cos(platform_cone) * sin(azimuth), sin(platform_cone)]
        ),
    ),
    both(
        "platform_axis",
        "missing-factor",
        "order",
        lambda platform_cone, azimuth, roll, pitch, yaw: (
            rz(yaw) @ rx(roll) @ ry(pitch) @ [cos(azimuth), sin(azimuth), cos(platform_cone)]
        ),
    ),
    both(
        "platform_axis",
        "sign",
        "legs-reversed",
        lambda platform_cone, azimuth, roll, pitch, yaw: v_row(
            2, lambda r, p, y, vx, vy, vz: sin(p) * vx + cos(p) * sin(r) * vy + cos(p) * cos(r) * vz
        )(platform_cone, -azimuth, roll, pitch, yaw),
    ),
]

PAIRS_OF_EQUATIONS = [
    both("leg_equation", "links-swapped", "legs-reversed", legs(lambda g, e, p1, p2, p: (g, -e, p2, p1, p))),
    both(
        "leg_equation",
        "links-swapped",
        "sign",
        lambda base_cone, azimuth, proximal, distal, vx, vy, vz: abc(c=lambda p1, p2, Z: cos(p1) * Z + cos(p2))(
            base_cone, azimuth, distal, proximal, vx, vy, vz
        ),
    ),
    both(
        "leg_equation",
        "sign",
        "sign",
        abc(b=lambda p1, p2, Y: -sin(p1) * Y, c=lambda p1, p2, Z: cos(p1) * Z + cos(p2)),
    ),
    both(
        "leg_equation",
        "cone-supplement",
        "missing-factor",
        lambda base_cone, azimuth, proximal, distal, vx, vy, vz: abc(c=lambda p1, p2, Z: Z - cos(p2))(
            pi - base_cone, azimuth, proximal, distal, vx, vy, vz
        ),
    ),
    both(
        "leg_equation",
        "sin-cos",
        "sign",
        abc(a=lambda p1, p2, X: cos(p1) * X, c=lambda p1, p2, Z: cos(p1) * Z + cos(p2)),
    ),
    both(
        "leg_equation",
        "degrees",
        "sign",
        lambda base_cone, azimuth, proximal, distal, vx, vy, vz: abc(c=lambda p1, p2, Z: cos(p1) * Z + cos(p2))(
            *(t * DEG for t in (base_cone, azimuth, proximal, distal)), vx, vy, vz
        ),
    ),
    both(
        "leg_equation",
        "transpose",
        "missing-factor",
        abc(
            y=lambda g, e: np.array([-sin(e), -cos(e), 0]),
            x=lambda g, e: np.array([cos(e) * cos(g), -sin(e) * cos(g), sin(g)]),
            u=lambda g, e: np.array([cos(e) * sin(g), -sin(e) * sin(g), -cos(g)]),
            c=lambda p1, p2, Z: cos(p1) * Z,
        ),
    ),
    both("half_angle", "half-angle", "sign", lambda a, b, c: (a - c, b, c + a)),
    both("half_angle", "sin-cos", "half-angle", lambda a, b, c: (c - b, a, c + b)),
    both("half_angle", "missing-factor", "sign", lambda a, b, c: (-a, -2 * b, c + a)),
    both("motor_angle", "other-elbow", "degrees", lambda a, b, c, mode: degrees(solved(a, b, c, -mode))),
    both("motor_angle", "other-elbow", "quadrant", lambda a, b, c, mode: atan(b / a) + mode * phase(a, b, c)),
    both("motor_angle", "sign", "sin-cos", lambda a, b, c, mode: atan2(a, b) - mode * acos(c / hypot(a, b))),
    both(
        "motor_angle",
        "half-angle",
        "sign",
        lambda a, b, c, mode: atan((b + mode * sqrt(discriminant(a, b, c))) / (c - a)),
    ),
    both("motor_angle", "other-elbow", "zero-offset", lambda a, b, c, mode: solved(a, b, c, -mode) + 0.35),
    both("motor_angle", "quadrant", "zero-offset", lambda a, b, c, mode: atan(b / a) - mode * phase(a, b, c) - 0.5),
    both(
        "motor_angle",
        "sign",
        "sign",
        lambda a, b, c, mode: 2 * atan((b + mode * sqrt(a * a + b * b + c * c)) / (c - a)),
    ),
]


def ff(first, second, **parts):
    return both("motor_angle_full", first, second, motor(**parts))


PAIRS_ON_THE_WHOLE_WAY = [
    ff(
        "transpose",
        "other-elbow",
        R=lambda r, p, y: rpy(r, p, y).T,
        solution=lambda a, b, c, mode: solved(a, b, c, -mode),
    ),
    ff(
        "order",
        "links-swapped",
        R=lambda r, p, y: rx(r) @ ry(p) @ rz(y),
        given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e, p2, p1, r, p, y, m),
    ),
    ff("legs-reversed", "other-elbow", given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, -e, p1, p2, r, p, y, -m)),
    ff(
        "cone-supplement",
        "sign",
        given=lambda g, k, e, p1, p2, r, p, y, m: (pi - g, k, e, p1, p2, r, p, y, m),
        abc=lambda x, y, z, p1, p2: (sin(p1) * x, -sin(p1) * y, cos(p1) * z - cos(p2)),
    ),
    ff(
        "cone-supplement",
        "transpose",
        v=lambda beta, e: rz(e) @ [sin(beta), 0, -cos(beta)],
        R=lambda r, p, y: rpy(r, p, y).T,
    ),
    ff(
        "missing-factor",
        "zero-offset",
        v=lambda beta, e: np.array([sin(beta), 0, cos(beta)]),
        solution=lambda a, b, c, mode: solved(a, b, c, mode) + 0.8,
    ),
    ff(
        "transpose",
        "sign",
        R=lambda r, p, y: rz(y).T @ ry(p) @ rx(r),
        abc=lambda x, y, z, p1, p2: (sin(p1) * x, sin(p1) * y, cos(p1) * z + cos(p2)),
    ),
    ff(
        "sin-cos",
        "degrees",
        abc=lambda x, y, z, p1, p2: (cos(p1) * x, cos(p1) * y, sin(p1) * z - cos(p2)),
        solution=lambda a, b, c, mode: degrees(solved(a, b, c, mode)),
    ),
    ff(
        "order",
        "quadrant",
        R=lambda r, p, y: ry(p) @ rz(y) @ rx(r),
        solution=lambda a, b, c, mode: atan(b / a) - mode * (phase(a, b, c) if c * c < a * a + b * b else np.nan),
    ),
    ff(
        "links-swapped",
        "cone-supplement",
        given=lambda g, k, e, p1, p2, r, p, y, m: (pi - g, k, e, p2, p1, r, p, y, m),
    ),
    ff(
        "legs-reversed",
        "transpose",
        v=lambda beta, e: rz(-e) @ [sin(beta), 0, cos(beta)],
        R=lambda r, p, y: rpy(r, p, y).T,
    ),
    ff(
        "sign",
        "sign",
        given=lambda g, k, e, p1, p2, r, p, y, m: (g, k, e, p1, p2, r, -p, y, m),
        abc=lambda x, y, z, p1, p2: (-sin(p1) * x, sin(p1) * y, cos(p1) * z - cos(p2)),
    ),
]

DOUBLE = [*PAIRS_OF_AXES, *PAIRS_OF_EQUATIONS, *PAIRS_ON_THE_WHOLE_WAY]

# ------------------------------ two signs or exchanges that are, together, one deed: it is told by its simple name

ONE_DEED = [
    _(
        "base_axis",
        "frame",
        lambda base_cone, azimuth: [sin(base_cone) * cos(azimuth), -sin(base_cone) * sin(azimuth), cos(base_cone)],
    ),
    _(
        "base_axis",
        "frame",
        lambda base_cone, azimuth: [sin(base_cone) * sin(azimuth), -sin(base_cone) * cos(azimuth), -cos(base_cone)],
    ),
    _(
        "elbow_axis",
        "transpose",
        lambda base_cone, azimuth, proximal, theta: (
            ry(pi - base_cone) @ rz(azimuth).T @ rz(pi) @ rz(theta) @ ry(proximal) @ E_Z
        ),
    ),
]
