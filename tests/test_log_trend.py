"""Trend tests and the gamma prior of a rate: against published values and against SciPy."""

import math
from dataclasses import astuple

import numpy as np
import pytest
from scipy import integrate, stats

from labkit.evidence.log_trend import (
    LogTrend,
    RatePrior,
    laplace_trend,
    power_law_trend,
    rate_prior,
)

# NIST/SEMATECH e-Handbook of Statistical Methods, sec. 8.2.3.4: repairs of one system up to
# 1500 h. The times and the 37.23 are quoted from memory; that they belong together is checked.
REPAIRS_H = (5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478)


def test_power_law_test_of_the_handbook():
    trend = power_law_trend(REPAIRS_H, 1500)
    assert round(trend.statistic, 2) == 37.23 and trend.degrees == 20
    # both tails of chi-square, by SciPy
    assert trend.chance == pytest.approx(2 * stats.chi2.sf(trend.statistic, 20), rel=1e-12)
    assert trend.says(0.05) == "ever slower"


def test_laplace_test_by_hand():
    """The ten times sum to 5683; (5683 - 10 x 750) / (1500 sqrt(10 / 12)) = -1.3269."""
    trend = laplace_trend(REPAIRS_H, 1500)
    assert round(trend.statistic, 4) == -1.3269
    assert trend.chance == pytest.approx(2 * stats.norm.sf(1.326949), rel=1e-5)
    assert trend.says(0.05) == "no trend shown" and math.isnan(trend.growth)
    assert laplace_trend([1500 - one for one in reversed(REPAIRS_H)], 1500).says(0.2) == "ever faster"


def test_five_per_cent_is_the_level_that_none_is_named_for():
    assert [LogTrend(2.0, chance, math.nan).says() for chance in (0.049, 0.05, 0.051)] == [
        "ever faster", "ever faster", "no trend shown"]


@pytest.mark.parametrize(("trend", "words"), [
    (LogTrend(0.5, 0.01, math.nan), "ever faster"), (LogTrend(-0.5, 0.01, math.nan), "ever slower"),
    (LogTrend(9.0, 0.01, 1.5, 4), "ever faster"), (LogTrend(9.0, 0.01, 0.5, 4), "ever slower")])
def test_a_trend_is_told_by_its_sign_or_its_power(trend, words):
    assert trend.says() == words


def test_a_log_that_ends_with_its_last_event():
    """That event is no draw: it is the end (MIL-HDBK-189, failure truncated: 2 n - 2 degrees)."""
    # its growth is nan in both, which equals itself only here
    np.testing.assert_equal(astuple(laplace_trend(REPAIRS_H)),
                            astuple(laplace_trend(REPAIRS_H[:-1], 1478)))
    assert power_law_trend(REPAIRS_H).degrees == 18


def test_three_events_are_enough():
    """Evenly spread they show nothing: of Laplace 0; 2 ln(4^3 / 6), with a power of 2 over the half."""
    assert laplace_trend([1, 2, 3], 4).statistic == laplace_trend([1, 2, 3, 4]).statistic == 0
    half = math.log(64 / 6)
    assert power_law_trend([1, 2, 3], 4).statistic == pytest.approx(2 * half, rel=1e-12)
    assert power_law_trend([1, 2, 3, 4]).growth == pytest.approx(2 / half, rel=1e-12)


@pytest.mark.parametrize("test", [laplace_trend, power_law_trend])
def test_chances_are_uniform_at_a_constant_rate_and_small_at_a_rising_one(test):
    rng = np.random.default_rng(12)
    level, runs = 0.1, 4000
    shown = [
        test(np.sort(rng.uniform(0, 1000, 12)).tolist(), 1000).chance <= level for _ in range(runs)
    ]
    # 4 standard errors of a share of 0.1 in 4000; the normal law of Laplace is that good at 12
    assert abs(np.mean(shown) - level) < 4 * math.sqrt(level * (1 - level) / runs)
    rising = [
        test(np.sort(1000 * rng.random(12) ** (1 / 4)).tolist(), 1000) for _ in range(400)
    ]
    assert np.mean([trend.says(level) == "ever faster" for trend in rising]) > 0.9


def test_power_is_estimated_without_bias():
    rng = np.random.default_rng(3)
    found = [
        power_law_trend(np.sort(1000 * rng.random(10) ** (1 / 2.5)).tolist(), 1000).growth
        for _ in range(4000)
    ]
    assert abs(np.mean(found) - 2.5) < 4 * np.std(found) / math.sqrt(len(found))


# -- the prior ------------------------------------------------------------------------------------


