"""Parts and blocks: published values, laws that hold for every block, errors, extreme numbers."""

import copy
import itertools
import math
import pickle
from dataclasses import FrozenInstanceError
from decimal import Decimal
from fractions import Fraction

import mpmath
import numpy as np
import pytest
import scipy.sparse
import sympy
from hypothesis import given, settings
from hypothesis import strategies as st

from labkit.availability.blocks import ALWAYS_FAILED, ALWAYS_WORKS, Block
from labkit.availability.common_causes import common_cause
from labkit.availability.parts import Chain, Part, at_least, parallel, series
from labkit.availability.structure import Importance
from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.pair import redundant_pair
from tests.enumerated import Weighted
from tests.references import agrees, agrees_closely, exact_value, off_by, value

# A handful of sums and products of positive doubles: some units of 1.1e-16 each.
RTOL = 4e-15


def close(number, exact, rtol=RTOL):
    assert number == pytest.approx(float(exact), rel=rtol, abs=0.0)


def part_of(name, availability):
    """A part with this availability, given as text so that no digit is lost."""
    works = Fraction(availability)
    return Part(name, mtbf_h=works.numerator, mttr_h=works.denominator - works.numerator)


def likes(count, *, mtbf_h=1000.0, mttr_h=1.0):
    return [Part(f"unit {number}", mtbf_h=mtbf_h, mttr_h=mttr_h) for number in range(1, count + 1)]


def bridge(parts):
    """Five units: 1 and 2 at the entry, 4 and 5 at the exit, 3 across; cut sets as in H12."""
    one, two, three, four, five = parts
    return parallel(
        series(one, four),
        series(two, five),
        series(one, three, five),
        series(two, three, four),
    )


# ------------------------------------------------------------------ published values


@pytest.mark.parametrize(
    ("row", "works", "factor"),
    [
        ("A1", "0.99", 1 / 24),  # in days
        ("A2", "0.999", 1),  # in hours
        ("A3", "0.9999", 60),  # in minutes
        ("A4", "0.99999", 60),
        ("A5", "0.999999", 3600),  # in seconds
        ("A7", "0.999", 60 / 365),  # in minutes per day
        ("A9", "0.999", 60 / 12),  # in minutes per month of 730 h
    ],
)
def test_downtime_of_the_nines(row, works, factor):
    """Source: public tables of 'nines' for a year of 365 days, as in the table of references."""
    part = part_of("part", works)
    agrees(row, part.downtime_h_per_year * factor)
    close(part.availability, Fraction(works))
    close(part.unavailability, 1 - Fraction(works))


def test_trade_press_example():
    """Source: trade press article of 2011, 500 000 h and 4 h."""
    part = Part("controller", mtbf_h=500_000, mttr_h=4)
    agrees("A14", part.availability)
    agrees("A15", part.downtime_h_per_year * 60)


def test_inherent_availability():
    """Source: encyclopaedia article 'Availability', quoted from memory."""
    part = Part("equipment", mtbf_h=713_940, mttr_h=1)
    agrees("A16", part.availability)
    agrees_closely("A16", part.availability)


def test_survival_of_one_unit_and_of_a_pair():
    """Source: worked solutions of a reliability course, 0.00034 per hour and 720 h."""
    one, two = likes(2, mtbf_h=1 / 0.00034)
    agrees("C1", one.mission_reliability(720))
    agrees("C2", parallel(one, two).mission_reliability(720))
    close(one.mission_reliability(720), mpmath.exp(-mpmath.mpf(0.00034) * 720))


def test_unit_that_runs_idles_and_starts():
    """Source: as before; three kinds of failure in each hour make one rate."""
    run = Part("running", mtbf_h=1 / (0.01 * 20 / 60), mttr_h=1)
    idle = Part("idle", mtbf_h=1 / (0.0002 * 40 / 60), mttr_h=1)
    start = Part("starting", mtbf_h=1 / 0.03, mttr_h=1)
    unit = series(run, idle, start)
    agrees("C4", 1 / unit.mission_mttf_h())
    agrees("C5", unit.mission_reliability(24))


def test_bridge():
    """Source: textbook example from memory (C18); H12 and H13 follow from the definitions."""
    block = bridge([part_of(str(number), "0.9") for number in range(1, 6)])
    agrees("C18", block.availability)
    agrees("H12", block.unavailability)
    record = block.importance()
    agrees("H13", [record["1"].birnbaum, record["3"].birnbaum])
    close(sum(one.birnbaum for one in record.values()), Fraction("0.441"))
    assert block.minimal_cut_sets() == tuple(
        frozenset(names) for names in ("12", "45", "135", "234")
    )


def test_mean_life_of_parallel_units():
    """Source: Computer Science question-and-answer site, multiples of one unit's MTTF."""
    agrees("C19", [parallel(*likes(n)).mission_mttf_h() / 1000.0 for n in (2, 3, 4)])


def test_two_out_of_three_lives_shorter_than_one():
    """5/6 of the MTTF of one unit; every textbook, from memory. The curves cross at ln 2."""
    block = at_least(2, *likes(3))
    close(block.mission_mttf_h(), Fraction(2500, 3))
    crossing_h = 1000.0 * math.log(2)
    close(block.mission_reliability(crossing_h), Fraction(1, 2))


