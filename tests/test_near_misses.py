"""Slips in a formula: what they are called, how they are ranked, and that none is called right."""

import ast
import math
import re
import time
from collections import Counter

import pytest

from lessons.exercises.formulas import Spoken, tree_of, worked_out
from lessons.exercises.item import fill
from lessons.exercises.judging import as_given
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.lookup import lesson_of
from lessons.exercises.near_misses import Slips
from lessons.exercises.number_judge import NumberJudge
from lessons.exercises.quantities import parse
from lessons.exercises.replies import Verdict
from lessons.exercises.session import Session
from lessons.exercises.slip_kinds import COMMON, SINGLE
from lessons.teaching.item_page import item_page
from tests import slips as typical

ASKED = [pytest.param(number, item, cell, id=cell.id)
         for number in typical.NUMBERS for item, cell in typical.asked(number)]
LINES = {"per_a": "8760 / (mtbf_h + mttr_h)", "down_min": "per_a * mttr_h * 60"}
NUMBERS = {"mtbf_h": 100.0, "mttr_h": 10.0}


# ---------------------------------------------------------------- every number of the course


@pytest.mark.parametrize(("number", "item", "cell"), ASKED)
def test_the_tree_gives_the_value(number, item, cell):
    formula = cell.worked
    for _, numbers in typical.draws(number, item, 3):
        known = formula.known(numbers)
        leaf = lambda text, known=known: eval(text, dict(known))  # noqa: E731
        rough = 0.02 if cell.tolerance else 1e-6
        assert worked_out(formula.slips.tree, leaf) == pytest.approx(cell.solve(numbers), rel=rough)


@pytest.mark.parametrize(("number", "item", "cell"), ASKED)
def test_an_answer_that_fits_nothing_is_answered_too(number, item, cell):
    # Looks through all slips, two at a time too.
    numbers = lesson_of(cell.id).numbers(item.case, 0)
    for times in (1.2345678, 0.8765432, 3.3331):
        said = f"{cell.solve(numbers) * times:.7g} {cell.unit}"
        assert cell.judge(said, numbers, 0, {}).shows


@pytest.mark.parametrize(("number", "item", "cell"), ASKED)
def test_every_near_miss_has_a_reply(number, item, cell):
    # The plant's numbers and two draws; `python -m tests.slips --held` runs 200.
    assert list(typical.not_held(number, item, cell, 3)) == []


@pytest.mark.parametrize(("number", "item", "cell"), [
    each for each in ASKED if each.values[2].fingerprints])
def test_a_mark_that_is_near_waits_for_a_slip_that_is_the_number(number, item, cell):
    for seed, numbers in typical.draws(number, item, 5):
        judge = NumberJudge(cell, numbers)
        marks = [value for value, _ in judge.marks()]
        for value, slip in judge.singles(COMMON, SINGLE):
            if not math.isfinite(value) or value <= 0:
                continue
            said = f"{typical.written_for(cell, value)} {cell.unit}".strip()
            if re.search(r"\.\d{3}\b", said):  # could be thousands
                continue
            given = as_given(parse(said, cell.own))
            same = abs(value - given.value) <= 1e-9 * value
            half = 0.0 if same else 1.0001 * given.half
            off = min(abs(mark - given.value) for mark in marks)
            if (same or slip.rank == COMMON) and off > half + 1e-9 * value:
                judged = cell.judge(said, numbers, seed, {})
                assert not judged.slip.startswith("mark"), (seed, said, slip.id, judged.shows)


@pytest.mark.parametrize(("number", "item", "cell"), ASKED)
def test_what_the_task_gives_is_no_answer_in_the_unit_in_which_it_stands_there(number, item, cell):
    for seed, numbers in typical.draws(number, item, 3):
        for name, its, value in cell.worked.quantities(numbers):
            if name in cell.told and its.factor != cell.own.factor:
                judged = cell.judge(f"{value!r} {its.text}", numbers, seed, {})
                assert judged.verdict is not Verdict.RIGHT, (seed, name)


@pytest.mark.parametrize(("number", "item", "cell"), ASKED)
def test_the_hints_before_the_route_show_no_result(number, item, cell):
    for seed, numbers in typical.draws(number, item, 20):
        right = cell.solve(numbers)
        for hint in (cell.hints.pointer, cell.hints.relation):
            for said in re.findall(typical.NUMBER, fill(hint, numbers)):
                told = float(re.sub(r"[^\d.e-]", "", said).rstrip("."))
                assert abs(told - right) > 0.005 * abs(right), (seed, hint)


