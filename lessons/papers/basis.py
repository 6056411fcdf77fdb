"""What all papers of one plant rest on: the plant, the settings, the date, and the runs.

Each fault is run once for all papers together. Wording and rounding stand here too, so
that the same number looks the same in every paper.
"""

import hashlib
import re
from collections.abc import Callable, Iterable
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from labkit.plant.plant import Plant, PlantState
from labkit.plant.plant_data import Changeover, PlantPart, Sourced, Tested
from labkit.plant.wiring import leaves
from labkit.rig.effects import Effect, effects_of
from labkit.rig.finder import FaultFinder
from labkit.rig.noticed import Notice, notice_of
from labkit.rig.state_line import state_line
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import Fault, faults_of
from labkit.switchover.settings import PairSettings, usual_settings
from labkit.wording import HARD_SPACE, grouped, listed
from lessons.exercises.attempts import course_version
from lessons.papers.paper import Paper, Section, texts

T = TypeVar("T")


def rounded(value: float) -> str:
    """Write hours, milliseconds and other numbers: thousands set apart, or three figures.

    >>> [rounded(each).replace(HARD_SPACE, " ") for each in (60_000, 999.7, 0.5)]
    ['60 000', '1 000', '0.5']
    """
    return grouped(value, between=HARD_SPACE) if abs(value) >= 999.5 else f"{value:.3g}"


def money(value: float) -> str:
    """Write money without cents.

    >>> money(-1234.5).replace(HARD_SPACE, " ")
    '-1 234'
    """
    return grouped(value, between=HARD_SPACE)


def minutes(value: float) -> str:
    """Write minutes with two decimals at most, so that a column can be added up.

    >>> minutes(1234.5).replace(HARD_SPACE, " "), minutes(0.126), minutes(-0.0004)
    ('1 234.5', '0.13', '0')
    """
    if abs(value) < 0.005:
        return "0"
    return grouped(value, 1 if abs(value) >= 10 else 2, between=HARD_SPACE)


def per_year(value: float) -> str:
    """Write how often something comes: a year, or one in so many years.

    >>> per_year(0.146), per_year(0.0035).replace(HARD_SPACE, " "), per_year(0)
    ('0.15/a', '1 in 290 a', 'never')
    """
    if value <= 0:
        return f"-{per_year(-value)}" if value else "never"
    if value >= 0.01:
        return f"{value:.2g}/a"
    years = float(f"{1 / value:.2g}")
    return f"1 in {rounded(years)} a".replace(" ", HARD_SPACE)


def tested_every(tested: Tested) -> str:
    """Say how often a test finds what nobody notices, and how much of it only an overhaul finds.

    >>> tested_every(Tested(test_interval_h=730, missed=0.1, overhaul_interval_h=900))
    'every 730 h; 10 % of it only at an overhaul, every 900 h'
    """
    late = f"; {share(tested.missed)} of it only at an overhaul, every {rounded(tested.overhaul_interval_h)} h"
    return f"every {rounded(tested.test_interval_h)} h{late if tested.missed else ''}"


def share(value: float) -> str:
    """Write a share in per cent with two figures, three near a whole.

    >>> share(0.05), share(0.973), share(0.0004), share(1e-7), share(0.99999)
    ('5 %', '97.3 %', '0.04 %', '< 0.01 %', '> 99.9 %')
    """
    if 0 < value < 1e-4:
        return "< 0.01 %"
    if 0.9995 <= value < 1:
        return "> 99.9 %"
    return f"{100 * value:.{3 if value > 0.9 else 2}g} %"


def sourced(entry: Sourced) -> str:
    """Write where numbers come from, as the file says it.

    >>> from labkit.plant.plant_data import Twins
    >>> sourced(Twins(("GP1", "GP2"), 0.05, source="found", source_note="our log"))
    'found: our log'
    """
    return entry.source + (f": {entry.source_note}" if entry.source_note else "")


def _digest(path: str) -> str:
    """Return the first twelve digits of the SHA-256 of a plant file, as `sha256sum` gives it.

    >>> _digest("")
    'none'
    """
    file = Path(path)
    return hashlib.sha256(file.read_bytes()).hexdigest()[:12] if file.is_file() else "none"


