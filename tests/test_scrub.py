import re
from itertools import product
from math import pi

import numpy as np
import pytest
from numpy.testing import assert_allclose

from legloop import (
    WORKING_MODES,
    Convention,
    Mechanism,
    assembly_modes,
    closure_error,
    deg,
    inverse_kinematics,
    reach_margin,
    rotation,
    singularity,
    working_mode,
)
from legloop.lesson.cases import bird_hide, named_joints
from legloop.lesson.picture import beside, stacked
from legloop.lesson.scrub import (
    joint_rows,
    scrub_assembly,
    scrub_equation,
    scrub_frames,
    scrub_joint,
    scrub_leg,
    scrub_order,
    scrub_rotation,
)
from legloop.lesson.scrub.start import facing

HIDE = bird_hide()
NEGATIVE_ZERO = re.compile(r"(?<![\d.])-0(?:\.0+)?(?![.\d])")
# Both links 50°, and u of leg 1 on Rv of leg 1 at home: every motor angle closes that leg.
FREE = Mechanism(
    [np.eye(3), rotation.rx(2.0), rotation.ry(2.0)],
    [[0.0, 0.0, 1.0], rotation.rx(3.0)[:, 2], rotation.ry(3.0)[:, 2]],
    50 * deg,
    50 * deg,
)
# Their base frame has z down, their platform frame its x along our y.
DOWN = Convention(rotation.rx(180 * deg), rotation.rz(-90 * deg), sense=(-1, -1, -1))


def sound(scrubber):
    """What must hold after every move of a hand."""
    assert scrubber.message == ""
    assert "<svg" in scrubber.html
    for text in (scrubber.html, scrubber.alt):
        assert "nan" not in text
        assert not re.search(r"\binf\b", text)
    assert not NEGATIVE_ZERO.search(scrubber.alt)
    assert 'role="alert"' not in scrubber.html


def all_ends(scrubber, names):
    """Move the named dials to every combination of their two ends and their middle."""
    dials = [scrubber.dials[name] for name in names]
    ends = [(dial.min, (dial.min + dial.max) / 2, dial.max) for dial in dials]
    for values in product(*ends):
        scrubber.set(**{name: value * deg for name, value in zip(names, values, strict=True)})
        sound(scrubber)


@pytest.mark.parametrize("names", [("roll", "pitch", "yaw"), ("tilt", "azimuth", "torsion")])
@pytest.mark.parametrize("joint", [*named_joints().values(), FREE], ids=[*named_joints(), "free leg"])
def test_joint_survives_all_ends(joint, names):
    all_ends(scrub_joint(joint), names)


def test_joint_survives_all_modes_and_views():
    scrubber = scrub_joint(HIDE, cones=True, ghost=True, names=True)
    for mode in WORKING_MODES.tolist():
        scrubber.set(mode=tuple(mode), roll=20 * deg)
        sound(scrubber)
        assert scrubber.alt.count("elbow right") == mode.count(1)
    all_ends(scrubber, ("view_azimuth", "view_elevation", "pitch"))


@pytest.mark.parametrize(
    ("make", "names"),
    [
        (lambda: scrub_leg(HIDE, 1), ("theta", "proximal", "base_cone", "azimuth")),
        (lambda: scrub_leg(HIDE), ("platform_cone", "view_azimuth", "view_elevation")),
        (lambda: scrub_assembly(HIDE), ("theta_1", "theta_2", "theta_3")),
        (lambda: scrub_assembly(named_joints()["all arcs 90°"]), ("theta_1", "theta_2", "theta_3")),
        (lambda: scrub_rotation(), ("angle", "view_azimuth", "view_elevation")),
        (lambda: scrub_order(), ("angle_a", "angle_b", "view_elevation")),
        (lambda: scrub_frames(DOWN), ("tilt", "azimuth", "torsion", "view_elevation")),
        (lambda: scrub_frames(Convention()), ("roll", "pitch", "yaw")),
        (lambda: scrub_equation(HIDE, 2), ("roll", "pitch", "theta", "view_elevation")),
        (lambda: scrub_equation(FREE, 0), ("roll", "pitch", "theta")),
    ],
    ids=[
        "leg",
        "leg and view",
        "assembly",
        "assembly of all arcs 90°",
        "rotation",
        "order",
        "frames",
        "frames that agree",
        "equation",
        "equation of a free leg",
    ],
)
def test_the_others_survive_all_ends(make, names):
    all_ends(make(), names)


