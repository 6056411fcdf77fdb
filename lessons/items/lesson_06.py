"""Lesson 06, switchover and the process: does the tank notice?"""

from __future__ import annotations

import functools
from types import SimpleNamespace

from labkit.rig.holding import HoldRun, hold_run, hold_text
from labkit.rig.tank import Drive, HeaderTank, TankSettings, ride_through_s
from labkit.switchover.settings import PairSettings, switchover_budget
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.misconceptions import misconception
from lessons.exercises.numeric import Fingerprint, Numeric, Rough
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.replies import STOP_HERE
from lessons.exercises.table import Free, Table

__all__ = ["LESSON"]

ADD = "add up the time budget of a switchover"
CHOOSE = "choose hold time and fail states by what the tank does meanwhile"
TELL = "tell a gap from a bump, and available from safe"

RESERVE = 1.5
OVERFLOW_S = ride_through_s(TankSettings(), TankSettings().inflow_l_per_s)
BUMP = ("KF2: integrator not tracking",)


@functools.cache
def _run(hold_ms: int, cause: str = "KF1: no power", extras: tuple[str, ...] = ()) -> HoldRun:
    return hold_run(hold_ms, cause=cause, extras=extras)


@functools.cache
def _step() -> dict[str, float]:
    """The step of a standby that did not track, and what it does to the tank."""
    return vars(misconception("M23").numbers())


@functools.cache
def _without_blowers() -> dict[str, float]:
    """Minutes until the oxygen alarm and the action limit, both controllers out."""
    tank = HeaderTank()
    tank.run(3600.0, Drive("fail state", "fail state", "fail state", "fail state"))
    at_min = {each.name: each.time_s / 60 for each in tank.happenings}
    return {"alarm_min": at_min["oxygen alarm"], "action_min": at_min["oxygen action"],
            "loss_eur": tank.settings.oxygen_loss_eur}


def _budget(numbers: SimpleNamespace) -> dict[str, object]:
    """Terms and sums of the budget for the drawn settings."""
    settings = PairSettings(
        heartbeat_ms=numbers.beat_ms, missed_beats=numbers.beats, cycle_ms=numbers.cycle_ms,
        rack_update_ms=numbers.update_ms, hold_ms=2000,
    )
    silent = switchover_budget(settings)
    least, most = (
        {term.name: getattr(term, bound) for term in silent.terms}
        for bound in ("least_ms", "most_ms")
    )
    return {
        "time_out_ms": numbers.beats * numbers.beat_ms,
        "found_ms": settings.detection_most_ms,
        "decision_ms": settings.decision_ms,
        "filter_ms": settings.output_filter_ms,
        "two_cycles_ms": 2 * numbers.cycle_ms,
        "least": SimpleNamespace(**{name.replace(" ", "_"): ms for name, ms in least.items()}),
        "most": SimpleNamespace(**{name.replace(" ", "_"): ms for name, ms in most.items()}),
        "first_ms": silent.least_ms,
        "last_ms": silent.most_ms,
        "needed_ms": RESERVE * silent.most_ms,
    }


# ---------------------------------------------------------------- recall

