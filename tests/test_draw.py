import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from itertools import combinations, product

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from legloop import Mechanism, deg, inverse_kinematics, reach_margin, rotation
from legloop.lesson.arcs import circle
from legloop.lesson.cases import bird_hide
from legloop.lesson.draw import (
    VIEW,
    Picture,
    beside,
    draw_equation,
    draw_frames,
    draw_joint,
    draw_turns,
    leg_states,
)
from legloop.lesson.palette import DARK, LIGHT, PATTERNS
from legloop.lesson.picture import degrees, number
from legloop.lesson.scene import Scene
from legloop.lesson.turns import turn_matrix

HIDE = bird_hide()
SVG = "{http://www.w3.org/2000/svg}"
NEGATIVE_ZERO = re.compile(r"(?<![\d.])-0(?:\.0+)?(?![.\d])")


def solve(m, R, mode=(1, 1, 1)):
    return inverse_kinematics(m, R, mode, unreachable="nan")


def random_joint(rng):
    """Any three legs: frames, platform axes and arcs at random."""
    v = rng.normal(size=(3, 3))
    return Mechanism(
        Rotation.random(3, random_state=rng).as_matrix(),
        v / np.linalg.norm(v, axis=1, keepdims=True),
        rng.uniform(0.2, 2.9, 3),
        rng.uniform(0.2, 2.9, 3),
    )


def project(p, view, size):
    """Pixels and depth of points (..., 3), by a camera basis of cross products: not the code's own formulas."""
    azimuth, elevation = view
    back = np.array([np.cos(elevation) * np.cos(azimuth), np.cos(elevation) * np.sin(azimuth), np.sin(elevation)])
    right = np.cross([0.0, 0.0, 1.0], back)
    right /= np.linalg.norm(right)
    up = np.cross(back, right)
    scale = size / 2 - 48
    return np.stack([size / 2 + scale * (p @ right), size / 2 - scale * (p @ up)], axis=-1), p @ back


def elements(picture, tag, **wanted):
    """Elements of the drawing whose data- attributes are as wanted (True: there is one)."""

    def fits(element):
        values = {name: element.get(f"data-{name}") for name in wanted}
        return all(values[name] == str(want) or (want is True and values[name]) for name, want in wanted.items())

    return [element for element in ET.fromstring(picture.svg).iter(SVG + tag) if fits(element)]


def centre(element):
    return np.array([float(element.get("cx")), float(element.get("cy"))])


def bezier(path):
    """The control points of an SVG path of one M and any number of C, as (pieces, 4, 2)."""
    numbers = np.array([float(n) for n in re.findall(r"-?\d+\.\d+", path)]).reshape(-1, 2)
    return np.array([numbers[i : i + 4] for i in range(0, len(numbers) - 1, 3)])


def along(path, steps=9):
    """Points of an SVG path, in order."""
    t = np.linspace(0, 1, steps)[:, None]
    return np.concatenate(
        [
            (1 - t) ** 3 * a + 3 * t * (1 - t) ** 2 * b + 3 * t**2 * (1 - t) * c + t**3 * d
            for a, b, c, d in bezier(path)
        ]
    )


CASES = [(seed, elevation) for seed in range(20) for elevation in (-80 * deg, 10 * deg, 65 * deg)]


@pytest.mark.parametrize(("seed", "elevation"), CASES)
def test_axes_are_drawn_where_they_are(seed, elevation):
    rng = np.random.default_rng(seed)
    m, R, theta = random_joint(rng), Rotation.random(random_state=rng), rng.uniform(-np.pi, np.pi, 3)
    view, size = (rng.uniform(-np.pi, np.pi), elevation), 420.0
    picture = draw_joint(m, R, theta, view=view, size=size)
    for name, axes in (("u", m.base_axes), ("w", m.elbow_axes(theta)), ("Rv", m.platform_axes @ R.as_matrix().T)):
        for i, axis in enumerate(axes):
            (mark,) = elements(picture, "circle", leg=i + 1, axis=name)
            pixel, _ = project(axis, view, size)
            assert np.abs(centre(mark) - pixel).max() <= 0.5  # the bound asked for; two decimals are printed


