"""What a plant file can say beyond rates and wires, each against a sum worked by hand.

Documents are built in memory; every one is held to the rules of the file first. Where a sum leaves
out that a cut cannot begin during another, its `rel` is a few times the share of time that it lasts:
2 h of 5 000 h, or what of that is longer than a battery.
"""

import copy
import math
import re
import tomllib
from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import poisson

from labkit.plant.causes import causes_of, latent_causes_of
from labkit.plant.failing_parts import Cut, Failure
from labkit.plant.file import schema, starter_text
from labkit.plant.file_check import check_file
from labkit.plant.file_rules import complaints
from labkit.plant.plant import build, load_plant
from labkit.plant.plant_data import (
    Changeover,
    CostStep,
    Function,
    OwnMode,
    PairData,
    People,
    PlantPart,
    Spare,
    Twins,
    Variant,
)
from labkit.plant.sensitivity import Assumption, _net, assumptions, changed
from labkit.plant.uncertainty import joint_uncertainty
from labkit.plant.variants import compare_variants, losses, outage_cost
from labkit.plant.worth import worth_of
from labkit.rig.effects import effect_of
from labkit.rig.noticed import notice_of
from labkit.rig.rates import rates_of, restored_h, source_of, weight_of
from labkit.rig.rig import Rig
from labkit.switchover.fault_kinds import faults_of
from lessons.papers.basis import Basis
from lessons.papers.contributions import contributions_of
from lessons.papers.papers import make_paper
from lessons.papers.steps import steps_of

YEAR_H = 8760.0


def part(designation, kind="other", mtbf_h=1000.0, mttr_h=10.0, **more):
    return {"designation": designation, "what": f"a {kind}", "kind": kind, "mtbf_h": mtbf_h,
            "mttr_h": mttr_h} | more


def errors(document):
    return [(path, rule) for path, rule, _, severity in complaints(document, schema())
            if severity == "error"]


def plant_of(*parts, needs=None, **tables):
    document = {"format": 1, "plant": {"name": "Test plant"}, "part": list(parts),
                "function": [{"name": "run", "needs": needs or [parts[0]["designation"]]}]} | tables
    assert errors(document) == []
    return build(document)


def any_of(*names):
    return [{"at_least": 1, "of": list(names)}]


def per_year(plant):
    """Return outages and hours down a year."""
    block = plant.block("run")
    return block.failures_per_h * YEAR_H, block.unavailability * YEAR_H


# ---------------------------------------------------------------- spares


def test_without_a_spare_each_repair_waits_for_the_delivery():
    plant = plant_of(part("A", mtbf_h=60_000, mttr_h=4),
                     spare=[{"name": "a", "parts": ["A"], "stock": 0, "delivery_days": 14}])
    assert plant.block("run").unavailability == pytest.approx(340 / 60_340, rel=1e-12)
    assert (plant.parts["A"].mttr_h, plant.parts["A"].waits_h) == (340.0, 336.0)
    assert plant.spare_of("A").name == "a"


def test_one_spare_for_two_parts_is_sometimes_out():
    """With a = demand in one delivery, one on the shelf leaves a - 1 + exp(-a) waiting (by hand)."""
    plant = plant_of(part("A", mtbf_h=2_000, mttr_h=4), part("B", mtbf_h=3_000, mttr_h=6), needs=["A", "B"],
                     spare=[{"name": "a", "parts": ["A", "B"], "stock": 1, "delivery_days": 20}])
    demand_per_h = 1 / 2_000 + 1 / 3_000
    a = demand_per_h * 480
    wait_h = (a - 1 + math.exp(-a)) / demand_per_h
    assert plant.parts["A"].mttr_h == pytest.approx(4 + wait_h, rel=1e-10)
    assert plant.parts["B"].mttr_h == pytest.approx(6 + wait_h, rel=1e-10)


def test_a_way_of_failing_with_a_time_of_its_own_takes_no_spare():
    """Trips 0.7 x 2 h; burnt 0.3 x (48 h and 21 days): 167 h on average, of it 151.2 h wait."""
    plant = plant_of(
        part("A", "drive", mtbf_h=60_000, mttr_h=48),
        mode=[{"how": "trips", "parts": ["A"], "share": 0.7, "mttr_h": 2},
              {"how": "burnt", "parts": ["A"], "share": 0.3}],
        spare=[{"name": "drive", "parts": ["A"], "stock": 0, "delivery_days": 21}])
    drive = plant.parts["A"]
    assert (drive.mttr_h, drive.waits_h) == (pytest.approx(167.0, rel=1e-12), pytest.approx(151.2, rel=1e-12))
    # Three of ten failures want one: a = 0.3 x 504 / 60 000, so with one on the shelf hardly any waits.
    assert drive.spares_per_h == pytest.approx(0.3 / 60_000, rel=1e-12)
    faults = faults_of(plant)
    assert restored_h(plant, faults["A: trips"]) == 2.0
    assert restored_h(plant, faults["A: burnt"]) == pytest.approx(552.0, rel=1e-12)


@pytest.mark.parametrize(("stock", "days"), [(0, 5), (1, 30), (2, 30), (3, 90)])
def test_the_wait_for_a_spare_is_that_of_the_shelf_itself(stock, days):
    """The demand before last but so many has ordered the part that this one takes."""
    rng = np.random.default_rng(7)
    rate_per_h, count = 1 / 700, 400_000
    asked_h = np.cumsum(rng.exponential(1 / rate_per_h, count))
    there_h = np.concatenate([np.zeros(stock), asked_h[: count - stock] + 24 * days])
    waits_h = np.maximum(0.0, there_h - asked_h)
    blocks = waits_h.reshape(200, -1).mean(axis=1)
    found = Spare("x", ("A",), stock, days).wait_h(rate_per_h)
    assert abs(found - blocks.mean()) <= 4 * blocks.std(ddof=1) / math.sqrt(200)


def test_a_wait_of_next_to_nothing_keeps_its_digits():
    """a - 1 + exp(-a) = a^2 / 2 - a^3 / 6 + ... for a small a."""
    a = 24e-9
    assert Spare("x", ("A",), 1, 1).wait_h(1e-9) == pytest.approx((a / 2 - a * a / 6) * 24, rel=1e-9)


@pytest.mark.parametrize(("stock", "on_order"), [(1, 1.0), (1, 0.001), (3, 2.5), (100, 90.0), (10_000, 10_000.0)])
def test_waits_are_what_the_poisson_law_leaves_beyond_the_shelf(stock, on_order):
    """E(N - s)+ = a P(N >= s) - s P(N > s), by scipy; the difference of two near ones has fewer digits."""
    beyond = on_order * poisson.sf(stock - 1, on_order) - stock * poisson.sf(stock, on_order)
    found = Spare("x", ("A",), stock, 2).wait_h(on_order / 48)
    assert found == pytest.approx(beyond / (on_order / 48), rel=1e-9)


@pytest.mark.parametrize(("missed", "unseen_h"), [(0.0, 2190.0), (0.1, 0.9 * 2190 + 0.1 * 43_800), (1.0, 43_800.0)])
def test_what_no_test_finds_waits_for_the_overhaul(missed, unseen_h):
    """Half a year, or ten years, to the next one; on average half of it is waited."""
    found = PairData(("A", "B"), missed=missed, test_interval_h=4380.0, overhaul_interval_h=87_600.0)
    assert found.unseen_h == pytest.approx(unseen_h, rel=1e-12)
    assert PairData(("A", "B")).unseen_h == 2190.0


def test_what_is_never_asked_for_waits_only_where_no_spare_lies():
    assert [Spare("x", ("A",), stock, 2).wait_h(0.0) for stock in (0, 1)] == [48.0, 0.0]


@pytest.mark.parametrize(("count", "running", "starts", "fails"), [
    (3, 2, 0.9, 0.028), (2, 2, 0.5, 0.75), (2, 1, 1.0, 0.0), (1, 3, 1.0, 1.0), (2, 1, 0.0, 1.0)])
def test_fewer_start_than_have_to_run_by_the_binomial_law(count, running, starts, fails):
    """0.1^3 + 3 x 0.9 x 0.1^2; one of two and none of two; of one part three never run."""
    duty = Changeover("d", tuple("ABC"[:count]), running, starts)
    assert duty.fails_from_rest == pytest.approx(fails, rel=1e-12, abs=0)


AT = schema()["properties"], schema()["$defs"]
RECORDS = [
    *((AT[0][key]["items"], kind) for key, kind in (
        ("changeover", Changeover), ("spare", Spare), ("variant", Variant), ("mode", OwnMode), ("twins", Twins))),
    (AT[0]["people"], People), (AT[1]["part"], PlantPart), (AT[1]["pair"], PairData), (AT[1]["step"], CostStep),
    (AT[1]["function"], Function)]


def test_what_a_file_leaves_out_has_the_value_that_the_format_says():
    """The schema says it in words to whoever writes a file; the records have it as a number."""
    said = []
    for table, kind in RECORDS:
        defaults = {each.name: each.default for each in fields(kind)}
        for key, about in table["properties"].items():
            words = re.search(r"Default: (true|never|not at all|as many|[\d.]*\d)", about.get("description", ""))
            if words and key in defaults and defaults[key] is not None:
                value = {"true": 1.0, "never": 0.0, "not at all": 0.0, "as many": 0.0}.get(words[1])
                said.append((kind.__name__, key, float(words[1]) if value is None else value, float(defaults[key])))
    assert len(said) > 25
    assert [(*name, default) for *name, _, default in said] == [(*name, value) for *name, value, _ in said]
    assert not Function("f").apart and Function("f").voted and Changeover("d", ()).every_h == 0
    assert PairData(("A", "B")).overhaul_interval_h == math.inf and PlantPart("A", "x", "x", 9, 9).takes_spare == 1


