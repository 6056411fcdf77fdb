"""What a plant file says, as frozen records: parts, pair, twins, events, functions, costs.

Hours are hours of operation, shares are 0 to 1. The keys of the file and the fields of the records
bear the same names; `labkit.plant.file` says what each means and checks it, so nothing is checked
here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType


@dataclass(frozen=True, kw_only=True)
class Sourced:
    """Hold where the numbers of a table come from: ``invented``, ``practice`` or ``found``; in words.

    >>> PairData(("KF1", "KF2")).source
    'invented'
    """

    source: str = "invented"
    source_note: str = ""


@dataclass(frozen=True, kw_only=True)
class Ranged(Sourced):
    """Hold between which limits numbers of a table may lie, by their keys.

    >>> Twins(("KF10A", "KF10B"), 0.05, range={"common_cause": (0.02, 0.1)}).range["common_cause"]
    (0.02, 0.1)
    """

    range: Mapping[str, tuple[float, float]] = field(default_factory=dict, hash=False)


@dataclass(frozen=True, kw_only=True)
class Tested(Ranged):
    """Hold what finds the failures that nobody notices: tests and, of a share, only the overhaul.

    Parameters
    ----------
    test_interval_h : float
        How often a test finds them, hours.
    missed : float
        Share of them that no test finds, 0 to 1.
    overhaul_interval_h : float
        How often an overhaul finds these too, hours.

    >>> PairData(("KF1", "KF2"), missed=0.1, overhaul_interval_h=87_600).unseen_h
    6351.0
    """

    test_interval_h: float = 4380.0
    missed: float = 0.0
    overhaul_interval_h: float = math.inf

    @property
    def unseen_h(self) -> float:
        """How long one of them waits on average, until a test or the overhaul, hours."""
        late_h = self.missed * self.overhaul_interval_h / 2.0 if self.missed else 0.0
        return (1.0 - self.missed) * self.test_interval_h / 2.0 + late_h


@dataclass(frozen=True)
class PlantPart(Tested):
    """Hold one part.

    Parameters
    ----------
    designation, what, kind, place : str
        Short name, words, class of part (``controller``, ``cable`` ...), where it is.
    mtbf_h, mttr_h : float
        Mean operating time between failures and mean time to restoration once noticed, hours.
    fed_by : tuple of str
        Designations of its feeds, any one of which is enough; none if it needs no feed.
    joins : tuple of str
        Designations of the parts that it is wired to, as the file has them: on one side only.
    noticed : float or None
        Share of failures noticed at once, 0 to 1, where it is known better than from the rig.
    noticed_note : str
        Who or what notices them, or why not.
    test_interval_h, missed, overhaul_interval_h : float
        What finds the others, see `Tested`.
    alarm : str
        Its text in the alarm list; empty where no alarm of its own is known.
    battery_h : float
        For how long it works on without its feeds, hours.
    sources : mapping of str to str
        Source of one of the two, where it is not that of both.
    waits_h : float
        How much of `mttr_h` is the mean wait for a spare, hours; not in the file.
    cuts : tuple of (float, float)
        Of the mains: failures per hour and mean length in hours, for short and for long cuts.
    takes_spare : float
        Share of its failures after which it takes a spare, if there is one; not in the file.

    >>> PlantPart("BL1", "level sensor", "sensor", 150_000, 3).noticed is None
    True
    """

    designation: str
    what: str
    kind: str
    mtbf_h: float
    mttr_h: float
    place: str = ""
    fed_by: tuple[str, ...] = ()
    joins: tuple[str, ...] = ()
    noticed: float | None = None
    noticed_note: str = ""
    alarm: str = ""
    battery_h: float = 0.0
    sources: Mapping[str, str] = field(default_factory=dict, hash=False)
    waits_h: float = 0.0
    cuts: tuple[tuple[float, float], ...] = ()
    takes_spare: float = 1.0

    @property
    def spares_per_h(self) -> float:
        """How many spares it takes per hour."""
        return self.failure_rate_per_h * self.takes_spare

    @property
    def failure_rate_per_h(self) -> float:
        """Failures per hour of operation."""
        return 1.0 / self.mtbf_h

    @property
    def fed_at_once(self) -> tuple[str, ...]:
        """Its feeds, if it stops within the minutes of a run once they are gone."""
        return () if self.battery_h else self.fed_by

    def share_longer(self, hours: float) -> float:
        """Return which share of its failures lasts longer than so many hours.

        >>> round(PlantPart("Q0", "mains", "mains", 8760, 2).share_longer(2.0), 4)
        0.3679
        """
        cuts = self.cuts or ((self.failure_rate_per_h, self.mttr_h),)
        return math.fsum(rate * math.exp(-hours / mean_h) for rate, mean_h in cuts) / math.fsum(
            rate for rate, _ in cuts)

    def lasts_h(self, hours: float) -> tuple[float, float]:
        """Return how long cuts of the mains last on average: those up to so many hours, the longer.

        >>> PlantPart("Q0", "mains", "mains", 8760, 2, cuts=((1e-3, 2.0),)).lasts_h(4.0)[1]
        6.0
        """
        share, every = self.share_longer(hours), math.fsum(rate for rate, _ in self.cuts)
        longer_h = math.fsum(rate * math.exp(-hours / mean_h) * (hours + mean_h)
                             for rate, mean_h in self.cuts) / every
        return (self.mttr_h - longer_h) / (1.0 - share), longer_h / share

    def source_of(self, key: str) -> str:
        """Return where one of its numbers comes from.

        >>> part = PlantPart("BL1", "level sensor", "sensor", 150_000, 3, sources={"mttr_h": "found"})
        >>> part.source_of("mtbf_h"), part.source_of("mttr_h")
        ('invented', 'found')
        """
        return self.sources.get(key, self.source)


@dataclass(frozen=True)
class OwnMode(Ranged):
    """Hold one way in which parts fail, where the file says it in words of its own.

    Parameters
    ----------
    how : str
        How they fail, in a word or two.
    share : float
        Weight among the failures of a part, > 0.
    parts : tuple of str
        Designations.
    noticed : float or None
        Share of such failures noticed at once, 0 to 1, where it is known better than from the rig.
    mttr_h : float or None
        Mean time to restoration after it, hours, where it is not that of the part; no spare is taken.
    seen, cause, put_right : str
        What can be seen, what brings it about, what is done; empty for the usual words.

    >>> OwnMode("worn", 0.3, ("GP1",)).noticed is None
    True
    """

    how: str
    share: float
    parts: tuple[str, ...]
    noticed: float | None = None
    mttr_h: float | None = None
    seen: str = ""
    cause: str = ""
    put_right: str = ""


@dataclass(frozen=True)
class PairData(Tested):
    """Hold the pair of controllers; the numbers are those of `labkit.markov.pair.redundant_pair`.

    Parameters
    ----------
    units : tuple of (str, str)
        Designations of the two.
    sync : tuple of str
        Cables over which the standby follows.
    common_cause, coverage, diagnosed : float
        Shares, 0 to 1.
    restart_h : float
        Hours; `test_interval_h`, `missed` and `overhaul_interval_h` see `Tested`.
    crews : int
        Repair teams, 1 or 2.
    standby_ratio : float
        How fast the standby ages against the active one, 0 (cold) to 1 (hot).
    restart_succeeds : float
        Share of restarts by hand that succeed; after the others a unit is repaired, 0 to 1.

    >>> PairData(("KF1", "KF2")).coverage
    1.0
    """

    units: tuple[str, str]
    sync: tuple[str, ...] = ()
    common_cause: float = 0.0
    coverage: float = 1.0
    diagnosed: float = 1.0
    restart_h: float = 0.5
    crews: int = 1
    standby_ratio: float = 1.0
    restart_succeeds: float = 1.0

    def restart_mean_h(self, mttr_h: float) -> float:
        """Return how long a takeover that failed lasts on average; units are repaired in mttr_h.

        >>> PairData(("KF1", "KF2"), restart_h=0.5, restart_succeeds=0.75).restart_mean_h(4.0)
        1.5
        """
        return self.restart_h + (1.0 - self.restart_succeeds) * mttr_h


@dataclass(frozen=True)
class Twins(Ranged):
    """Hold like parts that have a part of their failures in common.

    Parameters
    ----------
    parts : tuple of str
        Designations.
    common_cause : float
        Share of failures that take all of them at once, 0 to 1.

    >>> Twins(("KF10A", "KF10B"), 0.05).name
    'KF10A+KF10B common cause'
    """

    parts: tuple[str, ...]
    common_cause: float

    @property
    def name(self) -> str:
        """Name of what they have in common."""
        return "+".join(self.parts) + " common cause"


@dataclass(frozen=True)
class SharedEvent(Ranged):
    """Hold an event from outside that breaks several parts at once.

    Parameters
    ----------
    name, what, place : str
        Short name, what happens in words, where.
    breaks : tuple of str
        Designations of the parts that it breaks.
    mtbf_h, mttr_h : float or None
        Mean time between such events and until all is restored, hours. Without them the event
        can be switched on and is left out of the sums.

    >>> SharedEvent("WF1+WF2", "duct dug through", ("WF1.10", "WF2.10")).mtbf_h is None
    True
    """

    name: str
    what: str
    breaks: tuple[str, ...]
    place: str = ""
    mtbf_h: float | None = None
    mttr_h: float | None = None


@dataclass(frozen=True)
class TitleBlock:
    """Hold what stands at the head of every paper, as ISO 7200 has it; empty where not said.

    >>> TitleBlock(number="MLW-0107", revision="B").author
    ''
    """

    number: str = ""
    revision: str = ""
    author: str = ""
    checker: str = ""


@dataclass(frozen=True)
class Spare(Ranged):
    """Hold the spares of parts of one type.

    Parameters
    ----------
    name : str
        What it is.
    parts : tuple of str
        Designations of the parts that it fits.
    stock : int
        How many lie on the shelf while none is on order; 0 for no spare.
    delivery_days : float
        From the order to the shelf, days.
    price : float
        Money for one; 0 where it is not said.
    """

    name: str
    parts: tuple[str, ...]
    stock: int
    delivery_days: float
    price: float = 0.0

    def wait_h(self, demand_per_h: float) -> float:
        """Return for how long a repair waits for the part on average, hours.

        Notes
        -----
        One is ordered for each that is taken, so the number on order is Poisson with the demand
        of one delivery time (Palm's theorem); repairs in waiting are those beyond the stock, and
        by Little's law each waits their mean number over the demand.

        References
        ----------
        C. C. Sherbrooke, "Optimal Inventory Modeling of Systems", 2nd ed., 2004, chapter 2 (from
        memory).

        >>> spare = Spare("controller", ("KF1",), stock=0, delivery_days=3)
        >>> spare.wait_h(1 / 60_000)
        72.0
        """
        delivery_h = 24.0 * self.delivery_days
        on_order = demand_per_h * delivery_h
        if self.stock == 0 or on_order == 0:
            return delivery_h if self.stock == 0 else 0.0
        last = max(self.stock, math.ceil(on_order + 40.0 * math.sqrt(on_order))) + 60
        waiting = math.fsum(
            (count - self.stock) * math.exp(
                count * math.log(on_order) - on_order - math.lgamma(count + 1))
            for count in range(self.stock + 1, last))
        return waiting / demand_per_h


@dataclass(frozen=True)
class Maintenance(Ranged):
    """Hold planned work for which parts are taken out together, at any time of the year.

    Parameters
    ----------
    name : str
        What is done, unlike any part and event.
    parts : tuple of str
        Designations of the parts that are out meanwhile.
    every_h, takes_h : float
        From one to the next, and for how long, hours.

    >>> Maintenance("cabinet cleaned", ("KF1",), 8760.0, 2.0).parts
    ('KF1',)
    """

    name: str
    parts: tuple[str, ...]
    every_h: float
    takes_h: float


@dataclass(frozen=True)
class Changeover(Ranged):
    """Hold parts of which some run and the others have to start when one of these fails.

    Starts for a part that is whole and whose feed has failed are not counted.

    Parameters
    ----------
    name : str
        What changes over, unlike any part and event.
    parts : tuple of str
        Designations.
    running : int
        How many run.
    starts : float
        Share of starts that succeed by themselves, 0 (by hand only) to 1.
    by_hand_h : float
        How long a start by hand takes, hours.
    by_hand : float
        Share of starts by hand that succeed; after the others the part is repaired, 0 to 1.
    every_h : float
        How often duty changes, hours; 0 for never.

    >>> Changeover("pumps", ("GP1", "GP2"), starts=0.98).running
    1
    """

    name: str
    parts: tuple[str, ...]
    running: int = 1
    starts: float = 1.0
    by_hand_h: float = 0.5
    by_hand: float = 1.0
    every_h: float = 0.0

    @property
    def failing(self) -> Mapping[str, float]:
        """What becomes of a start that fails, by the name of the failure, with its share."""
        return {f"{self.name}: no start": self.by_hand,
                f"{self.name}: no start by hand": 1.0 - self.by_hand}

    @property
    def fails_from_rest(self) -> float:
        """Chance that fewer start than have to run, when all stand still and each is tried.

        >>> round(Changeover("pumps", ("GP1", "GP2"), starts=0.9).fails_from_rest, 12)
        0.01
        """
        count = len(self.parts)
        return math.fsum(math.comb(count, up) * self.starts**up * (1.0 - self.starts)**(count - up)
                         for up in range(min(self.running, count + 1)))


@dataclass(frozen=True)
class People(Sourced):
    """Hold what people do wrong at a pair, as chances for each repair or test.

    Parameters
    ----------
    wrong_unit : float
        That the good unit is taken out in place of its broken partner, for each repair.
    left_stopped : float
        That the standby is left stopped afterwards, for each repair or test.
    crews : int
        How many faults can be repaired at the same time; 0 for as many as there are.

    >>> People().source
    'invented'
    """

    wrong_unit: float = 0.003
    left_stopped: float = 0.003
    crews: int = 0


@dataclass(frozen=True)
class AtLeast:
    """Hold a need for at least `k` of several needs.

    >>> AtLeast(2, ("GP1", "GP2", "GP3")).k
    2
    """

    k: int
    of: tuple[Need, ...]


@dataclass(frozen=True)
class Reached:
    """Hold a need for one controller that reaches all of these racks.

    >>> Reached(("KF10",)).racks
    ('KF10',)
    """

    racks: tuple[str, ...]


Need = str | AtLeast | Reached


@dataclass(frozen=True)
class Function:
    """Hold a function that is to be kept.

    Parameters
    ----------
    needs : tuple of str, AtLeast or Reached
        All of these must work.
    reached : tuple of str
        Racks that one controller must reach, all of them, and panels, each on either of a pair.
    by : tuple of str
        Controllers beside the pair, any one of which leads for it; none for the pair itself.
    hours_per_year : float
        For how long in the year it is asked for, hours, 0 to 8760.
    idle_h : float
        How long it stands idle and untested before it is asked for, once a year, hours.
    shown : bool
        Whether it stands on the panel, or is only for costs and papers.
    apart : bool
        Whether each rack may be led by another unit of the pair, as while both lead.
    voted : bool
        Whether a voter of the plant has to agree, where the leader does not hear its partner.

    >>> Function("see and act", ("WF3", "TF1", "WF4", "PH1")).hours_per_year
    8760.0
    """

    name: str
    needs: tuple[Need, ...] = ()
    reached: tuple[str, ...] = ()
    by: tuple[str, ...] = ()
    hours_per_year: float = 8760.0
    idle_h: float = 0.0
    shown: bool = True
    apart: bool = False
    voted: bool = True


@dataclass(frozen=True)
class CostStep(Ranged):
    """Hold what an outage of a function costs once it lasts longer than a limit.

    Parameters
    ----------
    name, function : str
        What is lost, in words; the function whose outage counts.
    longer_than_min : float
        The limit, minutes, >= 0.
    cost : float
        Money per outage, >= 0.
    cost_per_h : float
        Money for each hour that it lasts beyond the limit, >= 0.
    chance : float
        Chance that it really is due, 0 to 1.
    happening : mapping of str to float
        How its cost falls on what happens to the process, as weights; empty where the process
        shows nothing of it.

    >>> CostStep("call-out", "control kept", longer_than_min=22, cost=700).chance
    1.0
    """

    name: str
    function: str
    longer_than_min: float
    cost: float = 0.0
    chance: float = 1.0
    happening: Mapping[str, float] = field(default_factory=dict, hash=False)
    cost_per_h: float = 0.0


@dataclass(frozen=True)
class Variant:
    """Hold the name of a variant of the plant and what it costs a year.

    Parameters
    ----------
    name, about : str
        Its name, and what is different in words.
    price_per_year : float
        Money a year beside the cheapest variant, >= 0.

    >>> Variant("V1b", "supply doubled", 480.0).price_per_year
    480.0
    """

    name: str
    about: str = ""
    price_per_year: float = 0.0


def need(entry: str | Mapping) -> Need:
    """Return the need that an entry of the file stands for.

    >>> need({"at_least": 1, "of": ["GP1", "GP2"]})
    AtLeast(k=1, of=('GP1', 'GP2'))
    """
    if isinstance(entry, str):
        return entry
    if "reached" in entry:
        return Reached(tuple(entry["reached"]))
    return AtLeast(entry["at_least"], tuple(map(need, entry["of"])))


def needs_of(wanted: Function) -> Iterator[Need]:
    """Yield everything that a function needs, and what stands in a choice beside the choice."""
    waiting = [*wanted.needs, *([Reached(wanted.reached)] if wanted.reached else ())]
    while waiting:
        entry = waiting.pop()
        yield entry
        if isinstance(entry, AtLeast):
            waiting += entry.of


def racks_of(wanted: Function) -> set[tuple[str, ...]]:
    """Return every set of racks that a function asks one controller to reach.

    >>> racks_of(Function("control kept", (AtLeast(1, (Reached(("KF10",)), "BT1")),)))
    {('KF10',)}
    """
    return {entry.racks for entry in needs_of(wanted) if isinstance(entry, Reached)}


def record(kind: type, table: Mapping):
    """Return a record from a table of the file; keys that the record lacks are passed over.

    Lists become tuples and whole numbers become floats where a float belongs.

    >>> found = record(Twins, {"parts": ["GP1", "GP2"], "common_cause": 0})
    >>> found.parts, found.common_cause
    (('GP1', 'GP2'), 0.0)
    """
    types = {each.name: str(each.type) for each in fields(kind)}
    values = {}
    for key, value in table.items():
        if key in types:
            if isinstance(value, list):
                value = tuple(value)
            elif isinstance(value, int) and types[key].startswith("float"):
                value = float(value)
            values[key] = value
    return kind(**values)


def named(records: Iterable) -> Mapping:
    """Return records by designation or name, in their order, as a mapping that cannot change.

    >>> dict(named([Variant("V0")]))
    {'V0': Variant(name='V0', about='', price_per_year=0.0)}
    """
    return MappingProxyType({getattr(each, "designation", None) or each.name: each
                             for each in records})
