"""What is wrong in a file of an instructor's own questions.

Its formulas are arithmetic: a file that a colleague has sent runs nothing.
"""

import ast
import itertools
import math
import re
import string
from collections.abc import Iterator, Mapping
from dataclasses import replace
from keyword import iskeyword

from labkit.plant.schema_words import schema_errors, values
from labkit.wording import did_you_mean
from labkit.writing import is_odd
from lessons.exercises.formulas import Spoken, tree_of
from lessons.exercises.item import Lesson, fill
from lessons.exercises.item_file import ALLOWED, formula
from lessons.exercises.misconceptions import REGISTER
from lessons.exercises.quantities import Unreadable, unit
from lessons.items.question_form import CELLS, FORM, KINDS, STEPS
from lessons.items.question_units import Complaint, basis_of, unit_complaints

NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
MOST_DRAWS = 2000
MOST_LETTERS = 400
FUNCTIONS = ("abs", "max", "min", "round")
OF_MATH = ("ceil", "exp", "expm1", "floor", "log", "log10", "log1p", "sqrt")
ARITHMETIC = (ast.Expression, ast.BinOp, ast.Add, ast.Sub, ast.Mult, ast.Div, ast.FloorDiv, ast.Mod,
              ast.Pow, ast.UnaryOp, ast.USub, ast.UAdd, ast.Not, ast.BoolOp, ast.And, ast.Or,
              ast.Compare, ast.Eq, ast.NotEq, ast.Lt, ast.LtE, ast.Gt, ast.GtE, ast.IfExp, ast.Call,
              ast.Constant, ast.Name, ast.Attribute, ast.Load)
# What is a formula, and what is a text with quantities in braces, by its key.
FORMULAS = ("value", "right")
TEMPLATES = ("ask", "title", "reason", "hints", "cards", "text", "reply", "question", "model", "criteria",
             "corner", "worked")


def _texts(said: object) -> set[str]:
    """Return the texts of a list, and none of what is no list."""
    return {each for each in said if isinstance(each, str)} if isinstance(said, list) else set()


def _cells(table: Mapping) -> Iterator[tuple[tuple, Mapping]]:
    """Yield the cells of a table with their paths in it."""
    cells = table.get("cell", ()) if table.get("type") == "table" else ()
    for place, cell in enumerate(cells if isinstance(cells, list) else ()):
        if isinstance(cell, dict):
            yield ("cell", place), cell


def _parts(item: Mapping) -> Iterator[tuple[tuple, Mapping, Mapping[str, dict]]]:
    """Yield the cells of a table and the steps of a case with their paths, and the kinds they may be of."""
    yield from ((at, cell, CELLS) for at, cell in _cells(item))
    steps = item.get("step", ()) if item.get("type") == "steps" else ()
    for place, step in enumerate(steps if isinstance(steps, list) else ()):
        if isinstance(step, dict):
            yield ("step", place), step, STEPS


