"""Monte Carlo: against exact values, published values and a plain SimPy model.

Every check of a random number uses a fixed seed and a bound of four standard errors.
"""

import dataclasses
import itertools
import math
import random
import threading
from concurrent.futures import ThreadPoolExecutor
from types import SimpleNamespace

import numpy as np
import pytest
import simpy
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from labkit.availability.blocks import ALWAYS_FAILED, ALWAYS_WORKS
from labkit.availability.parts import Chain, Part, at_least, parallel, series
from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.pair import redundant_pair
from labkit.simulation import (
    batches,
    block_lives,
    runs,
)
from labkit.simulation import (
    chain_lives as chainlives,
)
from labkit.simulation.chain_tables import ChainTables
from labkit.simulation.estimates import Estimate, estimate, estimate_of
from labkit.simulation.histories import ChainHistory, Span, chain_history
from labkit.simulation.repair_times import FixedRepair, LognormalRepair
from labkit.simulation.runs import BlockRun, simulate_block, simulate_chain
from tests.references import TRAPS, exact_value, values

pytestmark = pytest.mark.usefixtures("ends")

ERRORS = 4


def near(estimate, exact):
    """Assert that an estimate with an error lies within four of them from the exact value."""
    assert estimate.standard_error > 0
    assert abs(estimate.errors_off(exact)) <= ERRORS


def near_mean(samples, exact):
    samples = np.asarray(samples, dtype=float)
    error = samples.std(ddof=1) / math.sqrt(samples.size)
    assert error > 0
    assert abs(samples.mean() - exact) <= ERRORS * error


def near_lives(per_life, exact, most):
    """Assert that a mean over lives is near, where it may be that nearly all lives end alike.

    The spread of the few others then says little, and nothing where there is none. Of a way to
    end that has not been seen, ten lives may have been expected: P(none) = exp(-10) = 5e-5, the
    chance beyond four standard errors. `most` is what one life can add.
    """
    per_life = np.asarray(per_life, dtype=float)
    _, counts = np.unique(per_life, return_counts=True)
    others = per_life.size - counts.max()
    unseen = 10 * most if others < 50 else 0
    error = per_life.std(ddof=1) / math.sqrt(per_life.size)
    assert abs(per_life.mean() - exact) <= ERRORS * error + unseen / per_life.size + 1e-12


def hot_pair(failures, repairs, crews, **how):
    rates = {
        (2, 1): 2 * failures,
        (1, 2): repairs,
        (1, 0): failures,
        (0, 1): crews * repairs,
    }
    return MarkovModel(rates, up=[2, 1], **how)


def pair_with_coverage(failures=1e-3, repairs=0.1, coverage=0.98, restart=2.0):
    rates = {
        ("good", "one"): 2 * failures * coverage,
        ("good", "not taken over"): 2 * failures * (1 - coverage),
        ("not taken over", "one"): restart,
        ("one", "good"): repairs,
        ("one", "none"): failures,
        ("none", "one"): 2 * repairs,
    }
    return MarkovModel(rates, up=["good", "one"])


def ring(size=6):
    """A chain without any plain cycle: round and round, with one way back."""
    rates = {(k, (k + 1) % size): 1.0 + k for k in range(size)} | {(3, 1): 2.0}
    return MarkovModel(rates, up=range(4))


CHAINS = {
    "pair with coverage, ten years": (pair_with_coverage(), 87_600, 3000),
    "pair with coverage, shorter than a cycle": (pair_with_coverage(), 300, 40_000),
    "reference pair": (
        redundant_pair(60_000, 4, common_cause=0.05, coverage=0.97, diagnosed=0.9),
        8.76e6,
        3000,
    ),
    "one unit": (two_state(mtbf_h=1000, mttr_h=10), 30_000, 3000),
    "one unit, shorter than its repair": (two_state(mtbf_h=100, mttr_h=500), 80, 20_000),
    "as many failures as repairs": (two_state(mtbf_h=1, mttr_h=1), 40, 20_000),
    "starts anywhere": (
        MarkovModel(
            pair_with_coverage().rates,
            up=["good", "one"],
            start={"none": 0.5, "not taken over": 0.25, "good": 0.25},
        ),
        2000,
        20_000,
    ),
    "absorbing": (
        MarkovModel({(2, 1): 2e-3, (1, 2): 0.1, (1, 0): 1e-3}, up=[2, 1]),
        60_000,
        8000,
    ),
    "hub and spoke both down": (
        MarkovModel(
            {("a", "b"): 1.0, ("b", "a"): 1.0, ("b", "c"): 0.05, ("c", "a"): 0.3}, up=["c"]
        ),
        100,
        10_000,
    ),
    "spoke down, odd cycles first": (
        MarkovModel(
            {("u", "d"): 1.0, ("d", "u"): 4.0, ("u", "x"): 0.3, ("x", "y"): 2.0, ("y", "u"): 1.0},
            up=["u", "x"],
        ),
        50,
        10_000,
    ),
    "many ways down": (
        MarkovModel(
            {("u", "s"): 1.0, ("s", "u"): 5.0}
            | {("u", k): 0.015 for k in range(20)}
            | {(k, "u"): 1.0 + k for k in range(20)},
            up=["u", "s"],
        ),
        100,
        5000,
    ),
    "ring": (ring(), 60, 10_000),
    "round and round": (MarkovModel({(k, (k + 1) % 6): 1.0 + k for k in range(6)}, up=range(4)),
                        20, 10_000),
    "repair in three phases, with a way down between": (
        MarkovModel(
            {("up", "find"): 0.1, ("find", "mend"): 1.0, ("mend", "try"): 0.5, ("try", "up"): 2.0,
             ("find", "down"): 0.03, ("try", "mend"): 0.1, ("down", "up"): 0.3},
            up=["up", "find", "mend", "try"],
        ),
        90,
        10_000,
    ),
    "down for three phases": (
        MarkovModel(
            {("up", "find"): 0.1, ("find", "mend"): 1.0, ("mend", "up"): 0.5, ("up", "idle"): 0.01,
             ("idle", "up"): 0.2, ("idle", "find"): 0.1},
            up=["up", "idle"],
            start={"mend": 0.5, "up": 0.25, "idle": 0.25},
        ),
        60,
        10_000,
    ),
    "down twice in a round": (
        MarkovModel({(k, (k + 1) % 4): 1.0 + k for k in range(4)}, up=[0, 2]), 20, 10_000),
    "fast cycle far from the start": (
        MarkovModel({(0, 1): 1e-3, (1, 0): 1.0, (1, 2): 99.0, (2, 1): 100.0}, up=[0]),
        8760,
        600,
    ),
    "hardly ever at the hub": (
        MarkovModel({("far", "good"): 0.01, ("good", "bad"): 1.0, ("bad", "good"): 5.0},
                    up=["far", "good"], start={"far": 1.0}),
        20,
        10_000,
    ),
    "whole numbers as rates": (MarkovModel({(0, 1): 1, (1, 0): 3}, up=[0]), 20, 20_000),
}


# -- chains against exact values ----------------------------------------------------------------


