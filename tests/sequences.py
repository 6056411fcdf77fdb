"""Random sequences of faults, waits and changes by hand, under random settings, held to the rules.

At every moment at which anything happens: the record rebuilds the state; where the racks are asked
a rack has one writer; a standby writes nothing; a leader that has lost its majority gives up in
time; lamps agree with roles; no reason in the record is out of date. And of the whole sequence: the
same again is the same record, waits may be split anywhere, and once all faults are gone the pair
is healthy within a stated time.

    python -m tests.sequences --count 20000          all of them, some minutes; CI runs a share
    python -m tests.sequences --first 4711 --count 1  one of them again
"""

import argparse
import time
from collections import Counter
from copy import copy
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random

import labkit
from labkit.plant.plant import load_plant
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.lamps import lamps_of
from labkit.switchover.roles import Outputs, Role
from labkit.switchover.settings import PairSettings

FILES = Path(labkit.__file__).parent / "plant" / "files"
PLANTS = (load_plant(), load_plant(FILES / "starter.toml"))
VOTER = "third voter"
# Long enough for a self test, a loading and a switchover with the default settings.
SETTLED_MS = 12_000
# Losses on a noisy cable come at random; with these on nothing is settled.
RESTLESS = {"noise", "beat gaps"}
SIDES = ("controllers' side", "panels' side")
# Answers to a question: events, not states.
ANSWERS = ("question to the racks", "role change")


@cache
def control_can_work(plant, broken):
    return plant.condition("control kept", broken) is not False


def heartbeats(units):
    """Return by whom each line of a heartbeat is told: (unit, what) -> unit."""
    return {(unit, f"heartbeat of {partner}"): unit
            for unit, partner in ((units, units[::-1]) if len(units) == 2 else ())}


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
    for (rack, unit), passes in seen.links.items():
        state[rack, f"link {unit}"] = "data pass" if passes else "no data"
    for panel, what in seen.panels.items():
        state[panel, "see and act"] = "yes" if what == "sees" else "no"
    for name, sides in seen.repeaters.items():
        state[name, "supply"] = "on" if name in seen.supplied else "off"
        for side, ok in zip(SIDES, sides, strict=True):
            state[name, side] = "frames" if ok else "no good frames"
    for key, unit in heartbeats(tuple(seen.roles)).items():
        state[key] = "missed" if unit in seen.silent else "heard"
    if seen.voter_heard is not None:
        state[VOTER, "voter"] = "heard" if seen.voter_heard else "missed"
        state[VOTER, "vote"] = seen.vote or "none"
    for text in seen.alarms:
        state["alarm", text] = "on"
    for fault in seen.faults:
        state[fault, "fault"] = "on"
    return state


