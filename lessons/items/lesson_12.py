"""Lesson 12, your own plant: is it worth it, and does it work?"""

from __future__ import annotations

import functools
from types import SimpleNamespace

from labkit.availability.parts import Part
from labkit.evidence.claims import trials_needed
from labkit.evidence.limits import success_limits
from labkit.plant.plant import Plant, load_plant
from labkit.plant.variants import Outcome, Ranked, compare_variants, outage_cost, rank_variants
from labkit.rig.rig import Rig
from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.wording import HOURS_PER_YEAR, shown
from lessons.exercises.choosing import Choice, Option
from lessons.exercises.fading import faded
from lessons.exercises.item import Case, Hints, Lesson
from lessons.exercises.misconceptions import misconception
from lessons.exercises.numeric import Fingerprint, Numeric
from lessons.exercises.ordering import Order
from lessons.exercises.predicting import Prediction, Statement
from lessons.exercises.replies import STOP_HERE
from lessons.exercises.table import Free, Pick, Table

__all__ = ["LESSON", "worth_text"]

CALCULATE = "calculate what a step gains, and compare it with its price"
FIND = "find the assumption on which a verdict hangs"
FILL = "fill in a plant file, a comparison and a test sheet"

# Steps of the plant that are weighed against each other, and what each is measured against.
STEPS = {"V1a": "second controller", "V1b": "supply and UPS doubled"}
NEAR = 0.05
# How long an outage lasts: the end of "Each outage lasts ...".
LASTS = {"fixed": "as long as its mean", "exponential": "longer or shorter, as repairs do"}


@functools.cache
def _plant(name: str = "brackenquay") -> Plant:
    return load_plant(name)


@functools.cache
def _outcomes(name: str, durations: str) -> dict[str, Outcome]:
    return {each.variant: each for each in compare_variants(_plant(name), durations)}


@functools.cache
def _ranked(name: str, durations: str, since: str) -> dict[str, Ranked]:
    outcomes = _outcomes(name, durations)
    return {each.variant: each for each in rank_variants(outcomes.values(), since)}


def _step(variant: str, air: bool = False, durations: str = "fixed") -> Ranked:
    """What a step of the plant gains, with blowers that fail to off or to on."""
    ending = " air" if air else ""
    return _ranked("brackenquay", durations, f"V0{ending}")[f"{variant}{ending}"]


def worth_text(durations: str = "fixed", *, air: bool = False) -> str:
    """Say what the two steps of the plant gain and cost a year.

    Parameters
    ----------
    durations : str
        ``fixed`` or ``exponential``; see `labkit.plant.variants`.
    air : bool
        Whether the blowers fail to on.

    Returns
    -------
    str
        A line for the plant with everything single, and one for each step.

    Examples
    --------
    >>> print(worth_text().splitlines()[0])
    everything single: loss EUR 16 472 a year, control down 193 min a year
    """
    ending = " air" if air else ""
    outcomes = _outcomes("brackenquay", durations)
    base = outcomes[f"V0{ending}"]
    down = base.down_min_per_year["control kept"]
    lines = [f"everything single: loss EUR {shown(base.loss_per_year)} a year, control down "
             f"{down:.0f} min a year"]
    for variant, words in STEPS.items():
        step, outcome = _step(variant, air, durations), outcomes[f"{variant}{ending}"]
        lines.append(
            f"{words}: gain EUR {shown(step.gain_per_year)}, price EUR "
            f"{shown(step.price_per_year)}, net EUR {shown(round(step.net_per_year))} a year; "
            f"control down {outcome.down_min_per_year['control kept']:.0f} min a year")
    return "\n".join(lines).replace("\u202f", " ")


# ---------------------------------------------------------------- recall

SHARED = Case(
    "12-shared", "Two {fed} hang on one {what}.",
    {"which": (("24 V supply", "controllers"), ("UPS", "24 V supplies"),
               ("network switch", "links"))},
    lambda n: {"what": n.which[0], "fed": n.which[1]},
)
GOOD_TESTS = Case(
    "12-good-tests",
    "{trials} switchover tests went well, and none failed. With all good the lower 95 % limit "
    "of the chance of success is 0.05 to the power 1/{trials}.",
    {"trials": (11, 24, 36, 99)},
    lambda n: {"lower": success_limits(n.trials, n.trials, confidence=0.95, sided="lower").lower},
)
GAP = Case(
    "12-gap", "A switchover takes {most_ms} ms at most. The racks hold their outputs for {hold_ms} "
    "ms without a write.",
    {"hold_ms": (200, 500, 150, 1000)},
    lambda n: {"most_ms": switchover_budget(PairSettings()).most_ms,
               "held": n.hold_ms > switchover_budget(PairSettings()).most_ms},
)

