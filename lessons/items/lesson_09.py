"""Lesson 09, latent faults and tests: is the standby alive?"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Mapping
from types import SimpleNamespace

from labkit.evidence.claims import trials_needed
from labkit.evidence.limits import mtbf_limits, success_limits
from labkit.markov.latent import latent_faults, latent_text
from labkit.markov.pair import redundant_pair
from labkit.plant.plant import load_plant
from labkit.rig.finder import rates_of
from labkit.rig.rig import Rig
from labkit.switchover.lamps import lamps_of
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import against_bound, faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.misconceptions import misconception
from lessons.exercises.numeric import Fingerprint, Numeric
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.replies import STOP_HERE
from lessons.exercises.table import Free, Pick, Table

__all__ = ["LESSON", "TESTS", "found_by", "silent_per_year"]

CALCULATE = "calculate how long a standby may be dead and nobody knows"
PROVE = "choose a test interval, and say what a number of good tests proves"
PLAN = "fill in a proof-test plan"

# ---------------------------------------------------------------- what finds a sleeping fault

TESTS: Mapping[str, tuple[str, ...]] = {
    "a look at the lamps": (),
    "planned switchover": ("test: role change",),
    "sync cable pulled": ("WF9: cut",),
    "supply of the active off": ("KF1: no power",),
}
"""Tests in order of effort, and what each does at the plant."""

SLEEPERS = ("KF10B: dead and silent", "KF2: integrator not tracking", "settings: racks not asked",
            "settings: hold time too short", "KF2: program differs", "KF2: own fault")
TEST_NAMES = tuple(TESTS)


@functools.cache
def _signature(hidden: str, doing: tuple[str, ...]) -> tuple:
    """What lamps, alarms and process say after a test, with a hidden fault or without."""
    rig = Rig()
    rig.wait(5.0)
    if hidden:
        rig.switch_on(hidden)
    rig.wait(5.0)
    for each in doing:
        rig.switch_on(each)
    rig.wait(60.0)
    snapshot = rig.snapshot()
    return (
        tuple((lamp.unit, lamp.name, lamp.text) for lamp in lamps_of(snapshot)),
        snapshot.alarms, tuple(each.name for each in rig.happenings),
    )


@functools.cache
def found_by(hidden: str) -> str:
    """Return the first test of `TESTS` that shows a hidden fault, by running it on the rig.

    Examples
    --------
    >>> found_by("settings: racks not asked")
    'sync cable pulled'
    """
    return next((name for name, doing in TESTS.items()
                 if _signature(hidden, doing) != _signature("", doing)), "none of them")


@functools.cache
def silent_per_year() -> Mapping[str, float]:
    """Return how many latent faults a year wait for each test, by the rates of the plant."""
    rates = rates_of(load_plant())
    found = dict.fromkeys(TEST_NAMES[1:], 0.0)
    for fault_id, rate in rates.items():
        standby_side = fault_id.startswith(("KF2: integrator", "settings: ")) or (
            fault_id.endswith("B: dead and silent"))
        if standby_side and found_by(fault_id) in found:
            found[found_by(fault_id)] += rate * HOURS_PER_YEAR
    return found


_latent_faults = functools.cache(latent_faults)

# ---------------------------------------------------------------- recall

RECALL = (
    Numeric(
        "09-recall-first-year", "From lesson 01: the first year", CALCULATE,
        Case("09-recall-first-year", "A controller has an MTBF of {mtbf_h} h.",
             {"mtbf_h": (60_000.0, 40_000.0, 30_000.0)},
             lambda n: {"fails": -math.expm1(-HOURS_PER_YEAR / n.mtbf_h),
                        "survives": math.exp(-HOURS_PER_YEAR / n.mtbf_h)}),
        "How likely is it that it fails within its first year of running?", "%",
        lambda n: 100 * n.fails, "survival falls as exp(-t/MTBF), and the rest has failed.",
        Hints(
            "Look at the share that survives, and take the rest.",
            "Failed by t: 1 - exp(-t / MTBF), with t = 8760 h.",
            "1 - exp(-8760 / {mtbf_h}) = {fails:.1%}.",
        ),
        (
            Fingerprint("S04", lambda n: 100 * n.survives,
                        "That is the share that survives. How many have failed?"),
            Fingerprint("M01", lambda n: 100 * HOURS_PER_YEAR / n.mtbf_h,
                        "That is 8760 h / MTBF. How many units are left to fail late in the year?"),
        ),
    ),
    Choice(
        "09-recall-alone", "From lesson 04: a lamp of the pair", PLAN, Case("09-recall-alone"),
        "Which lamp tells that the next fault may stop the plant?",
        (
            Option("alone", "ALONE: it leads without a ready standby",
                   "then nobody is there to take over.", True),
            Option("ready", "READY: the standby waits for its turn",
                   "READY is lit in the healthy pair. What has changed then?",
                   misconception="M12"),
            Option("none", "No lamp: the pair takes over by itself",
                   "Who takes over, if the standby is out?", misconception="M12"),
        ),
        Hints("Look for the lamp that is dark in the healthy pair.",
              "Active without a ready standby has a lamp of its own.",
              "ALONE: active, and no standby is ready."),
    ),
    Choice(
        "09-recall-coverage", "From lesson 08: coverage", PROVE, Case("09-recall-coverage"),
        "97 % coverage: what happens in the other 3 % of failures of the active one?",
        (
            Option("stop", "The plant stops, though the standby is good",
                   "nobody takes over, until somebody starts the standby by hand.", True),
            Option("later", "The standby takes over somewhat later",
                   "Who starts it, if it has not noticed?", misconception="M12"),
            Option("never", "Nothing: a switchover always works",
                   "That would be 100 % coverage. What is different in 3 of 100 failures?",
                   misconception="M12"),
        ),
        Hints("Look at who notices the failure.",
              "Coverage is the share of failures from which the pair recovers by itself.",
              "3 % are not taken over: a stop, until somebody helps."),
    ),
    Choice(
        "09-recall-shared", "From lesson 02: what both share", PROVE, Case("09-recall-shared"),
        "Both controllers run one and the same program. What does that mean for its errors?",
        (
            Option("both", "An error in it meets both at one moment",
                   "what both share can stop both.", True),
            Option("one", "The standby goes on where the active one stumbles",
                   "It computes the same line from the same data. What would differ?",
                   misconception="M30"),
            Option("rare", "Two programs check each other for errors",
                   "They are one program, loaded twice. Who notices the error?",
                   misconception="M30"),
        ),
        Hints("Look for what both have in common.",
              "A shared part has no twin, and a program is a part.",
              "Same program, same data, same moment: the same error."),
    ),
)

# ---------------------------------------------------------------- prediction


def _never(numbers: SimpleNamespace) -> dict[str, object]:
    return dict(_ten_years())


@functools.cache
def _ten_years() -> Mapping[str, object]:
    pair = redundant_pair(60_000, 4, diagnosed=0.0, test_interval_h=math.inf)
    decade_h = 10 * HOURS_PER_YEAR
    place = pair.states.index("standby failed unnoticed")
    dead = float(pair.hours_in_states(decade_h)[place]) / decade_h
    stops = float(pair.failures_until(decade_h))
    yearly = _latent_faults(HOURS_PER_YEAR, 0.0)
    return {
        "dead": dead, "stops": stops, "yearly": yearly,
        "seen": (f"Never tested in 10 years: dead and nobody knows {dead:.0%} of the time; "
                 f"{stops:.2f} stops in 10 years on the average.\n{latent_text(yearly)}"),
    }


SILENT = Prediction(
    "09-silent", "Predict: a standby that nobody tests", CALCULATE,
    Case("09-silent",
         "READY is lit. Diagnosis sees none of the standby's faults, and nobody tests it for 10 "
         "years. Each controller has an MTBF of 60 000 h.", {}, _never),
    "For how much of the 10 years is the standby dead?",
    (
        Option("none", "Never: it is lit, so that it is alive",
               right=lambda n: n.dead < 0.001, misconception="M13"),
        Option("little", "About one hundredth of the time",
               right=lambda n: 0.001 <= n.dead < 0.05, misconception="M14"),
        Option("third", "About one third of the time",
               "The lamp is lit by the program that runs, and says nothing of what sleeps.",
               lambda n: 0.25 <= n.dead < 0.45),
        Option("all", "Nearly all of it: it fails after some years",
               right=lambda n: n.dead >= 0.8, misconception="M01"),
    ),
    (
        Statement("climbs", "The chance climbs from test to test.",
                  lambda n: n.yearly.dead[-1] > n.yearly.dead[0]),
        Statement("test", "Each test brings it back to zero.",
                  lambda n: n.yearly.dead[0] == 0),
        Statement("below", "Tested yearly, the mean stays below 1 %.",
                  lambda n: n.yearly.mean_dead < 0.01),
        Statement("minute", "Tested yearly, the pair is down more than 1 min a year.",
                  lambda n: n.yearly.down_min > 1),
    ),
    lambda n: n.seen,
    "Set 'Diagnosis sees' to none and 520 weeks, then 52 weeks. Read mean, teeth, and pair.",
    hints=Hints(
        "Look at what lights the lamp, and at what sleeps.",
        "A latent fault stays until a test, or until the standby is needed.",
        "Faults come at 1/60 000 h and stay: over 10 years that is a large share.",
    ),
)

# ---------------------------------------------------------------- choices


@functools.cache
def _numbers_against(identifier: str) -> Mapping[str, float]:
    return vars(misconception(identifier).numbers())


def _m(identifier: str):
    return lambda numbers: dict(_numbers_against(identifier))


VOTES = (
    Choice(
        "09-vote-lit", "For voting: READY is lit", CALCULATE,
        Case("09-vote-lit", "The pair has run for 8 months. READY is lit all the time.", {},
             _m("M13")),
        "Which statement is safe?",
        (
            Option("unknown", "Some of its faults would not show until it is needed",
                   "unseen by diagnosis and untested for 10 years, it is dead {dead:.0%} of the "
                   "time.",
                   True),
            Option("alive", "The standby is alive, for its lamp is lit",
                   "Untested for 10 years it may be dead {dead:.0%} of the time. Who lights the "
                   "lamp?",
                   misconception="M13"),
            Option("proved", "8 months without a fault prove that it works",
                   "It had nothing to do in 8 months. What would a fault have shown?",
                   misconception="M28"),
        ),
        Hints("Look at what the lamp is lit by.",
              "A lamp shows what diagnosis sees, and not what sleeps.",
              "READY says: loaded and running. Outputs, links and tracking are not tried."),
        voting=True,
    ),
    Choice(
        "09-vote-accepted", "For voting: passed at acceptance", PROVE,
        Case("09-vote-accepted",
             "The switchover was tested at acceptance, 5 years ago. Nobody has tested it since.",
             {}, lambda n: {"dead": _latent_faults(5 * HOURS_PER_YEAR, 0.0).dead[-1],
                            "half_yearly": _latent_faults(HOURS_PER_YEAR / 2, 0.0).mean_dead}),
        "What does the old test say about today?",
        (
            Option("little", "Little: a fault may have come since and sleep",
                   "where diagnosis sees nothing, {dead:.0%} of such standbys are dead by now.",
                   True),
            Option("works", "It works: what passed once goes on working",
                   "Half-yearly tests leave {half_yearly:.1%} dead. What do 5 years leave?",
                   misconception="M14"),
            Option("lit", "It works, as long as READY has stayed lit",
                   "Which faults would put READY out, and which not?", misconception="M13"),
        ),
        Hints("Look at what can happen after a test.",
              "A test says how it was on that day; the chance of a fault grows from there.",
              "After 5 years without test {dead:.0%} are dead, if diagnosis sees nothing."),
        voting=True,
    ),
)

PROGRAM = Choice(
    "09-program", "What no switchover finds", PROVE,
    Case("09-program", "Both controllers run the same program. It divides by zero at one rare "
         "level of the tank.", {}, _m("M30")),
    "Which test of the pair finds this error?",
    (
        Option("none", "None: both stumble at the same moment",
               "with all causes shared the pair has {pair:.0f} min/a, and one unit "
               "{single:.0f} min/a.", True),
        Option("roles", "A planned switchover: then the other program leads",
               "It is the same program. At which level would the other one stumble?",
               misconception="M30"),
        Option("power", "The supply off: the standby then starts anew",
               "Anew with the same program. What has changed at that level?",
               misconception="M30"),
    ),
    Hints("Look at what the standby would do in that moment.",
          "One error in both is one common cause: a test of the pair cannot tell it.",
          "Both compute the same line: review, test at the desk, and guards help."),
)

ORDER = Order(
    "09-order", "Order a proof test on the plant", PLAN, Case("09-order"),
    "The planned switchover is to be tested on the running plant. Bring the steps into order.",
    (
        "Get the permit, agree on a time window",
        "As the window opens, see READY lit and both links good",
        "With READY seen, man the process, agree on stop words",
        "Ask for the planned switchover and measure it",
        "See the new standby READY again",
        "Write down result, time and deviations",
    ),
    "first the leave and the way back, then the test, and last what it has shown.",
    Hints(
        "Look for what must be true before the next step can do harm.",
        "Permit, no second fault, people in place, test, normal again, paper.",
        "Permit, READY seen, process manned, planned switchover, READY again, write down.",
    ),
    {
        (1, 3): ("M13", "What happens at the change, if the standby is dead?"),
        (2, 3): ("M12", "Who acts, if the change does not work?"),
        (3, 5): ("M14", "What is there to write down, before the test was made?"),
    },
)

# ---------------------------------------------------------------- what good tests prove


def _tests(numbers: SimpleNamespace) -> dict[str, float]:
    limits = success_limits(numbers.good, numbers.good, confidence=0.95, sided="lower")
    return {"lower": limits.lower, "naive": 1 - 1 / numbers.good}


GOOD_TESTS = Numeric(
    "09-good-tests", "What good tests prove", PROVE,
    Case("09-good-tests", "{good} switchovers were tested, and all of them worked.",
         {"good": (10, 14, 8)}, _tests),
    "Which share of successes do they prove at 95 % confidence?", "%",
    lambda n: 100 * n.lower,
    "a pair with a lower share would pass them all in less than 5 % of cases.",
    Hints(
        "Look for the share with which all of them would still succeed once in 20 series.",
        "Share to the power of the number of tests = 0.05.",
        "0.05 to the power of 1/{good} = {lower:.1%}.",
    ),
    (
        Fingerprint("M12", lambda n: 100.0,
                    "A limit of 100 %: would one that works 9 times of 10 never pass them all?"),
        Fingerprint("M28", lambda n: 100 * n.naive,
                    "That counts one failure on top. How sure is this, at so few tests?"),
    ),
)
NEEDED = Numeric(
    "09-needed", "How many tests it takes", PROVE,
    Case("09-needed", "The sheet says: coverage {claim:.0%} or better, at 95 % confidence.",
         {"claim": (0.98, 0.96, 0.97)},
         lambda n: {"needed": float(trials_needed(n.claim, 0.95)), "naive": 1 / (1 - n.claim),
                    "exact": math.log(0.05) / math.log(n.claim),
                    "fewer": trials_needed(n.claim, 0.95) - 1.0,
                    "still": n.claim ** (trials_needed(n.claim, 0.95) - 1)}),
    "How many tests, all of them good, show that?", "",
    lambda n: n.needed,
    "with one less, a worse pair would pass too often.",
    Hints(
        "Look for the number with which a worse pair would pass in less than 5 % of series.",
        "Claim to the power of the number < 0.05, rounded up.",
        "log 0.05 / log {claim} = {exact:.1f}, so that {needed:.0f} tests are needed.",
    ),
    (
        Fingerprint("M28", lambda n: n.naive,
                    "In that many tests one failure is expected. How often would none come?"),
        Fingerprint("M12", lambda n: 12.0,
                    "Twelve good ones prove 78 %. How far is that from the claim?"),
        Fingerprint("S05", lambda n: n.fewer,
                    "With {fewer:.0f} a pair of {claim:.0%} passes in {still:.2%} of series. Is "
                    "that below 5 %?"),
    ),
    tolerance=0.002,  # a count: one test fewer is another answer
)
YEAR = Numeric(
    "09-year", "No failure so far", PROVE,
    Case("09-year", "Two controllers ran for {each_h} h each, without a failure.",
         {"each_h": (HOURS_PER_YEAR, 2 * HOURS_PER_YEAR, 3 * HOURS_PER_YEAR)},
         lambda n: {"hours": 2 * n.each_h,
                    "lower": mtbf_limits(2 * n.each_h, 0, confidence=0.9,
                                         sided="lower").lower}),
    "Which MTBF do they prove at 90 % confidence?", "h",
    lambda n: n.lower, "with a shorter MTBF such luck would come in less than 10 % of cases.",
    Hints(
        "Look at the hours of both units, and at how lucky no failure would be.",
        "exp(-hours / MTBF) = 0.1, so that MTBF = hours / ln 10.",
        "{hours} h / 2.303 = {lower} h.",
    ),
    (
        Fingerprint("M28", lambda n: 60_000.0,
                    "That is what the data sheet says. What do so few hours prove of it?"),
        Fingerprint("S07", lambda n: n.lower / 2,
                    "That takes the hours of one unit. How many units ran?"),
        Fingerprint("M28", lambda n: n.hours,
                    "That is all the hours. How often would such luck come with that MTBF?"),
    ),
)

# ---------------------------------------------------------------- the chain


def _asleep(numbers: SimpleNamespace) -> dict[str, object]:
    silent = (1 - numbers.seen) * HOURS_PER_YEAR / numbers.mtbf_h
    dead = silent * numbers.weeks * 168 / HOURS_PER_YEAR / 2
    return {
        "silent": silent, "all_per_a": HOURS_PER_YEAR / numbers.mtbf_h, "dead": dead,
        "dead_h": dead * HOURS_PER_YEAR, "wait_h": numbers.weeks * 168 / 2,
        "stands": "inside" if dead * HOURS_PER_YEAR <= numbers.bound_h else "outside",
    }


def _asleep_case(name: str, mtbf_h: tuple, seen: tuple, weeks: tuple) -> Case:
    return Case(
        f"09-{name}",
        "A standby has an MTBF of {mtbf_h} h. Diagnosis sees {seen:.0%} of its faults, and it is "
        "tested every {weeks} weeks. It may be dead unnoticed for {bound_h} h a year.",
        {"mtbf_h": mtbf_h, "seen": seen, "weeks": weeks, "bound_h": (40.0, 20.0, 90.0)}, _asleep,
    )


CASES = (
    _asleep_case("worked", (60_000.0, 50_000.0), (0.9, 0.8), (26.0, 13.0)),
    _asleep_case("turn-1", (45_000.0, 75_000.0), (0.8, 0.9), (13.0, 52.0)),
    _asleep_case("turn-2", (90_000.0, 40_000.0), (0.6, 0.9), (26.0, 52.0)),
    _asleep_case("turn-3", (50_000.0, 80_000.0), (0.9, 0.7), (52.0, 8.0)),
)
WORKED = (
    "a fault comes anywhere in the interval: it waits half of it on the average.",
    "latent faults: (1 - {seen}) × 8760 / {mtbf_h} = {silent:.4f} a year.",
    "{silent:.4f} a year × {weeks} × 168 h / 2 = {dead_h:.1f} h a year, {dead:.2%} of it.",
    "{dead_h:.1f} h a year against {bound_h} h a year: {stands}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", CALCULATE, case,
        "How long does a latent fault wait for the next test, on the average?",
        (
            Option("half", "half of an interval, for it may come at any time",
                   "early ones wait nearly all of it, late ones hardly at all.", True),
            Option("whole", "a whole interval, for a test has to come first",
                   "One that comes the day before the test waits a day. What is the mean?",
                   misconception="S05"),
            Option("none", "no time at all, for the lamp shows it at once",
                   "Then it is no latent fault. What shows a latent one?",
                   misconception="M13"),
        ),
        Hints("Look at early and late faults in one interval.",
              "Anywhere in the interval, all places alike: the mean is the middle.",
              "{weeks} weeks from test to test: {wait_h} h of waiting on the average."),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", CALCULATE, case,
        "How many latent faults does the standby have in a year?", "1/a",
        lambda n: n.silent, "only those that diagnosis does not see are silent.",
        Hints("Look at which faults diagnosis does not see.",
              "Latent faults a year = (1 - share seen) × 8760 / MTBF.", WORKED[1]),
        (
            Fingerprint("S04", lambda n: n.seen * n.all_per_a,
                        "Those are the ones that are seen. How many are not?"),
            Fingerprint("M14", lambda n: n.all_per_a,
                        "Those are all its faults. Which of them wait for a test?"),
        ),
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CALCULATE, case,
        "How many hours a year is it dead and nobody knows?", "h/a",
        lambda n: n.dead_h, "faults a year, and each waits half an interval.",
        Hints("Look at how many come, and how long each waits, in hours.",
              "Hours a year = latent faults a year × interval in hours / 2.", WORKED[2]),
        (
            Fingerprint("S05", lambda n: 2 * n.dead_h,
                        "That lets each wait a whole interval. What is the mean wait?"),
            Fingerprint("M14", lambda n: n.dead_h / (1 - n.seen),
                        "That counts all faults. Which of them wait for a test?"),
        ),
        follows=f"{case.id}.sort",
        solve_from=lambda n, silent: silent * n.wait_h,
    )


def _compare(case: Case) -> Choice:
    return against_bound(
        case, CALCULATE, result="{dead_h:.1f} h", bound="{bound_h} h a year",
        inside=lambda n: n.stands == "inside", errors=("M14", "M14"), route=WORKED[3],
        then=("so that the interval may stay", "so that it has to be shorter"),
        third=Option(
            "mixed", "neither, since the units do not match",
            "Both are hours in a year. Which of them is larger?", misconception="S01",
        ),
    )


CHAINS, CHAIN_ITEMS = faded(CASES, (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drill and plan

FINDER_QUESTIONS = {
    "a look at the lamps": ("M13", "Which lamp or alarm changes while the standby waits?"),
    "planned switchover": ("M14", "Which rule or path does a planned switchover leave untried?"),
    "sync cable pulled": ("M14", "What does the pair do when the cable is silent?"),
    "supply of the active off": ("M14", "Would not a gentler test show it too?"),
}


def _hidden(numbers: SimpleNamespace) -> dict[str, object]:
    return {f"fault{i}": fault for i, fault in enumerate(numbers.faults, 1)} | {
        f"test{i}": found_by(fault) for i, fault in enumerate(numbers.faults, 1)}


DRILL = Table(
    "09-drill", "Drill: which test finds it?", PROVE,
    Case(
        "09-drill",
        "KF1 leads, KF2 stands by. Hidden at the plant: fault 1 is {fault1}; fault 2 is {fault2}; "
        "fault 3 is {fault3}.",
        {"faults": tuple(itertools.combinations(SLEEPERS, 3))}, _hidden,
    ),
    "Which is the first of these tests that shows it? They stand in order of effort.",
    ("fault 1", "fault 2", "fault 3"), ("shown by",),
    {
        (f"fault {i + 1}", "shown by"): Pick(
            TEST_NAMES, functools.partial(lambda i, n: found_by(n.faults[i]), i),
            FINDER_QUESTIONS)
        for i in range(3)
    },
    "each test tries some rules and paths, and leaves the others asleep.",
    Hints(
        "Look at what the fault changes, and when that would be needed.",
        "Planned switchover: outputs, links, tracking. Sync cable: the question to the racks.",
        "fault 1: {test1}; fault 2: {test2}; fault 3: {test3}.",
    ),
    corner="hidden",
    kept=False,
)

INTERVALS = {"every month": 1 / 12, "every quarter": 1 / 4, "every half-year": 1 / 2,
             "every year": 1.0}
BOUND = 0.01


@functools.cache
def _longest(test: str) -> str:
    """The longest interval that keeps the share of time with such a fault within the bound."""
    allowed = [name for name, years in INTERVALS.items()
               if silent_per_year()[test] * years / 2 <= BOUND]
    return allowed[-1]


PLAN_TESTS = TEST_NAMES[1:]
FINDS: Mapping[str, str] = {
    "not tracking": "KF2: integrator not tracking",
    "racks not asked": "settings: racks not asked",
    "hold time short": "settings: hold time too short",
}
"""Faults of the plan, by names that a narrow column shows whole."""

GIVEN_STOPS = {
    "sync cable pulled": "two units show ACTIVE: plug it in again",
    "supply of the active off": "a pump drops out: supply on again",
}
PLAN_TABLE = Table(
    "09-plan", "Proof-test plan", PLAN,
    Case("09-plan",
         "The faults that wait for a test may sleep for {bound:.0%} of the time at most. Latent "
         "faults a year that wait: for the planned switchover {roles:.3f}, for the sync cable "
         "{sync:.3f}, for the supply {supply:.3f}.", {},
         lambda n: {"bound": BOUND, **dict(zip(("roles", "sync", "supply"),
                                               silent_per_year().values(), strict=True))}),
    "For each test: what does it find, and what is the longest interval allowed?",
    PLAN_TESTS, ("finds", "interval", "stop when"),
    {
        **{
            (test, "finds"): Pick(
                tuple(FINDS), functools.partial(
                    lambda test, n: next(
                        name for name, fault in FINDS.items() if found_by(fault) == test),
                    test),
                {each: ("M14", "When would this fault be needed, and does this test need it?")
                 for each in FINDS},
            )
            for test in PLAN_TESTS
        },
        **{
            (test, "interval"): Pick(
                tuple(INTERVALS), functools.partial(lambda test, n: _longest(test), test),
                {name: ("M14", "Faults a year × interval in years / 2: how much is that?")
                 for name in INTERVALS},
            )
            for test in PLAN_TESTS
        },
        **{(test, "stop when"): stop for test, stop in GIVEN_STOPS.items()},
        ("planned switchover", "stop when"): Free(
            "ALONE is lit, a link is yellow, the UV light warms up, or the level is near a limit. "
            "Way back: ask for the second change, READY seen, result written down.",
            ("excludes a second fault", "names a limit of the process", "says the way back"),
        ),
    },
    "each interval is the longest that keeps the wait for its faults within the bound.",
    Hints(
        "Look at the latent faults a year of each test.",
        "Share asleep = faults a year × interval in years / 2, at most {bound:.0%}.",
        "Planned switchover {roles:.3f}, sync {sync:.3f}, supply {supply:.3f} a year: try each "
        "interval from the longest down.",
    ),
    corner="test",
)

SAFETY = Choice(
    "09-safety", "A test on the running plant", PLAN, Case("09-safety"),
    "The planned switchover is due tonight. KF1 shows ALONE. What do you do?",
    (
        Option("wait", "Put it off, and find out why KF1 is alone",
               "no standby is ready: this pair refuses the change, another one may stop the "
               "plant.", True),
        Option("do", "Do it: the test will show whether KF2 lives",
               f"{STOP_HERE} no standby is ready. Who leads after the change?",
               misconception="M12"),
        Option("tick", "Tick it off: ALONE shows that KF1 works well",
               "What does a tick without a test say about tonight?", misconception="M14"),
    ),
    Hints("Look at what a second fault would do now.",
          "Before each test: a ready standby, both links, both supplies.",
          "ALONE: nobody takes over. Find the reason first, test afterwards."),
)

LESSON = Lesson(
    "09",
    "Latent faults and tests",
    (
        *RECALL, SILENT, *VOTES, PROGRAM, ORDER, SAFETY, GOOD_TESTS, NEEDED, YEAR,
        *CHAIN_ITEMS,
        DRILL, PLAN_TABLE,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
