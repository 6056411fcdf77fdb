"""Latent faults and the proof tests that find them: exact models, best intervals.

The exact periodic model stands beside the usual rate 2/T of labkit.markov.pair. The rate gives too
few
outages and too little down time: for an otherwise ideal pair whose standby faults are all latent
(MTBF 60 000 h, MTTR 4 h) the exact values are 4.2 % higher with a test a year and 7.3 % higher
with one in two years. Two errors of about rate x interval / 6 each add up: a fixed wait is less
often ended early by the active's failure than a memoryless one of the same mean; and latent faults
begin more often early in the interval, while the standby is surely good, so that they wait longer.
"""

import functools
import math

import numpy as np

from labkit.arguments import amount, fraction, positive
from labkit.markov.pair import NEVER_FOUND, UNNOTICED, redundant_pair, with_missed
from labkit.markov.periodic import PeriodicModel, Phase

# An overhaul after more of them would never come, and each is a phase of the model.
MOST_TESTS = 10_000


def pair_with_tests(
    mtbf_h: float,
    mttr_h: float,
    *,
    common_cause: float = 0.0,
    coverage: float = 1.0,
    diagnosed: float = 1.0,
    test_interval_h: float = 4380.0,
    test_h: float = 0.0,
    missed: float = 0.0,
    overhaul_interval_h: float | None = None,
    pair_out: bool = False,
    restart_h: float = 0.5,
    crews: int = 1,
    standby_ratio: float = 1.0,
) -> PeriodicModel:
    """Build the pair of `redundant_pair` with proof tests of the standby at exact intervals.

    Parameters
    ----------
    mtbf_h, mttr_h, common_cause, coverage, diagnosed, restart_h, crews, standby_ratio
        As for `redundant_pair`; times in hours.
    test_interval_h : float
        From the begin of one test to the begin of the next in hours, > `test_h` and finite.
    test_h : float
        How long a test takes in hours, >= 0.
    missed : float
        Share of the latent faults that no test finds, 0 to 1; they wait for the overhaul.
    overhaul_interval_h : float, optional
        Hours between overhauls, a whole number of test intervals; an overhaul takes the place of
        a test and finds everything. Needed where `missed` is above 0.
    pair_out : bool
        Whether the whole pair, and with it the plant, stands still for the test (planned
        standstill), or only the standby is out.

    Returns
    -------
    PeriodicModel
        The states of `redundant_pair`, and "on test" and "on test, standby failed" if a test
        takes time.

    Raises
    ------
    TypeError
        If an argument is no number.
    ValueError
        If an argument is out of its range.

    Notes
    -----
    Between tests the rates are those of `redundant_pair` without the rate 2/T. At the begin of a
    test "both good" becomes "on test" and "standby failed unnoticed" becomes "on test, standby
    failed"; a pair that is under repair is not tested. With only the standby out, a failure of
    the active leads to "not taken over" (the standby is good, but not at hand). With the pair
    out, a failure of either that shows ends the test in "one failed". At the end a latent fault is
    found, and is then "one failed". The share `missed` of the latent faults is a state of its own,
    "standby failed, no test finds it", until the overhaul: a fault that one test cannot see the
    next one cannot see either, so that nothing is drawn anew at each test.

    References
    ----------
    A. Birolini, Reliability Engineering, 5th ed. 2007, section 6.8 (periodic tests); the
    combination is common practice.

    Examples
    --------
    >>> exact = pair_with_tests(60_000, 4, diagnosed=0.0, test_interval_h=8760)
    >>> usual = redundant_pair(60_000, 4, diagnosed=0.0, test_interval_h=8760)
    >>> print(f"{exact.unavailability:.3e} {usual.unavailability:.3e}")
    4.433e-06 4.254e-06
    """
    interval, test_h = _interval(test_interval_h, test_h)
    missed = fraction("missed", missed)
    tests = tests_to_overhaul(interval, missed, overhaul_interval_h)
    pair = redundant_pair(
        mtbf_h,
        mttr_h,
        common_cause=common_cause,
        coverage=coverage,
        diagnosed=diagnosed,
        test_interval_h=math.inf,
        restart_h=restart_h,
        crews=crews,
        standby_ratio=standby_ratio,
        missed=missed,
    )
    free, up = pair.rates, pair.up
    if test_h == 0:
        return PeriodicModel(
            _cycle([Phase(free, interval, {UNNOTICED: "one failed"})], tests, NEVER_FOUND), up,
            start="both good")

    failure = 1 / float(mtbf_h)
    alone = (1 - float(common_cause)) * failure
    standby = float(standby_ratio) * alone
    diagnosed = float(diagnosed)
    lost, seen = ("one failed", alone) if pair_out else ("not taken over", 0.0)
    during = dict(free) | {
        ("on test", "one failed"): seen + standby * diagnosed,
        ("on test", ON_TEST_FAILED): standby * (1 - diagnosed),
        ("on test", "both failed"): float(common_cause) * failure,
        (ON_TEST_FAILED, "both failed"): failure,
    }
    if not pair_out:
        during["on test", lost] = alone
    during = with_missed(during, ON_TEST_FAILED, ON_TEST_NEVER, missed)
    begin = {"both good": "on test", UNNOTICED: ON_TEST_FAILED}
    end = {"on test": "both good", ON_TEST_FAILED: "one failed"}
    on_test = ["on test", ON_TEST_FAILED]
    if missed:
        begin[NEVER_FOUND], end[ON_TEST_NEVER] = ON_TEST_NEVER, NEVER_FOUND
        on_test.append(ON_TEST_NEVER)
    return PeriodicModel(
        _cycle([Phase(free, interval - test_h, begin), Phase(during, test_h, end)], tests,
               ON_TEST_NEVER),
        up if pair_out else [*up, *on_test],
        planned=on_test if pair_out else (),
        start="both good",
    )


