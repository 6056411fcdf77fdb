"""What checks show on a running plant and how sure they are: by value, as an instrument says it."""

from types import SimpleNamespace

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.checks import (
    TELLS,
    Look,
    _without_supply,
    catalogue,
    expected_in,
    hall_check,
    told,
)
from labkit.rig.rig import Rig
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.roles import Entry
from tests.test_plant_keys import part, plant_of

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


def test_a_second_reading_is_taken_where_the_level_is_by_then():
    """30 L/s into 1.5 m2 for 5.3 s: 1.306 m, and the dipstick reads 4 cm more."""
    rig = Rig(PLANT)
    for fault in ("QM1: shut locally", "BL1: stuck"):
        rig.switch_on(fault)
    rig.wait(5.3)
    assert LOOKS["second reading beside BL1"].shows(rig) == (
        "dipstick 1.35 m, five minutes later 1.38 m; BL1 stands")


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


def run_of(fault=None, lit=True, unit="PH1"):
    lamps = [SimpleNamespace(unit=unit, lit=lit), SimpleNamespace(unit="XX1", lit=not lit)]
    return SimpleNamespace(fault=fault and faults_of(PLANT)[fault], effect=SimpleNamespace(lamps_after=lamps))


@pytest.mark.parametrize(("look", "fault", "lit", "yes", "chance"), [
    ("program versions", None, True, "they differ", 0.01),
    ("program versions", "KF2: program differs", True, "they differ", 0.99),
    ("plugs of WF9", "WF9: noise", True, "loose or open", 0.3),
    ("plugs of WF9", "WF3: cut", True, "loose or open", 0.02),  # a fault elsewhere is none here
    ("plugs of WF1.10", "WF1+WF2: cut", True, "loose or open", 0.95),
    ("book and permits", "KF1: stopped", True, "work or a test is entered", 0.8),
    ("book and permits", "KF1: no power", True, "work or a test is entered", 0.05),
    # a panel without supply lights no lamp in its test either, in 99 of 100
    ("lamp test of PH1", None, True, "a lamp stays dark", 0.01),
    ("lamp test of PH1", None, False, "a lamp stays dark", 0.99),
    ("lamp test of PH1", "PH1: lamp dark", True, "a lamp stays dark", 0.99),
    ("cabinet of the controllers", "KF2: too hot", True, "hot, or the filter is full", 0.95),
])
def test_a_check_says_yes_as_often_as_the_kind_of_fault_or_else_as_itself(look, fault, lit, yes, chance):
    found = LOOKS[look].chances(run_of(fault, lit))
    assert found[yes] == pytest.approx(chance, rel=1e-12) and len(found) == 2
    assert sum(found.values()) == pytest.approx(1.0, rel=1e-12)


BUS = ("good", "near terminator missing", "far terminator missing", "line open", "third terminator near",
       "third terminator far", "short in the middle")


@pytest.mark.parametrize(("look", "fault", "likely", "states"), [
    # one reading in a thousand is of any state, in equal parts; ohms do not tell bias and crossing apart
    ("idle voltage of WF4", None, {"good": 1.0}, 10),
    ("idle voltage of WF4", "WF4: terminator missing",
     {"near terminator missing": 0.5, "far terminator missing": 0.5}, 10),
    ("idle voltage of WF4", "WF4: A and B swapped", {"A and B swapped": 1.0}, 10),
    ("idle voltage of WF4", "WF3: A and B swapped", {"good": 1.0}, 10),
    ("resistance of WF4", "WF4: A and B swapped", {"good": 1.0}, 7),
    ("resistance of WF4", "WF4: cut", {"line open": 0.8, "short in the middle": 0.2}, 7),
    ("resistance of WF4", "WF4: bit rate differs", {"good": 1.0}, 7),
])
def test_a_meter_tells_the_state_of_a_line_but_one_time_in_a_thousand(look, fault, likely, states):
    found = LOOKS[look].chances(run_of(fault))
    assert len(found) == states and {*BUS} <= {*found}
    assert found == pytest.approx({each: 0.999 * likely.get(each, 0.0) + 0.001 / states for each in found},
                                  rel=1e-12)


@pytest.mark.parametrize(("fault", "bad"), [
    (None, "none"), ("WF3: cut", "WF3"), ("WF4: shield off", "WF4"), ("TF1: no power", "none")])
def test_halving_a_bus_errs_one_time_in_a_thousand(fault, bad):
    found = LOOKS["halving the bus at TF1"].chances(run_of(fault))
    assert found == pytest.approx({each: 0.999 if each == bad else 0.0005 for each in ("WF3", "WF4", "none")},
                                  rel=1e-12)


@pytest.mark.parametrize(("faults", "line", "ohms", "volts"), [
    # 540 m of 168 ohm/km: 120 ohm beside 120 + 90.72 ohm; 5 V over 2 x 390 ohm
    ((), "WF4", "76 ohm from either end", "near +446 mV, far +254 mV"),
    (("WF3: cut",), "WF4", "76 ohm from either end", "near +446 mV, far +254 mV"),
    # of a cut four in five are open, and one is short
    (("WF4: cut",), "WF4", "120 ohm from either end", "near +667 mV, far +0 mV"),
    (("WF4: bit rate differs", "WF4: A and B swapped"), "WF4", "76 ohm from either end",
     "near +446 mV, far -254 mV"),
])
def test_a_meter_at_the_rig_reads_the_likeliest_state(faults, line, ohms, volts):
    rig = Rig(PLANT)
    for fault in faults:
        rig.switch_on(fault)
    assert LOOKS[f"resistance of {line}"].shows(rig) == f"{line}, supplies off: {ohms}"
    assert LOOKS[f"idle voltage of {line}"].shows(rig) == f"{line}, nobody sends: {volts}"


