"""Lesson 02, chains and shared parts: which parts stop the plant alone?"""

from __future__ import annotations

import functools
import math
from types import SimpleNamespace

from labkit.availability.blocks import Block
from labkit.availability.parts import Part, at_least, parallel, series
from labkit.markov.pair import redundant_pair
from labkit.plant.plant import load_plant
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import against_bound, faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.numeric import Fingerprint, Numeric, Rough
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.table import Free, Pick, Table
from lessons.pictures.block_diagrams import block_diagram, block_words, ways_diagram

__all__ = ["LESSON"]

CALCULATE = "calculate MTBF and down time of chains, twins and k out of n"
FIND = "find the parts that stop a function alone, shared feeds included"
FILL = "fill in the cut-set list of two functions of a plant"

CONTROL, EYE = "control kept", "see and act"


def _minutes(block: Block) -> float:
    """Down time of a block in minutes a year."""
    return float(block.downtime_h_per_year * 60)


@functools.cache
def _works(function: str, *broken: str) -> bool:
    """Whether a function of the plant as built works with some parts out."""
    return load_plant().state(broken).works[function]


def _said(broken: str) -> str:
    states = [f"{f} {'works' if _works(f, broken) else 'is lost'}" for f in (CONTROL, EYE)]
    return f"{broken} out: {', '.join(states)}"


# ---------------------------------------------------------------- recall

RECALL_CASE = Case(
    "02-one", "A level sensor has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h.",
    {"mtbf_h": (150_000.0, 120_000.0, 90_000.0), "mttr_h": (3.0, 5.0, 8.0)},
    lambda n: {
        "part": Part("BL1", mtbf_h=n.mtbf_h, mttr_h=n.mttr_h),
        "per_a": HOURS_PER_YEAR / (n.mtbf_h + n.mttr_h),
    },
)
RECALL = (
    Numeric(
        "02-recall-down", "From lesson 01: down time", CALCULATE, RECALL_CASE,
        "How long is it down in a year on the average?", "min/a",
        lambda n: _minutes(n.part),
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
        "02-recall-mtbf", "From lesson 01: the MTBF", CALCULATE, Case("02-recall-mtbf"),
        "A cable has an MTBF of 400 000 h. Which statement is safe?",
        (
            Option("rate", "It fails at a rate of 1/400 000 per hour",
                   "an MTBF is a failure rate turned over.", True),
            Option("life", "It lasts for about 45 years, then it fails",
                   "Is 400 000 h a date of failure, or a mean over many failures?",
                   misconception="M01"),
            Option("quiet", "A hall with 50 of them has years of peace",
                   "50 cables have 50 times the rate. How many failures a year is that?",
                   misconception="M02"),
        ),
        Hints(
            "Look at what kind of number an MTBF is.",
            "Failure rate = 1 / MTBF.",
            "1/400 000 per hour, in each year of its useful life.",
        ),
    ),
    Choice(
        "02-recall-patterns", "From lesson 01: one number, many patterns", CALCULATE,
        Case("02-recall-patterns"),
        "Two feeders are both available for 99.99 % of the time. What do they share?",
        (
            Option("time", "The time down in a year, about 53 min",
                   "availability fixes the time down, and nothing else.", True),
            Option("stops", "The number of stops in a year",
                   "53 min can be one stop or 53 stops of 1 min. Which is it?",
                   misconception="M03"),
            Option("year", "The chance of a year without any stop",
                   "One stop a year or 53 stops a year: is the chance of none the same?",
                   misconception="M03"),
        ),
        Hints(
            "Look at what availability counts.",
            "Availability is the share of time up.",
            "0.01 % of 8760 h is about 53 min a year, in whatever pattern.",
        ),
    ),
)

# ---------------------------------------------------------------- prediction

OUT = ("KF1", "WF1.10", "WF9", "TB1", "TF1")