def test_what_a_plant_is_made_of_can_be_a_key():
    """Limits, sources and happenings are no part of what makes a record another one as a key."""
    for each in (PlantPart("A", "x", "x", 9.0, 9.0, sources={"mttr_h": "found"}, range={"mttr_h": (1, 2)}),
                 CostStep("s", "f", 1.0, happening={"bump": 1.0}), PairData(("A", "B"), range={"coverage": (0, 1)})):
        assert hash(each) == hash(replace(each))


# ---------------------------------------------------------------- costs


def test_cost_per_hour_counts_beyond_the_limit():
    """10 outages a year of 10 h on average; 3 h are free, then 20 at once and 7 an hour."""
    plant = plant_of(part("A", mtbf_h=866, mttr_h=10), costs={"step": [
        {"name": "late", "function": "run", "longer_than_min": 180, "cost": 20, "cost_per_h": 7,
         "chance": 0.5}]})
    (loss,) = losses(plant)
    assert loss.loss_per_year == pytest.approx(10 * 0.5 * math.exp(-0.3) * (20 + 7 * 10), rel=1e-9)
    (loss,) = losses(plant, "fixed")
    assert loss.loss_per_year == pytest.approx(10 * 0.5 * (20 + 7 * 7), rel=1e-9)
    assert outage_cost(plant, 180 + 60) == pytest.approx(0.5 * (20 + 7))
    assert outage_cost(plant, 180) == 0
    # The mean of what single outages cost, by the quadrature of scipy.
    mean, _ = quad(lambda hours: outage_cost(plant, 60 * hours) * math.exp(-hours / 10) / 10, 3, 400)
    assert losses(plant)[0].loss_per_year == pytest.approx(10 * mean, rel=1e-7)
    assert "late EUR 10 and EUR 4 an hour after 180 min" in worth_of(plant, {"A"}).text()


@pytest.mark.parametrize(("mean_h", "each"), [(2.0, 0.0), (3.0, 0.0), (3.5, 20 + 3.5), (10.0, 20 + 49.0)])
def test_an_outage_of_fixed_length_costs_beyond_its_limit(mean_h, each):
    """3 h are free, then 20 at once and 7 an hour; ten outages a year."""
    plant = plant_of(part("A", mtbf_h=876 - mean_h, mttr_h=mean_h), costs={"step": [
        {"name": "late", "function": "run", "longer_than_min": 180, "cost": 20, "cost_per_h": 7}]})
    assert math.fsum(loss.loss_per_year for loss in losses(plant, "fixed")) == pytest.approx(10 * each, rel=1e-9, abs=0)


def test_what_every_outage_costs_is_paid_once_where_two_meet():
    """Down a fifth of the time each: 2 x 0.8 x 0.8 / 100 outages an hour, and not 2 x 0.8 / 100."""
    plant = plant_of(part("A", mtbf_h=100, mttr_h=25), part("B", mtbf_h=100, mttr_h=25),
                     needs=["A", "B"], costs={"step": [{
                         "name": "stop", "function": "run", "longer_than_min": 0, "cost": 1000}]})
    found = [each.loss_per_year for each in losses(plant)]
    assert found == pytest.approx([70_080, 70_080, -28_032], rel=1e-12)
    assert math.fsum(found) == pytest.approx(1000 * 8760 * 0.0128, rel=1e-12)


def test_a_step_may_cost_by_the_hour_alone():
    step = {"name": "late", "function": "run", "longer_than_min": 0, "cost_per_h": 60}
    plant = plant_of(part("A", mtbf_h=866, mttr_h=10), costs={"step": [step]})
    assert losses(plant)[0].loss_per_year == pytest.approx(10 * 600, rel=1e-9)
    document = dict(plant.document) | {"costs": {"step": [{
        key: value for key, value in step.items() if key != "cost_per_h"}]}}
    assert errors(document) == [(("costs", "step", 0), "must have cost or cost_per_h")]


# ---------------------------------------------------------------- sources and limits


def two_variants(**tables):
    return plant_of(
        part("A", "pump", 20_000, 10, range={"mtbf_h": [10_000, 60_000]}, sources={"mttr_h": "found"},
             source_note="log"),
        part("B", "pump", 40_000, 10, fitted=False), needs=any_of("A", "B"),
        twins=[{"parts": ["A", "B"], "common_cause": 0.04, "range": {"common_cause": [0.01, 0.2]}}],
        costs={"step": [{"name": "late", "function": "run", "longer_than_min": 0, "cost": 100,
                         "range": {"cost": [50, 400]}, "cost_per_h": 10}]},
        variant=[{"name": "one"}, {"name": "two", "fit": ["B"], "price_per_year": 10}], **tables)


def test_limits_of_the_file_are_those_that_are_tried():
    """Pumps of other numbers are a class of their own; what the file says of A holds for A."""
    plant = two_variants()
    found = {each.key: (each.low, each.high, each.why) for each in assumptions(plant, "two", "one")}
    assert found["pump A: mtbf_h"] == (10_000, 60_000, "the file")
    assert found["pump B: mtbf_h"][2] == "common practice"
    assert found["twins: common_cause"] == (0.01, 0.2, "the file")
    assert found["late: cost"] == (50, 400, "the file")
    assert found["late: cost_per_h"] == (5, 20, "half and double")
    assert found["pump A: mttr_h"][2] == "common practice"


def test_where_the_file_gives_no_limits_those_of_practice_are_tried():
    pair = {"units": ["K1", "K2"], "sync": ["W9"], "common_cause": 0.05, "coverage": 0.95, "diagnosed": 0.8,
            "test_interval_h": 4000, "restart_h": 0.75}
    document = {**by_hand_plant().document, "pair": pair}
    document.pop("changeover")
    found = {each.key: (each.low, each.high) for each in assumptions(build(document), "two", "one")}
    assert {key: limits for key, limits in found.items() if key.startswith("pair: ")} == {
        "pair: common_cause": (0.02, 0.1), "pair: coverage": (0.9, 0.995), "pair: diagnosed": (0.6, 0.99),
        "pair: test_interval_h": (730, 8760), "pair: restart_h": (0.25, 2)}
    assert "late: cost_per_h" in found and "late: chance" not in found      # what always comes is sure


def test_a_variant_is_charged_what_it_costs_more_than_the_other():
    """10 a year is 10 more than nothing, and 6 more than 4."""
    document = two_variants().document
    cheap, dear = (_net(build({**document, "variant": [{"name": "one", "price_per_year": price},
                                                       document["variant"][1]]}),
                        "two", "one", "exponential")(None, 0.0) for price in (4, 0))
    assert cheap - dear == pytest.approx(4)


@pytest.mark.parametrize(("subject", "moves"), [
    ("pump A, B", "AB"), ("pump C", "C"), ("pump", "ABC"), ("supply A", ""), ("supply", "T")])
def test_a_class_moves_with_its_parts_and_no_others(subject, moves):
    plant = plant_of(*(part(name, "pump", mtbf_h) for name, mtbf_h in zip("ABC", (800, 800, 900))),
                     part("T", "supply"))
    twice = changed(plant, Assumption(f"{subject}: mtbf_h", 700, 350, 1400, "tried"), 1400)
    assert {name for name, each in twice.parts.items()
            if each.mtbf_h == 2 * plant.parts[name].mtbf_h} == {*moves}
    assert all(twice.parts[name] == plant.parts[name] for name in {*"ABCT"} - {*moves})


def test_a_share_that_moves_with_others_ends_at_the_whole():
    """Half as much again: 0.4 becomes 0.6, and 0.8 all of it."""
    plant = plant_of(*(part(name, "pump") for name in "ABCD"), twins=[
        {"parts": ["A", "B"], "common_cause": 0.4}, {"parts": ["C", "D"], "common_cause": 0.8}])
    more = changed(plant, Assumption("twins: common_cause", 0.6, 0.3, 1.0, "tried"), 0.9)
    assert [each.common_cause for each in more.twins] == pytest.approx([0.6, 1.0], rel=1e-12)


def test_starts_are_among_what_a_verdict_rests_on():
    duty = {"name": "pump", "parts": ["A", "B"], "starts": 0.95, "by_hand_h": 2,
            "range": {"starts": [0.8, 0.99]}}
    plant = two_variants(changeover=[duty])
    found = {each.key: each for each in assumptions(plant, "two", "one")}
    assert (found["pump: starts"].low, found["pump: starts"].high) == pytest.approx((0.8, 0.99))
    assert (found["pump: by_hand_h"].low, found["pump: by_hand_h"].high) == (1, 4)
    # where the file says none: 0.9 to 0.995 (common practice)
    unsaid = {key: value for key, value in duty.items() if key != "range"}
    usual = next(each for each in assumptions(two_variants(changeover=[unsaid]), "two", "one")
                 if each.key == "pump: starts")
    assert (usual.low, usual.high, usual.why) == (0.9, 0.995, "common practice")
    two = plant.variant("two")
    worse = changed(two, found["pump: starts"], 0.9)
    often = [per_year(each)[0] - per_year(changed(two, found["pump: starts"], 1.0))[0]
             for each in (two, worse)]
    # Twice as many starts fail; the name of a class of parts and of a changeover may be the same.
    assert often[1] == pytest.approx(2 * often[0], rel=1e-3)
    assert changed(two, found["pump A: mtbf_h"], 10_000).parts["A"].mtbf_h == 10_000


