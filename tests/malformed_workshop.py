"""Malformed calls of what the workshop offers to draw, measure and log with; keys: module, and public name.

Paths are relative: the tests call from an empty directory, which must stay empty.
"""

from pathlib import Path

import numpy as np

from legloop import Convention, inverse_kinematics
from legloop.workshop import bench, cad, calibration, diagnosis, log, measured
from legloop.workshop.measured import Reading
from malformed import HIDE, HOME, I3, NO_PATH, POSES, T, V, of

# ---- cad: nine lines of the joint at home, 60 mm from the centre
AXES = np.stack([HIDE.base_axes, HIDE.elbow_axes(HOME), HIDE.platform_axes], axis=1)
LINES = {"points": 60 * AXES, "directions": AXES}
NINTH = np.zeros((3, 3, 1))
NINTH[2, 2] = 1.0

CAD = {
    "cad.from_axis_lines": of(cad.from_axis_lines, LINES,
        ("eight lines", {"points": 60 * AXES[:, :2]}, V, r"points has shape \(3, 2, 3\); that is 6 lines where nine"),
        ("none", {"points": None}, T, r"points is None"),
        ("nan", {"points": np.where(NINTH == 1, np.nan, 60 * AXES)}, V, r"points\[2, 2, 0\] is nan"),
        ("enormous", {"points": np.where(NINTH == 1, 1e200, 60 * AXES)}, V,
         r"points\[2, 2\] \(leg 3, platform axis\) is .*1e\+200.*at most 1e\+09"),
        ("in metres", {"points": np.where(NINTH == 1, 0.06 * AXES, 60 * AXES)}, V, r"points\[2, 2\].* only 0\.06"),
        ("no direction", {"directions": np.where(NINTH == 1, 0, AXES)}, V, r"directions\[2, 2\].*no direction"),
        ("up", {"up": (0, 0)}, V, r"up has shape \(2,\)"),
        ("twist in degrees", {"twist": 40}, V, r"twist is 40 rad \(2292°\); .*write 40\*deg"),
        ("tolerance of 2 %", {"tolerance": 2}, V, r"tolerance is 2; it must be in \(0, 0\.1\]: 0\.02 is 2 %"),
        ("tolerance 0", {"tolerance": 0}, V, r"tolerance is 0; it must be in \(0, 0\.1\]: 0\.02 is 2 %"),
    ),
}  # fmt: skip

# ---- measured
MEASURED = {
    "measured.Reading": of(Reading, {"value": 1.0, "uncertainty": 0.1},
        ("nan", {"value": np.nan}, V, r"value is nan"),
        ("negative", {"uncertainty": -0.1}, V, r"uncertainty is -0\.1; it must not be negative"),
        ("two", {"value": [1.0, 2.0]}, V, r"value has shape \(2,\); it is one number"),
    ),
    "measured.Reading.within": of(Reading.within, {"value": 1.0, "half_width": 0.1},
        ("negative", {"half_width": -0.1}, V, r"half_width is -0\.1; it must not be negative"),
        ("two", {"half_width": [0.1, 0.2]}, V, r"half_width has shape \(2,\); it is one number"),
        ("text", {"value": "75°"}, T, r"value must hold real numbers, not '75°'"),
    ),
    "measured.protractor": of(measured.protractor, {"angles": [1.0, 1.1], "resolution": 0.01},
        ("degrees", {"angles": [74.5, 75]}, V, r"angles holds 75 rad, more than a turn; for degrees write 75\*deg"),
        ("one", {"angles": [1.0]}, V, r"give two readings or more"),
        ("resolution of 1°", {"resolution": 1}, V, r"resolution is 1 rad \(57\.3°\); .*one degree is 1\*deg"),
        ("none", {"resolution": None}, T, r"resolution is None"),
    ),
    "measured.arc_of_chord": of(measured.arc_of_chord, {"chord": Reading(60, 1), "radius": Reading(62, 1)},
        ("a number", {"chord": 60.0}, T, r"chord must be a Reading, not .*float; make one with Reading\("),
        ("a number too", {"radius": 62}, T, r"radius must be a Reading, not an object of type int"),
        ("two units", {"radius": Reading(0.062, 0.001)}, V, r"chord is 60 and the radius 0\.062.*in one unit\?"),
        ("two units too", {"chord": Reading(0.1, 0.1)}, V, r"an arc of 0\.092°; no link is below 1°: .*one unit"),
    ),
    "measured.cone_of_offsets": of(measured.cone_of_offsets, {"across": Reading(60, 1), "along": Reading(62, 1)},
        ("none", {"along": None}, T, r"along must be a Reading, not None"),
        ("negative", {"across": Reading(-1, 0)}, V, r"across is -1 and along 62; across is a distance"),
        ("no offset", {"across": Reading(0, 0), "along": Reading(0, 0)}, V, r"not both may be zero"),
    ),
    "measured.pointing_error": of(measured.pointing_error, {"m": HIDE, "R": I3, "proximal": 0.01},
        ("half a degree", {"proximal": 0.5}, V, r"proximal is 0\.5 rad .*half a degree is 0\.5\*deg"),
        ("two", {"distal": (0.01, 0.01)}, V, r"distal has shape \(2,\).*for all legs or three"),
        ("homed", {"homed": np.ones(3)}, T, r"homed is array\(\[1\., 1\., 1\.\]\); it must be True or False"),
        ("exchanged", {"m": I3, "R": HIDE}, T, r"first argument must be a Mechanism"),
    ),
}  # fmt: skip

