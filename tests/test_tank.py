"""The header tank against hand calculation, the closed form of its loop, and scipy."""

import json
import math
from dataclasses import replace
from pathlib import Path
from random import Random

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from labkit.plant import file
from labkit.plant.plant import load_plant
from labkit.plant.tank_data import HAPPENINGS, TankSettings
from labkit.plant.variants import outage_cost
from labkit.plant.worth import event_cost
from labkit.rig.rig import Rig
from labkit.rig.tank import Drive, HeaderTank, _first_at_s, _limits, ride_through_s

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
    assert event_cost(load_plant(), tank.happened) == 11000.0
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
        ("tank_area_m2", 0.0, ValueError, "tank_area_m2 must be > 0 and finite, got 0.0"),
        ("level_reset_s", math.nan, ValueError, "level_reset_s must be > 0 and finite, got nan"),
        ("pump_restart_s", -1, ValueError, "pump_restart_s must be >= 0 and finite, got -1"),
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
    with pytest.raises(ValueError, match="step_s must be > 0 and finite, got 0"):
        HeaderTank(step_s=0)
    with pytest.raises(ValueError, match="unbalanced_l_per_s must be finite, got inf"):
        ride_through_s(TankSettings(), math.inf)
    tank = HeaderTank()
    tank.run(1.0, LED)
    with pytest.raises(ValueError, match="until_s must be >= 1.0, got 0.5"):
        tank.run(0.5, LED)


# -- the numbers of the plant, and what follows from them by hand


def test_the_tank_of_the_lessons_has_the_numbers_of_its_description():
    assert TankSettings() == TankSettings(
        pump_rack="KF10", valve_rack="KF20", uv_rack="KF20", blower_rack="KF30",
        level_sensor="BL1", tank_area_m2=1.5, set_point_m=1.2, overflow_m=1.44, low_trip_m=0.6,
        outflow_full_l_per_s=48.4, inflow_l_per_s=30, tide_drift_l_per_s=0,
        level_gain_per_m=0.9, level_reset_s=60, valve_stroke_s=15, pump_restart_s=45,
        repriming_s=25 * 60, uv_warm_up_s=120, uv_gap_limit_s=10, oxygen_mg_per_l=7.2,
        oxygen_fall_mg_per_l_min=0.055, oxygen_alarm_mg_per_l=6, oxygen_action_mg_per_l=5,
        untracked_opening=0.35)


def test_a_valve_opens_no_further_than_wide():
    assert TankSettings(tide_drift_l_per_s=3).balance_opening == pytest.approx(33 / 48.4)
    assert TankSettings(inflow_l_per_s=60).balance_opening == 1.0


@pytest.mark.parametrize("names, cost", [
    ({"overflow"}, 900), ({"low trip"}, 1400), ({"batches held"}, 9600), ({"oxygen alarm"}, 700),
    ({"oxygen action"}, 0.4 * 52_000), ({"bump", "pumps off"}, 0),
    # a long stop: 1400 + 9600 + 700 + 20 800
    ({"low trip", "batches held", "oxygen alarm", "oxygen action"}, 32_500),
])
def test_cost_of_an_event(names, cost):
    assert event_cost(load_plant(), frozenset(names)) == pytest.approx(cost)


def test_an_event_and_a_year_have_one_price_in_one_currency():
    """Dearer steps and another currency move both; a long stop costs what all steps do."""
    plant = load_plant()
    dear = replace(plant, currency="NOK", costs=tuple(
        replace(step, cost=10 * step.cost) for step in plant.costs))
    long_stop = {"low trip", "batches held", "oxygen alarm", "oxygen action"}
    assert event_cost(dear, long_stop) == pytest.approx(10 * outage_cost(plant, 60.0))
    rig = Rig(dear)
    rig.switch_on("TB1: off")
    rig.wait(60)
    assert "Cost of the event: NOK 110\u202f000." in rig.text()
    assert "EUR" not in rig.text() and "Outages cost NOK" in rig.text()


