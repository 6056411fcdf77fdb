"""A seeded share of `tests.held_out`: drawn plants, held to one truth."""

import random
from collections import Counter

import pytest

from labkit.plant.plant import build, load_plant
from labkit.rig.rig import Rig
from lessons.papers.basis import Basis
from lessons.papers.mode_words import on_plant
from tests.held_out import (
    contradictions,
    drawn_file,
    wrong_card,
    wrong_line,
    wrong_sets,
    wrong_steps,
    wrong_sums,
)
from tests.test_plant_keys import part


def test_all_that_speaks_of_a_drawn_plant_says_the_same(tmp_path):
    """Here a duct parts two racks between the units, each of which then reaches another one."""
    counts = Counter()
    assert list(contradictions(24, 1, counts, tmp_path)) == []
    assert counts["parts"] > 10 and counts["failures"] > 20


def test_a_step_that_takes_the_leader_by_its_feed_has_the_limit_of_a_silent_one(tmp_path):
    path = tmp_path / "plant.toml"
    path.write_text(drawn_file(9), "utf-8")
    assert list(wrong_steps(load_plant(path), random.Random(1))) == []


def test_what_a_fault_adds_is_measured_from_the_healthy_rate_of_the_card():
    """Two racks on a chain between the units: which of them leads decides, and stays out of it.

    By hand: a cut of WF2 once in 1000 h leaves KF10 to KF1 alone, so that it counts for the rack in
    a healthy plant, and not while KF1 leads.
    """
    plant = build({
        "format": 1, "plant": {"name": "P"},
        "part": [part("KF1", kind="controller"), part("KF2", kind="controller"),
                 part("WF9", kind="cable", joins=["KF1", "KF2"]),
                 part("KF10", kind="rack"), part("KF20", kind="rack"),
                 part("KF10A", kind="interface", joins=["KF10"]),
                 part("KF20A", kind="interface", joins=["KF20"]),
                 part("WF1", kind="cable", joins=["KF1", "KF10A"]),
                 part("WF2", kind="cable", joins=["KF10A", "KF20A"]),
                 part("WF3", kind="cable", joins=["KF20A", "KF2"]), part("BL1"), part("BL2")],
        "pair": {"units": ["KF1", "KF2"], "sync": ["WF9"]},
        "function": [{"name": "kept", "reached": ["KF10"], "needs": [{"at_least": 1, "of": ["BL1", "BL2"]}]}]})
    basis = Basis(plant, date="2031-05-06")
    fault = next(each for each in basis.faults.values() if each.unit == "BL1" and each.breaks)
    healthy = Rig(plant).plant_state()
    assert healthy.healthy_failures_per_h["kept"] - healthy.failures_per_h["kept"] == pytest.approx(1e-3)
    said = on_plant(basis, basis.effects[fault.id, "KF2"], fault.breaks)
    assert f" instead of {8760 * healthy.healthy_failures_per_h['kept']:.2g}/a" in said


def test_a_drawn_plant_is_the_same_each_time_and_another_for_each_seed():
    assert drawn_file(1) == drawn_file(1) != drawn_file(2)


def odd(*more, crews=0, pair=(), **tables):
    """Return a plant of a pair on two feeds with a rack on a line of each, and more."""
    return build({
        "format": 1, "plant": {"name": "P"}, "people": {"crews": crews},
        "part": [part("TB1", "supply", 1e5), part("TB2", "supply", 1e5),
                 part("KF1", "controller", 6e4, 4, fed_by=["TB1"]),
                 part("KF2", "controller", 6e4, 4, fed_by=["TB2"]),
                 part("WF9", "cable", 3e5, joins=["KF1", "KF2"]), part("KF10", "rack", 1e5),
                 part("W1", "cable", 1e5, joins=["KF1", "KF10"]),
                 part("W2", "cable", 1e5, joins=["KF2", "KF10"]), *more],
        "pair": {"units": ["KF1", "KF2"], "sync": ["WF9"], "common_cause": 0.05, "coverage": 0.97,
                 "diagnosed": 0.9} | dict(pair),
        "costs": {"step": [{"name": "late", "function": "run", "longer_than_min": 0, "cost": 10}]}} | tables)


