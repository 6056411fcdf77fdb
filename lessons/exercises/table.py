"""The table item: cells that are picked, calculated, or written freely and rated by oneself."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from types import SimpleNamespace

from labkit.wording import capital
from lessons.exercises.choosing import meant
from lessons.exercises.item import LETTERS, Cell, Hints, Item, KnownError, fill
from lessons.exercises.on_paper import Form, Grid
from lessons.exercises.replies import Judgement, Verdict


@dataclass(frozen=True)
class Pick(Cell):
    """A cell filled from a short list.

    Parameters
    ----------
    options : tuple of str
        What may be picked.
    right : callable
        From the numbers to the right one of them, computed by the model.
    questions : mapping
        From a wrong option to (misconception, question) for it.

    >>> Pick(("on", "off"), lambda n: "on").judge("ON", SimpleNamespace(), 0, {}).verdict
    <Verdict.RIGHT: 'Right'>
    """

    DIGESTED = ("options", "right")

    options: tuple[str, ...]
    right: Callable[[SimpleNamespace], str]
    questions: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    beside: tuple[Callable[[SimpleNamespace], str], ...] = ()
    """What is right in the other cells of its table that are picked."""

    def among(self, cells: Mapping[tuple[str, str], Cell]) -> Pick:
        """Return it with the other cells of its table that are picked."""
        return replace(self, beside=tuple(cell.right for cell in cells.values()
                                          if isinstance(cell, Pick) and cell is not self))

    def judge_given(self, answer: object, numbers: SimpleNamespace, seed: int,
                    earlier: Mapping[str, object]) -> Judgement:
        """Judge what was picked, or written by a part that one option alone has."""
        picked = meant(str(answer), dict(zip(self.options, self.options, strict=True))) or \
            self._only_one_with(str(answer))
        if picked is None:
            return Judgement(Verdict.UNCLEAR, f"one of {'; '.join(self.options)} is expected.")
        if picked == self.right(numbers):
            return Judgement(Verdict.RIGHT, value=picked, score=1.0)
        elsewhere = any(right(numbers) == picked for right in self.beside)
        misconception, question = self.questions.get(picked, (
            None, f"'{picked}' belongs to another cell of this table. What is asked here?"
            if elsewhere else f"'{picked}' belongs to no cell of this table. What is asked here?"))
        return Judgement(Verdict.LOOK_AGAIN, fill(question, numbers), picked, misconception)

    def _only_one_with(self, said: str) -> str | None:
        """Return the option that has these letters, or these words, or begins with them."""
        said = re.sub(r"[\s-]", "", said).casefold()
        close = {option: re.sub(r"[\s-]", "", option).casefold() for option in self.options}
        words = {option: re.split(r"[\W_]+", option.casefold()) for option in self.options}
        for fits in (lambda option: close[option] == said,
                     lambda option: said in words[option] or (len(said) > 2 and said in close[option]),
                     lambda option: close[option].startswith(said)):
            found = [option for option in self.options if fits(option)]
            if found:
                return found[0] if len(found) == 1 else None
        return None

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where the right option is one of those offered."""
        return self.right(numbers) in self.options

    def right_answer(self, numbers: SimpleNamespace) -> str:
        """Return the right one of the list."""
        return self.right(numbers)

    def known_errors(self, numbers: SimpleNamespace) -> Iterator[KnownError]:
        """Yield the wrong options for which there is a question."""
        for wrong, (misconception, _) in self.questions.items():
            if wrong != self.right(numbers):
                yield KnownError(wrong, misconception)

    def on_paper(self, numbers: SimpleNamespace, seed: int) -> Form:
        """Return the list to pick from, in an order that has nothing to do with the answers."""
        return Form(self._sorted())

    def marked_by(self, numbers: SimpleNamespace, seed: int) -> tuple[str, ...]:
        """Return letter and text of the right one."""
        right = self.right(numbers)
        return (f"{LETTERS[self._sorted().index(right)]}) {right}",)

    def _sorted(self) -> tuple[str, ...]:
        return tuple(sorted(self.options, key=lambda text: (not text.isdigit(), text.lower())))

    def takes(self) -> str:
        """Return the list to pick from."""
        return ", ".join(self.options)

    def entry(self, place: str, said: str):
        """Return a list to open; what is no longer in it stays open."""
        from ipywidgets import Dropdown, Layout

        options = [("choose", ""), *((text, text) for text in self.options)]
        return Dropdown(options=options, value=said if said in self.options else "", tooltip=place,
                        layout=Layout(width="auto", max_width="320px"))


