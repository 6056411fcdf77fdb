"""Every published value against the model that expresses it, and the values against themselves.

What is read from a log, a row of trials or a sign is in test_limits.py, with the same rows.
"""

import doctest
import math
import re
from pathlib import Path

import mpmath
import numpy as np
import pytest
import scipy.linalg
from scipy.optimize import brentq

from labkit.availability.parts import Part, at_least, parallel, series
from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.demand import pfd_1oo1, pfd_1oo2, pfd_2oo3
from labkit.markov.pair import redundant_pair
from labkit.markov.proof_tests import best_test_interval_h
from labkit.markov.staggered_tests import ProofTestedChannels
from tests import references
from tests.references import (
    COURTOIS,
    DIGITS_KEPT,
    FACTS,
    REFERENCES,
    TRAPS,
    agrees,
    agrees_closely,
    exact_value,
    exact_values,
    off_by,
    population_chain,
    value,
    values,
)

# No model here expresses these: a chain in discrete steps, a sum of three rates, and tables that
# are conventions.
NOT_MODELLED = {"B7", "C4", "F4", "G26"}


def both(row, computed):
    """Assert the printed and the recomputed digits."""
    agrees(row, computed)
    agrees_closely(row, computed)


# -- the values themselves ----------------------------------------------------------------------


# What a source must say, by kind: who and when (of a library: which version); a habit; a sum.
SAYS = {
    "found": r"^[A-Z].*\b((19|20)\d\d\b|commit [0-9a-f]{7}\b|\d+\.\d+\.\d+\b)",
    "practice": r"^common practice: ",
    "memory": r"^[A-Z].*\bfrom memory\b",
    "fact": r"^(sum by hand|own computation in 40 digits)\b",
}
# Words of sources that nobody can find.
NOWHERE = re.compile(r"public (page|site|table|tutorial|worked|summary|success|study|manual)|trade "
                     r"press|not named|question-and-answer|encyclopaedia|calculator|several,", re.I)


def says_where_it_is_from(row):
    assert re.search(SAYS[row.kind], row.source), f"{row.kind}: {row.source}"
    assert not NOWHERE.search(row.source), row.source
    remembered = re.search(r"\(0\.\d+\)", row.kind_note)
    assert (row.kind == "memory") == bool(remembered), "memory, and nothing else, has a confidence"


@pytest.mark.parametrize("row", REFERENCES.values(), ids=REFERENCES)
def test_row_is_whole(row):
    assert row.quantity and row.inputs and row.source
    says_where_it_is_from(row)
    assert all(math.isfinite(number) for number in values(row.id))
    if row.recomputed:
        agrees(row.id, exact_values(row.id))


@pytest.mark.parametrize("trap", TRAPS.values(), ids=TRAPS)
def test_trap_is_consistent(trap):
    off_by(trap.id, float(trap.approximate), float(trap.exact))


def test_examples_in_docstrings():
    result = doctest.testmod(references)
    assert result.attempted >= 1
    assert result.failed == 0


def test_agreement_can_fail():
    agrees("D3", 0.99849)
    with pytest.raises(AssertionError, match=r"D3: 0.998 expected, 0.9986 computed"):
        agrees("D3", 0.9986)
    with pytest.raises(AssertionError, match="I1: 2 values expected, 1 computed"):
        agrees("I1", 127.069)
    with pytest.raises(AssertionError):
        agrees_closely("D3", 0.9976)
    with pytest.raises(AssertionError):
        agrees("E22", 126_500.1)  # printed without rounding
    with pytest.raises(AssertionError):
        off_by("T1", 1.6e-7, 1.6e-7)
    agrees("C1", 0.78286)  # printed cut, not rounded: a whole unit is allowed


def test_every_row_is_used():
    folder = Path(__file__).parent
    text = "".join(path.read_text("utf-8") for path in folder.glob("test_*.py"))
    used = set(re.findall(r'"([A-Z]\d+)"', text))
    missing = (REFERENCES.keys() | TRAPS.keys()) - used
    assert not missing
    assert NOT_MODELLED <= REFERENCES.keys()


# -- A, B: nines and two states -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "availability", "hours", "per_h"),
    [
        ("A1", 0.99, 8760, 1 / 24),
        ("A2", 0.999, 8760, 1),
        ("A3", 0.9999, 8760, 60),
        ("A4", 0.99999, 8760, 60),
        ("A5", 0.999999, 8760, 3600),
        ("A7", 0.999, 24, 60),
        ("A9", 0.999, 730, 60),
    ],
)
def test_nines(row, availability, hours, per_h):
    unit = Part("unit", mtbf_h=availability, mttr_h=1 - availability)
    both(row, unit.downtime_h_per_year * hours / 8760 * per_h)