@pytest.mark.parametrize("seed", range(20))
def test_links_run_from_axis_to_axis_and_change_sides_where_they_pass_the_horizon(seed):
    rng = np.random.default_rng(seed)
    m, R, theta = random_joint(rng), Rotation.random(random_state=rng).as_matrix(), rng.uniform(-np.pi, np.pi, 3)
    view, size = (rng.uniform(-np.pi, np.pi), rng.uniform(-1.5, 1.5)), 400.0
    picture = draw_joint(m, R, theta, view=view, size=size)
    w, p = m.elbow_axes(theta), m.platform_axes_at(R)
    for i, link in product(range(3), (1, 2)):
        start, towards, arc = (m.base_axes[i], w[i], m.proximal[i]) if link == 1 else (p[i], w[i], m.distal[i])
        axis = np.cross(start, towards)
        turns = np.outer(np.linspace(0, arc, 2001), axis / np.linalg.norm(axis))
        true = Rotation.from_rotvec(turns).apply(start.copy())
        pixels, depth = project(true, view, size)
        pieces = elements(picture, "path", leg=i + 1, link=link)
        sides = np.flatnonzero(np.diff(np.sign(depth)))
        assert len(pieces) == len(sides) + 1
        assert {piece.get("data-side") for piece in pieces} <= {"front", "back"}
        # Pieces are painted by depth, so they are put in order along the arc before they are joined.
        drawn = [along(piece.get("d")) for piece in pieces]
        where = [np.argmin(np.linalg.norm(pixels - points[4], axis=1)) for points in drawn]
        order = np.argsort(where)
        for k in order:
            assert pieces[k].get("data-side") == ("front" if depth[where[k]] > 0 else "back")
        points = np.concatenate([drawn[k] for k in order])
        assert np.abs(points[0] - pixels[0]).max() <= 0.02
        assert np.abs(points[-1] - pixels[-1]).max() <= 0.02
        # 0.02: printing rounds by 0.005 in each control point; 0.1: the samples of the true arc are that far apart.
        gaps = np.linalg.norm(points[:, None] - pixels[None], axis=-1).min(axis=1)
        assert gaps.max() <= 0.12


def test_what_is_behind_is_drawn_first_and_dimmed():
    picture = draw_joint(HIDE, np.eye(3), HIDE.home_angles())
    links = elements(picture, "path", link=True)
    sides = [link.get("data-side") for link in links]
    assert sides == sorted(sides)  # "back" before "front"
    assert set(sides) == {"back", "front"}
    for link in links:
        assert f"ll-{'back' if link.get('data-side') == 'back' else 'leg'}{link.get('data-leg')}" in link.get("class")


def test_legs_differ_by_label_and_line_style_as_well_as_colour():
    assert len(set(PATTERNS.values())) == 3
    labels = {"".join(text.itertext()) for text in elements(draw_joint(HIDE, np.eye(3), HIDE.home_angles()), "text")}
    assert {f"{axis}{i}" for axis in ("u", "w", "Rv") for i in (1, 2, 3)} <= labels
    assert {"x", "y", "z", "x′", "y′", "z′"} <= labels


def far_joint(proximal, distal, angle):
    """A joint whose first leg has angle(u, Rv) = angle at home; the other two are well within reach."""
    frames = [rotation.rx(0.0), rotation.rx(2.0), rotation.ry(2.0)]
    axes = [rotation.ry(angle)[:, 2], rotation.rx(2.0 + 1.0)[:, 2], rotation.ry(2.0 + 1.0)[:, 2]]
    return Mechanism(frames, axes, [proximal, 1.0, 1.0], [distal, 1.0, 1.0])


