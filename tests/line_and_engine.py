"""The line of the state held to the engine: what works now, and what would stop it next.

    python -m tests.line_and_engine                  every fault, every ordered pair, 5000 sets
    python -m tests.line_and_engine --sets 200 --pairs 50
    python -m tests.line_and_engine --plant "osier weir" --part 2/3    a third of one plant

For each set of faults, with waits between, on every plant of the package and of the tests, the
random sets with options of the pair as well:

* a function works by the line = nothing that it needs is dead, and no rack that it needs is let go
  or written by two, now or once a hold time is over, and somebody leads;
* a single failure is named as next = with its fault switched on as well, the function is lost.

The judgement comes from the histories of the racks and the roles in the record, run on in a copy,
and from a walk along the feeds of its own; it knows nothing of how the line is made. A part fails
by the first of its faults that breaks it, as the table of kinds has it. Not tried one by one: a
failed takeover, which is no fault of a part, and an event without a rate, which no sum counts.
"""

from __future__ import annotations

import argparse
import itertools
import random
import sys
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from labkit.plant import file
from labkit.plant.plant import Plant, load_plant
from labkit.plant.plant_data import AtLeast, Function, Reached
from labkit.rig.rig import Rig
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.roles import Outputs
from labkit.switchover.settings import PairSettings

# After this a takeover and a hold time are over, with the settings of the lessons.
SETTLED_MS, END_MS = 1200, 1500
WAITS_S = (0.3, 5, 70)
OPTIONS = ({}, {}, {}, {"ask_racks": False}, {"third_vote": True}, {"count_in_heartbeat": True},
           {"third_vote": True, "ask_racks": False})


def plants() -> list[Plant]:
    """Return the plants of package and tests, as their files have them and with an added pair."""
    folders = Path(file.__file__).parent / "files", Path(__file__).parent / "plant_files"
    found = [load_plant(path) for folder in folders for path in sorted(folder.glob("*.toml"))]
    return found + [load_plant(name, "pair") for name in ("elderhang", "mirelow")]


