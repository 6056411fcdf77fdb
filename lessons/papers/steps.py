"""The steps of a switchover test, each with what has to come out, from running the rules.

What is switched follows from the parts of the plant; what has to happen, and whether the roles
must change or must not, is read from the run and never written down here. The order is that of
acceptance tests in common practice (IEC 62381 gives the frame of such tests): first what is only
looked at, then planned changes, single faults, faults that must change nothing, two faults at
once, the way back, and last a repeat of the planned change in awkward moments.
"""

import itertools
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from labkit.plant.plant import Plant
from labkit.plant.plant_data import AtLeast
from labkit.rig.effects import Do, Effect, course_of
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import MODES, Fault
from labkit.switchover.lamps import lamps_of
from labkit.switchover.roles import Role
from labkit.switchover.settings import switchover_budget
from labkit.wording import listed
from lessons.papers.basis import Basis
from lessons.papers.effect_words import kind_of
from lessons.papers.paper import texts
from lessons.papers.results import MUST_SWITCH

REPEATS = {MUST_SWITCH: 10, "must not switch": 3, "fail state": 3, "return to normal": 3}
SETTLE = 5.0
PLANNED = "Planned switchover"
SINGLE = "One fault at a time"
AWKWARD = "Again, in awkward moments"
DOUBLE = "Two faults at once"
MINUTES = {MUST_SWITCH: 4, "must not switch": 4, "fail state": 15, "return to normal": 6,
           "check": 10}
"""Minutes for one repeat with reading and way back: common practice, rounded up."""
DRIVEN = frozenset({"pump", "blower", "fan", "drive", "compressor"})
MEASURING = frozenset({"sensor", "analyser"})
BESIDE = frozenset({"bus", "repeater", "panel", "third voter"})


@dataclass(frozen=True)
class SheetStep:
    """Hold one step of a test.

    Parameters
    ----------
    number : str
        Two digits, in order.
    type : str
        "check", "must switch", "must not switch", "fail state" or "return to normal".
    part : str
        To which part of the test it belongs.
    precondition, action : str
        In words.
    effect : Effect or None
        What the rules do; None for what is only looked at.
    expected : str
        What has to be seen, where nothing is run.
    gap_limit_ms, gap_least_ms : int or None
        Longest time without the right outputs, and the least that can be, ms; None where none is
        asked for.
    limit_note : str
        From what to what it is measured.
    way_back : str
        How the plant gets back to normal, and what then has to be seen.
    faults : tuple of str
        Ids of the faults that are provoked, or looked for.
    prepared : tuple of Do
        What is done before the action.
    longer_min : float
        Minutes that a repeat takes longer than usual.

    >>> SheetStep("01", "check", "look", "", "Compare versions.", None, "the same").repeats
    1
    """

    number: str
    type: str
    part: str
    precondition: str
    action: str
    effect: Effect | None = None
    expected: str = ""
    gap_limit_ms: int | None = None
    gap_least_ms: int | None = None
    limit_note: str = ""
    way_back: str = ""
    faults: tuple[str, ...] = ()
    repeats: int = 1
    prepared: tuple[Do, ...] = ()
    longer_min: float = 0.0

    @property
    def minutes(self) -> float:
        """Minutes that one repeat takes."""
        return MINUTES[self.type] + self.longer_min


@lru_cache(maxsize=4)
def steps_of(basis: Basis) -> tuple[SheetStep, ...]:
    """Return the steps of the test of a plant.

    >>> from labkit import load_plant
    >>> steps = steps_of(Basis(load_plant("mirelow"), date="2031-05-06"))
    >>> sorted({step.type for step in steps})
    ['check', 'fail state', 'return to normal']
    """
    unmoved, moving = [], []
    for step in _unmoved(basis):
        # What does move something on this plant is a fault like others.
        stays = step.type in ("must not switch", "check")
        (unmoved if stays else moving).append(step if stays else replace(step, part=SINGLE))
    steps = [*_looks(basis), *_planned(basis), *_single(basis), *moving, *unmoved,
             *_double(basis), *_returns(basis), *_moments(basis), *_backups(basis)]
    return tuple(replace(step, number=f"{number:02d}",
                         repeats=step.repeats if step.effect is None or step.part == AWKWARD
                         else REPEATS[step.type])
                 for number, step in enumerate(steps, start=1))


