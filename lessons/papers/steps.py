"""The steps of a switchover test, each with what has to come out, from running the rules.

What is switched follows from the parts of the plant; what has to happen, and whether the roles
must change or must not, is read from the run and never written down here. The order is that of
acceptance tests in common practice (IEC 62381 gives the frame of such tests): first what is only
looked at, then planned changes, single faults, faults that must change nothing, two faults at
once, the way back, and last a repeat of the planned change in awkward moments.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from labkit.rig.effects import Do, Effect, course_of
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import MODES, Fault
from labkit.switchover.lamps import lamps_of
from labkit.switchover.roles import Role
from labkit.switchover.settings import switchover_budget
from labkit.wording import listed
from lessons.papers.basis import Basis
from lessons.papers.effect_words import kind_of
from lessons.papers.results import MUST_SWITCH

__all__ = ["SheetStep", "finders", "steps_of"]

REPEATS = {MUST_SWITCH: 10, "must not switch": 3, "fail state": 3, "return to normal": 3,
           "check": 1}
SETTLE = 5.0
PLANNED = "Planned switchover"
AWKWARD = "Again, in awkward moments"
VIEW = frozenset({"bus", "repeater", "panel"})


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
    gap_limit_ms : int or None
        Longest time without the right outputs, ms; None where none is asked for.
    limit_note : str
        From what to what it is measured.
    way_back : str
        How the plant gets back to normal, and what then has to be seen.
    faults : tuple of str
        Ids of the faults that are provoked.

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
    limit_note: str = ""
    way_back: str = ""
    faults: tuple[str, ...] = ()
    repeats: int = 1


@lru_cache(maxsize=4)
def steps_of(basis: Basis) -> tuple[SheetStep, ...]:
    """Return the steps of the test of a plant.

    >>> from labkit.plant.plant import load_plant
    >>> steps = steps_of(Basis(load_plant("mirelow"), date="2031-05-06"))
    >>> sorted({step.type for step in steps})
    ['check', 'fail state', 'return to normal']
    """
    steps = [*_looks(basis), *_planned(basis), *_single(basis), *_unmoved(basis), *_double(basis),
             *_returns(basis), *_moments(basis)]
    return tuple(replace(step, number=f"{number:02d}",
                         repeats=step.repeats if step.effect is None or step.part == AWKWARD
                         else REPEATS[step.type])
                 for number, step in enumerate(steps, start=1))


# ---------------------------------------------------------------- how a step is made


def _ready(basis: Basis, leader: str | None) -> str:
    if basis.plant.pair is None:
        return f"{leader or 'The plant'} runs; no alarm."
    partner = next(unit for unit in basis.plant.pair.units if unit != leader)
    return f"{leader} active, {partner} ready; all links good, no alarm."


def _step(basis: Basis, part: str, action: str, faults: tuple[str, ...], leader: str | None, *,
          prepared: tuple[Do, ...] = (), before: str = "", actions: tuple[Do, ...] = (),
          back: tuple[Do, ...] = (), way_back: str = "") -> SheetStep:
    """Run the rules and return the step that they make."""
    actions = actions or tuple(Do("on", fault) for fault in faults)
    effect = course_of(basis.plant, actions, basis.settings, prepared=prepared, leader=leader)
    kind = kind_of(effect)
    active = [name for name, role in effect.roles_after.items() if role is Role.ACTIVE]
    if len(active) > 1:
        return SheetStep("", "check", part, _ready(basis, leader), f"Do not carry this out: {action}",
                    expected=f"by the rules {listed(active)} would both lead with these settings: "
                    "change the settings first, then make this sheet again",
                    way_back="Nothing to put back.", faults=faults)
    limit_ms, note = _limit(basis, kind, effect, faults, actions)
    back = back or tuple(Do("off", each.fault_id) for each in reversed((*prepared, *actions))
                         if each.verb == "on" and _stays(basis, each.fault_id))
    if back and not way_back:
        way_back = _way_back(basis, back, (*prepared, *actions), leader)
    precondition = _ready(basis, leader)
    if before:
        precondition += f" Then: {before}"
    return SheetStep("", kind, part, precondition, action, effect, "", limit_ms, note,
                way_back or "Nothing to put back.", faults)


def _stays(basis: Basis, fault_id: str) -> bool:
    return not MODES[basis.faults[fault_id].mode].passes


def _way_back(basis: Basis, back: tuple[Do, ...], done: tuple[Do, ...],
              leader: str | None) -> str:
    """Say what brings the plant back, and which roles then have to be seen."""
    after = course_of(basis.plant, back, basis.settings, prepared=done, leader=leader)
    roles = listed(f"{name} {role.value}" for name, role in after.roles_after.items())
    if after.roles_after == after.roles_before:
        return f"Put back; {roles or 'all'} as before, no alarm left."
    ready_ms = [entry.time_ms for entry in after.record
                if entry.what == "role" and entry.new in ("standby", "active")]
    seconds = f" within {max(ready_ms) / 1000 + 1:.0f} s" if ready_ms else ""
    left = "no alarm left" if not after.alarms_after else f"left: {listed(after.alarms_after, 2)}"
    return f"Put back; then {roles}{seconds}, {left}."


def _limit(basis: Basis, kind: str, effect: Effect, faults: tuple[str, ...],
           actions: tuple[Do, ...]) -> tuple[int | None, str]:
    """Return the limit of the gap, from the budget, and between what it is measured."""
    settings = basis.settings
    if kind == "fail state":
        return settings.hold_ms, "from the last write to the fail state, at the terminals"
    if kind != MUST_SWITCH:
        return None, "no step of any output"
    units = basis.plant.pair.units
    takes_over = units.index(effect.leads_after)
    if any(each.verb == "role change" for each in actions):
        return settings.longest_write_gap_ms, "longest pause between two changes of the output"
    modes = {basis.faults[fault].mode for fault in faults}
    cause = next((each for each in ("no power", "stopped") if each in modes), "handed over")
    limit_ms = switchover_budget(settings, cause=cause, takes_over=takes_over).most_ms
    return limit_ms, f"from the action to the first output of {effect.leads_after}"


# ---------------------------------------------------------------- parts of the test


def _looks(basis: Basis) -> Iterator[SheetStep]:
    plant = basis.plant
    part = "Before anything is switched"
    if plant.pair is not None:
        yield SheetStep("", "check", part, "Both units running.",
                   f"Read name, version and checksum of program and firmware of "
                   f"{listed(plant.pair.units)}.",
                   expected="the same in both, and the approved version on file",
                   way_back="Nothing to put back.",
                   faults=tuple(f"{unit}: program differs" for unit in plant.pair.units))
    yield SheetStep("", "check", part, "Nobody at the settings.",
               "Compare every setting of controllers and racks with the list at the end "
               "(times of the controllers and racks).",
               expected="as listed", way_back="Nothing to put back.",
               faults=tuple(each for each in basis.faults if each.startswith("settings: ")))
    # Of what a round can see this is what no alarm tells.
    parts = [fault for fault in basis.faults.values()
             if fault.kind.shows.keys() & {"local switch", "second reading"}
             and not fault.kind.alarm]
    if parts:
        yield SheetStep("", "check", part, "Process quiet.",
                   "Go round: every local switch at remote; compare each reading with a second "
                   "one, twice, five minutes apart: "
                   f"{listed(dict.fromkeys(each.unit for each in parts))}.",
                   expected="remote; readings agree and move", way_back="Nothing to put back.",
                   faults=tuple(each.id for each in parts))
    if plant.controllers:
        yield _cold_start(basis, part)
    lamps = [each for each in basis.faults.values() if each.mode == "lamp dark"]
    if lamps:
        yield SheetStep("", "check", part, "No alarm.",
                   f"Press the lamp test of {listed(each.unit for each in lamps)}; lamp test of "
                   "every unit.", expected="every lamp lights", way_back="Release.",
                   faults=tuple(each.id for each in lamps))


def _cold_start(basis: Basis, part: str) -> SheetStep:
    pair = Switchover(basis.plant, basis.settings, cold_start=True)
    pair.run_for(basis.settings.start_ms + basis.settings.load_ms + 60_000)
    snapshot = pair.snapshot()
    roles = [f"{name} {role.value}" for name, role in snapshot.roles.items()]
    lit = [f"{lamp.unit} {lamp.name} {lamp.colour}" for lamp in lamps_of(snapshot)
           if lamp.unit in snapshot.roles and lamp.lit]
    first = next((entry.time_ms for entry in pair.record
                  if entry.what == "role" and entry.new == Role.ACTIVE.value), None)
    when = "nobody leads, for no rack is reached" if first is None else \
        f"exactly one active at any time, the first after {first / 1000:.1f} s"
    return SheetStep("", "check", part, "Everything without power for a minute.",
                "Switch everything on at once (cold start).",
                expected=f"{listed(roles)}; {when}; lit: {listed(lit) or 'none'}",
                way_back="Nothing to put back.", repeats=3)


def _planned(basis: Basis) -> Iterator[SheetStep]:
    if basis.plant.pair is None:
        return
    for leader in basis.plant.pair.units:
        yield _step(basis, PLANNED, "Ask for a switchover by hand.",
                    ("test: role change",), leader, actions=(Do("role change", wait_s=SETTLE),),
                    back=(Do("role change"),), way_back="Change back, or go on with the next step.")


def _single(basis: Basis) -> Iterator[SheetStep]:
    part = "One fault at a time"
    provoked = [fault for fault in basis.faults.values() if fault.kind.provoke]
    for leader in basis.leaders:
        for fault in provoked:
            if fault.unit == leader:
                yield _step(basis, part, _provoked(basis, fault), (fault.id,), leader)
    for fault, leader in _links_of_the_leader(basis):
        yield _step(basis, part, _provoked(basis, basis.faults[fault]), (fault,), leader)
    for fault in provoked:
        if fault.kind.of == "supply":
            yield _step(basis, part, _provoked(basis, fault), (fault.id,), basis.leaders[0])


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
        standby = plant.pair.units[1]
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
        yield _step(basis, part, "Ask for a switchover by hand while the standby loads.",
                    (restarted,), leader, prepared=(Do("on", restarted, wait_s=1.0),),
                    before=f"restart {standby}; within its loading time:",
                    actions=(Do("role change"),), way_back=f"Wait until {standby} is ready.")
    for fault in basis.faults.values():
        if fault.kind.of in VIEW and fault.kind.provoke:
            yield _step(basis, part, _provoked(basis, fault), (fault.id,), leader)


def _double(basis: Basis) -> Iterator[SheetStep]:
    plant, part = basis.plant, "Two faults at once"
    leader = basis.leaders[0]
    for fault in basis.faults.values():
        if len(fault.breaks) > 1:
            yield _step(basis, part, f"Pull the plugs of {listed(sorted(fault.breaks))} at the "
                        "same time.", (fault.id,), leader)
    if plant.pair is None:
        return
    standby = plant.pair.units[1]
    off, gone = f"{standby}: no power", f"{leader}: no power"
    yield _step(basis, part, f"Switch off the supply of {leader} as well.", (off, gone), leader,
                prepared=(Do("on", off, wait_s=SETTLE),), before=f"{standby} without supply.",
                actions=(Do("on", gone),))
    for cable in plant.pair.sync[:1]:
        cut = f"{cable}: cut"
        if cut in basis.faults:
            yield _step(basis, part, f"Switch off the supply of {leader} as well.", (cut, gone),
                        leader, prepared=(Do("on", cut, wait_s=SETTLE),),
                        before=f"{cable} pulled.", actions=(Do("on", gone),))


def _returns(basis: Basis) -> Iterator[SheetStep]:
    part = "Return to normal"
    for leader in basis.leaders:
        if leader is None:
            continue
        gone = f"{leader}: no power"
        yield replace(_step(
            basis, part, f"Switch the supply of {leader} on again.", (gone,), leader,
            prepared=(Do("on", gone, wait_s=SETTLE),), before=f"{leader} without supply.",
            actions=(Do("off", gone),),
            way_back=_after_return(basis)),
            type="return to normal", gap_limit_ms=None, limit_note="")
    feeds = [f"{name}: off" for name, each in basis.plant.parts.items()
             if each.kind in ("supply", "ups") and f"{name}: off" in basis.faults
             and not each.fed_by]
    if feeds:
        yield replace(_step(
            basis, part, f"Switch {listed(basis.faults[each].unit for each in feeds)} on again.",
            tuple(feeds), basis.leaders[0],
            prepared=tuple(Do("on", each, wait_s=SETTLE) for each in feeds),
            before="everything without power (total power loss).",
            actions=tuple(Do("off", each) for each in feeds), way_back="Nothing to put back."),
            type="return to normal", gap_limit_ms=None, limit_note="")


def _after_return(basis: Basis) -> str:
    if basis.plant.pair is None:
        return "Nothing to put back."
    if basis.settings.return_policy == "returns":
        wait_s = basis.settings.return_wait_ms / 1000
        return (f"{basis.plant.pair.units[0]} gets its role back by itself once it has been ready "
                f"for {wait_s:g} s: wait for it, it is one more switchover.")
    return "Nothing goes back by itself: change the roles by hand only if it is wanted."


def _moments(basis: Basis) -> Iterator[SheetStep]:
    if basis.plant.pair is not None:
        for moment in ("while a set-point ramp runs", "during a flood of 50 alarms",
                       "while somebody enters a value at the panel",
                       "with the buses at full load",
                       "after a program change, and once more after its way back"):
            step = next(_planned(basis))
            yield replace(step, part=AWKWARD, repeats=3,
                          action=f"Ask for a switchover by hand {moment}.",
                          way_back="As in the planned change; no alarm, entry or ramp is lost.")
    if basis.plant.controllers:
        yield SheetStep("", "check", AWKWARD, "Test signal to all units at once.",
                   "Compare the time stamps of all records with an independent recorder.",
                   expected=f"they differ by at most one cycle ({basis.settings.cycle_ms} ms)",
                   way_back="Take the test signal off.")


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

    >>> from labkit.plant.plant import load_plant
    >>> basis = Basis(load_plant("mirelow", "pair"), date="2031-05-06")
    >>> finders(basis)["settings: one missed beat"]
    ('02',)
    """
    steps = steps_of(basis)
    hidden = dict.fromkeys(fault for (fault, _), effect in basis.effects.items()
                           if not effect.noticed)
    found: dict[str, tuple[str, ...]] = {}
    tried = [step for step in steps if step.effect is not None and step.part != AWKWARD
             and step.type in (MUST_SWITCH, "must not switch")
             and any(basis.faults[each].kind.provoke
                     and basis.faults[each].kind.of in ("controller", "sync", "by hand")
                     for each in step.faults)]
    for fault in hidden:
        by_name = [step.number for step in steps
                   if step.type == "check" and fault in step.faults]
        if basis.faults[fault].mode == "not tracking":
            # Without a process to run nothing but the limit of the output step can show it.
            by_name += [step.number for step in steps if step.part == PLANNED
                        and step.effect.leads_after == basis.faults[fault].unit]
        by_run = []
        for step in tried if not by_name or fault.startswith("settings: ") else ():
            if len(by_run) == 2:
                break
            effect = course_of(basis.plant, step.effect.actions, basis.settings,
                               prepared=[Do("on", fault)], leader=step.effect.leader)
            if len(step.effect.actions) == len(step.faults) and \
                    _shows(effect) != _shows(step.effect):
                by_run.append(step.number)
        found[fault] = tuple([*by_name, *by_run])
    return found


def _shows(effect: Effect) -> tuple:
    """Return what somebody can see of a run who does not know its times."""
    return (dict(effect.roles_after), [(lamp.text, lamp.flashing) for lamp in effect.lamps_after],
            effect.alarms_after, dict(effect.outputs_worst),
            [each.name for each in effect.happenings])
