"""The price of a third vote: by hand, by counting every state, and by the engine itself."""

import math
from itertools import product

import pytest

from labkit.availability.parts import Part
from labkit.plant.causes import causes_of
from labkit.plant.plant import load_plant
from labkit.rig.rig import Rig
from labkit.switchover.engine import Switchover
from labkit.switchover.settings import PairSettings
from labkit.switchover.vote_price import price_of, vote_price
from tests.plants import SINGLE
from tests.test_plant_keys import part, plant_of

ONE, TWO = (Part(name, mtbf_h=60_000, mttr_h=4) for name in ("one", "two"))
CABLE = Part("cable", mtbf_h=300_000, mttr_h=6)
VOTER = Part("voter", mtbf_h=100_000, mttr_h=8)
PRICE = price_of(VOTER, ONE, TWO, CABLE)


def test_by_hand():
    """Two parts out at once: rate times rate times the sum of both repairs, per hour.

    Without: both controllers, (1/60 000)^2 x 8 = 2.222e-9; times 8760: 1.947e-5 a year.
    More with: a controller and the voter, twice: 2 x 12 / (60 000 x 100 000) = 4e-9; cable and
    voter: 14 / (300 000 x 100 000) = 4.667e-10. Together 4.467e-9; times 8760: 3.913e-5 a year.
    Voter lost: 2 / 60 000 + 1 / 300 000 = 3.667e-5; times 8760: 0.3212 a year.
    A split: 8760 / 300 000 = 0.0292 a year. What is left out is of the order of 1e-4.
    """
    assert math.isclose(PRICE.without_per_year, 1.9467e-5, rel_tol=3e-4)
    assert math.isclose(PRICE.with_per_year, 1.9467e-5 + 3.9128e-5, rel_tol=3e-4)
    assert math.isclose(PRICE.voter_lost_per_year, 0.3212, rel_tol=3e-4)
    assert math.isclose(PRICE.splits_per_year, 0.0292, rel_tol=3e-4)


def test_a_split_needs_both_controllers_at_work():
    """By hand: a cable fails every 96 + 4 h; one controller works half the time, one 4 / 5."""
    one, two = Part("one", mtbf_h=10, mttr_h=10), Part("two", mtbf_h=40, mttr_h=10)
    cable = Part("cable", mtbf_h=96, mttr_h=4)
    price = price_of(VOTER, one, two, cable)
    assert math.isclose(price.splits_per_year, 8760 / 100 * 0.5 * 0.8, rel_tol=1e-12)


def kept(one, two, cable, voter):
    """Count votes: a controller that works has its own, its partner's, the voter's."""
    return any(works and 1 + (other and cable) + voter >= 2
               for works, other in ((one, two), (two, one)))


def test_by_counting_every_state():
    """Sum over 16 states of the chance to be there, times the rate of each step that stops."""
    parts = (ONE, TWO, CABLE, VOTER)
    per_h = 0.0
    for state in product((True, False), repeat=4):
        chance = math.prod(each.availability if up else each.unavailability
                           for each, up in zip(parts, state, strict=True))
        for place, each in enumerate(parts):
            after = (*state[:place], False, *state[place + 1:])
            if state[place] and kept(*state) and not kept(*after):
                per_h += chance / each.mtbf_h
    assert math.isclose(PRICE.with_per_year, 8760 * per_h, rel_tol=1e-12)


NAMES = ("KF1: no power", "KF2: no power", "WF9: cut", "third voter: lost")


@pytest.mark.parametrize("state", [*product((True, False), repeat=4)])
def test_the_engine_counts_as_the_price_does(state):
    pair = Switchover(load_plant(), PairSettings(third_vote=True))
    for name, up in zip(NAMES, state, strict=True):
        if not up:
            pair.switch_on(name)
            pair.run_for(1000)
    assert (pair.active_history()[-1][1] is not None) is kept(*state)


def test_from_a_plant():
    plant = load_plant()
    found = vote_price(VOTER, plant)
    names = (*plant.pair.units, *plant.pair.sync)
    one, two, cable = (Part(name, mtbf_h=plant.parts[name].mtbf_h, mttr_h=plant.parts[name].mttr_h)
                       for name in names)
    assert found == price_of(VOTER, one, two, cable)
    assert found.with_per_year > found.without_per_year


def test_it_refuses(tmp_path):
    path = tmp_path / "plant.toml"
    path.write_text(SINGLE)
    with pytest.raises(ValueError, match="plant must have a pair with a sync cable"):
        vote_price(VOTER, load_plant(path))
    with pytest.raises(TypeError, match="plant must be a Plant"):
        vote_price(VOTER, CABLE)


def test_a_plant_with_a_voter_counts_what_the_price_counts():
    """Its sums over parts, with a rack of 1e-9 and 0.1 h: 8.76e-6 a year more than by hand above."""
    plant = plant_of(
        *(part(name, "controller", mtbf_h=60_000, mttr_h=4) for name in ("KF1", "KF2")),
        part("WF9", "cable", mtbf_h=300_000, mttr_h=6, joins=["KF1", "KF2"]),
        part("KV1", "voter", mtbf_h=100_000, mttr_h=8),
        part("KF10", "rack", mtbf_h=1e9, mttr_h=0.1, joins=["KF1", "KF2"]),
        pair={"units": ["KF1", "KF2"], "sync": ["WF9"]}, function=[{"name": "run", "reached": ["KF10"]}])
    per_year = 8760 * plant.block("run").failures_per_h
    assert math.isclose(per_year, 8.76e-6 + 1.9467e-5 + 3.9128e-5, rel_tol=3e-4)
    lost_per_year = 8760 * plant.block("run", {"KV1"}).failures_per_h
    assert math.isclose(lost_per_year, 8.76e-6 + 0.3212, rel_tol=3e-4)
    assert {frozenset(each.parts) for each in causes_of(plant, "run")} == {
        frozenset(names) for names in (("KF1", "KF2"), ("KV1", "KF1"), ("KV1", "KF2"), ("KV1", "WF9"),
                                       ("KF10",))}
    rig = Rig(plant)
    rig.wait(5)
    healthy = rig.plant_state()
    assert healthy.failures_per_h == pytest.approx(healthy.healthy_failures_per_h, rel=1e-12)
    rig.switch_on("KV1: lost")
    rig.wait(5)
    assert 8760 * rig.plant_state().failures_per_h["run"] == pytest.approx(lost_per_year, rel=1e-9)