RECALL = (
    Choice(
        "12-recall-shared", "Two of one, one of the other", FIND, SHARED,
        "What happens when the {what} fails?",
        (
            Option("all", "All that it feeds is out at the same time",
                   "what two parts share stops both of them.", True),
            Option("other", "The second one of the two takes over",
                   "The second one hangs on the same feed. What would it run on?",
                   misconception="M15"),
            Option("half", "Half of it goes on, which is enough",
                   "Both are fed by it. Which half is not?", misconception="M15"),
        ),
        Hints("Look at what both of them need.", "A shared part is in series with both.",
              "Both need it, so both are out."),
    ),
    Numeric(
        "12-recall-tests", "What good tests show", CALCULATE, GOOD_TESTS,
        "Which chance of success do they show?", "%",
        lambda n: 100 * n.lower,
        "a worse pair would pass so many tests in less than one of 20 cases.",
        Hints("Look at the relation in the text.", "Lower limit = 0.05 ^ (1 / tests).",
              "0.05 ^ (1 / {trials}) = {lower:.3f}."),
        (
            Fingerprint("M14", lambda n: 100.0,
                        "All were good. Would a pair that fails once in 20 have failed?"),
            Fingerprint("S06", lambda n: 95.0,
                        "95 % is how sure one is. Which chance of success is left?"),
        ),
        tolerance=0.004,
    ),
    Choice(
        "12-recall-gap", "Gap and hold time", FIND, GAP,
        "What do the pumps do?",
        (
            Option("run", "They run on, since the racks hold longer",
                   "somebody writes after {most_ms} ms at most, before {hold_ms} ms are over.",
                   lambda n: n.held, "M21",
                   "Which is longer: a gap of {most_ms} ms, or a hold time of {hold_ms} ms?"),
            Option("drop", "They drop, since the racks let go first",
                   "{hold_ms} ms are over before somebody writes again, after up to {most_ms} ms.",
                   lambda n: not n.held, "M22",
                   "Which is longer: a gap of {most_ms} ms, or a hold time of {hold_ms} ms?"),
            Option("never", "They run on, since a pair leaves no gap",
                   "The second controller needs up to {most_ms} ms. Who writes meanwhile?",
                   misconception="M20"),
        ),
        Hints("Look at which of the two times is longer.",
              "Racks that hold longer than the gap keep their outputs.",
              "{most_ms} ms of gap against {hold_ms} ms of hold time."),
    ),
)

# ---------------------------------------------------------------- predictions


def _both_steps(numbers: SimpleNamespace) -> dict[str, object]:
    outcomes = _outcomes("brackenquay", "fixed")
    found = {}
    for key, air in (("", False), ("_air", True)):
        ending = " air" if air else ""
        found |= {
            f"pair{key}": _step("V1a", air), f"supply{key}": _step("V1b", air),
            f"loss{key}": outcomes[f"V0{ending}"].loss_per_year,
            f"down{key}": outcomes[f"V0{ending}"].down_min_per_year["control kept"],
        }
    single, pair = (outcomes[name].down_min_per_year["control kept"] for name in ("V0", "V1a"))
    return found | {"left": pair / single}


