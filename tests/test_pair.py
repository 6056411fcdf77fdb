"""The pair in numbers: the golden cases, closed forms, bad arguments."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.pair import NEVER_FOUND, redundant_pair
from tests import references

# A few dozen roundings.
EXACT = 1e-13

REFERENCE = {"common_cause": 0.05, "coverage": 0.97, "diagnosed": 0.9}

# Unavailability, minutes down a year, mean years between outages, mean hours to the first outage,
# for MTBF 60 000 h and MTTR 4 h (72 h where named), restart 0.5 h, tests every 4380 h, one crew.
# Calculated independently of this package, to the digits given.
GOLDEN = {
    "single": (two_state, (60_000, 4), {}, 6.666e-5, 35.04, 6.85, 60_000),
    "single, 72 h": (two_state, (60_000, 72), {}, 1.199e-3, 630, 6.86, 60_000),
    "ideal": (redundant_pair, (60_000, 4), {}, 8.89e-9, 0.0047, 51_400, 450.1e6),
    "common cause": (
        redundant_pair,
        (60_000, 4),
        {"common_cause": 0.05},
        3.342e-6,
        1.756,
        137,
        1_197_000,
    ),
    "coverage": (redundant_pair, (60_000, 4), {"coverage": 0.97}, 2.589e-7, 0.136, 227, 1_992_000),
    "silent": (redundant_pair, (60_000, 4), {"diagnosed": 0.9}, 2.428e-7, 0.128, 1_881, 16.5e6),
    "common cause and coverage": (
        redundant_pair,
        (60_000, 4),
        {"common_cause": 0.05, "coverage": 0.97},
        3.579e-6,
        1.881,
        87,
        763_200,
    ),
    "reference": (redundant_pair, (60_000, 4), REFERENCE, 3.789e-6, 1.992, 84, 734_500),
    "reference, 72 h": (redundant_pair, (60_000, 72), REFERENCE, 6.668e-5, 35.0, 82, 717_600),
    "2 %": (redundant_pair, (60_000, 4), {"common_cause": 0.02}, 1.342e-6, 0.705, 340, None),
    "10 %": (redundant_pair, (60_000, 4), {"common_cause": 0.10}, 6.674e-6, 3.508, 68, None),
}


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


def test_states_in_their_order():
    model = redundant_pair(60_000, 4, **REFERENCE)
    assert model.states == (
        "both good", "one failed", "standby failed unnoticed", "both failed", "not taken over",
    )  # fmt: skip
    assert model.up == model.states[:3]
    assert model.start == {"both good": 1.0}


def test_rates_as_written():
    """Every rate of the table in the docstring, at values that tell all factors apart."""
    model = redundant_pair(
        1000, 5, common_cause=0.1, coverage=0.9, diagnosed=0.8, test_interval_h=500,
        restart_h=0.25, crews=2, standby_ratio=0.5,
    )  # fmt: skip
    expected = {
        ("both good", "both failed"): 1e-4,
        ("both good", "not taken over"): 0.9e-4,
        ("both good", "one failed"): 8.1e-4 + 3.6e-4,
        ("both good", "standby failed unnoticed"): 0.9e-4,
        ("one failed", "both good"): 0.2,
        ("one failed", "both failed"): 1e-3,
        ("standby failed unnoticed", "both failed"): 1e-3,
        ("standby failed unnoticed", "one failed"): 0.004,
        ("not taken over", "one failed"): 4.0,
        ("both failed", "one failed"): 0.4,
    }
    assert model.rates.keys() == expected.keys()
    for arc, rate in expected.items():
        assert model.rates[arc] == pytest.approx(rate, rel=EXACT, abs=0), arc


# -- published values ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "options"),
    [
        ("D3", {"standby_ratio": 0.0}),
        ("D4", {}),
        ("D5", {"standby_ratio": 0.0, "crews": 2}),
        ("D6", {"crews": 2}),
    ],
)
def test_d3_to_d6(row, options):
    found = redundant_pair(100, 5, **options).availability
    references.agrees(row, found)
    references.agrees_closely(row, found)


def test_e20_e21_hidden_failures_of_one_element():
    """Birolini's chain is the pair with a standby that nobody sees fail and nobody tests."""
    options = {"diagnosed": 0.0, "test_interval_h": math.inf}
    few = redundant_pair(1e6, 1, **options).mean_time_to_first_failure_h()
    references.agrees("E20", few / 2e6)
    real = redundant_pair(1000, 4, **options).mean_time_to_first_failure_h()
    references.agrees("E21", real)
    seen = redundant_pair(1000, 4).mean_time_to_first_failure_h()
    references.off_by("T36", seen, real)


@pytest.mark.parametrize(("row", "ratio"), [("E22", 1.0), ("E23", 0.0)])
def test_e22_e23_hot_and_cold(row, ratio):
    found = redundant_pair(1000, 4, standby_ratio=ratio).mean_time_to_first_failure_h()
    references.agrees(row, found)


def test_e26_mirrored_disks():
    usual = 6e6**2 / (2 * 120)
    references.agrees("E26", usual)
    references.off_by("T34", usual, redundant_pair(6e6, 120).mean_time_to_first_failure_h())


# -- closed forms -------------------------------------------------------------------------------

hours = st.floats(0, 6).map(lambda x: 10.0**x)
ratio = st.floats(0, 1)


