"""The faults of a plant: every part has one, each says what is seen, and it breaks what it says."""

import csv
import io
from dataclasses import replace
from types import SimpleNamespace

import pytest

from labkit.plant.file import find_file, schema
from labkit.plant.file_check import check_file
from labkit.plant.plant import load_plant
from labkit.rig.finder import FaultFinder
from labkit.rig.rates import rates_of, source_of
from labkit.rig.rig import Rig
from labkit.switchover import fault_kinds
from labkit.switchover.damage import Wires
from labkit.switchover.engine import Switchover
from labkit.switchover.fault_kinds import KINDS, MODES, FaultKind, faults_of
from labkit.switchover.onset import settings_with
from labkit.switchover.settings import PairSettings
from lessons.exercises.drilling import bench_after
from lessons.exercises.replies import Verdict
from lessons.exercises.scenes import Scene, branches, picked
from lessons.items import lesson_10
from lessons.panels.rig_page import faults_here
from lessons.papers.basis import Basis
from lessons.papers.failure_modes import failure_modes
from lessons.papers.fault_finding import fault_finding
from tests.kinds_in_schema import how_often
from tests.plants import DRILLS, SINGLE

PLANT = load_plant()
FAULTS = faults_of(PLANT)

# Everything one can have: one controller, its rack wired straight, a pump, and no panel.
SMALL = SINGLE + """needs = ["P1"]
[[part]]
designation = "P1"
what = "pump"
kind = "pump"
mtbf_h = 20000
mttr_h = 8
"""


@pytest.fixture
def small(tmp_path):
    path = tmp_path / "small.toml"
    path.write_text(SMALL)
    return load_plant(path)


def test_every_part_can_be_broken():
    broken = {name for fault in FAULTS.values() for name in fault.breaks}
    assert broken == set(PLANT.parts)


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_fault_says_what_it_is(fault):
    assert fault.id == f"{fault.unit}: {fault.how}" and fault.how
    assert fault.label.endswith(fault.how) or fault.unit in ("settings", "test")
    for words in (fault.label, fault.place, fault.seen, fault.put_right):
        assert words.strip()
    assert fault.seen.endswith(".") and fault.put_right.endswith(".")
    assert fault.breaks <= set(PLANT.parts)
    assert fault.mode in MODES and fault.kind.here and fault.kind.cause
    assert bool(fault.breaks) is MODES[fault.mode].breaks


@pytest.mark.parametrize("fault_id, breaks, mode", [
    ("KF1: no power", {"KF1"}, "no power"), ("KF1: stopped", {"KF1"}, "stopped"),
    ("KF1: own fault", {"KF1"}, "own fault"), ("KF2: frozen", {"KF2"}, "frozen"),
    ("KF2: restarted", set(), "restart"), ("WF9: cut", {"WF9"}, "broken"),
    ("WF9: noise", set(), "noise"), ("WF9: gaps of beats", set(), "beat gaps"),
    ("WF1.10: cut", {"WF1.10"}, "broken"), ("WF1+WF2: cut", {"WF1.10", "WF2.10"}, "broken"),
    ("KF10A: dead", {"KF10A"}, "broken"), ("KF20B: dead and silent", {"KF20B"}, "silent"),
    ("KF30: module fault", {"KF30"}, "broken"), ("TB1: off", {"TB1"}, "broken"),
    ("TB1: voltage dip", set(), "voltage dip"), ("GB1: off", {"GB1"}, "broken"),
    ("TF1: no power", {"TF1"}, "broken"), ("WF3: cut", {"WF3"}, "broken"),
    ("WF3: terminator missing", set(), "frame errors"),
    ("WF3: third terminator", set(), "frame errors"),
    ("WF4: A and B swapped", {"WF4"}, "broken"), ("PH1: dark", {"PH1"}, "broken"),
    ("PH1: lamp dark", set(), "lamp dark"), ("BL1: stuck", {"BL1"}, "stuck"),
    ("KF2: integrator not tracking", set(), "not tracking"),
    ("KF2: program differs", set(), "program differs"),
    ("QM1: shut locally", set(), "shut locally"),
    ("settings: hold time too short", set(), "short hold"),
    ("settings: racks not asked", set(), "racks not asked"),
    ("settings: one missed beat", set(), "one beat"),
    ("test: role change", set(), "planned test"),
])
def test_faults_of_the_example(fault_id, breaks, mode):
    assert FAULTS[fault_id].breaks == breaks
    assert FAULTS[fault_id].mode == mode


