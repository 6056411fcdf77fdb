"""How numbers and lists are written: at each place where the form changes, from both sides."""

import pytest

from labkit import wording
from labkit.wording import (
    capital,
    decimals,
    did_you_mean,
    grouped,
    listed,
    nearest,
    percent,
    shown,
    three_digits,
    unbroken,
)


@pytest.mark.parametrize(("value", "text"), [
    (0, "0"), (4.0, "4"), (100.0, "100"), (1.5, "1.5"), (35.04, "35.0"), (0.123456, "0.123"),
    (12.34, "12.3"), (99.94, "99.9"), (99.96, "100"), (100.4, "100"), (999.4, "999"),
    (999.5, "1_000"), (999.7, "1_000"),  # the first edition wrote 1.00e+03
    (1000.4, "1_000"), (1100.4, "1_100"), (-1234.6, "-1_235"), (60_000.0, "60_000"),
    (1e15 + 2, "1_000_000_000_000_002"), (0.001, "0.001"), (0.0011, "0.0011"),
    (0.00123456, "0.00123"), (0.00099, "9.90e-04"), (-0.0000667, "-6.67e-05"),
])
def test_a_number_with_three_digits(value, text):
    assert shown(value).replace(wording.THIN_SPACE, "_") == text


def test_a_number_with_as_many_digits_as_are_asked():
    assert [shown(value, 2) for value in (0.123, 9.96, 10.4, 0.00012)] == [
        "0.12", "10", "10", "1.2e-04"]
    assert [shown(value, 4).replace(wording.THIN_SPACE, " ") for value in (99.994, 100.04, 999.96, 0.00012)] == [
        "99.99", "100.0", "1 000", "1.200e-04"]


@pytest.mark.parametrize(("value", "text"), [
    (0.0000667, "0.0000667"), (1e-6, "0.00000100"), (0.99e-6, "9.90e-07"), (0.00099, "0.000990"),
    (0.000996, "0.000996"), (0.0009996, "0.00100"), (0.00009996, "0.000100"),  # the first edition wrote a zero more
    (0.001, "0.001"), (0.0015, "0.0015"), (-0.00025, "-0.000250"), (1.5, "1.5")])
def test_a_small_number_without_a_power_of_ten(value, text):
    assert decimals(value, 3) == text


@pytest.mark.parametrize(("value", "text"), [
    (10, "10"), (83.8, "84"), (999.6, "1 000"), (1004.0, "1 000"), (1006, "1 010"), (51376.7, "51 400")])
def test_the_first_three_digits(value, text):
    assert three_digits(value, " ") == text


def test_thousands_and_shares():
    assert grouped(1234567.25, 1, " ") == "1 234 567.2" and grouped(-0.3) == "0"
    assert wording.HOURS_PER_YEAR == 365 * 24
    assert [percent(0.5), percent(0.0123, 1), percent(1.5)] == ["50 %", "1.2 %", "150 %"]
    hard = wording.HARD_SPACE
    assert unbroken("60 000 h in 2 days, 24.1 % of 7 m") == (
        f"60{hard}000{hard}h in 2 days, 24.1{hard}% of 7{hard}m")
    assert capital("two lead at KF10") == "Two lead at KF10"


@pytest.mark.parametrize(("names", "how", "text"), [
    ([], {}, ""), (["a"], {}, "a"), (["a", "b"], {}, "a and b"), ("abc", {"word": "or"}, "a, b or c"),
    ("abc", {"most": 2}, "a, b and 1 more"), ("abc", {"most": 3}, "a, b and c"),
    (map(str, range(99)), {}, f"{', '.join(map(str, range(98)))} and 98"),
    (map(str, range(100)), {}, f"{', '.join(map(str, range(99)))} and 1 more"),
])
def test_a_list(names, how, text):
    assert listed(names, **how) == text


def test_a_name_that_is_near():
    assert nearest("kf1O", ["KF10", "BL1"]) == "KF10" and nearest("xyz", ["KF10"]) is None
    # far in letters, and near in words: the last of the words that is one
    assert nearest("the old power supply", ["supply", "power"]) == "supply"
    assert nearest("power or supply of old water", ["supply", "power", "water"]) == "water"
    assert did_you_mean("KF1: cutt", ["KF1: cut", "BL1"], repr) == " (did you mean 'KF1: cut'?)"
    assert did_you_mean("zz", ["KF1"]) == ""
    # "abcd" and "abxy" share 2 of 4 letters: near enough for a half, not for 0.6 of did_you_mean
    assert nearest("abcd", ["abxy"]) == "abxy" and did_you_mean("abcd", ["abxy"]) == ""
    # and 3 of 5 for 0.6
    assert did_you_mean("abcde", ["abcxy"]) == " (did you mean abcxy?)"
