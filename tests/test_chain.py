"""Chains: long run, in time, first failure, against published values and 60-digit arithmetic."""

import math
from fractions import Fraction

import mpmath
import numpy as np
import pytest
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm
from scipy.stats import binom

from labkit.markov import transient
from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.elimination import Reduction, closed_classes
from labkit.markov.transient import transitions
from tests import references

# The error of elimination and squaring grows with the states; 60 digits leave no doubt of it.
CLOSE = 1e-12
# What a few dozen roundings may do, where no chain is involved.
EXACT = 1e-14


# -- chains to try -----------------------------------------------------------------------------


def model_of(rates, up=(0,), start=None):
    """Make a model with the states 0 to n-1 of an array of rates."""
    n = len(rates)
    # Zero rates stand for the order of the states only.
    arcs = {(i, j): rates[i][j] for i in range(n) for j in range(n) if i != j}
    return MarkovModel(arcs, up=up, start=start)


def random_chain(n, seed, decades=12):
    """Make rates spread over some decades, about three ways out of each state, all connected."""
    generator = np.random.default_rng(seed)
    half = decades / 2
    rates = 10 ** generator.uniform(-half, half, (n, n)) * (generator.random((n, n)) < 3 / n)
    for i in range(n):
        rates[i, (i + 1) % n] = 10 ** generator.uniform(-half, half)
    np.fill_diagonal(rates, 0.0)
    return rates


def ladder(n, up, down):
    rates = np.zeros((n, n))
    for i in range(n - 1):
        rates[i, i + 1] = up(i)
        rates[i + 1, i] = down(i)
    return rates


def fast_pairs(n):
    """Pairs of states that change into each other at 1e6 per hour, and all else at 1e-6."""
    rates = np.full((n, n), 1e-6)
    for i in range(0, n - 1, 2):
        rates[i, i + 1], rates[i + 1, i] = 1e6, 3e5
    np.fill_diagonal(rates, 0.0)
    return rates


def ring(n):
    rates = np.zeros((n, n))
    for i in range(n):
        rates[i, (i + 1) % n] = 10.0 ** (-6 + 12 * i / (n - 1))
    return rates


CHAINS = {
    "random 6, seed 1": random_chain(6, 1),
    "random 6, seed 2": random_chain(6, 2),
    "random 9, seed 3": random_chain(9, 3),
    "failures and repairs": ladder(8, lambda i: (8 - i) * 1e-6, lambda i: 0.25),
    "climbing the wrong way": ladder(8, lambda i: 1e6, lambda i: 1e-6),
    "pairs of fast states": fast_pairs(8),
    "ring across 12 decades": ring(7),
    "ring of equal rates": np.roll(np.eye(5), 1, axis=1) * 3.0,
    "absorbing": ladder(6, lambda i: 10.0 ** (6 - 2 * i), lambda i: 0.0),
}


def exact_generator(rates):
    n = len(rates)
    q = mpmath.matrix(n, n)
    for i in range(n):
        for j in range(n):
            if i != j:
                q[i, j] = mpmath.mpf(float(rates[i][j]))
        q[i, i] = -mpmath.fsum(q[i, j] for j in range(n) if j != i)
    return q


def exact_stationary(rates):
    """Solve the balance equations with 60 digits by mpmath's LU decomposition."""
    with mpmath.workdps(140):
        q = exact_generator(rates)
        n = q.rows
        a = q.T
        b = mpmath.zeros(n, 1)
        for j in range(n):
            a[n - 1, j] = 1
        b[n - 1] = 1
        return [+x for x in mpmath.lu_solve(a, b)]


def exact_exponential(rates, t):
    """Give exp(Q t) with at least 60 digits by mpmath."""
    speed = max(float(np.sum(rates, axis=1).max()) * t, 1.0)
    # Squaring loses a bit each time; small entries need their own digits.
    with mpmath.workdps(60 + 2 * round(math.log10(speed) + 1) + 100):
        return mpmath.expm(exact_generator(rates) * mpmath.mpf(t), method="taylor")


def worst_error(found, exact, floor=1e-280):
    """Give the largest relative error over the entries that a double can hold."""
    errors = [
        abs(float(mpmath.mpf(float(x)) / y - 1))
        for x, y in zip(found, exact, strict=True)
        if y > floor
    ]
    assert errors
    return max(errors)


# -- against published values -------------------------------------------------------------------


def test_b2_stationary_vector_of_a_generator():
    references.agrees("B2", model_of([[0, 3], [4, 0]]).steady_state())


def test_b3_stationary_vector_of_a_stochastic_matrix():
    references.agrees("B3", Reduction(np.array([[0.4, 0.6], [0.2, 0.8]])).stationary())


@pytest.mark.parametrize("row", ["M1", "M3"])
def test_courtois(row):
    found = Reduction(np.array(references.COURTOIS)).stationary()
    references.agrees(row, found)
    references.agrees_closely(row, found)


LAND_OF_OZ = [[0.5, 0.25, 0.25], [0.5, 0.0, 0.5], [0.25, 0.25, 0.5]]


def land_of_oz():
    """The weather as a chain in time: one step an hour on the average, staying being no step."""
    model = model_of(LAND_OF_OZ)
    times = np.array(
        [[model.first_passage([j], start=i).mean_h for j in range(3)] for i in range(3)]
    )
    return model.steady_state(), times


def test_m4_land_of_oz():
    references.agrees("M4", land_of_oz()[0])


def test_m6_mean_first_passage_times():
    p, times = land_of_oz()
    # A return takes 1/p steps on the average (Kac).
    np.fill_diagonal(times, 1 / p)
    references.agrees("M6", times[:2])


def test_m5_fundamental_matrix_from_first_passage_times():
    p, times = land_of_oz()
    # Kemeny and Snell: m(i,j) = (z(j,j) - z(i,j)) / p(j), and p z = p.
    diagonal = p * (1 + p @ times)
    references.agrees("M5", (diagonal - p * times)[:2])


def test_m10_population_chain():
    """Elimination with subtraction, and LU, fail here; the smallest entry is 7.5e-29."""
    matrix = references.population_chain(3, 1 / 3, 1e-14)
    exact = exact_stationary(matrix)
    found = Reduction(matrix).stationary()
    assert min(found) < 1e-28
    references.agrees("M10", worst_error(found, exact))
    assert worst_error(found, exact) < 1e-15


def balance_by_lu(matrix):
    """Solve the balance equations with one replaced by the sum, as textbooks do."""
    a = np.array(matrix, dtype=float)
    np.fill_diagonal(a, 0.0)
    np.fill_diagonal(a, -a.sum(axis=1))
    a = a.T.copy()
    a[-1] = 1.0
    return np.linalg.solve(a, np.eye(len(a))[-1])


HOT_PAIRS = [ladder(3, lambda i, a=a: (2 - i) * a, lambda i: 0.25) for a in (1e-4, 1e-6, 1e-9)]
DIGITS = [
    *HOT_PAIRS,
    np.array(references.COURTOIS),
    references.population_chain(3, 1 / 3, 1e-14),
    references.population_chain(27, 1 / 3, 1e-2),
]


@pytest.mark.parametrize(("row", "matrix"), list(zip(references.DIGITS_KEPT, DIGITS, strict=True)))
def test_digits_kept(row, matrix):
    """Elimination keeps 15 digits where LU, and 1 - (1 - U), keep those of the table or fewer."""
    exact = exact_stationary(matrix)
    smallest = exact.index(min(exact))
    # The table gives six figures.
    assert float(min(exact)) == pytest.approx(float(row.smallest), rel=1e-5, abs=0)
    ours = worst_error(Reduction(matrix).stationary(), exact, floor=0)
    assert ours < 2e-15
    lu = abs(float(balance_by_lu(matrix)[smallest] / min(exact) - 1))
    assert lu > 30 * ours
    if row.lu_of_normalised > 1e-6:
        assert lu > 1e-8
    if row.one_minus is not None:
        u = float(exact[smallest])
        assert abs((1 - (1 - u)) / u - 1) == pytest.approx(row.one_minus, rel=0.05, abs=0)


