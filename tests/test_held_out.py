"""A seeded share of `tests.held_out`: drawn plants, held to one truth."""

import random
from collections import Counter

import pytest

from labkit.plant.plant import build, load_plant
from labkit.rig.rig import Rig
from lessons.papers.basis import Basis
from lessons.papers.mode_words import on_plant
from tests.held_out import contradictions, drawn_file, wrong_steps
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
