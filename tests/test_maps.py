"""Maps of directions: each shade, dot, line and word against the helpers, asked one direction at a time."""

import re
from math import pi

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from common import FULL
from legloop import (
    WORKING_MODES,
    Links,
    Mechanism,
    clearance,
    deg,
    dexterity,
    inverse_kinematics,
    reach_margin,
    singularity,
)
from legloop.lesson.cases import bird_hide, named_joints
from legloop.lesson.maps import QUANTITIES, draw_map, map_values, scrub_reach

HIDE = bird_hide()
SIZES = Links(radius=(0.062, 0.054), half_width=0.01, thickness=0.005, motors=(0.07, 0.11, 0.016))
NO_HOME = Mechanism.symmetric(proximal=30 * deg, distal=30 * deg, base_cone=20 * deg, platform_cone=20 * deg)
CENTRE, RADIUS = np.array([200, 212]), 158  # of the disc, in pixels
MOVE = re.compile(r"M([\d.-]+) ([\d.-]+)((?:L[\d.-]+ [\d.-]+)*)")


def direction(x, y, farthest=75 * deg):
    """Tilt and azimuth of a pixel."""
    right, down = (np.array([x, y]) - CENTRE) / RADIUS
    return np.hypot(right, down) * farthest, np.arctan2(-down, right)


def pose(tilt, azimuth, torsion):
    return Rotation.from_euler("ZYZ", [azimuth, tilt, torsion - azimuth]).as_matrix()


def value(quantity, R, mode):
    """In the unit of the label, from the helper itself; None where a leg does not close."""
    if reach_margin(HIDE, R).min() < 0:
        return None
    theta = inverse_kinematics(HIDE, R, mode)
    if quantity == "margin":
        return reach_margin(HIDE, R).min() / deg
    if quantity == "dexterity":
        return dexterity(HIDE, R, theta)
    if quantity == "clearance":
        return clearance(HIDE, R, theta, SIZES).least * 1e3
    away = theta - HIDE.home_angles(mode)
    return np.abs((away + pi) % (2 * pi) - pi).max() / deg


def middles(picture):
    """Level and middle pixel of each cell: of its four corners, or of its dot."""
    found = []
    for level, path in re.findall(r'data-level="(-?\d+)" d="([^"]+)"', picture.svg):
        for x, y, rest in MOVE.findall(path):
            corners = [
                (float(x), float(y)),
                *((float(a), float(b)) for a, b in re.findall(r"L(\S+?) ([\d.-]+)", rest)),
            ]
            assert len(corners) == (1 if level == "-1" else 4)
            found.append((int(level), *np.mean(corners, axis=0)))
    return found


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize(("torsion", "mode"), [(0.0, (1, 1, 1)), (-35 * deg, (1, 1, -1))])
def test_each_cell_has_the_shade_of_its_middle(quantity, torsion, mode):
    cells = middles(draw_map(HIDE, quantity, torsion, mode=mode, links=SIZES))
    assert len(cells) == 15 * 36
    assert len({level for level, _, _ in cells}) > 3
    edges = QUANTITIES[quantity].edges
    doubtful = 0
    for level, x, y in cells:
        told = value(quantity, pose(*direction(x, y), torsion), mode)
        if told is not None and level >= 0:
            low, high = (-np.inf, *edges)[level], (*edges, np.inf)[level]
            # the mean of four corners lies some 0.4 % of the tilt inside the middle of the cell; values go with it
            doubtful += not low - 0.6 <= told <= high + 0.6
            continue
        doubtful += (told is None) != (level == -1)
    assert doubtful <= 3  # cells next to the edge of reach


def test_map_values_are_those_of_the_helpers_and_nan_where_a_leg_does_not_close():
    R = Rotation.random(200, random_state=70)
    for quantity, about in QUANTITIES.items():
        for mode in ((1, 1, 1), (-1, 1, -1)):
            got = map_values(HIDE, quantity, R, mode=mode, links=SIZES) * about.factor
            expected = [value(quantity, turn, mode) for turn in R.as_matrix()]
            assert 20 < sum(x is None for x in expected) < 180
            assert_allclose(got, [np.nan if x is None else x for x in expected], atol=1e-9)