FOUND = Case(
    "06-found", "A beat every {beat_ms} ms, {beats} missed beats, margin 10 ms.",
    {"beat_ms": (40, 50, 25), "beats": (4, 3, 5)},
    lambda n: {
        "most_ms": n.beats * n.beat_ms + 10, "least_ms": (n.beats - 1) * n.beat_ms + 10,
        "alone_ms": n.beats * n.beat_ms,
    },
)
RECALL = (
    Numeric(
        "06-recall-found", "From lesson 05: found silent", ADD, FOUND,
        "After what time at most is a dead partner found?", "ms", lambda n: n.most_ms,
        "the failure may come right after a beat.",
        Hints(
            "Look at the worst moment for a failure.",
            "Longest time = missed beats × period + margin.",
            "{beats} × {beat_ms} + 10 = {most_ms} ms.",
        ),
        (
            Fingerprint("S05", lambda n: n.least_ms,
                        "{least_ms} ms is the shortest time. Which moment gives the longest?"),
            Fingerprint("S05", lambda n: n.alone_ms,
                        "{alone_ms} ms is the beats alone. What else passes until then?"),
        ),
        tolerance=0.01,
    ),
    Choice(
        "06-recall-writer", "From lesson 04: the racks", ADD, Case("06-recall-writer"),
        "The power of KF1 is cut, and KF2 takes over. Whose writes do the racks take?",
        (
            Option("moves", "Those of KF2: the writer follows the active role",
                   "a rack has one writer, and the new one displaces the old one.", True),
            Option("stays", "None: each rack belongs to one controller",
                   "How would KF2 control the pumps, if the racks stayed with KF1?",
                   misconception="M36"),
            Option("both", "Those of both, by turns, until KF1 is back",
                   "KF1 has no power. What would it write?", misconception="M24"),
        ),
        Hints(
            "Look at the lamp WRITER in lesson 04.",
            "The writer of a rack follows the active role.",
            "KF2 is active, so that all racks take their writes from KF2.",
        ),
    ),
    Choice(
        "06-recall-bursts", "From lesson 05: noise", CHOOSE,
        Case("06-recall-bursts", "", {},
             lambda n: {"ratio": misconception("M39").numbers().bursts}),
        "Bursts of 200 ms disturb the sync cable. What keeps false takeovers away?",
        (
            Option("ask", "The racks are asked before any takeover",
                   "the burst does not reach that way, and the racks know who lives.", True),
            Option("longer", "One missed beat more, before KF2 believes it",
                   "From 3 beats to 4 trips become {ratio:.1f} times rarer. Is that a cure?",
                   misconception="M39"),
            Option("shorter", "One missed beat less, so that KF2 is faster",
                   "Fewer beats must be lost then. Do trips become rarer by that?",
                   misconception="M19"),
        ),
        Hints(
            "Look at what a burst does to several beats.",
            "A burst takes all beats that fall into it; another way does not see it.",
            "Asked racks show a fresh mark of KF1, so that KF2 stays standby.",
        ),
    ),
    Choice(
        "06-recall-mttr", "From lesson 01: how long", CHOOSE, Case("06-recall-mttr"),
        "A stop is noticed after 30 min and restored 2 h later. How long did it last?",
        (
            Option("all", "2.5 h, from the failure on",
                   "control is missing from the failure on.", True),
            Option("repair", "2 h, from the notice on",
                   "Who controlled the plant in the 30 min before?", misconception="M10"),
            Option("notice", "0.5 h, until the notice",
                   "What was controlled between the notice and the restoration?",
                   misconception="M10"),
        ),
        Hints(
            "Look at when control is lost, and when it is back.",
            "The time to restoration runs from the failure.",
            "30 min + 2 h = 2.5 h.",
        ),
    ),
)

# ---------------------------------------------------------------- predictions


def _short(numbers: SimpleNamespace) -> dict[str, object]:
    run, long = _run(numbers.hold_ms), _run(numbers.long_ms)
    tank = run.tank
    return {
        "run": run, "long": long, "restart_s": tank.pump_restart_s,
        "mm_per_s": tank.inflow_l_per_s / tank.tank_area_m2,
        "room_mm": 1000 * (tank.set_point_m - tank.low_trip_m),
        "seen": f"{hold_text(run)}\n\nWith {numbers.long_ms} ms instead:\n{hold_text(long)}",
    }


