"""The form of a log, and its way to and from a file.

A log is a CSV file with one row per entry and these columns::

    no            number of the row
    start, end    local time, 2031-02-11 09:14:03.0; the end may be empty
    designation   the part, as in the plant file; may be empty
    class         failure, maintenance, process alarm, role change test, ...
    text          what was written
    source        controller A, controller B, panel, person
    planned       y, n, or ?
    restored_by   who put it right
    remark        anything else
    outcome       of a test: good, failed or refused; empty where nobody wrote it

The last column is the youngest; a file without it is read as one in which all are empty. What a
test came to is then read from its text, by the rule of `LogRow.test_is_good`. A log of a reader's
own may have other names for the columns: `columns` says which is which.
"""

import contextlib
import re
from collections.abc import Iterable, Mapping
from dataclasses import astuple, dataclass
from datetime import datetime
from pathlib import Path

from labkit.arguments import instances, path_of
from labkit.reading import read_decoded, rows_of, separator_of
from labkit.writing import csv_text, write_whole

COLUMNS = ("no", "start", "end", "designation", "class", "text", "source", "planned",
           "restored_by", "remark", "outcome")
OUTCOMES = ("good", "failed", "refused")
# Where nobody wrote an outcome: these words say that a test was none, unless one of the others
# stands up to two words before them ("nothing failed", "was not refused").
_BAD = re.compile(r"\b(failed|refused)\b")
_DENIED = re.compile(r"\b(no|not|none|nothing|nobody|never|without)(\W+\w+)?\W+$")
REQUIRED = ("start", "designation", "class", "text")
DAY_FIRST = ("%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M", "%d/%m/%Y %H:%M:%S", "%d/%m/%Y %H:%M")


@dataclass(frozen=True)
class LogRow:
    """Hold one entry of a log as it was written; times are local time.

    Parameters
    ----------
    designation, kind, text, source : str
        `kind` is the column "class".
    planned : str
        "y", "n" or "?".
    outcome : str
        Of a test, one of `OUTCOMES`; empty where it was not written.

    >>> LogRow(1, datetime(2031, 2, 11, 9, 14), None, "KF1", "failure", "dark").planned
    '?'
    """

    no: int
    start: datetime
    end: datetime | None
    designation: str
    kind: str
    text: str
    source: str = ""
    planned: str = "?"
    restored_by: str = ""
    remark: str = ""
    outcome: str = ""

    @property
    def test_is_good(self) -> bool:
        """Whether a test came to what it should: as written, else as its text says."""
        if self.outcome:
            return self.outcome == "good"
        text = self.text.lower()
        return all(_DENIED.search(text[:bad.start()]) for bad in _BAD.finditer(text))


@dataclass(frozen=True)
class LogFile:
    """Hold what was read from a file: the good rows, and what is wrong with the others.

    Parameters
    ----------
    problems : tuple of str
        One sentence for each thing that was not as it should be.
    """

    rows: tuple[LogRow, ...]
    problems: tuple[str, ...]


def read_log(path: str | Path, *, columns: Mapping[str, str] | None = None) -> LogFile:
    """Read a log.

    Parameters
    ----------
    path : str or Path
        A CSV file with a head line; comma, semicolon or tab; UTF-8 or the Western European code
        page of older programs.
    columns : mapping of str to str, optional
        Our name of a column to the name that it has in the file.

    Returns
    -------
    LogFile
        Rows that cannot be read are left out and listed; no good row is lost.

    Raises
    ------
    ValueError
        When a column that is needed (start, designation, class, text) is missing, `columns` names
        one that we do not know, or a row is longer than any row may be.
    OSError
        When the file cannot be read.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from labkit import example_year
    >>> with TemporaryDirectory() as folder:
    ...     log = read_log(write_log(example_year(), Path(folder) / "year.csv"))
    >>> log.rows == example_year(), log.problems
    (True, ())
    """
    path, names = path_of("path", path), dict(zip(COLUMNS, COLUMNS, strict=True))
    for ours, theirs in (columns or {}).items():
        if ours not in names:
            raise ValueError(f"columns must be among {', '.join(COLUMNS)}, got {ours!r}")
        names[ours] = theirs
    text, problems = read_decoded(path)
    table = rows_of(text, separator_of(text.partition("\n")[0]))
    found = [name.strip() for name in next(table, (None, []))[1]]
    for ours in REQUIRED:
        if names[ours] not in found:
            raise ValueError(f"a column {names[ours]!r} ({ours}) must be there, got "
                             f"{', '.join(found) or 'none'}")
    rows = []
    for number, (line, cells) in enumerate(filter(lambda each: each[1], table), 1):
        raw = dict(zip(found, cells, strict=False))
        row = {ours: raw.get(theirs, "").strip() for ours, theirs in names.items()}
        row["outcome"] = row["outcome"].lower()
        if row["outcome"] not in ("", *OUTCOMES):
            problems.append(f"line {line}: outcome must be {', '.join(OUTCOMES)} or "
                            f"empty, got {row['outcome']!r}; read as empty")
            row["outcome"] = ""
        try:
            rows.append(_row(number, row))
        except ValueError as error:
            problems.append(f"line {line}: {error}; the row is left out")
        if any(cells[len(found):]):
            problems.append(f"line {line}: more fields than columns; the rest is unread")
    return LogFile(tuple(rows), tuple(problems))


def time_of(text: str, name: str) -> datetime:
    """Read a moment as people write it: ISO 8601, or the day first."""
    for form in (None, *DAY_FIRST):
        with contextlib.suppress(ValueError):
            return datetime.strptime(text, form) if form else datetime.fromisoformat(text)
    raise ValueError(f"{name} must be a time such as 2031-02-11 09:14:03, got {text!r}")


def _row(number: int, row: Mapping[str, str]) -> LogRow:
    written = row["no"] or str(number)
    if not written.isdigit():
        raise ValueError(f"no must be a whole number, got {written!r}")
    read = dict(row) | {
        "no": int(written),
        "start": time_of(row["start"], "start"),
        "end": time_of(row["end"], "end") if row["end"] else None,
        "planned": row["planned"] if row["planned"] in ("y", "n") else "?",
    }
    return LogRow(*(read[name] for name in COLUMNS))


def _cells(row: LogRow) -> list[str]:
    return ["" if cell is None else
            cell.isoformat(" ", "milliseconds")[:-2] if isinstance(cell, datetime) else str(cell)
            for cell in astuple(row)]


def write_log(rows: Iterable[LogRow], path: str | Path) -> Path:
    """Write a log as a CSV file, UTF-8 with semicolons.

    Parameters
    ----------
    rows : iterable of LogRow
        In any order.
    path : str or Path
        The file to write; one of that name is written over.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    OSError
        When the file cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     write_log([], Path(folder) / "year.csv").read_text("utf-8")[:8]
    'no;start'
    """
    rows = instances("rows", rows, LogRow)
    return write_whole(path_of("path", path), csv_text([COLUMNS, *map(_cells, rows)], ";"))


