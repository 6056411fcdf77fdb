"""Lesson 01, one controller: how often is it out, and for how long?"""

from __future__ import annotations

from types import SimpleNamespace

from labkit.availability.parts import Part
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import against_bound, faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.numeric import Fingerprint, Numeric, Rough
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.table import Free, Table
from lessons.pictures.first_failures import first_failures_text, lives_h, still_running

__all__ = ["LESSON"]

CALCULATE = "calculate failures, availability and down time of one part"
FIND = "find the MTTR in the account of an outage"
CHOOSE = "choose the statements that an MTBF supports"


def _sizes(numbers: SimpleNamespace) -> dict[str, object]:
    """What follows from MTBF and MTTR of one part."""
    part = Part("part", mtbf_h=numbers.mtbf_h, mttr_h=numbers.mttr_h)
    return {
        "part": part,
        "down_min": part.downtime_h_per_year * 60,
        "down_h": part.downtime_h_per_year,
        "failures_per_a": part.failures_per_h * HOURS_PER_YEAR,
        "years_between": 1 / (part.failures_per_h * HOURS_PER_YEAR),
        "percent": 100 * part.availability,
        "unavailability": part.unavailability,
        "survives_year": part.mission_reliability(HOURS_PER_YEAR),
    }


# ---------------------------------------------------------------- recall

ONCE = Case(
    "01-once",
    "A gate jams once in {years} years on the average.",
    {"years": (8.0, 5.0, 4.0, 12.5, 20.0)},
)
TEN_THOUSANDTH = Case(
    "01-share",
    "A year has 8760 h.",
    {"parts": (10_000, 1_000, 5_000, 20_000)},
    lambda n: {"hours": HOURS_PER_YEAR / n.parts, "minutes": HOURS_PER_YEAR / n.parts * 60},
)
PERCENT = Case("01-percent", "", {"percent": (2.0, 3.0, 7.0)})

RECALL = (
    Numeric(
        "01-recall-once", "Once in some years", CALCULATE, ONCE,
        "How many times a year is that?", "1/a",
        lambda n: 1 / n.years,
        "the number a year is one over the years between.",
        Hints(
            "Look at the unit: times a year, written 1/a.",
            "Times a year = 1 / years between two times.",
            "1 / ({years} a) is the number a year.",
        ),
        (
            Fingerprint(
                "S03", lambda n: n.years,
                "{years} is the number of years between two times. Would it jam that often in "
                "one year?",
            ),
        ),
    ),
    Choice(
        "01-recall-share", "A small share of a year", CALCULATE, TEN_THOUSANDTH,
        "How long is one part in {parts} of it?",
        (
            Option(
                "right", "about {minutes:.0f} min",
                "8760 h / {parts} × 60 min/h gives the minutes.", True,
            ),
            Option(
                "hours", "about {minutes:.0f} h",
                "8760 h / {parts} is below one day. Which unit did the hours turn into?",
                misconception="S01",
            ),
            Option(
                "seconds", "about {minutes:.0f} s",
                "8760 h / {parts} is {hours:.2f} h. One hour has 3600 s: how many seconds is that?",
                misconception="S01",
            ),
        ),
        Hints(
            "Divide the hours of the year first.",
            "Share × 8760 h gives hours; × 60 gives minutes.",
            "8760 h / {parts} × 60 min/h = {minutes:.1f} min.",
        ),
    ),
    Numeric(
        "01-recall-percent", "The other share", CALCULATE, PERCENT,
        "A valve is shut for {percent} % of the year. For which share is it open?", "%",
        lambda n: 100 - n.percent,
        "open and shut together make up the whole year.",
        Hints(
            "Look at both shares together.",
            "Open + shut = 100 %.",
            "100 % less {percent} % is the share open.",
        ),
        (
            Fingerprint(
                "S04", lambda n: n.percent,
                "That is the share of time shut. What is left of 100 %?",
            ),
        ),
        tolerance=0.1,
        complement=True,
    ),
)

# ---------------------------------------------------------------- prediction


def _hundred(numbers: SimpleNamespace) -> dict[str, object]:
    lives = lives_h(numbers.mtbf_h)
    return {
        "lives": lives,
        "left": still_running(lives, numbers.mtbf_h),
        "others": numbers.mtbf_h - 1,
        "share_left": (1 - 1 / numbers.mtbf_h) ** numbers.mtbf_h,
    }


