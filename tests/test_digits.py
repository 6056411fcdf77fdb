"""The digits of one number, the table of units and words for numbers, each by its value."""

import math

import pytest

from lessons.exercises.answer_value import written
from lessons.exercises.digits import Digits, read_digits
from lessons.exercises.judging import Given, as_given, nearest
from lessons.exercises.quantities import parse
from lessons.exercises.slip_kinds import Hit
from lessons.exercises.units import (
    SCALES,
    Unit,
    Unreadable,
    built,
    kind_of,
    known_units,
    size_of,
    spelled_out,
    symbol_of,
)


@pytest.mark.parametrize(("text", "fraction", "whole", "figures", "step", "mark"), [
    ("60", 60.0, None, 1, 1.0, ""),
    ("0", 0.0, None, 1, 1.0, ""),
    ("0.00", 0.0, None, 1, 0.01, "."),
    ("1.5", 1.5, None, 2, 0.1, "."),
    ("0,350", 0.35, None, 3, 0.001, ","),
    ("60.", 60.0, None, 1, 1.0, ""),
    ("1,234", 1.234, 1234.0, 4, 0.001, ""),
    ("60.000", 60.0, 60_000.0, 5, 0.001, ""),
    ("1,234e2", 123.4, None, 4, 0.1, ","),
    ("1.5e3", 1500.0, None, 2, 100.0, "."),
    ("60e-3", 0.06, None, 2, 0.001, ""),
    ("60 000", 60_000.0, None, 1, 1.0, ""),
    ("1'234,5", 1234.5, None, 5, 0.1, ","),
    ("1,234.5", 1234.5, None, 5, 0.1, "."),
    ("1.234,5", 1234.5, None, 5, 0.1, ","),
    ("1,234,567.8", 1_234_567.8, None, 8, 0.1, "."),
    ("1,234,567", 1_234_567.0, None, 7, 1.0, ""),
    ("12,34,567", 1_234_567.0, None, 7, 1.0, ""),
    ("1,234,000e2", 123_400_000.0, None, 7, 100.0, ""),
])
def test_digits_in_the_habits_of_several_countries(text, fraction, whole, figures, step, mark):
    assert read_digits(text) == Digits(
        text, pytest.approx(fraction, rel=1e-15), whole, figures, pytest.approx(step), mark)


@pytest.mark.parametrize("text", [
    "1.2.3", "1,23,4", "1,234.5.6", "1.234,5,6", "1,234.567,8", "1'23", "1234 567", "12 34",
    "0,123,456", "1,234,5678",
])
def test_digits_that_are_no_one_number(text):
    with pytest.raises(Unreadable, match="do not form one number"):
        read_digits(text)


def test_a_number_beyond_all_numbers():
    assert read_digits("1.7e308").fraction == 1.7e308
    with pytest.raises(Unreadable, match="the number '1e309' is too large"):
        read_digits("1e309")


def test_only_a_point_before_three_zeros_may_be_meant_otherwise():
    likely = {text: read_digits(text).likely_fraction for text in (
        "1.234", "1.5", "60.000", "1,234", "60")}
    assert likely == {"1.234": True, "1.5": True, "60.000": False, "1,234": False, "60": False}


@pytest.mark.parametrize(("symbols", "kind", "sizes"), [
    # in hours; a week 7 x 24, a year 365 x 24, a month a twelfth of it
    ("h min s ms µs d weeks months a", "time",
     (1, 1 / 60, 1 / 3600, 1 / 3.6e6, 1 / 3.6e9, 24, 168, 730, 8760)),
    ("% ‰ ppm", "", (1e-2, 1e-3, 1e-6)),
    ("m cm mm", "length", (1, 1e-2, 1e-3)),
    ("L mL m3", "volume", (1, 1e-3, 1e3)),
    ("EUR kEUR MEUR", "money", (1, 1e3, 1e6)),
    ("Ω kΩ", "resistance", (1, 1e3)),
    ("NOK", "money in NOK", (1,)),
])
def test_sizes_of_units(symbols, kind, sizes):
    assert [size_of(each) for each in symbols.split()] == pytest.approx(sizes, rel=1e-15)
    assert {kind_of(each) for each in symbols.split()} == {kind}


def test_a_count_has_no_unit_and_an_unknown_word_is_none():
    assert (size_of(""), kind_of(""), kind_of(None)) == (1.0, "", None)
    words = ("failures", "1", "unit-hours", "device-years", "unit-metres", "some-hours", "word")
    assert [symbol_of(each) for each in words] == ["", "", "h", "a", None, None, None]
    money = [symbol_of("kr"), symbol_of("kr", "SEK"), symbol_of("sek", "SEK"), symbol_of("USD")]
    assert money == ["NOK", "SEK", "SEK", "USD"]


