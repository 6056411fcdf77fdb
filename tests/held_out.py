"""Plants that nobody has seen: drawn at random, and held to one truth in all that speaks of them.

    python -m tests.held_out                         200 plants, 3 sets of faults each
    python -m tests.held_out --plants 20 --seed 7    others

A plant is drawn from what plants have: one controller or a pair, feeds doubled or not, mains and a
battery, racks on links of their own, in a chain, on one bus or on a ring, a rack led by others,
twins and votes, a third voter, changeovers, panels and servers. Each is written as a file and has to
pass the check; then these have to agree:

* the line of the state and the engine (`tests.line_and_engine`);
* the sets of one and two failures that stop a function, found from the file by trying every one
  with a walk of our own, and those of the plant; and the sums over them, by hand, and the exact ones;
* what the rig shows of each fault, and the share of it that the sums hide;
* what the card says after a fault, and what the failure-mode table says of it;
* the parts of the sums in the papers, the comparison, and the failure-mode table;
* each step of the test sheet that must find a fault, and what comes of it in the engine; its limit
  of the gap, and the gaps with clocks of other phases;
* the fault finding: under the signs of a fault that fault is a suspect.
"""

from __future__ import annotations

import argparse
import csv
import io
import itertools
import math
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from labkit.plant.causes import causes_of, meeting, modes_of
from labkit.plant.file_check import check_file
from labkit.plant.plant import Plant, load_plant
from labkit.plant.plant_data import AtLeast, Reached
from labkit.plant.variants import compare_variants, losses
from labkit.rig.effects import Do, course_of, effect_of
from labkit.rig.finder import FaultFinder
from labkit.rig.headline import battery_words
from labkit.rig.rates import weight_of
from labkit.rig.rig import Rig
from lessons.papers.basis import Basis, per_year
from lessons.papers.contributions import contributions_of
from lessons.papers.failure_modes import failure_modes
from lessons.papers.mode_words import on_plant
from lessons.papers.steps import finders, steps_of
from tests.line_and_engine import OPTIONS, WAITS_S, Judge, check

YEAR_MIN = 525_600.0


# ---------------------------------------------------------------- drawing a plant


