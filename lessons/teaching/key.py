"""The answer key of a lesson, for any seed: right answers, worked routes, typical wrong answers.

It is worked out from the items when it is asked for. Nothing of it stands in what learners get.
The page of the key begins with one leaf for whoever marks the worksheets: numbers of questions,
letters, results and points, all from the judging of the items.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from lessons.exercises.item import Item, KnownError, Lesson, fill
from lessons.exercises.lookup import lesson_of
from lessons.exercises.misconceptions import misconception
from lessons.teaching.lesson_file import LessonFile
from lessons.teaching.pages import page
from lessons.teaching.worksheet import question_of, worksheets


@dataclass(frozen=True)
class Answer:
    """Hold the key of one item.

    Parameters
    ----------
    situation : str
        What the task is about, with its numbers; empty for a fault drill, which shows its plant.
    right : tuple of str
        The right answer, line by line.
    route : str
        The worked solution with these numbers.
    wrong : tuple of KnownError
        Typical wrong answers, each misconception with its short correction.
    seed : int
        Which numbers.
    """

    id: str
    title: str
    task: str
    situation: str
    right: tuple[str, ...]
    route: str
    wrong: tuple[KnownError, ...]
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

    Raises
    ------
    ValueError
        When there is no such lesson.

    >>> key = {answer.id: answer for answer in answer_key("01")}
    >>> key["01-downtime"].right
    ('35.04 min/a',)
    """
    lesson = lesson_of(f"{number}-key")
    fresh = fresh or {}
    return tuple(_answer(lesson, item, seed or fresh.get(item.id, 0))
                 for item in lesson.all_items)


def key_page(lesson: LessonFile, *, seed: int = 0) -> str:
    """Return the key of a lesson as a page: what to mark by, then the reasons, then the drills.

    Parameters
    ----------
    seed
        That of the worksheets.
    """
    _, questions = worksheets(lesson, seed=seed)
    answers = {answer.id: answer for answer in answer_key(lesson.number, seed, lesson.fresh)}
    votes = [question_of(lesson, item, seed) for item in lesson_of(f"{lesson.number}-key").items
             if item.voting or item.id.endswith("-exit")]
    numbered = {each.item.id: each.number for each in questions}
    ordered = sorted(answers.values(), key=lambda answer: numbered.get(answer.id, len(answers) + 1))
    identifiers = sorted({wrong.misconception[:3] for answer in answers.values()
                          for wrong in answer.wrong if wrong.misconception.startswith("M")})
    return page("key.html.j2", lesson=lesson, seed=seed, questions=questions, votes=votes, key=ordered,
                numbered=numbered, misconceptions=[misconception(name) for name in identifiers])


def _answer(lesson: Lesson, item: Item, seed: int) -> Answer:
    numbers = lesson.numbers(item.case, seed)
    wrong = tuple(
        replace(error, misconception=_named(error.misconception),
                reply=error.reply or asked_of(error.misconception))
        for error in item.known_errors(numbers) if error.says)
    return Answer(item.id, item.title, item.task(numbers, seed), fill(item.case.text, numbers),
                  item.key_lines(numbers), fill(item.hints.route, numbers), wrong, item.voting, seed)


def asked_of(identifier: str | None) -> str:
    """Return what to ask those who predicted so: the run is to be seen, and a number."""
    number = misconception(identifier).number() if identifier else ""
    return f"What does the run show against that? {number}".strip()


def _named(identifier: str | None) -> str:
    if not identifier:
        return ""
    entry = misconception(identifier)
    return f"{entry.id}: {entry.correction}"
