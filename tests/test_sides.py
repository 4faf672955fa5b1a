"""Right and left of an elbow: what the words say is measured on the picture, and by a walker on the sphere."""

import re
import xml.etree.ElementTree as ET

import numpy as np
import pytest

from legloop import WORKING_MODES, Mechanism, deg, inverse_kinematics, rotation
from legloop.leg import arc_between
from legloop.lesson.cases import bird_hide, named_joints, random_joints, reachable
from legloop.lesson.draw import draw_joint, leg_states
from legloop.lesson.scrub import scrub_assembly, scrub_joint

HIDE = bird_hide()
SVG = "{http://www.w3.org/2000/svg}"
RULE = "elbows: right or left of a walk from the motor axis straight to the platform hinge, seen from outside"
JOINTS = [*named_joints().values(), *random_joints(40, seed=31)]


def straight_at(axis):
    """The view from outside in which this point of the sphere is in the middle."""
    return float(np.arctan2(axis[1], axis[0])), float(np.arcsin(np.clip(axis[2], -1, 1)))


def drawn(picture, **data):
    """The one element of the drawing with these data- attributes."""
    wanted = [
        element
        for element in ET.fromstring(picture.svg).iter()
        if all(element.get(f"data-{name}") == value for name, value in data.items())
    ]
    assert len(wanted) == 1
    return wanted[0]


def middle(mark):
    return np.array([float(mark.get("cx")), float(mark.get("cy"))])


def to_the_right(picture, leg, elbow, *, in_front=False):
    """Pixels by which the drawn elbow is right of the drawn walk, in the direction of its arrow; left is negative.

    The direction is that of the arrow head, where this is `in_front`; behind the horizon one would see it reversed,
    so from the motor it is that from the motor's mark to the arrow head.
    """
    start = middle(drawn(picture, leg=f"{leg + 1}", axis="u"))
    head = np.array(re.findall(r"-?\d+\.\d+", drawn(picture, leg=f"{leg + 1}", walk="head").get("d")), dtype=float)
    tip, *back = head.reshape(3, 2)
    across, down = tip - (np.mean(back, axis=0) if in_front else start)
    return float((elbow - start) @ np.array([-down, across]) / np.hypot(across, down))


def words(picture):
    """The side of the elbow that the words of the picture say, if they say of what."""
    assert RULE in picture.alt
    (side,) = re.findall(r"elbow (right|left),", picture.alt)
    return side


def legs_in_reach(seed):
    """Joint, pose, motor angles, leg and mode all over the reach, to 0.5° from its edge: there no side is said."""
    for k, m in enumerate(JOINTS):
        for R in reachable(m, 2, seed=seed + k, margin=0.6 * deg):
            for s in (1, -1):
                theta = inverse_kinematics(m, R, (s, s, s))
                yield from ((m, R, theta, leg, s) for leg in range(3))


@pytest.mark.parametrize("place", ["motor", "middle of the walk"])
def test_the_elbow_is_drawn_on_the_side_that_the_words_say(place):
    """From both places the walk is a straight line of the picture, on whose two sides the two halves of the sphere
    are, what is behind the horizon included: so the side is seen in any pose.
    """
    seen = {"right": 0, "left": 0}
    beyond = 0
    for m, R, theta, leg, _ in legs_in_reach(seed=1):
        u, p = m.base_axes[leg], m.platform_axes_at(R)[leg]
        if not 2 * deg < arc_between(u, p) < 178 * deg:
            continue
        view = straight_at(u if place == "motor" else (u + p) / np.linalg.norm(u + p))
        picture = draw_joint(m, R, theta, legs=(leg,), view=view, walk=True)
        elbow = middle(drawn(picture, leg=f"{leg + 1}", axis="w"))
        offset = to_the_right(picture, leg, elbow, in_front=place != "motor")
        if (
            abs(offset) < 0.5
        ):  # coordinates are rounded to 0.005 pixels, an arrow head is some 8 long, the elbow 160 away
            continue
        assert words(picture) == ("right" if offset > 0 else "left")
        seen[words(picture)] += 1
        beyond += bool(arc_between(u, p) > 90 * deg)
    assert min(seen.values()) > 200
    assert beyond > 100  # a hinge behind the horizon, seen from the motor


