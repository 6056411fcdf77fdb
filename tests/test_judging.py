"""How an answer is judged: what is right or near, which slip it is told, and in which words."""

import math
import re
from dataclasses import replace
from types import SimpleNamespace

import pytest

from lessons.exercises.formulas import Spoken, tree_of, worked_out
from lessons.exercises.item import Case, Hints
from lessons.exercises.judging import Formula, Given, as_given, nearest, place_of
from lessons.exercises.lookup import lesson_of
from lessons.exercises.near_misses import Slips
from lessons.exercises.numeric import Fingerprint, Numeric, Rough, on_board
from lessons.exercises.quantities import parse, unit
from lessons.exercises.replies import STOP_HERE, Verdict
from lessons.exercises.slip_kinds import Hit
from tests import slips as typical
from tests.test_slips import BY_HAND, rows_of

LINES = {"per_a": "8760 / (mtbf_h + mttr_h)", "down_min": "per_a * mttr_h * 60"}


def test_the_nearest_counts_and_both_where_two_are_as_near():
    hits = [(4.00, Hit("a", None, "", "")), (4.04, Hit("b", None, "", ""))]
    assert [hit.id for hit in nearest(Given(4.0, 0.05), hits)] == ["a"]
    assert [hit.id for hit in nearest(Given(4.02, 0.05), hits)] == ["a", "b"]
    assert not nearest(Given(4.2, 0.05), hits)
    # as near is a tenth of half a figure: 0.5 of 5; of three that are, two are named
    one, two, three = (Hit(name, None, "", "") for name in "abc")
    assert nearest(Given(400.0, 5.0), [(401.0, one), (401.6, two)]) == [one]
    assert nearest(Given(400.0, 5.0), [(401.4, one), (401.0, two), (398.8, three)]) == [two, three]
    # Two slips at a time need three figures, or the very number.
    assert not nearest(Given(4.1, 0.05), [(4.11, hits[0][1])], pairs=True)
    assert nearest(Given(4.0, 0.5), [(4.0, hits[0][1])], pairs=True)


def test_limits_of_what_is_right_and_near_by_hand():
    """Of whole tens nobody knows the last figure; a limit belongs to what is inside of it."""
    assert [as_given(parse(text)).half for text in ("40", "60 000", "0.58")] == [0.5, 500, 0.005]
    # 1000 has four places; 75 that was calculated is a number of three figures, 75.0
    assert [as_given(parse(text)).half for text in ("1000", "3*20 + 15")] == [
        50, pytest.approx(0.05, rel=1e-12)]

    def place(value, half, right, one=None, exact=False, tolerance=0.0):
        return place_of(Given(value, half), right, one=one, exact=exact, tolerance=tolerance)

    assert place(0.0, 0.0, 0.0, exact=True) == "right"
    # 2 % of 100 are 2
    assert (place(102.0, 0.05, 100.0), place(102.1, 0.05, 100.0)) == ("near", "off")
    assert (place(110.0, 0.05, 100.0, tolerance=0.1), place(110.1, 0.05, 100.0, tolerance=0.1)) == (
        "right", "off")
    # what is left to 1 is 0.0001, and 0.00015 is half as much again
    assert place(0.99985, 5e-6, 0.9999, one=1.0) == "off"
    # 99.9933 with its end cut off begins with 99.9, and not with 99.8
    assert [place(value, 0.05, 99.9933, one=100.0) for value in (99.9, 99.8)] == ["one figure", "off"]
    # and 99 is not 98 with its end cut off
    assert place(98.0, 0.5, 99.0, one=100.0) == "off"
    # two figures begin at 10, at 1.0 and at 1000 of whole hundreds
    assert [place(*each) for each in ((10.0, 0.5, 10.4), (1.0, 0.05, 1.04), (1000.0, 50.0, 1040.0))] == ["right"] * 3
    assert [place(*each) for each in ((9.0, 0.5, 9.4), (0.9, 0.05, 0.94), (900.0, 50.0, 940.0))] == ["one figure"] * 3
    # two halves, within a rounding, are one figure
    assert place(1.99, 1.0, 2.5) == "one figure"
    # the two zeros of 300 are no figures, those of 30 and 310 are
    assert [as_given(parse(text)).zeros for text in ("300", "310", "30")] == [True, True, False]


def test_limits_of_what_a_slip_explains_by_hand():
    hit = Hit("a", None, "", "")
    # two slips at a time: half of four figures, 0.5 of 1000
    assert nearest(Given(1000.4, 0.05), [(1000.0, hit)], pairs=True) == [hit]
    assert nearest(Given(1000.6, 0.05), [(1000.0, hit)], pairs=True) == []
    # 1 of 100 is moved enough, 0.9 is hardly moved: a tenth of that counts, or what the figures
    # given allow up to a third of it
    assert nearest(Given(100.4, 0.5), [(100.0, hit)], right=101.0) == [hit]
    assert nearest(Given(100.2, 0.3), [(100.0, hit)], right=100.9) == [hit]
    assert nearest(Given(100.2, 0.1), [(100.0, hit)], right=100.9) == []
    assert nearest(Given(100.4, 0.5), [(100.0, hit)], right=100.9) == []
    # 35.39 cut to 35.3; 35.45 is beyond one in the last place
    # Two figures are cut off by nobody: 4.0 is no 4.08, and 100 no 100.8, by 0.005 x 100 = 0.5.
    assert nearest(Given(4.0, 0.05), [(4.08, hit)]) == []
    assert nearest(Given(100.0, 0.5), [(100.8, hit)]) == []
    # 3000 with two figures, read with three: half of ten.
    assert nearest(Given(3000.0, 50.0, True), [(3004.0, hit)], pairs=True) == [hit]
    assert nearest(Given(3000.0, 50.0, True), [(3006.0, hit)], pairs=True) == []
    # of 3000 with one figure half of a hundred, 25, is more than 0.006 x 3000: too few for two slips
    assert nearest(Given(3000.0, 250.0, True), [(3010.0, hit)], pairs=True) == []
    # one slip is told by four figures, 1 of 1000
    assert nearest(Given(1000.8, 0.05), [(1000.0, hit)]) == [hit]
    assert nearest(Given(1001.2, 0.05), [(1000.0, hit)]) == []
    # an availability as near to the right value as to a slip says nothing of the slip
    assert nearest(Given(99.5, 0.25), [(99.75, hit)], right=99.25, one=100.0) == []
    # four figures of what is left to 100: 0.001 of 1, not of 99
    assert nearest(Given(99.0008, 0.00005), [(99.0, hit)], one=100.0) == [hit]
    assert nearest(Given(99.0012, 0.00005), [(99.0, hit)], one=100.0) == []
    assert nearest(Given(35.3, 0.05), [(35.39, hit)]) == [hit]
    assert nearest(Given(35.3, 0.05), [(35.45, hit)]) == []
    # and 22 cut off is 22, not 21.9
    assert nearest(Given(21.9, 0.05), [(22.0, hit)]) == []