PREDICTION = Prediction(
    "02-alone", "Predict first", FIND,
    Case(
        "02-alone",
        "Brackenquay as built: controllers KF1 and KF2, sync cable WF9 between them. Link A goes "
        "from KF1 to the racks, link B from KF2. One 24 V supply, TB1, feeds both.",
    ),
    "One part is out, all others are good. Which one takes control away?",
    (
        Option("KF1", "KF1, the controller that leads", right=lambda n: not _works(CONTROL, "KF1"),
               misconception="M35"),
        Option("WF1.10", "WF1.10, link A to the intake pumps",
               right=lambda n: not _works(CONTROL, "WF1.10"), misconception="M36"),
        Option("TB1", "TB1, the supply of both controllers",
               "Both controllers hang on the one supply in front of them.",
               lambda n: not _works(CONTROL, "TB1")),
        Option("nothing", "nothing alone, since each has a twin",
               right=lambda n: all(_works(CONTROL, part) for part in OUT), misconception="M15"),
    ),
    (
        Statement("sync", "With WF9 cut, control was lost.",
                  lambda n: not _works(CONTROL, "WF9")),
        Statement("link", "With WF1.10 cut, the racks were still controlled.",
                  lambda n: _works(CONTROL, "WF1.10")),
        Statement("eye", "With TF1 out, control went on and no message reached the panel.",
                  lambda n: _works(CONTROL, "TF1") and not _works(EYE, "TF1")),
    ),
    lambda n: "\n".join(map(_said, OUT)),
    "One at a time: KF1 no power, WF1.10 cut, WF9 cut, TB1 off, TF1 no power. Read control kept "
    "and see and act, then press All faults off.",
    Hints(
        "Follow the current: what feeds each box?",
        "A part stops the function alone if every way leads through it.",
        "Both controllers take their voltage from TB1; KF1 and WF1.10 each have a twin.",
    ),
)

# ---------------------------------------------------------------- chains


def _three(numbers: SimpleNamespace) -> dict[str, object]:
    parts = [
        Part(name, mtbf_h=mtbf_h, mttr_h=numbers.mttr_h)
        for name, mtbf_h in zip(
            ("sensor", "rack", "interface"),
            (numbers.sensor_h, numbers.rack_h, numbers.interface_h),
            strict=True,
        )
    ]
    each = [_minutes(part) for part in parts]
    return {
        "all": _minutes(series(*parts)), "mean": sum(each) / 3, "worst": max(each),
        "sensor_min": each[0], "rack_min": each[1], "interface_min": each[2],
    }


CHAIN_DOWN = Numeric(
    "02-chain-down", "Three parts in a chain", CALCULATE,
    Case(
        "02-chain-down",
        "The level reaches the controller through three parts: the sensor BL1 (MTBF {sensor_h} h), "
        "the rack KF20 ({rack_h} h) and its interface ({interface_h} h). Each MTTR is {mttr_h} h.",
        {
            "sensor_h": (150_000.0, 100_000.0, 80_000.0),
            "rack_h": (110_000.0, 90_000.0, 140_000.0),
            "interface_h": (220_000.0, 180_000.0, 260_000.0),
            "mttr_h": (3.0, 4.0, 6.0, 8.0),
        },
        _three,
    ),
    "How long is the way down in a year on the average?", "min/a",
    lambda n: n.all,
    "the way needs all three, so that each of them adds its own down time.",
    Hints(
        "Look at step Sketch: three boxes in a row, and all of them are needed.",
        "Availabilities multiply; while they are close to 1 the down times add.",
        "{sensor_min:.1f} + {rack_min:.1f} + {interface_min:.1f} = {all:.1f} min a year.",
    ),
    (
        Fingerprint(
            "M04", lambda n: n.mean,
            "That is the mean of the three down times. Is the way up while one of them is down?",
        ),
        Fingerprint(
            "M06", lambda n: n.worst,
            "That is the down time of one part. Do the two others never fail?",
        ),
    ),
    rough=Rough(
        10, 200, "min/a",
        "The way is down at least as long as its worst part, and that is 10 min or more.",
    ),
)

CHAIN_MTBF = Numeric(
    "02-chain-mtbf", "How often a chain stops", CALCULATE,
    Case(
        "02-chain-mtbf",
        "A controller (MTBF {one_h} h) and a rack (MTBF {two_h} h) stand in a chain.",
        {
            "one_h": (60_000.0, 45_000.0, 80_000.0, 120_000.0),
            "two_h": (90_000.0, 110_000.0, 150_000.0, 70_000.0),
        },
        lambda n: {
            "sum": n.one_h + n.two_h, "mean": (n.one_h + n.two_h) / 2,
            "small": min(n.one_h, n.two_h),
            "together": float(series(
                Part("controller", mtbf_h=n.one_h, mttr_h=4),
                Part("rack", mtbf_h=n.two_h, mttr_h=3),
            ).mean_up_time_h),
        },
    ),
    "What is the MTBF of the chain?", "h",
    lambda n: n.together,
    "failure rates add, and one over the sum is the MTBF of the chain.",
    Hints(
        "Look at how many failures a year each of them brings.",
        "1/MTBF of the chain = 1/MTBF of the one + 1/MTBF of the other.",
        "1 / (1/{one_h} + 1/{two_h}) = {together:.0f} h.",
    ),
    (
        Fingerprint(
            "M05", lambda n: n.sum,
            "{sum} h is longer than either part runs. How can a chain stop less often than its "
            "weakest part?",
        ),
        Fingerprint(
            "M05", lambda n: n.mean,
            "That is the mean of both. Does a chain with {small} h in it run longer than that?",
        ),
        Fingerprint(
            "M06", lambda n: n.small,
            "{small} h is the weaker part alone. Does the other one never fail?",
        ),
    ),
    rough=Rough(
        10_000, 70_000, "h", "A chain stops more often than its weakest part.",
    ),
)