def test_words_for_large_numbers():
    assert SCALES == {
        "hundred": 10**2, "thousand": 10**3, "k": 10**3, "billion": 10**9,
        **dict.fromkeys(("million", "millions", "mio", "mln", "M"), 10**6)}


PER_YEAR = Unit("min/a", ("time", "time"), pytest.approx(1 / 60 / 8760, rel=1e-15))


@pytest.mark.parametrize(("above", "below", "unit"), [
    (["min"], ["a"], PER_YEAR),
    ([], ["a"], Unit("1/a", ("", "time"), pytest.approx(1 / 8760, rel=1e-15))),
    (["m3"], [], Unit("m3", ("volume", ""), 1000.0)),
    ([], [], Unit("", ("", ""), 1.0)),
])
def test_a_unit_is_built(above, below, unit):
    assert built(above, below) == unit


@pytest.mark.parametrize(("number", "above", "below", "spelled"), [
    ("35", "min", "a", "35 min a year"), ("3", "", "a", "3 a year"), ("2", "EUR", "d", "2 EUR a day"), ("2", "a", "d", "2 years a day"),
    ("0.1", "", "h", "0.1 an hour"), ("5", "m", "s", "5 m/s"), ("4", "", "", "4"),
    ("1", "a", "", "1 year"), ("2", "a", "", "2 years"), ("1", "weeks", "", "1 week"),
    ("1", "months", "", "1 month"), ("2", "weeks", "", "2 weeks"), ("1", "h", "", "1 h"),
    ("1", "L", "", "1 L"), ("1", "%", "", "1 %"),
])
def test_a_unit_is_spelled_out(number, above, below, spelled):
    assert spelled_out(number, built([above], [below])) == spelled


@pytest.mark.parametrize(("above", "below", "units"), [
    ("min", "a", "h/a, min/a, s/a, d/a"), ("", "a", "a number a year"), ("", "", "a number"),
    ("%", "", "a number, or one in %"), ("kΩ", "", "Ω, kΩ"), ("USD", "", "USD"),
    ("ms", "", "h, min, s, ms, µs, d, weeks, months, a"), ("EUR", "a", "EUR/a, kEUR/a, MEUR/a"),
])
def test_units_that_will_do(above, below, units):
    assert known_units(built([above], [below])) == units


def test_units_that_will_do_where_none_is_asked_for():
    assert known_units(None).endswith("%, L, EUR, or two of them as in min/a")


@pytest.mark.parametrize(("number", "text"), [
    (9999.0, "9999"), (-9999.5, "-9999.5"), (10_000.0, "10\u202f000"), (-12_345.0, "-12\u202f345"),
    (999_999_999_999.0, "999\u202f999\u202f999\u202f999"), (1e12, "1e+12"), (0.123456789, "0.123457"),
    (1.2345678e-4, "0.000123457"), (1.2345678e-5, "0.0000123457"), (1.7e-6, "0.0000017"), (9.9e-7, "9.9e-07"),
])
def test_numbers_as_they_stand_on_a_board(number, text):
    assert written(number) == text


@pytest.mark.parametrize(("text", "per_year"), [
    ("once a year", 1), ("twice a year", 2), ("thrice a year", 3), ("twelve a year", 12),
    ("half a year", None), ("every quarter year", 4), ("no outages a year", 0),
])
def test_words_that_are_numbers(text, per_year):
    read = parse(text)
    if per_year is None:
        assert (read.number, read.unit.text) == (0.5, "a")
    else:
        assert read.number * read.unit.factor / built([""], ["a"]).factor == pytest.approx(per_year)


@pytest.mark.parametrize(("text", "why"), [
    ("minutes", "no number was found in 'minutes'"), ("", "no number was found"),
    ("3 - 4 min", "'3 - 4 min' can be a range; one number is expected"),
])
def test_what_holds_no_one_number(text, why):
    with pytest.raises(Unreadable) as caught:
        parse(text)
    assert str(caught.value).startswith(why) and "in ''" not in str(caught.value)


def test_the_larger_first_is_a_difference():
    assert parse("4 - 3").number == 1


@pytest.mark.parametrize(("text", "number"), [
    ("e^-0.05", math.exp(-0.05)), ("1 - e ** -0.1", 1 - math.exp(-0.1)), ("exp(-0.5)", math.exp(-0.5)),
    ("2^3^2", 512), ("(" * 20 + "7" + ")" * 20, 7), ("(1)+" * 30 + "1", 31),
])
def test_sums_that_are_typed(text, number):
    assert parse(text).number == pytest.approx(number, rel=1e-15)