def a_number(*marks):
    case = Case("00", "MTBF {mtbf_h} h, MTTR {mttr_h} h.", {"mtbf_h": (100.0,), "mttr_h": (10.0,)})
    tree = tree_of("down_min", LINES)
    formula = Formula(Slips(tree, "min/a", Spoken({}), ("mtbf_h", "mttr_h")), vars, "down_min", LINES)
    return Numeric("00-down", "", "", case, "How long?", "min/a",
                   lambda n: 8760 / (n.mtbf_h + n.mttr_h) * n.mttr_h * 60, "", Hints("", "", ""),
                   marks, formula=lambda: formula)


def reply(said, *marks):
    item = a_number(*marks)
    numbers = next(item.case.draws(0))
    vars(numbers).update(per_a=8760 / 110, down_min=8760 / 11 * 60)
    return item.judge(said, numbers, 0, {})


def test_a_reply_names_the_quantities_of_the_draw():
    # 8760 / 110 × 60
    assert reply("4778 min/a").shows == (
        "4778 min/a comes out without the MTTR of 10 h: what does it change?")
    assert reply("4778 min/a").slip == "left out: mttr_h" and reply("4778 min/a").value == 4778


def test_two_figures_of_a_given_ask_for_one_more():
    cell, numbers = typical.CELLS["10-turn-3.calculate"][2], lesson_of("10-").numbers(
        typical.CELLS["10-turn-3.calculate"][1].case, 0)
    # The sum is 80.8. A good line reads 82 in the task, and 81 in one that would not be drawn.
    assert cell.judge("81 ohm", numbers, 0, {}).verdict is Verdict.RIGHT
    assert cell.judge("82 ohm", numbers, 0, {}).slip == "given for the end: measured"
    other = SimpleNamespace(**vars(numbers) | {"measured": 81.0})
    assert cell.judge("81 ohm", other, 0, {}).slip == "figures"
    assert cell.judge("80.8 ohm", other, 0, {}).verdict is Verdict.RIGHT


def test_a_time_taken_for_the_end_is_one_time_and_none_a_year():
    number, item, cell = typical.CELLS["02-turn-1.sort"]
    numbers = lesson_of(f"{number}-").numbers(item.case, 0)
    judged = cell.judge("0.125 min", numbers, 0, {})  # 3 h are 0.125 d
    assert judged.shows.startswith("0.125 min has the number of the MTTR of the shared part, "
                                   "counted in d: does that much come in every year?")
    assert judged.misconception == "S02"


def test_per_cent_is_read_as_a_number_of_times_where_it_is_wrong_too():
    number, item, cell = typical.CELLS["07-turn-2.sort"]
    numbers = lesson_of(f"{number}-").numbers(item.case, 0)
    assert cell.judge("0.438 %", numbers, 0, {}).verdict is Verdict.RIGHT
    assert cell.judge("2.19 %", numbers, 0, {}).slip == cell.judge("0.0219", numbers, 0, {}).slip
    assert cell.judge("0.00438 %", numbers, 0, {}).shows == \
        "the number is right, and it stands without '%'."


def test_money_a_year_needs_no_unit_twice():
    number, item, cell = typical.CELLS["12-drill"]
    numbers = lesson_of(f"{number}-").numbers(item.case, 0)
    value = f"{cell.solve(numbers):.5g}"
    assert cell.judge(f"{value} a year", numbers, 0, {}).verdict is Verdict.RIGHT
    assert cell.judge(f"{value} a month", numbers, 0, {}).verdict is not Verdict.RIGHT


def test_a_mark_goes_before_a_slip_and_danger_before_both():
    mark = Fingerprint("M09", lambda n: 4778.0, "One hour each?")
    danger = Fingerprint("M22", lambda n: 4778.2, f"{STOP_HERE} one hour each?")
    assert reply("4778 min/a", mark).misconception == "M09"
    assert reply("4778.1 min/a", mark, danger).misconception == "M22"


def test_a_slip_in_another_unit_is_named_as_both():
    judged = reply(f"{8760 / 110!r} min/a")  # without the MTTR, and in hours
    assert judged.slip in ("left out: mttr_h; unit: h/a", "line for the end, number: per_a")
    # 777 min / 60 = 12.95
    other = reply("12.95 min/a", Fingerprint("M09", lambda n: 777.0, "One hour each?"))
    assert other.slip == "mark 1: M09; unit: h/a"
    assert "counted in h/a" in other.shows


@pytest.mark.parametrize(("said", "slip"), [
    ("10 h", "left out: per_a"), ("79.64 1/a", "for the end: per_a"),
    ("9.091 %", "share of a year"), ("47782 EUR", "kind of unit"), ("7 EUR", "kind of unit")])
def test_a_unit_of_another_kind_is_tried_too(said, slip):
    assert reply(said).slip == slip


@pytest.mark.parametrize(("name", "said", "slip"), [
    # Typed as by an apprentice; each of them had been told something else, or nothing, before.
    ("01-mttr", "430 min", "left out of the sum: find_min"),  # no notice and travel come to 425
    ("01-mttr", "550 min", "far: by a little"),  # a sum of whole minutes is not rounded to tens
    ("01-failures", "60000", "given for the end, number: mtbf_h"),
    ("01-failures", "8760", "for the end: 8760"), ("01-failures", "1", "far: many times"),
    ("01-failures", "once in seven years", "figures"),
    ("01-downtime", "58 min", "clock back, in h"), ("01-downtime", "70 min", "factor: too large by 2"),
    ("01-turn-2.calculate", "1 h 56 min", "clock back, in h"),  # 1.557 h
    ("01-availability", "99.93", "count of nines"), ("01-availability", "99.9993", "count of nines"),
    ("01-card.available.shelf", "35", "other cell: down time per year / spare on the shelf"),
    ("02-shared", "2 min", "far: many times"),  # 4 h and 0.002 min have no mean of 2 min
    ("02-chain-down", "53.4 min", "clock back, in h"), ("02-list.TF1", "12", "far: by a part"),
    ("03-turn-1.sort", "8 h 56 min", "clock back"), ("03-settle", "12.5 h", "far: by a part"),
    ("03-in-time", "57.7 %", "part for the end: exp of t_h, settle_h, mtbf_h, mttr_h"),
    ("03-in-time", "0.55", "part for the end: product of t_h, settle_h, mtbf_h, mttr_h"),
    ("04-alone", "8 h", "left out: per_a; twice"), ("05-recall-both", "80", "rest of: one"),
    ("05-recall-day", "1200", "unit: 1/min"),
    ("05-detection", "23 ms", "left out of the sum: margin_ms; added: beats, beat_ms"),
    ("06-turn-2.calculate", "2.24 min", "clock, in min"), ("06-bump-flow", "40 L/s", "given for the end: full"),
    ("08-shared", "0.146", "quotient: 8760, mtbf_h"), ("08-turn-2.calculate", "2.05", "far: by a part"),
    ("09-recall-first-year", "99.894 %", "turned over: 8760, mtbf_h"),  # 1 - exp(-60 000 / 8760)
    ("08-table.3.down", "84", "other cell: pair as it is, spare on the shelf / one outage in, years"),
])
def test_an_answer_is_told_what_it_is_and_nothing_else(name, said, slip):
    number, item, cell = typical.CELLS[name]
    assert cell.judge(said, lesson_of(f"{number}-").numbers(item.case, 0), 0, {}).slip == slip


# ---------------------------------------------------------------- one question, worked by hand


