"""Run lessons and store their outputs in the one form that the repository keeps.

    python .ci/lessons.py                 every lesson in notebooks/
    python .ci/lessons.py notebooks/10*   these

A lesson is executed in a fresh kernel of this Python, in its own folder. Kept: text, pictures, tags. Removed:
widget views and widget state (a reader without a kernel would see an error in their place; the picture beside
them stays), timing, the kernel's version. Cells are numbered, so that a change shows as a
change of that cell only.
"""

from __future__ import annotations

import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

ROOT = Path(__file__).resolve().parent.parent
VIEW = "application/vnd.jupyter.widget-view+json"


def refresh(path: Path) -> None:
    """Execute one lesson and write it back, normalised."""
    book = nbformat.read(path, as_version=4)
    client = NotebookClient(
        book,
        timeout=300,
        kernel_name="python3",
        resources={"metadata": {"path": path.parent}},
        coalesce_streams=True,
        extra_arguments=["--log-level=ERROR"],  # what the kernel says of itself is no output of a lesson
    )
    client.execute()
    number = path.name[:2]
    for position, cell in enumerate(book.cells):
        cell.id = f"{number}-{position:03d}"
        cell.metadata = {"tags": cell.metadata["tags"]} if cell.metadata.get("tags") else {}
        if cell.cell_type == "code":
            cell.outputs = [kept for kept in map(normalised, cell.outputs) if kept]
    book.metadata = {
        "kernelspec": {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    book.nbformat_minor = 5
    nbformat.validate(book)
    nbformat.write(book, path)


def normalised(output: nbformat.NotebookNode) -> nbformat.NotebookNode | None:
    """One output without what changes from run to run; None when nothing is left of it."""
    if "data" in output:
        output.data.pop(VIEW, None)
        output.metadata = {}
        return output if output.data else None
    return output


if __name__ == "__main__":
    chosen = [Path(name).resolve() for name in sys.argv[1:]] or sorted((ROOT / "notebooks").glob("*.ipynb"))
    for lesson in chosen:
        refresh(lesson)
        print(f"{lesson.name}: {lesson.stat().st_size / 1000:.0f} kB")