def test_every_priced_happening_is_one_of_the_tank():
    """Pumps and light go, come back to a trip, then the outlet is shut: all that has a price."""
    tank = HeaderTank(TankSettings(repriming_s=1))
    tank.run(3000.0, FAIL)
    tank.run(3400.0, Drive("held", "held", "fail state", "held"))
    tank.run(3500.0, LED)
    tank.run(3520.0, Drive(uv="fail state", leaders=("KF1",)))
    tank.run(3600.0, Drive("held", "held", "held", "held", valve_shut=True))
    schema = json.loads(Path(file.__file__).with_name("files").joinpath(
        "plant.schema.json").read_text("utf-8"))
    assert set(schema["$defs"]["happening"]["properties"]) <= {
        name.replace(" ", "_") for name in tank.happened}
    assert tank.happened <= set(HAPPENINGS)


@pytest.mark.parametrize("edge", [
    {"untracked_opening": 1.0}, {"pump_restart_s": 0},
    {"tide_drift_l_per_s": -3.0}, {"level_gain_per_m": 0},
])
def test_ends_of_the_ranges_are_allowed(edge):
    (name, value), = edge.items()
    assert getattr(TankSettings(**edge), name) == value


@pytest.mark.parametrize("levels", [
    {"low_trip_m": 1.2}, {"overflow_m": 1.2}, {"set_point_m": 1.5}])
def test_levels_that_touch_or_cross_are_refused(levels):
    with pytest.raises(ValueError, match="low_trip_m < set_point_m < overflow_m must hold"):
        TankSettings(**levels)


@pytest.mark.parametrize("name, value, error, words", [
    ("inflow_l_per_s", 0, ValueError, "inflow_l_per_s must be > 0 and finite, got 0"),
    ("outflow_full_l_per_s", -1, ValueError, "outflow_full_l_per_s must be > 0 and finite, got -1"),
    ("level_reset_s", 0, ValueError, "level_reset_s must be > 0 and finite, got 0"),
    ("repriming_s", True, TypeError, "repriming_s must be a number, got True"),
    ("untracked_opening", 1.01, ValueError, "untracked_opening must be <= 1, got 1.01"),
])
def test_more_bad_settings_are_named(name, value, error, words):
    with pytest.raises(error, match=words):
        TankSettings(**{name: value})


# -- one thing at a time, in steps of 1/4 s, which a computer adds without error

STILL = Drive("held", "held", "held", "held")


def quarter(**settings):
    return HeaderTank(TankSettings(**settings), step_s=0.25)


def events(tank):
    return [(event.name, event.time_s) for event in tank.happenings]


def test_the_first_row_is_the_tank_at_rest():
    tank = quarter(tide_drift_l_per_s=3)
    assert tank.history == [(0.0, 1.2, 33.0, pytest.approx(33.0), pytest.approx(33 / 48.4), 7.2)]
    assert tank.pumps_run and tank.uv_lit and tank.happened == frozenset()


def test_pumps_come_back_after_their_restart_sequence_and_no_step_later():
    tank = HeaderTank(step_s=0.4)
    shut_off = Drive(pumps="fail state", valve="held", uv="held", blowers="held", valve_shut=True)
    shut = Drive("held", "held", "held", "held", valve_shut=True)
    tank.run(1.0, shut_off)
    assert not tank.pumps_run
    tank.run(45.9, shut)
    assert not tank.pumps_run and tank.level_m == pytest.approx(1.20, rel=1e-12)
    tank.run(50.0, shut)
    # 45 s after 1 s; then 30 L/s into 1.5 m2 for 4 s: 20 mm/s x 4 s = 80 mm
    assert tank.pumps_run and tank.level_m == pytest.approx(1.28, rel=1e-9)
    assert [(one.name, one.time_s, one.text) for one in tank.happenings] == [
        ("pumps off", 0.0, "the intake pumps drop out: rack in its fail state"),
        ("valve shut", 0.0, "the shut-off valve is shut at its local switch"),
        ("pump restart", 1.0, "restart sequence of the pumps, 45 s")]


def test_light_gap_holds_batches_after_ten_seconds_of_flow():
    tank = quarter()
    tank.run(5.0, Drive("held", "held", "fail state", "held"))
    assert not tank.uv_lit
    tank.run(124.75, STILL)
    assert not tank.uv_lit
    tank.run(125.0, STILL)  # dark for 5 s, then 120 s to warm up
    assert tank.uv_lit
    assert [(one.name, one.time_s, one.text) for one in tank.happenings] == [
        ("light off", 0.0, "the light channels go dark: rack in its fail state"),
        ("light warms up", 5.0, "light channels warm up, 120 s"),
        ("batches held", 10.0, "flow without light for more than 10 s: two batches held")]
    tank.run(125.25, STILL)  # the alarm goes as the next step begins
    dark = [(one.time_s, one.comes) for one in tank.alarm_changes
            if one.text == "water flows without light"]
    assert dark == [(10.0, True), (125.0, False)]


