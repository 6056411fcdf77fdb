"""The rows of the failure-mode table, piece by piece and by hand: shares, waits, steps, words."""

import functools
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from labkit.plant.plant import load_plant
from labkit.plant.wiring import Leads, Whole, all_of
from labkit.rig.effects import effect_of
from labkit.rig.noticed import FOLK, Notice
from labkit.switchover.fault_kinds import faults_of
from labkit.switchover.roles import Outputs, Role
from lessons.papers import effect_words, mode_ranking, mode_rows, mode_words
from lessons.papers.basis import Basis
from lessons.papers.contributions import Contributions, Contributor, contributions_of
from lessons.papers.mode_rows import ModeRow
from lessons.papers.steps import steps_of

FILES = Path(__file__).with_name("plant_files")


@functools.cache
def hall():
    """The plant of the lessons, whose steps are run once."""
    return Basis(load_plant(), date="2031-05-06")


def row(**more):
    texts = {"designation": "A", "mode": "dead", "action": "repair at once", "rate": "",
             "pair": "", "plant": "", "noticed": "", "covers": ""}
    return ModeRow("Parts", ("A",), "A-1", 2.0, "A", row=texts | more, severity="B", restored_h=3.0)


def test_what_a_failure_brings_is_shared_by_how_often_and_how_long():
    """Alone 2 x 3 = 6 and 1 x 4 = 4; with others 6 and 1 x (4 + 10) = 14, for these wait for a test."""
    brings = {Contributor("A", True): 100.0, Contributor("A", False): 60.0}
    sums = Contributions({"kept": brings}, {Contributor("A", True): 10.0}, {"kept": 160.0}, 10.0)
    seen, unseen = row(), replace(row(), per_year=1.0, restored_h=4.0, waits_h=10.0)
    one, other = mode_rows._with_sums(sums, [seen, unseen])
    # 100 x 0.6 + 60 x 0.3 and 100 x 0.4 + 60 x 0.7
    assert (one.down_min["kept"], other.down_min["kept"]) == pytest.approx((78.0, 82.0))
    assert (one.loss, other.loss) == pytest.approx((6.0, 4.0))
    nothing, = mode_rows._with_sums(sums, [replace(seen, takes="")])
    assert (nothing.down_min["kept"], nothing.loss) == (0.0, 0.0)


@pytest.mark.parametrize(("key", "told"), [
    ("pair", True), ("plant", True), ("noticed", True), ("covers", True), ("mode", False)])
def test_rows_put_together_say_of_which_part_their_texts_speak(key, told):
    parts = {name: SimpleNamespace(kind="rack") for name in ("A", "B")}
    basis = SimpleNamespace(plant=SimpleNamespace(parts=parts, shared_events={}))
    basis.designations = Basis.designations.func(basis)
    one = replace(row(**{key: "A is dark"}), down_min={"kept": 1.0})
    other = replace(one, units=("B",), row=one.row | {"designation": "B", key: "B is dark"})
    both, = mode_rows._merged(basis, [one, other])
    assert both.row["designation"] == "A, B: rack" + " (texts say A)" * told
    assert both.units == ("A", "B") and both.per_year == 4.0 and both.down_min == {"kept": 2.0}
    assert both.row["rate"].startswith("4/a together")


@pytest.mark.parametrize(("stated", "noticed", "share"), [
    ((0.5, 0.8), True, 0.8),      # the twin that is watched best
    ((0.5, 1.0), True, 0.9),      # one in which all are noticed says nothing beside the run
    ((0.5, None), True, 0.9),     # nor do those of which the file says nothing
    ((0.5, 0.8), False, 0.9)])
def test_of_twins_the_one_that_is_watched_best_counts(monkeypatch, stated, noticed, share):
    monkeypatch.setattr(mode_rows, "notice_of_all", lambda run: Notice(0.9, "a lamp", "who passes"))
    parts = {name: SimpleNamespace(noticed=each) for name, each in zip("AB", stated, strict=True)}
    found = mode_rows._notice_of_twins(SimpleNamespace(parts=parts, controllers=()), ["A", "B"],
                                       SimpleNamespace(noticed=noticed))
    assert found.share == share and bool(found.stated) is (share == 0.8)


def test_a_step_that_runs_a_fault_is_named_before_one_that_looks_for_it():
    """The supply GB1 is switched off in two steps, and its battery is measured in another."""
    basis = hall()
    runs = {step.number: step.effect is not None for step in steps_of(basis)
            if "GB1: off" in step.faults}
    assert sorted(runs.values()) == [False, True, True]
    mode = next(each for each in mode_rows._of_faults(basis)
                if each.units == ("GB1",) and each.row["mode"] == "off")
    assert mode.row["action"].rpartition(" step ")[2] == min(each for each, run in runs.items() if run)


def test_twins_that_nobody_sees_fail_wait_half_a_year_for_their_test():
    """Tested once in 8760 h: on average a failure is 4380 h old when it is found."""
    hidden = [mode for mode in mode_rows._common(Basis(load_plant("elderhang"), date=""))
              if not mode.told]
    assert [(mode.number, mode.waits_h) for mode in hidden] == [("GP1-C", 4380.0)]


def test_common_causes_and_takeovers_by_their_first_part_and_by_how_often():
    """5 % of 8760 / 60 000, / 220 000, / 25 000, / 30 000; not taken over 0.95 x 0.03 x 0.146."""
    modes = [*mode_rows._common(hall())]
    assert {mode.waits_h for mode in modes if mode.told} == {0.0}       # what is told waits for no test
    found = {mode.number: mode.per_year for mode in modes}
    twins = dict.fromkeys(("KF10A-C", "KF20A-C", "KF30A-C"), 438 / 220_000)
    assert found == pytest.approx(twins | {"KF1-C": 438 / 60_000, "GP1-C": 438 / 25_000, "GQ1-C": 438 / 30_000,
                                           "KF1-T": 0.95 * 0.03 * 0.146}, rel=1e-12)


