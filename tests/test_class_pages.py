"""What an instructor takes from a class beside the count, held against sums worked by hand.

Ada answers 01-downtime as hours in the place of minutes, then right; Bo never gets it. Both times
lie in the weeks 10 and 11 of 2031 (ISO 8601: 2031-03-03 is the Monday of week 10; by a calendar).
"""

import csv
import io
import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from lessons.__main__ import main
from lessons.exercises.learner_record import LearnerRecord, checksum_of
from lessons.exercises.lookup import lesson_of
from lessons.exercises.misconceptions import REGISTER, safety_concern
from lessons.exercises.replies import STOP_HERE
from lessons.exercises.session import Session
from lessons.teaching.class_marks import Marks, marks_of
from lessons.teaching.class_pages import aloud_page, class_page, feedback_page, write_feedback
from lessons.teaching.class_table import ClassTable, Learner, collect
from lessons.teaching.key import key_page
from lessons.teaching.lesson_file import lesson_files, read_lesson

MONDAY = datetime(2031, 3, 3, 8, tzinfo=UTC)
LATER = datetime(2031, 3, 11, 8, tzinfo=UTC)
RIGHT = {"01-downtime": "35.04 min/a", "01-recall-once": "0.125 /a", "02-chain-down": "42.68 min/a"}
UNSAFE = ("04-isolation", "lamp")


def hand_in(folder, label, *answers):
    """Write the bundle of answers: each an item, what was typed, and the day after the Monday."""
    clock = {"now": MONDAY}
    desk = Session(LearnerRecord(label=label), clock=lambda: clock["now"].isoformat())
    for minute, (item, typed, day) in enumerate(answers):
        clock["now"] = MONDAY + timedelta(days=day, minutes=minute, seconds=len(label))
        desk.check(item, typed)
    path = folder / f"{len(list(folder.iterdir()))}.json"
    path.write_text(desk.recorder.to_bundle(), "utf-8")
    return path


def rows_of(text):
    return list(csv.DictReader(io.StringIO(text)))


@pytest.fixture
def handed_in(tmp_path):
    folder = tmp_path / "in"
    folder.mkdir()
    hand_in(folder, "Ada", ("01-downtime", "35.04 h/a", 0), ("01-downtime", "35.04 min/a", 8),
            ("01-recall-once", "0.125 /a", 8), (*UNSAFE, 8))
    hand_in(folder, "Bo", (*UNSAFE, 0), ("04-isolation", "no", 0), ("01-downtime", "1 min/a", 0))
    return folder


def test_the_page_says_what_to_teach_again(handed_in):
    """Bo never gets the down time: one of two did."""
    table = collect(handed_in)
    again = class_page(table).partition("What to teach again")[2].partition("First try and last")[0]
    assert ("01-downtime", 1, 2) in table.missed and "(01-downtime), 1 of 2" in again
    met = {name for name in table.misconceptions if not safety_concern(name)}
    assert met and met == set(re.findall(r"<b>([MS]\d\d)</b>", again))


def test_first_and_last_try_and_weeks_in_columns_that_sort(handed_in):
    """35.04 h/a has the value and not the unit: one of two points, 50 %; then 100 %."""
    ada, bo, _ = rows_of(collect(handed_in).to_csv())
    assert (ada["01-downtime first %"], ada["01-downtime last %"]) == ("50", "100")
    assert (bo["04-isolation first %"], bo["04-isolation last %"]) == ("0", "100")
    assert (bo["01-downtime last %"], bo["01-recall-once last %"]) == ("0", "")
    # Ada: one try in week 10, not right; three in week 11, the isolation wrong.
    assert [ada[f"2031-W{week}"] for week in ("10 tried", "10 right", "11 tried", "11 right")] \
        == ["1", "0", "3", "2"]
    assert [bo[f"2031-W{week}"] for week in ("10 tried", "10 right", "11 tried", "11 right")] \
        == ["3", "1", "0", "0"]


def test_the_grid_marks_by_shape_and_word(handed_in):
    page = class_page(collect(handed_in))
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.partition("<body>")[2]))
    assert "Ada ✓ right ◐ → ✓ right" in text  # lesson 01: recall, down time
    assert "Bo ✗ → ✓ right" in text           # lesson 04: isolation
    assert "Ada 0 of 1 2 of 3" in text and "Bo 1 of 3" in text


