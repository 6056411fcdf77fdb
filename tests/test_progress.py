"""How far a learner is: by the last attempt at each item, and what has changed since."""

import json
import re
import subprocess
import sys
from dataclasses import asdict, replace

import pytest

import lessons
from lessons.exercises import by_text, controls
from lessons.exercises.attempts import Attempt
from lessons.exercises.digest import digest_of
from lessons.exercises.item import Hints, shuffled
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.lookup import lesson_of
from lessons.exercises.progress import (
    MOST_NAMED,
    begun_lessons,
    changed_text,
    changes,
    item_name,
    lesson_progress,
    open_text,
    trouble_text,
)
from lessons.exercises.replies import Verdict
from lessons.exercises.report import report_html
from lessons.exercises.session import Session
from lessons.exercises.table import Pick, Table

WHEN = "2031-03-03T08:00:00+00:00"
LESSONS = [lesson_of(f"{number:02d}-") for number in range(1, 13)]
ITEMS = [item for lesson in LESSONS for item in (*lesson.items, *lesson.drills)]


def right(item_id):
    """Answer a numeric item as its solver does."""
    lesson = lesson_of(item_id)
    item = lesson.item(item_id)
    return f"{item.solve(lesson.numbers(item.case, 0))!r} {item.unit}"


# ---------------------------------------------------------------- digest


def test_items_have_digests_of_their_own():
    digests = {item.id: digest_of(item) for item in ITEMS}
    assert len(set(digests.values())) == len(ITEMS) > 200
    assert all(len(found) == 8 and int(found, 16) >= 0 for found in digests.values())


def test_digests_are_the_same_in_every_run():
    code = (
        "from lessons.exercises.digest import digest_of\n"
        "from lessons.exercises.session import lesson_of\n"
        "for number in ('01', '10'):\n"
        "    lesson = lesson_of(number + '-')\n"
        "    print(*map(digest_of, (*lesson.items, *lesson.drills)))")
    runs = {
        subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True,
                       env={"PYTHONHASHSEED": seed, "OPENBLAS_NUM_THREADS": "1"}).stdout
        for seed in ("1", "2")
    }
    assert len(runs) == 1


def test_what_is_asked_changes_the_digest_and_nothing_else_does():
    item = lesson_of("01-").item("01-downtime")
    case = item.case
    before = digest_of(item)
    for same in (
        replace(item, hints=Hints("Look.", "Divide.", "{u}")),
        replace(item, reason="Because.", title="Another title", fingerprints=()),
        replace(item, case=replace(case, derive=lambda n: {})),
    ):
        assert digest_of(same) == before
    for other in (
        replace(item, ask="How long in ten years?"),
        replace(item, unit="h/a"),
        replace(item, tolerance=0.05),
        replace(item, case=replace(case, text=case.text + " It rains.")),
        replace(item, case=replace(case, numbers={**case.numbers, "mttr_h": (5.0, 9.0)})),
    ):
        assert digest_of(other) != before
    choice = lesson_of("04-").item("04-isolation")
    reworded = replace(choice.options[0], text="Something else")
    assert digest_of(replace(choice, options=(reworded, *choice.options[1:]))) != digest_of(choice)
    assert digest_of(replace(choice, options=choice.options[::-1])) != digest_of(choice)
    drill = lesson_of("10-").item("10-first")
    fewer = replace(drill.case, families=())
    assert digest_of(replace(drill, case=fewer)) != digest_of(drill)


def test_noise_in_the_last_bits_is_no_change():
    item = lesson_of("01-").item("01-downtime")
    noisy = {name: tuple(value * (1 + 2e-16) if isinstance(value, float) else value
                         for value in values) for name, values in item.case.numbers.items()}
    assert digest_of(replace(item, case=replace(item.case, numbers=noisy))) == digest_of(item)


# ---------------------------------------------------------------- a course that changes