@pytest.mark.parametrize(("k", "count"), [(1, 10), (1, 400), (60, 120), (110, 120)])
def test_mean_life_of_large_votes(k, count):
    """The time from j units to j - 1 is 1/j of one unit's MTTF: sum it from count down to k."""
    exact = sum(Fraction(1000, number) for number in range(k, count + 1))
    close(at_least(k, *likes(count)).mission_mttf_h(), exact)


def test_all_five_units_down():
    """D11, from the definition: rate 4 per day, mean repair half a day, a crew each."""
    agrees("D11", parallel(*likes(5, mtbf_h=6.0, mttr_h=12.0)).unavailability)


def test_parallel_pair_with_two_crews():
    """Source: MIL-HDBK-338B Table 10.4-2, from memory: rates 0.01 and 0.2."""
    block = parallel(*likes(2, mtbf_h=100.0, mttr_h=5.0))
    agrees("D6", block.availability)
    agrees_closely("D6", block.availability)


def test_overlapping_outages():
    """Source: Billinton and Allan, example 11.2; D9 is exact, D8 and D10 are first terms."""
    block = parallel(
        Part("one", mtbf_h=8760 / 0.05, mttr_h=20), Part("two", mtbf_h=8760 / 0.02, mttr_h=25)
    )
    agrees("D8", block.failures_per_h * 8760)
    agrees("D9", block.mean_down_time_h)
    agrees_closely("D9", block.mean_down_time_h)
    agrees("D10", block.downtime_h_per_year)
    first_term = 0.05 * 0.02 * (20 + 25) / 8760
    off_by("T23", first_term, block.failures_per_h * 8760)


def test_two_out_of_three_with_a_common_cause():
    """Source: public tutorial on the beta factor, 5 % of 1e-3; its formula is a first term."""
    units = [part_of(name, "0.999") for name in "abc"]
    block = at_least(2, *common_cause(units, 0.05))
    agrees("F1", block.unavailability)
    # Rates are split here, not probabilities: the part of 1 - U left out is 0.09 % of it.
    both, alone = Fraction(1, 19_981), Fraction(95, 99_995)
    close(block.unavailability, both + (1 - both) * (3 * alone**2 - 2 * alone**3))
    assert exact_value("F1") / block.unavailability - 1 == pytest.approx(-0.000871, abs=1e-6)
    cut_sets = block.minimal_cut_sets()
    assert cut_sets[0] == {"common cause of a, b, c"} and len(cut_sets) == 4


def test_shares_of_the_pressure_tank():
    """Source: NUREG-0492, chapter VIII, from memory."""
    down = {"T": "5e-6", "K1": "3e-5", "K2": "3e-5", "S1": "3e-5", "S": "1e-4", "R": "1e-4"}
    part = {name: part_of(name, 1 - Fraction(share)) for name, share in down.items()}
    block = series(
        part["T"], part["K2"], parallel(part["S"], series(part["S1"], part["K1"], part["R"]))
    )
    assert [sorted(names) for names in block.minimal_cut_sets()] == [
        ["K2"], ["T"], ["K1", "S"], ["R", "S"], ["S", "S1"]
    ]  # fmt: skip
    record = block.importance()
    shares = [record[name].fussell_vesely for name in ("K2", "T")]
    agrees("H11", shares)
    # The printed shares divide by the sum of the cut sets, which is off by 1e-5 of itself.
    close(shares[0], Fraction("3e-5") / Fraction(block.unavailability))


# ------------------------------------------------------------------ traps: by how much they are off


@pytest.mark.parametrize(
    ("trap", "rate", "restoration"), [("T1", 1e-4, 0.25), ("T4", 1e-3, 0.25), ("T7", 0.01, 0.2)]
)
def test_trap_square_of_the_ratio(trap, rate, restoration):
    block = parallel(*likes(2, mtbf_h=1 / rate, mttr_h=1 / restoration))
    off_by(trap, (rate / restoration) ** 2, block.unavailability)


def test_trap_shut_down_formula_for_a_series_system():
    off_by("T22", 1 / (1 + 4 * 0.01), series(*likes(4, mtbf_h=100.0)).availability)


def cut_set_chances(block):
    return [
        math.prod(block.parts[name].unavailability for name in names)
        for names in block.minimal_cut_sets()
    ]


def test_trap_rare_event_sum_and_upper_bound():
    block = bridge([part_of(str(number), "0.9") for number in range(1, 6)])
    chances = cut_set_chances(block)
    off_by("T31", sum(chances), block.unavailability)
    off_by("T32", 1 - math.prod(1 - chance for chance in chances), block.unavailability)
    vote = at_least(3, *(part_of(name, "1/2") for name in "abcd"))
    off_by("T33", sum(cut_set_chances(vote)), vote.unavailability)


def test_trap_criticality_is_not_fussell_vesely():
    """They differ as soon as cut sets overlap: bridge with q = 0.1, a corner unit."""
    record = bridge([part_of(str(number), "0.9") for number in range(1, 6)]).importance()["1"]
    down = Fraction(value("H12")).limit_denominator(10**5)
    close(record.criticality, Fraction("0.1062") / 10 / down)
    # Cut sets 12 and 135 by hand: q (q + q^2 - q^3).
    close(record.fussell_vesely, Fraction(1, 10) * (Fraction(11, 100) - Fraction(1, 1000)) / down)


