"""A seeded share of `tests.line_and_engine`; and what the line says in states of its own."""

import math
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from labkit.plant.causes import causes_of
from labkit.plant.plant import load_plant
from labkit.rig.effects import effect_of
from labkit.rig.headline import next_words
from labkit.rig.rig import Rig
from labkit.rig.state_line import (
    _as_it_lasts,
    _holds,
    _rack_by_rack,
    _settling_ms,
    _singles,
    _stay_alike,
    as_led,
    carried_by,
    is_settled,
    lost_functions,
    lost_racks,
    on_battery,
    out_of_use,
    state_line,
)
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.roles import Outputs, Role
from labkit.switchover.settings import PairSettings
from lessons.panels.rig_page import page_values
from lessons.papers.basis import Basis, per_year
from lessons.papers.mode_words import covers, on_plant, repair_of
from lessons.papers.steps import steps_of
from tests.line_and_engine import Judge, cases, check, plants
from tests.test_plant_keys import part, plant_of

PLANTS = plants()
# The number of the sets that are drawn for each plant: pairs in order, and of up to four.
PAIRS, SETS = 5, 7


@pytest.mark.parametrize("plant", PLANTS, ids=lambda plant: f"{plant.name}, {plant.version}")
def test_the_line_says_what_the_engine_does(plant):
    judge, counts = Judge(plant), Counter()
    drawn = [case for case in cases(judge, PAIRS, SETS, seed=2) if len(case[0]) != 1]
    wrong = [each for case in drawn for each in check(judge, *case, counts)]
    assert not wrong
    # Of a single controller nearly every set stops all, with nothing left to name.
    most = 20 if len(plant.controllers) > 1 else 10
    assert counts["lost"] and counts["failures"] > counts["named"] > most


def rig_after(*faults, wait_s=20, **settings):
    rig = Rig(settings=PairSettings(**settings))
    for fault in faults:
        rig.switch_on(fault)
    rig.wait(wait_s)
    return rig


def test_with_the_racks_not_asked_the_sync_cable_stops_control():
    """Rule 10: a cut then makes two writers; with the racks asked it does not."""
    named = rig_after(ask_racks=False).plant_state().next_failures["control kept"]
    assert "WF9" in named and "WF9" not in rig_after().plant_state().next_failures["control kept"]


@pytest.mark.parametrize(("faults", "settings", "settled"), [
    ((), {}, True),
    (("KF2: no power",), {}, True),
    (("KF1: no power",), {}, True),
    (("KF2: stopped",), {}, True),
    (("WF2.10: cut",), {}, True),
    (("KF1: no power", "KF2: no power"), {}, False),
    (("KF2: program differs",), {}, False),
    (("KF1: frozen",), {}, False),
    (("WF9: cut",), {}, False),
    (("WF9: cut", "KF2: no power"), {}, True),
    (("WF9: noise",), {}, False),
    (("WF9: gaps of beats",), {}, False),
    ((), {"ask_racks": False}, False),
    ((), {"third_vote": True}, False),
])
def test_a_state_is_settled_when_one_leads_and_one_is_ready_or_out(faults, settings, settled):
    pair = Switchover(load_plant(), PairSettings(**settings))
    for fault in faults:
        pair.switch_on(fault)
    pair.run_for(20_000)
    known = faults_of(pair.plant)
    broken = frozenset(known[each].unit for each in faults if known[each].breaks)
    assert is_settled(pair, broken) is settled


@pytest.mark.parametrize(("outputs", "fight", "leads", "lost"), [
    ({"A": "written", "B": "held"}, (), True, set()),
    ({"A": "written", "B": "fail state"}, (), True, {"B"}),
    ({"A": "written", "B": "held"}, ("A",), True, {"A"}),
    ({"A": "written", "B": "held"}, (), False, {"A", "B"}),  # what nobody leads is lost
])
def test_a_rack_is_lost_in_its_fail_state_between_two_writers_or_without_a_leader(
        outputs, fight, leads, lost):
    snapshot = replace(Rig().snapshot(), writes_fight=frozenset(fight), outputs={
        rack: Outputs(state) for rack, state in outputs.items()}, roles={
        "KF1": Role.ACTIVE if leads else Role.LOADING, "KF2": Role.STANDBY})
    assert lost_racks(snapshot) == lost


def test_a_trial_is_over_after_a_hold_time_a_write_gap_and_two_takeovers():
    """By hand: 500 + 40 + 20 + 2 x 285 ms, the budget of lesson 04; 300 ms more hold are 300 more."""
    assert _settling_ms(PairSettings()) == 500 + 60 + 2 * 285
    assert _settling_ms(PairSettings(hold_ms=800)) == 1430


@pytest.mark.parametrize(("faults", "wait_s", "out"), [
    ((), 5, set()),
    (("KF2: restarted",), 1, {"KF2"}),  # it loads
    (("KF1: no power",), 0.1, {"KF1", "KF10", "KF20", "KF30"}),  # nobody leads as yet
    (("WF1.10: cut",), 0.07, set()),  # held, and handed over in time
    (("KF2: no power", "KF1: no power"), 0.1, {"KF1", "KF2", "KF10", "KF20", "KF30"}),
    (("KF20: module fault",), 0.2, {"KF20"}),  # held as yet, and let go by its hold time
])
def test_what_does_not_do_its_work_though_it_may_be_whole(faults, wait_s, out):
    rig = Rig()
    for fault in faults:
        rig.wait(2)
        rig.switch_on(fault)
    rig.wait(wait_s)
    assert out_of_use(rig._pair) == out