def test_safety_stands_first_whatever_its_count(tmp_path):
    for number in range(3):
        hand_in(tmp_path, f"{'x' * (number + 1)}", ("02-chain-down", "10.671 min/a", number))
    hand_in(tmp_path, "one", UNSAFE + (0,))
    table = collect(tmp_path)
    assert dict(table.misconceptions) == {"M37": 1, "M04": 3}
    assert list(table.misconceptions) == ["M37", "M04"]
    lines = table.to_text().splitlines()
    assert lines[1].startswith("Safety first") and lines[2].startswith("  M37    1")
    page = class_page(table)
    assert page.index("M37") < page.index("First try and last") and "Met by 1." in page


def test_the_register_marks_what_calls_safe_or_isolated_what_is_not():
    marked = [entry.id for entry in REGISTER if entry.safety]
    assert marked == ["M22", "M27", "M37"]


def test_own_words_have_no_names_unless_asked_for(tmp_path):
    words = ("01-first-failures", "all because it is <b>built</b> for that", 0)
    hand_in(tmp_path, "Zoë", words, ("01-first-failures", "all because zzz", 1))
    hand_in(tmp_path, "Bob", ("01-first-failures", "all because they age", 0))
    table = collect(tmp_path)
    page = aloud_page(table)
    assert not re.search("Zoë|Bob", page) and "they age" in page
    assert page.index("they age") < page.index("zzz")          # by the words, not by the learner
    assert "built" not in page                                    # what was written last
    assert page.count("<h2>Predict: a hundred controllers (01-first-failures)</h2>") == 1
    hand_in(tmp_path, "Cy", ("01-first-failures", "all because they age", 0))
    assert "“they age” (2 times)" in aloud_page(collect(tmp_path))     # as of two who have talked
    named = aloud_page(table, names=True)
    assert named.index("<b>Bob:</b>") < named.index("<b>Zoë:</b>")


def test_free_cells_of_a_table_are_read_aloud(tmp_path):
    item, place = next((item, place) for number in ("01", "04", "12")
                       for item in lesson_of(f"{number}-").items if hasattr(item, "open_cells")
                       for place, cell in item.open_cells().items() if cell.own_words)
    hand_in(tmp_path, "Ada", (item.id, {place: "Ask <i>the</i> store."}, 0))
    page = aloud_page(collect(tmp_path))
    assert "Ask &lt;i&gt;the&lt;/i&gt; store." in page and " / ".join(place) in page


def test_who_needs_a_talk_and_why(handed_in):
    """Ada: unsafe at the last try. Bo went right at last. Six questions, two right: 2 of 6."""
    six = [(name, "999 h", 8) for name in ("01-failures", "01-recall-percent", "01-mttr",
                                           "01-turn-3.calculate")]
    hand_in(handed_in, "Cleo", *six, ("01-downtime", "35.04 min/a", 8), ("04-isolation", "no", 8))
    hand_in(handed_in, "Dan", *six, ("01-downtime", "35.04 min/a", 8))
    hand_in(handed_in, "Eve")
    table = collect(handed_in)
    # Whatever is dated later than now counts for nothing: 2031-03-11 is the last day here.
    told = {one.label: reasons for one, reasons in table.to_talk_to(LATER + timedelta(hours=1))}
    assert sorted(told) == ["Ada", "Cleo", "Eve"]
    assert len(told["Ada"]) == 1 and told["Ada"][0].startswith(f"safety, at 04-isolation: {STOP_HERE}")
    assert told["Cleo"] == ("2 of 6 right at the last try",) and told["Eve"] == ("nothing done",)


def test_two_weeks_are_counted_from_the_last_act_of_the_class(tmp_path):
    hand_in(tmp_path, "early", ("04-isolation", "no", 0))
    hand_in(tmp_path, "late", ("04-isolation", "no", 15))
    table = collect(tmp_path)
    now = MONDAY + timedelta(days=300)
    assert [(one.label, why) for one, why in table.to_talk_to(now)] == [
        ("early", ("nothing done since 2031-03-03",))]
    # To somebody who looks a day after the Monday, the later one has a clock of tomorrow.
    assert table.to_talk_to(MONDAY + timedelta(days=1)) == ()


def test_who_falls_behind_in_one_lesson_is_named(tmp_path):
    """Ten right in lesson 01 do not hide six of six wrong in lesson 04: 10 of 16 in all."""
    def marked(number):
        return [each for each in lesson_of(f"{number}-").all_items if each.points]

    right = [(each.id, each.right_answer(lesson_of(each.id).numbers(each.case, 0)), 0)
             for each in marked("01")[:10]]
    hand_in(tmp_path, "Ben", *right, *((each.id, "not sure", 8) for each in marked("04")[:6]))
    ((ben, reasons),) = collect(tmp_path).to_talk_to(LATER + timedelta(hours=1))
    assert ben.label == "Ben" and reasons == ("0 of 6 right at the last try in lesson 04",)


