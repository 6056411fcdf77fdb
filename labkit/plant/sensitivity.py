"""How sure a verdict on a variant is: what moves it, and what has to be true for it to hold.

The verdict is gain less price: by how much the expected loss a year is smaller than with another
variant, less by how much the price a year is higher (`labkit.plant.variants`). One assumption at a
time is moved, in both variants alike, all others staying as the file has them.
"""

import copy
import dataclasses
import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from statistics import median
from types import MappingProxyType

from labkit.arguments import amount, fraction, instance, mapping, one_of, sequence
from labkit.plant.causes import causes_of
from labkit.plant.file_doubts import USUAL_RANGES
from labkit.plant.plant import Plant, build
from labkit.plant.plant_data import (
    Changeover,
    CostStep,
    Maintenance,
    OwnMode,
    PairData,
    PlantPart,
    SharedEvent,
    Spare,
    Twins,
    record,
)
from labkit.plant.variants import DURATIONS, losses


@dataclass(frozen=True)
class Assumption:
    """Hold one number that a verdict rests on, and within which limits it may lie.

    Parameters
    ----------
    key : str
        What it is, e.g. ``pair: coverage`` or ``controller: mtbf_h``.
    value : float
        As the file has it; for a class of parts the median.
    low, high : float
        The limits that are tried.
    why : str
        Where the limits come from.

    >>> Assumption("pair: coverage", 0.97, 0.9, 0.99, "common practice").low
    0.9
    """

    key: str
    value: float
    low: float
    high: float
    why: str


@dataclass(frozen=True)
class Swing:
    """Hold how a verdict moves when one assumption goes to its limits.

    Parameters
    ----------
    net_per_year, net_low, net_high : float
        Gain less price in money a year, as the file has it and at the lower and upper limit.
    currency : str
        Of that money.

    >>> swing = Swing(Assumption("pair: coverage", 0.97, 0.9, 0.99, ""), 900.0, -50.0, 1100.0)
    >>> swing.width, swing.turns
    (1150.0, True)
    """

    assumption: Assumption
    net_per_year: float
    net_low: float
    net_high: float
    currency: str = "EUR"

    @property
    def width(self) -> float:
        """How far the verdict moves."""
        return abs(self.net_high - self.net_low)

    @property
    def turns(self) -> bool:
        """Whether the verdict changes sign between the limits."""
        nets = (self.net_per_year, self.net_low, self.net_high)
        return min(nets) <= 0 < max(nets)


@dataclass(frozen=True)
class BreakEven:
    """Hold what one assumption has to be for a variant to pay.

    Parameters
    ----------
    limit : float or None
        Where gain and price are equal; `None` if no value that was tried gets there.
    pays : str
        ``above`` or ``below`` the limit; ``always`` or ``never`` if there is none.

    >>> print(BreakEven(Assumption("controller: mtbf_h", 6e4, 3e4, 1.5e5, ""), 171_950.0,
    ...                 "below"))
    controller: mtbf_h must be below 1.72e+05 (is 6e+04)
    """

    assumption: Assumption
    limit: float | None
    pays: str

    def __str__(self) -> str:
        """Write it as a sentence."""
        key, value = self.assumption.key, f"(is {self.assumption.value:.3g})"
        if self.limit is None:
            return f"{key}: it {self.pays} pays, whatever the value {value}"
        return f"{key} must be {self.pays} {self.limit:.3g} {value}"


SHARES = ("common_cause", "coverage", "diagnosed", "starts", "chance", "share")

# What is moved of each thing that a file names, and between which limits; common practice. Without
# limits of practice it is half and double.
PAIR_LIMITS = MappingProxyType({
    "common_cause": (0.02, 0.10), "coverage": (0.90, 0.995), "diagnosed": (0.60, 0.99),
    "test_interval_h": (730.0, 8760.0), "restart_h": (0.25, 2.0),
})
MOVED = MappingProxyType({
    OwnMode: {"share": None, "mttr_h": None}, Spare: {"delivery_days": None},
    Changeover: {"starts": (0.9, 0.995), "by_hand_h": None},
    SharedEvent: {"mtbf_h": None, "mttr_h": None}, Maintenance: {"every_h": None, "takes_h": None},
    CostStep: {"cost": None, "cost_per_h": None, "chance": None},
})
TABLES = MappingProxyType({
    "mode": OwnMode, "spare": Spare, "changeover": Changeover, "shared_event": SharedEvent,
    "maintenance": Maintenance, "step": CostStep})