# What shows in the record of the pair, beside the switches: by hand, from what each fault breaks.
# The process alone shows a stuck sensor; a dead lamp and a dead link that is silent show nowhere.
HIDDEN = {"lamp of the panel dead", "level sensor stuck", "interface dead and silent"}


@pytest.mark.parametrize("title", DRILLS)
def test_every_drill_shows_something_unless_it_is_hidden(title):
    pair = Switchover(PLANT)
    pair.run_to(1000)
    for fault in DRILLS[title]:
        pair.switch_on(fault)
    pair.run_for(300_000)
    shown = [entry for entry in pair.record if entry.what != "fault"]
    assert bool(shown) is (title not in HIDDEN)


def test_small_plant_has_no_faults_of_a_pair(small):
    found = faults_of(small)
    assert list(found) == ["A1: no power", "A1: stopped", "A1: own fault", "A1: frozen",
                           "A1: too hot", "R1: module fault", "W1: cut",
                           "W1: in another socket", "P1: dead"]
    # Nor words of one: no partner leads, and no beat of it goes on.
    words = " ".join(f"{each.seen} {each.kind.here} {each.put_right}" for each in found.values()
                     if each.unit == "A1")
    assert not {"partner", "standby", "heartbeat"} & set(words.replace(".", "").split())
    assert picked(small, "controller: frozen", "link: cut") == ("A1: frozen", "W1: cut")
    assert picked(small, "controller 2: frozen") == picked(small, "sync: cut") == ()


@pytest.mark.parametrize("ids, lost_links, panel", [
    (["WF1.20: cut"], {("KF20", "KF1")}, True),
    (["KF20B: dead"], {("KF20", "KF2")}, True),
    (["KF30: module fault"], {("KF30", "KF1"), ("KF30", "KF2")}, True),
    (["WF1+WF2: cut"], {("KF10", "KF1"), ("KF10", "KF2")}, True),
    (["KF1: no power"], {(rack, "KF1") for rack in PLANT.racks}, True),
    (["GB1: off"], {(rack, unit) for rack in PLANT.racks for unit in PLANT.controllers}, False),
    (["WF3: cut"], set(), False), (["WF4: A and B swapped"], set(), False),
    (["TF1: no power"], set(), False), (["PH1: dark"], set(), False),
    (["WF3: terminator missing"], set(), True), (["KF1: frozen", "WF9: cut"], set(), True),
])
def test_damage(ids, lost_links, panel):
    wires = Wires(PLANT)
    left = wires.damage([FAULTS[each] for each in ids])
    whole = wires.damage(())
    assert whole.passes - left.passes == lost_links
    assert left.seen == left.passes
    assert bool(left.panels) is panel


def test_a_silent_interface_is_dead_but_not_seen():
    left = Wires(PLANT).damage([FAULTS["KF20B: dead and silent"]])
    assert left.seen - left.passes == {("KF20", "KF2")}


@pytest.mark.parametrize("ids, near, far", [
    ([], True, True), (["WF3: cut"], False, True), (["WF4: cut"], True, False),
    (["PH1: dark"], True, False), (["TF1: no power"], False, False),
    (["WF3: third terminator"], False, True), (["WF4: terminator missing"], True, False),
    (["TB1: off"], False, True),
])
def test_both_sides_of_the_repeater(ids, near, far):
    left = Wires(PLANT).damage([FAULTS[each] for each in ids])
    assert left.repeaters == {"TF1": (near, far)}
    assert ("TF1" in left.supplied) is (ids != ["TF1: no power"])


@pytest.mark.parametrize("fault_id", FAULTS)
def test_damage_agrees_with_the_plant_file(fault_id):
    """The plant judges *see and act* from the same broken parts, by its own means."""
    fault = FAULTS[fault_id]
    pair = Switchover(PLANT)
    pair.switch_on(fault_id)
    works = PLANT.condition("see and act", fault.breaks) is not False
    supplied = not fault.breaks & {"TB1", "GB1"} and fault.mode != "voltage dip"
    assert pair.snapshot().panel_sees is (works and supplied)


