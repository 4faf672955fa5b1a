"""A log of a million samples through the planner, in blocks: seconds, and the most memory beyond the log.

    python tests/benchmarks/motion.py [samples]

Invented motion at 1 kHz: slow wandering of the bird-hide head, far from its limits, and a little noise of a sensor.
"""

import sys
import time
import tracemalloc

import numpy as np

from legloop import deg, rotation
from legloop.lesson.cases import bird_hide
from legloop.workshop.drive import BeltDrive
from legloop.workshop.motion import MotionLimits, plan_blocks
from legloop.workshop.units import mm


def wandering(count: int):
    times = np.arange(count) * 1e-3
    noise = np.random.default_rng(5).normal(scale=1e-6, size=(3, count))
    roll, pitch, yaw = (
        20 * deg * np.sin(times / period + phase) + some
        for period, phase, some in zip((3.1, 4.7, 7.3), (0, 1, 2), noise, strict=True)
    )
    return rotation.from_rpy(roll, pitch, yaw), times


def main() -> None:
    sizes = [int(sys.argv[1])] if len(sys.argv) > 1 else [100_000, 1_000_000]
    drive = BeltDrive(20, 60, pitch=2 * mm, centre_distance=60 * mm)
    limits = MotionLimits(180 * deg, 1500 * deg, tick=1e-3)
    for count in sizes:
        log = wandering(count)
        began, cpu = time.perf_counter(), time.process_time()
        rows, last = run(log, drive, limits)
        seconds, cpu = time.perf_counter() - began, time.process_time() - cpu
        tracemalloc.start()  # in a run of its own: it slows everything down
        run(log, drive, limits)
        peak = tracemalloc.get_traced_memory()[1] / 2**20
        tracemalloc.stop()
        print(f"{count} samples: {rows} rows to {last:.3f} s in {seconds:.1f} s ({cpu:.1f} s of processor)")
        print(f"  at most {peak:.0f} MiB beyond the log")


def run(log, drive, limits):
    rows, last = 0, 0.0
    for block in plan_blocks(bird_hide(), *log, drive, limits=limits):
        rows += len(block.table)
        last = float(block.table["t"][-1])
    return rows, last


if __name__ == "__main__":
    main()
