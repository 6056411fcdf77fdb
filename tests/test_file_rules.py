"""Plant files: what is read, and what is found wrong, all of it, on its line."""

import copy
import functools
import json
import re
import time
import tomllib

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labkit.plant.causes import causes_of
from labkit.plant.file import (
    Finding,
    PlantFileError,
    find_file,
    read_file,
    read_toml,
    schema,
    starter_text,
    write_starter,
)
from labkit.plant.file_check import check_file
from labkit.plant.file_doubts import USUAL_RANGES
from labkit.plant.file_rules import complaints
from labkit.plant.fitting import fitted, with_variant
from labkit.plant.plant import build, load_plant
from labkit.plant.schema_words import values
from labkit.plant.toml_lines import line_numbers
from tests.traps import TRAPS, taken_in_silence

SHIPPED = ("brackenquay", "elderhang", "mirelow")


# The starter without its remarks, so that what a test changes stands in it once.
TEXT = "\n".join(line for line in starter_text().split("\n") if not line.startswith("#"))


def checked(tmp_path, text):
    path = tmp_path / "plant.toml"
    path.write_text(text, "utf-8")
    return check_file(path)


def line_with(text, part, nth=1):
    lines = [number for number, line in enumerate(text.split("\n"), 1) if part in line]
    return lines[nth - 1]


# ---------------------------------------------------------------- lines


def paths(value, here=()):
    if here:
        yield here
    entries = value.items() if isinstance(value, dict) else (
        enumerate(value) if isinstance(value, list) else ())
    for key, each in entries:
        yield from paths(each, (*here, key))


@pytest.mark.parametrize("name", [*SHIPPED, "starter"])
def test_every_key_has_the_line_on_which_it_stands(name):
    # tomllib (standard library) says which keys there are.
    text = starter_text() if name == "starter" else find_file(name).read_text("utf-8")
    lines, rows = line_numbers(text), text.split("\n")
    every = list(paths(tomllib.loads(text)))
    assert set(lines) == set(every)
    for path in every:
        if isinstance(path[-1], str):
            assert path[-1] in rows[lines[path] - 1]


TRICKY = '''# start
title = "a # b [x]" # remark
'quoted key' = 'c:\\d'
"dotted"."key" = 1
long = """
first = 1
[not.a.table]
"quotes" inside \\""" here
"""
raw = \'\'\'
x = 2
\'\'\'
when = 2031-10-26 02:30:00
dates = [2031-10-26, 07:32:00]
[a]
[a.b]
deep = {x = [1, {y = 2}], z = "}"}
[[a.c]]
n = 1
[[a.c]]
n = [
    1, # one
    2,
]
[a.c.d]
m = -inf
'''


def test_tricky_toml_is_walked_as_tomllib_reads_it():
    lines = line_numbers(TRICKY)
    assert set(lines) == set(paths(tomllib.loads(TRICKY)))
    deep, last = ("a", "b", "deep"), ("a", "c", 1)
    assert lines == {
        ("title",): 2, ("quoted key",): 3, ("dotted",): 4, ("dotted", "key"): 4, ("long",): 5, ("raw",): 10,
        ("when",): 13, ("dates",): 14, ("dates", 0): 14, ("dates", 1): 14, ("a",): 15, ("a", "b"): 16, deep: 17,
        (*deep, "x"): 17, (*deep, "x", 0): 17, (*deep, "x", 1): 17, (*deep, "x", 1, "y"): 17, (*deep, "z"): 17,
        ("a", "c"): 18, ("a", "c", 0): 18, ("a", "c", 0, "n"): 19, last: 20, (*last, "n"): 21, (*last, "n", 0): 22,
        (*last, "n", 1): 23, (*last, "d"): 25, (*last, "d", "m"): 26}


def test_windows_line_ends_count_the_same():
    assert line_numbers(TRICKY.replace("\n", "\r\n")) == line_numbers(TRICKY)


# ---------------------------------------------------------------- files that come along


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_files_have_no_findings(name):
    assert check_file(name) == []


def test_starter_has_no_findings_and_loads(tmp_path):
    path = write_starter(tmp_path / "my_plant.toml")
    assert check_file(path) == []
    plant = load_plant(path)
    assert plant.pair.units == ("KF1", "KF2")
    assert json.loads((tmp_path / "plant.schema.json").read_text("utf-8")) == schema()


def test_starter_never_writes_over(tmp_path):
    (tmp_path / "my.toml").write_text("mine", "utf-8")
    with pytest.raises(FileExistsError, match="path must be a new file, got .*my.toml"):
        write_starter(tmp_path / "my.toml")
    assert (tmp_path / "my.toml").read_text("utf-8") == "mine"
    with pytest.raises(ValueError, match="path must end in .toml, got .*my.txt"):
        write_starter(tmp_path / "my.txt")


def schema_keys(node):
    for key, value in node.get("properties", {}).items():
        yield key, value
        yield from schema_keys(value)
    if isinstance(node.get("items"), dict):
        yield from schema_keys(node["items"])
    for value in node.get("$defs", {}).values():
        yield from schema_keys(value)


def test_starter_shows_every_key_of_the_format():
    text = starter_text()
    known = schema()
    # Of the kinds of fault the starter shows an example; the schema has them all.
    known["properties"]["how_often"]["properties"] = {}
    for key, _ in schema_keys(known):
        assert re.search(rf"^(# )?(\[+)?(\w+\.)?{key}\b|[{{ ]{key} =", text, re.MULTILINE), key