@pytest.mark.parametrize("follow", [1, -1])
def test_equation_follows_a_root_as_long_as_there_is_one(follow):
    scrubber = scrub_equation(HIDE, 0, follow=follow)
    all_ends(scrubber, ("tilt", "azimuth", "torsion"))
    scrubber.set(R=rotation.ry(20 * deg))
    theta = inverse_kinematics(HIDE, rotation.ry(20 * deg), [follow] * 3)[0]
    assert f"leg 1: motor at {theta / deg:.1f}°" in scrubber.alt
    scrubber.set(R=rotation.ry(-100 * deg))
    assert "no root" in scrubber.alt


@pytest.mark.parametrize(
    ("R", "mode", "change"),
    [
        (rotation.rz(10 * deg), 1, (-7.40, -7.40, -7.40)),
        (rotation.ry(15 * deg), 1, (-8.25, +12.97, -4.92)),
        (rotation.ry(15 * deg), -1, (+8.25, +4.92, -12.97)),
    ],
)
def test_rows_tell_what_the_motors_do(R, mode, change):
    # The bird hide's check on a bench, degrees of change from home.
    rows = joint_rows(HIDE, R, [mode] * 3)
    assert [row[2] for row in rows] == [f"{value:+.2f}°" for value in change]
    assert [row[0] for row in rows] == ["leg 1", "leg 2", "leg 3"]
    theta, margin = inverse_kinematics(HIDE, R, [mode] * 3), reach_margin(HIDE, R)
    assert [row[1] for row in rows] == [f"{value / deg:.2f}°" for value in theta]
    assert [row[3] for row in rows] == ["right" if mode > 0 else "left"] * 3
    assert [row[4] for row in rows] == [f"{value / deg:.1f}°" for value in margin]
    assert [row[5] for row in rows] == [f"{abs(value):.1e}" for value in closure_error(HIDE, R, theta)]


def test_a_change_past_half_a_turn_is_a_small_one():
    m = named_joints()["all arcs 90°"]
    for R in (rotation.rx(5 * deg), rotation.ry(-5 * deg), rotation.rz(5 * deg)):  # home is at 180° in mode -1
        changes = [float(row[2].removesuffix("°")) for row in joint_rows(m, R, (-1, -1, -1))]
        assert 4 < np.abs(changes).max() < 20


def test_a_leg_is_seen_from_beside_its_motor():
    azimuth, elevation = facing(HIDE, 1, 40 * deg)  # the motor of leg 2 stands at 120°
    assert azimuth == pytest.approx(160 * deg)
    assert 0 < elevation < 45 * deg


def test_rows_tell_which_leg_cannot_close():
    R = rotation.ry(-100 * deg)
    rows, margin = joint_rows(HIDE, R, (1, 1, 1)), reach_margin(HIDE, R)
    assert (margin < 0).tolist() == [True, False, False]
    assert rows[0] == ["leg 1", "—", "—", "—", f"{margin[0] / deg:.1f}°", f"—, {-margin[0] / deg:.1f}° short"]
    assert rows[1][3] == "right"
    assert joint_rows(FREE, np.eye(3), (1, 1, 1))[0][5] == "any angle closes"