def test_trap_crews_hide_in_formulas():
    """3 of 5 with a crew each: the handbook's one-crew formula says twice the rate (T25)."""
    rate, restoration = 220e-6, 1 / 3
    block = at_least(3, *likes(5, mtbf_h=1 / rate, mttr_h=1 / restoration))
    formula = 60 * rate**3 / (2 * restoration**2) * 2
    agrees("E32", formula)
    # Both formulas leave out the next order, some times MTTR / MTBF = 0.07 %.
    assert formula * block.mean_up_time_h == pytest.approx(2.0, rel=0.01)


def test_trap_product_of_repeated_places():
    """A shared supply counted once for each place that it stands in: 3.5 times too good."""
    supply = part_of("supply", "0.99")
    one, two = part_of("one", "0.95"), part_of("two", "0.95")
    block = parallel(series(supply, one), series(supply, two))
    wrong = (1 - 0.99 * 0.95) ** 2
    exact = Fraction("0.01") + Fraction("0.99") * Fraction("0.0025")
    close(block.unavailability, exact)
    assert wrong / block.unavailability == pytest.approx(0.2838, rel=1e-3)


# ------------------------------------------------------------------ digits


def test_one_part_from_the_definition():
    part = Part("part", mtbf_h=1e15, mttr_h=1e-3)
    whole = Fraction(1e15) + Fraction(1e-3)
    close(part.unavailability, Fraction(1e-3) / whole)
    close(part.availability, Fraction(1e15) / whole)
    close(part.failures_per_h, 1 / whole)
    close(part.mean_up_time_h, 1e15)
    close(part.mean_down_time_h, 1e-3)
    assert part.failure_rate_per_h == 1e-15 and part.restoration_rate_per_h == 1000.0
    close(part.mission_unreliability(1e-3), mpmath.mpf(10) ** -18)
    close(part.mission_mttf_h(), 1e15)


@pytest.mark.parametrize("count", [2, 5, 10, 16])
def test_digits_of_very_small_unavailabilities(count):
    """Down to 1e-288, fifteen digits, against mpmath with 60 digits."""
    block = parallel(*likes(count, mtbf_h=1e15, mttr_h=1e-3))
    with mpmath.workdps(60):
        down = mpmath.mpf(1e-3) / (mpmath.mpf(1e15) + mpmath.mpf(1e-3))
        close(block.unavailability, down**count)
        close(block.failures_per_h, count * down ** (count - 1) / (mpmath.mpf(1e15) + 1e-3))
        close(block.mean_down_time_h, mpmath.mpf(1e-3) / count)
    assert 1e-30 > block.unavailability > 0.0


def test_unavailability_of_1e_30_has_fifteen_digits_where_one_minus_a_has_none():
    block = parallel(*(Part(name, mtbf_h=999_999, mttr_h=1) for name in "abcde"))
    close(block.unavailability, Fraction(1, 10**30), 1e-15)
    assert 1 - block.availability == 0.0


def test_whole_numbers_and_numpy_numbers():
    plain = Part("part", mtbf_h=10.0, mttr_h=2.0)
    for kind in (int, np.int64, np.float64, np.float32, Fraction):
        assert Part("part", mtbf_h=kind(10), mttr_h=kind(2)) == plain
    assert isinstance(Part("part", mtbf_h=np.float64(10), mttr_h=2).unavailability, float)


# ------------------------------------------------------------------ closed forms by sympy


def test_closed_forms_of_frequency_and_birnbaum():
    """The frequency of a series-parallel block by sympy's derivatives of its unavailability."""
    symbols = sympy.symbols("a b c d", positive=True)
    numbers = dict(zip("abcd", [(120, 7), (3000, 11), (45, 2), (900, 300)], strict=True))
    a, b, c, d = symbols
    formula = 1 - (1 - a) * (1 - (b * c + c * d + b * d - 2 * b * c * d))
    parts = {name: Part(name, mtbf_h=m, mttr_h=r) for name, (m, r) in numbers.items()}
    block = series(parts["a"], at_least(2, *(parts[name] for name in "bcd")))
    here = {s: sympy.Rational(numbers[s.name][1], sum(numbers[s.name])) for s in symbols}
    close(block.unavailability, formula.subs(here))
    slopes = {s.name: sympy.diff(formula, s).subs(here) for s in symbols}
    for name, record in block.importance().items():
        close(record.birnbaum, slopes[name])
    close(block.failures_per_h, sum(slopes[name] / sum(numbers[name]) for name in numbers))


def test_mission_reliability_over_time():
    times_h = np.array([0.0, 1e-6, 1.0, 700.0, 1e5])
    block = parallel(*likes(3))
    works, fails = block.mission_reliability(times_h), block.mission_unreliability(times_h)
    assert works.shape == times_h.shape
    for time_h, one, other in zip(times_h, works, fails, strict=True):
        with mpmath.workdps(120):
            failed = (-mpmath.expm1(-mpmath.mpf(float(time_h)) / 1000)) ** 3
            close(other, failed)
            close(one, 1 - failed, 1e-13)
    assert isinstance(block.mission_reliability(5), float)
    assert block.mission_reliability([[1.0, 2.0]]).shape == (1, 2)
    assert block.mission_reliability(0) == 1.0 and block.mission_unreliability(0) == 0.0


