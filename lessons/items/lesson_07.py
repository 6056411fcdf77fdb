"""Lesson 07, return, split and third vote: what if both believe that they lead?"""

from __future__ import annotations

import functools
from types import SimpleNamespace

from labkit.availability.parts import Part, parallel, series
from labkit.rig.rig import Rig
from labkit.rig.writers import AFTER_MS, SITUATIONS, WritersRun, writers_run, writers_text
from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import against_bound, faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.numeric import Fingerprint, Numeric
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.table import Free, Pick, Table

__all__ = ["LESSON"]

PREDICT = "predict who leads and who writes after a cut sync cable, with and without the question"
CALCULATE = "calculate what automatic return costs, and how often two cables fail together"
FILL = "fill in the rule sheet of the pair"

ROLES = ("active", "standby", "loading", "stopped", "off")
WRITERS = ("KF1", "KF2", "both by turns", "nobody")


@functools.cache
def _rig(*actions: str | float, ask_racks: bool = True) -> Rig:
    """A rig after faults were switched on, switched off ("-" before the id), and waited for."""
    rig = Rig(settings=PairSettings(ask_racks=ask_racks))
    for action in actions:
        if not isinstance(action, str):
            rig.wait(action)
        elif action.startswith("-"):
            rig.switch_off(action[1:])
        else:
            rig.switch_on(action)
    return rig


_run = functools.cache(writers_run)


def _writer(run: WritersRun) -> str:
    """Who writes the rack at the end, as the tables name it."""
    if len(run.writers) > 1:
        return "both by turns"
    return run.writers[0] if run.writers else "nobody"


# ---------------------------------------------------------------- recall

SETTINGS = PairSettings()
TIME_OUT = Case(
    "07-time-out",
    "A beat comes every {beat_ms} ms. A partner counts as silent after {beats} missed beats and a "
    "margin of {margin_ms} ms.",
    {"beat_ms": (50, 100, 40), "beats": (3, 4, 5), "margin_ms": (10, 15)},
    lambda n: {
        "silent_ms": PairSettings(heartbeat_ms=n.beat_ms, missed_beats=n.beats,
                                  margin_ms=n.margin_ms).detection_most_ms,
        "least_ms": PairSettings(heartbeat_ms=n.beat_ms, missed_beats=n.beats,
                                 margin_ms=n.margin_ms).detection_least_ms,
        "whole_ms": switchover_budget(PairSettings(
            heartbeat_ms=n.beat_ms, missed_beats=n.beats, margin_ms=n.margin_ms)).most_ms,
    },
)
RECALL = (
    Numeric(
        "07-recall-silent", "From lesson 05: the time-out", PREDICT, TIME_OUT,
        "After how long at most is a dead partner found silent?", "ms",
        lambda n: float(n.silent_ms),
        "in the worst case the last beat went out at the moment of the failure.",
        Hints(
            "Look at the last beat: when was it sent, in the worst case?",
            "At most: missed beats × period + margin.",
            "{beats} × {beat_ms} ms + {margin_ms} ms = {silent_ms} ms.",
        ),
        (
            Fingerprint("M20", lambda n: float(n.whole_ms),
                        "That is the whole takeover to its first write. Which part of it is the "
                        "time-out?"),
            Fingerprint("M19", lambda n: float(n.least_ms),
                        "That is the shortest time. How old may the last beat be at the failure?"),
            Fingerprint("M19", lambda n: float(n.beats * n.beat_ms),
                        "That is {beats} beats. What is the margin of {margin_ms} ms for?"),
        ),
    ),
    Choice(
        "07-recall-return", "From lesson 04: the return", FILL, Case("07-recall-return"),
        "KF2 leads. KF1 was repaired and is ready. Who leads a minute later?",
        (
            Option("stays", "KF2, and KF1 stands by", "nothing goes back by itself.", True),
            Option("returns", "KF1, since it led before",
                   "Each switchover is a small disturbance. What would a second one bring?",
                   misconception="M18"),
            Option("both", "Both, each with half the racks",
                   "A rack accepts one writer. Who would own the tank and who the pumps?",
                   misconception="M24"),
        ),
        Hints(
            "Look at your role and lamp table.",
            "A returning unit loads, becomes standby and stays so.",
            "KF1 stands by; KF2 goes on leading.",
        ),
    ),
    Choice(
        "07-recall-needed", "From lesson 02: how many are needed", CALCULATE,
        Case("07-recall-needed"),
        "Two pumps, and both of them are needed. How does the second one change the down time?",
        (
            Option("doubles", "It about doubles: either one stops the function",
                   "what is needed stands in series.", True),
            Option("squares", "It falls to the square: both must fail at once",
                   "One of them fails. Is the function still there, if both are needed?",
                   misconception="M31"),
            Option("same", "It stays as it was: there are two of each",
                   "Two pumps fail twice as often as one. What does each failure stop here?",
                   misconception="M31"),
        ),
        Hints(
            "Look at how many may fail before the function is lost.",
            "Two of two needed: the rates of loss add.",
            "Either failure stops the function, so that down time about doubles.",
        ),
    ),
    Numeric(
        "07-recall-once", "From lesson 01: one cable", CALCULATE,
        Case("07-once", "A sync cable with its connectors has an MTBF of {mtbf_h} h.",
             {"mtbf_h": (300_000.0, 200_000.0, 400_000.0)},
             lambda n: {"years": n.mtbf_h / HOURS_PER_YEAR}),
        "How many years lie between two failures of it?", "a",
        lambda n: n.years, "a year holds 8760 h.",
        Hints(
            "Look at the unit: years.",
            "Years between = MTBF / 8760 h.",
            "{mtbf_h} h / 8760 h = {years:.1f} years.",
        ),
        (
            Fingerprint("S03", lambda n: 1 / n.years,
                        "That is the number of failures in a year. How many years is it for one?"),
        ),
    ),
)