class QuestionCheck:
    """Complain of one document; each step rests on what those before it let pass."""

    def __init__(self, name: str, document: dict) -> None:
        self.name, self.document = name, document

    def form(self) -> Iterator[Complaint]:
        """Yield what no file of questions has: keys, kinds of value, letters."""
        if not NAME.fullmatch(self.name):
            yield (), "must have a name of letters, figures and _, a letter first", self.name
        yield from schema_errors(self.document, FORM)
        for place, item in enumerate(self._list("item")):
            kind = item.get("type")
            if not isinstance(kind, str) or kind not in KINDS:
                yield ("item", place, "type"), f"must be one of {', '.join(KINDS)}", kind
                continue
            for path, *rest in schema_errors(item, KINDS[kind]):
                yield ("item", place, *path), *rest
            for at, part, kinds in _parts(item):
                kind = part.get("type")
                if not isinstance(kind, str) or kind not in kinds:
                    yield ("item", place, *at, "type"), f"must be one of {', '.join(kinds)}", kind
                    continue
                for path, *rest in schema_errors(part, kinds[kind]):
                    yield ("item", place, *at, *path), *rest
        for path, value in values(self.document):
            if isinstance(value, float) and not math.isfinite(value):
                yield path, "must be finite", value
            if isinstance(value, str):
                odd = [each for each in value if is_odd(each) and each not in "\n\t"]
                if odd:
                    yield path, "must have no control, direction or invisible letters", f"U+{ord(odd[0]):04X}"

    def _list(self, key: str) -> list[Mapping]:
        found = self.document.get(key)
        return [each for each in found if isinstance(each, dict)] if isinstance(found, list) else []

    def names(self) -> Iterator[Complaint]:
        """Yield identifiers that are of others, and names that nobody has."""
        for key, tables in (("item", self._list("item")), ("case", self._list("case"))):
            seen: dict[str, int] = {}
            for place, table in enumerate(tables):
                own = table.get("id")
                if not isinstance(own, str):
                    continue
                if not own.startswith(f"{self.name}-") or not re.fullmatch(r"[\w.-]+", own):
                    yield ((key, place, "id"), f"must begin with {self.name}- for the file is "
                           f"{self.name}.toml, and have no spaces", own)
                if seen.setdefault(own, place) != place:
                    yield (key, place, "id"), f"must be given once, and {key} {seen[own] + 1} has it", own
        cases = [table.get("id") for table in self._list("case")]
        known = {entry.id for entry in REGISTER}
        objectives = self.document.get("objectives")
        objectives = objectives if isinstance(objectives, dict) else {}
        for place, table in enumerate(self._list("item")):
            if table.get("objective", "") not in ("", *objectives):
                yield (("item", place, "objective"), "must be a name of [objectives]",
                       _with_near(str(table["objective"]), objectives))
            if isinstance(table.get("case"), str) and table["case"] not in cases:
                yield (("item", place, "case"), "must be the id of a [[case]]",
                       _with_near(table["case"], cases))
            for path, value in values(table):
                if path[-1:] == ("misconception",) and value not in known:
                    yield ("item", place, *path), f"must be of the register, {REGISTER[0].id} to {REGISTER[-1].id}", value
                if path[-1:] == ("unit",):
                    yield from self._of_unit(("item", place, *path), value)
            steps = [(at, part.get("id")) for at, part, kinds in _parts(table) if kinds is STEPS]
            for number, (at, own) in enumerate(steps):
                if own in [other for _, other in steps[:number]]:
                    yield ("item", place, *at, "id"), "must be given once", own
            for at, cell in _cells(table):
                for key in ("rows", "columns"):
                    names, given = (_texts(each.get(key)) for each in (table, cell))
                    for name in given - names:
                        yield (("item", place, *at, key), f"must name {key} of the table",
                               _with_near(name, names))
                if not str(cell.get("id", f"{self.name}-")).startswith(f"{self.name}-"):
                    yield ("item", place, *at, "id"), f"must begin with {self.name}-", cell["id"]
        for path, table in self._cases():
            derived, tables = table.get("derived"), self.document.get("derived", {})
            for one in derived if isinstance(derived, list) else [derived]:
                if isinstance(one, str) and isinstance(tables, dict) and one not in tables:
                    yield (*path, "derived"), "must name a [derived.NAME] of this file", one

    @staticmethod
    def _of_unit(path: tuple, text: object) -> Iterator[Complaint]:
        try:
            unit(text if isinstance(text, str) else "")
        except Unreadable:
            yield path, "must be a unit such as h, min/a, 1/a, % or EUR", text

    def _cases(self) -> Iterator[tuple[tuple, Mapping]]:
        """Yield each case with its path: those that items share, then those in items."""
        for place, table in enumerate(self._list("case")):
            yield ("case", place), table
        for place, table in enumerate(self._list("item")):
            if isinstance(table.get("case", {}), dict):
                yield ("item", place, "case"), table.get("case", {})

    def _case_of(self, place: int) -> tuple[tuple, Mapping]:
        said = self._list("item")[place].get("case", {})
        if isinstance(said, dict):
            return ("item", place, "case"), said
        return next((("case", at), table) for at, table in enumerate(self._list("case"))
                    if table["id"] == said)

    def _lines(self, path: tuple, case: Mapping) -> dict[str, tuple[tuple, str]]:
        """Return what a case derives, in order: path and formula by name."""
        said = case.get("derived", {})
        if isinstance(said, dict):
            return {name: ((*path, "derived", name), text) for name, text in said.items()}
        return {name: (("derived", table, name), text) for table in
                ([said] if isinstance(said, str) else said)
                for name, text in self.document["derived"][table].items()}

    # ------------------------------------------------------------ formulas and templates

    def texts(self) -> Iterator[Complaint]:
        """Yield formulas and texts that use what is not there."""
        for path, case in self._cases():
            numbers = case.get("numbers", {})
            for name in numbers:
                if not name.isidentifier():
                    yield (*path, "numbers", name), "must be a name of letters, figures and _, a letter first", name
                elif name in ALLOWED or iskeyword(name) or name == "said":
                    yield (*path, "numbers", name), "must be a name that means nothing else in a formula", name
            if math.prod(map(len, numbers.values())) > MOST_DRAWS:
                yield (*path, "numbers"), f"must give at most {MOST_DRAWS} sets of numbers", "more"
            known = set(numbers)
            for name, (at, text) in self._lines(path, case).items():
                yield from self._formula(at, text, known)
                known.add(name)
            yield from self._template((*path, "text"), case.get("text", ""), known)
        for place, table in enumerate(self._list("item")):
            path, case = self._case_of(place)
            known = {*case.get("numbers", ()), *self._lines(path, case)}
            yield from self._of_item(("item", place), table, known)

    def _of_item(self, path: tuple, table: Mapping, known: set[str]) -> Iterator[Complaint]:
        for at, text in values({key: each for key, each in table.items() if key != "case"}):
            here = known | ({"row", "column", "place"} if at[:1] == ("cell",) else set())
            key = next((each for each in reversed(at) if isinstance(each, str)), "")
            if isinstance(text, str) and key in FORMULAS:
                yield from self._formula((*path, *at), text, here)
            elif isinstance(text, str) and key in TEMPLATES:
                yield from self._template((*path, *at), text,
                                          known | ({"said"} if "mark" in at else set()))
        options = table.get("option", ())
        for key in ("key", "text"):
            given = [option[key] for option in options]
            for place, each in enumerate(given):
                if each in given[:place]:
                    yield (*path, "option", place, key), "must be given once", each
        if options and all(isinstance(each.get("right", False), bool) for each in options):
            right = [option["key"] for option in options if option.get("right")]
            if len(right) != 1:
                yield (*path, "option"), "must have one right option", ", ".join(right) or "none"
        for place, swap in enumerate(table.get("swap", ())):
            first, second = swap["cards"]
            if not 0 <= first < second < len(table["cards"]):
                yield ((*path, "swap", place, "cards"),
                       f"must be two places of cards from 0 to {len(table['cards']) - 1}, the earlier first",
                       swap["cards"])
        rough = table.get("rough")
        if rough and rough["low"] >= rough["high"]:
            yield (*path, "rough", "low"), "must be below high", rough["low"]
        if rough and unit(rough["unit"]).kind != unit(table.get("unit", "")).kind:
            yield ((*path, "rough", "unit"), "must measure what the unit of the answer measures",
                   rough["unit"])

    @staticmethod
    def _formula(path: tuple, text: object, known: set[str]) -> Iterator[Complaint]:
        if not isinstance(text, str):
            yield path, "must be text with one line of arithmetic", text
            return
        try:
            if len(text) > MOST_LETTERS:
                raise ValueError(f"a formula must have at most {MOST_LETTERS} letters, got {len(text)}")
            formula(" ".join(text.split()))
            tree = ast.parse(" ".join(text.split()), mode="eval")
        except (SyntaxError, ValueError, RecursionError, MemoryError) as error:
            why = error.msg if isinstance(error, SyntaxError) else error
            yield path, "must be one line of arithmetic", f"{text!r}: {why}"
            return
        for node in ast.walk(tree):
            if not isinstance(node, ARITHMETIC) or not _is_plain(node):
                yield path, "must be arithmetic over names and numbers", text
                return
            if isinstance(node, ast.Name) and node.id not in known \
                    and node.id not in (*FUNCTIONS, "math", "HOURS_PER_YEAR"):
                yield (path, "must name quantities that its case has "
                       f"({', '.join(sorted(known)) or 'none'})", _with_near(node.id, known))

    @staticmethod
    def _template(path: tuple, text: str, known: set[str]) -> Iterator[Complaint]:
        try:
            fields = [name for _, name, _, _ in string.Formatter().parse(text) if name is not None]
        except ValueError as error:
            yield path, "must have names in braces, and each brace closed", f"{text!r}: {error}"
            return
        for name in fields:
            if name not in known:
                yield (path, "must have quantities of its case in braces "
                       f"({', '.join(sorted(known)) or 'none'})", _with_near(f"{name}", known))

    def units(self) -> Iterator[Complaint]:
        """Yield units that a formula cannot come out in, by the endings of its names; numbers not told."""
        spoken = Spoken(self.document.get("names", {}))
        for place, table in enumerate(self._list("item")):
            path, case = self._case_of(place)
            lines = {name: text for name, (_, text) in self._lines(path, case).items()}
            given = {*case.get("numbers", ())}
            texts = (case.get("text", ""), table["ask"], *(each.get("text", "") for _, each in _cells(table)))
            told = {name for text in texts for _, field, _, _ in string.Formatter().parse(text) if field
                    for name in basis_of(tree_of(field, lines))}
            for at, asked in (((), table), *_cells(table)):
                if asked["type"] == "number":
                    tree = tree_of(asked["value"], lines)
                    yield from unit_complaints(("item", place, *at, "value"), tree, spoken,
                                               unit(asked.get("unit", "")))
                    for name in sorted((basis_of(tree) & given) - told):
                        yield (*path, "text"), f"must tell {name} in braces, for {asked['value']} needs it", texts[0]

    # ------------------------------------------------------------ drawn and worked out

    def draws(self, lesson: Lesson) -> Iterator[Complaint]:
        """Yield what goes wrong for some set of numbers."""
        broken = set()
        for path, case in self._cases():
            for complaint in self._worked(path, case):
                broken.add(path)
                yield complaint
                break
        for place, item in enumerate(lesson.items):
            path, case = self._case_of(place)
            if path not in broken:
                yield from itertools.islice(self._asked(("item", place), item, lesson), 1)

    def _worked(self, path: tuple, case: Mapping) -> Iterator[Complaint]:
        numbers = case.get("numbers", {})
        for drawn in itertools.product(*numbers.values()):
            known = dict(zip(numbers, drawn, strict=True))
            said = _said(known)
            for name, (at, text) in self._lines(path, case).items():
                try:
                    known[name] = eval(formula(" ".join(text.split())), ALLOWED | known)
                except (ArithmeticError, TypeError, ValueError) as error:
                    yield at, "must come out for all numbers of the case", f"{said}: {error}"
                    return

    def _asked(self, path: tuple, item, lesson: Lesson) -> Iterator[Complaint]:
        table = self._list("item")[path[1]]
        own = self._case_of(path[1])[1].get("numbers", {})
        for numbers in item.case.draws(1):
            said = _said({name: vars(numbers)[name] for name in own})
            for part in item.numeric_parts():
                for at, solve in (((*path, "value"), part.solve), *(
                        ((*path, "mark", place, "value"), mark.value)
                        for place, mark in enumerate(part.fingerprints))):
                    at = at if "value" in table else path
                    try:
                        value = solve(numbers)
                        if isinstance(value, bool) or not math.isfinite(value):
                            raise ValueError(f"it is {value}")
                    except (ArithmeticError, TypeError, ValueError) as error:
                        yield at, "must be a number for all numbers of its case", f"{said}: {error}"
            try:
                right = [option.key for option in getattr(item, "options", ())
                         if option.is_right(numbers)]
                for at, cell in _cells(table):
                    if cell["type"] != "pick":
                        continue
                    for place in itertools.product(cell.get("rows", item.rows), cell.get("columns", item.columns)):
                        if (text := item.cells[place].right_answer(numbers)) not in cell["options"]:
                            yield (*path, *at, "right"), "must be one of its options", f"{text!r} for {said}"
                            return
                texts = [item.task(numbers, 0), *(fill(text, numbers) for text in (
                    *table["hints"], table.get("worked", "")))]
                texts += [fill(option.said_back(numbers), numbers)
                          for option in getattr(item, "options", ())]
            except (ArithmeticError, TypeError, ValueError, KeyError) as error:
                yield path, "must be asked for all numbers of its case", f"{said}: {error}"
                return
            if getattr(item, "options", ()) and len(right) != 1:
                yield ((*path, "option"), "must have one right option for all numbers of its case",
                       f"{', '.join(right) or 'none'} for {said}")
        first = next(item.case.draws(0))
        if item.separated(first):
            return
        said = _said({name: vars(first)[name] for name in own})
        for part in item.numeric_parts():
            for place, mark in enumerate(part.fingerprints):
                if not replace(part, fingerprints=(mark,)).separated(first):
                    yield ((*path, "mark", place, "value"), "must be 6 % apart from the right value, "
                           "in any unit", f"{mark.value(first):.4g} and {part.solve(first):.4g} for {said}")
        yield path, "must keep right and wrong apart, and no two texts alike", said


