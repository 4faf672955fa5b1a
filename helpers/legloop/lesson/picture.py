"""A finished picture with its words, and how numbers are written in both."""

from __future__ import annotations

import re
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import pi

from .._check import instance, one
from .palette import STYLE

__all__ = ["Picture", "beside", "degrees", "drawing_size", "number", "numbers_in", "stacked", "wrap"]

_STYLE_ELEMENT = f"<style>{STYLE}</style>"
_SIZE = re.compile(r' (?:width|height)="([\d.]+)"')
_NEGATIVE_ZERO = re.compile(r"-(0(?:\.0+)?)(?![.\d])")


@dataclass(frozen=True)
class Picture:
    """A drawing as an SVG text, with the text alternative that says the same.

    Attributes
    ----------
    svg : str
        A complete SVG image that carries its own plate, colours and style, light and dark.
    alt : str
        What the drawing shows, in words and rounded numbers.
    """

    svg: str
    alt: str

    @property
    def bare(self) -> str:
        """The SVG without its style sheet, for a page that holds `palette.STYLE` already.

        A page that receives a style sheet works out the style of all it shows anew; a slider cannot wait for that.
        """
        return self.svg.replace(_STYLE_ELEMENT, "")

    def __repr__(self) -> str:
        return self.alt

    def _repr_svg_(self) -> str:
        return self.svg

    def _repr_mimebundle_(self, include: object = None, exclude: object = None) -> dict[str, str]:  # noqa: ARG002
        """What a notebook stores: the image, and the words as the plain text."""
        return {"image/svg+xml": self.svg, "text/plain": self.alt}


def number(value: float, decimals: int = 2) -> str:
    """A number with fixed decimals, the same on every machine: never -0, and no coin toss at a rounding tie."""
    return numbers_in("%." + str(decimals) + "f", value)


def numbers_in(form: str, *values: float) -> str:
    """As `number`, for all places of a format such as ``"M%.2f %.2f"`` at once."""
    # The nudge is far above the rounding of a product of sines and far below any printed digit.
    text = form % tuple([value + 1e-9 if value >= 0 else value - 1e-9 for value in values])
    return _NEGATIVE_ZERO.sub(r"\1", text) if "-0" in text else text


def degrees(angle: float, decimals: int = 1, *, signed: bool = False) -> str:
    """An angle in radians as text in degrees, with its sign "°"; `signed` writes + before a positive one."""
    text = number(angle * 180 / pi, decimals)
    return ("+" if signed and text.strip("0.") and text[0] != "-" else "") + text + "°"


def wrap(body: str, width: float, height: float, title: str, alt: str, caption: str = "") -> Picture:
    """Put a drawn body on its plate, with title and description inside, as one `Picture`.

    `title` names the picture for those who do not see it, `caption` is written in its upper left corner.
    """
    for name, words in (("title", title), ("caption", caption)):
        instance(words, name, str)
    if caption:
        body += f'<text class="ll-t ll-cap ll-ink" x="14" y="25">{escape(caption)}</text>'
    mark = f"{zlib.crc32((body + alt).encode()):08x}"  # an id must not occur twice in a page
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="ll" role="img" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" aria-labelledby="llt{mark} lld{mark}">'
        f'<title id="llt{mark}">{escape(title)}</title><desc id="lld{mark}">{escape(alt)}</desc>'
        f'{_STYLE_ELEMENT}<rect class="ll-plate" width="{width:g}" height="{height:g}" rx="8"/>{body}</svg>'
    )
    return Picture(svg, alt)


def beside(pictures: Sequence[Picture], gap: float = 12.0) -> Picture:
    """Several pictures in a row, `gap` pixels apart, as one; their text alternatives follow, a line each.

    TypeError for what is no Picture, ValueError for no picture at all or a negative gap.
    """
    widths, heights = _sizes(pictures, gap)
    return _together(pictures, "x", _offsets(widths, gap), sum(widths) + gap * (len(widths) - 1), max(heights))


def stacked(pictures: Sequence[Picture], gap: float = 12.0) -> Picture:
    """As `beside`, one under the other."""
    widths, heights = _sizes(pictures, gap)
    return _together(pictures, "y", _offsets(heights, gap), max(widths), sum(heights) + gap * (len(heights) - 1))


def _sizes(pictures: Sequence[Picture], gap: float) -> tuple[list[float], list[float]]:
    """Widths and heights of pictures that are to be joined."""
    if not isinstance(pictures, Sequence) or not len(pictures):
        raise ValueError("pictures is no list with a Picture in it; give at least one, as [first, second]")
    for i, picture in enumerate(pictures):
        instance(picture, f"pictures[{i}]", Picture)
    if one(gap, "gap") < 0:
        raise ValueError(f"gap is {gap:g} pixels; it must not be negative")
    sizes = [_SIZE.findall(picture.svg)[:2] for picture in pictures]
    return [float(width) for width, _ in sizes], [float(height) for _, height in sizes]


def drawing_size(width: float, height: float) -> tuple[float, float]:
    """Width and height of a drawing in pixels, each in [150, 10000]; ValueError, TypeError for anything else."""
    for name, value in (("width", width), ("height", height)):
        if not 150 <= one(value, name) <= 10_000:
            raise ValueError(f"{name} is {value:g}; it is in pixels and must lie between 150 and 10000")
    return float(width), float(height)


def _offsets(lengths: Sequence[float], gap: float) -> list[float]:
    return [sum(lengths[:i]) + gap * i for i in range(len(lengths))]


def _together(
    pictures: Sequence[Picture], side: str, offsets: Sequence[float], width: float, height: float
) -> Picture:
    """Pictures in one frame of that size, each moved along x or y by its offset."""
    inner = "".join(
        picture.svg.replace("<svg ", f'<svg {side}="{offset:g}" ', 1)
        for picture, offset in zip(pictures, offsets, strict=True)
    )
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" width="{width:g}" '
        f'height="{height:g}" role="group">{inner}</svg>'
    )
    return Picture(svg, "\n".join(picture.alt for picture in pictures))
