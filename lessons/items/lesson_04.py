"""Lesson 04, the pair at work: who leads, and how do I see it?"""

from __future__ import annotations

import functools
from types import SimpleNamespace

from labkit.rig.rig import Rig
from labkit.switchover.roles import Snapshot
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import against_bound, faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.numeric import Fingerprint, Numeric
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.replies import STOP_HERE
from lessons.exercises.table import Free, Pick, Table
from lessons.pictures.seen import lamp_board_html, seen_at

__all__ = ["LESSON"]

READ = "read the role of each controller from the lamps"
PREDICT = "predict who leads after a stop, a loss of power and a return"
FILL = "fill in the role and lamp table of the pair"

ROLES = ("active", "standby", "loading", "stopped", "off")


@functools.cache
def _rig(*actions: str | float) -> Rig:
    """A rig after faults were switched on, switched off ("-" before the id), and waited for."""
    rig = Rig()
    for action in actions:
        if not isinstance(action, str):
            rig.wait(action)
        elif action.startswith("-"):
            rig.switch_off(action[1:])
        else:
            rig.switch_on(action)
    return rig


HEALTHY = (10.0,)
POWER_CUT = (1.0, "KF1: no power", 10.0)
POWER_BACK = (*POWER_CUT, "-KF1: no power", 60.0)
STANDBY_CUT = (1.0, "KF2: no power", 10.0)
BY_HAND = (1.0, "KF1: stopped", 10.0)
SYNC_CUT = (1.0, "WF9: cut", 10.0)
DARK = (1.0, "PH1: dark", 10.0)


def _role(snapshot: Snapshot, unit: str) -> str:
    return snapshot.roles[unit].value


def _writer(snapshot: Snapshot) -> str:
    writers = set(snapshot.writers.values())
    return writers.pop() or "nobody" if len(writers) == 1 else "both"


# ---------------------------------------------------------------- recall

ONE = Case(
    "04-one", "A controller has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h.",
    {"mtbf_h": (60_000.0, 45_000.0, 90_000.0), "mttr_h": (4.0, 3.0, 6.0)},
    lambda n: {
        "per_a": HOURS_PER_YEAR / (n.mtbf_h + n.mttr_h),
        "years": (n.mtbf_h + n.mttr_h) / HOURS_PER_YEAR,
    },
)
RECALL = (
    Choice(
        "04-recall-mttr", "From lesson 01: the MTTR", READ, Case("04-recall-mttr"),
        "A controller stops at night. When does its time to restoration begin?",
        (
            Option("failure", "at the failure, though nobody knows of it",
                   "control is missing from the failure on.", True),
            Option("notice", "when the night shift notices the stop",
                   "A stop is noticed after 40 min. Who controlled the plant in these 40 min?",
                   misconception="M10"),
            Option("swap", "when maintenance starts to swap the unit",
                   "Maintenance is on its way for 75 min. Who controls the plant meanwhile?",
                   misconception="M10"),
        ),
        Hints(
            "Look at when control is lost.",
            "Time to restoration runs from control lost to control back.",
            "Control is lost at the failure; notice, travel and swap all come after.",
        ),
    ),
    Choice(
        "04-recall-shared", "What both share", PREDICT, Case("04-recall-shared"),
        "Both controllers are fed by one 24 V supply. Which statement holds?",
        (
            Option("stops", "A failure of this supply stops both",
                   "what both share can stop both, whatever is double behind it.", True),
            Option("pair", "Two controllers cover a failure of this supply",
                   "With 0 V from this supply: what would the second controller run on?",
                   misconception="M15"),
            Option("half", "A failure of this supply stops one of them",
                   "One supply feeds 2 units. Which of them has another source?",
                   misconception="M15"),
        ),
        Hints(
            "Follow the supply with a pencil.",
            "A part without a twin, in the way of both, stops both.",
            "The one supply feeds both cabinets: both controllers lose their voltage.",
        ),
    ),
    Choice(
        "04-recall-mtbf", "From lesson 01: the MTBF", READ, Case("04-recall-mtbf"),
        "A controller has an MTBF of 60 000 h. Which statement is safe?",
        (
            Option("rate", "It has the same failure rate in each year of useful life",
                   "an MTBF is a failure rate turned over.", True),
            Option("life", "It runs for nearly 7 years and fails after that",
                   "About 1 in 7 fails in the first year. How would that fit such a life?",
                   misconception="M01"),
            Option("quiet", "It has no failure before its first year is over",
                   "100 of them have about 14 failures a year. Which 100 would have none?",
                   misconception="M02"),
        ),
        Hints(
            "Look at what kind of number an MTBF is.",
            "Failure rate = 1 / MTBF.",
            "1/60 000 h holds in each hour of useful life, the first one included.",
        ),
    ),
    Numeric(
        "04-recall-failures", "From lesson 01: failures", FILL, ONE,
        "How many failures a year is that on the average?", "1/a", lambda n: n.per_a,
        "a year holds 8760 h, and each round lasts MTBF + MTTR.",
        Hints(
            "Look at the unit: failures per year.",
            "Failures a year = 8760 h / (MTBF + MTTR).",
            "8760 / ({mtbf_h} + {mttr_h}) = {per_a:.3f} failures a year.",
        ),
        (
            Fingerprint(
                "S03", lambda n: n.years,
                "That is the number of years between two failures. How many fall into one year?",
            ),
        ),
    ),
)

