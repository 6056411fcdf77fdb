"""Blocks in time, with repairs: against closed forms and against SciPy on all states."""

import itertools
import math
import pickle

import numpy as np
import pytest
from scipy import integrate, linalg

from labkit.availability.blocks import ALWAYS_FAILED, ALWAYS_WORKS
from labkit.availability.parts import Chain, Part, at_least, parallel, series
from labkit.markov import first_failure
from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.first_failure import first_failure_chain
from labkit.markov.pair import redundant_pair
from tests.references import agrees

TIMES_H = np.array([0.01, 3.0, 40.0, 900.0, 20_000.0])


def like(count, mtbf_h=1000, mttr_h=4):
    return [Part(name, mtbf_h=mtbf_h, mttr_h=mttr_h) for name in "abcdefghijklm"[:count]]


def test_pair_with_repair_by_its_closed_form():
    """R(t) of the hot pair, the roots of s^2 + (3 lambda + mu) s + 2 lambda^2 (Birolini,
    Reliability Engineering, family of Eq. 6.92; worked by hand)."""
    failure, repair = 1e-3, 0.25
    whole, root = 3 * failure + repair, math.sqrt(failure**2 + 6 * failure * repair + repair**2)
    fast = (whole + root) / 2
    slow = 2 * failure**2 / fast
    chain = first_failure_chain(parallel(*like(2)))
    found = chain.reliability(TIMES_H)
    exact = (fast * np.exp(-slow * TIMES_H) - slow * np.exp(-fast * TIMES_H)) / (fast - slow)
    np.testing.assert_allclose(found, exact, rtol=1e-12, atol=0)
    agrees("E22", chain.mean_time_to_first_failure_h())


def test_the_shortest_time_of_a_variable():
    """1 / (1/3 + 1/6) = 2 h settle a part; of a chain it is the time in the state it leaves soonest."""
    assert Part("p", mtbf_h=3, mttr_h=6)._variable([None]).fastest_h == pytest.approx(2, rel=1e-15)
    model = MarkovModel({("a", "b"): 0.1, ("b", "a"): 0.5, ("b", "c"): 1.5, ("c", "a"): 1.0}, up=["a"])
    assert Chain("c", model)._variable([frozenset("a")]).fastest_h == pytest.approx(0.5, rel=1e-15)


def test_what_has_failed_for_good_is_no_help_and_what_works_for_good_is_no_harm():
    (part,) = like(1)
    for block in (parallel(ALWAYS_FAILED, part), series(ALWAYS_WORKS, part)):
        assert first_failure_chain(block).mean_time_to_first_failure_h() == pytest.approx(1000)
    assert first_failure_chain(series(part, ALWAYS_FAILED)).mean_time_to_first_failure_h() == 0


def test_one_part_in_time_by_its_closed_forms():
    """U(t) = U [1 - exp(-s t)] (IEC 61703); outages: lambda times the hours that it works."""
    (part,) = like(1, mtbf_h=100, mttr_h=25)
    s = 1 / 100 + 1 / 25
    down = 0.2 * -np.expm1(-s * TIMES_H)
    np.testing.assert_allclose(part.unavailability_at(TIMES_H), down, rtol=1e-14, atol=0)
    hours_up = 0.8 * TIMES_H + 0.2 / s * -np.expm1(-s * TIMES_H)
    np.testing.assert_allclose(part.outages_until(TIMES_H), hours_up / 100, rtol=1e-13, atol=0)
    assert part.unavailability_at(0) == part.outages_until(0) == 0.0
    assert part.unavailability_at(1e7) == pytest.approx(part.unavailability, rel=1e-14)
    # restored in 3.6 s, by the same form: what settles so soon is looked at as soon
    s, share = 1001.0, 1 / 1001
    hours_up = (1 - share) * TIMES_H + share / s * -np.expm1(-s * TIMES_H)
    for quick in (Part("q", mtbf_h=1, mttr_h=1e-3), Chain("q", two_state(1, 1e-3)).when(["up"])):
        np.testing.assert_allclose(quick.outages_until(TIMES_H), hours_up, rtol=1e-13, atol=0)


def test_a_pair_before_a_third_part_in_time():
    """The pair is a module: its outages while the third works, and those of the third, by SciPy."""
    (one,) = like(1, mtbf_h=100, mttr_h=25)
    two, third = Part("b", mtbf_h=40, mttr_h=10), Part("c", mtbf_h=200, mttr_h=50)

    def begun_per_h(t_h):
        a, b, c = (part.unavailability_at(t_h) for part in (one, two, third))
        return (1 - c) * ((1 - a) * b / 100 + a * (1 - b) / 40) + (1 - a * b) * (1 - c) / 200

    for t_h in (3.0, 40.0, 900.0):
        outages, _ = integrate.quad(begun_per_h, 0, t_h, epsabs=0, epsrel=1e-12)
        block = series(parallel(one, two), third)
        assert block.outages_until(t_h) == pytest.approx(outages, rel=1e-11)


def bridge_with_a_shared_feed():
    feed, a, b, c, d = (
        Part(name, mtbf_h=mtbf_h, mttr_h=mttr_h)
        for name, mtbf_h, mttr_h in [
            ("feed", 3000, 30), ("a", 100, 9), ("b", 200, 40), ("c", 70, 2), ("d", 500, 5),
        ]
    )
    return series(parallel(series(a, b), series(c, feed)), at_least(2, b, d, feed))


