"""A lesson as it is stored: title, objectives, sections with minutes, and the items it names."""

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

from labkit.arguments import one_of
from lessons.desk.learner_folder import lessons_source
from lessons.exercises.lookup import lesson_of
from lessons.items.own_questions import own_files

NAMES_ITEMS = re.compile(r"\b(?:ask|steps|predict_first|check|drill_panel)\(([^)]*)")
ITEM = re.compile(r'"(\d\d-[\w.-]+)"')
FRESH = re.compile(r"\bfresh=(\d+)")
HEADING = re.compile(r"^(?=## )", re.MULTILINE)
BY_CHOICE = "Deeper"
ROW = re.compile(r"^\|\s*\[([^]]+)\]\([^)]*\)\s*\|\s*(\d+) min[^|]*\|\s*$", re.MULTILINE)


@dataclass(frozen=True)
class NotebookCell:
    """Hold one cell: "text" or "code", its source, and its stored outputs.

    Parameters
    ----------
    outputs : tuple of mapping
        As in the notebook format.
    asked : tuple of str
        Identifiers of items, where no source names them.
    """

    kind: str
    source: str
    outputs: tuple[Mapping, ...] = ()
    asked: tuple[str, ...] = ()

    @property
    def items(self) -> tuple[str, ...]:
        """Identifiers of the items that the cell shows."""
        return self.asked or tuple(name for call in self._calls for name in ITEM.findall(call))

    @property
    def _calls(self) -> list[str]:
        return NAMES_ITEMS.findall(self.source) if self.kind == "code" else []

    @property
    def printed(self) -> str:
        """What the cell printed when it was stored."""
        return "".join("".join(output["text"]) for output in self.outputs
                       if output["output_type"] == "stream")

    @property
    def fresh(self) -> Mapping[str, int]:
        """The seeds that the cell names for its items, in place of the numbers of the plant."""
        return {name: int(seed[1]) for call in self._calls
                if (seed := FRESH.search(call)) for name in ITEM.findall(call)}


@dataclass(frozen=True)
class LessonSection:
    """Hold one section: its heading, its minutes, its cells without the heading's line."""

    heading: str
    minutes: int
    cells: tuple[NotebookCell, ...]

    @property
    def items(self) -> tuple[str, ...]:
        """Identifiers of the items of the section, in order."""
        return tuple(name for cell in self.cells for name in cell.items)


@dataclass(frozen=True)
class LessonFile:
    """Hold a lesson.

    Parameters
    ----------
    opening : str
        What stands before the first section, without the title.
    taught : frozenset of str, optional
        Numbers of the lessons that the class of a plan has had; None where no plan is known.
    """

    path: Path
    title: str
    opening: str
    objectives: tuple[str, ...]
    sections: tuple[LessonSection, ...]
    taught: frozenset[str] | None = None

    def has_had(self, title: str) -> bool:
        """Say whether a class has had the lesson that the title of a question names."""
        of = re.match(r"From lesson (\d\d)", title)
        return self.taught is None or of is None or of[1] in self.taught

    @property
    def number(self) -> str:
        """Its number, as text of two digits; the name of a file of own questions."""
        return number_of(self.path)

    @property
    def minutes(self) -> int:
        """Minutes of the hour: all sections together, without what is left to choice."""
        return sum(one.minutes for one in self.sections if one.heading != BY_CHOICE)

    @property
    def minutes_by_choice(self) -> int:
        """Minutes of the deeper section, for learners on their own; 0 where there is none."""
        return sum(one.minutes for one in self.sections if one.heading == BY_CHOICE)

    @property
    def printed_above(self) -> Mapping[str, str]:
        """For each item what the lesson printed last before it."""
        above, printed = {}, ""
        for cell in (cell for section in self.sections for cell in section.cells):
            printed = cell.printed or printed
            above |= dict.fromkeys(cell.items, printed)
        return above

    @property
    def fresh(self) -> Mapping[str, int]:
        """The seeds that the lesson names for items, in place of the numbers of the plant."""
        return {name: seed for section in self.sections for cell in section.cells
                for name, seed in cell.fresh.items()}