def question(text, own, numbers, *marks, shares=(), lines=(), **more):
    """Return a question whose value is a formula of these numbers, which its text tells."""
    tree, lines = tree_of(text, dict(lines)), dict(lines)

    def derived(given):
        return {name: worked_out(tree_of(name, lines), vars(given).get) for name in lines}

    slips = Slips(tree, own, Spoken({}), tuple(numbers), shares, [*lines][:-1], numbers)
    formula = Formula(slips, vars, text, lines)
    case = Case("00", "Told: {%s}." % "}, {".join(numbers), {name: (value,) for name, value in numbers.items()},
                derive=derived)
    return Numeric("00-asked", "", "", case, "How much is it?", own, lambda n: worked_out(tree, vars(n).get),
                   "It is so.", Hints("", "", ""), marks, formula=lambda: formula, **more)


def judged(item, said, **earlier):
    return item.judge(said, next(item.case.draws(0)), 0, earlier)


# 8760 / 4380 = 2 a year, of 6 h each: 12 h a year
A_YEAR = question("8760 / mtbf_h * mttr_h", "h/a", {"mtbf_h": 4380.0, "mttr_h": 6.0})
# 20 % of 30 % are 6 %
BOTH = question("100 * share * other", "%", {"share": 0.2, "other": 0.3}, shares=["share", "other"])
# 0.05 % are missing
UP = question("100 - off_percent", "%", {"off_percent": 0.05}, complement=True)
MINUTES = question("a_min + b_min", "min", {"a_min": 35.0, "b_min": 90.0})  # 125 min, 2 h 5 min
COUNT = question("7 * times", "", {"times": 3}, exact=True)
OFTEN = question("8760 / a_h", "1/a", {"a_h": 4380.0})
ALIKE_TERMS = question("a_h + b_h + c_h", "h", {"a_h": 6.5, "b_h": 9.0, "c_h": 9.0})  # 24.5
AS_READ = question("8760 / mtbf_h * mttr_h", "h/a", {"mtbf_h": 4380.0, "mttr_h": 6.0}, tolerance=0.1)
SMALL = question("a_h / 5", "h", {"a_h": 7.0})  # 1.4 h
SHOWN = question("8760 / mtbf_h * mttr_h", "h/a", {"mtbf_h": 4380.0, "mttr_h": 6.0}, shows_unit=True)


NINES = question("100 - a_percent + b_percent", "%", {"a_percent": 99.99, "b_percent": 5.0})
ALL = question("100 * a_h / b_h", "%", {"a_h": 5.0, "b_h": 5.0})  # 100 %
MORE = question("100 * a_h / b_h", "%", {"a_h": 6.0, "b_h": 5.0})  # 120 %
MONEY = question("case_eur * rate_per_a", "EUR/a", {"case_eur": 50.0, "rate_per_a": 720.0})
TWELVE = question("2 * a_h * 1.03", "h", {"a_h": 6.0})  # 12.36 h, and 12 h without 1.03
HUNDRED = question("2 * a_h * 1.04", "h", {"a_h": 50.0})  # 104 h, and 100 h without 1.04
GIVEN_100 = question("2 * a_h", "h", {"a_h": 52.0, "b_h": 100.0})  # 104 h
ONE = question("2 * a_h * 1.4", "h", {"a_h": 0.5})  # 1.4 h, and 1 h without 1.4
RATES = question("rate_per_a * 4", "1/a", {"rate_per_a": 0.6, "other_per_a": 60.0})
IN_MINUTES = question("60 * a_h", "min", {"a_h": 2.0})
PLUS_FOUR = question("a_h * times + c_h", "h", {"a_h": 10.0, "times": 6, "c_h": 2.4})  # 62.4 h
DAYS = question("2 * a_d", "d", {"a_d": 6.0})
TERM = question("a_h * 2", "h", {"a_h": 6.0, "b_h": 0.2})  # 12 h, and 12.2 h with the b besides
TWO_OFF = question("a_h * 2", "h", {"a_h": 6.0, "b_h": 1.9})
PLUS_ONE = question("a_h * times + c_h", "h", {"a_h": 10.0, "times": 6, "c_h": 1.0})  # 61 h


