"""The plant: what works, what stops it next, how often it is lost, against slower means.

The independent judge here (`judged`) looks for ways with networkx and knows nothing of conditions
or blocks. Numbers come from the textbook product of availabilities, from enumeration of all states,
from the binomial law of scipy, and for the plant of the lessons from its invented tables.
"""

import dataclasses
import itertools
import random

import networkx as nx
import numpy as np
import pytest
from scipy import stats

from labkit.availability.blocks import ALWAYS_FAILED
from labkit.markov.pair import redundant_pair
from labkit.plant.hidden import Member
from labkit.plant.plant import load_plant
from labkit.plant.plant_data import AtLeast, PairData, Reached
from labkit.plant.unfolded import PairTimes, failed_states, leading_states, unfolded_pair
from labkit.plant.wiring import (
    Leads,
    Threshold,
    Whole,
    all_of,
    any_of,
    at_least,
    holds,
    leaves,
    stops_alone,
    ways,
    with_leaves,
)

MINUTES_PER_YEAR = 525_600.0


# ---------------------------------------------------------------- small plants for the tests

SINGLE = """
format = 1
[plant]
name = "small"
"""


def part(designation, kind="other", mtbf_h=1000.0, mttr_h=10.0, **more):
    """Write a part whose failures are all noticed; hidden ones stand in test_hidden.py."""
    more = {"noticed": 1.0} | more
    lines = [f'designation = "{designation}"', f'what = "{designation}"', f'kind = "{kind}"',
             f"mtbf_h = {mtbf_h}", f"mttr_h = {mttr_h}"]
    lines += [f"{key} = {value!r}".replace("'", '"').replace("False", "false")
              for key, value in more.items()]
    return "[[part]]\n" + "\n".join(lines) + "\n"


def small(tmp_path, *tables):
    path = tmp_path / "small.toml"
    path.write_text(SINGLE + "\n".join(tables), "utf-8")
    return load_plant(path)


def two_links(tmp_path, pair="", twins=True, feeds=("TB1", "TB1"), event=""):
    """Return a plant with two controllers, one rack and a link from each."""
    return small(
        tmp_path,
        part("KF1", "controller", 900.0, 12.0, fed_by=[feeds[0]]),
        part("KF2", "controller", 900.0, 12.0, fed_by=[feeds[1]]),
        *(part(name, "supply", 2500.0, 5.0) for name in dict.fromkeys(feeds)),
        part("KF10", "rack", 4000.0, 3.0),
        part("KF10A", "interface", 2000.0, 4.0, joins=["KF10"]),
        part("KF10B", "interface", 3000.0, 6.0, joins=["KF10"]),
        part("WF1", "cable", 1500.0, 8.0, joins=["KF1", "KF10A"]),
        part("WF2", "cable", 1500.0, 8.0, joins=["KF2", "KF10B"]),
        f'[pair]\nunits = ["KF1", "KF2"]\n{pair}',
        '[[twins]]\nparts = ["KF10A", "KF10B"]\ncommon_cause = 0.1\n' if twins else "",
        event,
        '[[function]]\nname = "kept"\nreached = ["KF10"]\n')


FLAWS = "common_cause = 0.07\ncoverage = 0.9\ndiagnosed = 0.8\ntest_interval_h = 700\n"


# ---------------------------------------------------------------- an independent judge


def alive(plant, name, broken):
    if name in broken:
        return False
    feeds = plant.parts[name].fed_by
    return not feeds or any(alive(plant, feed, broken) for feed in feeds)


def reaches(plant, unit, rack, broken):
    through = {"cable", "interface", "repeater", "switch"}
    graph = nx.Graph()
    for name, each in plant.parts.items():
        for other in each.joins:
            if {name, other} <= {unit, rack} | {
                    this for this in plant.parts
                    if plant.parts[this].kind in through and alive(plant, this, broken)}:
                graph.add_edge(name, other)
    graph.add_nodes_from([unit, rack])
    return nx.has_path(graph, unit, rack)


def judged(plant, function, broken, leading=None):
    """Say whether a function works; `leading` are the units that are allowed to lead."""
    leading = plant.controllers if leading is None else leading
    wanted = plant.functions_counted[function]

    def met(need):
        if isinstance(need, AtLeast):
            return sum(map(met, need.of)) >= need.k
        if isinstance(need, Reached):
            return all(alive(plant, rack, broken) for rack in need.racks) and any(
                alive(plant, unit, broken)
                and all(reaches(plant, unit, rack, broken) for rack in need.racks)
                for unit in leading)
        return alive(plant, need, broken)

    return all(map(met, wanted.needs)) and (
        not wanted.reached or met(Reached(wanted.reached)))


def some_states(plant, seed, count=25):
    names = list(plant.parts)
    generator = random.Random(seed)
    yield frozenset()
    yield from (frozenset([name]) for name in names)
    for _ in range(count):
        yield frozenset(generator.sample(names, generator.randint(2, 4)))


@pytest.mark.parametrize("name, variant", [
    ("brackenquay", None), ("brackenquay", "V0"), ("brackenquay", "V1a"), ("brackenquay", "V3"),
    ("elderhang", "pair"), ("mirelow", "thermostat")])
