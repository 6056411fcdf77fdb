"""The rules of a plant file: its JSON Schema, and what a schema cannot see.

A complaint is a tuple (path, rule, found, severity); a path is the keys (str) and positions (int,
from 0) that lead to the place in the document.
"""

import dataclasses
import graphlib
import itertools
import math
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping
from types import MappingProxyType

from labkit.plant import watching
from labkit.plant.file_doubts import doubts, ranges_in
from labkit.plant.fitting import with_variant
from labkit.plant.schema_words import (
    MISSING,
    SURE,
    Wrong,
    a_kind,
    cut,
    in_words,
    quoted,
    schema_errors,
    tables_at,
    values,
)
from labkit.plant.tank_data import TankSettings
from labkit.reading import read_table
from labkit.wording import did_you_mean
from labkit.writing import is_odd

# Feeds in turn, and variants on one another. What is fed twice at every step has 2 ** steps ways.
MOST_STEPS = 16
# What can be counted with, whatever is multiplied with it; a share keeps so far from sure.
SMALLEST, LARGEST = 1e-12, 1e15
# Texts that may have several lines; every other one stands in a table or a drawing.
LONG_TEXTS = ("about", "source_note", "noticed_note")
# Letters of a text on one line, and of a long one: what a cell of a paper, or a page of it, holds.
MOST_LETTERS, MOST_LONG = 200, 4000
_TABLE = read_table(__file__)


def complaints(document: dict, schema: dict) -> Iterator[tuple[tuple, str, str, str]]:
    """Yield path, rule, found and severity of everything that is wrong in a document.

    Parameters
    ----------
    document : dict
        Any TOML document.
    schema : dict
        The JSON Schema of plant files.

    >>> from labkit.plant.file import schema
    >>> len(list(complaints({}, schema())))
    4
    """
    by_schema = list(_against_schema(document, schema))
    by_name = list(_against_names(Names(document)))
    refused = {path if isinstance(path[-1], str) else path[:-1] for path, _, found in by_schema
               if path and found not in MISSING}
    sound = _without(document, refused)
    tank = "process" in sound and all(path[:1] != ("process",) for path, *_ in by_schema)
    errors = itertools.chain(
        by_schema, _against_tank(document["process"]) if tank else (), _against_shares(sound),
        _against_limits(sound), by_name,
        () if by_schema or by_name else _against_fitting(document))
    for path, rule, found in errors:
        yield path, rule, cut(found, MOST_LETTERS), "error"
    # A number beside the usual is a doubt in a file with errors too; what is refused is not missing.
    for path, rule, found in doubts(sound):
        there = any(each[:-1] == path for each in refused) if found in MISSING else path in refused
        if not there:
            yield path, rule, found, "warning"


def _against_schema(document: dict, schema: dict) -> Wrong:
    yield from schema_errors(document, schema)
    for path, value in values(document):
        if isinstance(value, float) and not math.isfinite(value):
            yield path, "must be finite", repr(value)
        elif type(value) in (int, float) and not _in_reach(value):
            yield path, (f"must be 0, or at least {SMALLEST:g} from 0 and below {LARGEST:g}; below 1 "
                         f"also {SMALLEST:g} from 1"), f"{value:g}"
        for text in (*path[-1:], value):
            most = MOST_LONG if path[-1:] and path[-1] in LONG_TEXTS else MOST_LETTERS
            if isinstance(text, str) and len(text) > most:
                yield path, f"must have at most {most} letters", f"{len(text)}"
            elif isinstance(text, str) and (odd := _odd_letter(text, path[-1] in LONG_TEXTS)):
                rule = "must be one line" if odd == "\n" else (
                    "must have no control, direction or invisible letters")
                yield path, rule, f"U+{ord(odd):04X}"


def _in_reach(value: float) -> bool:
    return value in (0, 1) or (
        SMALLEST <= abs(value) < LARGEST and not 1 - SMALLEST < value < 1)


def _odd_letter(text: str, lines: bool) -> str | None:
    return next((each for each in text if is_odd(each) and not (lines and each in "\n\t")), None)


# ---------------------------------------------------------------- what a schema cannot see


def _by_way(ways_of: Mapping[str, Iterable[str]]) -> Mapping[tuple, str]:
    """Return what stands at each way; a way is the keys with dots, * for a position in a list."""
    return MappingProxyType({
        tuple(None if step == "*" else step for step in way.split(".")): what
        for what, ways in ways_of.items() for way in ways})