@dataclass(frozen=True)
class Free(Cell):
    """A cell of free text: kept, shown beside a model answer, rated by the learner.

    Parameters
    ----------
    model : str
        Template of a model answer.
    criteria : tuple of str
        Three criteria for the self-rating.

    >>> Free("Ask the store.", ("who", "where", "when")).judge(
    ...     "I ask.", SimpleNamespace(), 0, {}).verdict
    <Verdict.NOTED: 'Noted'>
    """

    DIGESTED = ("criteria",)
    own_words = True
    points = 0

    model: str
    criteria: tuple[str, str, str]

    def judge_given(self, answer: object, numbers: SimpleNamespace, seed: int,
                    earlier: Mapping[str, object]) -> Judgement:
        """Note a free text; it is never marked."""
        return Judgement(Verdict.NOTED, fill(self.model, numbers), str(answer).strip())

    def right_answer(self, numbers: SimpleNamespace) -> str:
        """Return the model answer; any other text is noted as well."""
        return fill(self.model, numbers)

    def key_lines(self, numbers: SimpleNamespace) -> tuple[str, ...]:
        """Return the model answer as one among others."""
        return (f"for instance: {fill(self.model, numbers)}",)

    def rated_by(self) -> tuple[str, ...]:
        """Return the criteria."""
        return self.criteria

    def takes(self) -> str:
        """Return that the text is the learner's."""
        return "your own words"

    def entry(self, place: str, said: str):
        """Return a box of some lines."""
        from ipywidgets import Layout, Textarea

        return Textarea(said, placeholder="your own words", tooltip=place, rows=3,
                        layout=Layout(width="auto"))


