"""Channels with latent faults: against sums worked by hand and chains with jumps at the tests."""

import itertools
import math

import numpy as np
import pytest

from labkit.markov.periodic import PeriodicModel, Phase
from labkit.markov.staggered_tests import ProofTestedChannels

MTBF_H, YEAR_H = 100_000.0, 8760.0


def close(found, exact, rtol=1e-12):
    assert found == pytest.approx(exact, rel=rtol, abs=0)


@pytest.mark.parametrize("x", [1e-4, 0.0876, 0.5, 3.0])
def test_one_channel_and_a_pair_at_once_by_hand(x):
    """The mean of 1 - exp(-a) over 0 to x, and of its square, integrated by hand."""
    one = ProofTestedChannels(1.0, test_interval_h=x)
    series = math.fsum([x / 2, -(x**2) / 6, x**3 / 24, -(x**4) / 120])
    close(one.unavailability, series if x < 1e-3 else 1 + math.expm1(-x) / x)
    close(one.worst, -math.expm1(-x))
    pair = ProofTestedChannels(1.0, test_interval_h=x, channels=2)
    by_hand = math.fsum([x**3 / 3, -(x**4) / 4, 7 * x**5 / 60, -(x**6) / 24]) / x
    exact = 1 + 2 * math.expm1(-x) / x - math.expm1(-2 * x) / (2 * x)
    close(pair.unavailability, by_hand if x < 1e-3 else exact, rtol=1e-10)


@pytest.mark.parametrize("x", [0.0876, 0.5, 3.0])
def test_a_staggered_pair_by_hand(x):
    """(1 - exp(-a))(1 - exp(-a - x/2)) over a from 0 to x/2, integrated by hand."""
    y = x / 2
    exact = (
        1 + math.expm1(-y) * (1 + math.exp(-y)) / y - math.exp(-y) * math.expm1(-2 * y) / (2 * y)
    )
    pair = ProofTestedChannels(1.0, test_interval_h=x, channels=2, staggered=True)
    close(pair.unavailability, exact, rtol=1e-11)


def test_first_terms_of_the_textbooks():
    """(x T)^2 / 3 and 5 (x T)^2 / 24; beta x T / 2 and beta x T / 4 (Rausand 2014, memory)."""
    x = 1e-5
    at_once = ProofTestedChannels(1 / x, test_interval_h=1.0, channels=2)
    in_turn = ProofTestedChannels(1 / x, test_interval_h=1.0, channels=2, staggered=True)
    assert at_once.unavailability == pytest.approx(x**2 / 3, rel=2 * x)
    assert in_turn.unavailability == pytest.approx(5 * x**2 / 24, rel=2 * x)
    common = {"channels": 2, "common_cause": 1.0, "test_interval_h": 1.0}
    assert ProofTestedChannels(1 / x, **common).unavailability == pytest.approx(x / 2, rel=x)
    staggered = ProofTestedChannels(1 / x, **common, staggered=True)
    assert staggered.unavailability == pytest.approx(x / 4, rel=x)


def test_a_share_that_only_the_overhaul_finds():
    """First term by hand: 0.9 T / 2 MTBF + 0.1 x 10 T / 2 MTBF = 0.0166; exact a little below."""
    one = ProofTestedChannels(500_000, test_interval_h=YEAR_H, missed=0.1, overhaul_interval_h=10 * YEAR_H)
    first = (0.9 / 2 + 0.1 * 10 / 2) * YEAR_H / 500_000
    assert first * 0.98 < one.unavailability < first
    assert one.worst == pytest.approx(-math.expm1(-(0.9 + 1.0) * YEAR_H / 500_000), rel=1e-12)


def channel_states(rate, missed, number):
    """Channels with two kinds of fault each, as one chain: (found, hidden) for each channel."""
    kinds = [(a, b) for a in (0, 1) for b in (0, 1)]
    states = [()]
    for _ in range(number):
        states = [(*state, kind) for state in states for kind in kinds]
    rates = {}
    for state in states:
        for k, (a, b) in enumerate(state):
            if not a:
                rates[state, (*state[:k], (1, b), *state[k + 1 :])] = rate * (1 - missed)
            if not b:
                rates[state, (*state[:k], (a, 1), *state[k + 1 :])] = rate * missed
    return states, rates


def moved_on(states, channels, overhaul=False):
    """What a test of some channels makes of each state."""
    return {
        state: tuple(
            ((0, 0) if overhaul else (0, kind[1])) if k in channels else kind
            for k, kind in enumerate(state)
        )
        for state in states
    }


