"""What is right, what is near, and which slip an answer comes from.

Right is what rounds to it: the value, rounded to the figures that were given, is the answer. One
figure is asked for once more. A sum of whole numbers is right exactly. Where nothing fits, the
nearest slip of the first rank that fits is named, and both where two lie equally near.
"""

from __future__ import annotations

import contextlib
import gc
import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from types import SimpleNamespace

from lessons.exercises.formulas import Node, is_whole_sum, quantities_in, values_within
from lessons.exercises.near_misses import Slips, value_of
from lessons.exercises.quantities import Quantity, Unit
from lessons.exercises.slip_kinds import EXTRA, Hit, Slip

# Limits are inclusive; this keeps an answer exactly on a limit from failing by rounding.
EDGE = 1e-9
# What four figures on the way to a result may cost, and what three may.
FOUR_FIGURES, THREE_FIGURES = 1e-3, 0.02
# An answer of one or two figures is no proof of a slip that lies further off than this.
WIDEST, WIDEST_OF_PAIRS, EXACTLY = 0.025, 0.006, 1e-5
HARDLY, CUT = 0.01, 0.005


@contextlib.contextmanager
def no_collection() -> Iterator[None]:
    """Put off the collection of garbage: so many new trees would set it off in mid reply.

    Where much is loaded, one collection takes longer than all the work on an answer.
    """
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


@dataclass(frozen=True)
class Given:
    """An answer: its value in the unit of the question, and half of its last figure there.

    Of a whole number that ends in zeros nobody knows whether they are figures.
    """

    value: float
    half: float
    zeros: bool = False

    def scaled(self, factor: float) -> Given:
        """Return it in another unit."""
        return replace(self, value=self.value * factor, half=abs(self.half * factor))


def as_given(written: Quantity) -> Given:
    """Return a number with half of its last figure; whole zeros at its end are no figures.

    What was calculated stands for a number of three figures.

    >>> from lessons.exercises.quantities import parse
    >>> [as_given(parse(text)).half for text in ("0.58", "2100", "60 000", "7")]
    [0.005, 50.0, 500.0, 0.5]
    """
    number = abs(written.number)
    if number == 0:
        return Given(0.0, 0.0)
    if written.spread:
        return Given(written.number, number * written.spread / 2)
    first = math.floor(math.log10(number) + EDGE)
    if written.figures is None:
        return Given(written.number, 0.5 * 10.0 ** (first - 2))
    zeros = first >= 2 and written.figures <= first and number == round(number)
    half = 0.5 * 10.0 ** (first + 1 - max(written.figures, 2 if first > 0 else 1))
    return Given(written.number, half, zeros)


def place_of(given: Given, right: float, *, one: float | None, exact: bool,
             tolerance: float) -> str:
    """Return where an answer stands: "right", "one figure", "near" or "off".

    Parameters
    ----------
    given : Given
        The answer, in the unit of the right value.
    right : float
        What it is compared with.
    one : float or None
        The whole, where what counts is what is left to it, as for an availability.
    exact : bool
        True for a sum of whole numbers.
    tolerance : float
        What the question says may be missing, relative; 0 where it says nothing.

    >>> [place_of(Given(value, half), 35.04, one=None, exact=False, tolerance=0.0)
    ...  for value, half in ((35.0, 0.5), (40.0, 5.0), (35.3, 0.05), (36.0, 0.5))]
    ['right', 'one figure', 'near', 'off']
    """
    off = abs(given.value - right)
    size = abs(right if one is None else one - right)
    told = abs(given.value if one is None else one - given.value)
    if off <= EDGE * abs(right) or off <= (tolerance + EDGE) * size * bool(tolerance):
        return "right"
    if exact:
        return "off"
    if off <= FOUR_FIGURES * size:
        return "right"
    if off <= given.half * (1 + EDGE) + EDGE * abs(right):
        if told >= 19.9 * given.half:
            return "right"
        if told >= 1.99 * given.half:
            return "one figure"
    if one is not None and given.value < right < given.value + 2 * given.half < one + EDGE:
        return "one figure"  # 99.9 is 99.9933, cut off
    return "near" if off <= THREE_FIGURES * size else "off"


