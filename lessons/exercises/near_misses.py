"""Near misses: the values that one slip in a formula gives, and what to ask of whom they come from.

Tutors of arithmetic have long explained wrong answers by rules gone wrong. Some keep a list of
observed ones (Brown and Burton 1978; Sleeman 1984); some make them by leaving steps out, and
filter those that nobody would make (Brown and VanLehn 1980). From memory, both need a long list
for each task. Here the tree of the formula gives them: every edit is one slip of one quantity, so
that the reply can name it. Double slips are made too, and two things keep nonsense out: they are
tried last, and only against an answer with three figures or more.

=========== ========================================================================
rank        holds
=========== ========================================================================
``COMMON``  a step left out, turned over, taken for the end; the other part of the whole
``SINGLE``  twice, one for another, sign, power, count, brackets, another constant
``EXTRA``   one quantity more, two quantities alone, a factor such as 24 too much or too little
``DOUBLE``  two of the above; what only one who answers in smaller units does
=========== ========================================================================
"""

import functools
import itertools
import math
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from labkit.wording import HOURS_PER_YEAR, shown
from lessons.exercises.formulas import (
    CONSTANTS,
    NOTHING,
    Call,
    Fixed,
    Node,
    Power,
    Product,
    Quantified,
    Spoken,
    Sum,
    is_whole,
    is_whole_sum,
    mapped,
    quantities_in,
    values_within,
    within,
    worked_out,
)
from lessons.exercises.quantities import Unit, unit

COMMON, SINGLE, EXTRA, DOUBLE = 1, 2, 3, 4
KINDS = tomllib.loads(Path(__file__).with_name("near_misses.toml").read_text("utf-8"))
"""Entry in the register, rank, words and question of each kind of slip."""
MOST_PAIRS = 12
ALONE = ("sum:", "difference:", "mean:", "product:", "quotient", "rest of a quotient")
"""Slips of two quantities that are worked with nothing else."""
FACTORS = (60.0, 3600.0, 1000.0, 24.0, 8760.0, 365.0, 100.0, 12.0)
RARE_FACTORS = (30.0, 7.0, 3.0, 4.0)
MIXED_UP = {2.0: (3.0,), 60.0: (100.0, 3600.0), 3600.0: (60.0,), 1000.0: (100.0, 60.0), 24.0: (60.0, 12.0),
            8760.0: (365.0, 52.0), 168.0: (7.0, 24.0), 3600000.0: (3600.0, 60000.0, 1000.0),
            365.0: (360.0, 52.0, 12.0)}
# The chance of being wrong, or one over it, that goes with another confidence.
CONFIDENCES = {0.05: (0.1, 0.01), 0.1: (0.05, 0.01), 10.0: (20.0,), 20.0: (10.0,)}
OTHER_UNITS = {"h": (("min", 60.0), ("d", 1 / 24)), "min": (("h", 1 / 60),), "d": (("h", 24.0),),
               "ms": (("s", 0.001),), "weeks": (("d", 7.0),), "a": (("months", 12.0),)}
OTHER_CONFIDENCES = ((0.9, "90 %"), (0.95, "95 %"), (0.99, "a higher one"))
CLOCKS = {"h": [("an hour", 1.0, "")], "min": [("a minute", 1.0, ""), ("an hour", 60.0, ", in h")],
          "s": [("a minute", 60.0, ", in min")]}
ENDS = {"h": ("one hour", "hours"), "d": ("one day", "days"), "a": ("one year", "years"), "": ("one",)}
ONE_OFF = ((1, "one more"), (-1, "one less"))
HALF_OFF = ((1, "half more"), (-1, "half less"))
YEAR = Fixed(HOURS_PER_YEAR)
BOUNDS = ("bound_", "limit_")
"""How names of quantities begin that the result is compared with: nobody works with them."""


@dataclass(frozen=True, eq=False)
class Hit:
    """A slip that an answer may come from, and what to say of it.

    Parameters
    ----------
    id : str
        Kind and quantities, the same for all numbers.
    entry : str or None
        Identifier in the register.
    does, asks : str
        Templates: what stands after the learner's number, and the question after that.
    question : str
        Template of all that is said, where it is a mark.
    """

    id: str
    entry: str | None
    does: str
    asks: str
    question: str = ""


@dataclass(frozen=True, eq=False)
class Slip(Hit):
    """One way to go astray in a formula.

    Parameters
    ----------
    rank : int
        One of :data:`COMMON`, :data:`SINGLE`, :data:`DOUBLE`.
    tree : Node
        The formula as it is worked with the slip.
    """

    rank: int = field(kw_only=True)
    tree: Node = field(kw_only=True)


def _key(part: Node) -> str:
    match part:
        case Quantified(name):
            return name
        case Fixed(value):
            return f"{value:g}"
    names = ", ".join(quantities_in(part))
    kind = part.function if isinstance(part, Call) else type(part).__name__.lower()
    return f"{kind} of {names}" if names else kind


