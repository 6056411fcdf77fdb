"""Reading of answers: numbers, units, decimal marks, and how value and unit are judged apart."""

import math
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labkit.wording import shown
from lessons.exercises.item import Case, Hints
from lessons.exercises.numeric import Fingerprint, Numeric
from lessons.exercises.quantities import Unreadable, parse, unit
from lessons.exercises.replies import Verdict

# Hours in one of each. The second, minute, hour and day are those of the SI brochure (9th ed.,
# table 8); a year of 8760 h is the usual one of reliability work, and our convention.
HOURS = {"ms": 1 / 3_600_000, "s": 1 / 3600, "min": 1 / 60, "h": 1, "d": 24, "a": 8760}


@pytest.mark.parametrize(("symbol", "hours"), HOURS.items())
def test_units_of_time(symbol, hours):
    assert math.isclose(unit(symbol).factor, hours, rel_tol=1e-15)
    assert math.isclose(unit(f"1/{symbol}").factor, 1 / hours, rel_tol=1e-15)


@pytest.mark.parametrize(
    ("text", "number", "unit_text"),
    [
        ("4 h", 4, "h"),
        ("240 min", 240, "min"),
        ("0,58", 0.58, None),
        ("5.8e-1", 0.58, None),
        ("5,8E-1 h", 0.58, "h"),
        ("35 min/a", 35, "min/a"),
        ("35min/a", 35, "min/a"),
        ("35 min / a", 35, "min/a"),
        ("35 minutes per year", 35, "min/a"),
        ("35 minutes a year", 35, "min/a"),
        ("35 min in a year", 35, "min/a"),
        ("35 min p.a.", 35, "min/a"),
        ("about 35 min each year", 35, "min/a"),
        ("99.99 %", 99.99, "%"),
        ("99,99%", 99.99, "%"),
        ("99.99 percent", 99.99, "%"),
        ("0.9999", 0.9999, None),
        ("60 000 h", 60_000, "h"),
        ("60\N{NARROW NO-BREAK SPACE}000 h", 60_000, "h"),
        ("60\N{THIN SPACE}000\N{NO-BREAK SPACE}h", 60_000, "h"),
        ("60'000 h", 60_000, "h"),
        ("1,234,567 s", 1_234_567, "s"),
        ("1.234.567 s", 1_234_567, "s"),
        ("1,234.5 s", 1234.5, "s"),
        ("1.234,5 s", 1234.5, "s"),
        ("0,584 h", 0.584, "h"),
        ("12.5 h", 12.5, "h"),
        ("12.345 h", 12.345, "h"),
        ("1 728 000 beats a day", 1_728_000, "1/d"),
        ("9 h 30 min", 9.5, "h"),
        ("9h30min", 9.5, "h"),
        ("1 d 6 h", 1.25, "d"),
        ("6.67×10⁻⁵ 1/h", 6.67e-5, "1/h"),
        ("6.67*10^-5 /h", 6.67e-5, "1/h"),
        ("6.67 x 10^-5 h^-1", 6.67e-5, "1/h"),
        ("0.146 failures per year", 0.146, "1/a"),
        ("0.146 times a year", 0.146, "1/a"),
        ("\N{MINUS SIGN}4 h", -4, "h"),
        ("+4 h", 4, "h"),
        (".5 h", 0.5, "h"),
        ("4. h", 4, "h"),
        ("285 ms", 285, "ms"),
        ("30 L/s", 30, "L/s"),
        ("EUR 4270", 4270, "EUR"),
        ("€4 270,50", 4270.5, "EUR"),
        ("about EUR 1.5e3 a year", 1500, "EUR/a"),
        ("EUR 4270/a", 4270, "EUR/a"),
        ("-4 EUR/a", -4, "EUR/a"),
    ],
)
def test_what_is_read(text, number, unit_text):
    read = parse(text)
    assert math.isclose(read.number, number, rel_tol=1e-14)
    assert (read.unit.text if read.unit else None) == unit_text


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("1,234", "1.234 or 1234"),
        ("12,345 h", "12.345 or 12345"),
        ("60.000 h", "60 or 60000"),
        ("", "no number"),
        ("two hours", "no number"),
        ("h", "no number"),
        ("35 fathoms", "not in the table"),
        ("3 4", "more than one number"),
        ("4 h 5", "more than one number"),
        ("4 h or 5 min/a", "not in the table"),
        ("1 2345", "do not form one number"),
        ("1.2.3", "one number"),
        ("1,23,456.7", "one number"),
        ("4 h/", "below the stroke"),
        ("4 h/a/d", "more than one stroke"),
        ("9e999", "too large"),
        ("nan", "no number"),
    ],
)
def test_what_is_asked_back(text, why):
    with pytest.raises(Unreadable, match=why):
        parse(text)


