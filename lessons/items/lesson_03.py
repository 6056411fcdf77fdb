"""Lesson 03, two states in time: when does the long run begin?"""

from __future__ import annotations

import functools
import math
from types import SimpleNamespace

import numpy as np

from labkit.availability.parts import Part
from labkit.markov.chain import two_state
from labkit.simulation.histories import chain_history
from labkit.simulation.runs import simulate_chain
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.numeric import Fingerprint, Numeric, Rough
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.table import Free, Pick, Table

__all__ = ["LESSON"]

CALCULATE = "calculate U(t) of one part, and the time at which the long run begins"
CHOOSE = "choose between A(t), R(t) and the long run for a question"
JUDGE = "judge a simulated value by its interval"

NEAR = 0.05


def _near_h(mtbf_h: float, mttr_h: float) -> float:
    """Time from which on U(t), from a good start, is within 5 % of its long run."""
    return math.log(1 / NEAR) / (1 / mtbf_h + 1 / mttr_h)


def _down(mtbf_h: float, mttr_h: float, t_h: float, start: str = "up") -> float:
    """U(t) of one part by the chain."""
    return float(two_state(mtbf_h, mttr_h).unavailability_at(t_h, start=start))


def _course(numbers: SimpleNamespace) -> dict[str, float]:
    """What follows from MTBF, MTTR and a time."""
    model = two_state(numbers.mtbf_h, numbers.mttr_h)
    return {
        "long": 100 * model.unavailability,
        "near_h": _near_h(numbers.mtbf_h, numbers.mttr_h),
        "settle_h": 1 / (1 / numbers.mtbf_h + 1 / numbers.mttr_h),
        "at_t": 100 * _down(numbers.mtbf_h, numbers.mttr_h, numbers.t_h),
        "failed": -100 * math.expm1(-numbers.t_h / numbers.mtbf_h),
    }


# ---------------------------------------------------------------- recall

ONE = Case(
    "03-one", "A UPS has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h.",
    {"mtbf_h": (80_000.0, 64_000.0, 100_000.0), "mttr_h": (8.0, 6.0, 12.0)},
    lambda n: {
        "per_a": HOURS_PER_YEAR / (n.mtbf_h + n.mttr_h),
        "down_min": 60 * Part("GB1", mtbf_h=n.mtbf_h, mttr_h=n.mttr_h).downtime_h_per_year,
    },
)
RECALL = (
    Numeric(
        "03-recall-down", "From lesson 01: down time", CALCULATE, ONE,
        "How long is it down in a year on the average?", "min/a",
        lambda n: float(n.down_min),
        "failures a year times the time that each of them lasts.",
        Hints(
            "Look at how often it fails, then at how long each time.",
            "Down time a year = 8760 h / (MTBF + MTTR) × MTTR.",
            "{per_a:.4f} failures a year × {mttr_h} h × 60 min/h.",
        ),
        (
            Fingerprint(
                "S02", lambda n: n.mttr_h * 60,
                "That is one repair of {mttr_h} h. Is there one repair in every year?",
            ),
        ),
    ),
    Choice(
        "03-recall-mtbf", "From lesson 01: after one MTBF", CHOOSE,
        Case("03-recall-mtbf", "", {}, lambda n: {
            "left": 100 * Part("KF1", mtbf_h=60_000, mttr_h=4).mission_reliability(60_000)}),
        "100 new controllers have an MTBF of 60 000 h. How many reach 60 000 h without a failure?",
        (
            Option("third", "about {left:.0f} of them",
                   "exp(-1) of them are left after one MTBF.", True),
            Option("all", "about 90 of them or more",
                   "14 of 100 fail in the first of nearly 7 years. How many are then left?",
                   misconception="M01"),
            Option("half", "about 50 of them",
                   "An MTBF is a mean. Do as many fail before a mean as after it, if some run very "
                   "long?",
                   misconception="M01"),
        ),
        Hints(
            "Look at the share left after a time t.",
            "Share left = exp(-t/MTBF).",
            "exp(-1) = 0.37: {left:.0f} of 100.",
        ),
    ),
    Choice(
        "03-recall-series", "From lesson 01: rates add", CALCULATE, Case("03-recall-series"),
        "Two parts with an MTBF of 100 000 h each are both needed. What is the MTBF of the two "
        "together?",
        (
            Option("half", "50 000 h, since both bring failures", "failure rates add.", True),
            Option("same", "100 000 h, as each part has it",
                   "Each of the 2 parts fails once in 100 000 h. How often do both together?",
                   misconception="M06"),
            Option("sum", "200 000 h, since MTBFs add up",
                   "200 000 h is longer than either of them runs. How can 2 stop less often "
                   "than 1?",
                   misconception="M05"),
        ),
        Hints(
            "Look at the failures of both in one year.",
            "1/MTBF of both together is the sum of the two 1/MTBF.",
            "1/100 000 + 1/100 000 = 1/50 000 per hour.",
        ),
    ),
)

