"""The course: sessions that fit into their minutes, and paper that belongs together."""

import re
from html import unescape

import pytest

from lessons.exercises.lookup import lesson_of
from lessons.teaching import course
from lessons.teaching.course import course_plan, lamp_card, write_course
from lessons.teaching.lesson_file import lesson_files
from lessons.teaching.worksheet import worksheets
from tests.paper_leaks import CHOSEN, answers_told, words

SMALL = {"small": {"title": "One lesson", "about": "For a test.", "session": [
    {"title": "Evening", "minutes": 60, "part": [{"lesson": "04", "how": "whole"}],
     "homework": []}]}}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("course")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(course, "_plans", lambda: SMALL)
        write_course(place, "small", seed=3)
    return place


@pytest.mark.parametrize("name", ["evening", "two-days", "five-weeks"])
def test_a_session_fits_and_what_is_left_out_goes_home(name):
    _, _, sessions = course_plan(name)
    taught = [part.lesson.number for session in sessions for part in session.parts]
    home = [lesson.number for session in sessions for lesson in session.homework]
    for session in sessions:
        assert session.minutes - 45 <= session.taken_min <= session.minutes
        for part in session.parts:
            whole = sum(section.minutes for section in part.lesson.sections
                        if section.heading != "Deeper")
            assert 0 < part.minutes <= whole and (part.minutes == whole) == (not part.home)
    assert len({*taught, *home}) == len(taught) + len(home), "no lesson twice"
    if name != "evening":
        assert sorted([*taught, *home]) == [path.stem[:2] for path in lesson_files()]
        assert taught == sorted(taught) or name == "two-days"


def test_minutes_that_are_too_few_are_refused(monkeypatch):
    plan = {"x": {"title": "x", "about": "x", "session": [
        {"title": "short", "minutes": 30, "part": [{"lesson": "04", "how": "whole"}],
         "homework": []}]}}
    monkeypatch.setattr(course, "_plans", lambda: plan)
    with pytest.raises(ValueError, match="minutes of 'short' must hold its lessons .* too few"):
        course.course_plan("x")
    with pytest.raises(ValueError, match="plan must be one of x, got 'y'"):
        course.course_plan("y")


def test_the_index_leads_to_every_file(folder):
    links = re.findall(r'href="([^"]+)"', (folder / "index.html").read_text("utf-8"))
    there = {path.name for path in folder.iterdir()} - {"index.html"}
    assert set(links) == there


def test_the_document_to_print_has_all_and_begins_with_the_instructor(folder):
    text = (folder / "to_print.html").read_text("utf-8")
    assert not re.search(r'(?:src|href)="http', text)
    for path in folder.glob("0*_*.html"):
        if "slides" not in path.name:
            body = re.search(r"<body>(.*)</body>", path.read_text("utf-8"), re.DOTALL)[1]
            assert body.strip()[:3000] in text, path.name
    for_class = text.partition("For the class, from the next page on")[2]
    assert "For instructors only" not in for_class and "misconception" not in for_class
    assert "Key 04" in text.partition("For the class")[0]


def test_cards_tell_no_answer(folder):
    text = (folder / "cards.html").read_text("utf-8")
    item = lesson_of("04-exit").item("04-exit")
    right = item.key_lines(lesson_of(item.id).numbers(item.case, 3))[0].split("; ")[0]
    assert unescape(text).count(right) == 4, "among the options of the four tickets, and unmarked"
    assert len(re.findall(r'class="vote"', text)) == 6
    assert "ACTIVE" in lamp_card() and "WRITER" in lamp_card()
    (lesson,) = (each for each in CHOSEN if each.number == "04")
    _, questions = worksheets(lesson, seed=3)
    told = words(text.partition("<h1>Lamp card")[2])
    assert not [said for question in questions for said in answers_told(question, told)]


def test_the_substitute_has_the_letter_of_the_vote(folder):
    text = words((folder / "substitute.html").read_text("utf-8"))
    item = lesson_of("04-x").item("04-power-cut")
    letter = item.marked_by(lesson_of("04-x").numbers(item.case, 3), 3)[0]
    assert re.search(rf"Right is {letter}: KF2 leads, and all racks take its writes", text)