# ---------------------------------------------------------------- predictions


def _shows(*actions: str | float):
    """What the rig shows after these actions, as the snapshot that predicates look at."""
    return lambda numbers: _rig(*actions).snapshot()


def _power_cut(numbers: SimpleNamespace) -> dict[str, object]:
    rig = _rig(*POWER_CUT)
    return {
        "snapshot": rig.snapshot(),
        "levels": rig.trend().level_m,
        "lit": seen_at(rig),
        "seen": f"Power of KF1 cut at 1 s; now {rig.now_s:.0f} s.\n{seen_at(rig)}",
    }


CUT = Prediction(
    "04-power-cut", "Predict: the power of KF1 is cut", PREDICT,
    Case("04-power-cut", "KF1 leads, KF2 stands by. The power of KF1 is cut.", {}, _power_cut),
    "What do you find ten seconds later?",
    (
        Option(
            "takes over", "KF2 leads, and all racks take its writes",
            "KF2 missed the heartbeats, asked the racks, and took over.",
            lambda n: _role(n.snapshot, "KF2") == "active" and _writer(n.snapshot) == "KF2",
        ),
        Option(
            "racks stay", "KF2 leads, but the racks stay with KF1",
            right=lambda n: _role(n.snapshot, "KF2") == "active" and _writer(n.snapshot) == "KF1",
            misconception="M36",
        ),
        Option(
            "nobody", "Nobody leads until somebody starts KF2",
            right=lambda n: _role(n.snapshot, "KF2") == "standby", misconception="M35",
        ),
        Option(
            "both", "Both lead until somebody chooses one",
            right=lambda n: _role(n.snapshot, "KF1") == _role(n.snapshot, "KF2") == "active",
            misconception="M24",
        ),
    ),
    (
        Statement("dark", "All lamps of KF1 are dark.", lambda n: "KF1: dark" in n.lit),
        Statement("alone", "KF2 shows ALONE.", lambda n: n.snapshot.alone),
        Statement("moved", "WRITER went out on all 3 links from KF1.",
                  lambda n: "KF1" not in n.snapshot.writers.values()),
        Statement("level", "The tank level moved by more than 1 cm.",
                  lambda n: max(n.levels) - min(n.levels) > 0.01),
    ),
    lambda n: n.seen,
    "Switch on 'KF1 controller 1: no power'. Read the lamps, the racks, the level.",
    hints=Hints(
        "Look at what KF2 hears when KF1 has no power.",
        "A standby that misses the heartbeats asks the racks whose mark is fresh.",
        "No beats and no fresh marks of KF1: then the standby takes over.",
    ),
)


def _power_back(numbers: SimpleNamespace) -> dict[str, object]:
    rig = _rig(*POWER_BACK)
    roles = [(e.who, e.new) for e in rig.record if e.what == "role"]
    return {
        "snapshot": rig.snapshot(),
        "loaded": ("KF1", "loading") in roles,
        "moved_back": any(e.what == "writer" and e.new == "KF1" and e.time_ms > 0
                          for e in rig.record),
        "seen": f"KF1 has had its power back for 60 s.\n{seen_at(rig)}",
    }