# ---------------------------------------------------------------- how a step is made


def _ready(basis: Basis, leader: str | None) -> str:
    if basis.plant.pair is None:
        return f"{leader or 'The plant'} runs; no alarm."
    partner = _partner(basis, leader)
    if basis.plant.started_by_hand:
        return f"{leader} active, {partner} stopped, as it waits; all links good."
    return f"{leader} active, {partner} ready; all links good, no alarm."


def _partner(basis: Basis, leader: str) -> str:
    return next(unit for unit in basis.plant.pair.units if unit != leader)


def _check(name: str, faults: Iterable[str] = (), **words: object) -> SheetStep:
    """Return a step of `texts.toml` that is looked at, and not run."""
    told = {key: said.format(**words) if isinstance(said, str) else said
            for key, said in texts()["check"][name].items()}
    return SheetStep("", "check", faults=tuple(faults), **{"way_back": "Nothing to put back."} | told)


def _broken(basis: Basis, units: Collection[str]) -> list[str]:
    """Return the ids of the faults that break these parts."""
    return [fault.id for fault in basis.faults.values() if fault.unit in units and fault.breaks]


def _step(basis: Basis, part: str, action: str, faults: tuple[str, ...], leader: str | None, *,
          prepared: tuple[Do, ...] = (), before: str = "", actions: tuple[Do, ...] = (),
          back: tuple[Do, ...] = (), way_back: str = "") -> SheetStep:
    """Run the rules and return the step that they make."""
    actions = actions or tuple(Do("on", fault) for fault in faults)
    effect = course_of(basis.plant, actions, basis.settings, prepared=prepared, leader=leader)
    kind = kind_of(effect)
    back = back or tuple(Do("off", each.fault_id) for each in reversed((*prepared, *actions))
                         if each.verb == "on" and _stays(basis, each.fault_id))
    way = course_of(basis.plant, back, basis.settings, prepared=(*prepared, *actions), leader=leader) \
        if back and not way_back else effect
    active = max(effect.after.leaders, way.after.leaders, key=len)
    if len(active) > 1:
        return _check("both_lead", faults, part=part, ready=_ready(basis, leader), action=action,
                      units=listed(active))
    limit_ms, least_ms, note = _limit(basis, kind, effect, actions)
    precondition = _ready(basis, leader)
    partners = _partners(basis, frozenset(
        name for fault in faults for name in basis.faults[fault].breaks))
    if partners:
        precondition += f" Proved good directly before: {listed(partners)}."
    precondition += _lost_meanwhile(effect.functions_lost)
    if before:
        precondition += f" Then: {before}"
    return SheetStep("", kind, part, precondition, action, effect, "", limit_ms, least_ms, note,
                     _way_back(way) if way is not effect else way_back or "Nothing to put back.", faults,
                     prepared=prepared)


def _lost_meanwhile(functions: Collection[str]) -> str:
    return f" Lost meanwhile, so manned or not needed: {listed(functions)}." if functions else ""


@lru_cache(maxsize=4)
def _unseen(basis: Basis) -> dict[str, list[Fault]]:
    """Return by part the faults that break it and that no lamp, alarm or process shows."""
    found: dict[str, list[Fault]] = {}
    for fault in basis.faults.values():
        if fault.breaks == {fault.unit} and any(
                not basis.effects[fault.id, leader].noticed for leader in basis.leaders):
            found.setdefault(fault.unit, []).append(fault)
    return found