# ---------------------------------------------------------------- prediction


@functools.cache
def _changes_late(mtbf_h: float, mttr_h: float, seed: int = 1, shown: int = 8) -> int:
    """How many of the histories first drawn change their state after the long run has begun."""
    model, source = two_state(mtbf_h, mttr_h), np.random.default_rng(seed)
    lives = [chain_history(model, 12 * mttr_h, source) for _ in range(shown)]
    return sum(life.at_h[-1] > _near_h(mtbf_h, mttr_h) for life in lives)


def _settling_text(numbers: SimpleNamespace) -> str:
    mtbf_h, mttr_h = numbers.mtbf_h, numbers.mttr_h
    lines = [
        f"after {t_h:3.0f} h: U = {_down(mtbf_h, mttr_h, t_h):.4f} from a start up, "
        f"{_down(mtbf_h, mttr_h, t_h, 'down'):.4f} from a start down"
        for t_h in (0, mttr_h, 2 * mttr_h, 3 * mttr_h, 6 * mttr_h, 12 * mttr_h)
    ]
    lines.append(f"long run: U = {two_state(mtbf_h, mttr_h).unavailability:.4f}")
    for what, mtbf, mttr in (("these times", 1, 1), ("twice the MTTR", 1, 2),
                             ("twice the MTBF", 2, 1)):
        near_h = _near_h(mtbf * mtbf_h, mttr * mttr_h)
        lines.append(f"{what}: within 5 % of the long run from {near_h:.0f} h on")
    lines.append(
        f"{_changes_late(mtbf_h, mttr_h)} of 8 drawn histories still change after that"
    )
    return "\n".join(lines)


PREDICTION = Prediction(
    "03-long-run", "Predict first", CALCULATE,
    Case(
        "03-long-run",
        "Oxygen probes in dirty water: MTBF {mtbf_h} h, MTTR {mttr_h} h, short times so that "
        "there is something to see. All work at the start. U(t) is the chance that one of them is "
        "down at the time t.",
        {"mtbf_h": (100.0,), "mttr_h": (10.0,)},
        lambda n: {"near_h": _near_h(n.mtbf_h, n.mttr_h)},
    ),
    "From when on is U(t) within 5 % of its long-run value, so at 95 % of it or more?",
    (
        Option("start", "from the start: it is one fixed number",
               right=lambda n: n.near_h < 1, misconception="M47"),
        Option("mttr", "after some MTTR, 20 to 40 h",
               "Repairs set the pace: after about three MTTR 5 % of the start is left.",
               lambda n: 20 <= n.near_h <= 40),
        Option("mtbf", "after one MTBF, 80 to 120 h",
               right=lambda n: 80 <= n.near_h <= 120, misconception="M01"),
        Option("never", "never: each failure makes it worse",
               right=lambda n: n.near_h > 1e6, misconception="M01"),
    ),
    (
        Statement(
            "half", "Half of the way was done before one MTTR had passed.",
            lambda n: _down(n.mtbf_h, n.mttr_h, n.mttr_h)
            > two_state(n.mtbf_h, n.mttr_h).unavailability / 2,
        ),
        Statement(
            "single", "The single histories settled down as well.",
            lambda n: _changes_late(n.mtbf_h, n.mttr_h) == 0,
        ),
        Statement(
            "down", "With all down at the start, the long run was the same.",
            lambda n: math.isclose(
                _down(n.mtbf_h, n.mttr_h, 1e4, "down"), _down(n.mtbf_h, n.mttr_h, 1e4),
                rel_tol=1e-9,
            ),
        ),
        Statement(
            "mtbf", "With twice the MTBF the curve took twice as long.",
            lambda n: _near_h(2 * n.mtbf_h, n.mttr_h) > 1.5 * n.near_h,
        ),
    ),
    _settling_text,
    "Read where the curve reaches its long run. Double the MTTR, set it back, double the MTBF. "
    "Set the start to all down. Press Other histories.",
    Hints(
        "Look at what brings a part back from down to up.",
        "The start is forgotten at the rate 1/MTBF + 1/MTTR.",
        "ln 20 = 3.0, divided by 1/100 + 1/10 per hour.",
    ),
)

