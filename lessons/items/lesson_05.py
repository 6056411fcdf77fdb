"""Lesson 05, heartbeat and time-out: how soon may the standby believe it?"""

from __future__ import annotations

import functools
from types import SimpleNamespace

from labkit.switchover.clocks import Channel
from labkit.switchover.settings import PairSettings
from labkit.switchover.time_outs import (
    TimeOut,
    false_trips_by_beats,
    fewest_beats,
    how_often,
    time_out,
)
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.numeric import Fingerprint, Numeric, Rough
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.table import Free, Pick, Table

__all__ = ["LESSON"]

CALCULATE = "calculate how late a dead partner is found, how often a living one is taken for dead"
PREDICT = "predict what one missed beat more does, with single losses and with bursts"
CHOOSE = "choose a time-out that keeps both bounds, and propose it"

ONE_IN_TEN_YEARS = 0.1
BEATS_ALONE = "That is {beats} × {beat_ms} ms, the beats alone. What else passes until then?"
RAISED = str.maketrans("0123456789", "⁰¹²³⁴⁵⁶⁷⁸⁹")


@functools.cache
def _time_out(beat_ms: int, beats: int, margin_ms: int, loss: float) -> TimeOut:
    settings = PairSettings(heartbeat_ms=beat_ms, missed_beats=beats, margin_ms=margin_ms)
    return time_out(settings, Channel(loss=loss))


def _sizes(numbers: SimpleNamespace) -> dict[str, object]:
    """What follows from beat, missed beats, margin and loss."""
    found = _time_out(
        numbers.beat_ms, numbers.beats, getattr(numbers, "margin_ms", 10), numbers.loss)
    beats_per_d = 24 * 3_600_000 / numbers.beat_ms
    return {
        "least_ms": found.silent_ms[0],
        "most_ms": found.silent_ms[1],
        "first_ms": found.takeover_ms[0],
        "last_ms": found.takeover_ms[1],
        "beats_per_d": beats_per_d,
        "per_a": found.false_trips_per_year,
        "per_d": found.false_trips_per_year / 365,
        "often": how_often(found.false_trips_per_year),
        "row": f"{numbers.loss:g}{str(numbers.beats).translate(RAISED)}",
    }


# ---------------------------------------------------------------- recall

DAY = Case(
    "05-day", "A controller sends a beat every {beat_ms} ms, day and night.",
    {"beat_ms": (50.0, 20.0, 100.0, 40.0)},
    lambda n: {"per_s": 1000 / n.beat_ms, "per_d": 24 * 3_600_000 / n.beat_ms},
)
BOTH = Case(
    "05-both",
    "Two worn pumps are out for {one:.0%} of the time each, independently of each other.",
    {"one": (0.2, 0.3, 0.15, 0.25)},
    lambda n: {"both": n.one**2, "sum": 2 * n.one, "percent": 100 * n.one},
)
RECALL = (
    Numeric(
        "05-recall-day", "From lesson 01: how often", CALCULATE, DAY,
        "How many beats a day is that?", "1/d", lambda n: n.per_d,
        "a day has 86 400 s, and each second holds 1000 ms / period.",
        Hints(
            "Look at one second first.",
            "Beats a day = 86 400 s × 1000 / period in ms.",
            "86 400 × 1000 / {beat_ms} = {per_d:.0f} beats a day.",
        ),
        (
            Fingerprint(
                "S03", lambda n: 86_400 * n.beat_ms / 1000,
                "That multiplies by the period. Does a longer period give more beats?",
            ),
        ),
        shows_unit=True,
    ),
    Numeric(
        "05-recall-both", "From lesson 02: two at once", CALCULATE, BOTH,
        "For which share of the time are both out at once?", "%", lambda n: 100 * n.both,
        "independent shares multiply where both must come together.",
        Hints(
            "Look at the word both: does it make the share larger or smaller?",
            "Both at once = share × share.",
            "{one} × {one} = {both:.1%} of the time.",
        ),
        (
            Fingerprint(
                "S06", lambda n: 100 * n.sum,
                "{sum:.0%} is the sum: at least one is out. How often do both fall together?",
            ),
            Fingerprint(
                "S06", lambda n: n.percent,
                "That is one pump alone. In which part of that time is the other one out too?",
            ),
        ),
        shows_unit=True,
    ),
    Choice(
        "05-recall-lost", "From lesson 04: no heartbeat", PREDICT, Case("05-recall-lost"),
        "KF2 has heard no beat of KF1 for a while. What does it know?",
        (
            Option("unknown", "Nothing for certain: KF1 or the cable may be out",
                   "a lost heartbeat means unknown, and the racks know more.", True),
            Option("dead", "KF1 is out, for a living unit sends its beats",
                   "Cut the sync cable: the racks still get writes. Who sends them?",
                   misconception="M38"),
            Option("cable", "The cable is out, since controllers hardly fail",
                   "Cut the power of KF1: the beats stop as well. How does KF2 tell both apart?",
                   misconception="M02"),
        ),
        Hints(
            "Look at what the beat needs to arrive.",
            "Sender and cable are both in the way of a beat.",
            "A dead KF1 and a cut cable look the same on the cable; the racks tell them apart.",
        ),
    ),
    Choice(
        "05-recall-alone", "From lesson 04: ALONE", CHOOSE, Case("05-recall-alone"),
        "KF1 shows ALONE, and all racks are written. What does it tell?",
        (
            Option("next", "One more fault may stop the plant",
                   "active without a ready standby: nobody is left to take over.", True),
            Option("fine", "All is well, since KF1 runs the plant",
                   "Who takes over, if KF1 goes now?", misconception="M12"),
            Option("stopped", "The plant has stopped already",
                   "All racks are written. Whose writes are those?", misconception="M35"),
        ),
        Hints(
            "Look at the word: who is alone?",
            "ALONE means active, and no ready standby.",
            "KF1 leads, nobody is ready behind it: the next fault may stop the plant.",
        ),
    ),
)