def test_who_works_at_another_lesson_than_the_class_is_named(handed_in):
    """Ada and Bo are at lessons 01 and 04; lesson 02 has one of three, which is below half."""
    hand_in(handed_in, "Finn", ("02-chain-down", "1 min/a", 8))
    table = collect(handed_in)
    told = {one.label: reasons for one, reasons in table.to_talk_to(LATER + timedelta(hours=1))}
    assert told["Finn"] == ("tried lesson 02; the class is at 01, 04",) and "Bo" not in told
    page = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", class_page(table)))
    assert "Lesson 02 learner chain-down Finn ✗ not yet Nothing tried here: Ada, Bo." in page


def test_a_prediction_is_not_held_against_anybody(tmp_path):
    unsafe = next((item.id, option.key) for number in ("04", "06", "09", "10", "12")
                  for item in lesson_of(f"{number}-").items if item.predicts
                  for option in item.options if option.misconception in ("M22", "M27", "M37"))
    hand_in(tmp_path, "Ada", (unsafe[0], f"{unsafe[1]} because of this", 0))
    table = collect(tmp_path)
    assert len(table.misconceptions) == 1 and table.to_talk_to(LATER) == ()


def test_marks_are_the_points_of_the_printed_key(handed_in):
    """Ada: down time 2 + recall 2, isolation 0; Bo: isolation 1. The sums are those of the key."""
    marks = marks_of(collect(handed_in), ["01"], pass_percent=10)
    lesson = read_lesson(lesson_files()[0])
    assert f"<th>{marks.most}</th>" in key_page(lesson)
    ada, bo = rows_of(marks.to_csv())
    assert (ada["points"], bo["points"]) == ("4.0", "0.0")
    assert float(ada["per cent"]) == pytest.approx(100 * 4 / marks.most, abs=0.05)
    assert (ada["passed"], bo["passed"]) == ("yes", "no")
    assert ada["01-downtime of 2"] == "2.0" and bo["01-recall-once of 2"] == ""
    just = 100 * 4 / marks.most
    assert [rows_of(marks_of(collect(handed_in), ["01"], share).to_csv())[0]["passed"]
            for share in (just, just + 0.01)] == ["yes", "no"]


def test_the_share_of_all_points_has_one_decimal_and_a_pass_mark_is_a_share():
    """1 of 3 points are 33.3 %, and none of none are 0."""
    tried = SimpleNamespace(points=1.0)
    one = Learner("one", "", "", 1, (), (), {}, 1.0)
    vars(one)["by_item"] = {"a": (None, tried)}
    table = ClassTable((one,), (), {})
    assert [rows_of(Marks(table, points, 0).to_csv())[0]["per cent"] for points in ({"a": 1, "b": 2}, {})] == [
        "33.3", "0.0"]
    assert Marks(table, {"01-a": 1, "01-b": 2, "02-a": 1}).lessons == ("01", "02")
    tried.points = 1 / 3                          # of the points themselves two decimals stand
    assert rows_of(Marks(table, {"a": 1}).to_csv())[0]["points"] == "0.33"
    for share in (0, 100):
        assert marks_of(ClassTable((), (), {}), ["01"], share).pass_percent == share
    for share in (-0.1, 100.1):
        with pytest.raises(ValueError, match="from 0 to 100 %"):
            marks_of(table, ["01"], share)


def test_a_told_route_has_no_points(tmp_path):
    desk = Session(LearnerRecord(label="Ada"))
    for _ in range(3):
        desk.hint("01-downtime")
    desk.check("01-downtime", "35.04 min/a")
    (tmp_path / "a.json").write_text(desk.recorder.to_bundle(), "utf-8")
    (row,) = rows_of(marks_of(collect(tmp_path), ["01"]).to_csv())
    assert row["points"] == "0.0"


def test_feedback_names_right_and_asks_as_the_tutor_does(handed_in):
    ada = next(one for one in collect(handed_in).learners if one.label == "Ada")
    page = feedback_page(ada)
    right, again = page.split("<h2>What to look at again</h2>")
    assert "Right at the last try: 2 of 3" in right and "2 of 2.</b> Once in some years, Down time in a year" in right
    reply = Session().check(*UNSAFE)
    assert reply.feedback.partition(" On offer")[0] in again and "it concerns safety" in again
    assert "Speak with your instructor about Before you touch a pump" in again
    assert "size: A4" in page


