"""The line of the state: which functions work now, what would stop them next, and how often.

What the pair has lost is lost, whatever parts are whole. In a settled state, in which one unit
leads and its partner is ready or out, the plant's structure says what would stop a function
next. In any other state, such as a standby that loads or a sync cable that is silent, each single
failure is tried on a copy of the pair. A part fails as the first of its faults that breaks it.

A function that needs a panel is lost too while that panel has no controller with supply to see.
How often that comes is counted where control is counted, not here, and is said to be.

A part that runs on its battery works, and so does what hangs on it: what comes next is counted
from there, as if the battery lasted. What is lost once it is empty is found on a copy of the pair
that is run on so long, and is said with the hours.
"""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from types import MappingProxyType

from labkit.plant.failing_parts import Failure
from labkit.plant.plant import Plant, PlantState
from labkit.plant.plant_data import AtLeast, Function, racks_of
from labkit.plant.wiring import Condition, Leads, Whole, all_of, holds, leaves, with_leaves
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import Fault, faults_of, voter_of
from labkit.switchover.roles import Outputs, Role, Snapshot
from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.switchover.timing import MS_PER_H

UNSETTLED_MODES = frozenset({"silent", "noise", "beat gaps", "racks not asked"})


def lost_racks(snapshot: Snapshot) -> frozenset[str]:
    """Return the racks in their fail state or between two writers; all of them if nobody leads."""
    return frozenset(rack for rack, outputs in snapshot.outputs.items()
                     if outputs is Outputs.FAIL_STATE or rack in snapshot.writes_fight or not snapshot.leaders)


def out_of_use(pair: Switchover) -> frozenset[str]:
    """Return what does not do its work at this moment, though it may be whole.

    A rack that is lost, or will be once its hold time is over; a controller that neither leads
    nor could take over.

    >>> from labkit import load_plant
    >>> pair = Switchover(load_plant())
    >>> pair.switch_on("KF1: frozen")
    >>> pair.run_for(200)
    >>> sorted(out_of_use(pair))
    ['KF10', 'KF20', 'KF30']
    """
    snapshot = pair.snapshot()
    racks = lost_racks(snapshot)
    if Outputs.HELD in snapshot.outputs.values():
        racks |= lost_racks(_after(pair.copy(), ()))
    return racks | {unit for unit, role in snapshot.roles.items()
                    if role not in (Role.ACTIVE, Role.STANDBY)}


def _after(trial: Switchover, fault_ids: tuple[str, ...]) -> Snapshot:
    """Return what becomes of a pair with more faults once a takeover and a hold time are over."""
    for fault_id in fault_ids:
        trial.switch_on(fault_id)
    trial.run_for(_settling_ms(trial.settings))
    return trial.snapshot()


@lru_cache(maxsize=32)
def _settling_ms(settings: PairSettings) -> int:
    return (settings.hold_ms + settings.longest_write_gap_ms
            + 2 * switchover_budget(settings).most_ms)


def carried_by(snapshot: Snapshot) -> tuple[str, ...]:
    """Return the parts that run on their batteries now, since their feeds are gone.

    >>> from labkit import load_plant
    >>> carried_by(Switchover(load_plant()).snapshot())
    ()
    """
    return tuple(name for name, end_ms in snapshot.batteries.items() if end_ms is not None)


@lru_cache(maxsize=32)
def on_battery(plant: Plant, carried: tuple[str, ...]) -> Plant:
    """Return the plant as it is fed while some parts run on their batteries."""
    return replace(plant, parts=MappingProxyType(plant.parts | {
        name: replace(plant.parts[name], fed_by=(), battery_h=0.0) for name in carried
    })) if carried else plant


def lost_on_battery(pair: Switchover, broken: frozenset[str]) -> dict[str, float]:
    """Return what batteries keep for now, and how long after their feeds went it is lost, hours.

    >>> from labkit import load_plant
    >>> lost_on_battery(Switchover(load_plant()), frozenset())
    {}
    """
    ends_ms, parts = pair.snapshot().batteries, pair.plant.parts
    carried = carried_by(pair.snapshot())
    if not carried:
        return {}
    begun_ms = min(ends_ms[name] - MS_PER_H * parts[name].battery_h for name in carried)
    trial, found = pair.copy(), dict.fromkeys(lost_functions(pair.plant, pair, broken))
    while carried := carried_by(trial.snapshot()):
        end_ms = min(map(trial.snapshot().batteries.get, carried))
        trial.run_to(end_ms)
        trial.run_for(_settling_ms(pair.settings))
        for name in lost_functions(pair.plant, trial, broken):
            found.setdefault(name, (end_ms - begun_ms) / MS_PER_H)
    return {name: hours for name, hours in found.items() if hours is not None}


