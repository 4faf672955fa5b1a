"""The controls that scrubbers are made of, and the table under the picture."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from math import pi
from typing import Any

import ipywidgets as widgets

from .. import rotation
from .._check import Floats, angles, shown

__all__ = ["DEGREE", "ROOM", "RPY", "TILT", "Dial", "OrientationDials", "choice", "dial", "listed", "table"]

DEGREE = pi / 180
ROOM = 1e-9  # radians by which a value may be past the end of its slider: rounding of an angle that was computed
RPY = ("roll", "pitch", "yaw")
TILT = ("tilt", "azimuth", "torsion")


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """An HTML table; the first cell of each row names it."""
    top = "".join(f'<th scope="col">{cell}</th>' for cell in head)
    body = ""
    for first, *rest in rows:
        body += f'<tr><th scope="row">{first}</th>{"".join(f"<td>{cell}</td>" for cell in rest)}</tr>'
    return f"<table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"


class Dial(widgets.FloatSlider):  # type: ignore[misc]  # ipywidgets has no types
    """A slider that keeps the number it was given, in `exact`, to the last digit.

    A front end moves a slider to the nearest of its steps as soon as it shows it, and reports that as if a hand had
    done it. So a change of half a step or less is that rounding and not a wish; `exact` follows all others.
    """

    def __init__(self, **options: Any) -> None:
        super().__init__(**options)
        self.exact: float = self.value
        self.observe(self._moved, "value")

    def put(self, value: float) -> None:
        """Set the slider from the program, to the exact value."""
        self.exact = value
        self.value = value

    def _moved(self, change: Mapping[str, Any]) -> None:
        if abs(change["new"] - self.exact) > self.step / 2 + 1e-9:
            self.exact = change["new"]


def dial(label: str, value: float, low: float, high: float, step: float = 0.1) -> Dial:
    """A slider for an angle: degrees on it, radians in `value`, `low` and `high`; its number can be typed over.

    ValueError for a value outside it, which a slider would move to its end without a word.
    """
    interval = f"[{low / DEGREE:.4g}°, {high / DEGREE:.4g}°]"
    value = float(angles(value, label, (), low - ROOM, high + ROOM, interval))
    return Dial(
        value=value / DEGREE,
        min=low / DEGREE,
        max=high / DEGREE,
        step=step,
        description=f"{label} / °",
        readout_format=".1f",
        continuous_update=True,
        style={"description_width": "128px"},
        layout={"width": "auto", "margin": "0 2px"},
    )


def choice(label: str, value: Any, options: Sequence[tuple[str, Any]]) -> widgets.Dropdown:
    """A list to choose from; ValueError for a value that is not on it."""
    listed(value, label, [option for _, option in options])
    return widgets.Dropdown(
        value=value,
        options=list(options),
        description=label,
        style={"description_width": "128px"},
        layout={"width": "auto", "margin": "0 2px"},
    )


def listed(value: Any, name: str, allowed: Sequence[Any]) -> None:
    """Refuse a value that is none of those that a control offers."""
    if not any(type(value) is type(one) and value == one for one in allowed):
        raise ValueError(f"{name} is {shown(value)}; it must be one of {list(allowed)}")


class OrientationDials:
    """Six sliders that show one orientation under two names: roll, pitch, yaw, or tilt, azimuth, torsion.

    One of the triples is in use and decides; the other is brought up to date when it is called for.
    """

    def __init__(self, R: Floats) -> None:
        half, full = pi / 2, pi
        self.dials = {
            "roll": dial("roll about x", 0.0, -full, full),
            "pitch": dial("pitch about y", 0.0, -half, half),
            "yaw": dial("yaw about z", 0.0, -full, full),
            "tilt": dial("tilt", 0.0, 0.0, full),
            "azimuth": dial("azimuth of tilt", 0.0, -full, full),
            "torsion": dial("torsion", 0.0, -full, full),
        }
        self.names = widgets.ToggleButtons(
            options=[("roll, pitch, yaw", RPY), ("tilt, azimuth, torsion", TILT)],
            style={"button_width": "170px"},
            tooltips=["Turns about the fixed axes x, then y, then z", "Tilt of the pointing axis, and turn about it"],
        )
        self.boxes = {names: widgets.VBox([self.dials[name] for name in names]) for names in (RPY, TILT)}
        self.show(R)
        self.take_over(RPY)

    @property
    def matrix(self) -> Floats:
        """The orientation, from the triple in use."""
        return self._matrix(self.names.value)

    def show(self, R: Floats) -> None:
        """Set both triples to an orientation."""
        self._set(RPY, R)
        self._set(TILT, R)

    def use(self, names: tuple[str, ...]) -> None:
        """Change to one of the two triples; the orientation stays."""
        old = self.names.value
        self.names.value = names
        self.take_over(old)

    def take_over(self, old: tuple[str, ...]) -> None:
        """Let the triple in use say what the triple `old` says, and be seen in its place."""
        if old != self.names.value:
            self._set(self.names.value, self._matrix(old))
        for names, box in self.boxes.items():
            box.layout.display = "" if names == self.names.value else "none"

    def _matrix(self, names: tuple[str, ...]) -> Floats:
        values = [self.dials[name].exact * DEGREE for name in names]
        return rotation.from_rpy(*values) if names == RPY else rotation.from_tilt_torsion(*values)

    def _set(self, names: tuple[str, ...], R: Floats) -> None:
        angles = rotation.to_rpy(R) if names == RPY else rotation.to_tilt_torsion(R)
        for name, angle in zip(names, angles, strict=True):
            self.dials[name].put(float(angle) / DEGREE)
