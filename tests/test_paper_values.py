"""What the papers print, held by value: rates, severities, stocks, money, limits (see the file)."""

import csv
import dataclasses
import functools
import hashlib
import io
import math
import re
import tomllib
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from labkit.evidence.diagnosis import Check
from labkit.plant.plant import load_plant
from labkit.plant.plant_data import AtLeast, Changeover, Spare
from labkit.rig.checks import ALARM
from labkit.rig.effects import Do
from labkit.rig.finder import Suspect
from labkit.switchover.roles import Outputs
from labkit.switchover.settings import PairSettings
from lessons.exercises.attempts import course_version
from lessons.papers import comparison, fault_finding, spares, steps, switchover_sheet
from lessons.papers.basis import Basis, minutes, money, per_year, rounded, share
from lessons.papers.paper import CAUTIONS, Column, Paper, PaperTable, Section, texts
from lessons.papers.papers import MAKERS
from lessons.papers.spares import TARGET
from lessons.papers.steps import SheetStep
from tests.plants import PAIR, SINGLE

HELD = tomllib.loads(Path(__file__).with_name("paper_values.toml").read_text("utf-8"))
DATE = "2031-05-06"


def spaced(text):
    return re.sub("[\u00a0\u2009\u202f]", " ", text)


@functools.cache
def basis(plant):
    return Basis(load_plant(plant), date=DATE, draws=6)


@functools.cache
def paper(plant, name):
    maker, = (each for each in MAKERS if each.__name__ == name)
    return maker(basis(plant))


def modes(plant):
    table = csv.DictReader(io.StringIO(paper(plant, "failure_modes").csv()))
    return [{key: spaced(text) for key, text in row.items()} for row in table
            if row["kind"] == "row" and row["number"]]


@pytest.mark.parametrize("held", HELD["modes"], ids=lambda held: held["plant"])
def test_rate_and_severity_of_every_mode(held):
    found = [f"{row['severity']} | {spaced(per_year(float(row['failures_per_year'])))} "
             f"{row['source']} | {row['designation']} | {row['mode']}"
             for row in modes(held["plant"])]
    assert found == held["rows"].strip().splitlines()


@pytest.mark.parametrize("held", HELD["row"], ids=lambda held: f"{held['designation'][:12]} "
                                                               f"{held['mode']}")
def test_words_of_a_mode(held):
    found, = [row for row in modes(held["file"])
              if (row["designation"], row["mode"]) == (held["designation"], held["mode"])]
    assert {key: found[key] for key in held if key != "file"} == {
        key: text for key, text in held.items() if key != "file"}


@pytest.mark.parametrize("held", HELD["block"], ids=lambda held: f"{held['paper']} "
                                                                 f"{held['section'][:20]}")
def test_a_section_prints_these_lines(held):
    text = spaced(paper(held["plant"], held["paper"]).markdown()).replace("\\|", "|")
    section = re.split(r"\n#+ ", text.partition(f"# {held['section']}\n")[2])[0]
    found = [line.strip() for line in section.splitlines()
             if line.strip() and not line.startswith("| ---")]
    lines = held["lines"].strip().splitlines()
    if held["whole"]:
        assert found == lines
    else:
        at = iter(found)
        assert [line for line in lines if line not in at] == []  # there, and in this order


def test_how_numbers_are_written():
    assert [spaced(rounded(value)) for value in (1000, 999.9, 0.219, 12_345.6)] == [
        "1 000", "1 000", "0.219", "12 346"]
    assert [spaced(money(value)) for value in (0, 999.6, -1234.5, 1_234_567)] == [
        "0", "1 000", "-1 234", "1 234 567"]
    assert [spaced(per_year(value)) for value in (0, -1, 0.01, 0.00999, 1.26, 1 / 2_345)] == [
        "never", "-1/a", "0.01/a", "1 in 100 a", "1.3/a", "1 in 2 300 a"]
    assert [share(value) for value in (0, 1e-4, 9.9e-5, 0.9, 0.9123, 0.9995, 0.9994, 1)] == [
        "0 %", "0.01 %", "< 0.01 %", "90 %", "91.2 %", "> 99.9 %", "99.9 %", "100 %"]


@pytest.mark.parametrize("name", HELD["widths"])
def test_columns_fit_the_page_and_stand_as_drawn(name):
    made = paper("brackenquay", name)
    assert made.wide
    found = []
    for table in made.tables:
        columns = ", ".join(f"{each.key} {each.width:g}{'n' * each.numbers}"
                            for each in table.columns)
        found.append(f"{table.title}{' main' * table.main}{' small' * table.small}: {columns}")
        # per cent of the page, 1 for rounding; a width of 0 takes what is left
        assert sum(each.width for each in table.columns) <= 101
    assert found == HELD["widths"][name]


def csv_rows(name):
    return [row for row in csv.DictReader(io.StringIO(paper("brackenquay", name).csv()))
            if row["kind"] == "row"]


def test_comparison_in_the_file():
    """V1a: 11 096.67 + 1550; 159.5 min a year in 0.639 outages are 4.2 h each."""
    row, = (row for row in csv_rows("comparison") if row["variant"] == "V1a")
    assert row == {
        "kind": "row", "variant": "V1a", "about": "controller pair only, both on link A",
        "loss_EUR_per_year": "11096.67", "price_EUR_per_year": "1550.00", "together_EUR_per_year": "12646.67", "loss_fixed_durations_EUR_per_year": "12028.51",
        "down_min_per_year: control kept": "159.5", "down_min_per_year: see and act": "115.903",
        "down_min_per_year: water kept": "130.123", "down_min_per_year: air kept": "90.234",
        "down_min_per_year: machines ready": "89.8363", "outages_per_year: control kept": "0.638737",
        "outages_per_year: see and act": "0.265175", "outages_per_year: water kept": "0.497453",
        "outages_per_year: air kept": "0.29777", "outages_per_year: machines ready": "1.20036"}


def test_test_sheet_in_the_file():
    rows = csv_rows("switchover_test")
    # 13 steps of 10 and 5 of 3 must switch
    assert sum(row["type"] == "must switch" for row in rows) == 145
    assert [row["repeat"] for row in rows if row["step"] == "08"] == [str(n) for n in range(1, 11)]
    assert [(row["step"], row["gap_limit_ms"], row["tolerance"], row["expected_outputs"])
            for row in rows if (row["step"], row["repeat"]) in (
                ("01", "1"), ("08", "10"), ("18", "3"), ("20", "3"), ("36", "3"))] == [
        ("01", "", "exactly as listed", ""),
        ("08", "285", "at most 285 ms, from the action to the first output of KF2; output step at "
         "most 1 % of range; roles, lamps, lines exactly",
         "KF10, KF20 and KF30: held, then written again"),
        ("18", "500", "at most 500 ms, from the last write to the fail state, at the terminals; "
         "roles, lamps, lines exactly",
         "KF10, KF20 and KF30: fail state, at most 500 ms after the last write"),
        ("20", "", "no output moves; roles, lamps, lines exactly", "written all the time"),
        ("36", "60", "at most 60 ms, longest pause between two changes of the output; output step "
         "at most 1 % of range; roles, lamps, lines exactly", "written all the time")]


def test_limits_of_two_unlike_units():
    """The longer one counts: cycles of 40 and 60, so no power 160 + 20 + 120 + 20 + 5."""
    maker, = (each for each in MAKERS if each.__name__ == "switchover_test")
    made = maker(Basis(load_plant("mirelow", "pair"), PairSettings(second_cycle_ms=60), date=DATE))
    budget = next(table for table in made.tables if table.title == "Time budget, ms")
    assert [(row["least"], row["most"]) for row in budget.rows] == [
        ("195", "325"), ("65", "145"), ("65", "185"), ("0", "80"), ("", "500")]


def test_form_of_the_sheet():
    text = paper("mirelow", "switchover_test").markdown()
    assert text.count("\n- [ ] ") == 10  # preconditions to be ticked
    left = text.partition("## Deviations, and what was left untested\n")[2].partition("\n\n\n")[0]
    assert sum(line.startswith("|  |") for line in left.splitlines()) == 6
    assert "\n### What the repeats can prove\n" in paper("brackenquay",
                                                         "switchover_test").markdown()


def test_delivery_times_by_value():
    assert texts()["delivery_days"] == {
        "cable": 7, "supply": 14, "ups": 21, "sensor": 21, "analyser": 21, "pump": 42,
        "blower": 42, "fan": 42, "repeater": 28, "switch": 28, "panel": 56, "interface": 90,
        "module": 90, "rack": 90, "controller": 90}
    assert TARGET == 0.95


def proof_by_repeats(coverage):
    plant = load_plant("mirelow", "pair")
    pair = dataclasses.replace(plant.pair, coverage=coverage)
    basis = Basis(dataclasses.replace(plant, pair=pair), date=DATE)
    made = next(maker for maker in MAKERS if maker.__name__ == "switchover_test")(basis)
    proof = next(each for each in made.sections if each.title == "What the repeats can prove")
    return proof.texts[0]


def test_how_many_repeats_a_claim_needs():
    """7 steps of 10 and 5 of 3: 0.05^(1/85) = 0.965. For 0.99 it takes 299, for 1 none will do."""
    assert proof_by_repeats(0.99) == (
        "85 switchovers without a failure show a chance of success of at least 0.965 with 95 % "
        "confidence (exact binomial). The plant file counts with 0.99: 214 more would be needed "
        "to show that.")
    assert proof_by_repeats(1.0).endswith(
        "The plant file counts with 1: no number of tests shows a certainty.")
    assert proof_by_repeats(0.5).endswith(
        "The plant file counts with 0.5: that is shown, if all pass.")


def test_what_all_papers_rest_on():
    here = basis("brackenquay")
    assert here.leaders == ("KF1", "KF2") and basis("mirelow").leaders == ("KF1",)
    nobody = {name: part for name, part in load_plant("mirelow").parts.items() if name != "KF1"}
    assert Basis(dataclasses.replace(load_plant("mirelow"), parts=nobody), date=DATE).leaders == (
        None,)
    # what a part is, up to a colon or comma
    assert [here.named(name) for name in ("KF1", "TB1", "GB1", "XX9")] == [
        "KF1 controller 1", "TB1 24 V supply of both controllers", "GB1 UPS with battery", "XX9"]
    assert here.facts("any") == {
        "Plant": "Brackenquay Shellfish Hall", "Version": "V1", "File": "brackenquay.toml",
        "Date": DATE, "Document": "", "Revision": "", "Paper": "any",
        "Data": "invented unless said", "Program": f"workbook {course_version()}",
        "SHA-256 of the file": hashlib.sha256(Path(here.plant.path).read_bytes()).hexdigest()[:12],
        "Author": "", "Checker": "", "Copy for": ""}
    assert Basis(dataclasses.replace(here.plant, path=""), date=DATE).facts("any")["File"] == "none"


def assumed(plant, settings=None):
    return {row["what"]: (spaced(row["value"]), row["source"])
            for row in Basis(plant, settings, date=DATE).assumptions()}


def test_assumptions_of_other_plants_and_settings():
    orchard = assumed(load_plant("elderhang"))
    assert orchard["controller: KF1"] == (
        # no outage shows it: the works stand idle
        "MTBF 60 000 h, MTTR 4 h; 60 % noticed at once (the works stand idle; nobody is there), the "
        "rest by a test every 8 760 h",
        "practice")
    plant = load_plant()
    name, event = next(iter(plant.shared_events.items()))
    parts = dict(plant.parts) | {"BL1": dataclasses.replace(
        plant.parts["BL1"], source="field", source_note="10 years of our own")}
    changed = dataclasses.replace(
        plant, parts=parts, pair=dataclasses.replace(plant.pair, crews=2),
        shared_events={name: dataclasses.replace(event, mtbf_h=200_000.0, mttr_h=24.0)})
    found = assumed(changed, PairSettings(ask_racks=False, count_in_heartbeat=True, cycle_ms=30))
    assert found["sensor: BL1"] == ("MTBF 150 000 h, MTTR 3 h; 50 % noticed at once (by the rig), the rest by the outage that "
        "it causes or by a test every 4 380 h", "field: 10 years of our own")
    assert found["pair KF1, KF2"][0].endswith("restart by hand 0.5 h, 2 repair teams")
    assert found[f"{event.name} {event.what}"] == ("every 200 000 h, 24 h each", "invented")
    value, source = found["times of the controllers and racks"]
    assert value.startswith("cycle 30 ms, heartbeat 50 ms") and source == "given"
    assert value.endswith("racks asked: no, count in heartbeat: yes")


def common_causes(plant):
    maker, = (each for each in MAKERS if each.__name__ == "failure_modes")
    rows = csv.DictReader(io.StringIO(maker(Basis(plant, date=DATE)).csv()))
    return {row["designation"]: spaced(per_year(float(row["failures_per_year"]))) for row in rows
            if row["kind"] == "row" and row["mode"].startswith("all ")}


def test_common_causes_take_the_share_of_the_better_twin():
    """5 % of 8760 / 30 000 = 0.0146; of a twin that lasts 60 000 h half of it, 1 in 137 years."""
    plant = load_plant("mirelow")
    better = dataclasses.replace(plant.parts["GQ2"], mtbf_h=60_000.0)
    unlike = dataclasses.replace(plant, parts={**plant.parts, "GQ2": better})
    assert common_causes(plant) == {"GQ1+GQ2 common cause": "0.015/a"}
    assert common_causes(unlike) == {"GQ1+GQ2 common cause": "1 in 140 a"}
    twins, = plant.twins
    none = dataclasses.replace(twins, common_cause=0.0)
    assert common_causes(dataclasses.replace(plant, twins=(none,))) == {}
    lone = dataclasses.replace(twins, parts=("GQ1", "GQ9"))
    assert common_causes(dataclasses.replace(plant, twins=(lone,))) == {}


def drawn(plant, number):
    """Texts with their places, and boxes, of a picture of the comparison."""
    svg = re.findall(r"<svg.*?</svg>", paper(plant, "comparison").html(), re.DOTALL)[number]
    texts = {spaced(text): float(x) for x, text in re.findall(r'<text x="([\d.]+)"[^>]*>([^<]*)<', svg)}
    boxes = re.findall(r'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', svg)
    return texts, [(float(x), float(width)) for x, width in boxes[3:]]  # paper, two of the legend


def test_bars_are_as_long_as_their_money():
    """440 of the picture for the dearest, 15 065: V1a 11 097 x 440 / 15 065 = 324.1, then 45.3."""
    texts, bars = drawn("brackenquay", -2)
    assert bars[:3] == [(250, 440), (250, pytest.approx(324.1, abs=0.05)),
                        (pytest.approx(574.1, abs=0.05), pytest.approx(45.3, abs=0.05))]
    assert len(bars) == 2 * 9 - 1  # the first has no price
    assert "11 097 + 1 550 = 12 647" in texts and "15 065" in texts


