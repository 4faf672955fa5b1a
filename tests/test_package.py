"""Who may import whom, what an import loads, and that what is promised in public is there."""

import ast
import inspect
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import legloop

PACKAGE = Path(legloop.__file__).parent
ROOT = Path(__file__).resolve().parent.parent
PARTS = ("lesson", "workshop")
CORE = sorted(p for p in PACKAGE.rglob("*.py") if p.relative_to(PACKAGE).parts[0] not in PARTS)


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


@pytest.mark.parametrize("path", CORE, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_the_core_imports_numpy_the_standard_library_and_each_other(path):
    for name in imported(path):
        root = name.split(".")[0]
        assert root in {"numpy", "legloop"} or root in sys.stdlib_module_names, f"{path.name} imports {name}"
    assert not any(name.startswith(f"legloop.{part}") for name in own_modules(imported(path)) for part in PARTS)


def circles(graph: dict[str, set[str]]) -> set[str]:
    """What is left of a graph when everything whose needs are met has been taken away, again and again."""
    while free := {name for name, needs in graph.items() if not needs & graph.keys()}:
        graph = {name: needs for name, needs in graph.items() if name not in free}
    return set(graph)


def test_imports_run_downwards_without_circles():
    modules: dict[str, set[str]] = {}
    units: dict[str, set[str]] = {}  # the modules at the top and the packages beside them, each as one
    for path in CORE:
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        if parts == ("__init__",):
            continue
        needs = own_modules(imported(path))
        assert "legloop" not in needs, f"{path.name} imports the package itself"
        modules[".".join(["legloop", *parts]).removesuffix(".__init__")] = needs
        units.setdefault(parts[0], set()).update({name.split(".")[1] for name in needs} - {parts[0]})
    assert len(modules) > len(units) > 10
    assert not circles(modules)
    assert not circles(units)


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


def test_each_planted_fault_quotes_what_its_module_holds_once():
    """Else the fault cannot be planted, and nothing shows that the tests would notice it."""
    faults = tomllib.loads((ROOT / ".ci" / "planted_faults.toml").read_text(encoding="utf-8"))["fault"]
    assert len(faults) > 300
    lost = [
        (f["module"], f["old"]) for f in faults if (PACKAGE / f["module"]).read_text("utf-8").count(f["old"]) != 1
    ]
    assert not lost


def test_the_package_is_typed():
    assert (PACKAGE / "py.typed").exists()