def test_every_key_of_the_schema_is_described():
    described = [(key, value) for key, value in schema_keys(schema()) if "$ref" not in value
                 or not value["$ref"].startswith("#/$defs/pair")]
    assert len(described) > 60
    for key, value in described:
        target = value
        while "$ref" in target and "description" not in target:
            target = schema()
            for step in value["$ref"][2:].split("/"):
                target = target[step]
        assert len(target.get("description", "")) > 10 or key in ("at_least", "of", "reached"), key


def test_schema_is_a_schema():
    # The meta-schema of JSON Schema draft 2020-12, by the jsonschema library.
    jsonschema.Draft202012Validator.check_schema(schema())


def test_usual_ranges_are_ranges_of_known_kinds():
    kinds = schema()["$defs"]["part"]["properties"]["kind"]["enum"]
    for kind, usual in USUAL_RANGES.items():
        assert kind in (*kinds, "any") and [*usual] == ["mtbf_h", "mttr_h"]
        assert all(0 < low < high for low, high in usual.values())


def test_starter_prints_every_usual_range():
    rows = re.findall(r"^#   ([a-z, ()]+?)  +(\d+) to (\d+) +([\d.]+) to ([\d.]+)$", starter_text(), re.M)
    printed = {kind.split()[0]: {"mtbf_h": [float(a), float(b)], "mttr_h": [float(c), float(d)]}
               for kinds, a, b, c, d in rows for kind in kinds.split(", ")}
    assert printed == {kind: usual for kind, usual in USUAL_RANGES.items() if kind != "any"}


def test_unknown_file_names_what_there_is():
    with pytest.raises(ValueError, match="one of brackenquay, elderhang, mirelow, got brackenkay"):
        load_plant("brackenkay")


# ---------------------------------------------------------------- errors, one by one