def test_what_works_and_what_stops_it_next_agree_with_the_judge(name, variant):
    plant = load_plant(name, variant)
    lost = 0
    for broken in some_states(plant, seed=7):
        state = plant.state(broken)
        for function in plant.functions:
            works = judged(plant, function, broken)
            assert state.works[function] == works, (function, broken)
            following = state.next_failure_details[function]
            assert tuple(each.name for each in following) == state.next_failures[function]
            if not works:
                lost += 1
                assert following == () and state.failures_per_h[function] == 0.0
                continue
            assert state.failures_per_h[function] > 0.0
            rates = [each.rate_per_h for each in following]
            assert rates == sorted(rates, reverse=True) and min(rates, default=1.0) > 0.0
            alone = {each.name for each in following if each.name in plant.parts}
            assert alone == {
                each for each in plant.parts.keys() - broken
                if not judged(plant, function, broken | {each})}, (function, broken)
            for each in following:
                assert not judged(plant, function, broken | {*each.parts}), each
    assert lost > 10


# ---------------------------------------------------------------- enumeration of all states


def enumerated(plant, function):
    """Return unavailability and failures per hour, summed over every state of parts and pair."""
    rates = {}
    for name, each in plant.parts.items():
        rates[name] = [1.0 / each.mtbf_h, each.mttr_h, (name,)]
    for group in plant.twins:
        least = min(1.0 / plant.parts[name].mtbf_h for name in group.parts)
        longest = max(plant.parts[name].mttr_h for name in group.parts)
        for name in group.parts:
            rates[name][0] -= group.common_cause * least
        rates[group.name] = [group.common_cause * least, longest, group.parts]
    for event in plant.shared_events.values():
        if event.mtbf_h is not None:
            rates[event.name] = [1.0 / event.mtbf_h, event.mttr_h, event.breaks]
    chain = {"-": 1.0}
    if plant.pair is not None:
        for unit in plant.pair.units:
            del rates[unit]
        chain = dict(zip(plant.pair_chain.states, plant.pair_chain.steady_state(), strict=True))
    names = list(rates)
    up = {}
    for failed in itertools.chain.from_iterable(
            itertools.combinations(names, size) for size in range(len(names) + 1)):
        broken = {name for each in failed for name in rates[each][2]}
        for state in chain:
            leading = plant.controllers if plant.pair is None else [
                unit for unit in plant.pair.units
                if state in leading_states(plant.pair.units, unit)]
            up[frozenset(failed), state] = judged(plant, function, broken, leading)
    unavailability = failures = 0.0
    for (failed, state), works in up.items():
        share = chain[state]
        for name in names:
            rate, down, _ = rates[name]
            share *= (rate * down if name in failed else 1.0) / (1.0 + rate * down)
        if not works:
            unavailability += share
            continue
        for name in names:
            if name not in failed and not up[failed | {name}, state]:
                failures += share * rates[name][0]
        if plant.pair is not None:
            for (one, two), rate in plant.pair_chain.rates.items():
                if one == state and not up[failed, two]:
                    failures += share * rate
    return unavailability, failures


@pytest.mark.parametrize("options", [
    {}, {"pair": FLAWS}, {"pair": FLAWS, "feeds": ("TB1", "TB2"), "twins": False},
    {"pair": FLAWS + "standby_ratio = 0\n"}, {"pair": FLAWS + "crews = 2\n", "twins": False},
    {"pair": FLAWS, "event": '[[shared_event]]\nname = "dug"\nwhat = "dug through"\n'
                             'breaks = ["WF1", "WF2"]\nmtbf_h = 30000\nmttr_h = 40\n'},
    {"pair": FLAWS, "event": '[[shared_event]]\nname = "fire"\nwhat = "fire in a cabinet"\n'
                             'breaks = ["KF1", "WF2"]\nmtbf_h = 20000\nmttr_h = 90\n'},
])
def test_pair_with_links_agrees_with_all_its_states(tmp_path, options):
    plant = two_links(tmp_path, **options)
    # As if an outage never revealed a standby that sleeps: what it does stands in test_hidden.py.
    block = plant.plain_block_of(plant.condition("kept"))
    unavailability, failures = enumerated(plant, "kept")
    assert block.unavailability == pytest.approx(unavailability, rel=1e-10)
    assert block.failures_per_h == pytest.approx(failures, rel=1e-10)
    if plant.pair.diagnosed == 1:
        assert plant.state().failures_per_h["kept"] == pytest.approx(failures, rel=1e-10)
        assert plant.block("kept").unavailability == pytest.approx(unavailability, rel=1e-10)