def test_no_flow_in_the_dark_and_two_short_gaps_hold_nothing():
    dark = Drive("held", "held", "fail state", "held")
    tank = quarter()
    tank.run(60.0, Drive("fail state", "held", "fail state", "held", valve_shut=True))
    assert "batches held" not in tank.happened
    tank = quarter(uv_warm_up_s=0)
    tank.run(6.0, dark)
    tank.run(7.0, STILL)
    tank.run(13.0, dark)
    assert "batches held" not in tank.happened
    tank.run(17.0, dark)  # 10 s, but not more
    assert "batches held" not in tank.happened
    tank.run(17.25, dark)
    assert events(tank)[-1] == ("batches held", 17.0)


def test_an_overflow_counts_again_only_after_the_level_has_fallen_by_a_centimetre():
    shut, empty = Drive("held", "held", "held", "held", valve_shut=True), Drive("fail state", "held")

    def overflows(fall_s):
        tank = quarter(pump_restart_s=0)
        tank.run(13.0, shut)
        assert tank.level_m == 1.44
        tank.run(13.0 + fall_s, empty)  # 30 L/s out of 1.5 m2: 20 mm/s
        assert tank.level_m == pytest.approx(1.44 - 0.02 * fall_s, rel=1e-12)
        tank.run(20.0, shut)
        return [time_s for name, time_s in events(tank) if name == "overflow"]

    assert overflows(0.25) == pytest.approx([12.0])  # 5 mm
    # 20 mm: full again after one second
    assert overflows(1.0) == pytest.approx([12.0, 15.0])


def test_re_priming_by_hand():
    tank = quarter(level_gain_per_m=0.0)
    tank.run(10.0, Drive("fail state", "held", "held", "held"))
    # the pumps stop at 0 s: low trip after 0.6 m / 20 mm/s = 30 s, before they are back at 55 s
    tank.run(60.0, STILL)
    assert events(tank)[-1][0] == "low trip" and events(tank)[-1][1] == pytest.approx(30.0)
    # from 55 s they fill at 20 mm/s, the outlet is closed
    assert tank.level_m == pytest.approx(0.60 + 5 * 0.02, rel=1e-9)
    assert tank.history[-1][2:4] == (30.0, 0.0)
    tank.run(100.0, STILL)
    # full up to the set-point after 0.6 m / 20 mm/s = 30 s, and no further
    assert tank.level_m == pytest.approx(1.20, abs=0.25 * 0.02)
    assert tank.history[-1][2:4] == (0.0, 0.0)
    # a held valve does not re-prime; a written one does, 1500 s from 100 s on
    tank.run(1700.0, Drive(leaders=("KF1",)))
    assert events(tank)[-1] == ("re-primed", pytest.approx(1600.0, abs=0.25))
    assert tank.happenings[-1].text == "the flow is back after re-priming"
    assert tank.happenings[-2].text == "level at the low trip: flow breaks off, re-priming"
    assert tank.history[-1][2:4] == (30.0, pytest.approx(30.0))


def test_a_bump_is_told_in_per_cent_and_the_valve_strokes_in_fifteen_seconds():
    tank = quarter(level_gain_per_m=0.0)
    tank.run(3.0, Drive(leaders=("KF2",), untracked=frozenset({"KF2"})))
    assert tank.happenings[0].text == (
        "KF2 takes over with 35 % opening, the valve stood at 62 %")
    # 3 s of a stroke of 15 s are 20 points; it needs 27
    assert tank.opening == pytest.approx(30 / 48.4 - 0.2, rel=1e-9)
    tank.run(6.0, Drive(leaders=("KF2",), untracked=frozenset({"KF2"})))
    assert tank.opening == pytest.approx(0.35, rel=1e-9)
    assert len(tank.happenings) == 1
    # back up at the same speed: KF1 tracked what the valve did, so nothing moves
    tank.run(9.0, Drive(leaders=("KF1",)))
    assert tank.opening == pytest.approx(0.35, rel=1e-9)