FIRST = Case(
    "12-first",
    "Brackenquay with everything single. The money is enough for one step: a second controller, "
    "or a second supply with its UPS.",
    {"one": (1,)}, _both_steps,
)
PREDICTIONS = (
    Prediction(
        "12-first-step", "Predict first", CALCULATE, FIRST,
        "Which step brings more for its money?",
        (
            Option("pair", "the second controller: it runs the whole plant",
                   right=lambda n: n.pair.gain_per_money > n.supply.gain_per_money,
                   misconception="M15"),
            Option("supply", "the second supply: everything hangs on it",
                   right=lambda n: n.supply.gain_per_money > n.pair.gain_per_money,
                   misconception="M15"),
            Option("neither", "neither: outages are too rare to cost much",
                   right=lambda n: not (n.pair.pays or n.supply.pays), misconception="M34"),
        ),
        (
            Statement("left", "With the second controller alone, more than three quarters of the "
                      "down time of control are left.", lambda n: n.left > 0.75),
            Statement("double", "The second controller gains more than twice as much money as the "
                      "second supply.",
                      lambda n: n.pair.gain_per_year > 2 * n.supply.gain_per_year),
            Statement("price", "Both gain about the same, so the price decides.",
                      lambda n: abs(n.pair.gain_per_year / n.supply.gain_per_year - 1) < 0.1),
        ),
        lambda n: worth_text(),
        "Compare the two steps: loss left, price, and what remains of the gain.",
        Hints(
            "Look at what a failure of each part stops.",
            "Gain = loss before less loss after; compare it with the price.",
            "Pair: gain {pair.gain_per_year:.0f} for {pair.price_per_year:.0f}. Supply: "
            "{supply.gain_per_year:.0f} for {supply.price_per_year:.0f}.",
        ),
    ),
    Prediction(
        "12-fail-to-on", "Predict again", FIND, FIRST,
        "The blowers are changed so that they fail to on. Do both steps still pay?",
        (
            Option("both", "both, as before: no controller is better or worse",
                   right=lambda n: n.pair_air.net_per_year > NEAR * n.pair_air.price_per_year
                   and n.supply_air.pays, misconception="M34"),
            Option("supply", "the supply pays, and the second controller hardly",
                   right=lambda n: abs(n.pair_air.net_per_year)
                   <= NEAR * n.pair_air.price_per_year and n.supply_air.pays),
            Option("neither", "neither: without the oxygen step nothing is lost",
                   right=lambda n: not (n.pair_air.pays or n.supply_air.pays),
                   misconception="M34"),
        ),
        (
            Statement("close", "Gain and price of the second controller are almost equal.",
                      lambda n: abs(n.pair_air.net_per_year) <= NEAR * n.pair_air.price_per_year),
            Statement("shorter", "Control is down for less time than before.",
                      lambda n: n.down_air < 0.99 * n.down),
            Statement("half", "The loss of the plant with everything single fell by more than "
                      "half.", lambda n: n.loss_air < n.loss / 2),
        ),
        lambda n: worth_text(air=True),
        "Tick the box for the blowers, and watch which bars change.",
        Hints(
            "Look at which cost step the blowers take away.",
            "Fewer euros per outage mean less gain for each outage that is avoided.",
            "Pair: gain {pair_air.gain_per_year:.0f} for {pair_air.price_per_year:.0f}. Supply: "
            "{supply_air.gain_per_year:.0f} for {supply_air.price_per_year:.0f}.",
        ),
    ),
)

# ---------------------------------------------------------------- what one outage costs

COSTS = ("An outage beyond 30 s costs EUR 11 000. Beyond 22 min it costs 700 more. Beyond 40 min "
         "it costs 52 000 more, with a chance of 40 %.")


def _priced(down_min: float) -> float:
    return outage_cost(_plant(), down_min)


BREAK_EVEN = Case(
    "12-break-even",
    "The second controller gains EUR {gain} a year at an MTBF of {mtbf_h} h. It costs EUR {price} "
    "a year. The gain is in proportion to the number of failures.",
    {"mtbf_h": (60_000.0, 45_000.0, 90_000.0), "price": (1550.0, 2400.0, 900.0)},
    lambda n: {
        "gain": float(round(_step("V1a").gain_per_year * 60_000 / n.mtbf_h)),
        "limit_h": n.mtbf_h * round(_step("V1a").gain_per_year * 60_000 / n.mtbf_h) / n.price,
    },
)
LIMIT = Numeric(
    "12-break-even", "Where the verdict turns", FIND, BREAK_EVEN,
    "Up to which MTBF does it pay?", "h",
    lambda n: n.limit_h,
    "at that MTBF there are so few failures that gain and price are equal.",
    Hints(
        "Look at how the gain changes when failures get rarer.",
        "At twice the MTBF half the gain is left. So limit = MTBF × gain / price.",
        "{mtbf_h} h × {gain} / {price} = {limit_h} h.",
    ),
    (
        Fingerprint("S03", lambda n: n.mtbf_h * n.price / n.gain,
                    "At a shorter MTBF it fails more often. Would the pair pay less then?"),
    ),
)

# ---------------------------------------------------------------- faded chains


HOUR_MIN = 60.0
SURE_EUR = 11_700.0


def _twin(numbers: SimpleNamespace) -> dict[str, object]:
    """What doubling a part gains: stops before, stops after by what both share, and money."""
    part = Part("part", mtbf_h=numbers.mtbf_h, mttr_h=numbers.mttr_h)
    before = part.failures_per_h * HOURS_PER_YEAR
    stop = _priced(numbers.mttr_h * 60)
    gain = before * (1 - numbers.share) * stop
    return {
        "before": before, "after": numbers.share * before, "stop": stop, "gain": gain,
        "all": before * stop, "mttr_min": numbers.mttr_h * 60, "percent": 100 * numbers.share,
        "shared": numbers.share * before * stop,
        "by_hours": numbers.mttr_h * _priced(HOUR_MIN),
        "one_off": (SURE_EUR, _priced(HOUR_MIN))[stop < _priced(HOUR_MIN)],
        "pays": gain > numbers.price,
        "verdict": "it pays" if gain > numbers.price else "it does not pay",
    }