def as_led(plant: Plant, pair: Switchover) -> Plant:
    """Return the plant; where two lead, each rack of a function may be led by another of them.

    A unit that has stopped or failed and is heard gives its vote, which the structure does not know.

    >>> from labkit import load_plant
    >>> pair = Switchover(load_plant())
    >>> as_led(pair.plant, pair) is pair.plant
    True
    """
    snapshot = pair.snapshot()
    good = {Role.OFF, Role.ACTIVE, Role.STANDBY}.issuperset(snapshot.roles.values()) and not any(
        snapshot.roles.get(fault.unit, Role.OFF) is not Role.OFF
        for fault in map(faults_of(pair.plant, third_vote=True).get, snapshot.faults))
    plant = plant if pair.settings.third_vote and good else _without_vote(plant)
    return _rack_by_rack(plant) if len(snapshot.leaders) > 1 else plant


@lru_cache(maxsize=32)
def _without_vote(plant: Plant) -> Plant:
    """Return the plant with functions that ask for no vote, itself where it has no voter."""
    return replace(plant, functions_counted=MappingProxyType({
        name: replace(function, voted=False)
        for name, function in plant.functions_counted.items()})) if plant.of_kind("voter") else plant


@lru_cache(maxsize=32)
def _rack_by_rack(plant: Plant) -> Plant:
    """Return the plant with functions that ask of each rack by itself that a unit comes to it."""
    return replace(plant, functions_counted=MappingProxyType({
        name: replace(function, apart=not function.by)
        for name, function in plant.functions_counted.items()}))


@lru_cache(maxsize=32)
def _counted(plant: Plant, out: frozenset[str]) -> PlantState:
    """Return what the structure says, kept: a pair that is not settled is asked at each moment."""
    return plant.state(out)


@lru_cache(maxsize=256)
def _next(plant: Plant, condition: Condition) -> tuple[Failure, ...]:
    """Return what would end a condition, kept likewise."""
    return plant.next_failures(condition)


def state_line(pair: Switchover, broken: frozenset[str]) -> PlantState:
    """Return what works now, what would stop it next, and how often it is lost from here.

    Parameters
    ----------
    broken : frozenset of str
        Designations of the parts that the faults have broken.

    >>> from labkit import load_plant
    >>> state_line(Switchover(load_plant()), frozenset()).next_failures["control kept"][0]
    'GB1'
    """
    snapshot = pair.snapshot()
    plant = as_led(on_battery(pair.plant, carried_by(snapshot)), pair)
    out = broken | out_of_use(pair)
    settled = is_settled(pair, broken)
    # a rack that is let go by a pair that is not settled is whole: it may come back
    counted = _counted(plant, out if settled else out - {*plant.racks} | broken)
    tried = {} if settled else _tried(pair, plant, counted, broken)
    works, details, per_h, beside = {}, {}, {}, {}
    # who loads may lead once the leader has gone
    coming = out - {unit for unit, role in snapshot.roles.items() if role is Role.LOADING} | broken
    for name, function in plant.functions.items():
        works[name] = _kept(plant, function, out, snapshot) is not False
        by_structure = counted.next_failure_details[name]
        per_h[name] = counted.failures_per_h[name] if works[name] else 0.0
        known = {each.name for each in _next(plant, plant.condition(name, coming))}
        blinding = [each for each in _next(plant, _kept(plant, function, coming, snapshot))
                    if each.name not in known]
        if works[name] and name in tried:
            per_h[name] += (sum(each.rate_per_h for each in tried[name])
                            - sum(each.rate_per_h for each in by_structure))
            by_structure = tried[name]
        found = {*by_structure, *blinding} if works[name] else set()
        # of one failure what stops it sooner has stopped it
        found -= {each for each in found for other in found - {each} if _holds(plant, other, each)}
        details[name] = tuple(sorted(found, key=lambda each: (-each.rate_per_h, each.name)))
        beside[name] = frozenset(each.name for each in found if each not in by_structure)
    return PlantState(
        broken, works, details, per_h,
        _counted(pair.plant if pair.settings.third_vote else _without_vote(pair.plant),
                 frozenset()).healthy_failures_per_h, beside,
        {name: hours for name, hours in lost_on_battery(pair, broken).items() if name in works})


def lost_functions(plant: Plant, pair: Switchover, broken: frozenset[str]) -> tuple[str, ...]:
    """Return the functions that are lost now, those that are only counted too.

    >>> from labkit import load_plant
    >>> lost_functions(load_plant(), Switchover(load_plant()), frozenset({"TF1"}))
    ('see and act',)
    """
    out, snapshot = broken | out_of_use(pair), pair.snapshot()
    plant = as_led(on_battery(plant, carried_by(snapshot)), pair)
    return tuple(name for name, function in plant.functions_counted.items()
                 if _kept(plant, function, out, snapshot) is False)


