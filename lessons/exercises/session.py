"""Answers in, replies out: three parts of feedback, the ladder of hints, and what is kept.

A :class:`Session` judges answers and hands every attempt to a recorder. It keeps nothing itself:
how far up the ladder an item stands is read from the attempts that the recorder returns. What each
call takes is said once, at the door: :mod:`.by_text`. A seed of None is that of the session.
"""

import functools
import json
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from datetime import UTC, datetime

from labkit.arguments import written
from lessons.exercises.attempts import Attempt, Recorder, course_version
from lessons.exercises.digest import digest_now, is_asked_so
from lessons.exercises.item import CaseStep, Item, Lesson, SteppedCase, fill, is_blank, ticked_keys
from lessons.exercises.learner_record import LearnerRecord, open_record
from lessons.exercises.lookup import lesson_of
from lessons.exercises.progress import missed_before
from lessons.exercises.replies import (
    CLIMBS,
    SOLVED,
    TOP,
    UNCOUNTED,
    Judgement,
    Reply,
    Verdict,
    rung_after,
)
from lessons.language.edges import turned_back

SEED_VARIABLE = "WORKBOOK_SEED"

NEXT_STEP = {
    Verdict.BLANK: "Answer in the box, or by text.",
    Verdict.UNIT: "Write the number and its unit once more.",
    Verdict.UNCLEAR: "Nothing was counted.",
    Verdict.NEAR: "Nothing was counted.",
    Verdict.FOLLOWS: "Go back to the step before.",
    Verdict.AS_ROUTE: "It was told, and does not count. Other numbers do.",
}
QUESTIONS, BROUGHT_BACK = 3, 2
MOST_LETTERS = 20_000


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="microseconds")


def _kept(answer: object) -> object:
    """Return an answer as a file can hold it; of what is longer than any answer the beginning."""
    if isinstance(answer, str):
        return answer[:MOST_LETTERS]
    try:
        text = json.dumps(answer, default=str)
    except (TypeError, ValueError, RecursionError):
        return written(answer)  # a list in itself, a number of 5000 digits
    return answer if len(text) <= MOST_LETTERS else written(answer)