@pytest.mark.parametrize("number", typical.NUMBERS)
def test_typical_slips_are_named_and_right_answers_taken(number):
    # Two draws here; `python -m tests.slips` runs 60.
    counts, missed = typical.measure(number, 2)
    count = sum(counts.values(), Counter())
    assert count["named"] >= 0.85 * count["slips"], missed
    assert count["called right"] == 0 and count["two replies"] == 0, missed
    assert count["accepted"] >= 0.95 * count["forms"], missed


# The same question with the same numbers, in a drill, in a chain, at the start of a lesson.
ALIKE = (("01-drill", "02-recall-down"), ("03-drill", "03-in-time"),
         ("01-failures", "04-recall-failures"), ("05-turn-1.sort", "06-recall-found"))


@pytest.mark.parametrize("names", ALIKE)
def test_the_same_answer_is_judged_alike_wherever_it_is_asked(names):
    asked = [(cell, lesson_of(cell.id).numbers(item.case, 0))
             for _, item, cell in map(typical.CELLS.get, names)]
    said = {each for name in names for kind in typical.TYPED.get(name, {}).values() for each in kind}
    for cell, numbers in asked:
        said |= {f"{typical.written(value)} {cell.unit}"
                 for _, value in typical.values_of(cell, numbers)}
        said |= set(typical.right_forms(cell, numbers))
    assert len(said) > 10
    for answer in said:
        one, two = (cell.judge(answer, numbers, 0, {}).verdict for cell, numbers in asked)
        assert one is two, answer


def test_more_than_rounding_is_right_only_where_the_question_says_so():
    for _, item, cell in typical.CELLS.values():
        said = f"{item.ask} {cell.ask}"
        assert not cell.tolerance or re.search("within .* will do|will do|may be .* off", said), cell.id


def test_answers_as_they_are_typed():
    # Some here; `python -m tests.slips --typed` takes all.
    count, missed = typical.typed(60)
    assert count["right, called right"] == count["right"] > 20, missed
    assert count["wrong, called right"] == 0 and count["wrong, named"] > 0.8 * count["wrong"], missed


def test_slips_are_written_for_every_number_of_the_course():
    missing = [cell.id for number in typical.NUMBERS for _, cell in typical.asked(number)
               if not typical.slips_for(cell)]
    # What is read from a table of the plant, or found by trying.
    assert {name.partition(".")[0] for name in missing} <= {"02-list", "08-table", "12-comparison"}
    for lines in typical.SLIPS.values():
        assert all(ast.parse(line, mode="eval") for line in lines)


def test_a_reply_comes_at_once():
    lesson = lesson_of("08-")
    item = lesson.item("08-drill")
    numbers = lesson.numbers(item.case, 3)
    item.judge("7 min/a", numbers, 3, {})
    start = time.process_time()
    for _ in range(10):
        assert item.judge("77.7 min/a", numbers, 3, {}).verdict is Verdict.LOOK_AGAIN
    assert time.process_time() - start < 10 * 0.05


def test_the_record_keeps_the_slip_and_older_ones_are_read():
    desk = Session(LearnerRecord())
    desk.check("01-downtime", "8760 min/a")
    assert desk.recorder.attempts()[0].slip
    old = {"item_id": "01-downtime", "seed": 0, "when": "2031-01-01T10:00:00+00:00",
           "kind": "answer", "raw": "35 min/a", "verdict": "RIGHT"}
    from lessons.exercises.learner_record import _attempt_of

    assert _attempt_of(old).slip == ""


def test_near_is_not_counted():
    desk = Session(LearnerRecord())
    assert desk.check("01-downtime", "0.6 h/a").feedback == (
        "Near: give one more figure. Nothing was counted.")
    assert desk.rung("01-downtime") == 0


def test_the_page_of_a_lesson_marks_what_goes_wrong():
    page = item_page("01", draws=1, only="01-downtime")
    assert "failures_per_a = HOURS_PER_YEAR / (mtbf_h + mttr_h)" in page
    assert "(turned over: mttr_h): comes out with the MTTR of 4 h below the stroke" in page
    assert "8.759 min/a (mark 1: M09): That is 0.146 failures at one hour each." in page
    assert "right: 35.04 min/a" in page and "! " not in page


def test_the_ranks_are_tried_in_order():
    ranks = [slip.rank for slip in Slips(tree_of("down_min", LINES), "min/a", Spoken({})).single]
    assert ranks == sorted(ranks) and {COMMON, SINGLE} <= set(ranks)
