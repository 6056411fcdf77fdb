"""An invented year of records of the plant of the lessons, 2031, with its flaws.

Five hardware failures and what went with them stand fixed in every seed; alarms, notes, noise
and routine work are drawn. The flaws are those that real logs have: doubled rows, open ends, a
wrong designation, work in the wrong class, an hour that comes twice, two clocks that differ, a
repair closed at the start of the next shift, a fault not found at first, a test left out.
"""

import math
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

from labkit.arguments import count
from labkit.evidence.clock_change import is_missing
from labkit.evidence.log import LogRow, read_log
from labkit.wording import HOURS_PER_YEAR

YEAR = 2031
CLOCK_OFFSET_S = 1.8
TIDE_H = 12.42
PROBES = ("BQ1", "BQ2", "BQ3", "BQ4")


def _first_tuesday(month: int) -> datetime:
    first = datetime(YEAR, month, 1, 10, 0)
    return first + timedelta(days=(1 - first.weekday()) % 7)


def _row(start, end, designation, kind, text, source="person", planned="n", restored_by="",
         remark="", outcome="") -> LogRow:
    return LogRow(0, start, end, designation, kind, text, source, planned, restored_by, remark,
                  outcome)


def _fixed() -> tuple[LogRow, ...]:
    """Return the five failures and what went with them, and what comes on fixed days.

    KF2 in row 2 is a wrong designation: the interface is meant. Row 5 is a failure that was
    entered as planned work, closed by the next shift. Rows 9 and 10 lie over the hour that comes
    twice: 20 min and 3 h in truth.
    """
    return read_log(Path(__file__).parent / "files" / "fixed_events.csv").rows


def _tests() -> list[LogRow]:
    """Return the switchover tests: two rows each, one from either controller."""
    rows = []
    for month in range(1, 13):
        if month == 8:
            continue
        start = _first_tuesday(month)
        away, back = ("KF1", "KF2") if month % 2 else ("KF2", "KF1")
        for source, offset_s in (("controller A", 0.0), ("controller B", CLOCK_OFFSET_S)):
            moment = start + timedelta(seconds=offset_s)
            rows.append(_row(moment, moment, "KF1", "role change test",
                             f"role change {away} to {back}, monthly test, as expected",
                             source, "y", outcome="good"))
    return rows


def _noise(random: Random) -> list[LogRow]:
    """Return the afternoon on which somebody welded on the quay."""
    begin = datetime(YEAR, 4, 8, 13, 2)
    moments = sorted(random.uniform(0, 3 * 3600) for _ in range(38))
    false_ones = set(random.sample(range(38), 4))
    rows = []
    for number, after_s in enumerate(moments):
        start = begin + timedelta(seconds=round(after_s, 1))
        text = "role change without a fault, partner missed" if number in false_ones else \
            "frames with errors, beats missed"
        rows.append(_row(start, start, "WF9", "bus noise", text,
                         random.choice(("controller A", "controller B"))))
    return rows


def _alarms(random: Random) -> list[LogRow]:
    """Return 173 process alarms that follow the tide, more of them in summer."""
    tides = [number * TIDE_H for number in range(int(HOURS_PER_YEAR / TIDE_H))]
    weights = [1.0 - 0.8 * math.cos(2 * math.pi * tide_h / HOURS_PER_YEAR) for tide_h in tides]
    rows = []
    for tide_h in random.choices(tides, weights, k=173):
        start = datetime(YEAR, 1, 1) + timedelta(hours=tide_h, minutes=random.uniform(-40, 40))
        start = max(start, datetime(YEAR, 1, 1, 0, 5)).replace(microsecond=0)
        warm = 4 <= start.month <= 9
        designation = random.choice(PROBES) if warm and random.random() < 0.6 else "BL1"
        text = "oxygen low, blowers checked" if designation in PROBES else \
            random.choice(("level high at spring tide", "level low at neap tide"))
        rows.append(_row(start, start + timedelta(minutes=random.randint(3, 40)), designation,
                         "process alarm", text, "panel"))
    return rows


