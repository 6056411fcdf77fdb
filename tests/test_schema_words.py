"""What a document and its schema say against one another, in plain words: by schemas of one rule each."""

import sys

import pytest

from labkit.plant.file import schema
from labkit.plant.schema_words import a_kind, in_words, schema_errors

NOT_THE_KIND = {"properties": {"part": {"items": {"properties": {
    "kind": {"enum": ["pump", "panel"]}, "source": {"enum": ["found"]}, "crews": {"enum": [1, 2]}}}}}}
ONE_PART = ("part", 0)

# A document, a schema of JSON Schema draft 2020-12, and what is said of it: where, the rule, what was found.
SCHEMA_WORDS = [
    ({"a": 5}, {"properties": {"a": {"maximum": 1}}}, [(("a",), "must be <= 1", "5 (5 % is 0.05)")]),
    ({"a": 100}, {"properties": {"a": {"maximum": 1}}}, [(("a",), "must be <= 1", "100 (100 % is 1)")]),
    ({"a": 101}, {"properties": {"a": {"maximum": 1}}}, [(("a",), "must be <= 1", "101")]),
    ({"a": 5}, {"properties": {"a": {"maximum": 2}}}, [(("a",), "must be <= 2", "5")]),
    ({"a": -1}, {"properties": {"a": {"minimum": 0}}}, [(("a",), "must be >= 0", "-1")]),
    ({"a": 0}, {"properties": {"a": {"minimum": 0.1, "exclusiveMinimum": 0}}}, [(("a",), "must be > 0", "0")]),
    ({"a": 0.01}, {"properties": {"a": {"minimum": 0.1, "exclusiveMinimum": 0}}}, [(("a",), "must be >= 0.1", "0.01")]),
    ({"a": float("nan")}, {"properties": {"a": {"type": "string"}}}, []),
    ({"a": 0.5}, {"properties": {"a": {"type": "string"}}}, [(("a",), 'must be text in "quotes"', "0.5")]),
    ({"a": "x"}, {"properties": {"a": {"type": ["integer", "boolean"]}}},
     [(("a",), "must be a whole number or true or false", "'x'")]),
    ({"a": "G1, Ä2;G3"}, {"properties": {"a": {"type": "array"}}},
     [(("a",), "must be a list in [ ]", "'G1, Ä2;G3' (write [\"G1\", \"Ä2\", \"G3\"])")]),
    ({"a": "x, y"}, {"properties": {"a": {"type": "number"}}}, [(("a",), "must be a number", "'x, y'")]),
    ({"a": 3}, {"properties": {"a": {"type": "array"}}}, [(("a",), "must be a list in [ ]", "3")]),
    ({"pair": [{}]}, {"properties": {"pair": {"type": "object"}}},
     [(("pair",), "must be a table, [pair] and not [[pair]]", "[{}]")]),
    ({"part": {}}, {"properties": {"part": {"type": "array"}}},
     [(("part",), "must be a list in [ ], [[part]] and not [part]", "{}")]),
    ({"a": {"b": [1]}}, {"properties": {"a": {"properties": {"b": {"type": "object"}}}}},
     [(("a", "b"), "must be a table", "[1]")]),
    ({"a": {"b": {}}}, {"properties": {"a": {"properties": {"b": {"type": "array"}}}}},
     [(("a", "b"), "must be a list in [ ]", "{}")]),
    ({"a": []}, {"properties": {"a": {"minItems": 1}}}, [(("a",), "must not be empty", "[]")]),
    ({"a": [1]}, {"properties": {"a": {"minItems": 2}}}, [(("a",), "must have at least 2 entries", "[1]")]),
    ({"a": 1}, {"required": ["b", "c"], "properties": {"b": {"description": "a length"}}},
     [((), "must have b (a length)", "none"), ((), "must have c", "none")]),
    ({"a": 1, "c": 1, "d": 1}, {"dependentRequired": {"a": ["b"], "c": ["d"], "x": ["y"]}},
     [((), "must have b beside a", "none")]),
    ({"mtbf": 1, "a": 1}, {"properties": {"a": {}, "mtbf_h": {}}, "additionalProperties": False},
     [(("mtbf",), "must be a key of the format", "mtbf (did you mean mtbf_h?)")]),
    ({"part": [{"kind": "pomp"}]}, NOT_THE_KIND,
     [((*ONE_PART, "kind"), "must be one of pump, panel", "'pomp' (did you mean pump?)")]),
    ({"part": [{"kind": "chair"}]}, NOT_THE_KIND,
     [((*ONE_PART, "kind"), "must be one of pump, panel", "'chair' (other for what is none of them)")]),
    ({"part": [{"kind": 7, "source": "guess", "crews": 3}]}, NOT_THE_KIND,
     [((*ONE_PART, "kind"), "must be one of pump, panel", "7 (other for what is none of them)"),
      ((*ONE_PART, "source"), "must be one of found", "'guess'"), ((*ONE_PART, "crews"), "must be one of 1, 2", "3")]),
    ({"a": "x" * 59}, {"properties": {"a": {"type": "number"}}}, [(("a",), "must be a number", "'" + "x" * 56 + "...")]),
    ({"a": "x" * 58}, {"properties": {"a": {"type": "number"}}}, [(("a",), "must be a number", "'" + "x" * 58 + "'")]),
]