def test_a_slider_moves_the_picture_with_one_assignment():
    scrubber = scrub_joint(HIDE)
    seen = []
    scrubber.output.observe(seen.append, "value")
    scrubber.dials["yaw"].value = 10.0  # as the front end does
    assert len(seen) == 1
    assert f"leg 1: motor at {inverse_kinematics(HIDE, rotation.rz(10 * deg))[0] / deg:.1f}°" in scrubber.alt
    assert scrubber.picture.bare in scrubber.html
    assert scrubber.picture.bare in seen[0]["new"]
    scrubber.set(roll=5 * deg, pitch=3 * deg, mode=(1, -1, 1))
    assert len(seen) == 2


def test_two_names_of_one_orientation():
    scrubber = scrub_joint(HIDE)
    R = rotation.from_rpy(10 * deg, -20 * deg, 30 * deg)
    scrubber.set(R=R)
    before = scrubber.alt
    names = scrubber.names
    names.value = ("tilt", "azimuth", "torsion")  # as a click does
    assert np.abs(scrubber.state["R"] - R).max() < 1e-14  # there and back through angles, rounding only
    assert scrubber.alt == before
    shown = [scrubber.dials[name].value * deg for name in names.value]
    assert shown == pytest.approx(rotation.to_tilt_torsion(R), abs=1e-12)
    assert [scrubber.dials[name].description for name in names.value] == [
        "tilt / °",
        "azimuth of tilt / °",
        "torsion / °",
    ]
    scrubber.dials["torsion"].value += 15.0
    turned = scrubber.state["R"]
    names.value = ("roll", "pitch", "yaw")
    assert np.abs(scrubber.state["R"] - turned).max() < 1e-14
    # Setting one angle of the triple that is not in use changes to it and keeps the other two.
    scrubber.set(R=R).set(tilt=0.5)
    assert names.value == ("tilt", "azimuth", "torsion")
    _, azimuth, torsion = rotation.to_tilt_torsion(R)
    assert np.abs(scrubber.state["R"] - rotation.from_tilt_torsion(0.5, azimuth, torsion)).max() < 1e-14


def test_reset_goes_back_to_the_start():
    start = rotation.from_rpy(0.1, 0.2, 0.3)
    scrubber = scrub_joint(HIDE, R=start, mode=(1, -1, 1))
    html = scrubber.html
    scrubber.set(tilt=1.0, mode=(-1, -1, -1), view_azimuth=0.5)
    assert scrubber.html != html
    scrubber.reset_button.click()
    assert scrubber.html == html
    assert scrubber.names.value == ("roll", "pitch", "yaw")


def test_an_error_in_the_drawing_is_shown_and_gone_after_the_next_good_move(monkeypatch):
    scrubber = scrub_joint(HIDE)
    last = scrubber.alt

    def fail(*_, **__):
        raise RuntimeError("the pen <broke>")

    with monkeypatch.context() as patch:
        patch.setattr("legloop.lesson.scrub.joint.draw_joint", fail)
        scrubber.dials["roll"].value = 10.0
        assert scrubber.message == "RuntimeError: the pen <broke>"
        assert '<div class="ll-alert" role="alert">RuntimeError: the pen &lt;broke&gt;</div>' in scrubber.html
        assert scrubber.alt == last
        assert scrubber.picture.bare in scrubber.html
    scrubber.dials["roll"].value = 20.0
    sound(scrubber)


def test_rows_of_pictures_stand_one_under_the_other():
    small, large = scrub_rotation(size=200).picture, scrub_rotation(size=300).picture
    whole = stacked([beside([small, large]), large], gap=10)
    assert 'viewBox="0 0 512 610" width="512" height="610"' in whole.svg  # 200 + 12 + 300 wide, 300 + 10 + 300 high
    assert re.findall(r'<svg ([xy])="(\d+)"', whole.svg) == [("y", "0"), ("x", "0"), ("x", "212"), ("y", "310")]
    assert whole.alt == "\n".join([small.alt, large.alt, large.alt])