HUNDRED = Case(
    "01-hundred",
    "100 controllers start together. Each has an MTBF of {mtbf_h} h, nearly 7 years.",
    {"mtbf_h": (60_000.0,)},
    _hundred,
)

PREDICTION = Prediction(
    "01-first-failures", "Predict first", CHOOSE, HUNDRED,
    "After {mtbf_h} h, how many of them have not failed once?",
    (
        Option("all", "nearly all, 90 or more", right=lambda n: n.left >= 90, misconception="M01"),
        Option(
            "half", "about half, 45 to 55", right=lambda n: 45 <= n.left <= 55, misconception="M01"
        ),
        Option(
            "third", "about a third, 30 to 40",
            "A constant failure rate takes its share of those that still run, year after year.",
            lambda n: 30 <= n.left <= 40,
        ),
        Option("none", "none or nearly none, below 5", right=lambda n: n.left < 5,
               misconception="M01"),
    ),
    (
        Statement(
            "early", "In the first year at least 5 of them failed.",
            lambda n: still_running(n.lives, HOURS_PER_YEAR) <= 95,
        ),
        Statement(
            "at once", "Most of the failures came close to the MTBF.",
            lambda n: sum(0.8 < life / n.mtbf_h < 1.2 for life in n.lives) > 50,
        ),
        Statement(
            "late", "Some ran for more than twice the MTBF.",
            lambda n: still_running(n.lives, 2 * n.mtbf_h) > 0,
        ),
    ),
    lambda n: first_failures_text(n.lives, n.mtbf_h),
    "Stop at 1 year, at half the MTBF, at the MTBF (dashed line) and at twice the MTBF. Count "
    "what is left.",
    Hints(
        "Look at one year first: how many of 100 fail in it?",
        "A constant failure rate takes the same share of those left in each year.",
        "{others} of {mtbf_h} are left after one hour. That share, {mtbf_h} times over: "
        "{share_left:.0%}.",
    ),
)

# ---------------------------------------------------------------- one controller

CONTROLLER = Case(
    "01-controller",
    "A controller has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h.",
    {
        "mtbf_h": (60_000.0, 30_000.0, 45_000.0, 90_000.0, 120_000.0),
        "mttr_h": (4.0, 2.5, 3.0, 6.0, 8.0),
    },
    _sizes,
)

NUMBERS = (
    Numeric(
        "01-downtime", "Down time in a year", CALCULATE, CONTROLLER,
        "How long is it down in a year on the average?", "min/a",
        lambda n: n.down_min,
        "failures a year times the time that each of them lasts.",
        Hints(
            "Look at two things: how often, and how long each time?",
            "Down time a year = failures a year × MTTR.",
            "{failures_per_a:.3f} failures a year × {mttr_h} h × 60 = {down_min:.1f} min a year.",
        ),
        (
            Fingerprint(
                "S02", lambda n: n.mttr_h * 60,
                "That is one repair of {mttr_h} h. Is there one repair in every year?",
            ),
            Fingerprint(
                "M09", lambda n: n.failures_per_a * 60,
                "That is {failures_per_a:.3f} failures at one hour each. How long does a repair "
                "last here?",
            ),
            Fingerprint(
                "S03", lambda n: n.mtbf_h / n.mttr_h,
                "MTBF divided by MTTR counts repairs that fit into an MTBF. Which way round gives "
                "a share?",
            ),
        ),
        rough=Rough(
            5, 120, "min/a", "Less than one repair a year, and a repair takes some hours."
        ),
    ),
    Numeric(
        "01-availability", "Availability", CALCULATE, CONTROLLER,
        "What is its availability? Give four decimals of the per cent.", "%",
        lambda n: n.percent,
        "the share of time up is MTBF / (MTBF + MTTR).",
        Hints(
            "Look at one round: how much of it is down? Take that share from the whole.",
            "Availability = MTBF / (MTBF + MTTR).",
            "{mtbf_h} / ({mtbf_h} + {mttr_h}) = {percent:.4f} %.",
        ),
        (
            Fingerprint(
                "M03", lambda n: 100 * n.survives_year,
                "That is the chance of a whole year without a failure. Does a repaired failure "
                "cost the rest of the year?",
            ),
            Fingerprint(
                "S04", lambda n: 100 * n.unavailability,
                "That is the share of time down. Is the controller down for most of the year?",
            ),
            Fingerprint(
                "S02", lambda n: 100 * (1 - n.mttr_h / HOURS_PER_YEAR),
                "That counts one repair of {mttr_h} h in each year. How often does it fail?",
            ),
        ),
        tolerance=0.05,
        complement=True,
    ),
)

