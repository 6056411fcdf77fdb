"""Latent faults and proof tests: exact periodic models, best intervals, IEC 61508-6 formulas."""

import math
import random

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from labkit.markov import proof_tests
from labkit.markov.demand import (
    pfd_1oo1,
    pfd_1oo2,
    pfd_2oo2,
    pfd_2oo3,
)
from labkit.markov.pair import redundant_pair
from labkit.markov.periodic import PeriodicModel, Phase
from labkit.markov.proof_tests import (
    best_pair_test_interval_h,
    best_test_interval_h,
    pair_with_tests,
)
from tests import references

# A few dozen roundings.
EXACT = 1e-13


# -- one latent fault ---------------------------------------------------------------------------


def latent_unit(failure, interval, missed=0.0):
    found = {"works": 1 - missed, "failed": missed}
    return PeriodicModel(
        [Phase({("works", "failed"): failure}, interval, then={"failed": found})], up=["works"]
    )


def test_l1_to_l4():
    references.agrees("L1", best_test_interval_h(1e5, 2, exact=False))
    shortest = best_test_interval_h(1e5, 2, exact=False)
    references.agrees("L2", shortest / 2e5 + 2 / shortest)
    references.agrees_closely("L3", latent_unit(1e-5, 8760).unavailability)
    references.agrees("L4", best_test_interval_h(1e5, 2))
    references.agrees_closely("L4", best_test_interval_h(1e5, 2))


@pytest.mark.parametrize(("trap", "x"), [("T11", 0.01), ("T13", 0.0876), ("T15", 0.5)])
def test_half_the_interval_is_high(trap, x):
    references.off_by(trap, x / 2, latent_unit(1.0, x).unavailability)


def latent_exactly(x, test_h=0.0):
    """The mean of 1 - exp(-t) from 0 to x, and the time of the test."""
    with mpmath.workdps(60):
        x = mpmath.mpf(x)
        return float(1 + mpmath.expm1(-x) / x + test_h / x)


@pytest.mark.parametrize("x", [1e-12, 1e-3, 0.3, 0.999, 1.001, 5.0, 40.0])
def test_one_latent_unit_against_mpmath(x):
    found = latent_unit(1.0, x).unavailability
    assert found == pytest.approx(latent_exactly(x), rel=EXACT, abs=0)


@settings(max_examples=30, deadline=None)
@given(st.floats(1e-6, 0.9))
def test_best_interval_is_a_minimum(test_h):
    best = best_test_interval_h(1.0, test_h)
    assert test_h < best
    for factor in (0.9, 1.1):
        assert latent_exactly(best, test_h) <= latent_exactly(factor * best, test_h)


def test_missed_faults_wait_for_the_next_test():
    """With a chance m of missing, the share failed right after a test is known in closed form."""
    failure, interval, m = 1e-4, 1000.0, 0.3
    stays = math.exp(-failure * interval)
    failed_after = m * (1 - stays) / (1 - m * stays)
    model = latent_unit(failure, interval, missed=m)
    assert model.after_cycle()[1] == pytest.approx(failed_after, rel=EXACT, abs=0)
    mean_up = (1 - failed_after) * -math.expm1(-failure * interval) / (failure * interval)
    assert model.availability == pytest.approx(mean_up, rel=EXACT, abs=0)
    assert model.failures_per_h == pytest.approx(failure * mean_up, rel=EXACT, abs=0)
    # Tests never find anything: failed for ever.
    assert latent_unit(failure, interval, missed=1.0).unavailability == 1.0


def test_sawtooth():
    model = latent_unit(1e-4, 1000.0)
    times = np.array([0.0, 250.0, 1000.0])
    exact = -np.expm1(-1e-4 * times)
    assert model.unavailability_at(times) == pytest.approx(exact, rel=EXACT, abs=0)
    assert model.unavailability_at(250) == pytest.approx(exact[1], rel=EXACT, abs=0)
    with pytest.raises(ValueError, match="t_h must be between 0 and 1000, got 1001"):
        model.unavailability_at(1001)


