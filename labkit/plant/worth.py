"""What the state of a plant is worth: the money that outages cost a year, and that of one event.

The healthy plant loses what `labkit.plant.variants.losses` counts. From here, with broken parts
that
stay broken, a function is lost more often; each of its outages is taken to cost on average what
it costs on the healthy plant, so the loss grows as the number of outages does. That number is
exact; the price of an outage is the approximation. A function that is lost already is no longer a
matter of expectation: its cost steps are due as soon as it has lasted long enough.

One event is priced by the same steps, by what it did to the process: each step says which
happenings its cost falls on.
"""

import math
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType

from labkit.arguments import instance, instances, written
from labkit.plant.plant import Plant
from labkit.plant.tank_data import HAPPENINGS
from labkit.plant.variants import losses
from labkit.wording import did_you_mean, grouped


@dataclass(frozen=True)
class Due:
    """Hold a cost step that runs because its function is lost now.

    Parameters
    ----------
    after_min : float
        How long the outage must last for it, minutes.
    cost : float
        Expected cost, the chance counted in, >= 0.
    cost_per_h : float
        The same for each hour from then on.

    >>> Due("call-out", "control kept", 22.0, 700.0).after_min
    22.0
    """

    step: str
    function: str
    after_min: float
    cost: float
    cost_per_h: float = 0.0

    def money(self, currency: str) -> str:
        """Write what it costs.

        >>> Due("crop lost", "fans kept", 133.0, 0.0, 90.0).money("EUR")
        'EUR 90 an hour'
        """
        costs = [f"{currency} {grouped(self.cost)}"] if self.cost or not self.cost_per_h else []
        if self.cost_per_h:
            costs.append(f"{currency} {grouped(self.cost_per_h)} an hour")
        return " and ".join(costs)


@dataclass(frozen=True)
class Worth:
    """Hold what outages cost from a state on.

    Parameters
    ----------
    healthy_per_year : float
        Expected loss of the healthy plant, money a year.
    here_per_year : float
        The same from here, of the functions that still work.
    due : tuple of Due
        What is due if the present outage lasts, soonest first.

    >>> Worth("EUR", 8600.0, 8600.0, ()).text()
    'Outages cost EUR 8 600 a year on average, as on the healthy plant.'
    """

    currency: str
    healthy_per_year: float
    here_per_year: float
    due: tuple[Due, ...]

    def text(self) -> str:
        """Return it in a sentence or two."""
        healthy = f"{self.currency} {grouped(self.healthy_per_year)}"
        here = f"{self.currency} {grouped(self.here_per_year)}"
        if here == healthy:
            said = [f"Outages cost {here} a year on average, as on the healthy plant."]
        elif self.here_per_year > 0:
            said = [f"Outages cost {here} a year on average from here, {healthy} when healthy."]
        else:
            said = [f"Outages cost {healthy} a year on average when healthy."]
        if self.due:
            steps = "; ".join(f"{each.step} {each.money(self.currency)} after {each.after_min:g} min"
                              for each in self.due)
            said.append(f"Lost now, due if it lasts: {steps}.")
        return " ".join(said)


@lru_cache(maxsize=32)
def healthy_losses(plant: Plant) -> Mapping[str, float]:
    """Return for each cost step what it costs a year on the healthy plant.

    Returns
    -------
    mapping of str to float
        Money a year, by the name of the step; steps that never come are left out.

    >>> from labkit import load_plant
    >>> sorted(healthy_losses(load_plant()))
    ['basins lost', 'call-out', 'two batches held, pumps primed again']
    """
    by_step: dict[str, float] = {}
    for loss in losses(plant):
        by_step[loss.step] = by_step.get(loss.step, 0.0) + loss.loss_per_year
    return MappingProxyType(by_step)


def worth_of(plant: Plant, broken: Iterable[str] = (), now: Plant | None = None) -> Worth:
    """Say what outages cost a year, with broken parts that stay broken.

    Parameters
    ----------
    plant : Plant
        With cost steps in its file.
    broken : iterable of str
        Designations of the parts that are broken. Default: none.
    now : Plant, optional
        The plant as it is fed now, where batteries carry some of it.

    Raises
    ------
    ValueError
        If the plant has no cost steps, or a designation is not in the plant.

    >>> from labkit import load_plant
    >>> plant = load_plant()
    >>> worth_of(plant).here_per_year < worth_of(plant, {"KF1"}).here_per_year
    True
    """
    if not plant.costs:
        raise ValueError(f"plant must have cost steps, got {plant.name} without any")
    by_step = healthy_losses(plant)
    broken, now = frozenset(broken), now or plant
    here, due, more = [], [], {}
    for name in {step.function for step in plant.costs}:
        condition = now.condition(name, broken)
        if condition is not False:
            often = plant.block(name).failures_per_h
            from_here = now.block_of(condition, now.stands_idle(name)).failures_per_h
            more[name] = from_here / (often or math.inf)
    for step in plant.costs:
        if step.function not in more:
            due.append(Due(step.name, step.function, step.longer_than_min,
                           step.chance * step.cost, step.chance * step.cost_per_h))
            continue
        here.append(more[step.function] * by_step.get(step.name, 0.0))
    return Worth(plant.currency, math.fsum(by_step.values()), math.fsum(here),
                 tuple(sorted(due, key=lambda each: each.after_min)))


def event_cost(plant: Plant, happened: Collection[str]) -> float:
    """Return what an event costs by what happened to the process.

    Parameters
    ----------
    plant : Plant
        With cost steps in its file.
    happened : collection of str
        Names as in `HeaderTank.happened`.

    Returns
    -------
    float
        Expected cost in the plant's currency, chances counted in, >= 0.

    Raises
    ------
    ValueError
        If nothing of such a name happens to the process.

    Examples
    --------
    >>> from labkit import load_plant
    >>> event_cost(load_plant(), {"low trip", "batches held"})
    11000.0
    """
    instance("plant", plant, Plant)
    names = instances("happened", happened, str)
    for name in names:
        if name not in HAPPENINGS:
            raise ValueError(f"happened must hold names of what happens to the process, "
                             f"got {written(name)}{did_you_mean(name, HAPPENINGS, repr)}")
    happened = {name.replace(" ", "_") for name in names}
    due = [plant.costs_beside.get(name, 0.0) for name in happened]
    for step in plant.costs:
        share = math.fsum(weight for name, weight in step.happening.items() if name in happened)
        if share:
            due.append(step.chance * step.cost * share / math.fsum(step.happening.values()))
    return math.fsum(due)