# ---------------------------------------------------------------- what belongs to the MTTR

RESTORATION = Order(
    "01-restoration", "Order the outage", FIND, Case("01-restoration"),
    "The controller stops at night. Bring the parts of the outage into order.",
    (
        "The night shift notices the stop",
        "Maintenance travels to the hall",
        "The fault is found",
        "The spare is fetched from the store",
        "The controller is swapped",
        "The program is loaded and tested",
    ),
    "all six together are the time to restoration, from the failure to control regained.",
    Hints(
        "Look for what must be known before the next step can start.",
        "Notice, travel, find, fetch, swap, test: nobody swaps what was not found.",
        "Notice the stop, travel, find the fault, fetch the spare, swap, load and test.",
    ),
    {
        (0, 1): ("M10", "Who travels to the hall before the stop is noticed?"),
        (2, 3): ("M10", "Which spare is fetched before the fault is found?"),
        (2, 4): ("M10", "Which unit is to be swapped before the fault is found?"),
        (4, 5): ("M10", "Does control run again before the program is loaded?"),
    },
)

ACCOUNT = Case(
    "01-account",
    "The stop is noticed after {notice_min} min. Travel takes {travel_min} min, finding the fault "
    "{find_min} min, fetching the spare {fetch_min} min. The swap takes {swap_min} min, loading "
    "and testing {test_min} min.",
    {
        "notice_min": (40.0, 25.0, 55.0),
        "travel_min": (75.0, 50.0, 95.0),
        "find_min": (110.0, 70.0, 150.0),
        "fetch_min": (180.0, 240.0, 300.0),
        "swap_min": (45.0, 30.0, 60.0),
        "test_min": (90.0, 65.0, 120.0),
    },
    lambda n: {
        "all_h": (n.notice_min + n.travel_min + n.find_min + n.fetch_min + n.swap_min + n.test_min)
        / 60
    },
)

MTTR = Numeric(
    "01-mttr", "Find the MTTR", FIND, ACCOUNT,
    "How long was the time to restoration?", "h",
    lambda n: n.all_h,
    "control is missing from the failure until the test is passed.",
    Hints(
        "Look at the clock: when does the time start, and when does it end?",
        "Add all parts from the failure to the passed test.",
        "{notice_min} + {travel_min} + {find_min} + {fetch_min} + {swap_min} + {test_min} min = "
        "{all_h:.2f} h.",
    ),
    (
        Fingerprint(
            "M10", lambda n: n.swap_min / 60,
            "{swap_min} min is the swap alone. Was control back before somebody noticed, came and "
            "found the fault?",
        ),
        Fingerprint(
            "M10", lambda n: (n.all_h * 60 - n.notice_min) / 60,
            "That starts when the stop is noticed. Who controlled the plant in the "
            "{notice_min} min before?",
        ),
        Fingerprint(
            "M10", lambda n: (n.all_h * 60 - n.notice_min - n.travel_min) / 60,
            "That starts when maintenance arrives. What about the {notice_min} min and "
            "{travel_min} min before?",
        ),
    ),
    rough=Rough(2, 24, "h", "Longer than the travel, and shorter than a day."),
)

# ---------------------------------------------------------------- faded chains


def _turn(numbers: SimpleNamespace) -> dict[str, object]:
    pieces = ("notice_min", "travel_min", "swap_min", "test_min")
    mttr_h = sum(getattr(numbers, piece) for piece in pieces) / 60
    sizes = _sizes(SimpleNamespace(mtbf_h=numbers.mtbf_h, mttr_h=mttr_h))
    return sizes | {
        "mttr_h": mttr_h,
        "swap_h": numbers.swap_min / 60,
        "inside": sizes["down_min"] <= numbers.bound_min,
        "stands": "inside" if sizes["down_min"] <= numbers.bound_min else "outside",
    }


def _turn_case(name: str, what: str, mtbf_h: tuple, pieces: tuple) -> Case:
    notice, travel, swap, test = pieces
    return Case(
        f"01-{name}",
        f"The {what} has an MTBF of {{mtbf_h}} h. A stop is noticed after {{notice_min}} min. "
        "Travel takes {travel_min} min, the swap {swap_min} min, the test {test_min} min. "
        "The manager accepts {bound_min} min down a year.",
        {
            "mtbf_h": mtbf_h,
            "notice_min": notice,
            "travel_min": travel,
            "swap_min": swap,
            "test_min": test,
            "bound_min": (30.0, 60.0, 20.0, 120.0),
        },
        _turn,
    )