def test_limits_are_those_of_the_file_with_a_wait_with_wear_and_with_ways_of_failing():
    """What the file says of a part is moved, not what it comes to: 4 h and 40 days are two numbers."""
    plant = plant_of(
        part("A", "pump", 20_000, 4, range={"mtbf_h": [10_000, 60_000], "mttr_h": [2, 8]},
             ageing_shape=3, replaced_after_h=8_000),
        part("B", "pump", 20_000, 4, fitted=False), part("V", "valve"), needs=[*any_of("A", "B"), "V"],
        spare=[{"name": "pump", "parts": ["A", "B"], "stock": 0, "delivery_days": 40,
                "range": {"delivery_days": [20, 60], "price": [1, 3]}, "price": 2}],
        mode=[{"how": "worn", "share": 0.25, "parts": ["A", "B"], "range": {"share": [0.1, 0.5]}},
              {"how": "blocked", "share": 0.75, "parts": ["A", "B"], "mttr_h": 1},
              {"how": "stuck", "share": 0.5, "parts": ["V"]}, {"how": "leaks", "share": 0.5, "parts": ["V"]}],
        costs={"step": [{"name": "late", "function": "run", "longer_than_min": 0, "cost": 100}]},
        variant=[{"name": "one"}, {"name": "two", "fit": ["B"], "price_per_year": 10}])
    found = {each.key: each for each in assumptions(plant, "two", "one")}
    assert {key: (each.value, each.low, each.high) for key, each in found.items() if each.why == "the file"} == {
        "pump: mtbf_h": (20_000, 10_000, 60_000), "pump: mttr_h": (4, 2, 8),
        "worn A, B: share": (0.25, 0.1, 0.5), "pump: delivery_days": (40, 20, 60)}
    assert (found["blocked A, B: mttr_h"].low, found["blocked A, B: mttr_h"].high) == (0.5, 2)
    # the sums take the same of both ways of V: how they share its failures changes nothing
    assert "valve: mtbf_h" in found and not [key for key in found if "stuck" in key or "leaks" in key]
    # twice 0.75 is more than all
    assert (found["blocked A, B: share"].low, found["blocked A, B: share"].high) == (0.375, 1)

    def mttr_h(key, value):
        return changed(plant, found[key], value).parts["A"].mttr_h

    # By hand: a quarter lasts 4 h and waits 40 days of 24 h, the rest 1 h and takes no spare.
    assert plant.parts["A"].mttr_h == pytest.approx(1.75 + 240)
    assert mttr_h("pump: mttr_h", 8) == pytest.approx(2.75 + 240)
    assert mttr_h("pump: delivery_days", 20) == pytest.approx(1.75 + 120)
    assert mttr_h("worn A, B: share", 0.5) == pytest.approx(2.2 + 384)  # (0.5 x 4 + 0.75) / 1.25
    # Half the life, and wear of shape 3, replaced at the same age: 8 times as many fail, nearly.
    worn = changed(plant, found["pump: mtbf_h"], 10_000).parts["A"].mtbf_h
    assert 6.5 < plant.parts["A"].mtbf_h / worn < 8


def test_limits_of_the_file_bound_the_draws():
    drawn = joint_uncertainty(two_variants(), ["one", "two"], np.random.default_rng(1), draws=50)
    cost = drawn.inputs["late: cost"]
    assert 50 <= cost.min() < 60 and 350 < cost.max() <= 400


def test_a_number_can_have_a_source_of_its_own():
    pump = two_variants().parts["A"]
    assert (pump.source_of("mtbf_h"), pump.source_of("mttr_h")) == ("invented", "found")
    plant = plant_of(part("A", source="practice", sources={"mtbf_h": "found"}, source_note="log"))
    assert source_of(plant, next(iter(faults_of(plant).values()))) == "found"


@pytest.mark.parametrize(("limits", "rule"), [
    ([2_000, 1_000], "must be [low, high] with 1000 between them"),
    ([1_500, 2_000], "must be [low, high] with 1000 between them"), ([1_000], "must have at least 2")])
def test_limits_stand_on_both_sides_of_their_number(limits, rule):
    document = {"format": 1, "plant": {"name": "x"}, "part": [part("A", range={"mtbf_h": limits})],
                "function": [{"name": "run", "needs": ["A"]}]}
    assert [found for _, found in errors(document) if found.startswith(rule)]


# ---------------------------------------------------------------- what is noticed


def test_an_alarm_of_its_own_tells_of_every_failure():
    """Behind a second feed nobody sees that one has failed, unless it has an alarm."""
    def feeds(**more):
        return plant_of(part("C", fed_by=["T1", "T2"]), part("T1", "supply", **more),
                        part("T2", "supply", **more))

    silent, told, stated = feeds(), feeds(alarm="FEED"), feeds(noticed=1.0)
    assert told.share_noticed("T1") == 1.0 and silent.share_noticed("T1") < 1.0
    assert told.block("run").unavailability == stated.block("run").unavailability
    assert told.block("run").unavailability < silent.block("run").unavailability
    assert "FEED" in effect_of(told, "T1: off").after.alarms
    assert not effect_of(silent, "T1: off").alarms
    assert feeds(alarm="FEED", noticed=0.5).share_noticed("T1") == 0.5


# ---------------------------------------------------------------- planned work


def test_planned_work_is_an_outage_of_what_stands_alone():
    plant = plant_of(part("A", mtbf_h=1000, mttr_h=10), maintenance=[
        {"name": "cleaned", "parts": ["A"], "every_h": 498, "takes_h": 2}])
    works = 1000 / 1010 * 498 / 500
    assert plant.block("run").availability == pytest.approx(works, rel=1e-12)
    assert plant.block("run").failures_per_h == pytest.approx(works * (1 / 1000 + 1 / 498), rel=1e-12)
    assert {cause.name: cause.mean_down_h for cause in causes_of(plant, "run")} == pytest.approx(
        {"A": 10.0, "cleaned": 2.0})


def test_planned_work_on_one_of_two_leaves_the_other():
    plant = plant_of(part("A"), part("B"), needs=any_of("A", "B"), maintenance=[
        {"name": "cleaned", "parts": ["A"], "every_h": 498, "takes_h": 2}])
    down = 10 / 1010
    assert plant.block("run").unavailability == pytest.approx(
        (1 - (1 - down) * 498 / 500) * down, rel=1e-9)


PAIR = (part("K1", "controller", 60_000, 4, joins=["R"]), part("K2", "controller", 60_000, 4, joins=["R"]),
        part("R", "rack", 1e9, 1e-3))


def pair_of(**tables):
    document = {"format": 1, "plant": {"name": "x"}, "part": list(PAIR), "function": [
        {"name": "run", "reached": ["R"]}], "pair": {"units": ["K1", "K2"]}} | tables
    assert errors(document) == []
    return build(document)


def test_planned_work_on_a_unit_of_the_pair_leaves_the_other_alone():
    """The other one fails meanwhile: 1 / 60 000 an hour for 2 of 8762 hours, for each of the two."""
    work = [{"name": f"{unit} cleaned", "parts": [unit], "every_h": 8760, "takes_h": 2}
            for unit in ("K1", "K2")]
    plain, planned = (pair_of(**tables).block("run").failures_per_h
                      for tables in ({}, {"maintenance": work}))
    out = 2 / 8762
    # While one is out for work the other fails, or the other is out already and work begins.
    by_hand = 2 * (out / 60_000 + 4 / 60_004 / 8760) + 2 * out / 8760
    assert planned - plain == pytest.approx(by_hand, rel=2e-3)


# ---------------------------------------------------------------- starts


def pumps(**duty):
    return plant_of(part("A", mtbf_h=1000, mttr_h=10), part("B", mtbf_h=1000, mttr_h=10),
                    needs=any_of("A", "B"),
                    changeover=[{"name": "pumps", "parts": ["A", "B"]} | duty])


def test_a_start_that_fails_stops_the_function_until_somebody_starts_it():
    plant = pumps(starts=0.9, by_hand_h=0.5, by_hand=0.8)
    found = {cause.name: cause for cause in causes_of(plant, "run")}
    by_hand, repaired = found["pumps: no start"], found["pumps: no start by hand"]
    # Left out by hand: nothing fails anew in the 0.5 h or 10 h of a failed start, up to 2e-4 of the time.
    assert by_hand.outages_per_year == pytest.approx(8.76 * 0.1 * 0.8, rel=3e-4)
    assert repaired.outages_per_year == pytest.approx(8.76 * 0.1 * 0.2, rel=3e-4)
    assert (by_hand.mean_down_h, repaired.mean_down_h) == pytest.approx((0.5, 10.0), rel=1e-12)
    assert per_year(plant)[1] - per_year(pumps())[1] == pytest.approx(
        8.76 * 0.1 * (0.8 * 0.5 + 0.2 * 10), rel=1e-3)


@pytest.mark.parametrize(("feeds", "asked_per_h"), [
    ((["T"], ["T"]), 0.001), ((["T"], ["V"]), 0.003), ((["T", "V"], ["V", "T"]), 0.001)])
def test_a_running_pump_without_its_feed_asks_for_a_start_too(feeds, asked_per_h):
    """Half of the pumps' failures, each once in 1000 h, and of the feeds' of one pump, in 500 h."""
    plant = plant_of(
        part("T", "supply", 500, 1), part("V", "supply", 500, 1),
        *(part(name, "pump", 1000, 10, fed_by=fed) for name, fed in zip("AB", feeds, strict=True)),
        needs=any_of("A", "B"), changeover=[{"name": "pumps", "parts": ["A", "B"], "starts": 0.9}])
    found = plant.single_failures(plant.condition("run"))["pumps: no start"]
    assert found.rate_per_h == pytest.approx(0.1 * asked_per_h, rel=1e-12)


@pytest.mark.parametrize(("count", "fed", "asked_per_h"), [
    (3, 0, 3 * 2 / 3 / 1000), (3, 1, 2 / 1000 + 2 / 3 / 500),
    (3, 2, 2 / 1000),  # the feed of two leaves too few
    (5, 3, 2 / 1000 + 1 / 500),  # of the three behind the feed at least one runs
])
def test_where_two_pumps_run_either_may_ask_for_a_start(count, fed, asked_per_h):
    names = "ABCDE"[:count]
    plant = plant_of(
        part("T", "supply", 500, 1), *(part(name, "pump", 1000, 10, fed_by=["T"])
                                       for name in names[:fed]),
        *(part(name, "pump", 1000, 10) for name in names[fed:]),
        needs=[{"at_least": 2, "of": [*names]}],
        changeover=[{"name": "pumps", "parts": [*names], "running": 2, "starts": 0.9}])
    found = plant.single_failures(plant.condition("run"))["pumps: no start"]
    assert found.rate_per_h == pytest.approx(0.1 * asked_per_h, rel=1e-12)


