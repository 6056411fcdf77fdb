"""Plant files with one mistake each that a reader makes and that gives a wrong verdict.

Each turns the text of the starter into that of a file that is read without an error in its form;
`tests/test_file_rules.py` asks that the check says so, as does `python -m tests.traps`.
"""

import re
import sys
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path

from labkit.plant.file import starter_text
from labkit.plant.file_check import check_file


def put(old: str, new: str, nth: int = 1) -> Callable[[str], str]:
    """Put a text in the place of the n-th that is there."""
    def change(text: str) -> str:
        at = -1
        for _ in range(nth):
            at = text.index(old, at + 1)
        return text[:at] + new + text[at + len(old):]
    return change


def of(part: str, old: str, new: str) -> Callable[[str], str]:
    """Put a text in the place of another in the table of a part."""
    def change(text: str) -> str:
        at = text.index(f'designation = "{part}"')
        return text[:at] + text[at:].replace(old, new, 1)
    return change


def more(tables: str) -> Callable[[str], str]:
    """Write tables at the end."""
    return lambda text: f"{text}\n{tables}"


def part(designation: str, kind: str, rest: str = "", mtbf_h: float = 100_000) -> str:
    """Write the table of a part."""
    return (f'[[part]]\ndesignation = "{designation}"\nwhat = "a {kind}"\nkind = "{kind}"\n'
            f"mtbf_h = {mtbf_h}\nmttr_h = 4\n{rest}\n")


def both(*changes: Callable[[str], str]) -> Callable[[str], str]:
    """Make several changes."""
    def change(text: str) -> str:
        for each in changes:
            text = each(text)
        return text
    return change


def all_mtbf(kind: str) -> Callable[[str], str]:
    """Give a part of a kind that something needs, with its MTBF in years."""
    return both(more(part("X1", kind, 'joins = ["KF10"]', mtbf_h=20)),
                put('needs = ["BL1"]', 'needs = ["BL1", "X1"]'))


def without_twins(*parts: str) -> Callable[[str], str]:
    """Leave out the table that says what these have in common."""
    table = f'[[twins]]\nparts = [{", ".join(f"{chr(34)}{each}{chr(34)}" for each in parts)}]'
    return lambda text: text[:text.index(table)] + re.sub(
        r"\A(?:.+\n)+", "", text[text.index(table):], count=1)


