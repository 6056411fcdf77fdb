"""Where the lessons are found: by the number that each identifier starts with."""

from __future__ import annotations

import importlib

from lessons.exercises.item import Lesson

__all__ = ["lesson_of"]


def lesson_of(item_id: str) -> Lesson:
    """Return the lesson that an identifier belongs to.

    Parameters
    ----------
    item_id : str
        Its first part is the number of the lesson, as in ``01-downtime``.

    Returns
    -------
    Lesson
        The items of that lesson.

    Raises
    ------
    ValueError
        Where the identifier names no lesson.

    >>> lesson_of("01-downtime").number
    '01'
    """
    number = item_id.partition("-")[0] if isinstance(item_id, str) else ""
    if not (len(number) == 2 and number.isdigit()):
        raise ValueError(f"item_id must start with the number of a lesson, got {item_id!r}")
    try:
        module = importlib.import_module(f"lessons.items.lesson_{number}")
    except ModuleNotFoundError:
        raise ValueError(f"item_id must name a lesson that exists, got {item_id!r}") from None
    return module.LESSON