# ---------------------------------------------------------------- prediction


def _split(numbers: SimpleNamespace) -> dict[str, object]:
    unasked = _run("sync cable cut", ask_racks=False)
    asked = _run("sync cable cut")
    return {
        "run": unasked,
        "asked": asked,
        "seen": f"{writers_text(unasked)}\n\n{writers_text(asked)}",
    }


SPLIT = Prediction(
    "07-split", "Predict: the sync cable is cut", PREDICT,
    Case("07-split",
         "KF1 leads, KF2 stands by. In this version nobody asks the racks. The only sync cable is "
         "cut. Both units live and reach all racks.", {}, _split),
    "Who writes the rack of the header tank half a second later?",
    (
        Option("both", "KF1 and KF2, one after the other",
               "Each believes that the other is dead, and both go on writing.",
               lambda n: _writer(n.run) == "both by turns"),
        Option("first", "KF1 alone, since it led before", right=lambda n: _writer(n.run) == "KF1",
               misconception="M36"),
        Option("second", "KF2 alone, since it took over", right=lambda n: _writer(n.run) == "KF2",
               misconception="M38"),
        Option("nobody", "Nobody, until somebody decides",
               right=lambda n: _writer(n.run) == "nobody", misconception="M35"),
    ),
    (
        Statement("stayed", "KF1 stayed active all the time.",
                  lambda n: len(n.run.roles["KF1"]) == 1),
        Statement("turns", "The rack changed its writer more than 20 times a second.",
                  lambda n: n.run.turns_per_s > 20),
        Statement("rest", "The outlet came to rest at one of the two values.",
                  lambda n: n.run.turns_per_s == 0),
        Statement("asked", "With the racks asked KF2 stayed standby.",
                  lambda n: n.asked.roles["KF2"][-1][1] == "standby"),
    ),
    lambda n: n.seen,
    "Read the roles, the writes and the outlet. Then tick 'ask the racks first' and compare.",
    Hints(
        "Look at what KF2 hears once the cable is cut, and at what KF1 hears.",
        "A lost heartbeat means unknown. Without a question it is taken for dead.",
        "KF2 takes over, KF1 never stopped: both are active and both write.",
    ),
)

# ---------------------------------------------------------------- the question and its limits

