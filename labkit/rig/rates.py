"""How often each fault comes, and from which source that is known: the plant file, or a default.

A part fails as often as its MTBF says; the kinds of fault that it can have share these failures.
What people do or leave, and what a kind has beside the failures of its part, is counted a year.
Where the file says nothing (`how_often`), the invented defaults of
`labkit.switchover.fault_kinds` count.
"""

import math

from labkit.plant.plant import Plant
from labkit.switchover.fault_kinds import Fault, faults_of
from labkit.wording import HOURS_PER_YEAR

NO_FAULT = "no fault: all as it should be"
NOTHING_PER_YEAR = 1.0
UNKNOWN_EVENT_H = 876_000.0


def weight_of(plant: Plant, fault: Fault) -> float:
    """Return which share of the failures of its part a fault takes, 0 where it comes beside them.

    >>> from labkit import load_plant
    >>> plant = load_plant()
    >>> round(weight_of(plant, faults_of(plant)["PH1: dark"]), 6)
    0.8
    """
    if fault.kind.share is None:
        return 0.0
    # The shares of the kinds of fault that this part can have make up all of its failures.
    whole = sum(_share(plant, each) for each in _beside(plant, fault))
    return _share(plant, fault) / whole if whole > 0 else 0.0


def _beside(plant: Plant, fault: Fault) -> list[Fault]:
    """Return all faults that share the failures of a part, this one among them."""
    return [each for each in faults_of(plant).values()
            if each.unit == fault.unit and each.kind.share is not None]


def _share(plant: Plant, fault: Fault) -> float:
    if fault.unit in plant.parts and plant.modes_of(fault.unit):
        return fault.kind.share
    return plant.how_often.get(fault.kind.of, {}).get(fault.how, fault.kind.share)


def rates_of(plant: Plant) -> dict[str, float]:
    """Return how often each cause comes.

    Returns
    -------
    dict of str to float
        Per hour, by id of the fault, and for `NO_FAULT` how often somebody is called for nothing.

    >>> from labkit import load_plant
    >>> rates = rates_of(load_plant())
    >>> round(rates["WF4: cut"] * 800_000, 6), round(rates["PH1: dark"] * 45_000, 6)
    (0.6, 0.8)
    """
    rates = {fault.id: _rate_per_h(plant, fault) for fault in faults_of(plant).values()}
    return rates | {NO_FAULT: NOTHING_PER_YEAR / HOURS_PER_YEAR}


def _rate_per_h(plant: Plant, fault: Fault) -> float:
    if fault.kind.share is None:
        stated = plant.how_often.get(fault.kind.of, {})
        return stated.get(fault.how, fault.kind.per_year) / HOURS_PER_YEAR
    if fault.unit in plant.parts:
        rate_per_h = plant.parts[fault.unit].failure_rate_per_h
    else:
        rate_per_h = 1.0 / (plant.shared_events[fault.unit].mtbf_h or UNKNOWN_EVENT_H)
    return rate_per_h * weight_of(plant, fault)


def restored_h(plant: Plant, fault: Fault) -> float:
    """Return how long a fault lasts on average, hours: its own time, or that of all without one.

    >>> from labkit import load_plant
    >>> plant = load_plant()
    >>> restored_h(plant, faults_of(plant)["PH1: dark"]) == plant.parts["PH1"].mttr_h
    True
    """
    if fault.unit not in plant.parts:
        return plant.shared_events[fault.unit].mttr_h
    part = plant.parts[fault.unit]
    if part.cuts and not plant.modes_of(fault.unit) and len(_beside(plant, fault)) > 1:
        shorter_h, longer_h = part.lasts_h(plant.carried_h(fault.unit))
        return longer_h if fault.breaks else shorter_h
    own = {mode.how: mode.mttr_h for mode in plant.modes_of(fault.unit)} or {
        each.how: plant.how_often.get(each.kind.of, {}).get("restored_h", {}).get(each.how)
        for each in _beside(plant, fault)}
    if own[fault.how] is not None:
        return own[fault.how]
    known = [(weight_of(plant, each), own[each.how]) for each in _beside(plant, fault)
             if own[each.how] is not None]
    # the time of the part is the mean over all its failures
    return (part.mttr_h - math.fsum(share * hours for share, hours in known)) / (
        1.0 - math.fsum(share for share, _ in known))


def source_of(plant: Plant, fault: Fault) -> str:
    """Say where the rate of a fault comes from: that of its part, and its share in it.

    >>> from labkit import load_plant
    >>> plant = load_plant()
    >>> faults = faults_of(plant)
    >>> source_of(plant, faults["KF10: module fault"]), source_of(plant, faults["WF9: cut"])
    ('practice', 'practice, share invented')
    """
    stated = plant.how_often.get(fault.kind.of, {})
    kind = stated.get("source", "invented") if fault.how in stated else "invented"
    for mode in plant.modes_of(fault.unit) if fault.unit in plant.parts else ():
        if mode.how == fault.how:
            kind = mode.source
    if fault.kind.share is None:
        return kind
    event = plant.shared_events.get(fault.unit)
    if event is not None:
        return event.source if event.mtbf_h is not None else "invented"
    whole = plant.parts[fault.unit].source_of("mtbf_h")
    return whole if whole == kind or len(_beside(plant, fault)) == 1 else f"{whole}, share {kind}"
