"""A rig's own log beside the simulated record of the same fault, row by row.

A log is CSV with a head line: when, who, what, and perhaps to what. The clocks of rig and simulation
are set together where most rows meet; times count from the first row that both have.
"""

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from labkit.evidence.log import time_of
from labkit.reading import read_decoded, rows_of, separator_of
from labkit.switchover.roles import Entry
from labkit.writing import safe_line

HEADS = {
    "when": ("time", "time_s", "time_ms", "start", "timestamp", "when", "date"),
    "who": ("who", "designation", "unit", "part", "source", "device"),
    "what": ("what", "text", "event", "message"),
    "to": ("to", "new", "state", "value"),
}
MOST_ROWS = 2000
WITHIN_MS = 2000
DAY = datetime(2000, 1, 1)


@dataclass(frozen=True)
class LoggedRow:
    """Hold one row of a rig's log; its time counts from any zero."""

    line: int
    time_ms: float
    who: str
    what: str


@dataclass(frozen=True)
class SideRow:
    """Hold one row of the comparison; what only one of the two has stands alone."""

    simulated: Entry | None
    logged: LoggedRow | None
    late_ms: float | None = None


@dataclass(frozen=True)
class SideBySide:
    """Hold both records, row by row, and how far the clock of the log was moved."""

    rows: tuple[SideRow, ...]
    moved_ms: float

    def to_text(self) -> str:
        """Return the comparison as a table; times from the first row that both have."""
        start = next((row.simulated.time_ms for row in self.rows if row.late_ms is not None), 0)
        lines = [f"{'simulated':>9}  {'rig':>8}  {'late':>7}  what"]
        for row in self.rows:
            here = "" if row.simulated is None else f"{(row.simulated.time_ms - start) / 1000:.3f}"
            there = "" if row.logged is None else (
                f"{(row.logged.time_ms - self.moved_ms - start) / 1000:.3f}")
            late = "" if row.late_ms is None else f"{row.late_ms:+.0f} ms"
            said = [] if row.simulated is None else [_said(row.simulated)]
            said += [] if row.logged is None else [
                f"line {row.logged.line}: {row.logged.who} {row.logged.what}"]
            note = ("  (not in the log)" if row.logged is None else
                    "  (not in the simulation)" if row.simulated is None else "")
            lines.append(safe_line(f"{here:>9}  {there:>8}  {late:>7}  {' | '.join(said)}{note}"))
        both = [row for row in self.rows if row.late_ms is not None]
        alone = Counter("log" if row.simulated is None else "simulation" for row in self.rows
                        if row.late_ms is None)
        lines.append(f"In both: {len(both)}. Only in the simulation: {alone['simulation']}. "
                     f"Only in the log: {alone['log']}.")
        if both:
            far = max(both, key=lambda row: abs(row.late_ms))
            lines.append(safe_line(f"Largest difference: {far.late_ms:+.0f} ms, {_said(far.simulated)}."))
        return "\n".join(lines)


def read_rig_log(path: str | Path) -> tuple[tuple[LoggedRow, ...], tuple[str, ...]]:
    """Read a rig's log; a row that cannot be read is left out and listed.

    Parameters
    ----------
    path : str or Path
        CSV, with comma, semicolon or tab, in any usual letters; lines that begin with # are
        remarks. Times are numbers in s (in ms under a head such as time_ms), times of the clock, or
        dates with times.

    Raises
    ------
    ValueError
        When a column is missing, or the log is longer than any such log may be.
    OSError
        When it cannot be read.
    """
    text, problems = read_decoded(path)
    lines = text.splitlines()
    # A remark becomes an empty row, so that each row keeps the number of its line.
    text = "\n".join("" if line.lstrip().startswith("#") else line for line in lines)
    head = next((line for line in text.splitlines() if line.strip()), "")
    table = (row for row in rows_of(text, separator_of(head)) if any(row[1]))
    names = [name.strip().lower() for name in next(table, (0, []))[1]]
    at = {key: next((names.index(name) for name in known if name in names), None)
          for key, known in HEADS.items()}
    for key in ("when", "who", "what"):
        if at[key] is None:
            raise ValueError(f"{path} must have a column of {', '.join(HEADS[key])}, got "
                             f"{', '.join(names)[:200] or 'none'}")
    rows = []
    for line, cells in table:
        cell = {key: cells[place].strip() if place is not None and place < len(cells) else ""
                for key, place in at.items()}
        try:
            when = _time_ms(cell["when"], in_ms=names[at["when"]].endswith("_ms"))
        except ValueError as error:
            problems.append(f"line {line}: {error}; the row is left out")
            continue
        rows.append(LoggedRow(line, when, cell["who"], " ".join(filter(None, (cell["what"], cell["to"])))))
        if len(rows) > MOST_ROWS:
            raise ValueError(f"a log of a fault must have at most {MOST_ROWS} rows, got more")
    return tuple(rows), tuple(problems)


