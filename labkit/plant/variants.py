"""What to make redundant first: variants of a plant in minutes, outages and money.

An outage costs what the steps of the plant file say: each step is due once the outage of its
function has lasted longer than its limit. How long an outage lasts is taken in one of two ways:

``exponential``
    Durations spread as widely as repairs do: an outage of mean length m lasts longer than t with
    the chance exp(-t / m).
``fixed``
    Every outage lasts as long as the mean of its cause. This is the sum done by hand.

The expected loss is counted over the causes of `labkit.plant.causes`; minutes and outages are
exact. With ``exponential`` causes that meet are one outage, and what they count too often is taken
off at the price of an outage on average; the sum done by hand counts it for each cause.
All money is per year, in the currency of the file.
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from labkit.arguments import instance, instances, number, one_of
from labkit.plant.causes import (
    MEETING,
    Cause,
    asleep_when_asked,
    causes_of,
    latent_causes_of,
    left_of,
)
from labkit.plant.plant import Plant
from labkit.plant.plant_data import CostStep, Variant
from labkit.wording import HOURS_PER_YEAR

DURATIONS = ("exponential", "fixed")


@dataclass(frozen=True)
class Loss:
    """Hold what one cause costs a year by one cost step.

    >>> Loss("call-out", Cause("KF10", ("KF10",), 0.08, 3.0), 56.0).loss_per_year
    56.0
    """

    step: str
    cause: Cause
    loss_per_year: float


@dataclass(frozen=True)
class Outcome:
    """Hold what a variant of the plant brings.

    Parameters
    ----------
    variant, about : str
        Its name, and what it is in words.
    down_min_per_year, outages_per_year, availability : mapping of str to float
        For each function: minutes down and outages a year, share of time that it works.
    loss_per_year, price_per_year : float
        Expected loss, and what the variant costs, money a year.

    >>> from labkit import load_plant
    >>> compare_variants(load_plant())[0].variant
    'V0'
    """

    variant: str
    about: str
    down_min_per_year: Mapping[str, float]
    outages_per_year: Mapping[str, float]
    availability: Mapping[str, float]
    loss_per_year: float
    price_per_year: float

    @property
    def total_per_year(self) -> float:
        """Expected loss and price together."""
        return self.loss_per_year + self.price_per_year


@dataclass(frozen=True)
class Ranked:
    """Hold what a variant gains over another for its money.

    Parameters
    ----------
    gain_per_year : float
        By how much the expected loss is smaller, money a year.
    price_per_year : float
        By how much the price is higher, money a year.

    >>> Ranked("V1b", 3380.0, 480.0).pays
    True
    """

    variant: str
    gain_per_year: float
    price_per_year: float

    @property
    def net_per_year(self) -> float:
        """Gain less price."""
        return self.gain_per_year - self.price_per_year

    @property
    def gain_per_money(self) -> float:
        """Gain for each unit of money; infinite if there is a gain for nothing."""
        if self.price_per_year > 0:
            return self.gain_per_year / self.price_per_year
        return math.copysign(math.inf, self.gain_per_year) if self.gain_per_year else 0.0

    @property
    def pays(self) -> bool:
        """Whether the gain is larger than the price."""
        return self.net_per_year > 0


def outage_cost(plant: Plant, down_min: float) -> float:
    """Return what one outage of a given length costs, all functions lost together.

    Parameters
    ----------
    plant : Plant
        With cost steps.
    down_min : float
        How long it lasts, minutes, >= 0.

    Returns
    -------
    float
        Money per outage, steps that are due by chance counted by their chance.

    Raises
    ------
    ValueError
        If the length is negative or no number.

    Examples
    --------
    >>> from labkit import load_plant
    >>> [outage_cost(load_plant(), down_min) for down_min in (0.3, 20, 60)]
    [0.0, 11000.0, 32500.0]
    """
    instance("plant", plant, Plant)
    if not number("down_min", down_min) >= 0:
        raise ValueError(f"down_min must be >= 0, got {down_min}")
    return math.fsum(
        step.chance * (step.cost + (step.cost_per_h and step.cost_per_h * (
            down_min - step.longer_than_min) / 60.0))
        for step in plant.costs if down_min > step.longer_than_min)


def losses(plant: Plant, durations: str = "exponential") -> tuple[Loss, ...]:
    """Say what outages cost a year, by cost step and cause.

    Parameters
    ----------
    plant : Plant
        With the variant in question (`Plant.variant`).
    durations : str
        ``exponential`` or ``fixed``; see the head of this module.

    Returns
    -------
    tuple of Loss
        Largest first; causes that cost nothing are left out, those that meet are below 0. For a
        function that is asked for only a part of the year, outages count by that part; for one
        that stands idle before, latent faults come on top (`labkit.plant.causes.latent_causes_of`).

    Raises
    ------
    ValueError
        If `durations` is neither.

    Examples
    --------
    >>> from labkit import load_plant
    >>> first = losses(load_plant().variant("V0"), "fixed")[0]
    >>> first.step, first.cause.name, round(first.loss_per_year)
    ('basins lost', 'KF1', 3037)
    """
    instance("plant", plant, Plant)
    one_of("durations", durations, DURATIONS)
    found = []
    counted = {name: (*_counted(plant, name),) for name in {step.function for step in plant.costs}}
    for step in plant.costs:
        for causes, often, asked in counted[step.function]:
            lost = [Loss(step.name, cause, asked * cause.outages_per_year * _expected(
                step, cause.mean_down_h, durations)) for cause in causes]
            if causes and durations == "exponential":
                more = left_of(often, (each.outages_per_year for each in causes))
                lost.append(Loss(step.name, Cause(MEETING, (), more, 0.0), more / (often - more) * math.fsum(
                    each.loss_per_year for each in lost)))
            found += [each for each in lost if each.loss_per_year]
    return tuple(sorted(found, key=lambda loss: (-loss.loss_per_year, loss.step,
                                                 loss.cause.name)))


def _counted(plant: Plant, function: str) -> Iterator[tuple[tuple[Cause, ...], float, float]]:
    """Yield causes that can cost money, how often they come in all, and which share of it costs."""
    wanted = plant.functions_counted[function]
    yield (causes_of(plant, function), plant.block(function).failures_per_h * HOURS_PER_YEAR,
           wanted.hours_per_year / HOURS_PER_YEAR)
    if asleep := latent_causes_of(plant, function):
        yield asleep, asleep_when_asked(plant, function), 1.0


def _expected(step: CostStep, mean_h: float, durations: str) -> float:
    """Return what a step costs for an outage of this mean length, chances counted in."""
    limit_h = step.longer_than_min / 60.0
    if durations == "exponential":
        # What lasts longer than the limit lasts its mean length beyond it.
        longer = math.exp(-limit_h / mean_h)
        beyond_h = mean_h * longer
    else:
        longer, beyond_h = float(mean_h > limit_h), max(0.0, mean_h - limit_h)
    return step.chance * (step.cost * longer + step.cost_per_h * beyond_h)


def compare_variants(plant: Plant, durations: str = "exponential") -> tuple[Outcome, ...]:
    """Compare all variants of a plant.

    Parameters
    ----------
    plant : Plant
        As `load_plant` gives it.
    durations : str
        ``exponential`` or ``fixed``; see the head of this module.

    Returns
    -------
    tuple of Outcome
        In the order of the file; without variants, the plant as the file has it.

    Raises
    ------
    ValueError
        If `durations` is neither.

    Examples
    --------
    >>> from labkit import load_plant
    >>> outcome = compare_variants(load_plant())[0]
    >>> round(outcome.down_min_per_year["control kept"])
    193
    """
    instance("plant", plant, Plant)
    found = []
    for variant in plant.variants.values() or [Variant(plant.version, plant.about)]:
        built = plant.variant(variant.name) if plant.variants else plant
        blocks = {each: built.block(each) for each in built.functions_counted}
        found.append(Outcome(
            variant=variant.name,
            about=variant.about,
            down_min_per_year=MappingProxyType(
                {each: block.downtime_h_per_year * 60.0 for each, block in blocks.items()}),
            outages_per_year=MappingProxyType(
                {each: block.failures_per_h * HOURS_PER_YEAR for each, block in blocks.items()}),
            availability=MappingProxyType(
                {each: block.availability for each, block in blocks.items()}),
            loss_per_year=math.fsum(each.loss_per_year for each in losses(built, durations)),
            price_per_year=variant.price_per_year,
        ))
    return tuple(found)


def rank_variants(outcomes: Iterable[Outcome], since: str | None = None) -> tuple[Ranked, ...]:
    """Rank variants by what they gain for their money.

    Parameters
    ----------
    outcomes : iterable of Outcome
        From `compare`.
    since : str, optional
        Name of the variant that the others are measured against. Default: the first.

    Returns
    -------
    tuple of Ranked
        The most gain per money first, without `since` itself.

    Raises
    ------
    ValueError
        If there is no outcome, or none of the name `since`.

    Examples
    --------
    >>> from labkit import load_plant
    >>> rank_variants(compare_variants(load_plant()))[0].variant
    'V0 air'
    """
    outcomes = instances("outcomes", outcomes, Outcome)
    names = [each.variant for each in outcomes]
    if not names:
        raise ValueError("outcomes must hold at least one outcome, got none")
    base = outcomes[0 if since is None else names.index(one_of("since", since, names))]
    found = [Ranked(each.variant, base.loss_per_year - each.loss_per_year,
                    each.price_per_year - base.price_per_year)
             for each in outcomes if each is not base]
    return tuple(sorted(found, key=lambda each: (-each.gain_per_money, each.variant)))
