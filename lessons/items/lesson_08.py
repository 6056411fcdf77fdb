"""Lesson 08, the pair in numbers: what does the second controller buy?"""

from __future__ import annotations

from types import SimpleNamespace

from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.flaws import Flaws, flaw_rows, flaws_text, years_in_words
from labkit.markov.pair import redundant_pair
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import against_bound, faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.misconceptions import misconception
from lessons.exercises.numeric import Fingerprint, Numeric
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.table import Free, Table

__all__ = ["LESSON"]

CALCULATE = "calculate down time and outages of a pair with its flaws"
CHOOSE = "choose the flaw that is worth the work, and say what a third controller brings"
FILL = "fill in the comparison table of one controller and the pair"

YEAR_MIN = HOURS_PER_YEAR * 60
REAL = Flaws(common_cause=0.05, coverage=0.97, diagnosed=0.9)


def _down_min(chain: MarkovModel) -> float:
    return chain.unavailability * YEAR_MIN


# ---------------------------------------------------------------- recall

ONE = Case(
    "08-one", "A controller has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h.",
    {"mtbf_h": (60_000.0, 45_000.0, 90_000.0), "mttr_h": (4.0, 3.0, 6.0)},
    lambda n: {
        "down_min": _down_min(two_state(n.mtbf_h, n.mttr_h)),
        "per_a": HOURS_PER_YEAR / (n.mtbf_h + n.mttr_h),
    },
)
RECALL = (
    Numeric(
        "08-recall-down", "From lesson 01: down time", CALCULATE, ONE,
        "How long is it down in a year on the average?", "min/a", lambda n: n.down_min,
        "failures a year times the time that each of them lasts.",
        Hints(
            "Look at how often, then at how long each time.",
            "Down time a year = 8760 h / (MTBF + MTTR) × MTTR.",
            "{per_a:.3f} failures a year × {mttr_h} h × 60 = {down_min:.1f} min a year.",
        ),
        (
            Fingerprint("M09", lambda n: n.per_a * 60,
                        "That gives each failure one hour. How long does a restoration last here?"),
            Fingerprint("S02", lambda n: n.mttr_h * 60,
                        "That is one restoration. Is there one in every year?"),
        ),
        shows_unit=True,
    ),
    Choice(
        "08-recall-shared", "From lesson 02: what both share", CHOOSE, Case("08-recall-shared"),
        "Both controllers hang on one 24 V supply. Where does it stand in the block diagram?",
        (
            Option("series", "in series with both of them",
                   "what both need stops both.", True),
            Option("parallel", "in parallel, as a third one",
                   "The supply fails. Which of the two controllers would go on running?",
                   misconception="M15"),
            Option("outside", "nowhere, for it is no controller",
                   "A supply with 3 h of repair fails. How long do both controllers stand?",
                   misconception="M16"),
        ),
        Hints(
            "Look at what happens to both when the supply fails.",
            "A part that all ways need stands in series.",
            "The supply stands in series with the pair.",
        ),
    ),
    Choice(
        "08-recall-duct", "From lesson 07: two cables", CHOOSE,
        Case("08-recall-duct", "", {}, lambda n: vars(misconception("M26").numbers())),
        "Two cables between the controllers lie in one duct. What sets how often both are out?",
        (
            Option("duct", "the causes that hit the duct, and with it both",
                   "by chance at the same time is far rarer.", True),
            Option("squared", "both failing at one time, each by itself",
                   "By chance: once in {independent} years. How often does somebody dig at a "
                   "duct?",
                   misconception="M26"),
            Option("one", "each failure of either of the two cables",
                   "One of two is cut. Which way is left for the data?", misconception="M25"),
        ),
        Hints(
            "Look for what takes both at one blow.",
            "Common causes come at a share of one cable's rate.",
            "The duct: a tenth of one cable's failures, against a meeting of two rare ones.",
        ),
    ),
    Choice(
        "08-recall-alone", "From lesson 04: ALONE", CALCULATE, ONE,
        "Two of these form a pair. How often does the pair lose its ready standby?",
        (
            Option("two", "About twice as often as one unit fails",
                   "either of the two may fail.", True),
            Option("half", "About half as often as one unit fails",
                   "Two units run. Do they have fewer failures than one?", misconception="M07"),
            Option("never", "Never, as long as its READY lamp is lit",
                   "One unit alone fails {per_a:.2f} times a year. What does a lit lamp prove?",
                   misconception="M13"),
        ),
        Hints(
            "Look at how many units can fail.",
            "Rates of units that can fail add up.",
            "2 / {mtbf_h} h: twice as often as one unit.",
        ),
    ),
)

