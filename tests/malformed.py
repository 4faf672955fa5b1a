"""How the tables of malformed calls are written: a good call of a function, and rows that spoil one thing of it."""

from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from legloop import rotation
from legloop.lesson.cases import bird_hide

HIDE = bird_hide()
I3 = np.eye(3)
HOME = HIDE.home_angles()
MIRROR = np.diag([1.0, 1.0, -1.0])
SHEAR = np.array([[1, 1e-3, 0], [0, 1, 0], [0, 0, 1]])
SHEARED = SHEAR / np.linalg.norm(SHEAR, axis=0)
WITH_NAN = np.where(np.eye(3) > 0, np.nan, 0.0)
FAR = np.tile(I3, (5000, 1, 1))
FAR[4321] *= 2
POSES = rotation.from_tilt_torsion(
    np.linspace(0.05, 0.4, 15), np.arange(15) * 1.3, np.linspace(-0.3, 0.3, 15), turns=True
)

V, T = ValueError, TypeError
NO_PATH = (
    ("none", {"path": None}, T, r"path is None; give the name of a file as text or as a pathlib\.Path"),
    ("a number", {"path": 7}, T, r"path is 7; give the name of a file"),
    ("empty", {"path": ""}, V, r"path is ''; it names no file"),
)

Error = type[Exception]
Change = Mapping[str, Any] | Callable[[], object]


class Spoilt(NamedTuple):
    """A row: what it is called, what is changed of the good call (or a call of its own), the error, its message."""

    id: str
    change: Change
    error: Error
    message: str


class Of(NamedTuple):
    """The rows of one function; ``call(**good)`` passes."""

    call: Callable[..., Any]
    good: Mapping[str, Any]
    rows: tuple[Spoilt, ...]


def of(call: Callable[..., Any], good: Mapping[str, Any], *rows: tuple[str, Change, Error, str]) -> Of:
    """Shortly written: `Of`."""
    return Of(call, good, tuple(Spoilt(*row) for row in rows))