def test_an_item_that_changes_is_listed_and_the_record_is_kept(tmp_path, monkeypatch):
    desk = Session(LearnerRecord(tmp_path))
    desk.check("01-downtime", right("01-downtime"))
    desk.check("01-mttr", "9 h")
    kept = desk.recorder.attempts()
    assert kept[0].digest == digest_of(lesson_of("01-").item("01-downtime"))
    assert kept[0].course and changes(kept) == ((), ())

    lesson = lesson_of("01-")
    changed = [replace(item, ask="How long is it down in ten years?")
               if item.id == "01-downtime" else item
               for item in lesson.items if item.id != "01-mttr"]
    monkeypatch.setattr("lessons.items.lesson_01.LESSON", replace(lesson, items=tuple(changed)))
    record = LearnerRecord(tmp_path)
    assert record.attempts() == kept
    assert changes(kept) == (("01-downtime",), ("01-mttr",))
    words = ("Changed since you answered: Down time in a year (01-downtime).",
             "No longer in the course, and kept in your record: 01-mttr.")
    assert changed_text(kept).splitlines() == list(words)
    page, box = report_html(record), controls.recall("02", desk=Session(record))
    for line in words:
        assert line in open_text(record, "01") and line in page
        assert " ".join(repr(box).split()).count(line) == 1
        assert line in box.before[0].value.replace("&nbsp;", " ")

    # Answered anew it is as the course has it; the old answer stays as it was.
    Session(record).check("01-downtime", "9 min/a")
    assert changes(record.attempts()) == ((), ("01-mttr",))
    assert record.attempts()[:2] == kept


def test_old_answers_do_not_count_for_an_item_that_is_another_now(tmp_path):
    """The same identifier may come to ask something else, even of another type."""
    record = LearnerRecord(tmp_path)
    for item_id in ("01-downtime", "01-card", "01-first-failures", "01-turn-3.sort"):
        for value in (35.0, "text", ["a"], {"x / y": "z"}):
            record.add(Attempt(item_id, 0, WHEN, "answer", "35", "LOOK_AGAIN", value, None,
                               "00000000", "0.0.1"))
    desk = Session(record)
    assert desk.rung("01-downtime") == 0 and not desk.done("01-turn-3.sort")
    assert desk.filled("01-card") == {} and desk.predicted("01-first-failures") is None
    assert desk.check("01-turn-3.calculate", "1 min/a").verdict is Verdict.LOOK_AGAIN
    for shown in (controls.ask("01-card", "01-downtime", desk=desk),
                  controls.predict_first("01-first-failures", desk=desk),
                  controls.steps("01-turn-3", desk=desk), desk.paper("01-card")):
        assert repr(shown)
    assert len(record.attempts()) == 17


def test_old_answers_without_a_digest_break_nothing():
    record = LearnerRecord()
    for item_id in ("01-card", "01-first-failures"):
        for value in (35.0, "text", ["a"], {"x / y": "z"}):
            record.add(Attempt(item_id, 0, WHEN, "answer", "35", "LOOK_AGAIN", value))
    desk = Session(record)
    assert desk.filled("01-card") == {} and desk.predicted("01-first-failures") is None
    assert desk.paper("01-card") and controls.predict_first("01-first-failures", desk=desk)


def test_a_record_of_an_older_form_shows_what_is_gone(tmp_path):
    old = {item_id: {name: value for name, value in asdict(Attempt(
        item_id, 0, WHEN, "answer", "35", verdict, 35.0)).items()
        if name not in ("digest", "course")}
        for item_id, verdict in (("01-downtime", "LOOK_AGAIN"), ("01-dropped", "RIGHT"),
                                 ("77-lesson", "RIGHT"))}
    (tmp_path / "record.json").write_text(json.dumps({
        "format": 1, "kind": "record", "label": "old", "course": "0.0.1", "attempts": old}))
    record = LearnerRecord(tmp_path)
    assert len(record.attempts()) == 3
    assert changes(record.attempts()) == ((), ("01-dropped", "77-lesson"))
    assert begun_lessons(record.attempts()) == ("01",)
    assert "missed: Down time in a year (01-downtime)" in open_text(record, "01")
    assert "77-lesson" not in open_text(record, "12") and "77-lesson" in report_html(record)


def test_long_lists_of_changes_are_counted_at_the_start_of_a_lesson():
    record = LearnerRecord()
    for item in lesson_of("01-").items:
        record.add(Attempt(item.id, 0, WHEN, "answer", "", "RIGHT", digest="00000000"))
    text = open_text(record, "01")
    assert f"and {len(lesson_of('01-').items) - MOST_NAMED} more." in text
    assert len(text) < 400


# ---------------------------------------------------------------- what is open


