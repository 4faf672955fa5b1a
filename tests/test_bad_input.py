"""Malformed calls: each raises the error that is documented, and the message names value, place and repair."""

import numpy as np
import pytest

from legloop import (
    Mechanism,
    closure_error,
    deg,
    inverse_kinematics,
    reach_margin,
    rotation,
    working_mode,
)
from legloop.lesson.cases import bird_hide

HIDE = bird_hide()
I3 = np.eye(3)
SIZES = {"proximal": 60 * deg, "distal": 75 * deg, "base_cone": 45 * deg, "platform_cone": 50 * deg}
FRAMES, AXES = HIDE.base_frames, HIDE.platform_axes
MIRROR = np.diag([1.0, 1.0, -1.0])
SHEAR = np.array([[1, 1e-3, 0], [0, 1, 0], [0, 0, 1]])
SHEARED = SHEAR / np.linalg.norm(SHEAR, axis=0)
FAR = np.tile(I3, (5000, 1, 1))
FAR[4321] *= 2
WITH_NAN = np.where(np.eye(3) > 0, np.nan, 0.0)


def symmetric(**changed):
    return lambda: Mechanism.symmetric(**{**SIZES, **changed})


def general(frames=FRAMES, axes=AXES, first=60 * deg, second=75 * deg):
    return lambda: Mechanism(frames, axes, first, second)


def solve(R, *args, **options):
    return lambda: inverse_kinematics(HIDE, R, *args, **options)