BACK = Prediction(
    "04-return", "Predict: KF1 comes back", PREDICT,
    Case("04-return", "KF2 leads alone. KF1 gets its power back, and a minute passes.", {},
         _power_back),
    "Who leads now?",
    (
        Option(
            "stays", "KF2 still leads, and KF1 stands by",
            "Nothing goes back by itself: KF1 tested itself, loaded, and became standby.",
            lambda n: (_role(n.snapshot, "KF1"), _role(n.snapshot, "KF2"))
            == ("standby", "active"),
        ),
        Option(
            "returns", "KF1 leads again, and KF2 stands by",
            right=lambda n: _role(n.snapshot, "KF1") == "active", misconception="M18",
        ),
        Option(
            "waits", "KF2 leads, and KF1 waits to be started",
            right=lambda n: _role(n.snapshot, "KF1") == "stopped", misconception="M35",
        ),
        Option(
            "both", "Both lead, each with racks of its own",
            right=lambda n: _writer(n.snapshot) == "both", misconception="M24",
        ),
    ),
    (
        Statement("loaded", "KF1 showed LOADING before READY.", lambda n: n.loaded),
        Statement("alone", "ALONE on KF2 went out.", lambda n: not n.snapshot.alone),
        Statement("back", "WRITER went back to the links from KF1.", lambda n: n.moved_back),
    ),
    lambda n: n.seen,
    "Switch 'KF1 controller 1: no power' on, and off again. Press 'Go on' until a minute has "
    "passed.",
    hints=Hints(
        "Look at what a repaired unit must have before it may lead.",
        "Off, self test, loading, standby: each role has the next one.",
        "KF1 copies the state of KF2 first; with that it is standby, and nothing moves it on.",
    ),
)

# ---------------------------------------------------------------- reading the lamps


def _lamp_case(name: str, *actions: str | float) -> Case:
    return Case(
        f"04-{name}", "{lamps}", {},
        lambda n: {"lamps": seen_at(_rig(*actions)), "snapshot": _rig(*actions).snapshot()},
        lambda n: lamp_board_html(_rig(*actions)),
    )


STOPPED_OR_OFF = Choice(
    "04-read-stopped", "Read: stopped or off?", READ, _lamp_case("read-stopped", *BY_HAND),
    "KF1 shows no lamp. What tells that it has power and was stopped?",
    (
        Option("links", "LINK: data pass on the links from KF1",
               "without power its links would carry nothing.", True),
        Option("active", "ACTIVE: it is lit on KF2",
               "KF2 leads after a stop and after a loss of power. Which lamp differs?",
               misconception="M32"),
        Option("dark", "No lamp: a unit without power shows none",
               "Both show no lamp. Which other sign of life has KF1 here?",
               misconception="M32"),
    ),
    Hints(
        "Look at lamps that KF1 does not carry itself.",
        "Ask for a sign of life: what does KF1 still send?",
        "The racks see data from KF1, so that it has power; its program does not run.",
    ),
)

RETURN_STEPS = Order(
    "04-return-steps", "Order the return of a repaired controller", PREDICT,
    Case("04-return-steps"),
    "KF1 was swapped. Bring the steps into order.",
    (
        "Switch its power on, program held stopped",
        "Read and compare the program versions",
        "Start it and let it load",
        "See READY lit",
        "Watch it for a quarter of an hour",
        "Change roles, and only if there is a reason",
    ),
    "first equal, then loaded, then ready, then watched; a planned switchover is a choice.",
    Hints(
        "Look for what must be true before the next step does no harm.",
        "Versions before start, loading before READY, watching before any planned switchover.",
        "Power, versions, start and load, READY, watch, and a planned switchover last.",
    ),
    {
        (3, 5): ("M18", "What would KF1 lead with, before READY is lit?"),
        (1, 2): ("M30", "What happens if the two programs differ, and the unit is started?"),
        (4, 5): ("M18", "What does a second planned switchover cost, and what does it bring?"),
    },
)

ISOLATION = Choice(
    "04-isolation", "Before you touch a pump", READ, Case("04-isolation"),
    "KF1 is stopped, KF2 leads. Somebody wants to work on intake pump GP1. Is it isolated?",
    (
        Option("no", "No: isolate, secure and prove dead first",
               "KF2 may start the pump at any time; roles and lamps isolate nothing.", True),
        Option("stopped", "Yes: the program of KF1 is stopped",
               f"{STOP_HERE} KF2 leads. Which unit switches GP1 now?", misconception="M37"),
        Option("lamp", "Yes: the lamps of the pump are dark",
               f"{STOP_HERE} a lamp shows no voltage. What has been proved dead?",
               misconception="M37"),
    ),
    Hints(
        "Look for what could still switch the pump on.",
        "Isolation is done at the energy, not in the program.",
        "Either controller may switch GP1; isolate, secure against reconnection, prove dead.",
    ),
)