# (old, new, line marked by, which of these, key, rule, found)
ERRORS = [
    ("format = 1", "format = 2", "format = 2", 1, "format", "must be 1", "2"),
    ('kind = "panel"', 'kind = "pannel"', '"pannel"', 1, "part PH1: kind",
     "must be one of controller, ", "'pannel' (did you mean panel?)"),
    ("mtbf_h = 45000", "mtbf = 45000", "mtbf = ", 1, "part PH1: mtbf",
     "must be a key of the format", "mtbf (did you mean mtbf_h?)"),
    ("mttr_h = 8", "mttr_h = -8", "mttr_h = -8", 1, "part PH1: mttr_h", "must be > 0", "-8"),
    ("mttr_h = 8", "mttr_h = 1e-4", "mttr_h = 1e-4", 1, "part PH1: mttr_h", "must be >= 0.001",
     "0.0001"),
    ("mttr_h = 8", "mttr_h = true", "mttr_h = true", 1, "part PH1: mttr_h", "must be a number",
     "True"),
    ("mttr_h = 8", 'mttr_h = "8 h"', "8 h", 1, "part PH1: mttr_h", "must be a number", "'8 h'"),
    ("mttr_h = 8", "mttr_h = nan", "mttr_h = nan", 1, "part PH1: mttr_h", "must be finite", "nan"),
    ("mttr_h = 8", "mttr_h = inf", "mttr_h = inf", 1, "part PH1: mttr_h", "must be finite", "inf"),
    ("coverage = 0.97", "coverage = 97", "coverage = 97", 1, "pair: coverage", "must be <= 1",
     "97 (97 % is 0.97)"),
    ("crews = 1", "crews = 3", "crews = 3", 1, "pair: crews", "must be one of 1, 2", "3"),
    ('units = ["KF1", "KF2"]', 'units = ["KF1"]', "units = ", 1, "pair: units",
     "must have at least 2 entries", "['KF1']"),
    ('units = ["KF1", "KF2"]', 'units = ["KF1", "PH1"]', "units = ", 1, "pair: units 2",
     "must name controllers", "PH1, a panel"),
    ('sync = ["WF9"]', 'sync = ["TB1"]', "sync = ", 1, "pair: sync 1", "must name cables",
     "TB1, a supply"),
    ('joins = ["KF1", "KF10A"]', 'joins = ["KF1", "KF10a"]', "KF10a", 1, "part WF1: joins 2",
     "must be the designation of a part", "'KF10a' (did you mean KF10A?)"),
    ('joins = ["KF1", "KF10A"]', 'joins = ["KF1", "WF1"]', '"KF1", "WF1"', 1,
     "part WF1: joins 2", "must not name the part itself", "WF1"),
    ('joins = ["KF1", "KF10A"]', 'joins = ["KF1", "KF1"]', '"KF1", "KF1"', 1, "part WF1: joins",
     "must name nothing twice", "['KF1', 'KF1']"),
    ('reached = ["KF10"]', 'reached = ["BL1"]', 'reached = ["BL1"]', 1,
     "function control kept: reached 1", "must name racks", "BL1, a sensor"),
    ('needs = ["BL1"]', 'needs = ["KF1"]', 'needs = ["KF1"]', 1, "function control kept: needs 1",
     "must not name a unit of the pair (write reached = [racks])", "KF1"),
    ('needs = ["BL1"]', "needs = [1]", "needs = [1]", 1, "function control kept: needs 1",
     "must be a designation, ", "1"),
    ('needs = ["BL1"]', "needs = [{at_least = 2, off = []}]", "off", 1,
     "function control kept: needs 1: off", "must be a key of the format",
     "off (did you mean of?)"),
    ("{at_least = 2, of", "{at_least = 4, of", "at_least = 4", 1,
     "function water moved: needs 2: at_least", "must be <= 3, how many there are", "4"),
    ('parts = ["KF10A", "KF10B"]', 'parts = ["KF10A", "GP1"]', 'parts = ["GP1"', 3,
     "twins 3: parts 1", "must be in one group of twins only", "GP1"),
    ('name = "WF1+WF2"', 'name = "PH1"', 'name = "PH1"', 1, "shared_event PH1: name",
     "must differ from every part and every other event", "PH1"),
    ('designation = "PH1"', 'designation = "WF3"', 'designation = "WF3"', 2,
     "part WF3: designation", "must differ from that of every other part", "WF3"),
    ('function = "water moved"', 'function = "watr moved"', "watr", 1,
     "costs: step production lost: function", "must be the name of a function",
     "'watr moved' (did you mean water moved?)"),
    ("cost = 1500", "cost = -1", "cost = -1", 1, "costs: step production lost: cost",
     "must be >= 0", "-1"),
    ("longer_than_min = 45\n", "", "[[costs.step]]", 2, "costs: step tank empty",
     "must have longer_than_min (Due when", "none"),
    ('fit = ["TB2"]', 'fit = ["TB1"]', 'fit = ["TB1"]', 1, "variant supply doubled: fit 1",
     "must name parts with fitted = false", "TB1"),
    ("pair = {test", "pair = {tset", "pair = {tset", 1,
     "variant supply doubled: pair: tset_interval_h", "must be a key of the format",
     "tset_interval_h (did you mean test_interval_h?)"),
    ("price_per_year = 1550\n", 'price_per_year = 1550\nlike = "nothing"\n', 'like = "nothing"', 1,
     "variant as built: like", "must be the name of a variant", "'nothing'"),
    ("price_per_year = 1550\n", 'price_per_year = 1550\nlike = "as built"\n', 'like = "as', 1,
     "variant as built: like", "must not lead round in a circle", "as built > as built"),
    ("price_per_year = 1550\n", 'price_per_year = 1550\nremove = ["TB1"]\n', "[[variant]]", 2,
     "variant as built", "as to part KF1: fed_by must name a part that is fitted", "TB1"),
    ("price_per_year = 1550\n", 'price_per_year = 1550\nremove = ["KF10"]\n', "[[variant]]", 2,
     "variant as built", "as to function control kept: reached 1 must name a part that is fitted",
     "KF10"),
    ("price_per_year = 1550\n", 'price_per_year = 1550\nremove = ["GP1", "GP2"]\n', "[[variant]]",
     2, "variant as built", "as to function water moved: needs 2: at_least must be <= 1, how",
     "2"),
    ('designation = "TB1"\n', 'designation = "TB1"\nfed_by = ["GP1"]\n', 'fed_by = ["GP1"]', 1,
     None, None, None),
    ('kind = "panel"', 'kind = "panel"\nsource_note = "a\\nb\\tc"', "source_note", 1,
     None, None, None),
    ('kind = "panel"', 'kind = "panel"\nsource_note = "a\\u001b[2J"', '"a\\u001b', 1,
     "part PH1: source_note", "must have no control, direction or invisible letters", "U+001B"),
    ('place = "control room"', 'place = "\u202eleft"', '"\u202eleft"', 1,
     "part WF9: place", "must have no control, direction or invisible letters", "U+202E"),
    ('place = "control room"', 'place = "two\\nlines"', '"two', 1,
     "part WF9: place", "must be one line", "U+000A"),
    ('name = "WF1+WF2"', 'name = "W\uffff"', 'name = "W\uffff"', 1, "shared_event W\uffff: name",
     "must have no control, direction or invisible letters", "U+FFFF"),
    ("longer_than_min = 0.5", "longer_than_min = {}", "longer_than_min = {}", 1,
     "costs: step production lost: longer_than_min", "must be a number", "{}"),
    ("mttr_h = 8", '"\u2066b" = 8', '"\u2066b"', 1, "part PH1: \u2066b",
     "must have no control, direction or invisible letters", "U+2066"),
]


@pytest.mark.parametrize("old, new, mark, nth, key, rule, found", ERRORS)
def test_each_error_names_line_key_rule_and_value(tmp_path, old, new, mark, nth, key, rule, found):
    assert old in TEXT
    text = TEXT.replace(old, new, 1)
    errors = [each for each in checked(tmp_path, text) if each.severity == "error"]
    if key is None:
        assert errors == []
        return
    match = [each for each in errors if each.key == key and each.rule.startswith(rule)]
    assert [each.found for each in match] == [found], errors
    assert match[0].line == line_with(text, mark, nth)


TANK = "[process]\n"


@pytest.mark.parametrize(("line", "key", "rule", "found"), [
    ("set_point_m = 9", "process", "low_trip_m < set_point_m < overflow_m must hold",
     "0.6, 9.0, 1.44"),
    ("tank_area_m2 = -1", "process: tank_area_m2", "must be > 0 and finite", "-1"),
    ("tank_area_m2 = nan", "process: tank_area_m2", "must be finite", "nan"),
    ('tank_area_m2 = "wide"', "process: tank_area_m2", "must be a number", "'wide'"),
    ("tank_area_m2 = 1e-13", "process: tank_area_m2", "must be 0, or at least 1e-12", "1e-13"),
    ('uv_fail = "sometimes"', "process: uv_fail", "must be off, hold", "'sometimes'"),
    ("depth_m = 1", "process: depth_m", "must be a key of the format", "depth_m"),
    ("setpoint_m = 1", "process: setpoint_m", "must be a key of the format",
     "setpoint_m (did you mean set_point_m?)"),
    ('pump_rack = "KF10"', "process: pump_rack", "must be the designation of a part", "'KF10'"),
    ('level_sensor = "X0"', "process: level_sensor", "must name sensors", "X0, an other"),
])
def test_the_file_is_held_to_the_rules_of_the_tank(tmp_path, line, key, rule, found):
    (tmp_path / "p.toml").write_text(supplies([[]]) + TANK + line, "utf-8")
    (error,) = [each for each in check_file(tmp_path / "p.toml") if each.severity == "error"]
    assert (error.key, error.found) == (key, found) and error.rule.startswith(rule)
    assert error.line == (supplies([[]]) + TANK).count("\n") + (key != "process")
    with pytest.raises(PlantFileError, match=re.escape(rule)):
        load_plant(tmp_path / "p.toml")