# ---------------------------------------------------------------- a new kind is one row

LOOSE = FaultKind(
    "link", "loose terminal", "broken",
    seen="LINK of this interface is a yellow cross; it comes back when somebody touches it.",
    put_right="Tighten the terminal, pull at the wire, measure the cable.",
    here="the link carries data now and then", cause="terminal not tightened, vibration",
    action="tighten it, pull at each wire", branch="carry", repair="tighten the terminals",
    who="instructed person", per_year=0.1, shows={"plugs": ("terminal turns by hand", 0.9)})
LOOSE_ID = "WF1.10: loose terminal"


@pytest.fixture
def with_loose_terminal(monkeypatch):
    monkeypatch.setattr(fault_kinds, "KINDS", (*fault_kinds.KINDS, LOOSE))


def test_a_new_kind_stands_in_the_fault_list_and_acts(with_loose_terminal):
    listed = {each["id"]: each for each in faults_here(faults_of(PLANT))}
    assert listed[LOOSE_ID]["label"] == "WF1.10 link A to rack KF10: loose terminal"
    rig = Rig(PLANT)
    rig.switch_on(LOOSE_ID)
    rig.wait(5)
    assert "no data between KF1 and rack KF10" in rig.snapshot().alarms


def test_a_new_kind_can_be_named_and_put_right_in_a_drill(with_loose_terminal):
    scene = Scene((LOOSE_ID,), "KF1")
    assert scene.truth == (LOOSE_ID,) and LOOSE_ID in branches()["carry"]
    drill = lesson_10.DRILLS[-1]
    moves = ["describe: a cross at KF10", f"rank: {LOOSE_ID}; WF1.10: cut",
             "check: plugs of the rack links"]
    bench = bench_after(scene, moves)
    assert bench.results["plugs of the rack links"] == "WF1.10: terminal turns by hand"
    assert "tighten the terminals" in drill.task(SimpleNamespace(scene=scene), 0)
    repair = f"repair: {LOOSE_ID} / evidence: plugs of the rack links / action: "
    for action, left in (("mend cable, plug or shield", True), ("tighten the terminals", False)):
        bench = bench_after(scene, [*moves, repair + action])
        assert (LOOSE_ID in bench.rig.faults) is left
    assert drill.move(bench, "retest").verdict is Verdict.RIGHT and bench.closed


def test_a_new_kind_is_suspected_and_stands_in_the_papers_in_its_own_words(with_loose_terminal):
    basis = Basis(PLANT, date="2031-05-06")
    signs = basis.finder.read(_after(LOOSE_ID))
    shares = basis.finder.shares(signs, {"plugs of WF1.10": "loose or open"})
    # 0.1 a year found with 0.9, beside a cut of 8760 / 400 000 = 0.0219 a year found with 0.95.
    assert shares[LOOSE_ID] / shares["WF1.10: cut"] == pytest.approx(0.09 / 0.0208, rel=0.01)
    rows = [row for row in csv.DictReader(io.StringIO(failure_modes(basis).csv()))
            if row["mode"] == "loose terminal"]
    assert rows and all(row["here"] == LOOSE.here and row["cause"] == LOOSE.cause
                        and row["action"].startswith(LOOSE.action) for row in rows)
    assert {name for row in rows for name in PLANT.parts if name in row["designation"]} >= {
        "WF1.10", "WF2.30"}
    page = fault_finding(basis)
    assert "loose terminal" in page.markdown()
    suspected = [row for row in csv.DictReader(io.StringIO(page.csv()))
                 if row["cause"].endswith("loose terminal")]
    assert suspected and all((row["put_right"], row["who"]) == (LOOSE.put_right, LOOSE.who)
                             for row in suspected)


# From reading the table of repairs: wires, supplies and parts are for skilled people.
@pytest.mark.parametrize(("fault_id", "who"), [
    ("TB1: off", "skilled person"), ("WF9: cut", "skilled person"), ("KF1: frozen", "skilled person"),
    ("KF1: stopped", "instructed person"), ("PH1: lamp dark", "instructed person"),
    ("KF2: program differs", "who answers for the program"),
    ("settings: one missed beat", "who answers for the program"), ("QM1: shut locally", "operator"),
    ("test: role change", "operator")])