# By name: a part of what the check has to say, and the mistake.
TRAPS: dict[str, tuple[str, Callable[[str], str]]] = {
    **{f"years as hours, {kind}": (said, all_mtbf(kind)) for kind, said in (
        *((kind, "for any part (common practice; 20 years would be 175200)")
          for kind in ("valve", "machine", "other", "voter")),
        ("sensor", "20 years would be 175200"), ("module", "20 years would be 175200"),
        ("pump", "usually 10000 to 40000"), ("analyser", "usually 5000 to 40000"))},
    "years as hours, controller": (
        "7 years would be 61320",
        lambda text: text.replace("mtbf_h = 60000", "mtbf_h = 7")),
    "years as hours, event": (
        "50 years would be 438000",
        put("# mtbf_h = 5000000\n# mttr_h = 24", "mtbf_h = 50\nmttr_h = 24")),
    "years as hours, test of the pair": (
        "0.5 years would be 4380",
        put("test_interval_h = 4380\n# Hours, above 0; default 4380. How often the standby", "test_interval_h = 0.5\n# How often the standby")),
    "months as hours, test of a part": (
        "usually 168 to 43800",
        put("# test_interval_h = 4380", "test_interval_h = 6")),
    "thousands set apart by a point": (
        "25 thousand would be 25000",
        of("GP1", "mtbf_h = 25000", "mtbf_h = 25.000")),
    "function that asks for no controller": (
        "part KF10 should be in reached of a function, for else no sum counts it and who leads it",
        lambda text: re.sub(r'\nreached = \["KF10"\]', "", text)),
    "tank at racks of other names": (
        "process should say pump_rack, for else no fault there is seen at the tank, got none, and no KF10",
        both(lambda text: text.replace("KF10", "R1"), more("[process]\nset_point_m = 1.1"))),
    "minutes as hours, repair": (
        "480 minutes would be 8",
        of("PH1", "mttr_h = 8", "mttr_h = 480")),
    "days as hours, repair": (
        "0.5 days would be 12",
        of("GP1", "mttr_h = 12", "mttr_h = 0.5")),
    "minutes as hours, restart": (
        "30 minutes would be 0.5",
        put("restart_h = 0.5", "restart_h = 30")),
    "repair longer than life": (
        "should be below mtbf_h",
        more(part("X1", "other", 'mttr_h = 0').replace("mttr_h = 4\nmttr_h = 0", "mttr_h = 100000").replace("[[part]]", "[[part]]\njoins = [\"KF10\"]"))),
    "sync cable on one unit": (
        "their sync cable, got no way to KF2",
        of("WF9", 'joins = ["KF1", "KF2"]', 'joins = ["KF1"]')),
    "sync cable at the racks": (
        "their sync cable, got no way to KF1 and KF2",
        of("WF9", 'joins = ["KF1", "KF2"]', 'joins = ["KF10A", "KF10B"]')),
    "pair without sync": (
        "(sync), got none",
        put('sync = ["WF9"]\n', "")),
    "panel bus as sync cable": (
        "part WF3 should carry the sync of the pair alone, for else one cut takes that and more, got the way to PH1",
        put('sync = ["WF9"]', 'sync = ["WF3"]')),
    "bus of the racks as sync cable": (
        "part WF1 should carry the sync of the pair alone, for else one cut takes that and more, got the way to KF10",
        both(of("WF1", '["KF1", "KF10A"]', '["KF1", "KF2", "KF10A"]'),
             put('sync = ["WF9"]', 'sync = ["WF9", "WF1"]'))),
    "sync cable at an interface too": (
        "part WF9 should carry the sync of the pair alone",
        of("WF9", '["KF1", "KF2"]', '["KF1", "KF2", "KF10A"]')),
    "controllers without a cable": (
        "should join KF2 over a cable or a switch",
        of("KF1", "mttr_h = 4", 'mttr_h = 4\njoins = ["KF2"]')),
    "interface at a controller": (
        "should join KF1 over a cable or a switch, which can fail too, got interface at controller",
        of("KF10A", '["KF10"]', '["KF10", "KF1"]')),
    "interface of two racks": (
        "should join the one rack that it is an interface of, got KF10, KF20",
        both(of("KF10A", '["KF10"]', '["KF10", "KF20"]'), more(part("KF20", "rack")))),
    "supply that joins": (
        "part TB1 joins should name what signals go to",
        both(lambda text: text.replace('fed_by = ["TB1"]\n', "\n", 2),
             of("TB1", "mttr_h = 3", 'mttr_h = 3\njoins = ["KF1", "KF2"]'))),
    "rack among the needs": (
        "should leave racks and interfaces to reached, which asks for a way to a rack too, got KF10",
        put('needs = ["WF3", "PH1"]', 'needs = ["WF3", "PH1", "KF10"]')),
    "supply among the needs": (
        "needs should leave out what feeds the others, for they are lost with it where no other feed is left, got TB1",
        put('needs = ["BL1"', 'needs = ["TB1", "BL1"')),
    "mains behind a supply": (
        "part Q0 fed_by should be left out of the mains",
        both(more(part("Q0", "mains", 'fed_by = ["TB1"]', mtbf_h=9_000)),
             of("KF2", 'fed_by = ["TB1"]', 'fed_by = ["TB1", "Q0"]'))),
    "voter on the supply of the pair": (
        "part KV1 should have a feed of its own",
        more(part("KV1", "voter", 'fed_by = ["TB1"]\njoins = ["WF9"]'))),
    "racks that change over": (
        "changeover racks should name parts that run and rest, as pumps do, got KF10, a rack",
        more(part("KF20", "rack", 'joins = ["KF1", "KF2"]')
             + '[[changeover]]\nname = "racks"\nparts = ["KF10", "KF20"]\nstarts = 0.9\n')),
    "event at one part": (
        "should break several parts, for one fails by its own mtbf_h, got WF9",
        more('[[shared_event]]\nname = "E1"\nwhat = "dug through"\nbreaks = ["WF9"]\n')),
    "second controller at nothing": (
        "cannot take over, got none to KF10",
        of("WF2", 'joins = ["KF2", "KF10B"]', 'joins = ["KF10B"]')),
    "second controller at nothing, in a variant": (
        "variant supply doubled as to part KF2 should have a way",
        put(
        'fit = ["TB2"]', 'fit = ["TB2"]\nremove = ["WF2"]')),
    "UPS behind the mains, no battery": (
        "part GB1 should have battery_h",
        both(
        more(part("GB1", "ups", 'fed_by = ["Q0"]') + part("Q0", "other")),
        of("TB1", 'mttr_h = 3', 'mttr_h = 3\nfed_by = ["GB1"]'))),
    "rack without a wire": (
        "part KF20 should have a way to a controller",
        more(part("KF20", "rack"))),
    "rack with sensors and no link": (
        "part KF20 should have a way to a controller",
        more(part("KF20", "rack") + part("BL2", "sensor", 'joins = ["KF20"]'))),
    "twins of pump and sensor": (
        "GP1, a pump and BL1, a sensor",
        both(put('parts = ["GP1", "GP2", "GP3"]', 'parts = ["GP1", "BL1"]', nth=3))),
    "twins without one of three": (
        "share no cause with them, got none with GP3",
        put('parts = ["GP1", "GP2", "GP3"]\ncommon', 'parts = ["GP1", "GP2"]\ncommon')),
    "third controller that leads nothing": (
        "part KF3 should lead for a function (by)",
        more(part("KF3", "controller", 'joins = ["KF30"]') + part("KF30", "rack"))),
    "rack of a third controller": (
        'write by = ["KF3"]',
        both(more(part("KF3", "controller", 'joins = ["KF30"]') + part("KF30", "rack")),
             more('[[function]]\nname = "sump dry"\nreached = ["KF30"]'))),
    "third controller at the racks of the pair": (
        "must be a rack that no function without by reaches",
        both(more(part("KF3", "controller", 'joins = ["KF10"]')),
             more('[[function]]\nname = "sump dry"\nreached = ["KF10"]\nby = ["KF3"]'))),
    "noticed below 1 in series": (
        "part BL1 noticed below 1",
        of("BL1", "mttr_h = 3", 'mttr_h = 3\nnoticed = 0.4\nnoticed_note = "seldom"')),
    "noticed 0 in series, panel": (
        "part PH1 noticed below 1",
        of("PH1", "mttr_h = 8", 'mttr_h = 8\nnoticed = 0.0\nnoticed_note = "empty room"')),
    "all shares 0": (
        "must have a share above 0",
        put("dead = 0.7\nstuck = 0.3", "dead = 0\nstuck = 0")),
    "no common cause in the pair": (
        "pair: common_cause is usually",
        put("common_cause = 0.05\n", "")),
    "common cause in per cent of per cent": (
        "pair: common_cause is usually 0.005 to 0.1",
        put("common_cause = 0.05", "common_cause = 0.0005")),
    "racks in two lists": (
        "all racks in one reached",
        both(
        put('reached = ["KF10"]\n', ""),
        put('needs = ["BL1"]', 'needs = [{reached = ["KF10"]}, {reached = ["KF10", "KF20"]}, "BL1"]'),
        more(part("KF20", "rack") + part("KF20A", "interface", 'joins = ["KF20", "KF1", "KF2"]')))),
    "sensor at no rack": (
        "part BL1 should have a way to a rack",
        of("BL1", 'joins = ["KF10"]', "")),
    "pump at a rack that is not reached": (
        "the rack of GP2 in reached: KF20",
        both(
        more(part("KF20", "rack") + part("KF20A", "interface", 'joins = ["KF20", "KF1", "KF2"]')),
        of("GP2", 'joins = ["KF10"]', 'joins = ["KF20"]'))),
    "panel without its cable": (
        "needs without WF3",
        put('needs = ["WF3", "PH1"]', 'needs = ["PH1"]')),
    "panel at no controller": (
        "part PH1 should have a way to a controller",
        of("WF3", 'joins = ["KF1", "KF2", "PH1"]', 'joins = ["PH1"]')),
    "fed by a sensor": (
        "BL1, a sensor",
        of("KF2", 'fed_by = ["TB1"]', 'fed_by = ["BL1"]')),
    "idle longer than a year has": (
        "idle_h should be <= 0",
        put("idle_h = 0", "idle_h = 8000")),
    "part that nothing needs": (
        "part X1 should join",
        more(part("X1", "other"))),
    "found without a place": (
        "source_note",
        of("TB1", "mttr_h = 3", 'mttr_h = 3\nsource = "found"')),
    "function that cannot work": (
        "KF1 should have a way to every rack",
        of("KF10A", 'joins = ["KF10"]', 'joins = ["BL1"]')),
    "feed doubled, nobody looks": (
        "part TB1 should say noticed",
        both(
        lambda text: text.replace('fed_by = ["TB1"]', 'fed_by = ["TB1", "TB2"]', 2),
        of("TB2", "fitted = false", ""), put('fit = ["TB2"]', ""))),
    "one unit of the pair unfed": (
        "part KF2 should name what feeds it (fed_by), as KF1 does",
        of("KF2", 'fed_by = ["TB1"]', "")),
    "one of two racks unfed": (
        "part KF20 should name what feeds it (fed_by), as KF10 does",
        both(more(part("KF20", "rack", 'joins = ["KF1", "KF2"]')),
             of("KF10", "mttr_h = 3", 'mttr_h = 3\nfed_by = ["TB1"]'),
             put('reached = ["KF10"]', 'reached = ["KF10", "KF20"]'))),
    "a list where one of several is enough": (
        "needs should say at_least where one of them does without another",
        put('{at_least = 2, of = ["GP1", "GP2", "GP3"]}]', '"GP1", "GP2", "GP3"]')),
    "standby that is always diagnosed": (
        "pair: diagnosed is usually", put("diagnosed = 0.90\n", "")),
    "per cent of the wrong unit": (
        "people: wrong_unit is usually", put("wrong_unit = 0.003", "wrong_unit = 0.3")),
    "seconds as minutes in a step": (
        "longer_than_min is usually", put("longer_than_min = 45", "longer_than_min = 27000")),
    "step that costs nothing": (
        "the step never costs",
        put("cost = 20000", "cost = 0")),
    "step for nobody": (
        "the step never costs",
        put("chance = 1.0", "chance = 0")),
    "variant like the plant": (
        "got like as built",
        more('[[variant]]\nname = "copy"\n')),
    "years as hours in a variant": (
        "variant no test: part 1: mtbf_h",
        more('[[variant]]\nname = "no test"\npart = [{parts = ["GP1"], mtbf_h = 3}]\n')),
    "pair never tested": (
        "pair diagnosed should be",
        put("diagnosed = 0.90", "diagnosed = 0.0")),
    "perfect pair": (
        "pair: coverage is usually",
        put("coverage = 0.97", "coverage = 1.0")),
    "one pump called twice": (
        "must name nothing twice",
        put('of = ["GP1", "GP2", "GP3"]}]', 'of = ["GP1", "GP1", "GP2", "GP3"]}]')),
    "cost in a function that is asked for no hour": (
        "hours_per_year is usually",
        put("hours_per_year = 8760", "hours_per_year = 0.5")),
    "fitted nowhere": (
        "part X1 should be fitted by a variant",
        more(part("X1", "sensor", 'joins = ["KF10"]\nfitted = false'))),
    "kinds of fault that nothing has": (
        "something in the plant has",
        more("[how_often.\"third voter\"]\nlost = 1")),
    "cable with one end": (
        "part KF10B should join two things",
        of("WF2", 'joins = ["KF2", "KF10B"]', 'joins = ["KF2"]')),
    "coverage in a variant": (
        "variant supply doubled: pair: coverage",
        put("pair = {test_interval_h = 730}", "pair = {coverage = 1}")),
    "test in a variant, in months": (
        "variant supply doubled: pair: test_interval_h",
        put("pair = {test_interval_h = 730}", "pair = {test_interval_h = 3}")),
    "minutes as hours, battery": (
        "30 minutes would be 0.5", put("# battery_h = 4", "battery_h = 30")),
    "years as hours, replacement": (
        "5 years would be 43800",
        put("# ageing_shape = 3", "ageing_shape = 3\nreplaced_after_h = 5")),
    "replaced when it is long dead": (
        "should be below mtbf_h", put("# ageing_shape = 3", "ageing_shape = 3\nreplaced_after_h = 90000")),
    "alarm that is not noticed": (
        "should go with noticed = 1",
        put('# alarm = "KF1 FAULT"', 'alarm = "KF1 FAULT"\nnoticed = 0.5\nnoticed_note = "?"')),
    "short cuts that are the longer ones": (
        "shorter than the long ones",
        more(part("Q0", "mains", "short_cuts = {per_year = 6, mean_h = 20}", mtbf_h=9_000))),
    "share of starts that fail": (
        "changeover pumps: starts is usually", put("starts = 0.99", "starts = 0.01")),
    "minutes as hours, start by hand": (
        "changeover pumps: by_hand_h", put("by_hand_h = 0.5", "by_hand_h = 30")),
    "weeks as hours, duty change": (
        "changeover pumps: every_h", put("every_h = 168", "every_h = 1")),
    "changeover that says nothing": (
        "should say starts or every_h",
        both(put("starts = 0.99", ""), put("every_h = 168", ""))),
    "changeover of two where one is needed": (
        "running should be how many", put('needs = ["BL1", {at_least = 2', 'needs = ["BL1", {at_least = 1')),
    "years as hours, planned work": (
        "5 years would be 43800", more('[[maintenance]]\nname = "oil"\nparts = ["GP1"]\n'
                                       "every_h = 5\ntakes_h = 4")),
    "hours as days, delivery": (
        "spare controller: delivery_days is usually 0.5 to 400 (common practice; 504 hours would be 21)",
        put("delivery_days = 14", "delivery_days = 504")),
    "spare of unlike parts": (
        "spare controller should name parts of one kind",
        lambda text: text.replace('parts = ["KF1", "KF2"]\n# Designations; must be there. What it fits',
                                  'parts = ["KF1", "KF2", "GP1"]\n# What it fits')),
    "spare that no way of failing takes": (
        "spare pump: parts should name what fails in a way that takes a spare",
        both(put("# mttr_h = 30", "mttr_h = 30"), put("share = 0.6", "share = 0.6\nmttr_h = 6"),
             more('[[spare]]\nname = "pump"\nparts = ["GP1", "GP2"]\nstock = 1\ndelivery_days = 20\n'))),
    "checked by the author": (
        "should be another one than author", put('"C. Checker"', '"A. Author"')),
    "mains that feed nothing": (
        "part Q0 should join, feed", more(part("Q0", "mains", mtbf_h=9_000))),
    "like pumps without twins": (
        "should have [[twins]]", without_twins("GP1", "GP2", "GP3")),
    "vote of sensors without twins": (
        "none for BL1, BL2, BL3",
        both(more("".join(part(f"BL{n}", "sensor", 'joins = ["KF10"]') for n in (2, 3))),
             put('needs = ["BL1"]', 'needs = [{at_least = 2, of = ["BL1", "BL2", "BL3"]}]'))),
    "two panels without twins": (
        "none for PH1, PH2", both(more(part("PH2", "panel", 'joins = ["WF3"]', mtbf_h=45_000)),
                                  put('"PH1"]', '{at_least = 1, of = ["PH1", "PH2"]}]', 2))),
    "variant that adds a part for no price": (
        "should have a price_per_year", put("price_per_year = 1800", "price_per_year = 0")),
    "variant without its price": (
        "should have a price_per_year", put("price_per_year = 1800\n", "")),
    "hours of a day": (
        "hours_per_year is usually 25", put("hours_per_year = 8760", "hours_per_year = 24")),
    "hours of a shift": (
        "hours_per_year is usually 25", put("hours_per_year = 8760", "hours_per_year = 16")),
    "restart longer than the repair": (
        "at most mttr_h of the units", put("restart_h = 0.5", "restart_h = 6")),
    "minutes as hours, planned work": (
        "60 minutes would be 1", more('[[maintenance]]\nname = "oil"\nparts = ["KF10"]\n'
                                      "every_h = 8760\ntakes_h = 60")),
    "minutes as hours, a way of failing": (
        "600 minutes would be 10", put("# mttr_h = 30", "mttr_h = 600")),
    "days as hours, a way of failing": (
        "0.1 days would be 2.4", put("# mttr_h = 30", "mttr_h = 0.1")),
    "test rarer than the failure": (
        "test_interval_h should be below mtbf_h",
        of("GP1", "mttr_h = 12", 'mttr_h = 12\nnoticed = 0\nnoticed_note = "?"\ntest_interval_h = 40000')),
    "test of what is noticed": (
        "should go with noticed below 1", put("# test_interval_h = 4380", "noticed = 1\ntest_interval_h = 730")),
    "what no test finds, without an overhaul": (
        "must have overhaul_interval_h beside missed", put("# missed = 0.1", "missed = 0.1")),
    "what no test finds, of what is noticed": (
        "missed should go with noticed below 1", put(
            "# missed = 0.1", "noticed = 1\nmissed = 0.1\noverhaul_interval_h = 43800")),
    "overhaul more often than the test": (
        "overhaul_interval_h should be above test_interval_h", put(
            "# missed = 0.1", "missed = 0.1\noverhaul_interval_h = 4000")),
    "overhaul in years": (
        "10 years would be 87600", put("# missed = 0.1", "missed = 0.1\noverhaul_interval_h = 10")),
    "per cent that no test finds": (
        "missed must be <= 1", put("# missed = 0.1", "missed = 10\noverhaul_interval_h = 43800")),
    "one step twice": (
        "steps add up", more('[[costs.step]]\nname = "again"\nfunction = "water moved"\n'
                             "longer_than_min = 45\ncost = 20000")),
    "ways that are not all": (
        "0.46 in all", put("share = 0.6", "share = 0.06")),
    "ways that are more than all": (
        "1.3 in all", put("share = 0.6", "share = 0.9")),
    "limits of two units": (
        "less than 100 times apart", put("# range = {mtbf_h = [40000, 90000]}", "range = {mtbf_h = [5, 90000]}")),
    "event put right sooner than its parts": (
        "should not be below that of a part", put("# mtbf_h = 5000000\n# mttr_h = 24", "mtbf_h = 500000\nmttr_h = 1")),
    "one panel of two, without its way": (
        "function see and act should have PH1 in reached, or need all that it cannot do without",
        both(more(part("PH2", "panel", 'joins = ["WF3"]')),
             put('needs = ["WF3", "PH1"]', 'needs = [{at_least = 1, of = ["PH1", "PH2"]}]'))),
    "twins that are not alike": (
        "12000 and 25000", of("GP2", "mtbf_h = 25000", "mtbf_h = 12000")),
    "stock of hundreds": (
        "stock is usually 0 to 20", put("stock = 1\n", "stock = 100\n")),
    "share of restarts that fail": (
        "restart_succeeds is usually 0.5 to 1", put("restart_succeeds = 1.0", "restart_succeeds = 0.05")),
    **{f"{kind} that the mains do not feed": (
        f"part {name} should name what feeds it (fed_by), for else it works on",
        both(more(part("Q0", "mains", mtbf_h=9_000)), of("TB1", "mttr_h = 3", 'mttr_h = 3\nfed_by = ["Q0"]')))
        for kind, name in (("rack", "KF10"), ("pump", "GP2"), ("panel", "PH1"))},
    "found without a place, one number": (
        "source_note", of("TB1", "mttr_h = 3", 'mttr_h = 3\nsources = {mttr_h = "found"}')),
}


def taken_in_silence(names: Iterable[str], folder: Path) -> dict[str, list[str]]:
    """Return what the check says of those mistakes that it does not name."""
    silent, path = {}, folder / "plant.toml"
    for name in names:
        said, change = TRAPS[name]
        path.write_text(change(starter_text()), "utf-8")
        found = [str(each) for each in check_file(path)]
        if not any(said in each for each in found):
            silent[name] = found
    return silent


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        missed = taken_in_silence(TRAPS, Path(place))
    print(f"{len(TRAPS)} mistakes, {len(missed)} taken in silence", *missed.items(), sep="\n")
    sys.exit(bool(missed))
