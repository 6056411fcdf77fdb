"""The slips of a formula, worked by hand: their values, ranks, entries in the register, and words."""

import math
import tomllib
from pathlib import Path

import pytest

from lessons.exercises.far_off import far_off
from lessons.exercises.formulas import Spoken, is_whole_sum, route, tree_of, worked_out
from lessons.exercises.near_misses import Slips, _Generic, value_of
from lessons.exercises.quantities import unit
from lessons.exercises.slip_kinds import comparable, key_of, ratio_of

BY_HAND = tomllib.loads(Path(__file__).with_name("slips_by_hand.toml").read_text("utf-8"))["formula"]
LINES = {"per_a": "8760 / (mtbf_h + mttr_h)", "down_min": "per_a * mttr_h * 60"}
NUMBERS = {"mtbf_h": 100.0, "mttr_h": 10.0}
# What a sum by hand may use.
WORKED = {name: getattr(math, name) for name in ("exp", "log", "log10")}


def rows_of(text):
    """Yield rank, entry, id and value of each slip of a table."""
    for line in text.strip().splitlines():
        rank, rows = line.split(maxsplit=1)
        for row in rows.split("; "):
            said, _, worked = row.partition(" = ")
            yield int(rank), *said.split(maxsplit=1), eval(worked, dict(WORKED))


def slips_of(text, own="h", numbers=NUMBERS, inside=LINES, **more):
    return Slips(tree_of(text, inside), own, Spoken({}), tuple(numbers), **more)


def values(text, own="min/a", lines=LINES, numbers=NUMBERS, **more):
    """Return the value of each single slip by its id."""
    slips = Slips(tree_of(text, lines), own, Spoken({}), tuple(numbers), **more)
    return {slip.id: value_of(slip.tree, numbers.__getitem__) for slip in slips.single}


@pytest.mark.parametrize("formula", BY_HAND, ids=lambda formula: formula["text"])
def test_all_slips_of_a_formula_by_hand(formula):
    """None is missing, none is there that nobody has worked, and each has its value."""
    numbers, text = formula["numbers"], formula["text"]
    made = slips_of(text, formula["own"], numbers, formula.get("lines", {}), sample=numbers,
                    shares=formula.get("shares", ()), lines=formula.get("known", ()))
    leaf = (numbers | formula.get("told", {})).__getitem__
    kinds = tuple(formula.get("kinds", ("",)))
    found = [(slip.rank, slip.entry, slip.id, value_of(slip.tree, leaf)) for slip in made.single
             if not slip.id.startswith("factor") and slip.id.startswith(kinds)]
    by_hand = [*rows_of(formula["slips"])]
    assert [one[:3] for one in found] == [one[:3] for one in by_hand]
    assert [one[3] for one in found] == pytest.approx([one[3] for one in by_hand], rel=1e-12)
    said = [f"{slip.id} = {slip.does}: {slip.asks}" for slip in made.single]
    assert [line for line in formula.get("says", "").strip().splitlines() if line not in said] == []


def test_factors_by_hand():
    found = {slip.id: (slip.rank, value_of(slip.tree, {"a_h": 6.0, "b_h": 9.0}.__getitem__))
             for slip in slips_of("a_h + b_h", numbers=("a_h", "b_h")).single if "factor: " in slip.id}
    # minutes, seconds, thousands, days, a year in hours and in days, per cent, months, and small ones
    factors = (60, 60 * 60, 1000, 24, 24 * 365, 365, 100, 12, 30, 7, 3, 4)
    by_hand = {"factor: too large by 2": (2, 30.0)}
    for factor in factors:
        by_hand[f"factor: too large by {factor}"] = (3, pytest.approx(15 * factor, rel=1e-12))
        by_hand[f"factor: too small by {factor}"] = (3, pytest.approx(15 / factor, rel=1e-12))
    assert found == by_hand  # half of it is the mean


def test_factors_of_a_rest_by_hand():
    found = values("a_percent + 0.5 * b_percent", "%", {}, {"a_percent": 60.0, "b_percent": 60.0})
    # 90 %, so that a rest of 10 % is 60, ... times too large or too small
    for factor in (60, 3600, 1000, 24, 8760, 365, 100, 12):
        assert found[f"factor: rest too large by {factor}"] == pytest.approx(100 - 10 * factor, rel=1e-12)
        assert found[f"factor: rest too small by {factor}"] == pytest.approx(100 - 10 / factor, rel=1e-12)
    assert not {"factor: rest too large by 2", "factor: rest too large by 30"} & set(found)


@pytest.mark.parametrize(("constant", "others"), [
    # What is counted wrong: seconds for minutes, weeks or days for the hours of a year, half a day.
    (2, {3}), (60, {100, 60 * 60}), (60 * 60, {60}), (1000, {100, 60}), (24, {60, 24 / 2}),
    (24 * 365, {365, 52}), (7 * 24, {7, 24}), (60 * 60 * 1000, {60 * 60, 60 * 1000, 1000}),
    (365, {12 * 30, 52, 12}), (5, set()), (61, set()),
])
def test_constants_for_others_by_hand(constant, others):
    found = values(f"{constant} + times", "", {}, {"times": 3})
    named = {key.partition(", ")[2]: value for key, value in found.items() if key.startswith("other const")}
    assert named == {f"{other:g}": other + 3 for other in others}