@pytest.mark.parametrize(
    ("proximal", "distal", "angle", "short"),
    [
        (30, 40, 100, 30),  # too far apart
        (80, 30, 20, 30),  # too near, first link longer
        (30, 80, 20, 30),  # too near, second link longer
        (150, 140, 100, 30),  # too far round the back: 360 - 290 = 70
        (30, 80, 0, 50),  # u and Rv on one line
        (70, 40, 180, 70),
    ],
)
def test_a_leg_that_cannot_close_is_a_gap_with_its_size(proximal, distal, angle, short):
    m = far_joint(proximal * deg, distal * deg, angle * deg)
    theta = solve(m, np.eye(3))
    assert np.isnan(theta).tolist() == [True, False, False]
    picture = draw_joint(m, np.eye(3), theta)
    (gap,) = elements(picture, "path", gap=True)
    assert gap.get("data-gap") == f"{short}.0°"
    assert gap.get("data-leg") == "1"
    assert f"leg 1: cannot close, {short}.0° short" in picture.alt
    # The gap joins the elbow to the tip of the second link, which starts at Rv and is as long as it is.
    states = leg_states(m, np.eye(3), theta)
    (elbow,) = elements(picture, "circle", leg=1, axis="w")
    points = along(gap.get("d"))
    assert np.abs(points[-1] - centre(elbow)).max() <= 0.02
    tips = [along(link.get("d"))[-1] for link in elements(picture, "path", leg=1, link=2)]
    assert min(np.abs(points[0] - tip).max() for tip in tips) <= 0.02
    assert np.arccos(states[0].u @ states[0].w) == pytest.approx(proximal * deg, abs=1e-9)  # arccos near its middle


def test_the_gap_is_the_negative_reach_margin():
    rng = np.random.default_rng(7)
    found = 0
    for _ in range(200):
        m, R = random_joint(rng), Rotation.random(random_state=rng).as_matrix()
        margins = reach_margin(m, R)
        for state in leg_states(m, R, solve(m, R)):
            if np.isnan(state.theta):
                found += 1
                assert abs(state.gap) == pytest.approx(-margins[state.number - 1], abs=1e-7)  # atan2 near 0 and pi
            else:
                assert abs(state.gap) < 1e-6  # the root of D near the edge of reach loses half the digits
    assert found > 50


def test_an_angle_that_does_not_close_is_drawn_as_it_is():
    picture = draw_joint(HIDE, np.eye(3), [0.0, *HIDE.home_angles()[1:]])
    # theta = 0 at home: u, w and Rv in one meridian, w 105° from -z and Rv 130° from it: 25° apart, link 75°.
    assert "leg 1: motor at 0.0°, open by 50.0°" in picture.alt
    assert [gap.get("data-gap") for gap in elements(picture, "path", gap=True)] == ["50.0°"]


@pytest.mark.parametrize(("angle", "limit"), [(100, "stretched"), (20, "folded")])
def test_singular_legs_are_marked(angle, limit):
    m = far_joint(60 * deg, 40 * deg, angle * deg)
    picture = draw_joint(m, np.eye(3), solve(m, np.eye(3)))
    (ring,) = elements(picture, "circle", singular=True)
    assert (ring.get("data-leg"), ring.get("data-singular")) == ("1", limit)
    assert f"{limit} (singular)" in picture.alt
    assert not elements(draw_joint(HIDE, np.eye(3), HIDE.home_angles()), "circle", singular=True)


def test_a_leg_that_closes_at_any_angle_is_said_to():
    m = far_joint(50 * deg, 50 * deg, 0.0)
    picture = draw_joint(m, np.eye(3), solve(m, np.eye(3)), ghost=True, names=True, cones=True)
    assert "leg 1: closes at any motor angle" in picture.alt


def test_the_words_say_what_is_drawn():
    # Home angles of the bird hide: -75.553° in mode +1 and +75.553° in mode -1.
    R = np.eye(3)
    right = draw_joint(HIDE, R, HIDE.home_angles())
    assert right.alt == (
        "View from azimuth 28°, elevation 24°; platform level, torsion 0.0°; "
        + "; ".join(f"leg {i}: motor at -75.6°, elbow right, reach margin 50.0°" for i in (1, 2, 3))
        + "; elbows: right or left of a walk from the motor axis straight to the platform hinge, seen from outside."
    )
    left = draw_joint(HIDE, R, HIDE.home_angles((-1, -1, -1)), legs=(1,))
    assert "leg 2: motor at 75.6°, elbow left" in left.alt
    assert "leg 1" not in left.alt
    # Where no second link is drawn nothing is said about closing.
    open_leg = draw_joint(HIDE, R, np.zeros(3), legs=(0,), links=1, platform=False)
    assert open_leg.alt == "View from azimuth 28°, elevation 24°; leg 1: motor at 0.0°."
    tilted = rotation.from_tilt_torsion(15 * deg, -60 * deg, 5 * deg)
    assert "tilted 15.0° towards azimuth -60.0°, torsion 5.0°" in draw_joint(HIDE, tilted, solve(HIDE, tilted)).alt


