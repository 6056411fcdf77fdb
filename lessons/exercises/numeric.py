"""The numeric item: a number with its unit, judged apart, with the marks of known errors."""

from __future__ import annotations

import functools
import itertools
import math
import re
import string
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import SimpleNamespace

from labkit.wording import grouped, shown
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.formulas import Fixed, Quantified, tree_of
from lessons.exercises.item import Cell, Hints, Item, KnownError, fill, is_not_sure
from lessons.exercises.judging import EDGE, FOUR_FIGURES, Formula, no_collection
from lessons.exercises.number_judge import NO_SLIP, NumberJudge
from lessons.exercises.on_paper import Form
from lessons.exercises.quantities import TwoReadings, Unit, Unreadable, parse, unit
from lessons.exercises.replies import Judgement, Verdict
from lessons.exercises.slip_kinds import COMMON, SINGLE

# Thousands behind a point, as several countries write them.
POINTED = re.compile(r"(?<![\d.,/*])([1-9]\d{0,2})\.(\d{3})(?![\d.,])")
READ_AS = "Read as "
# Right value and marks of a draw are this far apart, relative to the larger one; counts and sums
# of whole numbers are told apart by less.
APART, APART_WHOLE = 0.06, 0.005


def _read(judged: Judgement, number: str) -> Judgement:
    """Say how a number was read, where that is not what was typed, and was not said."""
    if not number or READ_AS in judged.shows:
        return judged
    return replace(judged, shows=f"{judged.shows} {READ_AS}{number}.".strip())


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
        judged = NumberJudge(self, numbers, str(answer).strip(), earlier).judged(written)
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

    def near_misses(self, numbers: SimpleNamespace) -> list[tuple[float, str]]:
        """Return value and id of each mark and each single slip, as they are tried."""
        judge = NumberJudge(self, numbers)
        return [(value, hit.id) for value, hit in itertools.chain(
            judge.marks(), judge.singles(COMMON, SINGLE))]

    @functools.cached_property
    def told(self) -> frozenset[str]:
        """Names of the numbers that the task tells."""
        fields = string.Formatter().parse(f"{self.case.text} {self.ask}")
        fixed = (name for name, line in self.case.lines.items()
                 if isinstance(tree_of(line, {}), Fixed | Quantified))
        return frozenset((*(name for _, name, _, _ in fields if name), *self.case.numbers, *fixed))

    @functools.cached_property
    def own(self) -> Unit:
        """The unit of the question."""
        return unit(self.unit)

    def is_exact(self, numbers: SimpleNamespace) -> bool:
        """Return whether the right answer is one whole number, to which nobody rounds."""
        if self.exact is not None or self.formula is None:
            return bool(self.exact)
        return self.worked.is_whole_sum(numbers)

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
                 or (value == float(f"{right:.2g}") and not self.is_exact(numbers))]
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
        of_one = (one for one in NumberJudge(self, numbers).singles(COMMON, SINGLE) if one[1].entry == "S02")
        for value, slip in itertools.islice(of_one, 1):
            says = on_board(value, self.unit)
            yield KnownError(f"{value!r} {self.unit}", slip.entry, says,
                             NumberJudge(self, numbers, says).named(value, [slip]).shows)

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


def on_board(value: float, unit: str, *, digits: int = 4) -> str:
    """Return a number as it is written on a board: thousands apart, no power of ten."""
    rounded = float(f"{value:.{digits}g}")
    if 10**digits <= abs(rounded) < 1e12:
        return f"{grouped(rounded, between=' ')} {unit}".strip()
    return f"{value:.{digits}g} {unit}".strip()