@pytest.mark.parametrize(("item", "said", "verdict", "slip", "score"), [
    # a share of one is at most 1
    (ALL, "1", "RIGHT", "", 1), (ALL, "100", "RIGHT", "", 1), (MORE, "1.2", "UNIT", "unit: 1", 0.5),
    # 2 a day are 730 a year, and 720 rounds to that: it is what the task gives
    (MONEY, "2 1/d", "UNIT", "for the end: rate_per_a", 0), (MONEY, "3 1/d", "UNIT", "kind of unit", 0),
    # 60 % of a number of times is 0.6, the rate without the 4, before it is the 60 that the task gives
    (RATES, "60 %", "LOOK_AGAIN", "left out: 4", 0), (RATES, "240 %", "RIGHT", "", 1),
    # 6 % of a year are 525.6 h, and 94 % are 8234.4 h
    (BOTH, "525.6 h", "UNIT", "share of a year", 0.5), (BOTH, "8234.4 h", "UNIT", "complement: all", 0),
    (COUNT, "21 h", "UNIT", "kind of unit", 0.5),
    # 2 h are 120 min, but the task gives them so
    (IN_MINUTES, "2 h", "UNIT", "for the end: a_h", 0), (IN_MINUTES, "7200 s", "RIGHT", "", 1),
    # 100 - 2 is the rest of nothing where no share is asked, and the rest of 20 where one is
    (A_YEAR, "98 h/a", "LOOK_AGAIN", "far: many times", 0), (BOTH, "80 %", "LOOK_AGAIN", "rest of: share", 0),
    # what is no whole number is rounded up: 2.6 to the 3 without the 7
    (COUNT, "2.6", "LOOK_AGAIN", "left out: 7", 0), (COUNT, "8.6", "LOOK_AGAIN", "far: many times", 0),
    # 60 x 24, where the 2.4 that is left out is more than a small term
    (PLUS_FOUR, "1440 h", "LOOK_AGAIN", "far: many times", 0),
    # few figures are those of the right value, unless a given has all of them
    (TWELVE, "12 h", "RIGHT", "", 1), (TWELVE, "12.0 h", "LOOK_AGAIN", "left out: 1.03", 0),
    (HUNDRED, "100 h", "RIGHT", "", 1), (GIVEN_100, "100 h", "NEAR", "figures", 0),
    (ONE, "1 h", "LOOK_AGAIN", "left out: 1.4", 0),
    # what is near was rounded, and what is rough in words comes from no rare slip
    (TERM, "12.2 h", "NEAR", "rounded on the way", 0), (TWO_OFF, "10 h", "LOOK_AGAIN", "far: by a part", 0),
    (TWO_OFF, "10.1 h", "LOOK_AGAIN", "one term more: b_h", 0), (TWO_OFF, "13.9 h", "LOOK_AGAIN", "one term more: b_h", 0),
    # 10 x 6 x 24, without the 1
    (PLUS_ONE, "1440 h", "LOOK_AGAIN", "factor: too large by 24", 0), (PLUS_ONE, "60 h", "LOOK_AGAIN", "left out of the sum: c_h", 0),
    (PLUS_ONE, "60.3 h", "LOOK_AGAIN", "left out of the sum: c_h", 0),
    (A_YEAR, "12 h/a", "RIGHT", "", 1), (A_YEAR, "720 min/a", "RIGHT", "", 1), (A_YEAR, "12 h", "RIGHT", "", 1),
    (A_YEAR, "0.5 d/a", "RIGHT", "", 1), (A_YEAR, "12", "NEAR", "no unit", 0.5), (SHOWN, "12", "RIGHT", "", 1),
    (A_YEAR, "12 min/a", "UNIT", "unit: h/a", 0.5), (A_YEAR, "720 h/a", "UNIT", "unit: min/a", 0.5),
    (A_YEAR, "720", "NEAR", "unit: min/a", 0.5), (A_YEAR, "12 EUR", "UNIT", "kind of unit", 0.5),
    # one in a thousand is right, two in a hundred are near
    (A_YEAR, "12.01 h/a", "RIGHT", "", 1), (A_YEAR, "12.02 h/a", "NEAR", "rounded on the way", 0),
    (A_YEAR, "12.2 h/a", "NEAR", "rounded on the way", 0), (A_YEAR, "11.8 h/a", "NEAR", "rounded on the way", 0),
    (A_YEAR, "12.3 h/a", "LOOK_AGAIN", "far: by a little", 0), (A_YEAR, "11.7 h/a", "LOOK_AGAIN", "far: by a little", 0),
    (A_YEAR, "2 h/a", "LOOK_AGAIN", "left out: mttr_h", 0), (A_YEAR, "6 h/a", "LOOK_AGAIN", "given for the end: mttr_h", 0),
    (A_YEAR, "-12 h/a", "LOOK_AGAIN", "sign: all", 0), (A_YEAR, "8748 h/a", "LOOK_AGAIN", "complement: all", 0),
    (A_YEAR, "24 h/a", "LOOK_AGAIN", "factor: too large by 2", 0), (A_YEAR, "0 h/a", "LOOK_AGAIN", "far: nothing", 0),
    (A_YEAR, "120 h/a", "LOOK_AGAIN", "far: power of ten", 0), (A_YEAR, "1.2 h/a", "LOOK_AGAIN", "far: power of ten", 0),
    (A_YEAR, "0.0002283 h/a", "LOOK_AGAIN", "quotient: 1, mtbf_h", 0),
    (A_YEAR, "1.37e-3 h/a", "UNIT", "unit: a/a", 0.5), (A_YEAR, "97.3 h/a", "LOOK_AGAIN", "far: many times", 0),
    (A_YEAR, "0.137 %", "UNIT", "share of a year", 0.5), (A_YEAR, "99.863 %", "UNIT", "complement: all", 0),
    (AS_READ, "13.1 h/a", "RIGHT", "", 1), (AS_READ, "13.2 h/a", "RIGHT", "", 1), (AS_READ, "10.8 h/a", "RIGHT", "", 1),
    (AS_READ, "13.3 h/a", "LOOK_AGAIN", "far: by a part", 0), (AS_READ, "10.7 h/a", "LOOK_AGAIN", "far: by a part", 0),
    (BOTH, "6 %", "RIGHT", "", 1), (BOTH, "6", "RIGHT", "", 1), (BOTH, "0.06", "RIGHT", "", 1),
    (BOTH, "0.06 %", "UNIT", "unit: 1", 0.5), (BOTH, "94 %", "LOOK_AGAIN", "complement: all", 0),
    (BOTH, "20 %", "LOOK_AGAIN", "left out: other", 0), (BOTH, "50 %", "LOOK_AGAIN", "added: share, other", 0),
    (BOTH, "123 %", "LOOK_AGAIN", "far: more than all", 0),
    # 99.9 is 99.95 with its end cut off; 0.5 and 0.005 % are a nine less and a nine more
    (UP, "99.95 %", "RIGHT", "", 1), (UP, "0.9995", "RIGHT", "", 1), (UP, "99.9 %", "NEAR", "figures", 0),
    (UP, "99.8 %", "LOOK_AGAIN", "far: many times", 0), (UP, "99.94 %", "LOOK_AGAIN", "far: by a part", 0),
    (UP, "100 %", "LOOK_AGAIN", "no rest", 0), (UP, "99.5 %", "LOOK_AGAIN", "count of nines", 0),
    (UP, "99.995 %", "LOOK_AGAIN", "count of nines", 0), (UP, "95 %", "LOOK_AGAIN", "count of nines", 0),
    (MINUTES, "125 min", "RIGHT", "", 1), (MINUTES, "2 h 5 min", "RIGHT", "", 1), (MINUTES, "2.08 h", "RIGHT", "", 1),
    (MINUTES, "124 min", "LOOK_AGAIN", "carry: -1", 0),
    (MINUTES, "122 min", "LOOK_AGAIN", "far: by a little", 0), (MINUTES, "130 min", "LOOK_AGAIN", "far: by a part", 0),
    (MINUTES, "125", "NEAR", "no unit", 0.5), (MINUTES, "2.05 h", "LOOK_AGAIN", "clock, in h", 0),
    (COUNT, "21", "RIGHT", "", 1), (COUNT, "20.5", "LOOK_AGAIN", "no whole number", 0),
    (COUNT, "21.9", "LOOK_AGAIN", "no whole number", 0), (COUNT, "22", "LOOK_AGAIN", "one too many: all", 0),
    (COUNT, "20", "LOOK_AGAIN", "one too few: all", 0), (COUNT, "10", "LOOK_AGAIN", "added: times, constants", 0),
    (OFTEN, "2 a year", "RIGHT", "", 1), (OFTEN, "2", "NEAR", "no unit", 0.5), (OFTEN, "2 failures", "RIGHT", "", 1),
    (OFTEN, "0.5 a", "LOOK_AGAIN", "turned over: all", 0), (OFTEN, "6 months", "LOOK_AGAIN", "turned over: all", 0),
    (SMALL, "1 h", "NEAR", "figures", 0), (SMALL, "1.4 h", "RIGHT", "", 1), (SMALL, "2 h", "LOOK_AGAIN", "far: by a part", 0),
    (ALIKE_TERMS, "15.5 h", "LOOK_AGAIN", "left out of the sum: b_h or left out of the sum: c_h", 0),
    (ALIKE_TERMS, "18 h", "LOOK_AGAIN", "left out of the sum: a_h", 0),
])
def test_an_answer_is_judged_by_hand(item, said, verdict, slip, score):
    found = judged(item, said)
    assert (found.verdict.name, found.slip, found.score) == (verdict, slip, score)


