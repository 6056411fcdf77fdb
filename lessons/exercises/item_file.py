"""The items of a lesson, read from a text file: what is asked, how it is worked, what errors give.

A file holds texts and formulas. A formula is one line of arithmetic over the numbers of its case,
such as ``8760 * mttr_h / (mtbf_h + mttr_h)``; besides those it may use the functions that the
caller hands over, and `n`, all numbers together. In a table it also knows `row`, `column`, and
`place`, the row counted from 0. A text of several lines is one paragraph.

==================== ==========================================================================
table                holds
==================== ==========================================================================
``[[case]]``         a situation that several items share: ``text``, ``numbers`` to draw from
                     (the first are those of the plant), what is ``computed`` from them by a
                     function, and what is ``derived`` line by line; each line may use those above.
                     ``at_plant`` says which numbers another plant gives, as formulas over
                     :func:`quantities_of` it, where the text holds for such a plant
``[derived.NAME]``   lines that several cases share, by ``derived = "NAME"``
``[names]``          how quantities are spoken, see :mod:`.formulas`
``[[item]]``         one item; its ``type`` is number, choice, prediction, order, table or steps
``[[item.option]]``  what may be chosen, with what is right, and the question for who chose it
``[[item.mark]]``    the value that a known error gives, and its question
``[[item.cell]]``    cells of a table, for each of ``rows`` and ``columns``
``[[item.step]]``    an item that is asked for each of the ``cases`` of worked steps
==================== ==========================================================================
"""

from __future__ import annotations

import ast
import builtins
import functools
import itertools
import math
import re
import string
import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from types import CodeType, SimpleNamespace

from labkit.plant.plant import Plant
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import faded
from lessons.exercises.formulas import Opaque, Spoken, is_taken, quantities_in, route, tree_of
from lessons.exercises.item import CALCULATION_STEPS, Case, Hints, Lesson
from lessons.exercises.judging import Formula
from lessons.exercises.near_misses import Slips
from lessons.exercises.numeric import Fingerprint, Numeric, Rough
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.table import Free, Pick, Table

FORBIDDEN = (ast.Lambda, ast.NamedExpr, ast.Await, ast.Yield, ast.YieldFrom)


def _attribute(thing: object, name: str) -> object:
    if name.startswith("_"):
        raise AttributeError(f"a formula may not use {name!r}")
    return getattr(thing, name)


ALLOWED = {name: getattr(builtins, name) for name in (
    "abs", "all", "any", "bool", "dict", "float", "int", "len", "list", "map", "max", "min",
    "range", "round", "set", "sorted", "str", "sum", "tuple", "vars", "zip", "next", "enumerate")
} | {"__builtins__": {}, "getattr": _attribute, "HOURS_PER_YEAR": HOURS_PER_YEAR, "math": math}


class ItemFileError(ValueError):
    """Raised where a file of items holds what cannot be asked; names file, item and key."""


def formula(text: str) -> CodeType:
    """Compile one line of arithmetic, and refuse what is none.

    >>> eval(formula("8760 * mttr_h"), {"mttr_h": 4.0})
    35040.0
    """
    tree = ast.parse(text.strip(), mode="eval")
    for node in ast.walk(tree):
        hidden = getattr(node, "attr", None) or getattr(node, "id", None) or ""
        if isinstance(node, FORBIDDEN) or hidden.startswith("_"):
            raise ValueError(f"a formula must be arithmetic over names, got {text!r}")
    return compile(tree, f"<{text.strip()}>", "eval")


def read_items(module: str | Path, names: Mapping[str, object], drills: tuple = ()) -> Lesson:
    """Read the items that stand beside a module; their formulas know its names, less a first _."""
    path = Path(module).with_suffix(".toml")
    functions = {name.removeprefix("_"): value for name, value in names.items()}
    try:
        document = tomllib.loads(path.read_text("utf-8"))
    except tomllib.TOMLDecodeError as error:
        raise ItemFileError(f"{path.name}: {error}") from None
    return items_of(path, document, functions, drills)


