"""Questions with the numbers of another plant: the same on paper, in the key, the exam and on the screen.

A heat station of the tests, all invented, with other controllers than the lessons have. By hand:
8760 h / (75 000 h + 6 h) × 6 h × 60 = 42.04 min/a down; 8 % of 6 h / 75 000 h × 525 600 = 3.364 min/a.
"""

import csv
import io
import re

import pytest

from labkit.plant.plant import load_plant
from lessons.__main__ import main
from lessons.exercises.item import fill
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.lookup import PLANT_VARIABLE, at_plant, lesson_of
from lessons.exercises.replies import Verdict
from lessons.exercises.session import Session
from lessons.teaching.class_table import collect
from lessons.teaching.exam import draw_exam, exam_table
from lessons.teaching.key import key_page
from lessons.teaching.kit import numbers_of
from lessons.teaching.lesson_file import chosen_lessons, read_lesson
from lessons.teaching.worksheet import worksheets
from tests.notebooks import ROOT

TEXT = (ROOT / "tests" / "plant_files" / "heat_station.toml").read_text("utf-8")
CHANGED = (("mtbf_h = 60000\nmttr_h = 4\n", "mtbf_h = 75000\nmttr_h = 6\n"),
           ("common_cause = 0.05\ncoverage = 0.97", "common_cause = 0.08\ncoverage = 0.92"))
DOWN = {"01-downtime": "42.04 min/a", "08-shared": "3.364 min/a"}


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    text = TEXT
    for old, new in CHANGED:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path_factory.mktemp("plant") / "heat.toml"
    path.write_text(text, "utf-8")
    return path


@pytest.fixture(scope="module")
def heat(file):
    return load_plant(file)


@pytest.mark.parametrize("seed", [0, 7])
@pytest.mark.parametrize("number", ["01", "08"])
def test_worksheet_key_and_screen_have_the_same_numbers(number, seed, heat):
    lesson = read_lesson(chosen_lessons([number])[0])
    with at_plant(heat):
        sheets, questions = worksheets(lesson, seed=seed)
        key = re.sub("<[^>]+>", " ", key_page(lesson, seed=seed))
    # a number stays in one line with its unit on paper
    paper = "".join(sheet.html for sheet in sheets).replace("&nbsp;", " ")
    given = 0
    for each in questions:
        for line in each.item.marked_by(each.numbers, each.seed):
            assert line in key
        if each.item.case.of_plant and each.item.numeric_parts():
            given += 1
            told = fill(each.item.case.text, each.numbers).split(".")[0]
            assert told in paper or "____" in paper
            with at_plant(heat):
                said = each.item.marked_by(each.numbers, each.seed)[0].partition(" (")[0]
                assert Session(seed=each.seed).check(each.item.id, said).verdict is Verdict.RIGHT
    assert given >= 2


def test_the_sums_by_hand_are_right_on_the_screen(monkeypatch, file):
    monkeypatch.setenv(PLANT_VARIABLE, str(file))
    for name, by_hand in DOWN.items():
        assert Session().check(name, by_hand).verdict is Verdict.RIGHT
    assert Session().check("01-downtime", "35.04 min/a").verdict is not Verdict.RIGHT
    monkeypatch.delenv(PLANT_VARIABLE)
    assert Session().check("01-downtime", "35.04 min/a").verdict is Verdict.RIGHT


def test_an_exam_asks_the_numbers_of_that_plant(heat):
    with at_plant(heat):
        exam = draw_exam(("01", "08"), seed=2, minutes=60)
    rows = [*csv.DictReader(io.StringIO(exam_table(exam)))]
    found = [row for row in rows if row["item"] in ("01-failures", "01-downtime", "01-availability")]
    assert found
    for row in found:
        mtbf, mttr = re.search(r"an MTBF of (.+?) h and an MTTR of (.+?) h", row["text"]).groups()
        assert (mtbf.replace("\u202f", ""), mttr) == ("75000", "6")


def test_a_class_is_judged_by_the_numbers_it_had(tmp_path, heat):
    with at_plant(heat):
        desk = Session(LearnerRecord(label="Ada"))
        assert desk.check("01-downtime", DOWN["01-downtime"]).verdict is Verdict.RIGHT
        (tmp_path / "ada.json").write_text(desk.recorder.to_bundle(), "utf-8")
        assert collect(tmp_path).items == {"01-downtime": (1, 1)} and not collect(tmp_path).problems
    # The numbers of the question are part of what was asked.
    assert "asks in another way" in collect(tmp_path).problems[0]


def test_what_does_not_hold_for_a_plant_keeps_its_numbers_and_is_named(capsys, tmp_path):
    """The one controller of Mirelow is no pair, and Mirelow has no repeater."""
    mirelow = load_plant("mirelow")
    with at_plant(mirelow):
        for name in ("04-alone", "08-shared", "10-recall-repeater"):
            assert not lesson_of(name).item(name).case.of_plant
    said = numbers_of(mirelow, ["04", "10"])
    assert said.startswith("Mirelow Mushroom House gives the numbers of 1 question.")
    assert "04-alone" in said and "10-recall-repeater" in said and "04-recall-failures" not in said
    assert main(["worksheets", str(tmp_path), "--lesson", "04", "--plant", "mirelow"]) == 0
    assert "are kept, for the text or the model needs them, by: 04-" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["mirelow", "elderhang", "osier_weir", "reed_archive", "tarn_dairy",
                                  "heat_station"])
def test_every_question_of_every_plant_can_be_asked_and_answered(name):
    path = ROOT / "tests" / "plant_files" / f"{name}.toml"
    with at_plant(load_plant(path if path.is_file() else name)):
        for number in ("01", "02", "03", "07", "08", "09", "11"):
            lesson = lesson_of(f"{number}-x")
            for item in lesson.items:
                if item.case.of_plant:
                    for seed in (0, 1):
                        numbers = lesson.numbers(item.case, seed)
                        assert item.task(numbers, seed) and item.marked_by(numbers, seed)
                        judged = item.judge(item.right_answer(numbers), numbers, seed, {})
                        assert judged.verdict in (Verdict.RIGHT, Verdict.NOTED), (item.id, seed)
