"""What the pair shows of itself beside roles, writers and outputs: signs and alarms.

All of it follows from the present state; a change becomes a line of the record.
"""

from labkit.switchover.damage import Wires
from labkit.switchover.fault_kinds import Fault
from labkit.switchover.knowledge import FRESH, NO_RACK, NO_VOTE, VOTED, Knowledge, UnitState
from labkit.switchover.roles import Contact, Outputs, Role

NEAR, FAR = "controllers' side", "panels' side"


def shows_failed(unit: UnitState) -> bool:
    """Return whether a unit shows FAILED: stopped by its own fault, or put out."""
    return unit.role is Role.STOPPED and (unit.put_out or unit.held == "own fault")


def is_alone(pair: Knowledge, before: bool) -> bool:
    """Return whether an active unit knows of no ready standby.

    A frozen unit keeps the lamp as it was, and so does one that does not know yet.
    """
    if len(pair.units) < 2:
        return False
    active = [unit for unit in pair.units if unit.role is Role.ACTIVE]
    knowing = [unit for unit in active if not unit.frozen and unit.contact is not Contact.UNKNOWN]
    if not knowing:
        return before and bool(active)
    return any(unit.contact is Contact.SILENT or unit.known is not Role.STANDBY
               for unit in knowing)


def wire_signs(pair: Knowledge, wires: Wires) -> dict[tuple[str, str], tuple[str, str]]:
    """Return what wires, repeaters and panels show: (who, what) -> (state, why)."""
    damage = pair.damage
    signs = {}
    for rack in pair.racks:
        for unit in pair.units:
            if rack.name in pair.reach(unit):
                signs[rack.name, f"link {unit.name}"] = ("data pass", "The way is whole.")
                continue
            names = (*wires.way(rack.name, unit.name), rack.name)
            dead = [name for name in names if name in damage.dead]
            why = f"{unit.name} has no supply." if unit.name not in damage.powered else \
                f"{', '.join(dead) or 'A part of the way'} does not carry."
            signs[rack.name, f"link {unit.name}"] = ("no data", why)
    if len(pair.units) == 2:
        signs["pair", "sync cable"] = ("whole", "It carries.") if damage.sync_ok else (
            "broken", "No sync cable carries.")
    for name, sides in damage.repeaters.items():
        supply = name in damage.supplied
        signs[name, "supply"] = ("on", "It has supply.") if supply else (
            "off", f"{name} has no supply.")
        for side, ok in zip((NEAR, FAR), sides, strict=True):
            signs[name, side] = ("frames", "Frames come in without errors.") if ok else (
                "no good frames", f"{name} has no supply." if not supply else
                "Frames come in with errors, or not at all.")
    for name in wires.batteries:
        carries = name in damage.on_battery
        signs[name, "battery"] = ("rests", "It is not needed.") if not carries else (
            "empty", "It has carried for as long as it can.") if name in damage.dead else (
            "carries", "Nothing feeds it any more.")
    for name in wires.panels:
        if name in damage.panels:
            signs[name, "see and act"] = ("yes", "The way to the controllers is whole.")
        else:
            rule = pair.rules.get("see and act")
            why = "No controller has supply." if not damage.powered else \
                rule.why(name) if rule else "The way is broken."
            signs[name, "see and act"] = ("no", why)
    return signs


def pair_signs(pair: Knowledge, alone: bool) -> dict[tuple[str, str], tuple[str, str]]:
    """Return what the pair shows of itself: (who, what) -> (state, why)."""
    signs = {}
    for unit in pair.units:
        failed = shows_failed(unit)
        signs[unit.name, "failed"] = ("shown", f"{unit.name} has failed.") if failed else (
            "not shown", f"{unit.name} has not failed, or is without supply.")
    if len(pair.units) < 2:
        signs["pair", "redundancy"] = ("kept", "There is one controller only.")
        return signs
    signs["pair", "alone"] = ("yes", "The active unit knows of no ready standby.") if alone else (
        "no", "The active unit has a ready standby, or none leads.")
    roles = sorted(unit.role.value for unit in pair.units)
    lost = (alone or roles != ["active", "standby"]
            or any(unit.contact is Contact.SILENT for unit in pair.units)
            or any(len(pair.reach(unit)) < len(pair.racks) for unit in pair.units))
    signs["pair", "redundancy"] = (
        ("lost", "One more fault could take control away.") if lost else
        ("kept", "One active, one ready standby, and both reach every rack."))
    return signs


