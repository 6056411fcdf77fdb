"""What failures bring adds up to the comparison, on every plant and variant; rows keep their number."""

import csv
import functools
import io
import math
from pathlib import Path
from types import SimpleNamespace

import pytest

from labkit.plant.causes import MEETING, asleep_when_asked, causes_of, latent_causes_of, meeting
from labkit.plant.failing_parts import Failure
from labkit.plant.file import find_file
from labkit.plant.file_check import check_file
from labkit.plant.plant import load_plant
from labkit.plant.stop_modes import StopMode
from labkit.plant.variants import compare_variants
from labkit.rig.effects import effect_of
from labkit.switchover.settings import PairSettings
from lessons.papers.basis import Basis
from lessons.papers.contributions import Contributor, _members, _of, contributions_of, names_of
from lessons.papers.failure_modes import failure_modes
from lessons.papers.mode_words import covers, on_pair, severity_of
from lessons.papers.steps import steps_of
from tests.plants import PAIR, SINGLE
from tests.test_plant_keys import part, plant_of

HERE = Path(__file__).parent
SHIPPED = ("brackenquay", "elderhang", "mirelow", "starter")
FILES = [*SHIPPED, *sorted((HERE / "plant_files").glob("*.toml"))]


def rows_of(plant):
    table = csv.DictReader(io.StringIO(failure_modes(Basis(plant, date="2031-05-06")).csv()))
    return [row for row in table if row["kind"] == "row"]


def overlap(down_min, idle):
    """Return by how much a sum over causes may be above what is exact: what the last row takes off.

    An outage counts once for each cause that is present: for causes without a part in common that
    is at most the share of time down too often. A pump that stands idle is down unseen for the
    share q = 3078 / (25 000 + 3078) = 0.11 of the time; two of three are down for 3 q^2 - 2 q^3, and
    the three sets for 3 q^2: the share 2 q / 3 = 0.073 too much.
    """
    return 0.075 if idle else 1e-5 + down_min / 525_600


def rows_add_up(rows, plant):
    """Hold the columns of the failure-mode table against the comparison of the same variant."""
    def total(key):
        return math.fsum(float(row[key] or 0) for row in rows)

    outcome, = (each for each in compare_variants(plant) if each.variant == plant.version)
    for name, down_min in outcome.down_min_per_year.items():
        # six figures in each cell; what is left to the whole has a row of its own
        key = f"down_min_per_year: {name}"
        assert total(key) == pytest.approx(down_min, rel=1e-5)
        left, = (float(row[key]) for row in rows if row["designation"] == MEETING)
        assert -left <= down_min * overlap(down_min, plant.stands_idle(name))
    assert total(f"loss_{plant.currency}_per_year") == pytest.approx(
        outcome.loss_per_year, rel=1e-5)
    assert len({row["number"] for row in rows}) == len(rows)


def every_plant():
    for file in FILES:
        plant = load_plant(HERE.parent / "labkit/plant/files/starter.toml"
                           if file == "starter" else file)
        for variant in [*plant.variants] or [None]:
            name = Path(file).stem if isinstance(file, Path) else file
            yield pytest.param(plant if variant is None else plant.variant(variant),
                               id=f"{name} {variant or ''}".strip())


@functools.cache
def outcomes(path):
    return {each.variant: each for each in compare_variants(load_plant(path))}


@pytest.mark.parametrize("plant", list(every_plant()))
def test_what_each_failure_brings_adds_up_to_the_comparison(plant):
    outcome, found = outcomes(plant.path)[plant.version], contributions_of(plant)
    for name, down_min in outcome.down_min_per_year.items():
        total = math.fsum(found.down_min_per_year[name].values())
        assert total == pytest.approx(down_min, rel=overlap(down_min, plant.stands_idle(name)))
        assert total >= down_min * (1 - 1e-5)
        assert found.whole_min_per_year[name] == down_min
    assert found.whole_loss_per_year == outcome.loss_per_year
    shared = math.fsum(found.loss_per_year.values())
    # faults that are asleep together: at most half the chance that one of them is
    asleep = sum(asleep_when_asked(plant, name) for name in outcome.down_min_per_year
                 if plant.stands_idle(name))
    most = max(overlap(each, plant.stands_idle(name)) for name, each in
               outcome.down_min_per_year.items()) + asleep
    assert outcome.loss_per_year * (1 - 1e-9) <= shared <= outcome.loss_per_year * (1 + most)