def all_states(block):
    """The generator of all states of the parts, and in which of them the block has failed."""
    parts = list(block.parts.values())
    states = list(itertools.product([0, 1], repeat=len(parts)))
    rates = np.zeros((len(states), len(states)))
    for i, state in enumerate(states):
        for k, part in enumerate(parts):
            other = states.index((*state[:k], 1 - state[k], *state[k + 1 :]))
            rates[i, other] = 1 / (part.mttr_h if state[k] else part.mtbf_h)
    failed = []
    for state in states:
        names = [part.name for part in parts]
        down = {name for name, bad in zip(names, state, strict=True) if bad}
        failed.append(block.given(failed=down, working=set(names) - down).unavailability == 1.0)
    return rates - np.diag(rates.sum(axis=1)), np.array(failed)


def test_shared_parts_in_time_against_all_states():
    """SciPy's matrix exponential on all 32 states, and its quadrature of the outages."""
    block = bridge_with_a_shared_feed()
    generator, failed = all_states(block)
    absorbing = np.where(failed[:, None], 0.0, generator)
    begins = np.where(failed, 0.0, np.where(failed[None, :], generator, 0.0).sum(axis=1))

    def at(matrix, t_h):
        return linalg.expm(matrix * t_h)[0]

    chain = first_failure_chain(block)
    assert len(chain.up) == np.count_nonzero(~failed)
    for t_h in (1.0, 60.0, 700.0):
        down = at(generator, t_h)[failed].sum()
        assert block.unavailability_at(t_h) == pytest.approx(down, rel=1e-11)
        assert chain.unreliability(t_h) == pytest.approx(at(absorbing, t_h)[failed].sum(), rel=1e-11)
        outages, _ = integrate.quad(lambda s: at(generator, s) @ begins, 0, t_h, epsabs=0)
        assert block.outages_until(t_h) == pytest.approx(outages, rel=1e-9)


@pytest.mark.parametrize("block", [
    bridge_with_a_shared_feed(), parallel(*like(3)), series(*like(9)), at_least(3, *like(6)),
])
def test_chance_of_a_failure_lies_between_its_bounds(block):
    chance = first_failure_chain(block).unreliability(TIMES_H)
    assert np.all(block.unavailability_at(TIMES_H) <= chance * (1 + 1e-12))
    assert np.all(chance <= block.outages_until(TIMES_H) * (1 + 1e-12))


def test_a_chain_in_a_block_is_followed_in_time():
    pair = redundant_pair(1000, 10, common_cause=0.05, coverage=0.9)
    alone = Chain("pair", pair).when(pair.up)
    np.testing.assert_allclose(
        alone.unavailability_at(TIMES_H), pair.unavailability_at(TIMES_H), rtol=1e-12, atol=0
    )
    np.testing.assert_allclose(
        alone.outages_until(TIMES_H), pair.failures_until(TIMES_H), rtol=1e-10, atol=0
    )
    chain = first_failure_chain(series(alone, *like(1)))
    exact = pair.reliability(TIMES_H) * np.exp(-TIMES_H / 1000)
    np.testing.assert_allclose(chain.reliability(TIMES_H), exact, rtol=1e-11, atol=0)
    assert pickle.loads(pickle.dumps(alone)).unavailability_at(3) == alone.unavailability_at(3)


def test_a_chain_that_begins_failed_has_failed():
    model = MarkovModel({("up", "down"): 0.1, ("down", "up"): 1.0}, up=["up"], start="down")
    block = Chain("late", model).when({"up"})
    assert first_failure_chain(block).unreliability(0.0) == 1.0
    assert block.unavailability_at(0.0) == 1.0
    # two in parallel begin failed with 0.2 and 0.25, both of them with 0.05; no way out, none added
    never = MarkovModel({("up", "down"): 0.0, ("down", "up"): 1.0}, up=["up"], start={"up": 1.0})
    pair = [Chain(str(share), MarkovModel({("up", "down"): 0.1}, up=["up"], start={
        "up": 1 - share, "down": share})).when({"up"}) for share in (0.2, 0.25)]
    found = first_failure_chain(parallel(*pair, Chain("never", never).when({"up"})))
    assert found.unreliability(1e3) == 0.0
    assert first_failure_chain(parallel(*pair)).unreliability(0.0) == pytest.approx(0.05, rel=1e-14)


def test_as_many_states_as_are_taken(monkeypatch):
    """Two parts work in three of their four states: both good, and one of them failed."""
    monkeypatch.setattr(first_failure, "MOST_STATES", 3)
    assert len(first_failure_chain(parallel(*like(2))).states) == 3 + 1
    with pytest.raises(ValueError, match="at most 3 states"):
        first_failure_chain(parallel(*like(2), Part("p2", mtbf_h=1e9, mttr_h=1)))


@pytest.mark.parametrize(("call", "error", "message"), [
    (lambda: first_failure_chain("a"), TypeError, "block must be a block, got 'a'"),
    (lambda: first_failure_chain(parallel(*like(11))), ValueError,
     "block must work in at most 1024 states, got more; outages_until bounds"),
    (lambda: like(1)[0].unavailability_at(-1), ValueError, "t_h must be >= 0 and finite, got -1"),
    (lambda: like(1)[0].outages_until([1, math.inf]), ValueError, "t_h must be >= 0 and finite"),
    (lambda: like(1)[0].outages_until("1"), TypeError, "t_h must be a number or a sequence"),
])
def test_refusals(call, error, message):
    with pytest.raises(error, match=message):
        call()