class _Maker:
    """Make the slips of one formula."""

    def __init__(self, tree: Node, own: Unit | str, names: Spoken, givens: Sequence[str] = (),
                 shares: Sequence[str] = (), lines: Sequence[str] = (),
                 sample: Mapping[str, object] = NOTHING) -> None:
        self.tree, self.names, self.sample = tree, names, sample
        self.own = unit(own) if isinstance(own, str) else own
        self.givens, self.shares, self.lines = tuple(givens), set(shares), tuple(lines)

    def _slip(self, kind: str, tree: Node, *parts: Node | str, key: str | None = None, called: str = "",
              **places: bool) -> Slip:
        """Return a slip of a kind in some parts, which are nodes or the words for them.

        Its id is what it is called, else its kind, with the keys of the parts. What the table of
        kinds says of a place is laid over the row where that holds.
        """
        row = dict(KINDS[kind])
        for place in (place for place, holds in places.items() if holds):
            row |= row.get(place, {})
        said = (part if isinstance(part, str) else self.names.spoken(part) for part in parts)
        words = dict(zip(("said", "other"), said, strict=False))
        if key is None:
            key = ", ".join(_key(part) for part in parts if isinstance(part, Node))
        does = row.get("does") or f"comes out {row['comes_out']}"
        return Slip(f"{called or kind}{': ' if key else ''}{key}", row["entry"], does.format(**words),
                    row["asks"].format(**words), rank=row["rank"], tree=tree)

    # ------------------------------------------------------------ edits of one part

    def edits(self, tree: Node, only: str = "") -> Iterator[Slip]:
        """Yield every slip in one part of the formula, or the usual one with an id."""
        self._usual = bool(only)
        sums = [node for node, _ in within(tree) if isinstance(node, Sum) and len(node.terms) > 1]
        self._in_a_term = {id(part) for node in sums for _, term in node.terms
                           for part, _ in within(term)}
        self._below = {id(part) for node, _ in within(tree) if isinstance(node, Product)
                       for way, below in node.factors if way < 0 for part, _ in within(below)}
        for node, put in self._places(tree):
            yield from (one for one in self._of(node, put) if only in ("", one.id))
        yield from (one for one in (*self._replaced(tree), *self._everywhere(tree))
                    if only in ("", one.id))

    @staticmethod
    def _places(tree: Node) -> Iterator[tuple[Node, Callable]]:
        """Yield each part; what has a name and stands in several places changes in all of them."""
        often = Counter(part.name for part, _ in within(tree) if isinstance(part, Quantified))
        repeated = {name: part for name, part in quantities_in(tree).items() if often[name] > 1}
        yield from within(tree, closed=repeated)
        for name, part in repeated.items():
            for node, put in within(part.line or part):
                yield node, lambda new, part=part, put=put: mapped(tree, {
                    part.name: put(new) if part.line is None else Quantified(part.name, put(new))})

    def _everywhere(self, tree: Node) -> Iterator[Slip]:
        """Yield what comes out when all terms of a sum lose a factor that they have in common."""
        for node, put in within(tree):
            if not isinstance(node, Sum) or len(node.terms) < 2:
                continue
            factors = [dict.fromkeys(_factors(part)) for _, part in node.terms]
            common = [one for one in factors[0] if all(one in others for others in factors)]
            for lost in (lost for size in (1, 2) for lost in itertools.combinations(common, size)):
                terms = tuple((sign, _without(part, lost)) for sign, part in node.terms)
                yield self._slip("left out everywhere", put(Sum(terms)),
                                 " and ".join(self.names.spoken(part) for _, part in lost),
                                 key=", ".join(_key(part) for _, part in lost))
            rates = [[one for one in others if one[0] < 0 or one == (1, YEAR)] for others in factors]
            if all((1, YEAR) in rate and len(rate) > 1 for rate in rates):
                terms = tuple((sign, _without(part, lost))
                              for (sign, part), lost in zip(node.terms, rates, strict=True))
                yield self._slip("left out everywhere", put(Sum(terms)), key="the failures", failures=True)

    def _of(self, node: Node, put: Callable) -> Iterator[Slip]:
        """Yield the slips in one part, of which `put` makes the whole."""
        slip = self._slip
        match node:
            case Product(factors):
                yield from self._of_product(node, factors, put)
            case Sum(terms) if len(terms) > 1:
                yield from self._of_sum(node, terms, put)
                yield from self._brackets(terms, put)
            case Power(base, exponent):
                yield slip("power lost", put(base), base)
                match exponent:
                    case Product(((1, Fixed(1.0)), (-1, trials))):
                        yield slip("power added", put(base * exponent), base,
                                   self.names.spoken(trials), root=True)
                        yield slip("rule of three", put(1.0 - 3.0 / trials), trials)
                    case _:
                        yield slip("power added", put(base * exponent), base)
                for step, kind in ONE_OFF:
                    yield slip(kind, put(Power(base, Sum(((1, exponent), (step, Fixed(1.0)))))), base,
                               key=f"power of {_key(base)}", power=True)
            case Call("exp" | "expm1" as function, inner):
                yield slip("exp of one", put(Call(function, Fixed(-1.0))), key="exp")
                match inner:
                    case Product(((1, Sum(((-1, above),)) as less), (-1, below))):
                        yield slip("turned over", put(Call(function, below / less)), above, below, exponent=True)
            case Call("log", inner):
                yield slip("log to 10", put(node / math.log(10)), key="log")
                if isinstance(inner, Fixed):
                    yield slip("other multiple", put(Fixed(5.0)), f"{inner.value:g}", key="5")
                    left = 1 / inner.value
                    for other in (1 / abs(1 - left), 1 + left):
                        yield slip("complement", put(Call("log", Fixed(other))), shown(other),
                                   key=f"log of {inner.value:g}, {other:.4g}", log=True)
                for way, key in ((1, "log"), (-1, "log, turned over")):
                    yield slip("log left out", put(Product(((way, inner),))), key=key)
            case Fixed(value):
                for other in MIXED_UP.get(value, ()):
                    yield slip("other constant", put(Fixed(other)), shown(other),
                               self.names.spoken(node), key=f"{value:g}, {other:g}",
                               seldom=(value, other) == (60.0, 100.0))
                for other in CONFIDENCES.get(value, ()):
                    yield slip("other confidence", put(Fixed(other)), shown(other), shown(value),
                               key=f"{value:g}, {other:g}", one_over=value > 1)
                if 0 < value < 1:
                    yield slip("complement", put(Fixed(1 - value)), shown(1 - value), shown(value),
                               key=f"{value:g}", fixed=True)
            case Quantified(name, line) if line is None or name in self.shares:
                yield from self._of_quantity(node, put)

    def _of_quantity(self, node: Quantified, put: Callable) -> Iterator[Slip]:
        name, own = node.name, self.names.unit_of(node.name)
        for other, words in OTHER_CONFIDENCES if name == "confidence" else ():
            yield self._slip("other confidence", put(Fixed(other)), words, self.names.given(name),
                             key=words)
        if name in self.shares:
            yield self._slip("complement", put(1.0 - node), node)
            yield self._slip("per cent", put(node * 100.0), node)
        elif own is None or (name in self.givens and own.text in ("a", "d", "weeks")):
            for much, kinds in ((1.0, ONE_OFF), (0.5, HALF_OFF)):
                for sign, kind in kinds:
                    yield self._slip(kind, put(Sum(((1, node), (sign, Fixed(much))))), node)
        elif own.text == "%":
            yield self._slip("complement", put(100.0 - node), node)

    def _of_product(self, node: Product, factors, put: Callable) -> Iterator[Slip]:
        slip = self._slip
        for place, (way, part) in enumerate(factors):
            others = (*factors[:place], *factors[place + 1:])
            unit_like = isinstance(part, Fixed) and part.value in CONSTANTS
            in_a_term = id(node) in self._in_a_term
            bare = all(isinstance(one, Fixed) for _, one in others)
            if others and not (bare and (isinstance(part, Sum) or len(others) == 1)):
                own = self.names.unit_of(part.name) if isinstance(part, Quantified) else None
                if own and own.text == "%" == self.own.text:
                    yield slip("left out", put(Product((*others, (1, Fixed(100.0))))), part)
                yield slip("left out", put(Product(others)), part, unit=unit_like,
                           unit_in_a_term=unit_like and in_a_term, yearly=own is not None and way > 0
                           and own.text == "1/a" and self.own.text.endswith("/a"))
            yield slip("twice", put(Product((*factors, (way, part)))), part)
            if others:
                yield slip("turned over", put(Product((*others, (-way, part)))), part, below=way < 0,
                           unit=unit_like, seldom=unit_like or (
                               in_a_term and (bare or isinstance(part, Fixed))))
        pair = [part for way, part in factors if way > 0 and isinstance(part, Quantified)]
        if len(pair) == 2 and len(factors) == 2:
            yield slip("added", put(pair[0] + pair[1]), self.names.spoken(pair[1]),
                       key=", ".join(map(_key, pair)))
        fixed = [part for way, part in factors if way > 0 and isinstance(part, Fixed)]
        if len(pair) == 1 and len(fixed) == len(factors) - 1 > 0 and node is (
                self.tree.line if isinstance(self.tree, Quantified) else self.tree):
            yield slip("added", put(pair[0] + Product(tuple((1, part) for part in fixed))),
                       self.names.spoken(pair[0]), key=f"{_key(pair[0])}, constants", constants=True)
        for (way, one), (other_way, other) in itertools.combinations(factors, 2):
            if way != other_way and len(factors) > 2:
                turned = ((-its if part in (one, other) else its, part) for its, part in factors)
                yield slip("turned over", put(Product(tuple(turned))), one, other, ratio=True)
        above = [part for way, part in factors if way > 0 and self._is_share(part)]
        if len(above) > 1:
            rest = tuple((way, part) for way, part in factors if not (way > 0 and part in above))
            yield slip("added", put(Product(((1, Sum(tuple((1, part) for part in above))), *rest))),
                       self.names.spoken(above[0]), key=", ".join(map(_key, above)), shares=True)

    def _is_share(self, part: Node) -> bool:
        return (isinstance(part, Quantified) and part.name in self.shares) or (
            isinstance(part, Sum) and part.terms[0] == (1, Fixed(1.0)))

    def _brackets(self, terms, put: Callable) -> Iterator[Slip]:
        """Yield what comes out with a bracket that is not there."""
        for place, (sign, part) in enumerate(terms):
            match part.line or part if isinstance(part, Quantified) else part:
                case Product(((1, Fixed() | Quantified() as first), _, *_) as factors) if sign > 0:
                    others = (*terms[:place], (1, Product(factors[1:])), *terms[place + 1:])
                    yield self._slip("bracket set", put(first * Sum(others)), first)

    def _listed(self, terms) -> str:
        """Return the words for terms of a sum, without their numbers."""
        words = [self.names.words(part.name) if isinstance(part, Quantified)
                 else self.names.spoken(part) for _, part in terms]
        return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))

    def _of_sum(self, node: Sum, terms, put: Callable) -> Iterator[Slip]:
        slip = self._slip
        whole = isinstance(terms[0][1], Fixed) and terms[0][1].value in (1.0, 100.0)
        added = all(sign > 0 for sign, _ in terms)
        if whole and len(terms) == 2 and terms[1][0] < 0:
            yield slip("complement", put(terms[1][1]), terms[1][1], of_a_sum=True)
        for place, (sign, part) in enumerate(terms):
            others = (*terms[:place], *terms[place + 1:])
            if len(others) == 1:  # what is left alone is not taken below zero
                others = ((1, others[0][1]),)
            said, key, taken_off = self.names.spoken(part), _key(part), sign < 0
            if isinstance(part, Fixed):
                said = f"the {shown(part.value)}"
            elif isinstance(part, Product):
                said = f"the part with {said}"
            if isinstance(part, Fixed) and part.value == 1.0 and not whole:
                yield slip("one more" if taken_off else "one less", put(Sum(others)), key="in a sum",
                           in_a_sum=True)
            elif not (whole and place == 0):
                yield slip("left out of the sum", put(Sum(others)), said, key=key, taken_off=taken_off)
                if len(terms) > 2 or taken_off or added or whole:  # a + b is not b taken off again
                    yield slip("sign", put(Sum((*terms[:place], *terms[place + 1:], (-sign, part)))),
                               said, key=key, taken_off=taken_off, seldom=added)
                yield slip("twice in the sum", put(Sum((*terms, (sign, part)))), said, key=key)
        if not self._usual:
            yield from self._of_some(terms, put)
        parts = [part for _, part in terms]
        if not added or any(isinstance(part, Fixed) for part in parts):
            return
        named = all(isinstance(part, Quantified) for part in parts)
        for function, kind in () if named else (("max", "largest alone"), ("min", "smallest alone")):
            yield slip(kind, put(Call(function, node)), key="sum")
        if id(node) not in self._below and (named or len(terms) > 2):
            yield slip("mean", put(node / len(terms)), key="sum")
        yield from self._of_likes(parts, put)
        turned = Product(((-1, Sum(tuple((1, Product(((-1, part),))) for part in parts))),))
        if id(node) not in self._below:
            yield slip("turned over and added", put(turned), key="sum")
        if all(isinstance(part, Product) and part.factors[-1][0] < 0 for part in parts):
            yield slip("values added", put(turned), key="sum", times=True)

    def _of_likes(self, parts, put: Callable) -> Iterator[Slip]:
        """Yield what comes out when quantities are added, or their mean taken, before the formula."""
        first, *others = (part.line if isinstance(part, Quantified) and part.line else part
                          for part in parts)
        inside = [[part.name for part, _ in within(one) if isinstance(part, Quantified)]
                  for one in (first, *others)]
        for place, name in enumerate(inside[0] if not isinstance(first, Quantified) else ()):
            likes = [names[place] for names in inside if len(names) == len(inside[0])]
            if len(likes) < len(parts) or len(set(likes)) < len(likes) or any(
                    mapped(first, {name: Quantified(like)}) != other
                    for like, other in zip(likes[1:], others, strict=True)):
                continue
            each, count = tuple((1, Quantified(like)) for like in likes), Fixed(float(len(likes)))
            for kind, new in (("values added", Sum(each)), ("mean of values", Sum(each) / count),
                              ("geometric mean of values", Power(Product(each), 1.0 / count))):
                yield self._slip(kind, put(mapped(first, {name: new})), self.names.given(name),
                                 key=", ".join(likes))

    def _of_some(self, terms, put: Callable) -> Iterator[Slip]:
        """Yield what comes out with some terms of a sum alone, or without two of them."""
        pairs = list(itertools.combinations(terms, 2)) if len(terms) > 3 else []
        runs = [terms[first:last] for first, last in itertools.combinations(range(len(terms) + 1), 2)
                if last - first < len(terms) - 1]
        for some in dict.fromkeys((*runs, *pairs)):
            yield self._slip("some alone", put(Sum(some)), self._listed(some),
                             key=", ".join(_key(part) for _, part in some))
        for lost in pairs:
            yield self._slip("left out together", put(Sum(tuple(
                term for term in terms if term not in lost))), self._listed(lost),
                key=", ".join(_key(part) for _, part in lost))

    def _replaced(self, tree: Node) -> Iterator[Slip]:
        """Yield what comes out with one quantity in the place of another, or beside it."""
        names, parts = self.names, quantities_in(tree)
        inside = [name for name, part in parts.items() if part.line is None]
        often = Counter(part.name for part, _ in within(tree) if isinstance(part, Quantified))
        for name in inside if not self._usual else ():
            if often[name] > 1:
                yield self._slip("doubled", mapped(tree, {name: parts[name] * 2.0}), parts[name])
        lines = [name for name, part in parts.items() if part.line is not None and part is not tree
                 and names.unit_of(name) is not None]
        for name, other in itertools.permutations(dict.fromkeys((*inside, *self.givens, *lines)), 2):
            if (name not in (*inside, *lines) or other in lines or not self._alike(name, other)
                    or (other.startswith(BOUNDS) and other not in inside)):
                continue
            if (self._usual and names.unit_of(name) is None and name not in self.shares
                    and self.sample.get(name, 0.0) % 1 == 0):
                continue  # nobody takes one count for another besides
            one, two = Quantified(name), Quantified(other)
            instead, back = self._converted(other, name), self._converted(name, other)
            yield self._slip("in place of", mapped(tree, {name: instead}), one, two)
            if self._usual:
                continue
            yield self._slip("also", mapped(tree, {name: one + instead}), one, two)
            if other in inside and name < other:
                yield self._slip("sum for each", mapped(tree, {name: one + instead, other: back + two}),
                                 one, two)
                yield self._slip("exchanged", mapped(tree, {name: instead, other: back}), one, two)

    # ------------------------------------------------------------ parts worked with nothing else

    def _in_parts(self) -> Iterator[Slip]:
        """Yield what comes out with one quantity in another unit, half, twice, or squared."""
        tree, slip = self.tree, self._slip
        for name, part in quantities_in(tree).items():
            own = self.names.unit_of(name)
            for other, factor in OTHER_UNITS.get(own.text if own and part.line is None else "", ()):
                yield slip("in other units", mapped(tree, {name: part * factor}), self.names.given(name),
                           other, key=f"{name}, {other}")
            yield slip("half of", mapped(tree, {name: part * 0.5}), part)
            yield slip("twice", mapped(tree, {name: part * 2.0}), part, quantity=True)
            if own.kind == ("", "time") if own else name in self.shares:
                yield slip("squared", mapped(tree, {name: Power(part, Fixed(2.0))}), part)
                yield slip("square alone", Power(part, Fixed(2.0)), part)

    def _of_decays(self) -> Iterator[Slip]:
        """Yield what comes out with one constant of a decay alone, or with one time over another."""
        calls = [node for node, _ in within(self.tree) if isinstance(node, Call)]
        times = [name for name in self.givens if (own := self.names.unit_of(name)) and own.kind[0]]
        for name, node in itertools.product(times, calls):
            if (node.function == "log" and isinstance(node.inner, Fixed)
                    and self.names.unit_of(name).text == self.own.text):
                yield self._slip("share of", Quantified(name) / node.inner,
                                 shown(100 / node.inner.value), self.names.given(name), key=name)
        if self.own.text != "%":
            return
        decays = [("-1", Fixed(-1.0), "the power -1")] * any(
            node.function.startswith("exp") for node in calls)
        decays += [(f"{one}, {other}",
                    Product(((-1, Fixed(-1.0)), (1, Quantified(one)), (-1, self._converted(other, one)))),
                    f"the power of less {self.names.given(one)} over {self.names.given(other)}")
                   for one, other in itertools.permutations(times, 2) if self._alike(one, other)]
        for key, power, said in decays:
            left = 100.0 * Call("exp", power)
            yield self._slip("exp alone", left, said, key=key)
            yield self._slip("rest of exp alone", 100.0 - left, said, key=key)

    def _extra(self) -> Iterator[Slip]:
        """Yield the whole with one quantity more, and what two quantities give alone."""
        tree, unit_of, slip, parts = self.tree, self.names.unit_of, self._slip, quantities_in(self.tree)
        factors = set(_factors(tree))
        yield from self._in_parts()
        yield from self._of_decays()
        for leaf in map(Quantified, self.givens):
            yield slip("one factor more", tree * leaf, leaf)
            yield slip("one divisor more", tree / leaf, leaf)
            for other in map(Quantified, self.givens):
                if {(1, leaf), (-1, other)} <= factors and self._alike(leaf.name, other.name):
                    yield slip("one ratio more", tree * leaf / self._converted(other.name, leaf.name),
                               leaf, other)
            own = unit_of(leaf.name)
            for sign in (1, -1) if own and _counts(own) == _counts(self.own) else ():
                yield slip("one term more", Sum(((1, tree), (sign, leaf))), leaf, taken_off=sign < 0)
        yield from self._other_lines()
        inside = [name for name, part in parts.items() if part.line is None]
        steps = {name: part for name, part in parts.items() if part is not tree}
        sides = {name: steps.get(name, Quantified(name)) for name in (*self.givens, *steps)}
        # What the formula does not hold is worked with its like only.
        strange = set(self.givens) - {*inside, *steps}
        days = {"365": Fixed(365.0)} if any(own and own.text == "d" for own in map(
            unit_of, self.givens)) else {}
        for one, other in itertools.permutations(inside, 2):
            if unit_of(one) and self._alike(one, other):
                share = Quantified(one) / (Quantified(one) + self._converted(other, one))
                yield slip("share", share, Quantified(one), Quantified(other))
                yield slip("share", 100.0 * share, Quantified(one), Quantified(other),
                           key=f"{one}, {other}, in per cent", in_per_cent=True)
        yield from self._quotients(sides | days | {"8760": YEAR, "1": Fixed(1.0)}, strange)
        for first, second in itertools.combinations(
                [part for name, part in (sides | days).items() if name not in strange], 2):
            yield slip("product", first * second, first, second)
        for one, other in self._pairs_alike((*self.givens, *steps, *self.lines)):
            own = unit_of(one)
            ratio = _ratio(own, self.own) if _comparable(own, self.own) else 1.0
            for sign, kind in ((1, "sum"), (-1, "difference")):
                both = Call("abs", Sum(((1, Quantified(one)), (sign, self._converted(other, one)))))
                yield slip(kind, both if ratio == 1.0 else both * ratio, Quantified(one), Quantified(other))
        like = sorted(name for name in strange if unit_of(name) and unit_of(name) == self.own)
        for one, other in self._pairs_alike((*inside, *steps, *like)):
            ratio = _ratio(unit_of(one), self.own) if _comparable(unit_of(one), self.own) else 1.0
            yield slip("mean", (Quantified(one) + self._converted(other, one)) * (ratio / 2.0), Quantified(one),
                       Quantified(other), alone=True)

    def _quotients(self, sides: Mapping[str, Node], strange: set[str]) -> Iterator[Slip]:
        for (one, first), (other, second) in itertools.permutations(sides.items(), 2):
            alike = self.names.unit_of(one) == self.names.unit_of(other)
            if other == "1" or (strange & {one, other} and not alike):
                continue
            said = ["1" if one == "1" else first, second]
            yield self._slip("quotient", first / second, *said, key=f"{one}, {other}")
            if self.own.text == "%":
                yield self._slip("quotient in per cent", 100.0 * (first / second), *said, key=f"{one}, {other}")
                yield self._slip("rest of a quotient", 100.0 - 100.0 * (first / second), *said,
                                 key=f"{one}, {other}")

    def _pairs_alike(self, names: Iterable[str]) -> Iterator[tuple[str, str]]:
        """Yield two names at a time whose quantities have units of one kind."""
        for one, other in itertools.combinations(dict.fromkeys(names), 2):
            if self.names.unit_of(one) is not None and self._alike(one, other):
                yield one, other

    def _other_lines(self) -> Iterator[Slip]:
        """Yield what comes out with another line of the case: at the end, or for one inside."""
        inside = {part.name: put for part, put in within(self.tree)
                  if isinstance(part, Quantified) and part is not self.tree}
        for other in self.lines:
            own, leaf = self.names.unit_of(other), Quantified(other)
            if own is None or other in inside:
                continue
            if _comparable(own, self.own):
                yield self._slip("other line", leaf * _ratio(own, self.own), self.names.words(other),
                                 key=other)
            else:
                yield self._slip("other line", leaf, self.names.words(other), key=other,
                                 called="other line, number", number=True)
            for name, put in inside.items():
                its = self.names.unit_of(name)
                if its is not None and its.text == own.text:
                    yield self._slip("other line inside", put(leaf), Quantified(name), leaf)

    def _alike(self, one: str, other: str) -> bool:
        first, second = self.names.unit_of(one), self.names.unit_of(other)
        if (one in self.shares) != (other in self.shares):
            return False
        if first is None or second is None:
            return first is second
        return first.kind == second.kind

    def _converted(self, name: str, like: str) -> Node:
        have, want = self.names.unit_of(name), self.names.unit_of(like)
        ratio = have.factor / want.factor if have and want else 1.0
        leaf = Quantified(name)
        return leaf if ratio == 1.0 else leaf * ratio

    # ------------------------------------------------------------ slips of the whole

    def whole(self) -> Iterator[Slip]:
        """Yield the slips that follow the calculation, or stop before its end."""
        tree, slip = self.tree, self._slip
        steps = [node for node, _ in within(tree) if node is not tree]
        for node in (*(node for node in steps if isinstance(node, Quantified)),
                     *map(Quantified, self.givens)):
            yield from self.taken_for_the_end(node)
        for node in steps:
            if isinstance(node, Sum | Product | Power):
                yield slip("part for the end", node, node)
            elif isinstance(node, Call) and node.function == "exp" and self.own.text == "%":
                yield slip("part for the end", 100.0 * node, node)
                yield slip("part for the end", Call("abs", node.inner), node.inner)
        named = [node for node in steps if isinstance(node, Quantified)
                 and not self.names.words(node.name)[0].isdigit()][:1]  # no time of day
        yield slip("turned over", Product(((-1, tree),)), *named, key="all", whole=True,
                   unnamed=not named)
        if one := _whole(self.own):
            yield slip("complement", one - tree, key="all", whole=True)
        yield slip("sign", Sum(((-1, tree),)), key="all", whole=True)
        if self.own.text == "%":
            yield slip("turned over", 100.0 / tree, *named, key="share", share=True, unnamed=not named)
        for (larger, ratio, where), way in itertools.product(
                CLOCKS.get(_counts(self.own), ()), ("clock", "clock of one figure", "clock back")):
            yield slip("clock", Call(way, tree / ratio) * ratio, larger, key="", called=way + where,
                       back=way == "clock back", in_parts=way + where == "clock back")
        words, counted = ENDS.get(self.own.text), not self.own.text
        # A time that is no count of hours has none between its ends.
        if words and (counted or is_whole(tree, self.sample) or is_whole_sum(tree, self.sample)):
            for step, kind in ((1, "one too many"), (-1, "one too few")):
                yield slip(kind, Sum(((1, tree), (step, Fixed(1.0)))), *words, key="all", counted=counted)
        yield from self._by_factors((2.0,))

    def seldom(self) -> Iterator[Slip]:
        """Yield what few people do to the whole, or work out in place of it."""
        yield from self._by_factors(FACTORS)
        yield from self._by_factors(FACTORS if self.own.text == "%" else (), rest=True)
        yield from self._extra()
        yield from self._by_factors(RARE_FACTORS)
        for node in (node for node, _ in within(self.tree) if isinstance(node, Fixed)):
            if node.value in (8760.0, 365.0, 168.0, 24.0):
                yield self._slip("for the end", node, node, number=True, constant=True)
        for hours, words in ((24.0, "day"), (168.0, "week")) if self.own.text == "h" else ():
            yield self._slip("period for the end", Fixed(hours), words, key=words)
        inside = [part for part in quantities_in(self.tree).values() if part.line is None]
        own = self.names.unit_of(inside[0].name) if len(inside) == 1 else None
        if own is not None and own.text == self.own.text:
            yield self._slip("ratio turned over", inside[0] * inside[0] / self.tree, inside[0])
        line = self.tree.line if isinstance(self.tree, Quantified) else self.tree
        if isinstance(line, Sum) and len(line.terms) > 1:
            for step, sign in itertools.product((1.0, 10.0, 100.0), (1, -1)):
                yield self._slip("carry", Sum(((1, self.tree), (sign, Fixed(step)))), f"{step:g}",
                                 key=f"{sign * step:g}", few=sign < 0)

    def _by_factors(self, factors: Iterable[float], *, rest: bool = False) -> Iterator[Slip]:
        """Yield the whole, or its rest to 100 %, too large or too small by a factor."""
        right = 100.0 - self.tree if rest else self.tree
        for factor, (way, words) in itertools.product(factors, ((1, "large"), (-1, "small"))):
            wrong = Product(((1, right), (way, Fixed(factor))))
            yield self._slip("factor", 100.0 - wrong if rest else wrong, words, shown(factor),
                             key=f"{'rest ' * rest}too {words} by {factor:g}", rest=rest,
                             doubled=factor == 2 and way > 0, halved=factor == 2 and way < 0)

    def taken_for_the_end(self, node: Quantified) -> Iterator[Slip]:
        """Yield what comes out where a given, or a step, is taken for the result."""
        name, have, words = node.name, self.names.unit_of(node.name), self.names.words(node.name)
        called = "line for the end" if node.line else "given for the end"
        slip = functools.partial(self._slip, key=name, line=bool(node.line), of_one=self._is_of_one(name))
        if have and _comparable(have, self.own):
            ratio = _ratio(have, self.own)
            yield slip("for the end", node if ratio == 1.0 else node * ratio, words, called=called)
            if self.own.text == "%":
                yield slip("rest of", 100.0 - node, words)
            if ratio == 1.0:
                return
        if have and have.text == "min" and self.own.text == "h":
            yield slip("clock", Call("clock", node * (1 / 60)), words, for_the_end=True)
        yield slip("for the end", node, words, called=f"{called}, number", number=True)
        if name in self.shares and (have is None or self.own.text != "%"):
            yield slip("for the end", 100.0 * node, words, called=f"{called}, in per cent", in_per_cent=True)
        if name in self.shares and self.own.text == "%":
            yield slip("rest of", 100.0 - 100.0 * node, words, share=True)

    def _is_of_one(self, name: str) -> bool:
        """Return whether it is one repair, or the money of one case, where a year's is asked."""
        have = self.names.unit_of(name)
        if have is None or name.startswith(BOUNDS) or have.kind != (self.own.kind[0], ""):
            return False
        return self.own.kind[1] == "time" and (have.kind[0] != "time" or "mttr" in name)

    # ------------------------------------------------------------ two at a time

    def both(self, first: Slip, second: Slip) -> Iterator[Slip]:
        """Yield a slip with a second one in it, wherever that can still be made."""
        if second.id == "turned over: all":
            found = [replace(second, does="comes out turned over", tree=Product(((-1, first.tree),)))]
        else:
            found = self.edits(first.tree, second.id)
        for one in found:
            phrase = one.does.removeprefix("comes out ")
            does = f"{first.does}, in two places" if first.does == one.does else \
                f"{first.does}, and {phrase}"
            yield replace(one, id=f"{first.id}; {one.id}", entry=first.entry, does=does, asks=first.asks,
                          rank=DOUBLE)


