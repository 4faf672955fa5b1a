"""Make every drawing in figures/ anew.

    python .ci/figures.py            into figures/
    python .ci/figures.py FOLDER     somewhere else, as the test does that compares the two

The same SVG text on every machine: coordinates are rounded to hundredths of a pixel.
"""

from __future__ import annotations

import json
import re
import sys
from html import escape
from pathlib import Path

import numpy as np

from legloop import deg, inverse_kinematics, rotation
from legloop.lesson.cases import bird_hide
from legloop.lesson.draw import draw_joint
from legloop.lesson.picture import Picture, wrap
from legloop.lesson.sense import draw_sense

ROOT = Path(__file__).resolve().parent.parent

MAP_ROW = re.compile(
    r"\| (?:\*\*(?P<part>[^*|]+)\*\*|\[?(?P<number>\d\d) · (?P<title>[^],|]+)[^|]*) \|.*\| *(?P<needs>[\d, ]*) \|"
)


def lessons() -> list[tuple[str, list[tuple[str, str, str]]]]:
    """The map as lesson 00 has it: parts, and in each the number, title and needs of its lessons."""
    book = json.loads((ROOT / "notebooks" / "00_start_here.ipynb").read_text(encoding="utf-8"))
    parts: list[tuple[str, list[tuple[str, str, str]]]] = []
    for line in "\n".join("".join(cell["source"]) for cell in book["cells"]).splitlines():
        row = MAP_ROW.fullmatch(line)
        if row and row["part"]:
            parts.append((row["part"], []))
        elif row and parts:
            title = "Start here" if row["title"] == "this page" else row["title"]
            parts[-1][1].append((row["number"], title, row["needs"].strip()))
    return parts


def joint() -> Picture:
    """The whole joint, tilted and turned."""
    hide = bird_hide()
    R = rotation.from_tilt_torsion(18 * deg, 40 * deg, 12 * deg)
    return draw_joint(hide, R, inverse_kinematics(hide, R), size=520)


def one_leg() -> Picture:
    """Leg 1 at home with the names of its angles, and where theta = 0 is."""
    hide = bird_hide()
    return draw_joint(
        hide,
        np.eye(3),
        hide.home_angles(),
        legs=(0,),
        names=True,
        zero=True,
        size=520,
        title="One leg, its angles named",
    )


def elbows() -> Picture:
    """Both elbows of leg 1 seen from outside, the walk that tells them apart, the two circles that cross there."""
    hide = bird_hide()
    return draw_joint(
        hide,
        np.eye(3),
        hide.home_angles(),
        legs=(0,),
        cones=True,
        ghost=True,
        view=(0.0, -20 * deg),
        frames=(),
        size=520,
        title="The two elbows of a leg, seen from outside",
    )


def lesson_map() -> Picture:
    """The lessons in their four parts; what each one needs is written in its box."""
    width, box, gap, top = 226, 46, 10, 44
    written = {path.name[:2] for path in (ROOT / "notebooks").glob("*.ipynb")}
    body, words = [], []
    parts = lessons()
    for column, (part, rows) in enumerate(parts):
        x = 16 + column * (width + 16)
        body.append(f'<g class="ll-ink"><text class="ll-t ll-cap" x="{x}" y="28">{part}</text></g>')
        for row, (number, title, needs) in enumerate(rows):
            y = top + row * (box + gap)
            there = number in written
            needed = f"needs {needs.replace(', ', ' and ')}" if needs else "needs nothing"
            note = needed if there else f"{needed} · to come"
            dash = "" if there else ' stroke-dasharray="4 4"'
            body.append(
                f'<g class="ll-{"ink" if there else "quiet"}">'
                f'<rect class="ll-s" x="{x}" y="{y}" width="{width}" height="{box}" rx="6"{dash}/>'
                f'<text class="ll-t ll-cap" x="{x + 10}" y="{y + 20}">{number} {escape(title)}</text>'
                f'<text class="ll-t ll-m" style="text-anchor:start" x="{x + 10}" y="{y + 38}">{note}</text></g>'
            )
            words.append(f"{number} {title} ({note})")
    height = top + max(len(rows) for _, rows in parts) * (box + gap) + 6
    return wrap("".join(body), 16 + 4 * (width + 16), height, "Map of the lessons", "; ".join(words) + ".")


FIGURES = {"joint": joint, "one_leg": one_leg, "elbows": elbows, "lesson_map": lesson_map, "sense": draw_sense}


def main(folder: Path) -> None:
    """Write all figures into a folder."""
    for name, make in FIGURES.items():
        (folder / f"{name}.svg").write_text(make().svg + "\n", encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else ROOT / "figures")
