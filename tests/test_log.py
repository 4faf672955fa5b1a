"""Orientation logs: what is read, what is refused, and that no row is lost."""

import csv
import random
import re
import subprocess
import sys
from importlib.metadata import files
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from legloop import Mechanism, deg, inverse_kinematics, reach_margin
from legloop.workshop.log import LogError, read_log, write_table

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "notebooks" / "data" / "marsh_harrier.csv"

# A turn with four different components, so that no two columns can be confused; its length is exactly 1.
X, Y, Z, W = 0.1, 0.3, 0.5, np.sqrt(0.65)
BY_ROLE = {"x": X, "y": Y, "z": Z, "w": W}
TURN = Rotation.from_quat([X, Y, Z, W]).as_matrix()
ROUNDING = 1e-14  # a handful of float64 operations on numbers of size 1


@pytest.fixture
def log_file(tmp_path):
    def write(content):
        path = tmp_path / "log.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        return path

    return write


def one_row(names, values, separator=","):
    return separator.join(names) + "\n" + separator.join(map(repr, map(float, values))) + "\n"


def refused(path, *words, **arguments):
    with pytest.raises(LogError) as caught:
        read_log(path, **arguments)
    for word in words:
        assert word in str(caught.value)
    return caught.value


# --- quaternions ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("prefix", ["", "q", "Q", "q_", "quat_", "Quaternion_", "q.", "orientation."])
@pytest.mark.parametrize("order", ["xyzw", "wxyz", "XYZW", "WXYZ", "zxwy", "yWxZ"])
def test_names_tell_the_role_in_any_order_and_case(log_file, prefix, order):
    names = [prefix + role for role in order]
    log = read_log(log_file(one_row(names, [BY_ROLE[role.lower()] for role in order])))
    np.testing.assert_allclose(log.orientations, [TURN], rtol=0, atol=ROUNDING)
    assert log.times is None
    assert log.source.startswith("quaternion " + " ".join(names))
    assert log.source.endswith("by name); no time column")


def test_the_source_says_where_the_scalar_stands(log_file):
    assert read_log(log_file("qx,qy,qz,qw\n0,0,0,1")).source == (
        "quaternion qx qy qz qw (scalar last, by name); no time column"
    )
    assert read_log(log_file("t_ms,w,x,y,z\n0,1,0,0,0")).source == (
        "quaternion w x y z (scalar first, by name); time t_ms (in ms)"
    )
    assert read_log(log_file("x,w,y,z\n0,1,0,0")).source.startswith("quaternion x w y z (scalar at w, by name)")
    assert read_log(log_file("q0,q1,q2,q3\n1,0,0,0"), scalar="first").source.startswith(
        "quaternion q0 q1 q2 q3 (scalar first, as stated)"
    )


@pytest.mark.parametrize(("order", "scalar"), [("wxyz", "first"), ("xyzw", "last")])
def test_a_stated_scalar_may_agree_with_the_names_but_not_contradict_them(log_file, order, scalar):
    path = log_file(one_row(order, [BY_ROLE[role] for role in order]))
    np.testing.assert_allclose(read_log(path, scalar=scalar).orientations, [TURN], rtol=0, atol=ROUNDING)
    other = {"first": "last", "last": "first"}[scalar]
    refused(path, f"scalar='{other}'", "contradicts", scalar, scalar=other)


@pytest.mark.parametrize("scalar", ["first", "last"])
def test_a_scalar_in_the_middle_agrees_with_no_statement(log_file, scalar):
    refused(log_file("x,w,y,z\n0,1,0,0"), "contradicts", "at w", scalar=scalar)


@pytest.mark.parametrize("names", [["q0", "q1", "q2", "q3"], ["q1", "q2", "q3", "q4"], ["Q_0", "Q_1", "Q_2", "Q_3"]])
def test_numbered_columns_are_never_guessed(log_file, names):
    refused(log_file(one_row(names, [W, X, Y, Z])), *names, "scalar='first'", "scalar='last'")
    first = read_log(log_file(one_row(names, [W, X, Y, Z])), scalar="first")
    last = read_log(log_file(one_row(names, [X, Y, Z, W])), scalar="last")
    np.testing.assert_allclose(first.orientations, [TURN], rtol=0, atol=ROUNDING)
    np.testing.assert_allclose(last.orientations, [TURN], rtol=0, atol=ROUNDING)


def test_numbered_columns_out_of_order_leave_first_open(log_file):
    refused(log_file("q1,q2,q3,q0\n0,0,0,1"), "order of their numbers", scalar="first")


@pytest.mark.parametrize(
    "header",
    [
        "q0,q1,q2,q3,q4",
        "x,y,z,w,qx,qy,qz,qw",
        "qw,qx,qy,qz,q_w,q_x,q_y,q_z",
        "qx,qy,qz,qw,q1,q2,q3,q4",
        "qx,qy,qz,qw,q.x,q.y,q.z,q.w",
    ],
)
def test_two_quaternions_are_refused(log_file, header):
    row = ",".join("0" for _ in header.split(","))
    refused(log_file(f"{header}\n{row}\n"), "more than one quaternion", scalar="first")


def test_bare_numbers_are_no_names_of_a_quaternion(log_file):
    refused(log_file("t_s,0,1,2,3\n0,1,0,0,0\n"), "no complete orientation", scalar="first")


def test_two_columns_of_one_role_are_refused(log_file):
    refused(log_file("qx,QX,qy,qz,qw\n0,0,0,0,1"), "'qx' and 'QX'")


def test_a_position_beside_the_quaternion_is_no_second_quaternion(log_file):
    log = read_log(log_file("x,y,z,qx,qy,qz,qw\n5,6,7,0,0,0,1"))
    assert log.unused == ("x", "y", "z")
    np.testing.assert_array_equal(log.orientations, [np.eye(3)])