class Watcher:
    """Hold a pair to the invariants at every moment at which anything happens."""

    def __init__(self, settings=None, seed=1, plant=PLANTS[0]):
        self.settings = settings or PairSettings()
        self.plant = plant
        self.faults = faults_of(plant, third_vote=self.settings.third_vote)
        self.pair = Switchover(plant, settings, seed=seed)
        self.links = self.pair.snapshot().links
        self.told = flat(self.pair.snapshot())
        self.inner = {(unit, what): old for unit in plant.controllers
                      for what, old in (("takeover", "none"), ("loading", "no"))}
        self.read = len(self.pair.record)
        self.since_ms = {}

    def copy(self):
        """Return a watcher of a pair in this state, whose record begins here."""
        twin = copy(self)
        twin.pair, twin.read = self.pair.copy(), 0
        twin.told, twin.inner, twin.since_ms = map(dict, (self.told, self.inner, self.since_ms))
        return twin

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
        self.check()

    def change_roles(self):
        assert self.pair.request_role_change().new in ("accepted", "refused")
        self.check()

    # ------------------------------------------------------------ at each moment

    def check(self):
        seen = self.pair.snapshot()
        self.check_takeovers(seen, self.replay(seen))
        self.links = seen.links
        self.check_writers(seen)
        self.check_votes(seen)
        self.check_lamps(seen)

    def check_takeovers(self, seen, took):
        for entry, left in took:
            assert entry.why.startswith("Rule "), entry
            # a link that is dead and silent is found out by the first write only
            assert any(passes for links in (seen.links, self.links)
                       for (_, unit), passes in links.items() if unit == entry.who), (
                f"{entry.who} takes over and reaches no rack")
            # the reason is that of this moment: who hands over leads until now
            if "hands over" in entry.why or "planned switchover" in entry.why:
                assert left, f"out of date: {entry}"

    def check_writers(self, seen):
        asked = self.settings.ask_racks and not any(
            self.faults[fault].mode == "racks not asked" for fault in seen.faults)
        assert not (asked and seen.writes_fight), "two writers"
        for rack, writer in seen.writers.items():
            if writer is not None:
                assert seen.roles[writer] is not Role.OFF, f"{rack}: a writer without power"
            elif rack not in seen.writes_fight:
                assert seen.outputs[rack] is not Outputs.WRITTEN, f"{rack}: written by nobody"
            # rule 7: who leads no more has sent its last write
            late = (rack not in seen.writes_fight and seen.outputs[rack] is Outputs.WRITTEN
                    and writer is not None and seen.roles[writer] is not Role.ACTIVE)
            self.lasts(seen, (rack, "written by a standby"), late,
                       self.settings.longest_write_gap_ms + self.settings.output_filter_ms)

    def check_votes(self, seen):
        if seen.voter_heard is None:
            return
        frozen = {fault.partition(":")[0] for fault in seen.faults
                  if self.faults[fault].mode == "frozen"}
        for unit, role in seen.roles.items():
            lost = (role is Role.ACTIVE and unit not in frozen and unit in seen.silent
                    and seen.vote != unit)
            self.lasts(seen, (unit, "leads without a majority"), lost,
                       self.settings.cycle_of(tuple(seen.roles).index(unit)))
        leading = [unit for unit, role in seen.roles.items()
                   if role is Role.ACTIVE and unit not in frozen]
        self.lasts(seen, ("pair", "two lead in spite of the vote"), len(leading) > 1,
                   self.settings.silence_ms + max(map(self.settings.cycle_of, range(2))))

    def lasts(self, seen, key, holds, most_ms):
        """Let something last no longer than a time."""
        if not holds:
            self.since_ms.pop(key, None)
        else:
            since_ms = self.since_ms.setdefault(key, seen.time_ms)
            assert seen.time_ms - since_ms <= most_ms, key

    def check_lamps(self, seen):
        lit = {(lamp.unit, lamp.name) for lamp in lamps_of(seen) if lamp.lit}
        for unit, role in seen.roles.items():
            own = {name for of, name in lit if of == unit}
            expected = {"SUPPLY": role is not Role.OFF,
                        "ACTIVE": role is Role.ACTIVE, "READY": role is Role.STANDBY,
                        "LOADING": role is Role.LOADING, "FAILED": unit in seen.failed,
                        "ALONE": seen.alone and role is Role.ACTIVE}
            assert own == {name for name, on in expected.items() if on}, (unit, own)
        for panel, state in seen.panels.items():
            active = {unit for unit, role in seen.roles.items() if role is Role.ACTIVE}
            shown = {unit for unit in seen.roles if (panel, unit) in lit}
            assert shown <= active and len(active - shown) <= (
                len(active) if state != "sees" else panel in seen.lamps_dark), (panel, shown)
        # one interface may carry the links of both controllers
        for interface in set(seen.link_units.values()):
            writes = any(rack in seen.writes_fight or seen.writers[rack] == controller
                         for (rack, controller), own in seen.link_units.items()
                         if own == interface)
            assert ((interface, "WRITER") in lit) is writes, interface

    def replay(self, seen):
        """Put the new lines onto what was told before; the result must be what is seen.

        Returns each new lead with whether the partner led until this very moment.
        """
        new = self.pair.record[self.read:]
        self.read += len(new)
        told, took = self.told, []
        hears = heartbeats(self.plant.controllers)
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
            elif key in hears:
                assert (told[key] == "missed") is (entry.old == "missed"), entry
                told[key] = "missed" if entry.new == "missed" else "heard"
            elif key in self.inner:
                assert self.inner[key] == entry.old, entry
                self.inner[key] = entry.new
            elif entry.what in ANSWERS:
                assert entry.old == "asked", entry
            elif entry.what == "term":
                assert int(entry.new) > int(entry.old), entry
            elif entry.new == "refused":
                words = entry.why.split()
                newer, older = int(words[words.index("term") + 1]), int(words[-1].rstrip("."))
                assert newer > older, entry
            else:
                assert told[key] in (entry.old, "by turns", "left open"), entry
                told[key] = entry.new
                if entry.what == "writes":
                    two = entry.new == "two writers by turns"
                    told[entry.who, "writer"] = "by turns" if two else "left open"
                elif entry.new == "active":
                    self.inner[entry.who, "takeover"] = "none"
                    took.append((entry, any(
                        each.what == "role" and each.old == "active" and each.why == entry.why
                        for each in new) or Role.ACTIVE in (
                        role for unit, role in seen.roles.items() if unit != entry.who)))
        now = flat(seen)
        for key, state in told.items():
            if state == "left open":  # the last of two writers, named by the snapshot
                told[key] = now[key]
            elif now.get(key) == "by turns":
                told[key] = "by turns"
        assert told == now, {key: (told.get(key), now.get(key)) for key in {*told, *now}
                             if told.get(key) != now.get(key)}
        return took

    # ------------------------------------------------------------ at rest

    def check_settled(self):
        """After everything has come to rest: control works whenever the plant file says so."""
        seen = self.pair.snapshot()
        on = [self.faults[fault] for fault in seen.faults]
        modes = {fault.mode for fault in on}
        if modes & RESTLESS or seen.writes_fight or f"{VOTER}: lost" in seen.faults:
            return
        if Role.ACTIVE not in seen.roles.values():
            self.check_nobody_could_lead(seen, on)
        unnoticed = set() if self.settings.count_in_heartbeat else {"frozen"}
        if modes & unnoticed:
            return
        asked = self.settings.ask_racks and "racks not asked" not in modes
        if not (asked or seen.sync_ok):
            return  # neither cable nor marks: nobody can know who reaches more
        broken = {name for fault in on for name in fault.breaks
                  if self.plant.parts[name].kind != "sensor"}
        if Role.ACTIVE in seen.roles.values():
            loading = {unit for unit, role in seen.roles.items() if role is Role.LOADING}
            # a unit that cannot load is no standby, and so no use to the plant for the moment
            assert not loading or not seen.sync_ok or "program differs" in modes, "never ready"
            broken |= loading
        works = (all(outputs is Outputs.WRITTEN for outputs in seen.outputs.values())
                 and len(set(seen.writers.values())) == 1)
        assert works is control_can_work(self.plant, frozenset(broken)), sorted(seen.faults)

    def check_nobody_could_lead(self, seen, on):
        """A unit that runs and reaches a rack leads, whatever its partner beats."""
        stuck = {fault.unit for fault in on if fault.mode == "frozen"}
        for unit, role in seen.roles.items():
            runs = role not in (Role.OFF, Role.STOPPED) and unit not in stuck
            reaches = any(passes for (_, of), passes in seen.links.items() if of == unit)
            assert not (runs and reaches), f"{unit} is whole and does not lead: {sorted(seen.faults)}"

    def check_healthy(self):
        seen = self.pair.snapshot()
        roles = sorted(role.value for role in seen.roles.values())
        assert roles == ["active", "standby"], roles
        assert not seen.redundancy_lost and seen.alarms == (), seen.alarms
        assert set(seen.outputs.values()) == {Outputs.WRITTEN}
        assert len(set(seen.writers.values())) == 1