def _twin_case(name: str, what: str, mtbf_h: tuple, mttr_h: tuple, price: tuple) -> Case:
    return Case(
        f"12-{name}",
        f"{what}: MTBF {{mtbf_h}} h, each failure an outage of {{mttr_h}} h. A second one costs "
        "EUR {price} a year; {percent:.0f} % of the failures take both. " + COSTS,
        {"mtbf_h": mtbf_h, "mttr_h": mttr_h, "price": price, "share": (0.1, 0.2)},
        _twin,
    )


EXAMPLE = _twin_case("worked", "The UPS", (80_000.0,), (8.0,), (480.0,))
TURNS = (
    _twin_case("turn-1", "The 24 V supply", (250_000.0, 180_000.0), (3.0, 2.0), (160.0, 1200.0)),
    _twin_case("turn-2", "The level sensor", (150_000.0, 90_000.0), (0.5, 3.0), (900.0, 300.0)),
    _twin_case("turn-3", "The controller", (60_000.0, 120_000.0), (4.0, 0.6), (1550.0, 3600.0)),
)
WORKED = (
    "Stops before less stops after, times the cost of one stop, beside the price.",
    "One stop of {mttr_min} min costs EUR {stop} on the average.",
    "8760 / ({mtbf_h} + {mttr_h}) × (1 - {share}) × {stop} = EUR {gain} a year.",
    "Gain EUR {gain} against price EUR {price} a year: {verdict}.",
)


def _sketch(case: Case) -> Choice:
    return Choice(
        f"{case.id}.sketch", "Sketch", CALCULATE, case,
        "Which sketch leads to the gain?",
        (
            Option("steps", "stops avoided, each times the cost of one stop",
                   "each stop avoided saves the steps that it would have reached.", True),
            Option("hours", "hours avoided, each times the cost of an hour",
                   "The first 30 s are free, and one step comes after 40 min. What is one hour "
                   "worth?", misconception="M34"),
            Option("all", "all stops of the plant, times the cost of a stop",
                   "One part is doubled. Which stops of the plant stay?", misconception="M15"),
        ),
        Hints("Look at what the second part takes away.",
              "Gain = stops avoided × cost of one stop.", WORKED[0]),
    )


def _sort(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.sort", "Sort", CALCULATE, case,
        "What does one such stop cost on the average?", "EUR",
        lambda n: n.stop,
        "the steps whose limit has passed are due, the last one by its chance.",
        Hints("Look at which limits have passed after {mttr_min} min.",
              "Cost = steps passed; the last one × 0.4.", WORKED[1]),
        (
            Fingerprint("M34", lambda n: 63_700.0,
                        "That takes every step in full. Which are due, and how surely?"),
            Fingerprint("M34", lambda n: 52_000.0,
                        "That is the largest step alone. Which others are due, and how surely?"),
            Fingerprint("M34", lambda n: 11_000.0,
                        "That is the first step alone. What is due after {mttr_min} min?"),
            Fingerprint("M34", lambda n: n.one_off,
                        "Is the step beyond 40 min due after {mttr_min} min?"),
            Fingerprint("M34", lambda n: n.by_hours,
                        "That is {mttr_h} times the cost of an hour. Do all minutes cost the "
                        "same?"),
        ),
        tolerance=0.01,
    )


def _calculate(case: Case) -> Numeric:
    return Numeric(
        f"{case.id}.calculate", "Calculate", CALCULATE, case,
        "What does the second one gain, in EUR a year?", "EUR/a",
        lambda n: n.gain,
        "stops avoided a year times the cost of one stop.",
        Hints("Look at stops a year first, then at the share that is left.",
              "Gain = 8760 / (MTBF + MTTR) × (1 - shared) × cost of one stop.", WORKED[2]),
        (
            Fingerprint("M11", lambda n: n.all,
                        "That takes all stops away. What of the {percent:.0f} % that take both?"),
            Fingerprint("M11", lambda n: n.shared,
                        "That is what stays, the {percent:.0f} % that take both. What goes away?"),
            Fingerprint("S02", lambda n: n.stop,
                        "That is one stop. Is there one in every year?"),
        ),
        follows=f"{case.id}.sort",
        solve_from=lambda n, stop: n.before * (1 - n.share) * stop,
    )


def _compare(case: Case) -> Choice:
    reply = "gain EUR {gain} against price EUR {price} a year."
    question = "Which is larger: your gain, or the price of EUR {price} a year?"
    return Choice(
        f"{case.id}.compare", "Compare", CALCULATE, case,
        "Is it worth it?",
        (
            Option("pays", "Yes: the gain is larger than the price", reply,
                   lambda n: n.pays, "M17", question),
            Option("not", "No: the price is larger than the gain", reply,
                   lambda n: not n.pays, "M34", question),
            Option("always", "Yes, since it also makes fewer stops",
                   "Each stop avoided is in the gain already. What would be counted twice?",
                   misconception="M17"),
        ),
        Hints("Look at both as money a year.", "It pays if gain > price.", WORKED[3]),
    )


