"""Every fault and every ordered pair of faults, on and off, against the invariants of the rules."""

from functools import cache

import pytest
from hypothesis import HealthCheck
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from labkit.plant.plant import load_plant
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.roles import Outputs, Role
from labkit.switchover.settings import PairSettings

PLANT = load_plant()
FAULTS = faults_of(PLANT)
UNITS = PLANT.controllers
# Long enough for a self test, a loading and a switchover with the default settings.
SETTLED_MS = 12_000
# Losses on a noisy cable come at random; with these on nothing is settled.
RESTLESS = {"noise", "bursts"}


@cache
def control_can_work(broken):
    return PLANT.condition("control kept", broken) is not False


SIDES = ("controllers' side", "panels' side")
HEARS = {(unit, f"heartbeat of {partner}"): unit for unit, partner in (UNITS, UNITS[::-1])}
LINKS = {(rack, unit): (rack, f"link {unit}") for rack in PLANT.racks for unit in UNITS}


def flat(seen):
    """Return what a snapshot shows as (who, what) -> state, in the words of the record."""
    state = {
        ("pair", "alone"): "yes" if seen.alone else "no",
        ("pair", "redundancy"): "lost" if seen.redundancy_lost else "kept",
        ("pair", "sync cable"): "whole" if seen.sync_ok else "broken",
    }
    for unit, role in seen.roles.items():
        state[unit, "role"] = role.value
        state[unit, "failed"] = "shown" if unit in seen.failed else "not shown"
    for rack, outputs in seen.outputs.items():
        state[rack, "outputs"] = outputs.value
        state[rack, "writes"] = "one writer"
        state[rack, "writer"] = seen.writers[rack] or "none"
    for rack in seen.writes_fight:  # their changes of writer are counted, not listed
        state[rack, "writes"] = "two writers by turns"
        state[rack, "writer"] = "by turns"
    for key, passes in seen.links.items():
        state[LINKS[key]] = "data pass" if passes else "no data"
    for panel, what in seen.panels.items():
        state[panel, "see and act"] = "yes" if what == "sees" else "no"
    for name, sides in seen.repeaters.items():
        state[name, "supply"] = "on" if name in seen.supplied else "off"
        for side, ok in zip(SIDES, sides, strict=True):
            state[name, side] = "frames" if ok else "no good frames"
    for key, unit in HEARS.items():
        state[key] = "missed" if unit in seen.silent else "heard"
    for text in seen.alarms:
        state["alarm", text] = "on"
    for fault in seen.faults:
        state[fault, "fault"] = "on"
    return state


