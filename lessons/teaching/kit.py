"""The instructor's files: what each command yields, and how it is written."""

import atexit
import json
import os
import tempfile
from collections.abc import Callable, Iterable, Sized
from pathlib import Path

from labkit.plant.plant import Plant
from labkit.writing import write_whole
from lessons.exercises.lookup import at_plant, lesson_of
from lessons.exercises.session import SEED_VARIABLE
from lessons.teaching.copies import glossary_copy, reading_copy
from lessons.teaching.deck import deck
from lessons.teaching.exam import draw_exam, exam_key, exam_paper, exam_quiz, exam_table
from lessons.teaching.exam_qti import exam_qti
from lessons.teaching.key import key_page
from lessons.teaching.lesson_file import (
    LessonFile,
    chosen_lessons,
    glossary_file,
    number_of,
    read_lesson,
)
from lessons.teaching.pages import Files, page
from lessons.teaching.run_sheet import run_sheet
from lessons.teaching.teacher_notes import teacher_notes
from lessons.teaching.worksheet import worksheets

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
    try:
        client.execute(env=environment)
    except OSError as problem:
        # Where its files cannot be written, no kernel is there that could be cleared away at the end.
        atexit.unregister(client._cleanup_kernel)
        raise OSError(problem.errno, problem.strerror,
                      problem.filename or tempfile.gettempdir()) from None
    with tempfile.TemporaryDirectory() as folder:
        return read_lesson(write_whole(Path(folder) / path.name, json.dumps(notebook)))


def numbers_of(plant: Plant, only: Iterable[str] = ()) -> str:
    """Say in one line which questions have the numbers of a plant, and which keep those of the lessons.

    >>> from labkit import load_plant
    >>> numbers_of(load_plant("mirelow"), ["09"]).partition(".")[0]
    'Mirelow Mushroom House gives the numbers of 1 question'
    """
    with at_plant(plant):
        items = [item for path in chosen_lessons(only)
                 for item in lesson_of(f"{number_of(path)}-plant").items if item.case.numbers]
    given = sum(item.case.of_plant for item in items)
    kept = [item.id for item in items if not item.case.of_plant]
    return (f"{plant.name} gives the numbers of {given} {'question' if given == 1 else 'questions'}. "
            f"Those of the lessons are kept, for the text or the model needs them, by: "
            f"{', '.join(kept) or 'none'}.")


def copies(*, only: Iterable[str] = (), seed: int = 0) -> Files:
    """Yield the reading copy of each lesson, the glossary and the first steps.

    Parameters
    ----------
    only : iterable of str
        Numbers of the lessons; all if empty.
    seed : int
        Which numbers the exercises have: 0 for those of the plant.

    Raises
    ------
    ValueError
        When a number is not that of a lesson.
    """
    for path in chosen_lessons(only):
        yield f"{path.stem}: running"
        yield f"{path.stem}.html", reading_copy(run_lesson(path, seed=seed)), ""
    yield "glossary.html", glossary_copy(read_lesson(glossary_file())), ""
    yield "first_time.html", page("first_time.html.j2"), ""


def sheets(*, only: Iterable[str] = (), seed: int = 0) -> Files:
    """Yield the three worksheets of each lesson: before the run, after it, what was seen."""
    for path in chosen_lessons(only, own=True):
        for number, sheet in enumerate(worksheets(read_lesson(path), seed=seed)[0], 1):
            yield (f"{number_of(path)}_{number}_{sheet.name.replace(' ', '_')}_seed_{seed}.html", sheet.html,
                   _pages(sheet.pages))


def decks(*, only: Iterable[str] = (), seed: int = 0) -> Files:
    """Yield the deck of each lesson: it holds the answers, each on the slide after its vote."""
    for path in chosen_lessons(only):
        yield f"{path.stem[:2]}_deck_seed_{seed}.html", deck(read_lesson(path), seed=seed), ""


def keys(*, only: Iterable[str] = (), seed: int = 0) -> Files:
    """Yield key and run sheet of each lesson, with the words of its worksheets."""
    for path in chosen_lessons(only, own=True):
        lesson = read_lesson(path)
        yield f"{path.stem}_key_seed_{seed}.html", key_page(lesson, seed=seed), ""
        if teacher_notes(lesson.number):
            yield f"{path.stem}_run_sheet_seed_{seed}.html", run_sheet(lesson, seed=seed), ""


def exam(*, only: Iterable[str] = (), seed: int = 1, variants: int = 2, minutes: int = 60,
         pass_percent: int = 60, export: bool = False) -> Files:
    """Yield the paper of each variant of an exam, and one key of all.

    The words are those of `draw_exam`; `export` asks for the questions as CSV, as XML and as QTI 2.1
    too.
    """
    drawn = draw_exam([number_of(path) for path in chosen_lessons(only, own=True)], seed=seed,
                      variants=variants, minutes=minutes, pass_percent=pass_percent)
    name = f"exam_seed_{seed}"
    for each in drawn.variants:
        yield f"{name}_variant_{each.letter}.html", exam_paper(drawn, each), _pages(each.pages) + (
            "" if each is drawn.variants[0] else
            f", another answer than A in {drawn.differing(each)} of {drawn.count} questions")
    yield (f"{name}_key.html", exam_key(drawn),
           f": {drawn.count} questions, {drawn.points} points, {drawn.pass_points} are enough")
    if export:
        for ending, content in ((".csv", "\ufeff" + exam_table(drawn)), (".xml", exam_quiz(drawn)),
                                ("_qti.zip", exam_qti(drawn))):
            yield f"{name}{ending}", content, ": questions and answers"


def _pages(pages: Sized) -> str:
    return f": {len(pages)} {'page' if len(pages) == 1 else 'pages'}"


def written(folder: str | Path, files: Files, say: Callable[[str], None] = lambda line: None
            ) -> tuple[Path, ...]:
    """Write files into a folder, which is made if it is not there, and say what comes between them.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    paths = []
    for file in files:
        if isinstance(file, str):
            say(file)
            continue
        name, content, said = file
        Path(folder).mkdir(parents=True, exist_ok=True)
        paths.append(write_whole(Path(folder) / name, content))
        say(f"{name}{said}")
    return tuple(paths)