@pytest.mark.parametrize("key, old, new", [
    ("part PH1: mtbf_h", "mtbf_h = 45000", "mtbf_h = 1e-300"),
    ("pair: common_cause", "common_cause = 0.05", "common_cause = 5e-324"),
    ("pair: coverage", "coverage = 0.97", "coverage = 0.9999999999999"),
    ("costs: step production lost: cost", "cost = 1500", "cost = 1e308"),
])
def test_what_cannot_be_counted_with_is_an_error(tmp_path, key, old, new):
    assert old in TEXT
    errors = [each for each in checked(tmp_path, TEXT.replace(old, new, 1))
              if each.severity == "error"]
    assert {each.key for each in errors} == {key}
    assert any("1e-12 from 0 and below 1e+15" in each.rule for each in errors)


@pytest.mark.parametrize("number", ["0x" + "f" * 5000, "9" * 5000, "9_223_372_036_854_775_808"])
def test_a_number_of_too_many_digits_has_its_line(tmp_path, number):
    (found,) = checked(tmp_path, TEXT.replace("mttr_h = 8", f"mttr_h = {number}", 1))
    assert found.rule == "must have whole numbers of at most 64 bits"
    assert found.line == line_with(TEXT, "mttr_h = 8")


@pytest.mark.parametrize(("key", "most"), [("designation", 200), ("place", 200), ("source_note", 4000)])
def test_a_text_has_at_most_so_many_letters(tmp_path, key, most):
    """What is longer says how long it is and not what: a name of 100 000 letters was taken."""
    for letters, found in ((most, []), (most + 1, [str(most + 1)]), (100_000, ["100000"])):
        text = TEXT + SUPPLY.format(number=9).replace(
            'designation = "X9"', f'{key} = "{"y" * letters}"' + (
                "" if key == "designation" else '\ndesignation = "X9"'))
        errors = [each for each in checked(tmp_path, text) if each.severity == "error"]
        assert [each.found for each in errors if "at most" in each.rule] == found
        assert all(len(str(each)) < 300 for each in errors)


@pytest.mark.parametrize(("old", "new"), [
    ('kind = "cable"', 'kind = "{}"'), ('kind = "cable"', 'kind = "cable"\n{} = 3'),
    ('fed_by = ["', 'fed_by = ["{}", "'), ("[plant]", '[[spare]]\nname = "{0}"\n[[spare]]\n'
     'name = "{0}"\n[plant]')])
def test_an_error_is_short_whatever_stands_in_the_file(tmp_path, old, new):
    assert old in TEXT
    found = checked(tmp_path, TEXT.replace(old, new.format("z" * 100_000), 1))
    assert found and all(len(str(each)) < 600 for each in found)


def test_a_finding_is_one_line_that_steers_nothing():
    said = str(Finding(3, "part a\x1b[2J", "must be\none line", "\u202eleft"))
    assert said == "line 3: error: part a\\x1b[2J must be\\none line, got \\u202eleft"


def test_units_of_the_pair_must_be_alike(tmp_path):
    head, tail = TEXT.split('designation = "KF2"')
    text = head + 'designation = "KF2"' + tail.replace("mtbf_h = 60000", "mtbf_h = 70000", 1)
    found, = checked(tmp_path, text)
    assert str(found) == (f"line {line_with(text, 'units = [')}: error: pair: units must name two "
                          "units with the same mtbf_h, got 60000 and 70000")


def test_two_controllers_need_a_pair(tmp_path):
    text = re.sub(r"\[pair\].*?(?=\[\[twins)", "", TEXT, count=1, flags=re.DOTALL)
    text = text.replace("pair = {test_interval_h = 730}", "")
    found = checked(tmp_path, text)
    assert [each.key for each in found] == ["pair"]  # and not once more for each variant
    assert found[0].rule.startswith("must say which two controllers belong together: units = ")
    assert found[0].found == "KF1, KF2"


SUPPLY = """
[[part]]
designation = "X{number}"
what = "supply"
kind = "other"
mtbf_h = 100000
mttr_h = 4
"""
RUNS = '[[function]]\nname = "run"\nneeds = ["X0"]\n'


def supplies(feeds):
    """A plant of supplies, each fed by the one with the number given, if any."""
    parts = (
        SUPPLY.format(number=number) + (f'fed_by = ["X{each[0]}"]\n' if each else "")
        for number, each in enumerate(feeds)
    )
    return 'format = 1\n[plant]\nname = "long"\n' + "".join(parts) + RUNS


@pytest.mark.parametrize(("feeds", "rule", "what"), [
    ([[(number + 1) % 2000] for number in range(2000)], "must not lead round in a circle",
     "X0 > X1 > X2 > ... (2000 in all) > X0"),
    ([[number + 1] for number in range(999)] + [[]],
     "must lead through at most 16 others in turn", "more from X982 on"),
    ([[number + 1] for number in range(16)] + [[]], None, None),
])
def test_feeds_in_turn_have_a_limit(tmp_path, feeds, rule, what):
    found = [(each.rule, each.found) for each in checked(tmp_path, supplies(feeds))]
    assert found == ([(rule, what)] if rule else [])


