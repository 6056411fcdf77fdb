"""Judging of answers: how value and unit are judged apart, and the other types of item."""

import re
from types import SimpleNamespace

import pytest

from lessons.exercises.choosing import Choice, Option, OptionItem
from lessons.exercises.item import Case, Hints, fill
from lessons.exercises.lookup import lesson_of
from lessons.exercises.numeric import Fingerprint, Numeric, Rough
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction
from lessons.exercises.replies import Judgement, Verdict, rung_after
from lessons.exercises.table import Free, Pick, Table


def a_down_time(**changes):
    case = Case("00-case", "MTBF {mtbf_h} h, MTTR {mttr_h} h.",
                {"mtbf_h": (60_000.0,), "mttr_h": (4.0,)})
    fields = {
        "id": "00-down", "title": "Down time", "objective": "", "case": case,
        "ask": "How long?", "unit": "min/a",
        "solve": lambda n: 8760 / (n.mtbf_h + n.mttr_h) * n.mttr_h * 60,
        "reason": "Rate times time.", "hints": Hints("Pointer.", "Relation.", "Route."),
        "fingerprints": (Fingerprint("S02", lambda n: n.mttr_h * 60, "One repair a year?"),),
    } | changes
    return Numeric(**fields)


NUMBERS = SimpleNamespace(mtbf_h=60_000.0, mttr_h=4.0)


@pytest.mark.parametrize(
    ("answer", "verdict", "misconception"),
    [
        ("35 min/a", Verdict.RIGHT, None),
        ("35.0 min per year", Verdict.RIGHT, None),
        ("35,04 min/a", Verdict.RIGHT, None),
        ("0.584 h/a", Verdict.RIGHT, None),
        ("2102 s/a", Verdict.RIGHT, None),
        ("35", Verdict.NEAR, None),
        ("35 times", Verdict.NEAR, None),
        (35, Verdict.NEAR, None),
        (35.04, Verdict.NEAR, None),
        ("0.584", Verdict.NEAR, None),
        ("35 min", Verdict.RIGHT, None),
        ("0.175 h", Verdict.LOOK_AGAIN, None),
        ("35 s", Verdict.UNIT, "S01"),
        ("35 h/a", Verdict.UNIT, "S01"),
        ("0.584 min/a", Verdict.UNIT, "S01"),
        ("2102 min/a", Verdict.UNIT, "S01"),
        ("0.00667 %", Verdict.UNIT, None),
        ("240 min/a", Verdict.LOOK_AGAIN, "S02"),
        ("4 h/a", Verdict.LOOK_AGAIN, "S02"),
        ("240", Verdict.LOOK_AGAIN, "S02"),
        ("77 min/a", Verdict.LOOK_AGAIN, None),
        ("-35 min/a", Verdict.LOOK_AGAIN, "S16"),
        ("0 min/a", Verdict.LOOK_AGAIN, None),
        ("1,234 min/a", Verdict.UNCLEAR, None),
        ("thirty-five", Verdict.NEAR, None),
        ("thirty-fives", Verdict.UNCLEAR, None),
        ("35 bananas", Verdict.UNCLEAR, None),
        (True, Verdict.UNCLEAR, None),
        ([35], Verdict.UNCLEAR, None),
        (float("nan"), Verdict.UNCLEAR, None),
        (10**400, Verdict.UNCLEAR, None),
        ("not sure", Verdict.NOT_SURE, None),
        (..., Verdict.BLANK, None),
        (None, Verdict.BLANK, None),
        ("", Verdict.BLANK, None),
        ("  ", Verdict.BLANK, None),
    ],
)
def test_value_and_unit_are_judged_apart(answer, verdict, misconception):
    judged = a_down_time().judge(answer, NUMBERS, 0, {})
    assert (judged.verdict, judged.misconception) == (verdict, misconception)


@pytest.mark.parametrize(
    ("answer", "verdict"),
    [
        ("35", Verdict.RIGHT),
        ("35 times", Verdict.RIGHT),
        ("35 min/a", Verdict.RIGHT),
        ("0.584 h/a", Verdict.RIGHT),
        ("0.584", Verdict.UNIT),
        ("240", Verdict.LOOK_AGAIN),
    ],
)
def test_a_box_that_shows_its_unit_takes_a_bare_number(answer, verdict):
    assert a_down_time(shows_unit=True).judge(answer, NUMBERS, 0, {}).verdict is verdict


def test_the_limits_of_the_tolerance_are_inclusive():
    item = a_down_time(solve=lambda n: 100.0, tolerance=0.02)
    for value in (98, 102):
        assert item.judge(f"{value} min/a", NUMBERS, 0, {}).verdict is Verdict.RIGHT
    for value in (97.9, 102.1):
        assert item.judge(f"{value} min/a", NUMBERS, 0, {}).verdict is Verdict.LOOK_AGAIN


@pytest.mark.parametrize(("said", "right", "verdict"), [
    ("35 min/a", 35.04, Verdict.RIGHT), ("35.0 min/a", 35.04, Verdict.RIGHT),
    ("35.1 min/a", 35.04, Verdict.NEAR), ("36 min/a", 35.04, Verdict.LOOK_AGAIN),
    ("0.58 h/a", 35.04, Verdict.RIGHT), ("0.6 h/a", 35.04, Verdict.NEAR),
    ("40 min/a", 35.04, Verdict.LOOK_AGAIN), ("30 min/a", 35.04, Verdict.LOOK_AGAIN),
    ("35.02 min/a", 35.04, Verdict.RIGHT),  # four figures on the way
    ("2100 s/a", 35.04, Verdict.RIGHT), ("2200 s/a", 35.04, Verdict.LOOK_AGAIN),
    ("4 min/a", 4.0, Verdict.RIGHT), ("4 min/a", 4.3, Verdict.NEAR),
])
def test_right_is_what_rounds_to_it(said, right, verdict):
    item = a_down_time(solve=lambda n: right, fingerprints=())
    assert item.judge(said, NUMBERS, 0, {}).verdict is verdict


@pytest.mark.parametrize(("said", "verdict"), [
    ("540 min", Verdict.RIGHT), ("9 h", Verdict.RIGHT), ("9.0 h", Verdict.RIGHT),
    ("545 min", Verdict.LOOK_AGAIN), ("541 min", Verdict.LOOK_AGAIN), ("9.1 h", Verdict.LOOK_AGAIN)])
def test_a_sum_of_whole_numbers_is_exact(said, verdict):
    item = a_down_time(unit="min", solve=lambda n: 540.0, exact=True, fingerprints=())
    assert item.judge(said, NUMBERS, 0, {}).verdict is verdict


