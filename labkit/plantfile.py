"""Reading a plant file, and finding everything that is wrong in it.

How a plant file is written
---------------------------
A plant file is a text file in TOML: ``key = value``, one to a line; ``[name]`` starts a table,
``[[name]]`` starts one more table of a list; ``#`` starts a remark. Texts stand in double quotes,
numbers have a decimal point and no separators (``60000`` or ``60_000``, never ``60,000``).

Begin with a copy of the starter (`write_starter`, or ``python -m labkit new my_plant.toml``): each
key stands there with its unit, range, default and an example. In short:

``format = 1``
    The first line.
``[plant]``
    ``name``, ``version``, ``about``, and ``data``: where numbers come from unless a part says
    otherwise (``invented``, ``practice`` or ``found``).
``[[part]]``
    One for each thing that can fail. ``designation`` as on the drawing, ``what`` in words,
    ``kind``, ``place``, ``mtbf_h`` and ``mttr_h`` in hours, ``source`` and ``source_note`` of these
    two. ``fed_by``: what feeds it, any one is enough. ``joins``: what it is wired to, written on
    one side only. ``noticed`` and ``test_interval_h``: for failures that only a test finds.
    ``fitted = false``: described, but only there in variants that fit it.
``[pair]``
    The two controllers of which one leads, if there are two. Without it there is one controller.
``[[twins]]``
    Like parts that have some failures in common: ``parts`` and the share ``common_cause``.
``[[shared_event]]``
    Something from outside that breaks several parts at once. With ``mtbf_h`` and ``mttr_h`` it
    counts; without them it can only be switched on.
``[[function]]``
    What is to be kept. ``needs``: designations; ``{at_least = 2, of = ["GP1", "GP2", "GP3"]}``;
    ``{reached = ["KF10"]}``. ``reached``: racks that one controller must reach, all of them.
    ``hours_per_year`` if it is not asked for all year, ``idle_h`` if faults can sleep before;
    ``shown = false`` if it is only counted.
``[process]``
    Constants of a header tank, if the plant has one.
``[costs]`` and ``[[costs.step]]``
    What an outage costs once it lasts longer than ``longer_than_min``; steps add up.
``[[variant]]``
    Another way to build or keep the same plant: ``fit`` and ``remove`` parts, change keys of
    ``pair``, ``part``, ``function`` or ``step``, start from another variant with ``like``;
    ``price_per_year`` is what it costs.

The JSON Schema ``plant.schema.json`` beside the plant files says the same in a form that editors
understand. `read_file` checks a file against it, then looks at what a schema cannot see: names
that nobody has, loops, doubles, numbers outside what is usual.
"""

from __future__ import annotations

import copy
import difflib
import json
import math
import re
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from types import MappingProxyType

from labkit.tomllines import line_numbers, line_of

__all__ = ["Finding", "PlantFileError", "USUAL_RANGES", "UsualRange", "find_file", "fitted",
           "is_shipped", "read_file", "schema", "starter_text", "with_variant", "write_starter"]