def test_mission_mttf_over_fifteen_decades():
    short, long = Part("short", mtbf_h=1e-3, mttr_h=1), Part("long", mtbf_h=1e12, mttr_h=1)
    both = 1 / (Fraction(1000) + Fraction(1, 10**12))
    close(series(short, long).mission_mttf_h(), both, 1e-13)
    close(parallel(short, long).mission_mttf_h(), Fraction(1, 1000) + 10**12 - both, 1e-13)


# ------------------------------------------------------------------ laws

HOURS = st.floats(1e-3, 1e9)
NAMES = "abcdef"


@st.composite
def plans(draw, depth=3):
    """Descriptions of a block: a name, or (k, inner plans)."""
    if depth == 0 or draw(st.integers(0, 3)) == 0:
        return draw(st.sampled_from(NAMES))
    inner = draw(st.lists(plans(depth - 1), min_size=1, max_size=4))
    return draw(st.integers(1, len(inner))), tuple(inner)


@st.composite
def numbers(draw):
    return {name: (draw(HOURS), draw(HOURS)) for name in NAMES}


def built(plan, hours) -> Block:
    if isinstance(plan, str):
        mtbf_h, mttr_h = hours[plan]
        return Part(plan, mtbf_h=mtbf_h, mttr_h=mttr_h)
    k, inner = plan
    return at_least(k, *(built(one, hours) for one in inner))


def dual(plan):
    if isinstance(plan, str):
        return plan
    k, inner = plan
    return len(inner) + 1 - k, tuple(map(dual, inner))


@settings(deadline=None, max_examples=60)
@given(plans(), numbers(), st.sampled_from(NAMES), st.floats(1.0, 1e3))
def test_monotone_in_every_rate(plan, hours, name, factor):
    block = built(plan, hours)
    mtbf_h, mttr_h = hours[name]
    better = built(plan, hours | {name: (mtbf_h * factor, mttr_h)})
    worse = built(plan, hours | {name: (mtbf_h, mttr_h * factor)})
    hair = 1 + 1e-14
    assert better.unavailability <= block.unavailability * hair
    assert block.unavailability <= worse.unavailability * hair
    assert worse.availability <= block.availability * hair
    assert block.availability <= better.availability * hair


@settings(deadline=None, max_examples=60)
@given(plans(), numbers())
def test_figures_fit_together(plan, hours):
    block = built(plan, hours)
    down, works, per_h = block.unavailability, block.availability, block.failures_per_h
    assert 0.0 < down <= 1.0 and 0.0 < works <= 1.0
    close(down + works, 1, 1e-14)
    close(block.mean_up_time_h * per_h, works)
    close(block.mean_down_time_h * per_h, down)
    close(block.downtime_h_per_year, 8760 * down)
    records = block.importance()
    assert list(records) == list(block.parts)
    close(sum(one.failures_per_h for one in records.values()), per_h, 1e-14)
    for name, one in records.items():
        part = block.parts[name]
        slack = 1e-13
        assert 0.0 <= one.birnbaum <= 1 + slack
        assert 0.0 <= one.criticality <= one.fussell_vesely * (1 + slack) <= 1 + 3 * slack
        assert one.risk_achievement >= 1 - slack and one.risk_reduction >= 1 - slack
        close(one.criticality * down, one.birnbaum * part.unavailability, 1e-14)
        close(one.failures_per_h, one.birnbaum * part.failures_per_h, 1e-14)
        close(one.risk_achievement * down, block.given(failed={name}).unavailability, 1e-14)
        close(down / one.risk_reduction, block.given(working={name}).unavailability, 1e-14)


@settings(deadline=None, max_examples=60)
@given(plans(), numbers())
def test_duality(plan, hours):
    """What fails in a block is what works in its dual with MTBF and MTTR exchanged."""
    block = built(plan, hours)
    mirror = built(dual(plan), {name: (r, m) for name, (m, r) in hours.items()})
    close(block.unavailability, mirror.availability, 1e-14)
    close(block.availability, mirror.unavailability, 1e-14)
    close(block.failures_per_h, mirror.failures_per_h, 1e-13)


@settings(deadline=None, max_examples=40)
@given(st.lists(plans(), min_size=1, max_size=4), numbers())
def test_series_is_never_better_and_parallel_never_worse(inner, hours):
    blocks = [built(plan, hours) for plan in inner]
    hair = 1 + 1e-14
    assert series(*blocks).unavailability * hair >= max(one.unavailability for one in blocks)
    assert parallel(*blocks).unavailability <= min(one.unavailability for one in blocks) * hair


@settings(deadline=None, max_examples=40)
@given(plans(), numbers(), st.floats(1e-3, 1e3))
def test_unit_of_time_does_not_matter(plan, hours, factor):
    block = built(plan, hours)
    scaled = built(plan, {name: (m * factor, r * factor) for name, (m, r) in hours.items()})
    close(scaled.unavailability, block.unavailability, 1e-14)
    close(scaled.failures_per_h, block.failures_per_h / factor, 1e-14)
    close(scaled.mission_mttf_h(), block.mission_mttf_h() * factor, 1e-13)


# ------------------------------------------------------------------ one part, several places