@pytest.mark.parametrize(("item", "said", "shows"), [
    (A_YEAR, "720 h/a", "the number fits min/a, and not h/a. That is 60 times too much."),
    (A_YEAR, "12 min/a", "the number fits h/a, and not min/a. That is 60 times too little."),
    (A_YEAR, "720", "the number fits min/a, and the unit is missing."), (A_YEAR, "12 h/a", "It is so."),
    (A_YEAR, "12 EUR", "the number is right, and 'EUR' does not measure a time per year."),
    (A_YEAR, "99.863 %", "99.863 % is the other part of the year, and '%' does not measure a time per year."),
    (BOTH, "0.06 %", "the number fits a share of one, and not %. That is 100 times too little."),
    (BOTH, "123 %", "123 % is more than the whole."),
    (UP, "99.5 %", "99.5 % has one nine too few: how many stand in a row?"),
    (UP, "99.995 %", "99.995 % has one nine too many: how many stand in a row?"),
    (UP, "95 %", "95 % has two nines too few: how many stand in a row?"),
    (UP, "99.99995 %", "99.99995 % has 3 nines too many: how many stand in a row?"),
    (UP, "99.94 %", "99.94 % leaves 0.06 % to 100 %. That is too large by about a fifth."),
    (UP, "100 %", "100 % leaves nothing for the other share: was it rounded away, or left out?"),
    # a month has 730 h, 30.4 days of 24 h
    (DAYS, "12 months", "the number fits d, and not months. That is 30.4 times too much."),
    (MONEY, "36000 USD", "the number is right, and 'USD' is in another currency than EUR/a."),
    (PLUS_ONE, "1440 h", "1440 h is too large by a factor of 24, and without the c of 1 h: where does such a factor come in?"),
    (PLUS_ONE, "600000 h", "600000 h has its decimal point 4 places too far to the right, and without the c of 1 h: "
                           "where does it belong?"),
    (NINES, "105 %", "105 % comes out without the a of 99.99 %: what does it take off?"),
    (TERM, "14 EUR", "'EUR' does not measure a time."),
    (OFTEN, "0.5 a", "0.5 a is the result turned over: how often is that?"),
    (COUNT, "20.5", "20.5 is no whole number: is the next one up or down enough?"),
    (ALIKE_TERMS, "15.5 h", "15.5 h comes out without the b of 9 h. Or without the c of 9 h: which one is it?"),
])
def test_what_is_said_of_an_answer_by_hand(item, said, shows):
    assert judged(item, said).shows == shows


# ---------------------------------------------------------------- limits of a judgement, worked by hand


def asked_in(item, ask):
    """Return a question with other words."""
    return replace(item, ask=ask)


def marked(value, question="One hour each?"):
    return Fingerprint("M09", lambda n: value, question)


def twice(a_h, **more):
    return question("2 * a_h", "h", {"a_h": a_h, **more})


def up(off_percent):
    return question("100 - off_percent", "%", {"off_percent": off_percent}, complement=True)


def a_year(mttr_h, *marks, tolerance=0.0, **more):
    return question("8760 / mtbf_h * mttr_h", "h/a", {"mtbf_h": 4380.0, "mttr_h": mttr_h} | more, *marks, tolerance=tolerance)


def beside(unit, value):
    """Return a question in a table whose other place holds this."""
    other = replace(A_YEAR, unit=unit, solve=lambda n: value, formula=None)
    return replace(A_YEAR, beside=(("row / place", other),))


def in_lines(*marks):
    """Return the question of `a_number`, of which the task tells no line."""
    return question("down_min", "min/a", {"mtbf_h": 100.0, "mttr_h": 10.0}, *marks, lines=LINES.items())


def quotient(a_h):
    return question("a_h * b_h / c_h / 8", "h", {"a_h": a_h, "b_h": 31.0, "c_h": 3.0})


def minutes(a_min, b_min, c_min):
    return question("a_min + b_min + c_min", "min", {"a_min": a_min, "b_min": b_min, "c_min": c_min})


HOURS = question("a_h + b_h + c_h", "h", {"a_h": 12.0, "b_h": 10.0, "c_h": 1.0})  # 23 h
SHARE_OF_HOURS = question("100 * a_h / (a_h + b_h)", "%", {"a_h": 99.0, "b_h": 1.0}, complement=True)  # 99 %
NINE_TENTHS = question("a_min * 0.9 / 60", "h", {"a_min": 80.0})  # 1.2 h
UP_AS_SHARE = question("1 - off", "", {"off": 0.0005}, complement=True)
MARK_OF_ZEROS = question("a_h * 1.75", "h", {"a_h": 1000.0, "b_h": 2404.8}, marked(2380.0))
PER_HOUR = question("times / a_h", "1/h", {"times": 6.0, "a_h": 3.0})
RATIO = question("100 * a_h / b_h", "%", {"a_h": 8.0, "b_h": 120.0})  # 6.67 %
NOT_TOLD = question("down_min", "min", {"a_h": 1.0}, lines=(("all_h", "2 * a_h"), ("down_min", "60 * all_h")))


