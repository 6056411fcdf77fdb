"""Lesson 10, reading lamps and lines: which fault is it, and what do I check next?"""

import functools
import math
from collections.abc import Mapping
from types import SimpleNamespace

from labkit.availability.parts import Part, parallel, series
from labkit.plant.plant import load_plant
from labkit.rig.bus import (
    LOOP_OHM_PER_KM,
    TERMINATOR_OHM,
    idle_voltage_mv,
    line_resistance_ohm,
    line_states,
)
from labkit.rig.finder import FaultFinder
from labkit.rig.rig import Rig
from lessons.exercises.drilling import Drill
from lessons.exercises.item_file import read_items
from lessons.exercises.scenes import FAMILIES, SceneCase
from lessons.items.rigs import rig
from lessons.pictures.seen import lamp_board_html, seen_at

FIND = "find a hidden fault on the running plant in five steps"


@functools.cache
def finder(plant: str = "brackenquay") -> FaultFinder:
    """Return the fault finder of a plant, made once.

    Parameters
    ----------
    plant : str
        A plant file, or the name of one that comes along. Default: that of the lessons.

    Returns
    -------
    FaultFinder
        Its `suspects` and `next_checks` are those of the plant.

    Examples
    --------
    >>> finder("mirelow").plant.name
    'Mirelow Mushroom House'
    """
    return FaultFinder(load_plant(plant))


def _after(*faults: str) -> Rig:
    """A rig with faults switched on after one second, and a minute later."""
    return rig(1.0, *faults, 60.0)


def _blind(numbers: SimpleNamespace) -> dict[str, object]:
    blind = _after("TF1: no power")
    snapshot = blind.snapshot()
    return {
        "snapshot": snapshot,
        "written": all(state.value == "written" for state in snapshot.outputs.values()),
        "changed": any(e.what == "role" for e in blind.record if e.time_ms > 0),
        "seen": f"The repeater has had no supply for a minute.\n{seen_at(blind)}",
    }


BLIND_SIGNS = {"PH1 DATA": "yellow", "PH1 KF1": "dark", "PH1 KF2": "dark", "PH1 PLANT": "dark",
               "KF1 ACTIVE": "green"}


@functools.cache
def _bits_a_minute() -> Mapping[str, object]:
    values = {value.name: value for value in finder().next_checks(BLIND_SIGNS)}
    names = {"repeater": "lamps of TF1", "wires": "resistance of WF3",
             "unit": "lamps of KF2"}
    rates = {key: values[name].bits_per_minute for key, name in names.items()}
    return {**{f"{key}_bpm": rate for key, rate in rates.items()},
            "best": max(rates, key=rates.get)}


STATES = {
    "good": {}, "one missing": {"far": 0}, "one too many": {"near": 2},
}


# Copper has 0.39 % more at each degree above 20 °C (IEC 60228 tells resistance at 20 °C, from
# memory), so that a good line reads a little more than the sum, and who copies the reading is seen.
WARM = 1.1


def _bus(numbers: SimpleNamespace) -> dict[str, object]:
    length_m = numbers.length_m
    copper = length_m * LOOP_OHM_PER_KM / 1000
    measured = round(line_resistance_ohm(WARM * length_m, **STATES[numbers.state]))
    whole = line_resistance_ohm(length_m)
    return {
        "copper": copper, "far": copper + TERMINATOR_OHM, "whole": whole,
        "measured": float(measured), "bare": TERMINATOR_OHM / 2,
        "three": line_resistance_ohm(length_m, near=2), "idle": idle_voltage_mv(whole),
        "deviates": measured / whole - 1,
    }


def _readings(numbers: SimpleNamespace) -> Mapping[str, object]:
    states = line_states(numbers.length_m)
    kinds = {kind: (states[state].near_ohm, states[state].far_mv) for kind, state in {
        "good": "good", "far terminator missing": "far terminator missing", "line open": "line open",
        "third terminator": "third terminator near", "no bias": "no bias",
        "wires swapped": "A and B swapped"}.items()}
    kinds["short at this end"] = (0.0, 0.0)
    found = {"whole": states["good"].near_ohm}
    for place, kind in enumerate(numbers.kinds, 1):
        found[f"ohm{place}"], found[f"mv{place}"] = kinds[kind]
    return found


SYMPTOMS = {
    "panel: no data, hall: KF1 ACTIVE": BLIND_SIGNS,
    "KF1 ALONE, KF2 all dark": {
        "KF1 ALONE": "yellow", "KF2 SUPPLY": "dark", "KF2 READY": "dark", "KF2 FAILED": "dark",
        "KF2 LOADING": "dark"},
    "two crosses at KF10, KF1 ACTIVE": {
        "KF10A LINK": "yellow", "KF10B LINK": "yellow", "KF20A LINK": "green",
        "KF1 ACTIVE": "green"},
}


@functools.cache
def _first_suspect(symptom: str) -> str:
    """Return the likeliest cause; twins that are equally likely stand together."""
    found = finder().suspects(SYMPTOMS[symptom])
    first = [each.cause.partition(": ") for each in found
             if math.isclose(each.share, found[0].share, rel_tol=1e-9)]
    return f"{' or '.join(unit for unit, _, _ in first)}: {first[0][2]}"


@functools.cache
def _first_check(symptom: str) -> str:
    return finder().next_checks(SYMPTOMS[symptom])[0].name


FIRST_NAMES = ("10-first", "10-second", "10-third", "10-fourth")
DRILLS = (
    *(
        Drill(name, f"Commented drill: {family}", FIND,
              SceneCase(name, families=(family,), kinds=("one",)), commented=True)
        for name, family in zip(FIRST_NAMES, FAMILIES, strict=True)
    ),
    Drill("10-drill", "Fault drill", FIND, SceneCase("10-drill", families=tuple(FAMILIES))),
)


LESSON = read_items(__file__, globals(), DRILLS)
