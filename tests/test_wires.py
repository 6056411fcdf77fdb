"""What faults leave of feeds, ways and buses: the whole of it by value, read off the plan of the plant."""

import tomllib
from dataclasses import replace

import pytest

from labkit.plant.plant import build, load_plant
from labkit.rig.rig import Rig
from labkit.switchover.damage import Wires
from labkit.switchover.fault_kinds import faults_of
from tests.plants import SINGLE
from tests.test_plant_keys import part, plant_of

PLANT = load_plant()
FAULTS = faults_of(PLANT, third_vote=True)
RACKS = ("KF10", "KF20", "KF30")
ALL = {(rack, unit) for rack in RACKS for unit in ("KF1", "KF2")}
WHOLE = {
    "powered": {"KF1", "KF2"}, "passes": ALL, "seen": ALL, "racks": {*RACKS}, "sync_ok": True,
    "sync_quiet": True, "noise": None, "panels": {"PH1"}, "lit": {"PH1"},
    "repeaters": {"TF1": (True, True)}, "supplied": {"TF1"}, "frame_errors": (), "dead": set(),
    "voter": True, "on_battery": ()}


@pytest.mark.parametrize(("faults", "otherwise"), [
    ((), {}),
    # both controllers hang on TB1, and without one of them the panel sees nothing
    (("TB1: off",), {"powered": set(), "passes": set(), "seen": set(), "panels": set(),
                     "repeaters": {"TF1": (False, True)}, "dead": {"TB1", "KF1", "KF2"}}),
    # who stands by does not miss what is dead and silent
    (("KF10B: dead and silent", "KF20: module fault"), {
        "racks": {"KF10", "KF30"}, "dead": {"KF10B", "KF20"},
        "passes": {("KF10", "KF1"), ("KF30", "KF1"), ("KF30", "KF2")},
        "seen": ALL - {("KF20", "KF1"), ("KF20", "KF2")}}),
    (("WF9: gaps of beats",), {"sync_quiet": False, "noise": "beat gaps"}),
    (("WF9: noise",), {"sync_quiet": False, "noise": "noise"}),
    (("WF9: cut", "third voter: lost"), {
        "sync_ok": False, "sync_quiet": False, "dead": {"WF9"}, "voter": False}),
    # with errors frames still pass: the panel sees, and the repeater says on which side
    (("WF4: shield off",), {"frame_errors": ("WF4",), "repeaters": {"TF1": (True, False)}}),
    (("WF3: cut",), {"panels": set(), "repeaters": {"TF1": (False, True)}, "dead": {"WF3"}}),
    (("TF1: no power", "KF2: no power"), {
        "powered": {"KF1"}, "passes": {(rack, "KF1") for rack in RACKS},
        "seen": {(rack, "KF1") for rack in RACKS}, "panels": set(), "supplied": set(),
        "repeaters": {"TF1": (False, False)}, "dead": {"TF1", "KF2"}}),
])
def test_all_that_faults_leave(faults, otherwise):
    assert vars(Wires(PLANT).damage([FAULTS[each] for each in faults])) == WHOLE | otherwise


def test_a_battery_carries_while_it_is_whole_and_not_fed():
    parts = PLANT.parts | {"TB1": replace(PLANT.parts["TB1"], battery_h=0.5)}
    wires = Wires(replace(PLANT, parts=parts))
    assert (Wires(PLANT).batteries, wires.batteries) == ((), ("TB1",))
    off = FAULTS["GB1: off"]
    assert wires.damage([]).on_battery == ()
    assert wires.damage([off]).on_battery == wires.damage([off], ["TB1"]).on_battery == ("TB1",)
    assert wires.damage([off, FAULTS["TB1: off"]]).on_battery == ()


def test_batteries_are_told_in_the_order_of_the_plant():
    """Of ten that are on, in whatever order a set would give them."""
    names = [f"U{number}" for number in range(10)]
    plant = plant_of(part("Q", "mains", 5_000, 2.0),
                     *(part(name, "ups", 1e6, 1.0, fed_by=["Q"], battery_h=1.0) for name in names), needs=names)
    rig = Rig(plant)
    rig.switch_on("Q: cut up to 1 h")
    assert [*rig.snapshot().batteries] == names