# ---------------------------------------------------------------- prediction


def _one_more(numbers: SimpleNamespace) -> dict[str, object]:
    settings = PairSettings(heartbeat_ms=numbers.beat_ms)
    single = Channel(loss=numbers.loss)
    bursts = Channel(loss=numbers.loss, burst_ms=numbers.burst_ms)
    rates, rough = (false_trips_by_beats(settings, each, 6) for each in (single, bursts))
    lines = ["missed beats   single losses     with bursts"]
    lines += [
        f"{n:12}   {how_often(a):15}   {how_often(b)}"
        for n, (a, b) in enumerate(zip(rates, rough, strict=True), 1)
    ]
    return {"rates": rates, "rough": rough, "factor": rates[2] / rates[3],
            "rough_factor": rough[2] / rough[3], "seen": "\n".join(lines)}


PREDICTION = Prediction(
    "05-one-more", "Predict first", PREDICT,
    Case(
        "05-one-more",
        "A beat comes every {beat_ms} ms. One in 100 is lost, each by itself. KF2 takes KF1 for "
        "dead after 3 missed beats. Now it waits for 4.",
        {"beat_ms": (50,), "loss": (0.01,), "burst_ms": (200.0,)}, _one_more,
    ),
    "How much rarer do false trips become?",
    (
        Option("third", "by about a quarter, as 3 to 4", right=lambda n: n.factor < 3,
               misconception="M19"),
        Option("ten", "about 10 times rarer", right=lambda n: 3 <= n.factor < 30,
               misconception="M19"),
        Option("hundred", "about 100 times rarer",
               "One more beat must be lost as well, and that happens once in 100.",
               lambda n: 30 <= n.factor < 300),
        Option("never", "they never come again", right=lambda n: n.factor >= 300,
               misconception="M12"),
    ),
    (
        Statement("three", "With 3 missed beats there is more than one false trip a day.",
                  lambda n: n.rates[2] > 365),
        Statement("five", "With 5 missed beats there is less than one in 10 years.",
                  lambda n: n.rates[4] < ONE_IN_TEN_YEARS),
        Statement("bursts", "With bursts of 200 ms, one beat more helps as much as before.",
                  lambda n: n.rough_factor > 30),
        Statement("six", "With bursts, even 6 missed beats give many false trips a day.",
                  lambda n: n.rough[5] > 10 * 365),
    ),
    lambda n: n.seen,
    "Set 3, then 4, then 5 missed beats. Then choose bursts of 200 ms, and go from 1 to 6.",
    Hints(
        "Look at what must come together for a trip on 4 beats.",
        "Independent chances multiply.",
        "Each beat more must be lost too: a factor of 1 / 0.01.",
    ),
)

# ---------------------------------------------------------------- one time-out

