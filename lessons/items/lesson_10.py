"""Lesson 10, reading lamps and lines: which fault is it, and what do I check next?"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from types import SimpleNamespace

from labkit.availability.parts import Part, parallel, series
from labkit.plant.plant import load_plant
from labkit.rig.bus import LOOP_OHM_PER_KM, TERMINATOR_OHM, idle_voltage_mv, line_resistance_ohm
from labkit.rig.finder import FaultFinder
from labkit.rig.rig import Rig
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.drilling import Drill
from lessons.exercises.fading import faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.numeric import Fingerprint, Numeric
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.replies import STOP_HERE
from lessons.exercises.scenes import FAMILIES, SceneCase
from lessons.exercises.table import Free, Pick, Table
from lessons.pictures.seen import lamp_board_html, seen_at

__all__ = ["LESSON", "finder"]

FIND = "find a hidden fault on the running plant in five steps"
READ = "calculate what a meter reads on a bus line, and say what a reading means"
FILL = "fill in a fault-finding page that starts from what is seen"


@functools.cache
def finder() -> FaultFinder:
    """Return the fault finder of the plant of the lessons, made once."""
    return FaultFinder(load_plant())


@functools.cache
def _after(*faults: str) -> Rig:
    """A rig with faults switched on after one second, and a minute later."""
    rig = Rig()
    rig.wait(1.0)
    for fault in faults:
        rig.switch_on(fault)
    rig.wait(60.0)
    return rig


# ---------------------------------------------------------------- recall


def _behind(numbers: SimpleNamespace) -> dict[str, float]:
    repeater = Part("repeater", mtbf_h=numbers.mtbf_h, mttr_h=numbers.mttr_h)
    return {
        "per_a": repeater.failures_per_h * HOURS_PER_YEAR,
        "down_min": repeater.unavailability * HOURS_PER_YEAR * 60,
    }


RECALL = (
    Numeric(
        "10-recall-repeater", "From lesson 02: a part in the way", READ,
        Case("10-recall-repeater",
             "The repeater of the panel bus has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h.",
             {"mtbf_h": (180_000.0, 120_000.0, 250_000.0), "mttr_h": (5.0, 3.0, 8.0)}, _behind),
        "How long is the panel cut off by it in a year on the average?", "min/a",
        lambda n: n.down_min, "the repeater is in series with everything behind it.",
        Hints(
            "Look at how often it fails, then at how long each time.",
            "Down time = 8760 h / (MTBF + MTTR) × MTTR.",
            "{per_a:.4f} failures a year × {mttr_h} h × 60 = {down_min:.1f} min a year.",
        ),
        (
            Fingerprint("S02", lambda n: n.mttr_h * 60,
                        "That is one repair. Does it fail once in every year?"),
        ),
    ),
    Choice(
        "10-recall-dark", "From lesson 04: a dark unit", FIND, Case("10-recall-dark"),
        "KF2 shows no lamp. Its links still carry data. What does that say?",
        (
            Option("stopped", "It has supply, and its program is stopped",
                   "without supply its links would carry nothing.", True),
            Option("off", "It has no supply, since all its lamps are off",
                   "Its links carry data. Which voltage would they run on?", misconception="M32"),
            Option("well", "It is well, since no lamp shows a fault",
                   "A ready standby shows READY. Is it lit here?", misconception="M32"),
        ),
        Hints(
            "Look for a sign of life that the unit does not show itself.",
            "No supply: no data on its links.",
            "Data pass, so that it has supply; no role lamp, so that its program is stopped.",
        ),
    ),
    Choice(
        "10-recall-heartbeat", "From lesson 05: a missed heartbeat", FIND,
        Case("10-recall-heartbeat"),
        "KF2 misses all beats of KF1. The racks hold fresh marks of KF1. Where is the fault?",
        (
            Option("sync", "In the way of the beats: the sync cable",
                   "a fresh mark says that KF1 lives and writes.", True),
            Option("kf1", "In KF1: it is dead, for it sends no beats",
                   "The racks get writes from KF1. Who sends them, if it is dead?",
                   misconception="M38"),
            Option("racks", "In the racks: they hold old marks of KF1",
                   "A mark gets old within some writes. What does fresh say?",
                   misconception="M36"),
        ),
        Hints(
            "Look at what both signs have to do with KF1.",
            "No beats means unknown; a fresh mark means alive.",
            "KF1 writes, so that it lives; the beats get lost on their way.",
        ),
    ),
    Choice(
        "10-recall-shared", "From lesson 02: what both share", FILL, Case("10-recall-shared"),
        "Two cables run to one rack, for some of the way in one duct. What does a digger there do?",
        (
            Option("both", "It may take both at one stroke",
                   "what both share can stop both.", True),
            Option("one", "It takes one; the other carries on",
                   "Both lie in the duct. What keeps the digger from the second one?",
                   misconception="M26"),
            Option("none", "Nothing, since there is a second cable",
                   "Where does the second cable lie?", misconception="M15"),
        ),
        Hints(
            "Follow both cables with a pencil.",
            "A part of the way without a twin stops both.",
            "In the duct both lie side by side: one stroke, two cables.",
        ),
    ),
)

# ---------------------------------------------------------------- predictions


def _blind(numbers: SimpleNamespace) -> dict[str, object]:
    rig = _after("TF1: no power")
    snapshot = rig.snapshot()
    return {
        "snapshot": snapshot,
        "written": all(state.value == "written" for state in snapshot.outputs.values()),
        "changed": any(e.what == "role" for e in rig.record if e.time_ms > 0),
        "seen": f"The repeater has had no supply for a minute.\n{seen_at(rig)}",
    }


BLIND = Prediction(
    "10-blind", "Predict: the repeater loses its supply", FIND,
    Case("10-blind", "KF1 leads, KF2 stands by. The repeater of the panel bus loses its supply.",
         {}, _blind),
    "What happens to the control of the plant?",
    (
        Option("goes on", "Control goes on, and the panel sees nothing",
               "The panel bus carries seeing and acting; the racks have links of their own.",
               lambda n: n.written and not n.snapshot.panel_sees),
        Option("stops", "Control stops, for its orders come from the panel",
               right=lambda n: not n.written, misconception="M16"),
        Option("takeover", "KF2 takes over, for KF1 has lost its panel",
               right=lambda n: n.changed, misconception="M38"),
        Option("nothing", "Nothing at all: a repeater only boosts signals",
               right=lambda n: n.written and n.snapshot.panel_sees, misconception="M16"),
    ),
    (
        Statement("data", "DATA on the panel is a yellow cross.",
                  lambda n: not n.snapshot.panel_sees),
        Statement("writer", "WRITER is lit on the links from KF1.",
                  lambda n: set(n.snapshot.writers.values()) == {"KF1"}),
        Statement("roles", "The roles changed.", lambda n: n.changed),
        Statement("alone", "ALONE is lit.", lambda n: n.snapshot.alone),
    ),
    lambda n: n.seen,
    "Switch on 'TF1 bus repeater: no power'. Read the panel, then the units and their links.",
    hints=Hints(
        "Look at which cables run through the repeater.",
        "The panel bus carries see and act; each rack has two links of its own.",
        "The panel goes blind; KF1 goes on writing the racks over the links.",
    ),
)

# ---------------------------------------------------------------- reading and choosing


def _lamp_case(name: str, *faults: str) -> Case:
    return Case(f"10-{name}", "{lamps}", {},
                lambda n: {"lamps": seen_at(_after(*faults))},
                lambda n: lamp_board_html(_after(*faults)))


LAMP = Choice(
    "10-lamp", "Read: one lamp less", FIND, _lamp_case("lamp", "PH1: lamp dark"),
    "On the panel neither KF1 nor KF2 is lit. What do you do first?",
    (
        Option("test", "Press the lamp test of the panel",
               "a dark lamp says nothing until it was tested, and all else is normal.", True),
        Option("nothing", "Nothing, since no lamp shows a fault",
               "PLANT says normal, so that somebody leads. Which lamp should be lit?",
               misconception="M32"),
        Option("start", "Start KF1, since nobody leads the plant",
               f"{STOP_HERE} ACTIVE is lit in the hall. Who leads?", misconception="M35"),
    ),
    Hints(
        "Look for a lamp that does not fit the others.",
        "Dark is a dead lamp, no supply, or no signal.",
        "Data come in and PLANT is normal: the lamp itself is dead, and the lamp test shows it.",
    ),
)


def _cables(numbers: SimpleNamespace) -> dict[str, float]:
    ways = [Part(name, mtbf_h=400_000, mttr_h=6) for name in ("link A", "link B")]
    duct = Part("shared duct", mtbf_h=numbers.duct_h, mttr_h=6)
    alone, both = parallel(*ways), series(parallel(*ways), duct)
    return {
        "alone_million_a": 1e-6 / (alone.failures_per_h * HOURS_PER_YEAR),
        "both_a": 1 / (both.failures_per_h * HOURS_PER_YEAR),
    }


DUCT = Choice(
    "10-duct", "Read: two crosses at one rack", FIND,
    Case("10-duct",
         "LINK of both interfaces of rack KF10 is a yellow cross. Each link has an MTBF of "
         "400 000 h. The duct that both share is cut once in {duct_h} h.",
         {"duct_h": (876_000.0, 1_752_000.0, 438_000.0)}, _cables),
    "What do you look for first?",
    (
        Option("one", "One cause for both: the rack, or the duct",
               "two by chance: once in {alone_million_a:.1f} million years; with the duct once in "
               "{both_a:.0f} years.", True),
        Option("two", "Two broken cables, one after the other",
               "Two links fail together by chance once in {alone_million_a:.1f} million years. What do "
               "both share?",
               misconception="M26"),
        Option("unit", "The active controller, for it has lost the rack",
               "KF1 and KF2 both reach the two other racks. What fails in both at once?",
               misconception="M38"),
    ),
    Hints(
        "Look at what the two crosses have in common.",
        "Two signs at one moment: look for one cause behind both.",
        "By chance once in {alone_million_a:.1f} million years, through the duct once in "
        "{both_a:.0f} years.",
    ),
)

BLIND_SIGNS = {"PH1 DATA": "yellow", "PH1 KF1": "dark", "PH1 KF2": "dark", "PH1 PLANT": "dark",
               "KF1 ACTIVE": "green"}


def _next(numbers: SimpleNamespace) -> dict[str, object]:
    return dict(_bits_a_minute())


@functools.cache
def _bits_a_minute() -> Mapping[str, object]:
    values = {value.name: value for value in finder().next_checks(BLIND_SIGNS)}
    names = {"repeater": "lamps of TF1", "wires": "resistance of WF3",
             "unit": "lamps of KF2"}
    rates = {key: values[name].bits_per_minute for key, name in names.items()}
    return {**{f"{key}_bpm": rate for key, rate in rates.items()},
            "best": max(rates, key=rates.get)}


NEXT = Choice(
    "10-next", "Choose the next check", FIND,
    Case("10-next", "The panel gives no data. In the hall KF1 shows ACTIVE.", {}, _next),
    "Which of these checks tells most for its minutes?",
    (
        Option("repeater", "Read the lamps of the repeater",
               "{repeater_bpm:.3f} bit a minute: it splits the bus in two.",
               lambda n: n.best == "repeater", "M16"),
        Option("wires", "Measure the resistance of WF3",
               "{wires_bpm:.3f} bit a minute. Which check halves the list sooner?",
               lambda n: n.best == "wires", "M33"),
        Option("unit", "Read the lamps of standby KF2",
               "{unit_bpm:.3f} bit a minute. Does it tell the causes apart?",
               lambda n: n.best == "unit", "M16"),
    ),
    Hints(
        "Look at which causes are left, and where a check splits them.",
        "A good check halves the list, and takes few minutes.",
        "The repeater stands in the middle: its lamps split the list for a walk.",
    ),
)

# ---------------------------------------------------------------- the bus chain

STATES = {
    "good": {}, "one missing": {"far": 0}, "one too many": {"near": 2},
}


def _bus(numbers: SimpleNamespace) -> dict[str, object]:
    length_m = numbers.length_m
    copper = length_m * LOOP_OHM_PER_KM / 1000
    measured = round(line_resistance_ohm(length_m, **STATES[numbers.state]))
    whole = line_resistance_ohm(length_m)
    return {
        "copper": copper, "far": copper + TERMINATOR_OHM, "whole": whole,
        "measured": float(measured), "bare": TERMINATOR_OHM / 2,
        "three": line_resistance_ohm(length_m, near=2), "idle": idle_voltage_mv(whole),
        "deviates": measured / whole - 1,
    }


def _bus_case(name: str, lengths: tuple[float, ...], states: tuple[str, ...]) -> Case:
    return Case(
        f"10-{name}",
        "A panel bus of {length_m} m has a terminator of 120 Ω at each end. The copper of both "
        "wires has 168 Ω per km. Supplies off, a meter at the near end reads {measured} Ω.",
        {"length_m": lengths, "state": states}, _bus,
    )


BUS_CASES = (
    _bus_case("worked", (870.0, 900.0, 750.0), ("good", "one missing")),
    _bus_case("turn-1", (540.0, 620.0, 460.0), ("one missing", "good", "one too many")),
    _bus_case("turn-2", (1000.0, 820.0, 690.0), ("one too many", "one missing", "good")),
    _bus_case("turn-3", (700.0, 580.0, 950.0), ("good", "one too many", "one missing")),
)
WORKED = (
    "120 Ω near, beside it the copper and 120 Ω at the far end.",
    "copper of both wires: 0.168 Ω/m × {length_m} m = {copper:.0f} Ω.",
    "120 Ω beside {copper:.0f} + 120 Ω: 120 × {far:.0f} / (120 + {far:.0f}) = {whole:.1f} Ω.",
    "{measured} Ω against {whole:.1f} Ω, {deviates:+.0%}: {state}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", READ, case,
        "What does the meter at the near end see?",
        (
            Option("copper", "its terminator beside the copper and the far one",
                   "the far terminator is seen through the copper.", True),
            Option("bare", "two terminators side by side, as at the desk",
                   "The far one is {length_m} m away. What lies in between?",
                   misconception="S08"),
            Option("three", "three terminators: near, far and its own",
                   "Each end has one. Where would a third one be, and what would it load?",
                   misconception="M33"),
        ),
        Hints(
            "Look along the two wires, from the meter to the far end.",
            "In series along the wire, side by side between the wires.",
            "Its own 120 Ω; beside it the way through {copper:.0f} Ω of copper to the far 120 Ω.",
        ),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", READ, case,
        "How much resistance has the copper of this line?", "Ω",
        lambda n: n.copper, "168 Ω per km counts both wires.",
        Hints(
            "Look at the unit: ohm per km, and the length in m.",
            "Copper = 168 Ω/km × length in km.",
            WORKED[1],
        ),
        (
            Fingerprint("S08", lambda n: 2 * n.copper,
                        "168 Ω per km counts both wires. Which wire was counted twice?"),
            Fingerprint("S08", lambda n: n.copper / 2,
                        "That is half of it. Does 168 Ω per km not count both wires already?"),
        ),
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", READ, case,
        "What would the meter read, if all is as it should be?", "Ω",
        lambda n: n.whole, "the near terminator beside the copper and the far one.",
        Hints(
            "Look at the two ways between the wires: one near, one far.",
            "Side by side: R1 × R2 / (R1 + R2).",
            WORKED[2],
        ),
        (
            Fingerprint("S08", lambda n: n.bare,
                        "That leaves the copper out. How far away is the other end?"),
            Fingerprint("M33", lambda n: n.three,
                        "That is the reading with three. How many belong to a line?"),
            Fingerprint("S08", lambda n: n.far,
                        "That is the far way alone. What lies beside it at the near end?"),
            Fingerprint("S09", lambda n: TERMINATOR_OHM + n.far,
                        "That adds what lies side by side. Is the result below each of both?"),
        ),
        follows=f"{case.id}.sort",
        solve_from=lambda n, copper: TERMINATOR_OHM * (copper + TERMINATOR_OHM) / (
            copper + 2 * TERMINATOR_OHM),
    )


def _compare(case: Case) -> Choice:
    return Choice(
        f"{case.id}.compare", "Compare", READ, case,
        "What does the reading say?",
        (
            Option("good", "the line is as it should be",
                   "{measured} Ω against {whole:.1f} Ω, {deviates:+.0%}.",
                   lambda n: n.state == "good", "S08",
                   "Is {measured} Ω more or less than your value of the whole line, or near it?"),
            Option("one missing", "a terminator is missing, or it is open",
                   "{measured} Ω against {whole:.1f} Ω, {deviates:+.0%}.",
                   lambda n: n.state == "one missing", "S08",
                   "Is {measured} Ω more or less than your value of the whole line, or near it?"),
            Option("one too many", "there is one terminator too many",
                   "{measured} Ω against {whole:.1f} Ω, {deviates:+.0%}.",
                   lambda n: n.state == "one too many", "M33",
                   "Is {measured} Ω more or less than your value of the whole line, or near it?"),
        ),
        Hints(
            "Look whether the reading is higher or lower than it should be.",
            "Higher: something is missing. Lower: something is too much.",
            WORKED[3],
        ),
    )


CHAINS, CHAIN_ITEMS = faded(BUS_CASES, (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- readings as a drill

MEANINGS = ("good", "terminator missing or open", "one too many", "short, or no bias",
            "A and B swapped")


def _readings(numbers: SimpleNamespace) -> Mapping[str, object]:
    whole = line_resistance_ohm(numbers.length_m)
    missing = line_resistance_ohm(numbers.length_m, far=0)
    three = line_resistance_ohm(numbers.length_m, near=2)
    kinds = {
        "good": (whole, idle_voltage_mv(whole)),
        "terminator missing or open": (missing, idle_voltage_mv(missing)),
        "one too many": (three, idle_voltage_mv(three)),
        "short, or no bias": (0.0, 0.0),
        "A and B swapped": (whole, -idle_voltage_mv(whole)),
    }
    found = {"whole": whole}
    for place, kind in enumerate(numbers.kinds, 1):
        found[f"ohm{place}"], found[f"mv{place}"] = kinds[kind]
    return found


ROTATED = tuple(tuple(MEANINGS[(i + shift) % 5] for i in (0, 2, 4, 1)) for shift in range(5))
QUESTIONS = {
    "good": ("S08", "Do both fit: the resistance of this length, and the sign of the voltage?"),
    "terminator missing or open": ("S08", "Is the reading above or below the good one?"),
    "one too many": ("M33", "Is the reading above or below the good one?"),
    "short, or no bias": ("M32", "Is there a voltage, of whichever sign?"),
    "A and B swapped": ("M32", "Which sign has the voltage between A and B?"),
}
READINGS = Table(
    "10-readings", "Drill: what does the meter say?", READ,
    Case(
        "10-readings",
        "A bus of {length_m} m: two terminators of 120 Ω, copper 168 Ω per km, bias of 560 Ω at "
        "each wire on 5 V.\n"
        "line 1: {ohm1:.0f} Ω, idle {mv1:+.0f} mV; line 2: {ohm2:.0f} Ω, idle {mv2:+.0f} mV;\n"
        "line 3: {ohm3:.0f} Ω, idle {mv3:+.0f} mV; line 4: {ohm4:.0f} Ω, idle {mv4:+.0f} mV",
        {"length_m": (870.0, 540.0, 700.0, 1000.0), "kinds": ROTATED}, _readings,
    ),
    "What does each pair of readings say?",
    ("line 1", "line 2", "line 3", "line 4"), ("meaning",),
    {
        (f"line {i + 1}", "meaning"): Pick(
            MEANINGS, functools.partial(lambda i, n: n.kinds[i], i), QUESTIONS)
        for i in range(4)
    },
    "resistance counts the terminators, and the sign of the voltage tells A from B.",
    Hints(
        "Look at the resistance first, then at the sign of the voltage.",
        "Good is {whole:.0f} Ω here. Above: missing. Below: too many. Zero: short.",
        "line 1: {kinds[0]}; line 2: {kinds[1]}; line 3: {kinds[2]}; line 4: {kinds[3]}.",
    ),
    corner="line",
    kept=False,
)

# ---------------------------------------------------------------- votes

VOTES = (
    Choice(
        "10-vote-blind", "For voting: the panel gives no data", FIND,
        _lamp_case("vote-blind", "WF4: cut"),
        "The night shift sees nothing. What is safe to say?",
        (
            Option("look", "Control may go on: look at the lamps in the hall",
                   "the panel bus takes away see and act, and no control.", True),
            Option("stop", "Control has stopped: shut the water off by hand",
                   f"{STOP_HERE} WRITER is lit in the hall. Who writes the racks?",
                   misconception="M16"),
            Option("boost", "It cannot be the repeater, for it only boosts",
                   "Everything behind it is in series with it. What does it feed?",
                   misconception="M16"),
        ),
        Hints(
            "Look at what the panel bus carries.",
            "See and act is one function, control is another.",
            "KF1 shows ACTIVE, WRITER is lit: control goes on while the panel is blind.",
        ),
        voting=True,
    ),
    Choice(
        "10-vote-terminator", "For voting: errors on the bus", READ,
        Case("10-vote-terminator",
             "A bus line of {length_m} m has frames with errors. Two terminators are fitted, and "
             "the meter reads {whole:.0f} Ω.",
             {"length_m": (870.0, 540.0, 700.0)},
             lambda n: {"whole": line_resistance_ohm(n.length_m),
                        "three": line_resistance_ohm(n.length_m, near=2)}),
        "Does a third terminator help?",
        (
            Option("no", "No: the line is well terminated, look elsewhere",
                   "with two the line reads {whole:.0f} Ω, as it should.", True),
            Option("yes", "Yes: more terminators swallow more echoes",
                   "With three it reads {three:.0f} Ω. Which load is the driver made for?",
                   misconception="M33"),
            Option("desk", "Yes: {whole:.0f} Ω is too high, it should be 60 Ω",
                   "60 Ω is a line without length. What does the copper add?",
                   misconception="S08"),
        ),
        Hints(
            "Look at what this length should read.",
            "Two terminators, one at each end; add the copper.",
            "{whole:.0f} Ω is right for {length_m} m; a third one gives {three:.0f} Ω.",
        ),
        voting=True,
    ),
)

# ---------------------------------------------------------------- the page to keep

SYMPTOMS = {
    "panel: no data, hall: KF1 ACTIVE": BLIND_SIGNS,
    "KF1 ALONE, KF2 all dark": {
        "KF1 ALONE": "yellow", "KF2 READY": "dark", "KF2 FAILED": "dark", "KF2 LOADING": "dark"},
    "two crosses at KF10, KF1 ACTIVE": {
        "KF10A LINK": "yellow", "KF10B LINK": "yellow", "KF20A LINK": "green",
        "KF1 ACTIVE": "green"},
}
SUSPECTS = ("TF1: no power", "KF2: stopped", "KF2: no power", "KF10: module fault",
            "WF1+WF2: cut", "PH1: dark")
FIRST_CHECKS = ("alarm list", "lamps of TF1", "lamps of KF2", "lamps of PH1",
                "record of the pair", "resistance of WF3")


@functools.cache
def _first_suspect(symptom: str) -> str:
    return finder().suspects(SYMPTOMS[symptom])[0].cause


@functools.cache
def _first_check(symptom: str) -> str:
    return finder().next_checks(SYMPTOMS[symptom])[0].name


PAGE = Table(
    "10-page", "Fault-finding page", FILL, Case("10-page"),
    "One row for each symptom. The fault finder of the plant gave its shares in the cell above.",
    tuple(SYMPTOMS), ("first suspect", "first check", "do not, and way back"),
    {
        **{
            (row, "first suspect"): Pick(
                SUSPECTS, functools.partial(lambda row, n: _first_suspect(row), row),
                {
                    "PH1: dark": ("M32", "Which lamp of a dark panel could be yellow?"),
                    "WF1+WF2: cut": ("M26", "How often is this duct cut, and how often fails "
                                            "what else both share?"),
                    "KF2: no power": ("M32", "Which of the two has the larger share above?"),
                },
            )
            for row in SYMPTOMS
        },
        **{
            (row, "first check"): Pick(
                FIRST_CHECKS, functools.partial(lambda row, n: _first_check(row), row),
                {
                    "resistance of WF3": (
                        "M33", "How many minutes does it take, and what does a walk tell?"),
                    "lamps of KF2": ("M16", "Which check has more bits a minute above?"),
                },
            )
            for row in SYMPTOMS
        },
        ("panel: no data, hall: KF1 ACTIVE", "do not, and way back"): Free(
            "Do not stop the plant, and reset nothing before the record is read. Way back: "
            "supply on, both FRAMES count, DATA green, time and cause written down.",
            ("says what must not be done", "says how normal is recognised", "says what to note"),
        ),
    },
    "each row starts from what is seen, and its first check is the one that tells most.",
    Hints(
        "Look at the shares and at the bits a minute in the cell above.",
        "First suspect: the largest share. First check: the most bits a minute.",
        "Read row by row: the first line of suspects, the first line of checks.",
    ),
    corner="symptom",
)

# ---------------------------------------------------------------- fault drills

FIRST_NAMES = ("10-first", "10-second", "10-third", "10-fourth")
DRILLS = (
    *(
        Drill(name, f"Commented drill: {family}", FIND,
              SceneCase(name, families=(family,), kinds=("one",)), commented=True)
        for name, family in zip(FIRST_NAMES, FAMILIES, strict=True)
    ),
    Drill("10-drill", "Fault drill", FIND, SceneCase("10-drill", families=tuple(FAMILIES))),
)

LESSON = Lesson(
    "10",
    "Reading lamps and lines",
    (
        *RECALL, BLIND, LAMP, DUCT, NEXT, *VOTES,
        *CHAIN_ITEMS,
        READINGS, PAGE,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
    DRILLS,
)
