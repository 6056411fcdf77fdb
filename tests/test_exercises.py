"""The exercises of every lesson, the session that answers, and the controls over it.

Lessons are found by their modules, so that a new one is held to the same rules.
"""

import ast
import html
import importlib
import json
import logging
import math
import pkgutil
import re
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

import ipywidgets
import pytest

import lessons.exercises
import lessons.items
from labkit import Rig
from lessons.exercises import controls, item_controls
from lessons.exercises.choosing import Choice
from lessons.exercises.fading import ASKED
from lessons.exercises.item import (
    CALCULATION_STEPS,
    NOT_SURE,
    Case,
    Cell,
    Hints,
    Item,
    Judged,
    KnownError,
    Lesson,
    fill,
    shuffled,
)
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.lookup import lesson_of
from lessons.exercises.misconceptions import REGISTER, misconception
from lessons.exercises.number_judge import UNIT_ASKED
from lessons.exercises.numeric import Numeric
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction
from lessons.exercises.progress import lesson_progress
from lessons.exercises.quantities import unit
from lessons.exercises.replies import STOP_HERE, Judgement, Verdict
from lessons.exercises.session import Session, session
from lessons.exercises.table import Free, Table
from lessons.teaching.key import answer_key

LESSONS = [
    importlib.import_module(f"lessons.items.{module.name}").LESSON
    for module in pkgutil.iter_modules(lessons.items.__path__) if module.name.startswith("lesson_")
]
ITEMS = [pytest.param(lesson, item, id=item.id) for lesson in LESSONS for item in lesson.items]
KNOWN = {entry.id for entry in REGISTER}
VARIANTS = range(200)


def of_type(*kinds):
    return [p for p in ITEMS if isinstance(p.values[1], kinds)]


def draws_of(lesson, item):
    """Yield the seeds and their numbers; the same numbers in the same order of options once."""
    seen = set()
    for seed in VARIANTS:
        numbers = lesson.numbers(item.case, seed)
        order = item.arranged(seed) if hasattr(item, "arranged") else ()
        # A case works a set of numbers out once: the same set is the same object.
        shown = id(numbers), *(str(getattr(each, "key", each)) for each in order)
        if shown not in seen:
            yield seed, numbers
        seen.add(shown)


def cells_of(item):
    """Return the numeric items in an item: itself, or those in the cells of a table."""
    if isinstance(item, Numeric):
        return [item]
    if isinstance(item, Table):
        return [cell for cell in item.open_cells().values() if isinstance(cell, Numeric)]
    return []


# ---------------------------------------------------------------- items


def test_identifiers_are_unique_and_belong_to_their_lesson():
    ids = [item.id for lesson in LESSONS for item in lesson.items]
    assert len(ids) == len(set(ids))
    for lesson in LESSONS:
        assert all(item.id.startswith(f"{lesson.number}-") for item in lesson.items)
        assert len(lesson.recall) >= 3
        assert all(lesson.item(name) for name in lesson.recall)


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_two_hundred_variants_stand_apart_and_their_solvers_are_right(lesson, item):
    texts = set()
    for seed, numbers in draws_of(lesson, item):
        assert item.separated(numbers)
        texts.add(item.task(numbers, 0))
        judged = item.judge(item.right_answer(numbers), numbers, seed, {})
        wanted = Verdict.NOTED if isinstance(item, Prediction) else Verdict.RIGHT
        assert judged.verdict is wanted, (seed, judged)
    several = math.prod(len(values) for values in item.case.numbers.values()) > 1
    assert len(texts) > 1 or not several


@pytest.mark.parametrize(("lesson", "item"), of_type(Numeric, Table))
def test_values_are_in_range_and_typical_errors_are_named(lesson, item):
    for seed, numbers in draws_of(lesson, item):
        for cell in cells_of(item):
            assert 0 < cell.solve(numbers) < 1e9
            assert unit(cell.unit)
            for mark in cell.fingerprints:
                wrong = f"{mark.value(numbers)!r} {cell.unit}"
                judged = cell.judge(wrong, numbers, seed, {})
                assert judged.misconception == mark.misconception, (seed, wrong, judged)
                assert "?" in judged.shows


@pytest.mark.parametrize(("lesson", "item"), of_type(Numeric))
def test_unit_slips_are_told_from_errors(lesson, item):
    numbers = lesson.numbers(item.case, 0)
    right = item.solve(numbers)
    other_kind = "m" if unit(item.unit).kind != ("length", "") else "%"
    assert item.judge(f"{right!r} {other_kind}", numbers, 0, {}).verdict is Verdict.UNIT
    bare = item.judge(repr(right), numbers, 0, {}).verdict
    # A question "how many a year" names what is counted.
    no_unit_needed = (item.shows_unit or unit(item.unit).kind == ("", "")
                      or bool(UNIT_ASKED.search(item.ask)))
    assert bare is (Verdict.RIGHT if no_unit_needed else Verdict.NEAR)
    comma = f"{right:.7f}".replace(".", ",")
    assert item.judge(f"{comma} {item.unit}", numbers, 0, {}).verdict is Verdict.RIGHT
    if unit(item.unit).kind[0] == "time":
        per = "/a" if unit(item.unit).kind[1] else ""
        for other in {f"min{per}", f"h{per}", f"s{per}"} - {item.unit}:
            value = right * unit(item.unit).factor / unit(other).factor
            judged = item.judge(f"{value!r} {item.unit}", numbers, 0, {})
            assert (judged.verdict, judged.misconception) == (Verdict.UNIT, "S01")


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_blank_and_nonsense_are_no_attempts(lesson, item):
    numbers = lesson.numbers(item.case, 0)
    for blank in (..., None, "", "   ", {}, []):
        assert item.judge(blank, numbers, 0, {}).verdict is Verdict.BLANK
    for nonsense in ("zzz zzz", 3 + 4j, object()):
        assert item.judge(nonsense, numbers, 0, {}).verdict is Verdict.UNCLEAR


@pytest.mark.parametrize(("lesson", "item"), of_type(Choice, Prediction))
def test_options(lesson, item):
    numbers = lesson.numbers(item.case, 0)
    assert 3 <= len(item.options) <= 4
    texts = [fill(option.text, numbers) for option in item.options]
    assert max(map(len, texts)) <= 2.5 * min(map(len, texts)), texts
    assert not any(re.search(r"(?:all|none) of (?:the above|these)", text, re.IGNORECASE) for text in texts)
    orders = {tuple(o.key for o in item.arranged(seed)) for seed in range(20)}
    assert len(orders) > 1 or getattr(item, "in_order", False)
    for option in item.options:
        if not option.is_right(numbers):
            assert option.misconception in KNOWN, option.key
        if isinstance(item, Choice):
            assert option.reply
    if isinstance(item, Choice):
        data = fill(item.case.text, numbers) if item.case.picture is None else ""
        assert len(re.findall(r"\w+", data + item.ask)) <= 75
        assert item.judge(NOT_SURE, numbers, 0, {}).verdict is Verdict.NOT_SURE
        for place, option in enumerate(item.arranged(7)):
            by_letter = item.judge("abcd"[place] + ")", numbers, 7, {})
            by_text = item.judge(fill(option.text, numbers), numbers, 7, {})
            assert by_letter == by_text == item.judge(option.key, numbers, 7, {})
            wrong = not option.is_right(numbers)
            assert by_letter.misconception == (option.misconception if wrong else None)
            assert not wrong or "?" in by_letter.shows, f"{option.key} asks nothing back"