def test_length_within_tolerance_is_divided_out_and_beyond_is_a_bad_row(log_file):
    def scaled(factor):
        return log_file(one_row("xyzw", [factor * value for value in (X, Y, Z, W)]))

    for factor in (1 - 1.9e-3, 1 + 1.9e-3):  # the default is 2e-3
        np.testing.assert_allclose(read_log(scaled(factor)).orientations, [TURN], rtol=0, atol=ROUNDING)
    for factor in (1 - 2.1e-3, 1 + 2.1e-3):
        error = refused(scaled(factor), "line 2", "long, not 1")
        assert error.rejected == ((2, f"the quaternion is {factor:.6g} long, not 1"),)
    np.testing.assert_allclose(
        read_log(scaled(0.5), quaternion_tolerance=0.5).orientations, [TURN], rtol=0, atol=ROUNDING
    )
    refused(scaled(1 + 1e-6), quaternion_tolerance=1e-7)
    refused(log_file("w,x,y,z\n0,0,0,0"), "0 long", quaternion_tolerance=0.5)
    refused(log_file("w,x,y,z\n1e308,1e308,1e308,1e308"), "inf long")


# --- roll, pitch, yaw ----------------------------------------------------------------------------------------

ROLL, PITCH, YAW = 0.2, -0.3, 2.0
RPY = Rotation.from_euler("xyz", [ROLL, PITCH, YAW]).as_matrix()  # lower case: fixed axes, x first


@pytest.mark.parametrize(
    ("pattern", "size"),
    [
        ("{}_deg", deg),
        ("{}_rad", 1.0),
        ("{} (deg)", deg),
        ("{}(DEG)", deg),
        ("{} [rad]", 1.0),
        ("{} (°)", deg),
        ("{}_°", deg),
        ("{} [ rad ]", 1.0),
        ("{}.deg", deg),
        ("{}/rad", 1.0),
        ("{}-degrees", deg),
        ("{} in radians", 1.0),
    ],
)
def test_the_unit_of_an_angle_stands_in_its_name(log_file, pattern, size):
    names = [pattern.format(role) for role in ("Yaw", "roll", "PITCH")]
    path = log_file(one_row(names, np.array([YAW, ROLL, PITCH]) / size))
    unit, other = ("rad", "deg") if size == 1.0 else ("deg", "rad")
    for arguments in ({}, {"angle_unit": unit}):
        log = read_log(path, **arguments)
        np.testing.assert_allclose(log.orientations, [RPY], rtol=0, atol=ROUNDING)
    assert f"(in {unit}, unit by name; Rz(yaw) Ry(pitch) Rx(roll))" in log.source
    refused(path, f"angle_unit='{other}'", "contradicts", names[1], angle_unit=other)


@pytest.mark.parametrize(("unit", "size"), [("deg", deg), ("rad", 1.0)])
def test_without_a_unit_it_must_be_stated(log_file, unit, size):
    path = log_file(one_row(["roll", "pitch", "yaw"], np.array([ROLL, PITCH, YAW]) / size))
    refused(path, "no unit is given for roll, pitch, yaw", "angle_unit")
    log = read_log(path, angle_unit=unit)
    np.testing.assert_allclose(log.orientations, [RPY], rtol=0, atol=ROUNDING)
    assert "as stated" in log.source


def test_mixed_units(log_file):
    refused(log_file("roll_deg,pitch_rad,yaw_deg\n0,0,0"), "differ", "pitch_rad")
    path = log_file("roll_deg,pitch,yaw\n0,0,90")
    refused(path, "no unit is given for pitch, yaw")
    refused(path, "contradicts", angle_unit="rad")
    turned = read_log(path, angle_unit="deg").orientations
    np.testing.assert_allclose(turned, [[[0, -1, 0], [1, 0, 0], [0, 0, 1]]], rtol=0, atol=ROUNDING)
    refused(log_file("roll_deg,roll_rad,pitch_deg,yaw_deg\n0,0,0,0"), "'roll_deg' and 'roll_rad'")


def test_degrees_in_a_column_of_radians(log_file):
    named = log_file("roll_rad,pitch_rad,yaw_rad\n0,0,0\n0.5,0,1\n-30,4,45\n60,5,90\n")
    for arguments in ({}, {"bad_rows": "report"}, {"angle_unit": "rad"}):
        told = refused(named, "roll_rad is -30 rad in line 4", "roll_deg, pitch_deg", "whole turns off", **arguments)
        assert told.rejected == ()
    bare = log_file("roll,pitch,yaw\n0,10,1\n")
    refused(bare, "log.csv: pitch is 10 rad in line 2", "state angle_unit='deg'", angle_unit="rad")
    assert len(read_log(bare, angle_unit="deg")) == 1


def test_a_yaw_that_is_counted_on_is_read_where_radians_are_stated(log_file):
    path = log_file("roll_rad,pitch_rad,yaw_rad\n0.1,0.2,6.3\n0.1,0.2,6.5\n0.1,0.2,20\n")  # 6.3: a turn, rounded
    refused(path, "yaw_rad is 6.5 rad in line 3", "yaw_deg", "state angle_unit='rad' as well")
    log = read_log(path, angle_unit="rad")
    wanted = Rotation.from_euler("xyz", [[0.1, 0.2, yaw] for yaw in (6.3, 6.5, 20)]).as_matrix()
    np.testing.assert_allclose(log.orientations, wanted, rtol=0, atol=ROUNDING)
    assert len(read_log(log_file("roll_deg,pitch_deg,yaw_deg\n0,0,7200\n"))) == 1  # degrees never look like radians


