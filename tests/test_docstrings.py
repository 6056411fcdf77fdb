"""What stands at a door says what it takes, in which unit, what it gives and how it refuses.

The form is that of numpydoc. A public name inside a room has the sentence that it needs. Examples
are run wherever they stand.
"""

import ast
import dataclasses
import doctest
import enum
import functools
import importlib
import inspect
import pkgutil
import re
import textwrap
from pathlib import Path

import pytest

import labkit
import lessons

MODULES = sorted(
    module.name
    for package in (labkit, lessons)
    for module in pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
    # Loading these starts a server, or the command line.
    if not module.name.endswith(("__main__", "hub.jupyterhub_config"))
)
ROOMS = sorted({".".join(name.split(".")[:2]) for name in MODULES})

both_doors = pytest.mark.parametrize("package", [labkit, lessons], ids=lambda each: each.__name__)

# The unit that a name carries, and how its description may say so.
UNITS = {
    "per_h": r"per hour|/h|1/h|\bh\b",
    "per_year": r"(?:per|a|each) year|/year|/a\b",
    "h": r"\bh\b|hours?",
    "ms": r"\bms\b|milliseconds?",
    "s": r"\bs\b|seconds?",
    "min": r"\bmin\b|minutes?",
    "m": r"\bm\b|metres?",
    "m2": r"m²|m\^2|m2|square metres?",
    "lps": r"L/s|litres? per second",
    "eur": r"EUR|euros?",
    "px": r"\bpx\b|pixels?",
    "percent": r"%|percent",
}


def function_of(thing):
    """Return the function behind a method, a property or a cached property."""
    for name in ("fget", "func", "__func__"):
        thing = getattr(thing, name, None) or thing
    return thing


def members(thing):
    """Yield (name, member) of what a class of ours defines, or has from one, and does not hide."""
    for each in reversed(thing.__mro__):
        for name, member in vars(each).items() if each.__module__ in MODULES else ():
            # What a dataclass writes for itself has no lines of its own.
            if not name.startswith("_") and inspect.isfunction(function_of(member)):
                yield name, member


@functools.cache
def at_the_door(package):
    """Return the names of a door with what they are, methods of classes included."""
    things = {}
    for name in package.__all__:
        thing = getattr(package, name)
        if not hasattr(thing, "__name__"):
            continue
        things[name] = thing
        if inspect.isclass(thing):
            things |= {f"{name}.{inner}": member for inner, member in members(thing)}
    return things


def sections(text):
    """Return the sections of a docstring: title -> text; the part before the first is ''."""
    parts = re.split(r"^([A-Z][A-Za-z ]+)\n-{3,}\n", text, flags=re.MULTILINE)
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries(text):
    """Return the entries of a section like Parameters: name -> type line and description."""
    found = {}
    names = ()
    for line in text.splitlines():
        if line and not line[0].isspace():
            head, _, kind = line.partition(" : ")
            names = [name.strip().lstrip("*") for name in head.split(",")]
            for name in names:
                found[name] = kind
        else:
            for name in names:
                found[name] += "\n" + line
    return found


def documented(thing):
    return sections(inspect.cleandoc(function_of(thing).__doc__ or ""))


def arguments(thing):
    """Return the names of the arguments that a caller gives."""
    if inspect.isclass(thing):
        if issubclass(thing, enum.Enum | BaseException):
            return []
        if dataclasses.is_dataclass(thing):
            return [f.name for f in dataclasses.fields(thing) if f.init and f.name[0] != "_"]
        if "__init__" not in vars(thing):
            return []
        names = list(inspect.signature(thing.__init__).parameters)
    else:
        names = list(inspect.signature(function_of(thing)).parameters)
        if isinstance(thing, property) or hasattr(thing, "func"):
            return []
    return [name for name in names if name not in ("self", "cls")]


def raised(thing):
    """Return the names of the errors that the body raises by itself."""
    if inspect.isclass(thing):
        body = vars(thing).get("__init__") or vars(thing).get("__post_init__")
        # A protocol's or a dataclass's own beginning is not written here.
        if not inspect.isfunction(body) or body.__module__ != thing.__module__:
            return set()
    else:
        body = function_of(thing)
    try:
        tree = ast.parse(textwrap.dedent(inspect.getsource(body)))
    except (OSError, TypeError):
        return set()
    return {
        node.exc.func.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Raise)
        and isinstance(node.exc, ast.Call)
        and isinstance(node.exc.func, ast.Name)
    }