@pytest.mark.parametrize(("constant", "is_one"), [
    (8760, True), (365, True), (168, True), (24, True), (60, False), (3600, False), (100, False)])
def test_the_hours_of_a_period_are_taken_for_the_end(constant, is_one):
    found = values(f"{constant} * times * share", "", {}, {"times": 3, "share": 0.7})
    assert found.get(f"for the end: {constant}") == (constant if is_one else None)


# Chances of being wrong that go with 90, 95 and 99 %, and one over those of 90 and 95 %.
@pytest.mark.parametrize(("constant", "others"), [
    (0.05, {0.1, 0.01}), (0.1, {0.05, 0.01}), (10, {20}), (20, {10}), (0.01, set()), (5, set())])
def test_other_confidences_by_hand(constant, others):
    found = values(f"{constant} ** times", "", {}, {"times": 3})
    named = {key.partition(", ")[2]: value for key, value in found.items() if key.startswith("other conf")}
    assert named == {f"{other:g}": pytest.approx(other**3, rel=1e-12) for other in others}


@pytest.mark.parametrize(("name", "others"), [
    ("a_h", {"min": 60, "d": 1 / 24}), ("a_min", {"h": 1 / 60}), ("a_d", {"h": 24}), ("a_weeks", {"d": 7}),
    ("a_ms", {"s": 0.001}), ("years", {"months": 12}), ("a_s", {}), ("a_percent", {}), ("count", {})])
def test_quantities_in_other_units_by_hand(name, others):
    slips = Slips(tree_of(f"5 * {name} + 100", {}), "", Spoken({"a_weeks": "the weeks | weeks"}), (name,))
    found = {slip.id: value_of(slip.tree, {name: 2.0}.__getitem__) for slip in slips.single}
    named = {key.partition(", ")[2]: value for key, value in found.items() if key.startswith("in other")}
    assert named == {other: pytest.approx(10 * factor + 100, rel=1e-12) for other, factor in others.items()}


@pytest.mark.parametrize(("name", "is_counted"), [
    ("years", True), ("days", True), ("a_d", True), ("times", True), ("a_weeks", True), ("a_h", False),
    ("a_min", False), ("share", False), ("a_percent", False)])
def test_one_more_is_counted_of_what_is_counted(name, is_counted):
    slips = Slips(tree_of(f"5 * {name} + 100", {}), "", Spoken({"a_weeks": "the weeks | weeks"}), (name,), ["share"])
    found = {slip.id: value_of(slip.tree, {name: 2.0}.__getitem__) for slip in slips.single}
    named = {key: value for key, value in found.items() if key.endswith(f"{name}") and key.startswith(
        ("one more: ", "one less: ", "half more", "half less"))}
    assert named == ({f"one more: {name}": 115, f"one less: {name}": 105, f"half more: {name}": 112.5,
                      f"half less: {name}": 107.5} if is_counted else {})


@pytest.mark.parametrize(("own", "right", "by_hand"), [
    # 1 h 30 min, and 1.5 h; 2 h 5 min, and 2.083 h; 1 min 30 s; half an hour as 30
    ("h", 1.5, {"clock": 1.3, "clock back": 1 + 0.5 / 0.6}),
    ("h", 125 / 60, {"clock": 2.05, "clock of one figure": 2.5, "clock back": 2 + 5 / 36}),
    ("h/a", 1.5, {"clock": 1.3, "clock back": 1 + 0.5 / 0.6}),
    ("min", 90.5, {"clock": 90.3, "clock back": 90 + 0.5 / 0.6, "clock, in h": 60 + 60 * 0.6 * 30.5 / 60,
                   "clock back, in h": 60 + 60 * 30.5 / 60 / 0.6}),
    ("s", 90.0, {"clock, in min": 78.0, "clock back, in min": 60 * (1 + 0.5 / 0.6)}),
    ("d", 1.5, {}), ("ms", 1.5, {}), ("", 1.5, {}), ("%", 1.5, {}),
])
def test_what_the_clock_makes_of_a_time_by_hand(own, right, by_hand):
    found = values("2 * half", own, {}, {"half": right / 2})
    named = {key: value for key, value in found.items() if key.startswith("clock") and value > 0}
    assert named == {key: pytest.approx(value, rel=1e-9) for key, value in by_hand.items()}


@pytest.mark.parametrize(("minutes", "behind"), [(0.4, None), (1, 0.1), (9, 0.9), (9.6, None), (30, None)])
def test_a_clock_of_one_figure_has_one_to_nine_minutes(minutes, behind):
    value = values("2 * half", "h", {}, {"half": (3 + minutes / 60) / 2})["clock of one figure"]
    assert value == pytest.approx(3 + behind if behind else -3 - minutes / 60, rel=1e-9)