@pytest.mark.parametrize(
    "name", ["-roll_deg", "roll (-deg)", "roll -deg", "roll (deg/s)", "roll_deg_s", "roll (mrad)"]
)
def test_a_sign_or_a_rate_in_the_name_is_not_read_over(log_file, name):
    refused(log_file(f"{name},pitch_deg,yaw_deg\n0,0,0\n"), "no complete orientation", repr(name))


def test_names_that_only_begin_alike_are_other_columns(log_file):
    log = read_log(log_file("roll_rate,roll_deg,pitch_deg,yaw_deg,yaw (deg/s)\nfast,0,0,0,\n"))
    assert log.unused == ("roll_rate", "yaw (deg/s)")


# --- which of the two, and arguments that do not fit ---------------------------------------------------------


def test_both_kinds_must_be_told_apart(log_file):
    path = log_file(one_row(["roll_rad", "pitch_rad", "yaw_rad", *"wxyz"], [ROLL, PITCH, YAW, W, X, Y, Z]))
    refused(path, "orientation='quaternion'", "'rpy'")
    quaternion, rpy = (read_log(path, orientation=kind) for kind in ("quaternion", "rpy"))
    np.testing.assert_allclose(quaternion.orientations, [TURN], rtol=0, atol=ROUNDING)
    assert quaternion.unused == ("roll_rad", "pitch_rad", "yaw_rad")
    np.testing.assert_allclose(rpy.orientations, [RPY], rtol=0, atol=ROUNDING)
    assert rpy.unused == ("w", "x", "y", "z")


def test_neither_kind_lists_what_is_there_and_what_would_do(log_file):
    for header in ("time_s,ax,ay,az,qw", "time_s,roll_deg,pitch_deg,qw", "time_s,w,x,y", "a,b"):
        path = log_file(f"{header}\n{','.join('0' for _ in header.split(','))}\n")
        refused(path, *map(repr, header.split(",")), "qw, qx, qy, qz", "q0..q3", "roll_deg")


def test_the_kind_asked_for_must_be_there(log_file):
    refused(log_file("w,x,y,z\n1,0,0,0"), "no complete roll, pitch, yaw", orientation="rpy")
    refused(log_file("roll_deg,pitch_deg,yaw_deg\n1,0,0"), "no complete quaternion", orientation="quaternion")


def test_a_statement_about_a_column_that_is_not_read_is_refused(log_file):
    quaternion, angles = "w,x,y,z\n1,0,0,0", "roll_deg,pitch_deg,yaw_deg\n0,0,0"
    refused(log_file(quaternion), "angle_unit='deg'", "leave it out", angle_unit="deg")
    refused(log_file(quaternion), "time_unit='s'", "leave it out", time_unit="s")
    refused(log_file(angles), "scalar='first'", "leave it out", scalar="first")


@pytest.mark.parametrize(
    ("argument", "value"),
    [
        ("orientation", "euler"),
        ("scalar", "w"),
        ("angle_unit", "degrees"),
        ("time_unit", "min"),
        ("bad_rows", "skip"),
        ("quaternion_tolerance", -1e-9),
        ("quaternion_tolerance", 0.51),
        ("quaternion_tolerance", float("nan")),
    ],
)
def test_values_that_no_argument_takes(log_file, argument, value):
    with pytest.raises(ValueError, match=argument) as caught:
        read_log(log_file("w,x,y,z\n1,0,0,0"), **{argument: value})
    assert not isinstance(caught.value, LogError)