def luminance(colour):
    """Relative luminance as WCAG 2.2 defines it (w3.org/TR/WCAG22, "relative luminance"; formula from memory)."""
    channels = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return linear, linear @ [0.2126, 0.7152, 0.0722]


def contrast(one, two):
    """Contrast ratio as WCAG 2.2 defines it (memory): (lighter + 0.05) / (darker + 0.05)."""
    dark, light = sorted((luminance(one)[1], luminance(two)[1]))
    return (light + 0.05) / (dark + 0.05)


def test_contrast_formula_on_known_pairs():
    assert contrast("#000000", "#ffffff") == pytest.approx(21)  # the largest there is, by definition
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # known to just miss 4.5 (memory)


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("ground", ["plate", "ball"])
def test_colours_stand_out(palette, ground):
    for role in ("ink", "quiet", "leg1", "leg2", "leg3"):
        assert contrast(palette[role], palette[ground]) >= 4.5, role  # asked for; WCAG 2.2 1.4.3 for text
    for role in ("back1", "back2", "back3"):
        assert contrast(palette[role], palette[ground]) >= 3.0, role  # WCAG 2.2 1.4.11 for graphics
    for i in (1, 2, 3):
        assert contrast(palette[f"back{i}"], palette[ground]) < contrast(palette[f"leg{i}"], palette[ground])


# Machado, Oliveira, Fernandes 2009, severity 1, linear RGB (numbers from memory): protan, deutan, tritan.
BLINDNESS = [
    np.eye(3),
    [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
]


def oklab(linear):
    """Ottosson's OKLab of linear sRGB (2020, matrices from memory); lightness runs from 0 to 1."""
    to_cones = np.array(
        [
            [0.4122214708, 0.5363325363, 0.0514459929],
            [0.2119034982, 0.6806995451, 0.1073969566],
            [0.0883024619, 0.2817188376, 0.6299787005],
        ]
    )
    to_lab = np.array(
        [
            [0.2104542553, 0.7936177850, -0.0040720468],
            [1.9779984951, -2.4285922050, 0.4505937099],
            [0.0259040371, 0.7827717662, -0.8086757660],
        ]
    )
    return to_lab @ np.cbrt(to_cones @ np.clip(linear, 0, 1))


@pytest.mark.parametrize("palette", [LIGHT, DARK], ids=["light", "dark"])
def test_legs_stay_apart_for_colour_blind_eyes(palette):
    assert np.abs(oklab(np.ones(3)) - [1, 0, 0]).max() < 1e-3  # white is white
    for eye in BLINDNESS:
        seen = [oklab(np.array(eye) @ luminance(palette[f"leg{i}"])[0]) for i in (1, 2, 3)]
        # 0.15 is seven times the 0.02 that is just noticeable in this space (common practice, no source).
        assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) > 0.15


def test_plate_and_colours_change_together_with_the_theme():
    svg = draw_joint(HIDE, np.eye(3), HIDE.home_angles()).svg
    for selector in ("@media(prefers-color-scheme:dark){.ll{", 'body[data-jp-theme-light="false"] .ll{'):
        block = svg.split(selector)[1].split("}")[0]
        assert dict(pair.split(":") for pair in block.split(";")) == {f"--ll-{k}": v for k, v in DARK.items()}
    block = svg.split('body[data-jp-theme-light="true"] .ll{')[1].split("}")[0]
    assert dict(pair.split(":") for pair in block.split(";")) == {f"--ll-{k}": v for k, v in LIGHT.items()}