# ---------------------------------------------------------------- in time

TIMES = "It works at the start, with an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h."

SETTLE = Numeric(
    "03-settle", "When the long run begins", CALCULATE,
    Case(
        "03-settle",
        "A controller is taken into service. " + TIMES,
        {
            "mtbf_h": (60_000.0, 2_000.0, 400.0, 9_000.0), "mttr_h": (4.0, 12.0, 7.0, 72.0),
            "t_h": (4.0,),
        },
        _course,
    ),
    "From when on is U(t) within 5 % of its long run?", "h",
    lambda n: n.near_h,
    "exp(-3) is about 0.05, and the repair rate sets the pace.",
    Hints(
        "Look at which of the two rates is the fast one.",
        "What is left of the start: exp(-t × (1/MTBF + 1/MTTR)) = 0.05.",
        "2.996 / (1/{mtbf_h} + 1/{mttr_h}) = {near_h:.1f} h.",
    ),
    (
        Fingerprint(
            "M01", lambda n: n.mtbf_h,
            "That waits for one MTBF. Which of the two rates brings a part back to up?",
        ),
        Fingerprint(
            "M01", lambda n: math.log(1 / NEAR) * n.mtbf_h,
            "That takes the failure rate alone. Which rate is the fast one here?",
        ),
        Fingerprint(
            "M47", lambda n: n.mttr_h,
            "After one MTTR a share of exp(-1) of the start is left. How much may be left here?",
        ),
    ),
    rough=Rough(6, 300, "h", "It takes about three MTTR: hours or days, and not years."),
)

IN_TIME = Numeric(
    "03-in-time", "The chance to be down", CALCULATE,
    Case(
        "03-in-time",
        "An oxygen probe in dirty water is cleaned. " + TIMES,
        {
            "mtbf_h": (100.0, 80.0, 150.0, 60.0), "mttr_h": (10.0, 20.0, 15.0, 8.0),
            "t_h": (5.0, 8.0, 12.0),
        },
        _course,
    ),
    "What is the chance that it is down {t_h} h later? Give it in per cent.", "%",
    lambda n: n.at_t,
    "U(t) climbs from 0 towards its long run, and has gone a part of the way.",
    Hints(
        "Look at the long run first, then at how much of the way is done.",
        "U(t) = long run × (1 - exp(-t × (1/MTBF + 1/MTTR))).",
        "{long:.2f} % × (1 - exp(-{t_h} h/{settle_h:.2f} h)) = {at_t:.2f} %.",
    ),
    (
        Fingerprint(
            "M47", lambda n: n.long,
            "That is the long run. How much of the way is done after {t_h} h?",
        ),
        Fingerprint(
            "M03", lambda n: n.failed,
            "That is the chance of a failure within {t_h} h. Where are those that were restored "
            "by then?",
        ),
        Fingerprint(
            "S04", lambda n: 100 - n.at_t,
            "That is the chance to be up. Which chance does the task ask for?",
        ),
    ),
    rough=Rough(0.5, 25, "%", "It starts at nothing, and stays below the long run."),
)

# ---------------------------------------------------------------- which quantity

QUANTITIES = ("A(t)", "R(t)", "long-run U")
WHICH = {
    "works at 10:00, two hours after the start": "A(t)",
    "runs all night without one stop": "R(t)",
    "minutes down to plan for each year": "long-run U",
    "no batch of ten hours is spoiled by a stop": "R(t)",
}