# --- time ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "per_second"),
    [
        ("time_s", 1),
        ("Time (s)", 1),
        ("t_ms", 1000),
        ("T [ms]", 1000),
        ("time_us", 10**6),
        ("t (µs)", 10**6),  # micro sign
        ("t (μs)", 10**6),  # Greek letter
        ("t.s", 1),
        ("t/s", 1),
        ("t-s", 1),
        ("T s", 1),
        ("t in s", 1),
        ("time: s", 1),
        ("Time_[s]", 1),
        ("t<s>", 1),
        ("time (Seconds)", 1),
        ("tSec", 1),
        ("time.millis", 1000),
        ("timeMs", 1000),
        ("TimeMS", 1000),
        ("t {msec}", 1000),
        ("t - milliseconds", 1000),
        ("time.µs", 10**6),
        ("time_microseconds", 10**6),
    ],
)
def test_the_unit_of_time_stands_in_its_name(log_file, name, per_second):
    path = log_file(f"w,x,y,z,{name}\n1,0,0,0,{-per_second}\n1,0,0,0,{per_second // 2}\n1,0,0,0,{3 * per_second}\n")
    log = read_log(path)
    np.testing.assert_array_equal(log.times, [-1, per_second // 2 / per_second, 3])
    unit = {1: "s", 1000: "ms", 10**6: "us"}[per_second]
    np.testing.assert_array_equal(read_log(path, time_unit=unit).times, log.times)
    for other in {"s", "ms", "us"} - {unit}:
        refused(path, f"time_unit='{other}'", "contradicts", name, time_unit=other)


@pytest.mark.parametrize("name", ["time", "t", "TIME"])
def test_time_without_a_unit_must_be_stated(log_file, name):
    path = log_file(f"{name},w,x,y,z\n1500,1,0,0,0\n")
    refused(path, f"no unit is given for {name}", "time_unit")
    assert read_log(path, time_unit="ms").times.tolist() == [1.5]


@pytest.mark.parametrize(
    "name",
    [
        *(
            "timestamp",
            "time_min",
            "time (h)",
            "Time UTC",
            "t.min",
            "t_ns",
            "t0",
            "t_boot_ms",
            "t -s",
            "t (s",
            "t s s",
        ),
        *("ts", "tms", "timeus", "s", "ms", "Seconds", "seconds since start", "elapsed_s", "gps.time", "datetime"),
        *("header.stamp.secs", "epoch", "utc", "Date", "uptime_ms", "clock", "dt", "Zeit", "stampMs", "t (1/s)"),
        *("ts in s", "ms_elapsed", "epochms", "s_t", "us_ts", "utcSec", "ts_foo"),
    ],
)
def test_a_time_that_is_not_understood_is_not_dropped(log_file, name):
    refused(log_file(f"{name},w,x,y,z\n0,1,0,0,0\n"), repr(name), "time_s")
    log = read_log(log_file(f"{name},t_s,w,x,y,z\n0,0,1,0,0,0\n"))
    assert log.unused == (name,)
    assert log.times.tolist() == [0]


@pytest.mark.parametrize(
    "name",
    [
        "tx",
        "t_x",
        "T (°C)",
        "temp",
        "throttle",
        "status",
        "sample",
        "second_link",
        "vx (m/s)",
        "yaw (deg/s)",
        "update",
    ],
)
def test_a_name_that_speaks_of_no_time_is_only_unused(log_file, name):
    log = read_log(log_file(f"{name},w,x,y,z\n0,1,0,0,0\n"))
    assert log.times is None
    assert log.unused == (name,)
    assert log.source.endswith("no time column")


def test_two_times_are_refused(log_file):
    refused(log_file("time_s,t_ms,w,x,y,z\n0,0,1,0,0,0\n"), "'time_s' and 't_ms'")


def test_time_must_increase(log_file):
    path = log_file("t_ms,w,x,y,z\n0,1,0,0,0\n50,1,0,0,0\n50,1,0,0,0\n40,1,0,0,0\n51,1,0,0,0\n")
    log = read_log(path, bad_rows="report")
    assert log.lines.tolist() == [2, 3, 6]
    assert log.times.tolist() == [0, 0.05, 0.051]
    assert log.rejected == (
        (4, "t_ms does not increase: 0.05 s after 0.05 s in line 3"),
        (5, "t_ms does not increase: 0.04 s after 0.05 s in line 3"),
    )


# --- the text ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("separator", [",", ";", "\t", ", ", " ;"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r\r\n", "\n\r"])
@pytest.mark.parametrize("start", ["", "\ufeff", "# first, comment; of\ttwo\n#\n", "\ufeff# one\n\n  \n"])
def test_separators_line_ends_byte_order_mark_and_comments(log_file, separator, ending, start):
    lines = [["time_s", "x", "y", "z", "w"], ["0", "0", "0", "0", "1"], ["+1.5e0", ".6", "-0", "0.", "8E-1"]]
    text = start + "\n".join(separator.join(fields) for fields in lines)
    above = start.count("\n")
    for tail in ("", "\n", "\n\n \n", "\n\t\t\t\t\n", "\n \n\t\n\t \n"):
        log = read_log(log_file((text + tail).replace("\n", ending)))
        assert log.lines.tolist() == [above + 2, above + 3]
        assert log.times.tolist() == [0, 1.5]
        assert log.rejected == ()
        turned = Rotation.from_quat([0.6, 0, 0, 0.8]).as_matrix()
        np.testing.assert_allclose(log.orientations, [np.eye(3), turned], rtol=0, atol=ROUNDING)


def test_quoted_fields(log_file):
    log = read_log(log_file('"time (s)","w","x","y", "z","note, free; or not"\n"0","1","0","0", "0","a ""b"", c"\n'))
    assert log.unused == ("note, free; or not",)
    assert len(log) == 1


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", ["empty"]),
        (b"\xef\xbb\xbf", ["empty"]),
        (b"\n \r\n", ["empty"]),
        (b"# only a comment\n", ["empty"]),
        (b"w,x,y,z\n", ["no row"]),
        (b"w,x,y,z\n\n\r\n", ["no row"]),
        (b"w,x,y,z\n\t\n \t \n", ["no row"]),
        (b"w\tx\ty\tz\n\t\t\t\n", ["no row"]),
        (b"\t\n \t\n", ["empty"]),
        (b"w,x,y,z\r\r1,0,0,0", ["control character", "LF"]),
        (b"\xef\xbb\xbf\xef\xbb\xbft_s,w,x,y,z\n0,1,0,0,0\n", ["'\\ufefft_s'", "invisible", "\\ufeff"]),
        ("t\u200b_s,w,x,y,z\n0,1,0,0,0\n".encode(), ["invisible", "\\u200b"]),
        ("w,x,y,z\n1,0,0,0\n".encode("utf-32"), ["UTF-8"]),
        ("w,x,y,z\n1,0,0,0\n".encode("utf-16-be"), ["control character"]),
        (b"1,0,0,0\n1,0,0,0\n", ["line 1", "numbers only"]),
        (b"# w,x,y,z\n1,0,0,0\n", ["line 2", "remove the #"]),
        (b"w x y z\n1 0 0 0\n", ["separator", "none", "w x y z"]),
        (b"w,x;y,z\n1,0,0,0\n", ["separator", "',' and ';'"]),
        (b"w,x,y,z,x\n1,0,0,0,0\n", ["'x' occurs 2 times"]),
        (b"w,x,y,z,,\n1,0,0,0,,\n", ["'' occurs 2 times"]),
        (b'w,x,"y,z\n1,0,0,0\n', ["quotation mark", "line 1"]),
        (b"w,x,y,z\r1,0,0,0\r", ["control character", "LF"]),
        (b"\x7fELF\x02\x01\x01\x00\x00\n,", ["control character"]),
        ("w,x,y,z\n1,0,0,0\n".encode("utf-16"), ["UTF-8", "line 1"]),
        ("w,x,y,z\n1,0,0,0\n".encode("utf-16-le"), ["control character"]),
        ("roll (°),pitch (°),yaw (°)\n1,0,0\n".encode("latin-1"), ["UTF-8", "0xb0"]),
    ],
)
@pytest.mark.parametrize("bad_rows", ["raise", "report"])
def test_files_that_are_no_log(log_file, content, words, bad_rows):
    assert refused(log_file(content), "log.csv: ", *words, bad_rows=bad_rows).rejected == ()


