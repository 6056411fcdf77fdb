"""Count how long a lesson takes, and write it into its head.

    python -m tests.minutes [lesson ...]

Nobody was timed. A section is counted from what stands in it: words to read, questions to answer,
code to follow, panels to use, each with a least and a most (`AT_MOST`, `READ`). What a text marks as
*Further* is counted apart: it and the cells up to the next text do not belong to the core.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import NamedTuple

import nbformat

from lessons.exercises.lookup import lesson_of
from lessons.exercises.table import Table
from lessons.teaching.lesson_file import BY_CHOICE, NotebookCell
from tests.notebooks import lessons, stored_text
from tests.prose import is_answer

__all__ = ["FURTHER", "Minutes", "contents", "head_line", "minutes_of", "write_minutes"]

FURTHER = "*Further.*"
READ = (180.0, 110.0)
"""Words a minute, of a quick and of a slow reader."""
MINUTES = {"Numeric": (1.5, 3.0), "Choice": (0.6, 1.5), "Order": (1.0, 2.0),
           "Prediction": (1.5, 3.0), "Drill": (6.0, 12.0)}
A_CELL_OF_A_TABLE, A_WORKED_STEP, A_PANEL, A_RECALL = (0.3, 0.6), (0.7, 1.5), (1.5, 4.0), (2.0, 4.5)
PROBLEMS = (8.0, 20.0)
CODE, LINES = (0.3, 0.6), (40.0, 20.0)
"""What an open cell takes beside its lines, and how many lines are followed in a minute."""


class Minutes(NamedTuple):
    """Least and most."""

    least: float = 0.0
    most: float = 0.0

    def plus(self, other: tuple[float, float]) -> Minutes:
        """Return both together."""
        return Minutes(self.least + other[0], self.most + other[1])

    @property
    def mean(self) -> int:
        """The middle as a whole number, at least 1 where there is anything."""
        return max(1, round((self.least + self.most) / 2)) if self.most else 0


def _of_item(lesson, name: str) -> Minutes:
    chain = next((each for each in lesson.chains if each.id == name), None)
    asked = [name] if chain is None else [step.item for step in chain.steps if step.item]
    found = Minutes() if asked else Minutes(*A_WORKED_STEP)
    for each in asked:
        item = lesson.item(each)
        kind = type(item).__name__
        cells = len(item.open_cells()) if isinstance(item, Table) else 0
        found = found.plus(MINUTES[kind] if not cells else
                           (cells * A_CELL_OF_A_TABLE[0], cells * A_CELL_OF_A_TABLE[1]))
    return found


def _of_cell(cell: nbformat.NotebookNode, number: str) -> Minutes:
    if cell.cell_type == "markdown":
        text = re.sub(r"^\|.*$", "", cell.source, flags=re.MULTILINE)
        words = sum(bool(re.search(r"\w", token)) for token in text.split())
        return Minutes(words / READ[0], words / READ[1])
    if "recall(" in cell.source:
        return Minutes(*A_RECALL)
    lesson, found = lesson_of(f"{number}-"), Minutes()
    named = NotebookCell("code", cell.source).items
    for name in named:
        # Until two in a row fit takes three draws or so; a drill on the plant is done once.
        again = 3 if name == f"{number}-drill" and "ask(" in cell.source else 1
        for _ in range(again):
            found = found.plus(_of_item(lesson, name))
    if re.search(r"_panel\b", cell.source) and "drill_panel" not in cell.source:
        found = found.plus(A_PANEL)
    if is_answer(cell.source):
        found = found.plus(PROBLEMS)
    if not cell.metadata.get("jupyter"):
        lines = len(cell.source.splitlines())
        found = found.plus((CODE[0] + lines / LINES[0], CODE[1] + lines / LINES[1]))
    return found


def minutes_of(notebook: nbformat.NotebookNode, number: str) -> dict[str, tuple[Minutes, Minutes]]:
    """Return core and further minutes of each section, in order."""
    found: dict[str, tuple[Minutes, Minutes]] = {}
    section, further = "", False
    for cell in notebook.cells[1:]:
        if cell.cell_type == "markdown":
            section = ([section] + re.findall(r"^## (.+?)\s*$", cell.source, re.MULTILINE))[-1]
            further = FURTHER in cell.source
        core, more = found.get(section, (Minutes(), Minutes()))
        took = _of_cell(cell, number)
        found[section] = (core, more.plus(took)) if further else (core.plus(took), more)
    return found


def contents(counted: dict[str, tuple[Minutes, Minutes]]) -> str:
    """Return the table of sections with their minutes, core and further together."""
    rows = ["| Section | Minutes |", "| --- | --- |"]
    for section, (core, more) in counted.items():
        whole = core.plus(more)
        told = f"{core.mean + more.mean} min"
        if round(whole.most) > round(whole.least):
            told += f" ({round(whole.least)} to {round(whole.most)})"
        told += f", {more.mean} of them further" if more.most else ""
        rows.append(f"| [{section}](#{section.replace(' ', '-')}) | {told} |")
    return "\n".join(rows)


def head_line(counted: dict[str, tuple[Minutes, Minutes]]) -> str:
    """Return the minutes of the whole lesson; the core with those of a quick and a slow reader."""
    core, more = ([both[i] for name, both in counted.items() if name != BY_CHOICE]
                  for i in range(2))
    least, most = (round(sum(each)) for each in zip(*core))
    told = f"**Time** {sum(each.mean for each in core)} minutes ({least} to {most}) for the core"
    further = sum(each.mean for each in more)
    told += f", {further} more for *Further*" if further else ""
    told += f", {counted[BY_CHOICE][0].mean} for [{BY_CHOICE}](#{BY_CHOICE})" if (
        BY_CHOICE in counted) else ""
    return f"{told}. Counted, not timed."


def write_minutes(path: Path) -> None:
    """Write the minutes into the head of a lesson."""
    notebook = nbformat.read(path, as_version=4)
    counted = minutes_of(notebook, path.stem[:2])
    first = notebook.cells[0]
    first.source = re.sub(r"\*\*Time\*\* .*?\.(?: Counted, not timed\.)?(?=\s)",
                          head_line(counted), first.source, count=1, flags=re.DOTALL)
    for cell in notebook.cells[1:4]:
        cell.source = re.sub(r"^\| Section \|.*(?:\n\|.*)*", lambda _: contents(counted), cell.source,
                             count=1, flags=re.MULTILINE)
    path.write_text(stored_text(notebook), encoding="utf-8")


if __name__ == "__main__":
    for lesson in map(Path, sys.argv[1:]) if sys.argv[1:] else lessons():
        write_minutes(lesson)