# -- two latent units ---------------------------------------------------------------------------


def latent_pair(failure, interval):
    rates = {(2, 1): 2 * failure, (1, 0): failure}
    return PeriodicModel([Phase(rates, interval, then={1: 2, 0: 2})], up=[2, 1])


@pytest.mark.parametrize(("trap", "x"), [("T12", 0.01), ("T14", 0.0876), ("T16", 0.5)])
def test_a_third_of_the_square_is_high(trap, x):
    references.off_by(trap, x**2 / 3, latent_pair(1.0, x).unavailability)


def test_product_of_averages_is_low_even_in_the_limit():
    references.off_by("T17", (0.01 / 2) ** 2, 0.01**2 / 3)
    x = 1e-6
    ratio = latent_exactly(x) ** 2 / latent_pair(1.0, x).unavailability
    assert ratio == pytest.approx(0.75, rel=1e-6, abs=0)


@pytest.mark.parametrize(("trap", "failure"), [("T18", 0.5e-6), ("T19", 0.5e-5), ("T20", 2.5e-5)])
def test_standard_formula_of_1oo2_is_high(trap, failure):
    usual = pfd_1oo2(failure, test_interval_h=8760, mttr_h=0)
    references.off_by(trap, usual, latent_pair(failure, 8760.0).unavailability)


# -- the pair with a tested standby -------------------------------------------------------------

FLAWS = {"common_cause": 0.05, "coverage": 0.97}


def test_nothing_latent_is_the_ordinary_pair():
    """Without latent faults the test finds nothing, and the chain is that of the pair."""
    exact = pair_with_tests(60_000, 4, **FLAWS)
    usual = redundant_pair(60_000, 4, **FLAWS)
    assert exact.unavailability == pytest.approx(usual.unavailability, rel=EXACT, abs=0)
    assert exact.failures_per_h == pytest.approx(usual.failures_per_h, rel=EXACT, abs=0)
    assert exact.mean_time_to_first_failure_h() == pytest.approx(
        usual.mean_time_to_first_failure_h(), rel=EXACT, abs=0
    )
    assert exact.steady_state() == pytest.approx(usual.steady_state(), rel=EXACT, abs=1e-300)


@pytest.mark.parametrize(
    ("diagnosed", "interval", "percent"),
    # Calculated here and confirmed by the simulation below; no published value is known to us.
    [(0.0, 4380, 2.25), (0.0, 8760, 4.20), (0.0, 17_520, 7.32), (0.9, 4380, 1.24)],
)
def test_how_far_the_memoryless_test_is_off(diagnosed, interval, percent):
    """The rate 2/T gives too few outages; the error is about (rate x interval) / 3."""
    options = {"diagnosed": diagnosed, "test_interval_h": interval}
    exact = pair_with_tests(60_000, 4, **options)
    usual = redundant_pair(60_000, 4, **options)
    for name in ("unavailability", "failures_per_h"):
        found = 100 * (getattr(exact, name) / getattr(usual, name) - 1)
        assert found == pytest.approx(percent, abs=0.005)
    first = exact.mean_time_to_first_failure_h() / usual.mean_time_to_first_failure_h()
    assert -1.03 * percent < 100 * (first - 1) < -0.9 * percent


def outages_per_h(mtbf_h, mttr_h, interval, outages, seed):
    """Live through many outages of a pair with a latent standby: plain, one event at a time."""
    draw = random.Random(seed).expovariate
    coin = random.Random(seed + 1).random
    rate, now, state, count = 1 / mtbf_h, 0.0, "good", 0
    while count < outages:
        if state == "good":
            now += draw(2 * rate)
            state = "repair" if coin() < 0.5 else "latent"
        elif state == "repair":
            repaired, failed = draw(1 / mttr_h), draw(rate)
            now += min(repaired, failed)
            state = "good" if repaired < failed else "outage"
        elif state == "latent":
            test = (math.floor(now / interval) + 1) * interval
            failed = now + draw(rate)
            state, now = ("repair", test) if test < failed else ("outage", failed)
        else:
            count += 1
            now += draw(1 / mttr_h)
            state = "repair"
    return count / now


