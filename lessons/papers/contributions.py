"""What each single failure brings of the down time and the loss of a plant: the parts of a sum.

A cause of an outage is a set of failures (`labkit.plant.causes`). Its minutes and its money are
shared out in equal parts among the members of the set, so that nothing counts twice. The figures of
the comparison are given too: beside these parts they hold causes that meet, and larger sets.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from labkit.plant.causes import causes_of, modes_of
from labkit.plant.failing_parts import Failure
from labkit.plant.plant import Plant
from labkit.plant.stop_modes import StopMode
from labkit.plant.variants import losses

NOT_TAKEN_OVER = "not taken over"
BOTH_FAILED = "both failed"


@dataclass(frozen=True)
class Contributor:
    """Name a single failure in a set: of a part, of twins, of an event or of the pair.

    Parameters
    ----------
    name : str
        Designation or event; names joined by ``+`` for what twins or units have in common.
    alone : bool
        Whether it stops the function by itself, so that it waits for no test.

    >>> Contributor("KF10", alone=True).name
    'KF10'
    """

    name: str
    alone: bool


@dataclass(frozen=True)
class Contributions:
    """Hold the parts of the sums.

    Parameters
    ----------
    down_min_per_year : mapping of str to mapping of Contributor to float
        By function and member.
    loss_per_year : mapping of Contributor to float
        Money.
    whole_min_per_year : mapping of str to float
        The exact down time of each function.
    whole_loss_per_year : float
        The loss of the comparison, money.
    beside : mapping of str to Failure
        What takes parts out that are whole: planned work, and starts that fail.

    >>> Contributions({}, {}, {}, 0.0).loss_per_year
    {}
    """

    down_min_per_year: Mapping[str, Mapping[Contributor, float]]
    loss_per_year: Mapping[Contributor, float]
    whole_min_per_year: Mapping[str, float]
    whole_loss_per_year: float
    beside: Mapping[str, Failure] = field(default_factory=dict)


def contributions_of(plant: Plant) -> Contributions:
    """Share out the down time and the loss of a plant.

    >>> from labkit import load_plant
    >>> found = contributions_of(load_plant("mirelow"))
    >>> round(sum(found.down_min_per_year["control kept"].values()), 1)
    32.3
    """
    down: dict[str, dict[Contributor, float]] = {}
    loss: dict[Contributor, float] = defaultdict(float)
    members: dict[tuple[str, str], list[tuple[Contributor, float]]] = {}
    beside: dict[str, Failure] = {}
    known = {*plant.parts, *plant.shared_events, *(twins.name for twins in plant.twins)}
    for function in plant.functions_counted:
        down[function] = defaultdict(float)
        single = plant.single_failures(plant.condition(function))
        beside |= {name: each for name, each in single.items()
                   if _of(name, known) is None and name != plant.way_lost}
        modes = modes_of(plant, function)
        for mode in modes:
            for name in names_of(plant, mode):
                members[function, name] = list(_members(plant, function, mode, known))
        for cause in causes_of(plant, function):
            for member, share in members[function, cause.name]:
                down[function][member] += share * cause.down_min_per_year
    functions = {step.name: step.function for step in plant.costs}
    lost = losses(plant)
    for each in lost:
        for member, share in members.get((functions[each.step], each.cause.name), ()):
            loss[member] += share * each.loss_per_year
    whole = {name: plant.block(name).downtime_h_per_year * 60.0 for name in down}
    return Contributions(down, loss, whole, math.fsum(each.loss_per_year for each in lost), beside)


def _of(name: str, known: set[str]) -> str | None:
    """Return of which part, event or twins a failure is; of a long cut, what is cut."""
    if name in known:
        return name
    return max((each for each in known if name.startswith(f"{each} ")), key=len, default=None)


def names_of(plant: Plant, mode: StopMode) -> tuple[str, str]:
    """Return how a mode is named as a cause, and as one that was asleep."""
    both = "+".join(plant.pair.units) if mode.pair_state else ""
    now = [*mode.failures, *([f"{mode.unit_out} out"] if mode.unit_out else []),
           *([f"{both} {mode.pair_state}"] if both else [])]
    asleep = [*mode.failures, *filter(None, [mode.unit_out or both])]
    return " and ".join(now), " and ".join(asleep) + " asleep"


def _members(plant: Plant, function: str, mode: StopMode, known: set[str]
             ) -> Iterator[tuple[Contributor, float]]:
    """Yield the members of a set with their shares, which sum to 1; of a way lost, what cuts it off."""
    alone = mode.size == 1
    part = 1.0 / mode.size
    if mode.failures == (plant.way_lost,):
        found = {each.name: each.rate_per_h * each.down_h for each in plant.cut_off(plant.condition(function))}
        for name, down in found.items():
            yield Contributor((_of(name, known) or name).removesuffix(" common cause"), True), (
                down / math.fsum(found.values()))
        return
    for name in mode.failures:
        yield Contributor((_of(name, known) or name).removesuffix(" common cause"), alone), part
    if mode.unit_out:
        yield Contributor(mode.unit_out, False), part
    if mode.pair_state:
        both = "+".join(plant.pair.units)
        if mode.pair_state == NOT_TAKEN_OVER:
            yield Contributor(f"{both} {NOT_TAKEN_OVER}", alone), part
        else:
            common = _common_share(plant)
            yield Contributor(both, alone), part * common
            for unit in plant.pair.units:
                yield Contributor(unit, False), part * (1.0 - common) / 2.0


def _common_share(plant: Plant) -> float:
    """Return which share of the times that both units are out begins with both at once."""
    model = plant.pair_chain
    share = dict(zip(model.states, map(float, model.steady_state()), strict=True))
    into = {one: share[one] * rate for (one, two), rate in model.rates.items()
            if two == BOTH_FAILED}
    return into.get("both good", 0.0) / math.fsum(into.values()) if any(into.values()) else 0.0
