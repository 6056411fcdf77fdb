"""The faults of a plant: every part has one, each says what is seen, and it breaks what it says."""


import pytest

from labkit.plant.plant import load_plant
from labkit.switchover import fault_kinds as faults
from labkit.switchover.damage import Wires
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import drills_of, faults_of
from tests.plants import SINGLE

PLANT = load_plant()
FAULTS = faults_of(PLANT)

# Everything one can have: one controller, its rack wired straight, a pump, and no panel.
SMALL = SINGLE + """needs = ["P1"]
[[part]]
designation = "P1"
what = "pump"
kind = "pump"
mtbf_h = 20000
mttr_h = 8
"""


@pytest.fixture
def small(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(SMALL)
    return load_plant(path)


def test_every_part_can_be_broken():
    broken = {name for fault in FAULTS.values() for name in fault.breaks}
    assert broken == set(PLANT.parts)


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_fault_says_what_it_is(fault):
    assert fault.id == f"{fault.unit}: {fault.how}" and fault.how
    assert fault.label.endswith(fault.how) or fault.unit in ("settings", "test")
    for words in (fault.label, fault.place, fault.seen, fault.put_right):
        assert words.strip()
    assert fault.seen.endswith(".") and fault.put_right.endswith(".")
    assert fault.breaks <= set(PLANT.parts)
    assert f"\n{fault.mode} " in faults.__doc__ or f"{fault.mode}, " in faults.__doc__ \
        or f", {fault.mode} " in faults.__doc__


@pytest.mark.parametrize("fault_id, breaks, mode", [
    ("KF1: no power", {"KF1"}, "no power"), ("KF1: stopped", {"KF1"}, "stopped"),
    ("KF1: own fault", {"KF1"}, "own fault"), ("KF2: frozen", {"KF2"}, "frozen"),
    ("KF2: restarted", set(), "restart"), ("WF9: cut", {"WF9"}, "broken"),
    ("WF9: noise", set(), "noise"), ("WF9: bursts", set(), "bursts"),
    ("WF1.10: cut", {"WF1.10"}, "broken"), ("WF1+WF2: cut", {"WF1.10", "WF2.10"}, "broken"),
    ("KF10A: dead", {"KF10A"}, "broken"), ("KF20B: dead and silent", {"KF20B"}, "silent"),
    ("KF30: module fault", {"KF30"}, "broken"), ("TB1: off", {"TB1"}, "broken"),
    ("TB1: voltage dip", set(), "voltage dip"), ("GB1: off", {"GB1"}, "broken"),
    ("TF1: no power", {"TF1"}, "broken"), ("WF3: cut", {"WF3"}, "broken"),
    ("WF3: terminator missing", set(), "frame errors"),
    ("WF3: third terminator", set(), "frame errors"),
    ("WF4: A and B swapped", {"WF4"}, "broken"), ("PH1: dark", {"PH1"}, "broken"),
    ("PH1: lamp dark", set(), "lamp dark"), ("BL1: stuck", {"BL1"}, "stuck"),
    ("KF2: integrator not tracking", set(), "not tracking"),
    ("KF2: program differs", set(), "program differs"),
    ("QM1: shut locally", set(), "shut locally"),
    ("settings: hold time too short", set(), "short hold"),
    ("settings: racks not asked", set(), "racks not asked"),
    ("settings: one missed beat", set(), "one beat"),
    ("test: role change", set(), "planned test"),
])
def test_faults_of_the_example(fault_id, breaks, mode):
    assert FAULTS[fault_id].breaks == breaks
    assert FAULTS[fault_id].mode == mode


def test_drills_use_faults_of_the_plant():
    drills = drills_of(PLANT)
    assert len(drills) == 23
    assert {each for ids in drills.values() for each in ids} <= set(FAULTS)
    assert drills["no fault: planned test"] == ("test: role change",)


# What shows in the record of the pair, beside the switches: by hand, from what each fault breaks.
# The process alone shows a stuck sensor; a dead lamp and a dead link that is silent show nowhere.
HIDDEN = {"lamp of the panel dead", "level sensor stuck", "interface dead and silent"}


@pytest.mark.parametrize("title", drills_of(PLANT))
def test_every_drill_shows_something_unless_it_is_hidden(title):
    pair = Switchover(PLANT)
    pair.run_to(1000)
    for fault in drills_of(PLANT)[title]:
        pair.switch_on(fault)
    pair.run_for(300_000)
    shown = [entry for entry in pair.record if entry.what != "fault"]
    assert bool(shown) is (title not in HIDDEN)


def test_small_plant_has_no_faults_of_a_pair(small):
    found = faults_of(small)
    assert list(found) == ["A1: no power", "A1: stopped", "A1: own fault", "A1: frozen",
                           "R1: module fault", "W1: cut", "P1: dead",
                           "settings: hold time too short"]
    assert drills_of(small)
    for ids in drills_of(small).values():
        assert set(ids) <= set(found)


@pytest.mark.parametrize("ids, lost_links, panel", [
    (["WF1.20: cut"], {("KF20", "KF1")}, True),
    (["KF20B: dead"], {("KF20", "KF2")}, True),
    (["KF30: module fault"], {("KF30", "KF1"), ("KF30", "KF2")}, True),
    (["WF1+WF2: cut"], {("KF10", "KF1"), ("KF10", "KF2")}, True),
    (["KF1: no power"], {(rack, "KF1") for rack in PLANT.racks}, True),
    (["GB1: off"], {(rack, unit) for rack in PLANT.racks for unit in PLANT.controllers}, False),
    (["WF3: cut"], set(), False), (["WF4: A and B swapped"], set(), False),
    (["TF1: no power"], set(), False), (["PH1: dark"], set(), False),
    (["WF3: terminator missing"], set(), True), (["KF1: frozen", "WF9: cut"], set(), True),
])
def test_damage(ids, lost_links, panel):
    wires = Wires(PLANT)
    left = wires.damage([FAULTS[each] for each in ids])
    whole = wires.damage(())
    assert whole.passes - left.passes == lost_links
    assert left.seen == left.passes
    assert bool(left.panels) is panel


def test_a_silent_interface_is_dead_but_not_seen():
    left = Wires(PLANT).damage([FAULTS["KF20B: dead and silent"]])
    assert left.seen - left.passes == {("KF20", "KF2")}


@pytest.mark.parametrize("ids, near, far", [
    ([], True, True), (["WF3: cut"], False, True), (["WF4: cut"], True, False),
    (["PH1: dark"], True, False), (["TF1: no power"], False, False),
    (["WF3: third terminator"], False, True), (["WF4: terminator missing"], True, False),
    (["TB1: off"], False, True),
])
def test_both_sides_of_the_repeater(ids, near, far):
    left = Wires(PLANT).damage([FAULTS[each] for each in ids])
    assert left.repeaters == {"TF1": (near, far)}
    assert ("TF1" in left.supplied) is (ids != ["TF1: no power"])


@pytest.mark.parametrize("fault_id", FAULTS)
def test_damage_agrees_with_the_plant_file(fault_id):
    """The plant judges *see and act* from the same broken parts, by its own means."""
    fault = FAULTS[fault_id]
    pair = Switchover(PLANT)
    pair.switch_on(fault_id)
    works = PLANT.condition("see and act", fault.breaks) is not False
    supplied = not fault.breaks & {"TB1", "GB1"} and fault.mode != "voltage dip"
    assert pair.snapshot().panel_sees is (works and supplied)