NINES = Numeric(
    "02-nines", "Many good parts", CALCULATE,
    Case(
        "02-nines",
        "A hall needs all of {count} parts. Each is available for {percent:.2f} % of the time.",
        {"count": (20, 12, 30, 50), "percent": (99.99, 99.98, 99.95)},
        lambda n: {
            "one_h": (1 - n.percent / 100) * HOURS_PER_YEAR,
            "down_h": (1 - (n.percent / 100) ** n.count) * HOURS_PER_YEAR,
        },
    ),
    "How long is the hall down in a year on the average?", "h/a",
    lambda n: n.down_h,
    "every part that is needed costs its own share.",
    Hints(
        "Look at how many parts have to be good at one moment.",
        "Availability of the hall = {percent:.2f} %, taken {count} times as a factor.",
        "8760 h × (1 - {percent:.2f} %^{count}) = {down_h:.1f} h a year.",
    ),
    (
        Fingerprint(
            "M06", lambda n: n.one_h,
            "That is the down time of one part. What do the others add?",
        ),
    ),
)

# ---------------------------------------------------------------- how many are needed


def _pumps(numbers: SimpleNamespace) -> dict[str, float]:
    pumps = [Part(name, mtbf_h=numbers.mtbf_h, mttr_h=numbers.mttr_h) for name in ("GP1", "GP2")]
    return {
        "single_h": pumps[0].downtime_h_per_year,
        "share": pumps[0].unavailability,
        "both_h": at_least(2, *pumps).downtime_h_per_year,
        "one_min": _minutes(at_least(1, *pumps)),
    }


PUMPS = Case(
    "02-pumps",
    "Two intake pumps, GP1 and GP2, fail independently. Each has an MTBF of {mtbf_h} h and an "
    "MTTR of {mttr_h} h.",
    {"mtbf_h": (25_000.0, 20_000.0, 30_000.0, 16_000.0), "mttr_h": (12.0, 8.0, 24.0, 36.0)},
    _pumps,
)
NEEDED = (
    Numeric(
        "02-both-needed", "Two pumps, both needed", CALCULATE, PUMPS,
        "At spring tide both are needed. How long is the flow down in a year?", "h/a",
        lambda n: float(n.both_h),
        "both needed means a chain: either pump stops it.",
        Hints(
            "Look at step Sketch: may one pump stand in for the other?",
            "Both needed: the down times of both add.",
            "2 × {single_h:.2f} h, less the time both are down: {both_h:.2f} h a year.",
        ),
        (
            Fingerprint(
                "M31", lambda n: n.one_min / 60,
                "That is the time in which both are down. Is the flow there with one pump down?",
            ),
            Fingerprint(
                "M06", lambda n: float(n.single_h),
                "That is the down time of one pump. What does the other one add?",
            ),
        ),
    ),
    Numeric(
        "02-one-needed", "Two pumps, one needed", CALCULATE, PUMPS,
        "In calm weather one is enough. How long is the flow down in a year?", "min/a",
        lambda n: n.one_min,
        "one needed means that both have to be down at the same moment.",
        Hints(
            "Look at step Sketch: which pumps have to be down for the flow to stop?",
            "One needed: the shares of time down multiply.",
            "{share:.2e} × {share:.2e} × 8760 h × 60 = {one_min:.3g} min a year.",
        ),
        (
            Fingerprint(
                "M31", lambda n: float(n.both_h * 60),
                "That is the time in which either is down. Does the flow stop with one pump down?",
            ),
            Fingerprint(
                "M31", lambda n: float(n.single_h * 60),
                "That is the time in which GP1 is down. Where is GP2 in that time?",
            ),
        ),
        rough=Rough(
            0.01, 60, "min/a",
            "It is a small share of a small share: far below the time of one pump.",
        ),
    ),
)

# ---------------------------------------------------------------- shared parts


def _shared(numbers: SimpleNamespace) -> dict[str, object]:
    supply = Part("TB1", mtbf_h=numbers.supply_h, mttr_h=numbers.supply_mttr_h)
    units = [Part(name, mtbf_h=numbers.unit_h, mttr_h=4) for name in ("KF1", "KF2")]
    places = series(supply, units[0]).unavailability ** 2
    return {
        "exact": _minutes(series(supply, parallel(*units))),
        "supply_min": _minutes(supply),
        "places_min": places * HOURS_PER_YEAR * 60,
        "one_way_min": _minutes(series(supply, units[0])),
        "unit_min": _minutes(units[0]),
        "pair_min": _minutes(parallel(*units)),
        "all_min": _minutes(series(supply, *units)),
    }