@pytest.mark.parametrize(("item", "said", "verdict", "slip", "score"), [
    # a number with a name is one without a unit; "a year" is EUR a year only where EUR is asked
    (MINUTES, "125 failures", "NEAR", "no unit", 0.5), (MONEY, "36000", "NEAR", "no unit", 0.5),
    (MONEY, "36000 a year", "UNIT", "kind of unit", 0.5),
    (asked_in(MONEY, "How much is it in EUR a year?"), "36000 a year", "RIGHT", "", 1),
    (asked_in(MONEY, "How much is it in EUR a year?"), "36000", "RIGHT", "", 1),
    (asked_in(OFTEN, "How many is it?"), "2", "RIGHT", "", 1),
    # no sum of whole numbers is rounded to tens, or to hundreds of minutes: 22 h are 1320 min.
    (minutes(300.0, 241.0, 9.0), "560 min", "LOOK_AGAIN", "carry: 10", 0),
    (minutes(300.0, 240.0, 9.0), "560 min", "LOOK_AGAIN", "far: by a little", 0),
    (HOURS, "1300 min", "LOOK_AGAIN", "far: by a part", 0), (HOURS, "1380 min", "RIGHT", "", 1),
    # It is rounded where it is no whole number: 0.9583 d, and 1381 min are one too many.
    (HOURS, "0.96 d", "RIGHT", "", 1), (HOURS, "1381 min", "LOOK_AGAIN", "far: by a little", 0),
    # 12 h of 8760 are 0.137 %
    (A_YEAR, "0.137 h/a", "UNIT", "unit: %", 0.5), (A_YEAR, "0.137", "NEAR", "unit: %", 0.5),
    (OFTEN, "2 1/min", "UNIT", "unit: 1/a", 0.5), (OFTEN, "2 1/d", "UNIT", "unit: 1/a", 0.5),
    # 80 / 60 = 1.33 without the 0.9; 1.2 h are no 1 h 20 min, which is what one says who answers in smaller units
    (NINE_TENTHS, "1.33 h", "LOOK_AGAIN", "left out: 0.9", 0), (NINE_TENTHS, "1 h 20 min", "LOOK_AGAIN", "clock back", 0),
    (NINE_TENTHS, "80.0 min", "LOOK_AGAIN", "clock back", 0),
    # 27 / 3 and 30 / 3: one figure is no proof, and two zeros less are none
    (quotient(27.0), "9 min", "LOOK_AGAIN", "far: many times", 0), (quotient(27.0), "9.00 min", "LOOK_AGAIN", "quotient: a_h, c_h", 0),
    (quotient(30.0), "10 min", "LOOK_AGAIN", "far: many times", 0), (quotient(30.0), "10.0 min", "LOOK_AGAIN", "quotient: a_h, c_h", 0),
    # 0.5 is 10.4 times 0.048, and 10.8 times 0.0465; half of its last figure is a tenth of it
    (up(0.048), "99.5 %", "LOOK_AGAIN", "count of nines", 0), (up(0.0465), "99.5 %", "LOOK_AGAIN", "far: many times", 0),
    (SHARE_OF_HOURS, "90 %", "LOOK_AGAIN", "count of nines", 0), (UP_AS_SHARE, "0.995", "LOOK_AGAIN", "count of nines", 0),
    (UP_AS_SHARE, "1", "LOOK_AGAIN", "no rest", 0), (UP, "1", "LOOK_AGAIN", "no rest", 0),
    (UP, "-99.95 %", "LOOK_AGAIN", "sign: all", 0), (BOTH, "-0.06", "LOOK_AGAIN", "sign: all", 0),
    (ALL, "123 %", "LOOK_AGAIN", "far: more than all", 0), (MORE, "150 %", "LOOK_AGAIN", "far: by a part", 0),
    # 2 h are the result, and stand in the task in minutes, or nowhere
    (question("40 * times", "min", {"times": 3, "b_min": 120.0}), "2 h", "RIGHT", "", 1), (NOT_TOLD, "2 h", "RIGHT", "", 1),
    # 12.04 and 1234 are 12 and 1230 with fewer figures, as the task gives them too; three figures are enough
    (twice(6.02, b_h=12.0), "12 h", "NEAR", "figures", 0), (twice(6.02, b_h=12.0), "12.0 h", "RIGHT", "", 1),
    (twice(617.0, b_h=1230.0), "1230 h", "NEAR", "figures", 0), (twice(617.0), "1230 h", "RIGHT", "", 1),
    (twice(617.0, b_h=1230.0), "1234 h", "RIGHT", "", 1), (twice(6.0, b_h=12.0), "12 h", "RIGHT", "", 1),
    # 2 x 5 x 1.04 = 10.4, and 9.36: one figure is said by what gives it
    (question("2 * a_h * 1.04", "h", {"a_h": 5.0}), "10 h", "RIGHT", "", 1),
    (question("2 * a_h * 1.04", "h", {"a_h": 4.5}), "9 h", "LOOK_AGAIN", "left out: 1.04", 0),
    # a mark is met as roughly as the question allows, up to a fortieth of 20
    (a_year(6.0, marked(20.0), tolerance=0.1), "20.4 h/a", "LOOK_AGAIN", "mark 1: M09", 0),
    (a_year(6.0, marked(20.0), tolerance=0.1), "20.6 h/a", "LOOK_AGAIN", "far: by a part", 0),
    (a_year(6.0, marked(20.0)), "20.4 h/a", "LOOK_AGAIN", "far: by a part", 0),
    # The very number goes before a mark: 6 h once, 2 x 6 x 6 = 72. Else the mark goes before what is a single slip.
    (a_year(6.0, marked(6.02)), "6.0 h/a", "LOOK_AGAIN", "given for the end: mttr_h", 0),
    (a_year(6.0, marked(6.0)), "6.0 h/a", "LOOK_AGAIN", "mark 1: M09", 0),
    (a_year(6.0, marked(72.1)), "72.0 h/a", "LOOK_AGAIN", "twice: mttr_h", 0),
    (a_year(6.0, marked(72.1)), "72.04 h/a", "LOOK_AGAIN", "mark 1: M09", 0),
    # 2 x 6.0025 x 6.0025 = 72.06
    (a_year(6.0025, marked(72.17)), "72.1 h/a", "LOOK_AGAIN", "mark 1: M09", 0),
    # 2400 has three figures before it has two: 2404.8 gives them, and 2380 does not
    (MARK_OF_ZEROS, "2400 h", "LOOK_AGAIN", "given for the end: b_h", 0), (MARK_OF_ZEROS, "2380 h", "LOOK_AGAIN", "mark 1: M09", 0),
    # 31.3 from 100, and -55 is nobody's rest of 155
    (replace(BOTH, fingerprints=(marked(31.3),)), "68.7 %", "LOOK_AGAIN", "mark 1: M09; rest", 0),
    (replace(BOTH, fingerprints=(marked(155.0),)), "-55.0 %", "LOOK_AGAIN", "far: sign", 0),
    (replace(BOTH, fingerprints=(marked(31.3),)), "62.6 %", "LOOK_AGAIN", "mark 1: M09; twice", 0),
    # 3 times 7 h: 3.5 h are half of what is given
    (question("8760 / mtbf_h * mttr_h", "h/a", {"mtbf_h": 2920.0, "mttr_h": 7.0}), "3.50 h/a", "LOOK_AGAIN",
     "given for the end: mttr_h; half", 0),
    # 2 x 34.6063 x 34.6063 = 2395.2 has three figures of 2400, and the 2440 that is given has two
    (a_year(34.6063, b_h=2440.0), "2400 h/a", "LOOK_AGAIN", "twice: mttr_h", 0),
    (a_year(34.6063, b_h=2440.0), "2440 h/a", "LOOK_AGAIN", "given for the end: b_h", 0),
    # 72 h are 4320 min: of two slips the common one, in a smaller unit too
    (a_year(6.0, b_h=72.0), "4320 min/a", "LOOK_AGAIN", "given for the end: b_h", 0),
    # another place: behind what is common here, before what is single, and last of all in another unit
    (beside("h/a", 6.0), "6.0 h/a", "LOOK_AGAIN", "given for the end: mttr_h", 0),
    (beside("h/a", 72.0), "72.0 h/a", "LOOK_AGAIN", "other cell: row / place", 0),
    (beside("h", 72.0), "72.0 h/a", "LOOK_AGAIN", "twice: mttr_h", 0),
    (beside("h", 50.0), "50.0 h/a", "LOOK_AGAIN", "other cell: row / place", 0),
    # of 99.9 and 100 too few figures are left to 100 for a proof, unless it is the very number: 1 / 100 of 100
    (BOTH, "99.9 %", "LOOK_AGAIN", "far: many times", 0), (RATIO, "99 %", "LOOK_AGAIN", "far: many times", 0),
    (RATIO, "99.17 %", "LOOK_AGAIN", "rest of a quotient: 1, b_h", 0),
    (question("100 * a_h / b_h", "%", {"a_h": 8.0, "b_h": 100.0}), "99 %", "LOOK_AGAIN", "rest of a quotient: 1, b_h", 0),
    # 4.1 + 5.2 and 3.2 + 6.1: of what is rare one is told
    (question("a_h * 7", "h", {"a_h": 3.0, "b_h": 4.1, "c_h": 5.2, "d_h": 3.2, "e_h": 6.1}), "9.30 h", "LOOK_AGAIN",
     "sum: b_h, c_h", 0),
    # times by times are a number, which is a number a year where that is asked
    (OFTEN, "8760 h / 4380 h", "RIGHT", "", 1), (OFTEN, "8760 / 4380", "NEAR", "no unit", 0.5),
    (PER_HOUR, "2 beats", "RIGHT", "", 1), (PER_HOUR, "2", "NEAR", "no unit", 0.5),
    # one figure is rough, and as near as 0.7 and 1.4 of the result from no rare slip: 5.2 + 1.8, 5 + 2 and 6 + 6 - 3
    (twice(2.6, b_h=1.8), "7 h", "LOOK_AGAIN", "far: by a part", 0), (twice(2.5, b_h=2.0), "7 h", "LOOK_AGAIN", "one term more: b_h", 0),
    (twice(6.0, b_h=3.0), "9 h", "LOOK_AGAIN", "far: by a part", 0), (twice(6.0, b_h=8.0), "20 h", "LOOK_AGAIN", "one term more: b_h", 0),
    (twice(5.0), "7 h", "LOOK_AGAIN", "added: a_h, constants", 0),
    # of a year 6 h are 0.0685 %, 2 h 0.0228 % and 17.5 h 0.2 %; 2 failures of 20 % of it are 1752 h
    (A_YEAR, "0.1 %", "UNIT", "share of a year", 0.5), (A_YEAR, "0.2 %", "UNIT", "far: by a part", 0),
    (A_YEAR, "0.0685 %", "LOOK_AGAIN", "given for the end: mttr_h", 0), (A_YEAR, "0.0228 %", "LOOK_AGAIN", "left out: mttr_h", 0),
    (A_YEAR, "0 EUR", "UNIT", "kind of unit", 0), (A_YEAR, "1 EUR", "UNIT", "kind of unit", 0),
    (OFTEN, "0 a", "UNIT", "kind of unit", 0), (OFTEN, "4380 h", "LOOK_AGAIN", "turned over: all", 0), (OFTEN, "4400 h", "LOOK_AGAIN", "turned over: all", 0),
    (BOTH, "1752 h", "LOOK_AGAIN", "left out: other", 0), (BOTH, "1700 h", "UNIT", "far: many times", 0),
    (MINUTES, "35 EUR", "LOOK_AGAIN", "left out of the sum: b_min", 0),
])
def test_limits_of_a_judgement_by_hand(item, said, verdict, slip, score):
    found = judged(item, said)
    assert (found.verdict.name, found.slip, found.score) == (verdict, slip, score)


