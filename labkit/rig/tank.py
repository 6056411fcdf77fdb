"""The header tank: what a gap in control does to level, light and oxygen.

The tank is fed by intake pumps and drained through an outlet valve by gravity, through light
channels into the basins.  A level loop (PI) in the active controller moves the valve; each
controller keeps an integrator of its own, and a standby that tracks takes over without a bump.

Conditions: constant tank area, outflow proportional to the valve opening, one loop.  The numbers
of the lessons' plant are invented and stand in its plant file.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from operator import gt, lt

from labkit.arguments import amount, finite, instance, instances, mapping, one_of, positive
from labkit.plant.tank_data import TankSettings
from labkit.switchover.roles import Outputs
from labkit.wording import percent

LITRES_PER_M3 = 1000.0
LOW_TRIP = "level at the low trip"
NO_FLOW = "no flow until the pumps are primed"
UNTREATED = "water flows without light"

# how far the level goes back before an alarm of it goes, and at most half of the way
CLEARS_M = 0.01
MOST_STEPS = 10**9
_STATES = tuple(each.value for each in Outputs)


def ride_through_s(tank: TankSettings, unbalanced_l_per_s: float) -> float:
    """Return how long the tank rides through a constant difference of flows.

    Parameters
    ----------
    tank : TankSettings
    unbalanced_l_per_s : float
        Inflow less outflow in L/s; above 0 the tank fills, below 0 it empties.

    Returns
    -------
    float
        Time from the set-point to overflow or low trip in s; inf at 0.

    Raises
    ------
    ValueError
        When the difference is not finite.

    Notes
    -----
    t = area x height / difference of flows, the level starting at the set-point.

    Examples
    --------
    >>> round(ride_through_s(TankSettings(), 30.0), 9)
    12.0
    >>> round(ride_through_s(TankSettings(), -30.0), 9)
    30.0
    """
    instance("tank", tank, TankSettings)
    unbalanced_l_per_s = finite("unbalanced_l_per_s", unbalanced_l_per_s)
    if unbalanced_l_per_s == 0:
        return math.inf
    limit_m = tank.overflow_m if unbalanced_l_per_s > 0 else tank.low_trip_m
    volume_l = tank.tank_area_m2 * (limit_m - tank.set_point_m) * LITRES_PER_M3
    return volume_l / unbalanced_l_per_s


@dataclass(frozen=True)
class Drive:
    """Say what the racks do to the process during a stretch of time.

    Parameters
    ----------
    pumps, valve, uv, blowers : str
        State of the outputs of that rack: "written", "held" or "fail state".
    leaders : tuple of str
        Controllers whose loop writes the valve: none, one, or two that fight.
    sensor_stuck, valve_shut : bool
        The level reading stands still; the shut-off valve is shut at its local switch.
    untracked : frozenset of str
        Controllers whose integrator does not track.

    Examples
    --------
    >>> Drive(pumps="held", leaders=("KF1",)).valve
    'written'
    """

    pumps: str = "written"
    valve: str = "written"
    uv: str = "written"
    blowers: str = "written"
    leaders: tuple[str, ...] = ()
    sensor_stuck: bool = False
    valve_shut: bool = False
    untracked: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        for output in ("pumps", "valve", "uv", "blowers"):
            one_of(output, getattr(self, output), _STATES)
        object.__setattr__(self, "leaders", tuple(instances("leaders", self.leaders, str)))
        object.__setattr__(self, "untracked", frozenset(instances("untracked", self.untracked, str)))


@dataclass(frozen=True)
class Happening:
    """Hold one event of the process.

    Parameters
    ----------
    time_s : float
        When, in s.
    name : str
        In one or two words.
    text : str
        As a sentence.
    """

    time_s: float
    name: str
    text: str


@dataclass(frozen=True)
class AlarmChange:
    """Hold one process alarm that came or went."""

    time_s: float
    comes: bool
    text: str
    who: str
    why: str


@dataclass(frozen=True)
class Limit:
    """Hold a limit of level or oxygen: what is said once it is passed, and where that ends.

    Parameters
    ----------
    at, clears : float
        Value at which its alarm comes, and at which it goes.
    high : bool
        Whether it is passed upwards.
    by_reading : bool
        Whether the sensor of the loop tells it: a reading that stands still tells nothing.
    happening : (str, str)
        Name and text of what happens then; empty where nothing but the alarm does.
    """

    quantity: str
    at: float
    clears: float
    text: str
    who: str
    why: str
    high: bool = False
    by_reading: bool = False
    happening: tuple[str, str] = ("", "")

    def target(self, passed: bool) -> tuple[float, bool]:
        """Return the value that changes it next, and whether that lies above."""
        return (self.clears, not self.high) if passed else (self.at, self.high)


def _limits(s: TankSettings) -> tuple[Limit, ...]:
    """Return all limits; common practice: trips have a switch apart from the loop's sensor."""
    def clears(at_m: float) -> float:
        back_m = (s.set_point_m - at_m) / 2
        return at_m + math.copysign(min(CLEARS_M, abs(back_m)), back_m)

    falls, acts = f"{s.oxygen_alarm_mg_per_l:g} mg/L", f"{s.oxygen_action_mg_per_l:g} mg/L"
    return (
        Limit("level_m", s.high_alarm_m, clears(s.high_alarm_m), "level high", s.level_sensor,
              f"{s.level_sensor} reads {s.high_alarm_m:g} m or more.", True, True),
        Limit("level_m", s.overflow_m, clears(s.overflow_m), "tank overflows", "tank",
              "The switch at its overflow answers.", True,
              happening=("overflow", "the tank runs over")),
        Limit("level_m", s.low_alarm_m, clears(s.low_alarm_m), "level low", s.level_sensor,
              f"{s.level_sensor} reads {s.low_alarm_m:g} m or less.", by_reading=True),
        Limit("level_m", s.low_trip_m, clears(s.low_trip_m), LOW_TRIP, "tank",
              "The switch at its low trip answers.",
              happening=("low trip", "level at the low trip: flow breaks off, re-priming")),
        Limit("oxygen_mg_per_l", s.oxygen_alarm_mg_per_l, s.oxygen_alarm_mg_per_l, "oxygen low", "basins",
              f"It is down to {falls}.", happening=("oxygen alarm", f"oxygen down to {falls}")),
        Limit("oxygen_mg_per_l", s.oxygen_action_mg_per_l, s.oxygen_action_mg_per_l,
              "oxygen at its action limit", "basins", f"It is down to {acts}.",
              happening=("oxygen action", f"oxygen down to {acts}: act by hand")),
    )


