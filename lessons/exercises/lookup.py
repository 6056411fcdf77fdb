"""Where the lessons are found: by the number, or the own file, that an identifier starts with."""

import functools
import importlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from pathlib import Path

from labkit.plant.plant import Plant, load_plant
from lessons.exercises.item import Lesson

PLANT_VARIABLE = "WORKBOOK_PLANT"
_ASKED: ContextVar[Plant | None] = ContextVar("plant", default=None)


@contextmanager
def at_plant(plant: Plant | None) -> Iterator[None]:
    """Ask with the numbers of a plant inside the block; None leaves them as they are."""
    before = _ASKED.set(plant or _ASKED.get())
    try:
        yield
    finally:
        _ASKED.reset(before)


def plant_asked() -> Plant | None:
    """Return the plant whose numbers are asked, from `at_plant` or the environment; None without."""
    path = os.environ.get(PLANT_VARIABLE)
    return _ASKED.get() or (_loaded(path, _changed(path)) if path else None)


def _changed(path: str) -> int:
    return Path(path).stat().st_mtime_ns if Path(path).is_file() else 0


@functools.lru_cache(maxsize=4)
def _loaded(path: str, changed_ns: int) -> Plant:
    return load_plant(path)


@functools.lru_cache(maxsize=64)
def _made(lesson: Lesson, plant: Plant) -> Lesson:
    return lesson.made(plant=plant)


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
        The items of that lesson, with the numbers of the plant that is asked.

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
    plant = plant_asked()
    return _made(module.LESSON, plant) if plant and module.LESSON.made else module.LESSON