TIMEOUT = Case(
    "05-timeout",
    "Another pair: a beat every {beat_ms} ms, {beats} missed beats, margin {margin_ms} ms. One "
    "beat in {one_in} is lost, each by itself.",
    {
        "beat_ms": (20, 25, 50, 40),
        "beats": (3, 2, 4),
        "margin_ms": (15, 10, 12),
        "one_in": (100, 50, 200),
    },
    lambda n: {"loss": 1 / n.one_in} | _sizes(SimpleNamespace(**vars(n), loss=1 / n.one_in)),
)

DETECTION = Numeric(
    "05-detection", "How late at most", CALCULATE, TIMEOUT,
    "KF1 loses its power. After what time at most does KF2 count it as silent?", "ms",
    lambda n: n.most_ms,
    "the last beat may have left at the moment of the failure; the count starts there.",
    Hints(
        "Look at the worst moment: right after a beat, or right before the next one?",
        "Longest time = missed beats × period + margin.",
        "{beats} × {beat_ms} + {margin_ms} = {most_ms} ms.",
    ),
    (
        Fingerprint(
            "S05", lambda n: n.least_ms,
            "{least_ms} ms is the shortest time. When did the last beat leave in that case?",
        ),
        Fingerprint("S05", lambda n: n.beats * n.beat_ms, BEATS_ALONE),
        Fingerprint(
            "M20", lambda n: n.last_ms,
            "{last_ms} ms reaches to the first output of KF2. When is KF1 found silent?",
        ),
    ),
    tolerance=0.01,
    rough=Rough(20, 1000, "ms", "A few beats, and each of them is shorter than a tenth of 1 s."),
)

TRIPS = Numeric(
    "05-trips", "How often for nothing", CALCULATE, TIMEOUT,
    "KF1 lives. How many times a day is it taken for dead?", "1/d",
    lambda n: n.per_d,
    "all the beats must be lost in a row, after one that was heard.",
    Hints(
        "Look at one row of beats: which of them must be lost for a trip?",
        "Trips a day = beats a day × pⁿ × (1 - p).",
        "{beats_per_d} beats a day × {row} × (1 - {loss}) = {per_d:.3g} a day.",
    ),
    (
        Fingerprint(
            "S06", lambda n: n.beats_per_d * n.loss / n.beats,
            "That divides the lost beats by {beats}. Is every lost beat followed by another one?",
        ),
        Fingerprint(
            "S06", lambda n: n.beats_per_d * n.loss,
            "That counts every lost beat. How many of them come {beats} in a row?",
        ),
        Fingerprint(
            "S05", lambda n: n.per_d * n.loss,
            "That has one factor too many. How many beats must be lost for a trip?",
        ),
    ),
)

BUDGET = Case(
    "05-budget",
    "A beat every 50 ms, {beats} missed beats, margin 10 ms. All the rest is as in the hall. The "
    "power of KF1 is cut.",
    {"beats": (4, 5, 6)},
    lambda n: {"nominal_ms": 50 * n.beats}
    | _sizes(SimpleNamespace(beat_ms=50, beats=n.beats, loss=0.01)),
)
WHOLE = Choice(
    "05-whole", "Is that the switchover?", CALCULATE, BUDGET,
    "After what time at most do the racks get the first correct output?",
    (
        Option("all", "after {last_ms} ms", "found silent after {most_ms} ms at most; decision, "
               "cycle, rack update and filter come on top.", True),
        Option("found", "after {most_ms} ms",
               "At {most_ms} ms KF1 counts as silent. What must KF2 do before it writes?",
               misconception="M20"),
        Option("nominal", "after {nominal_ms} ms",
               "That is {beats} beats. Where are margin, decision, cycle and rack update?",
               misconception="M20"),
    ),
    Hints(
        "Look at what comes after the partner was found silent.",
        "Detection + decision + cycle + rack update + filter.",
        "{most_ms} ms and 125 ms more: {last_ms} ms.",
    ),
)

FROZEN = Choice(
    "05-frozen", "What a beat does not prove", PREDICT,
    Case("05-frozen"),
    "The program of KF1 stands still, and its heartbeat goes on. What does KF2 do?",
    (
        Option("waits", "It stays standby, and the racks let go",
               "a heart that beats proves no working program.", True),
        Option("takes", "It takes over after the time-out",
               "The beats still come. Which beat does KF2 miss?", misconception="M12"),
        Option("asks", "It asks the racks and takes over",
               "Rule 4 begins with a silent partner. Is KF1 silent?", misconception="M38"),
    ),
    Hints(
        "Look at what the standby listens to.",
        "No missed beat, no question, no takeover.",
        "The beats of KF1 go on, so that KF2 misses nothing and waits.",
    ),
)