def test_random_bytes_are_refused(log_file):
    refused(log_file(random.Random(1).randbytes(4000)))


def test_a_directory_and_a_missing_file(tmp_path):
    refused(tmp_path, "cannot be read")
    refused(tmp_path / "none.csv", "cannot be read", "none.csv")


def test_decimal_commas_are_refused(log_file):
    path = log_file("w;x;y;z\n1,0;0,0;0,0;0,0\n")
    for bad_rows in ("raise", "report"):
        refused(path, "line 2", "x is '0,0'", "decimal comma", "point", bad_rows=bad_rows)
    refused(log_file("w,x,y,z\n1,0,0,0,0,0,0,0\n"), "8 fields where the header has 4", "decimal comma")


# --- bad rows ------------------------------------------------------------------------------------------------

BAD_ROWS = {
    b"1,1,0,0": "4 fields where the header has 6",
    b"1,1,0,0,0,0,0": "7 fields where the header has 6 (a decimal comma?)",
    b"1,1,,0,0,": "x is empty",
    b"1, ,0,0,0,": "w is empty",
    b"later,1,0,0,0,": "time_s is 'later', not a finite number",
    b"1,1,0,nan,0,": "y is 'nan', not a finite number",
    b"1,1,0,0,-Inf,": "z is '-Inf', not a finite number",
    b"1,1,0,0,1e999,": "z is '1e999', not a finite number",
    b"1,1,0,0,1_0,": "z is '1_0', not a finite number",
    b"1,1,0,0,0x1,": "z is '0x1', not a finite number",
    "1,1,0,0,\u0661,".encode(): "z is '\u0661', not a finite number",
    b'1,1,0,0,"0,5",': "z is '0,5', with a decimal comma; write decimals with a point",
    b"1,1,0,0," + b"9x" * 99 + b",": f"z is '{'9x' * 18}9...', not a finite number",
    b"1,1,0.5,0,0,": "the quaternion is 1.11803 long, not 1",
    b"0,1,0,0,0,": "time_s does not increase: 0 s after 0 s in line 3",
    b"": "the line is blank",
    b"   ": "the line is blank",
    b"\t": "the line is blank",
    b" \t\t \t\t\t": "the line is blank",
    b"# stop": "a line that begins with # may stand only before the header",
    b'1,1,0,0,0,"a': "a quotation mark is not closed",
    b'1,1,0,0,0,"a"b': "',' expected after '\"'",
    b"1,1,0,0,0,\xff": "byte 0xff at place 11 is not UTF-8 text",
    b"1,1,0,\r0,0,": "a carriage return stands inside the line",
    b"1,1,0,0,\x00,": "z is '\\x00', not a finite number",
    b"1,1,0,0,0," + b"a" * 200_000: "field larger than field limit (131072)",
    b"time_s,w,x,y,z,note": "time_s is 'time_s', not a finite number",
}
AROUND = b"# a comment\ntime_s,w,x,y,z,note\n0,1,0,0,0,any text\n%s\n2,1,0,0,0,\n\n"


@pytest.mark.parametrize(("row", "reason"), BAD_ROWS.items(), ids=range(len(BAD_ROWS)))
def test_a_bad_row_is_named_and_the_others_are_kept(log_file, row, reason):
    path = log_file(AROUND % row)
    log = read_log(path, bad_rows="report")
    assert log.rejected == ((4, reason),)
    assert log.lines.tolist() == [3, 5]
    assert log.times.tolist() == [0, 2]
    assert log.unused == ("note",)
    error = refused(path, "1 of 3 rows", f"line 4: {reason}", "bad_rows='report'")
    assert error.rejected == log.rejected


def test_the_message_shows_ten_and_the_attribute_all(log_file):
    path = log_file("w,x,y,z\n1,0,0,0\n" + "1,0,0\n" * 23)
    error = refused(path, "23 of 24 rows", "line 3:", "line 12:", "and 13 more")
    assert "line 13:" not in str(error)
    assert [number for number, _ in error.rejected] == list(range(3, 26))


def test_a_log_without_a_good_row_is_refused_in_both_modes(log_file):
    error = refused(log_file("w,x,y,z\n1,0,0\n\n2,0,0,0\n"), "3 of 3 rows", bad_rows="report")
    assert [number for number, _ in error.rejected] == [2, 3, 4]
    assert "bad_rows='report'" not in str(error)  # it would not help


def test_the_log_is_frozen(log_file):
    log = read_log(log_file("t_s,w,x,y,z\n0,1,0,0,0"))
    with pytest.raises(AttributeError):
        log.times = None
    for array in (log.times, log.orientations, log.lines):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 1


# --- no row is ever lost -------------------------------------------------------------------------------------

QUATERNION_BASE = b"# head\ntime_s,qw,qx,qy,qz\n" + b"".join(
    b"%d.%d,0.8,0.0,-0.6,0.0\n" % divmod(k, 10) for k in range(12)
)
ANGLE_BASE = b'"time (ms)";note;roll_deg;pitch_deg;yaw_deg\r\n' + b"".join(
    b'%d;"a;b";1.5;-2.25;%d\r\n' % (20 * k, k) for k in range(12)
)
PIECES = [
    b'"',
    b"\r",
    b"\n",
    b"\n\n",
    b",",
    b";",
    b"\t",
    b"#",
    b"nan",
    b"1e999",
    b"\x00",
    b"\xff",
    b"\xc2",
    b"_",
    b" ",
    b"\r\n",
    b'""',
    b"\xed\xa0\x80",  # half of a surrogate pair
    b"\xef\xbb\xbf",  # a byte order mark where none belongs
    "\u2028".encode(),  # a line end to Python's splitlines, not to a log
    b"\x0b\x85",
]


