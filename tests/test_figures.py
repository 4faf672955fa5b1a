"""The drawings that the README and the lessons show are those that the script makes."""

import runpy
from pathlib import Path
from xml.etree import ElementTree

ROOT = Path(__file__).resolve().parent.parent
SVG = "{http://www.w3.org/2000/svg}"


def test_figures_are_current_byte_for_byte(tmp_path):
    runpy.run_path(str(ROOT / ".ci" / "figures.py"))["main"](tmp_path)
    made = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    kept = {path.name: path.read_bytes() for path in (ROOT / "figures").iterdir()}
    assert sorted(made) == sorted(kept)
    for name in made:
        assert made[name] == kept[name], f"figures/{name} is stale: python .ci/figures.py"


def test_each_figure_says_what_it_shows():
    for path in (ROOT / "figures").glob("*.svg"):
        picture = ElementTree.parse(path).getroot()
        assert picture.findtext(f"{SVG}title")
        assert len(picture.findtext(f"{SVG}desc")) > 40
        assert path.stat().st_size < 40_000


def test_the_readme_shows_figures_that_exist_and_shows_them_all():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    for path in (ROOT / "figures").glob("*.svg"):
        assert f"(figures/{path.name})" in text, path.name