def _kept(plant: Plant, function: Function, out: frozenset[str], snapshot: Snapshot) -> Condition:
    """Return what else a function needs; a panel must see a controller with supply."""
    # a stopped unit with supply is seen by a panel
    dark = out - {unit for unit, role in snapshot.roles.items() if role is not Role.OFF}

    def seen(leaf: Whole | Leads) -> Condition:
        name = getattr(leaf, "name", "")
        if name not in plant.parts or plant.parts[name].kind != "panel":
            return leaf
        ways = [(unit, *way) for unit in plant.leading(function) for way in plant.ways(unit, name)]
        sight = AtLeast(1, tuple(AtLeast(len(way), way) for way in ways))
        return all_of([leaf, plant.condition(Function("", (sight,)), dark)])

    return plant.by_length(plant.with_common(
        with_leaves(plant.condition(function.name, out), seen)))


def is_settled(pair: Switchover, broken: frozenset[str]) -> bool:
    """Return whether the pair is as the structure takes it: one leads, one is ready or out."""
    snapshot, plant = pair.snapshot(), pair.plant
    roles = snapshot.roles
    known = faults_of(plant)
    able = [unit for unit, role in roles.items() if role in (Role.ACTIVE, Role.STANDBY)]
    # of two that reach different racks the one with more leads, and who reaches none does not,
    # which the structure does not know
    alike = all(
        set(racks) == set(plant.racks)
        for function in plant.functions.values() if not function.by
        for racks in racks_of(function)
    ) or all(snapshot.links[rack, unit] for rack in plant.racks for unit in able) \
        and (len(able) < 2 or _stay_alike(plant, broken))
    return (len(snapshot.leaders) == 1 and alike
            and (len(able) == 1 or not snapshot.silent)
            and all(role is Role.OFF or unit in broken for unit, role in roles.items()
                    if unit not in able)
            and all(outputs is Outputs.WRITTEN or outputs is Outputs.FAIL_STATE and not any(
                snapshot.links[rack, unit] for unit in able)
                for rack, outputs in snapshot.outputs.items())
            and pair.settings.ask_racks and not pair.settings.third_vote
            and not any(known[each].mode in UNSETTLED_MODES for each in snapshot.faults))


@lru_cache(maxsize=256)
def _stay_alike(plant: Plant, broken: frozenset[str]) -> bool:
    """Return whether after each single failure one unit reaches all that the other one does."""
    for each in _of_the_pair(plant, broken).values():
        one, other = plant.reach(broken | {*each.parts}).values()
        if not (one <= other or other <= one):
            return False
    return True


def _tried(pair: Switchover, plant: Plant, counted: PlantState,
           broken: frozenset[str]) -> dict[str, tuple[Failure, ...]]:
    """Return by function the single failures that stop it in a copy of the pair."""
    conditions, own, candidates = _singles(plant, broken, tuple(
        name for name, works in counted.works.items()
        if works and racks_of(plant.functions[name])))
    known, twins = faults_of(pair.plant), {each.name for each in plant.twins}
    lost, longer, trials, carried = {}, [], pair.trials(), carried_by(pair.snapshot())
    for name, each in candidates.items():
        (_, lost[name]), *later = ((hours, _out_of_reach(plant, snapshot, broken | {*each.parts}))
                                   for hours, snapshot in _as_it_lasts(trials, carried, known, each))
        longer += [(plant.cut_of(plant.beyond(Whole(name), hours).name), gone)
                   for hours, gone in later if plant.cut_of(name).failure == name]
    stopping = {}
    for name, condition in conditions.items():
        # what no unit comes to is lost in the engine, for who asks that one does
        asked, function = _rack_by_rack(plant).condition(name, broken), plant.functions[name]
        led = {*plant.racks}.union(*([] if function.by else racks_of(function)))
        stops = {own[name].get(each.name, each) for each in candidates.values()
                 if not _goes_on(asked, {each.name, *each.parts, *lost[each.name] & led})}
        seen = [plant.cut_of(leaf.name) for leaf in leaves(asked) if isinstance(leaf, Whole)]
        for cut, gone in longer:
            if not _goes_on(asked, gone & led | {each.name for each in seen if each.failure
                                                 == cut.failure and each.from_h <= cut.from_h}):
                stops |= {own[name].get(cut.name, each)
                          for each in plant.single_failures(Whole(cut.name)).values()}
        stops = {each for each in stops if not any(
            other != each and _holds(plant, other, each) for other in stops)}
        # what a twin has in common with others is in its full rate where it alone matters
        stops = {each for each in stops if each.name in own[name] or each.name not in twins or not any(
            own[name].get(part) in stops for part in each.parts)}
        alone = {each.parts for each in stops if len(each.parts) == 1}
        # what takes both units at once counts where neither stops it alone
        together = {each for each in _next(plant, condition) if each.name not in candidates}
        stops |= {each for each in together if not any((part,) in alone for part in each.parts)}
        stopping[name] = tuple(stops)
    return stopping