def test_planned_work_and_starts_say_what_to_do():
    plant = load_plant(FILES / "osier_weir.toml")
    modes = list(mode_rows._beside(Basis(plant, date=""), contributions_of(plant)))
    assert all(mode.told for mode in modes)      # whoever does the work knows of it
    assert {len(mode.units) > 1 for mode in modes} == {True, False}
    assert all(mode.row["here"].endswith(" are out" if len(mode.units) > 1 else " is out") for mode in modes)
    assert [mode.number for mode in modes] == [f"work-{place}" for place in range(1, len(modes) + 1)]
    assert {mode.takes: mode.per_year for mode in modes}["rack of the pier cleaned"] == 1.0  # each 8760 h
    found = {mode.takes: mode.row["action"] for mode in modes}
    starts = [action for name, action in found.items() if name.startswith("gates: ")]
    assert starts and set(starts) == {"enter each start that fails; duty changes every 720 h"}
    assert "at a time when it costs least" in found.values()


# ---------------------------------------------------------------- words


def effect(**more):
    return SimpleNamespace(**{"noticed": False, "happenings": (), "functions_lost": (), "gap_open": False,
                              "lost_after_h": {}, "longest_gap_ms": 0} | more)


@pytest.mark.parametrize(("stated", "words"), [
    ("the file: 80 %", "by people, as the file says: who calls"), ("", "by people: who calls")])
def test_what_people_notice_is_theirs_or_the_files(stated, words):
    notice = Notice(0.8, "who calls", FOLK, stated)
    assert mode_words.noticed_words(None, None, effect(), notice, told=True) == words


def test_a_cut_counts_from_the_first_battery_that_ends():
    """A cut of 10 h behind batteries of 2 h and 5 h: the first function is out for 8 h."""
    part = SimpleNamespace(cuts=True, lasts_h=lambda after_h: (0.1, 10.0))
    basis = SimpleNamespace(plant=SimpleNamespace(parts={"GB1": part}, pair=None))
    fault = SimpleNamespace(unit="GB1", kind=None, mode="off")
    cut = effect(functions_lost=("a", "b"), lost_after_h={"a": 2.0, "b": 5.0})
    assert mode_words.lost_h(basis, fault, cut, 4.0) == 8.0
    # one function that no battery carries is out from the beginning, for as long as stated
    assert mode_words.lost_h(basis, fault, effect(functions_lost=("a", "c"), lost_after_h={"a": 2.0}),
                             4.0) == 4.0
    # what passes leaves its longest gap: 1800 s are half an hour
    assert mode_words.lost_h(basis, fault, effect(longest_gap_ms=1_800_000), 4.0) == 0.5
    # no battery carries outputs, and only what cuts the mains goes on beyond one
    assert mode_words.lost_h(basis, fault, effect(gap_open=True), 4.0) == 4.0
    part.cuts = False
    assert mode_words.lost_h(basis, fault, cut, 4.0) == 4.0
    assert mode_words.lost_h(basis, SimpleNamespace(unit="fire", kind=None, mode="off"), cut, 4.0) == 4.0


@pytest.mark.parametrize(("mode", "words"), [
    ("planned test", "nothing to restore; in no sum"),
    ("stopped", "when somebody puts it right; in no sum")])
def test_what_is_no_part_is_restored_in_no_sum(mode, words):
    basis = SimpleNamespace(plant=SimpleNamespace(parts={}, shared_events={}, pair=None))
    assert mode_words.repair_of(basis, SimpleNamespace(unit="people", mode=mode), None) == (None, words)


@pytest.mark.parametrize(("unit", "share", "found"), [
    ("A1", 0.5, (3.0, "3 h")), ("fire", 0.5, (3.0, "3 h")),
    *((unit, share, (None, "when somebody puts it right; in no sum")) for unit, share in (("A1", None), ("flood", 0.5)))])
def test_what_the_file_counts_is_restored_in_its_time(monkeypatch, unit, share, found):
    """A part or an event that has a rate, and a kind of failure that has a share of it."""
    monkeypatch.setattr(mode_words, "restored_h", lambda plant, fault: 3.0)
    events = {"fire": SimpleNamespace(mtbf_h=1e6), "flood": SimpleNamespace(mtbf_h=None)}
    basis = SimpleNamespace(plant=SimpleNamespace(parts={"A1": "A1"}, shared_events=events, pair=None))
    fault = SimpleNamespace(unit=unit, mode="stopped", breaks={"A1"}, kind=SimpleNamespace(share=share))
    assert mode_words.repair_of(basis, fault, a_run()) == found


# ---------------------------------------------------------------- ranking


@pytest.mark.parametrize(("lost_h", "cost", "severity"), [
    (None, 0, "A2"), (8.1, 0, "A1"), (8.0, 0, "A2"), (10 / 60, 0, "A2"), (0.16, 0, "A3"), (0.16, 5, "A2")])
def test_an_outage_is_long_above_8_h_and_short_below_10_min(lost_h, cost, severity):
    run = effect(functions_lost=("kept",), event_cost=cost)
    assert mode_words.severity_of(None, None, run, True, lost_h) == severity


def test_the_matrix_counts_from_each_limit_on():
    """Once a year, in ten and in a hundred years: what is just as often stands in the column."""
    rates = (1.0, 0.999, 0.1, 0.0999, 0.01, 0.00999)
    table = mode_ranking.matrix([replace(row(), severity="A1", per_year=each) for each in rates])
    first, second, *_ = table.rows
    assert list(first.values()) == ["A1", "1", "2", "2", "1"]
    assert [*second.values()][1:] == ["–"] * 4


