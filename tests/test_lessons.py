"""The lessons as a whole: their form, and that each exercise can be solved and is marked fairly.

nbval replays every lesson in a kernel and compares the stored text; here the exercises are put to the test, with
each folded solution in the place of its stub.
"""

import ast
import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from common import FULL
from wrong_answers import WRONG

NOTEBOOKS = Path(__file__).resolve().parent.parent / "notebooks"
LESSONS = sorted(NOTEBOOKS.glob("*.ipynb"))
SOLUTION = re.compile(r"<summary>Solution</summary>.*?```python\n(.*?)```", re.DOTALL)
by_name = pytest.mark.parametrize("path", LESSONS, ids=lambda p: p.stem)


def cells(path: Path) -> list[dict]:
    book = json.loads(path.read_text(encoding="utf-8"))
    return [{**cell, "source": "".join(cell["source"])} for cell in book["cells"]]


def tagged(cell: dict, tag: str) -> bool:
    return tag in cell["metadata"].get("tags", [])


def run(source: str, space: dict) -> object:
    """Execute a cell; the value of its last line if that is an expression."""
    tree = ast.parse(source)
    last = tree.body.pop() if tree.body and isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "<cell>", "exec"), space)
    return eval(compile(ast.Expression(last.value), "<cell>", "eval"), space) if last else None


def wrong_answers(path: Path, solution: str) -> Iterator[tuple[str, str]]:
    """Typical wrong answers made from a solution, and the slip to be named, which may be empty."""
    function = re.search(r"def (\w+)", solution)[1]
    changes = WRONG[path.name[:2]][function]
    assert len(changes) >= 2, f"{function} has too few wrong answers"
    for old, new, *slip in changes:
        assert old in solution, f"{function} has no {old!r} any more"
        yield solution.replace(old, new, 1), *(slip or [""])


@by_name
def test_form(path):
    book = json.loads(path.read_text(encoding="utf-8"))
    code = [cell for cell in cells(path) if cell["cell_type"] == "code"]
    assert "widgets" not in book["metadata"], "widget state is stored"
    assert all(len(cell["source"].splitlines()) <= 15 for cell in code), "a cell is over 15 lines"
    outputs = [output for cell in code for output in cell["outputs"]]
    assert outputs, "no output is stored, so nothing is compared"
    assert not [o for o in outputs if o["output_type"] == "error" or o.get("name") == "stderr"]
    assert not [o for o in outputs if "application/vnd.jupyter.widget-view+json" in o.get("data", {})]
    assert all("text/plain" in o["data"] for o in outputs if "data" in o), "a picture without words"
    proofs = [cell for cell in code if "assert" in cell["source"]]
    assert len(proofs) >= max(3, len(code) // 4), "too few cells that can fail"
    assert path.stat().st_size < 300_000


@by_name
def test_links_lead_somewhere(path):
    for text in (cell["source"] for cell in cells(path) if cell["cell_type"] == "markdown"):
        for target in re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", text):
            assert (NOTEBOOKS / target).exists(), target


BY_HAND = (
    "Turn the platform by hand only with the motors unplugged from their drivers: a motor that is turned feeds "
    "voltage into its driver."
)


@by_name
def test_who_turns_the_joint_by_hand_reads_the_rule(path):
    words = " ".join(cell["source"] for cell in cells(path) if cell["cell_type"] == "markdown")
    words = re.sub(r"[\s>]+", " ", words)
    turned = re.search(
        r"(turn|led|lead) (the|each|one) (platform|joint|camera|link|motor)[^.]{0,20} by hand", words, re.I
    )
    if turned:
        assert BY_HAND in words, turned[0]


@pytest.mark.parametrize("path", [*LESSONS, NOTEBOOKS.parent / "README.md"], ids=lambda p: p.stem)
def test_right_and_left_are_those_of_the_walk(path):
    words = re.sub(r"[\s>]+", " ", path.read_text(encoding="utf-8"))
    assert not re.search(r"(seen from outside|look at the centre)[^.]{0,20} platform up", words)


@by_name
def test_stubs_and_wrong_answers_are_marked_wrong_and_solutions_right(path, monkeypatch):
    monkeypatch.chdir(NOTEBOOKS)
    book = cells(path)
    space: dict = {"__name__": "lesson"}
    stubs = verdicts = 0
    for position, cell in enumerate(book):
        if cell["cell_type"] != "code":
            continue
        if tagged(cell, "exercise"):
            run(cell["source"], space)
            stubs += 1
        elif tagged(cell, "check"):
            before = run(cell["source"], space)
            assert not before.ok, f"the stub of cell {position} passes"
            assert before.message
            solution = next(found for later in book[position:] if (found := SOLUTION.search(later["source"])))[1]
            for wrong, slip in list(wrong_answers(path, solution))[: None if FULL else 1]:
                run(wrong, space)
                verdict = run(cell["source"], space)
                assert not verdict.ok, f"a wrong answer passes:\n{wrong}"
                assert not slip or slip in verdict.slips, f"{slip} is not named in: {verdict.message}\n{wrong}"
            run(solution, space)
            after = run(cell["source"], space)
            assert after.ok, f"the solution after cell {position}: {after.message}"
            verdicts += 1
        else:
            run(cell["source"], space)
    assert verdicts == stubs
    assert verdicts >= 3


def test_readme_and_lesson_00_map_the_same_lessons_with_the_times_that_these_name():
    row = re.compile(r"\| \[?(\d\d) (?:· )?([^\],|]+).*")
    readme = (NOTEBOOKS.parent / "README.md").read_text(encoding="utf-8")
    first = "\n".join(cell["source"] for cell in cells(NOTEBOOKS / "00_start_here.ipynb"))
    maps = [{m[1]: m for m in map(row.fullmatch, text.splitlines()) if m} for text in (readme, first)]
    assert list(maps[0]) == list(maps[1])
    written = {path.name[:2]: path for path in LESSONS}
    for number in maps[0]:
        here, there = (found[number] for found in maps)
        assert here[2].strip() == there[2].strip() or number == "00"
        assert ("to come" in here[0]) == ("to come" in there[0]) == (number not in written), number
        if number in written:
            minutes = re.search(r"\*\*Time\*\*\s+about\s+(\d+)\s+minutes", cells(written[number])[0]["source"])[1]
            assert f" {minutes} min " in here[0]
            assert f" {minutes} |" in there[0]
            assert f"](notebooks/{written[number].name})" in here[0]