def _first_at_s(start: float, slope: float, bend: float, target: float, length_s: float) -> float:
    """Return when start + slope t + bend t^2 first comes to a value that it passes by a time."""
    rest = start - target
    root = math.sqrt(max(0.0, slope * slope - 4.0 * bend * rest))
    # both roots without subtracting alike numbers
    sum_ = -0.5 * (slope + math.copysign(root, slope))
    found = [rest / sum_] if sum_ else []
    if bend:
        found.append(sum_ / bend)
    return min((each for each in found if 0.0 <= each <= length_s), default=length_s)


class HeaderTank:
    """Run the header tank through stretches of constant drive.

    Parameters
    ----------
    settings : TankSettings, optional
    step_s : float
        The level loop acts at every multiple of it, in s, > 0.  The loop's time constants are near
        50 s, so 0.2 s stays within 1e-4 m of a loop that acts all the time.
    reads_m : mapping of str to float, optional
        How much more a controller reads than the level sensor gives, in m; 0 where it is not named.
    start_s : float
        When it stands at its set-point, in s: a multiple of `step_s`.

    Attributes
    ----------
    time_s, level_m, opening, oxygen_mg_per_l : float
        Now.
    happenings : list of Happening
        What happened, in order of time.
    alarms : dict of str to str
        The alarms that stand, in the order in which they came, and of what. All that has a price
        has one.
    alarm_changes : list of AlarmChange
        Every alarm that came or went, in order of time.
    written : dict of str to float
        Opening that the loop of each controller wrote last, 0 to 1.
    history : list of tuple of float
        Rows of time s, level m, inflow L/s, outflow L/s, opening 0 to 1, oxygen mg/L.
    now : tuple of float
        The row of this moment.

    Raises
    ------
    ValueError
        When `step_s` is not > 0.

    Notes
    -----
    area dh/dt = inflow - full outflow x opening; opening = bias + gain x (h - set-point), and
    d(bias)/dt = gain / reset time x (h - set-point), both limited to 0..1.  While the pumps run
    through their restart sequence the loop waits and the valve stays where it was.

    The valve moves evenly from one act of the loop to the next, so level and oxygen have a closed
    form there.  A piece ends where the loop acts, a limit is passed or the drive changes, and
    nowhere else: how a wait is cut changes nothing, to the last digit.

    Examples
    --------
    >>> tank = HeaderTank()
    >>> tank.run(12.0, Drive(valve_shut=True, leaders=("KF1",)))
    >>> [(happening.name, round(happening.time_s, 1)) for happening in tank.happenings]
    [('valve shut', 0.0), ('overflow', 12.0)]
    """

    def __init__(self, settings: TankSettings | None = None, *, step_s: float = 0.2,
                 reads_m: Mapping[str, float] | None = None, start_s: float = 0.0):
        instance("settings", settings, TankSettings, or_none=True)
        self.settings = settings or TankSettings()
        self._reads_m = {name: finite(f"reads_m of {name}", each_m)
                         for name, each_m in mapping(
                             "reads_m", {} if reads_m is None else reads_m, "controller to m").items()}
        self.written: dict[str, float] = {}
        self._limits = _limits(self.settings)
        self._fail_states = self.settings.fail_states
        self._lets_go_at_s = dict.fromkeys(self._fail_states, math.inf)
        self._step_s = positive("step_s", step_s)
        self.time_s = self._acts_at_s = amount("start_s", start_s)
        self._acts = round(self.time_s / self._step_s)
        self.level_m = self.settings.set_point_m
        self.opening = self.settings.balance_opening
        self.oxygen_mg_per_l = self.settings.oxygen_mg_per_l
        self.happenings: list[Happening] = []
        self.alarms: dict[str, str] = {}
        self.alarm_changes: list[AlarmChange] = []
        self._drive: Drive | None = None
        self._bias: dict[str, float] = {}
        self._command = self.opening
        self._stroke_per_s = 0.0
        self._reading_m = self.level_m
        self._pumps_ready_at_s = 0.0
        self._pumps_dropped = False
        self._repriming_left_s = 0.0
        self._uv_ready_at_s = 0.0
        self._uv_dark = False
        self._untreated_since_s: float | None = None
        self._held = False
        self._unfinished: tuple[float, ...] | None = None
        self.now = self._row(self.settings.inflow_l_per_s + self.settings.tide_drift_l_per_s,
                             self.settings.outflow_full_l_per_s * self.opening)
        self.history = [self.now]

    # -- reading

    @property
    def pumps_run(self) -> bool:
        """Whether water comes in now."""
        return not self._pumps_dropped and self.time_s >= self._pumps_ready_at_s

    @property
    def uv_lit(self) -> bool:
        """Whether the light channels give the full dose now."""
        return not self._uv_dark and self.time_s >= self._uv_ready_at_s

    @property
    def happened(self) -> frozenset[str]:
        """Names of all that happened so far."""
        return frozenset(happening.name for happening in self.happenings)

    def _row(self, inflow: float, outflow: float) -> tuple[float, ...]:
        return (self.time_s, self.level_m, inflow, outflow, self.opening, self.oxygen_mg_per_l)

    # -- running

    def run(self, until_s: float, drive: Drive) -> None:
        """Go on to a time under one drive.

        Parameters
        ----------
        until_s : float
            End of the stretch in s, not before now.
        drive : Drive

        Raises
        ------
        ValueError
            When the time lies before now.
        """
        until_s, drive = amount("until_s", until_s), instance("drive", drive, Drive)
        if until_s < self.time_s:
            raise ValueError(f"until_s must be >= {self.time_s!r}, got {until_s!r}")
        if until_s - self.time_s > MOST_STEPS * self._step_s:
            raise ValueError(f"until_s must be at most {MOST_STEPS} steps of step_s = "
                             f"{self._step_s:g} away, got {until_s!r}")
        if drive != self._drive:
            if self._unfinished is not None:
                self.history.append(self.now)
            self._switch(drive)
        elif self._unfinished is not None:
            # the piece that the last stretch did not finish is gone through anew
            (self.time_s, self.level_m, self.opening, self.oxygen_mg_per_l,
             self._repriming_left_s) = self._unfinished
        self._unfinished = None
        before = None
        while self.time_s < until_s:
            self._go(until_s)
            now = self._what_moves() if self.time_s == self._acts_at_s else None
            if now is not None and now == before:
                self._stand_still(until_s)
            before = now

    def _what_moves(self) -> tuple[float, ...]:
        return (self.level_m, self.opening, self.oxygen_mg_per_l, self._stroke_per_s,
                self._reading_m, self._command, self._repriming_left_s, *self._bias.values())

    def _stand_still(self, until_s: float) -> None:
        """Go to the last act of the loop before a time, where a whole step changed nothing."""
        waits = (self._pumps_ready_at_s, self._uv_ready_at_s, *self._lets_go_at_s.values())
        if (self._repriming_left_s or (self._untreated_since_s is not None and not self._held)
                or any(self.time_s <= each_s < math.inf for each_s in waits)):
            return
        rest = self.now[1:]
        # The step that a time cuts is gone through by itself, for the next stretch may end it.
        while (next_s := round((self._acts + 1) * self._step_s, 9)) < until_s:
            self._acts += 1
            self.now = (next_s, *rest)
            self.history.append(self.now)
        self.time_s = self._acts_at_s = self.now[0]

    def _happen(self, name: str, text: str) -> None:
        self.happenings.append(Happening(self.time_s, name, text))

    def _switch(self, drive: Drive) -> None:
        """Take over what changes at once when the drive changes."""
        s, before = self.settings, self._drive
        self._drive = drive
        for output, fails in self._fail_states.items():
            if getattr(drive, output) != "fail state":
                self._lets_go_at_s[output] = math.inf
            elif self._lets_go_at_s[output] == math.inf:
                self._lets_go_at_s[output] = self.time_s + fails.hold_s
        self._let_go()
        if drive.valve_shut and not (before and before.valve_shut):
            self._happen("valve shut", "the shut-off valve is shut at its local switch")
        if not drive.sensor_stuck:
            self._reading_m = self.level_m
        for name in drive.leaders:
            if name not in self._bias:
                first = s.untracked_opening if name in drive.untracked else self._command
                self._bias[name] = first - s.level_gain_per_m * self._error_m(name)
                if name in drive.untracked:
                    self._happen("bump", f"{name} takes over with {percent(first)} opening, "
                                         f"the valve stood at {percent(self._command)}")
        self._bias = {name: self._bias[name] for name in drive.leaders}
        self._watch()

    def _is_off(self, output: str) -> bool:
        return self.time_s >= self._lets_go_at_s[output] and not self._fail_states[output].value

    def _let_go(self) -> None:
        """Switch pumps and light off whose fail state is due, and on again those that are back."""
        s, dropped = self.settings, self._is_off("pumps")
        if dropped and not self._pumps_dropped:
            self._happen("pumps off", "the intake pumps drop out: rack in its fail state")
        if self._pumps_dropped and not dropped:
            self._pumps_ready_at_s = self.time_s + s.pump_restart_s
            self._happen("pump restart", f"restart sequence of the pumps, {s.pump_restart_s:g} s")
        self._pumps_dropped = dropped
        dark = self._is_off("uv")
        if dark and not self._uv_dark:
            self._happen("light off", "the light channels go dark: rack in its fail state")
        if self._uv_dark and not dark:
            self._uv_ready_at_s = self.time_s + s.uv_warm_up_s
            self._happen("light warms up", f"light channels warm up, {s.uv_warm_up_s:g} s")
        self._uv_dark = dark

    def _error_m(self, name: str) -> float:
        return self._reading_m + self._reads_m.get(name, 0.0) - self.settings.set_point_m

    def _act(self) -> float:
        """Let each leader's loop act once; two that fight leave the valve at their mean."""
        s = self.settings
        total = 0.0
        for name, bias in self._bias.items():
            error_m = self._error_m(name)
            change = s.level_gain_per_m / s.level_reset_s * error_m * self._step_s
            wanted = bias + 0.5 * change + s.level_gain_per_m * error_m
            written = min(1.0, max(0.0, wanted))
            # the integrator stands still while the valve cannot follow it any further
            if written == wanted or (wanted > 1.0) != (change > 0):
                self._bias[name] = bias + change
            self.written[name] = written
            total += written
        return total / len(self._bias)

    def _move_valve(self, slope: float, repriming: bool) -> None:
        """Let the loop act for the step that begins, by the level in its middle."""
        self._acts += 1
        # rounded as the times of the rig are, in decimals
        self._acts_at_s = round(self._acts * self._step_s, 9)
        if not self._drive.sensor_stuck:
            self._reading_m = self.level_m + 0.5 * self._step_s * slope
        if self._drive.valve == "written" and self._bias and self.pumps_run and not repriming:
            self._command = self._act()
        elif self.time_s >= self._lets_go_at_s["valve"]:
            self._command = self._fail_states["valve"].value
        if not self.settings.valve_stroke_s:
            self.opening = self._command
        fastest = 1.0 / self.settings.valve_stroke_s if self.settings.valve_stroke_s else 0.0
        wanted = (self._command - self.opening) / self._step_s
        self._stroke_per_s = min(fastest, max(-fastest, wanted))

    def _go(self, until_s: float) -> None:
        """Go through one piece, or through its part up to a time."""
        s, drive, begin_s = self.settings, self._drive, self.time_s
        self._let_go()
        repriming = self._repriming_left_s > 0.0
        inflow = full = 0.0
        # while re-priming the pumps only fill the tank up to its set-point
        if self.pumps_run and not (repriming and self.level_m >= s.set_point_m):
            inflow = max(0.0, s.inflow_l_per_s + s.tide_drift_l_per_s)
        if not (drive.valve_shut or repriming):
            full = s.outflow_full_l_per_s
        area = s.tank_area_m2 * LITRES_PER_M3
        if begin_s >= self._acts_at_s:
            self._move_valve((inflow - full * self.opening) / area, repriming)
        end_s = min(self._acts_at_s,
                    self._watch_light(full * max(self.opening, self._stroke_per_s) > 0.0))
        for ready_s in (self._pumps_ready_at_s, self._uv_ready_at_s, *self._lets_go_at_s.values()):
            if begin_s < ready_s < end_s:
                end_s = ready_s
        primed_s = math.inf
        if repriming and self.pumps_run and drive.valve == "written":
            primed_s = begin_s + self._repriming_left_s
            end_s = min(end_s, primed_s)

        slope, bend = (inflow - full * self.opening) / area, -0.5 * full * self._stroke_per_s / area
        breath = s.oxygen_fall_mg_per_l_min / 60.0
        if self._is_off("blowers"):
            breath = -breath
        passed_s, passed = self._next_limit(end_s - begin_s, slope, bend, breath)
        if passed is not None:
            end_s = min(end_s, begin_s + passed_s)
        if end_s > until_s:
            self._unfinished = (begin_s, self.level_m, self.opening, self.oxygen_mg_per_l,
                                self._repriming_left_s)
            end_s, passed = until_s, None

        length_s, self.time_s = end_s - begin_s, end_s
        self.level_m = min(s.overflow_m, self.level_m + (slope + bend * length_s) * length_s)
        self.opening = min(1.0, max(0.0, self.opening + self._stroke_per_s * length_s))
        self.oxygen_mg_per_l = self._oxygen_after(breath * length_s)
        if primed_s == end_s:
            self._repriming_left_s = 0.0
            self._happen("re-primed", "the flow is back after re-priming")
            self._alarm(False, NO_FLOW, "pumps", "")
        elif primed_s < math.inf:
            self._repriming_left_s -= length_s
        if passed is not None:
            self._pass(passed)
        self.now = self._row(inflow, full * self.opening)
        if self._unfinished is None and length_s > 0.0:
            self.history.append(self.now)

    def _oxygen_after(self, change: float) -> float:
        return max(0.0, min(self.settings.oxygen_mg_per_l, self.oxygen_mg_per_l + change))

    def _watch_light(self, flows: bool) -> float:
        """Note how long water has gone untreated; return when that is too long."""
        limit_s = self.settings.uv_gap_limit_s
        if not flows or self.uv_lit:
            self._untreated_since_s, self._held = None, False
            self._alarm(False, UNTREATED, "light", "")
            return math.inf
        if self._untreated_since_s is None:
            self._untreated_since_s = self.time_s
        too_long_s = self._untreated_since_s + limit_s
        if self._held or self.time_s < too_long_s:
            return math.inf if self._held else too_long_s
        self._held = True
        self._happen("batches held",
                     f"flow without light for more than {limit_s:g} s: two batches held")
        self._alarm(True, UNTREATED, "light", f"It has been so for {limit_s:g} s.")
        return math.inf

    # -- limits

    def _watch(self) -> None:
        """Find between which values of level and oxygen no limit is passed."""
        self._free = {each.quantity: [-math.inf, math.inf] for each in self._limits}
        for limit in self._limits:
            if not (limit.by_reading and self._drive.sensor_stuck):
                value, above = limit.target(limit.text in self.alarms)
                free = self._free[limit.quantity]
                free[above] = min(free[1], value) if above else max(free[0], value)

    def _next_limit(self, length_s: float, slope: float, bend: float,
                    breath: float) -> tuple[float, Limit | None]:
        """Return when in a piece the next limit is passed, and which one."""
        level_m = self.level_m + (slope + bend * length_s) * length_s
        oxygen = self._oxygen_after(breath * length_s)
        (low_m, high_m), (low, high) = self._free.values()
        if (low_m < self.level_m < high_m and low_m < level_m < high_m
                and low < self.oxygen_mg_per_l < high and low < oxygen < high):
            return length_s, None
        courses = {"level_m": (level_m, slope, bend), "oxygen_mg_per_l": (oxygen, breath, 0.0)}
        found = []
        for limit in self._limits:
            if limit.by_reading and self._drive.sensor_stuck:
                continue
            before, (after, *course) = getattr(self, limit.quantity), courses[limit.quantity]
            value, above = limit.target(limit.text in self.alarms)
            beyond = gt if above else lt
            if beyond(before, value):
                found.append((0.0, limit))
            elif beyond(after, before) and not beyond(value, after):
                found.append((_first_at_s(before, *course, value, length_s), limit))
        return min(found, key=lambda each: each[0], default=(length_s, None))

    def _pass(self, limit: Limit) -> None:
        """Let an alarm come or go, and what happens with it."""
        comes = limit.text not in self.alarms
        value, above = limit.target(not comes)
        if (getattr(self, limit.quantity) < value) == above:
            # on the limit to the last digit
            setattr(self, limit.quantity, value)
        self._alarm(comes, limit.text, limit.who, limit.why)
        if comes:
            if limit.happening[0]:
                self._happen(*limit.happening)
            if limit.text == LOW_TRIP:
                self._repriming_left_s = self.settings.repriming_s
                self._alarm(True, NO_FLOW, "pumps", "They have to be primed again.")
        self._watch()

    def _alarm(self, comes: bool, text: str, who: str, why: str) -> None:
        """Let an alarm come or go."""
        if comes == (text in self.alarms):
            return
        self.alarm_changes.append(AlarmChange(
            self.time_s, comes, text, who, why if comes else "The reason is gone."))
        if comes:
            self.alarms[text] = who
        else:
            del self.alarms[text]
