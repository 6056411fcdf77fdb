"""Lesson 11, a year of events: what do the records prove?"""

from __future__ import annotations

import functools
import math
from types import SimpleNamespace

from labkit.evidence.example_year import example_year
from labkit.evidence.limits import mtbf_limits
from labkit.evidence.log import LogRow
from labkit.evidence.log_analysis import KindFigures, YearFigures, analyse_log
from labkit.evidence.log_cleaning import CleanLog, clean_log
from labkit.plant.plant import load_plant
from labkit.wording import HOURS_PER_YEAR, shown
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.numeric import Fingerprint, Numeric
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.table import Free, Pick, Table

__all__ = ["LESSON", "limits_text", "the_year"]

FIND = "find the rows of a log that are not what they seem"
CALCULATE = "calculate unit-hours and the limits of an MTBF"
CHOOSE = "choose the statements that a year of records supports"

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

    Returns
    -------
    tuple
        Rows, cleaned log, results.

    Examples
    --------
    >>> rows, log, figures = the_year()
    >>> len(log.rows) < len(rows)
    True
    """
    plant = load_plant()
    rows = example_year(seed, second_failure=second_failure)
    log = clean_log(rows, plant)
    return rows, log, analyse_log(log, plant)


def _four(value: float) -> float:
    """Return a value with four digits, so that its divisors give it on any calculator."""
    return float(f"{value:.4g}")


def _watched(numbers: SimpleNamespace) -> dict[str, object]:
    """What follows from units, years, failures and the assumption of the plant file."""
    exposure_h = numbers.units * numbers.years * HOURS_PER_YEAR
    limits = mtbf_limits(exposure_h, numbers.failures)
    figures = KindFigures("", numbers.units, exposure_h, numbers.failures, limits,
                          numbers.assumed_h)
    return {
        "exposure_h": exposure_h,
        "one_h": numbers.years * HOURS_PER_YEAR,
        "point_h": limits.point,
        "lower_h": limits.lower,
        "upper_h": limits.upper,
        "said_lower_h": _four(limits.lower),
        "said_upper_h": _four(limits.upper),
        "low": exposure_h / limits.lower,
        "up": exposure_h / limits.upper,
        "verdict": figures.verdict,
        "year": "year" if numbers.years == 1 else "years",
        "failure": "failure" if numbers.failures == 1 else "failures",
    }


# ---------------------------------------------------------------- recall

RATE = Case(
    "11-rate",
    "{units} controllers run all year. Each has an MTBF of {mtbf_h} h.",
    {"units": (2, 4, 12), "mtbf_h": (60_000.0, 90_000.0, 45_000.0)},
    lambda n: {"per_a": n.units * HOURS_PER_YEAR / n.mtbf_h,
               "years": n.mtbf_h / HOURS_PER_YEAR / n.units},
)
SILENT_MEAN = Case(
    "11-sleep", "A fault of the standby shows only at the test, once in {days} days.",
    {"days": (182.0, 28.0, 91.0, 365.0)},
)
ENOUGH = Case(
    "11-enough",
    "Two {what}s, and one is enough. At night one of them fails. The other one runs on.",
    {"what": ("pump", "blower", "fan")},
)

RECALL = (
    Numeric(
        "11-recall-rate", "From lesson 01: failures to be expected", CALCULATE, RATE,
        "How many failures a year are to be expected of all together?", "1/a",
        lambda n: n.per_a,
        "each of the {units} brings 8760 h a year, and each MTBF one failure.",
        Hints(
            "Look at how many hours all of them run in a year.",
            "Failures a year = units × 8760 h / MTBF.",
            "{units} × 8760 h / {mtbf_h} h = {per_a:.3f} a year.",
        ),
        (
            Fingerprint("S07", lambda n: n.per_a / n.units,
                        "That is one controller. How many run?"),
            Fingerprint("S03", lambda n: n.years,
                        "That is the number of years between two failures. How many come in one?"),
        ),
    ),
    Choice(
        "11-recall-enough", "From lesson 02: one of two is enough", FIND, ENOUGH,
        "Which entry fits?",
        (
            Option("both", "A failure of one {what}, and no outage",
                   "the part failed, and the function was kept: both belong into the log.", True),
            Option("outage", "An outage that lasts as long as the repair",
                   "One of two is enough. What was missing while the other one ran?",
                   misconception="M31"),
            Option("nothing", "Nothing, since nobody missed anything",
                   "A {what} was repaired. How would its MTBF ever be known without the entry?",
                   misconception="M31"),
        ),
        Hints(
            "Look at part and function apart.",
            "A part fails; a function is lost only if too few parts are left.",
            "One {what} failed, one of two is enough: a failure without an outage.",
        ),
    ),
    Numeric(
        "11-recall-sleep", "From lesson 09: how long a fault sleeps", FIND, SILENT_MEAN,
        "For how long is it there before it is found, on average?", "d",
        lambda n: n.days / 2,
        "it comes anywhere between two tests, half the interval before the end on average.",
        Hints(
            "Look at when the fault may have come.",
            "Mean time unseen = interval / 2.",
            "{days} d / 2 is the mean time unseen.",
        ),
        (
            Fingerprint("M14", lambda n: n.days,
                        "That is the longest time. Does each fault come right after a test?"),
        ),
    ),
)

# ---------------------------------------------------------------- prediction

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

    Examples
    --------
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


PROVED = Case(
    "11-proved",
    "Two controllers run for a year, 17 520 unit-hours. One of them fails once. The plant file "
    "assumes an MTBF of {assumed_h} h.",
    {"units": (2,), "years": (1.0,), "failures": (1,), "assumed_h": (60_000.0,)},
    lambda n: _watched(n) | {
        "second": mtbf_limits(n.units * HOURS_PER_YEAR, 2),
        "none": mtbf_limits(n.units * HOURS_PER_YEAR, 0),
        "ten": mtbf_limits(10 * n.units * HOURS_PER_YEAR, 10),
    },
)
PREDICTION = Prediction(
    "11-one-failure", "Predict first", CHOOSE, PROVED,
    "What does the year say about the {assumed_h} h?",
    (
        Option("against", "too high: one failure in 17 520 h speaks against it",
               right=lambda n: n.verdict == AGAINST, misconception="M28"),
        Option("proved", "shown: one of two units ran without a failure",
               right=lambda n: n.verdict == BETTER, misconception="M28"),
        Option("neither", "neither: far smaller and far larger values fit too",
               right=lambda n: n.verdict == NEITHER, misconception="M28"),
    ),
    (
        Statement("second", "One failure more would have put the assumption outside the limits.",
                  lambda n: n.second.upper < n.assumed_h),
        Statement("none", "A year without a failure would have proved the assumption.",
                  lambda n: n.none.lower >= n.assumed_h),
        Statement("ten", "Ten times the hours with ten failures bring the limits closer together.",
                  lambda n: n.ten.upper / n.ten.lower < n.upper_h / n.lower_h),
    ),
    lambda n: limits_text(n.units, n.assumed_h),
    "Set 1 year and 1 failure. Then no failure, then 2. Then 10 years and 10 failures.",
    Hints(
        "Look at how few failures there are to count.",
        "With r failures the count itself could have been a few more or fewer.",
        "The limits for one failure are unit-hours / {low:.4g} and unit-hours / {up:.4g}.",
    ),
)

# ---------------------------------------------------------------- rows that are not what they seem

WORTH = ("a failure", "planned work", "another part failed", "a first sign",
         "a double", "no failure")


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


QUESTIONS = {
    "A": {"planned work": ("M29", "The unit stopped by its own fault. Who had planned that?"),
          "no failure": ("M31", "KF2 took over. Did KF1 still work?")},
    "B": {"planned work": ("M29", "A hot bearing, defective: does planned work begin that way?"),
          "no failure": ("M31", "GP2 ran on. Does a part that is repaired not count?")},
    "C": {"a failure": ("S07", "It stands under KF2. Which part was found dead?"),
          "no failure": ("M31", "A part was found dead. Which one?")},
    "D": {"a failure": ("S07", "The same part was found dead nine days later. One failure, or "
                               "two?"),
          "no failure": ("S07", "Nine days later TF1 was found dead. Had it shown itself before?")},
    "E": {"no failure": ("S07", "It is no failure. Does it count once, or twice with row "
                                "{first_no}?"),
          "a first sign": ("S07", "Row {first_no} says the same. Did it happen twice?")},
}
ROWS = Table(
    "11-rows", "Five rows of the log", FIND,
    Case("11-rows", "Row E has a neighbour, row {first_no}, with the same part, class and text. "
         "Nine days after row D the supply of TF1 was found dead.", {"seed": (1, 2, 3, 7)}, _five),
    "What is each row worth for the count of failures?",
    tuple(QUESTIONS),
    ("written", "worth"),
    {
        **{(letter, "written"): f"{{said_{letter}}}" for letter in QUESTIONS},
        **{
            (letter, "worth"): Pick(
                WORTH, lambda n, letter=letter: getattr(n, f"worth_{letter}"), questions)
            for letter, questions in QUESTIONS.items()
        },
    },
    "the text of a row outweighs its class, and each correction is written down.",
    Hints(
        "Look at the text first, then at class and part.",
        "A failure ends the ability of a part, and nobody had planned it.",
        "A, B: failures. C: another part. D: a first sign. E: a double.",
    ),
    corner="row",
    kept=False,
)

# ---------------------------------------------------------------- a burst

BURST = Choice(
    "11-burst", "Four false switchovers", CHOOSE,
    Case(
        "11-burst",
        "The log has {count} switchovers without a fault, all within about {hours:.1f} h on {day}. "
        "On that afternoon somebody welded on the quay.",
        {"seed": (1, 2, 3, 5, 8)},
        lambda n: {
            "count": len(the_year(n.seed)[2].false_switchovers),
            "hours": the_year(n.seed)[2].false_switchovers[-1]
            - the_year(n.seed)[2].false_switchovers[0],
            "day": "8 April",
            "decade": 10 * len(the_year(n.seed)[2].false_switchovers),
        },
    ),
    "What do you report?",
    (
        Option("burst", "One burst with its day and cause, and no rate",
               "they have one cause in common, so they count as one event.", True),
        Option("rate", "A rate of {count} a year, {decade} in ten years",
               "All came in one afternoon. What would the other 364 days say to that rate?",
               misconception="M28"),
        Option("nothing", "Nothing, since the process saw no effect",
               "Each switchover may fail. How many more afternoons of welding will come?",
               misconception="M12"),
        Option("longer", "A time-out that is too short, so one beat more",
               "A burst takes all beats that fall into it. What would one beat more change?",
               misconception="M39"),
    ),
    Hints(
        "Look at the days on which they came.",
        "A rate needs events that come one by one.",
        "{count} events, one afternoon, one cause: one burst.",
    ),
)

# ---------------------------------------------------------------- faded chains


def _case(name: str, what: str, units: tuple, years: tuple, failures: tuple, assumed: tuple
          ) -> Case:
    return Case(
        f"11-{name}",
        f"{{units}} {what} were watched for {{years}} {{year}}: {{failures}} {{failure}}. The "
        "plant file assumes {assumed_h} h. For this count the 90 % limits are unit-hours / "
        "{low:.4g} and unit-hours / {up:.4g}.",
        {"units": units, "years": years, "failures": failures, "assumed_h": assumed},
        _watched,
    )


EXAMPLE = _case("worked", "controllers", (2, 4), (1.0,), (1,), (60_000.0,))
TURNS = (
    _case("turn-1", "bus repeaters", (3, 5), (1.0, 2.0), (2, 3), (180_000.0, 240_000.0)),
    _case("turn-2", "rack interfaces", (6, 8), (1.0, 3.0), (1, 2), (220_000.0, 150_000.0)),
    _case("turn-3", "intake pumps", (2, 4), (3.0, 5.0), (2, 3, 1), (25_000.0, 90_000.0)),
)
WORKED = (
    "{units} bars of {years} {year} side by side, a cross for each failure.",
    "Unit-hours: {units} × {years} × 8760 h = {exposure_h} h; {failures} {failure}.",
    "{exposure_h} / {low:.4g} = {said_lower_h} h and {exposure_h} / {up:.4g} = {said_upper_h} h.",
    "{assumed_h} h against {said_lower_h} h to {said_upper_h} h: {verdict}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", CALCULATE, case,
        "Which sketch fits what was watched?",
        (
            Option("side by side", "{units} bars of {years} {year} each, a cross per failure",
                   "each unit brings its own hours, and repair lets it run on.", True),
            Option("one bar", "one bar of {years} {year}, all crosses on it",
                   "{units} units ran at the same time. Whose hours are missing?",
                   misconception="S07"),
            Option("until", "{units} bars, each of which ends at a cross",
                   "A unit is repaired and runs on. Does an MTBF end with the first failure?",
                   misconception="M01"),
        ),
        Hints(
            "Look at what runs at the same time.",
            "One bar for each unit; a failure is a cross on it.",
            WORKED[0],
        ),
    )


def _sort(case: Case) -> Numeric:
    forgotten = () if 1.0 in case.numbers["years"] else (
        Fingerprint("S07", lambda n: n.units * HOURS_PER_YEAR,
                    "That is one year. For how many were they watched?"),)
    return Numeric(
        f"{case.id}.sort", "Sort", CALCULATE, case,
        "How many unit-hours were watched?", "h",
        lambda n: n.exposure_h,
        "each unit brings 8760 h for each year.",
        Hints("Look at the bars of the sketch.", "Unit-hours = units × years × 8760 h.",
              WORKED[1]),
        (
            Fingerprint("S07", lambda n: n.one_h,
                        "That is one unit. How many were watched at the same time?"),
            *forgotten,
        ),
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CALCULATE, case,
        "What is the upper limit of the MTBF?", "h",
        lambda n: n.upper_h,
        "a unit better than that would have shown so many failures too rarely.",
        Hints(
            "Look at which of the two divisors gives the larger value.",
            "Upper limit = unit-hours / the smaller divisor.",
            WORKED[2],
        ),
        (
            Fingerprint("S05", lambda n: n.lower_h,
                        "That is the lower limit. Which end is asked for?"),
            Fingerprint("M28", lambda n: n.point_h,
                        "That is unit-hours / failures. Would the next year bring the same count?"),
        ),
        follows=f"{case.id}.sort",
        solve_from=lambda n, exposure_h: exposure_h / n.up,
    )


def _compare(case: Case) -> Choice:
    reply = "{assumed_h} h against {said_lower_h} h to {said_upper_h} h."
    question = "Where do {assumed_h} h lie: below, between or above your two limits?"
    return Choice(
        f"{case.id}.compare", "Compare", CHOOSE, case,
        "How does the assumption stand against the limits?",
        (
            Option("neither", "between them: neither proved nor disproved", reply,
                   lambda n: n.verdict == NEITHER, "M28", question),
            Option("against", "above the upper one: the records speak against it", reply,
                   lambda n: n.verdict == AGAINST, "M28", question),
            Option("better", "below the lower one: the records are better", reply,
                   lambda n: n.verdict == BETTER, "M28", question),
        ),
        Hints(
            "Look at both limits, not at the mean.",
            "Inside the limits an assumption is neither proved nor disproved.",
            WORKED[3],
        ),
    )


CHAINS, CHAIN_ITEMS = faded((EXAMPLE, *TURNS), (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drill and votes

DRILL = Numeric(
    "11-drill", "Drill: the lower limit", CALCULATE,
    Case(
        "11-drill",
        "{units} {what} were watched for {years} {year}: {failures} {failure}. For this count "
        "the 90 % limits are unit-hours / {low:.4g} and unit-hours / {up:.4g}.",
        {
            "which": (("level sensors", 150_000.0), ("24 V supplies", 250_000.0),
                      ("racks", 110_000.0), ("oxygen probes", 30_000.0), ("blowers", 30_000.0)),
            "units": (2, 3, 4, 8),
            "years": (1.0, 2.0, 5.0),
            "failures": (2, 3, 4),
        },
        lambda n: {"what": n.which[0]} | _watched(
            SimpleNamespace(**vars(n), assumed_h=n.which[1])),
    ),
    "What is the lower limit of the MTBF?", "h",
    lambda n: n.lower_h,
    "a unit worse than that would have shown so few failures too rarely.",
    Hints(
        "Look at unit-hours first, then at which divisor is the larger one.",
        "Lower limit = units × years × 8760 h / the larger divisor.",
        "{exposure_h} h / {low:.4g} = {said_lower_h} h.",
    ),
    (
        Fingerprint("S05", lambda n: n.upper_h, "That is the upper limit. Which end is asked for?"),
        Fingerprint("M28", lambda n: n.point_h,
                    "That is unit-hours / failures. How sure is a count of {failures}?"),
        Fingerprint("S05", lambda n: n.exposure_h,
                    "Those are the unit-hours. Which divisor belongs to them?"),
        Fingerprint("S07", lambda n: n.lower_h / n.units,
                    "That uses the hours of one unit. How many were watched?"),
    ),
)

VOTES = (
    Choice(
        "11-vote-quiet", "For voting: a year without failures", CHOOSE,
        Case(
            "11-vote-quiet",
            "{units} controllers ran for a year without a failure.",
            {"units": (2, 3, 4, 6)},
            lambda n: {
                "exposure_h": n.units * HOURS_PER_YEAR,
                "proved_h": round(mtbf_limits(n.units * HOURS_PER_YEAR, 0, sided="lower").lower,
                                  -2),
                "chance": math.exp(-n.units * HOURS_PER_YEAR / 30_000.0),
            },
        ),
        "What is proved with 90 % confidence?",
        (
            Option("limit", "An MTBF of about {proved_h} h or more",
                   "no failure proves the unit-hours divided by 2.303, and no more.", True),
            Option("assumed", "The MTBF of 60 000 h of the plant file",
                   "Units of 30 000 h pass such a year in {chance:.0%} of all cases. Does passing "
                   "tell them apart?",
                   misconception="M28"),
            Option("watched", "An MTBF of {exposure_h} h, the hours watched",
                   "A unit of that MTBF passes in 37 of 100 cases. Where is the 90 %?",
                   misconception="M28"),
            Option("quiet", "That next year brings no failure either",
                   "The failure rate is the same each year. What was proved to be zero?",
                   misconception="M02"),
        ),
        Hints(
            "Look at what a worse unit would have shown.",
            "Lower limit = unit-hours / 2.303.",
            "{exposure_h} h / 2.303 is about {proved_h} h.",
        ),
        voting=True,
    ),
    Choice(
        "11-vote-planned", "For voting: planned stops", CHOOSE,
        Case(
            "11-vote-planned",
            "A year: {lost_min} min lost by a failure, {planned_h} h of planned stops.",
            {"lost_min": (52.0, 20.0, 90.0), "planned_h": (8.0, 12.0, 24.0)},
            lambda n: {
                "without": 1 - n.lost_min / 60 / HOURS_PER_YEAR,
                "with_all": 1 - (n.lost_min / 60 + n.planned_h) / HOURS_PER_YEAR,
            },
        ),
        "Which availability goes into the report?",
        (
            Option("both", "Both, each with what it counts",
                   "{without:.3%} without and {with_all:.3%} with planned stops: the definition "
                   "decides.", True),
            Option("without", "{without:.3%}, planned stops do not count",
                   "The basins were without control for {planned_h} h. Who agreed that this does "
                   "not count?", misconception="M29"),
            Option("with", "{with_all:.3%}, a stop is a stop",
                   "Planned stops are chosen for a quiet hour. Does the manager ask about failures "
                   "or about all?", misconception="M29"),
        ),
        Hints(
            "Look for who will read the number, and for what.",
            "An availability is worth as much as its definition.",
            "Give both: {without:.3%} and {with_all:.3%}, and say what each counts.",
        ),
        voting=True,
    ),
)

# ---------------------------------------------------------------- make: the log analysis


def _analysis(numbers: SimpleNamespace) -> dict[str, object]:
    rows, log, figures = the_year(numbers.seed, second_failure=numbers.second)
    controllers = next(one for one in figures.kinds if one.kind == "controller")
    panel_h = figures.lost_h("see and act")
    return {
        "rows": len(rows), "kept_rows": len(log.rows), "decisions": len(log.decisions),
        "failures": controllers.failures,
        "exposure_h": controllers.exposure_h,
        "one_h": controllers.exposure_h / controllers.units,
        "point_h": controllers.mtbf_h.point,
        "lower_h": controllers.mtbf_h.lower,
        "upper_h": controllers.mtbf_h.upper,
        "said_lower_h": _four(controllers.mtbf_h.lower),
        "said_upper_h": _four(controllers.mtbf_h.upper),
        "none_h": mtbf_limits(controllers.exposure_h, 0, sided="lower").lower,
        "low": controllers.exposure_h / controllers.mtbf_h.lower,
        "up": controllers.exposure_h / controllers.mtbf_h.upper,
        "verdict": controllers.verdict,
        "panel_h": panel_h,
        "panel_min": round(60 * (panel_h % 1)),
        "control_min": round(60 * figures.lost_h("control kept")),
        "silent_d": figures.latent[0].longest_days,
        "silent_part": figures.latent[0].designation,
        "bursts": figures.bursts,
        "false": len(figures.false_switchovers),
    }


ANALYSIS_CASE = Case(
    "11-analysis",
    "Brackenquay, 2031, invented: {rows} rows, {decisions} decisions, {kept_rows} events left. "
    "Hardware failures of the two controllers: {failures}; plant file: 60 000 h. Divisors of "
    "the 90 % limits for this count: {low:.4g} and {up:.4g}. Panel: dark from 22:41 on 19 June to 03:53. "
    "{silent_part}: good on 6 May, dead on 3 June. {false} false switchovers, all on 8 April. "
    "GB1, the battery of the UPS: at its end on 14 November, no control for {control_min} min.",
    {"second": (False, True), "seed": (1, 2, 3)},
    _analysis,
)


def _entry(key: str, row: str, own_unit: str, solve, marks: tuple = (), tolerance: float = 0.02
           ) -> Numeric:
    return Numeric(f"11-analysis.{key}", row, CALCULATE, ANALYSIS_CASE, row, own_unit, solve, "",
                   Hints("", "", ""), marks, tolerance=tolerance, shows_unit=True)


ENTRIES = {
    "unit-hours of the controllers": _entry(
        "exposure", "unit-hours of the controllers", "h", lambda n: n.exposure_h,
        (Fingerprint("S07", lambda n: n.one_h, "That is one controller. How many ran?"),)),
    "lower limit of their MTBF": _entry(
        "lower", "lower limit of their MTBF", "h", lambda n: n.lower_h,
        (Fingerprint("M28", lambda n: n.point_h,
                     "That is the mean alone. What does its interval say?"),
         Fingerprint("M28", lambda n: n.none_h,
                     "That is the limit without a failure. How many failures are there?"))),
    "upper limit of their MTBF": _entry(
        "upper", "upper limit of their MTBF", "h", lambda n: n.upper_h,
        (Fingerprint("S05", lambda n: n.lower_h,
                     "That is the lower limit. Which divisor gives more?"),)),
    "verdict on 60 000 h": Pick(
        tuple(SHORT.values()), lambda n: SHORT[n.verdict],
        {SHORT[AGAINST]: ("M28", "Does 60 000 h lie above both limits?"),
         SHORT[NEITHER]: ("M28", "Does 60 000 h lie between both limits?"),
         SHORT[BETTER]: ("M28", "Does 60 000 h lie below both limits?")}),
    "panel lost": _entry(
        "panel", "panel lost", "h", lambda n: n.panel_h,
        (Fingerprint("S05", lambda n: 24 - n.panel_h,
                     "Midnight lies between the two times. How long was it before, and after?"),
         Fingerprint("S01", lambda n: n.panel_h // 1 + n.panel_min / 100,
                     "{panel_min} min are not 0.{panel_min} h. Which part of an hour are they?")),
        tolerance=0.005),
    "latent fault, at most": _entry(
        "silent", "latent fault, at most", "d", lambda n: n.silent_d,
        (Fingerprint("M14", lambda n: n.silent_d / 2,
                     "That is a mean over many faults. How long can this one have been there?"),)),
    "false switchovers": Pick(
        ("one burst, no rate", "a rate per year", "not worth a line"),
        lambda n: "one burst, no rate" if n.bursts == 1 else "a rate per year",
        {"a rate per year": ("M28", "On how many days did they come?"),
         "not worth a line": ("M12", "Each may fail. What comes with the next welding?")}),
}
ANALYSIS = Table(
    "11-analysis", "Log analysis", CALCULATE, ANALYSIS_CASE,
    "Fill the page: numbers with their limits, and a verdict. Under actions: what is to be done, "
    "and what the year does not prove.",
    (*ENTRIES, "actions"),
    ("entry",),
    {
        **{(row, "entry"): cell for row, cell in ENTRIES.items()},
        ("actions", "entry"): Free(
            "Change the UPS battery by age, not after a failure. Do the test each month: it finds "
            "what {silent_part} hid. Watch the controllers on: one year gives wide limits.",
            ("names the battery, the event that cost control",
             "names the test that finds latent faults",
             "says what the year does not prove")),
    },
    "every number stands with what it counts, and with its limits.",
    Hints(
        "Look at unit-hours first: two units, one year.",
        "Limits = unit-hours / divisor; the smaller divisor gives the upper one.",
        "{exposure_h} h; {said_lower_h} h to {said_upper_h} h; {panel_h} h; "
        "{silent_d} d; one burst.",
    ),
    corner="what",
)

LESSON = Lesson(
    "11",
    "A year of events",
    (
        *RECALL, PREDICTION, ROWS, BURST,
        *CHAIN_ITEMS,
        DRILL, *VOTES, ANALYSIS,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
