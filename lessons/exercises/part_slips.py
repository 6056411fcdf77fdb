"""Slips in one part of a formula: left out, turned over, one quantity for another, and the like."""

import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence

from labkit.wording import shown
from lessons.exercises.formulas import (
    CONSTANTS,
    Call,
    Fixed,
    Node,
    Power,
    Product,
    Quantified,
    Sum,
    factors_of,
    mapped,
    quantities_in,
    within,
)
from lessons.exercises.slip_kinds import BOUNDS, YEAR, Slip, SlipMaker, key_of

MIXED_UP = {2.0: (3.0,), 60.0: (100.0, 3600.0), 3600.0: (60.0,), 1000.0: (100.0, 60.0), 24.0: (60.0, 12.0),
            8760.0: (365.0, 52.0), 168.0: (7.0, 24.0), 3600000.0: (3600.0, 60000.0, 1000.0),
            365.0: (360.0, 52.0, 12.0)}
# The chance of being wrong, or one over it, that goes with another confidence.
CONFIDENCES = {0.05: (0.1, 0.01), 0.1: (0.05, 0.01), 10.0: (20.0,), 20.0: (10.0,)}
OTHER_CONFIDENCES = ((0.9, "90 %"), (0.95, "95 %"), (0.99, "a higher one"))
ONE_OFF = ((1, "one more"), (-1, "one less"))
HALF_OFF = ((1, "half more"), (-1, "half less"))


class PartSlips(SlipMaker):
    """Make the slips in one part of a formula."""

    def edits(self, tree: Node, only: str = "") -> Iterator[Slip]:
        """Yield every slip in one part of the formula, or the usual one with an id."""
        self._usual = bool(only)
        sums = [node for node, _ in within(tree) if isinstance(node, Sum) and len(node.terms) > 1]
        self._in_a_term = {id(part) for node in sums for _, term in node.terms
                           for part, _ in within(term)}
        self._below = {id(part) for node, _ in within(tree) if isinstance(node, Product)
                       for way, below in node.factors if way == -1 for part, _ in within(below)}
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
            factors = [dict.fromkeys(factors_of(part)) for _, part in node.terms]
            common = [one for one in factors[0] if all(one in others for others in factors)]
            for lost in (lost for size in (1, 2) for lost in itertools.combinations(common, size)):
                terms = tuple((sign, _without(part, lost)) for sign, part in node.terms)
                yield self._slip("left out everywhere", put(Sum(terms)),
                                 " and ".join(self.names.spoken(part) for _, part in lost),
                                 key=", ".join(key_of(part) for _, part in lost))
            rates = [[one for one in others if one[0] == -1 or one == (1, YEAR)] for others in factors]
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
                               key=f"power of {key_of(base)}", power=True)
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
                yield slip("log left out", put(inner), key="log")
                yield slip("log left out", put(inner.turned_over()), key="log, turned over")
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
                           unit_in_a_term=unit_like and in_a_term, yearly=own is not None and way == 1
                           and own.text == "1/a" and self.own.text.endswith("/a"))
            yield slip("twice", put(Product((*factors, (way, part)))), part)
            if others:
                yield slip("turned over", put(Product((*others, (-way, part)))), part, below=way == -1,
                           unit=unit_like, seldom=unit_like or (
                               in_a_term and (bare or isinstance(part, Fixed))))
        pair = [part for way, part in factors if way == 1 and isinstance(part, Quantified)]
        if len(pair) == 2 and len(factors) == 2:
            yield slip("added", put(pair[0] + pair[1]), self.names.spoken(pair[1]),
                       key=", ".join(map(key_of, pair)))
        fixed = [part for way, part in factors if way == 1 and isinstance(part, Fixed)]
        if len(pair) == 1 and len(fixed) == len(factors) - 1 > 0 and node is (
                self.tree.line if isinstance(self.tree, Quantified) else self.tree):
            yield slip("added", put(pair[0] + Product(tuple((1, part) for part in fixed))),
                       self.names.spoken(pair[0]), key=f"{key_of(pair[0])}, constants", constants=True)
        for (way, one), (other_way, other) in itertools.combinations(factors, 2):
            if way != other_way and len(factors) > 2:
                turned = ((-its if part in (one, other) else its, part) for its, part in factors)
                yield slip("turned over", put(Product(tuple(turned))), one, other, ratio=True)
        above = [part for way, part in factors if way == 1 and self._is_share(part)]
        if len(above) > 1:
            rest = tuple((way, part) for way, part in factors if not (way == 1 and part in above))
            yield slip("added", put(Product(((1, Sum(tuple((1, part) for part in above))), *rest))),
                       self.names.spoken(above[0]), key=", ".join(map(key_of, above)), shares=True)

    def _is_share(self, part: Node) -> bool:
        return (isinstance(part, Quantified) and part.name in self.shares) or (
            isinstance(part, Sum) and part.terms[0] == (1, Fixed(1.0)))

    def _brackets(self, terms, put: Callable) -> Iterator[Slip]:
        """Yield what comes out with a bracket that is not there."""
        for place, (sign, part) in enumerate(terms):
            match part.line or part if isinstance(part, Quantified) else part:
                case Product(((1, Fixed() | Quantified() as first), _, *_) as factors) if sign == 1:
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
        added = all(sign == 1 for sign, _ in terms)
        if whole and len(terms) == 2 and terms[1][0] == -1:
            yield slip("complement", put(terms[1][1]), terms[1][1], of_a_sum=True)
        for place, (sign, part) in enumerate(terms):
            others = (*terms[:place], *terms[place + 1:])
            if len(others) == 1:  # what is left alone is not taken below zero
                others = ((1, others[0][1]),)
            said, key, taken_off = self.names.spoken(part), key_of(part), sign == -1
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
        turned = Sum(tuple((1, part.turned_over()) for part in parts)).turned_over()
        if id(node) not in self._below:
            yield slip("turned over and added", put(turned), key="sum")
        if all(isinstance(part, Product) and part.factors[-1][0] == -1 for part in parts):
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
                             key=", ".join(key_of(part) for _, part in some))
        for lost in pairs:
            yield self._slip("left out together", put(Sum(tuple(
                term for term in terms if term not in lost))), self._listed(lost),
                key=", ".join(key_of(part) for _, part in lost))

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


def _without(node: Node, lost: Sequence[tuple[int, Node]]) -> Node:
    left = list(factors_of(node))
    for one in lost:
        left.remove(one)
    return Product(tuple(left))
