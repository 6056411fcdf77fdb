"""The learner's record: one JSON file, apart from the notebooks, that nothing is lost from.

After each action the whole file is written beside the old one and swapped in; the five before it
are kept.  Two notebooks may write to one record: each takes in what the other has written first.
Where the folder cannot be written, the record lives on in memory and says so.  Nothing is sent
anywhere, and the label need not be a name.
"""

import contextlib
import hashlib
import json
import os
import reprlib
import time
import unicodedata
import uuid
from collections.abc import Iterator
from dataclasses import MISSING, asdict, dataclass, fields, replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

from labkit.reading import json_of
from labkit.writing import csv_text, patiently
from lessons.exercises.attempts import Attempt, course_version

FORMAT = 1
KEPT = 5
FOLDER_VARIABLE = "WORKBOOK_RECORD"
LABEL_VARIABLE = "WORKBOOK_LABEL"
NO_LABEL = "learner"
LAID = ".workbook"  # what laying the lessons leaves in a learner's folder
LOCK_STALE_S = 3.0
PART_STALE_S = 3600.0
PAUSE_MINUTES = 5.0
FIELDS = tuple(field.name for field in fields(Attempt))
REQUIRED = tuple(field.name for field in fields(Attempt) if field.default is MISSING)
LONGEST_WORD = 300
_KINDS = {"seed": int, "value": object, "misconception": str | None}


class _Newer(OSError):
    """A record that a newer version wrote: to be left as it is, like a file on a full disk."""


@dataclass(frozen=True)
class Bundle:
    """Hold what a learner hands in.

    Parameters
    ----------
    label : str
        Whatever the learner is called by; need not be a name.
    course : str
        Version of the course that it was made with.
    checksum : str
        SHA-256 of the attempts. It finds damage; it is no protection against forgery.
    identity : str
        Of the record that it comes from: two learners of one label have two. Empty in a bundle of
        an older version.

    >>> Bundle("7", "0.1.0", (), checksum_of([])).label
    '7'
    """

    label: str
    course: str
    attempts: tuple[Attempt, ...]
    checksum: str
    identity: str = ""


