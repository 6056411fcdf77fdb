"""The points of a block diagram in the comparison, against sums worked by hand."""

import math
from pathlib import Path
from types import SimpleNamespace

import pytest

from labkit.availability.blocks import Gate
from labkit.plant.causes import MEETING, causes_of
from labkit.plant.plant import build, load_plant
from labkit.plant.plant_data import AtLeast, Reached
from labkit.plant.stop_modes import StopMode
from labkit.rig.effects import effect_of
from labkit.switchover.fault_kinds import faults_of
from lessons.papers import kept_by as module
from lessons.papers.basis import Basis
from lessons.papers.contributions import contributions_of
from lessons.papers.kept_by import (
    _criteria,
    _cut_sets,
    _importance,
    _independent,
    _needed,
    _order,
    diagram_for_a_sheet,
    kept_by,
)
from lessons.papers.mode_ranking import ranked
from lessons.pictures.block_diagrams import block_diagram, drawn_once


@pytest.fixture(scope="module")
def found():
    plant = load_plant("mirelow", "pair")
    return {each.title: each for each in kept_by(Basis(plant, date="2031-05-06"))}


def test_what_has_to_work_is_said_in_words(found):
    units = "KF1 or KF2"
    assert _needed(units, AtLeast(2, ("GP1", "GP2", "GP3"))) == "at least 2 of GP1, GP2 and GP3"
    assert _needed(units, AtLeast(1, ("BL9", Reached(("KF10",))))) == \
        "BL9 or a whole way from KF1 or KF2 to KF10"
    points = found["What has to work"].points
    assert any(each.startswith("control kept needs ") for each in points)
    assert any("what these have in common: KF1+KF2" in each for each in points)


def test_a_plant_without_common_causes_says_so():
    document = dict(load_plant("mirelow").document)
    plant = build({key: value for key, value in document.items()
                   if key not in ("pair", "twins", "shared_event")})
    (points,) = [each.points for each in kept_by(Basis(plant, date="2031-05-06"))[:1]]
    assert any("names nothing that several have in common" in each for each in points)


def test_what_blinds_a_panel_is_named_where_its_sums_stand():
    """The row of a supply says that the function is lost, and its column of minutes has a 0."""
    plant = load_plant("elderhang")
    lost = {fault.unit for fault in faults_of(plant).values()
            if "see and act" in effect_of(plant, fault.id).functions_lost}
    assert lost - set(plant.block("see and act").parts) == {"KF1", "TB1"}
    said = ("KF1 and TB1 stop see and act too: its panel then sees no controller. "
            "Its sums do not count that.")
    basis = Basis(plant, date="2031-05-06")
    assert said in kept_by(basis)[0].points
    assert said in ranked(basis, [], contributions_of(plant))[0].texts
    assert not Basis(load_plant("mirelow"), date="2031-05-06").blinded


def section(plant, title):
    return next(each for each in kept_by(Basis(plant, date="2031-05-06")) if each.title == title)


ROOT = Path(__file__).parents[1]
FILES = sorted([*ROOT.glob("labkit/plant/files/*.toml"), *ROOT.glob("tests/plant_files/*.toml")])


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_each_function_has_its_diagram_and_each_can_be_read(file):
    """IEC 61078 (from memory): the diagram stands beside the sum. A4, letters of 8 pt."""
    plant = load_plant(file)
    for name in plant.functions_counted:
        block = plant.block(name)
        once = drawn_once(block)
        assert diagram_for_a_sheet(block) is not None, name
        # Without what `plant.block` knows of hidden faults both are the same function of their parts.
        same = Gate(block.needed, block.blocks)
        assert once.unavailability == pytest.approx(same.unavailability, rel=1e-12)


def test_what_is_too_large_for_a_sheet_is_named():
    document = dict(load_plant("brackenquay").document)
    ways = [[f"X{n}{each}" for each in range(3)] for n in range(24)]
    document["part"] = [*document["part"], *(
        {"designation": name, "what": "fan", "kind": "fan", "mtbf_h": 9000, "mttr_h": 3}
        for way in ways for name in way)]
    document["function"] = [*document["function"], {"name": "blown", "needs": [
        {"at_least": 1, "of": way} for way in zip(*ways, strict=True)]}, {"name": "blown hard", "needs": [
            {"at_least": 12, "of": [{"at_least": 2, "of": way} for way in ways]}]}]
    large = build(document)
    assert "sheet: blown hard;" in section(large, "Block diagrams").texts[0]
    assert section(large, "blown").picture
    plant = load_plant("brackenquay")
    drawn = section(plant, "see and act")
    assert drawn.picture == block_diagram(plant.block("see and act")).svg
    assert drawn.picture_says == "Block diagram: WF3 - TF1 - WF4 - PH1."


