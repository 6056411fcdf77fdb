"""The fault drill on the running plant: scenes, checks, moves, score, and its panel."""

import json
import math
import re
from pathlib import Path
from types import SimpleNamespace

import pytest

from labkit.plant.plant import load_plant
from labkit.rig.bus import line_resistance_ohm
from labkit.rig.checks import NO_WORK, ROLE_CHANGE
from labkit.switchover.fault_kinds import faults_of
from lessons.exercises import best_way as outcomes
from lessons.exercises import scenes
from lessons.exercises.bench import AGREE, FORBIDDEN, NOTHING, PERMIT, Bench, actions_of, acts_of
from lessons.exercises.best_way import AT_A_MOVE, best_way, fewest_checks, tells
from lessons.exercises.controls import ask
from lessons.exercises.drilling import Drill, bench_after
from lessons.exercises.judging_again import judged_again
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.lookup import lesson_of
from lessons.exercises.measuring import (
    QUESTIONS,
    checks_of,
    complaint,
    panel_words,
    record_words,
    result_of,
)
from lessons.exercises.misconceptions import REGISTER
from lessons.exercises.replies import STOP_HERE, Verdict
from lessons.exercises.scenes import NO_FAULT, Scene, branches, run_scene, scenes_of
from lessons.exercises.session import Session
from lessons.items import lesson_10
from lessons.panels import drill_panel as panels
from tests import plants
from tests.test_plant_keys import any_of, part, plant_of

DRILLS = lesson_10.DRILLS
RANDOM = DRILLS[-1]
KNOWN = {entry.id for entry in REGISTER}
PLANT = scenes.plant_of_drills()
CHECKS = checks_of(PLANT)


def numbers_of(drill, seed):
    return lesson_10.LESSON.numbers(drill.case, seed)


def action_for(cause):
    return NOTHING if cause == NO_FAULT else faults_of(PLANT)[cause].kind.repair


READY = [f"do: {PERMIT}", f"do: {AGREE}"]


def test_a_card_of_the_key_has_causes_and_the_best_way_with_its_minutes():
    """Minutes of `checks.toml`, added by hand: error counters 3."""
    drill = RANDOM
    loose = numbers_of(drill, 3)
    assert loose.scene.truth == ("WF9: plug loose",)
    assert drill.marked_by(loose, 3) == (
        "WF9: plug loose", "best way: error counters, 3 min; full points with 2 checks")
    none = numbers_of(drill, 2)
    assert drill.marked_by(none, 2) == (
        "no fault", "best way: what the panel shows is enough; full points with 2 checks")


def test_a_plant_without_any_fault_of_the_drills_keeps_its_own():
    two = plant_of(part("A"), part("B"), needs=any_of("A", "B"))
    assert RANDOM.at(two) is RANDOM
    assert RANDOM.at(load_plant("elderhang")).case.plant().name == "Elderhang Orchard Waterworks"


def telling(scene):
    """Return a check that reads otherwise than without the fault, and that needs no permit."""
    return next(name for name in CHECKS if name != ROLE_CHANGE and tells(name, scene))


def solve(desk, drill, seed):
    """Solve a drill by text, as one does who knows the answer."""
    truth, check = numbers_of(drill, seed).scene.truth, telling(numbers_of(drill, seed).scene)
    other = "GB1: off" if truth != ("GB1: off",) else "TB1: off"
    actions = " + ".join(dict.fromkeys(map(action_for, truth)))
    moves = [
        "describe: what the panel shows", *READY, f"rank: {'; '.join([*truth, other])}",
        f"check: {check}",
        f"repair: {' + '.join(truth)} / evidence: {check} / action: {actions}", "retest",
    ]
    return [desk.check(drill.id, move, seed) for move in moves]


# ---------------------------------------------------------------- scenes


def test_of_six_seeds_one_has_no_fault_and_one_has_two_causes():
    for block in range(0, 120, 6):
        truths = [numbers_of(RANDOM, seed).scene.truth for seed in range(block, block + 6)]
        assert truths.count((NO_FAULT,)) == 1
        assert sum(len(truth) == 2 for truth in truths) == 1


def test_all_that_can_be_hidden_comes_up_and_seeds_are_kept():
    found = {tuple(re.sub(r"KF[12]|\.?[123]0", "", each) for each in
                   numbers_of(RANDOM, seed).scene.faults) for seed in range(300)}
    wanted = {tuple(re.sub(r"KF[12]|\.?[123]0", "", each) for each in scene.faults)
              for scene in scenes_of("KF1")[:32]}
    assert wanted <= found
    assert numbers_of(RANDOM, 5).scene == numbers_of(RANDOM, 5).scene
    leaders = [numbers_of(RANDOM, seed).scene.leader for seed in range(60)]
    assert 10 < leaders.count("KF1") < 50


def test_the_drills_of_the_plant_are_all_there():
    ours = {frozenset(scene.faults) for scene in scenes_of("KF1")}
    missing = {title for title, ids in plants.DRILLS.items() if frozenset(ids) not in ours}
    assert not missing