def test_what_a_cell_shows():
    shown = (scrub_joint(HIDE), scrub_rotation(), scrub_order(), scrub_leg(HIDE), scrub_equation(HIDE))
    for scrubber in (*shown, scrub_frames(DOWN), scrub_assembly(HIDE)):
        bundle = scrubber._repr_mimebundle_()
        assert set(bundle) == {"application/vnd.jupyter.widget-view+json", "image/svg+xml", "text/plain"}
        assert bundle["application/vnd.jupyter.widget-view+json"]["model_id"] == scrubber.widget.model_id
        assert bundle["image/svg+xml"] == scrubber.picture.svg
        assert bundle["text/plain"] == scrubber.alt == repr(scrubber)
        assert len(scrubber.alt) < 500
        assert not NEGATIVE_ZERO.search(scrubber.alt)


def test_the_same_call_shows_the_same():
    assert scrub_equation(HIDE).picture == scrub_equation(HIDE).picture
    assert scrub_order().picture == scrub_order().picture


def test_two_joints_side_by_side():
    other = named_joints()["coaxial"]
    scrubber = scrub_joint(HIDE, other).set(pitch=15 * deg)
    assert scrubber.alt.splitlines() == [scrub_joint(joint).set(pitch=15 * deg).alt for joint in (HIDE, other)]
    heads = re.findall(r'<thead><tr><th scope="col">(.*?)</th>', scrubber.html)
    assert heads == ["first joint", "second joint"]
    assert all(f">{head}</text>" in scrubber.html for head in heads)


def test_rotation_shows_the_matrix():
    scrubber = scrub_rotation("x", 30 * deg)
    cells = re.findall(r"<td>(.*?)</td>", scrubber.html)
    assert cells == ["1.000", "0.000", "0.000", "0.000", "0.866", "-0.500", "0.000", "0.500", "0.866"]
    scrubber.set(axis="y")
    assert re.findall(r"<td>(.*?)</td>", scrubber.html)[:3] == ["0.866", "0.000", "0.500"]


def test_order_shows_both_products():
    scrubber = scrub_order(("x", 90 * deg), ("z", 90 * deg))
    cells = np.array([float(c) for c in re.findall(r"<td>(.*?)</td>", scrubber.html)]).reshape(2, 3, 3)
    # By hand: Rx(90°) Rz(90°) takes x to y to z, y to -x, z to -y; Rz(90°) Rx(90°) takes x to y, y to z, z to x.
    assert cells[0].T.tolist() == [[0, 0, 1], [-1, 0, 0], [0, -1, 0]]
    assert cells[1].T.tolist() == [[0, 1, 0], [0, 0, 1], [1, 0, 0]]
    # The turn from one product to the other has trace 0 here: 1 + 2 cos(120°).
    assert scrubber.alt.endswith("The two results are 120.0° apart.")


def test_frames_show_one_pose_in_both():
    scrubber = scrub_frames(DOWN, R=rotation.rz(30 * deg))
    cells = np.array([float(c.rstrip("°")) for c in re.findall(r"<td>(.*?)</td>", scrubber.html)])
    # By hand. Ours: x' at azimuth 30°. Their x' is our y', at azimuth 120°: (-1/2, 0.866, 0). In their base frame the
    # last two components change sign. Their z' is our z, which they call (0, 0, -1).
    ours, theirs = cells[:18].reshape(2, 3, 3)
    assert ours.T.tolist() == [[0.866, 0.5, 0], [-0.5, 0.866, 0], [0, 0, 1]]
    assert theirs.T.tolist() == [[-0.5, -0.866, 0], [-0.866, 0.5, 0], [0, 0, -1]]
    # Rz(yaw) Rx(180°) has the first column (cos yaw, sin yaw, 0): theirs is (-1/2, -0.866, 0), yaw -120°.
    assert cells[18:].tolist() == [0, 0, 30, 180, 0, -120]
    assert "x_theirs = (1.00, 0.00, 0.00); y_theirs = (0.00, -1.00, 0.00)" in scrubber.alt  # on the base
    assert "x_theirs = (-0.50, 0.87, 0.00); y_theirs = (-0.87, -0.50, 0.00)" in scrubber.alt  # on the platform
    scrubber.set(R=rotation.ry(0.5))
    assert scrubber.alt == scrub_frames(DOWN, R=rotation.ry(0.5)).alt


