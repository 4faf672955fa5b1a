"""What the package raises and returns comes out of pickle, copy and a pool of fresh processes as it went in.

`MADE` has a row for each public class; one that is not entered fails the first test.
"""

import concurrent.futures
import copy
import dataclasses
import enum
import importlib
import inspect
import multiprocessing
import pickle
import pkgutil

import numpy as np
import pytest

import legloop
from legloop import errors, inverse_kinematics, reach, rotation
from legloop._travel import Frozen
from legloop.lesson import draw, exercise, give, maps, review
from legloop.workshop import bench, cad, calibration, drive, firmware, log, measured, motion, stiffness
from malformed import HIDE, HOME, I3, POSES
from malformed_core import BARS, CLOSED, POSE
from malformed_machine import BELT, BUILT, HINGE, JOG, LIMITS, PLAN, SIZED
from malformed_workshop import CALIBRATED, LINES
from test_bad_input import OFFERED

LOG = b"t_s,roll_deg,pitch_deg,yaw_deg,note\n0,1,2,3,a\n1,2,oops,4,b\n2,2,3,4,c\n"


def caught(call):
    """The error that a call raises, with a note."""
    with pytest.raises(ValueError) as caught:
        call()
    caught.value.add_note("leg 2 had been bent by hand")
    return caught.value


def far():
    return inverse_kinematics(HIDE, rotation.ry([0.1, 1.4]))


def logged(path):
    (path / "log.csv").write_bytes(LOG)
    return log.read_log(path / "log.csv", bad_rows="report")


def no_log(path):
    return caught(lambda: log.read_log(path / "none.csv"))


def off_the_edge():
    return motion.plan(HIDE, rotation.ry([0.0, 1.3]), [0.0, 9.0], drive=BELT, limits=LIMITS)


def mirrored():
    return legloop.align_axes(HIDE.base_axes, -HIDE.base_axes)


MADE = {
    "legloop.AmbiguousError": lambda _: caught(lambda: legloop.forward_kinematics(HIDE, HOME + 1.5, near=I3)),
    "legloop.MirroredError": lambda _: caught(mirrored),
    "legloop.SingularError": lambda _: errors.SingularError("limp", pose=(3,), leg=1, kind=2),
    "legloop.UnreachableError": lambda _: caught(far),
    "motion.MotionError": lambda _: caught(off_the_edge),
    "log.LogError": no_log,
    "cad.CadWarning": lambda _: cad.CadWarning("look again"),
    "drive.DriveWarning": lambda _: drive.DriveWarning("look again"),
    "firmware.LimitsWarning": lambda _: firmware.LimitsWarning("look again"),
    "legloop.Certificate": lambda _: legloop.certify(**CLOSED, tilt=1.0),
    "legloop.Clearance": lambda _: legloop.clearance(**POSE, links=BARS),
    "legloop.Convention": lambda _: legloop.Convention(rotation.rx(1.0), leg_order=(0, 2, 1), zero=(0.1, 0.2, -0.0)),
    "convention.FittedConvention": lambda _: legloop.fit_convention(HIDE, POSES, inverse_kinematics(HIDE, POSES)),
    "legloop.LargestTilt": lambda _: legloop.largest_tilt(HIDE, (1, 1, 1), resolution=0.3),
    "legloop.Links": lambda _: BARS,
    "legloop.Mechanism": lambda _: HIDE,
    "legloop.PathSingularity": lambda _: legloop.path_singularity(HIDE, POSES, inverse_kinematics(HIDE, POSES)),
    "legloop.Singularity": lambda _: legloop.singularity(**POSE),
    "bench.BenchCard": lambda _: bench.bench_card(HIDE, (1, 1, 1)),
    "bench.Diagnosis": lambda _: bench.bench_card(HIDE, (1, 1, 1)).diagnose(-np.ones((8, 3)), signs=True),
    "bench.Fault": lambda _: bench.Fault(mirrored=True),
    "cad.AxisJoint": lambda _: cad.from_axis_lines(**LINES),
    "calibration.Calibration": lambda _: CALIBRATED,
    "calibration.Finding": lambda _: calibration.Finding("teeth", 0, None, "a belt slipped"),
    "calibration.Unseen": lambda _: calibration.Unseen(
        "all", {"zero": np.ones(3), "drift": np.zeros(1)}, True, np.inf
    ),
    "drive.BeltDrive": lambda _: BELT,
    "drive.OpenBelt": lambda _: BELT.open_belt(1.0),
    "drive.Sizing": lambda _: SIZED,
    "drive.Worst": lambda _: SIZED.torque,
    "firmware.Status": lambda _: firmware.Status.SOLVED,
    "log.OrientationLog": logged,
    "measured.PointingError": lambda _: measured.pointing_error(HIDE, POSES, distal=0.01),
    "measured.Reading": lambda _: measured.Reading(1.3, 0.1),
    "motion.Fault": lambda _: caught(off_the_edge).faults[0],
    "motion.Jog": lambda _: motion.jog(**JOG),
    "motion.MotionLimits": lambda _: LIMITS,
    "motion.MotionPlan": lambda _: PLAN,
    "motion.Report": lambda _: PLAN.report,
    "motion.Stop": lambda _: motion.stop(HOME, (1, 0, 0), LIMITS, 0.01),
    "reach.Ball": lambda _: reach.ball(HIDE, np.array([1, 1, 1]), POSES, np.full(len(POSES), 0.1)),
    "stiffness.Bearing": lambda _: stiffness.BALL_608,
    "stiffness.Build": lambda _: BUILT["build"],
    "stiffness.Give": lambda _: stiffness.give(**BUILT),
    "stiffness.Hinge": lambda _: HINGE,
    "stiffness.Link": lambda _: BUILT["build"].first,
    "stiffness.Play": lambda _: stiffness.worst_play(**POSE, hinges=HINGE),
    "stiffness.Section": lambda _: BUILT["build"].first.section,
    "draw.LegState": lambda _: draw.leg_states(HIDE, I3, HOME)[0],
    "draw.Picture": lambda _: draw.draw_joint(HIDE, I3, HOME),
    "exercise.Verdict": lambda _: exercise.check(np.cos, np.sin, [(1.0,)]),
    "give.Size": lambda _: give.Size("bore", 1.0, (1.0, 2.0)),
    "maps.Quantity": lambda _: maps.QUANTITIES["margin"],
    "report.Report": lambda _: review("rotation_x", lambda angle: rotation.rx(-angle)),
    "slip.Slip": lambda _: review("rotation_x", lambda angle: rotation.rx(-angle)).explanations[0][0],
    "slip.Operator": lambda _: review("rotation_x", lambda angle: rotation.rx(-angle)).explanations[0][0].operator,
}
NO_VALUES = {
    "scrub.Scrubber",  # sliders live with the page that shows them
    "slip.Places",  # a part of the words of a slip
}


