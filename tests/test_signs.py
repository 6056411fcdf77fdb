"""What the pair shows of itself: signs and alarms of states that were made by hand."""

from dataclasses import replace
from types import SimpleNamespace

import pytest

from labkit.plant.plant import load_plant
from labkit.switchover.damage import Wires
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.knowledge import FRESH, NO_RACK, NO_VOTE, VOTED
from labkit.switchover.roles import Contact, Outputs, Role
from labkit.switchover.signs import alarms, is_alone, pair_signs, shows_failed, wire_signs
from tests.test_plant_keys import part, plant_of

PLANT = load_plant()
WIRES, FAULTS, RACKS = Wires(PLANT), faults_of(PLANT), ("KF10", "KF20", "KF30")


def unit(name, role="standby", **more):
    role = Role(role)
    known = Role.ACTIVE if role is Role.STANDBY else Role.STANDBY
    return SimpleNamespace(**{"name": name, "role": role, "leads": role is Role.ACTIVE, "contact": Contact.HEARD,
                              "known": known, "frozen": False, "put_out": False, "held": "", "verdict": ""} | more)


def pair_of(one=None, other=None, *, faults=(), reach=None, outputs=(), writing=(), voter=None, differing=(), units=None):
    """Return a pair; without more KF1 leads, KF2 stands by and both reach every rack."""
    units = [one or unit("KF1", "active"), other or unit("KF2")] if units is None else units
    reached = {each.name: {*RACKS} for each in units} | (reach or {})
    return SimpleNamespace(
        units=units, damage=WIRES.damage(FAULTS[each] for each in faults), rules={}, voter=voter, differing=differing,
        reach=lambda each: reached[each.name],
        partner=lambda each: next(other for other in units if other is not each),
        racks=[SimpleNamespace(name=name, writing={unit: 0 for unit in dict(writing).get(name, ())},
                               outputs=Outputs(dict(outputs).get(name, "written"))) for name in RACKS])


@pytest.mark.parametrize(("role", "put_out", "held", "failed"), [
    ("stopped", False, "own fault", True), ("stopped", True, "", True), ("stopped", False, "by hand", False),
    ("off", True, "own fault", False)])
def test_failed_is_who_stopped_by_its_own_fault_or_was_put_out(role, put_out, held, failed):
    assert shows_failed(unit("KF1", role, put_out=put_out, held=held)) is failed


@pytest.mark.parametrize(("one", "other", "before", "alone"), [
    (unit("KF1", "active"), unit("KF2"), True, False),
    (unit("KF1", "active", contact=Contact.SILENT), unit("KF2"), False, True),
    (unit("KF1", "active", known=Role.LOADING), unit("KF2", "loading"), False, True),
    # who is frozen or knows nothing yet leaves the lamp as it was, and where nobody leads none is lit
    (unit("KF1", "active", frozen=True, known=Role.OFF), unit("KF2"), True, True),
    (unit("KF1", "active", frozen=True, known=Role.OFF), unit("KF2"), False, False),
    (unit("KF1", "active", contact=Contact.UNKNOWN, known=Role.OFF), unit("KF2"), True, True),
    (unit("KF1", "stopped"), unit("KF2", "loading"), True, False),
    # of two that lead one that knows suffices
    (unit("KF1", "active", frozen=True), unit("KF2", "active", contact=Contact.SILENT), False, True)])
def test_alone_is_who_knows_of_no_ready_standby(one, other, before, alone):
    assert is_alone(pair_of(one, other), before) is alone
    assert is_alone(pair_of(units=[one]), True) is False


@pytest.mark.parametrize(("pair", "alone", "lost"), [
    (pair_of(), False, False), (pair_of(), True, True), (pair_of(other=unit("KF2", "loading")), False, True),
    (pair_of(unit("KF1"), unit("KF2", "active")), False, False),
    (pair_of(other=unit("KF2", contact=Contact.SILENT)), False, True),
    (pair_of(reach={"KF2": {"KF10", "KF20"}}), False, True)])
def test_redundancy_is_lost_with_each_thing_that_it_needs(pair, alone, lost):
    signs = pair_signs(pair, alone)
    assert (signs["pair", "redundancy"][0], signs["pair", "alone"][0]) == (
        "lost" if lost else "kept", "yes" if alone else "no")
    one = pair_signs(pair_of(units=[unit("KF1", "stopped", held="own fault")]), False)
    assert {key: state for key, (state, _) in one.items()} == {
        ("KF1", "failed"): "shown", ("pair", "redundancy"): "kept"}


WELL = {**{(rack, f"link {unit}"): "data pass" for rack in RACKS for unit in ("KF1", "KF2")},
        ("pair", "sync cable"): "whole", ("TF1", "supply"): "on", ("TF1", "controllers' side"): "frames",
        ("TF1", "panels' side"): "frames", ("PH1", "see and act"): "yes"}


