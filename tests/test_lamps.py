"""The lamps: what each shows in each state, never by colour alone, never without a line."""

from dataclasses import replace
from pathlib import Path

import pytest

from labkit.plant.plant import load_plant
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.lamps import Lamp, lamps_of
from labkit.switchover.roles import Outputs
from labkit.switchover.settings import PairSettings

PLANT = load_plant()
FAULTS = faults_of(PLANT)


def after(*steps, **changes):
    pair = Switchover(PLANT, PairSettings(**changes))
    pair.run_to(1000)
    for step in steps:
        if isinstance(step, int):
            pair.run_for(step)
        else:
            pair.switch_on(step)
    return {(lamp.unit, lamp.name): lamp for lamp in lamps_of(pair.snapshot())}


def lit(shown, unit):
    return [name for (of, name), lamp in shown.items() if of == unit and lamp.lit]


def seen(shown, unit, name):
    lamp = shown[unit, name]
    return lamp.colour, lamp.shape, lamp.flashing


@pytest.mark.parametrize("fault", [None, "KF1: no power"])
def test_no_lamp_of_a_single_controller_speaks_of_a_partner(fault):
    alone = Switchover(load_plant("mirelow"))
    if fault:
        alone.switch_on(fault)
    assert [lamp.name for lamp in lamps_of(alone.snapshot()) if lamp.unit == "KF1"] == [
        "SUPPLY", "ACTIVE", "LOADING", "FAILED"]


def test_a_healthy_plant():
    shown = after(0)
    assert lit(shown, "KF1") == ["SUPPLY", "ACTIVE"]
    assert lit(shown, "KF2") == ["SUPPLY", "READY"]
    assert seen(shown, "KF1", "SUPPLY") == ("green", "dot", False)
    assert seen(shown, "KF1", "ACTIVE") == ("green", "bar", False)
    assert seen(shown, "KF2", "READY") == ("white", "ring", False)
    for rack in PLANT.racks:
        assert lit(shown, f"{rack}A") == ["LINK", "WRITER"] and lit(shown, f"{rack}B") == ["LINK"]
        assert seen(shown, f"{rack}A", "LINK") == ("green", "dot", False)
        assert seen(shown, f"{rack}A", "WRITER") == ("white", "bar", False)
    # a healthy repeater shows its supply and life on both of its sides
    assert lit(shown, "TF1") == ["SUPPLY NEAR", "FRAMES NEAR", "SUPPLY FAR", "FRAMES FAR"]
    assert {lamp.colour for (unit, _), lamp in shown.items() if unit == "TF1"} == {"green"}
    assert lit(shown, "PH1") == ["DATA", "KF1", "PLANT"]
    assert not [lamp for lamp in shown.values() if lamp.colour in ("yellow", "red")]


def test_units_stand_together_and_controllers_come_first():
    units = [lamp.unit for lamp in lamps_of(Switchover(PLANT).snapshot())]
    assert list(dict.fromkeys(units)) == ["KF1", "KF2", "KF10A", "KF20A", "KF30A", "KF10B",
                                          "KF20B", "KF30B", "TF1", "PH1"]
    assert sorted(units, key=list(dict.fromkeys(units)).index) == units


@pytest.mark.parametrize("steps, unit, name, expected", [
    (["KF2: restarted", 100], "KF2", "LOADING", ("white", "broken ring", True)),
    (["KF2: restarted", 100], "KF1", "ALONE", ("yellow", "triangle", False)),
    (["KF2: own fault"], "KF2", "FAILED", ("red", "square", False)),
    (["KF2: own fault"], "PH1", "PLANT", ("yellow", "triangle", False)),
    (["WF9: cut", 500], "KF2", "READY", ("white", "ring", True)),
    (["WF1.10: cut"], "KF10A", "LINK", ("yellow", "cross", False)),
    (["WF1.10: cut", 500], "KF10B", "WRITER", ("white", "bar", False)),
    (["KF1: frozen", 1000], "KF1", "ACTIVE", ("green", "bar", False)),
    (["KF1: frozen", 1000], "PH1", "PLANT", ("red", "square", False)),
    (["TB1: off", 1], "PH1", "DATA", ("yellow", "cross", False)),
    (["WF3: cut"], "TF1", "FRAMES NEAR", ("yellow", "cross", False)),
    (["WF3: cut"], "TF1", "FRAMES FAR", ("green", "dot", False)),
    (["WF4: terminator missing"], "TF1", "FRAMES FAR", ("yellow", "cross", False)),
    (["TF1: no power"], "TF1", "SUPPLY NEAR", ("off", "dot", False)),
    (["settings: racks not asked", "WF9: cut", 500], "KF20A", "WRITER", ("white", "bar", True)),
    (["settings: racks not asked", "WF9: cut", 500], "KF20B", "WRITER", ("white", "bar", True)),
])
def test_lamps_of_faults(steps, unit, name, expected):
    assert seen(after(*steps), unit, name) == expected


