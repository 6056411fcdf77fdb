"""The pair in numbers: the golden cases, closed forms, bad arguments."""

import doctest
import math

import pytest

from labkit import markov, pair
from labkit.markov import MarkovModel, redundant_pair, two_state

REFERENCE = {"common_cause": 0.05, "coverage": 0.97, "diagnosed": 0.9}

# Unavailability, minutes down a year, mean years between outages, mean hours to the first outage,
# for MTBF 60 000 h and MTTR 4 h (72 h where named), restart 0.5 h, tests every 4380 h, one crew.
# Calculated independently of this package, to the digits given.
GOLDEN = {
    "single": (two_state, (60_000, 4), {}, 6.666e-5, 35.04, 6.85, 60_000),
    "single, 72 h": (two_state, (60_000, 72), {}, 1.199e-3, 630, 6.86, 60_000),
    "ideal": (redundant_pair, (60_000, 4), {}, 8.89e-9, 0.0047, 51_400, 450.1e6),
    "common cause": (
        redundant_pair, (60_000, 4), {"common_cause": 0.05}, 3.342e-6, 1.756, 137, 1_197_000
    ),
    "coverage": (redundant_pair, (60_000, 4), {"coverage": 0.97}, 2.589e-7, 0.136, 227, 1_992_000),
    "silent": (redundant_pair, (60_000, 4), {"diagnosed": 0.9}, 2.428e-7, 0.128, 1_881, 16.5e6),
    "common cause and coverage": (
        redundant_pair, (60_000, 4), {"common_cause": 0.05, "coverage": 0.97},
        3.579e-6, 1.881, 87, 763_200,
    ),
    "reference": (redundant_pair, (60_000, 4), REFERENCE, 3.789e-6, 1.992, 84, 734_500),
    "reference, 72 h": (redundant_pair, (60_000, 72), REFERENCE, 6.668e-5, 35.0, 82, 717_600),
    "2 %": (redundant_pair, (60_000, 4), {"common_cause": 0.02}, 1.342e-6, 0.705, 340, None),
    "10 %": (redundant_pair, (60_000, 4), {"common_cause": 0.10}, 6.674e-6, 3.508, 68, None),
}


def test_doctests():
    result = doctest.testmod(pair)
    assert result.attempted > 0 and result.failed == 0


def half_a_unit(number):
    """Half a unit in the last digit that is written, trailing zeros before the point left out."""
    text = repr(number)
    digits = text.split("e")[0].replace(".", "").strip("0")
    return 0.5 * 10 ** (math.floor(math.log10(abs(number))) - len(digits) + 1)


@pytest.mark.parametrize("case", GOLDEN)
def test_golden_cases(case):
    build, positional, options, unavailability, minutes, years, first_h = GOLDEN[case]
    model = build(*positional, **options)
    found = (
        model.unavailability,
        model.downtime_h_per_year * 60,
        1 / model.failures_per_h / 8760,
        model.mean_time_to_first_failure_h(),
    )
    for value, printed in zip(found, (unavailability, minutes, years, first_h)):
        if printed is not None:
            assert abs(value - printed) <= half_a_unit(printed) * (1 + 1e-9), (value, printed)


def test_three_controllers():
    """Three units with a common cause of 5 %: all three at once, otherwise one after another."""
    failure, repair, beta = 1 / 60_000, 1 / 4, 0.05
    single = (1 - beta) * failure
    three = MarkovModel(
        {
            (3, 2): 3 * single,
            (3, 0): beta * failure,
            (2, 1): 2 * single,
            (2, 0): beta * failure,
            (1, 0): failure,
            (2, 3): repair,
            (1, 2): repair,
            (0, 1): repair,
        },
        up=[3, 2, 1],
    )
    assert abs(three.unavailability - 3.334e-6) <= 0.5e-9
    assert abs(three.downtime_h_per_year * 60 - 1.752) <= 0.5e-3
    assert round(1 / three.failures_per_h / 8760) == 137
    assert abs(three.mean_time_to_first_failure_h() - 1_200_000) <= 500


def test_importable_from_markov():
    assert markov.redundant_pair is pair.redundant_pair
    with pytest.raises(AttributeError, match="no attribute 'triple'"):
        markov.triple  # noqa: B018