@pytest.mark.parametrize("drill", DRILLS, ids=lambda drill: drill.id)
def test_two_hundred_seeds_have_a_cause_that_can_be_named(drill):
    named = {cause for ids in branches().values() for cause in ids}
    known = set(faults_of(load_plant()))
    for seed in range(200):
        numbers = numbers_of(drill, seed)
        assert set(numbers.scene.truth) <= named and drill.separated(numbers)
        assert set(numbers.scene.faults) <= known
        assert fewest_checks(numbers.scene) in (2, 3, 4)
        for cause in numbers.scene.truth:
            assert action_for(cause)


@pytest.mark.parametrize("name", ["elderhang", "mirelow", "starter"])
def test_other_plants_can_be_drilled(name):
    """One controller, no panel, no process: what a plant lacks is neither hidden nor offered."""
    files = Path(scenes.__file__).resolve().parents[2] / "labkit" / "plant" / "files"
    plant = load_plant(files / f"{name}.toml")
    case = scenes.SceneCase("other", families=tuple(scenes.FAMILIES), plant=lambda: plant)
    drill = Drill("00-other", "Other", "", case)
    hidden = set()
    for seed in range(12):
        scene = next(case.draws(seed)).scene
        hidden.add(scene.truth)
        assert set(scene.faults) <= set(faults_of(plant))
        assert "KF90" not in drill.task(SimpleNamespace(scene=scene), seed)
        actions = dict.fromkeys(NOTHING if cause == NO_FAULT else
                                faults_of(plant)[cause].kind.repair for cause in scene.truth)
        others = [each for ids in branches(plant).values() for each in ids
                  if each not in scene.truth]
        checks = checks_of(plant)
        check = next((name for name in checks if tells(name, scene)), None)
        bench = bench_after(scene, [
            "describe: x", *READY, f"rank: {'; '.join([*scene.truth, others[0]])}",
            f"check: {check}", f"repair: {' + '.join(scene.truth)} / evidence: {check} / "
            f"action: {' + '.join(actions)}"])
        assert bench.moves[-1].startswith("repair") and not bench.forbidden
        assert drill.move(bench, "retest").verdict is Verdict.RIGHT
    assert len(hidden) > 4 and (NO_FAULT,) in hidden
    assert all(look.shows is not None or name.startswith(("lamps", "record"))
               for name, look in checks_of(plant).items())


# ---------------------------------------------------------------- checks


def test_every_cause_shows_itself_somewhere_and_differs_from_the_others():
    table = {}
    for scene in scenes_of("KF1"):
        rig = run_scene(scene)
        seen = (panel_words(rig), *(result_of(name, rig) for name in CHECKS))
        table.setdefault(seen, []).append(scene.faults)
    # A supply and the battery behind it, in one line, are told apart by nothing that is offered.
    alike = [group for group in table.values() if len(group) > 1]
    assert alike == [[("TB1: off",), ("GB1: off",)]]


def test_what_is_shown_names_no_fault_and_no_cause():
    hows = {fault.how for fault in faults_of(load_plant()).values()}
    telling = {"not tracking", "frozen", "dead and silent", "third terminator", "swapped"}
    for scene in scenes_of("KF2"):
        rig = run_scene(scene)
        shown = panel_words(rig) + record_words(rig, scene)
        assert "switched on" not in shown and "fault ->" not in shown
        assert not any(word in shown for word in telling), shown
    assert telling & hows


@pytest.mark.parametrize(
    ("faults", "check", "shown"),
    [
        (("WF3: third terminator",), "resistance of WF3",
         f"{line_resistance_ohm(870, near=2):.0f} ohm"),
        (("WF4: terminator missing",), "resistance of WF4", "120 ohm"),
        (("WF4: A and B swapped",), "idle voltage of WF4", "-"),
        (("KF1: frozen",), "cycle counters", "KF1: stands still"),
        (("PH1: lamp dark",), "lamp test of PH1", "one lamp of the row stays dark"),
        (("QM1: shut locally",), "local switch of QM1", "local, shut"),
        (("KF2: program differs",), "program versions", "KF2: 7.3"),
        (("WF9: noise",), "error counters", "WF9: some 300"),
        (("settings: one missed beat", "WF9: noise"), "settings against the sheet",
         "missed beats 1"),
        (("test: role change",), "book and permits", "switchover by hand"),
        (("BL1: stuck",), "second reading beside BL1", "BL1 stands"),
        (("KF10: module fault",), "faults shown at the racks", "KF10: module fault"),
        (("KF10B: dead and silent",), ROLE_CHANGE, "no data between KF2 and rack KF10"),
        (("WF9: cut",), "plugs of WF9", "WF9: open"),
        (("WF1+WF2: cut",), "plugs of the rack links", "WF1.10: open; WF2.10: open"),
        (("GB1: off",), "24 V at the units", "KF1: 0.0 V; KF2: 0.0 V; TF1: 24.1 V"),
        (("BL1: dead",), "second reading beside BL1", "BL1 gives no good reading"),
        (("TB1: voltage dip",), "24 V at the units", "14.9 V"),
        ((), "plugs of the panel bus", "all tight"),
    ],
)
def test_checks_show_what_an_instrument_would(faults, check, shown):
    assert shown in result_of(check, run_scene(Scene(faults, "KF1")))
    assert CHECKS[check].minutes >= 1 and CHECKS[check].why.endswith(".")