def test_availability_from_mtbf_and_mttr():
    for unit in (Part("unit", mtbf_h=500_000, mttr_h=4), two_state(mtbf_h=500_000, mttr_h=4)):
        both("A14", unit.availability)
        both("A15", unit.downtime_h_per_year * 60)
    both("A16", Part("unit", mtbf_h=81.5 * 8760, mttr_h=1).availability)


def test_two_states():
    both("B2", MarkovModel({(0, 1): 3, (1, 0): 4}, up=[0]).steady_state())
    both("B3", MarkovModel({(0, 1): 0.6, (1, 0): 0.2}, up=[0]).steady_state())


# -- C, H: diagrams -----------------------------------------------------------------------------


def test_survival_without_repair():
    like = [Part(name, mtbf_h=1 / 0.00034, mttr_h=1) for name in ("one", "two")]
    both("C1", like[0].mission_reliability(720))
    both("C2", parallel(*like).mission_reliability(720))
    both("C5", Part("unit", mtbf_h=1 / exact_value("C4"), mttr_h=1).mission_reliability(24))


def test_mean_time_to_failure_of_like_units():
    like = [Part(f"unit {k}", mtbf_h=1, mttr_h=1) for k in range(4)]
    found = [parallel(*like[:n]).mission_mttf_h() for n in (2, 3, 4)]
    both("C19", found)


def bridge(q=0.1):
    """Two ways of two units, and a fifth between them: the paths written out."""
    a, b, c, d, e = (Part(name, mtbf_h=1 - q, mttr_h=q) for name in "abcde")
    return parallel(series(a, d), series(b, e), series(a, c, e), series(b, c, d))


def test_bridge():
    both("C18", bridge().availability)
    both("H12", bridge().unavailability)
    importance = bridge().importance()
    both("H13", [importance["a"].birnbaum, importance["c"].birnbaum])
    corners = sum(importance[name].birnbaum for name in "abde")
    assert corners + importance["c"].birnbaum == pytest.approx(0.441, rel=1e-12)


def test_sums_of_cut_sets():
    q = 0.1
    cut_sets = bridge(q).minimal_cut_sets()
    off_by("T31", sum(q ** len(names) for names in cut_sets), bridge(q).unavailability)
    bound = 1 - math.prod(1 - q ** len(names) for names in cut_sets)
    off_by("T32", bound, bridge(q).unavailability)
    four = at_least(3, *(Part(name, mtbf_h=1, mttr_h=1) for name in "abcd"))
    # fails when any two of four have failed
    off_by("T33", sum(0.5 ** len(names) for names in four.minimal_cut_sets()), four.unavailability)


def test_pressure_tank():
    """NUREG-0492, ch. VIII (memory): shares of the relay K2 and of the tank T."""
    chances = {"T": 5e-6, "K2": 3e-5, "S": 1e-4, "S1": 3e-5, "K1": 3e-5, "R": 1e-4}
    t, k2, s, s1, k1, r = (Part(name, mtbf_h=1 - q, mttr_h=q) for name, q in chances.items())
    importance = series(t, k2, parallel(s, series(s1, k1, r))).importance()
    shares = [importance["K2"].fussell_vesely, importance["T"].fussell_vesely]
    agrees("H11", shares)
    # recomputed with the sum of cut sets, which is 1.6e-8 of 3.5e-5 from exact
    np.testing.assert_allclose(shares, exact_values("H11"), rtol=1e-4, atol=0)


def test_five_units_with_a_crew_each():
    units = [Part(name, mtbf_h=6, mttr_h=12) for name in "abcde"]
    both("D11", parallel(*units).unavailability)


# -- D: pairs and crews in the long run ---------------------------------------------------------


def test_crews_that_keep_a_series_at_nine_tenths():
    """Four like subsystems, one crew: the ratio of rates that gives 0.90."""

    def availability(ratio):
        rates = {(k, k + 1): (4 - k) for k in range(4)} | {(k + 1, k): ratio for k in range(4)}
        return MarkovModel(rates, up=[0]).availability

    both("D1", brentq(lambda ratio: availability(ratio) - 0.9, 20, 60, xtol=1e-10))


