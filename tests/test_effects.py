"""What faults do, taken from running the rules: checked against slower looks at the same rules."""

from dataclasses import replace

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.effects import (
    WATCH_S,
    Do,
    _gap_ms,
    _takeover_ms,
    _worst,
    course_of,
    effect_of,
    effects_of,
    shows,
)
from labkit.rig.rig import Rig
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.lamps import lamps_of
from labkit.switchover.roles import Outputs, Role
from labkit.switchover.settings import PairSettings, switchover_budget, usual_settings
from tests.line_and_engine import Judge
from tests.test_plant_keys import part, plant_of

PLANT = load_plant()


@pytest.fixture(scope="module")
def effects():
    return effects_of(PLANT)


def test_every_fault_is_run_with_both_leaders(effects):
    assert set(effects) == {(fault, unit) for fault in faults_of(PLANT) for unit in ("KF1", "KF2")}
    assert all(effect.leader == leader for (_, leader), effect in effects.items())


@pytest.mark.parametrize("leader", ["KF1", "KF2"])
@pytest.mark.parametrize(("how", "cause"), [("no power", "no power"), ("stopped", "stopped")])
@pytest.mark.parametrize("seed", range(6))
def test_takeover_lies_within_its_budget(leader, how, cause, seed):
    other = "KF2" if leader == "KF1" else "KF1"
    effect = effect_of(PLANT, f"{leader}: {how}", leader=leader, seed=seed)
    budget = switchover_budget(cause=cause, takes_over=PLANT.pair.units.index(other))
    assert budget.least_ms <= effect.takeover_ms <= budget.most_ms
    assert effect.longest_gap_ms <= budget.most_ms
    assert effect.leads_after == other and not effect.gap_open
    assert effect.worst is Outputs.HELD


def test_a_gap_is_counted_for_each_rack_by_another_means():
    """Count the milliseconds in which the outputs are not written, one by one."""
    effect = effect_of(PLANT, "KF1: no power", seed=3)
    pair = Switchover(PLANT, seed=3)
    pair.run_for(2000)
    pair.switch_on("KF1: no power")
    held = dict.fromkeys(PLANT.racks, 0)
    for _ in range(1000):
        for rack, state in pair.snapshot().outputs.items():
            held[rack] += state is not Outputs.WRITTEN
        pair.run_for(1)
    assert dict(effect.gap_ms) == held


@pytest.mark.parametrize("fault", ["KF1: no power", "WF9: cut", "KF1: frozen", "WF9: gaps of beats"])
def test_the_first_sign_is_found_by_another_means(fault):
    """Look at lamps and alarms in every single millisecond."""
    pair = Switchover(PLANT)
    pair.run_for(2000)

    def shown():
        snapshot = pair.snapshot()
        return [(lamp.text, lamp.flashing) for lamp in lamps_of(snapshot)], snapshot.alarms

    before = shown()
    pair.switch_on(fault)
    while shown() == before:
        pair.run_for(1)
    assert effect_of(PLANT, fault).noticed_after_ms == pair.time_ms - 2000


def test_what_nobody_notices(effects):
    silent = {fault for (fault, leader), effect in effects.items()
              if leader == "KF1" and not effect.noticed}
    assert silent == {
        "KF2: frozen", "KF1: integrator not tracking", "KF2: integrator not tracking",
        "KF10B: dead and silent", "KF20B: dead and silent", "KF30B: dead and silent",
        "BL1: stuck", "settings: hold time too short", "settings: one missed beat",
        "settings: racks not asked",
    }
    # What no lamp shows the process does: its own alarm comes when the level is high.
    assert effects["QM1: shut locally", "KF1"].alarms[0] == "level high"
    # The same interfaces are found by the unit that writes through them.
    assert effects["KF10B: dead and silent", "KF2"].noticed