SHORT = Prediction(
    "06-short-hold", "Predict first: racks that hold for 200 ms", CHOOSE,
    Case(
        "06-short-hold",
        "A rack keeps its outputs for its hold time without a write. Then it lets go: pumps and "
        "light off. The racks hold for {hold_ms} ms. KF1 loses its power, and KF2 writes about a "
        "quarter of a second later.",
        {"hold_ms": (200,), "long_ms": (500,)}, _short,
    ),
    "What does the tank do in the next minute?",
    (
        Option("still", "Its level stays where it was, within 1 mm",
               right=lambda n: n.run.moved_mm <= 1, misconception="M21"),
        Option("dip", "It sinks some cm and comes back in seconds",
               right=lambda n: 1 < n.run.moved_mm < 200, misconception="M21"),
        Option("low", "It sinks to the low trip, and flow breaks off",
               "The pumps dropped, and their restart takes longer than the tank lasts.",
               lambda n: n.run.lowest_m <= n.run.tank.low_trip_m + 1e-9),
        Option("over", "It rises until the tank runs over",
               right=lambda n: n.run.highest_m >= n.run.tank.overflow_m - 1e-9,
               misconception="M22"),
    ),
    (
        Statement("quick", "KF2 wrote the racks within 300 ms.", lambda n: n.run.gap_ms < 300),
        Statement("before", "The outputs let go before KF2 wrote them.",
                  lambda n: n.run.dropped_ms is not None and n.run.dropped_ms < n.run.gap_ms),
        Statement("cost", "The event cost EUR 11 000 or more.", lambda n: n.run.cost_eur >= 11_000),
        Statement("longer", "With 500 ms the level moved by more than 1 mm.",
                  lambda n: n.long.moved_mm > 1),
    ),
    lambda n: n.seen,
    "Set 200 ms first, then 500 ms. Then find the step: where does the tank begin to notice?",
    Hints(
        "Look at which comes first: the new write, or the end of the hold time.",
        "Pumps that dropped out need a restart sequence of {restart_s} s.",
        "Without inflow the tank falls {mm_per_s} mm each second, and it has {room_mm:.0f} mm.",
    ),
)


def _bump(numbers: SimpleNamespace) -> dict[str, object]:
    run = _run(500, "KF1: stopped", BUMP)
    return {
        "run": run, "peak_m": run.highest_m - run.tank.set_point_m, "seen": hold_text(run),
        "gap_ms": run.gap_ms, "first": run.tank.untracked_opening,
        "stood": run.tank.balance_opening, "points": _step()["points"], "flow": _step()["flow"],
    }


BUMPED = Prediction(
    "06-bump", "Predict: no gap to speak of", TELL,
    Case(
        "06-bump",
        "KF1 is stopped by hand and says so. KF2 writes {gap_ms} ms later, and the racks hold. "
        "But the integrator of KF2 did not track. The valve stood at {stood:.0%}. KF2 begins at "
        "{first:.0%}.",
        {}, _bump,
    ),
    "What does the level do?",
    (
        Option("nothing", "Nothing to be seen, for there was no gap",
               right=lambda n: n.run.moved_mm < 10, misconception="M23"),
        Option("rises", "It rises a good way, stays below overflow, and returns",
               "The step makes an imbalance, and the loop needs time to work it off.",
               lambda n: 10 <= n.run.moved_mm and n.run.highest_m < n.run.tank.overflow_m),
        Option("over", "It rises until the tank runs over",
               right=lambda n: n.run.highest_m >= n.run.tank.overflow_m, misconception="M23"),
        Option("low", "It sinks to the low trip, for the pumps drop",
               right=lambda n: n.run.lowest_m <= n.run.tank.low_trip_m, misconception="M21"),
    ),
    (
        Statement("held", "The racks held their outputs all the time.",
                  lambda n: n.run.dropped_ms is None),
        Statement("peak", "The level rose by more than 15 cm.", lambda n: n.peak_m > 0.15),
        Statement("pumps", "The intake pumps dropped out.",
                  lambda n: any(each.name == "pumps off" for each in n.run.happenings)),
    ),
    lambda n: n.seen,
    "Follow the level to its peak. Then choose 'nothing else', a standby that tracked.",
    Hints(
        "Look at the valve: what changes at the first output of KF2?",
        "Outflow goes with the opening; inflow stays.",
        "{points:.0f} points less opening let {flow:.0f} L/s less out: the level rises at first.",
    ),
)

# ---------------------------------------------------------------- the budget

