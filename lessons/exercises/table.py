"""The table item: cells that are picked, calculated, or written freely and rated by oneself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import SimpleNamespace

from lessons.exercises.item import Case, Hints, Judgement, Verdict, fill, is_blank

__all__ = ["Free", "Pick", "Table"]


@dataclass(frozen=True)
class Pick:
    """A cell filled from a short list.

    Parameters
    ----------
    options : tuple of str
        What may be picked.
    right : callable
        From the numbers to the right one of them, computed by the model.
    questions : mapping
        From a wrong option to (misconception, question) for it.

    Examples
    --------
    >>> Pick(("on", "off"), lambda n: "on").judge("ON", SimpleNamespace(), 0, {}).verdict
    <Verdict.RIGHT: 'Right'>
    """

    options: tuple[str, ...]
    right: Callable[[SimpleNamespace], str]
    questions: Mapping[str, tuple[str, str]] = field(default_factory=dict)

    def judge(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Judge what was picked."""
        if is_blank(answer):
            return Judgement(Verdict.BLANK)
        said = str(answer).strip().lower()
        picked = next((option for option in self.options if option.lower() == said), None)
        if picked is None:
            return Judgement(Verdict.UNCLEAR, f"one of {', '.join(self.options)} is expected.")
        if picked == self.right(numbers):
            return Judgement(Verdict.RIGHT, value=picked, score=1.0)
        misconception, question = self.questions.get(picked, (None, ""))
        return Judgement(Verdict.LOOK_AGAIN, fill(question, numbers), picked, misconception)

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True where the right option is one of those offered."""
        return self.right(numbers) in self.options


@dataclass(frozen=True)
class Free:
    """A cell of free text: kept, shown beside a model answer, rated by the learner.

    Parameters
    ----------
    model : str
        Template of a model answer.
    criteria : tuple of str
        Three criteria for the self-rating.

    Examples
    --------
    >>> Free("Ask the store.", ("who", "where", "when")).judge(
    ...     "I ask.", SimpleNamespace(), 0, {}).verdict
    <Verdict.NOTED: 'Noted'>
    """

    model: str
    criteria: tuple[str, str, str]

    def judge(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Note a free text; it is never marked."""
        if is_blank(answer):
            return Judgement(Verdict.BLANK)
        return Judgement(Verdict.NOTED, fill(self.model, numbers), str(answer).strip())

    def separated(self, numbers: SimpleNamespace) -> bool:
        """Return True: a free text cannot be taken for another."""
        return True