@pytest.mark.parametrize("plant", list(every_plant()))
def test_cut_sets_add_up_in_outages_and_minutes(plant):
    for name in plant.functions_counted:
        block, causes = plant.block(name), causes_of(plant, name)
        causes = (*causes, meeting(plant, name, causes))
        assert math.fsum(each.outages_per_year for each in causes) == pytest.approx(
            block.failures_per_h * 8760, rel=1e-11)
        assert math.fsum(each.down_min_per_year for each in causes) == pytest.approx(
            block.downtime_h_per_year * 60, rel=1e-11)


def test_faults_asleep_together_are_one_outage():
    """By hand, one controller, two pumps of three, 7300 h idle, tested never: noticed 0.6 and 0.3.

    Asleep: the controller a = 0.4 (1 - exp(-7300 / 60 000)), a pump q = 0.7 (1 - exp(-0.95 x 7300 /
    25 000)), all of them c = 0.7 (1 - exp(-0.05 x 7300 / 25 000)): 1 - (1 - a) (1 - c) (1 - 3 q^2 + 2 q^3).
    """
    plant = load_plant("elderhang")
    a = plant.share_hidden(plant.single_failures(plant.condition("frost duty"))["KF1"]) * -math.expm1(
        -7300 / 60_000)
    q, c = (-0.7 * math.expm1(-share * 7300 / 25_000) for share in (0.95, 0.05))
    exact = 1 - (1 - a) * (1 - c) * (1 - 3 * q**2 + 2 * q**3)
    assert asleep_when_asked(plant, "frost duty") == pytest.approx(exact, rel=1e-9)
    summed = math.fsum(each.outages_per_year for each in latent_causes_of(plant, "frost duty"))
    assert summed == pytest.approx(a + c + 3 * q**2, rel=1e-9) and summed > 1.1 * exact


def test_units_of_a_pair_asleep_together_are_one_outage():
    """Both units asleep by themselves or by one cause, over all eight cases of three things."""
    plant = load_plant("elderhang", "pair")
    pair, unit = plant.pair, plant.parts["KF1"]
    one, both = (-(1 - pair.diagnosed) * math.expm1(-share * unit.failure_rate_per_h * 7300)
                 for share in (1 - pair.common_cause, pair.common_cause))
    q, c = (-0.7 * math.expm1(-share * 7300 / 25_000) for share in (0.95, 0.05))
    exact = 1 - (1 - both) * (1 - one**2) * (1 - c) * (1 - 3 * q**2 + 2 * q**3)
    assert asleep_when_asked(plant, "frost duty") == pytest.approx(exact, rel=1e-9)


def test_numbers_stay_when_a_part_goes():
    plant, less = load_plant("mirelow", "spare"), load_plant("mirelow", "thermostat")
    both = [{row["designation"] + row["mode"]: row["number"] for row in rows_of(each)}
            for each in (plant, less)]
    same = both[0].keys() & both[1].keys()
    assert len(same) > 10 and all(both[0][key] == both[1][key] for key in same)


def test_a_row_says_what_the_run_does_and_what_may_come_next():
    """By hand: of 0.19 losses of control a year the pair brings next to nothing while it is whole.

    With one unit gone the other brings 8760 / 60 000 = 0.146 a year, less the 0.0073 that took both
    before: 0.32. One fan of two gone, the other brings 8760 / 30 000 = 0.292 less 0.0146: 0.2 + 0.28.
    Both fans at once: a twentieth of 0.292; both units: 0.05 x 0.146; a takeover that fails: 0.03 of
    0.95 x 0.146, and half an hour by hand.
    """
    rows = {row["number"]: row for row in rows_of(load_plant("mirelow", "pair"))}
    control = "control kept from here lost 0.32/a instead of 0.19/a"
    assert rows["KF1-1s"]["pair"] == "KF2 leads on; KF1 off: no standby"
    assert rows["KF1-1s"]["plant"] == f"fans kept from here lost 0.34/a instead of 0.2/a; {control}"
    assert rows["KF1-1a"]["pair"].startswith("KF2 takes over after ")
    assert rows["KF1-1a"]["plant"].endswith(control) and "held for" in rows["KF1-1a"]["plant"]
    assert rows["GQ1-1"]["plant"] == "fans kept from here lost 0.48/a instead of 0.2/a"
    assert rows["TB1-1"]["pair"] == "nobody leads"
    assert not any("both lead" in row["pair"] for row in rows.values())
    for number, per_year, restored in (("GQ1-C", 0.05 * 0.292, "8"), ("KF1-C", 0.05 * 0.146, "72"),
                                       ("KF1-T", 0.03 * 0.95 * 0.146, "0.5")):
        assert float(rows[number]["failures_per_year"]) == pytest.approx(per_year, rel=1e-5)
        assert rows[number]["restored_h"] == restored