@dataclass(frozen=True)
class Table(Item):
    """Fill the cells of a table.

    Parameters
    ----------
    id, title, objective, case, ask
        As in `Item`.
    rows, columns : tuple of str
        Headings.
    cells : mapping
        From (row, column), in reading order, to a :class:`.item.Cell` to be filled, or to a text
        that stands there already.
    reason : str
        Template: one sentence for the full table.
    hints : Hints
        The ladder.
    corner : str
        Template: heading of the column of row names.
    kept : bool
        True for a paper that the learner keeps; False for practice.

    >>> from lessons.exercises.item import Case
    >>> item = Table("00-demo", "Demo", "", Case("demo"), "Fill.", ("KF1",), ("power",),
    ...              {("KF1", "power"): Pick(("on", "off"), lambda n: "on")}, "", Hints("", "", ""))
    >>> item.judge({"KF1 / power": "on"}, SimpleNamespace(), 0, {}).verdict
    <Verdict.RIGHT: 'Right'>
    """

    DIGESTED = (*Item.DIGESTED, "rows", "columns", "cells")
    unfinished = "begun"

    rows: tuple[str, ...]
    columns: tuple[str, ...]
    cells: Mapping[tuple[str, str], Cell | str]
    reason: str
    hints: Hints
    corner: str = ""
    kept: bool = True

    def open_cells(self) -> dict[tuple[str, str], Cell]:
        """Return the cells that are to be filled, in reading order."""
        return {place: cell for place, cell in self.cells.items() if not isinstance(cell, str)}

    def numeric_parts(self) -> tuple:
        """Return the cells that ask for a number."""
        return tuple(part for cell in self.open_cells().values() for part in cell.numeric_parts())

    def criteria(self) -> tuple[str, ...]:
        """Return the criteria by which the learner rates the free cells."""
        cells = self.open_cells().values()
        return tuple(dict.fromkeys(text for cell in cells for text in cell.rated_by()))

    def free_texts(self, value: object, numbers: SimpleNamespace) -> tuple[tuple[str, str], ...]:
        """Return the free cells that were filled."""
        filled = value if isinstance(value, Mapping) else {}
        return tuple((_name(place), filled[_name(place)][0])
                     for place, cell in self.open_cells().items()
                     if cell.own_words and _name(place) in filled)

    def form(self, numbers: SimpleNamespace, seed: int) -> list[str]:
        """Return what stands in the cells and what may stand in the open ones."""
        return [
            *(f"{_name(place)}: {fill(cell, numbers)}" for place, cell in self.cells.items()
              if isinstance(cell, str)),
            *(f"{_name(place)}: {cell.takes()}" for place, cell in self.open_cells().items()),
            "Answer: {'row / column': 'what stands there', ...}.",
        ]

    def on_paper(self, numbers: SimpleNamespace, seed: int) -> Form:
        """Return the table: what stands in it, and what is to be filled in."""
        return Form(grid=Grid(fill(self.corner, numbers), self.rows, self.columns, {
            place: fill(cell, numbers) if isinstance(cell, str) else cell.on_paper(numbers, seed)
            for place, cell in self.cells.items()}))

    def marked_by(self, numbers: SimpleNamespace, seed: int) -> tuple[str, ...]:
        """Return what belongs into each cell, own words left out."""
        return tuple(f"{_name(place)}: {line}" for place, cell in self.open_cells().items()
                     for line in cell.marked_by(numbers, seed))

    @property
    def points(self) -> int:
        """One for each cell that is marked."""
        return sum(bool(cell.points) for cell in self.open_cells().values())

    def control(self) -> type:
        """Return the class of its controls."""
        from lessons.exercises.item_controls import TableControl

        return TableControl

    def judge_given(self, answer: object, numbers: SimpleNamespace, seed: int,
                    earlier: Mapping[str, object]) -> Judgement:
        """Judge each cell; the first one that needs a second look gives the question."""
        if not isinstance(answer, Mapping):
            return Judgement(Verdict.UNCLEAR, "a table {'row / column': 'text', ...} is expected.")
        given, names = self._given(answer), [_name(place) for place in self.open_cells()]
        unknown = sorted(set(given) - set(names))
        if unknown:
            return Judgement(Verdict.UNCLEAR, f"{unknown[0]!r} is no open cell of this table. "
                             f"A cell is named by row and column, as in {names[0]!r}.")
        judged = self._judge_cells(given, numbers, seed, earlier)
        marked = {_name(place): judged[_name(place)] for place, cell in self.open_cells().items()
                  if not cell.own_words}
        answered = {n: j for n, j in judged.items() if j.verdict is not Verdict.BLANK}
        if not answered:
            return Judgement(Verdict.BLANK)
        value = {name: (str(given[name]), judged[name].verdict.value) for name in answered}
        right = sum(j.verdict is Verdict.RIGHT for j in marked.values())
        if right == len(marked):
            return Judgement(Verdict.RIGHT, fill(self.reason, numbers), value, score=1.0)
        score = right / len(marked)
        shows = f"{right} of {len(marked)} cells." if right else ""
        verdict = Verdict.PARTLY if right else Verdict.LOOK_AGAIN
        wrong = [n for n, j in marked.items() if j.verdict not in (Verdict.RIGHT, Verdict.BLANK)]
        if not wrong:
            shows = f"{shows} The others are open." if right else "The cells to be marked are open."
            return Judgement(Verdict.PARTLY, shows, value, score=score)
        first = judged[wrong[0]]
        shows += f" Next: {wrong[0]}. {capital(first.shows) if first.shows else ''}"
        return Judgement(verdict, shows.strip().removeprefix("Next: "), value, first.misconception,
                         score)

    def _given(self, answer: Mapping) -> dict[str, object]:
        """Return what was given by the names of cells, of which the column may come first."""
        cells = self.open_cells()
        names = {_name(place[::-1]): _name(place) for place in cells}
        names |= {_name(place): _name(place) for place in cells}
        given = ((_name(place), text) for place, text in answer.items())
        return {names.get(name, name): text for name, text in given}

    def _judge_cells(self, given: Mapping[str, object], numbers: SimpleNamespace, seed: int,
                     earlier: Mapping[str, object]) -> dict[str, Judgement]:
        judged, known = {}, dict(earlier)
        for place, cell in self.open_cells().items():
            name = _name(place)
            judged[name] = cell.judge(given.get(name), numbers, seed, known)
            if isinstance(judged[name].value, float):
                known[getattr(cell, "id", name)] = judged[name].value
        return judged

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where every cell keeps its known errors apart."""
        return all(cell.separated(numbers) for cell in self.open_cells().values())

    def right_answer(self, numbers: SimpleNamespace) -> dict[tuple[str, str], object]:
        """Return the right answer of each cell by its place."""
        return {place: cell.right_answer(numbers) for place, cell in self.open_cells().items()}

    def key_lines(self, numbers: SimpleNamespace) -> tuple[str, ...]:
        """Return what belongs into each cell."""
        return tuple(f"{_name(place)}: {line}" for place, cell in self.open_cells().items()
                     for line in cell.key_lines(numbers))

    def known_errors(self, numbers: SimpleNamespace) -> Iterator[KnownError]:
        """Yield the known errors of each cell, in a table that is right beside it."""
        right = self.right_answer(numbers)
        for place, cell in self.open_cells().items():
            for error in cell.known_errors(numbers):
                yield KnownError({**right, place: error.answer}, error.misconception)

    def afterwards(self, judged: Judgement, numbers: SimpleNamespace, *,
                   settled: bool) -> tuple[str, str]:
        """Return the model answers beside the own words, once the table is settled.

        A model answer may tell what other cells ask for, so it waits for them.
        """
        given = judged.value or {}
        own = {_name(place): cell for place, cell in self.open_cells().items()
               if cell.own_words and _name(place) in given}
        if not own:
            return "", ""
        if not settled:
            return "Your own words are kept; a model answer comes later.", ""
        lines = []
        for name, cell in own.items():
            lines.append(f"{name}. Yours: {given[name][0]}")
            lines.append(f"A model answer: {cell.right_answer(numbers)}")
        lines.append("Rate your own:")
        lines += [f"{place}. {text}" for place, text in enumerate(self.criteria(), 1)]
        lines.append(f"By text: rate({self.id!r}, '1 2'), or 'none'.")
        return "", "\n".join(lines)

    def paper(self, answer: Mapping, numbers: SimpleNamespace) -> str:
        """Return the table as filled, as a piece of paper to keep."""
        given = self._given(answer)
        lines = [f"# {self.title}", "", fill(self.case.text, numbers), ""]
        lines.append("| " + " | ".join([fill(self.corner, numbers), *self.columns]) + " |")
        lines.append("|" + " --- |" * (len(self.columns) + 1))
        for row in self.rows:
            entries = [row]
            for column in self.columns:
                cell = self.cells.get((row, column), "")
                fixed = fill(cell, numbers) if isinstance(cell, str) else None
                entries.append(fixed if fixed is not None else given.get(_name((row, column)), ""))
            lines.append("| " + " | ".join(str(e).replace("|", "/") for e in entries) + " |")
        return "\n".join(lines) + "\n"


def _name(place: object) -> str:
    if isinstance(place, tuple):
        return " / ".join(str(part) for part in place)
    return " / ".join(part.strip() for part in str(place).split("/"))
