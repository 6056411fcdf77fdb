"""How sure the minutes and the choice of a variant are when all numbers are unsure at once.

`labkit.plant.sensitivity` moves one assumption at a time. Here all of them are drawn together,
again and again, and every variant is worked out with the same draws: how far the minutes of a year
spread, how often each variant is the cheapest, and how often one pays against another.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from labkit.arguments import count, generator, instance, instances, one_of, share
from labkit.plant.plant import Plant
from labkit.plant.sensitivity import SHARES, Assumption, assumptions, moved, with_limits
from labkit.plant.variants import losses

PRICE = "price_per_year"


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """Hold what the variants of a plant come to in each draw of all its numbers.

    Parameters
    ----------
    inputs : mapping of str to (draws,) array
        What was drawn for each assumption, by its key. ``price_per_year`` is a factor on the
        prices of all variants.
    down_min_per_year : mapping of str to mapping of str to (draws,) array
        Minutes down a year, by variant and function.
    total_per_year : mapping of str to (draws,) array
        Expected loss and price together, money a year, by variant.

    Examples
    --------
    >>> from labkit import load_plant
    >>> found = joint_uncertainty(load_plant(), ["V0", "V1a"], np.random.default_rng(1), draws=4)
    >>> sorted(found.best_share())
    ['V0', 'V1a']
    """

    inputs: Mapping[str, np.ndarray]
    down_min_per_year: Mapping[str, Mapping[str, np.ndarray]]
    total_per_year: Mapping[str, np.ndarray]

    def best_share(self) -> dict[str, float]:
        """Give for each variant in which share of the draws it costs least in all.

        Returns
        -------
        dict of str to float
            0 to 1, sum 1; of variants that cost the same the first counts.
        """
        totals = np.array(list(self.total_per_year.values()))
        best = np.bincount(totals.argmin(axis=0), minlength=len(totals))
        return dict(zip(self.total_per_year, (best / totals.shape[1]).tolist(), strict=True))

    def net_per_year(self, variant: str, since: str) -> np.ndarray:
        """Give by how much a variant is cheaper in all than another, draw by draw.

        Parameters
        ----------
        variant, since : str
            The variant in question, and the one it is measured against.

        Returns
        -------
        (draws,) array of float
            Money a year; where it is above 0 the variant pays.

        Raises
        ------
        ValueError
            If one of the two was not worked out.
        """
        for name, value in (("variant", variant), ("since", since)):
            one_of(name, value, self.total_per_year)
        return self.total_per_year[since] - self.total_per_year[variant]

    def range_of(self, variant: str, function: str, within: float = 0.9) -> tuple[float, ...]:
        """Give the minutes a year between which most of the draws lie.

        Parameters
        ----------
        variant, function : str
            Of which variant, and of which function.
        within : float
            Share of the draws that lie inside, in (0, 1).

        Returns
        -------
        tuple of float
            Lower end, median and upper end, minutes a year.

        Raises
        ------
        TypeError, ValueError
            If a name was not worked out or the share is outside its range.
        """
        one_of("variant", variant, self.down_min_per_year)
        one_of("function", function, self.down_min_per_year[variant])
        outside = (1.0 - share("within", within)) / 2.0
        minutes = self.down_min_per_year[variant][function]
        return tuple(np.quantile(minutes, [outside, 0.5, 1.0 - outside]).tolist())


def drawn(assumption: Assumption, rng: np.random.Generator, draws: int) -> np.ndarray:
    """Draw values of an assumption: half of them below its value, half above, even in ratios.

    Between a limit and the value the logarithm is uniform; for a share above one half that of
    what is missing to 1. Where the value lies outside limits that were given, their middle in
    ratios takes its place.

    >>> mtbf = Assumption("pump: mtbf_h", 20_000.0, 10_000.0, 40_000.0, "common practice")
    >>> drawn(mtbf, np.random.default_rng(1), 3).round().tolist()
    [20330.0, 37345.0, 12212.0]
    """
    place = 2.0 * rng.random(draws) - 1.0
    low, value, high = assumption.low, assumption.value, assumption.high
    if not low <= value <= high:
        value = math.sqrt(low * high)
    if assumption.key.rpartition(": ")[2] in SHARES and value > 0.5:
        return 1.0 - _between(1.0 - low, 1.0 - value, 1.0 - high, place)
    return _between(low, value, high, place)


def _between(low: float, value: float, high: float, place: np.ndarray) -> np.ndarray:
    """Give the value where `place` is 0, the limits where it is -1 and 1, in equal ratios."""
    found = np.full(place.shape, float(value))
    for side, end in ((np.signbit(place), low), (~np.signbit(place), high)):
        step = np.abs(place[side])
        if value > 0 and end > 0:
            found[side] = value * (end / value) ** step
        else:
            # There is no ratio to 0: a straight line.
            found[side] = value + (end - value) * step
    return found


def joint_uncertainty(plant: Plant, variants: Sequence[str], rng: np.random.Generator, *,
                      draws: int = 200, durations: str = "exponential",
                      limits: Mapping[str, tuple[float, float]] | None = None) -> Uncertainty:
    """Draw all numbers that the variants rest on, and work out every variant with each draw.

    Parameters
    ----------
    plant : Plant
        As `load_plant` gives it.
    variants : sequence of str
        Names of two variants or more.
    rng : numpy.random.Generator
        Seeded for a result that comes again.
    draws : int
        How often, >= 1; each draw of a variant takes some 10 ms.
    durations : str
        ``exponential`` or ``fixed``; see `labkit.plant.variants`.
    limits : mapping of str to (float, float), optional
        Other limits than the usual ones, by the key of the assumption. The same limit twice
        holds a number at that value.

    Returns
    -------
    Uncertainty

    Raises
    ------
    TypeError, ValueError
        If fewer than two variants are named, one is unknown, a key of `limits` is, or `draws`
        is no whole number >= 1.

    Notes
    -----
    Limits are those of `sensitivity`. Each number is drawn by itself: half of the draws lie below
    the value of the file, evenly in ratios down to the lower limit, half above. The parts of a
    class move together, and prices do, as far as 30 %: what is unsure about a class is mostly
    unsure about all of them. All variants see the same draws, so that their difference is not
    blurred.

    References
    ----------
    ISO/IEC Guide 98-3 Supplement 1 (propagation of distributions by a Monte Carlo method).

    Examples
    --------
    >>> from labkit import load_plant
    >>> found = joint_uncertainty(load_plant(), ["V0", "V1a"], np.random.default_rng(1), draws=5)
    >>> found.net_per_year("V1a", "V0").shape
    (5,)
    """
    instance("plant", plant, Plant)
    names = [variants] if isinstance(variants, str) else instances("variants", variants, str)
    for name in names:
        one_of("each of variants", name, plant.variants)
    if len(set(names)) < 2:
        raise ValueError(f"variants must be at least two, got {', '.join(names) or 'none'}")
    generator(rng)
    count("draws", draws, least=1)
    found: dict[str, Assumption] = {}
    for name in names[1:]:
        for each in assumptions(plant, name, names[0]):
            found.setdefault(each.key, each)
    found[PRICE] = Assumption(PRICE, 1.0, 0.7, 1.3, "30 % less and more")
    asked = with_limits(found.values(), limits)
    values = {each.key: drawn(each, rng, draws) for each in asked}
    minutes: dict[str, dict[str, np.ndarray]] = {}
    totals: dict[str, np.ndarray] = {}
    for name in names:
        built = plant.variant(name)
        price = plant.variants[name].price_per_year
        minutes[name] = {one: np.empty(draws) for one in built.functions_counted}
        totals[name] = np.empty(draws)
        for draw in range(draws):
            now = moved(built, [(each, float(values[each.key][draw])) for each in asked])
            for one, found_min in minutes[name].items():
                found_min[draw] = now.block(one).downtime_h_per_year * 60.0
            loss = math.fsum(each.loss_per_year for each in losses(now, durations))
            totals[name][draw] = loss + price * values[PRICE][draw]
    return Uncertainty(*map(MappingProxyType, (values, minutes, totals)))