ORDER = Order(
    "05-order", "Order the way to a takeover", CALCULATE, Case("05-order"),
    "The power of KF1 is cut. Bring the steps into order.",
    (
        "KF2 misses the set number of beats, and the margin passes",
        "KF2 asks the racks for the mark of KF1",
        "The marks age, and KF2 decides to take over",
        "KF2 waits for its next cycle and runs it",
        "KF2 writes the racks",
        "The outputs at the terminals are right again",
    ),
    "missed, asked, decided, computed, written, at the terminal.",
    Hints(
        "Look for what KF2 must know before the next step.",
        "Silent partner, question, decision, cycle, write, terminal.",
        "Beats missed, racks asked, takeover decided, cycle run, racks written, terminals right.",
    ),
    {
        (0, 1): ("M38", "Why would KF2 ask, before a beat is missing?"),
        (1, 2): ("M38", "What would KF2 decide by, before the racks have answered?"),
        (3, 4): ("M20", "What would KF2 write, before its cycle has run?"),
        (4, 5): ("M20", "How can the terminal know, before the rack is written?"),
    },
)

# ---------------------------------------------------------------- votes

VOTES = (
    Choice(
        "05-vote-one", "For voting: one missed beat", PREDICT,
        Case(
            "05-vote-one",
            "Somebody proposes: trip on one missed beat, and KF2 takes over 100 ms sooner. A beat "
            "comes every 50 ms, and one in {one_in} is lost.",
            {"one_in": (100, 200, 50)},
            lambda n: {"loss": 1 / n.one_in} | _sizes(
                SimpleNamespace(beat_ms=50, beats=1, loss=1 / n.one_in)),
        ),
        "What follows from it?",
        (
            Option("many", "Thousands of false trips, each day",
                   "each beat that is lost after a heard one is a trip now: {often}.", True),
            Option("faster", "A faster switchover, and nothing else",
                   "One beat in {one_in} is lost, of {beats_per_d} a day. How many trips is "
                   "that?",
                   misconception="M19"),
            Option("some", "Some false trips, in a bad year",
                   "A day has {beats_per_d} beats. How many of them are lost?",
                   misconception="M19"),
            Option("none", "No trips: a lost beat is sent again",
                   "A beat tells that its sender lives now. What would a late one tell?",
                   misconception="M38"),
        ),
        Hints(
            "Look at the beats of one day.",
            "Trips a day = beats a day × p × (1 - p).",
            "{beats_per_d} × {loss} × (1 - {loss}) gives {often}.",
        ),
        voting=True,
    ),
    Choice(
        "05-vote-bursts", "For voting: noise in bursts", CHOOSE,
        Case(
            "05-vote-bursts",
            "Welding disturbs the sync cable in bursts of {burst_ms:.0f} ms on average, once a "
            "minute. The time-out is 3 beats of 50 ms.",
            {"burst_ms": (200.0, 300.0, 500.0)},
            lambda n: {
                "four": how_often(false_trips_by_beats(
                    PairSettings(), Channel(loss=0.01, burst_ms=n.burst_ms), 4)[3]),
                "three": how_often(false_trips_by_beats(
                    PairSettings(), Channel(loss=0.01, burst_ms=n.burst_ms), 3)[2]),
                "dense": how_often(false_trips_by_beats(
                    PairSettings(heartbeat_ms=20), Channel(loss=0.01, burst_ms=n.burst_ms),
                    8)[7]),
            },
        ),
        "Which change helps most against false takeovers?",
        (
            Option("path", "A second way to ask: another cable, or the racks",
                   "a way that the same burst does not reach tells a living partner.", True),
            Option("one more", "One missed beat more before the partner is silent",
                   "3 beats: {three}. 4 beats: {four}. Is that the factor of 100 from before?",
                   misconception="M39"),
            Option("dense", "A beat every 20 ms, and 8 missed in a row count",
                   "That still waits for 160 ms: {dense}. How long is one burst?",
                   misconception="M39"),
        ),
        Hints(
            "Look at what a burst does to the next beat, and to the one after it.",
            "A burst takes all beats that fall into it.",
            "Such bursts often outlast 3 and 4 beats; another way does not see them.",
        ),
        voting=True,
    ),
)