def test_the_last_attempt_counts():
    desk = Session()
    found = []
    for answer in ("240 min/a", right("01-downtime"), "what", "12 min/a"):
        desk.check("01-downtime", answer)
        desk.hint("01-availability")
        lesson = lesson_progress("01", desk.recorder.attempts())
        found.append((lesson.done, lesson.missed))
    once, twice = ("01-downtime",), ()
    assert found == [(twice, once), (once, twice), (once, twice), (twice, once)]
    assert "01-availability" in lesson.waiting


@pytest.mark.parametrize(("item_id", "verdict", "place"), [
    ("01-downtime", Verdict.RIGHT, "done"), ("01-downtime", Verdict.UNIT, "missed"),
    ("01-downtime", Verdict.NOT_SURE, "missed"), ("01-turn-3.calculate", Verdict.FOLLOWS, "missed"),
    ("01-card", Verdict.PARTLY, "begun"), ("01-card", Verdict.RIGHT, "done"),
    ("01-first-failures", Verdict.NOTED, "done"), ("01-first-failures", Verdict.SKIPPED, "done"),
    ("10-first", Verdict.NOTED, "begun"), ("10-first", Verdict.LOOK_AGAIN, "begun"),
    ("10-first", Verdict.RIGHT, "done"), ("10-first", Verdict.PARTLY, "missed"),
    ("01-recall-once", Verdict.LOOK_AGAIN, "missed"), ("01-downtime", Verdict.UNCLEAR, "waiting"),
])
def test_where_an_item_stands(item_id, verdict, place):
    kind = "skip" if verdict is Verdict.SKIPPED else "answer"
    attempt = Attempt(item_id, 0, WHEN, kind, "", verdict.name)
    assert item_id in getattr(lesson_progress(item_id[:2], [attempt]), place)


@pytest.mark.parametrize("lesson", LESSONS, ids=lambda lesson: lesson.number)
def test_every_item_of_a_lesson_counts_once(lesson):
    blank = lesson_progress(lesson.number, ())
    assert not blank.done + blank.missed + blank.begun
    asked = {item.id for item in lesson.items} - set(lesson.recall)
    assert set(blank.waiting) == asked and blank.count == len(asked)
    all_right = [Attempt(item.id, 0, WHEN, "answer", "", "RIGHT")
                 for item in (*lesson.items, *lesson.drills)]
    whole = lesson_progress(lesson.number, all_right)
    assert whole.count == len(whole.done) == len(all_right) and whole.open_words() == ""


def test_summary_is_silent_for_an_empty_record_and_for_later_lessons():
    desk = Session()
    assert open_text(desk.recorder, "04") == ""
    box = controls.recall("04", desk=desk)
    assert not box.before and "open" not in repr(box).splitlines()[0]
    desk.check("05-detection", "1 s")
    assert open_text(desk.recorder, "04") == ""
    assert "missed before: " in open_text(desk.recorder, "06")


def test_summary_names_what_is_open_up_to_this_lesson():
    desk = Session()
    desk.check("01-downtime", "240 min/a")
    desk.check("04-isolation", "not sure")
    table = lesson_of("04-").item("04-table")
    place, cell = next((place, cell) for place, cell in table.open_cells().items()
                       if isinstance(cell, Pick))
    desk.check("04-table", {place: cell.options[0]})
    said = open_text(desk.recorder, "04").splitlines()
    count = lesson_progress("04", ()).count
    first = lesson_progress("01", ()).count
    assert said == [
        "You have open:",
        (f"in this lesson: missed: {item_name('04-isolation')}; begun: {item_name('04-table')}; "
         f"{count - 2} of {count} not answered"),
        f"missed before: {item_name('01-downtime')}",
        f"not answered: {first - 1} in 01",
        "lessons not begun: 02, 03",
        "your whole record: my_record(), from lessons.exercises.by_text",
    ]
    box = controls.recall("04", desk=desk)
    assert " ".join(repr(box).split()).startswith(" ".join(" ".join(said).split()))
    box.forward()
    assert box.children[0] is box.before[0] and "You have open" in box.before[0].value


def test_summary_stays_short_however_long_the_record_is():
    record = LearnerRecord()
    for lesson in LESSONS:
        for item in lesson.items[2:]:
            record.add(Attempt(item.id, 0, WHEN, "answer", "", "PARTLY", digest="00000000"))
    text = open_text(record, "12")
    assert len(text.splitlines()) <= 6 and len(text) < 1300
    assert "begun before:" in text and "and" in text


