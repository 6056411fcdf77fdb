"""Formulas as trees: what a line of arithmetic adds, multiplies and names, and how it is spoken.

A formula is one line over the numbers of a case. A name in it may stand for another line, so that
each line is a step with a name. From the tree come the near misses (:mod:`.near_misses`) and the
route with the numbers put in; the value itself is what Python makes of the line.
"""

from __future__ import annotations

import ast
import contextlib
import functools
import math
import operator
import tomllib
from collections.abc import Callable, Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from labkit.wording import HOURS_PER_YEAR, capital, shown
from lessons.exercises.quantities import Unit, Unreadable, unit

FUNCTIONS = {"exp": math.exp, "expm1": math.expm1, "log": math.log, "sqrt": math.sqrt, "abs": abs,
             "ceil": math.ceil}


class Node:
    """A part of a formula, with which more can be built as with a number; numbers are taken too."""

    def __add__(self, other: Node | float) -> Sum:
        return Sum(_parts(self, "terms", 1) + _parts(_node(other), "terms", 1))

    def __sub__(self, other: Node | float) -> Sum:
        return Sum(_parts(self, "terms", 1) + _parts(_node(other), "terms", -1))

    def __rsub__(self, other: float) -> Sum:
        return _node(other) - self

    def __mul__(self, other: Node | float) -> Product:
        return Product(_parts(self, "factors", 1) + _parts(_node(other), "factors", 1))

    def __truediv__(self, other: Node | float) -> Product:
        return Product(_parts(self, "factors", 1) + _parts(_node(other), "factors", -1))

    def __rmul__(self, other: float) -> Product:
        return _node(other) * self

    def __rtruediv__(self, other: float) -> Product:
        return _node(other) / self

    def turned_over(self) -> Product:
        """Return one over it."""
        return Product(((-1, self),))


def _node(part: Node | float) -> Node:
    return part if isinstance(part, Node) else Fixed(part)


@dataclass(frozen=True)
class Fixed(Node):
    """A number that the formula itself holds."""

    value: float


@dataclass(frozen=True)
class Opaque(Node):
    """What is taken from a model as it is: a call, an attribute, a choice."""

    python: str


@dataclass(frozen=True)
class Quantified(Node):
    """A quantity by its name: given, where there is no line for it."""

    name: str
    line: Node | None = None


@dataclass(frozen=True)
class Sum(Node):
    """Terms, each with its sign."""

    terms: tuple[tuple[int, Node], ...]


@dataclass(frozen=True)
class Product(Node):
    """Factors: 1 above the stroke, -1 below it."""

    factors: tuple[tuple[int, Node], ...]


@dataclass(frozen=True)
class Power(Node):
    """A base and its exponent."""

    base: Node
    exponent: Node


@dataclass(frozen=True)
class Call(Node):
    """A function of one number, such as `exp`, or the largest term of a sum."""

    function: str
    inner: Node


BUILDERS = {ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul,
            ast.Div: operator.truediv}
NOTHING: Mapping[int, float] = {}


def tree_of(text: str, lines: Mapping[str, str]) -> Node:
    """Return the tree of a formula; `lines` holds the formulas of the names in it.

    >>> tree_of("60 * mttr_h", {})
    Product(factors=((1, Fixed(value=60.0)), (1, Quantified(name='mttr_h', line=None))))
    """
    return _built(ast.parse(" ".join(text.split()), mode="eval").body, lines)


def _built(node: ast.expr, lines: Mapping[str, str]) -> Node:
    built = functools.partial(_built, lines=lines)
    match node:
        case ast.Constant(value=int() | float() as value) if not isinstance(value, bool):
            return Fixed(float(value))
        case ast.Name(id="HOURS_PER_YEAR"):
            return Fixed(HOURS_PER_YEAR)
        case ast.Name(id=name) if name in lines:
            own = tree_of(lines[name], {key: text for key, text in lines.items() if key != name})
            return Quantified(name, None if is_taken(own) else own)
        case ast.Name(id=name):
            return Quantified(name)
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            return Sum(((-1, built(inner)),))
        case ast.BinOp(op=op, left=left, right=right) if type(op) in BUILDERS:
            return BUILDERS[type(op)](built(left), built(right))
        case ast.BinOp(op=ast.Pow(), left=left, right=right):
            return Power(built(left), built(right))
        case ast.Call(func=ast.Name(id=name), args=[inner], keywords=[]) if name == "float":
            return built(inner)
        case ast.Call(func=ast.Name(id="abs"), args=[inner], keywords=[]):
            return Call("abs", built(inner))
        case ast.Call(func=ast.Attribute(value=ast.Name(id="math"), attr=name), args=[inner],
                      keywords=[]) if name in FUNCTIONS:
            return Call(name, built(inner))
        case ast.Attribute(attr=name) if not name.startswith("_"):
            return Quantified(ast.unparse(node))
    return Opaque(ast.unparse(node))


