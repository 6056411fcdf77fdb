"""Invented plants, unlike those that come along: check, sums by hand, rig and papers.

Sallow Lock has two pairs of controllers and a third controller for itself. Osier Weir has a ring, votes and two panels; Tarn Dairy one controller with backups, behind mains and
a battery; Reed Archive two servers of which somebody starts the second.
"""

import itertools
import math
import os
import re
from functools import cache
from pathlib import Path

import pytest
from scipy.integrate import quad

from labkit.markov.pair import redundant_pair
from labkit.plant.causes import causes_of
from labkit.plant.file import starter_text
from labkit.plant.file_check import check_file
from labkit.plant.plant import load_plant
from labkit.plant.variants import compare_variants, losses
from labkit.rig.checks import catalogue
from labkit.rig.effects import effect_of
from labkit.rig.finder import FaultFinder
from labkit.rig.noticed import notice_of
from labkit.rig.rig import Rig
from labkit.switchover.fault_kinds import faults_of
from lessons.papers.basis import Basis
from lessons.papers.comparison import comparison
from lessons.papers.contributions import contributions_of
from lessons.papers.failure_modes import failure_modes
from lessons.papers.fault_finding import fault_finding
from lessons.papers.papers import MAKERS, write_papers
from lessons.papers.steps import steps_of
from lessons.papers.switchover_sheet import switchover_test
from lessons.pictures.seen import seen_at
from tests.plants import PAIR, SINGLE

FOLDER = Path(__file__).parent / "plant_files"
NAMES = ("osier_weir", "tarn_dairy", "reed_archive", "sallow_lock")
YEAR_MIN = 8760 * 60


@cache
def plant(name):
    return load_plant(FOLDER / f"{name}.toml")


def down(mtbf_h, mttr_h):
    return mttr_h / (mtbf_h + mttr_h)


def series_min(*parts):
    """Minutes a year of parts of which all are needed, from MTBF and MTTR."""
    return (1 - math.prod(1 - down(*each) for each in parts)) * YEAR_MIN


# Doubts that stay: what these files leave out on purpose, so that sums by hand stay short.
DOUBTS = {"osier_weir": ["none for MA1, MA2, MA3"],
          "reed_archive": ["PH1 feed", "PH2 feed", "KF10 feed", "GQ1 feed", "none for PH1, PH2"],
          "tarn_dairy": ["KF10 feed"], "sallow_lock": []}


@pytest.mark.parametrize("name", NAMES)
def test_there_is_nothing_else_to_say_of_the_file(name):
    said = [f"{each.key.removeprefix('part ')} feed" if "fed_by" in each.rule else each.found
            for each in check_file(FOLDER / f"{name}.toml")]
    assert said == DOUBTS[name]


@pytest.mark.parametrize("name", NAMES)
def test_causes_add_up_to_the_block(name):
    """Rare events: the sum of the causes exceeds the exact figure by less than one part in 500."""
    for function in plant(name).functions_counted:
        causes = sum(cause.down_min_per_year for cause in causes_of(plant(name), function))
        exact = plant(name).block(function).downtime_h_per_year * 60
        assert exact * (1 - 1e-9) <= causes <= exact * 1.002


@pytest.mark.parametrize("name", NAMES)
def test_the_papers_share_out_all_of_it(name):
    found = contributions_of(plant(name))
    for function, minutes in found.down_min_per_year.items():
        causes = causes_of(plant(name), function)
        assert sum(minutes.values()) == pytest.approx(
            sum(cause.down_min_per_year for cause in causes), rel=1e-9)
    assert found.whole_loss_per_year == pytest.approx(
        sum(each.loss_per_year for each in losses(plant(name))), rel=1e-12)
    assert sum(found.loss_per_year.values()) == pytest.approx(
        sum(each.loss_per_year for each in losses(plant(name)) if each.cause.parts), rel=1e-9)