CHAINS, CHAIN_ITEMS = faded((EXAMPLE, *TURNS), (_sketch, _sort, _calculate, _compare), WORKED)
DRILL = Numeric(
    "12-drill", "Drill: the gain of a second one", CALCULATE,
    Case(
        "12-drill",
        "The {what}: MTBF {mtbf_h} h, each failure an outage of {mttr_h} h. Of its failures "
        "{percent:.0f} % take a second one too. One stop costs EUR {stop} on the average.",
        {
            "which": (("rack", 110_000.0), ("UPS", 80_000.0), ("24 V supply", 250_000.0),
                      ("interface", 220_000.0), ("level sensor", 150_000.0)),
            "mttr_h": (3.0, 0.5, 8.0, 0.3),
            "share": (0.1, 0.2),
        },
        lambda n: {"what": n.which[0], "mtbf_h": n.which[1]} | _twin(
            SimpleNamespace(**vars(n), mtbf_h=n.which[1], price=0.0)),
    ),
    "What does a second one gain, in EUR a year?", "EUR/a",
    lambda n: n.gain, "stops avoided a year times the cost of one stop.",
    Hints("Look at stops a year first, then at the share that is left.",
          "Gain = 8760 / (MTBF + MTTR) × (1 - shared) × cost of one stop.", WORKED[2]),
    (
        Fingerprint("M11", lambda n: n.all,
                    "That takes all stops away. What of the {percent:.0f} % that take both?"),
        Fingerprint("M11", lambda n: n.shared,
                    "That is what stays, the {percent:.0f} % that take both. What goes away?"),
        Fingerprint("S02", lambda n: n.stop, "That is one stop. Is there one in every year?"),
    ),
)

# ---------------------------------------------------------------- three plants

PLANTS = {
    "Brackenquay": ("brackenquay", "V0", {"V1a": "second controller",
                                          "V1b": "supply and UPS doubled"}),
    "Elderhang": ("elderhang", "as built", {"pair": "second controller",
                                            "test": "test before the season"}),
    "Mirelow": ("mirelow", "no spare", {"pair": "second controller",
                                        "spare": "spare on the shelf"}),
}
FIRST_STEPS = ("second controller", "supply and UPS doubled", "test before the season",
               "spare on the shelf")


def _plants(numbers: SimpleNamespace) -> dict[str, object]:
    found = {"how": LASTS[numbers.durations]}
    for name, (file, since, steps) in PLANTS.items():
        ranked = _ranked(file, numbers.durations, since)
        best = max(steps, key=lambda variant: ranked[variant].gain_per_money)
        pair = next(variant for variant, words in steps.items() if words == "second controller")
        found[f"best_{name}"] = steps[best]
        found[f"pays_{name}"] = "yes" if ranked[pair].pays else "no"
        found[f"said_{name}"] = "; ".join(
            f"{words}: gain {shown(ranked[variant].gain_per_year)}, price "
            f"{shown(ranked[variant].price_per_year)}" for variant, words in steps.items())
    return found


THREE = Table(
    "12-plants", "Three plants, one question", CALCULATE,
    Case("12-plants", "Money in EUR a year, all invented; each outage lasts {how}.",
         {"durations": ("fixed", "exponential")}, _plants),
    "Does the second controller pay, and which of the two steps comes first by gain for its "
    "price?",
    tuple(PLANTS),
    ("steps", "second controller pays", "comes first"),
    {
        **{(name, "steps"): f"{{said_{name}}}" for name in PLANTS},
        **{(name, "second controller pays"): Pick(
            ("yes", "no"), lambda n, name=name: getattr(n, f"pays_{name}"),
            {"yes": ("M17", "Is its gain larger than its price?"),
             "no": ("M34", "Is its price larger than its gain?")}) for name in PLANTS},
        **{(name, "comes first"): Pick(
            FIRST_STEPS, lambda n, name=name: getattr(n, f"best_{name}"),
            {step: ("M17", "Divide gain by price for both steps of this plant. Which ratio is "
                    "larger?")
             for step in FIRST_STEPS})
           for name in PLANTS},
    },
    "the plant decides: seconds here, a long sleep there, hours to spare in the third.",
    Hints("Look at gain and price of each step.",
          "It pays if gain > price; first comes the larger gain / price.",
          "{best_Brackenquay}; {best_Elderhang}; {best_Mirelow}."),
    corner="plant",
    kept=False,
)