def test_two_slips_at_a_time_by_hand():
    slips = slips_of("down_min", "min/a")
    named = {slip.id: slip for slip in slips.single}
    lost, hours, all_over, days = map(named.get, (
        "left out: mttr_h", "left out: 60", "turned over: all", "other constant: 8760, 365"))

    def both(*two):
        return [(one.id, one.entry, one.rank, one.does, one.asks, value_of(one.tree, NUMBERS.__getitem__))
                for one in slips.both(*two)]

    rate = 8760 / 110
    without, asks = "comes out without the MTTR of {mttr_h} h", "what does it change"
    assert both(lost, all_over) == [("left out: mttr_h; turned over: all", "S10", 4,
                                     f"{without}, and turned over", asks, pytest.approx(1 / (rate * 60), rel=1e-12))]
    assert both(lost, hours) == [("left out: mttr_h; left out: 60", "S10", 4,
                                  f"{without}, and without the 60 min of an hour", asks,
                                  pytest.approx(rate, rel=1e-12))]
    # 8760 in two factors
    twice = slips_of("8760 * 8760 / mtbf_h", "h")
    first = next(slip for slip in twice.single if slip.id == days.id)
    two = [value_of(one.tree, NUMBERS.__getitem__) for one in twice.both(first, days)]
    assert two == [365 * 365 / 100]
    assert [one.does for one in twice.both(first, days)] == [f"{days.does}, in two places"]


@pytest.mark.parametrize(("value", "found"), [
    # 8760 / 110 * 600 = 47 781.8; without 60 and the MTTR 79.64, and 0.9 % more; 1.1 % more is too far
    (79.64, True), (80.3, True), (80.6, False), (79.0, True), (78.7, False)])
def test_two_slips_in_two_factors_come_near_a_value(value, found):
    slips = slips_of("down_min", "min/a")
    worked = {slip: value_of(slip.tree, NUMBERS.__getitem__) for slip in slips.single}
    pairs = {one.id for one in slips.double(value, 8760 / 110 * 600, worked)}
    assert ("left out: mttr_h; left out: 60" in pairs) is found


@pytest.mark.parametrize(("value", "pair"), [
    # of 6 + 9 + 20 = 35 two are left out; the second for the third and the first left out
    (20.0, "left out of the sum: a_h; left out of the sum: b_h"),
    (20.0 + 20.0, "left out of the sum: a_h; in place of: b_h, c_h"),
    # the sum without the 6, turned over
    (1 / 29, "left out of the sum: a_h; turned over: all"),
])
def test_two_slips_in_two_terms_by_hand(value, pair):
    numbers = {"a_h": 6.0, "b_h": 9.0, "c_h": 20.0}
    slips = slips_of("a_h + b_h + c_h", numbers=numbers)
    worked = {slip: value_of(slip.tree, numbers.__getitem__) for slip in slips.single}
    found = {one.id: value_of(one.tree, numbers.__getitem__) for one in slips.double(value, 35.0, worked)}
    assert found[pair] == pytest.approx(value, rel=1e-12)
    assert [one for one in found if one.endswith("turned over: all")] == [pair] * (value < 1)
    # What goes without saying is not told first: a given, the whole, one for another.
    assert not [one for one in found if one.startswith(("given for", "turned over: all", "in place"))]


def test_what_is_left_out_stands_for_nothing_else():
    """8760 / (10 + 10) * 60, where the MTTR stands for the MTBF and nowhere else."""
    slips = slips_of("down_min", "min/a")
    worked = {slip: value_of(slip.tree, NUMBERS.__getitem__) for slip in slips.single}
    pairs = {one.id for one in slips.double(8760 / 20 * 60, 8760 / 110 * 600, worked)}
    assert "left out: mttr_h; in place of: mtbf_h, mttr_h" not in pairs


def test_twelve_pairs_are_tried():
    """Of six terms two can be left out; two of the first twelve pairs are one and the same."""
    numbers = {f"{letter}_h": 1.0 for letter in "abcdef"}
    slips = slips_of(" + ".join(numbers), numbers=numbers, sample=numbers)
    lost = {slip: 5.0 for slip in slips.single if slip.id.startswith("left out of")}
    assert len(lost) == 6 and len([*slips.double(4.0, 6.0, lost)]) == 12 - 2


def test_nobody_takes_one_count_for_another_besides():
    def both(**numbers):
        slips = slips_of("n * a_h + k * b_h", numbers=(*numbers, "a_h", "b_h"), sample=numbers)
        named = {slip.id: slip for slip in slips.single}
        return [one.id for one in slips.both(named["left out: a_h"], named["in place of: k, n"])]

    assert both(n=3, k=5) == []
    assert both(n=3.5, k=5.5) == ["left out: a_h; in place of: k, n"]


def test_one_below_the_stroke_and_another_in_its_place_by_hand():
    """50 / (2 x 8) with 10 for the 8 above the stroke: 50 x 10 / 2."""
    numbers = {"a_h": 50.0, "b_h": 8.0, "c_h": 10.0}
    slips = slips_of("a_h / (2 * b_h)", numbers=numbers)
    worked = {slip: value_of(slip.tree, numbers.__getitem__) for slip in slips.single}
    found = {one.id: value_of(one.tree, numbers.__getitem__) for one in slips.double(250.0, 3.125, worked)}
    assert found["turned over: b_h; in place of: b_h, c_h"] == 250.0


