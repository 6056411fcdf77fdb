"""Checking a plant file: errors from its rules, doubts from the plant that it describes."""

import copy
import functools
import itertools
import operator
from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path

from labkit.plant import watching
from labkit.plant.file import Finding, find_file, read_file, schema
from labkit.plant.file_rules import Names, complaints
from labkit.plant.fitting import fitted, with_variant
from labkit.plant.plant import Plant, build
from labkit.plant.plant_data import AtLeast, Function, Reached, needs_of, racks_of
from labkit.plant.schema_words import LIST_WANTED, ONE_OF, SURE, a_kind
from labkit.plant.tank_data import TankSettings
from labkit.plant.toml_lines import line_of
from labkit.plant.wired_parts import PASSES
from labkit.plant.wiring import Whole, stops_alone
from labkit.wording import nearest

# By how much file and rig may differ in the share of failures that are noticed.
DIFFERS = 0.1
# What a rack reads or drives: needed by a function, it wants a wire to a rack.
FIELD = frozenset({"sensor", "analyser", "pump", "blower", "fan", "valve", "drive"})
# What does nothing without power; where the mains are in the file, they feed it somehow.
POWERED = frozenset({"controller", "rack", "panel", "switch", "repeater", "pump", "blower", "fan", "drive",
                     "server", "machine", "ups"})
FEEDS = frozenset({"mains", "supply", "ups", "machine", "other"})
POWER = frozenset({"mains", "supply", "ups"})
# Pairs of kinds that have a cable between them, which fails too.
APART = frozenset(map(frozenset, (
    ("controller",), ("interface",), ("rack",), ("controller", "interface"), ("rack", "panel"))))
# What neither runs nor rests, so that no other has to start for it.
NEVER_STARTED = frozenset({"rack", "interface", "cable", "repeater", "switch", "panel", "sensor"})
# Where a wrong number is no reason to be silent about the rest.
STAND_IN = {"mtbf_h": 100_000, "mttr_h": 4, "cost": 1, "longer_than_min": 1, "common_cause": 0.05,
            "at_least": 1, "what": "?"}

Doubt = tuple[str, str, str, str]


def check_file(path: str | Path) -> list[Finding]:
    """List everything that is wrong or doubtful in a plant file.

    Parameters
    ----------
    path : str or Path
        Path of a plant file, or the name of one that comes with the package.

    Returns
    -------
    list of Finding
        In the order of the lines; empty if there is nothing to say.

    Raises
    ------
    ValueError
        If there is no such file.

    Examples
    --------
    >>> check_file("brackenquay")
    []
    """
    path = find_file(path)
    document, findings, lines = read_file(path)
    errors = [each for each in findings if each.severity == "error"]
    found = list(findings)
    sound = _mended(document) if errors else document
    if sound is not None:
        for key, name, rule, what in _doubts(build(sound, str(path)), whole=not errors):
            found.append(Finding(_line(document, lines, key, name), f"{key} {name}".strip(), rule, what,
                                 "warning"))
    # What the rules have said is said once; a doubt of the plant comes after them.
    return sorted(dict.fromkeys(found), key=lambda each: each.line)


def _line(document: Mapping, lines: Mapping[tuple, int], key: str, name: str) -> int:
    if key in ("pair", "process", "how_often"):
        return line_of(lines, (key, name) if name else (key,))
    names = [table.get("designation") or table.get("name") or "+".join(table["parts"]) for table in document[key]]
    return line_of(lines, (key, names.index(name))) if name in names else 0


# ---------------------------------------------------------------- beside errors


def _mended(document: Mapping) -> dict | None:
    """Return a document with its errors put aside, for the doubts that do not rest on them.

    A number that is wrong has another in its place, a name that nobody has the nearest one. Where
    more than that is wrong the wires are not known, and there is nothing to say of the plant.
    """
    mended, rules = copy.deepcopy(dict(document)), schema()
    for _ in range(4):
        wrong = [(path, rule) for path, rule, _, severity in complaints(mended, rules)
                 if severity == "error"]
        if not wrong:
            return mended
        bad = {path[1] for path, _ in wrong if path[:1] == ("variant",) and len(path) > 1}
        if bad:
            # Each variant is a plant of its own: the others are looked at without it.
            mended["variant"] = [table for position, table in enumerate(mended["variant"])
                                 if position not in bad]
            continue
        if not all([_mend(mended, *each) for each in wrong]):
            return None
    return None


