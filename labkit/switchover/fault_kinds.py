"""Every fault that can be switched on: one table of kinds, and the faults of a plant made from it.

A row of fault_kinds.toml holds all that is known of a kind of fault: what it breaks, what is seen,
what checks show of it, its causes, how often it comes, how it is put right and by whom. Nothing
else has to be touched for a new kind. The faults of a plant follow from its file: each part has the
kinds of its group, and so has each event that breaks several parts at once. All of it is common
practice, put into data; nothing here knows how the pair answers.

How a kind acts is its *mode*, one of `MODES`; only the models of pair and process know the modes
apart.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from labkit.arguments import instance
from labkit.plant.plant import Plant
from labkit.reading import read_table

DIP_MS = 100
SHORT_HOLD_MS = 200
SHUT_OFF_VALVE = "QM1"
SELDOM_PER_YEAR = 0.01


class Mode(NamedTuple):
    """Say how a fault acts, whether its part then does its work, whether it passes by itself."""

    words: str
    breaks: bool = False
    passes: bool = False


_TABLE = read_table(__file__)
MODES: Mapping[str, Mode] = MappingProxyType(
    {name: Mode(**row) for name, row in _TABLE["mode"].items()})
GROUPS, BRANCHES, REPAIRS, WHO = (_TABLE[name] for name in ("groups", "branches", "repairs", "who"))

UNCOVERED = "nothing is broken, and nothing covers what is set or left wrong"


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
    waits_for : str
        What must come first for it to show: a battery is missed at a dip, and not before.
    branch : str
        Where the function stops, one of `BRANCHES`; empty where no function of the pair stops.
    repair : str
        What puts it right in a drill, best one of `REPAIRS`; empty where it is no fault at all.
    who : str
        Who may put it right, one of `WHO`.
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
    single : mapping of str to str
        The words, by their name here, that read otherwise where there is no pair.
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
    waits_for: str = ""
    branch: str = ""
    repair: str = ""
    who: str = "skilled person"
    share: float | None = None
    per_year: float = SELDOM_PER_YEAR
    by_people: bool = False
    provoke: str = ""
    alarm: str = ""
    shows: Mapping[str, tuple[str, float]] = field(default_factory=dict)
    line: Mapping[str, float] = field(default_factory=dict)
    label: str = ""
    single: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Fault:
    """Hold one fault that can be switched on: a kind of fault at a part, an event or a setting.

    >>> from labkit import load_plant
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

    @property
    def who_may(self) -> str:
        """Who may put it right, as a sentence."""
        return f"Who may do it: {self.kind.who}."

    def is_at(self, name: str) -> bool:
        """Return whether it is a fault of this part, or breaks it together with others."""
        return name == self.unit or name in self.breaks

    def said_in(self, check: str) -> str:
        """Return what a kind of check shows of it, in words; empty for nothing."""
        return self.kind.shows[check][0].format(unit=self.unit) if check in self.kind.shows else ""


KINDS: tuple[FaultKind, ...] = tuple(FaultKind(**row) for row in _TABLE["kind"])

GROUPS_OF = MappingProxyType({
    "repeater": ("repeater",), "switch": ("repeater",), "ups": ("supply", "ups"),
    "voter": ("third voter",),
    **{kind: (kind,) for kind in ("interface", "rack", "supply", "panel", "sensor")}})
"""The groups of faults of a part by its kind, where the kind alone decides."""


def _groups(plant: Plant, part, links: frozenset[str]) -> tuple[str, ...]:
    """Return the groups of faults that a part has; what other controllers lead works or does not."""
    kind = part.kind
    if part.designation in plant.beside_the_pair:
        return ("other",)
    if kind == "controller":
        if plant.pair is not None and part.designation in plant.pair.units:
            return ("controller", "pair controller")
        return ("controller",) if part.designation in plant.controllers else ("other",)
    if kind == "cable":
        if plant.pair is not None and part.designation in plant.pair.sync:
            return ("sync",)
        return ("link",) if part.designation in links else ("bus",)
    return GROUPS_OF.get(kind, ("other",))


def voter_of(plant: Plant) -> str:
    """Return the name of the third voter of a plant, whether it is a part of it or not."""
    return next((name for name, part in plant.parts.items() if part.kind == "voter"),
                "third voter")


def faults_of(plant: Plant, *, third_vote: bool = False) -> dict[str, Fault]:
    """Return every fault that can be switched on at a plant.

    Parameters
    ----------
    plant : Plant
    third_vote : bool
        Whether its pair has a third voter; where that is no part of the plant, it can be lost too.

    Returns
    -------
    dict of str to Fault
        By id, in the order of the plant file; events that break several parts, and faults of
        settings and people, at the end.

    Examples
    --------
    >>> from labkit import load_plant
    >>> faults = faults_of(load_plant())
    >>> faults["WF1+WF2: cut"].breaks == {"WF1.10", "WF2.10"}
    True
    """
    instance("plant", plant, Plant)
    instance("third_vote", third_vote, bool)
    return {fault.id: fault for fault in _all(plant, KINDS, third_vote)}


@lru_cache(maxsize=16)
def _all(plant: Plant, kinds: tuple[FaultKind, ...], third_vote: bool) -> tuple[Fault, ...]:
    return tuple(
        Fault(unit, kind.label or f"{words}: {kind.how}", place,
              frozenset(parts) if MODES[kind.mode].breaks else frozenset(),
              kind if plant.pair else replace(kind, **kind.single))
        for groups, unit, words, place, parts in _bearers(plant, third_vote)
        for kind in _of_the_file(plant, unit, kinds) or kinds if kind.of in groups)


def _of_the_file(plant: Plant, unit: str, kinds: tuple[FaultKind, ...]) -> tuple[FaultKind, ...]:
    """Return the kinds of fault that the plant file gives a part in its own words."""
    part = plant.parts.get(unit)
    if part is None:
        return ()
    usual = next(kind for kind in kinds if kind.of == "other")
    if part.kind == "mains" and not plant.modes_of(unit):
        return _cuts(plant, part, replace(
            usual, how="cut", alarm="{unit} has no voltage", here="nothing comes from it", cause="weather, digger, switching upstream",
            seen="All that hangs on it is dark.", put_right="Wait, and ask when it comes back.",
            action="a second feed, a generator set or a battery, tried under load"))
    return tuple(
        replace(usual, how=mode.how, share=mode.share, here=mode.how, seen=mode.seen or usual.seen,
                cause=mode.cause or usual.cause, put_right=mode.put_right or usual.put_right)
        for mode in plant.modes_of(unit))


def _cuts(plant: Plant, part, cut: FaultKind) -> tuple[FaultKind, ...]:
    """Return the cuts of the mains: those that every battery behind them carries, and the longer."""
    carried_h = plant.carried_h(part.designation)
    longer = part.share_longer(carried_h)
    if not carried_h or not longer:
        return (cut,)
    return (replace(cut, how=f"cut longer than {carried_h:g} h", share=longer),
            replace(cut, how=f"cut up to {carried_h:g} h", share=1.0 - longer, mode="voltage dip",
                    here="the batteries carry what it feeds", seen="A battery feeds the control."))


def _bearers(
    plant: Plant, third_vote: bool
) -> Iterator[tuple[tuple[str, ...], str, str, str, tuple[str, ...]]]:
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
    voter = voter_of(plant)
    if third_vote and plant.pair and voter not in plant.parts:
        yield ("third voter",), voter, voter, "in a room of its own", ()
    if plant.pair:
        for place, unit in (("settings of the racks", "settings"),
                            ("settings of the pair", "settings"), ("by hand", "test")):
            yield (place,), unit, place, place, ()