ON_TEST_FAILED, ON_TEST_NEVER = "on test, standby failed", "on test, no test finds it"


def _cycle(phases, tests, never):
    """Repeat the phases up to the overhaul, which finds what no test does."""
    *before, last = phases
    overhaul = Phase(last.rates, last.hours, dict(last.then) | (
        {never: "one failed"} if any(never in way for way in last.rates) else {}))
    return phases * (tests - 1) + [*before, overhaul]


def tests_to_overhaul(interval, missed, overhaul_interval_h):
    """Return how many tests there are to an overhaul, itself one of them."""
    if overhaul_interval_h is None:
        if missed > 0:
            raise ValueError("overhaul_interval_h must be given where missed is > 0, got None")
        return 1
    overhaul = positive("overhaul_interval_h", overhaul_interval_h)
    tests = round(overhaul / interval)
    if tests > MOST_TESTS or not math.isclose(tests * interval, overhaul, rel_tol=1e-9):
        raise ValueError(f"overhaul_interval_h must be test_interval_h = {interval}, times a whole "
                         f"number from 1 to {MOST_TESTS}, got {overhaul}")
    return tests if missed else 1


def _interval(test_interval_h, test_h):
    """Check an interval and the time of a test that lies in it."""
    interval, test_h = positive("test_interval_h", test_interval_h), amount("test_h", test_h)
    if not test_h < interval:
        raise ValueError(f"test_h must be < test_interval_h = {interval}, got {test_h}")
    return interval, test_h