def test_a_unit_without_supply_is_dark():
    shown = after("KF1: no power", 1000)
    assert lit(shown, "KF1") == []
    assert {lamp.text for (unit, _), lamp in shown.items() if unit == "KF1"} == {"dark, no supply"}
    assert lit(shown, "KF2") == ["SUPPLY", "ACTIVE", "ALONE"]


def test_a_failed_unit_that_led_is_not_active():
    assert lit(after("KF1: own fault", 1000), "KF1") == ["SUPPLY", "FAILED"]
    # stopped by hand: SUPPLY alone, where a unit without supply is all dark
    assert lit(after("KF1: stopped", 1000), "KF1") == ["SUPPLY"]
    assert lit(after("KF1: frozen", 1000, count_in_heartbeat=True), "KF1") == ["SUPPLY", "FAILED"]


def test_a_dead_lamp_in_the_row_looks_like_a_lamp_that_is_not_lit():
    shown = after("PH1: lamp dark")
    assert lit(shown, "PH1") == ["DATA", "PLANT"]
    assert shown["PH1", "KF1"] == type(shown["PH1", "KF1"])(
        "PH1", "KF1", False, False, "off", "bar", shown["PH1", "KF2"].text)
    # one lamp is dead, not the row: of two that lead, the second is still lit
    assert lit(after("settings: racks not asked", "WF9: cut", 500, "PH1: lamp dark"), "PH1") == [
        "DATA", "KF2", "PLANT"]
    # the controller's own lamp is another one
    assert lit(shown, "KF1") == ["SUPPLY", "ACTIVE"]


@pytest.mark.parametrize("fault, row", [
    ("PH1: dark", []), ("WF4: cut", ["DATA"]), ("TF1: no power", ["DATA"]),
])
def test_a_panel_that_does_not_see(fault, row):
    assert lit(after(fault), "PH1") == row


COLOURS_OF = {"SUPPLY": {"green"}, "ACTIVE": {"green"}, "READY": {"white"}, "LOADING": {"white"},
              "ALONE": {"yellow"}, "FAILED": {"red"}, "LINK": {"green", "yellow"}, "WRITER": {"white"}}


@pytest.mark.parametrize("fault", FAULTS)
def test_every_state_can_be_read_without_colour(fault):
    pair = Switchover(PLANT)
    shape_of = {}
    shown, lines = lamps_of(pair.snapshot()), 0

    def look():
        nonlocal shown, lines
        now = lamps_of(pair.snapshot())
        loading = [lamp for lamp in now if lamp.name == "LOADING"]
        for lamp in now:
            assert lamp.text and lamp.name and lamp.unit
            assert lamp.lit or (lamp.colour == "off" and not lamp.flashing)
            if lamp.lit:
                assert lamp.colour in COLOURS_OF.get(lamp.name, {"green", "yellow", "red"})
                # the shape tells the colours of one lamp apart
                assert shape_of.setdefault((lamp.name, lamp.colour), lamp.shape) == lamp.shape
        for name in {name for name, _ in shape_of}:
            shapes = [shape for (each, _), shape in shape_of.items() if each == name]
            assert len(set(shapes)) == len(shapes)
        changed = [a for a, b in zip(now, shown, strict=True) if a != b and a not in loading]
        assert not changed or len(pair.record) > lines, changed
        shown, lines = now, len(pair.record)

    for switch in (pair.switch_on, pair.switch_off):
        switch(fault)
        look()
        limit_ms = pair.time_ms + 12_000
        while pair.run_to_next(limit_ms):
            look()


def row(shown, unit):
    """What one unit shows: name, colour (with ~ if it flashes), shape, words."""
    return [f"{name} {lamp.colour}{'~' * lamp.flashing} {lamp.shape}: {lamp.text}"
            for (of, name), lamp in shown.items() if of == unit]