def test_links_are_told_by_their_interfaces_and_by_what_carries_them():
    wires = Wires(PLANT)
    assert wires.link_units == {(rack, unit): rack + "AB"[unit == "KF2"] for rack, unit in ALL}
    assert wires.carriers == {name for rack in RACKS for name in (
        f"{rack}A", f"{rack}B", f"WF1.{rack[2:]}", f"WF2.{rack[2:]}")}
    straight = Wires(build(tomllib.loads(SINGLE)))  # one controller, and no interface to name
    assert (straight.controllers, straight.link_units) == (("A1",), {("R1", "A1"): "R1 A"})
    # one rack behind the interface of another: each is told by its own
    chained = SINGLE.replace('joins = ["A1", "R1"]', 'joins = ["A1", "R1A"]') + "".join(f"""[[part]]
designation = "{name}"
what = "{kind}"
kind = "{kind}"
mtbf_h = 100000
mttr_h = 3
joins = {joins}
""" for name, kind, joins in (("R1A", "interface", ["R1"]), ("R2", "rack", []),
                              ("W2", "cable", ["R1A", "R2A"]), ("R2A", "interface", ["R2"])))
    assert Wires(build(tomllib.loads(chained))).link_units == {("R1", "A1"): "R1A", ("R2", "A1"): "R2A"}


def test_of_two_sync_cables_one_that_is_whole_or_quiet_suffices():
    plant = plant_of(
        part("GB1", "fan"), part("KF1", "controller"), part("KF2", "controller"),
        part("WF8", "cable", joins=["KF1", "KF2"]), part("WF9", "cable", joins=["KF1", "KF2"]), pair={"units": ["KF1", "KF2"], "sync": ["WF8", "WF9"]})
    wires, known = Wires(plant), faults_of(plant)
    for faults, found in (
            ((), (True, True, None)), (("WF8: cut",), (True, True, None)), (("WF8: noise",), (True, True, "noise")),
            (("WF8: noise", "WF9: cut"), (True, False, "noise")), (("WF8: cut", "WF9: noise"), (True, False, "noise")),
            (("WF8: noise", "WF8: cut"), (True, True, None)), (("WF8: cut", "WF9: cut"), (False, False, None))):
        damage = wires.damage([known[each] for each in faults])
        assert (damage.sync_ok, damage.sync_quiet, damage.noise) == found
    assert wires.panels == wires.repeaters == () and wires.damage([]).dead == set()


def test_a_voter_that_is_a_part_hangs_on_its_feeds_and_a_part_on_any_of_its_own():
    plant = plant_of(
        part("TB1", "supply"), part("TB2", "supply"), part("KF1", "controller", fed_by=["TB1", "TB2"]),
        part("KF2", "controller", fed_by=["TB2"]), part("KV1", "voter", fed_by=["TB1"]),
        part("WF9", "cable", joins=["KF1", "KF2"]), pair={"units": ["KF1", "KF2"], "sync": ["WF9"]})
    wires, known = Wires(plant), faults_of(plant)
    for fault, powered, voter in (("TB1: off", {"KF1", "KF2"}, False), ("TB2: off", {"KF1"}, True),
                                  ("KV1: lost", {"KF1", "KF2"}, False)):
        damage = wires.damage([known[fault]])
        assert (damage.powered, damage.voter) == (powered, voter)
    assert wires.damage([], ["TB1", "TB2"]).powered == set()


def test_ways_units_and_alarms_of_the_plan():
    wires = Wires(PLANT)
    assert (wires.way("KF10", "KF2"), wires.way("KF30", "KF1")) == (("WF2.10", "KF10B"), ("WF1.30", "KF30A"))
    # what has an alarm of its own in the table of kinds, and is a part; events and cables have none
    assert {"BL1", "KF10A", "GP1"} <= {*wires.alarms} <= {*PLANT.parts} and "WF9" not in wires.alarms
    aside = Wires(plant_of(
        part("GB1", "fan"), part("KF1", "controller"), part("KF2", "controller"), part("KF10", "rack"), function=[
            {"name": "run", "needs": ["GB1"]}, {"name": "aside", "needs": ["KF2"], "by": ["KF2"]}]))
    assert aside.controllers == ("KF1",) and aside.way("KF10", "KF1") == ()