def public_classes():
    """Every class that a public module offers, and the names it has by the doors: the last part of their names.

    Doors are the modules of the table of malformed calls, every package, and what `review` gives.
    """
    doors = {*OFFERED, "legloop.lesson.algebra.report", "legloop.lesson.algebra.slip"}
    doors |= {part.name for part in pkgutil.walk_packages(legloop.__path__, "legloop.") if part.ispkg}
    found = {}
    for door in doors:
        module = importlib.import_module(door)
        for name in getattr(module, "__all__", ()):
            if inspect.isclass(value := getattr(module, name)):
                found.setdefault(value, set()).add(f"{door.rsplit('.', 1)[-1]}.{name}")
    return found


def test_every_public_class_has_a_row():
    classes = public_classes()
    assert len(classes) > 50
    missing = [names for names in classes.values() if not names & (MADE.keys() | NO_VALUES)]
    assert not missing, "give them rows in tests/test_travel.py"


@pytest.fixture(params=MADE)
def made(request, tmp_path):
    value = MADE[request.param](tmp_path)
    assert type(value).__name__ == request.param.rsplit(".", 1)[1]
    return value


def by_pickle(protocol):
    return lambda value: pickle.loads(pickle.dumps(value, protocol))


WAYS = {
    **{f"pickle {n}": by_pickle(n) for n in range(pickle.HIGHEST_PROTOCOL + 1)},
    "copy": copy.copy,
    "deepcopy": copy.deepcopy,
    "a copy of a copy": lambda value: copy.deepcopy(by_pickle(4)(copy.copy(value))),
}