def every_picture():
    R = rotation.from_rpy(0.1, -0.2, 0.3)
    yield draw_joint(HIDE, np.eye(3), HIDE.home_angles())
    yield draw_joint(HIDE, R, solve(HIDE, R), names=True, zero=True, home=HIDE.home_angles(), cones=True, ghost=True)
    yield draw_joint(
        HIDE, np.eye(3), HIDE.home_angles(), legs=(0,), links=1, frames=(), platform=False, caption="a < b"
    )
    yield draw_joint(HIDE, rotation.ry(-100 * deg), solve(HIDE, rotation.ry(-100 * deg)), view=(0.0, 90 * deg))
    yield draw_turns([("z", 0.0)])
    yield draw_turns([("x", 90 * deg), ("y", -90 * deg)], moving=True)
    yield draw_frames({"B": np.eye(3), "P": R})
    yield draw_equation(HIDE, R, 1, theta=0.0)
    yield draw_equation(HIDE, rotation.ry(-100 * deg), 0)


@pytest.mark.parametrize("index", range(9))
def test_every_picture_is_sound(index):
    picture = list(every_picture())[index]
    root = ET.fromstring(picture.svg)
    assert root.get("role") == "img"
    title, desc = root.find(SVG + "title"), root.find(SVG + "desc")
    assert title.text
    assert desc.text == picture.alt
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert "nan" not in picture.svg
    assert "nan" not in picture.alt
    assert "inf" not in picture.alt
    assert not NEGATIVE_ZERO.search(picture.svg)
    assert not NEGATIVE_ZERO.search(picture.alt)
    width, height = float(root.get("width")), float(root.get("height"))
    for text in root.iter(SVG + "text"):
        assert 0 < float(text.get("x")) < width
        assert 0 < float(text.get("y")) < height
    assert picture._repr_mimebundle_() == {"image/svg+xml": picture.svg, "text/plain": picture.alt}
    assert picture._repr_svg_() == picture.svg
    assert repr(picture) == picture.alt


def test_same_state_same_picture():
    assert list(every_picture()) == list(every_picture())
    R = Rotation.from_euler("xyz", [0.1, 0.2, 0.3])
    theta = solve(HIDE, R)
    assert draw_joint(HIDE, R, theta) == draw_joint(HIDE, R.as_matrix(), theta)


def test_labels_do_not_cover_one_another_at_home():
    size = 420.0
    boxes = []
    for text in elements(draw_joint(HIDE, np.eye(3), HIDE.home_angles(), size=size), "text"):
        x, y = float(text.get("x")), float(text.get("y"))
        wide = 4.0 * len("".join(text.itertext()))  # half the width of 13 to 15 pixel type, a little narrowly
        boxes.append((x - wide, y - 11, x + wide, y))
    for a, b in combinations(boxes, 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (-0.0, 2, "0.00"),
        (-0.004, 2, "0.00"),
        (-0.006, 2, "-0.01"),
        (10.0, 0, "10"),
        (-0.2, 0, "0"),
        (-10.04, 1, "-10.0"),
    ],
)
def test_numbers_are_written_without_minus_zero(value, decimals, text):
    assert number(value, decimals) == text


def test_a_tie_is_written_the_same_whatever_the_last_bit():
    for value in (0.125, 8.25, -75.55, 1e3 + 0.5):
        for decimals in (0, 1, 2):
            near = {number(v, decimals) for v in (value, np.nextafter(value, 9e9), np.nextafter(value, -9e9))}
            assert len(near) == 1
    assert degrees(8.25 * deg) == "8.3°"
    assert degrees(5 * deg, signed=True) == "+5.0°"
    assert degrees(-1e-9, signed=True) == "0.0°"
    for tie in (0.125, 2.375, 7.625):  # exact in binary; away from zero to either side
        assert number(-tie) == f"-{number(tie)}"
        assert float(number(tie)) > tie


def test_elbows_are_where_the_circles_cross():
    R = rotation.ry(10 * deg)
    theta = solve(HIDE, R)
    picture = draw_joint(HIDE, R, theta, legs=(0,), ghost=True, cones=True)
    (other,) = elements(picture, "circle", elbow=True)
    w = HIDE.elbow_axes(solve(HIDE, R, (-1, 1, 1)))[0]
    assert other.get("data-elbow") == "−1"
    assert np.abs(centre(other) - project(w, VIEW, 420.0)[0]).max() <= 0.5
    assert {"+1", "−1"} <= {text.text for text in elements(picture, "text")}