EXAMPLE = _turn_case(
    "worked", "controller", (60_000.0, 90_000.0),
    ((30.0, 45.0), (75.0, 60.0), (45.0, 30.0), (90.0, 120.0)),
)
TURNS = (
    _turn_case(
        "turn-1", "bus repeater", (180_000.0, 150_000.0, 240_000.0),
        ((60.0, 90.0), (120.0, 75.0), (40.0, 55.0), (80.0, 50.0)),
    ),
    _turn_case(
        "turn-2", "operator panel", (45_000.0, 60_000.0, 36_000.0),
        ((30.0, 75.0), (150.0, 90.0), (90.0, 60.0), (210.0, 120.0)),
    ),
    _turn_case(
        "turn-3", "UPS with its battery", (80_000.0, 100_000.0, 64_000.0),
        ((45.0, 20.0), (135.0, 80.0), (120.0, 75.0), (180.0, 240.0)),
    ),
)
WORKED = (
    "one box with two states; up to down at 1/MTBF, down to up at 1/MTTR.",
    "MTBF {mtbf_h} h; MTTR = {notice_min} + {travel_min} + {swap_min} + {test_min} min = "
    "{mttr_h} h.",
    "8760 / ({mtbf_h} + {mttr_h}) × {mttr_h} h × 60 = {down_min:.1f} min a year.",
    "{down_min:.1f} min a year against the bound of {bound_min} min a year: {stands}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", CALCULATE, case,
        "Which sketch fits?",
        (
            Option(
                "two rates", "up to down at 1/MTBF, down to up at 1/MTTR",
                "the part fails at one over MTBF and is restored at one over MTTR.", True,
            ),
            Option(
                "exchanged", "up to down at 1/MTTR, down to up at 1/MTBF",
                "With these rates it would run for {mttr_h:.1f} h between failures. Which number "
                "is the time up?",
                misconception="S03",
            ),
            Option(
                "lifetime", "up for exactly one MTBF, then down for good",
                "Is {mtbf_h} h a date of failure, or a mean over many failures and repairs?",
                misconception="M01",
            ),
        ),
        Hints(
            "Look for the two states and the two arrows.",
            "Rate out of a state = 1 / mean time in it.",
            "Up lasts one MTBF on the average, down one MTTR: rates 1/MTBF and 1/MTTR.",
        ),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", FIND, case,
        "Which MTTR goes into the calculation?", "h",
        lambda n: n.mttr_h,
        "the time to restoration runs from the failure to the passed test.",
        Hints(
            "Look at when control is lost and when it is back.",
            "MTTR = notice + travel + swap + test.",
            WORKED[1],
        ),
        (
            Fingerprint(
                "M10", lambda n: n.swap_h,
                "{swap_min} min is the swap alone. Was the plant served while somebody travelled?",
            ),
            Fingerprint(
                "M10", lambda n: n.mttr_h - n.notice_min / 60,
                "That starts when the stop is noticed. What happened in the {notice_min} min "
                "before?",
            ),
        ),
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CALCULATE, case,
        "How long is it down in a year on the average?", "min/a",
        lambda n: n.down_min,
        "failures a year times the time to restoration.",
        Hints(
            "Look at how often it fails, then at how long each time.",
            "Down time a year = 8760 h / (MTBF + MTTR) × MTTR.",
            WORKED[2],
        ),
        (
            Fingerprint(
                "S02", lambda n: n.mttr_h * 60,
                "That is one restoration. Is there one in every year?",
            ),
            Fingerprint(
                "M09", lambda n: n.failures_per_a * 60,
                "That gives each failure one hour. How long does a restoration last here?",
            ),
            Fingerprint(
                "M10", lambda n: n.failures_per_a * n.swap_min,
                "That counts the swap alone. Which other parts of the outage count?",
            ),
        ),
        follows=f"{case.id}.sort",
        solve_from=lambda n, mttr_h: HOURS_PER_YEAR / (n.mtbf_h + mttr_h) * mttr_h * 60,
    )


def _compare(case: Case) -> Choice:
    return against_bound(
        case, CALCULATE, result="{down_min:.1f} min", bound="{bound_min} min a year",
        inside=lambda n: n.inside, errors=("M10", "S02"), route=WORKED[3],
    )


