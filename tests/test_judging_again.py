"""A record is judged again from what was typed; what somebody wrote into it counts nothing."""

import json
from dataclasses import replace

import pytest

from lessons.exercises.judging_again import judged_again
from lessons.exercises.lookup import lesson_of
from lessons.exercises.session import Session

LESSONS = [f"{number:02d}" for number in range(1, 13)]


def marks(attempts):
    return [(one.item_id, one.raw, one.verdict, one.misconception,
             json.dumps(one.value, default=str)) for one in attempts]


@pytest.mark.parametrize("number", LESSONS)
def test_every_kind_of_answer_is_judged_as_it_was(number):
    """One known error and the right answer of each item; then with every verdict forged."""
    desk = Session()
    lesson = lesson_of(f"{number}-")
    for item in lesson.items:
        numbers = lesson.numbers(item.case, 0)
        for known in list(item.known_errors(numbers))[:1]:
            desk.check(item.id, known.answer)
        desk.check(item.id, item.right_answer(numbers))
    made = desk.recorder.attempts()
    again = judged_again(made)
    assert again[1:3] == (0, 0) and marks(again.attempts) == marks(made)
    forged = [replace(one, verdict="RIGHT", misconception=None, value=1.0) for one in made]
    assert [mark[2:] for mark in marks(judged_again(forged).attempts)] == [
        mark[2:] for mark in marks(made)]


def test_what_is_no_answer_says_nothing_of_right():
    desk = Session()
    desk.hint("01-downtime")
    (hint,) = desk.recorder.attempts()
    again = judged_again([replace(hint, verdict="RIGHT")])
    assert again.changed == 1 and again.attempts[0].verdict == "HINT"


def test_a_question_of_another_version_is_counted_as_stated():
    desk = Session()
    desk.check("01-downtime", "35 min/a")
    (made,) = desk.recorder.attempts()
    odd = [replace(made, digest="of another version"), replace(made, item_id="77-gone")]
    again = judged_again(odd)
    assert again.as_stated == 2 and list(again.attempts) == odd


def test_a_route_that_was_told_stays_told():
    desk = Session()
    for _ in range(3):
        desk.hint("01-downtime")
    desk.check("01-downtime", "35 min/a")
    made = desk.recorder.attempts()
    assert made[-1].verdict == "AS_ROUTE"
    assert judged_again(made).attempts[-1].verdict == "AS_ROUTE"
    # Also where somebody wrote into the file that the answer was found.
    forged = [*made[:-1], replace(made[-1], verdict="RIGHT")]
    again = judged_again(forged)
    assert again.attempts[-1].verdict == "AS_ROUTE" and again.changed == 1
    # What was found before the route was told goes on to count.
    first = [replace(made[-1], verdict="RIGHT"), *made[:-1], replace(made[-1], verdict="RIGHT")]
    assert [one.verdict for one in judged_again(first).attempts] == [
        "RIGHT", "HINT", "HINT", "HINT", "RIGHT"]


@pytest.mark.parametrize("raw", ["[", "{\"a\":", "[" * 100_000, "\ud800", "{}", "[1]"])
def test_an_odd_answer_is_judged_and_stops_nothing(raw):
    desk = Session()
    desk.check("02-chain-down", "42.68 min/a")
    (made,) = desk.recorder.attempts()
    (one,) = judged_again([replace(made, raw=raw)]).attempts
    assert one.verdict in ("UNCLEAR", "LOOK_AGAIN", "UNIT", "BLANK")


def test_a_step_that_follows_from_an_earlier_value_follows_again():
    """10 h for 8: 8760 / 45 010 x 10 x 60 = 116.8 min; what was not understood in between is no value."""
    desk = Session()
    for item_id, said in (("01-turn-2.sort", "10 h"), ("01-turn-2.sort", "5 h or 6 h"),
                          ("01-turn-2.calculate", "116.8 min/a")):
        desk.check(item_id, said)
    made = desk.recorder.attempts()
    assert [one.verdict for one in made] == ["LOOK_AGAIN", "UNCLEAR", "FOLLOWS"]
    assert judged_again(made)[1:3] == (0, 0)
    forged = judged_again([replace(one, verdict="RIGHT") for one in made])
    assert forged.changed == 3 and marks(forged.attempts) == marks(made)