def _which(right: str) -> Pick:
    asks = {
        "A(t)": "A part that failed and was restored counts as up. Is that allowed here?",
        "R(t)": "R(t) falls with each hour and never rises. Does a repaired stop count here?",
        "long-run U": "Is a mean over years asked for, or a chance in one stretch of time?",
    }
    return Pick(
        QUANTITIES, lambda n: right,
        {other: ("M03", asks[other]) for other in QUANTITIES if other != right},
    )


QUESTIONS = Table(
    "03-which", "Which quantity answers?", CHOOSE,
    Case("03-which", "A(t): up at the time t. R(t): no stop up to t. Long-run U: share down."),
    "Pick for each question the quantity that answers it.",
    tuple(WHICH), ("answered by",),
    {(row, "answered by"): _which(right) for row, right in WHICH.items()},
    "a moment asks for A(t), a whole stretch for R(t), a yearly sum for the long run.",
    Hints(
        "Look whether one moment, one stretch or many years are meant.",
        "Moment: A(t). Stretch without a stop: R(t). Yearly sum: long-run U.",
        "In this order: A(t), R(t), long-run U, R(t).",
    ),
    corner="question",
    kept=False,
)


def _kf1(numbers: SimpleNamespace) -> dict[str, float]:
    part = Part("KF1", mtbf_h=numbers.mtbf_h, mttr_h=numbers.mttr_h)
    return {
        "up": 100 * part.availability,
        "year": 100 * part.mission_reliability(HOURS_PER_YEAR),
        "fails": 100 * part.mission_unreliability(HOURS_PER_YEAR),
        "mtbf_left": 100 * part.mission_reliability(part.mtbf_h),
        "mtbf_a": numbers.mtbf_h / HOURS_PER_YEAR,
    }


KF1 = {"mtbf_h": (60_000.0, 45_000.0, 90_000.0), "mttr_h": (4.0, 3.0, 6.0)}
VOTES = (
    Choice(
        "03-vote-year", "For voting: a year without a stop", CHOOSE,
        Case(
            "03-vote-year",
            "A controller has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h. It is available "
            "for {up:.3f} % of the time.",
            KF1, _kf1,
        ),
        "How likely is a whole year without one stop?",
        (
            Option("year", "{year:.1f} %, which is R(t) for one year",
                   "exp(-8760 h/MTBF): repairs do not undo a stop.", True),
            Option("available", "{up:.3f} %, which is its availability",
                   "Availability counts the hours down, and they are few. Does it count the stops?",
                   misconception="M03"),
            Option("mtbf", "{mtbf_left:.1f} %, the share left at the MTBF",
                   "One year is not one MTBF of {mtbf_a:.1f} years. Which time goes into R(t)?",
                   misconception="M01"),
        ),
        Hints(
            "Look whether a moment or a whole year is asked for.",
            "No stop up to t: R(t) = exp(-t/MTBF).",
            "exp(-8760/{mtbf_h}) = {year:.1f} %.",
        ),
        voting=True,
    ),
    Choice(
        "03-vote-due", "For voting: is it due?", CHOOSE,
        Case(
            "03-vote-due",
            "A controller with an MTBF of {mtbf_h} h has run for {ran_a} years without a failure. "
            "It is in its useful life.",
            {"mtbf_h": (60_000.0, 50_000.0, 70_000.0), "ran_a": (5, 4, 6)},
            lambda n: _kf1(SimpleNamespace(mtbf_h=n.mtbf_h, mttr_h=4.0)),
        ),
        "How likely does it fail in the next year?",
        (
            Option("same", "{fails:.0f} %, as in its first year",
                   "a constant failure rate has no memory of the years before.", True),
            Option("due", "90 % or more, since the MTBF is near",
                   "The rate was 1/{mtbf_h} per hour in the first year. In which year did it "
                   "change?",
                   misconception="M01"),
            Option("proved", "Below 1 %, for it has proved itself",
                   "Which rate would {ran_a} good years of one unit prove?", misconception="M28"),
        ),
        Hints(
            "Look at what a constant failure rate remembers.",
            "Chance to fail in the next year, if it works now: 1 - exp(-8760 h/MTBF).",
            "1 - exp(-8760/{mtbf_h}) = {fails:.1f} %, in each year.",
        ),
        voting=True,
    ),
)

# ---------------------------------------------------------------- simulated against exact