NAMED, MENTIONED = _by_way(_TABLE["named"]), _by_way(_TABLE["mentioned"])
WANTED = _TABLE["wanted"]
# What fails or happens by its own name beside the parts.
HAPPENING = ("event", "maintenance", "changeover")


# Kinds of part whose faults act in the rig each in its own way.
RUN_KINDS = ("controller", "rack", "interface", "cable", "repeater", "switch", "panel", "supply", "ups",
             "sensor", "voter")


class Names:
    """Every name in a document, and every mention of one; wrong types are passed over."""

    def __init__(self, document: dict) -> None:
        self.document = document
        self.named: dict[str, list[tuple[tuple, str]]] = {kind: [] for kind in NAMED.values()}
        self.mentions: list[tuple[tuple, str, str]] = []
        for path, value in values(document):
            if isinstance(value, str):
                way = tuple(step if isinstance(step, str) else None for step in path)
                if way in NAMED:
                    self.named[NAMED[way]].append((path, value))
                if role := MENTIONED.get(_without_choices(way)):
                    self.mentions.append((path, value, role))
        self.parts = {name: document["part"][path[1]] for path, name in self.named["part"]}
        self.units = [name for path, name, role in self.mentions if role == "units"]

    def owner(self, path: tuple) -> str | None:
        """Return the designation of the part whose table a path leads into, if there is one."""
        return self.document["part"][path[1]].get("designation") if path[0] == "part" else None


def _without_choices(way: tuple) -> tuple:
    """Return a way without the choices that it leads through: what is needed in one is needed."""
    while way[:3] == ("function", None, "needs") and way[4:6] == ("of", None):
        way = way[:4] + way[6:]
    return way


def _against_names(names: Names) -> Wrong:
    yield from _doubles(names)
    for path, name, role in names.mentions:
        kind = role if role in WANTED else "part"
        known = [each for _, each in names.named[kind]]
        if name not in known:
            rule = f"name of {WANTED[role]}" if role in WANTED else "designation of a part"
            yield path, f"must be the {rule}", quoted(name) + did_you_mean(name, known, cutoff=0.5)
        elif kind == "part":
            yield from _against_role(names, path, name, role)
    yield from _circles(names)
    yield from _pair_alike(names)
    yield from _one_writer(names)
    for path, value in values(names.document):
        if path[:1] == ("function",) and path[2:3] == ("needs",) and isinstance(value, dict):
            k, of = value.get("at_least"), value.get("of")
            if isinstance(k, int) and isinstance(of, list) and k > len(of):
                yield (*path, "at_least"), f"must be <= {len(of)}, how many there are", str(k)


def _against_role(names: Names, path: tuple, name: str,
                  role: str) -> Wrong:
    """Yield what is wrong with a part in the place where it is mentioned."""
    kind = names.parts[name].get("kind")
    wanted, no_units = _TABLE["kinds"].get(role), _TABLE["no_units"]
    if wanted and kind and isinstance(kind, str) and kind not in wanted:
        yield path, f"must name {' or '.join(f'{each}s' for each in wanted)}", f"{name}, {a_kind(kind)}"
    elif role == "spare parts" and kind == "mains":
        yield path, "must not name mains, which no spare mends", name
    elif role == "mode parts" and kind in RUN_KINDS:
        yield path, f"must not name a {kind}, whose kinds of fault the rig runs (write how_often)", name
    elif role in no_units and name in names.units:
        yield path, "must not name a unit of the pair" + no_units[role], name
    elif role == "fit" and names.parts[name].get("fitted") is not False:
        yield path, "must name parts with fitted = false", name
    elif role in ("fed_by", "joins") and names.owner(path) == name:
        yield path, "must not name the part itself", name


def _doubles(names: Names) -> Wrong:
    happening = set(names.parts)
    for kind, found in names.named.items():
        seen = happening if kind in HAPPENING else set()
        rule = "must differ from every part and every other event" if kind in HAPPENING else (
            f"must differ from that of every other {kind}")
        for path, name in found:
            if name != name.strip():
                yield path, "must have no blank at its ends", quoted(name)
            if name in seen:
                yield path, rule, name
            seen.add(name)
    for role, rule in (("twins", "must be in one group of twins only"),
                       ("spare parts", "must have one spare only"),
                       ("changeover parts", "must be in one changeover only")):
        grouped = Counter()
        for path, name, mentioned in names.mentions:
            if mentioned == role:
                grouped[name] += 1
                if grouped[name] == 2:
                    yield path, rule, name