SHARED = Numeric(
    "02-shared", "One supply for two", CALCULATE,
    Case(
        "02-shared",
        "Two controllers (MTBF {unit_h} h, MTTR 4 h), one is enough. Both are fed by one supply "
        "(MTBF {supply_h} h, MTTR {supply_mttr_h} h). Takeovers always work here.",
        {
            "unit_h": (60_000.0, 45_000.0, 90_000.0),
            "supply_h": (250_000.0, 180_000.0, 320_000.0),
            "supply_mttr_h": (3.0, 6.0, 9.0),
        },
        _shared,
    ),
    "How long is control down in a year on the average?", "min/a",
    lambda n: n.exact,
    "the supply stands in series with the pair, and makes nearly all of the down time.",
    Hints(
        "Look at step Sketch: how often may one supply stand in the diagram?",
        "Draw the supply once, in series with two controllers in parallel.",
        "Supply {supply_min:.2f} min a year, and the pair behind it next to nothing.",
    ),
    (
        Fingerprint(
            "M15", lambda n: n.places_min,
            "That squares a whole way, with a supply in each. How many supplies does the hall "
            "have?",
        ),
        Fingerprint(
            "M31", lambda n: n.one_way_min,
            "That is the down time of one way. Does control stop when one controller is out?",
        ),
        Fingerprint(
            "M31", lambda n: n.all_min,
            "That adds all 3 boxes. Does control stop when 1 of the 2 controllers is out?",
        ),
        Fingerprint(
            "M31", lambda n: n.unit_min,
            "That is 1 controller alone. Where is the other one, and what feeds both?",
        ),
        Fingerprint(
            "M15", lambda n: n.pair_min,
            "That is the pair alone. What happens to both while the 1 supply is down?",
        ),
    ),
)


def _eye(numbers: SimpleNamespace) -> dict[str, float]:
    cables = [Part(name, mtbf_h=800_000, mttr_h=6) for name in ("WF3", "WF4")]
    panel = Part("PH1", mtbf_h=numbers.panel_h, mttr_h=8)
    repeater = Part("TF1", mtbf_h=numbers.repeater_h, mttr_h=numbers.repeater_mttr_h)
    return {
        "all_min": _minutes(series(*cables, panel, repeater)),
        "without_min": _minutes(series(*cables, panel)),
        "panel_min": _minutes(panel), "repeater_min": _minutes(repeater),
        "cables_min": _minutes(series(*cables)),
    }


EYE_DOWN = Numeric(
    "02-eye", "The way to the eye", FIND,
    Case(
        "02-eye",
        "The panel PH1 (MTBF {panel_h} h, MTTR 8 h) sees the hall through two cables and a "
        "repeater between them. Each cable: 800 000 h, 6 h. The repeater: {repeater_h} h, "
        "{repeater_mttr_h} h.",
        {
            "panel_h": (45_000.0, 60_000.0, 80_000.0),
            "repeater_h": (180_000.0, 120_000.0, 90_000.0),
            "repeater_mttr_h": (5.0, 8.0, 12.0),
        },
        _eye,
    ),
    "How long is the view of the hall lost in a year?", "min/a",
    lambda n: n.all_min,
    "the repeater is in series with all that lies behind it.",
    Hints(
        "Follow one message from the hall to the eye, box by box.",
        "All boxes on the way are in series: their down times add.",
        "{panel_min:.1f} + {cables_min:.1f} + {repeater_min:.1f} = {all_min:.1f} min a year.",
    ),
    (
        Fingerprint(
            "M16", lambda n: n.without_min,
            "That leaves the repeater out. What reaches the panel while the repeater is dead?",
        ),
        Fingerprint(
            "M06", lambda n: n.panel_min,
            "That is the panel alone. What else lies between the hall and the eye?",
        ),
    ),
)

WALK = Order(
    "02-walk", "Order the search for single points", FIND, Case("02-walk"),
    "You look for all parts that stop a function alone. Bring the steps into order.",
    (
        "Name the function that is to be kept",
        "Follow one signal from the sensor to the actuator",
        "Add what feeds and what cools each box on that way",
        "Draw in series what is needed, in parallel what stands in",
        "List each part and each small set that cuts every way",
        "Try each part of the list at the rig, one at a time",
    ),
    "the list is only as good as the way that was followed, feeds included.",
    Hints(
        "Look for what must be known before the next step can start.",
        "Function, way, feeds, diagram, list, trial: nobody draws what was not followed.",
        "Name it, follow the signal, add the feeds, draw, list the cuts, try them.",
    ),
    {
        (2, 3): ("M15", "Which boxes does a diagram lack that was drawn before the feeds?"),
        (3, 4): ("M15", "From which diagram does a list come that is written first?"),
    },
)

