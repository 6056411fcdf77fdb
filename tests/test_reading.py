"""Reading of answers: each form in which people write one, and what is asked back."""

import math
import tomllib
from itertools import product
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labkit.wording import grouped, shown
from lessons.exercises.quantities import LONGEST, Unreadable, parse, unit

FORMS = tomllib.loads(Path(__file__).with_name("answer_forms.toml").read_text(encoding="utf-8"))
READ = [(group.get("asked"), *row) for group in FORMS["group"] for row in group["rows"]]
PIECES = (
    "1 2.5 1,234 60\u202f000 9:30 0 1e5 h min a s % / per in * x + - ^ ** ( ) = every once twice "
    "half an and , about EUR € k million tests m3 ³ ⁻³ ½ times exp sqrt e unit each yearly T is < >= "
    "~ ms mo one of : .- p.a. -1 out").split()
ASKED = [None, *map(unit, ("h", "min/a", "1/a", "%", "EUR/a", "times", "ms", "Ω"))]


def in_unit(read, target):
    """Return a quantity in a unit of the same kind."""
    assert read.unit.kind == target.kind
    return read.number * read.unit.factor / target.factor


@pytest.mark.parametrize("row", READ, ids=lambda row: f"{row[1]} [{row[0]}]")
def test_a_form_is_read(row):
    asked, text, number, unit_text, *read_as = row
    read = parse(text, None if asked is None else unit(asked))
    assert math.isclose(read.number, number, rel_tol=1e-12)
    assert ("-" if read.unit is None else read.unit.text) == unit_text
    assert read.read_as.replace("\u202f", " ") == (read_as[0] if read_as else "")
    assert read.bare == (unit_text in ("-", ""))


def test_there_is_a_form_for_each_of_many_habits():
    assert len(READ) >= 150 and len({tuple(map(str, row[:2])) for row in READ}) == len(READ)


@pytest.mark.parametrize("row", FORMS["back"]["rows"], ids=lambda row: row[0])
def test_what_cannot_be_read_is_asked_back(row):
    text, asked, why = row
    with pytest.raises(Unreadable) as caught:
        parse(text, unit(asked) if asked else None)
    assert why in str(caught.value)


@pytest.mark.parametrize(("text", "figures"), [
    ("35", 2), ("35.0", 3), ("0.0350", 3), ("540", 2), ("60 000 h", 1), ("1.70e3", 3), ("0", 1),
    ("1.7 million", 2), ("6.7 × 10^-5", 2), ("1 min 45 s", 3), ("9 h 30 min", 3), ("1/8", None), ("(35) min", 2), ("9 h 30.5 min", 4), ("1 h 30 1/2 min", None), ("1 h 30 min 15 s", 4), ("(1 min 45 s)", 3),
    ("T = 3*20 + 15 = 75 ms", 2), ("two hours", None), ("once in 8 years", None), ("EUR 2330.00", 6),
])
def test_figures_are_those_that_were_typed(text, figures):
    assert parse(text).figures == figures


@pytest.mark.parametrize("text", [
    "75 ms", "T = 75 ms", "about 75 ms", "T ≈ 75 ms", "75 ms, roughly", "at most 75 ms", "75 ms max",
    "T <= 75 ms", "75 ms >= T", "no more than 75 ms", "T < 75 ms", "75 ms or more", ">= 75 ms",
    "min 75 ms", "75 ms < T", "T > 75 ms",
])
def test_a_limit_is_read_as_its_value(text):
    read = parse(text)
    assert (read.number, read.unit.text) == (75, "ms")


# Hours of a month and a year: 8760 h is the usual year of reliability work, 730 h its twelfth.
@pytest.mark.parametrize(("text", "hours"), [
    ("1 week", 168), ("1 month", 730), ("1 year", 8760), ("3.6e9 us", 1), ("3 unit-years", 26280),
])
def test_long_times_in_hours(text, hours):
    assert math.isclose(in_unit(parse(text), unit("h")), hours, rel_tol=1e-12)


@given(st.floats(1e-6, 1e9), st.sampled_from(["\u202f", " ", ",", "'"]))
@settings(max_examples=200, deadline=None)
def test_what_is_printed_is_read_back(value, between):
    # Three figures are shown, 100 for up to 100.5.
    assert math.isclose(parse(shown(value)).number, value, rel_tol=5.1e-3)
    with_cents = grouped(value, 2, between)
    assert math.isclose(parse(f"EUR {with_cents}").number, value, abs_tol=0.0051)


