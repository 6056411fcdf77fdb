"""A paper as data: sections with texts and tables, written as HTML, Markdown and CSV.

The templates beside this module give the form, `texts.toml` what is said for every plant; nothing
here knows about a plant. Every paper
carries the file that it was made from, its date and version, its assumptions with where they come
from, and the cautions. In CSV one table counts, the main one: the first column `kind` says
whether a line is a row of that table or something that the paper carries.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from importlib.resources import files

from labkit.wording import unbroken
from labkit.writing import csv_text, markdown_cell, markdown_line


@dataclass(frozen=True)
class Column:
    """Describe one column of a table.

    Parameters
    ----------
    key, heading : str
        Its name in rows and in CSV; what stands above it.
    width : float
        Its share of the width of the page in per cent; 0 leaves it to the browser.
    numbers : bool
        Whether it is set to the right.

    >>> Column("rate", "a year", numbers=True).heading
    'a year'
    """

    key: str
    heading: str
    width: float = 0.0
    numbers: bool = False


@dataclass(frozen=True)
class PaperTable:
    """Hold a table.

    Parameters
    ----------
    title : str
        What stands above it; may be empty.
    rows : tuple of mapping of str to str
        By the keys of the columns; what is missing is left open to be filled in by hand.
    note : str
        What stands below it.
    main : bool
        Whether this is the table that stands in CSV.
    small : bool
        Whether it is wide and set in small letters.
    csv_rows : tuple
        What stands in CSV instead, where that differs; the first row has all columns.
    sums : int
        How many rows at the end sum up, so that they stay where others are left out.

    >>> PaperTable("", (Column("a", "A"),), ({"a": "1"},)).rows[0]["a"]
    '1'
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[Mapping[str, str], ...]
    note: str = ""
    main: bool = False
    small: bool = False
    csv_rows: tuple[Mapping[str, str], ...] = ()
    sums: int = 0

    @property
    def said_columns(self) -> tuple[Column, ...]:
        """The columns without those in which no row says anything, nor is to be filled in."""
        rows = [row for row in self.rows if "group" not in row]
        return tuple(column for column in self.columns
                     if any(row.get(column.key, "to fill in") for row in rows))

    def shortened(self, most: int) -> PaperTable:
        """Return the first rows, the sums, and how many rows are left out.

        A table in small letters has no columns to be filled in by hand: the sheet is upright.
        """
        last = len(self.rows) - self.sums
        rows = [row for row in self.rows[:last] if "group" not in row]
        left = len(rows) - most
        return replace(
            self, rows=(*rows[:most], *self.rows[last:]), main=False,
            note=f"{left} more in the long form." if left > 0 else "", columns=tuple(
                each for each in self.columns if not self.small or any(each.key in row for row in rows)))


@dataclass(frozen=True)
class Section:
    """Hold a section: texts first, then points, tables and a picture.

    Parameters
    ----------
    texts, points : tuple of str
        Paragraphs; list items.
    steps : bool
        Whether the points are numbered.
    picture, picture_says : str
        SVG, and the same in words for those who do not see it.
    level : int
        1 for a section, 2 for a part of the one before.
    new_page : bool
        Whether it begins a page in print.
    boxes : bool
        Whether the points are to be ticked.
    short_rows : int or None
        How many rows of its tables the short form has, and as many of its points; None if that
        is without this section.

    >>> Section("Limits", ("They stand here before the test.",)).level
    1
    """

    title: str
    texts: tuple[str, ...] = ()
    points: tuple[str, ...] = ()
    steps: bool = False
    tables: tuple[PaperTable, ...] = ()
    picture: str = ""
    picture_says: str = ""
    level: int = 1
    new_page: bool = False
    boxes: bool = False
    short_rows: int | None = None

    @property
    def says_something(self) -> bool:
        """Whether there is more to it than tables without rows."""
        return bool(self.texts or self.points or not self.tables or any(each.rows for each in self.tables))

    def shortened(self) -> Section:
        """Return the section as it stands in the short form."""
        return replace(
            self, texts=self.texts[:1], points=self.points[:self.short_rows], new_page=False,
            picture="", picture_says="",
            tables=tuple(table.shortened(self.short_rows) for table in self.tables
                         if self.short_rows))


@lru_cache(maxsize=1)
def texts() -> Mapping[str, Mapping]:
    """Return what papers say for every plant."""
    return tomllib.loads((files("lessons.papers") / "texts.toml").read_text("utf-8"))


CAUTIONS: tuple[str, ...] = tuple(texts()["cautions"]["every_paper"])
"""What every paper says, and every page that could send somebody to a plant."""


def section(name: str, *tables: PaperTable, **words: object) -> Section:
    """Return a section of `texts.toml` with its tables, and words where it has names in braces.

    >>> section("limits_of_fail_states", hold_ms=500).points[0]
    'Fail state at most 500 ms after the last write, at the terminals.'
    """
    told = texts()["section"][name]
    return Section(**told | {key: tuple(_filled(told.get(key, ()), words)) for key in ("texts", "points")}
                   | {"title": told["title"].format(**words), "tables": tables})


def _filled(said: Iterable[str], words: Mapping[str, object]) -> Iterator[str]:
    """Yield texts with their words; a name alone may stand for several texts, or for none."""
    for text in said:
        several = words.get(text[1:-1]) if text[0] == "{" else None
        if isinstance(several, tuple):
            yield from several
        else:
            yield text.format(**words)