@pytest.mark.parametrize("name", CHAINS)
def test_chain_against_exact_values(name):
    model, horizon_h, lives = CHAINS[name]
    run = simulate_chain(model, horizon_h, lives, np.random.default_rng(11), progress=None)
    assert run.lives == lives and not run.stopped
    near(run.unavailability, model.interval_unavailability(horizon_h))
    near_mean(run.outages, model.failures_until(horizon_h))
    hours = model.hours_in_states(horizon_h)
    for state, exact_h in zip(model.states, hours, strict=True):
        near(run.state_share[state], exact_h / horizon_h)
    total = math.fsum(share.point for share in run.state_share.values())
    assert total == pytest.approx(1, rel=1e-12)
    for part in (0.1, 0.6):
        reliability = model.reliability(part * horizon_h)
        error = math.sqrt(reliability * (1 - reliability) / lives)
        assert abs(run.reliability(part * horizon_h).point - reliability) <= ERRORS * error + 1e-9


@pytest.mark.parametrize(
    "name",
    [
        "pair with coverage, ten years",
        "one unit",
        "starts anywhere",
        "absorbing",
        "hub and spoke both down",
        "spoke down, odd cycles first",
        "many ways down",
        "round and round",
        "repair in three phases, with a way down between",
        "down for three phases",
    ],
)
@pytest.mark.parametrize("most_few", [(3, 1), (1024, 1e9)])
def test_short_and_long_stretches(name, most_few, monkeypatch):
    """Few lives at once; stretches of hardly any excursions, and all times asked for at once."""
    monkeypatch.setattr(chainlives, "_LANES", 400)
    monkeypatch.setattr(chainlives, "_MOST", most_few[0])
    monkeypatch.setattr(chainlives, "_FEW", most_few[1])
    model, horizon_h, _ = CHAINS[name]
    tables = ChainTables.of(model)
    done = chainlives.live(tables, horizon_h, 2500, np.random.default_rng(48))
    for state, exact_h in enumerate(model.hours_in_states(horizon_h)):
        near_mean(done.hours[:, state], exact_h)
    near_mean(done.outages, model.failures_until(horizon_h))
    reliability = model.reliability(horizon_h / 2)
    survived = np.mean(done.first_outage_h > horizon_h / 2)
    error = math.sqrt(reliability * (1 - reliability) / 2500)
    assert abs(survived - reliability) <= ERRORS * error + 1e-9


@pytest.mark.parametrize("name", ["pair with coverage, ten years", "one unit", "absorbing",
                                  "round and round", "down for three phases"])
def test_cycles_and_jumps_are_two_ways_to_the_same(name):
    """The stretches are switched off, and every life followed jump by jump."""
    model, horizon_h, lives = CHAINS[name]
    tables = ChainTables.of(model)
    assert tables.has_hub
    by_cycles = chainlives.live(tables, horizon_h, lives, np.random.default_rng(13))
    tables.has_hub = False
    done = chainlives.live(tables, horizon_h, lives, np.random.default_rng(12))
    down = ~tables.is_up[: tables.states]
    near_mean(
        done.hours[:, down].sum(axis=1), horizon_h * model.interval_unavailability(horizon_h)
    )
    near_mean(done.outages, model.failures_until(horizon_h))
    # not in the mean alone: the whole distributions (Kolmogorov and Smirnov, two samples)
    assert stats.ks_2samp(by_cycles.hours.max(axis=1), done.hours.max(axis=1)).pvalue > 1e-3
    assert stats.ks_2samp(by_cycles.first_outage_h, done.first_outage_h).pvalue > 1e-3


def test_plain_cycles():
    """The likeliest jumps, from the state where the chain stays longest; none left too often."""
    def plain(name):
        model = CHAINS[name][0]
        tables = ChainTables.of(model)
        cycle = tables.hub, *tables.paths[0]
        return [model.states[state] for state in cycle] if tables.has_hub else None

    assert plain("ring") is None
    assert plain("down twice in a round") == [0, 1, 2, 3]
    assert plain("round and round") == [0, 1, 2, 3, 4, 5]
    assert plain("down for three phases") == ["up", "find", "mend"]
    assert plain("pair with coverage, ten years") == ["good", "one"]
    # not taken over, or a second failure before the repair
    tables = ChainTables.of(pair_with_coverage())
    assert tables.path_per_h[0] == pytest.approx(2e-3 * 0.98 * 0.1 / 0.101, rel=1e-12)


def test_paths_of_the_reference_pair():
    """From both good: one known failure, and the ways back that are not over that alone."""
    model = CHAINS["reference pair"][0]
    tables = ChainTables.of(model)
    paths = [tuple(model.states[state] for state in path) for path in tables.paths]
    assert paths == [
        ("one failed",),
        ("standby failed unnoticed", "one failed"),
        ("both failed", "one failed"),
        ("not taken over", "one failed"),
    ]
    # chances to go each way first, by the rates out of the hub (beta = 0.05, c = 0.97, DC = 0.9),
    # and to be restored from "one failed" before the second failure
    per_h = np.array([0.95 * (0.97 + 0.9), 0.95 * 0.1, 0.05, 0.95 * 0.03]) / 60_000
    back = 0.25 / (0.25 + 1 / 60_000)
    noticed = (2 / 4380) / (2 / 4380 + 1 / 60_000)
    per_h *= back * np.array([1, noticed, 1, 1])
    np.testing.assert_allclose(tables.path_per_h, per_h, rtol=1e-12, atol=0)
    assert tables.path_outages.tolist() == [0, 0, 1, 1]
    # what strays: a second failure on the way, or before an unnoticed first one is found
    stray = (0.95 * 2 + 0.05) / 60_000 - per_h.sum()
    assert tables.ends_per_h[0] == pytest.approx(stray, rel=1e-9)


def star(*ways):
    """From the hub at these rates to a state of each, and back."""
    rates = {("hub", place): per_h for place, per_h in enumerate(ways)}
    return MarkovModel(rates | {(place, "hub"): 100.0 for place in range(len(ways))}, up=["hub"])


@pytest.mark.parametrize(("ways", "paths"), [
    ([0.71, 0.29], 2), ([0.7, 0.3], 2), ([0.69, 0.31], None),  # of all cycles seven in ten are the plain one
    ([0.9, 0.0979, 0.0021], 3), ([0.9, 0.0981, 0.0019], 2),  # of the odd ones one in fifty
    ([0.9, *[0.1 / 20] * 20], 9),  # and of these eight
])
def test_which_cycles_are_told_apart(ways, paths):
    tables = ChainTables.of(star(*ways))
    assert (len(tables.paths) if tables.has_hub else None) == paths


def test_pace_of_the_excursions_by_hand():
    """Of an hour in the hub: how many begin, their hours, and the squares of these.

    A sum of exponential times with the means m has the mean square (sum of m)^2 + sum of m^2.
    """
    pace = ChainTables.of(star(0.9, 0.1)).pace
    np.testing.assert_allclose(pace, [1.0, 0.01, 2 * 0.01**2], rtol=1e-14)
    phases = MarkovModel({("up", "find"): 0.1, ("find", "mend"): 1.0, ("mend", "up"): 0.5}, up=["up"])
    np.testing.assert_allclose(ChainTables.of(phases).pace, [0.1, 0.1 * 3, 0.1 * (9 + 1 + 4)], rtol=1e-14)


def test_share_of_strays_is_counted_without_subtraction():
    """Of 1e12 failures one is met by a second: its way back is no path of its own."""
    tables = ChainTables.of(redundant_pair(1e12, 1))
    stray_or_other = tables.ends_per_h[0] + tables.path_per_h[1:].sum()
    assert stray_or_other == pytest.approx(2e-12 * 1e-12, rel=1e-9)


