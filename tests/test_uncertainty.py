"""All numbers unsure at once: against quantiles worked by hand and against one at a time."""

import math

import numpy as np
import pytest

from labkit.plant.plant import load_plant
from labkit.plant.sensitivity import (
    Assumption,
    Swing,
    _break_even,
    _net,
    assumptions,
    sensitivity,
)
from labkit.plant.uncertainty import PRICE, Uncertainty, drawn, joint_uncertainty

PLANT = load_plant()
PAIR = ("V1a", "V0")


def rng():
    return np.random.default_rng(2024)


def held(but=()):
    """Limits that hold every number at its value, but for those named."""
    limits = {each.key: (each.value, each.value) for each in assumptions(PLANT, *PAIR)}
    limits[PRICE] = (1.0, 1.0)
    return {key: each for key, each in limits.items() if key not in but}


@pytest.mark.parametrize(("low", "value", "high"), [(10.0, 20.0, 80.0), (3.0, 3.0, 9.0)])
def test_draws_are_even_in_ratios_on_both_sides(low, value, high):
    """By hand: P(X < x) = ln(x / low) / (2 ln(value / low)) below, and so on above."""
    count = 20_000
    found = drawn(Assumption("pump: mtbf_h", value, low, high, ""), rng(), count)
    assert low <= found.min() and found.max() <= high
    # 4 standard errors of a share of a half
    error = 4 * 0.5 / math.sqrt(count)
    assert abs(np.mean(found <= value) - 0.5) < error or low == value
    middle = math.sqrt(value * high)
    assert abs(np.mean(found < middle) - 0.75) < error


def test_half_of_the_draws_are_the_value_where_it_is_a_limit():
    """On the side on which there is nothing to go to: 4 h of 2 to 4 h, and 2 h of 2 to 4 h."""
    for value in (2.0, 4.0):
        found = drawn(Assumption("pump: mttr_h", value, 2.0, 4.0, ""), rng(), 4000)
        assert abs(np.count_nonzero(found == value) - 2000) <= 4 * math.sqrt(1000)


def test_a_share_near_one_is_drawn_by_what_is_missing():
    found = drawn(Assumption("pair: coverage", 0.97, 0.90, 0.995, ""), rng(), 20_000)
    assert 0.90 <= found.min() and found.max() <= 0.995
    between = 1 - math.sqrt(0.03 * 0.005)
    assert abs(np.mean(found < between) - 0.75) < 4 * 0.5 / math.sqrt(20_000)


def test_up_to_one_half_a_share_is_drawn_by_itself():
    """0.5 x (0.2 / 0.5)^step and 0.5 x (0.6 / 0.5)^step; by what is missing it would be 0.8 and 0.4."""
    found = drawn(Assumption("pair: coverage", 0.5, 0.2, 0.6, ""), rng(), 6)
    assert found == pytest.approx([0.5 * (0.4**-each if each < 0 else 1.2**each) for each in 2 * rng().random(6) - 1])


def test_there_is_no_ratio_to_zero():
    """By hand: from 10 down to 0 in a straight line, from 10 up to 20 by equal ratios."""
    found = drawn(Assumption("costs: cost", 10.0, 0.0, 20.0, ""), rng(), 6)
    place = 2 * rng().random(6) - 1
    assert found == pytest.approx([10 + 10 * each if each < 0 else 10 * 2**each for each in place])
    assert (place < 0).any() and (place > 0).any()


def test_a_range_leaves_like_shares_out_at_both_ends():
    found = Uncertainty({}, {"V0": {"control kept": np.arange(101.0)}}, {})
    assert found.range_of("V0", "control kept") == pytest.approx((5, 50, 95))
    assert found.range_of("V0", "control kept", within=0.5) == pytest.approx((25, 50, 75))


def test_all_prices_move_by_one_factor_of_up_to_thirty_per_cent():
    found = joint_uncertainty(PLANT, PAIR[::-1], rng(), draws=4, limits={
        key: each for key, each in held().items() if key != PRICE})
    source, numbers = rng(), len(found.inputs)
    # Each number takes its own four draws, the price the last ones.
    places = [2 * source.random(4) - 1 for _ in range(numbers)][-1]
    factor = [0.7**-each if each < 0 else 1.3**each for each in places]
    assert found.inputs[PRICE] == pytest.approx(factor, rel=1e-12)
    prices = [PLANT.variants[name].price_per_year for name in PAIR]
    moved = found.net_per_year(*PAIR) + (prices[0] - prices[1]) * found.inputs[PRICE]
    # What is left is the gain, which is held.
    assert moved == pytest.approx([moved[0]] * 4, rel=1e-12)


