"""The numeric item: a number with its unit, judged apart, with the marks of known errors."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import SimpleNamespace

from labkit.wording import grouped, shown
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.item import Cell, Hints, Item, KnownError, fill, is_not_sure
from lessons.exercises.quantities import Quantity, Unreadable, parse, unit
from lessons.exercises.replies import Judgement, Verdict

__all__ = ["Fingerprint", "Numeric", "Rough"]

# Limits are inclusive; this keeps an answer exactly on a limit from failing by rounding.
EDGE = 1e-9
UNIT_SLIP = "S01"


def _in_words(kind: tuple[str, str]) -> str:
    words = {
        ("time", ""): "a time",
        ("time", "time"): "a time per year",
        ("", "time"): "a number per time",
        ("", ""): "a share",
    }
    return words.get(kind, " per ".join(filter(None, kind)))


@dataclass(frozen=True)
class Fingerprint:
    """The value that a known error gives, and the question that it deserves.

    Parameters
    ----------
    misconception : str
        Identifier in the register.
    value : callable
        From the numbers of the case to the wrong value, in the unit of the item.
    question : str
        Template: what the value is, and a question against a number.
    """

    misconception: str
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
        Relative; limits inclusive.
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
    tolerance: float = 0.02
    shows_unit: bool = False
    complement: bool = False
    rough: Rough | None = None
    follows: str | None = None
    solve_from: Callable[[SimpleNamespace, float], float] | None = None

    def form(self, numbers: SimpleNamespace, seed: int) -> list[str]:
        """Return how to answer."""
        if self.shows_unit:
            return [f"Answer: a number in {self.unit}."]
        return ["Answer: a number with its unit." if self.unit else "Answer: a number."]

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

    def judge_given(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Judge an answer: value and unit apart, errors named, own earlier values followed."""
        if isinstance(answer, bool) or not isinstance(answer, (str, int, float)):
            return Judgement(Verdict.UNCLEAR, "one text is expected, such as '12 min'.")
        if is_not_sure(answer):
            return Judgement(Verdict.NOT_SURE)
        try:
            said = answer if isinstance(answer, str) else repr(float(answer))
            written = parse(said, unit(self.unit))
        except OverflowError:
            return Judgement(Verdict.UNCLEAR, "the number is too large.")
        except Unreadable as problem:
            return Judgement(Verdict.UNCLEAR, f"{problem}. Write one number and its unit.")
        judged = self._judge_value(str(answer).strip(), written, numbers, earlier)
        if not written.read_as:
            return judged
        return replace(judged, shows=f"{judged.shows} Read as {written.read_as}.".strip())

    def _judge_value(
        self,
        said: str,
        written: Quantity,
        numbers: SimpleNamespace,
        earlier: Mapping[str, object],
    ) -> Judgement:
        own = unit(self.unit)
        right = self.solve(numbers)
        # "12 failures" and "12 beats" are a number with a name, and with no unit.
        bare = written.unit is None or not written.unit.text
        plain = bare and (self.shows_unit or own.kind == ("", ""))
        if bare:
            # "0.9999" and "99.99" are both in use for a share; only a share above one is percent.
            share = own.kind == ("", "") and own.text == "%" and abs(written.number) <= 1
            value = written.number * (100 if share else 1)
        elif written.unit.kind == own.kind:
            value = written.value_in(own)
        else:
            value = written.number
        if not bare and written.unit.kind != own.kind:
            asked = f"{written.unit.text!r} does not measure {_in_words(own.kind)}."
            if self._near(written.number, right):
                return Judgement(
                    Verdict.UNIT, f"the number is right, and {asked}", value, score=0.5
                )
            return Judgement(Verdict.UNIT, asked, value)
        if self._near(value, right):
            if plain or not bare:
                then = "Does the size make sense? Tick the range below." if self.rough else None
                return Judgement(
                    Verdict.RIGHT, fill(self.reason, numbers), value, score=1.0, next_step=then)
            return Judgement(
                Verdict.UNIT, "the number is right, and the unit is missing.", value, score=0.5
            )
        for other in (self.unit, *self._other_units()):
            if self._near(unit(other).factor * written.number / own.factor, right):
                shows = (
                    f"the number fits {other}, and the unit is missing."
                    if bare and not plain
                    else f"the number fits {other}, and not {self.unit}."
                    if bare
                    else f"the number fits {other}, and not {written.unit.text}."
                )
                slip = None if bare and not plain else UNIT_SLIP
                return Judgement(Verdict.UNIT, shows, value, slip, score=0.5)
        for mark in self.fingerprints:
            if self._near(value, mark.value(numbers)):
                return Judgement(
                    Verdict.LOOK_AGAIN, fill(mark.question, numbers), value, mark.misconception
                )
        own_earlier = earlier.get(self.follows) if self.follows else None
        if own_earlier is not None and self._near(value, self.solve_from(numbers, own_earlier)):
            return Judgement(
                Verdict.FOLLOWS,
                "this step is right with your earlier value. The earlier one needs a second look.",
                value,
                score=0.5,
            )
        return Judgement(Verdict.LOOK_AGAIN, f"{said} does not fit the numbers of the task.", value)

    def _near(self, value: float, target: float) -> bool:
        if self.complement:
            one = unit("1").factor / unit(self.unit).factor
            value, target = one - value, one - target
        return abs(value - target) <= (self.tolerance + EDGE) * abs(target)

    def _other_units(self) -> list[str]:
        above, below = unit(self.unit).kind
        tops = {"time": ("a", "d", "h", "min", "s", "ms"), "": ("1", "%")}.get(above, ())
        units = [top if not below else f"{top}/a" for top in tops]
        if (above, below) == ("", "time"):
            units = ["1/a", "1/d", "1/h"]
        return [name for name in units if unit(name).factor != unit(self.unit).factor]

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where right value and errors lie more than 3 tolerances apart."""
        right = self.solve(numbers)
        values = [right, *(mark.value(numbers) for mark in self.fingerprints)]
        if self.complement:
            one = unit("1").factor / unit(self.unit).factor
            values = [one - value for value in values]
        else:
            own = unit(self.unit).factor
            values += [right * own / unit(other).factor for other in self._other_units()]
        return all(
            abs(a - b) > 3 * self.tolerance * max(abs(a), abs(b))
            for i, a in enumerate(values)
            for b in values[:i]
        )

    def right_answer(self, numbers: SimpleNamespace) -> str:
        """Return the value and its unit."""
        return f"{self.solve(numbers)!r} {self.unit}"

    def key_lines(self, numbers: SimpleNamespace) -> tuple[str, ...]:
        """Return the value as it is written on a board."""
        return (on_board(self.solve(numbers), self.unit, digits=8 if self.complement else 4),)

    def known_errors(self, numbers: SimpleNamespace) -> Iterator[KnownError]:
        """Yield the values of the fingerprints."""
        for mark in self.fingerprints:
            value = mark.value(numbers)
            yield KnownError(f"{value!r} {self.unit}", mark.misconception,
                             on_board(value, self.unit), fill(mark.question, numbers))

    def asked_next(self) -> tuple[Choice, ...]:
        """Return the question of size, where there is one."""
        return (self.size_item(),) if self.rough else ()

    def size_item(self) -> Choice:
        """Return the question of size as an item of its own."""
        if self.rough is None:
            raise ValueError(f"rough must be given for a question of size, {self.id} has none")
        rough, scale = self.rough, unit(self.unit).factor / unit(self.rough.unit).factor
        names = (
            f"below {shown(rough.low)} {rough.unit}",
            f"{shown(rough.low)} to {shown(rough.high)} {rough.unit}",
            f"above {shown(rough.high)} {rough.unit}",
        )

        def place(numbers: SimpleNamespace) -> int:
            value = self.solve(numbers) * scale
            return (value > rough.low) + (value > rough.high)

        options = tuple(
            Option(
                key=key,
                text=text,
                right=lambda numbers, index=index: place(numbers) == index,
                reply=rough.why,
                question=f"Does your result lie {text}?",
            )
            for index, (key, text) in enumerate(
                zip(("below", "between", "above"), names, strict=True)
            )
        )
        return Choice(
            id=f"{self.id}.size",
            title="Does the size make sense?",
            objective=self.objective,
            case=replace(self.case, text=""),
            ask="Tick the range in which the result must lie.",
            options=options,
            hints=Hints(rough.why, rough.why, rough.why),
            in_order=True,
        )


def on_board(value: float, unit: str, *, digits: int = 4) -> str:
    """Return a number as it is written on a board: thousands apart, no power of ten."""
    rounded = float(f"{value:.{digits}g}")
    if 10**digits <= abs(rounded) < 1e12:
        return f"{grouped(rounded, between=' ')} {unit}".strip()
    return f"{value:.{digits}g} {unit}".strip()
