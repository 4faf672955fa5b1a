"""How fast the kinematics is, as ratios against rivals that run beside it in the same minute.

    python tests/benchmarks/kinematics.py

Rivals: a C loop compiled here with every optimisation that the compiler has, which checks nothing; SciPy's root
finder for each leg; a lambdified SymPy formula; the floor, which reads the input and calls arctan2 once for each leg;
for the forward problem the constraint solver of a physics engine. Each number is the median of rounds in which
all take turns, so that a busy moment meets all of them.
"""

from __future__ import annotations

import ctypes
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import sympy as sp
from scipy.optimize import root

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from engine import Engine
from legloop import (
    Mechanism,
    assembly_modes,
    certify,
    deg,
    forward_kinematics,
    inverse_kinematics,
    rotation,
)
from legloop.lesson.cases import bird_hide

ROUNDS = 9
C_LOOP = r"""
#include <math.h>
/* theta (n, 3) of orientations R (n, 3, 3): matrix (9, 9) and constant (9) give a, b, c of the three legs */
void solve(const double *R, long n, const double *matrix, const double *constant, double *theta)
{
    for (long k = 0; k < n; ++k) {
        double nine[9];
        for (int i = 0; i < 9; ++i) {
            double sum = constant[i];
            for (int j = 0; j < 9; ++j) sum += matrix[9 * i + j] * R[9 * k + j];
            nine[i] = sum;
        }
        for (int i = 0; i < 3; ++i) {
            double a = nine[i], b = nine[3 + i], c = nine[6 + i], root = sqrt(a * a + b * b - c * c);
            theta[3 * k + i] = atan2(-b * c - a * root, -a * c + b * root);
        }
    }
}
"""


def poses(count: int) -> np.ndarray:
    rng = np.random.default_rng(1)
    tilt, azimuth, torsion = rng.uniform(-1, 1, (3, count)) * np.array([[15], [180], [20]]) * deg
    return rotation.from_tilt_torsion(tilt + 15 * deg, azimuth, torsion)


def compiled() -> Callable[[Mechanism, np.ndarray], np.ndarray]:
    folder = Path(tempfile.mkdtemp())
    (folder / "loop.c").write_text(C_LOOP)
    flags = ["-O3", "-march=native", "-ffast-math", "-shared", "-fPIC"]
    subprocess.run(["cc", *flags, "loop.c", "-o", "loop.so", "-lm"], cwd=folder, check=True)
    solve = ctypes.CDLL(str(folder / "loop.so")).solve
    pointer = ctypes.POINTER(ctypes.c_double)

    def run(m: Mechanism, R: np.ndarray) -> np.ndarray:
        theta = np.empty((len(R), 3))
        arrays = [x.ctypes.data_as(pointer) for x in (R, *m.coefficients, theta)]
        solve(arrays[0], ctypes.c_long(len(R)), *arrays[1:])
        return theta

    return run


def lambdified(m: Mechanism) -> Callable[[np.ndarray], np.ndarray]:
    """The three angles as one SymPy formula in the nine entries of R, with common parts taken out."""
    entries = sp.symbols("r0:9")
    matrix, constant = m.coefficients
    nine = [
        sum(x * r for x, r in zip(row, entries, strict=True)) + d for row, d in zip(matrix, constant, strict=True)
    ]
    angles = []
    for a, b, c in zip(nine[0:3], nine[3:6], nine[6:9], strict=True):
        root = sp.sqrt(a**2 + b**2 - c**2)
        angles.append(sp.atan2(-b * c - a * root, -a * c + b * root))
    formula = sp.lambdify(entries, angles, "numpy", cse=True)
    return lambda R: np.stack(formula(*R.reshape(-1, 9).T), axis=-1)


def by_root_finder(m: Mechanism, R: np.ndarray) -> np.ndarray:
    """One leg after the other, with its slope, from home; near enough here that the elbow stays the same."""
    matrix, constant = m.coefficients
    found = []
    for (a, b, c), home in zip((matrix @ R.reshape(9) + constant).reshape(3, 3).T, m.home_angles(), strict=True):
        curve = root(
            lambda t, a=a, b=b, c=c: a * np.cos(t) + b * np.sin(t) + c,
            home,
            jac=lambda t, a=a, b=b: np.array([b * np.cos(t) - a * np.sin(t)]),
            tol=1e-12,
        )
        found.append(curve.x[0])
    return np.array(found)


def seconds(call: Callable[[], object], times: int = 1) -> float:
    start = time.perf_counter()
    for _ in range(times):
        call()
    return (time.perf_counter() - start) / times