@pytest.mark.parametrize(
    ("answer", "verdict"),
    [
        ("99.9933 %", Verdict.RIGHT),
        ("0.999933", Verdict.RIGHT),
        ("99.9933", Verdict.RIGHT),
        ("99,9933 %", Verdict.RIGHT),
        ("99.99 %", Verdict.NEAR),
        ("99.993 %", Verdict.NEAR),
        ("99.98 %", Verdict.LOOK_AGAIN),
        ("100 %", Verdict.LOOK_AGAIN),
        ("0.00667 %", Verdict.LOOK_AGAIN),
        ("99.9933 h", Verdict.UNIT),
    ],
)
def test_an_availability_is_judged_by_its_distance_from_one(answer, verdict):
    item = a_down_time(
        unit="%", solve=lambda n: 100 * n.mtbf_h / (n.mtbf_h + n.mttr_h), complement=True,
        fingerprints=(),
    )
    assert item.judge(answer, NUMBERS, 0, {}).verdict is verdict


def test_an_answer_that_follows_from_an_own_earlier_value():
    item = a_down_time(
        follows="00-mttr", solve_from=lambda n, mttr_h: 8760 / (n.mtbf_h + mttr_h) * mttr_h * 60
    )
    from_six_hours = "52.56 min/a"
    assert item.judge(from_six_hours, NUMBERS, 0, {}).verdict is Verdict.LOOK_AGAIN
    judged = item.judge(from_six_hours, NUMBERS, 0, {"00-mttr": 6.0})
    assert judged.verdict is Verdict.FOLLOWS
    assert item.judge("35.04 min/a", NUMBERS, 0, {"00-mttr": 6.0}).verdict is Verdict.RIGHT


def test_errors_that_cannot_be_told_apart_are_noticed():
    assert a_down_time().separated(NUMBERS) and a_down_time().points == 2  # for value and unit
    near = Fingerprint("M09", lambda n: 36.0, "?")
    assert not a_down_time(fingerprints=(near,)).separated(NUMBERS)
    twins = tuple(Fingerprint(m, lambda n: 240.0, "?") for m in ("M09", "S02"))
    assert not a_down_time(fingerprints=twins).separated(NUMBERS)
    like_a_unit = Fingerprint("M09", lambda n: 0.584, "?")
    assert not a_down_time(fingerprints=(like_a_unit,)).separated(NUMBERS)


# -- in full: verdict, words, value, name of the error, score ------------------------------------


def judged(item, answer, numbers=NUMBERS, seed=0, earlier=None):
    got = item.judge(answer, numbers, seed, earlier or {})
    return got.verdict, got.shows, got.value, got.misconception, got.score


@pytest.mark.parametrize(("answer", "changes", "expected"), [
    ("35.04 min/a", {}, (Verdict.RIGHT, "Rate times time.", 35.04, None, 1.0)),
    ("0.584 h/a", {}, (Verdict.RIGHT, "Rate times time.", 35.04, None, 1.0)),  # 0.584 x 60
    ("35.04", {}, (Verdict.NEAR, "the number is right, and the unit is missing.", 35.04, None, 0.5)),
    ("35.04", {"shows_unit": True}, (Verdict.RIGHT, "Rate times time.", 35.04, None, 1.0)),
    ("35.04 min", {}, (Verdict.RIGHT, "Rate times time. Read as 35.04 min a year.", 35.04, None,
                       1.0)),
    ("2.102 s", {}, (Verdict.RIGHT, "Rate times time. Read as 2102 s a year.", 35.0333333333333, None,
                     1.0)),
    ("35.04 %", {}, (Verdict.UNIT, "the number is right, and '%' does not measure a time per "
                     "year.", 35.04, None, 0.5)),
    ("0.006666 %", {}, (Verdict.UNIT, "the amount is right, and '%' does not measure a time per "
                        "year.", 0.006666, None, 0.5)),
    ("7 min", {}, (Verdict.LOOK_AGAIN, "7 min is about 5 times too small. Read as 7 min a year.", 7.0,
                   None, 0.0)),
    ("35 h", {}, (Verdict.UNIT, "the number fits min/a, and not h/a. That is 60 times too much. "
                  "Read as 35 h a year.", 2100.0, "S01", 0.5)),
    ("35.04 EUR", {}, (Verdict.UNIT, "the number is right, and 'EUR' does not measure a time per "
                       "year.", 35.04, None, 0.5)),
    ("7 EUR", {}, (Verdict.UNIT, "'EUR' does not measure a time per year.", 7.0, None, 0.0)),
    ("7 EUR/a", {"unit": "h"}, (Verdict.UNIT, "'EUR/a' does not measure a time.", 7.0, None, 0.0)),
    ("7 h", {"unit": "1/h"}, (Verdict.UNIT, "'h' does not measure a number per time.", 7.0, None,
                              0.0)),
    ("7 h", {"unit": "%"}, (Verdict.UNIT, "7 h of the year is about 400 times too small, and 'h' "
                            "does not measure a share.", 7.0, None, 0.0)),
    ("7 h", {"unit": "L/s"}, (Verdict.UNIT, "'h' does not measure volume per time.", 7.0, None,
                              0.0)),
    ("7 h", {"unit": "EUR"}, (Verdict.UNIT, "'h' does not measure money.", 7.0, None, 0.0)),
    ("0.584", {}, (Verdict.NEAR, "the number fits h/a, and the unit is missing.", 0.584, None, 0.5)),
    ("0.584", {"shows_unit": True}, (Verdict.UNIT, "the number fits h/a, and not min/a. "
                                     "That is 60 times too little.", 0.584, "S01", 0.5)),
    ("0.584 min/a", {}, (Verdict.UNIT, "the number fits h/a, and not min/a. That is 60 times too "
                         "little.", 0.584, "S01", 0.5)),
    ("240 min/a", {}, (Verdict.LOOK_AGAIN, "One repair a year?", 240.0, "S02", 0.0)),
    ("77 min/a", {}, (Verdict.LOOK_AGAIN, "77 min/a is about twice as large.", 77.0,
                      None, 0.0)),
    (77, {}, (Verdict.LOOK_AGAIN, "77 is about twice as large.", 77.0, None, 0.0)),
    ("", {}, (Verdict.BLANK, "", None, None, 0.0)),
    ("Not sure ", {}, (Verdict.NOT_SURE, "", None, None, 0.0)),
    ([7], {}, (Verdict.UNCLEAR, "one text is expected, such as '12 min'.", None, None, 0.0)),
    (10**400, {}, (Verdict.UNCLEAR, "the number is too large.", None, None, 0.0)),
    ("h", {}, (Verdict.UNCLEAR, "no number was found in 'h'. Write one number and its unit.", None,
               None, 0.0)),
])
def test_a_number_is_answered_in_full(answer, changes, expected):
    verdict, shows, value, error, score = judged(a_down_time(**changes), answer)
    assert (verdict, shows, error, score) == (expected[0], expected[1], *expected[3:])
    assert value == (None if expected[2] is None else pytest.approx(expected[2], rel=1e-12))


