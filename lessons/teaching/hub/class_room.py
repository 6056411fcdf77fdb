"""Who may come in to a class server, and what is made for each: what the configuration calls.

JupyterHub is imported where it is needed: the workbook does without it.
"""

import os
import shutil
import stat
import subprocess
from collections.abc import Callable
from pathlib import Path


def learners(listed: Path) -> set[str]:
    """Return the login names in a file, one on each line."""
    return set(listed.read_text(encoding="utf-8").split())


def as_learner(listed: Path) -> type:
    """Return a way of logging in: with the system's password, for those in the file now.

    The file is read anew each time, so that who is struck off stays out without a restart, also
    with a browser that was logged in before.
    """
    from jupyterhub.auth import PAMAuthenticator
    from tornado.web import HTTPError

    class OnTheList(PAMAuthenticator):
        def check_allowed(self, username, authentication=None):
            return username in learners(listed)

        async def refresh_user(self, user, handler=None):
            return user.name in learners(listed)

        def pre_spawn_start(self, user, spawner):
            # Who has an old token is not asked for the password again.
            if user.name not in learners(listed):
                raise HTTPError(403, f"{user.name} is not on the list of this class")
            return super().pre_spawn_start(user, spawner)

    return OnTheList


def what_a_learner_gets(hand_in: Path, home_mb: int | None) -> Callable[[object], None]:
    """Return what is done before each start of a lab: a folder to hand in, and a limit for the home.

    The system keeps the limit, as a quota of the account; without one (None) there is none.

    Raises
    ------
    ValueError
        The limit is below what the lessons and a learner's work need, or this system sets none.
    PermissionError
        The hub does not run as root, or something else stands where the folder should be.
    """
    if home_mb is not None and home_mb < 50:
        raise ValueError(f"WORKBOOK_HOME_MB must be >= 50, got {home_mb}")
    if home_mb is not None and not shutil.which("setquota"):
        raise ValueError(f"WORKBOOK_HOME_MB must be left out where there is no setquota (package "
                         f"quota), got {home_mb}")

    def make(spawner) -> None:
        import pwd  # not on Windows, where this module can still be read

        account = pwd.getpwnam(spawner.user.name)
        if home_mb is not None:
            _limit_home(account, home_mb)
        own = _folder_of(account, hand_in)
        spawner.environment = {**spawner.environment, "WORKBOOK_HAND_IN": str(own)}

    return make


def _limit_home(account, home_mb: int) -> None:
    blocks = str(home_mb * 1000)  # of 1024 bytes, as setquota counts
    place = Path(account.pw_dir)
    while not place.is_mount():
        place = place.parent
    done = subprocess.run(["setquota", "-u", account.pw_name, blocks, blocks, "0", "0", str(place)],
                          capture_output=True, text=True, check=False)
    if done.returncode:
        raise PermissionError(f"no limit could be set for {account.pw_name} on {place}: "
                              f"{done.stderr.strip()}")


def _folder_of(account, hand_in: Path) -> Path:
    # Others may pass through, and nobody but root can list who has one.
    hand_in.mkdir(mode=0o711, parents=True, exist_ok=True)
    hand_in.chmod(0o711)
    own = hand_in / account.pw_name
    own.mkdir(mode=0o700, exist_ok=True)
    found = own.lstat()
    if not stat.S_ISDIR(found.st_mode) or found.st_uid not in (0, account.pw_uid):
        raise PermissionError(f"{own} must be a folder of {account.pw_name}")
    os.chown(own, account.pw_uid, account.pw_gid, follow_symlinks=False)
    own.chmod(0o700)
    return own


def not_to_be_entered(*files: Path) -> Path | None:
    """Return the first folder or file on the way to these that other accounts may not read.

    >>> not_to_be_entered(Path("/"))
    """
    # An environment names the Python that it was made with by a link: both have to be open.
    for file in (named for each in files for named in (each.absolute(), each.resolve())):
        for place in (*reversed(file.parents), file):
            needed = stat.S_IXOTH if place.is_dir() else stat.S_IROTH
            if not place.stat().st_mode & needed:
                return place
    return None