@functools.cache
def _drawn(seed: int, lives: int) -> SimpleNamespace:
    model = two_state(100, 10)
    run = simulate_chain(model, 500, lives, np.random.default_rng(seed), progress=None, workers=1)
    found = run.unavailability
    exact = float(model.interval_unavailability(500))
    return SimpleNamespace(
        point=found.point, lower=found.lower, upper=found.upper, exact=exact,
        inside=found.lower <= exact <= found.upper,
    )


INTERVAL = Choice(
    "03-interval", "Read an interval", JUDGE,
    Case(
        "03-interval",
        "{lives} drawn lives of 500 h: mean share down {point:.4f}, 95 % interval {lower:.4f} to "
        "{upper:.4f}. The chain says {exact:.4f}.",
        {"drawn_seed": tuple(range(1, 41)), "lives": (100, 60)},
        lambda n: vars(_drawn(n.drawn_seed, n.lives)),
    ),
    "What follows?",
    (
        Option("inside", "The exact value is inside: nothing speaks against it",
               "the width of the interval says how much {lives} lives can show.",
               lambda n: n.inside, "M28",
               "Between which two limits must {exact:.4f} lie, and does it?"),
        Option("outside", "It is outside: draw more lives, then judge",
               "one interval in twenty misses by chance; more lives tell.",
               lambda n: not n.inside, "M28",
               "Between which two limits must {exact:.4f} lie, and does it?"),
        Option("digits", "The digits differ, so one of the two is wrong",
               "Would {lives} other lives give the same digits as these?", misconception="M28"),
        Option("proof", "The simulation has proved the formula",
               "How far may the exact value lie from the mean, and still be inside?",
               misconception="M28"),
    ),
    Hints(
        "Look whether the exact value lies between the two limits.",
        "Of 20 intervals at 95 % about one misses the exact value.",
        "{exact:.4f} against {lower:.4f} to {upper:.4f}.",
    ),
)

CHECKING = Order(
    "03-checking", "Order the check of a simulation", JUDGE, Case("03-checking"),
    "You hold a simulation against an exact model. Bring the steps into order.",
    (
        "Write down the exact value, the number of lives and the seed",
        "Draw the lives",
        "Give the mean with its interval",
        "Look whether the exact value lies inside",
        "If it does not, write down more lives and a new seed, and draw again",
    ),
    "what is chosen after the lives are seen can be chosen to please.",
    Hints(
        "Look for what must be fixed before the lives are seen.",
        "Write down, draw, interval, compare, draw again.",
        "Write all three down, draw, mean and interval, look, draw again.",
    ),
    {
        (0, 1): ("M28", "What could be made to fit, once the lives are seen?"),
        (2, 3): ("M28", "Inside of what does the exact value lie, before there is an interval?"),
    },
)

# ---------------------------------------------------------------- faded chains


def _turn(numbers: SimpleNamespace) -> dict[str, object]:
    found = _course(numbers)
    usable = numbers.t_h >= found["near_h"]
    return found | {
        "usable": usable,
        "verdict": "the long run may be used" if usable else "the long run may not be used yet",
    }


def _turn_case(name: str, what: str, numbers: dict[str, tuple]) -> Case:
    return Case(
        f"03-{name}",
        f"The {what} is put back into service. {TIMES} {{t_h}} h later somebody asks for the "
        "chance that it is down. A value within 5 % of the right one will do.",
        numbers,
        _turn,
    )