# ---------------------------------------------------------------- prediction


def _buys(numbers: SimpleNamespace) -> dict[str, object]:
    one, ideal, shared, failed, silent, real = flaw_rows(REAL)
    return {
        "one_min": one.down_min_per_a, "real_min": real.down_min_per_a,
        "ideal_s": ideal.down_min_per_a * 60, "shared_min": shared.down_min_per_a,
        "half_min": one.down_min_per_a / 2,
        "failed_per_a": 1 / failed.years_between, "silent_per_a": 1 / silent.years_between,
        "seen": flaws_text(REAL),
    }


BUYS = Prediction(
    "08-second", "Predict: what the second one buys", CALCULATE,
    Case("08-second",
         "One controller is down {one_min:.0f} min a year. Now there are two of them. 5 % of the "
         "causes are shared, 97 % of the takeovers succeed, 90 % of the standby's faults are "
         "seen.", {}, _buys),
    "How long is the pair down in a year?",
    (
        Option("half", "about {half_min:.0f} min, half of it",
               right=lambda n: 0.3 * n.one_min < n.real_min < 0.7 * n.one_min,
               misconception="M07"),
        Option("two", "about 2 min, a small part of it",
               "Common causes alone make most of it.", lambda n: 1.5 < n.real_min < 2.5),
        Option("square", "below 1 s, the square of it",
               right=lambda n: n.real_min * 60 < 1, misconception="M08"),
        Option("none", "no time: one always takes over",
               right=lambda n: n.real_min == 0, misconception="M12"),
    ),
    (
        Statement("shared", "Common causes alone bring more than 1 min a year.",
                  lambda n: n.shared_min > 1),
        Statement("ideal", "The ideal pair is down more than 1 s a year.",
                  lambda n: n.ideal_s > 1),
        Statement("stops", "Failed takeovers bring more stops than latent faults.",
                  lambda n: n.failed_per_a > n.silent_per_a),
        Statement("times", "The pair as set is down at least 100 times less than one.",
                  lambda n: n.one_min / n.real_min >= 100),
    ),
    lambda n: n.seen,
    "Begin with the ideal pair. Set common causes to 5 %, then back; takeovers to 97 %, then "
    "back; faults seen to 90 %, then all three.",
    Hints(
        "Look at what takes both units at one blow.",
        "Ideal: the square of a small number. Common causes: a share of a small number.",
        "5 % of {one_min:.0f} min a year are {shared_min:.2f} min; the other flaws add a little.",
    ),
)

# ---------------------------------------------------------------- two units, left alone or repaired


def _two(numbers: SimpleNamespace) -> dict[str, object]:
    rate = 1 / numbers.mtbf_h
    unrepaired = MarkovModel({("two", "one"): 2 * rate, ("one", "none"): rate}, up=["two", "one"])
    return {
        "unrepaired_h": unrepaired.mean_time_to_first_failure_h(),
        "half_h": numbers.mtbf_h / 2,
    }