def test_a_leader_takes_over_where_it_finds_the_level():
    tank = quarter(valve_stroke_s=0)
    tank.level_m = 1.30
    tank.run(0.25, LED)
    # it tracked the valve, so only the integral moves it: 0.9 / 60 s x 0.1 m x 1/8 s, and 10 mm/s
    # at most
    assert tank.opening == pytest.approx(30 / 48.4, abs=2e-3)
    tank = quarter(valve_stroke_s=0)
    tank.level_m = 1.30
    tank.run(0.25, Drive(leaders=("KF1",), sensor_stuck=True))
    assert tank.opening == 30 / 48.4  # the sensor still says 1.20 m


def test_two_that_fight_leave_the_valve_at_their_mean():
    tank = quarter(level_gain_per_m=0.0, valve_stroke_s=0)
    tank.run(0.25, Drive(leaders=("KF1", "KF2"), untracked=frozenset({"KF2"})))
    assert tank.opening == pytest.approx((30 / 48.4 + 0.35) / 2, rel=1e-9)


@pytest.mark.parametrize("drive", [
    Drive(valve="held", leaders=("KF1",)), Drive(pumps="fail state", leaders=("KF1",)), Drive()])
def test_the_valve_stays_where_it_was_while_the_loop_waits(drive):
    tank = quarter(tide_drift_l_per_s=-3.0)
    tank.level_m = 1.40
    tank.run(5.0, drive)
    assert tank.opening == pytest.approx(27 / 48.4, rel=1e-12)


@pytest.mark.parametrize("start_m, inflow_l_per_s, within_m", [
    # 0.2 m too high: wide open lets 48.4 - 48 = 0.4 L/s more out than comes in
    (1.40, 48.0, (1.19, 1.41)),
    # 0.2 m too low: shut, 1 L/s fills 1.5 m2 in 300 s
    (1.00, 1.0, (0.99, 1.21)),
])
def test_an_integrator_does_not_wind_up_while_its_valve_is_at_its_end(
        start_m, inflow_l_per_s, within_m):
    tank = HeaderTank(TankSettings(inflow_l_per_s=inflow_l_per_s, valve_stroke_s=0), step_s=0.5)
    tank.run(1.0, LED)
    tank.level_m = start_m
    tank.run(2000.0, LED)
    assert within_m[0] <= level(tank)[4:].min() and level(tank).max() <= within_m[1]
    assert tank.level_m == pytest.approx(1.20, abs=0.005)


def test_oxygen_falls_and_comes_back_at_the_same_rate():
    off = Drive("held", "held", "held", "fail state")
    tank = HeaderTank(step_s=10.0)
    tank.run(600.0, off)
    assert tank.oxygen_mg_per_l == pytest.approx(7.2 - 10 * 0.055, rel=1e-9)
    tank.run(900.0, STILL)
    assert tank.oxygen_mg_per_l == pytest.approx(7.2 - 5 * 0.055, rel=1e-9)
    tank.run(1800.0, STILL)
    assert tank.oxygen_mg_per_l == 7.2
    # 1.2 / 0.055 = 21 min 49 s, 2.2 / 0.055 = 40 min, 7.2 / 0.055 = 131 min
    tank.run(1800.0 + 8000.0, off)
    assert tank.oxygen_mg_per_l == 0.0
    assert [(one.name, one.text) for one in tank.happenings] == [
        ("oxygen alarm", "oxygen down to 6 mg/L"),
        ("oxygen action", "oxygen down to 5 mg/L: act by hand")]
    assert happened_at(tank, "oxygen alarm") == [pytest.approx(1800 + 1.2 / 0.055 * 60)]
    assert happened_at(tank, "oxygen action") == [pytest.approx(1800 + 2400)]