def drawn_file(seed: int) -> str:
    """Return the text of a plant file drawn at random."""
    draw, later = random.Random(f"plant {seed}"), random.Random(f"later {seed}")
    parts: list[dict] = []
    tables: list[tuple[str, dict]] = []

    def chance(share: float) -> bool:
        return draw.random() < share

    def put(name: str, kind: str, what: str = "", **keys) -> str:
        hours = {"controller": (40_000, 90_000), "pump": (15_000, 40_000), "panel": (30_000, 60_000),
                 "server": (30_000, 60_000), "mains": (5_000, 15_000)}.get(kind, (90_000, 400_000))
        parts.append({"designation": name, "what": what or kind, "kind": kind,
                      "mtbf_h": draw.randrange(*hours, 1000), "mttr_h": draw.choice((2, 3, 4, 6, 8)),
                      "place": draw.choice(("hall", "cellar", "yard"))} | keys)
        return name

    def twins(names: list[str]) -> None:
        if chance(0.6):
            tables.append(("twins", {"parts": names, "common_cause": draw.choice((0.03, 0.05, 0.1))}))

    paired, ring = chance(0.75), chance(0.35)
    units = ["KF1", "KF2"] if paired else ["KF1"]
    mains = [put("QA1", "mains")] if chance(0.3) else []
    ups = [put("GB1", "ups", fed_by=mains, **({"battery_h": draw.choice((0.5, 1, 4))}
               if mains and chance(0.7) else {}))] if mains or chance(0.4) else []
    doubled = chance(0.5)
    feeds = [put("TB1", "supply", fed_by=ups)]
    if doubled:
        other = mains if mains and chance(0.5) else []
        feeds.append(put("TB2", "supply", **({"fed_by": other} if other else {})))
    for number, unit in enumerate(units):
        own = feeds if len(feeds) == 1 or chance(0.5) else [feeds[number % 2]]
        put(unit, "controller", fed_by=own)
    if paired:  # the pair is alike
        first, second = (each for each in parts if each["kind"] == "controller")
        second |= {key: first[key] for key in ("mtbf_h", "mttr_h")}
        sync = [put(f"WF{9 - n}", "cable", joins=units) for n in range(1 + chance(0.3))]
        tables.append(("pair", {
            "units": units, "sync": sync, "common_cause": draw.choice((0.02, 0.05, 0.1)),
            "coverage": draw.choice((0.9, 0.97, 0.99, 1.0)) * (random.Random(f"by hand {seed}").random() > 0.15),
            "diagnosed": draw.choice((0.8, 0.9, 1.0)),
            "test_interval_h": draw.choice((2190, 4380, 8760)), "restart_h": 0.5,
            "restart_succeeds": later.choice((1.0, 0.8)), "standby_ratio": later.choice((1.0, 0.5, 0.0))}))
        if later.random() < 0.2:
            put("KV1", "voter", **({"fed_by": [later.choice(feeds + ups + mains)]}
                                   if later.random() < 0.7 else {}))
    racks = [f"KF{10 * n}" for n in range(1, 2 + draw.randrange(2))]
    switches: list[str] = []
    if ring or chance(0.3):
        fed = {"fed_by": feeds} if chance(0.5) else {}
        switches = [put(f"KS{n}", "switch", **fed)
                    for n in range(1, 1 + (draw.choice((3, 4)) if ring else 1))]
        for n, unit in enumerate(units):
            put(f"WC{n + 1}", "cable", joins=[unit, switches[n % len(switches)]])
        if ring:
            for n, (one, two) in enumerate(zip(switches, [*switches[1:], switches[0]], strict=True)):
                put(f"WR{n + 1}", "cable", joins=[one, two])
        for n, rack in enumerate(racks):
            put(f"{rack}A", "interface", joins=[switches[(n + 2) % len(switches)], rack])
            put(rack, "rack")
    elif paired and later.random() < 0.3:  # one way from unit to unit through all racks
        ends = ["KF1", *(f"{rack}A" for rack in racks), "KF2"]
        for n, both in enumerate(itertools.pairwise(ends), start=1):
            put(f"WB{n}", "cable", joins=list(both))
        for rack in racks:
            put(f"{rack}A", "interface", joins=[rack])
            put(rack, "rack")
    else:
        for rack in racks:
            for letter, unit in zip("AB", units, strict=False):
                put(f"W{unit[-1]}.{rack[2:]}", "cable", joins=[unit, f"{rack}{letter}"])
                put(f"{rack}{letter}", "interface", joins=[rack])
            put(rack, "rack")
            if paired:
                twins([f"{rack}A", f"{rack}B"])
    needs: list = []
    for rack in racks:
        count = draw.choice((1, 1, 2, 3))
        names = [put(f"BL{rack[2]}{n}", "sensor", joins=[rack], **(
            {"noticed": draw.choice((0.6, 1.0)), "noticed_note": "compared"} if chance(0.3) else {}))
            for n in range(1, 1 + count)]
        if count > 1:
            twins(names)
        needs.append(names[0] if count == 1 else {"at_least": count - 1, "of": names})
    if chance(0.6):
        count = draw.choice((2, 3))
        names = [put(f"GP{n}", "pump", joins=[racks[0]], **(
            {"fed_by": mains} if mains and count == 2 else {})) for n in range(1, 1 + count)]
        needs.append({"at_least": count - 1, "of": names})
        if chance(0.5):
            tables.append(("changeover", {"name": "pumps", "parts": names, "running": count - 1,
                                          "starts": 0.98, "by_hand_h": 0.5, "every_h": 336}))
    functions = [{"name": "process kept", "reached": racks, "needs": needs}]
    if len(racks) > 1 and chance(0.4):
        functions.append({"name": "first rack kept", "reached": racks[:1], "needs": [needs[0]]})
    if chance(0.7):
        names = []
        for n in range(1, 2 + chance(0.4)):
            at = switches[n % len(switches)] if switches else draw.choice(units)
            bus = put(f"WH{n}", "cable", joins=[at])
            if chance(0.4):
                bus = put(f"WG{n}", "cable", joins=[put(f"TF{n}", "repeater", joins=[bus])])
            names.append(put(f"PH{n}", "panel", joins=[bus]))
        function = {"name": "seen", "needs": names if len(names) == 1 else [
            {"at_least": 1, "of": names}]}
        if chance(0.5):
            servers = [put(f"CS{n}", "server", noticed=1.0, noticed_note="watched by the other")
                       for n in (1, 2)]
            function["needs"] = [*function["needs"], {"at_least": 1, "of": servers}]
        functions.append(function)
    cables = [each["designation"] for each in parts if each["designation"].startswith(("W1.", "W2."))]
    if len(cables) > 1 and chance(0.5):
        tables.append(("shared_event", {
            "name": "duct", "what": "cables in one duct", "breaks": draw.sample(cables, 2),
            "mtbf_h": 2_000_000, "mttr_h": 12}))
    if chance(0.3):
        tables.append(("maintenance", {"name": "rack cleaned", "parts": racks[:1], "every_h": 8760,
                                       "takes_h": 1}))
    if chance(0.4):
        beside = [put(f"KF{n}", "controller", fed_by=feeds) for n in range(3, 4 + chance(0.5))]
        put("KF50", "rack")
        for unit in beside:
            put(f"W{unit[2:]}.50", "cable", joins=[unit, "KF50"])
        if len(beside) > 1:
            twins(beside)
        functions.append({"name": "lights kept", "reached": ["KF50"], "by": beside})
    tables += [("function", each) for each in functions]
    tables.append(("costs", {"currency": "EUR"}))
    tables.append(("costs.step", {"name": "standstill", "function": "process kept",
                                  "longer_than_min": draw.choice((0, 20, 120)), "cost": 500,
                                  "cost_per_h": 100}))
    head = {"name": f"Plant {seed}", "about": "Drawn at random.", "data": "invented"}
    return "\n".join(("format = 1", _table("plant", head), *(
        _table("part", each) for each in parts), *itertools.starmap(_table, tables)))