def test_givens_that_could_be_taken_for_the_result():
    slips = slips_of("a_min / 60 + b_h", numbers=("a_min", "b_h", "c_s", "bound_h", "share"), shares=["share"])
    # in hours: 30 min are half of one, 36 s a hundredth
    told = {"a_min": 30.0, "b_h": 2.0, "c_s": 36.0, "bound_h": 9.0, "share": 0.5}
    assert {slip.id: value_of(slip.tree, told.__getitem__) for slip in slips.given} == {
        "given for the end: a_min": 0.5, "given for the end: b_h": 2.0,
        "given for the end: c_s": pytest.approx(0.01, rel=1e-12), "given for the end: bound_h": 9.0}
    assert slips_of("a_h * 1", numbers=("a_h",)).given == ()  # it is the result


def test_a_slip_that_makes_no_difference_is_none():
    # one over one, one twice, a term of nothing
    found = values("1 * a_h + 0 * b_h", "h", {}, {"a_h": 6.0, "b_h": 9.0})
    assert not {"left out: 1", "turned over: 1", "left out of the sum: product of b_h"} & set(found)
    assert value_of(tree_of("a_h - a_h", {}), {"a_h": 1.0}.__getitem__) is None
    assert value_of(tree_of("1 / (a_h - a_h)", {}), {"a_h": 1.0}.__getitem__) is None
    assert value_of(tree_of("math.log(0 * a_h)", {}), {"a_h": 1.0}.__getitem__) is None
    assert value_of(tree_of("1e200 * a_h", {}), {"a_h": 1e200}.__getitem__) is None  # inf


# ---------------------------------------------------------------- one slip each


