"""Lesson 11, a year of events: what do the records prove?"""

import functools
from types import SimpleNamespace

from labkit.evidence.example_year import example_year
from labkit.evidence.limits import mtbf_limits
from labkit.evidence.log import LogRow
from labkit.evidence.log_analysis import KindFigures, YearFigures, analyse_log
from labkit.evidence.log_cleaning import CleanLog, clean_log
from labkit.plant.plant import load_plant
from labkit.wording import HOURS_PER_YEAR, shown
from lessons.exercises.item_file import read_items

NEITHER, AGAINST, BETTER = (
    "neither proved nor disproved",
    "the year speaks against the assumption",
    "the year is better than the assumption",
)
SHORT = {NEITHER: "left open", AGAINST: "too high", BETTER: "too low"}


@functools.cache
def the_year(seed: int = 1, *, second_failure: bool = False
             ) -> tuple[tuple[LogRow, ...], CleanLog, YearFigures]:
    """Return the rows of an invented year, what cleaning leaves of them, and the results.

    Parameters
    ----------
    seed : int
        Of the invented year.
    second_failure : bool
        Whether a controller fails a second time.

    >>> rows, log, figures = the_year()
    >>> len(log.rows) < len(rows)
    True
    """
    plant = load_plant()
    rows = example_year(seed, second_failure=second_failure)
    log = clean_log(rows, plant)
    return rows, log, analyse_log(log, plant)


def _four(value: float) -> float:
    """Return a value with four digits: what stands in a task is what the answer is worked from."""
    return float(f"{value:.4g}")


def _limited(figures: KindFigures) -> dict[str, object]:
    limits, exposure_h = figures.mtbf_h, figures.exposure_h
    low, up = _four(exposure_h / limits.lower), _four(exposure_h / limits.upper)
    return {
        "exposure_h": exposure_h,
        "one_h": exposure_h / figures.units,
        "point_h": limits.point,
        "lower_h": exposure_h / low,
        "upper_h": exposure_h / up,
        "said_lower_h": _four(exposure_h / low),
        "said_upper_h": _four(exposure_h / up),
        "low": low,
        "up": up,
        "verdict": figures.verdict,
    }


def _watched(numbers: SimpleNamespace) -> dict[str, object]:
    """What follows from units, years, failures and the assumption of the plant file."""
    exposure_h = numbers.units * numbers.years * HOURS_PER_YEAR
    return _limited(KindFigures("", numbers.units, exposure_h, numbers.failures,
                                mtbf_limits(exposure_h, numbers.failures), numbers.assumed_h)) | {
        "year": "year" if numbers.years == 1 else "years",
        "failure": "failure" if numbers.failures == 1 else "failures",
    }


COUNTS = ((1.0, 0), (1.0, 1), (1.0, 2), (1.0, 3), (10.0, 10))


def limits_text(units: int, assumed_h: float) -> str:
    """Say for several counts of failures within which limits the MTBF lies.

    Parameters
    ----------
    units : int
        Units watched, >= 1.
    assumed_h : float
        MTBF that was assumed, > 0, in h.

    Returns
    -------
    str
        One line for each count, 90 % limits.

    >>> limits_text(2, 60_000).splitlines()[2]
    ' 1 year, 1 failure: 3 693 h to 341 600 h; 60 000 h is inside'
    """
    lines = ["90 % limits of the MTBF, two-sided:"]
    for years, failures in COUNTS:
        limits = mtbf_limits(units * years * HOURS_PER_YEAR, failures)
        upper = f"to {shown(_four(limits.upper))} h" if failures else "and no upper limit"
        place = "inside" if limits.lower <= assumed_h <= limits.upper else "outside"
        what = f"{years:2.0f} year{'s' if years > 1 else ''}, {failures} failure"
        what += "s" if failures != 1 else ""
        lines.append(f"{what}: {shown(_four(limits.lower))} h {upper}; "
                     f"{shown(assumed_h)} h is {place}")
    return "\n".join(lines).replace("\u202f", " ")


def _worth(row: LogRow, log: CleanLog) -> str:
    """What cleaning makes of a row, in the words of the table."""
    found = next((one for one in log.rows if one.row.no == row.no), None)
    if found is None:
        return "a double"
    if found.failure:
        other = found.row.designation != row.designation
        return "another part failed" if other else "a failure"
    if row.kind == "failure":
        return "planned work" if found.planned else "a first sign"
    return "no failure"


def _as_written(row: LogRow) -> str:
    end = f" to {row.end:%H:%M}" if row.end and row.end != row.start else ""
    planned = {"y": ", planned", "n": ", not planned"}.get(row.planned, "")
    return (f"{row.start:%d %b %H:%M}{end}, {row.designation or 'no part'}, {row.kind}{planned}: "
            f"{row.text}")


def _five(numbers: SimpleNamespace) -> dict[str, object]:
    rows, log, _ = the_year(numbers.seed)
    merged = {no for one in log.rows for no in one.merged}
    doubles = [row for row in rows if row.no in merged and row.kind == "process alarm"]
    chosen = {
        "A": next(row for row in rows if row.kind == "failure" and row.designation == "KF1"),
        "B": next(row for row in rows if row.designation == "GP1"),
        "C": next(row for row in rows if "KF20B" in row.text),
        "D": next(row for row in rows if "no fault found" in row.text),
        "E": doubles[0],
    }
    first = next(row for row in rows for one in log.rows
                 if row.no == one.row.no and doubles[0].no in one.merged)
    return {
        "first_no": first.no,
        **{f"said_{letter}": _as_written(row) for letter, row in chosen.items()},
        **{f"worth_{letter}": _worth(row, log) for letter, row in chosen.items()},
    }


def _analysis(numbers: SimpleNamespace) -> dict[str, object]:
    rows, log, figures = the_year(numbers.seed, second_failure=numbers.second)
    controllers = next(one for one in figures.kinds if one.kind == "controller")
    panel_h = figures.lost_h("see and act")
    return _limited(controllers) | {
        "rows": len(rows), "kept_rows": len(log.rows), "decisions": len(log.decisions),
        "failures": controllers.failures,
        "none_h": mtbf_limits(controllers.exposure_h, 0, sided="lower").lower,
        "panel_h": panel_h,
        "panel_min": round(60 * (panel_h % 1)),
        "control_min": round(60 * figures.lost_h("control kept")),
        "silent_d": figures.latent[0].longest_days,
        "silent_part": figures.latent[0].designation,
        "groups": figures.groups,
        "false": len(figures.false_switchovers),
    }


LESSON = read_items(__file__, globals())
