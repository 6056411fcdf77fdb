"""The run sheet of a lesson: minutes, votes, board, and what goes wrong in the room."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from importlib.resources import files

from lessons.exercises.lookup import lesson_of
from lessons.exercises.misconceptions import misconception
from lessons.teaching.key import answer_key
from lessons.teaching.lesson_file import BY_CHOICE, LessonFile
from lessons.teaching.pages import page

__all__ = ["run_sheet", "teacher_notes"]

KEYS = ("cut", "board", "discuss", "goes_wrong", "vote", "demonstration")


def teacher_notes(number: str) -> Mapping[str, object]:
    """Return what no model can know of a lesson: the board, the room, the ten minutes.

    Parameters
    ----------
    number : str
        Of the lesson, two digits.

    Returns
    -------
    mapping
        "cut" (what to drop when ten minutes are lost: what, of which section, which items, how many
        minutes), "board" (a sketch in letters), "discuss", "goes_wrong", "demonstration" (ten
        minutes with one vote) and "vote" (the item of that vote).

    Raises
    ------
    ValueError
        When the lesson has no notes, or a key is missing.
    """
    file = files("lessons.teaching") / "notes" / f"{number}.toml"
    if not file.is_file():
        raise ValueError(f"number must be that of a lesson with notes, got {number!r}")
    notes = tomllib.loads(file.read_text("utf-8"))
    missing = [key for key in KEYS if not notes.get(key)]
    if missing or set(notes) - set(KEYS):
        raise ValueError(f"notes of lesson {number} must have {', '.join(KEYS)}, "
                         f"got {', '.join(notes)}")
    return notes


def run_sheet(lesson: LessonFile, *, seed: int = 0) -> str:
    """Return the run sheet of a lesson as a page that prints on A4.

    Parameters
    ----------
    seed : int
        Which numbers the key is for: 0 for those of the plant.

    Raises
    ------
    ValueError
        When the lesson has no notes.
    """
    key = {answer.id: answer for answer in answer_key(lesson.number, seed, lesson.fresh)}
    exercises = lesson_of(f"{lesson.number}-sheet")
    titles = {one.id: one.title for one in (*key.values(), *exercises.chains)}
    clock = 0
    rows = []
    for section in lesson.sections:
        names = exercises.recall if section.heading == "Recall" else section.items
        note = ("three of: " if section.heading == "Recall" and len(names) > 3
                else "by choice, beside the hour " if section.heading == BY_CHOICE else "")
        rows.append({"from": clock, "to": clock + section.minutes, "heading": section.heading,
                     "note": note, "items": [titles[name] for name in dict.fromkeys(names)]})
        clock += section.minutes
    identifiers = sorted({wrong.misconception[:3] for answer in key.values()
                          for wrong in answer.wrong if wrong.misconception.startswith("M")})
    notes = teacher_notes(lesson.number)
    return page(
        "runsheet.html.j2", title=f"Run sheet {lesson.number}: {lesson.title}", lesson=lesson,
        seed=seed, rows=rows, notes=notes, shown=key[notes["vote"]],
        votes=[answer for answer in key.values() if answer.voting],
        key=[answer for answer in key.values() if not answer.voting],
        misconceptions=[misconception(name) for name in identifiers])
