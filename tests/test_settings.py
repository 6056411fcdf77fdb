"""Settings, budget, clocks and false alarms against hand calculation, Feller and the engine."""

import math
import time
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from labkit.plant.plant import load_plant
from labkit.switchover import clocks, timing
from labkit.switchover.clocks import Channel, Clock, NoisyCable
from labkit.switchover.engine import Switchover
from labkit.switchover.roles import Outputs, Role
from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.switchover.timing import (
    false_alarms_per_h,
    first_false_alarm_h,
    simulated_false_alarms,
    switchover_sweep,
    switchover_times,
)

PLANT = load_plant()
pytestmark = pytest.mark.usefixtures("ends")


# ---------------------------------------------------------------- settings


@pytest.mark.parametrize("change, message", [
    ({"cycle_ms": 0}, "cycle_ms must be 1 to 1000, got 0"),
    ({"cycle_ms": 1001}, "cycle_ms must be 1 to 1000, got 1001"),
    ({"heartbeat_ms": 1}, "heartbeat_ms must be 2 to 10000, got 1"),
    ({"missed_beats": 0}, "missed_beats must be 1 to 50, got 0"),
    ({"margin_ms": -1}, "margin_ms must be 0 to 9999, got -1"),
    ({"margin_ms": 50}, "margin_ms must be < heartbeat_ms = 50, got 50"),
    ({"decision_ms": -5}, "decision_ms must be 0 to 1000, got -5"),
    ({"rack_update_ms": 0}, "rack_update_ms must be 1 to 1000, got 0"),
    ({"output_filter_ms": -1}, "output_filter_ms must be 0 to 1000, got -1"),
    ({"hold_ms": 60}, "hold_ms must be > cycle_ms + rack_update_ms = 60, got 60"),
    ({"second_cycle_ms": 400, "hold_ms": 420},
     "hold_ms must be > the longer cycle + rack_update_ms = 420, got 420"),
    ({"second_cycle_ms": 0}, "second_cycle_ms must be 1 to 1000, got 0"),
    ({"output_filter_ms": 500}, "output_filter_ms must be < hold_ms = 500, got 500"),
    ({"output_filter_ms": 90, "hold_ms": 80}, "output_filter_ms must be < hold_ms = 80, got 90"),
    ({"wait_limit_ms": 3}, "wait_limit_ms must be 4 to 600000, got 3"),
    # a whole partner waits for a cycle, runs it and waits for an update: 40 + 40 + 20
    ({"wait_limit_ms": 100},
     "wait_limit_ms must be > 2 * cycle_ms + rack_update_ms = 100, got 100"),
    ({"second_cycle_ms": 60, "wait_limit_ms": 140},
     "wait_limit_ms must be > 2 * the longer cycle + rack_update_ms = 140, got 140"),
    ({"load_ms": 0}, "load_ms must be 1 to 3600000, got 0"),
    ({"start_ms": -1}, "start_ms must be 0 to 600000, got -1"),
    ({"return_wait_ms": -1}, "return_wait_ms must be 0 to 86400000, got -1"),
    ({"return_policy": "never"}, "return_policy must be one of stays, returns, got 'never'"),
])
def test_out_of_range(change, message):
    with pytest.raises(ValueError) as caught:
        PairSettings(**change)
    assert str(caught.value) == message


@pytest.mark.parametrize("change, message", [
    ({"cycle_ms": 40.0}, "cycle_ms must be a whole number, got 40.0"),
    ({"hold_ms": True}, "hold_ms must be a whole number, got True"),
    ({"load_ms": "8 s"}, "load_ms must be a whole number, got '8 s'"),
    ({"heartbeat_ms": math.nan}, "heartbeat_ms must be a whole number, got nan"),
    ({"ask_racks": 1}, "ask_racks must be True or False, got 1"),
    ({"return_policy": None}, "return_policy must be a str, got None"),
])
def test_wrong_type(change, message):
    with pytest.raises(TypeError) as caught:
        PairSettings(**change)
    assert str(caught.value) == message


EXAMPLE = {
    "cycle_ms": 40, "heartbeat_ms": 50, "missed_beats": 3, "margin_ms": 10, "decision_ms": 20,
    "rack_update_ms": 20, "output_filter_ms": 5, "hold_ms": 500, "load_ms": 8000,
    "start_ms": 2000, "return_wait_ms": 300_000, "wait_limit_ms": 5000, "second_cycle_ms": None,
    "return_policy": "stays", "ask_racks": True, "count_in_heartbeat": False, "third_vote": False}


