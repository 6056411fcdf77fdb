"""What faults leave of feeds, ways and buses: the state of the wires, without any time.

A part is alive when it is whole and, if it has feeds, at least one of them is alive; that is the
judgement of `labkit.plant.plant`. Signals pass through cables, interfaces, repeaters and switches.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from labkit.plant.plant import Plant
from labkit.plant.wired_parts import PASSES
from labkit.plant.wiring import ways
from labkit.switchover.fault_kinds import Fault, faults_of, voter_of


@dataclass(frozen=True)
class Damage:
    """Hold what a set of faults leaves.

    Parameters
    ----------
    powered : frozenset of str
        Controllers that have supply.
    passes : frozenset of (str, str)
        (rack, controller) pairs between which data pass, and the rack works.
    seen : frozenset of (str, str)
        The same as a standby sees it: what is dead and silent is not missed.
    racks : frozenset of str
        Racks that work.
    sync_ok, sync_quiet : bool
        Whether a sync cable is whole; whether one is whole and without noise.
    noise : str or None
        Mode of the noise on the sync cable.
    panels : frozenset of str
        Panels that are alive and reach a controller with supply.
    lit : frozenset of str
        Panels that are alive.
    repeaters : dict of str to (bool, bool)
        For each repeater: whether frames without errors come in from the controllers' side, from
        the panels' side.
    supplied : frozenset of str
        Repeaters with supply.
    frame_errors : tuple of str
        Cables whose frames have errors.
    dead : frozenset of str
        Parts that are not alive.
    voter : bool
        Whether the third voter, if there is one, is whole.
    on_battery : tuple of str
        Parts with a battery that have lost all that feeds them, in the order of the plant.

    >>> from labkit import faults_of, load_plant
    >>> plant = load_plant()
    >>> faults = faults_of(plant)
    >>> sorted(Wires(plant).damage([faults["TF1: no power"]]).panels)
    []
    """

    powered: frozenset[str]
    passes: frozenset[tuple[str, str]]
    seen: frozenset[tuple[str, str]]
    racks: frozenset[str]
    sync_ok: bool
    sync_quiet: bool
    noise: str | None
    panels: frozenset[str]
    lit: frozenset[str]
    repeaters: dict[str, tuple[bool, bool]]
    supplied: frozenset[str]
    frame_errors: tuple[str, ...]
    dead: frozenset[str]
    voter: bool
    on_battery: tuple[str, ...]


class Wires:
    """Judge what faults leave of the wires of one plant.

    Attributes
    ----------
    controllers, racks, panels, repeaters : tuple of str
        Designations; at most two controllers.
    link_units : dict of (str, str) to str
        (rack, controller): the interface of that link, or the rack and a letter.
    carriers : frozenset of str
        Parts of the shortest ways: where one is dead, it is told by what it does not carry.
    alarms : dict of str to str
        What stands in the alarm list where a part does not do its work, with `{unit}`.
    batteries : tuple of str
        Parts that carry on for a time without what feeds them.
    own_alarms : dict of str to str
        Those that the plant file gives: each tells of every failure of its part.

    >>> from labkit import load_plant
    >>> Wires(load_plant()).controllers
    ('KF1', 'KF2')
    """

    def __init__(self, plant: Plant):
        parts = plant.parts
        self._parts = parts
        self.controllers = plant.controllers if plant.pair else plant.controllers[:1]
        self.racks = plant.racks
        self.panels = tuple(name for name in parts if parts[name].kind == "panel")
        self.repeaters = tuple(name for name in parts if parts[name].kind == "repeater")
        self._sync = plant.pair.sync if plant.pair else ()
        self.own_alarms = {name: part.alarm for name, part in parts.items() if part.alarm}
        self.alarms = {fault.unit: fault.kind.alarm for fault in faults_of(plant).values()
                       if fault.kind.alarm and fault.unit in parts} | self.own_alarms
        self._voter = voter_of(plant)
        self.batteries = tuple(
            name for name, part in parts.items() if part.battery_h and part.fed_by)
        self._ways = {(rack, unit): plant.ways(unit, rack)
                      for unit in self.controllers for rack in self.racks}
        self.carriers = frozenset(
            name for found in self._ways.values() if found for name in found[0])

        def bus(name: str) -> bool:
            return parts[name].kind in PASSES

        def to(start: str, goals: Iterable[str]) -> tuple[tuple[str, ...], ...]:
            found = [(*way, goal) for goal in goals
                     for way in ways(start, goal, plant.neighbours, bus)]
            return tuple(found)

        self.link_units = {}
        for (rack, unit), found in self._ways.items():
            if found:
                interfaces = [name for name in found[0] if parts[name].kind == "interface"]
                letter = "AB"[self.controllers.index(unit)]
                self.link_units[rack, unit] = interfaces[-1] if interfaces else f"{rack} {letter}"
        self._panel_ways = {panel: to(panel, self.controllers) for panel in self.panels}
        self._sides = {name: (to(name, self.controllers), to(name, self.panels))
                       for name in self.repeaters}

    def way(self, rack: str, unit: str) -> tuple[str, ...]:
        """Return the parts of the shortest way from a controller to a rack; empty: there is none.

        >>> from labkit import load_plant
        >>> Wires(load_plant()).way("KF10", "KF2")
        ('WF2.10', 'KF10B')
        """
        found = self._ways[rack, unit]
        return found[0] if found else ()

    def damage(self, faults: Iterable[Fault], without: Iterable[str] = ()) -> Damage:
        """Return what faults leave.

        Parameters
        ----------
        without : iterable of str
            More parts that are dead for the moment.
        """
        faults = tuple(faults)
        unseen = {name for fault in faults if fault.mode == "silent" for name in fault.breaks}
        broken = {name for fault in faults if fault.mode == "broken" for name in fault.breaks}
        broken |= {fault.unit for fault in faults if fault.mode == "no power"}
        carrying = [name for name in self.batteries if name not in broken]
        broken |= set(without)
        memory: dict[str, bool] = {}

        def alive(name: str) -> bool:
            if name not in memory:
                feeds = self._parts[name].fed_at_once
                memory[name] = name not in broken and (not feeds or any(map(alive, feeds)))
            return memory[name]

        def carries(way: Iterable[str]) -> bool:
            return all(map(alive, way))

        racks = frozenset(filter(alive, self.racks))
        powered = frozenset(filter(alive, self.controllers))
        whole = {(rack, unit): list(filter(carries, found)) for (rack, unit), found
                 in self._ways.items() if rack in racks and unit in powered}
        noisy = {fault.unit: fault.mode for fault in faults if fault.mode in ("noise", "beat gaps")}
        sync = [name for name in self._sync if alive(name)]
        errors = {fault.unit for fault in faults if fault.mode == "frame errors"}

        def clear(found: tuple[tuple[str, ...], ...]) -> bool:
            return any(carries(way) and errors.isdisjoint(way) for way in found)

        return Damage(
            powered=powered,
            passes=frozenset(ends for ends, found in whole.items()
                             if any(map(unseen.isdisjoint, found))),
            seen=frozenset(ends for ends, found in whole.items() if found),
            racks=racks,
            sync_ok=bool(sync),
            sync_quiet=any(name not in noisy for name in sync),
            noise=next((noisy[name] for name in sync if name in noisy), None),
            panels=frozenset(panel for panel in self.panels
                             if alive(panel) and any(map(carries, self._panel_ways[panel]))),
            lit=frozenset(filter(alive, self.panels)),
            repeaters={name: (alive(name) and clear(near), alive(name) and clear(far))
                       for name, (near, far) in self._sides.items()},
            supplied=frozenset(filter(alive, self.repeaters)),
            frame_errors=tuple(sorted(errors)),
            dead=frozenset(name for name in self._parts if not alive(name)) | unseen,
            voter=alive(self._voter) if self._voter in self._parts else not any(
                fault.unit == self._voter for fault in faults),
            on_battery=tuple(name for name in carrying
                             if not any(map(alive, self._parts[name].fed_by))),
        )