BUDGET = Case(
    "06-budget",
    "Another pair: a beat every {beat_ms} ms, {beats} missed beats, margin 10 ms. Decision "
    "{decision_ms} ms, cycle {cycle_ms} ms. Rack update every {update_ms} ms, output filter "
    "{filter_ms} ms.",
    {
        "beat_ms": (25, 40, 50, 100), "beats": (5, 3, 4), "cycle_ms": (50, 40, 30),
        "update_ms": (10, 20, 25),
    },
    _budget,
)
LONGEST = Numeric(
    "06-longest", "The longest switchover", ADD, BUDGET,
    "KF1 loses its power. How long at most until the first output of KF2 is at the terminal?",
    "ms", lambda n: n.last_ms,
    "detection, decision, up to two cycles, one rack update and the filter add up.",
    Hints(
        "Look at the terms one by one, and take the most of each; two terms are a wait first.",
        "Sum = detection + decision + 2 cycles + rack update + filter.",
        "{found_ms} + {decision_ms} + {two_cycles_ms} + {update_ms} + {filter_ms} = {last_ms} ms.",
    ),
    (
        Fingerprint("M20", lambda n: n.found_ms,
                    "At {found_ms} ms KF1 is found silent. What must KF2 do before it writes?"),
        Fingerprint("M20", lambda n: n.last_ms - n.cycle_ms,
                    "One cycle is missing. Does KF2 begin its cycle in the very moment of the "
                    "decision?"),
        Fingerprint("S05", lambda n: n.first_ms,
                    "{first_ms} ms is the shortest. Which phases give the longest?"),
    ),
    tolerance=0.01,
    rough=Rough(100, 1000, "ms", "Some beats, and then a few cycles: tenths of a second."),
)

# ---------------------------------------------------------------- held, let go, safe

BLOWERS = Choice(
    "06-blowers", "A fail state for the blowers", CHOOSE,
    Case(
        "06-blowers",
        "As built, the blowers of the basins stop when their rack lets go. Oxygen reaches the "
        "alarm after {alarm_min:.0f} min and the action limit after {action_min:.0f} min. Running "
        "blowers harm nothing here.",
        {}, lambda n: _without_blowers(),
    ),
    "Which fail state fits these blowers best?",
    (
        Option("on", "On: the worse mistake here is a blower that stands",
               "ask which mistaken position is worse, and choose the other one.", True),
        Option("off", "Off: without power is the safe state everywhere",
               "The action limit comes after {action_min:.0f} min. Who is safe then?",
               misconception="M27"),
        Option("hold", "Hold for ever: the last value was a good one",
               "A blower that was off for cleaning stays off. For how long is the old value right?",
               misconception="M22"),
    ),
    Hints(
        "Look at both mistakes: a blower that runs, and one that stands.",
        "Choose per output: which mistaken position is worse?",
        "A running blower harms nothing; without one {action_min:.0f} min are left.",
    ),
)

HOLD = Choice(
    "06-hold-limit", "Held, and for how long?", CHOOSE,
    Case(
        "06-hold-limit",
        "The pumps are held on while somebody shuts QM1 at its local switch. The tank overflows "
        "after {overflow_s:.0f} s.",
        {}, lambda n: {
            "overflow_s": OVERFLOW_S,
            "needed_s": RESERVE * switchover_budget().most_ms / 1000,
            "hold_s": PairSettings().hold_ms / 1000,
        },
    ),
    "What follows for the hold time?",
    (
        Option("window", "Longer than a switchover, shorter than the tank lasts",
               "the window has two ends: the pair gives one, the process the other.", True),
        Option("long", "As long as can be, for held outputs harm nothing",
               "After {overflow_s:.0f} s the tank runs over. Which value was held?",
               misconception="M22"),
        Option("short", "As short as can be, for the fail state is safe",
               "With 200 ms nearly every takeover from a silent KF1 drops the pumps. What does the "
               "tank do then?",
               misconception="M21"),
    ),
    Hints(
        "Look at both ends: what is too short, and what is too long?",
        "Longest switchover × 1.5 < hold time < time that the tank lasts.",
        "{needed_s:.2f} s < hold time < {overflow_s:.0f} s; {hold_s} s is chosen in the hall.",
    ),
)