def test_what_a_pair_brings_is_its_four_ways_to_be_down(tmp_path):
    """By hand, first terms, with a = 1 / 60 000 h and the minutes of a year, 525 600.

    Both at once: 0.05 a x 4 h = 1.752 min. Not taken over: 0.95 a x 0.03 x 0.5 h = 0.1248 min. One
    after the other: 0.95 a x 2 x 4 h of one known failed, and 0.95 a x 0.1 x 2113 h of one failed
    unnoticed (2190 h to the test on the average, less where the other fails before it), each
    x a x 4 h: 0.00444 + 0.11722 = 0.12166 min, half for each unit. Rack: 3 h in 100 003 h.
    """
    file = tmp_path / "plant.toml"
    file.write_text(SINGLE.replace("mtbf_h = 400000", "mtbf_h = 4e9") + PAIR, "utf-8")
    found = contributions_of(load_plant(file)).down_min_per_year["control kept"]
    by_hand = {
        Contributor("R1", True): 15.7675, Contributor("A1+A2", True): 1.752,
        Contributor("A1+A2 not taken over", True): 0.1248, Contributor("A1", False): 0.06083,
        Contributor("A2", False): 0.06083}
    # Both are good 99.64 % of the time, from where all but the rack begin.
    assert {each: found[each] for each in by_hand} == pytest.approx(by_hand, rel=5e-3, abs=0)
    assert found.keys() - by_hand.keys() == {Contributor("W1", False), Contributor("W2", False)}


def shares_of(plant, known, *failures, **more):
    found = _members(plant, "kept", StopMode(failures, **more), known)
    return [(each.name, each.alone, pytest.approx(share, rel=1e-12)) for each, share in found]


def test_members_of_a_set_share_it_in_equal_parts():
    """Both units out: of 0.004 and 0.012 h/a from where both were good a quarter, from where one was the rest."""
    pair = SimpleNamespace(units=("A1", "A2"))
    states = {"both good": 0.8, "one out": 0.1, "waits": 0.1}
    rates = {("both good", "both failed"): 0.005, ("one out", "both failed"): 0.12, ("waits", "one out"): 9.0}
    plant = SimpleNamespace(pair=pair, way_lost="way lost", pair_chain=SimpleNamespace(
        states=tuple(states), rates=rates, steady_state=lambda: tuple(states.values())))
    assert shares_of(plant, {"B"}, "B cut longer than 4 h", "C+D common cause") == [("B", False, 0.5), ("C+D", False, 0.5)]
    assert shares_of(plant, {"B"}, "B") == [("B", True, 1.0)]
    assert shares_of(plant, {"B"}, "B", unit_out="A1") == [("B", False, 0.5), ("A1", False, 0.5)]
    assert shares_of(plant, (), pair_state="not taken over") == [("A1+A2 not taken over", True, 1.0)]
    assert shares_of(plant, {"B"}, "B", pair_state="both failed") == [
        ("B", False, 0.5), ("A1+A2", False, 0.125), ("A1", False, 0.1875), ("A2", False, 0.1875)]
    assert shares_of(plant, (), pair_state="both failed")[0] == ("A1+A2", True, 0.25)
    rates.clear()                                # where nothing leads there all is of the units by themselves
    assert [each[2] for each in shares_of(plant, (), pair_state="both failed")] == [0.0, 0.5, 0.5]
    rates["one out", "both failed"] = 0.12
    assert [each[2] for each in shares_of(plant, (), pair_state="both failed")] == [0.0, 0.5, 0.5]


def test_a_way_lost_is_of_what_cuts_it_off_by_how_long_that_is_out():
    """2 x 3 h, 1 x 2 h and 4 x 0.5 h are 0.6, 0.2 and 0.2; each of them alone stops the function."""
    cut_off = [Failure(name, (), rate, hours) for name, rate, hours in (
        ("W1", 2.0, 3.0), ("W2 cut longer than 1 h", 1.0, 2.0), ("W3+W4 common cause", 4.0, 0.5))]
    plant = SimpleNamespace(way_lost="way lost", condition=lambda name: name, cut_off=lambda name: {"kept": cut_off}[name])
    assert shares_of(plant, {"W1", "W2"}, "way lost") == [
        ("W1", True, 0.6), ("W2", True, 0.2), ("W3+W4", True, 0.2)]