def alike(one, other, where="it"):
    """Type by type, attribute by attribute, flag by flag; `==` of the package is not asked."""
    assert type(one) is type(other), where
    if isinstance(one, np.ndarray):
        assert one.dtype == other.dtype, where
        assert one.shape == other.shape, where
        assert one.flags.writeable == other.flags.writeable, f"{where} may be written to, or not"
        assert one.tobytes() == other.tobytes(), where
    elif isinstance(one, BaseException):
        assert (str(one), one.args) == (str(other), other.args), where
        alike(vars(one), vars(other), where)
        alike(one.__cause__, other.__cause__, f"{where}.__cause__")
        assert one.__suppress_context__ == other.__suppress_context__, where
    elif isinstance(one, tuple | list):
        assert len(one) == len(other), where
        for i, pair in enumerate(zip(one, other, strict=True)):
            alike(*pair, f"{where}[{i}]")
    elif isinstance(one, dict):
        assert one.keys() == other.keys(), where
        for name in one:
            alike(one[name], other[name], f"{where}.{name}")
    elif dataclasses.is_dataclass(one):
        alike(vars(one), vars(other), where)
    elif isinstance(one, float):
        assert one == other or (one != one and other != other), where
    else:
        assert one == other, where


def arrays(value):
    """All arrays in a value."""
    if isinstance(value, np.ndarray):
        yield value
    elif isinstance(value, tuple | list):
        for entry in value:
            yield from arrays(entry)
    elif isinstance(value, dict):
        yield from arrays(list(value.values()))
    elif dataclasses.is_dataclass(value):
        yield from arrays(vars(value))


@pytest.mark.parametrize("way", WAYS)
def test_it_comes_back_as_it_was(made, way):
    again = WAYS[way](made)
    alike(made, again)
    if dataclasses.is_dataclass(made):
        assert again == made
        assert hash(again) == hash(made)
        assert not any(array.flags.writeable for array in arrays(again)), "a frozen value has an array that is not"
        name = dataclasses.fields(made)[0].name
        with pytest.raises(dataclasses.FrozenInstanceError):
            setattr(again, name, None)
    if isinstance(made, enum.Enum):
        assert again is made


@pytest.mark.parametrize("way", WAYS)
def test_a_cause_of_ours_travels_too(way):
    error = errors.SingularError("limp", pose=())
    error.__cause__ = errors.UnreachableError("far", pose=(), leg=0, shortfall=1.0, correction=None, count=1)
    alike(error, WAYS[way](error))


def test_a_cause_that_cannot_travel_stays_behind_and_the_error_arrives():
    class HereOnlyError(Exception):
        pass

    error = errors.SingularError("limp", pose=(1, 2))
    error.__cause__ = HereOnlyError()
    again = by_pickle(4)(error)
    assert (again.pose, again.__cause__) == ((1, 2), None)


def test_values_differ_where_a_field_does(tmp_path):
    """The `==` of the values: no field is overlooked, NaN is NaN, and another shape is another value."""
    for name, make in MADE.items():
        value = make(tmp_path)
        if not isinstance(value, Frozen) or isinstance(value, legloop.Mechanism | legloop.Convention):
            continue  # what has no arrays has the == of dataclasses
        for field in dataclasses.fields(value):
            other = copy.copy(value)
            vars(other)[field.name] = np.full((7, 7), np.nan)
            assert other != value, (name, field.name)
            assert value != other, (name, field.name)
            assert other == copy.deepcopy(other), (name, field.name)
    assert PLAN.report != PLAN
    assert PLAN != "a plan"


def test_an_array_that_was_handed_in_stays_writeable():
    mine = np.ones(3)
    value = calibration.Unseen("all", {"zero": mine}, True, 1.0)
    mine[0] = 2.0  # no error
    assert not value.direction["zero"].flags.writeable


def test_everything_travels_through_a_pool_of_fresh_processes(tmp_path):
    """There and back, and raised there; `copy.copy` and `inverse_kinematics` run in the other process.

    A pool that cannot read an error waits for ever: the time limit makes that a failure. One process starts in a few
    seconds, on a busy machine in half a minute.
    """
    values = {name: make(tmp_path) for name, make in MADE.items()}
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        there = {name: pool.apply_async(copy.copy, (value,)) for name, value in values.items()}
        for name, value in values.items():
            alike(value, there[name].get(timeout=180), name)
        raised = pool.apply_async(inverse_kinematics, (HIDE, rotation.ry([0.1, 1.4])))
        with pytest.raises(legloop.UnreachableError) as caught_here:
            raised.get(timeout=180)
        assert caught_here.value.pose == (1,)
        assert caught_here.value.shortfall > 0
    spawn = multiprocessing.get_context("spawn")
    with concurrent.futures.ProcessPoolExecutor(1, mp_context=spawn) as executor:
        for call, error in ((far, legloop.UnreachableError), (mirrored, legloop.MirroredError)):
            with pytest.raises(error):
                executor.submit(call).result(timeout=180)
