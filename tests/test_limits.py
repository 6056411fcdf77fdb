"""Evidence, claims and diagnosis: against published values, by properties, and at the edges."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from labkit.evidence.claims import (
    observation_needed_h,
    running_out_chance,
    spares_needed,
    trials_needed,
)
from labkit.evidence.diagnosis import (
    Check,
    expected_information_bits,
    posterior,
    prior_from_rates,
    rank_checks,
)
from labkit.evidence.limits import (
    mtbf_limits,
    mttr_limits,
    rate_limits,
    success_limits,
)
from tests.references import agrees, agrees_closely, off_by, value

SIDES = ("two", "lower", "upper")
quick = settings(max_examples=60, deadline=None)
pytestmark = pytest.mark.usefixtures("ends")


# -- MTBF and repair times ----------------------------------------------------------------------

LOG_H = (3, 5, 7, 18, 43, 85, 91, 98, 100, 130, 230, 487)


def ends(limits):
    return limits.lower, limits.upper


def test_mtbf_from_a_time_censored_log():
    """NIST/SEMATECH e-Handbook, sec. 8.4.5.1."""
    limits = mtbf_limits(800, 2, confidence=0.9)
    agrees("I1", ends(limits))
    agrees_closely("I1", ends(limits))
    assert limits.point == 400
    assert (limits.confidence, limits.sided) == (0.9, "two")


def test_mtbf_without_a_failure():
    """NIST/SEMATECH e-Handbook, sec. 8.4.5.1, table of confidence factors (memory)."""
    lower = []
    for confidence in (0.60, 0.80, 0.90, 0.95):
        limits = mtbf_limits(1, 0, confidence=confidence)
        assert limits.point == limits.upper == math.inf
        lower.append(limits.lower)
        assert limits.lower == pytest.approx(-1 / math.log((1 - confidence) / 2), rel=1e-14)
    agrees("I2", lower)
    agrees_closely("I2", lower)


@pytest.mark.parametrize(
    ("row", "failures", "confidence"),
    [("I3", 1, 0.6), ("I4", 1, 0.8), ("I5", 2, 0.6), ("I6", 2, 0.8), ("I7", 5, 0.8)],
)
def test_confidence_factors(row, failures, confidence):
    """NIST/SEMATECH e-Handbook, sec. 8.4.5.1, table of confidence factors (memory)."""
    factors = ends(mtbf_limits(failures, failures, confidence=confidence))
    agrees(row, factors)
    agrees_closely(row, factors)


def test_mtbf_from_a_failure_censored_log():
    """Air-conditioning failures, Davison and Hinkley (1997), Table 1.2."""
    limits = mtbf_limits(sum(LOG_H), len(LOG_H), confidence=0.95, censored="failure")
    agrees("I15", limits.point)
    agrees("I16", ends(limits))
    agrees_closely("I16", ends(limits))


def test_repair_times_share_the_arithmetic_of_a_failure_censored_log():
    """The same log read as repair times; Davison and Hinkley (1997), Table 1.2."""
    agrees("I16", ends(mttr_limits(LOG_H, confidence=0.95)))


def test_wrong_degrees_of_freedom_raise_the_lower_limit():
    """2r instead of 2r + 2 for a log that ended at a time."""
    right = mtbf_limits(800, 2, confidence=0.9, sided="lower").lower
    wrong = mtbf_limits(800, 2, confidence=0.9, sided="lower", censored="failure").lower
    off_by("T30", wrong, right)


@pytest.mark.parametrize(
    ("failures", "lower_h", "upper_h"),
    [(0, 7600, None), (1, 3690, 341_500), (2, 2780, 49_300)],
)
def test_two_years_of_a_pair(failures, lower_h, upper_h):
    """90 % limits of 17 520 unit-hours, worked by hand from tables of chi-square (memory)."""
    sided = "two" if failures else "lower"
    limits = mtbf_limits(17_520, failures, confidence=0.9, sided=sided)
    assert limits.lower == pytest.approx(lower_h, rel=2e-3)  # three figures were printed
    if upper_h:
        assert limits.upper == pytest.approx(upper_h, rel=2e-3)


@pytest.mark.parametrize("sigma, n", [(2.0, 3), (1.0, 5), (0.5, 10)])
def test_limits_of_a_lognormal_mean_miss_by_their_share_at_most(sigma, n):
    """Each end of 90 % limits is missed by 5 % at most, however few and spread the repairs."""
    rng, trials, mean = np.random.default_rng(20), 500, math.exp(1.0 + sigma**2 / 2)
    found = [mttr_limits(rng.lognormal(1.0, sigma, n), distribution="lognormal")
             for _ in range(trials)]
    most = 0.05 + 4 * math.sqrt(0.05 * 0.95 / trials)  # four standard errors
    assert np.mean([mean < limits.lower for limits in found]) <= most
    assert np.mean([limits.upper < mean for limits in found]) <= most
    # Student's t for the upper end missed it in 16 % of such trials with sigma 2 and n 3.
    assert np.mean([limits.upper < mean for limits in found]) < 0.1


def test_upper_limit_of_a_lognormal_mean_by_drawing_the_pivot():
    """The pivotal quantity as its definition has it, drawn a million times."""
    rng, n, times_h = np.random.default_rng(3), 4, np.array([1.5, 2.0, 3.5, 5.0])
    logs = np.log(times_h)
    sigma2 = (n - 1) * logs.var(ddof=1) / rng.chisquare(n - 1, 10**6)
    pivot = logs.mean() + np.sqrt(sigma2 / n) * rng.standard_normal(10**6) + sigma2 / 2
    upper = mttr_limits(times_h, distribution="lognormal").upper
    # four standard errors of a share of 5 %
    assert abs(np.mean(pivot > math.log(upper)) - 0.05) <= 4 * math.sqrt(0.05 * 0.95 / 10**6)


def test_many_like_repairs_are_as_normal_ones():
    """40 from 9.9 to 10.1 h: s = (0.2 / 39) sqrt(40 x 41 / 12) = 0.05995, t(0.95; 39) = 1.685."""
    limits = mttr_limits(np.linspace(9.9, 10.1, 40), distribution="lognormal")
    half = 1.685 * 0.05995 / math.sqrt(40)
    # what the logarithm bends of so narrow a spread is 1e-5 of the mean
    assert (limits.lower, limits.upper) == pytest.approx((10 - half, 10 + half), rel=1e-5)


def test_mean_of_lognormal_is_not_the_mean_of_times_alone():
    limits = mttr_limits([1.0, 1.0, 8.0], distribution="lognormal")
    logs = np.log([1.0, 1.0, 8.0])
    assert limits.point == pytest.approx(np.exp(logs.mean() + logs.var(ddof=1) / 2), rel=1e-14)


# -- rates and shares ---------------------------------------------------------------------------


def test_poisson_limits():
    """statsmodels, test_rates_poisson.py, quoting the R packages DescTools and exactci."""
    limits = rate_limits(15, 400, confidence=0.95)
    assert ends(limits) == pytest.approx(
        (0.0209884653319583, 0.0618505471787146), rel=1e-13, abs=0
    )
    agrees("I12", ends(limits))


def test_rate_and_mtbf_are_two_readings_of_one_log():
    rate, mtbf = rate_limits(3, 5000, confidence=0.8), mtbf_limits(5000, 3, confidence=0.8)
    assert rate.lower == pytest.approx(1 / mtbf.upper, rel=1e-14)
    assert rate.upper == pytest.approx(1 / mtbf.lower, rel=1e-14)


def test_binomial_limits():
    """NIST/SEMATECH e-Handbook, sec. 7.2.4.2 (outputs from memory)."""
    limits = success_limits(4, 20, confidence=0.9)
    agrees("J22", ends(limits))
    agrees_closely("J22", ends(limits))


def test_thirty_successes():
    """Published example of a zero-failure test."""
    limits = success_limits(30, 30, confidence=0.9, sided="lower")
    agrees("J15", limits.lower)
    agrees_closely("J15", limits.lower)
    assert limits.upper == limits.point == 1


@pytest.mark.parametrize(("trials", "shown"), [(12, 0.78), (59, 0.95), (99, 0.97)])
def test_successes_against_the_power_law(trials, shown):
    """Lower 95 % limit 0.05^(1/n) after n successes."""
    lower = success_limits(trials, trials, confidence=0.95, sided="lower").lower
    assert lower == pytest.approx(0.05 ** (1 / trials), rel=1e-13)
    assert round(lower, 2) == shown


# -- sizes of tests -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "success", "confidence", "failures"),
    [
        ("J1", 0.90, 0.95, 0),
        ("J2", 0.95, 0.95, 0),
        ("J3", 0.99, 0.90, 0),
        ("J4", 0.90, 0.95, 1),
        ("J7", 0.90, 0.90, 0),
        ("J8", 0.95, 0.90, 0),
        ("J9", 0.99, 0.95, 0),
        ("J10", 0.99, 0.99, 0),
        ("J12", 0.95, 0.99, 0),
    ],
)
def test_trials_needed(row, success, confidence, failures):
    """Public tables for zero-failure testing; the source of each stands in its row."""
    found = trials_needed(success, confidence, failures_allowed=failures)
    assert found == value(row)
    agrees(row, found)


def test_299_is_not_298():
    """ln 0.05 / ln 0.99 = 298.07: rounding down is the error."""
    assert int(math.log(0.05) / math.log(0.99)) == 298
    assert trials_needed(0.99, 0.95) == 299


def test_rule_of_three():
    exact = 1 - success_limits(59, 59, confidence=0.95, sided="lower").lower
    off_by("T29", 3 / 59, exact)


def test_observation_needed():
    """NIST/SEMATECH e-Handbook, sec. 8.3.1.2, test length guide (memory)."""
    levels = (0.50, 0.60, 0.75, 0.80, 0.90, 0.95)
    for row, failures in (("I9", 0), ("I10", 1)):
        factors = [observation_needed_h(1, c, failures_allowed=failures) for c in levels]
        agrees(row, factors)
        agrees_closely(row, factors)


def test_a_tie_counts_as_reached():
    # 0.5^3 = 0.125 exactly: three trials are enough, whatever 1 - 0.875 is in binary
    assert trials_needed(0.5, 0.875) == 3
    assert trials_needed(0.9, 0.19) == 2


# -- spares -------------------------------------------------------------------------------------


def test_running_out_of_spares():
    """Poisson, worked by hand: 4 modules of 60 000 h, 90 days delivery (memory)."""
    demand = 4 * 90 * 24 / 60_000
    assert demand == pytest.approx(0.144, rel=1e-12)
    shown = [round(100 * running_out_chance(demand, n), 2) for n in range(3)]
    assert shown == [13.41, 0.94, 0.04]
    assert running_out_chance(demand, 0) == pytest.approx(1 - math.exp(-demand), rel=1e-13)
    # a tail of 1e-20 keeps its digits: the first term of the series rules it
    first = demand**12 / math.factorial(12) * math.exp(-demand)
    rest = sum(demand**n / math.factorial(12 + n) * math.factorial(12) for n in range(12))
    assert running_out_chance(demand, 11) == pytest.approx(first * rest, rel=1e-12)


def test_poisson_of_two_or_more():
    """P(2 or more failures), rate 0.2, t = 5; worked solutions of a public course."""
    agrees("C6", running_out_chance(0.2 * 5, 1))
    agrees_closely("C6", running_out_chance(0.2 * 5, 1))


@quick
@given(demand=st.floats(0, 200), target=st.floats(0.01, 0.9999))
def test_spares_needed_is_the_smallest_stock(demand, target):
    stock = spares_needed(demand, target)
    assert running_out_chance(demand, stock) <= 1 - target
    assert stock == 0 or running_out_chance(demand, stock - 1) > 1 - target


# -- Bayes --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "prior", "likelihood", "asked"),
    [
        ("K1", {"ill": 0.005, "well": 0.995}, {"ill": 0.99, "well": 0.01}, ["ill"]),
        ("K3", {"ill": 0.005, "well": 0.995}, {"ill": 0.99, "well": 0.005}, ["ill"]),
        ("K4", {"A": 20, "B": 30, "C": 50}, {"A": 0.05, "B": 0.03, "C": 0.01}, ["C"]),
        ("K5", {"ill": 0.01, "well": 0.99}, {"ill": 0.97, "well": 0.05}, ["ill"]),
        (
            "K6",
            {"d1": 3215, "d2": 2125, "d3": 4660},
            {"d1": 2110 / 3215, "d2": 396 / 2125, "d3": 510 / 4660},
            ["d1", "d2", "d3"],
        ),
    ],
)
def test_bayes(row, prior, likelihood, asked):
    """The source of each example stands in its row."""
    after = posterior(prior, likelihood)
    agrees(row, [after[cause] for cause in asked])
    agrees_closely(row, [after[cause] for cause in asked])
    assert math.fsum(after.values()) == pytest.approx(1, rel=1e-14)


def test_prior_follows_the_rates():
    prior = prior_from_rates({"cable": 3e-6, "supply": 1e-6, "never": 0})
    assert prior == {"cable": 0.75, "supply": 0.25, "never": 0}


def test_information_against_entropies():
    """Mutual information = entropy before - expected entropy after, worked out apart."""
    prior = {"a": 0.5, "b": 0.3, "c": 0.2}
    check = Check(
        "reading",
        4,
        {
            "low": {"a": 0.7, "b": 0.1, "c": 0.0},
            "mid": {"a": 0.2, "b": 0.6, "c": 0.5},
            "high": {"a": 0.1, "b": 0.3, "c": 0.5},
        },
    )

    def entropy(shares):
        return -sum(p * math.log2(p) for p in shares.values() if p)

    expected = 0.0
    for under in check.outcomes.values():
        chance = sum(prior[c] * under[c] for c in prior)
        expected += chance * entropy(posterior(prior, under))
    found = expected_information_bits(prior, check)
    assert found == pytest.approx(entropy(prior) - expected, rel=1e-12)
    (ranked,) = rank_checks(prior, [check])
    assert ranked.bits_per_minute == pytest.approx(found / 4, rel=1e-14)


def test_the_channel_of_shannon():
    """Binary symmetric channel: 1 - H(0.1) = 0.531 bits (Shannon 1948, memory)."""
    check = Check.yes_no("noisy", 1, {"a": 0.9, "b": 0.1})
    assert expected_information_bits({"a": 1, "b": 1}, check) == pytest.approx(0.531, abs=5e-4)


def test_the_next_check_is_the_best_per_minute():
    prior = {"cable": 0.6, "supply": 0.3, "unit": 0.1}
    lamp = Check.yes_no("lamp", 1, {"cable": 0.9, "supply": 0.05, "unit": 0.5})
    meter = Check.yes_no("meter", 15, {"cable": 1.0, "supply": 0.0, "unit": 0.0})
    useless = Check.yes_no("guess", 1, {"cable": 0.5, "supply": 0.5, "unit": 0.5})
    names = [ranked.name for ranked in rank_checks(prior, [useless, meter, lamp])]
    assert names == ["lamp", "meter", "guess"]
    assert expected_information_bits(prior, useless) == 0
    assert expected_information_bits(prior, meter) > expected_information_bits(prior, lamp)


weights = st.floats(1e-6, 1)
chances = st.floats(0, 1)


@quick
@given(
    st.lists(st.tuples(weights, chances, chances), min_size=2, max_size=5), st.floats(0.1, 50)
)
def test_signs_in_any_order_and_information_within_bounds(rows, minutes):
    prior = {f"c{k}": row[0] for k, row in enumerate(rows)}
    one = {f"c{k}": row[1] for k, row in enumerate(rows)}
    two = {f"c{k}": row[2] for k, row in enumerate(rows)}
    assume(sum(prior[c] * one[c] * two[c] for c in prior) > 1e-9)
    forth, back = posterior(posterior(prior, one), two), posterior(posterior(prior, two), one)
    for cause, chance in forth.items():
        assert back[cause] == pytest.approx(chance, rel=1e-9, abs=1e-300)
    bits = expected_information_bits(prior, Check.yes_no("?", minutes, one))
    # a yes or no tells at most one bit
    assert 0 <= bits <= 1 + 1e-12


# -- properties of limits -----------------------------------------------------------------------


@quick
@given(
    st.integers(0, 40),
    st.floats(1, 1e7),
    st.floats(0.05, 0.98),
    st.floats(0.001, 0.019),
    st.sampled_from(SIDES),
)
def test_more_confidence_gives_wider_limits_of_a_rate(events, exposure, confidence, more, sided):
    for estimate in (rate_limits, lambda n, t, **how: mtbf_limits(t, n, **how)):
        narrow = estimate(events, exposure, confidence=confidence, sided=sided)
        wide = estimate(events, exposure, confidence=confidence + more, sided=sided)
        assert wide.lower <= narrow.lower
        assert narrow.upper <= wide.upper
        if sided == "two" and confidence >= 0.5:
            assert narrow.lower <= narrow.point <= narrow.upper


@quick
@given(st.integers(1, 200), st.data(), st.floats(0.05, 0.98), st.sampled_from(SIDES))
def test_more_confidence_gives_wider_limits_of_a_share(trials, data, confidence, sided):
    successes = data.draw(st.integers(0, trials))
    narrow = success_limits(successes, trials, confidence=confidence, sided=sided)
    wide = success_limits(successes, trials, confidence=confidence + 0.01, sided=sided)
    assert 0 <= wide.lower <= narrow.lower <= narrow.upper <= wide.upper <= 1


@quick
@given(st.integers(0, 30), st.floats(0.05, 0.95))
def test_one_sided_is_the_end_of_a_wider_two_sided(failures, outside):
    one = mtbf_limits(1000, failures, confidence=1 - outside / 2, sided="lower")
    two = mtbf_limits(1000, failures, confidence=1 - outside)
    assert one.lower == pytest.approx(two.lower, rel=1e-12)
    assert one.upper == math.inf


@quick
@given(st.integers(1, 30), st.floats(0.01, 0.99), st.sampled_from([0.5, 0.8, 0.9, 0.95]))
def test_binomial_limits_never_cover_less_than_they_claim(trials, success, confidence):
    """Exact coverage: the sum of the binomial over the outcomes whose limits hold the truth."""
    from scipy.stats import binom

    covered = sum(
        binom.pmf(s, trials, success)
        for s in range(trials + 1)
        for limits in [success_limits(s, trials, confidence=confidence)]
        if limits.lower <= success <= limits.upper
    )
    assert covered >= confidence - 1e-9


@quick
@given(st.floats(0.05, 25), st.sampled_from([0.5, 0.8, 0.9, 0.95]))
def test_poisson_limits_never_cover_less_than_they_claim(mean, confidence):
    from scipy.stats import poisson

    covered = sum(
        poisson.pmf(n, mean)
        for n in range(120)
        for limits in [rate_limits(n, 1, confidence=confidence)]
        if limits.lower <= mean <= limits.upper
    )
    assert covered >= confidence - 1e-9


def test_failure_censored_limits_cover_exactly_what_they_claim():
    rng = np.random.default_rng(4)
    exposures = rng.exponential(1000, (4000, 3)).sum(axis=1)
    limits = mtbf_limits(1, 3, confidence=0.8, censored="failure")
    share = np.mean((limits.lower * exposures <= 1000) & (1000 <= limits.upper * exposures))
    assert abs(share - 0.8) <= 4 * math.sqrt(0.16 / 4000)


@quick
@given(st.floats(0.02, 0.99), st.floats(0.02, 0.99), st.integers(0, 5))
def test_trials_needed_agrees_with_the_exact_limit(success, confidence, failures):
    trials = trials_needed(success, confidence, failures_allowed=failures)
    lower = success_limits(
        trials - failures, trials, confidence=confidence, sided="lower"
    ).lower
    assert lower >= success * (1 - 1e-9)
    fewer = trials - 1
    if fewer > failures:
        assert success_limits(
            fewer - failures, fewer, confidence=confidence, sided="lower").lower < success


# -- errors -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: mtbf_limits(0, 1), ValueError, "exposure_h must be > 0 and finite, got 0"),
        (lambda: mtbf_limits(9, -1), ValueError, "failures must be >= 0, got -1"),
        (lambda: mtbf_limits(9, 1.5), TypeError, "failures must be a whole number, got 1.5"),
        (lambda: mtbf_limits(9, True), TypeError, "failures must be a whole number, got True"),
        (lambda: mtbf_limits("9", 1), TypeError, "exposure_h must be a number, got '9'"),
        (lambda: mtbf_limits(9, 0, censored="failure"), ValueError, "failures must be >= 1, got 0"),
        (lambda: mtbf_limits(9, 1, censored="type II"), ValueError, "got 'type II'"),
        (lambda: mtbf_limits(9, 1, sided="both"), ValueError, "sided must be one of two, lower"),
        (lambda: mtbf_limits(9, 1, confidence=1), ValueError, "confidence must be > 0 and < 1"),
        (lambda: mtbf_limits(9, 1, confidence=90), ValueError, "confidence must be > 0 and < 1"),
        (lambda: rate_limits(1, math.nan), ValueError, "exposure must be > 0 and finite, got nan"),
        (lambda: mttr_limits([]), ValueError, "at least 1 durations, got []"),
        (lambda: mttr_limits([1, -2]), ValueError, "repair_times_h must be > 0 and finite, got -2"),
        (lambda: mttr_limits([1, 2], distribution="normal"), ValueError, "got 'normal'"),
        (lambda: mttr_limits([1], distribution="lognormal"), ValueError, "at least 2 durations"),
        (lambda: success_limits(3, 2), ValueError, "successes must be <= trials = 2, got 3"),
        (lambda: success_limits(0, 0), ValueError, "trials must be >= 1, got 0"),
        (lambda: trials_needed(1, 0.9), ValueError, "success must be > 0 and < 1, got 1"),
        (lambda: trials_needed(0.9, 95), ValueError, "confidence must be > 0 and < 1, got 95"),
        (lambda: observation_needed_h(-1, 0.9), ValueError, "mtbf_h must be > 0 and finite"),
        (lambda: running_out_chance(-1, 0), ValueError, "expected_demand must be >= 0 and finite"),
        (lambda: spares_needed(1, 1), ValueError, "target must be > 0 and < 1, got 1"),
        (lambda: spares_needed(1e14 + 1, 0.9), ValueError, "expected_demand must be <= 1e+14, got 1e+14"),
        (lambda: prior_from_rates({}), ValueError, "rates_per_h must name at least one cause"),
        (lambda: prior_from_rates({"a": -1}), ValueError, "rates_per_h['a'] must be >= 0"),
        (lambda: prior_from_rates({"a": 0}), ValueError, "rates_per_h must have a sum > 0"),
        (lambda: posterior({"a": 1}, {}), ValueError, "lacks 'a'"),
        (lambda: posterior({"a": 1}, {"a": 1, "b": 1}), ValueError, "got 'b'"),
        (lambda: posterior({"a": 1}, {"a": 2}), ValueError, "likelihood['a'] must be between 0 and"),
        (lambda: posterior({"a": 1}, {"a": 0}), ValueError, "got 0 for all"),
        (lambda: Check("x", 0, {"yes": {"a": 1}}), ValueError, "minutes must be > 0"),
        (lambda: Check("x", 1, {}), ValueError, "outcomes must name at least one outcome"),
        (lambda: Check("x", 1, {"yes": {"a": 0.5}}), ValueError, "must sum to 1 under cause 'a'"),
        (lambda: Check.yes_no("x", 1, {"a": 50}), ValueError, "chance_of_yes['a'] must be between"),
    ],
)
def test_errors_name_argument_rule_and_value(call, error, words):
    with pytest.raises(error) as caught:
        call()
    assert words in str(caught.value)


def test_repairs_that_never_vary_have_one_mean():
    limits = mttr_limits([2.5, 2.5, 2.5], distribution="lognormal")
    assert (limits.lower, limits.point, limits.upper) == pytest.approx((2.5,) * 3, rel=1e-15)


def test_lognormal_mean_by_student():
    """Two repairs of e^-1 and e^1 hours: the logarithms have mean 0 and variance 2."""
    limits = mttr_limits([math.exp(-1), math.exp(1)], distribution="lognormal", confidence=0.9)
    # mean exp(0 + 2/2); spread sqrt(2/2 + 4/(2 x 1)) = sqrt 3; Student, 1 degree: 6.314 (tables)
    assert limits.point == pytest.approx(math.e, rel=1e-14)
    assert math.log(limits.lower) == pytest.approx(1 - 6.314 * math.sqrt(3), rel=1e-4)
    assert limits.upper > math.exp(1 + 6.314 * math.sqrt(3))
    same = mttr_limits([2.0, 2.0, 2.0], distribution="lognormal")
    assert (same.lower, same.point, same.upper) == pytest.approx((2, 2, 2), rel=1e-14)
    one = mttr_limits([math.exp(-1), math.exp(1)], distribution="lognormal", sided="lower")
    assert one.upper == math.inf
    # 90 % one-sided, 1 degree: 3.078
    assert math.log(one.lower) == pytest.approx(1 - 3.078 * math.sqrt(3), rel=1e-3)
    # logs -31.6 and 31.6 have a variance of 2 x 31.6^2: a mean of e^998.6, more than a float holds
    far = mttr_limits([math.exp(-31.6), math.exp(31.6)], distribution="lognormal")
    assert far.point == far.upper == math.inf and far.lower < 1
    # of 26.6 it is e^707.6, which a float holds
    near = mttr_limits([math.exp(-26.6), math.exp(26.6)], distribution="lognormal")
    assert math.log(near.point) == pytest.approx(26.6**2, rel=1e-13)


@pytest.mark.parametrize("estimate, end", [
    (lambda **how: mttr_limits([1, 2, 4], **how), math.inf),
    (lambda **how: mttr_limits([1, 2, 4, 3], distribution="lognormal", **how), math.inf),
    (lambda **how: mtbf_limits(100, 3, **how), math.inf),
    (lambda **how: rate_limits(3, 100, **how), math.inf),
    (lambda **how: success_limits(3, 5, **how), 1)])
def test_the_end_that_is_not_claimed_is_open(estimate, end):
    lower, upper = estimate(sided="lower"), estimate(sided="upper")
    assert 0 < lower.lower < upper.upper < math.inf
    assert upper.lower == 0
    assert lower.upper == end
    assert (lower.sided, upper.sided) == ("lower", "upper")


def test_confidence_that_is_not_named_is_the_usual_one():
    """90 %, but 95 % of a rate."""
    assert [estimate.confidence for estimate in (
        mtbf_limits(9, 1), mttr_limits([1]), success_limits(1, 2), rate_limits(1, 9)
    )] == [0.9, 0.9, 0.9, 0.95]


def test_limits_at_the_ends_of_a_count():
    """None of 5: upper 1 - 0.05^(1/5); one of one: lower 0.05; no event in 10 h: ln 20 / 10."""
    none = success_limits(0, 5, confidence=0.9)
    assert (none.point, none.lower) == (0, 0)
    assert none.upper == pytest.approx(1 - 0.05**0.2, rel=1e-13)
    assert ends(success_limits(1, 1, confidence=0.9)) == (pytest.approx(0.05, rel=1e-13), 1)
    assert success_limits(1, 2).point == 0.5
    quiet = rate_limits(0, 10, confidence=0.9)
    assert (quiet.point, quiet.lower) == (0, 0)
    assert quiet.upper == pytest.approx(math.log(20) / 10, rel=1e-13)
    # one event: the lower limit is that of an exponential time, -ln 0.95 / 10
    assert rate_limits(1, 10, confidence=0.9).lower == pytest.approx(-math.log(0.95) / 10, rel=1e-12)
    # one repair of 2 h: 2 / -ln 0.05 and 2 / -ln 0.95
    repair = mttr_limits([2.0])
    assert repair.point == 2.0
    assert ends(repair) == pytest.approx((2 / math.log(20), -2 / math.log(0.95)), rel=1e-12)
    assert repair.width == pytest.approx(-2 / math.log(0.95) - 2 / math.log(20), rel=1e-12)


def test_claims_that_are_easily_worked_by_hand():
    # without a failure: exp(-T / MTBF) = 1 - 0.9, so T = 60 000 ln 10
    assert observation_needed_h(60_000, 0.9) == pytest.approx(60_000 * math.log(10), rel=1e-13)
    # three good ones at 0.5 show it with 1 - 0.5^3 = 0.875; of 2 with one failure allowed
    # 1 - 0.5^2 - 2 x 0.5^2 = 0.25, of 3 1 - 0.5^3 - 3 x 0.5^3 = 0.5
    assert [trials_needed(0.5, each) for each in (0.875, 0.876)] == [3, 4]
    assert [trials_needed(0.5, each, failures_allowed=1) for each in (0.25, 0.26, 0.5, 0.51)] == [
        2, 3, 3, 4]
    assert trials_needed(0.5, 0.5) == 1 and trials_needed(0.5, 0.51) == 2
    # what lacks less than 1e-12 of itself counts as reached
    assert [trials_needed(0.5, 1 - 0.125 * (1 - each)) for each in (0.7e-12, 1.5e-12)] == [3, 4]
    assert abs(spares_needed(1e14, 0.99) - 1e14) < 3e7
    assert spares_needed(0, 0.99) == 0 and spares_needed(1e-9, 0.5) == 0
    # demand 1: 0 in stock lasts with e^-1 = 37 %, 1 with 74 %, 2 with 92 %, 3 with 98 %
    # the chance itself is enough, to its last digit
    assert spares_needed(3, 1 - running_out_chance(3, 1)) == 1
    assert [spares_needed(1, target) for target in (0.36, 0.37, 0.74, 0.92, 0.98)] == [0, 1, 2, 3, 3]


@pytest.mark.parametrize(("call", "found"), [
    (lambda near: trials_needed(near, 0.5), 1), (lambda near: trials_needed(0.5, near), 1),
    (lambda near: observation_needed_h(1.0, near), 1.5e-12), (lambda near: spares_needed(0.1, near), 0),
])
def test_shares_may_lie_a_billionth_of_a_thousandth_from_none(call, found):
    assert call(1.5e-12) == pytest.approx(found, rel=1e-4)
    with pytest.raises(ValueError, match="must be at least 1e-12 away from 0 and 1, got 5e-13"):
        call(0.5e-12)


@pytest.mark.parametrize("call, words", [
    (lambda: trials_needed(0.9, 0.9, failures_allowed=-1), "failures_allowed must be >= 0, got -1"),
    (lambda: running_out_chance(math.inf, 0), "expected_demand must be >= 0 and finite, got inf"),
    (lambda: running_out_chance(1, -1), "spares must be >= 0, got -1"),
    (lambda: posterior({"a": math.inf}, {"a": 1}), "prior['a'] must be >= 0 and finite, got inf"),
    (lambda: Check.yes_no("x", 1, {"a": -0.1}), "chance_of_yes['a'] must be between 0 and 1"),
    (lambda: Check("x", 1, {"yes": {"a": 1}, "no": {"b": 0}}), "lacks 'a'"),
])
def test_more_errors_name_argument_rule_and_value(call, words):
    with pytest.raises(ValueError) as caught:
        call()
    assert words in str(caught.value)


def test_outcomes_sum_to_one_within_a_billionth():
    assert Check("x", 1, {"yes": {"a": 0.5}, "no": {"a": 0.5 + 0.9e-9}}).minutes == 1
    with pytest.raises(ValueError, match="must sum to 1 under cause 'a'"):
        Check("x", 1, {"yes": {"a": 0.5}, "no": {"a": 0.5 + 1.1e-9}})


def test_checks_of_equal_worth_go_by_name():
    prior, sure = {"a": 1, "b": 1}, {"a": 1.0, "b": 0.0}
    checks = [Check.yes_no(name, 2, sure) for name in ("wire", "lamp", "meter")]
    ranked = rank_checks(prior, checks)
    assert [value.name for value in ranked] == ["lamp", "meter", "wire"]
    # one bit in two minutes
    assert (ranked[0].information_bits, ranked[0].minutes, ranked[0].bits_per_minute) == (1, 2, 0.5)