@pytest.mark.parametrize(("lesson", "item"), of_type(Order))
def test_orders_give_partial_credit_by_neighbours(lesson, item):
    numbers = lesson.numbers(item.case, 0)
    cards = [fill(card, numbers) for card in item.cards]
    pairs = len(cards) - 1
    for seed in VARIANTS:
        assert item.arranged(seed) != sorted(item.arranged(seed))
    letters = "abcdefgh"
    by_letters = " ".join(letters[item.arranged(3).index(i)] for i in range(len(cards)))
    assert item.judge(by_letters, numbers, 3, {}).verdict is Verdict.RIGHT
    swapped = [*cards[:-2], cards[-1], cards[-2]]
    judged = item.judge(swapped, numbers, 0, {})
    assert judged.verdict is Verdict.LOOK_AGAIN
    assert math.isclose(judged.score, (pairs - 2) / pairs, rel_tol=1e-12)
    assert item.judge(cards[::-1], numbers, 0, {}).score == 0
    assert item.judge(cards[1:], numbers, 0, {}).verdict is Verdict.UNCLEAR
    for (first, second), (identifier, _) in item.swaps.items():
        order = list(range(len(cards)))
        order[first], order[second] = order[second], order[first]
        judged = item.judge([cards[i] for i in order], numbers, 0, {})
        assert judged.misconception in KNOWN
        if list(item.swaps)[0] == (first, second):
            assert judged.misconception == identifier


@pytest.mark.parametrize(("lesson", "item"), of_type(Table))
def test_tables_are_judged_cell_by_cell(lesson, item):
    numbers = lesson.numbers(item.case, 0)
    whole = item.right_answer(numbers)
    marked = {place: text for place, text in whole.items()
              if not isinstance(item.open_cells()[place], Free)}
    judged = item.judge(dict(list(marked.items())[:-1]), numbers, 0, {})
    assert judged.verdict is Verdict.PARTLY
    assert math.isclose(judged.score, (len(marked) - 1) / len(marked), rel_tol=1e-12)
    by_name = {" / ".join(place): text for place, text in whole.items()}
    assert item.judge(by_name, numbers, 0, {}).verdict is Verdict.RIGHT
    assert item.judge({"no / place": "x"}, numbers, 0, {}).verdict is Verdict.UNCLEAR
    paper = item.paper(by_name, numbers)
    assert all(str(text) in paper for text in by_name.values())
    assert all(f"| {row} |" in paper for row in item.rows)
    assert f"\n| {fill(item.corner, numbers)} | {item.columns[0]} |" in paper
    for place, cell in item.open_cells().items():
        for wrong, (identifier, question) in getattr(cell, "questions", {}).items():
            assert identifier in KNOWN and "?" in question
            if wrong != cell.right(numbers):
                judged = item.judge({**whole, place: wrong}, numbers, 0, {})
                assert judged.misconception == identifier


@pytest.mark.parametrize(
    ("lesson", "item"), [p for p in of_type(Table) if p.values[1].criteria()]
)
def test_free_texts_are_rated_by_the_learner_alone(lesson, item, no_callback_errors):
    desk = Session()
    numbers = lesson.numbers(item.case, 0)
    place = next(p for p, cell in item.open_cells().items() if isinstance(cell, Free))
    model, whole = fill(item.open_cells()[place].model, numbers), item.right_answer(numbers)
    reply = desk.check(item.id, {place: "my own words"})
    assert reply.score == 0 and reply.misconception is None
    # It may tell what other cells ask for, so it waits for them, or for the full route.
    assert model not in str(reply) and "a model answer comes later" in reply.offer
    for ready in (desk, Session()):
        ready.check(item.id, {place: "my own words"})
        ready.hint(item.id)
        final = {place: "my own words"} if ready is desk else whole | {place: "my own words"}
        reply = ready.check(item.id, final)
        assert "Yours: my own words" in reply.released and "A model answer:" in reply.released
        assert model in reply.released
    assert desk.rate(item.id).verdict is Verdict.BLANK
    assert desk.rate(item.id, "9").verdict is Verdict.UNCLEAR
    assert desk.rate(item.id, "none").score == 0
    rated = desk.rate(item.id, "1 3")
    assert rated.verdict is Verdict.NOTED and math.isclose(rated.score, 2 / 3, rel_tol=1e-12)
    assert item.criteria()[1] in rated.next_step
    assert [a.kind for a in desk.recorder.attempts()] == [
        "answer", "answer", "hint", "answer", "rating", "rating"]
    control = controls.ask(item.id, desk=Session())
    control.cells[" / ".join(place)].value = "my own words"
    control.check()
    assert not control.more.children
    control.check()
    control.hint()
    control.check()
    assert len(control.ticks) == 3
    control.ticks[0].value = True
    control.rate()
    assert "1 of 3 criteria" in control.rating.value


@pytest.mark.parametrize(("lesson", "item"), of_type(Prediction))
def test_predictions_are_noted_and_never_marked(lesson, item):
    numbers = lesson.numbers(item.case, 0)
    for option in item.options:
        desk = Session()
        reply = desk.check(item.id, f"{option.key} because of what I know")
        assert reply.verdict is Verdict.NOTED
        assert "because of what I know".removeprefix("because ") in reply.feedback
        assert item.run(numbers) in reply.released
        assert not re.search(r"\b(?:right|wrong|look again)\b", reply.feedback, re.IGNORECASE)
    assert Session().check(item.id, item.options[0].key).verdict is Verdict.UNCLEAR
    assert Session().check(item.id, "because I think so").verdict is Verdict.UNCLEAR
    assert Session().check(item.id, "not sure because it is new").verdict is Verdict.NOTED


@pytest.mark.parametrize(("lesson", "item"), of_type(Prediction))
def test_prediction_reason_and_observation_stand_side_by_side(lesson, item):
    numbers = lesson.numbers(item.case, 0)
    true = [s.key for s in item.statements if s.holds(numbers)]
    assert 0 < len(true) < len(item.statements), "a list to tick needs both kinds"
    desk = Session()
    assert desk.observe(item.id).verdict is Verdict.BLANK
    assert desk.observe(item.id, "nothing known").verdict is Verdict.UNCLEAR
    desk.check(item.id, f"{item.options[0].key} because of my reason")
    reply = desk.observe(item.id, true)
    assert reply.score == 1
    seen = next(option for option in item.options if option.is_right(numbers))
    rows = dict(reply.rows)
    assert rows["You predicted"] == fill(item.options[0].text, numbers)
    assert rows["Because"] == "of my reason"
    assert rows["The run showed"] == fill(seen.text, numbers)
    unseen = desk.observe(item.id, "none").score
    assert math.isclose(unseen, 1 - len(true) / len(item.statements), rel_tol=1e-12)
    skipped = Session()
    assert item.run(numbers) in skipped.skip(item.id).released
    assert "without predicting" in dict(skipped.observe(item.id, true).rows)["You predicted"]
    assert [a.verdict for a in skipped.recorder.attempts()][0] == "SKIPPED"