def test_a_second_pair_counts_as_the_first():
    """Alone, without its rack: 1.881 min/a for common cause 0.05 and coverage 0.97, as of the first.

    The chain of the pair has one crew and counts failed takeovers without the common causes: both are
    below 1 % here.
    """
    lock = plant("sallow_lock")
    chain = redundant_pair(60_000, 4, common_cause=0.05, coverage=0.97).unavailability * YEAR_MIN
    assert chain == pytest.approx(1.881, abs=5e-4)
    whole = lock.block("reach filled").downtime_h_per_year * 60
    rest = series_min((110_000, 3)) + lock.parts["GP1"].mttr_h * YEAR_MIN * 0.05 / 20_000
    pumps = (0.95 * 12 / 20_000)**2 * YEAR_MIN
    assert whole - rest - pumps == pytest.approx(chain, rel=0.03)


def test_the_rig_runs_the_first_pair_and_keeps_the_rest():
    lock = plant("sallow_lock")
    assert (lock.controllers, lock.racks) == (("KF1", "KF2"), ("KF10",))
    healthy = lock.state().works
    assert all(healthy.values())
    assert lock.state({"KF3"}).works["reach filled"]
    assert not lock.state({"KF3", "KF4"}).works["reach filled"]
    assert not lock.state({"KF5"}).works["lights shown"]
    assert effect_of(lock, "KF5: dead").functions_lost == ("lights shown",)
    assert not effect_of(lock, "KF3: dead").functions_lost


def test_two_panels_by_hand():
    """Seen from a bank: a panel, its switch and a controller that comes to it round the ring.

    Every state of the parts and of who leads, by counting.
    """
    weir = plant("osier_weir")
    spans = {"WR1": ("KS1", "KS2"), "WR2": ("KS2", "KS3"), "WR3": ("KS3", "KS1")}
    names = ("PH1", "PH2", "KS1", "KS2", "KS3", "WC1", "WC2", *spans)

    def sees(whole, unit):
        if f"WC{unit}" not in whole or f"KS{unit}" not in whole:
            return False
        there = {f"KS{unit}"}
        for _ in spans:
            for cable, ends in spans.items():
                if cable in whole and there & {*ends}:
                    there |= {*ends} & whole
        return any(f"PH{bank}" in whole and f"KS{bank}" in there for bank in (1, 2))

    lost = 0.0
    leading = weir.pair_chain.steady_state()
    share = dict(zip(weir.pair_chain.states, map(float, leading), strict=True))
    fed = down(250_000, 3)
    for pattern in itertools.product((True, False), repeat=len(names)):
        chance = math.prod(1 - down(weir.parts[name].mtbf_h, weir.parts[name].mttr_h) if works
                           else down(weir.parts[name].mtbf_h, weir.parts[name].mttr_h)
                           for name, works in zip(names, pattern, strict=True))
        whole = {name for name, works in zip(names, pattern, strict=True) if works}
        way = [sees(whole, unit) for unit in (1, 2)]
        for state, time in share.items():
            may = [state == "both good" or state.startswith("KF2 failed"),
                   state == "both good" or state.startswith("KF1 failed")]
            able = [here and there for here, there in zip(way, may, strict=True)]
            gone = 1.0 if not any(able) else fed ** sum(able)
            lost += chance * time * gone
    plain = weir.plain_block_of(weir.condition("seen from a bank")).unavailability
    assert plain == pytest.approx(lost, rel=1e-9)
    # There a standby that sleeps waits for its test; here the outage finds it as well.
    assert 0.9 * plain < weir.block("seen from a bank").unavailability < plain


def test_gates_by_hand():
    """Of three drives two are enough; two of ten failures slip and show in half of the cases."""
    (gates,) = (cause for cause in causes_of(plant("osier_weir"), "level kept")
                if cause.name == "gates: no start")
    assert gates.outages_per_year == pytest.approx(0.02 * 2 * 8760 / 90_000, rel=1e-3)
    assert gates.mean_down_h == pytest.approx(1.5, rel=1e-9)
    assert plant("osier_weir").share_noticed("MA1") == pytest.approx(0.8, rel=1e-12)
    assert plant("osier_weir").parts["MA1"].test_interval_h == 720