# ---------------------------------------------------------------- votes

VOTES = (
    Choice(
        "12-vote-next", "For voting: what next?", FIND,
        Case(
            "12-vote-next",
            "Brackenquay has its pair and a link for each. Control is still down for {left:.0f} "
            "min a year.",
            {"one": (1,)},
            lambda n: {
                "left": _outcomes("brackenquay", "fixed")["V1"].down_min_per_year["control kept"],
                "then": _outcomes("brackenquay", "fixed")["V2"].down_min_per_year["control kept"],
                "two": misconception("M17").numbers().two_min,
                "three": misconception("M17").numbers().three_min,
            },
        ),
        "What comes next?",
        (
            Option("supply", "A second supply with its UPS",
                   "it feeds both controllers; with two of it {then:.0f} min are left.", True),
            Option("third", "A third controller beside the pair",
                   "Two are down for {two:.3f} min a year, three for {three:.3f}. What did it "
                   "buy?", misconception="M17"),
            Option("nothing", "Nothing: the system is redundant now",
                   "{left:.0f} min a year come from somewhere. What do both controllers share?",
                   misconception="M15"),
        ),
        Hints("Look at what both controllers hang on.",
              "What is shared stands in series with the pair.",
              "With supply and UPS doubled, {then:.0f} of {left:.0f} min a year are left."),
        voting=True,
    ),
    Choice(
        "12-vote-relay", "For voting: the relay", FIND,
        Case(
            "12-vote-relay",
            "The low-oxygen relay KF90 is wired by itself: its horn calls somebody to open the "
            "oxygen by hand. The pair keeps control for more than 99.97 % of the time.",
            {"one": (1,)},
        ),
        "May the relay go, since the pair watches oxygen too?",
        (
            Option("no", "No: it stays, independent and tested",
                   "a pair that runs is no proof that it does the right thing.", True),
            Option("available", "Yes: the pair is available enough",
                   f"{STOP_HERE} available and safe are two goals. What acts if both make the "
                   "same error?", misconception="M27"),
            Option("double", "Yes: two controllers watch better than a relay",
                   f"{STOP_HERE} both run one program. Which error would only one of them make?",
                   misconception="M30"),
        ),
        Hints("Look at what the relay protects from.",
              "Availability says how long it runs, not that it does what is safe.",
              "One program, one sensor bus, one supply: the relay shares none of them."),
        voting=True,
    ),
)

# ---------------------------------------------------------------- make: the plant file

FILE_KEYS = ("fitted = false", "at_least = 2", "[[shared_event]]", "test_interval_h",
             "hours_per_year", "longer_than_min")
FILE_ROWS = {
    "a second supply, not there yet": (
        "fitted = false", {"at_least = 2": ("M31", "One of two supplies is enough. Is the second "
                                                   "one there?")}),
    "two of three pumps are needed": (
        "at_least = 2", {"fitted = false": ("M31", "All three are there. What says how many must "
                                                   "run?")}),
    "a digger may cut both cables": (
        "[[shared_event]]",
        {"at_least = 2": ("M26", "One event takes both. Are they independent?")}),
    "a fault shows only at a test": (
        "test_interval_h", {"fitted = false": ("M13", "The part is there, and dead. What finds "
                                                      "it?")}),
    "asked for on frost nights alone": (
        "hours_per_year", {"test_interval_h": ("M13", "A test comes at any time. When is the "
                                                      "water asked for?")}),
    "the first 30 s cost nothing": (
        "longer_than_min", {"hours_per_year": ("M34", "From when on does an outage cost "
                                                      "anything?")}),
}
FILE = Table(
    "12-file", "Say it in a plant file", FILL, Case("12-file"),
    "Which key of a plant file says it?",
    tuple(FILE_ROWS),
    ("key",),
    {(row, "key"): Pick(FILE_KEYS, lambda n, key=key: key, questions)
     for row, (key, questions) in FILE_ROWS.items()},
    "what is not in the file is in no number that comes out of it.",
    Hints("Look at the starter file: each key stands there with an example.",
          "A part, a need, an event, a test, a duty, a cost: six tables or keys.",
          "In order: fitted, at_least, shared_event, test_interval_h, hours_per_year, "
          "longer_than_min."),
    corner="what is to be said",
    kept=False,
)

# ---------------------------------------------------------------- make: the comparison

COMPARED = {"pair": ("V1a air", "V0 air"), "supply": ("V1b air", "V0 air")}
COMPARED_ROWS = {"second controller": "pair", "supply and UPS": "supply"}