# ---------------------------------------------------------------- feedback


def all_replies(lesson, item, seeds=range(3)):
    """Yield every reply that an item can give: options, errors, hints, blank, right."""
    for seed in seeds:
        numbers = lesson.numbers(item.case, seed)
        wrong = ["?!", "123456789"]
        if isinstance(item, Table):
            wrong += [{place: error.answer} for place, cell in item.open_cells().items()
                      for error in cell.known_errors(numbers)]
        else:
            wrong += [error.answer for error in item.known_errors(numbers)]
        if isinstance(item, Numeric):
            wrong += [f"{item.solve(numbers) * f!r} {item.unit}" for f in (60, 1 / 60, 7.7)]
        elif isinstance(item, Order):
            wrong += [item.cards[::-1], [item.cards[i] for i in (1, 0, *range(2, len(item.cards)))]]
        elif isinstance(item, Table):
            whole = item.right_answer(numbers)
            wrong += [dict(list(whole.items())[:n]) for n in (1, len(whole) - 1)]
            wrong += [{place: "7.7"} for place in item.open_cells()]
        for answer in ["", NOT_SURE, *wrong]:
            desk = Session()
            for _ in range(4):
                yield desk.check(item.id, answer, seed)
        yield Session().check(item.id, item.right_answer(numbers), seed)


@pytest.fixture
def judged_once(monkeypatch):
    """Judge the same answer with the same earlier ones once; each reply to it is made anew."""
    judge, known = Judged.judge, {}

    def once(item, answer, numbers, seed, earlier):
        asked = id(item), repr(answer), seed, repr(earlier)
        if asked not in known:
            known[asked] = judge(item, answer, numbers, seed, earlier)
        return known[asked]

    monkeypatch.setattr(Judged, "judge", once)


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_feedback_is_short_and_plain(lesson, item, judged_once):
    for reply in all_replies(lesson, item):
        said = reply.feedback
        assert said.startswith((reply.verdict.value, STOP_HERE))
        words = re.findall(r"[^\W\d_][\w'-]*", said)
        assert len(words) <= 60, said
        for sentence in re.split(r"[.?:;](?:\s|$)", said):
            assert len(re.findall(r"[^\W\d_][\w'-]*", sentence)) <= 20, sentence
        assert "!" not in said.replace("?!", "")
        assert not re.search(r"\b(?:you are|clever|bad|wrong|correct)\b", said, re.IGNORECASE)
        assert "  " not in said and "{" not in said.replace("{'", "")


@pytest.mark.parametrize(("lesson", "item"), of_type(Table))
def test_no_wrong_pick_is_left_without_a_word(lesson, item):
    numbers = lesson.numbers(item.case, 0)
    for place, cell in item.open_cells().items():
        for said in getattr(cell, "options", ()):
            judged = cell.judge(said, numbers, 0, {})
            assert judged.verdict is Verdict.RIGHT or judged.shows.endswith("?"), (place, said)


@pytest.mark.parametrize(("lesson", "item"), of_type(Numeric))
def test_the_ladder_shows_the_value_last(lesson, item):
    desk, seed = Session(), 3
    numbers = lesson.numbers(item.case, seed)
    right = item.solve(numbers)
    given = {float(v) for v in vars(numbers).values() if isinstance(v, float)}
    for wrong in (True, True, True, True, False):
        reply = (desk.check(item.id, "7777.7 " + item.unit, seed) if wrong
                 else desk.hint(item.id, seed))
        assert reply.verdict is (Verdict.LOOK_AGAIN if wrong else Verdict.HINT)
        found = [float(n.replace("\u202f", "")) for n in
                 re.findall(r"\d[\d\u202f]*(?:\.\d+)?(?:e-?\d+)?", reply.next_step)]
        near = [n for n in found if math.isclose(n, right, rel_tol=0.02) and n not in given]
        if wrong:
            assert not near, reply.next_step
            assert "hint" in reply.offer
        else:
            assert reply.next_step == fill(item.hints.route, numbers)
    assert desk.rung(item.id, seed) == 3
    assert desk.rung(item.id, seed + 1) == 0
    # The value was told: only other numbers count now, where there are any.
    told = desk.check(item.id, f"{right!r} {item.unit}", seed)
    assert told.verdict is (Verdict.AS_ROUTE if item.case.varies else Verdict.RIGHT)
    assert told.score == (0 if item.case.varies else 1)
    again = f"{item.solve(lesson.numbers(item.case, seed + 1))!r} {item.unit}"
    assert desk.check(item.id, again, seed + 1).verdict is Verdict.RIGHT


def test_a_right_answer_before_the_route_goes_on_counting():
    desk = Session()
    assert desk.check("01-downtime", "35 min/a").verdict is Verdict.RIGHT
    for _ in range(3):
        desk.hint("01-downtime")
    assert desk.check("01-downtime", "35 min/a").verdict is Verdict.RIGHT


def test_right_answers_in_a_row_are_counted_and_said():
    desk, lesson = Session(), lesson_of("01-drill")
    item = lesson.item("01-drill")

    def said(seed, right=True):
        numbers = lesson.numbers(item.case, seed)
        answer = f"{item.solve(numbers)!r} {item.unit}" if right else f"7777.7 {item.unit}"
        return desk.check("01-drill", answer, seed).offer

    assert "Right in a row: 1." in said(1) and "Right in a row: 1." in said(1)
    assert "Right in a row: 2." in said(2)
    assert "in a row" not in said(3, right=False)
    assert "Right in a row: 1." in said(3) and "Right in a row: 2." in said(4)


def test_a_unit_that_is_left_out_costs_no_try():
    desk, lesson = Session(), lesson_of("01-drill")
    for seed in (1, 2):
        numbers = lesson.numbers(lesson.item("01-drill").case, seed)
        minutes = f"{lesson.item('01-drill').solve(numbers):.4g}"
        reply = desk.check("01-drill", minutes, seed)
        assert reply.verdict is Verdict.NEAR and "Nothing was counted" in reply.next_step
        assert "the unit is missing" in reply.shows and desk.rung("01-drill", seed) == 0
        assert f"Right in a row: {seed}." in desk.check("01-drill", f"{minutes} min/a", seed).offer


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_every_item_has_three_hints(lesson, item):
    numbers = lesson.numbers(item.case, 0)
    texts = [fill(t, numbers) for t in (item.hints.pointer, item.hints.relation, item.hints.route)]
    assert all(texts) and len(set(texts)) == 3
    # thousands stand apart, here as in the task
    assert not re.search(r"(?<![\d.,])\d{5,}(?![\d.])", " ".join(texts))


def test_what_could_hurt_somebody_is_said_first():
    reply = Session().check("04-isolation", "stopped")
    assert reply.feedback.startswith("On a real plant, stop here:")
    assert (reply.verdict, reply.misconception) == (Verdict.LOOK_AGAIN, "M37")