def test_lost_now_are_functions_that_no_state_of_the_pair_keeps():
    healthy = Switchover(load_plant())
    for broken, lost in ((set(), ()), ({"TF1"}, ("see and act",)), ({"BL1"}, ("control kept",)),
                         ({"KF10", "PH1"}, ("control kept", "see and act"))):
        found = lost_functions(healthy.plant, healthy, frozenset(broken))
        assert tuple(name for name in found if name in healthy.plant.functions) == lost
        assert [*state_line(healthy, frozenset(broken)).works.values()] == [
            name not in lost for name in healthy.plant.functions]


def test_a_part_on_its_battery_is_fed_by_nothing_and_has_no_battery_behind_it():
    plant = load_plant(Path(__file__).parent / "plant_files" / "tarn_dairy.toml")
    assert on_battery(plant, ()) is plant
    alone = on_battery(plant, ("GB1",))
    assert (alone.parts["GB1"].fed_by, alone.parts["GB1"].battery_h) == ((), 0.0)
    assert {name for name in plant.parts if alone.parts[name] != plant.parts[name]} == {"GB1"}
    rig = Rig(plant)
    rig.switch_on("QA1: cut")
    assert carried_by(rig.snapshot()) == ("GB1",)
    rig.wait(2701)  # empty it carries nothing
    assert carried_by(rig.snapshot()) == ()


def test_without_the_third_voter_each_unit_and_the_sync_cable_stop_control():
    """Rule 4: each then has one vote of three. A cause of both at once adds nothing to either."""
    rig = rig_after("third voter: lost", third_vote=True)
    found = rig.plant_state().next_failure_details["control kept"]
    often = {each.name: each.rate_per_h for each in found}
    assert not {"KF1+KF2 common cause", "KF1+KF2 not taken over"} & set(often)
    # the whole rate of each: 60 000 h, 60 000 h, 300 000 h; the most frequent first
    assert [often[name] for name in ("KF1", "KF2", "WF9")] == pytest.approx(
        [1 / 60_000, 1 / 60_000, 1 / 300_000], rel=1e-12)
    assert list(often.values()) == sorted(often.values(), reverse=True)
    assert list(often)[:3] == ["KF1", "KF2", "GB1"]


def test_a_frozen_unit_is_lost_before_its_outputs_are_let_go():
    rig = rig_after("KF1: frozen", wait_s=0.3)
    assert {state.value for state in rig.snapshot().outputs.values()} == {"held"}
    assert not rig.plant_state().works["control kept"]


def test_the_rate_from_a_state_counts_what_stops_it_there():
    """With another program in KF2 the three ways of KF1 stand alone; the sum by hand is linear."""
    healthy = rig_after().plant_state().failures_per_h["control kept"]
    here = rig_after("KF2: program differs").plant_state()
    # three cables of 400 000 h, three interfaces of 220 000 h that were twins with 5 % in common
    more = 3 / 400_000 + 3 * 0.95 / 220_000
    assert here.failures_per_h["control kept"] - healthy == pytest.approx(more, rel=0.02)


def test_a_panel_is_blind_without_the_supply_of_the_controllers():
    """Its own way is whole; the supply stops it next, and is counted where control is."""
    state = rig_after().plant_state()
    assert set(state.next_failures["see and act"]) == {
        "PH1", "TF1", "WF3", "WF4", "GB1", "TB1", "KF1+KF2 common cause"}
    # by hand: one outage each of WF3, WF4 (800 000 h), TF1 (180 000 h), PH1 (45 000 h)
    assert state.failures_per_h["see and act"] == pytest.approx(
        2 / 800_000 + 1 / 180_000 + 1 / 45_000, rel=1e-3)
    assert ("Would stop it next: PH1, TF1, WF3, WF4; "
            "not in this rate: GB1, TB1, KF1+KF2 common cause.") in rig_after().text()
    assert page_values(rig_after().view())["f1.next"] == "Next: PH1, TF1, WF3, WF4 and 3 more"
    blind = rig_after("TB1: off")
    assert not blind.plant_state().works["see and act"]
    assert "Panel: Sees nothing and does nothing: no controller has supply." in blind.text()
    cut = rig_after("WF3: cut").text()
    assert "Panel: Sees nothing and does nothing; control is not touched by that." in cut