def _partners(basis: Basis, taken: frozenset[str]) -> tuple[str, ...]:
    """Return what may be broken unseen, and must not be while these parts are taken away.

    Without one of them a function works, without both it is lost. What only a switchover proves,
    a standby and its ways, is left out: the planned ones come before.
    """
    plant = basis.plant
    kept = [name for name in plant.functions_counted if taken
            and plant.condition(name, taken) is not False]
    return basis.once(("partners", taken), lambda: tuple(
        unit for unit, faults in _unseen(basis).items() if unit not in taken
        and any(_provable(basis, each) for each in faults) and any(
            plant.condition(name, taken | {unit}) is False
            and plant.condition(name, {unit}) is not False for name in kept)))


def _stays(basis: Basis, fault_id: str) -> bool:
    return not MODES[basis.faults[fault_id].mode].passes


def _way_back(way: Effect) -> str:
    """Say what brings the plant back, and which roles then have to be seen."""
    roles = listed(f"{name} {role.value}" for name, role in way.after.roles.items())
    left = "no alarm left" if not way.after.alarms else f"left: {listed(way.after.alarms, 2)}"
    if way.after.roles == way.before.roles:
        return f"Put back; {roles or 'all'} as before, {left}."
    ready_ms = [entry.time_ms for entry in way.record
                if entry.what == "role" and entry.new in ("standby", "active")]
    seconds = f" within {max(ready_ms) / 1000 + 1:.0f} s" if ready_ms else ""
    return f"Put back; then {roles}{seconds}, {left}. {_by_hand(way)}".strip()


def _by_hand(effect: Effect) -> str:
    """Say what waits for its unit to lead again, which no unit does by itself."""
    lost = effect.functions_lost
    return f"Change the roles by hand: {listed(lost)} wait{'s' if len(lost) == 1 else ''} for it." \
        if lost else ""


def _limit(basis: Basis, kind: str, effect: Effect,
           actions: tuple[Do, ...]) -> tuple[int | None, int | None, str]:
    """Return the most and the least of the gap, from the budget, and where it is measured."""
    settings = basis.settings
    if kind == "fail state":
        return settings.hold_ms, None, "from the last write to the fail state, at the terminals"
    if kind != MUST_SWITCH:
        return None, None, "no step of any output"
    units = basis.plant.pair.units
    takes_over = units.index(effect.leads_after)
    if any(each.verb == "role change" for each in actions):
        return (settings.longest_write_gap_ms, None,
                "longest pause between two changes of the output")
    # what became of the leader first, whatever took it: its own fuse, or a feed before it
    became = next(entry.new for entry in effect.record
                  if entry.what == "role" and entry.who == effect.leader)
    cause = {"off": "no power", "stopped": "stopped"}.get(became, "handed over")
    budget = switchover_budget(settings, cause=cause, takes_over=takes_over)
    return (budget.most_ms, budget.least_ms,
            f"from the action to the first output of {effect.leads_after}")


# ---------------------------------------------------------------- parts of the test


def _looks(basis: Basis) -> Iterator[SheetStep]:
    plant = basis.plant
    if plant.pair is not None:
        yield _check("versions", (f"{unit}: program differs" for unit in plant.pair.units),
                     units=listed(plant.pair.units))
    yield _check("settings", (each for each in basis.faults if each.startswith("settings: ")))
    parts = _second_looks(basis)
    if parts:
        yield _check("round", (each.id for each in parts),
                     parts=listed(dict.fromkeys(each.unit for each in parts)))
    yield from _proofs(basis)
    if plant.controllers and not plant.started_by_hand:
        yield _cold_start(basis)
    lamps = [each for each in basis.faults.values() if each.mode == "lamp dark"]
    if lamps:
        yield _check("lamp_test", (each.id for each in lamps),
                     units=listed(each.unit for each in lamps))