def test_tornado_is_drawn_to_scale():
    """Ticks of 2000, 151 apart; the file's 2418 stands at 326.8 + 2.418 x 75.5 = 509.4."""
    texts, bars = drawn("brackenquay", -1)
    assert [texts[text] for text in ("0", "2 000", "4 000", "6 000")] == [
        326.8, 477.9, 628.9, 779.9]
    assert "1 000" not in texts and "8 000" not in texts
    # within rounding of EUR and of the drawing: from 2418 up to 6361 with the smallest MTBF, 3.943 x 75.5; down to 41 with the largest
    assert bars[0] == (pytest.approx(509.4, abs=0.11), pytest.approx(297.7, abs=0.1))
    assert bars[1] == (pytest.approx(509.5 - 179.6, abs=0.15), pytest.approx(179.6, abs=0.15))
    # lost basins: chance 1215 to 4831, 91 and 182 from 2420
    assert bars[2:4] == [(418.5, 91), (509.5, 182)]
    assert len(bars) == 16          # the eight widest, to both sides
    assert "does not pay" in texts and "pays" in texts


def compared(plant):
    maker, = (each for each in MAKERS if each.__name__ == "comparison")
    return maker(Basis(plant, date=DATE, draws=2))


def test_one_variant_and_none_with_a_pair():
    plant = load_plant("mirelow")
    lone = dataclasses.replace(plant, variants={"spare": plant.variants["spare"]})
    said = spaced(compared(lone).markdown())
    assert "(least)" not in said and "The file has no variants" in said
    few = dataclasses.replace(plant, variants={
        name: plant.variants[name] for name in ("no spare", "spare", "thermostat")})
    said = spaced(compared(few).markdown())
    # with repairs as widely spread as an exponential law has them the thermostat brings more
    assert "## What has to be true for thermostat to pay" in said
    assert "thermostat against no spare: gain less price" in said


# ---- pieces, worked by hand


def outcome(variant, loss, price):
    return SimpleNamespace(variant=variant, loss_per_year=loss, price_per_year=price)


@pytest.mark.parametrize(("variants", "way"), [
    # 10 for nothing comes first; then 30 for 10 before 70 for 50; the last 40 cost 40
    ({"A": (60, 10), "B": (20, 50), "C": (90, 0)}, [("at", "C", "10", "0"), ("C", "A", "30", "10")]),
    ({"A": (60, 10), "B": (20, 49)}, [("at", "A", "40", "10"), ("A", "B", "40", "39")]),
    # of two for nothing the one that gains more; a gain of 0 is none, and a price may go down
    ({"A": (90, 0), "B": (80, 0)}, [("at", "B", "20", "0")]), ({"A": (99.2, 0)}, [("at", "A", "1", "0")]), ({"A": (100, 0), "B": (99, 1)}, []),
    ({"A": (95, -5)}, [("at", "A", "5", "-5")]), ({"A": (105, -50)}, [])])
def test_the_way_from_variant_to_variant(variants, way):
    found = list(comparison._next_steps((outcome("at", 100, 0), *(
        outcome(name, *numbers) for name, numbers in variants.items()))))
    assert [tuple(row[key] for key in ("from", "to", "gain", "price")) for row in found[:-1]] == way
    assert found[-1]["from"] == (way[-1][1] if way else "at") and found[-1]["to"].startswith("stop")
    assert [row["net"] for row in found[:-1]] == [str(int(gain) - int(price)) for *_, gain, price in way]


@pytest.mark.parametrize(("key", "value", "low", "high", "why", "limits"), [
    ("a: mtbf_h", 5, 5, 10, "usual", (2.5, 10)), ("a: mtbf_h", 10, 5, 10, "usual", (5, 20)),
    ("a: mtbf_h", 4, 5, 10, "usual", (2, 10)), ("a: mtbf_h", 12, 5, 10, "usual", (5, 24)),
    ("a: mtbf_h", 7, 5, 10, "usual", None), ("a: mtbf_h", 5, 5, 10, "the file", None),
    # a share stays below 1: half of what is left; what is 0 has no half and no double
    ("a: coverage", 0.9, 0.5, 0.9, "usual", (0.5, 0.95)), ("a: mtbf_h", 0, 0, 0, "usual", None),
    ("a: chance", 0, 0.1, 0.5, "usual", None), ("a: coverage", 0.4, 0.5, 0.9, "usual", (0.2, 0.9))])
def test_limits_on_both_sides(key, value, low, high, why, limits):
    one = SimpleNamespace(key=key, value=value, low=low, high=high, why=why)
    assert comparison._both_ways([one]) == ({} if limits is None else {key: pytest.approx(limits, rel=1e-12)})


def test_what_always_pays_is_told_from_what_turns():
    evens = tuple(SimpleNamespace(assumption=SimpleNamespace(key=key, value=0.5), limit=limit, pays=pays)
                  for key, limit, pays in (("a", 0.25, "above"), ("b", None, "always"), ("c", None, "never")))
    table = comparison._true(evens)
    assert table.rows == ({"key": "a", "is": "0.5", "must": "above 0.25"},)
    assert table.note == "It always pays, whatever the value of b. It never pays, whatever the value of c."
    assert comparison._true(evens[:1]).note == ""
    assert comparison._true(evens[1:]).rows[0]["key"] == "no single number decides"


@pytest.mark.parametrize(("cables", "buses", "plugs", "terminators"), [
    (1, 0, "2", "2"), (6, 1, "2", "2"), (7, 2, "3", "4"), (10, 3, "4", "6")])
def test_small_things_to_keep(cables, buses, plugs, terminators):
    """A plug for three cables and two at least; two terminators for each bus, and two in any case."""
    parts = {f"W{n}": SimpleNamespace(kind="cable", designation=f"W{n}") for n in range(cables)}
    faults = {f"W{n}: terminator missing": None for n in range(buses)}
    rows = spares._small(SimpleNamespace(plant=SimpleNamespace(parts=parts), faults=faults)).rows
    assert [row["count"] for row in rows if row["what"].startswith(("plugs", "terminators"))] == [plugs, terminators]


def suspect(share, cause="KF1: off", put_right="switch on", label=""):
    return SimpleNamespace(share=share, cause=cause, put_right=put_right, label=label or cause)


def test_suspects_that_are_put_right_alike_end_a_branch_together():
    """0.45 and 0.35 are the same: 80 % and an end; 79 % is none, and a third check always is one."""
    one, other = suspect(0.45), suspect(0.35, "KF2: off")
    apart = suspect(0.2, "GB1: off", "new battery")
    assert fault_finding._groups((apart, one, other)) == [[one, other], [apart]]
    assert fault_finding._alike((one, other, apart)) == ((one, other), pytest.approx(0.8))
    assert fault_finding._ends((one, other, apart), {})
    less = (one, suspect(0.34, "KF2: off"), suspect(0.21, "GB1: off", "new battery"))
    assert [fault_finding._ends(less, dict.fromkeys(range(made))) for made in (0, 2, 3)] == [False, False, True]
    assert fault_finding._alike(()) == ((), 0.0)
    assert fault_finding._end(()) == "call, and give all readings"
    assert fault_finding._end((one, other, apart)) == "put right: KF1: off or KF2: off (80 %). switch on"
    small = (suspect(0.9), suspect(0.04, "KF2: off"), suspect(0.05, "KF3: off"))
    assert fault_finding._end(small) == "put right: KF1: off or KF3: off (99 %). switch on"
    # a twentieth of what is sure is left out
    assert fault_finding._end((suspect(0.95), suspect(0.05, "KF2: off"))) == "put right: KF1: off (100 %). switch on"
    nothing = suspect(0.9, "no fault", "look again")
    assert fault_finding._end((nothing,)) == "no fault (90 %): look again"
    assert fault_finding._end((*less, suspect(0.01, "x: y", "z"))) == (
        "not settled: KF1: off 45 %; KF2: off 34 %; GB1: off 21 %. Take them in this order, one at a time; if "
        "it stays, call.")


def test_a_door_leads_to_causes_by_how_often_they_come():
    """0.2 and 0.1 of one call, 0.05 of the other; a run with two alarms of one form is one call."""
    def run(cause, weight):
        return SimpleNamespace(cause=cause, weight=weight, fault=None)

    first, second, third = run("KF1: off", 0.2), run("KF2: dead", 0.1), run("GB1: worn", 0.05)
    table = fault_finding._door("Said", "somebody says", None, [
        ("b", third, "no. 3"), ("a", second, "no. 2"), ("a", first, "no. 1"), ("a", first, "no. 4")])
    assert [tuple(row.values()) for row in table.rows] == [
        ("a", "30 %", "off 67 %; dead 33 %", "no. 1, no. 4 and no. 2"), ("b", "5 %", "worn 100 %", "no. 3")]
    many = fault_finding._door("Said", "alarm", None, [("a", run(f"X: {n}", 0.1), "") for n in range(5)])
    assert many.rows[0]["causes"] == "0 20 %; 1 20 %; 2 20 %; 2 more" and many.rows[0]["go"] == ""
    there = [fault_finding._door("Said", heading, None, [("a", first, f"no. {n}") for n in range(5)])
             for heading in ("alarm", "somebody says")]
    assert [(each.rows[0]["go"], each.columns[-1].heading) for each in there] == [
        ("no. 0, no. 1, no. 2, no. 3 and 1 more", heading) for heading in ("names", "look at")]
    three = fault_finding._door("Said", "alarm", None, [("a", run(f"X: {n}", 0.1), "") for n in range(3)])
    assert "more" not in three.rows[0]["causes"]
    assert [*fault_finding._weighed([("a", 1.0), ("b", 3.0), ("a", 1.0)]).items()] == [("b", 3.0), ("a", 2.0)]


PANEL = SimpleNamespace(parts={"PH1": SimpleNamespace(kind="panel")}, controllers=("KF1", "KF2"),
                        stands_idle=lambda name: name == "idle")


def lamps(**shown):
    return tuple(SimpleNamespace(unit="PH1", name=name, lit=text != "dark", shape="disc", text=text)
                 for name, text in shown.items())


@pytest.mark.parametrize(("seen", "lit", "words"), [
    ({"PH1 DATA": "green", "PH1 PLANT": "dark", "PH1 ALONE": "dark", "PH1 KF1": "green"}, 1,
     "PH1: DATA green disc (data come), PLANT dark"),
    ({"PH1 DATA": "green", "PH1 ALONE": "yellow"}, 0,
     "PH1: DATA green disc (data come), ALONE yellow, no lamp of a leading controller"),
    ({"PH1 DATA": "dark", "PH1 ALONE": "dark"}, 2, "PH1: DATA dark, two controllers lead"),
    ({"PH1 DATA": "dark", "PH1 ALONE": "dark"}, 0, "PH1: all dark"),
    ({"PH1 DATA": "dark", "PH1 ALONE": "dark"}, 1, "PH1: DATA dark"),
    ({"PH1 DATA": "dark", "tank level": "falls"}, None, "PH1: all dark; tank level falls"),
    ({"PH1 DATA": "dark", "tank level": "as ever"}, None, "PH1: all dark")])
def test_lamps_in_words(seen, lit, words):
    """What is dark is named only where that tells: whether data come, whether the plant is good, who leads."""
    run = SimpleNamespace(effect=SimpleNamespace(lamps_after=lamps(
        **({"DATA": "data come"} if seen["PH1 DATA"] == "green" else {}))))
    assert fault_finding._words(SimpleNamespace(plant=PANEL), seen, lit, ["PH1"], run) == words


def test_symptoms_come_by_how_often_and_what_looks_normal_last():
    signs = ("PH1 PLANT", "PH1 KF1", "PH1 KF2", "tank level", f"{ALARM}bus")

    def run(weight, plant, one, two, level="as ever", alarm="no"):
        return SimpleNamespace(weight=weight, effect=SimpleNamespace(lamps_after=()), signs=dict(
            zip(signs, (plant, one, two, level, alarm), strict=True)))

    runs = [run(0.5, "green", "green", "dark"), run(0.1, "red", "green", "dark"), run(0.2, "green", "green", "green"),
            run(0.15, "green", "green", "dark", alarm="stands"), run(0.05, "red", "dark", "dark"),
            run(0.25, "green", "green", "dark", level="falls"), run(0.02, "red", "dark", "green")]
    found = fault_finding._symptoms(SimpleNamespace(
        plant=PANEL, signs=signs, runs=runs, normal=lambda: runs[0].signs))
    normal = "PH1: PLANT green"
    assert [(each.title, each.share, each.rings) for each in found] == [
        (f"{normal}; tank level falls", 0.25, False), (f"{normal}, two controllers lead", 0.2, False),
        ("PH1: PLANT red", pytest.approx(0.12), False),       # whichever leads
        ("PH1: PLANT red, no lamp of a leading controller", 0.05, False),
        (f"{fault_finding.RINGS}: {normal}", 0.15, True),
        (f"All looks normal, no alarm stands, and yet somebody calls: {normal}", 0.5, False)]
    assert [len(each.runs) for each in found] == [1, 1, 2, 1, 1, 1]
    assert found[3].signs == {"PH1 PLANT": "red", "tank level": "as ever", "PH1 KF1": "dark", "PH1 KF2": "dark"}
    assert found[5].signs == {"PH1 PLANT": "green", "tank level": "as ever", f"{ALARM}bus": "no"}
    assert found[4].signs == {"PH1 PLANT": "green", "tank level": "as ever"}


def test_without_a_panel_the_lamps_of_all_controllers_are_read():
    """Both units are dark in 0.1 of the calls, A2 alone in 0.2; without lamps there is nothing to read."""
    def found(controllers, *runs):
        plant = SimpleNamespace(parts={}, controllers=controllers)
        made = [SimpleNamespace(weight=weight, effect=SimpleNamespace(lamps_after=()), signs=signs) for weight, signs in runs]
        return [(each.title, each.share, each.rings) for each in fault_finding._symptoms(SimpleNamespace(
            plant=plant, signs=tuple(runs[0][1]), runs=made, normal=lambda: runs[0][1]))]

    signs = ("A1 ACTIVE", "A2 ACTIVE", f"{ALARM}x")
    usual, one, both = (dict(zip(signs, values, strict=True)) for values in (
        ("green", "dark", "no"), ("dark", "green", "stands"), ("dark", "dark", "no")))
    said = "All looks normal, no alarm stands, and yet somebody calls"
    assert found(("A1", "A2"), (0.7, usual), (0.1, both), (0.2, one)) == [
        ("A1: all dark; A2: ACTIVE green", 0.2, False), ("A1: all dark; A2: all dark", 0.1, False),
        (f"{said}: A1: ACTIVE green; A2: all dark", 0.7, False)]
    rings = {f"{ALARM}x": "stands"}
    assert found((), (0.6, {f"{ALARM}x": "no"}), (0.4, rings)) == [
        (f"{fault_finding.RINGS}: no lamp to read", 0.4, True), (f"{said}: no lamp to read", 0.6, False)]