# ---------------------------------------------------------------- faded chains


def _turn(numbers: SimpleNamespace) -> dict[str, object]:
    units = [Part(name, mtbf_h=numbers.unit_h, mttr_h=numbers.unit_mttr_h) for name in "12"]
    shared = Part("shared", mtbf_h=numbers.shared_h, mttr_h=numbers.shared_mttr_h)
    group, other = at_least(numbers.needed, *units), at_least(3 - numbers.needed, *units)
    whole = series(shared, group)
    return {
        "need": {1: "one of them is enough", 2: "both of them are needed"}[numbers.needed],
        "group": {1: "in parallel", 2: "in series"}[numbers.needed],
        "unit_min": _minutes(units[0]),
        "shared_min": _minutes(shared),
        "group_min": _minutes(group),
        "other_min": _minutes(series(shared, other)),
        "whole_min": _minutes(whole),
        "inside": _minutes(whole) <= numbers.bound_min,
        "stands": "inside" if _minutes(whole) <= numbers.bound_min else "outside",
    }


def _turn_case(name: str, units: str, shared: str, numbers: dict[str, tuple]) -> Case:
    return Case(
        f"02-{name}",
        f"Two {units} (MTBF {{unit_h}} h, MTTR {{unit_mttr_h}} h); {{need}}. Both hang on one "
        f"{shared} (MTBF {{shared_h}} h, MTTR {{shared_mttr_h}} h). The manager accepts "
        "{bound_min} min down a year.",
        numbers,
        _turn,
    )


EXAMPLE = _turn_case(
    "worked", "intake pumps", "rack",
    {
        "unit_h": (25_000.0, 20_000.0), "unit_mttr_h": (12.0, 24.0), "needed": (1, 2),
        "shared_h": (110_000.0, 90_000.0), "shared_mttr_h": (3.0, 5.0), "bound_min": (60.0, 10.0),
    },
)
TURNS = (
    _turn_case(
        "turn-1", "blowers", "rack",
        {
            "unit_h": (30_000.0, 24_000.0), "unit_mttr_h": (8.0, 12.0), "needed": (1, 2),
            "shared_h": (110_000.0, 80_000.0), "shared_mttr_h": (3.0, 8.0),
            "bound_min": (10.0, 60.0),
        },
    ),
    _turn_case(
        "turn-2", "oxygen probes", "UPS",
        {
            "unit_h": (30_000.0, 40_000.0, 25_000.0), "unit_mttr_h": (2.0, 4.0),
            "needed": (2, 1), "shared_h": (80_000.0, 64_000.0), "shared_mttr_h": (8.0, 6.0),
            "bound_min": (120.0, 90.0),
        },
    ),
    _turn_case(
        "turn-3", "operator panels", "bus repeater",
        {
            "unit_h": (45_000.0, 60_000.0, 36_000.0), "unit_mttr_h": (8.0, 24.0),
            "needed": (1, 2), "shared_h": (180_000.0, 120_000.0), "shared_mttr_h": (5.0, 12.0),
            "bound_min": (30.0, 240.0),
        },
    ),
)
WORKED = (
    "two boxes {group}, and the shared one once, in series with them.",
    "shared: 8760 / ({shared_h} + {shared_mttr_h}) × {shared_mttr_h} h = {shared_min:.1f} min; "
    "each of the two {unit_min:.1f} min a year.",
    "two boxes {group}: {group_min:.3g} min; with the shared one {whole_min:.1f} min a year.",
    "{whole_min:.1f} min a year against the bound of {bound_min} min a year: {stands}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", FIND, case,
        "Which block diagram fits?",
        (
            Option(
                "one", "both in parallel, and the shared one in series",
                "{need}, and everything hangs on the shared one.",
                lambda n: n.needed == 1, "M31",
                "The task says: {need}. May the function go on with 1 of the two down?",
            ),
            Option(
                "both", "both in series, and the shared one in series",
                "{need}, and everything hangs on the shared one.",
                lambda n: n.needed == 2, "M31",
                "The task says: {need}. Does the function stop with 1 of the two down?",
            ),
            Option(
                "ways", "two ways in parallel, a shared one in each",
                "The task names 1 shared part. How many does this sketch show?",
                misconception="M15",
            ),
        ),
        Hints(
            "Look at how many of the two are needed, then at what feeds both.",
            "Needed: in series. Stands in: in parallel. A part is drawn once.",
            "The two stand {group}; the shared one stands once, in series.",
        ),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", CALCULATE, case,
        "No diagram can be better than its shared part. How long is that part alone down?",
        "min/a",
        lambda n: n.shared_min,
        "what stands in series sets the least down time of the whole.",
        Hints(
            "Look at the shared part alone.",
            "Down time a year = 8760 h / (MTBF + MTTR) × MTTR.",
            WORKED[1],
        ),
        (
            Fingerprint(
                "S02", lambda n: n.shared_mttr_h * 60,
                "That is one repair. Is there one in every year?",
            ),
            Fingerprint(
                "M06", lambda n: n.unit_min,
                "That is one of the two. Which part do both of them hang on?",
            ),
        ),
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CALCULATE, case,
        "How long is the function down in a year on the average?", "min/a",
        lambda n: n.whole_min,
        "the two as a group, and the shared part in series with it.",
        Hints(
            "Look at the group of two first, then add the shared part.",
            "Series: down times add. Parallel: shares of time down multiply.",
            WORKED[2],
        ),
        (
            Fingerprint(
                "M31", lambda n: n.other_min,
                "Here {need}. For which number of needed ones does that result hold?",
            ),
            Fingerprint(
                "M15", lambda n: n.group_min,
                "That is the group of two. What happens to both when the shared part is down?",
            ),
        ),
        follows=f"{case.id}.sort",
        solve_from=lambda n, shared_min: shared_min + n.group_min,
    )


