"""Planning a log of a million samples in blocks, and one tick of the joystick beside what people write by hand.

    python tests/benchmarks/motion.py [samples]

Invented motion at 1 kHz: slow wandering of the bird-hide head, far from its limits, and a little noise of a sensor.
Told are seconds, and the most memory beyond the log. A tick of `jog` is told as a multiple of one damped
least-squares step in the same run, so that the speed of the machine falls out; then the slowest ticks of fast sticks.
"""

import sys
import time
import tracemalloc

import numpy as np

from legloop import deg, inverse_kinematics, jacobian, rotation
from legloop.lesson.cases import bird_hide
from legloop.workshop.drive import BeltDrive
from legloop.workshop.motion import MotionLimits, jog, plan_blocks
from legloop.workshop.units import mm

HIDE = bird_hide()
HOME = HIDE.home_angles()
DRIVE = BeltDrive(20, 60, pitch=2 * mm, centre_distance=60 * mm)
LIMITS = MotionLimits(90 * deg, 400 * deg, tick=0.01)
NARROW = MotionLimits(60 * deg, 300 * deg, tick=0.01, travel=np.stack([HOME - 25 * deg, HOME + 30 * deg], axis=1))
DT = 0.02


def wandering(count: int):
    times = np.arange(count) * 1e-3
    noise = np.random.default_rng(5).normal(scale=1e-6, size=(3, count))
    roll, pitch, yaw = (
        20 * deg * np.sin(times / period + phase) + some
        for period, phase, some in zip((3.1, 4.7, 7.3), (0, 1, 2), noise, strict=True)
    )
    return rotation.from_rpy(roll, pitch, yaw), times


def by_hand(R, theta, rate):
    """One damped least-squares step, and the angles there. It keeps no limit; out of reach it gives NaN."""
    J = jacobian(HIDE, R, theta)
    speeds = J.T @ np.linalg.solve(J @ J.T + 1e-4 * np.eye(3), rate)
    R = rotation.from_rotation_vector(J @ speeds * DT) @ R
    return R, inverse_kinematics(HIDE, R, near=theta, unreachable="nan")


STICKS = {  # each is 100 ticks, from home
    "free": (LIMITS, [(0.2, -0.1, 0.3)] * 40 + [(-0.2, 0.1, -0.3)] * 60),
    "sliding along the edge of reach": (LIMITS, [(0.1, 1.2, 0.0)] * 100),
    "wild, within a narrow travel": (
        NARROW,
        np.repeat(np.random.default_rng(0).normal(scale=1.5, size=(20, 3)), 5, axis=0),
    ),
    "let go": (LIMITS, [(0.0, 0.0, 0.0)] * 100),
}


def joystick() -> None:
    for name, (limits, rates) in STICKS.items():
        state, ticks, steps = np.eye(3), [], []
        for rate in rates:
            began = time.perf_counter()
            state = jog(HIDE, state, rate, DT, drive=DRIVE, limits=limits, axes="base")
            ticks.append(time.perf_counter() - began)
            began = time.perf_counter()
            by_hand(state.R, state.theta, np.asarray(rate))
            steps.append(time.perf_counter() - began)
        ratio = np.median(ticks) / np.median(steps)
        longest = np.max(ticks) / np.median(steps)
        print(
            f"jog, {name}: {ratio:.1f} steps by hand ({1e3 * np.median(ticks):.2f} ms against "
            f"{1e3 * np.median(steps):.2f} ms), the longest tick {longest:.0f}"
        )


def fast_sticks() -> None:
    """Sticks that are thrown about, up to far too fast: next to singular poses and limits a tick takes longest."""
    limits = MotionLimits(120 * deg, 600 * deg, tick=0.01, travel=(-150 * deg, 20 * deg))
    for scale in (0.2, 1.0, 3.0, 8.0):
        ticks = []
        for seed in range(3):
            rates = np.repeat(np.random.default_rng(seed).normal(scale=scale, size=(20, 3)).clip(-12, 12), 37, axis=0)
            state = np.eye(3)
            for rate in rates:
                began = time.process_time()
                state = jog(HIDE, state, rate, 0.01, drive=DRIVE, limits=limits)
                ticks.append(time.process_time() - began)
        median, late, worst = 1e3 * np.percentile(ticks, (50, 99, 100))
        print(
            f"jog, {len(ticks)} ticks of a stick at {scale:g} rad/s: median {median:.1f} ms, one in a hundred over "
            f"{late:.1f} ms, worst {worst:.1f} ms of processor"
        )


def logs(sizes) -> None:
    limits = MotionLimits(180 * deg, 1500 * deg, tick=1e-3)
    for count in sizes:
        log = wandering(count)
        began, cpu = time.perf_counter(), time.process_time()
        rows, last = run(log, limits)
        seconds, cpu = time.perf_counter() - began, time.process_time() - cpu
        tracemalloc.start()  # in a run of its own: it slows everything down
        run(log, limits)
        peak = tracemalloc.get_traced_memory()[1] / 2**20
        tracemalloc.stop()
        print(f"{count} samples: {rows} rows to {last:.3f} s in {seconds:.1f} s ({cpu:.1f} s of processor)")
        print(f"  at most {peak:.0f} MiB beyond the log of {(log[0].nbytes + log[1].nbytes) / 2**20:.0f} MiB")


def run(log, limits):
    rows, last = 0, 0.0
    for block in plan_blocks(HIDE, *log, DRIVE, limits=limits):
        rows += len(block.table)
        last = float(block.table["t"][-1])
    return rows, last


if __name__ == "__main__":
    joystick()
    fast_sticks()
    logs([int(sys.argv[1])] if len(sys.argv) > 1 else [100_000, 1_000_000])