TWO = Case(
    "08-two",
    "Two controllers run, each with an MTBF of {mtbf_h} h. Nothing is shared, each fault is seen, "
    "each takeover succeeds.",
    {"mtbf_h": (60_000.0, 45_000.0, 90_000.0, 30_000.0, 72_000.0)},
    _two,
)
UNREPAIRED = Numeric(
    "08-no-repair", "Nobody repairs", CALCULATE, TWO,
    "Nobody repairs the first one that fails. After which mean time have both failed?", "h",
    lambda n: n.unrepaired_h, "two units until the first failure, then one until the second.",
    Hints(
        "Look at two stretches: until the first failure, and from there to the second.",
        "Mean time = MTBF / 2 with two running, and one MTBF with one running.",
        "{half_h} h + {mtbf_h} h = {unrepaired_h} h.",
    ),
    (
        Fingerprint("M07", lambda n: 2 * n.mtbf_h,
                    "That lets the second one start when the first has failed. Do both run from "
                    "the start?"),
        Fingerprint("M07", lambda n: n.mtbf_h,
                    "That is one MTBF. One of two fails after {half_h} h: how long does the other "
                    "last from there?"),
        Fingerprint("S02", lambda n: n.half_h,
                    "That is the time to the first failure of the two. When does the second come?"),
    ),
    shows_unit=True,
)
REPAIRED = Numeric(
    "08-repair", "Each failure is repaired", CALCULATE,
    Case(
        "08-repaired",
        "Two controllers run, each with an MTBF of {mtbf_h} h. Each failure is repaired in "
        "{mttr_h} h. Nothing is shared, each fault is seen, each takeover succeeds.",
        {"mtbf_h": (60_000.0, 45_000.0, 90_000.0, 30_000.0), "mttr_h": (4.0, 8.0, 12.0)},
        lambda n: {
            "ideal_a": redundant_pair(n.mtbf_h, n.mttr_h).mean_time_to_first_failure_h()
            / HOURS_PER_YEAR,
        },
    ),
    "After how many years is the first outage on the average?", "a",
    lambda n: n.ideal_a,
    "the second failure must fall into the few hours of a repair.",
    Hints(
        "Look at how seldom a second failure falls into a repair.",
        "First outage after about MTBF² / (2 × MTTR).",
        "{mtbf_h}² / (2 × {mttr_h}) h / 8760 = about {ideal_a:.0f} years.",
    ),
    (
        Fingerprint("M07", lambda n: 2 * n.mtbf_h / HOURS_PER_YEAR,
                    "That doubles one MTBF. How likely is a second failure within {mttr_h} h?"),
        Fingerprint("M09", lambda n: 1.5 * n.mtbf_h / HOURS_PER_YEAR,
                    "That is the time without repair. What do {mttr_h} h of repair change?"),
        Fingerprint("S02", lambda n: n.mtbf_h**2 / n.mttr_h / HOURS_PER_YEAR,
                    "That lets one unit fail first. Two are running: how often does one of 2 "
                    "fail?"),
    ),
    shows_unit=True,
)

# ---------------------------------------------------------------- one flaw at a time