class Judge:
    """Say from what the racks did whether functions of a plant are kept."""

    def __init__(self, plant: Plant):
        self.plant = plant
        self.faults = faults_of(plant)

    def outright(self, name: str) -> str:
        """Return the first fault that breaks a part."""
        return next(each.id for each in self.faults.values() if each.unit == name and each.breaks)

    def failures(self, broken: Iterable[str]) -> Iterator[
            tuple[str, tuple[str, ...], frozenset[str]]]:
        """Yield every single failure of what is whole: its name, its faults, its parts.

        What takes the feed of a battery comes once more for each time at which one is empty.
        """
        for name, faults, parts in self._failures():
            if not parts & {*broken}:
                yield name, faults, parts
                # those that are empty at a time are as dead as if they had failed
                # a controller that has stopped may have supply, and be seen by a panel, until then
                ends_h = self.ends_h({*broken} - {*self.plant.controllers}, parts)
                for hours in sorted({*ends_h.values()} - {0.0}):
                    empty = [each for each, end_h in ends_h.items() if 0 < end_h <= hours
                             and self.plant.parts[each].battery_h]
                    yield (f"{name} longer than {hours:g} h",
                           (*faults, *map(self.outright, empty)), parts)

    def ends_h(self, broken: set[str], parts: Iterable[str]) -> dict[str, float]:
        """Return how long after some parts have failed each one stops that hangs on them, hours."""
        dead = self._dead(broken)
        ends_h = dict.fromkeys(dead | {*parts}, 0.0)
        carried = {name for name, part in self.plant.parts.items()
                   if part.battery_h and part.fed_by and dead.issuperset(part.fed_by)}
        while True:
            more = {name: max(map(ends_h.get, part.fed_by)) + part.battery_h
                    for name, part in self.plant.parts.items()
                    if name not in ends_h.keys() | carried and part.fed_by
                    and ends_h.keys() >= {*part.fed_by}}
            if not more:
                return ends_h
            ends_h |= more

    def _failures(self) -> Iterator[tuple[str, tuple[str, ...], frozenset[str]]]:
        for name in self.plant.parts:
            yield name, (self.outright(name),), frozenset({name})
        for twins in self.plant.twins:
            yield twins.name, tuple(map(self.outright, twins.parts)), frozenset(twins.parts)
        for event in self.plant.shared_events.values():
            if event.mtbf_h is not None:
                yield event.name, (self.outright(event.name),), frozenset(event.breaks)
        if self.plant.pair is not None and self.plant.pair.common_cause:
            units = self.plant.pair.units
            yield (f"{'+'.join(units)} common cause", tuple(map(self.outright, units)),
                   frozenset(units))

    def dead(self, fault_ids: Iterable[str]) -> set[str]:
        """Return the parts that are broken, and those all of whose feeds are dead, batteries too."""
        return self._dead(set().union(*(self.faults[each].breaks for each in fault_ids)))

    def _dead(self, dead: set[str]) -> set[str]:
        while True:
            more = {name for name, part in self.plant.parts.items()
                    if name not in dead and part.fed_by and not part.battery_h
                    and dead.issuperset(part.fed_by)}
            if not more:
                return dead
            dead |= more

    def let_go(self, pair: Switchover, since_ms: int) -> set[str]:
        """Return the racks that were let go or written by two at any time since."""
        found = set()
        for rack in self.plant.racks:
            history = pair.output_history(rack)
            ends_ms = [row[0] for row in history[1:]] + [pair.time_ms + 1]
            for (_, outputs, writer), end_ms in zip(history, ends_ms, strict=True):
                bad = outputs is Outputs.FAIL_STATE or (
                    outputs is Outputs.WRITTEN and writer is None)
                if bad and end_ms > since_ms:
                    found.add(rack)
        return found

    def kept(self, function: Function, dead: set[str], let_go: set[str],
             roles: Mapping[str, str]) -> bool:
        """Return whether a function is kept; what is no rack is reached by a unit that may lead."""
        able = [unit for unit, role in roles.items()
                if role in ("active", "standby") and unit not in dead]

        def comes_to(unit: str, name: str) -> bool:
            return any(dead.isdisjoint(way) for way in self.plant.ways(unit, name))

        # a pair that is not run in the engine: one of it that is whole does
        beside = {*function.by} & self.plant.parts.keys() - dead

        def led(racks: Iterable[str]) -> bool:
            if function.by:
                return any(all(comes_to(unit, name) for name in racks) for unit in beside)
            return all(any(comes_to(unit, name) for unit in able)
                       for name in {*racks} - {*self.plant.racks})

        # a stopped unit with supply is seen by a panel
        shown = beside if function.by else {
            unit for unit, role in roles.items() if role != "off"}

        def seen(panel: str) -> bool:
            return any(comes_to(unit, panel) for unit in shown)

        def met(entry) -> bool:
            if isinstance(entry, AtLeast):
                return sum(map(met, entry.of)) >= entry.k
            if isinstance(entry, Reached):
                return not (let_go | dead) & {*entry.racks} and (
                    not entry.racks or led(entry.racks))
            return entry not in dead and (self.plant.parts[entry].kind != "panel" or seen(entry))

        return all(map(met, (*function.needs, Reached(function.reached))))

    def lost_after(self, pair: Switchover, fault_ids: Iterable[str]) -> set[str]:
        """Return the functions that are lost once a pair with more faults has settled."""
        pair = pair.copy()
        begin_ms = pair.time_ms
        for each in fault_ids:
            pair.switch_on(each)
        pair.run_for(END_MS)
        dead, let_go = self.dead(pair.faults), self.let_go(pair, begin_ms + SETTLED_MS)
        roles = {unit: role.value for unit, role in pair.snapshot().roles.items()}
        return {name for name, function in self.plant.functions.items()
                if not self.kept(function, dead, let_go, roles)}

    def lost_now(self, rig: Rig, pair: Switchover) -> set[str]:
        """Return the functions that are lost now, or are about to be with outputs held."""
        # of two that reach different racks the one that reaches more leads from the start
        roles = {unit: role.value for unit, role in Switchover(
            self.plant, pair.settings).snapshot().roles.items()}
        for entry in rig.record:
            if entry.what == "role":
                roles[entry.who] = entry.new
        let_go = self.let_go(pair, pair.time_ms)
        if "active" not in roles.values():
            let_go = set(self.plant.racks)
        lost = {name for name, function in self.plant.functions.items()
                if not self.kept(function, self.dead(rig.faults), let_go, roles)}
        held = any(pair.output_history(rack)[-1][1] is Outputs.HELD for rack in self.plant.racks)
        return lost | self.lost_after(pair, ()) if held else lost


