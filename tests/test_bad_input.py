"""Malformed calls: each raises the error that is documented, and the message names value, place and repair.

The tables, a row for each call, are in `malformed_core`, `malformed_workshop`, `malformed_machine` and
`malformed_lesson`.
"""

import importlib
import inspect

import numpy as np
import pytest

from legloop import closure_error, inverse_kinematics, rotation
from malformed import HIDE, I3, Of
from malformed_core import CORE, ROTATION
from malformed_lesson import LESSON
from malformed_machine import MACHINE, PLAN
from malformed_workshop import WORKSHOP

TABLE: dict[str, Of] = {**CORE, **ROTATION, **WORKSHOP, **MACHINE, **LESSON}
ROWS = [pytest.param(about, row, id=f"{name}: {row.id}") for name, about in TABLE.items() for row in about.rows]

OFFERED = {  # module: how its names begin in the table
    "legloop": "",
    "legloop.rotation": "rotation.",
    **{
        f"legloop.workshop.{name}": f"{name}."
        for name in (
            "cad", "measured", "bench", "diagnosis", "drive", "stiffness", "calibration", "motion", "firmware", "log",
        )
    },
    "legloop.lesson": "",
    **{
        f"legloop.lesson.{name}": f"{name}."
        for name in (
            "belt", "cases", "draw", "exercise", "give", "maps", "scrub", "scrub_drive", "scrub_motion", "sense",
            "series",
        )
    },
}  # fmt: skip

GIVEN = {
    # results and warnings, which the package makes and nobody else
    "PathSingularity",
    "Certificate", "Clearance", "LargestTilt", "Singularity", "measured.PointingError", "bench.BenchCard",
    "bench.Diagnosis", "bench.Fault", "diagnosis.Diagnosis", "cad.AxisJoint", "cad.CadWarning", "drive.DriveWarning",
    "drive.OpenBelt", "drive.Sizing", "drive.Worst", "stiffness.Give", "stiffness.Play", "calibration.Calibration",
    "calibration.Finding", "calibration.Unseen", "motion.Fault", "motion.Jog", "motion.MotionPlan", "motion.Report",
    "motion.Stop", "motion.Report.then", "firmware.LimitsWarning", "firmware.Status", "log.OrientationLog",
    "draw.LegState", "draw.Picture", "maps.Quantity", "maps.Quantity.text", "exercise.Verdict",
    # a record that is checked where it is used
    "give.Size",
}  # fmt: skip


@pytest.fixture(autouse=True)
def _empty_directory(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)


@pytest.mark.parametrize(("about", "row"), ROWS)
def test_malformed_calls_are_refused_with_place_value_and_repair(about, row, tmp_path):
    with pytest.raises(row.error, match="(?s)" + row.message):
        row.change() if callable(row.change) else about.call(**{**about.good, **row.change})
    assert not list(tmp_path.iterdir()), "a refused call has written a file"


@pytest.mark.parametrize("name", TABLE)
def test_the_call_that_the_rows_spoil_is_good(name):
    """Otherwise a row might be refused for another reason than the one it names."""
    PLAN.write("motion.csv")  # for `read_motion`
    TABLE[name].call(**TABLE[name].good)


def offered():
    """The names of all public callables, and of the public methods of classes that take an argument."""
    for module, prefix in OFFERED.items():
        public = importlib.import_module(module)
        for name in public.__all__:
            value = getattr(public, name)
            if inspect.isclass(value) and not issubclass(value, ValueError):
                yield prefix + name
                for method, found in vars(value).items():
                    function = getattr(found, "__func__", found)
                    if not method.startswith("_") and inspect.isfunction(function):
                        own = not isinstance(found, staticmethod)
                        if len(inspect.signature(function).parameters) > own:
                            yield f"{prefix}{name}.{method}"
            elif inspect.isfunction(value) and inspect.signature(value).parameters:
                yield prefix + name


def test_every_public_callable_has_rows():
    names = set(offered())
    missing = {name for name in names - GIVEN if len(TABLE[name].rows if name in TABLE else ()) < 3}
    assert not missing, "give them rows in tests/malformed_*.py"
    assert not set(TABLE) - names, "no such public name"
    assert not GIVEN - names, "no such public name"
    assert sum(len(about.rows) for about in TABLE.values()) >= 200


@pytest.mark.parametrize("R", [I3.astype(np.float32), np.round(rotation.from_rpy(0.3, 0.4, 0.5), 6)])
def test_rounding_of_single_precision_and_of_six_decimals_is_no_fault(R):
    assert np.abs(closure_error(HIDE, R, inverse_kinematics(HIDE, R))).max() < 1e-14
