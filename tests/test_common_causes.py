"""Common causes of some of a group: against all states of all events, and the handbooks' forms."""

import itertools
import math
from fractions import Fraction

import pytest

from labkit.availability.common_causes import (
    common_cause,
    common_cause_group,
    shares_of_alpha,
    shares_of_greek,
)
from labkit.availability.parts import Part, at_least, parallel, series

MTBF_H, MTTR_H = 100_000, 10


def group(count):
    return [Part(f"p{number}", mtbf_h=MTBF_H, mttr_h=MTTR_H) for number in range(count)]


def by_states(needed, count, shares):
    """Probability and outages per hour from every state of every event, in fractions."""
    events = [((k,), Fraction(1) - sum(shares.values())) for k in range(count)]
    events += [
        (some, share / math.comb(count - 1, size - 1))
        for size, share in shares.items() for some in itertools.combinations(range(count), size)
    ]
    rates = [Fraction(share) / MTBF_H for _, share in events]
    down_of = [rate * MTTR_H / (1 + rate * MTTR_H) for rate in rates]

    def works(state):
        hit = {k for (some, _), bad in zip(events, state, strict=True) if bad for k in some}
        return count - len(hit) >= needed

    down = begun = Fraction(0)
    for state in itertools.product([0, 1], repeat=len(events)):
        chance = math.prod(p if bad else 1 - p for p, bad in zip(down_of, state, strict=True))
        if not works(state):
            down += chance
            continue
        for place, bad in enumerate(state):
            if not bad and not works((*state[:place], 1, *state[place + 1 :])):
                begun += chance * rates[place]
    return down, begun


@pytest.mark.parametrize(("needed", "count", "shares"), [
    (2, 3, {2: Fraction(7, 100), 3: Fraction(3, 100)}),
    (1, 3, {2: Fraction(1, 5), 3: Fraction(1, 50)}),
    (2, 4, {2: Fraction(1, 20), 4: Fraction(1, 100)}),
    (1, 2, {2: Fraction(1, 20)}),
])
def test_votes_against_all_states(needed, count, shares):
    block = at_least(needed, *common_cause_group(
        group(count), {size: float(share) for size, share in shares.items()}
    ))
    down, begun = by_states(needed, count, shares)
    assert block.unavailability == pytest.approx(float(down), rel=1e-13, abs=0)
    assert block.failures_per_h == pytest.approx(float(begun), rel=1e-13, abs=0)


def test_each_part_keeps_its_rate():
    for block in common_cause_group(group(5), {2: 0.05, 3: 0.02, 5: 0.01}):
        rates = sum(one.failure_rate_per_h for one in block.parts.values())
        assert rates == pytest.approx(1 / MTBF_H, rel=1e-14)
        # alone; with each of 4; with each of 6 pairs of others; all
        assert len(block.parts) == 1 + 4 + 6 + 1
    # the most parts, and the smallest share, that are taken
    eight = common_cause_group(group(8), {2: 1e-30})
    assert {len(block.parts) for block in eight} == {1 + 7}


def test_all_at_once_is_the_beta_factor():
    cause = Part("common cause of p0, p1, p2", mtbf_h=MTBF_H / 0.1, mttr_h=MTTR_H)
    by_hand = tuple(series(Part(one.name, mtbf_h=MTBF_H / 0.9, mttr_h=MTTR_H), cause)
                    for one in group(3))
    assert common_cause(group(3), 0.1) == common_cause_group(group(3), {3: 0.1}) == by_hand
    # More than eight, where no set of some is wanted.
    assert len({*parallel(*common_cause(group(20), 0.1)).parts}) == 21
    both = common_cause_group(group(2), {2: 1.0})
    assert parallel(*both).unavailability == pytest.approx(MTTR_H / (MTBF_H + MTTR_H), rel=1e-15)