# ---------------------------------------------------------------- faded chains


def _stands(often: bool, late: bool) -> str:
    if often and late:
        return "breaks both"
    return "too often" if often else "too late" if late else "keeps both"


def _turn(numbers: SimpleNamespace) -> dict[str, object]:
    sizes = _sizes(SimpleNamespace(**vars(numbers), loss=1 / numbers.one_in))
    often = sizes["per_a"] >= ONE_IN_TEN_YEARS
    late = sizes["most_ms"] > numbers.limit_ms
    return sizes | {
        "loss": 1 / numbers.one_in,
        "stands": _stands(often, late),
        "time_said": "more" if late else "not more",
        "trips_said": "more" if often else "less",
        "said": "refused" if often or late else "accepted",
    }


def _turn_case(name: str, beat_ms: tuple, beats: tuple, margin_ms: tuple) -> Case:
    return Case(
        f"05-{name}",
        "A beat every {beat_ms} ms, {beats} missed beats, margin {margin_ms} ms. One beat in "
        "{one_in} is lost, each by itself. Allowed: {limit_ms} ms until the partner is found, and "
        "less than one false trip in 10 years. That is 0.1 a year.",
        {
            "beat_ms": beat_ms, "beats": beats, "margin_ms": margin_ms,
            "one_in": (100, 200, 50), "limit_ms": (200, 300, 150),
        },
        _turn,
    )


TURN_CASES = (
    _turn_case("worked", (50, 40), (3, 4), (10, 5)),
    _turn_case("turn-1", (40, 50, 30), (4, 3, 5), (10, 20)),
    _turn_case("turn-2", (30, 20, 25), (6, 5, 4), (15, 10)),
    _turn_case("turn-3", (100, 60, 80), (5, 4, 6), (20, 30)),
)
WORKED = (
    "a line of beats: the last one heard, {beats} missed ones, then the margin.",
    "longest time {beats} × {beat_ms} + {margin_ms} = {most_ms} ms; {beats_per_d} beats a day.",
    "{beats_per_d} × 365 × {row} × (1 - {loss}) = {per_a:.3g} false trips a year.",
    "{most_ms} ms is {time_said} than {limit_ms} ms. {per_a:.3g} a year is {trips_said} than 0.1 a "
    "year: {said}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", CALCULATE, case,
        "From which moment does the time-out count?",
        (
            Option("last", "from the last beat that was heard",
                   "the standby knows that moment, and not when the partner failed.", True),
            Option("failure", "from the failure of the partner",
                   "The standby hears beats and nothing else. How would it know that moment?",
                   misconception="M38"),
            Option("missed", "from the first beat that was missed",
                   "Then one period more would pass. Which beat is number one of {beats}?",
                   misconception="S05"),
        ),
        Hints(
            "Look at what the standby can know.",
            "It knows when a beat came, and nothing of the failure.",
            "The count starts at the last beat heard; it ends {beats} periods and a margin later.",
        ),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", CALCULATE, case,
        "After what time at most is a dead partner found?", "ms", lambda n: n.most_ms,
        "the failure may come right after a beat.",
        Hints(
            "Look at the worst moment for a failure.",
            "Longest time = missed beats × period + margin.",
            WORKED[1],
        ),
        (
            Fingerprint("S05", lambda n: n.least_ms,
                        "{least_ms} ms is the shortest time. Which moment of failure gives the "
                        "longest?"),
            Fingerprint("S05", lambda n: n.beats * n.beat_ms, BEATS_ALONE),
        ),
        tolerance=0.01,
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CALCULATE, case,
        "How many false trips a year is that?", "1/a", lambda n: n.per_a,
        "beats a year, times the chance that {beats} in a row are lost after one heard.",
        Hints(
            "Look at the beats of a year, then at the chance of a full row.",
            "Trips a year = beats a day × 365 × pⁿ × (1 - p).",
            WORKED[2],
        ),
        (
            Fingerprint("S05", lambda n: n.per_a * n.one_in,
                        "That is the rate for one beat less. How many must be lost in a row?"),
            Fingerprint("S06", lambda n: n.beats_per_d * 365 * n.loss / n.beats,
                        "That divides the lost beats into rows. Do losses wait for each other?"),
        ),
    )


