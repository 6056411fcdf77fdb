"""The evening before the lecture: wrong answers given for real are found again in the class."""

import random
import re

import pytest

from labkit.rig.rig import Rig
from labkit.rig.stories import Replay, Story
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.misconceptions import misconception
from lessons.exercises.session import Session
from lessons.panels.flaws_panel import flaws_panel
from lessons.panels.hold_panel import hold_panel
from lessons.panels.plant_panel import plant_panel
from lessons.panels.proof_test_panel import proof_test_panel
from lessons.panels.time_out_panel import time_out_panel
from lessons.panels.two_states_panel import two_states_panel
from lessons.panels.worth_panel import worth_panel
from lessons.panels.writers_panel import writers_panel
from lessons.pictures.page import sheet
from lessons.teaching.class_picture import plot_class
from lessons.teaching.class_table import collect
from lessons.teaching.key import answer_key
from lessons.teaching.teacher_notes import teacher_notes

LESSONS = ("01", "02", "04", "05")
LEARNERS = 30


@pytest.fixture(scope="module")
def mistakes():
    """Return a typical wrong answer for each misconception, as the key says it: (item, words)."""
    found = {}
    for number in LESSONS:
        for answer in answer_key(number, 0):
            for wrong in answer.wrong:
                name = wrong.misconception[:3]
                if not name.startswith("M") or name in found:
                    continue
                session = Session(LearnerRecord(label="trial"))
                try:
                    session.check(answer.id, wrong.says)
                except (TypeError, ValueError):
                    continue  # a table or an order, which takes no line of words
                if [one.misconception for one in session.recorder.attempts()] == [name]:
                    found[name] = (answer.id, wrong.says)
    return found


def test_every_planted_misconception_is_found(mistakes, tmp_path):
    draw = random.Random(7)
    planted = {name: draw.sample(range(LEARNERS), draw.randint(1, 25)) for name in mistakes}
    assert len(planted) >= 15
    for number in range(LEARNERS):
        session = Session(LearnerRecord(label=f"learner {number}"))
        for name, who in planted.items():
            if number in who:
                session.check(*mistakes[name])
        (tmp_path / f"{number}.json").write_text(session.recorder.to_bundle(), encoding="utf-8")
    table = collect(tmp_path)
    assert len(table.learners) == LEARNERS and not table.problems
    assert dict(table.misconceptions) == {name: len(who) for name, who in planted.items()}
    ax = plot_class(table, sheet().add_subplot())
    shown = {label.get_text()[:3]: bar.get_width()
             for label, bar in zip(ax.get_yticklabels(), ax.patches)}
    assert all(len(planted[name]) == count for name, count in shown.items())
    # What concerns safety stands on the wall whatever its count, the others by their number.
    most = sorted((-len(who), name) for name, who in planted.items() if not misconception(name).safety)
    safety = [name for name in shown if misconception(name).safety]
    assert [*shown] == [*safety, *(name for _, name in most)][:len(shown)] and "M37" in safety


def test_the_story_of_the_lecture_comes_back(tmp_path):
    rig = Rig()
    for fault, wait_s in (("KF1: no power", 30), ("TF1: no power", 20)):
        rig.wait(5)
        rig.switch_on(fault)
        rig.wait(wait_s)
        rig.switch_off(fault)
    file = Story.of(rig, "power cut, then a dark panel").save(tmp_path / "story.json")
    story = Story.from_json(file.read_text("utf-8"))
    assert Replay(story).go_to(len(story.actions)).record == rig.record


# The panel of each ten minutes, and what the script names on it.
SHOWN = {
    "02": (plant_panel, ("mark weak points",)),
    "03": (two_states_panel, ("Other histories", "MTTR", "MTBF")),
    "05": (time_out_panel, ("Missed beats", "Gaps of beats", "ask the racks first")),
    "06": (hold_panel, ("Hold time",)),
    "07": (lambda: writers_panel(ask_racks=False), ("ask the racks first",)),
    "08": (flaws_panel, ("Restored in",)),
    "09": (proof_test_panel, ("Diagnosis sees", "Test every")),
    "12": (worth_panel, ("blowers fail to on",)),
}


def controls(widget):
    """Return the names on a widget and on all that it holds."""
    yield getattr(widget, "description", "")
    yield from re.findall(r">([^<]+)<", getattr(widget, "page", ""))
    for child in getattr(widget, "children", ()):
        yield from controls(child)


@pytest.mark.parametrize("number", SHOWN)
def test_the_ten_minutes_name_controls_that_are_there(number):
    make, names = SHOWN[number]
    on_panel = list(controls(make()))
    script = " ".join(step["do"] for step in teacher_notes(number)["demonstration"]).lower()
    for name in names:
        assert any(name.lower() in words.lower() for words in on_panel), name
        assert name.lower() in script


def test_the_ten_minutes_of_lesson_04_on_the_rig():
    rig = Rig()
    assert [role.value for role in rig.snapshot().roles.values()] == ["active", "standby"]
    rig.switch_on("KF1: no power")
    rig.wait(10)
    assert [role.value for role in rig.snapshot().roles.values()] == ["off", "active"]
    rig.switch_off("KF1: no power")
    rig.wait(60)
    assert [role.value for role in rig.snapshot().roles.values()] == ["standby", "active"]
    before = rig.snapshot()
    rig.switch_on("WF3: cut")
    rig.wait(10)
    after = rig.snapshot()
    assert before.panel_sees and not after.panel_sees
    assert (before.writers, before.outputs) == (after.writers, after.outputs), "control lost nothing"


def test_the_ten_minutes_of_lesson_02_on_the_rig():
    kept = {}
    for fault in ("WF1.10: cut", "KF1: no power", "TB1: off"):
        rig = Rig()
        rig.switch_on(fault)
        rig.wait(10)
        kept[fault] = rig.plant_state().works["control kept"]
    assert list(kept.values()) == [True, True, False]