def test_work_in_the_book_need_not_be_the_cause():
    lines = [result_of("book and permits", run_scene(scene), scene) for scene in (
        Scene(("WF9: cut",), "KF1"), Scene(("WF9: cut",), "KF1", work=scenes.WORK[1]),
        Scene(("WF4: A and B swapped",), "KF1", work=scenes.WORK[1]),
        Scene(("WF4: A and B swapped",), "KF1", work=scenes.WORK[2]))]
    assert lines[0] == NO_WORK and lines[1] == lines[2] == scenes.WORK[1]
    assert lines[3] == f"{scenes.WORK[1]}; {scenes.WORK[2]}"


# ---------------------------------------------------------------- moves


@pytest.mark.parametrize("seed", range(12))
def test_a_drill_is_solved_by_text_and_scored(seed):
    desk = Session()
    replies = solve(desk, RANDOM, seed)
    last = replies[-1]
    assert [r.verdict for r in replies[:-1]] == [Verdict.NOTED] * 6
    assert last.verdict is Verdict.RIGHT and math.isclose(last.score, 1.0, rel_tol=1e-12)
    assert "3.0 of 3 points" in last.feedback and "Points: cause 1.0" in last.released
    assert desk.check(RANDOM.id, "retest", seed).verdict is Verdict.UNCLEAR


def test_what_was_repaired_is_gone_from_the_plant():
    desk = Session()
    drill = DRILLS[0]
    before = panel_words(run_scene(numbers_of(drill, 0).scene))
    last = solve(desk, drill, 0)[-1]
    assert "no data" in before and "Panel PH1: DATA, KF" in last.released


def test_the_steps_keep_their_order_and_unclear_moves_cost_nothing():
    desk = Session()
    said = [desk.check("10-drill", move, 4).verdict.name for move in (
        "check: lamps in the hall", "describe:", "describe: dark", "check: lamps in the hall",
        "rank: KF1: frozen", "rank: WF9: cut; nothing known", "rank: WF9: cut; PH1: dark",
        "check: no such check", "check: lamp test of PH1", "check: lamp test of PH1", "retest",
        "repair: PH1: dark", "repair: PH1: dark / evidence: lamps in the hall / action: x",
        "repair: PH1: dark / evidence: lamps in the hall / action: change the lamp", "jump: up",
        "do: nothing known",
    )]
    noted = [i for i, name in enumerate(said) if name == "NOTED"]
    assert noted == [2, 6, 8] and set(said) == {"NOTED", "UNCLEAR"}
    kept = desk.recorder.attempts()[-1]
    assert desk.check("10-drill", "", 4).verdict is Verdict.BLANK
    assert desk.recorder.attempts()[-1] is kept


def test_a_list_comes_before_each_check():
    desk = Session()
    for move in ("describe: dark", "rank: WF9: cut; PH1: dark", "check: 1"):
        desk.check("10-drill", move, 4)
    assert "ranked list" in desk.check("10-drill", "check: 2", 4).feedback
    assert desk.check("10-drill", "rank: same", 4).verdict is Verdict.NOTED
    assert desk.check("10-drill", "check: 2", 4).verdict is Verdict.NOTED


def test_every_check_costs_a_share_of_the_points():
    desk = Session()
    scene = numbers_of(DRILLS[0], 0).scene
    moves = ["describe: blind", *READY]
    for number in range(1, 7):
        moves += ["rank: TF1: no power; WF4: cut", f"check: {number}"]
    moves += ["rank: TF1: no power; WF4: cut",
              "repair: TF1: no power / evidence: lamps of TF1 / action: restore the supply",
              "retest"]
    last = [desk.check("10-first", move, 0) for move in moves][-1]
    assert scene.truth == ("TF1: no power",)
    # One for the cause, three enough of six made, one for no forbidden act, of three points.
    assert math.isclose(last.score, (1 + fewest_checks(scene) / 6 + 1) / 3, rel_tol=1e-12)


@pytest.mark.parametrize(
    ("faults", "act", "why"),
    [
        (("WF9: cut",), "do: bridge relay KF90", "independent of the pair"),
        (("WF9: cut",), "do: reset the alarms", "before reading"),
        (("KF2: no power",), "do: restart KF1", "leads alone"),
        (("KF2: no power",), f"check: {ROLE_CHANGE}", "no standby is ready"),
        (("TB1: voltage dip",), f"check: {ROLE_CHANGE}", "UV light warms up"),
        (("TB1: voltage dip",), "do: restart KF1", "UV light warms up"),
        (("WF9: cut",), f"check: {ROLE_CHANGE}", "no standby is ready"),
        (("WF3: cut",), "check: resistance of WF3", "needs the permit"),
        (("WF3: cut",), "check: idle voltage of WF4", "somebody who may do it"),
    ],
)
def test_forbidden_acts_are_stopped_counted_and_cost_a_point(faults, act, why):
    bench = bench_after(Scene(faults, "KF1"), ["describe: x", "rank: WF9: cut; TB1: voltage dip"])
    before = panel_words(bench.rig)
    judged = RANDOM.move(bench, act)
    assert judged.verdict is Verdict.LOOK_AGAIN and judged.shows.startswith(STOP_HERE)
    assert why in judged.shows and panel_words(bench.rig) == before
    bench.repairs.append((bench.scene.truth, telling(bench.scene), ()))
    assert bench.points()[0] == 1.0 and bench.points()[2] == 0.0
    # What was refused is part of the moves, so that it stays counted.
    assert bench_after(bench.scene, bench.moves).forbidden == bench.forbidden