def test_how_a_wait_is_cut_changes_nothing():
    drives = [LED, FAIL, HELD, Drive(leaders=("KF2",), untracked=frozenset({"KF2"})),
              Drive(leaders=("KF1",), valve_shut=True), Drive(leaders=("KF1", "KF2")),
              Drive(leaders=("KF1",), sensor_stuck=True), Drive(pumps="fail state")]
    draw, alarms = Random(5), 0
    for _ in range(60):
        stretches, end_ms = [], 0
        for _ in range(draw.randint(2, 6)):
            end_ms += round(10 ** draw.uniform(0, 5.5))
            stretches.append((end_ms, draw.choice(drives)))
        fails = {f"{output}_fail": draw.choice(["off", "hold", "on", "hold 3.7 s, then off"])
                 for output in ("pumps", "valve", "uv", "blowers")}
        whole, cut = (HeaderTank(TankSettings(tide_drift_l_per_s=1.0, **fails)) for _ in range(2))
        begin_ms = seen = 0
        for end_ms, drive in stretches:
            whole.run(end_ms / 1000, drive)
            cuts = sorted(draw.randint(begin_ms, end_ms) for _ in range(draw.randint(1, 30)))
            for each_ms in [*cuts, end_ms]:
                cut.run(each_ms / 1000, drive)
                # what was told stays told, and nothing is told that is still to come
                told = cut.happenings[seen:]
                assert all(begin_ms <= 1000 * each.time_s <= each_ms for each in told)
                seen = len(cut.happenings)
            begin_ms = end_ms
        assert cut.now == whole.now and cut.history == whole.history
        assert cut.happenings == whole.happenings and cut.alarm_changes == whole.alarm_changes
        alarms += len(cut.alarm_changes)
    assert alarms > 50


def test_alarms_of_the_level_by_hand():
    """20 mm/s into a shut tank: 1.32 m after 6 s, 1.44 m after 12 s; back at 20 mm/s."""
    tank = quarter(pump_restart_s=0)
    tank.run(13.0, Drive("held", "held", "held", "held", valve_shut=True))
    tank.run(60.0, Drive("fail state", "held"))
    tank.run(100.0, Drive("held", "held", "held", "held", valve_shut=True))
    times = [(each.text, each.comes, pytest.approx(each.time_s)) for each in tank.alarm_changes]
    assert times == [
        ("level high", True, 6.0), ("tank overflows", True, 12.0),
        ("tank overflows", False, 13.5), ("level high", False, 19.5),
        # 1.44 m down to 0.90 m, to 0.60 m; the trip ends the flow until the pumps fill it again
        ("level low", True, 13 + 27.0), ("level at the low trip", True, 13 + 42.0),
        ("no flow until the pumps are primed", True, 13 + 42.0),
        ("level at the low trip", False, 60.5), ("level low", False, 60 + 15.5)]


def test_a_reading_that_stands_still_raises_no_alarm_and_the_switch_of_the_trip_does():
    tank = quarter()
    tank.run(13.0, Drive("held", "held", "held", "held", valve_shut=True, sensor_stuck=True))
    assert list(tank.alarms) == ["tank overflows"]
    tank.run(14.0, Drive("held", "held", "held", "held", valve_shut=True))
    assert list(tank.alarms) == ["tank overflows", "level high"]
    assert tank.alarm_changes[-1].time_s == 13.0


@pytest.mark.parametrize("alarms", [
    {"high_alarm_m": 1.2}, {"high_alarm_m": 1.45}, {"low_alarm_m": 1.2}, {"low_alarm_m": 0.59}])
def test_alarms_outside_their_range_are_refused(alarms):
    with pytest.raises(ValueError, match="low_alarm_m < set_point_m < high_alarm_m"):
        TankSettings(**alarms)


# ---------------------------------------------------------------- fail states

# Area 1.5 m2, 360 L up to the overflow, 900 L down to the low trip; 30 L/s in, 48.4 L/s through the
# open valve, which moves at once here. By hand: what the output gives, and when the tank tells.
FAILED = [
    ("pumps", "off", False, "low trip", 900 / 30),
    ("pumps", "hold", True, "overflow", 360 / 30),
    ("pumps", "on", True, "overflow", 360 / 30),
    ("pumps", "hold 7 s, then off", False, "low trip", 7 + 900 / 30),
    ("pumps", "hold 7 s, then off", True, "overflow", None),
    ("valve", "off", False, "overflow", 360 / 30),
    ("valve", "on", False, "low trip", 900 / (48.4 - 30)),
    ("valve", "hold", False, "overflow", None),
    ("valve", "35 %", False, "overflow", 360 / (30 - 0.35 * 48.4)),
    ("valve", "hold 20 s, then off", False, "overflow", 20 + 360 / 30),
    ("uv", "off", False, "batches held", 10),
    ("uv", "on", False, "batches held", None),
    ("uv", "hold 20 s, then off", False, "batches held", 20 + 10),
    ("blowers", "off", False, "oxygen alarm", 60 * 1.2 / 0.055),
    ("blowers", "hold 600 s, then off", False, "oxygen alarm", 600 + 60 * 1.2 / 0.055),
    ("blowers", "on", False, "oxygen alarm", None),
]