def test_three_twins_and_a_choice_agree_with_all_states(tmp_path):
    plant = small(
        tmp_path, *(part(f"GP{n}", "pump", 500.0 * n, 20.0, fed_by=["TB1", "TB2"])
                    for n in (1, 2, 3)),
        part("TB1", "supply"), part("TB2", "supply"), part("BL1", "sensor"),
        '[[twins]]\nparts = ["GP1", "GP2", "GP3"]\ncommon_cause = 0.2\n',
        '[[function]]\nname = "moved"\nneeds = ["BL1", {at_least = 2, of = ["GP1", "GP2", '
        '"GP3"]}]\n')
    block = plant.block("moved")
    unavailability, failures = enumerated(plant, "moved")
    assert block.unavailability == pytest.approx(unavailability, rel=1e-10)
    assert block.failures_per_h == pytest.approx(failures, rel=1e-10)


# ---------------------------------------------------------------- the chain of the pair


@pytest.mark.parametrize("settings", [
    {}, {"common_cause": 0.05}, {"coverage": 0.97}, {"diagnosed": 0.9},
    {"common_cause": 0.05, "coverage": 0.97, "diagnosed": 0.9, "crews": 2},
    {"common_cause": 0.05, "coverage": 0.97, "diagnosed": 0.0, "standby_ratio": 0.0},
    {"common_cause": 1.0}, {"coverage": 0.0, "restart_h": 7.0}])
def test_unfolded_pair_adds_up_to_the_pair(settings):
    pair = PairData(("KF1", "KF2"), **settings)
    model = unfolded_pair(pair, mtbf_h=60_000, mttr_h=4)
    share = dict(zip(model.states, model.steady_state(), strict=True))
    folded = redundant_pair(60_000, 4, **settings)
    for state, whole in zip(folded.states, folded.steady_state(), strict=True):
        halves = {"one failed": ["KF1 failed", "KF2 failed"],
                  "standby failed unnoticed": ["KF1 failed unnoticed", "KF2 failed unnoticed"]}
        parts = [share.get(each, 0.0) for each in halves.get(state, [state])]
        assert sum(parts) == pytest.approx(whole, rel=1e-12, abs=0)
        assert parts[0] == pytest.approx(parts[-1], rel=1e-12, abs=0)
    assert model.unavailability == pytest.approx(folded.unavailability, rel=1e-12)
    assert model.failures_per_h == pytest.approx(folded.failures_per_h, rel=1e-12)


def test_what_has_failed_stays_the_same_unit_until_it_is_found():
    """Half of the faults are unseen: found by a test on the average in half of 100 h."""
    model = unfolded_pair(PairData(("KF1", "KF2"), diagnosed=0.5, test_interval_h=100.0),
                          mtbf_h=1000, mttr_h=4)
    rates = {way: rate for way, rate in model.rates.items() if way[0].startswith("KF1 failed")}
    # the partner, which leads, fails at 1 / 1000; one crew
    assert rates == pytest.approx({
        ("KF1 failed", "both good"): 0.25, ("KF1 failed", "both failed"): 0.001,
        ("KF1 failed unnoticed", "KF1 failed"): 0.02,
        ("KF1 failed unnoticed", "both failed"): 0.001}, rel=1e-12)
    # the units fail one at a time twice in 1000 h; of these a half leads, the other is seen by half
    assert model.rates["both good", "KF1 failed"] == pytest.approx(0.5 * (1 + 0.5) / 1000, rel=1e-12)


def test_a_unit_that_never_fails_alone_is_out_while_the_other_is_restored_first():
    """By hand, a = 4 / 1000: of the time with both good, a with one of them failed, as one crew takes
    them in turn, and a (1 + a) with both; of the one failed each unit has a half.
    """
    pair = PairData(("KF1", "KF2"), common_cause=1.0)
    times = PairTimes(pair, unfolded_pair(pair, mtbf_h=1000, mttr_h=4))
    share = 0.002 / (1 + 0.004 + 0.004 * 1.004)
    assert times.out("KF1") == pytest.approx((share, 0.25), rel=1e-12)
    member = times.member("KF1")
    # each time after an outage of both, and none of its own
    assert member == Member(member.rate_per_h, 4.0, missed=pair.missed, test_interval_h=pair.test_interval_h,
                            overhaul_interval_h=pair.overhaul_interval_h, late=member.late)
    assert member.late == pytest.approx(1.0, rel=1e-12)
    assert member.noticed_share == pytest.approx(share, rel=1e-12)
    # what is never there does not end
    assert times.nobody("not taken over") == (0.0, 0.0)


def test_a_unit_may_lead_unless_it_is_the_one_that_failed():
    model = unfolded_pair(PairData(("KF1", "KF2"), common_cause=0.05, coverage=0.97,
                                   diagnosed=0.9), mtbf_h=60_000, mttr_h=4)
    one, two = (leading_states(("KF1", "KF2"), unit) for unit in ("KF1", "KF2"))
    assert (one | two) & {*model.states} == {*model.up} and one & two == {"both good"}
    assert one == {"both good"} | failed_states("KF2")


