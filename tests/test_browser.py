"""Every lesson in a real browser: all cells run, and the first scrubber follows the keyboard and the mouse."""

import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest

from browser import (
    NOTEBOOKS,
    VIEW,
    browser,
    chromium,
    end,
    first_scrubber,
    free_port,
    lab,
    printed_address,
    run_all,
    serve,
)
from common import FULL
from legloop import deg, inverse_kinematics, rotation
from legloop.lesson.cases import bird_hide
from legloop.lesson.controls import Dial
from legloop.lesson.palette import DARK, LIGHT
from legloop.lesson.scrub import Scrubber
from test_lessons import LESSONS, cells, run

ARTIFACTS = Path(__file__).resolve().parent.parent / ".artifacts"
SCREEN = {"width": 1366, "height": 768}


@pytest.fixture(scope="module")
def chrome():
    chromium()
    with browser() as running:
        yield running


@pytest.fixture(scope="module")
def light_lab(tmp_path_factory):
    chromium()
    with lab(tmp_path_factory.mktemp("light")) as address:
        yield address


@pytest.fixture
def page(chrome, request):
    context = chrome.new_context(viewport=SCREEN)
    page = context.new_page()
    yield page
    if getattr(request.node, "failed", True):
        ARTIFACTS.mkdir(exist_ok=True)
        page.screenshot(path=ARTIFACTS / f"{re.sub(r'[^a-z0-9_]+', '-', request.node.name)}.png")
    end(page)
    context.close()


def first_scrubber_here(lesson: Path, monkeypatch) -> Scrubber:
    """The same scrubber in this process: the lesson's cells, executed up to the one that shows it."""
    monkeypatch.chdir(NOTEBOOKS)
    space: dict = {"__name__": "lesson"}
    for cell in cells(lesson):
        if cell["cell_type"] == "code":
            shown = run(cell["source"], space)
            if isinstance(shown, Scrubber):
                return shown
    pytest.fail("the lesson has no scrubber")


def readouts(cell) -> dict[str, float]:
    """Label and value of every slider, as the page shows them."""
    found = {}
    for slider in cell.locator(".widget-hslider:visible").all():
        label = slider.locator(".widget-label").inner_text().strip()
        found[label] = float(slider.locator(".widget-readout").inner_text().replace("−", "-"))
    return found


def described(cell) -> list[str]:
    return [text.strip() for text in cell.locator("svg desc").all_text_contents()]


def comes_true(page, holds: Callable[[], bool], otherwise: str) -> None:
    """Wait until something holds; a busy machine may take its time, a quiet one leaves at once."""
    for _ in range(600):
        if holds():
            return
        page.wait_for_timeout(50)
    pytest.fail(otherwise)


def said_here(cell, here: Scrubber) -> list[str]:
    """What the scrubber of this process says with its first slider put where the page's is."""
    label, value = next(iter(readouts(cell).items()))
    name = next(name for name, dial in here.dials.items() if dial.description == label)
    if abs(here.dials[name].value - value) > 0.06:  # else it has not moved: the page shows one decimal of it
        here.set(**{name: value * deg if isinstance(here.dials[name], Dial) else int(value)})
    return [text.strip() for text in re.findall(r"<desc[^>]*>(.*?)</desc>", here.html, re.DOTALL)]


def follows(page, cell, here: Scrubber, before: list[str]) -> list[str]:
    """The picture has changed, and says what the same scrubber says in this process; what that is."""
    comes_true(page, lambda: described(cell) != before, "the picture did not change")
    comes_true(page, lambda: described(cell) == said_here(cell, here), f"not as here: {said_here(cell, here)}")
    return described(cell)


def has_scrubber(lesson: Path) -> bool:
    return any("scrub_" in cell["source"] for cell in cells(lesson) if cell["cell_type"] == "code")


TICKS = (
    "() => new Promise(done => { let k = 0; const id = setInterval(() => ++k > 30 && done(clearInterval(id)), 60) })"
)
"""As many ticks of the page's own clock as a film has in 30 of its frames: a slow page has slow ticks."""


def plays_and_pauses(page, cell, here: Scrubber) -> None:
    """A film that is played moves slider and picture together, on and on, until it is paused."""
    play, _, again = cell.locator(".widget-play button").all()
    again.click()  # at its end it begins anew, so that it cannot end while a slow machine looks
    play.click()
    for _ in range(3):
        frame, shown = readouts(cell)["frame"], described(cell)
        comes_true(page, lambda before=frame: readouts(cell)["frame"] != before, "the film does not move its slider")
        comes_true(page, lambda before=shown: described(cell) != before, "the film does not move the picture")
    assert play.locator("i").get_attribute("class") == "fa fa-pause"
    play.click()
    comes_true(page, lambda: play.locator("i").get_attribute("class") == "fa fa-play", "it does not pause")
    page.evaluate(TICKS)
    frame = readouts(cell)["frame"]
    comes_true(page, lambda: described(cell) == said_here(cell, here), "slider and picture have come apart")
    page.evaluate(TICKS)
    assert readouts(cell)["frame"] == frame, "paused, it goes on"
    assert described(cell) == said_here(cell, here)


