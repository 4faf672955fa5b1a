"""Malformed calls of what the workshop offers to build and drive with; keys: package, and public name.

Paths are relative: the tests call from an empty directory, which must stay empty.
"""

import warnings

import numpy as np

from legloop import Convention
from legloop.workshop import drive, firmware, motion, stiffness
from legloop.workshop.units import mm, rpm
from malformed import HIDE, HOME, I3, MIRROR, NO_PATH, POSES, T, V, of

# ---- drive
with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # a drive that practice would not advise; it serves here
    BELT = drive.BeltDrive(20, 60, pitch=2 * mm, centre_distance=60 * mm)
CURVE = [(0, 0.4), (300 * rpm, 0.33), (900 * rpm, 0.1)]
TASK = {"m": HIDE, "over": POSES, "mass": 0.9, "offset": (0, 0, 0.05), "up": (1, 0, 0), "speed": 0.5, "curve": CURVE}
SIZED = drive.size_drive(**TASK)
NO_DRIVE = (
    ("none", {"drive": None}, T, r"drive must be a BeltDrive, not None"),
    ("a ratio", {"drive": 3.0}, T, r"drive must be a BeltDrive, not an object of type float"),
    ("a joint", {"drive": HIDE}, T, r"drive must be a BeltDrive, not an object of type Mechanism"),
)


def _across(method, name):
    """Torque and speed across the belt."""
    return of(method, {name: 1.0},
        ("none", {name: None}, T, rf"{name} is None"),
        ("text", {name: "1 N·m"}, T, rf"{name} must hold real numbers, not '1 N·m'"),
        ("nan", {name: [1, np.nan]}, V, rf"{name}\[1\] is nan"),
    )  # fmt: skip