@pytest.mark.parametrize(
    ("row", "standby_ratio", "crews"),
    [("D3", 0.0, 1), ("D4", 1.0, 1), ("D5", 0.0, 2), ("D6", 1.0, 2)],
)
def test_pair_of_the_handbook(row, standby_ratio, crews):
    pair = redundant_pair(100, 5, standby_ratio=standby_ratio, crews=crews)
    both(row, pair.availability)


def test_overlapping_outages():
    """Failures per year times hours, as the source counts; exact within 0.02 %."""
    rates, hours = (0.05, 0.02), (20, 25)
    approximate = rates[0] * rates[1] * sum(hours) / 8760
    block = parallel(
        *(
            Part(name, mtbf_h=8760 / rate, mttr_h=hour)
            for name, rate, hour in zip("ab", rates, hours, strict=True)
        )
    )
    both("D8", approximate)
    both("D9", block.mean_down_time_h)
    both("D10", approximate * block.mean_down_time_h)
    # The usual formula leaves out the next order in restoration time / time between failures.
    assert block.downtime_h_per_year == pytest.approx(value("D10"), rel=2e-3)
    off_by("T23", approximate, block.failures_per_h * 8760)


def test_series_that_is_repaired_only_when_down():
    rates = {("up", 1): 0.01, (1, "up"): 1.0, ("up", 2): 0.02, (2, "up"): 1.0}
    both("D12", MarkovModel(rates, up=["up"]).availability)


def one_crew(units, needed, failures, repairs):
    """Like units with one crew; the state is the number failed."""
    rates = {(k, k + 1): (units - k) * failures for k in range(units)}
    rates |= {(k + 1, k): repairs for k in range(units)}
    return MarkovModel(rates, up=range(units - needed + 1))


def test_series_of_four_by_three_models():
    units = [Part(name, mtbf_h=1, mttr_h=0.01) for name in "abcd"]
    independent = series(*units).availability
    off_by("T21", independent, one_crew(4, 4, 1.0, 100.0).availability)
    shut_down = {("up", k): 1.0 for k in range(4)} | {(k, "up"): 100.0 for k in range(4)}
    off_by("T22", MarkovModel(shut_down, up=["up"]).availability, independent)


def test_three_of_five():
    """The redundancy equation is the limit of one crew; with a crew each it is twice too high."""
    failures, repairs = 220e-6, 1 / 3
    formula = math.factorial(5) / math.factorial(2) * failures**3 / repairs**2
    both("E32", formula)
    one = one_crew(5, 3, failures, repairs)
    off_by("T24", formula, 1 / one.mean_time_to_first_failure_h())
    rates = {(k, k + 1): (5 - k) * failures for k in range(5)}
    rates |= {(k + 1, k): (k + 1) * repairs for k in range(5)}
    each = MarkovModel(rates, up=range(3))
    off_by("T25", formula, 1 / each.mean_time_to_first_failure_h())


@pytest.mark.parametrize(
    ("traps", "failures", "repairs"),
    [
        (("T1", "T2", "T3"), 1e-4, 0.25),
        (("T4", "T5", "T6"), 1e-3, 0.25),
        (("T7", "T8", "T9"), 1e-2, 0.2),
    ],
)
def test_hot_pair_by_its_approximations(traps, failures, repairs):
    two = redundant_pair(1 / failures, 1 / repairs, crews=2)
    one = redundant_pair(1 / failures, 1 / repairs, crews=1)
    ratio = failures / repairs
    off_by(traps[0], ratio**2, two.unavailability)
    off_by(traps[1], 2 * ratio**2, one.unavailability)
    off_by(traps[2], repairs / (2 * failures**2), one.mean_time_to_first_failure_h())


def test_mean_time_between_failures_is_not_the_time_to_the_first():
    pair = redundant_pair(1000, 4)
    off_by("T10", 1 / pair.failures_per_h, pair.mean_time_to_first_failure_h())


# -- E: time to the first failure ---------------------------------------------------------------


def test_pair_with_repair():
    both("E22", redundant_pair(1000, 4).mean_time_to_first_failure_h())
    both("E23", redundant_pair(1000, 4, standby_ratio=0).mean_time_to_first_failure_h())


