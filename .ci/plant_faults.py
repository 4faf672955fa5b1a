"""Plant faults in a copy of the package, one at a time, and see that the tests notice each of them.

    python .ci/plant_faults.py                    every fault of planted_faults.toml, two side by side
    python .ci/plant_faults.py forward/ leg.py    the faults whose module has one of these in its path
    python .ci/plant_faults.py --list             say which faults there are, and plant none
    python .ci/plant_faults.py --jobs 1           one after the other

A fault is a piece of a module that occurs there once, and what takes its place. With each stand the tests that should
notice it. These run first on an unharmed copy and must pass; otherwise nothing is planted. The working tree is only
read. Each line of the report says CAUGHT, or else what went wrong:

    SURVIVED   the tests pass: they need one more
    NOT RUN    the tests did not start, so that nothing is known (a fault that stops the import is too gross)
    TOO LONG   the tests did not end in time

The exit status is 0 when every fault is caught, else 1.
"""

from __future__ import annotations

import argparse
import compileall
import os
import py_compile
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "helpers" / "legloop"
TABLE = Path(__file__).with_name("planted_faults.toml")
PARTS = ("helpers", "tests", "notebooks", "figures", ".ci", "README.md", "DEVELOPERS.md", "pyproject.toml")
LIMIT = 600  # seconds for one run of pytest: many times what the longest takes
# without the plugins that these runs do not need: what they import takes longer than most of the tests
PLAIN = ("-o", "addopts=", "-p", "no:nbval", "-p", "no:xdist", "-p", "no:hypothesispytest")
OUTCOMES = {0: "SURVIVED", 1: "CAUGHT"}  # by exit status of pytest; any other means that the tests did not run


@dataclass(frozen=True)
class Fault:
    """One planted fault: in which module, what is replaced by what, and which tests should notice."""

    module: str
    what: str
    old: str
    new: str
    tests: str
    k: str = ""

    @property
    def selection(self) -> list[str]:
        """What pytest is told."""
        return [*self.tests.split(), *(["-k", self.k] if self.k else [])]

    def misfit(self) -> str:
        """What keeps the fault from being planted; nothing when nothing does."""
        path = PACKAGE / self.module
        count = path.read_text(encoding="utf-8").count(self.old) if path.is_file() else 0
        told = f"  {self.module}, {self.what}: the text must change, and occur once, not {count} times"
        return "" if count == 1 and self.old != self.new else told


@dataclass(frozen=True)
class Result:
    """How one run of tests ended."""

    outcome: str
    seconds: float
    text: str

    @property
    def by(self) -> str:
        """The first test that failed."""
        lines = [line for line in self.text.splitlines() if line.startswith(("FAILED ", "ERROR "))]
        return lines[0].partition("::")[2].partition(" - ")[0] if lines else ""