def _factors(node: Node) -> Iterator[tuple[int, Node]]:
    """Yield the factors of a part, those of the lines in it too."""
    match node:
        case Quantified(line=line) if line is not None:
            yield from _factors(line)
        case Product(factors):
            for way, part in factors:
                for own, inner in _factors(part):
                    yield way * own, inner
        case _:
            yield 1, node


def _without(node: Node, lost: Sequence[tuple[int, Node]]) -> Node:
    left = list(_factors(node))
    for one in lost:
        left.remove(one)
    return Product(tuple(left) or ((1, Fixed(1.0)),))


def _unrounded(tree: Node) -> Node:
    """Return a tree without what rounds its result up."""
    match tree:
        case Quantified(line=line) if line is not None:
            inner = _unrounded(line)
            return tree if inner is line else inner
        case Call("ceil", inner):
            return inner
    return tree


def _whole(own: Unit) -> float | None:
    """Return what a share, or the time in a year, is a part of; None for other quantities."""
    if own.text == "%":
        return 100.0
    if own.kind == ("time", "time"):
        return 1 / own.factor
    return None


def _counts(own: Unit) -> str:
    """Return the symbol of what a unit counts, in a year or at once."""
    return own.text.partition("/")[0]


def _comparable(one: Unit, other: Unit) -> bool:
    return one.kind == other.kind or {one.kind, other.kind} == {("time", ""), ("time", "time")}


