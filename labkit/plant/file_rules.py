"""The rules of a plant file: what its JSON Schema sees, and what a schema cannot see.

A complaint is a tuple (path, rule, found, severity); a path is the keys (str) and positions (int,
from 0) that lead to the place in the document.
"""

import difflib
import graphlib
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from labkit.plant.fitting import with_variant
from labkit.plant.tank_data import TankSettings
from labkit.writing import is_odd

__all__ = ["USUAL_RANGES", "UsualRange", "complaints", "in_words", "values"]

# Feeds in turn, and variants on one another. What is fed twice at every step has 2 ** steps ways.
MOST_STEPS = 16
# What can be counted with, whatever is multiplied with it; a share keeps so far from sure.
SMALLEST, LARGEST = 1e-12, 1e15
# Texts that may have several lines; every other one stands in a table or a drawing.
LONG_TEXTS = ("about", "source_note", "noticed_note")


@dataclass(frozen=True)
class UsualRange:
    """Hold within which limits the numbers of one class of parts usually lie, hours.

    >>> UsualRange((30_000, 150_000), (1, 4)).mtbf_h
    (30000, 150000)
    """

    mtbf_h: tuple[float, float]
    mttr_h: tuple[float, float]


# Common practice: engineering ranges, repair with the spare on site. Not quoted from a collection.
USUAL_RANGES: Mapping[str, UsualRange] = MappingProxyType({
    "controller": UsualRange((30_000, 150_000), (1, 4)),
    "rack": UsualRange((80_000, 300_000), (0.5, 3)),
    "interface": UsualRange((80_000, 300_000), (0.5, 3)),
    "module": UsualRange((80_000, 300_000), (0.5, 3)),
    "supply": UsualRange((100_000, 500_000), (1, 3)),
    "ups": UsualRange((50_000, 200_000), (4, 24)),
    "switch": UsualRange((100_000, 400_000), (1, 5)),
    "repeater": UsualRange((100_000, 400_000), (1, 5)),
    "cable": UsualRange((200_000, 1_000_000), (2, 12)),
    "panel": UsualRange((30_000, 80_000), (2, 8)),
    "sensor": UsualRange((80_000, 300_000), (1, 4)),
    "analyser": UsualRange((5_000, 40_000), (1, 2)),
    "pump": UsualRange((10_000, 40_000), (4, 24)),
    "blower": UsualRange((10_000, 40_000), (4, 24)),
    "fan": UsualRange((10_000, 40_000), (4, 24)),
})


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
    for path, rule, found in by_schema:
        yield path, rule, found, "error"
    if "process" in document and all(path[:1] != ("process",) for path, *_ in by_schema):
        for path, rule, found in _against_tank(document["process"]):
            yield path, rule, found, "error"
    by_name = list(_against_names(_Names(document)))
    for path, rule, found in by_name:
        yield path, rule, found, "error"
    if not by_schema and not by_name:
        for path, rule, found in _against_fitting(document):
            yield path, rule, found, "error"
    # A number beside the usual is a doubt in a file with errors too, unless it is one of them.
    wrong = {path for path, *_ in by_schema}
    for path, *doubt in _against_practice(document):
        if path not in wrong:
            yield path, *doubt


def in_words(document: Mapping, path: tuple) -> str:
    """Write a path for people: the parts by designation, the rest by name or number.

    >>> in_words({"part": [{"designation": "KF1"}]}, ("part", 0, "mttr_h"))
    'part KF1: mttr_h'
    """
    words, here = [], document
    for step in path:
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            here = None
        if isinstance(step, str):
            words.append(step)
        else:
            name = here.get("designation", here.get("name")) if isinstance(here, dict) else None
            words[-1] += f" {name if isinstance(name, str) else step + 1}"
    return ": ".join(words) or "file"


def _shown(value) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _near(name, names: Iterable[str]) -> str:
    names = list(names)
    lower = {each.lower(): each for each in names}
    found = difflib.get_close_matches(str(name).lower(), lower, n=1, cutoff=0.5)
    return f" (did you mean {lower[found[0]]}?)" if found else ""


# ---------------------------------------------------------------- what the schema sees

_TYPES = {"number": "a number", "integer": "a whole number", "string": 'text in "quotes"',
          "boolean": "true or false", "array": "a list in [ ]", "object": "a table"}


