"""Settled states and the ways between them: what a table of the rig is made of."""

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from labkit.plant.plant import load_plant
from labkit.rig.rig import Rig, Trend
from labkit.rig.settled import (
    _gone_by_letters,
    act_alone,
    acts_at,
    come_to_rest,
    do,
    rest,
    state_key,
    ways_from,
)
from labkit.rig.tank import Happening
from labkit.switchover.roles import Entry


def rig_after(rig, acts):
    """Return the rig after acts in turn, at rest after each; the one given goes on."""
    come_to_rest(rig)
    for act in acts:
        do(rig, act)
        come_to_rest(rig)
    return rig


@pytest.fixture(scope="module")
def plant():
    return load_plant()


def at_rest(plant, *acts):
    return rig_after(Rig(plant), acts)


FOLDER = Path(__file__).parent / "plant_files"
CUT, FROZEN = ("on", "KF1: no power"), ("on", "KF2: frozen")


def test_a_copy_goes_on_as_the_rig_that_it_was_taken_from(plant):
    rig = at_rest(plant, CUT)
    other = rig.copy()
    for each in (rig, other):
        each.switch_on("QM1: shut locally")
        each.wait(90)
    here, there = rig.view(), other.view()
    assert there.snapshot == here.snapshot and there.lines == here.lines
    assert there.record == here.record[len(here.record) - len(there.record):]
    assert len(there.record) > 1
    assert there.trend.level_m[-1] == here.trend.level_m[-1] != 1.2


def test_a_battery_that_carries_is_one_state_at_any_time_and_an_empty_one_another():
    # Its 45 minutes end at another moment when the mains go a minute later: no other state by that.
    rigs = [Rig(load_plant(FOLDER / "tarn_dairy.toml")) for _ in range(2)]
    rigs[1].wait(60)
    for rig in rigs:
        do(rig, ("on", "QA1: cut"))
    assert rigs[0].snapshot().batteries["GB1"] < rigs[1].snapshot().batteries["GB1"]
    assert state_key(rigs[0]) == state_key(rigs[1])
    rigs[1].wait(45 * 60)
    assert state_key(rigs[0]) != state_key(rigs[1])


def test_a_copy_leaves_the_rig_as_it_was(plant):
    rig = at_rest(plant)
    before = rig.text()
    other = rig.copy()
    other.switch_on("KF1: no power")
    other.wait(10)
    assert rig.text() == before and rig.faults == ()


def test_what_can_be_done_ends_at_the_most_faults(plant):
    rig = at_rest(plant, CUT)
    assert acts_at(rig, 1) == [("off", "KF1: no power"), ("role change", "")]
    assert len(acts_at(rig, 2)) == len(rig.known_faults) - 1 + 2
    both = at_rest(plant, CUT, FROZEN)
    assert acts_at(both, 2)[-1] == ("all off", "")


def test_of_some_faults_those_that_are_not_on_can_come(plant):
    rig = at_rest(plant, CUT)
    some = ["KF1: no power", "KF2: frozen", "WF9: cut"]
    assert acts_at(rig, 2, some) == [
        ("off", "KF1: no power"), FROZEN, ("on", "WF9: cut"), ("role change", "")]


@pytest.mark.parametrize(("faults", "wait_s", "more_s"), [
    ((), 2, 0),
    (("KF1: no power",), 5, 0),
    (("KF2: stopped",), 5, 0),
    (("KF2: restarted",), 1, 65),  # it loads
    (("KF1: no power", "KF2: no power"), 5, 65),  # nobody leads
])
def test_a_pair_is_left_until_it_is_led_and_nobody_loads(plant, faults, wait_s, more_s):
    """A minute beyond the 5 s for which a unit waits for a partner that never leads."""
    rig = Rig(plant)
    rig.wait(2)
    for fault in faults:
        rig.switch_on(fault)
    rig.wait(wait_s)
    rest(rig)
    assert rig.now_s == 2 + wait_s + more_s
    come_to_rest(rig)
    assert rig.now_s == 2 + wait_s + more_s + (65 if len(faults) > 1 else 0) + 60
    assert rig.trend().time_s[0] == rig.now_s - 60