def unstable_elimination(matrix):
    """Eliminate as `Reduction` does, but with the diagonal by subtraction."""
    a = np.array(matrix, dtype=float)
    np.fill_diagonal(a, 0.0)
    np.fill_diagonal(a, -a.sum(axis=1))
    n = len(a)
    for k in range(n - 1, 0, -1):
        a[:k, k] /= -a[k, k]
        a[:k, :k] += np.outer(a[:k, k], a[k, :k])
    p = np.ones(n)
    for k in range(1, n):
        p[k] = p[:k] @ a[:k, k]
    return p / p.sum()


def test_elimination_with_subtraction_fails():
    """Two groups of states hardly connected: the diagonal is then a difference of equals."""
    rates = np.array([[0.0, 1.0, 1e-15], [1.0, 0.0, 0.0], [0.0, 3e-15, 0.0]])
    exact = exact_stationary(rates)
    order = [2, 1, 0]
    flipped = rates[np.ix_(order, order)]
    exact_flipped = [exact[i] for i in order]
    assert worst_error(Reduction(flipped).stationary(), exact_flipped) < 1e-15
    assert worst_error(unstable_elimination(flipped), exact_flipped) > 1e-3


def test_one_third_for_any_epsilon():
    """QuantEcon.jl issue 75 has such a chain: the answer is 1/3 each however small epsilon is."""
    for epsilon in (1e-3, 1e-12, 1e-100, 1e-300):
        rates = [[0, epsilon, 0], [0, 0, 1], [epsilon, 0, 0]]
        p = model_of(rates).steady_state()
        assert p[0] == pytest.approx(p[2], rel=EXACT, abs=0)
        assert p[1] == pytest.approx(epsilon / (2 + epsilon), rel=EXACT, abs=0)
    assert model_of([[0, 1e-12, 0], [0, 0, 1e-12], [1e-12, 0, 0]]).steady_state() == (
        pytest.approx(np.full(3, 1 / 3), rel=EXACT, abs=0)
    )


# N: published exponentials, each written with a generator and a factor.


def test_n3_upper_triangular():
    rates = ladder(5, lambda i: 6.0, lambda i: 0.0)
    p, _ = transitions(rates, 1.0)
    assert np.all(p[:4, :4][np.tril_indices(4, -1)] == 0)
    found = p[:4, :4] * math.exp(6)
    assert found.ravel() == pytest.approx(references.values("N3"), rel=EXACT, abs=0)


def test_n4_defective():
    p, _ = transitions(ladder(3, lambda i: 1.0, lambda i: 0.0), 1.0)
    references.agrees("N4", p[:2, :2] * math.exp(2))


def test_n6_ward_example_1():
    ward = np.array([[4.0, 2.0, 0.0], [1.0, 4.0, 1.0], [1.0, 1.0, 4.0]])
    p, _ = transitions(ward, 1.0)
    references.agrees("N6", p * math.exp(6))
    assert (p * math.exp(6)).ravel() == pytest.approx(
        references.exact_values("N6"), rel=EXACT, abs=0
    )


# D and E: repairable systems.


def crews_chain(units, failure, repair, crews, up_from, standby_cold=False):
    """States: units down, 0 to all; failures of all units that work, or of the needed ones."""
    rates = {}
    for down in range(units):
        active = units - down
        rates[down, down + 1] = failure * (min(active, up_from) if standby_cold else active)
        rates[down + 1, down] = repair * min(down + 1, crews)
    return MarkovModel(rates, up=range(units - up_from + 1))


def test_d1_repair_rate_that_four_in_series_need():
    from scipy.optimize import brentq

    def shortfall(ratio):
        return crews_chain(4, 1.0, ratio, 1, up_from=4).availability - 0.90

    found = brentq(shortfall, 10, 100, xtol=1e-12)
    references.agrees("D1", found)
    references.agrees_closely("D1", found)


@pytest.mark.parametrize(
    ("row", "crews", "cold"),
    [("D3", 1, True), ("D4", 1, False), ("D5", 2, True), ("D6", 2, False)],
)
def test_d3_to_d6_pairs(row, crews, cold):
    found = crews_chain(2, 0.01, 0.2, crews, up_from=1, standby_cold=cold).availability
    references.agrees(row, found)
    references.agrees_closely(row, found)


def test_d11_all_five_down():
    chain = crews_chain(5, 4.0, 2.0, 5, up_from=1)
    references.agrees("D11", chain.unavailability)


def test_d12_series_repaired_only_when_down():
    rates = {("up", 1): 0.01, ("up", 2): 0.01, (1, "up"): 1.0, (2, "up"): 0.5}
    references.agrees("D12", MarkovModel(rates, up=["up"]).availability)


def test_e27_to_e29_mirrored_and_checked_arrays():
    """The 1988 approximation leaves out a term; the exact chain is 0.01 to 0.2 % above it."""
    for row, group, above in (("E27", 2, 1e-4), ("E28", 11, 7e-4), ("E29", 26, 1.7e-3)):
        chain = crews_chain(group, 1 / 30_000, 1.0, 1, up_from=group - 1)
        groups = 100 // (group - 1)
        usual = 30_000**2 / (group * (group - 1)) / groups
        references.agrees(row, usual)
        exact = chain.mean_time_to_first_failure_h() / groups
        assert exact / usual - 1 == pytest.approx(above, rel=0.05, abs=0)


# Traps.


@pytest.mark.parametrize(
    ("trap", "crews", "failure", "repair"),
    [
        ("T1", 2, 1e-4, 0.25), ("T2", 1, 1e-4, 0.25), ("T4", 2, 1e-3, 0.25),
        ("T5", 1, 1e-3, 0.25), ("T7", 2, 0.01, 0.2), ("T8", 1, 0.01, 0.2),
    ],
)  # fmt: skip
def test_usual_unavailability_of_a_hot_pair_is_high(trap, crews, failure, repair):
    exact = crews_chain(2, failure, repair, crews, up_from=1).unavailability
    references.off_by(trap, (2 if crews == 1 else 1) * (failure / repair) ** 2, exact)


@pytest.mark.parametrize(
    ("trap", "failure", "repair"), [("T3", 1e-4, 0.25), ("T6", 1e-3, 0.25), ("T9", 0.01, 0.2)]
)
def test_usual_mttf_of_a_hot_pair_is_low(trap, failure, repair):
    exact = crews_chain(2, failure, repair, 1, up_from=1).mean_time_to_first_failure_h()
    references.off_by(trap, repair / (2 * failure**2), exact)


def test_three_mean_times_that_are_not_one():
    pair = crews_chain(2, 1e-3, 0.25, 1, up_from=1)
    first = pair.mean_time_to_first_failure_h()
    between = 1 / pair.failures_per_h
    assert between == pytest.approx(1 / (0.25 * pair.unavailability), rel=EXACT, abs=0)
    references.off_by("T10", between, first)
    assert first == pytest.approx(126_500, rel=EXACT, abs=0)
    assert pair.mean_up_time_h == pytest.approx(126_000, rel=EXACT, abs=0)
    assert between == pytest.approx(126_004, rel=EXACT, abs=0)


def test_series_with_one_crew_and_shut_down():
    product = two_state(100, 1).availability ** 4
    references.off_by("T21", product, crews_chain(4, 0.01, 1.0, 1, up_from=4).availability)
    shut_down = MarkovModel(
        {("up", k): 0.01 for k in range(4)} | {(k, "up"): 1.0 for k in range(4)}, up=["up"]
    )
    references.off_by("T22", shut_down.availability, product)


def test_overlapping_outages():
    """D8 to D10 approximate; the exact chain of two units is 0.02 % below in frequency."""
    a, b, r1, r2 = 0.05, 0.02, 20 / 8760, 25 / 8760
    usual = a * b * (r1 + r2)
    references.agrees("D8", usual)
    rates = {
        ("both", "1 out"): a, ("both", "2 out"): b, ("1 out", "both"): 1 / r1,
        ("2 out", "both"): 1 / r2, ("1 out", "none"): b, ("2 out", "none"): a,
        ("none", "1 out"): 1 / r2, ("none", "2 out"): 1 / r1,
    }  # fmt: skip
    pair = MarkovModel(rates, up=["both", "1 out", "2 out"])
    references.off_by("T23", usual, pair.failures_per_h)
    references.agrees("D9", pair.mean_down_time_h * 8760)
    assert pair.unavailability * 8760 == pytest.approx(
        references.exact_value("D10"), rel=3e-4, abs=0
    )