def one_element_hidden(failures, repairs):
    """Failures of the second element are not seen (Birolini, Ex. 6.16)."""
    return MarkovModel(
        {
            ("both", "first failed"): failures,
            ("both", "second failed, unseen"): failures,
            ("first failed", "both"): repairs,
            ("first failed", "none"): failures,
            ("second failed, unseen", "none"): failures,
        },
        up=["both", "first failed", "second failed, unseen"],
    )


def test_hidden_failures_of_one_element():
    both("E20", one_element_hidden(1e-6, 1.0).mean_time_to_first_failure_h() / 2e6)
    hidden = one_element_hidden(1e-3, 0.25).mean_time_to_first_failure_h()
    both("E21", hidden)
    off_by("T36", redundant_pair(1000, 4).mean_time_to_first_failure_h(), hidden)


def pair_with_coverage(failures, repairs, coverage):
    """A failure of either unit is covered with the same chance."""
    return MarkovModel(
        {
            (2, 1): 2 * failures * coverage,
            (2, 0): 2 * failures * (1 - coverage),
            (1, 2): repairs,
            (1, 0): failures,
        },
        up=[2, 1],
    )


def test_coverage():
    failures, repairs, coverage = 1e-3, 0.25, 0.95
    found = pair_with_coverage(failures, repairs, coverage).mean_time_to_first_failure_h()
    formula = (failures * (1 + 2 * coverage) + repairs) / (
        2 * failures * (failures + repairs * (1 - coverage))
    )
    both("E24", found / formula)
    both("E25", found)
    covered = pair_with_coverage(1e-4, 0.25, 0.99).mean_time_to_first_failure_h()
    off_by("T35", redundant_pair(1e4, 4).mean_time_to_first_failure_h(), covered)


def test_mirrored_disks():
    approximate = 6e6**2 / (2 * 120)
    both("E26", approximate)
    off_by("T34", approximate, redundant_pair(6e6, 120).mean_time_to_first_failure_h())


@pytest.mark.parametrize(
    ("row", "group", "groups"), [("E27", 2, 100), ("E28", 11, 10), ("E29", 26, 4)]
)
def test_arrays_of_disks(row, group, groups):
    """100 disks of 30 000 h, an hour of repair; a group is lost with its second disk."""
    approximate = 30_000**2 / (group * (group - 1)) / groups
    both(row, approximate)
    exact = one_crew(group, group - 1, 1 / 30_000, 1.0).mean_time_to_first_failure_h() / groups
    # what the formula leaves out
    assert exact / approximate - 1 == pytest.approx((2 * group - 1) / 30_000, rel=1e-9)


# -- F: common cause ----------------------------------------------------------------------------


def test_two_of_three_with_common_cause():
    alone, together = 0.95e-3, 0.05e-3
    units = [Part(name, mtbf_h=1 - alone, mttr_h=alone) for name in "abc"]
    common = Part("common cause", mtbf_h=1 - together, mttr_h=together)
    found = series(common, at_least(2, *units)).unavailability
    agrees("F1", found)
    # recomputed as a sum, which leaves out 2 q^3 and the overlap
    assert 0 < exact_value("F1") / found - 1 < 1e-4


# -- G: probability of failure on demand --------------------------------------------------------


def pfd_of_common_causes(rate_per_h, *, diagnosed, common_cause, common_cause_diagnosed, **how):
    """What takes all channels at once is as one channel: beta of the rates."""
    seen, unseen = common_cause_diagnosed * diagnosed, common_cause * (1 - diagnosed)
    return pfd_1oo1(rate_per_h * (seen + unseen), diagnosed=seen / (seen + unseen), **how)