def test_the_public_supply_is_outside_where_no_part_stands_for_it():
    reed, sallow = (" ".join(mode_ranking.boundaries(Basis(load_plant(FILES / f"{name}.toml"), date="")).points)
                    for name in ("reed_archive", "sallow_lock"))
    assert "mains" in reed and "the public supply" not in reed
    assert "mains" not in sallow and "the public supply" in sallow


def test_the_ten_worst_come_by_severity_and_then_by_how_often():
    modes = [replace(row(mode=f"{severity}{rate}"), severity=severity, per_year=rate)
             for severity in ("B", "A1", "A3") for rate in (0.1, 3.0, 0.5, 2.0)]
    assert [each["mode"] for each in mode_ranking.first_ten(modes).rows] == [
        "A13.0", "A12.0", "A10.5", "A10.1", "A33.0", "A32.0", "A30.5", "A30.1", "B3.0", "B2.0"]


def test_a_ranking_adds_up_to_the_sum_of_the_plant():
    """1 + 2 + ... + 14 = 105 min and 1050 in money; the last two are 3 min and 30; 100 and 1000 in all."""
    modes = [replace(row(number=str(each)), down_min={"kept": float(each)}, loss=10.0 * each)
             for each in range(1, 15)]
    sums = Contributions({"kept": {}}, {Contributor("A", True): 1050.0}, {"kept": 100.0}, 1000.0)
    basis = SimpleNamespace(plant=SimpleNamespace(currency="EUR"), blinded={"kept": "A panel is blind."})
    by_time, by_money = mode_ranking.ranked(basis, [*modes, replace(modes[0], takes="")], sums)
    assert by_time.texts[-1] == "A panel is blind." and by_money.texts[-1] != by_time.texts[-1]
    rows = [(each["number"], each["kept"], each["loss"]) for each in by_time.tables[0].rows]
    assert rows[0] == ("14", "14.0", "140") and rows[11:13] == [("3", "3.00", "30"), ("", "3.00", "30")]
    assert [each[1:] for each in rows[13:]] == [("-5.00", "-50"), ("100.0", "1\xa0000")]
    assert by_time.tables[0].rows[12]["designation"] == "2 more rows"
    assert by_time.tables[0].sums == 1      # the last row is drawn as a sum
    turned = [replace(each, loss=150.0 - each.loss) for each in modes]
    assert [each["number"] for each in mode_ranking.ranked(basis, turned, sums)[1].tables[0].rows[:3]] == ["1", "2", "3"]
    alone, = mode_ranking.ranked(basis, modes, replace(sums, loss_per_year={}))
    assert alone.short_rows == 5 and len(alone.tables[0].rows) == 15


def test_a_feed_carries_what_hangs_behind_other_feeds():
    feeds = {"A": (), "B": ("A",), "C": ("B",), "D": ("A", "C"), "E": ()}
    parts = {name: SimpleNamespace(fed_by=fed_by) for name, fed_by in feeds.items()}
    basis = SimpleNamespace(plant=SimpleNamespace(parts=parts))
    assert mode_ranking._fed_by(basis, "A") == ["B", "D", "C"]
    assert mode_ranking._fed_by(basis, "E") == []


def test_what_one_thing_hangs_on_is_not_shared():
    """A rack on one cable and mains with one supply are no shared items; a supply and the like always are."""
    kinds = {"R1": "rack", "R2": "rack", "T": "supply", "Q": "mains", "W1": "cable", "W2": "cable"}
    kinds |= {"U": "ups", "P": "repeater", "S": "switch"}
    parts = {name: SimpleNamespace(kind=kind, fed_by=("Q",) if kind == "supply" else (), mttr_h=3.0)
             for name, kind in kinds.items()}
    beside = dict.fromkeys(kinds, ()) | {"R1": ("W1",), "R2": ("W1", "W2"), "T": ("W1",)}
    plant = SimpleNamespace(
        parts=parts, neighbours=beside, functions_counted=("kept",),
        shared_events={"fire": SimpleNamespace(name="fire", what="in the hall", mttr_h=None,
                                               breaks=frozenset({"W1"}))},
        condition=lambda name, broken: broken != {"R2"})
    basis = SimpleNamespace(plant=plant, named=lambda name: f"{name} here",
                            healthy=SimpleNamespace(not_in_rate={}))
    rows = [tuple(each.values()) for each in mode_ranking.shared_items(basis).rows]
    none = "none by itself; see the table"
    assert rows == [("R2 here", "W1 and W2", "kept", "3 h"), ("T here", "W1", none, "3 h"),
                    *((f"{name} here", "nothing named", none, "3 h") for name in "UPS"), ("fire in the hall", "W1", none, "")]
    # What leaves the panel of a function without a controller takes it too, as its own row says.
    basis.healthy.not_in_rate["kept"] = frozenset({"T"})
    assert [row["lost"] for row in mode_ranking.shared_items(basis).rows] == ["kept", "kept", none, none, none, none]


@pytest.mark.parametrize(("pair", "said"), [
    (None, "There is no pair."), (("W9",), "The pair A1 and A2 with its sync: W9."), ((), "with its sync: no cable named.")])