# Each lamp by its line of the table at the head of the module.
@pytest.mark.parametrize("steps, unit, expected", [
    ([0], "KF1", ["SUPPLY green dot: on", "ACTIVE green bar: leads", "READY off ring: not standby",
                  "LOADING off broken ring: not loading", "ALONE off triangle: not alone",
                  "FAILED off square: no fault found"]),
    ([0], "KF2", ["SUPPLY green dot: on", "ACTIVE off bar: does not lead",
                  "READY white ring: standby, ready",
                  "LOADING off broken ring: not loading", "ALONE off triangle: not alone",
                  "FAILED off square: no fault found"]),
    ([0], "KF10A", ["LINK green dot: data pass", "WRITER white bar: KF1 writes"]),
    ([0], "KF10B", ["LINK green dot: data pass", "WRITER off bar: no writes from here"]),
    ([0], "TF1", ["SUPPLY NEAR green dot: on", "FRAMES NEAR green dot: counts",
                  "SUPPLY FAR green dot: on", "FRAMES FAR green dot: counts"]),
    ([0], "PH1", ["DATA green dot: come in", "KF1 green bar: leads", "KF2 off bar: lamp dark",
                  "PLANT green bar: normal"]),
    (["KF1: no power", 1000], "KF1",
     ["SUPPLY off dot: dark, no supply", "ACTIVE off bar: dark, no supply",
      "READY off ring: dark, no supply",
      "LOADING off broken ring: dark, no supply", "ALONE off triangle: dark, no supply",
      "FAILED off square: dark, no supply"]),
    (["KF1: no power", 1000], "KF10A",
     ["LINK yellow cross: no data", "WRITER off bar: no writes from here"]),
    (["KF1: no power", 1000], "KF10B", ["LINK green dot: data pass", "WRITER white bar: KF2 writes"]),
    (["KF1: no power", 1000], "PH1",
     ["DATA green dot: come in", "KF1 off bar: lamp dark", "KF2 green bar: leads",
      "PLANT yellow triangle: no redundancy left"]),
    (["WF9: cut", 500], "KF1",
     ["SUPPLY green dot: on", "ACTIVE green bar: leads",
      "READY off ring: not standby", "LOADING off broken ring: not loading",
      "ALONE yellow triangle: no ready standby", "FAILED off square: no fault found"]),
    (["WF9: cut", 500], "KF2",
     ["SUPPLY green dot: on", "ACTIVE off bar: does not lead",
      "READY white~ ring: hears nothing, old data",
      "LOADING off broken ring: not loading", "ALONE off triangle: not alone",
      "FAILED off square: no fault found"]),
    (["KF2: own fault"], "KF2",
     ["SUPPLY green dot: on", "ACTIVE off bar: does not lead", "READY off ring: not standby",
      "LOADING off broken ring: not loading", "ALONE off triangle: not alone",
      "FAILED red square: stopped by a fault"]),
    (["settings: racks not asked", "WF9: cut", 500], "KF10A",
     ["LINK green dot: data pass", "WRITER white~ bar: two by turns"]),
    (["settings: racks not asked", "WF9: cut", 500], "PH1",
     ["DATA green dot: come in", "KF1 green bar: leads", "KF2 green bar: leads",
      "PLANT red square: control lost"]),
    (["TF1: no power"], "TF1",
     ["SUPPLY NEAR off dot: dark, no supply", "FRAMES NEAR off dot: dark, no supply",
      "SUPPLY FAR off dot: dark, no supply", "FRAMES FAR off dot: dark, no supply"]),
    (["WF3: cut"], "TF1",
     ["SUPPLY NEAR green dot: on", "FRAMES NEAR yellow cross: errors or none",
      "SUPPLY FAR green dot: on", "FRAMES FAR green dot: counts"]),
    (["WF3: cut"], "PH1", ["DATA yellow cross: no data", "KF1 off bar: lamp dark", "KF2 off bar: lamp dark",
                           "PLANT off bar: dark"]),
    (["PH1: dark"], "PH1", ["DATA off dot: dark", "KF1 off bar: lamp dark", "KF2 off bar: lamp dark",
                            "PLANT off bar: dark"]),
])
def test_every_word_shape_and_colour(steps, unit, expected):
    assert row(after(*steps), unit) == expected


@pytest.mark.parametrize("share, words", [(0.0, "waits or listens"), (0.75, "75 % copied")])
def test_a_loading_unit_says_how_much_it_has_copied(share, words):
    pair = Switchover(PLANT)
    pair.run_to(1000)
    pair.switch_on("KF2: restarted")
    state = replace(pair.snapshot(), loading={"KF2": share})
    loading = next(lamp for lamp in lamps_of(state) if (lamp.unit, lamp.name) == ("KF2", "LOADING"))
    assert loading == Lamp("KF2", "LOADING", True, True, "white", "broken ring", words)
    unsaid = replace(pair.snapshot(), loading={})
    assert [lamp.text for lamp in lamps_of(unsaid) if lamp.name == "LOADING"] == [
        "not loading", "waits or listens"]


def test_outputs_in_their_fail_state_are_control_lost():
    state = Switchover(PLANT).snapshot()
    lost = replace(state, outputs={**state.outputs, "KF20": Outputs.FAIL_STATE})
    assert lamps_of(lost)[-1] == Lamp("PH1", "PLANT", True, False, "red", "square", "control lost")
    held = replace(state, outputs={**state.outputs, "KF20": Outputs.HELD})
    assert lamps_of(held)[-1] == Lamp("PH1", "PLANT", True, False, "green", "bar", "normal")


def test_one_interface_of_both_units_says_whose_link_is_dead():
    pair = Switchover(load_plant(Path(__file__).parent / "plant_files" / "heat_station.toml"))
    pair.switch_on("KF1: no power")
    pair.run_to(10_000)
    assert [lamp.text for lamp in lamps_of(pair.snapshot())
            if (lamp.unit, lamp.name) == ("KF10A", "LINK")] == ["no data from KF1", "data pass from KF2"]