def _ratio(have: Unit, want: Unit) -> float:
    """Return the factor between two units; a time is a time a year where that is asked."""
    yearly = {("time", ""): 1.0, ("time", "time"): HOURS_PER_YEAR}
    if have.kind == want.kind:
        return have.factor / want.factor
    return have.factor * yearly[have.kind] / (want.factor * yearly[want.kind])


class Slips(_Maker):
    """The slips of one formula, each value once, in the order in which they are tried.

    >>> from lessons.exercises.formulas import tree_of
    >>> slips = Slips(tree_of("8760 / mtbf_h * mttr_h", {}), "h/a", Spoken({}))
    >>> [slip.id for slip in slips.single[:3]]
    ['left out: 8760', 'left out: mtbf_h', 'turned over: mtbf_h']
    """

    def __init__(self, tree: Node, *words: object, **more: object) -> None:
        super().__init__(tree, *words, **more)
        self._generic = _Generic(self.sample)
        self._generic.known = values_within(tree, self._generic.__getitem__)
        self._right = self._generic.value(tree)
        self._seen = {self._right}

    @property
    def single(self) -> tuple[Slip, ...]:
        """One slip each: the common ones, then the others."""
        return self.usual + self.rare

    @functools.cached_property
    def usual(self) -> tuple[Slip, ...]:
        """Slips in one part, in the order of their ranks."""
        return tuple(self._new(slip for slip in self._made if slip.rank < EXTRA))

    @functools.cached_property
    def rare(self) -> tuple[Slip, ...]:
        """Slips that are tried when none of the usual ones fits."""
        seen = self.usual and [slip for slip in self._made if slip.rank >= EXTRA]
        return tuple(self._new(sorted((*seen, *self.seldom()), key=lambda slip: slip.rank)))

    @functools.cached_property
    def _made(self) -> list[Slip]:
        return sorted((*self.edits(self.tree), *self.whole()),
                      key=lambda slip: slip.rank)

    @functools.cached_property
    def given(self) -> tuple[Slip, ...]:
        """The givens that could be taken for the result."""
        return tuple(slip for name in self.givens
                     for slip in self.taken_for_the_end(Quantified(name))
                     if slip.rank == COMMON and self._generic.value(slip.tree) != self._right)

    def double(self, value: float, right: float, values: Mapping[Slip, float]) -> Iterator[Slip]:
        """Yield two slips at a time that together come near a value.

        Slips in two factors multiply what they do to the result, slips in two terms add it; where
        one of them turns something over, the other one may come below the stroke.
        """
        usual = [(slip, values[slip]) for slip in self.single if slip in values
                 and (slip.rank == COMMON or slip.id.startswith(("one ratio", "in place", "one more:",
                                                                 "one less:", "other multiple", "added")))]
        firsts = [(slip, one) for slip, one in usual if "multiple" in slip.id or (
            slip.rank != SINGLE and not slip.id.startswith("given for"))]
        room = 0.01 * abs(value)
        near = [(slip, other) for (slip, one), (other, two) in itertools.product(firsts, usual)
                if abs(one / right * two - value) < room or abs(one + two - right - value) < room
                or (other.id == "turned over: all" and abs(1 / one - value) < room)
                or (slip.id.startswith("turned") and other.id.startswith("in place")
                    and abs(one / two * right - value) < room)]
        for first, second in itertools.islice(
                sorted(near, key=lambda pair: (pair[0].rank + pair[1].rank)), MOST_PAIRS):
            lost = first.id.removeprefix("left out: ")  # and what is left out stands nowhere else
            if not first.id.endswith(": all") and not second.id.endswith(f", {lost}"):
                yield from self.both(first, second)

    def _new(self, slips: Iterable[Slip]) -> Iterator[Slip]:
        for slip in slips:
            value = self._generic.value(slip.tree)
            # What the clock makes of a time depends on its size: here it can look like a factor.
            # A factor is told of what is a little off too, where another constant is not.
            if value and (value not in self._seen or slip.entry == "S17" or (
                    slip.rank == EXTRA and slip.id.startswith("factor"))):
                self._seen.add(value)
                yield slip


