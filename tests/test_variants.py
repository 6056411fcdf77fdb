"""Variants, their causes, losses and verdicts, against exact blocks and sums done by hand.

The tables of money belong to the invented plant of the lessons. They take every outage to last as
long as the mean of its cause, which is `fixed` here.
"""

import dataclasses
import math

import pytest
from scipy import stats

from labkit.plant import sensitivity, variants
from labkit.plant.causes import StopMode, causes_of, latent_causes_of, modes_of
from labkit.plant.plant import load_plant
from labkit.plant.sensitivity import assumptions, break_evens
from labkit.plant.unfolded import PairTimes
from labkit.plant.variants import Ranked, compare_variants, losses, outage_cost, rank_variants


def loss_of(variant, parts, durations="fixed", plant="brackenquay"):
    built = load_plant(plant, variant)
    return math.fsum(each.loss_per_year for each in losses(built, durations)
                     if {*each.cause.parts} <= set(parts))


# ---------------------------------------------------------------- causes


@pytest.mark.parametrize("name", ["brackenquay", "mirelow"])
def test_causes_add_up_to_the_exact_block(name):
    plant = load_plant(name)
    for variant in plant.variants:
        built = plant.variant(variant)
        for function in built.functions_counted:
            block, found = built.block(function), causes_of(built, function)
            outages = sum(each.outages_per_year for each in found)
            minutes = sum(each.down_min_per_year for each in found)
            # An outage that meets another is counted twice: at most the share of down time. So is that of a
            # link and a unit that is out, where it goes on from an outage of the pair.
            late = built.pair and PairTimes(built.pair, built.pair_chain).late(built.pair.units[0]) or 0.0
            prolongs = late * sum(each.outages_per_year for each in found if each.name.endswith(" out"))
            exact = block.failures_per_h * 8760
            assert exact <= outages * (1 + 1e-9) < exact * (1 + 2 * block.unavailability) + prolongs
            exact = block.downtime_h_per_year * 60
            assert exact <= minutes * (1 + 1e-9) < exact * (1 + 2 * block.unavailability)


def test_what_meets_costs_less_and_has_no_parts_and_no_length_of_its_own():
    met = [each for each in losses(load_plant()) if not each.cause.parts]
    assert met and all(each.loss_per_year < 0 == each.cause.mean_down_h for each in met)


@pytest.mark.parametrize("variant", ["V0", "V1b"])
def test_modes_without_a_pair_are_the_minimal_cut_sets(variant):
    plant = load_plant(variant=variant)
    for function in plant.functions_counted:
        assert {frozenset(mode.failures) for mode in modes_of(plant, function)} == set(
            plant.block(function).minimal_cut_sets(largest=3))


def test_modes_of_the_pair_are_told_apart():
    found = set(modes_of(load_plant(), "air kept"))
    assert {StopMode((), pair_state="both failed"), StopMode((), pair_state="not taken over"),
            StopMode(("KF30B",), unit_out="KF1"), StopMode(("WF1.30",), unit_out="KF2"),
            StopMode(("KF30A+KF30B common cause",)), StopMode(("WF1.30", "WF2.30"))} <= found
    assert not any(mode.unit_out and "GB1" in mode.failures for mode in found)


def test_pair_ends_by_hand_or_by_repair():
    # 0.0042 failed transfers a year end by hand, the other 0.0078 are long stops.
    found = {each.name: each for each in causes_of(load_plant(), "control kept")}
    by_hand, long = found["KF1+KF2 not taken over"], found["KF1+KF2 both failed"]
    assert by_hand.outages_per_year == pytest.approx(0.0042, abs=6e-5)
    assert by_hand.mean_down_h == pytest.approx(0.5, rel=1e-12)
    assert long.outages_per_year == pytest.approx(0.0078, abs=5e-5)
    assert long.mean_down_h == pytest.approx(4.0, rel=1e-12)