@pytest.mark.parametrize(("slip", "value"), [
    # 8760 / 110 = 79.636 a year; × 10 h × 60 = 47 781.8 min a year
    ("left out: mttr_h", 8760 / 110 * 60), ("left out: per_a", 10 * 60),
    ("left out: 60", 8760 / 110 * 10), ("left out of the sum: mtbf_h", 8760 / 10 * 10 * 60),
    ("turned over: mttr_h", 8760 / 110 / 10 * 60), ("turned over: all", 110 / (8760 * 10 * 60)),
    ("complement: all", 8760 * 60 - 8760 / 110 * 600), ("twice: mttr_h", 8760 / 110 * 100 * 60),
    ("in place of: mtbf_h, mttr_h", 8760 / 20 * 600), ("sign: mttr_h", 8760 / 90 * 600),
    ("given for the end: mtbf_h", 6000), ("line for the end, number: per_a", 8760 / 110),
    ("other constant: 60, 100", 8760 / 110 * 1000), ("other constant: 8760, 365", 365 / 110 * 600),
    ("quotient: mttr_h, mtbf_h", 0.1),
])
def test_slips_of_a_down_time_by_hand(slip, value):
    assert values("down_min")[slip] == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("text", "numbers", "slip", "value"), [
    ("share ** 2", {"share": 0.2}, "power lost: share", 0.2),
    ("share ** 2", {"share": 0.2}, "power added: share", 0.4),
    ("share ** 2", {"share": 0.2}, "one more: power of share", 0.008),
    ("share ** 2", {"share": 0.2}, "complement: share", 0.64),
    ("1 - math.exp(-a / b)", {"a": 1.0, "b": 4.0}, "complement: exp of a, b", math.exp(-0.25)),
    ("beats * beat_ms + margin_ms", {"beats": 3, "beat_ms": 20.0, "margin_ms": 15.0},
     "one more: beats", 95.0),
    ("beats * beat_ms + margin_ms", {"beats": 3, "beat_ms": 20.0, "margin_ms": 15.0},
     "bracket set: beats", 105.0),
    ("beats * beat_ms + margin_ms", {"beats": 3, "beat_ms": 20.0, "margin_ms": 15.0},
     "half more: beats", 85.0),
    ("a_min + b_min + c_min", {"a_min": 1.0, "b_min": 2.0, "c_min": 4.0},
     "some alone: b_min", 2.0),
    ("a_min + b_min + c_min", {"a_min": 1.0, "b_min": 2.0, "c_min": 4.0}, "mean: sum", 7 / 3),
    ("9 / a_h + 9 / b_h", {"a_h": 6.0, "b_h": 9.0}, "values added: sum", 0.6),
    ("9 / a_h + 9 / b_h", {"a_h": 6.0, "b_h": 9.0}, "mean of values: a_h, b_h", 1.2),
    ("a_h / (a_h + b_h)", {"a_h": 1.0, "b_h": 2.0}, "doubled: a_h", 0.5),
    ("a_h - b_h", {"a_h": 6.0, "b_h": 9.0}, "left out of the sum: a_h", 9.0),
    ("1 - 0.05 ** (1 / a_h)", {"a_h": 1.0}, "other confidence: 0.05, 0.1", 0.9),
    ("1 / (1 / a_h + 1 / b_h)", {"a_h": 60.0, "b_h": 90.0}, "values added: sum", 150.0),
    ("9.5 * a_h", {"a_h": 1.0}, "clock", 9.3),
    # 90 is 3/2 of 60, and 40 is 2/3 of it; 1 / (1/30 + 1/60) = 20
    ("a_h / 2 + a_h", {"a_h": 60.0}, "ratio turned over: a_h", 40.0),
    ("a_h / 2 + a_h", {"a_h": 60.0}, "turned over and added: sum", 20.0),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "carry: 10", 25.0),
    ("0.05 ** (1 / a_h)", {"a_h": 10.0}, "rule of three: a_h", 0.7),
    ("2 * 24 * times", {"times": 6.0}, "added: times, constants", 54.0),
    ("beats * 8760 / a_h", {"beats": 2.0, "a_h": 4380.0}, "turned over: 8760, a_h", 1.0),
    ("math.log(20) / (1 / a_h + 1 / b_h)", {"a_h": 60.0, "b_h": 30.0}, "share of: a_h", 3.0),
    ("9 / a_h + 9 / b_h + 9 / c_h", {"a_h": 6.0, "b_h": 9.0, "c_h": 3.0}, "largest alone: sum", 3.0),
    ("9 / a_h + 9 / b_h + 9 / c_h", {"a_h": 6.0, "b_h": 9.0, "c_h": 3.0}, "smallest alone: sum", 1.0),
    ("9 / a_h + 9 / b_h", {"a_h": 4.0, "b_h": 9.0}, "geometric mean of values: a_h, b_h", 1.5),
    ("5 * a_h + 5 * b_h", {"a_h": 6.0, "b_h": 9.0}, "left out everywhere: 5", 15.0),
    ("a_s + b_s + c_s + d_s + e_s", {"a_s": 1.0, "b_s": 2.0, "c_s": 4.0, "d_s": 8.0, "e_s": 16.0},
     "left out together: a_s, c_s", 26.0),
    ("share * (1 - b)", {"share": 0.2, "b": 0.3}, "added: share, sum of b", 0.9),
    ("1 - share", {"share": 0.2}, "squared: share", 0.96),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "half of: a_h", 12.0),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "in other units: a_h, min", 369.0),
    ("2 * a_h", {"a_h": 6.0, "b_h": 9.0}, "one term more: b_h", 3.0),
    ("9 * a_h / b_h", {"a_h": 6.0, "b_h": 9.0}, "one ratio more: a_h, b_h", 4.0),
    ("2 * a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "share: a_h, b_h", 0.4),
    ("math.exp(-a_h / 4)", {"a_h": 6.0}, "exp of one: exp", math.exp(-1)),
    ("2 - math.expm1(-a_h / 4)", {"a_h": 6.0}, "exp of one: exp", 3 - math.exp(-1)),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "twice in the sum: b_h", 24.0),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "one factor more: b_h", 135.0),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "one divisor more: a_h", 2.5),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "half of: b_h", 10.5),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "factor: too large by 24", 360.0),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "factor: too small by 60", 0.25),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "period for the end: day", 24.0),
    ("a_h + b_h", {"a_h": 6.0, "b_h": 9.0}, "period for the end: week", 168.0),
    ("a_h * 3 - b_h", {"a_h": 6.0, "b_h": 4.0}, "difference: a_h, b_h", 2.0),
    ("a_h * b_h / 4 + c_h", {"a_h": 6.0, "b_h": 8.0, "c_h": 3.0}, "exchanged: b_h, c_h", 12.5),
    ("math.log(20) * a_h", {"a_h": 6.0}, "log to 10: log", 6 * math.log10(20)),
    ("math.log(20) * a_h", {"a_h": 6.0}, "log left out: log", 120.0),
    ("math.log(20) * a_h", {"a_h": 6.0}, "log left out: log, turned over", 6 / 20),
    ("math.log(20) * a_h", {"a_h": 6.0}, "other multiple: 5", 30.0),
    ("share * a_h", {"share": 0.2, "a_h": 9.0}, "per cent: share", 180.0),
    ("share * a_h", {"share": 0.2, "a_h": 9.0}, "square alone: share", 0.04),
    # 9 x 9 / 6
    ("a_h ** 2 / b_h", {"a_h": 6.0, "b_h": 9.0}, "exchanged: a_h, b_h", 81 / 6),
    ("8760 * 3600 / a_h", {"a_h": 6.0}, "other constant: 3600, 60", 8760 * 10.0),
    ("8760 * 3600 / a_h", {"a_h": 6.0}, "other constant: 8760, 52", 52 * 600.0),
    ("168 * 24 * a_h", {"a_h": 2.0}, "other constant: 24, 12", 4032.0),
    ("1000 * times", {"times": 3}, "other constant: 1000, 60", 180.0),
    ("beats * beat_ms + margin_ms", {"beats": 3, "beat_ms": 20.0, "margin_ms": 15.0}, "one less: beats", 55.0),
    ("beats * beat_ms + margin_ms", {"beats": 3, "beat_ms": 20.0, "margin_ms": 15.0}, "half less: beats", 65.0),
    ("7 * times", {"times": 3}, "one too many: all", 22.0), ("7 * times", {"times": 3}, "one too few: all", 20.0),
    # 2 * (6 + 9) + 5 * (6 + 9)
    ("2 * a_h + 5 * b_h", {"a_h": 6.0, "b_h": 9.0}, "sum for each: a_h, b_h", 105.0),
])
def test_slips_of_other_formulas_by_hand(text, numbers, slip, value):
    shares = [name for name in numbers if name == "share"]
    own = "h" if "a_h" in numbers else ""
    assert values(text, own, {}, numbers, shares=shares)[slip] == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("slip", "value"), [
    # 100 x (1 - exp(-1/4)) per cent
    ("exp alone: -1", 100 * math.exp(-1)), ("exp alone: b_h, a_h", 100 * math.exp(-4)),
    ("quotient in per cent: a_h, b_h", 25.0), ("rest of a quotient: a_h, b_h", 75.0),
    ("quotient in per cent: b_h, 8760", 400 / 8760), ("rest of a quotient: 1, b_h", 75.0),
    ("factor: rest too large by 2", None), ("factor: rest too small by 12", 100 - 100 * math.exp(-0.25) / 12),
    ("factor: too small by 100", 1 - math.exp(-0.25)),
])
def test_slips_of_a_chance_in_per_cent_by_hand(slip, value):
    found = values("100 * (1 - math.exp(-a_h / b_h))", "%", {}, {"a_h": 1.0, "b_h": 4.0})
    assert found.get(slip) == (value and pytest.approx(value, rel=1e-12))
    survives = values("100 * math.exp(-a_h / b_h)", "%", {}, {"a_h": 1.0, "b_h": 4.0})
    assert survives["rest of exp alone: -1"] == pytest.approx(100 - 100 * math.exp(-1), rel=1e-12)