COMMON = Case(
    "08-common",
    "A pair of controllers, MTBF {mtbf_h} h and MTTR {mttr_h} h each. {percent} % of the causes "
    "hit both at once. All else is ideal.",
    {"mtbf_h": (60_000.0, 45_000.0, 90_000.0), "mttr_h": (4.0, 6.0, 3.0),
     "percent": (5.0, 2.0, 10.0)},
    lambda n: {
        "share": n.percent / 100,
        "shared_min": n.percent / 100 * n.mttr_h / n.mtbf_h * YEAR_MIN,
        "square_min": (n.mttr_h / n.mtbf_h) ** 2 * YEAR_MIN,
        "one_min": n.mttr_h / n.mtbf_h * YEAR_MIN,
    },
)
SHARED = Numeric(
    "08-shared", "Minutes from common causes", CALCULATE, COMMON,
    "How long is the pair down in a year by common causes alone?", "min/a",
    lambda n: n.shared_min, "a share of one controller's failures, each with a whole repair.",
    Hints(
        "Look at one controller's down time first, then at the share.",
        "Down time by common causes = share × MTTR / MTBF of a year.",
        "{percent} % of {one_min:.1f} min a year = {shared_min:.2f} min a year.",
    ),
    (
        Fingerprint("M08", lambda n: n.square_min,
                    "That squares the unavailability. Which causes do not wait for a second one?"),
        Fingerprint("M11", lambda n: n.share * n.square_min,
                    "That takes a share of the square. Does a common cause need two failures?"),
        Fingerprint("M11", lambda n: n.one_min,
                    "That is one controller alone. Which share of its failures hits both?"),
        Fingerprint("M11", lambda n: 2 * n.shared_min,
                    "That counts each common cause once for each unit. How many outages is one?"),
    ),
    shows_unit=True,
)
TAKEOVERS = Case(
    "08-takeovers",
    "A pair of controllers, MTBF {mtbf_h} h each. No cause is shared, and each fault is seen. Of "
    "100 takeovers {good} succeed.",
    {"mtbf_h": (60_000.0, 45_000.0, 90_000.0), "coverage": (0.97, 0.95, 0.99)},
    lambda n: {
        "failed_per_a": (1 - n.coverage) * HOURS_PER_YEAR / n.mtbf_h,
        "good": 100 * n.coverage,
    },
)
STOPS = Numeric(
    "08-stops", "Stops from failed takeovers", CALCULATE, TAKEOVERS,
    "How many outages a year come from failed takeovers?", "1/a",
    lambda n: n.failed_per_a,
    "each failure of the active asks for a takeover, and a share of these fails.",
    Hints(
        "Look at the failures of the active one, and at those that are not taken over.",
        "Outages a year = (1 - coverage) × 8760 h / MTBF.",
        "(1 - {coverage}) × 8760 / {mtbf_h} = {failed_per_a:.5f} a year.",
    ),
    (
        Fingerprint("M12", lambda n: n.coverage * HOURS_PER_YEAR / n.mtbf_h,
                    "That counts the takeovers that succeed. What happens in the others?"),
        Fingerprint("M13", lambda n: 2 * n.failed_per_a,
                    "That counts both units. Which unit's failure calls for a takeover?"),
    ),
    shows_unit=True,
)


def _spend(numbers: SimpleNamespace) -> dict[str, object]:
    def minutes(shared: float, coverage: float, seen: float) -> float:
        return _down_min(redundant_pair(numbers.mtbf_h, 4, common_cause=shared, coverage=coverage,
                                        diagnosed=seen))

    now = minutes(0.05, 0.97, 0.9)
    saved = {"causes": now - minutes(0.02, 0.97, 0.9), "taken": now - minutes(0.05, 0.99, 0.9),
             "seen": now - minutes(0.05, 0.97, 0.99)}
    return {f"save_{name}": value for name, value in saved.items()} | {
        "now_min": now, "best": max(saved, key=saved.__getitem__)}


SPEND = Choice(
    "08-spend", "Where to spend first", CHOOSE,
    Case("08-spend",
         "The pair is down {now_min:.2f} min a year: MTBF {mtbf_h} h, MTTR 4 h, 5 % common causes, "
         "97 % taken over, 90 % of the standby's faults seen.",
         {"mtbf_h": (60_000.0, 40_000.0, 90_000.0)}, _spend),
    "There is money for one of three. Which one takes the most minutes away?",
    (
        Option("causes", "separate supplies and ways: common causes 5 to 2 %",
               "it saves {save_causes:.2f} min a year, more than both others together.",
               lambda n: n.best == "causes", "M11"),
        Option("taken", "a better takeover: from 97 to 99 of 100 succeed",
               "It saves {save_taken:.2f} min a year. What do common causes cost against that?",
               lambda n: n.best == "taken", "M11"),
        Option("seen", "self-diagnosis of the standby: from 90 to 99 % seen",
               "It saves {save_seen:.2f} min a year. Which flaw makes the longest bar?",
               lambda n: n.best == "seen", "M11"),
    ),
    Hints(
        "Look at the bars of the panel: which one is longest?",
        "Common causes: share × MTTR / MTBF. Takeovers: (1 - coverage) × 0.5 h / MTBF.",
        "Saved: {save_causes:.2f}, {save_taken:.2f} and {save_seen:.2f} min a year.",
    ),
)