def test_modes_are_minimal_and_of_three_failures_at_most():
    plant = load_plant()
    found = modes_of(plant, "control kept")
    assert max(len(each.failures) + bool(each.unit_out or each.pair_state) for each in found) <= 3
    assert found == modes_of(plant, "control kept", largest=3)
    assert max(len(each.failures) for each in modes_of(plant, "control kept", largest=1)) == 1
    for mode in found:
        for other in found:
            if other is mode or {*other.failures} - {*mode.failures}:
                continue
            # what stops the function with fewer failures does so whoever is out
            assert (other.unit_out or other.pair_state) and (
                (other.unit_out, other.pair_state) != (mode.unit_out, mode.pair_state)), (
                    mode, other)


def test_what_follows_a_sleeping_fault_is_its_repair():
    """4 h of the controller; two pumps of three asleep at once: 12 h / 2."""
    found = {each.name: each for each in latent_causes_of(load_plant("elderhang"), "frost duty")}
    assert found["KF1 asleep"].mean_down_h == pytest.approx(4.0, rel=1e-12)
    chances = [each.outages_per_year for each in found.values()]
    assert chances == sorted(chances, reverse=True) and len(chances) > 2
    for each in found.values():
        pumps = sum(part.startswith("GP") for part in each.parts)
        if "common cause" not in each.name and pumps:
            assert each.mean_down_h == pytest.approx(12 / pumps, rel=1e-12)
            # 70 % go unnoticed; alone, 95 % of failures, in 7300 h
            one = 0.7 * -math.expm1(-0.95 * 7300 / 25_000)
            assert each.outages_per_year == pytest.approx(one**pumps, rel=1e-12)


def test_cut_of_two_parts_is_the_textbook_product():
    plant = load_plant(variant="V2")
    found = {each.name: each for each in causes_of(plant, "control kept")}
    u = [each.mttr_h / (each.mttr_h + each.mtbf_h / 0.95)
         for each in (plant.parts["GB1"], plant.parts["GB2"])]
    both = found["GB1 and GB2"]
    assert both.mean_down_h == pytest.approx(4.0, rel=1e-12)
    assert both.outages_per_year == pytest.approx(u[0] * u[1] / 4.0 * 8760, rel=1e-12)


# ---------------------------------------------------------------- losses: the invented tables

# What, before, after: variant and parts whose failures are counted, money a year.
STEPS = [
    ("supply: UPS part only", ("V0", ["GB1"]), 3559, ("V1b", ["GB1", "GB2"]), 179),
    ("controller pair", ("V0", ["KF1"]), 4745, ("V1a", ["KF1", "KF2"]), 301),
    ("racks", ("V0", ["KF10", "KF20", "KF30"]), 3576, ("V3", ["KF10", "KF20", "KF30"]), 3576),
    ("pair, blowers fail to on", ("V0 air", ["KF1"]), 1708, ("V1a air", ["KF1", "KF2"]), 140),
]


@pytest.mark.parametrize("what, before, loss_before, after, loss_after", STEPS)
def test_table_of_steps(what, before, loss_before, after, loss_after):
    # The table counts from rounded frequencies, hence within one unit of money.
    assert loss_of(*before) == pytest.approx(loss_before, abs=1.0)
    assert loss_of(*after) == pytest.approx(loss_after, abs=1.0)


def test_gains_of_the_table():
    pair = loss_of("V0", ["KF1"]) - loss_of("V1a", ["KF1", "KF2"])
    supply = loss_of("V0", ["GB1"]) - loss_of("V1b", ["GB1", "GB2"])
    assert round(pair) == pytest.approx(4444, abs=1) and pair > 1550
    assert round(supply) == pytest.approx(3380, abs=1) and supply > 480
    pair = loss_of("V0 air", ["KF1"]) - loss_of("V1a air", ["KF1", "KF2"])
    supply = loss_of("V0 air", ["GB1"]) - loss_of("V1b air", ["GB1", "GB2"])
    assert round(pair) == 1569 and 0 < pair - 1550 < 20
    assert round(supply) == 1217 and supply > 480