def alarms(pair: Knowledge, wires: Wires, faults: dict[str, Fault],
           alone: bool) -> dict[str, tuple[str, str]]:
    """Return the alarms in words: text -> (who, why).

    An alarm says what is noticed and not the cause, and it is raised by who notices it: what is
    dead raises none.
    """
    found: dict[str, tuple[str, str]] = {}
    damage, units = pair.damage, pair.units
    seeing = [panel for panel in wires.panels if panel in damage.panels]
    living = [unit.name for unit in sorted(units, key=lambda unit: not unit.leads)
              if unit.role is not Role.OFF]
    witness = next(iter(living), "pair")
    for unit in units:
        name = unit.name
        if unit.role is Role.OFF:
            if seeing:
                found[f"{name} does not answer"] = (seeing[0], "It is asked and sends nothing.")
        elif shows_failed(unit):
            found[f"{name} has failed"] = (name, "It has stopped after a fault.")
        elif unit.role is Role.STOPPED:
            found[f"{name} is stopped"] = (name, "Its program does not run.")
        if unit.contact is Contact.SILENT and unit.role is not Role.OFF:
            found[f"{name} hears nothing from {pair.partner(unit).name}"] = (
                name, "The beats on the sync cable are missed.")
            lives = f"the active one lives; {name} stays {unit.role.value}"
            told = {
                FRESH: ("sync cable silent, the writer's marks are fresh", lives),
                VOTED: (f"third vote is given to {pair.partner(unit).name}", lives),
                NO_VOTE: (f"{name} has no majority and does not lead",
                          "it hears neither its partner nor the third voter"),
                NO_RACK: (f"{name} reaches no rack and does not take over",
                          "who reaches no rack never takes over"),
            }
            # who leads has asked before it led, and has nothing to say of it
            if unit.verdict in told and not unit.leads:
                text, why = told[unit.verdict]
                found[text] = (name, f"Rule 4: {why}.")
    active = [unit.name for unit in units if unit.role is Role.ACTIVE]
    if pair.voter is not None and not pair.voter.heard:
        found[f"nobody hears {pair.voter.name}"] = (witness, "Its beats are missed.")
    if alone:
        found[f"{' and '.join(active)} without a ready standby"] = (
            active[0], "One more fault could take control away.")
    if units and not active:
        found["no controller leads"] = ("pair", "No unit is active.")
    if len(active) > 1:
        found[f"{' and '.join(active)} both lead"] = ("pair", "Two units are active.")
    if pair.differing:
        found["programs of the units differ"] = (
            "pair", f"{', '.join(sorted(pair.differing))}: loading is refused.")
    for rack in pair.racks:
        name = rack.name
        dead = name not in damage.racks
        if dead:
            found[f"rack {name} does not answer"] = (witness, "None of its links carries data.")
        else:
            for unit in units:
                if unit.role is not Role.OFF and name not in pair.reach(unit) and wires.way(name, unit.name):
                    found[f"no data between {unit.name} and rack {name}"] = (
                        name, "A part of the way does not carry.")
        if len(rack.writing) > 1:
            found[f"rack {name} has two writers by turns"] = (name, "Two units write it.")
        if rack.outputs is Outputs.FAIL_STATE:
            found[f"outputs of rack {name} in fail state"] = (
                witness if dead else name, "Nothing was written in time.")
    if damage.noise and not damage.sync_quiet:
        found["frames with errors on the sync cable"] = ("pair", "The error counter climbs.")
    for cable in damage.frame_errors:
        found[f"frames with errors on {cable}"] = (witness, "Frames are repeated.")
    for panel in wires.panels:
        if panel not in damage.lit:
            found[f"panel {panel} does not answer"] = (witness, "It asks for no data any more.")
        elif panel not in damage.panels:
            found[f"panel {panel} does not see the plant"] = (panel, "No data come in.")
    told = {fault.unit for fault in faults.values() if fault.breaks} & wires.own_alarms.keys()
    # A dead part of a way is told by what it does not carry.
    told |= {fault.unit for fault in faults.values() if fault.kind.alarm} - wires.carriers
    silent = {fault.unit for fault in faults.values() if fault.mode == "silent"} | wires.carriers
    told |= damage.dead & wires.alarms.keys() - (silent - wires.own_alarms.keys())
    for name in (name for name in wires.alarms if name in told):
        found[wires.alarms[name].format(unit=name)] = (witness, "It does not do its work.")
    return found