# ---------------------------------------------------------------- votes

VOTES = (
    Choice(
        "08-vote-square", "For voting: the square", CALCULATE,
        Case("08-vote-square",
             "One controller is down {single:.4f} % of the time. Somebody multiplies: a "
             "pair is down {square_s:.2f} s a year.", {},
             lambda n: vars(misconception("M08").numbers()) | {
                 "single": 100 * two_state(60_000, 4).unavailability}),
        "What is missing above all in this calculation?",
        (
            Option("flaws", "Common causes, failed takeovers, latent faults",
                   "with them it is {real_min:.1f} min a year, {ratio:.0f} times the square.",
                   True),
            Option("nothing", "Nothing: independent shares are multiplied",
                   "With its real flaws the pair is down {ratio:.0f} times longer. What is not "
                   "independent?", misconception="M08"),
            Option("half", "A factor of two, since there are two units",
                   "Twice the square is below 1 s. The pair is down {real_min:.1f} min: what "
                   "makes the rest?", misconception="M07"),
        ),
        Hints(
            "Look for causes that do not wait for a second failure.",
            "Multiplying holds for independent failures that are seen and taken over.",
            "Common causes alone: 5 % of one controller's down time.",
        ),
        voting=True,
    ),
    Choice(
        "08-vote-third", "For voting: a third controller", CHOOSE,
        Case("08-vote-third",
             "5 % of the causes are shared by all controllers. All else is ideal. A pair is "
             "down {two_min:.2f} min a year. A third controller is offered.", {},
             lambda n: vars(misconception("M17").numbers())),
        "What does the third one buy?",
        (
            Option("nothing", "Next to nothing: still {three_min:.2f} min a year",
                   "the common causes hit three as they hit two.", True),
            Option("much", "A lot: three at once are far rarer than two",
                   "The common cause takes 2 or 3 at once. How often does it come?",
                   misconception="M17"),
            Option("third", "A third less: three units share the work",
                   "5 % of one controller's failures stop all. Does a third unit lower that?",
                   misconception="M17"),
        ),
        Hints(
            "Look at which causes still stop the plant.",
            "Common causes: share × MTTR / MTBF, whatever the number of units.",
            "From {two_min:.3f} to {three_min:.3f} min a year.",
        ),
        voting=True,
    ),
)

# ---------------------------------------------------------------- faded chains: two flaws


def _flawed(numbers: SimpleNamespace) -> dict[str, object]:
    share, coverage = numbers.percent / 100, numbers.good / 100
    pair = redundant_pair(numbers.mtbf_h, numbers.mttr_h, common_cause=share, coverage=coverage,
                          restart_h=numbers.restart_h)
    shared_per_a = share * HOURS_PER_YEAR / numbers.mtbf_h
    failed_per_a = (1 - share) * (1 - coverage) * HOURS_PER_YEAR / numbers.mtbf_h
    down_min = 60 * (shared_per_a * numbers.mttr_h + failed_per_a * numbers.restart_h)
    one_min = _down_min(two_state(numbers.mtbf_h, numbers.mttr_h))
    return {
        "pair": pair,
        "bad": 100 - numbers.good,
        "shared_per_a": shared_per_a,
        "failed_per_a": failed_per_a,
        "per_a": shared_per_a + failed_per_a,
        "down_min": down_min,
        "exact_min": _down_min(pair),
        "one_min": one_min,
        "square_min": (numbers.mttr_h / numbers.mtbf_h) ** 2 * YEAR_MIN,
        "stands": "inside" if down_min <= numbers.bound_min else "outside",
    }