def test_a_pump_on_a_battery_asks_for_a_start_once_that_is_empty():
    """Half of 1/1000 + 1/1000, of the UPS' 1/400, of the mains' 1/500 where a cut of 2 h outlasts 4 h."""
    plant = plant_of(
        part("Q", "mains", 500, 2), part("G", "ups", 400, 1, fed_by=["Q"], battery_h=4),
        part("A", "pump", 1000, 10, fed_by=["G"]), part("B", "pump", 1000, 10),
        needs=any_of("A", "B"), changeover=[{"name": "pumps", "parts": ["A", "B"], "starts": 0.9}])
    found = plant.single_failures(plant.condition("run"))["pumps: no start"]
    asked_per_h = 0.5 * (2 / 1000 + 1 / 400 + math.exp(-2) / 500)
    assert found.rate_per_h == pytest.approx(0.1 * asked_per_h, rel=1e-12)


def test_starts_on_demand_against_lives_of_two_pumps():
    """Two pumps that fail whether they run or not; the other one starts in seven of ten cases."""
    rng = np.random.default_rng(3)
    fails, ends, by_hand_h, starts, lives = 1 / 500, 1 / 10, 2.0, 0.7, 4000
    lost_h = outages = 0.0
    now = 0.0
    good = 2
    for _ in range(lives):
        total = good * fails + (2 - good) * ends
        now += rng.exponential(1 / total)
        if rng.random() * total < good * fails:
            leads = rng.random() < 1 / good
            good -= 1
            if good == 0 or (leads and rng.random() >= starts):
                outages += 1
                down = rng.exponential(by_hand_h) if good else rng.exponential(1 / (2 * ends))
                lost_h += down
                now += down
                good = good or 1
        else:
            good += 1
    plant = plant_of(part("A", mtbf_h=500, mttr_h=10), part("B", mtbf_h=500, mttr_h=10),
                     needs=any_of("A", "B"), changeover=[
                         {"name": "pumps", "parts": ["A", "B"], "starts": starts, "by_hand_h": by_hand_h}])
    often = plant.block("run").failures_per_h * now
    assert abs(often - outages) <= 4 * math.sqrt(outages) + 0.03 * outages
    assert plant.block("run").unavailability * now == pytest.approx(lost_h, rel=0.2)


def test_without_a_pump_at_rest_there_is_nothing_to_start():
    plant = pumps(starts=0.5)
    assert "pumps: no start" in plant.single_failures(plant.condition("run"))
    alone = plant.single_failures(plant.condition("run", {"B"}))
    assert list(alone) == ["A"]


def test_pumps_that_stand_idle_have_to_start_when_they_are_asked():
    """Of three one has to run; none starts in 0.1 ^ 3 of cases: 0.8 of these are started by hand."""
    plant = plant_of(
        *(part(name, "pump", 25_000, 12) for name in "ABC"), needs=any_of("A", "B", "C"),
        function=[{"name": "run", "needs": any_of("A", "B", "C"), "idle_h": 4_000,
                   "hours_per_year": 100}],
        changeover=[{"name": "pumps", "parts": ["A", "B", "C"], "starts": 0.9, "by_hand": 0.8}])
    found = {cause.name: cause for cause in latent_causes_of(plant, "run")}
    by_hand, repaired = found["pumps: no start asleep"], found["pumps: no start by hand asleep"]
    assert (by_hand.outages_per_year, by_hand.mean_down_h) == pytest.approx((0.0008, 0.5))
    assert (repaired.outages_per_year, repaired.mean_down_h) == pytest.approx((0.0002, 12))
    two = Changeover("pumps", ("A", "B", "C"), running=2, starts=0.9)
    assert two.fails_from_rest == pytest.approx(3 * 0.9 * 0.01 + 0.001, rel=1e-12)


def test_a_change_of_duty_is_a_test():
    three = plant_of(*(part(name, noticed=0.5, noticed_note="idle") for name in "ABC"),
                     needs=any_of("A", "B", "C"),
                     changeover=[{"name": "duty", "parts": ["A", "B", "C"], "every_h": 168}])
    assert {each.test_interval_h for each in three.parts.values()} == {336.0}
    never = plant_of(*(part(name, noticed=0.5, noticed_note="idle") for name in "ABC"),
                     needs=any_of("A", "B", "C"))
    assert three.block("run").unavailability < never.block("run").unavailability


def test_restart_by_hand_may_fail():
    """Nobody leads for 0.5 h, and in one of five cases for a repair of 4 h more: 1.3 h."""
    sure, unsure = (pair_of(pair={"units": ["K1", "K2"], "coverage": 0.0, "restart_h": 0.5,
                                  "restart_succeeds": share}) for share in (1.0, 0.8))
    for plant, mean_h in ((sure, 0.5), (unsure, 1.3)):
        causes = {cause.name: cause for cause in causes_of(plant, "run")}
        assert causes["K1+K2 not taken over"].mean_down_h == pytest.approx(mean_h, rel=1e-3)
        assert plant.next_failures(plant.condition("run"))[0].down_h == pytest.approx(mean_h, rel=1e-12)


def test_a_length_that_hardly_comes_is_none():
    """Of cuts of 36 s on average e^-100 last longer than an hour; what does is a long one."""
    plant = plant_of(part("Q", "mains", 5000.0, 2.0, short_cuts={"per_year": 20, "mean_h": 0.01}),
                     part("U", "ups", 1e6, 1.0, fed_by=["Q"], battery_h=1.0), part("A", fed_by=["U"]), needs=["A"])
    longer = plant.single_failures(plant.condition("run"))["Q longer than 1 h"]
    assert longer.rate_per_h == pytest.approx(math.exp(-1 / 2) / 5000, rel=1e-12)
    assert plant.lengths_of(longer) == [("", 1.0, 2.0)]


def test_twins_that_fail_together_only_have_events_and_planned_work_still():
    """Neither twin stands in the condition, and each of the three takes both: 0.99 x 0.98 x 0.95 works."""
    plant = plant_of(part("A", mtbf_h=990, mttr_h=10), part("B", mtbf_h=990, mttr_h=10), needs=any_of("A", "B"),
                     twins=[{"parts": ["A", "B"], "common_cause": 1.0}],
                     shared_event=[{"name": "flood", "what": "water", "breaks": ["A", "B"], "mtbf_h": 980, "mttr_h": 20}],
                     maintenance=[{"name": "service", "parts": ["A", "B"], "every_h": 950, "takes_h": 50}])
    assert {*plant.single_failures(plant.condition("run"))} == {"A+B common cause", "flood", "service"}
    assert plant.block("run").availability == pytest.approx(0.99 * 0.98 * 0.95, rel=1e-12)


def test_what_the_file_says_of_people_comes_from_where_its_numbers_do():
    for tables, source in (({}, "invented"), ({"people": {"crews": 1}}, "found")):
        assert plant_of(part("A"), plant={"name": "Pump pit", "data": "found"}, **tables).people.source == source


# ---------------------------------------------------------------- crews


def test_one_crew_for_two_parts_is_the_machine_repair_model():
    """Both down for 2 r^2 / (1 + 2 r + 2 r^2) of the time, r = rate x repair (by hand)."""
    plant = plant_of(part("A", mtbf_h=100_000, mttr_h=10), part("B", mtbf_h=100_000, mttr_h=10),
                     needs=any_of("A", "B"), people={"crews": 1})
    r = 10 / 100_000
    both = 2 * r * r / (1 + 2 * r + 2 * r * r)
    block = plant.block("run")
    assert block.unavailability == pytest.approx(both, rel=1e-6)
    assert block.failures_per_h == pytest.approx(both / 10, rel=1e-6)
    (cause,) = causes_of(plant, "run")
    assert cause.mean_down_h == pytest.approx(10.0, rel=1e-9)
    enough = plant_of(part("A", mtbf_h=100_000, mttr_h=10), part("B", mtbf_h=100_000, mttr_h=10),
                      needs=any_of("A", "B"), people={"crews": 2})
    assert enough.block("run").unavailability == pytest.approx((10 / 100_010) ** 2, rel=1e-12)


def test_a_repair_that_waits_for_its_spare_keeps_no_crew():
    """96 h of delivery and 10 h of work; of two, one crew makes 96 + 2 x 10 h each (by hand)."""
    plant = plant_of(part("A", mtbf_h=100_000, mttr_h=10), part("B", mtbf_h=100_000, mttr_h=10),
                     needs=any_of("A", "B"), people={"crews": 1}, spare=[
                         {"name": "both", "parts": ["A", "B"], "stock": 0, "delivery_days": 4}])
    one = 2 * 106 / 100_000
    both = one * 116 / 100_000 / 2
    block = plant.block("run")
    assert block.unavailability == pytest.approx(both / (1 + one + both), rel=1e-6)
    assert block.unavailability / block.failures_per_h == pytest.approx(116 / 2, rel=1e-6)


# ---------------------------------------------------------------- batteries and the mains


def fed(*batteries_h, needs=None, direct=False, **mains):
    parts = [part("Q", "mains", 5_000, 2.0, **mains)]
    for number, battery_h in enumerate(batteries_h, 1):
        more = {"battery_h": battery_h} if battery_h else {}
        parts.append(part(f"U{number}", "ups", 1e9, 1e-3, fed_by=["Q"], **more))
    names = [f"U{number}" for number in range(1, len(batteries_h) + 1)]
    return plant_of(*parts, needs=(needs or names) + (["Q"] if direct else []))


@pytest.mark.parametrize(("cut", "kinds", "rate", "down_h"), [
    (Cut("Q0", 4.0), (), math.exp(-2), 2.0), (Cut("Q0", 0.0, 4.0), (), 1 - math.exp(-2), 2.0),
    (Cut("Q0", 1.0, 4.0), (), math.exp(-0.5) - math.exp(-2), 2.0),
    (Cut("Q0", 2.0), [(0.25, 8.0), (0.75, 1.0)], 0.25 * math.exp(-0.25) + 0.75 * math.exp(-2),
     (2 * math.exp(-0.25) + 0.75 * math.exp(-2)) / (0.25 * math.exp(-0.25) + 0.75 * math.exp(-2))),
    # of the short ones next to none lasts so long, and where none does it is none
    (Cut("Q0", 200.0), [(0.5, 40.0), (0.5, 1.0)], 0.5 * math.exp(-5), 40.0), (Cut("Q0", 9000.0), (), 0.0, 2.0)])