def test_frames_are_drawn_as_seen_from_ours():
    turned = Convention(base=rotation.rz(30 * deg), platform=rotation.rx(40 * deg))
    alt = scrub_frames(turned, R=np.eye(3)).alt
    # A vector along our x has the azimuth 30° for them: their x lies 30° before it. So does their y about our x.
    assert "x_theirs = (0.87, -0.50, 0.00); y_theirs = (0.50, 0.87, 0.00)" in alt  # on the base
    assert "y_theirs = (0.00, 0.77, -0.64); z_theirs = (0.00, 0.64, 0.77)" in alt  # on the platform


def test_frames_want_a_convention():
    with pytest.raises(TypeError, match="convention must be a Convention, not an object of type ndarray"):
        scrub_frames(np.eye(3))


def test_leg_shows_its_axes():
    scrubber = scrub_leg(HIDE, 1).set(theta=0.0)
    rows = np.array([float(c) for c in re.findall(r"<td>(.*?)</td>", scrubber.html)]).reshape(3, 3)
    # At theta = 0 the elbow is in the leg's meridian, gamma + alpha_1 = 105° from -z; leg 2 is at 120°.
    for row, angle in zip(rows, (45, 105, 130), strict=True):
        r, z = np.sin(angle * deg), -np.cos(angle * deg)
        assert row == pytest.approx([r * np.cos(120 * deg), r * np.sin(120 * deg), z], abs=6e-4)  # three decimals
    assert 'data-leg="2"' in scrubber.picture.svg
    assert 'data-leg="1"' not in scrubber.picture.svg


def test_assembly_shows_every_orientation_that_closes():
    scrubber = scrub_assembly(HIDE)
    for degrees in ((-83.81, -62.58, -80.47), (-89, -90, -90), (-133, -75, -75), (30, 30, 30)):
        theta = np.array(degrees) * deg
        scrubber.set(**{f"theta_{i + 1}": theta[i] for i in range(3)})
        sound(scrubber)
        found = assembly_modes(HIDE, theta)
        volume = singularity(HIDE, found, theta).volume
        assert scrubber.html.count("ll-plate") == len(found)  # one picture for each
        cells = re.findall(r"<tr>(.*?)</tr>", scrubber.html.replace("°", ""))[1:]
        rows = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", cell) for cell in cells]
        which = [int(row[0]) - 1 for row in rows]
        assert sorted(which) == list(range(len(found)))
        assert (np.diff(np.sign(volume[which])) <= 0).all()  # det N > 0 first
        tilt, azimuth, torsion = (np.array([float(row[i]) for row in rows]) * deg for i in (1, 2, 3))
        apart = rotation.angle_between(rotation.from_tilt_torsion(tilt, azimuth, torsion), found[which])
        assert apart.max() < 0.2 * deg  # three angles, each printed to 0.1°
        assert [float(row[5]) for row in rows] == pytest.approx(volume[which], abs=6e-4)  # three decimals
        elbows = working_mode(HIDE, found[which], theta)
        assert [row[4].split() for row in rows] == [["right" if s > 0 else "left" for s in row] for row in elbows]


def test_assembly_says_when_the_motors_ask_for_the_impossible():
    scrubber = scrub_assembly(HIDE).set(theta_1=pi, theta_2=pi, theta_3=pi)
    assert scrubber.alt == "Motors at 180.0°, 180.0°, 180.0°: no orientations close."
    assert scrubber.picture.svg.count('data-axis="u"') == 3
    assert 'data-axis="Rv"' not in scrubber.picture.svg


def test_assembly_says_when_a_curve_of_orientations_closes():
    # All arcs 90°, two elbows on one line: the platform is free to turn about it.
    scrubber = scrub_assembly(named_joints()["all arcs 90°"]).set(theta_1=0, theta_2=0, theta_3=pi / 2)
    sound(scrubber)
    assert "not isolated: a whole curve of orientations closes" in scrubber.alt
    assert 'data-axis="Rv"' not in scrubber.picture.svg