def test_no_slip_divides_by_a_bound():
    bound = values("down_min", numbers=NUMBERS | {"bound_min": 1.0})
    assert "given for the end: bound_min" in bound
    assert not {each for each in bound if each.startswith(("quotient", "product")) and "bound" in each}


def test_slips_in_what_is_rounded_up_are_kept_apart():
    """All are rounded up to 1, and another confidence and the other share are two slips."""
    line = "float(math.ceil(math.log(luck) / math.log(a_h)))"
    for text in (line, "tests"):
        found = values(text, "", {"luck": "1 - confidence", "tests": line},
                       {"confidence": 0.95, "a_h": 0.5}, shares=["luck"])
        assert {"complement: luck", "other confidence: 90 %"} <= set(found)


def test_an_id_does_not_depend_on_the_numbers():
    assert values("down_min").keys() == values("down_min", numbers={
        "mtbf_h": 60_000.0, "mttr_h": 4.0}).keys()


# ---------------------------------------------------------------- units, and how far off an answer is


@pytest.mark.parametrize(("have", "want", "ratio"), [
    ("min", "h", 1 / 60), ("h", "min", 60), ("min/a", "h/a", 1 / 60), ("1/h", "1/a", 8760),
    # a time is a time a year, where that is asked, and the other way round
    ("h", "min/a", 60), ("min", "h/a", 1 / 60), ("d", "d/a", 1), ("h/a", "min", 60), ("min/a", "h", 1 / 60),
    ("h", "1/a", None), ("h", "%", None), ("EUR", "EUR/a", None), ("1/a", "h/a", None), ("h", "", None),
])
def test_units_that_may_be_taken_for_another(have, want, ratio):
    assert comparable(unit(have), unit(want)) is (ratio is not None)
    if ratio is not None:
        assert ratio_of(unit(have), unit(want)) == pytest.approx(ratio, rel=1e-12)


def test_numbers_of_no_meaning_lie_near_those_of_the_plant_and_apart():
    generic = _Generic({"a": 100.0, "none": 0.0, "endless": math.inf, "below": -5.0, "text": "x"})
    assert 93 <= generic["a"] <= 106
    others = [generic[name] for name in ("none", "endless", "below", "text", *map(str, range(30)))]
    assert all(0.93 * 1.3 <= value <= 1.06 * 1.3 for value in others)
    assert len({f"{value:.4g}" for value in others}) == len(others) and generic["a"] == generic["a"]


def test_parts_in_the_id_of_a_slip():
    assert [key_of(tree_of(text, LINES)) for text in (
        "per_a", "60", "0.05", "60 * mttr_h", "1 - share", "share ** 2", "math.exp(-mttr_h / mtbf_h)",
        "math.log(20)", "2 * 3")] == [
        "per_a", "60", "0.05", "product of mttr_h", "sum of share", "power of share", "exp of mttr_h, mtbf_h",
        "log", "product"]


