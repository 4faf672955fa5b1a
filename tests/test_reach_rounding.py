"""How far computed values are from exact ones, by arithmetic of 60 digits: what `reach.rounding` derives must hold.

The nasty joints: legs nearly folded or stretched, tiny and nearly straight arcs, axes that are unit to 5e-7 only.
"""

import mpmath
import numpy as np
import pytest

from common import FULL
from legloop import Mechanism, deg
from legloop.lesson.cases import bird_hide, named_joints, random_joints
from legloop.reach import bounds, cone, rounding

POSES = 300 if FULL else 8


def off_unit():
    m = bird_hide()
    bent = np.array([[1, 2e-7, 0], [2e-7, 1, -1e-7], [0, -1e-7, 1 - 2e-7]])
    return Mechanism(m.base_frames @ bent, m.platform_axes * (1 + 4e-7), m.proximal, m.distal)


JOINTS = {
    **named_joints(),
    **{f"random {k}": m for k, m in enumerate(random_joints(4, seed=91))},
    "arcs near 180°": Mechanism.symmetric(
        proximal=175 * deg, distal=172 * deg, base_cone=80 * deg, platform_cone=92 * deg
    ),
    "tiny link": Mechanism.symmetric(proximal=2 * deg, distal=85 * deg, base_cone=45 * deg, platform_cone=50 * deg),
    "equal links": Mechanism.symmetric(
        proximal=80 * deg, distal=80 * deg, base_cone=45 * deg, platform_cone=134.999 * deg
    ),
    "axes unit to 4e-7": off_unit(),
}


def turn(axis, angle):
    c, s = mpmath.cos(angle), mpmath.sin(angle)
    return mpmath.matrix([[c, -s, 0], [s, c, 0], [0, 0, 1]] if axis == "z" else [[c, 0, s], [0, 1, 0], [-s, 0, c]])


def exact(m, point, mode):
    """psi, D, theta and the unit normals of each leg, from the closed forms, at a pose where it closes; else None."""
    tilt, azimuth, torsion = (mpmath.mpf(float(x)) for x in point)
    R = turn("z", azimuth) * turn("y", tilt) * turn("z", torsion - azimuth)
    legs = []
    for leg in range(3):
        B = mpmath.matrix(m.base_frames[leg].tolist())
        for _ in range(6):  # Newton's method for the nearest orthonormal frame, by its inverse
            B = (B + (B**-1).T) / 2
        v = mpmath.matrix(m.platform_axes[leg].tolist())
        q = B.T * R * (v / mpmath.norm(v))
        first, second = mpmath.mpf(float(m.proximal[leg])), mpmath.mpf(float(m.distal[leg]))
        psi = mpmath.atan2(mpmath.hypot(q[0], q[1]), q[2])
        # by the product of four sines, Heron's formula on the sphere, and by a triangle: neither is the package's way
        half = (first + second + psi) / 2
        D = 4 * mpmath.sin(half) * mpmath.sin(half - first) * mpmath.sin(half - second) * mpmath.sin(half - psi)
        if D <= 0:
            return None
        at_u = 2 * mpmath.atan2(
            mpmath.sqrt(mpmath.sin(half - first) * mpmath.sin(half - psi)),
            mpmath.sqrt(mpmath.sin(half) * mpmath.sin(half - second)),
        )
        theta = mpmath.atan2(q[1], q[0]) - int(mode[leg]) * at_u
        w = mpmath.matrix(
            [mpmath.sin(first) * mpmath.cos(theta), mpmath.sin(first) * mpmath.sin(theta), mpmath.cos(first)]
        )
        n = mpmath.matrix([w[1] * q[2] - w[2] * q[1], w[2] * q[0] - w[0] * q[2], w[0] * q[1] - w[1] * q[0]])
        legs.append((psi, D, theta, B * n / mpmath.sin(second)))
    return legs


@pytest.mark.parametrize("name", JOINTS)
def test_computed_values_are_as_near_to_exact_ones_as_derived(name):
    m = JOINTS[name]
    rng = np.random.default_rng(92)
    points = np.stack(
        [rng.uniform(0, 3, 40 * POSES), rng.uniform(-np.pi, np.pi, 40 * POSES), rng.uniform(-6, 6, 40 * POSES)]
    )
    points[:, :3] = 0.0  # home, too
    if name == "equal links":  # some of them 1e-5 to 1e-3 from the folded pose
        points[:] *= 10 ** rng.uniform(-5, 0, 40 * POSES)
    p = cone.axes_at(points, m.platform_axes)
    arc = bounds.span(m, p)
    least = bounds.closing_bound(m, arc, np.zeros(1))
    points = points[:, (least > rounding.least_allowed(m)).all(axis=0)]
    # the worst and some others
    least = bounds.closing_bound(m, bounds.span(m, cone.axes_at(points, m.platform_axes)), np.zeros(1))
    points = points[:, np.argsort(least.min(axis=0))[:: max(1, points.shape[1] // POSES)]][:, :POSES]
    mode = rng.choice([-1.0, 1.0], 3)
    p = cone.axes_at(points, m.platform_axes)
    arc = bounds.span(m, p)
    least, D, at = bounds.closing_bound(m, arc, np.zeros(1)), bounds.discriminants(m, arc), bounds.pose(m, p, mode)
    volume = bounds.volume_bound(m, at, least, np.zeros(1))
    slack, seen = bounds.slack(m), 0
    with mpmath.workdps(60):
        for k in range(points.shape[1]):
            legs = exact(m, points[:, k], mode)
            assert legs is not None  # what is bounded away from zero closes
            for leg, (psi, square, theta, _) in enumerate(legs):
                assert abs(arc[leg, k] - psi) < 0.8 * slack
                assert abs(D[leg, k] - square) < 3 * slack  # of psi and of D
                assert least[leg, k] < square
                off = (at.theta[leg, k] - theta + mpmath.pi) % (2 * mpmath.pi) - mpmath.pi
                assert abs(off) < 2 * slack / mpmath.sqrt(square)  # an eighth of what is counted
                seen += 1
            assert volume[k] <= abs(mpmath.det(mpmath.matrix([list(n) for *_, n in legs])))
    assert seen >= 20 or name in ("arcs near 180°", "tiny link")