@pytest.mark.parametrize(("deep", "accepted"), [(17, True), (19, False), (400, False)])
def test_needs_within_needs_have_a_limit(tmp_path, deep, accepted):
    need = '{at_least = 1, of = ["X1", ' * deep + '"X0"' + "]}" * deep
    found = checked(tmp_path, supplies([[], []]).replace('["X0"]', f"[{need}]"))
    rules = ["must have lists and tables at most 40 deep inside one another"]
    assert [each.rule for each in found if each.severity == "error"] == ([] if accepted else rules)


def test_variants_have_a_limit(tmp_path):
    """Each is a plant of its own to check: 10 000 of them took minutes."""
    text = supplies([[]]) + "".join(f'\n[[variant]]\nname = "{n}"\nfit = []\n' for n in range(101))
    assert "must have at most 100 entries" in [each.rule for each in checked(tmp_path, text)]


def test_lines_of_a_large_file_are_found_in_time(tmp_path):
    """Time goes with the size of a file: it went with its square, 50 s for 10 000 parts."""
    text = supplies([[]] * 10_000)
    begin_s = time.process_time()
    lines = line_numbers(text)
    assert time.process_time() - begin_s < 5.0
    assert text.split("\n")[lines["part", 9_999, "mtbf_h"] - 1] == "mtbf_h = 100000"


def test_feeds_in_a_circle_are_found_once(tmp_path):
    text = TEXT.replace('designation = "TB1"\n', 'designation = "TB1"\nfed_by = ["GP1"]\n')
    text = text.replace('designation = "GP1"\n', 'designation = "GP1"\nfed_by = ["TB1"]\n')
    found = checked(tmp_path, text)
    assert [(each.key, each.found) for each in found] == [
        ("part TB1: fed_by", "TB1 > GP1 > TB1")]


def test_all_errors_come_at_once_in_the_order_of_the_lines(tmp_path):
    text = TEXT
    changes = [("format = 1", "format = 2"), ("mtbf_h = 45000", "mtbf = 45000"),
               ("coverage = 0.97", "coverage = 97"), ("cost = 20000", 'cost = "20000"'),
               ('function = "water moved"', 'function = "watr moved"'),
               ('joins = ["KF1", "KF10A"]', 'joins = ["KF1", "KF10X"]')]
    for old, new in changes:
        text = text.replace(old, new, 1)
    path = tmp_path / "plant.toml"
    path.write_text(text, "utf-8")
    with pytest.raises(PlantFileError) as caught:
        load_plant(path)
    found = caught.value.findings
    assert [each.key for each in found] == [
        "format", "part WF1: joins 2", "part PH1", "part PH1: mtbf", "pair: coverage",
        "costs: step production lost: function", "costs: step tank empty: cost"]
    assert isinstance(caught.value, ValueError)
    assert str(caught.value).startswith(
        f"{path}: 7 errors\n  line 2: error: format must be 1, got 2\n")
    assert list(found) == sorted(found, key=lambda each: each.line)


@pytest.mark.parametrize("text, line, rule, found", [
    ("format = 1\nmtbf_h = 60,000\n", 2,
     "must have numbers with a point and without separators, such as 60000 or 0.5",
     "'mtbf_h = 60,000'"),
    ("format = 1\n[plant\n", 2, "must be TOML: a name of a [table] has no blank, and ] ends it", "'[plant'"),
    ("[title block]\n", 1, "must be TOML: a name of a [table] has no blank, and ] ends it", "'[title block]'"),
    ("[part]\na = 1\n[[part]]\n", 3, "must be TOML: a [table] stands once; of those that may stand more often "
     "each is a [[table]]", "'[[part]]'"),
    ('fed_by = "TB1", "TB2"\n', 1, "must be TOML: several values are a list in [ ]", "'fed_by = \"TB1\", \"TB2\"'"),
    ('place = "C:\\weir"\n', 1, "must be TOML: a \\ in a text stands twice", r"""'place = "C:\\weir"'"""),
    ('name = "open\n', 1, "must be TOML: a text ends", "'name = \"open'"),
    ("a = 1\na = 2\n", 2, "must be TOML: a key stands once in its table", "'a = 2'"),
        ("[plant]\na = 1\n[plant]\n", 3, "must be TOML: a [table] stands once", "'[plant]'"),
        ("stock: 0\n", 1, "must be TOML: a line is key = value", "'stock: 0'"),
])
def test_broken_toml_names_the_line(tmp_path, text, line, rule, found):
    result, = checked(tmp_path, text)
    assert (result.line, result.key, result.found) == (line, "file", found)
    assert result.rule.startswith(rule)


def test_every_line_that_is_no_toml_is_told_at_once(tmp_path):
    """What follows from such a line alone, as a list that never ends, is not told beside it."""
    text = starter_text()
    for old, new in (('name = "My plant"', 'name = "My plant'), ("mtbf_h = 60000", "mtbf_h = 60,000"),
                     ('joins = ["KF1", "KF2"]', 'joins = ["KF1" "KF2"]'), ("mttr_h = 8", "mttr_h = 8h")):
        text = text.replace(f"\n{old}\n", f"\n{new}\n", 1)
    found = checked(tmp_path, text)
    assert [each.found for each in found] == [
        "'name = \"My plant'", "'mtbf_h = 60,000'", "'joins = [\"KF1\" \"KF2\"]'", "'mttr_h = 8h'"]
    assert len(checked(tmp_path, 'a = """\n[[part]]\nb = 1\n')) == 1
    assert len(checked(tmp_path, 'a = [1,\n[[part]]\nb = 1\nc = 2\n')) == 1