def is_taken(tree: Node) -> bool:
    """Return True for a line that takes a number as it is, and works nothing out."""
    return isinstance(tree, Opaque | Fixed | Quantified)


def is_whole_sum(tree: Node, numbers: Mapping[str, object]) -> bool:
    """Return True for a sum of whole numbers, in whatever unit it is told at the end.

    >>> is_whole_sum(tree_of("(a + b) / 60", {}), {"a": 40.0, "b": 75.0})
    True
    """
    match tree:
        case Quantified(line=line) if line is not None:
            return is_whole_sum(line, numbers)
        case Product(factors):
            parts = [part for _, part in factors if not isinstance(part, Fixed)]
            return len(parts) == 1 and is_whole_sum(parts[0], numbers)
        case Sum(terms):
            return len(terms) > 1 and all(is_whole(part, numbers) for _, part in terms)
    return False


def is_whole(node: Node, numbers: Mapping[str, object]) -> bool:
    """Return True for what is counted: a whole number, or whole numbers added or multiplied."""
    match node:
        case Fixed(value):
            return value == int(value)
        case Quantified(name, None):
            value = numbers.get(name)
            return isinstance(value, int | float) and value == int(value)
        case Quantified(line=line):
            return is_whole(line, numbers)
        case Sum(terms):
            return all(is_whole(part, numbers) for _, part in terms)
        case Product(factors):
            return all(way == 1 and is_whole(part, numbers) for way, part in factors)
    return False


def _parts(node: Node, kind: str, sign: int) -> tuple[tuple[int, Node], ...]:
    return tuple((sign * own, part) for own, part in getattr(node, kind, ((1, node),)))


def worked_out(node: Node, leaf: Callable[[str], float], known: Mapping[int, float] = NOTHING
               ) -> float:
    """Return the value of a tree; `leaf` gives that of a quantity or of what is opaque.

    What is `known` of a part, by its identity, is not worked out once more.

    >>> tree = tree_of("per_a * mttr_h", {"per_a": "8760 / mtbf_h"})
    >>> worked_out(tree, {"mtbf_h": 60000.0, "mttr_h": 4.0}.__getitem__)
    0.584
    """
    if (value := known.get(id(node))) is not None:
        return value
    match node:
        case Fixed():
            return node.value
        case Quantified():
            return leaf(node.name) if node.line is None else worked_out(node.line, leaf, known)
        case Product():
            value = 1.0
            for way, part in node.factors:
                value = value * worked_out(part, leaf, known) if way == 1 else \
                    value / worked_out(part, leaf, known)
            return value
        case Sum():
            return sum([sign * worked_out(part, leaf, known) for sign, part in node.terms])
        case Power():
            return worked_out(node.base, leaf, known) ** worked_out(node.exponent, leaf, known)
        case Opaque():
            return leaf(node.python)
        case Call("max" | "min" as function, Sum(terms)):
            return {"max": max, "min": min}[function](worked_out(part, leaf, known) for _, part in terms)
    value = worked_out(node.inner, leaf, known)
    match node.function:
        case "max" | "min":  # the others were left out
            return value
        case "clock":
            return value // 1 + 0.6 * (value % 1)
        case "clock back":  # 1.56 h, and 1 h 56 min
            return value // 1 + value % 1 / 0.6
        case "clock of one figure":  # 8 h 5 min, and 8.5 h
            whole, part = divmod(value, 1)
            return whole + 6 * part if 0.5 <= 60 * part < 9.5 else -whole - part  # no such time
    return FUNCTIONS[node.function](value)


def values_within(tree: Node, leaf: Callable[[str], float]) -> dict[int, float]:
    """Return the value of each part of a tree that has one, by its identity."""
    known: dict[int, float] = {}
    for part, _ in reversed(list(within(tree))):
        with contextlib.suppress(ArithmeticError, ValueError, TypeError):
            known[id(part)] = worked_out(part, leaf, known)
    return known


def parts_of(node: Node) -> tuple[Node, ...]:
    """Return the parts that a node is made of."""
    match node:
        case Sum(signed) | Product(signed):
            return tuple(part for _, part in signed)
        case Power(base, exponent):
            return base, exponent
        case Call(_, inner) | Quantified(_, inner) if inner is not None:
            return (inner,)
    return ()