def test_hints_can_be_asked_for_and_unclear_answers_do_not_climb():
    desk = Session()
    desk.check("01-downtime", "1,234 min/a")
    desk.check("01-downtime", "35")
    desk.check("01-downtime", "")
    assert desk.rung("01-downtime") == 0
    steps = [desk.hint("01-downtime").next_step for _ in range(3)]
    hints = lesson_of("01-downtime").item("01-downtime").hints
    assert steps[:2] == [hints.pointer, hints.relation] and "35.0" in steps[2]


def test_a_right_number_is_asked_for_its_size():
    desk = Session()
    reply = desk.check("01-downtime", "35 min/a")
    assert "make sense" in reply.next_step and "01-downtime.size" in reply.released
    assert desk.check("01-downtime.size", "between").verdict is Verdict.RIGHT
    for tick in ("below", "above"):
        reply = desk.check("01-downtime.size", tick)
        assert reply.verdict is Verdict.LOOK_AGAIN
        assert f"lie {tick}" in reply.shows and reply.shows != reply.next_step


# ---------------------------------------------------------------- chains


READING_STEPS = ("Read", "Sort", "Predict", "Compare")
CHAINS = [pytest.param(lesson, c, id=c.id) for lesson in LESSONS for c in lesson.chains]


@pytest.mark.parametrize(("lesson", "chain"), CHAINS)
def test_steps_have_their_four_names_and_are_taken_over_one_by_one(lesson, chain):
    assert tuple(step.name for step in chain.steps) in (CALCULATION_STEPS, READING_STEPS)
    asked = tuple(place for place, step in enumerate(chain.steps) if step.item is not None)
    assert asked in ASKED
    for step in chain.steps:
        assert step.worked
        assert step.item is None or lesson.item(step.item).case is chain.case


@pytest.mark.parametrize(("lesson", "chain"), CHAINS)
def test_a_step_is_released_by_the_one_before(lesson, chain):
    desk = Session()
    numbers = lesson.numbers(chain.case, 0)
    for place, step in enumerate(chain.steps, 1):
        if step.item is None:
            continue
        text = desk.task(chain.id)
        assert f"Step {place}," in text and f"Step {place + 1}," not in text
        reply = desk.check(step.item, lesson.item(step.item).right_answer(numbers))
        assert reply.verdict is Verdict.RIGHT
    assert f"Step {len(chain.steps)}," in desk.task(chain.id)
    assert desk.task(chain.id).count("Step ") == len(chain.steps)


def test_nothing_blocks_the_way_on():
    desk = Session()
    first = lesson_of("01-turn-1").chain("01-turn-1").steps[0].item
    for _ in range(3):
        reply = desk.hint(first)
    assert "Step 2," in reply.released


def test_a_later_step_follows_the_own_earlier_value():
    desk = Session()
    numbers = lesson_of("01-turn-3").numbers(lesson_of("01-").chain("01-turn-3").case, 0)
    desk.check("01-turn-3.sort", "6 h")
    own = 8760 / (numbers.mtbf_h + 6) * 6 * 60
    reply = desk.check("01-turn-3.calculate", f"{own!r} min/a")
    assert reply.verdict is Verdict.FOLLOWS
    assert Session().check("01-turn-3.calculate", f"{own!r} min/a").verdict is Verdict.LOOK_AGAIN


# ---------------------------------------------------------------- session


class Kept:
    """A recorder of another make: it needs the two methods and nothing else."""

    def __init__(self):
        self.lines = []

    def add(self, attempt):
        self.lines.append(attempt)

    def attempts(self):
        return tuple(self.lines)


def test_a_recorder_gets_every_attempt_and_serves_the_next_session():
    kept = Kept()
    desk = Session(kept, clock=lambda: "2031-02-11T03:00:00+00:00")
    desk.check("01-downtime", ...)
    desk.check("01-downtime", "240 min/a", seed=0)
    desk.check("01-drill", "0.146")
    desk.hint("01-mttr", seed=5)
    assert [(a.item_id, a.seed, a.kind, a.verdict) for a in kept.lines] == [
        ("01-downtime", 0, "answer", "LOOK_AGAIN"),
        ("01-drill", 0, "answer", "LOOK_AGAIN"),
        ("01-mttr", 5, "hint", "HINT"),
    ]
    first = kept.lines[0]
    assert (first.raw, first.misconception, first.when[:4]) == ("240 min/a", "S02", "2031")
    assert math.isclose(first.value, 240, rel_tol=1e-12)
    assert Session(kept).rung("01-downtime") == 1
    json.dumps([vars(a) for a in kept.lines])


def test_recall_brings_back_what_was_missed():
    desk = Session()
    pool = lesson_of("04-").recall if any(x.number == "04" for x in LESSONS) else ()
    if len(pool) > 3:
        desk.check(pool[-1], NOT_SURE)
        assert pool[-1] in desk.recall("04")
        assert pool[-1] not in Session().recall("04")
    assert desk.recall("01") == lesson_of("01-").recall[:3]


@pytest.mark.parametrize("name", ["", "downtime", "77-downtime", "01-nothing", None, 5])
def test_unknown_items_are_refused_in_words(name):
    with pytest.raises(ValueError, match="item_id must"):
        Session().check(name, "35")


def test_refusals_of_the_session():
    with pytest.raises(ValueError, match="must name a prediction"):
        Session().skip("01-downtime")
    with pytest.raises(ValueError, match="free text"):
        Session().rate("01-downtime", "1")
    with pytest.raises(ValueError, match="must name a table"):
        Session().paper("01-downtime")
    with pytest.raises(ValueError, match="chain_id must"):
        lesson_of("01-").chain("01-turn-9")
    with pytest.raises(ValueError, match="rough must be given"):
        lesson_of("01-").item("01-availability").size_item()


def test_a_case_without_a_solution_is_refused():
    lesson = lesson_of("01-")
    item = lesson.item("01-downtime")
    narrow = Case("00", numbers={"mtbf_h": (60_000.0,), "mttr_h": (1.0,)},
                  derive=item.case.derive)
    twin = Numeric(
        "00-x", "", "", narrow, "", "min/a", item.solve, "", item.hints, item.fingerprints
    )
    with pytest.raises(LookupError, match="apart"):
        Lesson("00", "", (twin,)).numbers(narrow, 0)


@pytest.mark.parametrize("number", [lesson.number for lesson in LESSONS])
def test_a_lesson_can_be_done_by_text_alone(number):
    lesson = lesson_of(f"{number}-")
    desk = Session()
    for item in lesson.items:
        assert item.title in desk.task(item.id)
        numbers = lesson.numbers(item.case, 0)
        reply = desk.check(item.id, item.right_answer(numbers))
        assert reply.verdict in (Verdict.RIGHT, Verdict.NOTED)
        if isinstance(item, Prediction):
            desk.observe(item.id, "1")
        if isinstance(item, Table):
            if item.criteria():
                assert desk.rate(item.id, "1").verdict is Verdict.NOTED
            assert desk.paper(item.id).startswith(f"# {item.title}")