def test_what_is_inside_the_table_is_counted(monkeypatch, pair, said):
    """Like parts are counted, and what each item is for follows from what the functions ask for."""
    kinds = {"A1": "controller", "A2": "controller", "W9": "cable", "R1": "rack", "X": "pump"}
    plant = SimpleNamespace(parts={name: SimpleNamespace(kind=kind) for name, kind in kinds.items()}, functions_counted=("kept", "seen"),
                            condition=lambda name: name, pair=None if pair is None else SimpleNamespace(units=("A1", "A2"), sync=pair))
    monkeypatch.setattr(mode_ranking, "leaves", {"kept": (Leads("A1"), Whole("R1")), "seen": (Whole("R1"), Whole("X"))}.__getitem__)
    found = mode_ranking.boundaries(SimpleNamespace(plant=plant, named=lambda name: name))
    points = " ".join((*found.texts, *found.points))
    assert "controller × 2, cable, rack and pump" in points and said in points
    other = mode_ranking.texts()["for"]
    sync = {other["sync"]: "W9"} if pair else {}
    rest = {other["none"]: "A2" if pair else "A2; W9"}
    assert {row["function"]: row["items"] for row in found.tables[0].rows} == {"kept": "A1", "kept and seen": "R1", "seen": "X"} | sync | rest


def test_a_worn_battery_shows_itself_at_a_dip_and_not_before():
    plant = load_plant()
    basis, notice = Basis(plant, date=""), Notice(1.0, "alarm: no controller leads", "who passes")
    for name, seen, kept in (
            ("voltage dip", "", ""),
            ("battery worn", "only at a dip of the mains: ",
             "nothing is lost before a dip of the mains; then ")):
        fault, run = faults_of(plant)[f"GB1: {name}"], effect_of(plant, f"GB1: {name}")
        assert mode_words.noticed_words(basis, fault, run, notice, told=True) == seen + notice.by
        assert mode_words.covers(basis, run, fault) == \
            f"{kept}it comes back by itself; nothing covers it until then"


# ---------------------------------------------------------------- words of a run, by hand


def a_run(**more):
    after = {"outputs": {}, "roles": {}, "leaders": (), "redundancy_lost": False, "panel_sees": True} | more.pop("after", {})
    return SimpleNamespace(**{
        "leader": "A1", "leads_after": "A1", "worst": Outputs.WRITTEN, "outputs_worst": {}, "lamps": (), "lamps_after": (),
        "record": (), "takeover_ms": None, "noticed": False, "noticed_after_ms": None, "happenings": (), "functions_lost": (),
        "gap_open": False, "lost_after_h": {}, "longest_gap_ms": 0, "event_cost": 0.0, "after": SimpleNamespace(**after)} | more)


@pytest.mark.parametrize(("worst", "before", "then", "kind"), [
    (Outputs.FAIL_STATE, "A1", "A2", "fail state"), (Outputs.HELD, "A1", "A2", "must switch"),
    (Outputs.HELD, "A1", "A1", "must not switch"), (Outputs.WRITTEN, None, "A2", "must not switch"),
    (Outputs.WRITTEN, "A1", None, "must not switch")])
def test_what_kind_of_test_a_run_is(worst, before, then, kind):
    assert effect_words.kind_of(a_run(worst=worst, leader=before, leads_after=then)) == kind


def test_outputs_are_said_from_the_worst_to_the_best():
    fail, held, written = Outputs.FAIL_STATE, Outputs.HELD, Outputs.WRITTEN
    worst = {"R1": fail, "R2": fail, "R3": held, "R4": written, "R5": written}
    run = a_run(after={"outputs": dict.fromkeys(worst, written) | {"R1": fail}}, outputs_worst=worst)
    assert effect_words.outputs_in_words(run, 500) == (
        "R1: fail state, at most 500 ms after the last write; R2: fail state in between, written again; "
        "R3: held, then written again; R4 and R5: written all the time")
    run.outputs_worst = dict.fromkeys(worst, written)
    run.after.outputs = dict.fromkeys(worst, written)
    assert effect_words.outputs_in_words(run, 500) == "written all the time"
    assert effect_words.outputs_in_words(a_run(), 500) == "no rack"


def test_units_that_show_the_same_are_said_together():
    lamps = {("A1", "RUN", "green", True, False), ("A2", "RUN", "green", True, False), ("P1", "DATA", "yellow", True, True),
             ("P2", "DATA", "dark", False, False), ("A1", "FAIL", "dark", False, False), ("R1", "OK", "green", True, False)}
    after = [SimpleNamespace(unit=unit, name=name, colour=colour, lit=lit, flashing=flashing)
             for unit, name, colour, lit, flashing in sorted(lamps)]
    run = a_run(lamps=[each for each in after if each.unit != "R1"], lamps_after=after)
    assert effect_words.lamps_in_words(run) == "A1, A2: RUN green\nP1: DATA yellow flashing\nP2: all dark"
    assert effect_words.lamps_in_words(a_run()) == "no lamp changes"
    assert effect_words.roles_in_words(a_run()) == "no controller"


def test_lines_of_the_record_that_must_come():
    lines = [("role", "A1", "active", "off"), ("writer", "R1", "A1", "A2"), ("writer", "R3", "none", "A2"),
             ("writer", "R2", "A1", "A2"), ("writer", "R1", "A1", "A2"), ("outputs", "R2", "written", "held"),
             ("outputs", "R1", "held", "fail state"), ("alarm", "", "", "no standby"), ("alarm", "", "no standby", ""),
             ("alarm", "", "", "outputs of rack R1 held"), ("role change", "", "", "asked"), ("beat", "A1", "", "lost"),
             ("alarm", "", "", "no standby")]
    run = a_run(record=[SimpleNamespace(what=what, who=who, old=old, new=new) for what, who, old, new in lines])
    assert effect_words.record_in_words(run).splitlines() == [
        "A1 role: active → off", "writer A1 → A2: R1, R2", "writer none → A2: R3", "R1 outputs: fail state",
        "alarm: no standby", "role change: asked"]
    assert effect_words.record_in_words(a_run()) == "no line"


