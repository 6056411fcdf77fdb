"""What checks show on a running plant and how sure they are: by value, as an instrument says it."""

from types import SimpleNamespace

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.checks import TELLS, Look, catalogue, expected_in, hall_check, told
from labkit.rig.rig import Rig
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.roles import Entry

PLANT = load_plant()
LOOKS = {look.name: look for look in catalogue(PLANT)}
TIGHT = "all tight, all through"
# the meter at the bus apart, which test_arguments.py and test_faultfinding.py hold
HEALTHY = {
    "book and permits": "no work, no test entered",
    "lamp test of PH1": "all lamps light",
    "lamps of TF1": "TF1: SUPPLY NEAR on, FRAMES NEAR counts, SUPPLY FAR on, FRAMES FAR counts",
    "error counters": "WF9: no errors; WF3: no errors; WF4: no errors",
    "cycle counters": "KF1: counts; KF2: counts",
    "settings against the sheet": "all as on the approved sheet",
    "program versions": "KF1: 7.2; KF2: 7.2; approved: 7.2",
    "24 V at the units": "KF1: 24.1 V; KF2: 24.1 V; TF1: 24.1 V; PH1: 24.1 V; TB1: 24.1 V",
    "plugs of WF9": TIGHT, "plugs of the rack links": TIGHT, "plugs of the panel bus": TIGHT,
    "cabinet of the controllers": "31 degrees, filter clean, fan runs",
    "faults shown at the racks": "no fault shown at any rack",
    "halving the bus at TF1": "WF3: good frames; WF4: good frames",
    "voltage between the earths": "below 1 V everywhere",
    "second reading beside BL1": "dipstick and BL1 agree, twice",
    "local switch of QM1": "QM1: remote, open",
}


def shown(*faults):
    """Return what each check shows of faults that have been on for 5 s, but for the bus by a meter."""
    rig = Rig(PLANT)
    rig.wait(2)
    for fault in faults:
        rig.switch_on(fault)
    rig.wait(5)
    return {name: look.shows(rig) for name, look in LOOKS.items() if look.shows is not None
            and not name.startswith(("resistance", "idle", "planned"))}


@pytest.mark.parametrize(("faults", "otherwise"), [
    ((), {}),
    (("TF1: no power",), {
        "lamps of TF1": "TF1: " + ", ".join(
            f"{lamp} dark, no supply" for lamp in ("SUPPLY NEAR", "FRAMES NEAR", "SUPPLY FAR", "FRAMES FAR")),
        "error counters": "WF9: no errors; WF3: no good frames; WF4: no good frames",
        "24 V at the units": "KF1: 24.1 V; KF2: 24.1 V; TF1: 0.0 V; PH1: 24.1 V; TB1: 24.1 V"}),
    (("KF2: program differs", "BL1: stuck"), {
        "book and permits": "yesterday: a change of the program, loaded once",
        "program versions": "KF1: 7.2; KF2: 7.3; approved: 7.2",
        "second reading beside BL1": "dipstick 1.24 m, five minutes later 1.27 m; BL1 stands"}),
    (("KF1: stopped", "WF9: noise"), {
        "book and permits": "permit: fan filter of the cabinet of KF1, signed off; start not entered",
        "cycle counters": "KF1: stands, program stopped by hand; KF2: counts",
        "error counters": "WF9: some 300 errors a minute, steady; WF3: no errors; WF4: no errors",
        "plugs of WF9": "WF9: shield off at one end"}),
    # 30 L/s into 1.5 m2 for 5 s: from 1.20 m to 1.30 m
    (("QM1: shut locally", "BL1: stuck"), {
        "book and permits": "yesterday: cleaning on the roof, signed off",
        "second reading beside BL1": "dipstick 1.34 m, five minutes later 1.37 m; BL1 stands",
        "local switch of QM1": "QM1: local, shut"}),
    (("GB1: off", "WF4: cut"), {
        "lamps of TF1": "TF1: SUPPLY NEAR on, FRAMES NEAR errors or none, SUPPLY FAR on, "
                        "FRAMES FAR errors or none",
        "error counters": "WF9: no errors; WF3: no errors; WF4: no good frames",
        "cycle counters": "KF1: no answer; KF2: no answer",
        "24 V at the units": "KF1: 0.0 V; KF2: 0.0 V; TF1: 24.1 V; PH1: 24.1 V; TB1: 0.0 V",
        "plugs of the panel bus": "WF4: open",
        "halving the bus at TF1": "WF3: good frames; WF4: no good frames"}),
])
def test_each_check_shows_what_stands_there(faults, otherwise):
    assert shown(*faults) == HEALTHY | otherwise