def test_two_that_lead_racks_of_their_own_keep_what_needs_both():
    """A bus cut in the middle, and the sync: each end has its controller, which leads its rack."""
    def cable(name, *ends):
        return part(name, "cable", joins=[*ends])

    plant = plant_of(
        *(part(name, "controller") for name in ("K1", "K2")),
        *(part(name, "rack") for name in ("R1", "R2")),
        *(part(name, "switch") for name in ("S1", "S2")), cable("W1", "K1", "S1"),
        cable("W2", "K2", "S2"), cable("W3", "S1", "R1"), cable("W4", "S2", "R2"),
        cable("W5", "S1", "S2"), cable("W9", "K1", "K2"),
        pair={"units": ["K1", "K2"], "sync": ["W9"], "test_interval_h": 4380, "restart_h": 0.5,
              "common_cause": 0.05, "coverage": 0.97, "diagnosed": 0.9},
        function=[{"name": "run", "reached": ["R1", "R2"]}])
    rig = Rig(plant)
    rig.switch_on("W9: cut")
    rig.wait(5)
    assert "W5" not in rig.plant_state().next_failures["run"]
    rig.switch_on("W5: cut")
    rig.wait(5)
    now = rig.snapshot()
    assert {role.value for role in now.roles.values()} == {"active"}
    assert {outputs.value for outputs in now.outputs.values()} == {"written"}
    assert rig.plant_state().works["run"]
    assert {"K1", "K2", "R1", "R2"} <= {*rig.plant_state().next_failures["run"]}


def test_on_its_battery_control_works_until_the_battery_stops_it():
    """The mains of the dairy feed pumps, and the control through a UPS of 0.75 h."""
    rig = Rig(load_plant(Path(__file__).parent / "plant_files" / "tarn_dairy.toml"))
    healthy = rig.plant_state()
    assert "QA1 longer than 0.75 h" in healthy.next_failures["control kept"]
    rig.switch_on("QA1: cut")
    rig.wait(70)
    state = rig.plant_state()
    assert state.works == {"milk cold": False, "control kept": True}
    assert "GB1" in state.next_failures["control kept"]
    # by hand: the mains of 9 000 h and 2.5 h, short cuts 5 a year of 0.02 h, beyond 0.75 h each
    mains_per_h = math.exp(-0.75 / 2.5) / 9_000 + 5 / 8760 * math.exp(-0.75 / 0.02)
    assert healthy.failures_per_h["control kept"] - state.failures_per_h[
        "control kept"] == pytest.approx(mains_per_h, rel=1e-3)
    assert "Battery: GB1 carries what it feeds, for 0.75 h at most." in rig.text()


def test_a_short_cut_that_a_battery_carries_stops_nothing_without_the_sync_cable():
    """The fans of the dryer stop at each cut of the mains, the panel behind the UPS at long ones."""
    rig = Rig(load_plant(Path(__file__).parent / "plant_files" / "seed_dryer.toml"))
    healthy = rig.plant_state().failures_per_h["operator sees"]
    rig.switch_on("WF9: cut")
    rig.wait(10)
    state = rig.plant_state()
    assert "NE1" in state.next_failures["seed dried"]
    assert "NE1" not in state.next_failures["operator sees"]
    assert "NE1 longer than 0.5 h" in state.next_failures["operator sees"]
    assert state.failures_per_h["operator sees"] == pytest.approx(healthy, rel=1e-12)


def test_after_its_hours_a_battery_is_empty():
    """Card, engine and papers name the same hours; the mains come back to a full battery."""
    plant = load_plant(Path(__file__).parent / "plant_files" / "tarn_dairy.toml")
    rig = Rig(plant)
    rig.switch_on("QA1: cut")
    rig.wait(2699)
    said = "lost after 0.75 h on battery"
    assert rig.snapshot().roles["KF1"].value == "active"
    assert rig.plant_state().lost_after_h == {"control kept": 0.75}
    assert f"Control kept: Works, and is {said}." in rig.text()
    effect = effect_of(plant, "QA1: cut")
    assert dict(effect.lost_after_h)["control kept"] == 0.75
    words = on_plant(Basis(plant, date="2031-05-06"), effect, {"QA1"})
    assert words.startswith(f"lost: milk cold; {said}: control kept")
    rig.wait(2)
    assert not rig.plant_state().works["control kept"] and "Battery: GB1 is empty." in rig.text()
    assert [(each.time_ms, each.old, each.new) for each in rig.record if each.what == "battery"] == [
        (0, "rests", "carries"), (2_700_000, "carries", "empty")]
    rig.switch_off("QA1: cut")
    rig.wait(60)
    rig.switch_on("QA1: cut")
    rig.wait(2699)
    assert rig.plant_state().works["control kept"]


def test_batteries_one_behind_the_other_add_up():
    """Half an hour of the second begins once the first is empty after 4 h."""
    plant = plant_of(
        part("KF1", "controller", fed_by=["TB1"]), part("TB1", "supply", fed_by=["GB1"], battery_h=0.5),
        part("GB1", "ups", fed_by=["QA1"], battery_h=4), part("QA1", "mains"))
    rig = Rig(plant)
    rig.switch_on("QA1: cut longer than 4.5 h")
    assert rig.plant_state().lost_after_h == {"run": 4.5}
    basis, short = Basis(plant, date="2031-05-06"), "QA1: cut up to 4.5 h"
    assert covers(basis, effect_of(plant, short), basis.faults[short]) == "the other feed, or a battery"
    rig.wait(4.4 * 3600)
    assert rig.plant_state().works["run"] and rig.plant_state().lost_after_h == {"run": 0.5}
    rig.wait(0.2 * 3600)
    assert not rig.plant_state().works["run"]


