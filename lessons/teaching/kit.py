"""Make the instructor's files: one command each, with progress."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

from lessons.exercises.session import SEED_VARIABLE
from lessons.teaching.copies import glossary_copy, handout, reading_copy
from lessons.teaching.lesson_file import LessonFile, glossary_file, lesson_files, read_lesson
from lessons.teaching.pages import page
from lessons.teaching.run_sheet import run_sheet
from lessons.teaching.slides import slides

__all__ = ["run_lesson", "write_copies", "write_key"]

CELL_LIMIT_S = 120


def run_lesson(path: str | Path, *, seed: int = 0) -> LessonFile:
    """Run a lesson from the top, nothing answered, and read it with its pictures.

    Parameters
    ----------
    path : str or Path
        The notebook; it is not changed.
    seed : int
        Which numbers its exercises have: 0 for those of the plant.

    Raises
    ------
    nbclient.exceptions.CellExecutionError
        When a cell fails.
    OSError
        When it cannot be read.
    """
    import nbformat
    from nbclient import NotebookClient

    path = Path(path)
    notebook = nbformat.read(path, as_version=4)
    # the copy must not land in anybody's record
    environment = {**os.environ, "OPENBLAS_NUM_THREADS": "1", "WORKBOOK_RECORD": "",
                   SEED_VARIABLE: str(seed)}
    client = NotebookClient(notebook, timeout=CELL_LIMIT_S, kernel_name="python3",
                            # remarks of the kernel on its transport are none of an instructor's
                            extra_arguments=["--log-level=ERROR"],
                            resources={"metadata": {"path": str(path.parent)}})
    client.execute(env=environment)
    with tempfile.TemporaryDirectory() as folder:
        ran = Path(folder) / path.name
        ran.write_text(json.dumps(notebook), "utf-8")
        return read_lesson(ran)


def write_copies(folder: str | Path, *, only: Iterable[str] = (), seed: int = 0,
                 progress: Callable[[str], None] = lambda line: None) -> tuple[Path, ...]:
    """Write reading copy, handout and slides of each lesson, glossary and first steps.

    Parameters
    ----------
    folder : str or Path
        Made if it is not there.
    only : iterable of str
        Numbers of the lessons; all if empty.
    seed : int
        Which numbers the exercises have: 0 for those of the plant.
    progress : callable
        Called with a line for each file.

    Raises
    ------
    ValueError
        When a number is not that of a lesson.
    OSError
        When the folder cannot be written.
    """
    written = []
    for path in _chosen(only):
        progress(f"{path.stem}: running")
        lesson = run_lesson(path, seed=seed)
        for name, text in ((f"{path.stem}.html", reading_copy(lesson)),
                           (f"{path.stem}_handout.html", handout(lesson)),
                           (f"{path.stem}_slides.html", slides(lesson, seed=seed))):
            written.append(_write(Path(folder) / name, text))
            progress(f"  {name}")
    for name, text in (("glossary.html", glossary_copy(read_lesson(glossary_file()))),
                       ("first_time.html", page("first_time.html.j2"))):
        written.append(_write(Path(folder) / name, text))
        progress(name)
    return tuple(written)


def write_key(folder: str | Path, *, only: Iterable[str] = (), seed: int = 0,
              progress: Callable[[str], None] = lambda line: None) -> tuple[Path, ...]:
    """Write the run sheet of each lesson with its key: for instructors only.

    Parameters
    ----------
    folder, only, progress
        As in `write_copies`.
    seed : int
        Which numbers the key is for.

    Raises
    ------
    ValueError
        When a number is not that of a lesson, or a lesson has no notes.
    OSError
        When the folder cannot be written.
    """
    written = []
    for path in _chosen(only):
        name = f"{path.stem}_run_sheet_seed_{seed}.html"
        written.append(_write(Path(folder) / name, run_sheet(read_lesson(path), seed=seed)))
        progress(name)
    return tuple(written)


def _chosen(only: Iterable[str]) -> list[Path]:
    lessons = {path.stem[:2]: path for path in lesson_files()}
    numbers = list(only) or list(lessons)
    for number in numbers:
        if number not in lessons:
            raise ValueError(f"a lesson must be one of {', '.join(lessons)}, got {number!r}")
    return [lessons[number] for number in numbers]


def _write(path: Path, text: str) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text, "utf-8")
    return path