DRIVE = {
    "drive.BeltDrive": of(drive.BeltDrive,
        {"motor_teeth": 20, "joint_teeth": 60, "pitch": 2 * mm, "centre_distance": 80 * mm},
        ("half a tooth", {"motor_teeth": 20.5}, T, r"motor_teeth is 20\.5; it is a count and must be a whole number"),
        ("degrees of a step", {"steps_per_turn": 1.8}, T, r"1\.8; .*1\.8° per full step makes 200 .*, so write 200"),
        ("a quotient", {"steps_per_turn": 360 / 1.8}, T, r"steps_per_turn is 200\.0, a float; .*: write 200"),
        ("five teeth", {"joint_teeth": 5}, V, r"joint_teeth is 5; it must be at least 6 teeth"),
        ("pitch in millimetres", {"pitch": 2}, V, r"pitch is 2 m .*between 0\.5 and 50 mm; .*write 2\*mm"),
        ("overlap", {"centre_distance": 25 * mm}, V, r"centre_distance is 25 mm; .*overlap below 25\.46 mm"),
        ("percent", {"efficiency": 95}, V, r"efficiency is 95; .*for a percentage write 0\.95"),
    ),
    "drive.BeltDrive.steps": of(BELT.steps, {"theta": HOME},
        ("nan", {"theta": [0, np.nan]}, V, r"theta\[1\] is nan"),
        ("beyond counting", {"theta": 1e300}, V, r"more than 2\*\*53 steps, up to 1e\+300 rad"),
        ("convention", {"convention": "mine"}, T, r"convention must be a Convention, not an object of type str"),
    ),
    "drive.BeltDrive.angle": of(BELT.angle, {"steps": [1, 2, 3]},
        ("half a step", {"steps": 2.5}, V, r"steps holds 2\.5; a motor makes whole microsteps: round once"),
        ("two motors", {"steps": [1, 2], "convention": Convention()}, V, r"theta has shape \(2,\)"),
        ("text", {"steps": "home"}, T, r"steps must hold real numbers"),
    ),
    "drive.BeltDrive.joint_torque": _across(BELT.joint_torque, "motor_torque"),
    "drive.BeltDrive.motor_torque": _across(BELT.motor_torque, "joint_torque"),
    "drive.BeltDrive.joint_speed": _across(BELT.joint_speed, "motor_speed"),
    "drive.BeltDrive.motor_speed": _across(BELT.motor_speed, "joint_speed"),
    "drive.BeltDrive.belt_pull": _across(BELT.belt_pull, "joint_torque"),
    "drive.BeltDrive.open_belt": of(BELT.open_belt, {"travel": 1.0},
        ("turned", {"travel": -0.1}, V, r"travel is -0\.1 rad; .*high - low"),
        ("clamp in millimetres", {"clamp": 10}, V, r"clamp is 10 m .* write 10\*mm"),
        ("degrees", {"travel": 120}, V, r"travel is 6875°; the clamp would run.*take a larger joint pulley"),
    ),
    "drive.standard_centre_distance": of(drive.standard_centre_distance,
        {"motor_teeth": 20, "joint_teeth": 60, "belt_teeth": 100, "pitch": 2 * mm},
        ("short belt", {"belt_teeth": 40}, V, r"belt_teeth is 40; .*more than 68\.72 teeth: take a longer one"),
        ("pitch in millimetres", {"pitch": 2}, V, r"pitch is 2 m .*write 2\*mm"),
        ("half a tooth", {"belt_teeth": 100.5}, T, r"belt_teeth is 100\.5; it is a count"),
    ),
    "drive.size_drive": of(drive.size_drive, TASK,
        ("mass negative", {"mass": -1}, V, r"mass is -1; it must be at least 0 kg"),
        ("mass with unit", {"mass": "0.9 kg"}, T, r"mass must hold real numbers, not '0\.9 kg'"),
        ("curve unsorted", {"curve": [(0, 1), (5, 1), (3, 1)]}, V, r"curve\[2\] has the speed 3 rad/s after 5; sort"),
        ("curve of one row", {"curve": [(0, 1)]}, V, r"curve has shape \(1, 2\); .*at least two"),
        ("margin", {"margin": 0.5}, V, r"margin is 0\.5; it must be at least 1 times what is needed"),
        ("degrees a second", {"speed": 60}, V, r"speed is 60 rad/s, .*at most 30 rad/s: for degrees.* write 60\*deg"),
        ("offset in millimetres", {"offset": (0, 0, 60)}, V, r"offset holds 60 m; .*for millimetres write 60\*mm"),
        ("too fast", {"speed": 29, "mass": 90}, V, r"no ratio does: an orientation of the set asks for.*go slower"),
        ("nowhere", {"over": np.zeros((0, 3, 3))}, V, r"over holds no orientation"),
        ("two payloads", {"offset": np.zeros((2, 3))}, V, r"offset has shape \(2, 3\).*one payload"),
        ("two ups", {"up": np.eye(3)[:2]}, V, r"up has shape \(2, 3\).*one payload"),
        ("an acceleration", {"up": (0, 0, -9.81)}, V, r"the up is 9\.81 long, not 1: divide it by its length"),
    ),
    "drive.Sizing.orientation_step": of(SIZED.orientation_step, {"drive": BELT}, *NO_DRIVE),
    "drive.Sizing.rounding_error": of(SIZED.rounding_error, {"drive": BELT}, *NO_DRIVE),
    "drive.Sizing.margin_of": of(SIZED.margin_of, {"drive": BELT}, *NO_DRIVE),
}  # fmt: skip