@pytest.mark.parametrize(("mode", "now", "asleep"), [
    ({"failures": ("B", "C")}, "B and C", "B and C asleep"),
    ({"failures": ("B",), "unit_out": "A1"}, "B and A1 out", "B and A1 asleep"),
    ({"pair_state": "both failed"}, "A1+A2 both failed", "A1+A2 asleep"),
    ({"failures": ("B",), "pair_state": "both failed"}, "B and A1+A2 both failed", "B and A1+A2 asleep")])
def test_how_a_set_is_named_as_a_cause_and_asleep(mode, now, asleep):
    plant = SimpleNamespace(pair=SimpleNamespace(units=("A1", "A2")))
    assert names_of(plant, StopMode(**{"failures": ()} | mode)) == (now, asleep)


def test_a_failure_is_of_the_longest_name_that_it_begins_with():
    known = {"feed", "feed 2", "mains"}
    assert [_of(name, known) for name in (
        "feed 2", "feed cut longer than 4 h", "feed 2 cut longer than 4 h", "feeder", "work")] == [
        "feed 2", "feed", "feed 2", None, None]


def test_two_seconds_and_two_days_are_told_apart():
    """A dip of 0.1 s restarts both units in some 2 s; a supply that is off takes its repair."""
    rows = {row["number"]: row for row in rows_of(load_plant("mirelow", "no spare"))}
    assert rows["TB1-2"]["severity"] == "A3"
    assert rows["KF1-1"]["severity"] == "A1" and float(rows["KF1-1"]["restored_h"]) > 8
    assert rows["TB1-1"]["severity"] == "A2"


WORK = """
[title_block]
number = "MLW-7"
revision = "C"
[[maintenance]]
name = "cabinet cleaned"
parts = ["KF10", "KF1"]
every_h = 8760
takes_h = 2
[[changeover]]
name = "fans"
parts = ["GQ1", "GQ2"]
starts = 0.95
by_hand_h = 0.5
by_hand = 0.9
"""


def test_planned_work_and_failed_starts_have_rows(tmp_path):
    """Cleaned once a year for 2 h: 120 min. 0.05 of 8760/30 000 starts fail, a tenth by hand too."""
    file = tmp_path / "plant.toml"
    file.write_text(find_file("mirelow").read_text("utf-8") + WORK, "utf-8")
    plant = load_plant(file)
    rows = rows_of(plant)
    rows_add_up(rows, plant)
    found = {(row["designation"], row["mode"]): row for row in rows}
    work = found["cabinet cleaned", "planned work"]
    assert (work["number"], work["failures_per_year"], work["restored_h"]) == ("work-1", "1", "2")
    assert float(work["down_min_per_year: control kept"]) == pytest.approx(120, rel=3e-4)
    for how, share, down_h in (("no start", 0.9, "0.5"), ("no start by hand", 0.1, "8")):
        row = found["fans", how]
        assert float(row["failures_per_year"]) == pytest.approx(0.05 * 0.292 * share, rel=1e-5)
        assert row["restored_h"] == down_h
    facts = Basis(plant, date="2031-05-06").facts("any")
    assert (facts["Document"], facts["Revision"], facts["Author"]) == ("MLW-7", "C", "")


def test_a_kind_with_a_time_of_its_own_by_hand(tmp_path):
    """A dip passes in 0.02 h, three of ten failures of a supply; the other seven take its own hours.

    Supply 3 h: 0.7 x 3 + 0.3 x 0.02 = 2.106 h. UPS 8 h: 0.7 x 8 + 0.3 x 0.02 = 5.606 h.
    """
    text = (HERE / "plant_files" / "tarn_dairy.toml").read_text("utf-8")
    path = tmp_path / "dips.toml"
    path.write_text(text + '\n[how_often.supply]\nrestored_h = {"voltage dip" = 0.02}\n', "utf-8")
    assert not [each for each in check_file(path) if each.severity == "error"]
    before, plant = load_plant(HERE / "plant_files" / "tarn_dairy.toml"), load_plant(path)
    assert plant.parts["TB1"].mttr_h == pytest.approx(2.106, rel=1e-12)
    assert plant.parts["GB1"].mttr_h == pytest.approx(5.606, rel=1e-12)
    assert plant.parts["KF10"].mttr_h == before.parts["KF10"].mttr_h
    # in a series each part works for MTBF / (MTBF + MTTR) of the time
    better = math.prod((mtbf_h + mttr_h) / (mtbf_h + mean_h) for mtbf_h, mttr_h, mean_h in (
        (before.parts["TB1"].mtbf_h, 3, 2.106), (before.parts["GB1"].mtbf_h, 8, 5.606)))
    assert plant.block("control kept").availability == pytest.approx(
        before.block("control kept").availability * better, rel=1e-12)
    rows = rows_of(plant)
    lasts = {(row["mode"], float(row["restored_h"])) for row in rows
             if row["designation"].startswith("TB1")}
    assert {each[1] for each in lasts} == {3.0, 0.02}
    dip, off = (math.fsum(float(row["down_min_per_year: control kept"]) for row in rows
                          if row["designation"].startswith("TB1")
                          and (float(row["restored_h"]) == hours)) for hours in (0.02, 3.0))
    assert dip / off == pytest.approx(0.3 * 0.02 / (0.7 * 3), rel=1e-4)
    rows_add_up(rows, plant.variant("one controller"))