ACTIVE, STANDBY, OFF = Role.ACTIVE, Role.STANDBY, Role.OFF
DEAD = {"outputs": {"R1": Outputs.FAIL_STATE}}


@pytest.mark.parametrize(("pair", "after", "more", "said"), [
    (None, {}, {}, "no controller is concerned"), (None, {"roles": {"A1": OFF}}, {}, "nobody leads; A1 is off"),
    (None, {"roles": {"A1": ACTIVE}}, {}, "A1 goes on"),
    (None, {"roles": {"A1": ACTIVE}} | DEAD, {}, "A1 keeps the role, and nothing is written"),
    ("A", {"leaders": ("A1", "A2")}, {}, "A1 and A2 both lead; racks flap between them"),
    ("A", {}, {}, "nobody leads"),
    ("A", {"leaders": ("A2",), "roles": {"A1": OFF, "A2": ACTIVE}}, {"takeover_ms": 234},
     "A2 takes over after 234 ms; A1 off: no standby"),
    ("A", {"leaders": ("A2",), "roles": {"A1": STANDBY, "A2": ACTIVE}}, {}, "A2 takes over; A1 standby, as before"),
    ("A", {"leaders": ("A1",), "roles": {"A1": ACTIVE, "A2": STANDBY}}, {"longest_gap_ms": 70, "noticed": True},
     "A1 leads again after 70 ms; A2 standby, ready"),
    ("A", {"leaders": ("A1",), "roles": {"A1": ACTIVE, "A2": STANDBY}, "redundancy_lost": True} | DEAD,
     {"longest_gap_ms": 70, "gap_open": True, "noticed": True},
     "A1 keeps the role, and nothing is written; A2 standby, redundancy lost by its lamps"),
    ("A", {"leaders": ("A1",), "roles": {"A1": ACTIVE, "A2": STANDBY}}, {}, "A1 leads on; A2 standby, as before")])
def test_what_a_run_does_to_the_roles(pair, after, more, said):
    basis = SimpleNamespace(plant=SimpleNamespace(pair=pair))
    assert mode_words.on_pair(basis, a_run(after=after, **more)) == said


RACKS = {f"R{n}": Outputs.FAIL_STATE for n in range(1, 6)}
HAPPENED = [SimpleNamespace(name=name, time_s=time_s) for name, time_s in (
    ("pumps off", 0.4), ("pumps off", 9), ("light off", 2), ("overflow", 12.4), ("low trip", 30), ("late", 60))]


@pytest.mark.parametrize(("after", "more", "panel", "said"), [
    ({}, {}, True, "goes on as before; the next fault decides"),
    ({}, {"functions_lost": ("a", "b", "c"), "lost_after_h": {"b": 2.0}}, True, "lost: a and c; lost after 2 h on battery: b"),
    ({"outputs": RACKS}, {"worst": Outputs.FAIL_STATE, "longest_gap_ms": 9}, True,
     "outputs in fail state: R1, R2, R3, R4 and 1 more"),
    ({}, {"worst": Outputs.FAIL_STATE, "longest_gap_ms": 2172}, True, "outputs in fail state for 2172 ms"),
    ({}, {"worst": Outputs.HELD, "longest_gap_ms": 74}, True, "outputs held for 74 ms"),
    ({"panel_sees": False}, {}, True, "the panel sees nothing"),
    ({"panel_sees": False}, {}, False, "goes on as before; the next fault decides"),
    ({}, {"happenings": HAPPENED}, True, "process: pumps off 0 s, light off 2 s, overflow 12 s, low trip 30 s")])
def test_what_a_run_does_to_the_plant(after, more, panel, said):
    basis = SimpleNamespace(plant=SimpleNamespace(parts={"P": SimpleNamespace(kind="panel" if panel else "rack")}))
    assert mode_words.on_plant(basis, a_run(after=after, **more), ()) == said


@pytest.mark.parametrize(("functions", "said"), [
    # c is lost already, b comes as often as before in two figures, d is only counted
    (("a", "b", "c"), "lost: c; a from here lost 0.5/a instead of 0.1/a"),
    (("b", "c"), "lost: c; a from here lost 0.5/a instead of 0.1/a; d from here lost 3/a instead of 1/a")])
def test_what_is_lost_more_often_from_here_is_said(monkeypatch, functions, said):
    now, healthy = {"a": 0.5, "b": 0.2004, "c": 9.0, "d": 3.0, "e": 1.0}, {"a": 0.3, "b": 0.2, "c": 1.0, "d": 1.0, "e": 2.0}
    monkeypatch.setattr(mode_words, "_rates", lambda basis, state: healthy if state == "healthy" else now)
    basis = SimpleNamespace(plant=SimpleNamespace(parts={}, functions=dict.fromkeys(functions)), healthy="healthy")
    # as on the card: who leads is left out of what is healthy
    run = a_run(functions_lost=("c",), state=SimpleNamespace(healthy_failures_per_h={"a": 0.1 / 8760}))
    assert mode_words.on_plant(basis, run, {"A"}) == said


@pytest.mark.parametrize(("before", "after", "lost", "alone", "more", "classes"), [
    ((ACTIVE, STANDBY), (ACTIVE, STANDBY), False, (), {}, "ED"), ((ACTIVE, STANDBY), (ACTIVE, OFF), False, (), {}, "CB"),
    ((ACTIVE, STANDBY), (ACTIVE, STANDBY), True, (), {}, "CB"), ((ACTIVE, OFF), (ACTIVE, OFF), False, (), {}, "ED"),
    ((ACTIVE, OFF), (ACTIVE, STANDBY), False, (), {}, "ED"), ((ACTIVE,), (ACTIVE,), False, ("Q",), {}, "CB"),
    ((ACTIVE,), (ACTIVE,), False, (), {"event_cost": 1.0}, ("A2", "A2"))])
