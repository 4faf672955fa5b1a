"""Fixtures of the tests."""

import shutil

import pytest

from c_header import compiled, text_of
from legloop import Mechanism
from legloop.lesson.cases import bird_hide


@pytest.fixture
def hide() -> Mechanism:
    return bird_hide()


@pytest.fixture(scope="session")
def cc():
    """The compiler. Only its absence skips; whatever it then reports is a failure."""
    found = shutil.which("cc")
    if found is None:
        pytest.skip("no C compiler `cc` on this machine: the C header was not compiled and not run")
    return found


@pytest.fixture(scope="module")
def build(cc, tmp_path_factory):
    """A function that writes a header, compiles it, and demands that its self-test passes; each header once.

    Unless asked for, near singular poses it refuses as little as it may.
    """
    folder, programs = tmp_path_factory.mktemp("programs"), {}

    def build(m, *, scalar="float", least_elbow=0.0, least_volume=0.01, **options):
        text = text_of(folder, m, scalar=scalar, least_elbow=least_elbow, least_volume=least_volume, **options)
        if text not in programs:
            programs[text] = compiled(cc, folder / str(len(programs)), text, scalar)
            assert programs[text].self_test() == 0
        return programs[text]

    return build


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item):
    """Let a fixture know that its test has passed, so that it keeps a picture of those that have not."""
    report = yield
    if report.when == "call":
        item.failed = report.failed
    return report


@pytest.hookimpl(wrapper=True, optionalhook=True)  # absent when xdist is off
def pytest_xdist_auto_num_workers():
    """One worker more than the machine has cores: the tests of lessons wait for kernels, a server and a browser."""
    return (yield) + 1
