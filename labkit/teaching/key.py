"""The answer key of a lesson, for any seed: right answers, worked routes, typical wrong answers.

It is worked out from the items when it is asked for. Nothing of it stands in what learners get.
"""

from __future__ import annotations

from dataclasses import dataclass

from labkit.exercises.choosing import Choice
from labkit.exercises.items import Lesson, fill
from labkit.exercises.misconceptions import misconception
from labkit.exercises.numeric import Numeric
from labkit.exercises.ordering import Order
from labkit.exercises.predicting import Prediction
from labkit.exercises.session import lesson_of
from labkit.exercises.table import Free, Pick, Table

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
    right : tuple of str
        The right answer, line by line.
    route : str
        The worked solution with these numbers.
    wrong : tuple of Wrong
    voting : bool
    """

    id: str
    title: str
    task: str
    right: tuple[str, ...]
    route: str
    wrong: tuple[Wrong, ...]
    voting: bool


def answer_key(number: str, seed: int = 0) -> tuple[Answer, ...]:
    """Work out the key of a lesson.

    Parameters
    ----------
    number : str
        Of the lesson, two digits.
    seed : int
        Which numbers: 0 for those of the plant.

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
    return tuple(_answer(lesson, item, seed) for item in (*lesson.items, *lesson.drills))


def _answer(lesson: Lesson, item, seed: int) -> Answer:
    numbers = lesson.numbers(item.case, seed)
    task = item.task(numbers, seed)
    route = fill(item.hints.route, numbers) if getattr(item, "hints", None) else ""
    return Answer(item.id, item.title, task, _right(item, numbers), route,
                  tuple(_wrong(item, numbers)), bool(getattr(item, "voting", False)))


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
    value = item.solve(numbers)
    digits = 8 if item.complement else 4
    return f"{value:.{digits}g} {item.unit}".strip()


def _cell(cell, numbers) -> str:
    if isinstance(cell, Pick):
        return cell.right(numbers)
    if isinstance(cell, Free):
        return f"for instance: {fill(cell.model, numbers)}"
    return _number(cell, numbers)


def _wrong(item, numbers):
    if isinstance(item, Numeric):
        for mark in item.fingerprints:
            yield Wrong(f"{mark.value(numbers):.4g} {item.unit}".strip(),
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
