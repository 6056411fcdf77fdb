"""What a learner did, and where it is kept: the hook for a record of any kind."""

import functools
from dataclasses import dataclass
from typing import Protocol


@dataclass(frozen=True)
class Attempt:
    """One thing that a learner did with an item.

    Parameters
    ----------
    item_id : str
        Identifier of the item.
    seed : int
        Which numbers it had.
    when : str
        Time of day in UTC, ISO 8601.
    kind : str
        "answer", "hint", "skip", "observation" or "rating".
    raw : str
        What was typed or chosen, as text.
    verdict : str
        Name of the verdict.
    value : object
        The answer as it was read.
    misconception : str or None
        Identifier in the register.
    digest : str
        Of the item as it was then, see :func:`.digest.digest_of`; empty where none was kept.
    course : str
        Version of the course; empty where none was kept.
    slip : str
        Which slip the answer came from; see :mod:`.slip_kinds`.
    """

    item_id: str
    seed: int
    when: str
    kind: str
    raw: str
    verdict: str
    value: object = None
    misconception: str | None = None
    digest: str = ""
    course: str = ""
    slip: str = ""


class Recorder(Protocol):
    """Where attempts go. A record on disk needs these two and nothing of the items."""

    def add(self, attempt: Attempt) -> None:
        """Keep one attempt."""

    def attempts(self) -> tuple[Attempt, ...]:
        """Return all attempts kept, oldest first."""


@functools.cache
def course_version() -> str:
    """Return the version of the course that is installed; "unknown" where it is not installed.

    >>> bool(course_version())
    True
    """
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("redundancy-workbook")
    except PackageNotFoundError:
        return "unknown"