class Copy:
    """A copy of the tree in a temporary directory, where tests run against the package of the copy."""

    def __init__(self, place: Path) -> None:
        self.place = place
        place.mkdir()
        for source in (ROOT / part for part in PARTS):
            if source.is_dir():
                shutil.copytree(source, place / source.name, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(source, place)
        # Compiled files that are known by the hash of their source: by its time and size, as is usual, a fault of
        # equal length could be missed. None is written later.
        by_hash = py_compile.PycInvalidationMode.CHECKED_HASH
        compileall.compile_dir(place / "helpers", quiet=1, invalidation_mode=by_hash)
        self.environment = os.environ | {"PYTHONPATH": str(place / "helpers"), "PYTHONDONTWRITEBYTECODE": "1"}
        command = [sys.executable, "-c", "import legloop; print(legloop.__file__)"]
        found = subprocess.run(command, cwd=place, env=self.environment, capture_output=True, text=True, check=True)
        if not Path(found.stdout.strip()).is_relative_to(place):
            raise RuntimeError(f"the copy is not what is imported, but {found.stdout.strip()}")

    def run(self, selection: list[str]) -> Result:
        """Run the named tests here."""
        command = [sys.executable, "-m", "pytest", *PLAIN, "-x", "-q", *selection]
        kept = {"capture_output": True, "text": True, "check": False, "timeout": LIMIT}
        began = time.monotonic()
        try:
            done = subprocess.run(command, cwd=self.place, env=self.environment, **kept)
        except subprocess.TimeoutExpired:
            return Result("TOO LONG", time.monotonic() - began, "")
        return Result(OUTCOMES.get(done.returncode, "NOT RUN"), time.monotonic() - began, done.stdout + done.stderr)

    def plant(self, fault: Fault) -> Result:
        """Run the tests of a fault with the fault in place; the module is as it was afterwards."""
        path = self.place / PACKAGE.relative_to(ROOT) / fault.module
        sound = path.read_text(encoding="utf-8")
        try:
            path.write_text(sound.replace(fault.old, fault.new), encoding="utf-8")
            return self.run(fault.selection)
        finally:
            path.write_text(sound, encoding="utf-8")


def each(copies: list[Copy], tasks: Iterable[Fault | list[str]]) -> Iterator[Result]:
    """The results, in order, of faults to plant or of tests to run unharmed; a copy does one at a time."""
    free: Queue[Copy] = Queue()
    for copy in copies:
        free.put(copy)

    def one(task: Fault | list[str]) -> Result:
        copy = free.get()
        try:
            return copy.plant(task) if isinstance(task, Fault) else copy.run(task)
        finally:
            free.put(copy)

    with ThreadPoolExecutor(len(copies)) as workers:
        yield from workers.map(one, tasks)


def chosen(modules: list[str]) -> list[Fault]:
    """The faults of the table whose module has one of these in its path; all of them for an empty list."""
    faults = [Fault(**entry) for entry in tomllib.loads(TABLE.read_text(encoding="utf-8"))["fault"]]
    loose = [told for fault in faults if (told := fault.misfit())]
    if loose:
        sys.exit("the modules have changed; mend planted_faults.toml:\n" + "\n".join(loose))
    return [fault for fault in faults if not modules or any(name in fault.module for name in modules)]


def unharmed(faults: list[Fault]) -> list[list[str]]:
    """All the tests that are named, in few runs: one for each set of files."""
    parts: dict[str, list[str]] = {}
    for fault in faults:
        parts.setdefault(fault.tests, []).append(fault.k)
    return [
        [*files.split(), *([] if "" in wanted else ["-k", " or ".join(f"({k})" for k in dict.fromkeys(wanted))])]
        for files, wanted in parts.items()
    ]


def main() -> int:
    """Plant what was asked for; the exit status."""
    parser = argparse.ArgumentParser(description="Plant faults in a copy of the package: do the tests notice?")
    parser.add_argument("modules", nargs="*", help="parts of module paths, such as forward/ or leg.py; default: all")
    parser.add_argument("--jobs", type=int, default=2, help="how many faults are tried side by side")
    parser.add_argument("--list", action="store_true", help="list the faults and stop")
    options = parser.parse_args()
    faults = chosen(options.modules)
    if options.list or not faults:
        for fault in faults:
            print(f"{fault.module}: {fault.what}  {fault.selection}")
        print(f"{len(faults)} faults in {len({fault.module for fault in faults})} modules")
        return 0 if faults else 1
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as place:
        copies = [Copy(Path(place) / str(number)) for number in range(options.jobs)]
        sound = unharmed(faults)
        for selection, result in zip(sound, each(copies, sound), strict=True):
            if result.outcome != "SURVIVED":
                print(f"without any fault, these do not pass: {selection}\n{result.text}")
                return 1
            print(f"unharmed {result.seconds:4.0f} s  {selection}", flush=True)
        missed = 0
        for fault, result in zip(faults, each(copies, faults), strict=True):
            missed += result.outcome != "CAUGHT"
            seen = f"{result.outcome:8} {result.seconds:4.0f} s"
            print(f"{seen}  {fault.module}: {fault.what}  [{result.by}]", flush=True)
    print(f"{len(faults) - missed} of {len(faults)} faults caught, {time.monotonic() - began:.0f} s in all")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