# ---------------------------------------------------------------- votes

VOTES = (
    Choice(
        "06-vote-gap", "For voting: gap or bump", TELL,
        Case(
            "06-vote-gap",
            "Pair X: a gap of {gap_ms} ms, outputs held, integrator tracks. Pair Y: no gap at all, "
            "and a step of {points:.0f} points in the valve.",
            {}, lambda n: {
                "gap_ms": _run(500).gap_ms,
                "x_mm": _run(500).moved_mm,
                **_step(),
            },
        ),
        "Which pair moves the level more?",
        (
            Option("y", "Y: a step of the output acts until the loop has worked it off",
                   "X moves it by {x_mm:.1f} mm, Y by {peak_m:.2f} m.", True),
            Option("x", "X: for a quarter of a second nobody controls the valve",
                   "The valve stands where it stood. By how much does the flow change?",
                   misconception="M23"),
            Option("same", "Neither: both are far too short to matter",
                   "How long does the step of Y last, if nobody takes it back?",
                   misconception="M21"),
        ),
        Hints(
            "Look at the flow that each of them changes.",
            "Level moves by imbalance × time.",
            "X: no imbalance. Y: {flow:.0f} L/s, until the loop has worked it off.",
        ),
        voting=True,
    ),
    Choice(
        "06-vote-safe", "For voting: available, hence safe?", TELL,
        Case(
            "06-vote-safe",
            "The low-oxygen relay KF90 is hard-wired: horn and hand oxygen. Somebody wants to drop "
            "it: the pair has 99.999 % availability, so its program can do that.",
        ),
        "What do you answer?",
        (
            Option("no", "No: it stays hard-wired and independent of the pair",
                   "the pair makes a function be there; safety must hold when it is not.", True),
            Option("nines", "Yes: with so many nines the pair is safe enough",
                   f"{STOP_HERE} one supply stops both. Who sounds the horn then?",
                   misconception="M27"),
            Option("fail", "Yes: in a stop all outputs go to their fail state",
                   f"{STOP_HERE} in the fail state the blowers stand. Who opens the oxygen?",
                   misconception="M27"),
        ),
        Hints(
            "Look at the moment in which the pair is out.",
            "Running and safe are separate goals.",
            "When both controllers are out, only what is independent of them can act.",
        ),
        voting=True,
    ),
)

# ---------------------------------------------------------------- faded chains: how long it lasts


def _ride(numbers: SimpleNamespace) -> dict[str, object]:
    in_l, out_l = numbers.flows
    tank = TankSettings(
        tank_area_m2=numbers.area_m2, inflow_l_per_s=30.0, set_point_m=1.2,
        overflow_m=1.2 + numbers.above_m, low_trip_m=1.2 - numbers.below_m,
    )
    difference = in_l - out_l
    height_m = numbers.above_m if difference > 0 else numbers.below_m
    other_m = numbers.below_m if difference > 0 else numbers.above_m
    lasts_s = ride_through_s(tank, difference)
    return {
        "in_l": in_l, "out_l": out_l, "difference": abs(difference), "height_m": height_m,
        "rises": difference > 0, "way": "rises" if difference > 0 else "sinks",
        "limit": "overflow" if difference > 0 else "low trip",
        "volume_l": 1000 * numbers.area_m2 * height_m,
        "lasts_s": lasts_s,
        "other_s": 1000 * numbers.area_m2 * other_m / abs(difference),
        "gross_s": 1000 * numbers.area_m2 * height_m / max(in_l, out_l),
        "stands": "lasts" if lasts_s >= numbers.act_s else "too short",
        "said": "the tank lasts" if lasts_s >= numbers.act_s else "the tank does not last",
    }


def _ride_case(name: str, flows: tuple, area: tuple) -> Case:
    return Case(
        f"06-{name}",
        "A tank of {area_m2} m² stands at its set-point. Overflow is {above_m} m above it, the "
        "low trip {below_m} m below. In come {in_l} L/s, out go {out_l} L/s, and nobody controls. "
        "Somebody needs {act_s} s to act by hand.",
        {
            "area_m2": area, "above_m": (0.24, 0.3), "below_m": (0.6, 0.5), "flows": flows,
            "act_s": (60.0, 20.0, 130.0),
        },
        _ride,
    )