@pytest.mark.parametrize(("output", "words", "shut", "name", "at_s"), FAILED)
def test_each_kind_of_fail_state_against_the_sum_by_hand(output, words, shut, name, at_s):
    settings = TankSettings(valve_stroke_s=0, **{f"{output}_fail": words})
    states = {"pumps": "held", "valve": "held", "uv": "held", "blowers": "held",
              output: "fail state"}
    tank = HeaderTank(settings)
    tank.run(2000.0, Drive(**states, valve_shut=shut))
    assert happened_at(tank, name) == ([pytest.approx(at_s, rel=1e-9)] if at_s else [])


def test_a_write_in_time_keeps_an_output_that_is_held_for_some_seconds():
    tank = HeaderTank(TankSettings(pumps_fail="hold 7 s, then off"))
    tank.run(6.9, Drive(pumps="fail state", leaders=("KF1",)))
    tank.run(13.0, LED)
    tank.run(19.9, Drive(pumps="fail state", leaders=("KF1",)))
    assert tank.pumps_run
    tank.run(20.1, Drive(pumps="fail state", leaders=("KF1",)))
    assert not tank.pumps_run and happened_at(tank, "pumps off") == [pytest.approx(20.0, rel=1e-9)]


@pytest.mark.parametrize(("words", "match"), [
    ({"valve_fail": "shut"}, "valve_fail must be off, hold, on, hold N s, then off, or N %, got"),
    ({"valve_fail": "101 %"}, "valve_fail must be off, hold, on"),
    ({"pumps_fail": "hold 5 s"}, "pumps_fail must be off, hold, on"),
    ({"uv_fail": "50 %"}, "uv_fail must be on, off or held, as it has no value between, got '50 %'"),
    ({"blowers_fail": 1}, "blowers_fail must be off, hold, on"),
])
def test_other_fail_states_are_refused(words, match):
    with pytest.raises(ValueError, match=match):
        TankSettings(**words)


@pytest.mark.parametrize(("words", "hold_s", "value"), [
    ("off", 0.0, 0.0), ("on", 0.0, 1.0), ("hold", math.inf, 0.0), ("hold 7.5 s, then off", 7.5, 0.0),
    ("0 %", 0.0, 0.0), ("35 %", 0.0, 0.35), ("100 %", 0.0, 1.0)])
def test_what_the_words_of_a_fail_state_mean(words, hold_s, value):
    assert vars(TankSettings(valve_fail=words).fail_states["valve"]) == {"hold_s": hold_s, "value": value}


def test_level_under_a_valve_that_moves_by_hand():
    """From 0.5 to 1.0 in 10 s the valve lets 60 x 0.05 x t^2 / 2 L more out: 150 L, 0.1 m.

    0.05 m, 75 L, are gone when t^2 = 50.
    """
    tank = HeaderTank(TankSettings(
        inflow_l_per_s=30.0, outflow_full_l_per_s=60.0, tank_area_m2=1.5, valve_stroke_s=20.0,
        untracked_opening=1.0, low_alarm_m=1.15), step_s=10.0)
    tank.run(10.0, Drive(leaders=("KF1",), untracked=frozenset({"KF1"})))
    assert (tank.opening, tank.level_m) == (pytest.approx(1.0), pytest.approx(1.2 - 0.1, rel=1e-12))
    assert [each.time_s for each in tank.alarm_changes] == [pytest.approx(math.sqrt(50), rel=1e-12)]


def test_a_time_too_far_away_is_refused():
    with pytest.raises(ValueError, match="until_s must be at most 1000000000 steps of step_s = 0.2"):
        HeaderTank().run(1e12, Drive())


class EachStep(HeaderTank):
    """A tank that goes through each step of the loop, also where nothing changes."""

    def _stand_still(self, until_s):
        pass