def test_of_two_panels_the_first_is_read():
    run = SimpleNamespace(weight=1.0, effect=SimpleNamespace(lamps_after=()), signs={"PH1 DATA": "red", "PH2 DATA": "red"})
    plant = SimpleNamespace(parts={**PANEL.parts, "PH2": PANEL.parts["PH1"]}, controllers=())
    (found,) = fault_finding._symptoms(SimpleNamespace(
        plant=plant, signs=tuple(run.signs), runs=[run], normal=lambda: dict.fromkeys(run.signs, "green")))
    assert found.title == "PH1: DATA red"


SEEN = SimpleNamespace(panel_sees=True, outputs={})
BLIND = SimpleNamespace(panel_sees=False, outputs={})


@pytest.mark.parametrize(("more", "alarm", "words"), [
    ({"functions_lost": ("a", "b")}, False, "a and b: lost"),
    ({"functions_lost": ("a", "idle")}, False, "a: lost"),
    # a battery keeps b: only a is missed now; where it keeps all, the first that ends
    ({"functions_lost": ("a", "b"), "lost_after_h": {"b": 2.0}}, False, "a: lost"),
    ({"functions_lost": ("a", "b"), "lost_after_h": {"a": 5.0, "b": 2.0}}, False, "a and b: lost after 2 h on battery"),
    ({"functions_lost": ("a",), "after": BLIND}, False, "a: lost; the panel is blind"),
    ({"functions_lost": ("a",), "after": BLIND, "lamps_after": ()}, False, "a: lost"),
    ({"functions_lost": ("idle",), "happenings": [SimpleNamespace(name="tank empty")] * 2}, False,
     "at the process: tank empty"),
    ({"after": BLIND}, True, "the panel shows nothing, or old values"),
    ({"after": BLIND, "lamps_after": ()}, True, "an alarm stands, and everything works"),
    ({"worst": Outputs.FAIL_STATE}, True, "outputs dropped and came back"),
    ({"worst": Outputs.FAIL_STATE, "after": SimpleNamespace(panel_sees=True, outputs={"KF10": Outputs.FAIL_STATE})},
     True, "outputs stay in their fail state, and nobody asks for them now"),
    ({"noticed": True}, True, "an alarm stands, and everything works"),
    ({"noticed": True}, False, "a lamp or line of the record is new, and everything works"),
    ({}, False, "something is odd, and nobody can show it")])
def test_what_somebody_says_who_calls(more, alarm, words):
    effect = SimpleNamespace(**{"lost_after_h": {}, "functions_lost": (), "happenings": (), "after": SEEN, "worst": None,
                                "noticed": False, "lamps_after": lamps(DATA="dark")} | more)
    run = SimpleNamespace(effect=effect, signs={f"{ALARM}x": "stands" if alarm else "no"})
    assert fault_finding._said(SimpleNamespace(plant=PANEL), run) == words


def test_of_a_cause_with_two_leaders_each_run_counts_half():
    """Of a cause with 8 % one run of two leaves the outputs: 4 %; it loses f in one and g in both."""
    runs = [SimpleNamespace(cause="bad", effect=state_of(gap_open=True, functions_lost=("f", "g"))),
            SimpleNamespace(cause="bad", effect=state_of(functions_lost=("g",))), SimpleNamespace(cause="good", effect=state_of())]
    there = SimpleNamespace(runs=runs)
    assert "in 4 % of such cases outputs" in spaced(fault_finding._safe(there, {"bad": 0.08, "good": 0.92}, runs))
    runs[0].effect.gap_open = False
    said = fault_finding._safe(there, {"bad": 0.08, "good": 0.92}, runs)
    assert "Lost all the same: g (8 %) and f (4 %)" in spaced(said) and said.endswith(texts()["safe"]["watch"])


def test_a_unit_that_was_out_is_back_after_its_start_and_its_load():
    """3 s to start and 9.4 s to load: about 12 s."""
    there = Basis(load_plant("mirelow", "pair"), PairSettings(start_ms=3000, load_ms=9400), date=DATE)
    assert "ready about 12 s after" in fault_finding._way_back(there)
    assert fault_finding._way_back(basis("mirelow")) == texts()["back"]["no_pair"]


def sheet_step(number, kind, part, repeats=1, **more):
    return SheetStep(number, kind, part, "", "", repeats=repeats, **more)


STEPS_OF_A_SHEET = (
    sheet_step("01", "check", "looks"), sheet_step("02", "must switch", "runs", 10, effect=object(), gap_limit_ms=285),
    sheet_step("03", "must not switch", "runs", 3, effect=object()),
    sheet_step("04", "fail state", "runs", 3, effect=object(), faults=("A: off", "test: role change")))


@pytest.mark.parametrize(("longer_min", "whole", "told"), [
    # 10 + 10 x 4 + 3 x 4 + 3 x 15 = 107; 360 min are a day, 361 are two
    (0, "107", "in all: 1.78 h, 1 day of 6 h at the plant"), (253, "360", "in all: 6 h, 1 day of 6 h at the plant"),
    (254, "361", "in all: 6.02 h, 2 days of 6 h at the plant")])
def test_how_long_a_test_takes(longer_min, whole, told):
    first, *others = STEPS_OF_A_SHEET
    rows = list(switchover_sheet._time((dataclasses.replace(first, longer_min=longer_min), *others)))
    assert [tuple(row.values()) for row in rows] == [
        ("looks", "01", "1", f"{10 + longer_min}", f"{10 + longer_min}"),
        ("runs", "02 to 04", "16", "4 to 15", "97"), (told, "4", "17", "", whole)]


def test_what_no_step_tries_is_named_and_readings_have_their_places():
    parts = {name: SimpleNamespace(kind=kind) for name, kind in (("A", "controller"), ("B", "rack"), ("C", "cable"))}
    plant = SimpleNamespace(plant=SimpleNamespace(parts=parts), faults={"A: off": SimpleNamespace(unit="A")},
                            named=lambda name: f"{name} here")
    assert switchover_sheet._untested(plant, STEPS_OF_A_SHEET).startswith("By no step of this sheet: B and C. Add")
    plant.plant.parts = {"A": parts["A"]}
    assert switchover_sheet._untested(plant, STEPS_OF_A_SHEET) == "Each part of the file stands in a step."
    assert list(switchover_sheet._versions(plant)) == [{"what": "A here"}]
    plant.plant.parts = parts
    assert list(switchover_sheet._versions(plant)) == [{"what": "A here"}, {"what": "B"}]
    table = switchover_sheet._readings(STEPS_OF_A_SHEET)
    assert [each.key for each in table.columns] == ["step", "limit", *(f"r{n}" for n in range(1, 11)), "within", "record"]
    none = {f"r{n}": "–" for n in range(4, 11)}
    assert table.rows == ({"step": "02", "limit": "285"}, {"step": "03", "limit": "–"} | none,
                          {"step": "04", "limit": "–"} | none)


def test_each_choice_among_several_is_tried_once():
    """One of two and one of three inside it; two of two is no choice, and the second function asks again."""
    inner, both = AtLeast(1, ("T", "U", "V")), AtLeast(2, ("X", "Y"))
    outer = AtLeast(1, ("S", inner))
    functions = {name: SimpleNamespace(name=name, needs=needs) for name, needs in (
        ("a", ("R", outer, both)), ("b", (inner, AtLeast(1, (both, "Z")))))}
    found = list(steps._choices(SimpleNamespace(functions_counted=functions)))
    assert found == [("a", outer), ("a", inner), ("b", AtLeast(1, (both, "Z")))]


@pytest.mark.parametrize(("kind", "done", "became", "limits"), [
    # the budget of both units at 40 ms: without power 175 to 285
    ("must switch", Do("on", "KF1: no power"), "off", (285, 175, "from the action to the first output of KF2")),
    # told in no time, then 80 + 20 + 5 at most and 40 + 5 at least; a pulled link first waits for the next cycle of 40
    ("must switch", Do("on", "x"), "stopped", (105, 45, "from the action to the first output of KF2")),
    ("must switch", Do("on", "x"), "standby", (145, 45, "from the action to the first output of KF2")),
    ("must switch", Do("role change"), "standby", (60, None, "longest pause between two changes of the output")),
    ("fail state", Do("on", "x"), "off", (500, None, "from the last write to the fail state, at the terminals")),
    ("must not switch", Do("on", "x"), "off", (None, None, "no step of any output"))])
def test_the_limit_of_a_step(kind, done, became, limits):
    record = [SimpleNamespace(what="role", who="KF2", new="active"), SimpleNamespace(what="beat", who="KF1", new="lost"),
              SimpleNamespace(what="role", who="KF1", new=became)]
    effect = SimpleNamespace(leads_after="KF2", leader="KF1", record=record)
    assert steps._limit(Basis(load_plant(), date=DATE), kind, effect, (done,)) == limits


def test_a_mild_step_is_tried_before_one_that_stops_the_plant():
    """Not those that are only looked at, that run the fault itself, or that repeat a planned change."""
    made = [sheet_step(number, kind, part, effect=object(), **more) for number, kind, part, more in (
        ("1", "fail state", "x", {}), ("2", "return to normal", "x", {}), ("3", "must switch", steps.DOUBLE, {}),
        ("4", "must not switch", "x", {}), ("5", "must switch", "x", {}), ("6", "must switch", steps.AWKWARD, {}),
        ("7", "must switch", "x", {"faults": ("A: off",)}))] + [sheet_step("8", "check", "x")]
    assert [step.number for step in steps._tried_first(None, made, "A: off")] == ["5", "4", "2", "1", "3"]
    assert [step.number for step in steps._tried_first(None, made, "B: off")][:2] == ["5", "7"]


def test_what_is_lost_meanwhile_is_said():
    assert (steps._lost_meanwhile(()), steps._lost_meanwhile(("a", "b"))) == (
        "", " Lost meanwhile, so manned or not needed: a and b.")
    said = [steps._by_hand(SimpleNamespace(functions_lost=lost)) for lost in ((), ("a",), ("a", "b"))]
    assert said == ["", "Change the roles by hand: a waits for it.", "Change the roles by hand: a and b wait for it."]


def state_of(**more):
    return SimpleNamespace(**{"gap_open": False, "worst": None, "happenings": (), "functions_lost": (), "lost_after_h": {},
                              "after": SEEN, "lamps_after": lamps(DATA="green")} | more)


@pytest.mark.parametrize(("bad", "part", "said"), [
    # outputs in their fail state in more than half, in more than 2 %, and in 2 % of such cases
    ({"gap_open": True}, 0.51, ["most likely in their fail state (51 %"]), ({"gap_open": True}, 0.5, ["in 50 % of such cases outputs"]),
    ({"gap_open": True}, 0.03, ["in 3 % of such cases outputs"]), ({"gap_open": True}, 0.02, ["there is time to look"]),
    ({"happenings": ("x",)}, 0.03, ["in 3 % of such cases the process"]), ({"happenings": ("x",)}, 0.02, ["there is time to look"]),
    ({"worst": Outputs.FAIL_STATE}, 0.11, ["Outputs may have dropped"]), ({"worst": Outputs.FAIL_STATE}, 0.1, ["there is time to look"]),
    ({"functions_lost": ("f",)}, 0.51, ["this is lost: f (51 %)"]), ({"functions_lost": ("f",)}, 0.5, ["Lost all the same: f (50 %)"]),
    ({"functions_lost": ("f",)}, 0.03, ["Lost all the same: f (3 %)"]), ({"functions_lost": ("f",)}, 0.02, ["there is time to look"]),
    # what a battery keeps is not lost yet, and a panel that is dark by itself leaves the process as it was
    ({"functions_lost": ("f",), "lost_after_h": {"f": 1.0}}, 0.9, ["there is time to look"]),
    ({"functions_lost": ("f",), "after": BLIND}, 0.9, ["Lost all the same: f (90 %)"]),
    ({"functions_lost": ("f",), "after": BLIND, "lamps_after": ()}, 0.9, ["this is lost: f (90 %)"])])
def test_what_to_secure_first(bad, part, said):
    runs = [SimpleNamespace(cause="bad", effect=state_of(**bad)), SimpleNamespace(cause="good", effect=state_of())]
    shares = {"bad": part, "good": 1.0 - part}
    text = spaced(fault_finding._safe(SimpleNamespace(runs=runs), shares, runs))
    assert all(each in text for each in said)
    kinds = ("Make safe first", "there is time to look", "Outputs may have dropped", "Lost all the same")
    found = {each for each in kinds if each in text}
    assert len(found & {*kinds[:2]}) == 1 and found - {*kinds[:2]} == {each for each in kinds[2:] if each in said[0]}
    # of a cause that is only misread so, all its runs count: here the one that is bad
    assert fault_finding._safe(SimpleNamespace(runs=runs), shares, runs[1:]) == fault_finding._safe(
        SimpleNamespace(runs=runs), shares, runs)


def test_what_a_comparison_leaves_out_and_draws():
    """Faults that pass and break nothing, with a share of failures, are in no total; of nothing there is no picture."""
    faults = {name: SimpleNamespace(label=name, breaks=breaks, kind=SimpleNamespace(share=share)) for name, breaks, share in (
        ("dip", frozenset(), 0.3), ("cut", frozenset({"W1"}), 0.7), ("by people", frozenset(), None))}
    events = {name: SimpleNamespace(name=name, mtbf_h=hours) for name, hours in (("fire", None), ("flood", 1e6))}
    here = SimpleNamespace(faults=faults, plant=SimpleNamespace(pair=None, shared_events=events, currency="EUR"))
    said = comparison._left_out(here)
    assert said[0] == "Events without a rate in the file: fire." and len(said) == 3
    assert "dip" in said[2] and "cut" not in said[2] and "by people" not in said[2]
    outcomes = [SimpleNamespace(variant=name, total_per_year=0.0, loss_per_year=0.0, price_per_year=0.0) for name in "AB"]
    assert comparison._bars(here, outcomes) == {"picture_says": "Neither losses nor prices in the file: no picture."}
    outcomes[0] = SimpleNamespace(variant="A", total_per_year=9.0, loss_per_year=9.0, price_per_year=0.0)
    assert comparison._bars(here, outcomes)["picture_says"].endswith("least for B: 0 EUR a year.")


def test_a_test_sheet_says_what_it_is_for():
    purposes = [paper(plant, "switchover_test").purpose for plant in ("mirelow", "brackenquay")]
    assert purposes == [texts()["purpose"]["no_pair"], texts()["paper"]["switchover_test"]["purpose"]]