def test_part_that_stands_twice_is_one_part():
    a, b = part_of("a", "0.9"), part_of("b", "0.8")
    same = part_of("a", "0.9")
    assert same is not a and same == a and hash(same) == hash(a)
    assert series(a, same).unavailability == a.unavailability
    assert parallel(a, same).failures_per_h == a.failures_per_h
    absorbed = series(a, parallel(same, b))
    assert absorbed.unavailability == a.unavailability
    assert absorbed.minimal_cut_sets() == ({"a"},)
    record = absorbed.importance()["b"]
    assert record == Importance(0.0, 0.0, 0.0, 1.0, 1.0, 0.0)
    assert absorbed.importance()["a"].risk_reduction == math.inf


def test_vote_counts_a_block_that_is_given_twice_twice():
    a, b, c = (part_of(name, "0.9") for name in "abc")
    block = at_least(2, a, a, b, c)
    assert block.minimal_cut_sets() == (frozenset("ab"), frozenset("ac"))
    close(block.unavailability, Fraction(1, 10) * (Fraction(1, 5) - Fraction(1, 100)))


def test_blocks_are_equal_when_they_are_made_alike():
    a, b = part_of("a", "0.9"), part_of("b", "0.8")
    assert series(a, b) == series(part_of("a", "0.9"), b)
    assert series(a, b) != parallel(a, b) != at_least(1, a) and series(a, b) != series(b, a)
    assert at_least(2, a, b) == series(a, b) and at_least(1, a, b) == parallel(a, b)
    assert series(a, b) != a and series(a, b) != "a"
    assert len({series(a, b), at_least(2, a, b), a, part_of("a", "0.9")}) == 2
    assert repr(parallel(a, b)) == "<1 of 2 blocks, 2 parts>"
    assert repr(Chain("c", two_state(9, 1)).when({"up"})) == "Chain('c').when({'up'})"


def test_blocks_never_change():
    a = part_of("a", "0.9")
    block = parallel(a, part_of("b", "0.8"))
    with pytest.raises(AttributeError, match="never change"):
        block.needed = 2
    with pytest.raises(FrozenInstanceError):
        a.mtbf_h = 1.0
    with pytest.raises(TypeError):
        block.parts["c"] = a
    with pytest.raises(TypeError):
        block.importance()["a"] = None
    assert list(block.parts) == ["a", "b"]


def test_blocks_can_be_copied_and_sent():
    block = at_least(2, *likes(3))
    down = block.unavailability
    for other in (copy.deepcopy(block), pickle.loads(pickle.dumps(block))):
        assert other == block and other.unavailability == down


# ------------------------------------------------------------------ constants and conditions


def test_constants():
    a = part_of("a", "0.9")
    assert ALWAYS_WORKS.unavailability == 0.0 and ALWAYS_WORKS.availability == 1.0
    assert ALWAYS_FAILED.unavailability == 1.0 and ALWAYS_FAILED.availability == 0.0
    assert ALWAYS_WORKS.mean_up_time_h == math.inf == ALWAYS_FAILED.mean_down_time_h
    assert math.isnan(ALWAYS_WORKS.mean_down_time_h) and ALWAYS_FAILED.mean_up_time_h == 0.0
    assert ALWAYS_WORKS.failures_per_h == ALWAYS_FAILED.failures_per_h == 0.0
    assert ALWAYS_WORKS.minimal_cut_sets() == ()
    assert ALWAYS_FAILED.minimal_cut_sets() == (frozenset(),)
    assert ALWAYS_WORKS.mission_mttf_h() == math.inf and ALWAYS_FAILED.mission_mttf_h() == 0.0
    assert ALWAYS_WORKS.mission_reliability([1.0, 2.0]).tolist() == [1.0, 1.0]
    assert series(a, ALWAYS_WORKS).unavailability == a.unavailability
    assert series(a, ALWAYS_FAILED).unavailability == 1.0
    assert parallel(a, ALWAYS_WORKS).unavailability == 0.0
    record = parallel(a, ALWAYS_WORKS).importance()["a"]
    assert record.birnbaum == 0.0 and math.isnan(record.criticality)
    assert repr(ALWAYS_WORKS) == "ALWAYS_WORKS" and repr(ALWAYS_FAILED) == "ALWAYS_FAILED"


def test_given_simplifies():
    a, b, c = (part_of(name, "0.9") for name in "abc")
    vote = at_least(2, a, b, c)
    assert vote.given() is vote
    assert vote.given(failed={"a"}) == series(b, c)
    assert vote.given(working={"a"}) == parallel(b, c)
    assert vote.given(failed={"a"}, working={"b"}) == c
    assert vote.given(failed=["a", "b"]) is ALWAYS_FAILED
    assert vote.given(working=("a", "b")) is ALWAYS_WORKS
    assert a.given(failed={"a"}) is ALWAYS_FAILED
    assert series(a, parallel(a, b)).given(failed={"b"}) == series(a, a)


def test_failures_from_here():
    """With one of a pair broken the other is alone; with both broken nothing is left to fail."""
    a, b = likes(2)
    pair = parallel(a, b)
    close(pair.given(failed={a.name}).failures_per_h, Fraction(1, 1001))
    assert pair.given(failed={a.name, b.name}).failures_per_h == 0.0