def test_greek_letters_and_alpha_factors_say_the_same():
    """NUREG/CR-5485 (memory): beta = (2 a2 + 3 a3) / at, gamma = 3 a3 / (2 a2 + 3 a3)."""
    alphas = (0.95, 0.035, 0.015)
    total = 0.95 + 2 * 0.035 + 3 * 0.015
    beta = (2 * 0.035 + 3 * 0.015) / total
    gamma = 3 * 0.015 / (2 * 0.035 + 3 * 0.015)
    assert shares_of_alpha(alphas) == pytest.approx(shares_of_greek([beta, gamma]), rel=1e-14)
    assert shares_of_alpha(alphas, staggered=True) == {2: 0.035, 3: 0.015}
    four = shares_of_greek([0.1, 0.5, 0.8])
    assert four == pytest.approx({2: 0.05, 3: 0.01, 4: 0.04}, rel=1e-14)


@pytest.mark.parametrize(("more", "taken"), [(0.5e-12, True), (1.5e-12, False)])
def test_shares_are_read_to_twelve_digits(more, taken):
    """What is left for one alone below 1e-12 is rounding, and so is what is above all by as much."""
    for rest, words in ((1 - more, ""), (1 + more, "shares must sum to at most 1")):
        def ask(rest=rest):
            return common_cause_group(group(3), {2: 0.5, 3: rest - 0.5})

        if rest > 1 and not taken:
            with pytest.raises(ValueError, match=words):
                ask()
        else:
            # with each of two others, and with both; and alone, where that is a share
            assert {len(block.parts) for block in ask()} == {3 + (rest < 1 and not taken)}


def test_alpha_factors_sum_to_one_within_a_billionth():
    assert shares_of_alpha([0.5, 0.5 + 0.9e-9])[2] == pytest.approx(2 / 3, rel=1e-8)
    with pytest.raises(ValueError, match="alphas must sum to 1"):
        shares_of_alpha([0.5, 0.5 + 1.1e-9])


def test_two_out_of_three_by_its_first_terms():
    """NUREG/CR-4780 (memory), 2 out of 3: Q = 3 Q1^2 + 3 Q2 + Q3 for rare events."""
    shares = shares_of_greek([0.1, 0.3])
    per_demand = MTTR_H / MTBF_H
    first = [(1 - 0.1) * per_demand, shares[2] / 2 * per_demand, shares[3] * per_demand]
    rare = 3 * first[0] ** 2 + 3 * first[1] + first[2]
    block = at_least(2, *common_cause_group(group(3), shares))
    assert block.unavailability == pytest.approx(rare, rel=3e-4)


@pytest.mark.parametrize(("call", "error", "message"), [
    (lambda: common_cause_group(group(1), {2: 0.1}), ValueError, "two or more of different names"),
    (lambda: common_cause_group(group(9), {2: 0.1}), ValueError, "parts must be at most 8, got 9"),
    (lambda: common_cause_group(group(3), {4: 0.1}), ValueError, "must be from 2 to 3, got 4"),
    (lambda: common_cause_group(group(3), {1: 0.1}), ValueError, "must be from 2 to 3, got 1"),
    (lambda: common_cause_group(group(3), {2: 1.1}), ValueError, r"shares\[2\] must be between"),
    (lambda: common_cause_group(group(3), {2: 0.6, 3: 0.6}), ValueError, "sum to at most 1, got 2: 0.6, 3: 0.6"),
    (lambda: common_cause_group(group(3), 0.1), TypeError, "shares must be a mapping"),
    (lambda: shares_of_greek([]), ValueError, "letters must be at least one"),
    (lambda: shares_of_greek([1.2]), ValueError, "every value of letters must be between 0 and 1, got 1.2"),
    (lambda: shares_of_alpha([1.0]), ValueError, "alphas must be at least two, got 1"),
    (lambda: shares_of_alpha([0.9, 0.2]), ValueError, "alphas must sum to 1, got 0.9, 0.2"),
])
def test_refusals(call, error, message):
    with pytest.raises(error, match=message):
        call()