def test_shuffling_is_the_same_everywhere():
    # Fixed here once, so that a new version of Python cannot change the order of options.
    assert shuffled(range(8), "a seed") == [7, 1, 0, 3, 6, 2, 4, 5]


# ---------------------------------------------------------------- misconceptions


def test_the_register_is_whole():
    ids = [entry.id for entry in REGISTER]
    assert ids[:34] == [f"M{n:02d}" for n in range(1, 35)]
    assert len(ids) == len(set(ids)) and all(re.fullmatch(r"[MS]\d\d", i) for i in ids)
    waiting = [entry.id for entry in REGISTER if entry.id[0] == "M" and entry.compute is None]
    assert not waiting
    with pytest.raises(ValueError, match="identifier must"):
        misconception("M99")


# Closed forms worked by hand from the inputs in the sentence, apart from the models.
BY_HAND = {
    "M01": {"one_mtbf": math.exp(-1), "first_year": 1 - math.exp(-8760 / 60_000)},
    "M03": {"once_min": 52.56, "short_stops": 53},
    "M04": {"average": 2.974 / 3, "product": 0.999 * 0.995 * 0.98},
    "M05": {"together_h": 36_000},
    "M06": {"all": 0.9999**20, "down_h": 8760 * (1 - 0.9999**20)},
    "M08": {"square_s": (4 / 60_004) ** 2 * 8760 * 3600},
    "M09": {"short_min": 4 / 60_004 * 525_600, "long_h": 72 / 60_072 * 8760},
    "M10": {"swap_min": 0.75 / 60_000.75 * 525_600, "outage_min": 9 / 60_009 * 525_600},
    # Costs of the plant file: EUR 11 000 after 30 s, 700 after 22 min, 0.4 x 52 000 after 40 min.
    "M34": {"short": 0, "middle": 11_000, "long": 11_000 + 700 + 0.4 * 52_000},
    "M16": {"repeater_min": 5 / 180_005 * 525_600},
    "M18": {"automatic": 288, "manual": 1},
    "M20": {"time_out_ms": 3 * 50 + 10, "least_ms": 175, "most_ms": 285},
    "M22": {"overflow_s": 1.5 * 0.24 / 0.030},
    "M23": {"points": 100 * (30 / 48.4 - 0.35), "overflow_s": 1.5 * 0.24 / (0.030 - 0.35 * 0.0484)},
    "M27": {
        "one": 2e-6 * 8760 / 2,
        "two": (0.95 * 2e-6 * 8760) ** 2 / 3 + 0.05 * 2e-6 * 8760 / 2,
        "two_stop": 2 * 1e-5 * 8760,
    },
    "M24": {"years": 300_000 / 8760, "fleet": 50 * 8760 / 300_000},
    "M25": {"of_2": 0, "of_3": 1},
    # 9e10 / 12 h are 856 164 years; in one duct 3e6 h, which are 342.5 years, and a little less
    "M26": {"independent": 7.5e9 / 8760, "shared": 1 / (8760 / 3e6 + 8760 / 7.5e9)},
    "M28": {"proved_h": 17_520 / math.log(10), "needed_h": 60_000 * math.log(10)},
    "M29": {"lost": 8 / 8760},
    "M30": {"pair": 4 / 60_004 * 525_600},
    "M31": {"one_min": (12 / 25_012) ** 2 * 525_600},
    "M32": {"dark": 4, "all": 4, "racks": 3},
    "M33": {"two": 60, "three": 40},
    "M36": {"moved": 3, "racks": 3},
    "M38": {"kept": 3, "racks": 3},
}


@pytest.mark.parametrize(("identifier", "name", "value"), [
    pytest.param(i, n, v, id=f"{i}-{n}") for i, values in BY_HAND.items()
    for n, v in values.items()
])
def test_numbers_against_misconceptions(identifier, name, value):
    # 1e-9 for what is exact; M30 neglects the second-order term of two repairs at once.
    rtol = 1e-3 if identifier == "M30" else 1e-9
    assert math.isclose(getattr(misconception(identifier).numbers(), name), value, rel_tol=rtol)


def test_numbers_of_the_reference_pair():
    # Two units, MTBF 60 000 h, MTTR 4 h: (3 l + m) / (2 l^2) with repair, 1.5 / l without
    # (textbook results); the flawed pair to the digits worked out beforehand for the course.
    m07 = misconception("M07").numbers()
    rate, repair = 1 / 60_000, 1 / 4
    assert math.isclose(m07.unrepaired_h, 90_000, rel_tol=1e-12)
    assert math.isclose(
        m07.ideal_million_h * 1e6, (3 * rate + repair) / (2 * rate**2), rel_tol=1e-12
    )
    assert f"{m07.flawed_h:.4g}" == "7.632e+05"
    assert f"{misconception('M08').numbers().real_min:.3f}" == "1.992"
    # A fault at the rate l waits half an interval T: l T / 2, less than 6 % too high here.
    m14 = misconception("M14").numbers()
    for share, seen in ((m14.none, 0.0), (m14.most, 0.9)):
        assert 0.94 < share / ((1 - seen) * 4380 / 60_000 / 2) < 1
    assert f"{misconception('M11').numbers().shared:.3f}" == "1.756"
    m15 = misconception("M15").numbers()
    assert [f"{m15.single:.0f}", f"{m15.pair:.0f}", f"{m15.supply:.0f}"] == ["193", "160", "60"]
    assert f"{misconception('M17').numbers().three_min:.3f}" == "1.752"


def test_the_takeover_lies_in_its_time_budget():
    # Detection, decision, cycle and rack update of the example: 175 to 285 ms at the terminal,
    # of which the output filter takes 5 ms; the role changes with the first write.
    told = misconception("M35").numbers()
    assert (told.least_ms, told.most_ms) == (170, 280)
    seen = [takeover_ms(seed) for seed in range(20)]
    assert 170 <= min(seen) < max(seen) <= 280
    # One run is no bound: the one that was told here before, 229 ms, is passed by others.
    assert max(seen) > 229


def takeover_ms(seed):
    rig = Rig(seed=seed)
    rig.switch_on("KF1: no power")
    rig.wait(1.0)
    return next(e.time_ms for e in rig.record if (e.who, e.new) == ("KF2", "active"))


def test_the_yearly_test_is_told_as_the_lesson_has_it():
    # Lesson 09: 4.433e-6 with tests at exact times, not the 4.254e-6 of the rate 2/T.
    assert f"{misconception('M13').numbers().yearly_min:.2f}" == f"{4.433e-6 * 525_600:.2f}"


def test_every_number_is_printed():
    for entry in REGISTER:
        sentence = entry.number()
        assert bool(sentence) == (entry.compute is not None)
        assert not sentence or re.search(r"\d", sentence)


# The misconceptions that each lesson is there for: the outline of the course.
PLANNED = {
    "01": "M01 M02 M03 M09 M10", "02": "M04 M05 M06 M16 M31", "03": "M01 M03",
    "04": "M18 M24 M32", "05": "M19 M20", "06": "M20 M21 M22 M23 M27", "07": "M18 M24 M25 M26",
    "08": "M07 M08 M11 M12 M17", "09": "M13 M14 M28 M30", "10": "M16 M26 M32 M33",
    "11": "M28 M29 M31", "12": "M15 M17 M27 M34",
}