# ------------------------------------------------------------------ common causes


def test_common_cause_keeps_the_rate_of_each_part():
    twins = likes(2, mtbf_h=1000.0, mttr_h=3.0)
    for one, twin in zip(common_cause(twins, 0.05), twins, strict=True):
        rates = [part.failure_rate_per_h for part in one.parts.values()]
        assert sum(rates) == pytest.approx(twin.failure_rate_per_h, rel=RTOL)
        assert rates[1] == pytest.approx(0.05 * twin.failure_rate_per_h, rel=RTOL)
    assert common_cause(twins, 0) == tuple(twins)
    one, two = common_cause(twins, 1, mttr_h=8)
    assert one == two == Part("common cause of unit 1, unit 2", mtbf_h=1000.0, mttr_h=8)


def test_common_cause_caps_what_a_twin_can_do():
    """With a share of 1 % a third and a fourth unit change next to nothing."""

    def group(count):
        return parallel(*common_cause(likes(count, mtbf_h=1e4, mttr_h=10.0), 0.01))

    floor = group(2).parts["common cause of unit 1, unit 2"].unavailability
    assert group(2).unavailability > floor
    assert group(4).unavailability == pytest.approx(floor, rel=1e-6)


# ------------------------------------------------------------------ chains in a diagram


def two_independent(one, two):
    """Two parts as one chain of four states, each with its own crew."""
    rates = {}
    for state in itertools.product([True, False], repeat=2):
        for place, part in enumerate((one, two)):
            other = tuple(not up if at == place else up for at, up in enumerate(state))
            rates[state, other] = (
                part.failure_rate_per_h if state[place] else part.restoration_rate_per_h
            )
    return MarkovModel(rates, up=[(True, True)])


def test_chain_of_independent_parts_is_those_parts():
    """One chain that stands in four places against the parts that it is made of."""
    one, two = Part("one", mtbf_h=300.0, mttr_h=7.0), Part("two", mtbf_h=50.0, mttr_h=2.0)
    left, right = Part("left", mtbf_h=90.0, mttr_h=1.0), Part("right", mtbf_h=400.0, mttr_h=9.0)
    model = two_independent(one, two)
    chain = Chain("both", model, units={"one", "two"})

    def block(first, second):
        return series(parallel(series(first, left), series(second, right)), parallel(first, second))

    as_chain = block(
        chain.when({state for state in model.states if state[0]}),
        chain.when({state for state in model.states if state[1]}),
    )
    as_parts = block(one, two)
    close(as_chain.unavailability, as_parts.unavailability)
    close(as_chain.availability, as_parts.availability)
    close(as_chain.failures_per_h, as_parts.failures_per_h)
    ours, theirs = as_chain.importance(), as_parts.importance()
    for name in ("left", "right"):
        for field in ("birnbaum", "criticality", "fussell_vesely", "failures_per_h"):
            close(getattr(ours[name], field), getattr(theirs[name], field))
    close(ours["both"].failures_per_h, theirs["one"].failures_per_h + theirs["two"].failures_per_h)
    # at its worst the chain is down and the block with it; at its best left and right are left
    both_sides = 1 / 91 * 9 / 409
    close(ours["both"].birnbaum, 1 - both_sides)
    close(ours["both"].risk_achievement, 1 / as_parts.unavailability)
    close(ours["both"].risk_reduction, as_parts.unavailability / both_sides)
    assert [sorted(names) for names in as_chain.minimal_cut_sets()] == [
        ["both: (False, False)"],
        ["both: (False, True)", "right"],
        ["both: (True, False)", "left"],
        ["left", "right"],
    ]


def test_chain_alone_agrees_with_its_model():
    model = redundant_pair(60_000, 4, common_cause=0.05, coverage=0.97, diagnosed=0.9)
    up = {"both good", "one failed", "standby failed unnoticed"}
    block = Chain("pair", model).when(up)
    close(block.unavailability, model.unavailability, 1e-14)
    close(block.failures_per_h, model.failures_per_h, 1e-14)
    close(block.mean_up_time_h, model.mean_up_time_h, 1e-14)
    close(block.mean_down_time_h, model.mean_down_time_h, 1e-14)
    assert block.minimal_cut_sets() == ({"pair"},)
    record = block.importance()["pair"]
    close(record.birnbaum, 1)
    close(record.fussell_vesely, 1)
    assert record.risk_reduction == math.inf


def test_ideal_pair_is_two_parallel_parts():
    model = redundant_pair(1000, 4, crews=2)
    block = Chain("pair", model).when({"both good", "one failed", "standby failed unnoticed"})
    plain = parallel(*likes(2, mtbf_h=1000, mttr_h=4))
    close(block.unavailability, plain.unavailability)
    close(block.failures_per_h, plain.failures_per_h)


def test_two_state_chain_is_a_part():
    part = Part("part", mtbf_h=123.0, mttr_h=4.5)
    model = two_state(123.0, 4.5)
    other = Part("other", mtbf_h=77.0, mttr_h=3.0)
    block = parallel(Chain("part", model).when(model.up), other)
    close(block.unavailability, parallel(part, other).unavailability)
    close(block.failures_per_h, parallel(part, other).failures_per_h)