def _against_schema(document: dict, schema: dict) -> Iterator[tuple[tuple, str, str]]:
    import jsonschema

    for error in jsonschema.Draft202012Validator(schema).iter_errors(document):
        yield from _translated(error)
    for path, value in values(document):
        if isinstance(value, float) and not math.isfinite(value):
            yield path, "must be finite", repr(value)
        elif _is_number(value) and not _in_reach(value):
            yield path, (f"must be 0, or at least {SMALLEST:g} from 0 and below {LARGEST:g}; below 1 "
                         f"also {SMALLEST:g} from 1"), f"{value:g}"
        for text in (*path[-1:], value):
            if isinstance(text, str) and (odd := _odd_letter(text, path[-1] in LONG_TEXTS)):
                rule = "must be one line" if odd == "\n" else (
                    "must have no control, direction or invisible letters")
                yield path, rule, f"U+{ord(odd):04X}"


def _in_reach(value: float) -> bool:
    return value in (0, 1) or (
        SMALLEST <= abs(value) < LARGEST and not 1 - SMALLEST < value < 1)


def _odd_letter(text: str, lines: bool) -> str | None:
    return next((each for each in text if is_odd(each) and not (lines and each in "\n\t")), None)


def values(value, path: tuple = ()) -> Iterator[tuple[tuple, object]]:
    """Yield everything in a document with its path, the document itself first.

    >>> list(values({"a": [7]}))
    [((), {'a': [7]}), (('a',), [7]), (('a', 0), 7)]
    """
    yield path, value
    entries = value.items() if isinstance(value, dict) else (
        enumerate(value) if isinstance(value, list) else ())
    for key, each in entries:
        yield from values(each, (*path, key))


def _translated(error) -> Iterator[tuple[tuple, str, str]]:
    """Yield path, rule and found of one error of the validator, in our own words."""
    path, value, limit = tuple(error.absolute_path), error.instance, error.validator_value
    found = _shown(value)
    if isinstance(value, float) and not math.isfinite(value):
        return
    match error.validator:
        case "additionalProperties":
            known = error.schema["properties"]
            for key in value:
                if key not in known:
                    yield (*path, key), "must be a key of the format", f"{key}{_near(key, known)}"
        case "required":
            # The validator reports each missing key by itself and names it only in its message.
            key = error.message.split("'")[1]
            about = error.schema.get("properties", {}).get(key, {}).get("description", "")
            yield path, f"must have {key}" + (f" ({about})" if about else ""), "none"
        case "dependentRequired":
            for key, others in limit.items():
                for other in others:
                    if key in value and other not in value:
                        yield path, f"must have {other} beside {key}", "none"
        case "type":
            kinds = [limit] if isinstance(limit, str) else limit
            yield path, "must be " + " or ".join(_TYPES[kind] for kind in kinds), found
        case "enum":
            near = _near(value, limit) if isinstance(value, str) else ""
            yield path, "must be one of " + ", ".join(map(str, limit)), found + near
        case "const":
            yield path, f"must be {limit}", found
        case "minimum" if value > error.schema.get("exclusiveMinimum", -math.inf):
            yield path, f"must be >= {limit:g}", found
        case "exclusiveMinimum":
            yield path, f"must be > {limit:g}", found
        case "maximum":
            yield path, f"must be <= {limit:g}", found
        case "minItems":
            yield path, f"must have at least {limit} entries" if limit > 1 else (
                "must not be empty"), found
        case "maxItems":
            yield path, f"must have at most {limit} entries", found
        case "minLength":
            yield path, "must not be empty", found
        case "uniqueItems":
            yield path, "must name nothing twice", found
        case "minProperties":
            yield path, "must say what differs", found
        case "anyOf" if len(path) == 2 and path[0] == "function":
            yield path, "must have needs or reached", "neither"
        case "anyOf" if isinstance(value, dict):
            branch = 2 if "reached" in value and "of" not in value else 1
            for each in error.context:
                if each.relative_schema_path[0] == branch:
                    yield from _translated(each)
        case "anyOf":
            yield path, ('must be a designation, {at_least = 1, of = ["..."]} or '
                         '{reached = ["..."]}'), found
        case "minimum":
            pass  # said already
        case _:
            yield path, error.message, found


# ---------------------------------------------------------------- what a schema cannot see