def test_long_excursions_that_are_rare():
    """One cycle of 10 000 lasts as long as the horizon: its times are asked for, within limits."""
    model = MarkovModel({("a", "b"): 0.9999, ("b", "a"): 1.0, ("a", "c"): 1e-4, ("c", "a"): 1e-4},
                        up=["a", "b"])
    run = simulate_chain(model, 10_000, 4000, np.random.default_rng(16), progress=None)
    near(run.unavailability, model.interval_unavailability(10_000))
    near_mean(run.outages, model.failures_until(10_000))


@pytest.mark.parametrize("name", ["pair with coverage, ten years", "ring", "absorbing"])
def test_every_jump_is_counted_once(name):
    """Events = all entries of all states; the spread comes from 40 runs."""
    model, horizon_h, _ = CHAINS[name]
    tables = ChainTables.of(model)
    generators = np.random.default_rng(13).spawn(40)
    counts = [chainlives.live(tables, horizon_h, 200, one).events / 200 for one in generators]
    near_mean(counts, model.entries(horizon_h).sum())


@pytest.mark.parametrize("lanes", [20_000, 60])
def test_hours_of_each_life_sum_to_the_horizon(lanes, monkeypatch):
    monkeypatch.setattr(chainlives, "_LANES", lanes)
    for name in ("pair with coverage, ten years", "ring", "starts anywhere", "absorbing"):
        model, horizon_h, _ = CHAINS[name]
        tables = ChainTables.of(model)
        done = chainlives.live(tables, horizon_h, 300, np.random.default_rng(14))
        assert done.hours.min() >= 0
        np.testing.assert_allclose(done.hours.sum(axis=1), horizon_h, rtol=1e-12, atol=0)


def test_length_of_a_stretch_by_hand():
    """Of an hour in the hub 1/4 h more away: 100 h are 80 h in the hub, 3 x sqrt(0.02 x 80) / 1.25 less.

    With 1 h left that would hold one excursion: 0.8 h and sqrt(0.02 x 0.8) / 1.25 more, at most 1 h.
    Four excursions are begun in 2 h: 2.8 h less 0.57 h is more than that, 2.5 h less 0.54 h is not.
    """
    tables = SimpleNamespace(pace=(2.0, 0.25, 0.02))
    found = chainlives._plan(tables, np.array([100.0, 1.0, 0.01, 1e4, 3.5, 3.125]))
    by_hand = [80 - 3 * math.sqrt(1.6) / 1.25, 0.8 + math.sqrt(0.016) / 1.25, 0.01, 1024 / 2,
               2.8 - 3 * math.sqrt(0.056) / 1.25, 2.5 + math.sqrt(0.05) / 1.25]
    np.testing.assert_allclose(found, by_hand, rtol=1e-14)


class Steady(np.random.Generator):
    """Let each stay last as long as its mean."""

    def __init__(self):
        super().__init__(np.random.PCG64(1))

    def standard_exponential(self, size=None):
        return 1.0 if size is None else np.ones(size)


# Up 2 h, down 1 h, again and again: what comes at the last moment counts, and lasts no time.
STEADY = [(1.9, 0, 0.0, 0), (2.0, 1, 0.0, 1), (4.9, 1, 1.0, 2), (5.0, 2, 1.0, 3), (6.0, 2, 2.0, 4),
          (7.5, 2, 2.0, 4)]


@pytest.mark.parametrize(("horizon_h", "outages", "down_h", "events"), STEADY)
def test_lives_of_even_stays_by_hand(horizon_h, outages, down_h, events, monkeypatch):
    unit, lives = two_state(2, 1), 5
    monkeypatch.setattr(chainlives, "_LANES", 2)
    tables = ChainTables.of(unit)
    tables.has_hub = False
    done = chainlives.live(tables, horizon_h, lives, Steady())
    assert done.hours == pytest.approx(np.array([[horizon_h - down_h, down_h]] * lives), abs=1e-12)
    first_h = 2.0 if outages else math.inf
    assert done.outages.tolist() == [outages] * lives and done.events == events * lives
    assert done.first_outage_h.tolist() == [first_h] * lives
    part = Part("p", mtbf_h=2, mttr_h=1)
    for block, how in ((part, {}), (part, {"p": FixedRepair(1.0)}), (Chain("c", unit).when(["up"]), {})):
        found = block_lives.live(block_lives.BlockTables.of(block, how), horizon_h, lives, Steady())
        assert found.down_h == pytest.approx(np.full(lives, down_h), abs=1e-12)
        assert found.outages.tolist() == [outages] * lives and found.events == events * lives
        assert found.first_outage_h.tolist() == [first_h] * lives
    one = chain_history(unit, horizon_h, Steady())
    assert one.at_h == (0.0, 2.0, 3.0, 5.0, 6.0)[:events + 1]
    assert one.states == ("up", "down", "up", "down", "up")[:events + 1]


def test_what_is_noted_of_a_life_ends_with_it():
    record = chainlives.ChainLives(ChainTables.of(two_state(2, 1)), 2, 10.0)
    record.outage(np.array([0, 1, 1, 1]), np.array([10.0, 10.5, 4.0, 7.0]))
    assert record.outages.tolist() == [1, 2] and record.first_outage_h.tolist() == [10.0, 4.0]
    end_h = record.stay(np.array([0, 1, 1]), np.array([0, 1, 0]), np.array([4.0, 12.0, 9.0]),
                        np.array([6.0, 1.0, 5.0]))
    assert end_h.tolist() == [10.0, 13.0, 14.0] and record.events == 1
    assert record.hours.tolist() == [[6.0, 0.0], [1.0, 0.0]]


def test_each_life_agrees_with_itself():
    run = simulate_chain(
        pair_with_coverage(), 87_600, 2000, np.random.default_rng(15), progress=None
    )
    never = run.outages == 0
    assert 0 < never.sum() < run.lives
    assert np.array_equal(never, np.isinf(run.first_outage_h))
    assert (run.down_h[never] == 0).all()
    assert (run.down_h[~never] > 0).all()
    assert (run.first_outage_h[~never] <= 87_600).all()


# -- published values ---------------------------------------------------------------------------


@pytest.mark.parametrize(("row", "crews"), [("D4", 1), ("D6", 2)])
def test_pair_of_the_handbook(row, crews):
    """MIL-HDBK-338B, Table 10.4-2 (memory): lambda = 0.01, mu = 0.2, parallel."""
    model = hot_pair(0.01, 0.2, crews)
    settled = hot_pair(0.01, 0.2, crews, start=dict(zip(model.states, model.steady_state())))
    run = simulate_chain(settled, 10_000, 2000, np.random.default_rng(16), progress=None)
    # the recomputed availability has six decimals
    exact = 1 - exact_value(row)
    found = run.unavailability
    assert abs(found.errors_off(exact)) <= ERRORS + 5e-7 / found.standard_error


@pytest.mark.parametrize(("row", "units"), [("C1", 1), ("C2", 2)])
def test_survival_without_repair(row, units):
    """Worked solutions to a public reliability course: lambda = 0.00034 per h, 720 h."""
    model = MarkovModel({(k, k - 1): k * 0.00034 for k in range(units, 0, -1)}, up=[1, 2][:units])
    run = simulate_chain(model, 720, 40_000, np.random.default_rng(17), progress=None)
    near(run.reliability(720), exact_value(row))


