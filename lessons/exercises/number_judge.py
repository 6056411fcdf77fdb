"""How an answer to a numeric question is judged: value and unit apart, and its slip named."""

from __future__ import annotations

import itertools
import math
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from types import SimpleNamespace

from labkit.wording import HOURS_PER_YEAR, shown
from lessons.exercises.far_off import far_off
from lessons.exercises.formulas import NOTHING
from lessons.exercises.item import Cell, fill
from lessons.exercises.judging import EDGE, FOUR_FIGURES, Given, as_given, nearest, place_of
from lessons.exercises.near_misses import ALONE
from lessons.exercises.quantities import Quantity, Unit, unit
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
UNIT_TOO = "Write the number and its unit. Nothing was counted."
SAID = {"1": "a share of one", "a/a": "a share of the year", "%": "the share of the year in per cent"}
# Who left a small term out besides comes out so much beside a usual slip, and knows it for a larger.
BESIDE, SMALL = 0.005, 0.03


def _scale(written: Unit, own: Unit) -> float | None:
    """Return the factor from one unit to the other; None where they measure different things."""
    return written.factor / own.factor if written.kind == own.kind else None


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


class NumberJudge:
    """Judge one answer to a numeric question, or name the slips of the question.

    Parameters
    ----------
    cell : Cell
        The question, a `Numeric`.
    numbers : SimpleNamespace
        Of the draw.
    said : str
        The answer as it was typed.
    earlier : mapping of str to object
        The learner's own values of earlier questions, by their ids.
    """

    def __init__(self, cell: Cell, numbers: SimpleNamespace, said: str = "",
                 earlier: Mapping[str, object] = NOTHING) -> None:
        self.cell, self.numbers, self.said, self.earlier = cell, numbers, said, earlier
        self.own, self.whole, self.right = cell.own, cell.whole, cell.solve(numbers)
        self.exact = cell.is_exact(numbers)

    def judged(self, written: Quantity) -> Judgement:
        """Judge what was read from an answer."""
        own, given, cell = self.own, as_given(written), self.cell
        # "12 failures" and "12 beats" are a number with a name, and with no unit.
        # "1025 a year" is EUR a year, where the question says so.
        per = written.unit and written.unit.text == f"1/{own.text.partition('/')[2]}"
        unit_asked = cell.shows_unit or bool(UNIT_ASKED.search(cell.ask))
        bare = written.bare or bool(per and unit_asked)
        plain = bare and (unit_asked or own.kind == ("", "")
                          or (written.unit is not None and own.kind == ("", "time")))
        scale = 1.0 if bare else _scale(written.unit, own)
        if scale is None:
            return self._of_another_kind(written, given)
        if given.zeros and self.exact and self.right / scale % 1 == 0:  # nobody rounds such a sum
            given = replace(given, half=0.5, zeros=False)
        readings = [given.scaled(scale)]
        if bare and own.text == "%" and abs(given.value) <= 1:
            # "0.0067" and "0.67" are both in use for a share; that which fits is meant.
            readings.append(given.scaled(100.0))
        places = [self._place(each, scale) for each in readings]
        for each, place in zip(readings, places, strict=True):
            if place == "right":
                hit = self._exactly(each)
                if hit is not None:
                    shows = self._filled(f"{{said}} {hit.does} too: give one more figure.")
                    return Judgement(Verdict.NEAR, shows, each.value, slip="figures")
                told = None if bare or scale == 1.0 else self._quantity(
                    written.unit, given, f"as it is given: what is it in {cell.unit!r}?", told=True)
                return told or self._fits(plain or not bare, each.value)
        for each, place in zip(readings, places, strict=True):
            if place == "one figure" and not self._exactly(each):
                return Judgement(Verdict.NEAR, "give one more figure.", each.value, slip="figures")
        near = [each for each, place in zip(readings, places, strict=True) if place == "near"]
        readings = near or readings
        found = (self._marked(each) for each in readings)
        return (next(filter(None, found), None)
                or self._turned_or_whole(readings, scale)
                or self._by_unit_or_slip(readings, given, scale, written, near=bool(near), missing=bare and not plain)
                or self._beside(readings, given, scale)
                or self._far(self._nearest(readings)))

    def _nearest(self, readings: Sequence[Given]) -> Given:
        return min(readings, key=lambda each: abs(each.value - self.right))

    def _turned_or_whole(self, readings: Sequence[Given], scale: float) -> Judgement | None:
        """Judge an answer that leaves nothing to the whole, or has the other sign."""
        if self.whole and any(each.value == self.whole for each in readings):
            return Judgement(Verdict.LOOK_AGAIN, f"{self.said} leaves nothing for the other share: "
                             "was it rounded away, or left out?", self.whole, slip="no rest")
        value = self._nearest(readings).value
        if self._place(readings[0].scaled(-1.0), scale) == "right":
            return Judgement(Verdict.LOOK_AGAIN, f"{self.said} has the other sign: can it be below zero?",
                             value, "S16", slip="sign: all")
        return None

    def _by_unit_or_slip(self, readings: Sequence[Given], given: Given, scale: float, written: Quantity,
                         *, near: bool, missing: bool) -> Judgement | None:
        """Judge one that is right in another unit, comes from a slip, was rounded, or has another's unit."""
        own, typed, value = self.own, scale * self.own.factor, self._nearest(readings).value
        known = (self.cell.unit, *self.cell.other_units(), *(("1/min",) if own.kind == ("", "time") else ()))
        others = {other: unit(other).factor / own.factor for other in known if unit(other).factor != typed}
        if own.kind == ("time", "time"):
            others["%"] = 0.01 / own.factor
        fits = {}  # the first unit in which it is right, and that in which it is near
        for other, ratio in others.items():
            fits.setdefault(self._place(given.scaled(ratio), ratio), other)
        if "right" in fits:
            return self._other_unit(given, value, typed, fits["right"], written, missing)
        for each in readings:
            back = [one for one in self.singles(SINGLE, DOUBLE) if "clock back" in one[1].id]
            judged = ((written.spread or scale < 1) and self._by(each, back)
                      or self._slipped(each, COMMON, CELL, SINGLE))
            if judged:
                return judged
        if near:
            found = filter(None, map(self._rare, readings))
            return next(found, Judgement(
                Verdict.NEAR, "something was rounded on the way. Carry more figures.",
                readings[0].value, slip="rounded on the way"))
        if "near" in fits:
            return self._other_unit(given, value, typed, fits["near"], written, missing)
        if scale != 1.0:
            alone = NumberJudge(self.cell, self.numbers, self.said)
            judged = alone._marked(given) or self._slipped(given, COMMON)
            if judged is not None:
                return replace(judged, verdict=Verdict.UNIT, slip=f"{judged.slip}; unit: {self.cell.unit}",
                               shows=f"{judged.shows} And the number belongs to {self.cell.unit}.")
        return next(filter(None, map(self._rare, readings)), None)

    def _beside(self, readings: Sequence[Given], given: Given, scale: float) -> Judgement | None:
        """Judge an answer that is a part of a count, a quotient, or another cell's."""
        value = self._nearest(readings).value
        if self.cell.exact and self.right == round(self.right) and value % 1:
            if abs(value - self.right) < 1:
                return Judgement(Verdict.LOOK_AGAIN, f"{self.said} is no whole number: is the next one up "
                                 "or down enough?", value, "S05", slip="no whole number")
            judged = self._slipped(Given(math.ceil(value), 0.0), COMMON, SINGLE)
            if judged is not None:
                return judged
        quotient = scale != 1.0 and given.half < 0.05 * given.value and self._alone(given, "quotient:")
        return quotient or self._slipped(given, OTHER_CELL)

    def _far(self, given: Given) -> Judgement:
        """Say how far off an answer is that no slip gives."""
        value, right, whole = given.value, self.right, self.whole
        left = whole and whole - value
        if left and 0 < left < value:
            rung, words = far_off(left, whole - right, given.half, most=0.06)
            if rung == "power of ten" and value >= 0.9 * whole:
                power = round(math.log10(left / (whole - right)))
                many = {1: "one nine", 2: "two nines"}.get(abs(power), f"{abs(power)} nines")
                shows = f"{self.said} has {many} too {'few' if power > 0 else 'many'}: how many stand in a row?"
                return Judgement(Verdict.LOOK_AGAIN, shows, value, "S01", slip="count of nines")
            words = f"leaves {left:.3g} {self.cell.unit} to {shown(whole)} {self.cell.unit}. That {words}"
        elif self.own.text == "%" and value > 100 >= right:
            rung, words = "more than all", "is more than the whole"
        else:
            rung, words = far_off(value, right, given.half)
        return Judgement(Verdict.LOOK_AGAIN, f"{self.said} {words}.", value, slip=f"far: {rung}")

    def _other_unit(self, given: Given, value: float, typed: float, other: str,
                    written: Quantity, missing: bool) -> Judgement:
        """Judge a number that belongs in front of another unit."""
        shows = f"the number fits {SAID.get(other, other)}, and "
        if missing:
            return Judgement(Verdict.NEAR, f"{shows}the unit is missing.", given.value, score=0.5,
                             slip=f"unit: {other}", next_step=UNIT_TOO)
        ratio = typed / unit(other).factor
        times = f"{shown(round(max(ratio, 1 / ratio), 3))} times too {'much' if ratio > 1 else 'little'}"
        said = written.unit.text if written.unit and written.unit.text else self.cell.unit
        return Judgement(Verdict.UNIT, f"{shows}not {said}. That is {times}.", value, UNIT_SLIP,
                         score=0.5, slip=f"unit: {other}")

    def _fits(self, whole: bool, value: float) -> Judgement:
        if not whole:
            return Judgement(Verdict.NEAR, "the number is right, and the unit is missing.", value,
                             score=0.5, slip="no unit", next_step=UNIT_TOO)
        then = "Does the size make sense? Tick the range below." if self.cell.rough else None
        return Judgement(Verdict.RIGHT, fill(self.cell.reason, self.numbers), value, score=1.0,
                         next_step=then)

    def _quantity(self, theirs: Unit, given: Given, then: str, *, told: bool = False
                  ) -> Judgement | None:
        """Judge an answer that is a quantity of the question, or one `told` there in this unit."""
        for name, its, value in self.cell.worked.quantities(self.numbers) if self.cell.formula is not None else ():
            scale = _scale(theirs, its)
            if scale is not None and (not told or scale == 1.0 and name in self.cell.told) and abs(
                    given.value * scale - value) <= max(given.half * scale, EDGE * abs(value)):
                shows = f"{{said}} is {self.cell.worked.slips.names.words(name)}, {then}"
                return Judgement(Verdict.UNIT, self._filled(shows), given.value,
                                 "S13", slip=f"for the end: {name}")
        return None

    def _place(self, given: Given, scale: float = 1.0) -> str:
        """Return where an answer stands, whose unit is `scale` of the unit of the question."""
        there = self.right / scale
        exact = self.exact and abs(there - round(there)) <= EDGE * abs(there)
        return place_of(given, self.right, one=self.whole, exact=exact, tolerance=self.cell.tolerance)

    # ------------------------------------------------------------ slips

    def _exactly(self, given: Given) -> Hit | None:
        """Return a usual slip that gives this very number, where the right value does not.

        Zeros at the end of a whole number are taken for figures of a quantity that is given, and
        two figures that a given has too are those of the given.
        """
        right = self.right
        many = abs(given.value) >= 199 * given.half and not given.zeros
        if many or abs(given.value - right) <= EDGE * abs(right):
            return None
        one = abs(given.value) < 19.9 * given.half
        kind = " for the end" if given.zeros else "" if one else "given for the end:"
        return next((hit for value, hit in itertools.chain(self.marks(), self.singles(COMMON))
                     if abs(given.value - value) <= EDGE * abs(value) and kind in hit.id), None)

    def _marked(self, given: Given) -> Judgement | None:
        """Judge an answer that a mark gives, or that follows from an earlier one."""
        # A mark may be worked as roughly as the question allows.
        rough = replace(given, half=max(given.half, self.cell.tolerance * abs(given.value)))
        judged = self._by(given, self.marks(), read=rough)
        if judged is not None:
            # What is this very number goes before what gives all its digits, and that before a mark
            # that is near.
            ranks = [[*self.marks()], *([*self.singles(*each)] for each in ((COMMON, CELL), (SINGLE,)))]
            exact = ([one for one in rank
                      if abs(given.value - one[0]) <= half + EDGE * abs(given.value)]
                     for half in (0.0, *[given.half / 10] * given.zeros, given.half)
                     for rank in ranks[:2 if half else 3])
            return self._by(given, next(filter(None, exact), ())) or judged
        own_earlier = self.earlier.get(self.cell.follows) if self.cell.follows else None
        if own_earlier is not None:
            follows = self.cell.solve_from(self.numbers, own_earlier)
            if place_of(given, follows, one=self.whole, exact=False, tolerance=self.cell.tolerance) \
                    in ("right", "one figure"):
                # What two figures leave open may have been called right in the step before.
                near = abs(follows - self.right) <= 0.05 * abs(follows)
                shows = ("this step is right with your earlier value. Carry more figures of it." if near
                         else "this step is right with your earlier value. The earlier one needs a "
                              "second look.")
                return Judgement(Verdict.FOLLOWS, shows, given.value, score=0.5)
        return None

    def _by(self, given: Given, candidates: Iterable[tuple[float, Hit]], *, read: Given | None = None,
            pairs: bool = False, most: int | None = None) -> Judgement | None:
        """Judge an answer by the slips among these that are nearest to it, or to what is read."""
        hits = nearest(read or given, candidates, pairs=pairs, right=self.right, one=self.whole)
        return self.named(given.value, hits[:most]) if hits else None

    def _slipped(self, given: Given, *ranks: int) -> Judgement | None:
        """Judge an answer that a slip of these ranks gives, one rank after the other.

        Zeros at its end are taken for figures first.
        """
        exactly = [replace(given, half=given.half / 10, zeros=False)] * given.zeros
        found = (self._by(given, self.singles(rank), read=read)
                 for read in (*exactly, given) for rank in ranks)
        return next(filter(None, found), None)

    def _alone(self, given: Given, kinds: str | tuple[str, ...] = ALONE, *, alone: bool = True
               ) -> Judgement | None:
        """Judge what two quantities give, worked with nothing else; or one quantity more."""
        found = (one for one in self.singles(EXTRA) if one[1].id.startswith(kinds) is alone
                 and one[1].id.startswith("carry") is (kinds == "carry"))
        return self._by(given, found, pairs=True, most=1)

    def _rare(self, given: Given) -> Judgement | None:
        """Judge an answer that a rare slip gives, or two at a time; a rough one in words is neither."""
        right, rough = self.right, not self.exact and given.value == float(f"{given.value:.1g}")
        if self._place(given) == "near" or rough and 0.7 < given.value / right < 1.4:
            return None
        rung, words = far_off(given.value, right, given.half) if given.value else ("", "")
        if rung == "power of ten" and " 1 place " in words and not self.cell.complement:
            return Judgement(Verdict.LOOK_AGAIN, f"{self.said} {words}.", given.value, slip=f"far: {rung}")
        size = abs(given.value) if self.whole is None else abs(self.whole - given.value)
        loose = replace(given, half=max(given.half, BESIDE * size))
        common = [*self.marks(), *self.singles(COMMON)]
        factors = [one for one in self.singles(SINGLE, EXTRA)
                   if one[1].id.startswith(("factor", "one factor", "one divisor"))]
        judged = (self._alone(given, "quotient: 8760")
                  or self._alone(given, alone=False)
                  or self._alone(given)
                  or self._by(given, common, read=loose, most=1)
                  or self._by(given, factors, read=loose, most=1, pairs=20 * given.half >= abs(given.value))
                  or self._by(given, self._with_unit_slips(), pairs=True, most=1))
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
                    return self.named(given.value, [replace(hits[0], does=hits[0].does + also)])
        return (self._by(given, self._doubles(given.value), pairs=True, most=1)
                or self._alone(given, "carry"))

    def named(self, value: float, hits: Sequence[Hit]) -> Judgement:
        """Say from which slip an answer may come, or from which two."""
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
        shows = self._filled(shows, steps=not first.question)
        return Judgement(Verdict.LOOK_AGAIN, shows, value, first.entry,
                         slip=" or ".join(hit.id for hit in (first, *others)))

    def _filled(self, template: str, *, steps: bool = True) -> str:
        """Fill a sentence; the numbers of steps are left out of those that were made."""
        known = self.cell.worked.known(self.numbers) if self.cell.formula else vars(self.numbers)
        for name in set(re.findall(r"\{(\w+)\}", template)) - {"said"}:
            # A step would tell what another place asks, or the result; a hint may.
            if name not in self.cell.told and isinstance(known[name], int | float) and (
                    steps or shown(known[name]) == shown(self.right)):
                template = re.sub(rf" \((?:EUR )?\{{{name}\}}[^)]*\)|(?: of|,) (?:EUR )?\{{{name}\}}"
                                  rf"{UNIT_SAID}|\{{{name}\}} ", "", template)
            elif isinstance(known[name], float) and len(exact := f"{known[name]:.6g}") < 7 \
                    and "e" not in exact and float(exact) == known[name] < 1e3:
                template = template.replace(f"{{{name}}}", exact)  # 99.99 is not to read as 100
        return fill(template, SimpleNamespace(**known | {"said": self.said}))

    def marks(self) -> Iterator[tuple[float, Hit]]:
        """Yield the values of the marks."""
        for place, mark in enumerate(self.cell.fingerprints, 1):
            yield mark.value(self.numbers), Hit(f"mark {place}: {mark.misconception or 'own'}",
                                           mark.misconception, "", "", mark.question)

    def singles(self, *ranks: int) -> Iterator[tuple[float, Hit]]:
        """Yield the values of single slips of some ranks, one rank after the other."""
        for place, part in self.cell.beside:
            if (CELL if part.unit == self.cell.unit else OTHER_CELL) in ranks:
                yield part.solve(self.numbers), Hit(f"other cell: {place}", "S12", f"comes out for {place}",
                                               "which cell is this")
        if self.cell.formula is not None:
            for rank in ranks:
                yield from self.cell.worked.of_rank(rank, self.numbers) if rank > CELL else ()

    def _doubles(self, near: float) -> Iterator[tuple[float, Slip]]:
        if self.cell.formula is not None:
            slips = self.cell.worked.slips
            pairs = slips.double(near, self.right,
                                 dict(self.cell.worked.valued(slips.single, self.numbers)))
            for slip, value in self.cell.worked.valued(pairs, self.numbers):
                yield value, slip

    def _with_unit_slips(self) -> Iterator[tuple[float, Hit]]:
        """Yield what a mark or a usual slip gives in another unit."""
        ratios = {other: self.own.factor / unit(other).factor for other in self.cell.other_units()}
        lines = (one for one in self.singles(EXTRA) if re.fullmatch("other line: [^,]*", one[1].id))
        for value, hit in itertools.chain(self.marks(), self.singles(COMMON), lines):
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
        return self.cell.worked.slips.names.unit_of(re.split(": |;", hit.id)[1]).kind == ("time", "")

    def _of_another_kind(self, written: Quantity, given: Given) -> Judgement:
        """Judge an answer whose unit measures something else."""
        own, said, theirs = self.own, self.said, written.unit
        asked = f"{theirs.text!r} is in another currency than {self.cell.unit}" if own.kind[0] == "money" \
            and theirs.kind[0].startswith("money ") else f"{theirs.text!r} does not measure {_in_words(own.kind)}"
        as_number = None
        turned = theirs.kind == own.kind[::-1] and written.number != 0
        if turned:
            value = 1 / (written.number * theirs.factor * own.factor)
            half = abs(value * given.half / written.number)
            if self._place(Given(value, half)) == "right":
                asks = TURNED.get(own.kind, f"what is {_in_words(own.kind)}?")
                return Judgement(Verdict.LOOK_AGAIN, f"{said} is the result turned over: {asks}",
                                 value, "S03", slip="turned over: all")
        share = _share_of_a_year(theirs, own)
        if theirs.kind == ("", "") and own.kind == ("", "time") and theirs.factor < 1:
            # 14.6 % is 0.146, where a number would do.
            asked = f"it stands without {theirs.text!r}"
            alone = NumberJudge(self.cell, self.numbers, said)
            as_number = alone.judged(replace(written, number=written.number * theirs.factor, unit=own))
            named = as_number.slip and not as_number.slip.startswith((*NO_SLIP, "factor")) \
                and self._place(given) != "right"
            if named or as_number.verdict is Verdict.RIGHT:
                return as_number
        if share is not None:
            amount = given.scaled(share)
            if self._place(amount) in ("right", "one figure"):
                return Judgement(Verdict.UNIT, f"the amount is right, and {asked}.",
                                 written.number, score=0.5, slip="share of a year")
            rest = replace(amount, value=1 / own.factor - amount.value)
            if self._place(rest) == "right":
                return Judgement(Verdict.UNIT, f"{said} is the other part of the year, and {asked}.",
                                 written.number, "S04", slip="complement: all")
        if self._place(given) == "right":
            return Judgement(Verdict.UNIT, f"the number is right, and {asked}.", written.number,
                             score=0.5, slip="kind of unit")
        if (judged := self._quantity(theirs, given, f"and {asked}.")) is not None:
            return judged
        readings = [Given(value, half)] if turned else [amount] if share is not None else []
        for reading in (*readings, given):
            usual = itertools.chain(self.marks(), self.singles(COMMON))
            judged = self._by(given, usual, read=reading)
            if judged is not None:
                return replace(judged, shows=f"{judged.shows} And {asked}.")
        if share is not None:
            rung, words = far_off(amount.value, self.right, amount.half)
            return Judgement(Verdict.UNIT, f"{said} of the year {words}, and {asked}.",
                             written.number, slip=f"far: {rung}")
        return as_number or Judgement(Verdict.UNIT, f"{asked}.", written.number, slip="kind of unit")


def _also(hit: Hit, key: str, words: str) -> Hit:
    """Return a slip with a second one on top of it."""
    more = {"question": f"{hit.question} And it is {words}."} if hit.question else {
        "does": f"{hit.does}, {words}"}
    return replace(hit, id=f"{hit.id}; {key}", **more)
