"""How long reviews take, compared with the answer alone: for one slip, for two, and where nothing explains it.

    python tests/benchmarks/review.py

The yardstick is the floor of every review: the same answer called at as many points. The first review of a step makes
its catalogue; the next ones find it made. Printed: seconds, and how many floors that is.
"""

import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
import slips_by_hand as by_hand
from legloop.lesson import review
from legloop.lesson.algebra.samples import draw
from legloop.lesson.algebra.steps import STEPS

POINTS = 192 + 24


def seconds(action):
    """Of three runs, the first and then the others."""
    runs = []
    for _ in range(3):
        start = time.perf_counter()
        action()
        runs.append(time.perf_counter() - start)
    return runs


def unexplained(step):
    """The right answer with a wave on top."""

    def answer(**given):
        right = step.reference({name: np.array([value]) for name, value in given.items()})[:, 0]
        return (right + 0.1 * np.sin(1.3 * sum(given.values())) * np.arange(1, right.size + 1)).reshape(step.shape)

    return answer


def main():
    """Print a line for each step and case."""
    print(f"{'step':18}{'case':14}{'first':>9}{'again':>9}{'floors':>9}")
    for name in ("base_axis", "orientation", "elbow_axis", "platform_axis", "leg_equation", "motor_angle_full"):
        step = STEPS[name]
        cases = {"one slip": next(answer for at, _, answer in by_hand.SINGLE if at == name)}
        cases |= {"two slips": next(answer for at, _, answer in by_hand.DOUBLE if at == name)}
        cases |= {"unexplained": unexplained(step)}
        points = draw(step, POINTS, 1, tidy=False)
        calls = [{argument: float(points[argument][i]) for argument in step.arguments} for i in range(POINTS)]
        for case, answer in cases.items():
            floor = min(seconds(lambda answer=answer, calls=calls: [answer(**call) for call in calls]))
            first, *again = seconds(lambda answer=answer, name=name: review(name, answer))
            print(f"{name:18}{case:14}{first:8.2f}s{min(again):8.2f}s{min(again) / floor:9.0f}")


if __name__ == "__main__":
    main()