def test_mean_time_to_failure_of_two_three_and_four():
    """3/2, 11/6 and 25/12 of one: Computer Science question-and-answer site (found)."""
    for units, exact in zip((2, 3, 4), values("C19"), strict=True):
        model = MarkovModel({(k, k - 1): k for k in range(units, 0, -1)}, up=range(1, units + 1))
        run = simulate_chain(model, 60, 20_000, np.random.default_rng(18), progress=None)
        assert np.isfinite(run.first_outage_h).all()
        near_mean(run.first_outage_h, exact)


def test_mean_time_to_failure_with_repair():
    """(3 lambda + mu) / (2 lambda^2) = 126 500 h, Birolini 2007, Eq. (6.92) family."""
    run = simulate_chain(
        hot_pair(1e-3, 0.25, 1), 4e6, 3000, np.random.default_rng(19), progress=None
    )
    assert np.isfinite(run.first_outage_h).all()
    near_mean(run.first_outage_h, exact_value("E22"))


def test_latent_faults_between_tests():
    """1 - (1 - exp(-x)) / x, and the square for a pair: nothing is repaired before the test."""
    one, two = (Part(name, mtbf_h=1e5, mttr_h=1) for name in ("one", "two"))
    latent = {name: FixedRepair(1e9) for name in ("one", "two")}
    rng = np.random.default_rng(20)
    run = simulate_block(
        one, 8760, 60_000, rng, repair_times={"one": latent["one"]}, progress=None
    )
    near(run.unavailability, exact_value("L3"))
    run = simulate_block(
        parallel(one, two), 8760, 200_000, rng, repair_times=latent, progress=None
    )
    near(run.unavailability, float(TRAPS["T14"].exact))
    # the average of the square is not the square of the average
    assert run.unavailability.lower > exact_value("L3") ** 2


# -- against a slow and independent model -------------------------------------------------------


def simpy_pair_down_h(horizon_h, seed, failures=1e-3, repairs=0.1, coverage=0.98, restart=2.0):
    """Two units with a crew each; the active one's failure may need a restart by hand.

    Event for event, in the way of SimPy: a process for each unit. It is the chain above: as long
    as a takeover hangs, nothing else fails or is repaired.
    """
    rng, environment = random.Random(seed), simpy.Environment()
    down_h = [0.0]

    def life():
        good = 2
        while True:
            if good == 2:
                yield environment.timeout(rng.expovariate(2 * failures))
                if rng.random() >= coverage:
                    since = environment.now
                    yield environment.timeout(rng.expovariate(restart))
                    down_h[0] += environment.now - since
                good = 1
                continue
            fails = environment.timeout(rng.expovariate(failures), value="fails")
            repaired = environment.timeout(rng.expovariate(repairs), value="repaired")
            first = yield fails | repaired
            if repaired in first:
                good = 2
                continue
            since = environment.now
            either = [environment.timeout(rng.expovariate(repairs)) for _ in range(2)]
            yield either[0] | either[1]
            down_h[0] += environment.now - since

    environment.process(life())
    environment.run(until=horizon_h)
    return down_h[0]


def test_against_simpy():
    horizon_h = 20_000
    slow = np.array([simpy_pair_down_h(horizon_h, seed) for seed in range(1500)]) / horizon_h
    run = simulate_chain(
        pair_with_coverage(), horizon_h, 20_000, np.random.default_rng(21), progress=None
    )
    fast = run.unavailability
    error = math.hypot(fast.standard_error, slow.std(ddof=1) / math.sqrt(slow.size))
    assert abs(fast.point - slow.mean()) <= ERRORS * error


# -- blocks -------------------------------------------------------------------------------------


def plant():
    """Eight parts, two of which stand in several places."""
    p = [Part(f"p{k}", mtbf_h=1000 * (k + 1), mttr_h=20 + k) for k in range(8)]
    return series(
        p[7],
        parallel(p[0], series(p[1], p[2])),
        at_least(2, p[2], p[3], p[4]),
        parallel(p[5], p[6], p[7]),
    )


def lognormal_plant_repairs():
    return {name: LognormalRepair(part.mttr_h, 0.8) for name, part in plant().parts.items()}


def fixed_plant_repairs():
    return {name: FixedRepair(part.mttr_h) for name, part in plant().parts.items()}


@pytest.mark.parametrize("repairs", [None, lognormal_plant_repairs(), fixed_plant_repairs()])
def test_block_against_exact_values(repairs):
    """The long run knows of the repair times only the mean (alternating renewal processes)."""
    block = plant()
    run = simulate_block(
        block, 500_000, 120, np.random.default_rng(22), repair_times=repairs, progress=None
    )
    # the first hours, with all parts new, are 1e-4 of the horizon
    near(run.unavailability, block.unavailability)
    near(run.outages_per_h, block.failures_per_h)
    importance = block.importance()
    for name, begun in run.begun_by.items():
        expected = importance[name].failures_per_h * 500_000 * 120
        assert abs(begun - expected) <= ERRORS * math.sqrt(max(expected, 1))
    assert sum(run.begun_by.values()) == run.outages.sum()


def test_part_in_time_against_chain():
    """From new, over a short horizon, where the long run is far away."""
    unit = two_state(mtbf_h=100, mttr_h=500)
    run = simulate_block(
        Part("one", mtbf_h=100, mttr_h=500), 80, 20_000, np.random.default_rng(24), progress=None
    )
    near(run.unavailability, unit.interval_unavailability(80))
    near_mean(run.outages, unit.failures_until(80))
    near(run.reliability(40), math.exp(-0.4))


def test_chain_in_a_block():
    model = redundant_pair(3000, 40, common_cause=0.05, coverage=0.97, diagnosed=0.9)
    pair = Chain("pair", model)
    one, two, all_ = (Part(k, mtbf_h=2000, mttr_h=50) for k in ("one", "two", "all"))
    block = series(
        all_,
        parallel(pair.when(model.up), one),
        parallel(pair.when({"both good"}), two),
    )
    run = simulate_block(block, 500_000, 150, np.random.default_rng(25), progress=None)
    near(run.unavailability, block.unavailability)
    near(run.outages_per_h, block.failures_per_h)
    expected = block.importance()["pair"].failures_per_h * 500_000 * 150
    assert abs(run.begun_by["pair"] - expected) <= ERRORS * math.sqrt(expected)


def test_chain_alone_in_a_block_is_the_chain():
    """The two engines draw one model, in ways that share no step."""
    model = pair_with_coverage()
    block = Chain("pair", model).when(model.up)
    run = simulate_block(block, 20_000, 3000, np.random.default_rng(26), progress=None)
    near(run.unavailability, model.interval_unavailability(20_000))
    near_mean(run.outages, model.failures_until(20_000))


def test_chain_that_starts_down():
    model = MarkovModel({("up", "down"): 0.01, ("down", "up"): 0.1}, up=["up"], start="down")
    block = Chain("unit", model).when({"up"})
    for run in (
        simulate_block(block, 200, 5000, np.random.default_rng(27), progress=None),
        simulate_chain(model, 200, 5000, np.random.default_rng(27), progress=None),
    ):
        assert (run.first_outage_h == 0).all()
        near(run.unavailability, model.interval_unavailability(200))
        near_mean(run.outages, model.failures_until(200))