def best_pair_test_interval_h(
    mtbf_h: float,
    mttr_h: float,
    *,
    test_h: float,
    common_cause: float = 0.0,
    coverage: float = 1.0,
    diagnosed: float = 1.0,
    pair_out: bool = False,
    restart_h: float = 0.5,
    crews: int = 1,
    standby_ratio: float = 1.0,
) -> float:
    """Find the test interval of the standby at which the pair is down least.

    Parameters
    ----------
    mtbf_h, mttr_h, common_cause, coverage, diagnosed, restart_h, crews, standby_ratio
        As for `redundant_pair`; times in hours.
    test_h : float
        How long a test takes in hours, > 0.
    pair_out
        As for `pair_with_tests`.

    Returns
    -------
    float
        Hours between the begins of tests; infinite if tests only cost availability.

    Raises
    ------
    TypeError, ValueError
        As `pair_with_tests`, and ValueError if `test_h` is not > 0.

    Notes
    -----
    Minimum of the exact unavailability of `pair_with_tests`, between 2 x `test_h` and
    100 x `mtbf_h`, right to about five digits (the minimum is flat).

    Examples
    --------
    >>> best = best_pair_test_interval_h(60_000, 4, test_h=1, coverage=0.97, diagnosed=0.9)
    >>> print(f"{best:.0f} h")
    383 h
    """
    from scipy.optimize import minimize_scalar

    mtbf_h, test_h = positive("mtbf_h", mtbf_h), positive("test_h", test_h)
    if not test_h < 50 * mtbf_h:
        raise ValueError(f"test_h must be < 50 x mtbf_h = {50 * mtbf_h}, got {test_h}")

    tested = functools.partial(
        pair_with_tests, mtbf_h, mttr_h, test_h=test_h, common_cause=common_cause,
        coverage=coverage, diagnosed=diagnosed, pair_out=pair_out, restart_h=restart_h,
        crews=crews, standby_ratio=standby_ratio)

    def unavailability(log_interval):
        return tested(test_interval_h=math.exp(log_interval)).unavailability

    grid = np.linspace(math.log(2 * test_h), math.log(100 * mtbf_h), 30)
    values = [unavailability(x) for x in grid]
    best = int(np.argmin(values))
    if best == len(grid) - 1:
        return math.inf
    around = (grid[max(best - 1, 0)], grid[best + 1])
    found = minimize_scalar(
        unavailability, bounds=around, method="bounded", options={"xatol": 1e-7}
    )
    return math.exp(float(found.x))


def best_test_interval_h(mtbf_h: float, test_h: float, *, exact: bool = True) -> float:
    """Find the test interval at which one unit with latent faults is unavailable least.

    Parameters
    ----------
    mtbf_h : float
        Mean operating time between (latent) failures in hours, > 0 and finite.
    test_h : float
        How long the unit is out of service for a test in hours, > 0 and < `mtbf_h`.
    exact : bool
        Whether to take the exact mean of the exponential law or its first term.

    Returns
    -------
    float
        Hours. With the first term only: sqrt(2 x test_h x mtbf_h).

    Raises
    ------
    TypeError
        If an argument is no number.
    ValueError
        If an argument is out of its range; from `test_h` = `mtbf_h` on a test costs more than
        it can ever find, and there is no best interval.

    Notes
    -----
    The unit is down 1 - (1 - exp(-x))/x + test_h/T of the time. Its least solves
    1 - (1 + x) exp(-x) = test_h/mtbf_h for x = T/mtbf_h: a quantile of the gamma distribution of
    shape 2.

    References
    ----------
    Formula: common handbook result.

    Examples
    --------
    >>> print(f"{best_test_interval_h(100_000, 2):.2f} h")
    633.79 h
    >>> print(f"{best_test_interval_h(100_000, 2, exact=False):.2f} h")
    632.46 h
    """
    mtbf_h, test_h = positive("mtbf_h", mtbf_h), positive("test_h", test_h)
    if not test_h < mtbf_h:
        raise ValueError(f"test_h must be < mtbf_h = {mtbf_h}, got {test_h}")
    if not exact:
        return math.sqrt(2 * test_h * mtbf_h)
    from scipy.special import gammaincinv

    return float(mtbf_h * gammaincinv(2, test_h / mtbf_h))
