"""The learner's record: one JSON file, apart from the notebooks, that nothing is lost from.

After each action the whole file is written beside the old one and swapped in; the five before it
are kept.  Two notebooks may write to one record: each takes in what the other has written first.
Where the folder cannot be written, the record lives on in memory and says so.  Nothing is sent
anywhere, and the label need not be a name.
"""

from __future__ import annotations

import contextlib
import csv
import hashlib
import io
import json
import os
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from labkit.exercises.recording import Attempt

__all__ = ["FOLDER_VARIABLE", "Bundle", "LearnerRecord", "open_record", "read_bundle"]

FORMAT = 1
KEPT = 5
FOLDER_VARIABLE = "LABKIT_RECORD"
LOCK_STALE_S = 10.0
PAUSE_MINUTES = 5.0
FIELDS = tuple(Attempt.__dataclass_fields__)


@dataclass(frozen=True)
class Bundle:
    """Hold what a learner hands in.

    Parameters
    ----------
    label : str
        Whatever the learner is called by; need not be a name.
    course : str
        Version of the course that it was made with.
    attempts : tuple of Attempt
    checksum : str
        SHA-256 of the attempts. It finds damage; it is no protection against forgery.

    Examples
    --------
    >>> Bundle("7", "0.1.0", (), checksum_of([])).minutes_active
    0.0
    """

    label: str
    course: str
    attempts: tuple[Attempt, ...]
    checksum: str

    @property
    def minutes_active(self) -> float:
        """Minutes between actions, pauses of more than five minutes left out."""
        return minutes_active(self.attempts)