def test_prior_of_the_handbook():
    """NIST/SEMATECH e-Handbook, sec. 8.2.5: 600 h likely, 250 h surely gives 2.863 and 1522.46."""
    prior = rate_prior(600, 250)
    assert round(prior.events, 3) == 2.863
    # The page works on with 2.863 (values from memory): half a unit there moves 1522.46 by 0.3.
    assert prior.exposure_h == pytest.approx(1522.46, abs=0.3)


def test_prior_is_for_what_stands_behind_a_hundredth_to_a_hundred_million_events():
    """By SciPy at the few; at the many by the normal law: ln(ratio) = 1.644854 / sqrt(events)."""
    def ratio(events):
        if events > 1:
            return math.exp(1.644854 / math.sqrt(events))
        return stats.gamma.ppf(0.95, events) / stats.gamma.ppf(0.5, events)

    for events in (0.0101, 0.99e8):
        assert rate_prior(ratio(events), 1).events == pytest.approx(events, rel=1e-3)
    with pytest.raises(ValueError, match="must lie nearer to low_mtbf_h"):
        rate_prior(ratio(0.0099), 1)
    with pytest.raises(ValueError, match="must lie further above low_mtbf_h"):
        rate_prior(ratio(1.01e8), 1)


def test_test_time_of_the_handbook():
    """Sec. 8.3.1.5 (from memory): with two failures in 1756 h, 500 h is shown at 80 %."""
    limits = RatePrior(2.863, 1522.46).with_log(2, 1756).mtbf_limits(confidence=0.8, sided="lower")
    assert limits.lower == pytest.approx(500, abs=0.05)


def test_limits_are_quantiles_of_the_gamma_distribution():
    prior = RatePrior(0.7, 3000.0)
    law = stats.gamma(0.7, scale=1 / 3000)
    limits = prior.rate_limits(confidence=0.9)
    assert (limits.lower, limits.upper) == pytest.approx(law.interval(0.9), rel=1e-12)
    assert limits.point == pytest.approx(law.mean(), rel=1e-14)
    upper = prior.mtbf_limits(confidence=0.8, sided="upper")
    assert (upper.lower, upper.upper) == pytest.approx((0.0, 1 / law.ppf(0.2)), rel=1e-12)


def test_posterior_is_bayes_rule():
    """Prior times the Poisson chance of the log, integrated by SciPy."""
    prior, failures, hours = RatePrior(2.0, 500.0), 3, 900.0

    def weight(rate):
        return stats.gamma.pdf(rate, 2.0, scale=1 / 500) * stats.poisson.pmf(failures, rate * hours)

    whole, _ = integrate.quad(weight, 0, 0.1, epsabs=0)
    mean, _ = integrate.quad(lambda rate: rate * weight(rate), 0, 0.1, epsabs=0)
    found = prior.with_log(failures, hours).rate_limits()
    assert found.point == pytest.approx(mean / whole, rel=1e-9)


@pytest.mark.parametrize(("call", "error", "message"), [
    (lambda: laplace_trend([3, 2, 5], 9), ValueError, "times_h must be in order of time"),
    (lambda: laplace_trend([1, 2, 5], 4), ValueError, "end_h must be >= the last .* 5.0, got 4"),
    (lambda: laplace_trend([1, 2, 3]), ValueError, "at least 3 events before the end, got 2"),
    (lambda: laplace_trend([]), ValueError, "at least 3 events before the end, got 0"),
    (lambda: power_law_trend([0, 2, 3], 9), ValueError, "every value of times_h must be > 0"),
    (lambda: power_law_trend(["1", 2, 3], 9), TypeError, "times_h must be a number, got '1'"),
    (lambda: laplace_trend(REPAIRS_H, 1500).says(1.0), ValueError, "level must be > 0 and < 1"),
    (lambda: RatePrior(0, 5), ValueError, "events must be > 0 and finite, got 0"),
    (lambda: RatePrior(1, 5).with_log(-1, 5), ValueError, "failures must be >= 0"),
    (lambda: rate_prior(200, 250), ValueError, "likely_mtbf_h must be > low_mtbf_h, 250, got 200"),
    (lambda: rate_prior(250, 250), ValueError, "likely_mtbf_h must be > low_mtbf_h, 250, got 250"),
    (lambda: rate_prior(600, 250, surely=0.4), ValueError, "surely must be > 0.5 and < 1"),
    (lambda: rate_prior(1.00001, 1), ValueError, "must lie further above low_mtbf_h"),
    (lambda: RatePrior(1, 5).mtbf_limits(sided="both"), ValueError, "sided must be one of"),
])
def test_refusals(call, error, message):
    with pytest.raises(error, match=message):
        call()