def test_cost_of_one_rack_failure():
    found = {}
    for each in losses(load_plant(), "fixed"):
        name, often = each.cause.name, each.cause.outages_per_year
        found[name] = found.get(name, 0.0) + each.loss_per_year / often
    assert found["KF10"] == found["KF20"] == pytest.approx(11_700, rel=1e-9)
    assert found["KF30"] == pytest.approx(21_500, rel=1e-9)
    assert found["KF1+KF2 both failed"] == pytest.approx(32_500, rel=1e-9)
    assert found["KF1+KF2 not taken over"] == pytest.approx(11_700, rel=1e-9)


@pytest.mark.parametrize(("down_min", "cost"), [
    # Added up by hand from the cost steps of the plant file; a step is due beyond its limit.
    (0, 0), (0.5, 0), (0.6, 11_000), (22, 11_000), (23, 11_700), (41, 11_700 + 0.4 * 52_000),
    (math.inf, 32_500),
])
def test_cost_of_one_outage_climbs_by_steps(down_min, cost):
    assert math.isclose(outage_cost(load_plant(), down_min), cost, rel_tol=1e-12)


@pytest.mark.parametrize("down_min", [-1, math.nan])
def test_cost_of_one_outage_refuses(down_min):
    with pytest.raises(ValueError, match="down_min must be >= 0, got"):
        outage_cost(load_plant(), down_min)


def test_exponential_durations_pay_by_their_tail():
    plant = load_plant(variant="V0")
    found = {(each.step, each.cause.name): each for each in losses(plant, "exponential")}
    for step in plant.costs:
        one = found[step.name, "GB1"]
        tail = stats.expon(scale=8.0 * 60).sf(step.longer_than_min)
        assert one.loss_per_year == pytest.approx(
            one.cause.outages_per_year * tail * step.cost * step.chance, rel=1e-12)


def test_spread_durations_let_the_module_kit_earn_something():
    racks = ["KF10", "KF20", "KF30"]
    fixed = loss_of("V2", racks) - loss_of("V3", racks)
    spread = loss_of("V2", racks, "exponential") - loss_of("V3", racks, "exponential")
    assert abs(fixed) < 1 and 210 < spread < 600


def test_no_outage_shorter_than_a_step_pays_for_it():
    plant = load_plant()
    kept = {each.step for each in losses(plant, "fixed")
            if each.cause.name == "KF1+KF2 not taken over"}
    assert kept == {"call-out", "two batches held, pumps primed again"}


# ---------------------------------------------------------------- comparison


def test_comparison_is_exact_for_minutes_and_outages():
    plant = load_plant()
    found = compare_variants(plant)
    assert [each.variant for each in found] == list(plant.variants)
    for each in found:
        block = plant.variant(each.variant).block("control kept")
        assert each.down_min_per_year["control kept"] == pytest.approx(
            block.unavailability * 525_600, rel=1e-12)
        assert each.outages_per_year["control kept"] == pytest.approx(
            block.failures_per_h * 8760, rel=1e-12)
        assert each.total_per_year == each.loss_per_year + each.price_per_year
    minutes = {each.variant: round(each.down_min_per_year["control kept"]) for each in found}
    assert [minutes[name] for name in ("V0", "V1a", "V1b", "V1", "V2", "V3")] == [
        193, 160, 137, 116, 60, 21]


@pytest.mark.parametrize("durations", ["fixed", "exponential"])
def test_supply_comes_before_the_pair(durations):
    ranked = {each.variant: each for each in rank_variants(compare_variants(load_plant(), durations))}
    assert ranked["V1b"].gain_per_money > ranked["V1a"].gain_per_money > 1
    assert all(each.pays for each in ranked.values())
    order = [each.gain_per_money for each in rank_variants(compare_variants(load_plant(), durations))]
    assert order == sorted(order, reverse=True)


def test_with_blowers_failing_to_on_the_pair_hardly_pays():
    ranked = {each.variant: each for each in rank_variants(compare_variants(load_plant(), "fixed"), "V0 air")}
    assert ranked["V1a air"].net_per_year == pytest.approx(19, abs=1)
    assert ranked["V1b air"].net_per_year > 1000


def test_plant_without_variants_is_compared_with_nothing():
    plant = load_plant()
    lone = dataclasses.replace(plant, variants={})
    one, = compare_variants(lone)
    assert (one.variant, one.price_per_year) == ("V1", 0.0)
    assert rank_variants([one]) == ()