def test_periodic_test_against_a_simulation():
    """7.3 % above the memoryless model, 0 % above the exact one, within 4 standard errors."""
    interval, count = 17_520.0, 20_000
    found = outages_per_h(60_000, 4, interval, count, seed=3)
    exact = pair_with_tests(60_000, 4, diagnosed=0.0, test_interval_h=interval).failures_per_h
    usual = redundant_pair(60_000, 4, diagnosed=0.0, test_interval_h=interval).failures_per_h
    bound = 4 / math.sqrt(count)
    assert abs(found / exact - 1) < bound
    assert found / usual - 1 > bound


def exact_pair(mtbf_h, mttr_h, interval, digits=50):
    """Give U of the ideal pair with a wholly latent standby by mpmath, cycle by cycle."""
    with mpmath.workdps(digits):
        a, b = 1 / mpmath.mpf(mtbf_h), 1 / mpmath.mpf(mttr_h)
        # both good, one failed, latent, both failed; and the integral of the last below them.
        q = mpmath.matrix([[-2 * a, a, a, 0], [b, -(a + b), 0, a], [0, 0, -a, a], [0, b, 0, -b]])
        big = mpmath.zeros(5, 5)
        for i in range(4):
            for j in range(4):
                big[i, j] = q[i, j]
        big[3, 4] = 1
        course = mpmath.expm(big * interval, method="taylor")
        jump = mpmath.eye(4)
        jump[2, 2], jump[2, 1] = 0, 1
        cycle = course[:4, :4] * jump
        balance = (cycle - mpmath.eye(4)).T
        for j in range(4):
            balance[3, j] = 1
        after = mpmath.lu_solve(balance, mpmath.matrix([0, 0, 0, 1]))
        return mpmath.fsum(after[i] * course[i, 4] for i in range(4)) / interval


@pytest.mark.parametrize("interval", [100, 8760, 87_600])
def test_periodic_test_against_mpmath(interval):
    found = pair_with_tests(60_000, 4, diagnosed=0.0, test_interval_h=interval).unavailability
    assert found == pytest.approx(float(exact_pair(60_000, 4, interval)), rel=EXACT, abs=0)


def test_test_that_takes_time():
    """Limits: no time is the simple model; the standby out costs risk, the pair out costs time."""
    options = {"diagnosed": 0.9, "test_interval_h": 4380.0, **FLAWS}
    simple = pair_with_tests(60_000, 4, **options)
    short = pair_with_tests(60_000, 4, test_h=1e-9, **options)
    assert short.unavailability == pytest.approx(simple.unavailability, rel=1e-9, abs=0)
    assert short.mean_time_to_first_failure_h() == pytest.approx(
        simple.mean_time_to_first_failure_h(), rel=1e-9, abs=0
    )
    long = pair_with_tests(60_000, 4, test_h=8, **options)
    # For 8 of 4380 h every failure of the active, not 1 in 33, needs a start by hand.
    more = long.failures_per_h - simple.failures_per_h
    assert more == pytest.approx(8 / 4380 * 0.95 * 0.97 / 60_000, rel=0.02, abs=0)
    out = pair_with_tests(60_000, 4, test_h=8, pair_out=True, **options)
    assert out.planned_unavailability == pytest.approx(8 / 4380, rel=2e-3, abs=0)
    assert out.failures_per_h == pytest.approx(simple.failures_per_h, rel=5e-3, abs=0)
    assert out.unavailability + out.availability == pytest.approx(1, rel=EXACT, abs=0)
    assert out.downtime_h_per_year == 8760 * out.unavailability
    assert out.states[-2:] == ("on test", "on test, standby failed")


