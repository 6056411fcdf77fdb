"""The checks that can be made at a plant: how each is made, and what each cause shows in it.

What a cause shows follows from running the rules; how often a reading errs, and how often a hand
check finds what is there, are assumptions, invented within common practice. Minutes are those of
`labkit.rig.finder`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

from labkit.plant.plant import Plant
from labkit.rig.bus import bus_readings, length_in_words_m
from labkit.rig.effects import Effect
from labkit.switchover.fault_kinds import Fault
from labkit.switchover.lamps import Lamp

__all__ = ["ALARM", "MISREAD", "Look", "Run", "Scene", "has_panel", "looks", "told"]

MISREAD = 0.002
MISMEASURED = 1e-3
ALARM = "alarm: "


@dataclass(frozen=True)
class Run:
    """Hold one cause run with one leader: its weight before anything is seen, what it shows."""

    cause: str
    leader: str | None
    weight: float
    signs: Mapping[str, str]
    effect: Effect


class Scene(Protocol):
    """Say what the checks have to know: the plant, its faults, all runs and their signs."""

    plant: Plant
    faults: Mapping[str, Fault]
    minutes: Mapping[str, float]
    runs: tuple[Run, ...]
    signs: Mapping[str, tuple[str, ...]]


def told(effect: Effect) -> tuple[str, ...]:
    """Return the alarms that somebody can read."""
    return effect.alarms_after if effect.panel_sees or not has_panel(effect.lamps_after) else ()


def has_panel(lamps: Iterable[Lamp]) -> bool:
    """Return whether a panel stands among lamps."""
    return any(lamp.name == "DATA" for lamp in lamps)


@dataclass(frozen=True, eq=False)
class Look:
    """Hold a check as it is made: what each cause is expected to show, and how often it errs."""

    name: str
    minutes: float
    how: str
    outcomes: tuple[str, ...]
    shown: Mapping[tuple[str, str | None], Mapping[str, float]]
    reads: frozenset[str] = frozenset()

    def chance(self, outcome: str, run: Run) -> float:
        """Return the chance of an outcome in a run, 0 to 1."""
        return self.shown[run.cause, run.leader].get(outcome, 0.0)


def _certain(outcomes: tuple[str, ...], outcome: str) -> dict[str, float]:
    """Return the chances of a reading that is right but for a misreading."""
    others = [each for each in outcomes if each != outcome]
    if not others:
        return {outcome: 1.0}
    return dict.fromkeys(others, MISREAD / len(others)) | {outcome: 1.0 - MISREAD}


def looks(scene: Scene) -> Iterable[Look]:
    """Yield every check that can be made: lamps, alarms, record, by hand, with a meter."""
    yield from _lamp_looks(scene)
    yield _read(scene, "alarm list", scene.minutes["alarms"],
                "Read the list of alarms that stand now, and write down all of it.",
                lambda run: "; ".join(told(run.effect)) or "no alarm",
                frozenset(sign for sign in scene.signs if sign.startswith(ALARM)))
    yield _record_look(scene)
    yield from _hand_looks(scene)
    yield from _bus_looks(scene)


def _read(scene: Scene, name: str, minutes: float, how: str, outcome_of,
          reads: frozenset[str] = frozenset()) -> Look:
    """Return a check that shows what a run is expected to show."""
    shown = {(run.cause, run.leader): outcome_of(run) for run in scene.runs}
    outcomes = tuple(dict.fromkeys(shown.values()))
    return Look(name, minutes, how, outcomes,
                 {key: _certain(outcomes, outcome) for key, outcome in shown.items()}, reads)


def _yes_no(scene: Scene, name: str, minutes: float, how: str, yes: str, no: str,
            chance_of_yes) -> Look:
    """Return a check with two outcomes."""
    return Look(name, minutes, how, (yes, no), {
        (run.cause, run.leader): {yes: chance_of_yes(run), no: 1.0 - chance_of_yes(run)}
        for run in scene.runs})


def _lamp_looks(scene: Scene) -> Iterable[Look]:
    plant = scene.plant
    units = dict.fromkeys(lamp.unit for lamp in scene.runs[0].effect.lamps_after)
    panels = {name for name, part in plant.parts.items() if part.kind == "panel"}
    for unit in units:
        names = [sign for sign in scene.signs if sign.startswith(f"{unit} ")]

        def outcome(run, names=names, unit=unit):
            lit = [f"{sign.removeprefix(f'{unit} ')} {run.signs[sign]}" for sign in names
                   if run.signs[sign] != "dark"]
            return ", ".join(lit) or "all dark"

        walk = 0.0 if unit in panels else scene.minutes["walk"]
        place = plant.parts[unit].place if unit in plant.parts else ""
        yield _read(scene, f"lamps of {unit}", scene.minutes["lamps"] + walk,
                    f"Go to {unit}{f' ({place})' if place else ''} and write down every lamp: "
                    "word, colour, lit, flashing or dark.", outcome, frozenset(names))


def _record_look(scene: Scene) -> Look:
    return _read(scene, "record of the pair: first line", scene.minutes["record"],
                 "Read the record of the pair from the time of the complaint on; the first alarm "
                 "or planned switchover counts, not the last.", _first_line)


def _first_line(run: Run) -> str:
    for entry in run.effect.record:
        if entry.what == "alarm" and entry.new:
            return entry.new
        if entry.what in ("role", "role change"):
            return "a switchover by hand" if "hand" in entry.why else \
                f"{entry.who} {entry.what}: {entry.new}"
    return "nothing entered"


def _hand_looks(scene: Scene) -> Iterable[Look]:
    plant, minutes, faults = scene.plant, scene.minutes, scene.faults
    people = {"stopped": 0.8, "program differs": 0.7, "A and B swapped": 0.6,
              "terminator missing": 0.3, "third terminator": 0.6, "shut locally": 0.5,
              "integrator not tracking": 0.5, "hold time too short": 0.5, "one missed beat": 0.5,
              "racks not asked": 0.5, "role change": 0.97}
    yield _yes_no(
        scene, "book and permits: work or test now?", minutes["book"],
        "Ask the person in charge and read the shift book and the permits of today.",
        "work or a test is entered", "nothing is entered",
        lambda run: people.get(run.cause.partition(": ")[2], 0.05))
    for cause, fault in faults.items():
        part = plant.parts.get(fault.unit)
        walk = minutes["walk"]
        if fault.how == "cut" and part is not None:
            yield _yes_no(
                scene, f"plugs of {fault.unit}", minutes["plugs"] + walk,
                f"Look at both plugs and the shield of {fault.unit} ({fault.place}); move nothing "
                "yet; then measure each wire from end to end: below 2 ohm and the copper is good.",
                "loose or open", "tight and through",
                lambda run, unit=fault.unit: {
                    "cut": 0.95, "A and B swapped": 0.05, "noise": 0.3, "bursts": 0.3}.get(
                        run.cause.partition(": ")[2], 0.02)
                if run.cause.partition(": ")[0] == unit else 0.02)
        elif fault.how in ("no power", "off"):
            of_unit = fault.how == "no power"
            where = "at the terminals of" if of_unit else "at the output of"
            yield _yes_no(
                scene, f"24 V {where} {fault.unit}", minutes["24 V"] + walk,
                f"Measure {where} {fault.unit} ({fault.place}): 20.4 to 28.8 V is good (24 V, "
                "-15 to +20 %, IEC 61131-2 from memory).",
                "below 20.4 V", "20.4 to 28.8 V",
                lambda run, unit=fault.unit: 0.98 if _without_supply(scene, run, unit) else 0.02)
        elif fault.how == "lamp dark":
            yield _yes_no(
                scene, f"lamp test of {fault.unit}", minutes["lamp test"],
                f"Press the lamp test of {fault.unit}: every lamp must light.",
                "a lamp stays dark", "all light",
                lambda run, cause=cause, unit=fault.unit: 0.99 if run.cause in (
                    cause, f"{unit}: dark") else 0.01)
        elif fault.how == "stuck":
            yield _yes_no(
                scene, f"second reading beside {fault.unit}", minutes["second reading"] + walk,
                f"Compare {fault.unit} ({fault.place}) with a dipstick or a second instrument, "
                "twice, five minutes apart.",
                "they differ, or one stands still", "they agree",
                lambda run, unit=fault.unit: 0.95 if run.cause.startswith(f"{unit}: ") else 0.02)
        elif fault.how == "shut locally":
            yield _yes_no(
                scene, f"local switch of {fault.unit}", minutes["local switch"] + walk,
                f"Look at the local switch of {fault.unit} and at the position of the valve.",
                "local, shut", "remote, open",
                lambda run, cause=cause: 0.99 if run.cause == cause else 0.01)
        elif fault.how == "program differs" and fault.unit == plant.pair.units[0]:
            yield _yes_no(
                scene, "program versions of both units", minutes["versions"],
                "Read name, version and checksum of the program in both units; compare with the "
                "approved version on file.",
                "they differ", "they are the same",
                lambda run: 0.99 if run.cause.endswith(": program differs") else 0.01)


def _without_supply(scene: Scene, run: Run, unit: str) -> bool:
    """Return whether a cause leaves a part without supply, or is its supply itself."""
    if run.cause not in scene.faults:
        return False
    fault = scene.faults[run.cause]
    if fault.id in (f"{unit}: no power", f"{unit}: off", f"{unit}: dark"):
        return True
    gone = fault.breaks if fault.how == "off" else frozenset()

    def fed(name: str) -> bool:
        feeds = scene.plant.parts[name].fed_by if name in scene.plant.parts else ()
        return not feeds or any(each not in gone and fed(each) for each in feeds)

    return not fed(unit)


def _bus_looks(scene: Scene) -> Iterable[Look]:
    for unit in dict.fromkeys(fault.unit for fault in scene.faults.values()
                              if fault.how == "terminator missing"):
        part = scene.plant.parts[unit]
        length_m = length_in_words_m(f"{part.place}; {part.what}") or 0.0
        bands = bus_readings(length_m)
        told = "; ".join(f"{what}: {reading}" for what, (reading, _) in bands.items())
        good, open_, short, third, swapped = bands
        ohms = {"cut": {open_: 0.80, short: 0.20}, "terminator missing": {open_: 1.0},
                "third terminator": {third: 1.0}}
        volts = {"cut": {open_: 0.80, short: 0.20}, "terminator missing": {open_: 1.0},
                 "third terminator": {third: 1.0}, "A and B swapped": {swapped: 1.0}}
        walk = scene.minutes["walk"]
        length = f"{length_m:g} m" if length_m else "length not in the file, copper left out"
        for name, minutes, table, how in (
            (f"resistance of {unit}, supplies off", scene.minutes["resistance"] + walk, ohms,
             f"Supplies off by those who may, bias disconnected; measure between the wires at one "
             f"end of {unit} ({length}): {told}."),
            (f"idle voltage of {unit}", scene.minutes["idle"] + walk, volts,
             f"Nobody sends; measure A against B at the bias of {unit}: "
             + "; ".join(f"{what}: {volt}" for what, (_, volt) in bands.items()) + "."),
        ):
            outcomes = tuple(each for each in bands if table is volts or each != swapped)

            def shown(run, unit=unit, table=table, outcomes=outcomes, good=good):
                name, _, how = run.cause.partition(": ")
                expected = table.get(how, {good: 1.0}) if name == unit else {good: 1.0}
                spread = {each: MISMEASURED / len(outcomes) for each in outcomes}
                for each, chance in expected.items():
                    spread[each] += (1.0 - MISMEASURED) * chance
                return spread

            yield Look(name, minutes, how, outcomes,
                        {(run.cause, run.leader): shown(run) for run in scene.runs})