def test_refusals():
    plant = load_plant()
    with pytest.raises(ValueError, match="durations must be one of exponential, fixed, got 'weekly'"):
        compare_variants(plant, "weekly")
    with pytest.raises(ValueError, match="since must be one of V0, .*, got 'V9'"):
        rank_variants(compare_variants(plant), "V9")
    with pytest.raises(ValueError, match="outcomes must hold at least one outcome, got none"):
        rank_variants([])
    with pytest.raises(ValueError, match="limits must have keys among pair: common_cause, .*"):
        sensitivity.sensitivity(plant, "V1a", "V0", limits={"coverage": (0, 1)})


@pytest.mark.parametrize("gain, price, ratio", [
    (100.0, 50.0, 2.0), (100.0, 0.0, math.inf), (-100.0, 0.0, -math.inf), (0.0, 0.0, 0.0),
    (100.0, -20.0, math.inf)])
def test_gain_per_money(gain, price, ratio):
    assert Ranked("x", gain, price).gain_per_money == ratio


# ---------------------------------------------------------------- contrast plants


def test_mushroom_house_pays_for_the_spare_and_not_for_the_pair():
    # Chance that a repair of 90 min on average takes longer than 133 min: 22.8 %; 250 a year.
    assert stats.expon(scale=90).sf(133) == pytest.approx(0.228, abs=5e-4)
    assert loss_of("spare", ["KF1"], "exponential", "mirelow") == pytest.approx(250, abs=0.5)
    # Without a spare every stop passes the limit: 0.146 x 7500, to three figures.
    assert loss_of("no spare", ["KF1"], "fixed", "mirelow") == pytest.approx(1095, rel=2e-3)
    for durations in variants.DURATIONS:
        ranked = {each.variant: each for each in rank_variants(compare_variants(load_plant("mirelow"), durations))}
        assert ranked["spare"].pays and ranked["thermostat"].pays and not ranked["pair"].pays
    assert ranked["thermostat"].gain_per_year > ranked["spare"].gain_per_year


def test_orchard_in_season_and_after_a_long_sleep():
    plant = load_plant("elderhang")
    awake = dataclasses.replace(plant, parts={
        name: dataclasses.replace(each, noticed=1.0) for name, each in plant.parts.items()})
    in_season = math.fsum(each.loss_per_year for each in losses(awake, "fixed")
                          if each.cause.parts == ("KF1",))
    # 105 h of 60 000 h: 0.175 % a year of 310 000, the down time of the rest of it left out.
    assert in_season == pytest.approx(105 / 60_000 * 310_000, rel=1e-3)
    asleep, = (each for each in latent_causes_of(plant, "frost duty")
               if each.parts == ("KF1",))
    assert asleep.outages_per_year == pytest.approx(
        0.4 * stats.expon(scale=60_000).cdf(7300), rel=1e-12)
    # By the straight line 0.4 x 7300 / 60 000 = 4.9 %, 28 times the chance in season.
    assert asleep.outages_per_year == pytest.approx(0.4 * 7300 / 60_000, rel=0.07)


def test_orchard_needs_a_test_before_a_second_controller():
    for durations in variants.DURATIONS:
        ranked = {each.variant: each for each in rank_variants(
            compare_variants(load_plant("elderhang"), durations))}
        assert ranked["test"].gain_per_year > 3 * ranked["pair"].gain_per_year
        assert ranked["test"].gain_per_money > ranked["pair"].gain_per_money
        assert ranked["pair and test"].gain_per_year - ranked["test"].gain_per_year < (
            1550)


def test_what_is_never_idle_never_sleeps():
    assert latent_causes_of(load_plant(), "control kept") == ()


def test_a_sleeping_pair_needs_both_to_sleep():
    plant = load_plant("elderhang", "pair")
    asleep, = (each for each in latent_causes_of(plant, "frost duty")
               if {*each.parts} == {"KF1", "KF2"})
    one = 0.4 * stats.expon(scale=60_000 / 0.95).cdf(7300)
    common = 0.4 * stats.expon(scale=60_000 / 0.05).cdf(7300)
    assert asleep.outages_per_year == pytest.approx(one**2 + common, rel=1e-12)


