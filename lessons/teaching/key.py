"""The answer key of a lesson, for any seed: right answers, worked routes, typical wrong answers.

It is worked out from the items when it is asked for. Nothing of it stands in what learners get.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from lessons.exercises.choosing import Choice
from lessons.exercises.drilling import Drill
from lessons.exercises.item import Lesson, fill
from lessons.exercises.lookup import lesson_of
from lessons.exercises.misconceptions import misconception
from lessons.exercises.numeric import Numeric
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction
from lessons.exercises.table import Free, Pick, Table

__all__ = ["Answer", "Wrong", "answer_key"]


@dataclass(frozen=True)
class Wrong:
    """Hold a typical wrong answer: what it says, its misconception, what to reply.

    Parameters
    ----------
    says, misconception, reply : str
        `misconception` is an identifier with its short correction, or empty.
    """

    says: str
    misconception: str
    reply: str


@dataclass(frozen=True)
class Answer:
    """Hold the key of one item.

    Parameters
    ----------
    id, title, task : str
    situation : str
        What the task is about, with its numbers; empty for a fault drill, which shows its plant.
    right : tuple of str
        The right answer, line by line.
    route : str
        The worked solution with these numbers.
    wrong : tuple of Wrong
    voting : bool
    seed : int
        Which numbers.
    """

    id: str
    title: str
    task: str
    situation: str
    right: tuple[str, ...]
    route: str
    wrong: tuple[Wrong, ...]
    voting: bool
    seed: int


def answer_key(number: str, seed: int = 0, fresh: Mapping[str, int] | None = None
               ) -> tuple[Answer, ...]:
    """Work out the key of a lesson.

    Parameters
    ----------
    number : str
        Of the lesson, two digits.
    seed : int
        Which numbers: 0 for those of the plant.
    fresh : mapping of str to int, optional
        The seeds that the lesson names for some items, in place of the numbers of the plant.

    Returns
    -------
    tuple of Answer

    Raises
    ------
    ValueError
        When there is no such lesson.

    Examples
    --------
    >>> key = {answer.id: answer for answer in answer_key("01")}
    >>> key["01-downtime"].right
    ('35.04 min/a',)
    """
    lesson = lesson_of(f"{number}-key")
    fresh = fresh or {}
    return tuple(_answer(lesson, item, seed or fresh.get(item.id, 0))
                 for item in (*lesson.items, *lesson.drills))


def _answer(lesson: Lesson, item, seed: int) -> Answer:
    numbers = lesson.numbers(item.case, seed)
    task = item.task(numbers, seed)
    route = fill(item.hints.route, numbers) if getattr(item, "hints", None) else ""
    situation = "" if isinstance(item, Drill) else fill(item.case.text, numbers)
    return Answer(item.id, item.title, task, situation, _right(item, numbers), route,
                  tuple(_wrong(item, numbers)), bool(getattr(item, "voting", False)), seed)


def _right(item, numbers) -> tuple[str, ...]:
    if isinstance(item, Numeric):
        return (_number(item, numbers),)
    if isinstance(item, Choice):
        return tuple(f"{fill(option.text, numbers)}; {option.said_back(numbers)}"
                     for option in item.options if option.is_right(numbers))
    if isinstance(item, Prediction):
        best = [fill(option.text, numbers) for option in item.options if option.is_right(numbers)]
        seen = [fill(one.text, numbers) for one in item.statements if one.holds(numbers)]
        return (*best, *(f"seen: {text}" for text in seen))
    if isinstance(item, Order):
        return tuple(f"{place}. {fill(card, numbers)}" for place, card in enumerate(item.cards, 1))
    if isinstance(item, Table):
        return tuple(f"{' / '.join(place)}: {_cell(cell, numbers)}"
                     for place, cell in item.open_cells().items())
    return ()


def _number(item: Numeric, numbers) -> str:
    return _shown(item.solve(numbers), item.unit, digits=8 if item.complement else 4)


def _shown(value: float, unit: str, *, digits: int = 4) -> str:
    """Return a number as it is written on a board: thousands apart, no power of ten."""
    rounded = float(f"{value:.{digits}g}")
    if 10**digits <= abs(rounded) < 1e12:
        return f"{rounded:,.0f} {unit}".replace(",", " ").strip()
    return f"{value:.{digits}g} {unit}".strip()


def _cell(cell, numbers) -> str:
    if isinstance(cell, Pick):
        return cell.right(numbers)
    if isinstance(cell, Free):
        return f"for instance: {fill(cell.model, numbers)}"
    return _number(cell, numbers)


def _wrong(item, numbers):
    if isinstance(item, Numeric):
        for mark in item.fingerprints:
            yield Wrong(_shown(mark.value(numbers), item.unit),
                        _named(mark.misconception), fill(mark.question, numbers))
    elif isinstance(item, Choice | Prediction):
        for option in item.options:
            if not option.is_right(numbers):
                yield Wrong(fill(option.text, numbers), _named(option.misconception),
                            option.said_back(numbers) or _asked(option.misconception))


def _asked(identifier: str | None) -> str:
    """Return what to ask those who predicted so: the run is to be seen, and a number."""
    number = misconception(identifier).number() if identifier else ""
    return f"What does the run show against that? {number}".strip()


def _named(identifier: str | None) -> str:
    if not identifier:
        return ""
    entry = misconception(identifier)
    return f"{entry.id}: {entry.correction}"
