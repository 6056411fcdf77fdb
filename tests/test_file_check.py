"""Small plant files with one mistake each: all that is refused, and what stands in for it meanwhile."""

import copy
import functools

import pytest

from labkit.plant.file import schema
from labkit.plant.file_check import _mended
from labkit.plant.file_rules import complaints


def a_part(designation, kind="other", **more):
    return {"designation": designation, "what": kind, "kind": kind, "mtbf_h": 250_000, "mttr_h": 2} | more


def small_file(part=None, function=None, step=None, **tables):
    """A file of three parts and a function, with changes to the last part, the function and a cost step."""
    return {"format": 1, "plant": {"name": "x"}, "part": [a_part("S1"), a_part("S2"), a_part("S3") | (part or {})],
            "function": [{"name": "run", "needs": ["S1"]} | (function or {}), {"name": "rest", "needs": ["S2"]}],
            "costs": {"step": [{"name": "lost", "function": "rest", "longer_than_min": 5, "cost": 7} | (step or {})]},
            **tables}


def without(document, *path):
    *way, last = path
    del functools.reduce(lambda at, step: at[step], way, document)[last]
    return document


GONE = "gone"

# A file with a mistake, where it stands, and what stands there while the rest is looked at.
MENDED = [
    (small_file({"mtbf_h": -1}), ("part", 2, "mtbf_h"), 100_000),
    (without(small_file(), "part", 2, "mttr_h"), ("part", 2, "mttr_h"), 4),
    (without(small_file(), "part", 2, "what"), ("part", 2, "what"), "?"),
    (small_file(step={"cost": -1}), ("costs", "step", 0, "cost"), 1),
    (without(small_file(), "costs", "step", 0, "longer_than_min"), ("costs", "step", 0, "longer_than_min"), 1),
    (small_file(twins=[{"parts": ["S1", "S2"], "common_cause": 5}]), ("twins", 0, "common_cause"), 0.05),
    (small_file(function={"needs": [{"at_least": 3, "of": ["S1", "S2"]}]}), ("function", 0, "needs", 0, "at_least"), 1),
    (small_file({"fed_by": ["S1x"]}), ("part", 2, "fed_by"), ["S1"]),
    (small_file({"fed_by": "S1"}), ("part", 2, "fed_by"), ["S1"]),
    (small_file({"fed_by": "s1"}), ("part", 2, "fed_by"), ["S1"]),
    (small_file(step={"function": "rust"}), ("costs", "step", 0, "function"), "rest"),
    (small_file(step={"function": "zzzz"}), ("costs", "step", 0, "function"), "run"),
    (small_file({"kind": "pumpp"}), ("part", 2, "kind"), "pump"),
    (small_file({"battery": 3}), ("part", 2, "battery"), GONE),
    (small_file({"noticed": 3}), ("part", 2, "noticed"), GONE),
    (small_file({"alarm": 3}), ("part", 2, "alarm"), GONE),
    (small_file(variant=[{"name": "a", "fit": ["S9"]}, {"name": "b", "price_per_year": 3}]), ("variant", 0, "name"), "b"),
    # Nothing is known of the wires, or of the part itself.
    (small_file({"kind": "chair"}), None, None), (small_file({"fed_by": ["zzzz"]}), None, None),
    (small_file({"fed_by": [3]}), None, None), (small_file({"designation": "S2"}), None, None),
    (small_file({"designation": 7}), None, None), (small_file({"fed_by": {}}), None, None),
    (without(small_file(), "format"), None, None), (without(small_file(), "part"), None, None),
]


@pytest.mark.parametrize(("document", "path", "value"), MENDED)
def test_what_stands_in_for_a_mistake(document, path, value):
    before = copy.deepcopy(document)
    mended = _mended(document)
    assert document == before
    if path is None:
        assert mended is None
    else:
        *way, last = path
        holder = functools.reduce(lambda at, step: at[step], way, mended)
        assert (last not in holder) if value is GONE else holder[last] == value
        assert not [each for each in complaints(mended, schema()) if each[3] == "error"]


def ring(count):
    """Feeds in a circle: the first by the second, and so on."""
    return [a_part(f"S{n}", fed_by=[f"S{n % count + 1}"]) for n in range(1, count + 1)]


CONTROLLERS = [a_part("A", "controller"), a_part("B", "controller"), a_part("R", "rack"), a_part("W", "cable")]
TWO = {"part": CONTROLLERS, "function": [{"name": "run", "reached": ["R"]}], "pair": {"units": ["A", "B"]}, "costs": {}}
ONE_GROUP = {"common_cause": 0.05}
SHELF = {"stock": 1, "delivery_days": 3}