@dataclass(frozen=True)
class Table:
    """Fill the cells of a table.

    Parameters
    ----------
    id, title, objective : str
        Identifier, heading, and the objective that it serves.
    case : Case
        Situation and numbers.
    ask : str
        Template of the question.
    rows, columns : tuple of str
        Headings.
    cells : mapping
        From (row, column) to a :class:`Pick`, a :class:`Free`, a numeric item, or a text that
        stands there already.
    reason : str
        Template: one sentence for the full table.
    hints : Hints
        The ladder.
    corner : str
        Template: heading of the column of row names.
    kept : bool
        True for a paper that the learner keeps; False for practice.

    Examples
    --------
    >>> item = Table("00-demo", "Demo", "", Case("demo"), "Fill.", ("KF1",), ("power",),
    ...              {("KF1", "power"): Pick(("on", "off"), lambda n: "on")}, "", Hints("", "", ""))
    >>> item.judge({"KF1 / power": "on"}, SimpleNamespace(), 0, {}).verdict
    <Verdict.RIGHT: 'Right'>
    """

    id: str
    title: str
    objective: str
    case: Case
    ask: str
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    cells: Mapping[tuple[str, str], object]
    reason: str
    hints: Hints
    corner: str = ""
    kept: bool = True

    def open_cells(self) -> dict[tuple[str, str], object]:
        """Return the cells that are to be filled, in reading order."""
        places = [(row, column) for row in self.rows for column in self.columns]
        return {
            place: self.cells[place]
            for place in places
            if place in self.cells and not isinstance(self.cells[place], str)
        }

    def criteria(self) -> tuple[str, ...]:
        """Return the criteria by which the learner rates the free cells."""
        free = (cell for cell in self.open_cells().values() if isinstance(cell, Free))
        return tuple(dict.fromkeys(text for cell in free for text in cell.criteria))

    def task(self, numbers: SimpleNamespace, seed: int) -> str:
        """Return the task as text, with what may stand in each cell."""
        lines = [fill(self.case.text, numbers), fill(self.ask, numbers)]
        for place, cell in self.cells.items():
            if isinstance(cell, str):
                lines.append(f"{' / '.join(place)}: {fill(cell, numbers)}")
        for place, cell in self.open_cells().items():
            lines.append(f"{' / '.join(place)}: {form_of(cell)}")
        lines.append("Answer: {'row / column': 'what stands there', ...}.")
        return "\n".join(filter(None, lines))

    def judge(
        self, answer: object, numbers: SimpleNamespace, seed: int, earlier: Mapping[str, object]
    ) -> Judgement:
        """Judge each cell; the first one that needs a second look gives the question."""
        if is_blank(answer):
            return Judgement(Verdict.BLANK)
        if not isinstance(answer, Mapping):
            return Judgement(Verdict.UNCLEAR, "a table {'row / column': 'text', ...} is expected.")
        given = {_name(place): text for place, text in answer.items()}
        unknown = sorted(set(given) - {_name(place) for place in self.open_cells()})
        if unknown:
            return Judgement(Verdict.UNCLEAR, f"{unknown[0]!r} is no open cell of this table.")
        judged = self._judge_cells(given, numbers, seed, earlier)
        free = {_name(p) for p, cell in self.open_cells().items() if isinstance(cell, Free)}
        marked = {name: j for name, j in judged.items() if name not in free}
        answered = {n: j for n, j in judged.items() if j.verdict is not Verdict.BLANK}
        if not answered:
            return Judgement(Verdict.BLANK)
        value = {name: (str(given[name]), judged[name].verdict.value) for name in answered}
        right = sum(j.verdict is Verdict.RIGHT for j in marked.values())
        score = right / len(marked) if marked else 1.0
        if right == len(marked):
            return Judgement(Verdict.RIGHT, fill(self.reason, numbers), value, score=1.0)
        shows = f"{right} of {len(marked)} cells."
        wrong = [n for n, j in marked.items() if j.verdict not in (Verdict.RIGHT, Verdict.BLANK)]
        if not wrong:
            return Judgement(Verdict.PARTLY, f"{shows} The others are open.", value, score=score)
        first = judged[wrong[0]]
        shows += f" Next: {wrong[0]}. {first.shows}"
        return Judgement(Verdict.PARTLY, shows.strip(), value, first.misconception, score)

    def _judge_cells(
        self,
        given: Mapping[str, object],
        numbers: SimpleNamespace,
        seed: int,
        earlier: Mapping[str, object],
    ) -> dict[str, Judgement]:
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

    def paper(self, answer: Mapping, numbers: SimpleNamespace) -> str:
        """Return the table as filled, as a piece of paper to keep."""
        given = {_name(place): text for place, text in answer.items()}
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


def form_of(cell: object) -> str:
    """Return in words what a cell takes.

    Parameters
    ----------
    cell : Pick, Free or numeric item
        A cell that is to be filled.

    Returns
    -------
    str
        The list to pick from, the unit, or "your own words".

    Examples
    --------
    >>> form_of(Pick(("on", "off"), lambda n: "on"))
    'on, off'
    """
    if isinstance(cell, Pick):
        return ", ".join(cell.options)
    if isinstance(cell, Free):
        return "your own words"
    return f"a number in {cell.unit}"