def test_control_of_the_dairy_by_hand():
    """A series: mains beyond 0.75 h, a UPS whose battery is new every five years, one spare."""
    scale_h = 80_000 / math.gamma(4 / 3)

    def lives(hours):
        return math.exp(-((hours / scale_h) ** 3))

    ups_h = quad(lives, 0, 43_800)[0] / (1 - lives(43_800))
    a = 21 * 24 / 60_000
    spare_h = (a - 1 + math.exp(-a)) * 60_000
    long_h, short_h = 9_000 / math.exp(-0.75 / 2.5), 8760 / 5 / math.exp(-0.75 / 0.02)
    by_hand = series_min((long_h, 2.5), (short_h, 0.02), (ups_h, 8), (250_000, 3), (60_000, 2 + spare_h),
                         (400_000, 6), (220_000, 2), (110_000, 2), (150_000, 2))
    found = plant("tarn_dairy").block("control kept").downtime_h_per_year * 60
    assert found == pytest.approx(by_hand, rel=1e-6)


def test_a_pump_that_has_to_be_ordered_is_out_for_days():
    assert plant("tarn_dairy").parts["GP1"].mttr_h == 10 + 4 * 24
    built, ordered, pair, battery = compare_variants(plant("tarn_dairy"))
    # A thermostat stands in for the controller: neither spare nor pair is seen in the milk.
    for other in (ordered, pair):
        assert other.down_min_per_year["milk cold"] == pytest.approx(
            built.down_min_per_year["milk cold"], rel=1e-3)
    # The milk hangs on the mains itself, whatever carries the control.
    assert battery.loss_per_year == pytest.approx(built.loss_per_year, rel=1e-3)
    assert ordered.down_min_per_year["control kept"] > 20 * built.down_min_per_year["control kept"]
    assert battery.down_min_per_year["control kept"] < built.down_min_per_year["control kept"]


def test_air_of_the_archive_by_hand():
    beyond_h = 12_000 / math.exp(-0.5 / 1.5)
    by_hand = series_min((beyond_h, 1.5), (80_000, 8), (60_000, 4), (400_000, 6), (220_000, 3),
                         (110_000, 3), (30_000, 2), (30_000, 8))
    found = plant("reed_archive").block("air kept").downtime_h_per_year * 60
    assert found == pytest.approx(by_hand, rel=1e-6)


def test_records_of_the_archive_by_hand():
    """Each stop of the running server is an outage: 2 h by hand, in one of ten until repaired.

    It stops by itself, with its UPS, and if its battery is the one of half an hour with the mains too.
    """
    repair_h = 6 + 5 * 24
    failures = 8760 / 50_000
    mains = 8760 / 12_000 * math.exp(-1 / 1.5)
    stops = failures + 8760 / 80_000 + 8760 / 12_000 * math.exp(-0.5 / 1.5) / 2
    expected = {
        "servers: no start": (stops * 0.9, 2.0),
        "servers: no start by hand": (stops * 0.1, repair_h),
        "servers patched": (8760 / 2_190, 0.5),
        "CS1+CS2 common cause": (0.05 * failures, repair_h),
        "KS1": (8760 / 200_000, 4.0),
        "QA1 longer than 1 h": (mains, 1.5),
    }
    found = {cause.name: cause for cause in causes_of(plant("reed_archive"), "records kept")}
    for name, (often, mean_h) in expected.items():
        assert found[name].outages_per_year == pytest.approx(often, rel=2e-3), name
        assert found[name].mean_down_h == pytest.approx(mean_h, rel=2e-3), name
    small = sum(cause.down_min_per_year for name, cause in found.items() if name not in expected)
    assert small < 0.06 * sum(cause.down_min_per_year for cause in found.values())