def _mend(document: dict, path: tuple, rule: str) -> bool:
    """Put another value where an error is, or take an entry that is not needed away."""
    missing = rule.removeprefix("must have ").split(" ")[0]
    if missing in STAND_IN:
        path = (*path, missing)
    if not path:
        return False
    *way, last = path
    try:
        holder = functools.reduce(operator.getitem, way, document)
    except (KeyError, TypeError):
        return False
    names = [name for _, name in Names(document).named[
        "function" if last == "function" else "part"]]
    if isinstance(holder, list):
        near = nearest(holder[last], names) if isinstance(holder[last], str) else None
        holder[last] = near or holder[last]
        return near is not None
    elif rule == LIST_WANTED and isinstance(holder.get(last), str):
        holder[last] = [holder[last]]
    elif last == "function" and isinstance(holder.get(last), str):
        holder[last] = nearest(holder[last], names) or (names[0] if names else "")
    elif last == "kind" and rule.startswith(ONE_OF) and isinstance(holder.get(last), str):
        near = nearest(holder[last], rule.removeprefix(ONE_OF).split(", "), SURE)
        holder[last] = near or holder[last]
        return near is not None
    elif last in STAND_IN:
        holder[last] = STAND_IN[last]
    elif isinstance(holder.get(last), int | float | str) and last not in ("designation", "name"):
        del holder[last]
    else:
        # Said twice of the same key: it is gone already.
        return last not in holder
    return True


# ---------------------------------------------------------------- what is doubtful in a plant


def _doubts(plant: Plant, whole: bool) -> Iterator[Doubt]:
    base = list(_wiring(plant))
    yield from base
    yield from _loose_ends(plant)
    yield from _unlike(plant)
    yield from _watched(plant)
    yield from _tank(plant)
    yield from _hidden_in_series(plant)
    said = {doubt[:3] for doubt in base}
    if whole:
        # Beside errors a variant may be left aside that uses it.
        yield from _unused(plant)
    for name in plant.variants:
        for *about, found in _wiring(plant.variant(name)):
            if tuple(about) not in said:
                said.add(tuple(about))
                key, what, rule = about
                yield "variant", name, f"as to {f'{key} {what}'.strip()} {rule}", found


def _wiring(plant: Plant) -> Iterator[Doubt]:
    """Yield what is doubtful in wires, feeds and needs, whatever the numbers are."""
    yield from _never(plant)
    yield from _unconnected(plant)
    yield from _joined(plant)
    yield from _out_of_reach(plant)
    yield from _sync(plant)
    yield from _feeds(plant)
    yield from _needs(plant)


def _loose_ends(plant: Plant) -> Iterator[Doubt]:
    """Yield what a signal enters and does not leave; in a variant a cable may lie idle."""
    for name, part in plant.parts.items():
        if part.kind in PASSES and len(plant.neighbours[name]) == 1 and not any(
                name in _named(each) for each in plant.functions_counted.values()):
            yield ("part", name, "should join two things, for signals pass through it",
                   plant.neighbours[name][0])


def _unused(plant: Plant) -> Iterator[Doubt]:
    """Yield what stands in the file and acts on nothing."""
    document = plant.document
    variants = document.get("variant", ())
    fit = {name for table in variants for name in table.get("fit", ())}
    for table in document["part"]:
        if not table.get("fitted", True) and table["designation"] not in fit:
            yield "part", table["designation"], "should be fitted by a variant", "fitted = false"
    for table in document.get("shared_event", ()):
        if len(table["breaks"]) == 1:
            yield ("shared_event", table["name"], "should break several parts, for one fails by its own "
                   "mtbf_h", table["breaks"][0])
    built = {}
    for table in variants:
        made = repr(sorted(fitted(with_variant(document, table["name"])).items()))
        first = built.setdefault(made, table["name"])
        if first != table["name"]:
            yield "variant", table["name"], "should differ from every other variant", f"like {first}"
    groups = {fault.kind.of for each in (plant, *map(plant.variant, plant.variants))
              for fault in watching.faults_of(each).values()}
    for of in plant.how_often:
        if of not in groups:
            yield "how_often", of, "should name kinds of fault that something in the plant has", "none"


