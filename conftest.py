"""Set the surroundings of all tests, those of the lessons' kernels included."""

import atexit
import gc
import os
import shutil
import signal
import tempfile
from contextlib import suppress
from pathlib import Path

import pytest

# Set here because it must be there before numpy is imported anywhere, kernels included: the
# threads that NumPy and SciPy each bring for linear algebra wait for one another.
os.environ["OPENBLAS_NUM_THREADS"] = "1"

# A plain `kill`, as `timeout` sends it, would otherwise leave labs and kernels running.
signal.signal(signal.SIGTERM, signal.default_int_handler)

_surroundings = tempfile.mkdtemp(prefix="workbook-")
# At the very end, which each of several workers has for itself.
atexit.register(shutil.rmtree, _surroundings, ignore_errors=True)


def pytest_configure():
    # What the user has set for Jupyter and IPython must not decide whether a test passes.
    for name in ("IPYTHONDIR", "JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR"):
        os.environ[name] = str(Path(_surroundings) / name.lower())
    # No test may write into a learner's own record.
    for name in ("RECORD", "SEED", "LABEL", "HAND_IN"):
        os.environ.pop(f"WORKBOOK_{name}", None)


def pytest_collectstart():
    gc.disable()


def pytest_collection_finish():
    # The tests themselves stay to the end: no need to look among them for what can go.
    gc.freeze()
    gc.enable()


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector):
    """Let the second of two workers read the files from the last to the first.

    So each finds half of them, and of what they import, compiled by the other.
    """
    report = yield
    if os.environ.get("PYTEST_XDIST_WORKER") == "gw1" and isinstance(collector, pytest.Dir):
        for file in reversed(report.result or ()):
            with suppress(Exception):  # it is said when the turn of the file comes
                file.obj
    return report