EXACT = {"unit": "min", "solve": lambda n: 540.0, "exact": True}
NINES = {"unit": "%", "solve": lambda n: 99.99, "complement": True, "fingerprints": ()}


@pytest.mark.parametrize(("answer", "changes", "verdict", "shows", "error"), [
    # 240 is one repair a year in min: in h and s it has the wrong unit, 14 400 min are its seconds
    ("240 h/a", {}, "UNIT", "One repair a year? And the number belongs to min/a.", "S02"),
    ("240 s/a", {}, "UNIT", "One repair a year? And the number belongs to min/a.", "S02"),
    ("14400 min/a", {}, "LOOK_AGAIN", "One repair a year? And it is counted in s/a.", "S02"),
    ("4 min/a", {}, "LOOK_AGAIN", "One repair a year? And it is counted in h/a.", "S02"),
    ("-5 min/a", {}, "LOOK_AGAIN", "-5 min/a has the other sign.", None),
    ("-35 min/a", {}, "LOOK_AGAIN", "-35 min/a has the other sign: can it be below zero?", "S16"),
    # 35.04 of 525 600 min are 0.006667 %, and 0.01 % of them are 52.56
    ("0.006667 min/a", {}, "UNIT", "the number fits the share of the year in per cent, and not min/a. "
                                   "That is 5 256 times too little.", "S01"),
    ("99.9933 %", {}, "UNIT", "99.9933 % is the other part of the year, and '%' does not measure a time "
                              "per year.", "S04"),
    ("35.04 d/a", {}, "UNIT", "the number fits min/a, and not d/a. That is 1 440 times too much.", "S01"),
    ("2 1/h", {"unit": "1/h", "solve": lambda n: 120.0, "fingerprints": ()}, "UNIT",
     "the number fits 1/min, and not 1/h. That is 60 times too little.", "S01"),
    ("2 min", {"unit": "h", "solve": lambda n: 120.0, "fingerprints": ()}, "LOOK_AGAIN",
     "2 min is about 4 000 times too small.", None),
    ("0.0285 a", {"unit": "1/a", "fingerprints": ()}, "LOOK_AGAIN",
     "0.0285 a is the result turned over: how often is that?", "S03"),
    # a sum of whole numbers: half a minute is no whole number, one and a half is another sum
    ("540.5 min", EXACT, "LOOK_AGAIN",
     "540.5 min is no whole number: is the next one up or down enough?", "S05"),
    ("539.2 min", EXACT, "LOOK_AGAIN",
     "539.2 min is no whole number: is the next one up or down enough?", "S05"),
    ("541.5 min", EXACT, "LOOK_AGAIN", "541.5 min is too large by a little.", None),
    ("541 min", EXACT, "LOOK_AGAIN", "541 min is too large by a little.", None),
    # two, three and one nines for four
    ("99.0 %", NINES, "LOOK_AGAIN", "99.0 % has two nines too few: how many stand in a row?", "S01"),
    ("90 %", NINES, "LOOK_AGAIN", "90 % has 3 nines too few: how many stand in a row?", "S01"),
    ("99.999 %", NINES, "LOOK_AGAIN", "99.999 % has one nine too many: how many stand in a row?", "S01"),
    ("99.9999 %", NINES, "LOOK_AGAIN", "99.9999 % has two nines too many: how many stand in a row?", "S01"),
    ("99.95 %", NINES, "LOOK_AGAIN", "99.95 % leaves 0.05 % to 100 %. That is about 5 times too large.", None),
    ("99.998 %", NINES, "LOOK_AGAIN", "99.998 % leaves 0.002 % to 100 %. That is about 5 times too small.",
     None),
    ("89 %", NINES, "LOOK_AGAIN", "89 % leaves 11 % to 100 %. That is about 1 000 times too large.", None),
    ("100 %", NINES, "LOOK_AGAIN",
     "100 % leaves nothing for the other share: was it rounded away, or left out?", None),
    ("100.5 %", NINES, "LOOK_AGAIN", "100.5 % is more than the whole.", None),
    ("50 %", NINES, "LOOK_AGAIN", "50 % is too small by about a half.", None),
    ("100 %", {"unit": "%", "solve": lambda n: 60.0, "fingerprints": ()}, "LOOK_AGAIN",
     "100 % is too large by about two thirds.", None),
    ("101 %", {"unit": "%", "solve": lambda n: 60.0, "fingerprints": ()}, "LOOK_AGAIN",
     "101 % is more than the whole.", None),
    ("120 %", {"unit": "%", "solve": lambda n: 101.0, "fingerprints": ()}, "LOOK_AGAIN",
     "120 % is too large by about a fifth.", None),
    # where the question names its unit, so many a year are so many EUR a year, and those a day none
    ("1025 a year", {"unit": "EUR/a", "solve": lambda n: 1025.0, "ask": "How much in EUR?"}, "RIGHT",
     "Rate times time.", None),
    ("1025 a year", {"unit": "EUR/a", "solve": lambda n: 1025.0}, "UNIT",
     "the number is right, and '1/a' does not measure money per time.", None),
    ("1025 a day", {"unit": "EUR/a", "solve": lambda n: 1025.0, "ask": "How much in EUR?"}, "UNIT",
     "the number is right, and '1/d' does not measure money per time.", None),
    # per cent of a time are a number of times: 14.6 % are 0.146
    ("14.6 %", {"unit": "1/a", "solve": lambda n: 0.146, "fingerprints": ()}, "RIGHT",
     "Rate times time.", None),
    ("0.146 %", {"unit": "1/a", "solve": lambda n: 0.146, "fingerprints": ()}, "UNIT",
     "the number is right, and it stands without '%'.", None),
])
def test_a_number_beside_the_right_one(answer, changes, verdict, shows, error):
    got = judged(a_down_time(**changes), answer)
    assert (got[0].name, got[1].replace("\u202f", " "), got[3]) == (verdict, shows, error)


@pytest.mark.parametrize(("answer", "right", "mark", "verdict"), [
    # one figure proves nothing beside a slip that is this very number; two figures do
    ("9 min/a", 9.3, 9.0, "LOOK_AGAIN"), ("9 min/a", 9.3, 9.1, "NEAR"), ("9 min/a", 9.0, 9.0, "RIGHT"),
    ("10 min/a", 10.3, 10.0, "RIGHT"), ("100 min/a", 102.0, 100.0, "RIGHT"), ("9.3 min/a", 9.3, 9.0, "RIGHT")])