def test_summary_says_where_nothing_is_open():
    record = LearnerRecord()
    for item in lesson_of("01-").items:
        record.add(Attempt(item.id, 0, WHEN, "answer", "", "RIGHT", digest=digest_of(item)))
    assert open_text(record, "01").splitlines()[0] == "Nothing is open up to here."


# ---------------------------------------------------------------- questions that open a lesson


def test_questions_come_back_that_were_missed_in_earlier_lessons():
    desk = Session()
    own = lesson_of("04-").recall
    assert desk.recall("04") == own[:3]
    for item_id in ("01-downtime", "01-mttr", "02-chain-down", "05-detection"):
        desk.check(item_id, "not sure")
    desk.check("01-turn-3.sort", "not sure")
    desk.check("01-card", {"x / y": "1"})
    assert desk.recall("04") == ("02-chain-down", "01-mttr", own[0])
    desk.check(own[-1], "not sure")
    assert desk.recall("04") == ("02-chain-down", "01-mttr", own[-1])
    desk.check("02-chain-down", right("02-chain-down"))
    assert desk.recall("04") == ("01-mttr", "01-downtime", own[-1])
    assert desk.recall("01") == lesson_of("01-").recall[:3]
    box = controls.recall("04", desk=desk)
    assert [page.item_id for page in box.pages] == list(desk.recall("04"))
    desk.check("01-downtime", right("01-downtime"))
    desk.check("01-mttr", right("01-mttr"))
    assert desk.recall("04") == (*own[:2], own[-1])


# ---------------------------------------------------------------- trouble with the record


def test_a_reply_says_where_an_answer_could_not_be_kept(tmp_path):
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder should be")
    desk = Session(LearnerRecord(blocked))
    words = "Kept in memory only:"
    assert words in repr(controls.recall("01", desk=desk))
    replies = [desk.check("01-downtime", "35 min/a"), desk.hint("01-mttr"),
               desk.skip("01-first-failures"), desk.observe("01-first-failures", "1"),
               desk.rate("01-card", "1")]
    for reply in replies:
        assert words in reply.feedback and "Hand in or export" in str(reply)
    control = controls.ask("01-downtime", desk=desk)
    control.box.value = "35 min/a"
    control.check()
    assert words in control.reply.value
    assert words not in Session().check("01-downtime", "35 min/a").feedback
    assert len(desk.recorder.attempts()) == 6


def test_a_damaged_file_is_named_at_the_start(tmp_path):
    record = LearnerRecord(tmp_path)
    record.add(Attempt("01-downtime", 0, WHEN, "answer", "", "RIGHT"))
    record.add(Attempt("01-mttr", 0, WHEN, "answer", "", "RIGHT"))
    record.path.write_text("{")
    again = LearnerRecord(tmp_path)
    (name,) = (path.name for path in tmp_path.glob("record.damaged-*"))
    assert f"Damaged and put aside: {name}." in trouble_text(again)


# ---------------------------------------------------------------- report


def test_the_report_is_that_of_the_record():
    desk = Session(LearnerRecord(label="<7>"))
    desk.check("01-downtime", right("01-downtime"))
    item = lesson_of("02-").item("02-chain-down")
    mark = item.fingerprints[0]
    numbers = lesson_of("02-").numbers(item.case, 0)
    desk.check(item.id, f"{mark.value(numbers)!r} {item.unit}")
    page = report_html(desk.recorder)
    assert "Record of &lt;7&gt;" in page and "<7>" not in page
    assert "Actions: 2" in page and f"{mark.misconception}: " in page
    count = lesson_progress("01", ()).count
    assert f"1 of {count}" in page
    # The bar of a lesson has as much of each kind as the numbers beside it: 150 for the whole.
    bars = [[float(each) for each in re.findall(r'<rect class="\w+" x="[\d.]+" y=".5" '
                                                r'width="([\d.]+)" height="9"', bar)]
            for bar in re.findall(r'(?s)<svg class="bar".*?</svg>', page)]
    assert [bar[0] for bar in bars] == pytest.approx([150 / count, 0], rel=1e-12)
    assert [sum(bar) for bar in bars] == pytest.approx([150, 150], rel=1e-12)
    other = LearnerRecord()
    other.take_bundle(desk.recorder.to_bundle())
    assert report_html(other) == page


