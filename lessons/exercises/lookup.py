"""Where the lessons are found: by the number, or the own file, that an identifier starts with."""

from __future__ import annotations

import importlib

from lessons.exercises.item import Lesson

__all__ = ["lesson_of"]


def lesson_of(item_id: str) -> Lesson:
    """Return the lesson that an identifier belongs to.

    Parameters
    ----------
    item_id : str
        Its first part is the number of the lesson, as in ``01-downtime``, or the name of a file of
        own questions.

    Returns
    -------
    Lesson
        The items of that lesson.

    Raises
    ------
    ValueError
        Where the identifier names no lesson, or something is wrong in the file of own questions.

    >>> lesson_of("01-downtime").number
    '01'
    """
    number = item_id.partition("-")[0] if isinstance(item_id, str) else ""
    if not (len(number) == 2 and number.isdigit()):
        own = importlib.import_module("lessons.items.own_questions")
        if path := own.own_file(number):
            return own.own_lesson(path)
        raise ValueError(f"item_id must start with the number of a lesson, got {item_id!r}")
    try:
        module = importlib.import_module(f"lessons.items.lesson_{number}")
    except ModuleNotFoundError:
        raise ValueError(f"item_id must name a lesson that exists, got {item_id!r}") from None
    return module.LESSON