# ---------------------------------------------------------------- votes

VOTES = (
    Choice(
        "04-vote-both", "For voting: the sync cable is cut", PREDICT,
        Case("04-vote-both",
             "KF1 leads, KF2 stands by. The sync cable is cut. Both still reach all racks.", {},
             lambda n: {"snapshot": _rig(*SYNC_CUT).snapshot()}),
        "What should KF2 do, and why?",
        (
            Option("stay", "Stay standby: the racks show that KF1 lives",
                   "a fresh mark of KF1 in the racks says that the cable is the fault.",
                   lambda n: _role(n.snapshot, "KF2") == "standby"),
            Option("both", "Lead as well: two active ones are twice as safe",
                   "Each rack would get 2 writes, one after the other. Which one counts?",
                   lambda n: _role(n.snapshot, "KF1") == _role(n.snapshot, "KF2") == "active",
                   "M24"),
            Option("take", "Take over: without heartbeats KF1 is dead",
                   "The racks still get writes from KF1. Who sends them, if it is dead?",
                   lambda n: _role(n.snapshot, "KF1") != "active", "M38"),
        ),
        Hints(
            "Look at what KF2 can still ask.",
            "No heartbeat means unknown; a fresh writer's mark means alive.",
            "The racks hold fresh marks of KF1, so that KF2 stays standby and reports it.",
        ),
        voting=True,
    ),
    Choice(
        "04-vote-dark", "For voting: a dark panel at night", READ,
        _lamp_case("vote-dark", *DARK),
        "All lamps of panel PH1 are dark. Which statement is safe?",
        (
            Option("ask", "The panel tells nothing: test its lamps, look in the hall",
                   "dark can be a dead lamp, no supply, or no signal.", True),
            Option("none", "There is no fault, since no lamp shows one",
                   "PLANT is lit on a healthy plant. Why is it dark now?",
                   misconception="M32"),
            Option("stopped", "The pumps have stopped, since nobody leads",
                   "The lamps in the hall show ACTIVE and WRITER. Who writes the racks?",
                   misconception="M16"),
        ),
        Hints(
            "Look at what a healthy panel would show.",
            "A lamp that is off says nothing until it was tested.",
            "PH1 is dark while KF1 leads in the hall: the panel, not the control, is out.",
        ),
        voting=True,
    ),
)

# ---------------------------------------------------------------- faded chains: how often ALONE


def _alone(numbers: SimpleNamespace) -> dict[str, object]:
    # By hand, so that each line printed is true to its last digit; the lesson shows how near it
    # comes to the chain.
    one_per_a = HOURS_PER_YEAR / numbers.mtbf_h
    alone_min = 2 * one_per_a * numbers.mttr_h * 60
    return {
        "alone_min": alone_min,
        "per_a": 2 * one_per_a,
        "one_per_a": one_per_a,
        "stands": "inside" if alone_min <= numbers.bound_min else "outside",
    }


def _alone_case(name: str, mtbf_h: tuple, mttr_h: tuple) -> Case:
    return Case(
        f"04-{name}",
        "Each controller of a pair has an MTBF of {mtbf_h} h and an MTTR of {mttr_h} h. The "
        "manager accepts {bound_min} min a year without a ready standby.",
        {"mtbf_h": mtbf_h, "mttr_h": mttr_h, "bound_min": (60.0, 120.0, 300.0, 1500.0)},
        _alone,
    )


