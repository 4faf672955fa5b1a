"""JupyterLab as a learner opens it, driven in headless Chromium: what the browser tests and benchmarks share."""

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

NOTEBOOKS = Path(__file__).resolve().parent.parent / "notebooks"
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
RUN = """() => {
  const panel = window.jupyterapp.shell.currentWidget
  const cells = panel.content.widgets.filter(c => c.model.type === 'code')
  const outputs = cells.flatMap((c, i) => Array.from({length: c.model.outputs.length}, (_, k) => {
    const o = c.model.outputs.get(k).toJSON()
    return [i, o.output_type, o.name || '', o.ename || '', Object.keys(o.data || {})]
  }))
  return {done: cells.every(c => c.model.executionCount !== null && c.model.executionState !== 'running'),
          idle: panel.sessionContext.session?.kernel?.status === 'idle', cells: cells.length, outputs}
}"""
LOADED = "() => window.jupyterapp?.shell?.currentWidget?.content?.widgets?.length > 2"
CLEAR = """() => window.jupyterapp.shell.currentWidget.content.widgets.forEach(
  c => c.model.type === 'code' && c.model.clearExecution())"""
SHOW = """(wanted) => {
  const panel = window.jupyterapp.shell.currentWidget
  const index = panel.content.widgets.findIndex(c => c.model.type === 'code' && Array.from(
    {length: c.model.outputs.length}, (_, k) => c.model.outputs.get(k).toJSON()).some(o => (o.data || {})[wanted]))
  panel.content.activeCellIndex = index
  panel.content.scrollToItem(index, 'start')
  return index
}"""
VIEW = "application/vnd.jupyter.widget-view+json"


def chromium() -> str:
    """The browser. Without one the tests are skipped, with the reason; on the build machine that is a failure."""
    found = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    if found is None:
        reason = "no Chromium found: on Debian, apt-get install chromium"
        if os.environ.get("CI"):
            pytest.fail(reason)
        pytest.skip(reason)
    return found


def free_port() -> int:
    """A port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def serve(options: list[str], folder: Path, cwd: Path) -> Iterator[Path]:
    """A JupyterLab server that keeps its settings in `folder`; gives the file with what it prints."""
    own = {"JUPYTER_CONFIG_DIR": str(folder / "config"), "IPYTHONDIR": str(folder / "ipython"), "HOME": str(folder)}
    printed = folder / "server.log"
    with printed.open("w") as log:
        server = subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", *options], env={**os.environ, **own}, cwd=cwd, stdout=log, stderr=log
        )
        try:
            yield printed
        finally:
            server.terminate()
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:  # a busy machine: its kernels take long to stop
                server.kill()
                server.wait()


def printed_address(log: Path) -> str:
    """The address that a server prints once it is up."""
    for _ in range(300):
        if found := re.search(r"http://127\.0\.0\.1:\S+", log.read_text()):
            return found[0]
        time.sleep(0.2)
    pytest.fail("no server:\n" + log.read_text())


@contextmanager
def lab(folder: Path) -> Iterator[str]:
    """A server with a copy of the lessons in `folder`; gives the address of its workspaces."""
    shutil.copytree(NOTEBOOKS, folder / "notebooks", ignore=shutil.ignore_patterns(".*", "__pycache__"))
    settings = folder / "config" / "lab" / "user-settings" / "@jupyterlab" / "apputils-extension"
    settings.mkdir(parents=True)
    quiet = {"fetchNews": "false", "checkForUpdates": False}
    (settings / "notification.jupyterlab-settings").write_text(json.dumps(quiet))
    options = ["--no-browser", "--allow-root", "--expose-app-in-browser", "--IdentityProvider.token="]
    options += [f"--ServerApp.port={free_port()}", str(folder / "notebooks")]
    with serve(options, folder, cwd=folder) as log:
        yield re.sub(r"/lab.*", "/lab/workspaces/", printed_address(log))


@contextmanager
def browser() -> Iterator:
    """Headless Chromium."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        running = play.chromium.launch(executable_path=chromium(), args=FLAGS)
        try:
            yield running
        finally:
            running.close()


def run_all(page, address: str, lesson: str, seconds: float = 300) -> list:
    """Open a lesson, choose Run > Run All Cells from the menu, wait for the end; its outputs as cell, type, names."""
    page.goto(f"{address}{uuid.uuid4().hex}/tree/{lesson}", timeout=60_000)  # a workspace of its own: no other tabs
    page.wait_for_function(LOADED, timeout=60_000)
    page.wait_for_function(f"() => ({RUN})().idle", timeout=60_000)
    page.evaluate(CLEAR)
    page.get_by_role("menuitem", name="Run", exact=True).click()
    page.get_by_role("menuitem", name="Run All Cells", exact=True).click()
    page.wait_for_function(f"() => {{ const s = ({RUN})(); return s.done && s.idle }}", timeout=1000 * seconds)
    return page.evaluate(RUN)["outputs"]


def end(page) -> None:
    """Stop the kernel of the page, so that the next lesson has the machine for itself."""
    page.evaluate("() => window.jupyterapp?.shell?.currentWidget?.sessionContext?.shutdown().catch(() => {})")


def first_scrubber(page):
    """The cell of the first live scrubber, scrolled into view."""
    assert page.evaluate(SHOW, VIEW) >= 0, "no live widget"
    cell = page.locator(".jp-CodeCell").filter(has=page.locator(".noUi-handle")).first
    cell.locator("svg desc").first.wait_for(state="attached", timeout=30_000)
    return cell