def test_ways_of_failing_stand_among_the_faults():
    weir = plant("osier_weir")
    faults = faults_of(weir)
    assert notice_of(weir, faults["MA2: slips"], effect_of(weir, "MA2: slips")).share == 0.5
    assert notice_of(weir, faults["MA2: seized"], effect_of(weir, "MA2: seized")).share == 1.0
    assert "MA2: dead" not in faults


@pytest.mark.parametrize("name", NAMES if os.environ.get("WORKBOOK_PAPERS") else NAMES[-1:])
def test_all_papers_are_made(name, tmp_path):
    files = write_papers(plant(name), tmp_path)
    assert len(files) == 15
    text = "".join(file.read_text("utf-8") for file in files if file.suffix == ".md")
    assert all(part in text for part in plant(name).parts)


@cache
def dryer():
    return Basis(plant("seed_dryer"), date="2031-05-06")


def test_a_panel_without_its_feed_does_not_light_in_its_lamp_test():
    """TB1 feeds the panel. A lamp test needs a supply (from memory: any lamp does)."""
    finder = FaultFinder(dryer().plant)
    name = "lamp test of PH1"
    test = next(each for each in finder.checks() if each.name == name)
    chance = test.outcomes["a lamp stays dark"]
    assert chance["TB1: off"] > 0.9 and chance["PH1: dark"] > 0.9
    assert chance["KF10: module fault"] < 0.1 and chance["SW1: no power"] < 0.1
    rig = Rig(dryer().plant)
    rig.switch_on("TB1: off")
    shows = next(each.shows for each in catalogue(dryer().plant) if each.name == name)
    assert shows(rig).endswith("all lamps stay dark")


@pytest.mark.parametrize("file", ["brackenquay", "elderhang", str(FOLDER / "heat_station.toml")])
def test_of_a_plant_that_is_well_each_check_says_so(file):
    """Each panel lights, each line has frames, each rack is counted once for each controller."""
    rig = Rig(load_plant(file))
    rig.wait(5.0)
    said = {each.name: each.shows(rig) for each in catalogue(rig.plant)
            if each.shows and each.name.startswith(("lamp test", "error counters"))}
    assert said and not re.search("dark|no good", " ".join(said.values()))
    racks = len({rack for rack, _ in rig.snapshot().link_units})
    assert f"links from KF1: LINK data at {racks} of {racks} racks, WRITER at {racks}" in seen_at(rig)


def test_what_a_step_takes_away_stands_before_it():
    """The battery of UP1 holds 0.5 h by the file; its input goes to nothing else."""
    steps = steps_of(dryer())
    battery = next(step for step in steps if step.action.startswith("Battery"))
    assert "the input of UP1" in battery.action and "nothing else" in battery.action
    assert "for 30 min" in battery.action and battery.minutes == 10 + 30
    cold = next(step for step in steps if "cold start" in step.action)
    assert "Lost meanwhile, so manned or not needed: seed dried and operator sees." in cold.precondition


def test_no_sentence_speaks_against_the_file():
    """Its mains are inside; a switch that is off takes control with it; a year has two lengths."""
    texts = "\n".join(paper.markdown() for paper in (
        failure_modes(dryer()), fault_finding(dryer()), comparison(dryer())))
    assert "Outside: the building" in texts and "Outside: the public supply" not in texts
    assert "control needs nothing done" not in texts
    assert "spare or second way; rehearse it" in texts
    assert "a second feed, a generator set or a battery, tried under load; rehearse it" in texts
    assert "1 500 h a year: losses count in that share" in texts.replace("\u00a0", " ")