def test_settings_of_the_example():
    assert PairSettings() == PairSettings(**EXAMPLE)
    assert PairSettings().silence_ms == 3 * 50 + 10
    assert PairSettings().longest_write_gap_ms == 40 + 20
    assert (PairSettings().detection_least_ms, PairSettings().detection_most_ms) == (110, 160)
    uneven = PairSettings(second_cycle_ms=30)
    assert (uneven.cycle_of(0), uneven.cycle_of(1)) == (40, 30)
    assert (PairSettings().cycle_of(0), PairSettings().cycle_of(1)) == (40, 40)
    assert uneven.longest_write_gap_ms == 60
    assert PairSettings(second_cycle_ms=60).longest_write_gap_ms == 80


@pytest.mark.parametrize("name, least, most, beside", [
    ("cycle_ms", 1, 1000, {"hold_ms": 60_000}), ("heartbeat_ms", 2, 10_000, {"margin_ms": 0}),
    ("missed_beats", 1, 50, {}), ("margin_ms", 0, 9999, {"heartbeat_ms": 10_000}),
    ("decision_ms", 0, 1000, {}), ("rack_update_ms", 1, 1000, {"hold_ms": 60_000}),
    ("output_filter_ms", 0, 1000, {"hold_ms": 1001}),
    ("hold_ms", 3, 60_000, {"cycle_ms": 1, "rack_update_ms": 1, "output_filter_ms": 0}),
    ("wait_limit_ms", 4, 600_000, {"cycle_ms": 1, "rack_update_ms": 1}),
    ("load_ms", 1, 3_600_000, {}), ("start_ms", 0, 600_000, {}),
    ("return_wait_ms", 0, 86_400_000, {}), ("second_cycle_ms", 1, 1000, {"hold_ms": 60_000}),
])
def test_ends_of_every_range(name, least, most, beside):
    for value in (least, most):
        assert getattr(PairSettings(**beside, **{name: value}), name) == value
    for value in (least - 1, most + 1):
        with pytest.raises(ValueError, match=f"{name} must be {least} to {most}, got {value}"):
            PairSettings(**beside, **{name: value})


def test_a_hold_time_just_above_the_longest_pause_is_allowed():
    assert PairSettings(hold_ms=61).hold_ms == 61
    assert PairSettings(output_filter_ms=499).output_filter_ms == 499
    assert PairSettings(wait_limit_ms=101).wait_limit_ms == 101
    assert PairSettings(margin_ms=49).silence_ms == 199


# ---------------------------------------------------------------- budget


# cycle of the unit that takes over: first 40, second 60; detection 110 to 160 as in the example
@pytest.mark.parametrize("cause, takes_over, change, terms", [
    ("no power", 1, {}, [(110, 160), (20, 20), (60, 120), (0, 20), (5, 5)]),
    ("no power", 0, {}, [(110, 160), (20, 20), (40, 80), (0, 20), (5, 5)]),
    ("stopped", 0, {}, [(40, 80), (0, 20), (5, 5)]),
    # the unit that hands over announces it at its next cycle
    ("handed over", 1, {}, [(0, 40), (60, 120), (0, 20), (5, 5)]),
    ("handed over", 0, {}, [(0, 60), (40, 80), (0, 20), (5, 5)]),
    ("frozen", 0, {"count_in_heartbeat": True}, [(110, 160), (20, 20), (40, 80), (0, 20), (5, 5)]),
    # one missed beat: 10 to 60, but the mark of the frozen unit is fresh for 60 + 20
    ("frozen", 0, {"count_in_heartbeat": True, "missed_beats": 1},
     [(10, 80), (20, 20), (40, 80), (0, 20), (5, 5)]),
    ("frozen", 0, {"count_in_heartbeat": True, "missed_beats": 1, "ask_racks": False},
     [(10, 60), (20, 20), (40, 80), (0, 20), (5, 5)]),
    ("no power", 0, {"missed_beats": 1}, [(10, 60), (20, 20), (40, 80), (0, 20), (5, 5)]),
])
def test_budgets_of_two_unlike_units(cause, takes_over, change, terms):
    settings = PairSettings(second_cycle_ms=60, **change)
    budget = switchover_budget(settings, cause=cause, takes_over=takes_over)
    assert [(term.least_ms, term.most_ms) for term in budget.terms] == terms
    assert (budget.cause, budget.least_ms, budget.most_ms) == (
        cause, sum(least for least, _ in terms), sum(most for _, most in terms))


def test_the_second_unit_takes_over_unless_said():
    assert switchover_budget(PairSettings(second_cycle_ms=60)).most_ms == 325