def test_assembly_counts_a_double_root():
    # All second links in meridians, at 125° from z: the platform is free to yaw a little; by spherical trigonometry.
    cosine = (np.cos(125 * deg) - np.cos(135 * deg) * np.cos(60 * deg)) / (np.sin(135 * deg) * np.sin(60 * deg))
    scrubber = scrub_assembly(HIDE, -np.arccos(cosine) * np.ones(3))
    assert re.findall(r"<td>(single|double|triple)</td>", scrubber.html).count("double") == 1
    assert "level, torsion 80.6°, det N 0.000" in scrubber.alt


def test_leg_refuses_a_joint_that_its_angles_do_not_describe():
    for name in ("all arcs 90°", "twisted"):
        with pytest.raises(ValueError, match="symmetric without twist"):
            scrub_leg(named_joints()[name])
    with pytest.raises(ValueError, match="leg is 3"):
        scrub_leg(HIDE, 3)


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"rol": 1.0}, "no control 'rol'; there are: .*roll"),
        ({"roll": 10.0}, r"roll is 10 rad \(573°\); it must lie in \[-180°, 180°\], as its slider"),
        ({"mode": (1, 1, 2)}, r"mode is \(1, 1, 2\)"),
        ({"R": 2 * np.eye(3)}, "not a rotation"),
        ({"R": np.eye(3)[None]}, "one pose"),
        ({"roll": 0.1, "tilt": 0.1}, "give the orientation once"),
        ({"R": np.eye(3), "roll": 0.1}, "give the orientation once"),
    ],
)
def test_set_refuses_what_a_hand_cannot_do(values, message):
    scrubber = scrub_joint(HIDE)
    html = scrubber.html
    with pytest.raises(ValueError, match=message):
        scrubber.set(**values)
    assert scrubber.html == html


def test_set_refuses_an_orientation_where_there_is_none():
    with pytest.raises(ValueError, match="no orientation"):
        scrub_rotation().set(R=np.eye(3))


def test_a_mistake_in_the_call_is_raised_not_hidden():
    with pytest.raises(ValueError, match="links is 7"):
        scrub_joint(HIDE, links=7)


def test_a_front_end_that_rounds_to_its_steps_does_not_move_the_pose():
    """As a browser does when it shows a slider: it sends back the nearest step, though no hand has moved it."""
    R = rotation.from_tilt_torsion(20 * deg, 60 * deg, 0)
    scrubber = scrub_joint(bird_hide(), R=R)
    for names in (("roll", "pitch", "yaw"), ("tilt", "azimuth", "torsion"), ("roll", "pitch", "yaw")):
        scrubber.names.value = names
        for name in names:
            scrubber.dials[name].value = round(scrubber.dials[name].value / 0.1) * 0.1
        assert_allclose(scrubber.state["R"], R, atol=1e-14)
    yaw = scrubber.dials["yaw"]
    yaw.value = moved = round(yaw.value / 0.1 + 1) * 0.1  # one step by hand
    roll, pitch, _ = rotation.to_rpy(R)
    assert_allclose(scrubber.state["R"], rotation.from_rpy(roll, pitch, moved * deg), atol=1e-14)
    scrubber.reset()
    assert_allclose(scrubber.state["R"], R, atol=1e-14)


def test_nor_any_other_angle():
    scrubber = scrub_equation(bird_hide()).set(theta=0.1234)
    dial = scrubber.dials["theta"]
    dial.value = round(dial.value / 0.1) * 0.1
    assert scrubber.state["theta"] == pytest.approx(0.1234, abs=1e-15)
    dial.value = moved = round(dial.value / 0.1 + 1) * 0.1
    assert scrubber.state["theta"] == pytest.approx(moved * deg, abs=1e-15)