def _flawed_case(name: str, mtbf_h: tuple, mttr_h: tuple, percent: tuple, good: tuple) -> Case:
    return Case(
        f"08-{name}",
        "A pair: MTBF {mtbf_h} h and MTTR {mttr_h} h each. {percent} % of the causes hit both. Of "
        "the rest {good} % are taken over, else staff start the standby after {restart_h} h. "
        "Latent faults are left out. The manager accepts {bound_min} min a year.",
        {"mtbf_h": mtbf_h, "mttr_h": mttr_h, "percent": percent, "good": good,
         "restart_h": (0.5, 1.0), "bound_min": (2.0, 1.0, 5.0)},
        _flawed,
    )


FLAWED = (
    _flawed_case("worked", (60_000.0, 80_000.0), (4.0, 5.0), (5.0,), (97.0, 95.0)),
    _flawed_case("turn-1", (45_000.0, 70_000.0), (3.0, 6.0), (2.0, 4.0), (95.0, 90.0)),
    _flawed_case("turn-2", (90_000.0, 50_000.0), (8.0, 4.0), (5.0, 3.0), (90.0, 85.0)),
    _flawed_case("turn-3", (40_000.0, 120_000.0), (6.0, 8.0), (2.0, 4.0), (92.0, 80.0)),
)
WORKED = (
    "two ways from both good to an outage: the common cause, and the takeover that fails.",
    ("{percent} % of 8760 / {mtbf_h} = {shared_per_a:.5f}. Of the rest {bad} % = "
     "{failed_per_a:.5f}. Together {per_a:.5f} outages a year."),
    ("({shared_per_a:.5f} × {mttr_h} h + {failed_per_a:.5f} × {restart_h} h) × 60 = "
     "{down_min:.2f} min a year."),
    ("{down_min:.2f} min a year against {bound_min} min a year: {stands}. One controller: "
     "{one_min:.0f} min."),
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", CALCULATE, case,
        "Which arrows lead from both good to an outage in one step?",
        (
            Option("both", "a common cause, and a failed takeover",
                   "each of them needs one event and no second failure.", True),
            Option("none", "none: it takes two failures in a row",
                   "{percent} % of the causes hit both at once. How many failures is that?",
                   misconception="M08"),
            Option("shared", "the common cause, and no other one",
                   "{bad} of 100 takeovers fail. Who leads in that case?", misconception="M12"),
        ),
        Hints(
            "Look at the picture of the five states: which are dashed?",
            "Both failed, or not taken over: see which arrows end there.",
            "Common cause to both failed; failed takeover to not taken over.",
        ),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", CALCULATE, case,
        "How many outages a year do these two ways bring together?", "1/a",
        lambda n: n.per_a, "common causes, and of the rest the share that is not taken over.",
        Hints(
            "Take the common causes off first. Which share of the rest is not taken over?",
            "Outages a year = (common + (1 - common) × (1 - coverage)) × 8760 h / MTBF. 5 % is 0.05.",
            WORKED[1],
        ),
        (
            Fingerprint("M12", lambda n: n.shared_per_a,
                        "That counts the common causes. What of takeovers that fail?"),
            Fingerprint("M11", lambda n: n.failed_per_a,
                        "That counts the failed takeovers. What of causes that hit both?"),
            Fingerprint("M07", lambda n: HOURS_PER_YEAR / n.mtbf_h,
                        "That is each failure of one controller. Does each of them stop the "
                        "plant?"),
        ),
        shows_unit=True,
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CALCULATE, case,
        "How long is the pair down in a year?", "min/a",
        lambda n: n.down_min, "each way has its own time: a repair, or a start by hand.",
        Hints(
            "Look at the two ways one by one: how long does each outage last?",
            "Down time = common causes a year × MTTR + failed takeovers a year × time to start.",
            WORKED[2],
        ),
        (
            Fingerprint("M12", lambda n: n.shared_per_a * n.mttr_h * 60,
                        "That counts the common causes. What of the {bad} % that are not taken "
                        "over?"),
            Fingerprint("S01", lambda n: n.shared_per_a * n.mttr_h + 60 * n.failed_per_a
                        * n.restart_h,
                        "One way stands there in hours. How many minutes are {mttr_h} h?"),
            Fingerprint("M09", lambda n: n.per_a * n.mttr_h * 60,
                        "That gives each outage a whole repair. What ends a failed takeover?"),
            Fingerprint("M08", lambda n: n.square_min,
                        "That is the square. Which two ways need no second failure?"),
            Fingerprint("M07", lambda n: n.one_min / 2,
                        "That is half of one controller. Do two units halve the causes that hit "
                        "both?"),
            Fingerprint("M11", lambda n: n.one_min,
                        "That is one controller alone. Which share of its failures stops the "
                        "pair?"),
        ),
        shows_unit=True,
    )


