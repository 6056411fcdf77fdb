"""The tries of a learner: each answer as it is judged now, with its time, first and last."""

import functools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from types import SimpleNamespace

from lessons.exercises.attempts import Attempt
from lessons.exercises.item import Item, fill
from lessons.exercises.judging_again import JudgedAgain
from lessons.exercises.lookup import lesson_of
from lessons.exercises.misconceptions import safety_concern
from lessons.exercises.replies import STOP_HERE, UNCOUNTED, Judgement, Verdict
from lessons.exercises.session import NEXT_STEP

NO_TRY = (*UNCOUNTED, Verdict.BLANK.name)


@dataclass(frozen=True)
class Try:
    """Hold one answer to a question of this version, as it is judged now.

    >>> from lessons.exercises.judging_again import judged_again
    >>> made = Attempt("01-downtime", 0, "2031-03-03T08:00:00+00:00", "answer", "35 min", "RIGHT")
    >>> [one] = tries_of(judged_again([made]))
    >>> one.mark, one.points, one.week
    (('✓', 'right'), 2.0, '2031-W10')
    """

    item: Item
    attempt: Attempt
    when: datetime
    judged: Judgement

    @property
    def numbers(self) -> SimpleNamespace:
        """The numbers that the question had."""
        return lesson_of(self.item.id).numbers(self.item.case, self.attempt.seed)

    @property
    def right(self) -> bool:
        """Whether nothing is left to do."""
        return self.judged.verdict is Verdict.RIGHT

    @property
    def points(self) -> float:
        """Points as the printed key counts them: the share that is right, of those of the item."""
        return round(self.judged.score * self.item.points, 2)

    @property
    def mark(self) -> tuple[str, str]:
        """A shape and a word."""
        if self.right:
            return "✓", "right"
        if self.judged.verdict is Verdict.NOTED:
            return "○", "noted"
        if self.judged.verdict is Verdict.NOT_SURE:
            return "?", "not sure"
        return ("◐", "partly") if self.judged.score else ("✗", "not yet")

    @functools.cached_property
    def week(self) -> str:
        """Year and week of ISO 8601."""
        year, week, _ = self.when.isocalendar()
        return f"{year:04d}-W{week:02d}"

    @property
    def concern(self) -> str:
        """What about safety stands behind the answer, in words; empty where nothing does."""
        if self.judged.shows.startswith(STOP_HERE):
            return self.judged.shows
        return safety_concern(self.judged.misconception)

    @property
    def asked(self) -> str:
        """What the tutor asks after this answer, and what it says to do next."""
        then = self.judged.next_step
        if then is None:
            then = NEXT_STEP.get(self.judged.verdict) or fill(self.item.hints.pointer, self.numbers)
        return f"{self.judged.shows} {then}".strip()


def tries_of(again: JudgedAgain) -> tuple[Try, ...]:
    """Return the tries among judged attempts, in their order.

    What is unclear, blank, or a move within a drill is none; nor is an answer to a question of
    another version, for its right answer is not known here.
    """
    found = []
    for attempt, judgement in zip(again.attempts, again.judgements, strict=True):
        if judgement is None or judgement.verdict.name in NO_TRY:
            continue
        item = lesson_of(attempt.item_id).item(attempt.item_id)
        if not (item.many_answers and item.standing(judgement.verdict.name) == "begun"):
            when = datetime.fromisoformat(attempt.when).astimezone(UTC)
            found.append(Try(item, attempt, when, judgement))
    return tuple(found)


def first_and_last(tries: Iterable[Try]) -> Mapping[str, tuple[Try, Try]]:
    """Return the first and the last try at each item, in order of the items."""
    found: dict[str, tuple[Try, Try]] = {}
    for one in tries:
        first, _ = found.get(one.item.id, (one, one))
        found[one.item.id] = first, one
    return {name: found[name] for name in in_course_order(found)}


def in_course_order(names: Iterable[str]) -> Iterator[str]:
    """Yield identifiers of items lesson by lesson, each in its order."""
    wanted = set(names)
    for number in sorted({name.partition("-")[0] for name in wanted}):
        for item in lesson_of(f"{number}-").all_items:
            yield from (each.id for each in (item, *item.asked_next()) if each.id in wanted)