@pytest.mark.parametrize("room", ROOMS)
def test_examples_run(room):
    flags = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
    for name in MODULES:
        if name == room or name.startswith(f"{room}."):
            assert doctest.testmod(importlib.import_module(name), optionflags=flags).failed == 0


def test_examples_take_from_the_door_what_stands_there():
    doors = {package.__name__: {*package.__all__} for package in (labkit, lessons)}
    behind = [
        (path.name, line) for package in (labkit, lessons)
        for path in Path(package.__file__).parent.rglob("*.py")
        for line, door, names in re.findall(r"(>>> from (labkit|lessons)\.\S+ import ([\w, ]+))", path.read_text("utf-8"))
        if doors[door] & {*names.split(", ")}]
    assert not behind


def test_no_line_of_a_docstring_is_too_long():
    long = [(path.name, line) for package in (labkit, lessons)
            for path in Path(package.__file__).parent.rglob("*.py")
            for node in ast.walk(ast.parse(path.read_text("utf-8")))
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef)
            for line in (ast.get_docstring(node, clean=False) or "").splitlines() if len(line) > 110]
    assert long == []


def test_every_public_name_says_in_one_sentence_what_it_is():
    silent = []
    for name in MODULES:
        module = importlib.import_module(name)
        assert module.__doc__, f"{name} has no docstring"
        for word, thing in vars(module).items():
            if not word.startswith("_") and getattr(thing, "__module__", "") == name and (
                    inspect.isfunction(thing) or inspect.isclass(thing)):
                summary = documented(thing)[""].strip().split("\n\n")[0]
                if not summary.endswith((".", ":", "?")):
                    silent.append(f"{name}.{word}")
    assert not silent


@both_doors
def test_every_argument_at_a_door_is_described(package):
    wrong = {}
    for name, thing in at_the_door(package).items():
        found = documented(thing)
        described = entries(found.get("Parameters", "")) | entries(found.get("Attributes", ""))
        wanted = arguments(thing)
        # A method of few arguments, and a record of few fields, may say them in a sentence.
        if "." in name or dataclasses.is_dataclass(thing):
            whole = " ".join(found.values())
            wanted = [word for word in wanted if not re.search(rf"\b{re.escape(word)}\b", whole)]
        missing = [word for word in wanted if word not in described]
        extra = set(entries(found.get("Parameters", ""))) - set(arguments(thing))
        empty = [word for word, text in described.items() if not text.strip()]
        if missing or extra or empty:
            wrong[name] = (missing, extra, empty)
    assert not wrong


@both_doors
def test_units_are_said_at_a_door(package):
    unsaid = []
    for name, thing in at_the_door(package).items():
        found = documented(thing)
        # A unit that holds for all arguments may be said once, for all of them.
        whole = " ".join(found.values())
        for word in entries(found.get("Parameters", "")):
            unit = next((unit for unit in UNITS if word.endswith(f"_{unit}")), None)
            if unit and not re.search(UNITS[unit], whole, re.IGNORECASE):
                unsaid.append(f"{name}: {word}")
    assert not unsaid


@both_doors
def test_every_refusal_at_a_door_is_described(package):
    missing = [
        f"{name}: {error}"
        for name, thing in at_the_door(package).items()
        for error in raised(thing)
        if error not in documented(thing).get("Raises", "")
    ]
    assert not missing


@both_doors
def test_functions_and_classes_at_a_door_show_an_example(package):
    missing = [
        name for name in package.__all__
        if (inspect.isfunction(getattr(package, name)) or inspect.isclass(getattr(package, name)))
        and ">>>" not in (getattr(package, name).__doc__ or "")
    ]
    assert not missing


@both_doors
def test_no_open_ended_arguments_at_a_door(package):
    open_ended = [
        name for name, thing in at_the_door(package).items()
        if not inspect.isclass(thing) and any(
            parameter.kind is inspect.Parameter.VAR_KEYWORD
            for parameter in inspect.signature(function_of(thing)).parameters.values())
    ]
    assert not open_ended


def test_the_parser_of_docstrings():
    text = inspect.cleandoc(
        """Return a rate.

        Parameters
        ----------
        mtbf_h, mttr_h : float
            Mean times in hours.
        name : str
            A word.

        Raises
        ------
        ValueError
            A time is not above 0.
        """
    )
    found = sections(text)
    assert found[""].strip() == "Return a rate."
    described = entries(found["Parameters"])
    assert set(described) == {"mtbf_h", "mttr_h", "name"}
    assert re.search(UNITS["h"], described["mttr_h"])
    assert not re.search(UNITS["h"], described["name"])
    assert "ValueError" in found["Raises"]