# ---------------------------------------------------------------- going on after a restart


def restarted(tmp_path):
    """Return a session as a new kernel has it."""
    return Session(LearnerRecord(tmp_path))


def test_a_table_stands_as_it_was_left(tmp_path):
    control = controls.ask("01-card", desk=restarted(tmp_path))
    places = list(control.cells)
    for place in places[:2]:
        cell = control.cells[place]
        cell.value = cell.options[1][1] if hasattr(cell, "options") else "5 h"
    control.check()
    left = {place: cell.value for place, cell in control.cells.items()}
    assert sum(map(bool, left.values())) == 2
    again = controls.ask("01-card", desk=restarted(tmp_path))
    assert {place: cell.value for place, cell in again.cells.items()} == left
    again.renew()
    assert not any(cell.value for cell in again.cells.values())
    # A cell whose list has changed since stays open.
    record = LearnerRecord(tmp_path)
    table = next(item for item in ITEMS if isinstance(item, Table)
                 and any(isinstance(cell, Pick) for cell in item.open_cells().values()))
    place = next(" / ".join(place) for place, cell in table.open_cells().items()
                 if isinstance(cell, Pick))
    record.add(Attempt(table.id, 0, WHEN, "answer", "", "PARTLY", {place: ["gone", "Right"]}))
    assert controls.ask(table.id, desk=Session(record)).cells[place].value == ""


def test_a_run_opens_again_with_the_prediction_that_was_committed(tmp_path):
    first = controls.predict_first("01-first-failures", desk=restarted(tmp_path))
    assert [each.description for each in first.children[3].children] == [
        "Commit", "Show me without predicting"]
    first.box.value, first.because.value = first.item.options[0].key, "they last"
    first.check()
    desk = restarted(tmp_path)
    again = controls.predict_first("01-first-failures", desk=desk)
    assert again.box.value is None
    again.children[3].children[2].click()
    assert "you expected: " in again.reply.value and again.box.disabled
    again.compare()
    assert "they last" in again.comparison.value
    kinds = [attempt.kind for attempt in desk.recorder.attempts()]
    assert kinds == ["answer", "observation"]
    desk.skip("01-first-failures")
    assert desk.predicted("01-first-failures") is None


def test_an_unclear_answer_does_not_undo_a_prediction():
    desk = Session()
    key = lesson_of("01-").item("01-first-failures").options[0].key
    desk.check("01-first-failures", f"{key} because they last")
    desk.check("01-first-failures", key)
    assert dict(desk.observe("01-first-failures", "1").rows)["Because"] == "they last"


def test_steps_that_were_done_are_there_again(tmp_path):
    lesson = lesson_of("01-")
    item = lesson.item("01-turn-1.sketch")
    numbers = lesson.numbers(item.case, 0)
    key = next(option.key for option in item.options if option.is_right(numbers))
    restarted(tmp_path).check(item.id, key)
    desk = restarted(tmp_path)
    assert len(controls.steps("01-turn-1", desk=desk).shown.children) == 2
    assert "Step 2," in desk.task("01-turn-1")


CALLS = ("task", "check", "hint", "skip", "observe", "rate", "paper", "ask", "steps",
         "predict_first", "recall", "my_record")
WITH = {"skip": "01-first-failures", "observe": "01-first-failures",
        "predict_first": "01-first-failures", "rate": "01-card", "paper": "01-card",
        "steps": "01-turn-3", "recall": "04", "my_record": ""}


@pytest.mark.parametrize("seed", range(3))
def test_every_call_works_blank_twice_and_in_any_order(seed, tmp_path, monkeypatch):
    desks = [restarted(tmp_path)]
    for module in (by_text, controls):
        monkeypatch.setattr(module, "session", lambda: desks[-1])
    for _ in range(2):
        for name in shuffled([*CALLS, *CALLS], f"{seed}"):
            said = repr(getattr(lessons, name)(WITH.get(name, "01-downtime")))
            assert said and "did not work" not in said
        desks.append(restarted(tmp_path))
    desk = desks[-1]
    assert {attempt.kind for attempt in desk.recorder.attempts()} == {"hint", "skip"}
    assert not desk.recorder.problem