LINES = [
    QUATERNION_BASE.split(b"\n")[1],
    ANGLE_BASE.split(b"\r")[0],
    b"9" * 140_000,  # more than the csv module takes in one field
    b'"' * 5,
    b"# note",
    "0.1;1;0;0;0".encode("utf-16"),
]
SWAPPED = bytes.maketrans(b",;", b";,")


def mutated(text, chance):
    for _ in range(chance.randint(1, 2)):
        a = chance.randint(0, len(text))
        b = min(len(text), a + chance.randint(0, 30))
        row = text[:a].rfind(b"\n") + 1
        ways = {
            "insert": text[:a] + chance.choice(PIECES) + text[a:],
            "a line": text[:row] + chance.choice(LINES) + chance.choice([b"\n", b"\r\n"]) + text[row:],
            "a column": without_a_column(text, row, chance),
            "separators": text[:a] + text[a:b].translate(SWAPPED) + text[b:],
            "line ends": text[:a] + text[a:].replace(b"\r", b"").replace(b"\n", b"\r\n", 3),
            "flip": text[:a] + chance.randbytes(1) + text[a + 1 :],
            "cut": text[:a] + text[b:],
            "double": text[:b] + text[a:b] + text[b:],
            "reverse": text[:a] + text[a:b][::-1] + text[b:],
            "repeat": text + text[a:b],
            "truncate": text[:b],
            "rotate": text[b:] + text[:b],
        }
        kind = chance.choice(list(ways))
        if kind in ("truncate", "rotate") and chance.random() < 0.7:  # the wildest ones, less often
            kind = "flip"
        text = ways[kind]
    return text


def without_a_column(text, row, chance):
    """The text less one field: of the line that begins there, or of every line."""
    lines = text.split(b"\n")
    k = 2 * chance.randint(0, 4)
    for i in range(len(lines)) if chance.random() < 0.3 else [text[:row].count(b"\n")]:
        fields = re.split(b"([,;])", lines[i])
        lines[i] = b"".join(fields[:k] + fields[k + 2 :])
    return b"\n".join(lines)


def data_lines(raw):
    """Numbers of the lines after the header that are not trailing blanks, counted without the reader."""
    lines = [line.strip(b"\r") for line in raw.removeprefix(b"\xef\xbb\xbf").split(b"\n")]
    header = next(k for k, line in enumerate(lines) if line.strip(b" \t") and line[:1] != b"#")
    last = max(k for k, line in enumerate(lines) if line.strip(b" \t"))
    return list(range(header + 2, last + 2))


def outcome(path, **arguments):
    """The log or the LogError; any other exception ends the test."""
    try:
        return read_log(path, **arguments)
    except LogError as error:
        return error


def test_fuzz_gives_a_log_or_a_log_error_and_loses_no_row(log_file):
    chance = random.Random(20)
    seen = {"whole": 0, "part": 0, "no good row": 0, "refused": 0}
    reasons = set()
    for case in range(400):
        raw = mutated((QUATERNION_BASE, ANGLE_BASE)[case % 2], chance)
        path = log_file(raw)
        strict, log = outcome(path), outcome(path, bad_rows="report")
        bad = [number for number, _ in log.rejected]
        reasons |= {reason for _, reason in log.rejected}
        if isinstance(log, LogError):
            assert isinstance(strict, LogError)
            if bad:
                assert bad == data_lines(raw)
            seen["no good row" if bad else "refused"] += 1
            continue
        assert sorted([*log.lines.tolist(), *bad]) == data_lines(raw), raw
        assert len(log) == len(log.orientations) == len(log.lines) > 0
        square = log.orientations @ log.orientations.swapaxes(1, 2)
        np.testing.assert_allclose(square, np.broadcast_to(np.eye(3), square.shape), rtol=0, atol=ROUNDING)
        assert log.times is None or (np.diff(log.times) > 0).all()
        assert isinstance(strict, LogError) == bool(bad)
        assert strict.rejected == log.rejected
        seen["part" if bad else "whole"] += 1
    # The mutations must be neither so mild nor so wild that one branch is hardly visited.
    assert seen["whole"] > 10
    assert seen["part"] > 100
    assert seen["refused"] > 10
    assert seen["no good row"] > 0
    for part in ("is not UTF-8", "quotation mark", "fields where", "carriage return", "field larger", "'time_s'"):
        assert any(part in reason for reason in reasons), part


# --- long logs, which are read in blocks ---------------------------------------------------------------------

COUNT = 4000  # rows: several blocks, however they are cut


def long_log(seed, mark=","):
    """Rows of text: time, a note, a unit quaternion with all digits."""
    rng = np.random.default_rng(seed)
    q = rng.normal(size=(COUNT, 4))
    q /= np.linalg.norm(q, axis=1)[:, None]
    notes = ["", "ok", "é°", "-", "1e999", "nan"]
    rows = zip(np.cumsum(rng.uniform(1e-3, 1, COUNT)).tolist(), q.tolist(), strict=True)
    return [mark.join([repr(t), notes[k % 6], *map(repr, four)]) for k, (t, four) in enumerate(rows)]


@pytest.mark.parametrize("mark", [",", ";", "\t"])
@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_blocks_of_plain_lines_give_what_single_lines_give(log_file, mark, ending):
    rows, names = long_log(1, mark), mark.join(["t_ms", "note", "x", "y", "z", "w"])
    log = read_log(log_file(ending.join([names, *rows])))
    own = np.array([[float(field) for k, field in enumerate(row.split(mark)) if k != 1] for row in rows])
    assert log.times.tobytes() == (own[:, 0] / 1000).tobytes()
    np.testing.assert_allclose(log.orientations, Rotation.from_quat(own[:, 1:]).as_matrix(), rtol=0, atol=ROUNDING)
    assert log.lines.tolist() == list(range(2, COUNT + 2))
    quoted = read_log(log_file(ending.join([names, *(f'"{row.replace(mark, chr(34) + mark, 1)}' for row in rows)])))
    assert quoted.orientations.tobytes() == log.orientations.tobytes()  # bit for bit
    assert quoted.times.tobytes() == log.times.tobytes()