@dataclass(frozen=True, eq=False)
class Formula:
    """A value as a formula: its tree, its slips, and how its quantities are spoken.

    Parameters
    ----------
    slips : Slips
        With the tree that they are made of, and the names of its quantities.
    known : callable
        From the numbers of a draw to the names that the formula may use.
    text : str
        As it stands in the file.
    case_lines : mapping of str to str
        Of the case, by name.
    """

    slips: Slips
    known: Callable[[SimpleNamespace], Mapping[str, object]]
    text: str
    case_lines: Mapping[str, str]
    _latest: list[_Leaves] = field(default_factory=list, init=False, repr=False)

    def lines(self) -> dict[str, str]:
        """Return the lines that the formula needs, by name."""
        named = quantities_in(self.slips.tree)
        return {name: line for name, line in self.case_lines.items() if name in named}

    def valued(self, slips: Iterable[Slip], numbers: SimpleNamespace
               ) -> Iterator[tuple[Slip, float]]:
        """Yield slips with their values for these numbers, each worked out once for a draw."""
        leaves = self._at(numbers)
        for slip in slips:
            if slip not in leaves.slips:
                leaves.slips[slip] = value_of(slip.tree, leaves.__getitem__, leaves.parts)
            if leaves.slips[slip] is not None:
                yield slip, leaves.slips[slip]

    def of_rank(self, rank: int, numbers: SimpleNamespace) -> list[tuple[float, Slip]]:
        """Return the values of the slips of one rank, and the slips."""
        ranks = self._at(numbers).ranks
        if rank not in ranks:
            slips = self.slips.rare if rank >= EXTRA else self.slips.usual
            ranks[rank] = [(value, slip) for slip, value in self.valued(slips, numbers)
                           if slip.rank == rank]
        return ranks[rank]

    def is_whole_sum(self, numbers: SimpleNamespace) -> bool:
        """Return True where the formula is a sum of whole numbers."""
        return is_whole_sum(self.slips.tree, self._at(numbers).known)

    def _at(self, numbers: SimpleNamespace) -> _Leaves:
        """Return what is known at a draw, from the last time where it is the same one."""
        if not self._latest or self._latest[0].numbers is not numbers:
            self._latest[:] = [_Leaves(numbers, self.known(numbers), self.slips.tree)]
        return self._latest[0]

    def quantities(self, numbers: SimpleNamespace) -> Iterator[tuple[str, Unit, float]]:
        """Yield each quantity that has a unit, with its number."""
        for name in dict.fromkeys((*quantities_in(self.slips.tree), *self.slips.givens, *self.case_lines)):
            value, own = getattr(numbers, name, None), self.slips.names.unit_of(name)
            if own is not None and isinstance(value, int | float):
                yield name, own, float(value)


class _Leaves(dict):
    """Values of leaves: those of names, and what Python makes of all else, worked out once."""

    def __init__(self, numbers: SimpleNamespace, known: Mapping[str, object], tree: Node) -> None:
        super().__init__()
        self.numbers, self.known = numbers, dict(known)
        self.slips: dict[Slip, float | None] = {}
        self.ranks: dict[int, list[tuple[float, Slip]]] = {}
        self.parts = values_within(tree, self.__getitem__)

    def __missing__(self, text: str) -> float:
        value = self.known[text] if text in self.known else eval(text, self.known)
        self[text] = value  # the text comes from a formula that was checked
        return value


def nearest(given: Given, candidates: Iterable[tuple[float, Hit]], *, pairs: bool = False,
            right: float = math.inf, one: float | None = None) -> list[Hit]:
    """Return the hit that is nearest to an answer, and a second one where it is as near.

    A slip that hardly moves the `right` value is told from rounding by its own figures only.
    What counts is what is left to `one`, where that is given.

    >>> hits = [(4.0, Hit("a", None, "", "")), (4.3, Hit("b", None, "", ""))]
    >>> [hit.id for hit in nearest(Given(4.003, 0.0005), hits)], nearest(Given(5.0, 0.05), hits)
    (['a'], [])
    """
    found = []
    few = given.half > 0.06 * abs((one or 100.0) - given.value)  # figures of the rest
    for value, hit in candidates:
        size = abs(value) if one is None else min(abs(value), abs(one - value))
        widest = (WIDEST_OF_PAIRS if pairs else WIDEST) * abs(value)
        floor = FOUR_FIGURES * size / (2 if pairs else 1)
        off = abs(given.value - value)
        moved = abs(value - right)
        if few and (hit.id.startswith("factor: rest")
                    or off > EDGE * abs(value) and re.match("rest of (a quotient|exp)|.*; rest$", hit.id)):
            continue
        if moved < HARDLY * size and off > max(moved / 10, min(given.half, moved / 3)):
            continue
        half = min(given.half, widest)
        if pairs and given.half > widest:
            # Too few figures for a proof, unless it is the very number.
            exactly = given.half / 10 if given.zeros and given.half / 10 <= widest else 0.0
            half = floor = max(exactly, EXACTLY * abs(value))
        # Who cuts figures off stays less than one in the last place below.
        cut = 2 * half if not pairs and half < CUT * abs(given.value) < CUT * abs(value) else 0.0
        # So coarse an availability says more of the right value than of a slip farther off.
        as_right = one is not None and abs(given.value - right) <= min(off, max(half, cut))
        if (off <= max(half, floor) * (1 + EDGE) or off < cut * (1 - EDGE)) and not as_right:
            found.append((off, hit))
    found.sort(key=lambda one: one[0])
    room = EDGE * abs(given.value)  # who gives the very number means it
    room += 0.1 * given.half * bool(found and found[0][0] > room)
    best = [hit for off, hit in found if off - found[0][0] <= room]
    twice = any(hit.id.startswith(("doubled", "twice")) for hit in best)  # or half: told as that
    return [hit for hit in best if twice and re.fullmatch("factor: .* by 2", hit.id)][:1] or best[:2]