def test_a_planned_switchover_is_watched_for_30_s():
    rig = Rig(PLANT)
    rig.wait(2)
    assert LOOKS["planned switchover"].shows(rig) == (
        "asked: accepted; leads now: the other unit; new alarms: none; process: steady")
    assert rig.now_s == pytest.approx(32.0, rel=1e-12)
    rig.switch_on("QM1: shut locally")  # 12 s to the overflow
    assert LOOKS["planned switchover"].shows(rig) == (
        "asked: accepted; leads now: the other unit; new alarms: level high; tank overflows; "
        "process: valve shut, overflow")


def test_a_misreading_goes_to_the_other_outcomes_in_equal_parts():
    """One in ten is misread; of three outcomes each other one gets half of that."""
    look = Look("x", 1.0, chances=lambda run: run, misread=0.1)
    runs = [{"a": 1.0}, {"b": 1.0}, {"a": 0.5, "c": 0.5}]
    assert expected_in(look, runs) == tuple(map(pytest.approx, (
        {"a": 0.9, "b": 0.05, "c": 0.05}, {"b": 0.9, "a": 0.05, "c": 0.05},
        {"a": 0.45, "c": 0.45, "b": 0.05})))
    assert expected_in(look, [{"a": 1.0}]) == ({"a": 1.0},)  # nothing else to read
    assert expected_in(Look("x", 1.0, chances=lambda run: run), runs[:2]) == (
        {"a": 1.0, "b": 0.0}, {"b": 1.0, "a": 0.0})
    # two in a thousand, of what is read off a list or lamps
    assert {name: look.misread for name, look in LOOKS.items() if look.misread} == dict.fromkeys(
        ("record of the pair", "alarm list", *(name for name in LOOKS if name.startswith("lamps of "))),
        0.002)


def test_what_checks_are_called_and_take_follows_the_plant():
    assert LOOKS["24 V at the output of GB1"].minutes == 4 + 5  # and the walk there
    assert {"24 V at the output of TB1", "24 V at the terminals of KF1"} <= {*LOOKS}
    assert (LOOKS["lamps of PH1"].minutes, LOOKS["lamps of KF1"].minutes) == (1, 1 + 5)
    small = {look.name for look in catalogue(load_plant("mirelow"))}
    assert not small & {"planned switchover", "program versions"}
    assert "record of the controller" in small and "record of the pair" in LOOKS
    assert [hall_check(each) for each in (PLANT, load_plant("mirelow"))] == [
        "lamps in the hall", "lamps in the switch room"]


@pytest.mark.parametrize(("lines", "first"), [
    ([], "nothing entered"),
    ([("KF2", "alarm", "gone", ""), ("KF2", "alarm", "", "KF1 is lost")], "KF1 is lost"),
    ([("KF1", "fault", "off", "on"), ("KF1", "role", "active", "off")], "KF1 role: off"),
    ([("KF1", "role", "active", "standby", "Rule 3: by hand"), ("pair", "alarm", "", "x")],
     "a switchover by hand"),
    ([("pair", "role change", "asked", "refused")], "pair role change: refused")])
def test_of_the_record_the_first_alarm_or_role_counts(lines, first):
    record = [Entry(0, *line[:4], *(line[4:] or ("",))) for line in lines]
    run = SimpleNamespace(effect=SimpleNamespace(record=record))
    assert TELLS["first line"](PLANT, "")(run) == {first: 1.0}


@pytest.mark.parametrize(("sees", "lamp", "alarms"), [
    (True, "DATA", ("level high",)), (False, "DATA", ()), (False, "ACTIVE", ("level high",))])
def test_alarms_are_read_at_a_panel_that_sees_and_where_there_is_none(sees, lamp, alarms):
    after = SimpleNamespace(alarms=("level high",), panel_sees=sees)
    assert told(SimpleNamespace(after=after, lamps_after=[SimpleNamespace(name=lamp)])) == alarms


@pytest.mark.parametrize(("signs", "outcome"), [
    ({"KF1 ACTIVE": "leads", "KF1 READY": "dark", "KF10 LINK": "good"}, "ACTIVE leads"),
    ({"KF1 ACTIVE": "dark", "KF10 LINK": "good"}, "all dark")])
def test_of_the_lamps_of_a_unit_those_that_are_lit_are_read(signs, outcome):
    assert TELLS["lamps"](PLANT, "KF1")(SimpleNamespace(signs=signs)) == {outcome: 1.0}


@pytest.mark.parametrize(("fault", "below"), [(None, 0.02), ("GB1: off", 0.98), ("TF1: no power", 0.02)])
def test_a_voltage_is_low_where_the_supply_has_gone(fault, below):
    run = SimpleNamespace(fault=fault and faults_of(PLANT)[fault])
    assert TELLS["24 V"](PLANT, "KF1")(run) == pytest.approx({"below 20.4 V": below, "20.4 to 28.8 V": 1 - below})
