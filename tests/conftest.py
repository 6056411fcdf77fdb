"""What several test files share."""

import os
import signal
from pathlib import Path

import pytest

from tests.browser import ROOT, Workplace, find_browser


@pytest.fixture(scope="session")
def workplace():
    """A JupyterLab on a copy of the lessons, with a browser; one for all tests."""
    if find_browser() is None:
        reason = "no Chromium found; install one or set WORKBOOK_BROWSER to its path"
        if os.environ.get("CI") == "true":
            pytest.fail(f"{reason}: with CI=true the browser tests must run")
        pytest.skip(reason)
    with Workplace(ROOT / "lessons") as place:
        yield place


@pytest.fixture(scope="session")
def pictures() -> Path:
    """The folder for pictures of the screen; git ignores it."""
    folder = ROOT / "ci-output"
    folder.mkdir(exist_ok=True)
    return folder


@pytest.fixture
def ends():
    """Fail a test whose loop never ends; counted is its processor time, whatever else runs."""
    if not hasattr(signal, "setitimer"):  # Windows
        yield
        return

    def stop(*_):
        pytest.fail("a loop does not end: 10 s of processor time are over")

    before = signal.signal(signal.SIGVTALRM, stop)
    signal.setitimer(signal.ITIMER_VIRTUAL, 10.0)
    yield
    signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
    signal.signal(signal.SIGVTALRM, before)