class Watcher:
    """Hold a pair to the invariants at every moment at which anything happens."""

    def __init__(self, settings=None, seed=1):
        self.pair = Switchover(PLANT, settings, seed=seed)
        self.settings = settings or PairSettings()
        self.links = self.pair.snapshot().links
        self.told = flat(self.pair.snapshot())
        self.inner = {(unit, what): old for unit in UNITS
                      for what, old in (("takeover", "none"), ("loading", "no"))}
        self.read = len(self.pair.record)
        self.asked_since_ms = 0

    def go(self, duration_ms):
        limit_ms = self.pair.time_ms + duration_ms
        while self.pair.run_to_next(limit_ms):
            self.check()
        self.check()

    def on(self, fault):
        self.pair.switch_on(fault)
        self.check()

    def off(self, fault):
        self.pair.switch_off(fault)
        if FAULTS[fault].mode == "racks not asked":
            self.asked_since_ms = self.pair.time_ms
        self.check()

    def check(self):
        seen = self.pair.snapshot()
        took = self.replay(seen)
        for entry in took:
            assert entry.why.startswith("Rule "), entry
            # a link that is dead and silent is found out by the first write only
            assert any(passes for links in (seen.links, self.links)
                       for (_, unit), passes in links.items() if unit == entry.who), (
                f"{entry.who} takes over and reaches no rack")
        self.links = seen.links
        # two that began to write by turns while the racks were not asked need a cycle to end it
        asked = (self.settings.ask_racks and "settings: racks not asked" not in seen.faults
                 and seen.time_ms > self.asked_since_ms + self.settings.longest_write_gap_ms)
        assert not (asked and seen.writes_fight), "two writers"
        for rack, writer in seen.writers.items():
            if writer is not None:
                assert seen.roles[writer] is not Role.OFF, f"{rack}: an writer without power"
            elif rack not in seen.writes_fight:
                assert seen.outputs[rack] is not Outputs.WRITTEN, f"{rack}: written by nobody"

    def replay(self, seen):
        """Put the new lines onto what was told before; the result must be what is seen."""
        new = self.pair.record[self.read:]
        self.read += len(new)
        told = self.told
        for entry in new:
            assert entry.why.endswith(".") and entry.time_ms <= seen.time_ms, entry
            key = (entry.who, entry.what)
            if entry.what == "alarm":
                if entry.new:
                    assert ("alarm", entry.new) not in told, entry
                    told["alarm", entry.new] = "on"
                else:
                    assert told.pop(("alarm", entry.old)) == "on", entry
            elif entry.what == "fault":
                assert told.pop(key, "off") == entry.old, entry
                if entry.new == "on":
                    told[key] = "on"
            elif key in HEARS:
                assert (told[key] == "missed") is (entry.old == "missed"), entry
                told[key] = "missed" if entry.new == "missed" else "heard"
            elif key in self.inner:
                assert self.inner[key] == entry.old, entry
                self.inner[key] = entry.new
            elif entry.what in ("question to the racks", "role change"):
                assert entry.old == "asked"  # an event, not a state
            elif entry.what == "term" or entry.new == "refused":
                assert entry.why.startswith("Rule 1: "), entry
            else:
                assert told[key] in (entry.old, "by turns", "left open"), entry
                told[key] = entry.new
                if entry.what == "writes":
                    two = entry.new == "two writers by turns"
                    told[entry.who, "writer"] = "by turns" if two else "left open"
                elif entry.new == "active":
                    self.inner[entry.who, "takeover"] = "none"
        now = flat(seen)
        for key, state in told.items():
            if state == "left open":  # the last of two writers, named by the snapshot
                told[key] = now[key]
            elif now.get(key) == "by turns":
                told[key] = "by turns"
        assert told == now, {key: (told.get(key), now.get(key)) for key in {*told, *now}
                             if told.get(key) != now.get(key)}
        return [entry for entry in new if entry.what == "role" and entry.new == "active"]

    def check_settled(self):
        """After everything has come to rest: control works whenever the plant file says so."""
        seen = self.pair.snapshot()
        on = [FAULTS[fault] for fault in seen.faults]
        modes = {fault.mode for fault in on}
        unnoticed = set() if self.settings.count_in_heartbeat else {"frozen"}
        if modes & (unnoticed | RESTLESS) or seen.writes_fight:
            return
        asked = self.settings.ask_racks and "racks not asked" not in modes
        if not (asked or seen.sync_ok):
            return  # neither cable nor marks: nobody can know who reaches more
        broken = {name for fault in on for name in fault.breaks
                  if PLANT.parts[name].kind != "sensor"}
        if Role.ACTIVE in seen.roles.values():
            loading = {unit for unit, role in seen.roles.items() if role is Role.LOADING}
            # a unit that cannot load is no standby, and so no use to the plant for the moment
            assert not loading or not seen.sync_ok or "program differs" in modes, "never ready"
            broken |= loading
        works = (all(outputs is Outputs.WRITTEN for outputs in seen.outputs.values())
                 and len(set(seen.writers.values())) == 1)
        assert works is control_can_work(frozenset(broken)), sorted(seen.faults)