CHAINS, CHAIN_ITEMS = faded((EXAMPLE, *TURNS), (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drill, votes, card

DRILL = Numeric(
    "01-drill", "Drill: down time in a year", CALCULATE,
    Case(
        "01-drill",
        "The {what} has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h.",
        {
            "which": (
                ("level sensor", 150_000.0), ("24 V supply", 250_000.0), ("rack", 110_000.0),
                ("oxygen probe", 30_000.0), ("rack interface", 220_000.0), ("blower", 36_000.0),
                ("intake pump", 25_000.0), ("link cable", 400_000.0),
            ),
            "mttr_h": (3.0, 1.5, 2.5, 5.0, 8.0, 12.0, 36.0, 72.0),
        },
        lambda n: {"what": n.which[0], "mtbf_h": n.which[1]}
        | _sizes(SimpleNamespace(mtbf_h=n.which[1], mttr_h=n.mttr_h)),
    ),
    "How long is it down in a year on the average?", "min/a",
    NUMBERS[0].solve, NUMBERS[0].reason, NUMBERS[0].hints, NUMBERS[0].fingerprints,
)


def _promised(numbers: SimpleNamespace) -> dict[str, object]:
    """What an MTBF supports, and what it does not."""
    slow = Part("part", mtbf_h=numbers.mtbf_h, mttr_h=72)
    return {
        "stay": 100 * slow.mission_reliability(HOURS_PER_YEAR),
        "of_100": 100 * (1 - slow.mission_reliability(HOURS_PER_YEAR)),
        "left": 100 * slow.mission_reliability(numbers.mtbf_h),
        "years": numbers.mtbf_h / HOURS_PER_YEAR,
        "slow_percent": 100 * slow.availability,
    }


VOTES = (
    Choice(
        "01-vote-mtbf", "For voting: what an MTBF promises", CHOOSE,
        Case(
            "01-vote-mtbf",
            "A data sheet says: MTBF {mtbf_h} h.",
            {"mtbf_h": (60_000.0, 45_000.0, 90_000.0)},
            _promised,
        ),
        "Which statement does it support?",
        (
            Option(
                "share", "Of 100 new ones, about {of_100:.0f} fail in the first year",
                "a failure rate of 1/MTBF takes that share in each year.", True,
            ),
            Option(
                "life", "Each of them runs for about {years:.0f} years and then fails",
                "About {left:.0f} of 100 run for longer than one MTBF. How would that fit a life of "
                "{years:.0f} years?",
                misconception="M01",
            ),
            Option(
                "quiet", "A plant with 12 of them has a year without failures",
                "All 12 may fail. How many failures a year is 12 × 8760 h / {mtbf_h} h?",
                misconception="M02",
            ),
            Option(
                "available", "It is available for more than 99.99 % of the time",
                "With an MTTR of 72 h it is available for {slow_percent:.2f} % of the time. Which time "
                "does the data sheet not give?",
                misconception="M03",
            ),
        ),
        Hints(
            "Look at what kind of number an MTBF is.",
            "Failure rate = 1 / MTBF, the same in each year of useful life.",
            "The share 1 - 1 / {mtbf_h}, 8760 times over, leaves {stay:.0f} of 100: {of_100:.0f} fail.",
        ),
        voting=True,
    ),
    Choice(
        "01-vote-repair", "For voting: twice the MTBF", CHOOSE,
        Case(
            "01-vote-repair",
            "Controller X: MTBF {x_h} h, MTTR 4 h. Controller Y: MTBF {y_h} h, MTTR 16 h.",
            {"x_h": (60_000.0, 45_000.0, 80_000.0)},
            lambda n: {
                "y_h": 2 * n.x_h,
                "ratio": Part("Y", mtbf_h=2 * n.x_h, mttr_h=16).unavailability
                / Part("X", mtbf_h=n.x_h, mttr_h=4).unavailability,
            },
        ),
        "Which one is down longer in a year?",
        (
            Option(
                "y", "Y, about twice as long as X",
                "half as many failures, each four times as long.", True,
            ),
            Option(
                "x", "X, about twice as long as Y",
                "Y fails half as often. How long does each of its failures last against 4 h?",
                misconception="M09",
            ),
            Option(
                "same", "Neither, since each has a high MTBF",
                "X is down for 4 h in about {x_h} h. For which share of its time is Y down?",
                misconception="M03",
            ),
        ),
        Hints(
            "Look at both: how often, and how long each time.",
            "Down time a year = about 8760 h × MTTR / MTBF.",
            "Y: 16 / {y_h}. X: 4 / {x_h}. The ratio is {ratio:.1f}.",
        ),
        voting=True,
    ),
)


def _card(numbers: SimpleNamespace) -> dict[str, object]:
    designation, what, mtbf_h, spare_h = numbers.chosen
    shelf = _sizes(SimpleNamespace(mtbf_h=mtbf_h, mttr_h=spare_h))
    ordered = _sizes(SimpleNamespace(mtbf_h=mtbf_h, mttr_h=numbers.ordered_h))
    return {
        "designation": designation, "what": what, "mtbf_h": mtbf_h, "spare_h": spare_h,
        "shelf": shelf["part"], "ordered": ordered["part"],
        "shelf_min": shelf["down_min"], "ordered_min": ordered["down_min"],
        "ratio": ordered["down_min"] / shelf["down_min"],
    }


CARD_CASE = Case(
    "01-card",
    "{designation}, {what}: MTBF {mtbf_h} h. With a spare on the shelf the MTTR is {spare_h} h, "
    "without one {ordered_h} h. All numbers are invented.",
    {
        "chosen": (
            ("KF1", "controller", 60_000.0, 4.0),
            ("TF1", "bus repeater", 180_000.0, 5.0),
            ("PH1", "operator panel", 45_000.0, 8.0),
            ("BL1", "level sensor", 150_000.0, 3.0),
        ),
        "ordered_h": (72.0, 120.0, 240.0),
    },
    _card,
)


def _card_cell(row: str, key: str, part: str) -> Numeric:
    """A cell of the card; both columns ask the same of another MTTR."""
    asks = {
        "failures": ("1/a", lambda n: getattr(n, part).failures_per_h * HOURS_PER_YEAR, False),
        "available": ("%", lambda n: 100 * getattr(n, part).availability, True),
        "down": ("min/a", lambda n: getattr(n, part).downtime_h_per_year * 60, False),
    }
    own_unit, solve, complement = asks[key]
    marks = ()
    if key == "down" and part == "ordered":
        marks = (
            Fingerprint(
                "M09", lambda n: n.shelf_min,
                "That is the down time with a spare. How much longer does each stop last now?",
            ),
        )
    if key == "available":
        marks = (
            Fingerprint(
                "S04", lambda n: 100 * getattr(n, part).unavailability,
                "That is the share of time down. What is the share of time up?",
            ),
        )
    return Numeric(
        f"01-card.{key}.{part}", row, CALCULATE, CARD_CASE, row, own_unit, solve, "",
        Hints("", "", ""), marks, tolerance=0.05 if complement else 0.02, shows_unit=True,
        complement=complement,
    )


SHELF, ORDERED = "spare on the shelf", "spare to be ordered"
CARD_ROWS = {
    "failures": "failures per year",
    "available": "availability",
    "down": "down time per year",
}
CARD = Table(
    "01-card", "Availability card", CALCULATE, CARD_CASE,
    "Fill the card for both ways of keeping spares.",
    ("MTTR", *CARD_ROWS.values(), "advice"),
    (SHELF, ORDERED),
    {
        ("MTTR", SHELF): "{spare_h} h",
        ("MTTR", ORDERED): "{ordered_h} h",
        **{
            (row, column): _card_cell(row, key, part)
            for key, row in CARD_ROWS.items()
            for column, part in ((SHELF, "shelf"), (ORDERED, "ordered"))
        },
        ("advice", SHELF): Free(
            "Keep a spare: a stop lasts {spare_h} h and not {ordered_h} h, and the down time of a "
            "year falls in the same way. It fails as often as before.",
            ("compares both ways by a number", "says what the spare changes",
             "says what stays as it is"),
        ),
    },
    "a spare changes how long, and not how often.",
    Hints(
        "Look at which rows depend on the MTTR.",
        "Failures: 8760 / (MTBF + MTTR). Down time: failures × MTTR.",
        "Shelf: {shelf_min:.1f} min a year. Ordered: {ordered_min:.1f} min a year.",
    ),
    corner="{designation}",
)

LESSON = Lesson(
    "01",
    "One controller",
    (
        *RECALL, PREDICTION, *NUMBERS, RESTORATION, MTTR,
        *CHAIN_ITEMS,
        DRILL, *VOTES, CARD,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