@pytest.mark.parametrize("said, meant", [
    ("WF9 cut", "WF9: cut"), ("the sync cable is cut", "WF9: cut"), ("kf1:no power", "KF1: no power"),
    ("no power at KF1", "KF1: no power"), ("controller 1 has no power", "KF1: no power"),
    ("controller 2 stopped", "KF2: stopped"), ("PH1 dark", "PH1: dark"), ("the lamp of PH1 dark", "PH1: lamp dark"),
    ("fuse of the repeater", "TF1: fuse blown"), ("UPS battery worn", "GB1: battery worn"),
    ("24 V supply off", "TB1: off"), ("A and B swapped on WF4", "WF4: A and B swapped"),
    ("KF10A dead", "KF10A: dead"), ("KF10A dead and silent", "KF10A: dead and silent"),
    ("hold time too short", "settings: hold time too short"), ("valve QM1 shut", "QM1: shut locally"),
])
def test_a_cause_is_read_as_people_say_it(said, meant):
    bench = bench_after(Scene(("WF3: cut",), "KF1"), ["describe: x"])
    other = "WF3: earths differ"
    assert RANDOM.move(bench, f"rank: {said}; {other}").verdict is Verdict.NOTED
    assert bench.rankings[-1] == (meant, other)
    assert bench_after(bench.scene, bench.moves).rankings == bench.rankings


@pytest.mark.parametrize("said, near", [
    ("terminator missing", "WF3: terminator missing; WF4: terminator missing"),
    ("power supply TB1 off", "TB1: off"), ("wrong program in KF2", "KF2: program differs"),
    ("bus cable cut", "WF9: cut; WF3: cut; WF4: cut"),
    ("KF1", "KF1: stopped; KF1: own fault; KF1: frozen; KF1: too hot; ..."), ("rats", ""),
])
def test_a_cause_that_may_be_several_or_none_is_asked_back_with_what_is_near(said, near):
    bench = bench_after(Scene(("WF3: cut",), "KF1"), ["describe: x"])
    told = RANDOM.move(bench, f"rank: {said}; WF3: shield off")
    assert told.verdict is Verdict.UNCLEAR and not bench.rankings
    assert told.shows == f"{said!r} is no cause of the list." + f" Near it: {near}" * bool(near)


@pytest.mark.parametrize("move, made", [
    ("check: record", "record of the pair"), ("check 2", "record of the pair"), ("Check: #2", "record of the pair"),
    ("check - hall lamps", "lamps in the hall"), ("check: measure 24 V", "24 V at the units"),
    ("check: lamps", ""), ("check: no. 2", ""), ("check: tea", ""),
])
def test_a_check_is_read_as_people_say_it(move, made):
    bench = bench_after(Scene(("WF9: cut",), "KF1"), ["describe the lamps", "rank: WF9: cut; KF2: stopped"])
    told = RANDOM.move(bench, move)
    assert list(bench.results) == [made] * bool(made)
    assert told.verdict is (Verdict.NOTED if made else Verdict.UNCLEAR)
    assert ("Near it: lamps in the hall; lamps of TF1" in told.shows) == (move == "check: lamps")


def test_an_act_and_a_repair_are_read_as_people_say_them():
    bench = bench_after(Scene(("WF9: cut",), "KF1"), ["describe: x", "ask: what changed?"])
    assert bench.asked == ["what changed"]
    told = RANDOM.move(bench, "do: restart controller 1")
    assert told.shows.endswith("Near it: restart KF1; restart KF2") and not bench.forbidden
    for move in ("do: permit", "do: agree a stop", "rank: WF9 cut; KF2 stopped", "check: record"):
        assert RANDOM.move(bench, move).verdict is Verdict.NOTED, move
    RANDOM.move(bench, "repair: sync cable cut / evidence: the record / mend cable")
    assert bench.repairs == [(("WF9: cut",), "record of the pair", ("mend cable, plug or shield",))]


@pytest.mark.parametrize("said", ["give up", "hint", "the panel is dark"])
def test_who_makes_no_move_is_told_the_moves_and_where_help_is(said):
    told = RANDOM.move(bench_after(Scene(("WF9: cut",), "KF1"), []), said)
    assert told.verdict is Verdict.UNCLEAR
    assert told.shows == ("a move starts with one of describe, ask, rank, check, do, repair, retest. "
                          "hint('10-drill') helps.")


def test_task_panel_and_lesson_name_the_same_forbidden_acts(panel):
    path = Path(__file__).resolve().parents[1] / "lessons" / "10_reading_lamps_and_lines.ipynb"
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    told = " ".join(" ".join("".join(cell["source"]).split()) for cell in cells)
    task = Session().task("10-first", 0)
    shown = " ".join(child.value for child in panel.children if hasattr(child, "value"))
    for act in FORBIDDEN:
        assert act in told and act in task and act in shown


def test_a_restart_says_whether_the_unit_comes_back():
    bench = bench_after(Scene(("KF1: frozen",), "KF1"), ["describe: x"])
    assert RANDOM.move(bench, "do: restart KF1").released.startswith("KF1 does not obey")
    bench = bench_after(Scene(("KF1: stopped",), "KF1"), ["describe: x"])
    said = RANDOM.move(bench, "do: restart KF1").released
    assert said.startswith("KF1 was restarted, and does not come back.")
    bench = bench_after(Scene(("KF2: program differs",), "KF1"), ["describe: x"])
    assert RANDOM.move(bench, "do: restart KF2").released.startswith("KF2 was restarted.\n")