def test_what_a_cut_leaves_of_a_failure(cut, kinds, rate, down_h):
    """Lengths are exponential: exp(-t / m) last longer than t. A quarter of each waits for a spare."""
    left = cut.of(Failure("Q0", ("Q0",), 1e-3, 2.0, waits_h=0.5), kinds)
    assert (left.name, left.parts) == (cut.name, ("Q0",))
    assert (left.rate_per_h, left.down_h, left.waits_h) == pytest.approx((1e-3 * rate, down_h, down_h / 4), rel=1e-12)


def test_a_cut_is_called_by_its_limits():
    assert [Cut("Q0", *limits).name for limits in ((0.0, 4.0), (0.5, 4.0), (4.0,))] == [
        "Q0 up to 4 h", "Q0 from 0.5 to 4 h", "Q0 longer than 4 h"]


def test_a_battery_rides_through_what_is_shorter():
    """Cuts of 2 h on average: exp(-4 / 2) of them last longer than 4 h, and then 2 h more."""
    often, down_h = per_year(fed(4.0))
    assert often == pytest.approx(YEAR_H / 5_000 * math.exp(-2), rel=1e-4)
    assert down_h == pytest.approx(YEAR_H / 5_000 * math.exp(-2) * 2, rel=1e-4)
    assert per_year(fed(0))[0] == pytest.approx(YEAR_H / 5_002, rel=1e-4)


def test_short_and_long_cuts_are_told_apart():
    plain, behind = (fed(battery_h, short_cuts={"per_year": 20, "mean_h": 0.05})
                     for battery_h in (0, 0.1))
    long_per_year = YEAR_H / 5_000
    assert per_year(plain) == pytest.approx((20 + long_per_year, 1 + 2 * long_per_year), rel=1e-3)
    short, long = 20 * math.exp(-2), long_per_year * math.exp(-0.05)
    assert per_year(behind) == pytest.approx((short + long, short * 0.05 + long * 2), rel=1e-3)
    assert plain.share_noticed("Q") == 1.0


@pytest.mark.parametrize("hours", [0.05, 0.5, 3.0])
def test_how_long_cuts_last_on_both_sides_of_a_battery(hours):
    """Means over the density of the lengths, three short ones for each long one, by the quadrature of scipy."""
    cuts = ((0.003, 0.05), (0.001, 2.0))
    mains = PlantPart("Q", "mains", "mains", 250.0, (3 * 0.05 + 2.0) / 4, cuts=cuts)

    def density(length_h):
        return sum(rate / 0.004 * math.exp(-length_h / mean_h) / mean_h for rate, mean_h in cuts)

    def moment(low, high, power):
        return quad(lambda length_h: length_h**power * density(length_h), low, high, limit=200)[0]

    longer = moment(hours, 60.0, 0)
    assert mains.share_longer(hours) == pytest.approx(longer, rel=1e-7)
    assert mains.lasts_h(hours) == pytest.approx(
        (moment(0, hours, 1) / (1 - longer), moment(hours, 60.0, 1) / longer), rel=1e-7)
    one = PlantPart("Q", "mains", "mains", 250.0, 2.0)
    assert one.share_longer(hours) == pytest.approx(math.exp(-hours / 2), rel=1e-12)


@pytest.mark.parametrize(("said", "noticed", "note"), [
    ({}, 1.0, "everybody sees it"), ({"noticed": 0.8, "noticed_note": "asleep"}, 0.8, "asleep")])
def test_everybody_sees_the_mains_gone_unless_the_file_says_otherwise(said, noticed, note):
    mains = plant_of(part("Q", "mains", 5_000, 2.0, **said)).parts["Q"]
    assert (mains.noticed, mains.noticed_note) == (noticed, note)


@pytest.mark.parametrize(("idle_h", "idle"), [(0, False), (0.5, True), (2, True)])
def test_what_stands_still_before_it_is_asked_for_stands_idle(idle_h, idle):
    plant = plant_of(part("A"), function=[{"name": "run", "needs": ["A"], "idle_h": idle_h}])
    assert plant.stands_idle("run") is idle


@pytest.mark.parametrize(("starts", "moved"), [(0, ["by_hand_h"]), (0.95, ["starts", "by_hand_h"]), (1, [])])
def test_a_start_by_hand_is_unsure_where_some_starts_fail(starts, moved):
    plant = plant_of(*(part(name, "pump") for name in "AB"), needs=any_of("A", "B"), changeover=[
        {"name": "duty", "parts": ["A", "B"], "starts": starts, "every_h": 168}],
        costs={"step": [{"name": "late", "function": "run", "longer_than_min": 0, "cost": 100}]},
        variant=[{"name": "one"}, {"name": "two", "price_per_year": 10}])
    assert [each.key for each in assumptions(plant, "two", "one") if each.key.startswith("duty")] == [
        f"duty: {key}" for key in moved]


def test_short_and_long_cuts_cost_each_by_its_length():
    """An hour is free: of short cuts next to none lasts so long, of long ones exp(-1 / 2)."""
    step = {"name": "late", "function": "run", "longer_than_min": 60, "cost": 100}
    plant = plant_of(part("Q", "mains", 5_000, 2.0, short_cuts={"per_year": 20, "mean_h": 0.05}),
                     costs={"step": [step]})
    assert [(cause.name, cause.length) for cause in causes_of(plant, "run")] == [
        ("Q", "long cuts"), ("Q", "short cuts")]
    loss = math.fsum(each.loss_per_year for each in losses(plant))
    assert loss == pytest.approx(100 * YEAR_H / 5_000 * math.exp(-0.5), rel=2e-3)


def test_the_smaller_battery_counts_in_series_and_the_larger_side_by_side():
    cuts = YEAR_H / 5_000
    assert per_year(fed(2.0, 4.0)) == pytest.approx(
        (cuts * math.exp(-1), cuts * math.exp(-1) * 2), rel=2e-4)
    assert per_year(fed(2.0, 4.0, needs=any_of("U1", "U2"))) == pytest.approx(
        (cuts * math.exp(-2), cuts * math.exp(-2) * 2), rel=1e-4)
    assert per_year(fed(3.0, 3.0, needs=any_of("U1", "U2"))) == pytest.approx(
        (cuts * math.exp(-1.5), cuts * math.exp(-1.5) * 2), rel=1e-4)


def test_what_hangs_on_the_mains_itself_is_lost_with_it():
    cuts = YEAR_H / 5_000
    assert per_year(fed(4.0, direct=True)) == pytest.approx((cuts, 2 * cuts), rel=1e-3)
    plant = fed(4.0, direct=True)
    assert [cause.name for cause in causes_of(plant, "run")][0] == "Q"


def test_of_what_stands_in_for_each_other_the_cuts_are_told_apart_by_length():
    """U1 behind 1 h or T; a cut of 1 h to 4 h wants T to be out as well (by hand)."""
    plant = plant_of(
        part("Q", "mains", 5_000, 2.0), part("U1", "ups", 1e9, 1e-3, fed_by=["Q"], battery_h=1.0),
        part("U2", "ups", 1e9, 1e-3, fed_by=["Q"], battery_h=4.0), part("T", mtbf_h=1_000, mttr_h=10),
        needs=[{"at_least": 1, "of": ["U1", "T"]}, "U2"])
    found = {cause.name: cause for cause in causes_of(plant, "run")}
    assert found["Q longer than 4 h"].outages_per_year == pytest.approx(
        YEAR_H / 5_000 * math.exp(-2), rel=1e-3)
    # T is missed from 1 h to 4 h of every cut, also of one that lasts longer: exp(-t / 2) from 1 to 4.
    both = quad(lambda hours: math.exp(-hours / 2), 1, 4)[0] / 5_000 * (10 / 1_010) * YEAR_H * 60
    name = "Q from 1 to 4 h and T"
    assert found[name].down_min_per_year == pytest.approx(both, rel=1e-3)


def test_twins_of_the_mains_have_a_part_of_each_kind_of_cut_in_common():
    """Q and R behind 1 h each: 0.1 of the long cuts of 2 h takes both, by hand exp(-1 / 2) of it."""
    plant = plant_of(
        *(part(name, "mains", 5_000, 2.0, short_cuts={"per_year": 20, "mean_h": 0.05}) for name in "QR"),
        part("U", "ups", 1e9, 1e-3, fed_by=["Q", "R"], battery_h=1.0),
        needs=["U"], twins=[{"parts": ["Q", "R"], "common_cause": 0.1}])
    found = {cause.name: cause for cause in causes_of(plant, "run") if cause.length != "short cuts"}
    together = found["Q+R common cause longer than 1 h"]
    assert together.outages_per_year == pytest.approx(
        0.1 * YEAR_H / 5_000 * math.exp(-0.5), rel=1e-3)
    own = 0.9 / 5_000 * math.exp(-0.5)
    assert found["Q longer than 1 h and R longer than 1 h"].outages_per_year == pytest.approx(
        2 * own * own * 2 * YEAR_H, rel=1e-3)


def test_the_ways_of_failing_of_the_mains_last_each_its_time_behind_a_battery():
    """By hand: 0.2 of the failures last 10 h on average and exp(-1 / 10) of them 1 h, the rest 0.1 h."""
    modes = [{"how": "digger", "share": 0.2, "parts": ["Q"], "mttr_h": 10},
             {"how": "breaker", "share": 0.8, "parts": ["Q"], "mttr_h": 0.1}]
    plant = plant_of(part("Q", "mains", 5_000, 2.0),
                     part("U", "ups", 1e9, 1e-3, fed_by=["Q"], battery_h=1.0), needs=["U"], mode=modes)
    often = YEAR_H / 5_000 * 0.2 * math.exp(-0.1)
    assert per_year(plant) == pytest.approx((often, 10 * often), rel=1e-3)
    at_once = plant_of(part("Q", "mains", 5_000, 2.0), needs=["Q"], mode=modes)
    assert [(each.length, each.mean_down_h) for each in causes_of(at_once, "run")] == [
        ("digger", pytest.approx(10)), ("breaker", pytest.approx(0.1))]
    assert math.fsum(each.down_min_per_year for each in causes_of(at_once, "run")) / 60 == pytest.approx(
        per_year(at_once)[1], rel=1e-3)