def assumptions(plant: Plant, variant: str, since: str) -> tuple[Assumption, ...]:
    """List the numbers that the comparison of two variants rests on.

    Parameters
    ----------
    plant : Plant
        As `load_plant` gives it.
    variant, since : str
        Names of the two variants.

    Returns
    -------
    tuple of Assumption
        The pair, the twins, each class of parts, ways of failing, deliveries, starts, shared events, cost
        steps and the price: between the limits that the file states (``range``), else between those that
        are usual. Values are those of the file, and not what they come to with a spare or with wear.

    Raises
    ------
    ValueError
        If there is no such variant.

    >>> from labkit import load_plant
    >>> assumptions(load_plant(), "V1a", "V0")[0].key
    'pair: common_cause'
    """
    built, base = plant.variant(variant), plant.variant(since)
    found = []

    def add(subject: str, key: str, value: float, entries: list,
            usual: tuple[float, float] | None = None) -> None:
        """Take the limits of the file, else those of practice, else half and double."""
        name, most = f"{subject}: {key}", 1.0 if key in SHARES else math.inf
        found.append(_stated(name, value, entries) or (
            _limits(name, value, *usual, "common practice") if usual else
            Assumption(name, value, value / 2, min(most, value * 2), "half and double")))

    pair = built.pair or base.pair
    for key, usual in PAIR_LIMITS.items() if pair is not None else ():
        # A standby that somebody starts is that, and no share that is unsure.
        if key != "coverage" or pair.coverage > 0:
            add("pair", key, getattr(pair, key), [pair], usual)
    twins = [group for each in (built, base) for group in each.twins]
    if twins:
        share = median(group.common_cause for group in twins)
        add("twins", "common_cause", share, twins, PAIR_LIMITS["common_cause"])
    counted = {name for each in (built, base) for name in _counting(each)}
    parts = {part.designation: part for each in (base, built) for part in (
        record(PlantPart, table) for table in each.document["part"]) if part.designation in counted}
    for kind, alike in _classes(parts.values()):
        for key in ("mtbf_h", "mttr_h"):
            add(kind, key, median(getattr(part, key) for part in alike), alike,
                USUAL_RANGES.get(alike[0].kind, {}).get(key))
    modes = [each for each in built.modes or base.modes if counted.intersection(each.parts)]
    # Shares count where the ways of a part differ in what the sums take of them.
    apart = {name for each in modes if each.mttr_h or each.noticed is not None for name in each.parts}
    for each in (*(mode for mode in modes if apart.intersection(mode.parts)),
                 *(spare for spare in _either(base.spares, built.spares) if counted.intersection(spare.parts)),
                 *(built.changeovers or base.changeovers),
                 *_either(base.shared_events.values(), built.shared_events.values()),
                 *_either(base.maintenance, built.maintenance), *built.costs):
        for key, usual in MOVED[type(each)].items():
            value = getattr(each, key)
            sure = key in ("starts", "chance") and value == 1 or key == "by_hand_h" and each.starts == 1
            if value and not sure:
                add(_subject(each), key, value, [each], usual)
    price = plant.variants[variant].price_per_year - plant.variants[since].price_per_year
    found.append(Assumption("price_per_year", price, *sorted((price * 0.7, price * 1.3)),
                            "30 % less and more"))
    return tuple(found)


def _classes(parts: Iterable[PlantPart]) -> Iterator[tuple[str, list[PlantPart]]]:
    """Yield the parts that move together: a kind, or those of a kind that have the same numbers."""
    kinds: dict[str, dict[tuple, list[PlantPart]]] = {}
    for part in parts:
        numbers = part.mtbf_h, part.mttr_h
        kinds.setdefault(part.kind, {}).setdefault(numbers, []).append(part)
    for kind, groups in kinds.items():
        for alike in groups.values():
            names = ", ".join(part.designation for part in alike)
            yield kind if len(groups) == 1 else f"{kind} {names}", alike