def test_a_slip_that_is_the_very_number(answer, right, mark, verdict):
    item = a_down_time(solve=lambda n: right, fingerprints=(Fingerprint("S02", lambda n: mark, "One?"),))
    assert judged(item, answer)[0].name == verdict


def test_one_figure_follows_from_an_earlier_value():
    """36 h for 4: 8760 / 60 036 x 36 = 5.25 h a year."""
    item = a_down_time(unit="h/a", solve=lambda n: 0.584, fingerprints=(), follows="00-mttr",
                       solve_from=lambda n, mttr_h: 8760 / (n.mtbf_h + mttr_h) * mttr_h)
    for answer, verdict in (("5 h/a", "FOLLOWS"), ("5.25 h/a", "FOLLOWS"), ("6 h/a", "LOOK_AGAIN")):
        assert judged(item, answer, earlier={"00-mttr": 36.0})[0].name == verdict


@pytest.mark.parametrize(("right", "changes", "three", "two", "told"), [
    # what rounds to it: 35.5 is 35 and 36 as well; 2 % where the question allows them
    (35.04, {}, ("35.0", "35.0"), ("35", "35"), "35.04 min/a (35.0; 35)"),
    (35.5, {}, ("35.5", "35.5"), ("35", "36"), "35.5 min/a (35 to 36)"),
    (0.0667, {}, ("0.0667", "0.0667"), ("0.067", "0.067"), "0.0667 min/a (0.067)"),
    (4.0, {}, ("4.00", "4.00"), ("4.0", "4.0"), "4 min/a"),
    (123456.0, {}, ("123000", "123000"), ("120000", "120000"), "123 500 min/a (123000; 120000)"),
    (100.0, {"tolerance": 0.02}, ("98", "102"), ("100", "100"), "100 min/a (98 to 102)"),
    # of an availability the figures of what is left: 0.00667 and 66.7
    (99.99333377778, {"unit": "%", "complement": True}, ("99.99333", "99.99334"), ("99.9933", "99.9933"),
     "99.993334 % (99.99333 to 99.99334; 99.9933)"),
    (33.33333, {"unit": "%", "complement": True}, ("33.3", "33.3"), ("33", "33"), "33.33 % (33.3; 33)")])
def test_what_a_key_says_is_taken(right, changes, three, two, told):
    item = a_down_time(solve=lambda n: right, fingerprints=(), **changes)
    assert (item.taken(NUMBERS, 3), item.taken(NUMBERS, 2)) == (three, two)
    assert item.marked_by(NUMBERS, 0)[0].replace("\u202f", " ") == told
    assert item.key_lines(NUMBERS) == (item.marked_by(NUMBERS, 0)[0].partition(" (")[0],)


@pytest.mark.parametrize(("right", "marks", "shows"), [
    (1234.0, {}, "Rate times time. Read as 1 234."), (1.234, {}, "Rate times time. Read as 1.234."),
    (35.04, {"S02": 1234.0}, "One? Read as 1 234."), (35.04, {"S02": 1.234}, "One? Read as 1.234."),
    (35.04, {"S02": 1234.0, "S03": 1.234}, "'1,234' can be 1.234 or 1234. Write one number and its unit."),
    (35.04, {}, "'1,234' can be 1.234 or 1234. Write one number and its unit.")])
def test_of_two_readings_the_one_that_fits_is_taken(right, marks, shows):
    item = a_down_time(solve=lambda n: right, fingerprints=tuple(
        Fingerprint(name, lambda n, value=value: value, "One?") for name, value in marks.items()))
    assert judged(item, "1,234 min/a")[1].replace("\u202f", " ") == shows


@pytest.mark.parametrize(("changes", "answer", "next_step"), [
    ({}, "35.04", "Write the number and its unit. Nothing was counted."),
    ({}, "0.584", "Write the number and its unit. Nothing was counted."), ({}, "35.04 min/a", None),
    ({"rough": Rough(0.5, 1.0, "h/a", "")}, "35.04 min/a",
     "Does the size make sense? Tick the range below.")])
def test_what_comes_after_a_number(changes, answer, next_step):
    assert a_down_time(**changes).judge(answer, NUMBERS, 0, {}).next_step == next_step


@pytest.mark.parametrize(("earlier", "answer", "words"), [
    (6.0, "52.6 min/a", "The earlier one needs a second look."),
    # 4 h told as 4.1: an answer of two figures may be called right, and what follows is beside it.
    (4.1, "35.9 min/a", "Carry more figures of it."),
])
def test_a_following_value_is_worth_half(earlier, answer, words):
    item = a_down_time(follows="00-mttr",
                       solve_from=lambda n, mttr_h: 8760 / (n.mtbf_h + mttr_h) * mttr_h * 60)
    assert judged(item, answer, earlier={"00-mttr": earlier}) == (
        Verdict.FOLLOWS, f"this step is right with your earlier value. {words}",
        float(answer.split()[0]), None, 0.5)


@pytest.mark.parametrize(("answer", "verdict", "value"), [
    ("0.02", Verdict.RIGHT, 2.0), ("2", Verdict.RIGHT, 2.0), ("1", Verdict.LOOK_AGAIN, 1.0),
    ("1.01", Verdict.LOOK_AGAIN, 1.01), ("-1", Verdict.LOOK_AGAIN, -1.0)])
def test_only_a_share_above_one_is_percent(answer, verdict, value):
    item = a_down_time(unit="%", solve=lambda n: 2.0, fingerprints=())
    assert (judged(item, answer)[0], judged(item, answer)[2]) == (verdict, value)


def test_a_rate_fits_the_other_units_of_a_rate():
    # 2 a day are 730 a year and 1/12 an hour
    item = a_down_time(unit="1/d", solve=lambda n: 2.0, fingerprints=())
    assert judged(item, "730 1/d")[1] == (
        "the number fits 1/a, and not 1/d. That is 365 times too much.")
    assert judged(item, "0.08333 1/d")[1] == (
        "the number fits 1/h, and not 1/d. That is 24 times too little.")
    assert judged(item, "730 1/a")[0] is Verdict.RIGHT
    # 2 days are 48 h, 2880 min and 172 800 s
    item = a_down_time(unit="d", solve=lambda n: 2.0, fingerprints=())
    for answer, fits in (("48 d", "h"), ("2880 d", "min"), ("172800 d", "s"), ("0.005479 d", "a"),
                         ("172800000 d", "ms")):
        assert judged(item, answer)[1].startswith(f"the number fits {fits}, and not d. That is ")