def test_the_line_of_type_2_runs_between_volumes_of_unlike_sign():
    picture = draw_map(HIDE, "dexterity", 0.0, mode=(1, 1, -1))
    line = re.search(r'data-rim="2" d="([^"]+)"', picture.svg)[1]
    borders = [np.array(b, dtype=float) for b in re.findall(r"M(\S+) (\S+?)L(\S+) ([\d.-]+)", line)]
    assert len(borders) > 20
    for x, y, x2, y2 in borders:
        (tilt, azimuth), (tilt_2, azimuth_2) = direction(x, y), direction(x2, y2)
        turn = np.angle(np.exp(1j * (azimuth_2 - azimuth)))
        middle = np.array([(tilt + tilt_2) / 2, azimuth + turn / 2])
        step = np.array([0.0, 5 * deg]) if abs(turn) < 1 * deg else np.array([2.5 * deg, 0.0])
        ends = [pose(*(middle + side * step), 0.0) for side in (1, -1)]  # the middles of the two cells
        volumes = [singularity(HIDE, R, inverse_kinematics(HIDE, R, (1, 1, -1))).volume for R in ends]
        assert volumes[0] * volumes[1] < 0
    assert "a line of singular poses of type 2 crosses the map" in picture.alt
    assert "no line of type 2" in draw_map(HIDE, "dexterity", 0.0).alt
    assert "data-rim" not in draw_map(HIDE, "dexterity", 0.0).svg


def test_words_tell_the_pointer_and_the_worst_up_to_its_tilt():
    told = draw_map(HIDE, "margin", 10 * deg, pointer=(40 * deg, -60 * deg)).alt
    here = value("margin", pose(40 * deg, -60 * deg, 10 * deg), (1, 1, 1))
    assert f"at the pointer (tilt 40.0°, azimuth -60.0°): {here:.1f}°" in told
    tilts, around = np.linspace(0, 40, 41) * deg, np.linspace(-180, 180, 73) * deg
    dense = [reach_margin(HIDE, pose(t, a, 10 * deg)).min() for t in tilts for a in around]
    worst = float(re.search(r"up to that tilt, by samples: ([\d.]+)°", told)[1])
    assert min(dense) / deg - 0.05 <= worst <= min(dense) / deg + 2  # samples 30° apart do not meet the worst of all
    travel = draw_map(HIDE, "travel", 0.0, pointer=(40 * deg, 0.0)).alt
    here, worst = (float(x) for x in re.findall(r": ([\d.]+)°(?=[;.])", travel)[-2:])
    assert worst >= here  # of a travel the largest is the worst
    assert "does not close" in draw_map(HIDE, "margin", 0.0, pointer=(70 * deg, pi)).alt


def test_axes_have_labels_with_units_and_legs_stand_where_their_motors_do():
    svg = draw_map(HIDE, "clearance", 0.0, links=SIZES).svg
    for words in (
        "25°",
        "50°",
        "75°",
        "−120°",
        "from 20 mm",
        "does not close",
        "motor 1, 2, 3",
        "from the middle: tilt",
    ):
        assert f">{words}" in svg
    for k, axis in enumerate(HIDE.base_axes, start=1):
        x, y = re.search(rf'll-leg{k}" d="M([\d.]+) ([\d.]+)L', svg).groups()
        azimuth = direction(float(x), float(y))[1]
        assert abs(np.angle(np.exp(1j * (azimuth - np.arctan2(axis[1], axis[0]))))) < 0.01
    assert "ll-f ll-leg2" not in draw_map(named_joints()["coaxial"]).svg  # its motors point down


def test_the_legend_holds_the_marks_of_the_map_and_no_others():
    without = draw_map(named_joints()["coaxial"], farthest=20 * deg).svg  # its motors point down
    full = draw_map(HIDE, "dexterity", -30 * deg, pointer=(30 * deg, 0.0)).svg
    for words, mark in (("type 2", "data-rim"), ("motor 1, 2, 3", "ll-f ll-leg2"), ("pointer", "data-pointer")):
        assert f">{words}<" in full
        assert mark in full
        assert f">{words}<" not in without
        assert mark not in without


