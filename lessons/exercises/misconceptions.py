"""The register: what learners say, a short correction, and a number against it, computed.

The entries stand in the file beside this module; they are common teaching experience unless a
source is named. None of them has been validated with learners yet.
"""

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace

from labkit.availability.parts import Part, parallel
from labkit.markov.chain import MarkovModel, two_state
from labkit.markov.latent import latent_faults
from labkit.markov.pair import redundant_pair
from labkit.wording import HOURS_PER_YEAR
from lessons.exercises.item import fill

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
    safety : bool
        Whether it could hurt somebody who acts on it at a plant.

    >>> misconception("M29").number()
    'Planned stops of 8 h a year leave an unavailability of 0.000913.'
    """

    id: str
    says: str
    correction: str
    sentence: str = ""
    compute: Callable[[], Mapping[str, float]] | None = None
    source: str = PRACTICE
    safety: bool = False

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


def _m07() -> dict[str, float]:
    rate = 1 / 60_000
    unrepaired = MarkovModel({("two", "one"): 2 * rate, ("one", "none"): rate}, up=["two", "one"])
    return {
        "unrepaired_h": unrepaired.mean_time_to_first_failure_h(),
        "ideal_million_h": _pair().mean_time_to_first_failure_h() / 1e6,
        "flawed_h": _pair(common_cause=0.05, coverage=0.97).mean_time_to_first_failure_h(),
    }


def _m13() -> dict[str, float]:
    never = _pair(diagnosed=0.0, test_interval_h=math.inf)
    decade_h = 10 * HOURS_PER_YEAR
    unnoticed = never.states.index("standby failed unnoticed")
    return {
        "yearly_min": latent_faults(HOURS_PER_YEAR, 0.0).down_min,
        "never_min": never.interval_unavailability(decade_h) * YEAR_MIN,
        "dead": never.hours_in_states(decade_h)[unnoticed] / decade_h,
    }


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


def _m20() -> dict[str, float]:
    from labkit.switchover.settings import PairSettings, switchover_budget

    settings, budget = PairSettings(), switchover_budget()
    return {
        "time_out_ms": settings.silence_ms,
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
        "event_cost": short.event_cost,
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
    from labkit.switchover.settings import switchover_budget

    # The role changes with the first write, before the output filter; one run is one drawing of
    # the clocks, so that the bounds are told and not its time.
    terms = switchover_budget().terms[:-1]
    return {"least_ms": sum(term.least_ms for term in terms),
            "most_ms": sum(term.most_ms for term in terms)}


def _m36() -> dict[str, float]:
    writers = _after("KF1: no power").snapshot().writers
    return {"racks": len(writers), "moved": sum(writer == "KF2" for writer in writers.values())}


def _m38() -> dict[str, float]:
    writers = _after("WF9: cut").snapshot().writers
    return {"racks": len(writers), "kept": sum(writer == "KF1" for writer in writers.values())}


def _m39() -> dict[str, float]:
    from labkit.switchover.clocks import Channel
    from labkit.switchover.settings import PairSettings
    from labkit.switchover.time_outs import false_alarms_by_beats

    single, gaps = Channel(loss=0.01), Channel(loss=0.001, beat_gap_ms=200.0)
    rates = [false_alarms_by_beats(PairSettings(), each, 4) for each in (single, gaps)]
    return {
        "single": rates[0][2] / rates[0][3],
        "gaps": rates[1][2] / rates[1][3],
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


def _computed(said: str | Mapping[str, str]) -> Callable[[], Mapping[str, float]]:
    """Return the function that `numbers` names, or one that works its formulas out."""
    if isinstance(said, str):
        return globals()[f"_{said}"]

    def worked_out() -> Mapping[str, float]:
        from lessons.exercises.item_file import ALLOWED, formula

        found = {}
        known = ALLOWED | {
            "Part": Part, "controller": _controller, "pair": _pair, "real_pair": _real_pair,
            "minutes": _minutes, "parallel": parallel, "latent_faults": latent_faults,
            "two_state": two_state, "YEAR_MIN": YEAR_MIN}
        for name, line in said.items():
            found[name] = eval(formula(line), known | found)  # checked by `formula`
        return found

    return worked_out


def _read() -> tuple[Misconception, ...]:
    """Read the register."""
    text = Path(__file__).with_suffix(".toml").read_text("utf-8")
    return tuple(
        Misconception(entry["id"], *(entry.get(key, "").replace("\n", " ")
                                     for key in ("says", "correction", "sentence")),
                      _computed(entry["numbers"]) if "numbers" in entry else None,
                      entry.get("source", PRACTICE), entry.get("safety", False))
        for entry in tomllib.loads(text)["misconception"])


REGISTER = _read()
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


def safety_concern(identifier: str | None) -> str:
    """Return what learners say where that concerns safety; empty otherwise.

    >>> safety_concern("M27"), safety_concern("M04"), safety_concern("of another course")
    ('Available means safe.', '', '')
    """
    return next((entry.says for entry in REGISTER if entry.id == identifier and entry.safety), "")
