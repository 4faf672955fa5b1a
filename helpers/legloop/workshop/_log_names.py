"""What the name of one column of a log says: roll, pitch, yaw or time and its unit, or a number of a quaternion.

A unit follows the name in any of the usual spellings: ``t_s``, ``t.s``, ``t/s``, ``t-s``, ``t s``, ``t in s``,
``t (s)``, ``t[s]``, ``tSec``. A name that speaks of time in any other way is not read, and `looks_like_time` says so.
"""

from __future__ import annotations

import re
from collections.abc import Mapping

__all__ = ["ANGLE_UNITS", "PER_SECOND", "QUATERNION_NAME", "TIME_UNITS", "looks_like_time", "unit_of"]

ANGLE_UNITS = {
    **dict.fromkeys(("deg", "degs", "degree", "degrees", "°"), "deg"),
    **dict.fromkeys(("rad", "rads", "radian", "radians"), "rad"),
}
# μ is the Greek letter: casefold() turns the micro sign into it.
TIME_UNITS = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("ms", "msec", "msecs", "millis", "millisecond", "milliseconds"), "ms"),
    **dict.fromkeys(("us", "μs", "usec", "usecs", "micros", "microsecond", "microseconds"), "us"),
}
PER_SECOND = {"s": 1.0, "ms": 1e3, "us": 1e6}

QUATERNION_NAME = re.compile(r"(|(?:q|quat|quaternion|orientation)[_./: -]?)([wxyz]|(?<=.)[0-4])")

# A minus that may be a sign, as in "-roll_deg" or "roll (-deg)", is no mark between name and unit.
MARK = r"\s*[_.,:/]\s*|-|\s+-\s+|\s+(?:in\s+)?"
WORD = r"\s*([^\W\d_]+|°)\s*"
UNIT = rf"(?:{MARK}){WORD}|[\s_.]*(?:\({WORD}\)|\[{WORD}\]|\{{{WORD}\}}|<{WORD}>)"

PERIODS = {*TIME_UNITS, *("ns", "nsec", "nanos", "nanosecond", "nanoseconds", "minute", "minutes", "hour", "hours")}
CLOCKS = (
    *("ts", "stamp", "timestamp", "timestamps", "epoch", "elapsed", "clock", "date", "utc", "dt"),
    *("zeit", "tiempo", "temps", "tempo"),
)
CLOCKS_AND_UNITS = {clock + unit for clock in CLOCKS for unit in ("", *PERIODS)}
NO_TIME = {"x", "y", "z", "c", "f", "k", "degc", "celsius"}
"""Behind a t: a translation or a temperature."""


def _lower(name: str) -> str:
    """The name in lower case, tSec as t_sec."""
    return re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name).casefold()


def unit_of(name: str, role: str, units: Mapping[str, str]) -> str | None:
    """The unit that a name of `role` gives: one of the values of `units`, "" for none; None for another name."""
    if not name.casefold().startswith(role):
        return None
    for spelt in {name.casefold(), _lower(name)}:
        if match := re.fullmatch(f"{role}(?:{UNIT})?", spelt):
            unit = next(filter(None, match.groups()), None)
            if unit is None or unit in units:
                return "" if unit is None else units[unit]
    return None


def looks_like_time(name: str) -> bool:
    """Whether a name that is not read as a time may well mean one."""
    words = re.findall(r"[^\W\d_]+", _lower(name))
    if not words:
        return False
    first, rest = words[0], words[1:]
    if first == "t" and not (rest and set(rest) <= NO_TIME):
        return True
    if first.removeprefix("t") in PERIODS and (not rest or rest[0] in {*PERIODS, "since", "from", "t"}):
        return True  # "ms", "tms", "ms since start"
    return any(word in CLOCKS_AND_UNITS or word.startswith("time") or word.endswith("time") for word in words)