def test_the_moves_before_the_retest_spare_it_most_of_the_work(monkeypatch):
    outcomes._outcome.cache_clear()
    outcomes._best_way.cache_clear()
    runs = []

    def counted(scene):
        runs.append(scene)
        return run_scene(scene)

    for module in ("bench", "best_way"):
        monkeypatch.setattr(f"lessons.exercises.{module}.run_scene", counted)
    bench = Bench.of(Scene(("TF1: no power",), "KF1"))
    made = []
    for move in ("describe: blind", READY[0], "rank: TF1: no power; WF4: cut",
                 "check: lamps in the hall",
                 "rank: same", "check: lamps of TF1",
                 "repair: TF1: no power / evidence: lamps of TF1 / "
                 "action: restore the supply", "retest"):
        before = len(runs)
        RANDOM.move(bench, move)
        made.append(len(runs) - before)
    assert bench.closed and max(made) <= AT_A_MOVE
    assert len(runs) == 1 + len(scenes_of("KF1"))


def test_the_retest_shows_what_is_since_the_repair_and_not_before():
    moves = ["describe: x", "rank: QM1: shut locally; BL1: stuck", "check: local switch of QM1"]
    said = "repair: {} / evidence: local switch of QM1 / action: set the local switch back"
    bench = bench_after(Scene(("QM1: shut locally",), "KF1"), moves)
    assert "overflow" in panel_words(bench.rig)
    # A repair that changes nothing leaves the overflow in sight.
    for move in (said.format("BL1: stuck"), "retest"):
        judged = RANDOM.move(bench, move)
    assert "horn, for overflow" in judged.released
    for move in (said.format("QM1: shut locally"), "retest"):
        judged = RANDOM.move(bench, move)
    assert bench.closed and "overflow" not in judged.released.partition("Described")[0]


@pytest.mark.parametrize(("evidence", "says"), [
    ("lamps of TF1", "It would read otherwise without the fault."),
    ("cycle counters", "It reads the same without the fault. Which check would show it?"),
])
def test_the_evaluation_weighs_the_evidence(evidence, says):
    bench = bench_after(Scene(("TF1: no power",), "KF1"), [
        "describe: the panel is blind", READY[0], "rank: TF1: no power; GB1: off",
        f"check: {evidence}",
        f"repair: TF1: no power / evidence: {evidence} / action: restore the supply"])
    released = RANDOM.move(bench, "retest").released
    assert f"Evidence: {evidence}. {says}" in released
    assert "Described: the panel is blind" in released


def test_a_name_of_an_act_is_told_from_a_check():
    bench = bench_after(Scene(("WF9: cut",), "KF1"), ["describe: x", "rank: WF9: cut; GB1: off"])
    assert "say 'do: ...'" in RANDOM.move(bench, "check: restart KF2").shows


def test_acts_that_are_allowed_are_done():
    bench = bench_after(Scene(("KF2: program differs",), "KF1"), [
        "describe: x", "rank: WF9: cut; TB1: voltage dip", "check: record of the pair",
        "do: reset the alarms", "do: restart KF2"])
    assert not bench.forbidden and bench.minutes == 3 + acts_of(PLANT)["reset the alarms"] + 3


@pytest.mark.parametrize(
    ("faults", "named", "misconception"),
    [
        (("TF1: no power",), "KF1: frozen", "M16"),
        (("WF3: third terminator",), "WF3: terminator missing", "M33"),
        (("WF1+WF2: cut",), "WF1.10: cut", "M26"),
        (("PH1: lamp dark",), NO_FAULT, "M32"),
        (("test: role change",), "KF1: no power", None),
        (("settings: racks not asked", "WF9: cut"), "WF9: cut", None),
        (("WF9: cut",), "WF9: noise", None),
        (("WF9: cut",), "KF1: frozen", None),
    ],
)
def test_a_repair_that_does_not_fit_is_asked_for_its_reason(faults, named, misconception):
    bench = bench_after(Scene(faults, "KF1"), [
        "describe: x", *READY, f"rank: {named}; GB1: off", "check: 1",
        f"repair: {named} / evidence: book and permits / action: {action_for(named)}"])
    judged = RANDOM.move(bench, "retest")
    assert judged.verdict is Verdict.LOOK_AGAIN and judged.misconception == misconception
    assert misconception is None or misconception in KNOWN
    said = f"{judged.verdict.value}: {judged.shows} {judged.next_step}"
    assert "?" in said and len(said.split()) <= 60
    assert not any(cause in said for cause in bench.scene.truth if cause != NO_FAULT)
    assert not bench.closed


def test_the_right_cause_with_another_action_stays():
    bench = bench_after(Scene(("WF9: cut",), "KF1"), [
        "describe: x", *READY, "rank: WF9: cut; GB1: off", "check: 11",
        "repair: WF9: cut / evidence: plugs of WF9 / action: change the lamp"])
    assert "WF9: cut" in bench.rig.faults
    assert "put this cause right" in RANDOM.move(bench, "retest").shows
    for move in ("repair: WF9: cut / evidence: plugs of WF9 / action: mend cable, plug or shield",
                 "retest"):
        judged = RANDOM.move(bench, move)
    assert judged.verdict is Verdict.RIGHT and bench.closed