def test_what_stops_nothing_is_told_by_what_is_left(monkeypatch, before, after, lost, alone, more, classes):
    monkeypatch.setattr(mode_words, "_newly_alone", lambda basis, effect: list(alone))
    run = a_run(after={"roles": dict(enumerate(after)), "redundancy_lost": lost},
                before=SimpleNamespace(roles=dict(enumerate(before))), **more)
    assert [mode_words.severity_of(None, None, run, told, 0.0) for told in (True, False)] == [*classes]


def test_how_soon_a_run_shows_it():
    assert [mode_words.time_words(a_run(noticed_after_ms=ms)) for ms in (None, 0, 1)] == ["", "at once", "1 ms"]


@pytest.mark.parametrize(("mode", "breaks", "more", "still", "said"), [
    ("voltage dip", (), {}, (), "comes back by itself; the sums count 3 h"),
    ("stopped", (), {}, (), "3 h; the sums count it as an outage of the part"),
    ("stopped", ("A1",), {"gap_open": True}, (), "3 h; the other unit by hand in 0.5 h"),
    ("stopped", ("A1",), {"gap_open": True, "leads_after": "A2"}, (), "3 h"),
    ("stopped", ("A1",), {"functions_lost": ("kept",)}, ("kept",), "3 h, then the roles by hand"),
    ("stopped", ("A1",), {"functions_lost": ("kept",)}, (), "3 h"), ("stopped", ("A1",), {}, ("kept",), "3 h")])
def test_how_a_fault_is_put_right(monkeypatch, mode, breaks, more, still, said):
    monkeypatch.setattr(mode_words, "restored_h", lambda plant, fault: 3.0)
    monkeypatch.setattr(mode_words, "in_sums", lambda basis, fault: True)
    monkeypatch.setattr(mode_words, "course_of", lambda *_, **__: a_run(functions_lost=still))
    plant = SimpleNamespace(pair=SimpleNamespace(units=("A1", "A2"), restart_h=0.5), parts={"A1": "A1"}, shared_events={})
    basis = SimpleNamespace(plant=plant, settings=None)
    fault = SimpleNamespace(id="A1: x", unit="A1", mode=mode, breaks=frozenset(breaks))
    assert mode_words.repair_of(basis, fault, a_run(**more)) == (3.0, said)
    # led by hand, the partner has the racks after half an hour; where it leads already, nothing is gained
    by_hand = more.get("gap_open") and more.get("leads_after") != "A2"
    hours = mode_words.lost_h(basis, fault, a_run(**more), None)
    assert hours == (0.5 if by_hand else None if more.get("functions_lost") or more.get("gap_open") else 0.0)


# ---------------------------------------------------------------- rows, by hand


@pytest.mark.parametrize(("severity", "told", "found_by", "step", "own", "mode", "said"), [
    ("A2", True, (), "07", "", "stopped", "spare or second way; test: step 07"),
    ("C", True, (), "", "", "stopped", "repair at once; rehearse it"), ("C", True, ("03",), "", "clean it", "stopped", "clean it; rehearse it"),
    ("B", False, ("03", "12"), "07", "", "stopped", "test: step 03, 12"),
    ("B", False, (), "07", "", "stopped", "add a test that finds it: none of the sheet does"),
    ("B", False, (), "", "", "voltage dip", "ask why it came; it passes, so that no test finds it"),
    ("B", False, (), "", "look", "voltage dip", "look; it passes, so that no test finds it")])
def test_what_is_to_be_done_about_a_row(severity, told, found_by, step, own, mode, said):
    kind = SimpleNamespace(action=own, mode=mode)
    assert mode_rows._action(kind, severity, told, found_by, step) == said


def test_on_which_side_of_a_pair_a_part_is_and_what_says_its_test():
    """A1 reaches R1 over W1, A2 over W2; the event F and P, on no way, are beside both."""
    parts = {name: SimpleNamespace(kind=kind) for name, kind in (
        ("A1", "controller"), ("A2", "controller"), ("W1", "cable"), ("W2", "cable"), ("P", "panel"))}
    pair = SimpleNamespace(units=("A1", "A2"))
    plant = SimpleNamespace(parts=parts, controllers=("A1", "A2"), pair=pair,
                            lines=lambda: {("A1", "R1"): ["W1"], ("A2", "R1"): ["W2"]})
    basis = SimpleNamespace(plant=plant, leaders=("A1", "A2"))
    assert mode_rows._beside_the_pair(basis) == {"P"}
    assert [mode_rows._state(basis, unit, "A1") for unit in ("A1", "A2", "W1", "W2", "F")] == [
        ("as active", "a"), ("as standby", "s"), ("on the way of the active unit", "a"), ("on the way of the standby", "s"),
        ("while A1 leads", "a")]
    assert mode_rows._state(basis, "F", "A2") == ("while A2 leads", "b")
    tested = [mode_rows._tested(basis, SimpleNamespace(unit=unit)) for unit in ("A1", "W1", "F")]
    assert tested == [pair, parts["W1"], pair]
    plant.pair = None
    assert [mode_rows._tested(basis, SimpleNamespace(unit=unit)) for unit in ("A1", "F")] == [parts["A1"], None]