# What stands in a file instead of what is right, and all that is refused: where, the rule, what was found.
REFUSED = [
    ({}, []), (TWO, []),
    ({"part": [a_part("S1 "), a_part("S2")]}, [
        (("part", 0, "designation"), "must have no blank at its ends", "'S1 '"),
        (("function", 0, "needs", 0), "must be the designation of a part", "'S1' (did you mean S1 ?)")]),
    ({"shared_event": [{"name": "S3", "what": "x", "breaks": ["S1"]}]},
     [(("shared_event", 0, "name"), "must differ from every part and every other event", "S3")]),
    ({"shared_event": [{"name": "E", "what": "x", "breaks": ["S1"]}],
      "maintenance": [{"name": "E", "parts": ["S1"], "every_h": 9, "takes_h": 1}]},
     [(("maintenance", 0, "name"), "must differ from every part and every other event", "E")]),
    ({"function": [{"name": "run", "needs": ["S1"]}, {"name": "run", "needs": ["S2"]}, {"name": "rest", "needs": ["S3"]}]},
     [(("function", 1, "name"), "must differ from that of every other function", "run")]),
    ({"twins": [{"parts": ["S1", "S2"]} | ONE_GROUP, {"parts": ["S1", "S3"]} | ONE_GROUP]},
     [(("twins", 1, "parts", 0), "must be in one group of twins only", "S1")]),
    ({"twins": [{"parts": ["S1", "S2"]} | ONE_GROUP, {"parts": ["S1", "S3"]} | ONE_GROUP, {"parts": ["S2", "S1"]} | ONE_GROUP]},
     [(("twins", 1, "parts", 0), "must be in one group of twins only", "S1"),
      (("twins", 2, "parts", 0), "must be in one group of twins only", "S2")]),
    ({"spare": [{"name": "a", "parts": ["S1"]} | SHELF, {"name": "b", "parts": ["S1"]} | SHELF]},
     [(("spare", 1, "parts", 0), "must have one spare only", "S1")]),
    ({"part": ring(3)}, [(("part", 0, "fed_by"), "must not lead round in a circle", "S1 > S2 > S3 > S1")]),
    ({"part": ring(16)}, [(("part", 0, "fed_by"), "must not lead round in a circle",
                           " > ".join(f"S{n}" for n in (*range(1, 17), 1)))]),
    ({"part": ring(17)}, [(("part", 0, "fed_by"), "must not lead round in a circle",
                           "S1 > S2 > S3 > ... (17 in all) > S1")]),
    ({"part": [a_part("S1", fed_by=["S1"]), a_part("S2"), a_part("S3")]},
     [(("part", 0, "fed_by", 0), "must not name the part itself", "S1")]),
    ({"part": [a_part("S1", joins=["S1"]), a_part("S2")]},
     [(("part", 0, "joins", 0), "must not name the part itself", "S1")]),
    ({"function": [{"name": "run", "needs": [{"at_least": 3, "of": ["S1", "S2"]}]}, {"name": "rest", "needs": ["S3"]}]},
     [(("function", 0, "needs", 0, "at_least"), "must be <= 2, how many there are", "3")]),
    ({"function": [{"name": "run", "needs": [{"at_least": 2, "of": ["S1", "S2"]}]}, {"name": "rest", "needs": ["S3"]}]}, []),
    *(({"part": [a_part("S1"), a_part("S2"), a_part("S3", range={"mttr_h": limits})]}, [
        (("part", 2, "range", "mttr_h"), "must be [low, high] with 2 between them", str(limits))] if wrong else [])
      for limits, wrong in (([1, 2], False), ([2, 3], False), ([2, 2], True), ([2.5, 3], True), ([1, 1.5], True), ([3, 1], True))),
    (TWO | {"pair": {"units": ["A", "B"], "range": {"coverage": [0.9, 0.95]}}},
     [(("pair", "range", "coverage"), "must go with coverage of the same table", "none")]),
    ({"part": [a_part("S1", noticed=0.5), a_part("S2"), a_part("S3")], "mode": [
        {"how": "worn", "share": 1, "parts": ["S1"], "noticed": 0.5}, {"how": "worn", "share": 1, "parts": ["S2"], "noticed": 0.5}]},
     [(("part", 0, "noticed"), "must stand at the part or at its modes", "both")]),
    ({"mode": [{"how": "worn", "share": 1, "parts": ["S1"]}, {"how": "worn", "share": 1, "parts": ["S2", "S1"]},
               {"how": "torn", "share": 1, "parts": ["S1"]}]},
     [(("mode", 1, "how"), "must differ from every other mode of S1", "worn")]),
    # a name in a choice, and in a choice within one
    *(({"function": [{"name": "run", "needs": needs}, {"name": "rest", "needs": ["S3"]}]},
       [(("function", 0, "needs", *place), "must be the designation of a part", "'Zeta'")]) for needs, place in (
        (["Zeta"], [0]), ([{"at_least": 1, "of": ["S1", "Zeta"]}], [0, "of", 1]),
        (["S2", {"at_least": 1, "of": ["S1", {"at_least": 1, "of": ["Zeta", "S2"]}]}], [1, "of", 1, "of", 0]),
        ([{"at_least": 1, "of": ["S1", {"reached": ["Zeta"]}]}], [0, "of", 1, "reached", 0]))),
    ({"part": [a_part("S1"), a_part("S2"), a_part("S3", short_cuts={"per_year": 1, "mean_h": 1})]},
     [(("part", 2, "short_cuts"), "must stand at a part of kind mains", "other")]),
    ({"part": [a_part("S1"), a_part("S2"), a_part("S3", "mains", short_cuts={"per_year": 1, "mean_h": 1})]}, []),
    # What fits together, as it stands and in a variant.
    ({"part": [a_part("S1"), a_part("S2"), a_part("S3", fed_by=["S2"]), a_part("S4", fitted=False, fed_by=["S2"])],
      "variant": [{"name": "less", "remove": ["S2"]}]},
     [(("variant", 0), "as to part S3: fed_by must name a part that is fitted", "S2"),
      (("variant", 0), "as to function rest: needs 1 must name a part that is fitted", "S2")]),
    ({"changeover": [{"name": "d", "parts": ["S1", "S2"], "running": 2}]},
     [(("changeover", 0, "running"), "must be below 2, how many are fitted", "2")]),
    ({"changeover": [{"name": "d", "parts": ["S1", "S2"]}]}, []),
    ({"changeover": [{"name": "d", "parts": ["S1", "S2", "S3"], "running": 3}]},
     [(("changeover", 0, "running"), "must be below 3, how many are fitted", "3")]),
    ({"shared_event": [{"name": "E", "what": "x", "breaks": ["S1"], "mtbf_h": 9000}]},
     [(("shared_event", 0), "must have mttr_h beside mtbf_h", "none")]),
    (TWO | {"pair": {"units": ["A", "A"]}}, [
        (("pair", "units"), "must name nothing twice", "['A', 'A']")]),
    (TWO | {"part": [CONTROLLERS[0] | {"ageing_shape": 2}, *CONTROLLERS[1:]]},
     [(("pair", "units"), "must name two units with the same ageing_shape", "2 and None")]),
    (TWO | {"part": [CONTROLLERS[0], CONTROLLERS[1] | {"mttr_h": 3}, *CONTROLLERS[2:]]},
     [(("pair", "units"), "must name two units with the same mttr_h", "2 and 3")]),
    (TWO | {"spare": [{"name": "s", "parts": ["A"]} | SHELF]},
     [(("pair", "units"), "must name two units that one spare fits", "no spare with B in parts")]),
    (TWO | {"spare": [{"name": "s", "parts": ["A"]} | SHELF, {"name": "t", "parts": ["B"]} | SHELF]},
     [(("pair", "units"), "must name two units that one spare fits", "two spares")]),
    (TWO | {"spare": [{"name": "s", "parts": ["A", "B"]} | SHELF]}, []),
    (without(dict(TWO), "pair"), [(("pair",), "must say which two controllers belong together", "A, B")]),
    (TWO | {"pair": {"coverage": 0.9}}, [(("pair",), "must have units", "none")]),
    ({"variant": [{"name": "v", "pair": {"coverage": 0.9}}]},
     [(("variant", 0), "as to pair must have units, for the file has no [pair]", "none")]),
    ({"part": [a_part("S1"), a_part("S2"), a_part("S3")] + CONTROLLERS[:1] + [CONTROLLERS[1] | {"fitted": False}],
      "variant": [{"name": "v", "fit": ["B"]}, {"name": "w", "fit": ["B"], "pair": {"units": ["A", "B"]}}]},
     [(("variant", 0), "as to pair must say which two controllers belong together", "A, B")]),
    (TWO | {"function": [{"name": "run", "reached": ["R"]}, {"name": "own", "reached": ["R"], "by": ["C"]}],
            "part": [*CONTROLLERS, a_part("C", "controller")]},
     [(("function", 1, "reached", 0), "must be a rack that no function without by reaches", "R")]),
    (TWO | {"function": [{"name": "run", "reached": ["R"]}, {"name": "own", "needs": ["W"], "by": ["C"]}],
            "part": [*CONTROLLERS, a_part("C", "controller", fitted=False)]},
     [(("function", 1, "by"), "must name a part that is fitted", "C")]),
]


@pytest.mark.parametrize(("tables", "said"), REFUSED)
def test_all_that_is_refused_and_nothing_else(tables, said):
    found = [(path, rule, what) for path, rule, what, severity in complaints(small_file() | tables, schema())
             if severity == "error"]
    assert [(path, what) for path, _, what in found] == [(path, what) for path, _, what in said], found
    assert all(rule.startswith(begins) for (_, rule, _), (_, begins, _) in zip(found, said, strict=True)), found


@pytest.mark.parametrize(("value", "counts"), [
    (0, True), (1, True), (2, True), (1e-12, True), (9e-13, False), (-1e-12, True), (-9e-13, False), (9.9e14, True),
    (1e15, False), (-1e15, False), (1 - 1e-12, True), (1 - 5e-13, False), (1 + 5e-13, True), (0.5, True)])
def test_a_number_is_nought_or_one_or_well_apart_from_them(value, counts):
    rules = [rule for path, rule, _, _ in complaints(small_file() | {"x": value}, {}) if path == ("x",)]
    assert rules == [] if counts else rules[0].startswith("must be 0, or at least 1e-12 from 0 and below 1e+15")