# ---------------------------------------------------------------- sequences


@dataclass(frozen=True)
class Sequence:
    """Hold one sequence: a plant, settings, and steps (what, fault or time in ms)."""

    plant: object
    settings: PairSettings
    seed: int
    steps: tuple[tuple[str, object], ...]


def recovery_ms(settings):
    """Return within which time a pair without faults is healthy, ms.

    A self test; missing a partner and an answer, twice, since two may start by turns; the limit of
    waiting; a lead that is given up and taken again, with a cycle for each step; two loadings; and
    with the option to return its wait.
    """
    cycle_ms = max(map(settings.cycle_of, range(2)))
    steps_ms = 4 * (2 * cycle_ms + settings.rack_update_ms) + settings.output_filter_ms
    returns_ms = settings.return_wait_ms if settings.return_policy == "returns" else 0
    return (settings.start_ms + 3 * (settings.silence_ms + settings.heartbeat_ms)
            + 2 * settings.decision_ms + settings.wait_limit_ms + steps_ms
            + 2 * settings.load_ms + returns_ms)


def sequence(number, seed=1):
    """Return one sequence, the same for the same numbers."""
    draw = Random(f"{seed} sequence {number}")
    plant = draw.choices(PLANTS, (4, 1))[0]
    settings = PairSettings(
        ask_racks=draw.random() < 0.7, count_in_heartbeat=draw.random() < 0.5,
        third_vote=draw.random() < 0.5, missed_beats=draw.randint(1, 4), load_ms=1000,
        second_cycle_ms=draw.choice([None, 7, 90]), hold_ms=draw.randint(111, 600),
        decision_ms=draw.choice([0, 20]), output_filter_ms=draw.choice([0, 5, 100]),
        wait_limit_ms=draw.choice([250, 1000]), start_ms=draw.choice([0, 300, 2000]),
        return_policy=draw.choice(["stays", "returns"]), return_wait_ms=500)
    known = sorted(faults_of(plant, third_vote=settings.third_vote))
    # what a pair is hit by: its units, its cable, its voter; the others come as they are
    hard = [name for name in known
            if name.startswith((*plant.pair.units, *plant.pair.sync, VOTER, "settings", "TB", "GB"))]
    steps, on = [], []
    first, second = plant.pair.units
    cable = plant.pair.sync[0]
    # what chance alone seldom finds: a leader that wakes, a partner that only beats, a vote in two
    themes = ((), (), (f"{cable}: cut", f"{first}: frozen", f"-{first}: frozen"),
              (f"{second}: frozen", f"{first}: restarted"), (f"{first}: frozen", f"{cable}: cut"),
              (f"{cable}: cut", f"{VOTER}: lost"), (f"{cable}: noise", "settings: one missed beat"))
    for name in draw.choice(themes):
        fault = name.removeprefix("-")
        if name in known:
            on.append(fault)
            steps.append(("on", fault))
        elif fault in on:
            on.remove(fault)
            steps.append(("off", fault))
        steps.append(("wait", draw.randint(1, 900)))
    for _ in range(draw.randint(4, 14)):
        what = draw.choices(("on", "off", "wait", "long", "hand", "settle"), (6, 3, 6, 3, 1, 1))[0]
        if what == "on":
            fault = draw.choice(hard if draw.random() < 0.6 else known)
            if fault not in on:
                on.append(fault)
                steps.append(("on", fault))
        elif what == "off" and on:
            steps.append(("off", on.pop(draw.randrange(len(on)))))
        elif what == "wait":
            steps.append(("wait", draw.randint(1, 400)))
        elif what == "long":
            steps.append(("wait", draw.randint(400, 6000)))
        elif what in ("hand", "settle"):
            steps.append((what, None))
    draw.shuffle(on)
    return Sequence(plant, settings, draw.randrange(1000),
                    (*steps, *(("off", fault) for fault in on)))