def test_the_form_of_a_number_is_said():
    situation = "MTBF 60\N{NARROW NO-BREAK SPACE}000 h, MTTR 4 h.\nHow long?\n"
    task = "Answer: a number with its unit."
    for changes, form in [({}, task), ({"shows_unit": True}, "Answer: a number in min/a."),
                          ({"unit": ""}, "Answer: a number.")]:
        assert a_down_time(**changes).task(NUMBERS, 0) == situation + form


@pytest.mark.parametrize(("mark", "apart"), [
    # 100 and an error: apart from 106.4 up, as 6 % of 106.4 are 6.38
    (106.3, False), (106.5, True), (94.1, False), (93.9, True)])
def test_six_per_cent_separate(mark, apart):
    item = a_down_time(solve=lambda n: 100.0, unit="EUR",
                       fingerprints=(Fingerprint("M09", lambda n: mark, "?"),))
    assert item.separated(NUMBERS) is apart


def test_availabilities_are_separated_by_their_distance_from_one():
    def apart(mark):
        return a_down_time(unit="%", solve=lambda n: 99.0, complement=True,
                           fingerprints=(Fingerprint("M09", lambda n: mark, "?"),)
                           ).separated(NUMBERS)

    # 1 % against 1.07 %: 6 % of 1.07 are 0.064; against 1.05 %: 0.063
    assert apart(98.93) and not apart(98.95)


@pytest.mark.parametrize(("item_id", "said", "shows"), [
    # as an apprentice types them; none is told what it did not do
    ("01-downtime", "half an hour", "half an hour is too small by about a seventh. Read as 0.5 h a year."),
    ("01-downtime", "49.05 min", "49.05 min is too large by about two fifths. Read as 49.05 min a year."),
    ("01-downtime", "min/a", "no number was found in 'min/a'. Write one number and its unit."),
    ("01-availability", "0 %", "0 % is nothing at all."),
    ("01-availability", "140 %", "140 % is more than the whole."),
    ("01-recall-percent", "0.2", "0.2 is about 5 times too small."),
    ("01-failures", "0.1 or 0.2", "'0.1 or 0.2' holds more than one number. Write one number and its unit."),
    ("01-spare", "2482 USD/a", "the number is right, and 'USD/a' is in another currency than EUR/a."),
    ("12-turn-1.sort", "32500 EUR/a", "the number is right, and 'EUR/a' does not measure money."),
    ("01-drill", "17 years", "17 years is the MTBF: what does the question ask for? Read as 17 years a year."),
    ("01-availability", "99.9943 %", "99.9943 % leaves 0.0057 % to 100 %. That is too small by about a seventh."),
    ("02-recall-down", "50000 h", "50000 h is the MTBF of 150\u202f000 h divided by the MTTR of 3 h: what does "
                                  "that say? Read as 50\u202f000 h a year."),
    ("03-turn-3.calculate", "1 %", "1 % comes out without the MTBF of 200 h, counted as a share of one: what "
                                   "does it add?"),
    ("03-settle", "9.2 h", "9.2 h comes out with 10 for 20: one over which share is that?"),
    ("09-good-tests", "59.9 %", "So often a pair that works 95 times of 100 passes all of them. "
                                "Which share passes 5 times of 100?"),
    ("09-needed", "0.006711", "0.006711 is the result turned over: should it grow with the tests before "
                              "rounding up?"),
])
def test_a_reply_says_what_happened_and_nothing_else(item_id, said, shows):
    (item,) = [each for each in lesson_of(item_id).items if each.id == item_id]
    numbers = lesson_of(item_id).numbers(item.case, 0)
    assert item.judge(said, numbers, 0, {}).shows == shows


def test_the_question_of_size():
    rough = Rough(0.5, 1.0, "h/a", "About {mttr_h} h in seven years.")
    size = a_down_time(rough=rough).size_item()
    assert (size.id, size.title, size.ask) == (
        "00-down.size", "Does the size make sense?",
        "Tick the range in which the result must lie.")
    assert size.task(NUMBERS, 5) == (
        "Tick the range in which the result must lie.\n"
        "a) below 0.5 h/a\nb) 0.5 to 1 h/a\nc) above 1 h/a\nd) not sure")
    reply = "About 4 h in seven years."
    assert judged(size, "b", seed=5) == (Verdict.RIGHT, reply, "between", None, 1.0)
    assert judged(size, "a", seed=5) == (
        Verdict.LOOK_AGAIN, "Does your result lie below 0.5 h/a?", "below", None, 0.0)
    # 35 min/a are 0.584 h/a: below 0.6, above 0.5; a value on a limit does not lie above it
    for low, high, place in [(0.6, 1, "below"), (0.1, 0.5, "above")]:
        item = a_down_time(rough=Rough(low, high, "h/a", "")).size_item()
        assert judged(item, place, seed=5)[0] is Verdict.RIGHT
    item = a_down_time(solve=lambda n: 60.0, rough=Rough(0.5, 1.0, "h/a", "")).size_item()
    assert judged(item, "between")[0] is Verdict.RIGHT
    item = a_down_time(solve=lambda n: 60.0, rough=Rough(1.0, 2.0, "h/a", "")).size_item()
    assert judged(item, "below")[0] is Verdict.RIGHT
    with pytest.raises(ValueError, match="rough must be given .* 00-down has none"):
        a_down_time().size_item()


# -- the other types of item ---------------------------------------------------------------------

HINTS = Hints("Pointer.", "Relation.", "Route.")
SITUATION = Case("00-case", "MTTR {mttr_h} h.")
OPTIONS = (Option("up", "Up by {mttr_h} h.", "It rises.", right=True),
           Option("down", "Down", "Why down?", misconception="M09"),
           Option("still", "Stands still", "It stands.", lambda n: n.mttr_h > 5, "M01", "Why still?"))


def a_choice(**changes):
    return Choice("00-way", "Which way", "", SITUATION, "Which way?",
                  **{"options": OPTIONS, "hints": HINTS, "in_order": True} | changes)


@pytest.mark.parametrize(("answer", "expected"), [
    ("a", (Verdict.RIGHT, "It rises.", "up", None, 1.0)),
    (" A) ", (Verdict.RIGHT, "It rises.", "up", None, 1.0)),
    ("up by 4 h", (Verdict.RIGHT, "It rises.", "up", None, 1.0)),
    ("DOWN", (Verdict.LOOK_AGAIN, "Why down?", "down", "M09", 0.0)),
    ("c", (Verdict.LOOK_AGAIN, "Why still?", "still", "M01", 0.0)),
    ("d", (Verdict.NOT_SURE, "", "not sure", None, 0.0)),
    ("Not sure", (Verdict.NOT_SURE, "", "not sure", None, 0.0)),
    ("e", (Verdict.UNCLEAR, "one of a, b, c, d is expected.", None, None, 0.0)),
    (1, (Verdict.UNCLEAR, "one of a, b, c, d is expected.", None, None, 0.0)),
    (" ", (Verdict.BLANK, "", None, None, 0.0)),
])
def test_a_choice_is_answered_in_full(answer, expected):
    assert judged(a_choice(), answer) == expected