def test_what_must_be_proved_good_before_something_is_taken_away(monkeypatch):
    """Without A the function needs P; R stops it alone, Q does nothing to it, and T is taken away itself."""
    monkeypatch.setattr(steps, "_unseen", lambda basis: dict.fromkeys("PQRST", ["fault"]) | {"S": []})
    monkeypatch.setattr(steps, "_provable", lambda basis, fault: True)
    plant = SimpleNamespace(functions_counted=("f",), condition=lambda name, out: not (
        {"A", "P"} <= {*out} or {"A", "S"} <= {*out} or "R" in out or {"A", "B"} <= {*out}))
    here = SimpleNamespace(plant=plant, once=lambda key, make: make())
    found = [steps._partners(here, frozenset(taken)) for taken in ("A", "AT", "", "AB", "B")]
    assert found == [("P",), ("P",), (), (), ()]


@pytest.mark.parametrize("plant", ["brackenquay", "mirelow"])
def test_what_nobody_notices_stands_out_and_sides_are_told_where_there_are_two(plant):
    made = paper(plant, "failure_modes")
    rows = [row for table in made.tables if table.main for row in table.rows if "number" in row]
    assert rows and [bool(row.get("loud")) for row in rows] == [row["number"].endswith("u") for row in rows]
    headed, group = {}, ""
    for row in (row for table in made.tables if table.main for row in table.rows):
        group = row.get("group", group)
        headed |= {row["number"]: group} if "number" in row else {}
    assert headed == {row["number"]: row["group"] for row in modes(plant)}      # each row under its own heading
    for words in ("a on the side of the active unit", "Where it matters who leads there are two rows"):
        assert (words in made.markdown()) is (plant == "brackenquay")

# ---------------------------------------------------------------- fault finding, point by point


def a_check(name, minutes=2.0, **outcomes):
    return Check(name, minutes, outcomes)


@pytest.mark.parametrize(("rare", "read"), [
    # X 0.46; Y 0.5 and half of the rare one; Z the other half: from 2 % on it is to be expected
    (0.04, {"y": 0.52, "x": 0.46, "z": 0.02}), (0.038, {"y": 0.519, "x": 0.462})])
def test_readings_of_a_check_come_by_how_often_and_from_2_per_cent_on(rare, read):
    check = a_check("look", x={"X": 1, "Y": 0, "Z": 0}, y={"X": 0, "Y": 1, "Z": 0.5}, z={"X": 0, "Y": 0, "Z": 0.5})
    finder = SimpleNamespace(shares=lambda *_: {"X": 0.5 - rare, "Y": 0.5, "Z": rare}, checks=lambda *_: [check])
    found, chances = fault_finding._next_check(finder, {}, {})
    assert found is check and [*chances.items()] == [(each, pytest.approx(chance, rel=1e-12)) for each, chance in read.items()]


@pytest.mark.parametrize(("bits", "others", "sure", "found"), [
    (0.021, True, 0.5, "two"), (0.02, True, 0.5, None),
    # one that always reads the same is taken only where it leads to an end
    (0.021, False, 0.8, "same"), (0.021, False, 0.79, None)])
def test_a_check_that_tells_nothing_is_left_out(monkeypatch, bits, others, sure, found):
    same = a_check("same", yes={"X": 1, "Y": 1}, no={"X": 0, "Y": 0})
    two = a_check("two", yes={"X": 1, "Y": 0}, no={"X": 0, "Y": 1})
    monkeypatch.setattr(fault_finding, "rank_checks", lambda shares, checks: [
        SimpleNamespace(name=each.name, information_bits=bits) for each in checks])
    finder = SimpleNamespace(shares=lambda *_: {"X": 0.5, "Y": 0.5}, checks=lambda *_: [same, two] if others else [same],
                             suspects=lambda signs, after: (suspect(sure if after == {"before": "x", "same": "yes"} else 0.1),))
    check, chances = fault_finding._next_check(finder, {}, {"before": "x"})
    assert (check and check.name, chances) == {"two": ("two", {"yes": 0.5, "no": 0.5}), "same": ("same", {"yes": 1.0}),
                                               None: (None, {})}[found]


def test_each_reading_leads_on_or_to_an_end(monkeypatch):
    """Two of three readings lead on, to 2 and 3; at 2 no check tells more, at 3 one more reading ends."""
    ways = {(): ("one", {"a": 0.5, "b": 0.3, "c": 0.2}), ("b",): ("two", {"d": 1.0})}
    monkeypatch.setattr(fault_finding, "_next_check", lambda finder, signs, results: (
        (a_check(ways[key][0], 1.5, x={"X": 1}), ways[key][1]) if (key := tuple(results.values())) in ways else (None, {})))
    finder = SimpleNamespace(explain=lambda name: f"how {name} is made", suspects=lambda signs, after: (
        suspect(0.9 if {"c", "d"} & {*after.values()} else 0.5),))
    rows = [*fault_finding._tree(finder, {"PLANT": "red"})]
    end, open_ = "put right: KF1: off (90 %). switch on", "not settled: KF1: off 50 %. Take them in this order, one at a time; if it stays, call."
    assert [(row["at"], row["reading"], row["then"]) for row in rows] == [
        ("1", "a (50 %)", "go to 2"), ("", "b (30 %)", "go to 3"), ("", "c (20 %)", end),
        ("2", "as seen so far", open_), ("3", "d (100 %)", end)]
    assert [row["check"] for row in rows] == ["one, 1.5 min\nhow one is made", "", "", "no check tells more",
                                              "two, 1.5 min\nhow two is made"]
    assert [row.get("more", "") for row in rows] == ["", "1", "1", "", ""]


def known(cause, part, put_right="switch on", place=""):
    return Suspect(cause, cause, place, part, put_right, "who")


@pytest.mark.parametrize(("last", "rows"), [(0.006, 7), (0.004, 6)])
def test_six_groups_of_suspects_and_what_is_left(monkeypatch, last, rows):
    """KF1 and KF2 are put right alike: 0.5; then 0.2, 0.1, 0.084 or 0.086, 0.06 and 0.05; a last one is left."""
    monkeypatch.setattr(fault_finding, "_safe", lambda *_: "safe")
    monkeypatch.setattr(fault_finding, "_tree", lambda *_: iter(()))
    shares = (0.3, 0.2, 0.2, 0.1, 0.06, 0.05, 0.09 - last, last)
    suspects = tuple(known(f"{name}: {how}", part, put_right, "cabinet 1") for name, how, put_right, part in zip(
        ("KF1", "KF2", "C", "D", "E", "F", "G", "H"), ("off", "off", *"cdefgh"), ("on", "on", *"cdefgh"), shares, strict=True))
    asked = []
    finder = SimpleNamespace(shares=lambda signs: {}, suspects=lambda signs, least_share: asked.append(least_share) or suspects)
    flat = []
    made = fault_finding._section(finder, fault_finding.Symptom("all dark", {}, 0.25, ()), 3, flat)
    assert asked == [0.01] and (made.title, made.level, made.texts) == ("3. all dark", 2, ("safe",))
    found = [(row["cause"], row["share"], row["put_right"], row["place"]) for row in made.tables[0].rows]
    assert found[0] == ("KF1: off; KF2: off", "50 %", "on", "cabinet 1") and len(found) == rows
    if rows == 7:
        assert found[6] == ("something else", "0.6 %", "see the failure-mode table", "")
    assert [(row["number"], row["share_of_calls"], row["share"]) for row in flat[:2]] == [
        ("3", "0.2500", "0.300"), ("3", "0.2500", "0.200")] and len(flat) == 8


def test_where_an_alarm_stands_its_runs_have_their_own_shares(monkeypatch):
    """0.15 and 0.0485 of 0.2 calls, twice 0.00075: 75 %, 24.25 % and 0.75 %, which is below 1 %."""
    monkeypatch.setattr(fault_finding, "_safe", lambda finder, shares, runs: str({key: round(part, 6) for key, part in shares.items()}))
    causes = {"A: a": 0.15, "B: b": 0.0485, "C: c": 0.00075}
    finder = SimpleNamespace(suspects=lambda least_share: [known(cause, 0.0) for cause in causes] if least_share == 0 else [])
    runs = tuple(SimpleNamespace(cause=cause, weight=weight) for cause, weight in (*causes.items(), ("C: c", 0.00075)))
    made = fault_finding._section(finder, fault_finding.Symptom("alarm", {}, 0.2, runs, rings=True), 1, [])
    assert made.texts == ("{'A: a': 0.75, 'B: b': 0.2425, 'C: c': 0.0075}",)
    assert [row["cause"] for row in made.tables[0].rows] == ["A: a", "B: b", "something else"]
    assert [each.cause for each in fault_finding._suspects(finder, {"A: a": 0.01, "B: b": 0.0099})] == ["A: a"]


def test_an_alarm_is_of_the_part_that_says_it_or_of_the_first_that_it_names():
    parts = {"KF1": SimpleNamespace(alarm="", kind="controller"), "PH1": SimpleNamespace(alarm="old values", kind="panel")}
    plant = SimpleNamespace(parts=parts, shared_events={})
    runs = [SimpleNamespace(cause="X: x", weight=0.1, fault=None, signs={f"{ALARM}{text}": said}) for text, said in (
        ("old values", "stands"), ("KF1 before PH1", "stands"), ("all is odd", "stands"), ("PH1", "no"))]
    here = SimpleNamespace(plant=plant, finder=SimpleNamespace(plant=plant, runs=runs))
    here.designations = Basis.designations.func(here)
    table, = fault_finding._alarm_list(here)
    assert [(row["said"], row["go"]) for row in table.rows] == [
        ("old values", "PH1"), ("… before …", "KF1"), ("all is odd", "no part")]
    here.finder.runs = runs[3:]
    assert fault_finding._alarm_list(here) == []


def test_a_lamp_is_said_by_shape_and_meaning():
    shown = {"RUN": ("green", "disc", True, "runs"), "FAIL": ("dark", "disc", False, "no fault"), "OFF": ("dark", "disc", False, "dark")}
    run = SimpleNamespace(effect=SimpleNamespace(lamps_after=[SimpleNamespace(
        unit="KF1", name=name, shape=shape, lit=lit, text=text) for name, (_, shape, lit, text) in shown.items()]))
    assert [fault_finding._in_full(run, "KF1", name, shown[name][0]) for name in shown] == [
        "green disc (runs)", "dark (no fault)", "dark"]
    assert fault_finding._in_full(run, "KF2", "RUN", "green") == "green"

def test_readings_of_each_line_once_and_of_what_is_fed(monkeypatch):
    """60 ohm are good at any line; the copper of one whose length nobody tells is still to be added."""
    monkeypatch.setattr(fault_finding, "bus_readings", lambda length_m: {"good": ("60 ohm", f"at {length_m:g} m")})
    lines = [SimpleNamespace(unit=unit, kind=SimpleNamespace(line=line)) for unit, line in (
        ("B1", True), ("B2", True), ("B1", True), ("W1", False))]
    parts = {name: SimpleNamespace(place=place, what="bus", fed_by=()) for name, place in (("B1", "duct, 870 m"), ("B2", "duct"), ("W1", ""))}
    here = SimpleNamespace(plant=SimpleNamespace(parts=parts), faults=dict(enumerate(lines)), named=lambda name: f"{name} here")
    table = fault_finding._readings(here)
    assert [tuple(row.values()) for row in table.rows[:-1]] == [
        ("B1 here, 870 m", "60 ohm", "at 870 m", "good"), ("B2 here, add the copper of its length", "60 ohm", "at 0 m", "good")]
    assert table.rows[-1]["means"] == "through" and table.note == texts()["back"]["lines"]
    parts["W1"].fed_by, here.faults = ("B1",), {3: lines[3]}
    table = fault_finding._readings(here)
    assert [row["what"] for row in table.rows] == ["24 V at a unit", "one wire of a cable, end to end"] and table.note == ""


@pytest.mark.parametrize("pair", [True, False])
def test_the_sections_of_a_fault_finding_page(monkeypatch, pair):
    """Symptoms have their numbers from 1 on, in the list and at their branches."""
    found, flat = [fault_finding.Symptom(name, {}, part, ()) for name, part in (("red", 0.25), ("dark", 0.75))], [{"number": "1"}]
    monkeypatch.setattr(fault_finding, "_symptoms", lambda finder: found)
    monkeypatch.setattr(fault_finding, "_section", lambda finder, symptom, number, flat: flat.append(symptom.title) or Section(f"{number}. {symptom.title}"))
    for name, made in (("_complaints", "said"), ("_alarm_list", ["alarms"]), ("_readings", "read"), ("_way_back", "so."), ("_roles_back", ("who.",))):
        monkeypatch.setattr(fault_finding, name, lambda *_, made=made: made)
    here = SimpleNamespace(finder=None, plant=SimpleNamespace(pair=pair or None), assumptions=lambda: ("a",),
                           paper=lambda name, sections, assumptions: (sections, assumptions))
    sections, assumptions = fault_finding.fault_finding(here)
    told = texts()["section"]
    names = ("five_steps", "do_not", "begin", "seen", None, None, "no_fault", "readings", "way_back", "call", "write_down", "form")
    assert [each.title for each in sections] == [told[name]["title"] if name else title for name, title in zip(
        names, [""] * 4 + ["1. red", "2. dark"] + [""] * 6, strict=True)]
    assert (sections[2].tables, sections[7].tables) == (("said", "alarms"), ("read",))
    overview, = sections[3].tables
    assert [(row["number"], row["what"], row["share"]) for row in overview.rows] == [("1", "red", "25 %"), ("2", "dark", "75 %")]
    assert overview.csv_rows == ("red", "dark") and assumptions == ("a", texts()["shares_of_faults"])
    assert sections[1].points == tuple(told["do_not"]["points"] + told["do_not_at_a_pair"]["points"] * pair)
    ends = [" ".join((*sections[at].texts, *sections[at].points)) for at in (8, 9)]
    assert "so." in ends[0] and "who." in ends[0]
    assert [words in end for words, end in zip(("ALONE dark, ", "two units lead; "), ends, strict=True)] == [pair] * 2
    assert fault_finding._overview(found, flat).csv_rows == tuple(flat)


@pytest.mark.parametrize(("by_hand", "ready_ms", "said"), [
    (True, (11_600,), "by_hand"), (False, (11_600, 12_506), "ready about 13 s after"), (False, (), "that was out stays loading:")])
def test_which_roles_have_to_be_seen_in_the_end(monkeypatch, by_hand, ready_ms, said):
    """Only the last time at which a unit becomes ready counts."""
    record = [*(("role", "standby", ms) for ms in ready_ms), ("role", "active", 60_000), ("alarm", "standby", 90_000)]
    done = []

    def course(plant, actions, settings, *, prepared, leader):
        done.append((actions, [(each.verb, each.fault_id) for each in prepared], leader))
        return SimpleNamespace(record=[SimpleNamespace(what=what, new=new, time_ms=ms) for what, new, ms in record],
                               after=SimpleNamespace(roles={"A1": SimpleNamespace(value="loading")}))

    monkeypatch.setattr(fault_finding, "course_of", course)
    here = plant_for_steps(by_hand=by_hand)
    told = texts()["back"]
    assert told.get(said, said) in fault_finding._way_back(here)
    assert done == [([Do("off", "A1: no power")], [("on", "A1: no power")], "A1")] * (not by_hand)
    assert fault_finding._roles_back(here) == (told["stays"],)
    assert fault_finding._roles_back(plant_for_steps(pair=False)) == ()