def items_of(path: Path, document: Mapping, functions: Mapping[str, object], drills: tuple = (),
             plant: Plant | None = None) -> Lesson:
    """Build the items of a document; its file is named where something is wrong.

    Of a plant that is given, a case has the numbers that `at_plant` names, where the plant has all
    of them and they keep right and wrong apart. All other cases keep those of the file.
    """
    def built(left_out: frozenset[str] = frozenset()) -> Lesson:
        return _Reader(path, document, functions, plant, left_out).lesson(
            tuple(drill.at(plant) for drill in drills) if plant else drills)

    lesson = built()
    if plant is None:
        return replace(lesson, made=functools.partial(items_of, path, document, functions, drills))
    near = frozenset(item.case.id for item in lesson.items
                     if item.case.of_plant and not item.separated(next(item.case.draws(0))))
    return built(near) if near else lesson


def quantities_of(plant: Plant) -> dict[str, object]:
    """Return by which names `at_plant` speaks of a plant.

    The first part of each kind goes by its kind, `unit` is one of a pair that is there, `sync` its
    first cable, `pair` what is said of both, and `count("pump")` how many parts of a kind there are.
    """
    kinds = [part.kind for part in plant.parts.values()]
    found: dict[str, object] = {part.kind: part for part in reversed(plant.parts.values())}
    found["count"] = kinds.count
    if plant.pair:
        found |= {"pair": plant.pair, "unit": plant.parts[plant.pair.units[0]],
                  **({"sync": plant.parts[plant.pair.sync[0]]} if plant.pair.sync else {})}
    return found