def test_with_every_number_held_each_draw_is_the_plant_itself():
    found = joint_uncertainty(PLANT, PAIR[::-1], rng(), draws=2, limits=held())
    swing = sensitivity(PLANT, *PAIR)[0]
    np.testing.assert_allclose(
        found.net_per_year(*PAIR), swing.net_per_year, rtol=1e-12, atol=0
    )
    for name in PAIR:
        block = PLANT.variant(name).block("control kept")
        assert found.down_min_per_year[name]["control kept"] == pytest.approx(
            [60 * block.downtime_h_per_year] * 2, rel=1e-12
        )


@pytest.mark.parametrize(("nets", "pays"), [(0.0, "never"), (-1.0, "never"), (1.0, "always")])
@pytest.mark.parametrize(("key", "value"), [("pump: mtbf_h", 9.0), ("pair: coverage", 0.9), ("x: cost", 0.0)])
def test_what_gains_as_much_as_it_costs_does_not_pay(key, value, nets, pays):
    found = _break_even(lambda assumption, value: nets, Assumption(key, value, 0.0, 1.0, ""))
    assert (found.pays, found.limit) == (pays, None)


def test_one_free_number_turns_the_verdict_at_its_break_even():
    """The break-even is found by SciPy's root finder, the draws by counting."""
    key = "controller: mtbf_h"
    assumption = next(one for one in assumptions(PLANT, *PAIR) if one.key == key)
    limit = _break_even(_net(PLANT, *PAIR, "exponential"), assumption)
    near = (0.6 * limit.limit, 1.4 * limit.limit)
    found = joint_uncertainty(
        PLANT, PAIR[::-1], rng(), draws=24, limits={**held(but={key}), key: near}
    )
    pays = found.net_per_year(*PAIR) > 0
    assert limit.pays == "below"
    assert (pays == (found.inputs[key] < limit.limit)).all() and 0 < pays.sum() < 24
    assert found.best_share()["V1a"] == pytest.approx(pays.mean())


def test_the_same_seed_gives_the_same_draws_and_ranges_hold_the_median():
    one, two = (joint_uncertainty(PLANT, PAIR, rng(), draws=12) for _ in range(2))
    np.testing.assert_array_equal(one.total_per_year["V0"], two.total_per_year["V0"])
    low, middle, high = one.range_of("V0", "control kept")
    assert low < middle < high
    assert sum(one.best_share().values()) == pytest.approx(1.0)


@pytest.mark.parametrize(("call", "message"), [
    (lambda: joint_uncertainty(PLANT, ["V0"], rng()), "variants must be at least two, got V0"),
    (lambda: joint_uncertainty(PLANT, ["V0", "V9"], rng()), "each of variants must be one of"),
    (lambda: joint_uncertainty(PLANT, PAIR, rng(), draws=0), "draws must be >= 1, got 0"),
    (lambda: joint_uncertainty(PLANT, PAIR, rng(), draws=1, limits={"pair: coverage": (0.9, 0.95, 1)}),
     r"limits\['pair: coverage'\] must be \(low, high\), got \[0.9, 0.95, 1.0\]"),
    (lambda: joint_uncertainty(PLANT, PAIR, rng(), draws=1, limits={"x": (0, 1)}),
     "limits must have keys among"),
    (lambda: joint_uncertainty(PLANT, PAIR, rng(), draws=1).net_per_year("V2", "V0"),
     "variant must be one of V1a, V0, got 'V2'"),
])
def test_refusals(call, message):
    with pytest.raises(ValueError, match=message):
        call()


@pytest.mark.parametrize(("nets", "turns"), [
    ((-1.0, -2.0, 3.0), True), ((1.0, -2.0, 3.0), True), ((0.0, 1.0, 2.0), True),
    ((1.0, 2.0, 3.0), False), ((-1.0, -2.0, 0.0), False)])
def test_a_verdict_turns_where_its_sign_does(nets, turns):
    assert Swing(Assumption("costs: cost", 1.0, 0.5, 2.0, ""), *nets).turns is turns


@pytest.mark.parametrize(("slope", "zero", "limit", "pays"), [
    (0.1, 4.0, 4.0, "above"), (-0.1, 4.0, 4.0, "below"),
    # a thousand times the value is tried, and no more
    (1.0, 900.0, 900.0, "above"), (1.0, 5000.0, None, "never"), (-1.0, 5000.0, None, "always"),
    # nor less than a thousandth; at the value itself the gain can just be nothing
    (1.0, 0.0005, None, "always"), (-1.0, 1.0, 1.0, "below")])
def test_a_break_even_is_where_the_line_passes_zero(slope, zero, limit, pays):
    found = _break_even(lambda _, value: slope * (value - zero),
                        Assumption("costs: cost", 1.0, 0.5, 2.0, ""))
    assert (found.limit, found.pays) == (limit and pytest.approx(limit, rel=1e-8), pays)