# ---------------------------------------------------------------- the comparison, by hand


def an_outcome(name, total=0.0, loss=0.0, **more):
    return SimpleNamespace(variant=name, about=f"about {name}", total_per_year=total, loss_per_year=loss, price_per_year=total - loss, **more)


def test_what_all_numbers_at_once_come_to(monkeypatch):
    """101 draws from -10 to 90: 90 are above 0; 5, 50 and 95 % lie at -5, 40 and 85."""
    asked, drawn = [], []
    found = SimpleNamespace(best_share=lambda: {"B": 0.75, "A": 0.25}, net_per_year=lambda one, other: np.arange(-10.0, 91.0),
                            range_of=lambda name, function: (1.0, 2.0, 3.0))
    monkeypatch.setattr(comparison, "joint_uncertainty", lambda plant, names, random, *, draws, limits: drawn.append((names, draws, limits)) or found)
    monkeypatch.setattr(comparison.sensitivity, "assumptions", lambda plant, name, since: asked.append((name, since)) or [
        SimpleNamespace(key=f"{name}: mtbf_h", value=10, low=5, high=10, why="usual")])
    plant = SimpleNamespace(currency="EUR", costs=[SimpleNamespace(function="kept")] * 2)
    outcomes = tuple(an_outcome(name, total, down_min_per_year={"kept": 10 * total}) for name, total in (("C", 7.0), ("A", 9.0), ("B", 5.0)))
    made = comparison._all_at_once(SimpleNamespace(plant=plant, draws=101), outcomes, "A", "C")
    assert asked == [("A", "C"), ("B", "C")]
    assert drawn == [(["C", "A", "B"], 101, {"A: mtbf_h": (5, 20.0), "B: mtbf_h": (5, 20.0)})]
    assert [tuple(row.values()) for row in made.tables[0].rows] == [
        (name, "kept", file, "1", "2", "3") for name, file in (("C", "70"), ("A", "90"), ("B", "50"))]
    says, = (each for each in made.texts if each.startswith("A pays"))
    assert "A pays against C in 90 of 101 draws" in says and "between -5 and 85 EUR a year" in says
    assert "in the middle 40." in says and says.endswith("together: B in 76 and A in 25.")


@pytest.mark.parametrize(("pairs", "found"), [
    ({"A": False, "B": True, "C": True, "D": False}, ("B", "A", True)), ({"A": True, "B": True}, ("B", "A", False)),
    ({"A": False, "B": False}, ("B", "A", False)), ({"A": True, "B": False}, ("A", "B", True))])
def test_which_variants_are_in_question(monkeypatch, pairs, found):
    monkeypatch.setattr(comparison, "rank_variants", lambda outcomes: [an_outcome("B"), an_outcome("A")])
    plant = SimpleNamespace(variant=lambda name: SimpleNamespace(pair="a pair" if pairs[name] else None))
    assert comparison._question(SimpleNamespace(plant=plant), tuple(map(an_outcome, pairs))) == found


def test_what_moves_the_net_by_half_a_unit_of_money_is_shown():
    swings = tuple(SimpleNamespace(width=width, net_low=1.0, net_high=2.0, turns=turns, assumption=SimpleNamespace(
        key=key, value=1.0, low=0.5, high=2.0, why=why)) for key, width, turns, why in (
        ("a", 0.5, True, "given"), ("d", 0.49, True, "file"), ("b", 3.0, False, "file"), ("c", 0.0, False, "file")))
    table = comparison._swings(SimpleNamespace(plant=SimpleNamespace(currency="EUR")), swings)
    assert [(row["key"], row["turns"], row["why"]) for row in table.rows] == [
        ("a", "yes", "beyond the usual: half or double"), ("b", "no", "file")]
    assert table.note.endswith("EUR a year. Without effect: c and d.")
    assert "Without effect" not in comparison._swings(SimpleNamespace(plant=SimpleNamespace(currency="EUR")), swings[:1]).note
    assert comparison._tornado(swings[1:2]) == ""


@pytest.mark.parametrize(("functions", "variants", "pair", "racks", "kept"), [
    # two functions in the first table and four in each further one
    ("abcdefg", "AB", True, "RS", [("ab", True), ("cdef", False), ("g", False)]), ("abcdef", "A", True, "R", [("ab", True), ("cdef", False)]),
    ("ab", "A", False, "RS", [("ab", True)]), ("a", "AB", False, "R", [("a", True)])])
def test_the_sections_of_a_comparison(monkeypatch, functions, variants, pair, racks, kept):
    outcomes, words = tuple(map(an_outcome, variants)), {}
    monkeypatch.setattr(comparison, "section", lambda name, *tables, **more: words.update(more) or (name, *tables))
    monkeypatch.setattr(comparison, "table", lambda name, *_, **__: name)
    monkeypatch.setattr(comparison, "replace", lambda made, **more: made)
    monkeypatch.setattr(comparison, "_minutes", lambda outcomes, names, first=False: ("".join(names), first))
    for name, found in (("compare_variants", outcomes), ("rank_variants", ()), ("_next_steps", ()), ("_left_out", "left"), ("_money", "money"),
                        ("_steps", "costs"), ("_bars", {}), ("kept_by", ["kept"]), ("_verdict", ["verdict"])):
        monkeypatch.setattr(comparison, name, lambda *_, found=found: found)
    here = SimpleNamespace(plant=SimpleNamespace(functions_counted=dict.fromkeys(functions), racks=racks, pair=pair or None, currency="EUR"),
                           paper=lambda name, sections: sections)
    more = [("gain", "gain", "way"), "verdict"] if len(variants) == 2 else [("no_variants",)]
    assert comparison.comparison(here) == [("down_time", *kept), "kept", ("money", "money", "costs"), *more, ("left_out",)]
    assert words["parted"] == (texts()["kept"]["parted"],) * (pair and racks == "RS")
    assert words.get("first") == ("A" if more[0] != ("no_variants",) else None)


@pytest.mark.parametrize(("by_hand", "sync", "said"), [
    (False, ("S1", "S2"), ["people", "at most 60 ms by hand", "Failures of S1 and S2", "Wrong"]),
    (False, (), ["people", "at most 60 ms by hand", "Wrong"]), (True, ("S1",), ["people", "Wrong"])])
def test_what_a_comparison_of_a_pair_leaves_out(by_hand, sync, said):
    """0.5 of 1.752 repairs a year take the wrong unit; a quarter of these and of two tests leave one stopped."""
    plant = SimpleNamespace(pair=SimpleNamespace(units=("A1", "A2"), test_interval_h=4380, sync=sync), shared_events={}, started_by_hand=by_hand,
                            parts=dict.fromkeys(("A1", "A2", "S1"), SimpleNamespace(failure_rate_per_h=1e-4)),
                            people=SimpleNamespace(wrong_unit=0.5, left_stopped=0.25))
    found = comparison._left_out(SimpleNamespace(plant=plant, faults={}, settings=SimpleNamespace(longest_write_gap_ms=60)))
    said[0] = f"taken out {per_year(0.876)}, the standby left stopped {per_year(0.938)};"
    assert len(found) == len(said) and all(words in each for words, each in zip(said, found, strict=True))


def test_ranks_ratios_and_the_first_table():
    ranked = [SimpleNamespace(variant=name, gain_per_year=6.0, price_per_year=price, net_per_year=6.0 - price,
                              gain_per_money=ratio, pays=price < 6) for name, price, ratio in (("A", 0.0, math.inf), ("B", 8.0, 0.75))]
    assert [tuple(row.values()) for row in comparison._ranking(ranked)] == [
        ("1", "A", "6", "0", "6", "no price", "pays"), ("2", "B", "6", "8", "-2", "0.75", "does not pay")]
    one = an_outcome("A", down_min_per_year={"kept": 525.6}, outages_per_year={"kept": 0.5})
    first, later = (comparison._minutes([one], ["kept"], **more) for more in ({"first": True}, {}))
    assert [each.key for each in first.columns] == ["variant", "about", "kept down", "kept share", "kept out"]
    assert [each.key for each in later.columns] == ["variant", "kept down", "kept out"]
    assert first.rows[0] == {"variant": "A", "about": "about A", "kept down": "526", "kept share": "0.001", "kept out": "0.5/a"}


def test_people_at_the_pair_are_left_out_with_their_size():
    """0.003 of 0.292 repairs; 0.003 of these and of two tests a year."""
    people, gap, *_ = map(spaced, comparison._left_out(basis("brackenquay")))
    assert "wrong unit taken out 1 in 1 100 a, the standby left stopped 1 in 150 a" in people and "at most 60 ms by hand" in gap


# ---------------------------------------------------------------- spares, by hand


def group_of(name="P", count=1, kept=None, price=0.0, **more):
    parts = tuple(SimpleNamespace(designation=f"{name}{n}", failure_rate_per_h=1e-4, spares_per_h=1e-4, source="practice", mttr_h=4.0 + n,
                                  waits_h=0.0, takes_spare=1.0) for n in range(1, count + 1))
    return spares._Group(name, parts, Spare(name, tuple(each.designation for each in parts), 1, 30.0, price=price, **more), kept)


@pytest.mark.parametrize(("kept", "price", "lowest", "said", "loss", "minutes", "back"), [
    # nothing said, or some there: as it is 1000, without 1500 and 2 h more of g; none there: 900 with one, and 2 h less of f
    (None, 100.0, None, "not said", "+500", "+120", "0.2 a"), (2, 100.0, (50.0, 49_800.0), "2", "+500", "+120", "0.1 a to\n100 a"),
    (2, 50_000.0, None, "2", "+500", "+120", "> 100 a"), (0, 100.0, None, "no spare", "+100", "+120", "1 a"),
    (2, 0.0, None, "2", "+500", "+120", "")])
def test_what_a_spare_is_worth(monkeypatch, kept, price, lowest, said, loss, minutes, back):
    worth = {None: ({"f": 10.0, "g": 1.0}, 1000.0), 1: ({"f": 8.0, "g": 1.0}, 900.0), 0: ({"f": 10.0, "g": 3.0}, 1500.0)}
    monkeypatch.setattr(spares, "_worth", lambda basis, repair: worth[repair.get("stock")])
    monkeypatch.setattr(spares._Group, "repair_h", lambda group, stock: {"stock": stock})
    plant = SimpleNamespace(currency="EUR", functions_counted=("f", "g"), costs=(), parts={})
    group = group_of(kept=kept, price=price, **({"range": {"price": lowest}} if lowest else {}))
    table = spares._parts(SimpleNamespace(plant=plant), [group])
    row, flat = table.rows[0], table.csv_rows[0]
    assert (row["kept"], row["loss"], row["down"], row.get("back", "")) == (said, loss, minutes, back)
    # 1e-4 h^-1 x 30 days = 0.072: e^-0.072 = 93.05 % want none, another 6.7 % one
    assert row["out"] == "6.9 %\n0.25 %\n< 0.01 %" and row["stock"] == "1"
    two = math.exp(-0.072) * (1 + 0.072 + 0.072**2 / 2)
    assert float(flat["chance_to_run_out_with_2"]) == pytest.approx(1 - two, rel=1e-5, abs=0)      # six figures
    assert flat["failures_per_year"] == "0.876" and row["rate"] == "0.88/a\npractice"
    assert (flat["price_EUR"], flat["kept"]) == (f"{price:g}" if price else "", "" if kept is None else str(kept))
    assert flat["delivery_source"] == ("invented until dated" if kept is None else "invented") and table.main and table.small
    assert flat["pays_back_years"] == (f"{price / (100 if kept == 0 else 500):.6g}" if price else "")
    assert row["days"] == ("30\ninvented" if kept is None else "30")


def test_what_costs_most_without_its_spare_comes_first_and_nothing_never_pays_back(monkeypatch):
    worth = {"P1": 100.0, "Q1": 300.0, "R1": 100.0}
    monkeypatch.setattr(spares, "_worth", lambda basis, repair: ({"f": 1.0}, 100.0 if not repair else worth[min(repair)]))
    parts = {"QA1": SimpleNamespace(kind="mains"), "P1": SimpleNamespace(kind="pump")}
    plant = SimpleNamespace(currency="EUR", functions_counted=("f",), costs=(), parts=parts)
    groups = [group_of(name, kept=1, price=50.0) for name in "PQR"]
    table = spares._parts(SimpleNamespace(plant=plant, named=lambda name: f"{name} here"), groups)
    assert [(row["part"], row["loss"], row["down"], row["back"]) for row in table.rows] == [
        ("Q: Q1", "+200", "+0", "0.25 a"), ("P: P1", "+0", "+0", "never"), ("R: R1", "+0", "+0", "never")]
    assert [row["part"] for row in table.csv_rows] == ["Q: Q1", "P: P1", "R: R1"]
    assert "QA1 here" in table.note and "P1 here" not in table.note


def test_one_spare_for_several_and_the_longest_wait():
    """0.072 wanted of one, 0.36 of five: 5.1 % of times more than one is; repairs of 5 to 9 h."""
    one, five, four = group_of(), group_of("Q", 5), group_of("R", 4)
    found = [(row["part"], row["gone"], row["verdict"]) for row in spares._shared([one, five, four])]
    assert found == [("Q1, Q2, Q3, Q4 and Q5", "5.1 %", "one is not enough: keep 2"),
                     ("R1, R2, R3 and R4", "3.4 %", "one is enough for all 4: 96.6 % of delivery times")]
    assert [row["part"] for row in spares._shared([one])] == ["no like parts"]
    rows = [*spares._repair(SimpleNamespace(waits_h=lambda part: part.mttr_h if part.designation == "Q3" else 0.0), [one, five])]
    assert [(row["sum"], row["wait"], row["spare"]) for row in rows] == [("5", "", ""), ("9", "7", "")]


def test_a_kind_without_a_delivery_time_of_its_own_takes_two_months():
    part = SimpleNamespace(designation="M1", kind="oddity", mtbf_h=1.0, mttr_h=1.0)
    other = SimpleNamespace(designation="M2", kind="oddity", mtbf_h=2.0, mttr_h=1.0)
    mains = SimpleNamespace(designation="Q1", kind="mains", mtbf_h=1.0, mttr_h=1.0)
    plant = SimpleNamespace(spares=(), parts={each.designation: each for each in (part, other, mains)}, spare_of=lambda name: None)
    assert [(each.name, each.parts, each.spare.delivery_days, each.kept) for each in spares._groups(plant)] == [
        ("oddity", (part,), 60.0, None), ("oddity", (other,), 60.0, None)]


# ---------------------------------------------------------------- steps and the sheet, by hand


