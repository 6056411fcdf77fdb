"""Numbers with units on the way through an answer: multiplied, added, brought to one unit."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace

from labkit.wording import decimals, grouped
from lessons.exercises.digits import Digits
from lessons.exercises.units import Unreadable, built, kind_of, size_of


@dataclass(frozen=True)
class Value:
    """A number on the way through the grammar, with the symbols above and below the stroke."""

    number: float
    above: tuple[str, ...] = ()
    below: tuple[str, ...] = ()
    bare: bool = True
    typed: bool = False
    digits: Digits | None = None
    figures: int | None = None
    step: float = 0.0
    period: bool = False
    divided: bool = False
    outside: bool = False
    """Whether its unit stands behind it, and not inside its bracket."""

    @property
    def kinds(self) -> tuple[list[str], list[str]]:
        return (sorted(filter(None, map(kind_of, self.above))),
                sorted(filter(None, map(kind_of, self.below))))

    @property
    def is_time(self) -> bool:
        return self.kinds == (["time"], [])

    @property
    def rounded(self) -> float:
        """One in its last figure, relative to it; zeros behind two figures may be none."""
        first = math.floor(math.log10(abs(self.number)))
        zeros = 10.0 ** (first + 1 - max(self.figures, 2)) if self.step == 1 and self.figures else 0.0
        return max(self.step, zeros) / abs(self.number)

    @property
    def size(self) -> float:
        """One of its unit in base units."""
        return math.prod(map(size_of, self.above)) / math.prod(map(size_of, self.below))

    def times(self, other: Value, *, over: bool = False) -> Value:
        """Multiply, or divide `over` the other one; equal units above and below go away."""
        if over and other.number == 0:
            raise Unreadable("nothing can be divided by 0")
        one, two = self._for_product(other), other._for_product(self)
        above, below = [list(one.above), list(one.below)]
        (below if over else above).extend(two.above)
        (above if over else below).extend(two.below)
        for symbol in list(above):
            if symbol in below:
                above.remove(symbol)
                below.remove(symbol)
        number = one.number / two.number if over else one.number * two.number
        # One over a number is known as well as the number, and 9.7 in 100 as well as 9.7.
        step = abs(number) * two.rounded if over and one.number == 1 else 0.0
        if over and number and two.digits and re.fullmatch("10+", two.digits.text):
            step = abs(number) * one.rounded
        return Value(number, tuple(above), tuple(below), step=step,
                     bare=self.bare and other.bare, divided=over or self.divided)

    def _for_product(self, other: Value) -> Value:
        """Per cent of something with a unit is a plain number."""
        shares = [symbol for symbol in self.above if kind_of(symbol) == ""]
        if not shares or (other.bare and not other.below):
            return self
        return replace(self, number=self.number * math.prod(map(size_of, shares)),
                       above=tuple(symbol for symbol in self.above if symbol not in shares))

    def plus(self, other: Value, sign: int = 1) -> Value:
        """Add; a number alone takes the unit of the other, where that measures something."""
        one, two = self, other
        if one.bare and any(two.kinds):
            one = replace(one, above=two.above, below=two.below)
        elif two.bare and any(one.kinds):
            two = replace(two, above=one.above, below=one.below)
        if two.below and one.is_time:  # 1 h and 33 min a year
            one = replace(one, below=two.below)
        if one.kinds != two.kinds:
            names = (built(each.above, each.below).text or "a number" for each in (one, two))
            raise Unreadable("{} and {} cannot be added".format(*names))
        total = one.number + sign * two.number * two.size / one.size
        # A whole number may be exact.
        steps = [each.step * each.size / one.size for each in (one, two) if 0 < each.step < 1]
        return Value(total, one.above, one.below, bare=one.bare and two.bare,
                     step=min(steps, default=0.0))

    def reduced(self) -> Value:
        """Bring it to at most one unit above the stroke and one below."""
        number, above, below = self.number, list(self.above), list(self.below)
        while len(above) > 1 or len(below) > 1:
            pair = next(((a, b) for a in above for b in below if kind_of(a) == kind_of(b)), None)
            if pair is None:
                names = " and ".join(above if len(above) > 1 else below)
                raise Unreadable(f"a product or quotient of {names} is no unit of this course")
            above.remove(pair[0])
            below.remove(pair[1])
            number *= size_of(pair[0]) / size_of(pair[1])
        return replace(self, number=number, above=tuple(above), below=tuple(below))


def written(number: float) -> str:
    """Write a number as on a board: thousands apart, at most six figures, no small power of ten."""
    if 1e4 <= abs(number) < 1e12:
        return grouped(number)
    small = 1e-6 <= abs(number) < 1e-4
    return decimals(number, 6).rstrip("0") if small else f"{number:.6g}"
