"""Lesson 09, latent faults and tests: is the standby alive?"""

import functools
import math
from collections.abc import Mapping
from types import SimpleNamespace

from labkit.evidence.claims import trials_needed
from labkit.markov.latent import latent_faults, latent_text
from labkit.markov.pair import redundant_pair
from labkit.plant.plant import load_plant
from labkit.rig.rates import rates_of
from labkit.switchover.lamps import lamps_of
from labkit.wording import HOURS_PER_YEAR, percent
from lessons.exercises.item_file import read_items
from lessons.exercises.misconceptions import misconception
from lessons.items.rigs import played

TESTS: Mapping[str, tuple[str, ...]] = {
    "a look at the lamps": (),
    "planned switchover": ("test: role change",),
    "sync cable pulled": ("WF9: cut",),
    "supply of the active off": ("KF1: no power",),
}
TEST_NAMES = tuple(TESTS)


@functools.cache
def _signature(hidden: str, doing: tuple[str, ...]) -> tuple:
    """What lamps, alarms and process say after a test, with a hidden fault or without."""
    rig = played(5.0, *filter(None, (hidden,)), 5.0, *doing, 60.0)
    snapshot = rig.snapshot()
    return (
        tuple((lamp.unit, lamp.name, lamp.text) for lamp in lamps_of(snapshot)),
        snapshot.alarms, tuple(each.name for each in rig.happenings),
    )


@functools.cache
def found_by(hidden: str) -> str:
    """Return the first test of `TESTS` that shows a hidden fault, by running it on the rig.

    >>> found_by("settings: racks not asked")
    'sync cable pulled'
    """
    return next((name for name, doing in TESTS.items()
                 if _signature(hidden, doing) != _signature("", doing)), "none of them")


@functools.cache
def silent_per_year() -> Mapping[str, float]:
    """Return how many latent faults a year wait for each test, by the rates of the plant."""
    rates = rates_of(load_plant())
    found = dict.fromkeys(TEST_NAMES[1:], 0.0)
    for fault_id, rate in rates.items():
        standby_side = fault_id.startswith(("KF2: integrator", "settings: ")) or (
            fault_id.endswith("B: dead and silent"))
        if standby_side and found_by(fault_id) in found:
            found[found_by(fault_id)] += rate * HOURS_PER_YEAR
    return found


_latent_faults = functools.cache(latent_faults)


def _never(numbers: SimpleNamespace) -> dict[str, object]:
    years, weeks = numbers.years, 52 * numbers.years
    pair = redundant_pair(numbers.mtbf_h, 4, diagnosed=0.0, test_interval_h=math.inf)
    place = pair.states.index("standby failed unnoticed")
    dead = float(pair.hours_in_states(years * HOURS_PER_YEAR)[place]) / (years * HOURS_PER_YEAR)
    stops = float(pair.failures_until(years * HOURS_PER_YEAR))
    yearly = _latent_faults(HOURS_PER_YEAR, 0.0, mtbf_h=numbers.mtbf_h)
    return {
        "dead": dead, "yearly": yearly, "weeks": weeks,
        "untested": _latent_faults(weeks * 168.0, 0.0, mtbf_h=numbers.mtbf_h),
        "seen": (f"Never tested in {years} years: dead and nobody knows {percent(dead)} of the time; "
                 f"{stops:.2f} stops in {years} years on the average.\n{latent_text(yearly)}"),
    }


@functools.cache
def _numbers_against(identifier: str) -> Mapping[str, float]:
    return vars(misconception(identifier).numbers())


def _hidden(numbers: SimpleNamespace) -> dict[str, object]:
    return {f"fault{i}": fault for i, fault in enumerate(numbers.faults, 1)} | {
        f"test{i}": found_by(fault) for i, fault in enumerate(numbers.faults, 1)}


INTERVALS = {"every month": 1 / 12, "every quarter": 1 / 4, "every half-year": 1 / 2,
             "every year": 1.0}
BOUND = 0.01


@functools.cache
def _longest(test: str) -> str:
    """The longest interval that keeps the share of time with such a fault within the bound."""
    allowed = [name for name, years in INTERVALS.items()
               if silent_per_year()[test] * years / 2 <= BOUND]
    return allowed[-1]


FINDS: Mapping[str, str] = {
    "not tracking": "KF2: integrator not tracking",
    "racks not asked": "settings: racks not asked",
    "hold time short": "settings: hold time too short",
}


LESSON = read_items(__file__, globals())