def _comparison(numbers: SimpleNamespace) -> dict[str, object]:
    outcomes = _outcomes("brackenquay", numbers.durations)
    found = {"how": LASTS[numbers.durations]}
    for key, (variant, since) in COMPARED.items():
        step = _ranked("brackenquay", numbers.durations, since)[variant]
        found |= {f"before_{key}": outcomes[since].loss_per_year,
                  f"loss_{key}": outcomes[variant].loss_per_year,
                  f"price_{key}": step.price_per_year, f"gain_{key}": step.gain_per_year,
                  f"net_{key}": float(round(step.net_per_year)),
                  f"verdict_{key}": "break-even" if abs(step.net_per_year)
                  <= NEAR * step.price_per_year else "pays" if step.pays else "does not pay"}
    return found


COMPARISON_CASE = Case(
    "12-comparison",
    "Brackenquay with blowers that fail to on, all invented, EUR a year. Each outage lasts {how}. "
    "Gain less price within 5 % of the price counts as break-even.",
    {"durations": ("fixed", "exponential")}, _comparison,
)
COMPARISON = Table(
    "12-comparison", "Comparison of variants", FILL, COMPARISON_CASE,
    "What does each step gain, and what is the verdict?",
    (*COMPARED_ROWS, "advice"),
    ("loss before", "loss after", "price", "gain", "verdict"),
    {
        **{(row, "loss before"): f"{{before_{key}}}" for row, key in COMPARED_ROWS.items()},
        **{(row, "loss after"): f"{{loss_{key}}}" for row, key in COMPARED_ROWS.items()},
        **{(row, "price"): f"{{price_{key}}}" for row, key in COMPARED_ROWS.items()},
        **{(row, "gain"): Numeric(
            f"12-comparison.{key}", row, FILL, COMPARISON_CASE, row, "EUR/a",
            lambda n, key=key: getattr(n, f"gain_{key}"), "", Hints("", "", ""), (
                Fingerprint("M34", lambda n, key=key: getattr(n, f"loss_{key}"),
                            "That is the loss that stays. How much went away?"),
                Fingerprint("S06", lambda n, key=key: getattr(n, f"net_{key}"),
                            "That is what is left after the price. What is the gain before it?")),
            shows_unit=True) for row, key in COMPARED_ROWS.items()},
        **{(row, "verdict"): Pick(
            ("pays", "break-even", "does not pay"),
            lambda n, key=key: getattr(n, f"verdict_{key}"),
            {"pays": ("M17", "By how much is the gain larger than the price?"),
             "break-even": ("M17", "How far is the gain from the price, against 5 % of it?"),
             "does not pay": ("M34", "Is the price larger than the gain?")})
           for row, key in COMPARED_ROWS.items()},
        ("advice", "verdict"): Free(
            "With blowers that fail to on, supply and UPS first. On the second controller its "
            "MTBF, staff at night and the delivery contract decide.",
            ("names the step that comes first", "names what the fail state changes",
             "says on which assumption the verdict hangs")),
    },
    "a good fail state can be worth more than a second controller.",
    Hints("Look at loss before and loss after.", "Gain = loss before - loss after.",
          "Gains: {gain_pair} and {gain_supply}."),
    corner="step",
)

# ---------------------------------------------------------------- make: the test sheet

ORDER = Order(
    "12-order", "The whole task", FILL, Case("12-order"),
    "A switchover test of your own plant: bring the parts of the task into order.",
    (
        "Inform: drawings, log, and what an outage costs",
        "Plan: weak points, variants, steps of the test",
        "Decide: what pays, and every limit of the test",
        "Show the plan to the trainer, get the permit",
        "Carry out: one step at a time, as written",
        "Check: each reading against its limit",
        "Evaluate: what was shown, and what was not",
    ),
    "limits and permit come before the first switch, and the verdict after the last one.",
    Hints("Look for what has to be known before something is switched.",
          "Inform, plan, decide, then the permit; carry out, check, evaluate.",
          "Inform - plan - decide - trainer and permit - carry out - check - evaluate."),
    {
        (3, 4): ("M37", f"{STOP_HERE} something is switched before the permit. Who has agreed?"),
        (2, 5): ("M14", "Readings are judged before a limit was set. Which reading would fail?"),
    },
)

# Each step of the sheet: what is done, and the faults that stand for it at the rig.
SHEET_ROWS = {
    "power of KF1 off": ("KF1: no power",),
    "sync cable WF9 out": ("WF9: cut",),
    "WF1.10 and WF2.10 out": ("WF1+WF2: cut",),
}
EXPECTED = ("must switch", "must not switch", "fail state")


@functools.cache
def _expected(*faults: str) -> str:
    """What the rules do with faults of a healthy pair, in the words of the sheet."""
    rig = Rig()
    rig.wait(1)
    before = rig.snapshot()
    for fault in faults:
        rig.switch_on(fault)
    rig.wait(5)
    after = rig.snapshot()
    if any(state.value == "fail state" for state in after.outputs.values()):
        return "fail state"
    return "must switch" if after.writers != before.writers else "must not switch"


