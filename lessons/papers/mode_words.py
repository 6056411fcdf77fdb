"""What the run of a fault says in the failure-mode table: effects, cover, severity, repair."""

from collections.abc import Iterable

from labkit.plant.plant import PlantState
from labkit.plant.wiring import Whole, stops_alone
from labkit.rig.effects import Do, Effect, course_of
from labkit.rig.headline import battery_words
from labkit.rig.noticed import FOLK, Notice
from labkit.rig.rates import restored_h
from labkit.switchover.fault_kinds import MODES, Fault
from labkit.switchover.roles import Outputs, Role
from labkit.wording import HOURS_PER_YEAR, listed
from lessons.papers.basis import Basis, per_year, rounded

LONG_H, SHORT_H = 8.0, 1.0 / 6.0


def on_pair(basis: Basis, effect: Effect) -> str:
    """Say what a run does to the roles."""
    if basis.plant.pair is None:
        unit = next(iter(effect.after.roles), None)
        if unit is None:
            return "no controller is concerned"
        role = effect.after.roles[unit]
        if role is not Role.ACTIVE:
            return f"nobody leads; {unit} is {role.value}"
        return f"{unit} keeps the role, and nothing is written" if _nothing_written(effect) else f"{unit} goes on"
    active = effect.after.leaders
    if len(active) > 1:
        return f"{listed(active)} both lead; racks flap between them"
    if not active:
        return "nobody leads"
    (unit,) = active
    others = [f"{name} {role.value}" for name, role in effect.after.roles.items() if name != unit]
    ready = all(role is Role.STANDBY for name, role in effect.after.roles.items() if name != unit)
    if unit != effect.leader:
        said = f"{unit} takes over" + (
            "" if effect.takeover_ms is None else f" after {effect.takeover_ms} ms")
    elif effect.longest_gap_ms and not effect.gap_open:
        said = f"{unit} leads again after {effect.longest_gap_ms} ms"
    elif _nothing_written(effect):
        said = f"{unit} keeps the role, and nothing is written"
    else:
        said = f"{unit} leads on"
    state = listed(others)
    if not ready:
        state += ": no standby"
    elif effect.after.redundancy_lost:
        state += ", redundancy lost by its lamps"
    elif effect.noticed:
        state += ", ready"
    else:
        state += ", as before"
    return f"{said}; {state}"


def on_plant(basis: Basis, effect: Effect, breaks: Iterable[str]) -> str:
    """Say what a run does to outputs, functions and process, and what it leaves."""
    said, stay = [], _in_fail_state(effect)
    for hours_on in dict.fromkeys(map(effect.lost_after_h.get, effect.functions_lost)):
        names = listed([name for name in effect.functions_lost
                        if effect.lost_after_h.get(name) == hours_on])
        said.append(f"{'lost' if hours_on is None else battery_words(hours_on)}: {names}")
    if stay:
        said.append(f"outputs in fail state: {listed(stay, 4)}")
    elif effect.worst is Outputs.FAIL_STATE:
        said.append(f"outputs in fail state for {effect.longest_gap_ms} ms")
    elif effect.longest_gap_ms:
        said.append(f"outputs held for {effect.longest_gap_ms} ms")
    if not effect.after.panel_sees and any(part.kind == "panel" for part in basis.plant.parts.values()):
        said.append("the panel sees nothing")
    if effect.happenings:
        said.append("process: " + ", ".join(f"{each.name} {each.time_s:.0f} s" for each in
                                            _first_of_each(effect.happenings)))
    if breaks:
        now, healthy = _rates(basis, effect.state), _rates(basis, basis.healthy)
        # As on the card: who leads, where each unit reaches another rack, is left out of it.
        healthy |= {name: rate * HOURS_PER_YEAR
                    for name, rate in effect.state.healthy_failures_per_h.items()}
        worse = [name for name, rate in now.items()
                 if name not in effect.functions_lost and rate > healthy[name]
                 and per_year(rate) != per_year(healthy[name])]
        # Functions that are only counted are parts of those on the panel, where these are worse.
        for name in [each for each in worse if each in basis.plant.functions] or worse:
            said.append(f"{name} from here lost {per_year(now[name])} instead of "
                        f"{per_year(healthy[name])}")
    return "; ".join(said) or "goes on as before; the next fault decides"


def _in_fail_state(effect: Effect) -> list[str]:
    return [rack for rack, state in effect.after.outputs.items() if state is Outputs.FAIL_STATE]


def _nothing_written(effect: Effect) -> bool:
    return bool(effect.after.outputs) and _in_fail_state(effect) == [*effect.after.outputs]


def _first_of_each(happenings):
    found = {}
    for each in happenings:
        found.setdefault(each.name, each)
    return list(found.values())[:4]


def noticed_words(basis: Basis, fault: Fault, effect: Effect, notice: Notice, told: bool) -> str:
    """Say what shows a fault, or why nobody notices it."""
    if told:
        if notice.who == FOLK:
            return f"by people{', as the file says' if notice.stated else ''}: {notice.by}"
        first = fault.kind.waits_for and f"only at {fault.kind.waits_for}: "
        return first + "; ".join(filter(None, (notice.by, notice.stated)))
    if effect.noticed:
        return f"not at once; {notice.stated}"
    if effect.happenings:
        return f"not by lamp or alarm; by {notice.by}"
    if any(not basis.plant.stands_idle(name) for name in effect.functions_lost):
        return "not by lamp or alarm; by the outage that it causes"
    return "not at all"


def time_words(effect: Effect) -> str:
    """Say when a run shows it; empty where nothing does."""
    if effect.noticed_after_ms is None:
        return ""
    return "at once" if effect.noticed_after_ms == 0 else f"{effect.noticed_after_ms} ms"


