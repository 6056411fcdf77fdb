"""What outages cost from a state on."""

import math
from dataclasses import replace

import pytest

from labkit.plant.plant import load_plant
from labkit.plant.variants import losses
from labkit.plant.worth import Due, Worth, event_cost, worth_of

PLANT = load_plant()


def total(plant):
    return math.fsum(loss.loss_per_year for loss in losses(plant))


def test_healthy_plant_loses_what_the_variants_count():
    found = worth_of(PLANT)
    assert found.due == ()
    # the same sum in another order: rounding only
    assert found.here_per_year == pytest.approx(total(PLANT), rel=1e-12, abs=0)
    assert found.healthy_per_year == pytest.approx(total(PLANT), rel=1e-12, abs=0)
    assert found.text().endswith("as on the healthy plant.")


def test_a_plant_with_one_controller_left_is_the_plant_built_with_one():
    # V0 has one controller and one link from the start, and its losses are counted cause by cause.
    # With KF2 broken V1 has the same left. 1 %: outages are priced as on the healthy plant.
    assert worth_of(PLANT, {"KF2"}).here_per_year == pytest.approx(
        total(PLANT.variant("V0")), rel=0.01, abs=0)


def test_what_is_lost_is_due_and_no_longer_expected():
    found = worth_of(PLANT, {"KF1", "KF2"})
    assert found.here_per_year == 0.0
    # scenario of the lessons: 11 000 at once, 700 for the call-out, 0.4 x 52 000 for the basins
    assert [(each.after_min, each.cost) for each in found.due] == [
        (0.5, 11000.0), (22.0, 700.0), (40.0, 20800.0)]
    assert "EUR 20\u202f800 after 40 min" in found.text() and "EUR 0 " not in found.text()


@pytest.mark.parametrize("name", sorted(PLANT.parts))
def test_a_broken_part_never_makes_it_cheaper(name):
    found = worth_of(PLANT, {name})
    # rounding of sums may differ in the last places
    assert found.due or found.here_per_year >= found.healthy_per_year * (1 - 1e-9)


def test_bad_calls_are_named():
    with pytest.raises(ValueError, match="XX9"):
        worth_of(PLANT, {"XX9"})
    with pytest.raises(ValueError, match="plant must have cost steps, got Brackenquay .* without"):
        worth_of(replace(PLANT, costs=()))


def test_words_of_a_worth():
    for cost, per_h, said in ((5.0, 90.0, "EUR 5 and EUR 90 an hour"), (0.0, 90.0, "EUR 90 an hour"),
                              (5.0, 0.0, "EUR 5"), (0.0, 0.0, "EUR 0")):
        assert Due("crop lost", "fans kept", 133.0, cost, per_h).money("EUR") == said
    due = (Due("call-out", "control kept", 22.0, 700.0), Due("basins lost", "air", 40.0, 20_800.0))
    assert Worth("EUR", 8600.4, 8600.0, ()).text() == (
        "Outages cost EUR 8\u202f600 a year on average, as on the healthy plant.")
    assert Worth("EUR", 8600.0, 0.8, due[:1]).text() == (
        "Outages cost EUR 1 a year on average from here, EUR 8\u202f600 when healthy. "
        "Lost now, due if it lasts: call-out EUR 700 after 22 min.")
    assert Worth("EUR", 8600.0, 0.0, due).text() == (
        "Outages cost EUR 8\u202f600 a year on average when healthy. Lost now, due if it lasts: "
        "call-out EUR 700 after 22 min; basins lost EUR 20\u202f800 after 40 min.")


def test_steps_that_never_come_cost_nothing():
    step = PLANT.costs[0]
    found = worth_of(replace(PLANT, costs=(step, replace(step, name="never", chance=0.0))), {"KF2"})
    assert found.healthy_per_year == worth_of(replace(PLANT, costs=(step,))).healthy_per_year > 0
    assert found.here_per_year == worth_of(replace(PLANT, costs=(step,)), {"KF2"}).here_per_year
    # one controller: outages of control come 0.77 / 0.46 times as often (V0 and V1)
    assert found.here_per_year == pytest.approx(found.healthy_per_year * 0.77 / 0.46, rel=0.015)


def test_one_text_is_no_list_of_happenings():
    with pytest.raises(TypeError, match="happened must be a sequence, got 'low trip'"):
        event_cost(load_plant(), "low trip")