class _Reader:
    """Build the items of one document."""

    def __init__(self, path: Path, document: Mapping, functions: Mapping[str, object],
                 plant: Plant | None = None, left_out: frozenset[str] = frozenset()) -> None:
        self.path, self.document, self.functions = path, document, functions
        self.of_plant, self.left_out = quantities_of(plant) if plant else {}, left_out
        self.objectives = document.get("objectives", {})
        self.lines = document.get("derived", {})
        self.names = Spoken(document.get("names", {}))
        self.cases: dict[str, Case] = {}
        self.where = ""

    def lesson(self, drills: tuple) -> Lesson:
        head = _Keys(self, self.document, f"{self.path.name}")
        for table in head.take("case", []):
            keys = _Keys(self, table, f"case {table.get('id')!r}")
            self.cases[table["id"]] = self.case(keys, table["id"])
        items, chains = [], ()
        for table in head.take("item", []):
            self.where = f"item {table.get('id', 'without id')!r}"
            if table["type"] == "steps":
                more, own = self.steps(_Keys(self, table, "worked steps"))
                chains, items = (*chains, *more), [*items, *own]
            else:
                items.append(self.item(_Keys(self, table, self.where), table["id"]))
        for key in ("objectives", "derived", "names"):
            head.take(key, {})
        lesson = Lesson(head.take("number"), head.take("title"), tuple(items), chains,
                        tuple(head.take("recall", [])), drills)
        head.done()
        return lesson

    # ------------------------------------------------------------ formulas

    def call(self, text: str, keys: _Keys, **fixed: object) -> Callable:
        """Return a function of the numbers; further positional values are `earlier`."""
        try:
            code = formula(_folded(text))
        except (SyntaxError, ValueError) as error:
            raise keys.error(str(error)) from None

        def value(numbers: SimpleNamespace, *earlier):
            names = self.known(numbers, fixed)
            if earlier:
                names["earlier"] = earlier[0]
            return eval(code, names)  # checked by `formula`; the files are part of the course

        return value

    def known(self, numbers: SimpleNamespace, fixed: Mapping[str, object]) -> dict[str, object]:
        """Return all that a formula may use."""
        return {**ALLOWED, **self.functions, **fixed, **vars(numbers), "n": numbers}

    def worked(self, text: str, case: Case, own: str, fixed: Mapping[str, object],
               also: str) -> Formula:
        """Return the formula of a value, with the slips that can be made in it.

        What a learner is told stands in the text of the case, and in `also`.
        """
        tree, sample = tree_of(text, case.lines), vars(next(case.draws(0)))
        told = [name for _, name, _, _ in string.Formatter().parse(f"{case.text} {also}") if name]
        told += [name for name, line in case.lines.items() if is_taken(tree_of(line, {}))
                 and not isinstance(tree_of(line, {}), Opaque)]
        named = quantities_in(tree)
        told += [name for name, part in named.items() if part.line is None and part is not tree]
        givens = [name for name in dict.fromkeys(told)
                  if isinstance(sample.get(name), int | float) and not isinstance(sample[name], bool)]
        others = [name for name in case.lines if isinstance(sample[name], float)
                  and name not in givens]
        shares = [name for name in (*givens, *named)
                  if self.names.is_share(name) and 0 < sample.get(name, 0) < 1]
        return Formula(Slips(tree, own, self.names, givens, shares, others, sample),
                       lambda numbers: self.known(numbers, fixed), _folded(text), case.lines)

    def truth(self, said: object, keys: _Keys, **fixed: object):
        return said if isinstance(said, bool) else self.call(said, keys, **fixed)

    # ------------------------------------------------------------ cases

    def case(self, keys: _Keys, own_id: str) -> Case:
        numbers = {name: _fixed(values) for name, values in keys.take("numbers", {}).items()}
        given = self.given(keys, keys.take("id", own_id))
        numbers |= given
        computed, picture = keys.take("computed", None), keys.take("picture", None)
        lines = self.lines_of(keys)
        derive = self.derive(computed, lines, keys)
        case = Case(keys.take("id", own_id), keys.text("text", ""), numbers, derive,
                    self.call(picture, keys) if picture else None, lines, bool(given))
        keys.done()
        return case

    def given(self, keys: _Keys, own_id: str) -> dict[str, tuple[float]]:
        """Return the numbers of a case that the plant gives: all that are named, or none."""
        named = {name: formula(text) for name, text in keys.take("at_plant", {}).items()}
        if not self.of_plant or own_id in self.left_out:
            return {}
        try:
            return {name: (float(eval(code, ALLOWED | self.of_plant)),) for name, code in named.items()}
        except NameError:
            return {}

    def lines_of(self, keys: _Keys) -> dict[str, str]:
        """Return what a case derives: its own lines, or those of tables that cases share."""
        said = keys.take("derived", {})
        if isinstance(said, Mapping):
            return dict(said)
        lines = {}
        for name in [said] if isinstance(said, str) else said:
            lines |= keys.one_of("derived", name, self.lines)
        return lines

    def derive(self, computed: str | None, lines: Mapping[str, str], keys: _Keys) -> Callable:
        """Return what follows from the numbers: first what a function gives, then line by line."""
        first = self.call(computed, keys) if computed else lambda numbers: {}
        parts = {name: self.call(text, keys) for name, text in lines.items()}

        def derived(numbers: SimpleNamespace) -> Mapping[str, object]:
            found = dict(first(numbers))
            for name, part in parts.items():
                found[name] = part(SimpleNamespace(**vars(numbers) | found))
            return found

        return derived

    def case_of(self, keys: _Keys, own_id: str) -> Case:
        said = keys.take("case", {})
        if isinstance(said, str):
            return keys.one_of("case", said, self.cases)
        case = self.case(_Keys(self, said, f"{keys.where}, case"), own_id)
        return self.cases.setdefault(case.id, case)

    # ------------------------------------------------------------ items

    def item(self, keys: _Keys, item_id: str, case: Case | None = None):
        kind = keys.take("type")
        makers = {"number": self.number, "choice": self.choice, "prediction": self.prediction,
                  "order": self.order, "table": self.table}
        if kind not in makers:
            raise keys.error(f"type must be one of {', '.join(makers)}, steps; got {kind!r}")
        keys.take("id", "")
        objective = keys.take("objective", "")
        head = (item_id, keys.text("title", ""), self.objectives.get(objective, objective),
                case or self.case_of(keys, item_id), keys.text("ask", ""))
        item = makers[kind](keys, head)
        keys.done()
        return item

    def number(self, keys: _Keys, head: tuple, also: str = "", **fixed: object) -> Numeric:
        rough, follows = keys.take("rough", None), keys.take("follows", None)
        if follows and follows.startswith("."):
            follows = f"{head[3].id}{follows}"
        value_from = keys.take("value_from", None)
        value, own = keys.take("value"), keys.take("unit", "")
        return Numeric(
            *head, own, self.call(value, keys, **fixed), keys.text("reason", ""),
            self.hints(keys, value, head[3]),
            tuple(self.marks(keys, head[3], **fixed)),
            tolerance=keys.take("tolerance", 0.0), shows_unit=keys.take("shows_unit", False),
            complement=keys.take("complement", False),
            rough=Rough(rough["low"], rough["high"], rough["unit"], _folded(rough["why"]))
            if rough else None,
            follows=follows, solve_from=self.call(value_from, keys) if value_from else None,
            formula=functools.partial(
                self.worked, keys.take("formula", value), head[3], own, fixed, also),
            exact=keys.take("exact", None))

    def hints(self, keys: _Keys, value: str, case: Case) -> Hints:
        """Return the hints; where there are two, the route is the formula with its numbers."""
        said = keys.take("hints", ["", "", ""])
        if len(said) == 2:
            if value not in case.lines:
                raise keys.error("a third hint must be there where value is no derived name")
            said = [*said, route(value, case.lines, self.names)]
        return Hints(*map(_folded, said))

    def marks(self, keys: _Keys, case: Case, **fixed: object) -> Iterator[Fingerprint]:
        for one in keys.tables("mark"):
            mark = Fingerprint(one.take("misconception", None),
                               self.call(one.take("value"), one, **fixed), one.text("question"))
            if case.id in one.take("cases", (case.id,)):
                yield mark

    def options(self, keys: _Keys) -> tuple[Option, ...]:
        return tuple(Option(one.take("key"), one.text("text"), one.text("reply", ""),
                            self.truth(one.take("right", False), one),
                            one.take("misconception", None), one.text("question", ""))
                     for one in keys.tables("option"))

    def choice(self, keys: _Keys, head: tuple) -> Choice:
        return Choice(*head, self.options(keys), keys.hints(), keys.take("voting", False),
                      keys.take("in_order", False))

    def prediction(self, keys: _Keys, head: tuple) -> Prediction:
        statements = tuple(Statement(one.take("key"), one.text("text"), self.call(one.take("holds"), one))
                           for one in keys.tables("statement"))
        return Prediction(*head, self.options(keys), statements, self.call(keys.take("run"), keys),
                          keys.text("at_panel", ""), keys.hints())

    def order(self, keys: _Keys, head: tuple) -> Order:
        return Order(*head, tuple(map(_folded, keys.take("cards"))), keys.text("reason", ""), keys.hints(),
                     {tuple(one.take("cards")): one.question() for one in keys.tables("swap")})

    def table(self, keys: _Keys, head: tuple) -> Table:
        rows, columns = tuple(keys.take("rows")), tuple(keys.take("columns"))
        cells, also = {}, " ".join(cell.get("text", "") for cell in keys.table.get("cell", ()))
        for cell in keys.tables("cell"):
            places = list(itertools.product(cell.take("rows", rows), cell.take("columns", columns)))
            for row, column in places:
                if row not in rows or column not in columns:
                    raise cell.error(f"there is no cell {row!r} / {column!r}")
                cells[row, column] = self.cell(cell, head, row, column, rows.index(row), also)
        in_order = {place: cells[place] for place in itertools.product(rows, columns)
                    if place in cells}
        open_cells = {place: cell for place, cell in in_order.items() if not isinstance(cell, str)}
        in_order |= {place: cell.among(open_cells) for place, cell in open_cells.items()}
        return Table(*head, rows, columns, in_order,
                     keys.text("reason", ""), keys.hints(), keys.text("corner", ""),
                     keys.take("kept", True))

    def cell(self, keys: _Keys, head: tuple, row: str, column: str, place: int, also: str):
        fixed = {"row": row, "column": column, "place": place}
        kind = keys.take("type")
        if kind == "given":
            return keys.text("text")
        if kind == "free":
            return Free(keys.text("model"), tuple(map(_folded, keys.take("criteria"))))
        if kind == "pick":
            return Pick(tuple(keys.take("options")), self.call(keys.take("right"), keys, **fixed),
                        {one.take("option"): one.question() for one in keys.tables("question")})
        if kind == "number":
            title = keys.text("title", row)
            return self.number(keys, (keys.take("id").format(row=row, column=column, place=place),
                                      title, head[2], head[3], keys.text("ask", title)), also, **fixed)
        raise keys.error(f"type must be given, free, pick or number, got {kind!r}")

    def steps(self, keys: _Keys) -> tuple[tuple, tuple]:
        keys.take("type")
        worked = [_folded(text) for text in keys.take("worked")]
        cases = [self.cases[name] for name in keys.take("cases")]

        def maker(table: Mapping) -> Callable[[Case], object]:
            def make(case: Case):
                own = _Keys(self, table, f"step {table['id']!r} of {case.id!r}")
                return self.item(own, f"{case.id}.{table['id']}", case)

            return make

        chains_and_items = faded(cases, [maker(table) for table in keys.take("step")], worked,
                                 keys.take("names", CALCULATION_STEPS))
        keys.done()
        return chains_and_items