def test_pair_with_perfect_links_is_the_pair(tmp_path):
    for standby_ratio in (0.0, 1.0):
        plant = two_links(tmp_path, FLAWS + f"standby_ratio = {standby_ratio}\n", twins=False)
        perfect = {name: dataclasses.replace(each, mtbf_h=each.mtbf_h * (
                       1 if each.kind == "controller" else 1e15))
                   for name, each in plant.parts.items()}
        block = dataclasses.replace(plant, parts=perfect).block("kept")
        pair = redundant_pair(900, 12, common_cause=0.07, coverage=0.9, diagnosed=0.8,
                              test_interval_h=700, standby_ratio=standby_ratio)
        # The rest has an unavailability of about 1e-14 against 1e-3.
        assert block.unavailability == pytest.approx(pair.unavailability, rel=1e-9)
        assert block.failures_per_h == pytest.approx(pair.failures_per_h, rel=1e-9)


# ---------------------------------------------------------------- from here, with something broken


def series(plant, names):
    """Return unavailability and failures per hour of parts in series, textbook products."""
    up = np.prod([each.mtbf_h / (each.mtbf_h + each.mttr_h)
                  for each in map(plant.parts.get, names)])
    return 1.0 - up, up * sum(1.0 / plant.parts[name].mtbf_h for name in names)


LEFT_WITH_KF2 = ["KF2", "TB1", "GB1", "KF10", "KF20", "KF30", "KF10B", "KF20B", "KF30B", "WF2.10",
                 "WF2.20", "WF2.30", "BL1"]


@pytest.mark.parametrize("broken", [{"KF1"}, {"WF1.20"}, {"KF30A"}, {"KF1", "WF1.10", "KF20A"}])
def test_with_one_side_gone_the_other_is_a_plain_series(broken):
    plant = load_plant()
    state = plant.state(broken)
    unavailability, failures = series(plant, LEFT_WITH_KF2)
    assert state.failures_per_h["control kept"] == pytest.approx(failures, rel=1e-12)
    block = plant.block("control kept", broken)
    assert block.unavailability == pytest.approx(unavailability, rel=1e-10)
    assert set(state.next_failures["control kept"]) == set(LEFT_WITH_KF2)
    assert state.next_failures["control kept"][0] == "KF2"
    assert state.next_failure_details["control kept"][0].rate_per_h == pytest.approx(1 / 60_000)
    assert state.failures_per_h["control kept"] > state.healthy_failures_per_h["control kept"]


@pytest.mark.parametrize("broken, kept, seen", [
    (set(), True, True), ({"KF1", "KF2"}, False, True), ({"TB1"}, False, True),
    ({"GB1"}, False, True), ({"WF9"}, True, True), ({"WF1.10", "WF2.10"}, False, True),
    ({"WF1.10", "WF2.20"}, False, True), ({"WF1.10", "WF1.20", "KF30A"}, True, True),
    ({"KF1", "WF2.30"}, False, True), ({"KF10"}, False, True), ({"BL1"}, False, True),
    ({"TF1"}, True, False), ({"WF3"}, True, False), ({"WF4"}, True, False), ({"PH1"}, True, False),
    ({"GP1", "GP2", "GQ1"}, True, True)])
def test_states_of_the_plant_of_the_lessons(broken, kept, seen):
    state = load_plant().state(broken)
    assert state.works == {"control kept": kept, "see and act": seen}
    assert state.broken == broken


def test_healthy_plant_names_the_modes_of_the_pair():
    found = load_plant().state().next_failure_details["control kept"]
    rates = {each.name: each.rate_per_h for each in found}
    assert rates["KF1+KF2 common cause"] == pytest.approx(0.05 / 60_000, rel=1e-12)
    assert rates["KF1+KF2 not taken over"] == pytest.approx(0.95 * 0.03 / 60_000, rel=1e-12)
    assert rates["KF10A+KF10B common cause"] == pytest.approx(0.05 / 220_000, rel=1e-12)
    assert not {"KF1", "KF2", "KF10A", "WF1.10", "WF9"} & rates.keys()


def test_what_twins_share_stays_when_a_third_is_broken(tmp_path):
    plant = small(
        tmp_path, *(part(f"GP{n}", "pump", 1000.0) for n in (1, 2, 3)),
        '[[twins]]\nparts = ["GP1", "GP2", "GP3"]\ncommon_cause = 0.2\n',
        '[[function]]\nname = "moved"\nneeds = [{at_least = 1, of = ["GP1", "GP2", "GP3"]}]\n')
    one, = plant.state({"GP3"}).next_failure_details["moved"]
    assert (one.parts, one.rate_per_h) == (("GP1", "GP2"), pytest.approx(0.2 / 1000, rel=1e-12))
    last, = plant.state({"GP2", "GP3"}).next_failure_details["moved"]
    assert (last.name, last.rate_per_h) == ("GP1", pytest.approx(1 / 1000, rel=1e-12))


def test_twins_with_nothing_but_common_failures_are_one_part(tmp_path):
    plant = small(
        tmp_path, part("GP1", "pump", 1000.0, 10.0), part("GP2", "pump", 1000.0, 10.0),
        '[[twins]]\nparts = ["GP1", "GP2"]\ncommon_cause = 1.0\n',
        '[[function]]\nname = "moved"\nneeds = [{at_least = 1, of = ["GP1", "GP2"]}]\n')
    block = plant.block("moved")
    assert block.unavailability == pytest.approx(10 / 1010, rel=1e-12)
    assert block.failures_per_h == pytest.approx(1 / 1010, rel=1e-12)