# How a name comes to stand in a document: the keys on the way, None for a position in a list.
NAMED = MappingProxyType({
    ("part", None, "designation"): "part",
    ("function", None, "name"): "function",
    ("costs", "step", None, "name"): "step",
    ("variant", None, "name"): "variant",
    ("shared_event", None, "name"): "event",
})
MENTIONED = MappingProxyType({
    ("part", None, "fed_by", None): "fed_by",
    ("part", None, "joins", None): "joins",
    ("pair", "units", None): "units",
    ("pair", "sync", None): "sync",
    ("twins", None, "parts", None): "twins",
    ("shared_event", None, "breaks", None): "breaks",
    ("function", None, "reached", None): "reached",
    ("variant", None, "fit", None): "fit",
    ("variant", None, "remove", None): "remove",
    ("variant", None, "pair", "sync", None): "sync",
    ("variant", None, "part", None, "parts", None): "parts",
    ("variant", None, "part", None, "fed_by", None): "fed_by",
    ("variant", None, "part", None, "joins", None): "joins",
    ("variant", None, "like"): "variant",
    ("variant", None, "step", None, "name"): "step",
    ("variant", None, "function", None, "name"): "function",
    ("costs", "step", None, "function"): "function",
})
# What a mention must be the name of; a part where it is not said.
WANTED = MappingProxyType({"variant": "a variant", "step": "a cost step", "function": "a function"})


class _Names:
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
                role = MENTIONED.get(way) or _role_in_needs(way)
                if role:
                    self.mentions.append((path, value, role))
        self.parts = {name: document["part"][path[1]] for path, name in self.named["part"]}
        self.units = [name for path, name, role in self.mentions if role == "units"]

    def owner(self, path: tuple) -> str | None:
        """Return the designation of the part whose table a path leads into, if there is one."""
        return self.document["part"][path[1]].get("designation") if path[0] == "part" else None


def _role_in_needs(way: tuple) -> str | None:
    """Return how a name stands in the tree of needs of a function: need, reached, or not at all."""
    inside = way[3:]
    keys = inside[1::2]
    if way[:3] != ("function", None, "needs") or inside[-1:] != (None,):
        return None
    if keys and keys[-1] == "reached":
        return "reached" if set(keys[:-1]) <= {"of"} else None
    return "need" if set(keys) <= {"of"} else None


def _against_names(names: _Names) -> Iterator[tuple[tuple, str, str]]:
    yield from _doubles(names)
    for path, name, role in names.mentions:
        kind = role if role in WANTED else "part"
        known = [each for _, each in names.named[kind]]
        if name not in known:
            rule = f"name of {WANTED[role]}" if role in WANTED else "designation of a part"
            yield path, f"must be the {rule}", repr(name) + _near(name, known)
        elif kind == "part":
            yield from _against_role(names, path, name, role)
    yield from _circles(names)
    yield from _pair_alike(names)
    for path, value in values(names.document):
        if path[:1] == ("function",) and path[2:3] == ("needs",) and isinstance(value, dict):
            k, of = value.get("at_least"), value.get("of")
            if isinstance(k, int) and isinstance(of, list) and k > len(of):
                yield (*path, "at_least"), f"must be <= {len(of)}, how many there are", str(k)


def _against_role(names: _Names, path: tuple, name: str,
                  role: str) -> Iterator[tuple[tuple, str, str]]:
    """Yield what is wrong with a part in the place where it is mentioned."""
    kind = names.parts[name].get("kind")
    wanted = {"reached": "rack", "units": "controller", "sync": "cable"}.get(role, kind)
    if kind != wanted:
        yield path, f"must name {wanted}s", f"{name}, a {kind}"
    elif role in ("need", "twins", "fed_by") and name in names.units:
        rule = {"need": "must not name a unit of the pair (write reached = [racks])",
                "twins": "must not name a unit of the pair (write pair: common_cause)",
                "fed_by": "must not name a unit of the pair"}[role]
        yield path, rule, name
    elif role == "fit" and names.parts[name].get("fitted") is not False:
        yield path, "must name parts with fitted = false", name
    elif role in ("fed_by", "joins") and names.owner(path) == name:
        yield path, "must not name the part itself", name


def _doubles(names: _Names) -> Iterator[tuple[tuple, str, str]]:
    for kind, found in names.named.items():
        seen = set(names.parts) if kind == "event" else set()
        rule = "must differ from every part and every other event" if kind == "event" else (
            f"must differ from that of every other {kind}")
        for path, name in found:
            if name in seen:
                yield path, rule, name
            seen.add(name)
    grouped = Counter()
    for path, name, role in names.mentions:
        if role == "twins":
            grouped[name] += 1
            if grouped[name] == 2:
                yield path, "must be in one group of twins only", name


def _circles(names: _Names) -> Iterator[tuple[tuple, str, str]]:
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
    """Yield each circle once: its first name and the way round."""
    done: set[str] = set()
    for first in after:
        way: list[str] = []
        others = [iter((first,))]
        while others:
            name = next(others[-1], None)
            if name is None:
                others.pop()
                done.update(way[-1:])
                del way[-1:]
            elif name in way:
                circle = way[way.index(name):]
                shown = circle if len(circle) <= MOST_STEPS else [
                    *circle[:3], f"... ({len(circle)} in all)"]
                yield name, " > ".join((*shown, name))
            elif name not in done:
                way.append(name)
                others.append(iter(after.get(name, ())))