def test_fuel_for_days_outlasts_every_dip():
    """Dips of half an hour, fuel for ten days: exp(-480) of them, 1e-209, is counted as none."""
    plant = plant_of(part("Q", "mains", 5_000, 0.5), part("U", "ups", 1_000, 4.0, fed_by=["Q"], battery_h=240.0),
                     needs=["U"])
    assert [cause.name for cause in causes_of(plant, "run")] == ["U"]
    assert per_year(plant) == pytest.approx((YEAR_H / 1_004, YEAR_H * 4 / 1_004), rel=1e-12)


def test_batteries_in_turn_carry_one_after_the_other():
    plant = plant_of(part("Q", "mains", 5_000, 2.0), part("U", "ups", 1e9, 1e-3, fed_by=["Q"], battery_h=3.0),
                     part("T", "supply", 1e9, 1e-3, fed_by=["U"], battery_h=1.0), needs=["T"])
    assert per_year(plant)[0] == pytest.approx(YEAR_H / 5_000 * math.exp(-2), rel=1e-4)
    assert plant.carried_h("Q") == 4.0


def test_a_cut_of_the_mains_scales_with_its_class():
    twice = changed(fed(4.0), Assumption("mains: mttr_h", 2.0, 1.0, 4.0, ""), 4.0)
    assert per_year(twice)[0] == pytest.approx(YEAR_H / 5_000 * math.exp(-1), rel=1e-3)


@pytest.mark.parametrize("key, value, new, short", [
    ("mtbf_h", 5_000, 2_500, (20.0, 0.1)), ("mttr_h", 2.0, 4.0, (10.0, 0.2))])
def test_short_cuts_come_as_often_and_last_as_long_as_the_long_ones(key, value, new, short):
    plant = plant_of(part("Q", "mains", 5_000, 2.0, short_cuts={"per_year": 10, "mean_h": 0.1}), needs=["Q"])
    table, = changed(plant, Assumption(f"mains: {key}", value, 0, 1, ""), new).document["part"]
    assert (table["short_cuts"]["per_year"], table["short_cuts"]["mean_h"]) == pytest.approx(short)


def test_what_is_nothing_is_moved_to_what_is_asked():
    document = copy.deepcopy(dict(load_plant().document))
    document["pair"]["common_cause"] = 0.0
    found = changed(build(document), Assumption("pair: common_cause", 0.0, 0, 1, ""), 0.05)
    assert found.pair.common_cause == 0.05


def test_a_run_of_minutes_does_not_empty_a_battery():
    parts = [part("Q", "mains", 5_000, 2), part("K1", "controller", 60_000, 4, fed_by=["T"], joins=["R"]),
             part("R", "rack", 100_000, 3)]
    for battery, leads in (({"battery_h": 1.0}, "K1"), ({}, None)):
        supply = part("T", "ups", 100_000, 3, fed_by=["Q"], **battery)
        plant = plant_of(*parts, supply, function=[{"name": "run", "reached": ["R"]}])
        assert effect_of(plant, f"Q: cut{' longer than 1 h' if battery else ''}").leads_after == leads


def test_what_comes_beside_the_failures_of_a_part_has_no_share_in_them():
    """A stopped program, 0.2 times a year; an event of MTBF 50 000 h, or none stated: 100 years."""
    plant = plant_of(
        part("K1", "controller", 60_000, 4, joins=["R"]), part("R", "rack", 100_000, 3),
        part("W1", "cable", 90_000, 6), part("W2", "cable", 90_000, 6),
        shared_event=[{"name": "dug", "what": "a duct", "breaks": ["W1", "W2"], "mtbf_h": 50_000, "mttr_h": 9,
                       "source": "found", "source_note": "log of the works"},
                      {"name": "flood", "what": "a cellar", "breaks": ["W1", "R"]}])
    rates, faults = rates_of(plant), faults_of(plant)
    (dug,), (flood,) = ([name for name, fault in faults.items() if fault.unit == event]
                        for event in ("dug", "flood"))
    assert (rates[dug], rates[flood]) == pytest.approx((1 / 50_000, 1 / 876_000), rel=1e-12)
    assert restored_h(plant, faults[dug]) == 9
    stopped = faults["K1: stopped"]
    assert weight_of(plant, stopped) == 0.0
    assert rates["K1: stopped"] == pytest.approx(0.2 / 8760, rel=1e-12)
    assert [source_of(plant, each) for each in (stopped, faults[flood], faults[dug])] == [
        "invented", "invented", "found"]


def test_cuts_that_every_battery_carries_stand_apart():
    """Of cuts of 2 h on average exp(-1) last longer than 2 h, and only these stop anything."""
    plant = fed(2.0, 4.0)
    rates = rates_of(plant)
    assert plant.carried_h("Q") == 2.0
    assert rates["Q: cut longer than 2 h"] == pytest.approx(math.exp(-1) / 5_000, rel=1e-12)
    assert rates["Q: cut up to 2 h"] == pytest.approx((1 - math.exp(-1)) / 5_000, rel=1e-12)
    faults = faults_of(plant)
    assert not faults["Q: cut up to 2 h"].breaks and faults["Q: cut longer than 2 h"].breaks == {"Q"}
    # each lasts as long as its words say: beyond 2 h another 2 h; up to 2 h by the quadrature of scipy
    up_to = quad(lambda hours: hours * math.exp(-hours / 2) / 2, 0, 2)[0] / (1 - math.exp(-1))
    assert restored_h(plant, faults["Q: cut longer than 2 h"]) == pytest.approx(4, rel=1e-12)
    assert restored_h(plant, faults["Q: cut up to 2 h"]) == pytest.approx(up_to, rel=1e-9)
    # A part that hangs on the mains itself is lost with every cut.
    assert "Q: cut" in faults_of(fed(2.0, 0))


# ---------------------------------------------------------------- wear


def test_what_wears_out_is_replaced_in_time():
    """Age replacement: failures in one life over its mean length (Barlow, Proschan 1965)."""
    plant = plant_of(part("A", mtbf_h=50_000, mttr_h=4, ageing_shape=3, replaced_after_h=30_000))
    scale_h = 50_000 / math.gamma(4 / 3)

    def lives(hours):
        return math.exp(-((hours / scale_h) ** 3))

    length_h, _ = quad(lives, 0, 30_000)
    assert plant.parts["A"].failure_rate_per_h == pytest.approx(
        (1 - lives(30_000)) / length_h, rel=1e-8)
    left = plant_of(part("A", mtbf_h=50_000, mttr_h=4, ageing_shape=3))
    assert left.parts["A"].mtbf_h == pytest.approx(50_000, rel=1e-9)


# ---------------------------------------------------------------- variants, title block


def test_the_way_from_one_controller_to_two():
    document = {
        "format": 1, "plant": {"name": "x"}, "function": [{"name": "run", "reached": ["R"]}],
        "part": [PAIR[0], PAIR[1] | {"fitted": False}, PAIR[2],
                 part("W", "cable", 3e5, 6, joins=["K1", "K2"], fitted=False)],
        "variant": [{"name": "one"}, {"name": "two", "fit": ["K2", "W"], "pair": {
            "units": ["K1", "K2"], "sync": ["W"], "coverage": 0.9}}]}
    assert errors(document) == []
    plant = build(document)
    two = plant.variant("two")
    assert plant.pair is None and plant.variant("one").pair is None
    assert (two.pair.units, two.pair.sync, two.pair.coverage) == (("K1", "K2"), ("W",), 0.9)
    one, both = compare_variants(plant)
    assert both.outages_per_year["run"] == pytest.approx(0.1 * one.outages_per_year["run"], rel=0.01)
    document["variant"][1]["pair"] = {"coverage": 0.9}
    ((path, rule),) = errors(document)
    assert path == ("variant", 1) and "units = [...]" in rule


def test_a_variant_changes_twins_events_and_spares():
    document = {
        "format": 1, "plant": {"name": "x"}, "function": [{"name": "run", "needs": any_of("A", "B")}],
        "part": [part("A"), part("B"), part("C")],
        "twins": [{"parts": ["A", "B"], "common_cause": 0.1}],
        "shared_event": [{"name": "flood", "what": "water", "breaks": ["A", "B"]}],
        "spare": [{"name": "a", "parts": ["A"], "stock": 1, "delivery_days": 10}],
        "maintenance": [{"name": "oil", "parts": ["A"], "every_h": 1000, "takes_h": 1}],
        "changeover": [{"name": "duty", "parts": ["A", "B"]}],
        "variant": [{"name": "better", "twins": [{"parts": ["B", "A"], "common_cause": 0.02}],
                     "shared_event": [{"name": "flood", "mtbf_h": 1e5, "mttr_h": 20}],
                     "spare": [{"name": "a", "stock": 0}],
                     "maintenance": [{"name": "oil", "every_h": 500}],
                     "changeover": [{"name": "duty", "starts": 0.9}]},
                    {"name": "more", "twins": [{"parts": ["A", "C"], "common_cause": 0.02}]}]}
    assert errors(document) == [(("variant", 1), "as to twins must have a part in one group only")]
    del document["variant"][1]
    plant = build(document)
    better = plant.variant("better")
    assert [each.common_cause for each in better.twins] == [0.02]
    assert better.shared_events["flood"].mtbf_h == 1e5
    assert better.parts["A"].mttr_h == 10 + 240
    assert better.maintenance[0].every_h == 500 and better.changeovers[0].starts == 0.9
    assert plant.twins[0].common_cause == 0.1 and plant.parts["A"].mttr_h < 10 + 27