@pytest.mark.parametrize(
    ("row", "pfd", "rate_per_h", "diagnosed", "common_cause", "interval_h"),
    [
        ("G1", pfd_1oo1, 0.5e-7, 0.0, None, 4380),
        ("G2", pfd_1oo1, 0.5e-7, 0.6, None, 4380),
        ("G3", pfd_1oo1, 0.5e-7, 0.9, None, 4380),
        ("G5", pfd_1oo2, 0.5e-7, 0.0, 0.10, 4380),
        ("G6", pfd_1oo2, 0.5e-7, 0.6, 0.02, 4380),
        ("G9", pfd_2oo3, 0.5e-7, 0.6, 0.02, 4380),
        ("G10", pfd_1oo2, 0.5e-6, 0.0, 0.02, 4380),
        ("G11", pfd_2oo3, 0.5e-6, 0.0, 0.02, 4380),
        ("G12", pfd_1oo2, 2.5e-6, 0.0, 0.10, 4380),
        ("G14", pfd_1oo2, 0.5e-5, 0.0, 0.02, 4380),
        ("G16", pfd_1oo2, 2.5e-5, 0.0, 0.02, 4380),
        ("G18", pfd_2oo3, 2.5e-6, 0.9, 0.20, 8760),
        ("G19", pfd_1oo1, 0.5e-5, 0.6, None, 8760),
        ("G21", pfd_of_common_causes, 0.5e-5, 0.99, 0.02, 8760),
    ],
)
def test_probability_of_failure_on_demand(
    row, pfd, rate_per_h, diagnosed, common_cause, interval_h
):
    """IEC 61508-6, Annex B (memory); beta for detected failures is half of beta."""
    how = {"test_interval_h": interval_h, "diagnosed": diagnosed, "mttr_h": 8.0}
    if common_cause is not None:
        how |= {"common_cause": common_cause, "common_cause_diagnosed": common_cause / 2}
    both(row, pfd(rate_per_h, **how))


def test_probability_of_failure_of_a_whole_function():
    """Sensors 2oo3, logic 1oo2D (common cause only), two valves 1oo1; tested half-yearly."""
    sensors = pfd_2oo3(
        2.5e-6,
        test_interval_h=4380,
        diagnosed=0.9,
        common_cause=0.2,
        common_cause_diagnosed=0.1,
        mttr_h=8.0,
    )
    logic = pfd_of_common_causes(
        0.5e-5,
        test_interval_h=4380,
        diagnosed=0.99,
        common_cause=0.02,
        common_cause_diagnosed=0.01,
        mttr_h=8.0,
    )
    valves = [
        pfd_1oo1(rate, test_interval_h=4380, diagnosed=diagnosed, mttr_h=8.0)
        for rate, diagnosed in ((0.5e-5, 0.6), (0.25e-5, 0.6))
    ]
    both("G24", sensors + logic + sum(valves))


def average_of_square(x):
    """The mean of (1 - exp(-t))^2 from 0 to x: both of a pair failed and unseen."""
    with mpmath.workdps(40):
        x = mpmath.mpf(x)
        mean = 1 - 2 * (1 - mpmath.exp(-x)) / x + (1 - mpmath.exp(-2 * x)) / (2 * x)
        return float(mean)


@pytest.mark.parametrize(
    ("row", "rate_per_h"), [("T18", 0.5e-6), ("T19", 0.5e-5), ("T20", 2.5e-5)]
)
def test_standard_formula_against_exact_average(row, rate_per_h):
    """1oo2 without diagnosis and common cause, a year between tests."""
    at_once_h = 1e-12  # the exact average knows of no repair
    found = pfd_1oo2(rate_per_h, test_interval_h=8760, mttr_h=at_once_h)
    off_by(row, found, average_of_square(rate_per_h * 8760))


# -- L: latent faults and the best test interval ------------------------------------------------


@pytest.mark.parametrize(
    ("rows", "x"),
    [(("T11", "T12"), 0.01), (("T13", "T14"), 0.0876), (("T15", "T16"), 0.5)],
)
def test_latent_faults(rows, x):
    off_by(rows[0], x / 2, ProofTestedChannels(1e5, x * 1e5).unavailability)
    off_by(rows[1], x**2 / 3, average_of_square(x))


def test_product_of_averages():
    x = 0.01
    off_by("T17", (x / 2) ** 2, x**2 / 3)
    # and in the limit: the exact averages
    assert average_of_square(x) > 1.3 * ProofTestedChannels(1e5, x * 1e5).unavailability ** 2


def test_best_proof_test_interval():
    simple_h = best_test_interval_h(1e5, 2, exact=False)
    both("L1", simple_h)
    both("L2", simple_h / 2e5 + 2 / simple_h)
    both("L3", ProofTestedChannels(1e5, 8760).unavailability)
    both("L4", best_test_interval_h(1e5, 2))


# -- M, N: matrices -----------------------------------------------------------------------------


def chain_of(matrix):
    """The chain in continuous time that jumps by a stochastic matrix once an hour on average."""
    count = len(matrix)
    order = {(k, (k + 1) % count): 0.0 for k in range(count)}
    rates = {(i, j): matrix[i][j] for i in range(count) for j in range(count) if i != j}
    return MarkovModel(order | rates, up=[0])