@pytest.mark.parametrize("pair_out", [False, True])
def test_rates_during_a_test_as_written(pair_out):
    """a = 0.01 and its share alone 0.009; of the standby half of that, three in four seen at once."""
    model = pair_with_tests(100, 4, common_cause=0.1, coverage=0.9, diagnosed=0.75, standby_ratio=0.5,
                            test_interval_h=50, test_h=2, pair_out=pair_out, missed=0.2,
                            overhaul_interval_h=100)
    free, during, *again = model._phases
    assert [phase.hours for phase in model._phases] == [48, 2, 48, 2] and again[0] == free
    hidden, never = "on test, standby failed", "on test, no test finds it"
    latent = 0.5 * 0.009 * 0.25
    lost = {("on test", "not taken over"): 0.009} if not pair_out else {}
    seen = 0.5 * 0.009 * 0.75 + (0.009 if pair_out else 0)
    assert during.rates == pytest.approx(dict(free.rates) | lost | {
        ("on test", "one failed"): seen, ("on test", "both failed"): 0.1 * 0.01,
        ("on test", hidden): 0.8 * latent, ("on test", never): 0.2 * latent,
        (hidden, "both failed"): 0.01, (never, "both failed"): 0.01}, rel=1e-14)
    assert free.then == {"both good": "on test", "standby failed unnoticed": hidden,
                         "standby failed, no test finds it": never}
    assert during.then == {"on test": "both good", hidden: "one failed",
                           never: "standby failed, no test finds it"}
    assert again[1].then == during.then | {never: "one failed"}


def chain_with_overhaul(missed, tests, interval):
    """Give U of the ideal pair with a wholly latent standby, worked here with scipy's expm.

    States: both good, one failed, latent, latent for every test, both failed. One cycle: intervals
    that end with a test, the last with an overhaul.
    """
    a, b = 1 / 60_000, 1 / 4
    q = np.array([[-2 * a, a, a * (1 - missed), a * missed, 0], [b, -(a + b), 0, 0, a],
                  [0, 0, -a, 0, a], [0, 0, 0, -a, a], [0, b, 0, 0, -b]])
    course = expm(q * interval)
    big = np.zeros((6, 6))
    big[:5, :5], big[4, 5] = q, 1
    down = expm(big * interval)[:5, 5]
    test, overhaul = np.eye(5), np.eye(5)
    test[2] = overhaul[2] = overhaul[3] = [0, 1, 0, 0, 0]
    steps = [course @ test] * (tests - 1) + [course @ overhaul]
    cycle = np.linalg.multi_dot([*steps, np.eye(5)])
    values, vectors = np.linalg.eig(cycle.T)
    start = np.real(vectors[:, np.argmax(np.real(values))])
    start, total = start / start.sum(), 0.0
    for step in steps:
        total, start = total + start @ down, start @ step
    return total / (tests * interval)


@pytest.mark.parametrize("missed, tests", [(0.1, 10), (0.5, 4), (1.0, 3), (0.3, 1)])
def test_what_no_test_finds_waits_for_the_overhaul(missed, tests):
    options = {"diagnosed": 0.0, "test_interval_h": 8760.0, "overhaul_interval_h": tests * 8760.0}
    model = pair_with_tests(60_000, 4, missed=missed, **options)
    # expm and eig keep about ten digits of numbers that lie eight decades apart.
    assert model.unavailability == pytest.approx(
        chain_with_overhaul(missed, tests, 8760.0), rel=1e-7, abs=0)
    short = pair_with_tests(60_000, 4, missed=missed, test_h=1e-9, **options)
    assert short.unavailability == pytest.approx(model.unavailability, rel=1e-8, abs=0)