def test_who_gets_the_role_back():
    def told(policy, pair=SimpleNamespace(units=("A1", "A2"))):
        return steps._after_return(SimpleNamespace(plant=SimpleNamespace(pair=pair), settings=SimpleNamespace(
            return_policy=policy, return_wait_ms=90_500)))

    assert told("returns").startswith("A1 gets its role back by itself once it has been ready for 90.5 s: wait")
    assert told("stays").startswith("Nothing goes back by itself") and told("returns", None) == "Nothing to put back."


@pytest.mark.parametrize(("policy", "faults", "lost", "said"), [
    ("stays", ("A2: no power",), (), "Nothing to put back."), ("stays", ("A1: no power",), (), "as told"),
    ("returns", ("A2: no power",), (), "as told"), ("stays", ("A2: no power",), ("kept",), "Change the roles by hand: kept waits for it.")])
def test_what_is_put_back_after_a_return(policy, faults, lost, said):
    step = sheet_step("1", "must switch", "x", effect=SimpleNamespace(leads_after="A2", functions_lost=lost), faults=faults,
                      gap_limit_ms=9, limit_note="from", way_back="as told")
    made = steps._back(SimpleNamespace(settings=SimpleNamespace(return_policy=policy)), step)
    assert (made.way_back, made.type, made.gap_limit_ms, made.limit_note) == (said, "return to normal", None, "")


def test_what_stands_ready_before_a_step():
    def ready(pair, by_hand, leader):
        return steps._ready(SimpleNamespace(plant=SimpleNamespace(pair=pair, started_by_hand=by_hand)), leader)

    pair = SimpleNamespace(units=("A1", "A2"))
    assert [ready(None, False, "A1"), ready(None, False, None), ready(pair, True, "A2"), ready(pair, False, "A1")] == [
        "A1 runs; no alarm.", "The plant runs; no alarm.", "A2 active, A1 stopped, as it waits; all links good.",
        "A1 active, A2 ready; all links good, no alarm."]


def test_the_first_cable_to_each_rack_is_pulled_once():
    lines = {("A1", "R1"): ["W1", "X"], ("A1", "R2"): ["W1", "X"], ("A2", "R1"): ["S", "W1"], ("A2", "R2"): ["S"]}
    here = SimpleNamespace(plant=SimpleNamespace(lines=lambda: lines), faults={f"{name}: cut": "" for name in ("W1", "X")})
    assert [*steps._links_of_the_leader(here)] == [("W1: cut", "A1"), ("X: cut", "A1"), ("W1: cut", "A2")]


@pytest.mark.parametrize(("before", "after", "times", "alarms", "said"), [
    ("active", "active", (), (), "Put back; A1 active as before, no alarm left."),
    ("active", "active", (), ("a", "b", "c"), "Put back; A1 active as before, left: a, b and 1 more."),
    ("off", "standby", (12_000, 2600), (), "Put back; then A1 standby within 13 s, no alarm left."),
    ("off", "active", (12_000, 2600), (), "Put back; then A1 active within 13 s, no alarm left."),
    ("off", "loading", (), (), "Put back; then A1 loading, no alarm left.")])
def test_what_brings_the_plant_back(before, after, times, alarms, said):
    record = [SimpleNamespace(what="role", new=new, time_ms=ms) for new, ms in (*((after, ms) for ms in times), ("off", 99_000))]
    record.append(SimpleNamespace(what="alarm", new="active", time_ms=88_000))
    roles = [SimpleNamespace(roles={"A1": SimpleNamespace(value=value)}, alarms=alarms) for value in (before, after)]
    roles[1].roles = roles[0].roles if before == after else roles[1].roles
    assert steps._way_back(SimpleNamespace(before=roles[0], after=roles[1], record=record, functions_lost=())) == said


def test_doubled_parts_are_tried_by_what_they_are(monkeypatch):
    kinds = {"P1": "pump", "P2": "blower", "P3": "fan", "P4": "drive", "P5": "compressor", "B1": "sensor", "B2": "sensor", "B3": "analyser", "V1": "valve", "V2": "valve", "F1": "fan", "F2": "fan",
             "U": "ups", "T": "supply", "S": "supply"}
    parts = {name: SimpleNamespace(kind=kind, battery_h=1.5 if name == "T" else 0.0) for name, kind in kinds.items()}
    inner = AtLeast(1, ("X", "Y"))
    choices = [("a", AtLeast(1, ("P1", "P2", "P3", "P4", "P5"))), ("b", AtLeast(2, ("B1", "B2", "B3"))), ("c", AtLeast(1, ("B1", "B2"))),
               ("d", AtLeast(1, ("V1", "V2"))), ("e", AtLeast(1, ("V1", inner))), ("f", AtLeast(1, (inner, inner))),
               ("g", AtLeast(0, ("V1",))), ("h", AtLeast(1, ("F1", "F2")))]
    monkeypatch.setattr(steps, "_choices", lambda plant: choices)
    monkeypatch.setattr(steps, "_ready", lambda basis, leader: "ready")
    monkeypatch.setattr(steps, "_broken", lambda basis, units: [f"{unit}: x" for unit in units])
    asked = []
    monkeypatch.setattr(steps, "_check", lambda kind, faults, **words: asked.append((kind, tuple(faults), words)) or sheet_step("", "check", kind))
    duty = SimpleNamespace(parts=("F1", "F2", "F3"), running=2, by_hand_h=0.25, starts=0.0)
    functions = {name: SimpleNamespace(by=by) for name, by in (("a", ()), ("s", ("C1", "C2")), ("t", ("C1",)))}
    plant = SimpleNamespace(parts=parts, changeovers=(duty,), functions_counted=functions, leading=lambda function: function.by)
    faults = [SimpleNamespace(id=f"U: {name}", unit="U", breaks=breaks, kind=SimpleNamespace(of=of)) for name, breaks, of in (
        ("off", {"U"}, "supply"), ("worn", set(), "ups"), ("dip", set(), "supply"))]
    made = [*steps._backups(SimpleNamespace(plant=plant, leaders=("C1",), named=lambda name: f"{name} here",
                                            faults={each.id: each for each in faults}))]
    hand, none = "within 15 min, started by hand", "within ____ s, with no hand at it"
    assert [(kind, words["function"], words["running"], words["count"], words["start"]) for kind, _, words in asked[:6]] == [
        ("duty", "a", 1, 5, none), ("vote", "b", 2, 3, none), ("one_away", "c", 1, 2, none), ("one_away", "d", 1, 2, none),
        ("without_control", "e", 1, 1, none), ("duty", "h", 2, 2, hand)]
    assert [each[:2] for each in asked[6:]] == [("second_pair", ("C1: x", "C2: x")), ("battery", ("U: off", "U: worn")), ("battery", ())]
    assert [(words["supply"], words["minutes"]) for _, _, words in asked[7:]] == [("U here", "____"), ("T here", "90")]
    assert [each.longer_min for each in made] == [0.0] * 7 + [30.0, 90.0]


def test_a_long_list_of_racks_and_an_empty_sheet():
    racks = {f"R{n:02d}": SimpleNamespace(kind="interface" if n else "panel") for n in range(13)}
    row, = switchover_sheet._versions(SimpleNamespace(plant=SimpleNamespace(parts=racks)))
    assert row["what"].endswith(", R11 and 1 more")
    assert [each.key for each in switchover_sheet._readings(()).columns] == ["step", "limit", "r1", "within", "record"]


@pytest.mark.parametrize(("seen", "words"), [
    ({"A1 ACTIVE": "dark", "A1 RUN": "green", "A1 FAIL": "dark"}, "A1: ACTIVE dark, RUN green"),
    ({"A1 DATA": "dark", "A1 PLANT": "dark", "A1 RUN": "green"}, "A1: DATA dark, PLANT dark, RUN green")])
def test_what_is_dark_is_said_of_who_leads_of_data_and_of_the_plant(seen, words):
    run = SimpleNamespace(effect=SimpleNamespace(lamps_after=()))
    assert fault_finding._words(SimpleNamespace(plant=PANEL), seen, None, ["A1"], run) == words


def test_calls_are_led_to_the_number_of_what_is_seen_and_name_three_happenings():
    runs = [SimpleNamespace(cause=f"X: {n}", weight=0.1, fault=None, signs={}, effect=SimpleNamespace(
        functions_lost=(), lost_after_h={}, happenings=[SimpleNamespace(name=name) for name in "abcde"])) for n in range(2)]
    symptoms = [SimpleNamespace(runs=(run,)) for run in runs]
    row, = fault_finding._complaints(SimpleNamespace(plant=PANEL, runs=runs), symptoms).rows
    assert (row["said"], row["go"]) == ("at the process: a, b, c and 2 more", "no. 1 and no. 2")


@pytest.mark.parametrize(("kind", "more", "said"), [
    ("check", {}, "exactly as listed"), ("fail state", {"effect": SimpleNamespace(after=SEEN)}, "roles, lamps, lines exactly"),
    ("must not switch", {"effect": SimpleNamespace(after=SEEN)}, "roles, lamps, lines exactly"),
    ("must not switch", {"effect": SimpleNamespace(after=SimpleNamespace(outputs={"R": 1}))}, "no output moves; roles, lamps, lines exactly"),
    ("must switch", {"effect": SimpleNamespace(after=SEEN), "gap_limit_ms": 0, "limit_note": "here"},
     "at most 0 ms, here; output step at most 1 % of range; roles, lamps, lines exactly")])
def test_what_a_step_tolerates(kind, more, said):
    assert switchover_sheet._tolerance(sheet_step("1", kind, "x", **more)) == said


def test_who_can_lead_when_a_fault_comes():
    def leaders(pair, reach, by_hand=False):
        plant = SimpleNamespace(pair=pair and SimpleNamespace(units=("A1", "A2")), controllers=tuple(reach), started_by_hand=by_hand,
                                reach=lambda: reach)
        return Basis.leaders.func(SimpleNamespace(plant=plant))

    both, less = {"A1": ["R1", "R2"], "A2": ["R1", "R2"]}, {"A1": ["R1"], "A2": ["R1", "R2"]}
    assert [leaders(None, {}), leaders(None, {"A1": ["R1"]}), leaders("pair", both), leaders("pair", less), leaders("pair", less, True)] == [
        (None,), ("A1",), ("A1", "A2"), ("A2",), ("A1", "A2")]
    assert [spaced(minutes(value)) for value in (0.00499, 0.0051, 9.99, 10, -12.34)] == ["0", "0.01", "9.99", "10.0", "-12.3"]


# ---------------------------------------------------------------- a paper as data


LARGE = PaperTable("", (Column("a", "A"), Column("b", "B")), (
    {"group": "G"}, *({"a": str(n)} for n in range(4)), {"a": "sum"}), main=True, small=True, sums=1)


@pytest.mark.parametrize(("most", "small", "rows", "note", "keys"), [
    (2, True, ["0", "1", "sum"], "2 more in the long form.", "a"), (3, True, ["0", "1", "2", "sum"], "1 more in the long form.", "a"),
    (4, False, ["0", "1", "2", "3", "sum"], "", "ab")])
def test_a_table_in_the_short_form_keeps_its_sums(most, small, rows, note, keys):
    made = dataclasses.replace(LARGE, small=small).shortened(most)
    assert ([row["a"] for row in made.rows], made.note, made.main) == (rows, note, False)
    assert "".join(each.key for each in made.columns) == keys


def test_a_paper_in_the_short_form():
    whole = Section("S", ("one", "two"), ("p", "q", "r"), tables=(LARGE,), picture="<svg/>", picture_says="x", new_page=True, short_rows=2)
    made = Paper("note", "A note", "", {}, (whole, Section("only in the long form")), ({"what": "w"},), wide=True).short()
    assert (made.name, made.title, made.assumptions, made.wide) == ("note_short", "A note, short form", (), False)
    assert made.sections == (Section("S", ("one",), ("p", "q"), tables=(LARGE.shortened(2),), short_rows=2),)
    assert dataclasses.replace(whole, short_rows=0).shortened() == Section("S", ("one",), short_rows=0)
    empty = PaperTable("", LARGE.columns, ())
    assert [each.says_something for each in (
        Section("S"), Section("S", tables=(empty,)), Section("S", ("t",), tables=(empty,)), Section("S", (), ("p",), tables=(empty,)),
        Section("S", tables=(empty, LARGE)))] == [True, False, True, True, True]


@pytest.mark.parametrize(("tables", "head", "rows"), [
    ((dataclasses.replace(LARGE, main=False), dataclasses.replace(LARGE, rows=({"a": "1"},))), ["kind", "a", "b"], [["row", "1", ""]]),
    ((dataclasses.replace(LARGE, csv_rows=({"x": "1", "kind": "", "y": "2"}, {"y": "3"})),), ["kind", "x", "y"],
     [["row", "1", "2"], ["row", "", "3"]]),
    ((), ["kind", "text"], [])])
def test_a_paper_as_csv_carries_all_that_it_rests_on(tables, head, rows):
    made = Paper("note", "A note", "", {"Date": "today"}, (Section("S", tables=tables),),
                 ({"what": "w", "value": "v", "source": "s"},), carried={"steps": "x"})
    found = [*csv.reader(io.StringIO(made.csv()))]
    assert found[:1 + len(rows)] == [head, *rows] and {len(row) for row in found} == {len(head)}
    assert [row[:2] for row in found[1 + len(rows):][:4]] == [
        ["paper", "A note"], ["date", "today"], ["assumption", "w: v (s)"], ["steps", "x"]]
    assert [row[1] for row in found if row[0] == "caution"] == [*CAUTIONS]


def test_what_is_told_of_starts_of_a_pair_and_of_a_panel_that_is_blind():
    duty = Changeover("fans", ("F1", "F2", "F3"), 2, 0.95, 0.5, 0.9, 720.0)
    told = "2 of 3 run; 95 % of starts succeed by themselves, 90 % of the others by hand in 0.5 h; duty changes "
    assert Basis._of_duty(None, duty) == told + "every 720 h"
    assert Basis._of_duty(None, dataclasses.replace(duty, every_h=0.0)) == told + "never"
    blind = Basis.blinded.func(SimpleNamespace(healthy=SimpleNamespace(not_in_rate={"a": {"P1"}, "b": {"P2", "P1"}, "c": ()})))
    assert [said.partition(" too")[0] for said in blind.values()] == ["P1 stops a", "P1 and P2 stop b"]


@pytest.mark.parametrize(("unit", "stops", "idle", "waits_h"), [
    # 40 % unnoticed for 100 h; not a unit of the pair, nor what stops a function that somebody misses
    ("B", (), False, 40.0), ("A1", (), False, 0.0), ("B", ("B",), False, 0.0), ("B", ("B",), True, 40.0)])