def made_of(node: Node, parts: Sequence[Node]) -> Node:
    """Return a node like this one, of other parts."""
    match node:
        case Sum(signed) | Product(signed):
            return type(node)(tuple((sign, part) for (sign, _), part in zip(signed, parts, strict=True)))
        case Power():
            return Power(*parts)
        case Call(name, _) | Quantified(name, _):
            return type(node)(name, *parts)
    return node


def within(node: Node, put=None, closed: Container[str] = ()) -> Iterator[tuple[Node, object]]:
    """Yield a node and all parts below it, each with what puts another one in its place.

    What lies below a quantity with a name that is `closed` is left out.
    """
    put = put or (lambda new: new)
    yield node, put
    if isinstance(node, Quantified) and node.name in closed:
        return
    parts = parts_of(node)
    for place, part in enumerate(parts):
        yield from within(part, lambda new, place=place: put(
            made_of(node, (*parts[:place], new, *parts[place + 1:]))), closed)


def mapped(node: Node, new: Mapping[str, Node]) -> Node:
    """Return a tree with other nodes in the place of quantities."""
    if isinstance(node, Quantified) and node.name in new:
        return new[node.name]
    before = parts_of(node)
    parts = [mapped(part, new) for part in before]
    # What stays as it is stays the same part, whose value is known.
    return node if all(map(operator.is_, parts, before)) else made_of(node, parts)


def factors_of(node: Node) -> Iterator[tuple[int, Node]]:
    """Yield the factors of a part, those of the lines in it too."""
    match node:
        case Quantified(line=line) if line is not None:
            yield from factors_of(line)
        case Product(factors):
            for way, part in factors:
                for own, inner in factors_of(part):
                    yield way * own, inner
        case _:
            yield 1, node


def quantities_in(tree: Node) -> dict[str, Quantified]:
    """Return the quantities of a tree by their names, in the order of the formula."""
    return {part.name: part for part, _ in within(tree) if isinstance(part, Quantified)}


# ---------------------------------------------------------------- how quantities are spoken

UNITS = {"per_a": "1/a", "per_d": "1/d", "per_h": "1/h", "per_s": "1/s", "h": "h", "min": "min",
         "s": "s", "ms": "ms", "d": "d", "a": "a", "ohm": "Ω", "m2": "m²", "m": "m", "l": "L",
         "eur": "EUR", "percent": "%"}
SAID = {"log": "the logarithm", "exp": "the power of e", "expm1": "the power of e"}
SPELLED = {"1/a": "a year", "1/d": "a day", "1/h": "an hour", "1/s": "a second", "1": "", "a": "years"}
CONSTANTS = {60.0: "the 60 min of an hour", 3600.0: "the 3600 s of an hour",
             24.0: "the 24 h of a day", 8760.0: "the 8760 h of a year",
             365.0: "the 365 days of a year", 168.0: "the 168 h of a week",
             1000.0: "the factor 1000", 100.0: "the factor 100 of per cent",
             3600000.0: "the 3 600 000 ms of an hour", 525600.0: "the 525 600 min of a year"}


@functools.cache
def _shared() -> Mapping[str, str]:
    return tomllib.loads(Path(__file__).with_name("quantity_names.toml").read_text("utf-8"))