def walk(*faults, settings=None):
    """Switch faults on one after another, then off in the same order, and let each come to rest."""
    watcher = Watcher(settings)
    for fault in faults:
        watcher.on(fault)
        watcher.go(SETTLED_MS)
        watcher.check_settled()
    for fault in faults:
        before = watcher.pair.active_history()[-1][1]
        read = watcher.read
        watcher.off(fault)
        watcher.go(SETTLED_MS)
        watcher.check_settled()
        after = watcher.pair.active_history()[-1][1]
        if before is not None and after != before:
            changes = [entry for entry in watcher.pair.record[read:]
                       if entry.what == "role" and entry.new == "active"]
            allowed = ["Rule 5"] + ["Rule 6"] * (watcher.settings.return_policy == "returns")
            assert all(entry.why.startswith(tuple(allowed)) for entry in changes), (
                "went back by itself")
    return watcher


def is_healthy(watcher):
    seen = watcher.pair.snapshot()
    roles = sorted(role.value for role in seen.roles.values())
    return roles == ["active", "standby"] and not seen.redundancy_lost and seen.alarms == ()


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("settings", [
    PairSettings(),
    PairSettings(count_in_heartbeat=True),
    PairSettings(third_vote=True),
    PairSettings(ask_racks=False, third_vote=True, missed_beats=1),
    PairSettings(return_policy="returns", return_wait_ms=1000),
    PairSettings(hold_ms=100, second_cycle_ms=70, load_ms=500, start_ms=0),
], ids=["as built", "count", "vote", "vote alone", "returns", "uneven"])
def test_single_fault(fault, settings):
    watcher = walk(fault, settings=settings)
    assert is_healthy(watcher), watcher.pair.snapshot()


@pytest.mark.parametrize("first", FAULTS)
def test_ordered_pairs(first):
    for second in FAULTS:
        if second != first:
            assert is_healthy(walk(first, second)), (first, second)


@pytest.mark.parametrize("fault", FAULTS)
def test_same_input_same_record(fault):
    records = []
    for steps in ([12_345], [1, 344, 12_000]):
        pair = Switchover(PLANT, seed=7)
        pair.run_to(500)
        pair.switch_on(fault)
        for step in steps:
            pair.run_for(step)
        pair.switch_off(fault)
        for step in steps:
            pair.run_for(step)
        records.append(pair.record)
    assert records[0] == records[1]


class Sequences(RuleBasedStateMachine):
    """Switch faults on and off in any order, with any waits between, under any settings."""

    @initialize(seed=st.integers(0, 50), ask=st.booleans(), count=st.booleans(),
                vote=st.booleans(), returns=st.booleans(), beats=st.integers(1, 4),
                second_cycle_ms=st.sampled_from([None, 7, 90]), hold_ms=st.integers(111, 600),
                decision_ms=st.sampled_from([0, 20]))
    def begin(self, seed, ask, count, vote, returns, beats, second_cycle_ms, hold_ms,
              decision_ms):
        self.watcher = Watcher(PairSettings(
            ask_racks=ask, count_in_heartbeat=count, third_vote=vote, load_ms=1000,
            missed_beats=beats, second_cycle_ms=second_cycle_ms, hold_ms=hold_ms,
            decision_ms=decision_ms, return_policy="returns" if returns else "stays",
            return_wait_ms=500), seed)

    @rule(fault=st.sampled_from(sorted(FAULTS)))
    def switch(self, fault):
        if fault in self.watcher.pair.faults:
            self.watcher.off(fault)
        else:
            self.watcher.on(fault)

    @rule(data=st.data())
    def clear_one(self, data):
        if self.watcher.pair.faults:
            self.watcher.off(data.draw(st.sampled_from(self.watcher.pair.faults)))

    @rule(duration_ms=st.integers(0, 400))
    def wait(self, duration_ms):
        self.watcher.go(duration_ms)

    @rule()
    def change_roles(self):
        answer = self.watcher.pair.request_role_change()
        assert answer.new in ("accepted", "refused")
        self.watcher.check()

    @rule()
    def settle(self):
        self.watcher.go(SETTLED_MS)
        self.watcher.check_settled()


Sequences.TestCase.settings = hypothesis_settings(
    max_examples=120, stateful_step_count=30, deadline=None,
    suppress_health_check=list(HealthCheck))
TestSequences = Sequences.TestCase