def test_how_long_a_failure_waits_for_its_test(unit, stops, idle, waits_h):
    plant = SimpleNamespace(pair=SimpleNamespace(units=("A1", "A2")), functions_counted=("kept",), stands_idle=lambda name: idle,
                            condition=lambda name, out: not out <= {*stops} and None, share_noticed=lambda name: 0.6)
    here = SimpleNamespace(plant=plant)
    here._in_pair = functools.partial(Basis._in_pair, here)
    assert Basis.waits_h(here, SimpleNamespace(designation=unit, unseen_h=100.0)) == pytest.approx(waits_h, rel=1e-12)


@pytest.mark.parametrize(("more", "said"), [
    ({"share": 1.0}, ""), ({"share": 1.0, "noticed": 1.0}, "; 100 % noticed at once (by the file)"),
    ({"share": 0.6}, "; 60 % noticed at once (by the rig), the rest by a test every 730 h"),
    ({"share": 0.6, "noticed": 0.6, "missed": {"B"}},
     "; 60 % noticed at once (by the file), the rest by the outage that it causes or by a test every 730 h"),
    ({"share": 0.6, "noticed": 0.6, "note": "by ear"}, "; 60 % noticed at once (by ear), the rest by a test every 730 h"),
    ({"share": 0.6, "in_pair": True}, "")])
def test_how_much_of_the_failures_of_a_part_is_noticed(more, said):
    more = {"noticed": None, "note": "", "missed": set(), "in_pair": False} | more
    here = SimpleNamespace(plant=SimpleNamespace(share_noticed=lambda name: more["share"]), _missed=more["missed"],
                           _in_pair=lambda part: more["in_pair"])
    part = SimpleNamespace(designation="B", noticed=more["noticed"], noticed_note=more["note"], test_interval_h=730.0, missed=0.0,
                           overhaul_interval_h=0.0)
    assert Basis._noticed(here, part) == said


# ---------------------------------------------------------------- which steps there are, by hand


def fault_of(name, of="", breaks=None, provoke="", **more):
    unit, _, how = name.partition(": ")
    kind = {"of": of, "provoke": provoke, "shows": {}, "alarm": False} | more.pop("kind", {})
    return SimpleNamespace(**{"id": name, "unit": unit, "mode": how, "kind": SimpleNamespace(**kind),
                              "breaks": frozenset((unit,) if breaks is None else breaks)} | more)


FAULTS = {each.id: each for each in (
    fault_of("A1: no power", "controller", provoke="Switch off {part}."), fault_of("A2: no power", "controller", provoke="Switch off {part}."),
    fault_of("A1: own fault", "controller"), fault_of("A2: restarted", "controller"), fault_of("S1: cut", "sync"),
    fault_of("W1: cut", "link", provoke="Pull {unit}."), fault_of("W2: cut", "link", provoke="Pull {unit}."),
    fault_of("T1: off", "supply", provoke="Open {unit}."), fault_of("T2: off", "supply"), fault_of("B1: dead", "bus", provoke="Open {unit}."),
    fault_of("B1: noise", "bus"), fault_of("dig: route", "shared cables", ("W1", "W2")))}


def plant_for_steps(pair=True, by_hand=False, sync=("S1", "S2")):
    parts = {name: SimpleNamespace(kind=kind, fed_by=fed_by) for name, kind, fed_by in (
        ("A1", "controller", ("T1",)), ("A2", "controller", ("T1",)), ("T1", "supply", ()), ("T2", "ups", ("T1",)), ("T3", "supply", ()),
        ("S1", "cable", ()), ("W1", "cable", ()), ("W2", "cable", ()), ("B1", "bus", ()))}
    plant = SimpleNamespace(parts=parts, pair=SimpleNamespace(units=("A1", "A2"), sync=sync, restart_h=0.5) if pair else None,
                            started_by_hand=by_hand, lines=lambda: {("A1", "R1"): ["W1"], ("A2", "R1"): ["W2"]}, controllers=("A1", "A2"))
    settings = SimpleNamespace(cycle_ms=40, return_policy="stays", return_wait_ms=0)
    return SimpleNamespace(plant=plant, faults=FAULTS, leaders=("A1", "A2") if pair else ("A1",), settings=settings,
                           named=lambda name: f"{name} here")


@pytest.fixture
def made(monkeypatch):
    """What each step is made from, in place of a step that is run."""
    class Run(dict):
        effect = object()

    def step(basis, part, action, faults, leader, **more):
        return Run(part=part, action=action, faults=faults, leader=leader, **more)

    monkeypatch.setattr(steps, "_step", step)
    monkeypatch.setattr(steps, "_back", lambda basis, step: step | {"back": True})
    monkeypatch.setattr(steps, "_check", lambda name, faults=(), **words: dict(check=name, faults=tuple(faults), **words))
    monkeypatch.setattr(steps, "replace", lambda step, **more: step | more)
    return lambda found: [(each.get("check") or each["action"], each["faults"], each.get("leader")) for each in found]


def test_planned_changes(made):
    there = plant_for_steps()
    assert made(steps._planned(there)) == [("Ask for a switchover by hand.", ("test: role change",), unit) for unit in ("A1", "A2")]
    assert {each["actions"] for each in steps._planned(there)} == {(Do("role change", wait_s=5.0),)}
    hand, *_ = steps._planned(plant_for_steps(by_hand=True))
    assert hand["action"] == "Stop the program of A1; then start A2 by hand, as instructed, within 30 min."
    assert hand["actions"] == (Do("on", "A1: stopped", wait_s=5.0), Do("off", "A2: stopped"))
    assert made(steps._planned(plant_for_steps(pair=False))) == []


def test_single_faults_of_who_leads_its_links_and_the_feeds(made):
    assert made(steps._single(plant_for_steps())) == [
        ("Switch off A1 here.", ("A1: no power",), "A1"), ("Switch off A2 here.", ("A2: no power",), "A2"),
        ("Pull W1.", ("W1: cut",), "A1"), ("Pull W2.", ("W2: cut",), "A2"), ("Open T1.", ("T1: off",), "A1")]
    assert [each[1] for each in made(steps._single(plant_for_steps(pair=False)))] == [("A1: no power",), ("W1: cut",), ("T1: off",)]
    assert steps._provoked(plant_for_steps(), fault_of("people: x", provoke="{part} stop {unit}")) == "people stop people"


def test_what_must_move_nothing(made):
    fuse, plug, both, link, loads, bus = (
        ("Switch off the supply of A2 at its own fuse.", ("A2: no power",), "A1"), ("Pull the plug of S1 here.", ("S1: cut",), "A1"),
        ("Pull S1 and S2, one after the other.", ("S1: cut", "S2: cut"), "A1"), ("Pull the plug of W2 here.", ("W2: cut",), "A1"),
        ("Ask for a switchover by hand while the standby loads.", ("A2: restarted",), "A1"), ("Open B1.", ("B1: dead",), "A1"))
    assert made(steps._unmoved(plant_for_steps())) == [fuse, plug, both, link, loads, bus]
    assert made(steps._unmoved(plant_for_steps(sync=("S1",)))) == [fuse, plug, link, loads, bus]
    assert made(steps._unmoved(plant_for_steps(by_hand=True))) == [fuse, plug, both, link, bus]
    assert made(steps._unmoved(plant_for_steps(pair=False))) == [bus]
    shared = plant_for_steps(sync=("S1",))
    shared.plant.lines = lambda: {("A1", "R1"): ["W1"], ("A2", "R1"): ["W1"]}      # a link of both moves something
    assert made(steps._unmoved(shared)) == [fuse, plug, loads, bus]
    *_, ask, _ = steps._unmoved(shared)
    assert (ask["prepared"], ask["actions"]) == ((Do("on", "A2: restarted", wait_s=1.0),), (Do("role change"),))


def test_two_faults_at_once(made):
    route = ("Pull the plugs of W1 and W2 at the same time.", ("dig: route",), "A1")
    gone = "Switch off the supply of A1 as well."
    both, cuts = (gone, ("A2: no power", "A1: no power"), "A1"), (gone, ("S1: cut", "A1: no power"), "A1")
    assert made(steps._double(plant_for_steps())) == [route, both, cuts]
    assert made(steps._double(plant_for_steps(sync=("S2",)))) == [route, both]
    assert made(steps._double(plant_for_steps(pair=False))) == [route]
    _, one, other = steps._double(plant_for_steps())
    assert (one["prepared"], one["actions"]) == ((Do("on", "A2: no power", wait_s=5.0),), (Do("on", "A1: no power"),))
    assert (other["prepared"], other["before"]) == ((Do("on", "S1: cut", wait_s=5.0),), "S1 pulled.")


def test_what_is_switched_on_again(made):
    there = plant_for_steps()
    units = [(f"Switch the supply of {unit} on again.", (f"{unit}: no power",), unit) for unit in ("A1", "A2")]
    feeds = ("Switch T1 on again.", ("T1: off",), "A1")                # T2 is fed, of T3 there is no fault
    assert made(steps._returns(there)) == [*units, feeds] and all(each["back"] for each in steps._returns(there))
    first, *_, last = steps._returns(there)
    assert (first["prepared"], first["actions"]) == ((Do("on", "A1: no power", wait_s=5.0),), (Do("off", "A1: no power"),))
    assert (last["prepared"], last["actions"]) == ((Do("on", "T1: off", wait_s=5.0),), (Do("off", "T1: off"),))
    there.plant.parts["T2"].fed_by, there.faults = (), FAULTS | {"T1: dead": FAULTS["T1: off"], "B1: off": FAULTS["B1: dead"]}
    *_, (action, off, _) = made(steps._returns(there))                 # of two feeds both, and no bus
    assert (action, off) == ("Switch T1 and T2 on again.", ("T1: off", "T2: off"))
    there.leaders, there.faults = (None,), {}
    assert made(steps._returns(there)) == []


def test_awkward_moments(made):
    found = [*steps._moments(plant_for_steps())]
    assert [each.get("repeats") for each in found] == [3] * 5 + [None] and found[0]["action"].endswith(f"by hand {texts()['moments'][0]}.")
    assert found[5]["check"] == "time_stamps" and found[5]["cycle_ms"] == 40
    for there in (plant_for_steps(pair=False), plant_for_steps(by_hand=True)):
        assert [each["check"] for each in steps._moments(there)] == ["time_stamps"]
    there.plant.controllers = ()
    assert [*steps._moments(there)] == []


def test_what_is_looked_at_and_proved_before_anything_is_taken_away(made, monkeypatch):
    looks = fault_of("W1: plug", "link", kind={"shows": {"second reading": "x"}})
    told = fault_of("W2: plug", "link", kind={"shows": {"local switch": "x"}, "alarm": True})
    dark = fault_of("P1: x", "panel", mode="lamp dark")
    other = fault_of("settings: x", "settings")
    hidden = [fault_of("W1: cut", "link"), fault_of("W1: silent", "link"), fault_of("A1: own fault", "controller"), fault_of("M1: dead", "rack")]
    there = plant_for_steps()
    there.faults = {each.id: each for each in (looks, told, dark, other, *hidden, fault_of("M2: dead", "rack"), fault_of("M3: dead", "rack"))}
    there.plant.parts = {name: SimpleNamespace(noticed=noticed) for name, noticed in (
        ("A1", 0.5), ("M1", None), ("M2", 0.9), ("M3", 1.0), ("W1", None))}
    assert steps._second_looks(there) == [looks]
    unseen = {"W1": [looks, *hidden[:2]], "A1": hidden[2:3], "M1": hidden[3:]}
    monkeypatch.setattr(steps, "_unseen", lambda basis: unseen)
    monkeypatch.setattr(steps, "_cold_start", lambda basis: dict(check="cold_start", faults=()))
    cable, part = ("proof", ("W1: cut",), None), ("proof", ("M1: dead", "M2: dead"), None)
    found = made(steps._looks(there))
    assert found == [("versions", ("A1: program differs", "A2: program differs"), None), ("settings", ("settings: x",), None),
                     ("round", ("W1: plug",), None), cable, part, ("cold_start", (), None), ("lamp_test", ("P1: x",), None)]
    assert [each["parts"] for each in steps._looks(there) if each["check"] == "proof"] == ["W1", "M1 and M2"]
    there.plant.started_by_hand = True
    assert "cold_start" not in [each[0] for each in made(steps._looks(there))]
    # without a pair a silent link is no matter of a switchover, and A1 is a part like others
    there.plant.pair, there.faults = None, {each.id: each for each in (*hidden,)}
    assert made(steps._looks(there)) == [
        ("settings", (), None), ("proof", ("W1: plug", "W1: cut", "W1: silent"), None), ("proof", ("A1: own fault", "M1: dead"), None)]


def test_what_nobody_sees_is_what_breaks_its_part_alone_and_is_told_by_nothing():
    faults = (fault_of("A: seen"), fault_of("B: sometimes"), fault_of("B: never"), fault_of("C: none", breaks=()), fault_of("D: two", breaks=("D", "E")))
    noticed = {("A: seen", 1), ("A: seen", 2), ("B: sometimes", 1)}
    effects = {(fault.id, leader): SimpleNamespace(noticed=(fault.id, leader) in noticed) for fault in faults for leader in (1, 2)}

    class Here(SimpleNamespace):
        __hash__ = object.__hash__

    there = Here(faults={each.id: each for each in faults}, effects=effects, leaders=(1, 2))
    assert steps._unseen(there) == {"B": [*faults[1:3]]}
    assert steps._broken(there, {"B", "C"}) == ["B: sometimes", "B: never"]


def test_steps_are_numbered_in_order_and_what_moves_is_a_fault_like_others(monkeypatch):
    def some(*kinds, part="x"):
        return lambda basis: [sheet_step("", kind, part, 7, effect=None if kind == "check" else object()) for kind in kinds]

    parts = {"_unmoved": some("must not switch", "must switch", "check", "fail state"), "_looks": some("check"), "_planned": some("must switch"),
             "_single": some("fail state"), "_double": some(), "_returns": some("return to normal"), "_backups": some("check"),
             "_moments": some("must switch", part=steps.AWKWARD)}
    for name, found in parts.items():
        monkeypatch.setattr(steps, name, found)
    found = steps.steps_of.__wrapped__(None)
    assert [(each.number, each.type, each.repeats) for each in found] == [
        ("01", "check", 7), ("02", "must switch", 10), ("03", "fail state", 3), ("04", "must switch", 10), ("05", "fail state", 3),
        ("06", "must not switch", 3), ("07", "check", 7), ("08", "return to normal", 3), ("09", "must switch", 7), ("10", "check", 7)]
    assert [each.part for each in found[3:5]] == [steps.SINGLE] * 2
    assert {kind: sheet_step("", kind, "x", longer_min=2).minutes for kind in steps.MINUTES} == {
        "must switch": 6, "must not switch": 6, "fail state": 17, "return to normal": 8, "check": 12}