def test_one_in_ten_that_no_test_finds():
    """10 % never found until an overhaul in year 10: dead for 0.0164 of the time, and not 0.0106.

    By hand to the first term, with x = 8760 / 500 000: 0.9 x / 2 + 0.1 x 10 x / 2 = 0.0166; drawn
    anew at each test it would be x / 2 + 0.1 / 0.9 x = 0.0107. The standby that is dead, with an
    active unit that hardly ever fails: it fails 100 000 times less often.
    """
    model = pair_with_tests(500_000, 1e-6, diagnosed=0.0, test_interval_h=8760, missed=0.1,
                            overhaul_interval_h=87_600)
    share = dict(zip(model.states, model.steady_state(), strict=True))
    dead = share["standby failed unnoticed"] + share["standby failed, no test finds it"]
    first = 0.95 * 8760 / 500_000
    # The active unit's failure ends a latent fault, some 2 years into a wait of up to ten.
    assert dead == pytest.approx(first, rel=0.12, abs=0)
    assert dead > 1.4 * (0.5 + 0.1 / 0.9) * 8760 / 500_000


def test_an_overhaul_is_one_of_at_most_ten_thousand_tests():
    assert proof_tests.tests_to_overhaul(2.0, 0.1, 20_000.0) == 10_000
    assert proof_tests.tests_to_overhaul(2.0, 0.1, 20 * (1 + 0.9e-9)) == 10
    for overhaul_h in (20_002.0, 20 * (1 + 1.1e-9), 0.5, 1.5):
        with pytest.raises(ValueError, match="times a whole number from 1 to 10000"):
            proof_tests.tests_to_overhaul(2.0, 0.1, overhaul_h)


def test_best_interval_of_the_pair():
    options = {"coverage": 0.97, "diagnosed": 0.9}
    best = best_pair_test_interval_h(60_000, 4, test_h=1, **options)
    # By hand to first order: risk of a test, 1 h x rate x 0.5 h down, against (1-DC) rate T/2 x rate x 4 h down.
    by_hand = math.sqrt(0.97 * 0.5 * 60_000 / (0.1 / 2 * 4))
    assert best == pytest.approx(by_hand, rel=0.02, abs=0)

    def u(interval):
        return pair_with_tests(
            60_000, 4, test_h=1, test_interval_h=interval, **options
        ).unavailability

    assert u(best) < u(0.8 * best) and u(best) < u(1.25 * best)
    assert best_pair_test_interval_h(60_000, 4, test_h=1) == math.inf
    # nowhere near the best is it less, on whichever side of a first guess that lies
    for test_h in (0.5, 0.7, 1.4):
        found = best_pair_test_interval_h(60_000, 4, test_h=test_h, **options)
        least, sooner, later = (pair_with_tests(
            60_000, 4, test_h=test_h, test_interval_h=found * factor, **options).unavailability
            for factor in (1, 0.98, 1.02))
        assert least < sooner and least < later
    # the oftener the better: it is sought from twice the time of a test on, up to 100 x mtbf_h
    often = best_pair_test_interval_h(100, 4, test_h=60, diagnosed=0.0)
    assert often == pytest.approx(120, rel=1e-6)
    assert best_pair_test_interval_h(100, 1, test_h=4999, diagnosed=0.0, pair_out=True) == math.inf


@settings(max_examples=20, deadline=None)
@given(
    st.floats(0.0, 1.0), st.floats(0.5, 1.0), st.floats(0.0, 1.0), st.floats(10, 50_000),
    st.floats(0.0, 5.0), st.floats(0.0, 1.0), st.booleans(),
)  # fmt: skip
def test_tested_pair_is_sane(beta, coverage, diagnosed, interval, test_h, missed, pair_out):
    model = pair_with_tests(
        60_000, 4, common_cause=beta, coverage=coverage, diagnosed=diagnosed,
        test_interval_h=interval, test_h=test_h, missed=missed, pair_out=pair_out,
        overhaul_interval_h=3 * interval,
    )  # fmt: skip
    p = model.steady_state()
    assert np.all(p >= 0) and p.sum() == pytest.approx(1, rel=EXACT, abs=0)
    assert 0 <= model.planned_unavailability <= model.unavailability <= 1 + EXACT
    assert model.failures_per_h > 0
    assert model.mean_time_to_first_failure_h() > 0