def test_three_of_five():
    failure, repair = 220e-6, 1 / 3
    usual = 60 * failure**3 / repair**2
    references.agrees("E32", usual)
    for trap, crews in (("T24", 1), ("T25", 5)):
        chain = crews_chain(5, failure, repair, crews, up_from=3)
        references.off_by(trap, usual, 1 / chain.mean_time_to_first_failure_h())


def coverage_chain(failure, repair, coverage):
    """A hot pair in which either failure is recovered from with a chance."""
    rates = {
        (2, 1): 2 * failure * coverage, (2, 0): 2 * failure * (1 - coverage),
        (1, 2): repair, (1, 0): failure, (0, 2): repair,
    }  # fmt: skip
    return MarkovModel(rates, up=[2, 1])


def test_e24_e25_coverage():
    a, b, c = 1e-3, 0.25, 0.95
    found = coverage_chain(a, b, c).mean_time_to_first_failure_h()
    references.agrees("E24", found / ((a * (1 + 2 * c) + b) / (2 * a * (a + b * (1 - c)))))
    references.agrees("E25", found)


def test_coverage_ignored():
    a, b = 1e-4, 0.25
    ideal = coverage_chain(a, b, 1.0).mean_time_to_first_failure_h()
    references.off_by("T35", ideal, coverage_chain(a, b, 0.99).mean_time_to_first_failure_h())


# -- against 60 digits --------------------------------------------------------------------------


@pytest.mark.parametrize("name", [name for name in CHAINS if name != "absorbing"])
def test_long_run_against_mpmath(name):
    rates = CHAINS[name]
    assert worst_error(model_of(rates).steady_state(), exact_stationary(rates)) < EXACT


def test_long_run_of_50_states_against_mpmath():
    rates = random_chain(50, 11)
    exact = exact_stationary(rates)
    assert float(min(exact)) < 1e-16
    assert worst_error(model_of(rates).steady_state(), exact) < EXACT


@pytest.mark.parametrize("name", CHAINS)
def test_in_time_against_mpmath(name):
    rates = CHAINS[name]
    model = model_of(rates)
    times = [1e-6, 0.3, 8760.0]
    found = model.probabilities(times)
    for t, row in zip(times, found, strict=True):
        # exp(-x) of a double x is known to x roundings only; here x is up to 88.
        bound = 1e-13 if name == "absorbing" else EXACT
        assert worst_error(row, exact_exponential(rates, t)[0, :]) < bound


def whole_number_course(rates, t, bits):
    """Give the first row of exp(Q t) in whole numbers of 2**-bits: slow, plain, exact enough."""
    n = len(rates)
    one = 1 << bits
    q = [[Fraction(float(rates[i, j])) * (i != j) for j in range(n)] for i in range(n)]
    for i in range(n):
        q[i][i] = -sum(q[i])
    speed = max(-q[i][i] for i in range(n)) * Fraction(t)
    doublings = int(speed).bit_length() + 8
    step = np.array(
        [[int(x * Fraction(t) * one / 2**doublings) for x in row] for row in q], dtype=object
    )
    total = np.array([[one * (i == j) for j in range(n)] for i in range(n)], dtype=object)
    term, k = total, 1
    while max(abs(x) for x in term.flat) > 1:
        term = (term.dot(step) >> bits) // k
        total = total + term
        k += 1
    for _ in range(doublings):
        total = total.dot(total) >> bits
    with mpmath.workdps(80):
        return [mpmath.mpf(int(x)) / mpmath.mpf(one) for x in total[0]]


def test_50_states_across_12_decades_in_time():
    """Failures and repairs of 50 states: probabilities down to 4e-287, each right."""
    generator = np.random.default_rng(5)
    rates = ladder(
        50, lambda i: 10 ** generator.uniform(-6, -2), lambda i: 10 ** generator.uniform(0, 6)
    )
    exact = whole_number_course(rates, 0.001, bits=1150)
    found = model_of(rates).probabilities(0.001)
    assert float(min(exact)) < 1e-250
    assert worst_error(found, exact, floor=1e-290) < CLOSE


@pytest.mark.parametrize(
    ("name", "t", "lost"),
    [
        # Squared 43 times: each doubling doubles the error of every entry.
        ("random 6, seed 1", 8760.0, 1e-9),
        ("climbing the wrong way", 8760.0, 1e-9),
        # The smallest entry is 8e-63: right in the first digit only.
        ("failures and repairs", 1e-3, 1e-3),
    ],
)
def test_scipy_expm_loses_digits(name, t, lost):
    """A general exponential is right to 1e-16 of the largest entry, not of each."""
    rates = CHAINS[name]
    exact = exact_exponential(rates, t)[0, :]
    model = model_of(rates)
    assert worst_error(expm(model.generator * t)[0], exact) > lost
    assert worst_error(model.probabilities(t), exact) < EXACT


def test_plain_squaring_loses_digits():
    """The same squarings without putting the diagonal right: an error at each doubling."""
    rates = fast_pairs(8)
    speed = rates.sum(axis=1).max()
    doublings = round(math.log2(speed * 8760.0)) + 4
    plain = expm(model_of(rates).generator * (8760.0 / 2**doublings))
    for _ in range(doublings):
        plain = plain @ plain
    exact = exact_exponential(rates, 8760.0)[0, :]
    assert worst_error(plain[0], exact) > 1e-8
    assert worst_error(model_of(rates).probabilities(8760.0), exact) < EXACT


def test_hours_in_states_against_mpmath():
    """The integral of p(t) is a block of the exponential of a larger matrix (Van Loan 1978)."""
    rates = CHAINS["random 6, seed 1"]
    n, t = len(rates), 12.5
    q = exact_generator(rates)
    big = mpmath.zeros(2 * n, 2 * n)
    for i in range(n):
        big[i, n + i] = 1
        for j in range(n):
            big[i, j] = q[i, j]
    with mpmath.workdps(150):
        exact = mpmath.expm(big * mpmath.mpf(t), method="taylor")[0, n:]
    model = model_of(rates, up=[0, 1, 2])
    hours = model.hours_in_states(t)
    assert worst_error(hours, exact) < EXACT
    down = sum(exact[3:]) / t
    assert model.interval_unavailability(t) == pytest.approx(float(down), rel=EXACT, abs=0)
    assert model.entries(t) == pytest.approx(hours @ rates, rel=EXACT, abs=0)


@pytest.mark.parametrize("name", ["random 9, seed 3", "failures and repairs", "absorbing"])
def test_mean_time_to_first_failure_against_mpmath(name):
    rates = CHAINS[name]
    n = len(rates)
    last = n - 1
    with mpmath.workdps(100):
        q = exact_generator(rates)[:last, :last]
        mean = mpmath.lu_solve(-q, mpmath.ones(last, 1))
        second = mpmath.lu_solve(-q, 2 * mean)
        variance = second[0] - mean[0] ** 2
    life = model_of(rates).first_passage([last])
    assert life.mean_h == pytest.approx(float(mean[0]), rel=EXACT, abs=0)
    assert life.moment(2) == pytest.approx(float(second[0]), rel=EXACT, abs=0)
    assert life.variance_h2 == pytest.approx(float(variance), rel=1e-13, abs=0)


def test_unreliability_keeps_its_digits():
    rates = CHAINS["failures and repairs"]
    absorbed = rates.copy()
    absorbed[4:] = 0.0
    exact = mpmath.fsum(exact_exponential(absorbed, 1e-3)[0, 4:])
    model = model_of(rates, up=range(4))
    found = model.unreliability(1e-3)
    assert found < 1e-30
    assert found == pytest.approx(float(exact), rel=EXACT, abs=0)