def _as_it_lasts(trials: Iterator[Switchover], old: tuple[str, ...], known: Mapping[str, Fault],
                 failure: Failure) -> Iterator[tuple[float, Snapshot]]:
    """Yield what becomes of a pair with a failure, at first and as each battery that it asks ends.

    Those that carry something already are `old`.
    """
    hours, on, ends_h = 0.0, (), {}
    faults = _outright(known, failure)
    while faults:
        on += faults
        trial = next(trials)
        snapshot = _after(trial, on)
        yield hours, snapshot
        for name in {*carried_by(snapshot)} - {*old}:
            ends_h.setdefault(name, hours + trial.plant.parts[name].battery_h)
        hours = min((each for each in ends_h.values() if each > hours), default=0.0)
        faults = tuple(_first(known, name) for name, end_h in ends_h.items() if end_h == hours)


def _holds(plant: Plant, failure: Failure, other: Failure) -> bool:
    """Return whether one failure is another one in all of its lengths, and more."""
    one, two = plant.cut_of(failure.name), plant.cut_of(other.name)
    return one.failure == two.failure and one.from_h <= two.from_h and two.to_h <= one.to_h


def _out_of_reach(plant: Plant, snapshot: Snapshot, broken: frozenset[str]) -> set[str]:
    """Return the racks that are lost, and what else no unit that may lead comes to."""
    plant = on_battery(plant, carried_by(snapshot))
    able = [unit for unit, role in snapshot.roles.items() if unit not in broken
            and role in (Role.ACTIVE, Role.STANDBY)]
    asked = set().union(*(racks for function in plant.functions.values() if not function.by
                          for racks in racks_of(function))) - {*plant.racks}
    return {*lost_racks(snapshot), *(name for name in asked if not any(
        plant.condition(Function("", (AtLeast(len(way), way),)), broken) is not False
        for unit in able for way in plant.ways(unit, name)))}


@lru_cache(maxsize=32)
def _singles(plant: Plant, broken: frozenset[str], functions: tuple[str, ...]) -> tuple[
        dict[str, Condition], dict[str, dict[str, Failure]], dict[str, Failure]]:
    """Return of functions what they need and their single failures, and all that are to be tried."""
    conditions = {name: plant.condition(name, broken) for name in functions}
    own = {name: plant.single_failures(condition) for name, condition in conditions.items()}
    candidates = _of_the_pair(plant, broken)
    for found in own.values():
        candidates |= found
    # each of its failures is tried by itself
    candidates.pop(plant.way_lost, None)
    # what is told apart by length is tried as a whole too
    cut = tuple({plant.cut_of(name).failure for name in candidates} & plant.parts.keys()
                - candidates.keys())
    if cut:
        candidates |= plant.single_failures(plant.condition(Function("", cut), broken))
    return conditions, own, candidates


def _goes_on(condition: Condition, gone: set[str]) -> bool:
    """Return whether a condition holds without some things; who leads shows in the racks lost."""
    return holds(condition, lambda leaf: isinstance(leaf, Whole) and leaf.name in gone)


def _of_the_pair(plant: Plant, broken: frozenset[str]) -> dict[str, Failure]:
    """Return by name the single failures of controllers, feeds, ways, racks, sync and voter."""
    ways = (name for unit in plant.controllers for rack in plant.racks
            for way in plant.ways(unit, rack) for name in (*way, rack))
    voter = {voter_of(plant)} & plant.parts.keys()
    # a unit that is stopped may still be heard
    feeds = (name for unit in plant.controllers for name in plant.parts[unit].fed_by)
    wires = tuple(dict.fromkeys((*plant.controllers, *feeds, *ways, *voter,
                                 *(plant.pair.sync if plant.pair else ()))))
    touched = Function("", (AtLeast(1, wires),)) if wires else Function("")
    return plant.single_failures(plant.condition(touched, broken))


def _outright(known: Mapping[str, Fault], failure: Failure) -> tuple[str, ...]:
    """Return the faults by which something fails outright: the first that breaks it, of each."""
    event = _first(known, failure.name)
    return (event,) if event else tuple(filter(None, (_first(known, part) for part in failure.parts)))


def _first(known: Mapping[str, Fault], unit: str) -> str | None:
    return next((each.id for each in known.values() if each.unit == unit and each.breaks), None)