@given(st.lists(st.sampled_from(PIECES), min_size=1, max_size=9), st.sampled_from(["", " "]),
       st.sampled_from(ASKED))
@settings(max_examples=300, deadline=None)
def test_any_pieces_are_read_or_refused(pieces, between, asked):
    try:
        assert math.isfinite(parse(between.join(pieces), asked).number)
    except Unreadable as problem:
        assert str(problem)


@given(st.text(max_size=LONGEST + 9), st.sampled_from(ASKED))
@settings(max_examples=300, deadline=None)
def test_any_text_is_read_or_refused(text, asked):
    try:
        assert math.isfinite(parse(text, asked).number)
    except Unreadable:
        pass


@pytest.mark.parametrize("text", [
    "9" * LONGEST, "(" * 80 + "1" + ")" * 79, "2^" * 79 + "2", "1+" * 79 + "1", "-" * LONGEST,
    "1 " * 80, "0." + "0" * 150 + "1", "e^" * 80, "1e308*1e308", "1e308+1e308", "1 h " * 40,
])
def test_long_and_deep_texts_end(text):
    try:
        assert math.isfinite(parse(text).number)
    except Unreadable:
        pass


@pytest.mark.parametrize("text", ["five five minutes", "twenty twenty", "thirty five five"])
def test_words_that_are_no_number_together_are_refused(text):
    with pytest.raises(Unreadable, match=f"'{text.split()[1]}' was not understood"):
        parse(text)


def test_a_text_beyond_the_limit_is_refused():
    with pytest.raises(Unreadable, match="longer than 160 characters"):
        parse("1" * (LONGEST + 1))
    assert parse("7".rjust(LONGEST, "0")).number == 7


def test_each_spelling_of_a_rate_is_the_same():
    spellings = [f"{number} {word} {year}" for number, word, year in product(
        ("3", "three"), ("per", "a", "each", "every", "in a"), ("year", "yr", "annum"))]
    assert {in_unit(parse(text), unit("1/a")) for text in spellings} == {3.0}


# Hours in one of each. The second, minute, hour and day are those of the SI brochure (9th ed.,
# table 8); a year of 8760 h is the usual one of reliability work, and our convention.
HOURS = {"ms": 1 / 3_600_000, "s": 1 / 3600, "min": 1 / 60, "h": 1, "d": 24, "a": 8760}


@pytest.mark.parametrize(("symbol", "hours"), HOURS.items())
def test_units_of_time(symbol, hours):
    assert math.isclose(unit(symbol).factor, hours, rel_tol=1e-15)
    assert math.isclose(unit(f"1/{symbol}").factor, 1 / hours, rel_tol=1e-15)


@pytest.mark.parametrize(("text", "shown_as", "kind", "factor"), [
    ("%", "%", ("", ""), 0.01), ("per cent", "%", ("", ""), 0.01), ("", "", ("", ""), 1), ("1", "", ("", ""), 1),
    ("beats", "", ("", ""), 1), ("m", "m", ("length", ""), 1), ("cm", "cm", ("length", ""), 0.01),
    ("mm/s", "mm/s", ("length", "time"), 3.6),  # 0.001 m in 1/3600 h
    ("L", "L", ("volume", ""), 1), ("m³", "m3", ("volume", ""), 1000),
    ("euros per year", "EUR/a", ("money", "time"), 1 / 8760), ("ohms", "Ω", ("resistance", ""), 1),
    ("h⁻¹", "1/h", ("", "time"), 1), ("a^-1", "1/a", ("", "time"), 1 / 8760),
    ("1/ms", "1/ms", ("", "time"), 3.6e6), ("MIN.", "min", ("time", ""), 1 / 60),
    ("h^1", "h", ("time", ""), 1), ("p. a", "1/a", ("", "time"), 1 / 8760),
])
def test_units_by_value(text, shown_as, kind, factor):
    read = unit(text)
    assert (read.text, read.kind) == (shown_as, kind)
    assert read.factor == pytest.approx(factor, rel=1e-15)


def test_a_value_in_another_unit():
    assert math.isclose(in_unit(parse("0.5 h/a"), unit("min/a")), 30, rel_tol=1e-14)