def test_feedback_escapes_all_and_is_not_written_over(tmp_path):
    (tmp_path / "in").mkdir()
    for _ in range(2):
        hand_in(tmp_path / "in", "../<script>\u202e", ("01-downtime", "<script>1</script>", 0),
                ("01-downtime", "7 min/a", 1))
    data = json.loads((tmp_path / "in" / "1.json").read_text("utf-8"))
    data["attempts"] = data["attempts"][1:]
    data["attempts"][0]["when"] = "2031-03-05T08:00:00+00:00"
    (tmp_path / "in" / "1.json").write_text(
        json.dumps(data | {"checksum": checksum_of(data["attempts"])}), "utf-8")
    table = collect(tmp_path / "in")
    written = write_feedback(table, tmp_path / "out")
    assert sorted(path.name for path in written) == ["script-0-json.html", "script-1-json.html"]
    assert all(path.parent == tmp_path / "out" for path in written)
    for page in [path.read_text("utf-8") for path in written] + [class_page(table)]:
        assert "<script" not in page and "\u202e" not in page
    with pytest.raises(ValueError, match="is there already"):
        write_feedback(table, tmp_path / "out")


def test_the_command_writes_what_is_named_and_nothing_over(handed_in, tmp_path, capsys):
    files = {word: tmp_path / f"{word}.out" for word in ("csv", "page", "aloud", "marks")}
    words = [part for word, file in files.items() for part in (f"--{word}", str(file))]
    out = tmp_path / "feedback"
    assert main(["class", str(handed_in), *words, "--names", "--lesson", "01", "--pass", "50",
                 "--feedback", str(out)]) == 0
    assert all(file.is_file() for file in files.values())
    assert sorted(path.name for path in out.iterdir()) == ["Ada.html", "Bo.html"]
    for wrong in (["--page", str(files["page"])], ["--feedback", str(out)], ["--names"],
                  ["--marks", str(tmp_path / "m"), "--pass", "101"],
                  ["--marks", str(tmp_path / "m"), "--lesson", "99"], ["--pass", "50"],
                  ["--csv", str(tmp_path / "m"), "--marks", str(tmp_path / "m")]):
        assert main(["class", str(handed_in), *wrong]) == 2, wrong
    assert not (tmp_path / "m").exists() and "must be" in capsys.readouterr().err


def test_a_forged_verdict_changes_no_mark_and_no_page(handed_in, tmp_path):
    before = collect(handed_in)
    path = handed_in / "1.json"
    data = json.loads(path.read_text("utf-8"))
    for entry in data["attempts"]:
        entry |= {"verdict": "RIGHT", "misconception": None}
    path.write_text(json.dumps(data | {"checksum": checksum_of(data["attempts"])}), "utf-8")
    after = collect(handed_in)
    assert marks_of(after, ["01"]).to_csv() == marks_of(before, ["01"]).to_csv()
    assert class_page(after) == class_page(before)
    assert after.problems != before.problems


def test_half_letters_and_long_texts_stop_no_page(tmp_path):
    hand_in(tmp_path, "\ud800 label", ("01-first-failures", "all because \ud801\x1b " + "x" * 5000, 0))
    table = collect(tmp_path)
    for page in (class_page(table), aloud_page(table, names=True), feedback_page(table.learners[0])):
        page.encode()
        assert "\x1b" not in page
    assert "x" * 601 not in aloud_page(table) and "x …”" in aloud_page(table)


def test_moves_of_a_drill_are_no_tries_until_it_is_closed(tmp_path):
    hand_in(tmp_path, "Ada", ("10-drill", "describe: all is dark", 0))
    (ada,) = collect(tmp_path).learners
    assert ada.attempts == 1 and ada.tries == () and ada.acts
    assert feedback_page(ada).count("Nothing yet.") == 1


def test_an_answer_to_another_version_has_no_try_and_no_point(tmp_path):
    path = hand_in(tmp_path, "Ada", ("01-downtime", "35.04 min/a", 0))
    data = json.loads(path.read_text("utf-8"))
    data["attempts"][0]["digest"] = "another"
    path.write_text(json.dumps(data | {"checksum": checksum_of(data["attempts"])}), "utf-8")
    table = collect(tmp_path)
    assert table.learners[0].tries == () and "another way" in table.problems[0]
    (row,) = rows_of(marks_of(table, ["01"]).to_csv())
    assert row["points"] == "0"