def test_events_without_a_rate_are_left_out_of_the_sums():
    plant = load_plant()
    without = dataclasses.replace(plant, shared_events={})
    assert plant.block("control kept").unavailability == pytest.approx(
        without.block("control kept").unavailability, rel=1e-14)


def test_what_is_lost_has_the_block_that_always_fails():
    plant = load_plant()
    assert plant.block("control kept", {"KF10"}) is ALWAYS_FAILED
    state = plant.state({"KF10"})
    assert (state.works["control kept"], state.failures_per_h["control kept"]) == (False, 0.0)


# ---------------------------------------------------------------- other plants


@pytest.mark.parametrize("k", [1, 2, 3, 4])
def test_k_of_n_pumps_follow_the_binomial_law(tmp_path, k):
    plant = small(
        tmp_path, *(part(f"GP{n}", "pump", 1000.0, 50.0) for n in range(1, 5)),
        '[[function]]\nname = "moved"\n'
        f'needs = [{{at_least = {k}, of = ["GP1", "GP2", "GP3", "GP4"]}}]\n')
    lost = stats.binom(4, 50 / 1050).sf(4 - k)
    assert plant.block("moved").unavailability == pytest.approx(lost, rel=1e-12)


def test_one_controller_wired_straight_to_its_rack(tmp_path):
    plant = small(tmp_path, part("KF1", "controller", joins=["KF10"]), part("KF10", "rack"),
                  '[[function]]\nname = "kept"\nreached = ["KF10"]\n')
    assert plant.pair is None and plant.controllers == ("KF1",)
    assert plant.lines() == {("KF1", "KF10"): ()}
    assert plant.block("kept").unavailability == pytest.approx(1 - (1000 / 1010) ** 2, rel=1e-12)
    assert plant.state({"KF1"}).works == {"kept": False}


def test_no_signal_passes_through_controllers_and_racks(tmp_path):
    plant = small(
        tmp_path, part("KF1", "controller"), part("WF1", "cable", joins=["KF1", "KF10"]),
        part("KF10", "rack"), part("WF2", "cable", joins=["KF10", "KF20"]), part("KF20", "rack"),
        '[[function]]\nname = "near"\nreached = ["KF10"]\n',
        '[[function]]\nname = "far"\nreached = ["KF10", "KF20"]\n')
    assert plant.state().works == {"near": True, "far": False}
    assert plant.lines() == {("KF1", "KF10"): ("WF1",)}


def test_a_ring_of_switches_has_two_ways(tmp_path):
    ring = [part(f"KS{n}", "switch") for n in range(4)]
    cables = [part(f"WF{n}", "cable", joins=[f"KS{n}", f"KS{(n + 1) % 4}"]) for n in range(4)]
    plant = small(tmp_path, part("KF1", "controller", joins=["KS0"]), *ring, *cables,
                  part("KF10", "rack", joins=["KS2"]),
                  '[[function]]\nname = "kept"\nreached = ["KF10"]\n')
    assert plant.ways("KF1", "KF10") == (
        ("KS0", "WF0", "KS1", "WF1", "KS2"), ("KS0", "WF3", "KS3", "WF2", "KS2"))
    unavailability, failures = enumerated(plant, "kept")
    assert plant.block("kept").unavailability == pytest.approx(unavailability, rel=1e-10)
    assert plant.block("kept").failures_per_h == pytest.approx(failures, rel=1e-10)
    assert set(plant.state({"WF1"}).next_failures["kept"]) == {
        "KF1", "KF10", "KS0", "KS2", "WF3", "KS3", "WF2"}


def test_any_one_feed_is_enough_and_a_dead_feed_feeds_nothing(tmp_path):
    plant = small(
        tmp_path, part("GB1", "ups"), part("TB1", "supply", fed_by=["GB1"]),
        part("TB2", "supply"), part("PH1", "panel", fed_by=["TB1", "TB2"]),
        '[[function]]\nname = "seen"\nneeds = ["PH1"]\n')
    assert plant.state({"GB1"}).works["seen"] and plant.state({"TB2"}).works["seen"]
    assert not plant.state({"GB1", "TB2"}).works["seen"]
    assert set(plant.state({"TB2"}).next_failures["seen"]) == {"GB1", "TB1", "PH1"}


def test_racks_are_reached_over_what_is_alive_and_fed():
    """GB1 feeds TB1, and TB1 all the rest, unless it has a battery of its own."""
    plant, every = load_plant(), {"KF10", "KF20", "KF30"}
    for broken, one, other in (((), every, every), ({"WF1.10"}, every - {"KF10"}, every),
                               ({"KF20"}, every - {"KF20"}, every - {"KF20"}), ({"KF1"}, set(), every),
                               ({"TB1"}, set(), set()), ({"GB1"}, set(), set())):
        assert plant.reach(broken) == {"KF1": one, "KF2": other}, broken
    carried = dataclasses.replace(plant, parts=plant.parts | {"TB1": dataclasses.replace(
        plant.parts["TB1"], battery_h=1.0)})
    assert carried.reach({"GB1"}) == {"KF1": every, "KF2": every} and not carried.reach({"TB1"})["KF1"]