def test_bad_lines_in_blocks_are_named_and_cost_no_other(log_file):
    chance = random.Random(3)
    lines = [",".join([t, *four, note]).encode() for t, note, *four in (row.split(",") for row in long_log(2))]
    places = sorted(chance.sample(range(COUNT - 1), len(BAD_ROWS)))
    wanted = {}
    for k, (row, reason) in zip(places, BAD_ROWS.items(), strict=True):
        lines[k] = row  # the columns are in the order of BAD_ROWS here: time, quaternion, note
        wanted[k + 3] = reason
    path = log_file(b"\n".join([b"# a comment", b"time_s,w,x,y,z,note", *lines]))
    log = read_log(path, bad_rows="report")
    assert {number: reason for number, reason in log.rejected if "increase" not in reason} == {
        number: reason for number, reason in wanted.items() if "increase" not in reason
    }
    assert [number for number, _ in log.rejected] == list(wanted)
    assert sorted([*log.lines.tolist(), *wanted]) == list(range(3, COUNT + 3))


def test_fields_are_counted_in_each_line_of_a_block(log_file):
    """One field too few and one too many make the right number in all, and numbers in the wrong places."""
    path = log_file("t_s,w,x,y,z\n0,1,0,0,0\n1,1,0,0\n0,2,1,0,0,0\n3,1,0,0,0\n")
    log = read_log(path, bad_rows="report")
    assert log.lines.tolist() == [2, 5]
    assert [number for number, _ in log.rejected] == [3, 4]


def test_a_time_that_stands_still_in_a_block_of_plain_lines(log_file):
    path = log_file("t_s,w,x,y,z\n0,1,0,0,0\n1,1,0,0,0\n1,0,1,0,0\n2,1,0,0,0\n")
    assert read_log(path, bad_rows="report").rejected == ((4, "t_s does not increase: 1 s after 1 s in line 3"),)


def test_blank_lines_by_the_block(log_file):
    blanks = "\n \n\t\n" * 40_000
    log = read_log(log_file(f"w,x,y,z\n1,0,0,0{blanks}0,1,0,0{blanks}"), bad_rows="report")
    assert log.lines.tolist() == [2, 120_002]
    assert log.rejected == tuple((k, "the line is blank") for k in range(3, 120_002))


def test_a_line_longer_than_a_block(log_file):
    note = "n" * 100_000
    log = read_log(log_file(f"w,x,y,z,note\n1,0,0,0,{note}\n1,0,0,0,\n1,0,0,0,{note}{note}\n"), bad_rows="report")
    assert log.lines.tolist() == [2, 3]
    assert log.rejected == ((4, "field larger than field limit (131072)"),)


def test_very_many_columns(log_file):
    names, zeros = ",".join(f"c{k}" for k in range(100_000)), ",0" * 100_000
    log = read_log(log_file(f"w,x,y,z,{names}\n1,0,0,0{zeros}\n"))
    assert len(log) == 1
    assert len(log.unused) == 100_000
    told = str(refused(log_file(f"{names}\n{zeros[1:]}\n"), "'c0', 'c1'", "'c29' and 99970 more"))
    assert len(told) < 1000


MEASURE = """
import re, sys
from pathlib import Path
from legloop.workshop.log import read_log
peak = lambda: int(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
before = peak()
log = read_log(sys.argv[1])
print(len(log), peak() - before)
"""  # not ru_maxrss: that begins with the peak of the process that starts this one


@pytest.mark.skipif(sys.platform != "linux", reason="/proc is of Linux")
def test_a_long_log_takes_little_more_memory_than_its_samples(log_file):
    path = log_file("t_s,w,x,y,z\n" + "".join(f"{k},0.8,0.0,-0.6,0.0\n" for k in range(200_000)))
    done = subprocess.run([sys.executable, "-c", MEASURE, str(path)], capture_output=True, text=True, check=True)
    count, kib = map(int, done.stdout.split())
    assert count == 200_000
    assert kib * 1024 < 250 * count + 20e6  # 250 bytes a sample, of which 88 are the result; and the code itself


# --- tables --------------------------------------------------------------------------------------------------


def test_a_table_comes_back_exactly(tmp_path):
    rng = np.random.default_rng(3)
    floats = np.concatenate([rng.normal(size=50) * 10.0 ** rng.integers(-300, 300, 50), [0.1, -0.0, 5e-324, 1e308]])
    floats[7] = np.nan
    counts = rng.integers(-(2**63), 2**63 - 1, len(floats))
    single = rng.normal(size=len(floats)).astype(np.float32)
    flags = floats > 0
    path = tmp_path / "table.csv"
    columns = {"line": counts, "value_m": floats, "single": single, 'note, "quoted"': flags, "list": flags.tolist()}
    write_table(path, columns)
    raw = path.read_bytes()
    assert b"\r" not in raw
    assert raw.endswith(b"\n")
    with path.open(newline="", encoding="utf-8") as file:
        header, *rows = csv.reader(file)
    assert header == list(columns)
    line, value, alone, flag, listed = zip(*rows, strict=True)
    assert [int(text) for text in line] == counts.tolist()
    assert value[7] == ""
    back = np.array([float(text or "nan") for text in value])
    assert back.tobytes() == floats.tobytes()  # bit for bit, the sign of zero included
    np.testing.assert_array_equal(np.array(alone, dtype=np.float32), single)
    assert flag == listed == tuple("1" if is_true else "0" for is_true in flags)
    np.testing.assert_array_equal(np.genfromtxt(path, delimiter=",", skip_header=1, usecols=1), floats)