def test_under_which_heading_a_row_stands():
    def group(unit, of="", by_people=False):
        return mode_rows._group(SimpleNamespace(plant=SimpleNamespace(parts={"W1": SimpleNamespace(kind="switch"), "X": SimpleNamespace(
            kind="pump")})), SimpleNamespace(unit=unit, kind=SimpleNamespace(of=of, by_people=by_people)))

    assert [group("W1"), group("W1", by_people=True), group("X"), group("X", "panel"), group("F", "shared parts")] == [
        "Cables", "People and settings", "Field", "View of the operator", "Shared routes and events"]


# ---------------------------------------------------------------- who notices, and what covers


@pytest.mark.parametrize(("more", "idle", "said"), [
    ({"noticed": True}, False, "not at once; half of them"), ({"happenings": ("x",)}, False, "not by lamp or alarm; by the flood"),
    ({"functions_lost": ("a", "idle")}, False, "not by lamp or alarm; by the outage that it causes"),
    ({"functions_lost": ("idle",)}, True, "not at all"), ({}, False, "not at all")])
def test_why_nobody_notices_a_fault(more, idle, said):
    basis = SimpleNamespace(plant=SimpleNamespace(stands_idle=lambda name: name == "idle"))
    notice = Notice(0.5, "the flood", "who passes", "half of them")
    assert mode_words.noticed_words(basis, None, a_run(**more), notice, told=False) == said


@pytest.mark.parametrize(("waits_for", "stated", "said"), [
    ("", "", "a lamp"), ("a dip", "the file: 80 %", "only at a dip: a lamp; the file: 80 %")])
def test_what_shows_a_fault(waits_for, stated, said):
    fault = SimpleNamespace(kind=SimpleNamespace(waits_for=waits_for))
    assert mode_words.noticed_words(None, fault, a_run(), Notice(0.8, "a lamp", "who passes", stated), told=True) == said


ROLE = (SimpleNamespace(what="role"),)
NOTHING = "nothing: repair, spare, running by hand"


@pytest.mark.parametrize(("mode", "breaks", "more", "waits_for", "new", "said"), [
    ("stopped", "B", {"gap_open": True}, "", (), NOTHING), ("stopped", "B", {"functions_lost": ("f",)}, "", (), NOTHING),
    ("stopped", "B", {"functions_lost": ("f", "g"), "lost_after_h": {"f": 1.0}}, "", (), NOTHING),
    ("stopped", "B", {"functions_lost": ("f",), "lost_after_h": {"f": 1.0}}, "", (), f"a battery for a time, then {NOTHING}"),
    ("voltage dip", "", {"worst": Outputs.FAIL_STATE}, "", (), "it comes back by itself; nothing covers it until then"),
    ("voltage dip", "", {"worst": Outputs.FAIL_STATE}, "a load", (),
     "nothing is lost before a load; then it comes back by itself; nothing covers it until then"),
    ("voltage dip", "", {"record": (SimpleNamespace(what="beat"),)}, "", (), "the other feed, or a battery"),
    ("voltage dip", "", {"record": ROLE}, "", (), "as the kind says"), ("restart", "", {}, "", (), "as the kind says"),
    ("stopped", "", {"worst": Outputs.FAIL_STATE}, "", (), "as the kind says"),
    ("stopped", "B", {}, "", (), "the rest; no new single failure stops a function"),
    ("stopped", "B", {}, "", "PQRST", "the rest, until P, Q, R, S or 1 more fails as well")])
def test_what_keeps_the_plant_going(monkeypatch, mode, breaks, more, waits_for, new, said):
    monkeypatch.setattr(mode_words, "_newly_alone", lambda basis, effect: [*new])
    basis = SimpleNamespace(plant=SimpleNamespace(pair=SimpleNamespace(units=("A1", "A2"))))
    fault = SimpleNamespace(unit="B", mode=mode, breaks=breaks, kind=SimpleNamespace(waits_for=waits_for, covers="as the kind says"))
    assert mode_words.covers(basis, a_run(**more), fault) == said
    if more == {"gap_open": True}:                 # where a unit of the pair is stuck, its partner waits
        fault.unit = "A1"
        assert mode_words.covers(basis, a_run(**more), fault) == "nothing by itself: take the unit out by hand"
        basis.plant.pair = None
        assert mode_words.covers(basis, a_run(**more), fault) == said


def test_what_is_only_counted_has_its_rates_and_what_stops_it_too():
    """f is on the panel, g is only counted: P stops both at the end, Q stopped f before, and R is no part."""
    blocks = {"g": SimpleNamespace(failures_per_h=2e-4)}
    plant = SimpleNamespace(functions_counted=("f", "g", "h"), functions=("f", "h"), parts=("R0", "Q", "P", "S"),
                            block=lambda name, broken: blocks[name],
                            condition=lambda name, broken: broken and {"g": all_of([Whole("P"), Leads("A1")])}[name])
    basis = SimpleNamespace(plant=plant, once=lambda key, make: make(), healthy=SimpleNamespace(
        broken=False, next_failures={"f": {"Q"}, "h": set()}))
    state = SimpleNamespace(broken=True, failures_per_h={"f": 1e-4}, next_failures={"f": {"Q", "S", "event"}, "h": set()})
    assert mode_words._rates(basis, state) == pytest.approx({"f": 0.876, "g": 1.752}, rel=1e-12)
    assert mode_words._alone(basis, state) == {"Q", "S", "event", "P"} and mode_words._alone(basis, basis.healthy) == {"Q"}
    assert mode_words._newly_alone(basis, SimpleNamespace(state=state)) == ["P", "S"]


@pytest.mark.parametrize(("unit", "share", "counted"), [
    ("B", 0.5, True), ("B", 0.0, True), ("B", None, False), ("fire", 1.0, True), ("flood", 1.0, False), ("fire", None, False)])