def watched(given):
    """Run a sequence under a watcher, clear it, and hold it to recovery; return its record."""
    watcher = Watcher(given.settings, given.seed, given.plant)
    for what, value in given.steps:
        if what in ("on", "off"):
            getattr(watcher, what)(value)
        elif what == "wait":
            watcher.go(value)
        elif what == "hand":
            watcher.change_roles()
        else:
            watcher.go(SETTLED_MS)
            watcher.check_settled()
    watcher.go(recovery_ms(given.settings))
    watcher.check_healthy()
    return watcher.pair.record


def played(given, cuts):
    """Run a sequence without a watcher, its waits cut at random; return its record."""
    pair = Switchover(given.plant, given.settings, seed=given.seed)
    waits_ms = {"settle": SETTLED_MS}
    for what, value in (*given.steps, ("wait", recovery_ms(given.settings))):
        if what == "on":
            pair.switch_on(value)
        elif what == "off":
            pair.switch_off(value)
        elif what == "hand":
            pair.request_role_change()
        else:
            end_ms = pair.time_ms + waits_ms.get(what, value)
            for at_ms in sorted(cuts.randint(pair.time_ms, end_ms) for _ in range(3)):
                pair.run_to(at_ms)
            pair.run_to(end_ms)
    return pair.record


def hold(number, seed=1):
    """Hold one sequence to all properties; return its record."""
    given = sequence(number, seed)
    record = watched(given)
    assert played(given, Random(number)) == record, "another cut of the waits, another record"
    return record


def main():
    parser = argparse.ArgumentParser(prog="python -m tests.sequences", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("--count", type=int, default=20_000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    begun_s, found, lines, failed = time.perf_counter(), Counter(), 0, 0
    for number in range(given.first, given.first + given.count):
        try:
            record = hold(number, given.seed)
        except (AssertionError, KeyError, RuntimeError) as error:
            failed += 1
            print(f"{number}: {type(error).__name__}: {error}")
            if given.count == 1:
                raise
            continue
        lines += len(record)
        found.update(entry.why.partition(":")[0] for entry in record
                     if entry.why.startswith("Rule "))
        found["refused writes"] += sum(entry.what.startswith("write of") for entry in record)
        found["changes of the vote"] += sum(entry.what == "vote" for entry in record)
    print(f"{given.count} sequences, {lines} lines of record, {failed} failed, "
          f"{time.perf_counter() - begun_s:.0f} s")
    print(", ".join(f"{name} {count}" for name, count in sorted(found.items())))
    raise SystemExit(failed > 0)


if __name__ == "__main__":
    main()