def test_first_links_are_drawn_at_zero_and_at_home():
    home = np.array([0.3, -0.8, 1.4])
    picture = draw_joint(HIDE, np.eye(3), HIDE.home_angles(), zero=True, home=home)
    dashed = re.findall(r'stroke-dasharray="7 4" d="(.*?)"', picture.svg)
    points = np.array([float(n) for path in dashed for n in re.findall(r"-?\d+\.\d+", path)]).reshape(-1, 2)
    for theta in (np.zeros(3), home):
        for w in HIDE.elbow_axes(theta):
            assert np.linalg.norm(points - project(w, VIEW, 420.0)[0], axis=1).min() <= 0.5  # pixels


@pytest.mark.parametrize("angle", [0.7, -0.7, -2.5])
def test_arcs_of_circles_turn_to_either_side(angle):
    axis, start = np.array([2, -1, 2]) / 3, np.array([0.6, 0.0, 0.8])
    arc = circle(axis, float(np.arccos(axis @ start)), start, angle)
    for share in np.linspace(0, 1, 5):
        turned = Rotation.from_rotvec(axis * angle * share).apply(start)
        np.testing.assert_allclose(arc.at(share * arc.angle), turned, rtol=0, atol=1e-14)


def test_arcs_are_cut_where_they_pass_the_horizon():
    scene, rng = Scene(420.0, VIEW), np.random.default_rng(7)
    cut = 0
    for axis in rng.normal(size=(40, 3)):
        arc = circle(axis / np.linalg.norm(axis), rng.uniform(0.3, 2.8))
        parts = list(scene.pieces(arc))
        cut += len(parts) > 1
        for front, start, stop in parts:
            inside = np.linspace(start, stop, 21)[1:-1]
            assert all((scene.pixel(arc.at(t))[2] >= 0) == front for t in inside)
    assert 10 < cut < 40


@pytest.mark.parametrize("leg", [0, 1, 2])
def test_the_curve_is_the_closure_of_the_leg(leg):
    R = rotation.from_rpy(0.3, -0.2, 0.5)
    width, height = 420.0, 300.0
    picture = draw_equation(HIDE, R, leg, theta=0.4, width=width, height=height)
    ticks = {text.text: float(text.get("x")) for text in elements(picture, "text")}
    left, right = ticks["−180°"], ticks["180°"]
    (curve,) = elements(picture, "path", leg=leg + 1)
    points = np.array([float(n) for n in re.findall(r"-?\d+\.\d+", curve.get("d"))]).reshape(-1, 2)
    theta = (points[:, 0] - left) / (right - left) * 2 * np.pi - np.pi
    # Independent of a, b, c: turn w by the motor and compare it with the platform axis.
    turned = Rotation.from_rotvec(np.outer(theta, HIDE.base_axes[leg])).apply(
        HIDE.elbow_axes(np.zeros(3))[leg].copy()
    )
    value = turned @ HIDE.platform_axes_at(R)[leg] - np.cos(HIDE.distal[leg])
    slope, offset = np.polyfit(value, points[:, 1], 1)
    assert slope < 0  # larger values stand higher
    assert np.abs(slope * value + offset - points[:, 1]).max() < 0.05  # pixels; both coordinates are rounded
    for mode in (1, -1):
        (root,) = elements(picture, "circle", root=f"{mode:+d}")
        angle = solve(HIDE, R, [mode] * 3)[leg]
        assert centre(root) == pytest.approx(
            [left + (angle + np.pi) / (2 * np.pi) * (right - left), offset], abs=0.05
        )
    (hand,) = elements(picture, "circle", root="hand")
    assert centre(hand)[1] == pytest.approx(np.interp(centre(hand)[0], *points.T), abs=0.1)


def test_the_curve_takes_a_motor_after_whole_turns():
    near, far = (draw_equation(HIDE, np.eye(3), theta=0.4 + turns * 2 * np.pi) for turns in (0, -3))
    (one,), (other,) = (elements(picture, "circle", root="hand") for picture in (near, far))
    assert centre(one) == pytest.approx(centre(other), abs=0.011)  # two decimals