class TestScrubber:
    def test_it_survives_all_ends_of_all_controls(self):
        for m in (HIDE, named_joints()["coaxial"], named_joints()["all arcs 90°"], NO_HOME):
            scrubber = scrub_reach(m, links=SIZES)
            seen = set()
            for quantity in QUANTITIES:
                for torsion in (-180, 0, 40, 180):
                    for tilt in (0, 75):
                        scrubber.set(quantity=quantity, torsion=torsion * deg, tilt=tilt * deg, azimuth=-pi)
                        assert scrubber.message == ""
                        assert not re.search(r"\b(nan|inf)\b", (scrubber.alt + scrubber.html).lower())
                        assert "-0.0" not in scrubber.alt
                        seen.add(scrubber.alt)
            assert len(seen) == 32
            scrubber.reset()
            assert scrubber.state["quantity"] == "margin"

    def test_modes_change_what_depends_on_them_and_nothing_else(self):
        scrubber = scrub_reach(HIDE)
        margins, evenness = set(), set()
        for mode in WORKING_MODES.tolist():
            scrubber.set(mode=tuple(mode), quantity="margin")
            margins.add(re.sub(r"mode .*?;|;[^;]*type 2[^;]*", "", scrubber.alt))
            evenness.add(scrubber.set(quantity="dexterity").alt)
        assert len(margins) == 1
        assert len(evenness) == 8

    def test_the_table_holds_all_quantities_at_the_pointer(self):
        scrubber = scrub_reach(HIDE, links=SIZES, pointer=(25 * deg, 50 * deg), torsion=-10 * deg)
        R = pose(25 * deg, 50 * deg, -10 * deg)
        for quantity, about in QUANTITIES.items():
            told = f"{value(quantity, R, (1, 1, 1)):.{about.decimals}f}{about.unit}"
            assert f'<th scope="row">{about.name}</th><td>{told}</td>' in scrubber.html

    def test_each_control_by_itself_changes_what_is_shown(self):
        scrubber = scrub_reach(HIDE, links=SIZES)
        moves = {
            "torsion": 30 * deg,
            "tilt": 20 * deg,
            "azimuth": 40 * deg,
            "quantity": "travel",
            "mode": (1, -1, 1),
        }
        assert set(moves) == set(scrubber.dials)
        for name, to in moves.items():
            before, shown = scrubber.alt, scrubber.html
            scrubber.set(**{name: to})
            assert scrubber.message == ""
            assert scrubber.alt != before
            assert scrubber.html != shown
            scrubber.reset()
            assert (scrubber.alt, scrubber.html) == (before, shown)

    @pytest.mark.parametrize("name", list(named_joints())[:: 1 if FULL else 3])
    def test_every_quantity_and_mode_of_every_joint_can_be_drawn(self, name):
        for quantity in QUANTITIES:
            for mode in WORKING_MODES:
                picture = draw_map(named_joints()[name], quantity, 0.4, mode=mode, links=SIZES)
                assert len(middles(picture)) == 15 * 36
                assert not re.search(r"\b(nan|inf|infinity)\b", (picture.svg + picture.alt).lower())

    def test_without_links_there_is_no_clearance(self):
        scrubber = scrub_reach(HIDE)
        assert "clearance" not in scrubber.html
        with pytest.raises(ValueError, match="quantity is 'clearance'"):
            scrubber.set(quantity="clearance")


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: draw_map(HIDE, "height"), "quantity is 'height'; it must be one of 'margin'"),
        (lambda: draw_map(HIDE, "clearance"), r"clearance needs links=Links\(radius"),
        (lambda: draw_map(HIDE, torsion=np.nan), "torsion is nan"),
        (
            lambda: draw_map(HIDE, farthest=75),
            r"farthest is 75 rad \(4297°\); it must lie in \(0, pi\); for degrees write 75\*deg",
        ),
        (lambda: draw_map(HIDE, mode=WORKING_MODES), r"mode has shape \(8, 3\); a map shows one mode"),
        (lambda: draw_map(HIDE, pointer=(np.inf, 0)), r"pointer\[0\] is inf"),
        (lambda: scrub_reach(HIDE, "clearance"), "clearance needs links"),
        (lambda: scrub_reach(HIDE, "height"), "quantity is 'height'"),
    ],
)
def test_bad_arguments_are_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