def test_the_ladder_says_how_far_off():
    assert far_off(2100, 35)[1] == "is about 60 times too large"
    assert far_off(35, 2100)[1] == "is about 60 times too small"
    assert far_off(350, 35)[1] == "has its decimal point 1 place too far to the right"
    assert far_off(-35, 35)[1] == "has the other sign" and far_off(0, 35)[0] == "nothing"
    assert far_off(23.3, 35)[1] == "is too small by about a third"
    assert far_off(49, 35)[1] == "is too large by about two fifths"
    assert far_off(35 * 1.01, 35)[1] == "is too large by a little"


def test_a_part_is_told_within_a_quarter_of_itself():
    """The words against the part: 0.40 is no third."""
    told = {"a twentieth": 1 / 20, "a tenth": 1 / 10, "a seventh": 1 / 7, "a fifth": 1 / 5,
            "a quarter": 1 / 4, "a third": 1 / 3, "two fifths": 2 / 5, "a half": 1 / 2,
            "three fifths": 3 / 5, "two thirds": 2 / 3, "three quarters": 3 / 4}
    for part, value in told.items():
        assert far_off(100 + 100 * value, 100)[1] == f"is too large by about {part}"
    parts = [*told.items()]
    for (one, small), (other, large) in zip(parts, parts[1:], strict=False):
        # as many times more than the smaller one as less than the larger one
        between = 100 * math.sqrt(small * large)
        assert far_off(100 + 0.99 * between, 100)[1] == f"is too large by about {one}"
        assert far_off(100 + 1.01 * between, 100)[1] == f"is too large by about {other}"
    for percent in range(9, 80):
        words = far_off(100 + percent, 100)[1].partition("by about ")[2]
        assert abs(told[words] / (percent / 100) - 1) <= 1 / 4, percent


@pytest.mark.parametrize(("value", "right", "half", "said"), [
    # a power of ten within 2 in a thousand, or within half of the last figure given, or 2.5 %
    (350.6, 35, 0, "has its decimal point 1 place too far to the right"), (350.8, 35, 0, "is about 10 times too large"),
    (352, 35, 2.5, "has its decimal point 1 place too far to the right"), (352, 35, 1.5, "is about 10 times too large"),
    (358, 35, 50, "has its decimal point 1 place too far to the right"), (359, 35, 50, "is about 10 times too large"),
    (3500, 35, 0, "has its decimal point 2 places too far to the right"),
    (0.35, 35, 0, "has its decimal point 2 places too far to the left"),
    (3.5, 35, 0, "has its decimal point 1 place too far to the left"),
    # 2.4 times is twice, 2.5 and 3.4 times are three times, from 12 on one figure
    (249, 100, 0, "is about twice as large"), (250, 100, 0, "is about 3 times too large"),
    (349, 100, 0, "is about 3 times too large"), (100, 360, 0, "is about 4 times too small"), (1200, 100, 0, "is about 12 times too large"),
    (1190, 100, 0, "is about 12 times too large"), (1240, 100, 0, "is about 10 times too large"),
    (1600, 100, 0, "is about 20 times too large"), (100, 1600, 0, "is about 20 times too small"),
    (186, 100, 0, "is about twice as large"), (184, 100, 0, "is too large by about three quarters"),
    (100, 186, 0, "is too small by about a half"), (104.1, 100, 0, "is too large by about a twentieth"),
    (103.9, 100, 0, "is too large by a little"), (96.1, 100, 0, "is too small by a little"),
    (95.9, 100, 0, "is too small by about a twentieth"),
    (-1, 35, 0, "has the other sign"), (1, -35, 0, "has the other sign"), (-70, -35, 0, "is about twice as large"),
])
def test_how_far_off_by_hand(value, right, half, said):
    assert far_off(value, right, half)[1] == said


def test_the_rungs_of_the_ladder_and_how_near_a_power_of_ten_may_be_told():
    assert [far_off(value, 35)[0] for value in (0, -1, 350, 186, 65, 40, 36)] == [
        "nothing", "sign", "power of ten", "many times", "many times", "by a part", "by a little"]
    assert [far_off(371, 35, 50, most)[0] for most in (0.05, 0.07)] == ["many times", "power of ten"]


def test_a_route_puts_the_numbers_in():
    assert route("down_min", LINES, Spoken({})) == (
        "Rate = 8760 / ({mtbf_h} + {mttr_h}) = {per_a} a year. "
        "Down time = {per_a} × {mttr_h} × 60 = {down_min} min.")


@pytest.mark.parametrize(("line", "on_the_board"), [
    ("100 * math.exp(-mttr_h / mtbf_h)", "100 × exp(-{mttr_h} / {mtbf_h})"),
    ("math.expm1(mttr_h)", "exp({mttr_h}) - 1"),
    ("math.log(2) * mtbf_h", "ln(2) × {mtbf_h}"),
    ("mttr_h ** 2 / HOURS_PER_YEAR", "{mttr_h}^2 / 8760"),
    ("round(mtbf_h / mttr_h) * 2", "round({mtbf_h} / {mttr_h}) × 2"),
    ("1234567 * mttr_h", "1\u202f234\u202f567 × {mttr_h}"),
])
def test_a_route_writes_functions_as_on_a_board(line, on_the_board):
    assert route("share", {"share": line}, Spoken({})) == f"Share = {on_the_board} = {{share}}."


