"""Every fault that can be switched on: what it breaks, what is seen, how it is put right.

The faults of a plant follow from its file: each kind of part has its faults, and so has each event
that breaks several parts at once. All of it is common practice, put into data; nothing here knows
how the pair answers.

A fault has a *mode*, which says how it acts:

=================== ===========================================================================
mode                effect
=================== ===========================================================================
broken              the parts in `breaks` are dead, and that can be seen
silent              an interface takes no writes any more, while its lamp stays as it was
no power            a controller without supply
stopped             its program is stopped by hand; it announces this
own fault           it stops because of a fault that it found itself; it announces this
frozen              its program stands still, its heartbeat goes on
restart             its program is stopped and started again at once
voltage dip         a feed is gone for `DIP_MS`, then back
noise, bursts       beats on a sync cable are lost: one by one, or in bursts
frame errors        a bus still works, with many frames repeated
lamp dark           one lamp in the row of a panel is dead
stuck               a sensor's reading stands still
not tracking        a controller's integrator does not follow the written output
program differs     the program of one unit is not that of the other
shut locally        a shut-off valve is shut at its local switch
short hold          racks keep their outputs for `SHORT_HOLD_MS` only
one beat            one missed beat is enough to count as silent
racks not asked     the controllers do not read the writer's marks
planned test        somebody changes the roles by hand: no fault at all
=================== ===========================================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from labkit.plant.plant import Plant

__all__ = ["DIP_MS", "SHORT_HOLD_MS", "Fault", "drills_of", "faults_of"]

DIP_MS = 100
SHORT_HOLD_MS = 200
SHUT_OFF_VALVE = "QM1"


@dataclass(frozen=True)
class Fault:
    """Hold one fault that can be switched on.

    Parameters
    ----------
    id : str
        Designation and how it fails, such as "KF1: no power".
    label : str
        What stands on its switch.
    place : str
        Where somebody has to go for it.
    breaks : frozenset of str
        Designations of the parts that do not do their work while it is on.
    mode : str
        How it acts; see the table of this module.
    seen : str
        What can be seen of it.
    put_right : str
        What puts it right.

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> faults_of(load_plant())["WF9: cut"].label
    'WF9 sync cable: cut'
    """

    id: str
    label: str
    place: str
    breaks: frozenset[str]
    mode: str
    seen: str
    put_right: str

    @property
    def unit(self) -> str:
        """What it is about: the part of the id before the colon."""
        return self.id.partition(": ")[0]

    @property
    def how(self) -> str:
        """How that fails: the part of the id after the colon."""
        return self.id.partition(": ")[2]


@dataclass(frozen=True)
class _Pattern:
    """Hold a fault that every part of one group has."""

    how: str
    mode: str
    breaks: bool
    seen: str
    put_right: str


PATTERNS: tuple[tuple[str, _Pattern], ...] = (
    ("controller", _Pattern(
        "no power", "no power", True,
        "All lamps of the unit are dark; its links carry nothing; the partner leads.",
        "Find out why the supply is gone, restore it, wait for the self test and the loading.")),
    ("controller", _Pattern(
        "stopped", "stopped", True,
        "No role lamp is lit, the unit has supply; the partner leads.",
        "Start the program again, wait for the loading.")),
    ("controller", _Pattern(
        "own fault", "own fault", True,
        "FAILED is lit; the unit has stopped itself; the partner leads.",
        "Read its diagnosis, change the unit or clear the fault, start it, wait for the loading.")),
    ("controller", _Pattern(
        "frozen", "frozen", True,
        "Lamps stay as they were; if it leads, outputs go to their fail state. A frozen standby "
        "shows nothing.",
        "Take the unit out by hand, restart it, ask why its own watchdog did not see it.")),
    ("pair controller", _Pattern(
        "restarted", "restart", False,
        "LOADING flashes until the whole state is copied; until then no role change is accepted.",
        "Nothing to put right: wait until it is ready.")),
    ("pair controller", _Pattern(
        "program differs", "program differs", False,
        "The unit stays at LOADING, 0 %; an alarm says that the programs differ.",
        "Compare versions, load the right program into the unit, wait for the loading.")),
    ("pair controller", _Pattern(
        "integrator not tracking", "not tracking", False,
        "Nothing, until the unit takes over: then the valve jumps.",
        "Correct the tracking in the program, test with a planned role change.")),
    ("sync", _Pattern(
        "cut", "broken", True,
        "Both units report a silent sync cable; the writer's marks are fresh, the standby stays.",
        "Check plugs first, then the cable; afterwards wait for the loading.")),
    ("sync", _Pattern(
        "noise", "noise", False,
        "Frames with errors; now and then beats are missed and heard again.",
        "Check shield, plugs, route beside power cables; count errors before and after.")),
    ("sync", _Pattern(
        "bursts", "bursts", False,
        "Beats are missed in bursts and heard again, as when somebody welds nearby.",
        "Find the source by its times; separate the routes, check shields.")),
    ("link", _Pattern(
        "cut", "broken", True,
        "LINK of this interface is a yellow cross; the unit that reaches more racks leads.",
        "Check plugs at both ends first, then measure the cable.")),
    ("bus", _Pattern(
        "cut", "broken", True,
        "The panel sees nothing; one side of the repeater counts no frames; control goes on.",
        "Split at the repeater, test each half with its own terminator.")),
    ("bus", _Pattern(
        "terminator missing", "frame errors", False,
        "Frames with errors on this segment; with supplies off, 120 ohm and the copper instead of "
        "60 ohm and the copper between the wires.",
        "Fit the terminator at the end of the segment; measure again.")),
    ("bus", _Pattern(
        "third terminator", "frame errors", False,
        "Frames with errors on this segment; with supplies off about 40 ohm between the wires.",
        "Find the terminator too many, often a switch inside a device, and take it out.")),
    ("bus", _Pattern(
        "A and B swapped", "broken", True,
        "Silence behind the place of the last repair, though nothing is cut.",
        "Swap the two wires back; compare with the drawing.")),
    ("interface", _Pattern(
        "dead", "broken", True,
        "LINK of this interface is a yellow cross.",
        "Check supply and plugs, then change the interface.")),
    ("interface", _Pattern(
        "dead and silent", "silent", True,
        "Nothing, while its controller stands by: LINK stays green. Only a test finds it.",
        "Change the interface; test the link by a planned role change.")),
    ("rack", _Pattern(
        "module fault", "broken", True,
        "LINK of all interfaces of the rack is a yellow cross; its outputs are off.",
        "Change the module, check the outputs, start what they drive.")),
    ("supply", _Pattern(
        "off", "broken", True,
        "All that it feeds is dark.",
        "Find the cause, restore the supply, wait for self tests and loading.")),
    ("supply", _Pattern(
        "voltage dip", "voltage dip", False,
        "What it feeds restarts; the times in the record say when.",
        "Measure load and battery; look for what drew the current.")),
    ("repeater", _Pattern(
        "no power", "broken", True,
        "SUPPLY is dark on both sides; the panel sees nothing; control goes on.",
        "Restore its supply; control needs nothing done.")),
    ("panel", _Pattern(
        "dark", "broken", True,
        "The panel is dark; lamps at the controllers are as ever; control goes on.",
        "Check its supply, then change it; look at the controllers' own lamps meanwhile.")),
    ("panel", _Pattern(
        "lamp dark", "lamp dark", False,
        "One lamp of the row is dark that should be lit; all the rest agrees with normal running.",
        "Lamp test, then change the lamp. Dark does not mean that nothing is wrong.")),
    ("sensor", _Pattern(
        "dead", "broken", True,
        "An alarm for the reading; what it is needed for is lost.",
        "Check supply and wires, change the sensor.")),
    ("sensor", _Pattern(
        "stuck", "stuck", True,
        "A reading that does not move any more, while the process does.",
        "Compare with a second reading, clean or change the sensor.")),
    ("other", _Pattern(
        "dead", "broken", True,
        "It does not do its work.",
        "Find the cause, repair it.")),
)

PASSES_SIGNALS = frozenset({"repeater", "switch"})


def _group(plant: Plant, part, links: frozenset[str]) -> tuple[str, ...]:
    """Return the groups of patterns that a part belongs to."""
    kind = part.kind
    if kind == "controller":
        if plant.pair is not None and part.designation in plant.pair.units:
            return ("controller", "pair controller")
        return ("controller",) if part.designation in plant.controllers else ("other",)
    if kind == "cable":
        if plant.pair is not None and part.designation in plant.pair.sync:
            return ("sync",)
        return ("link",) if part.designation in links else ("bus",)
    if kind in PASSES_SIGNALS:
        return ("repeater",)
    if kind == "ups":
        return ("supply",)
    return (kind,) if kind in ("interface", "rack", "supply", "panel", "sensor") else ("other",)


def faults_of(plant: Plant) -> dict[str, Fault]:
    """Return every fault that can be switched on at a plant.

    Parameters
    ----------
    plant : Plant

    Returns
    -------
    dict of str to Fault
        By id, in the order of the plant file; events that break several parts, and faults of
        settings and people, at the end.

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> faults = faults_of(load_plant())
    >>> faults["WF1+WF2: cut"].breaks == {"WF1.10", "WF2.10"}
    True
    """
    return {fault.id: fault for fault in _all(plant)}


@lru_cache(maxsize=16)
def _all(plant: Plant) -> tuple[Fault, ...]:
    links = frozenset(name for unit in plant.controllers for rack in plant.racks
                      for way in plant.ways(unit, rack) for name in way)
    found = []
    for part in plant.parts.values():
        groups = _group(plant, part, links)
        found += [_of_part(part, pattern) for group, pattern in PATTERNS if group in groups]
    for event in plant.shared_events.values():
        cables = all(plant.parts[name].kind == "cable" for name in event.breaks)
        found.append(Fault(
            f"{event.name}: {'cut' if cables else 'lost'}",
            f"{event.name} {event.what.partition(':')[0]}: {'cut' if cables else 'lost'}",
            event.place, frozenset(event.breaks), "broken",
            f"All of {', '.join(event.breaks)} fail at once.",
            "Restore all of them; ask why they share a route."))
    return (*found, *_of_people(plant))


def _of_part(part, pattern: _Pattern) -> Fault:
    name = part.designation
    return Fault(f"{name}: {pattern.how}", f"{name} {part.what.partition(':')[0]}: {pattern.how}",
                 part.place, frozenset({name}) if pattern.breaks else frozenset(),
                 pattern.mode, pattern.seen, pattern.put_right)


def _of_people(plant: Plant) -> list[Fault]:
    """Return the faults of settings, and what people do at a plant."""
    nothing: frozenset[str] = frozenset()
    found = []
    if plant.process:
        sensors = [part.place for part in plant.parts.values() if part.kind == "sensor"]
        found.append(Fault(
            f"{SHUT_OFF_VALVE}: shut locally", f"{SHUT_OFF_VALVE} shut-off valve: shut locally",
            next(filter(None, sensors), "at the tank"), nothing, "shut locally",
            "The tank fills although all lamps of the pair are as ever.",
            "Put the local switch back to remote; ask who shut it and why."))
    if plant.racks:
        found.append(Fault(
            "settings: hold time too short", f"hold time of the racks: {SHORT_HOLD_MS} ms only",
            "settings of the racks", nothing, "short hold",
            "Nothing, until a switchover lasts longer than the hold time: outputs drop.",
            "Set the hold time above 1.5 times the longest switchover, and test it."))
    if plant.pair is not None:
        found += [
            Fault("settings: one missed beat", "heartbeat: one missed beat is enough",
                  "settings of the pair", nothing, "one beat",
                  "Nothing on a clean cable; with noise the partner is often taken for silent.",
                  "Set the number of missed beats by the losses and the time budget."),
            Fault("settings: racks not asked", "takeover: racks are not asked",
                  "settings of the pair", nothing, "racks not asked",
                  "Nothing, until the sync cable fails: then both units lead.",
                  "Let the standby ask the racks before it takes over."),
            Fault("test: role change", "planned test: roles changed by hand",
                  "by hand", nothing, "planned test",
                  "The roles change without a fault, as announced; or the change is refused.",
                  "Nothing to put right: write down time and result."),
        ]
    return found


def drills_of(plant: Plant) -> dict[str, tuple[str, ...]]:
    """Return the fault drills of a plant: title to the ids that are switched on, in order.

    Parameters
    ----------
    plant : Plant
        Parts that it does not have leave their drills out.

    Returns
    -------
    dict of str to tuple of str

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> drills = drills_of(load_plant())
    >>> len(drills), drills["both think that they lead"]
    (23, ('settings: racks not asked', 'WF9: cut'))
    """
    faults = faults_of(plant)

    def first(how: str, after: int = 0) -> str:
        """Return the id of a fault of this kind, or one that no plant has."""
        found = [fault.id for fault in faults.values() if fault.how == how]
        return found[after] if len(found) > after else f"none: {how}"

    def of_kind(kind: str, how: str, after: int = 0) -> str:
        names = [name for name in plant.parts
                 if plant.parts[name].kind == kind and f"{name}: {how}" in faults]
        return f"{names[after]}: {how}" if len(names) > after else f"none: {how}"

    units = plant.controllers or ("none",)
    active, standby = units[0], units[-1]
    sync = plant.pair.sync[0] if plant.pair is not None and plant.pair.sync else "none"
    way = next(iter(plant.lines().values()), ("none",))
    drills = {
        "active loses power": (f"{active}: no power",),
        "standby loses power": (f"{standby}: no power",),
        "program stands still, heartbeat goes on": (f"{active}: frozen",),
        "sync cable cut": (f"{sync}: cut",),
        "sync cable noisy": (f"{sync}: noise",),
        "link of the active unit to one rack": (f"{way[0]}: cut",),
        "both links of one rack": tuple(
            [fault.id for fault in faults.values() if len(fault.breaks) > 1][:1]) or ("none: cut",),
        "interface dead and silent": (first("dead and silent", 1),),
        "rack module fault": (first("module fault"),),
        "voltage dip, both restart": (first("voltage dip"),),
        "repeater without power": (of_kind("repeater", "no power"),),
        "terminator missing": (first("terminator missing"),),
        "third terminator": (first("third terminator"),),
        "A and B swapped after a repair": (first("A and B swapped", 1),),
        "lamp of the panel dead": (first("lamp dark"),),
        "level sensor stuck": (first("stuck"),),
        "integrator does not track": (f"{standby}: integrator not tracking",
                                      "test: role change"),
        "hold time set too short": ("settings: hold time too short", f"{active}: no power"),
        "programs differ": (f"{standby}: program differs",),
        "role change refused": (f"{standby}: restarted", "test: role change"),
        "no fault: planned test": ("test: role change",),
        "noise and a weak heartbeat setting": ("settings: one missed beat", f"{sync}: noise"),
        "both think that they lead": ("settings: racks not asked", f"{sync}: cut"),
    }
    return {title: ids for title, ids in drills.items() if all(each in faults for each in ids)}