def test_the_next_step_is_what_is_open(tmp_path):
    hand_in(tmp_path, "Ada", ("01-downtime", "35.04 min/a", 0))
    hand_in(tmp_path, "Bo", ("01-downtime", "1 min/a", 0))
    hand_in(tmp_path, "Cleo")
    steps = [feedback_page(one).partition("<h2>Next step</h2>\n<p>")[2].partition("</p>")[0]
             for one in collect(tmp_path).learners]
    assert steps[1:] == ["Answer Down time in a year (01-downtime) once more.",
                         "Begin lesson 01, One controller."]
    assert steps[0].startswith("Answer ") and "(01-" in steps[0] and "01-downtime" not in steps[0]


def class_of(of=10, acts=(), **met):
    """Return a class in which so many of the first learners met each misconception."""
    return ClassTable(tuple(
        Learner(f"{place:02d}", "", "", 1, (), (), {name: 1 for name, count in met.items()
                                                  if place < count}, 1.0, acts=acts)
        for place in range(of)), (), {})


def test_a_bar_is_thirty_marks_for_the_whole_class():
    lines = class_of(M04=3, M12=10).to_text().splitlines()
    assert "  M12   10  " + 30 * "#" in lines and "  M04    3  " + 9 * "#" in lines


def test_forty_kinds_are_listed_and_the_others_counted():
    for count, more in ((40, []), (42, ["  and 2 kinds more."])):
        lines = class_of(1, **{f"X{n:02d}": 1 for n in range(count)}).to_text().splitlines()
        assert sum(line.startswith("  X") for line in lines) == 40
        assert [line for line in lines if line.endswith("kinds more.")] == more


def test_an_act_of_this_moment_is_the_last_of_the_class():
    here, gone = (Learner(label, "", "", 1, (), (), {}, 1.0, acts=(moment,)) for label, moment in (
        ("here", LATER), ("gone", LATER - timedelta(days=15))))
    gone = replace(gone, acts=(MONDAY - timedelta(days=9), *gone.acts))       # the last of several counts
    named = ClassTable((here, gone), (), {}).to_talk_to(LATER)
    assert named == ((gone, ("nothing done since 2031-02-24",)),)


def test_who_is_to_be_talked_to_stands_under_a_heading_and_only_then():
    idle, busy = class_of(1), class_of(1, acts=(datetime.now(UTC),))
    assert [("To talk to (" in table.to_text(), "  00: nothing done" in table.to_text())
            for table in (idle, busy)] == [(True, True), (False, False)]


def test_of_many_weeks_half_a_year_is_shown_in_which_most_tried():
    weeks = [f"2031-W{number:02d}" for number in range(1, 29)]
    one, two = (Learner(label, "", "", 1, (), (), {}, 1.0, tries=tuple(
        SimpleNamespace(week=week) for week in tried)) for label, tried in (
        ("one", weeks), ("two", weeks[:2])))
    assert ClassTable((one, two), (), {}).weeks == (*weeks[:2], *weeks[4:])


def test_a_class_stands_by_the_letters_of_its_names_and_says_where_most_met_something(tmp_path):
    for name in ("Zoe", "Élodie", "ada", "Fred"):
        hand_in(tmp_path, name, *[(f"{item}", "not by any rule", 0) for item in ("01-downtime",)])
    table = collect(tmp_path)
    assert [one.name for one in table.learners] == ["ada", "Élodie", "Fred", "Zoe"]
    places = {f"0{n}-x": 9 - n for n in range(1, 9)}
    met = ClassTable(table.learners, (), {}, {"M01": places}).met_at("M01")
    assert met == "01-x (8), 02-x (7), 03-x (6), 04-x (5), 05-x (4), 06-x (3), and at 2 more"
    just = {"M01": {name: count for name, count in places.items() if count > 2}}
    assert ClassTable((), (), {}, just).met_at("M01") == met.partition(", and")[0]


def test_a_lesson_of_many_questions_says_in_each_piece_which_of_them_it_shows(tmp_path):
    hand_in(tmp_path, "Ada", *[(each.id, "not sure", 0) for each in (
        *lesson_of("01-x").items, lesson_of("02-x").items[0])])
    table = collect(tmp_path)
    first = [name for name in table.tried if name.startswith("01-")]
    assert len(first) > 20
    heads = re.findall("<h3>(.+?)</h3>", class_page(table))
    pieces = [re.fullmatch(r"Lesson 01, questions (\d+) to (\d+) of (\d+)", each) for each in heads[:-1]]
    ends = [tuple(map(int, each.groups())) for each in pieces]
    assert [begin for begin, *_ in ends] == [1, *(end + 1 for _, end, _ in ends[:-1])]
    assert {of for *_, of in ends} == {len(first)} == {ends[-1][1]} and len(ends) == 3
    assert all(1 < end - begin + 1 <= 10 for begin, end, _ in ends)
    assert heads[-1] == "Lesson 02"