def test_a_frozen_leader_is_not_missed_and_costs_a_restart(effects):
    effect = effects["KF1: frozen", "KF1"]
    assert effect.leads_after == "KF1" and effect.takeover_ms is None
    assert effect.gap_open == set(PLANT.racks) and effect.worst is Outputs.FAIL_STATE
    # Rule 9: the hold time after the last write, which came at most one write gap before.
    settings = PairSettings()
    assert settings.hold_ms - settings.longest_write_gap_ms <= effect.noticed_after_ms \
        <= settings.hold_ms
    # The held batches and the low trip of the cost table, 9600 and 1400 EUR (invented).
    assert effect.event_cost == pytest.approx(11_000, rel=1e-12)
    times_s = {each.name: each.time_s for each in effect.happenings}
    # With the pumps off the tank is at its low trip 30 s later (invented, 1.5 m2 and 30 L/s).
    assert times_s["low trip"] - times_s["pumps off"] == pytest.approx(30.0, rel=0.02)


def test_lost_functions_are_those_that_the_engine_has_lost(effects):
    """Judged from histories and roles: a frozen unit loses control, a dark one the view as well."""
    judge = Judge(PLANT)
    for (fault, leader), effect in effects.items():
        pair = Switchover(PLANT)
        if leader == "KF2":
            pair.request_role_change()
        pair.run_for(2_000)
        pair.switch_on(fault)
        pair.run_for(70_000)
        shown = {name for name in effect.functions_lost if name in PLANT.functions}
        assert shown == judge.lost_after(pair, ()), (fault, leader)


def test_losing_the_view_touches_no_control(effects):
    for fault in ("TF1: no power", "WF3: cut", "PH1: dark"):
        effect = effects[fault, "KF1"]
        assert not effect.after.panel_sees and effect.functions_lost == ("see and act",)
        assert effect.after.roles == effect.before.roles and effect.longest_gap_ms == 0


def test_what_was_prepared_is_no_effect():
    effect = course_of(PLANT, [Do("on", "KF1: no power")],
                       prepared=[Do("on", "KF2: no power")])
    assert effect.before.roles["KF2"] is Role.OFF and effect.leader == "KF1"
    assert "KF2" not in {each.unit for each in effect.lamps}
    assert effect.gap_open == set(PLANT.racks)
    # from the fault to the end: what one waits after an act, what is watched, loading and self test
    settings = usual_settings(PLANT)
    watched_ms = 1000 * (effect.actions[0].wait_s + WATCH_S) + settings.load_ms + settings.start_ms
    assert dict(effect.gap_ms) == dict.fromkeys(PLANT.racks, watched_ms)
    assert effect.record[0].time_ms == 0 and effect.record[-1].time_ms <= watched_ms
    assert [entry.what for entry in effect.record].count("fault") == len(effect.actions)


def test_loading_and_self_test_come_on_top_of_the_watch():
    """Power off and on: a unit tests itself, listens for a beat, loads and is ready: 10 + 5 s."""
    settings = PairSettings(start_ms=10_000, load_ms=5000, heartbeat_ms=50)
    for watch_s, role in ((0.1, Role.STANDBY), (0.001, Role.LOADING)):
        effect = course_of(PLANT, [Do("off", "KF2: no power", 0.001)], settings, watch_s=watch_s,
                           prepared=[Do("on", "KF2: no power")])
        assert effect.after.roles["KF2"] is role


def test_times_and_outputs_count_from_the_first_act():
    """0.24 m of 1.51237 m2 at 30 L/s run over after 12.09896 s; what was lost before, and is back, is none."""
    plant = replace(PLANT, process={**PLANT.process, "tank_area_m2": 1.51237})
    effect = course_of(plant, [Do("on", "QM1: shut locally")],
                       prepared=[Do("on", "KF20: module fault"), Do("off", "KF20: module fault")])
    (over,) = [each for each in effect.happenings if each.name == "overflow"]
    assert over.time_s == 12.099
    assert set(effect.outputs_worst.values()) == {Outputs.WRITTEN}
    # two that write by turns have taken nothing over from one another
    fight = course_of(PLANT, [Do("on", "WF9: cut")], PairSettings(ask_racks=False))
    assert fight.takeover_ms is None and fight.after.writes_fight
    assert fight.leads_after is None and len(fight.after.leaders) == 2