# -- against closed forms -----------------------------------------------------------------------


@pytest.mark.parametrize("t", [1e-9, 1e-3, 1.0, 50.0, 1e4, 1e12])
@pytest.mark.parametrize(("mtbf_h", "mttr_h"), [(60_000, 4), (1, 1), (1e12, 1e-3), (0.01, 1e6)])
def test_two_state_in_time(mtbf_h, mttr_h, t):
    a, b = 1 / mtbf_h, 1 / mttr_h
    model = two_state(mtbf_h, mttr_h)
    share = -math.expm1(-(a + b) * t)
    assert model.unavailability_at(t) == pytest.approx(a / (a + b) * share, rel=1e-13, abs=0)
    with mpmath.workdps(40):
        x = (mpmath.mpf(a) + mpmath.mpf(b)) * t
        mean = mpmath.mpf(a) / (mpmath.mpf(a) + mpmath.mpf(b)) * (1 + mpmath.expm1(-x) / x)
    assert model.interval_unavailability(t) == pytest.approx(float(mean), rel=1e-13, abs=0)
    assert model.unreliability(t) == pytest.approx(-math.expm1(-a * t), rel=1e-13, abs=0)
    if a * t < 700:
        assert model.reliability(t) == pytest.approx(math.exp(-a * t), rel=1e-12, abs=0)


def test_pair_against_sympy():
    """Solve the balance equations of the pair with symbols, and the mean time as well."""
    a, b = sympy.symbols("a b", positive=True)
    q = sympy.Matrix([[-2 * a, 2 * a, 0], [b, -(a + b), a], [0, b, -b]])
    p = sympy.symbols("p0:3")
    balance = [*(sympy.Matrix([p]) * q), sum(p) - 1]
    solution = sympy.solve(balance, p, dict=True)[0]
    mean = (-q[:2, :2]).LUsolve(sympy.ones(2, 1))[0]
    at = {a: sympy.Rational(1, 60_000), b: sympy.Rational(1, 4)}
    model = crews_chain(2, 1 / 60_000, 0.25, 1, up_from=1)
    assert model.unavailability == pytest.approx(float(solution[p[2]].subs(at)), rel=EXACT, abs=0)
    assert model.mean_time_to_first_failure_h() == pytest.approx(
        float(mean.subs(at)), rel=EXACT, abs=0
    )


def test_stages_in_series_are_an_erlang_distribution():
    """Five stages of 100 h: the gamma distribution of shape 5, from scipy."""
    from scipy.stats import gamma

    life = model_of(ladder(6, lambda i: 0.01, lambda i: 0.0)).first_passage([5])
    erlang = gamma(5, scale=100)
    times = [0.1, 30.0, 500.0, 2000.0]
    assert life.probability(times) == pytest.approx(erlang.cdf(times), rel=1e-12, abs=0)
    assert life.survival(times) == pytest.approx(erlang.sf(times), rel=1e-12, abs=0)
    assert life.density_per_h(times) == pytest.approx(erlang.pdf(times), rel=1e-12, abs=0)
    assert life.mean_h == pytest.approx(500, rel=EXACT, abs=0)
    assert life.standard_deviation_h == pytest.approx(math.sqrt(5) * 100, rel=1e-13, abs=0)
    for share in (1e-9, 0.1, 0.5, 0.999999):
        assert life.quantile_h(share) == pytest.approx(erlang.ppf(share), rel=1e-9, abs=0)


def test_independent_units_are_binomial():
    """Eight like units with a crew each, in one chain: the count of those down is binomial."""
    model = crews_chain(8, 1e-3, 0.2, 8, up_from=1)
    for t in (0.5, 8760.0):
        down = two_state(1000, 5).unavailability_at(t)
        exact = binom.pmf(range(9), 8, down)
        assert model.probabilities(t) == pytest.approx(exact, rel=1e-12, abs=0)


def product_of_units(sizes, levels):
    """One chain of independent parts with several wear levels each, and the parts themselves."""
    generator = np.random.default_rng(7)
    parts = []
    for _ in range(sizes):
        fails = 10 ** generator.uniform(-5, -2, levels - 1)
        heals = 10 ** generator.uniform(-1, 0.5, levels - 1)
        parts.append(ladder(levels, lambda i, f=fails: f[i], lambda i, h=heals: h[i]))
    rates = {}
    for state in range(levels**sizes):
        rest = state
        for k, part in enumerate(parts):
            rest, level = divmod(rest, levels)
            for other in range(levels):
                if part[level, other] > 0:
                    rates[state, state + (other - level) * levels**k] = part[level, other]
    return MarkovModel(rates, up=[0], start=0), parts


def product(rows):
    """Probabilities of all states of independent parts, the first part counting fastest."""
    result = np.ones(1)
    for row in rows:
        result = np.multiply.outer(row, result).ravel()
    return result


def in_order(model):
    position = {state: k for k, state in enumerate(model.states)}
    return [position[state] for state in range(len(position))]


def test_a_thousand_states():
    """1024 states of five independent parts: the probabilities are products of those of each."""
    model, parts = product_of_units(5, 4)
    long_run = product([Reduction(part).stationary() for part in parts])
    assert long_run.min() < 1e-40
    assert model.steady_state()[in_order(model)] == pytest.approx(long_run, rel=1e-13, abs=0)
    leaving = sum(part[0].sum() for part in parts)
    assert model.mean_time_to_first_failure_h() == pytest.approx(1 / leaving, rel=EXACT, abs=0)
    assert model.unreliability(3.0) == pytest.approx(-math.expm1(-3 * leaving), rel=1e-12, abs=0)


def test_hundreds_of_states_in_time():
    """256 states of four independent parts, in the same way."""
    model, parts = product_of_units(4, 4)
    times = [0.01, 30.0, 1e12]
    for t, row in zip(times, model.probabilities(times), strict=True):
        exact = product([transitions(part, t)[0][0] for part in parts])
        assert exact.min() < 1e-34
        assert row[in_order(model)] == pytest.approx(exact, rel=1e-12, abs=0)


def test_two_states_at_a_time_that_is_short_and_one_that_is_long():
    """Two states: P(up) = (4 + 3 exp(-7 t)) / 7; the hours up are its integral over the time."""
    times, rates = np.array([1e-6, 0.5, 250.0]), np.array([[0.0, 3.0], [4.0, 0.0]])
    p, hours = transient.evolve(rates, np.array([1.0, 0.0]), times)
    gone = np.exp(-7 * times)
    assert p[:, 0] == pytest.approx((4 + 3 * gone) / 7, rel=1e-13, abs=0)
    assert hours[:, 0] == pytest.approx(4 / 7 * times - 3 / 49 * np.expm1(-7 * times), rel=1e-13)
    assert hours.sum(axis=1) == pytest.approx(times, rel=1e-13)


def test_what_goes_in_must_come_out():
    """The mean time left of a chain that leaks, seen from both ends."""
    leak = np.zeros(40)
    leak[[3, 17]] = 1e-4
    dense, start = Reduction(random_chain(40, 3, decades=6), leak), np.linspace(0.1, 1, 40)
    assert start @ dense.mean_until_gone(np.ones(40)) == pytest.approx(
        dense.time_until_gone(start).sum(), rel=1e-13, abs=0
    )


def test_what_stands_on_the_diagonal_is_not_read():
    """The pair by hand: 500 h to the first failure, 1 in 251 of which ends it: 126 500 h in all."""
    pair = Reduction(np.array([[9.0, 2e-3], [0.25, 7.0]]), leak=np.array([0.0, 1e-3]))
    assert pair.mean_until_gone(np.ones(2)) == pytest.approx([126_500, 126_000], rel=1e-13)
    assert pair.time_until_gone(np.array([1.0, 0.0])) == pytest.approx([125_500, 1000], rel=1e-13)
    assert Reduction(np.array([[5.0, 3.0], [4.0, 1e9]])).stationary() * 7 == pytest.approx([4, 3], rel=1e-14)