def test_what_blinds_a_panel_sooner_is_named_and_what_darkens_it_later_is_not():
    """The panel has 4 h, the controller that it sees 2 h: the cut that stops it is that of 2 h."""
    plant = plant_of(
        part("QA1", "mains"), part("GB1", "ups", fed_by=["QA1"], battery_h=2),
        part("GB2", "ups", fed_by=["QA1"], battery_h=4), part("KF1", "controller", fed_by=["GB1"]),
        part("PH1", "panel", fed_by=["GB2"], joins=["KF1"]), needs=["PH1"])
    state = Rig(plant).plant_state()
    assert {each for each in state.next_failures["run"] if each.startswith("QA1")} == {
        "QA1 longer than 2 h"}


def test_a_failure_in_all_lengths_is_not_counted_again_in_the_longer():
    """No sync cable, so each failure is tried; a pump at the mains, a battery before the pair."""
    plant = plant_of(
        part("QA1", "mains"), part("GB1", "ups", fed_by=["QA1"], battery_h=2),
        part("KF1", "controller", fed_by=["GB1"]), part("KF2", "controller", fed_by=["GB1"]),
        part("WF1", "cable", joins=["KF1", "KF2", "KF10"]), part("KF10", "rack"),
        part("GP1", "pump", fed_by=["QA1"], joins=["KF10"]),
        needs=["GP1", {"reached": ["KF10"]}], pair={"units": ["KF1", "KF2"]})
    rig = Rig(plant)
    rig.wait(5)
    state = rig.plant_state()
    assert "QA1" in state.next_failures["run"]
    assert "QA1 longer than 2 h" not in state.next_failures["run"]
    assert state.failures_per_h == pytest.approx(state.healthy_failures_per_h, rel=1e-9)


def test_a_long_cut_of_one_mains_takes_nothing_of_another():
    """KF1 goes dark 1 h after QA1, and KF2 at QA3 leads; the pump has a battery of 0.5 h behind QA2."""
    plant = plant_of(
        part("GP1", "pump", fed_by=["GB2"]), *(part(f"QA{number}", "mains") for number in (1, 2, 3)),
        part("GB1", "ups", fed_by=["QA1"], battery_h=1), part("GB2", "ups", fed_by=["QA2"], battery_h=0.5),
        part("KF1", "controller", fed_by=["GB1"]), part("KF2", "controller", fed_by=["QA3"]),
        part("WF9", "cable", joins=["KF1", "KF2"]), part("KF10", "rack", joins=["KF1", "KF2"]),
        needs=["GP1", {"reached": ["KF10"]}], pair={"units": ["KF1", "KF2"], "sync": ["WF9"]})
    rig = Rig(plant)
    rig.wait(5)
    rig.switch_on("WF9: cut")
    rig.wait(5)
    assert [each for each in rig.plant_state().next_failures["run"] if each.startswith("QA")] == [
        "QA2 longer than 0.5 h"]


def test_text_and_panel_begin_with_the_worst():
    view = rig_after("KF1: frozen").view()
    assert view.level == "lost" and view.lines[0][0] == "Control now"
    assert rig_after().view().level == "normal"
    flooding = rig_after("QM1: shut locally").view()
    assert flooding.level == "abnormal" and flooding.lines[0][0] != "Roles"


def test_a_cut_that_outlasts_a_battery_is_no_shared_failure():
    """What lasts longer is still of one part; two in the name of a cause are what parts share."""
    plant = load_plant(Path(__file__).parent / "plant_files" / "tarn_dairy.toml")
    said = next_words(Rig(plant).plant_state(), "control kept")
    assert "QA1 longer than 0.75 h" in said.partition("shared")[0]


def test_what_a_plant_has_not_is_not_said_to_be_lost():
    """Two fans without control; then a controller that needs no rack, in a file of found data."""
    fans = Rig(plant_of(part("EC1", "fan"), part("EC2", "fan"), needs=["EC1", "EC2"])).view()
    assert fans.level == "normal" and fans.lines[:2] == (
        ("Roles", "No controller leads in this plant."), ("Control now", "Needs no rack."))
    kiln = Rig(plant_of(part("KF1", "controller"), plant={"name": "Kiln", "data": "found"}))
    assert kiln.view().level == "normal" and "Panel" not in dict(kiln.view().lines)
    assert kiln.text().startswith("Kiln, as built (found data), t = 0.000 s\nRoles: KF1 leads.")


def test_without_a_rack_none_has_to_be_reached_before_a_unit_leads():
    """A controller after a dip of its supply; the standby of a pair that only panels read."""
    kiln = Rig(plant_of(part("KF1", "controller", fed_by=["TB1"]), part("TB1", "supply")))
    kiln.switch_on("TB1: voltage dip")
    kiln.wait(5)
    assert kiln.snapshot().roles["KF1"].value == "active" and kiln.plant_state().works["run"]
    screens = plant_of(
        part("PH1", "panel"), part("WH1", "cable", joins=["KF1", "KF2", "PH1"]),
        part("KF1", "controller"), part("KF2", "controller"),
        part("WF9", "cable", joins=["KF1", "KF2"]), pair={"units": ["KF1", "KF2"], "sync": ["WF9"]})
    for fault in ("KF1: no power", "KF1: own fault"):
        rig = Rig(screens)
        rig.switch_on(fault)
        rig.wait(5)
        assert rig.snapshot().roles["KF2"].value == "active" and rig.plant_state().works["run"]


