"""What a plant file says, as frozen records: parts, pair, twins, events, functions, costs.

Hours are hours of operation, shares are 0 to 1. The keys of the file and the fields of the records
bear the same names; `labkit.plant.file` says what each means and checks it, so nothing is checked
here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from types import MappingProxyType

__all__ = ["AtLeast", "CostStep", "Function", "Need", "PairData", "People", "PlantPart", "Reached",
           "SharedEvent", "Twins", "Variant", "named", "need", "racks_of", "record"]


@dataclass(frozen=True)
class PlantPart:
    """Hold one part.

    Parameters
    ----------
    designation, what, kind, place : str
        Short name, words, class of part (``controller``, ``cable`` ...), where it is.
    mtbf_h, mttr_h : float
        Mean operating time between failures and mean time to restoration once noticed, hours.
    source, source_note : str
        Where the two come from: ``invented``, ``practice`` or ``found``; in words.
    fed_by : tuple of str
        Designations of its feeds, any one of which is enough; none if it needs no feed.
    joins : tuple of str
        Designations of the parts that it is wired to, as the file has them: on one side only.
    noticed : float or None
        Share of failures noticed at once, 0 to 1, where it is known better than from the rig.
    noticed_note : str
        Who or what notices them, or why not.
    test_interval_h : float
        How often a test finds the others, hours.

    >>> PlantPart("BL1", "level sensor", "sensor", 150_000, 3).noticed is None
    True
    """

    designation: str
    what: str
    kind: str
    mtbf_h: float
    mttr_h: float
    place: str = ""
    source: str = "invented"
    source_note: str = ""
    fed_by: tuple[str, ...] = ()
    joins: tuple[str, ...] = ()
    noticed: float | None = None
    noticed_note: str = ""
    test_interval_h: float = 4380.0

    @property
    def failure_rate_per_h(self) -> float:
        """Failures per hour of operation."""
        return 1.0 / self.mtbf_h


@dataclass(frozen=True)
class PairData:
    """Hold the pair of controllers; the numbers are those of `labkit.markov.pair.redundant_pair`.

    Parameters
    ----------
    units : tuple of (str, str)
        Designations of the two.
    sync : tuple of str
        Cables over which the standby follows.
    common_cause, coverage, diagnosed : float
        Shares, 0 to 1.
    test_interval_h, restart_h : float
        Hours.
    crews : int
        Repair teams, 1 or 2.
    standby_ratio : float
        How fast the standby ages against the active one, 0 (cold) to 1 (hot).
    source, source_note : str
        Where these numbers come from, as for a part.

    >>> PairData(("KF1", "KF2")).coverage
    1.0
    """

    units: tuple[str, str]
    sync: tuple[str, ...] = ()
    common_cause: float = 0.0
    coverage: float = 1.0
    diagnosed: float = 1.0
    test_interval_h: float = 4380.0
    restart_h: float = 0.5
    crews: int = 1
    standby_ratio: float = 1.0
    source: str = "invented"
    source_note: str = ""


@dataclass(frozen=True)
class Twins:
    """Hold like parts that have a part of their failures in common.

    Parameters
    ----------
    parts : tuple of str
        Designations.
    common_cause : float
        Share of failures that take all of them at once, 0 to 1.
    source, source_note : str
        Where that share comes from, as for a part.

    >>> Twins(("KF10A", "KF10B"), 0.05).name
    'KF10A+KF10B common cause'
    """

    parts: tuple[str, ...]
    common_cause: float
    source: str = "invented"
    source_note: str = ""

    @property
    def name(self) -> str:
        """Name of what they have in common."""
        return "+".join(self.parts) + " common cause"


@dataclass(frozen=True)
class SharedEvent:
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
    source, source_note : str
        Where these numbers come from, as for a part.

    >>> SharedEvent("WF1+WF2", "duct dug through", ("WF1.10", "WF2.10")).mtbf_h is None
    True
    """

    name: str
    what: str
    breaks: tuple[str, ...]
    place: str = ""
    mtbf_h: float | None = None
    mttr_h: float | None = None
    source: str = "invented"
    source_note: str = ""


@dataclass(frozen=True)
class People:
    """Hold what people do wrong at a pair, as chances for each repair or test.

    Parameters
    ----------
    wrong_unit : float
        That the good unit is taken out in place of its broken partner, for each repair.
    left_stopped : float
        That the standby is left stopped afterwards, for each repair or test.
    source, source_note : str
        Where these chances come from, as for a part.

    >>> People().source
    'invented'
    """

    wrong_unit: float = 0.003
    left_stopped: float = 0.003
    source: str = "invented"
    source_note: str = ""


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
        Racks that one controller must reach, all of them.
    hours_per_year : float
        For how long in the year it is asked for, hours, 0 to 8760.
    idle_h : float
        How long it stands idle and untested before it is asked for, once a year, hours.
    shown : bool
        Whether it stands on the panel, or is only for costs and papers.

    >>> Function("see and act", ("WF3", "TF1", "WF4", "PH1")).hours_per_year
    8760.0
    """

    name: str
    needs: tuple[Need, ...] = ()
    reached: tuple[str, ...] = ()
    hours_per_year: float = 8760.0
    idle_h: float = 0.0
    shown: bool = True


@dataclass(frozen=True)
class CostStep:
    """Hold what an outage of a function costs once it lasts longer than a limit.

    Parameters
    ----------
    name, function : str
        What is lost, in words; the function whose outage counts.
    longer_than_min : float
        The limit, minutes, >= 0.
    cost : float
        Money per outage, >= 0.
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
    cost: float
    chance: float = 1.0
    happening: Mapping[str, float] = field(default_factory=dict, hash=False)


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


def racks_of(wanted: Function) -> set[tuple[str, ...]]:
    """Return every set of racks that a function asks one controller to reach.

    >>> racks_of(Function("control kept", (AtLeast(1, (Reached(("KF10",)), "BT1")),)))
    {('KF10',)}
    """
    found = {wanted.reached} if wanted.reached else set()
    waiting = list(wanted.needs)
    while waiting:
        entry = waiting.pop()
        if isinstance(entry, Reached):
            found.add(entry.racks)
        elif isinstance(entry, AtLeast):
            waiting += entry.of
    return found


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
