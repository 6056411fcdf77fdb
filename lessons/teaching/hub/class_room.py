"""Who may come in to a class server, and what is made for each: what the configuration calls.

JupyterHub is imported where it is needed: the workbook does without it.
"""

from __future__ import annotations

import os
import stat
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


def folder_for_hand_ins(folder: Path) -> Callable[[object], None]:
    """Return what is done before each start of a lab: a folder to hand in, closed to others.

    Raises
    ------
    PermissionError
        The hub does not run as root, or something else stands where the folder should be.
    """

    def make(spawner) -> None:
        import pwd  # not on Windows, where this module can still be read

        account = pwd.getpwnam(spawner.user.name)
        # Others may pass through, and nobody but root can list who has one.
        folder.mkdir(mode=0o711, parents=True, exist_ok=True)
        folder.chmod(0o711)
        own = folder / account.pw_name
        own.mkdir(mode=0o700, exist_ok=True)
        found = own.lstat()
        if not stat.S_ISDIR(found.st_mode) or found.st_uid not in (0, account.pw_uid):
            raise PermissionError(f"{own} must be a folder of {account.pw_name}")
        os.chown(own, account.pw_uid, account.pw_gid, follow_symlinks=False)
        own.chmod(0o700)
        spawner.environment = {**spawner.environment, "WORKBOOK_HAND_IN": str(own)}

    return make


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
