"""What a third vote costs and what it brings: stops of control a year, with it and without."""

from dataclasses import dataclass

from labkit.arguments import instance
from labkit.availability.blocks import Block
from labkit.availability.parts import Part, parallel, series
from labkit.plant.plant import Plant
from labkit.wording import HOURS_PER_YEAR


@dataclass(frozen=True)
class VotePrice:
    """Hold how often control stops in a year, with a third vote and without.

    Parameters
    ----------
    without_per_year : float
        Stops without a voter, the racks being asked: both controllers are out.
    with_per_year : float
        Stops with a voter: no controller that works has two of the three votes.
    voter_lost_per_year : float
        Stops a year for as long as the voter is lost: each controller and the sync cable then
        stand alone.
    splits_per_year : float
        How often both would lead without voter and without asking the racks: the sync cable fails
        while both controllers work. This is what the vote is bought for.

    >>> VotePrice(1e-5, 5e-5, 0.3, 0.03).with_per_year
    5e-05
    """

    without_per_year: float
    with_per_year: float
    voter_lost_per_year: float
    splits_per_year: float


def vote_price(voter: Part, plant: Plant) -> VotePrice:
    """Return what a third vote costs and brings at a plant.

    Parameters
    ----------
    voter : Part
        The third voter, with supply and wires of its own.
    plant : Plant
        Gives both controllers and its sync cables.

    Returns
    -------
    VotePrice
        Stops per year. Parts fail independently and every failure is noticed: a shared cause and
        coverage are the same with the vote and without, and are left out.

    Raises
    ------
    ValueError
        If the plant has no pair with a sync cable.

    Examples
    --------
    >>> from labkit import load_plant
    >>> price = vote_price(Part("voter", mtbf_h=100_000, mttr_h=8), load_plant())
    >>> print(f"{price.without_per_year:.2g}, {price.with_per_year:.2g} a year")
    1.9e-05, 5.9e-05 a year
    >>> print(f"{price.voter_lost_per_year:.2f} a year while the voter is lost")
    0.32 a year while the voter is lost
    """
    instance("plant", plant, Plant)
    if plant.pair is None or not plant.pair.sync:
        raise ValueError("plant must have a pair with a sync cable, got one without")

    def part(name: str) -> Part:
        rates = plant.parts[name]
        return Part(name, mtbf_h=rates.mtbf_h, mttr_h=rates.mttr_h)

    return price_of(voter, *map(part, plant.pair.units), parallel(*map(part, plant.pair.sync)))


def price_of(voter: Block, one: Block, two: Block, cable: Block) -> VotePrice:
    """Return the price from voter, controllers and sync cable."""
    either = parallel(one, two)
    together = series(one, two, cable)
    voted = parallel(together, series(one, voter), series(two, voter))
    return VotePrice(
        without_per_year=HOURS_PER_YEAR * either.failures_per_h,
        with_per_year=HOURS_PER_YEAR * voted.failures_per_h,
        voter_lost_per_year=HOURS_PER_YEAR * together.failures_per_h,
        splits_per_year=(HOURS_PER_YEAR * cable.failures_per_h
                         * one.availability * two.availability),
    )