# In the last two the pumps are primed again with the tank at its set-point.
@pytest.mark.parametrize("seed", [*range(6), 48, 136])
def test_where_nothing_changes_steps_are_passed_over_to_the_last_digit(seed):
    draw = Random(seed)
    kinds = ("off", "on", "hold", "hold 7 s, then off", "hold 90 s, then off")
    settings = TankSettings(
        valve_stroke_s=draw.choice([0, 15]), repriming_s=draw.choice([30, 400.1]), valve_fail="35 %",
        **{f"{output}_fail": draw.choice(kinds) for output in ("pumps", "uv", "blowers")})
    both = HeaderTank(settings), EachStep(settings)
    for _ in range(12):
        drive = Drive(
            *(draw.choice(["written", "written", "fail state", "held"]) for _ in range(4)),
            leaders=draw.choice([("KF1",), ("KF2",), ("KF1", "KF2"), ()]),
            valve_shut=draw.random() < 0.2)
        wait_s = draw.choice([0.05, 3.3, 60, 700.2])
        for tank in both:
            tank.run(tank.time_s + wait_s, drive)
    one, other = both
    assert one.history == other.history and one.now == other.now
    assert one.happenings == other.happenings and one.alarm_changes == other.alarm_changes


@pytest.mark.parametrize(("drive", "settings", "after_s"), [
    (LED, {}, 0.0), (HELD, {}, 0.0), (Drive(leaders=("KF1", "KF2")), {}, 0.0),
    # once all that is dark, or runs over, has been told
    (Drive("held", "held", "fail state", "held"), {}, 20.0),
    (Drive("held", "held", "held", "held", valve_shut=True), {}, 20.0),
    (Drive(pumps="fail state", valve="held", uv="held", blowers="held", valve_shut=True), {}, 1.0),
    (Drive("held", "fail state", "held", "held", valve_shut=True), {"valve_fail": "hold 3 s, then off"}, 40.0)])
def test_a_tank_at_rest_goes_through_an_hour_at_once(monkeypatch, drive, settings, after_s):
    """18 000 steps of 0.2 s, of which a few are gone through; all of them stand in the course."""
    tank, pieces, go = HeaderTank(TankSettings(**settings)), [], HeaderTank._go
    if after_s:
        tank.run(after_s, drive)
    monkeypatch.setattr(HeaderTank, "_go", lambda self, until_s: (pieces.append(until_s), go(self, until_s)))
    rows = len(tank.history)
    tank.run(after_s + 3600.0, drive)
    assert len(pieces) < 10 and len(tank.history) - rows == pytest.approx(18_000, abs=2)  # and the ends


def test_of_two_limits_in_one_step_the_nearer_is_passed_first():
    """30 L/s on 1.5 m2 with the valve shut: 0.02 m/s from 1.20 m, 1.32 m at 6 s and 1.44 m at 12 s."""
    tank = HeaderTank(TankSettings(valve_fail="0 %", valve_stroke_s=0), step_s=30)
    tank.run(30, Drive(valve="fail state", leaders=("KF1",)))
    assert [(each.text, each.time_s) for each in tank.alarm_changes] == [
        ("level high", pytest.approx(6.0, rel=1e-9)),
        ("tank overflows", pytest.approx(12.0, rel=1e-9))]


def test_the_flow_comes_back_once_the_pumps_are_primed_and_its_alarm_goes():
    """30 L/s out of 1.5 m2: 0.60 m lower, at the trip, after 30 s; written again at 50 s, primed 30 s."""
    tank = quarter(repriming_s=30, pump_restart_s=0)
    tank.run(50.0, Drive(pumps="fail state", valve="held", leaders=("KF1",)))
    tank.run(90.0, Drive(leaders=("KF1",)))
    flow = [each for each in tank.alarm_changes if each.text == "no flow until the pumps are primed"]
    assert [(each.comes, each.time_s) for each in flow] == [
        (True, pytest.approx(30.0, rel=1e-9)), (False, 80.0)]
    assert events(tank)[-1] == ("re-primed", 80.0)


@pytest.mark.parametrize(("course", "at_s"), [
    # start, slope, bend, target, length: start + slope t + bend t^2 first at the target, or at the end
    ((1.0, 0.5, 0.0, 2.0, 9.0), 2.0), ((1.0, -0.5, 0.0, 0.0, 9.0), 2.0), ((1.0, 0.5, 0.0, 2.0, 1.0), 1.0),
    ((0.0, 3.0, -1.0, 2.0, 9.0), 1.0),  # 3 t - t^2 = 2 at 1 s and at 2 s
    ((0.0, -3.0, 1.0, -2.0, 9.0), 1.0),
    ((0.0, -1.0, 1.0, 6.0, 9.0), 3.0),  # t^2 - t = 6 at -2 s and at 3 s
    ((0.0, 0.0, 2.0, 18.0, 9.0), 3.0), ((0.0, 2.0, -1.0, 1.0, 9.0), 1.0),  # touched at its top
    ((5.0, 1.0, 0.0, 5.0, 9.0), 0.0), ((5.0, 0.0, 0.0, 5.0, 9.0), 9.0), ((0.0, 1.0, 0.0, 9.0, 9.0), 9.0),
])
def test_when_a_course_first_comes_to_a_value(course, at_s):
    assert _first_at_s(*course) == pytest.approx(at_s, rel=1e-12)