@pytest.mark.parametrize("lesson", LESSONS, ids=lambda lesson: lesson.number)
def test_each_misconception_of_the_course_is_caught_where_it_belongs(lesson):
    caught = set()
    for item in lesson.items:
        for seed in (0, 1, 2):
            numbers = lesson.numbers(item.case, seed)
            for error in item.known_errors(numbers):
                judged = item.judge(error.answer, numbers, seed, {})
                assert judged.verdict is not Verdict.RIGHT
                assert judged.misconception == error.misconception, (item.id, seed, error)
                caught.add(judged.misconception)
    assert set(PLANNED[lesson.number].split()) <= caught


def test_the_course_plans_all_misconceptions():
    assert set(" ".join(PLANNED.values()).split()) == {f"M{n:02d}" for n in range(1, 35)}


def test_lessons_name_known_misconceptions_only():
    for lesson in LESSONS:
        for item in lesson.items:
            errors = item.known_errors(lesson.numbers(item.case, 0))
            assert {error.misconception for error in errors} <= KNOWN | {None}


# ---------------------------------------------------------------- controls


@pytest.fixture
def no_callback_errors(caplog):
    caplog.set_level(logging.ERROR)
    yield
    assert not caplog.records, caplog.text


@pytest.mark.parametrize(("lesson", "item"), ITEMS)
def test_every_item_can_be_answered_by_a_control(lesson, item, no_callback_errors):
    desk = Session()
    control = (
        controls.predict_first(item.id, desk=desk)
        if isinstance(item, Prediction)
        else controls.ask(item.id, desk=desk)
    )
    control.check()
    assert "Not answered yet" in control.reply.value
    assert not desk.recorder.attempts()
    control.hint()
    assert "Hint" in control.reply.value
    fill_in(control, item)
    control.check()
    wanted = Verdict.NOTED if isinstance(item, Prediction) else Verdict.RIGHT
    assert f"<b>{wanted.value}</b>" in control.reply.value
    if hasattr(control, "renew") and not isinstance(item, Prediction):
        before = control.seed
        control.renew()
        assert control.seed == before + 1
        fill_in(control, item)
        control.check()
        assert f"<b>{wanted.value}</b>" in control.reply.value


def fill_in(control, item):
    """Put the right answer into the controls, as a learner would."""
    answer = item.right_answer(control.numbers)
    if isinstance(item, Prediction):
        control.box.value, control.because.value = item.options[0].key, "of my reason"
    elif isinstance(item, Order):
        control.place(1)
        control.clear()
        for card in range(len(item.cards)):
            control.place(card)
    elif isinstance(item, Table):
        for place, text in answer.items():
            control.cells[" / ".join(place)].value = text
    else:
        control.box.value = answer


def test_nothing_is_preselected():
    for lesson in LESSONS:
        for item in lesson.items:
            control = controls.ask(item.id, desk=Session())
            if isinstance(item, Choice | Prediction):
                assert control.box.value is None
            assert control.answer() in ("", {}, None)


@pytest.mark.parametrize(("lesson", "item"), of_type(Prediction))
def test_the_panel_opens_after_a_commitment(lesson, item, no_callback_errors):
    opened = []

    def panel(*, task):
        assert task == fill(item.at_panel, lesson.numbers(item.case, 0)) and task
        opened.append(1)
        return ipywidgets.Label("the panel")

    control = controls.predict_first(item.id, panel, desk=Session())
    control.box.value = item.options[0].key
    control.check()
    assert not opened and "reason" in control.reply.value
    control.because.value = "a reason"
    control.check()
    assert opened == [1] and control.box.disabled and control.skip_button.disabled
    control.compare()
    assert "a reason" in control.comparison.value
    skipped = controls.predict_first(item.id, panel, desk=Session())
    skipped.skip()
    assert opened == [1, 1]
    for tick in skipped.ticks.values():
        tick.value = True
    skipped.compare()
    assert "without predicting" in skipped.comparison.value


def test_what_is_ticked_beside_the_picture_is_compared():
    from lessons.panels.plant_panel import plant_panel

    control = controls.predict_first("04-power-cut", plant_panel, desk=Session())
    control.skip()
    shown = re.findall(r'data-own="(\d)"> ([^<]*)<', control.run.page)
    assert shown == [(str(i), html.escape(box.description))
                     for i, box in enumerate(control.ticks.values())]
    assert not any(box in control.more.children for box in control.ticks.values())
    control.run.receive({"do": "own", "value": [1, True]})
    control.run.receive({"do": "own", "value": [0, True]})
    control.run.receive({"do": "own", "value": [0, False]})
    assert control.run.problem is None and control.run.ticked == {1}
    control.compare()
    by_hand = controls.predict_first("04-power-cut", desk=Session())
    by_hand.skip()
    [*by_hand.ticks.values()][1].value = True
    by_hand.compare()
    assert control.comparison.value == by_hand.comparison.value


@pytest.mark.parametrize(("lesson", "chain"), CHAINS)
def test_chains_release_their_steps_in_controls(lesson, chain, no_callback_errors):
    control = controls.steps(chain.id, desk=Session())
    for place, step in enumerate(chain.steps, 1):
        if step.item:
            assert len(control.shown.children) == place
            shown = control.shown.children[place - 1]
            fill_in(shown, shown.item)
            shown.check()
    assert len(control.shown.children) == len(chain.steps)
    control.renew()
    assert control.seed == 1
    open_at = [place for place, step in enumerate(chain.steps, 1) if step.item]
    assert len(control.shown.children) == (open_at or [len(chain.steps)])[0]


def test_the_text_form_of_a_control_is_the_task():
    for lesson in LESSONS:
        box = controls.recall(lesson.number, desk=Session())
        bundle = box._repr_mimebundle_()
        assert "application/vnd.jupyter.widget-view+json" in bundle
        assert bundle["text/plain"] == repr(box)
        for name in Session().recall(lesson.number):
            assert lesson.item(name).title in repr(box)
            assert f"check('{name}', ...)" in repr(box)
    assert max(map(len, repr(controls.ask("01-card", desk=Session())).splitlines())) <= 88


def test_pages_turn_and_stop_at_both_ends(no_callback_errors):
    pages = controls.ask("01-downtime", "01-mttr", desk=Session())
    shown = []
    for turn in (pages.back, pages.forward, pages.forward, pages.back):
        turn()
        shown.append(pages.children[1].item_id)
    assert shown == ["01-downtime", "01-mttr", "01-mttr", "01-downtime"]
    assert pages.back_button.disabled and not pages.next_button.disabled
    with pytest.raises(ValueError, match="at least one item"):
        controls.ask()


def test_the_board_of_lamps_has_a_word_and_a_shape_for_each():
    from labkit.rig.rig import Rig
    from lessons.pictures.seen import hall_picture

    rig = Rig()
    rig.switch_on("KF1: stopped")
    rig.wait(10)
    board = hall_picture(rig)
    assert "KF1: SUPPLY\n" in repr(board) and "KF2: SUPPLY, ACTIVE, ALONE" in repr(board)
    assert 'role="img"' in board.svg and "Lit: KF1: SUPPLY." in board.svg
    assert board.svg.count("<svg") == board.svg.count("<span")
    assert 'class="yellow"' in board.svg and 'class="green"' in board.svg


