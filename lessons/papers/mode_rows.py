"""The rows of the failure-mode table: how each item fails, how often, who would notice."""

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from labkit.plant.plant import Plant
from labkit.plant.plant_data import Tested
from labkit.rig.effects import Do, Effect, course_of
from labkit.rig.noticed import FOLK, Notice, notice_of_all
from labkit.rig.rates import rates_of, source_of
from labkit.switchover.fault_kinds import MODES, Fault, FaultKind
from labkit.wording import HOURS_PER_YEAR, listed
from lessons.papers import mode_words
from lessons.papers.basis import Basis, per_year, rounded, tested_every
from lessons.papers.contributions import NOT_TAKEN_OVER, Contributions, Contributor
from lessons.papers.paper import texts
from lessons.papers.steps import finders, steps_of


@dataclass(frozen=True)
class ModeRow:
    """Hold one line of the table before it is put into words.

    First stands what no run can tell: its names, how often it comes, and which steps are for it.
    `takes` names the failure in the sums of which this is a kind; empty for what is in no sum.
    """

    group: str
    units: tuple[str, ...]
    number: str
    per_year: float
    takes: str = ""
    source: str = ""
    found_by: tuple[str, ...] = ()
    step: str = ""
    row: Mapping[str, str] = field(default_factory=dict)
    severity: str = ""
    state: str = ""
    letter: str = ""
    told: bool = True
    restored_h: float | None = None
    waits_h: float = 0.0
    down_min: Mapping[str, float] = field(default_factory=dict)
    loss: float = 0.0