def _far(after: Mapping[str, Iterable[str]]) -> Iterator[str]:
    """Give the names from which it is one step too many; there are no circles."""
    steps: dict[str, int] = {}
    for name in graphlib.TopologicalSorter(after).static_order():
        steps[name] = 1 + max((steps[other] for other in after.get(name, ())), default=-1)
    return (name for name, count in steps.items() if count == MOST_STEPS + 1)


def _pair_alike(names: _Names) -> Iterator[tuple[tuple, str, str]]:
    tables = [names.parts[unit] for unit in names.units if unit in names.parts]
    if len(tables) == 2:
        for key in ("mtbf_h", "mttr_h"):
            one, two = (table.get(key) for table in tables)
            if one != two:
                yield (("pair", "units"), f"must name two units with the same {key}",
                       f"{one} and {two}")


def _against_fitting(document: dict) -> Iterator[tuple[tuple, str, str]]:
    """Yield what is missing in the plant as it stands, then in each variant."""
    for path, rule, found in _missing(document):
        yield path, rule, found
    for position, table in enumerate(document.get("variant", ())):
        for path, rule, found in _missing(with_variant(document, table["name"])):
            yield ("variant", position), f"as to {in_words(document, path)} {rule}", found


def _missing(document: dict) -> Iterator[tuple[tuple, str, str]]:
    there = {table["designation"]: table for table in document["part"]
             if table.get("fitted", True)}
    for position, table in enumerate(document["part"]):
        feeds = table.get("fed_by", ())
        if table["designation"] in there and feeds and not there.keys() & set(feeds):
            yield (("part", position, "fed_by"), "must name a part that is fitted",
                   ", ".join(feeds))

    def gone(path: tuple, entry, chosen: bool = False) -> Iterator[tuple[tuple, str, str]]:
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
    leading = [name for name, table in there.items() if table["kind"] == "controller"]
    units = [name for name in document.get("pair", {}).get("units", ()) if name in there]
    if len(leading) > 1 and len(units) < 2:
        yield ("pair",), "must say which two controllers belong together", ", ".join(leading)


def _against_tank(process: dict) -> Iterator[tuple[tuple, str, str]]:
    """Yield what the header tank refuses; its settings know their rules."""
    try:
        TankSettings.from_mapping(process)
    except (TypeError, ValueError) as error:
        rule, _, found = str(error).partition(", got ")
        key, _, rest = rule.partition(" ")
        if key in process and rest.startswith("must"):
            yield ("process", key), rest, found
        else:
            yield ("process",), rule, found


def _against_practice(document: dict) -> Iterator[tuple[tuple, str, str, str]]:
    """Yield what is unusual; what has not the form of a plant file is passed over."""
    for path, table in _tables(document, "part"):
        usual = USUAL_RANGES.get(table.get("kind")) if isinstance(table.get("kind"), str) else None
        for key in ("mtbf_h", "mttr_h"):
            if usual is not None and _is_number(table.get(key)):
                low, high = getattr(usual, key)
                if not low <= table[key] <= high:
                    rule = f"is usually {low:g} to {high:g} for a {table['kind']}"
                    yield ((*path, key), f"{rule} (common practice)", f"{table[key]:g}",
                           "warning")
    sourced = [*_tables(document, "part"), *_tables(document, "twins"),
               *_tables(document, "shared_event")]
    pair = document.get("pair")
    shares = [((*path, "common_cause"), table.get("common_cause"))
              for path, table in _tables(document, "twins")]
    if isinstance(pair, dict):
        sourced.append((("pair",), pair))
        shares.append((("pair", "common_cause"), pair.get("common_cause", 0.0)))
        if not pair.get("sync"):
            yield (("pair",), "should name the sync cables over which the standby follows (sync)",
                   "none", "warning")
    for path, table in sourced:
        if table.get("source") == "found" and not table.get("source_note"):
            yield (*path, "source"), "should have a source_note that says where", "none", "warning"
    for path, share in shares:
        if _is_number(share) and not 0.005 <= share <= 0.1:
            yield (path, "is usually 0.005 to 0.1 (common practice)", f"{share:g}", "warning")


def _tables(document: Mapping, key: str) -> list[tuple[tuple, dict]]:
    """Return the tables of a list with their paths; whatever is no table is left out."""
    found = document.get(key)
    return [((key, position), table) for position, table in enumerate(found)
            if isinstance(table, dict)] if isinstance(found, list) else []


def _is_number(value) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and value == value
