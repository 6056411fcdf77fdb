"""The numeric item: a number with its unit, judged apart, with the marks of known errors."""

from __future__ import annotations

import functools
import itertools
import math
import re
import string
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from types import SimpleNamespace

from labkit.wording import HOURS_PER_YEAR, grouped, shown
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.far_off import far_off
from lessons.exercises.formulas import Fixed, Quantified, tree_of
from lessons.exercises.item import Cell, Hints, Item, KnownError, fill, is_not_sure
from lessons.exercises.judging import (
    EDGE,
    FOUR_FIGURES,
    Formula,
    Given,
    as_given,
    nearest,
    no_collection,
    place_of,
)
from lessons.exercises.near_misses import ALONE
from lessons.exercises.on_paper import Form
from lessons.exercises.quantities import Quantity, TwoReadings, Unit, Unreadable, parse, unit
from lessons.exercises.replies import STOP_HERE, Judgement, Verdict
from lessons.exercises.slip_kinds import COMMON, DOUBLE, EXTRA, SINGLE, Hit, Slip

UNIT_SLIP = "S01"
UNIT_SAID = r"(?: (?:min|h|ms|s|d|a year|a day|an hour|a|L/s|L|Ω|%|m²|m)(?![\w/]))?"
# A question that names its unit is answered by the number.
UNIT_ASKED = re.compile(r"\bHow many\b|\bin EUR\b")
NO_SLIP = ("far: ", "kind of unit", "figures", "rounded")
CELL, OTHER_CELL = 0, -1
"""Ranks of what belongs in another cell, and in one of another unit."""
TURNED = {("time", ""): "how long is it from one to the next?", ("", "time"): "how often is that?"}
# Thousands behind a point, as several countries write them.
POINTED = re.compile(r"(?<![\d.,/*])([1-9]\d{0,2})\.(\d{3})(?![\d.,])")
READ_AS = "Read as "
UNIT_TOO = "Write the number and its unit. Nothing was counted."
SAID = {"1": "a share of one", "a/a": "a share of the year", "%": "the share of the year in per cent"}
# Right value and marks of a draw are this far apart, relative to the larger one; counts and sums
# of whole numbers are told apart by less.
APART, APART_WHOLE = 0.06, 0.005
# Who left a small term out besides comes out so much beside a usual slip, and knows it for a larger.
BESIDE, SMALL = 0.005, 0.03


def _scale(written: Unit, own: Unit) -> float | None:
    """Return the factor from one unit to the other; None where they measure different things."""
    return written.factor / own.factor if written.kind == own.kind else None


def _read(judged: Judgement, number: str) -> Judgement:
    """Say how a number was read, where that is not what was typed, and was not said."""
    if not number or READ_AS in judged.shows:
        return judged
    return replace(judged, shows=f"{judged.shows} {READ_AS}{number}.".strip())


def _share_of_a_year(written: Unit, own: Unit) -> float | None:
    """Return the factor between a share of the time and a time in a year; None for others."""
    if {written.kind, own.kind} == {("", ""), ("time", "time")}:
        return written.factor / own.factor
    if (written.kind, own.kind) == (("time", ""), ("", "")) and own.text:
        return written.factor / HOURS_PER_YEAR / own.factor
    return None


def _in_words(kind: tuple[str, str]) -> str:
    words = {("time", ""): "a time", ("time", "time"): "a time per year",
             ("", "time"): "a number per time", ("", ""): "a share"}
    return words.get(kind, " per ".join(filter(None, kind)))


@dataclass(frozen=True)
class Fingerprint:
    """The value that a known error gives, and the question that it deserves.

    Parameters
    ----------
    misconception : str or None
        Identifier in the register.
    value : callable
        From the numbers of the case to the wrong value, in the unit of the item.
    question : str
        Template: what the value is, and a question against a number.
    """

    misconception: str | None
    value: Callable[[SimpleNamespace], float]
    question: str


@dataclass(frozen=True)
class Rough:
    """A rough bound, ticked after a right answer: does the size make sense?

    Parameters
    ----------
    low, high : float
        Limits in ``unit``; the right value may lie below, between or above them.
    unit : str
        Unit of the limits, which may differ from that of the answer.
    why : str
        Template: one sentence that gives the bound by another way.
    """

    low: float
    high: float
    unit: str
    why: str