def _time_ms(text: str, *, in_ms: bool) -> float:
    if re.fullmatch(r"[+-]?\d+(?:[.,]\d+)?", text):
        return float(text.replace(",", ".")) * (1 if in_ms else 1000)
    if re.match(r"\d{1,2}:\d\d", text):
        text = f"{DAY:%Y-%m-%d} {'0' * (text[1] == ':')}{text}"
    moment = time_of(text, "time")
    return (moment.replace(tzinfo=None) - DAY).total_seconds() * 1000


def side_by_side(record: Iterable[Entry], logged: Sequence[LoggedRow],
                 words: Mapping[str, str] | None = None) -> SideBySide:
    """Set a log beside a record; no two rows of one meet the same row of the other.

    Parameters
    ----------
    record : iterable of Entry
        As the rig has it, oldest first.
    logged : sequence of LoggedRow
        In any order.
    words : mapping of str to str, optional
        Words of the log to those of the record, such as "leads" to "active".

    Notes
    -----
    Two rows can meet where the log names who it is about and all words of the new state. The log's
    clock is moved so that most such rows lie within 2 s; the pairs with the least differences in
    all are taken (the assignment problem, solved by `scipy.optimize.linear_sum_assignment`).
    """
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    record = list(record)
    meets = np.array([[_meets(entry, row, words or {}) for row in logged] for entry in record],
                     dtype=bool).reshape(len(record), len(logged))
    apart = (np.array([row.time_ms for row in logged])[None, :]
             - np.array([float(entry.time_ms) for entry in record])[:, None])
    offsets = np.unique(apart[meets])
    if not offsets.size:
        return _rows(record, logged, {}, 0.0)

    def within(offset: float) -> tuple[int, float]:
        near = meets & (np.abs(apart - offset) <= WITHIN_MS)
        count = min(near.any(axis=0).sum(), near.any(axis=1).sum())
        return int(count), -float(np.abs(apart - offset)[near].sum())

    offset = max(offsets[::max(1, len(offsets) // 500)], key=within)
    near = meets & (np.abs(apart - offset) <= WITHIN_MS)
    cost = np.where(near, np.abs(apart - offset), 1e9)
    pairs = {int(one): int(other) for one, other in zip(*linear_sum_assignment(cost), strict=True)
             if near[one, other]}
    first = min(pairs, key=lambda one: (record[one].time_ms, one))
    return _rows(record, logged, pairs, float(apart[first, pairs[first]]))


def _rows(record: Sequence[Entry], logged: Sequence[LoggedRow], pairs: Mapping[int, int],
          moved_ms: float) -> SideBySide:
    rows = [(entry.time_ms, 0, place, SideRow(entry, logged[pairs[place]] if place in pairs else None,
             logged[pairs[place]].time_ms - moved_ms - entry.time_ms if place in pairs else None))
            for place, entry in enumerate(record)]
    rows += [(row.time_ms - moved_ms, 1, place, SideRow(None, row))
             for place, row in enumerate(logged) if place not in pairs.values()]
    return SideBySide(tuple(row for *_, row in sorted(rows, key=lambda each: each[:3])), moved_ms)


def _meets(entry: Entry, row: LoggedRow, words: Mapping[str, str]) -> bool:
    """Say whether a row of the log can tell of an entry."""
    told = [words.get(word, word) for word in _words(row.what)]
    who, _, fault = entry.who.partition(": ")
    if who.lower() != row.who.lower():
        return False
    if fault:
        return entry.new == "on" and {*_words(fault)} <= {*told}
    if not entry.new:
        return {*_words(entry.old)} <= {*told} and bool({"gone", "off", "cleared"} & {*told})
    return {*_words(entry.new)} <= {*told} and not (
        entry.what == "alarm" and {"gone", "cleared"} & {*told})


def _words(text: str) -> list[str]:
    return re.findall(r"\w+", text.lower())


def _said(entry: Entry) -> str:
    return f"{entry.who} {entry.what}: {entry.old or 'none'} to {entry.new or 'gone'}"
