"""The parts of a plant and its wires: who feeds what, who may lead, and which ways lead to a rack.

How a function is judged by them stands at the head of `labkit.plant.plant`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from types import MappingProxyType

from labkit.arguments import instance, instances, written
from labkit.plant.plant_data import (
    Changeover,
    CostStep,
    Function,
    Maintenance,
    OwnMode,
    PairData,
    People,
    PlantPart,
    SharedEvent,
    Spare,
    TitleBlock,
    Twins,
    Variant,
    racks_of,
)
from labkit.plant.wiring import ways
from labkit.wording import did_you_mean

# Kinds of parts through which signals pass.
PASSES = frozenset({"cable", "interface", "repeater", "switch"})


def _nothing() -> Mapping:
    return MappingProxyType({})


@dataclass(frozen=True, eq=False)
class WiredParts:
    """Hold what the file of a plant says, field by field as `labkit.plant.plant.Plant` names them."""

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
    # what was found once
    _found_ways: dict = field(default_factory=dict, init=False, repr=False)
    _parted: dict[frozenset, tuple[str, ...]] = field(default_factory=dict, init=False, repr=False)

    @cached_property
    def functions(self) -> Mapping[str, Function]:
        """The functions that stand on the panel, by name."""
        return MappingProxyType({name: each for name, each in self.functions_counted.items()
                                 if each.shown})

    @property
    def started_by_hand(self) -> bool:
        """Whether its standby takes over only once somebody has started it."""
        return self.pair is not None and self.pair.coverage == 0.0

    @property
    def unit(self) -> PlantPart:
        """A unit of the pair, whose two are alike."""
        return next(self.parts[name] for name in self.pair.units)

    def of_kind(self, *kinds: str) -> tuple[str, ...]:
        """Return the designations of the parts of some kinds.

        >>> from labkit import load_plant
        >>> load_plant().of_kind("controller")
        ('KF1', 'KF2')
        """
        return tuple(name for name, part in self.parts.items() if part.kind in kinds)

    def stands_idle(self, function: str) -> bool:
        """Return whether a function stands idle, so that nobody misses it while it is lost."""
        return self.functions_counted[function].idle_h > 0

    def modes_of(self, designation: str) -> tuple[OwnMode, ...]:
        """Return how the part of this designation fails, where the file says it in its own words.

        >>> from labkit import load_plant
        >>> load_plant().modes_of("GP1")
        ()
        """
        self._known((instance("designation", designation, str),), "designation")
        return tuple(each for each in self.modes if designation in each.parts)

    def spare_of(self, designation: str) -> Spare | None:
        """Return the spare that fits the part of this designation, if the file names one.

        >>> from labkit import load_plant
        >>> load_plant().spare_of("KF1") is None
        True
        """
        self._known((instance("designation", designation, str),), "designation")
        return next((each for each in self.spares if designation in each.parts), None)

    def _known(self, designations: Iterable[str], argument: str) -> frozenset[str]:
        if isinstance(designations, str):
            raise TypeError(
                f"{argument} must be a collection of designations, got {designations!r}")
        asked = frozenset(instances(argument, designations, str))
        for name in sorted(asked - self.parts.keys(), key=str):
            raise ValueError(f"{argument} must hold designations of the plant, got {written(name)}"
                             f"{did_you_mean(name, self.parts)}")
        return asked

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
        >>> from labkit import load_plant
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
        >>> from labkit import load_plant
        >>> load_plant().lines()["KF2", "KF30"]
        ('WF2.30', 'KF30B')
        """
        return {(controller, rack): self.ways(controller, rack)[0]
                for controller in self.controllers for rack in self.racks
                if self.ways(controller, rack)}

    def carried_h(self, name: str) -> float:
        """Return for how long the batteries carry all that the part `name` feeds, hours.

        >>> from labkit import load_plant
        >>> load_plant().carried_h("GB1")
        0.0
        """
        self._known((instance("name", name, str),), "name")
        fed = [part for part in self.parts.values() if name in part.fed_by]
        return min((part.battery_h + self.carried_h(part.designation) for part in fed), default=0.0)

    # ------------------------------------------------------------ who leads

    @cached_property
    def controllers(self) -> tuple[str, ...]:
        """Designations of the controllers that may lead: the pair, or the only one."""
        if self.pair is not None:
            return self.pair.units
        beside = {unit for function in self.functions_counted.values() for unit in function.by}
        return tuple(name for name in self.of_kind("controller") if name not in beside)

    def leading(self, function: Function) -> tuple[str, ...]:
        """Return the controllers any one of which leads for a function, as far as they are there.

        >>> from labkit import load_plant
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

    def reach(self, broken: Iterable[str] = ()) -> dict[str, frozenset[str]]:
        """Return the racks that each controller reaches while some parts are broken, batteries full.

        >>> from labkit import load_plant
        >>> sorted(load_plant().reach({"WF2.10"})["KF2"])
        ['KF20', 'KF30']
        """
        dead = self._known(broken, "broken")

        @cache
        def alive(name: str) -> bool:
            feeds = self.parts[name].fed_at_once
            return name not in dead and (not feeds or any(map(alive, feeds)))

        return {unit: frozenset(rack for rack in self.racks if any(
            all(map(alive, (unit, rack, *way))) for way in self.ways(unit, rack))) for unit in self.controllers}

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