def test_a_long_ring_with_one_leak_and_a_state_beside_which_the_other_is_nothing():
    """By hand: x = n - 1 + (1 + x) / (1 + c) hours, so x = ((n - 1)(1 + c) + 1) / c."""
    n, leak = 500, np.zeros(500)
    leak[-1] = 0.25
    ring = np.roll(np.eye(n), 1, axis=1)
    assert Reduction(ring, leak).mean_until_gone(np.ones(n))[0] == pytest.approx(
        (499 * 1.25 + 1) / 0.25, rel=CLOSE)
    assert Reduction(np.array([[0.0, 1e200], [1e-200, 0.0]])).stationary().tolist() == [0.0, 1.0]


def test_no_way_out_is_refused():
    with pytest.raises(ArithmeticError, match=r"state number [01] has no way out"):
        Reduction(np.zeros((2, 2)), np.zeros(2))


def test_more_states_than_can_be_counted_with_are_refused():
    ring = {(one, (one + 1) % 3001): 1.0 for one in range(3001)}
    with pytest.raises(ValueError, match="rates must name at most 3000 states, got 3001"):
        MarkovModel(ring, up=[0])


# -- reducible, absorbing, small ----------------------------------------------------------------


def test_long_run_depends_on_the_start_where_it_must():
    rates = {
        ("new", "left"): 1e-6, ("new", "right"): 3e-6, ("left", "left too"): 2.0,
        ("left too", "left"): 1.0, ("right", "sink"): 5.0,
    }  # fmt: skip
    model = MarkovModel(rates, up=["new", "left"])
    assert model.states == ("new", "left", "right", "left too", "sink")
    expected = [0, 0.25 / 3, 0, 0.5 / 3, 0.75]
    assert model.steady_state() == pytest.approx(expected, rel=EXACT, abs=0)
    assert model.probabilities(math.inf) == pytest.approx(expected, rel=EXACT, abs=0)
    assert model.probabilities(1e12) == pytest.approx(expected, rel=1e-13, abs=1e-300)
    assert model.steady_state("left")[1] == pytest.approx(1 / 3, rel=EXACT, abs=0)
    assert model.steady_state({"left": 0.5, "sink": 0.5})[4] == pytest.approx(0.5, rel=EXACT, abs=0)
    assert model.mean_time_to_first_failure_h() < 1e7
    assert closed_classes(model._rates) == [[1, 3], [4]]


@pytest.mark.parametrize("rate", [1e-156, 1e-154, 1e-150, 1e-100])
def test_a_chance_near_the_smallest_number_is_right(rate):
    """After two steps, x^2/2 (1 - 2x/3) of the start: 1 - e^-x (1 + x), the Erlang law, x small."""
    slow_and_fast = {("new", "worn"): rate, ("worn", "lost"): rate, ("beats", "rests"): 1.0,
                     ("rests", "beats"): 1.0}
    model = MarkovModel(slow_and_fast, up=["new"], start={"new": 0.5, "beats": 0.5})
    lost = model.probabilities(1e6)[model.states.index("lost")]
    assert lost == pytest.approx((1e6 * rate) ** 2 / 4, rel=1e-13, abs=0)


def test_absorbing_without_repair():
    """Two units without repair: mean life 1.5 mtbf (textbook)."""
    model = MarkovModel({(2, 1): 2e-3, (1, 0): 1e-3}, up=[2, 1])
    assert model.unavailability == 1.0
    assert model.failures_per_h == 0.0
    assert model.mean_up_time_h == 0.0
    assert model.mean_down_time_h == math.inf
    assert model.mean_time_to_first_failure_h() == pytest.approx(1500, rel=EXACT, abs=0)
    survives = 2 * math.exp(-1.0) - math.exp(-2.0)
    assert model.reliability(1000) == pytest.approx(survives, rel=1e-13, abs=0)
    assert model.reliability(math.inf) == 0.0
    assert model.failures_until(1e9) == pytest.approx(1.0, rel=EXACT, abs=0)


def test_failure_that_may_never_come():
    model = MarkovModel({("a", "safe"): 1.0, ("a", "lost"): 3.0}, up=["a", "safe"])
    assert model.mean_time_to_first_failure_h() == math.inf
    assert model.first_passage(["lost"]).probability_ever == pytest.approx(0.75, rel=EXACT, abs=0)
    assert model.reliability(math.inf) == pytest.approx(0.25, rel=EXACT, abs=0)
    assert model.unreliability(math.inf) == pytest.approx(0.75, rel=EXACT, abs=0)
    life = model.first_passage(["lost"])
    assert life.variance_h2 == life.standard_deviation_h == math.inf
    assert life.quantile_h(0.8) == math.inf
    assert life.quantile_h(0.375) == pytest.approx(math.log(2) / 4, rel=1e-12, abs=0)


def test_one_state_named_by_up():
    chain = MarkovModel({}, up=["only"])
    assert chain.states == ("only",) and chain.steady_state().tolist() == [1.0]
    assert chain.unavailability == 0.0 and chain.mean_time_to_first_failure_h() == math.inf


def test_one_state():
    model = MarkovModel({}, up=["on"], start="on")
    assert model.states == ("on",)
    assert model.steady_state().tolist() == [1.0]
    assert model.probabilities([0, 5]).tolist() == [[1.0], [1.0]]
    assert model.unavailability == 0.0
    assert model.mean_time_to_first_failure_h() == math.inf
    assert MarkovModel({}, up=[], start="off").unavailability == 1.0


def test_all_up_and_none_up():
    rates = {("a", "b"): 1, ("b", "a"): 2}
    always = MarkovModel(rates, up=["a", "b"])
    assert (always.unavailability, always.failures_per_h) == (0.0, 0.0)
    assert (always.mean_up_time_h, always.mean_down_time_h) == (math.inf, 0.0)
    assert always.mean_time_to_first_failure_h() == math.inf
    assert always.reliability(100) == pytest.approx(1, rel=EXACT, abs=0)
    never = MarkovModel(rates, up=[])
    assert never.unavailability == pytest.approx(1, rel=EXACT, abs=0)
    assert (never.mean_up_time_h, never.mean_down_time_h) == (0.0, math.inf)
    assert never.mean_time_to_first_failure_h() == 0.0
    assert never.reliability([0, 1]).tolist() == [0.0, 0.0]
    assert never.unreliability(1) == pytest.approx(1, rel=EXACT, abs=0)


def test_start_in_a_down_state_and_spread():
    model = two_state(1000, 4)
    assert model.mean_time_to_first_failure_h("down") == 0.0
    assert model.reliability(10, start="down") == 0.0
    assert model.unavailability_at(0, start="down") == 1.0
    assert model.interval_availability(0, start="down") == 0.0
    mixed = {"up": 0.25, "down": 0.75}
    assert model.mean_time_to_first_failure_h(mixed) == pytest.approx(250, rel=EXACT, abs=0)
    assert model.first_passage(["down"], mixed).quantile_h(0.5) == 0.0
    assert MarkovModel(model.rates, up=["up"], start=mixed).start == mixed


def test_states_of_any_kind_and_whole_numbers():
    states = [("a", 1), None, 3.5, frozenset({1})]
    rates = {(states[i], states[(i + 1) % 4]): i + 1 for i in range(4)}
    model = MarkovModel(rates, up=[None])
    assert model.states == tuple(states)
    assert model.up == (None,) and len(model.down) == 3
    assert model.availability == pytest.approx(0.5 / (1 + 1 / 2 + 1 / 3 + 1 / 4), rel=EXACT, abs=0)
    assert model.rates == rates


def test_zero_rate_is_no_transition():
    model = MarkovModel({("a", "b"): 1.0, ("b", "a"): 1.0, ("a", "c"): 0.0}, up=["a"])
    assert model.steady_state().tolist() == [0.5, 0.5, 0.0]
    # Opening that way would lead to a place without return, and all probability there.
    assert closed_classes(model._rates) == [[0, 1], [2]]


