"""The bars and the scrubber of what the platform gives: what is drawn is what was measured."""

import re

import numpy as np
import pytest

from legloop import SingularError, deg, inverse_kinematics, rotation
from legloop.lesson.cases import bird_hide
from legloop.lesson.give import Size, draw_shares, scrub_give
from legloop.workshop.stiffness import PARTS, Build, Link, Section, give, shares
from legloop.workshop.units import mm

HIDE = bird_hide()
WIDTHS = [5 * mm, 7 * mm, 12 * mm]


def measure(R, theta, first, second):
    links = [Link(r, Section.rectangle(w, 12 * mm, E=2.4e9, nu=0.35)) for r, w in ((0.075, first), (0.065, second))]
    build = Build(*links, drive=80.0)
    found = give(HIDE, R, theta, build)
    return found.mean, found.worst, shares(HIDE, R, theta, build).sum(axis=0)


def scrubber(**options):
    sizes = {"first": Size("first link, width", 7 * mm, WIDTHS), "second": Size("second link, width", 7 * mm, WIDTHS)}
    return scrub_give(HIDE, measure, PARTS, sizes, **options)


def drawn(scrubber):
    return [float(value) for value in re.findall(r'data-share="(.*?)"', scrubber.html)]


def test_what_is_drawn_is_what_is_measured():
    shown = scrubber()
    for R, first in ((np.eye(3), 7 * mm), (rotation.from_rpy(0.2, -0.3, 0.1), 12 * mm)):
        shown.set(R=R, first=first)
        mean, worst, parts = measure(R, inverse_kinematics(HIDE, R), first, 7 * mm)
        assert shown.message == ""
        assert drawn(shown) == pytest.approx(parts, abs=5.1e-5)  # four decimals
        assert f"by {mean / deg:.2f}° (mean), {worst / deg:.2f}° (worst)" in shown.alt
        assert f"{PARTS[int(np.argmax(parts))]} {100 * max(parts):.1f} %" in shown.alt
    assert shown.html.count('class="ll-f ll-ink" x=') == 1  # the longest bar


def test_a_slider_changes_the_picture_and_reset_takes_it_back():
    shown = scrubber()
    start = shown.html
    shown.dials["second"].value = 12 * mm
    assert drawn(shown) != drawn(scrubber())
    shown.dials["roll"].value = 10.0
    assert shown.message == ""
    shown.reset_button.click()
    assert shown.html == start


def test_where_there_is_no_stiffness_the_picture_says_so():
    shown = scrubber().set(R=rotation.ry(-100 * deg))
    assert shown.message == ""
    assert "Leg 1 cannot close here" in shown.alt
    assert max(drawn(shown)) == 0

    def singular(*_, **__):
        raise SingularError("flat", pose=(), kind=2)

    assert (
        "turns freely"
        in scrub_give(HIDE, singular, PARTS, {k: Size(k, 7 * mm, WIDTHS) for k in ("first", "second")}).alt
    )


def test_ends_of_all_sliders():
    shown = scrubber()
    for name in ("roll", "pitch", "yaw", "tilt", "azimuth", "torsion"):
        for end in ("min", "max"):
            shown.reset()
            shown.set(**{name: getattr(shown.dials[name], end) * deg})
            assert shown.message == ""
            assert "nan" not in shown.html
    for width in WIDTHS:
        assert shown.set(first=width, second=width).message == ""


def test_bad_input():
    with pytest.raises(ValueError, match=r"starts at 0\.008 m, which is none of its choices; the nearest is 0\.007"):
        scrub_give(HIDE, measure, PARTS, {"first": Size("first", 8 * mm, WIDTHS)})
    with pytest.raises(ValueError, match=r"one row of numbers in \[0, 1\]"):
        draw_shares(["a", "b"], [0.5, 1.5], "")
    with pytest.raises(ValueError, match=r"shares has shape \(3,\)"):
        draw_shares(["a", "b"], [0.5, 0.25, 0.25], "")
    with pytest.raises(ValueError, match="there is no control 'width'"):
        scrubber().set(width=7 * mm)