def test_a_battery_takes_its_hours_from_how_long_a_cut_of_the_mains_stops_anything():
    """By hand: cuts last 7.5 h on average, those of over 1 h 8.5 h; control is lost for 7.5 h of them."""
    plant = plant_of(
        part("QA1", "mains", mttr_h=7.5), part("GB1", "ups", fed_by=["QA1"], battery_h=1),
        part("KF1", "controller", fed_by=["GB1"]), part("KF10", "rack", joins=["KF1"]),
        function=[{"name": "run", "reached": ["KF10"]}])
    (row,) = [row for row in rows_of(plant) if row["mode"] == "cut longer than 1 h"]
    assert row["restored_h"] == "8.5" and row["severity"] == "A2"


def test_every_battery_has_its_hours_on_paper_and_its_step():
    """A supply with a battery carries its load as a UPS does, here for 1.5 h."""
    plant = plant_of(
        part("QA1", "mains"), part("TB1", "supply", fed_by=["QA1"], battery_h=1.5),
        part("KF1", "controller", fed_by=["TB1"]), part("KF10", "rack", joins=["KF1"]),
        function=[{"name": "run", "reached": ["KF10"]}])
    basis = Basis(plant, date="2031-05-06")
    (step,) = [each for each in steps_of(basis) if "TB1" in each.action and "for 90 min" in each.action]
    assert step.action.startswith("Battery: ")
    assert [row["value"] for row in basis.assumptions() if "battery" in row["value"]] == [
        "MTBF 1\u00a0000 h, MTTR 10 h; 1.5 h on its battery"]


def test_the_class_of_an_outage_follows_from_its_hours_to_the_limit():
    """The classes of the table: over 8 h, from 10 min on, and below; half an hour's class if unknown."""
    plant = plant_of(part("TB1", "supply"), part("TB2", "supply"), part("KF10", "rack", joins=["KF1"]),
                     part("KF1", "controller", fed_by=["TB1", "TB2"]), needs=[{"reached": ["KF10"]}])
    basis = Basis(plant, date="2031-05-06")
    effect = effect_of(plant, "KF1: no power")
    found = [severity_of(basis, basis.faults["KF1: no power"], effect, True, hours)
             for hours in (8.01, 8.0, 10 / 60, 9.9 / 60, None)]
    assert found == ["A1", "A2", "A2", "A3", "A2"]
    # two feeds: a dip of one moves nothing
    dip = effect_of(plant, "TB1: voltage dip")
    assert covers(basis, dip, basis.faults["TB1: voltage dip"]) == "the other feed, or a battery"


def test_two_that_lead_are_said_to_and_a_change_of_roles_does_not_cover_a_dip():
    plant = load_plant()
    basis = Basis(plant, PairSettings(ask_racks=False), date="2031-05-06")
    split = effect_of(plant, "WF9: cut", basis.settings)
    assert on_pair(basis, split) == "KF1 and KF2 both lead; racks flap between them"
    pair = plant_of(part("TB1", "supply"), part("KF1", "controller", fed_by=["TB1"]),
                    part("KF2", "controller"), part("WF9", "cable", joins=["KF1", "KF2"]),
                    part("KF10", "rack", joins=["KF1", "KF2"]), needs=["KF10"],
                    pair={"units": ["KF1", "KF2"], "sync": ["WF9"]})
    told = Basis(pair, date="2031-05-06")
    dip = effect_of(pair, "TB1: voltage dip")
    assert covers(told, dip, told.faults["TB1: voltage dip"]) == told.faults["TB1: voltage dip"].kind.covers