# ---- stiffness
BAR = stiffness.Section.rectangle(12 * mm, 8 * mm, E=2.4e9, nu=0.35)
FIRST, SECOND = stiffness.Link(60 * mm, BAR), stiffness.Link(75 * mm, BAR)
BUILD = stiffness.Build(FIRST, SECOND, 80.0)
POSE = {"m": HIDE, "R": I3, "theta": HOME}
BUILT = {**POSE, "build": BUILD}
ARC = {"radius": 75 * mm, "arc": 1.0, "section": BAR}
HINGE = stiffness.Hinge.pair(stiffness.BALL_608, 50 * mm, spacer=10 * mm)
BUILT_ROWS = (
    ("a number for a build", {"build": 80.0}, T, r"build must be a Build, not .*float; make one with"),
    ("open", {"theta": (0, 0, 0)}, V, r"do not close: leg"),
    ("mirror", {"R": MIRROR}, V, r"determinant is -1"),
)
SINGULAR = ("singular", {"singular": "skip"}, V, r"singular is 'skip'; it must be 'raise' or 'nan'")
LOAD = (
    ("a moment alone", {"load": [1, 0, 0]}, V, r"load has shape \(3,\)"),
    ("load zero", {"load": np.zeros(6)}, V, r"load is zero.*leave load out"),
)
ARC_ROWS = (
    ("millimetres", {"radius": 75}, V, r"the radius is 75 m.*millimetres are written 75e-3, or 75\*mm"),
    ("degrees", {"arc": [1.0, 60]}, V, r"arc 1 is 60 rad.*60\*deg"),
    ("modulus for section", {"section": 2.4e9}, T, r"section must be a Section, not .*float.*rectangle"),
    ("shapes", {"radius": [0.1, 0.2], "arc": [1, 2, 3]}, V, r"do not broadcast: radius \(2,\), arc \(3,\)"),
)
NUMBERS = {"E": 2e9, "G": 1e9, "A": 1e-4, "I_in": 1e-9, "I_out": 1e-9, "J": 1e-9}
STIFFNESS = {
    "stiffness.Section": of(stiffness.Section, NUMBERS,
        ("gigapascals", {"E": 2.4}, V, r"E is 2\.4 Pa, where at least 10000.*gigapascals are written 2\.4e9"),
        ("negative", {"A": -1e-4}, V, r"A is -0\.0001 m²; it must be above zero"),
        ("two", {"I_in": [1e-9, 2e-9]}, V, r"I_in has shape \(2,\); it is one number"),
        ("no torsion", {"J": 0.0}, V, r"J is 0 m⁴; it must be above zero"),
        ("shear", {"shear_in": 1.2}, V, r"shear_in is 1\.2.*part of the area, 5/6"),
    ),
    "stiffness.Section.rectangle": of(
        stiffness.Section.rectangle, {"width": 0.01, "height": 0.01, "E": 2e9, "nu": 0.3},
        ("millimetres", {"width": 7}, V, r"width is 7 m, where at most 1.*7e-3"),
        ("nu", {"nu": 0.6}, V, r"nu is 0\.6; Poisson's ratio.*\(-1, 1/2\]"),
        ("plastic", {"E": "PLA"}, T, r"E must hold real numbers, not 'PLA'"),
    ),
    "stiffness.Section.tube": of(stiffness.Section.tube, {"outer": 0.01, "inner": 0.005, "E": 2e9, "nu": 0.3},
        ("exchanged", {"outer": 0.005, "inner": 0.01}, V, r"the inner diameter must be the smaller"),
        ("two", {"inner": [0.001, 0.002]}, V, r"inner has shape \(2,\); it is one number"),
        ("millimetres", {"outer": 10}, V, r"outer is 10 m.*written 7e-3"),
    ),
    "stiffness.Section.with_size": of(BAR.with_size, {"name": "width", "value": 0.01},
        ("no such", {"name": "depth"}, V, r"'depth' is no measure of this section; its measures are: width, height"),
        ("a list", {"name": ["width"]}, V, r"\['width'\] is no measure"),
        ("millimetres", {"value": 12}, V, r"width is 12 m"),
    ),
    "stiffness.Link": of(stiffness.Link, {"radius": 0.06, "section": BAR},
        ("millimetres", {"radius": 75}, V, r"radius is 75 m.*75\*mm"),
        ("exchanged", {"radius": BAR, "section": 0.06}, T, r"radius must hold real numbers, not .*Section"),
        ("none", {"section": None}, T, r"section must be a Section, not None"),
    ),
    "stiffness.Build": of(stiffness.Build, {"first": FIRST, "second": SECOND, "drive": 80.0},
        ("a section", {"first": BAR}, T, r"first must be a Link, not an object of type Section; make one with Link"),
        ("negative", {"drive": -1.0}, V, r"drive is -1 N·m/rad; it must be above zero"),
        ("a belt", {"drive": BELT}, T, r"drive must hold real numbers"),
    ),
    "stiffness.Bearing": of(stiffness.Bearing, {"bore": 8e-3, "outside": 22e-3, "width": 7e-3, "clearance": 13e-6},
        ("millimetres", {"bore": 8}, V, r"bore is 8 m, .*8e-3, or 8\*mm"),
        ("exchanged", {"bore": 22e-3, "outside": 8e-3}, V, r"outside is 0\.008 m; it must be larger than the bore"),
        ("two clearances", {"clearance": [1e-6, 2e-6]}, V, r"clearance has shape \(2,\)"),
        ("micrometres", {"clearance": 13}, V, r"clearance is 13 m; .*micrometres are written 13e-6"),
    ),
    "stiffness.Hinge": of(stiffness.Hinge, {"near": 0.05, "far": 0.06, "radial": 1e-5},
        ("exchanged", {"near": 0.06, "far": 0.05}, V, r"near is 0\.06 m and far 0\.05 m; the far bearing"),
        ("millimetres", {"near": 50, "far": 60}, V, r"near is 50 m.*60\*mm"),
        ("none", {"radial": None}, T, r"radial is None"),
    ),
    "stiffness.Hinge.pair": of(stiffness.Hinge.pair, {"bearing": stiffness.BALL_608, "near": 0.05},
        ("608", {"bearing": 608}, T, r"bearing must be a Bearing, not an object of type int; BALL_608 is one"),
        ("spacer in millimetres", {"spacer": 10}, V, r"spacer is 10 m; it must lie in \[0, 1\]; .*10e-3"),
        ("text", {"near": "50 mm"}, T, r"near must hold real numbers, not '50 mm'"),
    ),
    "stiffness.arc_compliance": of(stiffness.arc_compliance, ARC, *ARC_ROWS,
        ("shear", {"include_shear": "yes"}, T, r"include_shear is 'yes'; it must be True or False"),
    ),
    "stiffness.arc_modes": of(stiffness.arc_modes, ARC, *ARC_ROWS),
    "stiffness.part_compliance": of(stiffness.part_compliance, BUILT, *BUILT_ROWS),
    "stiffness.stiffness": of(stiffness.stiffness, BUILT, *BUILT_ROWS, SINGULAR),
    "stiffness.compliance": of(stiffness.compliance, BUILT, *BUILT_ROWS, SINGULAR),
    "stiffness.give": of(stiffness.give, BUILT, *BUILT_ROWS, SINGULAR),
    "stiffness.give_map": of(stiffness.give_map, {"m": HIDE, "build": BUILD, "tilt": 0.1, "azimuth": 0.2},
        ("degrees", {"tilt": 15}, V, r"the tilt is 15; .*30\*deg"),
        ("exchanged", {"m": BUILD, "build": HIDE}, T, r"build must be a Build, not an object of type Mechanism"),
        ("mode", {"mode": (1, 1, 0)}, V, r"mode\[2\] is 0"),
    ),
    "stiffness.shares": of(stiffness.shares, BUILT, *BUILT_ROWS, *LOAD),
    "stiffness.energy": of(stiffness.energy, BUILT, *BUILT_ROWS, *LOAD),
    "stiffness.thicker": of(stiffness.thicker, {"build": BUILD, "link": "first", "size": "width"},
        ("third", {"link": "third"}, V, r"link is 'third'; it must be 'first' or 'second'"),
        ("depth", {"size": "depth"}, V, r"'depth' is no measure"),
        ("none", {"build": None}, T, r"build must be a Build, not None"),
        ("a size of 3", {"size": 3}, T, r"size is 3; it must be a name in Section\.sizes"),
        ("millimetres", {"more": 1}, V, r"more is 1 m.*1e-3"),
    ),
    "stiffness.what_more_buys": of(stiffness.what_more_buys, BUILT, *BUILT_ROWS,
        ("millimetres", {"more": 1}, V, r"more is 1 m.*1e-3"),
    ),
    "stiffness.belt_stiffness": of(
        stiffness.belt_stiffness, {"strain_force": 1e4, "span": 0.05, "pulley_radius": 0.02},
        ("millimetres", {"span": 57}, V, r"span is 57 m.*57\*mm"),
        ("negative", {"strain_force": -1}, V, r"strain_force is -1 N; it must be above zero"),
        ("none", {"pulley_radius": None}, T, r"pulley_radius is None"),
    ),
    "stiffness.holding_stiffness": of(stiffness.holding_stiffness, {"torque": 0.4, "ratio": 3},
        ("newton millimetres", {"torque": 4000}, V, r"torque is 4000 N·m.*400e-3"),
        ("degrees of a step", {"steps_per_turn": 1.8}, V, r"steps_per_turn is 1\.8.*full steps"),
        ("ratio", {"ratio": 1e200}, V, r"ratio is 1e\+200, where at most 10000.*turns of the motor"),
    ),
    "stiffness.in_series": of(lambda *, springs: stiffness.in_series(*springs), {"springs": (30.0, 60.0)},
        ("no spring", {"springs": ()}, V, r"at least one stiffness; give those of belt and motor"),
        ("negative", {"springs": (30.0, -1.0)}, V, r"stiffness 1 is -1 N·m/rad; it must be above zero"),
        ("a list", {"springs": ([30.0, 60.0],)}, V, r"stiffness 0 has shape \(2,\); it is one number"),
    ),
    "stiffness.worst_play": of(stiffness.worst_play, {**POSE, "hinges": HINGE},
        ("two hinges", {"hinges": [HINGE, HINGE]}, T, r"hinges must be one Hinge, or three: of the motor axis"),
        ("degrees", {"backlash": 2}, V, r"backlash is 2 rad; it lies between 0 and 1; degrees are written 0\.2\*deg"),
        ("three backlashes", {"backlash": [0.1] * 3}, V, r"backlash has shape \(3,\)"),
    ),
}  # fmt: skip

