"""Lay a copy of the lessons into a learner's folder, and never write over the learner's work."""

import datetime
import hashlib
import json
import os
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from enum import Enum
from pathlib import Path

from labkit.reading import read_utf8
from labkit.writing import write_new, write_whole


class Laying(Enum):
    """What became of one file of the lessons."""

    NEW = "laid"
    SAME = "already there"
    UPDATED = "brought up to date"
    KEPT = "changed by you, kept"
    BESIDE = "changed by you, kept; the new version lies beside it"


@dataclass(frozen=True)
class Laid:
    """One file of the lessons, what became of it, and where a new version lies beside it."""

    name: str
    outcome: Laying
    beside: str | None = None


def lessons_source() -> Path:
    """Return the folder that the lessons are copied from: this package, where they lie.

    >>> lessons_source().name
    'lessons'
    """
    return Path(__file__).resolve().parent.parent


def lay_lessons(folder: str | os.PathLike[str], *, source: str | os.PathLike[str] | None = None,
                today: datetime.date | None = None,
                turn: Callable[[bytes], bytes] = lambda content: content) -> tuple[Laid, ...]:
    """Copy the lessons into a folder; keep every file there that the learner has changed.

    What was laid is noted in `.workbook/laid.json` in the folder. A file that still is what was
    laid may be replaced by a newer version of the same lesson. Any other file is the learner's:
    it stays, and a version that the learner has not had yet is laid beside it, once, with the day
    in its name. Where the note is lost, every file that differs counts as the learner's.

    Raises
    ------
    ValueError, OSError
        `folder` is a file, cannot be written, or lies where the lessons come from.
    """
    origin = Path(source) if source is not None else lessons_source()
    target = Path(folder)
    if target.exists() and not target.is_dir():
        raise NotADirectoryError(f"folder must be a folder, got the file {target}")
    if target.resolve().is_relative_to(origin.resolve()):
        raise ValueError(
            f"folder must lie outside {origin.resolve()}, where the lessons come from, "
            f"got {target}"
        )
    day = today or datetime.date.today()
    # The code beside the notebooks is not the learner's.
    names = sorted(path.name for path in origin.glob("*.ipynb"))
    if not names:
        raise FileNotFoundError(f"no lessons in {origin}")
    target.mkdir(parents=True, exist_ok=True)
    note = target / ".workbook" / "laid.json"
    known = _read_note(note)
    laid = []
    for name in names:
        content = turn((origin / name).read_bytes())
        entry, known[name] = _lay(target, name, content, known.get(name, {}), day)
        laid.append(entry)
    note.parent.mkdir(exist_ok=True)
    write_whole(note, json.dumps(known, indent=1))
    return tuple(laid)


def trust(folder: str | os.PathLike[str], laid: Iterable[Laid]) -> int:
    """Sign the notebooks just laid, so that JupyterLab shows their stored pictures at once.

    Raises
    ------
    OSError
        A notebook or JupyterLab's folder for signatures cannot be used.

    >>> trust(".", [Laid("notes.txt", Laying.NEW)])
    0
    """
    import nbformat
    from jupyter_core.paths import jupyter_data_dir
    from nbformat.sign import NotebookNotary

    ours = {Laying.NEW, Laying.UPDATED, Laying.BESIDE}
    names = [entry.beside or entry.name for entry in laid if entry.outcome in ours]
    notebooks = [name for name in names if name.endswith(".ipynb")]
    if notebooks:
        # Where it is not told its folder, it reads the reader's settings.
        place = Path(jupyter_data_dir())
        place.mkdir(mode=0o700, parents=True, exist_ok=True)
        notary = NotebookNotary(data_dir=str(place))
        for name in notebooks:
            notary.sign(nbformat.read(Path(folder) / name, as_version=4))
        notary.store.close()
    return len(notebooks)


def _lay(target: Path, name: str, content: bytes, known: dict[str, str],
         day: datetime.date) -> tuple[Laid, dict[str, str]]:
    """Lay one file; return what became of it and the new note about it.

    In the note, `file` is the digest of what was laid under the name, and `brought` that of the
    newest version that the learner was given, under the name or beside it.
    """
    file = target / name
    new = hashlib.sha256(content).hexdigest()
    fresh = {"file": new, "brought": new}
    if not file.exists():
        write_whole(file, content)
        return Laid(name, Laying.NEW), fresh
    # What is there and is no file is the learner's too; a pipe would keep us waiting.
    current = hashlib.sha256(file.read_bytes()).hexdigest() if file.is_file() else ""
    if current == new:
        return Laid(name, Laying.SAME), fresh
    if current == known.get("file"):
        write_whole(file, content)
        return Laid(name, Laying.UPDATED), fresh
    if known.get("brought") == new:
        return Laid(name, Laying.KEPT), known
    beside = write_new(target, f"{file.stem}_{day.isoformat()}{file.suffix}", content)
    place = beside.relative_to(target).as_posix()
    return Laid(name, Laying.BESIDE, place), {**known, "brought": new}


def _read_note(note: Path) -> dict[str, dict[str, str]]:
    try:
        known = json.loads(read_utf8(note))
    except (FileNotFoundError, ValueError, RecursionError):
        # Without the note nothing is known to be ours, so nothing is replaced.
        return {}
    if not isinstance(known, dict):
        return {}
    return {name: said for name, said in known.items()
            if isinstance(said, dict) and all(isinstance(word, str) for word in said.values())}