def test_brackets_one_deeper_than_anyone_types():
    with pytest.raises(Unreadable, match="more than 20 brackets or powers stand in one another"):
        parse("(1)+(2)+" + "(" * 21 + "7" + ")" * 21)


@pytest.mark.parametrize(("text", "half", "zeros"), [
    ("7", 0.5, False), ("10", 0.5, False), ("100", 5.0, True), ("120", 5.0, True),
    ("123", 0.5, False), ("500.0", 0.05, False), ("2100", 50.0, True), ("0.58", 0.005, False),
])
def test_zeros_at_the_end_of_hundreds_are_no_figures(text, half, zeros):
    """By hand: half of the last figure that counts, of which a whole number has two at least."""
    given = as_given(parse(text))
    assert given.half == pytest.approx(half, rel=1e-12) and given.zeros is zeros


@pytest.mark.parametrize(("text", "spread"), [
    # one over a number: one in its last place over it; of a whole number two figures count at least
    ("1/8", 1 / 8), ("once in 60 000 years", 1000 / 60_000), ("1/120", 10 / 120), ("1/123", 1 / 123),
    ("1/0.5", 0.1 / 0.5), ("1/60000.0", 0.1 / 60_000), ("1/8 h", 1 / 8), ("1 h / 33 min", 1 / 33),
    # so many in a hundred are known as well as they are
    ("9.7 in 100", 0.1 / 9.7), ("9.7/1000", 0.1 / 9.7), ("1/100", 1), ("0.50/10", 0.01 / 0.5),
    # what else is worked out may be exact
    ("9.7/200", 0), ("9.7/110", 0), ("2/8", 0), ("8*1", 0), ("1*8", 0), ("0/5", 0), ("2.5 * 10", 0),
    ("0/10", 0), ("1/(2*3)", 0), ("once in eight years", 1 / 8), ("once in 2.5 million years", 0.1 / 2.5), ("once in three years", 1 / 3), ("2.5 h + 2/8 h", 0.1 / 2.75),
    # of a sum the finest part counts; a whole number in it may be exact
    ("2 h and 15.5 min", 0.1 / 135.5), ("2.5 h + 15 min", 0.1 / 2.75), ("2 h + 15 min", 0),
    ("2.5 h + 15.5 min", 0.1 / 165.5), ("15.5 min + 2.5 h", 0.1 / 165.5),
    # of a time in parts the last part, and a third figure at most
    ("1 min 45 s", 1 / 105), ("9 h 30 min", 1 / 570), ("10 min 30 s", 0.1 / 10.5), ("1:45:30 h", 1 / 6330),
    ("9:30 h", 1 / 570), ("2 h 15.5 min", 0.01 / 2.2583333),
])
def test_how_well_what_is_worked_out_is_known(text, spread):
    assert parse(text).spread == pytest.approx(spread, rel=1e-7)


@pytest.mark.parametrize(("value", "half", "candidates", "found"), [
    # a slip that hardly moves 100: a third of its 0.6 at most, a tenth at least, between them half a figure
    (100.79, 0.5, {"a": 100.6}, ["a"]), (100.81, 0.5, {"a": 100.6}, []), (100.65, 0.01, {"a": 100.6}, ["a"]),
    (100.67, 0.01, {"a": 100.6}, []), (100.69, 0.1, {"a": 100.6}, ["a"]), (100.71, 0.1, {"a": 100.6}, []),
    # the nearest, and a second one as near; who doubles a factor has doubled that
    (50.0, 0.5, {"a": 50.3, "b": 50.1}, ["b"]), (50.0, 0.5, {"a": 50.02, "b": 49.98, "c": 50.0}, ["c"]),
    (50.1, 0.5, {"a": 50.2, "b": 50.0, "c": 50.1004}, ["c"]), (50.0, 0.5, {"a": 50.2, "b": 49.8, "c": 50.2}, ["a", "b"]),
    (50.0, 0.5, {"doubled: all": 50.0, "factor: n by 2": 50.0}, ["factor: n by 2"]),
    (50.0, 0.5, {"other": 50.0, "factor: n by 2": 50.0}, ["other", "factor: n by 2"]),
    # as near to the right value it is a slip all the same, where no whole is left
    (100.5, 1.0, {"a": 101.2}, ["a"]),
    # of one or two figures 2.5 % at most: 51.25 and not 51.35
    (50.0, 5.0, {"a": 51.25}, ["a"]), (50.0, 5.0, {"a": 51.35}, []),
])
def test_the_nearest_slip_is_named(value, half, candidates, found):
    hits = ((number, Hit(name, None, "", "")) for name, number in candidates.items())
    assert [hit.id for hit in nearest(Given(value, half), hits, right=100.0)] == found