@pytest.mark.parametrize(("faults", "reach", "otherwise"), [
    ((), {}, {}),
    (("WF9: cut",), {}, {("pair", "sync cable"): ("broken", "No sync cable carries.")}),
    (("TF1: no power",), {}, {
        ("TF1", "supply"): ("off", "TF1 has no supply."), ("TF1", "controllers' side"): ("no good frames", "TF1 has no supply."),
        ("TF1", "panels' side"): ("no good frames", "TF1 has no supply."), ("PH1", "see and act"): ("no", "The way is broken.")}),
    (("WF4: shield off",), {}, {
        ("TF1", "panels' side"): ("no good frames", "Frames come in with errors, or not at all.")}),
    (("WF1.10: cut",), {"KF1": {"KF20", "KF30"}}, {("KF10", "link KF1"): ("no data", "WF1.10 does not carry.")}),
    ((), {"KF2": {"KF10", "KF20"}}, {("KF30", "link KF2"): ("no data", "A part of the way does not carry.")}),
    (("KF2: no power",), {"KF2": set()}, {
        (rack, "link KF2"): ("no data", "KF2 has no supply.") for rack in RACKS})])
def test_what_wires_repeaters_and_panels_show(faults, reach, otherwise):
    signs = wire_signs(pair_of(faults=faults, reach=reach), WIRES)
    assert {key: state for key, (state, _) in signs.items()} == WELL | {
        key: state for key, (state, _) in otherwise.items()}
    assert {key: signs[key] for key in otherwise} == otherwise
    assert ("pair", "sync cable") not in wire_signs(pair_of(units=[unit("KF1", "active")]), WIRES)


def test_a_panel_without_any_controller_says_so():
    dark = pair_of(unit("KF1", "off"), unit("KF2", "off"), faults=("TB1: off",), reach={"KF1": set(), "KF2": set()})
    assert wire_signs(dark, WIRES)["PH1", "see and act"] == ("no", "No controller has supply.")


def test_a_battery_rests_carries_or_is_empty():
    """GB1 feeds TB1, which carries on for half an hour; then it is dead as well."""
    parts = PLANT.parts | {"TB1": replace(PLANT.parts["TB1"], battery_h=0.5)}
    wires = Wires(replace(PLANT, parts=parts))
    for faults, gone, state in (((), (), ("rests", "It is not needed.")),
                                (("GB1: off",), (), ("carries", "Nothing feeds it any more.")),
                                (("GB1: off",), ("TB1",), ("empty", "It has carried for as long as it can."))):
        pair = pair_of()
        pair.damage = wires.damage([FAULTS[each] for each in faults], gone)
        assert wire_signs(pair, wires)["TB1", "battery"] == state


SILENT = {"contact": Contact.SILENT}
HEARS = "KF2 hears nothing from KF1"