@dataclass(frozen=True)
class Numeric(Item, Cell):
    """Ask for a number with its unit, as an item or in a cell of a table.

    Parameters
    ----------
    id, title, objective, case, ask
        As in `Item`.
    unit : str
        Unit of the result.
    solve : callable
        From the numbers to the right value in ``unit``.
    reason : str
        Template: one sentence that says why the right answer is right.
    hints : Hints
        The ladder.
    fingerprints : tuple of Fingerprint
        Values of known errors.
    tolerance : float
        Relative; limits inclusive. Only where the question says how near will do; otherwise right
        is what rounds to the value.
    shows_unit : bool
        True where the box shows the unit, so that a bare number is accepted.
    complement : bool
        True for an availability: what is judged is its distance from one, so that 99.99 % and
        99.98 % differ by a factor of two and not by 0.01 %.
    rough : Rough or None
        The question of size that follows a right answer.
    follows : str or None
        Identifier of an earlier item whose value this one builds on.
    solve_from : callable or None
        From the numbers and the learner's own earlier value (in the unit of that item) to the
        value that follows from it.
    formula : callable or None
        Returns the value as a formula, whose slips are known; None for a value of another make.
    exact : bool or None
        True for a count, False where rounding will do; None where the formula says it: a sum of
        whole numbers is exact.

    >>> from lessons.exercises.item import Case
    >>> item = Numeric(
    ...     "00-demo", "Demo", "", Case("demo", numbers={"mttr_h": (4.0,)}), "How long?", "h",
    ...     lambda n: n.mttr_h, "It says so.", Hints("", "", ""))
    >>> numbers = next(item.case.draws(0))
    >>> item.judge("240 min", numbers, 0, {}).verdict
    <Verdict.RIGHT: 'Right'>
    """

    DIGESTED = (*Item.DIGESTED, "unit", "shows_unit", "tolerance")

    unit: str
    solve: Callable[[SimpleNamespace], float]
    reason: str
    hints: Hints
    fingerprints: tuple[Fingerprint, ...] = ()
    tolerance: float = 0.0
    shows_unit: bool = False
    complement: bool = False
    rough: Rough | None = None
    follows: str | None = None
    solve_from: Callable[[SimpleNamespace, float], float] | None = None
    formula: Callable[[], Formula] | None = None
    exact: bool | None = None
    beside: tuple[tuple[str, Numeric], ...] = ()
    """The other places of its table, and the numbers that belong there."""

    def numeric_parts(self) -> tuple[Numeric, ...]:
        """Return itself."""
        return (self,)

    def among(self, cells: Mapping[tuple[str, str], Cell]) -> Numeric:
        """Return it with the other cells of its table that ask for a number."""
        parts = ((place, part) for place, cell in cells.items() for part in cell.numeric_parts())
        return replace(self, beside=tuple((" / ".join(place), part) for place, part in parts
                                          if part is not self))

    def form(self, numbers: SimpleNamespace, seed: int) -> list[str]:
        """Return how to answer."""
        if self.shows_unit:
            return [f"Answer: a number in {self.unit}."]
        return ["Answer: a number with its unit." if self.unit else "Answer: a number."]

    points = 2
    """One for the value, one for its unit, as the judging has it."""

    def on_paper(self, numbers: SimpleNamespace, seed: int) -> Form:
        """Return the place for a number; its unit stands there where the screen shows it too."""
        return Form(unit=self.unit if self.shows_unit else "")

    def marked_by(self, numbers: SimpleNamespace, seed: int) -> tuple[str, ...]:
        """Return the value as on a board, and what is taken with three figures and with two."""
        (value,) = self.key_lines(numbers)
        spans = (self.taken(numbers, figures) for figures in (3, 2))
        said = [" to ".join(dict.fromkeys(span)) for span in spans if span]
        written = value.removesuffix(f" {self.unit}").replace(" ", "")
        taken = [each for each in dict.fromkeys(said)
                 if " to " in each or float(each) != float(written)]
        return (f"{value} ({'; '.join(taken)})" if taken else value,)

    def _figured(self, right: float) -> float:
        """Return the size of what the figures are of: of an availability its distance from one."""
        return abs(right if self.whole is None else self.whole - right) or 1.0

    def taken(self, numbers: SimpleNamespace, figures: int) -> tuple[str, str] | None:
        """Return the least and the greatest answer of so many figures that is judged right.

        None where so few figures are not enough.
        """
        right = self.solve(numbers)
        last = math.floor(math.log10(self._figured(right))) + 1 - figures
        step, least = 10.0**last, round(right / 10.0**last)

        def written(place: int) -> str:
            return f"{place * step:.{max(-last, 0)}f}"

        def is_right(place: int) -> bool:
            said = f"{written(place)} {self.unit}"
            return self.judge(said, numbers, 0, {}).verdict is Verdict.RIGHT

        if not is_right(least):
            return None
        most = least
        while is_right(least - 1):
            least -= 1
        while is_right(most + 1):
            most += 1
        return written(least), written(most)

    def takes(self) -> str:
        """Return the unit of what stands in a cell."""
        return f"a number in {self.unit}"

    def entry(self, place: str, said: str):
        """Return the control of a cell."""
        from ipywidgets import Layout, Text

        return Text(said, placeholder=f"in {self.unit}", tooltip=place, layout=Layout(width="auto"))

    def control(self) -> type:
        """Return the class of its controls."""
        from lessons.exercises.item_controls import NumericControl

        return NumericControl

    @no_collection()
    def judge_given(self, answer: object, numbers: SimpleNamespace, seed: int,
                    earlier: Mapping[str, object]) -> Judgement:
        """Judge an answer: value and unit apart, errors named, own earlier values followed."""
        if isinstance(answer, bool) or not isinstance(answer, (str, int, float)):
            return Judgement(Verdict.UNCLEAR, "one text is expected, such as '12 min'.")
        if is_not_sure(answer):
            return Judgement(Verdict.NOT_SURE)
        try:
            said = answer if isinstance(answer, str) else repr(float(answer))
            written = parse(said, self.own)
        except TwoReadings as problem:
            return self._that_fits(said, problem, numbers, earlier)
        except OverflowError:
            return Judgement(Verdict.UNCLEAR, "the number is too large.")
        except Unreadable as problem:
            return Judgement(Verdict.UNCLEAR, f"{problem}. Write one number and its unit.")
        judged = self._judge_value(str(answer).strip(), written, numbers, earlier)
        if judged.verdict is not Verdict.RIGHT and POINTED.search(said):  # 43.800 h
            again = self.judge_given(POINTED.sub(r"\1\2", said), numbers, seed, earlier)
            if again.verdict is Verdict.RIGHT:
                whole = shown(float(POINTED.search(said)[0]) * 1000, 6)
                return _read(again, whole)
        return _read(judged, written.read_as)

    def _that_fits(self, said: str, problem: TwoReadings, numbers: SimpleNamespace,
                   earlier: Mapping[str, object]) -> Judgement:
        """Take the reading that is right, or comes from a slip; else ask which one is meant."""
        judged = {reading: self.judge_given(said.replace(problem.text, reading), numbers, 0, earlier)
                  for reading in problem.readings}
        fit = [one for one in judged.items() if one[1].verdict is Verdict.RIGHT] or [
            one for one in judged.items() if one[1].slip and not one[1].slip.startswith(NO_SLIP)]
        if len(fit) != 1:
            return Judgement(Verdict.UNCLEAR, f"{problem}. Write one number and its unit.")
        [(reading, found)] = fit
        shows, reads, read_as = found.shows.partition(READ_AS)
        found = replace(found, shows=shows.replace(reading, problem.text) + reads + read_as)
        return _read(found, shown(float(reading), 6))

    def _judge_value(self, said: str, written: Quantity, numbers: SimpleNamespace,
                     earlier: Mapping[str, object]) -> Judgement:
        own, right = self.own, self.solve(numbers)
        given = as_given(written)
        # "12 failures" and "12 beats" are a number with a name, and with no unit.
        # "1025 a year" is EUR a year, where the question says so.
        per = own.kind[0] and written.unit and written.unit.text == f"1/{own.text.partition('/')[2]}"
        bare = written.bare or bool(per and (self.shows_unit or UNIT_ASKED.search(self.ask)))
        plain = bare and (self.shows_unit or own.kind == ("", "") or bool(UNIT_ASKED.search(self.ask))
                          or (written.unit is not None and own.kind == ("", "time")))
        scale = 1.0 if bare else _scale(written.unit, own)
        if scale is None:
            return self._of_another_kind(said, written, given, numbers)
        if given.zeros and self._exact(numbers) and right / scale % 1 == 0:  # nobody rounds such a sum
            given = replace(given, half=0.5, zeros=False)
        readings = [given.scaled(scale)]
        if bare and own.text == "%" and abs(given.value) <= 1:
            # "0.0067" and "0.67" are both in use for a share; that which fits is meant.
            readings.append(given.scaled(100.0))
        places = [self._place(each, right, numbers, scale) for each in readings]
        for each, place in zip(readings, places, strict=True):
            also = self._exactly(each, numbers) if place == "right" else None
            if also is not None:
                shows = self._filled(f"{{said}} {also.does} too: give one more figure.", numbers, said)
                return Judgement(Verdict.NEAR, shows, each.value, slip="figures")
            if place == "right":
                told = None if bare or scale == 1.0 else self._quantity(
                    said, written.unit, given, numbers, f"as it is given: what is it in {self.unit!r}?",
                    told=True)
                return told or self._fits(plain or not bare, each.value, numbers)
        for each, place in zip(readings, places, strict=True):
            if place == "one figure" and not self._exactly(each, numbers):
                return Judgement(Verdict.NEAR, "give one more figure.", each.value, slip="figures")
        readings = [each for each, place in zip(readings, places, strict=True)
                    if place == "near"] or readings
        for each in readings:
            judged = self._marked(said, each, numbers, earlier)
            if judged is not None:
                return judged
        if self.whole and any(each.value == self.whole for each in readings):
            return Judgement(Verdict.LOOK_AGAIN, f"{said} leaves nothing for the other share: "
                             "was it rounded away, or left out?", self.whole, slip="no rest")
        nearest_one = min(readings, key=lambda each: abs(each.value - right))
        value = nearest_one.value
        if value * right < 0 and self._place(readings[0].scaled(-1.0), right, numbers, scale) == "right":
            return Judgement(Verdict.LOOK_AGAIN, f"{said} has the other sign: can it be below zero?",
                             value, "S16", slip="sign: all")
        typed = scale * own.factor
        known = (self.unit, *self.other_units(), *(("1/min",) if own.kind == ("", "time") else ()))
        others = {other: unit(other).factor / own.factor for other in known if unit(other).factor != typed}
        if own.kind == ("time", "time"):
            others["%"] = 0.01 / own.factor
        fits = {other: self._place(given.scaled(ratio), right, numbers, ratio)
                for other, ratio in others.items()}
        for enough, slips in (("right", (COMMON, CELL, SINGLE)), ("near", ())):
            other = next((other for other, place in fits.items() if place == enough), None)
            if other is not None and not (enough == "near" and "near" in places):
                return self._other_unit(given, value, typed, other, written, bare and not plain)
            for each in readings:
                back = [one for one in self._singles(numbers, SINGLE, DOUBLE) if "clock back" in one[1].id]
                judged = (written.spread or scale < 1) and self._by(
                    said, each, back, numbers) or self._slipped(said, each, numbers, *slips) if slips else \
                    self._rare(said, each, numbers, right)
                if judged is not None:
                    return judged
        if "near" in places:
            return Judgement(Verdict.NEAR, "something was rounded on the way. Carry more figures.",
                             readings[0].value, slip="rounded on the way")
        if scale != 1.0:  # the unit of another number
            judged = (self._marked(said, given, numbers, {})
                      or self._slipped(said, given, numbers, COMMON))
            if judged is not None:
                return replace(judged, verdict=Verdict.UNIT, slip=f"{judged.slip}; unit: {self.unit}",
                               shows=f"{judged.shows} And the number belongs to {self.unit}.")
        if self.exact and right == round(right) and value % 1:
            if abs(value - right) < 1:
                return Judgement(Verdict.LOOK_AGAIN, f"{said} is no whole number: is the next one up "
                                 "or down enough?", value, "S05", slip="no whole number")
            judged = self._slipped(said, Given(math.ceil(value), 0.0), numbers, COMMON, SINGLE)
            if judged is not None:
                return judged
        judged = scale != 1.0 and given.half < 0.05 * given.value and self._alone(
            said, given, numbers, "quotient:") or self._slipped(said, given, numbers, OTHER_CELL)
        if judged:
            return judged
        left = self.whole and self.whole - value
        if left and 0 < left < value:
            rung, words = far_off(left, self.whole - right, nearest_one.half, most=0.06)
            if rung == "power of ten" and value >= 0.9 * self.whole:
                power = round(math.log10(left / (self.whole - right)))
                many = {1: "one nine", 2: "two nines"}.get(abs(power), f"{abs(power)} nines")
                way = "few" if power > 0 else "many"
                return Judgement(Verdict.LOOK_AGAIN,
                                 f"{said} has {many} too {way}: how many stand in a row?",
                                 value, "S01", slip="count of nines")
            words = f"leaves {left:.3g} {self.unit} to {shown(self.whole)} {self.unit}. That {words}"
        elif own.text == "%" and value > 100 >= right:
            rung, words = "more than all", "is more than the whole"
        else:
            rung, words = far_off(value, right, nearest_one.half)
        return Judgement(Verdict.LOOK_AGAIN, f"{said} {words}.", value, slip=f"far: {rung}")

    def _other_unit(self, given: Given, value: float, typed: float, other: str,
                    written: Quantity, missing: bool) -> Judgement:
        """Judge a number that belongs in front of another unit."""
        shows = f"the number fits {SAID.get(other, other)}, and "
        if missing:
            return Judgement(Verdict.NEAR, f"{shows}the unit is missing.", given.value, score=0.5,
                             slip=f"unit: {other}", next_step=UNIT_TOO)
        ratio = typed / unit(other).factor
        times = f"{shown(round(max(ratio, 1 / ratio), 3))} times too {'much' if ratio > 1 else 'little'}"
        said = written.unit.text if written.unit and written.unit.text else self.unit
        return Judgement(Verdict.UNIT, f"{shows}not {said}. That is {times}.", value, UNIT_SLIP,
                         score=0.5, slip=f"unit: {other}")

    def _fits(self, whole: bool, value: float, numbers: SimpleNamespace) -> Judgement:
        if not whole:
            return Judgement(Verdict.NEAR, "the number is right, and the unit is missing.", value,
                             score=0.5, slip="no unit", next_step=UNIT_TOO)
        then = "Does the size make sense? Tick the range below." if self.rough else None
        return Judgement(Verdict.RIGHT, fill(self.reason, numbers), value, score=1.0,
                         next_step=then)

    def _quantity(self, said: str, theirs: Unit, given: Given, numbers: SimpleNamespace, then: str,
                  *, told: bool = False) -> Judgement | None:
        """Judge an answer that is a quantity of the question, or one `told` there in this unit."""
        for name, its, value in self.worked.quantities(numbers) if self.formula is not None else ():
            scale = _scale(theirs, its)
            if scale is not None and (not told or scale == 1.0 and name in self._told) and abs(
                    given.value * scale - value) <= max(given.half * scale, EDGE * abs(value)):
                shows = f"{{said}} is {self.worked.slips.names.words(name)}, {then}"
                return Judgement(Verdict.UNIT, self._filled(shows, numbers, said), given.value,
                                 "S13", slip=f"for the end: {name}")
        return None

    def _place(self, given: Given, right: float, numbers: SimpleNamespace, scale: float) -> str:
        """Return where an answer stands, whose unit is `scale` of the unit of the question."""
        there = right / scale
        exact = self._exact(numbers) and abs(there - round(there)) <= EDGE * abs(there)
        return place_of(given, right, one=self.whole, exact=exact, tolerance=self.tolerance)

    def _exact(self, numbers: SimpleNamespace) -> bool:
        if self.exact is not None or self.formula is None:
            return bool(self.exact)
        return self.worked.is_whole_sum(numbers)

    # ------------------------------------------------------------ slips

    def _exactly(self, given: Given, numbers: SimpleNamespace) -> Hit | None:
        """Return a usual slip that gives this very number, where the right value does not.

        Zeros at the end of a whole number are taken for figures of a quantity that is given, and
        two figures that a given has too are those of the given.
        """
        right = self.solve(numbers)
        many = abs(given.value) >= 199 * given.half and not given.zeros
        if many or abs(given.value - right) <= EDGE * abs(right):
            return None
        one = abs(given.value) < 19.9 * given.half
        kind = " for the end" if given.zeros else "" if one else "given for the end:"
        return next((hit for value, hit in itertools.chain(self._marks(numbers),
                                                           self._singles(numbers, COMMON))
                     if abs(given.value - value) <= EDGE * abs(value) and kind in hit.id), None)

    def _marked(self, said: str, given: Given, numbers: SimpleNamespace,
                earlier: Mapping[str, object]) -> Judgement | None:
        """Judge an answer that a mark gives, or that follows from an earlier one."""
        # A mark may be worked as roughly as the question allows.
        rough = replace(given, half=max(given.half, self.tolerance * abs(given.value)))
        judged = self._by(said, given, self._marks(numbers), numbers, read=rough)
        if judged is not None:
            # What is this very number goes before what gives all its digits, and that before a mark
            # that is near.
            ranks = [[*self._marks(numbers)], *([*self._singles(numbers, *each)]
                                                for each in ((COMMON, CELL), (SINGLE,)))]
            exact = ([one for one in rank
                      if abs(given.value - one[0]) <= half + EDGE * abs(given.value)]
                     for half in (0.0, *[given.half / 10] * given.zeros, given.half)
                     for rank in ranks[:2 if half else 3])
            return self._by(said, given, next(filter(None, exact), ()), numbers) or judged
        own_earlier = earlier.get(self.follows) if self.follows else None
        if own_earlier is not None:
            follows = self.solve_from(numbers, own_earlier)
            if place_of(given, follows, one=self.whole, exact=False, tolerance=self.tolerance) \
                    in ("right", "one figure"):
                # What two figures leave open may have been called right in the step before.
                near = abs(follows - self.solve(numbers)) <= 0.05 * abs(follows)
                shows = ("this step is right with your earlier value. Carry more figures of it." if near
                         else "this step is right with your earlier value. The earlier one needs a "
                              "second look.")
                return Judgement(Verdict.FOLLOWS, shows, given.value, score=0.5)
        return None

    def _by(self, said: str, given: Given, candidates: Iterable[tuple[float, Hit]],
            numbers: SimpleNamespace, *, read: Given | None = None, pairs: bool = False,
            most: int = 2) -> Judgement | None:
        """Judge an answer by the slips among these that are nearest to it, or to what is read."""
        hits = nearest(read or given, candidates, pairs=pairs, right=self.solve(numbers),
                       one=self.whole)
        return self._named(said, given.value, hits[:most], numbers) if hits else None

    def _slipped(self, said: str, given: Given, numbers: SimpleNamespace, *ranks: int
                 ) -> Judgement | None:
        """Judge an answer that a slip of these ranks gives, one rank after the other.

        Zeros at its end are taken for figures first.
        """
        exactly = [replace(given, half=given.half / 10, zeros=False)] * given.zeros
        found = (self._by(said, given, self._singles(numbers, rank), numbers, read=read)
                 for read in (*exactly, given) for rank in ranks)
        return next(filter(None, found), None)

    def _alone(self, said: str, given: Given, numbers: SimpleNamespace,
               kinds: str | tuple[str, ...] = ALONE, *, alone: bool = True) -> Judgement | None:
        """Judge what two quantities give, worked with nothing else; or one quantity more."""
        found = (one for one in self._singles(numbers, EXTRA) if one[1].id.startswith(kinds) is alone
                 and one[1].id.startswith("carry") is (kinds == "carry"))
        return self._by(said, given, found, numbers, pairs=True, most=1)

    def _rare(self, said: str, given: Given, numbers: SimpleNamespace, right: float
              ) -> Judgement | None:
        """Judge an answer that a rare slip gives, or two at a time; a rough one in words is neither."""
        rough = not self._exact(numbers) and given.value == float(f"{given.value:.1g}")
        if self._place(given, right, numbers, 1.0) == "near" or rough and 0.7 < given.value / right < 1.4:
            return None
        rung, words = far_off(given.value, right, given.half) if given.value else ("", "")
        if rung == "power of ten" and " 1 place " in words and not self.complement:
            return Judgement(Verdict.LOOK_AGAIN, f"{said} {words}.", given.value, slip=f"far: {rung}")
        size = abs(given.value) if self.whole is None else abs(self.whole - given.value)
        loose = replace(given, half=max(given.half, BESIDE * size))
        common = [*self._marks(numbers), *self._singles(numbers, COMMON)]
        factors = [one for one in self._singles(numbers, SINGLE, EXTRA)
                   if one[1].id.startswith(("factor", "one factor", "one divisor"))]
        judged = (self._alone(said, given, numbers, "quotient: 8760")
                  or self._alone(said, given, numbers, alone=False)
                  or self._alone(said, given, numbers)
                  or self._by(said, given, common, numbers, read=loose, most=1)
                  or self._by(said, given, factors, numbers, read=loose, most=1, pairs=20 * given.half >= abs(given.value))
                  or self._by(said, given, self._with_unit_slips(numbers), numbers, pairs=True, most=1))
        if judged is not None:
            return judged
        for value, small in common if self.whole is None else ():
            if not small.question and FOUR_FIGURES / 2 < abs(value / right - 1) < SMALL:
                read = given.scaled(right / value)
                hits = nearest(read, [*factors, *common], pairs=True, right=right)
                rung, words = far_off(read.value, right, read.half) if given.value else ("", "")
                if not hits and rung == "power of ten":
                    hits = [Hit(f"far: {rung}", None, words, "where does it belong")]
                if hits:
                    also = f", and {small.does.removeprefix('comes out ')}"
                    return self._named(said, given.value, [
                        replace(hits[0], does=hits[0].does + also)], numbers)
        return (self._by(said, given, self._doubles(given.value, numbers), numbers, pairs=True, most=1)
                or self._alone(said, given, numbers, "carry"))

    def _named(self, said: str, value: float, hits: Sequence[Hit], numbers: SimpleNamespace
               ) -> Judgement:
        # What could hurt somebody goes first.
        hits = {(hit.does, hit.question): hit for hit in hits}.values()  # none twice
        first, *others = sorted(hits, key=lambda hit: not hit.question.startswith(STOP_HERE))
        if first.question:
            shows = first.question
        elif others and not others[0].question and not first.id.startswith("factor"):
            also = others[0].does
            also = also.removeprefix("comes out ") if first.does.startswith("comes out ") else f"it {also}"
            also = re.sub("^(?=is |has |writes )", "it ", also)
            shows = f"{{said}} {first.does}. Or {also}: which one is it?"
        else:
            shows = f"{{said}} {first.does}: {first.asks}?"
        shows = self._filled(shows, numbers, said, steps=not first.question)
        return Judgement(Verdict.LOOK_AGAIN, shows, value, first.entry,
                         slip=" or ".join(hit.id for hit in (first, *others)))

    def _filled(self, template: str, numbers: SimpleNamespace, said: str, *,
                steps: bool = True) -> str:
        """Fill a sentence; the numbers of steps are left out of those that were made."""
        known = self.worked.known(numbers) if self.formula else vars(numbers)
        for name in set(re.findall(r"\{(\w+)\}", template)) - {"said"}:
            # A step would tell what another place asks, or the result; a hint may.
            if name not in self._told and isinstance(known[name], int | float) and (
                    steps or shown(known[name]) == shown(self.solve(numbers))):
                template = re.sub(rf" \((?:EUR )?\{{{name}\}}[^)]*\)|(?: of|,) (?:EUR )?\{{{name}\}}"
                                  rf"{UNIT_SAID}|\{{{name}\}} ", "", template)
            elif isinstance(known[name], float) and len(exact := f"{known[name]:.6g}") < 7 \
                    and "e" not in exact and float(exact) == known[name] < 1e3:
                template = template.replace(f"{{{name}}}", exact)  # 99.99 is not to read as 100
        return fill(template, SimpleNamespace(**known | {"said": said}))

    def _marks(self, numbers: SimpleNamespace) -> Iterator[tuple[float, Hit]]:
        for place, mark in enumerate(self.fingerprints, 1):
            yield mark.value(numbers), Hit(f"mark {place}: {mark.misconception or 'own'}",
                                           mark.misconception, "", "", mark.question)

    def _singles(self, numbers: SimpleNamespace, *ranks: int) -> Iterator[tuple[float, Hit]]:
        for place, part in self.beside:
            if (CELL if part.unit == self.unit else OTHER_CELL) in ranks:
                yield part.solve(numbers), Hit(f"other cell: {place}", "S12", f"comes out for {place}",
                                               "which cell is this")
        if self.formula is not None:
            for rank in ranks:
                yield from self.worked.of_rank(rank, numbers) if rank > CELL else ()

    def _doubles(self, near: float, numbers: SimpleNamespace) -> Iterator[tuple[float, Slip]]:
        if self.formula is not None:
            slips = self.worked.slips
            pairs = slips.double(near, self.solve(numbers),
                                 dict(self.worked.valued(slips.single, numbers)))
            for slip, value in self.worked.valued(pairs, numbers):
                yield value, slip

    def _with_unit_slips(self, numbers: SimpleNamespace) -> Iterator[tuple[float, Hit]]:
        """Yield what a mark or a usual slip gives in another unit."""
        ratios = {other: self.own.factor / unit(other).factor for other in self.other_units()}
        lines = (one for one in self._singles(numbers, EXTRA) if re.fullmatch("other line: [^,]*", one[1].id))
        for value, hit in itertools.chain(self._marks(numbers), self._singles(numbers, COMMON), lines):
            # A time that is taken for the end is one time, and none a year.
            taken = hit.id.startswith(("given for", "line for"))
            once = taken and self._is_once(hit)
            told = replace(hit, does=re.sub("^is ", "has the number of ", hit.does)) if taken else hit
            for other, ratio in ratios.items():
                said = other.partition("/")[0] if once else other
                words = f"counted {f'as {SAID[said]}' if said in SAID and said != '%' else f'in {said}'}"
                yield value * ratio, _also(told, f"unit: {other}", words)
            if self.own.text == "%" and value < 100:
                yield 100 - value, _also(hit, "rest", "taken from 100 %")
            yield 2 * value, _also(hit, "twice", "doubled")
            if hit.id.startswith(("given for", "line for", "power lost")):
                yield value / 2, _also(hit, "half", "halved")

    def _is_once(self, hit: Hit) -> bool:
        measured = self.worked.slips.names.unit_of(re.split(": |;", hit.id)[1])
        return measured is not None and measured.kind == ("time", "")

    def near_misses(self, numbers: SimpleNamespace) -> list[tuple[float, str]]:
        """Return value and id of each mark and each single slip, as they are tried."""
        return [(value, hit.id) for value, hit in itertools.chain(
            self._marks(numbers), self._singles(numbers, COMMON, SINGLE))]

    # ------------------------------------------------------------ units

    def _of_another_kind(self, said: str, written: Quantity, given: Given,
                         numbers: SimpleNamespace) -> Judgement:
        """Judge an answer whose unit measures something else."""
        own, right, theirs = self.own, self.solve(numbers), written.unit
        asked = f"{theirs.text!r} is in another currency than {self.unit}" if own.kind[0] == "money" \
            and theirs.kind[0].startswith("money ") else f"{theirs.text!r} does not measure {_in_words(own.kind)}"
        as_number = None
        turned = theirs.kind == own.kind[::-1] and written.number != 0
        if turned:
            value = 1 / (written.number * theirs.factor * own.factor)
            half = abs(value * given.half / written.number)
            if self._place(Given(value, half), right, numbers, 1.0) == "right":
                asks = TURNED.get(own.kind, f"what is {_in_words(own.kind)}?")
                return Judgement(Verdict.LOOK_AGAIN, f"{said} is the result turned over: {asks}",
                                 value, "S03", slip="turned over: all")
        share = _share_of_a_year(theirs, own)
        if theirs.kind == ("", "") and own.kind == ("", "time") and theirs.factor < 1:
            # 14.6 % is 0.146, where a number would do.
            asked = f"it stands without {theirs.text!r}"
            as_number = self._judge_value(said, replace(
                written, number=written.number * theirs.factor, unit=own), numbers, {})
            named = as_number.slip and not as_number.slip.startswith((*NO_SLIP, "factor")) \
                and self._place(given, right, numbers, 1.0) != "right"
            if named or as_number.verdict is Verdict.RIGHT:
                return as_number
        if share is not None:
            amount = given.scaled(share)
            if self._place(amount, right, numbers, 1.0) in ("right", "one figure"):
                return Judgement(Verdict.UNIT, f"the amount is right, and {asked}.",
                                 written.number, score=0.5, slip="share of a year")
            rest = replace(amount, value=1 / own.factor - amount.value)
            if self._place(rest, right, numbers, 1.0) == "right":
                return Judgement(Verdict.UNIT, f"{said} is the other part of the year, and {asked}.",
                                 written.number, "S04", slip="complement: all")
        if self._place(given, right, numbers, 1.0) == "right":
            return Judgement(Verdict.UNIT, f"the number is right, and {asked}.", written.number,
                             score=0.5, slip="kind of unit")
        if (judged := self._quantity(said, theirs, given, numbers, f"and {asked}.")) is not None:
            return judged
        readings = [Given(value, half)] if turned else [amount] if share is not None else []
        for reading in (*readings, given):
            usual = itertools.chain(self._marks(numbers), self._singles(numbers, COMMON))
            judged = self._by(said, given, usual, numbers, read=reading)
            if judged is not None:
                return replace(judged, shows=f"{judged.shows} And {asked}.")
        if share is not None:
            rung, words = far_off(amount.value, right, amount.half)
            return Judgement(Verdict.UNIT, f"{said} of the year {words}, and {asked}.",
                             written.number, slip=f"far: {rung}")
        return as_number or Judgement(Verdict.UNIT, f"{asked}.", written.number, slip="kind of unit")

    @functools.cached_property
    def _told(self) -> frozenset[str]:
        """Names of the numbers that the task tells."""
        fields = string.Formatter().parse(f"{self.case.text} {self.ask}")
        fixed = (name for name, line in self.case.lines.items()
                 if isinstance(tree_of(line, {}), Fixed | Quantified))
        return frozenset((*(name for _, name, _, _ in fields if name), *self.case.numbers, *fixed))

    @functools.cached_property
    def own(self) -> Unit:
        """The unit of the question."""
        return unit(self.unit)

    @functools.cached_property
    def worked(self) -> Formula:
        """The formula, made when it is first needed."""
        return self.formula()

    @property
    def whole(self) -> float | None:
        """What counts is what is left to this; None where the value itself counts."""
        return 1 / self.own.factor if self.complement else None

    def other_units(self) -> list[str]:
        """Return the other units of the same kind that people write."""
        above, below = self.own.kind
        tops = {"time": ("a", "d", "h", "min", "s", "ms"), "": ("1", "%")}.get(above, ())
        units = [top if not below else f"{top}/a" for top in tops]
        if (above, below) == ("", "time"):
            units = ["1/a", "1/d", "1/h"]
        return [name for name in units if unit(name).factor != self.own.factor]

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where right value and marks lie well apart, and no unit makes one another."""
        right, apart = self.solve(numbers), APART_WHOLE if self.exact else APART
        values = [right, *(mark.value(numbers) for mark in self.fingerprints)]
        if self.complement:
            values = [self.whole - value for value in values]
        else:
            values += [right * self.own.factor / unit(other).factor
                       for other in self.other_units()]
        return self.met(numbers) <= self._met_at_the_plant and all(
            abs(a - b) > apart * max(abs(a), abs(b))
            for i, a in enumerate(values)
            for b in values[:i]
        )

    @functools.cached_property
    def _met_at_the_plant(self) -> frozenset[str]:
        return self.met(next(self.case.draws(0)))

    def met(self, numbers: SimpleNamespace) -> frozenset[str]:
        """Return the ids of givens, and of slips inside the tolerance, that would be called right.

        A term so small that the tolerance lets it be left out is no slip.
        """
        if self.formula is None:
            return frozenset()
        right, slips = self.solve(numbers), self.worked.slips.given
        found = [slip.id for slip, value in self.worked.valued(slips, numbers)
                 if abs(value - right) <= FOUR_FIGURES * abs(right)
                 or (value == float(f"{right:.2g}") and not self._exact(numbers))]
        slips = (slip for slip in self.worked.slips.usual if slip.rank == COMMON
                 and not slip.id.startswith("left out of the sum")) if self.tolerance else ()
        found += [slip.id for slip, value in self.worked.valued(slips, numbers)
                  if EDGE < abs(value / right - 1) <= self.tolerance]
        return frozenset(found)

    def right_answer(self, numbers: SimpleNamespace) -> str:
        """Return the value and its unit."""
        return f"{self.solve(numbers)!r} {self.unit}"

    def key_lines(self, numbers: SimpleNamespace) -> tuple[str, ...]:
        """Return the value as it is written on a board; of an availability what is left to one."""
        right, digits = self.solve(numbers), 4
        if self.whole is not None:
            digits += max(math.floor(math.log10(right / self._figured(right))), 0)
        return (on_board(right, self.unit, digits=digits),)

    def known_errors(self, numbers: SimpleNamespace) -> Iterator[KnownError]:
        """Yield the values of the marks, and of one case where a year is asked."""
        for mark in self.fingerprints:
            value = mark.value(numbers)
            yield KnownError(f"{value!r} {self.unit}", mark.misconception,
                             on_board(value, self.unit), fill(mark.question, numbers))
        of_one = (one for one in self._singles(numbers, COMMON, SINGLE) if one[1].entry == "S02")
        for value, slip in itertools.islice(of_one, 1):
            says = on_board(value, self.unit)
            yield KnownError(f"{value!r} {self.unit}", slip.entry, says,
                             self._named(says, value, [slip], numbers).shows)

    def asked_next(self) -> tuple[Choice, ...]:
        """Return the question of size, where there is one."""
        return (self.size_item(),) if self.rough else ()

    def size_item(self) -> Choice:
        """Return the question of size as an item of its own."""
        if self.rough is None:
            raise ValueError(f"rough must be given for a question of size, {self.id} has none")
        rough, scale = self.rough, unit(self.unit).factor / unit(self.rough.unit).factor
        names = {
            "below": f"below {shown(rough.low)} {rough.unit}",
            "between": f"{shown(rough.low)} to {shown(rough.high)} {rough.unit}",
            "above": f"above {shown(rough.high)} {rough.unit}"}

        def place(numbers: SimpleNamespace) -> int:
            value = self.solve(numbers) * scale
            return (value > rough.low) + (value > rough.high)

        options = tuple(
            Option(key=key, text=text, reply=rough.why, question=f"Does your result lie {text}?",
                   right=lambda numbers, index=index: place(numbers) == index)
            for index, (key, text) in enumerate(names.items()))
        return Choice(
            id=f"{self.id}.size", title="Does the size make sense?", objective=self.objective,
            case=replace(self.case, text=""), ask="Tick the range in which the result must lie.",
            options=options, hints=Hints(rough.why, rough.why, rough.why), in_order=True)


def _also(hit: Hit, key: str, words: str) -> Hit:
    """Return a slip with a second one on top of it."""
    more = {"question": f"{hit.question} And it is {words}."} if hit.question else {
        "does": f"{hit.does}, {words}"}
    return replace(hit, id=f"{hit.id}; {key}", **more)


def on_board(value: float, unit: str, *, digits: int = 4) -> str:
    """Return a number as it is written on a board: thousands apart, no power of ten."""
    rounded = float(f"{value:.{digits}g}")
    if 10**digits <= abs(rounded) < 1e12:
        return f"{grouped(rounded, between=' ')} {unit}".strip()
    return f"{value:.{digits}g} {unit}".strip()