NO_RACK = Choice(
    "07-no-rack", "A standby that reaches nothing", PREDICT,
    Case("07-no-rack",
         "All three links from KF2 to the racks are cut. After that KF1 loses its power.", {},
         lambda n: {"run": _run("KF2 reaches no rack, then KF1 without power")}),
    "What is right for KF2 to do?",
    (
        Option("never", "Stay standby: it reaches no rack",
               "a unit that reaches no rack can neither ask nor write.",
               lambda n: n.run.roles["KF2"][-1][1] == "standby"),
        Option("lead", "Lead: KF1 is silent, and one must",
               "KF2 reaches 0 of 3 racks. What would its writes move?",
               lambda n: n.run.roles["KF2"][-1][1] == "active", "M35"),
        Option("restart", "Restart, so that its links come back",
               "The 3 cables are cut. Which of them would a restart mend?", misconception="M38"),
    ),
    Hints(
        "Look at what KF2 could write.",
        "Rule 4: no rack reached, never take over.",
        "With no rack reached KF2 stays standby, and the racks go into their fail state.",
    ),
)

# ---------------------------------------------------------------- return


SWITCHOVERS = Numeric(
    "07-switchovers", "Switchovers in a day", CALCULATE,
    Case(
        "07-return",
        "A loose plug takes the power of KF1 away {times} times an hour and gives it back. The "
        "role goes back to KF1 each time.",
        {"times": (6, 4, 10, 3, 5, 12)},
        lambda n: {"switchovers": 2 * 24.0 * n.times},
    ),
    "How many switchovers a day is that?", "1/d", lambda n: n.switchovers,
    "each time the fault comes the role leaves, and each time it goes the role returns.",
    Hints(
        "Look at one coming and going: how often does the role move?",
        "Switchovers a day = 2 × times an hour × 24.",
        "2 × {times} × 24 = {switchovers:.0f} switchovers a day.",
    ),
    (
        Fingerprint("M18", lambda n: n.switchovers / 2,
                    "That counts the role leaving KF1. How does it come back each time?"),
    ),
    shows_unit=True,
)
POLICY = Choice(
    "07-policy", "Which return policy?", CALCULATE, Case("07-policy"),
    "KF1 was repaired. KF2 has led for three days, and nothing is wrong with it. What do you set?",
    (
        Option("stays", "It stays, and a change by hand needs a reason",
               "no second disturbance, and somebody watches the change.", True),
        Option("at once", "It returns at once, so that KF1 leads again",
               "A fault that flickers 6 times an hour: how many switchovers a day is that?",
               misconception="M18"),
        Option("evenly", "It changes each night, so that both age alike",
               "Both run day and night, active or not. Which of them ages less as standby?",
               misconception="M13"),
    ),
    Hints(
        "Look at what a change brings, and at what it costs.",
        "Each switchover has a gap and a chance to fail.",
        "Staying costs no switchover. A change by hand is made in a quiet hour, with staff there.",
    ),
)

# ---------------------------------------------------------------- votes and majority