def test_right_of_the_motor_with_the_platform_up_is_another_thing():
    """Bird hide, mode -1, yaw 100°: right of the motor, and yet mode -1; on the walk it is on the left."""
    R = rotation.rz(100 * deg)
    theta = inverse_kinematics(HIDE, R, (-1, -1, -1))
    assert abs(theta[0] / deg + 21.9) < 0.05
    picture = draw_joint(HIDE, R, theta, legs=(0,), view=straight_at(HIDE.base_axes[0]), ghost=True)
    motor, elbow = (middle(drawn(picture, leg="1", axis=name)) for name in ("u", "w"))
    assert elbow[0] > motor[0] + 10  # pixels, to the right; the view has z up
    assert words(picture) == "left"
    assert to_the_right(picture, 0, elbow) < -10
    other = drawn(picture, leg="1", elbow="+1")
    assert to_the_right(picture, 0, middle(other)) > 10
    assert "walk" in {text.text for text in ET.fromstring(picture.svg).iter(f"{SVG}text")}


def test_the_mode_is_the_side_for_one_who_walks():
    """A walker on the outside of the sphere: head along the radius, face along the way, right hand = face x head."""
    far = 0
    for m, R, theta, leg, s in legs_in_reach(seed=2):
        u, p, w = m.base_axes[leg], m.platform_axes_at(R)[leg], m.elbow_axes(theta)[leg]
        zeta = float(arc_between(u, p))
        if not 2 * deg < zeta < 178 * deg:
            continue
        ahead = p - u * np.cos(zeta)
        ahead /= np.linalg.norm(ahead)
        for t in np.linspace(0, zeta, 4):  # at the motor, on the way, at the hinge
            head, face = u * np.cos(t) + ahead * np.sin(t), ahead * np.cos(t) - u * np.sin(t)
            assert np.sign(w @ np.cross(face, head)) == s
        far += zeta > 90 * deg
    assert far > 100


def test_the_arrow_runs_from_the_motor_to_the_hinge():
    R = rotation.from_rpy(0.2, -0.3, 0.4)
    theta = inverse_kinematics(HIDE, R)
    picture = draw_joint(HIDE, R, theta, walk=True)
    for leg in (1, 2, 3):
        ways = [e for e in ET.fromstring(picture.svg).iter() if e.get("data-walk") and e.get("data-leg") == f"{leg}"]
        tips = [np.array(re.findall(r"-?\d+\.\d+", e.get("d")), dtype=float).reshape(-1, 2)[[0, -1]] for e in ways]
        ends = np.concatenate(tips)
        for axis in ("u", "Rv"):
            mark = middle(drawn(picture, leg=f"{leg}", axis=axis))
            assert np.linalg.norm(ends - mark, axis=1).min() < 0.02  # two printed decimals
    assert "data-walk" not in draw_joint(HIDE, R, theta).svg


def test_no_walk_where_no_way_is_the_straight_one():
    frames, along = HIDE.base_frames, HIDE.base_axes
    for sign, second in ((1, 60), (-1, 120)):
        m = Mechanism(frames, sign * along, 60 * deg, second * deg)
        picture = draw_joint(m, np.eye(3), np.full(3, np.nan), walk=True)
        assert "data-walk" not in picture.svg
        assert RULE not in picture.alt


def test_sliders_say_and_show_what_right_and_left_are():
    for scrubber in (scrub_joint(HIDE), scrub_assembly(HIDE)):
        assert RULE.removeprefix("elbows: ") in scrubber.html
        assert scrubber.picture.svg.count('data-walk="head"') >= 3
    for mode in WORKING_MODES:
        for state, s in zip(leg_states(HIDE, np.eye(3), HIDE.home_angles(mode)), mode, strict=True):
            assert state.side == ("right" if s > 0 else "left")
