"""Cleaning a log: what each row is worth, with every decision written down.

Nothing is thrown away in silence: each decision names the row, what was done, and why. The order
of the rules is that of `clean_log`; words that speak for planned work or for a failure are common
practice.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import timedelta

from labkit.arguments import count, instance, instances
from labkit.evidence.clock_change import elapsed_h, is_missing, is_repeated
from labkit.evidence.log import LogRow
from labkit.plant.plant import Plant

SAME_WITHIN_S = 60.0
SAME_FAULT_DAYS = 14
# Words of planned work, of failures, of faults that were not found, of latent ones, in lower case.
PLANNED = ("planned", "work order", "by schedule")
FAILED = ("defective", "dead", "broken", "failed", "burnt", "hot bearing")
NOT_FOUND, LATENT = "no fault found", ("since unknown", "found at the")
# Hours at which rows are closed for another reason than that the repair is done.
SHIFT_STARTS = ("06:00", "14:00", "22:00")


@dataclass(frozen=True)
class Decision:
    """Hold one decision.

    Parameters
    ----------
    no : int
        Number of the row.
    done : str
        "kept", "merged" or "corrected".
    why : str
        One sentence.
    """

    no: int
    done: str
    why: str


@dataclass(frozen=True)
class CleanRow:
    """Hold a row after cleaning.

    Parameters
    ----------
    row : LogRow
        With designation and class as corrected.
    start_h : float
        Hours since the year began, in true time.
    end_h : float or None
        The same for the end; None if it is not known.
    failure : bool
        Whether it counts as an unplanned hardware failure of its part.
    latent : bool
        Whether it was found later than it came.
    merged : tuple of int
        Numbers of rows that say the same.
    end_is_bound : bool
        Whether the true end may lie before `end_h`.
    """

    row: LogRow
    start_h: float
    end_h: float | None
    planned: bool
    failure: bool
    latent: bool = False
    merged: tuple[int, ...] = ()
    end_is_bound: bool = False

    @property
    def duration_h(self) -> float | None:
        """Hours from start to end; None if the end is not known."""
        return None if self.end_h is None else self.end_h - self.start_h


@dataclass(frozen=True)
class CleanLog:
    """Hold a cleaned log.

    Parameters
    ----------
    rows : tuple of CleanRow
        In order of true time.
    """

    year: int
    rows: tuple[CleanRow, ...]
    decisions: tuple[Decision, ...]


def clean_log(rows: Iterable[LogRow], plant: Plant, *, year: int | None = None,
          clock_changes: bool = True) -> CleanLog:
    """Clean a log.

    Parameters
    ----------
    rows : iterable of LogRow
    plant : Plant
        Its designations are the known ones.
    year : int, optional
        The year of the log; that of most rows if not given.
    clock_changes : bool
        Whether the log's clock keeps summer time.

    Returns
    -------
    CleanLog

    Raises
    ------
    ValueError
        When there are no rows.

    Examples
    --------
    >>> from labkit import example_year, load_plant
    >>> log = clean_log(example_year(), load_plant())
    >>> sum(one.failure for one in log.rows)
    5
    """
    instance("plant", plant, Plant)
    rows = instances("rows", rows, LogRow)
    if not rows:
        raise ValueError("rows must not be empty, got none")
    decisions: list[Decision] = []
    if year is None:
        years = [row.start.year for row in rows]
        year = max(set(years), key=years.count)
    year = count("year", year, least=1, most=9998)
    found = _times(rows, year, clock_changes, decisions)
    found = _merge_same(found, decisions)
    known = frozenset(part["designation"] for part in plant.document["part"])
    found = [_designate(one, known, decisions) for one in found]
    found = [_classify(one, decisions) for one in found]
    found = _join_signs(found, decisions)
    found = [_bound_end(one, decisions) for one in found]
    for one in found:
        if one.end_h is None:
            decisions.append(Decision(one.row.no, "kept", "the end is open: it counts as an "
                                      "event and is left out of all durations"))
    return CleanLog(year, tuple(found), tuple(sorted(decisions, key=lambda one: one.no)))


def _times(rows, year, changes, decisions) -> list[CleanRow]:
    """Put the rows on one axis of true hours."""
    found = []
    latest = None
    for row in sorted(rows, key=lambda row: row.no):
        second = False
        if changes and is_repeated(row.start):
            second = latest is not None and row.start < latest
            latest = max(row.start, latest or row.start)
            decisions.append(Decision(
                row.no, "kept", "its time comes twice that night; by its place among the rows it "
                f"is the {'second' if second else 'first'} pass"))
        if changes and is_missing(row.start):
            decisions.append(Decision(row.no, "kept", "its time does not exist that night: the "
                                      "clock was set late; taken as winter time"))
        start_h = elapsed_h(row.start, year=year, second_pass=second, changes=changes)
        end_h = None
        if row.end is not None:
            end_h = elapsed_h(row.end, year=year, second_pass=second, changes=changes)
            if end_h < start_h and changes and is_repeated(row.end):
                end_h = elapsed_h(row.end, year=year, second_pass=True, changes=True)
                decisions.append(Decision(
                    row.no, "corrected", "it ends before it starts by the clock: the end lies in "
                    f"the second pass of the hour, {60 * (end_h - start_h):.0f} min in truth"))
            if end_h < start_h:
                decisions.append(Decision(
                    row.no, "corrected", f"it ends {60 * (start_h - end_h):.0f} min before it "
                    "starts: the end is taken as not known"))
                end_h = None
        found.append(CleanRow(row, start_h, end_h, row.planned == "y", False))
    return sorted(found, key=lambda one: (one.start_h, one.row.no))


def _merge_same(found, decisions) -> list[CleanRow]:
    """Make one of rows that say the same within a minute."""
    kept: list[CleanRow] = []
    for one in found:
        twin = next((number for number, other in enumerate(kept) if
                     one.start_h - other.start_h <= SAME_WITHIN_S / 3600 and
                     _said(one) == _said(other)), None)
        if twin is None:
            kept.append(one)
            continue
        other = kept[twin]
        both_clocks = one.row.kind == "role change test" and one.row.source != other.row.source
        why = "both controllers wrote the same event" if both_clocks else \
            "the same text, part and class within a minute"
        decisions.append(Decision(one.row.no, "merged", f"{why}: into row {other.row.no}"))
        kept[twin] = replace(other, merged=(*other.merged, one.row.no),
                             end_h=one.end_h if other.end_h is None else other.end_h)
    return kept


def _said(one: CleanRow) -> tuple[str, str, str]:
    # noise comes again and again within a minute, and each time counts
    if one.row.kind == "bus noise":
        return (one.row.kind, one.row.text, str(one.row.no))
    return (one.row.designation, one.row.kind, one.row.text)


def _designate(one: CleanRow, known: frozenset[str], decisions) -> CleanRow:
    """Let the text correct the part of a failure that it contradicts."""
    if one.row.kind != "failure":
        return one
    written, accused = one.row.designation, _accused(one.row.text, known)
    if accused is not None and accused != written:
        decisions.append(Decision(one.row.no, "corrected", f"the text says that {accused} has "
                                  f"failed, the column says {written or 'nothing'}: taken as "
                                  f"{accused}"))
        return replace(one, row=replace(one.row, designation=accused))
    if written not in known:
        decisions.append(Decision(one.row.no, "kept", f"{written or 'no designation'} is not in "
                                  "the plant file: counted without a part"))
    return one


def _accused(text: str, known: frozenset[str]) -> str | None:
    """Return the one part of which the text says that it has failed, if there is one."""
    accused = set()
    pieces = re.split(r"([A-Z]{1,3}[0-9][\w.]*)", text)
    for name, rest in zip(pieces[1::2], pieces[2::2], strict=True):
        if name.rstrip(".") in known and any(word in rest.lower() for word in FAILED):
            accused.add(name.rstrip("."))
    return accused.pop() if len(accused) == 1 else None


def _classify(one: CleanRow, decisions) -> CleanRow:
    """Separate planned work from failures, by what was written."""
    text = f"{one.row.text} {one.row.remark}".lower()
    says_planned = any(word in text for word in PLANNED)
    says_failed = any(word in text for word in FAILED)
    failure = one.row.kind == "failure" and not one.planned
    planned = one.planned
    if failure and says_planned and not says_failed:
        decisions.append(Decision(one.row.no, "corrected", "marked as a failure, written as "
                                  "planned work: taken as planned"))
        failure, planned = False, True
    elif one.row.kind == "maintenance" and says_failed and not says_planned:
        decisions.append(Decision(one.row.no, "corrected", "marked as planned work, written as "
                                  "a failure: taken as a failure"))
        failure, planned = True, False
    latent = failure and any(word in text for word in LATENT)
    if latent:
        decisions.append(Decision(one.row.no, "kept", "found later than it came: its start is "
                                  "not known, only a window"))
    return replace(one, planned=planned, failure=failure, latent=latent)


def _join_signs(found, decisions) -> list[CleanRow]:
    """Take a fault that was not found, and came back, as the first sign of the same failure."""
    joined = []
    for one in found:
        text = one.row.text.lower()
        if one.failure and NOT_FOUND in text:
            again = next((other for other in found if other.failure and other is not one
                          and other.row.designation == one.row.designation
                          and 0 < other.start_h - one.start_h <= 24 * SAME_FAULT_DAYS), None)
            if again is not None:
                days = (again.row.start.date() - one.row.start.date()).days
                decisions.append(Decision(
                    one.row.no, "merged", f"no fault found, and back after {days} days: the "
                    f"first sign of row {again.row.no}, counted once"))
                one = replace(one, failure=False)
        joined.append(one)
    return joined


def _bound_end(one: CleanRow, decisions) -> CleanRow:
    """Look twice at repairs that end with a shift."""
    end = one.row.end
    if not one.failure or end is None or end.strftime("%H:%M") not in SHIFT_STARTS:
        return one
    told = re.search(r"\b(?:ran|works|running) again at (\d\d):(\d\d)", one.row.remark)
    if told:
        true_end = end.replace(hour=int(told[1]), minute=int(told[2]))
        if true_end > end:
            true_end -= timedelta(days=1)
        earlier_h = (end - true_end) / timedelta(hours=1)
        decisions.append(Decision(one.row.no, "corrected", "closed at the start of a shift; the "
                                  f"remark says that it ran {earlier_h:.1f} h earlier"))
        return replace(one, end_h=one.end_h - earlier_h)
    decisions.append(Decision(one.row.no, "kept", "closed at the start of a shift: its length is "
                              "an upper bound"))
    return replace(one, end_is_bound=True)