class _Keys:
    """Hand out the keys of one table, and refuse those that nobody asked for."""

    def __init__(self, reader: _Reader, table: Mapping, where: str) -> None:
        self.reader, self.table, self.where, self.left = reader, table, where, set(table)

    def error(self, problem: str) -> ItemFileError:
        return ItemFileError(f"{self.reader.path.name}: {self.where}: {problem}")

    def take(self, key: str, *default):
        self.left.discard(key)
        if key not in self.table and not default:
            raise self.error(f"key {key!r} must be there")
        return self.table.get(key, *default)

    def one_of(self, key: str, name: str, known: Mapping[str, object]):
        if name not in known:
            raise self.error(f"{key} must be one of {', '.join(known)}, got {name!r}")
        return known[name]

    def text(self, key: str, *default: str) -> str:
        return _folded(self.take(key, *default))

    def tables(self, key: str) -> Iterator[_Keys]:
        """Yield the tables of a key; each is done with when the next one is asked for."""
        for number, table in enumerate(self.take(key, []), 1):
            keys = _Keys(self.reader, table, f"{self.where}, {key} {number}")
            yield keys
            keys.done()

    def question(self) -> tuple[str | None, str]:
        return self.take("misconception", None), self.text("question")

    def hints(self) -> Hints:
        return Hints(*map(_folded, self.take("hints", ["", "", ""])))

    def done(self) -> None:
        if self.left:
            raise self.error(f"there is no key {min(self.left)!r}")


def _folded(text: str) -> str:
    """Return a text of several lines as paragraphs of one line."""
    paragraphs = re.split(r"\n[ \t]*\n", text.strip(" \t\n"))
    return "\n".join(re.sub(r"[ \t]*\n[ \t]*", " ", paragraph) for paragraph in paragraphs)


def _fixed(values: object):
    """Return lists within lists as tuples, so that numbers can be compared."""
    return tuple(map(_fixed, values)) if isinstance(values, list) else values
