"""A plant: its parts, its wires, its pair of controllers, and what is to be kept.

`load_plant` reads one from a file. The plant then answers three questions: does a function work
while these parts are broken, what would stop it next, and how often is it lost from here.

How a function is judged
------------------------
A part is *alive* when it is whole and, if it has feeds, at least one of its feeds is alive. A
function works when everything it needs is alive and, if it has racks to reach, one controller
that may lead is fed and has, for each of the racks, a way over living parts. Signals pass through
cables, interfaces, repeaters and switches, and through nothing else.

The pair is one chain of states (`labkit.markov.redundant_pair`), unfolded so that *one failed*
says which one. Units are alike, so each gets half of the rates. While a takeover has failed, or
both have failed, nobody leads. With one unit known to be broken, or cut off by what is broken, the
other is a single controller with its own full failure rate; a takeover because of a lost feed or
link is taken to succeed always. The sync cable is no part of the sums: without it the standby
still asks the racks before it takes over.

Twins share a part of their failures (beta factor): each keeps the share 1 - common_cause for
itself, and one more thing, named after all of them, takes the rest. Where twins differ, the shared
rate is counted from the smaller failure rate and the shared repair takes the longer time.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path
from types import MappingProxyType

from labkit.plantfile import PlantFileError, find_file, fitted, read_file, with_variant
from labkit.wiring import Condition, Gate, Leads, Whole, all_of, any_of, at_least, holds, leaves, ways

__all__ = ["AtLeast", "CostStep", "Function", "NextFailure", "PairData", "Plant", "PlantPart",
           "PlantState", "Reached", "SharedEvent", "Twins", "Variant", "leading_states",
           "load_plant", "unfolded_pair"]

PASSES = frozenset({"cable", "interface", "repeater", "switch"})
ONE_FAILED = frozenset({"one failed", "standby failed unnoticed"})


@dataclass(frozen=True)
class PlantPart:
    """Hold what a plant file says about one part; hours are hours of operation.

    Examples
    --------
    >>> load_plant().parts["TB1"].fed_by
    ('GB1',)
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
    noticed: float = 1.0
    test_interval_h: float = 4380.0

    @property
    def failure_rate_per_h(self) -> float:
        """Failures per hour of operation."""
        return 1.0 / self.mtbf_h

    @property
    def mean_down_time_h(self) -> float:
        """Mean time from failure to restoration, hours, the wait for a test included.

        A failure that nobody notices waits half a test interval on average.
        """
        return self.mttr_h + (1.0 - self.noticed) * self.test_interval_h / 2.0