def test_card_and_paper_count_alike_where_the_structure_does_not_know_who_leads():
    """The unit with more racks leads: with W1.20 cut its own W2.10 stops what needs KF10 alone."""
    plant = plant_of(
        part("KF1", "controller"), part("KF2", "controller"), part("KF10", "rack"), part("KF20", "rack"),
        *(part(f"W{unit}.{rack}", "cable", joins=[f"KF{unit}", f"KF{rack}"])
          for unit in (1, 2) for rack in (10, 20)), part("WF9", "cable", joins=["KF1", "KF2"]),
        pair={"units": ["KF1", "KF2"], "sync": ["WF9"]},
        function=[{"name": "run", "reached": ["KF10"]}, {"name": "both", "reached": ["KF10", "KF20"]}])
    rig = Rig(plant)
    rig.wait(5)
    rig.switch_on("W1.20: cut")
    rig.wait(30)
    state = rig.plant_state()
    assert "W2.10" in state.next_failures["run"]
    here, healthy = (8760 * each["run"] for each in (
        state.failures_per_h, state.healthy_failures_per_h))
    assert here - healthy == pytest.approx(8.76, rel=0.1)  # that of one cable of 1000 h
    words = on_plant(Basis(plant, date="2031-05-06"), effect_of(plant, "W1.20: cut"), {"W1.20"})
    assert f"run from here lost {per_year(here)} instead of {per_year(healthy)}" in words


def test_what_twins_have_in_common_is_not_counted_beside_their_full_rate():
    """Of KF20A and KF20B the second alone matters here, at the rate of all its failures."""
    rig = rig_after("KF10A: dead and silent")
    assert rig.plant_state().failures_per_h["control kept"] == pytest.approx(
        load_plant().state({"KF10A"}).failures_per_h["control kept"], rel=1e-9)


def parted(*parts, **tables):
    """Return a plant with a pair and a sync cable of its own, and more parts."""
    return plant_of(
        part("KF1", "controller"), part("KF2", "controller"),
        part("WF9", "cable", joins=["KF1", "KF2"]), *parts,
        pair={"units": ["KF1", "KF2"], "sync": ["WF9"], "common_cause": 0.05}, **tables)


def any_of_reached(*names, k=1):
    return [{"at_least": k, "of": [{"reached": [name]} for name in names]}]


SPLIT = parted(
    part("KF10", "rack", joins=["KF1", "KF2"]), part("KF20", "rack", joins=["KF1"]),
    part("KF30", "rack", joins=["KF2"]), part("PH1", "panel", joins=["KF1", "KF2"]),
    part("PH2", "panel", joins=["KF2"]), function=[
        {"name": "one bank", "needs": any_of_reached("KF20", "KF30")},
        {"name": "two banks", "needs": any_of_reached("KF10", "KF20", "KF30", k=2)},
        {"name": "rack or panel", "needs": any_of_reached("KF10", "PH1")},
        {"name": "seen", "needs": [{"at_least": 1, "of": [{"reached": ["PH1"]}, "PH2"]}]},
        {"name": "both seen", "needs": any_of_reached("PH1", "PH2", k=2)}])
SEATS = parted(
    part("PH1", "panel", joins=["KF1"]), part("PH2", "panel", joins=["KF2"]), function=[
        {"name": "two seats", "needs": any_of_reached("PH1", "PH2", k=2)}])
# the sync cable carries the bus of the panel too
CHAIN = plant_of(
    part("KF1", "controller"), part("KF2", "controller"), part("KS2", "switch"),
    part("WB1", "cable", joins=["KF1", "KF10", "KS2"]), part("KF10", "rack"),
    part("WB2", "cable", joins=["KF2", "KF30", "KS2"]), part("KF30", "rack"),
    part("WF9", "cable", joins=["KF1", "KF2", "KS2"]), part("PH1", "panel", joins=["KS2"]),
    pair={"units": ["KF1", "KF2"], "sync": ["WF9"], "common_cause": 0.05}, function=[
        {"name": "seen", "needs": ["PH1"]}, {"name": "both", "reached": ["KF10", "KF30"]},
        {"name": "by one", "needs": any_of_reached("KF10", "KF30", k=2)}])
MAINS = parted(
    part("QA1", "mains"), part("TB1", "supply", fed_by=["QA1"], battery_h=1),
    part("TB2", "supply", fed_by=["QA1"]), part("KF10", "rack"),
    part("KF10A", "interface", fed_by=["TB1"], joins=["KF1", "KF10"]),
    part("KF10B", "interface", fed_by=["TB2"], joins=["KF2", "KF10"]),
    function=[{"name": "run", "reached": ["KF10"]}])


@pytest.mark.parametrize("plant", [SPLIT, SEATS], ids=["split", "seats"])
def test_the_line_holds_where_the_units_reach_different_things(plant):
    judge = Judge(plant)
    assert not [each for case in cases(judge, PAIRS, SETS, seed=4)
                for each in check(judge, *case, Counter())]


