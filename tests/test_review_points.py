"""Answers that are no number at some of the points, and reviews in several threads at once."""

import io
import itertools
import re
import sys
import threading
import time
import warnings
from concurrent.futures import ThreadPoolExecutor
from inspect import Parameter, Signature

import numpy as np
import pytest

from common import FULL
from legloop import rotation
from legloop.lesson import review
from legloop.lesson.algebra.steps import STEPS

POINTS = 192
HOW = {
    "nan": (lambda right: np.asarray(right) * np.nan, "gives nan"),
    "inf": (lambda right: np.asarray(right) + np.inf, "gives inf"),
    "one nan": (
        lambda right: np.where(np.arange(np.size(right)).reshape(np.shape(right)), right, np.nan),
        "gives nan",
    ),
    "nothing": (lambda _: None, "returns nothing"),
    "complex": (lambda right: np.asarray(right) * (1 + 1j), "returns complex numbers"),
    "an error": (lambda _: 1 / 0, "raises ZeroDivisionError: division by zero"),
    "another shape": (lambda _: np.zeros(7), r"has shape \(7,\); it must be"),
    "text": (lambda _: "nan", "returns a text; return"),
    "ragged": (lambda _: [[1], [1, 2]], "not made of real numbers"),
    "an array of complex objects": (
        lambda right: np.array(np.broadcast_to(right, np.shape(right)) * np.complex128(1 + 1j), dtype=object),
        "returns complex numbers",
    ),
}


def right(step):
    """The right answer to a step, as a function of its arguments."""

    def answer(**given):
        values = step.reference(
            {**{name: np.array([float(v)]) for name, v in given.items()}, "leg": np.full(1, np.nan)}
        )
        return values[:, 0].reshape(step.shape)

    return answer


def spoilt(step, answer, where, spoil):
    """An answer that is spoilt where the points, in the order in which they are asked for first, say so."""
    order = {}

    def called(**given):
        i = order.setdefault(tuple(given.values()), len(order))
        return spoil(answer(**given)) if i in where else answer(**given)

    called.__signature__ = Signature([Parameter(name, Parameter.KEYWORD_ONLY) for name in step.arguments])
    return called


@pytest.mark.parametrize(
    ("name", "how"),
    [(name, how) for name in STEPS for how in HOW if FULL or how == "nan" or name in ("base_axis", "motor_angle")],
)
def test_a_right_answer_that_is_no_number_at_some_points_is_reviewed_at_the_others(name, how):
    step, (spoil, words) = STEPS[name], HOW[how]
    rng = np.random.default_rng(5)
    for count in (1, 2, 3, 4, 60, 191) if FULL else (1, 3, 60):
        report = review(name, spoilt(step, right(step), set(rng.permutation(POINTS)[:count].tolist()), spoil))
        assert (report.ok, report.slips, report.max_error) == (False, (), np.inf)
        assert f"Your {step.symbol} is right wherever it is a number, but at " in report.message
        assert re.search(words, report.message)
        assert report.message.count(f"{step.arguments[0]} = ") >= min(count, 4)
        if len(step.arguments) > 1:  # else some points in whole degrees are the same
            assert (f"{count} points of 192 in all" in report.message) == (count > 4)


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("count", [1, 3, 4, 90] if FULL else [3])
def test_a_slip_is_named_by_the_other_points(how, count):
    step, (spoil, _) = STEPS["elbow_axis"], HOW[how]

    def mirrored(theta, **given):
        return right(step)(theta=-theta, **given)

    where = set(np.random.default_rng(6).permutation(POINTS)[:count].tolist())
    report = review("elbow_axis", spoilt(step, mirrored, where, spoil))
    assert not report.ok
    assert "sign" in report.slips
    assert f"no number at {count} of the 192 points, and that is another fault: at base_cone = " in report.message


def test_an_equation_times_an_enormous_number_is_still_right():
    step = STEPS["leg_equation"]
    for factor in (1e-200, 1e200, -1e300):
        assert review(step, spoilt(step, right(step), range(10**6), lambda value, f=factor: value * f)).ok


def state():
    """What belongs to the whole process, and what NumPy keeps for a thread."""
    return (
        sys.stdout, sys.stderr, sys.stdin, warnings.showwarning, list(warnings.filters), np.geterr(),
        np.get_printoptions(), np.random.get_state()[1].tobytes(),  # noqa: NPY002 - the one that belongs to all sys.getrecursionlimit(),
    )  # fmt: skip


def loud(angle):
    """A right answer that writes, and lets other threads in between."""
    print("loud")
    time.sleep(1e-5)
    np.log(np.float64(-1.0))
    return rotation.rx(angle)


def test_threads_leave_the_process_as_it_was_and_get_their_own_reports(capsys):
    answers = [
        ("rotation_x", loud, True),
        ("rotation_x", lambda angle: rotation.rx(-angle), False),
        ("rotation_y", lambda angle: rotation.ry(angle), True),
        ("rotation_z", lambda angle: rotation.rz(angle).T, False),
        ("base_axis", right(STEPS["base_axis"]), True),
    ]
    alone = [review(step, spoilt(STEPS[step], lambda f=f, **k: f(**k), (), None)) for step, f, _ in answers]
    before, done, seen = state(), threading.Event(), set()

    def watch():
        while not done.is_set():
            seen.add((id(sys.stdout), id(sys.stderr), len(warnings.filters), id(warnings.showwarning)))

    watcher = threading.Thread(target=watch)
    watcher.start()
    switching = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    try:
        with ThreadPoolExecutor(8) as pool:
            jobs = list(itertools.islice(itertools.cycle(range(len(answers))), 40))
            reports = list(pool.map(lambda i: review(answers[i][0], answers[i][1]), jobs))
            inside = list(pool.map(lambda _: np.geterr(), range(8)))
    finally:
        sys.setswitchinterval(switching)
        done.set()
        watcher.join()
    assert state() == before
    assert seen == {(id(sys.stdout), id(sys.stderr), len(warnings.filters), id(warnings.showwarning))}
    assert all(errors == np.geterr() for errors in inside)
    for i, report in zip(jobs, reports, strict=True):
        assert report.ok == answers[i][2]
        assert (report.slips, report.max_error) == (alone[i].slips, alone[i].max_error)
        assert report.message.splitlines()[0] == alone[i].message.splitlines()[0]
    assert "loud" in capsys.readouterr().out  # nobody takes the output of a thread away


def test_the_main_thread_keeps_an_answers_prints_and_no_one_elses(monkeypatch):
    page, started, stop = io.StringIO(), threading.Event(), threading.Event()
    monkeypatch.setattr(sys, "stdout", page)

    def chat():
        while not stop.is_set():
            print("another thread")
            started.set()
            time.sleep(1e-4)

    other = threading.Thread(target=chat)
    other.start()
    started.wait(10)
    before = len(page.getvalue())
    report = review("rotation_x", loud)
    stop.set()
    other.join()
    assert report.ok
    assert report.message.endswith("(It writes to the screen each time it is called; the review kept that away.)")
    assert sys.stdout is page
    assert "loud" not in page.getvalue()
    assert len(page.getvalue()) > before  # what the other thread wrote meanwhile has not been swallowed