@dataclass(frozen=True)
class PairData:
    """Hold the settings of the pair; the shares are 0 to 1, the times are hours.

    Examples
    --------
    >>> load_plant().pair.units
    ('KF1', 'KF2')
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


@dataclass(frozen=True)
class Twins:
    """Hold like parts that share a part of their failures.

    Examples
    --------
    >>> load_plant().twins[0].name
    'KF10A+KF10B common cause'
    """

    parts: tuple[str, ...]
    common_cause: float

    @property
    def name(self) -> str:
        """Name of what they share."""
        return "+".join(self.parts) + " common cause"


@dataclass(frozen=True)
class SharedEvent:
    """Hold an event from outside that breaks several parts at once.

    Examples
    --------
    >>> load_plant().shared_events["WF1+WF2"].breaks
    ('WF1.10', 'WF2.10')
    """

    name: str
    what: str
    breaks: tuple[str, ...]
    place: str = ""
    mtbf_h: float | None = None
    mttr_h: float | None = None


@dataclass(frozen=True)
class AtLeast:
    """Hold a need for at least `k` of several needs.

    Examples
    --------
    >>> load_plant().functions_counted["machines ready"].needs[0]
    AtLeast(k=1, of=('GP1', 'GP2'))
    """

    k: int
    of: tuple[Need, ...]


@dataclass(frozen=True)
class Reached:
    """Hold a need for one controller that reaches all of these racks.

    Examples
    --------
    >>> Reached(("KF10",)).racks
    ('KF10',)
    """

    racks: tuple[str, ...]


Need = str | AtLeast | Reached


@dataclass(frozen=True)
class Function:
    """Hold a function that is to be kept: what it needs and which racks must be reached.

    Examples
    --------
    >>> load_plant().functions["see and act"].needs
    ('WF3', 'TF1', 'WF4', 'PH1')
    """

    name: str
    needs: tuple[Need, ...] = ()
    reached: tuple[str, ...] = ()
    hours_per_year: float = 8760.0
    shown: bool = True


@dataclass(frozen=True)
class Variant:
    """Hold the name of a variant of the plant and what it costs a year.

    Examples
    --------
    >>> load_plant().variants["V1b"].price_per_year
    480.0
    """

    name: str
    about: str = ""
    price_per_year: float = 0.0


@dataclass(frozen=True)
class CostStep:
    """Hold what an outage of a function costs once it lasts longer than a limit.

    Examples
    --------
    >>> CostStep("call-out", "control kept", 22.0, 700.0).chance
    1.0
    """

    name: str
    function: str
    longer_than_min: float
    cost: float
    chance: float = 1.0


@dataclass(frozen=True)
class NextFailure:
    """Hold a single failure that would stop a function now.

    Parameters
    ----------
    name : str
        The designation, or the name of what several parts share.
    parts : tuple of str
        Designations of the parts that it takes.
    rate_per_h : float
        How often it comes, per hour.

    Examples
    --------
    >>> NextFailure("BL1", ("BL1",), 1 / 150_000).parts
    ('BL1',)
    """

    name: str
    parts: tuple[str, ...]
    rate_per_h: float


@dataclass(frozen=True)
class PlantState:
    """Hold what is left of a plant while some parts are broken.

    Parameters
    ----------
    broken : frozenset of str
        The broken parts.
    works : mapping of str to bool
        For each function: whether it works.
    next_failures : mapping of str to tuple of str
        For each function: the names of the single failures that would stop it now, most frequent
        first. Empty if it is lost already.
    next_failure_details : mapping of str to tuple of NextFailure
        The same with parts and rates.
    failures_per_h : mapping of str to float
        For each function: how often it is lost from here, per hour, in the long run, the broken
        staying broken and the rest failing and being restored as ever. 0 if it is lost already:
        what does not work cannot be lost.
    healthy_failures_per_h : mapping of str to float
        The same with nothing broken.

    Examples
    --------
    >>> state = load_plant().state({"KF1"})
    >>> state.works["control kept"], state.next_failures["control kept"][0]
    (True, 'KF2')
    """

    broken: frozenset[str]
    works: Mapping[str, bool]
    next_failures: Mapping[str, tuple[str, ...]]
    next_failure_details: Mapping[str, tuple[NextFailure, ...]]
    failures_per_h: Mapping[str, float]
    healthy_failures_per_h: Mapping[str, float]


@dataclass(frozen=True, eq=False)
class Plant:
    """Hold a plant as its file describes it.

    Parameters
    ----------
    name, version, about, path : str
        What it is, in which state, in words, and from which file.
    parts : mapping of str to PlantPart
        By designation, in the order of the file.
    pair : PairData or None
    twins : tuple of Twins
    shared_events : mapping of str to SharedEvent
    functions : mapping of str to Function
        What is shown on the panel.
    functions_counted : mapping of str to Function
        These and those that only costs and papers count by.
    process : mapping of str to number
        Constants of the header tank.
    costs : tuple of CostStep
    currency : str
    variants : mapping of str to Variant
    document : mapping
        The tables of the file, every variant in it.

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
    shared_events: Mapping[str, SharedEvent] = field(default_factory=lambda: MappingProxyType({}))
    process: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    costs: tuple[CostStep, ...] = ()
    currency: str = "EUR"
    variants: Mapping[str, Variant] = field(default_factory=lambda: MappingProxyType({}))
    document: Mapping = field(default_factory=lambda: MappingProxyType({}), repr=False)

    @cached_property
    def functions(self) -> Mapping[str, Function]:
        """The functions that are shown on the panel, by name."""
        return MappingProxyType({name: function for name, function
                                 in self.functions_counted.items() if function.shown})

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
        document = with_variant(self.document, name)
        return _build(document, self.path, version=name)

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
        return tuple(name for name, part in self.parts.items() if part.kind == "controller")

    @cached_property
    def racks(self) -> tuple[str, ...]:
        """Designations of the racks."""
        return tuple(name for name, part in self.parts.items() if part.kind == "rack")

    def ways(self, controller: str, rack: str) -> tuple[tuple[str, ...], ...]:
        """Return every way from a controller to a rack, shortest first.

        Examples
        --------
        >>> load_plant().ways("KF1", "KF10")
        (('WF1.10', 'KF10A'),)
        """
        self._known([controller, rack])
        if (controller, rack) not in self._cache:
            self._cache[controller, rack] = ways(
                controller, rack, self.neighbours, lambda name: self.parts[name].kind in PASSES)
        return self._cache[controller, rack]

    def lines(self) -> dict[tuple[str, str], tuple[str, ...]]:
        """Return for each controller and rack the parts of the (shortest) way between them.

        Returns
        -------
        dict of (str, str) to tuple of str
            Designations of cables and interfaces, from the controller to the rack. A pair
            between which there is no way is left out.

        Examples
        --------
        >>> load_plant().lines()["KF2", "KF30"]
        ('WF2.30', 'KF30B')
        """
        return {(controller, rack): self.ways(controller, rack)[0]
                for controller in self.controllers for rack in self.racks
                if self.ways(controller, rack)}

    # ------------------------------------------------------------ conditions

    @cached_property
    def _cache(self) -> dict:
        return {}

    def _known(self, designations: Iterable[str]) -> frozenset[str]:
        if isinstance(designations, str):
            raise TypeError(f"broken must be a collection of designations, got {designations!r}")
        asked = frozenset(designations)
        for name in sorted(asked - self.parts.keys(), key=str):
            near = difflib.get_close_matches(str(name), self.parts, n=1)
            hint = f" (did you mean {near[0]}?)" if near else ""
            raise ValueError(f"broken must hold designations of the plant, got {name!r}{hint}")
        return asked

    def _function(self, name: str) -> Function:
        if name not in self.functions_counted:
            names = ", ".join(self.functions_counted)
            raise ValueError(f"function must be one of {names}, got {name!r}")
        return self.functions_counted[name]

    def _shared(self, matter: frozenset[str]) -> dict[str, tuple[tuple[str, ...], float, float]]:
        """Return what the parts that matter share: name -> (parts, failures per hour, hours down).

        Twins of which only one matters share nothing that counts: that one has its full rate.
        """
        shared = {}
        for group in self.twins:
            left = tuple(name for name in group.parts if name in matter)
            if len(left) >= 2 and group.common_cause > 0:
                rate = min(self.parts[name].failure_rate_per_h for name in left)
                down = max(self.parts[name].mean_down_time_h for name in left)
                shared[group.name] = (left, group.common_cause * rate, down)
        for event in self.shared_events.values():
            if event.mtbf_h is not None and matter & set(event.breaks):
                shared[event.name] = (event.breaks, 1.0 / event.mtbf_h, event.mttr_h)
        return shared

    def _own_rate(self, name: str, shared: Mapping[str, tuple]) -> float:
        """Return how often a part fails by itself, per hour, without what it shares."""
        rate = self.parts[name].failure_rate_per_h
        for group in self.twins:
            if name in group.parts and group.name in shared:
                rate -= shared[group.name][1]
        return rate

    def condition(self, function: str, broken: Iterable[str] = ()) -> Condition:
        """Return what must be whole for a function to work.

        Parameters
        ----------
        function : str
            Name of the function.
        broken : iterable of str
            Designations of the parts that are broken and stay so.

        Returns
        -------
        Condition
            See `labkit.wiring`; `True` or `False` if nothing else can change it.

        Raises
        ------
        ValueError
            If the function or a part is unknown.

        Examples
        --------
        >>> load_plant().condition("see and act", broken={"PH1"})
        False
        """
        wanted = self._function(function)
        broken = self._known(broken)
        alone = self._condition(wanted, broken, {})
        return self._condition(wanted, broken, self._shared(_names(alone)))

    def _condition(self, wanted: Function, broken: frozenset[str],
                   shared: Mapping[str, tuple]) -> Condition:
        memory: dict[str, Condition] = {}

        def whole(name: str) -> Condition:
            if name in broken:
                return False
            own = [Whole(name)] if self._own_rate(name, shared) > 0 else []
            return all_of([*own, *(Whole(each) for each, (parts, *_) in shared.items()
                                   if name in parts)])

        def fed(name: str) -> Condition:
            feeds = self.parts[name].fed_by
            return any_of(map(alive, feeds)) if feeds else True

        def alive(name: str) -> Condition:
            if name not in memory:
                memory[name] = all_of([whole(name), fed(name)])
            return memory[name]

        def need(entry: Need) -> Condition:
            if isinstance(entry, AtLeast):
                return at_least(entry.k, map(need, entry.of))
            if isinstance(entry, Reached):
                return all_of([*map(alive, entry.racks), led(entry.racks)])
            return alive(entry)

        def behind(unit: str, racks: tuple[str, ...]) -> Condition:
            if unit in broken:
                return False
            return all_of([fed(unit), *(any_of(all_of(map(alive, way))
                                               for way in self.ways(unit, rack))
                                        for rack in racks)])

        every = set(_racks(wanted))
        able = [unit for unit in self.controllers
                if any(behind(unit, racks) is not False for racks in every)]
        paired = self.pair is not None and len(able) == 2

        def led(racks: tuple[str, ...]) -> Condition:
            return any_of(all_of([Leads(unit) if paired else whole(unit), behind(unit, racks)])
                          for unit in able)

        needs = [*wanted.needs, *([Reached(wanted.reached)] if wanted.reached else [])]
        return all_of(map(need, needs))

    # ------------------------------------------------------------ answers

    def _next_failures(self, condition: Condition) -> list[NextFailure]:
        shared = self._shared(_names(condition))
        found = []
        used = dict.fromkeys(leaves(condition))
        for leaf in used:
            if isinstance(leaf, Whole) and not holds(condition, lambda each: each == leaf):
                if leaf.name in shared:
                    parts, rate, _ = shared[leaf.name]
                    found.append(NextFailure(leaf.name, parts, rate))
                else:
                    found.append(NextFailure(leaf.name, (leaf.name,),
                                             self._own_rate(leaf.name, shared)))
        if any(isinstance(leaf, Leads) for leaf in used):
            pair = self.pair
            rate = self.parts[pair.units[0]].failure_rate_per_h
            modes = {
                "common cause": pair.common_cause * rate,
                "not taken over": (1.0 - pair.common_cause) * rate * (1.0 - pair.coverage),
            }
            together = "+".join(pair.units)
            found += [NextFailure(f"{together} {mode}", pair.units, often)
                      for mode, often in modes.items() if often > 0]
        return sorted(found, key=lambda each: (-each.rate_per_h, each.name))

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
        >>> state = load_plant().state({"PH1"})
        >>> state.works
        {'control kept': True, 'see and act': False}
        """
        broken = self._known(broken)
        works, following, often = {}, {}, {}
        for name in self.functions:
            condition = self.condition(name, broken)
            works[name] = condition is not False
            following[name] = tuple(self._next_failures(condition)) if works[name] else ()
            often[name] = self.block(name, broken).failures_per_h if works[name] else 0.0
        return PlantState(
            broken=broken,
            works=works,
            next_failures={name: tuple(each.name for each in found)
                           for name, found in following.items()},
            next_failure_details=following,
            failures_per_h=often,
            healthy_failures_per_h=dict(self._healthy_failures_per_h),
        )

    @cached_property
    def _healthy_failures_per_h(self) -> Mapping[str, float]:
        return MappingProxyType({name: self.block(name).failures_per_h for name in self.functions})

    def block(self, function: str, broken: Iterable[str] = ()):
        """Return the availability block of a function, exact with all shared parts.

        Parameters
        ----------
        function : str
            Name of the function.
        broken : iterable of str
            Designations of the parts that are broken and stay so. Default: none.

        Returns
        -------
        Block
            A block of `labkit.availability`. The pair stands in it as one `Chain` named after
            its units, and what twins share as one `Part` named after them.

        Raises
        ------
        ValueError
            If the function or a part is unknown.

        Examples
        --------
        >>> round(load_plant().block("see and act").unavailability, 7)
        0.0002205
        """
        from labkit import availability

        condition = self.condition(function, broken)
        if isinstance(condition, bool):
            return availability.ALWAYS_WORKS if condition else availability.ALWAYS_FAILED
        shared = self._shared(_names(condition))
        chain = self._chain if self.pair is not None else None

        def block(condition: Condition):
            if isinstance(condition, Gate):
                return availability.at_least(condition.k, *map(block, condition.inputs))
            if isinstance(condition, Leads):
                return chain.when(leading_states(self.pair.units, condition.unit))
            if condition.name in shared:
                _, rate, down = shared[condition.name]
            else:
                rate = self._own_rate(condition.name, shared)
                down = self.parts[condition.name].mean_down_time_h
            return availability.Part(condition.name, mtbf_h=1.0 / rate, mttr_h=down)

        return block(condition)

    @cached_property
    def _chain(self):
        from labkit import availability

        unit = self.parts[self.pair.units[0]]
        model = unfolded_pair(self.pair, mtbf_h=unit.mtbf_h, mttr_h=unit.mean_down_time_h)
        return availability.Chain("+".join(self.pair.units), model, self.pair.units)


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
    document, findings, _ = read_file(path)
    errors = [each for each in findings if each.severity == "error"]
    if errors:
        raise PlantFileError(path, errors)
    plant = _build(document, str(path))
    return plant if variant is None else plant.variant(variant)


def unfolded_pair(pair: PairData, *, mtbf_h: float, mttr_h: float):
    """Return the chain of the pair with states that say which unit has failed.

    Parameters
    ----------
    pair : PairData
        Units and settings.
    mtbf_h, mttr_h : float
        Of one unit, hours, > 0.

    Returns
    -------
    MarkovModel
        With states such as ``("one failed", "KF1")``. Both units are alike, so that every rate
        into the two states of one kind is halved, and sums over them are those of
        `labkit.markov.redundant_pair`.

    Examples
    --------
    >>> model = unfolded_pair(PairData(("KF1", "KF2")), mtbf_h=60_000, mttr_h=4)
    >>> ("one failed", "KF2") in model.states
    True
    """
    from labkit.markov import MarkovModel, redundant_pair

    folded = redundant_pair(
        mtbf_h, mttr_h, common_cause=pair.common_cause, coverage=pair.coverage,
        diagnosed=pair.diagnosed, test_interval_h=pair.test_interval_h,
        restart_h=pair.restart_h, crews=pair.crews, standby_ratio=pair.standby_ratio)
    states = {state: [(state, unit) for unit in pair.units] if state in ONE_FAILED else [state]
              for state in folded.states}
    rates = {}
    for row, source in enumerate(folded.states):
        for column, target in enumerate(folded.states):
            rate = float(folded.generator[row, column])
            if row == column or rate == 0.0:
                continue
            for before in states[source]:
                after = [each for each in states[target]
                         if source not in ONE_FAILED or target not in ONE_FAILED
                         or each[1] == before[1]]
                for each in after:
                    rates[before, each] = rate / len(after)
    up = {each for state in folded.up for each in states[state]}
    return MarkovModel(rates, up)


def leading_states(units: tuple[str, str], unit: str) -> frozenset:
    """Return the states of the unfolded pair in which this unit may lead.

    Examples
    --------
    >>> ("one failed", "KF2") in leading_states(("KF1", "KF2"), "KF1")
    True
    """
    other = units[1 - units.index(unit)]
    return frozenset({"both good", *((state, other) for state in ONE_FAILED)})


def _racks(wanted: Function) -> list[tuple[str, ...]]:
    """Return every set of racks that a function asks a controller to reach."""
    found = [wanted.reached] if wanted.reached else []
    waiting = list(wanted.needs)
    while waiting:
        entry = waiting.pop()
        if isinstance(entry, Reached):
            found.append(entry.racks)
        elif isinstance(entry, AtLeast):
            waiting += entry.of
    return found


def _names(condition: Condition) -> frozenset[str]:
    return frozenset(leaf.name for leaf in leaves(condition) if isinstance(leaf, Whole))


def _need(entry: str | Mapping) -> Need:
    if isinstance(entry, str):
        return entry
    if "reached" in entry:
        return Reached(tuple(entry["reached"]))
    return AtLeast(entry["at_least"], tuple(map(_need, entry["of"])))


def _record(kind: type, table: Mapping, **more):
    """Return a record of a table: lists become tuples, whole numbers of hours become floats."""
    hints = {each.name: each.type for each in fields(kind)}
    values = {key: value for key, value in (table | more).items() if key in hints}
    for key, value in values.items():
        if isinstance(value, list):
            values[key] = tuple(value)
        elif isinstance(value, int) and hints[key].startswith("float"):
            values[key] = float(value)
    return kind(**values)


def _build(document: Mapping, path: str, version: str | None = None) -> Plant:
    """Return the plant of a document without errors."""
    there = fitted(document)
    head = there["plant"]
    data = head.get("data", "invented")
    costs = there.get("costs", {})
    return Plant(
        name=head["name"],
        version=version or head.get("version", "as built"),
        about=head.get("about", ""),
        path=path,
        data=data,
        parts=_named(_record(PlantPart, {"source": data} | table) for table in there["part"]),
        functions_counted=_named(
            _record(Function, table, needs=tuple(map(_need, table["needs"])))
            for table in there["function"]),
        pair=_record(PairData, there["pair"]) if "pair" in there else None,
        twins=tuple(_record(Twins, table) for table in there["twins"]),
        shared_events=_named(_record(SharedEvent, table) for table in there["shared_event"]),
        process=MappingProxyType(dict(there.get("process", {}))),
        costs=tuple(_record(CostStep, table) for table in costs.get("step", ())),
        currency=costs.get("currency", "EUR"),
        variants=_named(_record(Variant, table) for table in there.get("variant", ())),
        document=document,
    )


def _named(records: Iterable) -> Mapping:
    return MappingProxyType({getattr(each, "designation", None) or each.name: each
                             for each in records})