EXAMPLE = _turn_case(
    "worked", "oxygen probe",
    {"mtbf_h": (100.0, 80.0), "mttr_h": (10.0, 16.0), "t_h": (12.0, 72.0)},
)
TURNS = (
    _turn_case(
        "turn-1", "intake screen",
        {"mtbf_h": (60.0, 45.0, 90.0), "mttr_h": (3.0, 5.0), "t_h": (24.0, 4.0, 2.0)},
    ),
    _turn_case(
        "turn-2", "UV lamp",
        {"mtbf_h": (800.0, 600.0), "mttr_h": (6.0, 14.0), "t_h": (8.0, 120.0, 5.0)},
    ),
    _turn_case(
        "turn-3", "pump strainer",
        {"mtbf_h": (200.0, 150.0, 120.0), "mttr_h": (5.0, 9.0), "t_h": (48.0, 6.0, 96.0)},
    ),
)
WORKED = (
    "up to down at 1/{mtbf_h} per hour, and back to up at 1/{mttr_h} per hour.",
    "the start is forgotten after 2.996 / (1/{mtbf_h} + 1/{mttr_h}) = {near_h:.1f} h.",
    "long-run U = {mttr_h} / ({mtbf_h} + {mttr_h}) = {long:.2f} %.",
    "{t_h} h against {near_h:.1f} h: {verdict}; U is {at_t:.2f} % by then.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", CHOOSE, case,
        "Which sketch answers this question?",
        (
            Option(
                "both", "up to down at 1/MTBF, back to up at 1/MTTR",
                "it may have failed and be restored by then: both ways are needed.", True,
            ),
            Option(
                "no way back", "up to down at 1/MTBF, and no way back to up",
                "That gives the chance of a failure. Is a part that was restored still down?",
                misconception="M03",
            ),
            Option(
                "exchanged", "up to down at 1/MTTR, back to up at 1/MTBF",
                "With these rates it runs for {mttr_h} h on the average. Which time is the MTBF?",
                misconception="S03",
            ),
        ),
        Hints(
            "Look whether a restored part counts as down.",
            "Rate out of a state = 1 / mean time in it.",
            "Two boxes, 1/{mtbf_h} per hour there and 1/{mttr_h} per hour back.",
        ),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", CALCULATE, case,
        "From when on is U(t) within 5 % of its long run?", "h",
        lambda n: n.near_h,
        "both rates together forget the start, the repair rate for the most part.",
        Hints(
            "Look at both rates: which one is fast?",
            "3 / (1/MTBF + 1/MTTR), for exp(-3) is about 0.05.",
            WORKED[1],
        ),
        (
            Fingerprint(
                "M01", lambda n: n.mtbf_h,
                "That waits for one MTBF. Which rate brings a part back to up?",
            ),
            Fingerprint(
                "M47", lambda n: n.settle_h,
                "By then exp(-1) of the start is left, more than a third. Is that within 5 %?",
            ),
        ),
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CALCULATE, case,
        "What is its unavailability in the long run? Give it in per cent.", "%",
        lambda n: n.long,
        "down for one MTTR in each round of MTBF and MTTR.",
        Hints(
            "Look at one round: how long up, how long down?",
            "Long-run U = MTTR / (MTBF + MTTR).",
            WORKED[2],
        ),
        (
            Fingerprint(
                "S04", lambda n: 100 - n.long,
                "That is the share of time up. Which share does the task ask for?",
            ),
            Fingerprint(
                "M03", lambda n: n.failed,
                "That is the chance of a failure within {t_h} h. Where do repairs come in?",
            ),
        ),
    )


def _compare(case: Case) -> Choice:
    return Choice(
        f"{case.id}.compare", "Compare", CALCULATE, case,
        "May the long-run value be used {t_h} h after the start?",
        (
            Option(
                "yes", "Yes, the start is forgotten by then",
                "{t_h} h against {near_h:.1f} h; U is {at_t:.2f} %, the long run {long:.2f} %.",
                lambda n: n.usable, "M47",
                "Does {t_h} h come before or after the time from step Sort?",
            ),
            Option(
                "no", "No, U is still well below it",
                "{t_h} h against {near_h:.1f} h; U is {at_t:.2f} %, the long run {long:.2f} %.",
                lambda n: not n.usable, "M01",
                "Does {t_h} h come before or after the time from step Sort?",
            ),
            Option(
                "always", "Yes, it holds from the first hour on",
                "All work in the first minute. How many are down then?", misconception="M47",
            ),
            Option(
                "mtbf", "No, it takes at least one MTBF",
                "The MTBF is {mtbf_h} h. Which time sets the pace of the curve?",
                misconception="M01",
            ),
        ),
        Hints(
            "Look at the time asked for and the time from step Sort.",
            "Later than that time: yes. Earlier: no.",
            WORKED[3],
        ),
    )