@pytest.mark.parametrize("staggered", [False, True])
def test_pair_with_tests_and_overhaul_as_a_chain(staggered):
    """The same pair as a chain of 16 states that is moved on at each test of three years."""
    missed, years = 0.15, 3
    states, rates = channel_states(1 / MTBF_H, missed, 2)
    phases = []
    for year in range(years):
        end = {"channels": {0, 1}, "overhaul": True} if year == years - 1 else None
        if staggered:
            # channel 1 half a year after channel 0, which is tested at full years
            phases.append(Phase(rates, YEAR_H / 2, moved_on(states, {1})))
            phases.append(Phase(rates, YEAR_H / 2, moved_on(states, **end or {"channels": {0}})))
        else:
            phases.append(Phase(rates, YEAR_H, moved_on(states, **end or {"channels": {0, 1}})))
    up = [state for state in states if any(kind == (0, 0) for kind in state)]
    exact = PeriodicModel(phases, up, start=((0, 0), (0, 0)))
    pair = ProofTestedChannels(
        MTBF_H, test_interval_h=YEAR_H, channels=2, staggered=staggered, missed=missed,
        overhaul_interval_h=years * YEAR_H,
    )
    close(pair.unavailability, exact.unavailability, rtol=1e-11)
    times = np.array([100.0, 5000.0, 9000.0, 20_000.0])
    np.testing.assert_allclose(
        pair.unavailability_at(times), exact.unavailability_at(times), rtol=1e-11, atol=0
    )


def test_three_in_turn_by_all_their_states():
    """Tested at 0, 300 and 600 h of 900: at 1000 h these were 100, 700 and 400 h ago, by hand.

    At 200 h the second and third have not been tested since the overhaul; without overhauls they
    have been 800 and 500 h ago. Of each fault 1/4 waits for the overhaul, 1/5 takes all at once.
    """
    three = {"mtbf_h": 2000.0, "test_interval_h": 900.0, "channels": 3, "staggered": True,
             "common_cause": 0.2}
    hidden = {"missed": 0.25, "overhaul_interval_h": 2700.0}

    def by_states(ages_h, t_h, missed, needed):
        spent = [(1 - missed) * age_h + missed * t_h for age_h in ages_h]
        bad = [-math.expm1(-0.8 * h / 2000) for h in spent]
        together = -math.expm1(-0.2 * min(spent) / 2000)
        few = math.fsum(
            math.prod(q if out else 1 - q for out, q in zip(state, bad, strict=True))
            for state in itertools.product((False, True), repeat=3) if 3 - sum(state) < needed)
        return together + (1 - together) * few

    for needed in (1, 2, 3):
        found = ProofTestedChannels(**three, **hidden, needed=needed)
        close(found.unavailability_at([1000.0, 200.0]), [
            by_states((100, 700, 400), 1000, 0.25, needed), by_states([200] * 3, 200, 0.25, needed)])
        close(found.worst, by_states((900, 600, 300), 2700, 0.25, needed))
        plain = ProofTestedChannels(**three, needed=needed)
        close(plain.unavailability_at(200.0), by_states((200, 800, 500), 0, 0.0, needed))
        close(plain.worst, by_states((900, 600, 300), 0, 0.0, needed))


def test_votes_lie_in_order_and_staggering_never_hurts():
    def vote(needed, staggered=False):
        return ProofTestedChannels(MTBF_H, test_interval_h=YEAR_H, channels=3, needed=needed,
                              staggered=staggered, common_cause=0.02).unavailability

    assert vote(1) < vote(2) < vote(3)
    assert vote(1, True) < vote(1) and vote(2, True) < vote(2)


@pytest.mark.parametrize(("given", "error", "message"), [
    ({"needed": 2}, ValueError, "needed must be <= channels, 1, got 2"),
    ({"missed": 0.1}, ValueError, "overhaul_interval_h must be given where missed is > 0"),
    ({"overhaul_interval_h": 2.5 * YEAR_H}, ValueError, "times a whole number from 1 to 10000"),
    ({"overhaul_interval_h": 100.0}, ValueError, "times a whole number from 1 to 10000"),
    ({"staggered": 1}, TypeError, "staggered must be True or False, got 1"),
    ({"channels": 101}, ValueError, "channels must be 1 to 100, got 101"),
    ({"channels": 1.5}, TypeError, "channels must be a whole number, got 1.5"),
    ({"common_cause": 2}, ValueError, "common_cause must be between 0 and 1, got 2"),
])
def test_refusals(given, error, message):
    with pytest.raises(error, match=message):
        ProofTestedChannels(MTBF_H, **{"test_interval_h": YEAR_H, **given})


def test_a_time_before_the_overhaul_is_refused():
    with pytest.raises(ValueError, match="t_h must be >= 0 and finite, got -1"):
        ProofTestedChannels(MTBF_H, test_interval_h=YEAR_H).unavailability_at(-1)