def test_generator_cannot_be_written_to():
    model = two_state(1000, 4)
    assert model.generator.sum(axis=1) == pytest.approx([0, 0], abs=1e-18)
    with pytest.raises(ValueError, match="read-only"):
        model.generator[0, 1] = 5.0
    kept = model.steady_state()
    kept[0] = 7.0
    assert model.steady_state()[0] != 7.0


def test_beyond_the_range_of_a_double():
    """Fifty climbs of 1e12 to 1: all the probability is at the top, the bottom below 1e-308."""
    model = model_of(ladder(50, lambda i: 1e6, lambda i: 1e-6))
    p = model.steady_state()
    assert p[-1] == pytest.approx(1 - 1e-12, rel=EXACT, abs=0)
    assert p[-20] == pytest.approx((1 - 1e-12) * 1e-228, rel=1e-13, abs=0)
    assert np.all(np.isfinite(model.probabilities(1e12)))


def test_rates_of_any_size():
    """The unit of time does not matter, down to the smallest numbers and up to the largest."""
    base = np.array([[0, 3.0, 0], [1, 0, 2.0], [5.0, 0, 0]])
    expected = model_of(base).probabilities(0.7)
    for unit in (2.0**-1000, 2.0**900):
        model = model_of(base * unit)
        assert model.steady_state() == pytest.approx(
            model_of(base).steady_state(), rel=EXACT, abs=0
        )
        assert model.probabilities(0.7 / unit) == pytest.approx(expected, rel=EXACT, abs=0)
    smallest = model_of([[0, 5e-324], [5e-324, 0]])
    assert smallest.steady_state().tolist() == [0.5, 0.5]
    assert smallest.probabilities(1e9)[0] == 1.0
    with pytest.raises(ValueError, match=r"t_h must be <= 1e\+300 over the fastest rate per hour"):
        model_of(base).probabilities(1e301)
    assert model_of(base).probabilities(1e290) == pytest.approx(
        model_of(base).steady_state(), rel=EXACT, abs=0
    )


# -- properties ---------------------------------------------------------------------------------

rate = st.floats(-6, 6).map(lambda x: 10.0**x)
time = st.floats(-6, 6).map(lambda x: 10.0**x)


@st.composite
def chains(draw, connected=True):
    n = draw(st.integers(2, 5))
    arcs = {}
    for i in range(n):
        for j in range(n):
            if i != j:
                if connected and j == (i + 1) % n:
                    arcs[i, j] = draw(rate)
                else:
                    arcs[i, j] = draw(st.one_of(st.just(0.0), rate))
    up = draw(st.sets(st.integers(0, n - 1)))
    return MarkovModel(arcs, up=up)


@settings(max_examples=60, deadline=None)
@given(chains(connected=False), time, time)
def test_probabilities_are_probabilities(model, t, s):
    p = model.probabilities([0.0, t, t + s, math.inf])
    assert np.all(p >= 0)
    assert p.sum(axis=1) == pytest.approx(np.ones(4), rel=EXACT, abs=0)
    assert model.availability + model.unavailability == pytest.approx(1, rel=EXACT, abs=0)
    assert 0 <= model.unavailability <= 1 + EXACT
    r, f = model.reliability([t, t + s]), model.unreliability([t, t + s])
    assert r + f == pytest.approx(np.ones(2), rel=EXACT, abs=0)
    assert r[1] <= r[0] * (1 + EXACT) and f[0] <= f[1] * (1 + EXACT)
    hours = model.hours_in_states([t, t + s])
    assert hours.sum(axis=1) == pytest.approx([t, t + s], rel=1e-13, abs=0)


@settings(max_examples=40, deadline=None)
@given(chains(), time, time)
def test_going_on_from_where_it_is(model, t, s):
    """Chapman and Kolmogorov: two times in one go, or one after the other."""
    first = model.probabilities(t)
    then = {state: float(p) for state, p in zip(model.states, first, strict=True)}
    assert model.probabilities(s, start=then) == pytest.approx(
        model.probabilities(t + s), rel=1e-11, abs=1e-290
    )


@settings(max_examples=40, deadline=None)
@given(chains())
def test_long_run_balances(model):
    """Flow into each state equals flow out of it."""
    p = model.steady_state()
    flow = p[:, None] * model._rates
    assert flow.sum(axis=0) == pytest.approx(flow.sum(axis=1), rel=1e-13, abs=0)


@settings(max_examples=30, deadline=None)
@given(rate, rate, st.floats(1.01, 100))
def test_unavailability_is_monotone_in_each_rate(a, b, factor):
    def u(failure, repair):
        return crews_chain(3, failure, repair, 1, up_from=2).unavailability

    assert u(a * factor, b) > u(a, b) * (1 - EXACT)
    assert u(a, b * factor) < u(a, b) * (1 + EXACT)


# -- refusals -----------------------------------------------------------------------------------

GOOD = {("a", "b"): 1.0, ("b", "a"): 2.0}


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        (({}, []), ValueError, "rates must not be empty"),
        (({}, ["a", "b"]), ValueError, "rates must not be empty"),
        (([], ["a"]), TypeError, r"rates must be a mapping of \(from, to\) to rate per hour"),
        (({"ab": 1.0}, []), TypeError, r"rates must have keys \(from, to\), got 'ab'"),
        (({("a", "b"): -1.0}, []), ValueError, r"rates\[\('a', 'b'\)\] must be >= 0 and finite"),
        (({("a", "b"): math.nan}, []), ValueError, "must be >= 0 and finite, got nan"),
        (({("a", "b"): math.inf}, []), ValueError, "must be >= 0 and finite, got inf"),
        (({("a", "b"): 1.1e300}, []), ValueError, r"must be at most 1e\+300, got 1.1e\+300"),
        (({("a", "b"): "1"}, []), TypeError, r"rates\[\('a', 'b'\)\] must be a number, got '1'"),
        (({("a", "b"): True}, []), TypeError, "must be a number, got True"),
        (({("a", "a"): 1.0}, []), ValueError, "must lead to another state, got 'a' to itself"),
        ((GOOD, ["c"]), ValueError, r"up must name states of the chain \('a', 'b'\), got 'c'"),
        ((GOOD, "ab"), TypeError, "up must be an iterable of states, got 'ab'"),
        ((GOOD, 3), TypeError, "up must be an iterable of states, got 3"),
        ((GOOD, [["a"]]), TypeError, r"up must name hashable states, got \['a'\]"),
        ((GOOD, ["a"], "c"), ValueError, "start must name states of the chain"),
        ((GOOD, ["a"], {"a": 0.5}), ValueError, "must have probabilities that sum to 1, got a sum"),
        ((GOOD, ["a"], {"a": 2}), ValueError, r"start\['a'\] must be between 0 and 1, got 2"),
        ((GOOD, ["a"], {"a": "1"}), TypeError, r"start\['a'\] must be a number, got '1'"),
        (({}, [], []), TypeError, r"start must be a hashable state, got \[\]"),
    ],
)
def test_refused_arguments(arguments, error, message):
    with pytest.raises(error, match=message):
        MarkovModel(*arguments)


@pytest.mark.parametrize(
    ("t", "error", "message"),
    [
        (-1, ValueError, "t_h must be >= 0, got"),
        ([1, math.nan], ValueError, "t_h must be >= 0, got"),
        ("8760", TypeError, "t_h must be a number or a sequence of numbers, got '8760'"),
        ([None], TypeError, "every value of t_h must be a number, got None"),
        (True, TypeError, "t_h must be a number or a sequence of numbers, got True"),
    ],
)
def test_refused_times(t, error, message):
    model = two_state(1000, 4)
    for ask in (model.probabilities, model.unavailability_at, model.reliability, model.entries):
        with pytest.raises(error, match=message.replace(">= 0,", ">= 0(?: and finite)?,")):
            ask(t)


