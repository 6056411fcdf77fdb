"""A short digest of what an item asks, by which a record finds that an item has changed since."""

import functools
import hashlib
import json
from collections.abc import Mapping
from dataclasses import is_dataclass

from lessons.exercises.attempts import Attempt
from lessons.exercises.item import Lesson
from lessons.exercises.lookup import lesson_of

LENGTH = 8


def digest_of(item) -> str:
    """Return a short digest of what an item asks: type, templates, numbers, unit, options.

    Parameters
    ----------
    item : Item
        Of any type.

    Returns
    -------
    str
        8 hexadecimal digits, the same on every machine and in every run.

    Notes
    -----
    What counts is what the class of each thing names in `DIGESTED`: what makes an item the one that
    was answered. Hints, replies and reasons may improve meanwhile.
    Models and solvers are functions and leave no trace in it: a corrected result under an
    unchanged question is not seen. Numbers count to nine digits, so that the last bits of a
    machine do not. Two unlike items agree by chance once in 4 000 million.

    >>> from dataclasses import replace
    >>> from lessons.exercises.item import Case, Hints
    >>> from lessons.exercises.choosing import Choice, Option
    >>> item = Choice("00-demo", "Demo", "", Case("demo"), "Which?",
    ...               (Option("x", "This", right=True), Option("y", "That")), Hints("", "", ""))
    >>> digest_of(item) == digest_of(replace(item, hints=Hints("Look.", "", "")))
    True
    >>> digest_of(item) == digest_of(replace(item, ask="Which one?"))
    False
    """
    text = json.dumps(_asked(item), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:LENGTH]


def digest_now(item_id: str) -> str | None:
    """Return the digest of an item as it is asked now; None where the course does not have it."""
    try:
        return _digest_in(lesson_of(item_id), item_id)
    except ValueError:
        return None


@functools.lru_cache(maxsize=4096)
def _digest_in(lesson: Lesson, item_id: str) -> str:
    return digest_of(lesson.item(item_id))


def is_asked_so(attempt: Attempt) -> bool:
    """Return True where an attempt was made at the item as it is now, as far as can be known."""
    now = digest_now(attempt.item_id)
    return now is not None and attempt.digest in ("", now)


def _asked(thing: object) -> object:
    """Return what counts of a thing, in lists and plain values."""
    if is_dataclass(thing):
        names = sorted(thing.DIGESTED)
        return [type(thing).__name__, *([name, _asked(getattr(thing, name))] for name in names)]
    if isinstance(thing, Mapping):
        return [[_asked(key), _asked(value)] for key, value in thing.items()]
    if isinstance(thing, list | tuple):
        return [_asked(part) for part in thing]
    if isinstance(thing, float):
        return f"{thing:.9g}"
    return thing if isinstance(thing, str | int | None) else ""