RIDE_CASES = (
    _ride_case("worked", ((30.0, 17.0), (28.0, 19.0)), (1.5, 2.0)),
    _ride_case("turn-1", ((12.0, 30.0), (10.0, 24.0), (33.0, 25.0)), (1.5, 2.5)),
    _ride_case("turn-2", ((30.0, 27.0), (20.0, 30.0), (24.0, 32.0)), (1.8, 1.4)),
    _ride_case("turn-3", ((22.0, 34.0), (31.0, 18.0), (26.0, 36.0)), (2.4, 1.6)),
)
WORKED = (
    "in {in_l} L/s, out {out_l} L/s: the level {way}, towards the {limit}.",
    "difference {difference} L/s; room {area_m2} m² × {height_m} m = {volume_l:.0f} L.",
    "{volume_l:.0f} L / {difference} L/s = {lasts_s:.1f} s.",
    "{lasts_s:.1f} s against {act_s} s by hand: {said}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", CHOOSE, case,
        "Which way does the level go?",
        (
            Option("up", "up, towards the overflow",
                   "{in_l} L/s come in, and only {out_l} L/s go out.",
                   lambda n: n.rises, "S04",
                   "In {in_l} L/s, out {out_l} L/s: which flow is larger?"),
            Option("down", "down, towards the low trip",
                   "{out_l} L/s go out, and only {in_l} L/s come in.",
                   lambda n: not n.rises, "S04",
                   "In {in_l} L/s, out {out_l} L/s: which flow is larger?"),
            Option("still", "nowhere, as outputs are held",
                   "Held outputs keep both flows. Are the flows equal?", misconception="M22"),
        ),
        Hints(
            "Look at what the tank gains or loses in each second.",
            "More in than out: the level rises.",
            WORKED[0],
        ),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", CHOOSE, case,
        "How much room is there on the way to the limit?", "L", lambda n: n.volume_l,
        "area times the height towards the limit that comes first.",
        Hints(
            "Look at the limit on the way that the level goes.",
            "Room = area × height; 1 m³ = 1000 L.",
            "{area_m2} m² × {height_m} m × 1000 = {volume_l:.0f} L.",
        ),
        (
            Fingerprint("S04", lambda n: n.other_s * n.difference,
                        "That is the room on the other side. Which way does the level go?"),
        ),
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CHOOSE, case,
        "How long does the tank last?", "s", lambda n: n.lasts_s,
        "room divided by the difference of the flows.",
        Hints(
            "Look at what fills or empties: one flow, or the difference?",
            "Time = room / difference of flows.",
            WORKED[2],
        ),
        (
            Fingerprint("M22", lambda n: n.gross_s,
                        "That divides by one flow alone. What does the other one do meanwhile?"),
            Fingerprint("S04", lambda n: n.other_s,
                        "That is the time to the other limit. Which way does the level go?"),
        ),
        follows=f"{case.id}.sort",
        solve_from=lambda n, volume_l: volume_l / n.difference,
    )


def _compare(case: Case) -> Choice:
    return Choice(
        f"{case.id}.compare", "Compare", CHOOSE, case,
        "Is there time to act by hand?",
        (
            Option("yes", "yes, the tank lasts longer", "{lasts_s:.1f} s against {act_s} s.",
                   lambda n: n.stands == "lasts", "M22",
                   "Which is longer: the time that the tank lasts, or the {act_s} s to act?"),
            Option("no", "no, the limit comes first", "{lasts_s:.1f} s against {act_s} s.",
                   lambda n: n.stands != "lasts", "S01",
                   "Which is longer: the time that the tank lasts, or the {act_s} s to act?"),
            Option("never", "yes, for held outputs reach no limit",
                   "The flows differ by {difference} L/s. Where does the water go?",
                   misconception="M22"),
        ),
        Hints(
            "Look at both times in one unit.",
            "There is time where the tank lasts longer than it takes to act.",
            WORKED[3],
        ),
    )


