"""Malformed calls of what the lessons use; the keys are module or package, and public name."""

import warnings

import numpy as np

from legloop import Convention, Links, deg
from legloop.lesson import cases, draw, exercise, maps, review, scrub
from legloop.lesson.belt import draw_belt, draw_torque
from legloop.lesson.give import Size, draw_shares, scrub_give
from legloop.lesson.scrub_drive import scrub_drive
from legloop.lesson.scrub_motion import scrub_motion
from legloop.lesson.sense import draw_sense, sense_of
from legloop.lesson.series import draw_series
from malformed import HIDE, HOME, I3, MIRROR, T, V, of

BARS = Links(radius=[0.06, 0.075], half_width=[0.005, 0.004], thickness=[0.008, 0.006])
POSE = {"m": HIDE, "R": I3, "theta": HOME}
SHOWN = scrub.scrub_joint(HIDE)
PICTURE = draw.draw_joint(**POSE)
NO_JOINT = ("no joint", {"m": "hide"}, T, r"the first argument must be a Mechanism, not 'hide'")
VIEW = (
    ("view in degrees", {"view": (28, 24)}, V, r"view\[0\] is 28 rad \(1604°\); .*for degrees write 28\*deg"),
    ("view from above", {"view": (0.4, 1.6)}, V, r"view\[1\] is 1\.6 rad .*\[-pi/2, pi/2\]"),
    ("one number for a view", {"view": 0.4}, V, r"view has shape \(\); its shape must be \(2,\)"),
    ("size of a stamp", {"size": 50}, V, r"size is 50; it is in pixels.*below 200"),
    ("two sizes", {"size": (300, 300)}, V, r"size has shape \(2,\); it is one number"),
)
NO_LEG = (
    ("leg 3", {"leg": 3}, V, r"leg is 3; the legs are 0, 1 and 2"),
    ("leg by name", {"leg": "first"}, V, r"leg is 'first'; the legs are"),
)
NO_TURN = (
    ("mirror", {"R": MIRROR}, V, r"the orientation R is not a rotation: its determinant is -1"),
    ("batch", {"R": I3[None]}, V, r"R has shape \(1, 3, 3\); a picture shows one pose"),
)
NO_MODE = (
    ("eight modes", {"mode": np.ones((8, 3))}, V, r"mode has shape \(8, 3\)"),
    ("mode 0", {"mode": (1, 0, 1)}, V, r"mode\[1\] is 0"),
)
COUNTS = (
    ("half a thing", {"count": 2.5}, T, r"count is 2\.5; it is a count and must be a whole number"),
    ("endless", {"count": np.inf}, T, r"count is inf"),
    ("fewer than none", {"count": -1}, V, r"count is -1; it must be at least 0"),
    ("seed", {"seed": "today"}, T, r"seed is 'today'"),
)
NO_TURNS = (
    ("a letter", {"turns": [("q", 1.0)]}, V, r"axis is 'q'; it must be one of 'x', 'y', 'z'"),
    ("no pairs", {"turns": [1.0, 2.0]}, T, r"turns is \[1\.0, 2\.0\]; give pairs.*\('x', 90\*deg\)"),
    ("two angles", {"turns": [("x", [1.0, 2.0])]}, V, r"angle has shape \(2,\)"),
    ("degrees", {"turns": [("x", 90)]}, V, r"angle is 90 rad .*for degrees write 90\*deg"),
)
NO_MAP = (
    ("height", {"quantity": "height"}, V, r"quantity is 'height'; it must be one of 'margin', 'dexterity'"),
    ("clearance without links", {"quantity": "clearance"}, V, r"clearance needs links=Links\(radius"),
    ("links a number", {"links": 0.06}, T, r"links must be a Links, not an object of type float"),
    NO_JOINT,
    *NO_MODE,
)
ON_MAP = (
    ("farthest in degrees", {"farthest": 75}, V, r"farthest is 75 rad \(4297°\).*\(0, pi\).*75\*deg"),
    ("pointer off the map", {"pointer": (1.5, 0)}, V, r"pointer\[0\] is 1\.5 rad .*farthest = 75\.0°"),
    ("pointer in degrees", {"pointer": (0.3, 120)}, V, r"pointer\[1\] is 120 rad .*write 120\*deg"),
    ("pointer one number", {"pointer": 0.3}, V, r"pointer is 0\.3; give tilt and azimuth, as \(30\*deg, 0\.0\)"),
)