@pytest.mark.parametrize(("text", "line", "found"), [
    (f"a = {2**63 - 1}", None, ""), (f"a = {-2**63}", None, ""), (f"b = 1\na = {2**63}", 2, "more"),
    (f"a = [1,\n{-2**63 - 1}]", 2, "more"), (f"\na = 1{'0' * 4999}", 2, "more digits than are read"),
    (f"a = {'[' * 39}{']' * 39}", None, ""), (f"a = {'[' * 40}{']' * 40}", 0, "deeper ones"),
    (f"a = {'{a = ' * 38}[]{'}' * 38}", None, ""), (f"a = {'{a = ' * 39}[]{'}' * 39}", 0, "deeper ones"),
    (b"\n\xfc", 2, "byte 0xfc"), (b"\xfc", 1, "byte 0xfc"), (b"\xef\xbb\xbfa = 1", None, ""),
    ("x" * 300, 1, repr("x" * 200))])
def test_what_a_file_may_hold_before_its_keys_are_read(tmp_path, text, line, found):
    """TOML 1.0.0, "Integer": 64 bits. The tables of a file are 40 deep at most, the file itself one of them."""
    path = tmp_path / "a.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    document, findings, lines = read_toml(path)
    assert [(each.line, each.found) for each in findings] == ([] if line is None else [(line, found)])
    assert (document == {}) == (line is not None) and (lines == {}) == (line is not None)


def test_no_more_than_twenty_further_lines_are_told(tmp_path):
    (tmp_path / "a.toml").write_text("a = 1\n" + "x\n" * 30, "utf-8")
    assert [each.line for each in read_toml(tmp_path / "a.toml")[1]] == list(range(2, 23))


def test_other_encodings_are_refused_with_the_line(tmp_path):
    path = tmp_path / "plant.toml"
    path.write_bytes("format = 1\nname = \"Müller\"\n".encode("cp1252"))
    assert check_file(path) == [Finding(2, "file", "must be text in UTF-8", "byte 0xfc")]


def test_a_mark_at_the_start_and_windows_line_ends_are_fine(tmp_path):
    path = tmp_path / "plant.toml"
    path.write_bytes(b"\xef\xbb\xbf" + starter_text().replace("\n", "\r\n").encode("utf-8"))
    assert check_file(path) == []
    assert load_plant(path).name == "My plant"


JUNK = st.recursive(
    st.one_of(st.integers(-5, 5), st.floats(), st.booleans(), st.text("KF1 \n", max_size=4)),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from([
            "name", "designation", "parts", "of", "at_least", "reached", "needs", "units", "step",
            "fed_by", "joins"]), inner, max_size=3)), max_leaves=6)


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(schema()["properties"])), JUNK)
def test_no_junk_makes_the_check_fall_over(key, junk):
    document = tomllib.loads(TEXT)
    for value in (junk, [junk]):
        found = list(complaints(document | {key: value}, schema()))
        assert all(len(each) == 4 for each in found)
        if not jsonschema.Draft202012Validator(schema()).is_valid(document | {key: value}):
            assert found


def test_no_key_that_is_gone_or_odd_makes_the_check_fall_over():
    document = tomllib.loads(starter_text())
    ways = {}
    for path, _ in values(document):
        if path and isinstance(path[-1], str):
            ways.setdefault(tuple(step for step in path if isinstance(step, str)), path)
    assert len(ways) > 100
    for *above, last in ways.values():
        for odd in (None, 3, "x", [["x"]]):
            damaged = copy.deepcopy(document)
            table = functools.reduce(lambda at, step: at[step], above, damaged)
            del table[last]
            if odd is not None:
                table[last] = odd
            assert all(len(each) == 4 for each in complaints(damaged, schema()))


# ---------------------------------------------------------------- warnings


WARNINGS = [
    ("mtbf_h = 45000", "mtbf_h = 450000", "mtbf_h = 450000", "part PH1: mtbf_h",
     "is usually 30000 to 80000 for a panel (common practice)", "450000"),
    ("mttr_h = 8", "mttr_h = 80", "mttr_h = 80", "part PH1: mttr_h",
     "is usually 2 to 8 for a panel (common practice)", "80"),
    ("common_cause = 0.05", "common_cause = 0.5", "common_cause = 0.5", "pair: common_cause",
     "is usually 0.005 to 0.1 (common practice)", "0.5"),
]


@pytest.mark.parametrize("old, new, mark, key, rule, found", WARNINGS)
def test_unusual_numbers_are_warnings(tmp_path, old, new, mark, key, rule, found):
    text = TEXT.replace(old, new, 1)
    assert checked(tmp_path, text) == [
        Finding(line_with(text, mark), key, rule, found, "warning")]
    load_plant(tmp_path / "plant.toml")


def test_a_found_number_should_say_where(tmp_path):
    text = re.sub(r'source = "practice"\n+source_note.*\n', 'source = "found"\n', TEXT, count=1)
    found, = checked(tmp_path, text)
    assert (found.severity, found.key, found.rule) == (
        "warning", "part KF1: source", "should have a source_note that says where")