CHAINS, CHAIN_ITEMS = faded(RIDE_CASES, (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drill and budget


def _hold(numbers: SimpleNamespace) -> dict[str, object]:
    sizes = _budget(numbers)
    late = numbers.hold_ms <= sizes["last_ms"]
    close = not late and numbers.hold_ms < sizes["needed_ms"]
    return sizes | {"stands": "drops" if late else "close" if close else "holds"}


HOLD_ASKED = (
    "The racks hold for {hold_ms} ms. What is the sum of the longest terms, and 1.5 times that sum?"
)
DRILL = Choice(
    "06-drill", "Drill: does the hold time fit?", CHOOSE,
    Case(
        "06-drill",
        "A beat every {beat_ms} ms, {beats} missed beats, margin 10 ms. Decision {decision_ms} ms, "
        "cycle {cycle_ms} ms. Rack update every {update_ms} ms, output filter {filter_ms} ms. The "
        "racks hold for {hold_ms} ms.",
        {
            "hold_ms": (350, 200, 500, 250, 450, 800), "beat_ms": (50, 40, 25, 100),
            "beats": (3, 4, 5), "cycle_ms": (40, 50, 30), "update_ms": (20, 10, 25),
        },
        _hold,
    ),
    "How does the hold time stand against the longest switchover?",
    (
        Option("holds", "It is longer, and the reserve of 1.5 is kept",
               "longest {last_ms} ms, times 1.5: {needed_ms} ms.",
               lambda n: n.stands == "holds", "M21",
               HOLD_ASKED),
        Option("close", "It is longer, but the reserve of 1.5 is missing",
               "longest {last_ms} ms, times 1.5: {needed_ms} ms.",
               lambda n: n.stands == "close", "M20",
               HOLD_ASKED),
        Option("drops", "It is not longer: the outputs may let go",
               "longest {last_ms} ms, times 1.5: {needed_ms} ms.",
               lambda n: n.stands == "drops", "S05",
               HOLD_ASKED),
    ),
    Hints(
        "Look at the budget first: take the most of each term.",
        "Detection = missed beats × period + 10. Add decision, 2 cycles, rack update and filter. "
        "Multiply by 1.5.",
        "{found_ms} + {decision_ms} + {two_cycles_ms} + {update_ms} + {filter_ms} = {last_ms} ms; "
        "× 1.5 = {needed_ms} ms.",
    ),
)

TERMS = {
    "detection": "detection", "decision": "decision", "cycle": "cycle",
    "rack_update": "rack update", "output_filter": "output filter",
}
SUM, NEEDED = "switchover", "hold time needed"
PAPER_CASE = Case(
    "06-paper",
    "The pair of the hall after a change: a beat every {beat_ms} ms, {beats} missed beats, margin "
    "10 ms. Decision {decision_ms} ms, cycle {cycle_ms} ms. Rack update every {update_ms} ms, "
    "output filter {filter_ms} ms. The power of KF1 is cut. The tank lasts {tank_s:.0f} s. All "
    "numbers are invented.",
    {
        "beat_ms": (40, 50, 25, 60), "beats": (4, 3, 5), "cycle_ms": (30, 40, 50),
        "update_ms": (10, 20, 25),
    },
    lambda n: _budget(n) | {"tank_s": OVERFLOW_S},
)


def _paper_cell(key: str, row: str, bound: str) -> Numeric:
    marks: tuple[Fingerprint, ...] = ()
    if key == "detection":
        marks = (Fingerprint("S05", lambda n: getattr(n, bound).detection - 10,
                             "That is the beats alone. Where are the 10 ms of the margin?"),)
    if key == "detection" and bound == "most":
        marks += (Fingerprint("S05", lambda n: n.least.detection,
                              "That is the shortest. When did the last beat leave?"),)
    if key == "detection" and bound == "least":
        marks += (Fingerprint("S05", lambda n: n.most.detection,
                              "That is the longest. Which moment of failure is the best one?"),)
    if key == "cycle" and bound == "most":
        marks = (Fingerprint("M20", lambda n: n.least.cycle,
                             "One cycle is the shortest. How long may KF2 wait for it to begin?"),)
    return Numeric(
        f"06-paper.{key}.{bound}", row, ADD, PAPER_CASE, row, "ms",
        lambda n: getattr(getattr(n, bound), key), "", Hints("", "", ""), marks,
        tolerance=0.01, shows_unit=True,
    )


PAPER = Table(
    "06-paper", "Time budget", ADD, PAPER_CASE,
    "Fill the budget, and say which hold time you choose.",
    (*TERMS.values(), SUM, NEEDED), ("least", "most", "why, and what is chosen"),
    {
        ("detection", "least"): _paper_cell("detection", "detection", "least"),
        ("detection", "most"): _paper_cell("detection", "detection", "most"),
        ("detection", "why, and what is chosen"): "depends on when the last beat left",
        ("decision", "least"): "{decision_ms} ms",
        ("decision", "most"): "{decision_ms} ms",
        ("decision", "why, and what is chosen"): "the standby asks the racks once",
        ("cycle", "least"): _paper_cell("cycle", "cycle", "least"),
        ("cycle", "most"): _paper_cell("cycle", "cycle", "most"),
        ("cycle", "why, and what is chosen"): "wait for the next one, then compute",
        ("rack update", "least"): "0 ms",
        ("rack update", "most"): _paper_cell("rack_update", "rack update", "most"),
        ("rack update", "why, and what is chosen"): "wait for the next one",
        ("output filter", "least"): "{filter_ms} ms",
        ("output filter", "most"): "{filter_ms} ms",
        ("output filter", "why, and what is chosen"): "constant",
        (SUM, "least"): Numeric(
            "06-paper.sum.least", SUM, ADD, PAPER_CASE, SUM, "ms", lambda n: n.first_ms, "",
            Hints("", "", ""), tolerance=0.01, shows_unit=True),
        (SUM, "most"): Numeric(
            "06-paper.sum.most", SUM, ADD, PAPER_CASE, SUM, "ms", lambda n: n.last_ms, "",
            Hints("", "", ""),
            (Fingerprint("M20", lambda n: n.found_ms,
                         "That is the detection alone. What comes after it?"),),
            tolerance=0.01, shows_unit=True),
        (SUM, "why, and what is chosen"): "a range, and no single number",
        (NEEDED, "least"): Numeric(
            "06-paper.needed", NEEDED, CHOOSE, PAPER_CASE, NEEDED, "ms", lambda n: n.needed_ms, "",
            Hints("", "", ""),
            (Fingerprint("M21", lambda n: n.last_ms,
                         "That leaves no reserve. Since which write does the hold time run?"),),
            tolerance=0.01, shows_unit=True),
        (NEEDED, "most"): "below {tank_s:.0f} s",
        (NEEDED, "why, and what is chosen"): Free(
            "Chosen: the next round value above {needed_ms} ms, far below the {tank_s:.0f} s that "
            "the tank lasts. Measured at the terminals in ten switchovers before it counts.",
            ("names the hold time and both ends of the window", "says what the tank does meanwhile",
             "says how it will be measured"),
        ),
    },
    "the sum of the longest terms, times 1.5, is the least hold time; the tank sets the most.",
    Hints(
        "Look at one term after the other; least first, then most.",
        "Detection (n - 1)P + 10 to nP + 10 for n missed beats of period P; cycle 1 to 2 cycles; "
        "rack update 0 to 1.",
        "Least {first_ms} ms, most {last_ms} ms, hold time {needed_ms} ms.",
    ),
    corner="term",
)

LESSON = Lesson(
    "06",
    "Switchover and the process",
    (
        *RECALL, SHORT, BUMPED, LONGEST, BLOWERS, HOLD, *VOTES,
        *CHAIN_ITEMS,
        DRILL, PAPER,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