ALONE_CASES = (
    _alone_case("worked", (60_000.0, 90_000.0), (4.0, 3.0)),
    _alone_case("turn-1", (45_000.0, 75_000.0, 36_000.0), (5.0, 3.0, 8.0)),
    _alone_case("turn-2", (90_000.0, 50_000.0, 30_000.0), (2.5, 6.0, 12.0)),
    _alone_case("turn-3", (120_000.0, 80_000.0, 40_000.0), (72.0, 5.0, 24.0)),
)
WORKED = (
    "two states, both good and one failed: rate 2/MTBF down, rate 1/MTTR back.",
    "either of two may fail: 2 × 8760 / {mtbf_h} = {per_a:.4f} times a year.",
    "{per_a:.4f} times a year × {mttr_h} h × 60 = {alone_min:.1f} min a year.",
    "{alone_min:.1f} min a year against {bound_min} min a year: {stands}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", READ, case,
        "At which rate does the pair go from both good to one failed?",
        (
            Option("two", "at 2/MTBF, since either may fail",
                   "both units run, so that their rates add.", True),
            Option("one", "at 1/MTBF, since only one leads",
                   "The standby has power and runs too. Can it fail while it waits?",
                   misconception="M13"),
            Option("half", "at 1/(2 MTBF), since there are two",
                   "That says: two units fail half as often as one. Do they have fewer failures?",
                   misconception="M07"),
        ),
        Hints(
            "Look at how many units can fail.",
            "Rates of units that can fail add up.",
            "1/MTBF + 1/MTBF = 2/MTBF from both good to one failed.",
        ),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", READ, case,
        "How many times a year does the pair lose its ready standby?", "1/a",
        lambda n: n.per_a, "each of the two fails once in an MTBF on the average.",
        Hints(
            "Look at both units and at the hours of a year.",
            "Times a year = 2 × 8760 h / MTBF.",
            "2 × 8760 / {mtbf_h} = {per_a:.4f} times a year.",
        ),
        (
            Fingerprint("M13", lambda n: n.one_per_a,
                        "That counts one unit. Can the other one not fail?"),
            Fingerprint("M07", lambda n: n.one_per_a / 2,
                        "That is half of one unit's failures. Do two units fail less often?"),
        ),
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", READ, case,
        "How long is ALONE lit in a year?", "min/a",
        lambda n: n.alone_min, "times a year, and each time until the unit is restored.",
        Hints(
            "Look at how often, then at how long each time.",
            "Time alone = times a year × MTTR.",
            WORKED[2],
        ),
        (
            Fingerprint("M13", lambda n: n.one_per_a * n.mttr_h * 60,
                        "That counts the failures of one unit. What of the other one?"),
            Fingerprint("S02", lambda n: n.mttr_h * 60,
                        "That is one restoration. Is there one in every year?"),
        ),
        follows=f"{case.id}.sort",
        solve_from=lambda n, per_a: per_a * n.mttr_h * 60,
    )


def _compare(case: Case) -> Choice:
    return against_bound(
        case, READ, result="{alone_min:.1f} min", bound="{bound_min} min a year",
        inside=lambda n: n.stands == "inside", errors=("M09", "S02"), route=WORKED[3],
    )


CHAINS, CHAIN_ITEMS = faded(ALONE_CASES, (_sketch, _sort, _calculate, _compare), WORKED)

# ---------------------------------------------------------------- drill and table

# In an order in which the first seeds go from one dark unit to faults that show on links only.
SITUATIONS = (
    STANDBY_CUT, HEALTHY,
    (1.0, "TB1: off", 10.0),
    (1.0, "KF2: stopped", 10.0),
    SYNC_CUT,
    (1.0, "KF1: no power", 10.0, "-KF1: no power", 5.0),
    DARK, BY_HAND,
    (1.0, "KF1: own fault", 10.0),
    POWER_CUT, POWER_BACK,
    (1.0, "WF1.10: cut", 10.0),
)


def _drill(numbers: SimpleNamespace) -> dict[str, object]:
    rig = _rig(*numbers.situation)
    return {"lamps": seen_at(rig), "snapshot": rig.snapshot()}


