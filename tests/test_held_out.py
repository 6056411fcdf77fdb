"""A seeded share of `tests.held_out`: drawn plants, held to one truth."""

from collections import Counter

import pytest

from tests.held_out import contradictions, drawn_file


@pytest.mark.parametrize("seed", [9, 24])
def test_all_that_speaks_of_a_drawn_plant_says_the_same(seed, tmp_path):
    """On 9 a feed takes the leader; on 24 a duct parts two racks between the units."""
    counts = Counter()
    assert list(contradictions(seed, 2, counts, tmp_path)) == []
    assert counts["parts"] > 10 and counts["failures"] > 20


def test_a_drawn_plant_is_the_same_each_time_and_another_for_each_seed():
    assert drawn_file(1) == drawn_file(1) != drawn_file(2)