def covers(basis: Basis, effect: Effect, fault: Fault) -> str:
    """Say what keeps the plant going, and until what."""
    if _by_partner(basis, fault, effect):
        return "nothing by itself: take the unit out by hand"
    if effect.functions_lost or effect.gap_open:
        kept = effect.functions_lost and effect.lost_after_h.keys() == {*effect.functions_lost}
        return f"{'a battery for a time, then ' * bool(kept)}nothing: repair, spare, running by hand"
    if not fault.breaks:
        if MODES[fault.mode].passes and effect.worst is Outputs.FAIL_STATE:
            first = fault.kind.waits_for and f"nothing is lost before {fault.kind.waits_for}; then "
            return f"{first}it comes back by itself; nothing covers it until then"
        if fault.mode == "voltage dip" and not any(each.what == "role" for each in effect.record):
            return "the other feed, or a battery"
        return fault.kind.covers
    new = _newly_alone(basis, effect)
    return f"the rest, until {listed(new, 4, 'or')} fails as well" if new else \
        "the rest; no new single failure stops a function"


def _rates(basis: Basis, state: PlantState) -> dict[str, float]:
    """Return how often a year each function is lost from a state, those too that are only counted."""
    plant = basis.plant
    counted = basis.once(("rates", state.broken), lambda: {
        name: plant.block(name, state.broken).failures_per_h
        for name in plant.functions_counted if name not in plant.functions})
    return {name: rate * HOURS_PER_YEAR for name, rate in (state.failures_per_h | counted).items()}


def _alone(basis: Basis, state: PlantState) -> set[str]:
    """Return what stops a function by itself that still works, in a state."""
    plant = basis.plant
    conditions = [plant.condition(name, state.broken) for name in plant.functions_counted
                  if name not in plant.functions]
    return set().union(*state.next_failures.values(), *(
        [each.name for each in stops_alone(one) if isinstance(each, Whole)]
        for one in conditions if one is not False))


def _newly_alone(basis: Basis, effect: Effect) -> list[str]:
    """Return the parts that stop a function by themselves at the end of a run, and did not before."""
    new = _alone(basis, effect.state) - _alone(basis, basis.healthy)
    return [part for part in basis.plant.parts if part in new]


def severity_of(basis: Basis, fault: Fault, effect: Effect, told: bool,
                lost_h: float | None) -> str:
    """Return the class of severity; of two leaders the worse counts."""
    if _stops(effect):
        return "A2" if lost_h is None else "A1" if lost_h > LONG_H else \
            "A2" if lost_h >= SHORT_H or effect.event_cost else "A3"
    if effect.event_cost:
        return "A2"
    ready, was = (list(snapshot.roles.values()).count(Role.STANDBY)
                  for snapshot in (effect.after, effect.before))
    without = ready < was
    if effect.after.redundancy_lost or without or _newly_alone(basis, effect):
        return "C" if told else "B"
    return "E" if told else "D"


def _stops(effect: Effect) -> bool:
    return bool(effect.functions_lost or effect.gap_open or effect.worst is Outputs.FAIL_STATE)


def _in_pair(basis: Basis, fault: Fault) -> bool:
    return basis.plant.pair is not None and fault.unit in basis.plant.pair.units


def _by_partner(basis: Basis, fault: Fault, effect: Effect) -> bool:
    """Return whether the partner of a unit keeps the racks once it is made to lead by hand."""
    return bool(effect.gap_open) and _in_pair(basis, fault) and \
        effect.leads_after in (None, fault.unit)


def lost_h(basis: Basis, fault: Fault, effect: Effect, lasts_h: float | None) -> float | None:
    """Return for how long a fault by itself takes a function or the outputs; None if unknown.

    Of a cut of the mains that is what goes on beyond the battery.
    """
    if _by_partner(basis, fault, effect):
        return basis.plant.pair.restart_h
    if effect.functions_lost or effect.gap_open:
        part = basis.plant.parts.get(fault.unit)
        after_h = min((effect.lost_after_h.get(name, 0.0) for name in effect.functions_lost), default=0.0)
        return part.lasts_h(after_h)[1] - after_h if after_h and part and part.cuts else lasts_h
    return effect.longest_gap_ms / 3_600_000.0


def repair_of(basis: Basis, fault: Fault, effect: Effect) -> tuple[float | None, str]:
    """Return how long it takes to put a fault right, in hours, and in words."""
    plant, pair = basis.plant, basis.plant.pair
    part = plant.parts.get(fault.unit) or plant.shared_events.get(fault.unit)
    if part is None or not in_sums(basis, fault):
        return None, "nothing to restore; in no sum" if fault.mode == "planned test" else \
            "when somebody puts it right; in no sum"
    lasts_h = restored_h(plant, fault)
    said = f"{rounded(lasts_h)} h"
    if MODES[fault.mode].passes:
        return lasts_h, f"comes back by itself; the sums count {said}"
    if not fault.breaks:
        return lasts_h, f"{said}; the sums count it as an outage of the part"
    if _by_partner(basis, fault, effect):
        return lasts_h, f"{said}; the other unit by hand in {rounded(pair.restart_h)} h"
    if effect.functions_lost and _in_pair(basis, fault) and course_of(
            plant, [Do("off", fault.id)], basis.settings, prepared=[Do("on", fault.id)],
            leader=effect.leader).functions_lost:
        return lasts_h, f"{said}, then the roles by hand"
    return lasts_h, said


def in_sums(basis: Basis, fault: Fault) -> bool:
    """Return whether a fault is one of the failures that the plant file counts."""
    event = basis.plant.shared_events.get(fault.unit)
    return fault.kind.share is not None and (event is None or event.mtbf_h is not None)