def exact_stationary(matrix):
    """Solve the balance equations of the off-diagonal entries with 60 digits."""
    with mpmath.workdps(60):
        count = len(matrix)
        balance = mpmath.zeros(count)
        for i in range(count):
            for j in range(count):
                if i != j:
                    rate = mpmath.mpf(float(matrix[i][j]))
                    balance[j, i] += rate
                    balance[i, i] -= rate
        for j in range(count):
            balance[count - 1, j] = 1
        right = mpmath.zeros(count, 1)
        right[count - 1] = 1
        return [float(p) for p in mpmath.lu_solve(balance, right)]


def test_courtois():
    found = chain_of(COURTOIS).steady_state()
    agrees("M1", found)
    both("M3", found)
    np.testing.assert_allclose(found, exact_stationary(COURTOIS), rtol=1e-14, atol=0)
    eigenvalues = np.sort(np.linalg.eigvals(np.array(COURTOIS)).real)[::-1]
    agrees("M2", eigenvalues)


def test_land_of_oz():
    matrix = [[0.5, 0.25, 0.25], [0.5, 0.0, 0.5], [0.25, 0.25, 0.5]]
    chain = chain_of(matrix)
    shares = chain.steady_state()
    both("M4", shares)
    passages = [
        [
            1 / shares[j] if i == j else chain.first_passage([j], start=i).mean_h
            for j in range(3)
        ]
        for i in range(2)
    ]
    both("M6", passages)
    fundamental = np.linalg.inv(np.eye(3) - np.array(matrix) + np.tile(shares, (3, 1)))
    both("M5", fundamental[:2])


@pytest.mark.parametrize(
    ("place", "size", "mutation"), [(4, 3, 1e-14), (5, 27, 1e-2)], ids=["N=3", "N=27"]
)
def test_population_chain(place, size, mutation):
    matrix = population_chain(size, 1 / 3, mutation)
    found = chain_of(matrix).steady_state()
    exact = exact_stationary(matrix)
    assert min(exact) == pytest.approx(float(DIGITS_KEPT[place].smallest), rel=1e-5)
    worst = np.max(np.abs(found / np.array(exact) - 1))
    # rounding of 28 states; elimination with subtraction keeps 3 digits, or none
    assert worst < 1e-14
    if size == 3:
        agrees("M10", worst)


@pytest.mark.parametrize(("place", "failures"), [(0, 1e-4), (1, 1e-6), (2, 1e-9)])
def test_digits_of_a_small_probability(place, failures):
    """1 - (1 - U) loses what U keeps."""
    kept = DIGITS_KEPT[place]
    exact = 2 * mpmath.mpf(failures) ** 2 / (
        2 * mpmath.mpf(failures) ** 2
        + 2 * mpmath.mpf(failures) * mpmath.mpf(0.25)
        + mpmath.mpf(0.25) ** 2
    )
    # The table gives six figures.
    assert float(exact) == pytest.approx(float(kept.smallest), rel=1e-5)
    found = one_crew(2, 1, failures, 0.25).unavailability
    assert found == pytest.approx(float(exact), rel=1e-15)
    lost = abs((1 - (1 - found)) / float(exact) - 1)
    assert lost == pytest.approx(kept.one_minus, rel=0.1)


def test_matrix_exponential_of_scipy():
    """The library that the chains are compared with, against its own published cases."""
    expm = scipy.linalg.expm
    agrees("N3", expm(np.diag([6.0, 6.0, 6.0], 1)))
    agrees("N4", expm(np.array([[1.0, 1.0], [0.0, 1.0]])))
    ward = expm(np.array([[4.0, 2.0, 0.0], [1.0, 4.0, 1.0], [1.0, 1.0, 4.0]]))
    # as it stands it gives 13 of the 14 figures
    np.testing.assert_allclose(ward.ravel(), values("N6"), rtol=2e-13, atol=0)
    badly_scaled = [[0, 1e-8, 0], [-(2e10 + 4e8 / 6), -3, 2e10], [200 / 3, 0, -200 / 3]]
    # its own tests ask for seven figures of this one
    found = expm(np.array(badly_scaled))[0]
    np.testing.assert_allclose(found, values("N9"), rtol=1e-7, atol=0)


# -- P: colours ---------------------------------------------------------------------------------


def test_colours_are_facts_with_a_source():
    for row_id, fact in FACTS.items():
        assert fact.id == row_id
        assert fact.says and all(fact.says) and fact.source
        says_where_it_is_from(fact)