def test_an_alarm_goes_a_centimetre_back_and_at_most_half_of_the_way():
    """Set-point 1.20 m: 1.32 m, 1.44 m, 0.90 m, 0.60 m; and 1.21 m, half of 1 cm above it."""
    limits = {each.text: each for each in _limits(TankSettings(oxygen_alarm_mg_per_l=6.5))}
    assert {text: (each.at, each.clears, each.high, each.by_reading) for text, each in limits.items()} == {
        "level high": (pytest.approx(1.32), pytest.approx(1.31), True, True),
        "tank overflows": (1.44, pytest.approx(1.43), True, False),
        "level low": (pytest.approx(0.9), pytest.approx(0.91), False, True),
        "level at the low trip": (0.6, pytest.approx(0.61), False, False),
        "oxygen low": (6.5, 6.5, False, False), "oxygen at its action limit": (5.0, 5.0, False, False)}
    narrow = _limits(TankSettings(high_alarm_m=1.21, low_alarm_m=1.196))
    assert (narrow[0].clears, narrow[2].clears) == (pytest.approx(1.205), pytest.approx(1.198))
    assert limits["level high"].target(False) == (limits["level high"].at, True)
    assert limits["level high"].target(True) == (limits["level high"].clears, False)
    assert limits["level low"].target(True)[1] and not limits["level low"].target(False)[1]
    assert (narrow[0].who, narrow[0].why, narrow[2].why) == (
        "BL1", "BL1 reads 1.21 m or more.", "BL1 reads 1.196 m or less.")


def test_the_loop_acts_each_fifth_of_a_second_from_where_it_begins():
    """30 L/s on 1.5 m2 with the outlet shut: 20 mm/s."""
    tide = TankSettings(level_gain_per_m=0.0)
    for start_s in (0.0, 7.0):
        tank = HeaderTank(tide, start_s=start_s)
        assert tank.time_s == start_s and tank.history[0][0] == start_s
        tank.run(start_s + 0.7, Drive(leaders=("KF1",), valve_shut=True))
        assert [row[0] - start_s for row in tank.history] == pytest.approx([0.0, 0.2, 0.4, 0.6])
        assert tank.now[0] - start_s == pytest.approx(0.7) and tank.now is not tank.history[-1]
        assert tank.now[1] == pytest.approx(1.2 + 0.02 * 0.7, rel=1e-12)


def test_a_controller_that_reads_more_opens_the_valve_by_its_gain_and_its_integral():
    """KF2 reads 10 mm more: 0.9 / 60 x 0.01 a second, from the opening that it tracked on.

    Its loop acts for a step of 0.25 s at once, by what the integral is in its middle.
    """
    tank = HeaderTank(TankSettings(valve_stroke_s=0), step_s=0.25, reads_m={"KF2": 0.01})
    tank.run(0.25, Drive(leaders=("KF2",)))
    assert tank.written["KF2"] - 30 / 48.4 == pytest.approx(0.125 * 0.9 / 60 * 0.01, rel=1e-9)
    other = HeaderTank(TankSettings(valve_stroke_s=0), step_s=0.25, reads_m={"KF2": 0.01})
    other.run(1.25, LED)
    assert other.written == {"KF1": pytest.approx(30 / 48.4, rel=1e-12)}


def test_what_the_alarms_of_light_and_flow_say():
    tank = quarter()
    tank.run(11.0, Drive("held", "held", "fail state", "held"))
    (dark,) = tank.alarm_changes
    assert (dark.text, dark.who, dark.why) == ("water flows without light", "light", "It has been so for 10 s.")
    assert tank.alarms == {"water flows without light": "light"}
    tank.run(12.0, Drive("held", "held", "fail state", "held", valve_shut=True))
    assert tank.alarms == {} and tank.alarm_changes[-1].why == "The reason is gone."