class _Generic(dict):
    """Numbers of no meaning for the leaves, so that two ways to one value are seen as one."""

    def __init__(self, sample: Mapping[str, object]) -> None:
        super().__init__()
        self._sample = sample
        self.known: Mapping[int, float] = NOTHING

    def __missing__(self, name: str) -> float:
        near = self._sample.get(name)
        usual = near if isinstance(near, int | float) and 0 < near < math.inf else 1.3
        self[name] = usual * (0.93 + 0.13 * ((len(self) + 1) * 0.6180339887498949 % 1))
        return self[name]

    def value(self, tree: Node) -> float | None:
        """Return the value of a tree, to nine figures and with no rounding up; None without one."""
        value = value_of(_unrounded(tree), self.__getitem__, self.known)
        return None if value is None else float(f"{value:.9g}")


def value_of(tree: Node, leaf: Callable[[str], float], known: Mapping[int, float] = NOTHING
             ) -> float | None:
    """Return the value of a tree; None where it has none, or nothing comes out."""
    try:
        value = worked_out(tree, leaf, known)
    except (ArithmeticError, ValueError, TypeError):
        return None
    usable = isinstance(value, int | float) and math.isfinite(value) and value
    return value if usable else None


# ---------------------------------------------------------------- further off than all

PARTS = ((1 / 20, "a twentieth"), (1 / 10, "a tenth"), (1 / 7, "a seventh"), (1 / 5, "a fifth"),
         (1 / 4, "a quarter"), (1 / 3, "a third"), (2 / 5, "two fifths"), (1 / 2, "a half"),
         (3 / 5, "three fifths"), (2 / 3, "two thirds"), (3 / 4, "three quarters"))


