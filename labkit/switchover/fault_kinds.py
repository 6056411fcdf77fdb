"""Every fault that can be switched on: one table of kinds, and the faults of a plant made from it.

A row of `KINDS` holds all that is known of a kind of fault: what it breaks, what is seen, what
checks show of it, its causes, how often it comes, how it is put right. Nothing else has to be
touched for a new kind. The faults of a plant follow from its file: each part has the kinds of its
group, and so has each event that breaks several parts at once. All of it is common practice, put
into data; nothing here knows how the pair answers.

How a kind acts is its *mode*, one of `MODES`; only the models of pair and process know the modes
apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from labkit.plant.plant import Plant

__all__ = ["BRANCHES", "DIP_MS", "GROUPS", "KINDS", "MODES", "REPAIRS", "SHORT_HOLD_MS", "Fault",
           "FaultKind", "faults_of"]

DIP_MS = 100
SHORT_HOLD_MS = 200
SHUT_OFF_VALVE = "QM1"
SELDOM_PER_YEAR = 0.01


class Mode(NamedTuple):
    """Say how a fault acts, whether its part then does its work, whether it passes by itself."""

    words: str
    breaks: bool = False
    passes: bool = False


MODES: Mapping[str, Mode] = MappingProxyType({
    "broken": Mode("the parts are dead, and that can be seen", breaks=True),
    "silent": Mode("an interface takes no writes any more, while its lamp stays as it was",
                   breaks=True),
    "no power": Mode("a controller without supply", breaks=True),
    "stopped": Mode("its program is stopped by hand; it announces this", breaks=True),
    "own fault": Mode("it stops because of a fault that it found itself; it announces this",
                      breaks=True),
    "frozen": Mode("its program stands still, its heartbeat goes on", breaks=True),
    "restart": Mode("its program is stopped and started again at once", passes=True),
    "voltage dip": Mode("a feed is gone for `DIP_MS`, then back", passes=True),
    "noise": Mode("beats on a sync cable are lost one by one"),
    "bursts": Mode("beats on a sync cable are lost in bursts"),
    "frame errors": Mode("a bus still works, with many frames repeated"),
    "lamp dark": Mode("one lamp in the row of a panel is dead"),
    "stuck": Mode("a sensor's reading stands still", breaks=True),
    "not tracking": Mode("a controller's integrator does not follow the written output"),
    "program differs": Mode("the program of one unit is not that of the other"),
    "shut locally": Mode("a shut-off valve is shut at its local switch"),
    "short hold": Mode("racks keep their outputs for `SHORT_HOLD_MS` only"),
    "one beat": Mode("one missed beat is enough to count as silent"),
    "racks not asked": Mode("the controllers do not read the writer's marks"),
    "planned test": Mode("somebody changes the roles by hand: no fault at all", passes=True),
})

BRANCHES = ("sense", "decide", "carry", "act", "show", "feed with power", "set by people")
"""The branches of the function tree, and what people set."""

REPAIRS = RESTORE, MEND, CHANGE, START, LOAD, WIRES, SETTING, SWITCH, LAMP = (
    "restore the supply", "mend cable, plug or shield", "change or restart the part",
    "start the program", "load the right program", "put wires or terminators right",
    "put the setting right", "set the local switch back", "change the lamp",
)
"""What can be done to put a fault right, in a few words each."""

GROUPS = ("controller", "pair controller", "sync", "link", "bus", "interface", "rack", "supply",
          "repeater", "panel", "sensor", "other", "shared cables", "shared parts", "process",
          "settings of the racks", "settings of the pair", "by hand")
"""What can have faults: parts, events that break several of them, settings, acts of people."""

UNCOVERED = "nothing is broken, and nothing covers what is set or left wrong"
PARTNER = "the partner, until it has loaded again"
REPEATED = "repeated frames and missed beats allowed for, until there are too many"


@dataclass(frozen=True, eq=False)
class FaultKind:
    """Hold all that is known of one kind of fault.

    Shares, frequencies and chances are invented, within common practice.

    Parameters
    ----------
    of : str
        What has it, one of `GROUPS`. The first kind of a group is how its parts fail outright.
    how : str
        How that fails, in a word or two.
    mode : str
        How it acts, one of `MODES`.
    seen, put_right : str
        What can be seen of it, what puts it right: sentences.
    here, cause : str
        Its effect at its own place and what brings it about, for the failure-mode table.
    action : str
        What to do once it is noticed, where that is more or less than a repair.
    covers : str
        What keeps the plant going meanwhile; for kinds that break nothing.
    branch : str
        Where the function stops, one of `BRANCHES`; empty where no function of the pair stops.
    repair : str
        What puts it right in a drill, best one of `REPAIRS`; empty where it is no fault at all.
    share : float or None
        Weight among the failures of a part, > 0. None: it comes beside these failures.
    per_year : float
        How often it comes in a year where it has no share.
    by_people : bool
        Whether it is what people do or leave, and no failure of the part.
    provoke : str
        How a test brings it about, with `{part}` or `{unit}`.
    alarm : str
        What stands in the alarm list because of it, with `{unit}`.
    shows : mapping of str to (str, float)
        By kind of check what that shows of it, in words, and how often it is found, 0 to 1. Words
        are empty where a drill has none.
    line : mapping of str to float
        State in which a meter finds a bus line, of `labkit.rig.bus.line_states`, and how often.
    label : str
        What stands on its switch; default: the part and `how`.

    Raises
    ------
    ValueError
        If a word is not one of its list.
    """

    of: str
    how: str
    mode: str
    seen: str
    put_right: str
    here: str
    cause: str
    action: str = ""
    covers: str = UNCOVERED
    branch: str = ""
    repair: str = ""
    share: float | None = None
    per_year: float = SELDOM_PER_YEAR
    by_people: bool = False
    provoke: str = ""
    alarm: str = ""
    shows: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    line: Mapping[str, float] = field(default_factory=dict)
    label: str = ""

    def __post_init__(self) -> None:
        for name, known in (("of", GROUPS), ("mode", MODES), ("branch", ("", *BRANCHES))):
            if getattr(self, name) not in known:
                raise ValueError(f"{name} must be one of {', '.join(filter(None, known))}, "
                                 f"got {getattr(self, name)!r}")
        if self.share is not None and not self.share > 0:
            raise ValueError(f"share must be > 0 or None, got {self.share!r}")


@dataclass(frozen=True)
class Fault:
    """Hold one fault that can be switched on: a kind of fault at a part, an event or a setting.

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> fault = faults_of(load_plant())["WF9: cut"]
    >>> fault.label, fault.kind.repair
    ('WF9 sync cable: cut', 'mend cable, plug or shield')
    """

    unit: str
    label: str
    place: str
    breaks: frozenset[str]
    kind: FaultKind

    @property
    def id(self) -> str:
        """Designation and how it fails, such as "KF1: no power"."""
        return f"{self.unit}: {self.kind.how}"

    @property
    def how(self) -> str:
        """How it fails, in a word or two."""
        return self.kind.how

    @property
    def mode(self) -> str:
        """How it acts; one of `MODES`."""
        return self.kind.mode

    @property
    def seen(self) -> str:
        """What can be seen of it."""
        return self.kind.seen.format(parts=", ".join(sorted(self.breaks)))

    @property
    def put_right(self) -> str:
        """What puts it right."""
        return self.kind.put_right

    def is_at(self, name: str) -> bool:
        """Return whether it is a fault of this part, or breaks it together with others."""
        return name == self.unit or name in self.breaks

    def said_in(self, check: str) -> str:
        """Return what a kind of check shows of it, in words; empty for nothing."""
        return self.kind.shows.get(check, ("", 0.0))[0].format(unit=self.unit)


_NO_SUPPLY = {"24 V": ("0.0 V", 0.98)}
_CUT = {
    "how": "cut", "mode": "broken", "here": "the line carries nothing",
    "cause": "loose or wrong plug, cable damaged", "branch": "carry", "repair": MEND,
    "provoke": "Pull the plug of {part}.",
}
_OPEN = ("open", 0.95)
_SHIELD = ("shield off at one end", 0.3)
_SILENT_BUS = ("no good frames", 1.0)
_POOR_BUS = ("some 40 errors a minute", 1.0)
_OPEN_LINE = "open line or a terminator missing"
_DEAD = {
    "how": "dead", "mode": "broken", "here": "it does not do its work",
    "cause": "wear, water, heat, overvoltage",
}
_NO_READING = "{unit} gives no good reading or does not run"
_WRONG = {
    "by_people": True, "branch": "set by people", "repair": SETTING, "per_year": 0.05,
    "cause": "wrong setting",
}
_VISITOR = ("last week: settings looked through by a visitor", 0.5)

KINDS: tuple[FaultKind, ...] = (
    FaultKind(
        "controller", "no power", "no power",
        "All lamps of the unit are dark; its links carry nothing; the partner leads.",
        "Find out why the supply is gone, restore it, wait for the self test and the loading.",
        here="the unit is dark and its links carry nothing", cause="fuse, terminal, wrong switch",
        branch="feed with power", repair=RESTORE, share=0.30, shows=_NO_SUPPLY,
        provoke="Switch off the supply of {unit} at its own fuse."),
    FaultKind(
        "controller", "stopped", "stopped",
        "No role lamp is lit, the unit has supply; the partner leads.",
        "Start the program again, wait for the loading.",
        here="its program does not run; supply and links stay", cause="left stopped after work",
        action="start it, sign the return to normal", branch="decide", repair=START,
        by_people=True, per_year=0.2, provoke="Stop the program of {unit} by hand.",
        shows={"cycles": ("stands, program stopped by hand", 1.0),
               "book": ("permit: fan filter of the cabinet of {unit}, signed off; start not "
                        "entered", 0.8)}),
    FaultKind(
        "controller", "own fault", "own fault",
        "FAILED is lit; the unit has stopped itself; the partner leads.",
        "Read its diagnosis, change the unit or clear the fault, start it, wait for the loading.",
        here="it stops itself and shows FAILED", cause="memory, watchdog, module of the unit",
        branch="decide", repair=CHANGE, share=0.50),
    FaultKind(
        "controller", "frozen", "frozen",
        "Lamps stay as they were; if it leads, outputs go to their fail state. A frozen standby "
        "shows nothing.",
        "Take the unit out by hand, restart it, ask why its own watchdog did not see it.",
        here="its program stands still, its heartbeat goes on", cause="program error, overload",
        branch="decide", repair=CHANGE, share=0.05, shows={"cycles": ("stands still", 1.0)}),
    FaultKind(
        "pair controller", "restarted", "restart",
        "LOADING flashes until the whole state is copied; until then no role change is accepted.",
        "Nothing to put right: wait until it is ready.",
        here="it starts again and has to copy the whole state", cause="supply dip, watchdog",
        action="find out why it restarted", covers=PARTNER, share=0.15,
        shows={"book": ("maintenance: {unit} restarted on purpose tonight", 0.05)}),
    FaultKind(
        "pair controller", "program differs", "program differs",
        "The unit stays at LOADING, 0 %; an alarm says that the programs differ.",
        "Compare versions, load the right program into the unit, wait for the loading.",
        here="loading is refused", cause="program changed in one unit only",
        action="load the approved program", covers="the active unit alone, until it fails",
        branch="decide", repair=LOAD, by_people=True, per_year=0.1,
        shows={"versions": ("7.3", 0.99),
               "book": ("yesterday: a change of the program, loaded once", 0.7)}),
    FaultKind(
        "pair controller", "integrator not tracking", "not tracking",
        "Nothing, until the unit takes over: then the valve jumps.",
        "Correct the tracking in the program, test with a planned role change.",
        here="its loop does not follow the written output", cause="program: tracking left out",
        branch="decide", repair=LOAD, by_people=True, per_year=0.1,
        shows={"versions": ("7.2, block of the level loop edited", 0.01), "book": ("", 0.5)}),
    FaultKind(
        "sync", **_CUT, share=0.70, shows={"plugs": _OPEN, "counters": ("no frames", 1.0)},
        seen="Both units report a silent sync cable; the writer's marks are fresh, the standby "
             "stays.",
        put_right="Check plugs first, then the cable; afterwards wait for the loading."),
    FaultKind(
        "sync", "noise", "noise",
        "Frames with errors; now and then beats are missed and heard again.",
        "Check shield, plugs, route beside power cables; count errors before and after.",
        here="frames are lost one by one", cause="shield, plug, route beside power cables",
        action="find the source", covers=REPEATED, branch="carry", repair=MEND, share=0.20,
        shows={"plugs": _SHIELD, "counters": ("some 300 errors a minute, steady", 1.0)}),
    FaultKind(
        "sync", "bursts", "bursts",
        "Beats are missed in bursts and heard again, as when somebody welds nearby.",
        "Find the source by its times; separate the routes, check shields.",
        here="frames are lost in bursts", cause="welding, switching nearby",
        action="find the source", covers=REPEATED, branch="carry", repair=MEND, share=0.10,
        shows={"plugs": _SHIELD, "counters": ("none, then hundreds within a second", 1.0)}),
    FaultKind(
        "link", **_CUT, share=1.0, shows={"plugs": _OPEN},
        seen="LINK of this interface is a yellow cross; the unit that reaches more racks leads.",
        put_right="Check plugs at both ends first, then measure the cable."),
    FaultKind(
        "bus", **_CUT, share=0.60,
        shows={"plugs": _OPEN, "counters": _SILENT_BUS},
        line={_OPEN_LINE: 0.80, "short, or no bias": 0.20},
        seen="The panel sees nothing; one side of the repeater counts no frames; control goes on.",
        put_right="Split at the repeater, test each half with its own terminator."),
    FaultKind(
        "bus", "terminator missing", "frame errors",
        "Frames with errors on this segment; with supplies off, 120 ohm and the copper instead of "
        "60 ohm and the copper between the wires.",
        "Fit the terminator at the end of the segment; measure again.",
        here="echoes on the line; frames are repeated", cause="left out after work",
        action="fit it, measure", covers=REPEATED, branch="carry", repair=WIRES, share=0.20,
        by_people=True, line={_OPEN_LINE: 1.0},
        shows={"counters": _POOR_BUS, "book": ("", 0.3)}),
    FaultKind(
        "bus", "third terminator", "frame errors",
        "Frames with errors on this segment; with supplies off about 40 ohm between the wires.",
        "Find the terminator too many, often a switch inside a device, and take it out.",
        here="the signal is too weak; frames are repeated",
        cause="switch inside a device left on", action="take it out, measure", covers=REPEATED,
        branch="carry", repair=WIRES, share=0.05, by_people=True,
        line={"one terminator too many": 1.0},
        shows={"counters": _POOR_BUS,
               "book": ("yesterday: work at the panel bus, signed off", 0.6)}),
    FaultKind(
        "bus", "A and B swapped", "broken",
        "Silence behind the place of the last repair, though nothing is cut.",
        "Swap the two wires back; compare with the drawing.",
        here="nothing is understood behind that place", cause="swapped after a repair",
        action="swap back, measure", branch="carry", repair=WIRES, share=0.15, by_people=True,
        line={"A and B swapped": 1.0},
        shows={"counters": _SILENT_BUS,
               "plugs": ("wires crossed against the drawing", 0.05),
               "book": ("yesterday: work at the panel bus, signed off", 0.6)}),
    FaultKind(
        "interface", **_DEAD, branch="carry", repair=CHANGE, share=0.90, alarm=_NO_READING,
        seen="LINK of this interface is a yellow cross.",
        put_right="Check supply and plugs, then change the interface.",
        shows={"racks": ("shows its own fault", 1.0)}),
    FaultKind(
        "interface", "dead and silent", "silent",
        "Nothing, while its controller stands by: LINK stays green. Only a test finds it.",
        "Change the interface; test the link by a planned role change.",
        here="it takes no writes; its lamp stays green", cause="fault of its output side",
        branch="carry", repair=CHANGE, share=0.10),
    FaultKind(
        "rack", "module fault", "broken",
        "LINK of all interfaces of the rack is a yellow cross; its outputs are off.",
        "Change the module, check the outputs, start what they drive.",
        here="its outputs are off, its links dead", cause="backplane, module, moisture",
        branch="act", repair=CHANGE, share=1.0, shows={"racks": ("module fault shown", 1.0)}),
    FaultKind(
        "supply", "off", "broken",
        "All that it feeds is dark.",
        "Find the cause, restore the supply, wait for self tests and loading.",
        here="what it feeds has no supply from here", cause="fuse, battery, wear, wrong switch",
        branch="feed with power", repair=RESTORE, share=0.70, shows=_NO_SUPPLY,
        provoke="Switch off {part}; one by one each fuse behind it."),
    FaultKind(
        "supply", "voltage dip", "voltage dip",
        "What it feeds restarts; the times in the record say when.",
        "Measure load and battery; look for what drew the current.",
        here="what it feeds restarts", cause="overload, worn battery, dip of the public supply",
        action="measure load and battery", covers=PARTNER, branch="feed with power",
        repair=RESTORE, share=0.30,
        shows={"lowest voltage": ("lowest since midnight 14.9 V", 1.0)}),
    FaultKind(
        "repeater", "no power", "broken",
        "SUPPLY is dark on both sides; the panel sees nothing; control goes on.",
        "Restore its supply; control needs nothing done.",
        here="the unit is dark and its links carry nothing", cause="fuse, terminal, wrong switch",
        branch="feed with power", repair=RESTORE, share=1.0, shows=_NO_SUPPLY,
        provoke="Switch off {part}."),
    FaultKind(
        "panel", "dark", "broken",
        "The panel is dark; lamps at the controllers are as ever; control goes on.",
        "Check its supply, then change it; look at the controllers' own lamps meanwhile.",
        here="it shows nothing", cause="its supply, display, plug", branch="show", repair=CHANGE,
        share=0.80, provoke="Switch off {part}.",
        shows={"lamp test": ("all lamps stay dark", 0.99)}),
    FaultKind(
        "panel", "lamp dark", "lamp dark",
        "One lamp of the row is dark that should be lit; all the rest agrees with normal running.",
        "Lamp test, then change the lamp. Dark does not mean that nothing is wrong.",
        here="one lamp that should be lit is dark", cause="lamp worn", action="change the lamp",
        branch="show", repair=LAMP, share=0.20,
        shows={"lamp test": ("one lamp of the row stays dark", 0.99)}),
    FaultKind(
        "sensor", **_DEAD, branch="sense", repair=CHANGE, share=0.50, alarm=_NO_READING,
        seen="An alarm for the reading; what it is needed for is lost.",
        put_right="Check supply and wires, change the sensor.",
        shows={"second reading": ("gives no good reading", 0.95),
               "racks": ("shows its own fault", 1.0)}),
    FaultKind(
        "sensor", "stuck", "stuck",
        "A reading that does not move any more, while the process does.",
        "Compare with a second reading, clean or change the sensor.",
        here="its reading stands still", cause="fouling, frozen line, electronics",
        branch="sense", repair=CHANGE, share=0.50, shows={"second reading": ("stands", 0.95)}),
    # The machines of the plant: no function of the pair stops with one of them.
    FaultKind(
        "other", **_DEAD, share=1.0, alarm=_NO_READING, seen="It does not do its work.",
        put_right="Find the cause, repair it.", shows={"racks": ("shows its own fault", 1.0)}),
    FaultKind(
        "shared cables", **{**_CUT, "provoke": ""}, share=1.0, shows={"plugs": _OPEN},
        seen="All of {parts} fail at once.",
        put_right="Restore all of them; ask why they share a route."),
    FaultKind(
        "shared parts", "lost", "broken",
        "All of {parts} fail at once.", "Restore all of them; ask why they share a route.",
        here="all of these fail at once", cause="fire, water, digging", branch="carry",
        repair=CHANGE, share=1.0),
    FaultKind(
        "process", "shut locally", "shut locally",
        "The tank fills although all lamps of the pair are as ever.",
        "Put the local switch back to remote; ask who shut it and why.",
        here="the valve is shut and does not follow", cause="local switch left after work",
        branch="act", repair=SWITCH, by_people=True, per_year=0.3,
        shows={"local switch": ("local, shut", 0.99),
               "book": ("yesterday: cleaning on the roof, signed off", 0.5)}),
    FaultKind(
        "settings of the racks", "hold time too short", "short hold",
        "Nothing, until a switchover lasts longer than the hold time: outputs drop.",
        "Set the hold time above 1.5 times the longest switchover, and test it.",
        here="outputs drop in a switchover", **_WRONG,
        label=f"hold time of the racks: {SHORT_HOLD_MS} ms only",
        shows={"settings": (f"hold time {SHORT_HOLD_MS} ms, sheet 500 ms", 1.0), "book": _VISITOR}),
    FaultKind(
        "settings of the pair", "one missed beat", "one beat",
        "Nothing on a clean cable; with noise the partner is often taken for silent.",
        "Set the number of missed beats by the losses and the time budget.",
        here="a living partner is taken for silent", **_WRONG,
        label="heartbeat: one missed beat is enough",
        shows={"settings": ("missed beats 1, sheet 3", 1.0), "book": _VISITOR}),
    FaultKind(
        "settings of the pair", "racks not asked", "racks not asked",
        "Nothing, until the sync cable fails: then both units lead.",
        "Let the standby ask the racks before it takes over.",
        here="both units lead when the sync cable fails", **_WRONG,
        label="takeover: racks are not asked",
        shows={"settings": ("racks asked before a takeover: no, sheet yes", 1.0),
               "book": _VISITOR}),
    FaultKind(
        "by hand", "role change", "planned test",
        "The roles change without a fault, as announced; or the change is refused.",
        "Nothing to put right: write down time and result.",
        here="the roles change although nothing is wrong", cause="planned, or by mistake",
        action="announce it and enter it", covers="both units are whole", by_people=True,
        per_year=1.0, provoke="Ask for a switchover by hand.",
        label="planned test: roles changed by hand",
        shows={"book": ("test: switchover by hand tonight, entered and signed", 0.97)}),
)

PASSES_SIGNALS = frozenset({"repeater", "switch"})


def _groups(plant: Plant, part, links: frozenset[str]) -> tuple[str, ...]:
    """Return the groups of faults that a part has."""
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
    return {fault.id: fault for fault in _all(plant, KINDS)}


@lru_cache(maxsize=16)
def _all(plant: Plant, kinds: tuple[FaultKind, ...]) -> tuple[Fault, ...]:
    return tuple(
        Fault(unit, kind.label or f"{words}: {kind.how}", place,
              frozenset(parts) if MODES[kind.mode].breaks else frozenset(), kind)
        for groups, unit, words, place, parts in _bearers(plant)
        for kind in kinds if kind.of in groups)


def _bearers(plant: Plant) -> Iterator[tuple[tuple[str, ...], str, str, str, tuple[str, ...]]]:
    """Yield what can have faults: its groups, name, name in words, place, and its parts."""
    links = frozenset(name for unit in plant.controllers for rack in plant.racks
                      for way in plant.ways(unit, rack) for name in way)
    for name, part in plant.parts.items():
        yield (_groups(plant, part, links), name, f"{name} {part.what.partition(':')[0]}",
               part.place, (name,))
    for event in plant.shared_events.values():
        cables = all(plant.parts[name].kind == "cable" for name in event.breaks)
        yield (("shared cables" if cables else "shared parts",), event.name,
               f"{event.name} {event.what.partition(':')[0]}", event.place, event.breaks)
    if plant.process:
        sensors = [part.place for part in plant.parts.values() if part.kind == "sensor"]
        yield (("process",), SHUT_OFF_VALVE, f"{SHUT_OFF_VALVE} shut-off valve",
               next(filter(None, sensors), "at the tank"), ())
    wanted = (("settings of the racks", "settings", plant.racks),
              ("settings of the pair", "settings", plant.pair), ("by hand", "test", plant.pair))
    for place, unit, there in wanted:
        if there:
            yield (place,), unit, place, place, ()
