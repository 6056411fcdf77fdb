"""Every public name says what it takes, in which unit, what it gives and how it refuses.

The form is that of numpydoc. A module's public names are those of its `__all__`. Modules that a
reader of the lessons imports from are held to all of it, with what they pass on from others;
modules that only other modules use are held to a summary and to units.
"""

import ast
import dataclasses
import enum
import importlib
import inspect
import pkgutil
import re
import textwrap

import pytest

import labkit

MODULES = sorted(module.name for module in pkgutil.walk_packages(labkit.__path__, "labkit."))

IMPORTED_FROM = {
    "labkit.availability",
    "labkit.demand",
    "labkit.effects",
    "labkit.evidence",
    "labkit.exercises",
    "labkit.faults",
    "labkit.figures",
    "labkit.lab",
    "labkit.lamps",
    "labkit.lessons_folder",
    "labkit.markov",
    "labkit.pair",
    "labkit.panels",
    "labkit.plant",
    "labkit.process",
    "labkit.prooftest",
    "labkit.records",
    "labkit.rig",
    "labkit.scheme",
    "labkit.settings",
    "labkit.sheets",
    "labkit.simulation",
    "labkit.stories",
    "labkit.switchover",
    "labkit.timing",
    "labkit.trend",
    "labkit.variants",
}

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
    """Yield (name, member) of what a class defines itself and does not keep to itself."""
    for name, member in vars(thing).items():
        # What a dataclass writes for itself has no lines of its own.
        if not name.startswith("_") and inspect.isfunction(function_of(member)):
            yield name, member


def public():
    """Yield (identifier, object, whether others import it) of everything public."""
    things = {}
    for module_name in MODULES:
        try:
            module = importlib.import_module(module_name)
        except ImportError:
            # Reported by the test of the module itself, and not by the whole file.
            continue
        for name in getattr(module, "__all__", ()):
            thing = getattr(module, name, None)
            home = getattr(thing, "__module__", None) or ""
            if not home.startswith("labkit") or not hasattr(thing, "__name__"):
                continue
            named = [(name, thing)]
            if inspect.isclass(thing):
                named += [(f"{name}.{inner}", member) for inner, member in members(thing)]
            for full_name, one in named:
                key = f"{home.removeprefix('labkit.')}:{full_name}"
                strict = module_name in IMPORTED_FROM or things.get(key, (one, False))[1]
                things[key] = (one, strict)
    return things


EVERYTHING = public()
STRICT = [pytest.param(one, id=key) for key, (one, strict) in EVERYTHING.items() if strict]
PUBLIC = [pytest.param(one, id=key) for key, (one, _) in EVERYTHING.items()]


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


@pytest.mark.parametrize("name", MODULES)
def test_module_says_what_is_public(name):
    module = importlib.import_module(name)
    assert module.__doc__, "no docstring"
    if name.rpartition(".")[2] != "__init__" and not hasattr(module, "__path__"):
        assert list(module.__all__) == list(dict.fromkeys(module.__all__))
        assert not [word for word in module.__all__ if not hasattr(module, word)]


@pytest.mark.parametrize("thing", PUBLIC)
def test_summary_is_one_sentence(thing):
    summary = documented(thing)[""].strip().split("\n\n")[0]
    assert summary.endswith((".", ":", "?")), summary or "no docstring"


@pytest.mark.parametrize("thing", STRICT)
def test_every_argument_is_described(thing):
    found = documented(thing)
    described = entries(found.get("Parameters", "")) | entries(found.get("Attributes", ""))
    wanted = arguments(thing)
    # A method of few arguments, and a record of few fields, may say them in a sentence.
    sentence = "." in getattr(function_of(thing), "__qualname__", "")
    if sentence or dataclasses.is_dataclass(thing):
        whole = " ".join(found.values())
        wanted = [name for name in wanted if not re.search(rf"\b{re.escape(name)}\b", whole)]
    missing = [name for name in wanted if name not in described]
    assert not missing
    extra = set(entries(found.get("Parameters", ""))) - set(arguments(thing))
    assert not extra, f"described, but not taken: {sorted(extra)}"
    assert all(text.strip() for text in described.values())


@pytest.mark.parametrize("thing", PUBLIC)
def test_units_are_said(thing):
    found = documented(thing)
    # A unit that holds for all arguments may be said once, for all of them.
    whole = " ".join(found.values())
    unsaid = []
    for name in entries(found.get("Parameters", "")):
        unit = next((unit for unit in UNITS if name.endswith(f"_{unit}")), None)
        if unit and not re.search(UNITS[unit], whole, re.IGNORECASE):
            unsaid.append(name)
    assert not unsaid


@pytest.mark.parametrize("thing", STRICT)
def test_every_own_refusal_is_described(thing):
    described = documented(thing).get("Raises", "")
    missing = {name for name in raised(thing) if name not in described}
    assert not missing


@pytest.mark.parametrize("thing", STRICT)
def test_no_open_ended_arguments(thing):
    if inspect.isclass(thing):
        return
    kinds = [p.kind for p in inspect.signature(function_of(thing)).parameters.values()]
    assert inspect.Parameter.VAR_KEYWORD not in kinds


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