MARKED = {
    "cases.random_joints": of(cases.random_joints, {"count": 1, "seed": 1}, *COUNTS),
    "cases.random_orientations": of(cases.random_orientations, {"count": 1, "seed": 1}, *COUNTS),
    "cases.reachable": of(cases.reachable, {"m": HIDE, "count": 1, "seed": 1}, *COUNTS, NO_JOINT,
        ("margin of 90°", {"margin": 90}, V, r"only 0 of the 1 orientations asked for were found"),
        ("margins", {"margin": [0.1, 0.2]}, V, r"margin has shape \(2,\)"),
    ),
    "exercise.check": of(exercise.check, {"answer": np.sin, "reference": np.sin, "cases": [(0.1,), (0.2,)]},
        ("no cases", {"cases": []}, V, r"cases is empty; an agreement is worth no more"),
        ("bare numbers", {"cases": [0.1, 0.2]}, T, r"cases is \[0\.1, 0\.2\]; give a list of tuples"),
        ("no reference", {"reference": 0.5}, T, r"reference is 0\.5; it must be a function"),
        ("period 0", {"period": 0}, V, r"period is 0; it must be above 0"),
        ("tolerance none", {"tolerance": None}, T, r"tolerance is None"),
    ),
    "review": of(review, {"step": "rotation_x", "answer": None},
        ("no step", {"step": "elbow"}, V, r"step is 'elbow'; it must be one of rotation_x"),
        ("mechanism", {"step": "base_axis", "mechanism": 3}, T, r"mechanism must be a Mechanism, not .*int"),
        ("convention", {"step": "base_axis", "convention": 3}, T, r"convention must be a Convention"),
    ),
}  # fmt: skip

DRAWN = {
    "draw.beside": of(draw.beside, {"pictures": [PICTURE, PICTURE]},
        ("no picture", {"pictures": []}, V, r"pictures is no list with a Picture in it; give at least one"),
        ("svg for picture", {"pictures": [PICTURE, PICTURE.svg]}, T, r"pictures\[1\] must be a Picture, not .*str"),
        ("gap", {"gap": -5}, V, r"gap is -5 pixels; it must not be negative"),
    ),
    "draw.draw_joint": of(draw.draw_joint, POSE, NO_JOINT, *VIEW, *NO_TURN,
        ("nan where it closes", {"theta": [0.0, np.nan, 0.0]}, V, r"theta\[1\] is nan, but leg 2 can close"),
        ("leg 3", {"legs": (0, 3)}, V, r"an entry of legs is 3; the legs are 0, 1 and 2"),
        ("one leg bare", {"legs": 1}, T, r"legs is 1; give the indices of the legs"),
        ("three links", {"links": 3}, V, r"links is 3; a leg has two links"),
        ("a frame", {"frames": ("tool",)}, V, r"frames is \('tool',\); it may hold 'base' and 'platform'"),
        ("two homes", {"home": np.zeros((2, 3))}, V, r"home has shape \(2, 3\); a picture shows one pose"),
        ("names", {"names": "all"}, T, r"names is 'all'; it must be True or False"),
        ("title", {"title": 3}, T, r"title must be a str, not an object of type int"),
    ),
    "draw.draw_equation": of(draw.draw_equation, {"m": HIDE, "R": I3}, NO_JOINT, *NO_TURN, *NO_LEG,
        ("angles", {"theta": HOME}, V, r"theta has shape \(3,\); it is one number"),
        ("width", {"width": 10}, V, r"width is 10; it is in pixels and must lie between 150 and 10000"),
    ),
    "draw.draw_turns": of(draw.draw_turns, {"turns": [("x", 1.0)]}, *NO_TURNS, *VIEW,
        ("moving", {"moving": "yes"}, T, r"moving is 'yes'; it must be True or False"),
    ),
    "draw.draw_frames": of(draw.draw_frames, {"frames": {"A": I3}}, *VIEW,
        ("five", {"frames": dict.fromkeys("ABCDE", I3)}, V, r"5 frames given; one to 4"),
        ("mirror", {"frames": {"A": I3, "B": MIRROR}}, V, r"the frame B is not a rotation"),
        ("a list", {"frames": [I3]}, T, r"frames must be a Mapping, not an object of type list; give a dict"),
    ),
    "draw.leg_states": of(draw.leg_states, POSE, NO_JOINT, *NO_TURN,
        ("two", {"theta": (0, 0)}, V, r"theta has shape \(2,\)"),
        ("inf", {"theta": (0, np.inf, 0)}, V, r"theta\[1\] is inf"),
    ),
    "maps.map_values": of(maps.map_values, {"m": HIDE, "quantity": "margin", "R": I3}, *NO_MAP[:4],
        ("mirror", {"R": [I3, MIRROR]}, V, r"orientation 1 is not a rotation"),
    ),
    "maps.draw_map": of(maps.draw_map, {"m": HIDE}, *NO_MAP, *ON_MAP,
        ("torsion in degrees", {"torsion": 30}, V, r"torsion is 30 rad \(1719°\); .*\[-2 pi, 2 pi\].*30\*deg"),
    ),
    "maps.scrub_reach": of(maps.scrub_reach, {"m": HIDE, "links": BARS}, *NO_MAP[::2], *ON_MAP,
        ("torsion in degrees", {"torsion": 30}, V, r"torsion is 30 rad .*\[-180°, 180°\]; for degrees write 30\*deg"),
    ),
    "belt.draw_belt": of(draw_belt, {"teeth": (20, 60), "diameters": (0.013, 0.038), "distance": 0.06, "lean": 0.2},
        ("teeth", {"teeth": (20, 0)}, V, r"teeth is \[20\.0, 0\.0\]; give two numbers above 0"),
        ("half a tooth", {"teeth": (20.5, 60)}, T, r"teeth\[0\] is 20\.5; it is a count"),
        ("lean in degrees", {"lean": 12}, V, r"lean is 12 rad; .*12\*deg"),
        ("clamp", {"clamp": -0.01}, V, r"clamp is -0\.01 m"),
    ),
    "belt.draw_torque": of(draw_torque, {"rows": np.array([(0, 1), (5, 0.5)]), "need": (1, 0.4), "limits": (6, 2)},
        ("one row", {"rows": np.array([(0, 1)])}, V, r"rows has shape \(1, 2\); give speed and torque"),
        ("need negative", {"need": (-1, 0.4)}, V, r"need is \(-1, 0\.4\)"),
        ("limits 0", {"limits": (0, 2)}, V, r"limits is \[0\.0, 2\.0\]; give two numbers above 0"),
    ),
    "give.draw_shares": of(draw_shares, {"names": ["a", "b"], "shares": [0.4, 0.6], "told": "told"},
        ("percent", {"shares": [40, 60]}, V, r"shares is \[40\.0, 60\.0\]; it must be .*in \[0, 1\]"),
        ("three", {"shares": [0.2, 0.3, 0.5]}, V, r"shares has shape \(3,\)"),
        ("one name", {"names": "ab"}, T, r"names is 'ab'; give a list of texts"),
        ("no line", {"told": None}, T, r"told must be a str, not None"),
    ),
    "sense.sense_of": of(sense_of, {},
        ("words", {"clockwise": "no"}, T, r"clockwise is 'no'; it must be True or False"),
        ("a sense", {"away": -1}, T, r"away is -1"),
        ("none", {"crossed": None}, T, r"crossed is None"),
    ),
    "sense.draw_sense": of(draw_sense, {},
        ("words", {"clockwise": "no"}, T, r"clockwise is 'no'; it must be True or False"),
        ("a number", {"away": 2}, T, r"away is 2"),
        ("an array", {"crossed": I3}, T, r"crossed is an object of type ndarray"),
    ),
    "series.draw_series": of(
        draw_series, {"t": [0, 1], "values": np.zeros((2, 3)), "at": 0.5, "name": "a", "unit": "b"},
        ("rows", {"values": np.zeros((3, 3))}, V, r"t and values have shapes \(2,\) and \(3, 3\)"),
        ("times fall", {"t": [1, 0]}, V, r"t\[1\] is 0 s, not above t\[0\], 1 s; times must increase"),
        ("at", {"at": 7}, V, r"at is 7 s; it must lie between 0 and 1 s"),
        ("unit", {"unit": 5}, T, r"unit must be a str"),
    ),
}  # fmt: skip