def test_budget_of_the_example():
    """The example of the lessons (invented), summed by hand."""
    budget = switchover_budget()
    assert [(term.least_ms, term.most_ms) for term in budget.terms] == [
        (110, 160), (20, 20), (40, 80), (0, 20), (5, 5)]
    assert (budget.least_ms, budget.most_ms) == (175, 285)
    assert PairSettings().hold_ms > budget.most_ms + 40 + 20 + 100


def test_announced_stop_needs_no_detection():
    budget = switchover_budget(cause="stopped")
    assert [term.name for term in budget.terms] == ["cycle", "rack update", "output filter"]
    assert (budget.least_ms, budget.most_ms) == (45, 105)


@pytest.mark.parametrize("arguments, message", [
    ({"cause": "tired"}, "cause must be one of no power, stopped, handed over, frozen, got"),
    ({"cause": "frozen"}, "cause 'frozen' must have count_in_heartbeat=True"),
    ({"takes_over": 2}, "takes_over must be 0 to 1, got 2"),
])
def test_budget_refuses(arguments, message):
    with pytest.raises(ValueError, match=message.replace("(", "[(]")):
        switchover_budget(**arguments)


def takeover_ms(pair_settings, phases, fault_ms, fault="KF1: no power"):
    """Return the time to the first correct output, as the engine's history of a rack tells it."""
    active = Clock(pair_settings.cycle_of(0), pair_settings.heartbeat_ms,
                   pair_settings.rack_update_ms, 3, int(phases[0]), 7)
    standby = Clock(pair_settings.cycle_of(1), pair_settings.heartbeat_ms,
                    pair_settings.rack_update_ms, int(phases[1]), 11, int(phases[2]))
    pair = Switchover(PLANT, pair_settings, clocks={"KF1": active, "KF2": standby})
    pair.run_to(fault_ms)
    pair.switch_on(fault)
    pair.run_for(60_000)
    history = pair.output_history("KF10")
    first = next(at_ms for at_ms, outputs, writer in history
                 if writer == "KF2" and outputs is Outputs.WRITTEN)
    assert pair.snapshot().roles["KF2"] is Role.ACTIVE
    return first - fault_ms


@pytest.mark.parametrize("pair_settings", [
    PairSettings(),
    PairSettings(missed_beats=1, margin_ms=0, decision_ms=0, output_filter_ms=0),
    PairSettings(cycle_ms=7, heartbeat_ms=33, rack_update_ms=90, second_cycle_ms=31, hold_ms=5000),
], ids=["example", "bare", "uneven"])
def test_sweep_agrees_with_the_engine_to_the_millisecond(pair_settings):
    sweep = switchover_sweep(pair_settings, 40, np.random.default_rng(4))
    phases = zip(sweep.beat_phase_ms, sweep.cycle_phase_ms, sweep.update_phase_ms, strict=True)
    for i, each in enumerate(phases):
        for fault_ms in (0, 1234):
            told = switchover_times(pair_settings, *each, fault_ms=fault_ms)
            assert takeover_ms(pair_settings, each, fault_ms) == told.total_ms
        assert sweep.total_ms[i] == switchover_times(pair_settings, *each).total_ms


def test_announced_sweep_agrees_with_the_engine():
    sweep = switchover_sweep(PairSettings(output_filter_ms=0, hold_ms=61), 30,
                             np.random.default_rng(5), cause="stopped")
    for i in range(30):
        phases = sweep.beat_phase_ms[i], sweep.cycle_phase_ms[i], sweep.update_phase_ms[i]
        pair = Switchover(PLANT, clocks={
            "KF1": Clock(40, 50, 20, 3, int(phases[0]), 7),
            "KF2": Clock(40, 50, 20, int(phases[1]), 11, int(phases[2]))})
        pair.switch_on("KF1: stopped")
        pair.run_for(1000)
        writer = next(at_ms for at_ms, _, writer in pair.output_history("KF10") if writer == "KF2")
        assert writer == sweep.total_ms[i]


def test_ten_thousand_runs_reach_the_budget_in_two_seconds():
    begun_s = time.process_time()
    sweep = switchover_sweep(PairSettings(), 10_000, np.random.default_rng(6))
    assert time.process_time() - begun_s < 2.0
    budget = switchover_budget()
    assert budget.least_ms <= sweep.total_ms.min() and sweep.total_ms.max() <= budget.most_ms
    # each clock takes every phase, so each term meets its longest value
    for term, values in zip(budget.terms, (
            sweep.detection_ms, sweep.decision_ms, sweep.cycle_ms, sweep.rack_update_ms,
            sweep.output_filter_ms), strict=True):
        assert values.max() == term.most_ms
        assert values.min() in (term.least_ms, term.least_ms + 1)