def test_cut_sets_by_hand():
    """Rack: 8760 / 110 000 a year, 3 h: 14.33 min. Panel bus and panel stand alone in theirs."""
    plant = load_plant("brackenquay")
    rows = section(plant, "Minimal cut sets").tables[0].rows
    by_set = {(row["function"], row["set"]): row for row in rows}
    assert by_set["control kept", "KF10"]["minutes"] == "14.3"
    assert by_set["control kept", "KF10"]["order"] == "1"
    # 8760 / 45 000 a year, 8 h each: 93.4 min, of 115.9 in all.
    row = by_set["see and act", "PH1"]
    assert row["minutes"] == "93.4"
    assert float(row["share"].split()[0]) == pytest.approx(
        100 * 93.44 / (plant.block("see and act").downtime_h_per_year * 60), rel=0.01)


def test_both_units_fail_by_one_cause_or_by_two():
    """A cut set of IEC 61078 (from memory) has as many failures as have to come together."""
    pair = load_plant("brackenquay")
    document = {**pair.document, "pair": {**pair.document["pair"], "common_cause": 0}}
    for plant, order in ((pair, "1 or 2"), (build(document), "2")):
        rows = section(plant, "Minimal cut sets").tables[0].rows
        assert {row["order"] for row in rows if row["set"] == "KF1+KF2 both failed"} == {order}


def test_importance_by_hand():
    """In a series Birnbaum's is the availability of the rest, and each is in every sum."""
    plant = load_plant("brackenquay")
    rows = section(plant, "Importance").tables[0].rows
    panel = next(row for row in rows if (row["function"], row["part"]) == ("see and act", "PH1"))
    rest = 1.0
    for name in ("WF3", "TF1", "WF4"):
        part = plant.parts[name]
        rest *= part.mtbf_h / (part.mtbf_h + part.mttr_h)
    assert float(panel["birnbaum"]) == pytest.approx(rest, rel=1e-3)
    u = plant.block("see and act").unavailability
    assert float(panel["raw"].replace("\u00a0", "")) == pytest.approx(1.0 / u, rel=1e-3)


def test_needs_are_those_of_the_file_and_every_cause_is_counted():
    """Elderhang: two pumps of three and a way to both racks, 105 h a year after 7300 h; eight sets have a row."""
    pair, orchard = (Basis(load_plant(*name), date="") for name in (("mirelow", "pair"), ("elderhang",)))
    assert list(_criteria(pair))[:2] == ["fans kept needs a whole way from KF1 or KF2 to KF10; GQ1 or GQ2.",
                                         "control kept needs a whole way from KF1 or KF2 to KF10."]
    duty, panel, *_ = (each.replace("\u00a0", " ") for each in _criteria(orchard))
    assert duty == (
        "frost duty needs at least 2 of GP1, GP2 and GP3; a whole way from KF1 to KF10 and KF20. It is asked for 105 h a "
        "year, after 7 300 h idle: losses count in that share, and with what failed unseen in the idle time, minutes and "
        "outages in all the hours.")
    assert panel == "see and act needs WF4; PH1."
    for name, more in (("frost duty", ["6 more"]), ("see and act", [])):
        sets = [row["set"] for row in _cut_sets(orchard) if row["function"] == name][:-2]
        assert [each for each in sets if each.endswith(" more")] == more
        assert len(sets) - len(more) + 6 * len(more) == len(causes_of(orchard.plant, name))


# ---------------------------------------------------------------- words, by hand


@pytest.mark.parametrize(("pair", "crews", "said"), [
    (None, None, "as the failure is noticed, with nobody to wait for."),
    (None, 2, "as the failure is noticed, with 2 of them at a time."),
    (1, None, "as the failure is noticed, with nobody to wait for; the units of the pair have 1 crew."),
    (2, 1, "as the failure is noticed, with 1 of them at a time; the units of the pair have 2 crews.")])