def test_a_route_is_arithmetic():
    with pytest.raises(ValueError, match="a route must be arithmetic over names"):
        route("share", {"share": "2 * (1 if mttr_h else 0)"}, Spoken({}))


@pytest.mark.parametrize(("text", "is_one"), [
    ("a + b", True), ("(a + b) / 60", True), ("60 * (a + b)", True), ("a + b * 2", True), ("a + (b + 1)", True),
    ("total", True), ("total + 1", True), ("a - b", True), ("a * (b + 1)", False), ("a + b / 2", False),
    ("a + 0.5", False), ("a", False), ("a * b", False), ("-a", False), ("a + c", False), ("a + d", False),
    ("a + math.sqrt(b)", False), ("a + half", False), ("half", False)])
def test_a_sum_of_whole_numbers(text, is_one):
    tree = tree_of(text, {"total": "a + b", "half": "a / 2"})
    assert is_whole_sum(tree, {"a": 40.0, "b": 75, "c": 1.5}) is is_one


@pytest.mark.parametrize(("text", "value"), [
    ("a + b * 2", 13), ("(a + b) * 2", 16), ("a - (b - 1)", -1), ("a / (b / 2)", 1.2), ("2 - a", -1), ("2 / a", 2 / 3),
    ("-a + b", 2), ("a ** 2", 9), ("abs(a - b)", 2), ("math.ceil(a / 2)", 2), ("math.sqrt(a * 12)", 6),
    ("math.exp(a)", math.e**3), ("math.expm1(a)", math.e**3 - 1), ("math.log(a)", math.log(3)), ("float(a)", 3),
    ("HOURS_PER_YEAR / a", 2920), ("a - b - 1", -3), ("a / b / 2", 0.3), ("2 * (a + b) / (b - a)", 8)])
def test_a_line_of_arithmetic_is_worked_as_python_works_it(text, value):
    assert worked_out(tree_of(text, {}), {"a": 3.0, "b": 5.0}.__getitem__) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(("name", "words", "said", "own"), [
    ("mtbf_h", "", "the MTBF of {mtbf_h} h", "h"), ("travel_min", "", "the travel of {travel_min} min", "min"),
    ("rate_per_a", "", "the rate of {rate_per_a} a year", "1/a"), ("rate_per_d", "", "the rate of {rate_per_d} a day", "1/d"),
    ("case_eur", "", "the case of EUR {case_eur}", "EUR"), ("price", "the price | EUR/a", "the price of EUR {price} a year", "EUR/a"),
    ("gap", "the time between | a", "the time between of {gap} years", "a"), ("gap", "the gap | 1", "the gap of {gap}", None),
    ("gap", "the {gap} gaps", "the {gap} gaps", None), ("gap", "the gap of a valve | h", "the gap of a valve ({gap} h)", "h"),
    ("gap", "the gap that nobody saw | h", "the gap that nobody saw ({gap} h)", "h"),
    ("gap", "the gap nobody saw | h", "the gap nobody saw of {gap} h", "h"), ("plant.part_h", "", "the part", "h")])
def test_how_a_quantity_is_spoken(name, words, said, own):
    names = Spoken({name: words} if words else {})
    assert names.given(name) == said
    assert getattr(names.unit_of(name), "text", None) == own


@pytest.mark.parametrize(("text", "said"), [
    ("60", "the 60 min of an hour"), ("3600", "the 3600 s of an hour"), ("24", "the 24 h of a day"),
    ("8760", "the 8760 h of a year"), ("365", "the 365 days of a year"), ("168", "the 168 h of a week"),
    ("1000", "the factor 1000"), ("100", "the factor 100 of per cent"), ("7", "the factor 7"),
    ("3600000", "the 3 600 000 ms of an hour"), ("525600", "the 525 600 min of a year"), ("a_h ** 2", "the power of the a of {a_h} h"),
    ("math.log(a_h)", "the logarithm"), ("math.expm1(a_h)", "the power of e"), ("abs(a_h)", "this part"),
    ("1 - share", "1 less the share of {share}"), ("100 - a_percent", "100 less the a of {a_percent} %"),
    ("2 - a_h", "the a of {a_h} h"), ("a_h * b_h", "the a of {a_h} h and the b of {b_h} h"),
    ("a_h * b_h * c_h", "the a of {a_h} h and the 2 other parts"), ("2 * 3", "the 6"),
    ("a_h + b_h + a_h", "the a of {a_h} h and the b of {b_h} h")])
def test_how_a_part_is_spoken(text, said):
    assert Spoken({}).spoken(tree_of(text, {})) == said


def test_a_unit_of_ones_own_is_counted_in_itself():
    bottles = Spoken({"held": "the bottles | bottle"}).unit_of("held")
    assert (bottles.text, bottles.kind, bottles.factor) == ("bottle", ("bottle", ""), 1.0)