@pytest.mark.parametrize("phases, expected_ms", [((1, 12, 13), 178), ((0, 20, 0), 285)])
def test_extremes_by_hand(phases, expected_ms):
    """Phases picked by hand: each wait 1 ms, and each wait a whole period."""
    assert switchover_times(PairSettings(), *phases).total_ms == expected_ms
    assert takeover_ms(PairSettings(), phases, 0) == expected_ms


def test_the_second_unit_takes_over_unless_said_in_a_sweep_too():
    """Silent at 160, decided at 180; cycles of 60 begin at 200, one later: 260; written at 280."""
    uneven = PairSettings(second_cycle_ms=60)
    assert switchover_times(uneven, 0, 20, 0).total_ms == 280 + 5
    # the first unit's cycles of 40 begin at 20, 60, ... 180: too late for 180, so 220 and 260
    assert switchover_times(uneven, 0, 20, 0, takes_over=0).total_ms == 280 + 5
    assert switchover_times(uneven, 0, 0, 0, takes_over=0).total_ms == 260 + 5
    assert switchover_times(uneven, 0, 0, 0).total_ms == 320 + 5
    assert switchover_sweep(uneven, 1, np.random.default_rng(1)).total_ms.shape == (1,)


def test_a_cable_that_begins_quiet_stays_quiet():
    """Gaps of 100 s once in 30 years: an hour has none."""
    channel = Channel(loss=0.0, quiet_ms=1e12, beat_gap_ms=1e5)
    trips = [simulated_false_alarms(PairSettings(), channel, 1.0, np.random.default_rng(seed))
             for seed in range(5)]
    assert trips == [0] * 5


@given(beats=st.integers(1, 6), beat_ms=st.integers(2, 200), cycle_ms=st.integers(1, 100),
       update_ms=st.integers(1, 100), seed=st.integers(0, 99))
@hypothesis_settings(max_examples=50, deadline=None)
def test_no_takeover_lies_outside_its_budget(beats, beat_ms, cycle_ms, update_ms, seed):
    chosen = PairSettings(missed_beats=beats, heartbeat_ms=beat_ms, margin_ms=0,
                          cycle_ms=cycle_ms, rack_update_ms=update_ms)
    total = switchover_sweep(chosen, 200, np.random.default_rng(seed)).total_ms
    budget = switchover_budget(chosen)
    assert budget.least_ms <= total.min() and total.max() <= budget.most_ms


def test_a_handover_keeps_its_budget():
    budget = switchover_budget(cause="handed over")
    assert [(term.name, term.most_ms) for term in budget.terms][0] == ("announcement", 40)
    # An announced stop, and one cycle of the active unit before it: 0 to 40 ms in the example.
    assert (budget.least_ms, budget.most_ms) == (45, 105 + 40)
    shown = []
    for seed in range(60):
        for fault_ms in (1000, 1013, 1029):
            pair = Switchover(PLANT, PairSettings(), seed=seed)
            pair.run_to(fault_ms)
            pair.switch_on("WF1.10: cut")
            pair.run_for(1000)
            at_ms = next(at for at, outputs, writer in pair.output_history("KF10")
                         if writer == "KF2" and outputs is Outputs.WRITTEN)
            shown.append(at_ms - fault_ms)
    assert budget.least_ms <= min(shown) and max(shown) <= budget.most_ms
    assert max(shown) > switchover_budget(cause="stopped").most_ms


def test_frozen_with_a_count_keeps_its_budget():
    for missed in (1, 3):
        chosen = PairSettings(count_in_heartbeat=True, missed_beats=missed)
        budget = switchover_budget(chosen, cause="frozen")
        for seed in range(30):
            pair = Switchover(PLANT, chosen, seed=seed)
            pair.run_to(997)
            pair.switch_on("KF1: frozen")
            pair.run_for(2000)
            shown = next(at for at, outputs, writer in pair.output_history("KF20")
                         if writer == "KF2" and outputs is Outputs.WRITTEN)
            assert budget.least_ms <= shown - 997 <= budget.most_ms