@pytest.mark.parametrize(("broken", "leaders"), [
    ((), ()), (("WF2.10",), ()), (("WF1.10", "WF1.20"), ()), (("WF1.10", "WF2.20"), ("KF1", "KF2")),
    (("WF1.10", "WF1.20", "WF2.30"), ("KF2",)), (("WF1.30", "WF2.10", "WF2.20"), ("KF1",))])
def test_who_may_lead_where_each_unit_has_a_rack_of_its_own(broken, leaders):
    """The one that reaches more leads, on a tie either; where one reaches all that the other does, nothing is parted."""
    assert load_plant()._leaders(broken) == leaders


def test_racks_can_be_one_choice_among_needs():
    plant = load_plant("mirelow", "thermostat")
    assert plant.state({"KF1"}).works["fans kept"] and plant.state({"BT1"}).works["fans kept"]
    assert not plant.state({"KF1", "BT1"}).works["fans kept"]
    assert load_plant("mirelow").state({"KF1"}).works["fans kept"] is False


@pytest.mark.parametrize("name", ["brackenquay", "elderhang", "mirelow"])
def test_every_variant_of_the_shipped_plants_can_be_judged(name):
    plant = load_plant(name)
    for variant in plant.variants:
        built = plant.variant(variant)
        assert built.version == variant and built.variants.keys() == plant.variants.keys()
        for function in built.functions_counted:
            assert 0 < built.block(function).unavailability < 0.1


# ---------------------------------------------------------------- the tables of the lessons' plant

# Version, availability to six places, minutes a year, as the invented plant's table has them. The
# table takes each link to serve both controllers; the file wires link A to KF1 and link B to KF2.
TABLE = [("V0", 0.999634, 193), ("V1a", 0.999697, 160), ("V1b", 0.999740, 137),
         ("V1", 0.999780, 115), ("V2", 0.999887, 60), ("V3", 0.999960, 21)]


def all_noticed(plant):
    """Return a plant as the table takes it: every failure is noticed at once."""
    return dataclasses.replace(plant, parts={
        name: dataclasses.replace(each, noticed=1.0) for name, each in plant.parts.items()})


def with_links_for_both(plant):
    plant = all_noticed(plant)
    cables = {name: dataclasses.replace(
                  each, joins=tuple(dict.fromkeys((*plant.controllers, *each.joins))))
              for name, each in plant.parts.items() if name.startswith(("WF1.", "WF2."))}
    return dataclasses.replace(plant, parts={**plant.parts, **cables})


@pytest.mark.parametrize("variant, availability, minutes", TABLE)
def test_table_of_versions_with_links_that_serve_both(variant, availability, minutes):
    block = with_links_for_both(load_plant(variant=variant)).block("control kept")
    assert round(block.availability, 6) == availability
    assert round(block.unavailability * MINUTES_PER_YEAR) == minutes


@pytest.mark.parametrize("variant, availability, minutes", [
    row if row[0] not in ("V1", "V2") else
    {"V1": ("V1", 0.999780, 116), "V2": ("V2", 0.999886, 60)}[row[0]] for row in TABLE])
def test_table_of_versions_with_a_link_for_each(variant, availability, minutes):
    # A failed link and a failed standby on the other side together lose control: some 0.08 min/a,
    # what hides of interfaces and sensors in the sums.
    block = load_plant(variant=variant).block("control kept")
    assert round(block.availability, 6) == availability
    assert round(block.unavailability * MINUTES_PER_YEAR) == minutes


def test_links_that_serve_both_multiply_with_the_pair():
    def unavailable(mtbf_h, mttr_h):
        return mttr_h / (mtbf_h + mttr_h)

    way = 1 - (1 - unavailable(400_000, 6)) * (1 - unavailable(220_000 / 0.95, 3))
    rack = (1 - way**2) * (1 - unavailable(220_000 / 0.05, 3)) * (1 - unavailable(110_000, 3))
    pair = redundant_pair(60_000, 4, common_cause=0.05, coverage=0.97, diagnosed=0.9,
                          test_interval_h=4380, restart_h=0.5)
    alone = [(250_000, 3), (80_000, 8), (150_000, 3)]
    by_hand = 1 - rack**3 * pair.availability * np.prod([1 - unavailable(*each) for each in alone])
    both, own = (plant.block("control kept").unavailability
                 for plant in (with_links_for_both(load_plant()), all_noticed(load_plant())))
    assert both == pytest.approx(by_hand, rel=1e-9)
    # A standby sleeps for 0.0017 of the time, (1 - 0.9) x 0.95 / 2 x 2190 h / 60 000 h for each unit;
    # the way of the other side fails 2.05e-5 times an hour; that is put right in some 1.9 h.
    asleep = 2 * 0.1 * 0.95 / 2 * 2190 / 60_000 * 2.05e-5 * 1.9 * MINUTES_PER_YEAR
    assert (own - both) * MINUTES_PER_YEAR == pytest.approx(asleep, rel=0.15)