class Basis:
    """Hold what all papers of one plant rest on.

    Parameters
    ----------
    date : str
        As it is to stand on the papers.
    draws : int
        How often all numbers are drawn together for the comparison.

    >>> from labkit import load_plant
    >>> Basis(load_plant(), date="2031-05-06").facts("any")["File"]
    'brackenquay.toml'
    """

    def __init__(self, plant: Plant, settings: PairSettings | None = None, *, date: str,
                 draws: int = 60) -> None:
        self.plant, self.draws = plant, draws
        self.settings = settings or usual_settings(plant)
        self.given_settings = settings is not None
        self.date = date
        self.faults: dict[str, Fault] = faults_of(plant)
        self.memory: dict[tuple, object] = {}

    @cached_property
    def healthy(self) -> PlantState:
        """The line of the healthy plant."""
        return state_line(Switchover(self.plant, self.settings), frozenset())

    @cached_property
    def blinded(self) -> dict[str, str]:
        """By function, what stops it beside its sums, since its panel sees no controller then."""
        beside = self.healthy.not_in_rate
        return {name: f"{listed(sorted(found))} stop{'s' * (len(found) == 1)} {name} too: its panel "
                      "then sees no controller. Its sums do not count that."
                for name, found in beside.items() if found}

    @cached_property
    def effects(self) -> dict[tuple[str, str | None], Effect]:
        """Every fault with every leader."""
        return effects_of(self.plant, self.settings)

    @cached_property
    def leaders(self) -> tuple[str | None, ...]:
        """Who can lead when a fault comes; the first is the usual case.

        Of two that start by themselves and reach different racks the one with fewer hands over.
        """
        plant = self.plant
        if plant.pair is None:
            return plant.controllers or (None,)
        reach = {unit: len(racks) for unit, racks in plant.reach().items()}
        return tuple(unit for unit in plant.pair.units
                     if plant.started_by_hand or reach[unit] == max(reach.values()))

    @cached_property
    def designations(self) -> re.Pattern[str]:
        """What finds the designations of parts and events in a text, the longest that fits."""
        names = sorted({*self.plant.parts, *self.plant.shared_events}, key=len, reverse=True)
        return re.compile(r"(?<![\w.])(?:" + "|".join(map(re.escape, names)) + r")(?![\w.])")

    @cached_property
    def finder(self) -> FaultFinder:
        """Causes and checks of the plant."""
        return FaultFinder(self.plant, self.settings)

    def named(self, designation: str) -> str:
        """Return a designation with what it is, without what follows a colon or comma."""
        part = self.plant.parts.get(designation)
        if part is None:
            return designation
        return f"{designation} {part.what.partition(':')[0].partition(',')[0]}"

    def facts(self, paper: str) -> dict[str, str]:
        """Return what stands at the head of a paper."""
        plant, block = self.plant, self.plant.title_block
        return {
            "Plant": plant.name, "Version": plant.version,
            "File": Path(plant.path).name or "none", "Date": self.date,
            "Document": block.number, "Revision": block.revision, "Paper": paper, "Data": f"{plant.data} unless said",
            "SHA-256 of the file": _digest(plant.path), "Program": f"workbook {course_version()}",
            "Author": block.author, "Checker": block.checker, "Copy for": "",
        }

    def paper(self, name: str, sections: Iterable[Section], **more: object) -> Paper:
        """Return a paper of the plant with what `texts.toml` says of it."""
        told = dict(texts()["paper"][name])
        return Paper(name=name, facts=self.facts(told.pop("called")),
                     sections=tuple(each for each in sections if each.says_something),
                     **{"assumptions": self.assumptions()} | told | more)

    def assumptions(self) -> tuple[dict[str, str], ...]:
        """Return what the numbers and the runs rest on, with the source of each."""
        groups: dict[tuple, list[str]] = {}
        for part in self.plant.parts.values():
            value = (f"MTBF {rounded(part.mtbf_h)} h, MTTR {rounded(part.mttr_h)} h"
                     f"{self._told_apart(part)}{self._noticed(part)}"
                     + (f"; {rounded(part.battery_h)} h on its battery" if part.battery_h else ""))
            groups.setdefault((part.kind, value, sourced(part)), []).append(part.designation)
        rows = [(f"{kind}: {', '.join(names)}", value, source)
                for (kind, value, source), names in groups.items()]
        rows += self._of_pair()
        rows += [(pair, said, "the file") for pair, said in self.plant.second_pairs.items()]
        rows += [(f"twins {', '.join(twins.parts)}",
                  f"{share(twins.common_cause)} of failures take all of them", sourced(twins))
                 for twins in self.plant.twins]
        rows += [(f"{event.name} {event.what}", "without a rate: left out of all sums"
                  if event.mtbf_h is None else
                  f"every {rounded(event.mtbf_h)} h, {rounded(event.mttr_h)} h each", sourced(event))
                 for event in self.plant.shared_events.values()]
        rows += [(f"planned work: {work.name}", f"{', '.join(work.parts)} out every {rounded(work.every_h)} h "
                  f"for {rounded(work.takes_h)} h", sourced(work)) for work in self.plant.maintenance]
        rows += [(f"duty change: {duty.name}", self._of_duty(duty), sourced(duty))
                 for duty in self.plant.changeovers]
        return tuple(dict(zip(("what", "value", "source"), row, strict=True)) for row in rows)

    def _of_duty(self, duty: Changeover) -> str:
        """Say what is counted of starts."""
        change = f"every {rounded(duty.every_h)} h" if duty.every_h else "never"
        return (f"{duty.running} of {len(duty.parts)} run; {share(duty.starts)} of starts succeed by themselves, "
                f"{share(duty.by_hand)} of the others by hand in {rounded(duty.by_hand_h)} h; duty changes {change}")

    def _told_apart(self, part: PlantPart) -> str:
        """Say what the file has, where its numbers are not yet those that count."""
        table = next(each for each in self.plant.document["part"]
                     if each["designation"] == part.designation)
        why = listed(word for word, there in (
            ("wear", "ageing_shape" in table), ("short cuts", "short_cuts" in table),
            ("its ways of failing", self.plant.modes_of(part.designation)),
            ("the wait for a spare", part.waits_h)) if there)
        return (f" with {why}; the file has {rounded(table['mtbf_h'])} h and "
                f"{rounded(table['mttr_h'])} h") if why else ""

    def _noticed(self, part: PlantPart) -> str:
        """Say how much of the failures of a part is noticed, where that is not all by the rig."""
        noticed = self.plant.share_noticed(part.designation)
        if part.noticed is None and noticed == 1 or self._in_pair(part):
            return ""
        by = f" ({part.noticed_note})" if part.noticed_note else \
            " (by the file)" if part.noticed is not None else " (by the rig)"
        outage = "by the outage that it causes or " if part.designation in self._missed else ""
        rest = "" if noticed == 1 else f", the rest {outage}by a test {tested_every(part)}"
        return f"; {share(noticed)} noticed at once{by}{rest}"

    @cached_property
    def _missed(self) -> set[str]:
        """Return the parts in functions that somebody misses: none that stands idle is."""
        plant = self.plant
        return {plant.cut_of(getattr(leaf, "name", "")).failure for name in plant.functions_counted
                if not plant.stands_idle(name) for leaf in leaves(plant.condition(name))}

    def waits_h(self, part: PlantPart) -> float:
        """Return how long a failure of a part stays unnoticed on average until its test, in h.

        One that stops a function by itself does not wait: the outage shows it.
        """
        plant = self.plant
        if self._in_pair(part) or any(
                plant.condition(name, {part.designation}) is False
                for name in plant.functions_counted if not plant.stands_idle(name)):
            return 0.0
        return (1.0 - plant.share_noticed(part.designation)) * part.unseen_h

    def _in_pair(self, part: PlantPart) -> bool:
        return self.plant.pair is not None and part.designation in self.plant.pair.units

    def notice(self, fault_id: str, leader: str | None) -> Notice:
        """Return how much of a fault is noticed at once, and by what."""
        return self.once(("notice", fault_id, leader), lambda: notice_of(
            self.plant, self.faults[fault_id], self.effects[fault_id, leader]))

    def once(self, key: tuple, make: Callable[[], T]) -> T:
        """Return what was made of a key, or make it."""
        if key not in self.memory:
            self.memory[key] = make()
        return self.memory[key]

    def _of_pair(self) -> list[tuple[str, str, str]]:
        pair, people, settings = self.plant.pair, self.plant.people, self.settings
        told, rows = texts()["assumption"], []
        if pair is not None:
            rows += [(f"pair {', '.join(pair.units)}", told["pair"].format(
                common_cause=share(pair.common_cause), coverage=share(pair.coverage),
                diagnosed=share(pair.diagnosed), test_every=tested_every(pair),
                restart_h=rounded(pair.restart_h), crews=pair.crews,
                teams="team" if pair.crews == 1 else "teams"), sourced(pair)),
                ("people at the pair, in no total", told["people"].format(
                    wrong=share(people.wrong_unit), left=share(people.left_stopped)), sourced(people))]
        return [*rows, ("times of the controllers and racks", told[
            "times" if pair else "times_of_one"].format(
            settings=settings, load_ms=rounded(settings.load_ms), start_ms=rounded(settings.start_ms),
            asked="yes" if settings.ask_racks else "no",
            counted="yes" if settings.count_in_heartbeat else "no"),
            "given" if self.given_settings else "invented example; give those of your plant")]
