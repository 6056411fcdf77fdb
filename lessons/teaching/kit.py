"""Make the instructor's files: one command each, with progress."""

from __future__ import annotations

import json
import os
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

from labkit.plant.plant import Plant
from labkit.writing import write_whole
from lessons.exercises.session import SEED_VARIABLE
from lessons.teaching.copies import glossary_copy, reading_copy
from lessons.teaching.deck import deck
from lessons.teaching.exam import (
    draw_exam,
    exam_key,
    exam_paper,
    exam_quiz,
    exam_table,
)
from lessons.teaching.exam_qti import exam_qti
from lessons.teaching.key import key_page
from lessons.teaching.lesson_file import (
    LessonFile,
    chosen_lessons,
    glossary_file,
    number_of,
    read_lesson,
)
from lessons.teaching.pages import page
from lessons.teaching.run_sheet import run_sheet
from lessons.teaching.teacher_notes import teacher_notes
from lessons.teaching.worksheet import worksheets

__all__ = ["run_lesson", "write_copies", "write_decks", "write_exam", "write_key",
           "write_worksheets"]

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
    """Write the reading copy of each lesson, the glossary and the first steps.

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
    for path in chosen_lessons(only):
        progress(f"{path.stem}: running")
        written.append(_write(Path(folder) / f"{path.stem}.html",
                              reading_copy(run_lesson(path, seed=seed))))
        progress(f"  {path.stem}.html")
    for name, text in (("glossary.html", glossary_copy(read_lesson(glossary_file()))),
                       ("first_time.html", page("first_time.html.j2"))):
        written.append(_write(Path(folder) / name, text))
        progress(name)
    return tuple(written)


def write_worksheets(folder: str | Path, *, only: Iterable[str] = (), seed: int = 0,
                     plant: Plant | None = None,
                     progress: Callable[[str], None] = lambda line: None) -> tuple[Path, ...]:
    """Write the three worksheets of each lesson: before the run, after it, what was seen.

    Parameters
    ----------
    folder, only, seed, progress
        As in `write_copies`.
    plant : Plant, optional
        Which one is drawn, and has the fault drills; that of the lessons where it is left out.

    Raises
    ------
    ValueError
        When a number is not that of a lesson.
    OSError
        When the folder cannot be written.
    """
    written = []
    for path in chosen_lessons(only, own=True):
        sheets, _ = worksheets(read_lesson(path), seed=seed, plant=plant)
        for number, sheet in enumerate(sheets, 1):
            name = f"{number_of(path)}_{number}_{sheet.name.replace(' ', '_')}_seed_{seed}.html"
            written.append(_write(Path(folder) / name, sheet.html))
            progress(f"{name}: {len(sheet.pages)} {'page' if len(sheet.pages) == 1 else 'pages'}")
    return tuple(written)


def write_decks(folder: str | Path, *, only: Iterable[str] = (), seed: int = 0,
                plant: Plant | None = None,
                progress: Callable[[str], None] = lambda line: None) -> tuple[Path, ...]:
    """Write the deck of each lesson: it holds the answers, each on the slide after its vote.

    Parameters
    ----------
    folder, only, seed, plant, progress
        As in `write_worksheets`.

    Raises
    ------
    ValueError
        When a number is not that of a lesson.
    OSError
        When the folder cannot be written.
    """
    written = []
    for path in chosen_lessons(only):
        name = f"{path.stem[:2]}_deck_seed_{seed}.html"
        written.append(_write(Path(folder) / name, deck(read_lesson(path), seed=seed, plant=plant)))
        progress(name)
    return tuple(written)


def write_key(folder: str | Path, *, only: Iterable[str] = (), seed: int = 0,
              plant: Plant | None = None,
              progress: Callable[[str], None] = lambda line: None) -> tuple[Path, ...]:
    """Write key and run sheet of each lesson: for instructors only.

    Parameters
    ----------
    folder, only, progress
        As in `write_copies`.
    seed, plant
        Those of the worksheets.

    Raises
    ------
    ValueError
        When a number is not that of a lesson, or a lesson has no notes.
    OSError
        When the folder cannot be written.
    """
    written = []
    for path in chosen_lessons(only, own=True):
        lesson = read_lesson(path)
        pages = [("key", key_page(lesson, seed=seed, plant=plant))]
        if teacher_notes(lesson.number):
            pages.append(("run_sheet", run_sheet(lesson, seed=seed)))
        for kind, text in pages:
            name = f"{path.stem}_{kind}_seed_{seed}.html"
            written.append(_write(Path(folder) / name, text))
            progress(name)
    return tuple(written)


def write_exam(folder: str | Path, *, only: Iterable[str] = (), seed: int = 1, variants: int = 2,
               minutes: int = 60, pass_percent: int = 60, export: bool = False,
               progress: Callable[[str], None] = lambda line: None) -> tuple[Path, ...]:
    """Write the paper of each variant of an exam, and one key of all.

    Parameters
    ----------
    folder, only, progress
        As in `write_copies`.
    seed, variants, minutes, pass_percent
        As in `draw_exam`.
    export : bool
        Whether the questions are written as CSV, as XML and as QTI 2.1 for a learning platform too.

    Raises
    ------
    ValueError
        When a number is not that of a lesson, or is out of its range.
    OSError
        When the folder cannot be written.
    """
    exam = draw_exam([number_of(path) for path in chosen_lessons(only, own=True)], seed=seed, variants=variants,
                     minutes=minutes, pass_percent=pass_percent)
    written = []
    for variant in exam.variants:
        name = f"exam_seed_{seed}_variant_{variant.letter}.html"
        written.append(_write(Path(folder) / name, exam_paper(exam, variant)))
        progress(f"{name}: {len(variant.pages)} {'page' if len(variant.pages) == 1 else 'pages'}"
                 + ("" if variant is exam.variants[0] else
                    f", another answer than A in {exam.differing(variant)} of {exam.count} questions"))
    name = f"exam_seed_{seed}_key.html"
    written.append(_write(Path(folder) / name, exam_key(exam)))
    progress(f"{name}: {exam.count} questions, {exam.points} points, "
             f"{exam.pass_points} are enough")
    for name, text in ((f"exam_seed_{seed}.csv", "\ufeff" + exam_table(exam)),
                       (f"exam_seed_{seed}.xml", exam_quiz(exam)),
                       (f"exam_seed_{seed}_qti.zip", exam_qti(exam))) if export else ():
        written.append(_write(Path(folder) / name, text))
        progress(f"{name}: questions and answers")
    return tuple(written)


def _write(path: Path, text: str | bytes) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    return write_whole(path, text)