class Spoken:
    """How the quantities of a lesson are spoken.

    A name gives its unit by its ending, as in `mttr_h`. What is spoken otherwise stands in the
    file beside this module, or under `names` in the file of the lesson: the words, and after a
    stroke the unit where the name does not end with it.

    >>> Spoken({"years": "the time between | a"}).given("years")
    'the time between of {years} years'
    >>> Spoken({}).words("travel_min"), Spoken({}).unit_of("one_per_a").text
    ('the travel', '1/a')
    """

    def __init__(self, own: Mapping[str, str]) -> None:
        self._own = own
        self._entry = functools.cache(self._read)
        self.unit_of = functools.cache(self._unit_of)
        self.given = functools.cache(self._given)

    def _read(self, name: str) -> tuple[str, str | None]:
        name = name.rpartition(".")[2]
        words, stroke, symbol = self._own.get(name, _shared().get(name, "")).partition("|")
        ending = next((end for end in UNITS if name.endswith(f"_{end}") or name == end), None)
        own = name.removesuffix(f"_{ending}") if ending else name
        symbol = symbol.strip() if stroke else UNITS.get(ending)
        return words.strip() or f"the {own.replace('_', ' ')}", symbol

    def is_share(self, name: str) -> bool:
        """Return whether a quantity is said to be a share of one, or the chance of something."""
        return self._entry(name)[1] == "1"

    def words(self, name: str) -> str:
        """Return the words for a quantity, a template where its number stands inside them."""
        return self._entry(name)[0]

    def _unit_of(self, name: str) -> Unit | None:
        """Return the unit of a quantity; None where it is a plain number."""
        symbol = self._entry(name)[1]
        try:
            return unit(symbol) if symbol and symbol != "1" else None
        except Unreadable:
            return Unit(symbol, (symbol, ""), 1.0)

    def _given(self, name: str) -> str:
        """Return a template of a quantity with its number."""
        words = self._entry(name)[0]
        if "{" in words:
            return words
        if not name.isidentifier():  # an attribute, which no template can fill
            return words
        if " of " in words or words.count(" ") > 3:
            return f"{words} ({self.number(name)})"
        return f"{words} of {self.number(name)}"

    def number(self, name: str) -> str:
        """Return a template of the number of a quantity with its unit."""
        symbol = self._entry(name)[1]
        symbol = SPELLED.get(symbol, symbol or "")
        if symbol in ("EUR", "EUR/a"):
            return f"EUR {{{name}}}{' a year' if symbol == 'EUR/a' else ''}"
        return f"{{{name}}} {symbol}".strip()

    def spoken(self, node: Node) -> str:
        """Return a template that names a part of a formula with its numbers."""
        match node:
            case Fixed(value):
                return CONSTANTS.get(value, f"the factor {shown(value)}")
            case Quantified(name):
                return self.given(name)
            case Power(base, _):
                return f"the power of {self.spoken(base)}"
            case Call(function, _):
                return SAID.get(function, "this part")
            case Sum(((1, Fixed(whole)), (-1, part))) if whole in (1.0, 100.0):
                return f"{whole:g} less {self.spoken(part)}"
        names = list(dict.fromkeys(part.name for part in _named(node)))
        if not names:
            return f"the {shown(worked_out(node, {}.__getitem__))}"
        if len(names) > 2:
            return f"{self.given(names[0])} and the {len(names) - 1} other parts"
        return " and ".join(map(self.given, names))


def _named(node: Node) -> Iterator[Quantified]:
    """Yield the quantities of a part by the names that it has for them."""
    if isinstance(node, Quantified):
        yield node
    else:
        for part in parts_of(node):
            yield from _named(part)


# ---------------------------------------------------------------- the route

def route(text: str, lines: Mapping[str, str], names: Spoken) -> str:
    """Return a template of the route: each line that the formula needs, with its numbers put in.

    >>> route("down_min", {"per_a": "8760 / mtbf_h", "down_min": "per_a * mttr_h * 60"}, Spoken({}))
    'Rate = 8760 / {mtbf_h} = {per_a} a year. Down time = {per_a} × {mttr_h} × 60 = {down_min} min.'
    """
    needed: dict[str, str] = {}

    def need(name: str) -> None:
        tree = ast.parse(" ".join(lines[name].split()), mode="eval").body
        if is_taken(tree_of(lines[name], {})):
            return
        for one in ast.walk(tree):
            if isinstance(one, ast.Name) and one.id in lines and one.id != name:
                need(one.id)
        needed.setdefault(name, _worked(tree))

    need(text.strip())
    return " ".join(f"{capital(names.words(name).removeprefix('the '))} = {needed[name]} = "
                    f"{names.number(name)}." for name in lines if name in needed)


def _worked(line: ast.expr) -> str:
    """Return a template of a line with numbers in place of names, as it is written on a board."""
    return ast.unparse(_OnBoard().visit(line)).replace(" ** ", "^").replace(" * ", " × ")


class _OnBoard(ast.NodeTransformer):
    """Write what numbers, names and functions are on a board as names, which stand as they are."""

    def visit_Constant(self, node: ast.Constant) -> ast.Name:
        return ast.Name(f"{node.value:g}" if node.value < 1e5 else shown(float(node.value)))

    def visit_Name(self, node: ast.Name) -> ast.Name:
        return ast.Name(f"{HOURS_PER_YEAR:g}" if node.id == "HOURS_PER_YEAR" else f"{{{node.id}}}")

    def visit_Call(self, node: ast.Call) -> ast.expr:
        match node:
            case ast.Call(ast.Attribute(attr="expm1"), [inner]):
                return ast.BinOp(ast.Call(ast.Name("exp"), [self.visit(inner)], []), ast.Sub(), ast.Name("1"))
            case ast.Call(ast.Attribute(attr=name) | ast.Name(name), [inner]):
                return ast.Call(ast.Name({"log": "ln"}.get(name, name)), [self.visit(inner)], [])
        return self.generic_visit(node)

    def generic_visit(self, node: ast.AST) -> ast.AST:
        if isinstance(node, ast.expr) and not isinstance(node, ast.BinOp | ast.UnaryOp):
            raise ValueError(f"a route must be arithmetic over names, got {ast.unparse(node)!r}")
        return super().generic_visit(node)