def _quiet_drive(motor, joint):
    from legloop.workshop.drive import BeltDrive

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return BeltDrive(motor, joint, pitch=2e-3, centre_distance=70e-3)


GIVING = {"m": HIDE, "measure": lambda R, theta, **sizes: (1.0, 2.0, [0.5, 0.5]), "names": ["a", "b"]}  # noqa: ARG005
SLIDER = {"width": Size("width", 0.01, [0.01, 0.02])}
FILM = {"m": HIDE, "t": [0, 1, 2], "theta": np.tile(HOME, (3, 1)), "start": I3}
BELTS = {"make": _quiet_drive, "curve": [(0, 0.4), (30, 0.3)], "need": (1, 0.4), "clamp": 0.01}
SCRUBBED = {
    "scrub.Scrubber": of(scrub.Scrubber, {"dials": {}, "show": lambda state: (PICTURE, "")},  # noqa: ARG005
        ("a list", {"dials": []}, T, r"dials must be a Mapping, not an object of type list; give a dict"),
        ("a number", {"dials": {"theta": 0.1}}, T, r"dials\['theta'\] must be a ValueWidget, not .*float"),
        ("no function", {"show": PICTURE}, T, r"show is .*must be a function of the state"),
    ),
    "scrub.Scrubber.set": of(SHOWN.set, {"roll": 0.1},
        ("misspelt", {"rol": 1.0}, V, r"there is no control 'rol'; there are: .*roll"),
        ("degrees", {"roll": 10.0}, V, r"roll is 10 rad \(573°\); it must lie in \[-180°, 180°\].*10\*deg"),
        ("text", {"roll": "10°"}, T, r"roll must hold real numbers, not '10°'"),
        ("mode", {"mode": (1, 1, 2)}, V, r"mode is \(1, 1, 2\); it must be one of"),
        ("mirror", lambda: SHOWN.set(R=MIRROR), V, r"the orientation R is not a rotation"),
        ("twice", {"tilt": 0.1}, V, r"give the orientation once"),
    ),
    "scrub.joint_rows": of(scrub.joint_rows, {"m": HIDE, "R": I3, "mode": (1, 1, 1)}, NO_JOINT, *NO_TURN, NO_MODE[1]),
    "scrub.scrub_assembly": of(scrub.scrub_assembly, {"m": HIDE}, NO_JOINT, *VIEW,
        ("degrees", {"theta": (-75, -75, -75)}, V, r"theta\[0\] is -75 rad .*-75\*deg"),
        ("two", {"theta": (0, 0)}, V, r"theta has shape \(2,\); its shape must be \(3,\)"),
    ),
    "scrub.scrub_equation": of(scrub.scrub_equation, {"m": HIDE}, NO_JOINT, *NO_LEG, *NO_TURN, *VIEW[:3],
        ("degrees", {"theta": -30}, V, r"motor angle θ is -30 rad .*-30\*deg"),
        ("follow", {"follow": 2}, V, r"motor stands is 2; it must be one of \[0, 1, -1\]"),
    ),
    "scrub.scrub_frames": of(scrub.scrub_frames, {"convention": Convention()}, *NO_TURN, *VIEW,
        ("a joint", {"convention": HIDE}, T, r"convention must be a Convention, not an object of type Mechanism"),
    ),
    "scrub.scrub_joint": of(scrub.scrub_joint, {"m": HIDE}, NO_JOINT, *NO_MODE, *NO_TURN, *VIEW,
        ("other", {"other": "hide"}, T, r"first argument must be a Mechanism, not 'hide'"),
        ("captions alike", {"other": HIDE, "captions": ("a", "a")}, V, r"captions is \('a', 'a'\); give two"),
        ("captions of numbers", {"other": HIDE, "captions": (1, 2)}, T, r"captions is \(1, 2\); give two names"),
    ),
    "scrub.scrub_leg": of(scrub.scrub_leg, {"m": HIDE}, NO_JOINT, *NO_LEG, *VIEW),
    "scrub.scrub_order": of(scrub.scrub_order, {}, *VIEW,
        ("an axis", {"first": ("q", 1.0)}, V, r"axis of a is 'q'; it must be one of \['x', 'y', 'z'\]"),
        ("degrees", {"second": ("z", 90)}, V, r"angle of b is 90 rad .*90\*deg"),
        ("no pair", {"first": "x"}, T, r"give pairs of an axis and an angle"),
    ),
    "scrub.scrub_rotation": of(scrub.scrub_rotation, {}, *VIEW,
        ("an axis", {"axis": "q"}, V, r"axis is 'q'; it must be one of"),
        ("degrees", {"angle": 40}, V, r"angle is 40 rad \(2292°\); it must lie in \[-180°, 180°\]; .*40\*deg"),
        ("exchanged", {"axis": 40 * deg, "angle": "z"}, (V, T), r"axis is 0\.698|angle must hold"),
    ),
    "give.scrub_give": of(scrub_give, {**GIVING, "sizes": SLIDER}, NO_JOINT, *NO_TURN,
        ("no function", {"measure": 3}, T, r"measure is 3; it must be a function"),
        ("a number", {"sizes": {"width": 0.01}}, T, r"sizes\['width'\] must be a Size, not an object of type float"),
        ("start", {"sizes": {"width": Size("width", 0.015, [0.01, 0.02])}}, V, r"width starts at 0\.015 m"),
    ),
    "scrub_drive.scrub_drive": of(scrub_drive, BELTS,
        ("no function", {"make": 3.0}, T, r"make is 3\.0; it must be a function of the teeth"),
        ("curve", {"curve": [1, 2, 3]}, V, r"curve has shape \(3,\)"),
        ("teeth", {"teeth": (7, 60)}, V, r"teeth, motor is 7; it must be one of"),
        ("need", {"need": 1.0}, V, r"need has shape \(\)"),
    ),
    "scrub_motion.scrub_motion": of(scrub_motion, FILM, NO_JOINT, *NO_MODE,
        ("rows", {"theta": np.zeros((2, 3))}, V, r"t and theta have shapes \(3,\) and \(2, 3\)"),
        ("times fall", {"t": [0, 2, 1]}, V, r"t\[2\] is 1 s, not above t\[1\], 2 s"),
        ("start", {"start": MIRROR}, V, r"the orientation R is not a rotation"),
    ),
}  # fmt: skip

LESSON = MARKED | DRAWN | SCRUBBED
