"""A seeded share of `tests.held_out`: drawn plants, held to one truth."""

import random
from collections import Counter

from labkit.plant.plant import load_plant
from tests.held_out import contradictions, drawn_file, wrong_steps


def test_all_that_speaks_of_a_drawn_plant_says_the_same(tmp_path):
    """Here a duct parts two racks between the units, each of which then reaches another one."""
    counts = Counter()
    assert list(contradictions(24, 1, counts, tmp_path)) == []
    assert counts["parts"] > 10 and counts["failures"] > 20


def test_a_step_that_takes_the_leader_by_its_feed_has_the_limit_of_a_silent_one(tmp_path):
    path = tmp_path / "plant.toml"
    path.write_text(drawn_file(9), "utf-8")
    assert list(wrong_steps(load_plant(path), random.Random(1))) == []


def test_a_drawn_plant_is_the_same_each_time_and_another_for_each_seed():
    assert drawn_file(1) == drawn_file(1) != drawn_file(2)
