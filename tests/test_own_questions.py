"""An instructor's own questions: the page's example through every command, and what is wrong in files.

Sums by hand, for the first numbers of the page: 8760 h / (20 000 h + 12 h) = 0.437737 a year, times
12 h = 5.25285 h a year.
"""

import csv
import importlib
import io
import re

import pytest

from lessons.__main__ import main
from lessons.exercises.formulas import Spoken, tree_of
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.quantities import unit
from lessons.exercises.replies import Verdict
from lessons.exercises.session import Session
from lessons.items.own_questions import FOLDER_VARIABLE, check_questions
from lessons.items.question_units import unit_complaints
from lessons.teaching.class_marks import marks_of
from lessons.teaching.class_table import collect
from lessons.teaching.item_page import item_page
from lessons.teaching.key import key_page
from lessons.teaching.lesson_file import read_lesson
from lessons.teaching.worksheet import worksheets
from tests.notebooks import ROOT
from tests.paper_leaks import leaks
from tests.paper_numbers import wrong_in_lesson

PAGE = (ROOT / "lessons" / "teaching" / "own_questions.md").read_text("utf-8")
EXAMPLE, STEPS = re.findall(r"^```toml\n(.*?)^```", PAGE, re.MULTILINE | re.DOTALL)


@pytest.fixture
def mine(tmp_path, monkeypatch):
    folder = tmp_path / "questions"
    folder.mkdir()
    (folder / "mine.toml").write_text(EXAMPLE, "utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(FOLDER_VARIABLE, raising=False)
    return folder / "mine.toml"


def test_the_example_is_asked_judged_and_answered_by_near_misses(mine):
    desk = Session()
    for typed, verdict in (("5.253 h/a", Verdict.RIGHT), ("315.2 min/a", Verdict.RIGHT),
                           ("0.4377", Verdict.LOOK_AGAIN), ("5.25 min/a", Verdict.UNIT)):
        assert Session().check("mine-down", typed).verdict is verdict, typed
    assert "How long does each repair take" in desk.check("mine-down", "0.4377 h/a").shows
    # 8760 h / 12 h: the MTBF was left out of the sum below the stroke
    slipped = desk.check("mine-down", "8760 h/a")
    assert slipped.verdict is Verdict.LOOK_AGAIN and "too large" not in slipped.shows
    assert desk.check("mine-lamp", "read the alarm list").verdict is Verdict.RIGHT
    assert desk.check("mine-steps", ["isolate the pump", "prove that it is dead", "swap it", "run it"]
                      ).verdict is Verdict.RIGHT
    assert "## mine-down" in item_page("mine", draws=1)
    card = {"failures a year / two pumps in a row": "0.875 1/a",
            "what helps / one pump": "a spare on the shelf",
            "what helps / two pumps in a row": "a spare on the shelf"}
    assert desk.check("mine-card", card).verdict is Verdict.RIGHT
    half = desk.check("mine-card", {**card, "failures a year / two pumps in a row": "0.4377 1/a"})
    assert half.verdict is Verdict.PARTLY and half.score == pytest.approx(2 / 3, rel=1e-12)


def test_a_case_in_four_steps_is_asked_printed_and_marked(mine, capsys):
    """By hand: 8760 h / (15 000 h + 8 h) = 0.583689 a year, times 8 h = 4.66951 h."""
    mine.write_text(f"{EXAMPLE}\n{STEPS}", "utf-8")
    assert check_questions(mine) == []
    desk = Session()
    assert "0.438 × 12 h = 5.25 h a year" in desk.task("mine-walk-0")
    for step, typed in (("1.sketch", "turn"), ("1.sort", "0.5837 1/a"), ("2.calculate", "7.002 h/a"),
                        ("3.compare", "keep")):
        assert desk.check(f"mine-walk-{step}", typed).verdict is Verdict.RIGHT, step
    released = desk.check("mine-walk-1.sort", "0.5837 1/a").released
    assert "0.584 × 8 h = 4.67 h a year" in released
    sheets, questions = worksheets(read_lesson(mine), seed=0)
    assert [sheet.name for sheet in sheets] == ["questions", "what was seen"]
    assert not leaks(sheets, questions)
    assert not [*wrong_in_lesson(sheets, questions, key_page(read_lesson(mine)))]
    points = marks_of(collect(mine.parent), ["mine"]).points
    assert all(points[each.item.id] == each.item.points for each in questions)


STEP_MISTAKES = [
    ('value = "per_a"', 'value = "per_year"', r"step sort: value must name quantities.*did you mean per_a"),
    ('unit = "1/a"', 'unit = "h/a"', r"step sort: value must come out in h/a, got a number per time"),
    ('case = "mine-pump"', 'case = "mine-pmup"', r"case must be the id of a .*did you mean mine-pump"),
    ("= {per_a:.3f} a year.", "= {per_y:.3f} a year.", r"worked must have quantities of its case.*per_a"),
    ('id = "sort"', 'id = "sketch"', r"step sketch: id must be given once, got sketch"),
    ('type = "number"', 'type = "table"', r"step sort: type must be one of number, choice, order, got table"),
    ('right = "down_h <= 6"', 'right = "down_h <= 0"', r"step compare: option must have one right option for all"),
    ('    "up, then down, in turn.",\n', "", r"worked must .*4"),
]


@pytest.mark.parametrize(("old", "new", "says"), STEP_MISTAKES)
def test_each_mistake_in_a_step_is_named(mine, old, new, says):
    assert old in STEPS
    mine.write_text(f"{EXAMPLE}\n{STEPS.replace(old, new, 1)}", "utf-8")
    findings = check_questions(mine)
    assert len(findings) == 1 and re.search(says, str(findings[0])), [*map(str, findings)]
    assert findings[0].line > EXAMPLE.count("\n")


def test_the_same_call_asks_it_in_a_notebook(mine):
    from lessons import ask

    control = ask("mine-down", "mine-lamp", desk=Session()).pages[0]
    control.box.value = "5.25 h/a"
    control.check()
    assert "Right" in control.reply.value


def test_every_command_takes_it_and_their_numbers_agree(mine, capsys):
    for command in (["worksheets", "out", "--seed", "3"], ["key", "out", "--seed", "3"],
                    ["exam", "out", "--minutes", "20", "--export"]):
        assert main([*command, "--lesson", "mine"]) == 0
    desk, page = Session(seed=3), (mine.parents[1] / "out")
    (sheet,), questions = worksheets(read_lesson(mine), seed=3)
    assert not [*wrong_in_lesson([sheet], questions, key_page(read_lesson(mine), seed=3))]
    assert "two pumps in a row" in sheet.html and "what helps / one pump" in key_page(read_lesson(mine), seed=3)
    sheet = (page / "mine_1_questions_seed_3.html").read_text("utf-8").replace("&nbsp;", " ")
    key = (page / "mine_key_seed_3.html").read_text("utf-8")
    (pump, repair) = re.search(r"an MTBF of (.+?) h. A repair takes (.+?) h", sheet).groups()
    by_hand = 8760 / (float(pump.replace("\u202f", "")) + float(repair)) * float(repair)
    assert f"{by_hand:.4g} h/a" in key and f"{by_hand:.4g}" not in sheet
    assert desk.check("mine-down", f"{by_hand:.4g} h/a").verdict is Verdict.RIGHT
    rows = list(csv.DictReader(io.StringIO((page / "exam_seed_1.csv").read_text("utf-8-sig"))))
    assert {row["item"] for row in rows} == {"mine-down", "mine-lamp", "mine-steps"}
    for row in rows:
        if row["item"] == "mine-down":
            pump, repair = re.search(r"an MTBF of (.+?) h. A repair takes (.+?) h", row["text"]).groups()
            by_hand = 8760 / (float(pump.replace("\u202f", "")) + float(repair)) * float(repair)
            assert row["answer"].startswith(f"{by_hand:.4g} h/a")


def test_a_class_is_counted_and_marked(mine, tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    desk = Session(LearnerRecord(label="Ada"))
    desk.check("mine-down", "5.25 min/a")
    desk.check("mine-lamp", "read")
    (folder / "ada.json").write_text(desk.recorder.to_bundle(), "utf-8")
    table = collect(folder)
    assert table.items == {"mine-down": (0, 1), "mine-lamp": (1, 1)} and not table.problems
    marks = marks_of(table, ["mine"])
    # a number has a point for its value, one for its unit; four cards have three neighbours
    assert marks.points == {"mine-down": 2, "mine-lamp": 1, "mine-steps": 3, "mine-card": 3}
    assert marks.of(table.learners[0]) == {"mine-down": 1.0, "mine-lamp": 1}


MISTAKES = [
    # what is changed, into what; line of the change, and what the check says there
    ('unit = "h/a"', 'units = "h/a"', r"item mine-down: units must be a key.*units \(did you mean unit"),
    ('value = "down_h"', 'value = "down_hours"', r"value must name quantities.*did you mean down_h"),
    ('unit = "h/a"', 'unit = "1/a"', r"value must come out in 1/a, got a time"),
    ('unit = "h/a"', 'unit = "min/a"', r"value must come out in min/a, got down_h, which is in h"),
    ('objective = "down"', 'objective = "dwon"', r"objective must be a name of .*did you mean down"),
    ('text = "press reset"', 'text = "read the alarm list"', r"option 2: text must be given once"),
    ('unit = "h/a"', 'unit = "furlong"', r"unit must be a unit such as .*furlong"),
    ("right = true", "right = false", r"must have one right option, got none"),
    ('reply = "What would', 'right = true\nreply = "What would', r"one right option, got read, reset"),
    ("right = true", 'right = "1 > 2"', r"one right option for all .*got none"),
    ('id = "mine-lamp"', 'id = "mine-down"', r"must be given once, and item 1 has it, got mine-down"),
    ('id = "mine-lamp"', 'id = "01-downtime"', r"must begin with mine- .*got 01-downtime"),
    ('id = "mine-lamp"', 'id = "lamp"', r"must begin with mine- .*got lamp"),
    ('case = "mine-pump"', 'case = "mine-pmup"', r"must be the id of a .*did you mean mine-pump"),
    ('down_h = "per_a * mttr_h"', 'down_h = "per_a * "', r"derived: down_h must be one line of arithmetic"),
    ('down_h = "per_a * mttr_h"', 'down_h = "per_a / (mttr_h - 12)"',
     r"down_h must come out for all numbers.*mttr_h = 12: .*division by zero"),
    ('down_h = "per_a * mttr_h"', 'down_h = "9 ** 9 ** 9"', r"must be arithmetic over names"),
    ('down_h = "per_a * mttr_h"', 'down_h = "open(mttr_h)"', r"must be arithmetic over names"),
    ('down_h = "per_a * mttr_h"', 'down_h = "pump_h.real"', r"must be arithmetic over names"),
    ("takes {mttr_h} h", "takes {mtr_h} h", r"quantities of its case in braces.*did you mean mttr_h"),
    ("takes {mttr_h} h", "takes {mttr_h h", r"each brace closed"),
    (" A repair takes {mttr_h} h.", "", r"text must tell mttr_h in braces, for down_h needs it"),
    ("mttr_h = [12, 8, 24]", "mttr_h = [12,5, 8, 24]", r"mttr_h must have a point for decimals, .*got .*12,5, 8"),
    ("mttr_h = [12, 8, 24]", "mttr_h = [12,5]", r"mttr_h must have a point for decimals, .*got mttr_h = .12,5"),
    ("mttr_h = [12, 8, 24]", "mttr_h = [\n12,\n8,5,\n]", r"mttr_h must have a point for decimals, .*got 8,5"),
    ("mttr_h = [12, 8, 24]", "mttr_h = []", r"mttr_h must not be empty"),
    ("mttr_h = [12, 8, 24]", 'mttr_h = ["12 h"]', r"must be a number, got '12 h'"),
    ("mttr_h = [12, 8, 24]", "mttr_h = [inf]", r"must be finite"),
    ('type = "order"', 'type = "sort"', r"type must be one of number, choice, order, table, steps, got sort"),
    ('type = "order"', 'type = "order"\nshow = 1', r"show must be a key of the format"),
    ('value = "per_a"', 'value = "down_h"', r"mark 1: value must be 6 % apart from the right value, in any unit, got 5.25"),
    ('value = "per_a"', 'misconception = "M99"\nvalue = "per_a"', r"of the register, M01 to S17, got M99"),
    ('key = "reset"', 'key = "read"', r"key must be given once, got read"),
    ("title = \"Our pump hall\"\n", "", r"must have title"),
    ('title = "Our pump hall"', 'title = "Our pump hall', r"must be TOML"),
    ('id = "mine-steps"\n', "", r"must have id"),
    ('rows = ["what helps"]', 'rows = ["what help"]', r"must name rows of the table.*did you mean what helps"),
    ('type = "pick"', 'type = "choose"', r"must be one of given, number, pick, free, got choose"),
    ('unit = "1/a"', 'unit = "h/a"', r"must come out in h/a, got a number per time"),
    ('id = "mine-card.rate"', 'id = "card.rate"', r"must begin with mine-, got card.rate"),
    ("right = \"'a spare on the shelf'\"", "right = \"'a spare'\"", r"right must be one of its options, got 'a spare'"),
    ('value = "2 * per_a"', 'value = "2 * per_year"', r"must name quantities .*did you mean per_a"),
    ("cards = [\"isolate", "cards = [\"swap it\", \"isolate", r"must name nothing twice"),
    ("Our pump hall", "Our \\u202e hall", r"title must have no control, direction or invisible letters, got U.202E"),
    ('down_h = "per_a * mttr_h"', 'down_h = ["per_a"]', r"down_h must be text with one line of arithmetic, got"),
    ('down_h = "per_a * mttr_h"', "down_h = 5", r"down_h must be text with one line of arithmetic, got 5"),
    ('down_h = "per_a * mttr_h"', f'down_h = "{"1 + " * 999}mttr_h"', r"down_h must be one line of arithmetic"),
    ("[case.numbers]\n", "[case.numbers]\n2x = [1, 2]\n", r"2x must be a name of letters, figures and _, a letter first"),
    *(("[case.numbers]\n", f"[case.numbers]\n{name} = [1, 2]\n", f"{name} must be a name that means nothing else")
      for name in ("max", "said", "lambda")),
    ("[case.numbers]\n", f"[case.numbers]\nspare_n = {[*range(700)]}\n", r"numbers must give at most 2000 sets"),
    *(('id = "mine-steps"\n', f'id = "mine-steps"\nswap = [{{cards = {cards}, question = "Why?"}}]\n',
       r"swap 1: cards must be two places of cards from 0 to 3, the earlier first, got")
      for cards in ([2, 1], [0, 4], [1, 1])),
    ('value = "down_h"', 'value = "down_h"\nrough = {low = 5, high = 5, unit = "h/a", why = "x"}',
     r"low must be below high, got 5"),
    ('value = "down_h"', 'value = "down_h"\nrough = {low = 1, high = 5, unit = "h", why = "x"}',
     r"unit must measure what the unit of the answer measures, got h"),
    ('value = "down_h"', 'value = "mttr_h + per_a"', r"value must add what has one unit, got 1/a and h"),
    ('value = "down_h"', 'value = "abs(2 * per_a)"', r"value must come out in h/a, got a number per time"),
    ('value = "down_h"', 'value = "[abs][0](down_h)"', r"must be arithmetic over names"),
    ('value = "down_h"', 'value = "down_h > 3"', r"must be a number for all numbers of its case, .*it is True"),
    ('value = "down_h"', 'value = "1e300 * 1e300 * down_h"', r"must be a number for all numbers .*it is inf"),
    ("right = \"'a spare on the shelf'\"", "right = \"'a spare on the shelf' if mttr_h > 9 else 'x'\"",
     r"right must be one of its options, got 'x' for pump_h = \d+, mttr_h = 8"),
]


@pytest.mark.parametrize(("old", "new", "says"), MISTAKES)
def test_each_mistake_is_named_with_line_rule_and_value(mine, capsys, old, new, says):
    assert old in EXAMPLE
    mine.write_text(EXAMPLE.replace(old, new, 1), "utf-8")
    findings = check_questions(mine)
    assert len(findings) == 1, [*map(str, findings)]
    assert re.search(says, str(findings[0])), str(findings[0])
    place = 1 + EXAMPLE[:EXAMPLE.index(old)].count("\n")
    near = 12 if "must have" in says or "right option" in says else 1
    assert not findings[0].line or abs(findings[0].line - place) <= near
    assert main(["check", "questions/mine.toml"]) == 1
    assert "errors 1" in capsys.readouterr().out
    with pytest.raises(ValueError, match="must be without errors, got 1"):
        Session().task("mine-down")


def test_several_mistakes_are_told_at_once(mine):
    mine.write_text(EXAMPLE.replace('unit = "h/a"', 'units = "h/a"').replace("right = true", "rigth = true")
                    .replace('id = "mine-steps"', 'id = "steps"'), "utf-8")
    assert len(check_questions(mine)) == 3


def test_a_file_that_changes_is_read_anew(mine):
    assert Session().check("mine-lamp", "read").verdict is Verdict.RIGHT
    mine.write_text(EXAMPLE.replace('text = "read the alarm list"', 'text = "read the list of alarms"'),
                    "utf-8")
    assert "list of alarms" in Session().task("mine-lamp")


def test_money_is_no_time():
    spoken = Spoken({})
    (said,) = unit_complaints((), tree_of("lost_eur", {"lost_eur": "stops_per_a * cost_eur"}), spoken, unit("h/a"))
    assert said[1:] == ("must come out in h/a", "lost_eur, which is in EUR")
    assert not [*unit_complaints((), tree_of("lost_eur", {}), spoken, unit("EUR/a"))]


def test_no_formula_of_the_lessons_is_said_to_miss_its_unit():
    """148 numbers whose units were given by hand, before this check was there."""
    parts = [part for number in range(1, 13)
             for item in importlib.import_module(f"lessons.items.lesson_{number:02d}").LESSON.items
             for part in item.numeric_parts()]
    assert len(parts) > 100
    said = {part.id: [*unit_complaints((), part.worked.slips.tree, part.worked.slips.names, unit(part.unit))]
            for part in parts}
    assert {name: found for name, found in said.items() if found} == {}
