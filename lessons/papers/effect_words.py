"""What a run of the rules says, in the words of a paper."""

from labkit.rig.effects import Effect
from labkit.switchover.lamps import Lamp
from labkit.switchover.roles import Outputs
from labkit.wording import listed


def kind_of(effect: Effect) -> str:
    """Return what kind of test a run is: what has to come out.

    >>> from labkit.rig.effects import effect_of
    >>> from labkit import load_plant
    >>> [kind_of(effect_of(load_plant(), fault)) for fault in
    ...  ("KF1: no power", "WF9: cut", "TB1: off")]
    ['must switch', 'must not switch', 'fail state']
    """
    if effect.worst is Outputs.FAIL_STATE:
        return "fail state"
    if None not in (effect.leader, effect.leads_after) and effect.leads_after != effect.leader:
        return "must switch"
    return "must not switch"


def roles_in_words(effect: Effect) -> str:
    """Return the roles at the end.

    >>> from labkit.rig.effects import effect_of
    >>> from labkit import load_plant
    >>> roles_in_words(effect_of(load_plant(), "KF1: no power"))
    'KF1 off, KF2 active'
    """
    return ", ".join(f"{name} {role.value}" for name, role in effect.after.roles.items()) \
        or "no controller"


def outputs_in_words(effect: Effect, hold_ms: int) -> str:
    """Return what the outputs of the racks do.

    >>> from labkit.rig.effects import effect_of
    >>> from labkit import load_plant
    >>> outputs_in_words(effect_of(load_plant(), "WF9: cut"), 500)
    'written all the time'
    """
    if not effect.after.outputs:
        return "no rack"
    said = []
    stay = [rack for rack in effect.after.outputs
            if effect.after.outputs[rack] is Outputs.FAIL_STATE]
    passing = [rack for rack, worst in effect.outputs_worst.items()
               if worst is Outputs.FAIL_STATE and rack not in stay]
    held = [rack for rack, worst in effect.outputs_worst.items() if worst is Outputs.HELD]
    if stay:
        said.append(f"{listed(stay)}: fail state, at most {hold_ms} ms after the last write")
    if passing:
        said.append(f"{listed(passing)}: fail state in between, written again")
    if held:
        said.append(f"{listed(held)}: held, then written again")
    rest = [rack for rack, worst in effect.outputs_worst.items() if worst is Outputs.WRITTEN]
    if rest:
        said.append("written all the time" if len(rest) == len(effect.after.outputs)
                    else f"{listed(rest)}: written all the time")
    return "; ".join(said)


def lamps_in_words(effect: Effect) -> str:
    """Return the lamps of every unit that shows something else than before, unit by unit.

    >>> from labkit.rig.effects import effect_of
    >>> from labkit import load_plant
    >>> print(lamps_in_words(effect_of(load_plant(), "TF1: no power")))
    TF1: all dark
    PH1: DATA yellow
    """
    units_by_lamps: dict[str, list[str]] = {}
    for unit in dict.fromkeys(each.unit for each in effect.lamps):
        lit = [_lamp(lamp) for lamp in effect.lamps_after if lamp.unit == unit and lamp.lit]
        units_by_lamps.setdefault(", ".join(lit) or "all dark", []).append(unit)
    return "\n".join(f"{', '.join(units)}: {lit}" for lit, units in units_by_lamps.items()) \
        or "no lamp changes"


def _lamp(lamp: Lamp) -> str:
    return f"{lamp.name} {lamp.colour}{' flashing' if lamp.flashing else ''}"


def record_in_words(effect: Effect) -> str:
    """Return the lines of the record that must come, in order: roles, writers, alarms.

    >>> from labkit.rig.effects import effect_of
    >>> from labkit import load_plant
    >>> print(record_in_words(effect_of(load_plant(), "TF1: no power")))
    alarm: panel PH1 does not see the plant
    """
    lines: list[str] = []
    writers: dict[tuple[str, str], list[str]] = {}
    for entry in effect.record:
        if entry.what == "role":
            lines.append(f"{entry.who} role: {entry.old} → {entry.new}")
        elif entry.what == "writer":
            key = entry.old, entry.new
            if key not in writers:
                writers[key] = []
                lines.append(f"writer {entry.old} → {entry.new}: @{len(writers)}")
            if entry.who not in writers[key]:
                writers[key].append(entry.who)
        elif entry.what == "outputs" and entry.new == Outputs.FAIL_STATE.value:
            lines.append(f"{entry.who} outputs: fail state")
        elif entry.what == "role change":
            lines.append(f"role change: {entry.new}")
        elif entry.what == "alarm" and entry.new and "outputs of rack" not in entry.new:
            lines.append(f"alarm: {entry.new}")
    for number, racks in enumerate(writers.values(), start=1):
        lines = [line.replace(f"@{number}", ", ".join(racks)) if line.endswith(f": @{number}")
                 else line for line in lines]
    return "\n".join(dict.fromkeys(lines)) or "no line"
