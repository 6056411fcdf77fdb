"""A plant: its parts, its wires, its pair of controllers, and what is to be kept.

`load_plant` reads one from a file. The plant then answers three questions: does a function work
while these parts are broken, what would stop it next, and how often is it lost from here.

How a function is judged
------------------------
A part is *alive* when it is whole and, if it has feeds, at least one of its feeds is alive. A
function works when everything it needs is alive and, if it has racks to reach, one controller
that may lead is fed and has, for each of the racks, a way over living parts. Of a pair one unit
leads: racks that a function asks for in several entries hang on the same one, panels on either.
Signals pass through cables, interfaces, repeaters and switches, and through nothing else.

The pair is one chain of states (`labkit.markov.pair.redundant_pair`), unfolded so that *one failed*
says which one. Units are alike, so each gets half of the rates. While a takeover has failed, or
both have failed, nobody leads. With one unit known to be broken, or cut off by what is broken, the
other is a single controller with its own full failure rate; a takeover because of a lost feed or
link is taken to succeed always; where the standby is started by hand (coverage 0) it is no takeover,
and the function is lost until then: what cuts off a leader, each being it for half of the time, is
one more failure of the pair, *way lost*. Where a failure parts the racks between them, the one that reaches
more leads, on a tie either, and what only its partner reaches is lost: on a tie that counts for both.
Of two failures that do so together nothing is counted. A unit that alone reaches what a function
needs is restored once it leads again, which takes a change of roles by hand. The sync cable is no part of the sums:
without it the standby still asks the racks before it takes over. Where the plant has a voter, a
unit leads with two votes of three: its own, and that of a partner that it hears on the sync cable,
or of the voter.

Twins have a part of their failures in common (beta factor): each keeps the share
1 - common_cause for itself, and one more thing, named after all of them, takes the rest. Where
twins differ, the common rate is counted from the smaller failure rate and restoration takes the
longer time. Of twins of which only one matters to a function, that one has its full rate.

A part with a battery works on while its feeds are gone: what takes them counts only as often as it
lasts longer than the battery, and for as long as it then goes on. Where parts behind different
batteries hang on one failure, its cuts are told apart by length, up to the length that alone stops
the function.

Planned work takes its parts out like an event that everybody knows of. A start that fails takes
the whole group of a changeover out, until it is started by hand or repaired.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType

from labkit.arguments import instance, instances, one_of, written
from labkit.plant import watching
from labkit.plant.file import PlantFileError, find_file, is_shipped, read_file
from labkit.plant.fitted_parts import parts_of
from labkit.plant.fitting import fitted, with_variant
from labkit.plant.hidden import HiddenSet, Member, WithHidden
from labkit.plant.plant_data import (
    AtLeast,
    Changeover,
    CostStep,
    Function,
    Maintenance,
    Need,
    OwnMode,
    PairData,
    People,
    PlantPart,
    Reached,
    SharedEvent,
    Spare,
    TitleBlock,
    Twins,
    Variant,
    named,
    need,
    racks_of,
    record,
)
from labkit.plant.stop_modes import StopMode, modes_in
from labkit.plant.unfolded import PairTimes, leading_states, unfolded_pair
from labkit.plant.wiring import (
    Condition,
    Leads,
    Whole,
    all_of,
    any_of,
    as_block,
    at_least,
    holds,
    leaves,
    stops_alone,
    ways,
    with_leaves,
)
from labkit.wording import did_you_mean

# Conditions of a function that are kept, by what is broken.
MOST_KEPT = 1000
PASSES = frozenset({"cable", "interface", "repeater", "switch"})


@dataclass(frozen=True)
class Failure:
    """Hold a single failure that can come.

    Parameters
    ----------
    name : str
        The designation, or the name of what several parts have in common.
    parts : tuple of str
        Designations of the parts that it takes.
    rate_per_h : float
        How often it comes, per hour.
    down_h : float
        How long it lasts on average, hours.
    waits_h : float
        How much of that it waits for a spare, hours.

    >>> Failure("BL1", ("BL1",), 1 / 150_000, 3.0).parts
    ('BL1',)
    """

    name: str
    parts: tuple[str, ...]
    rate_per_h: float
    down_h: float
    waits_h: float = 0.0


@dataclass(frozen=True)
class PlantState:
    """Hold what is left of a plant while some parts are broken.

    Parameters
    ----------
    broken : frozenset of str
        The broken parts.
    works : mapping of str to bool
        For each function that is shown: whether it works.
    next_failure_details : mapping of str to tuple of Failure
        For each function: the single failures that would stop it now, most frequent first. Empty
        if it is lost already.
    failures_per_h : mapping of str to float
        For each function: how often it is lost from here, per hour, in the long run, the broken
        staying broken and the rest failing and being restored as ever. 0 if it is lost already:
        what does not work cannot be lost.
    healthy_failures_per_h : mapping of str to float
        The same with nothing broken.
    not_in_rate : mapping of str to frozenset of str
        For each function: which of the next failures its rate does not count, since they leave
        its panel without a controller to see.
    lost_after_h : mapping of str to float
        What batteries keep for now: how long after their feeds went it is lost, hours.

    >>> state = load_plant().state({"KF1"})
    >>> state.works["control kept"], state.next_failures["control kept"][0]
    (True, 'KF2')
    """

    broken: frozenset[str]
    works: Mapping[str, bool]
    next_failure_details: Mapping[str, tuple[Failure, ...]]
    failures_per_h: Mapping[str, float]
    healthy_failures_per_h: Mapping[str, float]
    not_in_rate: Mapping[str, frozenset[str]] = field(default_factory=dict)
    lost_after_h: Mapping[str, float] = field(default_factory=dict)

    @property
    def next_failures(self) -> dict[str, tuple[str, ...]]:
        """For each function the names of the single failures that would stop it now."""
        return {function: tuple(each.name for each in found)
                for function, found in self.next_failure_details.items()}


@dataclass(frozen=True)
class Cut:
    """Hold which lengths of a failure count, and from when on: those between two limits.

    >>> Cut("Q0", 4.0).name
    'Q0 longer than 4 h'
    """

    failure: str
    from_h: float
    to_h: float = math.inf

    @property
    def name(self) -> str:
        """The failure, and its lengths in words."""
        if self.to_h == math.inf:
            return f"{self.failure} longer than {self.from_h:g} h"
        span = f"from {self.from_h:g} to {self.to_h:g}" if self.from_h else f"up to {self.to_h:g}"
        return f"{self.failure} {span} h"

    def of(self, failure: Failure, kinds: Iterable[tuple[float, float]]) -> Failure:
        """Return what is left of a failure; kinds are shares and mean lengths of its cuts.

        >>> cut = Cut("Q0", 4.0).of(Failure("Q0", ("Q0",), 1e-3, 2.0), ())
        >>> round(cut.rate_per_h / 1e-3 - math.exp(-2.0), 12), cut.down_h
        (0.0, 2.0)
        """
        rate_per_h = down = 0.0
        for share, mean_h in kinds or [(1.0, failure.down_h)]:
            often = share * failure.rate_per_h * (
                math.exp(-self.from_h / mean_h) - math.exp(-self.to_h / mean_h))
            rate_per_h += often
            # the hours between the limits of every cut, of those too that go on beyond them
            down += often * mean_h
        mean_h = down / rate_per_h if rate_per_h > 0 else failure.down_h
        return replace(failure, name=self.name, rate_per_h=rate_per_h, down_h=mean_h,
                       waits_h=failure.waits_h * mean_h / failure.down_h)


def _nothing() -> Mapping:
    return MappingProxyType({})


@dataclass(frozen=True, eq=False)
class Plant:
    """Hold a plant as its file describes it.

    Parameters
    ----------
    name, version, about, path, data : str
        What it is, in which state, in words, from which file, and where its numbers come from
        unless a part says otherwise.
    parts : mapping of str to PlantPart
        By designation, in the order of the file; what is not fitted is left out.
    functions_counted : mapping of str to Function
        All functions; those that stand on the panel are in `functions`.
    pair : PairData or None
    twins : tuple of Twins
    shared_events : mapping of str to SharedEvent
    how_often : mapping of str to mapping
        How often each kind of fault comes, where the file says it (`labkit.rig.rates`).
    people : People
    title_block : TitleBlock
    modes : tuple of OwnMode
        How parts fail, where the file says it in its own words.
    spares, maintenance, changeovers : tuple of Spare, of Maintenance, of Changeover
    process : mapping of str to number or str
        Constants of the header tank.
    costs : tuple of CostStep
    costs_beside : mapping of str to float
        What happens to the process, and is no outage of a function, and its cost.
    currency : str
    variants : mapping of str to Variant
    document : mapping
        The tables of the file, with all that is not fitted and all variants.

    Examples
    --------
    >>> plant = load_plant("brackenquay")
    >>> plant.name, plant.version
    ('Brackenquay Shellfish Hall', 'V1')
    """

    name: str
    parts: Mapping[str, PlantPart]
    functions_counted: Mapping[str, Function]
    version: str = "as built"
    about: str = ""
    path: str = ""
    data: str = "invented"
    pair: PairData | None = None
    twins: tuple[Twins, ...] = ()
    shared_events: Mapping[str, SharedEvent] = field(default_factory=_nothing)
    how_often: Mapping[str, Mapping] = field(default_factory=_nothing)
    people: People = People()
    title_block: TitleBlock = TitleBlock()
    modes: tuple[OwnMode, ...] = ()
    spares: tuple[Spare, ...] = ()
    maintenance: tuple[Maintenance, ...] = ()
    changeovers: tuple[Changeover, ...] = ()
    process: Mapping[str, float | str] = field(default_factory=_nothing)
    costs: tuple[CostStep, ...] = ()
    costs_beside: Mapping[str, float] = field(default_factory=_nothing)
    currency: str = "EUR"
    variants: Mapping[str, Variant] = field(default_factory=_nothing)
    document: Mapping = field(default_factory=_nothing, repr=False)
    # what was found once, and failures of which only what is longer than a battery counts
    _found_ways: dict = field(default_factory=dict, init=False, repr=False)
    _parted: dict[frozenset, tuple[str, ...]] = field(default_factory=dict, init=False, repr=False)
    _conditions: dict[tuple, Condition] = field(default_factory=dict, init=False, repr=False)
    _watched: dict[str, float] = field(default_factory=dict, init=False, repr=False)
    _cuts: dict[str, Cut] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def functions(self) -> Mapping[str, Function]:
        """The functions that stand on the panel, by name."""
        return MappingProxyType({name: each for name, each in self.functions_counted.items()
                                 if each.shown})

    def variant(self, name: str) -> Plant:
        """Return the plant as one of its variants has it.

        Parameters
        ----------
        name : str
            One of `variants`.

        Returns
        -------
        Plant
            Its version is the name of the variant.

        Raises
        ------
        ValueError
            If there is no such variant.

        Examples
        --------
        >>> load_plant().variant("V0").pair is None
        True
        """
        return build(with_variant(self.document, instance("name", name, str)), self.path, version=name)

    @property
    def started_by_hand(self) -> bool:
        """Whether its standby takes over only once somebody has started it."""
        return self.pair is not None and self.pair.coverage == 0.0

    def of_kind(self, *kinds: str) -> tuple[str, ...]:
        """Return the designations of the parts of some kinds.

        >>> load_plant().of_kind("controller")
        ('KF1', 'KF2')
        """
        return tuple(name for name, part in self.parts.items() if part.kind in kinds)

    # ------------------------------------------------------------ wires

    @cached_property
    def neighbours(self) -> Mapping[str, tuple[str, ...]]:
        """What each part is wired to, in both directions."""
        beside: dict[str, dict[str, None]] = {name: {} for name in self.parts}
        for part in self.parts.values():
            for other in part.joins:
                beside[part.designation][other] = None
                beside[other][part.designation] = None
        return MappingProxyType({name: tuple(others) for name, others in beside.items()})

    @cached_property
    def controllers(self) -> tuple[str, ...]:
        """Designations of the controllers that may lead: the pair, or the only one."""
        if self.pair is not None:
            return self.pair.units
        beside = {unit for function in self.functions_counted.values() for unit in function.by}
        return tuple(name for name in self.of_kind("controller") if name not in beside)

    def leading(self, function: Function) -> tuple[str, ...]:
        """Return the controllers any one of which leads for a function, as far as they are there.

        >>> load_plant().leading(Function("sump dry", reached=("KF10",)))
        ('KF1', 'KF2')
        """
        return tuple(unit for unit in function.by or self.controllers if unit in self.parts)

    @cached_property
    def second_pairs(self) -> dict[str, str]:
        """What is said of each pair beside the first, wherever somebody could expect it to run."""
        several = dict.fromkeys(each.by for each in self.functions_counted.values()
                                if len(each.by) > 1)
        return {f"second pair {', '.join(units)}":
                "parts that work or not in every sum; the rules of its switchover are run by no "
                "paper and no panel, and its steps say what its maker has to give"
                for units in several}

    @cached_property
    def racks(self) -> tuple[str, ...]:
        """Designations of the racks, but for those of other controllers."""
        return tuple(name for name in self.of_kind("rack") if name not in self.beside_the_pair)

    @cached_property
    def beside_the_pair(self) -> frozenset[str]:
        """Designations of other controllers (`by`) with their racks and ways.

        The rig runs the pair, or the only controller, alone: these parts work or do not. The pair
        writes no rack of theirs, also where it has a way to it.
        """
        found = {(unit, rack) for function in self.functions_counted.values()
                 for unit in function.by if unit in self.parts
                 for racks in racks_of(function) for rack in racks if rack in self.parts}
        theirs = {rack for _, rack in found}
        own = {name for unit in self.controllers for rack in self.of_kind("rack") if rack not in theirs
               for way in self.ways(unit, rack) for name in (*way, rack)}
        return frozenset(name for unit, rack in found for way in self.ways(unit, rack)
                         for name in (unit, *way, rack)) - own

    def ways(self, controller: str, rack: str) -> tuple[tuple[str, ...], ...]:
        """Return every way from one part to another, such as from a controller to a rack.

        Parameters
        ----------
        controller, rack : str
            Designations of the two ends.

        Returns
        -------
        tuple of tuple of str
            The parts between the ends for each way, shortest first.

        Raises
        ------
        ValueError
            If a designation is unknown, or there are more than 500 ways.

        Examples
        --------
        >>> load_plant().ways("KF1", "KF10")
        (('WF1.10', 'KF10A'),)
        """
        ends = (instance("controller", controller, str), instance("rack", rack, str))
        if ends not in self._found_ways:
            self._known(ends, "ends")
            self._found_ways[ends] = ways(
                *ends, self.neighbours, lambda name: self.parts[name].kind in PASSES)
        return self._found_ways[ends]

    def lines(self) -> dict[tuple[str, str], tuple[str, ...]]:
        """Return for each controller and rack the parts of the shortest way between them.

        Returns
        -------
        dict of (str, str) to tuple of str
            Designations of cables and interfaces, from the controller to the rack. A controller
            and a rack without a way between them are left out.

        Examples
        --------
        >>> load_plant().lines()["KF2", "KF30"]
        ('WF2.30', 'KF30B')
        """
        return {(controller, rack): self.ways(controller, rack)[0]
                for controller in self.controllers for rack in self.racks
                if self.ways(controller, rack)}

    def reach(self, broken: Iterable[str] = ()) -> dict[str, frozenset[str]]:
        """Return the racks that each controller reaches while some parts are broken, batteries full.

        >>> sorted(load_plant().reach({"WF2.10"})["KF2"])
        ['KF20', 'KF30']
        """
        dead = {*self._known(broken, "broken")}
        while more := {name for name, part in self.parts.items() if part.fed_by and name not in dead
                       and not part.battery_h and dead.issuperset(part.fed_by)}:
            dead |= more
        return {unit: frozenset(rack for rack in self.racks if not dead & {unit, rack} and any(
            dead.isdisjoint(way) for way in self.ways(unit, rack))) for unit in self.controllers}

    @cached_property
    def _on_ways(self) -> tuple[str, ...]:
        """What lies between a pair and its racks, with all feeds; nothing where the racks are parted."""
        if self.pair is None or self._leaders(()):
            return ()
        names = {name for unit in self.controllers for rack in self.racks
                 for way in self.ways(unit, rack) for name in way}
        while more := {feed for name in names for feed in self.parts[name].fed_by} - names:
            names |= more
        return tuple(name for name in self.parts if name in names)

    def _leaders(self, broken: Iterable[str]) -> tuple[str, ...]:
        """Return which units may lead where each reaches a rack that the other does not; else none."""
        gone = frozenset(broken)
        if gone not in self._parted:
            reach = self.reach(gone)
            one, other = reach.values()
            self._parted[gone] = tuple(unit for unit in reach if len(reach[unit]) == max(
                len(one), len(other))) if one - other and other - one else ()
        return self._parted[gone]

    def carried_h(self, name: str) -> float:
        """Return for how long the batteries carry all that the part `name` feeds, hours.

        >>> load_plant().carried_h("GB1")
        0.0
        """
        self._known((instance("name", name, str),), "name")
        fed = [part for part in self.parts.values() if name in part.fed_by]
        return min((part.battery_h + self.carried_h(part.designation) for part in fed), default=0.0)

    # ------------------------------------------------------------ conditions

    def condition(self, function: str | Function, broken: Iterable[str] = ()) -> Condition:
        """Return what must be whole for a function to work.

        Parameters
        ----------
        function : str or Function
            One of `functions_counted`, or a function of one's own.
        broken : iterable of str
            Designations of the parts that are broken and stay so.

        Returns
        -------
        Condition
            See `labkit.plant.wiring`; `True` or `False` if nothing else can change it.

        Raises
        ------
        ValueError
            If the function or a part is unknown.

        Examples
        --------
        >>> load_plant().condition("see and act", broken={"PH1"})
        False
        """
        wanted = function if isinstance(function, Function) else self.functions_counted[
            one_of("function", function, self.functions_counted)]
        asked = wanted, self._known(broken, "broken")
        if asked not in self._conditions:
            if len(self._conditions) >= MOST_KEPT:
                self._conditions.clear()
            # Which twins matter is known once it is known which parts matter.
            common = self._common(self._condition(*asked, {}))
            self._conditions[asked] = self._condition(*asked, common)
        return self._conditions[asked]

    def _condition(self, wanted: Function, broken: frozenset[str],
                   common: Mapping[str, Failure]) -> Condition:
        memory: dict[tuple[str, float], Condition] = {}
        shared: dict[str, list[Whole]] = {name: [] for name in self.parts}
        for each in common.values():
            for name in each.parts:
                shared[name].append(Whole(each.name))

        def whole(name: str, battery_h: float = 0.0) -> Condition:
            if name in broken:
                return False
            own = [Whole(name)] if self._own_rate_per_h(name, common) > 0 else []
            return all_of(self.beyond(each, battery_h) for each in [*own, *shared[name]])

        def fed(name: str, battery_h: float = 0.0) -> Condition:
            feeds = self.parts[name].fed_by
            carried_h = battery_h + self.parts[name].battery_h
            return any_of(alive(feed, carried_h) for feed in feeds) if feeds else True

        def alive(name: str, battery_h: float = 0.0) -> Condition:
            if (name, battery_h) not in memory:
                memory[name, battery_h] = all_of([whole(name, battery_h), fed(name, battery_h)])
            return memory[name, battery_h]

        def behind(unit: str, racks: tuple[str, ...]) -> Condition:
            """Return what a unit needs beside itself to reach the racks."""
            if unit in broken:
                return False
            return all_of([fed(unit), *(any_of(all_of(map(alive, way))
                                               for way in self.ways(unit, rack))
                                        for rack in racks)])

        def majority(unit: str) -> Condition:
            """Return what gives a leader a second vote of three: its partner, or the voter."""
            (partner,) = {*self.pair.units} - {unit}
            heard = partner not in broken and all_of([
                *([Leads(partner), *shared[partner]] if paired else [whole(partner)]), fed(partner),
                any_of(map(alive, self.pair.sync))])
            return any_of([heard, *map(alive, voters)])

        voters = self.of_kind("voter") if self.pair and wanted.voted and not wanted.by else ()
        written = {*self.of_kind("rack")}

        def groups(names: tuple[str, ...]) -> list[tuple[str, ...]]:
            """Return what one unit has to reach: of a pair one leads all racks, and panels hang on either."""
            if wanted.by:
                return [names]
            racks = tuple(name for name in names if name in written and not wanted.apart)
            return [*[racks] * bool(racks), *((name,) for name in names if name not in racks)]

        asked = {group for names in racks_of(wanted) for group in groups(names)}
        both = () if wanted.by or wanted.apart else tuple(
            rack for entry in (*wanted.needs, Reached(wanted.reached)) if isinstance(entry, Reached)
            for rack in entry.racks if rack in written)
        able = [unit for unit in self.leading(wanted) if behind(unit, both) is not False
                and any(behind(unit, racks) is not False for racks in asked)]
        paired = self.pair is not None and len(able) == 2 and not wanted.by

        def met(entry: Need, leader: str | None = None) -> Condition:
            if isinstance(entry, AtLeast):
                return at_least(entry.k, (met(each, leader) for each in entry.of))
            if isinstance(entry, Reached) and len(groups(entry.racks)) > 1:
                return all_of(met(Reached(names), leader) for names in groups(entry.racks))
            if isinstance(entry, Reached):
                led = any_of(all_of([*([Leads(unit), *shared[unit]] if paired else [whole(unit)]),
                                     behind(unit, entry.racks),
                                     not voters or written.isdisjoint(entry.racks) or majority(unit)])
                             for unit in (able if written.intersection(entry.racks) else self.leading(wanted))
                             if leader in (None, unit) or not written.intersection(entry.racks))
                return all_of([*map(alive, entry.racks), led])
            return alive(entry)

        reached = [Reached(wanted.reached)] if wanted.reached else []
        leaders = able if paired and not wanted.apart and sum(
            not written.isdisjoint(racks) for racks in asked) > 1 else [None]
        kept = any_of(all_of(met(each, leader) for each in (*wanted.needs, *reached))
                      for leader in leaders)
        if paired and self.way_lost in common:
            kept = all_of([kept, Whole(self.way_lost)])

        def parts(gone: Iterable[str] = ()) -> bool:
            """Return whether a failure leaves the racks that are asked for to a unit that does not lead."""
            out = broken.union(gone)
            return any(self._condition(replace(wanted, by=(unit,)), out, {}) is False
                       for unit in self._leaders(out))

        if not self._on_ways or wanted.by or wanted.apart or not any(map(written.intersection, asked)):
            return self.by_length(kept)
        return not parts() and self.by_length(all_of([
            kept, *(whole(name) for name in self._on_ways if paired and parts({name})),
            *(Whole(each.name) for each in common.values() if paired and parts(each.parts))]))

    # ------------------------------------------------------------ cuts longer than a battery

    def beyond(self, leaf: Whole, battery_h: float) -> Whole:
        """Return what has to be whole of a failure behind a battery.

        Parameters
        ----------
        leaf : Whole
            Of the failure in all its lengths.
        battery_h : float
            For how long nothing behind the battery sees it, hours.

        Examples
        --------
        >>> load_plant().beyond(Whole("GB1"), 0.5)
        Whole(name='GB1 longer than 0.5 h')
        """
        if not battery_h:
            return leaf
        cut = Cut(leaf.name, battery_h)
        self._cuts[cut.name] = cut
        return Whole(cut.name)

    def by_length(self, condition: Condition) -> Condition:
        """Return a condition in which failures seen over several batteries are told apart by length.

        What lasts longer than the larger battery is not over for the smaller one either.

        >>> load_plant().by_length(Whole("GB1"))
        Whole(name='GB1')
        """
        if not self._cuts:
            return condition

        def seen(leaf: Whole | Leads) -> Cut:
            return self.cut_of(getattr(leaf, "name", ""))

        from_h: dict[str, set[float]] = {}
        for leaf in leaves(condition):
            from_h.setdefault(seen(leaf).failure, set()).update(
                {seen(leaf).from_h, seen(leaf).to_h} - {math.inf})
        several = {name: sorted(found) for name, found in from_h.items() if len(found) > 1}
        for name, steps in several.items():
            # What is longer than a length that stops the function changes nothing any more.
            alone = [hours for hours in steps if not holds(
                condition, lambda leaf, name=name, hours=hours:
                seen(leaf).failure == name and seen(leaf).from_h <= hours)]
            several[name] = [hours for hours in steps if not alone or hours <= alone[0]]

        def told_apart(leaf: Whole | Leads) -> Condition:
            cut = seen(leaf)
            if cut.failure not in several:
                return leaf
            steps = several[cut.failure]
            parts = [Cut(cut.failure, start_h, end_h)
                     for start_h, end_h in zip(steps, [*steps[1:], math.inf], strict=True)
                     if cut.from_h <= start_h < cut.to_h]
            whole = [each for each in parts if (each.from_h, each.to_h) == (0.0, math.inf)]
            self._cuts.update({each.name: each for each in parts if each not in whole})
            return all_of(Whole(each.failure if each in whole else each.name) for each in parts)

        if several:
            condition = with_leaves(condition, told_apart)
        if not any(isinstance(leaf, Whole) and leaf.name in self._cuts for leaf in leaves(condition)):
            return condition
        # What is never so long stops nothing.
        can_come = self.single_failures(condition)
        return with_leaves(condition, lambda leaf: leaf if isinstance(leaf, Leads)
                           or leaf.name in can_come else True)

    def _known(self, designations: Iterable[str], argument: str) -> frozenset[str]:
        if isinstance(designations, str):
            raise TypeError(
                f"{argument} must be a collection of designations, got {designations!r}")
        asked = frozenset(instances(argument, designations, str))
        for name in sorted(asked - self.parts.keys(), key=str):
            raise ValueError(f"{argument} must hold designations of the plant, got {written(name)}"
                             f"{did_you_mean(name, self.parts)}")
        return asked

    def _common(self, condition: Condition) -> dict[str, Failure]:
        """Return by name what several of the parts in a condition have in common."""
        matter = {leaf.unit if isinstance(leaf, Leads) else self._failure_of(leaf.name)
                  for leaf in leaves(condition)}
        common = {}
        for group in self.twins:
            alike = tuple(name for name in group.parts if name in matter)
            if len(alike) < 2 and group.name in matter:
                # With nothing but common failures the twins themselves stand nowhere.
                alike = group.parts
            if len(alike) >= 2 and group.common_cause > 0:
                parts = [self.parts[name] for name in alike]
                common[group.name] = Failure(
                    group.name, alike,
                    group.common_cause * min(part.failure_rate_per_h for part in parts),
                    *max((part.mttr_h, part.waits_h) for part in parts))
        for event in self.shared_events.values():
            if event.mtbf_h is not None and (event.name in matter or matter & {*event.breaks}):
                common[event.name] = Failure(
                    event.name, event.breaks, 1.0 / event.mtbf_h, event.mttr_h)
        for each, least in self._planned_and_starts:
            if each.name in matter or len(matter & {*each.parts}) >= least:
                common[each.name] = each
        if cut_off := self.cut_off(condition, common):
            per_h = math.fsum(each.rate_per_h for each in cut_off)
            common[self.way_lost] = Failure(self.way_lost, self.pair.units, per_h, math.fsum(
                each.rate_per_h * each.down_h for each in cut_off) / per_h)
        return common

    @property
    def way_lost(self) -> str:
        """Name of what a standby that is started by hand makes of a cut way or feed of the leader."""
        return f"{'+'.join(self.pair.units)} way lost" if self.started_by_hand else ""

    def cut_off(self, condition: Condition, common: Mapping[str, Failure] | None = None
                ) -> tuple[Failure, ...]:
        """Return what cuts off a leader until its partner is started by hand, or until its repair.

        Each unit leads for half of the time.

        Parameters
        ----------
        condition : Condition
            From `condition`.
        common : mapping of str to Failure, optional
            What its parts have in common, where that is known already.

        Examples
        --------
        >>> load_plant().cut_off(Whole("KF1"))
        ()
        """
        if not self.started_by_hand or not {*map(Leads, self.pair.units)} <= {*leaves(condition)}:
            return ()
        started_per_h = 1.0 / self.pair.restart_mean_h(self.parts[self.pair.units[0]].mttr_h)
        common, both = self._common(condition) if common is None else common, stops_alone(condition)
        found = [self._single(leaf, common) for unit in self.pair.units for leaf in stops_alone(with_leaves(
            condition, lambda leaf, unit=unit: leaf.unit == unit if isinstance(leaf, Leads) else leaf)) - both]
        return tuple(replace(each, rate_per_h=each.rate_per_h / 2.0, down_h=1.0 / (
            1.0 / each.down_h + started_per_h)) for each in found if each.rate_per_h > 0)

    def with_common(self, condition: Condition) -> Condition:
        """Return a condition put together of several, with what parts all over it have in common.

        >>> load_plant().with_common(Whole("KF1"))
        Whole(name='KF1')
        """
        common = self._common(condition).values()
        return with_leaves(condition, lambda leaf: all_of([leaf, *(
            Whole(each.name) for each in common if getattr(leaf, "name", "") in each.parts)]))

    def cut_of(self, name: str) -> Cut:
        """Return of which failure, and of which of its lengths, a single failure is.

        Parameters
        ----------
        name : str
            That of a failure; a longer cut has one of its own.

        Examples
        --------
        >>> load_plant().cut_of("GB1")
        Cut(failure='GB1', from_h=0.0, to_h=inf)
        """
        return self._cuts.get(name) or Cut(name, 0.0)

    def _failure_of(self, name: str) -> str:
        """Return of which failure a single failure is, whatever its lengths."""
        return self._cuts[name].failure if name in self._cuts else name

    @cached_property
    def _planned_and_starts(self) -> tuple[tuple[Failure, int], ...]:
        """What takes parts out that are whole, and how many of them have to be there for it.

        Planned work, and starts that fail: without a part at rest nothing is started.
        """
        found = [(Failure(each.name, each.parts, 1.0 / each.every_h, each.takes_h), 1)
                 for each in self.maintenance]
        for each in self.changeovers:
            parts = [self.parts[name] for name in each.parts]
            failing_per_h = (1.0 - each.starts) * self._starts_asked_per_h(each)
            lasts_h = (each.by_hand_h, max(part.mttr_h for part in parts))
            for (name, share), down_h in zip(each.failing.items(), lasts_h, strict=True):
                if failing_per_h * share > 0:
                    found.append((Failure(name, each.parts, failing_per_h * share, down_h),
                                  each.running + 1))
        return tuple(found)

    def _starts_asked_per_h(self, duty: Changeover) -> float:
        """Return how often one that runs stops, by itself or for want of a feed, and others are left."""
        per_h = []
        for gone, part in self.parts.items():
            known = {gone: 0.0}
            after_h = [self._stops_after_h(name, known) for name in duty.parts]
            for hours in {*after_h} - {math.inf}:
                if sum(each > hours for each in after_h) >= duty.running:
                    own = Failure(gone, (gone,), part.failure_rate_per_h, part.mttr_h)
                    longer = Cut(gone, hours).of(own, [
                        (share, mean_h) for _, share, mean_h in self._kinds_of(own)])
                    share = min(1.0, after_h.count(hours) * duty.running / len(after_h))
                    per_h.append(share * longer.rate_per_h)
        return math.fsum(per_h)

    def _stops_after_h(self, name: str, known: dict[str, float]) -> float:
        """Return when a part stops for want of its feeds, hours; of those that are known it is given."""
        if name not in known:
            known[name] = self.parts[name].battery_h + max(
                (self._stops_after_h(feed, known) for feed in self.parts[name].fed_by), default=math.inf)
        return known[name]

    def _own_rate_per_h(self, name: str, common: Mapping[str, Failure]) -> float:
        """Return how often a part fails by itself, without what it has in common with twins."""
        rate = self.parts[name].failure_rate_per_h
        for group in self.twins:
            if name in group.parts and group.name in common:
                rate -= common[group.name].rate_per_h
        return rate

    # ------------------------------------------------------------ answers

    def single_failures(self, condition: Condition) -> dict[str, Failure]:
        """Return by name every single failure that a condition speaks of, without the pair.

        Parameters
        ----------
        condition : Condition
            From `condition`.

        Returns
        -------
        dict of str to Failure

        Examples
        --------
        >>> plant = load_plant()
        >>> found = plant.single_failures(plant.condition("see and act"))
        >>> found["PH1"].down_h
        8.0
        """
        common = self._common(condition)
        found = {leaf.name: self._single(leaf, common) for leaf in leaves(condition)
                 if isinstance(leaf, Whole)}
        return {name: failure for name, failure in found.items() if failure.rate_per_h > 0}

    def _single(self, leaf: Whole, common: Mapping[str, Failure]) -> Failure:
        """Return the failure that a leaf of a condition stands for."""
        name = self._failure_of(leaf.name)
        failure = common.get(name) or Failure(
            name, (name,), self._own_rate_per_h(name, common), self.parts[name].mttr_h,
            self.parts[name].waits_h)
        return failure if leaf.name not in self._cuts else self._cuts[leaf.name].of(failure, [
            (share, mean_h) for _, share, mean_h in self._kinds_of(failure)])

    # ------------------------------------------------------------ hidden failures

    def share_noticed(self, name: str) -> float:
        """Return which share of the failures of a part, or of an event, is noticed at once.

        Parameters
        ----------
        name : str
            Designation of a part, or name of an event.

        Returns
        -------
        float
            What the file states; where it states nothing, what the rig shows
            (`labkit.rig.noticed`), 0 to 1.

        Raises
        ------
        ValueError
            If there is no such part or event.

        Examples
        --------
        >>> load_plant().share_noticed("KF10A"), load_plant("elderhang").share_noticed("GP1")
        (0.95, 0.3)
        """
        part = self.parts.get(instance("name", name, str))
        if part is not None and part.noticed is not None:
            return part.noticed
        return self.share_seen(name)

    def modes_of(self, designation: str) -> tuple[OwnMode, ...]:
        """Return how the part of this designation fails, where the file says it in its own words.

        >>> load_plant().modes_of("GP1")
        ()
        """
        self._known((instance("designation", designation, str),), "designation")
        return tuple(each for each in self.modes if designation in each.parts)

    def spare_of(self, designation: str) -> Spare | None:
        """Return the spare that fits the part of this designation, if the file names one.

        >>> load_plant().spare_of("KF1") is None
        True
        """
        self._known((instance("designation", designation, str),), "designation")
        return next((each for each in self.spares if designation in each.parts), None)

    def share_seen(self, name: str) -> float:
        """Return which share of the failures of the part or event of this name the rig shows.

        >>> load_plant("elderhang").share_seen("GP1")
        1.0
        """
        if name not in self._watched:
            self._watched[name] = watching.share_noticed(self, name)
        return self._watched[name]

    def share_hidden(self, failure: Failure) -> float:
        """Return which share of a failure nobody notices; of twins the best watched counts.

        Of a failure that twins have in common each of them is a sign, so what goes unnoticed is
        the smallest share among them. The same of a part by itself, and of an event.

        >>> plant = load_plant("elderhang")
        >>> found = plant.single_failures(plant.condition("frost duty"))
        >>> plant.share_hidden(found["GP1+GP2+GP3 common cause"])
        0.7
        """
        name = self._failure_of(failure.name)
        if name == self.way_lost or any(each.name == name for each, _ in self._planned_and_starts):
            return 0.0
        names = [name] if name in self.shared_events else failure.parts
        return 1.0 - max(map(self.share_noticed, names))

    def fails_when_asked(self, failure: Failure, idle_h: float) -> float:
        """Return the chance that a failure is there, unseen, when an idle function is asked for.

        It stood idle for `idle_h` hours, above 0.

        >>> plant = load_plant("elderhang")
        >>> found = plant.single_failures(plant.condition("frost duty"))
        >>> round(plant.fails_when_asked(found["KF10"], 7300.0), 4)
        0.0
        """
        for duty in self.changeovers:
            if failure.name in duty.failing:
                return duty.failing[failure.name] * duty.fails_from_rest
        return -self.share_hidden(failure) * math.expm1(-failure.rate_per_h * idle_h)

    def lengths_of(self, failure: Failure) -> list[tuple[str, float, float]]:
        """Return the kinds of length that a failure has: name, share of its failures, mean hours.

        Only the mains have two, short and long; what hardly comes is left out.

        >>> load_plant().lengths_of(Failure("BL1", ("BL1",), 1e-5, 3.0))
        [('', 1.0, 3.0)]
        """
        cut = self.cut_of(failure.name)
        kinds = self._kinds_of(replace(failure, name=cut.failure))
        if cut.to_h < math.inf or len(kinds) < 2:
            return [("", 1.0, failure.down_h)]
        often = [share * math.exp(-cut.from_h / mean_h) for _, share, mean_h in kinds]
        found = [(name, share / math.fsum(often), mean_h) for (name, _, mean_h), share in zip(
            kinds, often, strict=True) if share > 1e-9 * max(often)]
        return found if len(found) > 1 else [("", 1.0, found[0][2])]

    def _kinds_of(self, failure: Failure) -> list[tuple[str, float, float]]:
        """Return by name the kinds of cut of mains, with shares and mean hours; twins have them too."""
        if failure.name not in self.parts and failure.name not in {each.name for each in self.twins}:
            return []
        part = max((self.parts[name] for name in failure.parts), key=lambda each: each.mttr_h)
        names = [mode.how for mode in self.modes_of(part.designation)] or ["long cuts", "short cuts"]
        return [(name, rate * part.mtbf_h, mean_h)
                for name, (rate, mean_h) in zip(names, part.cuts, strict=False)]

    def stands_idle(self, function: str) -> bool:
        """Return whether a function stands idle, so that nobody misses it while it is lost."""
        return self.functions_counted[function].idle_h > 0

    def members(self, mode: StopMode, failures: Iterable[Failure],
                idle: bool = False) -> tuple[Member, ...]:
        """Return the failures of a mode, with rates and times, as what has to come together.

        Where the function stands idle nothing is revealed by its outage: a hidden failure then
        waits half a test interval on average, or half an overhaul interval.
        """
        found = []
        for each in failures:
            hidden = self.share_hidden(each) if idle or mode.size > 1 else 0.0
            best = min((self.parts[name] for name in each.parts), key=lambda part: part.unseen_h)
            unseen_h = hidden * best.unseen_h
            found.append(Member(each.rate_per_h, each.down_h + unseen_h, waits_h=each.waits_h + unseen_h)
                         if idle else
                         Member(each.rate_per_h, each.down_h, hidden, best.test_interval_h,
                                each.waits_h, best.missed, best.overhaul_interval_h))
        return (*found, *self._pair_members(mode, plain=idle))

    def _pair_members(self, mode: StopMode, plain: bool) -> Iterator[Member]:
        """Yield what of the pair has to come together with the failures of a mode."""
        if mode.unit_out:
            yield (_as_member(*self._pair_times.out(mode.unit_out)) if plain else
                   self._pair_times.member(mode.unit_out))
        if mode.pair_state:
            yield _as_member(*self._pair_times.nobody(mode.pair_state))

    @cached_property
    def _pair_times(self) -> PairTimes:
        return PairTimes(self.pair, self.pair_chain)

    def block(self, function: str, broken: Iterable[str] = ()):
        """Return the availability block of a function, exact with all shared parts.

        Parameters
        ----------
        function : str
            One of `functions_counted`.
        broken : iterable of str
            Designations of the parts that are broken and stay so. Default: none.

        Returns
        -------
        Block
            A block of `labkit.availability.parts`. The pair stands in it as one `Chain` named after
            its units, and what twins have in common as one `Part` named after them.

        Raises
        ------
        ValueError
            If the function or a part is unknown.

        Examples
        --------
        >>> round(load_plant().block("see and act").unavailability, 7)
        0.0002205
        """
        condition = self.condition(function, self._known(broken, "broken"))
        return self.block_of(condition, self.stands_idle(function))

    def block_of(self, condition: Condition, idle: bool = False):
        """Return the availability block of a condition; see `block`.

        With idle set it is that of a function that stands idle, see `stands_idle`.

        Examples
        --------
        >>> load_plant().block_of(True)
        ALWAYS_WORKS
        """
        return _kept_block(self, condition, idle)

    def plain_block_of(self, condition: Condition, idle: bool = False):
        """Return the block of a condition as if every failure were noticed at once.

        For a function that stands idle hidden failures are counted in their mean down time.
        """
        from labkit.availability.parts import Part

        parts = {}
        for name, each in self.single_failures(condition).items():
            (member,) = self.members(StopMode((name,)), [each], idle)
            parts[name] = Part(name, mtbf_h=1.0 / member.rate_per_h, mttr_h=member.down_h)

        def of(leaf: Whole | Leads):
            if isinstance(leaf, Whole):
                return parts[leaf.name]
            states = leading_states(self.pair.units, leaf.unit)
            return self._pair_variable.when(states & {*self.pair_chain.states})

        return as_block(condition, of)

    def _hidden_sets(self, condition: Condition, idle: bool) -> Iterator[HiddenSet]:
        """Yield each set with a hidden failure, or more of them than crews, which adds to the plain block.

        There failures are noticed at once, and a standby that sleeps waits for its test. Where the
        function stands idle the plain block has what is hidden.
        """
        if isinstance(condition, bool):
            return
        single = self.single_failures(condition)
        alone = stops_alone(condition)
        hidden = any(Whole(name) not in alone and self.share_hidden(each) > 0
                     for name, each in single.items())
        units = self.pair.units if self.pair is not None else ()
        crews = self.people.crews
        if not crews and (idle or not hidden and not (units and self.pair.diagnosed < 1)):
            return
        for mode in modes_in(condition, units, 3):
            failures = [single[name] for name in mode.failures]
            members = self.members(mode, failures, idle)
            if any(each.hidden for each in members) or 0 < crews < len(members):
                names = mode.failures + (("+".join(units),) if mode.size > len(failures) else ())
                plain = members if idle else (*(Member(each.rate_per_h, each.down_h) for each in failures),
                                              *self._pair_members(mode, plain=True))
                alike = sorted(zip(members, plain, names, strict=True),
                               key=lambda each: each[0].in_order)
                members, noticed, names = zip(*alike, strict=True)
                yield HiddenSet(names, members, noticed, crews)

    @cached_property
    def pair_chain(self):
        """The pair as a `MarkovModel` whose states say which unit has failed."""
        unit = self.parts[self.pair.units[0]]
        return unfolded_pair(self.pair, mtbf_h=unit.mtbf_h, mttr_h=unit.mttr_h)

    @cached_property
    def _pair_variable(self):
        from labkit.availability.parts import Chain

        return Chain("+".join(self.pair.units), self.pair_chain, self.pair.units)

    def state(self, broken: Iterable[str] = ()) -> PlantState:
        """Return what works, what would stop it next and how often it is lost from here.

        Parameters
        ----------
        broken : iterable of str
            Designations of the parts that are broken, known to be broken, and stay so.

        Returns
        -------
        PlantState

        Raises
        ------
        ValueError
            If a designation is not in the plant.

        Examples
        --------
        >>> load_plant().state({"PH1"}).works
        {'control kept': True, 'see and act': False}
        """
        broken = self._known(broken, "broken")
        conditions = {name: self.condition(name, broken) for name in self.functions}
        details = {name: self.next_failures(each) for name, each in conditions.items()}
        return PlantState(
            broken=broken,
            works={name: each is not False for name, each in conditions.items()},
            next_failure_details=details,
            failures_per_h={name: self.block_of(each, self.stands_idle(name)).failures_per_h
                            for name, each in conditions.items()},
            healthy_failures_per_h=dict(self._healthy_failures_per_h),
        )

    @cached_property
    def _healthy_failures_per_h(self) -> Mapping[str, float]:
        return {name: self.block(name).failures_per_h for name in self.functions}

    def next_failures(self, condition: Condition) -> tuple[Failure, ...]:
        """Return the single failures that would end a condition, most frequent first."""
        if isinstance(condition, bool):
            return ()
        alone = stops_alone(condition)
        found = [each for each in self.single_failures(condition).values()
                 if Whole(each.name) in alone]
        if self.pair is not None:
            pair, unit = self.pair, self.parts[self.pair.units[0]]
            together = "+".join(pair.units)
            # where the function needs both, as each reaches what the other does not
            found += [Failure(each, (each,), unit.failure_rate_per_h, unit.mttr_h, unit.waits_h)
                      for each in pair.units if Leads(each) in alone]
            own = (1.0 - pair.common_cause) * unit.failure_rate_per_h
            whole = {Whole(each) for each in pair.units}
            if not whole & {Whole(each.name) for each in found} and not holds(
                    condition, lambda leaf: isinstance(leaf, Leads) or leaf in whole):
                found.append(Failure(f"{together} common cause", pair.units,
                                     pair.common_cause * unit.failure_rate_per_h, unit.mttr_h))
            if not holds(condition, lambda leaf: isinstance(leaf, Leads)):
                found.append(Failure(f"{together} not taken over", pair.units,
                                     own * (1.0 - pair.coverage), pair.restart_mean_h(unit.mttr_h)))
        return tuple(sorted((each for each in found if each.rate_per_h > 0),
                            key=lambda each: (-each.rate_per_h, each.name)))


@lru_cache(maxsize=64)
def _kept_block(plant: Plant, condition: Condition, idle: bool):
    """Return the block of a condition, kept with what it has worked out: a state is asked often."""
    plain = plant.plain_block_of(condition, idle)
    added = tuple(plant._hidden_sets(condition, idle))
    return WithHidden(plain, added) if added else plain


def _as_member(share: float, ends_per_h: float) -> Member:
    """Return what is present for a share of the time, and ends at a rate, as one failure."""
    if share == 0.0:
        return Member(0.0, 1.0)
    return Member(share * ends_per_h / (1.0 - share), 1.0 / ends_per_h)


# ---------------------------------------------------------------- from the file


def load_plant(path: str | Path = "brackenquay", variant: str | None = None) -> Plant:
    """Read a plant from its file.

    Parameters
    ----------
    path : str or Path
        Path of a plant file, or the name of one that comes with the package.
    variant : str, optional
        Name of one of its variants. Default: the plant as the file has it.

    Returns
    -------
    Plant

    Raises
    ------
    PlantFileError
        If the file has errors; the message lists all of them.
    ValueError
        If there is no such file or variant.

    Examples
    --------
    >>> load_plant("brackenquay").pair.coverage
    0.97
    """
    path = find_file(path)
    if is_shipped(path):
        plant = _shipped(path)
    else:
        document, findings, _ = read_file(path)
        errors = [each for each in findings if each.severity == "error"]
        if errors:
            raise PlantFileError(path, errors)
        plant = build(document, str(path))
    return plant if variant is None else plant.variant(instance("variant", variant, str))


@cache
def _shipped(path: Path) -> Plant:
    """Return a plant that comes with us, once for all: what it has found out of itself is kept.

    Our tests check these files, which takes longer than all else of it.
    """
    return build(tomllib.loads(path.read_text("utf-8")), str(path))


def build(document: Mapping, path: str = "", version: str | None = None) -> Plant:
    """Return the plant of a document.

    Parameters
    ----------
    document : mapping
        The tables of a plant file without errors.
    path : str
        Where they come from. Default: empty.
    version : str, optional
        Default: what the document says.

    >>> build(load_plant("mirelow").document).name
    'Mirelow Mushroom House'
    """
    there = fitted(document)
    head = there["plant"]
    data = head.get("data", "invented")
    costs = there.get("costs", {})

    def each(kind: type, tables: Iterable[Mapping]) -> tuple:
        return tuple(record(kind, {"source": data} | table) for table in tables)

    return _with_own_times(Plant(
        name=head["name"],
        version=version or head.get("version", "as built"),
        about=head.get("about", ""),
        path=path,
        data=data,
        parts=named(parts_of(there, data)),
        functions_counted=named(
            record(Function, table | {"needs": list(map(need, table["needs"]))})
            for table in there["function"]),
        pair=record(PairData, {"source": data} | there["pair"]) if "pair" in there else None,
        twins=each(Twins, there["twins"]),
        shared_events=named(each(SharedEvent, there["shared_event"])),
        how_often=MappingProxyType({of: MappingProxyType({"source": data} | table)
                                    for of, table in there.get("how_often", {}).items()}),
        title_block=record(TitleBlock, there.get("title_block", {})),
        modes=each(OwnMode, there["mode"]),
        spares=each(Spare, there["spare"]),
        maintenance=each(Maintenance, there["maintenance"]),
        changeovers=each(Changeover, there["changeover"]),
        people=record(People, ({"source": data} if "people" in there else {})
                      | there.get("people", {})),
        process=MappingProxyType(dict(there.get("process", {}))),
        costs=each(CostStep, costs.get("step", ())),
        costs_beside=MappingProxyType(dict(costs.get("happening", {}))),
        currency=costs.get("currency", "EUR"),
        variants=named(each(Variant, there.get("variant", ()))),
        document=document,
    ))


def _with_own_times(plant: Plant) -> Plant:
    """Return a plant whose parts count kinds of fault that are restored in a time of their own."""
    own = {(of, how): hours for of, table in plant.how_often.items()
           for how, hours in table.get("restored_h", {}).items()}
    found: dict[str, list[tuple[float, float | None]]] = {}
    for fault in watching.faults_of(plant).values() if own else ():
        kind = fault.kind
        if fault.unit in plant.parts and kind.share is not None and not plant.modes_of(fault.unit):
            share = plant.how_often.get(kind.of, {}).get(kind.how, kind.share)
            found.setdefault(fault.unit, []).append((share, own.get((kind.of, kind.how))))
    parts = dict(plant.parts)
    for name, kinds in found.items():
        mttr_h, whole = parts[name].mttr_h, math.fsum(share for share, _ in kinds)
        if whole > 0 and any(hours is not None for _, hours in kinds):
            parts[name] = replace(parts[name], mttr_h=math.fsum(
                share * (mttr_h if hours is None else hours) for share, hours in kinds) / whole)
    return replace(plant, parts=MappingProxyType(parts)) if found else plant