def test_shares_of_the_single_plant():
    plant = load_plant(variant="V0")
    shares = {"UPS": ["GB1"], "racks": ["KF10", "KF20", "KF30"],
              "paths": [f"{kind}{n}0{end}" for n in (1, 2, 3)
                        for kind, end in (("KF", "A"), ("WF1.", ""))],
              "controller": ["KF1"], "sensor": ["BL1"], "supply": ["TB1"]}
    minutes = {name: round(series(plant, parts)[0] * MINUTES_PER_YEAR)
               for name, parts in shares.items()}
    assert minutes == {"UPS": 53, "racks": 43, "paths": 45, "controller": 35, "sensor": 11,
                       "supply": 6}
    every = [name for parts in shares.values() for name in parts]
    assert plant.block("control kept").unavailability == pytest.approx(
        series(plant, every)[0], rel=1e-10)


def test_see_and_act():
    plant = load_plant()
    block = plant.block("see and act")
    assert round(block.unavailability * MINUTES_PER_YEAR) == 116
    assert block.unavailability == pytest.approx(
        series(plant, ["WF3", "TF1", "WF4", "PH1"])[0], rel=1e-10)
    assert round(series(plant, ["PH1"])[0] * MINUTES_PER_YEAR) == 93
    assert round(series(plant, ["TF1"])[0] * MINUTES_PER_YEAR) == 15


@pytest.fixture(scope="module")
def starred(tmp_path_factory):
    """A pair with a cable from each unit to each of four racks; R5 is of KF3.

    KF3 reaches its rack over the switch that carries unit 1 to R1.
    """
    def cable(name, *ends):
        return part(name, "cable", joins=[*ends])

    return small(
        tmp_path_factory.mktemp("starred"), *(part(f"KF{n}", "controller") for n in (1, 2, 3)),
        *(part(f"R{n}", "rack") for n in range(1, 6)), part("SW", "switch", joins=["R1"]),
        cable("W11", "KF1", "SW"), *(cable(f"W1{n}", "KF1", f"R{n}") for n in (2, 3, 4)),
        *(cable(f"W2{n}", "KF2", f"R{n}") for n in (1, 2, 3, 4)), cable("W35", "KF3", "SW"),
        cable("W5", "SW", "R5"), '[pair]\nunits = ["KF1", "KF2"]\n',
        *(f'[[function]]\nname = "R{n}"\nreached = ["R{n}"]\n' for n in range(1, 5)),
        '[[function]]\nname = "R5"\nreached = ["R5"]\nby = ["KF3"]\n')


@pytest.mark.parametrize(("broken", "works"), [
    ("", "R1 R2 R3 R4 R5"), ("W21", "R1 R2 R3 R4 R5"),
    ("W13 W14 W21", "R2 R3 R4 R5"),  # unit 1 has two racks, unit 2 has three, and leads
    ("W13 W14 W21 W24", "R2 R5"),  # two and two: either may lead
    ("W13 W14 W21 W23 W24", "R1 R2 R5"),  # unit 2 has nothing that unit 1 has not
    ("SW W22", "R3 R4"),  # three and three
])
def test_of_parted_racks_those_work_that_whoever_leads_can_reach(starred, broken, works):
    """The unit that reaches fewer racks hands over (rule 5 of the pair)."""
    state = starred.state(broken.split())
    assert [name for name, kept in state.works.items() if kept] == works.split()


def test_what_another_controller_has_alone_stands_beside_the_pair(starred):
    assert starred.beside_the_pair == {"KF3", "W35", "W5", "R5"}
    assert starred.racks == ("R1", "R2", "R3", "R4") and starred.second_pairs == {}


def test_lines_of_the_plant_of_the_lessons():
    lines = load_plant().lines()
    assert lines == {
        (f"KF{unit}", f"KF{rack}0"): (f"WF{unit}.{rack}0", f"KF{rack}0{'AB'[unit - 1]}")
        for unit in (1, 2) for rack in (1, 2, 3)}


# ---------------------------------------------------------------- ways and conditions


@pytest.mark.parametrize("seed", range(25))
def test_ways_are_the_minimal_simple_paths(seed):
    generator = random.Random(seed)
    graph = nx.gnp_random_graph(9, generator.choice([0.2, 0.35, 0.5]), seed=seed)
    passing = {node for node in graph if node in (0, 1) or generator.random() < 0.8}
    inside = graph.subgraph(passing)
    simple = [tuple(map(str, path[1:-1])) for path in nx.all_simple_paths(inside, 0, 1)]
    minimal = {frozenset(path) for path in simple
               if not any(set(other) < set(path) for other in simple)}
    neighbours = {str(node): [str(other) for other in graph[node]] for node in graph}
    found = ways("0", "1", neighbours, lambda name: int(name) in passing)
    assert {frozenset(way) for way in found} == minimal and len(found) == len(minimal)
    assert list(found) == sorted(found, key=lambda way: (len(way), way))