def _tolerated(voters: int) -> int:
    return voters - (voters // 2 + 1)


def _asked_again(voters: int) -> dict[str, tuple[str, str]]:
    return {
        str(lost): ("M25", f"Take {lost} of {voters} away. Is what is left more than half of "
                           f"{voters}?" if lost else "Take 1 away. Do the others still agree?")
        for lost in range(4) if lost != _tolerated(voters)
    }


COUNTS = ("1", "2", "3", "4")
# One row as an example, and one cell of the last: four voters are no better than three.
GIVEN = {("1", "must agree"): "1", ("1", "may be lost"): "0", ("4", "must agree"): "3"}
MAJORITY = Table(
    "07-majority", "Majorities", PREDICT, Case("07-majority"),
    "A decision needs more than half of all voters. How many must agree, how many may be lost?",
    COUNTS, ("must agree", "may be lost"),
    GIVEN | {
        (count, "must agree"): Pick(
            COUNTS, lambda n, count=count: str(int(count) // 2 + 1),
            {other: ("M25", f"Is {other} more than half of {count}, and no more than needed?")
             for other in COUNTS if other != str(int(count) // 2 + 1)})
        for count in COUNTS[1:3]
    } | {
        (count, "may be lost"): Pick(
            ("0", "1", "2", "3"), lambda n, count=count: str(_tolerated(int(count))),
            _asked_again(int(count)))
        for count in COUNTS[1:]
    },
    "more than half of two is two; the third voter is the first that may be lost.",
    Hints(
        "Look at two voters first: how many are more than half of two?",
        "Must agree: half, rounded down, and one. May be lost: all less those.",
        "Must agree 1, 2, 2, 3 of 1 to 4 voters; may be lost 0, 0, 1, 1.",
    ),
    corner="voters",
    kept=False,
)

THIRD = Choice(
    "07-third", "Where does the third voter live?", PREDICT, Case("07-third"),
    "A third voter is to settle who leads. Where do you put it?",
    (
        Option("own", "In a room of its own, with its own supply and wires",
               "a voter that fails together with KF1 is no third voter.", True),
        Option("cabinet", "In the cabinet of KF1, fed by the same supply",
               "The supply of KF1 fails: how many of the 3 votes are left?", misconception="M26"),
        Option("none", "Nowhere: KF1 and KF2 have a majority of two",
               "KF2 falls silent. How many votes are left, and how many are needed?",
               misconception="M25"),
    ),
    Hints(
        "Look at what takes two of the three votes at once.",
        "Three voters tolerate one loss, if losses come one at a time.",
        "Own supply, own wires, own room: then one cause takes one vote.",
    ),
)

VOTES = (
    Choice(
        "07-vote-both", "For voting: both lead on purpose", PREDICT,
        Case("07-vote-both",
             "Somebody proposes: let both controllers lead all the time, then no takeover is "
             "needed. Both write the outlet valve, once in a cycle of {cycle_ms} ms.", {},
             lambda n: {"cycle_ms": SETTINGS.cycle_ms,
                        "run": _run("sync cable cut", ask_racks=False),
                        "turns": _run("sync cable cut", ask_racks=False).turns_per_s}),
        "What does the valve do?",
        (
            Option("fights", "It follows neither: two values by turns",
                   "the last write counts, until the other one comes.",
                   lambda n: n.run.turns_per_s > 0),
            Option("safe", "It is twice as safe: either can steer it",
                   "The rack would change its writer {turns} times a second. Which value counts?",
                   misconception="M24"),
            Option("mean", "It takes the mean of both, which is fair",
                   "A rack keeps the last write for up to {cycle_ms} ms. Who would take a mean?",
                   misconception="M24"),
        ),
        Hints(
            "Look at the last write before each moment.",
            "A rack keeps what was written last.",
            "Two writes in each cycle: the value changes {turns} times a second.",
        ),
        voting=True,
    ),
    Choice(
        "07-vote-cables", "For voting: two cables", CALCULATE,
        Case("07-vote-cables",
             "Two sync cables lie in one duct. Each has an MTBF of {mtbf_h} h, restored in "
             "{mttr_h} h. One in ten causes hits the duct.",
             {"mtbf_h": (300_000.0, 400_000.0, 200_000.0), "mttr_h": (6.0, 8.0)},
             lambda n: _cables(n.mtbf_h, n.mttr_h, 0.1)),
        "How often are both out?",
        (
            Option("duct", "Once in about {years:.0f} years, by the duct",
                   "what both share sets the pace.", True),
            Option("squared", "Once in about {alone_years} years",
                   "That holds for independent cables. What does one digger in the duct hit?",
                   misconception="M26"),
            Option("half", "Once in about {one_years:.0f} years, as for one",
                   "One of the two is cut. Do the beats still come?", misconception="M25"),
        ),
        Hints(
            "Look at the causes that hit one cable, and at those that hit both.",
            "Both out: by chance at the same time, or by the duct.",
            "The duct: one tenth of 1/{mtbf_h} h, once in {years:.0f} years.",
        ),
        voting=True,
    ),
)

# ---------------------------------------------------------------- faded chains: two cables


def _cables(mtbf_h: float, mttr_h: float, share: float) -> dict[str, object]:
    """Two sync cables and what they share, as blocks; all rates per year."""
    duct = Part("duct", mtbf_h=mtbf_h / share, mttr_h=mttr_h)
    alone = parallel(*(Part(name, mtbf_h=mtbf_h, mttr_h=mttr_h) for name in ("one", "two")))
    both = series(alone, duct)
    per_a = both.failures_per_h * HOURS_PER_YEAR
    alone_per_a = alone.failures_per_h * HOURS_PER_YEAR
    return {
        "per_a": per_a,
        "duct_per_a": duct.failures_per_h * HOURS_PER_YEAR,
        "alone_per_a": alone_per_a,
        "one_per_a": HOURS_PER_YEAR / mtbf_h,
        "years": 1 / per_a,
        "alone_years": float(f"{1 / alone_per_a:.2g}"),
        "one_years": mtbf_h / HOURS_PER_YEAR,
    }


def _fleet(numbers: SimpleNamespace) -> dict[str, object]:
    cables = _cables(numbers.mtbf_h, numbers.mttr_h, numbers.share)
    # Both by chance is rarer by a hundred times and more, and is told beside the result.
    all_per_a = numbers.pairs * cables["duct_per_a"]
    return cables | {
        "percent": 100 * numbers.share,
        "all_per_a": all_per_a,
        "stands": "inside" if all_per_a <= numbers.bound_per_a else "outside",
    }


def _fleet_case(name: str, mtbf_h: tuple, share: tuple, pairs: tuple) -> Case:
    return Case(
        f"07-{name}",
        "{pairs} pairs are in use, and nobody asks the racks. Each has two sync cables in one "
        "duct. A cable has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h. {percent} % of its "
        "causes hit the duct, and with it both cables. The maker accepts {bound_per_a} splits a "
        "year in all.",
        {"mtbf_h": mtbf_h, "mttr_h": (6.0, 8.0, 12.0), "share": share, "pairs": pairs,
         "bound_per_a": (0.1, 0.5, 0.25)},
        _fleet,
    )


FLEETS = (
    _fleet_case("worked", (300_000.0, 250_000.0), (0.1, 0.05), (50, 80)),
    _fleet_case("turn-1", (200_000.0, 350_000.0), (0.05, 0.1), (40, 120)),
    _fleet_case("turn-2", (400_000.0, 150_000.0), (0.2, 0.1), (60, 25)),
    _fleet_case("turn-3", (250_000.0, 500_000.0), (0.02, 0.05), (150, 300)),
)
WORKED = (
    "both cables in parallel, and the duct in series with them.",
    ("the duct: {percent} % of 8760 / {mtbf_h} = {duct_per_a:.4g} a year for one pair. "
     "Both by chance: once in {alone_years} years, left out."),
    "{pairs} pairs × {duct_per_a:.4g} = {all_per_a:.3f} splits a year.",
    "{all_per_a:.3f} a year against {bound_per_a} a year: {stands}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", CALCULATE, case,
        "Which sketch shows when both cables are out?",
        (
            Option("shared", "the two in parallel, the duct in series",
                   "either both fail by themselves, or the duct takes both.", True),
            Option("parallel", "the two in parallel, and nothing else",
                   "{percent} % of the causes hit the duct. Where are they in this sketch?",
                   misconception="M26"),
            Option("series", "the two in series, one after the other",
                   "One cable is cut, the other carries. Are the beats lost?",
                   misconception="M31"),
        ),
        Hints(
            "Look at what one cut takes away, and at what the duct takes away.",
            "One of two is enough: parallel. What both need: in series.",
            "Parallel for the cables, and the duct in series with both.",
        ),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", CALCULATE, case,
        "How often a year is the duct of one pair hit?", "1/a",
        lambda n: n.duct_per_a, "the share of a cable's causes that hits the duct.",
        Hints(
            "Look at one cable first: how often a year does it fail?",
            "Duct a year = share × 8760 h / MTBF.",
            "{percent} % of 8760 / {mtbf_h} = {duct_per_a:.4g} a year.",
        ),
        (
            Fingerprint("M26", lambda n: n.one_per_a,
                        "That counts all causes of one cable. Which share hits both?"),
            Fingerprint("M26", lambda n: 2 * n.duct_per_a,
                        "That counts a hit once for each cable. One hit cuts 2 cables: how many "
                        "hits are that?"),
            Fingerprint("M26", lambda n: n.alone_per_a,
                        "That is both by chance at one time. How often is the duct itself hit?"),
            Fingerprint("S03", lambda n: 1 / n.duct_per_a,
                        "That is the number of years between two hits. How many fall in a year?"),
        ),
        shows_unit=True,
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CALCULATE, case,
        "How many splits a year is that in all pairs?", "1/a",
        lambda n: n.all_per_a, "each pair adds its own rate.",
        Hints(
            "Look at one pair, then at all of them.",
            "Splits a year = pairs × splits of one pair.",
            WORKED[2],
        ),
        (
            Fingerprint("M26", lambda n: n.pairs * n.alone_per_a,
                        "That takes the cables as independent. What does the duct add?"),
            Fingerprint("M26", lambda n: n.duct_per_a,
                        "That is one pair. {pairs} pairs are in use: how many splits a year are "
                        "that?"),
            Fingerprint("M26", lambda n: n.pairs * n.one_per_a,
                        "That counts each cut of one cable. Do both fail each time?"),
            Fingerprint("S03", lambda n: 1 / n.all_per_a,
                        "That is the number of years between two splits. How many fall in one "
                        "year?"),
        ),
        follows=f"{case.id}.sort",
        solve_from=lambda n, duct_per_a: n.pairs * duct_per_a,
        shows_unit=True,
    )


def _compare(case: Case) -> Choice:
    return against_bound(
        case, CALCULATE, result="{all_per_a:.3f}", bound="{bound_per_a} splits a year",
        inside=lambda n: n.stands == "inside", errors=("M26", "S03"), route=WORKED[3],
        third=Option(
            "mixed", "neither, since the units do not match",
            "Both are a number per year. What is each of them?", misconception="S01",
        ),
    )


CHAINS, CHAIN_ITEMS = faded(FLEETS, (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drill

RULES_OF_PLAY = tuple(
    (situation, ask, vote)
    for situation in SITUATIONS for ask, vote in ((True, False), (False, False), (False, True))
)


def _drill(numbers: SimpleNamespace) -> dict[str, object]:
    situation, ask, vote = numbers.played
    run = _run(situation, ask_racks=ask, third_vote=vote)
    return {
        "said": situation[0].upper() + situation[1:],
        "after_s": AFTER_MS / 1000,
        "asked": "asked" if ask else "not asked",
        "voter": "A third voter must agree" if vote else "There is no third voter",
        "first": run.roles["KF1"][-1][1],
        "second": run.roles["KF2"][-1][1],
        "writer": _writer(run),
    }


ROLE_QUESTIONS = {
    "active": ("M38", "Which unit has a reason to lead? Is its partner silent, or is it dead?"),
    "standby": ("M35", "What does it hear, and what would the racks answer?"),
    "off": ("M32", "Does this unit have power?"),
}
DRILL = Table(
    "07-drill", "Drill: who leads, who writes?", PREDICT,
    Case(
        "07-drill",
        "{said}. The racks are {asked}. {voter}. At first KF1 led and KF2 stood by.",
        {"played": (RULES_OF_PLAY[4], *RULES_OF_PLAY[:4], *RULES_OF_PLAY[5:])},
        _drill,
    ),
    "How do things stand {after_s} s later?",
    ("KF1", "KF2", "rack KF20 is written by"),
    ("reading",),
    {
        ("KF1", "reading"): Pick(("active", "standby", "off"), lambda n: n.first, ROLE_QUESTIONS),
        ("KF2", "reading"): Pick(("active", "standby", "off"), lambda n: n.second, ROLE_QUESTIONS),
        ("rack KF20 is written by", "reading"): Pick(
            WRITERS, lambda n: n.writer,
            {
                "KF1": ("M36", "Does KF1 still run its program, and may it still write?"),
                "KF2": ("M38", "Does KF2 lead here, and who else may write?"),
                "both by turns": ("M24", "Do two lead, and does the mark in the rack count?"),
                "nobody": ("M35", "Is there a unit that leads and reaches the rack?"),
            },
        ),
    },
    "first who is heard, then who asks, then whose mark counts.",
    Hints(
        "Look at what the standby hears, then at what it may ask.",
        "No rack, fresh mark or third voter: stay. Mark ages, or racks not asked: take over.",
        "KF1 is {first}, KF2 is {second}; the rack is written by {writer}.",
    ),
    corner="unit",
    kept=False,
)

# ---------------------------------------------------------------- make: the rule sheet

SHEET_ROWS = {
    "sync cable cut": ((1.0, "WF9: cut", 10.0), True),
    "sync cable cut, racks not asked": ((1.0, "WF9: cut", 10.0), False),
    "KF1 stopped by hand": ((1.0, "KF1: stopped", 10.0), True),
    "KF1 reaches one rack less": ((1.0, "WF1.10: cut", 10.0), True),
    "KF1 repaired, a minute later": ((1.0, "KF1: no power", 10.0, "-KF1: no power", 60.0), True),
}
# What KF1 is, in the rows where that is no question.
SAID = {"sync cable cut": "active", "sync cable cut, racks not asked": "active",
        "KF1 stopped by hand": "stopped", "KF1 reaches one rack less": "standby"}
LEADERS = ("KF1", "KF2", "both", "nobody")
RULE_NUMBERS = ("3", "4", "5", "6", "10")


def _after(row: str) -> Rig:
    actions, ask = SHEET_ROWS[row]
    return _rig(*actions, ask_racks=ask)


def _acting_rule(row: str) -> str:
    """Return the number of the rule that decided last about roles, from the record."""
    decided = [entry.why for entry in _after(row).record
               if entry.what in ("role", "question to the racks") and entry.why.startswith("Rule ")]
    return decided[-1].removeprefix("Rule ").partition(":")[0]


def _leader(row: str) -> str:
    roles = _after(row).snapshot().roles
    leading = [unit for unit, role in roles.items() if role.value == "active"]
    return "both" if len(leading) > 1 else leading[0] if leading else "nobody"


LEADER_QUESTIONS = {
    "KF1": ("M36", "KF1 led before. What of this row would make KF2 lead as well, or instead?"),
    "KF2": ("M38", "What would KF2 hear from the racks, before it leads?"),
    "both": ("M24", "Is anybody asked here, before a second one leads?"),
    "nobody": ("M35", "One of 2 units has power and reaches its racks. Which?"),
}
# What gives the role back is asked only where something came back.
RETURNED = {"KF1 repaired, a minute later": LEADER_QUESTIONS | {
    "KF1": ("M18", "KF2 led while KF1 was out. Which of the 6 rules gives the role back?")}}
ROLE_NOW = {
    "active": ("M18", "Two units, one active: does KF1 lead here, or KF2?"),
    "loading": ("M18", "Loading takes less than 60 s. Has KF1 copied the state by then?"),
    "stopped": ("M32", "Did somebody stop the program of KF1 here?"),
    "off": ("M32", "Has KF1 lost its supply here?"),
}
RULE_QUESTIONS = {
    "3": ("M35", "Did a unit announce here that it does not lead any more?"),
    "4": ("M38", "Was the partner silent here, and were the racks asked?"),
    "5": ("M36", "Does the active unit reach fewer racks than the standby here?"),
    "6": ("M18", "Did a unit come back after a fault here?"),
    "10": ("M24", "Does this version take over without asking the racks?"),
}
SHEET = Table(
    "07-sheet", "Rule sheet", FILL, Case("07-sheet"),
    "Fill the sheet: who leads then, and by which rule? The rules are printed above.",
    tuple(SHEET_ROWS), ("leads", "KF1 is", "rule", "shift does"),
    {
        **{(row, "leads"): Pick(LEADERS, lambda n, row=row: _leader(row),
                                RETURNED.get(row, LEADER_QUESTIONS))
           for row in SHEET_ROWS},
        **{
            (row, "KF1 is"): SAID.get(row) or Pick(
                ROLES, lambda n, row=row: _after(row).snapshot().roles["KF1"].value, ROLE_NOW)
            for row in SHEET_ROWS
        },
        **{(row, "rule"): Pick(RULE_NUMBERS, lambda n, row=row: _acting_rule(row), RULE_QUESTIONS)
           for row in SHEET_ROWS},
        ("sync cable cut", "shift does"): Free(
            "Notes the time. Leaves both units alone. Has the cable checked. No restart: one unit "
            "leads, and the other stands by.",
            ("says what is left alone", "says what is checked", "says why no restart"),
        ),
    },
    "silence asks, the mark answers, and nothing goes back by itself.",
    Hints(
        "Take one row. Which condition of a rule is met in it?",
        "Announced: 3. Silent: 4, or 10 where nobody asks. Fewer racks: 5. Return: 6.",
        "From top to bottom: rules 4, 10, 3, 5 and 6.",
    ),
    corner="situation",
)

LESSON = Lesson(
    "07",
    "Return, split and third vote",
    (
        *RECALL, SPLIT, NO_RACK, SWITCHOVERS, POLICY, MAJORITY, THIRD, *VOTES,
        *CHAIN_ITEMS,
        DRILL, SHEET,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