def race(runners: dict[str, tuple[Callable[[], object], int]], per: float) -> dict[str, float]:
    """Median seconds of each, divided by `per`; all take turns."""
    for call, _ in runners.values():
        call()
    rounds = [{name: seconds(call, times) for name, (call, times) in runners.items()} for _ in range(ROUNDS)]
    return {name: statistics.median(r[name] for r in rounds) / per for name in runners}


def show(title: str, found: dict[str, float], unit: float, sign: str, reference: str) -> None:
    print(f"\n{title}")
    for name, value in found.items():
        print(f"  {name:38} {value / unit:10.3f} {sign}   {value / found[reference]:8.2f} x {reference}")


def inverse() -> None:
    m, loop = bird_hide(), compiled()
    formula, R = lambdified(m), poses(1_000_000)
    assert np.abs(loop(m, R) - inverse_kinematics(m, R)).max() < 1e-12
    assert np.abs(formula(R[:1000]) - inverse_kinematics(m, R[:1000])).max() < 1e-12
    assert np.abs(by_root_finder(m, R[0]) - inverse_kinematics(m, R[0])).max() < 1e-9
    y, x = R[:, 0].copy(), R[:, 1].copy()
    found = race(
        {
            "C loop, nothing checked": (lambda: loop(m, R), 1),
            "inverse_kinematics, input checked": (lambda: inverse_kinematics(m, R), 1),
            "lambdified SymPy": (lambda: formula(R), 1),
            "floor: read R, one arctan2 a leg": (lambda: (R.sum(), np.arctan2(y, x)), 1),
        },
        len(R),
    )
    show("inverse kinematics, a million poses: time for one", found, 1e-9, "ns", "C loop, nothing checked")
    one = np.ascontiguousarray(R[0])
    found = race(
        {
            "inverse_kinematics": (lambda: inverse_kinematics(m, one), 2000),
            "lambdified SymPy": (lambda: formula(one), 2000),
            "SciPy root for each leg": (lambda: by_root_finder(m, one), 100),
        },
        1,
    )
    show("inverse kinematics, a single pose", found, 1e-6, "us", "inverse_kinematics")
    print("\ngrowth: time for one pose, in ns, and memory beyond input and output")
    for count in (10**4, 10**5, 10**6, 10**7):
        many = np.tile(R[:10_000], (count // 10_000, 1, 1))
        took = min(seconds(lambda many=many: inverse_kinematics(m, many)) for _ in range(3)) / count
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        theta = inverse_kinematics(m, many)
        peak = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024 - theta.nbytes / 2**20
        print(f"  {count:9d} poses {took * 1e9:10.0f} ns   {max(peak, 0.0):6.1f} MB")


def forward() -> None:
    m, R = bird_hide(), poses(2000)
    theta = inverse_kinematics(m, R)
    walk = rotation.from_tilt_torsion(12 * deg, np.linspace(0, 60, 200_001) * deg, 0.0)
    walked = inverse_kinematics(m, walk[1:])
    engine = Engine(m, R[0], theta[0])
    found = race(
        {
            "assembly_modes, a single pose": (lambda: assembly_modes(m, theta[0]), 20),
            "physics engine to rest, one solution": (lambda: engine.drive(theta[0] + 1e-3, 200), 1),
        },
        1,
    )
    show("forward kinematics, a single pose", found, 1e-6, "us", "assembly_modes, a single pose")
    found = race({"assembly_modes, batch of 2000": (lambda: assembly_modes(m, theta), 1)}, len(theta))
    show("all assembly modes: time for one pose", found, 1e-6, "us", "assembly_modes, batch of 2000")
    track = race(
        {"forward_kinematics, batch": (lambda: forward_kinematics(m, walked, near=walk[:-1]), 1)}, len(walked)
    )
    show("tracked along a path: time for one pose", track, 1e-6, "us", "forward_kinematics, batch")


def proofs_and_imports() -> None:
    m = bird_hide()
    found = race({"certify, cone of 30°": (lambda: certify(m, (1, 1, 1), tilt=30 * deg, torsion=(0, 0)), 1)}, 1)
    show("certificate", found, 1e-3, "ms", "certify, cone of 30°")

    # compiled modules are kept, as on any machine that is not told otherwise
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    kept["PYTHONPYCACHEPREFIX"] = tempfile.mkdtemp()

    def start(code: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, "-c", code], check=True, env=kept)

    both = race({"numpy": (start("import numpy"), 1), "legloop": (start("import legloop"), 1)}, 1)
    show("a process that imports", both, 1e-3, "ms", "numpy")


if __name__ == "__main__":
    inverse()
    forward()
    proofs_and_imports()