MODEL = Weighted({"x": 5, "y": 3, "z": 2}, {frozenset("xy"): 2, frozenset("yz"): 1})


def test_chain_named_in_cut_sets():
    """Asked one thing it is named like a part; asked two, with the states meant."""
    chain, link = Chain("pair", MODEL), part_of("link", "0.9")
    plain = series(chain.when({"x", "y"}), link)
    assert plain.minimal_cut_sets() == ({"link"}, {"pair"})
    leads = parallel(series(chain.when({"x"}), link), chain.when({"y"}))
    assert leads.minimal_cut_sets() == ({"pair: z"}, frozenset({"link", "pair: x"}))
    together = parallel(chain.when({"x", "z"}), series(chain.when({"x", "y", "z"}), link))
    assert together.minimal_cut_sets() == (frozenset({"link", "pair"}),)


def test_conditions_of_a_chain_that_cover_all_states_never_fail():
    chain = Chain("pair", MODEL)
    block = parallel(chain.when({"x"}), chain.when({"y", "z"}))
    assert block.unavailability == 0.0 and block.failures_per_h == 0.0
    assert block.minimal_cut_sets() == () and block.mean_up_time_h == math.inf
    assert chain.when({"x", "y", "z"}) is ALWAYS_WORKS


def test_chain_given_failed_or_working():
    chain, link = Chain("pair", MODEL), part_of("link", "0.9")
    block = parallel(series(chain.when({"x"}), link), chain.when({"y"}))
    assert block.given(failed={"pair"}) is ALWAYS_FAILED
    assert block.given(working={"pair"}) is ALWAYS_WORKS
    assert block.given(failed={"link"}) == chain.when({"y"})


def test_sparse_generator():
    class Sparse(Weighted):
        @property
        def generator(self):
            return scipy.sparse.csr_array(MODEL.generator)

    def block(model):
        return series(Chain("pair", model).when({"x", "y"}), part_of("link", "0.9"))

    sparse = block(Sparse(MODEL.weights, MODEL.flow))
    close(sparse.failures_per_h, block(MODEL).failures_per_h)


def test_large_chain_in_a_block():
    """Two hundred states asked one thing are two classes."""
    count = 200
    rates = {(state, state + 1): 1e-3 for state in range(count - 1)}
    rates |= {(state + 1, state): 0.1 for state in range(count - 1)}
    model = MarkovModel(rates, up=range(3))
    block = Chain("stock", model).when(range(3))
    # Birth and death with the ratio 1/100: a geometric distribution, cut off at 200.
    ratio = Fraction(1, 100)
    close(block.unavailability, ratio**3, 1e-14)
    close(block.failures_per_h, ratio**2 * (1 - ratio) / 1000, 1e-14)


# ------------------------------------------------------------------ refusals

GOOD = Part("good", mtbf_h=10, mttr_h=1)
CHAIN = Chain("pair", MODEL, units={"KF1", "KF2"})