def test_who_may_put_a_fault_right(fault_id, who):
    assert FAULTS[fault_id].kind.who == who
    assert FAULTS[fault_id].who_may == f"Who may do it: {who}."


@pytest.mark.parametrize("kind", fault_kinds.KINDS, ids=lambda kind: f"{kind.of}: {kind.how}")
def test_a_kind_has_words_of_the_lists(kind):
    assert kind.of in fault_kinds.GROUPS and kind.mode in fault_kinds.MODES and kind.who in fault_kinds.WHO
    assert kind.branch in ("", *fault_kinds.BRANCHES)
    assert kind.share is None or kind.share > 0


def _after(fault_id):
    rig = Rig(PLANT)
    rig.wait(5)
    rig.switch_on(fault_id)
    rig.wait(60)
    return rig


def test_a_new_kind_without_a_share_comes_beside_the_failures_of_its_part(with_loose_terminal):
    rates = rates_of(PLANT)
    assert rates["WF1.10: cut"] == pytest.approx(1 / 400_000, rel=1e-12)
    assert rates[LOOSE_ID] == pytest.approx(0.1 / 8760, rel=1e-12)
    # Where nothing is stated it comes once in a hundred years.
    assert FaultKind("link", "x", "broken", "", "", "", "").per_year == 0.01


def test_a_new_kind_with_a_share_takes_it_from_the_failures_of_its_part(monkeypatch):
    kind = replace(LOOSE, share=0.25)
    monkeypatch.setattr(fault_kinds, "KINDS", (*fault_kinds.KINDS, kind))
    rates = rates_of(PLANT)
    assert rates["WF1.10: cut"] == pytest.approx(0.8 / 400_000, rel=1e-12)
    assert rates[LOOSE_ID] == pytest.approx(0.2 / 400_000, rel=1e-12)


def test_a_valve_is_shut_where_the_level_is_read():
    assert faults_of(PLANT)["QM1: shut locally"].place == PLANT.parts["BL1"].place == "hall roof"


def test_a_kind_that_says_no_more_is_a_failure_once_in_a_hundred_years():
    bare = FaultKind("other", "worn", "broken", "{parts} stop.", "Mend it.", "still", "age")
    assert (bare.by_people, bare.share, bare.who) == (False, None, "skilled person")
    assert 1 / bare.per_year == pytest.approx(100)
    fault = fault_kinds.Fault("G", "G: worn", "", frozenset({"A", "B"}), replace(bare, shows={"look": ("{unit} leaks", 1.0)}))
    assert (fault.said_in("look"), fault.said_in("listen"), fault.seen) == ("G leaks", "", "A, B stop.")
    assert [fault.is_at(name) for name in "GABC"] == [True, True, True, False]
    quiet = fault_kinds.Mode("in words")
    assert not quiet.breaks and not quiet.passes
    # a dip is over after a tenth of a second, a hold time that was set too short is a fifth
    assert (fault_kinds.DIP_MS, fault_kinds.SHORT_HOLD_MS) == (100, 200)


def test_faults_are_called_by_their_part_or_event_and_where_they_are_set():
    labels = {name: fault.label for name, fault in faults_of(PLANT).items()}
    assert [labels[name] for name in (
        "KF1: no power", "WF1+WF2: cut", "settings: hold time too short", "QM1: shut locally")] == [
        "KF1 controller 1: no power", "WF1+WF2 last 270 m that links A and B share: cut",
        "hold time of the racks: 200 ms only", "QM1 shut-off valve: shut locally"]
    short = faults_of(PLANT)["settings: hold time too short"]
    assert settings_with(PairSettings(), {short.mode}).hold_ms == 200


def test_shares_of_a_group_make_one():
    for of in {kind.of for kind in fault_kinds.KINDS} - {"controller", "pair controller"}:
        shares = [kind.share for kind in fault_kinds.KINDS if kind.of == of and kind.share]
        assert not shares or sum(shares) == pytest.approx(1, rel=1e-12), of
    both = [kind.share for kind in fault_kinds.KINDS if "controller" in kind.of and kind.share]
    assert sum(both) == pytest.approx(1, rel=1e-12)