def _sheet(numbers: SimpleNamespace) -> dict[str, object]:
    settings = PairSettings(missed_beats=numbers.beats)
    return {
        "most_ms": switchover_budget(settings).most_ms,
        "least_ms": switchover_budget(settings).least_ms,
        "hold_ms": settings.hold_ms,
        "trials": trials_needed(numbers.success, 0.95),
        "fewer": trials_needed(numbers.success, 0.95) - 1,
        "one_in": 1 / (1 - numbers.success),
        **{f"expected_{place}": _expected(*faults)
           for place, faults in enumerate(SHEET_ROWS.values())},
    }


SHEET_CASE = Case(
    "12-sheet",
    "The budget of a switchover by loss of power is {least_ms} to {most_ms} ms. The racks hold "
    "{hold_ms} ms after the last write. WF1.10 and WF2.10 are the two lines to rack KF10. A chance "
    "of success of {success} is to be shown with 95 % confidence: trials = ln 0.05 / ln {success}, "
    "all good.",
    {"beats": (3, 2), "success": (0.97, 0.95, 0.9)}, _sheet,
)
SHEET = Table(
    "12-sheet", "Switchover test sheet", FILL, SHEET_CASE,
    "Write down what has to come out, before anybody tests.",
    (*SHEET_ROWS, "trials"),
    ("expected", "limit", "stop the test when"),
    {
        **{(row, "expected"): Pick(
            EXPECTED, lambda n, place=place: getattr(n, f"expected_{place}"),
            {"must switch": ("M38", "Which controller can still reach the racks, and is it "
                                    "silent?"),
             "must not switch": ("M35", "Who writes the racks after this step?"),
             "fail state": ("M20", "Is there really nobody left who reaches the racks?")})
           for place, row in enumerate(SHEET_ROWS)},
        ("power of KF1 off", "limit"): Numeric(
            "12-sheet.gap", "longest gap", FILL, SHEET_CASE, "longest gap", "ms",
            lambda n: float(n.most_ms), "", Hints("", "", ""),
            (Fingerprint("M20", lambda n: 50.0 * n.beats,
                         "That is the time-out alone. What follows until the first output?"),
             Fingerprint("M21", lambda n: float(n.hold_ms),
                         "{hold_ms} ms is how long the racks hold. Which limit keeps a margin?"),
             Fingerprint("S05", lambda n: float(n.least_ms),
                         "{least_ms} ms is the shortest. May a good takeover take longer?")),
            shows_unit=True),
        ("sync cable WF9 out", "limit"): "no output moves",
        ("WF1.10 and WF2.10 out", "limit"): Numeric(
            "12-sheet.hold", "fail state after", FILL, SHEET_CASE, "fail state after", "ms",
            lambda n: float(n.hold_ms), "", Hints("", "", ""),
            (Fingerprint("M20", lambda n: float(n.most_ms),
                         "{most_ms} ms is a takeover. Who takes over where no line is left?"),),
            shows_unit=True),
        ("trials", "expected"): "all good",
        ("trials", "limit"): Numeric(
            "12-sheet.trials", "trials", FILL, SHEET_CASE, "trials", "times",
            lambda n: float(n.trials), "", Hints("", "", ""),
            (Fingerprint("M12", lambda n: n.one_in,
                         "One failure is to be expected in so many. Would a worse pair fail in "
                         "them?"),
             Fingerprint("M12", lambda n: float(n.fewer),
                         "A pair with a chance of {success} passes {fewer} in more than 5 % of "
                         "cases. How many are needed?")),
            tolerance=0.003, shows_unit=True),
        ("power of KF1 off", "stop the test when"): Free(
            "The level leaves 1.0 to 1.4 m, a second alarm comes, or somebody says stop. Then KF1 "
            "on again, wait for READY, and note what happened.",
            ("gives a number of the process", "says how the plant gets back to normal",
             "says that the failed step stays on the sheet")),
    },
    "limits that are set before the test cannot bend to what comes out.",
    Hints("Look at who can still reach the racks after each step.",
          "The limit of a gap is the whole budget; the fail state comes after the hold time.",
          "{most_ms} ms; no output moves; {hold_ms} ms; {trials} trials."),
    corner="step",
)

LESSON = Lesson(
    "12",
    "Your own plant",
    (
        *RECALL, *PREDICTIONS, LIMIT,
        *CHAIN_ITEMS,
        DRILL, THREE, *VOTES, FILE, COMPARISON, ORDER, SHEET,
    ),
    CHAINS,
    tuple(item.id for item in RECALL),
)