def test_what_is_in_the_sums(unit, share, counted):
    events = {"fire": SimpleNamespace(mtbf_h=1e6), "flood": SimpleNamespace(mtbf_h=None)}
    fault = SimpleNamespace(unit=unit, kind=SimpleNamespace(share=share))
    assert mode_words.in_sums(SimpleNamespace(plant=SimpleNamespace(shared_events=events)), fault) is counted


TESTED = SimpleNamespace(unseen_h=365.0, test_interval_h=730.0, missed=0.0, overhaul_interval_h=0.0)


@pytest.mark.parametrize(("share", "who", "more", "mode", "found_by", "tested", "rows"), [
    # told or not, share of the rate, severity where something is broken, until when, hours of waiting
    (0.6, "who passes", {"noticed": True}, "stopped", (), TESTED,
     [(True, 1.2, "D", "at once", 0.0), (False, 0.8, "B", "test, every 730 h", 365.0)]),
    (1.0, "who passes", {"noticed": True}, "stopped", (), TESTED, [(True, 2.0, "D", "at once", 0.0)]),
    (0.6, "who passes", {}, "stopped", (), TESTED, [(False, 2.0, "B", "test, every 730 h", 365.0)]),
    (0.6, FOLK, {}, "stopped", (), None, [(True, 1.2, "D", "when looked at", 0.0), (False, 0.8, "B", "next test or round", 0.0)]),
    (0.0, FOLK, {"functions_lost": ("idle", "f")}, "stopped", (), TESTED, [(False, 2.0, "B", "as soon as the outage is seen", 0.0)]),
    (0.0, FOLK, {"functions_lost": ("idle", "g")}, "stopped", (), TESTED, [(False, 2.0, "B", "test, every 730 h", 365.0)]),
    (0.0, FOLK, {}, "voltage dip", (), TESTED, [(False, 2.0, "B", "it has passed", 365.0)]),
    (0.0, FOLK, {}, "voltage dip", ("03",), TESTED, [(False, 2.0, "B", "test, every 730 h", 365.0)])])
def test_a_row_for_what_is_told_and_one_for_what_is_not(monkeypatch, share, who, more, mode, found_by, tested, rows):
    for name in ("on_pair", "on_plant", "noticed_words", "covers"):
        monkeypatch.setattr(mode_words, name, lambda *_: "")
    monkeypatch.setattr(mode_words, "repair_of", lambda *_: (4.0, "4 h"))
    monkeypatch.setattr(mode_words, "lost_h", lambda *_: 1.0)
    monkeypatch.setattr(mode_words, "severity_of", lambda *_: "D")
    monkeypatch.setattr(mode_rows, "_tested", lambda basis, fault: tested)
    kind = SimpleNamespace(cause="", here="", action="", mode=mode)
    fault = SimpleNamespace(label="B: off", how="off", kind=kind, breaks={"B"}, mode=mode)
    basis = SimpleNamespace(plant=SimpleNamespace(condition=lambda name, broken: name not in ("f", "idle"), stands_idle=lambda name: name == "idle"))
    mode = replace(row(), found_by=found_by)
    run, notice = a_run(**{"noticed_after_ms": 0} | more), Notice(share, "x", who)
    found = [*mode_rows._told_and_not(basis, mode, fault, run, notice)]
    assert [(each.told, pytest.approx(each.per_year), each.severity, each.row["until"], each.waits_h) for each in found] == rows
    assert {(each.restored_h, each.row["restored"], each.row["designation"]) for each in found} == {(4.0, "4 h", "B")}
    fault.breaks = frozenset()                     # what breaks nothing leaves its cover
    assert {each.severity for each in mode_rows._told_and_not(basis, mode, fault, run, notice)} == {"D"}


def test_rows_of_like_parts_take_the_longest_repair_and_the_sum():
    parts = {name: SimpleNamespace(kind="rack") for name in ("A", "B")}
    basis = SimpleNamespace(plant=SimpleNamespace(parts=parts, shared_events={}))
    basis.designations = Basis.designations.func(basis)
    one = replace(row(), down_min={"kept": 1.0}, loss=5.0, state="as standby", letter="s", told=False, source="found")
    other = replace(one, units=("B",), row=one.row | {"designation": "B"}, restored_h=9.0, loss=7.0)
    both, = mode_rows._merged(basis, [one, other, replace(one, restored_h=None)])
    assert (both.number, both.restored_h, both.loss, both.down_min) == ("A-1su", 9.0, 17.0, {"kept": 3.0})
    assert both.row["designation"] == "A, B: rack, as standby" and both.row["rate"] == "6/a together\nfound"
    twice, = mode_rows._merged(basis, [replace(one, restored_h=None, told=True, letter="", state="")] * 2)
    assert (twice.number, twice.restored_h, twice.row["designation"], twice.row["rate"]) == ("A-1", None, "A", "4/a\nfound")
    event, = mode_rows._merged(SimpleNamespace(plant=SimpleNamespace(parts={}), designations=basis.designations), [
        one, replace(other, row=other.row | {"designation": "B"})])
    assert event.row["designation"] == "A, B: alike, as standby"


def test_people_at_a_pair_by_how_often_they_work_there():
    """0.003 of 2 x 0.146 repairs a year take the wrong unit; 0.003 of these and of 2 tests leave the standby stopped."""
    rows = {mode.number: (pytest.approx(mode.per_year, rel=1e-12), mode.row["here"]) for mode in mode_rows._human(hall())}
    assert rows == {"people-1": (0.003 * 0.292, "KF1 and KF2 out"), "people-2": (0.003 * 2.292, "KF2 out")}
    assert [*mode_rows._human(Basis(load_plant("mirelow"), date=""))] == []