def _of_faults(basis: Basis) -> Iterator[ModeRow]:
    rates = rates_of(basis.plant)
    steps, found_by = steps_of(basis), finders(basis)
    # The first step that runs it counts, then the first that looks for it.
    by_fault = {fault: step.number for step in sorted(
        reversed(steps), key=lambda each: each.effect is not None) for fault in step.faults}
    places: dict[str, int] = {}
    for fault in basis.faults.values():
        places[fault.unit] = places.get(fault.unit, 0) + 1
        rate = rates[fault.id] * HOURS_PER_YEAR / len(basis.leaders)
        mode = ModeRow(_group(basis, fault), (fault.unit,), f"{fault.unit}-{places[fault.unit]}", rate,
                       fault.unit if mode_words.in_sums(basis, fault) else "",
                       source_of(basis.plant, fault), found_by.get(fault.id, ()),
                       by_fault.get(fault.id, ""))
        by_leader = [tuple(_told_and_not(basis, mode, fault, basis.effects[fault.id, leader],
                                         basis.notice(fault.id, leader)))
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


def _plain(basis: Basis, mode: ModeRow) -> tuple[str, ...]:
    """Return the texts of a row without names and times, to see whether two say the same."""
    texts = [re.sub(r"(?<=@) [AB]\b|\b\d+ (?:s|ms)\b", "", basis.designations.sub("@", text))
             for key, text in mode.row.items() if key not in ("designation", "action", "restored")]
    # A step is named for the first of several alike; which one says nothing of the effect.
    kind = basis.plant.parts[mode.units[0]].kind if mode.units[0] in basis.plant.parts else ""
    return (mode.group, mode.severity, mode.source, mode.state, kind,
            mode.row["action"].partition(";")[0].partition(" step")[0], *texts)


def _group(basis: Basis, fault: Fault) -> str:
    if fault.kind.by_people:
        return "People and settings"
    part = basis.plant.parts.get(fault.unit)
    groups = texts()["group"]
    return part and groups.get(part.kind) or groups.get(fault.kind.of, "Field")


def _told_and_not(basis: Basis, mode: ModeRow, fault: Fault, run: Effect, notice: Notice
                  ) -> Iterator[ModeRow]:
    """Yield a row for what is noticed of a fault, and one for what is not, each with its share."""
    lamps = run.noticed or notice.who == FOLK
    restored_h, restored = mode_words.repair_of(basis, fault, run)
    for told, share in ((True, notice.share if lamps else 0.0),
                        (False, 1.0 - notice.share if lamps else 1.0)):
        if share > 0:
            severity = mode_words.severity_of(
                basis, fault, run, told, mode_words.lost_h(basis, fault, run, restored_h))
            if not told and fault.breaks and severity == "D":
                # What is broken unseen is missing as cover, whatever the lamps say.
                severity = "B"
            tested = _tested(basis, fault)
            # In the sums too an outage of a function that is asked for all the time shows its cause.
            found = not told and any(
                basis.plant.condition(name, fault.breaks) is False
                for name in run.functions_lost if not basis.plant.stands_idle(name))
            row = {
                "designation": fault.label.partition(": ")[0],
                "mode": fault.how, "cause": fault.kind.cause, "here": fault.kind.here,
                "pair": mode_words.on_pair(basis, run),
                "plant": mode_words.on_plant(basis, run, fault.breaks),
                "noticed": mode_words.noticed_words(basis, fault, run, notice, told),
                "until": "when looked at" if told and notice.who == FOLK else
                mode_words.time_words(run) if told else "as soon as the outage is seen" if found else
                "it has passed" if MODES[fault.mode].passes and not mode.found_by else
                "next test or round" if tested is None else
                f"test, {tested_every(tested)}",
                "covers": mode_words.covers(basis, run, fault),
                "severity": severity, "restored": restored,
                "action": _action(fault.kind, severity, told, mode.found_by, mode.step),
            }
            yield replace(mode, row=row, severity=severity, per_year=mode.per_year * share, told=told,
                          restored_h=restored_h,
                          waits_h=0.0 if told or found or tested is None else tested.unseen_h)


def _tested(basis: Basis, fault: Fault) -> Tested | None:
    """Return what says how often a test finds what nobody notices of a fault; None if nothing does."""
    part, pair = basis.plant.parts.get(fault.unit), basis.plant.pair
    return pair if part is None or pair is not None and fault.unit in pair.units else part


def _action(kind: FaultKind, severity: str, told: bool, found_by: tuple[str, ...], step: str) -> str:
    if not told:
        if found_by:
            return f"test: step {', '.join(found_by)}"
        if MODES[kind.mode].passes:
            return f"{kind.action or 'ask why it came'}; it passes, so that no test finds it"
        return "add a test that finds it: none of the sheet does"
    do = kind.action or ("spare or second way" if severity[0] == "A" else "repair at once")
    return f"{do}; test: step {step}" if step else f"{do}; rehearse it"


def _common(basis: Basis) -> Iterator[ModeRow]:
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
        twins = ModeRow(group, tuple(there), f"{there[0]}-C", rate, "+".join(there), source, tuple(steps))
        slowest_h = max(plant.parts[name].mttr_h for name in there)
        unseen_h = [each.unseen_h for each in map(partial(_tested, basis), faults) if each]
        for mode in _together(
                basis, twins, faults, f"{twins.takes} common cause", f"all {faults[0].how}",
                f"{listed(there)} fail together", "same heat, water, surge, program, batch, or the "
                "same hand on the same day", slowest_h):
            apart = "separate supply, cabinet, route; stagger work and program changes"
            yield replace(
                mode, waits_h=0.0 if mode.told else min(unseen_h, default=0.0),
                row=mode.row | {
                    "action": apart if mode.told else f"{mode.row['action']}; {apart}"})
    if pair is not None and pair.coverage < 1:
        unit = plant.parts[pair.units[0]]
        rate = ((1 - pair.common_cause) * (1 - pair.coverage) * unit.failure_rate_per_h
                * HOURS_PER_YEAR)
        frozen = basis.faults[f"{pair.units[0]}: frozen"]
        run = basis.effects[frozen.id, pair.units[0]]
        both = "+".join(pair.units)
        takeover = ModeRow(group, pair.units, f"{pair.units[0]}-T", rate, f"{both} {NOT_TAKEN_OVER}",
                           pair.source)
        (mode,) = _told_and_not(basis, takeover, frozen, run, basis.notice(frozen.id, pair.units[0]))
        yield replace(mode, restored_h=pair.restart_h, row=mode.row | {
            "designation": f"{both} takeover", "mode": NOT_TAKEN_OVER,
            "cause": "failure not recognised, or the takeover itself fails",
            "here": "the active unit fails and the standby does not lead",
            "restored": f"{rounded(pair.restart_h)} h",
            "covers": f"restart by hand, {rounded(pair.restart_h)} h",
            "action": "monthly planned switchover; count the good ones from filled test sheets"})


def _outright(basis: Basis, names: Iterable[str]) -> list[Fault]:
    """Return how each of these parts fails outright: the first kind of its faults."""
    return [next(each for each in basis.faults.values() if each.unit == name) for name in names]


def _together(basis: Basis, several: ModeRow, faults: list[Fault], label: str, how: str, here: str,
              cause: str, down_h: float, everybody: str = "") -> Iterator[ModeRow]:
    """Yield the rows of what takes several parts out at once, from running all their faults.

    `everybody` says by what everybody knows of it; without it the file and the run say who does.
    """
    run = course_of(basis.plant, [Do("on", each.id, wait_s=0.001) for each in faults],
                    basis.settings)
    kind = replace(faults[0].kind, how=how, here=here, cause=cause)
    both = Fault(several.takes, f"{label}: {how}", "",
                 frozenset().union(*(each.breaks for each in faults)), kind)
    notice = Notice(1.0, everybody, FOLK) if everybody else \
        _notice_of_twins(basis.plant, [each.unit for each in faults], run)
    for mode in _told_and_not(basis, several, both, run, notice):
        severity = mode_words.severity_of(
            basis, both, run, mode.told, mode_words.lost_h(basis, both, run, down_h))
        yield replace(mode, restored_h=down_h, severity=severity, row=mode.row | {
            "restored": f"{rounded(down_h)} h", "severity": severity})


def _beside(basis: Basis, sums: Contributions) -> Iterator[ModeRow]:
    """Yield the rows of planned work and of starts that fail: parts are out that are whole."""
    for place, (name, each) in enumerate(sums.beside.items(), start=1):
        planned = name in {work.name for work in basis.plant.maintenance}
        every_h = next((duty.every_h for duty in basis.plant.changeovers
                        if name.startswith(f"{duty.name}: ")), None)
        work = ModeRow("Planned work and starts", each.parts, f"work-{place}",
                       each.rate_per_h * HOURS_PER_YEAR, name, "the file")
        for mode in _together(
                basis, work, _outright(basis, each.parts), name,
                "planned work" if planned else name.rpartition(": ")[2],
                f"{listed(each.parts)} {'are' if len(each.parts) > 1 else 'is'} out",
                "work that is due" if planned else "nothing starts in place of what has failed",
                each.down_h,
                "whoever does the work" if planned else "what was to start stands"):
            yield replace(mode, row=mode.row | {
                "action": "at a time when it costs least" if planned else
                "enter each start that fails; duty changes every "
                f"{rounded(every_h)} h" if every_h else "try the change of duty each month"})


def _notice_of_twins(plant: Plant, names: list[str], run: Effect) -> Notice:
    """Return how much of a common failure is noticed: as much as in the twin watched best."""
    seen = notice_of_all(run)
    stated = [plant.parts[name].noticed for name in names
              if plant.parts[name].noticed is not None and name not in plant.controllers]
    if len(stated) < len(names) or max(stated) == 1 or not run.noticed:
        return seen
    return replace(seen, share=max(stated), stated="the file: of the twins "
                   f"{100 * max(stated):g} % of the failures are noticed at best")


def _human(basis: Basis) -> Iterator[ModeRow]:
    """Yield what people do to the pair beside settings: run like any other fault.

    How often: the chance for each repair or test from the plant file, times their number a year.
    """
    plant, pair = basis.plant, basis.plant.pair
    if pair is None:
        return
    active, standby = pair.units
    repairs = sum(plant.parts[unit].failure_rate_per_h for unit in pair.units) * HOURS_PER_YEAR
    tests = HOURS_PER_YEAR / pair.test_interval_h
    told = texts()["people"]
    cases = (
        (told["wrong_unit"], [Do("on", f"{standby}: no power")], [Do("on", f"{active}: stopped")],
         {active, standby}, plant.people.wrong_unit * repairs),
        (told["left_stopped"], [], [Do("on", f"{standby}: stopped")],
         {standby}, plant.people.left_stopped * (repairs + tests)),
    )
    # A standby that is started by hand stands stopped anyhow.
    for place, (said, prepared, actions, breaks, rate) in enumerate(cases[:1] if plant.started_by_hand else cases, 1):
        run = course_of(plant, actions, basis.settings, prepared=prepared)
        kind = FaultKind("by hand", said["how"], "stopped", "", "", f"{listed(sorted(breaks))} out",
                         said["cause"])
        fault = Fault("people", f"people: {said['how']}", "", frozenset(breaks), kind)
        people = ModeRow("People and settings", ("people",), f"people-{place}", rate,
                         source=plant.people.source)
        for mode in _told_and_not(basis, people, fault, run, notice_of_all(run)):
            yield replace(mode, row=mode.row | {"action": said["action"]})


def _with_sums(sums: Contributions, modes: list[ModeRow]) -> Iterator[ModeRow]:
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


def _weight(mode: ModeRow, alone: bool) -> float:
    if not mode.takes:
        return 0.0
    return mode.per_year * (mode.restored_h + (0.0 if alone else mode.waits_h))


def _merged(basis: Basis, modes: Iterable[ModeRow]) -> Iterator[ModeRow]:
    """Put rows together that say the same of like parts."""
    groups: dict[tuple, list[ModeRow]] = {}
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


def mode_rows(basis: Basis, sums: Contributions) -> list[ModeRow]:
    """Return every row of the table, like ones put together, each with what it brings.

    >>> from labkit import load_plant
    >>> from lessons.papers.contributions import contributions_of
    >>> plant = load_plant("mirelow")
    >>> mode_rows(Basis(plant, date=""), contributions_of(plant))[0].number
    'KF1-1'
    """
    modes = [*_of_faults(basis), *_common(basis), *_beside(basis, sums), *_human(basis)]
    return list(_merged(basis, _with_sums(sums, modes)))