def test_too_many_ways_are_refused():
    graph = nx.grid_2d_graph(6, 6)
    names = {node: str(node) for node in graph}
    neighbours = {names[node]: [names[other] for other in graph[node]] for node in graph}
    with pytest.raises(ValueError, match="ways from .* must be <= 20, got more"):
        ways("(0, 0)", "(5, 5)", neighbours, lambda name: True, most=20)


def test_five_hundred_ways_are_found_and_not_one_more():
    for count in (500, 501):
        wires = {"a": [f"n{n}" for n in range(count)], **{f"n{n}": ["a", "b"] for n in range(count)}}
        if count == 500:
            assert len(ways("a", "b", wires, lambda name: True)) == 500
        else:
            with pytest.raises(ValueError, match="ways from a to b must be <= 500, got more"):
                ways("a", "b", wires, lambda name: True)


def test_a_way_of_two_thousand_wires_needs_no_deep_recursion():
    neighbours = {str(k): [str(k - 1), str(k + 1)] for k in range(1, 2000)} | {"0": ["1"]}
    (way,) = ways("0", "2000", neighbours, lambda name: True)
    assert way == tuple(map(str, range(1, 2000)))


def test_conditions_fold_their_constants():
    pump, sensor = Whole("GP1"), Whole("BL1")
    assert all_of([]) is True and any_of([]) is False
    assert at_least(2, [True, pump, False]) == pump
    assert at_least(1, [pump, True]) is True and at_least(3, [pump, sensor]) is False
    assert all_of([pump, pump]) == pump and at_least(2, [pump, sensor]) == Threshold(2, (pump, sensor))
    assert any_of([pump, pump]) == pump and any_of([pump, sensor, pump]) == any_of([pump, sensor])
    # of two out of three a sensor that stands there twice counts twice
    assert not holds(at_least(2, [pump, sensor, sensor]), lambda leaf: leaf == sensor)
    assert holds(at_least(2, [pump, sensor, sensor]), lambda leaf: leaf == pump)
    assert with_leaves(any_of([Leads("KF1"), pump]), lambda leaf: leaf == pump and leaf) == pump
    two = at_least(2, [pump, sensor, Whole("BL2")])
    assert holds(two, lambda leaf: leaf == pump)
    assert not holds(two, lambda leaf: leaf in (pump, sensor))


# ---------------------------------------------------------------- refusals


@pytest.mark.parametrize("seed", range(30))
def test_what_stops_alone_is_what_each_loss_by_itself_says(seed):
    generator = random.Random(seed)
    made = [Whole(name) for name in "abcdef"] + [Leads("KF1"), Leads("KF2")]
    for _ in range(8):
        inputs = [generator.choice(made) for _ in range(generator.randint(1, 4))]
        made.append(at_least(generator.randint(1, len(inputs)), inputs))
    condition = made[-1]
    alone = {leaf for leaf in leaves(condition) if not holds(condition, lambda lost: lost == leaf)}
    assert stops_alone(condition) == alone


def test_unknown_names_are_refused_with_the_nearest():
    plant = load_plant()
    with pytest.raises(ValueError, match=r"broken must hold designations of the plant, got 'KF1O' "
                                         r"\(did you mean KF1"):
        plant.state({"KF1O"})
    with pytest.raises(TypeError, match="broken must be a collection of designations, got 'KF1'"):
        plant.state("KF1")
    with pytest.raises(ValueError, match="function must be one of control kept, .*got 'control'"):
        plant.block("control")
    with pytest.raises(ValueError, match="variant must be one of V0, .*got 'V7'"):
        plant.variant("V7")


def test_a_plant_cannot_be_changed():
    plant = load_plant()
    with pytest.raises(dataclasses.FrozenInstanceError):
        plant.name = "other"
    with pytest.raises(TypeError):
        plant.parts["KF1"] = None
    with pytest.raises(TypeError):
        plant.process["tank_area_m2"] = 2.0
    state = plant.state()
    state.healthy_failures_per_h["control kept"] = 7.0
    assert plant.state().healthy_failures_per_h["control kept"] < 1e-4


def test_a_changed_plant_knows_nothing_that_the_old_one_found():
    plant = load_plant()
    shown, known = repr(plant), {each.name for each in dataclasses.fields(plant) if not each.init}
    assert known == {each.name for each in dataclasses.fields(plant) if each.name.startswith("_")}
    plant.state()
    assert plant.ways("KF1", "KF10") and plant.share_seen("KF1") > 0
    assert repr(plant) == shown and "document" not in shown and any(vars(plant)[name] for name in known)
    cable = dataclasses.replace(plant.parts["WF1.10"], joins=())
    parted = dataclasses.replace(plant, parts=plant.parts | {"WF1.10": cable})
    assert all(vars(parted)[name] is not vars(plant)[name] for name in known)
    assert parted.ways("KF1", "KF10") == ()


def test_numbers_of_the_file_are_floats():
    plant = load_plant()
    for part in plant.parts.values():
        assert isinstance(part.mtbf_h, float) and isinstance(part.mttr_h, float)
        assert part.source == "practice" and part.place