REFUSED = [
    (lambda: Part("a", mtbf_h=0, mttr_h=1), ValueError, r"mtbf_h must be > 0.*got 0"),
    (lambda: Part("a", mtbf_h=1, mttr_h=-2), ValueError, r"mttr_h must be > 0.*got -2"),
    (lambda: Part("a", mtbf_h=math.nan, mttr_h=1), ValueError, r"mtbf_h must be > 0.*got nan"),
    (lambda: Part("a", mtbf_h=math.inf, mttr_h=1), ValueError, r"mtbf_h must be.*finite.*got inf"),
    (lambda: Part("a", mtbf_h=1, mttr_h=math.inf), ValueError, r"mttr_h must be.*finite.*got inf"),
    (lambda: Part("a", mtbf_h="9", mttr_h=1), TypeError, r"mtbf_h must be a number, got '9'"),
    (lambda: Part("a", mtbf_h=True, mttr_h=1), TypeError, r"mtbf_h must be a number, got True"),
    (lambda: Part("a", mtbf_h=None, mttr_h=1), TypeError, r"mtbf_h must be a number, got None"),
    (lambda: Part("a", mtbf_h=9, mttr_h=Decimal(1)), TypeError, r"mttr_h must be a number"),
    (lambda: Part(7, mtbf_h=9, mttr_h=1), TypeError, r"name must be text, got 7"),
    (lambda: Part(" ", mtbf_h=9, mttr_h=1), ValueError, r"name must not be empty, got ' '"),
    (lambda: series(), ValueError, r"blocks must be at least one block, got none"),
    (lambda: parallel(), ValueError, r"blocks must be at least one block, got none"),
    (lambda: at_least(1), ValueError, r"blocks must be at least one block, got none"),
    (lambda: series([GOOD]), TypeError, r"blocks must be parts or blocks, got \["),
    (lambda: parallel(GOOD, "b"), TypeError, r"blocks must be parts or blocks, got 'b'"),
    (lambda: parallel(GOOD, None), TypeError, r"blocks must be parts or blocks, got None"),
    (lambda: series(CHAIN), TypeError, r"take chain.when\(states\)"),
    (lambda: at_least(0, GOOD), ValueError, r"k must be >= 1, got 0"),
    (lambda: at_least(3, GOOD, GOOD), ValueError, r"k must be from 1 to .* 2, got 3"),
    (lambda: at_least(2, GOOD), ValueError, r"k must be from 1 to .* 1, got 2"),
    (lambda: at_least(-1, GOOD), ValueError, r"k must be >= 1, got -1"),
    (lambda: at_least(1.0, GOOD), TypeError, r"k must be a whole number, got 1.0"),
    (lambda: at_least(True, GOOD), TypeError, r"k must be a whole number, got True"),
    (lambda: at_least("1", GOOD), TypeError, r"k must be a whole number, got '1'"),
    (
        lambda: series(GOOD, parallel(Part("good", mtbf_h=10, mttr_h=2))),
        ValueError,
        r"two different parts named 'good'",
    ),
    (
        lambda: series(Part("pair", mtbf_h=1, mttr_h=1), CHAIN.when({"x"})),
        ValueError,
        r"two different parts named 'pair'",
    ),
    (
        lambda: series(Chain("pair", MODEL).when({"x"}), CHAIN.when({"x"})),
        ValueError,
        r"two different parts named 'pair'",
    ),
    (
        lambda: series(Chain("pair", copy.copy(MODEL), CHAIN.units).when({"x"}), CHAIN.when({"x"})),
        ValueError,
        r"two different parts named 'pair'",
    ),
    (
        lambda: series(Part("KF1", mtbf_h=1, mttr_h=1), CHAIN.when({"x"})),
        ValueError,
        r"units of a chain must not be parts of the diagram too, got 'KF1'",
    ),
    (lambda: Chain("pair", "model"), TypeError, r"model must have states, got 'model'"),
    (lambda: Chain("pair", MODEL, "KF1"), TypeError, r"units must be a set of names, got 'KF1'"),
    (lambda: Chain("pair", MODEL, {"pair"}), ValueError, r"name must differ from the units"),
    (lambda: CHAIN.when("x"), TypeError, r"states must be a set of states, got 'x'"),
    (lambda: CHAIN.when([]), ValueError, r"at least one state, got none"),
    (lambda: CHAIN.when({"x", "q"}), ValueError, r"states must be states of 'pair' .*got 'q'"),
    (lambda: CHAIN.when({"x"}).mission_reliability(1), ValueError, r"parts only.*'pair'"),
    (lambda: CHAIN.when({"x"}).mission_mttf_h(), ValueError, r"parts only.*'pair'"),
    (lambda: GOOD.mission_reliability(-1), ValueError, r"t_h must be >= 0 and finite, got -1"),
    (lambda: GOOD.mission_reliability([1, math.nan]), ValueError, r"t_h must be >= 0.*got nan"),
    (lambda: GOOD.mission_reliability(math.inf), ValueError, r"t_h must be >= 0.*got inf"),
    (lambda: GOOD.mission_reliability("1"), TypeError, r"t_h must be a number or .*got '1'"),
    (lambda: GOOD.mission_reliability(True), TypeError, r"t_h must be a number or .*got True"),
    (lambda: GOOD.mission_reliability([True]), TypeError, r"every value of t_h must be a number, got True"),
    (lambda: GOOD.given(failed={"bad"}), ValueError, r"parts of the block \(good\), got 'bad'"),
    (lambda: GOOD.given(failed="good"), TypeError, r"failed must be a set of names, got 'good'"),
    (lambda: GOOD.given({"good"}, {"good"}), ValueError, r"must not share a name, got 'good'"),
    (lambda: GOOD.given(working={3}), TypeError, r"each name in working must be text, got 3"),
    (lambda: GOOD.minimal_cut_sets(largest=0), ValueError, r"largest must be >= 1, got 0"),
    (lambda: common_cause(GOOD, 0.1), TypeError, r"parts must be a sequence, got Part\(name='good'"),
    (lambda: common_cause("AB", 0.1), TypeError, r"parts must be a sequence, got 'AB'"),
    (lambda: common_cause([GOOD], 0.1), ValueError, r"parts must be two or more"),
    (lambda: common_cause([GOOD, GOOD], 0.1), ValueError, r"of different names"),
    (lambda: common_cause([GOOD, series(GOOD)], 0.1), TypeError, r"every value of parts must be a Part, got <1 of 1 blocks"),
    (
        lambda: common_cause([GOOD, Part("b", mtbf_h=11, mttr_h=1)], 0.1),
        ValueError,
        r"parts must have the same mtbf_h and mttr_h",
    ),
    (lambda: common_cause(likes(2), 1.5), ValueError, r"share must be between 0 and 1, got 1.5"),
    (lambda: common_cause(likes(2), -0.1), ValueError, r"share must be between 0 and 1, got -0.1"),
    (lambda: common_cause(likes(2), math.nan), ValueError, r"share must be between 0 and 1, got nan"),
    (lambda: common_cause(likes(2), "5 %"), TypeError, r"share must be a number, got '5 %'"),
]


@pytest.mark.parametrize(("call", "error", "message"), REFUSED)
def test_refusals_name_the_argument_the_rule_and_the_value(call, error, message):
    with pytest.raises(error, match=message):
        call()


def test_blocks_stand_two_thousand_deep_and_no_deeper():
    part = block = Part("a", mtbf_h=900, mttr_h=3)
    for _ in range(2000):
        block = series(part, block)
    with pytest.raises(ValueError, match="nested at most 2000 deep, got 2001"):
        parallel(block, part)