def test_the_title_block_is_kept():
    plant = plant_of(part("A"), title_block={"number": "MLW-0107", "checker": "C. Checker"})
    assert (plant.title_block.number, plant.title_block.revision, plant.title_block.checker) == (
        "MLW-0107", "", "C. Checker")


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(("tables", "path", "rule"), [
    ({"spare": [{"name": "a", "parts": ["K1"], "stock": 0, "delivery_days": 3}]},
     ("pair", "units"), "must name two units that one spare fits"),
    ({"spare": [{"name": n, "parts": ["R"], "stock": 0, "delivery_days": 3} for n in "ab"]},
     ("spare", 1, "parts", 0), "must have one spare only"),
    ({"changeover": [{"name": "d", "parts": ["K1", "K2"]}]}, ("changeover", 0, "parts", 0),
     "must not name a unit of the pair (write pair: coverage and restart_h)"),
    ({"maintenance": [{"name": "R", "parts": ["R"], "every_h": 9, "takes_h": 1}]},
     ("maintenance", 0, "name"), "must differ from every part and every other event"),
    ({"part": [*PAIR[:2], PAIR[2] | {"short_cuts": {"per_year": 1, "mean_h": 1}}]},
     ("part", 2, "short_cuts"), "must stand at a part of kind mains"),
    ({"part": [*PAIR, part("Q", "mains", short_cuts={"per_year": 1, "mean_h": 1})],
      "mode": [{"how": "cut", "share": 1, "parts": ["Q"]}]},
     ("part", len(PAIR), "short_cuts"), "must be one of its modes, which make up all failures"),
    ({"part": [*PAIR, part("Q", "mains")],
      "spare": [{"name": "q", "parts": ["Q"], "stock": 0, "delivery_days": 3}]},
     ("spare", 0, "parts", 0), "must not name mains, which no spare mends"),
    ({"part": [*PAIR[:2], PAIR[2] | {"battery_h": 1}]}, ("part", 2), "must have fed_by beside battery_h"),
    ({"part": [*PAIR[:2], PAIR[2] | {"replaced_after_h": 9}]}, ("part", 2),
     "must have ageing_shape beside replaced_after_h"),
    ({"variant": [{"name": "v", "spare": [{"name": "nut", "stock": 0}]}]},
     ("variant", 0, "spare", 0, "name"), "must be the name of a spare"),
])
def test_what_cannot_be_is_refused(tables, path, rule):
    document = {"format": 1, "plant": {"name": "x"}, "part": list(PAIR), "function": [
        {"name": "run", "reached": ["R"]}], "pair": {"units": ["K1", "K2"]}} | tables
    assert (path, rule) in errors(document)


def test_more_parts_have_to_be_there_than_run():
    document = {"format": 1, "plant": {"name": "x"}, "part": [part("A"), part("B")], "function": [
        {"name": "run", "needs": ["A"]}], "changeover": [{"name": "d", "parts": ["A", "B"], "running": 2}]}
    assert errors(document) == [(("changeover", 0, "running"),
                                 "must be below 2, how many are fitted")]


def test_a_part_says_what_the_file_said():
    assert PlantPart("A", "x", "other", 1.0, 1.0).fed_at_once == ()
    assert PlantPart("A", "x", "ups", 1.0, 1.0, fed_by=("Q",), battery_h=1.0).fed_at_once == ()
    assert PlantPart("A", "x", "ups", 1.0, 1.0, fed_by=("Q",)).fed_at_once == ("Q",)


# ---------------------------------------------------------------- ways of failing


def worn_pumps():
    return plant_of(
        part("A", "pump", 1000, 10), part("B", "pump", 1000, 10), needs=any_of("A", "B"), mode=[
            {"how": "seized", "share": 0.3, "parts": ["A"], "mttr_h": 20, "source": "found",
             "source_note": "log", "seen": "Motor protection has tripped.", "cause": "grit",
             "put_right": "Free the shaft."},
            {"how": "worn", "share": 0.1, "parts": ["A"], "noticed": 0.0}])


def test_ways_of_failing_come_to_the_failures_of_the_part():
    """Three of four seize and take 20 h, one of four wears unseen and takes 10 h: 17.5 h, 0.75."""
    plant = worn_pumps()
    assert plant.parts["A"].mttr_h == pytest.approx(17.5)
    assert plant.share_noticed("A") == pytest.approx(0.75, rel=1e-12)
    assert plant.share_noticed("B") == 1.0
    faults = {name: fault for name, fault in faults_of(plant).items() if fault.unit in "AB"}
    assert list(faults) == ["A: seized", "A: worn", "B: dead"]
    rates = rates_of(plant)
    assert (rates["A: seized"], rates["A: worn"]) == pytest.approx((0.75e-3, 0.25e-3), rel=1e-12)
    assert source_of(plant, faults["A: seized"]) == "invented, share found"
    assert faults["A: seized"].seen == "Motor protection has tripped."
    usual = faults["B: dead"].kind
    assert [(each.kind.cause, each.kind.put_right) for each in faults.values()] == [
        ("grit", "Free the shaft."), (usual.cause, usual.put_right), (usual.cause, usual.put_right)]
    assert usual.cause and usual.put_right
    shares = {name: notice_of(plant, fault, effect_of(plant, name)).share
              for name, fault in faults.items()}
    assert shares == {"A: seized": 1.0, "A: worn": 0.0, "B: dead": 1.0}


def test_ways_of_failing_are_for_parts_that_the_rig_only_sees_fail():
    document = {"format": 1, "plant": {"name": "x"}, "part": [part("A", "sensor"), part(
        "B", "pump", noticed=0.5, noticed_note="idle")], "function": [{"name": "run", "needs": ["A"]}],
        "mode": [{"how": "stuck", "share": 1, "parts": ["A"]},
                 {"how": "worn", "share": 1, "parts": ["B"], "noticed": 1.0},
                 {"how": "worn", "share": 1, "parts": ["B"]}]}
    assert {rule for _, rule in errors(document)} == {
        "must not name a sensor, whose kinds of fault the rig runs (write how_often)",
        "must stand at the part or at its modes", "must differ from every other mode of B"}


def test_the_starter_shows_how_long_a_kind_lasts(tmp_path):
    """By hand: 0.7 of 3 h and 0.3 of 0.5 h are 2.25 h; the line is there to be taken in."""
    text = starter_text()
    assert "\n# restored_h = {stuck = 0.5}\n" in text
    path = tmp_path / "plant.toml"
    path.write_text(text.replace("\n# restored_h", "\nrestored_h"), "utf-8")
    assert check_file(path) == []
    assert load_plant(path).parts["BL1"].mttr_h == pytest.approx(2.25, rel=1e-12)


def test_an_event_moves_the_verdict_between_the_limits_of_the_file():
    """By hand: an event of 1 h that stops all, 20 times a year and then 10, at 100 an outage."""
    document = {
        "format": 1, "plant": {"name": "P"},
        "part": [{"designation": name, "what": name, "kind": "other", "mtbf_h": 1e11, "mttr_h": 1}
                 for name in ("A", "B")],
        "shared_event": [{"name": "flood", "what": "flood", "breaks": ["A", "B"], "mtbf_h": 8760 / 20 - 1,
                          "mttr_h": 1, "range": {"mtbf_h": [8760 / 40 - 1, 8760 / 10 - 1]}}],
        "function": [{"name": "kept", "needs": [{"at_least": 1, "of": ["A", "B"]}]}],
        "costs": {"step": [{"name": "lost", "function": "kept", "longer_than_min": 0, "cost": 100}]},
        "variant": [{"name": "now"}, {"name": "dry", "price_per_year": 1,
                                      "shared_event": [{"name": "flood", "mtbf_h": 1e9}]}]}
    plant = build(document)
    (found,) = [each for each in assumptions(plant, "dry", "now") if each.key == "flood: mtbf_h"]
    assert found.why == "the file" and found.value == pytest.approx(1e9)
    # The variant differs in it, and keeps differing: twice as often in both.
    rates = [sum(each.loss_per_year for each in losses(changed(one, found, 5e8))) / 100
             for one in (plant, plant.variant("dry"))]
    assert rates == pytest.approx([8760 / (219 - 0.5 + 1), 8760 / 5e8], rel=1e-6)


def test_planned_work_moves_the_verdict_between_the_limits_of_the_file():
    """By hand: work of 2 h every 98 h, and then every 198 h, that stops all; 100 an outage."""
    document = {
        "format": 1, "plant": {"name": "P"},
        "part": [{"designation": "A", "what": "A", "kind": "other", "mtbf_h": 1e11, "mttr_h": 1}],
        "maintenance": [{"name": "cleaned", "parts": ["A"], "every_h": 98, "takes_h": 2,
                         "range": {"every_h": [50, 198]}}],
        "function": [{"name": "kept", "needs": ["A"]}],
        "costs": {"step": [{"name": "lost", "function": "kept", "longer_than_min": 0, "cost": 100}]},
        "variant": [{"name": "now"}, {"name": "later", "price_per_year": 1,
                                      "maintenance": [{"name": "cleaned", "every_h": 1e6}]}]}
    plant = build(document)
    found, takes = (each for each in assumptions(plant, "later", "now") if "cleaned" in each.key)
    assert (found.key, found.why, takes.why) == ("cleaned: every_h", "the file", "half and double")
    once, twice = (sum(each.loss_per_year for each in losses(one)) / 100
                   for one in (plant, changed(plant, found, found.value * 198 / 98)))
    assert [once, twice] == pytest.approx([8760 / 100, 8760 / 200], rel=1e-3)


def test_at_its_own_value_an_assumption_changes_nothing():
    """Two variants that differ in the pair itself: the net at the value of the file is that of the file."""
    plant = build(tomllib.loads(starter_text()))
    for each in assumptions(plant, "supply doubled", "as built"):
        for name in ("supply doubled", "as built"):
            one = plant.variant(name)
            assert losses(changed(one, each, each.value)) == losses(one), each.key