# ---------------------------------------------------------------- how sure the verdict is


def test_tornado_agrees_with_a_plant_that_is_changed_by_hand():
    plant = load_plant()
    swings = {each.assumption.key: each for each in sensitivity.sensitivity(plant, "V1a", "V0")}
    document = plant.document
    for key, changes in {
            "pair: coverage": {"pair": {**document["pair"], "coverage": 0.9}},
            "controller: mtbf_h": {"part": [
                {**each, "mtbf_h": 30_000} if each["kind"] == "controller" else each
                for each in document["part"]]},
            "basins lost: chance": {"costs": {**document["costs"], "step": [
                {**each, "chance": 0.2} if each["name"] == "basins lost" else each
                for each in document["costs"]["step"]]}}}.items():
        changed = dataclasses.replace(plant, document={**document, **changes})
        net = (math.fsum(each.loss_per_year for each in losses(changed.variant("V0")))
               - math.fsum(each.loss_per_year for each in losses(changed.variant("V1a"))) - 1550)
        assert swings[key].net_low == pytest.approx(net, rel=1e-9)
    ranked = {each.variant: each for each in rank_variants(compare_variants(plant))}
    for swing in swings.values():
        assert swing.net_per_year == pytest.approx(ranked["V1a"].net_per_year, rel=1e-12)


def test_tornado_is_sorted_and_finds_what_turns_the_verdict():
    swings = sensitivity.sensitivity(load_plant(), "V1a air", "V0 air", "fixed")
    widths = [each.width for each in swings]
    assert widths == sorted(widths, reverse=True)
    assert {each.assumption.key for each in swings if each.turns} >= {
        "controller: mtbf_h", "price_per_year", "pair: coverage", "pair: common_cause",
        "two batches held, pumps primed again: cost"}
    certain = sensitivity.sensitivity(load_plant(), "V1b", "V0", "fixed")
    assert not any(each.turns for each in certain if each.assumption.key != "ups: mtbf_h")


def test_given_limits_are_used():
    swings = sensitivity.sensitivity(load_plant(), "V1a", "V0",
                                     limits={"price_per_year": (0.0, 10_000.0)})
    one, = (each for each in swings if each.assumption.key == "price_per_year")
    assert one.net_low - one.net_high == pytest.approx(10_000, rel=1e-9)
    assert (one.turns, one.assumption.why) == (True, "given")


def test_limits_hold_the_value_itself():
    for name, variant, since in (("brackenquay", "V3", "V0"), ("mirelow", "pair", "no spare"),
                                 ("elderhang", "pair and test", "as built")):
        found = assumptions(load_plant(name), variant, since)
        assert len({each.key for each in found}) == len(found) > 10
        for each in found:
            assert each.low <= each.value <= each.high


def test_break_even_is_where_gain_equals_price():
    plant = load_plant()
    found = {each.assumption.key: each for each in break_evens(plant, "V1a", "V0", "fixed")}
    ranked = {each.variant: each for each in rank_variants(compare_variants(plant, "fixed"))}
    price = found["price_per_year"]
    assert (price.limit, price.pays) == (
        pytest.approx(ranked["V1a"].gain_per_year, rel=1e-6), "below")
    mtbf = found["controller: mtbf_h"]
    assert mtbf.pays == "below"
    limits = {"controller: mtbf_h": (mtbf.limit, mtbf.limit * 1.01)}
    swing, = (each for each in sensitivity.sensitivity(plant, "V1a", "V0", "fixed", limits)
              if each.assumption.key == "controller: mtbf_h")
    assert swing.net_low == pytest.approx(0, abs=0.01) and swing.net_high < 0
    assert found["pair: coverage"].pays == "always" and found["pair: coverage"].limit is None