def test_who_repairs_and_what_is_counted_as_a_part(pair, crews, said):
    plant = SimpleNamespace(
        twins=(SimpleNamespace(name="F1+F2 common cause"),), people=SimpleNamespace(crews=crews), parts={"C1": "", "C2": ""},
        shared_events={n: SimpleNamespace(name=n, mtbf_h=hours) for n, hours in (("fire", 1e6), ("flood", None))},
        pair=pair and SimpleNamespace(units=("A1", "A2"), common_cause=0.05, crews=pair),
        functions_counted={n: SimpleNamespace(by=by) for n, by in (("f", ("C2", "C1")), ("g", ("C1", "A1")), ("h", ()))})
    common, others, repairs = _independent(SimpleNamespace(plant=plant))
    assert common.endswith("in common: A1+A2, F1+F2 and fire." if pair else "in common: F1+F2 and fire.")
    assert others == "Counted as parts that work or not: C1 and C2." and repairs.endswith(said)
    plant.functions_counted = {}
    assert len([*_independent(SimpleNamespace(plant=plant))]) == 2


def test_eight_importances_of_parts_that_are_in_a_cut_set():
    """By the share of the outages, largest first; what is in none has no row."""
    found = {f"P{n}": SimpleNamespace(birnbaum=0.1234, fussell_vesely=0.01 * n, risk_achievement=1234.0, risk_reduction=1.0 + n)
             for n in range(1, 10)}
    found["P9"].risk_reduction = math.inf
    block = SimpleNamespace(parts=("P",), importance=lambda: found)
    basis = SimpleNamespace(plant=SimpleNamespace(functions_counted=("f",), block=lambda name: block))
    rows = [*_importance(basis)]
    assert [row["part"] for row in rows] == [f"P{n}" for n in range(9, 1, -1)]
    assert (rows[0]["rrw"], rows[1]["rrw"], rows[0]["birnbaum"], rows[0]["raw"]) == ("no limit", "9", "0.123", "1\xa0234")
    for each in found.values():
        each.fussell_vesely = 0.0
    assert [*_importance(basis)] == []
    block.parts = ()
    found["P1"].fussell_vesely = 1.0
    assert [*_importance(basis)] == []


def test_eight_cut_sets_and_the_sum_of_the_others(monkeypatch):
    """Ten causes of 10 to 1 min, each once in ten years: the last two are 3 min and 0.2 a year; 10 of 60 min are 17 %."""
    causes = [SimpleNamespace(name=f"P{n}", length="long" if n == 10 else "", outages_per_year=0.1, mean_down_h=2.0, down_min_per_year=float(n))
              for n in range(10, 0, -1)]
    modes = [StopMode((f"P{n}",)) for n in range(1, 11)]
    monkeypatch.setattr(module, "modes_of", lambda plant, name: modes)
    monkeypatch.setattr(module, "causes_of", lambda plant, name: causes)
    monkeypatch.setattr(module, "meeting", lambda plant, name, found: SimpleNamespace(outages_per_year=-0.01, down_min_per_year=-5.0))
    block = SimpleNamespace(downtime_h_per_year=1.0, failures_per_h=1 / 8760, mean_down_time_h=1.5)
    plant = SimpleNamespace(functions_counted=("f",), block=lambda name: block, pair=None)
    rows = [*_cut_sets(SimpleNamespace(plant=plant))]
    assert [row["set"] for row in rows] == ["P10, long", *(f"P{n}" for n in range(9, 2, -1)), "2 more", MEETING, "in all"]
    assert [tuple(row.values())[2:] for row in (rows[0], *rows[8:])] == [
        ("1", "0.1/a", "2 h", "10.0", "17 %"), ("", "0.2/a", "", "3.00", "5 %"), ("", "-0.01/a", "", "-5.00", "-8.3 %"),
        ("", "1/a", "1.5 h", "60.0", "100 %")]
    block.downtime_h_per_year = 0.0
    assert {row["share"] for row in _cut_sets(SimpleNamespace(plant=plant))} == {""}


def test_how_many_failures_have_to_come_together():
    def order(mode, common):
        return _order(SimpleNamespace(plant=SimpleNamespace(pair=SimpleNamespace(common_cause=common))), mode)

    both = StopMode(("B",), pair_state="both failed")
    assert [order(both, 0.05), order(both, 0), order(StopMode(("B",), "A1"), 0.05), order(StopMode((), "", "not taken over"), 0.05)] == [
        "2 or 3", "3", "2", "1"]
