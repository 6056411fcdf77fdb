"""The failure-mode table: what can fail, what that does, and who would notice.

Effects on the pair and on the plant come from running the rules, with every unit leading where
that makes a difference. The frame is that of IEC 60812 (how items fail, causes, effects here and
further up, ranking); the classes of severity are ours.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from labkit.plant.plant import Plant
from labkit.plant.wiring import Whole, stops_alone
from labkit.rig.effects import Do, Effect, course_of
from labkit.rig.noticed import FOLK, Notice, notice_of_all
from labkit.rig.rates import rates_of, restored_h, source_of
from labkit.switchover.fault_kinds import MODES, Fault, FaultKind
from labkit.switchover.roles import Outputs, Role
from labkit.wording import HOURS_PER_YEAR, listed
from lessons.papers.basis import Basis, hours, minutes, money, per_year
from lessons.papers.contributions import (
    NOT_TAKEN_OVER,
    Contributions,
    Contributor,
    contributions_of,
)
from lessons.papers.paper import Column, Paper, PaperTable, Section
from lessons.papers.steps import finders, steps_of

LONG_H, SHORT_H = 8.0, 1.0 / 6.0
SEVERITY = (
    ("A1", "a function of the plant is lost for longer than a shift of 8 h"),
    ("A2", "a function of the plant is lost for 10 min to 8 h, or until somebody puts it right"),
    ("A3", "outputs or a function drop out for less than 10 min"),
    ("B", "redundancy is gone and nobody is told"),
    ("C", "redundancy is gone, and it is told"),
    ("D", "nothing is lost yet and nobody is told"),
    ("E", "nothing is lost yet, and it is told"),
)

GROUPS = {
    "controller": "Controllers, as active and as standby", "supply": "Supplies",
    "rack": "Racks and interfaces", "interface": "Racks and interfaces",
    "module": "Racks and interfaces", "sync": "Sync between the units", "link": "Cables",
    "bus": "Cables", "switch": "Cables", "repeater": "View of the operator",
    "panel": "View of the operator", "shared cables": "Shared routes and events",
    "shared parts": "Shared routes and events",
}
COLUMNS = (
    Column("number", "no.", 5.6), Column("item", "item, function\nmode\ncause", 15),
    Column("effects", "effect here\non the pair\non the plant", 22.8),
    Column("notice", "how noticed\nuntil noticed", 11.4), Column("covers", "what covers it", 9.4),
    Column("figures", "how often, source\nrestored in", 10), Column("severity", "sev.", 3.2),
    Column("action", "action", 7.6), Column("status", "status", 5.2), Column("owner", "owner", 5.2),
    Column("due", "due", 4.6),
)
CSV_WORDS = ("number", "designation", "mode", "cause", "here", "pair", "plant", "noticed",
             "until", "covers", "severity", "action", "source")
OPEN = ("status", "owner", "due")
MOST_RANKED = 12


@dataclass(frozen=True)
class _ModeRow:
    """Hold one line of the table before it is put into words.

    `takes` names the failure in the sums of which this is a kind; empty for what is in no sum.
    """

    group: str
    units: tuple[str, ...]
    row: dict[str, str]
    severity: str
    per_year: float
    number: str
    takes: str = ""
    source: str = ""
    state: str = ""
    letter: str = ""
    told: bool = True
    restored_h: float | None = None
    waits_h: float = 0.0
    down_min: Mapping[str, float] = field(default_factory=dict)
    loss: float = 0.0

    @property
    def counted_min(self) -> float:
        """Minutes a year of all functions together, by which rows are ranked."""
        return math.fsum(self.down_min.values())


def failure_modes(basis: Basis) -> Paper:
    """Make the failure-mode table of a plant.

    >>> from labkit.plant.plant import load_plant
    >>> failure_modes(Basis(load_plant("mirelow"), date="2031-05-06")).title
    'Failure-mode table'
    """
    plant = basis.plant
    sums = contributions_of(plant)
    modes = [*_of_faults(basis), *_common(basis), *_beside(basis, sums), *_human(basis)]
    modes = list(_merged(basis, _with_sums(sums, modes)))
    rows: list[dict[str, str]] = []
    for group in dict.fromkeys(mode.group for mode in modes):
        rows.append({"group": group})
        rows += [_on_paper(mode) | ({"loud": "1"} if _hidden(mode) else {})
                 for mode in modes if mode.group == group]
    hidden = [mode for mode in modes if _hidden(mode)]
    sections = [
        Section("Boundaries", points=_boundaries(basis)),
        Section("How to read it", points=(
            "Number: item, then the kind of failure. It stays the same when other items come or "
            "go. Last letter: a on the side of the active unit, s of the standby; u for the share "
            "that goes unnoticed.",
            *(f"Severity {letter}: {words}." for letter, words in SEVERITY),
            "Status, owner and due date are for the review to fill in: open, agreed, done or "
            "accepted, with a name and a day.")),
        Section("First ten", ("By severity, then by how often it comes.",),
                tables=(_first(modes),), short_rows=4),
        *_ranked(basis, modes, sums),
        Section("Shared items, once each, with all that hangs on them",
                tables=(_shared(basis),)),
        Section("Nobody notices: these need a test", (
            "While nobody notices, the fault waits for the next test or the next demand; a second "
            "fault then meets a plant without its cover.",),
            tables=(PaperTable("", (Column("number", "no.", 9),
                                    Column("designation", "designation", 30),
                                    Column("mode", "mode", 18),
                                    Column("action", "test that finds it"),
                                    Column("until", "waits until", 16)),
                          tuple(mode.row for mode in hidden)),)) if hidden else
        Section("Nobody notices: these need a test",
                ("By the rules every fault of this plant shows itself at once.",)),
        Section("The table", (
            "A row says what the fault does by itself, as run by the rules. Where it matters who "
            "leads there are two rows, each with half of the rate. Like parts share a row, with "
            "the rates added. A mark at the left: nobody notices. What people and settings do stands "
            "here only: the sums of down time and money count failures of parts, and no people.",),
            tables=(PaperTable(
                "", COLUMNS, tuple(rows), main=True, small=True,
                csv_columns=tuple(_in_file(basis, modes[0])),
                csv_rows=tuple(_in_file(basis, mode) for mode in modes)),),
            new_page=True),
    ]
    return Paper(
        name="failure_modes", title="Failure-mode table",
        purpose="How each item fails, what that does here, to the pair and to the plant, how it "
                "is noticed, and what has to be done. Nothing is left out for being redundant.",
        facts=basis.facts("failure-mode table"), assumptions=basis.assumptions(), wide=True,
        sections=tuple(sections))


def _on_paper(mode: _ModeRow) -> dict[str, str]:
    """Return the cells of a row in print, where several stand below each other."""
    row = mode.row
    return {
        "number": mode.number, "item": f"{row['designation']}\nmode: {row['mode']}\n"
        f"cause: {row['cause']}",
        "effects": f"here: {row['here']}\npair: {row['pair']}\nplant: {row['plant']}",
        "notice": "\n".join(filter(None, (row["noticed"], row["until"]))),
        "covers": row["covers"], "figures": f"{row['rate']}\n{row['restored']}",
        "severity": row["severity"], "action": row["action"]}


def _in_file(basis: Basis, mode: _ModeRow) -> dict[str, str]:
    """Return the cells of a row in CSV: words, and beside them numbers that can be added up."""
    found = {key: mode.row[key] for key in CSV_WORDS} | {
        "group": mode.group, "failures_per_year": f"{mode.per_year:.6g}",
        "restored_h": "" if mode.restored_h is None else f"{mode.restored_h:.6g}",
        "unnoticed_h": f"{mode.waits_h:.6g}"}
    for name in basis.plant.functions_counted:
        found[f"down_min_per_year: {name}"] = f"{mode.down_min[name]:.6g}" if mode.takes else ""
    found[f"loss_{basis.plant.currency}_per_year"] = f"{mode.loss:.6g}" if mode.takes else ""
    return found | dict.fromkeys(OPEN, "")


def _hidden(mode: _ModeRow) -> bool:
    return not mode.told


# ---------------------------------------------------------------- words for a run


def _on_pair(basis: Basis, effect: Effect) -> str:
    """Say what a run does to the roles."""
    if basis.plant.pair is None:
        unit = next(iter(effect.roles_after), None)
        if unit is None:
            return "no controller is concerned"
        role = effect.roles_after[unit]
        return f"{unit} goes on" if role is Role.ACTIVE else f"nobody leads; {unit} is {role.value}"
    active = [name for name, role in effect.roles_after.items() if role is Role.ACTIVE]
    if len(active) > 1:
        return f"{listed(active)} both lead; racks flap between them"
    if not active:
        return "nobody leads"
    (unit,) = active
    others = [f"{name} {role.value}" for name, role in effect.roles_after.items() if name != unit]
    ready = all(role is Role.STANDBY for name, role in effect.roles_after.items() if name != unit)
    if unit != effect.leader:
        said = f"{unit} takes over" + (
            "" if effect.takeover_ms is None else f" after {effect.takeover_ms} ms")
    elif effect.longest_gap_ms and not effect.gap_open:
        said = f"{unit} leads again after {effect.longest_gap_ms} ms"
    else:
        said = f"{unit} leads on"
    state = listed(others)
    if not ready:
        state += ": no standby"
    elif effect.redundancy_lost:
        state += ", but one more fault could stop the plant"
    elif effect.noticed:
        state += ", ready"
    else:
        state += ", as before"
    return f"{said}; {state}"


def _on_plant(basis: Basis, effect: Effect, breaks: Iterable[str]) -> str:
    """Say what a run does to outputs, functions and process, and what it leaves."""
    said = []
    stay = [rack for rack in effect.outputs_after
            if effect.outputs_after[rack] is Outputs.FAIL_STATE]
    if effect.functions_lost:
        said.append(f"lost: {listed(effect.functions_lost)}")
    if stay:
        said.append(f"outputs in fail state: {listed(stay, 4)}")
    elif effect.worst is Outputs.FAIL_STATE:
        said.append(f"outputs in fail state for {effect.longest_gap_ms} ms")
    elif effect.longest_gap_ms:
        said.append(f"outputs held for {effect.longest_gap_ms} ms")
    if not effect.panel_sees and any(part.kind == "panel" for part in basis.plant.parts.values()):
        said.append("the panel sees nothing")
    if effect.happenings:
        said.append("process: " + ", ".join(f"{each.name} {each.time_s:.0f} s" for each in
                                            _first_of_each(effect.happenings)))
    if breaks:
        healthy, now = _rates(basis, frozenset()), _rates(basis, frozenset(breaks))
        worse = [name for name, rate in now.items()
                 if name not in effect.functions_lost and rate > healthy[name]
                 and per_year(rate) != per_year(healthy[name])]
        # Functions that are only counted are parts of those on the panel, where these are worse.
        for name in [each for each in worse if each in basis.plant.functions] or worse:
            said.append(f"{name} from here lost {per_year(now[name])} instead of "
                        f"{per_year(healthy[name])}")
    return "; ".join(said) or "goes on as before; the next fault decides"


def _first_of_each(happenings):
    found = {}
    for each in happenings:
        found.setdefault(each.name, each)
    return list(found.values())[:4]


def _noticed(basis: Basis, effect: Effect, notice: Notice, told: bool) -> str:
    """Say what shows a fault, or why nobody notices it."""
    if told:
        if notice.who == FOLK:
            return f"by people, as the file says: {notice.by}"
        return "; ".join(filter(None, (notice.by, notice.stated)))
    if effect.noticed:
        return f"not at once; {notice.stated}"
    if effect.happenings:
        return f"not by lamp or alarm; by {notice.by}"
    if any(not basis.plant.stands_idle(name) for name in effect.functions_lost):
        return "not by lamp or alarm; by the outage that it causes"
    return "not at all"


def _time(effect: Effect) -> str:
    if effect.noticed_after_ms is None:
        return ""
    return "at once" if effect.noticed_after_ms == 0 else f"{effect.noticed_after_ms} ms"


def _covers(basis: Basis, effect: Effect, fault: Fault) -> str:
    """Say what keeps the plant going, and until what."""
    if effect.functions_lost:
        return "nothing: repair, spare, running by hand"
    if effect.gap_open:
        return "nothing by itself: take the unit out by hand"
    if not fault.breaks:
        if MODES[fault.mode].passes and effect.worst is Outputs.FAIL_STATE:
            return "it comes back by itself; nothing covers it until then"
        return fault.kind.covers
    new = [each for each in _next(basis, fault.breaks) if each not in _next(basis, frozenset())]
    return f"the rest, until {listed(new, 4, 'or')} fails as well" if new else \
        "the rest; no new single failure stops a function"


def _rates(basis: Basis, breaks: frozenset[str]) -> dict[str, float]:
    """Return how often a year each function is lost from here."""
    key = "rates", breaks
    if key not in basis.memory:
        basis.memory[key] = {
            name: basis.plant.block(name, breaks).failures_per_h * HOURS_PER_YEAR
            for name in basis.plant.functions_counted}
    return basis.memory[key]


def _next(basis: Basis, breaks: frozenset[str]) -> tuple[str, ...]:
    """Return the parts that would stop a function that still works."""
    key = "next", breaks
    if key not in basis.memory:
        plant = basis.plant
        working = [name for name in plant.functions_counted
                   if plant.condition(name, breaks) is not False]
        alone = frozenset().union(*(stops_alone(plant.condition(name, breaks)) for name in working))
        basis.memory[key] = tuple(part for part in plant.parts if Whole(part) in alone)
    return basis.memory[key]


def _severity(effect: Effect, told: bool, lost_h: float | None) -> str:
    """Return the class of severity; of two leaders the worse counts."""
    if _stops(effect):
        return "A2" if lost_h is None else "A1" if lost_h > LONG_H else \
            "A2" if lost_h >= SHORT_H else "A3"
    roles = list(effect.roles_after.values())
    without = len(roles) > 1 and roles.count(Role.STANDBY) < len(roles) - 1
    if effect.redundancy_lost or without:
        return "C" if told else "B"
    return "E" if told else "D"


def _stops(effect: Effect) -> bool:
    return bool(effect.functions_lost or effect.gap_open or effect.worst is Outputs.FAIL_STATE)


def _lost_h(basis: Basis, fault: Fault, effect: Effect, restored_h: float | None
            ) -> float | None:
    """Return for how long a fault by itself takes a function or the outputs; None if unknown."""
    pair = basis.plant.pair
    if pair is not None and fault.unit in pair.units and effect.gap_open:
        return pair.restart_h
    if effect.functions_lost or effect.gap_open:
        return restored_h
    return effect.longest_gap_ms / 3_600_000.0


def _restored(basis: Basis, fault: Fault, effect: Effect) -> tuple[float | None, str]:
    """Return how long it takes to put a fault right, in hours, and in words."""
    plant, pair = basis.plant, basis.plant.pair
    part = plant.parts.get(fault.unit) or plant.shared_events.get(fault.unit)
    if part is None or not _in_sums(basis, fault):
        return None, "when somebody puts it right; in no sum"
    lasts_h = restored_h(plant, fault)
    said = f"{hours(lasts_h)} h"
    if MODES[fault.mode].passes:
        return lasts_h, f"comes back by itself; the sums count {said}"
    if pair is not None and fault.unit in pair.units and effect.gap_open:
        return lasts_h, f"{said}; the other unit by hand in {hours(pair.restart_h)} h"
    return lasts_h, said


# ---------------------------------------------------------------- rows


def _of_faults(basis: Basis) -> Iterator[_ModeRow]:
    rates = rates_of(basis.plant)
    steps, found_by = steps_of(basis), finders(basis)
    by_fault: dict[str, str] = {}
    for step in sorted(steps, key=lambda each: each.effect is None):
        for fault in step.faults:
            by_fault.setdefault(fault, step.number)
    places: dict[str, int] = {}
    for fault in basis.faults.values():
        places[fault.unit] = places.get(fault.unit, 0) + 1
        rate = rates[fault.id] * HOURS_PER_YEAR / len(basis.leaders)
        mode = _Said(_group(basis, fault), (fault.unit,), f"{fault.unit}-{places[fault.unit]}",
                     fault.unit if _in_sums(basis, fault) else "",
                     source_of(basis.plant, fault), found_by.get(fault.id, ()),
                     by_fault.get(fault.id, ""))
        by_leader = [tuple(_told_and_not(basis, mode, fault, basis.effects[fault.id, leader],
                                         basis.notice(fault.id, leader), rate))
                     for leader in basis.leaders]
        if len({tuple(_plain(basis, mode) for mode in modes) for modes in by_leader}) == 1 or \
                {fault.unit} & _beside_the_pair(basis):
            for mode in by_leader[0]:
                yield replace(mode, per_year=mode.per_year * len(by_leader))
            continue
        states = [_state(basis, fault.unit, leader) for leader in basis.leaders]
        if len({*states}) < len(states):
            states = [(f"while {leader} leads", letter)
                      for leader, letter in zip(basis.leaders, "ab", strict=True)]
        for (state, letter), modes in zip(states, by_leader, strict=True):
            for mode in modes:
                yield replace(mode, state=state, letter=letter)


def _in_sums(basis: Basis, fault: Fault) -> bool:
    """Return whether a fault is one of the failures that the plant file counts."""
    event = basis.plant.shared_events.get(fault.unit)
    return fault.kind.share is not None and (event is None or event.mtbf_h is not None)


def _beside_the_pair(basis: Basis) -> set[str]:
    """Return what is no part of either unit or its ways: there it cannot matter who leads."""
    ways = {name for way in basis.plant.lines().values() for name in way}
    return {*basis.plant.parts} - {*basis.plant.controllers} - ways


def _state(basis: Basis, unit: str, leader: str | None) -> tuple[str, str]:
    """Say on which side of the pair a part is while a unit leads, in words and as a letter."""
    if unit in basis.plant.controllers:
        return ("as active", "a") if unit == leader else ("as standby", "s")
    ways = {name for (end, _), way in basis.plant.lines().items() if end == leader for name in way}
    if unit in basis.plant.parts:
        return ("on the way of the active unit", "a") if unit in ways else \
            ("on the way of the standby", "s")
    return f"while {leader} leads", "ab"[basis.leaders.index(leader)]


def _plain(basis: Basis, mode: _ModeRow) -> tuple[str, ...]:
    """Return the texts of a row without names and times, to see whether two say the same."""
    names = sorted({*basis.plant.parts, *basis.plant.shared_events}, key=len, reverse=True)
    pattern = re.compile(r"(?<![\w.])(?:" + "|".join(map(re.escape, names)) + r")(?![\w.])")
    texts = [re.sub(r"\b\d+ (?:s|ms)\b", "#", pattern.sub("@", text))
             for key, text in mode.row.items() if key not in ("designation", "action", "restored")]
    # A step is named for the first of several alike; which one says nothing of the effect.
    kind = basis.plant.parts[mode.units[0]].kind if mode.units[0] in basis.plant.parts else ""
    return (mode.group, mode.severity, mode.source, mode.state, kind,
            mode.row["action"].partition(";")[0].partition(" step")[0], *texts)


def _group(basis: Basis, fault: Fault) -> str:
    if fault.kind.by_people:
        return "People and settings"
    part = basis.plant.parts.get(fault.unit)
    return part and GROUPS.get(part.kind) or GROUPS.get(fault.kind.of, "Field")


class _Said(NamedTuple):
    """Say of a kind of failure what no run can tell: its names, and which steps are for it."""

    group: str
    units: tuple[str, ...]
    number: str
    takes: str
    source: str
    found_by: tuple[str, ...] = ()
    step: str = ""


def _told_and_not(basis: Basis, said: _Said, fault: Fault, run: Effect, notice: Notice,
                  rate: float) -> Iterator[_ModeRow]:
    """Yield a row for what is noticed of a fault, and one for what is not, each with its share."""
    lamps = run.noticed or notice.who == FOLK
    lasts_h, restored = _restored(basis, fault, run)
    for told, share in ((True, notice.share if lamps else 0.0),
                        (False, 1.0 - notice.share if lamps else 1.0)):
        if share > 0:
            severity = _severity(run, told, _lost_h(basis, fault, run, lasts_h))
            if not told and fault.breaks and severity == "D":
                # What is broken unseen is missing as cover, whatever the lamps say.
                severity = "B"
            test_h = _test_interval_h(basis, fault)
            row = {
                "designation": fault.label.partition(": ")[0],
                "mode": fault.how, "cause": fault.kind.cause, "here": fault.kind.here,
                "pair": _on_pair(basis, run), "plant": _on_plant(basis, run, fault.breaks),
                "noticed": _noticed(basis, run, notice, told),
                "until": "when looked at" if told and notice.who == FOLK else
                _time(run) if told else "next test or round" if test_h is None else
                f"test, every {hours(test_h)} h",
                "covers": _covers(basis, run, fault), "severity": severity, "restored": restored,
                "action": _action(fault.kind, severity, told, said.found_by, said.step),
            }
            yield _ModeRow(
                said.group, said.units, row, severity, rate * share, said.number, said.takes,
                said.source, told=told, restored_h=lasts_h,
                waits_h=0.0 if told or test_h is None else test_h / 2.0)


def _test_interval_h(basis: Basis, fault: Fault) -> float | None:
    """Return how often a test finds what nobody notices of a fault; None where none is known."""
    part, pair = basis.plant.parts.get(fault.unit), basis.plant.pair
    if part is not None and not (pair is not None and fault.unit in pair.units):
        return part.test_interval_h
    return None if pair is None else pair.test_interval_h


def _action(kind: FaultKind, severity: str, told: bool, found_by: tuple[str, ...], step: str) -> str:
    if not told:
        if found_by:
            return f"test: step {', '.join(found_by)}"
        if MODES[kind.mode].passes:
            return f"{kind.action or 'ask why it came'}; it passes, so that no test finds it"
        return "add a test that finds it: none of the sheet does"
    do = kind.action or ("spare or second way" if severity[0] == "A" else "repair at once")
    return f"{do}; test: step {step}" if step else f"{do}; rehearse it"


def _common(basis: Basis) -> Iterator[_ModeRow]:
    """Yield the rows of what twins and units have in common, and of takeovers that fail."""
    plant, group, found_by = basis.plant, "Common causes", finders(basis)
    pair = plant.pair
    groups = [(twins.parts, twins.common_cause, twins.source) for twins in plant.twins]
    if pair is not None:
        groups.insert(0, (pair.units, pair.common_cause, pair.source))
    for names, beta, source in groups:
        there = [name for name in names if name in plant.parts]
        if len(there) < 2 or beta <= 0:
            continue
        faults = _outright(basis, there)
        rate = beta * min(plant.parts[name].failure_rate_per_h for name in there) * HOURS_PER_YEAR
        steps = dict.fromkeys(step for each in faults for step in found_by.get(each.id, ()))
        said = _Said(group, tuple(there), f"{there[0]}-C", "+".join(there), source, tuple(steps))
        slowest_h = max(plant.parts[name].mttr_h for name in there)
        tests_h = [_test_interval_h(basis, each) for each in faults]
        for mode in _together(
                basis, said, faults, f"{said.takes} common cause", f"all {faults[0].how}",
                f"{listed(there)} fail together", "same heat, water, surge, program, batch, or the "
                "same hand on the same day", rate, slowest_h):
            apart = "separate supply, cabinet, route; stagger work and program changes"
            yield replace(
                mode, waits_h=0.0 if mode.told else min(filter(None, tests_h), default=0.0) / 2.0,
                row=mode.row | {
                    "action": apart if mode.told else f"{mode.row['action']}; {apart}"})
    if pair is not None and pair.coverage < 1:
        unit = plant.parts[pair.units[0]]
        rate = ((1 - pair.common_cause) * (1 - pair.coverage) * unit.failure_rate_per_h
                * HOURS_PER_YEAR)
        frozen = basis.faults[f"{pair.units[0]}: frozen"]
        run = basis.effects[frozen.id, pair.units[0]]
        both = "+".join(pair.units)
        said = _Said(group, pair.units, f"{pair.units[0]}-T", f"{both} {NOT_TAKEN_OVER}",
                     pair.source)
        (mode,) = _told_and_not(basis, said, frozen, run, basis.notice(frozen.id, pair.units[0]),
                                rate)
        yield replace(mode, restored_h=pair.restart_h, row=mode.row | {
            "designation": f"{both} takeover", "mode": NOT_TAKEN_OVER,
            "cause": "failure not recognised, or the takeover itself fails",
            "here": "the active unit fails and the standby does not lead",
            "restored": f"{hours(pair.restart_h)} h",
            "covers": f"restart by hand, {hours(pair.restart_h)} h",
            "action": "monthly planned switchover; count the good ones from filled test sheets"})


def _outright(basis: Basis, names: Iterable[str]) -> list[Fault]:
    """Return how each of these parts fails outright: the first kind of its faults."""
    return [next(each for each in basis.faults.values() if each.unit == name) for name in names]


def _together(basis: Basis, said: _Said, faults: list[Fault], label: str, how: str, here: str,
              cause: str, rate: float, down_h: float, everybody: str = "") -> Iterator[_ModeRow]:
    """Yield the rows of what takes several parts out at once, from running all their faults.

    `everybody` says by what everybody knows of it; without it the file and the run say who does.
    """
    run = course_of(basis.plant, [Do("on", each.id, wait_s=0.001) for each in faults],
                    basis.settings)
    kind = replace(faults[0].kind, how=how, here=here, cause=cause)
    both = Fault(said.takes, f"{label}: {how}", "",
                 frozenset().union(*(each.breaks for each in faults)), kind)
    notice = Notice(1.0, everybody, FOLK) if everybody else \
        _notice_of_twins(basis.plant, [each.unit for each in faults], run)
    for mode in _told_and_not(basis, said, both, run, notice, rate):
        severity = _severity(run, mode.told, _lost_h(basis, both, run, down_h))
        yield replace(mode, restored_h=down_h, severity=severity, row=mode.row | {
            "restored": f"{hours(down_h)} h", "severity": severity})


def _beside(basis: Basis, sums: Contributions) -> Iterator[_ModeRow]:
    """Yield the rows of planned work and of starts that fail: parts are out that are whole."""
    for place, (name, each) in enumerate(sums.beside.items(), start=1):
        planned = name in {work.name for work in basis.plant.maintenance}
        said = _Said("Planned work and starts", each.parts, f"work-{place}", name, "the file")
        for mode in _together(
                basis, said, _outright(basis, each.parts), name,
                "planned work" if planned else name.rpartition(": ")[2],
                f"{listed(each.parts)} {'are' if len(each.parts) > 1 else 'is'} out",
                "work that is due" if planned else "nothing starts in place of what has failed",
                each.rate_per_h * HOURS_PER_YEAR, each.down_h,
                "whoever does the work" if planned else "what was to start stands"):
            yield replace(mode, row=mode.row | {
                "action": "at a time when it costs least" if planned else
                "try the change of duty each month"})


def _notice_of_twins(plant: Plant, names: list[str], run: Effect) -> Notice:
    """Return how much of a common failure is noticed: as much as in the twin watched best."""
    seen = notice_of_all(run)
    stated = [plant.parts[name].noticed for name in names
              if plant.parts[name].noticed is not None and name not in plant.controllers]
    if len(stated) < len(names) or max(stated) == 1 or not run.noticed:
        return seen
    return replace(seen, share=max(stated), stated="the file: of the twins "
                   f"{100 * max(stated):g} % of the failures are noticed at best")


def _human(basis: Basis) -> Iterator[_ModeRow]:
    """Yield what people do to the pair beside settings: run like any other fault.

    How often: the chance for each repair or test from the plant file, times their number a year.
    """
    plant, pair = basis.plant, basis.plant.pair
    if pair is None:
        return
    active, standby = pair.units
    repairs = sum(plant.parts[unit].failure_rate_per_h for unit in pair.units) * HOURS_PER_YEAR
    tests = HOURS_PER_YEAR / pair.test_interval_h
    cases = (
        ("wrong unit taken out while its partner is repaired",
         [Do("on", f"{standby}: no power")], [Do("on", f"{active}: stopped")],
         {active, standby}, "labels alike, no check before the switch",
         "label both units; two persons; stop word before each switch",
         plant.people.wrong_unit * repairs),
        ("standby left stopped after a repair or test", [], [Do("on", f"{standby}: stopped")],
         {standby}, "way back not signed",
         "sign the return to normal; alarm stays until it is ready",
         plant.people.left_stopped * (repairs + tests)),
    )
    for place, (words, prepared, actions, breaks, cause, action, rate) in enumerate(cases, 1):
        run = course_of(plant, actions, basis.settings, prepared=prepared)
        kind = FaultKind("by hand", words, "stopped", "", "", f"{listed(sorted(breaks))} out",
                         cause)
        fault = Fault("people", f"people: {words}", "", frozenset(breaks), kind)
        said = _Said("People and settings", ("people",), f"people-{place}", "",
                     plant.people.source)
        for mode in _told_and_not(basis, said, fault, run, notice_of_all(run), rate):
            yield replace(mode, row=mode.row | {"action": action})


def _with_sums(sums: Contributions, modes: list[_ModeRow]) -> Iterator[_ModeRow]:
    """Share out what each failure brings among its kinds, by how often and how long they are there.

    What stops a function by itself waits for no test.
    """
    whole: dict[Contributor, float] = {}
    for mode in modes:
        for alone in (True, False):
            member = Contributor(mode.takes, alone)
            whole[member] = whole.get(member, 0.0) + _weight(mode, alone)
    for mode in modes:
        parts = {Contributor(mode.takes, alone): _weight(mode, alone) for alone in (True, False)}

        def mine(brings: Mapping[Contributor, float], parts=parts) -> float:
            return math.fsum(brings.get(member, 0.0) * weight / whole[member]
                             for member, weight in parts.items() if weight > 0)

        yield replace(mode, loss=mine(sums.loss_per_year), down_min={
            name: mine(brings) for name, brings in sums.down_min_per_year.items()})


def _weight(mode: _ModeRow, alone: bool) -> float:
    if not mode.takes:
        return 0.0
    return mode.per_year * (mode.restored_h + (0.0 if alone else mode.waits_h))


def _merged(basis: Basis, modes: Iterable[_ModeRow]) -> Iterator[_ModeRow]:
    """Put rows together that say the same of like parts."""
    groups: dict[tuple, list[_ModeRow]] = {}
    for mode in modes:
        groups.setdefault(_plain(basis, mode), []).append(mode)
    for alike in groups.values():
        first, total = alike[0], sum(each.per_year for each in alike)
        names = list(dict.fromkeys(unit for each in alike for unit in each.units))
        words = first.row["designation"]
        if len(alike) > 1 and len(names) > len(first.units):
            kind = basis.plant.parts[names[0]].kind if names[0] in basis.plant.parts else "alike"
            words = f"{', '.join(names)}: {kind}"
            if any(first.units[0] in text for key, text in first.row.items()
                   if key in ("pair", "plant", "noticed", "covers")):
                words += f" (texts say {first.units[0]})"
        if first.state:
            words += f", {first.state}"
        together = " together" if len(names) > len(first.units) else ""
        number = first.number + first.letter + "u" * (not first.told)
        yield replace(
            first, units=tuple(names), per_year=total, number=number,
            restored_h=max((each.restored_h for each in alike if each.restored_h is not None),
                           default=None),
            loss=math.fsum(each.loss for each in alike),
            down_min={name: math.fsum(each.down_min[name] for each in alike)
                      for name in first.down_min},
            row=first.row | {
                "number": number, "designation": words, "source": first.source,
                "rate": f"{per_year(total)}{together}\n{first.source}"})


# ---------------------------------------------------------------- what stands before the table


def _boundaries(basis: Basis) -> tuple[str, ...]:
    plant = basis.plant
    kinds: dict[str, int] = {}
    for part in plant.parts.values():
        kinds[part.kind] = kinds.get(part.kind, 0) + 1
    inside = listed(f"{count} {kind}" for kind, count in kinds.items())
    pair = f"The pair {listed(plant.pair.units)} with its sync: " \
           f"{listed(plant.pair.sync) or 'no cable named'}." if plant.pair is not None else \
        "There is no pair."
    return (
        f"Inside: the {len(plant.parts)} parts of the file ({inside}), their settings, and what "
        "people do to them as listed.",
        pair,
        "Outside: the public supply, the building, the process machines beyond their parts here, "
        "and hard-wired safety functions, which stay independent.",
        f"Functions that are kept: {listed(plant.functions_counted)}.",
        "One fault at a time, except in the rows of common causes and shared routes.",
    )


def _first(modes: list[_ModeRow]) -> PaperTable:
    order = [letter for letter, _ in SEVERITY]
    ranked = sorted(modes, key=lambda each: (order.index(each.severity), -each.per_year))[:10]
    return PaperTable("", (
        Column("number", "no.", 9), Column("severity", "sev.", 5),
        Column("rate", "rate, source", 14), Column("restored", "restored in", 14),
        Column("designation", "designation", 30), Column("mode", "mode", 13),
        Column("plant", "effect on the plant")), tuple(mode.row for mode in ranked))


def _ranked(basis: Basis, modes: list[_ModeRow], sums: Contributions) -> list[Section]:
    """Return the rows that bring most minutes, and those that cost most, each down to the sum."""
    counted = [mode for mode in modes if mode.takes]
    sections = [Section("What costs most time", (
        "Each outage is shared out in equal parts among the failures that have to come together "
        "for it, so that the columns can be added up. Sorted by the minutes of all functions.",),
        tables=(_ranking(basis, sums, sorted(counted, key=lambda mode: -mode.counted_min)),),
        short_rows=None if sums.loss_per_year else 5)]
    if sums.loss_per_year:
        sections.append(Section(
            "What costs most money", ("The same rows, sorted by money.",), short_rows=5,
            tables=(_ranking(basis, sums, sorted(counted, key=lambda mode: -mode.loss)),)))
    return sections


def _ranking(basis: Basis, sums: Contributions, ranked: list[_ModeRow]) -> PaperTable:
    functions, rest = tuple(sums.down_min_per_year), ranked[MOST_RANKED:]
    rows = [_ranked_row(mode.down_min, mode.loss) | {
        key: mode.row[key] for key in ("number", "designation", "mode")}
        for mode in ranked[:MOST_RANKED]]
    whole = {name: math.fsum(mode.down_min[name] for mode in ranked) for name in functions}
    if rest:
        rows.append({"number": "", "designation": f"{len(rest)} more rows", "mode": ""} | _ranked_row(
            {name: math.fsum(mode.down_min[name] for mode in rest) for name in functions},
            math.fsum(mode.loss for mode in rest)))
    overlap = {name: sums.whole_min_per_year[name] - whole[name] for name in functions}
    loss = math.fsum(mode.loss for mode in ranked)
    rows += [
        {"number": "", "designation": "two causes at once, counted twice above; sets of four and "
         "more", "mode": ""} | _ranked_row(overlap, 0.0),
        {"number": "", "designation": "in all, as the comparison has it", "mode": ""}
        | _ranked_row(sums.whole_min_per_year, loss)]
    return PaperTable("", (
        Column("number", "no.", 8), Column("designation", "designation", 28),
        Column("mode", "mode", 13),
        *(Column(name, f"{name}, min/a", numbers=True) for name in functions),
        Column("loss", f"loss, {basis.plant.currency}/a", numbers=True)), tuple(rows), sums=1)


def _ranked_row(down_min: Mapping[str, float], loss: float) -> dict[str, str]:
    return {name: minutes(value) for name, value in down_min.items()} | {"loss": money(loss)}


def _shared(basis: Basis) -> PaperTable:
    """Return what several things hang on: feeds, shared routes, racks, common ways."""
    plant = basis.plant
    rows = []
    for name, part in plant.parts.items():
        fed = _fed_by(basis, name)
        joined = [other for other in plant.neighbours[name]
                  if part.kind == "rack" and other in plant.parts]
        hanging = fed or (joined if len(joined) > 1 else [])
        if len(hanging) > 1 or part.kind in ("supply", "ups", "repeater", "switch"):
            lost = [each for each in plant.functions_counted
                    if plant.condition(each, {name}) is False]
            rows.append({"name": basis.named(name), "hang": listed(hanging) or
                         listed(plant.neighbours[name]) or "nothing named",
                         "lost": listed(lost) or "none by itself; see the table",
                         "down": f"{hours(part.mttr_h)} h"})
    for event in plant.shared_events.values():
        lost = [each for each in plant.functions_counted
                if plant.condition(each, event.breaks) is False]
        rows.append({"name": f"{event.name} {event.what}", "hang": listed(event.breaks),
                     "lost": listed(lost) or "none by itself; see the table",
                     "down": "" if event.mttr_h is None else f"{hours(event.mttr_h)} h"})
    return PaperTable("", (Column("name", "item", 30), Column("hang", "feeds, carries or joins", 34),
                      Column("lost", "functions lost with it"), Column("down", "MTTR", 8)),
                 tuple(rows))


def _fed_by(basis: Basis, name: str) -> list[str]:
    """Return all that a feed carries, those behind other feeds too."""
    found: list[str] = []
    waiting = [name]
    while waiting:
        feed = waiting.pop()
        for each, part in basis.plant.parts.items():
            if feed in part.fed_by and each not in found:
                found.append(each)
                waiting.append(each)
    return found
