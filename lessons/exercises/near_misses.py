"""Near misses: the values that one slip in a formula gives, and what to ask of whom they come from.

Tutors of arithmetic have long explained wrong answers by rules gone wrong. Some keep a list of
observed ones (Brown and Burton 1978; Sleeman 1984); some make them by leaving steps out, and
filter those that nobody would make (Brown and VanLehn 1980). From memory, both need a long list
for each task. Here the tree of the formula gives them: every edit is one slip of one quantity, so
that the reply can name it. Double slips are made too, and two things keep nonsense out: they are
tried last, and only against an answer with three figures or more.
"""

import functools
import itertools
import math
from collections.abc import Callable, Iterable, Iterator, Mapping

from lessons.exercises.formulas import NOTHING, Call, Node, Quantified, values_within, worked_out
from lessons.exercises.slip_kinds import COMMON, EXTRA, SINGLE, Slip
from lessons.exercises.whole_slips import WholeSlips

MOST_PAIRS = 12
ALONE = ("sum:", "difference:", "mean:", "product:", "quotient", "rest of a quotient")
"""Slips of two quantities that are worked with nothing else."""


class Slips(WholeSlips):
    """The slips of one formula, each value once, in the order in which they are tried.

    >>> from lessons.exercises.formulas import Spoken, tree_of
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


def _unrounded(tree: Node) -> Node:
    """Return a tree without what rounds its result up."""
    match tree:
        case Quantified(line=line) if line is not None:
            return _unrounded(line)
        case Call("ceil", inner):
            return inner
    return tree


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