def checksum_of(entries: list) -> str:
    """Return the SHA-256 of a list of entries, as written in a bundle."""
    text = json.dumps(entries, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    # Half a letter can come with an answer that was pasted, and is an answer all the same.
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def minutes_active(attempts: tuple[Attempt, ...]) -> float:
    """Return the minutes between actions, pauses of more than five minutes left out.

    Parameters
    ----------
    attempts : tuple of Attempt
        In any order.

    >>> times = ("10:00", "10:04", "11:30", "11:31")
    >>> minutes_active(tuple(
    ...     Attempt("01-downtime", 0, f"2031-01-01T{time}:00+00:00", "hint", "", "HINT")
    ...     for time in times))
    5.0
    """
    moments = sorted(datetime.fromisoformat(attempt.when) for attempt in attempts)
    gaps = ((later - earlier).total_seconds() / 60.0
            for earlier, later in pairwise(moments))
    return float(sum(gap for gap in gaps if gap <= PAUSE_MINUTES))


class LearnerRecord:
    """Keep what a learner did, in a folder or in memory.

    Parameters
    ----------
    folder : str or Path, optional
        Where the file `record.json` lies; made if it is not there. Without one the record lives
        in memory.
    label : str
        Whatever the learner is called by, where the folder holds no label; need not be a name.

    Attributes
    ----------
    problem : str
        Why the record is in memory only just now; empty if all is well.
    set_aside : tuple of str
        Files that could not be read and were put aside under these names.
    deleted_elsewhere : int
        How many answers were here and are gone, for somebody has deleted the file.
    identity : str
        Tells this record from every other, whatever its label.

    >>> record = LearnerRecord(label="7")
    >>> record.add(Attempt("01-downtime", 0, "2031-01-01T10:00:00+00:00", "answer", "35", "RIGHT"))
    >>> len(record.attempts())
    1
    """

    def __init__(self, folder: str | Path | None = None, *, label: str = NO_LABEL):
        self.folder = None if folder is None else Path(os.path.expanduser(folder))
        self.problem = ""
        self.set_aside: tuple[str, ...] = ()
        self.deleted_elsewhere = 0
        self.identity = uuid.uuid4().hex
        self._label = self._given_label = label
        self._hold({})
        # What is only in memory so far: it outlives what another notebook does to the file.
        self._unsaved: set[str] = set()
        self._label_unsaved = False
        self._read_stamp: tuple | None = None
        if self.folder is not None:
            with self._no_disk_trouble():
                self.folder.mkdir(parents=True, exist_ok=True)
                self._clear_parts()
                self._take_in()
                if not os.access(self.folder, os.W_OK):
                    raise PermissionError("no leave to write there")

    # ------------------------------------------------------------ what a session needs

    def add(self, attempt: Attempt) -> None:
        """Keep one attempt; the file is whole after each."""
        try:
            entry = json.loads(json.dumps(asdict(attempt), default=str))
        except (TypeError, ValueError, RecursionError):
            # What no file can hold is kept as the learner wrote it.
            entry = asdict(replace(attempt, value=None))
        self._put([entry])
        self._save()

    def attempts(self) -> tuple[Attempt, ...]:
        """Return all attempts kept, those of other notebooks included, in the order of their keeping.

        That order holds where the clock was set back in between.
        """
        if self.folder is not None and _stamp_of(self.path) != self._read_stamp:
            with contextlib.suppress(OSError):
                self._take_in()
        if self._ordered is None:
            self._ordered = tuple(map(_attempt_of, self._entries.values()))
        return self._ordered

    # ------------------------------------------------------------ the learner's own hand on it

    @property
    def label(self) -> str:
        """Whatever the learner is called by."""
        return self._label

    @label.setter
    def label(self, label: str) -> None:
        if not isinstance(label, str) or not label.strip():
            raise ValueError(f"label must not be empty, got {label!r}")
        if len(label) > LONGEST_WORD:
            raise ValueError(f"label must have at most {LONGEST_WORD} letters, got {len(label)}")
        self._label = _one_form(label)
        self._label_unsaved = True
        self._save()

    @property
    def path(self) -> Path | None:
        """The file; None for a record in memory."""
        return None if self.folder is None else self.folder / "record.json"

    def delete(self) -> None:
        """Delete the record with all copies that were kept, and nothing else in the folder."""
        self._hold({})
        self._unsaved.clear()
        self._label, self._label_unsaved = NO_LABEL, False
        self.identity, self.deleted_elsewhere = uuid.uuid4().hex, 0
        if self.folder is None:
            return
        with self._no_disk_trouble(), self._lock():
            own = ("record.json", *self._copies(), "record.damaged-*.json", "record.json.*")
            for path in (path for name in own for path in self.folder.glob(name)):
                path.unlink(missing_ok=True)
            self._read_stamp = None

    def to_csv(self) -> str:
        """Return the attempts as CSV; values that are no text as JSON."""
        return csv_text([FIELDS, *(
            [cell if isinstance(cell, str | None) else json.dumps(cell, ensure_ascii=False)
             for cell in (getattr(attempt, name) for name in FIELDS)]
            for attempt in self.attempts())])

    def to_bundle(self) -> str:
        """Return the text of the one file to hand in."""
        entries = [asdict(attempt) for attempt in self.attempts()]
        return json.dumps(
            {"format": FORMAT, "kind": "bundle", "label": self.label, "course": course_version(),
             "identity": self.identity, "attempts": entries, "checksum": checksum_of(entries)}, indent=1) + "\n"

    def take_bundle(self, text: str) -> int:
        """Take in a bundle, to go on where one stopped on another machine.

        Returns
        -------
        int
            How many attempts were new.

        Raises
        ------
        ValueError
            When the text is no bundle or is damaged.

        Notes
        -----
        The label comes with it, unless this record has one of its own.
        """
        bundle = read_bundle(text)
        have = set(map(_identity, self.attempts()))
        new = [asdict(attempt) for attempt in bundle.attempts if _identity(attempt) not in have]
        self._put(new)
        if have:
            self._hold(dict(sorted(self._entries.items(), key=lambda pair: _moment_of(pair[1]))))
        elif bundle.identity:
            self.identity = bundle.identity
        if self._label == NO_LABEL:
            self._label, self._label_unsaved = bundle.label, True
        self._save()
        return len(new)

    # ------------------------------------------------------------ the file

    def _hold(self, entries: dict[str, dict]) -> None:
        self._entries = entries
        self._ordered: tuple[Attempt, ...] | None = None

    def _put(self, entries: list[dict]) -> None:
        fresh = {uuid.uuid4().hex: entry for entry in entries}
        self._hold(self._entries | fresh)
        self._unsaved |= set(fresh)

    @contextlib.contextmanager
    def _no_disk_trouble(self) -> Iterator[None]:
        try:
            yield
            self.problem = ""
        except OSError as error:
            self.problem = (f"Kept in memory only: {self.folder} cannot be used "
                            f"({error.strerror or error}). Hand in or export before you close.")

    def _save(self) -> None:
        if self.folder is None:
            return
        with self._no_disk_trouble():
            # Deleted by hand it is made again; a drive that was pulled out is not.
            self.folder.mkdir(exist_ok=True)
            self._write()

    def _write(self) -> None:
        with self._lock():
            while not self._swap():
                pass

    def _swap(self) -> bool:
        """Write the file beside and swap it in; not where another has written meanwhile.

        On a slow drive another may have taken the lock for stale.
        """
        stamp = _stamp_of(self.path)
        if stamp is None or stamp != self._read_stamp:
            self._take_in()
            stamp = _stamp_of(self.path)
        data = {"format": FORMAT, "kind": "record", "label": self._label,
                "identity": self.identity, "course": course_version(), "attempts": self._entries}
        if self.path.exists() and not self.path.is_file():
            raise OSError(f"{self.path.name} is there and is no file")
        old = self.path.read_bytes() if self.path.exists() else b""
        new = json.dumps(data).encode()
        # Both are on the disk before anything is moved, in case it is full or the power goes.
        with self._part(new) as record, self._part(old) as copy:
            if _stamp_of(self.path) != stamp:
                return False
            if old:
                self._keep_old(copy)
            patiently(os.replace, record, self.path)
        self._unsaved.clear()
        self._label_unsaved = False
        self._read_stamp = _stamp_of(self.path)
        return True

    def _clear_parts(self) -> None:
        """Clear away what a kernel that was killed while it wrote has left."""
        for part in self.folder.glob("record.json.*"):
            if part.suffix != ".lock" and time.time() - part.stat().st_mtime > PART_STALE_S:
                part.unlink(missing_ok=True)

    @contextlib.contextmanager
    def _part(self, content: bytes) -> Iterator[Path]:
        part = self.folder / f"record.json.{uuid.uuid4().hex}"
        try:
            with part.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            yield part
        finally:
            part.unlink(missing_ok=True)

    @staticmethod
    def _copies() -> list[str]:
        return [f"record.{number}.json" for number in range(1, KEPT + 1)]

    def _keep_old(self, newest: Path) -> None:
        places = [newest, *map(self.folder.joinpath, self._copies())]
        for newer, older in reversed(list(pairwise(places))):
            if newer.exists():
                patiently(os.replace, newer, older)

    def _take_in(self) -> None:
        """Bring memory in line with the file, or with the newest copy that can be read.

        The file decides: what another notebook has added is there, and what it has deleted is
        gone. Only what was never written stays beside it. A copy is older than memory, which may
        then know more. A folder that is out of reach says nothing.
        """
        if not self.folder.is_dir():
            return
        stamp = _stamp_of(self.path)
        there = [path for path in (self.path, *map(self.folder.joinpath, self._copies()))
                 if path.is_file()]
        decides = not there
        attempts, label = {}, self._given_label if decides else self._label
        for path in there:
            data = self._read(path)
            if data is not None:
                attempts, label, decides = data["attempts"], data["label"], path == self.path
                self.identity = data.get("identity", self.identity)
                break
        own = {key: entry for key, entry in self._entries.items()
               if key in self._unsaved or not decides}
        self.deleted_elsewhere += len(self._entries.keys() - own.keys() - attempts.keys())
        self._hold({**attempts, **own})
        if not self._label_unsaved:
            self._label = label
        self._read_stamp = stamp

    def _read(self, path: Path) -> dict | None:
        try:
            return _checked(json.loads(path.read_text("utf-8")))
        except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
            aside = path.with_name(f"record.damaged-{time.time_ns()}.json")
            # In a folder that cannot be written it stays where it is; the copies are read all
            # the same.
            with contextlib.suppress(OSError):
                patiently(os.replace, path, aside)
                self.set_aside += (aside.name,)
            return None

    @contextlib.contextmanager
    def _lock(self) -> Iterator[None]:
        lock = self.folder / "record.json.lock"
        seen, since_s = None, time.monotonic()
        while True:
            try:
                os.close(patiently(os.open, lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
                break
            except FileExistsError:
                there = _stamp_of(lock)
                if there != seen:
                    seen, since_s = there, time.monotonic()
                elif time.monotonic() - since_s > LOCK_STALE_S:
                    # Whoever made it was killed: nobody holds one for so long.
                    lock.unlink(missing_ok=True)
                time.sleep(0.01)
        try:
            yield
        finally:
            patiently(lock.unlink, missing_ok=True)


def _stamp_of(path: Path) -> tuple | None:
    """Return what tells one state of a file from the next; None where there is no file."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_mtime_ns, found.st_size, found.st_ino


def _one_form(label: str) -> str:
    """Return a label as one sequence of letters; systems write an accent as one letter or as two."""
    return unicodedata.normalize("NFC", label.strip())


def _moment_of(entry: dict) -> datetime:
    return datetime.fromisoformat(entry["when"])


def _identity(attempt: Attempt) -> str:
    return json.dumps(asdict(attempt), sort_keys=True)


def _attempt_of(entry: dict) -> Attempt:
    """Return an entry as an attempt; older ones lack fields, newer ones may have more.

    Raises
    ------
    ValueError
        When it is no attempt.
    """
    missing = [name for name in REQUIRED if name not in entry]
    if missing:
        raise ValueError(f"each attempt must have {', '.join(REQUIRED)}, {missing[0]} is missing")
    known = {name: entry[name] for name in FIELDS if name in entry}
    for name, value in known.items():
        kind = _KINDS.get(name, str)
        if not isinstance(value, kind) or isinstance(value, bool) and name == "seed":
            wanted = {int: "a whole number", str: "a text"}.get(kind, "a text or nothing")
            raise ValueError(f"{name} of an attempt must be {wanted}, got {reprlib.repr(value)}")
    try:
        moment = datetime.fromisoformat(entry["when"])
        zoned = moment.tzinfo is not None and moment.astimezone(UTC)
    except (ValueError, OverflowError):
        zoned = False
    if not zoned:
        raise ValueError("when must be a time with its zone, such as 2031-03-03T08:00:00+00:00, "
                         f"got {reprlib.repr(entry['when'])}")
    return Attempt(**known)


def _checked(data: dict) -> dict:
    """Return what was read where it is a record; an older version may lack fields of an attempt."""
    if data["format"] > FORMAT:
        raise _Newer("a newer version of the course wrote the record")
    if data["kind"] != "record" or not isinstance(data["label"], str):
        raise ValueError(f"kind must be 'record', got {data['kind']!r}")
    if not isinstance(data.get("identity", ""), str):
        raise ValueError("identity must be text")
    for entry in data["attempts"].values():
        _attempt_of(entry)
    return data


def read_bundle(text: str) -> Bundle:
    """Read what a learner handed in. It is data: nothing in it is run.

    Raises
    ------
    ValueError
        When the text is no bundle, or its checksum does not fit.
    """
    data = json_of(text, "what is handed in")
    if not isinstance(data, dict) or data.get("kind") != "bundle":
        raise ValueError("it must be what Hand in writes")
    entries = data.get("attempts")
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise ValueError("attempts must be a list of entries")
    if data.get("checksum") != checksum_of(entries):
        raise ValueError("checksum must fit the attempts: the file is damaged")
    attempts = tuple(map(_attempt_of, entries))
    words = [data.get(name, "") for name in ("label", "course", "identity")]
    if not all(isinstance(word, str) and len(word) <= LONGEST_WORD for word in words) \
            or not words[0].strip():
        raise ValueError(f"label, course and identity must be text of at most {LONGEST_WORD} "
                         "letters, the label not empty")
    return Bundle(_one_form(words[0]), words[1], attempts, data["checksum"], words[2])


def open_record() -> LearnerRecord:
    """Open the record of the learner who works here.

    Returns
    -------
    LearnerRecord
        In the folder that `workbook` names; without one, beside the lessons where this
        is a learner's copy of them, however it was opened; otherwise in memory. A class server
        names the label, which is the login, until the learner chooses another.
    """
    named = os.environ.get(FOLDER_VARIABLE)
    if not named and Path(LAID).is_dir():
        named = Path.cwd() / "record"
    return LearnerRecord(named or None, label=os.environ.get(LABEL_VARIABLE) or NO_LABEL)