# ---- bench and diagnosis
CARD = bench.bench_card(HIDE)
SEEN = {"m": HIDE, "mode": (1, 1, 1), "poses": CARD.poses, "observed": CARD.expected}
READ = (
    ("degrees", {"observed": np.degrees(CARD.expected)}, V, r"observed\[0, 0\] is -7\.39.* more than a turn.*\*deg"),
    ("signs not said", {"observed": np.sign(CARD.expected)}, V, r"nothing but \+1, -1 and 0.*signs=True"),
    ("signs for readings", {"signs": CARD.expected}, T, r"signs is an object of type ndarray; .*True or False"),
    ("tolerances", {"tolerance": [0.1, 0.2]}, V, r"tolerance has shape \(2,\); it is one angle"),
    ("tolerance of 2°", {"tolerance": 2}, V, r"tolerance is 2 rad \(114\.6°\).*\(0, 10°\]; for degrees write 2\*deg"),
)
BENCH = {
    "bench.bench_card": of(bench.bench_card, {"m": HIDE},
        ("degrees", {"tilt": 15}, V, r"tilt is 15 rad \(859\.4°\); it must lie in \(0, 60°\]; .*15\*deg"),
        ("no yaw", {"yaw": 0}, V, r"yaw is 0 rad"),
        ("two tilts", {"tilt": [0.1, 0.2]}, V, r"tilt has shape \(2,\)"),
        ("convention", {"convention": (0, 1, 2)}, T, r"convention must be a Convention, not an object of type tuple"),
        ("two modes", {"mode": [(1, 1, 1)]}, V, r"mode has shape \(1, 3\)"),
    ),
    "bench.diagnose": of(bench.diagnose, SEEN, *READ[:3],
        ("no joint", {"m": "bird hide"}, T, r"must be a Mechanism, not 'bird hide'"),
        ("too few", {"poses": CARD.poses[:2]}, V, r"poses has shape \(2, 3, 3\) and observed \(8, 3\)"),
    ),
    "bench.BenchCard.diagnose": of(CARD.diagnose, {"observed": CARD.expected}, *READ),
    "bench.BenchCard.indistinct": of(CARD.indistinct, {},
        ("none", {"tolerance": None}, T, r"tolerance is None"),
        ("negative", {"tolerance": -0.1}, V, r"tolerance is -0\.1 rad"),
        ("many", {"tolerance": [0.1, 0.2]}, V, r"tolerance has shape \(2,\)"),
    ),
    "diagnosis.diagnose": of(diagnosis.diagnose, SEEN, *READ[2:]),
    "diagnosis.plan": of(diagnosis.plan, {"m": HIDE, "mode": (1, 1, 1), "convention": None},
        ("exchanged", {"m": (1, 1, 1), "mode": HIDE}, T, r"first argument must be a Mechanism"),
        ("mode 0", {"mode": (1, 0, 1)}, V, r"mode\[1\] is 0"),
        ("joint for convention", {"convention": HIDE}, T, r"convention must be a Convention"),
    ),
    "diagnosis.read_to": of(diagnosis.read_to, {"tolerance": 0.1},
        ("degrees", {"tolerance": 2}, V, r"tolerance is 2 rad"),
        ("none", {"tolerance": None}, T, r"tolerance is None"),
        ("nan", {"tolerance": np.nan}, V, r"tolerance is nan"),
    ),
}  # fmt: skip