# ---- motion and firmware
LIMITS = motion.MotionLimits(2.0, 20.0, tick=0.01)
SECONDS = np.linspace(0, 10, 15)
REQUEST = {"m": HIDE, "orientations": POSES[:5], "times": SECONDS[:5], "drive": BELT, "limits": LIMITS}
PLAN = motion.plan(**REQUEST)
JOG = {"m": HIDE, "R": I3, "rate": (0, 0, 0.1), "dt": 0.01, "drive": BELT, "limits": LIMITS}
REQUESTS = (
    ("limits", {"limits": (2, 20)}, T, r"limits must be MotionLimits"),
    ("drive", {"drive": 200}, T, r"drive must be a BeltDrive"),
    ("path", {"path": "spline"}, V, r"path is 'spline'; it must be 'smooth' or 'slerp'"),
    ("times fall", {"times": SECONDS[4::-1]}, V, r"times\[1\] is .*times must increase"),
)
HEADER = {"path": "joint.h", "m": HIDE}
VECTORS = {"path": "vectors.csv", "m": HIDE}
MOTION = {
    "motion.MotionLimits": of(motion.MotionLimits, {"speed": 2, "acceleration": 20, "tick": 0.01},
        ("degrees", {"speed": 300}, V, r"speed is 300 rad/s, above 60; .*300\*deg"),
        ("milliseconds", {"tick": 10}, V, r"tick is 10 s; .*for milliseconds write 1e-3"),
        ("travel in degrees", {"travel": (-90, 90)}, V, r"travel holds -90 rad, .*-90\*deg"),
        ("two", {"acceleration": (1, 2)}, V, r"acceleration has shape \(2,\)"),
    ),
    "motion.interpolate": of(motion.interpolate, {"orientations": POSES, "times": SECONDS, "at_times": [1.0]},
        ("outside", {"at_times": [11.0]}, V, r"at_times holds 11 s; .*between 0 and 10 s"),
        ("path", {"path": "spline"}, V, r"path is 'spline'"),
        ("exchanged", {"orientations": SECONDS, "times": POSES}, V, r"orientations? has shape \(15,\)"),
    ),
    "motion.plan": of(motion.plan, REQUEST, *REQUESTS),
    "motion.plan_blocks": of(lambda **k: list(motion.plan_blocks(**k)), REQUEST, *REQUESTS),
    "motion.jog": of(motion.jog, JOG,
        ("nan", {"rate": (0, np.nan, 0)}, V, r"rate\[1\] is nan"),
        ("milliseconds", {"dt": 20}, V, r"dt is 20; .*for milliseconds 1e-3"),
        ("axes", {"axes": "world"}, V, r"axes is 'world'; it must be 'platform' or 'base'"),
        ("degrees per second", {"rate": (0, 0, -30)}, V, r"rate\[2\] is -30 rad/s, above 12.57; .* deg \* rate"),
        ("drive", {"drive": None}, T, r"drive must be a BeltDrive"),
    ),
    "motion.stop": of(motion.stop, {"theta": HOME, "velocity": (1, -2, 0.5), "limits": LIMITS, "dt": 0.01},
        ("nan", {"velocity": (0, np.nan, 0)}, V, r"velocity\[1\] is nan"),
        ("a batch", {"theta": (HOME, HOME)}, V, r"theta has shape \(2, 3\); give three numbers"),
        ("milliseconds", {"dt": 20}, V, r"dt is 20; .*for milliseconds 1e-3"),
        ("a number", {"limits": 20}, T, r"limits must be a MotionLimits"),
    ),
    "motion.write_motion": of(motion.write_motion, {"path": "table.csv", "table": PLAN.table}, *NO_PATH,
        ("the plan itself", {"table": PLAN}, T, r"table"),
    ),
    "motion.MotionPlan.write": of(PLAN.write, {"path": "plan.csv"}, *NO_PATH),
    "motion.read_motion": of(motion.read_motion, {"path": "motion.csv"}, *NO_PATH),
    "firmware.write_header": of(firmware.write_header, HEADER, *NO_PATH[:2],
        ("text", {"path": "joint.txt"}, V, r"a C header ends in \.h"),
        ("elbow in degrees", {"least_elbow": 2}, V, r"least_elbow is 2 rad.*2\*deg"),
        ("no volume", {"least_volume": 0}, V, r"least_volume is 0; it must be in \[0\.01, 1\)"),
        ("drive", {"drive": 9600}, T, r"drive is an object of type int; give a BeltDrive"),
        ("limits in degrees", {"motor_limits": (-90, 90)}, V, r"-90 to 90 rad.*-90\*deg"),
        ("travel in degrees", {"travel": (-90, 90)}, V, r"travel holds -90 rad, .*-90\*deg"),
        ("both countings", {"motor_limits": (-2, 2), "travel": (-2, 2)}, T, r"both given; keep one: motor_limits is"),
    ),
    "firmware.write_vectors": of(firmware.write_vectors, VECTORS, *NO_PATH,
        ("count", {"count": 2.5}, T, r"count is 2\.5; it is a count"),
        ("scalar", {"scalar": "int"}, V, r"scalar is 'int'; it must be 'float'"),
        ("no volume", {"least_volume": 0}, V, r"least_volume is 0; it must be in \[0\.01, 1\)"),
        ("both countings", {"motor_limits": (-2, 2), "travel": (-2, 2)}, T, r"both given; keep one: motor_limits is"),
    ),
    "firmware.angle_error": of(firmware.angle_error, {"discriminant": 0.1},
        ("negative", {"discriminant": -0.1}, V, r"discriminant holds -0\.1"),
        ("inf", {"theta": np.inf}, V, r"theta is inf"),
        ("scalar", {"scalar": "quad"}, V, r"scalar is 'quad'"),
    ),
}  # fmt: skip

MACHINE = DRIVE | STIFFNESS | MOTION