def _proofs(basis: Basis) -> Iterator[SheetStep]:
    """Yield what is proved before anything is taken away: what may be broken, and nobody knows."""
    plant, seen = basis.plant, {fault.id for fault in _second_looks(basis)}
    hidden = {unit: list(faults) for unit, faults in _unseen(basis).items()}
    for name, each in plant.parts.items():
        if each.noticed is not None and each.noticed < 1 and not _in_pair(basis, name):
            hidden[name] = [basis.faults[each] for each in _broken(basis, {name})]
    for proof in texts()["proof"]:
        there = {unit: found for unit, faults in hidden.items() if (found := [
            fault for fault in faults
            if fault.kind.of in proof["of"] and _provable(basis, fault) and fault.id not in seen])}
        if there:
            yield _check("proof", (each.id for faults in there.values() for each in faults),
                         parts=listed(there), **proof)


def _provable(basis: Basis, fault: Fault) -> bool:
    """Return whether a fault can be looked for at its part; some need a switchover."""
    return not (_in_pair(basis, fault.unit)
                or basis.plant.pair is not None and fault.mode == "silent")


def _in_pair(basis: Basis, name: str) -> bool:
    return basis.plant.pair is not None and name in basis.plant.pair.units


def _second_looks(basis: Basis) -> list[Fault]:
    """Return what a round sees of what no alarm tells."""
    return [fault for fault in basis.faults.values()
            if fault.kind.shows.keys() & {"local switch", "second reading"}
            and not fault.kind.alarm]


def _cold_start(basis: Basis) -> SheetStep:
    pair = Switchover(basis.plant, basis.settings, cold_start=True)
    pair.run_for(basis.settings.start_ms + basis.settings.load_ms + 60_000)
    snapshot = pair.snapshot()
    if len(snapshot.leaders) > 1:
        told = texts()["check"]["cold_start"]
        return _check("both_lead", part=told["part"], ready=told["precondition"].format(lost=""),
                      action=told["action"], units=listed(snapshot.leaders))
    roles = [f"{name} {role.value}" for name, role in snapshot.roles.items()]
    lit = [f"{lamp.unit} {lamp.name} {lamp.colour}" for lamp in lamps_of(snapshot)
           if lamp.unit in snapshot.roles and lamp.lit]
    first = next((entry.time_ms for entry in pair.record
                  if entry.what == "role" and entry.new == Role.ACTIVE.value), None)
    when = "nobody leads, for no rack is reached" if first is None else \
        f"exactly one active at any time, the first after {first / 1000:.1f} s"
    dark = {*basis.plant.controllers, *(each for part in basis.plant.parts.values() for each in part.fed_by)}
    lost = [name for name in basis.plant.functions_counted if basis.plant.condition(name, dark) is False]
    return _check("cold_start", lost=_lost_meanwhile(lost), roles=listed(roles), when=when, lit=listed(lit) or "none")


def _planned(basis: Basis) -> Iterator[SheetStep]:
    if basis.plant.pair is None:
        return
    for leader in basis.leaders:
        if basis.plant.started_by_hand:
            partner = _partner(basis, leader)
            stop, start = Do("on", f"{leader}: stopped", wait_s=SETTLE), Do("off", f"{partner}: stopped")
            yield _step(basis, PLANNED, f"Stop the program of {leader}; then start {partner} by hand, as instructed, "
                        f"within {60 * basis.plant.pair.restart_h:g} min.", (stop.fault_id,), leader,
                        actions=(stop, start), way_back="Change back, or go on with the next step.")
            continue
        yield _step(basis, PLANNED, "Ask for a switchover by hand.",
                    ("test: role change",), leader, actions=(Do("role change", wait_s=SETTLE),),
                    back=(Do("role change"),), way_back="Change back, or go on with the next step.")


def _single(basis: Basis) -> Iterator[SheetStep]:
    provoked = [fault for fault in basis.faults.values() if fault.kind.provoke]
    for leader in basis.leaders:
        for fault in provoked:
            if fault.unit == leader:
                yield _step(basis, SINGLE, _provoked(basis, fault), (fault.id,), leader)
    for fault, leader in ((fault, unit) for fault, unit in _links_of_the_leader(basis) if unit in basis.leaders):
        yield _step(basis, SINGLE, _provoked(basis, basis.faults[fault]), (fault,), leader)
    for fault in provoked:
        if fault.kind.of == "supply":
            yield _step(basis, SINGLE, _provoked(basis, fault), (fault.id,), basis.leaders[0])