def _circles(names: Names) -> Wrong:
    for kind, key, role in (("part", "fed_by", "fed_by"), ("variant", "like", "variant")):
        where = {name: path[:-1] for path, name in names.named[kind]}
        tables = {path: name for name, path in where.items()}
        after: dict[str, list[str]] = {name: [] for name in where}
        for path, name, mentioned in names.mentions:
            table = tables.get(path[:2])
            if mentioned == role and table is not None and not (kind == "part" and name == table):
                after[table].append(name)
        circles = list(_rounds(after))
        for name, way in circles:
            yield (*where[name], key), "must not lead round in a circle", way
        if not circles:
            for name in _far(after):
                yield ((*where[name], key), f"must lead through at most {MOST_STEPS} others in turn",
                       f"more from {name} on")


def _rounds(after: Mapping[str, Iterable[str]]) -> Iterator[tuple[str, str]]:
    """Yield circles until none is left: the name that comes first, and the way round."""
    left, order = dict(after), list(after)
    while True:
        try:
            return graphlib.TopologicalSorter(left).prepare()
        except graphlib.CycleError as error:
            circle = error.args[1][:0:-1]
        begin = circle.index(min(circle, key=order.index))
        circle = circle[begin:] + circle[:begin]
        del left[circle[0]]
        shown = circle if len(circle) <= MOST_STEPS else [*circle[:3], f"... ({len(circle)} in all)"]
        yield circle[0], " > ".join((*shown, circle[0]))


def _far(after: Mapping[str, Iterable[str]]) -> Iterator[str]:
    """Give the names from which it is one step too many; there are no circles."""
    steps: dict[str, int] = {}
    for name in graphlib.TopologicalSorter(after).static_order():
        steps[name] = 1 + max((steps[other] for other in after.get(name, ())), default=-1)
    return (name for name, count in steps.items() if count == MOST_STEPS + 1)


def _pair_alike(names: Names) -> Wrong:
    pairs: dict[tuple, list[str]] = {}
    for path, name, role in names.mentions:
        if role == "units":
            pairs.setdefault(path[:-1], []).append(name)
    fits = {name: path[1] for path, name, role in names.mentions if role == "spare parts"}
    for path, units in pairs.items():
        tables = [names.parts[unit] for unit in units if unit in names.parts]
        if len(tables) == 2:
            for key in ("mtbf_h", "mttr_h", "ageing_shape", "replaced_after_h"):
                one, two = (table.get(key) for table in tables)
                if one != two:
                    yield path, f"must name two units with the same {key}", f"{one} and {two}"
            if fits.get(units[0]) != fits.get(units[1]):
                without = ", ".join(unit for unit in units if unit not in fits)
                yield path, "must name two units that one spare fits", (
                    f"no spare with {without} in parts" if without else "two spares")


def _one_writer(names: Names) -> Wrong:
    """Yield racks of functions that others lead, which functions of the pair reach too."""
    reached: dict[str, dict[bool, tuple]] = {}
    for path, name, role in names.mentions:
        if role == "reached" and path[0] == "function" and names.parts.get(name, {}).get("kind") == "rack":
            reached.setdefault(name, {})[bool(names.document["function"][path[1]].get("by"))] = path
    for name, paths in reached.items():
        if len(paths) == 2:
            yield paths[True], ("must be a rack that no function without by reaches, for a rack takes "
                                "writes from one pair"), name


def _against_fitting(document: dict) -> Wrong:
    """Yield what is missing in the plant as it stands, then in each variant."""
    as_it_stands = [*_missing(document)]
    yield from as_it_stands
    for position, table in enumerate(document.get("variant", ())):
        for path, rule, found in _missing(with_variant(document, table["name"])):
            if (path, rule, found) in as_it_stands:
                continue
            yield ("variant", position), f"as to {in_words(document, path)} {rule}", found