def test_chain_that_mostly_stays_down():
    """Down at first; the shorter of 10 h and its repair: (1 - exp(-0.5)) / 0.05 hours in the mean."""
    block = Chain("unit", MarkovModel({("down", "up"): 0.05}, up=["up"], start="down")).when({"up"})
    run = simulate_block(block, 10, 2000, np.random.default_rng(48), progress=None)
    near_mean(run.down_h, -math.expm1(-0.5) / 0.05)
    assert np.count_nonzero(run.down_h == 10) == run.lives - run.events


def test_fixed_repairs_of_one_part_are_not_those_of_the_next():
    """In series, new at first: 1 - A has 2 h after 100 h, and 40 h after 100 h."""
    parts = [Part("quick", mtbf_h=100, mttr_h=2), Part("slow", mtbf_h=100, mttr_h=40)]
    run = simulate_block(series(*parts), 20_000, 60, np.random.default_rng(49), progress=None,
                         repair_times={"quick": FixedRepair(2)})
    assert run.unavailability.point == pytest.approx(1 - 100 / 102 * 100 / 140, rel=0.03)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.data())
def test_any_diagram_against_exact_value(data):
    """Diagrams of shared parts at random; down often enough for all five to be down together."""
    parts = [Part(f"p{k}", mtbf_h=18 + 2 * k, mttr_h=10) for k in range(5)]
    blocks = list(parts)
    for _ in range(data.draw(st.integers(1, 4))):
        chosen = data.draw(st.lists(st.sampled_from(blocks), min_size=2, max_size=4))
        blocks.append(at_least(data.draw(st.integers(1, len(chosen))), *chosen))
    block = blocks[-1]
    run = simulate_block(block, 8000, 60, np.random.default_rng(28), progress=None)
    # all parts new at first: some 20 h of 8000 h
    slack = 20 / 8000 * block.unavailability
    error = run.unavailability.standard_error
    assert abs(run.unavailability.point - block.unavailability) <= ERRORS * error + slack


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.integers(2, 5), st.data())
def test_any_chain_against_exact_values(size, data):
    rate = st.sampled_from([0.0, 0.01, 0.3, 1.0, 20.0])
    rates = {
        (i, j): data.draw(rate, label=f"{i}->{j}")
        for i in range(size)
        for j in range(size)
        if i != j
    }
    model = MarkovModel(rates, up=range((size + 1) // 2), start=0)
    run = simulate_chain(model, 30, 4000, np.random.default_rng(29), progress=None)
    near_lives(run.down_h / 30, model.interval_unavailability(30), 1)
    # In no state is it left more often than 80 times an hour, and each failure takes two jumps.
    near_lives(run.outages, model.failures_until(30), 40 * 30)


# -- degenerate ---------------------------------------------------------------------------------


def test_single_state():
    model = MarkovModel({}, up=["works"], start="works")
    run = simulate_chain(model, 100, 50, np.random.default_rng(30), progress=None)
    assert run.events == 0
    assert run.state_share["works"] == Estimate(1.0, 0.0, 1.0, 1.0, 0.95)
    never = run.unavailability
    assert (never.point, never.lower) == (0, 0)
    # nothing seen in 50 lives: P(nothing) = 0.025 at this share of lives
    assert never.upper == pytest.approx(-math.log(0.025) / 50, rel=1e-12)
    assert run.outages_per_h.upper == pytest.approx(-math.log(0.025) / 50 / 100, rel=1e-12)
    assert run.reliability(100).point == 1


def test_a_state_that_was_never_seen_may_have_a_share():
    """In none of n lives: P(nothing) = 0.025 at this share, where that is no more than all."""
    model = MarkovModel({("away", "here"): 1.0}, up=["here"], start="here")
    for lives, upper in ((50, -math.log(0.025) / 50), (2, 1.0)):
        run = simulate_chain(model, 100, lives, np.random.default_rng(30), progress=None)
        assert run.state_share["away"] == Estimate(0.0, 0.0, 0.0, pytest.approx(upper, rel=1e-12), 0.95)


def test_always_down():
    model = MarkovModel({("a", "b"): 1.0, ("b", "a"): 1.0}, up=[])
    run = simulate_chain(model, 10, 20, np.random.default_rng(31), progress=None)
    assert run.unavailability == Estimate(1.0, 0.0, 1.0, 1.0, 0.95)
    assert run.outages.sum() == 0
    assert (run.first_outage_h == 0).all()


def test_rates_that_never_come():
    run = simulate_chain(
        redundant_pair(1e12, 1), 8760, 1000, np.random.default_rng(32), progress=None
    )
    assert run.unavailability.point == 0
    assert run.state_share["both good"].point == pytest.approx(1, rel=1e-9)


@pytest.mark.parametrize("block", [ALWAYS_WORKS, ALWAYS_FAILED])
def test_constants(block):
    run = simulate_block(block, 100, 10, np.random.default_rng(33), progress=None)
    share = float(block is ALWAYS_FAILED)
    assert run.unavailability.point == share
    assert run.begun_by == {}


# -- running ------------------------------------------------------------------------------------


def same(one, two):
    return (
        np.array_equal(one.down_h, two.down_h)
        and np.array_equal(one.outages, two.outages)
        and np.array_equal(one.first_outage_h, two.first_outage_h)
        and one.events == two.events
    )


def test_seed_alone_decides():
    def run(seed, workers):
        rng = np.random.default_rng(seed)
        return simulate_chain(
            pair_with_coverage(), 2000, 300_000, rng, workers=workers, progress=None
        )

    first = run(1, 1)
    assert same(first, run(1, 3))
    assert not same(first, run(2, 1))


def test_block_does_not_depend_on_the_number_of_cores():
    def run(workers):
        rng = np.random.default_rng(5)
        return simulate_block(plant(), 5000, 20_000, rng, workers=workers, progress=None)

    assert same(run(1), run(2))


@pytest.mark.parametrize("workers", [1, 2])
def test_stopped_by_progress(workers):
    seen = []

    def progress(done, lives):
        seen.append((done, lives))
        return len(seen) < 3

    run = simulate_chain(
        pair_with_coverage(),
        2000,
        400_000,
        np.random.default_rng(34),
        progress=progress,
        workers=workers,
    )
    assert len(seen) == 3
    assert run.stopped
    assert run.lives == seen[-1][0] < run.lives_asked == 400_000
    assert all(lives == 400_000 for _, lives in seen)
    near(run.unavailability, pair_with_coverage().interval_unavailability(2000))


@pytest.mark.parametrize("workers", [1, 2])
def test_interrupt_keeps_the_part_that_is_done(workers):
    def progress(done, lives):
        if done > 64:
            raise KeyboardInterrupt

    run = simulate_chain(
        pair_with_coverage(),
        2000,
        400_000,
        np.random.default_rng(35),
        progress=progress,
        workers=workers,
    )
    assert run.stopped
    assert 64 < run.lives < 400_000
    assert run.down_h.size == run.outages.size == run.first_outage_h.size == run.lives


def test_stopped_after_the_first_batch():
    run = simulate_chain(
        pair_with_coverage(), 2000, 10_000, np.random.default_rng(36), progress=lambda *_: False
    )
    assert run.lives == 64
    assert simulate_block(PART, 10, 100, np.random.default_rng(36), progress=lambda *_: False).lives == 8


def test_a_batch_of_a_large_block_draws_two_million_parts_at_most():
    """500 parts: 4000 lives at a time, so that 8000 are four batches and not one."""
    block, done = series(*(Part(f"p{n}", mtbf_h=1e9, mttr_h=1) for n in range(500))), []
    simulate_block(block, 1, 8008, np.random.default_rng(50), workers=1,
                   progress=lambda lives, _: done.append(lives))
    assert done == [8, 2008, 4008, 6008, 8008]


class Asked(Exception):
    """What a run would do, told instead of doing it."""


def asked(simulate, of, **given):
    def tell(work, lives, rng, **how):
        raise Asked(lives, how["events"], how["width"], how["workers"])

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("labkit.simulation.runs.run_batches", tell)
        with pytest.raises(Asked) as caught:
            simulate(of, 1.0, rng=np.random.default_rng(1), **{"lives": 2} | given)
    return caught.value.args


def test_a_batch_fits_the_memory():
    """65 536 lives, or 4 million hours in states (32 MB), or 2 million parts; so many changes, about."""
    for states, most in ((2, 65_536), (61, 65_536), (62, 4_000_000 // 62), (300, 13_333)):
        model = MarkovModel({(k, (k + 1) % states): 1.0 for k in range(states)}, up=[0])
        assert asked(simulate_chain, model)[1:3] == (8_000_000, (64, most))
    for parts, most in ((1, 65_536), (30, 65_536), (31, 2_000_000 // 31)):
        block = series(*(Part(f"p{k}", mtbf_h=9, mttr_h=1) for k in range(parts)))
        assert asked(simulate_block, block)[1:3] == (400_000, (8, most))
    assert asked(simulate_block, ALWAYS_WORKS)[2] == (8, 65_536)


def test_the_most_lives_and_the_surest_limits():
    lives, *_, workers = asked(simulate_chain, UNIT, lives=10**8, workers=1000, confidence=1.5e-12)
    assert (lives, workers) == (10**8, 1000)
    for wrong, words in (({"lives": 10**8 + 1}, "lives must be 2 to 100000000"),
                         ({"workers": 1001}, "workers must be 1 to 1000"),
                         ({"confidence": 0.5e-12}, "confidence must be at least 1e-12 away")):
        with pytest.raises(ValueError, match=words):
            asked(simulate_chain, UNIT, **wrong)


@pytest.mark.parametrize("workers, lives", [(1, 40), (2, 14)])
def test_one_worker_or_one_batch_needs_no_thread(workers, lives):
    """The first 4 lives are a batch, the others 10 each: with 14 there is one more."""
    at_work = set()

    def work(count, _):
        at_work.add(threading.get_ident())
        return SimpleNamespace(events=10 * count)

    done = batches.run_batches(work, lives, np.random.default_rng(1), events=100, width=(4, 100),
                               progress=None, workers=workers)
    assert at_work == {threading.get_ident()}
    assert [one.events // 10 for one in done] == ([4, 9, 9, 9, 9] if workers == 1 else [4, 10])


@pytest.mark.parametrize(("each", "sizes"), [
    (10, [4, *[9] * 4, *[8] * 8]),  # ten batches of 10 would do: twelve are three fours
    (3, [4, *[25] * 4]),  # 100 changes are 33 lives: three batches, and so four
    (0, [4, 100]),  # a life in which nothing happens counts as one change
])
def test_batches_come_in_fours_of_about_as_many_changes(each, sizes):
    done = batches.run_batches(
        lambda count, _: SimpleNamespace(events=each * count, lives=count), 104,
        np.random.default_rng(1), events=100, width=(4, 100), progress=None, workers=1)
    assert [one.lives for one in done] == sizes


def test_what_has_not_begun_when_it_is_stopped_is_never_done(monkeypatch):
    """Two workers: the first batch, the next, and the two that were at work meanwhile."""
    gate, begun = threading.Event(), []

    class Pool(ThreadPoolExecutor):
        def shutdown(self, wait, cancel_futures):
            super().shutdown(wait=False, cancel_futures=cancel_futures)
            gate.set()
            super().shutdown(wait=wait)

    def work(count, _):
        begun.append(count)
        if len(begun) > 2:
            gate.wait()
        return SimpleNamespace(events=10 * count)

    monkeypatch.setattr("concurrent.futures.ThreadPoolExecutor", Pool)
    done = batches.run_batches(work, 104, np.random.default_rng(1), events=100, width=(4, 100),
                               progress=lambda done, _: done == 4, workers=2)
    assert len(done) == 2 and len(begun) <= 4


@pytest.mark.parametrize(("cores", "threads"), [(3, 3), (None, None), (1, None)])
def test_a_thread_for_each_core_and_two_batches_more_for_each(cores, threads, monkeypatch):
    """With three cores six wait behind the one that is asked for; with one there is no thread."""
    pools, ahead = [], []

    class Pool(ThreadPoolExecutor):
        def __init__(self, workers):
            super().__init__(workers)
            pools.append(workers)

        def submit(self, *words):
            ahead.append(words)
            return super().submit(*words)

    monkeypatch.setattr("concurrent.futures.ThreadPoolExecutor", Pool)
    monkeypatch.setattr("os.cpu_count", lambda: cores)
    seen = []
    batches.run_batches(lambda count, _: SimpleNamespace(events=10 * count), 104,
                        np.random.default_rng(1), events=100, width=(4, 100), workers=None,
                        progress=lambda done, _: seen.append(len(ahead)))
    assert pools == ([threads] if threads else [])
    assert seen[:3] == ([0, 7, 8] if threads else [0, 0, 0])


def test_the_bar_is_drawn_after_two_seconds(capsys, monkeypatch):
    now_s = iter([10.0, 11.0, 12.0, 12.1])
    monkeypatch.setattr(batches, "time", SimpleNamespace(monotonic=lambda: next(now_s)))
    bar = batches._Bar()
    bar(10, 60)
    bar(20, 60)
    assert capsys.readouterr().err == ""
    bar(30, 60)
    bar.close()
    assert capsys.readouterr().err == (
        "\r[###############...............] 30 of 60 lives; interrupt keeps these\n")


def test_bar_on_stderr_only_for_long_work(capsys, monkeypatch):
    simulate_block(plant(), 500, 20_000, np.random.default_rng(37))
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(batches, "_QUIET_S", -1.0)
    simulate_block(plant(), 500, 20_000, np.random.default_rng(37))
    shown = capsys.readouterr().err
    assert "20000 of 20000 lives" in shown
    assert shown.endswith("\n")


# -- histories ----------------------------------------------------------------------------------


def test_history_of_a_chain():
    model = pair_with_coverage(failures=0.05)
    rng = np.random.default_rng(38)
    down_h = []
    for _ in range(300):
        life = chain_history(model, 400, rng)
        assert life.at_h[0] == 0 and life.states[0] == "good"
        assert list(life.at_h) == sorted(life.at_h)
        assert life.at_h[-1] <= 400
        for step in zip(life.states, life.states[1:]):
            assert model.rates[step] > 0
        assert life.up == tuple(state in model.up for state in life.states)
        down_h.append(sum(span.length_h for span in life.outages))
    near_mean(down_h, 400 * model.interval_unavailability(400))


def test_history_of_one_unit_by_its_random_numbers():
    """One number for the start, then one for each stay and one for each jump, in turn."""
    rng, drawn = np.random.default_rng(5), np.random.default_rng(5)
    drawn.random(1)
    at_h, mean_h = [0.0], itertools.cycle([100, 10])
    while (next_h := at_h[-1] + next(mean_h) * drawn.standard_exponential()) <= 500:
        at_h.append(next_h)
        drawn.random(1)
    life = chain_history(two_state(100, 10), 500, rng)
    assert len(at_h) > 5 and life.at_h == pytest.approx(at_h, rel=1e-14)


def test_outages_of_a_history_are_merged():
    life = ChainHistory(
        10.0,
        (0.0, 2.0, 3.0, 5.0, 9.0),
        ("u", "d", "e", "u", "d"),
        (True, False, False, True, False),
    )
    assert life.outages == (Span(2.0, 5.0), Span(9.0, 10.0))


# -- limits -------------------------------------------------------------------------------------


def test_limits_of_a_poisson_count():
    """Contributions of 0 or 1 give the exact limits of Garwood, Biometrika 28 (1936)."""
    from labkit.evidence.limits import rate_limits

    counts = np.zeros(1_000_000)
    counts[:15] = 1
    found = estimate_of(counts * 2500, 0.95, unit=2500.0, most=math.inf)
    exact = rate_limits(15, 400, confidence=0.95)
    # a million lives of which 15 have one: binomial, and Poisson but for 15e-6
    assert found.lower == pytest.approx(exact.lower, rel=3e-5)
    assert found.upper == pytest.approx(exact.upper, rel=3e-5)


def test_limits_of_four_lives_by_hand():
    """0, 0, 0 and 4: mean 1, error sqrt(12 / 3 / 4) = 1; one more such life would add 3 / 4."""
    from scipy.stats import gamma

    found = estimate_of(np.array([0.0, 0.0, 0.0, 4.0]), 0.9, unit=1.0, most=math.inf)
    assert (found.point, found.standard_error, found.confidence) == (1.0, 1.0, 0.9)
    # shape 1 is exponential; the upper limit has mean 1.75 and variance 1 + 0.75^2
    assert found.lower == pytest.approx(-math.log(0.95), rel=1e-12)
    variance = 1.5625
    upper = gamma.isf(0.05, 1.75**2 / variance, scale=variance / 1.75)
    assert found.upper == pytest.approx(upper, rel=1e-9)
    capped = estimate_of(np.array([0.0, 0.0, 0.0, 4.0]), 0.9, unit=1.0, most=2.5)
    assert (capped.lower, capped.upper) == (found.lower, 2.5)
    assert found.errors_off(1.5) == 0.5 and found.errors_off(0.0) == -1.0
    assert Estimate(1.0, 0.25, 0.5, 1.5, 0.9).errors_off(1.5) == 2.0


def test_limits_of_lives_without_any_and_of_lives_all_alike():
    none = estimate_of(np.zeros(50), 0.9, unit=2.0, most=1.0)
    # one event of 2 in more than ln 20 / 50 per life would have been seen
    assert none == Estimate(0.0, 0.0, 0.0, pytest.approx(2 * math.log(20) / 50, rel=1e-14), 0.9)
    assert estimate_of(np.zeros(50), 0.9, unit=100.0, most=1.0).upper == 1.0
    assert estimate_of(np.full(7, 0.3), 0.9, unit=1.0, most=1.0) == Estimate(
        pytest.approx(0.3, rel=1e-14), 0.0, pytest.approx(0.3), pytest.approx(0.3), 0.9)


def test_limits_of_very_many_events_are_normal():
    """1e9 with an error of 1: 1.6449 errors on either side leave 5 % each."""
    found = estimate_of(np.array([1e9 - 1.0, 1e9 + 1.0]), 0.9, unit=1.0, most=math.inf)
    assert found.standard_error == 1.0
    assert found.upper - 1e9 == pytest.approx(1.644854, rel=1e-5)
    assert 1e9 - found.lower == pytest.approx(1.644854, rel=1e-5)
    # Cornish and Fisher: a gamma time of the shape k has the skewness 2 / sqrt(k), and its limits
    # lie (z^2 - 1) / 6 of that to the right; from 1e8 on that is left out
    for shape, right in ((1e8, (1.644854**2 - 1) / 6 * 2e-4), (1.5e8, 0.0)):
        mean = math.sqrt(shape)
        found = estimate(mean, 2.0, mean, 2, 0.9, unit=1.0, most=math.inf)
        assert found.upper + found.lower - 2 * mean == pytest.approx(2 * right, rel=1e-2, abs=1e-8)


def test_an_error_of_rounding_is_none():
    """Two lives whose squares about the mean sum to 2 e^2 have the standard error e."""
    for mean, error, found in ((1.0, 0.9e-15, 0.0), (1.0, 1.5e-15, 1.5e-15), (1e15, 1.0, 0.0)):
        limits = estimate(mean, 2 * error**2, mean, 2, 0.9, unit=1.0, most=math.inf)
        assert limits.standard_error == pytest.approx(found, rel=1e-12)
        assert (limits.lower < mean < limits.upper) == (found > 0)


def test_numbers_of_a_run_by_hand():
    """Four lives of 100 h: 5 h down in one, in two outages, and another with one of 1 h."""
    run = BlockRun(horizon_h=100.0, lives_asked=4, confidence=0.9,
                   down_h=np.array([0.0, 5.0, 1.0, 0.0]), outages=np.array([0, 2, 1, 0]),
                   first_outage_h=np.array([math.inf, 20.0, 60.0, math.inf]), events=6,
                   begun_by={"KF1": 3})
    assert run.lives == 4
    assert run.unavailability.point == pytest.approx(0.06 / 4, rel=1e-14)
    assert run.outages_per_h.point == pytest.approx(3 / 400, rel=1e-14)
    half = run.reliability(60.0)
    # at 60 h the second has begun: two of four are left, exact limits of 2 out of 4 (tables)
    assert (half.point, half.standard_error) == (0.5, 0.25)
    assert (half.lower, half.upper) == pytest.approx((0.0976, 0.9024), abs=5e-5)
    assert run.reliability(59.9).point == 0.75
    first = run.reliability(0.0)
    # four of four: 0.05^(1/4)
    assert (first.point, first.lower, first.upper) == (1.0, pytest.approx(0.05**0.25), 1.0)
    for time_h in (-1.0, 100.1):
        with pytest.raises(ValueError, match="t_h must be from 0 to horizon_h = 100.0"):
            run.reliability(time_h)
    assert run.reliability(100.0).point == 0.5


def test_ends_of_a_run_by_hand():
    """Two lives of 100 h, both down from the first hour on: nothing is up, or down more than all."""
    run = BlockRun(horizon_h=100.0, lives_asked=2, confidence=0.9, down_h=np.array([90.0, 100.0]),
                   outages=np.array([1, 1]), first_outage_h=np.array([0.5, 0.0]), events=2,
                   begun_by={})
    # none of two is left: 0, and 1 - 0.05^(1/2)
    left = run.reliability(1.0)
    assert (left.point, left.lower, left.upper) == (0.0, 0.0, pytest.approx(1 - 0.05**0.5))
    # mean 0.95 with an error of 0.05, one more such life 0.025: above 1 if it were not for the cap
    assert run.unavailability.upper == 1.0 > run.unavailability.lower > 0.85
    assert repr(run) == ("BlockRun(horizon_h=100.0, lives_asked=2, confidence=0.9, events=2, "
                         "begun_by={})")


def test_limits_cover_what_they_claim():
    """Compound Poisson contributions: 25 outages of exponential length are to be expected."""
    rng = np.random.default_rng(40)
    inside = 0
    for _ in range(600):
        count = rng.poisson(25)
        hours = np.bincount(
            rng.integers(0, 500, count), weights=rng.exponential(1, count), minlength=500
        )
        found = estimate_of(hours, 0.9, unit=1.0, most=math.inf)
        inside += found.lower <= 25 / 500 <= found.upper
    assert 0.9 - ERRORS * math.sqrt(0.09 / 600) <= inside / 600


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.floats(0, 1), min_size=2, max_size=40),
    st.floats(0.5, 0.98),
)
def test_limits_hold_the_point_and_widen_with_confidence(shares, confidence):
    shares = np.array(shares)
    narrow = estimate_of(shares, confidence, unit=1.0, most=1.0)
    wide = estimate_of(shares, confidence + 0.01, unit=1.0, most=1.0)
    slack = 1e-12
    assert 0 <= wide.lower <= narrow.lower + slack
    assert narrow.lower <= narrow.point + slack <= narrow.upper + 2 * slack
    assert narrow.upper <= wide.upper + slack <= 1 + slack


def test_batches_together_are_as_all_lives_at_once():
    shares = np.random.default_rng(3).random((9, 2)) ** 4
    done = [SimpleNamespace(down_h=one[:, 0], mean=one.mean(axis=0), largest=one.max(axis=0),
                            squares=np.square(one - one.mean(axis=0)).sum(axis=0))
            for one in (shares[:2], shares[2:5], shares[5:])]
    for found, column in zip(runs._share_estimates(done, 0.9), shares.T, strict=True):
        whole = estimate_of(column, 0.9, unit=1.0, most=1.0)
        assert dataclasses.astuple(found) == pytest.approx(dataclasses.astuple(whole), rel=1e-12)


def test_more_lives_less_error():
    def error(lives):
        run = simulate_chain(
            pair_with_coverage(), 5000, lives, np.random.default_rng(41), progress=None
        )
        return run.unavailability.standard_error

    assert error(32_000) == pytest.approx(error(2000) / 4, rel=0.3)


# -- repair times -------------------------------------------------------------------------------


def test_repair_times_have_their_mean():
    near_mean(LognormalRepair(7.0, 0.9).draw(np.random.default_rng(42), 200_000), 7.0)


def test_a_large_number_is_a_long_repair():
    """Normal numbers, times 0.9, in the exponent of the median 7 exp(-0.405)."""
    normal = np.random.default_rng(5).standard_normal(9)
    found = LognormalRepair(7.0, 0.9).draw(np.random.default_rng(5), 9)
    assert np.log(found) == pytest.approx(math.log(7) - 0.405 + 0.9 * normal, rel=1e-12)


def test_lognormal_median():
    kind = LognormalRepair(7.0, 0.9)
    times_h = kind.draw(np.random.default_rng(43), 100_000)
    below = np.mean(times_h < kind.median_h)
    assert abs(below - 0.5) <= ERRORS * 0.5 / math.sqrt(100_000)
    near_mean(np.log(times_h), math.log(7.0) - 0.9**2 / 2)
    # The standard error of a standard deviation is its share 1 / sqrt(2 n).
    assert np.log(times_h).std() == pytest.approx(0.9, rel=ERRORS / math.sqrt(200_000))


# -- errors -------------------------------------------------------------------------------------

UNIT = two_state(mtbf_h=100, mttr_h=1)
PART = Part("one", mtbf_h=100, mttr_h=1)
RNG = np.random.default_rng(44)


@pytest.mark.parametrize(
    ("call", "error", "words"),
    [
        (lambda: simulate_chain(UNIT, 0, 10, RNG), ValueError, "horizon_h must be > 0"),
        # 2 changes in 101 h, so 1e8 in 5.05e9 h
        (lambda: simulate_chain(UNIT, 5.1e9, 10, RNG), ValueError,
         "horizon_h must be at most 5.05e+09 here, which is 100000000 changes of state in a life"),
        (lambda: simulate_block(PART, 5.1e9, 10, RNG), ValueError, "must be at most 5.05e+09"),
        # as many of a chain beside it, so half as long: 2.525e9 h
        (lambda: simulate_block(series(PART, Chain("two", UNIT).when(["up"])), 2.6e9, 10, RNG), ValueError,
         "must be at most 2.52e+09 here"),
        (lambda: chain_history(UNIT, 1e49, RNG), ValueError, "must be at most 5.05e+07"),
        (lambda: simulate_chain(UNIT, math.inf, 10, RNG), ValueError, "got inf"),
        (lambda: simulate_chain(UNIT, "1", 10, RNG), TypeError, "horizon_h must be a number"),
        (lambda: simulate_chain(UNIT, 1, 1, RNG), ValueError, "lives must be 2 to 100000000, got 1"),
        (lambda: simulate_chain(UNIT, 1, 2.5, RNG), TypeError, "lives must be a whole number"),
        (lambda: simulate_chain(UNIT, 1, 10, 42), TypeError, "rng must be a numpy.random.Gen"),
        (lambda: simulate_chain(PART, 1, 10, RNG), TypeError, "model must be a MarkovModel"),
        (
            lambda: simulate_chain(UNIT, 1, 10, RNG, confidence=95),
            ValueError,
            "confidence must be > 0 and < 1, got 95",
        ),
        (
            lambda: simulate_chain(UNIT, 1, 10, RNG, workers=0),
            ValueError,
            "workers must be 1 to 1000, got 0",
        ),
        (lambda: simulate_chain(UNIT, 1, 10, RNG, progress="rod"), TypeError,
         "progress must be callable, \"bar\" or None, got 'rod'"),
        (lambda: simulate_chain(UNIT, 1, 10, RNG, progress=7), TypeError, "or None, got 7"),
        (lambda: simulate_block(UNIT, 1, 10, RNG), TypeError, "block must be a Block"),
        (
            lambda: simulate_block(PART, 1, 10, RNG, repair_times={"two": FixedRepair(1)}),
            ValueError,
            "repair_times must name parts of the block, got 'two'",
        ),
        (
            lambda: simulate_block(PART, 1, 10, RNG, repair_times={"one": 4.0}),
            TypeError,
            "repair_times['one'] must have draw(rng, count), got 4.0",
        ),
        (lambda: chain_history(UNIT, -1, RNG), ValueError, "horizon_h must be > 0"),
        (lambda: chain_history(UNIT, 1, None), TypeError, "rng must be a numpy.random.Gen"),
        (lambda: LognormalRepair(0, 1), ValueError, "mean_h must be > 0"),
        (lambda: LognormalRepair(1, -1), ValueError, "sigma must be > 0"),
        (lambda: FixedRepair(-1), ValueError, "mean_h must be >= 0"),
        (lambda: FixedRepair("4"), TypeError, "mean_h must be a number, got '4'"),
    ],
)
def test_errors_name_argument_rule_and_value(call, error, words):
    with pytest.raises(error) as caught:
        call()
    assert words in str(caught.value)


def test_reliability_beyond_the_horizon():
    run = simulate_chain(UNIT, 10, 10, np.random.default_rng(45), progress=None)
    with pytest.raises(ValueError, match=r"t_h must be from 0 to horizon_h = 10.0, got 11"):
        run.reliability(11)


def test_results_do_not_change():
    run = simulate_chain(UNIT, 10, 10, np.random.default_rng(46), progress=None)
    with pytest.raises(AttributeError):
        run.horizon_h = 5