@pytest.mark.parametrize(("item", "said", "shows"), [
    (BOTH, "6 EUR", "the number is right, and 'EUR' does not measure a share."),
    (OFTEN, "2 EUR", "the number is right, and 'EUR' does not measure a number per time."),
    (MONEY, "36000 h", "the number is right, and 'h' does not measure money per time."),
    # 0.055 is 5.5 % of 6 %, and not a hundredth of it
    (BOTH, "0.055", "0.055 is too small by about a tenth."),
    (GIVEN_100, "100 h", "100 h is the b too: give one more figure."),
    (IN_MINUTES, "2 h", "2 h is the a, as it is given: what is it in 'min'?"),
    (A_YEAR, "6 min/a", "6 min/a is the MTTR: does that much come in every year? And the number belongs to h/a."),
    (A_YEAR, "6 EUR", "6 EUR is the MTTR: does that much come in every year? And 'EUR' does not measure a time per year."),
    # 0.1 / 100 of 8760 h are 8.76 h: 8760 / 100
    (A_YEAR, "0.137 h/a", "the number fits the share of the year in per cent, and not h/a. That is 87.6 times too little."),
    (A_YEAR, "0.2 %", "0.2 % of the year is too large by about a half, and '%' does not measure a time per year."),
    # 50 of 87 %, where more is left to 100 % than is said
    (up(13.0), "50 %", "50 % is too small by about two fifths."),
    (up(0.0465), "99.5 %", "99.5 % leaves 0.5 % to 100 %. That is about 11 times too large."),
    (replace(BOTH, fingerprints=(marked(31.3),)), "0.313 %", "One hour each? And it is counted as a share of one."),
    (replace(BOTH, unit="", solve=lambda n: 0.06, fingerprints=(marked(0.313),)), "31.3", "One hour each? And it is counted in %."),
    # what the task does not tell is told by no step, and a hint says it where it is not the result
    (in_lines(), "600 min/a", "600 min/a comes out without the rate: does it happen once in every year?"),
    (in_lines(marked(700.0, "Is it {per_a} of {down_min} min/a?")), "700 min/a", "Is it 79.6 min/a?"),
    (in_lines(marked(700.0, "Is it one ({down_min} min/a) of {mttr_h} h?")), "700 min/a", "Is it one of 10 h?"),
    # five figures are told in full, six are not
    (question("a_h * b_h / c_h", "h", {"a_h": 12.345, "b_h": 7.0, "c_h": 3.0}), "2.333 h",
     "2.333 h comes out without the a of 12.345 h: what does it change?"),
    (question("a_h * b_h / c_h", "h", {"a_h": 12.3456, "b_h": 7.0, "c_h": 3.0}), "2.333 h",
     "2.333 h comes out without the a of 12.3 h: what does it change?"),
])
def test_words_of_a_judgement_by_hand(item, said, shows):
    assert judged(item, said).shows == shows


@pytest.mark.parametrize(("own", "said", "verdict", "tells"), [
    # 12 is right; with an own 5 it is 10, which is far from 12, and with 11.8 / 2 it is near
    (5.0, "10 h", "FOLLOWS", "The earlier one needs a second look."), (5.9, "11.8 h", "FOLLOWS", "Carry more figures"),
    (5.0, "10.1 h", "LOOK_AGAIN", ""), (4.2, "8 h", "FOLLOWS", ""),
    # 11 is a twelfth off
    (5.5, "11 h", "FOLLOWS", "The earlier one needs"), (6.0, "12 h", "RIGHT", ""), (None, "10 h", "LOOK_AGAIN", "")])
def test_a_step_follows_from_ones_own_value_before(own, said, verdict, tells):
    item = question("a_h + b_h * 1.75", "h", {"a_h": 5.0, "b_h": 4.0}, follows="00-before", solve_from=lambda _, own: 2 * own)
    found = judged(item, said, **{"00-before": own} if own else {})
    assert found.verdict.name == verdict and tells in found.shows
    assert found.score == {"FOLLOWS": 0.5, "RIGHT": 1.0}.get(verdict, 0.0)


@pytest.mark.parametrize(("text", "number", "half", "zeros"), [
    ("0.58", 0.58, 0.005, False), ("7", 7, 0.5, False), ("12", 12, 0.5, False), ("12.0", 12, 0.05, False),
    ("100", 100, 5, True), ("120", 120, 5, True), ("1200", 1200, 50, True), ("1203", 1203, 0.5, False),
    ("1e3", 1000, 50, True), ("0", 0, 0, False), ("-40", -40, 0.5, False), ("9.99", 9.99, 0.005, False)])
def test_half_of_the_last_figure_by_hand(text, number, half, zeros):
    given = as_given(parse(text))
    assert (given.value, given.zeros) == (number, zeros) and given.half == pytest.approx(half, rel=1e-12)
    other = given.scaled(-60.0)
    assert (other.value, other.zeros) == (-60 * number, zeros)
    assert other.half == pytest.approx(60 * half, rel=1e-12)


@pytest.mark.parametrize(("item", "marked"), [
    # what rounds to the value with three figures and with two
    (A_YEAR, "12 h/a"), (TWELVE, "12.36 h (12.4; 12)"), (AS_READ, "12 h/a (10.8 to 13.2; 11 to 13)"), (UP, "99.95 %"),
    (PLUS_ONE, "61 h"), (SMALL, "1.4 h")])
def test_what_the_key_takes_by_hand(item, marked):
    assert item.marked_by(next(item.case.draws(0)), 0) == (marked,) and item.points == 2