def test_other_refusals():
    model = two_state(1000, 4)
    # 3000 of the fastest rates out of one state are 3e303, which a float holds
    assert MarkovModel({("a", "b"): 1e300}, up=["a"]).rates == {("a", "b"): 1e300}
    fork = MarkovModel({("a", "b"): 1.0, ("a", "c"): 1.0}, up=["a"])
    with pytest.raises(ValueError, match="sensitivity, got 2, with 'b' and 'c'"):
        fork.unavailability_sensitivity()
    with pytest.raises(ValueError, match="t_h must be >= 0 and finite, got"):
        model.hours_in_states(math.inf)
    with pytest.raises(ValueError, match="targets must name at least one state, got none"):
        model.first_passage([])
    with pytest.raises(TypeError, match="targets must be an iterable of states, got 'down'"):
        model.first_passage("down")
    for order in (0, 171):
        with pytest.raises(ValueError, match=f"order must be 1 to 170, got {order}"):
            model.first_passage(["down"]).moment(order)
    with pytest.raises(ValueError, match="probability must be > 0 and < 1, got 1"):
        model.first_passage(["down"]).quantile_h(1)
    for bad, error in ((0, ValueError), (-2, ValueError), (math.inf, ValueError), ("4", TypeError)):
        with pytest.raises(error, match=f"mttr_h must be .*, got '?{bad}"):
            two_state(1000, bad)


def test_times_of_any_shape():
    model = two_state(1000, 4)
    times_h = [[1.0, 2.0, 5.0], [8.0, 40.0, math.inf]]
    for ask in (model.probabilities, model.unavailability_at, model.interval_availability,
                model.reliability):
        flat = ask(np.ravel(times_h))
        assert np.array_equal(ask(times_h), flat.reshape(2, 3, *flat.shape[1:]))


def test_no_times_at_all():
    assert two_state(1000, 4).probabilities([]).shape == (0, 2)
    assert two_state(1000, 4).reliability(()).shape == (0,)


@settings(max_examples=40, deadline=None)
@given(chains(), st.data())
def test_sensitivity_is_a_slope(model, data):
    """Against a secant in 140 digits over a change of 1e-40 of the rate."""
    arc = data.draw(st.sampled_from([a for a, r in model.rates.items() if r > 0]))
    slope = model.unavailability_sensitivity()[arc]
    n = len(model.states)
    rates = [[model.rates.get((i, j), 0.0) for j in model.states] for i in model.states]
    i, j = (model.states.index(state) for state in arc)
    down = [k for k in range(n) if model.states[k] not in model.up]

    def exact(change):
        with mpmath.workdps(140):
            q = exact_generator(rates)
            extra = mpmath.mpf(rates[i][j]) * change
            q[i, j] += extra
            q[i, i] -= extra
            a = q.T
            b = mpmath.zeros(n, 1)
            for k in range(n):
                a[n - 1, k] = 1
            b[n - 1] = 1
            p = mpmath.lu_solve(a, b)
            return mpmath.fsum(p[k] for k in down)

    with mpmath.workdps(140):
        tiny = mpmath.mpf(10) ** -40
        true = (exact(tiny) - exact(-tiny)) / (2 * tiny * mpmath.mpf(rates[i][j]))
    # The documented error: a few roundings of the two terms whose difference the slope is.
    others = [k for k in range(n) if k != i]
    rates = np.array(rates)
    inner = Reduction(rates[np.ix_(others, others)], rates[others, i])
    is_down = np.isin(others, down)
    down_h, up_h = inner.mean_until_gone(np.column_stack([is_down, ~is_down]))[others.index(j)]
    terms = model.availability * down_h + model.unavailability * up_h
    assert abs(slope - float(true)) <= 1e-14 * model.steady_state()[i] * terms


def test_a_moment_beyond_what_a_float_holds_is_infinite():
    """By hand: 1 h, then a mean of 1e200 h; the second moment of that is 2e400 h2."""
    slow = MarkovModel({("a", "b"): 1.0, ("b", "down"): 1e-200}, up=["a", "b"])
    life = slow.first_passage(["down"])
    assert life.mean_h == pytest.approx(1e200, rel=1e-12)
    assert life.moment(2) == life.variance_h2 == math.inf


def test_first_passage_by_hand():
    """Two stages of 1000 h: density t / 1000^2 exp(-t / 1000), variance 2 x 1000^2."""
    stages = MarkovModel({("a", "b"): 1e-3, ("b", "c"): 1e-3}, up=["a", "b"])
    life = stages.first_passage(["c"])
    assert life.density_per_h(2000) == pytest.approx(2e-3 * math.exp(-2), rel=1e-12)
    assert life.density_per_h([0, 2000]) == pytest.approx([0, 2e-3 * math.exp(-2)], rel=1e-12)
    assert (life.mean_h, life.variance_h2, life.moment(2)) == pytest.approx((2000, 2e6, 6e6))
    assert life.moment(3) == pytest.approx(2 * 3 * 4 * 1e9, rel=1e-12)
    assert life.survival(1000) == pytest.approx(2 / math.e, rel=1e-12)
    # a number is a number, however it is written
    for exact in (Fraction(2000), np.int64(2000), 2000.0):
        assert life.probability(exact) == pytest.approx(1 - 3 * math.exp(-2), rel=1e-12)
    assert list(life.probability([Fraction(0), Fraction(2000)])) == pytest.approx(
        [0, 1 - 3 * math.exp(-2)], rel=1e-12)
    assert life.probability(math.inf) == 1 and life.survival(math.inf) == 0
    assert life.density_per_h(math.inf) == 0


def test_a_start_half_within_the_targets():
    half = MarkovModel({("a", "b"): 1e-3}, up=["a"], start={"a": 0.5, "b": 0.5})
    life = half.first_passage(["b"])
    assert life.probability(0) == 0.5 and life.quantile_h(0.5) == 0 and life.quantile_h(0.3) == 0
    # 1 - exp(-t / 1000) / 2 = 0.75
    assert life.quantile_h(0.75) == pytest.approx(1000 * math.log(2), rel=1e-10)
    assert life.quantile_h(0.5 + 1e-9) == pytest.approx(2e-6, rel=1e-3)
    assert life.mean_h == pytest.approx(500, rel=1e-12)
    # what is there at time 0 has no time, to the last digit; 1 - 0.4 is a digit less than 0.4 + 0.2
    rates = {("a", "b"): 1e-3, ("b", "c"): 1e-3}
    parts = MarkovModel(rates, up=["a"], start={"a": 0.4, "b": 0.2, "c": 0.4})
    assert parts.first_passage(["c"]).quantile_h(0.4) == 0.0
    whole = MarkovModel(rates, up=["a"], start="c").first_passage(["c"])
    assert (whole.mean_h, whole.quantile_h(0.5), whole.probability_ever) == (0, 0, 1)


def test_targets_that_may_be_missed():
    """From a to b three times as often as to the trap: ever 3/4, in time 3/4 (1 - exp(-t / 250))."""
    fork = MarkovModel({("a", "b"): 3e-3, ("a", "trap"): 1e-3}, up=["a"])
    life = fork.first_passage(["b"])
    assert life.probability_ever == pytest.approx(0.75, rel=1e-13)
    assert life.probability(math.inf) == pytest.approx(0.75) and life.survival(math.inf) == (
        pytest.approx(0.25))
    assert life.probability(250) == pytest.approx(0.75 * -math.expm1(-1), rel=1e-12)
    assert life.quantile_h(0.8) == math.inf and math.isinf(life.mean_h)
    assert math.isinf(life.variance_h2) and math.isinf(life.standard_deviation_h)
    rare = MarkovModel({("a", "b"): 1.0, ("a", "trap"): 19.0}, up=["a"]).first_passage(["b"])
    assert rare.quantile_h(1 / 20) == math.inf
    rates = {("trap", "on"): 1.0, ("a", "b"): 1.0}
    trapped = MarkovModel(rates, up=["a"], start={"b": 0.5, "trap": 0.5})
    assert trapped.first_passage(["b"]).probability_ever == 0.5
    # half of 3/4 after 250 ln 2
    assert life.quantile_h(0.375) == pytest.approx(250 * math.log(2), rel=1e-10)