CHAINS, CHAIN_ITEMS = faded((EXAMPLE, *TURNS), (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drill and sheet

DRILL = Numeric(
    "03-drill", "Drill: down at a time", CALCULATE,
    Case(
        "03-drill",
        "The {what} is put back into service. " + TIMES,
        {
            "what": ("oxygen probe", "intake screen", "pump strainer", "UV lamp"),
            "mtbf_h": (100.0, 60.0, 200.0, 400.0, 150.0),
            "mttr_h": (10.0, 6.0, 20.0, 12.0),
            "t_h": (5.0, 3.0, 9.0, 14.0),
        },
        _course,
    ),
    "What is the chance that it is down {t_h} h later? Give it in per cent.", "%",
    IN_TIME.solve, IN_TIME.reason, IN_TIME.hints, IN_TIME.fingerprints,
)


def _sheet(numbers: SimpleNamespace) -> dict[str, object]:
    what, mtbf_h, mttr_h = numbers.chosen
    numbers = SimpleNamespace(mtbf_h=mtbf_h, mttr_h=mttr_h, t_h=mttr_h)
    return {"what": what, "mtbf_h": mtbf_h, "mttr_h": mttr_h} | _course(numbers)


SHEET_CASE = Case(
    "03-sheet",
    "Your part: {what}, MTBF {mtbf_h} h, MTTR {mttr_h} h. All numbers are invented.",
    {
        "chosen": (
            ("oxygen probe in dirty water", 100.0, 10.0), ("intake screen", 60.0, 3.0),
            ("UV lamp", 800.0, 6.0), ("pump strainer", 200.0, 5.0),
        ),
    },
    _sheet,
)


def _cell(key: str, row: str, unit: str, marks: tuple[Fingerprint, ...]) -> Numeric:
    return Numeric(
        f"03-sheet.{key}", row, CALCULATE, SHEET_CASE, row, unit,
        lambda n: getattr(n, key), "", Hints("", "", ""), marks, shows_unit=True,
    )


LONG, BEGINS, AT_MTTR, COUNTED, USED = (
    "long-run U", "long run begins", "U after one MTTR", "counted at the panel",
    "long run may be used for",
)
SHEET = Table(
    "03-sheet", "Long-run sheet", JUDGE, SHEET_CASE,
    "Fill the sheet. Three numbers come from the formulas. The counted share is read at the panel, "
    "after one MTTR.",
    (LONG, BEGINS, AT_MTTR, USED, COUNTED), ("value",),
    {
        (LONG, "value"): _cell("long", LONG, "%", (
            Fingerprint("S04", lambda n: 100 - n.long,
                        "That is the share up. What is the share down?"),
        )),
        (BEGINS, "value"): _cell("near_h", BEGINS, "h", (
            Fingerprint("M01", lambda n: n.mtbf_h,
                        "That is the MTBF. Which rate brings a part back to up?"),
            Fingerprint("M47", lambda n: n.settle_h,
                        "By then more than a third of the start is left. Is that within 5 %?"),
        )),
        (AT_MTTR, "value"): _cell("at_t", AT_MTTR, "%", (
            Fingerprint("M47", lambda n: n.long,
                        "That is the long run. How much of the way is done after one MTTR?"),
        )),
        (USED, "value"): Pick(
            ("yearly sums", "the first hours", "a night without a stop"),
            lambda n: "yearly sums",
            {
                "the first hours": ("M47", "How many are down in the first minute after a start?"),
                "a night without a stop": ("M03", "Does U count how often a part stops?"),
            },
        ),
        (COUNTED, "value"): Free(
            "At {mttr_h} h, the share counted and its interval from the panel. The exact U "
            "after one MTTR lies inside: nothing speaks against the formula, and more was not "
            "shown. About one interval in 20 misses it by chance.",
            ("gives share and interval", "says at which time", "says whether the exact is inside"),
        ),
    },
    "the repair rate sets when the long run begins, and the interval says what was shown.",
    Hints(
        "Look at which of the numbers depend on a time.",
        "Long run: MTTR/(MTBF + MTTR). It begins after 3/(1/MTBF + 1/MTTR).",
        "{long:.2f} %, {near_h:.1f} h, {at_t:.2f} %.",
    ),
    corner="{what}",
)

LESSON = Lesson(
    "03",
    "Two states in time",
    (
        *RECALL, PREDICTION, SETTLE, IN_TIME, QUESTIONS, *VOTES, INTERVAL, CHECKING,
        *CHAIN_ITEMS,
        DRILL, SHEET,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
