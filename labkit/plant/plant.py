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
needs is restored once it leads again, which takes a change of roles by hand.
The sync cable is no part of the sums: without it the standby still asks the racks before it takes
over. Where the plant has a voter, a unit leads with two votes of three: its own, and that of a
partner that it hears on the sync cable, or of the voter.

What can fail in a plant, and what twins and batteries make of it: `labkit.plant.failing_parts`.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cache, cached_property, lru_cache
from pathlib import Path
from types import MappingProxyType

from labkit.arguments import instance, one_of
from labkit.plant import watching
from labkit.plant.failing_parts import FailingParts, Failure
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
    stops_alone,
)

# Conditions of a function that are kept, by what is broken.
MOST_KEPT = 1000


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


@dataclass(frozen=True, eq=False)
class Plant(FailingParts):
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

    _conditions: dict[tuple, Condition] = field(default_factory=dict, init=False, repr=False)

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

        @cache
        def alive(name: str, battery_h: float = 0.0) -> Condition:
            return all_of([whole(name, battery_h), fed(name, battery_h)])

        @cache
        def behind(unit: str, racks: tuple[str, ...]) -> Condition:
            """Return what a unit needs beside itself to reach the racks."""
            return unit not in broken and all_of([fed(unit), *(
                any_of(all_of(map(alive, way)) for way in self.ways(unit, rack)) for rack in racks)])

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

    # ------------------------------------------------------------ blocks

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

    @cached_property
    def pair_chain(self):
        """The pair as a `MarkovModel` whose states say which unit has failed."""
        return unfolded_pair(self.pair, mtbf_h=self.unit.mtbf_h, mttr_h=self.unit.mttr_h)

    @cached_property
    def _pair_variable(self):
        from labkit.availability.parts import Chain

        return Chain("+".join(self.pair.units), self.pair_chain, self.pair.units)

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

    # ------------------------------------------------------------ what works, and what would stop it next

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
            pair, unit = self.pair, self.unit
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
        if any(hours is not None for _, hours in kinds):
            parts[name] = replace(parts[name], mttr_h=math.fsum(
                share * (mttr_h if hours is None else hours) for share, hours in kinds) / whole)
    return replace(plant, parts=MappingProxyType(parts)) if found else plant
