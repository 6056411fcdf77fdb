"""The pictures of the pair in numbers, and the sum by hand behind one of them."""

import math
import re

import pytest

from labkit.markov.flaws import Flaws
from labkit.markov.pair import redundant_pair
from lessons.pictures.pair_pictures import (
    THREE_WAYS,
    by_hand,
    pair_chain_picture,
    three_ways_picture,
)


def test_every_way_of_the_chain_is_in_the_picture():
    picture = pair_chain_picture()
    chain = redundant_pair(60_000, 4, common_cause=0.05, coverage=0.97, diagnosed=0.9)
    assert picture.svg.count('class="way"') == picture.svg.count('class="tip"') == len(chain.rates)
    assert picture.svg.count("<rect") == len(chain.states)
    assert picture.svg.count('<rect class="down"') == len(chain.states) - len(chain.up)
    for start, end in chain.rates:
        assert f"\n{start} -> {end}: " in repr(picture)
    assert re.search(r'role="img" aria-label="[^"]+"', picture.svg)


@pytest.mark.parametrize(("name", "flaws"), THREE_WAYS)
def test_the_sum_by_hand_is_near_the_chain(name, flaws):
    # Flaws that meet are counted twice, and a share of the time is taken for all of it.
    assert math.isclose(by_hand(flaws), flaws.pair.unavailability, rel_tol=0.05)


def test_the_sum_by_hand_has_the_right_limit():
    # Second order in MTTR/MTBF is all that is left out for the ideal pair.
    for mtbf_h in (1e4, 1e6):
        ideal = Flaws(mtbf_h=mtbf_h)
        assert math.isclose(by_hand(ideal), ideal.pair.unavailability, rel_tol=4 * 4 / mtbf_h)


def test_three_ways_meet():
    picture = three_ways_picture(lives=400, years=1_000, seed=3)
    found = re.findall(r"by hand ([+-][\d.]+) %, simulated ([+-][\d.]+) % ± ([\d.]+) %",
                       repr(picture))
    assert len(found) == len(THREE_WAYS)
    for (_, flaws), (hand, point, error) in zip(THREE_WAYS, found, strict=True):
        exact = flaws.pair.unavailability
        # Printed with one decimal.
        assert math.isclose(float(hand), 100 * (by_hand(flaws) / exact - 1), rel_tol=0.02) or \
            abs(float(hand)) < 0.1
        # Four standard errors: two bars.
        assert abs(float(point)) <= 2 * float(error) + 0.1
    assert picture.svg.count('class="dot"') == len(THREE_WAYS) + 1
    again = three_ways_picture(lives=400, years=1_000, seed=3)
    assert picture == again
    for bad, words in (({"lives": 1}, "lives must be 2 to"), ({"years": 0}, "must be > 0")):
        with pytest.raises(ValueError, match=words):
            three_ways_picture(**bad)