def _is_plain(node: ast.AST) -> bool:
    """Say whether a call, an attribute or a power is one of those that are allowed."""
    match node:
        case ast.Call(func=ast.Name(id=name), keywords=[]):
            return name in FUNCTIONS
        case ast.Call(func=ast.Attribute(), keywords=[]):
            return True
        case ast.Call():
            return False
        case ast.Attribute(value=ast.Name(id="math"), attr=name):
            return name in OF_MATH
        case ast.Attribute():
            return False
        case ast.BinOp(left=left, op=op, right=right):
            sides = [*ast.walk(left), *ast.walk(right)]
            plain = not any(isinstance(each, ast.Name) for each in sides)
            texts = any(isinstance(each, ast.Constant) and isinstance(each.value, str) for each in sides)
            large = any(isinstance(each, ast.Constant) and isinstance(each.value, int)
                        and each.value > 100 for each in ast.walk(right))
            nested = isinstance(right, ast.BinOp)
            return not texts and not (isinstance(op, ast.Pow) and plain and (large or nested))
        case ast.Constant(value=value):
            return isinstance(value, int | float | str)
    return True


def _with_near(name: str, names) -> str:
    return name + did_you_mean(name, [each for each in names if isinstance(each, str)], cutoff=0.5)


def _said(numbers: Mapping[str, object]) -> str:
    return ", ".join(f"{name} = {value:g}" for name, value in numbers.items()) or "no numbers"