def checksum_of(entries: list) -> str:
    """Return the SHA-256 of a list of entries, as written in a bundle."""
    text = json.dumps(entries, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def minutes_active(attempts: tuple[Attempt, ...]) -> float:
    """Return the minutes between actions, pauses of more than five minutes left out."""
    moments = sorted(datetime.fromisoformat(attempt.when) for attempt in attempts)
    gaps = ((later - earlier).total_seconds() / 60.0
            for earlier, later in zip(moments, moments[1:]))
    return float(sum(gap for gap in gaps if gap <= PAUSE_MINUTES))


class LearnerRecord:
    """Keep what a learner did, in a folder or in memory.

    Parameters
    ----------
    folder : str or Path, optional
        Where the file `record.json` lies; made if it is not there. Without one the record lives
        in memory.
    label : str
        Whatever the learner is called by; need not be a name.

    Attributes
    ----------
    problem : str
        Why the record is in memory only just now; empty if all is well.

    Examples
    --------
    >>> record = LearnerRecord(label="7")
    >>> record.add(Attempt("01-downtime", 0, "2031-01-01T10:00:00+00:00", "answer", "35", "RIGHT"))
    >>> len(record.attempts())
    1
    """

    def __init__(self, folder: str | Path | None = None, *, label: str = "learner"):
        self.folder = None if folder is None else Path(folder)
        self.problem = ""
        self._label = label
        self._entries: dict[str, dict] = {}
        if self.folder is not None:
            with self._no_disk_trouble():
                self.folder.mkdir(parents=True, exist_ok=True)
                self._take_in()

    # ------------------------------------------------------------ what a session needs

    def add(self, attempt: Attempt) -> None:
        """Keep one attempt; the file is whole after each.

        Parameters
        ----------
        attempt : Attempt
        """
        self._entries[uuid.uuid4().hex] = json.loads(json.dumps(asdict(attempt), default=str))
        self._save()

    def attempts(self) -> tuple[Attempt, ...]:
        """Return all attempts kept, oldest first."""
        ordered = sorted(self._entries.values(), key=lambda entry: entry["when"])
        return tuple(Attempt(**{name: entry.get(name) for name in FIELDS}) for entry in ordered)

    # ------------------------------------------------------------ the learner's own hand on it

    @property
    def label(self) -> str:
        """Whatever the learner is called by."""
        return self._label

    @label.setter
    def label(self, label: str) -> None:
        if not isinstance(label, str) or not label.strip():
            raise ValueError(f"label must not be empty, got {label!r}")
        self._label = label.strip()
        self._save()

    @property
    def path(self) -> Path | None:
        """The file; None for a record in memory."""
        return None if self.folder is None else self.folder / "record.json"

    def delete(self) -> None:
        """Delete the record with all copies that were kept."""
        self._entries.clear()
        if self.folder is not None:
            with self._no_disk_trouble():
                for path in self.folder.glob("record*.json*"):
                    path.unlink(missing_ok=True)

    def to_csv(self) -> str:
        """Return the attempts as CSV, oldest first."""
        text = io.StringIO()
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(FIELDS)
        for attempt in self.attempts():
            writer.writerow([getattr(attempt, name) for name in FIELDS])
        return text.getvalue()

    def to_report(self) -> str:
        """Return the record as one page of HTML that prints on A4."""
        from jinja2 import Environment

        attempts = self.attempts()
        items: dict[str, Counter] = {}
        for attempt in attempts:
            items.setdefault(attempt.item_id, Counter())[attempt.verdict] += 1
        mistakes = Counter(one.misconception for one in attempts if one.misconception)
        template = Environment(autoescape=True).from_string(REPORT)
        return template.render(label=self.label, course=_course(), minutes=minutes_active(attempts),
                               items=items, mistakes=mistakes.most_common(), count=len(attempts))

    def to_bundle(self) -> str:
        """Return the text of the one file to hand in."""
        entries = [asdict(attempt) for attempt in self.attempts()]
        return json.dumps(
            {"format": FORMAT, "kind": "bundle", "label": self.label, "course": _course(),
             "attempts": entries, "checksum": checksum_of(entries)},
            ensure_ascii=False, indent=1) + "\n"

    def take_bundle(self, text: str) -> int:
        """Take in a bundle, to go on where one stopped on another machine.

        Parameters
        ----------
        text : str

        Returns
        -------
        int
            How many attempts were new.

        Raises
        ------
        ValueError
            When the text is no bundle or is damaged.
        """
        bundle = read_bundle(text)
        have = set(map(_identity, self._entries.values()))
        new = [asdict(attempt) for attempt in bundle.attempts
               if _identity(asdict(attempt)) not in have]
        for entry in new:
            self._entries[uuid.uuid4().hex] = entry
        self._label = bundle.label
        self._save()
        return len(new)

    # ------------------------------------------------------------ the file

    @contextlib.contextmanager
    def _no_disk_trouble(self) -> Iterator[None]:
        try:
            yield
            self.problem = ""
        except OSError as error:
            self.problem = (f"The record is kept in memory only: {self.folder} cannot be written "
                            f"({error.strerror or error}). Hand in or export before you close.")

    def _save(self) -> None:
        if self.folder is None:
            return
        with self._no_disk_trouble(), self._lock():
            self._take_in()
            data = {"format": FORMAT, "kind": "record", "label": self._label, "course": _course(),
                    "attempts": self._entries}
            part = self.folder / f"record.json.{uuid.uuid4().hex}"
            try:
                part.write_text(json.dumps(data, ensure_ascii=False, indent=1), "utf-8")
                self._keep_old()
                os.replace(part, self.path)
            finally:
                part.unlink(missing_ok=True)

    def _keep_old(self) -> None:
        if not self.path.exists():
            return
        for number in range(KEPT - 1, 0, -1):
            older = self.folder / f"record.{number}.json"
            if older.exists():
                os.replace(older, self.folder / f"record.{number + 1}.json")
        (self.folder / "record.1.json").write_bytes(self.path.read_bytes())

    def _take_in(self) -> None:
        """Add what the file holds, or the newest copy that can be read."""
        for path in (self.path, *(self.folder / f"record.{n}.json" for n in range(1, KEPT + 1))):
            if not path.exists():
                continue
            try:
                data = _upgraded(json.loads(path.read_text("utf-8")))
            except (ValueError, KeyError, TypeError, AttributeError):
                damaged = path.with_name(f"record.damaged-{time.time_ns()}.json")
                os.replace(path, damaged)
                continue
            self._entries = {**data["attempts"], **self._entries}
            if self._label == "learner":
                self._label = data["label"]
            return

    @contextlib.contextmanager
    def _lock(self) -> Iterator[None]:
        lock = self.folder / "record.json.lock"
        begin_s = time.monotonic()
        while True:
            try:
                os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
                break
            except FileExistsError:
                if time.monotonic() - begin_s > LOCK_STALE_S:
                    lock.unlink(missing_ok=True)
                time.sleep(0.01)
        try:
            yield
        finally:
            lock.unlink(missing_ok=True)


def _identity(entry: dict) -> str:
    return json.dumps({name: entry.get(name) for name in FIELDS}, sort_keys=True)


def _upgraded(data: dict) -> dict:
    """Bring what an older version wrote to the present form.

    Before format 1 the attempts were a list without identities.
    """
    if data["kind"] != "record":
        raise ValueError(f"kind must be 'record', got {data['kind']!r}")
    if data["format"] == 0:
        listed = data["attempts"]
        data = {**data, "format": 1, "attempts": {
            hashlib.sha256(f"{number} {_identity(entry)}".encode()).hexdigest(): entry
            for number, entry in enumerate(listed)}}
    if data["format"] != FORMAT:
        raise ValueError(f"format must be at most {FORMAT}, got {data['format']!r}")
    for entry in data["attempts"].values():
        Attempt(**{name: entry.get(name) for name in FIELDS})
    return data


def read_bundle(text: str) -> Bundle:
    """Read what a learner handed in. It is data: nothing in it is run.

    Parameters
    ----------
    text : str

    Returns
    -------
    Bundle

    Raises
    ------
    ValueError
        When the text is no bundle, or its checksum does not fit.
    """
    try:
        data = json.loads(text)
    except ValueError as error:
        raise ValueError(f"a bundle must be JSON, got: {error}") from None
    if not isinstance(data, dict) or data.get("kind") != "bundle":
        raise ValueError("kind must be 'bundle'")
    entries = data.get("attempts")
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        raise ValueError("attempts must be a list of entries")
    if data.get("checksum") != checksum_of(entries):
        raise ValueError("checksum must fit the attempts: the file is damaged")
    wrong = [entry for entry in entries if set(entry) != set(FIELDS)
             or not all(isinstance(entry[name], str) for name in ("item_id", "when", "verdict"))]
    if wrong:
        raise ValueError(f"each attempt must have {', '.join(FIELDS)}")
    if not isinstance(data.get("label"), str) or not isinstance(data.get("course"), str):
        raise ValueError("label and course must be text")
    for entry in entries:
        datetime.fromisoformat(entry["when"])
    return Bundle(data["label"], data["course"], tuple(Attempt(**entry) for entry in entries),
                  data["checksum"])


def open_record() -> LearnerRecord:
    """Open the record in the folder that `python -m labkit` names, or one in memory.

    Returns
    -------
    LearnerRecord
    """
    return LearnerRecord(os.environ.get(FOLDER_VARIABLE) or None)


def _course() -> str:
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("redundancy-workbook")
    except PackageNotFoundError:
        return "unknown"


REPORT = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Record of {{ label }}</title><style>
@page { size: A4; margin: 18mm }
body { font: 11pt/1.45 "DejaVu Sans", sans-serif; color: #000; background: #fff;
       max-width: 46em; margin: auto }
table { border-collapse: collapse; width: 100% }
th, td { border-bottom: 0.5pt solid #777; padding: 2pt 6pt; text-align: left }
</style></head><body><h1>Record of {{ label }}</h1>
<p>Course version {{ course }}, {{ count }} actions, {{ "%.0f" | format(minutes) }} minutes
active.</p>
<h2>Items</h2><table><thead><tr><th scope="col">item</th><th scope="col">what became of it</th></tr>
</thead><tbody>{% for item, verdicts in items.items() %}
<tr><th scope="row">{{ item }}</th><td>{% for verdict, count in verdicts.items() %}
{{- verdict | replace("_", " ") | lower }} {{ count }}{{ ", " if not loop.last }}{% endfor %}</td>
</tr>{% endfor %}</tbody></table>
<h2>Worth another look</h2>
{% if mistakes %}<ul>{% for name, count in mistakes %}<li>{{ name }}: {{ count }}</li>{% endfor %}
</ul>{% else %}<p>Nothing that repeats.</p>{% endif %}
</body></html>
"""