def _provoked(basis: Basis, fault: Fault) -> str:
    """Say how a test brings a fault about."""
    part = basis.named(fault.unit) if fault.unit in basis.plant.parts else fault.unit
    return fault.kind.provoke.format(unit=fault.unit, part=part)


def _links_of_the_leader(basis: Basis) -> Iterator[tuple[str, str]]:
    """Yield the first cable between each leader and each rack, each cable once."""
    seen = set()
    for (unit, _), way in basis.plant.lines().items():
        for name in way:
            fault = f"{name}: cut"
            if fault in basis.faults and (fault, unit) not in seen:
                seen.add((fault, unit))
                yield fault, unit
                break


def _unmoved(basis: Basis) -> Iterator[SheetStep]:
    plant, part = basis.plant, "What must move nothing"
    leader = basis.leaders[0]
    if plant.pair is not None:
        standby = _partner(basis, leader)
        yield _step(basis, part, f"Switch off the supply of {standby} at its own fuse.",
                    (f"{standby}: no power",), leader)
        for cable in plant.pair.sync:
            if f"{cable}: cut" in basis.faults:
                yield _step(basis, part, f"Pull the plug of {basis.named(cable)}.",
                            (f"{cable}: cut",), leader)
        if len(plant.pair.sync) > 1:
            yield _step(basis, part, f"Pull {listed(plant.pair.sync)}, one after the other.",
                        tuple(f"{cable}: cut" for cable in plant.pair.sync), leader)
        for fault, unit in _links_of_the_leader(basis):
            if unit == standby and (fault, leader) not in set(_links_of_the_leader(basis)):
                yield _step(basis, part, "Pull the plug of "
                            f"{basis.named(basis.faults[fault].unit)}.", (fault,), leader)
        restarted = f"{standby}: restarted"
    if plant.pair is not None and not plant.started_by_hand:
        yield _step(basis, part, "Ask for a switchover by hand while the standby loads.",
                    (restarted,), leader, prepared=(Do("on", restarted, wait_s=1.0),),
                    before=f"restart {standby}; within its loading time:",
                    actions=(Do("role change"),), way_back=f"Wait until {standby} is ready.")
    for fault in basis.faults.values():
        if fault.kind.of in BESIDE and fault.kind.provoke:
            yield _step(basis, part, _provoked(basis, fault), (fault.id,), leader)


def _double(basis: Basis) -> Iterator[SheetStep]:
    plant, part = basis.plant, DOUBLE
    leader = basis.leaders[0]
    for fault in basis.faults.values():
        if len(fault.breaks) > 1:
            yield _step(basis, part, f"Pull the plugs of {listed(sorted(fault.breaks))} at the "
                        "same time.", (fault.id,), leader)
    if plant.pair is None:
        return
    standby = _partner(basis, leader)
    off, gone = f"{standby}: no power", f"{leader}: no power"
    yield _step(basis, part, f"Switch off the supply of {leader} as well.", (off, gone), leader,
                prepared=(Do("on", off, wait_s=SETTLE),), before=f"{standby} without supply.",
                actions=(Do("on", gone),))
    cuts = tuple(cut for cable in plant.pair.sync if (cut := f"{cable}: cut") in basis.faults)
    if cuts:
        yield _step(basis, part, f"Switch off the supply of {leader} as well.", (*cuts, gone),
                    leader, prepared=tuple(Do("on", cut, wait_s=SETTLE) for cut in cuts),
                    before=f"{listed(basis.faults[cut].unit for cut in cuts)} pulled.",
                    actions=(Do("on", gone),))