def test_a_chain_whose_start_and_names_are_said():
    stage = MarkovModel({(n, n + 1): 1e-3 for n in range(6)}, up=range(6), start={0: 1})
    with pytest.raises(ValueError, match=r"\(0, 1, 2, 3, 4, 5, \.\.\.\), got 'x'"):
        stage.first_passage(["x"])
    short = MarkovModel({(n, n + 1): 1e-3 for n in range(5)}, up=range(5))
    with pytest.raises(ValueError, match=r"\(0, 1, 2, 3, 4, 5\), got 'x'"):
        short.first_passage(["x"])
    # down at once and for ever at time 0; by 1000 h on average t - 1000 (1 - exp(-1)) of 1000
    one = MarkovModel({("a", "b"): 1e-3}, up=["a"])
    assert list(one.interval_unavailability([0, 1000])) == pytest.approx([0, math.exp(-1)])
    assert one.interval_unavailability(0, start="b") == 1
    assert one.interval_unavailability(math.inf) == pytest.approx(1)


def test_chance_of_never_arriving_by_hand():
    """From a half to b; from b half to the goal; hours 1/2 and 1/8, ways into traps 1 and 2 an hour."""
    rates = {("a", "b"): 1, ("a", "trap"): 1, ("b", "goal"): 2, ("b", "trap"): 1, ("b", "pit"): 1}
    passage = MarkovModel(rates, up=["a", "b"]).first_passage(["goal"])
    assert passage.probability_ever == pytest.approx(1 / 4, rel=1e-14)
    assert passage.probability(math.inf) == pytest.approx(1 / 4, rel=1e-14)
    assert passage.survival(math.inf) == pytest.approx(1 / 2 + 2 / 8, rel=1e-14)


def test_a_trap_that_is_not_met_and_a_goal_that_is_reached_at_once():
    """From a by 2 an hour after half an hour, whatever lies beyond x; e^-400 h are no time at all."""
    model = MarkovModel({("a", "goal"): 2.0, ("x", "trap"): 1.0}, up=["a"])
    passage = model.first_passage(["goal"])
    assert passage.probability_ever == 1.0 and passage.mean_h == pytest.approx(0.5, rel=1e-14)
    fast = MarkovModel({("up", "down"): 1e280}, up=["up"]).first_passage(["down"])
    assert fast.quantile_h(0.3) == 0.0


def test_late_quantile_has_its_digits():
    """One unit of 1 an hour outlives 40 half-lives with 2^-40; on the side of 1 that has 4 digits."""
    passage = MarkovModel({("up", "down"): 1.0}, up=["up"]).first_passage(["down"])
    assert passage.quantile_h(1 - 2.0**-40) == pytest.approx(40 * math.log(2), rel=1e-11)
    assert passage.quantile_h(2.0**-40) == pytest.approx(-math.log1p(-(2.0**-40)), rel=1e-11)


def test_a_state_sixty_steps_away_is_reached_at_once():
    """Pure births, 1 an hour: after half an hour Poisson, e^-0.5 0.5^k / k!, also for k = 60."""
    model = MarkovModel({(k, k + 1): 1.0 for k in range(70)}, up=[0])
    found = model.probabilities(0.5)
    for k in (0, 5, 30, 60):
        exact = math.exp(-0.5) * 0.5**k / math.factorial(k)
        assert found[k] == pytest.approx(exact, rel=1e-12, abs=0)


def test_a_start_is_read_to_its_last_digit():
    """What sums to 1 within 1e-9 is taken, and then sums to 1; what cannot be is not named."""
    rates = {("up", "down"): 1.0, ("down", "up"): 3.0}
    model = MarkovModel(rates, up=["up"], start={"up": 0.5, "down": 0.5 + 8e-10})
    assert sum(model.start.values()) == pytest.approx(1, rel=1e-15)
    with pytest.raises(ValueError, match="probabilities that sum to 1"):
        MarkovModel(rates, up=["up"], start={"up": 0.5, "down": 0.5 + 1.5e-9})
    assert MarkovModel(rates, up=["up"], start={"up": 1.0, "down": 0.0}).start == {"up": 1.0}
    # a quarter of 8760 h
    assert model.downtime_h_per_year == pytest.approx(2190, rel=1e-14)


def test_a_state_that_is_left_for_ever_has_no_slope():
    """From "new" the chain comes to up and down, and never back: its rate changes nothing."""
    model = MarkovModel({("new", "up"): 2.0, ("up", "down"): 1.0, ("down", "up"): 3.0}, up=["up"])
    slope = model.unavailability_sensitivity()
    assert slope["new", "up"] == 0.0
    # U = a / (a + b): dU/da = b / (a + b)^2 = 3 / 16
    assert slope["up", "down"] == pytest.approx(3 / 16, rel=1e-13)


def test_where_a_chain_may_end_in_two_ways_there_is_no_slope():
    model = MarkovModel({("a", "hit"): 1.0, ("a", "lost"): 3.0}, up=["a", "hit"], start="a")
    with pytest.raises(ValueError, match="one closed set of states .* got 2, with 'hit' and 'lost'"):
        model.unavailability_sensitivity()


def test_what_is_never_met_need_not_be_worked_out():
    """From a nobody comes to x and y, which are left by a rate that no elimination can tell from 0."""
    rates = {("a", "b"): 1.0, ("b", "a"): 3.0, ("x", "y"): 1.0, ("y", "x"): 3.0, ("y", "a"): 5e-324,
             ("z", "end"): 1.0}
    model = MarkovModel(rates, up=["a"], start="a")
    assert model.steady_state() == pytest.approx([0.75, 0.25, 0, 0, 0, 0], rel=1e-15)
    # there is one end for those that begin there, so no chance has to be worked out either
    assert model.steady_state("x") == pytest.approx([0.75, 0.25, 0, 0, 0, 0], rel=1e-15)


def test_each_row_of_a_course_keeps_its_own_sum():
    rates, start = np.array([[0.0, 3.0], [4.0, 0.0]]), np.diag([1.0, 3.0])
    for times in ([0.0, 0.1], [0.0, 1e6]):
        p, hours = transient.evolve(rates, start, np.array(times))
        np.testing.assert_allclose(p.sum(axis=-1), [[1, 3], [1, 3]], rtol=1e-14)
        np.testing.assert_allclose(hours.sum(axis=-1), np.outer(times, [1, 3]), rtol=1e-12)
    np.testing.assert_allclose(p[1] * 7, [[4, 3], [12, 9]], rtol=1e-12)


def test_a_target_that_may_be_missed_by_its_closed_forms():
    """From *a* at 1/h to *hit* and 3/h to *lost*: by hand, F(t) = (1 - exp(-4 t)) / 4, never 3/4."""
    model = MarkovModel({("a", "hit"): 1.0, ("a", "lost"): 3.0}, up=["a"], start={"a": 1.0})
    passage = model.first_passage(["hit"])
    times_h = np.array([[0.1, 0.5], [2.0, math.inf]])
    found = -np.expm1(-4 * times_h) / 4
    np.testing.assert_allclose(passage.probability(times_h.ravel()), found.ravel(), rtol=1e-12, atol=0)
    np.testing.assert_allclose(passage.survival(times_h.ravel()), 1 - found.ravel(), rtol=1e-12, atol=0)
    assert passage.probability(math.inf) == passage.probability_ever == pytest.approx(0.25, rel=1e-14)
    assert passage.survival(math.inf) == pytest.approx(0.75, rel=1e-14)
    assert passage.mean_h == passage.variance_h2 == passage.standard_deviation_h == math.inf
    assert passage.quantile_h(0.2) == pytest.approx(-math.log(1 - 0.8) / 4, rel=1e-9)
    assert passage.quantile_h(0.25) == math.inf
    sure = two_state(mtbf_h=1000, mttr_h=4).first_passage(["down"])
    assert sure.variance_h2 == pytest.approx(1000.0**2, rel=1e-12)
    assert sure.standard_deviation_h == pytest.approx(1000.0, rel=1e-12)
    assert sure.moment(3) == pytest.approx(6 * 1000.0**3, rel=1e-12)
    assert sure.quantile_h(0.999) == pytest.approx(1000 * math.log(1000), rel=1e-9)
    with pytest.raises(ValueError, match="order must be"):
        sure.moment(0)