def test_what_acceptance_practice_asks_of_the_sheet_is_there():
    """After the abstracts of IEC 62381:2012 and 2024 and a public FAT template: scope, people, end."""
    steps = steps_of(dryer())
    text = switchover_test(dryer()).markdown()
    tried = {dryer().faults[each].unit for step in steps for each in step.faults}
    left = re.search(r"By no step of this sheet: (.*?)\. Add one", text)[1]
    assert {*re.split(", | and ", left)} == {*dryer().plant.parts} - tried == {
        "NE1", "KF10", "BM1", "MA1", "EB1"}
    for word in ("FIT or SIT", "with revisions", "people, each with firm", "no A open"):
        assert word in text


def test_rows_are_counted_by_severity_and_frequency():
    """IEC 60812:2018 has a criticality matrix (its abstract); each row of the table stands in it once."""
    paper = failure_modes(dryer())
    found = {each.title: each.tables for each in paper.sections}
    (table,) = found["How bad, how often"]
    rows = paper.main.csv_rows
    for row in table.rows:
        mine = [float(each["failures_per_year"]) for each in rows if each["severity"] == row["severity"]]
        bands = [sum(low <= each < high for each in mine) for low, high in (
            (1, math.inf), (0.1, 1), (0.01, 0.1), (0, 0.01))]
        assert [row[key] for key in ("often", "some", "few", "rare")] == [
            str(each) if each else "–" for each in bands]


SUBSTATION = """
format = 1
[plant]
name = "Substation"
[[part]]
designation = "Q1"
what = "mains"
kind = "mains"
mtbf_h = 7000
mttr_h = 0.8
[[part]]
designation = "B1"
what = "UPS of the theatres"
kind = "ups"
mtbf_h = 90000
mttr_h = 12
fed_by = ["Q1"]
battery_h = 0.25
[[function]]
name = "theatres"
needs = ["B1"]
"""

# Each unit of the pair has a line of its own, and one of them has both.
TWO_LINES = SINGLE + PAIR + """
[[part]]
designation = "R2"
what = "second rack"
kind = "rack"
mtbf_h = 100000
mttr_h = 3
[[part]]
designation = "W3"
what = "cable"
kind = "cable"
mtbf_h = 400000
mttr_h = 6
joins = ["A2", "R2"]
[[function]]
name = "second line"
reached = ["R2"]
"""


@pytest.mark.parametrize("text", [SUBSTATION, TWO_LINES, starter_text().replace("coverage = 0.97", "coverage = 0")],
                         ids=["no controller", "two lines", "started by hand"])
def test_papers_of_unusual_plants_have_no_holes(tmp_path, text):
    (tmp_path / "plant.toml").write_text(text, "utf-8")
    plant = load_plant(tmp_path / "plant.toml")
    assert not any(each.severity == "error" for each in check_file(tmp_path / "plant.toml"))
    basis = Basis(plant, date="2031-05-06", draws=6)
    for paper in (maker(basis) for maker in MAKERS):
        said = paper.markdown()
        assert not re.findall(r"^\| *$|^#.*: $|(?<!-): +\||with ;", said, re.MULTILINE), paper.name
    steps = [each for each in steps_of(basis) if each.effect]
    if plant.started_by_hand:
        # somebody stopped the standby, and an alarm says so as long as it waits
        assert steps and not any("no alarm left" in each.way_back for each in steps)
    elif plant.pair:
        # A2 reaches more racks, and leads whenever it can; no alarm tells of a way that nobody built
        rig = Rig(plant)
        rig.wait(10)
        assert rig.snapshot().alarms == () and rig.snapshot().leaders == ("A2",)
        assert all(each.precondition.startswith("A2 active, A1 ready") for each in steps)
        assert {each.way_back for each in steps if each.type == "return to normal"} == {"Nothing to put back."}
        text = switchover_test(basis).markdown()
        assert "No step here is a switchover that keeps the outputs of every rack." in text
    else:
        assert not any("no output moves" in row["tolerance"] for row in
                       switchover_test(basis).main.csv_rows)