def _either(one: Iterable, other: Iterable) -> Iterable:
    """Return what stands in one plant or in another, each name once: what both have, as the other has it."""
    return {each.name: each for each in (*one, *other)}.values()


def _subject(each) -> str:
    """Return what a thing of the file is called among the assumptions."""
    return f"{each.how} {', '.join(each.parts)}" if isinstance(each, OwnMode) else each.name


def _counting(plant: Plant) -> set[str]:
    """Return the designations of the parts whose failures can cost money."""
    return {name for step in plant.costs for cause in causes_of(plant, step.function)
            for name in cause.parts}


def _stated(key: str, value: float, entries: Iterable) -> Assumption | None:
    """Return an assumption with the limits of the file, as far as those of any entry reach.

    The entries of a class move together, each as many times as far as the others.
    """
    name = key.rpartition(": ")[2]
    ratios = [limit / getattr(each, name) for each in entries if name in each.range
              for limit in each.range[name] if getattr(each, name) > 0]
    if not ratios:
        return None
    low, high = min(ratios) * value, max(ratios) * value
    return _limits(key, value, low, min(high, 1.0) if name in SHARES else high, "the file")


def _limits(key: str, value: float, low: float, high: float, why: str) -> Assumption:
    """Return an assumption whose limits take in the value itself."""
    return Assumption(key, value, min(low, value), max(high, value), why)


def changed(plant: Plant, assumption: Assumption, value: float) -> Plant:
    """Return the plant with one assumption at another value."""
    return moved(plant, [(assumption, value)])


def moved(plant: Plant, values: Iterable[tuple[Assumption, float]]) -> Plant:
    """Return the plant that its file would give with some assumptions at other values.

    The parts of a class are all scaled by value over median; those of a kind that have other
    numbers are a class of their own. In the same way what differs between variants keeps
    differing: a pair that is tested more often, or twins that share less.
    """
    document = copy.deepcopy(dict(plant.document))
    for assumption, value in values:
        subject, _, key = assumption.key.rpartition(": ")
        scale = value / assumption.value if assumption.value else 0.0
        for kind, table in _tables_of(document, subject, key):
            own = getattr(record(kind, table), key)
            new = value if own == assumption.value or not assumption.value else own * scale
            table[key] = min(new, 1.0) if key in SHARES else new
            if "short_cuts" in table:
                short = table["short_cuts"]
                often, long = (scale, 1.0) if key == "mtbf_h" else (1.0, scale)
                table["short_cuts"] = {"per_year": short["per_year"] / often, "mean_h": short["mean_h"] * long}
    return plant if document == plant.document else build(document, plant.path, plant.version)


def _tables_of(document: Mapping, subject: str, key: str) -> list[tuple[type, dict]]:
    """Return the tables of a document that an assumption is about, and what they are."""
    if subject == "pair":
        return [(PairData, document["pair"])] if "pair" in document else []
    if subject == "twins":
        return [(Twins, table) for table in document.get("twins", ())]
    found = [(kind, table) for name, kind in TABLES.items() if key in MOVED[kind]
             for table in (document.get("costs", {}) if name == "step" else document).get(name, ())
             if _subject(record(kind, table)) == subject]
    return found or [(PlantPart, table) for table in document["part"] if subject == table["kind"] or
                     subject.startswith(f"{table['kind']} ") and table["designation"] in
                     subject.removeprefix(f"{table['kind']} ").split(", ")]


@lru_cache(maxsize=4)
def _net(plant: Plant, variant: str, since: str,
         durations: str) -> Callable[[Assumption | None, float | None], float]:
    """Return a function that gives gain less price with one assumption changed, and keeps it."""
    built, base = plant.variant(variant), plant.variant(since)
    price = plant.variants[variant].price_per_year - plant.variants[since].price_per_year

    @lru_cache(maxsize=16)
    def loss(plant: Plant) -> float:
        return math.fsum(each.loss_per_year for each in losses(plant, durations))

    @cache
    def net(assumption: Assumption | None, value: float | None) -> float:
        if assumption is None:
            return loss(base) - loss(built) - price
        more = value if assumption.key == "price_per_year" else price
        return loss(changed(base, assumption, value)) - loss(changed(built, assumption, value)) - more

    return net