# each unit has a cable to each rack, and one function needs a single rack; and a line from unit to unit
CROSS = parted(
    part("KF10", "rack"), part("KF20", "rack"),
    *(part(f"W{unit}.{rack}", "cable", joins=[f"KF{unit}", f"KF{rack}"]) for unit in (1, 2) for rack in (10, 20)),
    function=[{"name": "one", "reached": ["KF10"]}, {"name": "both", "reached": ["KF10", "KF20"]}])
LINE = parted(
    part("WB1", "cable", joins=["KF1", "KF10A"]), part("WB2", "cable", joins=["KF10A", "KF20A"]),
    part("WB3", "cable", joins=["KF20A", "KF2"]), part("KF10", "rack"), part("KF20", "rack"),
    part("KF10A", "interface", joins=["KF10"]), part("KF20A", "interface", joins=["KF20"]),
    function=[{"name": "one", "reached": ["KF10"]}])


@pytest.mark.parametrize(("plant", "fault", "settled"), [
    (CROSS, None, True), (CROSS, "KF2: no power", True),
    # KF2 reaches more and leads for that, which no structure knows
    (CROSS, "W1.20: cut", False), (CROSS, "KF10: module fault", False),
    # with WB2 cut each reaches one that the other does not; with one unit alone there is nothing to compare
    (LINE, None, False), (LINE, "KF2: no power", True), (LINE, "KF2: stopped", True),
    (SPLIT, None, False), (SPLIT, "KF2: no power", False), (SEATS, None, True),
    (MAINS, None, True), (MAINS, "KF10: module fault", True), (MAINS, "WF9: cut", False),
])
def test_where_units_may_come_to_different_racks_the_structure_does_not_know_who_leads(plant, fault, settled):
    pair = Switchover(plant)
    if fault:
        pair.switch_on(fault)
    pair.run_for(20_000)
    assert is_settled(pair, frozenset(faults_of(plant)[fault].breaks if fault else ())) is settled


def test_what_each_failure_leaves_to_both_units():
    assert [_stay_alike(plant, frozenset()) for plant in (CROSS, LINE, SPLIT)] == [True, False, False]
    # of the line without its racks in the middle, and with WB2 gone, nothing more can part the units
    assert not _stay_alike(LINE, frozenset({"WB2"})) and _stay_alike(LINE, frozenset({"KF2"}))
    # W1.20 gone, the loss of W2.10 leaves KF10 to KF1 and KF20 to KF2
    assert not _stay_alike(CROSS, frozenset({"W1.20"}))


def test_what_is_lost_comes_no_more_and_has_nothing_that_stops_it_next():
    state = rig_after("BL1: dead").plant_state()
    assert (state.works["control kept"], state.failures_per_h["control kept"],
            state.next_failures["control kept"]) == (False, 0.0, ())
    assert state.broken == {"BL1"} and state.healthy_failures_per_h["control kept"] > 0
    assert [(name, state.not_in_rate[name]) for name in state.works] == [
        ("control kept", frozenset()), ("see and act", {"GB1", "TB1", "KF1+KF2 common cause"})]
    assert state.lost_after_h == {}


def test_one_unit_leads_all_racks_that_a_function_asks_for_by_themselves():
    """KF20 hangs on KF1 and KF30 on KF2: without KF10 no unit that leads reaches two of three."""
    state = SPLIT.state({"KF10"})
    assert state.works["one bank"] and not state.works["two banks"]
    assert "KF10" in SPLIT.state().next_failures["two banks"]
    assert CHAIN.state().next_failures["by one"] == CHAIN.state().next_failures["both"]


def test_of_panels_at_different_units_each_unit_is_needed():
    state = SEATS.state()
    assert {"KF1", "KF2"} < {*state.next_failures["two seats"]}
    # by hand: two panels, two units with 5 % in common, each 1000 h to a failure and 10 to repair
    assert state.failures_per_h["two seats"] == pytest.approx(
        (2 + 2 * 0.95 + 0.05) / 1000 / 1.01 ** 4, rel=1e-3)


def test_what_is_let_go_by_who_leads_elsewhere_is_in_the_rate_as_ever():
    """KF1 leads KF20, and KF30 waits for KF2: the rate of a healthy plant is the healthy rate."""
    rig = Rig(SPLIT)
    rig.wait(5)
    state = rig.plant_state()
    assert rig.snapshot().outputs["KF30"].value == "fail state"
    assert state.failures_per_h == pytest.approx(state.healthy_failures_per_h, rel=1e-9)


def test_a_panel_sees_over_a_sync_cable_that_carries_the_bus():
    rig = Rig(CHAIN)
    for fault in ("KF1: no power", "WB2: cut"):
        rig.switch_on(fault)
        rig.wait(5)
    state = rig.plant_state()
    assert rig.snapshot().panel_sees and state.works["seen"]
    assert "WF9" in state.next_failures["seen"]


def test_a_failure_that_stops_in_all_lengths_is_named_once():
    """KF1 loads, and the interface of KF2 has no battery."""
    rig = Rig(MAINS)
    rig.wait(5)
    rig.switch_on("KF1: restarted")
    rig.wait(0.5)
    assert [each for each in rig.plant_state().next_failures["run"] if "QA1" in each] == ["QA1"]