# ---------------------------------------------------------------- how often, from the plant file


def test_the_schema_knows_every_kind_and_its_default():
    """One table of kinds: the schema has them from there, by `python -m tests.kinds_in_schema`."""
    tables = schema()["properties"]["how_often"]["properties"]
    assert tables == how_often(KINDS)
    # fault_kinds.toml by eye: a stopped program comes 0.2 times a year, a cut is 0.7 of all of sync
    stopped, cut = tables["controller"]["properties"]["stopped"], tables["sync"]["properties"]["cut"]
    assert stopped["description"] == "How often a year. Default: 0.2, invented."
    assert cut["description"] == "Share of the failures of the part. Default: 0.7, invented."


def test_shares_of_the_file_reach_rates_finder_and_sums(tmp_path):
    """BL1 fails 8760 / 150 000 times a year; 20 of 100 are stuck: 0.8 noticed, and not 0.5."""
    lines = find_file("brackenquay").read_text("utf-8").replace(
        "[how_often.sensor]\ndead = 0.5\nstuck = 0.5\nsource = \"invented\"",
        "[how_often.sensor]\ndead = 8\nstuck = 2\nsource = \"found\"\nsource_note = \"our log\"")
    (tmp_path / "wrong.toml").write_text(lines, "utf-8")
    assert "must be <= 1" in str(check_file(tmp_path / "wrong.toml")[0])
    (tmp_path / "plant.toml").write_text(
        lines.replace("dead = 8\n", "dead = 0.8\n").replace("stuck = 2\n", "stuck = 0.2\n"), "utf-8")
    plant = load_plant(tmp_path / "plant.toml")
    assert rates_of(plant)["BL1: stuck"] == pytest.approx(0.2 / 150_000, rel=1e-12)
    assert plant.share_noticed("BL1") == pytest.approx(0.8, rel=1e-12)
    assert source_of(plant, faults_of(plant)["BL1: stuck"]) == "practice, share found"
    prior, other = (FaultFinder(each).shares({})["BL1: stuck"] for each in (plant, load_plant()))
    assert prior == pytest.approx(0.4 * other, rel=1e-9)


def test_a_kind_that_nothing_has_is_an_error(tmp_path):
    text = find_file("brackenquay").read_text("utf-8").replace("stuck = 0.5", "stuk = 0.5")
    (tmp_path / "plant.toml").write_text(text, "utf-8")
    assert "did you mean stuck" in str(check_file(tmp_path / "plant.toml")[0])


def test_without_a_word_in_the_file_shares_are_marked_invented():
    plant = load_plant("mirelow")
    assert source_of(plant, faults_of(plant)["KF1: no power"]) == "practice, share invented"
    assert source_of(plant, faults_of(plant)["KF1: stopped"]) == "invented"


def test_what_people_do_is_a_chance_for_each_repair(tmp_path):
    """2 x 8760 / 60 000 = 0.292 repairs and 2 tests a year; 0.02 and 0.01 of them go wrong."""
    text = find_file("brackenquay").read_text("utf-8").replace(
        "wrong_unit = 0.003", "wrong_unit = 0.02").replace(
        "left_stopped = 0.003", "left_stopped = 0.01")
    (tmp_path / "plant.toml").write_text(text, "utf-8")
    plant = load_plant(tmp_path / "plant.toml")
    paper = failure_modes(Basis(plant, date="2031-05-06"))
    table = next(each for each in paper.tables if each.main)
    rows = {row["mode"]: float(row["failures_per_year"]) for row in table.csv_rows
            if row.get("designation") == "people"}
    assert rows == {"wrong unit taken out while its partner is repaired": pytest.approx(0.02 * 0.292),
                    "standby left stopped after a repair or test": pytest.approx(0.01 * 2.292)}
    # In no total: the sums are those without people, and the paper says so.
    assert plant.block("control kept").unavailability == \
        load_plant().block("control kept").unavailability
    assert "no people" in paper.markdown()
