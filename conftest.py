"""Set the surroundings of all tests, those of the lessons' kernels included."""

import atexit
import os
import shutil
import signal
import tempfile
from pathlib import Path

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