def test_a_pair_without_racks_keeps_the_vote_of_the_third_voter():
    rig = Rig(SEATS, PairSettings(third_vote=True, ask_racks=False))
    rig.wait(5)
    rig.switch_on("KF2: own fault")
    rig.wait(5)
    begun = len(rig.record)
    rig.switch_on("WF9: cut")
    rig.wait(10)
    assert rig.snapshot().roles["KF1"].value == "active"
    assert not [each for each in rig.record[begun:] if each.what == "role"]


def test_a_leader_whose_partner_and_voter_are_dark_is_lost_before_its_own_battery():
    """The voter goes with the mains, KF2 after 1 h: then KF1 is one of three, with 2 h left."""
    plant = parted_by_batteries(part("KV1", "voter", fed_by=["QA1"]), function=[
        {"name": "run", "reached": ["KF10"]}])
    def named(**settings):
        state = Rig(plant, PairSettings(**settings)).plant_state()
        return [each for each in state.next_failures["run"] if "QA1" in each]

    assert named() == ["QA1 longer than 2 h"]
    assert named(third_vote=True) == ["QA1 longer than 1 h"]


def test_what_blinds_two_panels_over_two_batteries_is_named():
    """Each panel sees one unit; when KF1, the last one, goes dark after 2 h, none sees the plant."""
    plant = parted_by_batteries(part("PH1", "panel", joins=["KF1"]), part("PH2", "panel", joins=["KF2"]),
                                needs=[{"at_least": 1, "of": ["PH1", "PH2"]}])
    assert [each for each in Rig(plant).plant_state().next_failures["run"] if "QA1" in each] == [
        "QA1 longer than 2 h"]


def test_what_feeds_of_two_units_have_in_common_blinds_the_panels_of_both():
    """Each panel sees one unit, each unit has a feed of its own: both feeds at once leave no sight."""
    plant = plant_of(
        part("TB1", "supply"), part("TB2", "supply"), part("WF9", "cable", joins=["KF1", "KF2"]),
        part("KF1", "controller", fed_by=["TB1"]), part("KF2", "controller", fed_by=["TB2"]),
        part("PH1", "panel", joins=["KF1"]), part("PH2", "panel", joins=["KF2"]),
        pair={"units": ["KF1", "KF2"], "sync": ["WF9"]},
        twins=[{"parts": ["TB1", "TB2"], "common_cause": 0.1}],
        function=[{"name": "seen", "needs": [{"at_least": 1, "of": ["PH1", "PH2"]}]}])
    assert "TB1+TB2 common cause" in Rig(plant).plant_state().next_failures["seen"]
    blind = Rig(plant)
    for fault in ("TB1: off", "TB2: off"):
        blind.switch_on(fault)
    blind.wait(5)
    assert not blind.plant_state().works["seen"]


def parted_by_batteries(*parts, **tables):
    """Return a plant with a pair of which KF1 has a battery of 2 h and KF2 one of 1 h."""
    return plant_of(
        part("QA1", "mains"), part("GB1", "ups", fed_by=["QA1"], battery_h=2),
        part("GB2", "ups", fed_by=["QA1"], battery_h=1),
        part("KF1", "controller", fed_by=["GB1"]), part("KF2", "controller", fed_by=["GB2"]),
        part("WF9", "cable", joins=["KF1", "KF2"]), part("KF10", "rack", joins=["KF1", "KF2"]),
        *parts, pair={"units": ["KF1", "KF2"], "sync": ["WF9"]}, **tables)


VOTED = parted_by_batteries(part("KV1", "voter"), function=[{"name": "run", "reached": ["KF10"]}])


@pytest.mark.parametrize(("fault", "third_vote", "voted"), [
    (None, True, True), (None, False, False), ("KV1: lost", True, True), ("KF10: module fault", True, True),
    # who is dark is not heard; who is stopped, or frozen and heard, gives a vote that no structure knows
    ("KF2: no power", True, True), ("KF2: stopped", True, False), ("KF2: frozen", True, False)])
def test_a_function_asks_for_votes_while_all_that_is_heard_is_whole(fault, third_vote, voted):
    pair = Switchover(VOTED, PairSettings(third_vote=third_vote))
    if fault:
        pair.switch_on(fault)
    pair.run_for(3_000)
    assert [each.voted for each in as_led(VOTED, pair).functions_counted.values()] == [voted]


def test_where_two_lead_each_rack_stands_by_itself():
    rig = rig_after("WF9: cut", ask_racks=False)
    assert {each.apart for each in as_led(rig.plant, rig._pair).functions.values()} == {True}
    assert as_led(rig.plant, rig_after()._pair) is rig.plant
    # what others lead is asked for as ever
    beside = plant_of(*(part(name, "controller") for name in ("KF1", "KF2")), part("KF10", "rack", joins=["KF1"]), function=[
        {"name": "run", "reached": ["KF10"]}, {"name": "aside", "needs": ["KF2"], "by": ["KF2"]}])
    assert [each.apart for each in _rack_by_rack(beside).functions_counted.values()] == [True, False]