@settings(max_examples=60, deadline=None)
@given(hours, hours, ratio, st.sampled_from([1, 2]))
def test_ideal_pair_in_closed_form(mtbf_h, mttr_h, r, crews):
    """Balance of the birth and death chain; mean time by first-step analysis (textbook)."""
    a, b = 1 / mtbf_h, 1 / mttr_h
    model = redundant_pair(mtbf_h, mttr_h, standby_ratio=r, crews=crews)
    one = (1 + r) * a / b
    both = one * a / (crews * b)
    assert model.unavailability == pytest.approx(both / (1 + one + both), rel=EXACT, abs=0)
    first = ((2 + r) * a + b) / ((1 + r) * a**2)
    assert model.mean_time_to_first_failure_h() == pytest.approx(first, rel=EXACT, abs=0)


@settings(max_examples=60, deadline=None)
@given(hours, hours)
def test_two_crews_are_two_independent_units(mtbf_h, mttr_h):
    pair_u = redundant_pair(mtbf_h, mttr_h, crews=2).unavailability
    assert pair_u == pytest.approx(two_state(mtbf_h, mttr_h).unavailability ** 2, rel=EXACT, abs=0)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(100, 1e6), st.floats(0.1, 100), ratio, ratio, ratio, hours, st.floats(0.01, 10), ratio
)
def test_each_flaw_costs(mtbf_h, mttr_h, beta, c, dc, interval, restart_h, r):
    """Failures come no less often with any flaw added, and U is a probability."""
    base = redundant_pair(
        mtbf_h, mttr_h, common_cause=beta, coverage=c, diagnosed=dc, test_interval_h=interval,
        restart_h=restart_h, standby_ratio=r,
    )  # fmt: skip
    u = base.unavailability
    assert 0 < u < 1
    assert base.steady_state().sum() == pytest.approx(1, rel=EXACT, abs=0)
    without = redundant_pair(mtbf_h, mttr_h, standby_ratio=r)
    assert base.mean_time_to_first_failure_h() <= (
        without.mean_time_to_first_failure_h() * (1 + EXACT)
    )
    slower = redundant_pair(
        mtbf_h, mttr_h, common_cause=beta, coverage=c, diagnosed=dc, test_interval_h=interval * 2,
        restart_h=restart_h * 2, standby_ratio=r,
    )  # fmt: skip
    assert slower.unavailability >= u * (1 - EXACT)


def test_by_hand():
    """The parts add up: common cause, failed takeovers, and latent faults of the standby.

    Within 2 %, for what happens during another repair or takeover is left out.
    """
    a, repair = 1 / 60_000, 4.0
    parts = (0.05 * a * repair, 0.03 * a * 0.5, 0.1 * a * 4380 / 2 * a * repair)
    assert redundant_pair(60_000, 4, **REFERENCE).unavailability == pytest.approx(
        sum(parts), rel=0.02, abs=0
    )


def test_limits():
    """A coverage of 0 makes every failure of the active an outage; beta = 1 leaves one unit."""
    alone = redundant_pair(60_000, 4, common_cause=1.0)
    assert alone.mean_time_to_first_failure_h() == pytest.approx(60_000, rel=EXACT, abs=0)
    uncovered = redundant_pair(60_000, 4, coverage=0.0, standby_ratio=0.0)
    assert uncovered.mean_time_to_first_failure_h() == pytest.approx(60_000, rel=EXACT, abs=0)
    assert np.isfinite(
        redundant_pair(60_000, 4, diagnosed=0.0, test_interval_h=math.inf).generator
    ).all()


def test_what_no_test_finds_waits_for_half_an_overhaul():
    """By hand: into it at its share m of the standby's rate, out at 2 / interval or with the other.

    No test finds it at all (m = 1), or it finds 3/4: then its own state is left at 2 / test.
    """
    failure, share = 1e-3, 0.4
    for missed in (1.0, 0.25):
        pair = redundant_pair(1 / failure, 4, diagnosed=1 - share, test_interval_h=800,
                              missed=missed, overhaul_interval_h=8000)
        share_of = dict(zip(pair.states, pair.steady_state(), strict=True))
        good, found, never = (
            share_of[state] for state in ("both good", "standby failed unnoticed", NEVER_FOUND))
        assert never / good == pytest.approx(
            missed * share * failure / (2 / 8000 + failure), rel=EXACT, abs=0)
        assert found / good == pytest.approx(
            (1 - missed) * share * failure / (2 / 800 + failure), rel=EXACT, abs=0)


# -- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        ({"mtbf_h": 0}, ValueError, "mtbf_h must be > 0 and finite, got 0"),
        ({"mttr_h": math.nan}, ValueError, "mttr_h must be > 0 and finite, got nan"),
        ({"mttr_h": "4"}, TypeError, "mttr_h must be a number, got '4'"),
        ({"common_cause": 5}, ValueError, "common_cause must be between 0 and 1, got 5"),
        ({"coverage": -0.1}, ValueError, "coverage must be between 0 and 1, got -0.1"),
        ({"diagnosed": 90}, ValueError, "diagnosed must be between 0 and 1, got 90"),
        ({"standby_ratio": 2}, ValueError, "standby_ratio must be between 0 and 1, got 2"),
        ({"test_interval_h": 0}, ValueError, "test_interval_h must be > 0, got 0"),
        ({"restart_h": math.inf}, ValueError, "restart_h must be > 0 and finite, got inf"),
        ({"crews": 3}, ValueError, "crews must be 1 to 2, got 3"),
        ({"crews": True}, TypeError, "crews must be a whole number, got True"),
        ({"crews": "2"}, TypeError, "crews must be a whole number, got '2'"),
    ],
)
def test_refused(arguments, error, message):
    with pytest.raises(error, match=message):
        redundant_pair(**({"mtbf_h": 60_000, "mttr_h": 4} | arguments))
