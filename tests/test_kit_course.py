"""The course: sessions that fit into their minutes, and paper that belongs together."""

import re
from html import unescape

import pytest

from lessons.exercises.lookup import lesson_of
from lessons.teaching import course
from lessons.teaching.course import course_plan, lamp_card
from lessons.teaching.key import key_page
from lessons.teaching.kit import written
from lessons.teaching.lesson_file import lesson_files
from lessons.teaching.run_sheet import run_sheet
from lessons.teaching.worksheet import worksheets
from tests.paper_leaks import CHOSEN, answers_told, words

SMALL = {"small": {"title": "One lesson", "about": "For a test.", "session": [
    {"title": "Evening", "minutes": 60, "part": [{"lesson": "04", "how": "whole"}],
     "homework": ["11"]}]}}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("course")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(course, "_plans", lambda: SMALL)
        written(place, course.course(plan="small", seed=3))
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
        assert taught == sorted(taught)


@pytest.mark.parametrize("plan", ["evening", "two-days", "five-weeks"])
def test_a_sheet_recalls_what_its_plan_has_taught_and_the_run_sheet_and_the_key_agree(plan):
    had = set()
    for session in course_plan(plan)[2]:
        for lesson in (*(part.lesson for part in session.parts), *session.homework):
            sheets, questions = worksheets(lesson, seed=3)
            titles = {question.item.title for question in questions if "recall" in question.item.id}
            named = {re.findall(r"From lesson (\d\d)", title)[0] for title in titles if "From" in title}
            assert named <= had and "lessons you have not had" not in sheets[0].html
            row = re.search(r"<td>Recall</td>\s*<td>(.*?)</td>", run_sheet(lesson, seed=3))[1]
            assert titles <= {*re.sub("^three of: ", "", unescape(row)).split("; ")}
            assert {*re.findall(r"From lesson (\d\d)", row)} <= had
            assert bool(titles) != ("nothing yet that was taught before" in row)
            assert bool(titles) == (lesson.number != "04" or plan != "evening")
            (minutes,) = (each.minutes for each in lesson.sections if each.heading == "Recall")
            assert bool(minutes) == bool(titles), "what asks nothing takes no time"
            key = key_page(lesson, seed=3)
            assert all(question.item.id in key for question in questions)
            had.add(lesson.number)


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


def test_what_goes_home_has_sheets_and_a_key_and_no_paper_for_the_room(folder):
    assert {path.name[3:] for path in folder.glob("11_*")} == {
        "1_before_the_run.html", "2_after_the_run.html", "3_what_was_seen.html", "key.html"}
    for page in ("substitute.html", "cards.html"):
        text = (folder / page).read_text("utf-8")
        assert "esson 04" in text and "esson 11" not in text


def test_the_substitute_has_the_minutes_of_the_lesson_and_the_command_of_the_rig(folder):
    (lesson,) = (each for each in CHOSEN if each.number == "04")
    text = words((folder / "substitute.html").read_text("utf-8"))
    # The ticket comes at the end; and this class has had nothing that it could recall.
    left_out = sum(each.minutes for each in lesson.sections if each.heading in ("Sum up", "Recall"))
    assert sum(map(int, re.findall(r"(\d+) minutes", text))) == lesson.minutes - left_out
    assert "workbook lecture 04" in text


def test_the_lamp_card_has_the_shapes_of_the_rig():
    drawn = dict(re.findall(r'aria-label="([\w ]+)">.*?</svg></td><td>(\w+)</td>', lamp_card()))
    assert drawn == {"bar": "WRITER", "ring": "READY", "broken ring": "LOADING", "triangle": "ALONE",
                     "square": "FAILED", "dot": "LINK"}


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