def _notes(random: Random) -> list[LogRow]:
    days = sorted(random.sample(range(365), 110))
    texts = ("night shift, all quiet", "alarm acknowledged", "tide alarm acknowledged, normal",
             "basins walked, normal", "handed over, nothing open")
    rows = []
    for day in days:
        start = datetime(YEAR, 1, 1) + timedelta(days=day, hours=random.choice((22, 23, 2, 4)),
                                                 minutes=random.randint(0, 59))
        rows.append(_row(start, start, "", "note", random.choice(texts), "person", "?"))
    return rows


def _routine(random: Random) -> list[LogRow]:
    """Return probe cleaning and other maintenance."""
    rows = []
    for number in range(26):
        start = datetime(YEAR, 1, 6, 8, 0) + timedelta(days=14 * number)
        rows.append(_row(start, start + timedelta(minutes=random.randint(35, 75)), "BQ1",
                         "cleaning", "planned: probes BQ1 to BQ4 cleaned", "person", "y"))
    jobs = (("GQ1", "filter of blower 1 changed"), ("GQ2", "filter of blower 2 changed"),
            ("GP2", "gland of pump 2 set"), ("KF10", "cabinet fan cleaned"),
            ("PH1", "panel glass cleaned, lamp test"), ("BL1", "level sensor compared with tape"),
            ("TB1", "supply measured under load"), ("WF4", "terminator at the quay looked at"))
    for number in range(33):
        designation, job = jobs[number % len(jobs)]
        start = (datetime(YEAR, 1, 9, 9) + timedelta(days=random.randint(0, 340)))
        marked = number < 2
        rows.append(_row(start, start + timedelta(minutes=random.randint(20, 180)), designation,
                         "failure" if marked else "maintenance", f"planned: {job}", "person",
                         "n" if marked else "y", "maintenance"))
    return rows


def example_year(seed: int = 1, *, second_failure: bool = False) -> tuple[LogRow, ...]:
    """Make an invented year of records of the plant of the lessons.

    Parameters
    ----------
    seed : int
        Draws alarms, notes, noise and routine work; the story is the same in every seed.
    second_failure : bool
        A second failure of a controller, in July.

    Returns
    -------
    tuple of LogRow
        Some 420 rows in order of local time, numbered from 1.

    Examples
    --------
    >>> rows = example_year()
    >>> sum(row.kind == "process alarm" for row in rows) >= 175
    True
    """
    seed = count("seed", seed)
    random = Random(f"year {YEAR} {seed}")
    rows = [*_fixed(), *_tests(), *_noise(random), *_alarms(random),
            *_notes(random), *_routine(random)]
    if second_failure:
        start = datetime(YEAR, 7, 20, 14, 8)
        rows.append(_row(start, start + timedelta(hours=5.1), "KF2", "failure",
                         "controller 2 stopped by its own fault, KF1 took over", "controller A",
                         "n", "maintenance", "unit changed"))
    # times that no clock shows are moved behind the change
    rows = [replace(row, start=row.start + timedelta(hours=1), end=row.end and
                    row.end + timedelta(hours=1)) if is_missing(row.start) else row
            for row in rows]
    quiet = [number for number, row in enumerate(rows) if row.kind == "process alarm"
             and row.start.date() != datetime(YEAR, 10, 26).date()]
    chosen = random.sample(quiet, 8)
    for number in chosen[:2]:
        rows[number] = replace(rows[number], end=None)
    open_job = next(number for number, row in enumerate(rows)
                    if row.kind == "maintenance" and row.designation == "GQ2")
    rows[open_job] = replace(rows[open_job], end=None)
    for number in chosen[2:]:
        later_s = random.choice((0, 0, 5, 12))
        rows.append(replace(rows[number], source="person",
                            start=rows[number].start + timedelta(seconds=later_s)))
    order = sorted(range(len(rows)), key=lambda number: (rows[number].start, number))
    # at the hour that comes twice the panel wrote in true order
    return tuple(replace(rows[number], no=place) for place, number in enumerate(order, 1))