def far_off(value: float, right: float, half: float = 0.0, most: float = 0.025) -> tuple[str, str]:
    """Return the rung of the ladder on which an answer stands, and how to say it.

    A power of ten is told as far as half of the last figure given allows, and `most` of it.

    >>> far_off(2100.0, 35.0), far_off(23.0, 35.0)
    (('many times', 'is about 60 times too large'), ('by a part', 'is too small by about a third'))
    """
    if value == 0:
        return "nothing", "is nothing at all"
    if (value < 0) != (right < 0):
        return "sign", "has the other sign"
    ratio = value / right
    power = round(math.log10(ratio))
    if power and abs(ratio / 10**power - 1) < max(2e-3, min(half / abs(value), most)):
        return "power of ten", f"has its decimal point {abs(power)} " \
            f"{'place' if abs(power) == 1 else 'places'} too far to the " \
            f"{'right' if power > 0 else 'left'}"
    way = "too large" if ratio > 1 else "too small"
    times = max(ratio, 1 / ratio)
    if times >= 2.5:
        said = float(f"{times:.1g}") if times > 12 else math.floor(times + 0.5)
        return "many times", f"is about {shown(float(said))} times {way}"
    if times >= 1.85:
        return "many times", "is about twice as large" if ratio > 1 else "is too small by about a half"
    part = abs(ratio - 1)
    if part < 0.04:
        return "by a little", f"is {way} by a little"
    _, words = min(PARTS, key=lambda each: abs(math.log(each[0] / part)))
    return "by a part", f"is {way} by about {words}"
