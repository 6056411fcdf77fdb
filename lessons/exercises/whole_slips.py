"""Slips of a whole formula: a step taken for the end, a factor more, quantities worked alone."""

import functools
import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from labkit.wording import shown
from lessons.exercises.formulas import (
    Call,
    Fixed,
    Node,
    Power,
    Product,
    Quantified,
    Sum,
    factors_of,
    is_whole,
    is_whole_sum,
    mapped,
    quantities_in,
    within,
)
from lessons.exercises.part_slips import PartSlips
from lessons.exercises.quantities import Unit
from lessons.exercises.slip_kinds import (
    BOUNDS,
    DOUBLE,
    YEAR,
    Slip,
    comparable,
    counted_in,
    ratio_of,
)

FACTORS = (60.0, 3600.0, 1000.0, 24.0, 8760.0, 365.0, 100.0, 12.0)
RARE_FACTORS = (30.0, 7.0, 3.0, 4.0)
OTHER_UNITS = {"h": (("min", 60.0), ("d", 1 / 24)), "min": (("h", 1 / 60),), "d": (("h", 24.0),),
               "ms": (("s", 0.001),), "weeks": (("d", 7.0),), "a": (("months", 12.0),)}
CLOCKS = {"h": [("an hour", 1.0, "")], "min": [("a minute", 1.0, ""), ("an hour", 60.0, ", in h")],
          "s": [("a minute", 60.0, ", in min")]}
ENDS = {"h": ("one hour", "hours"), "d": ("one day", "days"), "a": ("one year", "years"), "": ("one",)}


class WholeSlips(PartSlips):
    """Make the slips of a whole formula, and two slips at a time."""

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
        decays += [(f"{one}, {other}", -1.0 * Quantified(one) / self._converted(other, one),
                    f"the power of less {self.names.given(one)} over {self.names.given(other)}")
                   for one, other in itertools.permutations(times, 2) if self._alike(one, other)]
        for key, power, said in decays:
            left = 100.0 * Call("exp", power)
            yield self._slip("exp alone", left, said, key=key)
            yield self._slip("rest of exp alone", 100.0 - left, said, key=key)

    def _extra(self) -> Iterator[Slip]:
        """Yield the whole with one quantity more, and what two quantities give alone."""
        tree, unit_of, slip, parts = self.tree, self.names.unit_of, self._slip, quantities_in(self.tree)
        factors = set(factors_of(tree))
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
            for sign in (1, -1) if own and counted_in(own) == counted_in(self.own) else ():
                yield slip("one term more", Sum(((1, tree), (sign, leaf))), leaf, taken_off=sign == -1)
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
            ratio = ratio_of(own, self.own) if comparable(own, self.own) else 1.0
            for sign, kind in ((1, "sum"), (-1, "difference")):
                both = Call("abs", Sum(((1, Quantified(one)), (sign, self._converted(other, one)))))
                yield slip(kind, both * ratio, Quantified(one), Quantified(other))
        like = sorted(name for name in strange if unit_of(name) and unit_of(name) == self.own)
        for one, other in self._pairs_alike((*inside, *steps, *like)):
            ratio = ratio_of(unit_of(one), self.own) if comparable(unit_of(one), self.own) else 1.0
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
            if comparable(own, self.own):
                yield self._slip("other line", leaf * ratio_of(own, self.own), self.names.words(other),
                                 key=other)
            else:
                yield self._slip("other line", leaf, self.names.words(other), key=other,
                                 called="other line, number", number=True)
            for name, put in inside.items():
                its = self.names.unit_of(name)
                if its is not None and its.text == own.text:
                    yield self._slip("other line inside", put(leaf), Quantified(name), leaf)

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
        yield slip("turned over", tree.turned_over(), *named, key="all", whole=True,
                   unnamed=not named)
        if one := _whole(self.own):
            yield slip("complement", one - tree, key="all", whole=True)
        yield slip("sign", Sum(((-1, tree),)), key="all", whole=True)
        if self.own.text == "%":
            yield slip("turned over", 100.0 / tree, *named, key="share", share=True, unnamed=not named)
        for (larger, ratio, where), way in itertools.product(
                CLOCKS.get(counted_in(self.own), ()), ("clock", "clock of one figure", "clock back")):
            yield slip("clock", Call(way, tree / ratio) * ratio, larger, key="", called=way + where,
                       back=way == "clock back", in_parts=way + where == "clock back")
        words, counted = ENDS.get(self.own.text), not self.own.text
        # A time that is no count of hours has none between its ends.
        if words and (counted or is_whole(tree, self.sample) or is_whole_sum(tree, self.sample)):
            for step, kind in ((1, "one too many"), (-1, "one too few")):
                yield slip(kind, Sum(((1, tree), (step, Fixed(1.0)))), *words, key="all", counted=counted)
        yield from self._byfactors_of((2.0,))

    def seldom(self) -> Iterator[Slip]:
        """Yield what few people do to the whole, or work out in place of it."""
        yield from self._byfactors_of(FACTORS)
        yield from self._byfactors_of(FACTORS if self.own.text == "%" else (), rest=True)
        yield from self._extra()
        yield from self._byfactors_of(RARE_FACTORS)
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
                                 key=f"{sign * step:g}", few=sign == -1)

    def _byfactors_of(self, factors: Iterable[float], *, rest: bool = False) -> Iterator[Slip]:
        """Yield the whole, or its rest to 100 %, too large or too small by a factor."""
        right = 100.0 - self.tree if rest else self.tree
        for factor, large in itertools.product(factors, (True, False)):
            words = "large" if large else "small"
            wrong = right * factor if large else right / factor
            yield self._slip("factor", 100.0 - wrong if rest else wrong, words, shown(factor),
                             key=f"{'rest ' * rest}too {words} by {factor:g}", rest=rest,
                             doubled=factor == 2 and large, halved=factor == 2 and not large)

    def taken_for_the_end(self, node: Quantified) -> Iterator[Slip]:
        """Yield what comes out where a given, or a step, is taken for the result."""
        name, have, words = node.name, self.names.unit_of(node.name), self.names.words(node.name)
        called = "line for the end" if node.line else "given for the end"
        slip = functools.partial(self._slip, key=name, line=bool(node.line), of_one=self._is_of_one(name))
        if have and comparable(have, self.own):
            ratio = ratio_of(have, self.own)
            yield slip("for the end", node if ratio == 1.0 else node * ratio, words, called=called)
            if self.own.text == "%":
                yield slip("rest of", 100.0 - node, words)
            if ratio == 1.0:
                return
        if have and have.text == "min" and self.own.text == "h":
            yield slip("clock", Call("clock", node * (1 / 60)), words, for_the_end=True)
        yield slip("for the end", node, words, called=f"{called}, number", number=True)
        if name in self.shares:
            yield slip("for the end", 100.0 * node, words, called=f"{called}, in per cent", in_per_cent=True)
            if self.own.text == "%":
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
            found = [replace(second, does="comes out turned over", tree=first.tree.turned_over())]
        else:
            found = self.edits(first.tree, second.id)
        for one in found:
            phrase = one.does.removeprefix("comes out ")
            does = f"{first.does}, in two places" if first.does == one.does else \
                f"{first.does}, and {phrase}"
            yield replace(one, id=f"{first.id}; {one.id}", entry=first.entry, does=does, asks=first.asks,
                          rank=DOUBLE)


def _whole(own: Unit) -> float | None:
    """Return what a share, or the time in a year, is a part of; None for other quantities."""
    if own.text == "%":
        return 100.0
    if own.kind == ("time", "time"):
        return 1 / own.factor
    return None
