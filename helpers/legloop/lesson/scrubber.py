"""What all scrubbers share: sliders, one tested function, one assignment per change, and a message if it fails."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from html import escape
from typing import Any

import ipywidgets as widgets
from numpy.typing import ArrayLike

from .._check import angles, instance, shown, whole
from .controls import DEGREE, ROOM, RPY, TILT, Dial, OrientationDials, listed
from .legs import one_orientation
from .palette import DARK, LIGHT, STYLE
from .picture import Picture

__all__ = ["Scrubber", "Shown", "State"]

State = dict[str, Any]
Shown = tuple[Picture, str]
"""A picture and the HTML under it."""

# The table stands on the page, not on the picture's plate, so it takes the page's text colour.
_PAGE = (
    ".ll-box{line-height:1.35;font-size:13px}.ll-box svg{display:block;max-width:100%;height:auto}"
    ".ll-box table{border-collapse:collapse;margin:6px 0 0;font-variant-numeric:tabular-nums}"
    ".ll-box th,.ll-box td{padding:1px 9px;text-align:right;font-weight:normal}"
    ".ll-box th{font-weight:600}.ll-box thead th{border-bottom:1px solid currentColor;white-space:nowrap}"
    f".ll-alert{{background:{LIGHT['plate']};color:{LIGHT['leg2']};border:2px solid;padding:4px 8px;margin:0 0 6px}}"
    f'body[data-jp-theme-light="false"] .ll-alert{{background:{DARK["plate"]};color:{DARK["leg2"]}}}'
)


class Scrubber:
    """Sliders and what they show.

    Parameters
    ----------
    dials : mapping from name to control
        Made by `dial` and `choice`; the names are those of the state.
    show : function
        Takes the state and gives the picture and the HTML that stands under it. Pure, and tested by itself.
    orientation : OrientationDials, optional
        Six more sliders, which give the state its ``R``.
    wide : bool
        Whether the picture is too wide to stand beside the controls.

    Attributes
    ----------
    widget : ipywidgets.Widget
        What a live notebook shows.
    picture : Picture
        The picture shown now; its ``alt`` says in words what it shows.
    message : str
        What went wrong at the last change, "" if nothing.
    dials : dict from name to control
        Every slider (in degrees) and list, for who wants to move them as the front end does.
    names : ipywidgets.ToggleButtons or None
        The switch between roll, pitch, yaw and tilt, azimuth, torsion.
    output : ipywidgets.HTML
        What each change assigns to, once.
    """

    def __init__(
        self,
        dials: Mapping[str, widgets.ValueWidget],
        show: Callable[[State], Shown],
        *,
        orientation: OrientationDials | None = None,
        wide: bool = False,
    ) -> None:
        instance(dials, "dials", Mapping, "give a dict of name and control")  # type: ignore[type-abstract]
        for name, control in dials.items():
            instance(control, f"dials[{name!r}]", widgets.ValueWidget, "make one with dial or choice")
        if not callable(show):
            raise TypeError(f"show is {shown(show)}; it must be a function of the state")
        self._show = show
        self._orientation = orientation
        self._named = dict(dials)
        self.dials = {**(orientation.dials if orientation else {}), **self._named}
        self._held = False
        self._page = ""
        self.picture = Picture("", "")
        self.message = ""
        self.output = widgets.HTML()
        self.reset_button = widgets.Button(description="Reset", tooltip="Back to the start", layout={"width": "8em"})
        self.reset_button.on_click(lambda _: self.reset())
        self.names = orientation.names if orientation else None
        above: list[widgets.Widget] = []
        if orientation is not None:
            above = [orientation.names, *orientation.boxes.values()]
            orientation.names.observe(self._renamed, "value")
        for control in self.dials.values():
            control.observe(self._changed, "value")
        self._start = {name: getattr(control, "exact", control.value) for name, control in self.dials.items()}
        self.widget = _arrange(above, [*self._named.values(), self.reset_button], self.output, wide)
        self._compute()  # here an error is the caller's to see

    @property
    def state(self) -> State:
        """What the controls say: angles in radians, the orientation as the matrix ``R``."""
        values = {
            name: control.exact * DEGREE if isinstance(control, Dial) else control.value
            for name, control in self._named.items()
        }
        if self._orientation is not None:
            values["R"] = self._orientation.matrix
        return values

    @property
    def alt(self) -> str:
        """The text alternative of the picture shown now."""
        return self.picture.alt

    @property
    def html(self) -> str:
        """What stands beside the controls now, message included."""
        return str(self.output.value)

    def set(self, *, R: ArrayLike | object | None = None, **values: Any) -> Scrubber:
        """Move controls as a hand would, all at once; angles in radians, an orientation as the matrix ``R``.

        Angles of the orientation that are not given stay as they are. Returns the scrubber. Raises ValueError for
        a name that it does not have, a value outside its range, or two descriptions of the orientation at once;
        TypeError for what is no number.
        """
        for name, value in values.items():
            if name not in self.dials:
                raise ValueError(f"there is no control {name!r}; there are: {', '.join(self.dials)}")
            _check_range(name, value, self.dials[name])
        triples = [triple for triple in (RPY, TILT) if any(name in values for name in triple)]
        if R is not None and self._orientation is None:
            raise ValueError("this scrubber shows no orientation R")
        if len(triples) + (R is not None) > 1:
            raise ValueError("give the orientation once: R, or roll, pitch, yaw, or tilt, azimuth, torsion")
        turn = None if R is None else one_orientation(R)
        with self._hold():
            if self._orientation is not None and turn is not None:
                self._orientation.show(turn)
            if self._orientation is not None and triples:
                self._orientation.use(triples[0])
            for name, value in values.items():
                control = self.dials[name]
                _put(control, value / DEGREE if isinstance(control, Dial) else value)
        self._update()
        return self

    def reset(self) -> None:
        """Everything back to where it started."""
        with self._hold():
            if self._orientation is not None:
                self._orientation.use(RPY)
            for name, value in self._start.items():
                _put(self.dials[name], value)
        self._update()

    @contextmanager
    def _hold(self) -> Iterator[None]:
        """Let several controls move before anything is computed."""
        before, self._held = self._held, True
        try:
            yield
        finally:
            self._held = before

    def _renamed(self, change: Mapping[str, Any]) -> None:
        """The other names are wanted: take the orientation over from the old ones."""
        if self._orientation is not None:
            with self._hold():
                self._orientation.take_over(change["old"])
            self._changed(change)

    def _changed(self, _: object) -> None:
        if not self._held:
            self._update()

    def _update(self) -> None:
        """Compute, then assign once. An exception would vanish in the front end, so it is shown instead."""
        try:
            self._compute()
        except Exception as error:  # whatever it is, the reader must see it
            self.message = f"{type(error).__name__}: {error}"
            alert = f'<div class="ll-alert" role="alert">{escape(self.message)}</div>'
            self.output.value = f'<div class="ll-box">{alert}{self._page}</div>'

    def _compute(self) -> None:
        picture, below = self._show(self.state)
        self.message, self.picture = "", picture
        self._page = picture.bare + below
        self.output.value = f'<div class="ll-box">{self._page}</div>'

    def __repr__(self) -> str:
        return self.picture.alt

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, Any]:  # noqa: ARG002
        """The live widget where there is a front end; for any other reader the picture and its words."""
        live = self.widget._repr_mimebundle_()
        return {**live, **self.picture._repr_mimebundle_()}


def _arrange(
    above: list[widgets.Widget], below: list[widgets.Widget], output: widgets.Widget, wide: bool
) -> widgets.Widget:
    """Controls beside a square picture, or in two columns over a wide one: both fit a screen of 1366 x 768."""
    style = widgets.HTML(f"<style>{STYLE}{_PAGE}</style>", layout={"display": "none"})
    if not wide:
        left = widgets.VBox([style, *above, *below], layout={"width": "360px", "padding": "4px 10px 0 0"})
        return widgets.HBox([left, output], layout={"align_items": "flex-start", "flex_flow": "row wrap"})
    half = (len(above) + len(below) + 1) // 2
    columns = (above, below) if above else (below[:half], below[half:])
    boxes = [widgets.VBox(column, layout={"width": "360px", "padding": "0 10px 4px 0"}) for column in columns]
    return widgets.VBox([style, widgets.HBox(boxes, layout={"flex_flow": "row wrap"}), output])


def _put(control: widgets.ValueWidget, value: Any) -> None:
    if isinstance(control, Dial):
        control.put(value)
    else:
        control.value = value


def _check_range(name: str, value: Any, control: widgets.ValueWidget) -> None:
    if isinstance(control, Dial):
        low, high = control.min * DEGREE - ROOM, control.max * DEGREE + ROOM
        angles(value, name, (), low, high, f"[{control.min:.4g}°, {control.max:.4g}°], as its slider does")
    elif isinstance(control, widgets.Dropdown | widgets.SelectionSlider):
        listed(value, name, [option for _, option in control.options])
    elif isinstance(control, widgets.IntSlider) and whole(value, name, control.min) > control.max:
        raise ValueError(f"{name} is {value}; its slider ends at {control.max}")