@pytest.mark.parametrize("call, message", [
    (lambda: switchover_sweep(PairSettings(), 0, np.random.default_rng(1)), "runs must be 1 to 10000000"),
    (lambda: switchover_times(PairSettings(), 0, 0, 0, cause="frozen"), "cause must be one of no power, stopped, got 'frozen'"),
    (lambda: switchover_times(PairSettings(), 0, 0, 0, takes_over=3), "takes_over must be 0 to 1"),
    (lambda: first_false_alarm_h(PairSettings(), 1.5), "loss must be between 0 and 1, got 1.5"),
    (lambda: simulated_false_alarms(PairSettings(), Channel(0.1), math.inf,
                                   np.random.default_rng(1)), "hours must be > 0 and finite"),
    (lambda: simulated_false_alarms(PairSettings(), Channel(0.1), 1e18, np.random.default_rng(1)),
     "hours must hold at most 10000000000 beats, got"),
    (lambda: Channel(loss=-0.1), "loss must be between 0 and 1, got -0.1"),
    (lambda: Channel(loss=0.1, quiet_ms=0.0), "quiet_ms must be > 0"),
    (lambda: Channel(loss=0.1, beat_gap_ms=-1.0), "beat_gap_ms must be >= 0"),
    (lambda: Channel(loss=1.1), "loss must be between 0 and 1, got 1.1"),
    (lambda: Channel(loss=0.1, beat_gap_loss=1.1), "beat_gap_loss must be between 0 and 1, got 1.1"),
    (lambda: Channel(loss=0.1, quiet_ms=math.inf), "quiet_ms must be > 0 and finite, got inf"),
    (lambda: Channel(loss=0.1, beat_gap_ms=math.inf), "beat_gap_ms must be >= 0 and finite, got inf"),
    (lambda: first_false_alarm_h(PairSettings(), -0.1), "loss must be between 0 and 1, got -0.1"),
    (lambda: simulated_false_alarms(PairSettings(), Channel(0.1), 0.0,
                                   np.random.default_rng(1)), "hours must be > 0 and finite"),
    (lambda: switchover_times(PairSettings(), 0, 0, 0, cause=""), "cause must be one of no power, stopped, got ''"),
])
def test_timing_refuses(call, message):
    with pytest.raises(ValueError, match=message):
        call()


# ---------------------------------------------------------------- clocks


@given(cycle_ms=st.integers(1, 90), update_ms=st.integers(1, 90), cycle_phase=st.integers(0, 89),
       update_phase=st.integers(0, 89), time_ms=st.integers(-500, 5000))
@hypothesis_settings(max_examples=300, deadline=None)
def test_writes_by_arithmetic_and_by_walking(cycle_ms, update_ms, cycle_phase, update_phase,
                                             time_ms):
    """Walk every millisecond: an update writes if a result has become ready since the last one."""
    clock = Clock(cycle_ms, 50, update_ms, cycle_phase, 0, update_phase)
    writes, fresh = [], False
    for now in range(time_ms - 400, time_ms + 400):
        if (now - update_phase) % update_ms == 0:
            if fresh:
                writes.append(now)
            fresh = False
        if (now - cycle_phase) % cycle_ms == 0:
            fresh = True
    assert clock.next_write(time_ms) == min(w for w in writes if w > time_ms)
    assert clock.last_write(time_ms) == max(w for w in writes if w <= time_ms)


def test_noise_does_not_depend_on_when_it_is_asked():
    sender = Clock(40, 50, 20, 0, 13, 0)
    channel = Channel(loss=0.3, quiet_ms=400, beat_gap_ms=150)
    ahead = NoisyCable(channel, 1000, (sender, sender), "7")
    slow = NoisyCable(channel, 1000, (sender, sender), "7")
    beats = [ahead.next_heard(0, time_ms) for time_ms in range(1000, 9000)]
    for time_ms in range(1000, 9000, 17):
        slow.last_heard(1, time_ms)
        assert slow.next_heard(0, time_ms) == beats[time_ms - 1000]
    assert {slow.last_heard(0, beat) for beat in beats} == set(beats)
    assert slow.last_heard(0, 1000) is None


@pytest.mark.parametrize("seed", "12345")
def test_silence_is_found_as_by_walking_from_beat_to_beat(seed):
    sender = Clock(40, 50, 20, 0, 13, 0)
    channel = Channel(loss=0.3, quiet_ms=2000, beat_gap_ms=200)
    noisy = NoisyCable(channel, 1000, (sender,), seed)
    plain = NoisyCable(channel, 1000, (sender,), seed)
    heard_ms = 963
    for limit_ms in range(1000, 60_000, 700):
        walked_ms, missed_ms = heard_ms, None
        while missed_ms is None and walked_ms + 160 <= limit_ms:
            next_ms = plain.next_heard(0, walked_ms)
            missed_ms = walked_ms + 160 if next_ms > walked_ms + 160 else None
            walked_ms = next_ms
        assert noisy.next_silence(0, heard_ms, 160, limit_ms) == missed_ms
        if missed_ms is not None:
            heard_ms = plain.next_heard(0, missed_ms)