def _never(plant: Plant) -> Iterator[Doubt]:
    for name, function in plant.functions_counted.items():
        if plant.condition(name) is False:
            units = plant.leading(function)
            lost = [f"no way from {' or '.join(units) or 'any controller'} to {rack}"
                    + _beside_the_pair(plant, rack)
                    for racks in racks_of(function) for rack in racks if _cut_off(plant, rack, units)]
            yield ("function", name, "must be able to work with all parts whole",
                   "; ".join(lost) or "no controller that reaches all of its racks")


def _cut_off(plant: Plant, rack: str, units: Iterable[str]) -> bool:
    return not any(plant.ways(unit, rack) for unit in units)


def _beside_the_pair(plant: Plant, rack: str) -> str:
    """Say which other controller has a way to a rack, and where to write it."""
    others = [name for name in plant.of_kind("controller") if plant.ways(name, rack)]
    return f" (write by = {others} if these lead)".replace("'", '"') if others else ""


def _unconnected(plant: Plant) -> Iterator[Doubt]:
    used = {name for part in plant.parts.values() for name in part.fed_by}
    used |= {name for name, others in plant.neighbours.items() if others}
    used |= {name for function in plant.functions_counted.values() for name in _named(function)}
    used |= {*plant.of_kind("voter")} if plant.pair is not None else set()
    for name in plant.parts:
        if name not in used:
            yield "part", name, "should join, feed or be needed by something", "nothing"


def _joined(plant: Plant) -> Iterator[Doubt]:
    """Yield wires that are none, and interfaces of several racks."""
    for name, part in plant.parts.items():
        for other in part.joins:
            kinds = part.kind, plant.parts[other].kind
            if POWER & {*kinds}:
                yield ("part", name, "joins should name what signals go to: a feed is named in fed_by of "
                       "what it feeds", f"{other}, {a_kind(kinds[1])}")
            elif frozenset(kinds) in APART:
                yield ("part", name, f"should join {other} over a cable or a switch, which can fail too",
                       f"{kinds[0]} at {kinds[1]}")
        racks = [each for each in plant.neighbours[name] if plant.parts[each].kind == "rack"]
        if part.kind == "interface" and len(racks) > 1:
            yield "part", name, "should join the one rack that it is an interface of", ", ".join(racks)


def _named(function: Function) -> set[str]:
    """Return every part that the needs of a function name."""
    return _reached(function) | {each for each in needs_of(function) if isinstance(each, str)}


def _out_of_reach(plant: Plant) -> Iterator[Doubt]:
    """Yield controllers without a way to racks that others reach, and racks that nobody reaches."""
    wanted: dict[str, set[str]] = {}
    for function in plant.functions_counted.values():
        for racks in racks_of(function):
            for unit in plant.leading(function):
                wanted.setdefault(unit, set()).update(
                    rack for rack in racks if not _cut_off(plant, rack, plant.leading(function)))
    for unit, racks in wanted.items():
        lost = [rack for rack in sorted(racks) if not plant.ways(unit, rack)]
        if lost:
            yield ("part", unit, "should have a way to every rack that a function needs, "
                   "for else it cannot take over", f"none to {', '.join(lost)}")
    units = plant.of_kind("controller")
    asked = set().union(*map(_named, plant.functions_counted.values()))
    for rack in sorted({*plant.of_kind("rack")} - asked) if units else ():
        cut_off = _cut_off(plant, rack, units)
        yield ("part", rack, "should have a way to a controller over cables" if cut_off else
               "should be in reached of a function, for else no sum counts it and who leads it", "none")
    led = {*plant.controllers}
    for each in plant.functions_counted.values():
        led |= _named(each) | {*each.by}
    for unit in units:
        if unit not in led:
            yield ("part", unit, "should lead for a function (by), or be needed by one: the pair leads "
                   "for all others", "neither")


