"""What a document and its JSON Schema say against one another, in plain words, with the place.

A path is the keys (str) and positions (int, from 0) that lead to a place in the document.
"""

import json
import math
import re
import sys
from collections.abc import Iterator, Mapping
from types import MappingProxyType, ModuleType

from labkit.reading import read_table
from labkit.wording import did_you_mean

# What is wrong: where, the rule, what was found.
Wrong = Iterator[tuple[tuple, str, str]]

_TABLE = read_table(__file__)
_TYPES = _TABLE["types"]
# What is said to be found where something is missing.
MISSING = ("none", "neither")
LIST_WANTED = f"must be {_TYPES['array']}"
ONE_OF = "must be one of "
PLAIN_RULES = MappingProxyType(_TABLE["plain_rules"])
# What is said of a line that is no TOML, by how the library begins.
SAID_BETTER: Mapping[str, str] = MappingProxyType(_TABLE["said_better"])
# How near a word must be to one of a fixed list, where each of the others is wrong.
SURE = 0.7


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


def tables_at(document: Mapping, way: str) -> list[tuple[tuple, dict]]:
    """Return the tables at a way, such as costs.step, with their paths."""
    found = [((), document)]
    for key in way.split("."):
        below = [((*path, key), table[key]) for path, table in found if key in table]
        found = [each for path, one in below for each in (
            [((*path, place), table) for place, table in enumerate(one)]
            if isinstance(one, list) else [(path, one)])]
    return found


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
            words.append(cut(step))
        else:
            name = here.get("designation", here.get("name", here.get("id"))) if isinstance(here, dict) else None
            words[-1] += f" {cut(name) if isinstance(name, str) else step + 1}"
    return ": ".join(words) or "file"


def a_kind(kind: str) -> str:
    """Say a kind of part with its article.

    >>> a_kind("interface")
    'an interface'
    """
    return f"{'an' if kind[0] in 'aio' else 'a'} {kind}"


def quoted(value) -> str:
    """Return a value as it was written, cut where it is long."""
    return cut(repr(value))


def cut(text: str, most: int = 60) -> str:
    """Return a text of at most so many letters."""
    return text if len(text) <= most else text[:most - 3] + "..."


def schema_errors(document: dict, schema: dict) -> Wrong:
    """Yield path, rule and found of what a JSON Schema does not allow, in our own words."""
    for error in _json_schema().Draft202012Validator(schema).iter_errors(document):
        yield from _translated(error)


def _json_schema() -> ModuleType:
    """Return the library without its grammar of addresses: built in a second, asked by no file."""
    grammar = "rfc3987_syntax"
    absent = sys.modules.setdefault(grammar, None) is None
    try:
        import jsonschema
    finally:
        if absent:
            del sys.modules[grammar]
    return jsonschema


def _translated(error) -> Wrong:
    """Yield path, rule and found of one error of the validator, in our own words."""
    path, value, limit = tuple(error.absolute_path), error.instance, error.validator_value
    found = quoted(value)
    if isinstance(value, float) and not math.isfinite(value):
        return
    match error.validator:
        case "additionalProperties":
            known = error.schema["properties"]
            for key in value:
                if key not in known:
                    yield (*path, key), "must be a key of the format", f"{key}{did_you_mean(key, known, cutoff=SURE)}"
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
            one, several = f"[{path[0]}]", f"[[{path[0]}]]"
            way = f", {one} and not {several}" if (limit, type(value), len(path)) == ("object", list, 1) else \
                f", {several} and not {one}" if (limit, type(value), len(path)) == ("array", dict, 1) else ""
            if limit == "array" and isinstance(value, str):
                entries = re.split(r"\s*[,;]\s*", value)
                found += f" (write {json.dumps(entries, ensure_ascii=False)})"
            yield path, "must be " + " or ".join(_TYPES[kind] for kind in kinds) + way, found
        case "enum":
            near = did_you_mean(value, limit, cutoff=SURE) if {type(value), *map(type, limit)} == {str} else ""
            other = " (other for what is none of them)" if path[-1] == "kind" and not near else ""
            yield path, ONE_OF + ", ".join(map(str, limit)), found + near + other
        case "minimum" if value > error.schema.get("exclusiveMinimum", -math.inf):
            yield path, f"must be >= {limit:g}", found
        case "maximum":
            meant = f" ({value:g} % is {value / 100:g})" if limit == 1 and value <= 100 else ""
            yield path, f"must be <= {limit:g}", found + meant
        case "minItems":
            yield path, f"must have at least {limit} entries" if limit > 1 else (
                "must not be empty"), found
        case key if key in PLAIN_RULES:
            yield path, PLAIN_RULES[key].format(limit), found
        case "anyOf" if len(path) == 2 and path[0] == "function":
            yield path, "must have needs or reached", "neither"
        case "anyOf" if path[:2] == ("costs", "step"):
            yield path, "must have cost or cost_per_h", "neither"
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