def test_a_table_of_a_log_reads_back_as_the_log(tmp_path, log_file):
    log = read_log(log_file(QUATERNION_BASE))
    x, y, z, w = Rotation.from_matrix(log.orientations).as_quat().T
    path = tmp_path / "again.csv"
    write_table(path, {"time_s": log.times, "w": w, "x": x, "y": y, "z": z, "reachable": np.ones(len(log), bool)})
    again = read_log(path)
    np.testing.assert_array_equal(again.times, log.times)
    np.testing.assert_allclose(again.orientations, log.orientations, rtol=0, atol=ROUNDING)
    assert again.unused == ("reachable",)


def test_a_table_does_not_overwrite_unless_told(tmp_path):
    path = tmp_path / "table.csv"
    write_table(path, {"a": [1]})
    with pytest.raises(FileExistsError, match="overwrite=True"):
        write_table(path, {"a": [2]})
    assert path.read_text() == "a\n1\n"
    write_table(path, {"a": [2.0]}, overwrite=True)
    assert path.read_text() == "a\n2.0\n"
    write_table(path, {"a": np.zeros(0), "b": []}, overwrite=True)
    assert path.read_text() == "a,b\n"


@pytest.mark.parametrize(
    ("columns", "error", "words"),
    [
        ({}, ValueError, "columns is empty"),
        ({"a": [1, 2], "b": [1, 2, 3]}, ValueError, r"differ in length \(a 2, b 3\)"),
        ({"a": 1.0}, ValueError, r"columns\['a'\] has shape \(\)"),
        ({"a": np.zeros((2, 2))}, ValueError, r"columns\['a'\] has shape \(2, 2\)"),
        ({"a": [[1], [1, 2]]}, ValueError, r"columns\['a'\] is no regular array"),
        ({"a": [0, np.inf]}, ValueError, r"columns\['a'\]\[1\] is inf"),
        ({"a": ["x"]}, TypeError, r"columns\['a'\] must hold real numbers"),
        ({"a": [1j]}, TypeError, r"columns\['a'\] must hold real numbers"),
        ({"a": None}, TypeError, r"columns\['a'\] is None"),
        ({3: [1]}, TypeError, "column name 3"),
        ({"": [1]}, ValueError, "column name ''"),
        ({" a": [1]}, ValueError, "column name ' a'"),
        ({"a\nb": [1]}, ValueError, "column name"),
        ({"#a": [1]}, ValueError, "column name '#a'"),
    ],
)
def test_tables_that_are_refused_leave_no_file(tmp_path, columns, error, words):
    path = tmp_path / "table.csv"
    with pytest.raises(error, match=words):
        write_table(path, columns)
    assert not path.exists()


@pytest.mark.skipif(np.dtype(np.longdouble).itemsize <= 8, reason="here long double is float64")
def test_a_table_takes_no_more_digits_than_it_writes(tmp_path):
    with pytest.raises(TypeError, match="float64"):
        write_table(tmp_path / "table.csv", {"a": np.zeros(3, np.longdouble)})


# --- the two streams that the lessons and tests use ----------------------------------------------------------


def test_the_demo_log_is_made_again_byte_for_byte(tmp_path):
    made = tmp_path / "made.csv"
    subprocess.run([sys.executable, str(ROOT / ".ci" / "make_demo_log.py"), str(made)], check=True)
    assert made.read_bytes() == DEMO.read_bytes()
    assert b"\r" not in made.read_bytes()


def test_the_demo_log_shows_what_the_lessons_tell():
    error = refused(DEMO, "2 of 600 rows", "line 145: qy is empty", "line 491: qx is '0.078?06'")
    log = read_log(DEMO, bad_rows="report")
    assert log.rejected == error.rejected
    assert len(log) == 598
    assert log.source == "quaternion qw qx qy qz (scalar first, by name); time time_s (in s)"
    assert log.unused == ()
    assert log.times[[0, -1]].tolist() == [0, 29.95]

    # The script checked itself with its own closed form; this is the package's answer.
    hide = Mechanism.symmetric(proximal=60 * deg, distal=75 * deg, base_cone=45 * deg, platform_cone=50 * deg)
    margin = reach_margin(hide, log.orientations)
    lost = np.flatnonzero((margin < 0).any(axis=-1))
    assert log.times[lost[[0, -1]]].tolist() == [19.95, 20.95]
    assert len(lost) == 21
    theta = inverse_kinematics(hide, log.orientations, (1, 1, 1), unreachable="nan")
    assert (np.isnan(theta) == (margin < 0)).all()
    assert np.nanmax(np.abs(np.diff(theta, axis=0))) < 7 * deg  # no flip and no turn; the script prints 6.9°


def test_a_recorded_stream_reads_without_special_arguments():
    # Source: package scikit-kinematics (BSD), tests/data/data_ngimu/quaternion.csv of its wheel, columns
    # W, X, Y, Z; 499 samples; farthest turn from the first sample 29.4°.
    wanted = "tests/data/data_ngimu/quaternion.csv"
    (entry,) = [entry for entry in files("scikit-kinematics") or [] if entry.as_posix() == wanted]
    log = read_log(entry.locate())
    assert len(log) == 499
    assert log.rejected == ()
    assert log.source == "quaternion W X Y Z (scalar first, by name); time Time (s) (in s)"
    assert log.times[0] == 0.002531528
    assert log.lines[-1] == 500
    turned = Rotation.from_matrix(log.orientations[0].T @ log.orientations).magnitude()
    assert abs(turned.max() / deg - 29.4) <= 0.05  # half of the printed digit