def test_what_a_step_is_made_from(monkeypatch):
    """What was done last is put back first, what passes is not put back at all, and two leaders are not tried."""
    asked, run, way = [], *(SimpleNamespace(after=SimpleNamespace(leaders=("A1",)), functions_lost=lost) for lost in (("kept",), ()))
    monkeypatch.setattr(steps, "course_of", lambda plant, actions, settings, *, prepared, leader: asked.append(
        (actions, prepared, leader)) or (run if len(asked) in (1, 3, 4, 5, 7, 8, 9) else way))
    monkeypatch.setattr(steps, "kind_of", lambda effect: "must not switch")
    monkeypatch.setattr(steps, "_limit", lambda basis, kind, effect, actions: (9, 4, "from here"))
    monkeypatch.setattr(steps, "_partners", lambda basis, taken: ("P", "Q") if taken == {"S1", "A1"} else ())
    monkeypatch.setattr(steps, "_way_back", lambda found: "back" if found is way else "not run")
    there = plant_for_steps()
    dip = fault_of("T1: dip", "supply", mode="voltage dip")
    there.faults = {name: fault_of(name, mode="broken") for name in ("S1: cut", "A1: no power")} | {dip.id: dip}
    cut, gone, passing, change = Do("on", "S1: cut"), Do("on", "A1: no power"), Do("on", dip.id), Do("role change")
    made = steps._step(there, "x", "Do it.", ("S1: cut", "A1: no power"), "A1", prepared=(cut,), before="S1 pulled.", actions=(gone,))
    assert made == SheetStep(
        "", "must not switch", "x", "A1 active, A2 ready; all links good, no alarm. Proved good directly before: P and Q. Lost "
        "meanwhile, so manned or not needed: kept. Then: S1 pulled.", "Do it.", run, "", 9, 4, "from here",
        "back", ("S1: cut", "A1: no power"), prepared=(cut,))
    run.functions_lost = ()
    few = [steps._step(there, "x", "Do it.", (dip.id,), "A2", **more) for more in (
        {}, {"actions": (change,)}, {"actions": (change,), "back": (change,)}, {"back": (change,), "way_back": "as told"})]
    assert [each.way_back for each in few] == ["Nothing to put back."] * 2 + ["back", "as told"]
    assert {each.precondition for each in few} == {"A2 active, A1 ready; all links good, no alarm."}
    off = tuple(Do("off", name) for name in ("A1: no power", "S1: cut"))
    assert asked == [((gone,), (cut,), "A1"), (off, (cut, gone), "A1"), ((passing,), (), "A2"), ((change,), (), "A2"),
                     ((change,), (), "A2"), ((change,), (change,), "A2"), ((passing,), (), "A2")]
    run.after.leaders = ("A1", "A2")
    both = steps._step(there, "x", "Do it.", (dip.id,), "A1")
    run.after.leaders, way.after.leaders = ("A1",), ("A1", "A2")       # nor where putting it back makes two lead
    assert steps._step(there, "x", "Do it.", ("S1: cut",), "A1").action == "Do not carry this out: Do it."
    assert (both.type, both.part, both.effect, both.faults) == ("check", "x", None, (dip.id,))
    assert both.action == "Do not carry this out: Do it." and "A1 and A2 would both lead" in both.expected


def test_which_steps_find_what_nobody_notices(monkeypatch):
    """Those that look for it by name; else the two mildest runs that come out otherwise, in the order of the sheet."""
    made = [sheet_step("01", "check", "x", faults=("A: silent", "T: dip", "settings: x")),
            *(sheet_step(number, kind, part, effect=SimpleNamespace(leads_after=leads)) for number, kind, part, leads in (
                ("02", "must switch", steps.PLANNED, "A2"), ("03", "must switch", steps.PLANNED, "A1"), ("04", "fail state", "x", None),
                ("05", "must not switch", "x", "A1"), ("06", "must switch", "x", "A2")))]
    monkeypatch.setattr(steps, "steps_of", lambda basis: tuple(made))
    differ = {"settings: x": {"04", "05", "06"}, "B: half": {"04"}, "A: silent": {"04"}, "A2: not tracking": {"04"}, "C: looked at": {"04"}}
    monkeypatch.setattr(steps, "_comes_out_otherwise", lambda basis, step, fault: step.number in differ.get(fault, ()))
    noticed = {"A: silent": (False, False), "T: dip": (False, False), "U: dip": (False, False), "settings: x": (False, False), "B: half": (True, False),
               "A2: not tracking": (False, False), "C: looked at": (True, True), "D: seen": (True, True), "E: by nothing": (False, False)}
    modes = {"T: dip": "voltage dip", "U: dip": "voltage dip", "A2: not tracking": "not tracking"}
    here = SimpleNamespace(
        leaders=("A1", "A2"), faults={name: fault_of(name, mode=modes.get(name, "broken")) for name in noticed},
        effects={(name, leader): SimpleNamespace(noticed=each) for name, both in noticed.items() for leader, each in zip(("A1", "A2"), both, strict=True)},
        notice=lambda fault, leader: SimpleNamespace(share=0.9 if fault == "C: looked at" else 1.0))
    assert steps.finders.__wrapped__(here) == {
        "A: silent": ("01",), "T: dip": ("01",), "settings: x": ("01", "05", "06"), "B: half": ("04",), "A2: not tracking": ("02",),
        "C: looked at": (), "E: by nothing": ()}


def test_a_run_comes_out_otherwise_by_what_can_be_seen_of_it(monkeypatch):
    """Roles, lamps, alarms, outputs and the process; its times are not seen."""
    def run(**more):
        seen = {"role": "active", "text": "runs", "flashing": False, "alarm": "none", "worst": "held", "name": "low", "time_s": 1.0} | more
        return SimpleNamespace(
            after=SimpleNamespace(roles={"A1": seen["role"]}, alarms=(seen["alarm"],)), outputs_worst={"R1": seen["worst"]}, leader="A1",
            lamps_after=[SimpleNamespace(text=seen["text"], flashing=seen["flashing"])], actions=(Do("role change"),),
            happenings=[SimpleNamespace(name=seen["name"], time_s=seen["time_s"])])

    step, asked, found = sheet_step("1", "fail state", "x", effect=run(), prepared=(Do("on", "B: x"),)), [], []
    for more in ({}, {"time_s": 2.0}, {"role": "off"}, {"text": "off"}, {"flashing": True}, {"alarm": "x"}, {"worst": "fail"}, {"name": "high"}):
        monkeypatch.setattr(steps, "course_of", lambda plant, actions, settings, *, prepared, leader, more=more: asked.append(
            (actions, prepared, leader)) or run(**more))
        found.append(steps._comes_out_otherwise(plant_for_steps(), step, "A: x"))
    assert found == [False] * 2 + [True] * 6
    assert asked == [((Do("role change"),), [Do("on", "A: x"), Do("on", "B: x")], "A1")] * 8


@pytest.mark.parametrize(("role", "lit", "when", "shown"), [
    ("active", True, "the first after 2.1 s", "lit: A1 RUN green"), ("stopped", False, "nobody leads, for no rack is reached", "lit: none")])
def test_what_a_cold_start_comes_to(monkeypatch, role, lit, when, shown):
    """Without controllers and all that feeds something, kept is lost; the lamps of the panel are no unit's."""
    class Pair:
        record = [SimpleNamespace(what=what, new=new, time_ms=ms) for what, new, ms in (
            ("alarm", "active", 900), ("role", "standby", 1500), ("role", role, 2051), ("role", role, 7100))]

        def __init__(self, plant, settings, cold_start):
            assert cold_start

        def run_for(self, time_ms):
            assert time_ms > 2000 + 300_000

        def snapshot(self):
            return SimpleNamespace(roles={"A1": SimpleNamespace(value=role)}, leaders=())

    monkeypatch.setattr(steps, "Switchover", Pair)
    monkeypatch.setattr(steps, "lamps_of", lambda snapshot: [SimpleNamespace(unit=unit, name=name, colour="green", lit=on) for unit, name, on in (
        ("A1", "RUN", lit), ("A1", "FAIL", False), ("P1", "DATA", True))])
    there = plant_for_steps()
    there.settings.start_ms, there.settings.load_ms = 2000, 300_000
    there.plant.functions_counted = ("kept", "other")
    there.plant.condition = lambda name, dark: name == "other" or dark != {"A1", "A2", "T1"}
    made = steps._cold_start(there)
    assert made.precondition.endswith("for a minute. Lost meanwhile, so manned or not needed: kept.")
    assert made.expected.startswith(f"A1 {role}; ") and when in made.expected and made.expected.endswith(shown)


def test_where_two_would_lead_no_step_asks_for_it(tmp_path):
    """Without a sync cable, and with racks that are not asked, each change and each way back makes two leaders."""
    file = tmp_path / "plant.toml"
    cable = PAIR[PAIR.index('[[part]]\ndesignation = "W9"'):PAIR.index("[pair]")]
    file.write_text(SINGLE + PAIR.replace(cable, "").replace('sync = ["W9"]\n', ""), encoding="utf-8")
    here = Basis(load_plant(file), PairSettings(ask_racks=False), date=DATE)
    found = steps.steps_of(here)
    assert {step.part for step in found} >= {steps.PLANNED, steps.SINGLE, steps.DOUBLE, "Return to normal"}
    assert all(step.type == "check" for step in found)
    looks = ("Read name", "Compare every setting", "Compare the time stamps")
    done = [step.action for step in found if not step.action.startswith("Do not carry this out: ")]
    assert len(done) == 3 and all(action.startswith(looks) for action in done)
    assert "Do not carry this out: Switch everything on at once (cold start)." in [step.action for step in found]
    assert steps.finders(here)["settings: one missed beat"] == ("02",)


# ---------------------------------------------------------------- verdict, money, repairs


@pytest.mark.parametrize(("net", "turns", "pair", "said"), [
    (0.0, 0, True, "B against A: gain less price 0 EUR a year, so it does not pay with the numbers of the file. No single assumption turns"),
    (1.0, 2, False, "so it pays with the numbers of the file. Within usual limits the verdict turns with k0 and k1."),
    (1.0, 6, False, "the verdict turns with k0, k1, k2, k3, k4 and 1 more."), (None, 0, False, "gain less price 0 EUR a year")])
def test_what_the_verdict_says(monkeypatch, net, turns, pair, said):
    swings = () if net is None else tuple(SimpleNamespace(net_per_year=net, turns=n < turns, width=0.0, assumption=SimpleNamespace(
        key=f"k{n}")) for n in range(turns + 1))
    asked = []
    for name, found in (("sensitivity", swings), ("break_evens", ()), ("assumptions", ())):
        monkeypatch.setattr(comparison.sensitivity, name, lambda plant, *of, found=found, **more: asked.append(of) or found)
    monkeypatch.setattr(comparison, "_question", lambda basis, outcomes: ("B", "A", pair))
    monkeypatch.setattr(comparison, "_all_at_once", lambda *_: "all")
    to_pay, moves, last = comparison._verdict(SimpleNamespace(plant=SimpleNamespace(currency="EUR")), ())
    assert {*asked} == {("B", "A")} and last == "all" and said in " ".join(to_pay.texts) and said in moves.picture_says
    assert to_pay.title == f"What has to be true for {'the pair' if pair else 'B'} to pay" and moves.picture == ""


def test_the_least_of_several_is_marked_and_fixed_durations_stand_beside(monkeypatch):
    outcomes = tuple(an_outcome(name, total, loss, down_min_per_year={"kept": 1.0}, outages_per_year={"kept": 2.0})
                     for name, total, loss in (("A", 9.0, 7.0), ("B", 8.0, 8.0), ("C", 8.0, 1.0)))
    fixed = tuple(an_outcome(name, 0.0, 20.0) for name in "ABC")
    monkeypatch.setattr(comparison, "compare_variants", lambda plant, law: fixed if law == "fixed" else None)
    here = SimpleNamespace(plant=SimpleNamespace(currency="EUR", functions_counted=("kept",)))
    table = comparison._money(here, outcomes)
    assert [(row["loss"], row["price"], row["total"], row["fixed"]) for row in table.rows] == [
        ("7", "2", "9", "20"), ("8", "0", "8 (least)", "20"), ("1", "7", "8 (least)", "20")]
    assert table.main and [row["together_EUR_per_year"] for row in table.csv_rows] == ["9.00", "8.00", "8.00"]
    assert [[row["total"] for row in comparison._money(here, outcomes[:count]).rows] for count in (1, 2)] == [["9"], ["9", "8 (least)"]]
    assert comparison._steps(SimpleNamespace(plant=SimpleNamespace(costs=(), currency="EUR"))).rows[0]["name"].startswith("the file has no costs")


def test_a_repair_without_a_spare_waits_for_its_delivery():
    """30 days are 720 h; of 4 h, 1 of them a wait, 3 h are left, and half of the failures take a spare."""
    parts = tuple(SimpleNamespace(designation=name, mttr_h=4.0, waits_h=waits_h, takes_spare=takes, spares_per_h=takes * 1e-4, failure_rate_per_h=1e-4)
                  for name, waits_h, takes in (("A", 1.0, 0.5), ("B", 0.0, 1.0)))
    group = spares._Group("P", parts, Spare("P", ("A", "B"), 1, 30.0))
    assert group.repair_h(0) == pytest.approx({"A": 3 + 360, "B": 4 + 720}, rel=1e-12)
    assert group.failures_per_h == pytest.approx(2e-4) and group.demand == pytest.approx(1.5e-4 * 720) and group.words == "P: A, B"
    # a panel that fails once in 45 000 h takes 8 h; 10 h more are 8760 / 45 000 x 10 h a year, less what it
    # is down at the time, and what others are, a thousandth
    here = basis("brackenquay")
    as_it_is, longer = spares._worth(here, {}), spares._worth(here, {"PH1": 18.0})
    assert longer[0]["see and act"] - as_it_is[0]["see and act"] == pytest.approx(8760 / 45_000 * 10, rel=2e-3)
    assert longer[0]["control kept"] == as_it_is[0]["control kept"] == here.plant.block("control kept").downtime_h_per_year
    assert longer[1] >= as_it_is[1] > 0


def test_what_the_file_has_is_told_where_other_numbers_count():
    tables = [{"designation": "A", "mtbf_h": 1000, "mttr_h": 2}, {"designation": "B", "mtbf_h": 2000, "mttr_h": 3, "ageing_shape": 3},
              {"designation": "C", "mtbf_h": 4000, "mttr_h": 5, "short_cuts": 0.5}]
    here = SimpleNamespace(plant=SimpleNamespace(document={"part": tables}, modes_of=lambda name: ["dip"] if name == "B" else []))
    said = [spaced(Basis._told_apart(here, SimpleNamespace(designation=name, waits_h=waits_h))) for name, waits_h in (("A", 0.0), ("B", 4.0), ("C", 0.0))]
    assert said == ["", " with wear, its ways of failing and the wait for a spare; the file has 2 000 h and 3 h",
                    " with short cuts; the file has 4 000 h and 5 h"]