def _table(name: str, keys: dict) -> str:
    single = name in ("plant", "pair", "costs")
    lines = [f"\n[{name}]" if single else f"\n[[{name}]]"]
    return "\n".join([*lines, *(f"{key} = {_value(value)}" for key, value in keys.items()
                                if value != [] or key == "needs")])


def _value(value) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_value(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return f"[{', '.join(map(_value, value))}]"
    return f'"{value}"' if isinstance(value, str) else str(value)


# ---------------------------------------------------------------- a model of our own


class Model:
    """Know from a plant file what stops its functions, by a walk of its own over the wires."""

    def __init__(self, plant: Plant):
        self.plant = plant
        self.parts = plant.parts

    def dead(self, gone: frozenset[str]) -> set[str]:
        """Return what is dead, batteries empty."""
        dead = set(gone)
        while True:
            more = {name for name, part in self.parts.items()
                    if name not in dead and part.fed_by and dead.issuperset(part.fed_by)}
            if not more:
                return dead
            dead |= more

    def comes_to(self, unit: str, goal: str, dead: set[str]) -> bool:
        """Return whether signals pass from a unit to a part, step by step from neighbour to next."""
        seen, waiting = {unit}, [unit]
        while waiting:
            here = waiting.pop()
            for name, part in self.parts.items():
                if name in seen or name in dead or not (
                        name in self.parts[here].joins or here in part.joins):
                    continue
                if name == goal:
                    return True
                if part.kind in ("cable", "interface", "repeater", "switch"):
                    seen.add(name)
                    waiting.append(name)
        return False

    def works(self, function: str, gone: frozenset[str], at_once: bool = False) -> bool:
        """Return whether a function works while some parts are broken for long."""
        dead, wanted = self.dead(gone), self.plant.functions_counted[function]

        units = [unit for unit in wanted.by or self.plant.controllers
                 if unit in self.parts and unit not in dead]

        reach = {unit: {rack for rack in self.plant.racks if rack not in dead
                        and self.comes_to(unit, rack, dead)} for unit in units}
        # of two that reach different racks only the one that reaches more leads, on a tie either
        if at_once and len(units) == 2 and not wanted.by and all(
                reach[one] - reach[other] for one, other in itertools.permutations(units)):
            most = max(map(len, reach.values()))
            return all(self.works(function, gone | {*units} - {unit})
                       for unit in units if len(reach[unit]) == most)

        def agreed() -> bool:
            """Return whether a unit of the pair has two votes of three, where there is a voter."""
            voters = {name for name, part in self.parts.items() if part.kind == "voter"}
            return not voters or not voters <= dead or (dead.isdisjoint(self.plant.pair.units)
                                                        and not dead.issuperset(self.plant.pair.sync))

        def met(entry, leader) -> bool:
            if isinstance(entry, AtLeast):
                return sum(met(each, leader) for each in entry.of) >= entry.k
            if isinstance(entry, Reached):
                # of a pair one leads all racks; panels hang on both, each on one of them
                if not wanted.by and len(entry.racks) > 1 and "panel" in {
                        self.parts[name].kind for name in entry.racks}:
                    racks = tuple(name for name in entry.racks if self.parts[name].kind == "rack")
                    return all(met(Reached(names), leader) for names in (racks, *(
                        (name,) for name in entry.racks if name not in racks)) if names)
                one = not wanted.by and any(self.parts[name].kind == "rack" for name in entry.racks)
                return dead.isdisjoint(entry.racks) and any(
                    all(rack in reach[unit] if rack in self.plant.racks else
                        self.comes_to(unit, rack, dead) for rack in entry.racks)
                    and (not one or agreed()) for unit in (units if not one else {leader} & {*units}))
            return entry not in dead

        reached = [Reached(wanted.reached)] if wanted.reached else []
        return any(all(met(each, leader) for each in (*wanted.needs, *reached))
                   for leader in units or [None])

    @cache
    def singles(self, function: str) -> dict[str, frozenset[str]]:
        """Return by name the single failures that a function can meet, with what each breaks."""
        found = {name: frozenset({name}) for name in self.parts}
        found |= {_plain(each.name): frozenset(each.parts) for each in self.plant.twins}
        found |= {each.name: frozenset(each.breaks) for each in self.plant.shared_events.values()}
        found |= {each.name: frozenset(each.parts) for each in self.plant.maintenance}
        for each in self.plant.changeovers:
            found |= {name: frozenset(each.parts) for name in each.failing}
        if self.plant.pair:
            found["+".join(self.plant.pair.units)] = frozenset(self.plant.pair.units)
        return found

    def sets(self, function: str) -> set[frozenset[str]]:
        """Return the minimal sets of one or two of these failures that stop a function."""
        singles = self.singles(function)
        alone = {name for name, gone in singles.items() if not self.works(function, gone, True)}
        return {frozenset({name}) for name in alone} | {
            frozenset(both) for both in itertools.combinations(sorted(singles.keys() - alone), 2)
            if not self.works(function, singles[both[0]] | singles[both[1]])}


def _plain(failure: str) -> str:
    """Return what a failure is of, without its length and without how twins have it in common."""
    return failure.partition(" longer than ")[0].partition(" common cause")[0]


def wrong_sets(plant: Plant) -> Iterator[str]:
    """Yield where the sets that stop a function are not those of our own walk."""
    model, units = Model(plant), plant.pair.units if plant.pair else ()
    for function in plant.functions_counted:
        sets = model.sets(function)
        # where one unit is enough for it, both together are nothing more
        sets -= {names for names in sets for unit in units
                 if "+".join(units) in names and names - {"+".join(units)} | {unit} in sets}
        ours = {names for names in sets if _can_come(plant, function, names)}
        theirs = set()
        for mode in modes_of(plant, function, largest=2):
            names = set(map(_plain, mode.failures))
            if mode.unit_out:
                names.add(mode.unit_out)
            if mode.pair_state:
                names.add("+".join(plant.pair.units))
            if len(names) == mode.size and not any(" from " in name or " up to " in name
                                                   for name in mode.failures):
                theirs.add(frozenset(names))
        # a standby that somebody has to start: what cuts off one unit by itself
        if plant.started_by_hand and all(model.works(function, frozenset({unit})) for unit in units) and any(
                not model.works(function, gone | {unit}) and model.works(function, gone, True)
                and not {*units} & gone for gone in model.singles(function).values() for unit in units):
            ours.add(frozenset({plant.way_lost}))
        # states of the pair in which nobody leads are there beside one unit that is out
        theirs -= {names for names in theirs for unit in units
                   if "+".join(units) in names and names - {"+".join(units)} | {unit} in theirs}
        if ours != theirs:
            yield (f"{function}: stopped by our walk only {sorted(map(sorted, ours - theirs))}, by the "
                   f"plant only {sorted(map(sorted, theirs - ours))}")


def _can_come(plant: Plant, function: str, names: frozenset[str]) -> bool:
    """Return whether no smaller failure of the same parts stands for a set.

    What twins have in common counts where at least two of them matter; the failures of two units of
    a pair by themselves are states of the pair.
    """
    known = set(map(_plain, plant.single_failures(plant.condition(function))))
    units = set(plant.pair.units) if plant.pair else set()
    together = "+".join(plant.pair.units) if plant.pair else ""
    return all(name in known | units | {together} for name in names) and names != units


# ---------------------------------------------------------------- what has to agree


def wrong_sums(plant: Plant) -> Iterator[str]:
    """Yield where parts of a sum, the exact sum and the comparison differ."""
    shared, (outcome, *_) = contributions_of(plant), compare_variants(plant)
    table = [row for row in csv.DictReader(io.StringIO(failure_modes(
        Basis(plant, date="2031-05-06")).csv())) if row["kind"] == "row"]
    for function, exact_min in outcome.down_min_per_year.items():
        causes = causes_of(plant, function)
        causes_min = math.fsum(each.down_min_per_year for each in causes)
        left = meeting(plant, function, causes)
        for what, found, exact in (
                ("minutes of causes", causes_min + left.down_min_per_year, exact_min),
                ("outages of causes", left.outages_per_year + math.fsum(
                    each.outages_per_year for each in causes), outcome.outages_per_year[function]),
                ("rows", math.fsum(float(row[f"down_min_per_year: {function}"] or 0)
                                   for row in table), exact_min)):
            if not math.isclose(found, exact, rel_tol=1e-5, abs_tol=1e-12):
                yield f"{function}: {what} and what is left of them {found:.9g}, exact {exact:.9g}"
        # what overlaps is counted for each cause: at most the share of time down, twice
        most = 1 + 2e-4 + 2 * exact_min / YEAR_MIN
        for what, found in (
                ("causes", causes_min),
                ("shares", math.fsum(shared.down_min_per_year[function].values()))):
            if not exact_min * (1 - 1e-4) <= found <= exact_min * most:
                yield f"{function}: {what} {found:.6g} min a year, exact {exact_min:.6g}"
        if not math.isclose(plant.state().healthy_failures_per_h.get(
                function, outcome.outages_per_year[function] / 8760) * 8760,
                outcome.outages_per_year[function], rel_tol=1e-12):
            yield f"{function}: outages of the line and of the comparison differ"
    loss = math.fsum(each.loss_per_year for each in losses(plant))
    for what, found in (("shares", shared.whole_loss_per_year),
                        ("comparison", outcome.loss_per_year),
                        ("rows", math.fsum(float(row[f"loss_{plant.currency}_per_year"] or 0) for row in table))):
        if not math.isclose(found, loss, rel_tol=1e-5, abs_tol=1e-9):
            yield f"loss by {what} {found:.6g}, by causes {loss:.6g}"


def wrong_notice(plant: Plant) -> Iterator[str]:
    """Yield where a share noticed is not what runs of the faults show."""
    faults = Judge(plant).faults.values()
    for name, part in plant.parts.items():
        if part.noticed is not None:
            continue
        units = plant.controllers
        leaders = [unit for unit in units if unit != name] if plant.pair else list(units)
        seen = whole = 0.0
        for fault in faults:
            if fault.unit == name and fault.breaks:
                weight = weight_of(plant, fault)
                whole += weight
                runs = [effect_of(plant, fault.id, leader=leader) for leader in leaders or [None]]
                seen += weight * sum(bool(run.lamps or run.alarms or run.happenings)
                                     for run in runs) / len(runs)
        if whole and not math.isclose(plant.share_noticed(name), seen / whole, abs_tol=1e-9):
            yield f"{name}: {plant.share_noticed(name):g} noticed in the sums, {seen / whole:g} by runs"


def wrong_steps(plant: Plant, draw: random.Random) -> Iterator[str]:
    """Yield steps of the test sheet that do not come out, and hidden faults that no step finds."""
    basis = Basis(plant, date="2031-05-06")
    steps = {step.number: step for step in steps_of(basis)}
    for step in steps.values():
        if step.effect is None or step.gap_limit_ms is None:
            continue
        again = course_of(plant, step.effect.actions, prepared=step.prepared,
                          leader=step.effect.leader, seed=draw.randrange(1000))
        # the limit of a fail state is how soon it comes, not how long it lasts
        if step.type != "fail state" and not step.effect.gap_open and again.longest_gap_ms > step.gap_limit_ms:
            yield (f"step {step.number}: a gap of {again.longest_gap_ms} ms, at most "
                   f"{step.gap_limit_ms} allowed")
        if again.after.roles != step.effect.after.roles:
            yield f"step {step.number}: other roles with clocks of other phases"
    for fault, found in finders(basis).items():
        if not found and basis.faults[fault].breaks and any(
                basis.notice(fault, leader).share < 1 and not basis.effects[fault, leader].noticed
                for leader in basis.leaders):
            yield f"no step finds {fault}, which nobody notices"
        for number in found:
            step = steps[number]
            if step.type == "check":
                if fault not in step.faults:
                    yield f"step {number} is named for {fault} and does not look for it"
            elif step.effect is not None and basis.faults[fault].mode != "not tracking":
                judged = course_of(plant, step.effect.actions, prepared=(
                    Do("on", fault), *step.prepared), leader=step.effect.leader)
                if (judged.after.roles, judged.after.alarms, judged.outputs_worst) == (
                        step.effect.after.roles, step.effect.after.alarms,
                        step.effect.outputs_worst) and judged.lamps_after == step.effect.lamps_after:
                    yield f"step {number} is named for {fault} and comes out as ever"


def wrong_suspects(plant: Plant, draw: random.Random) -> Iterator[str]:
    """Yield faults that show something and are no suspects under these very signs."""
    finder = FaultFinder(plant)
    healthy = {run.leader: run.signs for run in finder.runs if run.fault is None}
    causes = [run for run in finder.runs if run.weight > 0 and run.signs != healthy[run.leader]]
    for run in draw.sample(causes, min(12, len(causes))):
        suspects = {each.cause for each in finder.suspects(dict(run.signs), least_share=0.0)}
        if run.cause not in suspects:
            yield f"{run.cause} is no suspect under the signs that it shows"


def wrong_card(plant: Plant, draw: random.Random) -> Iterator[str]:
    """Yield where the words of a paper after a fault are not those of the card."""
    basis = Basis(plant, date="2031-05-06")
    known = [each for each in basis.faults.values() if each.breaks]
    for fault in draw.sample(known, min(8, len(known))):
        rig, leader = Rig(plant), draw.choice(basis.leaders)
        rig.wait(5)
        if leader is not None and rig.snapshot().roles[leader].value != "active":
            if plant.started_by_hand:
                rig.switch_on(f"{plant.pair.units[0]}: stopped")
                rig.switch_off(f"{leader}: stopped")
            else:
                rig.request_role_change()
            rig.wait(5)
        rig.switch_on(fault.id)
        rig.wait(60)
        state, words = rig.plant_state(), on_plant(basis, basis.effects[fault.id, leader], fault.breaks)
        for name, works in state.works.items():
            after_h = state.lost_after_h.get(name)
            if after_h is not None:
                said = any(name in each for each in words.split("; ")
                           if each.startswith(battery_words(after_h)))
            elif not works:
                said = any(name in each for each in words.split("; ") if each.startswith("lost: "))
            else:
                now, healthy = (per_year(8760 * each[name]) for each in (
                    state.failures_per_h, state.healthy_failures_per_h))
                said = now == healthy or state.failures_per_h[name] < state.healthy_failures_per_h[
                    name] or f"{name} from here lost {now} instead of {healthy}" in words
            if not said:
                yield f"{name} after {fault.id}, {leader} leading: the paper says {words!r}"


def wrong_line(plant: Plant, draw: random.Random, sets: int, counts: Counter) -> Iterator[str]:
    """Yield what line and engine say differently, healthy and after some sets of faults."""
    judge = Judge(plant)
    known = list(judge.faults)
    for size in (0, *(draw.randint(1, 4) for _ in range(sets))):
        faults = draw.sample(known, min(size, len(known)))
        yield from check(judge, tuple(faults), tuple(draw.choice(WAITS_S) for _ in faults),
                         draw.choice(OPTIONS) if size else {}, counts)


def contradictions(seed: int, sets: int, counts: Counter, folder: Path) -> Iterator[str]:
    """Yield all that contradicts itself of the plant of a seed."""
    path, draw = folder / f"plant_{seed}.toml", random.Random(f"faults {seed}")
    path.write_text(drawn_file(seed), encoding="utf-8")
    errors = [each for each in check_file(path) if each.severity == "error"]
    if errors:
        yield f"the check refuses it: {errors[0]}"
        return
    plant = load_plant(path)
    counts["parts"] += len(plant.parts)
    for kind, found in (
            ("line", wrong_line(plant, draw, sets, counts)), ("sets", wrong_sets(plant)),
            ("sums", wrong_sums(plant)), ("notice", wrong_notice(plant)),
            ("card", wrong_card(plant, draw)), ("steps", wrong_steps(plant, draw)), ("suspects", wrong_suspects(plant, draw))):
        yield from (f"{kind}: {each}" for each in found)


def main(arguments: list[str] | None = None) -> int:
    """Hold plants to one truth; return how many contradict themselves."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--plants", type=int, default=200)
    parser.add_argument("--sets", type=int, default=3, help="sets of faults for each plant")
    parser.add_argument("--seed", type=int, default=1, help="of the first plant")
    given = parser.parse_args(arguments)
    found, counts, begin_s = 0, Counter(), time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(given.seed, given.seed + given.plants):
            wrong = list(contradictions(seed, given.sets, counts, Path(folder)))
            found += bool(wrong)
            for each in wrong:
                print(f"plant {seed}: {each}", flush=True)
    print(f"{found} of {given.plants} plants contradict themselves; {dict(counts)}, "
          f"{time.monotonic() - begin_s:.0f} s")
    return found


if __name__ == "__main__":
    sys.exit(bool(main()))