def _reached(function: Function) -> set[str]:
    return {rack for racks in racks_of(function) for rack in racks}


def _sync(plant: Plant) -> Iterator[Doubt]:
    if plant.pair is None:
        return
    if not plant.pair.sync:
        yield ("pair", "", "should name the sync cables over which the standby follows (sync)",
               "none")
    for cable in plant.pair.sync:
        lost = [unit for unit in plant.pair.units if not any(
            all(plant.parts[name].kind != "interface" for name in way)
            for way in plant.ways(unit, cable))]
        if lost:
            yield ("part", cable, "should join both units of the pair, for it is their sync cable",
                   f"no way to {' and '.join(lost)}")
        ends = [end for end in plant.of_kind("rack", "panel") if any(
            cable in way for unit in plant.pair.units for way in plant.ways(unit, end))]
        if ends:
            yield ("part", cable, "should carry the sync of the pair alone, for else one cut takes that and "
                   "more", f"the way to {', '.join(ends)} too")


def _feeds(plant: Plant) -> Iterator[Doubt]:
    for name, part in plant.parts.items():
        if part.kind == "ups" and part.fed_by and not part.battery_h:
            yield ("part", name, "should have battery_h, for else it is gone at once with what feeds "
                   "it", ", ".join(part.fed_by))
        if part.kind == "mains" and part.fed_by:
            yield ("part", name, "fed_by should be left out of the mains: what they feed names them",
                   ", ".join(part.fed_by))
        pair = {feed for unit in plant.controllers for feed in plant.parts[unit].fed_by}
        if part.kind == "voter" and part.fed_by and {*part.fed_by} <= pair:
            yield ("part", name, "should have a feed of its own, for else it is lost with the pair",
                   ", ".join(part.fed_by))
        odd = [feed for feed in part.fed_by if plant.parts[feed].kind not in FEEDS]
        if odd:
            yield ("part", name, f"fed_by should name what feeds it: {', '.join(sorted(FEEDS))}",
                   ", ".join(f"{feed}, {a_kind(plant.parts[feed].kind)}" for feed in odd))
    groups = [*(twins.parts for twins in plant.twins), *([plant.pair.units] if plant.pair else []),
              *(function.reached for function in plant.functions_counted.values())]
    forgotten = {}
    for group in groups:
        there = [plant.parts[name] for name in group if name in plant.parts]
        fed = [part.designation for part in there if part.fed_by]
        forgotten |= {part.designation: fed[0] for part in there if fed and not part.fed_by}
    for name, other in forgotten.items():
        yield ("part", name, f"should name what feeds it (fed_by), as {other} does", "nothing")
    mains = {*plant.of_kind("mains")}
    beside = {name for part in plant.parts.values() if mains & {*part.fed_by} for name in part.fed_by}
    if beside:
        for name in plant.of_kind(*POWERED):
            if not plant.parts[name].fed_by and name not in beside.union(forgotten):
                yield ("part", name, "should name what feeds it (fed_by), for else it works on while the "
                       "mains are out", "nothing")


def _needs(plant: Plant) -> Iterator[Doubt]:
    """Yield what a function needs and yet does not say."""
    for name, function in plant.functions_counted.items():
        together = [entry for entry in function.needs if isinstance(entry, Reached)]
        if len(together) + bool(function.reached) > 1:
            yield ("function", name, "should name all racks in one reached, for one controller has "
                   "to reach them together", f"{len(together) + bool(function.reached)} of them")
        yield from _counted_already(plant, function)
        racks = _reached(function) & {*plant.of_kind("rack")}
        if racks:
            for part in sorted(_named(function) & {*plant.of_kind(*FIELD)}):
                yield from _field(plant, name, part, racks)
        for panel in sorted(_named(function) & {*plant.of_kind("panel")} - _reached(function)):
            yield from _panel(plant, name, panel)