def test_all_off_and_a_minute_later(plant):
    rig = at_rest(plant, CUT, FROZEN)
    now_s = rig.now_s
    do(rig, ("all off", ""))
    assert rig.faults == () and rig.now_s == now_s + 60
    assert [each.fault_id for each in rig.actions[-2:]] == ["KF1: no power", "KF2: frozen"]


def test_an_act_begins_record_course_and_costs_anew(plant):
    """Rows before the act fall out, of two at one moment the first; 900 for the overflow, by the file."""
    rig = at_rest(plant)
    before = rig.view()
    start_s = before.snapshot.time_ms / 1000
    time_s = start_s + np.array([-1.0, 0.0, 0.0, 0.2000003, 0.4])
    course = Trend(time_s, *np.arange(25.0).reshape(5, 5))
    over = Happening(start_s, "overflow", "the tank runs over")
    snapshot = dataclasses.replace(before.snapshot, time_ms=before.snapshot.time_ms + 400, alarms=("b", "a"))
    after = dataclasses.replace(
        before, snapshot=snapshot, process_alarms=("d", "c"), trend=course, event_cost=5000.0,
        happenings=(*before.happenings, over), record=(*before.record, Entry(
            before.snapshot.time_ms + 3, "KF1", "role", "active", "off", "")))
    first, then = act_alone(before, after, plant)
    assert (first.snapshot.time_ms, first.event_cost, first.trend) == (0, 0, before.trend)
    assert (then.snapshot.time_ms, then.event_cost, then.happenings) == (400, 900, (over,))
    assert (then.snapshot.alarms, then.process_alarms) == (("a", "b"), ("c", "d"))
    assert [each.time_ms for each in then.record] == [3]
    assert then.trend.time_s.tolist() == [0.0, 0.2, 0.4]
    assert then.trend.level_m.tolist() == [2.0, 3.0, 4.0]
    bare = dataclasses.replace(after, trend=None)
    assert act_alone(before, bare, plant)[1].trend is None


def test_the_cost_of_a_way_is_that_of_the_plant_that_is_given(plant):
    dear = dataclasses.replace(plant, costs_beside={"overflow": 1.0})
    for given, cost in ((None, 900), (plant, 900), (dear, 1)):
        (way,) = ways_from(at_rest(plant), [("on", "QM1: shut locally")], given)
        assert way.after.event_cost == cost


def test_a_standby_that_waits_to_be_started_is_no_fault_of_those_that_may_be_on(plant):
    by_hand = dataclasses.replace(plant, pair=dataclasses.replace(plant.pair, coverage=0.0))
    rig = at_rest(by_hand)
    assert rig.faults == ("KF2: stopped",) and CUT in acts_at(rig, 1)
    assert acts_at(rig_after(rig, [CUT]), 1) == [
        ("off", "KF2: stopped"), ("off", "KF1: no power"), ("role change", ""), ("all off", "")]


@pytest.mark.parametrize(("acts", "leads"), [
    # rule 6: nothing goes back by itself
    ((CUT, ("off", "KF1: no power")), "KF2"),
    ((CUT, ("off", "KF1: no power"), ("role change", "")), "KF1"),
    (((("role change", "")), ("on", "KF2: stopped"), ("all off", "")), "KF1"),
])
def test_healthy_states_differ_by_who_leads(plant, acts, leads):
    rig = at_rest(plant, *acts)
    roles = {unit: role.value for unit, role in rig.snapshot().roles.items()}
    assert rig.faults == () and roles == {unit: "active" if unit == leads else "standby"
                                          for unit in ("KF1", "KF2")}
    healthy = {name: state_key(at_rest(plant, *way))
               for name, way in (("KF1", ()), ("KF2", (("role change", ""),)))}
    assert [name for name, key in healthy.items() if key == state_key(rig)] == [leads]


