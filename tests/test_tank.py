"""The header tank against hand calculation, the closed form of its loop, and scipy."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from labkit.rig.tank import Drive, HeaderTank, TankSettings, event_cost_eur, ride_through_s

LED = Drive(leaders=("KF1",))
FAIL = Drive("fail state", "fail state", "fail state", "fail state")
HELD = Drive("held", "held", "held", "held")


def level(tank):
    return np.array([row[1] for row in tank.history])


def happened_at(tank, name):
    return [event.time_s for event in tank.happenings if event.name == name]


def test_balanced_tank_stands_still():
    tank = HeaderTank()
    tank.run(3600.0, LED)
    np.testing.assert_allclose(level(tank), 1.20, rtol=1e-12)
    assert tank.happenings == []


# Conservation of volume, by hand: area x height / difference of flows.
@pytest.mark.parametrize(
    "unbalanced_l_per_s, expected_s",
    [(30.0, 12.0), (-30.0, 30.0), (3.0, 120.0), (48.4 * 0.27, 0.24 * 1500 / (48.4 * 0.27))],
)
def test_ride_through(unbalanced_l_per_s, expected_s):
    assert ride_through_s(TankSettings(), unbalanced_l_per_s) == pytest.approx(
        expected_s, rel=1e-12
    )
    assert math.isinf(ride_through_s(TankSettings(), 0.0))


def test_short_gap_with_tide_drift_moves_the_level_by_less_than_a_millimetre():
    tank = HeaderTank()
    tank.run(10.0, LED)
    drifting = HeaderTank(TankSettings(tide_drift_l_per_s=3.0))
    # the valve stands where the loop left it before the tide changed
    drifting.opening = drifting._command = tank.opening
    drifting.run(0.285, HELD)
    assert drifting.level_m - 1.20 == pytest.approx(3.0 / 1500 * 0.285, rel=1e-9)
    assert round(1000 * (drifting.level_m - 1.20), 1) == 0.6


def test_outputs_that_drop_out_cost_a_restart_and_a_low_trip():
    tank = HeaderTank()
    tank.run(10.0, LED)
    tank.run(10.2, HELD)
    tank.run(10.285, FAIL)
    tank.run(400.0, Drive(leaders=("KF2",)))
    # the pumps need 45 s, the tank 30 s from the moment they stop
    assert happened_at(tank, "low trip") == [pytest.approx(10.2 + 30.0, abs=1e-6)]
    assert "batches held" in tank.happened
    assert event_cost_eur(tank.settings, tank.happened) == 11000.0
    tank.run(4000.0, Drive(leaders=("KF2",)))
    assert happened_at(tank, "low trip") == [pytest.approx(40.2, abs=1e-6)]
    assert tank.level_m == pytest.approx(1.20, abs=0.01)


def test_shut_valve_with_running_pumps_overflows_in_twelve_seconds():
    tank = HeaderTank()
    tank.run(60.0, Drive("held", "held", "held", "held", valve_shut=True))
    assert happened_at(tank, "overflow") == [pytest.approx(12.0, abs=1e-6)]


def test_bump_agrees_with_the_closed_form():
    """Second-order linear response: h = d/w exp(-s t) sin(w t), w from the loop's constants."""
    settings = TankSettings(valve_stroke_s=0.0)
    tank = HeaderTank(settings)
    tank.run(1.0, LED)
    tank.run(300.0, Drive(leaders=("KF2",), untracked=frozenset({"KF2"})))
    area_l_per_m = 1500.0
    gain = 48.4 * 0.9 / area_l_per_m
    damping = gain / 2
    frequency = math.sqrt(gain / 60.0 - damping**2)
    push = 48.4 * (30.0 / 48.4 - 0.35) / area_l_per_m
    time_s = np.array([row[0] for row in tank.history])
    after = time_s > 1.0
    exact = push / frequency * np.exp(-damping * (time_s[after] - 1.0)) * np.sin(
        frequency * (time_s[after] - 1.0)
    )
    np.testing.assert_allclose(level(tank)[after] - 1.20, exact, rtol=0, atol=1e-4)
    peak = int(np.argmax(level(tank)))
    assert round(level(tank)[peak] - 1.20, 2) == 0.19
    assert round(time_s[peak] - 1.0) == 51