def sensitivity(plant: Plant, variant: str, since: str, durations: str = "exponential",
                limits: Mapping[str, tuple[float, float]] | None = None) -> tuple[Swing, ...]:
    """Say how the verdict on a variant moves when each assumption goes to its limits.

    Parameters
    ----------
    plant : Plant
        As `load_plant` gives it.
    variant, since : str
        The variant in question, and the one it is measured against.
    durations : str
        ``exponential`` or ``fixed``; see `labkit.plant.variants`.
    limits : mapping of str to (float, float), optional
        Other limits than those of `assumptions`, by key.

    Returns
    -------
    tuple of Swing
        The widest first, as a tornado picture has them.

    Raises
    ------
    ValueError
        If there is no such variant, duration or key.

    Examples
    --------
    >>> from labkit import load_plant
    >>> swings = sensitivity(load_plant(), "V1a", "V0")
    >>> swings[0].assumption.key
    'controller: mtbf_h'
    """
    instance("plant", plant, Plant)
    found = with_limits(assumptions(plant, variant, since), limits)
    net = _net(plant, variant, since, one_of("durations", durations, DURATIONS))
    return tuple(sorted(
        (Swing(each, net(None, None), net(each, each.low), net(each, each.high), plant.currency)
         for each in found), key=lambda swing: (-swing.width, swing.assumption.key)))


def with_limits(found: Iterable[Assumption],
                limits: Mapping[str, tuple[float, float]] | None) -> list[Assumption]:
    """Give assumptions with other limits for those that are named by their key."""
    found = {each.key: each for each in found}
    limits = {} if limits is None else mapping("limits", limits, "key to (low, high)")
    for key, both in limits.items():
        if key not in found:
            raise ValueError(f"limits must have keys among {', '.join(found)}, got {key!r}")
        rule = fraction if key.split()[-1] in SHARES else amount
        both = [rule(f"limits[{key!r}]", each) for each in sequence(f"limits[{key!r}]", both)]
        if len(both) != 2:
            raise ValueError(f"limits[{key!r}] must be (low, high), got {both}")
        low, high = both
        found[key] = dataclasses.replace(found[key], low=low, high=high, why="given")
    return list(found.values())


def break_evens(plant: Plant, variant: str, since: str,
                durations: str = "exponential") -> tuple[BreakEven, ...]:
    """Say what each assumption has to be for a variant to pay, all others as they are.

    Parameters
    ----------
    plant : Plant
        As `load_plant` gives it.
    variant, since : str
        The variant in question, and the one it is measured against.
    durations : str
        ``exponential`` or ``fixed``; see `labkit.plant.variants`.

    Returns
    -------
    tuple of BreakEven
        In the order of `assumptions`. Shares are tried from 0 to 1, everything else from a
        thousandth to a thousand times its value; ``always`` and ``never`` hold within that.

    Raises
    ------
    ValueError
        If there is no such variant or duration.

    >>> from labkit import load_plant
    >>> found = {each.assumption.key: each for each in break_evens(load_plant(), "V1a", "V0")}
    >>> found["controller: mtbf_h"].pays
    'below'
    """
    found = assumptions(plant, variant, since)
    net = _net(plant, variant, since, one_of("durations", durations, DURATIONS))
    return tuple(_break_even(net, each) for each in found)


def _break_even(net: Callable, assumption: Assumption) -> BreakEven:
    from scipy.optimize import brentq

    key = assumption.key.rpartition(": ")[2]
    if key in SHARES:
        # Ways of failing of which none comes are none.
        tried = [max(step / 6, 1e-9 * (key == "share")) for step in range(7)]
    else:
        tried = [assumption.value * 10.0**power for power in range(-3, 4)]
    nets = [net(assumption, value) for value in tried]
    crossings = [position for position in range(len(tried) - 1)
                 if (nets[position] > 0) != (nets[position + 1] > 0)]
    if not crossings:
        return BreakEven(assumption, None, "always" if nets[0] > 0 else "never")
    at = min(crossings, key=lambda position: abs(tried[position] - assumption.value))
    limit = brentq(lambda value: net(assumption, value), tried[at], tried[at + 1], rtol=1e-9)
    return BreakEven(assumption, float(limit), "below" if nets[at] > 0 else "above")