class Session:
    """Judge answers and say what to do next.

    Parameters
    ----------
    recorder : Recorder or None
        Where attempts go; a record in memory where none is given.
    seed : int
        Which numbers items have where no seed is named: 0 for those of the plant.
    clock : callable
        Returns the time of day as text.

    >>> Session().check("01-downtime", "35 min/a").verdict
    <Verdict.RIGHT: 'Right'>
    """

    def __init__(self, recorder: Recorder | None = None, *, seed: int = 0,
                 clock: Callable[[], str] = _now) -> None:
        self.recorder = LearnerRecord() if recorder is None else recorder
        self.seed = seed
        self._clock = clock

    def _found(self, item_id: str, seed: int | None):
        lesson = lesson_of(item_id)
        item = lesson.item(item_id)
        seed = self.seed if seed is None else seed
        return lesson, item, lesson.numbers(item.case, seed), seed

    def _keep(self, item_id: str, seed: int, kind: str, raw: object, judged: Judgement) -> None:
        if isinstance(raw, Mapping):
            raw = {" / ".join(map(str, place)) if isinstance(place, tuple) else str(place): text
                   for place, text in raw.items()}
        text = raw if isinstance(raw, str) else json.dumps(raw, default=str)
        self.recorder.add(
            Attempt(
                item_id, seed, self._clock(), kind, text, judged.verdict.name, judged.value,
                judged.misconception, digest_now(item_id), course_version(),
                judged.slip,
            )
        )

    def _with_notice(self, reply: Reply) -> Reply:
        """Return a reply that says where the recorder could not keep what it replies to."""
        return replace(reply, notice=getattr(self.recorder, "problem", ""))

    def _attempts(self, item_id: str, seed: int) -> list[Attempt]:
        """Return the attempts at an item as it is now, with these numbers."""
        return [a for a in self.recorder.attempts()
                if (a.item_id, a.seed) == (item_id, seed) and is_asked_so(a)]

    def rung(self, item_id: str, seed: int | None = None) -> int:
        """Return how far up the ladder an item stands: 3 where the full route was shown."""
        seed = self.seed if seed is None else seed
        rung, moves = 0, lesson_of(item_id).item(item_id).many_answers
        for attempt in self._attempts(item_id, seed):
            rung = rung_after(rung, attempt.kind, attempt.verdict, moves=moves)
        return rung

    def task(self, item_id: str, seed: int | None = None) -> str:
        """Return a task as text."""
        lesson = lesson_of(item_id)
        if any(chain.id == item_id for chain in lesson.chains):
            return self._chain_text(lesson, lesson.chain(item_id), seed)
        lesson, item, numbers, used = self._found(item_id, seed)
        return f"{item.title}\n{item.task(numbers, used)}\n{self._call(item, seed)}"

    @staticmethod
    def _call(item, seed: int | None) -> str:
        tail = "" if seed is None else f", seed={seed}"
        return f"By text: check({item.id!r}, ...{tail})"

    def check(self, item_id: str, answer: object = None, seed: int | None = None) -> Reply:
        """Judge an answer, keep the attempt unless it is blank, and reply."""
        answer = turned_back(answer)
        answer = ({place: _kept(cell) for place, cell in answer.items()}
                  if isinstance(answer, Mapping) else _kept(answer))
        lesson, item, numbers, seed = self._found(item_id, seed)
        judged = item.judge(answer, numbers, seed, self._earlier(lesson, seed))
        if judged.verdict is Verdict.RIGHT and self._was_told(item, seed):
            judged = replace(judged, verdict=Verdict.AS_ROUTE, score=0.0, next_step=None)
        if judged.verdict is not Verdict.BLANK:
            self._keep(item_id, seed, "answer", answer, judged)
        return self._with_notice(self._reply(lesson, item, numbers, seed, judged))

    def _was_told(self, item: Item, seed: int) -> bool:
        """Return True where the full route was shown before the first right answer."""
        return (item.case.varies and self.rung(item.id, seed) == TOP
                and not self._solved(item.id, seed))

    def _solved(self, item_id: str, seed: int) -> bool:
        return any(a.verdict == Verdict.RIGHT.name for a in self._attempts(item_id, seed))

    def in_a_row(self, item: Item) -> int:
        """Count the sets of numbers answered right one after the other, up to now."""
        seeds: list[int] = []
        for a in reversed(self.recorder.attempts()):
            if a.item_id == item.id and a.kind == "answer" and is_asked_so(a):
                if a.verdict in UNCOUNTED:
                    continue
                if a.verdict != Verdict.RIGHT.name:
                    break
                seeds.append(a.seed)
        return len(set(seeds))

    def _earlier(self, lesson: Lesson, seed: int) -> dict[str, object]:
        attempts = self.recorder.attempts()
        known = {
            a.item_id: a.value
            for a in attempts
            if a.seed == seed and a.kind == "answer" and a.item_id.startswith(lesson.number)
            and a.value is not None and is_asked_so(a)
        }
        return known | {SOLVED: {a.item_id for a in attempts if a.verdict == Verdict.RIGHT.name}}

    def hint(self, item_id: str, seed: int | None = None) -> Reply:
        """Climb one rung without an answer."""
        lesson, item, numbers, seed = self._found(item_id, seed)
        judged = Judgement(Verdict.HINT)
        self._keep(item_id, seed, "hint", "", judged)
        return self._with_notice(self._reply(lesson, item, numbers, seed, judged))

    def _reply(self, lesson: Lesson, item: Item, numbers, seed: int, judged: Judgement) -> Reply:
        verdict, rung = judged.verdict, self.rung(item.id, seed)
        settled = verdict is Verdict.RIGHT or rung == TOP
        offered, released = item.afterwards(judged, numbers, settled=settled)
        offers, next_step = [offered], judged.next_step
        if next_step is None:
            next_step = NEXT_STEP.get(verdict, "")
            if verdict.name in CLIMBS:
                next_step = self._rung_text(item, numbers, rung)
                offers.append((
                    "On offer: the relation to use (hint).",
                    "On offer: the full route (hint).",
                    self._new_numbers(item, seed),
                )[rung - 1])
        chain = self._chain_with(lesson, item.id)
        if verdict is Verdict.RIGHT:
            for later in item.asked_next():
                released = self.task(later.id, None if seed == self.seed else seed)
            if chain is None and item.case.varies:
                offers.append(f"Right in a row: {self.in_a_row(item)}.")
        if chain is None and verdict in (Verdict.RIGHT, Verdict.AS_ROUTE):
            offers.append(self._new_numbers(item, seed))
        if chain is not None:
            released = self._released(lesson, chain, item.id, seed) or released
        return Reply(
            verdict, judged.shows, next_step, " ".join(filter(None, offers)), released,
            judged.misconception, judged.value, judged.score,
        )

    @staticmethod
    def _rung_text(item, numbers, rung: int) -> str:
        hints = item.hints
        return fill((hints.pointer, hints.relation, hints.route)[rung - 1], numbers)

    @staticmethod
    def _new_numbers(item, seed: int) -> str:
        return f"On offer: new numbers (seed {seed + 1})." if item.case.varies else ""

    def skip(self, item_id: str, seed: int | None = None) -> Reply:
        """Show a run without a prediction. It is recorded as skipped, never as wrong."""
        _, item, numbers, seed = self._prediction(item_id, seed)
        judged = Judgement(Verdict.SKIPPED)
        self._keep(item_id, seed, "skip", "", judged)
        return self._with_notice(
            Reply(Verdict.SKIPPED, next_step="Now observe.", released=item.run_task(numbers)))

    def _prediction(self, item_id: str, seed: int | None):
        found = self._found(item_id, seed)
        if not found[1].predicts:
            raise ValueError(f"item_id must name a prediction, got {item_id!r}")
        return found

    def predicted(self, item_id: str, seed: int | None = None) -> tuple[str, str] | None:
        """Return key and reason of the last prediction; None where the run was shown without."""
        seed = self.seed if seed is None else seed
        before = [a for a in self._attempts(item_id, seed)
                  if a.kind == "skip" or (a.kind == "answer" and _is_pair(a.value))]
        return tuple(before[-1].value) if before and before[-1].kind == "answer" else None

    def observe(self, item_id: str, ticked: object = (), seed: int | None = None) -> Reply:
        """Set prediction, reason and observation side by side with what the run shows."""
        _, item, numbers, seed = self._prediction(item_id, seed)
        reply = item.observed(ticked, numbers, self.predicted(item_id, seed))
        if reply.verdict is not Verdict.NOTED:
            return reply
        judged = Judgement(reply.verdict, value=reply.value, score=reply.score)
        self._keep(item_id, seed, "observation", list(reply.value), judged)
        return self._with_notice(reply)

    def rate(self, item_id: str, ticked: object = None, seed: int | None = None) -> Reply:
        """Keep how a learner rates the own free text beside the model answer."""
        _, item, _, seed = self._found(item_id, seed)
        criteria = item.criteria()
        if not criteria:
            raise ValueError(f"item_id must name an item with free text, got {item_id!r}")
        if is_blank(ticked):
            return Reply(Verdict.BLANK, next_step="Tick what your text has, or 'none'.")
        names = ticked_keys({text: text for text in criteria}, ticked)
        if names is None:
            return Reply(Verdict.UNCLEAR, "numbers of the criteria are expected, or 'none'.")
        score = len(names) / len(criteria)
        judged = Judgement(Verdict.NOTED, value=names, score=score)
        self._keep(item_id, seed, "rating", list(names), judged)
        missing = [text for text in criteria if text not in names]
        next_step = f"Still open: {'; '.join(missing)}." if missing else ""
        shows = f"{len(names)} of {len(criteria)} criteria are met."
        return self._with_notice(
            Reply(Verdict.NOTED, shows, next_step, value=names, score=score))

    def recall(self, lesson_number: str) -> tuple[str, ...]:
        """Return the three questions that open a lesson.

        At most two are of earlier lessons, those missed last; then come those of its own pool, again
        those that were missed first.
        """
        pool = lesson_of(f"{lesson_number}-").recall
        missed = missed_before(self.recorder.attempts(), lesson_number)
        earlier = [item_id for item_id in missed if item_id not in pool][:BROUGHT_BACK]
        own = sorted(pool, key=lambda item_id: item_id not in missed)[:QUESTIONS - len(earlier)]
        return (*earlier, *(item_id for item_id in pool if item_id in own))

    def paper(self, item_id: str, seed: int | None = None) -> str:
        """Return the table that the learner filled last, as a piece of paper to keep."""
        _, item, numbers, seed = self._found(item_id, seed)
        return item.paper(self.filled(item_id, seed), numbers)

    def filled(self, item_id: str, seed: int | None = None) -> dict[str, str]:
        """Return what stood in a table when it was checked last."""
        seed = self.seed if seed is None else seed
        values = [a.value for a in self._attempts(item_id, seed) if isinstance(a.value, Mapping)]
        last = values[-1] if values else {}
        return {place: pair[0] for place, pair in last.items() if _is_pair(pair)}

    # ---------------------------------------------------------------- chains

    @staticmethod
    def _chain_with(lesson: Lesson, item_id: str) -> SteppedCase | None:
        for chain in lesson.chains:
            if any(step.item == item_id for step in chain.steps):
                return chain
        return None

    def done(self, item_id: str, seed: int | None = None) -> bool:
        """Return True where an item was solved, or its full route was shown."""
        seed = self.seed if seed is None else seed
        return self._solved(item_id, seed) or self.rung(item_id, seed) >= TOP

    def open_steps(self, chain: SteppedCase, seed: int | None = None, start: int = 0
                   ) -> Iterator[tuple[int, CaseStep]]:
        """Yield number and step of a chain, up to the first that is still to be answered."""
        for place, step in enumerate(chain.steps[start:], start + 1):
            yield place, step
            if step.item is not None and not self.done(step.item, seed):
                break

    def _chain_text(self, lesson: Lesson, chain: SteppedCase, seed: int | None) -> str:
        numbers = lesson.numbers(chain.case, self.seed if seed is None else seed)
        return "\n".join((chain.title, fill(chain.case.text, numbers),
                          *self._steps_text(lesson, chain, numbers, seed)))

    def _steps_text(self, lesson, chain: SteppedCase, numbers, seed: int | None, start: int = 0
                    ) -> Iterator[str]:
        used = self.seed if seed is None else seed
        for place, step in self.open_steps(chain, seed, start):
            if step.item is None:
                yield f"Step {place}, {step.name}: {fill(step.worked, numbers)}"
            else:
                item = lesson.item(step.item)
                yield (f"Step {place}, {step.name}: {item.question(numbers, used)}\n"
                       f"{self._call(item, seed)}")

    def _released(self, lesson: Lesson, chain: SteppedCase, item_id: str, seed: int) -> str:
        """Return the steps that come after an item, once it is done."""
        place = next(i for i, step in enumerate(chain.steps, 1) if step.item == item_id)
        if not self.done(item_id, seed):
            return ""
        named = None if seed == self.seed else seed
        return "\n".join(self._steps_text(lesson, chain, lesson.numbers(chain.case, seed), named, place))


def _is_pair(value: object) -> bool:
    return isinstance(value, list | tuple) and len(value) == 2


def class_seed() -> int:
    """Return the seed that `workbook --seed` has named; 0, the plant's numbers, if none."""
    text = os.environ.get(SEED_VARIABLE, "0")
    try:
        return int(text)
    except ValueError:
        raise ValueError(f"{SEED_VARIABLE} must be a whole number, got {text!r}") from None


@functools.cache
def session() -> Session:
    """Return the session of this kernel.

    Each cell of a lesson stands alone, so that it cannot hand a session to the next one; this is
    the one place where they meet. Attempts go to the learner's record, if `workbook` has
    named a folder for it, and are kept as long as the kernel lives otherwise.
    """
    return Session(open_record(), seed=class_seed())