@pytest.mark.parametrize("text", [
    "(b)", "b)", "B", "b.", "(B).", "option b", "Answer b)", "b) Down", "b: Down", " b ", "down."])
def test_a_letter_chooses_however_it_is_written(text):
    assert judged(a_choice(), text)[:3] == (Verdict.LOOK_AGAIN, "Why down?", "down")


@pytest.mark.parametrize("text", [
    "not sure", "Not sure.", "I am not sure", "i'm not sure", "unsure", "don't know", "I do not know",
    "no idea", "?", "???", "idk"])
def test_not_sure_is_heard_in_other_words(text):
    for item in (a_choice(), an_order(), a_down_time()):
        assert judged(item, text)[0] is Verdict.NOT_SURE


def test_a_choice_is_shown_with_letters_in_the_order_of_its_seed():
    assert a_choice().task(NUMBERS, 3) == (
        "MTTR 4 h.\nWhich way?\na) Up by 4 h.\nb) Down\nc) Stands still\nd) not sure")
    mixed = Choice("00-way", "Which way", "", SITUATION, "Which way?", OPTIONS, HINTS)
    assert not mixed.voting
    orders = {tuple(option.key for option in mixed.arranged(seed)) for seed in range(40)}
    assert len(orders) == 6  # all of 3 x 2 x 1
    for seed in range(5):
        letter = "abc"[[option.key for option in mixed.arranged(seed)].index("up")]
        assert judged(mixed, letter, seed=seed)[0] is Verdict.RIGHT


def test_a_choice_has_one_right_option_and_no_two_that_read_alike():
    assert a_choice().separated(NUMBERS)
    assert not a_choice().separated(SimpleNamespace(mttr_h=6.0))  # two are right
    assert not a_choice(options=OPTIONS[1:]).separated(NUMBERS)  # none is
    twin = Option("twin", "Up by 4 h.")
    assert not a_choice(options=(*OPTIONS, twin)).separated(NUMBERS)


CARDS = ("Notice", "Travel {mttr_h} h", "Swap", "Test")


def an_order(**changes):
    return Order("00-order", "Order", "", SITUATION, "Sort.", **{
        "cards": CARDS, "reason": "First notice, then {mttr_h} h.", "hints": HINTS,
        "swaps": {(0, 1): ("M09", "Who travels {mttr_h} h unasked?")}} | changes)


@pytest.mark.parametrize(("placed", "expected"), [
    ("Notice|Travel 4 h|Swap|Test", (Verdict.RIGHT, "First notice, then 4 h.", None, 1.0)),
    # of three pairs of neighbours: swap-test is kept
    ("Travel 4 h|Notice|Swap|Test", (
        Verdict.LOOK_AGAIN,
        "1 of 3 cards has the right card after it. Who travels 4 h unasked?", "M09", 1 / 3)),
    ("Notice|Travel 4 h|Test|Swap", (
        Verdict.LOOK_AGAIN, "1 of 3 cards has the right card after it.", None, 1 / 3)),
    ("Test|Notice|Travel 4 h|Swap", (
        Verdict.LOOK_AGAIN, "2 of 3 cards have the right card after them.", None, 2 / 3)),
    ("Notice|Swap|Travel 4 h|Test", (
        Verdict.LOOK_AGAIN, "0 of 3 cards have the right card after them.", None, 0.0)),
    ("Swap|Notice|Travel 4 h|Test", (
        Verdict.LOOK_AGAIN, "1 of 3 cards has the right card after it.", None, 1 / 3)),
    ("Notice|Notice|Swap|Test", (Verdict.UNCLEAR, "each of the 4 letters is expected once.", None,
                                 0.0)),
    ("Notice|Swap", (Verdict.UNCLEAR, "each of the 4 letters is expected once.", None, 0.0)),
    ("Notice|Fly|Swap|Test", (Verdict.UNCLEAR, "each of the 4 letters is expected once.", None, 0.0)),
])
def test_an_order_is_judged_by_its_neighbours(placed, expected):
    got = judged(an_order(), placed.split("|"))
    assert (got[0], got[1], got[3], got[4]) == (*expected[:3], pytest.approx(expected[3]))


def test_an_order_is_shown_mixed_and_read_by_its_letters():
    item = an_order()
    right = set()
    for seed in range(60):
        shown_order = item.arranged(seed)
        assert sorted(shown_order) == [0, 1, 2, 3] != shown_order
        letters = ["abcd"[shown_order.index(card)] for card in range(4)]
        assert judged(item, " ".join(letters), seed=seed)[0] is Verdict.RIGHT
        right.add(tuple(shown_order))
    assert len(right) > 12
    first = ["Notice", "Travel 4 h", "Swap", "Test"]
    lines = item.task(NUMBERS, 1).splitlines()
    assert lines[:2] == ["MTTR 4 h.", "Sort."] and lines[-1] == "Answer: the letters in order."
    assert lines[2:-1] == [f"{letter}) {first[card]}"
                           for letter, card in zip("abcd", item.arranged(1))]
    assert judged(item, "")[0] is Verdict.BLANK and judged(item, 7)[0] is Verdict.UNCLEAR
    assert judged(item, "Not Sure")[0] is Verdict.NOT_SURE
    assert item.separated(NUMBERS) and not an_order(cards=("a", "A", "a")).separated(NUMBERS)


def a_prediction():
    return Prediction("00-run", "Run", "", SITUATION, "Which way?", OPTIONS, (), lambda n: "Up.")


@pytest.mark.parametrize(("answer", "expected"), [
    ("up because it fills", (
        Verdict.NOTED, "you expect: Up by 4 h.. Because: it fills.", ("up", "it fills"), None, 0.0)),
    ("Down, BECAUSE it leaks", (
        Verdict.NOTED, "you expect: Down. Because: it leaks.", ("down", "it leaks"), "M09", 0.0)),
    ("not sure because I wait", (
        Verdict.NOTED, "you expect: not sure. Because: I wait.", ("not sure", "I wait"), None, 0.0)),
    ("up because it fills because it rains", (
        Verdict.NOTED, "you expect: Up by 4 h.. Because: it fills because it rains.",
        ("up", "it fills because it rains"), None, 0.0)),
    ("not sure", (Verdict.NOTED, "you expect: not sure.", ("not sure", ""), None, 0.0)),
    ("I don't know", (Verdict.NOTED, "you expect: not sure.", ("not sure", ""), None, 0.0)),
    ("up", (Verdict.UNCLEAR, "a reason is missing. Add 'because' and one line.", None, None, 0.0)),
    ("up because ", (Verdict.UNCLEAR, "a reason is missing. Add 'because' and one line.", None, None,
                     0.0)),
    ("sideways because", (Verdict.UNCLEAR, "one of a, b, c, d is expected before 'because'.", None,
                          None, 0.0)),
    (7, (Verdict.UNCLEAR, "one of a, b, c, d is expected before 'because'.", None, None, 0.0)),
    ("", (Verdict.BLANK, "", None, None, 0.0)),
])
def test_a_prediction_is_noted_with_its_reason(answer, expected):
    assert judged(a_prediction(), answer) == expected


