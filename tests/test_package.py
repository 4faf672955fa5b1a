"""Who may import whom, what an import loads, and that what is promised in public is there."""

import ast
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import legloop

PACKAGE = Path(legloop.__file__).parent
TOP = sorted(PACKAGE.glob("*.py"))
PARTS = ("lesson", "workshop")


def imported(path: Path) -> set[str]:
    """Absolute names of the modules that a file imports, anywhere in it."""
    here = ["legloop", *path.relative_to(PACKAGE).with_suffix("").parts]
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = ".".join(here[: len(here) - node.level]) if node.level else ""
            module = ".".join(part for part in (base, node.module) if part)
            names |= {f"{module}.{alias.name}" for alias in node.names}
    return names


def own_modules(names: set[str]) -> set[str]:
    """The modules of this package among imported names, without what is imported from inside them."""
    found = set()
    for name in names:
        parts = name.split(".")
        if parts[0] == "legloop":
            target = PACKAGE.joinpath(*parts[1:])
            found.add(".".join(parts if target.is_dir() or target.with_suffix(".py").exists() else parts[:-1]))
    return found


@pytest.mark.parametrize("path", TOP, ids=lambda p: p.stem)
def test_the_top_modules_import_numpy_the_standard_library_and_each_other(path):
    for name in imported(path):
        root = name.split(".")[0]
        assert root in {"numpy", "legloop"} or root in sys.stdlib_module_names, f"{path.name} imports {name}"
    assert not any(name.startswith(f"legloop.{part}") for name in own_modules(imported(path)) for part in PARTS)


def test_imports_run_downwards_without_circles():
    graph = {f"legloop.{path.stem}": own_modules(imported(path)) for path in TOP if path.stem != "__init__"}
    placed: set[str] = set()
    while graph:
        free = {name for name, needs in graph.items() if needs <= placed | {"legloop"}}
        assert free, f"a circle among {sorted(graph)}"
        placed |= free
        graph = {name: needs for name, needs in graph.items() if name not in free}
    assert all("legloop" not in own_modules(imported(p)) for p in TOP), "a top module imports the package itself"


@pytest.mark.parametrize("part", PARTS)
def test_lesson_and_workshop_do_not_import_one_another(part):
    other = PARTS[1 - PARTS.index(part)]
    for path in (PACKAGE / part).rglob("*.py"):
        assert not any(name.startswith(f"legloop.{other}") for name in imported(path)), path.name


def test_import_legloop_loads_no_heavy_package():
    code = "import sys, legloop; print(*sorted({m.split('.')[0] for m in sys.modules}))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert "numpy" in loaded
    assert not {"sympy", "matplotlib", "ipywidgets", "IPython", "scipy", "pandas"} & set(loaded)


def test_every_public_name_has_a_docstring_with_its_errors_or_shapes():
    for name in legloop.__all__:
        value = getattr(legloop, name)
        if callable(value):
            assert inspect.getdoc(value), name
    for name in legloop.rotation.__all__:
        assert inspect.getdoc(getattr(legloop.rotation, name)), name


def test_the_package_is_typed():
    assert (PACKAGE / "py.typed").exists()