def test_bump_with_a_slow_valve_agrees_with_scipy():
    settings = TankSettings(valve_stroke_s=15.0)
    tank = HeaderTank(settings)
    tank.run(300.0, Drive(leaders=("KF2",), untracked=frozenset({"KF2"})))

    def slope(_, state):
        height, bias, opening = state
        wanted = min(1.0, max(0.0, bias + 0.9 * height))
        travel = max(-1 / 15.0, min(1 / 15.0, (wanted - opening) / 0.01))
        return [(30.0 - 48.4 * opening) / 1500.0, 0.9 / 60.0 * height, travel]

    answer = solve_ivp(slope, (0, 300), [0.0, 0.35, 30.0 / 48.4], max_step=0.05, rtol=1e-8)
    peak_m = float(np.max(answer.y[0]))
    assert np.max(level(tank)) - 1.20 == pytest.approx(peak_m, abs=1e-3)
    assert "overflow" not in tank.happened


def test_bump_of_a_loop_that_does_not_act_overflows():
    """A held 35 % lets 13 L/s too much stay: overflow in 28 s (valve already there)."""
    tank = HeaderTank()
    tank.opening = tank._command = 0.35
    tank.run(60.0, HELD)
    assert round(happened_at(tank, "overflow")[0]) == 28


def test_oxygen_alarm_and_action_without_blowers():
    tank = HeaderTank(step_s=1.0)
    tank.run(3600.0, Drive(blowers="fail state", leaders=("KF1",)))
    assert round(happened_at(tank, "oxygen alarm")[0] / 60) == 22
    assert round(happened_at(tank, "oxygen action")[0] / 60) == 40


def test_a_tracked_takeover_has_no_bump():
    tank = HeaderTank(TankSettings(tide_drift_l_per_s=2.0))
    tank.run(100.0, LED)
    opening = tank.opening
    tank.run(100.2, HELD)
    tank.run(100.4, Drive(leaders=("KF2",)))
    assert tank.opening == pytest.approx(opening, abs=1e-6)
    assert "bump" not in tank.happened


def test_stuck_sensor_blinds_the_loop():
    tank = HeaderTank()
    tank.run(1.0, LED)
    stuck = Drive(leaders=("KF1",), sensor_stuck=True)
    tank.run(2.0, stuck)
    tank.opening = tank._command = 0.5
    tank._bias["KF1"] = 0.5
    tank.run(200.0, stuck)
    assert "overflow" in tank.happened


@pytest.mark.parametrize(
    "name, value, error, words",
    [
        ("tank_area_m2", 0.0, ValueError, "tank_area_m2 must be > 0, got 0.0"),
        ("level_reset_s", math.nan, ValueError, "level_reset_s must be finite, got nan"),
        ("pump_restart_s", -1, ValueError, "pump_restart_s must be >= 0, got -1"),
        ("overflow_m", "high", TypeError, "overflow_m must be a number, got 'high'"),
        ("low_trip_m", 1.3, ValueError, "low_trip_m < set_point_m < overflow_m must hold"),
        ("untracked_opening", 1.5, ValueError, "untracked_opening must be <= 1, got 1.5"),
    ],
)
def test_bad_settings_are_named(name, value, error, words):
    with pytest.raises(error, match=words):
        TankSettings(**{name: value})


def test_bad_calls_are_named():
    with pytest.raises(ValueError, match="process keys must be among .* got \\['tank_are'\\]"):
        TankSettings.from_mapping({"tank_are": 1})
    with pytest.raises(ValueError, match="step_s must be > 0, got 0"):
        HeaderTank(step_s=0)
    with pytest.raises(ValueError, match="unbalanced_l_per_s must be finite, got inf"):
        ride_through_s(TankSettings(), math.inf)
    tank = HeaderTank()
    tank.run(1.0, LED)
    with pytest.raises(ValueError, match="until_s must be >= 1.0, got 0.5"):
        tank.run(0.5, LED)