def test_starts_and_planned_work_stand_among_the_assumptions():
    document = {**load_plant("mirelow").document,
                "changeover": [{"name": "fans", "parts": ["GQ1", "GQ2"], "starts": 0.98, "every_h": 168,
                                "source": "found", "source_note": "shift book"}],
                "maintenance": [{"name": "oil", "parts": ["GQ1"], "every_h": 8760, "takes_h": 4,
                                 "source": "practice"}]}
    rows = {row["what"]: row for row in Basis(build(document), date="").assumptions()}
    assert rows["duty change: fans"]["source"] == "found: shift book"
    assert "98 % of starts succeed" in rows["duty change: fans"]["value"].replace("\u00a0", " ")
    assert rows["planned work: oil"]["source"] == "practice"


# ---------------------------------------------------------------- a standby that is started by hand


def by_hand_plant():
    return plant_of(
        part("K1", "controller", 50_000, 4), part("K2", "controller", 50_000, 4),
        part("W9", "cable", 400_000, 4, joins=["K1", "K2"]), part("R", "rack", 120_000, 3),
        part("W1", "cable", 400_000, 5, joins=["K1", "K2", "R"]),
        part("G1", "pump", 12_000, 8, joins=["R"]), part("G2", "pump", 12_000, 8, joins=["R"]),
        pair={"units": ["K1", "K2"], "sync": ["W9"], "coverage": 0, "restart_h": 0.75, "standby_ratio": 0},
        changeover=[{"name": "pumps", "parts": ["G1", "G2"], "starts": 0, "by_hand_h": 0.5}],
        function=[{"name": "run", "reached": ["R"], "needs": any_of("G1", "G2")}],
        costs={"step": [{"name": "late", "function": "run", "longer_than_min": 0, "cost": 0, "cost_per_h": 60}]},
        variant=[{"name": "two"}, {"name": "one", "remove": ["K2", "W9"]}])


def test_a_standby_started_by_hand_takes_over_in_no_run():
    plant = by_hand_plant()
    assert effect_of(plant, "K1: no power").leads_after is None
    assert effect_of(plant, "K2: no power", leader="K2").leads_after is None
    assert effect_of(plant, "K2: no power").leads_after == "K1"


def test_the_rig_of_such_a_standby_waits_for_somebody_to_start_it():
    """On the screen as in the papers: K2 stands stopped, control is lost, and comes back by hand."""
    rig = Rig(by_hand_plant())
    rig.wait(5)
    rig.switch_on("K1: no power")
    rig.wait(60)
    assert not rig.plant_state().works["run"]
    rig.switch_off("K2: stopped")
    rig.wait(60)
    assert rig.plant_state().works["run"]


def test_the_sheet_of_such_a_standby_asks_for_the_start_and_no_takeover():
    steps = steps_of(Basis(by_hand_plant(), date=""))
    assert {step.type for step in steps} == {"check", "fail state", "must not switch", "return to normal"}
    starts = [step for step in steps if "by hand, as instructed, within 45 min" in step.action]
    assert [step.effect.leads_after for step in starts] == ["K2", "K1"]
    assert [step for step in steps if "run again within 30 min, started by hand" in step.expected]
    paper = make_paper(by_hand_plant(), "switchover_test", date="").markdown()
    assert "takes over only once somebody has started it" in paper and "plant file counts with" not in paper


def two_lines(restart_h=0.75, line_h=500.0, repair_h=20.0):
    """Return a pair started by hand with a line and a feed for each unit; only lines ever fail."""
    return plant_of(
        part("T1", "supply", 1e9, 4), part("T2", "supply", 1e9, 4),
        part("K1", "controller", 1e9, 4, fed_by=["T1"]), part("K2", "controller", 1e9, 4, fed_by=["T2"]),
        part("R", "rack", 1e9, 3), part("L1", "cable", line_h, repair_h, joins=["K1", "R"]),
        part("L2", "cable", line_h, repair_h, joins=["K2", "R"]),
        pair={"units": ["K1", "K2"], "coverage": 0, "restart_h": restart_h},
        costs={"step": [{"name": "late", "function": "run", "longer_than_min": 0, "cost": 10}]},
        function=[{"name": "run", "reached": ["R"]}])


def test_a_cut_line_of_the_leader_stops_the_plant_until_somebody_starts_the_other_unit():
    """Lives of the two lines, event by event: the leader stays until its line is lost and its partner
    is started, or its line is repaired first. Within four standard errors.
    """
    plant, rng = two_lines(), np.random.default_rng(7)
    rates = {"fails": 1 / 500, "restored": 1 / 20, "started": 1 / 0.75}
    seen = []
    for _ in range(20):
        now, down_h, outages, leads, good, up = 0.0, 0.0, 0, 0, [True, True], True
        while now < 100_000:
            ways = [("restored" if not each else "fails", n) for n, each in enumerate(good)]
            ways += [("started", 1 - leads)] * (not good[leads] and good[1 - leads])
            rate = [rates[what] for what, _ in ways]
            step_h = rng.exponential(1 / sum(rate))
            now, down_h = now + step_h, down_h + step_h * (not up)
            what, n = ways[rng.choice(len(ways), p=np.array(rate) / sum(rate))]
            if what == "started":
                leads = n
            else:
                good[n] = what == "restored"
            outages += up and not good[leads]
            up = good[leads]
        seen.append((outages / now, down_h / now))
    block = plant.block("run")
    for mean, error, found in zip(np.mean(seen, 0), np.std(seen, 0, ddof=1) / 20**0.5,
                                  (block.failures_per_h, block.unavailability), strict=True):
        # the other line out as well: the sums let the first to be repaired lead, whichever led
        assert abs(found - mean) < 4 * error + 0.04 * mean
    cut_off = plant.cut_off(plant.condition("run"))  # those of the first unit first, each for half of the time
    assert [{each.name for each in cut_off[:2]}, {each.name for each in cut_off[2:]}] == [{"L1", "T1"}, {"L2", "T2"}]
    line = max(cut_off, key=lambda each: each.rate_per_h)
    assert (line.rate_per_h, line.down_h) == pytest.approx((1 / 1000, 1 / (1 / 0.75 + 1 / 20)), rel=1e-12)
    (way,) = [each for each in causes_of(plant, "run") if each.name == "K1+K2 way lost"]
    assert way.mean_down_h == pytest.approx(1 / (1 / 0.75 + 1 / 20), rel=1e-6)
    assert way.outages_per_year == pytest.approx(8760 / (500 + way.mean_down_h), rel=1e-6)


def test_the_line_from_here_and_the_sums_count_the_same_of_such_a_standby():
    """On the rig K2 waits stopped: what cuts off K1 is lost, from here as in the long run."""
    rig = Rig(two_lines(line_h=400_000.0, repair_h=5.0))
    rig.wait(5)
    state = rig.plant_state()
    assert {"K1", "T1", "L1"} <= {*state.next_failures["run"]}
    assert state.failures_per_h["run"] == pytest.approx(state.healthy_failures_per_h["run"], rel=1e-3)
    rig.switch_on("L1: cut")
    rig.wait(5)
    assert not rig.plant_state().works["run"]
    # somebody starts K2, and then every failure of K2, its feed and its line is one that stops it
    rig.switch_off("K2: stopped")
    rig.wait(60)
    assert {"K2", "T2", "L2"} <= {*rig.plant_state().next_failures["run"]}


def test_the_papers_share_out_what_cuts_off_a_leader():
    plant = two_lines()
    shared = contributions_of(plant)
    brings = {each.name: down for each, down in shared.down_min_per_year["run"].items()}
    assert brings["L1"] == brings["L2"]
    assert not shared.beside
    said = make_paper(by_hand_plant(), "comparison", date="").markdown()
    assert "until somebody has started the other one" not in said
    assert "still asks the racks" not in said and "gap of each switchover" not in said


def test_what_is_done_by_hand_is_no_doubt_and_no_share_that_is_unsure():
    plant = by_hand_plant()
    found = [rule for _, rule, _, _ in complaints(plant.document, schema())]
    assert not [rule for rule in found if "0.8 to 0.999" in rule or "never costs" in rule]
    keys = {each.key for each in assumptions(plant, "two", "one")}
    assert "pair: restart_h" in keys and "pair: coverage" not in keys


def test_a_price_between_limits_pays_back_between_two_times():
    plant = plant_of(part("A", mtbf_h=8_756, mttr_h=4), costs={"step": [
        {"name": "late", "function": "run", "longer_than_min": 0, "cost_per_h": 1}]},
        spare=[{"name": "a", "parts": ["A"], "stock": 0, "delivery_days": 1, "price": 24,
                "range": {"price": [12, 48]}}])
    # About one failure a year, 24 h of waiting at 1 an hour: 24 a year.
    (row,) = [row for table in make_paper(plant, "spares_plan", date="").tables if table.main for row in table.rows]
    assert row["back"] == "0.5 a to\n2 a"


def test_with_one_crew_a_spare_saves_what_the_plant_with_it_has():
    """The wait for a part keeps no crew: the loss without a spare against the same file with one."""
    tables = {"needs": any_of("A", "B"), "people": {"crews": 1}, "costs": {"step": [
        {"name": "late", "function": "run", "longer_than_min": 0, "cost_per_h": 10}]}}

    def with_stock(stock):
        return plant_of(part("A", mtbf_h=5_000, mttr_h=10), part("B", mtbf_h=3_000, mttr_h=20), **tables,
                        spare=[{"name": "a", "parts": ["A"], "stock": stock, "delivery_days": 4, "price": 1}])

    none, one = (sum(each.loss_per_year for each in losses(with_stock(stock))) for stock in (0, 1))
    for stock in (0, 1):
        main = make_paper(with_stock(stock), "spares_plan", date="").main
        (row,) = [row for row in main.csv_rows if row["part"].startswith("a: ")]
        assert float(row["more_loss_EUR_per_year_without"]) == pytest.approx(none - one, rel=1e-4)