def test_clocks_by_hand():
    clock = Clock(cycle_ms=40, beat_ms=50, update_ms=20, cycle_phase_ms=3, beat_phase_ms=7,
                  update_phase_ms=1)
    # beats at 7, 57, 107; cycles begin at 3, 43, 83; updates at 1, 21, 41, 61, 81
    assert (clock.last_beat(56), clock.last_beat(57), clock.next_beat(57)) == (7, 57, 107)
    assert (clock.next_cycle(42), clock.next_cycle(43)) == (43, 83)
    assert (clock.update_after(40), clock.update_after(41)) == (41, 61)
    # a result that is ready at 43 goes out at 61, the next, ready at 83, at 101
    assert (clock.last_write(60), clock.last_write(61), clock.last_write(100)) == (21, 61, 61)
    assert (clock.next_write(43), clock.next_write(61), clock.next_write(101)) == (61, 101, 141)


def test_a_clock_without_phases_starts_at_nought():
    clock = Clock(40, 50, 20)
    assert (clock.last_beat(0), clock.next_cycle(0), clock.update_after(0)) == (0, 40, 20)


def test_the_last_beat_heard_is_the_last_of_those_heard():
    sender = Clock(40, 50, 20)
    noisy, ahead = (NoisyCable(Channel(loss=0.5), 0, (sender,), "9") for _ in range(2))
    heard = {ahead.next_heard(0, time_ms) for time_ms in range(0, 10_000, 50)}
    for time_ms in range(400, 10_000, 30):
        assert noisy.last_heard(0, time_ms) == max(beat for beat in heard if beat <= time_ms)


def test_noise_by_value():
    """The invented faults: one frame of ten; and gaps of 200 ms once in a minute."""
    assert clocks.NOISE == {
        "noise": Channel(loss=0.1, beat_gap_loss=1.0, quiet_ms=60_000, beat_gap_ms=0),
        "beat gaps": Channel(loss=0.001, beat_gap_loss=1.0, quiet_ms=60_000, beat_gap_ms=200)}
    assert Channel(loss=1.0, beat_gap_loss=0.0).loss == 1.0
    assert Channel(loss=0.0, quiet_ms=0.5, beat_gap_ms=0.5).quiet_ms == 0.5


def test_gaps_take_their_share_of_the_time_in_both_directions():
    """500 ms of 1500 on average: a third of the beats; runs of them last 500 ms, 10 beats and
    what is cut off at both ends."""
    sender = Clock(40, 50, 20)
    noisy = NoisyCable(Channel(loss=0.0, quiet_ms=1000, beat_gap_ms=500), 0, (sender, sender), "3")
    beats = range(50, 50 * 40_001, 50)
    lost = [noisy.last_heard(0, beat) != beat for beat in beats]
    # 40 000 beats are 1333 gaps: 4 standard errors of a share are about 0.04
    assert sum(lost) / len(lost) == pytest.approx(1 / 3, abs=0.04)
    runs = sum(after and not before for before, after in zip(lost, lost[1:]))
    assert sum(lost) / runs == pytest.approx(10.5, abs=1.5)
    assert [noisy.last_heard(1, beat) != beat for beat in beats[:2000]] == lost[:2000]
    quiet = NoisyCable(Channel(loss=1.0, beat_gap_loss=0.0, quiet_ms=500, beat_gap_ms=1000), 0,
                       (sender,), "3")
    heard = sum(quiet.last_heard(0, beat) == beat for beat in beats)
    assert heard / len(beats) == pytest.approx(2 / 3, abs=0.04)


def test_noise_loses_its_share_and_a_dead_cable_all():
    sender = Clock(40, 50, 20)
    noisy = NoisyCable(Channel(loss=0.1), 0, (sender,), "3")
    heard = sum(noisy.next_heard(0, beat - 1) == beat for beat in range(50, 500_050, 50))
    assert heard / 10_000 == pytest.approx(0.9, abs=0.012)  # 4 standard errors of 0.003
    dead = NoisyCable(Channel(loss=1.0), 100, (sender,), "3")
    assert dead.next_heard(0, 0, 10_000) is None and dead.last_heard(0, 10_000) is None
    clear = NoisyCable(Channel(loss=0.0), 100, (sender,), "3")
    # beats at 50, 100, 150: the first after the noise has begun at 100 is 150
    assert (clear.next_heard(0, 0), clear.next_heard(0, 150), clear.next_heard(0, 149, 150)) == (
        150, 200, 150)
    assert clear.next_heard(0, 149, 149) is None
    assert clear.last_heard(0, 149) is None and clear.last_heard(0, 150) == 150
    # silent 160 ms after 100, the last beat before the noise
    assert dead.next_silence(0, 100, 160, 260) == 260
    assert dead.next_silence(0, 100, 160, 259) is None
    assert clear.next_silence(0, 100, 160, 60_000) is None
    assert clear.next_silence(0, 100, 49, 60_000) == 149  # no beat comes in 49 ms
    assert clear.next_silence(0, 100, 50, 60_000) is None  # one that is due just then counts


