"""The lamps of the pair: what each shows, and in which word, shape and colour.

Our own lamp set, on the meanings of colours in IEC 60073 (from memory): red faulty, yellow
abnormal, green normal, white neutral. A lamp never speaks by colour alone: it has a word, a shape
and a state text. A unit without supply has all its lamps dark, one that is stopped by hand shows
SUPPLY alone; a frozen one keeps its lamps.

=========  =================================  ===============================================
lamp       where                              shows
=========  =================================  ===============================================
SUPPLY     controller                         green dot: supply
ACTIVE     controller                         green bar: it leads
READY      controller with a partner          white ring: standby; flashing: it hears nothing
LOADING    controller                         white broken ring, flashing: it copies the state
ALONE      controller with a partner          yellow triangle: it leads without ready standby
FAILED     controller                         red square: stopped by a fault
LINK       interface of a rack                green dot: data pass; yellow cross: no data
WRITER     interface of a rack                white bar: the rack takes its writes from here
SUPPLY     repeater, near and far side        green dot: supply
FRAMES     repeater, near and far side        green dot: counts frames; yellow cross: errors, none
DATA       panel                              green dot: data come in; yellow cross: none
(unit)     panel                              green bar: this controller leads
PLANT      panel                              green bar: normal; yellow triangle: no redundancy
                                              left; red square: control lost
=========  =================================  ===============================================

Near is the controllers' side of a repeater, far the panels' side. A standby that has failed is
red for the unit and yellow for the plant.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from labkit.arguments import instance
from labkit.switchover.roles import Outputs, Role, Snapshot


@dataclass(frozen=True)
class Lamp:
    """Hold one lamp as it is seen.

    Parameters
    ----------
    unit : str
        Controller, interface (or rack and letter), repeater or panel that carries it.
    name : str
        Word beside it, such as "ACTIVE".
    colour : str
        "green", "white", "yellow", "red", or "off".
    shape : str
        "bar", "ring", "broken ring", "triangle", "square", "dot" or "cross".
    text : str
        What it says, in words.

    >>> Lamp("KF1", "ACTIVE", True, False, "green", "bar", "leads").lit
    True
    """

    unit: str
    name: str
    lit: bool
    flashing: bool
    colour: str
    shape: str
    text: str


def _lamp(unit: str, name: str, lit: bool, colour: str, shape: str, on: str, off: str,
          *, flashing: bool = False) -> Lamp:
    return Lamp(unit, name, lit, lit and flashing, colour if lit else "off", shape,
                on if lit else off)


def lamps_of(snapshot: Snapshot) -> tuple[Lamp, ...]:
    """Return every lamp of the plant.

    Parameters
    ----------
    snapshot : Snapshot

    Returns
    -------
    tuple of Lamp
        Unit by unit: controllers, links of the racks, repeaters, panels.

    Examples
    --------
    >>> from labkit import Switchover, load_plant
    >>> lamps = lamps_of(Switchover(load_plant()).snapshot())
    >>> [(lamp.unit, lamp.name) for lamp in lamps if lamp.lit][:3]
    [('KF1', 'SUPPLY'), ('KF1', 'ACTIVE'), ('KF2', 'SUPPLY')]
    """
    instance("snapshot", snapshot, Snapshot)
    return (*_controllers(snapshot), *_links(snapshot), *_repeaters(snapshot), *_panels(snapshot))


def _controllers(snapshot: Snapshot) -> Iterator[Lamp]:
    # A controller that has no partner has no lamp that speaks of one.
    pairwise = () if len(snapshot.roles) > 1 else ("READY", "ALONE")
    for unit in snapshot.roles:
        yield from (lamp for lamp in _controller(snapshot, unit) if lamp.name not in pairwise)


def _controller(snapshot: Snapshot, unit: str) -> Iterator[Lamp]:
    role = snapshot.roles[unit]
    if role is Role.OFF:
        for name, shape in (("SUPPLY", "dot"), ("ACTIVE", "bar"), ("READY", "ring"),
                            ("LOADING", "broken ring"), ("ALONE", "triangle"),
                            ("FAILED", "square")):
            yield _lamp(unit, name, False, "off", shape, "", "dark, no supply")
        return
    deaf = unit in snapshot.silent
    yield _lamp(unit, "SUPPLY", True, "green", "dot", "on", "")
    yield _lamp(unit, "ACTIVE", role is Role.ACTIVE, "green", "bar", "leads", "does not lead")
    yield _lamp(unit, "READY", role is Role.STANDBY, "white", "ring",
                "hears nothing, old data" if deaf else "standby, ready", "not standby",
                flashing=deaf)
    share = snapshot.loading.get(unit, 0.0)
    yield _lamp(unit, "LOADING", role is Role.LOADING, "white", "broken ring",
                f"{100 * share:.0f} % copied" if share else "waits or listens",
                "not loading", flashing=True)
    yield _lamp(unit, "ALONE", snapshot.alone and role is Role.ACTIVE, "yellow", "triangle",
                "no ready standby", "not alone")
    yield _lamp(unit, "FAILED", unit in snapshot.failed, "red", "square",
                "stopped by a fault", "no fault found")


def _links(snapshot: Snapshot) -> Iterator[Lamp]:
    ends = Counter(snapshot.link_units.values())
    for (rack, controller), unit in snapshot.link_units.items():
        passes = snapshot.links[rack, controller]
        # one interface of both units says whose link it is
        whose = f" from {controller}" if ends[unit] > 1 else ""
        yield Lamp(unit, "LINK", True, False, *(("green", "dot", f"data pass{whose}") if passes else
                                                ("yellow", "cross", f"no data{whose}")))
        fight = rack in snapshot.writes_fight
        yield _lamp(unit, "WRITER", fight or snapshot.writers[rack] == controller, "white", "bar",
                    "two by turns" if fight else f"{controller} writes", "no writes from here",
                    flashing=fight)


def _repeaters(snapshot: Snapshot) -> Iterator[Lamp]:
    for unit, sides in snapshot.repeaters.items():
        supply = unit in snapshot.supplied
        for side, ok in zip(("NEAR", "FAR"), sides, strict=True):
            yield _lamp(unit, f"SUPPLY {side}", supply, "green", "dot", "on", "dark, no supply")
            if supply:
                yield Lamp(unit, f"FRAMES {side}", True, False, "green" if ok else "yellow",
                           "dot" if ok else "cross", "counts" if ok else "errors or none")
            else:
                yield _lamp(unit, f"FRAMES {side}", False, "off", "dot", "", "dark, no supply")


def _panels(snapshot: Snapshot) -> Iterator[Lamp]:
    for unit, state in snapshot.panels.items():
        if state == "dark":
            for name, shape in (("DATA", "dot"), *((each, "bar") for each in snapshot.roles),
                                ("PLANT", "bar")):
                yield _lamp(unit, name, False, "off", shape, "",
                            "lamp dark" if name in snapshot.roles else "dark")
            continue
        sees = state == "sees"
        yield Lamp(unit, "DATA", True, False, "green" if sees else "yellow",
                   "dot" if sees else "cross", "come in" if sees else "no data")
        dead = unit in snapshot.lamps_dark
        for controller, role in snapshot.roles.items():
            leads = sees and role is Role.ACTIVE
            # the dead lamp is the first of the row that ought to be lit
            # "KF2 dark" would read as if the controller were
            yield _lamp(unit, controller, leads and not dead, "green", "bar", "leads", "lamp dark")
            dead = dead and not leads
        yield _plant_lamp(unit, snapshot) if sees else _lamp(
            unit, "PLANT", False, "off", "bar", "", "dark")


def _plant_lamp(unit: str, snapshot: Snapshot) -> Lamp:
    if not snapshot.leaders or snapshot.writes_fight or any(
            state is Outputs.FAIL_STATE for state in snapshot.outputs.values()):
        return Lamp(unit, "PLANT", True, False, "red", "square", "control lost")
    if snapshot.redundancy_lost:
        return Lamp(unit, "PLANT", True, False, "yellow", "triangle", "no redundancy left")
    return Lamp(unit, "PLANT", True, False, "green", "bar", "normal")