def _counted_already(plant: Plant, function: Function) -> Iterator[Doubt]:
    """Yield needs that ask once more for a rack, a part of its way, or what feeds another need."""
    left = sorted(_named(function) & {*plant.of_kind("rack", "interface")} - _reached(function))
    if left:
        yield ("function", function.name, "needs should leave racks and interfaces to reached, which asks "
               "for a way to a rack too", ", ".join(left))
    fed = {*(_named(function) - {*plant.of_kind(*POWER)}),
           *(plant.leading(function) if racks_of(function) else ())}
    feeds: set[str] = set()
    while fed:
        fed = {feed for name in fed for feed in plant.parts[name].fed_by} - feeds
        feeds |= fed
    twice = [name for name in function.needs if isinstance(name, str) and name in feeds]
    if twice:
        yield ("function", function.name, "needs should leave out what feeds the others, for they are lost "
               "with it where no other feed is left", ", ".join(twice))


def _field(plant: Plant, function: str, part: str, racks: Collection[str]) -> Iterator[Doubt]:
    at = [rack for rack in plant.of_kind("rack") if plant.ways(part, rack)]
    if not at:
        yield ("part", part, "should have a way to a rack, for a function with reached needs it",
               "none")
    elif not racks & {*at}:
        yield ("function", function, f"should have the rack of {part} in reached: {' or '.join(at)}",
               ", ".join(sorted(racks)))


def _panel(plant: Plant, function: str, panel: str) -> Iterator[Doubt]:
    """Yield a panel that is needed while nothing on its way to a controller is."""
    leading = plant.leading(plant.functions_counted[function])
    ways = [way for unit in leading for way in plant.ways(unit, panel)]
    needed = _named(plant.functions_counted[function])
    on_all = set.intersection(*map(set, ways)) if ways else set()
    left_out = sorted(on_all - needed)
    if leading and not ways:
        yield ("part", panel, "should have a way to a controller over cables", "none")
    elif left_out:
        yield ("function", function, f"should have {panel} in reached, or need all that it cannot do "
               "without on its way to a controller", f"needs without {', '.join(left_out)}")


def _unlike(plant: Plant) -> Iterator[Doubt]:
    """Yield groups of parts of several kinds, and changeovers that no function counts so."""
    for key, groups in (("twins", plant.twins), ("changeover", plant.changeovers),
                        ("spare", plant.spares)):
        for group in groups:
            kinds = {plant.parts[name].kind: name for name in group.parts}
            if len(kinds) > 1:
                yield (key, "+".join(group.parts) if key == "twins" else group.name,
                       "should name parts of one kind",
                       " and ".join(f"{name}, {a_kind(kind)}" for kind, name in kinds.items()))
    for twins in plant.twins:
        for entry in (each for function in plant.functions_counted.values()
                      for each in _choices(function)):
            like = {name for name in entry.of if isinstance(name, str)
                    and plant.parts[name].kind == plant.parts[twins.parts[0]].kind}
            left_out = sorted(like - {*twins.parts})
            if left_out and like > {*twins.parts}:
                yield ("twins", "+".join(twins.parts), "should name all like parts of which a function "
                       "needs some, for else those left out share no cause with them",
                       f"none with {', '.join(left_out)}")
    shared = [{*plant.pair.units}] if plant.pair is not None else []
    shared += [{*each.parts} for each in plant.twins]
    shared += [{*event.breaks} for event in plant.shared_events.values() if event.mtbf_h is not None]
    alone = {}
    for name, function in plant.functions_counted.items():
        for entry in _choices(function):
            kinds: dict[str, list[str]] = {}
            for each in entry.of if entry.k < len(entry.of) else ():
                if isinstance(each, str):
                    kinds.setdefault(plant.parts[each].kind, []).append(each)
            alone |= {tuple(like): name for like in kinds.values() if len(like) > 1
                      and not any(len(group & {*like}) > 1 for group in shared)}
    for like, name in alone.items():
        yield ("function", name, "should have [[twins]] for like parts of which some are enough, for they "
               "fail together now and then", f"none for {', '.join(like)}")
    for group, (name, function) in itertools.product(
            (*plant.twins, *plant.changeovers), plant.functions_counted.items()):
        if {*group.parts} <= {each for each in function.needs if isinstance(each, str)}:
            yield ("function", name, "needs should say at_least where one of them does without another, "
                   "for a list needs them all", ", ".join(group.parts))
    for duty in plant.changeovers:
        still = [name for name in duty.parts if plant.parts[name].kind in NEVER_STARTED]
        if still:
            yield ("changeover", duty.name, "should name parts that run and rest, as pumps do",
                   ", ".join(f"{name}, {a_kind(plant.parts[name].kind)}" for name in still))
        asked = {entry.k for function in plant.functions_counted.values()
                 for entry in _choices(function) if {*entry.of} & {*duty.parts}}
        if asked and duty.running not in asked:
            yield ("changeover", duty.name, "running should be how many a function needs (at_least), "
                   f"{' or '.join(map(str, sorted(asked)))}", str(duty.running))