def test_a_takeover_ends_with_the_rack_that_is_written_last():
    """KF2 writes two racks when KF1 is lost, and the third once that is whole again, 2 s later."""
    rack = "KF10: module fault"
    effect = course_of(PLANT, [Do("on", "KF1: no power"), Do("off", rack)], prepared=[Do("on", rack)])
    written = {each.who: each.time_ms for each in effect.record
               if (each.what, each.new) == ("outputs", "written")}
    assert written["KF20"] == written["KF30"] < 2000 < written["KF10"]
    assert effect.takeover_ms == written["KF10"] - 2000
    # the gap of the third was there before, and counts from the first act
    assert effect.gap_ms["KF10"] == written["KF10"]
    assert "_pair" not in repr(effect)


def test_the_way_back_gives_no_role_back():
    effect = course_of(PLANT, [Do("on", "KF1: no power", wait_s=5),
                               Do("off", "KF1: no power")])
    assert effect.after.roles["KF1"] is Role.STANDBY and effect.leads_after == "KF2"
    assert not effect.after.alarms and effect.alarms


def test_settings_are_heard():
    settings = PairSettings(count_in_heartbeat=True)
    effect = effect_of(PLANT, "KF1: frozen", settings)
    assert effect.leads_after == "KF2"
    assert effect.takeover_ms <= switchover_budget(settings, cause="frozen").most_ms


@pytest.mark.parametrize("name", ["elderhang", "mirelow"])
def test_plants_without_a_pair(name):
    plant = load_plant(name)
    effects = effects_of(plant)
    off = effects["KF1: no power", "KF1"]
    assert off.leads_after is None and off.worst is Outputs.FAIL_STATE and off.functions_lost
    assert off.takeover_ms is None


WRITTEN, HELD, FAILED = Outputs.WRITTEN, Outputs.HELD, Outputs.FAIL_STATE


@pytest.mark.parametrize(("history", "gap", "worst", "takeover"), [
    # looked at from 100 to 200 ms, KF1 led, the last act came at 150 ms
    ([(0, WRITTEN, "KF1")], 0, WRITTEN, None),
    ([(0, WRITTEN, "KF1"), (160, HELD, None), (175, WRITTEN, "KF2")], 15, HELD, 25),
    ([(0, WRITTEN, "KF1"), (100, HELD, None), (150, WRITTEN, "KF2")], 50, HELD, 0),
    ([(0, WRITTEN, "KF1"), (149, WRITTEN, "KF2")], 0, WRITTEN, None),  # before the last act
    # a gap goes on while held outputs let go, and counts from the first act; one that is over is none
    ([(0, HELD, None), (120, FAILED, None), (130, WRITTEN, "KF2"), (140, HELD, None), (190, WRITTEN, "KF2")],
     50, FAILED, 40),
    ([(0, HELD, None), (90, FAILED, None), (170, WRITTEN, "KF2")], 70, FAILED, 20),
    ([(0, WRITTEN, "KF1"), (20, FAILED, None), (90, WRITTEN, "KF2")], 0, WRITTEN, None),
    ([(0, FAILED, None), (100, WRITTEN, "KF2")], 0, WRITTEN, None),
    ([(0, WRITTEN, "KF1"), (100, WRITTEN, "KF2"), (180, HELD, None)], 20, HELD, None),  # ends held
    ([(0, WRITTEN, "KF2"), (110, WRITTEN, None)], 0, WRITTEN, None),  # two write by turns
])
def test_gap_worst_and_takeover_of_one_rack_by_hand(history, gap, worst, takeover):
    assert (_gap_ms(history, 100, 200), _worst(history, 100)) == (gap, worst)
    assert _takeover_ms({"KF10": history}, "KF1", 150) == takeover


def test_a_takeover_counts_to_the_last_of_the_racks_that_are_written():
    by = {"KF10": [(0, WRITTEN, "KF1"), (160, WRITTEN, "KF2")], "KF20": [(0, FAILED, None)],
          "KF30": [(0, WRITTEN, "KF1"), (155, WRITTEN, "KF2")]}
    assert _takeover_ms(by, "KF1", 150) == 10
    assert _takeover_ms(by | {"KF40": [(0, WRITTEN, "KF1")]}, "KF1", 150) is None
    assert _takeover_ms({}, "KF1", 150) is None