@given(st.floats(1e-6, 1e9, allow_nan=False))
@settings(max_examples=300, deadline=None)
def test_a_shown_number_is_read_back(value):
    # Three digits are shown below a thousand, the whole part above: half a unit of the last one.
    assert math.isclose(parse(shown(value)).number, value, rel_tol=5.1e-3)


@given(st.text(max_size=30))
@settings(max_examples=300, deadline=None)
def test_any_text_is_read_or_refused(text):
    try:
        assert math.isfinite(parse(text).number)
    except Unreadable:
        pass


def test_a_value_in_another_unit():
    assert math.isclose(parse("0.5 h/a").value_in(unit("min/a")), 30, rel_tol=1e-14)
    with pytest.raises(ValueError, match="must be written"):
        parse("4").value_in(unit("h"))
    with pytest.raises(ValueError, match="must measure"):
        parse("4 h").value_in(unit("1/h"))


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
        ("35", Verdict.UNIT, None),
        ("35 times", Verdict.UNIT, None),
        (35, Verdict.UNIT, None),
        (35.04, Verdict.UNIT, None),
        ("0.584", Verdict.UNIT, None),
        ("35 min", Verdict.UNIT, None),
        ("35 h/a", Verdict.UNIT, "S01"),
        ("0.584 min/a", Verdict.UNIT, "S01"),
        ("2102 min/a", Verdict.UNIT, "S01"),
        ("0.00667 %", Verdict.UNIT, None),
        ("240 min/a", Verdict.LOOK_AGAIN, "S02"),
        ("4 h/a", Verdict.LOOK_AGAIN, "S02"),
        ("240", Verdict.LOOK_AGAIN, "S02"),
        ("77 min/a", Verdict.LOOK_AGAIN, None),
        ("-35 min/a", Verdict.LOOK_AGAIN, None),
        ("0 min/a", Verdict.LOOK_AGAIN, None),
        ("1,234 min/a", Verdict.UNCLEAR, None),
        ("thirty-five", Verdict.UNCLEAR, None),
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
    item = a_down_time(solve=lambda n: 100.0)
    for value in (98, 102):
        assert item.judge(f"{value} min/a", NUMBERS, 0, {}).verdict is Verdict.RIGHT
    for value in (97.99, 102.01):
        assert item.judge(f"{value} min/a", NUMBERS, 0, {}).verdict is Verdict.LOOK_AGAIN


@pytest.mark.parametrize(
    ("answer", "verdict"),
    [
        ("99.9933 %", Verdict.RIGHT),
        ("0.999933", Verdict.RIGHT),
        ("99.9933", Verdict.RIGHT),
        ("99,9933 %", Verdict.RIGHT),
        ("99.99 %", Verdict.LOOK_AGAIN),
        ("99.98 %", Verdict.LOOK_AGAIN),
        ("100 %", Verdict.LOOK_AGAIN),
        ("0.00667 %", Verdict.LOOK_AGAIN),
        ("99.9933 h", Verdict.UNIT),
    ],
)
def test_an_availability_is_judged_by_its_distance_from_one(answer, verdict):
    item = a_down_time(
        unit="%", solve=lambda n: 100 * n.mtbf_h / (n.mtbf_h + n.mttr_h), complement=True,
        tolerance=0.05, fingerprints=(),
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
    assert a_down_time().separated(NUMBERS)
    near = Fingerprint("M09", lambda n: 36.0, "?")
    assert not a_down_time(fingerprints=(near,)).separated(NUMBERS)
    twins = tuple(Fingerprint(m, lambda n: 240.0, "?") for m in ("M09", "S02"))
    assert not a_down_time(fingerprints=twins).separated(NUMBERS)
    like_a_unit = Fingerprint("M09", lambda n: 0.584, "?")
    assert not a_down_time(fingerprints=(like_a_unit,)).separated(NUMBERS)