@dataclass(frozen=True)
class UsualRange:
    """Hold within which limits the numbers of one class of parts usually lie, hours.

    Examples
    --------
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


@dataclass(frozen=True)
class Finding:
    """Hold one thing that is wrong, or doubtful, in a plant file.

    Parameters
    ----------
    line : int
        Line of the file, from 1; 0 if the finding belongs to no line.
    key : str
        Where it is, e.g. ``part KF1: mtbf_h``.
    rule : str
        What is allowed.
    found : str
        What stands there instead.
    severity : str
        ``error`` or ``warning``.

    Examples
    --------
    >>> print(Finding(12, "part KF1: mttr_h", "must be > 0", "-2", "error"))
    line 12: error: part KF1: mttr_h must be > 0, got -2
    """

    line: int
    key: str
    rule: str
    found: str
    severity: str = "error"

    def __str__(self) -> str:
        """Write the finding as one line of text."""
        return f"line {self.line}: {self.severity}: {self.key} {self.rule}, got {self.found}"


class PlantFileError(ValueError):
    """Say everything that is wrong in a plant file.

    Parameters
    ----------
    path : str or Path
        The file.
    findings : iterable of Finding
        All errors in it.

    Examples
    --------
    >>> error = PlantFileError("my.toml", [Finding(3, "plant: name", "must be text", "7")])
    >>> print(error)
    my.toml: 1 error
      line 3: error: plant: name must be text, got 7
    """

    def __init__(self, path: str | Path, findings: Iterable[Finding]) -> None:
        self.path = str(path)
        self.findings = tuple(findings)
        count = f"{len(self.findings)} error" + "s" * (len(self.findings) != 1)
        super().__init__("\n  ".join([f"{self.path}: {count}", *map(str, self.findings)]))


# ---------------------------------------------------------------- files that come along


def find_file(path: str | Path) -> Path:
    """Return the path of a plant file, given as a path or as the name of one that comes along.

    Parameters
    ----------
    path : str or Path
        ``my_plant.toml``, or a name such as ``brackenquay``.

    Returns
    -------
    Path

    Raises
    ------
    ValueError
        If there is no such file.

    Examples
    --------
    >>> find_file("brackenquay").name
    'brackenquay.toml'
    """
    folder = _folder()
    names = sorted(each.stem for each in folder.glob("*.toml") if each.stem != "starter")
    if str(path) in names:
        return folder / f"{path}.toml"
    if Path(path).is_file():
        return Path(path)
    raise ValueError(f"path must be a file or one of {', '.join(names)}, got {path}")


def is_shipped(path: Path) -> bool:
    """Say whether a plant file is one of those that come along.

    Examples
    --------
    >>> is_shipped(find_file("brackenquay")), is_shipped(Path("my_plant.toml"))
    (True, False)
    """
    return path.resolve().parent == _folder().resolve()


def _folder() -> Path:
    return Path(str(resources.files("labkit"))) / "plants"


def schema() -> dict:
    """Return the JSON Schema of plant files.

    Examples
    --------
    >>> schema()["properties"]["format"]["const"]
    1
    """
    return json.loads((_folder() / "plant.schema.json").read_text("utf-8"))


def starter_text() -> str:
    """Return a plant file to start from, with a remark on every key.

    Examples
    --------
    >>> "mtbf_h" in starter_text()
    True
    """
    return (_folder() / "starter.toml").read_text("utf-8")


def write_starter(path: str | Path) -> Path:
    """Write the starter to a new file and the JSON Schema beside it, for editors.

    Parameters
    ----------
    path : str or Path
        The new file, ending in ``.toml``. An existing file is never written over.

    Returns
    -------
    Path
        The new file.

    Raises
    ------
    ValueError
        If the name does not end in ``.toml``.
    FileExistsError
        If the file is there already.

    Examples
    --------
    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     write_starter(Path(folder) / "my_plant.toml").name
    'my_plant.toml'
    """
    path = Path(path)
    if path.suffix != ".toml":
        raise ValueError(f"path must end in .toml, got {path}")
    with path.open("x", encoding="utf-8") as file:
        file.write("#:schema ./plant.schema.json\n" + starter_text())
    beside = path.parent / "plant.schema.json"
    beside.write_text((_folder() / "plant.schema.json").read_text("utf-8"), "utf-8")
    return path


# ---------------------------------------------------------------- reading


def read_file(path: str | Path) -> tuple[dict, tuple[Finding, ...], dict[tuple, int]]:
    """Read a plant file and list everything that is wrong in it.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    document : dict
        The file as tables; empty if it is no TOML.
    findings : tuple of Finding
        Errors and warnings, in the order of the lines.
    lines : dict of tuple to int
        On which line each key stands.

    Raises
    ------
    OSError
        If the file cannot be read.

    Examples
    --------
    >>> document, findings, lines = read_file(find_file("brackenquay"))
    >>> document["plant"]["version"], findings
    ('V1', ())
    """
    try:
        text = Path(path).read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = error.object.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{error.object[error.start]:02x}"
        return {}, (Finding(line, "file", "must be text in UTF-8", found),), {}
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return {}, (_syntax(text, error),), {}
    lines = line_numbers(text)
    findings = [Finding(line_of(lines, path), _words(document, path), rule, found, severity)
                for path, rule, found, severity in _complaints(document)]
    return document, tuple(sorted(findings, key=lambda each: each.line)), lines


def _syntax(text: str, error: tomllib.TOMLDecodeError) -> Finding:
    where = re.search(r"at line (\d+)", str(error))
    every = text.split("\n")
    line = int(where.group(1)) if where else len(every)
    content = every[line - 1].strip()
    rule = "must be TOML: " + re.sub(r" \(at .*\)", "", str(error))
    if re.search(r"=\s*[\d_]+,\d", content):
        rule = "must have numbers with a point and without separators, such as 60000 or 0.5"
    return Finding(line, "file", rule, repr(content))


def _complaints(document: dict) -> Iterator[tuple[tuple, str, str, str]]:
    """Yield path, rule, found, severity of everything that is wrong."""
    by_schema = list(_against_schema(document))
    for path, rule, found in by_schema:
        yield path, rule, found, "error"
    by_name = list(_against_names(_Names(document)))
    for path, rule, found in by_name:
        yield path, rule, found, "error"
    if not by_schema and not by_name:
        for path, rule, found in _against_fitting(document):
            yield path, rule, found, "error"
        yield from _against_practice(document)


def _words(document: Mapping, path: tuple) -> str:
    """Write a path for people: the parts by designation, the rest by name or number."""
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


def _against_schema(document: dict) -> Iterator[tuple[tuple, str, str]]:
    import jsonschema

    for error in jsonschema.Draft202012Validator(schema()).iter_errors(document):
        yield from _translated(error)
    for path, value in _values(document):
        if isinstance(value, float) and not math.isfinite(value):
            yield path, "must be finite", repr(value)


def _values(value, path: tuple = ()) -> Iterator[tuple[tuple, object]]:
    yield path, value
    entries = value.items() if isinstance(value, dict) else (
        enumerate(value) if isinstance(value, list) else ())
    for key, each in entries:
        yield from _values(each, (*path, key))


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
        case "minimum":
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
        case _:
            yield path, error.message, found


# ---------------------------------------------------------------- what a schema cannot see


class _Names:
    """Everything in a document that refers to something by name; wrong types are passed over."""

    def __init__(self, document: dict) -> None:
        self.document = document
        self.parts = {name: (path, table) for path, table, name in self.named("part")}
        self.steps = {name: path for path, _, name in self.named("costs", "step")}
        self.functions = {name: path for path, _, name in self.named("function")}
        self.variants = {name: (path, table) for path, table, name in self.named("variant")}
        units = self.table("pair").get("units")
        self.units = tuple(self.texts(units))

    def table(self, key: str) -> dict:
        value = self.document.get(key)
        return value if isinstance(value, dict) else {}

    def tables(self, *keys: str) -> Iterator[tuple[tuple, dict]]:
        here = self.document
        for key in keys:
            here = here.get(key) if isinstance(here, dict) else None
        for position, table in enumerate(here if isinstance(here, list) else ()):
            if isinstance(table, dict):
                yield (*keys, position), table

    def named(self, *keys: str) -> Iterator[tuple[tuple, dict, str]]:
        label = "designation" if keys == ("part",) else "name"
        for path, table in self.tables(*keys):
            if isinstance(table.get(label), str):
                yield path, table, table[label]

    @staticmethod
    def texts(value) -> Iterator[str]:
        yield from (each for each in value if isinstance(each, str)) if isinstance(
            value, list) else ()

    def kind(self, designation: str):
        return self.parts[designation][1].get("kind")

    def entries(self, path: tuple, table: dict, key: str) -> Iterator[tuple[tuple, str]]:
        value = table.get(key)
        for position, each in enumerate(value if isinstance(value, list) else ()):
            if isinstance(each, str):
                yield (*path, key, position), each

    def needs(self, path: tuple, value) -> Iterator[tuple[tuple, str, str]]:
        """Yield path, name and role (need, reached) of each name in a tree of needs."""
        for position, each in enumerate(value if isinstance(value, list) else ()):
            here = (*path, position)
            if isinstance(each, str):
                yield here, each, "need"
            elif isinstance(each, dict):
                yield from self.needs((*here, "of"), each.get("of"))
                for place, name in self.entries(here, each, "reached"):
                    yield place, name, "reached"

    def references(self) -> Iterator[tuple[tuple, str, str]]:
        """Yield path, designation and role of every mention of a part."""
        for path, table in self.tables("part"):
            for key in ("fed_by", "joins"):
                yield from ((*each, key) for each in self.entries(path, table, key))
        for key in ("units", "sync"):
            yield from ((*each, key) for each in self.entries(("pair",), self.table("pair"), key))
        for path, table in self.tables("twins"):
            yield from ((*each, "twins") for each in self.entries(path, table, "parts"))
        for path, table in self.tables("shared_event"):
            yield from ((*each, "breaks") for each in self.entries(path, table, "breaks"))
        for path, table in self.tables("function"):
            yield from ((*each, "reached") for each in self.entries(path, table, "reached"))
            yield from self.needs((*path, "needs"), table.get("needs"))
        for path, table in self.tables("variant"):
            for key in ("fit", "remove"):
                yield from ((*each, key) for each in self.entries(path, table, key))
            pair = table.get("pair")
            if isinstance(pair, dict):
                yield from ((*each, "sync") for each in self.entries((*path, "pair"), pair, "sync"))
            changes = table.get("part")
            for position, change in enumerate(changes if isinstance(changes, list) else ()):
                if isinstance(change, dict):
                    for key in ("parts", "fed_by", "joins"):
                        yield from ((*each, key) for each in self.entries(
                            (*path, "part", position), change, key))


def _against_names(names: _Names) -> Iterator[tuple[tuple, str, str]]:
    yield from _doubles(names)
    for path, name, role in names.references():
        if name not in names.parts:
            yield path, "must be the designation of a part", repr(name) + _near(name, names.parts)
            continue
        kind = names.kind(name)
        if role == "reached" and kind != "rack":
            yield path, "must name racks", f"{name}, a {kind}"
        elif role == "units" and kind != "controller":
            yield path, "must name controllers", f"{name}, a {kind}"
        elif role == "sync" and kind != "cable":
            yield path, "must name cables", f"{name}, a {kind}"
        elif role in ("need", "twins", "fed_by") and name in names.units:
            rule = {"need": "must not name a unit of the pair (write reached = [racks])",
                    "twins": "must not name a unit of the pair (write pair: common_cause)",
                    "fed_by": "must not name a unit of the pair"}[role]
            yield path, rule, name
        elif role == "fit" and names.parts[name][1].get("fitted") is not False:
            yield path, "must name parts with fitted = false", name
        elif role in ("fed_by", "joins") and path[0] == "part":
            if names.document["part"][path[1]].get("designation") == name:
                yield path, "must not name the part itself", name
    yield from _loops(names)
    yield from _pair_alike(names)
    for path, table in names.tables("costs", "step"):
        name = table.get("function")
        if isinstance(name, str) and name not in names.functions:
            yield ((*path, "function"), "must be the name of a function",
                   repr(name) + _near(name, names.functions))
    for path, table in names.tables("variant"):
        for key, known, what in (("step", names.steps, "a cost step"),
                                 ("function", names.functions, "a function")):
            changes = table.get(key)
            for position, change in enumerate(changes if isinstance(changes, list) else ()):
                name = change.get("name") if isinstance(change, dict) else None
                if isinstance(name, str) and name not in known:
                    yield ((*path, key, position, "name"), f"must be the name of {what}",
                           repr(name) + _near(name, known))
    for path, table in names.tables("function"):
        yield from _too_many((*path, "needs"), table.get("needs"))


def _doubles(names: _Names) -> Iterator[tuple[tuple, str, str]]:
    for keys in (("part",), ("function",), ("costs", "step"), ("variant",)):
        seen = set()
        for path, _, name in names.named(*keys):
            if name in seen:
                label = "designation" if keys == ("part",) else "name"
                yield (*path, label), f"must differ from that of every other {keys[-1]}", name
            seen.add(name)
    seen = set(names.parts)
    for path, _, name in names.named("shared_event"):
        if name in seen:
            yield (*path, "name"), "must differ from every part and every other event", name
        seen.add(name)
    grouped = Counter()
    for path, table in names.tables("twins"):
        for place, name in names.entries(path, table, "parts"):
            grouped[name] += 1
            if grouped[name] == 2:
                yield place, "must be in one group of twins only", name


def _loops(names: _Names) -> Iterator[tuple[tuple, str, str]]:
    feeds = {name: [each for each in names.texts(table.get("fed_by")) if each != name]
             for name, (_, table) in names.parts.items()}
    for name, way in _rounds(feeds):
        yield (*names.parts[name][0], "fed_by"), "must not lead round in a circle", way
    likes = {name: [table["like"]] if isinstance(table.get("like"), str) else []
             for name, (_, table) in names.variants.items()}
    for name, others in likes.items():
        for other in others:
            if other not in names.variants:
                yield ((*names.variants[name][0], "like"), "must be the name of a variant",
                       repr(other) + _near(other, names.variants))
    for name, way in _rounds(likes):
        yield (*names.variants[name][0], "like"), "must not lead round in a circle", way


def _rounds(after: Mapping[str, Iterable[str]]) -> Iterator[tuple[str, str]]:
    """Yield each circle once: its first name and the way round."""
    done: set[str] = set()

    def walk(name: str, way: tuple[str, ...]) -> Iterator[tuple[str, str]]:
        if name in way:
            circle = way[way.index(name):]
            yield circle[0], " > ".join((*circle, name))
        elif name not in done:
            for other in after.get(name, ()):
                yield from walk(other, (*way, name))
            done.add(name)

    for name in after:
        yield from walk(name, ())


def _pair_alike(names: _Names) -> Iterator[tuple[tuple, str, str]]:
    tables = [names.parts[unit][1] for unit in names.units if unit in names.parts]
    if len(tables) == 2:
        for key in ("mtbf_h", "mttr_h"):
            one, two = (table.get(key) for table in tables)
            if one != two:
                yield (("pair", "units"), f"must name two units with the same {key}",
                       f"{one} and {two}")


def _too_many(path: tuple, value) -> Iterator[tuple[tuple, str, str]]:
    for position, each in enumerate(value if isinstance(value, list) else ()):
        if isinstance(each, dict) and isinstance(each.get("of"), list):
            here = (*path, position)
            k, of = each.get("at_least"), each["of"]
            if isinstance(k, int) and k > len(of):
                yield (*here, "at_least"), f"must be <= {len(of)}, how many there are", str(k)
            yield from _too_many((*here, "of"), of)


def _against_fitting(document: dict) -> Iterator[tuple[tuple, str, str]]:
    """Yield what is missing in the plant as it stands, then in each variant."""
    for path, rule, found in _missing(document):
        yield path, rule, found
    for position, table in enumerate(document.get("variant", ())):
        for path, rule, found in _missing(with_variant(document, table["name"])):
            yield ("variant", position), f"as to {_words(document, path)} {rule}", found


def _missing(document: dict) -> Iterator[tuple[tuple, str, str]]:
    there = {table["designation"]: table for table in document["part"]
             if table.get("fitted", True)}
    for position, table in enumerate(document["part"]):
        feeds = table.get("fed_by", ())
        if table["designation"] in there and feeds and not there.keys() & set(feeds):
            yield (("part", position, "fed_by"), "must name a part that is fitted",
                   ", ".join(feeds))

    def gone(path: tuple, entries: list) -> Iterator[tuple[tuple, str, str]]:
        for position, entry in enumerate(entries):
            here = (*path, position)
            if isinstance(entry, str):
                if entry not in there:
                    yield here, "must name a part that is fitted", entry
            elif "reached" in entry:
                yield from gone((*here, "reached"), entry["reached"])
            else:
                left = [each for each in entry["of"]
                        if not isinstance(each, str) or each in there]
                if entry["at_least"] > len(left):
                    yield ((*here, "at_least"), f"must be <= {len(left)}, how many are fitted",
                           str(entry["at_least"]))
                for place, each in enumerate(entry["of"]):
                    if not isinstance(each, str):
                        yield from (((*here, "of", place, *tail[1:]), rule, found)
                                    for tail, rule, found in gone((), [each]))

    for position, table in enumerate(document["function"]):
        for key in ("reached", "needs"):
            yield from gone(("function", position, key), table.get(key, []))
    leading = [name for name, table in there.items() if table["kind"] == "controller"]
    units = [name for name in document.get("pair", {}).get("units", ()) if name in there]
    if len(leading) > 1 and len(units) < 2:
        yield ("pair",), "must say which two controllers belong together", ", ".join(leading)


def _against_practice(document: dict) -> Iterator[tuple[tuple, str, str, str]]:
    for position, table in enumerate(document["part"]):
        path = ("part", position)
        usual = USUAL_RANGES.get(table["kind"])
        for key in ("mtbf_h", "mttr_h"):
            if usual is not None:
                low, high = getattr(usual, key)
                if not low <= table[key] <= high:
                    yield ((*path, key), f"is usually {low:g} to {high:g} for a {table['kind']}"
                           " (common practice)", f"{table[key]:g}", "warning")
        if table.get("source") == "found" and not table.get("source_note"):
            yield (*path, "source"), "should have a source_note that says where", "none", "warning"
    shares = [(("twins", position, "common_cause"), table["common_cause"])
              for position, table in enumerate(document.get("twins", ()))]
    if "pair" in document:
        shares.append((("pair", "common_cause"), document["pair"].get("common_cause", 0.0)))
    for path, share in shares:
        if not 0.005 <= share <= 0.1:
            yield (path, "is usually 0.005 to 0.1 (common practice)", f"{share:g}", "warning")


# ---------------------------------------------------------------- variants of a document


def with_variant(document: Mapping, name: str) -> dict:
    """Return a document with the changes of one of its variants made, all parts still in it.

    Parameters
    ----------
    document : mapping
        A document without errors.
    name : str
        Name of the variant.

    Returns
    -------
    dict
        A new document; what the variant fits has ``fitted = true``, what it removes false.

    Raises
    ------
    ValueError
        If there is no such variant.

    Examples
    --------
    >>> document = read_file(find_file("brackenquay"))[0]
    >>> changed = with_variant(document, "V3")
    >>> [part["mttr_h"] for part in changed["part"] if part["designation"] == "KF10"]
    [1]
    """
    variants = {table["name"]: table for table in document.get("variant", ())}
    if name not in variants:
        raise ValueError(f"variant must be one of {', '.join(variants) or 'none'}, got {name!r}")
    variant = variants[name]
    if "like" in variant:
        result = with_variant(document, variant["like"])
    else:
        result = copy.deepcopy(dict(document))
    parts = {table["designation"]: table for table in result["part"]}
    for key, there in (("fit", True), ("remove", False)):
        for designation in variant.get(key, ()):
            parts[designation]["fitted"] = there
    if "pair" in result:
        result["pair"].update(variant.get("pair", {}))
    for change in variant.get("part", ()):
        for designation in change["parts"]:
            parts[designation].update(
                {key: value for key, value in change.items() if key != "parts"})
    for key, tables in (("function", result["function"]),
                        ("step", result.get("costs", {}).get("step", ()))):
        known = {table["name"]: table for table in tables}
        for change in variant.get(key, ()):
            known[change["name"]].update(change)
    return result


def fitted(document: Mapping) -> dict:
    """Return a document without the parts that are not fitted, and without mentions of them.

    Parameters
    ----------
    document : mapping
        A document without errors.

    Returns
    -------
    dict
        A new document. A pair of which one unit is left is no pair; twins of which one is left
        are no twins; an event that breaks nothing is left out.

    Examples
    --------
    >>> document = read_file(find_file("brackenquay"))[0]
    >>> "pair" in fitted(with_variant(document, "V0"))
    False
    """
    result = copy.deepcopy(dict(document))
    result["part"] = [table for table in result["part"] if table.get("fitted", True)]
    there = {table["designation"] for table in result["part"]}

    def left(names: Iterable[str]) -> list[str]:
        return [name for name in names if name in there]

    for table in result["part"]:
        for key in ("joins", "fed_by"):
            table[key] = left(table.get(key, ()))
    for table in result["function"]:
        table["needs"] = _left_needs(table.get("needs", []), there)
    if "pair" in result:
        result["pair"]["sync"] = left(result["pair"].get("sync", ()))
        if len(left(result["pair"]["units"])) < 2:
            del result["pair"]
    for key, names, least in (("twins", "parts", 2), ("shared_event", "breaks", 1)):
        for table in result.get(key, ()):
            table[names] = left(table[names])
        result[key] = [table for table in result.get(key, ()) if len(table[names]) >= least]
    return result


def _left_needs(entries: list, there: set[str]) -> list:
    """Return needs without what is not fitted; a choice of one is that one."""
    left = []
    for entry in entries:
        if isinstance(entry, str):
            left += [entry] if entry in there else []
        elif "reached" in entry:
            left.append(entry)
        else:
            of = _left_needs(entry["of"], there)
            left.append(of[0] if entry["at_least"] == len(of) == 1 else entry | {"of": of})
    return left