def test_a_failing_handler_is_shown_and_logged(caplog):
    control = controls.ask("01-downtime", desk=Session())

    def broken(*_):
        raise RuntimeError("no desk here")

    control.desk.check = broken
    control.children[2].children[0].click()
    assert "This did not work: RuntimeError: no desk here" in control.reply.value
    assert caplog.records


def test_answers_are_shown_as_text_and_not_as_markup():
    control = controls.ask("01-downtime", desk=Session())
    control.box.value = "<77 min/a"
    control.check()
    assert "<77" not in control.reply.value and "&lt;77" in control.reply.value


def test_papers_are_kept_beside_and_never_over_one_another(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    control = controls.ask("01-card", desk=Session())
    next(iter(control.cells.values())).value = "0.146"
    control.keep()
    control.keep()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["01-card-2.md", "01-card.md"]
    assert "| 0.146 |" in (tmp_path / "01-card.md").read_text(encoding="utf-8")

    def refuse(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(item_controls, "write_new", refuse)
    control.keep()
    assert "Not kept: Permission denied" in control.reply.value
    assert "# Availability card" in control.reply.value


def test_the_panel_of_the_first_failures(no_callback_errors):
    from lessons.panels.first_failures_panel import first_failures_panel
    from lessons.pictures import first_failures as ff

    assert "Look here" in first_failures_panel(task="Look here").text()
    panel = first_failures_panel()
    (slider, entry), picture = panel.children[2].children, panel.picture
    for years in (0.0, ff.longest_years(60_000.0), 1.0):
        entry.value = str(years)
        assert slider.value == years and f"after {years:.2f} years" in picture.value
        assert f"{ff.still_running(panel.lives, years * 8760)} of 100 controllers have" in panel.text()
    assert slider.continuous_update is False
    for mtbf_h in (60_000.0, 175_000.0, 200_000.0, 1e6):
        panel = first_failures_panel(mtbf_h=mtbf_h)
        at = float(re.search(r'd="M([\d.]+),[^"]*" class="aim"', panel.picture.value).group(1))
        assert 400 < at < 855 - 45, mtbf_h  # the word stands right of its line
        assert panel.years.max * 8760 > mtbf_h
    for mtbf_h in (2000.0, 60_000.0):
        years = [float(each) for each in re.findall(
            r"^after ([\d.]+) years", ff.first_failures_text(panel.lives, mtbf_h), re.M)]
        assert len(years) == 5 and years == sorted(years)
    # Share left after one MTBF: exp(-1); bound of 4 standard errors of the binomial law.
    lives = ff.lives_h(60_000.0, count=100_000, seed=9)
    share = ff.still_running(lives, 60_000.0) / len(lives)
    error = math.sqrt(math.exp(-1) * (1 - math.exp(-1)) / len(lives))
    assert abs(share - math.exp(-1)) <= 4 * error
    with pytest.raises(ValueError, match="must be > 0"):
        ff.lives_h(0.0)


def test_the_plant_of_the_card_is_that_of_the_plant_file():
    from labkit.plant.plant import load_plant

    parts = load_plant().parts
    for designation, _, mtbf_h, mttr_h in lesson_of("01-").item("01-card").case.numbers["chosen"]:
        assert (parts[designation].mtbf_h, parts[designation].mttr_h) == (mtbf_h, mttr_h)


# ---------------------------------------------------------------- a type of item that is new


@dataclass(frozen=True)
class Claim(Item):
    """Say whether a claim holds, and give a line of reason: a type that the course has not."""

    holds: Callable
    reason: str
    misconception: str
    hints: Hints

    def form(self, numbers, seed):
        return ["Answer: 'true' or 'false', then 'since' and one line of reason."]

    def judge_given(self, answer, numbers, seed, earlier):
        said, _, why = str(answer).partition(" since ")
        if said not in ("true", "false") or not why:
            return Judgement(Verdict.UNCLEAR, "'true since' or 'false since' is expected.")
        if said == self.right_word(numbers):
            return Judgement(Verdict.RIGHT, fill(self.reason, numbers), [said, why], score=1.0)
        return Judgement(Verdict.LOOK_AGAIN, fill("what is {a} h beside {b} h?", numbers),
                         [said, why], self.misconception)

    def right_word(self, numbers):
        return "true" if self.holds(numbers) else "false"

    def right_answer(self, numbers):
        return f"{self.right_word(numbers)} since I worked it out"

    def known_errors(self, numbers):
        wrong = "false" if self.holds(numbers) else "true"
        yield KnownError(f"{wrong} since I guessed", self.misconception, wrong, "Is it?")

    def control(self):
        class ClaimControl(item_controls.ItemControl):
            def inputs(self):
                self.word = ipywidgets.ToggleButtons(options=["", "true", "false"])
                self.why = ipywidgets.Text()
                return [self.word, self.why]

            def answer(self):
                return f"{self.word.value} since {self.why.value}" if self.word.value else ""

        return ClaimControl


@dataclass(frozen=True)
class Ticked(Cell):
    """A cell with a box to tick."""

    right: bool

    def takes(self):
        return "'x', or '-'"

    def judge_given(self, answer, numbers, seed, earlier):
        if (answer == "x") == self.right:
            return Judgement(Verdict.RIGHT, value=answer, score=1.0)
        return Judgement(Verdict.LOOK_AGAIN, "does it?", answer, "M02")

    def right_answer(self, numbers):
        return "x" if self.right else "-"

    def known_errors(self, numbers):
        yield KnownError("-" if self.right else "x", "M02")

    def entry(self, place, said):
        return ipywidgets.ToggleButtons(options=["", "x", "-"], value=said, tooltip=place)


LADDER = Hints("Look at both.", "More is longer.", "{a} h is less than {b} h.")
CLAIM_CASE = Case("77-claim", "One repair takes {a} h, the other {b} h.",
                  {"a": (4.0, 2.0), "b": (8.0, 9.0)})
CLAIM = Claim("77-claim", "Which is longer?", "", CLAIM_CASE, "The first takes longer. Is it so?",
              lambda numbers: numbers.a > numbers.b, "{a} h is less than {b} h.", "M09", LADDER)
TICKS = Table("77-ticks", "Tick", "", Case("77-ticks"), "Which?", ("KF1", "KF2"), ("leads",),
              {("KF1", "leads"): Ticked(True), ("KF2", "leads"): Ticked(False)},
              "One leads.", Hints("a", "b", "c"))


@pytest.fixture
def new_lesson(monkeypatch):
    """Put a lesson into the course, for the time of a test."""
    lesson = Lesson("77", "New", (CLAIM, TICKS), recall=("77-claim",))
    monkeypatch.setitem(sys.modules, "lessons.items.lesson_77", SimpleNamespace(LESSON=lesson))
    return lesson


def test_a_new_type_is_asked_judged_and_hinted_by_text(new_lesson):
    desk = Session()
    assert desk.task("77-claim").splitlines() == [
        "Which is longer?", "One repair takes 4 h, the other 8 h.",
        "The first takes longer. Is it so?",
        "Answer: 'true' or 'false', then 'since' and one line of reason.",
        "By text: check('77-claim', ...)",
    ]
    assert str(desk.check("77-claim")) == "Not answered yet. Answer in the box, or by text."
    assert str(desk.check("77-claim", "true")) == (
        "Unclear: 'true since' or 'false since' is expected. Nothing was counted.")
    assert str(desk.check("77-claim", "true since it is the first")) == (
        "Look again: what is 4 h beside 8 h? Look at both. On offer: the relation to use (hint).")
    assert desk.hint("77-claim").next_step == "More is longer."
    assert desk.hint("77-claim").next_step == "4 h is less than 8 h."
    assert str(desk.check("77-claim", "false since 4 is less than 8")) == (
        "As in the route: 4 h is less than 8 h. It was told, and does not count. Other numbers do. "
        "On offer: new numbers (seed 1).")
    for refused in (desk.skip, desk.observe, desk.rate, desk.paper):
        with pytest.raises(ValueError, match="item_id must name .*, got '77-claim'"):
            refused("77-claim")


@pytest.mark.parametrize("item", [CLAIM, TICKS], ids=lambda item: item.id)
def test_errors_of_a_new_type_are_answered_with_their_misconception(new_lesson, item):
    for seed in range(5):
        numbers = new_lesson.numbers(item.case, seed)
        assert Session().check(item.id, item.right_answer(numbers), seed).score == 1.0
        errors = list(item.known_errors(numbers))
        assert errors
        for error in errors:
            reply = Session().check(item.id, error.answer, seed)
            assert (reply.misconception, reply.score < 1) == (
                {"77-claim": "M09", "77-ticks": "M02"}[item.id], True)


def test_a_new_type_is_recorded_read_back_and_brought_back(new_lesson, tmp_path):
    desk = Session(LearnerRecord(tmp_path))
    desk.check("77-claim", "true since I guess")
    again = LearnerRecord(tmp_path)
    (kept,) = again.attempts()
    assert (kept.item_id, kept.verdict, kept.value, kept.misconception) == (
        "77-claim", "LOOK_AGAIN", ["true", "I guess"], "M09")
    assert Session(again).rung("77-claim") == 1
    assert lesson_progress("77", again.attempts()).missed == ("77-claim",)
    assert Session(again).recall("77") == ("77-claim",)
    Session(again).check("77-claim", "false since I looked")
    assert lesson_progress("77", LearnerRecord(tmp_path).attempts()).done == ("77-claim",)


def test_a_new_type_is_shown_by_its_own_control(new_lesson, no_callback_errors):
    control = controls.ask("77-claim", desk=Session())
    assert isinstance(control, ipywidgets.VBox) and "check('77-claim', ...)" in repr(control)
    control.check()
    assert "Not answered yet" in control.reply.value
    control.word.value, control.why.value = "false", "4 is less than 8"
    control.check()
    assert "<b>Right</b>" in control.reply.value
    control.renew()
    assert control.seed == 1 and "9&nbsp;h" in control.children[0].value
    table = controls.ask("77-ticks", desk=Session())
    for place, said in (("KF1 / leads", "x"), ("KF2 / leads", "x")):
        table.cells[place].value = said
    table.check()
    assert "1 of 2 cells. Next: KF2 / leads. Does it?" in table.reply.value


def test_a_new_type_stands_in_the_key(new_lesson):
    claim, ticks = answer_key("77")
    assert claim.right == ("false since I worked it out",)
    assert claim.route == "4 h is less than 8 h."
    (wrong,) = claim.wrong
    assert (wrong.says, wrong.misconception[:4], wrong.reply) == ("true", "M09:", "Is it?")
    assert ticks.right == ("KF1 / leads: x", "KF2 / leads: -")


def types_asked_for(source):
    """Return the names of the classes that a text asks for: isinstance, a match, type(...)."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        called = node.func.id if (
            isinstance(node, ast.Call) and isinstance(node.func, ast.Name)) else ""
        if called in ("isinstance", "issubclass"):
            places = node.args[1:]
        elif isinstance(node, ast.MatchClass):
            places = [node.cls]
        elif isinstance(node, ast.Dict):
            places = filter(None, node.keys)
        elif isinstance(node, ast.Compare):
            places = [node.left, *node.comparators]
        else:
            continue
        found |= {each.id if isinstance(each, ast.Name) else each.attr
                  for place in places for each in ast.walk(place)
                  if isinstance(each, ast.Name | ast.Attribute)}
    return found


def types_under(kind):
    return {kind}.union(*map(types_under, kind.__subclasses__()))


def test_nobody_asks_of_what_type_an_item_is():
    for module in pkgutil.iter_modules(lessons.exercises.__path__):
        importlib.import_module(f"lessons.exercises.{module.name}")
    home = {kind.__name__: kind.__module__.split(".")[-1]
            for kind in types_under(Item) | types_under(Cell)
            if kind.__module__.startswith("lessons.")}
    assert len(home) > 8
    product = Path(lessons.__file__).parent
    asked = [(path.name, name) for path in product.rglob("*.py")
             for name in types_asked_for(path.read_text("utf-8")) & set(home)
             if home[name] != path.stem]
    assert asked == []


@pytest.mark.parametrize("source", [
    "isinstance(item, Choice)", "isinstance(item, (int, Choice))", "isinstance(x, int | Choice)",
    "isinstance(x, choosing.Choice)", "type(x) is Choice", "type(x) in (Choice, Order)",
    "{Choice: 1}[type(x)]", "match x:\n    case Choice(id=name):\n        pass",
])
def test_each_way_to_ask_for_a_type_is_found(source):
    assert "Choice" in types_asked_for(source)


# ---------------------------------------------------------------- the package


def test_the_text_path_loads_no_controls():
    code = (
        "import sys, lessons as e; e.check('01-downtime', '35 min/a');"
        "print('ipywidgets' in sys.modules, 'matplotlib' in sys.modules)"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == ["False", "False"]


def test_a_class_can_have_numbers_of_its_own(monkeypatch):
    monkeypatch.setenv("WORKBOOK_SEED", "7")
    assert session.__wrapped__().seed == 7
    monkeypatch.setenv("WORKBOOK_SEED", "seven")
    with pytest.raises(ValueError, match="WORKBOOK_SEED must be a whole number, got 'seven'"):
        session.__wrapped__()


def test_the_seed_of_a_class_goes_before_fresh_numbers():
    asked = {"plant": Session(), "class": Session(seed=7)}
    shown = {who: controls.ask("01-downtime", fresh=1, desk=desk).seed for who, desk in asked.items()}
    assert shown == {"plant": 1, "class": 7}
    for desk in asked.values():
        assert controls.ask("01-downtime", fresh=1, seed=3, desk=desk).seed == 3
        assert controls.ask("01-downtime", desk=desk).seed == desk.seed


def test_the_session_of_the_kernel_is_one():
    assert session() is session()
    assert session().recorder.path is None