# ---------------------------------------------------------------- what is kept, what is told


def test_a_drill_goes_on_from_a_record_of_any_kind():
    class OnDisk(LearnerRecord):
        def attempts(self):
            rows = [json.loads(json.dumps(vars(a))) for a in super().attempts()]
            return tuple(SimpleNamespace(**row) for row in rows)

    desk = Session(OnDisk())
    assert solve(desk, RANDOM, 3)[-1].verdict is Verdict.RIGHT
    kinds = {a.kind for a in desk.recorder.attempts()}
    assert kinds == {"answer"} and len(desk.recorder.attempts()) == 7
    # Another seed and another drill begin at the beginning.
    assert "Describe comes first" in desk.check(RANDOM.id, "retest", 4).feedback


def test_hints_lead_to_the_full_route_and_nothing_blocks():
    desk = Session()
    replies = [desk.hint("10-first", 0).next_step for _ in range(3)]
    assert "repeater" not in " ".join(replies[:2]) and "TF1" in replies[2]


def test_work_on_a_plant_without_a_fault_does_not_end_a_drill():
    bench = bench_after(Scene((), "KF1"), ["describe: x", "rank: no fault; KF2: frozen", "check: 2"])
    assert bench.scene.truth == (NO_FAULT,)
    RANDOM.move(bench, f"do: {PERMIT}")
    for action in ("change the lamp", f"change the lamp + {NOTHING}"):
        RANDOM.move(bench, f"repair: no fault / evidence: 2 / action: {action}")
        told = RANDOM.move(bench, "retest")
        assert told.verdict is Verdict.LOOK_AGAIN and not bench.closed
        assert "No fault was named: what is left for" in told.shows
    RANDOM.move(bench, f"repair: no fault / evidence: 2 / action: {NOTHING}")
    assert RANDOM.move(bench, "retest").verdict is not Verdict.LOOK_AGAIN and bench.closed


def test_neither_a_refused_act_nor_a_failed_retest_passes_a_hint_over():
    desk = Session()
    wrong = ["describe: x", "do: bridge relay KF90", "do: bridge relay KF90", f"do: {PERMIT}", f"do: {AGREE}",
             "rank: KF1: stopped; KF2: stopped", "check: record of the pair",
             "repair: KF1: stopped / evidence: record of the pair / action: start the program", "retest"]
    last = [desk.check("10-first", move, 0) for move in wrong]
    assert [each.verdict for each in last].count(Verdict.LOOK_AGAIN) == 3 and desk.rung("10-first", 0) == 0
    made = [desk.hint("10-first", 0).next_step for _ in range(3)]
    assert made == [desk.hint("10-first", 1).next_step for _ in range(2)] + made[2:] and "TF1" in made[2]
    assert judged_again(desk.recorder.attempts()).changed == 0


def test_commented_drills_say_why_and_others_do_not():
    moves = ["describe: x", "rank: WF9: cut; GB1: off", "check: 4"]
    for drill in DRILLS:
        desk = Session()
        last = [desk.check(drill.id, move, 1) for move in moves][-1]
        assert ("Why: " in last.released) is drill.commented


def test_a_check_made_again_is_commented_again():
    desk = Session()
    moves = ["describe: x", "rank: WF9: cut; GB1: off", "check: 4", "rank: same", "check: 4"]
    assert "Why: " in [desk.check(DRILLS[0].id, move, 1) for move in moves][-1].released


def test_comments_end_with_the_first_success():
    desk = Session()
    solve(desk, DRILLS[0], 0)
    for move in ("describe: x", "rank: WF9: cut; GB1: off"):
        desk.check(DRILLS[0].id, move, 1)
    assert "Why: " not in desk.check(DRILLS[0].id, "check: 4", 1).released


def test_no_notebook_names_what_is_hidden():
    root = Path(__file__).resolve().parents[1]
    drills = {drill.id: drill for drill in DRILLS}
    for path in (root / "lessons").glob("*.ipynb"):
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]:
            source = "".join(cell["source"])
            for name, seed in re.findall(r"drill_panel\(\"([\w-]+)\"(?:, seed=(\d+))?", source):
                numbers = numbers_of(drills[name], int(seed or 0))
                shown = json.dumps(cell.get("outputs", []))
                task = drills[name].task(numbers, int(seed or 0))
                for cause in numbers.scene.truth:
                    # It stands in the list of all causes, once, and nowhere else.
                    told = shown.count(cause)
                    assert told <= 2 * task.count(cause) and numbers.route not in shown


@pytest.mark.parametrize("seed", range(6))
def test_the_task_says_all_and_no_more(seed):
    task = Session().task("10-drill", seed)
    assert all(name in task for name in (*CHECKS, *acts_of(PLANT), *actions_of(PLANT),
                                         "By text: check('10-drill'"))
    numbers = numbers_of(RANDOM, seed)
    for cause in numbers.scene.truth:
        listed = len(re.findall(rf"{re.escape(cause)}(?=[,\n])", task))
        assert listed == 1, "it stands in the list of all causes, and nowhere else"


