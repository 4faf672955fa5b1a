"""The drawings and the scrubber of a belt drive: what is drawn is where geometry has it, and the words say so."""

import math
import re
from xml.etree import ElementTree

import numpy as np
import pytest

from legloop import deg
from legloop.lesson.belt import draw_belt, draw_torque
from legloop.lesson.scrub_drive import scrub_drive
from legloop.workshop.drive import BeltDrive
from legloop.workshop.units import mm, rpm

SVG = "{http://www.w3.org/2000/svg}"
CURVE = ((0, 0.44), (300 * rpm, 0.38), (1200 * rpm, 0.07))
NUMBER = r"-?\d+\.\d+"


def drive(motor=20, joint=60):
    return BeltDrive(motor, joint, pitch=2 * mm, centre_distance=75 * mm)


def drawn(d, **more):
    teeth = d.motor_teeth, d.joint_teeth
    return draw_belt(teeth, d.pitch_diameters, d.centre_distance, d.lean, **more)


def paths(picture, width):
    """The path data of strokes of one width."""
    root = ElementTree.fromstring(picture.svg)
    return [p.get("d") for p in root.iter(f"{SVG}path") if p.get("stroke-width") == width]


def numbers(path):
    return [float(n) for n in re.findall(NUMBER, path)]


def scrubber():
    return scrub_drive(drive, CURVE, (600 * deg, 1.0), clamp=10 * mm)


@pytest.mark.parametrize(("motor", "joint"), [(20, 60), (36, 30), (30, 30), (16, 48)])
def test_the_belt_is_drawn_as_long_as_it_is(motor, joint):
    """Lines and arcs of the path, measured in pixels, against the exact length in the same scale."""
    d = drive(motor, joint)
    ax, ay, bx, by, R, _, cx, cy, dx, dy, r, _, *_ = numbers(paths(drawn(d), "5")[0])
    line = math.hypot(bx - ax, by - ay)
    assert math.hypot(dx - cx, dy - cy) == pytest.approx(line, rel=1e-3)  # two decimals of a pixel
    scale = R / (d.pitch_diameters[1] / 2)
    assert r / scale == pytest.approx(d.pitch_diameters[0] / 2, rel=1e-3)
    chords = math.hypot(cx - bx, cy - by), math.hypot(ax - dx, ay - dy)
    arcs = [2 * math.asin(min(chord / 2 / q, 1)) * q for chord, q in zip(chords, (R, r), strict=True)]
    large = [int(flag) for flag in re.findall(r" 0 ([01]) 1 ", paths(drawn(d), "5")[0])]
    arcs = [2 * math.pi * q - arc if far else arc for arc, q, far in zip(arcs, (R, r), large, strict=True)]
    # near half a turn a hundredth of a pixel in the chord is some degrees of arc: 3 % of its length
    assert (2 * line + sum(arcs)) / scale == pytest.approx(d.belt_length, rel=0.01)


def test_long_marks_stand_where_the_belt_is():
    d = drive()
    strokes = [p for p in paths(drawn(d), "1.8") if p]
    on_motor, on_joint = (len(re.findall("M", p)) for p in strokes)
    assert on_motor == pytest.approx(d.teeth_in_mesh, abs=1)
    assert on_joint == pytest.approx(60 * (0.5 + d.lean / math.pi), abs=1)


def test_positive_turns_are_counter_clockwise_and_the_motor_turns_further():
    d = drive()

    def marks(turn):
        ends = [numbers(p) for p in paths(drawn(d, turn=turn), "2.5")]
        return [math.atan2(y1 - y2, x2 - x1) for x1, y1, x2, y2 in ends]  # up is minus in a picture

    motor, joint = marks(20 * deg)
    assert motor == pytest.approx(60 * deg, abs=2 * deg)  # a mark of some pixels, drawn to a hundredth
    assert joint == pytest.approx(20 * deg, abs=0.1 * deg)


def test_the_clamp_past_its_end_is_told():
    d = drive()
    most = d.open_belt(0, clamp=10 * mm).most / 2
    assert "0.5° left on this side" in drawn(d, turn=most - 0.5 * deg, clamp=10 * mm).alt
    assert "0.5° left on this side" in drawn(d, turn=0.5 * deg - most, clamp=10 * mm).alt
    over = drawn(d, turn=most + 2 * deg, clamp=10 * mm)
    assert "the clamp is 2.0° past the end" in over.alt
    assert "past the end" in over.svg
    assert "left on this side" not in drawn(d).alt


def test_torque_over_speed():
    rows = np.array([(0, 1.2), (10.0, 1.0), (20.0, 0.2)])
    enough = draw_torque(rows, (10.0, 0.9), (30.0, 2.0))
    assert enough.alt == "At the joint at 573°/s: 1.00 N·m of 0.90, enough."
    assert "too little" in draw_torque(rows, (15.0, 0.9), (30.0, 2.0)).alt
    assert "0.00 N·m of 0.10, too little" in draw_torque(rows, (25.0, 0.1), (30.0, 2.0), points=rows).alt
    curve = paths(enough, "3")[0]
    x = numbers(curve.split("V")[0])[::2]
    assert x == sorted(x)
    assert max(x) < 334 * 20 / 30 + 62  # the curve ends at its last row
    cut = paths(draw_torque(rows, (10.0, 0.9), (30.0, 1.1)), "3")[0]
    assert min(numbers(cut.replace("V", " "))[1:-1:2]) >= 39.9  # nothing above the frame, which begins at 40


@pytest.mark.parametrize("motor", [10, 20, 40])
@pytest.mark.parametrize("joint", [20, 60, 96])
def test_the_scrubber_at_its_ends(motor, joint):
    scrub = scrubber()
    for theta in (-90, 0, 90):
        scrub.set(theta=theta * deg, motor_teeth=motor, joint_teeth=joint)
        assert scrub.message == ""
        assert "nan" not in scrub.html
        ElementTree.fromstring(scrub.picture.svg)
        assert f"Motor pulley of {motor} teeth" in scrub.alt


def test_the_scrubber_shows_what_the_drive_says():
    scrub = scrubber().set(theta=30 * deg, motor_teeth=12, joint_teeth=90)
    with pytest.warns(UserWarning, match="in mesh"):
        d = drive(12, 90)
    assert f"Note: {d.notes[0]}." in scrub.alt
    assert f"<div>Note: {d.notes[0]}.</div>" in scrub.html
    for cell in (f"{d.ratio:.3f}", f"{d.teeth_in_mesh:.2f}", f"{d.steps(30 * deg)}", f"{d.belt_length / mm:.2f} mm"):
        assert f"<td>{cell}" in scrub.html
    turning = d.motor_speed(600 * deg)  # what the curve gives there, through the belt
    have = d.joint_torque(np.interp(turning, *np.transpose(CURVE), right=0.0))
    assert f"at 600°/s: {have:.2f} N·m of 1.00" in scrub.alt
    before = scrub.alt
    scrub.set(theta=31 * deg)
    assert scrub.alt != before
    scrub.reset()
    assert scrub.alt == scrubber().alt
    assert "Motor pulley of 20 teeth" in scrub.alt


def test_the_scrubber_refuses_what_it_does_not_offer():
    with pytest.raises(ValueError, match="motor_teeth is 7; it must be one of"):
        scrubber().set(motor_teeth=7)
    with pytest.raises(ValueError, match=r"theta is 1\.74533 rad.*as its slider does"):
        scrubber().set(theta=100 * deg)
    with pytest.raises(ValueError, match="curve has shape"):
        scrub_drive(drive, [1, 2, 3], (1.0, 1.0), clamp=10 * mm)