def lesson_files() -> tuple[Path, ...]:
    """Return the lessons that come with this, in order."""
    return tuple(sorted(lessons_source().glob("[0-9][0-9]_*.ipynb")))


def number_of(path: Path) -> str:
    """Return the number of a lesson, or the name of a file of own questions."""
    return path.stem if path.suffix == ".toml" else path.stem[:2]


def chosen_lessons(only: Iterable[str] = (), *, own: bool = False) -> list[Path]:
    """Return the lessons with these numbers; all where none is named.

    Parameters
    ----------
    own : bool
        Whether the files of own questions count too, by their names.

    Raises
    ------
    ValueError
        When a number is not that of a lesson.
    """
    lessons = {number_of(path): path for path in (*lesson_files(), *(own_files().values() if own else ()))}
    return [lessons[one_of("a lesson", number, lessons)] for number in [*only] or lessons]


def glossary_file() -> Path:
    """Return the words of the course, which come with the lessons."""
    return lessons_source() / "glossary.ipynb"


def read_lesson(path: str | Path) -> LessonFile:
    """Read a lesson from its notebook, or from a file of own questions.

    Raises
    ------
    ValueError
        When it has no title, or something is wrong in own questions.
    OSError
        When it cannot be read.

    >>> lesson = read_lesson(lesson_files()[0])
    >>> lesson.number, lesson.sections[0].heading
    ('01', 'Start')
    """
    path = Path(path)
    if path.suffix == ".toml":
        own = lesson_of(f"{path.stem}-")
        steps = {step.item for chain in own.chains for step in chain.steps}
        asked = NotebookCell("code", "", asked=(
            *(item.id for item in own.items if item.id not in steps), *(chain.id for chain in own.chains)))
        return LessonFile(path, own.title, "", (), (LessonSection("Questions", 0, (asked,)),))
    cells = [part for raw in json.loads(path.read_text("utf-8"))["cells"]
             for part in _parts(_cell(raw))]
    whole = "\n".join(cell.source for cell in cells if cell.kind == "text")
    title = re.match(r"# (.+)", cells[0].source if cells else "")
    if not title:
        raise ValueError(f"{path.name} must begin with a title, got none")
    minutes = {heading: int(number) for heading, number in ROW.findall(whole)}
    opening: list[str] = []
    sections: list[tuple[str, list[NotebookCell]]] = []
    for cell in cells:
        head = re.match(r"## (.+)\n*", cell.source) if cell.kind == "text" else None
        if head:
            rest = cell.source[head.end():]
            sections.append((head[1].strip(), [NotebookCell("text", rest)] if rest.strip() else []))
        elif sections:
            sections[-1][1].append(cell)
        else:
            opening.append(cell.source)
    first = "\n".join(opening).partition("\n")[2].strip()
    objectives = re.findall(r"^\d+\. (.+(?:\n +.+)*)", first, re.MULTILINE)
    return LessonFile(
        path, title[1].strip(), first,
        tuple(" ".join(text.split()).rstrip(",.") for text in objectives),
        tuple(LessonSection(heading, minutes.get(heading, 0), tuple(found))
              for heading, found in sections))


def _parts(cell: NotebookCell) -> list[NotebookCell]:
    """Return a text cell in as many parts as it opens sections."""
    if cell.kind == "code":
        return [cell]
    return [NotebookCell("text", part) for part in HEADING.split(cell.source) if part.strip()]


def _cell(raw: Mapping) -> NotebookCell:
    source = raw["source"] if isinstance(raw["source"], str) else "".join(raw["source"])
    kind = "code" if raw["cell_type"] == "code" else "text"
    return NotebookCell(kind, source, tuple(raw.get("outputs", ())))