def test_the_curve_without_roots_says_how_far_it_is_short():
    R = rotation.ry(-100 * deg)
    picture = draw_equation(HIDE, R, 0)
    short = degrees(-reach_margin(HIDE, R)[0])
    assert picture.alt.endswith(f"no root: {short} short.")
    assert not elements(picture, "circle", root=True)
    m = far_joint(50 * deg, 50 * deg, 0.0)
    assert "zero at every motor angle" in draw_equation(m, np.eye(3), 0).alt


@pytest.mark.parametrize("moving", [False, True])
def test_turns_are_those_of_scipy_and_are_drawn_where_they_end(moving):
    rng = np.random.default_rng(3)
    for _ in range(20):
        letters, angles = "".join(rng.permutation(list("xyz"))), rng.uniform(-np.pi, np.pi, 3)
        turns = list(zip(letters, angles.tolist(), strict=True))
        R = turn_matrix(turns, moving=moving)
        expected = Rotation.from_euler(letters.upper() if moving else letters, angles).as_matrix()
        assert np.abs(R - expected).max() < 1e-14  # three products of rounded sines
        picture = draw_turns(turns, moving=moving, size=360.0)
        for name, tip in zip("xyz", R.T, strict=True):
            (head,) = elements(picture, "path", axis=f"{name}‴")
            pixel, _ = project(tip, VIEW, 376.0)  # the same scale with a margin of 40, not 48
            assert np.abs(bezier_start(head) - (pixel - 8)).max() <= 0.5


def bezier_start(element):
    return np.array([float(n) for n in re.findall(r"-?\d+\.\d+", element.get("d"))][:2])


def test_pictures_stand_beside_one_another():
    one, two = draw_turns([("x", 1.0)], size=300.0), draw_equation(HIDE, np.eye(3), width=420.0, height=280.0)
    both = beside([one, two])
    root = ET.fromstring(both.svg)
    assert (root.get("width"), root.get("height")) == ("732", "300")
    assert [inner.get("x") for inner in root.findall(SVG + "svg")] == ["0", "312"]
    assert both.alt == f"{one.alt}\n{two.alt}"
    assert isinstance(both, Picture)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"size": 50.0}, "size is 50"),
        ({"size": np.nan}, "size is nan"),
        ({"view": (0.0, np.inf)}, r"view\[1\] is inf"),
        ({"view": ((0.0, 1.0), (0.0, 1.0))}, r"view has shape \(2, 2\)"),
        ({"legs": (3,)}, "an entry of legs is 3"),
        ({"links": 3}, "links is 3"),
        ({"frames": ("tool",)}, "frames is .*'tool'"),
        ({"home": (0.0, 1.0)}, "home has shape"),
    ],
)
def test_bad_wishes_are_refused(arguments, message):
    with pytest.raises(ValueError, match=message):
        draw_joint(HIDE, np.eye(3), HIDE.home_angles(), **arguments)


def test_bad_states_are_refused():
    with pytest.raises(ValueError, match=r"theta\[1\] is nan, but leg 2 can close"):
        draw_joint(HIDE, np.eye(3), [0.0, np.nan, 0.0])
    with pytest.raises(ValueError, match="theta"):
        draw_joint(HIDE, np.eye(3), [0.0, np.inf, 0.0])
    with pytest.raises(ValueError, match="one pose"):
        draw_joint(HIDE, np.eye(3)[None], [HIDE.home_angles()])
    with pytest.raises(ValueError, match="not a rotation"):
        draw_joint(HIDE, 2 * np.eye(3), HIDE.home_angles())
    with pytest.raises(ValueError, match="leg is 5"):
        draw_equation(HIDE, np.eye(3), 5)
    with pytest.raises(ValueError, match="one pose"):
        draw_equation(HIDE, np.eye(3)[None], 0)
    with pytest.raises(ValueError, match="axis is 'q'"):
        draw_turns([("q", 1.0)])
    with pytest.raises(ValueError, match="5 frames"):
        draw_frames({name: np.eye(3) for name in "ABCDE"})


def test_drawing_needs_no_widget_and_no_plotting_library():
    code = (
        "import sys, legloop.lesson.draw; print({'ipywidgets', 'matplotlib', 'sympy', 'IPython'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
