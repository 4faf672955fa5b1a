"""The lines over time and the film of a plan: what is drawn is what the arrays hold, and the words say so."""

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from legloop import deg, inverse_kinematics, reach_margin, rotation
from legloop.lesson.cases import bird_hide
from legloop.lesson.scrub_motion import scrub_motion
from legloop.lesson.series import BOTTOM, LEFT, RIGHT, TOP, draw_series

SVG = "{http://www.w3.org/2000/svg}"
HIDE = bird_hide()
T = np.linspace(2, 4, 301)
POSES = rotation.from_rpy(0.3 * np.sin(T), 0.2 * np.cos(2 * T), 0.1 * T)
THETA = inverse_kinematics(HIDE, POSES)


def test_a_line_goes_through_its_values():
    values = np.stack([T, -T, 0 * T], axis=1)
    picture = draw_series(T, values, 3.0, name="angle", unit="°", limits=(5.0,), size=(300, 200))
    root = ElementTree.fromstring(picture.svg)
    of_legs = [[p for p in root.iter(f"{SVG}path") if f"ll-leg{leg}" in p.get("class")] for leg in (1, 2, 3)]
    lines = [line.get("d") for line, _ in of_legs]
    dashes = [[p.get("stroke-dasharray") for p in pair] for pair in of_legs]
    assert len({dash for dash, _ in dashes}) == 3, "the legs differ by colour alone"
    assert all(line == sample for line, sample in dashes), "the sample beside the number is of another leg"
    low, high = -4 - 9 / 20, 5 + 9 / 20  # of the values and the limit, a twentieth wider
    for path, column in zip(lines, values.T, strict=True):
        x, y = np.array(re.findall(r"-?\d+\.\d+", path), dtype=float).reshape(-1, 2).T
        np.testing.assert_allclose(x, LEFT + (T - 2) / 2 * (300 - LEFT - RIGHT), atol=0.006)  # two decimals
        np.testing.assert_allclose(y, TOP + (high - column) / (high - low) * (200 - TOP - BOTTOM), atol=0.006)
    assert picture.alt == "angle in ° at 3.00 s: 3.0, -3.0, 0.0; from -4.5 to 5.5 on the scale."
    assert len([p for p in root.iter(f"{SVG}path") if p.get("stroke-dasharray") and "ll-ink" in p.get("class")]) == 1


def test_a_line_that_is_flat_has_a_scale():
    assert "nan" not in draw_series(T, 0 * THETA, 2.0, name="speed", unit="°/s").svg


def test_the_film_shows_the_moment_of_its_slider():
    film = scrub_motion(HIDE, T, THETA, POSES[0], speed=(1.0,))
    frames = film.dials["frame"].max
    for frame in (0, 7, 120, frames):  # the later ones stand at other rows
        film.set(frame=frame)
        row = np.unique(np.linspace(0, 300, 240).astype(int))[frame]
        assert film.message == ""
        assert f"{T[row]:.2f} s" in film.html
        for leg in range(3):
            assert f"{THETA[row, leg] / deg + 0:.2f}°" in film.html
            assert f"{reach_margin(HIDE, POSES[row])[leg] / deg:.2f}°" in film.html
            before, after = max(row - 1, 0), min(row + 1, 300)
            rate = (THETA[after, leg] - THETA[before, leg]) / (T[after] - T[before])
            assert f"{rate / deg + 0:.2f}°" in film.html
    film.reset()
    assert film.state == {"frame": 0}
    player = film.widget.children[0]
    assert (player.min, player.max) == (0, frames)


@pytest.mark.parametrize(("t", "theta"), [(T[:2], THETA[:2]), (T, THETA[1:]), (T[None], THETA)])
def test_arrays_that_do_not_fit_are_refused(t, theta):
    with pytest.raises(ValueError, match="give"):
        scrub_motion(HIDE, t, theta, POSES[0])
    if len(t) != 2:
        with pytest.raises(ValueError, match="give"):
            draw_series(t, theta, 2.0, name="a", unit="b")