def test_a_prediction_is_shown_like_a_choice():
    item = a_prediction()
    texts = {"up": "Up by 4 h.", "down": "Down", "still": "Stands still"}
    options = [f"{letter}) {texts[option.key]}"
               for letter, option in zip("abc", item.arranged(2))]
    assert item.task(NUMBERS, 2).splitlines() == [
        "MTTR 4 h.", "Which way?", *options, "d) not sure",
        "Answer: a letter, then 'because' and one line of reason."]
    assert item.said("up", NUMBERS) == "Up by 4 h." and item.said("other", NUMBERS) == "other"
    assert item.separated(NUMBERS) and not item.separated(SimpleNamespace(mttr_h=6.0))


def a_table(**changes):
    cells = {
        ("KF1", "power"): Pick(("on", "off"), lambda n: "on", {"off": ("M09", "Off for {mttr_h} h?")}),
        ("KF1", "down"): a_down_time(shows_unit=True),
        ("KF2", "power"): "spare since {mttr_h} h",
        ("KF2", "down"): Free("Ask for {mttr_h} h.", ("who", "where", "when")),
    }
    return Table("00-table", "Two units", "", SITUATION, "Fill.", **{
        "rows": ("KF1", "KF2"), "columns": ("power", "down"), "cells": cells,
        "reason": "All {mttr_h} of them.", "hints": HINTS, "corner": "unit"} | changes)


@pytest.mark.parametrize(("answer", "expected"), [
    ({"KF1 / power": "ON", "KF1/down": "35.04"}, (
        Verdict.RIGHT, "All 4 of them.",
        {"KF1 / power": ("ON", "Right"), "KF1 / down": ("35.04", "Right")}, None, 1.0)),
    ({("KF1", "power"): "off", ("KF1", "down"): "35.04"}, (
        Verdict.PARTLY, "1 of 2 cells. Next: KF1 / power. Off for 4 h?",
        {"KF1 / power": ("off", "Look again"), "KF1 / down": ("35.04", "Right")}, "M09", 0.5)),
    ({"KF1 / power": "on", "KF1 / down": "240"}, (
        Verdict.PARTLY, "1 of 2 cells. Next: KF1 / down. One repair a year?",
        {"KF1 / power": ("on", "Right"), "KF1 / down": ("240", "Look again")}, "S02", 0.5)),
    ({"KF1 / power": "on"}, (
        Verdict.PARTLY, "1 of 2 cells. The others are open.", {"KF1 / power": ("on", "Right")}, None,
        0.5)),
    ({"KF2 / down": " I ask. "}, (
        Verdict.PARTLY, "The cells to be marked are open.", {"KF2 / down": (" I ask. ", "Noted")},
        None, 0.0)),
    ({"KF1 / power": "maybe", "KF1 / down": "35.04"}, (
        Verdict.PARTLY, "1 of 2 cells. Next: KF1 / power. One of on; off is expected.",
        {"KF1 / power": ("maybe", "Unclear"), "KF1 / down": ("35.04", "Right")}, None, 0.5)),
    ({"KF1 / power": " "}, (Verdict.BLANK, "", None, None, 0.0)),
    ({"KF2 / power": "on"}, (
        Verdict.UNCLEAR, "'KF2 / power' is no open cell of this table. A cell is named by row and "
        "column, as in 'KF1 / power'.", None, None, 0.0)),
    ({"power / KF1": "on"}, (
        Verdict.PARTLY, "1 of 2 cells. The others are open.", {"KF1 / power": ("on", "Right")}, None,
        0.5)),
    ("on", (Verdict.UNCLEAR, "a table {'row / column': 'text', ...} is expected.", None, None, 0.0)),
    ({}, (Verdict.BLANK, "", None, None, 0.0)),
])
def test_a_table_is_judged_cell_by_cell(answer, expected):
    assert judged(a_table(), answer) == expected


def test_a_part_that_one_option_alone_has_is_enough_to_pick_it():
    cell = Pick(("stand by", "one too many", "terminator missing or open", "no failure", "a failure"),
                lambda n: "a failure")
    picked = {said: cell.judge(said, NUMBERS, 0, {}).value for said in (
        "standby", "Stand-by", "too many", "open", "term", "failure", "fail", "x", "too", "oo", "ssi")}
    assert picked == {"standby": "stand by", "Stand-by": "stand by", "too many": "one too many",
                      "open": "terminator missing or open", "term": "terminator missing or open",
                      "failure": "a failure", "fail": None, "x": None, "too": "one too many",
                      "oo": None, "ssi": "terminator missing or open"}


def test_a_table_in_words_and_as_a_paper():
    item = a_table()
    assert list(item.open_cells()) == [("KF1", "power"), ("KF1", "down"), ("KF2", "down")]
    assert item.criteria() == ("who", "where", "when") and item.separated(NUMBERS)
    assert item.task(NUMBERS, 0).splitlines() == [
        "MTTR 4 h.", "Fill.", "KF2 / power: spare since 4 h", "KF1 / power: on, off",
        "KF1 / down: a number in min/a", "KF2 / down: your own words",
        "Answer: {'row / column': 'what stands there', ...}."]
    assert item.paper({"KF1 / power": "on", ("KF2", "down"): "a | b"}, NUMBERS) == (
        "# Two units\n\nMTTR 4 h.\n\n| unit | power | down |\n| --- | --- | --- |\n"
        "| KF1 | on |  |\n| KF2 | spare since 4 h | a / b |\n")
    wrong = {("KF1", "power"): Pick(("on", "off"), lambda n: "half")}
    assert not a_table(cells=wrong).separated(NUMBERS)
    free = {("KF2", "down"): Free("Ask.", ("who", "where", "when"))}
    assert judged(a_table(cells=free), {"KF2 / down": "me"})[::4] == (Verdict.RIGHT, 1.0)
    assert item.kept and (item.points, a_table(cells=free).points) == (2, 0)  # own words are not marked
    power = item.cells["KF1", "power"]
    assert judged(power, "on ") == (Verdict.RIGHT, "", "on", None, 1.0)
    assert judged(power, "off") == (Verdict.LOOK_AGAIN, "Off for 4 h?", "off", "M09", 0.0)
    assert judged(free["KF2", "down"], " me ") == (Verdict.NOTED, "Ask.", "me", None, 0.0)
    assert judged(free["KF2", "down"], "") == (Verdict.BLANK, "", None, None, 0.0)