CASES = [
    # orientations that are none
    ("scaled", solve(0.98 * I3), ValueError, r"the orientation is not a rotation.*0\.98.*normalise"),
    ("barely scaled", solve((1 + 1e-5) * I3), ValueError, r"1\.00001"),
    ("sheared", solve(SHEARED), ValueError, r"columns x and y are 89\.94.*not 90"),
    ("mirrored", solve(MIRROR), ValueError, r"determinant is -1.*left-handed"),
    ("nan", solve(WITH_NAN), ValueError, r"entry \[0, 0\] is nan"),
    ("infinite", solve(np.full((3, 3), np.inf)), ValueError, r"not a rotation: its entry"),
    ("all zero", solve(np.zeros((3, 3))), ValueError, r"columns are 0, 0, 0 long"),
    ("one bad in a batch", solve([I3, I3, 2 * I3]), ValueError, r"orientation 2 is not a rotation"),
    ("one bad in a grid", solve(np.stack([[I3, I3], [I3, MIRROR]])), ValueError, r"orientation \(1, 1\) is not"),
    ("one bad far into a batch", solve(FAR), ValueError, r"orientation 4321 is not"),
    ("a row of three", solve([1.0, 0, 0]), ValueError, r"shape \(3,\).*\(\.\.\., 3, 3\)"),
    ("two by three", solve(np.zeros((2, 3))), ValueError, r"shape \(2, 3\)"),
    ("text", solve("roll"), TypeError, r"real numbers, not 'roll'"),
    ("none", solve(None), TypeError, r"orientation is None; give an array of shape \(\.\.\., 3, 3\)"),
    ("complex", solve(I3 * 1j), TypeError, r"dtype complex128|real numbers"),
    ("ragged", solve([[1, 0, 0], [0, 1], [0, 0, 1]]), ValueError, r"no regular array"),
    ("boolean", solve(I3.astype(bool)), TypeError, r"real numbers"),
    ("a rotation vector", solve(np.array([0.1, 0.2, 0.3])), ValueError, r"shape \(3,\)"),
    # modes, near, options
    ("mode 0", solve(I3, (1, 0, 1)), ValueError, r"mode\[1\] is 0; a working mode has \+1 or -1"),
    ("mode 2", solve(I3, [(1, 1, 1), (1, 1, 2)]), ValueError, r"mode\[1, 2\] is 2"),
    ("mode nan", solve(I3, (1, np.nan, 1)), ValueError, r"mode\[1\] is nan"),
    ("one mode", solve(I3, 1), ValueError, r"mode has shape \(\).*\(\.\.\., 3\)"),
    ("mode in words", solve(I3, "+++"), TypeError, r"mode must hold real numbers, not '\+\+\+'"),
    ("mode none", solve(I3, None), TypeError, r"mode is None"),
    ("near with nan", solve(I3, near=(0, np.nan, 0)), ValueError, r"near\[1\] is nan"),
    ("near too short", solve(I3, near=(0, 0)), ValueError, r"near has shape \(2,\)"),
    ("batches that do not fit", solve(np.stack([I3] * 4), np.ones((3, 3))), ValueError, r"R \(4,\), mode \(3,\)"),
    ("unreachable misspelt", solve(I3, unreachable="NaN"), ValueError, r"'NaN'; it must be 'raise' or 'nan'"),
    # a joint typed in degrees, or out of range
    ("cone of 45", symmetric(base_cone=45), ValueError, r"base_cone is 45 rad.*\[0, pi\].*45\*deg"),
    ("cone of 50", symmetric(platform_cone=50), ValueError, r"platform_cone is 50 rad.*50\*deg"),
    ("link of 60", symmetric(proximal=60), ValueError, r"proximal is 60 rad.*60\*deg"),
    ("link of 75", symmetric(distal=75), ValueError, r"distal is 75 rad.*75\*deg"),
    ("azimuth of 120", symmetric(azimuths=(0, 120, 240)), ValueError, r"azimuths\[1\] is 120 rad.*120\*deg"),
    ("twist of 30", symmetric(twist=30), ValueError, r"twist is 30 rad.*30\*deg"),
    ("link of 0", symmetric(proximal=0), ValueError, r"proximal is 0 rad.*\(0, pi\)"),
    ("link of pi", symmetric(distal=np.pi), ValueError, r"distal is 3\.14.*\(0, pi\)"),
    ("negative cone", symmetric(base_cone=-0.1), ValueError, r"base_cone is -0\.1"),
    ("nan cone", symmetric(base_cone=np.nan), ValueError, r"base_cone is nan"),
    ("cone none", symmetric(base_cone=None), TypeError, r"base_cone is None"),
    ("cone in words", symmetric(base_cone="45°"), TypeError, r"base_cone must hold real numbers"),
    ("three cones", symmetric(base_cone=[0.1, 0.2, 0.3]), ValueError, r"base_cone has shape \(3,\)"),
    ("same azimuth twice", symmetric(azimuths=(0, 2, 0)), ValueError, r"azimuths\[0\] and azimuths\[2\] are"),
    ("same azimuth a turn on", symmetric(azimuths=(0, 2, 2 * np.pi)), ValueError, r"azimuths\[0\] and azimuths\[2\]"),
    ("two azimuths", symmetric(azimuths=(0, 2)), ValueError, r"azimuths has shape \(2,\)"),
    ("general link of 60", general(first=60), ValueError, r"proximal is 60 rad.*60\*deg"),
    ("one link of 0", general(second=[1, 0, 1]), ValueError, r"distal\[1\] is 0 rad"),
    ("two links", general(first=[1, 1]), ValueError, r"proximal has shape \(2,\).*one arc for all legs or three"),
    ("axes not unit", general(axes=1.01 * AXES), ValueError, r"platform_axes 0 is 1\.01 long.*divide it by"),
    ("axis zero", general(axes=np.diag([1.0, 1, 0])), ValueError, r"platform_axes 2 is 0 long"),
    ("two axes", general(axes=AXES[:2]), ValueError, r"platform_axes has shape \(2, 3\)"),
    ("frame mirrored", general(frames=[I3, MIRROR, I3]), ValueError, r"base_frames 1 is not a rotation.*left-handed"),
    ("one frame", general(frames=I3), ValueError, r"base_frames has shape \(3, 3\)"),
    ("frames with nan", general(frames=[I3, WITH_NAN, I3]), ValueError, r"base_frames 1.*nan"),
    # the functions that look back
    ("closure of two angles", lambda: closure_error(HIDE, I3, (0, 0)), ValueError, r"theta has shape \(2,\)"),
    ("closure of nan", lambda: closure_error(HIDE, I3, (0, np.nan, 0)), ValueError, r"theta\[1\] is nan"),
    ("closure of no rotation", lambda: closure_error(HIDE, 2 * I3, (0, 0, 0)), ValueError, r"not a rotation"),
    ("closure of batches that do not fit", lambda: closure_error(HIDE, np.stack([I3] * 4), np.zeros((3, 3))),
     ValueError, r"R \(4,\), theta \(3,\)"),
    ("mode of text", lambda: working_mode(HIDE, I3, "home"), TypeError, r"theta must hold real numbers"),
    ("mode of a mirror", lambda: working_mode(HIDE, MIRROR, (0, 0, 0)), ValueError, r"determinant is -1"),
    ("margin of no rotation", lambda: reach_margin(HIDE, [I3, SHEARED]), ValueError, r"orientation 1 is not"),
    ("margin of none", lambda: reach_margin(HIDE, None), TypeError, r"orientation is None"),
    ("elbows of none", lambda: HIDE.elbow_axes(None), TypeError, r"theta is None"),
    ("platform axes of a vector", lambda: HIDE.platform_axes_at([0, 0, 1]), ValueError, r"shape \(3,\)"),
    ("equation of a mirror", lambda: HIDE.leg_equation(MIRROR), ValueError, r"determinant is -1"),
    ("home in mode 0", lambda: HIDE.home_angles((0, 1, 1)), ValueError, r"mode\[0\] is 0"),
    ("not a joint", lambda: inverse_kinematics("hide", I3), TypeError, r"first argument.*Mechanism.*'hide'"),
    ("a joint for an orientation", lambda: reach_margin(HIDE, HIDE), TypeError, r"real numbers"),
    ("arguments exchanged", lambda: inverse_kinematics(I3, HIDE), TypeError, r"first argument.*Mechanism"),
    ("exchanged in margin", lambda: reach_margin(I3, HIDE), TypeError, r"first argument.*Mechanism"),
    ("quaternion for a matrix", lambda: rotation.to_quaternion([0, 0, 0, 1]), ValueError, r"shape \(4,\)"),
]  # fmt: skip


@pytest.mark.parametrize(("call", "kind", "message"), [pytest.param(*case[1:], id=case[0]) for case in CASES])
def test_malformed_calls_are_refused_with_place_value_and_repair(call, kind, message):
    with pytest.raises(kind, match="(?s)" + message):
        call()


@pytest.mark.parametrize("R", [I3.astype(np.float32), np.round(rotation.from_rpy(0.3, 0.4, 0.5), 6)])
def test_rounding_of_single_precision_and_of_six_decimals_is_no_fault(R):
    assert np.abs(closure_error(HIDE, R, inverse_kinematics(HIDE, R))).max() < 1e-14