def test_break_even_of_the_borderline_pair():
    # Gain 1569 for 1550: the pair stops paying as soon as anything is a little better. Nearly all
    # of the gain goes as the failure rate, and so does the limit.
    found = {each.assumption.key: each
             for each in break_evens(load_plant(), "V1a air", "V0 air", "fixed")}
    assert found["controller: mtbf_h"].limit == pytest.approx(60_000 * 1569 / 1550, rel=2e-3)
    assert found["price_per_year"].limit == pytest.approx(1568.5, abs=0.5)
    assert found["pair: coverage"].pays == "above"
    assert 0.9 < found["pair: coverage"].limit < 0.97


# Ranges of common practice (MTBF in h, MTTR in h) that stand in the plant file's rules, widened to
# hold the value of the file; costs and chances half and double, the price 30 % less and more.
def test_assumptions_by_value():
    found = [(each.key, each.value, each.low, each.high)
             for each in assumptions(load_plant(), "V3", "V0")]
    assert found == [
        ("pair: common_cause", 0.05, 0.02, 0.10), ("pair: coverage", 0.97, 0.90, 0.995),
        ("pair: diagnosed", 0.9, 0.6, 0.99), ("pair: test_interval_h", 4380, 730, 8760),
        ("pair: restart_h", 0.5, 0.25, 2), ("twins: common_cause", 0.05, 0.02, 0.10),
        ("controller: mtbf_h", 60_000, 30_000, 150_000), ("controller: mttr_h", 4, 1, 4),
        ("supply: mtbf_h", 250_000, 100_000, 500_000), ("supply: mttr_h", 3, 1, 3),
        ("ups: mtbf_h", 80_000, 50_000, 200_000), ("ups: mttr_h", 8, 4, 24),
        ("rack: mtbf_h", 110_000, 80_000, 300_000), ("rack: mttr_h", 1, 0.5, 3),
        ("interface: mtbf_h", 220_000, 80_000, 300_000), ("interface: mttr_h", 3, 0.5, 3),
        ("cable: mtbf_h", 400_000, 200_000, 1_000_000), ("cable: mttr_h", 6, 2, 12),
        ("sensor: mtbf_h", 150_000, 80_000, 300_000), ("sensor: mttr_h", 3, 1, 4),
        ("two batches held, pumps primed again: cost", 11_000, 5500, 22_000),
        ("call-out: cost", 700, 350, 1400), ("basins lost: cost", 52_000, 26_000, 104_000),
        ("basins lost: chance", 0.4, 0.2, 0.8),
        ("price_per_year", 2240, pytest.approx(1568), pytest.approx(2912))]
    # wider than practice, since the file is; a certain step has no chance to vary
    mirelow = {each.key: each for each in assumptions(load_plant("mirelow"), "pair", "no spare")}
    assert (mirelow["controller: mttr_h"].low, mirelow["controller: mttr_h"].high) == (1, 72)
    assert "crop deformed: cost" in mirelow and "crop deformed: chance" not in mirelow
    # a cheaper variant: limits in order, and all that counts in either plant
    back = {each.key: each for each in assumptions(load_plant(), "V0", "V3")}
    assert (back["price_per_year"].low, back["price_per_year"].high) == pytest.approx(
        (-2912, -1568))
    assert back["pair: coverage"].value == 0.97 and back["rack: mttr_h"].value == 3


def test_a_chance_is_doubled_to_one_at_most_and_a_kind_without_practice_by_half_and_double():
    plant = load_plant()
    costs = tuple(dataclasses.replace(step, chance=0.7) if step.chance < 1 else step
                  for step in plant.costs)
    parts = {name: dataclasses.replace(part, kind="own kind" if name == "BL1" else part.kind)
             for name, part in plant.parts.items()}
    document = {**plant.document, "costs": {**plant.document["costs"], "step": [
        {**each, "chance": 0.7} if each.get("chance", 1) < 1 else each
        for each in plant.document["costs"]["step"]]}, "part": [
        {**each, "kind": "own kind"} if each["designation"] == "BL1" else each
        for each in plant.document["part"]]}
    changed = dataclasses.replace(plant, document=document, costs=costs, parts=parts)
    found = {each.key: each for each in assumptions(changed, "V1", "V0")}
    assert (found["basins lost: chance"].low, found["basins lost: chance"].high) == (0.35, 1.0)
    own = found["own kind: mtbf_h"]
    assert (own.value, own.low, own.high, own.why) == (
        150_000, 75_000, 300_000, "half and double")


