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
``DOUBLE``  two of the above
=========== ========================================================================
"""

import functools
import itertools
import math
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import ClassVar

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
    values_within,
    within,
    worked_out,
)
from lessons.exercises.quantities import Unit, unit

COMMON, SINGLE, EXTRA, DOUBLE = 1, 2, 3, 4
KINDS = tomllib.loads(Path(__file__).with_name("near_misses.toml").read_text("utf-8"))
"""Entry in the register, rank and question of each kind of slip."""
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
YEAR = Fixed(HOURS_PER_YEAR)
ASKED = "what does the question ask for"
BOUNDS = ("bound_", "limit_")
"""How names of quantities begin that the result is compared with: nobody works with them."""


@dataclass(frozen=True, eq=False)
class Slip:
    """One way to go astray in a formula.

    Parameters
    ----------
    id : str
        Kind and quantities, the same for all numbers.
    entry : str
        Identifier of the kind in the register.
    rank : int
        One of :data:`COMMON`, :data:`SINGLE`, :data:`DOUBLE`.
    tree : Node
        The formula as it is worked with the slip.
    does, asks : str
        Templates: what stands after the learner's number, and the question after that.
    """

    id: str
    entry: str
    rank: int
    tree: Node
    does: str
    asks: str
    question: ClassVar[str] = ""
    """A mark has one."""

    @property
    def sentence(self) -> str:
        """Template of what the slip is, and what to ask."""
        return f"{self.does}: {self.asks}?"


def _key(node: Node) -> str:
    match node:
        case Quantified(name):
            return name
        case Fixed(value):
            return f"{value:g}"
    names = dict.fromkeys(part.name for part, _ in within(node) if isinstance(part, Quantified))
    kind = node.function if isinstance(node, Call) else type(node).__name__.lower()
    return f"{kind} of {', '.join(names)}" if names else kind


def _slip(kind: str, key: str, tree: Node, does: str, **other: object) -> Slip:
    """Return a slip of a kind, of which `other` may say more than the table of kinds does."""
    return Slip(**{"id": f"{kind}: {key}", "tree": tree, "does": does} | KINDS[kind] | other)


def _when(phrase: str) -> str:
    return f"comes out {phrase}"


class _Maker:
    """Make the slips of one formula."""

    def __init__(self, tree: Node, own: Unit, names: Spoken, givens: Sequence[str],
                 shares: Sequence[str], lines: Sequence[str], sample: Mapping[str, object]) -> None:
        self.tree, self.own, self.names, self.sample = tree, own, names, sample
        self.givens, self.shares, self.lines = tuple(givens), set(shares), tuple(lines)

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
            for kind, key, new, phrase, *other in self._of(node):
                if only in ("", f"{kind}: {key}"):
                    yield _slip(kind, key, put(new), _when(phrase), **dict(*other))
        yield from self._replaced(tree, only)
        yield from (one for one in self._everywhere(tree) if only in ("", one.id))

    @staticmethod
    def _places(tree: Node) -> Iterator[tuple[Node, Callable]]:
        """Yield each part; what has a name and stands in several places changes in all of them."""
        named = {part.name: part for part, _ in within(tree) if isinstance(part, Quantified)}
        often = Counter(part.name for part, _ in within(tree) if isinstance(part, Quantified))
        repeated = {name: part for name, part in named.items() if often[name] > 1}
        yield from within(tree, closed=repeated)
        for name, part in repeated.items():
            for node, put in within(part.line or part):
                yield node, lambda new, part=part, put=put: _mapped(tree, {
                    part.name: put(new) if part.line is None else Quantified(part.name, put(new))})

    def _everywhere(self, tree: Node) -> Iterator[Slip]:
        """Yield what comes out when all terms of a sum lose a factor that they have in common."""
        for node, put in within(tree):
            if not isinstance(node, Sum) or len(node.terms) < 2:
                continue
            factors = [dict.fromkeys(_factors(part)) for _, part in node.terms]
            common = [one for one in factors[0] if all(one in others for others in factors)]
            for size in (1, 2):
                for lost in itertools.combinations(common, size):
                    terms = tuple((sign, _without(part, lost)) for sign, part in node.terms)
                    said = " and ".join(self.names.spoken(part) for _, part in lost)
                    yield _slip("left out everywhere", ', '.join(_key(part) for _, part in lost),
                        put(Sum(terms)), _when(f"without {said}"), entry="S10", rank=SINGLE,
                        asks="what does it change")
            rates = [[one for one in others if one[0] < 0 or one == (1, YEAR)] for others in factors]
            if all((1, YEAR) in rate and len(rate) > 1 for rate in rates):
                terms = tuple((sign, _without(part, lost))
                              for (sign, part), lost in zip(node.terms, rates, strict=True))
                yield _slip("left out everywhere", "the failures", put(Sum(terms)),
                            _when("with one failure of each part a year"))

    def _of(self, node: Node):
        match node:
            case Product(factors):
                yield from self._of_product(node, factors)
            case Sum(terms):
                yield from self._of_sum(node, terms)
                yield from self._brackets(terms)
            case Power(base, exponent):
                said = self.names.spoken(base)
                yield "power lost", _key(base), base, f"with {said} taken once"
                match exponent:
                    case Product(((1, Fixed(1.0)), (-1, trials))):
                        yield ("power added", _key(base), base * exponent,
                               f"with {said} divided by {self.names.spoken(trials)}",
                               {"asks": "is a root the same as a part"})
                    case _:
                        yield ("power added", _key(base), base * exponent,
                               f"with {said} added and not multiplied")
                for step, words in ((1, "more"), (-1, "less")):
                    yield (f"one {words}", f"power of {_key(base)}",
                           Power(base, Sum(((1, exponent), (step, Fixed(1.0))))),
                           f"with one factor {words} of {said}",
                           {"asks": "how many of them are there"})
            case Call("log", inner):
                yield "log to 10", "log", node / math.log(10), "with the logarithm to base 10"
                if isinstance(inner, Fixed):
                    yield ("other multiple", "5", Fixed(5.0),
                           f"with 5 for the logarithm of {inner.value:g}")
                    left = 1 / inner.value
                    for other in (1 / abs(1 - left), 1 + left):
                        yield ("complement", f"log of {inner.value:g}, {other:.4g}",
                            Call("log", Fixed(other)), f"with the logarithm of {shown(other)}",
                            {"rank": SINGLE, "asks": "which share is left by then"})
                for way, key in ((1, "log"), (-1, "log, turned over")):
                    yield "log left out", key, Product(((way, inner),)), "without a logarithm"
            case Fixed(value) if value in MIXED_UP:
                for other in MIXED_UP[value]:
                    yield ("other constant", f"{value:g}, {other:g}", Fixed(other),
                           f"with {shown(other)} for {self.names.spoken(node)}",
                           {"rank": EXTRA if (value, other) == (60.0, 100.0) else SINGLE})
            case Fixed(value) if value in CONFIDENCES:
                for other in CONFIDENCES[value]:
                    yield ("other confidence", f"{value:g}, {other:g}", Fixed(other),
                           f"with {shown(other)} for {shown(value)}")
        match node:
            case Fixed(value) if 0 < value < 1:
                yield ("complement", f"{value:g}", Fixed(1 - value),
                       f"with {shown(1 - value)} for {shown(value)}", {"rank": SINGLE})
            case Quantified(name, line) if line is None or name in self.shares:
                if name == "confidence":
                    for other, words in ((0.9, "90 %"), (0.95, "95 %"), (0.99, "a higher one")):
                        yield ("other confidence", words, Fixed(other),
                            f"with {words} for {self.names.given(name)}")
                if name in self.shares:
                    said = self.names.given(name)
                    yield "complement", name, 1.0 - node, f"with the rest to 100 % for {said}"
                    yield "per cent", name, node * 100.0, f"with per cent for {said}"
                elif (own := self.names.unit_of(name)) is None or (
                        name in self.givens and own.text in ("a", "d", "weeks")):
                    for step, words in ((1, "more"), (-1, "less")):
                        yield (f"one {words}", name, Sum(((1, node), (step, Fixed(1.0)))),
                               f"with one {words} than {self.names.given(name)}")
                elif own.text == "%":
                    yield ("complement", name, 100.0 - node,
                           f"with the rest to 100 % for {self.names.given(name)}")

    def _of_product(self, node: Product, factors):
        for place, (way, part) in enumerate(factors):
            others = (*factors[:place], *factors[place + 1:])
            said, key = self.names.spoken(part), _key(part)
            unit_like = isinstance(part, Fixed) and part.value in CONSTANTS
            # Nobody forgets a factor of units in one term of several.
            rank = SINGLE if unit_like and id(node) in self._in_a_term else COMMON
            bare = all(isinstance(one, Fixed) for _, one in others)
            if others and not (bare and (isinstance(part, Sum) or len(others) == 1)):
                entry, asks = ("S01", "which unit has that number") if unit_like else \
                    ("S10", "what does it change")
                own = self.names.unit_of(part.name) if isinstance(part, Quantified) else None
                if own and own.text == "%" == self.own.text:
                    yield ("left out", key, Product((*others, (1, Fixed(100.0)))),
                           f"without {said}", {"entry": entry, "rank": rank, "asks": asks})
                if own and own.text == "1/a" and way > 0 and self.own.text.endswith("/a"):
                    entry, asks = "S02", "does it happen once in every year"
                yield ("left out", key, Product(others), f"without {said}",
                       {"entry": entry, "rank": rank, "asks": asks})
            yield "twice", key, Product((*factors, (way, part))), f"with {said} twice"
            turned = f"with {said} {'below' if way > 0 else 'above'} the stroke"
            asks = "is it to multiply or to divide" if unit_like else "does the result grow with it"
            if others:
                seldom = unit_like or (id(node) in self._in_a_term and (
                    bare or isinstance(part, Fixed)))
                yield ("turned over", key, Product((*others, (-way, part))), turned,
                       {"rank": SINGLE if seldom else COMMON, "asks": asks})
        pair = [part for way, part in factors if way > 0 and isinstance(part, Quantified)]
        if len(pair) == 2 and len(factors) == 2:
            yield ("added", ", ".join(map(_key, pair)), Sum(tuple((1, part) for part in pair)),
                   f"with {self.names.spoken(pair[1])} added and not multiplied")
        fixed = [part for way, part in factors if way > 0 and isinstance(part, Fixed)]
        if len(pair) == 1 and len(fixed) == len(factors) - 1 > 0 and node is (
                self.tree.line if isinstance(self.tree, Quantified) else self.tree):
            yield ("added", f"{_key(pair[0])}, constants",
                   pair[0] + Product(tuple((1, part) for part in fixed)),
                   f"with {self.names.spoken(pair[0])} added and not multiplied", {"rank": EXTRA})
        for (way, one), (other_way, other) in itertools.combinations(factors, 2):
            if way != other_way and len(factors) > 2:
                yield ("turned over", f"{_key(one)}, {_key(other)}", Product((*((-its, part)
                       if part in (one, other) else (its, part) for its, part in factors),)),
                       f"with {self.names.spoken(one)} over {self.names.spoken(other)} turned over")
        above = [part for way, part in factors if way > 0 and self._is_share(part)]
        if len(above) > 1:
            rest = tuple((way, part) for way, part in factors if not (way > 0 and part in above))
            yield ("added", ", ".join(map(_key, above)),
                   Product(((1, Sum(tuple((1, part) for part in above))), *rest)),
                   f"with {self.names.spoken(above[0])} added and not multiplied",
                   {"rank": COMMON, "asks": "must all of them come together"})

    def _brackets(self, terms):
        """Yield what comes out with a bracket that is not there."""
        for place, (sign, part) in enumerate(terms):
            inner = part.line if isinstance(part, Quantified) and part.line else part
            if (isinstance(inner, Product) and inner.factors[0][0] > 0
                    and len(inner.factors) > 1 and sign > 0
                    and isinstance(inner.factors[0][1], Fixed | Quantified)):
                first, *rest = inner.factors
                others = (*terms[:place], (1, Product(tuple(rest))), *terms[place + 1:])
                yield ("bracket set", _key(first[1]), first[1] * Sum(others),
                       f"with {self.names.spoken(first[1])} before a bracket with all the rest")

    def _listed(self, terms) -> str:
        """Return the words for terms of a sum, without their numbers."""
        words = [self.names.words(part.name) if isinstance(part, Quantified)
                 else self.names.spoken(part) for _, part in terms]
        return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))

    def _is_share(self, part: Node) -> bool:
        return (isinstance(part, Quantified) and part.name in self.shares) or (
            isinstance(part, Sum) and part.terms[0] == (1, Fixed(1.0)))

    def _of_likes(self, parts):
        """Yield what comes out when quantities are added, or their mean taken, before the formula."""
        first, *others = (part.line if isinstance(part, Quantified) and part.line else part
                          for part in parts)
        inside = [[part.name for part, _ in within(one) if isinstance(part, Quantified)]
                  for one in (first, *others)]
        for place, name in enumerate(inside[0] if not isinstance(first, Quantified) else ()):
            likes = [names[place] for names in inside if len(names) == len(inside[0])]
            if len(likes) < len(parts) or len(set(likes)) < len(likes) or any(
                    _mapped(first, {name: Quantified(like)}) != other
                    for like, other in zip(likes[1:], others, strict=True)):
                continue
            total = Sum(tuple((1, Quantified(like)) for like in likes))
            said = self.names.given(name)
            for words, new, how in (("values added", total, "added"),
                                    ("mean of values", total / len(likes), "as a mean")):
                yield (words, ", ".join(likes), _mapped(first, {name: new}),
                       f"with {said}, and the others like it {how} first")

    def _of_sum(self, node, terms):
        if len(terms) < 2:
            return
        whole = isinstance(terms[0][1], Fixed) and terms[0][1].value in (1.0, 100.0)
        added = all(sign > 0 for sign, _ in terms)
        if whole and len(terms) == 2 and terms[1][0] < 0:
            yield ("complement", _key(terms[1][1]), terms[1][1],
                   f"with {self.names.spoken(terms[1][1])} and not the rest of the whole")
        for place, (sign, part) in enumerate(terms):
            others = (*terms[:place], *terms[place + 1:])
            if len(others) == 1:  # what is left alone is not taken below zero
                others = ((1, others[0][1]),)
            said, key = self.names.spoken(part), _key(part)
            if isinstance(part, Fixed):
                said = f"the {shown(part.value)}"
            elif isinstance(part, Product):
                said = f"the part with {said}"
            if isinstance(part, Fixed) and part.value == 1.0 and not whole:
                yield (f"one {'more' if sign < 0 else 'less'}", "in a sum", Sum(others),
                       f"with one too {'many' if sign < 0 else 'few'}", {"rank": COMMON})
            elif not (whole and place == 0):
                yield ("left out of the sum", key, Sum(others), f"without {said}",
                       {"asks": "what does it add" if sign > 0 else "what does it take off"})
                if len(terms) > 2 or sign < 0 or added or whole:  # a + b is not b taken off again
                    yield ("sign", key, Sum((*terms[:place], *terms[place + 1:], (-sign, part))),
                           f"with {said} {'taken off' if sign > 0 else 'added'}", {"rank": EXTRA
                           if added else SINGLE,
                           "asks": "does it make the result larger or smaller"})
                yield "twice in the sum", key, Sum((*terms, (sign, part))), f"with {said} twice"
        runs = [] if self._usual else [terms[first:last] for first, last in itertools.combinations(
            range(len(terms) + 1), 2) if last - first < len(terms) - 1]
        pairs = () if self._usual or len(terms) < 4 else itertools.combinations(terms, 2)
        for some in dict.fromkeys((*runs, *pairs)):
            yield ("some alone", ", ".join(_key(part) for _, part in some), Sum(some),
                   f"with {self._listed(some)} alone")
        for lost in itertools.combinations(terms, 2) if len(terms) > 3 and not self._usual else ():
            yield ("left out together", ", ".join(_key(part) for _, part in lost),
                   Sum(tuple(term for term in terms if term not in lost)),
                   f"without {self._listed(lost)}")
        parts = [part for _, part in terms]
        if added and not any(isinstance(part, Fixed) for part in parts):
            named = all(isinstance(part, Quantified) for part in parts)
            if not named:
                yield "largest alone", "sum", Call("max", Sum(terms)), "with the largest part alone"
            if id(node) not in self._below and (named or len(terms) > 2):
                yield "mean", "sum", node / len(terms), "as the mean of the parts"
            yield from self._of_likes(parts)
            inverse = [part for part in parts
                       if isinstance(part, Product) and part.factors[-1][0] < 0]
            if len(inverse) == len(parts):
                flat = Sum(tuple((1, Product(((-1, part),))) for part in parts))
                yield ("values added", "sum", Product(((-1, flat),)),
                       "with the times added and not the rates",
                       {"entry": "S06", "rank": COMMON})

    def _replaced(self, tree: Node, only: str) -> Iterator[Slip]:
        inside = dict.fromkeys(part.name for part, _ in within(tree)
                               if isinstance(part, Quantified) and part.line is None)
        lines = dict.fromkeys(part.name for part, _ in within(tree) if isinstance(part, Quantified)
                              and part.line is not None and part is not tree
                              and self.names.unit_of(part.name) is not None)
        for name, other in itertools.permutations(dict.fromkeys((*inside, *self.givens, *lines)), 2):
            if name not in (*inside, *lines) or other in lines or not self._alike(name, other):
                continue
            if other.startswith(BOUNDS) and other not in inside:
                continue
            if only and f"in place of: {name}, {other}" != only:
                continue
            if (only and self.names.unit_of(name) is None and name not in self.shares
                    and self.sample.get(name, 0.0) % 1 == 0):
                continue  # nobody takes one count for another besides
            said, instead = self.names.given(name), self.names.given(other)
            new = _mapped(tree, {name: self._converted(other, name)})
            yield _slip("in place of", f"{name}, {other}", new, _when(f"with {instead} for {said}"))
            if only:
                continue
            yield _slip("also", f"{name}, {other}",
                        _mapped(tree, {name: Quantified(name) + self._converted(other, name)}),
                        _when(f"with {instead} added to {said}"))
            if other in inside and name < other:
                both = Quantified(name) + self._converted(other, name)
                yield _slip("sum for each", f"{name}, {other}", _mapped(tree, {name: both,
                            other: self._converted(name, other) + Quantified(other)}),
                            _when(f"with the sum of {said} and {instead} for each of the two"))
                yield _slip("exchanged", f"{name}, {other}", _mapped(tree,
                            {name: self._converted(other, name), other: self._converted(name,
                            other)}), _when(f"with {said} and {instead} exchanged"))

    def _squares(self) -> Iterator[Slip]:
        """Yield the square of a share or a rate."""
        for name, part in {part.name: part for part, _ in within(self.tree)
                           if isinstance(part, Quantified)}.items():
            own = self.names.unit_of(name)
            if own.kind == ("", "time") if own else name in self.shares:
                yield _slip("square alone", name, Power(part, Fixed(2.0)),
                            f"is the square of {self.names.given(name)}")

    def _of_decays(self) -> Iterator[Slip]:
        """Yield what comes out with one constant of a decay alone, or with one time over another."""
        tree, names = self.tree, self.names
        calls = [node for node, _ in within(tree) if isinstance(node, Call)]
        alike = [name for name in self.givens if (own := names.unit_of(name)) and own.kind[0]]
        for name, node in itertools.product(alike, calls):
            if (node.function == "log" and isinstance(node.inner, Fixed)
                    and names.unit_of(name).text == self.own.text):
                yield _slip("share of", name, Quantified(name) / node.inner,
                            f"is {shown(100 / node.inner.value)} % of {names.given(name)}")
        if self.own.text != "%":
            return
        decays = [("-1", Fixed(-1.0), "the power -1")] * any(
            node.function.startswith("exp") for node in calls)
        decays += [(f"{one}, {other}", Product(((-1, Fixed(-1.0)), (1, Quantified(one)), (-1, self._converted(other, one)))),
                    f"the power of less {names.given(one)} over {names.given(other)}")
                   for one, other in itertools.permutations(alike, 2) if self._alike(one, other)]
        for key, power, said in decays:
            left = 100.0 * Call("exp", power)
            yield _slip("exp alone", key, left, f"is e to {said}, in per cent")
            yield _slip("rest of exp alone", key, 100.0 - left,
                        f"is what e to {said} leaves to 100 %")

    def _extra(self) -> Iterator[Slip]:
        """Yield the whole with one quantity more, and what two quantities give alone."""
        tree, names = self.tree, self.names
        inside = [part.name for part, _ in within(tree)
                  if isinstance(part, Quantified) and part.line is None]
        yield from self._squares()
        yield from self._of_decays()
        for name in self.givens:
            leaf, said = Quantified(name), names.given(name)
            yield _slip("one factor more", name, tree * leaf,
                        f"comes out with {said} as one more factor")
            yield _slip("one divisor more", name, tree / leaf,
                        f"comes out after a division by {said}")
        yield from self._other_lines()
        steps = {part.name: part for part, _ in within(tree)
                 if isinstance(part, Quantified) and part is not tree}
        sides = [(name, steps.get(name, Quantified(name)), names.given(name))
                 for name in dict.fromkeys((*self.givens, *steps))]
        if any(own and own.text == "d" for own in map(names.unit_of, self.givens)):
            sides.append(("365", Fixed(365.0), names.spoken(Fixed(365.0))))
        sides += [("8760", YEAR, names.spoken(YEAR)), ("1", Fixed(1.0), "1")]
        # What the formula does not hold is worked with its like only.
        strange = set(self.givens) - {*inside, *steps}
        for (one, first, said), (other, second, below) in itertools.permutations(sides, 2):
            if other == "1" or (strange & {one, other} and names.unit_of(one) != names.unit_of(other)):
                continue
            quotient = first / second
            does = f"is {said} divided by {below}"
            yield _slip("quotient", f"{one}, {other}", quotient, does)
            if self.own.text == "%" or names.unit_of(one) == names.unit_of(other):
                yield _slip("quotient in per cent", f"{one}, {other}", 100.0 * quotient,
                            f"{does}, in per cent")
            if self.own.text == "%":
                yield _slip("rest of a quotient", f"{one}, {other}", 100.0 - 100.0 * quotient,
                            f"is what {said} divided by {below} leaves to 100 %")
        for (one, first, said), (other, second, second_said) in itertools.combinations(
                [side for side in sides[:-2] if side[0] not in strange], 2):
            yield _slip("product", f"{one}, {other}", first * second,
                        f"is {said} times {second_said}")
        own = dict.fromkeys((*self.givens, *steps, *self.lines))
        for one, other in itertools.combinations(own, 2):
            if names.unit_of(one) is None or not self._alike(one, other):
                continue
            said, other_said, unit_of = names.given(one), names.given(other), names.unit_of(one)
            ratio = _ratio(unit_of, self.own) if _comparable(unit_of, self.own) else 1.0
            for sign, how in ((1, "sum"), (-1, "difference")):
                both = Call("abs", Sum(((1, Quantified(one)), (sign, self._converted(other, one)))))
                yield Slip(f"{how}: {one}, {other}", "S06", EXTRA,
                           both if ratio == 1.0 else both * ratio,
                           f"is the {how} of {said} and {other_said}", "what does that say")
        like = [name for name in strange if (unit_of := names.unit_of(name)) and unit_of == self.own]
        for one, other in itertools.combinations(dict.fromkeys((*inside, *steps, *sorted(like))), 2):
            if names.unit_of(one) is not None and self._alike(one, other):
                yield _slip("mean", f"{one}, {other}",
                            (Quantified(one) + self._converted(other, one)) / 2.0,
                            f"is the mean of {names.given(one)} and {names.given(other)}",
                            rank=EXTRA, asks="what does that say")

    def _other_lines(self) -> Iterator[Slip]:
        """Yield what comes out with another line of the case: at the end, or for one inside."""
        names = self.names
        inside = {part.name: put for part, put in within(self.tree)
                  if isinstance(part, Quantified) and part is not self.tree}
        for other in self.lines:
            own = names.unit_of(other)
            if own is None or other in inside:
                continue
            if _comparable(own, self.own):
                yield _slip("other line", other, Quantified(other) * _ratio(own, self.own),
                            f"is {names.words(other)}")
            for name, put in inside.items():
                its = names.unit_of(name)
                if its is not None and its.text == own.text:
                    yield _slip("other line", f"{name}, {other}", put(Quantified(other)),
                        _when(f"with {names.given(other)} for {names.given(name)}"),
                        asks="which of the two belongs there")

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
        tree, spoken = self.tree, self.names
        for node, _ in within(tree):
            if isinstance(node, Quantified) and node is not tree:
                yield from self.taken_for_the_end(node)
        for name in self.givens:
            yield from self.taken_for_the_end(Quantified(name))
        for node, _ in within(tree):
            if isinstance(node, Sum | Product | Power) and node is not tree:
                yield _slip("part for the end", _key(node), node,
                            f"is a step with {spoken.spoken(node)}")
        named = next((part for part, _ in within(tree)
                      if isinstance(part, Quantified) and part is not tree
                      and not spoken.words(part.name)[0].isdigit()), None)  # no time of day
        grows = f"should it grow with {spoken.given(named.name)}" if named else \
            "which unit has the quotient"
        yield _slip("turned over", "all", Product(((-1, tree),)), "is the result turned over",
                    rank=COMMON, asks=grows)
        one = _whole(self.own)
        if one:
            yield _slip("complement", "all", one - tree, "is the other part of the whole",
                        asks="which part does the question ask for")
        yield _slip("sign", "all", Sum(((-1, tree),)), "has the other sign")
        if self.own.text == "%":
            yield _slip("turned over", "share", 100.0 / tree, "is one over the share", rank=COMMON,
                        asks=grows)
        clocks = {"h": ((1.0, "an hour"),), "min": ((1.0, "a minute"), (60.0, "an hour"))}
        for (ratio, larger), way in itertools.product(
                clocks.get(self.own.text.partition("/")[0], ()), ("clock", "clock of one figure")):
            read = Call(way, tree / ratio)
            yield Slip(way if ratio == 1 else f"{way}, in h", "S17", SINGLE, read * ratio,
                       "writes the smaller unit behind the point",
                       f"which part of {larger} is that")
        one, asks = {"h": ("one hour", "which hours lie between"),
                     "d": ("one day", "which days lie between"), "a": ("one year", "which years lie between"),
                     "": ("one", "which one is counted at the end")}.get(self.own.text, ("", ""))
        if self.own.text and not (is_whole(tree, self.sample) or is_whole_sum(tree, self.sample)):
            asks = ""  # a time that is no count of hours has none between its ends
        for step, words in ((1, "many"), (-1, "few")) if asks else ():
            yield Slip(f"one too {words}: all", "S05", SINGLE,
                       Sum(((1, tree), (step, Fixed(1.0)))), f"is {one} too {words}", asks)
        yield from self._by_factors((2.0,))

    def rare(self) -> Iterator[Slip]:
        """Yield what few people do to the whole, or work out in place of it."""
        tree = self.tree
        yield from self._by_factors(FACTORS)
        rest = 100.0 - tree
        for factor, (way, words) in itertools.product(
                FACTORS if self.own.text == "%" else (), ((1, "large"), (-1, "small"))):
            yield _slip("factor", f"rest too {words} by {factor:g}",
                        100.0 - Product(((1, rest), (way, Fixed(factor)))),
                        f"leaves too {words} a rest to 100 %, by a factor of {shown(factor)}")
        yield from self._extra()
        yield from self._by_factors(RARE_FACTORS)
        for hours, words in ((24.0, "day"), (168.0, "week")) if self.own.text == "h" else ():
            yield Slip(f"{words} for the end", "S13", EXTRA, Fixed(hours),
                       f"has the hours of one {words}", ASKED)
        line = tree.line if isinstance(tree, Quantified) else tree
        if isinstance(line, Sum) and len(line.terms) > 1:
            for step, sign in itertools.product((1.0, 10.0, 100.0), (1, -1)):
                yield _slip("carry", f"{sign * step:g}", Sum(((1, tree), (sign, Fixed(step)))),
                            f"is {step:g} too {'many' if sign > 0 else 'few'}")

    def _by_factors(self, factors: Iterable[float]) -> Iterator[Slip]:
        for factor, (way, words) in itertools.product(factors, ((1, "large"), (-1, "small"))):
            asks = "where does such a factor come in" if factor != 2 else (
                "was something counted twice" if way > 0 else "was one of two left out")
            yield _slip("factor", f"too {words} by {factor:g}",
                        Product(((1, self.tree), (way, Fixed(factor)))),
                        f"is too {words} by a factor of {shown(factor)}",
                        entry="S11" if factor == 2 else "S01",
                        rank=SINGLE if factor == 2 else EXTRA, asks=asks)

    def taken_for_the_end(self, node: Quantified) -> Iterator[Slip]:
        have = self.names.unit_of(node.name)
        words = self.names.words(node.name)
        entry, asks = "S13", "which step comes after it" if node.line else ASKED
        kind = "line for the end" if node.line else "given for the end"
        if self._is_of_one(node.name):
            entry, asks = "S02", "does that much come in every year"
        if have and _comparable(have, self.own):
            ratio = _ratio(have, self.own)
            yield Slip(f"{kind}: {node.name}", entry, COMMON,
                       node if ratio == 1.0 else node * ratio, f"is {words}", asks)
            if self.own.text == "%":
                yield _slip("rest of", node.name, 100.0 - node, f"is what {words} leaves to 100 %",
                            asks=asks)
            if ratio == 1.0:
                return
        if have and have.text == "min" and self.own.text == "h":
            yield _slip("clock", node.name, Call("clock", node * (1 / 60)),
                        f"is {words} with the minutes behind the point")
        yield Slip(f"{kind}, number: {node.name}", entry, SINGLE, node,
                   f"has the number of {words}", asks)
        if node.name in self.shares and (have is None or self.own.text != "%"):
            yield Slip(f"{kind}, in per cent: {node.name}", "S13", SINGLE, 100.0 * node,
                       f"is {words} in per cent", asks)

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
            found = [replace(second, does=_when("turned over"), tree=Product(((-1, first.tree),)))]
        else:
            found = self.edits(first.tree, second.id)
        for one in found:
            phrase = one.does.removeprefix("comes out ")
            does = f"{first.does}, in two places" if first.does == one.does else \
                f"{first.does}, and {phrase}"
            yield Slip(f"{first.id}; {one.id}", first.entry, DOUBLE, one.tree, does, first.asks)


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


def _mapped(node: Node, new: Mapping[str, Node]) -> Node:
    """Return a tree with other nodes in the place of quantities."""
    match node:
        case Quantified(name) if name in new:
            return new[name]
        case Quantified(line=None):
            return node
        case Quantified(name, line):
            mapped = _mapped(line, new)
            return node if mapped is line else Quantified(name, mapped)
        case Sum(parts) | Product(parts):
            mapped = tuple((sign, _mapped(part, new)) for sign, part in parts)
            # What stays as it is stays the same part, whose value is known.
            same = all(one[1] is other[1] for one, other in zip(mapped, parts, strict=True))
            return node if same else type(node)(mapped)
        case Power(base, exponent):
            return Power(_mapped(base, new), _mapped(exponent, new))
        case Call(function, inner):
            return Call(function, _mapped(inner, new))
    return node


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


def _comparable(one: Unit, other: Unit) -> bool:
    return one.kind == other.kind or {one.kind, other.kind} == {("time", ""), ("time", "time")}


def _ratio(have: Unit, want: Unit) -> float:
    """Return the factor between two units; a time is a time a year where that is asked."""
    yearly = {("time", ""): 1.0, ("time", "time"): HOURS_PER_YEAR}
    if have.kind == want.kind:
        return have.factor / want.factor
    return have.factor * yearly[have.kind] / (want.factor * yearly[want.kind])


class Slips:
    """The slips of one formula, each value once, in the order in which they are tried.

    >>> from lessons.exercises.formulas import tree_of
    >>> slips = Slips(tree_of("8760 / mtbf_h * mttr_h", {}), "h/a", Spoken({}))
    >>> [slip.id for slip in slips.single[:3]]
    ['left out: 8760', 'left out: mtbf_h', 'turned over: mtbf_h']
    """

    def __init__(self, tree: Node, own: Unit | str, names: Spoken, givens: Sequence[str] = (),
                 shares: Sequence[str] = (), lines: Sequence[str] = (),
                 sample: Mapping[str, object] | None = None) -> None:
        own = unit(own) if isinstance(own, str) else own
        self._maker = _Maker(tree, own, names, givens, shares, lines, sample or {})
        self._generic = _Generic(sample or {})
        self._generic.known = values_within(tree, self._generic.__getitem__)
        self._own = self._generic.value(tree)
        self._seen = {self._own}

    @property
    def single(self) -> tuple[Slip, ...]:
        """One slip each: the common ones, then the others."""
        return self.usual + self.rare

    @functools.cached_property
    def usual(self) -> tuple[Slip, ...]:
        """Slips in one part, in the order of their ranks."""
        return tuple(self._new(slip for slip in self._made if slip.rank != EXTRA))

    @functools.cached_property
    def rare(self) -> tuple[Slip, ...]:
        """Slips that are tried when none of the usual ones fits."""
        seen = self.usual and [slip for slip in self._made if slip.rank == EXTRA]
        return tuple(self._new((*seen, *self._maker.rare())))

    @functools.cached_property
    def _made(self) -> list[Slip]:
        return sorted((*self._maker.edits(self._maker.tree), *self._maker.whole()),
                      key=lambda slip: slip.rank)

    @functools.cached_property
    def given(self) -> tuple[Slip, ...]:
        """The givens that could be taken for the result."""
        return tuple(slip for name in self._maker.givens
                     for slip in self._maker.taken_for_the_end(Quantified(name))
                     if slip.rank == COMMON and self._generic.value(slip.tree) != self._own)

    def double(self, value: float, right: float, values: Mapping[Slip, float]) -> Iterator[Slip]:
        """Yield two slips at a time that together come near a value.

        Slips in two factors multiply what they do to the result, slips in two terms add it; where
        one of them turns something over, the other one may come below the stroke.
        """
        usual = [(slip, values[slip]) for slip in self.single if slip in values
                 and (slip.rank == COMMON or slip.id.startswith(("in place", "one more:",
                                                                 "one less:", "other multiple")))]
        firsts = [one for one in usual if one[0].rank != SINGLE or "multiple" in one[0].id]
        room = 0.01 * abs(value)
        near = [(slip, other) for (slip, one), (other, two) in itertools.product(firsts, usual)
                if abs(one / right * two - value) < room or abs(one + two - right - value) < room
                or (other.id == "turned over: all" and abs(1 / one - value) < room)
                or (slip.id.startswith("turned") and other.id.startswith("in place")
                    and abs(one / two * right - value) < room)]
        for first, second in itertools.islice(
                sorted(near, key=lambda pair: (pair[0].rank + pair[1].rank)), MOST_PAIRS):
            if not first.id.endswith(": all"):
                yield from self._maker.both(first, second)

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


def far_off(value: float, right: float, half: float = 0.0) -> tuple[str, str]:
    """Return the rung of the ladder on which an answer stands, and how to say it.

    A power of ten is told as far as half of the last figure given allows.

    >>> far_off(2100.0, 35.0), far_off(23.0, 35.0)
    (('many times', 'is about 60 times too large'), ('by a part', 'is too small by about a third'))
    """
    if value == 0:
        return "nothing", "is nothing at all"
    if (value < 0) != (right < 0):
        return "sign", "has the other sign"
    ratio = value / right
    power = round(math.log10(ratio))
    if power and abs(ratio / 10**power - 1) < max(2e-3, min(half / abs(value), 0.025)):
        return "power of ten", f"has its decimal point {abs(power)} " \
            f"{'place' if abs(power) == 1 else 'places'} too far to the " \
            f"{'right' if power > 0 else 'left'}"
    way = "too large" if ratio > 1 else "too small"
    times = max(ratio, 1 / ratio)
    if times >= 2.5:
        said = float(f"{times:.1g}") if times > 12 else round(times)
        return "many times", f"is about {shown(float(said))} times {way}"
    if times >= 1.85:
        return "many times", "is about twice as large" if ratio > 1 else "is too small by about a half"
    part = abs(ratio - 1)
    if part < 0.04:
        return "by a little", f"is {way} by a little"
    _, words = min(PARTS, key=lambda each: abs(math.log(each[0] / part)))
    return "by a part", f"is {way} by about {words}"