@pytest.mark.parametrize(("document", "rules", "said"), SCHEMA_WORDS)
def test_what_a_schema_does_not_allow_is_said_in_plain_words(document, rules, said):
    assert list(schema_errors(document, rules)) == said


NEEDS = [
    ([], [], "must have needs or reached", "neither"),
    ([{"reached": [], "x": 1}], [0, "reached"], "must not be empty", "[]"),
    ([{"reached": ["A"], "at_least": 1, "of": ["A", "B"]}], [0, "reached"], "must be a key of the format", "reached"),
    ([{"of": ["A", "B"]}], [0], "must have at_least", "none"),
    ([7], [0], 'must be a designation, {at_least = 1, of = ["..."]} or {reached = ["..."]}', "7"),
]


@pytest.mark.parametrize(("needs", "place", "rule", "found"), NEEDS)
def test_a_need_of_the_wrong_form_is_told_by_the_form_that_is_nearest(needs, place, rule, found):
    document = {"function": [{"name": "f"} | ({"needs": needs} if needs else {})]}
    way = ("function", 0, *(["needs"] if needs else []), *place)
    said = [(what, where) for where, words, what in schema_errors(document, schema())
            if words.startswith(rule) and where[:1] == ("function",)]
    assert said == [(found, way)]


def test_a_step_costs_by_the_outage_or_by_the_hour():
    said = [(path, rule) for path, rule, _ in schema_errors({"costs": {"step": [{"name": "s"}]}}, schema())]
    assert (("costs", "step", 0), "must have cost or cost_per_h") in said


def test_the_grammar_of_addresses_is_left_as_it_was(monkeypatch):
    name, other = "rfc3987_syntax", object()
    for before in (None, other):
        if before is None:
            monkeypatch.delitem(sys.modules, name, raising=False)
        else:
            monkeypatch.setitem(sys.modules, name, before)
        assert list(schema_errors({}, {})) == [] and sys.modules.get(name) is before


@pytest.mark.parametrize(("path", "words"), [
    ((), "file"), (("part", 0, "joins", 1), "part A: joins 2"), (("costs", "step", 0, "of", 0), "costs: step n: of 1"),
    (("part", 1, "of", 2, "at"), "part 2: of 3: at"), (("part", 2), "part 7")])
def test_a_place_in_words(path, words):
    document = {"part": [{"designation": "A", "joins": ["x", "y"]}, {"of": [1, 2, 3]}, {"id": "7"}],
                "costs": {"step": [{"name": "n", "of": [[1, 2]]}]}}
    assert in_words(document, path) == words


def test_a_kind_has_its_article():
    assert [a_kind(kind) for kind in ("analyser", "interface", "other", "ups", "rack", "pump")] == [
        "an analyser", "an interface", "an other", "a ups", "a rack", "a pump"]
