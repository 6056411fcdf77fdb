"""How often each fault comes, and from which source that is known."""

from __future__ import annotations

from labkit.plant.plant import Plant
from labkit.switchover.fault_kinds import Fault, faults_of
from labkit.wording import HOURS_PER_YEAR

__all__ = ["NO_FAULT", "rates_of", "weight_of"]

NO_FAULT = "no fault: all as it should be"
NOTHING_PER_YEAR = 1.0
UNKNOWN_EVENT_H = 876_000.0


def weight_of(plant: Plant, fault: Fault) -> float:
    """Return which share of the failures of its part a fault takes, 0 where it comes beside them.

    >>> from labkit.plant.plant import load_plant
    >>> plant = load_plant()
    >>> round(weight_of(plant, faults_of(plant)["PH1: dark"]), 6)
    0.8
    """
    if fault.kind.share is None:
        return 0.0
    # The shares of the kinds of fault that this part can have make up all of its failures.
    return fault.kind.share / sum(each.kind.share for each in faults_of(plant).values()
                                  if each.unit == fault.unit and each.kind.share is not None)


def rates_of(plant: Plant) -> dict[str, float]:
    """Return how often each cause comes.

    Returns
    -------
    dict of str to float
        Per hour, by id of the fault, and for `NO_FAULT` how often somebody is called for nothing.

    >>> from labkit.plant.plant import load_plant
    >>> rates = rates_of(load_plant())
    >>> round(rates["WF4: cut"] * 800_000, 6), round(rates["PH1: dark"] * 45_000, 6)
    (0.6, 0.8)
    """
    rates = {fault.id: _rate_per_h(plant, fault) for fault in faults_of(plant).values()}
    return rates | {NO_FAULT: NOTHING_PER_YEAR / HOURS_PER_YEAR}


def _rate_per_h(plant: Plant, fault: Fault) -> float:
    if fault.kind.share is None:
        return fault.kind.per_year / HOURS_PER_YEAR
    if fault.unit in plant.parts:
        rate_per_h = plant.parts[fault.unit].failure_rate_per_h
    else:
        rate_per_h = 1.0 / (plant.shared_events[fault.unit].mtbf_h or UNKNOWN_EVENT_H)
    return rate_per_h * weight_of(plant, fault)
