"""The catalogue of checks at a plant: what each takes, how it is made, and what it shows.

A check shows words on a running rig, as an instrument or a person would say them, and it has a
chance of each outcome in a run of one cause; the first serves drills, the second the fault
finding. Both follow from running the rules and from what the kinds of faults say of it
(`labkit.switchover.fault_kinds`). Minutes, and how often a reading errs, are assumptions, invented
within common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from labkit.plant.plant import Plant
from labkit.plant.tank_data import TankSettings
from labkit.rig.bus import LineReading, bus_readings, length_of_part_m, line_states
from labkit.rig.effects import Effect
from labkit.rig.rig import Rig
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import GROUPS, Fault, faults_of
from labkit.switchover.lamps import Lamp, lamps_of

MISREAD = 0.002
MISMEASURED = 1e-3
ALARM = "alarm: "
BOOK, RECORD, ROLE_CHANGE = "book and permits", "record of the pair", "planned switchover"
NO_WORK = "no work, no test entered"
MINUTES: Mapping[str, float] = MappingProxyType({
    "lamps": 1.0, "alarms": 1.0, "record": 3.0, "book": 1.0, "plugs": 4.0, "resistance": 12.0,
    "idle": 6.0, "24 V": 4.0, "lamp test": 1.0, "second reading": 5.0, "local switch": 2.0,
    "versions": 5.0, "counters": 3.0, "cycles": 2.0, "settings": 4.0, "racks": 5.0,
    "plugs of all links": 9.0, "switchover": 5.0, "walk": 5.0, "halving": 10.0, "earths": 4.0,
    "cabinet": 1.0,
})
"""What each kind of check takes, in min; the walk to its place comes on top."""

APPROVED = "7.2"


@dataclass(frozen=True)
class Run:
    """Hold one cause run with one leader: its weight before anything is seen, what it shows."""

    cause: str
    fault: Fault | None
    leader: str | None
    weight: float
    signs: Mapping[str, str]
    effect: Effect


@dataclass(frozen=True, eq=False)
class Look:
    """Hold one check.

    Parameters
    ----------
    name : str
        What is looked at or measured.
    minutes : float
        What it takes, the way there included.
    how : str
        How it is made, and which readings are to be expected.
    why : str
        What it tells apart.
    shows : callable or None
        From a running rig to what it shows, without times of day; None where the fault finding
        alone has it, or where a drill says it in words of its own.
    chances : callable or None
        From a run to the chance of each outcome; None where drills alone have it.
    misread : float
        How often one outcome is taken for another, beside these chances, 0 to 1.
    reads : str
        How the names of the signs begin that it reads; empty for none.
    """

    name: str
    minutes: float
    how: str = ""
    why: str = ""
    shows: Callable[[Rig], str] | None = None
    chances: Callable[[Run], Mapping[str, float]] | None = None
    misread: float = 0.0
    reads: str = ""


def told(effect: Effect) -> tuple[str, ...]:
    """Return the alarms that somebody can read."""
    return effect.alarms_after if effect.panel_sees or not has_panel(effect.lamps_after) else ()


def has_panel(lamps: Iterable[Lamp]) -> bool:
    """Return whether a panel stands among lamps."""
    return any(lamp.name == "DATA" for lamp in lamps)


def expected_in(look: Look, runs: Iterable[Run]) -> tuple[dict[str, float], ...]:
    """Return for each run the chance of every outcome of a check, misreadings included."""
    chances = [look.chances(run) for run in runs]
    outcomes = dict.fromkeys(outcome for each in chances for outcome in each)
    wrong = look.misread / (len(outcomes) - 1) if len(outcomes) > 1 else 0.0
    right = 1.0 - wrong * (len(outcomes) - 1)
    return tuple({outcome: right * each[outcome] if outcome in each else wrong
                  for outcome in outcomes} for each in chances)


def catalogue(plant: Plant, minutes: Mapping[str, float] = MINUTES) -> Iterator[Look]:
    """Yield every check that can be made at a plant: paper, lamps, counters, meter, by hand."""
    having = _having(plant)
    walk = minutes["walk"]
    yield Look(
        BOOK, minutes["book"],
        "Ask the person in charge and read the shift book and the permits of today.",
        "A test or work on purpose explains most switchovers.",
        _book, _found("book", "work or a test is entered", "nothing is entered", 0.05))
    yield Look(
        RECORD, minutes["record"],
        "Read the record of the pair from the time of the complaint on; the first alarm or "
        "planned switchover counts, not the last.",
        "The first line counts, and not the last.",
        chances=lambda run: {_first_line(run): 1.0}, misread=MISREAD)
    yield Look(
        "alarm list", minutes["alarms"],
        "Read the list of alarms that stand now, and write down all of it.",
        chances=lambda run: {"; ".join(told(run.effect)) or "no alarm": 1.0}, misread=MISREAD,
        reads=ALARM)
    for unit in having["panel"]:
        yield Look(
            f"lamp test of {unit}", minutes["lamp test"],
            f"Press the lamp test of {unit}: every lamp must light.",
            "A dark lamp says nothing until it was tested.",
            _words(unit, "lamp test", "all lamps light"),
            _found("lamp test", "a lamp stays dark", "all light", 0.01, unit))
    yield from _of_lamps(plant, minutes)
    if having["sync"] or having["bus"]:
        yield Look("error counters", minutes["counters"],
                   why="They show a line that still works, but poorly.", shows=_counters)
    yield Look("cycle counters", minutes["cycles"],
               why="They tell a running program from a living heartbeat.", shows=_cycles)
    yield Look("settings against the sheet", minutes["settings"],
               why="A wrong setting shows nothing until needed.", shows=_settings)
    if plant.pair is not None:
        yield Look(
            "program versions", minutes["versions"],
            "Read name, version and checksum of the program in both units; compare with the "
            "approved version on file.",
            "Two different programs make no pair.",
            _versions, _found("versions", "they differ", "they are the same", 0.01))
    yield from _of_supply(plant, minutes)
    yield from _of_plugs(plant, minutes)
    if plant.controllers:
        yield Look(
            "cabinet of the controllers", minutes["cabinet"] + walk,
            "Open the cabinet: read its thermometer, look at filter and fan.",
            "Heat takes both units, one soon after the other.",
            lambda rig: _at_any(rig, "cabinet") or "31 degrees, filter clean, fan runs",
            _found("cabinet", "hot, or the filter is full", "cool, the fan runs", 0.02))
    yield Look("faults shown at the racks", minutes["racks"] + walk,
               why="They tell a module from its cables.", shows=_racks)
    yield from _of_bus(plant, minutes)
    for unit in having["sensor"]:
        yield Look(
            f"second reading beside {unit}", minutes["second reading"] + walk,
            f"Compare {unit} ({plant.parts[unit].place}) with a dipstick or a second instrument, "
            "twice, five minutes apart.",
            "A second reading tells a stuck sensor.", _second_reading(unit),
            _found("second reading", "they differ, or one stands still", "they agree", 0.02,
                   unit))
    for unit in having["process"]:
        yield Look(
            f"local switch of {unit}", minutes["local switch"] + walk,
            f"Look at the local switch of {unit} and at the position of the valve.",
            "A valve may be shut where no lamp tells.",
            _words(unit, "local switch", "remote, open", f"{unit}: "),
            _found("local switch", "local, shut", "remote, open", 0.01, unit))
    if plant.pair is not None:
        yield Look(ROLE_CHANGE, minutes["switchover"],
                   why="Only this shows faults that sleep in the standby.", shows=_role_change)


def _having(plant: Plant) -> dict[str, list[str]]:
    """Return what has faults, by the group of their kinds."""
    found: dict[str, dict[str, None]] = {group: {} for group in GROUPS}
    for fault in faults_of(plant).values():
        found[fault.kind.of][fault.unit] = None
    return {group: list(units) for group, units in found.items()}


# ---------------------------------------------------------------- words and chances from the kinds


def _said(rig: Rig, unit: str, check: str) -> str:
    """Return what the faults that are on at a part show in a kind of check; empty for nothing."""
    faults = (rig.known_faults[each] for each in rig.faults)
    return "; ".join(filter(None, (fault.said_in(check) for fault in faults if fault.is_at(unit))))


def _at_any(rig: Rig, check: str) -> str:
    """Return what the faults that are on show in a kind of check, wherever they are."""
    said = (rig.known_faults[each] for each in rig.faults)
    return "; ".join(f"{each.unit}: {words}" for each in said if (words := each.said_in(check)))


def _words(unit: str, check: str, good: str, before: str = "") -> Callable[[Rig], str]:
    return lambda rig: before + (_said(rig, unit, check) or good)


def _found(check: str, yes: str, no: str, otherwise: float,
           unit: str = "") -> Callable[[Run], Mapping[str, float]]:
    """Return the chances of a check that finds something or nothing, at a part or anywhere."""
    def chances(run: Run) -> Mapping[str, float]:
        there = run.fault is not None and (not unit or run.fault.is_at(unit))
        chance = run.fault.kind.shows.get(check, ("", otherwise))[1] if there else otherwise
        return {yes: chance, no: 1.0 - chance}

    return chances


def _book(rig: Rig) -> str:
    lines = dict.fromkeys(rig.known_faults[each].said_in("book") for each in reversed(rig.faults))
    return "; ".join(filter(None, lines)) or NO_WORK


def _first_line(run: Run) -> str:
    for entry in run.effect.record:
        if entry.what == "alarm" and entry.new:
            return entry.new
        if entry.what in ("role", "role change"):
            return "a switchover by hand" if "hand" in entry.why else \
                f"{entry.who} {entry.what}: {entry.new}"
    return "nothing entered"


def _counters(rig: Rig) -> str:
    having, supplied = _having(rig.plant), rig.snapshot().supplied
    found = []
    for line in (*having["sync"], *having["bus"]):
        dead = [each for each in rig.plant.neighbours[line]
                if each in having["repeater"] and each not in supplied]
        words = "no good frames" if dead else _said(rig, line, "counters") or "no errors"
        found.append(f"{line}: {words}")
    return "; ".join(found)


def _cycles(rig: Rig) -> str:
    said = []
    for unit, role in rig.snapshot().roles.items():
        stopped = "stands, program stopped by its own diagnosis"
        words = _said(rig, unit, "cycles") or (stopped if role.value == "stopped" else "counts")
        said.append(f"{unit}: {'no answer' if role.value == 'off' else words}")
    return "; ".join(said)


def _settings(rig: Rig) -> str:
    return _at_any(rig, "settings") or "all as on the approved sheet"


def _versions(rig: Rig) -> str:
    said = [f"{unit}: {_said(rig, unit, 'versions') or APPROVED}" for unit in rig.plant.controllers]
    return "; ".join((*said, f"approved: {APPROVED}"))


def _racks(rig: Rig) -> str:
    return _at_any(rig, "racks") or "no fault shown at any rack"


def _second_reading(unit: str) -> Callable[[Rig], str]:
    def shows(rig: Rig) -> str:
        said = _said(rig, unit, "second reading")
        process = rig.plant.process
        if not process or TankSettings.from_mapping(process).level_sensor != unit:
            return f"second reading moves; {unit} {said}" if said else \
                f"second reading and {unit} agree, twice"
        level_m = rig.trend().level_m[-1]
        return (f"dipstick {level_m + 0.04:.2f} m, five minutes later {level_m + 0.07:.2f} m; "
                f"{unit} {said}") if said else f"dipstick and {unit} agree, twice"

    return shows


def _role_change(rig: Rig) -> str:
    """Ask for a planned switchover on the rig itself, and say what was seen of it."""
    def leading() -> list[str]:
        return [unit for unit, role in rig.snapshot().roles.items() if role.value == "active"]

    leader = next(iter(leading()), "none")
    before, happened = set(rig.snapshot().alarms), len(rig.happenings)
    answer = rig.request_role_change()
    rig.wait(30.0)
    kept = "the other unit" if leading() not in ([], [leader]) else f"still {leader}"
    new = sorted(set(rig.snapshot().alarms) - before)
    names = dict.fromkeys(each.name for each in rig.happenings[happened:])
    return (f"asked: {answer.new}; leads now: {kept}; new alarms: {'; '.join(new) or 'none'}; "
            f"process: {', '.join(names) or 'steady'}")


# ---------------------------------------------------------------- lamps, supply, cables


def hall_check(plant: Plant) -> str:
    """Return the name of the check that reads all lamps where the controllers stand."""
    place = next((plant.parts[unit].place for unit in plant.controllers), "")
    return f"lamps in the {place.partition(',')[0] or 'cabinets'}"


def _of_lamps(plant: Plant, minutes: Mapping[str, float]) -> Iterator[Look]:
    yield Look(hall_check(plant), minutes["lamps"] + minutes["walk"],
               why="They show control itself, whatever the panel sees.")
    for unit in dict.fromkeys(lamp.unit for lamp in lamps_of(Switchover(plant).snapshot())):
        part = plant.parts.get(unit)
        kind, place = (part.kind, part.place) if part else ("", "")
        yield Look(
            f"lamps of {unit}", minutes["lamps"] + (0.0 if kind == "panel" else minutes["walk"]),
            f"Go to {unit}{f' ({place})' if place else ''} and write down every lamp: word, "
            "colour, lit, flashing or dark.",
            "They split the panel bus into two halves.",
            _lamps_of(unit) if kind == "repeater" else None, _lit(unit), MISREAD, f"{unit} ")


def _lamps_of(unit: str) -> Callable[[Rig], str]:
    return lambda rig: f"{unit}: " + ", ".join(
        f"{lamp.name} {lamp.text}" for lamp in lamps_of(rig.snapshot()) if lamp.unit == unit)


def _lit(unit: str) -> Callable[[Run], Mapping[str, float]]:
    def chances(run: Run) -> Mapping[str, float]:
        lit = [f"{sign.removeprefix(f'{unit} ')} {value}" for sign, value in run.signs.items()
               if sign.startswith(f"{unit} ") and value != "dark"]
        return {", ".join(lit) or "all dark": 1.0}

    return chances


def _of_supply(plant: Plant, minutes: Mapping[str, float]) -> Iterator[Look]:
    measured = [name for kind in ("controller", "repeater", "panel", "supply")
                for name, part in plant.parts.items() if part.kind == kind]

    def shows(rig: Rig) -> str:
        faults = [rig.known_faults[each] for each in rig.faults]
        found = [f"{unit}: {'0.0' if _without_supply(plant, faults, unit) else '24.1'} V"
                 for unit in measured]
        low = [(unit, _said(rig, unit, "lowest voltage")) for unit in plant.parts]
        return "; ".join(found + [f"{unit} {words}" for unit, words in low if words])

    yield Look("24 V at the units", minutes["24 V"] + minutes["walk"],
               why="It tells no supply from no program.", shows=shows)
    for unit, fault in {each.unit: each for each in faults_of(plant).values()
                        if "24 V" in each.kind.shows}.items():
        where = f"at the {'output' if fault.kind.of == 'supply' else 'terminals'} of {unit}"

        def chances(run: Run, unit: str = unit) -> Mapping[str, float]:
            gone = run.fault is not None and _without_supply(plant, [run.fault], unit)
            return {"below 20.4 V": 0.98, "20.4 to 28.8 V": 1.0 - 0.98} if gone else \
                {"below 20.4 V": 0.02, "20.4 to 28.8 V": 1.0 - 0.02}

        yield Look(
            f"24 V {where}", minutes["24 V"] + minutes["walk"],
            f"Measure {where} ({fault.place}): 20.4 to 28.8 V is good (24 V, -15 to +20 %, "
            "IEC 61131-2 from memory).", chances=chances)


def _without_supply(plant: Plant, faults: Iterable[Fault], unit: str) -> bool:
    """Return whether faults leave a part without supply, or are those of its supply itself."""
    gone = {name for fault in faults for name in fault.breaks
            if "24 V" in fault.kind.shows or plant.parts[name].kind in ("supply", "ups")}

    def dead(name: str) -> bool:
        feeds = plant.parts[name].fed_by
        return name in gone or bool(feeds) and all(map(dead, feeds))

    return dead(unit)


def _of_plugs(plant: Plant, minutes: Mapping[str, float]) -> Iterator[Look]:
    having = _having(plant)

    def shows(cables: list[str]) -> Callable[[Rig], str]:
        def of_all(rig: Rig) -> str:
            said = {unit: _said(rig, unit, "plugs") for unit in cables}
            return "; ".join(f"{unit}: {words}" for unit, words in said.items() if words) or \
                "all tight, all through"

        return of_all

    for unit in (*having["sync"], *having["link"], *having["bus"]):
        yield Look(
            f"plugs of {unit}", minutes["plugs"] + minutes["walk"],
            f"Look at both plugs and the shield of {unit} ({plant.parts[unit].place}); move "
            "nothing yet; then measure each wire from end to end: below 2 ohm and the copper is "
            "good.",
            "Loose plugs are the first suspects.", shows([unit]) if unit in having["sync"] else None,
            _found("plugs", "loose or open", "tight and through", 0.02, unit))
    if having["link"]:
        yield Look("plugs of the rack links", minutes["plugs of all links"] + minutes["walk"],
                   why="They tell a cable from a module.", shows=shows(having["link"]))
    if having["bus"]:
        yield Look("plugs of the panel bus", minutes["plugs"] + minutes["walk"],
                   why="Loose or crossed wires show here.", shows=shows(having["bus"]))


# ---------------------------------------------------------------- the bus by a meter


def _of_bus(plant: Plant, minutes: Mapping[str, float]) -> Iterator[Look]:
    having = _having(plant)
    lengths_m = {unit: length_of_part_m(plant.parts[unit]) for unit in having["bus"]}
    for unit in having["repeater"]:
        halves = [line for line in plant.neighbours[unit] if line in lengths_m]
        if len(halves) == 2:
            yield Look(
                f"halving the bus at {unit}", minutes["halving"] + minutes["walk"],
                f"Permit first, as the panel goes blind. At {unit} take one side off, put a terminator "
                "in its place, send from a tester and count frames; then the other side.",
                "It tells which half is at fault, and the repeater from both.",
                lambda rig, halves=halves: "; ".join(
                    f"{line}: {_said(rig, line, 'counters') or 'good frames'}" for line in halves),
                _half(halves))
    if lengths_m:
        yield Look(
            "voltage between the earths", minutes["earths"] + minutes["walk"],
            "Permit first. Measure between the earths of both ends of each bus line, alternating and "
            "direct: below 1 V is good, more than 7 V is beyond what receivers take (TIA/EIA-485-A, "
            "from memory).",
            "A voltage between earths lifts both wires, which no meter between them shows.",
            lambda rig: _at_any(rig, "earths") or "below 1 V everywhere",
            _found("earths", "1 V or more", "below 1 V", 0.02))
    for unit, length_m in lengths_m.items():
        length = f"{length_m:g} m" if length_m else "length not in the file, copper left out"
        read = "; ".join(f"{what}: {ohm}" for what, (ohm, _) in bus_readings(length_m).items())
        yield Look(
            f"resistance of {unit}", minutes["resistance"] + minutes["walk"],
            "Permit first, as the panel goes blind. Supplies off by those who may, bias disconnected; "
            f"measure between the wires at both ends of {unit} ({length}): {read}.",
            "It counts the terminators; add the copper, and compare both ends.",
            lambda rig, unit=unit: f"{unit}, supplies off: {_line(rig, unit).words[0]}",
            # What reads like a good line is no state of its own to this check.
            _states(unit, ["good", *(state for state, (ohm, _) in bus_readings(length_m).items()
                                     if ohm != bus_readings(length_m)["good"][0])]))
    for unit, length_m in lengths_m.items():
        read = "; ".join(f"{what}: {mv}" for what, (_, mv) in bus_readings(length_m).items())
        yield Look(
            f"idle voltage of {unit}", minutes["idle"] + minutes["walk"],
            "Permit first: a slip of the tip shorts a live bus. Nobody sends; measure at both ends of "
            f"{unit} on the wires that are plus and minus at a good station: {read}.",
            "Its sign, against a good station, tells which wire is which.",
            lambda rig, unit=unit: f"{unit}, nobody sends: {_line(rig, unit).words[1]}",
            _states(unit, list(line_states(length_m))))


def _half(halves: list[str]) -> Callable[[Run], Mapping[str, float]]:
    """Return the chances of what halving a bus tells: the half at fault, or none."""
    def chances(run: Run) -> Mapping[str, float]:
        bad = [line for line in halves if run.fault is not None and run.fault.is_at(line)]
        good = dict.fromkeys((*halves, "none"), MISMEASURED / 2)
        return good | {(bad or ["none"])[0]: 1.0 - MISMEASURED}

    return chances


def _line(rig: Rig, unit: str) -> LineReading:
    """Return what is between the wires of a bus; of several states the likeliest."""
    lines = [rig.known_faults[each].kind.line for each in rig.faults
             if rig.known_faults[each].unit == unit]
    state = next((max(line, key=line.get) for line in lines if line), "good")
    return line_states(length_of_part_m(rig.plant.parts[unit]))[state]


def _states(unit: str, states: list[str]) -> Callable[[Run], Mapping[str, float]]:
    """Return the chances of the states that a meter can tell of a bus."""
    def chances(run: Run) -> Mapping[str, float]:
        line = run.fault.kind.line if run.fault is not None and run.fault.unit == unit else {}
        found = {state: chance for state, chance in line.items() if state in states}
        found = found or {"good": 1.0}
        return {state: MISMEASURED / len(states) + (1.0 - MISMEASURED) * found.get(state, 0.0)
                for state in states}

    return chances