def test_the_process_begins_each_minute_at_its_set_point(plant):
    rig = at_rest(plant, ("on", "QM1: shut locally"), ("off", "QM1: shut locally"))
    assert rig.trend().level_m[-1] == pytest.approx(1.2, rel=1e-12) and not rig.process_alarms
    shut = at_rest(plant, ("on", "QM1: shut locally"))
    # 30 L/s into 1.5 m2 fill the 0.24 m up to the overflow in 12 s
    first = next(each for each in shut.happenings if each.name == "overflow")
    assert first.time_s - shut.trend().time_s[0] == pytest.approx(12.0, rel=1e-9)


def test_a_way_tells_its_act_alone(plant):
    (way,) = ways_from(at_rest(plant), [CUT])
    assert way.before.snapshot.time_ms == 0 and way.after.snapshot.time_ms == 60_000
    assert way.after.record[0].time_ms == 0 and way.after.record[0].what == "fault"
    assert way.after.trend.time_s[0] == 0 and way.after.trend.time_s[-1] == 60
    assert (way.before.event_cost, way.before.record, way.before.happenings) == (0, (), ())


def test_alarms_that_go_at_one_moment_stand_by_their_letters():
    def entry(time_ms, old, new, what="alarm"):
        return Entry(time_ms, "KF1", what, old, new, "")

    b, a, came, c, later = (entry(5, "b", ""), entry(5, "a", ""), entry(5, "", "d"),
                            entry(5, "c", ""), entry(6, "a", ""))
    role = entry(6, "active", "", what="role")
    assert [*_gone_by_letters([b, a, came, c, later, role])] == [a, b, came, c, later, role]
    assert [*_gone_by_letters([role, later])] == [role, later]


def test_a_walk_in_one_piece_shows_what_the_copies_show(plant):
    rig, branch = at_rest(plant), at_rest(plant)
    for act in (CUT, FROZEN, ("off", "KF1: no power"), ("role change", "")):
        before = rig.view()
        do(rig, act)
        whole = act_alone(before, rig.view(), plant)[1]
        come_to_rest(rig)
        (way,) = ways_from(branch, [act])
        branch = way.rig
        come_to_rest(branch)
        assert whole.record == way.after.record and whole.snapshot == way.after.snapshot
        assert whole.happenings == () or [each.name for each in whole.happenings] == [
            each.name for each in way.after.happenings]
        assert whole.trend.level_m.tolist() == way.after.trend.level_m.tolist()
        assert way.key == state_key(rig)


def acts(words):
    return [tuple(each.strip().split(" ", 1)) for each in words.split(";")]


@pytest.mark.parametrize("one, other", [
    # the alarms came in another order
    ("on WF9: cut; on KF2: stopped; off KF2: stopped",
     "on KF2: stopped; on WF9: cut; off KF2: stopped"),
    # KF2 asked the racks in another life
    ("on KF1: no power; on WF9: cut; off KF1: no power; on WF1.10: cut; off WF1.10: cut",
     "on WF9: cut; on WF1.10: cut; off WF1.10: cut"),
])
def test_what_an_act_does_hangs_on_the_state_alone(plant, one, other):
    rigs = [at_rest(plant, *acts(words)) for words in (one, other)]
    assert state_key(rigs[0]) == state_key(rigs[1])
    records = [[way.after.record for way in ways_from(rig, [CUT, ("off", "WF9: cut")])]
               for rig in rigs]
    assert records[0] == records[1]


@pytest.mark.parametrize("one, other, act", [
    # of the two that write, KF1 began second here and first there
    ("on WF9: cut; on KF1: too hot; off KF1: too hot; on settings: racks not asked",
     "on WF9: cut; on settings: racks not asked", "off WF9: cut"),
    # a frozen unit that was without power has its self test before it
    ("on KF2: own fault; on KF2: frozen; off KF2: own fault",
     "on KF2: no power; on KF2: frozen; off KF2: no power", "off KF2: frozen"),
])
def test_what_looks_alike_and_goes_on_otherwise_is_told_apart(plant, one, other, act):
    rigs = [at_rest(plant, *acts(words)) for words in (one, other)]
    (first,), (second,) = (ways_from(rig, acts(act)) for rig in rigs)
    assert first.before.snapshot == second.before.snapshot
    assert first.after.record != second.after.record
    assert state_key(rigs[0]) != state_key(rigs[1])