@pytest.mark.parametrize(("pair", "alone", "said"), [
    (pair_of(), False, {}),
    (pair_of(other=unit("KF2", "off")), True, {
        "KF2 does not answer": "PH1", "KF1 without a ready standby": "KF1"}),
    # who is off is asked by a panel: where none sees nobody asks
    (pair_of(other=unit("KF2", "off"), faults=("PH1: dark",)), False, {"panel PH1 does not answer": "KF1"}),
    (pair_of(other=unit("KF2", "stopped")), False, {"KF2 is stopped": "KF2"}),
    (pair_of(other=unit("KF2", "stopped", held="own fault")), False, {"KF2 has failed": "KF2"}),
    (pair_of(other=unit("KF2", **SILENT)), False, {HEARS: "KF2"}),
    (pair_of(other=unit("KF2", "off", **SILENT), faults=("PH1: dark",)), False, {"panel PH1 does not answer": "KF1"}),
    (pair_of(other=unit("KF2", verdict=FRESH, **SILENT)), False, {
        HEARS: "KF2", "sync cable silent, the writer's marks are fresh": "KF2"}),
    (pair_of(other=unit("KF2", verdict=VOTED, **SILENT)), False, {HEARS: "KF2", "third vote is given to KF1": "KF2"}),
    (pair_of(other=unit("KF2", verdict=NO_VOTE, **SILENT)), False, {
        HEARS: "KF2", "KF2 has no majority and does not lead": "KF2"}),
    (pair_of(other=unit("KF2", verdict=NO_RACK, **SILENT)), False, {
        HEARS: "KF2", "KF2 reaches no rack and does not take over": "KF2"}),
    # who leads has nothing to say of what it asked
    (pair_of(unit("KF1", "off"), unit("KF2", "active", verdict=NO_RACK, **SILENT), faults=("PH1: dark",)), False, {
        HEARS: "KF2", "panel PH1 does not answer": "KF2"}),
    (pair_of(unit("KF1"), unit("KF2")), False, {"no controller leads": "pair"}),
    (pair_of(unit("KF1", "active"), unit("KF2", "active")), True, {
        "KF1 and KF2 both lead": "pair", "KF1 and KF2 without a ready standby": "KF1"}),
    (pair_of(units=[]), False, {}),
    (pair_of(differing={"KF2", "KF1"}), False, {"programs of the units differ": "pair"}),
    (pair_of(voter=SimpleNamespace(heard=True, name="KV1")), False, {}),
    (pair_of(voter=SimpleNamespace(heard=False, name="KV1")), False, {"nobody hears KV1": "KF1"}),
    # the witness is who leads, then who lives
    (pair_of(unit("KF1"), unit("KF2", "active"), faults=("WF3: shield off",)), False, {"frames with errors on WF3": "KF2"}),
    (pair_of(faults=("KF20: module fault",), outputs=(("KF20", "fail state"),), reach={"KF1": {"KF10", "KF30"}}), False, {
        "rack KF20 does not answer": "KF1", "outputs of rack KF20 in fail state": "KF1"}),
    (pair_of(outputs=(("KF20", "fail state"), ("KF10", "held"))), False, {"outputs of rack KF20 in fail state": "KF20"}),
    (pair_of(reach={"KF2": {"KF10", "KF30"}}), False, {"no data between KF2 and rack KF20": "KF20"}),
    (pair_of(writing=(("KF30", ("KF1", "KF2")), ("KF10", ("KF1",)))), False, {"rack KF30 has two writers by turns": "KF30"}),
    (pair_of(faults=("WF9: noise",)), False, {"frames with errors on the sync cable": "pair"}),
    (pair_of(faults=("WF3: cut",)), False, {"panel PH1 does not see the plant": "PH1"})])
def test_each_alarm_and_who_raises_it(pair, alone, said):
    found = alarms(pair, WIRES, {}, alone)
    assert {text: who for text, (who, _) in found.items()} == said


@pytest.mark.parametrize(("fault", "said"), [
    ("BL1: dead", {"BL1"}), ("GP1: dead", {"GP1"}), ("BL1: stuck", set()), ("KF10A: dead", set()),
    ("KF10B: dead and silent", set()), ("GB1: battery worn", set())])
def test_what_does_not_do_its_work_is_told_but_for_what_its_way_tells(fault, said):
    """An alarm of its own, by the table of kinds; a dead part of a way shows by what it does not carry."""
    pair, on = pair_of(faults=(fault,)), {fault: FAULTS[fault]}
    assert alarms(pair, WIRES, on, False) == {
        f"{name} gives no good reading or does not run": ("KF1", "It does not do its work.") for name in said}
    # what the plant file gives a part tells of every failure of it
    for name in ("KF10A", "KF10B", "GB1"):
        own = {**PLANT.parts, name: replace(PLANT.parts[name], alarm="{unit} is gone")}
        found = alarms(pair, Wires(replace(PLANT, parts=own)), on, False)
        assert (f"{name} is gone" in found) is (FAULTS[fault].unit == name and bool(FAULTS[fault].breaks))


def test_what_is_dead_and_silent_raises_no_alarm_off_the_shortest_way_either():
    """Two ways from KF1 to KF10; KF10C stands on the second one, whose loss no link shows."""
    plant = plant_of(*(part(f"WF{way}", "cable", joins=["KF1", f"KF10{way}"]) for way in "AC"),
                     *(part(f"KF10{way}", "interface", joins=["KF10"]) for way in "AC"),
                     part("KF1", "controller"), part("KF10", "rack"))
    wires, known = Wires(plant), faults_of(plant)
    assert wires.carriers == {"WFA", "KF10A"}
    for fault, said in (("KF10C: dead", {"KF10C gives no good reading or does not run"}), ("KF10C: dead and silent", set()),
                        ("KF10A: dead", set()), ("KF10A: dead and silent", set())):
        pair = pair_of(units=[unit("KF1", "active")])
        pair.damage, pair.racks = wires.damage([known[fault]]), []
        assert {*alarms(pair, wires, {fault: known[fault]}, False)} == said


def test_leaders_are_those_that_are_active():
    snapshot = Switchover(PLANT).snapshot()
    assert snapshot.leaders == ("KF1",)
    for roles, leaders in ((("off", "active"), ("KF2",)), (("active", "active"), ("KF1", "KF2")),
                           (("stopped", "loading"), ())):
        assert replace(snapshot, roles=dict(zip(("KF1", "KF2"), map(Role, roles), strict=True))).leaders == leaders