def test_one_figure_is_not_enough_to_be_taken():
    numbers = next(SMALL.case.draws(0))
    assert SMALL.taken(numbers, 1) is None and SMALL.taken(numbers, 2) == ("1.4", "1.4")
    assert AS_READ.taken(next(AS_READ.case.draws(0)), 3) == ("10.8", "13.2")


@pytest.mark.parametrize(("a_h", "said", "verdict", "slip"), [
    # a point before three figures may part thousands, and so may a comma
    (21_900.0, "43.800 h", "RIGHT", ""), (21.9, "43.800 h", "RIGHT", ""), (617.0, "1,234 h", "RIGHT", ""),
    (0.617, "1,234 h", "RIGHT", ""), (1234.0, "1,234 h", "LOOK_AGAIN", "left out: 2"), (5000.0, "1,234 h", "UNCLEAR", "")])
def test_a_number_that_can_be_read_in_two_ways(a_h, said, verdict, slip):
    found = judged(question("2 * a_h", "h", {"a_h": a_h}), said)
    assert (found.verdict.name, found.slip) == (verdict, slip)
    assert ("43 800" in found.shows.replace("\u202f", " ")) is (a_h == 21_900.0)


@pytest.mark.parametrize(("mark", "is_apart"), [
    (12.001, False), (18.0, True), (12.0 * 60, False), (12.0 / 24, False), (12.0 * 50, True)])
def test_a_mark_lies_apart_from_the_right_value_and_from_it_in_another_unit(mark, is_apart):
    item = question("8760 / mtbf_h * mttr_h", "h/a", {"mtbf_h": 4380.0, "mttr_h": 6.0},
                    Fingerprint("M09", lambda n: mark, "One hour each?"))
    assert item.separated(next(item.case.draws(0))) is is_apart


@pytest.mark.parametrize(("b_h", "meets"), [(12.0, True), (12.01, True), (12.02, False), (11.98, False), (13.0, False)])
def test_a_given_that_would_be_called_right_is_met(b_h, meets):
    item = question("a_h * 1.5", "h", {"a_h": 8.0, "b_h": b_h})
    assert item.met(next(item.case.draws(0))) == ({"given for the end: b_h"} if meets else set())


def test_two_figures_of_a_given_are_met_but_not_by_a_count():
    numbers = {"a_h": 6.0, "b_h": 12.0}
    rounded = question("2 * a_h * 1.03", "h", numbers)
    assert rounded.met(next(rounded.case.draws(0))) == {"given for the end: b_h"}
    counted = question("2 * a_h * 1.03", "h", numbers, exact=True)
    assert counted.met(next(counted.case.draws(0))) == set()


def test_known_errors_are_the_marks_and_one_case_for_a_year():
    item = question("8760 / mtbf_h * mttr_h", "h/a", {"mtbf_h": 4380.0, "mttr_h": 6.0},
                    Fingerprint("M09", lambda n: 2.5, "One of {mttr_h} h?"))
    mark, once = item.known_errors(next(item.case.draws(0)))
    assert (mark.answer, mark.misconception, mark.says, mark.reply) == ("2.5 h/a", "M09", "2.5 h/a", "One of 6 h?")
    assert (once.answer, once.misconception, once.says) == ("6.0 h/a", "S02", "6 h/a")
    assert once.reply.startswith("6 h/a is the MTTR: does that much come")


@pytest.mark.parametrize(("low", "high", "right"), [(10.0, 20.0, 1), (5.0, 11.0, 2), (13.0, 20.0, 0), (12.0, 20.0, 0)])
def test_the_size_of_a_result_lies_in_one_of_three_ranges(low, high, right):
    item = question("8760 / mtbf_h * mttr_h", "h/a", {"mtbf_h": 4380.0, "mttr_h": 6.0},
                    rough=Rough(60 * low, 60 * high, "min/a", "Twice six."))
    size, numbers = item.size_item(), next(item.case.draws(0))
    assert [option.is_right(numbers) for option in size.options] == [place == right for place in range(3)]
    assert size.in_order and judged(item, "12 h/a").next_step == "Does the size make sense? Tick the range below."


@pytest.mark.parametrize(("value", "written"), [
    (35.04, "35.04 h"), (35.046, "35.05 h"), (12345.6, "12 350 h"), (9999.6, "10 000 h"), (999.96, "1000 h"), (10_000.0, "10 000 h"),
    (0.00012346, "0.0001235 h"), (-12345.6, "-12 350 h"), (1.5e12, "1.5e+12 h")])
def test_a_number_on_a_board(value, written):
    assert on_board(value, "h") == written


def test_what_a_wide_question_would_call_right_is_met():
    def met(text, tolerance, **numbers):
        item = question(text, "h", numbers, tolerance=tolerance)
        return item.met(next(item.case.draws(0)))

    # without 1.03 it is 3 % less, and 6 % after a division by it; a term so small may be left out
    assert met("2 * a_h * 1.03", 0.05, a_h=4.0) == {"left out: 1.03"}
    assert met("2 * a_h * 1.03", 0.1, a_h=4.0) == {"left out: 1.03", "turned over: 1.03"}
    assert met("2 * a_h * 1.03", 0.0, a_h=4.0) == met("2 * a_h * 1.03", 0.01, a_h=4.0) == set()
    assert met("a_h + b_h", 0.1, a_h=8.0, b_h=0.3) == set()


def is_the_same(slip, value, right, own):
    """Return whether a value is the right one too far to a side, too large, or in another unit."""
    kind, _, what = slip.partition(": ")
    same = [right * own.factor / unit(what).factor] if kind == "unit" else []
    if kind == "factor":
        way, factor = re.fullmatch("(?:rest )?too (large|small) by (.*)", what).groups()
        times = float(factor) if way == "large" else 1 / float(factor)
        same = [100 - (100 - right) * times if what.startswith("rest") else right * times]
    if slip == "far: power of ten":
        same = [right * 10.0 ** round(math.log10(value / right))]
    return same != [] and value == pytest.approx(same[0], rel=1e-3)


@pytest.mark.parametrize("formula", [each for each in BY_HAND if not {"kinds", "told"} & each.keys()],
                         ids=lambda formula: formula["text"])
def test_the_tutor_names_each_slip_that_was_worked_by_hand(formula):
    item = question(formula["text"], formula["own"], formula["numbers"], shares=formula.get("shares", ()),
                    lines=formula.get("lines", ()))
    right = item.solve(next(item.case.draws(0)))
    rows = [(name, value) for rank, _, name, value in rows_of(formula["slips"]) if rank < 4 and value > 0]
    # What is near is told as that, and one figure says little.
    asked = [value for _, value in rows if abs(value / right - 1) > 0.03
             and float(f"{value:.7g}") != float(f"{value:.1g}")]
    assert len(asked) > 3
    for value in asked:
        found = judged(item, f"{value:.7g} {formula['own']}")
        # slips whose numbers differ by less than a thousandth are told as one
        names = [name for name, other in rows if other == pytest.approx(value, rel=1e-3)]
        assert found.verdict in (Verdict.LOOK_AGAIN, Verdict.UNIT)
        assert any(name in found.slip for name in names) or is_the_same(
            found.slip, value, right, item.own), (value, names, found.slip)