# ---------------------------------------------------------------- false alarms


def test_a_false_alarm_of_two_states_by_hand():
    """Beats of 50 ms; quiet 150 ms and a gap 50 ms on average, all lost in a gap, none outside.

    Shares 3/4 and 1/4; kept = exp(-(1/150 + 1/50) 50) = exp(-4/3). A trip after one missed beat
    needs quiet, then gap: 3/4 x 1/4 (1 - exp(-4/3)) per beat, 72 000 beats an hour.
    """
    channel = Channel(loss=0.0, quiet_ms=150, beat_gap_ms=50)
    one = 3 / 16 * -math.expm1(-4 / 3)
    rate = false_alarms_per_h(PairSettings(missed_beats=1), channel)
    assert rate == pytest.approx(72_000 * one, rel=1e-12)
    # and of two: once more gap to gap, exp(-4/3) + (1 - exp(-4/3)) / 4
    stays = math.exp(-4 / 3) - math.expm1(-4 / 3) / 4
    rate = false_alarms_per_h(PairSettings(missed_beats=2), channel)
    assert rate == pytest.approx(72_000 * one * stays, rel=1e-12)


def test_every_run_of_lost_beats_trips_once():
    """All of a gap is lost, and one half of an hour is enough to be simulated."""
    rng = np.random.default_rng(8)
    # gaps of one minute in ten: about 3 in half an hour of 36 000 beats, each one trip
    channel = Channel(loss=0.0, quiet_ms=540_000, beat_gap_ms=60_000)
    trips = sum(simulated_false_alarms(PairSettings(), channel, 0.5, rng) for _ in range(40))
    expected = 20 * false_alarms_per_h(PairSettings(), channel)
    assert expected == pytest.approx(20 * 6, rel=0.01)  # six gaps an hour
    assert abs(trips - expected) < 4 * math.sqrt(expected)


def test_a_run_of_losses_over_the_end_of_a_chunk_counts_once(monkeypatch):
    """Chunks of four beats are the same draws as one of all: counted by walking through these."""
    monkeypatch.setattr(timing, "CHUNK", 4)
    settings, channel = PairSettings(), Channel(loss=0.5)
    expected = false_alarms_per_h(settings, channel)  # 1/16 of 72 000: 4500
    trips = simulated_false_alarms(settings, channel, 1.0, np.random.default_rng(3))
    assert abs(trips - expected) < 4 * math.sqrt(expected)
    run = walked = 0
    for lost in np.random.default_rng(3).random(72_001)[1:] < 0.5:  # the first one: in a gap or not
        run = run + 1 if lost else 0
        walked += run == settings.missed_beats
    assert trips == walked
    dead = simulated_false_alarms(PairSettings(), Channel(loss=1.0), 0.1, np.random.default_rng(3))
    assert dead <= 1  # never heard again


def test_first_false_alarm_counts_the_margin_once():
    # p = 1/2, 2 beats: 2 + 4 = 6 beats of 50 ms, and 10 ms of margin
    assert first_false_alarm_h(PairSettings(missed_beats=2), 0.5) * 3_600_000 == pytest.approx(310)


# p^n (1 - p) / P by hand with P = 50 ms: 1 728 000 beats a day, 630 720 000 a year.
@pytest.mark.parametrize("loss, beats, hours, expected, digits", [
    (0.01, 1, 24, 17_107, 0), (0.01, 2, 24, 171, 0), (0.01, 3, 24, 1.71, 2),
    (0.01, 4, 8760, 6.2, 1), (0.01, 5, 8760, 0.062, 3), (0.01, 6, 8760, 0.0006, 4),
    (0.001, 1, 24, 1726, 0), (0.001, 2, 24, 1.7, 1), (0.001, 3, 8760, 0.63, 2),
    (0.001, 4, 8760, 0.0006, 4),
])
def test_table_of_false_alarms(loss, beats, hours, expected, digits):
    rate_per_h = false_alarms_per_h(PairSettings(missed_beats=beats), Channel(loss=loss))
    assert round(hours * rate_per_h, digits) == expected


