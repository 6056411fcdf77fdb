"""The `[process]` table of a plant file: a header tank, and what its outputs give when racks let go."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, fields

from labkit.arguments import amount, finite, mapping, positive

# what can happen to the process, with a price or without
HAPPENINGS = ("valve shut", "bump", "pumps off", "pump restart", "light off", "light warms up",
              "re-primed", "batches held", "overflow", "low trip", "oxygen alarm", "oxygen action")

FAIL_STATES = "off, hold, on, hold N s, then off, or N %"


@dataclass(frozen=True)
class FailState:
    """Say what an output gives in the fail state of its rack: for how long the old value, then what.

    Output modules offer off, hold, hold for a time and then off, and a substitute value (common
    practice; the words are those of no maker).

    >>> FailState.from_words("hold 60 s, then off")
    FailState(hold_s=60.0, value=0.0)
    """

    hold_s: float
    value: float

    @classmethod
    def from_words(cls, words: str, name: str = "fail state") -> FailState:
        """Read a fail state: a text that is none of these is refused."""
        known = {"off": cls(0.0, 0.0), "on": cls(0.0, 1.0), "hold": cls(math.inf, 0.0)}
        if words in known:
            return known[words]
        number = re.fullmatch(r"hold (\d+(?:\.\d+)?) s, then off|(\d+(?:\.\d+)?) %", str(words))
        if number is None or number[2] and float(number[2]) > 100:
            raise ValueError(f"{name} must be {FAIL_STATES}, got {words!r}")
        return cls(float(number[1]), 0.0) if number[1] else cls(0.0, float(number[2]) / 100.0)


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
    high_alarm_m, low_alarm_m : float, optional
        Levels of the alarms, in m; by default half way from the set-point to overflow and low trip.
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
    pumps_fail, valve_fail, uv_fail, blowers_fail : str
        What these outputs give in the fail state of their rack: "off", "hold", "on",
        "hold N s, then off", or a substitute value "N %", which only the valve can take. Off shuts
        the valve.

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
    high_alarm_m: float | None = None
    low_alarm_m: float | None = None
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
    pumps_fail: str = "off"
    valve_fail: str = "hold"
    uv_fail: str = "off"
    blowers_fail: str = "off"

    def __post_init__(self):
        above_0 = {"tank_area_m2", "outflow_full_l_per_s", "inflow_l_per_s", "level_reset_s"}
        signed = {"tide_drift_l_per_s"}
        for field in fields(self):
            value = getattr(self, field.name)
            if field.type == "str" or value is None and field.default is None:
                continue
            rule = positive if field.name in above_0 else finite if field.name in signed else amount
            object.__setattr__(self, field.name, rule(field.name, value))
        if not self.low_trip_m < self.set_point_m < self.overflow_m:
            raise ValueError(
                "low_trip_m < set_point_m < overflow_m must hold, got "
                f"{self.low_trip_m!r}, {self.set_point_m!r}, {self.overflow_m!r}"
            )
        for name, limit_m in (("high_alarm_m", self.overflow_m), ("low_alarm_m", self.low_trip_m)):
            if getattr(self, name) is None:
                object.__setattr__(self, name, (self.set_point_m + limit_m) / 2)
        if not (self.low_trip_m <= self.low_alarm_m < self.set_point_m
                < self.high_alarm_m <= self.overflow_m):
            raise ValueError(
                "low_trip_m <= low_alarm_m < set_point_m < high_alarm_m <= overflow_m must hold, "
                f"got {self.low_alarm_m!r} and {self.high_alarm_m!r} for the alarms")
        if self.untracked_opening > 1:
            raise ValueError(f"untracked_opening must be <= 1, got {self.untracked_opening!r}")
        for output, state in self.fail_states.items():
            if output != "valve" and state.value not in (0.0, 1.0):
                raise ValueError(f"{output}_fail must be on, off or held, as it has no value "
                                 f"between, got {getattr(self, f'{output}_fail')!r}")

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
        mapping("process", process, "key to value")
        known = {field.name for field in fields(cls)}
        unknown = sorted(set(process) - known)
        if unknown:
            raise ValueError(f"process keys must be among {sorted(known)}, got {unknown}")
        return cls(**process)

    @property
    def fail_states(self) -> dict[str, FailState]:
        """What each group of outputs gives in the fail state of its rack."""
        return {output: FailState.from_words(getattr(self, f"{output}_fail"), f"{output}_fail")
                for output in ("pumps", "valve", "uv", "blowers")}

    @property
    def balance_opening(self) -> float:
        """Valve opening at which outflow equals inflow, 0 to 1."""
        return min(1.0, (self.inflow_l_per_s + self.tide_drift_l_per_s) / self.outflow_full_l_per_s)