def test_failure_that_never_comes():
    rates = {("a", "b"): 1.0, ("b", "a"): 1.0, ("a", "c"): 0.0}
    model = PeriodicModel([Phase(rates, 5.0)], up=["a", "b"])
    assert model.mean_time_to_first_failure_h() == math.inf
    assert (model.failures_per_h, model.unavailability) == (0.0, 0.0)
    assert PeriodicModel([Phase(rates, 5.0)], up=[]).mean_time_to_first_failure_h() == 0.0


# -- failure on demand: the tables of IEC 61508-6 stand in test_references.py ---------------------


def test_2oo2_is_twice_1oo1():
    options = {"test_interval_h": 8760, "diagnosed": 0.6, "mttr_h": 24, "mrt_h": 8}
    assert pfd_2oo2(1e-6, **options) == 2 * pfd_1oo1(1e-6, **options)
    by_hand = 0.4e-6 * (4380 + 8) + 0.6e-6 * 24
    assert pfd_1oo1(1e-6, **options) == pytest.approx(by_hand, rel=1e-14, abs=0)


def test_formula_of_1oo1_is_the_first_term():
    """Against the exact mean, for a repair that takes no time."""
    exact = latent_exactly(8760e-6)
    usual = pfd_1oo1(1e-6, test_interval_h=8760, mttr_h=0)
    assert usual / exact - 1 == pytest.approx(8760e-6 / 3, rel=0.01, abs=0)