# By default one with a film; the tests after this have a joint and a turn. In full all lessons, also those without a
# scrubber, of which a page does what the replay by nbval has done already.
@pytest.mark.parametrize(
    "lesson",
    [path for path in LESSONS if FULL or path.stem.startswith("33")],
    ids=lambda path: path.stem,
)
def test_lesson_runs_and_its_first_scrubber_follows(lesson, page, light_lab, monkeypatch):
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(str(error)))
    outputs = run_all(page, light_lab, lesson.name)
    assert not [o for o in outputs if o[1] == "error" or o[2] == "stderr"]
    if not has_scrubber(lesson):
        assert not faults
        return
    assert any(VIEW in o[4] for o in outputs)

    cell = first_scrubber(page)
    assert not page.get_by_text("Error displaying widget").count()
    here = first_scrubber_here(lesson, monkeypatch)
    start = described(cell)
    assert start == said_here(cell, here)

    handle = cell.locator(".noUi-handle").first
    handle.focus()
    for _ in range(6):
        page.keyboard.press("ArrowRight")
    pressed = follows(page, cell, here, start)

    box = handle.bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + 30, box["y"] + box["height"] / 2, steps=8)
    page.mouse.up()
    follows(page, cell, here, pressed)

    cell.get_by_role("button", name="Reset").click()
    comes_true(page, lambda: described(cell) == start, "Reset does not lead back to the start")
    if cell.locator(".widget-play").count():
        plays_and_pauses(page, cell, here)
    assert cell.locator(".ll-plate").first.evaluate("e => getComputedStyle(e).fill") == rgb(LIGHT["plate"])
    assert not faults


def test_the_angles_in_the_page_are_those_of_the_helper(page, light_lab):
    """Read off the page as a person would: three sliders, three angles in a table."""
    run_all(page, light_lab, "00_start_here.ipynb")
    cell = first_scrubber(page)
    for slider, presses in ((0, 10), (1, 24), (2, 6)):
        cell.locator(".noUi-handle").nth(slider).focus()
        for _ in range(presses):
            page.keyboard.press("ArrowRight")
    roll, pitch, yaw = (value * deg for value in list(readouts(cell).values())[:3])
    assert min(roll, pitch, yaw) > 0
    theta = inverse_kinematics(bird_hide(), rotation.from_rpy(roll, pitch, yaw))
    wanted = [f"{angle / deg:.2f}°" for angle in theta]
    rows = cell.locator("table tr").filter(has_text="leg ")
    comes_true(
        page,
        lambda: [row.locator("td").first.inner_text() for row in rows.all()] == wanted,
        f"the page lacks {wanted}",
    )


def test_pictures_follow_the_theme_of_the_page(page, light_lab):
    run_all(page, light_lab, "10_rotation_matrices.ipynb")
    cell = first_scrubber(page)

    def painted(colours: dict[str, str]) -> bool:
        plate = cell.locator(".ll-plate").first.evaluate("e => getComputedStyle(e).fill")
        leg = cell.locator(".ll-leg1").first.evaluate("e => getComputedStyle(e).color")
        return (plate, leg) == (rgb(colours["plate"]), rgb(colours["leg1"]))

    assert painted(LIGHT)
    for theme, colours in (("JupyterLab Dark", DARK), ("JupyterLab Light", LIGHT)):
        page.evaluate("theme => window.jupyterapp.commands.execute('apputils:change-theme', {theme})", theme)
        comes_true(page, lambda colours=colours: painted(colours), f"{theme}: the picture has other colours")


def rgb(colour: str) -> str:
    """#rrggbb as a browser computes it."""
    return f"rgb({int(colour[1:3], 16)}, {int(colour[3:5], 16)}, {int(colour[5:7], 16)})"


def test_the_run_command_of_the_readme_opens_the_first_lesson(page, tmp_path):
    """Its last step, with the Python of this run, on a free port; the address that it prints is what is opened."""
    readme = (NOTEBOOKS.parent / "README.md").read_text(encoding="utf-8")
    command = re.search(r"## Run\n.*?```sh\n(.*?)\n```", readme, re.DOTALL)[1]
    program, *options = shlex.split(command.rsplit("&&", 1)[1])
    assert program == ".venv/bin/jupyter"
    assert options[0] == "lab"
    with serve(
        [*options[1:], "--no-browser", f"--ServerApp.port={free_port()}"], tmp_path, cwd=NOTEBOOKS.parent
    ) as log:
        page.goto(printed_address(log), timeout=60_000)
        page.get_by_role("heading", name="00 · Start here").wait_for(timeout=60_000)