def test_unconnected_parts_are_warnings(tmp_path):
    text = TEXT + ('\n[[part]]\ndesignation = "GP9"\nwhat = "spare pump"\nkind = "pump"\n'
                             "mtbf_h = 25000\nmttr_h = 12\n")
    assert checked(tmp_path, text) == [
        Finding(line_with(text, "GP9") - 1, "part GP9",
                "should join, feed or be needed by something", "nothing", "warning")]


def test_a_voter_of_a_pair_needs_no_wire(tmp_path):
    text = TEXT + ('\n[[part]]\ndesignation = "KV1"\nwhat = "third vote"\nkind = "voter"\n'
                   "mtbf_h = 100000\nmttr_h = 8\n")
    assert not [each for each in checked(tmp_path, text) if "KV1" in each.key]


def test_functions_that_can_never_work_are_warnings(tmp_path):
    text = TEXT.replace('joins = ["KF10"]', 'joins = ["BL1"]', 2)
    found = checked(tmp_path, text)
    assert {(each.line, each.key, each.severity) for each in found} == {
        (line_with(text, "[[function]]", nth), f"function {name}", "warning")
        for nth, name in ((1, "control kept"), (3, "water moved"))}
    assert found[0].rule == "must be able to work with all parts whole"
    assert found[0].found == "no way from KF1 or KF2 to KF10"
    # The sums of such a function are none, and say so in a sentence.
    with pytest.raises(ValueError, match=r"got 'control kept' of as built: workbook check says why"):
        causes_of(build(tomllib.loads(text)), "control kept")


def test_a_controller_wired_to_nothing_is_a_warning(tmp_path):
    """It feeds, joins and is needed by the pair, and still cannot take over a single rack."""
    text = TEXT.replace('joins = ["KF2", "KF10B"]', 'joins = ["KF10B"]')
    assert text != TEXT
    found = {each.key: each for each in checked(tmp_path, text)}
    assert (found["part KF2"].severity, found["part KF2"].found) == ("warning", "none to KF10")
    assert found.keys() == {"part KF2", "part WF2"}


def test_a_pair_without_a_sync_cable_is_a_warning(tmp_path):
    text = TEXT.replace('sync = ["WF9"]\n', "")
    found = checked(tmp_path, text)
    assert [(each.line, each.key) for each in found] == [(line_with(text, "[pair]"), "pair")]
    assert "sync" in found[0].rule


def test_no_trap_is_taken_in_silence(tmp_path):
    """Mistakes that leave the form of the file right and give a wrong verdict."""
    assert taken_in_silence(TRAPS, tmp_path) == {}


@pytest.mark.parametrize(("old", "new"), [
    ("mtbf_h = 45000", "mtbf_h = 0"), ('["WF3", "PH1"]', '["WF33", "PH1"]'),
    ("cost = 20000", "cost = -1"), ("cost = 20000", ""), ("dead = 0.7", "ded = 0.7")])
def test_an_error_does_not_hide_a_doubt_of_the_plant(tmp_path, old, new):
    """The second controller reaches nothing, whatever else is wrong in the file."""
    text = TEXT.replace('joins = ["KF2", "KF10B"]', 'joins = ["KF10B"]')
    assert old in text
    found = checked(tmp_path, text.replace(old, new, 1))
    assert [each.severity for each in found].count("error") == 1
    assert [each.key for each in found if each.found == "none to KF10"] == ["part KF2"]
    # And what is put aside for it brings no doubt of its own.
    assert {each.key for each in found if each.severity == "warning"} == {"part KF2", "part WF2"}


def test_doubts_stand_beside_errors(tmp_path):
    """An error in one number does not hide that another one is unusual."""
    text = TEXT.replace("mttr_h = 4", "mttr_h = -4", 1).replace(
        "mtbf_h = 250000", "mtbf_h = 25000", 1)
    found = checked(tmp_path, text)
    assert {each.severity for each in found} == {"error", "warning"}
    assert [each.found for each in found if each.severity == "warning"] == [
        "25000", "25000 and 250000"]
    # A doubt never speaks of what is no number at all.
    for odd in ('"4"', "true", "nan", "[]"):
        checked(tmp_path, TEXT.replace("mttr_h = 4", f"mttr_h = {odd}", 1))


def test_a_share_noticed_that_the_rig_does_not_show_wants_a_note(tmp_path):
    """A dead pump raises an alarm; who says that it is seen in 60 % only must say why."""
    before = 'designation = "GP1"\n'
    text = TEXT.replace(before, before + "noticed = 0.6\n")
    (found,) = checked(tmp_path, text)
    assert (found.key, found.found) == ("part GP1", "0.6") and "the rig shows, 1," in found.rule
    assert checked(tmp_path, text.replace(
        "noticed = 0.6\n", 'noticed = 0.6\nnoticed_note = "idle"\n')) == []
    assert checked(tmp_path, text.replace("noticed = 0.6\n", "noticed = 0.95\n")) == []


def test_feeds_that_nobody_sees_fail_want_a_test(tmp_path):
    """Doubled, a feed fails unseen; the sums take a test every half year, and say so."""
    text = TEXT.partition("[[variant]]")[0].replace('fed_by = ["TB1"]', 'fed_by = ["TB1", "TB2"]')
    text = re.sub(r'(designation = "TB2"[^[]*?)fitted = false\n', r"\1", text)
    found = [each for each in checked(tmp_path, text) if "test_interval_h" in each.rule]
    assert {each.key for each in found} >= {"part TB1", "part TB2"}
    sure = re.sub(r'(designation = "TB[12]"\n)', r"\1test_interval_h = 730\n", text)
    assert not [each for each in checked(tmp_path, sure) if each.key in ("part TB1", "part TB2")]