# -- refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        ({"test_interval_h": math.inf}, ValueError, "test_interval_h must be > 0 and finite"),
        ({"test_h": 4380.0}, ValueError, "test_h must be < test_interval_h = 4380.0, got 4380.0"),
        ({"test_h": -1}, ValueError, "test_h must be >= 0 and finite, got -1"),
        ({"missed": 1.5}, ValueError, "missed must be between 0 and 1, got 1.5"),
        ({"missed": "no"}, TypeError, "missed must be a number, got 'no'"),
        ({"missed": 0.1}, ValueError, "overhaul_interval_h must be given where missed is > 0"),
        ({"missed": 0.1, "overhaul_interval_h": 5000.0}, ValueError, "must be test_interval_h = 4380.0, times a whole number from 1 to 10000, got 5000.0"),
        ({"coverage": 97}, ValueError, "coverage must be between 0 and 1, got 97"),
        ({"crews": 3}, ValueError, "crews must be 1 to 2, got 3"),
    ],
)
def test_refused_by_the_tested_pair(arguments, error, message):
    with pytest.raises(error, match=message):
        pair_with_tests(60_000, 4, **arguments)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: best_test_interval_h(100, 100), "test_h must be < mtbf_h = 100.0, got 100"),
        (lambda: best_test_interval_h(-1, 1), "mtbf_h must be > 0 and finite, got -1"),
        (lambda: best_pair_test_interval_h(9, 1, test_h=0), "test_h must be > 0 and finite"),
        (lambda: best_pair_test_interval_h(100, 1, test_h=5000),
         "test_h must be < 50 x mtbf_h = 5000.0, got 5000"),
        (lambda: pfd_1oo1(-1e-6, test_interval_h=1), "failure_rate_per_h must be >= 0 and finite"),
        (lambda: pfd_1oo1(1e-6, test_interval_h=0), "test_interval_h must be > 0 and finite"),
        (lambda: pfd_1oo1(1e-6, test_interval_h=1, diagnosed=60), "diagnosed must be between"),
        (lambda: pfd_1oo2(1e-6, test_interval_h=1, common_cause=2), "common_cause must be between"),
        (
            lambda: pfd_2oo3(1e-6, test_interval_h=1, common_cause_diagnosed=2),
            "common_cause_diagnosed must be between 0 and 1, got 2",
        ),
        (lambda: pfd_2oo2(1e-6, test_interval_h=1, mrt_h=-1), "mrt_h must be >= 0 and finite"),
    ],
)
def test_refused_numbers(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_failure_on_demand_by_hand():
    """1e-5 a hour, 60 % detected: 6e-6 and 4e-6; waits 1000 / 2 + 20 and 1000 / 3 + 20 hours."""
    known = {"test_interval_h": 1000, "diagnosed": 0.6, "mttr_h": 8, "mrt_h": 20}
    one = 4e-6 * 520 + 6e-6 * 8  # 0.002128
    assert pfd_1oo1(1e-5, **known) == pytest.approx(one, rel=1e-13)
    assert pfd_2oo2(1e-5, **known) == pytest.approx(2 * one, rel=1e-13)
    common = 0.04 * 6e-6 * 8 + 0.1 * 4e-6 * 520
    shared = {"common_cause": 0.1, "common_cause_diagnosed": 0.04}
    # alone: 0.96 x 6e-6 + 0.9 x 4e-6 = 9.36e-6; down 0.4 x 520 + 0.6 x 8 and 0.4 x 353.33 + 4.8
    both = 9.36e-6**2 * 212.8 * (0.4 * 1060 / 3 + 4.8)
    assert pfd_1oo2(1e-5, **known, **shared) == pytest.approx(2 * both + common, rel=1e-13)
    assert pfd_2oo3(1e-5, **known, **shared) == pytest.approx(6 * both + common, rel=1e-13)
    # half of beta for what is detected, unless said
    half = 0.05 * 6e-6 * 8 + 0.1 * 4e-6 * 520
    both = (0.95 * 6e-6 + 0.9 * 4e-6)**2 * 212.8 * (0.4 * 1060 / 3 + 4.8)
    assert pfd_1oo2(1e-5, **known, common_cause=0.1) == pytest.approx(2 * both + half, rel=1e-13)


def test_failure_on_demand_of_what_is_not_said():
    """Nothing detected, nothing in common, 8 h of repair: 1e-5 (500 + 8), and (333.3 + 8)."""
    assert pfd_1oo1(1e-5, test_interval_h=1000) == pytest.approx(1e-5 * 508, rel=1e-13)
    assert pfd_2oo2(1e-5, test_interval_h=1000) == pytest.approx(2e-5 * 508, rel=1e-13)
    both = 1e-10 * 508 * (1000 / 3 + 8)
    assert pfd_1oo2(1e-5, test_interval_h=1000) == pytest.approx(2 * both, rel=1e-13)
    assert pfd_2oo3(1e-5, test_interval_h=1000) == pytest.approx(6 * both, rel=1e-13)
    # repair after a test as long as after an alarm, unless said
    assert pfd_1oo1(1e-5, test_interval_h=1000, mttr_h=3) == pytest.approx(1e-5 * 503, rel=1e-13)
    assert pfd_1oo1(1e-5, test_interval_h=1000, diagnosed=1) == pytest.approx(8e-5, rel=1e-13)
    seen = pfd_1oo1(1e-5, test_interval_h=1000, diagnosed=0.5)
    assert seen == pytest.approx(5e-6 * 508 + 5e-6 * 8, rel=1e-13)


def test_three_phases_by_hand():
    """Works 100 h; stopped on purpose for 10 h; tried 40 h, in which it cannot fail.

    Failures at 1e-3 in the first phase, none repaired before the end of the cycle; a start into
    the second phase fails with 1 in 4. Chance to fail in the first: f = 1 - exp(-0.1).
    """
    phases = [Phase({("on", "failed"): 1e-3}, 100, then={"on": "stopped"}),
              Phase({("stopped", "on"): 0.0}, 10,
                    then={"stopped": {"on": 0.75, "failed": 0.25}}),
              Phase({("on", "failed"): 0.0}, 40, then={"failed": "on"})]
    unit = PeriodicModel(phases, up=["on"], planned=["stopped"])
    f, alive_h = -math.expm1(-0.1), -math.expm1(-0.1) * 1000
    assert unit.cycle_h == 150 and set(unit.states) == {"on", "failed", "stopped"}
    assert unit.planned_unavailability == pytest.approx((1 - f) * 10 / 150, rel=1e-13)
    assert unit.availability == pytest.approx((alive_h + (1 - f) * 0.75 * 40) / 150, rel=1e-13)
    assert unit.unavailability == pytest.approx(1 - unit.availability, rel=1e-12)
    assert unit.downtime_h_per_year == pytest.approx(8760 * unit.unavailability, rel=1e-13)
    assert unit.failures_per_h == pytest.approx((f + (1 - f) / 4) / 150, rel=1e-13)
    assert dict(zip(unit.states, unit.after_cycle())) == pytest.approx(
        {"on": 1, "failed": 0, "stopped": 0}, abs=1e-15)
    # down after 50 h: 1 - exp(-0.05); stopped counts as down; then failed before or at the start
    assert unit.unavailability_at([0, 50, 100, 105, 110, 111, 150]) == pytest.approx(
        [0, -math.expm1(-0.05), f, 1, 1, f + (1 - f) / 4, f + (1 - f) / 4], rel=1e-12, abs=1e-15)
    assert isinstance(unit.unavailability_at(50), float)
    # one cycle lasts alive_h + (1 - f) (10 + 0.75 x 40), and goes on with 0.75 (1 - f)
    cycle_h = alive_h + (1 - f) * (10 + 0.75 * 40)
    assert unit.mean_time_to_first_failure_h() == pytest.approx(
        cycle_h / (1 - 0.75 * (1 - f)), rel=1e-12)
    for time_h in (-1, 151, math.nan):
        with pytest.raises(ValueError, match="t_h must be between 0 and 150, got"):
            unit.unavailability_at(time_h)


def test_a_test_that_finds_half():
    """Failed after the test: x = (x + (1 - x) f) / 2, so x = f / (1 + f)."""
    half = 0.5
    unit = PeriodicModel([Phase({("works", "failed"): 1e-3}, 100,
                                then={"failed": {"works": half, "failed": half}})], up=["works"])
    f = -math.expm1(-0.1)
    assert unit.unavailability_at(0) == pytest.approx(f / (1 + f), rel=1e-12)
    assert unit.unavailability_at(100) == pytest.approx(2 * f / (1 + f), rel=1e-12)
    # it fails once in 1000 h, worn in 500 h; half wear at each test: x = 1000 f + (1 - f) (x + 500) / 2
    rates = {("on", "failed"): 1e-3, ("worn", "failed"): 2e-3}
    wears = PeriodicModel([Phase(rates, 100, then={"on": {"on": half, "worn": half}})],
                          up=["on", "worn"])
    assert wears.mean_time_to_first_failure_h() == pytest.approx(
        (1000 * f + (1 - f) * 250) / (1 - (1 - f) / 2), rel=1e-12)


def test_ends_of_a_first_failure():
    dead = [Phase({("on", "failed"): 1e-3}, 100, then={"failed": "on"})]
    assert PeriodicModel(dead, up=["on"], start="failed").mean_time_to_first_failure_h() == 0
    # half of the cycles end in a state that never fails
    safe = [Phase({("on", "failed"): 1e-3, ("safe", "on"): 0.0}, 100,
                  then={"on": {"on": 0.5, "safe": 0.5}})]
    assert PeriodicModel(safe, up=["on", "safe"]).mean_time_to_first_failure_h() == math.inf
