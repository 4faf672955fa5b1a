"""Fixtures of the tests."""

import pytest

from legloop import Mechanism
from legloop.lesson.cases import bird_hide


@pytest.fixture
def hide() -> Mechanism:
    return bird_hide()


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