def test_a_generator_beside_the_mains_needs_no_feed(tmp_path):
    """It works while the mains are out: that is what it is there for. A machine elsewhere wants one."""
    plain = '[[part]]\ndesignation = "{}"\nwhat = "a set"\nkind = "{}"\nmtbf_h = 4000\nmttr_h = 2\n'
    text = TEXT.replace("[[part]]", "\n".join(map(plain.format, ("Q0", "GG1", "M1"), (
        "mains", "machine", "machine"))) + "\n[[part]]", 1)
    text = re.sub(r'(designation = "GP1"\n)', r'\1fed_by = ["Q0", "GG1"]\n', text)
    asked = {each.key for each in checked(tmp_path, text) if "what feeds it" in each.rule}
    assert "part M1" in asked and "part GG1" not in asked


def test_functions_that_a_variant_makes_impossible_are_warnings(tmp_path):
    text = TEXT.replace("price_per_year = 1550\n",
                                  'price_per_year = 1550\nremove = ["KF10A", "KF10B"]\n')
    found = checked(tmp_path, text)
    assert [(each.key, each.rule) for each in found] == [
        ("variant as built", f"as to function {name} must be able to work with all parts whole")
        for name in ("control kept", "water moved")]


# ---------------------------------------------------------------- variants of a document


def test_a_variant_changes_what_it_names_and_nothing_else():
    document = read_file(find_file("brackenquay"))[0]
    before = json.dumps(document)
    changed = with_variant(document, "V3")
    assert json.dumps(document) == before
    differ = {new["designation"] for old, new in zip(document["part"], changed["part"], strict=True)
              if old != new}
    assert differ == {"TB2", "GB2", "BL2", "KF10", "KF20", "KF30"}
    assert {key for key in document if document[key] != changed[key]} == {"part"}
    rack, = ({**old, "mttr_h": 1} for old in document["part"] if old["designation"] == "KF10")
    assert rack in changed["part"]


def test_a_variant_may_bring_a_pair_or_change_one():
    pair, document = {"units": ["A", "B"]}, {"part": [], "variant": [
        {"name": "two", "pair": {"units": ["A", "B"]}},
        {"name": "often", "like": "two", "pair": {"test_interval_h": 168}}, {"name": "same"}]}
    assert with_variant(document, "two")["pair"] == pair
    assert with_variant(document, "often")["pair"] == pair | {"test_interval_h": 168}
    assert "pair" not in with_variant(document, "same")
    assert with_variant(document | {"pair": pair}, "same")["pair"] == pair


def test_what_is_not_fitted_is_mentioned_nowhere():
    document = read_file(find_file("brackenquay"))[0]
    for name in (None, *(table["name"] for table in document["variant"])):
        there = fitted(document if name is None else with_variant(document, name))
        del there["variant"]
        gone = {table["designation"] for table in document["part"]} - {
            table["designation"] for table in there["part"]}
        assert bool(gone) == (name != "V3")
        assert not gone & {value for path, value in values(there)
                           if isinstance(value, str)}


def test_what_is_left_of_a_group_must_be_enough_of_one():
    """Of G1 and G2 the one is not fitted: a spare is for the other; two alike are none any more."""
    gone, left, both, other = ["G1"], ["G2"], ["G1", "G2"], ["G2", "G3"]
    one = {"spare", "maintenance", "mode"}
    document = {
        "part": [{"designation": name, "fitted": name != "G1", "fed_by": both} for name in
                 ("G1", "G2", "G3")],
        "function": [{"needs": ["G1", {"at_least": 1, "of": both}, {"at_least": 1, "of": other},
                                {"reached": both}]}],
        **{key: [{"parts": gone}, {"parts": both}, {"parts": other}]
           for key in (*one, "twins", "changeover")},
        "shared_event": [{"breaks": gone}, {"breaks": both}, {"breaks": other}]}
    there = fitted(document)
    assert [part["fed_by"] for part in there["part"]] == [left, left]
    assert there["function"] == [
        {"needs": ["G2", {"at_least": 1, "of": other}, {"reached": both}]}]
    for key in (*one, "twins", "changeover"):
        assert there[key] == [*([{"parts": left}] if key in one else []), {"parts": other}], key
    assert there["shared_event"] == [{"breaks": left}, {"breaks": other}]


def test_an_unknown_variant_names_what_there_is():
    document = read_file(find_file("mirelow"))[0]
    with pytest.raises(ValueError, match="one of no spare, spare, thermostat, pair, got 'V9'"):
        with_variant(document, "V9")


@pytest.mark.parametrize("old, new, told", [
    ("[[changeover]]", "[changeover]", ["must be a list in [ ], [[changeover]] and not [changeover]"]),
    ('fed_by = ["TB1"]', 'fed_by = "TB1"', ["must be a list in [ ], got 'TB1' (write [\"TB1\"])"]),
    ('fed_by = ["TB1"]', 'fed_by = "TB1, TB2"', ["must be a list in [ ], got 'TB1, TB2' (write [\"TB1\", \"TB2\"])"]),
    ('kind = "rack"\n', "", ["must have kind"]),
    ("hours_per_year = 8760", "hours_per_year = 10000", ["hours_per_year must be <= 8760"]),
    ("running = 2", "running = 3", ["running must be below 3"]),
])
def test_a_slip_is_told_once_and_with_the_way_out(tmp_path, old, new, told):
    assert TEXT.count(old)
    found = [str(each) for each in checked(tmp_path, TEXT.replace(old, new, 1)) if each.severity == "error"]
    assert len(found) == len(told) and all(words in said for words, said in zip(told, found, strict=True))