@pytest.mark.parametrize("nets, turns, width", [
    ((5, 0, 10), True, 10), ((0, 0, 0), False, 0), ((-1, -5, 0), False, 5), ((1, 2, 3), False, 1),
    ((-1, 2, 1), True, 1), ((1, 3, -1), True, 4)])
def test_a_swing_turns_where_the_net_changes_its_sign(nets, turns, width):
    swing = sensitivity.Swing(sensitivity.Assumption("x", 1, 0, 2, ""), *nets)
    assert (swing.turns, swing.width) == (turns, width)


def test_break_even_in_words():
    price = sensitivity.Assumption("price_per_year", 1550.0, 0, 0, "")
    assert str(sensitivity.BreakEven(price, 3970.2, "below")) == (
        "price_per_year must be below 3.97e+03 (is 1.55e+03)")
    assert str(sensitivity.BreakEven(price, None, "never")) == (
        "price_per_year: it never pays, whatever the value (is 1.55e+03)")


def test_a_variant_for_the_same_price_always_pays_or_never():
    plant = load_plant("mirelow")
    plant = dataclasses.replace(plant, variants={
        name: dataclasses.replace(each, price_per_year=7.0)
        for name, each in plant.variants.items()})
    for variant, since, pays in (("pair", "no spare", "always"), ("no spare", "pair", "never")):
        price, = (each for each in break_evens(plant, variant, since)
                  if each.assumption.key == "price_per_year")
        assert (price.limit, price.pays, price.assumption.value) == (None, pays, 0)


@pytest.fixture(scope="module")
def held():
    """Swings of V3 against V0 with four assumptions each held at one value."""
    values = {"rack: mttr_h": 2.0, "twins: common_cause": 0.2, "pair: coverage": 0.5,
              "basins lost: cost": 1.0}
    found = sensitivity.sensitivity(load_plant(), "V3", "V0", "fixed", limits={
        key: (value, value) for key, value in values.items()})
    return {each.assumption.key: each for each in found}


@pytest.mark.parametrize("key, change", [
    # all parts of a kind in proportion: racks of V3 at 1 h and 0.5 h, twice the time of V0's 3 h
    ("rack: mttr_h", lambda plant: {"parts": {
        name: dataclasses.replace(part, mttr_h=part.mttr_h * 2.0) if part.kind == "rack" else part
        for name, part in plant.parts.items()}}),
    ("twins: common_cause", lambda plant: {"twins": tuple(
        dataclasses.replace(each, common_cause=0.2) for each in plant.twins)}),
    ("pair: coverage", lambda plant: {} if plant.pair is None else {
        "pair": dataclasses.replace(plant.pair, coverage=0.5)}),
    ("basins lost: cost", lambda plant: {"costs": tuple(
        dataclasses.replace(each, cost=1.0) if each.name == "basins lost" else each
        for each in plant.costs)}),
])
def test_an_assumption_is_changed_in_both_plants(held, key, change):
    plant, swing = load_plant(), held[key]
    before, after = (math.fsum(each.loss_per_year for each in losses(
        dataclasses.replace(built, **change(built)), "fixed"))
        for built in (plant.variant("V0"), plant.variant("V3")))
    assert swing.net_low == swing.net_high == pytest.approx(before - after - 2240, rel=1e-9)
    assert swing.net_low != pytest.approx(swing.net_per_year, rel=1e-6)


def test_what_gains_just_its_price_does_not_pay():
    assert [Ranked("x", gain, 480.0).pays for gain in (479.0, 480.0, 481.0)] == [False, False, True]