def test_feedback_is_short_and_starts_with_its_word():
    for seed in range(6):
        desk = Session()
        for reply in solve(desk, RANDOM, seed):
            assert reply.feedback.startswith(reply.verdict.value)
            assert len(reply.feedback.split()) <= 60 and "!" not in reply.feedback


# ---------------------------------------------------------------- the panel


@pytest.fixture
def panel():
    made = panels.DrillPanel("10-first", desk=Session())
    yield made
    made.close()


def test_the_panel_makes_the_same_moves_as_the_text(panel):
    assert "The plan of the plant" in panel.picture.value and "PH1" in panel.plate.value
    assert panel.still_picture() == ("", "") and "my screen have stopped" in panel.head.value
    panel.question.value = "what still works"
    panel.put_question()
    assert "I went to look" in panel.reply.value
    panel.act_box.value = PERMIT
    panel.described.value = "the panel gives no data"
    panel.describe()
    panel.act()
    panel.add()
    assert "<b>Unclear</b>: choose a cause first." in panel.reply.value
    assert panel.listed == [] and panel.cause.value == "", "no cause was chosen yet"
    for branch, cause in (("feed with power", "TF1: no power"), ("carry", "WF4: cut")):
        panel.branch.value = branch
        panel.cause.value = cause
        panel.add()
        panel.add()
    assert panel.listed == ["TF1: no power", "WF4: cut"]
    panel.commit()
    assert "(committed)" in panel.list_line.value
    panel.check_box.value = "lamps in the hall"
    panel.check()
    # What the repeater shows costs a walk of its own, by text as well.
    assert "The plan of the plant" in panel.picture.value
    panel.commit()
    panel.check_box.value = "lamps of TF1"
    panel.check()
    svg, words = panel.still_picture()
    assert "<style>" in svg and words and panel.picture.value.count("<svg") == 3
    assert "no power" not in svg + words
    panel.act_box.value = "reset the alarms"
    panel.act()
    # A forbidden act looks as it does in a question: not like a move that is noted.
    assert STOP_HERE in panel.reply.value and "lkx-stop" in panel.reply.value
    assert ".lkx-stop" in panel.children[0].value
    panel.commit()
    assert "lkx-stop" not in panel.reply.value
    panel.check_box.value = "24 V at the units"
    panel.check()
    panel.causes[0].value = "TF1: no power"
    panel.evidence.value = "24 V at the units"
    panel.actions[0].value = "restore the supply"
    assert "DATA no data" in panel.head.value and "&#9656;" not in panel.names["Test"].value
    panel.repair()
    # Only the retest says what the repair has brought.
    assert "nobody has looked" in panel.head.value and "Panel PH1" not in panel.head.value
    assert "The plan" in panel.picture.value and "&#9656; 5" in panel.names["Evaluate"].value
    assert panel.plate.value == ""
    panel.retest()
    assert panel.bench.closed and "2.0 of 3 points" in panel.reply.value
    assert "Cause: TF1" in panel.text() and panel.problem is None
    assert panel.level.value.count("<svg") == 1
    panel.renew()
    assert panel.seed == 1 and not panel.bench.moves and panel.reply.value == ""
    assert not any(box.value for box in (
        panel.question, panel.described, panel.check_box, panel.act_box, *panel.causes, *panel.actions))
    panel.act()
    assert "Unclear" in panel.reply.value and not panel.bench.forbidden
    panel.hint()
    panel.clear()
    assert panel.listed == [] and panel.problem is None


def test_the_panel_goes_on_where_the_record_stands():
    desk = Session()
    desk.check("10-first", "describe: the panel is blind", 0)
    made = panels.drill_panel("10-first", desk=desk)
    assert made.bench.description == "the panel is blind"
    made.close()


def test_every_scene_is_drawn_with_its_fault_at_the_end(panel):
    for seed in range(12):
        other = panels.DrillPanel("10-drill", seed=seed, desk=panel.desk)
        solve(panel.desk, RANDOM, seed)
        other.draw()
        assert other.problem is None and other.picture.value.count("<svg") == 3
        other.close()


def test_refusals():
    with pytest.raises(ValueError, match="item_id must name a fault drill, got '10-page'"):
        panels.drill_panel("10-page")
    with pytest.raises(ValueError, match=r"got '10-first'.*; drill_panel\('10-first'\)"):
        ask("10-first")
    with pytest.raises(ValueError, match="item_id must be one of"):
        lesson_of("10-x").item("10-nothing")


# ---------------------------------------------------------------- a call, a guess, a way back


def test_the_caller_says_what_is_seen_and_answers_two_questions():
    for scene in scenes_of("KF2"):
        said = complaint(scene, run_scene(scene))
        assert said.endswith(".") and not any(cause in said for cause in scene.faults)
        assert "Please look" not in said
    bench = bench_after(Scene(("KF20: module fault",), "KF1", work=scenes.WORK[1]), [])
    said = [RANDOM.move(bench, f"ask: {each}").released for each in QUESTIONS[:2]]
    assert "yesterday, work at the panel bus" in said[0] and "the header tank and UV" in said[1]
    assert "has hung up" in RANDOM.move(bench, f"ask: {QUESTIONS[2]}").shows
    assert bench.minutes == 2 and bench.next_step == "Describe"