def test_the_worst_of_all_racks_and_the_longest_gap(effects):
    effect = effects["WF9: cut", "KF1"]
    for states, worst in (((WRITTEN, HELD), HELD), ((FAILED, HELD), FAILED), ((), WRITTEN)):
        named = dict(zip(PLANT.racks, states, strict=False))
        assert replace(effect, outputs_worst=named).worst is worst
    assert replace(effect, gap_ms={"KF10": 3, "KF20": 7}).longest_gap_ms == 7
    assert replace(effect, gap_ms={}).longest_gap_ms == 0


def test_one_fault_is_watched_for_72_s():
    """Two after the act, a minute, 8 to load and 2 to test itself; the alarm comes 0.12 m higher.

    30 L/s fill 1.5 m2 by that in 6 s, and an area larger in the same measure in 72 s.
    """
    assert effect_of(PLANT, "QM1: shut locally").noticed_after_ms == 6000
    for at_s, seen_ms in ((71.9, 71_900), (72.1, None)):
        plant = replace(PLANT, process={**PLANT.process, "tank_area_m2": 1.5 * at_s / 6})
        effect = effect_of(plant, "QM1: shut locally")
        assert (effect.noticed_after_ms, effect.noticed) == (seen_ms, seen_ms is not None)
        assert effect.after.time_ms - effect.before.time_ms == 72_000


def test_shown_is_what_the_whole_run_notices(effects, monkeypatch):
    for (fault, leader), effect in effects.items():
        assert shows(PLANT, fault, leader=leader) is bool(effect.noticed or effect.happenings)
    # and as long: what nobody notices is looked at to the end, 72 s after the two to settle
    ends_ms, run_to = [], Rig._run_to
    monkeypatch.setattr(Rig, "_run_to", lambda rig, end_ms, *by: (
        ends_ms.append(end_ms), run_to(rig, end_ms, *by)))
    assert not shows(PLANT, "KF10B: dead and silent")
    assert ends_ms == [2000, 2000 + 72_000]


def test_the_same_run_twice_is_the_same_effect():
    one, other = (effect_of(PLANT, "KF1: no power", seed=seed) for seed in (1, 2))
    assert one == effect_of(PLANT, "KF1: no power") and one != other
    assert one == course_of(PLANT, [Do("on", "KF1: no power")])
    assert (one.actions[0].wait_s, "_broken" in repr(one)) == (2.0, False)


def test_what_it_cost_before_is_no_cost_of_the_act():
    """The tank has run over, for 900 EUR; the lamp that goes dark then costs nothing."""
    over = [Do("on", "QM1: shut locally", wait_s=20), Do("off", "QM1: shut locally", wait_s=60)]
    effect = course_of(PLANT, [Do("on", "PH1: dark")], prepared=over)
    assert (effect.event_cost, effect.happenings, effect.alarms) == (0, (), ("panel PH1 does not answer",))
    assert course_of(PLANT, over).event_cost == 900
    assert (effect.before.time_ms, effect.after.time_ms) == (82_000, 82_000 + 72_000)


def test_a_standby_that_is_started_by_hand_leads_after_the_first_one_was_stopped():
    by_hand = replace(PLANT, pair=replace(PLANT.pair, coverage=0.0))
    effect = effect_of(by_hand, "WF9: cut", leader="KF2")
    assert effect.before.roles == {"KF1": Role.STOPPED, "KF2": Role.ACTIVE}
    assert effect_of(by_hand, "WF9: cut", leader="KF1").before.roles == {
        "KF1": Role.ACTIVE, "KF2": Role.STOPPED}


def test_who_leads_where_there_is_no_pair():
    two = plant_of(*(part(name, "controller") for name in ("KF1", "KF2")), function=[
        {"name": "run", "needs": ["KF1"]}, {"name": "aside", "needs": ["KF2"], "by": ["KF2"]}])
    assert {leader for _, leader in effects_of(two)} == {"KF1"}
    assert {leader for _, leader in effects_of(plant_of(part("EC1", "fan")))} == {None}


@pytest.mark.parametrize(("call", "message"), [
    (lambda: effect_of(PLANT, "KF1: no pwer"), "did you mean 'KF1: no power'"),
    (lambda: effect_of(PLANT, "KF1: no power", leader="KF3"),
     "leader must be one of KF1, KF2, got 'KF3'"),
    (lambda: course_of(PLANT, [Do("push")]), "verb must be one of on, off, role change, got 'push'"),
])
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()