def test_ranking_by_value():
    def outcome(name, loss, price):
        return variants.Outcome(name, "", {}, {}, {}, loss, price)

    given = [outcome("a", 100.0, 10.0), outcome("b", 60.0, 30.0), outcome("c", 90.0, 12.0),
             outcome("d", 60.0, 30.0)]
    assert given[1].total_per_year == 90.0
    # from a: b and d gain 40 for 20, c gains 10 for 2
    assert [(each.variant, each.gain_per_year, each.price_per_year, each.net_per_year, each.pays)
            for each in rank_variants(given)] == [
        ("c", 10.0, 2.0, 8.0, True), ("b", 40.0, 20.0, 20.0, True), ("d", 40.0, 20.0, 20.0, True)]
    # from b: a loses 40 and saves 20, which no gain for money can say
    assert [each.variant for each in rank_variants(given, "b")] == ["d", "a", "c"]
    assert not Ranked("x", 5.0, 5.0).pays and Ranked("x", 1.0, 0.5).pays
    assert Ranked("x", 2.0, 0.5).gain_per_money == 4.0


def test_a_step_that_costs_by_the_hour_counts_from_its_limit():
    """Half the time 1000 beyond 30 min, and 200 for each hour beyond: 90 min, 2 h, exp(-1/4) of 2 h."""
    plant = load_plant()
    step = dataclasses.replace(plant.costs[0], longer_than_min=30, cost=1000, cost_per_h=200, chance=0.5)
    plant = dataclasses.replace(plant, costs=(step,))
    assert [outage_cost(plant, minutes) for minutes in (0, 30, 90)] == pytest.approx([0, 0, 600])
    assert [variants._expected(step, hours, "fixed") for hours in (0.5, 2.0)] == pytest.approx([0, 650])
    assert variants._expected(step, 2.0, "exponential") == pytest.approx(700 * math.exp(-0.25))


def test_losses_are_those_of_the_part_of_the_year_that_counts():
    """A frost duty of 105 h a year pays for that share of outages, and asleep in full."""
    plant = load_plant("elderhang")
    duty = plant.functions_counted["frost duty"]
    assert (duty.hours_per_year, duty.idle_h) == (105, 7300)
    cause, = (each for each in causes_of(plant, "frost duty") if each.parts == ("KF1",))
    step = plant.costs[0]
    awake = [each for each in losses(plant, "fixed") if each.step == step.name
             and each.cause.parts == ("KF1",) and each.cause.name == "KF1"]
    assert awake == [] or awake[0].loss_per_year == pytest.approx(
        cause.outages_per_year * 105 / 8760 * step.cost * step.chance, rel=1e-12)
    asleep, = (each for each in losses(plant, "fixed") if each.step == step.name
               and each.cause.name == "KF1 asleep")
    # 0.4 (1 - exp(-7300 / 60 000)) = 0.0458 of 77 500
    assert asleep.loss_per_year == pytest.approx(
        0.4 * -math.expm1(-7300 / 60_000) * 77_500, rel=1e-9)
    order = [each.loss_per_year for each in losses(plant, "fixed")]
    assert order == sorted(order, reverse=True)


def test_break_even_of_the_spare_by_hand():
    """Without a spare every stop is longer than 133 min and costs 7500; with one (90 min) none.

    8760 / (60 000 + 72) x 7500 = 1093.69 a year, for 90: the spare pays as long as a repair ends
    before 133 min, a crop costs more than 7500 x 90 / 1093.69 = 617.18, and a controller lasts
    less than 8760 x 7500 / 90 - 72 = 729 928 h.
    """
    plant = load_plant("mirelow")
    found = {each.assumption.key: each for each in break_evens(plant, "spare", "no spare", "fixed")}
    open_ends = {key: (each.pays, each.limit) for key, each in found.items() if each.limit}
    assert open_ends == {
        "controller: mtbf_h": ("below", pytest.approx(729_928, rel=1e-8)),
        "controller: mttr_h": ("below", pytest.approx(133 / 60, rel=1e-7)),
        "crop deformed: cost": ("above", pytest.approx(7500 * 90 * 60_072 / 65.7e6, rel=1e-8)),
        "price_per_year": ("below", pytest.approx(65.7e6 / 60_072, rel=1e-8))}
    assert {each.pays for each in found.values() if each.limit is None} == {"always"}
    never = break_evens(plant, "pair", "spare", "fixed")
    assert {(each.pays, each.limit) for each in never} == {("never", None)} and len(never) == 20