TWO_BOUNDS = (
    "Found after {most_ms} ms at most: is that within {limit_ms} ms? And are your trips below 0.1 "
    "a year?"
)


def _compare(case: Case) -> Choice:
    return Choice(
        f"{case.id}.compare", "Compare", CHOOSE, case,
        "How does the time-out stand against both bounds?",
        tuple(
            Option(stands.replace(" ", "-"), text, "{most_ms} ms at most, and {often}.",
                   lambda n, stands=stands: n.stands == stands, misconception, question)
            for stands, text, misconception, question in (
                ("keeps both", "accepted: it keeps both bounds", "M19", TWO_BOUNDS),
                ("too often", "refused: soon enough, and too often", "M19", TWO_BOUNDS),
                ("too late", "refused: rare enough, and too late", "S05", TWO_BOUNDS),
                ("breaks both", "refused: it breaks both bounds", "M19", TWO_BOUNDS),
            )
        ),
        Hints(
            "Look at the time first, then at the false trips.",
            "Both bounds must hold: no later than allowed, and less than 0.1 a year.",
            WORKED[3],
        ),
    )


CHAINS, CHAIN_ITEMS = faded(TURN_CASES, (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drill and proposal


@functools.cache
def _fewest(beat_ms: int, loss: float, bound_per_a: float) -> tuple[int, tuple[float, ...]]:
    settings, channel = PairSettings(heartbeat_ms=beat_ms), Channel(loss=loss)
    least = fewest_beats(settings, channel, bound_per_a)
    return least, false_trips_by_beats(settings, channel, least)


def _least(numbers: SimpleNamespace) -> dict[str, object]:
    loss = 1 / numbers.one_in
    least, rates = _fewest(numbers.beat_ms, loss, numbers.bound_per_a)
    return {
        "loss": loss, "least": least, "bound": how_often(numbers.bound_per_a),
        "beats_per_a": HOURS_PER_YEAR * 3_600_000 / numbers.beat_ms,
        "enough": how_often(rates[-1]), "short": how_often(rates[-2]),
    }


DRILL = Numeric(
    "05-drill", "Drill: the shortest time-out", CHOOSE,
    Case(
        "05-drill",
        "A beat every {beat_ms} ms, and one in {one_in} is lost, each by itself. Allowed are fewer "
        "false trips than {bound}.",
        {
            "beat_ms": (50, 20, 100, 40, 25),
            "one_in": (100, 20, 50, 200, 1000),
            "bound_per_a": (0.1, 1.0, 12.0),
        },
        _least,
    ),
    "Which time-out, missed beats × period, is the shortest that keeps the bound?", "ms",
    lambda n: n.least * n.beat_ms,
    "with {least} missed beats: {enough}; with one less: {short}.",
    Hints(
        "Look at the lost beats of a year. Each beat more makes trips {one_in} times rarer.",
        "Trips a year = beats a year × pⁿ × (1 - p).",
        "{beats_per_a} beats a year × {loss}ⁿ keeps the bound from n = {least} on.",
    ),
    (
        Fingerprint("M19", lambda n: (n.least - 1) * n.beat_ms,
                    "One beat less gives {short}. Does that keep the bound?"),
        Fingerprint("S05", lambda n: (n.least + 1) * n.beat_ms,
                    "That keeps the bound. Does one beat less keep it too?"),
        Fingerprint("S01", lambda n: n.least,
                    "That is a number of beats. How long do so many beats of {beat_ms} ms last?"),
    ),
)


def _proposal(numbers: SimpleNamespace) -> dict[str, object]:
    made: dict[str, object] = {"most_ms": numbers.hold_ms / 1.5}
    for name, (beat_ms, beats) in PROPOSALS.items():
        found = _time_out(beat_ms, beats, 10, 1 / numbers.one_in)
        late = 1.5 * found.takeover_ms[1] > numbers.hold_ms
        often = found.false_trips_per_year >= ONE_IN_TEN_YEARS
        made[name] = SimpleNamespace(
            silent_ms=found.silent_ms[1], last_ms=found.takeover_ms[1],
            per_a=found.false_trips_per_year,
            stands=_stands(often, late),
        )
    kept = [name for name in PROPOSALS if made[name].stands == "keeps both"]
    made["kept"] = " or ".join(kept) or "none of these"
    return made


PROPOSALS = {"A": (50, 3), "B": (50, 5), "C": (20, 6)}
PROPOSAL_CASE = Case(
    "05-proposal",
    "Brackenquay: one beat in {one_in} is lost; margin 10 ms; after detection come 125 ms at most. "
    "Bound 1: the longest switchover, times 1.5, fits into the hold time of {hold_ms} ms. "
    "Bound 2: less than one false trip in 10 years, which is 0.1 a year.",
    {"one_in": (100, 90, 110), "hold_ms": (500, 520, 540)},
    _proposal,
)
STANDS = ("keeps both", "too often", "too late", "breaks both")
ASKED = ("found silent at most", "switchover at most", "false trips", "verdict")


def _proposal_cells(name: str) -> dict[tuple[str, str], object]:
    beat_ms = PROPOSALS[name][0]
    column = HEADS[name]
    own = f"05-proposal.{name}"
    none = Hints("", "", "")
    return {
        (ASKED[0], column): Numeric(
            f"{own}.silent", ASKED[0], CALCULATE, PROPOSAL_CASE, ASKED[0], "ms",
            lambda n: getattr(n, name).silent_ms, "", none,
            (Fingerprint("S05", lambda n: getattr(n, name).silent_ms - beat_ms,
                         "That is the shortest time. Which one is the longest?"),
             Fingerprint("S05", lambda n: getattr(n, name).silent_ms - 10,
                         "That is the beats alone. Where are the 10 ms of the margin?")),
            tolerance=0.01, shows_unit=True,
        ),
        (ASKED[1], column): Numeric(
            f"{own}.last", ASKED[1], CALCULATE, PROPOSAL_CASE, ASKED[1], "ms",
            lambda n: getattr(n, name).last_ms, "", none,
            (Fingerprint("M20", lambda n: getattr(n, name).silent_ms,
                         "Then KF1 is found silent. What comes before the first output?"),),
            tolerance=0.01, shows_unit=True,
        ),
        (ASKED[2], column): Numeric(
            f"{own}.trips", ASKED[2], CALCULATE, PROPOSAL_CASE, ASKED[2], "1/a",
            lambda n: getattr(n, name).per_a, "", none,
            (Fingerprint("S05", lambda n: getattr(n, name).per_a * n.one_in,
                         "That is one beat less. How many are missed here?"),),
            tolerance=0.05, shows_unit=True,
        ),
        (ASKED[3], column): Pick(
            STANDS, lambda n: getattr(n, name).stands,
            {
                "keeps both": ("M19", "Do both the false trips and the time keep their bounds?"),
                "too often": ("M19", "Which bounds are passed here, and is it one or both?"),
                "too late": ("M20", "Which bounds are passed here, and is it one or both?"),
                "breaks both": ("M19", "Which of the two bounds is kept here?"),
            },
        ),
    }


HEADS = {name: f"{name}: {beat_ms} ms × {beats}" for name, (beat_ms, beats) in PROPOSALS.items()}
PROPOSAL = Table(
    "05-proposal", "Time-out proposal", CHOOSE, PROPOSAL_CASE,
    "Fill the proposal. Then write which time-out you propose, what speaks against it, and what "
    "is done about bursts.",
    (*ASKED, "proposal and remark"), tuple(HEADS.values()),
    {
        (ASKED[0], HEADS["A"]): "{A.silent_ms} ms",
        (ASKED[1], HEADS["A"]): "{A.last_ms} ms",
        **{place: cell for place, cell in _proposal_cells("A").items()
           if place[0] in ASKED[2:]},
        **_proposal_cells("B"),
        **_proposal_cells("C"),
        ("proposal and remark", HEADS["C"]): Free(
            "Proposed: {kept}. It holds for single losses. A burst longer than the time-out trips "
            "it all the same, so that the racks are asked, and a second cable is planned.",
            ("names the time-out and both numbers", "says what it does not cover",
             "says what is done against bursts"),
        ),
    },
    "more beats in the same time keep both bounds, as long as losses come singly.",
    Hints(
        "Look at one time-out: time first, then false trips.",
        "n × period + 10 ms; 125 ms more; beats a year × pⁿ × (1 - p).",
        "A: {A.stands}. B: {B.stands}. C: {C.stands}.",
    ),
    corner="time-out",
)

LESSON = Lesson(
    "05",
    "Heartbeat and time-out",
    (
        *RECALL, PREDICTION, DETECTION, TRIPS, WHOLE, FROZEN, ORDER, *VOTES,
        *CHAIN_ITEMS,
        DRILL, PROPOSAL,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
