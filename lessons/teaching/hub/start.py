"""Start the lab of one learner on a class server: lessons laid, record in place, memory limited.

JupyterHub runs this in the name of the learner, in place of its own `jupyterhub-singleuser`:

    python -m lessons.teaching.hub.start [arguments of jupyterhub-singleuser]

WORKBOOK_FOLDER names the learner's folder (default: my-workbook at home), WORKBOOK_MEMORY_MB the
most memory that one process may take, WORKBOOK_FILE_MB the largest file that it may write. What the
learner writes can be read by nobody else.
"""

import os
import sys
from collections.abc import Mapping
from pathlib import Path

from lessons.desk.lab import lab_environment
from lessons.desk.learner_folder import lay_lessons, trust
from lessons.exercises.learner_record import FOLDER_VARIABLE, LABEL_VARIABLE

# A system takes 107 letters for such a file: home, "/.workbook/kernel-", a long number, "-ipc-5".
LONGEST_HOME = 107 - len("/.workbook/kernel-") - 36 - len("-ipc-5")


def learner_folder(environment: Mapping[str, str]) -> Path:
    """Return the folder of a learner's lessons and record.

    >>> learner_folder({"WORKBOOK_FOLDER": "/srv/class/mara"}).as_posix()
    '/srv/class/mara'
    """
    return Path(environment.get("WORKBOOK_FOLDER") or Path.home() / "my-workbook")


def limit_files(megabytes: int) -> None:
    """Let this process, and each that comes from it, write no file larger than that.

    >>> limit_files(0)
    Traceback (most recent call last):
        ...
    ValueError: megabytes must be >= 1, got 0
    """
    if megabytes < 1:
        raise ValueError(f"megabytes must be >= 1, got {megabytes}")
    import resource

    _limit(resource.RLIMIT_FSIZE, megabytes)


def _limit(kind: int, megabytes: int) -> None:
    import resource

    wanted = megabytes * 1_000_000
    _, most = resource.getrlimit(kind)
    if most != resource.RLIM_INFINITY:
        wanted = min(wanted, most)
    resource.setrlimit(kind, (wanted, wanted))


def limit_memory(megabytes: int) -> None:
    """Let this process, and each that comes from it, take so much memory and no more.

    Parameters
    ----------
    megabytes : int
        Of data of its own, >= 256, in MB; a kernel that asks for more gets a MemoryError.

    Raises
    ------
    ValueError
        When it is less than a kernel with the panels needs.

    Notes
    -----
    RLIMIT_DATA of Linux (4.7 and later) counts private memory that can be written. It holds for
    each process by itself: a learner with two kernels may take it twice.

    >>> limit_memory(10)
    Traceback (most recent call last):
        ...
    ValueError: megabytes must be >= 256, got 10
    """
    if megabytes < 256:
        raise ValueError(f"megabytes must be >= 256, got {megabytes}")
    import resource

    _limit(resource.RLIMIT_DATA, megabytes)


def sockets_folder(home: Path) -> Path:
    """Make the folder for the files over which kernels talk, and return it.

    Raises
    ------
    ValueError
        When the system takes no path so long for such a file.

    >>> sockets_folder(Path("/home") / (60 * "m"))
    Traceback (most recent call last):
        ...
    ValueError: home must have a path of at most 47 letters, got 66
    """
    if len(os.fsencode(home)) > LONGEST_HOME:
        raise ValueError(f"home must have a path of at most {LONGEST_HOME} letters, got "
                         f"{len(os.fsencode(home))}")
    folder = home / ".workbook"
    folder.mkdir(mode=0o700, exist_ok=True)
    return folder


def main() -> None:
    """Lay the lessons and become the learner's server."""
    os.umask(0o077)
    folder = learner_folder(os.environ)
    trust(folder, lay_lessons(folder))
    environment = lab_environment() | {FOLDER_VARIABLE: str(folder / "record")}
    environment.setdefault(LABEL_VARIABLE, os.environ.get("JUPYTERHUB_USER", ""))
    limit_memory(int(environment.get("WORKBOOK_MEMORY_MB", "1024")))
    environment["JUPYTER_RUNTIME_DIR"] = str(sockets_folder(Path.home()))
    limit_files(int(environment.get("WORKBOOK_FILE_MB", "100")))
    os.chdir(folder)
    words = [sys.executable, "-m", "jupyterhub.singleuser", *sys.argv[1:]]
    os.execve(words[0], words, environment)


if __name__ == "__main__":
    main()
