"""Start JupyterLab on a folder so that it uses this machine only.

Nothing is fetched from a network: no news, no look for updates, no list of extensions. The
settings that say so stand in `lab_config` beside this module and are handed to JupyterLab through
its search path for configuration, so the learner's own settings stay where they are.
"""

import json
import os
from collections.abc import Mapping
from pathlib import Path

CONFIGURATION = Path(__file__).resolve().parent / "lab_config"
# What the environment says of who comes in, where kernels run, and who reads their keys.
_NOT_OF_THE_READER = {
    "JUPYTER_TOKEN": "", "JUPYTER_TOKEN_FILE": "", "JUPYTER_GATEWAY_URL": "",
    "JUPYTER_ALLOW_INSECURE_WRITES": "false",
}


def lab_environment(base: Mapping[str, str] | None = None) -> dict[str, str]:
    """Return the environment in which JupyterLab and its kernels are to run, from one that stays.

    NumPy and SciPy each bring threads of their own for linear algebra. On small machines these
    wait for one another, and the small matrices used here are fastest with one thread; a number of
    threads that is set already is kept.

    >>> lab_environment({})["OPENBLAS_NUM_THREADS"]
    '1'
    >>> lab_environment({"OPENBLAS_NUM_THREADS": "4"})["OPENBLAS_NUM_THREADS"]
    '4'
    """
    environment = dict(os.environ if base is None else base) | _NOT_OF_THE_READER
    environment.setdefault("OPENBLAS_NUM_THREADS", "1")
    further = environment.get("JUPYTER_CONFIG_PATH")
    environment["JUPYTER_CONFIG_PATH"] = os.pathsep.join(
        [str(CONFIGURATION), *([further] if further else [])]
    )
    return environment


def lab_arguments(folder: str | os.PathLike[str], *, browser: bool = True, port: int | None = None,
                  first: str | None = None) -> list[str]:
    """Return the words after `jupyter lab` that open it on a folder, the only one that it shows.

    `first` is a file in it, with forward slashes, to show at once; without it, what was open last.

    >>> lab_arguments("work", browser=False, port=8890)[-2:]
    ['--no-browser', '--port=8890']
    """
    folder = Path(folder).resolve()
    arguments = [
        f"--ServerApp.root_dir={folder}",
        # What was open belongs to this folder, not to whatever else the learner has open.
        f"--LabApp.workspaces_dir={_workspaces(folder)}",
        # The address to open is logged above this level, the hum of the server below it.
        "--log-level=WARN",
        "--LabApp.log_level=WARN",
        # One Ctrl-C stops it, without a question that is easily missed.
        "-y",
    ]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        # In a container the learner is often root; the lab listens on this machine only.
        arguments.append("--allow-root")
    if first is not None:
        arguments.append(f"--LabApp.default_url=/lab/tree/{first}")
    if not browser:
        arguments.append("--no-browser")
    if port is not None:
        arguments.append(f"--port={port}")
    return arguments


def _workspaces(folder: Path) -> Path:
    return folder / ".workbook" / "workspaces"


def close_file_list(folder: str | os.PathLike[str]) -> None:
    """Let JupyterLab begin on a folder with its side panels closed, so that a lesson is wide.

    Only where it was never opened: after that the learner finds it as it was left.

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     close_file_list(folder)
    ...     [path.suffix for path in _workspaces(Path(folder)).iterdir()]
    ['.jupyterlab-workspace']
    """
    from jupyterlab_server.workspaces_handler import WorkspacesManager

    spaces = _workspaces(Path(folder).resolve())
    if spaces.exists():
        return
    closed = {"collapsed": True, "visible": True}
    layout = {"layout-restorer:data": {"left": closed, "right": closed}}
    WorkspacesManager(str(spaces)).save(
        "default", json.dumps({"data": layout, "metadata": {"id": "default"}}))