def test_a_cell_may_follow_from_another_cell():
    first = a_down_time(id="00-first", unit="h", solve=lambda n: 4.0, fingerprints=())
    second = a_down_time(id="00-second", unit="h", solve=lambda n: 8.0, fingerprints=(),
                         follows="00-first", solve_from=lambda n, first_h: 2 * first_h)
    item = a_table(rows=("KF1",), columns=("a", "b"),
                   cells={("KF1", "a"): first, ("KF1", "b"): second})
    got = judged(item, {"KF1 / a": "5 h", "KF1 / b": "10 h"})
    assert got[2] == {"KF1 / a": ("5 h", "Look again"), "KF1 / b": ("10 h", "Follows")}


# ---------------------------------------------------------------- an option in other words


@pytest.mark.parametrize(("item_id", "said", "verdict"), [
    ("01-recall-share", "53 min", "RIGHT"), ("01-recall-share", "53", "UNCLEAR"),
    ("06-exit", "310 ms", "RIGHT"), ("06-exit", "310", "RIGHT"), ("06-exit", "250", "LOOK_AGAIN"),
    ("04-isolation", "No", "RIGHT"), ("02-vote-repeater", "The repeater", "RIGHT"),
    ("02-vote-repeater", "the pair", "UNCLEAR"), ("12-exit", "It pays", "UNCLEAR"),
    ("12-exit", "it is break-even", "RIGHT"), ("12-exit", "it", "UNCLEAR"),
    ("03-turn-3.compare", "yes", "UNCLEAR"), ("06-turn-3.compare", "yes", "UNCLEAR"),
    ("10-recall-shared", "It takes one; the other carries on", "LOOK_AGAIN"),
])
def test_an_option_is_known_by_how_it_begins(item_id, said, verdict):
    lesson = lesson_of(item_id)
    item = lesson.item(item_id)
    got = item.judge(said, lesson.numbers(item.case, 0), 0, {})
    assert got.verdict.name == verdict


@pytest.mark.parametrize("words", [
    "{}", "({})", "option {}", "{}) whatever stands there", "The answer is {}.", "I choose {}",
    "{}, I think", "{} because of that"])
def test_a_letter_chooses_in_a_sentence_too(words):
    lesson = lesson_of("12-exit")
    item = lesson.item("12-exit")
    letter = "abc"[item.arranged(0).index(item.best(None))]
    assert item.judge(words.format(letter), lesson.numbers(item.case, 0), 0, {}).verdict is Verdict.RIGHT


def test_no_key_of_a_right_option_is_a_word_of_another_one():
    """Who types that word may mean the other one."""
    for number in range(1, 13):
        lesson = lesson_of(f"{number:02}-")
        for item in lesson.all_items:
            for seed in range(3) if isinstance(item, OptionItem) else ():
                numbers = lesson.numbers(item.case, seed)
                best = item.best(numbers)
                own, *others = (fill(each.text, numbers).lower() for each in sorted(
                    item.options, key=lambda each: each is not best))
                word = rf"\b{re.escape(best.key.lower())}\b"
                found = re.match if re.match(word, own) else re.search  # "X, longer than Y"
                assert not any(found(word, other) for other in others), (item.id, best.key)


@pytest.mark.parametrize("said", [
    "b c a", "bca", "b, c, a", "b > c > a", "b then c then a", "first b, then c, and a last",
    "notice, travel, swap", "notice > travel > swap", "Notice then travel then swap"])
def test_an_order_is_read_in_letters_and_in_words(said, monkeypatch):
    item = Order("00-demo", "Demo", "", Case("demo"), "Sort.", ("notice", "travel", "swap"),
                 "A stop is noticed first.", Hints("", "", ""))
    monkeypatch.setattr(Order, "arranged", lambda self, seed: [2, 0, 1])
    assert item.judge(said, SimpleNamespace(), 0, {}).verdict is Verdict.RIGHT


def test_own_words_of_a_table_come_back_once_it_is_settled():
    item, mine, other = a_table(), {"KF2 / down": ["me"]}, {"KF1 / power": ["on"]}
    assert (item.free_texts(mine, NUMBERS), item.free_texts(other, NUMBERS)) == ((("KF2 / down", "me"),), ())
    said = ["".join(item.afterwards(Judgement(Verdict.RIGHT, value=value), NUMBERS, settled=settled))
            for value, settled in ((other, True), (None, True), (mine, False), (mine, True))]
    assert said[:3] == ["", "", "Your own words are kept; a model answer comes later."]
    assert said[3].startswith("KF2 / down. Yours: me\nA model answer: Ask for 4 h.")
    grid = item.on_paper(NUMBERS, 0).grid
    assert grid.cells["KF2", "power"] == "spare since 4 h" and not isinstance(grid.cells["KF1", "power"], str)


def test_what_belongs_to_another_cell_is_told_from_what_belongs_to_none():
    options = ("on", "off", "half")
    cells = {("KF1", "power"): Pick(options, lambda n: "on"), ("KF2", "power"): Pick(options, lambda n: "off")}
    item = a_table(cells={place: cell.among(cells) for place, cell in cells.items()})
    said = [judged(item, {"KF1 / power": each, "KF2 / power": "off"})[1] for each in ("off", "half")]
    assert "'off' belongs to another cell of this table" in said[0]
    assert "'half' belongs to no cell of this table" in said[1]
    alone = {place: cells[place] for place in [*cells][:1]}
    assert cells["KF1", "power"].among(alone).beside == ()


@pytest.mark.parametrize(("rung", "kind", "verdict", "after"), [
    (0, "answer", "LOOK_AGAIN", 1), (1, "answer", "NOT_SURE", 2), (1, "answer", "PARTLY", 2), (0, "hint", "HINT", 1),
    # two hints come by themselves, the full route is asked for
    (2, "answer", "LOOK_AGAIN", 2), (2, "hint", "HINT", 3), (3, "hint", "HINT", 3), (3, "answer", "LOOK_AGAIN", 3),
    (0, "answer", "RIGHT", 0), (1, "answer", "NEAR", 1), (2, "hint", "BLANK", 2), (0, "answer", "UNCLEAR", 0)])
def test_how_far_up_the_ladder_of_hints(rung, kind, verdict, after):
    assert rung_after(rung, kind, verdict) == after