ODD = {
    "a rack on both links, another on one": odd(
        part("KF20", "rack", 1e5), part("W3", "cable", 1e5, joins=["KF1", "KF20"]), function=[
            {"name": "run", "reached": ["KF10", "KF20"]},
            {"name": "apart", "needs": [{"reached": ["KF10"]}, {"reached": ["KF20"]}]}]),
    "a panel on one unit": odd(
        part("PH1", "panel", 45_000, 8), part("W5", "cable", 1e5, joins=["PH1", "KF1"]), function=[
            {"name": "run", "reached": ["KF10", "PH1"]}, {"name": "seen", "reached": ["PH1"]}]),
    "two panels, each on one unit": odd(
        *(part(f"PH{n}", "panel", 45_000, 8) for n in (1, 2)),
        *(part(f"W{n + 4}", "cable", 1e5, joins=[f"PH{n}", f"KF{n}"]) for n in (1, 2)),
        part("W7", "cable", 1e5, joins=["PH2", "KF1"]),
        function=[{"name": "run", "reached": ["KF10"]}, {"name": "seen", "reached": ["PH1", "PH2"]}]),
    "one crew, and a function that stands idle": odd(
        *(part(f"GP{n}", "pump", 50_000, 8, noticed=0.0) for n in (1, 2)), crews=1, function=[
            {"name": "run", "reached": ["KF10"]},
            {"name": "pumped", "needs": [{"at_least": 1, "of": ["GP1", "GP2"]}], "idle_h": 5000.0,
             "hours_per_year": 200.0}]),
    "a standby that waits stopped, with a line of its own": odd(
        pair={"coverage": 0.0}, function=[{"name": "run", "reached": ["KF10"]}]),
    "a third controller on the network of the pair": odd(
        part("KF3", "controller", 6e4, 4, fed_by=["TB1"]), part("KF30", "rack", 1e5),
        part("W3", "cable", 1e5, joins=["KF3", "KF10"]), part("W4", "cable", 1e5, joins=["KF1", "KF30"]),
        part("W5", "cable", 1e5, joins=["KF3", "KF30"]),
        function=[{"name": "run", "reached": ["KF10"]},
                  {"name": "third", "reached": ["KF30"], "by": ["KF3"]}]),
}


@pytest.mark.parametrize("name", ODD)
def test_all_that_speaks_of_an_odd_plant_says_the_same(name):
    plant, draw, counts = ODD[name], random.Random(name), Counter()
    assert [*wrong_line(plant, draw, 6, counts), *wrong_sets(plant), *wrong_sums(plant),
            *wrong_card(plant, draw)] == []


def test_racks_in_one_entry_or_in_two_are_led_by_one_unit_and_count_the_same():
    plant = ODD["a rack on both links, another on one"]
    one, two = (plant.block(name) for name in ("run", "apart"))
    assert (two.unavailability, two.failures_per_h) == pytest.approx(
        (one.unavailability, one.failures_per_h), rel=1e-12)


def test_a_panel_hangs_on_either_unit_whoever_leads_the_racks():
    """W1 cut, KF2 leads KF10 and KF1 shows it on PH1: nothing is lost, in the sums as on the rig."""
    plant = ODD["a panel on one unit"]
    rig = Rig(plant)
    assert "W1" not in rig.plant_state().next_failures["run"]
    rig.switch_on("W1: cut")
    rig.wait(60)
    assert rig.plant_state().works["run"] and plant.condition("run", {"W1"}) is not False


def test_one_crew_repairs_idle_pumps_one_after_the_other():
    """By hand, states of the two pumps: down 8 h + 2190 h each, of which a crew is busy for 8 h."""
    plant = ODD["one crew, and a function that stands idle"]
    alone = (2198 / (50_000 + 2198)) ** 2
    # both down: each is ready after its wait and its turn, 2190 + 8 x 2
    fails, one_h, both_h = 1 / 50_000, 2190 + 8, 2190 + 16
    one = 2 * fails * one_h
    both = one * fails * both_h / 2
    assert plant.block("pumped").unavailability == pytest.approx(both / (1 + one + both), rel=1e-9)
    assert plant.block("pumped").unavailability > alone


def test_a_rack_belongs_to_who_leads_its_function_not_to_who_reaches_it():
    """The pair has a way to KF30, and does not write it: with both units out KF3 goes on."""
    plant = ODD["a third controller on the network of the pair"]
    assert plant.ways("KF1", "KF30") and plant.racks == ("KF10",)
    rig = Rig(plant)
    for unit in plant.pair.units:
        rig.switch_on(f"{unit}: no power")
    assert rig.plant_state().works == {"run": False, "third": True}
    rig.switch_on("KF3: dead")
    assert rig.plant_state().works == {"run": False, "third": False}
