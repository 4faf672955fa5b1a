"""How long a slider takes to change the picture, from key press to painted page, in a real JupyterLab.

    python tests/benchmarks/scrub_latency.py

Rivals in the same page and the same run: the floor, a slider that swaps two ready-made pictures; and what a notebook
usually does, `interact` with a function that draws the same joint, more simply, as a new Matplotlib figure. Printed:
medians and ratios.
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

import nbformat

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from browser import browser, end, lab, run_all
from legloop import deg
from legloop.lesson.cases import bird_hide
from legloop.lesson.scrub import scrub_equation, scrub_joint, scrub_leg, scrub_order, scrub_rotation

PRESSES = 25
CELLS = {
    "floor": """
import ipywidgets as w
from legloop.lesson.scrub import scrub_joint
from legloop.lesson.cases import bird_hide
joint = scrub_joint(bird_hide())
ready = [joint.html, joint.set(yaw=0.3).html]
slider, shown = w.FloatSlider(min=-180, max=180, step=0.1), w.HTML(ready[0])
count = [0]
def swap(_):
    count[0] += 1
    shown.value = ready[count[0] % 2]
slider.observe(swap, "value")
w.HBox([slider, shown])""",
    "scrub_joint": "scrub_joint(bird_hide())",
    "interact, new figure": """
import matplotlib.pyplot as plt
import numpy as np
from legloop import deg, inverse_kinematics, rotation
hide = bird_hide()
view = rotation.ry(24 * deg) @ rotation.rz(-28 * deg)
def arc(p, q, axes, **style):
    along = np.linspace(0, 1, 30)[:, None]
    points = (1 - along) * p + along * q
    points = points / np.linalg.norm(points, axis=1, keepdims=True) @ view.T
    axes.plot(points[:, 1], points[:, 2], **style)
def draw(yaw):
    R = rotation.rz(yaw * deg)
    theta = inverse_kinematics(hide, R)
    figure, axes = plt.subplots(figsize=(4, 4))
    axes.add_patch(plt.Circle((0, 0), 1, fill=False))
    for i, points in enumerate(zip(hide.base_axes, hide.elbow_axes(theta), hide.platform_axes_at(R))):
        arc(*points[:2], axes, color=f"C{i}", lw=7)
        arc(*points[1:], axes, color=f"C{i}", lw=4)
        for name, point in zip("uwv", points):
            axes.text(*(view @ point)[1:], f"${name}_{i + 1}$")
    axes.set_aspect("equal")
    plt.show()
w.interact(draw, yaw=w.FloatSlider(min=-30, max=30, step=0.1));""",
}
# From the key press to the frame in which the change is painted.
WATCH = """([cell, wanted]) => new Promise(resolve => {
  const area = cell.querySelector('.jp-OutputArea')
  let pressed = null
  const press = () => { pressed = performance.now() }
  area.addEventListener('keydown', press, {capture: true, once: true})
  const observer = new MutationObserver(records => {
    if (pressed === null || !records.some(r => [...r.addedNodes].some(
      n => n.nodeType === 1 && (n.matches(wanted) || n.querySelector(wanted))))) return
    observer.disconnect()
    requestAnimationFrame(() => setTimeout(() => resolve(performance.now() - pressed)))
  })
  observer.observe(area, {childList: true, subtree: true})
})"""


def end_to_end() -> dict[str, float]:
    """Median milliseconds of each kind, the kinds taken in turn so that a slow moment hits them alike."""
    cells = [nbformat.v4.new_code_cell(source.strip()) for source in CELLS.values()]
    kernel = {"kernelspec": {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}}
    book = nbformat.v4.new_notebook(cells=cells, metadata=kernel)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with lab(folder) as address, browser() as chrome:
            nbformat.write(book, folder / "notebooks" / "latency.ipynb")
            page = chrome.new_page(viewport={"width": 1366, "height": 4000})
            run_all(page, address, "latency.ipynb")
            cells = page.locator(".jp-CodeCell").all()
            times: dict[str, list[float]] = {kind: [] for kind in CELLS}
            for _ in range(PRESSES):
                for kind, cell in zip(CELLS, cells, strict=True):
                    wanted = "img" if kind.startswith("interact") else "svg"
                    cell.locator(".noUi-handle").first.focus()
                    page.wait_for_timeout(150)
                    waiting = page.evaluate_handle(
                        f"args => ({{answer: ({WATCH})(args)}})", [cell.element_handle(), wanted]
                    )
                    page.keyboard.press("ArrowRight")
                    times[kind].append(waiting.evaluate("w => w.answer"))
            end(page)
    return {kind: statistics.median(values[3:]) for kind, values in times.items()}


def in_the_kernel() -> dict[str, float]:
    """Median milliseconds that one slider move takes in the kernel, picture and table included."""
    cases = {
        "scrub_joint": (scrub_joint(bird_hide()), "yaw"),
        "scrub_rotation": (scrub_rotation(), "angle"),
        "scrub_order": (scrub_order(), "angle_a"),
        "scrub_leg": (scrub_leg(bird_hide()), "theta"),
        "scrub_equation": (scrub_equation(bird_hide()), "yaw"),
    }
    found = {}
    for kind, (scrubber, name) in cases.items():
        times = []
        for k in range(60):
            before = time.perf_counter()
            scrubber.set(**{name: k * deg})
            times.append(1000 * (time.perf_counter() - before))
        found[kind] = statistics.median(times)
    return found


if __name__ == "__main__":
    for kind, milliseconds in in_the_kernel().items():
        print(f"in the kernel, {kind:16} {milliseconds:6.1f} ms")
    page = end_to_end()
    for kind, milliseconds in page.items():
        print(f"key to picture, {kind:22} {milliseconds:6.1f} ms  {milliseconds / page['floor']:5.2f} x the floor")
    print(f"interact takes {page['interact, new figure'] / page['scrub_joint']:.1f} x as long as the scrubber")
