"""The evening before the lecture: wrong answers given for real are found again in the class."""

import random

import pytest

from labkit.classroom import collect
from labkit.exercises.learner import LearnerRecord
from labkit.exercises.session import Session
from labkit.figures import plot_class
from labkit.figures.paper import sheet
from labkit.rig import Rig
from labkit.stories import Story, load_story
from labkit.teaching import answer_key

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
    assert min(shown.values()) >= max(
        (len(who) for name, who in planted.items() if name not in shown), default=0)


def test_the_story_of_the_lecture_comes_back(tmp_path):
    rig = Rig()
    for fault, wait_s in (("KF1: no power", 30), ("TF1: no power", 20)):
        rig.wait(5)
        rig.switch_on(fault)
        rig.wait(wait_s)
        rig.switch_off(fault)
    file = Story.of(rig, "power cut, then a dark panel").save(tmp_path / "story.json")
    assert load_story(file).replay().record == rig.record