@pytest.mark.parametrize("faults", [("KF1: no power",), ("TB1: off",), ("TF1: no power",)])
def test_who_has_no_power_writes_nothing_and_a_panel_has_no_pen(faults):
    told = record_words(run_scene(Scene(faults, "KF1")))
    assert "-> off" not in told and "PH1" not in told
    # With both off nobody is left to write; with one the other one writes.
    assert ("KF2 heartbeat of KF1: heard -> missed" in told) is (faults == ("KF1: no power",))


def test_parts_that_are_changed_blindly_bring_no_point():
    guesses = ["KF1: own fault", "KF2: own fault", "PH1: dark", "WF3: cut", "WF4: cut"]
    bench = bench_after(Scene(("WF9: cut",), "KF1"), ["describe: x", *READY])
    for guess in [*guesses, "WF9: cut"]:
        for move in (f"rank: {guess}; GB1: off", "check: lamp test of PH1",
                     f"repair: {guess} / evidence: lamp test of PH1 / action: {action_for(guess)}",
                     "retest"):
            judged = RANDOM.move(bench, move)
    assert bench.closed and judged.score == 0.0 and bench.points() == (0.0, 0.0, 0.0)
    assert f"Repaired though whole: {', '.join(guesses)}." in judged.released


def test_the_second_repair_with_telling_evidence_brings_half_of_the_cause():
    bench = bench_after(Scene(("WF9: cut",), "KF1"), [
        "describe: x", *READY, "rank: WF9: noise; GB1: off", "check: plugs of WF9",
        "repair: WF9: noise / evidence: plugs of WF9 / action: mend cable, plug or shield",
        "retest", "rank: WF9: cut; GB1: off",
        "repair: WF9: cut / evidence: plugs of WF9 / action: mend cable, plug or shield"])
    assert RANDOM.move(bench, "retest").verdict is Verdict.PARTLY
    assert bench.points() == (0.5, 1.0, 0.0) and bench.needless == ("WF9: noise",)


def test_evidence_against_the_named_cause_is_quoted():
    bench = bench_after(Scene(("WF9: cut",), "KF1"), [
        "describe: x", *READY, "rank: WF9: noise; GB1: off", "check: plugs of WF9",
        "rank: same", "check: lamp test of PH1",
        "repair: WF9: noise / evidence: plugs of WF9 / action: mend cable, plug or shield"])
    released = RANDOM.move(bench, "retest").released
    assert "Against it: plugs of WF9 read 'WF9: open'" in released
    assert "With WF9: noise it reads" in released and "lamp test" not in released


def test_the_only_leader_is_not_worked_at_before_a_stop_is_agreed():
    moves = ["describe: x", READY[0], "rank: KF1: own fault; GB1: off", "check: cycle counters"]
    repair = ("repair: KF1: own fault / evidence: cycle counters / "
              "action: change or restart the part")
    bench = bench_after(Scene(("KF2: no power",), "KF1"), moves)
    refused = RANDOM.move(bench, repair)
    assert refused.shows.startswith(STOP_HERE) and "leads alone" in refused.shows
    assert not bench.repairs and bench.forbidden
    bench = bench_after(Scene(("KF2: no power",), "KF1"), [*moves[:2], READY[1], *moves[2:]])
    assert RANDOM.move(bench, repair).verdict is Verdict.NOTED and not bench.forbidden
    assert bench.minutes > 15


def test_work_at_a_part_waits_for_the_permit():
    moves = ["describe: x", "rank: WF9: cut; GB1: off", "check: plugs of WF9"]
    repair = "repair: WF9: cut / evidence: plugs of WF9 / action: mend cable, plug or shield"
    bench = bench_after(Scene(("WF9: cut",), "KF1"), moves)
    assert "needs the permit" in RANDOM.move(bench, repair).shows and "WF9: cut" in bench.rig.faults
    for move in (READY[0], repair, "retest"):
        judged = RANDOM.move(bench, move)
    assert bench.points()[2] == 0.0 and "clean work 0.0" in judged.released


def test_half_of_the_single_faults_are_cables_plugs_and_terminators():
    ones = [scene for seed in range(240) if len((scene := numbers_of(RANDOM, seed).scene).truth) == 1
            and scene.truth != (NO_FAULT,)]
    cables = sum(faults_of(PLANT)[scene.truth[0]].kind.repair in (
        "mend cable, plug or shield", "put wires or terminators right") for scene in ones)
    assert 0.4 < cables / len(ones) < 0.6


def test_the_best_way_leads_to_the_cause():
    for scene in scenes_of("KF1")[3:12]:
        assert 0 <= len(best_way(scene)) <= fewest_checks(scene) <= 4
    assert best_way(Scene(("TF1: no power",), "KF1"))[-1] in CHECKS


def test_the_panel_drills_any_plant_and_leaves_the_record_alone():
    kept = len(panels.session().recorder.attempts())
    made = panels.drill_panel("10-drill", plant="mirelow", seed=1)
    assert made.plant.name != PLANT.name and made.plant.name not in made.head.value
    made.described.value = "what the panel shows"
    made.describe()
    assert made.bench.description and made.bench.scene.plant is made.plant
    made.renew()
    assert made.problem is None and made.picture.value.count("<svg") == 3
    assert len(panels.session().recorder.attempts()) == kept
    made.close()
    with pytest.raises((ValueError, OSError)):
        panels.drill_panel("10-drill", plant="no_such_plant.toml")
