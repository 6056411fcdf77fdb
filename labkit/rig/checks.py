"""The catalogue of checks at a plant: what each takes, how it is made, and what it shows.

A check shows words on a running rig, as an instrument or a person would say them, and it has a
chance of each outcome in a run of one cause; the first serves drills, the second the fault
finding. Both follow from running the rules and from what the kinds of faults say of it
(`labkit.switchover.fault_kinds`). Minutes, and how often a reading errs, are assumptions, invented
within common practice.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import partial
from types import MappingProxyType

from labkit.plant.plant import Plant
from labkit.plant.tank_data import TankSettings
from labkit.reading import read_table
from labkit.rig.bus import LineReading, bus_readings, length_of_part_m, line_states
from labkit.rig.effects import Effect
from labkit.rig.rig import Rig
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import GROUPS, Fault, faults_of
from labkit.switchover.lamps import Lamp, lamps_of

MISREAD = 0.002
MISMEASURED = 1e-3
ALARM = "alarm: "
BOOK, ROLE_CHANGE = "book and permits", "planned switchover"
NO_WORK = "no work, no test entered"
_TABLE = read_table(__file__)
MINUTES: Mapping[str, float] = MappingProxyType(_TABLE["minutes"])
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
    return effect.after.alarms if effect.after.panel_sees or not has_panel(effect.lamps_after) else ()


def has_panel(lamps: Iterable[Lamp]) -> bool:
    """Return whether a panel stands among lamps."""
    return any(lamp.name == "DATA" for lamp in lamps)


def expected_in(look: Look, runs: Iterable[Run]) -> tuple[dict[str, float], ...]:
    """Return for each run the chance of every outcome of a check, misreadings included."""
    chances = [look.chances(run) for run in runs]
    outcomes = dict.fromkeys(outcome for each in chances for outcome in each)
    wrong = look.misread / max(1, len(outcomes) - 1)
    right = 1.0 - wrong * (len(outcomes) - 1)
    return tuple({outcome: right * each[outcome] if outcome in each else wrong
                  for outcome in outcomes} for each in chances)


def catalogue(plant: Plant) -> Iterator[Look]:
    """Yield every check that can be made at a plant: paper, lamps, counters, meter, by hand."""
    places = _having(plant)
    places |= {
        "pair": [*(plant.pair.units if plant.pair else ())],
        "controllers": [*plant.controllers],
        "with lamps": list(dict.fromkeys(
            lamp.unit for lamp in lamps_of(Switchover(plant).snapshot()))),
        "24 V": list(dict.fromkeys(each.unit for each in faults_of(plant).values()
                                   if "24 V" in each.kind.shows)),
        "repeaters": [*plant.of_kind("repeater")],
        "halving": [unit for unit in places["repeater"] if len(_halves(plant, unit)) == 2],
    }
    for row in _TABLE["check"]:
        once = [""] if "if" not in row or any(places[group] for group in row["if"]) else []
        at = [unit for group in row["at"] for unit in places[group]] if "at" in row else once
        for unit in at:
            words = _Words(plant, unit)
            walk = row.get("walk", False)
            if walk == "not to a panel":
                walk = unit not in plant.of_kind("panel")
            shown = "shown_at" not in row or any(unit in places[group] for group in row["shown_at"])
            yield Look(
                row["name"].format_map(words),
                MINUTES[row["minutes"]] + (MINUTES["walk"] if walk else 0.0),
                row.get("how", "").format_map(words),
                row.get("why", ""),
                _shows(plant, unit, row) if shown else None,
                _chances(plant, unit, row),
                MISREAD if "misread" in row else 0.0,
                row.get("reads", "").format_map(words))


class _Words(dict):
    """What may stand in braces in the texts of a check at a unit, each worked out when asked for."""

    def __init__(self, plant: Plant, unit: str) -> None:
        self.plant, self.unit = plant, unit

    def __missing__(self, name: str) -> str:
        plant, unit = self.plant, self.unit
        match name:
            case "unit":
                return unit
            case "placed":
                place = plant.parts[unit].place if unit in plant.parts else ""
                return f"{unit} ({place})" if place else unit
            case "hall":
                return hall_check(plant)
            case "whose":
                return whose(plant)
            case "end":
                return "output" if plant.parts[unit].kind in ("supply", "ups") else "terminals"
            case "length":
                length_m = length_of_part_m(plant.parts[unit])
                return f"{length_m:g} m" if length_m else "length not in the file, copper left out"
            case "ohms" | "volts":
                readings = bus_readings(length_of_part_m(plant.parts[unit]))
                return "; ".join(f"{what}: {read[name == 'volts']}" for what, read in readings.items())
        raise KeyError(name)


def _having(plant: Plant) -> dict[str, list[str]]:
    """Return what has faults, by the group of their kinds."""
    found: dict[str, dict[str, None]] = {group: {} for group in GROUPS}
    for fault in faults_of(plant).values():
        found[fault.kind.of][fault.unit] = None
    return {group: list(units) for group, units in found.items()}


def _shows(plant: Plant, unit: str, row: Mapping) -> Callable[[Rig], str] | None:
    """Return what a check shows on a running rig; None where the fault finding alone has it."""
    if "shows" in row:
        return SHOWS[row["shows"]](plant, unit)
    if "good" not in row:
        return None
    said, check = partial(_said, unit=unit) if unit else _at_any, row["check"]

    def shows(rig: Rig) -> str:
        dark = "unsupplied" in row and rig.snapshot().panels[unit] == "dark"
        return row.get("before", "").format(unit=unit) + (
            said(rig, check=check) or (row["unsupplied"][0] if dark else row["good"]))

    return shows


def _chances(plant: Plant, unit: str, row: Mapping) -> Callable[[Run], Mapping[str, float]] | None:
    """Return the chances of the outcomes of a check; None where drills alone have it."""
    if "tells" in row:
        return TELLS[row["tells"]](plant, unit)
    if "yes" not in row:
        return None

    def chances(run: Run) -> Mapping[str, float]:
        there = run.fault is not None and (not unit or run.fault.is_at(unit))
        otherwise = row["otherwise"]
        chance = run.fault.kind.shows.get(row["check"], ("", otherwise))[1] if there else otherwise
        # Without a supply nothing at it is lit, and what reads its lamps reads that.
        if "unsupplied" in row and not any(
                lamp.lit for lamp in run.effect.lamps_after if lamp.unit == unit):
            chance = max(chance, row["unsupplied"][1])
        return {row["yes"]: chance, row["no"]: 1.0 - chance}

    return chances


# ---------------------------------------------------------------- words and chances from the kinds


def _said(rig: Rig, unit: str, check: str) -> str:
    """Return what the faults that are on at a part show in a kind of check; empty for nothing."""
    faults = (rig.known_faults[each] for each in rig.faults)
    return "; ".join(filter(None, (fault.said_in(check) for fault in faults if fault.is_at(unit))))


def _at_any(rig: Rig, check: str) -> str:
    """Return what the faults that are on show in a kind of check, wherever they are."""
    said = (rig.known_faults[each] for each in rig.faults)
    return "; ".join(f"{each.unit}: {words}" for each in said if (words := each.said_in(check)))


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
    having, snapshot = _having(rig.plant), rig.snapshot()
    found = []
    for line in (*having["sync"], *having["bus"]):
        dead = [each for each in rig.plant.neighbours[line]
                if each in snapshot.repeaters and each not in snapshot.supplied]
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


def _versions(rig: Rig) -> str:
    said = [f"{unit}: {_said(rig, unit, 'versions') or APPROVED}" for unit in rig.plant.controllers]
    return "; ".join((*said, f"approved: {APPROVED}"))


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
    leader = next(iter(rig.snapshot().leaders), "none")
    before, happened = set(rig.snapshot().alarms), len(rig.happenings)
    answer = rig.request_role_change()
    rig.wait(30.0)
    kept = "the other unit" if rig.snapshot().leaders not in ((), (leader,)) else f"still {leader}"
    new = sorted(set(rig.snapshot().alarms) - before)
    names = dict.fromkeys(each.name for each in rig.happenings[happened:])
    return (f"asked: {answer.new}; leads now: {kept}; new alarms: {'; '.join(new) or 'none'}; "
            f"process: {', '.join(names) or 'steady'}")


# ---------------------------------------------------------------- lamps, supply, cables


def whose(plant: Plant) -> str:
    """Return whose record a plant has."""
    return "the pair" if plant.pair else "the controller"


def record_check(plant: Plant) -> str:
    """Return the name of the check that reads the record."""
    return f"record of {whose(plant)}"


def hall_check(plant: Plant) -> str:
    """Return the name of the check that reads all lamps where the controllers stand."""
    place = next((plant.parts[unit].place for unit in plant.controllers), "")
    return f"lamps in the {place.partition(',')[0] or 'cabinets'}"


def _lamps_of(unit: str) -> Callable[[Rig], str]:
    return lambda rig: f"{unit}: " + ", ".join(
        f"{lamp.name} {lamp.text}" for lamp in lamps_of(rig.snapshot()) if lamp.unit == unit)


def _lit(unit: str) -> Callable[[Run], Mapping[str, float]]:
    def chances(run: Run) -> Mapping[str, float]:
        lit = [f"{sign.removeprefix(f'{unit} ')} {value}" for sign, value in run.signs.items()
               if sign.startswith(f"{unit} ") and value != "dark"]
        return {", ".join(lit) or "all dark": 1.0}

    return chances


def _volts_at_units(plant: Plant) -> Callable[[Rig], str]:
    measured = [name for kind in ("controller", "repeater", "panel", "supply")
                for name in plant.of_kind(kind)]

    def shows(rig: Rig) -> str:
        faults = [rig.known_faults[each] for each in rig.faults]
        found = [f"{unit}: {'0.0' if _without_supply(plant, faults, unit) else '24.1'} V"
                 for unit in measured]
        low = [(unit, _said(rig, unit, "lowest voltage")) for unit in plant.parts]
        return "; ".join(found + [f"{unit} {words}" for unit, words in low if words])

    return shows


def _volts(plant: Plant, unit: str) -> Callable[[Run], Mapping[str, float]]:
    def chances(run: Run) -> Mapping[str, float]:
        gone = run.fault is not None and _without_supply(plant, [run.fault], unit)
        below = 0.98 if gone else 0.02
        return {"below 20.4 V": below, "20.4 to 28.8 V": 1.0 - below}

    return chances


def _without_supply(plant: Plant, faults: Iterable[Fault], unit: str) -> bool:
    """Return whether faults leave a part without supply, or are those of its supply itself."""
    gone = {name for fault in faults for name in fault.breaks
            if "24 V" in fault.kind.shows or plant.parts[name].kind in ("supply", "ups")}

    def dead(name: str) -> bool:
        feeds = plant.parts[name].fed_by
        return name in gone or bool(feeds) and all(map(dead, feeds))

    return dead(unit)


def _plugs(cables: list[str]) -> Callable[[Rig], str]:
    def shows(rig: Rig) -> str:
        said = {unit: _said(rig, unit, "plugs") for unit in cables}
        return "; ".join(f"{unit}: {words}" for unit, words in said.items() if words) or \
            "all tight, all through"

    return shows


# ---------------------------------------------------------------- the bus by a meter


def _halves(plant: Plant, unit: str) -> list[str]:
    """Return the bus lines on the sides of a repeater."""
    lines = _having(plant)["bus"]
    return [line for line in plant.neighbours[unit] if line in lines]


def _good_halves(plant: Plant, unit: str) -> Callable[[Rig], str]:
    halves = _halves(plant, unit)
    return lambda rig: "; ".join(
        f"{line}: {_said(rig, line, 'counters') or 'good frames'}" for line in halves)


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


def _ohms(plant: Plant, unit: str) -> Callable[[Run], Mapping[str, float]]:
    readings = bus_readings(length_of_part_m(plant.parts[unit]))
    # What reads like a good line is no state of its own to this check.
    return _states(unit, ["good", *(state for state, (ohm, _) in readings.items()
                                    if ohm != readings["good"][0])])


def _states(unit: str, states: list[str]) -> Callable[[Run], Mapping[str, float]]:
    """Return the chances of the states that a meter can tell of a bus."""
    def chances(run: Run) -> Mapping[str, float]:
        line = run.fault.kind.line if run.fault is not None and run.fault.unit == unit else {}
        found = {state: chance for state, chance in line.items() if state in states}
        found = found or {"good": 1.0}
        return {state: MISMEASURED / len(states) + (1.0 - MISMEASURED) * found.get(state, 0.0)
                for state in states}

    return chances


SHOWS: Mapping[str, Callable[[Plant, str], Callable[[Rig], str]]] = MappingProxyType({
    "book": lambda plant, unit: _book,
    "lamps": lambda plant, unit: _lamps_of(unit),
    "counters": lambda plant, unit: _counters,
    "cycles": lambda plant, unit: _cycles,
    "versions": lambda plant, unit: _versions,
    "24 V": lambda plant, unit: _volts_at_units(plant),
    "plugs": lambda plant, unit: _plugs([unit]),
    "plugs of links": lambda plant, unit: _plugs(_having(plant)["link"]),
    "plugs of the bus": lambda plant, unit: _plugs(_having(plant)["bus"]),
    "halves": _good_halves,
    "ohms": lambda plant, unit: lambda rig: f"{unit}, supplies off: {_line(rig, unit).words[0]}",
    "volts": lambda plant, unit: lambda rig: f"{unit}, nobody sends: {_line(rig, unit).words[1]}",
    "second reading": lambda plant, unit: _second_reading(unit),
    "role change": lambda plant, unit: _role_change,
})
"""What a check shows that says more than one fault by itself, for a plant and a unit."""

TELLS: Mapping[str, Callable[[Plant, str], Callable[[Run], Mapping[str, float]]]] = MappingProxyType({
    "first line": lambda plant, unit: lambda run: {_first_line(run): 1.0},
    "alarms": lambda plant, unit: lambda run: {"; ".join(told(run.effect)) or "no alarm": 1.0},
    "lamps": lambda plant, unit: _lit(unit),
    "24 V": _volts,
    "halves": lambda plant, unit: _half(_halves(plant, unit)),
    "ohms": _ohms,
    "volts": lambda plant, unit: _states(
        unit, list(line_states(length_of_part_m(plant.parts[unit])))),
})
"""From a run to the chances of the outcomes of such a check."""