def _returns(basis: Basis) -> Iterator[SheetStep]:
    part = "Return to normal"
    for leader in filter(None, basis.leaders):
        gone = f"{leader}: no power"
        yield _back(basis, _step(
            basis, part, f"Switch the supply of {leader} on again.", (gone,), leader,
            prepared=(Do("on", gone, wait_s=SETTLE),), before=f"{leader} without supply.",
            actions=(Do("off", gone),), way_back=_after_return(basis)))
    feeds = [f"{name}: off" for name, each in basis.plant.parts.items()
             if each.kind in ("supply", "ups") and f"{name}: off" in basis.faults
             and not each.fed_by]
    if feeds:
        yield _back(basis, _step(
            basis, part, f"Switch {listed(basis.faults[each].unit for each in feeds)} on again.",
            tuple(feeds), basis.leaders[0],
            prepared=tuple(Do("on", each, wait_s=SETTLE) for each in feeds),
            before="everything without power (total power loss).",
            actions=tuple(Do("off", each) for each in feeds), way_back="Nothing to put back."))


def _back(basis: Basis, step: SheetStep) -> SheetStep:
    if step.effect is None:  # two would lead: it is not carried out
        return step
    again = basis.settings.return_policy == "stays" and f"{step.effect.leads_after}: no power" in step.faults
    return replace(step, type="return to normal", gap_limit_ms=None, limit_note="", way_back=_by_hand(
        step.effect) or ("Nothing to put back." if again else step.way_back))


def _after_return(basis: Basis) -> str:
    if basis.plant.pair is None:
        return "Nothing to put back."
    if basis.settings.return_policy == "returns":
        wait_s = basis.settings.return_wait_ms / 1000
        return (f"{basis.plant.pair.units[0]} gets its role back by itself once it has been ready "
                f"for {wait_s:g} s: wait for it, it is one more switchover.")
    return "Nothing goes back by itself: change the roles by hand only if it is wanted."


def _moments(basis: Basis) -> Iterator[SheetStep]:
    step = None if basis.plant.started_by_hand else next(_planned(basis), None)
    if step is not None and step.effect is not None:
        for moment in texts()["moments"]:
            yield replace(step, part=AWKWARD, repeats=3,
                          action=f"Ask for a switchover by hand {moment}.",
                          way_back="As in the planned change; no alarm, entry or ramp is lost.")
    if basis.plant.controllers:
        yield _check("time_stamps", cycle_ms=basis.settings.cycle_ms)


def _backups(basis: Basis) -> Iterator[SheetStep]:
    """Yield what doubled parts of the field need: changeover, vote, backup without control, battery.

    No run of the rules shows these: what has to come out follows from the functions of the file.
    """
    plant, ready = basis.plant, _ready(basis, basis.leaders[0])
    for function, choice in _choices(plant):
        names = [each for each in choice.of if isinstance(each, str)]
        kinds = {plant.parts[each].kind for each in names if each in plant.parts}
        if len(names) < 2 and len(names) == len(choice.of) or not names:
            continue
        duty = next((each for each in plant.changeovers if {*each.parts} >= {*names}), None)
        kind = ("without_control" if len(names) < len(choice.of) else
                "duty" if duty is not None or kinds <= DRIVEN else
                "vote" if kinds <= MEASURING and choice.k > 1 else "one_away")
        yield _check(kind, _broken(basis, names), ready=ready, names=listed(names), function=function,
                     running=duty.running if duty else choice.k, count=len(names), start=
                     f"within {60 * duty.by_hand_h:g} min, started by hand" if duty and not duty.starts else
                     "within ____ s, with no hand at it")
    for name, function in plant.functions_counted.items():
        units = plant.leading(function) if function.by else ()
        if len(units) > 1:
            yield _check("second_pair", _broken(basis, units), units=listed(units), function=name)
    for name, part in plant.parts.items():
        if part.kind == "ups" or part.battery_h:
            # A worn battery passes only in the run that shows it.
            faults = [fault.id for fault in basis.faults.values() if fault.unit == name
                      and (fault.breaks or fault.kind.of == "ups")]
            held_min = 60.0 * part.battery_h if part.battery_h else 30.0
            yield replace(_check(
                "battery", faults, ready=ready, supply=basis.named(name),
                minutes=f"{held_min:g}" if part.battery_h else "____"), longer_min=held_min)


