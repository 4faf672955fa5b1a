"""Many random ticks of the joystick, each looked at from outside all along: how many break a limit.

    python tests/benchmarks/stick.py [ticks] [first seed]

Random joints and limits, ticks from 5 to 100 ms, as `stick_oracle` draws them. A run that breaks a limit is told with
its seed.
"""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))
from stick_oracle import broken, random_run


def main(wanted: int, seed: int) -> None:
    ticks, outside, began, told = 0, 0, time.monotonic(), 0.0
    while ticks < wanted:
        found, what = random_run(seed, 500)
        bad = broken(found)
        ticks, outside = ticks + len(bad), outside + int(bad.sum())
        if bad.any():
            print(f"seed {seed}: {int(bad.sum())} of {len(bad)} ticks outside, {what}", flush=True)
        seed += 1
        if time.monotonic() > told + 60:
            told = time.monotonic()
            print(f"{ticks} ticks, {outside} outside, next seed {seed}, {told - began:.0f} s", flush=True)
    print(f"{ticks} ticks, {outside} outside, seeds below {seed}")


if __name__ == "__main__":
    numbers = [int(x) for x in sys.argv[1:]]
    main(*(numbers + [1_000_000, 0][len(numbers) :]))