def columns(name: str, **words: object) -> tuple[Column, ...]:
    """Return the columns of a table of `texts.toml`.

    >>> columns("gain", currency="EUR")[2]
    Column(key='gain', heading='gain, EUR/a', width=0, numbers=True)
    """
    return tuple(Column(key, heading.format(**words), *width[:1], numbers=len(width) == 2)
                 for key, (heading, *width) in texts()["columns"][name].items())


def table(name: str, rows: Iterable[Mapping[str, str]], *, title: str = "", note: str = "",
          main: bool = False, small: bool = False, csv_rows: Iterable[Mapping[str, str]] = (),
          sums: int = 0, **words: object) -> PaperTable:
    """Return a table of rows with the columns of `texts.toml`, where `words` fill what is in braces.

    >>> table("to_pay", [{"key": "price", "is": "5", "must": "at most 7"}]).columns[0].key
    'key'
    """
    return PaperTable(title, columns(name, **words), tuple(rows), note, main, small, tuple(csv_rows), sums)


def fixed_table(name: str, **words: object) -> PaperTable:
    """Return a table of which `texts.toml` has the rows too; the rest is filled in by hand."""
    found = columns(name)
    keys = [column.key for column in found]
    return PaperTable("", found, tuple(
        dict(zip(keys, (text.format(**words) for text in row), strict=False)) for row in texts()["rows"][name]))


@dataclass(frozen=True)
class Paper:
    """Hold a paper.

    Parameters
    ----------
    name : str
        Name of its files, without ending.
    title, purpose : str
        What it is, and what it is for.
    facts : mapping of str to str
        Plant, version, file, date and the like, for its head.
    assumptions : tuple of mapping of str to str
        Rows of what, value and source.
    wide : bool
        Whether it is printed across.
    signatures : tuple of str
        Roles of those who sign.
    carried : mapping of str to str
        What stands in CSV beside the main table, by kind of row.

    >>> paper = Paper("note", "A note", "To show one.", {"Plant": "Mill"}, ())
    >>> paper.markdown().splitlines()[0]
    '# A note: Mill'
    """

    name: str
    title: str
    purpose: str
    facts: Mapping[str, str]
    sections: tuple[Section, ...]
    assumptions: tuple[Mapping[str, str], ...] = ()
    wide: bool = False
    signatures: tuple[str, ...] = field(default=("prepared", "checked", "approved"))
    carried: Mapping[str, str] = field(default_factory=dict)

    def short(self) -> Paper:
        """Return the short form, for one sheet of A4, both sides."""
        return replace(
            self, name=f"{self.name}_short", title=f"{self.title}, short form", assumptions=(),
            wide=False,
            sections=tuple(section.shortened() for section in self.sections
                           if section.short_rows is not None))

    @property
    def tables(self) -> tuple[PaperTable, ...]:
        """All tables, in order."""
        return tuple(table for section in self.sections for table in section.tables)

    @property
    def main(self) -> PaperTable | None:
        """The table that stands in CSV."""
        return next((table for table in self.tables if table.main), None)

    def html(self) -> str:
        """Return the paper as one page that stands alone and prints on A4."""
        return _templates().get_template("paper.html.j2").render(paper=self, cautions=CAUTIONS)

    def markdown(self) -> str:
        """Return the paper as Markdown."""
        return _templates().get_template("paper.md.j2").render(paper=self, cautions=CAUTIONS)

    def csv(self) -> str:
        """Return the main table as CSV, and below it all else that the paper carries."""
        table = self.main
        names = ["kind"]
        if table is not None:
            names += table.csv_rows[0] if table.csv_rows else [column.key for column in table.columns]
        names += ["text"] * (len(names) == 1)
        names = [name for position, name in enumerate(names) if name not in names[:position]]
        rows = [] if table is None else [
            ["row", *(row.get(name, "") for name in names[1:])]
            for row in table.csv_rows or table.rows]
        carried = [("paper", self.title), *((f"{key.lower()}", value)
                                            for key, value in self.facts.items())]
        carried += [("assumption", f"{each['what']}: {each['value']} ({each['source']})")
                    for each in self.assumptions]
        carried += self.carried.items()
        carried += [("caution", each) for each in CAUTIONS]
        rows += [[kind, text, *[""] * (len(names) - 2)] for kind, text in carried]
        return csv_text([names, *rows])


@lru_cache(maxsize=1)
def _templates():
    """Return the templates; Jinja2 is loaded only where a paper is written."""
    from jinja2 import (
        Environment,
        PackageLoader,
        StrictUndefined,
        pass_eval_context,
        select_autoescape,
    )

    @pass_eval_context
    def on_page(context, value: object) -> object:
        return unbroken(value) if context.autoescape and type(value) is str else value

    found = Environment(
        loader=PackageLoader("lessons.papers"), undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True, autoescape=select_autoescape(enabled_extensions=("html.j2",)),
        finalize=on_page)
    found.filters["line"] = markdown_line
    found.filters["cell"] = markdown_cell
    found.filters["css_text"] = _css_text
    return found


def _css_text(text: object) -> str:
    """Return style rules in which nothing is escaped, and nothing can end them."""
    from markupsafe import Markup

    return Markup(Markup(text).unescape().replace("<", "\\3c "))