def _compare(case: Case) -> Choice:
    return against_bound(
        case, CALCULATE, result="{whole_min:.1f} min", bound="{bound_min} min a year",
        inside=lambda n: n.inside, errors=("M31", "M15"), route=WORKED[3],
        third=Option(
            "twins", "inside whatever the number, for there are two",
            "How many of the {bound_min} min does the part that both share take alone?",
            misconception="M15",
        ),
    )


CHAINS, CHAIN_ITEMS = faded((EXAMPLE, *TURNS), (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drills


def _group(numbers: SimpleNamespace) -> dict[str, object]:
    count, needed = numbers.group
    parts = [
        Part(str(i), mtbf_h=numbers.mtbf_h, mttr_h=numbers.mttr_h) for i in range(count)
    ]
    share = parts[0].unavailability
    return {
        "count": count, "needed": needed, "share": share, "least": count - needed + 1,
        "patterns": math.comb(count, needed - 1),
        "min": _minutes(at_least(needed, *parts)), "one_min": _minutes(parts[0]),
        "all_min": _minutes(series(*parts)),
        "first": "All of them have" if needed == count
        else "At least 1 of them has" if needed == 1 else f"At least {needed} of them have",
    }


DRILL = Numeric(
    "02-drill", "Drill: k out of n", CALCULATE,
    Case(
        "02-drill",
        "There are {count} {what} with an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h each. "
        "{first} to work. They fail independently.",
        {
            "group": ((3, 2), (2, 1), (4, 3), (3, 3), (4, 2)),
            "what": ("oxygen probes", "pumps", "blowers"),
            "mtbf_h": (25_000.0, 30_000.0, 18_000.0, 40_000.0),
            "mttr_h": (72.0, 120.0, 168.0),
        },
        _group,
    ),
    "How long is the function down in a year on the average?", "min/a",
    lambda n: n.min,
    "with {least} of {count} down at one moment it stops.",
    Hints(
        "Look at how many may be down before the function stops.",
        "While shares are small: number of patterns with {least} down × share of one^{least}.",
        "{patterns} × {share:.2e}^{least} × 8760 h × 60 is about {min:.3g} min a year.",
    ),
    (
        Fingerprint(
            "M06", lambda n: n.one_min,
            "That is one part. How many of the {count} are needed at the same moment?",
        ),
        Fingerprint(
            "M31",
            lambda n: n.all_min if n.needed < n.count else n.share**n.count * HOURS_PER_YEAR * 60,
            "That answers another task: here {needed} of {count} have to work. How many may be "
            "down?",
        ),
    ),
)

# Each diagram with four sets of parts, of which exactly one is a minimal cut set.
SHAPES = {
    "A-(B|C)-D": (
        lambda a, b, c, d: series(a, parallel(b, c), d), ("B", "BC", "AB", "AD"),
    ),
    "(A-B|C)-D": (
        lambda a, b, c, d: series(parallel(series(a, b), c), d), ("AB", "C", "AC", "CD"),
    ),
    "(A|B)-(C|D)": (
        lambda a, b, c, d: series(parallel(a, b), parallel(c, d)), ("CD", "AC", "B", "ABC"),
    ),
    "A-B-(C|D)": (
        lambda a, b, c, d: series(a, b, parallel(c, d)), ("C", "AC", "AB", "B"),
    ),
    "(A-B|C-D)": (
        lambda a, b, c, d: parallel(series(a, b), series(c, d)), ("AB", "ABC", "D", "AD"),
    ),
}
PLACES = ("one", "two", "three", "four")


def _shaped(numbers: SimpleNamespace) -> dict[str, object]:
    names = dict(zip("ABCD", numbers.names, strict=True))
    build, letters = SHAPES[numbers.shape]
    block = build(*(Part(names[key], mtbf_h=50_000, mttr_h=5) for key in "ABCD"))
    named = [[names[key] for key in some] for some in letters]
    sets = dict(zip(PLACES, named, strict=True))
    cuts = block.minimal_cut_sets()

    def reply(some: list[str]) -> str:
        down = " and ".join(some)
        if frozenset(some) in cuts:
            return f"with {down} down no way leads through, and each of them is needed for that."
        if any(cut < frozenset(some) for cut in cuts):
            return (
                f"With {down} down 0 ways are open. Repair one of them on paper: after which repair "
                "are there still 0?"
            )
        return f"With {down} down, follow each way to its end. How many are open: 0, or more?"

    return {
        "block": block, "words": block_words(block),
        "right": {place for place, some in sets.items() if frozenset(some) in cuts},
        **{f"said_{place}": " and ".join(some) for place, some in sets.items()},
        **{f"reply_{place}": reply(some) for place, some in sets.items()},
        "listed": "; ".join(" and ".join(sorted(cut)) for cut in cuts),
    }


def _cut_option(place: str) -> Option:
    said = f"{{said_{place}}}"
    return Option(
        place, f"{said} down, the others good",
        f"{{reply_{place}}}",
        lambda n: place in n.right, "M31",
    )


DRILL_CUTS = Choice(
    "02-drill-cuts", "Drill: read the cut sets", FIND,
    Case(
        "02-drill-cuts",
        "Block diagram: {words}.",
        {
            "shape": tuple(SHAPES),
            "names": (
                ("TB1", "KF1", "KF2", "BL1"), ("GB1", "GP1", "GP2", "KF10"),
                ("KF20", "QN1", "QN2", "BL1"), ("TF1", "WF1", "WF2", "PH1"),
            ),
        },
        _shaped,
        lambda n: block_diagram(n.block).svg,
    ),
    "Exactly one of these is a minimal cut set: it stops the function, and it needs each of its "
    "parts for that. Which one?",
    tuple(map(_cut_option, PLACES)),
    Hints(
        "Follow the wire from left to right with a pencil.",
        "A cut set blocks every way; minimal means that each part of it is needed for that.",
        "The minimal cut sets here: {listed}.",
    ),
)

# ---------------------------------------------------------------- votes


def _average(numbers: SimpleNamespace) -> dict[str, float]:
    one, two, three = numbers.shares
    return {
        "one": one, "two": two, "three": three, "mean": (one + two + three) / 3,
        "product": one * two * three, "best_h": (1 - max(numbers.shares)) * HOURS_PER_YEAR,
    }


def _against_pair(numbers: SimpleNamespace) -> dict[str, float]:
    pair = redundant_pair(60_000, 4, common_cause=0.05, coverage=0.97, diagnosed=0.9)
    repeater = Part("TF1", mtbf_h=numbers.repeater_h, mttr_h=5)
    pair_min = pair.unavailability * HOURS_PER_YEAR * 60
    return {
        "pair_min": pair_min, "repeater_min": _minutes(repeater),
        "ratio": _minutes(repeater) / pair_min, "once_a": numbers.repeater_h / HOURS_PER_YEAR,
    }


VOTES = (
    Choice(
        "02-vote-average", "For voting: three parts, one chain", CALCULATE,
        Case(
            "02-vote-average",
            "A chain needs three parts. Their availabilities are {one}, {two} and {three}.",
            {"shares": ((0.999, 0.995, 0.98), (0.998, 0.99, 0.97), (0.999, 0.99, 0.985))},
            _average,
        ),
        "What is the availability of the chain?",
        (
            Option("product", "{product:.4f}, below that of the worst part",
                   "all three have to be up at one moment, so that the shares multiply.", True),
            Option("mean", "{mean:.4f}, the average of the three parts",
                   "The worst part is up for {three} of the time. How can the chain be up for "
                   "more?",
                   misconception="M04"),
            Option("worst", "{three}, which is that of the worst part",
                   "The best part is down {best_h:.1f} h a year. Is the chain up in those hours?",
                   misconception="M06"),
        ),
        Hints(
            "Look at how many have to be up at one moment.",
            "In series the availabilities multiply.",
            "{one} × {two} × {three} = {product:.4f}.",
        ),
        voting=True,
    ),
    Choice(
        "02-vote-repeater", "For voting: it only boosts", FIND,
        Case(
            "02-vote-repeater",
            "The panel bus has a repeater: MTBF {repeater_h} h, MTTR 5 h. The pair of "
            "controllers with all its flaws is out {pair_min:.1f} min a year.",
            {"repeater_h": (180_000.0, 150_000.0, 240_000.0)},
            _against_pair,
        ),
        "Which of them takes the view of the hall away for longer?",
        (
            Option("repeater", "The repeater, about {ratio:.0f} times as long",
                   "{repeater_min:.1f} min a year, and nothing stands in for it.", True),
            Option("pair", "The pair, since it does all the work",
                   "The pair is out {pair_min:.1f} min a year. And one part of {repeater_h} h?",
                   misconception="M16"),
            Option("never", "The pair: a repeater only boosts a signal",
                   "Once in {once_a:.0f} years it is out for 5 h. What passes it in these 5 h?",
                   misconception="M16"),
        ),
        Hints(
            "Look at which of them has a twin.",
            "Down time of one part = 8760 h / (MTBF + MTTR) × MTTR.",
            "Repeater {repeater_min:.1f} min, pair {pair_min:.1f} min a year.",
        ),
        voting=True,
    ),
)

# ---------------------------------------------------------------- the list

LISTED = ("KF1", "TB1", "GB1", "BL1", "TF1")
ASKS = {
    "KF1": ("M35", "KF1 is out. Which unit may lead then?"),
    "TB1": ("M15", "TB1 is off. Which voltage do KF1 and KF2 run on?"),
    "GB1": ("M15", "GB1 is off. What feeds TB1 now?"),
    "BL1": ("M15", "BL1 is dead. Which other sensor knows the level?"),
    "TF1": ("M16", "Control runs over links A and B. Does a message of theirs pass TF1?"),
}


def _pick(part: str, function: str) -> Pick:
    right = "no" if _works(function, part) else "yes"
    if function == CONTROL:
        asks = ASKS[part]
    elif right == "yes":
        asks = "M16", f"A message from the hall to the panel: does it get there without {part}?"
    else:
        asks = "M15", f"The way to the panel has 4 parts: WF3, TF1, WF4, PH1. Is {part} one?"
    return Pick(("yes", "no"), lambda n: right, {"yes" if right == "no" else "no": asks})


@functools.cache
def _hall() -> dict[str, object]:
    """What the list draws on; the plant has one form here, so it is read once."""
    parts = load_plant().parts
    blocks = {d: Part(d, mtbf_h=parts[d].mtbf_h, mttr_h=parts[d].mttr_h) for d in LISTED}
    return {
        "blocks": blocks,
        "diagram": block_words(ways_diagram(load_plant(), CONTROL)),
        "worst": max(
            (d for d in LISTED if not _works(CONTROL, d)), key=lambda d: _minutes(blocks[d])
        ),
    }


LIST_CASE = Case(
    "02-list",
    "Brackenquay as built, invented data. Control kept: all three racks and the level are served. "
    "The way to the panel: WF3, TF1, WF4 and PH1. Control in words, a dash for series and a stroke "
    "for parallel: {diagram}.",
    {},
    lambda n: _hall(),
)


def _own_down(part: str) -> Numeric:
    return Numeric(
        f"02-list.{part}", part, CALCULATE, LIST_CASE, part, "min/a",
        lambda n: _minutes(n.blocks[part]), "", Hints("", "", ""), shows_unit=True,
    )


STOPS_CONTROL, STOPS_EYE, DOWN, CURE = (
    "stops control", "cuts the way to the panel", "down time", "what takes it off the list",
)
LIST = Table(
    "02-list", "Cut-set list", FILL, LIST_CASE,
    "Fill one row for each part. MTBF and MTTR stand above; the panel shows what stops.",
    LISTED,
    (STOPS_CONTROL, STOPS_EYE, DOWN, CURE),
    {
        **{(d, STOPS_CONTROL): _pick(d, CONTROL) for d in LISTED},
        **{(d, STOPS_EYE): _pick(d, EYE) for d in LISTED},
        **{(d, DOWN): _own_down(d) for d in ("TB1", "GB1", "TF1")},
        ("GB1", CURE): Free(
            "A second UPS with a supply of its own for KF2. That is worth nearly all the minutes "
            "of {worst}, the worst part on the list.",
            ("names the part to add", "says what it feeds", "gives the minutes it is worth"),
        ),
    },
    "what stops it alone is what has no twin, and what feeds all twins.",
    Hints(
        "Look at each box: does it have a twin, and what do both twins hang on?",
        "A part stops a function alone if every way of that function leads through it.",
        "Yes or no: try each part at the rig, one at a time. Down time a year = 8760 h / (MTBF + "
        "MTTR) × MTTR × 60 min/h.",
    ),
    corner="part out",
)

LESSON = Lesson(
    "02",
    "Chains and shared parts",
    (
        *RECALL, PREDICTION, CHAIN_DOWN, CHAIN_MTBF, NINES, *NEEDED, SHARED, EYE_DOWN, WALK,
        *CHAIN_ITEMS,
        DRILL, DRILL_CUTS, *VOTES, LIST,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
