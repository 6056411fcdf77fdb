"""The header tank: what a gap in control does to level, light and oxygen.

The tank is fed by intake pumps and drained through an outlet valve by gravity, through light
channels into the basins.  A level loop (PI) in the active controller moves the valve; each
controller keeps an integrator of its own, and a standby that tracks takes over without a bump.

Conditions: constant tank area, outflow proportional to the valve opening, one loop.  The numbers
of the lessons' plant are invented and stand in its plant file.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields

from labkit.arguments import amount, finite, positive

__all__ = ["Drive", "HeaderTank", "Happening", "TankSettings", "event_cost_eur", "ride_through_s"]

LITRES_PER_M3 = 1000.0
MOST_STEPS = 10**9


@dataclass(frozen=True)
class TankSettings:
    """Hold the constants of a header tank and of what depends on it.

    Parameters
    ----------
    pump_rack, valve_rack, uv_rack, blower_rack : str
        Racks whose outputs drive the pumps, the outlet valve, the light channels, the blowers.
    level_sensor : str
        Designation of the level sensor.
    tank_area_m2 : float
        Area of the tank, > 0, in m2.
    set_point_m, overflow_m, low_trip_m : float
        Levels, low trip < set-point < overflow, in m.
    outflow_full_l_per_s, inflow_l_per_s : float
        Flow through the wide open valve, flow of the running pump, > 0, in L/s.
    tide_drift_l_per_s : float
        Steady difference that the tide adds to the inflow, in L/s; 0 by default, so that a
        balanced plant stands still.
    level_gain_per_m : float
        Gain of the level loop, valve opening (0 to 1) per metre, >= 0.
    level_reset_s : float
        Reset time of the level loop, > 0, in s.
    valve_stroke_s : float
        Time of the valve from shut to open, >= 0, in s.
    pump_restart_s : float
        Restart sequence of the pumps after they have dropped out, >= 0, in s.
    repriming_s : float
        Time without flow after a low trip, with pumps and control back, >= 0, in s.
    uv_warm_up_s, uv_gap_limit_s : float
        Time to full dose after dark; longest flow without light, >= 0, in s.
    oxygen_mg_per_l, oxygen_fall_mg_per_l_min : float
        Oxygen at rest in mg/L, and how fast it falls without blowers in mg/L per minute.
    oxygen_alarm_mg_per_l, oxygen_action_mg_per_l : float
        Alarm and action limit in mg/L.
    untracked_opening : float
        Opening that a controller writes first whose integrator did not track, 0 to 1.
    overflow_eur, low_trip_eur, held_batches_eur, call_out_eur, oxygen_loss_eur : float
        Cost of an overflow, a low trip, a light gap, a call-out at the oxygen alarm, and of lost
        basins, in EUR.
    oxygen_loss_chance : float
        Chance that nobody helps by hand once the action limit is reached, 0 to 1.

    Raises
    ------
    ValueError
        When a number is outside its range or the levels are out of order.
    TypeError
        When a number is not a number.

    Examples
    --------
    >>> TankSettings().balance_opening
    0.6198347107438017
    """

    pump_rack: str = "KF10"
    valve_rack: str = "KF20"
    uv_rack: str = "KF20"
    blower_rack: str = "KF30"
    level_sensor: str = "BL1"
    tank_area_m2: float = 1.50
    set_point_m: float = 1.20
    overflow_m: float = 1.44
    low_trip_m: float = 0.60
    outflow_full_l_per_s: float = 48.4
    inflow_l_per_s: float = 30.0
    tide_drift_l_per_s: float = 0.0
    level_gain_per_m: float = 0.9
    level_reset_s: float = 60.0
    valve_stroke_s: float = 15.0
    pump_restart_s: float = 45.0
    repriming_s: float = 1500.0
    uv_warm_up_s: float = 120.0
    uv_gap_limit_s: float = 10.0
    oxygen_mg_per_l: float = 7.2
    oxygen_fall_mg_per_l_min: float = 0.055
    oxygen_alarm_mg_per_l: float = 6.0
    oxygen_action_mg_per_l: float = 5.0
    untracked_opening: float = 0.35
    overflow_eur: float = 900.0
    low_trip_eur: float = 1400.0
    held_batches_eur: float = 9600.0
    call_out_eur: float = 700.0
    oxygen_loss_eur: float = 52000.0
    oxygen_loss_chance: float = 0.4

    def __post_init__(self):
        above_0 = {"tank_area_m2", "outflow_full_l_per_s", "inflow_l_per_s", "level_reset_s"}
        signed = {"tide_drift_l_per_s"}
        for field in fields(self):
            value = getattr(self, field.name)
            if field.type == "str":
                continue
            rule = positive if field.name in above_0 else finite if field.name in signed else amount
            object.__setattr__(self, field.name, rule(field.name, value))
        if not self.low_trip_m < self.set_point_m < self.overflow_m:
            raise ValueError(
                "low_trip_m < set_point_m < overflow_m must hold, got "
                f"{self.low_trip_m!r}, {self.set_point_m!r}, {self.overflow_m!r}"
            )
        for name in ("untracked_opening", "oxygen_loss_chance"):
            if getattr(self, name) > 1:
                raise ValueError(f"{name} must be <= 1, got {getattr(self, name)!r}")

    @classmethod
    def from_mapping(cls, process: Mapping[str, object]) -> TankSettings:
        """Build the settings from the ``[process]`` table of a plant file.

        Parameters
        ----------
        process : mapping
            Key to value; keys that are missing keep their defaults.

        Returns
        -------
        TankSettings

        Raises
        ------
        ValueError
            When a key is not known or a number is outside its range.
        TypeError
            When a number is not a number.
        """
        known = {field.name for field in fields(cls)}
        unknown = sorted(set(process) - known)
        if unknown:
            raise ValueError(f"process keys must be among {sorted(known)}, got {unknown}")
        return cls(**process)

    @property
    def balance_opening(self) -> float:
        """Valve opening at which outflow equals inflow, 0 to 1."""
        return min(1.0, (self.inflow_l_per_s + self.tide_drift_l_per_s) / self.outflow_full_l_per_s)


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


class HeaderTank:
    """Run the header tank through stretches of constant drive.

    Parameters
    ----------
    settings : TankSettings, optional
    step_s : float
        Longest step of the integration in s, > 0.  The rule is the explicit midpoint rule; the
        loop's time constants are near 50 s, so 0.2 s leaves an error below 1e-4 m.

    Attributes
    ----------
    time_s, level_m, opening, oxygen_mg_per_l : float
        Now.
    happenings : list of Happening
        What happened, in order of time.
    history : list of tuple of float
        Rows of time s, level m, inflow L/s, outflow L/s, opening 0 to 1, oxygen mg/L.

    Raises
    ------
    ValueError
        When `step_s` is not > 0.

    Notes
    -----
    area dh/dt = inflow - full outflow x opening; opening = bias + gain x (h - set-point), and
    d(bias)/dt = gain / reset time x (h - set-point), both limited to 0..1.  While the pumps run
    through their restart sequence the loop waits and the valve stays where it was.

    Examples
    --------
    >>> tank = HeaderTank()
    >>> tank.run(12.0, Drive(valve_shut=True, leaders=("KF1",)))
    >>> [(happening.name, round(happening.time_s, 1)) for happening in tank.happenings]
    [('valve shut', 0.0), ('overflow', 12.0)]
    """

    def __init__(self, settings: TankSettings | None = None, *, step_s: float = 0.2):
        self.settings = settings or TankSettings()
        self._step_s = positive("step_s", step_s)
        self.time_s = 0.0
        self.level_m = self.settings.set_point_m
        self.opening = self.settings.balance_opening
        self.oxygen_mg_per_l = self.settings.oxygen_mg_per_l
        self.happenings: list[Happening] = []
        self._bias: dict[str, float] = {}
        self._command = self.opening
        self._reading_m = self.level_m
        self._pumps_ready_at_s = 0.0
        self._pumps_dropped = False
        self._repriming_left_s = 0.0
        self._uv_ready_at_s = 0.0
        self._uv_dark = False
        self._untreated_s = 0.0
        self._flags: set[str] = set()
        self.history: list[tuple[float, float, float, float, float, float]] = []
        self._keep(self.settings.inflow_l_per_s + self.settings.tide_drift_l_per_s,
                   self.settings.outflow_full_l_per_s * self.opening)

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
        until_s = amount("until_s", until_s)
        if until_s < self.time_s:
            raise ValueError(f"until_s must be >= {self.time_s!r}, got {until_s!r}")
        if until_s - self.time_s > MOST_STEPS * self._step_s:
            raise ValueError(f"until_s must be at most {MOST_STEPS} steps of step_s = "
                             f"{self._step_s:g} away, got {until_s!r}")
        self._switch(drive)
        while self.time_s < until_s - 1e-9:
            step_s = min(self._step_s, until_s - self.time_s)
            for ready_s in (self._pumps_ready_at_s, self._uv_ready_at_s):
                if self.time_s < ready_s < self.time_s + step_s:
                    step_s = ready_s - self.time_s
            self._step(step_s, drive)
        # sums of steps drift by the last digits; the end of a stretch is exact
        self.time_s = until_s

    def _happen(self, name: str, text: str, time_s: float | None = None) -> None:
        self.happenings.append(Happening(self.time_s if time_s is None else time_s, name, text))

    def _once(self, flag: str, now: bool, name: str, text: str, time_s: float | None = None):
        """Note the rising edge of a condition."""
        if now and flag not in self._flags:
            self._flags.add(flag)
            self._happen(name, text, time_s)
        elif not now:
            self._flags.discard(flag)

    def _switch(self, drive: Drive) -> None:
        """Take over what changes at once when a stretch begins."""
        s = self.settings
        dropped = drive.pumps == "fail state"
        if dropped and not self._pumps_dropped:
            self._happen("pumps off", "the intake pumps drop out: rack in its fail state")
        if self._pumps_dropped and not dropped:
            self._pumps_ready_at_s = self.time_s + s.pump_restart_s
            self._happen("pump restart", f"restart sequence of the pumps, {s.pump_restart_s:g} s")
        self._pumps_dropped = dropped
        dark = drive.uv == "fail state"
        if dark and not self._uv_dark:
            self._happen("light off", "the light channels go dark: rack in its fail state")
        if self._uv_dark and not dark:
            self._uv_ready_at_s = self.time_s + s.uv_warm_up_s
            self._happen("light warms up", f"light channels warm up, {s.uv_warm_up_s:g} s")
        self._uv_dark = dark
        self._once("shut", drive.valve_shut, "valve shut",
                   "the shut-off valve is shut at its local switch")
        if not drive.sensor_stuck:
            self._reading_m = self.level_m
        for name in drive.leaders:
            if name not in self._bias:
                first = s.untracked_opening if name in drive.untracked else self._command
                error_m = self._reading_m - s.set_point_m
                self._bias[name] = first - s.level_gain_per_m * error_m
                if name in drive.untracked:
                    self._happen("bump", f"{name} takes over with {100 * first:.0f} % opening, "
                                         f"the valve stood at {100 * self._command:.0f} %")
        self._bias = {name: self._bias[name] for name in drive.leaders}

    def _act(self, step_s: float) -> float:
        """Let each leader's loop act once; two that fight leave the valve at their mean."""
        s = self.settings
        error_m = self._reading_m - s.set_point_m
        change = s.level_gain_per_m / s.level_reset_s * error_m * step_s
        total = 0.0
        for name, bias in self._bias.items():
            wanted = bias + 0.5 * change + s.level_gain_per_m * error_m
            written = min(1.0, max(0.0, wanted))
            # the integrator stands still while the valve cannot follow it any further
            if written == wanted or (wanted > 1.0) != (change > 0):
                self._bias[name] = bias + change
            total += written
        return total / len(self._bias)

    def _step(self, step_s: float, drive: Drive) -> None:
        s = self.settings
        repriming = self._repriming_left_s > 0.0
        inflow = 0.0
        # while re-priming the pumps only fill the tank up to its set-point
        if self.pumps_run and not (repriming and self.level_m >= s.set_point_m):
            inflow = max(0.0, s.inflow_l_per_s + s.tide_drift_l_per_s)
        if repriming and self.pumps_run and drive.valve == "written":
            self._repriming_left_s -= step_s
            if self._repriming_left_s <= 0.0:
                self._happen("re-primed", "the flow is back after re-priming")
        loop_waits = (
            drive.valve != "written" or not self._bias or not self.pumps_run or repriming
        )
        blocked = drive.valve_shut or repriming

        middle_m = self.level_m + 0.5 * step_s * self._slope(inflow, self.opening, blocked)
        if not drive.sensor_stuck:
            self._reading_m = middle_m
        if not loop_waits:
            self._command = self._act(step_s)
        if s.valve_stroke_s:
            travel = step_s / s.valve_stroke_s
            before = self.opening
            self.opening += min(travel, max(-travel, self._command - self.opening))
        else:
            before = self.opening = self._command
        slope = self._slope(inflow, 0.5 * (before + self.opening), blocked)
        self._advance(step_s, slope, inflow, blocked, drive)

    def _slope(self, inflow: float, opening: float, blocked: bool) -> float:
        outflow = 0.0 if blocked else self.settings.outflow_full_l_per_s * opening
        return (inflow - outflow) / (self.settings.tank_area_m2 * LITRES_PER_M3)

    def _advance(self, step_s, slope, inflow, blocked, drive) -> None:
        s = self.settings
        level_m = self.level_m + slope * step_s
        if level_m >= s.overflow_m - 1e-12 and slope > 0:
            at_s = self.time_s + max(0.0, (s.overflow_m - self.level_m) / slope)
            self._once("overflow", True, "overflow", "the tank runs over", at_s)
            level_m = s.overflow_m
        elif level_m < s.overflow_m - 0.01:
            self._flags.discard("overflow")
        if level_m <= s.low_trip_m + 1e-12 and slope < 0:
            at_s = self.time_s + max(0.0, (s.low_trip_m - self.level_m) / slope)
            self._happen("low trip", "level at the low trip: flow breaks off, re-priming", at_s)
            level_m = s.low_trip_m
            self._repriming_left_s = s.repriming_s
        self.level_m = level_m
        outflow = 0.0 if blocked else s.outflow_full_l_per_s * self.opening
        self._untreated_s = self._untreated_s + step_s if outflow > 0 and not self.uv_lit else 0.0
        self._once("held", self._untreated_s > s.uv_gap_limit_s, "batches held",
                   f"flow without light for more than {s.uv_gap_limit_s:g} s: two batches held")
        fall = s.oxygen_fall_mg_per_l_min / 60.0 * step_s
        change = -fall if drive.blowers == "fail state" else fall
        self.oxygen_mg_per_l = max(0.0, min(s.oxygen_mg_per_l, self.oxygen_mg_per_l + change))
        self.time_s += step_s
        self._once("oxygen alarm", self.oxygen_mg_per_l <= s.oxygen_alarm_mg_per_l,
                   "oxygen alarm", f"oxygen down to {s.oxygen_alarm_mg_per_l:g} mg/L")
        self._once("oxygen action", self.oxygen_mg_per_l <= s.oxygen_action_mg_per_l,
                   "oxygen action",
                   f"oxygen down to {s.oxygen_action_mg_per_l:g} mg/L: act by hand")
        self._keep(inflow, outflow)

    def _keep(self, inflow: float, outflow: float) -> None:
        self.history.append(
            (self.time_s, self.level_m, inflow, outflow, self.opening, self.oxygen_mg_per_l)
        )


def event_cost_eur(settings: TankSettings, happened: frozenset[str]) -> float:
    """Return what an event costs by what happened to the process.

    Parameters
    ----------
    settings : TankSettings
    happened : frozenset of str
        Names as in `HeaderTank.happened`.

    Returns
    -------
    float
        Expected cost in EUR, >= 0; the loss of the basins counts with its chance.

    Examples
    --------
    >>> event_cost_eur(TankSettings(), frozenset({"low trip", "batches held"}))
    11000.0
    """
    costs = {
        "overflow": settings.overflow_eur,
        "low trip": settings.low_trip_eur,
        "batches held": settings.held_batches_eur,
        "oxygen alarm": settings.call_out_eur,
        "oxygen action": settings.oxygen_loss_chance * settings.oxygen_loss_eur,
    }
    return float(sum(cost for name, cost in costs.items() if name in happened))