def _missing(document: dict) -> Wrong:
    there = {table["designation"]: table for table in document["part"]
             if table.get("fitted", True)}
    for position, table in enumerate(document["part"]):
        feeds = table.get("fed_by", ())
        if table["designation"] in there and feeds and not there.keys() & set(feeds):
            yield (("part", position, "fed_by"), "must name a part that is fitted",
                   ", ".join(feeds))

    def gone(path: tuple, entry, chosen: bool = False) -> Wrong:
        if isinstance(entry, str):
            if entry not in there and not chosen:
                yield path, "must name a part that is fitted", entry
        elif "reached" in entry:
            for position, rack in enumerate(entry["reached"]):
                yield from gone((*path, "reached", position), rack)
        else:
            left = [each for each in entry["of"] if not isinstance(each, str) or each in there]
            if entry["at_least"] > len(left):
                yield ((*path, "at_least"), f"must be <= {len(left)}, how many are fitted",
                       str(entry["at_least"]))
            for position, each in enumerate(entry["of"]):
                yield from gone((*path, "of", position), each, chosen=True)

    for position, table in enumerate(document["function"]):
        for key in ("reached", "needs"):
            for place, entry in enumerate(table.get(key, [])):
                yield from gone(("function", position, key, place), entry)
        if "by" in table and not there.keys() & {*table["by"]}:
            yield ("function", position, "by"), "must name a part that is fitted", ", ".join(table["by"])
    beside = {name for table in document["function"] for name in table.get("by", ())}
    leading = [name for name, table in there.items()
               if table["kind"] == "controller" and name not in beside]
    units = [name for name in document.get("pair", {}).get("units", ()) if name in there]
    if len(leading) > 1 and len(units) < 2:
        yield ("pair",), ("must say which two controllers belong together: units = [...] in [pair], or "
                          "in pair of the variant that fits the second; one that leads something else "
                          "stands in by of its function"), ", ".join(leading)
    elif "pair" in document and "units" not in document["pair"]:
        yield ("pair",), "must have units, for the file has no [pair]", "none"
    grouped = Counter(name for table in document.get("twins", ()) for name in table["parts"])
    for name, count in grouped.items():
        if count > 1:
            yield ("twins",), "must have a part in one group only", name
    for position, table in enumerate(document.get("changeover", ())):
        count = len(there.keys() & set(table["parts"]))
        if 1 < count <= table.get("running", 1):
            yield ("changeover", position, "running"), f"must be below {count}, how many are fitted", (
                str(table.get("running", 1)))
    for position, table in enumerate(document.get("shared_event", ())):
        if ("mtbf_h" in table) != ("mttr_h" in table):
            yield ("shared_event", position), "must have mtbf_h and mttr_h, or neither", "one of them"


def _against_tank(process: dict) -> Wrong:
    """Yield what the header tank refuses; its settings know their rules."""
    known = [field.name for field in dataclasses.fields(TankSettings)]
    for key in process.keys() - {*known}:
        yield ("process", key), "must be a key of the format", f"{key}{did_you_mean(key, known, cutoff=SURE)}"
    try:
        TankSettings.from_mapping({key: process[key] for key in known if key in process})
    except (TypeError, ValueError) as error:
        rule, _, found = str(error).partition(", got ")
        key, _, rest = rule.partition(" ")
        if key in process and rest.startswith("must"):
            yield ("process", key), rest, found
        else:
            yield ("process",), rule, found


def _without(value, refused: Collection[tuple], path: tuple = ()):
    """Return a document without what its schema refuses, so that what is left has its form."""
    if isinstance(value, dict):
        return {key: _without(each, refused, (*path, key)) for key, each in value.items()
                if (*path, key) not in refused}
    if isinstance(value, list):
        return [_without(each, refused, (*path, place)) for place, each in enumerate(value)]
    return value


def _against_shares(document: dict) -> Wrong:
    """Yield groups of kinds of fault of which, by their shares, none ever comes."""
    for of, table in document.get("how_often", {}).items():
        shares = [table.get(kind.how, kind.share) for kind in watching.fault_kinds()
                  if kind.of == of and kind.share is not None]
        if shares and not any(shares):
            yield ("how_often", of), "must have a share above 0, for they make up all failures", (
                "0 for every kind")


def _against_limits(document: dict) -> Wrong:
    """Yield limits that do not stand on both sides of their number, and keys for the mains only."""
    for path, value, (low, high) in ranges_in(document):
        if value is None:
            yield path, f"must go with {path[-1]} of the same table", "none"
        elif not (low <= value <= high and low < high):
            yield path, f"must be [low, high] with {value:g} between them", quoted([low, high])
    stated = {table.get("designation"): path for path, table in tables_at(document, "part")
              if "noticed" in table}
    seen = set()
    for path, table in tables_at(document, "mode"):
        for name in table.get("parts", ()) if "how" in table else ():
            if "noticed" in table and name in stated:
                yield (*stated[name], "noticed"), "must stand at the part or at its modes", "both"
            if (name, table["how"]) in seen:
                yield (*path, "how"), f"must differ from every other mode of {name}", table["how"]
            seen.add((name, table["how"]))
    for path, table in tables_at(document, "part"):
        if "short_cuts" in table and table.get("kind") != "mains":
            yield (*path, "short_cuts"), "must stand at a part of kind mains", str(table.get("kind"))
        elif "short_cuts" in table and table.get("designation") in {name for name, _ in seen}:
            yield (*path, "short_cuts"), "must be one of its modes, which make up all failures", "both"
