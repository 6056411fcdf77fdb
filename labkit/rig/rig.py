"""The rig: a plant, its pair of controllers in time, and the process, switched by hand.

`Rig` is what a panel draws and what a text reads: the same state, once.  Simulated time is apart
from the clock on the wall; it goes on only when it is told to wait.
"""

import math
from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from labkit.arguments import count, instance, number, one_of
from labkit.plant.plant import Plant, PlantState, load_plant
from labkit.plant.plant_data import racks_of
from labkit.plant.tank_data import TankSettings
from labkit.plant.worth import Worth, event_cost, worth_of
from labkit.rig.headline import Line, lines_of, worst
from labkit.rig.state_line import as_led, carried_by, is_settled, on_battery, out_of_use, state_line
from labkit.rig.tank import Drive, Happening, HeaderTank
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import Fault, faults_of
from labkit.switchover.lamps import Lamp, lamps_of
from labkit.switchover.roles import Entry, Outputs, Snapshot
from labkit.switchover.settings import PairSettings, usual_settings
from labkit.wording import HOURS_PER_YEAR, capital, grouped

VERBS = ("on", "off", "role change")
"""What can be done at a rig by hand."""

LONGEST_WAIT_S = 3600 * HOURS_PER_YEAR


@dataclass(frozen=True)
class Action:
    """Hold one thing done at the rig by hand.

    Parameters
    ----------
    time_ms : int
        When, in simulated ms.
    verb : str
        "on", "off" or "role change".
    fault_id : str
        Which fault; empty for a role change.

    >>> Action(0, "on", "KF1: no power").verb
    'on'
    """

    time_ms: int
    verb: str
    fault_id: str = ""


@dataclass(frozen=True, eq=False)
class Trend:
    """Hold the course of the process as arrays of one length.

    Parameters
    ----------
    time_s, level_m : ndarray
        Time in s, level in m.
    inflow_l_per_s, outflow_l_per_s : ndarray
        Flows in L/s.
    opening : ndarray
        Opening of the outlet valve, 0 to 1.
    oxygen_mg_per_l : ndarray
        Oxygen in the basins in mg/L.

    >>> Rig().trend().level_m
    array([1.2])
    """

    time_s: np.ndarray
    level_m: np.ndarray
    inflow_l_per_s: np.ndarray
    outflow_l_per_s: np.ndarray
    opening: np.ndarray
    oxygen_mg_per_l: np.ndarray


@dataclass(frozen=True, eq=False)
class RigView:
    """Hold all that a picture of the rig needs, at one moment.

    Parameters
    ----------
    faults : tuple of str
        Ids of the faults that are on, in the order in which they were switched on.
    state : PlantState
        What the broken parts leave working.
    trend : Trend or None
        None for a plant without a process.
    process_alarms : tuple of str
        Alarms of level and oxygen; they stand among those of the snapshot too.
    event_cost : float
        What happened to the process so far, in the plant's currency.
    worth : Worth or None
        What outages cost a year from here; None for a plant without costs.
    level : {'normal', 'abnormal', 'lost'}
        How bad it is: the worst of pair, plant and process.
    lines : tuple of (str, str)
        What is to be said: heading and sentence, the worst first.

    >>> Rig().view().lines[0]
    ('Roles', 'KF1 leads; KF2 stands by, ready.')
    """

    plant: Plant
    settings: PairSettings
    snapshot: Snapshot
    lamps: tuple[Lamp, ...]
    faults: tuple[str, ...]
    state: PlantState
    record: tuple[Entry, ...]
    tank: TankSettings | None
    trend: Trend | None
    process_alarms: tuple[str, ...]
    happenings: tuple[Happening, ...]
    event_cost: float
    worth: Worth | None
    level: str
    lines: tuple[tuple[str, str], ...]


