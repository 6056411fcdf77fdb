"""The words of the pair: roles, states of outputs, lines of the record, the state at one moment."""

from dataclasses import dataclass, field
from enum import Enum


class Role(Enum):
    """Role of a controller.

    >>> Role.STANDBY.value
    'standby'
    """

    OFF = "off"
    STOPPED = "stopped"
    LOADING = "loading"
    STANDBY = "standby"
    ACTIVE = "active"


class Outputs(Enum):
    """State of the outputs of a rack.

    >>> Outputs.FAIL_STATE.value
    'fail state'
    """

    WRITTEN = "written"
    HELD = "held"
    FAIL_STATE = "fail state"


class Contact(Enum):
    """What a controller knows of its partner by the sync cable."""

    UNKNOWN = "not heard yet"
    HEARD = "heard"
    SILENT = "missed"


@dataclass(frozen=True)
class Entry:
    """Hold one line of the record: what changed, when, and by which rule.

    Parameters
    ----------
    time_ms : int
        When, ms.
    who : str
        Controller, rack, repeater, panel or fault that it is about.
    what : str
        What of it changed, such as "role", "writer", "outputs", "alarm".
    old, new : str
        Before and after.
    why : str
        One sentence; it names the rule if a rule acted.

    >>> Entry(0, "KF1", "role", "active", "off", "KF1 has no supply.").new
    'off'
    """

    time_ms: int
    who: str
    what: str
    old: str
    new: str
    why: str


@dataclass(frozen=True)
class Snapshot:
    """Hold the state of the pair at one moment.

    Parameters
    ----------
    time_ms : int
        Now, ms.
    loading : dict of str to float
        Share of the state that a loading unit has copied, 0 to 1.
    alone : bool
        Whether an active unit knows of no ready standby.
    redundancy_lost : bool
        Whether the pair knows that it could not stand one more fault.
    writers : dict of str to (str or None)
        The controller from which each rack takes its writes.
    links : dict of (str, str) to bool
        (rack, controller): whether data pass, as its lamp shows it.
    writes_fight : frozenset of str
        Racks that flap between two writers.
    sync_ok : bool
        Whether a sync cable is whole.
    panel_sees : bool
        Whether a panel can see and act.
    faults : frozenset of str
        Ids of the faults that are switched on.
    silent : frozenset of str
        Controllers that miss their partner's beats.
    failed : frozenset of str
        Controllers that show FAILED: stopped by their own fault, or put out.
    repeaters : dict of str to (bool, bool)
        Whether frames come in without errors on the controllers' side, on the panels' side.
    supplied : frozenset of str
        Repeaters with supply.
    panels : dict of str to str
        For each panel: "sees", "blind" or "dark".
    link_units : dict of (str, str) to str
        (rack, controller): the interface of that link, or the rack and a letter.
    frame_errors : tuple of str
        Cables whose frames have errors.
    lamps_dark : frozenset of str
        Panels of which one lamp is dead.
    voter_heard : bool or None
        Whether the units hear the third voter; None where there is none.
    vote : str or None
        The controller that has its vote.
    batteries : dict of str to (int or None)
        When each battery that carries will be empty, ms; None where it is.

    >>> from labkit import Switchover, load_plant
    >>> snapshot = Switchover(load_plant()).snapshot()
    >>> snapshot.roles["KF1"], snapshot.writers["KF10"]
    (<Role.ACTIVE: 'active'>, 'KF1')
    """

    time_ms: int
    roles: dict[str, Role]
    loading: dict[str, float]
    alone: bool
    redundancy_lost: bool
    writers: dict[str, str | None]
    links: dict[tuple[str, str], bool]
    outputs: dict[str, Outputs]
    writes_fight: frozenset[str]
    sync_ok: bool
    panel_sees: bool
    alarms: tuple[str, ...]
    faults: frozenset[str]
    silent: frozenset[str] = frozenset()
    failed: frozenset[str] = frozenset()
    repeaters: dict[str, tuple[bool, bool]] = field(default_factory=dict)
    supplied: frozenset[str] = frozenset()
    panels: dict[str, str] = field(default_factory=dict)
    link_units: dict[tuple[str, str], str] = field(default_factory=dict)
    frame_errors: tuple[str, ...] = ()
    lamps_dark: frozenset[str] = frozenset()
    voter_heard: bool | None = None
    vote: str | None = None
    batteries: dict[str, int | None] = field(default_factory=dict)

    @property
    def leaders(self) -> tuple[str, ...]:
        """The controllers that are active: one, none, or two that lead at the same time."""
        return tuple(unit for unit, role in self.roles.items() if role is Role.ACTIVE)
