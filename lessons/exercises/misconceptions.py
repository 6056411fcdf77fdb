"""The register: what learners say, a short correction, and a number against it, computed.

The entries are common teaching experience unless a source is named in ``source``; none of them
has been validated with learners yet. M35 and on belong to the roles of a pair. Slips (S01 and on)
are errors of arithmetic, not of understanding, and carry no number.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import SimpleNamespace

from labkit.availability.parts import Part, at_least, parallel, series
from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.latent import latent_faults
from labkit.markov.pair import redundant_pair
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.item import fill

__all__ = ["REGISTER", "Misconception", "misconception"]

PRACTICE = "teaching experience"
YEAR_MIN = HOURS_PER_YEAR * 60


@dataclass(frozen=True)
class Misconception:
    """One entry of the register.

    Parameters
    ----------
    id : str
        M01 and on, or S01 and on for slips.
    says : str
        What learners say.
    correction : str
        What holds instead.
    sentence : str
        Template of the number against it; empty while its model is not there.
    compute : callable or None
        Returns the numbers of the template, from the models.
    source : str
        Where it is described.

    Examples
    --------
    >>> misconception("M29").number()
    'Planned stops of 8 h a year leave an unavailability of 9.13e-04.'
    """

    id: str
    says: str
    correction: str
    sentence: str = ""
    compute: Callable[[], Mapping[str, float]] | None = None
    source: str = PRACTICE

    def numbers(self) -> SimpleNamespace:
        """Compute the numbers against it.

        Returns
        -------
        SimpleNamespace
            By name; empty where there are none.
        """
        return SimpleNamespace(**(self.compute() if self.compute else {}))

    def number(self) -> str:
        """Return the number against it as a sentence.

        Returns
        -------
        str
            Empty where there is none yet.
        """
        return fill(self.sentence, self.numbers())


def _controller(mttr_h: float = 4.0) -> Part:
    return Part("controller", mtbf_h=60_000, mttr_h=mttr_h)


def _pair(mttr_h: float = 4.0, **flaws: float) -> MarkovModel:
    return redundant_pair(60_000, mttr_h, **flaws)


def _real_pair(mttr_h: float = 4.0) -> MarkovModel:
    return _pair(mttr_h, common_cause=0.05, coverage=0.97, diagnosed=0.9)


def _minutes(model: Part | MarkovModel) -> float:
    """Down time in minutes per year of a block or a chain."""
    return model.unavailability * YEAR_MIN


def _m01() -> dict[str, float]:
    survives = _controller().mission_reliability
    return {"one_mtbf": survives(60_000), "first_year": 1 - survives(HOURS_PER_YEAR)}


def _m02() -> dict[str, float]:
    modules = series(*(Part(f"module {i}", mtbf_h=200_000, mttr_h=1) for i in range(12)))
    return {"years": 1 / (modules.failures_per_h * HOURS_PER_YEAR)}


def _m03() -> dict[str, float]:
    out_min = 1e-4 * YEAR_MIN
    return {"once_min": out_min, "short_stops": round(out_min)}


def _m04() -> dict[str, float]:
    shares = (0.999, 0.995, 0.98)
    average, product = sum(shares) / 3, math.prod(shares)
    return {
        "average": average,
        "average_h": (1 - average) * HOURS_PER_YEAR,
        "product": product,
        "product_h": (1 - product) * HOURS_PER_YEAR,
    }


def _m05() -> dict[str, float]:
    chain = MarkovModel({("up", "down"): 1 / 60_000 + 1 / 90_000}, up=["up"])
    return {"together_h": chain.mean_time_to_first_failure_h()}


def _m06() -> dict[str, float]:
    parts = series(*(Part(f"part {i}", mtbf_h=9_999, mttr_h=1) for i in range(20)))
    return {"all": parts.availability, "down_h": parts.downtime_h_per_year}


def _m07() -> dict[str, float]:
    rate = 1 / 60_000
    unrepaired = MarkovModel({("two", "one"): 2 * rate, ("one", "none"): rate}, up=["two", "one"])
    return {
        "unrepaired_h": unrepaired.mean_time_to_first_failure_h(),
        "ideal_million_h": _pair().mean_time_to_first_failure_h() / 1e6,
        "flawed_h": _pair(common_cause=0.05, coverage=0.97).mean_time_to_first_failure_h(),
    }


def _m08() -> dict[str, float]:
    square_min = _controller().unavailability ** 2 * YEAR_MIN
    real_min = _minutes(_real_pair())
    return {"square_s": square_min * 60, "real_min": real_min, "ratio": real_min / square_min}


def _m09() -> dict[str, float]:
    return {
        "short_min": _minutes(_controller()),
        "long_h": _minutes(_controller(72)) / 60,
        "pair_short_min": _minutes(_real_pair()),
        "pair_long_min": _minutes(_real_pair(72)),
    }


def _m10() -> dict[str, float]:
    return {"swap_min": _minutes(_controller(0.75)), "outage_min": _minutes(_controller(9))}


def _m11() -> dict[str, float]:
    ideal, shared = _minutes(_pair()), _minutes(_pair(common_cause=0.05))
    return {"ideal": ideal, "shared": shared, "ratio": shared / ideal}


def _m12() -> dict[str, float]:
    years = [
        _pair(coverage=c).mean_time_to_first_failure_h() / HOURS_PER_YEAR for c in (1.0, 0.97)
    ]
    return {"always": years[0], "mostly": years[1]}


def _m13() -> dict[str, float]:
    never = _pair(diagnosed=0.0, test_interval_h=math.inf)
    decade_h = 10 * HOURS_PER_YEAR
    unnoticed = never.states.index("standby failed unnoticed")
    return {
        "yearly_min": _minutes(_pair(diagnosed=0.0, test_interval_h=HOURS_PER_YEAR)),
        "never_min": never.interval_unavailability(decade_h) * YEAR_MIN,
        "dead": never.hours_in_states(decade_h)[unnoticed] / decade_h,
    }


def _m14() -> dict[str, float]:
    return {"none": latent_faults(4380.0, 0.0).mean_dead,
            "most": latent_faults(4380.0, 0.9).mean_dead}


def _m16() -> dict[str, float]:
    repeater_min = _minutes(Part("repeater", mtbf_h=180_000, mttr_h=5))
    return {"repeater_min": repeater_min, "ratio": repeater_min / _minutes(_real_pair())}


def _m17() -> dict[str, float]:
    shared, repair = 0.05 / 60_000, 1 / 4
    alone = 0.95 / 60_000
    three = MarkovModel(
        {
            (3, 2): 3 * alone, (3, 0): shared, (2, 1): 2 * alone, (2, 0): shared,
            (1, 0): 1 / 60_000, (0, 1): repair, (1, 2): repair, (2, 3): repair,
        },
        up=[3, 2, 1],
    )
    return {"two_min": _minutes(_pair(common_cause=0.05)), "three_min": _minutes(three)}


def _m18() -> dict[str, float]:
    # Each time the fault goes the role goes back, and each time it comes the role leaves again.
    return {"automatic": 6 * 24 * 2, "manual": 1}


def _m19() -> dict[str, float]:
    beats_per_day = 24 * 3600 / 0.05
    per_day = [0.01**n * 0.99 * beats_per_day for n in range(1, 5)]
    return {"one": per_day[0], "two": per_day[1], "three": per_day[2], "four": per_day[3] * 365}


def _m20() -> dict[str, float]:
    from labkit.switchover.settings import PairSettings, switchover_budget

    settings, budget = PairSettings(), switchover_budget()
    return {
        "time_out_ms": settings.missed_beats * settings.heartbeat_ms,
        "least_ms": budget.least_ms,
        "most_ms": budget.most_ms,
    }


def _m21() -> dict[str, float]:
    from labkit.rig.holding import hold_run

    short, long = hold_run(200), hold_run(500)
    low_trip_s = next(each.time_s for each in short.happenings if each.name == "low trip")
    return {
        "gap_ms": short.gap_ms,
        "low_s": low_trip_s - 1.0 - short.dropped_ms / 1000,
        "cost_eur": short.cost_eur,
        "moved_mm": long.moved_mm,
    }


def _m22() -> dict[str, float]:
    from labkit.rig.tank import Drive, HeaderTank

    tank = HeaderTank()
    tank.run(60.0, Drive(pumps="held", valve="held", valve_shut=True))
    return {"overflow_s": next(e.time_s for e in tank.happenings if e.name == "overflow")}


def _m23() -> dict[str, float]:
    from labkit.rig.tank import Drive, HeaderTank, ride_through_s

    tank = HeaderTank()
    settings = tank.settings
    points = 100 * (settings.balance_opening - settings.untracked_opening)
    flow = points / 100 * settings.outflow_full_l_per_s
    # The new loop acts from the first moment on: no gap at all.
    tank.run(1.0, Drive(leaders=("KF1",)))
    tank.run(180.0, Drive(leaders=("KF2",), untracked=frozenset({"KF2"})))
    return {
        "points": points,
        "flow": flow,
        "peak_m": max(row[1] for row in tank.history) - settings.set_point_m,
        "overflow_s": ride_through_s(settings, flow),
    }


def _m24() -> dict[str, float]:
    years = 300_000 / HOURS_PER_YEAR
    return {"years": years, "fleet": 50 / years}


def _m25() -> dict[str, float]:
    return {f"of_{n}": n - (n // 2 + 1) for n in (2, 3)}


def _m26() -> dict[str, float]:
    cables = [Part(name, mtbf_h=300_000, mttr_h=6) for name in ("cable 1", "cable 2")]
    alone = parallel(*cables)
    shared = series(alone, Part("duct", mtbf_h=3_000_000, mttr_h=6))
    return {
        "independent": 1 / (alone.failures_per_h * HOURS_PER_YEAR),
        "shared": 1 / (shared.failures_per_h * HOURS_PER_YEAR),
    }


def _m27() -> dict[str, float]:
    from labkit.markov.demand import pfd_1oo1, pfd_1oo2

    # The undetected failures alone, and nothing for the repair after a test.
    known = {"test_interval_h": HOURS_PER_YEAR, "mttr_h": 0.0}
    spurious = 1e-5 * HOURS_PER_YEAR
    return {
        "one": pfd_1oo1(2e-6, **known),
        "two": pfd_1oo2(2e-6, common_cause=0.05, **known),
        "one_stops": spurious,
        "two_stop": 2 * spurious,
    }


def _m28() -> dict[str, float]:
    from labkit.evidence.claims import observation_needed_h
    from labkit.evidence.limits import mtbf_limits

    seen = mtbf_limits(17_520, 0, confidence=0.9, sided="lower")
    return {"proved_h": seen.lower, "needed_h": observation_needed_h(60_000, 0.9)}


def _m29() -> dict[str, float]:
    return {"lost": 8 / HOURS_PER_YEAR}


def _m30() -> dict[str, float]:
    return {"single": _minutes(_controller()), "pair": _minutes(_pair(common_cause=1.0))}


def _m31() -> dict[str, float]:
    pumps = [Part(name, mtbf_h=25_000, mttr_h=12) for name in ("GP1", "GP2")]
    one, both = at_least(1, *pumps), at_least(2, *pumps)
    return {"both_h": both.downtime_h_per_year, "one_min": one.downtime_h_per_year * 60}


def _after(*faults: str, wait_s: float = 10.0):
    """Run the plant of the lessons with faults on; loaded late, since most readers need it not."""
    from labkit.rig.rig import Rig

    rig = Rig()
    for fault in faults:
        rig.switch_on(fault)
    rig.wait(wait_s)
    return rig


def _m32() -> dict[str, float]:
    from labkit.switchover.lamps import lamps_of

    snapshot = _after("PH1: dark").snapshot()
    lamps = [lamp for lamp in lamps_of(snapshot) if lamp.unit == "PH1"]
    return {
        "all": len(lamps),
        "dark": sum(not lamp.lit for lamp in lamps),
        "racks": sum(state.value == "written" for state in snapshot.outputs.values()),
    }


def _m35() -> dict[str, float]:
    rig = _after("KF1: no power")
    return {"gap_ms": next(e.time_ms for e in rig.record if (e.who, e.new) == ("KF2", "active"))}


def _m36() -> dict[str, float]:
    writers = _after("KF1: no power").snapshot().writers
    return {"racks": len(writers), "moved": sum(writer == "KF2" for writer in writers.values())}


def _m38() -> dict[str, float]:
    writers = _after("WF9: cut").snapshot().writers
    return {"racks": len(writers), "kept": sum(writer == "KF1" for writer in writers.values())}


def _m39() -> dict[str, float]:
    from labkit.switchover.clocks import Channel
    from labkit.switchover.settings import PairSettings
    from labkit.switchover.time_outs import false_trips_by_beats

    single, bursts = Channel(loss=0.01), Channel(loss=0.001, burst_ms=200.0)
    rates = [false_trips_by_beats(PairSettings(), each, 4) for each in (single, bursts)]
    return {
        "single": rates[0][2] / rates[0][3],
        "bursts": rates[1][2] / rates[1][3],
        "per_day": rates[1][3] / 365,
    }


def _m15() -> dict[str, float]:
    from labkit.plant.plant import load_plant

    plant = load_plant()
    names = {"single": "V0", "pair": "V1a", "links": "V1", "supply": "V2"}
    return {key: 60 * plant.variant(name).block("control kept").downtime_h_per_year
            for key, name in names.items()}


def _m34() -> dict[str, float]:
    from labkit.plant.plant import load_plant
    from labkit.plant.variants import outage_cost

    plant, lengths_min = load_plant(), {"short": 1 / 3, "middle": 20.0, "long": 60.0}
    return {"short_s": 20.0, "middle_min": 20.0, "long_min": 60.0} | {
        key: outage_cost(plant, down_min) for key, down_min in lengths_min.items()}


def _m33() -> dict[str, float]:
    return {"two": 120 / 2, "three": 120 / 3}


def _m47() -> dict[str, float]:
    kf1 = two_state(60_000, 4)
    return {
        "one_mttr": float(kf1.unavailability_at(4.0)) / kf1.unavailability,
        "near_h": math.log(20) / (1 / 60_000 + 1 / 4),
    }


REGISTER = (
    Misconception(
        "M01", "An MTBF of 60 000 h means that it lasts about 7 years.",
        "MTBF is a failure rate turned over. It holds in the useful life and is no lifetime.",
        "Only {one_mtbf:.1%} survive one MTBF, and {first_year:.1%} fail in the first year.",
        _m01, "described widely in texts on reliability",
    ),
    Misconception(
        "M02", "The MTBF is high, so nothing will happen this year.",
        "Many parts add their failure rates.",
        "12 modules of 200 000 h each have one failure every {years:.1f} years.", _m02,
    ),
    Misconception(
        "M03", "Availability is the same as reliability.",
        "One availability goes with many numbers of interruptions.",
        "99.99 % is one stop of {once_min:.0f} min or {short_stops} stops of 1 min a year.", _m03,
    ),
    Misconception(
        "M04", "The availability of a chain is the average of its parts.",
        "In series the availabilities multiply.",
        "Average {average:.4f} ({average_h:.0f} h/a), product {product:.4f} "
        "({product_h:.0f} h/a).", _m04,
    ),
    Misconception(
        "M05", "The MTBFs in a chain add up, or the mean counts.",
        "Failure rates add.",
        "60 000 h and 90 000 h in series give {together_h} h.", _m05,
    ),
    Misconception(
        "M06", "The nines of the part are the nines of the system.",
        "Every part in the chain costs availability.",
        "20 parts of 99.99 % give {all:.2%}, {down_h:.1f} h/a down.", _m06,
    ),
    Misconception(
        "M07", "Two controllers double the MTBF.",
        "Without repair it is half as much again. With repair it is far more, limited by common "
        "causes and failed takeovers.",
        "{unrepaired_h} h without repair; ideal with repair {ideal_million_h:.0f} million h; "
        "with 5 % common causes and 97 % coverage {flawed_h} h.", _m07,
        "textbooks on reliability (standby redundancy with and without repair)",
    ),
    Misconception(
        "M08", "A pair squares the unavailability, and that is all.",
        "Only if failures are independent, always noticed and always taken over.",
        "Square {square_s:.2f} s/a; with real flaws {real_min:.1f} min/a, {ratio:.0f} times more.",
        _m08, "Arnold 1973; Birolini 2007, section 6",
    ),
    Misconception(
        "M09", "Repair time is a detail.",
        "The down time of one unit is proportional to it, and so is the shared part of a pair's.",
        "4 h to 72 h: single {short_min:.0f} min/a to {long_h:.1f} h/a; pair "
        "{pair_short_min:.1f} to {pair_long_min:.0f} min/a.", _m09,
    ),
    Misconception(
        "M10", "MTTR is the time to swap the part.",
        "Notice, travel, diagnosis, part, swap and retest all count.",
        "45 min of swap in an outage of 9 h: {swap_min:.1f} against {outage_min:.1f} min/a.",
        _m10,
    ),
    Misconception(
        "M11", "Common cause is a rarity for specialists.",
        "It makes most of the down time of a good pair.",
        "5 % alone: {ideal:.3f} to {shared:.2f} min/a, {ratio:.0f} times.", _m11,
        "Arnold 1973; Birolini 2007, section 6",
    ),
    Misconception(
        "M12", "The switchover always works.",
        "The share of failures that are taken over is a number to be measured.",
        "From 100 % to 97 %: the first outage after {always} years becomes {mostly:.0f} years.",
        _m12, "Arnold 1973; MIL-HDBK-338B on switching",
    ),
    Misconception(
        "M13", "The standby cannot fail silently, for it is lit.",
        "Some faults show only when the standby is needed.",
        "Faults unseen and a yearly test: {yearly_min:.1f} min/a. Never tested in 10 years: "
        "{never_min:.0f} min/a, standby dead {dead:.0%} of the time.", _m13,
        "Birolini 2007, section 6 (hidden failures)",
    ),
    Misconception(
        "M14", "It passed at acceptance, so it works.",
        "Tests age.",
        "Half-yearly test: a dead standby {none:.1%} of the time, {most:.2%} where 90 % of "
        "its faults are seen.", _m14,
    ),
    Misconception(
        "M15", "Redundant controllers make the system redundant.",
        "Look at what both share.",
        "Control of the plant is down: all single {single:.0f} min/a, pair of controllers "
        "{pair:.0f}, links doubled too {links:.0f}, supply doubled too {supply:.0f}.", _m15,
    ),
    Misconception(
        "M16", "The repeater only boosts, so that it cannot be a weak point.",
        "It is in series with everything behind it.",
        "180 000 h and 5 h: {repeater_min:.1f} min/a, {ratio:.0f} times the pair.", _m16,
    ),
    Misconception(
        "M17", "More redundancy is always better.",
        "Common causes cap the gain; each addition brings parts, tests and mistakes.",
        "A third controller at 5 % common causes: {two_min:.3f} to {three_min:.3f} min/a.", _m17,
    ),
    Misconception(
        "M18", "The active role goes back by itself when the unit is repaired.",
        "Returning is a choice; automatic return repeats the disturbance.",
        "A fault that comes and goes 6 times an hour: {automatic} switchovers a day with automatic "
        "return, {manual} without.", _m18,
    ),
    Misconception(
        "M19", "A shorter time-out is always better.",
        "Short time-outs trip on lost messages.",
        "50 ms beat, 1 % lost: {one} false trips a day on 1 missed beat, {two:.0f} on 2, "
        "{three:.1f} on 3, {four:.0f} a year on 4.", _m19,
    ),
    Misconception(
        "M20", "The switchover takes the time-out.",
        "Detection, decision, cycle, rack update and output filter add up.",
        "A time-out of {time_out_ms} ms makes a switchover of {least_ms} to {most_ms} ms.", _m20,
    ),
    Misconception(
        "M21", "A gap of 0.28 s is nothing.",
        "It depends on what the racks do meanwhile.",
        "A gap of {gap_ms} ms, racks hold 200 ms: pumps drop, low trip {low_s:.0f} s later, EUR "
        "{cost_eur}. Racks hold 500 ms: the level moves {moved_mm:.1f} mm.", _m21,
    ),
    Misconception(
        "M22", "Holding outputs is always safe.",
        "Held is right only while the plant needs the same value.",
        "The outlet is shut while the pumps are held on: overflow after {overflow_s:.0f} s.", _m22,
    ),
    Misconception(
        "M23", "Bumpless means that there is no gap.",
        "A gap is time without control; a bump is a step of the output.",
        "No gap, and a step of {points:.0f} points or {flow:.0f} L/s: the level peaks "
        "{peak_m:.2f} m above the set-point. Without the loop it overflows in {overflow_s:.0f} s.",
        _m23,
    ),
    Misconception(
        "M24", "Both active is twice as safe.",
        "Two writers fight, and nobody controls.",
        "One sync cable of 300 000 h and no other check: both active once in {years:.0f} years, "
        "{fleet:.1f} times a year in 50 pairs.", _m24,
    ),
    Misconception(
        "M25", "The majority of two decides.",
        "The majority of two is two. A third vote or an writer's mark at the racks is needed.",
        "Two voters tolerate {of_2} losses, three tolerate {of_3}.", _m25,
    ),
    Misconception(
        "M26", "Two cables are independent.",
        "They share a tray, and one digger.",
        "Independent: one outage in {independent} years. With 10 % common causes: one in "
        "{shared:.0f} years.", _m26,
    ),
    Misconception(
        "M27", "Available means safe.",
        "Running and safe are separate goals, sometimes opposed.",
        "Shut down by one of two, not by one alone: {one:.1e} becomes {two:.1e} failures on "
        "demand, and {one_stops:.3f} becomes {two_stop:.3f} stops a year for nothing.", _m27,
        "texts on functional safety; formulas of IEC 61508-6, Annex B",
    ),
    Misconception(
        "M28", "A year without failure proves 60 000 h.",
        "Little data gives a wide interval.",
        "No failure in 17 520 unit-hours proves {proved_h} h at 90 %; 60 000 h need {needed_h} "
        "unit-hours.", _m28,
    ),
    Misconception(
        "M29", "Planned stops do not count.",
        "That depends on the definition agreed; say which.",
        "Planned stops of 8 h a year leave an unavailability of {lost}.", _m29,
    ),
    Misconception(
        "M30", "The same program in both protects against program errors.",
        "It is the same error at the same moment.",
        "All causes shared: pair {pair:.0f} min/a, single {single:.0f} min/a.", _m30,
    ),
    Misconception(
        "M31", "Two pumps are two pumps, whether one or both are needed.",
        "How many of them are needed decides.",
        "25 000 h and 12 h: both needed {both_h:.1f} h/a; one needed {one_min:.2f} min/a.", _m31,
    ),
    Misconception(
        "M32", "A lamp that is off means that there is no fault.",
        "Off can be a dead lamp, no supply, or no signal. Ask for the lamp test and a sign of "
        "life.",
        "Panel dark: {dark} of {all} of its lamps are off, and {racks} of {racks} racks are "
        "written.", _m32,
    ),
    Misconception(
        "M33", "More terminators make a cleaner bus.",
        "It takes two, one at each end.",
        "Two terminators load the bus with {two} Ω, three with {three} Ω; the driver is made for "
        "54 Ω or more.", _m33, "TIA/EIA-485-A, quoted from memory",
    ),
    Misconception(
        "M34", "The cost of down time is proportional to time.",
        "There are thresholds: free, then steep.",
        "Control of the plant is out: {short_s:.0f} s cost EUR {short}, {middle_min:.0f} min EUR "
        "{middle}, {long_min:.0f} min EUR {long} on the average.", _m34,
    ),
    Misconception(
        "M35", "A standby takes over only when somebody starts it.",
        "It takes over by itself, and somebody is told.",
        "The power of KF1 is cut: KF2 leads after {gap_ms} ms, and nobody did anything.", _m35,
    ),
    Misconception(
        "M36", "A rack belongs to one controller for good.",
        "The writer of a rack follows the active role.",
        "The power of KF1 is cut: {moved} of {racks} racks take their writes from KF2.", _m36,
    ),
    Misconception(
        "M37", "A standby or a stopped program is as good as an isolation.",
        "A redundant unit can switch a drive on without anybody touching it.",
        "A standby becomes active within {gap_ms} ms, and its drives may start.", _m35,
    ),
    Misconception(
        "M38", "A lost heartbeat means that the partner is dead.",
        "It means that nothing is known. The racks know more.",
        "The sync cable is cut: KF2 misses all beats, and KF1 still writes {kept} of {racks} racks.",
        _m38,
    ),
    Misconception(
        "M39", "One more missed beat cures a noisy cable.",
        "A burst takes all beats that fall into it; another way helps, and not a longer wait.",
        "From 3 beats to 4: {single:.0f} times rarer with single losses, {bursts:.1f} times with "
        "bursts of 200 ms a minute; {per_day:.0f} a day are left.", _m39,
    ),
    Misconception(
        "M47", "The long-run unavailability holds from the first hour on.",
        "It is reached after some repair times; right after a start it is far off.",
        "MTBF 60 000 h, MTTR 4 h: after 4 h U is {one_mttr:.0%} of its long run, within 5 % after "
        "{near_h:.0f} h.", _m47,
    ),
    Misconception(
        "S01", "The number is given in another unit than the one written.",
        "Write the number and the unit that belongs to it.",
    ),
    Misconception(
        "S02", "The repair time is taken for the down time of a whole year.",
        "The down time of a year is failures a year times repair time.",
    ),
    Misconception(
        "S03", "A quotient is turned upside down.",
        "Check the unit of the quotient: years per failure, or failures per year.",
    ),
    Misconception(
        "S04", "Availability and unavailability are exchanged.",
        "Availability is the share of time up, unavailability the share of time down.",
    ),
    Misconception(
        "S05", "A count of intervals is off by one, or taken at the wrong end.",
        "Draw the line and count the intervals between the marks.",
    ),
    Misconception(
        "S06", "Chances are added or divided where all must come together.",
        "Independent chances multiply where all of them must come together.",
    ),
    Misconception(
        "S07", "The hours of one unit, or one entry of many, are taken for all.",
        "Count the units that run at the same time, and each event once.",
    ),
    Misconception(
        "S08", "The copper of a long line is left out, or counted twice.",
        "The far terminator is seen through the copper of both wires.",
    ),
    Misconception(
        "S09", "Resistances side by side are added.",
        "Side by side the result is below each of them.",
    ),
)
"""All entries, the misconceptions and then the slips, in order."""


def misconception(identifier: str) -> Misconception:
    """Return the entry of an identifier.

    Parameters
    ----------
    identifier : str
        M01 and on, or S01 and on.

    Returns
    -------
    Misconception
        The entry.

    Raises
    ------
    ValueError
        Where there is no such entry.

    Examples
    --------
    >>> misconception("M03").correction
    'One availability goes with many numbers of interruptions.'
    """
    for entry in REGISTER:
        if entry.id == identifier:
            return entry
    raise ValueError(f"identifier must be one of the register, got {identifier!r}")