# ---- calibration
DATA = {"m": HIDE, "orientations": POSES, "motor_angles": inverse_kinematics(HIDE, POSES)}
CALIBRATED = calibration.calibrate(**DATA)
TIMES = np.arange(15.0)
TIMES[4] = 2.5
PAIRS = (
    ("degrees", {"motor_angles": np.full((15, 3), 75.0)}, V, r"motor_angles\[0, 0\] is 75 rad.*degrees by deg"),
    ("rows", {"motor_angles": np.zeros((11, 3))}, V, r"orientations has shape \(15, 3, 3\) and motor_angles"),
    ("scaled", {"orientations": 2 * POSES}, V, r"orientations 0 is not a rotation"),
)
CALIBRATION = {
    "calibration.calibrate": of(calibration.calibrate, DATA, *PAIRS,
        ("free a text", {"free": "zero"}, T, r"free is 'zero'; give a tuple of names"),
        ("free unknown", {"free": ("zero", "gamma")}, V, r"free holds 'gamma'; its names are"),
        ("free nested", {"free": [["zero"]]}, V, r"free holds \['zero'\]; its names are"),
        ("drift without times", {"free": ("zero", "drift")}, V, r"times is None; a drift needs"),
        ("times fall", {"times": TIMES}, V, r"times\[4\] is 2\.5 s, before times\[3\], 3 s"),
        ("start", {"start": HIDE}, T, r"start must be a Convention, not an object of type Mechanism"),
        ("degrees of a tooth", {"tooth": 6}, V, r"tooth is 6; .*at most 90°.*\*deg"),
        ("sensor", {"sensor_error": [0.1, 0.1]}, V, r"sensor_error has shape \(2,\)"),
    ),
    "calibration.pose_errors": of(calibration.pose_errors, {**DATA, "convention": Convention()}, *PAIRS,
        ("convention", {"convention": None}, T, r"convention must be a Convention, not None"),
        ("drift", {"drift": "slow"}, T, r"drift must hold real numbers, not 'slow'"),
        ("drift infinite", {"drift": np.inf, "times": np.arange(15)}, V, r"drift is inf"),
        ("drift without times", {"drift": 0.1}, V, r"times is None; a drift needs"),
    ),
    "calibration.Calibration.errors": of(CALIBRATED.errors, {k: DATA[k] for k in ("orientations", "motor_angles")},
        *PAIRS,
        ("times", {"times": np.arange(3)}, V, r"times has shape \(3,\); with 15 poses it must be \(15,\)"),
    ),
}  # fmt: skip

# ---- log
LOGGED = Path(__file__).parents[1] / "notebooks" / "data" / "marsh_harrier.csv"
LOG = {
    "log.read_log": of(log.read_log, {"path": LOGGED, "bad_rows": "report"}, *NO_PATH,
        ("absent", {"path": "absent.csv"}, log.LogError, r"absent\.csv cannot be read: No such file"),
        ("nul in the name", {"path": "a\0b"}, V, r"path is 'a\\x00b'; it names no file"),
        ("orientation", {"orientation": "euler"}, V, r"orientation is 'euler'; .*one of 'quaternion', 'rpy'"),
        ("bad rows", {"bad_rows": "skip"}, V, r"bad_rows is 'skip'; it must be 'raise' or 'report'"),
        ("tolerances", {"quaternion_tolerance": [0.1, 0.2]}, V, r"quaternion_tolerance has shape \(2,\)"),
        ("tolerance", {"quaternion_tolerance": 2}, V, r"quaternion_tolerance is 2\.0; it must be in \[0, 0\.5\]"),
        ("unit of what is not read", {"angle_unit": "deg"}, log.LogError, r"angle_unit"),
    ),
    "log.write_table": of(log.write_table, {"path": "table.csv", "columns": {"t_s": [0.0, 1.0]}}, *NO_PATH,
        ("an array", {"columns": np.eye(3)}, T, r"columns must be a Mapping, not .*ndarray; give a dict"),
        ("no column", {"columns": {}}, V, r"columns is empty"),
        ("lengths", {"columns": {"a": [1, 2], "b": [1]}}, V, r"differ in length \(a 2, b 1\)"),
        ("infinite", {"columns": {"a": [0, np.inf]}}, V, r"columns\['a'\]\[1\] is inf"),
        ("overwrite", {"overwrite": "yes"}, T, r"overwrite is 'yes'; it must be True or False"),
    ),
}  # fmt: skip

WORKSHOP = CAD | MEASURED | BENCH | CALIBRATION | LOG