def test_a_failure_is_looked_at_anew_as_each_battery_that_it_asks_ends():
    """At once, and as the battery of KF2 is empty after 1 h, that of KF1 after 2 h; one that is old asks none."""
    pair = Switchover(VOTED, PairSettings(third_vote=True))
    found = _singles(VOTED, frozenset(), ("run",))[2]
    known = faults_of(VOTED, third_vote=True)

    def looks(name, old=()):
        return [(hours, [role.value for role in snapshot.roles.values()])
                for hours, snapshot in _as_it_lasts(pair.trials(), old, known, found[name])]

    assert looks("QA1") == [(0.0, ["active", "standby"]), (1.0, ["active", "off"]), (2.0, ["off", "off"])]
    assert looks("QA1", ("GB2",)) == [(0.0, ["active", "standby"]), (2.0, ["off", "active"])]
    assert looks("KF2") == [(0.0, ["active", "off"])]
    # of the lengths of one failure each holds the shorter spans within it, and no other failure
    longer, middle, whole = (found[name] for name in ("QA1 longer than 2 h", "QA1 from 1 to 2 h", "QA1"))
    assert [_holds(VOTED, one, other) for one, other in (
        (whole, longer), (whole, middle), (longer, whole), (longer, middle), (middle, longer), (whole, whole),
        (found["GB1"], found["GB2"]))] == [True, True, False, False, False, True, False]


def test_a_voter_that_is_a_part_votes_in_all_that_speaks_of_the_plant():
    """Its loss raises an alarm, so it is no hidden fault; the test sheet takes it away, and moves nothing."""
    plant = parted_by_batteries(part("KV1", "voter"), function=[{"name": "run", "reached": ["KF10"]}])
    assert Rig(plant).settings == PairSettings(third_vote=True)
    often = {}
    for vote in (True, False):
        state = Rig(plant, PairSettings(third_vote=vote)).plant_state()
        often[vote] = state.healthy_failures_per_h["run"]
        assert state.failures_per_h["run"] == pytest.approx(often[vote], rel=1e-9)
    # with the vote two of three have to be there, and that is lost more often
    assert often[False] < often[True] == plant.block("run").failures_per_h
    assert effect_of(plant, "KV1: lost").alarms == ("nobody hears KV1",)
    assert plant.share_noticed("KV1") == 1.0
    basis = Basis(plant, date="2031-05-06")
    (step,) = [each for each in steps_of(basis) if each.faults == ("KV1: lost",)]
    assert step.type == "must not switch" and "nobody hears KV1" in step.effect.after.alarms


def test_a_unit_that_alone_reaches_a_rack_gets_it_back_by_hand_in_every_paper():
    """KF2 leads on after the repair of KF1; the sums end the outage there, so the repair ends with that."""
    plant = parted(part("KF10", "rack", joins=["KF1", "KF2"]), part("KF20", "rack", joins=["KF1"]),
                   part("KF30", "rack", joins=["KF2"]), function=[{"name": "run", "reached": ["KF20"]}])
    rig = Rig(plant)
    for verb, works in (("on", False), ("off", False), ("role change", True)):
        rig.do(verb, "" if verb == "role change" else "KF1: no power")
        rig.wait(60)
        assert rig.plant_state().works["run"] is works
    basis = Basis(plant, date="2031-05-06")
    said = [each.way_back for each in steps_of(basis) if each.faults == ("KF1: no power",)]
    assert len(said) > 1 and all(each.endswith("Change the roles by hand: run waits for it.") for each in said)
    effect = effect_of(plant, "KF1: no power")
    assert repair_of(basis, basis.faults["KF1: no power"], effect) == (10.0, "10 h, then the roles by hand")


def test_who_reaches_more_racks_of_a_parted_chain_leads():
    """KF1-WB1-KF10A-WB2-KF20A-WB3-KF30A-WB4-KF2: with WB2 cut KF2 reaches two, and KF10 waits.

    Without KF20A each reaches one rack: who leads stays, and the sums count it for both.
    """
    plant = parted(*(part(f"WB{n + 1}", "cable", joins=list(ends)) for n, ends in enumerate((
        ("KF1", "KF10A"), ("KF10A", "KF20A"), ("KF20A", "KF30A"), ("KF30A", "KF2")))),
        *(part(f"KF{n}0A", "interface", joins=[f"KF{n}0"]) for n in (1, 2, 3)),
        *(part(f"KF{n}0", "rack") for n in (1, 2, 3)), function=[
            {"name": "first", "reached": ["KF10"]}, {"name": "last", "reached": ["KF30"]}])
    rig = Rig(plant)
    rig.wait(5)
    state = rig.plant_state()
    assert "WB2" in state.next_failures["first"] and "WB2" not in state.next_failures["last"]
    assert "WB3" in state.next_failures["last"] and "WB3" not in state.next_failures["first"]
    for lost in ("last", "first"):
        state = rig.plant_state()
        assert state.failures_per_h[lost] == pytest.approx(state.healthy_failures_per_h[lost], rel=1e-12)
        assert [name for name, names in state.next_failures.items() if "KF20A" in names] == [lost]
        rig.request_role_change()
        rig.wait(20)
    # by hand: every 1000 h and for 10 h, so 8760 / 1010 a year
    assert {each.name: each.outages_per_year for each in causes_of(plant, "first")}[
        "WB2"] == pytest.approx(8760 / 1010, rel=1e-12)
    rig.switch_on("WB2: cut")
    rig.wait(60)
    assert rig.plant_state().works == {"first": False, "last": True}