def _choices(plant: Plant) -> Iterator[tuple[str, AtLeast]]:
    """Yield each need for some of several, once, with the first function that has it."""
    seen = set()
    for function in plant.functions_counted.values():
        waiting = list(function.needs)
        while waiting:
            entry = waiting.pop(0)
            if isinstance(entry, AtLeast):
                waiting += entry.of
                if entry.k < len(entry.of) and entry not in seen:
                    seen.add(entry)
                    yield function.name, entry


# ---------------------------------------------------------------- which step finds a hidden fault


@lru_cache(maxsize=4)
def finders(basis: Basis) -> dict[str, tuple[str, ...]]:
    """Return for each fault that nobody notices the steps that find it.

    Returns
    -------
    dict of str to tuple of str
        Numbers of steps by id of the fault, those that look for it by name first.

    Notes
    -----
    A step finds a fault if, with the fault already present, the same actions come out otherwise
    than they should: other roles, lamps, alarms, outputs or another effect on the process. An
    integrator that does not track is found by the limit of the output step when its unit takes
    over.

    >>> from labkit import load_plant
    >>> basis = Basis(load_plant("mirelow", "pair"), date="2031-05-06")
    >>> finders(basis)["settings: one missed beat"]
    ('02',)
    """
    steps = steps_of(basis)
    # What passes by itself leaves nothing to be found, but by who looks for it by name.
    looked_for = {fault for step in steps if step.type == "check" for fault in step.faults}
    hidden = dict.fromkeys(fault for (fault, leader), effect in basis.effects.items()
                           if (_stays(basis, fault) or fault in looked_for) and (
                               not effect.noticed or basis.notice(fault, leader).share < 1))
    found: dict[str, tuple[str, ...]] = {}
    for fault in hidden:
        by_name = [step.number for step in steps
                   if step.type == "check" and fault in step.faults]
        if basis.faults[fault].mode == "not tracking":
            # Without a process to run nothing but the limit of the output step can show it.
            by_name += [step.number for step in steps if step.part == PLANNED and step.effect
                        and step.effect.leads_after == basis.faults[fault].unit]
        seen = all(basis.effects[fault, leader].noticed for leader in basis.leaders)
        # What the rig shows by itself, only that nobody looks, no run of a step can find.
        by_run = [] if seen or by_name and not fault.startswith("settings: ") else [
            step.number for step in itertools.islice(
                (step for step in _tried_first(basis, steps, fault)
                 if _comes_out_otherwise(basis, step, fault)), 2)]
        found[fault] = tuple([*by_name, *sorted(by_run)])
    return found


def _tried_first(basis: Basis, steps: tuple[SheetStep, ...], fault: str) -> list[SheetStep]:
    """Return all steps that are run: least disturbing first, so that a mild one is named."""
    order = ("must switch", "must not switch", "return to normal", "fail state")
    runs = [step for step in steps if step.effect is not None and step.part != AWKWARD
            and fault not in step.faults]
    return sorted(runs, key=lambda step: (step.part == DOUBLE, order.index(step.type)))


def _comes_out_otherwise(basis: Basis, step: SheetStep, fault: str) -> bool:
    # Two faults one after the other may each have their own wait; the step has it already.
    effect = course_of(basis.plant, step.effect.actions, basis.settings,
                       prepared=[Do("on", fault), *step.prepared], leader=step.effect.leader)
    return _shows(effect) != _shows(step.effect)


def _shows(effect: Effect) -> tuple:
    """Return what somebody can see of a run who does not know its times."""
    return (dict(effect.after.roles), [(lamp.text, lamp.flashing) for lamp in effect.lamps_after],
            effect.after.alarms, dict(effect.outputs_worst),
            [each.name for each in effect.happenings])
