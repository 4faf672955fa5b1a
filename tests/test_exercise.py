"""A verdict says what is wrong with an answer, and no answer brings the marking down."""

import re

import numpy as np
import pytest

from legloop.lesson.exercise import check

CASES = [(0.3,), (2.0,), (-1.2,)]


def test_a_right_answer_in_any_form_passes():
    assert check(lambda x: 2 * np.sin(x / 2) * np.cos(x / 2), np.sin, CASES).ok
    assert check(lambda x: [np.sin(x), 1], lambda x: np.array([np.sin(x), 1]), CASES).ok
    assert check(lambda x: x + 4 * np.pi, lambda x: x, CASES, period=2 * np.pi).ok


def explode(_):
    raise ZeroDivisionError("by hand")


@pytest.mark.parametrize(
    ("answer", "message"),
    [
        (np.cos, r"Differs by up to 1\.3.*most with \(2\): yours gives -0\.4161, the reference 0\.9093"),
        (lambda _: None, "Not answered yet"),
        (lambda _: ..., "Not answered yet"),
        (lambda _: (None, ...), "Not answered yet"),
        (
            lambda x: np.sin(x) if x > 0 else None,
            r"With \(-1\.2\) your function returns nothing, .* 1 of the 3 cases",
        ),
        (
            lambda x: None if x > 0 else 7.0,
            r"With \(0\.3\) your function returns nothing, and so in 2 of the 3 cases",
        ),
        (lambda x: np.array([x, None]), r"returns no number for number 2 of 2"),
        (lambda x: (x, x, None, x), r"returns no number for number 3 of 4; the others it gives"),
        (lambda x: [None, x, ...], r"returns no number for number 1 and 3 of 3; the others"),
        (lambda x: ((x, None), (x, x)), r"returns no number for number 1 of 2: number 2 of 2; the others"),
        (explode, r"With \(0\.3\) your function raises ZeroDivisionError: by hand"),
        (lambda _: "zero", "returns 'zero', which is not made of real numbers"),
        (lambda _: 1j, "not made of real numbers"),
        (lambda x: [x, x], r"shape \(2,\); it should have shape \(\)"),
        (lambda _: np.nan, "Differs by up to nan"),
        (lambda _: np.inf, "Differs by up to inf"),
        (lambda: 1, "raises TypeError"),
        (lambda x: np.sin(x) + 1e-6, "Differs by up to 1e-06"),
        (lambda x: x + np.pi, "Differs"),
    ],
)
def test_wrong_answers_get_a_reason(answer, message):
    verdict = check(answer, np.sin, CASES)
    assert not verdict.ok
    assert repr(verdict) == verdict.message
    assert re.search(message, verdict.message), verdict.message
