"""Picture of a year of records: what happened when, what was seen late, what is missing."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING

from labkit.evidence.log_analysis import analyse_log
from labkit.evidence.log_cleaning import CleanLog
from labkit.plant.plant import Plant
from lessons.pictures.page import axes, inks, type_size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# What stands in a row, and the mark of it.
ROWS = {
    "failures": "X", "latent fault": "", "switchover tests": "o", "false switchovers": "v",
    "bus noise": "|", "supply dips": "s", "planned work": "|", "process alarms": "|",
}


def _days(log: CleanLog) -> Mapping[str, list[float]]:
    """Return for each row of the picture the days since the year began."""
    kinds = {"bus noise": "bus noise", "supply dip": "supply dips",
             "process alarm": "process alarms", "role change test": "switchover tests"}
    found: dict[str, list[float]] = {name: [] for name in ROWS}
    for one in log.rows:
        if one.failure:
            found["failures"].append(one.start_h / 24)
        elif one.row.kind in kinds:
            found[kinds[one.row.kind]].append(one.start_h / 24)
            if "without a fault" in one.row.text:
                found["false switchovers"].append(one.start_h / 24)
        elif one.planned:
            found["planned work"].append(one.start_h / 24)
    return found


def year_words(log: CleanLog, plant: Plant) -> str:
    """Say in at most 60 words what the picture of a year shows.

    Parameters
    ----------
    log : CleanLog
        From `labkit.evidence.log_cleaning.clean_log`.
    plant : Plant

    Returns
    -------
    str

    Examples
    --------
    >>> from labkit import clean_log, example_year, load_plant
    >>> year_words(clean_log(example_year(), load_plant()), load_plant())[:34]
    'Rows of marks over the months of 2'
    """
    year = analyse_log(log, plant)
    failed = [one for one in log.rows if one.failure]
    names = ", ".join(f"{one.row.designation} {one.row.start:%b}" for one in failed)
    silent = "; ".join(f"{one.designation} may have been dead for {one.longest_days:.0f} days"
                       for one in year.latent)
    gaps = len(year.missed_tests)
    return (
        f"Rows of marks over the months of {log.year}. {len(failed)} failures: {names}. "
        + (f"{silent}. " if silent else "")
        + f"{year.tests} switchover tests, {gaps} left out. {len(year.false_switchovers)} false "
        f"switchovers in {year.groups} group{'s' if year.groups != 1 else ''}. Process "
        "alarms all year, most in summer."
    )


def plot_year(log: CleanLog, plant: Plant, ax: Axes | None = None) -> Axes:
    """Draw a cleaned log over the months of its year.

    Parameters
    ----------
    log : CleanLog
        From `labkit.evidence.log_cleaning.clean_log`.
    plant : Plant
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Examples
    --------
    >>> from labkit import clean_log, example_year, load_plant
    >>> ax = plot_year(clean_log(example_year(), load_plant()), load_plant())
    >>> ax.get_yticklabels()[0].get_text()
    'failures'
    """
    year, days = analyse_log(log, plant), _days(log)
    ax = axes(ax, f"A year of events: {log.year}", "month", "")
    ink, size = inks(ax), type_size(ax)
    for row, (name, marker) in enumerate(ROWS.items()):
        if marker:
            bold = name in ("failures", "false switchovers")
            ax.plot(days[name], [row] * len(days[name]), linestyle="none", marker=marker,
                    markersize=size * (0.75 if bold or marker == "|" else 0.6),
                    color=ink["fault"] if bold else ink["curve"],
                    markeredgewidth=1.5 if marker == "|" else 0.5,
                    markeredgecolor=ink["curve"] if marker == "|" else ink["ink"])
    last, before = -1e9, 0
    for one in sorted((one for one in log.rows if one.failure), key=lambda one: one.start_h):
        day = one.start_h / 24
        length = len(one.row.designation)
        near = day - last < 2.4 * (before + length)
        ax.text(day, -0.85 if near else -0.42, one.row.designation, ha="center", va="bottom",
                fontsize=size, color=ink["ink"])
        last, before = (-1e9, 0) if near else (day, length)
    for window in year.latent:
        row = list(ROWS).index("latent fault")
        begin, end = window.last_good_h / 24, window.found_h / 24
        ax.broken_barh([(begin, end - begin)], (row - 0.3, 0.6), facecolor=ink["paper"],
                       edgecolor=ink["fault"], hatch="//", linewidth=1.5)
        ax.text(end, row, f"  {window.designation}: dead at most {window.longest_days:.0f} days",
                va="center", fontsize=size, color=ink["ink"])
    row = list(ROWS).index("switchover tests")
    for begin_h, end_h in year.missed_tests:
        ax.text((begin_h + end_h) / 48, row, "left out", ha="center", va="center", fontsize=size,
                color=ink["fault"])
    starts = [(datetime(log.year, month, 1) - datetime(log.year, 1, 1)).days
              for month in range(1, 13)]
    ax.set_xticks(starts, [f"{datetime(log.year, month, 1):%b}" for month in range(1, 13)])
    for label in ax.get_xticklabels():
        label.set_horizontalalignment("left")
    counts = {**{name: len(found) for name, found in days.items()},
              "latent fault": len(year.latent)}
    ax.set_yticks(range(len(ROWS)),
                  [name if name == "failures" else f"{name} ({counts[name]})" for name in ROWS])
    ax.set_ylim(len(ROWS) - 0.5, -1.4)
    ax.set_xlim(0, 365)
    ax.grid(False, axis="y")
    return ax
