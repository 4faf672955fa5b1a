"""The colours of every picture, once for light themes and once for dark ones, and the style sheet made of them.

Chosen so that the three legs stay apart for colour-blind eyes too, and so that everything that carries meaning
stands out from the plate and from the ball. `tests/test_draw.py` holds the bounds.
"""

from __future__ import annotations

__all__ = ["DARK", "LIGHT", "LINES", "PATTERNS", "STYLE"]

LIGHT = {
    "plate": "#fffefb",
    "ball": "#f6f4ee",
    "ink": "#22262b",
    "quiet": "#6c7076",
    "leg1": "#2a5bd7",
    "leg2": "#b2500a",
    "leg3": "#5b2477",
    "back1": "#6b84d2",
    "back2": "#b97a45",
    "back3": "#9a7eaa",
}

DARK = {
    "plate": "#181c21",
    "ball": "#20252b",
    "ink": "#eceae4",
    "quiet": "#979da5",
    "leg1": "#7cc8ff",
    "leg2": "#f2bd4a",
    "leg3": "#d4689f",
    "back1": "#52809f",
    "back2": "#957637",
    "back3": "#a25d84",
}

PATTERNS = {1: "", 2: "100 0", 3: "0.1 6"}
"""What runs along the middle of a leg's links, in the plate's colour: nothing, a line, dots (a dash array)."""

LINES = {1: "100 0", 2: "9 4", 3: "0.1 4"}
"""How the line of a leg runs in a plot: through, in dashes, in dots (a dash array)."""


def _variables(palette: dict[str, str]) -> str:
    return ";".join(f"--ll-{role}:{colour}" for role, colour in palette.items())


def _use(attribute: str, role: str) -> str:
    """The light colour first, for renderers that know no variables; the others take the second."""
    return f"{attribute}:{LIGHT[role]};{attribute}:var(--ll-{role})"


# JupyterLab marks its own theme on the body and asks nobody else; a file that stands alone, and a picture that
# JupyterLab shows as an image, follow what the reader's system prefers. Plate and colours change together, so
# that a picture is legible wherever it lands.
STYLE = "".join(
    [
        f".ll{{{_variables(LIGHT)}}}",
        f"@media(prefers-color-scheme:dark){{.ll{{{_variables(DARK)}}}}}",
        f'body[data-jp-theme-light="true"] .ll{{{_variables(LIGHT)}}}',
        f'body[data-jp-theme-light="false"] .ll{{{_variables(DARK)}}}',
        f".ll-plate{{{_use('fill', 'plate')}}}",
        f".ll-ball{{{_use('fill', 'ball')}}}",
        f".ll-ink{{{_use('color', 'ink')}}}",
        f".ll-quiet{{{_use('color', 'quiet')}}}",
        *(f".ll-{part}{i}{{{_use('color', f'{part}{i}')}}}" for part in ("leg", "back") for i in (1, 2, 3)),
        ".ll-s{fill:none;stroke:currentColor;stroke-linecap:round;stroke-linejoin:round}",
        ".ll-f{fill:currentColor}",
        f".ll-gap{{fill:none;stroke-linecap:butt;{_use('stroke', 'ball')}}}",
        f".ll-core{{fill:none;stroke-linecap:round;{_use('stroke', 'plate')}}}",
        f".ll-o{{{_use('fill', 'plate')};stroke:currentColor}}",
        ".ll-t{font:15px sans-serif;text-anchor:middle;fill:currentColor;paint-order:stroke;stroke-width:3.5px;"
        f"stroke-linejoin:round;{_use('stroke', 'plate')}}}",
        ".ll-i{font-style:italic}",
        ".ll-m{font-size:13px}",
        ".ll-cap{text-anchor:start;font-weight:600}",
        ".ll-sub{font-size:11px;font-style:normal}",
    ]
)