def _compare(case: Case) -> Choice:
    return against_bound(
        case, CALCULATE, result="{down_min:.2f} min", bound="{bound_min} min a year",
        inside=lambda n: n.stands == "inside", errors=("M09", "M08"),
        route="{down_min:.2f} min a year against {bound_min} min a year: {stands}.",
    )


CHAINS, CHAIN_ITEMS = faded(FLAWED, (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drill

DRILL_CASE = Case(
    "08-drill",
    "The {what}: MTBF {mtbf_h} h, MTTR {mttr_h} h each. {percent} % of the causes hit both. Of the "
    "rest {good} % are taken over, else staff start the standby after {restart_h} h.",
    {
        "which": (
            ("pair of controllers", 75_000.0), ("pair of panels", 45_000.0),
            ("pair of pump drives", 25_000.0), ("pair of network nodes", 150_000.0),
            ("pair of UPS units", 80_000.0), ("pair of servers", 35_000.0),
        ),
        # A start by hand is long enough here that leaving it out shows.
        "mttr_h": (6.0, 4.0, 8.0), "percent": (3.0, 5.0, 10.0), "good": (90.0, 80.0, 85.0),
        "restart_h": (1.0, 2.0), "bound_min": (2.0,),
    },
    lambda n: {"what": n.which[0], "mtbf_h": n.which[1]} | _flawed(
        SimpleNamespace(**(vars(n) | {"mtbf_h": n.which[1]}))),
)
_ASKED = _calculate(FLAWED[0])
DRILL = Numeric(
    "08-drill", "Drill: down time of a pair", CALCULATE, DRILL_CASE,
    _ASKED.ask, _ASKED.unit, _ASKED.solve, _ASKED.reason, _ASKED.hints, _ASKED.fingerprints,
    shows_unit=True,
)

# ---------------------------------------------------------------- make: comparison table

VERSIONS = {
    "one controller, spare on the shelf": ("one", 4.0),
    "one controller, spare to be ordered": ("one", 72.0),
    "ideal pair": ("ideal", 4.0),
    "pair as it is, spare on the shelf": ("real", 4.0),
    "pair as it is, spare to be ordered": ("real", 72.0),
}


def _version(name: str) -> MarkovModel:
    kind, mttr_h = VERSIONS[name]
    if kind == "one":
        return two_state(60_000, mttr_h)
    if kind == "ideal":
        return redundant_pair(60_000, mttr_h)
    return redundant_pair(60_000, mttr_h, common_cause=0.05, coverage=0.97, diagnosed=0.9)


def _years_between(chain: MarkovModel) -> float:
    return 1 / (chain.failures_per_h * HOURS_PER_YEAR)


def _compared(numbers: SimpleNamespace) -> dict[str, object]:
    one, one_ordered, ideal, pair, ordered = map(_version, VERSIONS)
    return {
        "one_min": _down_min(one), "one_a": _years_between(one),
        "one_ordered_a": _years_between(one_ordered),
        "ideal_min": _down_min(ideal),
        "ideal_a": years_in_words(_years_between(ideal)).removesuffix(" years"),
        "pair_min": _down_min(pair), "ordered_min": _down_min(ordered),
    }


TABLE_CASE = Case(
    "08-table",
    "KF1 and KF2: MTBF 60 000 h. MTTR 4 h with a spare on the shelf, 72 h without. As it is: 5 % "
    "common causes, 97 % taken over, 90 % of standby faults seen, tested each half-year.",
    {}, _compared,
)


MEASURES = {
    "down time, min a year": ("min/a", _down_min),
    "one outage in, years": ("a", _years_between),
}
# Rows and cells that stand there already, as templates.
GIVEN = {
    ("one controller, spare on the shelf", "down time, min a year"): "{one_min:.1f}",
    ("one controller, spare on the shelf", "one outage in, years"): "{one_a:.1f}",
    ("one controller, spare to be ordered", "one outage in, years"): "{one_ordered_a:.1f}",
    ("ideal pair", "down time, min a year"): "{ideal_min:.3g}",
    ("ideal pair", "one outage in, years"): "{ideal_a}",
}
OTHER_ROW = ("M07", "That is one controller. Which bar of the panel is the pair as set?")
OTHER_TIME = ("M09", "That is a restoration of 4 h. How long does it last without a spare?")
# For a cell the versions that it is taken for, and what is asked then.
TAKEN_FOR = {
    ("one controller, spare to be ordered", "down time, min a year"): {
        "one controller, spare on the shelf": OTHER_TIME},
    ("pair as it is, spare on the shelf", "down time, min a year"): {
        "one controller, spare on the shelf": OTHER_ROW,
        "ideal pair": ("M08", "That is the ideal pair. Which flaws are switched on here?")},
    ("pair as it is, spare on the shelf", "one outage in, years"): {
        "one controller, spare on the shelf": OTHER_ROW},
    ("pair as it is, spare to be ordered", "down time, min a year"): {
        "pair as it is, spare on the shelf": OTHER_TIME,
        "one controller, spare to be ordered": OTHER_ROW},
    ("pair as it is, spare to be ordered", "one outage in, years"): {
        "one controller, spare to be ordered": OTHER_ROW},
}


def _cell(row: str, column: str) -> Numeric:
    own_unit, measure = MEASURES[column]
    return Numeric(
        f"08-table.{list(VERSIONS).index(row)}.{column.split()[0]}", column, FILL, TABLE_CASE,
        column, own_unit, lambda n: measure(_version(row)), "", Hints("", "", ""),
        tuple(
            Fingerprint(mistake, lambda n, other=other: measure(_version(other)), question)
            for other, (mistake, question) in TAKEN_FOR[row, column].items()
        ),
        shows_unit=True,
    )


TABLE = Table(
    "08-table", "Comparison table", FILL, TABLE_CASE,
    "Fill the table from the panel. What do you advise?",
    tuple(VERSIONS), (*MEASURES, "advice"),
    {
        **{(row, column): GIVEN.get((row, column)) or _cell(row, column)
           for row in VERSIONS for column in MEASURES},
        ("pair as it is, spare on the shelf", "advice"): Free(
            "Buy the pair, and keep a spare: compare the down times of the two rows of the pair. "
            "The spare alone saves as many minutes as the pair alone, but not its outages. Work on "
            "common causes first.",
            ("names both down times", "says what the spare is worth", "names the flaw to work on"),
        ),
    },
    "a pair without a spare is down as long as one controller with a spare, but less often.",
    Hints(
        "Look at the panel: set the restoration time, then read both columns.",
        "One: MTTR / MTBF. Ideal: twice the square. As it is: share × MTTR / MTBF and a little.",
        "With spare: {one_min:.1f} min for one, {pair_min:.2f} for the pair; without spare "
        "{ordered_min:.1f} for the pair.",
    ),
    corner="version",
)

LESSON = Lesson(
    "08",
    "The pair in numbers",
    (
        *RECALL, BUYS, UNREPAIRED, REPAIRED, SHARED, STOPS, SPEND, *VOTES,
        *CHAIN_ITEMS,
        DRILL, TABLE,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