class Rig:
    """Run a plant by hand: switch faults on and off, let time pass, read what it does.

    Parameters
    ----------
    plant : Plant, optional
        The plant of the lessons if not given.
    settings : PairSettings, optional
    seed : int
        Draws the phases of the controllers' clocks and what a noisy cable loses.
    reads_m : mapping of str to float, optional
        How much more a controller reads than the level sensor gives, in m, see `HeaderTank`.

    Attributes
    ----------
    known_faults : mapping of str to Fault
        Every fault that can be switched on here, by id.

    Examples
    --------
    >>> rig = Rig()
    >>> rig.switch_on("KF1: no power")
    >>> rig.wait(10)
    >>> print(rig.text())  # doctest: +ELLIPSIS
    Brackenquay Shellfish Hall, V1 (invented data), t = 10.000 s
    Roles: KF2 leads alone; KF1 is off.
    ...
    """

    def __init__(
        self, plant: Plant | None = None, settings: PairSettings | None = None, *, seed: int = 1,
        reads_m: Mapping[str, float] | None = None,
    ):
        instance("plant", plant, Plant, or_none=True)
        instance("settings", settings, PairSettings, or_none=True)
        self.plant = plant or load_plant()
        self.settings = settings or usual_settings(self.plant)
        self.known_faults: Mapping[str, Fault] = MappingProxyType(
            faults_of(self.plant, third_vote=self.settings.third_vote))
        self.seed, self._reads_m = seed, reads_m
        self._states: dict[str, PlantState] = {}
        self._worths: dict[tuple[frozenset[str], Plant], Worth] = {}
        self.reset()

    def reset(self) -> None:
        """Start again at time 0, healthy and settled; a standby started by hand is stopped."""
        self._pair = Switchover(self.plant, self.settings, seed=self.seed)
        self._tank = None
        self._actions: list[Action] = []
        self._record: list[Entry] = []
        self._taken = 0, 0
        if self.plant.started_by_hand:
            self.switch_on(f"{self.plant.pair.units[1]}: stopped")
        self.on_at_start = self.faults
        self.reset_process()

    def reset_process(self) -> None:
        """Put the process at its set-point, now, as if nothing had happened to it before."""
        if self.plant.process:
            self._take_entries()
            self._tank = HeaderTank(TankSettings.from_mapping(self.plant.process),
                                    reads_m=self._reads_m, start_s=self.now_s)
            self._rows = _GrowingColumns(6)
            self._taken = self._taken[0], 0

    # ------------------------------------------------------------ what one can do

    def switch_on(self, fault_id: str) -> None:
        """Switch a fault on, now.

        Parameters
        ----------
        fault_id : str
            Id as in `labkit.switchover.fault_kinds.faults_of`.

        Raises
        ------
        ValueError
            If the plant has no such fault.
        """
        self._pair.switch_on(fault_id)
        self._actions.append(Action(self._pair.time_ms, "on", fault_id))

    def switch_off(self, fault_id: str) -> None:
        """Switch a fault off, now.

        Parameters
        ----------
        fault_id : str
            Id as in `labkit.switchover.fault_kinds.faults_of`.

        Raises
        ------
        ValueError
            If the plant has no such fault.
        """
        self._pair.switch_off(fault_id)
        self._actions.append(Action(self._pair.time_ms, "off", fault_id))

    def request_role_change(self) -> Entry:
        """Ask for a switchover by hand, now.

        Returns
        -------
        Entry
            "accepted" or "refused", and why.
        """
        answer = self._pair.request_role_change()
        self._actions.append(Action(self._pair.time_ms, "role change"))
        return answer

    def do(self, verb: str, fault_id: str = "") -> None:
        """Do one of the `VERBS`, now.

        Parameters
        ----------
        verb : str
            "on", "off" or "role change".
        fault_id : str
            The fault to switch; none for a role change.

        Raises
        ------
        ValueError
            If the plant has no such fault.
        """
        if one_of("verb", verb, VERBS) == "on":
            self.switch_on(fault_id)
        elif verb == "off":
            self.switch_off(fault_id)
        else:
            self.request_role_change()

    def wait(self, seconds: float) -> None:
        """Let simulated time pass.

        Parameters
        ----------
        seconds : float
            At least a millisecond, at most a year; counted in whole milliseconds.

        Raises
        ------
        TypeError, ValueError
            If it is no number, or outside its range.
        """
        seconds = number("seconds", seconds)
        if not 0.001 <= seconds <= LONGEST_WAIT_S:
            raise ValueError(f"seconds must be from 0.001 to {LONGEST_WAIT_S}, got {seconds}")
        self._run_to(self._pair.time_ms + round(seconds * 1000))

    def _run_to(self, end_ms: int, by: Callable[[Switchover, int], None] = Switchover.run_to) -> None:
        """Let the pair go on as it is run, to a time at most, and the process after it."""
        begin_ms = self._pair.time_ms
        self._take_entries()
        by(self._pair, end_ms)
        if self._tank is not None:
            self._run_process(begin_ms, self._pair.time_ms)
        self._take_entries()

    def copy(self) -> "Rig":
        """Return a rig in this state that goes its own way; its record and trend begin here."""
        alike = (self.plant, self.settings, self.known_faults, self._states, self._worths)
        pair, own = self._pair, {id(self._record): [], id(self._actions): []}
        self._take_entries()
        if (tank := self._tank) is not None:
            own |= {id(tank.history): [tank.now], id(tank.alarm_changes): [],
                    id(self._rows): _GrowingColumns(6), id(tank.settings): tank.settings}
        rig = deepcopy(self, {id(each): each for each in alike} | own | {id(pair): pair.copy()})
        rig._taken = 0, 0
        return rig

    # ------------------------------------------------------------ what one can read

    @property
    def now_s(self) -> float:
        """Simulated time in s."""
        return self._pair.time_ms / 1000.0

    @property
    def faults(self) -> tuple[str, ...]:
        """Ids of the faults that are on, in the order in which they came."""
        return self._pair.faults

    @property
    def actions(self) -> tuple[Action, ...]:
        """What was done by hand so far."""
        return tuple(self._actions)

    @property
    def record(self) -> tuple[Entry, ...]:
        """Every change of the pair and every alarm of the process so far, in order."""
        self._take_entries()
        return tuple(self._record)

    @property
    def happenings(self) -> tuple[Happening, ...]:
        """What happened to the process so far, in order."""
        return tuple(self._tank.happenings) if self._tank else ()

    @property
    def event_cost(self) -> float:
        """What happened to the process so far, in the plant's currency."""
        return event_cost(self.plant, self._tank.happened) if self._tank else 0.0

    def snapshot(self) -> Snapshot:
        """Return the state of the pair now; its alarms with those of the process."""
        snapshot = self._pair.snapshot()
        return replace(snapshot, alarms=snapshot.alarms + self.process_alarms)

    @property
    def process_alarms(self) -> tuple[str, ...]:
        """The alarms of the process that stand, in the order in which they came."""
        return tuple(self._tank.alarms) if self._tank else ()

    def trend(self) -> Trend | None:
        """Return the course of the process so far; None for a plant without one."""
        if self._tank is None:
            return None
        self._rows.take(self._tank.history)
        columns = self._rows.columns()
        if self._tank.now is not self._tank.history[-1]:
            columns = [np.append(column, now)
                       for column, now in zip(columns, self._tank.now, strict=True)]
        return Trend(*columns)

    def unseen(self) -> tuple:
        """Return what tells a pair at rest from another that looks like it and goes on otherwise."""
        return self._pair.unseen()

    def plant_state(self) -> PlantState:
        """Return which functions work now, what would stop them next, and how often that comes.

        What the pair has lost is lost, whatever parts are whole: see `labkit.rig.state_line`.
        """
        key = self._state_key()
        if key not in self._states:
            self._states[key] = state_line(self._pair, self._broken())
        return self._states[key]

    def _state_key(self) -> str:
        snapshot = self._pair.snapshot()
        # what is settled stays so as long as nothing changes but the time
        settled = is_settled(self._pair, self._broken())
        return repr(replace(snapshot, time_ms=0) if settled else snapshot)

    def _broken(self) -> frozenset[str]:
        return frozenset().union(
            *(self.known_faults[fault_id].breaks for fault_id in self.faults))

    def worth(self) -> Worth | None:
        """Return what outages cost a year from here; None for a plant without costs."""
        if not self.plant.costs:
            return None
        out = self._broken() | out_of_use(self._pair)
        now = as_led(on_battery(self.plant, carried_by(self._pair.snapshot())), self._pair)
        if (out, now) not in self._worths:
            self._worths[out, now] = worth_of(self.plant, out, now=now)
        return self._worths[out, now]

    def view(self) -> RigView:
        """Return all that a picture needs."""
        snapshot = self.snapshot()
        state = self.plant_state()
        lines = self._lines(snapshot, state)
        return RigView(
            plant=self.plant,
            settings=self.settings,
            snapshot=snapshot,
            lamps=lamps_of(snapshot),
            faults=self.faults,
            state=state,
            record=self.record,
            tank=self._tank.settings if self._tank else None,
            trend=self.trend(),
            process_alarms=self.process_alarms,
            happenings=self.happenings,
            event_cost=self.event_cost,
            worth=self.worth(),
            level=worst(lines),
            lines=tuple((line.heading, line.sentence) for line in lines),
        )

    def text(self, *, entries: int = 12) -> str:
        """Return the whole state as text: what a panel shows, without a picture.

        Parameters
        ----------
        entries : int
            How many of the latest lines of the record to give, >= 0.

        Returns
        -------
        str

        Raises
        ------
        ValueError
            If `entries` is below 0.
        """
        entries = count("entries", entries)
        snapshot = self.snapshot()
        title = f"{self.plant.name}, {self.plant.version} ({self.plant.data} data), t = {self.now_s:.3f} s"
        lines = [title]
        lines += [f"{line.heading}: {line.sentence}" for line in
                  self._lines(snapshot, self.plant_state())]
        lines.append("Lamps:")
        by_unit: dict[str, list[str]] = {}
        for lamp in lamps_of(snapshot):
            by_unit.setdefault(lamp.unit, []).append(f"{lamp.name} {lamp.text}")
        lines += [f"  {unit}: {', '.join(texts)}" for unit, texts in by_unit.items()]
        latest = self.record[len(self.record) - entries:] if entries else ()
        if latest:
            lines.append(f"Record, latest {len(latest)} of {len(self.record)}:")
        for entry in latest:
            lines.append(f"  {entry.time_ms / 1000:9.3f} s  {entry.who} {entry.what}: "
                         f"{entry.old} -> {entry.new}. {entry.why}")
        return "\n".join(lines)

    # ------------------------------------------------------------ inside

    def _take_entries(self) -> None:
        """Put what is new of pair and process into the record; at one ms the pair comes first."""
        pair, changes = self._pair.record[self._taken[0]:], ()
        if self._tank is not None:
            changes = self._tank.alarm_changes[self._taken[1]:]
        self._taken = self._taken[0] + len(pair), self._taken[1] + len(changes)
        # the first whole ms at which it is so
        process = [Entry(math.ceil(1000 * each.time_s - 1e-6), each.who, "alarm",
                         "" if each.comes else each.text, each.text if each.comes else "",
                         each.why) for each in changes]
        self._record += sorted([*pair, *process], key=lambda entry: entry.time_ms)

    def _run_process(self, begin_ms: int, end_ms: int) -> None:
        tank = self._tank.settings
        roles = (tank.pump_rack, tank.valve_rack, tank.uv_rack, tank.blower_rack)
        histories = {rack: self._pair.output_history(rack) for rack in roles
                     if rack in self.plant.racks}
        instants = {time_ms for history in histories.values() for time_ms, *_ in history
                    if time_ms > begin_ms}
        faults = [self.known_faults[fault_id] for fault_id in self.faults]
        modes = {fault.mode for fault in faults}
        common = {
            "sensor_stuck": any(fault.mode == "stuck" and tank.level_sensor in fault.breaks
                                for fault in faults),
            "valve_shut": "shut locally" in modes,
            "untracked": frozenset(
                fault.unit for fault in faults if fault.mode == "not tracking"),
        }
        start_ms = begin_ms
        for stop_ms in sorted({*instants, end_ms}):
            states = [_at(histories[rack], start_ms)[1].value if rack in histories else "written"
                      for rack in roles]
            valve = histories.get(tank.valve_rack)
            leaders = self._writing(valve, start_ms) if valve else ()
            self._tank.run(stop_ms / 1000.0, Drive(*states, leaders=leaders, **common))
            start_ms = stop_ms

    def _writing(self, history, time_ms: int) -> tuple[str, ...]:
        """Return whose writes a rack took at a time; where two write by turns it is both."""
        _, outputs, writer = _at(history, time_ms)
        if outputs is not Outputs.WRITTEN:
            return ()
        return (writer,) if writer is not None else tuple(self.plant.controllers)

    def _lines(self, snapshot: Snapshot, state: PlantState) -> list[Line]:
        lines = lines_of(snapshot, state, {
            name: bool(racks_of(function)) for name, function in self.plant.functions.items()})
        if self._tank is not None:
            row = self._tank.now
            tank = (f"level {row[1]:.2f} m, in {row[2]:.1f} L/s, out {row[3]:.1f} L/s, "
                    f"oxygen {row[5]:.1f} mg/L.")
            names = [happening.name for happening in self._tank.happenings]
            if names:
                tank += " So far: " + ", ".join(dict.fromkeys(names)) + "."
            if self.event_cost:
                tank += f" Cost of the event: {self.plant.currency} " \
                        f"{grouped(self.event_cost)}."
            lines.append(Line("Process", capital(tank),
                              "abnormal" if self.process_alarms else "normal"))
        lines += [Line("Battery", f"{name} is empty." if end_ms is None else
                       f"{name} carries what it feeds, for {self.plant.parts[name].battery_h:g} h "
                       "at most.", "abnormal") for name, end_ms in snapshot.batteries.items()]
        if (worth := self.worth()) is not None:
            lines.append(Line("Worth", worth.text()))
        on = [self.known_faults[fault_id].label for fault_id in self.faults]
        lines.append(Line("Faults on", "; ".join(on) + "." if on else "none."))
        # the worst first; of things that are as bad, plant and process before the pair
        return sorted(lines, key=lambda line: (
            -line.rank, line.rank > 0 and line.heading in ("Roles", "Alarms")))


class _GrowingColumns:
    """Rows that are only ever added to, as columns that can be read without a copy."""

    def __init__(self, count: int):
        self._columns = np.empty((count, 0))
        self._size = 0

    def take(self, rows: Sequence[Sequence[float]]) -> None:
        """Take over what a list of all rows has more than at the last call."""
        if len(rows) > self._columns.shape[1]:
            grown = np.empty((len(self._columns), len(rows) + self._columns.shape[1]))
            grown[:, : self._size] = self._columns[:, : self._size]
            self._columns = grown
        self._columns[:, self._size : len(rows)] = np.array(rows[self._size :]).T
        self._size = len(rows)

    def columns(self) -> list[np.ndarray]:
        """Return the columns; what is added later leaves them as they are."""
        seen = self._columns[:, : self._size]
        seen.flags.writeable = False
        return list(seen)


def _at(history, time_ms):
    """Return the last row that is not later than a time."""
    return history[bisect_right(history, time_ms, key=lambda row: row[0]) - 1]