@pytest.mark.parametrize(("faults", "check", "words"), [
    # the book is read from its end, and each line once
    (("WF3: third terminator", "KF2: stopped", "WF4: third terminator", "WF4: terminator missing"),
     "book and permits", "yesterday: work at the panel bus, signed off; "
     "permit: fan filter of the cabinet of KF2, signed off; start not entered"),
    (("KF10: module fault", "WF9: cut", "GP1: dead"), "faults shown at the racks",
     "KF10: module fault shown; GP1: shows its own fault"),
    (("WF3: earths differ",), "voltage between the earths", "WF3: 14 V between the earths of its ends"),
    (("settings: one missed beat",), "settings against the sheet", "settings: missed beats 1, sheet 3"),
    (("PH1: dark",), "lamp test of PH1", "all lamps stay dark"),
    (("KF1: own fault", "KF2: frozen"), "cycle counters",
     "KF1: stands, program stopped by its own diagnosis; KF2: stands still"),
    (("TB1: voltage dip",), "24 V at the units", "KF1: 24.1 V; KF2: 24.1 V; TF1: 24.1 V; PH1: 24.1 V; "
     "TB1: 24.1 V; TB1 lowest since midnight 14.9 V"),
    (("WF1+WF2: cut",), "plugs of the rack links", "WF1.10: open; WF2.10: open"),
    (("WF9: cut", "WF9: noise"), "plugs of WF9", "WF9: open; shield off at one end"),
])
def test_what_faults_at_several_parts_show(faults, check, words):
    assert shown(*faults)[check] == words


def test_a_planned_switchover_that_is_refused_is_told_so():
    rig = Rig(PLANT)
    rig.wait(2)
    rig.switch_on("KF2: no power")
    rig.wait(10)
    assert LOOKS["planned switchover"].shows(rig) == (
        "asked: refused; leads now: still KF1; new alarms: none; process: steady")
    rig.switch_on("KF1: no power")
    assert LOOKS["planned switchover"].shows(rig).startswith("asked: refused; leads now: still none; new alarms: ")


def test_checks_at_a_plant_of_other_parts():
    plant = plant_of(
        part("KF1", "controller", fed_by=["TB1", "TB2"]), part("TB1", "supply"), part("TB2", "ups"),
        part("PH1", "panel", fed_by=["TB1"]), part("WH1", "cable", joins=["KF1", "TF1"]),
        part("WH2", "cable", joins=["TF1", "PH1"]), part("TF1", "repeater"),
        part("KF10", "rack"), part("WF1", "cable", joins=["KF1", "KF10"]),
        part("BL7", "sensor", joins=["KF10"]), shared_event=[
            {"name": name, "what": "water", "breaks": breaks}
            for name, breaks in (("wet", ["TB1", "KF10"]), ("damp", ["TB2", "KF10"]), ("rain", ["KF1", "KF10"]))])
    looks = {look.name: look for look in catalogue(plant)}
    assert {"lamps in the cabinets", "24 V at the output of TB1", "24 V at the output of TB2",
            "24 V at the terminals of KF1", "halving the bus at TF1"} <= {*looks}
    assert "(length not in the file, copper left out): good: 60 ohm from either end;" in looks["resistance of WH1"].how
    assert "good: near +357 mV, far +357 mV;" in looks["idle voltage of WH1"].how
    # of two feeds one suffices
    known = faults_of(plant)
    first, both = [known["TB1: off"]], [known["TB1: off"], known["TB2: off"]]
    assert [_without_supply(plant, on, "KF1") for on in ([], first, both)] == [False, False, True]
    assert not _without_supply(plant, [known["PH1: lamp dark"]], "PH1")
    # what takes a supply or a UPS with other things leaves it without voltage, and no controller
    for event, gone in (("wet", {"TB1", "PH1"}), ("damp", {"TB2"}), ("rain", set())):
        assert {unit for unit in plant.parts if _without_supply(plant, [known[f"{event}: lost"]], unit)} == gone
    rig = Rig(plant)
    assert looks["second reading beside BL7"].shows(rig) == "second reading and BL7 agree, twice"
    rig.switch_on("BL7: stuck")
    rig.switch_on("TB1: off")
    assert looks["second reading beside BL7"].shows(rig) == "second reading moves; BL7 stands"
    assert looks["lamp test of PH1"].shows(rig) == "all lamps stay dark"
    assert looks["24 V at the units"].shows(rig) == "KF1: 24.1 V; TF1: 24.1 V; PH1: 0.0 V; TB1: 0.0 V"
    bare = {look.name for look in catalogue(plant_of(part("EC1", "fan")))}
    assert bare == {"book and permits", "record of the controller", "alarm list", "lamps in the cabinets",
                    "cycle counters", "settings against the sheet", "24 V at the units", "faults shown at the racks"}