def _choices(function: Function) -> Iterator[AtLeast]:
    return (entry for entry in needs_of(function) if isinstance(entry, AtLeast))


def _hidden_in_series(plant: Plant) -> Iterator[Doubt]:
    """Yield parts whose stated share cannot count: where they fail, the outage tells of it."""
    for name, part in plant.parts.items():
        if part.noticed is None or part.noticed == 1:
            continue
        conditions = {each: plant.condition(each) for each in plant.functions_counted}
        counts = [each for each, condition in conditions.items()
                  if name in {part for one in plant.single_failures(condition).values()
                              for part in one.parts}]
        if counts and not any(map(plant.stands_idle, counts)) and all(
                Whole(name) in stops_alone(conditions[each]) for each in counts):
            yield ("part", name, "noticed below 1 should be left out where nothing stands beside the "
                   f"part: the outage of {' and '.join(counts)} tells of each failure (a function "
                   "that nobody misses has idle_h)", f"{part.noticed:g}")


def _tank(plant: Plant) -> Iterator[Doubt]:
    """Yield what the tank would take from a part that the file has not: the name of the lessons."""
    tank = TankSettings.from_mapping(plant.process)
    for key in ("pump_rack", "valve_rack", "level_sensor") if plant.process else ():
        if getattr(tank, key) not in plant.parts:
            yield ("process", "", f"should say {key}, for else no fault there is seen at the tank",
                   f"none, and no {getattr(tank, key)} in the file")


def _watched(plant: Plant) -> Iterator[Doubt]:
    """Yield what the file says of noticed failures otherwise than the rig, without a note."""
    pair = plant.pair
    counted = {name for function in plant.functions_counted
               for each in plant.single_failures(plant.condition(function)).values()
               for name in each.parts}
    for name, part in plant.parts.items():
        if pair is not None and name in pair.units:
            continue
        if part.noticed is None and name not in counted:
            continue
        rig = plant.share_seen(name)
        if part.noticed is not None:
            if abs(part.noticed - rig) > DIFFERS and not part.noticed_note:
                yield ("part", name, f"noticed should be what the rig shows, {rig:.2g}, or "
                       "have a noticed_note that says who notices them or why not",
                       f"{part.noticed:g}")
        elif rig < 0.5 and "test_interval_h" not in _table(plant, name):
            yield ("part", name, "should say noticed or test_interval_h, for no lamp, alarm "
                   "or process shows most of its failures",
                   f"neither; a test every {part.test_interval_h:g} h is taken")
    if pair is not None:
        rig = min(map(plant.share_seen, pair.units))
        if abs(pair.diagnosed - rig) > DIFFERS and not pair.source_note:
            yield ("pair", "", f"diagnosed should be what the rig shows, {rig:.2g}, or have "
                   "a source_note", f"{pair.diagnosed:g}")


def _table(plant: Plant, name: str) -> Mapping:
    return next(each for each in plant.document["part"] if each["designation"] == name)