def check(judge: Judge, faults: tuple[str, ...], waits_s: tuple[float, ...],
          options: Mapping[str, bool], counts: Counter) -> list[str]:
    """Return what line and engine say differently after some faults."""
    rig = Rig(judge.plant, PairSettings(**options) if options else None)
    pair = rig._pair  # its histories are what the line does not look at
    for each, wait_s in zip(faults, waits_s, strict=True):
        rig.switch_on(each)
        pair.run_for(round(1000 * wait_s))
    state, lost = rig.plant_state(), judge.lost_now(rig, pair)
    label = f"{judge.plant.name}{options or ''}: " + ", ".join(
        f"{each} {wait_s:g} s" for each, wait_s in zip(faults, waits_s, strict=True))
    wrong = []
    for name, works in state.works.items():
        counts["lines"] += 1
        counts["lost"] += not works
        if works == (name in lost):
            wrong.append(f"{label}: {name} {'works' if works else 'is lost'} by the line only")
        if not works and (state.next_failures[name] or state.failures_per_h[name]):
            wrong.append(f"{label}: {name} is lost, and has a next failure or a rate")
    open_ = {name for name, works in state.works.items() if works} - lost
    # what comes to be lost by itself has no next failure
    open_ -= judge.lost_after(pair, ()) if open_ else set()
    if not open_:
        return wrong
    dead = judge.dead(faults)
    stops, parts_of = {}, {}
    for name, ids, parts in judge.failures(dead):
        stops[name], parts_of[name] = judge.lost_after(pair, ids), parts
    for function in open_:
        named = set(state.next_failures[function])
        for name, lost_by in stops.items():
            counts["failures"] += 1
            counts["named"] += name in named
            sooner, *length = name.partition(" longer than ")
            by_one = len(parts_of[name]) > 1 and any(
                function in stops.get("".join((part, *length)), ()) for part in parts_of[name])
            # what stops it sooner has stopped it
            by_sooner = [other for other in itertools.takewhile(name.__ne__, stops)
                         if other.partition(" longer than ")[0] == sooner and function in stops[other]]
            by_one |= bool(by_sooner)
            if name in named and named.intersection(by_sooner):
                wrong.append(f"{label}: {function} is stopped by {name} and sooner by {by_sooner}")
            if name in named and function not in lost_by:
                wrong.append(f"{label}: {function} goes on after {name}, which is named")
            elif name not in named and function in lost_by and not by_one:
                wrong.append(f"{label}: {function} is lost after {name}, which is not named")
    return wrong


def cases(judge: Judge, pairs: int | None, sets: int, seed: int) -> Iterator[tuple]:
    """Yield faults, waits, options: no fault, each, ordered pairs (None: all), random sets."""
    draw, known = random.Random(f"{seed} {judge.plant.name} {judge.plant.version}"), list(judge.faults)
    chosen: list[tuple[str, ...]] = [(), *((each,) for each in known)]
    couples = list(itertools.permutations(known, 2))
    chosen += couples if pairs is None else draw.sample(couples, min(pairs, len(couples)))
    for faults in chosen:
        yield faults, tuple(draw.choice(WAITS_S) for _ in faults), {}
    for _ in range(sets):
        faults = draw.sample(known, draw.randint(2, 4))
        yield tuple(faults), tuple(draw.choice(WAITS_S) for _ in faults), draw.choice(OPTIONS)


def main(arguments: list[str] | None = None) -> int:
    """Compare line and engine; return how many cases differ."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--pairs", type=int, help="ordered pairs of each plant; default: all")
    parser.add_argument("--sets", type=int, default=5000, help="random sets, over all plants")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--plant", default="", help="words in name and version of the plants")
    parser.add_argument("--part", default="1/1", help="i/n: the i-th case of every n")
    given = parser.parse_args(arguments)
    part, parts = map(int, given.part.split("/"))
    found, began_s = 0, time.monotonic()
    every = {f"{plant.name}, {plant.version}": plant for plant in plants()}
    chosen = [plant for name, plant in every.items() if given.plant.lower() in name.lower()]
    if not chosen:
        parser.error(f"--plant must be words of one of: {'; '.join(every)}; got {given.plant!r}")
    for plant in chosen:
        judge, counts, begin_s = Judge(plant), Counter(), time.monotonic()
        drawn = cases(judge, given.pairs, given.sets // len(every), given.seed)
        for case in itertools.islice(drawn, part - 1, None, parts):
            counts["sets"] += 1
            wrong = check(judge, *case, counts)
            found += bool(wrong)
            print(*wrong, sep="\n", end="\n" * bool(wrong), flush=True)
        print(f"{plant.name}, {plant.version}: {dict(counts)}, "
              f"{time.monotonic() - begin_s:.0f} s", flush=True)
    print(f"{found} sets differ, {(time.monotonic() - began_s) / 60:.1f} min")
    return found


if __name__ == "__main__":
    sys.exit(bool(main()))