ROLE_QUESTIONS = {
    "active": ("M35", "ACTIVE is the lamp of the leading unit. Is it lit there?"),
    "standby": ("M13", "READY is the lamp of a standby. Is it lit there?"),
    "loading": ("M18", "LOADING flashes while a unit copies the state. Does it flash there?"),
    "stopped": ("M32", "A stopped unit has power, and its links carry data. Do they?"),
    "off": ("M32", "Without power a unit carries no data on its links. Does it?"),
}
DRILL = Table(
    "04-drill", "Drill: read the lamps", READ,
    Case(
        "04-drill", "{lamps}", {"situation": SITUATIONS}, _drill,
        lambda n: lamp_board_html(_rig(*n.situation)),
    ),
    "Which roles, which writer, and is redundancy kept?",
    ("KF1", "KF2", "racks take writes from", "redundancy"),
    ("reading",),
    {
        ("KF1", "reading"): Pick(ROLES, lambda n: _role(n.snapshot, "KF1"), ROLE_QUESTIONS),
        ("KF2", "reading"): Pick(ROLES, lambda n: _role(n.snapshot, "KF2"), ROLE_QUESTIONS),
        ("racks take writes from", "reading"): Pick(
            ("KF1", "KF2", "nobody", "both"), lambda n: _writer(n.snapshot),
            {
                "KF1": ("M36", "On which links is WRITER lit?"),
                "KF2": ("M36", "On which links is WRITER lit?"),
                "both": ("M24", "WRITER flashes where two write by turns. Does it flash here?"),
            },
        ),
        ("redundancy", "reading"): Pick(
            ("kept", "lost"), lambda n: "lost" if n.snapshot.redundancy_lost else "kept",
            {
                "kept": ("M12", "Is there a ready standby that reaches every rack?"),
                "lost": ("M12", "Is there a ready standby that reaches every rack?"),
            },
        ),
    },
    "roles from the lamps of the units, the writer from the links.",
    Hints(
        "Look at the lamps of the units first, then at the links.",
        "ACTIVE leads, READY stands by; no lamp: see whether its links carry data.",
        "KF1 is {snapshot.roles[KF1].value}, KF2 is {snapshot.roles[KF2].value}.",
    ),
    corner="unit",
    kept=False,
)

TABLE_ROWS = {
    "both healthy": HEALTHY,
    "KF1: no power": POWER_CUT,
    "KF1 back for a minute": POWER_BACK,
    "KF1: stopped": BY_HAND,
}
COLUMNS = ("KF1", "KF2", "WRITER lit on links from", "ALONE")
GIVEN = ("both healthy", "KF1: no power")


def _readings(*actions: str | float) -> tuple[str, ...]:
    """What stands in a row of the table."""
    snapshot = _rig(*actions).snapshot()
    return (
        _role(snapshot, "KF1"), _role(snapshot, "KF2"), _writer(snapshot),
        "lit" if snapshot.alone else "dark",
    )


def _table_cell(actions: tuple, column: str) -> Pick:
    after = _shows(*actions)
    if column in ("KF1", "KF2"):
        return Pick(ROLES, lambda n: _role(after(n), column), ROLE_QUESTIONS)
    if column == "ALONE":
        return Pick(
            ("lit", "dark"), lambda n: "lit" if after(n).alone else "dark",
            {"lit": ("M12", "Is there no ready standby then?"),
             "dark": ("M12", "Is there a ready standby then?")},
        )
    return Pick(
        ("KF1", "KF2", "nobody"), lambda n: _writer(after(n)),
        {"KF1": ("M36", "Who leads then, and whose writes do the racks take?"),
         "KF2": ("M18", "Who leads then, and whose writes do the racks take?")},
    )


TABLE = Table(
    "04-table", "Role and lamp table", FILL,
    Case("04-table", "", {}, lambda n: {"given": [_readings(*TABLE_ROWS[row]) for row in GIVEN]}),
    "Two rows are filled as the panel showed them. Fill the others from the panel above.",
    tuple(TABLE_ROWS), (*COLUMNS, "night shift does"),
    {
        **{
            (row, column): f"{{given[{i}][{j}]}}"
            for i, row in enumerate(GIVEN)
            for j, column in enumerate(COLUMNS)
        },
        ("both healthy", "night shift does"): "nothing",
        **{
            (row, column): _table_cell(actions, column)
            for row, actions in TABLE_ROWS.items() if row not in GIVEN
            for column in COLUMNS
        },
        ("KF1: no power", "night shift does"): Free(
            "Reads the lamps, notes the time, calls maintenance, changes nothing at the pair.",
            ("says what is read", "says who is told", "leaves the running unit alone"),
        ),
    },
    "the writer follows the active role, and nothing goes back by itself.",
    Hints(
        "Look at one situation at the panel, and read the lamps from left to right.",
        "Exactly one is active; WRITER follows it; ALONE means no ready standby.",
        "No power or stopped: the partner leads. Back: it stands by and stays so.",
    ),
    corner="situation",
)

LESSON = Lesson(
    "04",
    "The pair at work",
    (
        *RECALL, CUT, BACK, STOPPED_OR_OFF, RETURN_STEPS, ISOLATION, *VOTES,
        *CHAIN_ITEMS,
        DRILL, TABLE,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
