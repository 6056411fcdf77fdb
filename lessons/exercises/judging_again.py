"""Judge a record again from what was typed: a verdict that somebody wrote into it counts nothing."""

import functools
import json
from collections.abc import Iterable
from dataclasses import replace
from typing import NamedTuple

from lessons.exercises.attempts import Attempt
from lessons.exercises.digest import is_asked_so
from lessons.exercises.item import Lesson
from lessons.exercises.lookup import lesson_of
from lessons.exercises.replies import SOLVED, TOP, Judgement, Verdict, rung_after

# What is no answer says nothing of right and wrong.
UNMARKED = {"hint": Verdict.HINT, "skip": Verdict.SKIPPED}


class JudgedAgain(NamedTuple):
    """Hold attempts as they are judged now, and how many had another verdict or none here.

    Beside each attempt stands its judgement; None where it is no answer, or not asked so now.
    """

    attempts: tuple[Attempt, ...]
    changed: int
    as_stated: int
    judgements: tuple[Judgement | None, ...]


def judged_again(attempts: Iterable[Attempt]) -> JudgedAgain:
    """Judge each answer anew, oldest first, each after those before it.

    Answers to questions that this version does not ask in the same way stay as they are stated.

    >>> from lessons.exercises.session import Session
    >>> desk = Session()
    >>> _ = desk.check("01-downtime", "35 h/a")
    >>> (made,) = desk.recorder.attempts()
    >>> judged_again([replace(made, verdict="RIGHT")])[1:3]
    (1, 0)
    """
    found, changed, as_stated, judgements = [], 0, 0, []
    values: dict[tuple[str, int], dict[str, object]] = {}
    solved: set[str] = set()
    rungs: dict[tuple[str, int], int] = {}
    settled: set[tuple[str, int]] = set()
    for one in attempts:
        again, judged, asked = one, None, (one.item_id, one.seed)
        if one.kind != "answer":
            again = replace(one, verdict=UNMARKED.get(one.kind, Verdict.NOTED).name,
                            misconception=None)
        elif not is_asked_so(one):
            as_stated += 1
        else:
            item = lesson_of(one.item_id).item(one.item_id)
            known = values.setdefault((one.item_id.partition("-")[0], one.seed), {})
            judged = _judged(item, one.seed, one.raw, known | {SOLVED: solved})
            told = rungs.get(asked) == TOP and asked not in settled
            if judged.verdict is Verdict.RIGHT and item.case.varies and (
                    told or one.verdict == Verdict.AS_ROUTE.name):
                judged = replace(judged, verdict=Verdict.AS_ROUTE, score=0.0)
            again = replace(one, verdict=judged.verdict.name, value=judged.value,
                            misconception=judged.misconception)
            if judged.value is not None:
                known[one.item_id] = judged.value
        if again.verdict == Verdict.RIGHT.name:
            solved = solved | {one.item_id}
            settled.add(asked)
        if is_asked_so(one):
            rungs[asked] = rung_after(rungs.get(asked, 0), again.kind, again.verdict,
                                      moves=lesson_of(one.item_id).item(one.item_id).many_answers)
        changed += (one.verdict, one.misconception) != (again.verdict, again.misconception)
        found.append(again)
        judgements.append(judged)
    return JudgedAgain(tuple(found), changed, as_stated, tuple(judgements))


def _judged(item, seed: int, raw: str, earlier: dict[str, object]) -> Judgement:
    # A class of one seed gives many equal answers; most items ask for nothing that came before.
    before = {item.id, *(part.follows for part in item.numeric_parts())}
    if not earlier.keys() & before:
        return _judged_alone(lesson_of(item.id), item.id, seed, raw)
    return _judged_after(item, seed, raw, earlier)


@functools.lru_cache(maxsize=65_536)
def _judged_alone(lesson: Lesson, item_id: str, seed: int, raw: str) -> Judgement:
    return _judged_after(lesson.item(item_id), seed, raw, {})


def _judged_after(item, seed: int, raw: str, earlier: dict[str, object]) -> Judgement:
    answer: object = raw
    if raw[:1] in ("{", "["):
        try:
            answer = json.loads(raw)
        except (ValueError, RecursionError):
            pass
    numbers = lesson_of(item.id).numbers(item.case, seed)
    return item.judge(answer, numbers, seed, earlier)