# W. Feller, An Introduction to Probability Theory and Its Applications, vol. 1, XIII.7, table of
# mean recurrence times of success runs at one trial per second (from memory).
@pytest.mark.parametrize("chance, run, seconds", [
    (0.5, 5, 62.0),               # 1.0 minutes
    (0.5, 10, 2046.0),            # 34.1 minutes
    (0.5, 20, 2_097_150.0),       # 24.3 days
    (1 / 6, 5, 9330.0),           # 2.6 hours
])
def test_first_false_alarm_is_fellers_run(chance, run, seconds):
    one_per_second = PairSettings(missed_beats=run, heartbeat_ms=1000, margin_ms=0)
    assert first_false_alarm_h(one_per_second, chance) * 3600 == pytest.approx(
        seconds, rel=1e-12, abs=0)


@pytest.mark.parametrize("loss", [Fraction(1, 100), Fraction(1, 3), Fraction(9, 10)])
@pytest.mark.parametrize("run", [1, 2, 5])
def test_first_false_alarm_by_exact_elimination(loss, run):
    """Solve E_k = 1 + p E_(k+1) + (1 - p) E_0 backwards in fractions: E_k = a + b E_0."""
    a, b = Fraction(0), Fraction(0)
    for _ in range(run):
        a, b = 1 + loss * a, (1 - loss) + loss * b
    beats = a / (1 - b)
    got = first_false_alarm_h(PairSettings(missed_beats=run, margin_ms=0), float(loss))
    assert got * 3_600_000 / 50 == pytest.approx(float(beats), rel=1e-12, abs=0)


def test_between_two_trips_lies_a_heard_beat_and_a_run():
    for loss in (0.01, 0.3, 0.9):
        chosen = PairSettings(missed_beats=3, margin_ms=0)
        between_h = first_false_alarm_h(chosen, loss) + 50 / 3_600_000 / (1 - loss)
        assert 1 / false_alarms_per_h(chosen, Channel(loss=loss)) == pytest.approx(
            between_h, rel=1e-12, abs=0)


def test_limits_of_false_alarms():
    assert false_alarms_per_h(PairSettings(), Channel(loss=0.0)) == 0.0
    assert false_alarms_per_h(PairSettings(), Channel(loss=1.0)) == 0.0  # never heard, never again
    assert first_false_alarm_h(PairSettings(), 0.0) == math.inf
    # one in 1e10 thirty times in a row is once in 1e300 beats of 50 ms; once more is beyond that
    assert first_false_alarm_h(PairSettings(missed_beats=30), 1e-10) == pytest.approx(1e300 * 50 / 3_600_000)
    assert first_false_alarm_h(PairSettings(missed_beats=31), 1e-10) == math.inf
    assert first_false_alarm_h(PairSettings(), 1.0) == pytest.approx(160 / 3_600_000, rel=1e-12)


@pytest.mark.parametrize("channel, hours", [
    (Channel(loss=0.10), 10),
    (Channel(loss=0.0, quiet_ms=3000, beat_gap_ms=180), 10),
    (Channel(loss=0.02, beat_gap_loss=0.8, quiet_ms=2000, beat_gap_ms=400), 10),
])
def test_simulated_trips_agree_with_the_exact_rate(channel, hours):
    chosen = PairSettings()
    expected = hours * false_alarms_per_h(chosen, channel)
    counts = [simulated_false_alarms(chosen, channel, hours, np.random.default_rng(seed))
              for seed in range(8)]
    error = np.std(counts, ddof=1) / math.sqrt(len(counts))
    assert abs(np.mean(counts) - expected) < 4 * max(error, math.sqrt(expected / len(counts)))


def test_long_gaps_beat_every_number_of_beats():
    """300 ms of noise last longer than any six beats of 50 ms in a row."""
    channel = Channel(loss=0.0, quiet_ms=3_600_000, beat_gap_ms=3_000)
    rates = [false_alarms_per_h(PairSettings(missed_beats=n), channel) for n in range(1, 7)]
    assert min(rates) > 0.9 * max(rates) > 0.85


def test_engine_trips_as_often_as_the_exact_rate():
    """The engine draws its own losses, beat by beat."""
    hours, trips = 1, 0
    for seed in range(3):
        pair = Switchover(PLANT, seed=seed)
        pair.switch_on("WF9: noise")
        pair.run_for(hours * 3_600_000)
        trips += sum(entry.what == "heartbeat of KF2" and entry.new == "missed"
                     for entry in pair.record)
    expected = 3 * hours * false_alarms_per_h(PairSettings(), clocks.NOISE["noise"])
    assert abs(trips - expected) < 4 * math.sqrt(expected)
