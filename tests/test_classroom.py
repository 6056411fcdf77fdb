"""A folder of bundles: planted misconceptions are found, and bad files harm nothing."""

import csv
import io
import itertools
import json
import os
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from lessons.exercises.learner_record import LearnerRecord, checksum_of
from lessons.exercises.session import Session
from lessons.teaching.class_table import collect

PLANTED = {"M04": 17, "M01": 9, "M21": 4}
MISTAKES = {"M04": ("02-chain-down", "10.671 min/a"), "M01": ("01-first-failures", "all because x"),
            "M21": ("06-short-hold", "still because x")}
RIGHT = {"01-downtime": "35 min/a", "01-recall-once": "0.125 /a", "02-chain-down": "42.68 min/a"}


def bundle(label, mistakes=(), right=("01-downtime",), attempts=0):
    return record_of(label, mistakes, right, attempts).to_bundle()


def record_of(label, mistakes=(), right=("01-downtime",), attempts=0):
    """Return a record of answers given for real; each label has its own hour."""
    hour = datetime(2031, 3, 1 + (int(label) if label.isdigit() else 8), 8, tzinfo=UTC)
    times = (hour + timedelta(minutes=minute) for minute in itertools.count())
    desk = Session(LearnerRecord(label=label), clock=lambda: next(times).isoformat())
    for name in mistakes:
        desk.check(*MISTAKES[name])
    for item in (*right, *right[:1] * attempts):
        desk.check(item, RIGHT[item])
    return desk.recorder


@pytest.fixture
def class_folder(tmp_path):
    draw = random.Random(1)
    chosen = {name: set(draw.sample(range(30), count)) for name, count in PLANTED.items()}
    for number in range(30):
        mistakes = [name for name in PLANTED if number in chosen[name]]
        (tmp_path / f"learner_{number:02d}.json").write_text(
            bundle(f"{number:02d}", mistakes), "utf-8")
    return tmp_path


def of_another_version(text, *misconceptions):
    """Return a bundle with answers to a question that this version does not ask."""
    data = json.loads(text)
    data["attempts"] = [data["attempts"][0] | {"misconception": name, "digest": "another"}
                        for name in misconceptions]
    return json.dumps(data | {"checksum": checksum_of(data["attempts"])})


def test_planted_misconceptions_are_found(class_folder):
    table = collect(class_folder)
    assert len(table.learners) == 30 and table.problems == ()
    assert dict(table.misconceptions) == PLANTED
    assert list(table.misconceptions) == ["M04", "M01", "M21"]
    assert table.items["01-downtime"] == (30, 30)
    assert table.items["02-chain-down"][0] == 0
    rows = list(csv.DictReader(io.StringIO(table.to_csv())))
    assert rows[-1]["M04"] == "17" and len(rows) == 31
    assert dict(table.places["M04"]) == {"02-chain-down": 17}
    lines = table.to_text().splitlines()
    words = next(place for place, line in enumerate(lines) if "M04   17" in line) + 1
    assert "average" in lines[words] and lines[words].endswith("Met at 02-chain-down (17).")
    items = lines[lines.index("Items, learners who got it right at any try of those who tried, what went worst "
                              "first:") + 1:]
    assert items[0].startswith("  02-chain-down: 0 of") and items[-1] == "  right by all who tried: 1 more"


def test_a_misconception_of_another_course_is_counted(tmp_path):
    (tmp_path / "one.json").write_text(of_another_version(bundle("one"), "X99"), "utf-8")
    table = collect(tmp_path)
    assert dict(table.misconceptions) == {"X99": 1} and "Not one of this course" in table.to_text()


def test_bad_files_are_listed_and_harm_nothing(class_folder):
    good = (class_folder / "learner_00.json").read_text("utf-8")
    (class_folder / "again.json").write_text(good, "utf-8")
    (class_folder / "cut.json").write_text(good[:200], "utf-8")
    (class_folder / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0" * 50)
    (class_folder / "changed.json").write_text(good.replace('"35 min/a"', '"36 min/a"'), "utf-8")
    (class_folder / "program.json").write_text("__import__('os').remove('x')", "utf-8")
    (class_folder / "deep.json").write_text("[" * 100_000, "utf-8")
    longer = json.loads((class_folder / "learner_01.json").read_text("utf-8"))
    more = json.loads(bundle("01", (), attempts=9))
    (class_folder / "longer.json").write_text(
        json.dumps(more | {"identity": longer["identity"]}), "utf-8")
    table = collect(class_folder)
    assert len(table.learners) == 30
    text = "\n".join(table.problems)
    assert len(table.problems) == 7
    assert "again.json: the same as learner_00.json" in text
    assert "changed.json: checksum must fit" in text
    assert "photo.jpg: line 1: must be text in UTF-8, got byte 0x" in text
    assert "learner_01.json: a second bundle of '01'; longer.json has more and counts" in text
    assert {name.split(":")[0] for name in table.problems} >= {
        "cut.json", "photo.jpg", "program.json", "deep.json"}


def test_five_hundred_bundles(tmp_path):
    data = json.loads(bundle("0", ["M04"], attempts=12))
    for number in range(500):
        data["label"] = data["identity"] = str(number)
        for entry in data["attempts"]:
            entry["when"] = f"2031-03-03T{number // 60:02d}:{number % 60:02d}:00+00:00"
        data["checksum"] = checksum_of(data["attempts"])
        (tmp_path / f"{number}.json").write_text(json.dumps(data), "utf-8")
    assert len(collect(tmp_path).learners) == 500


def test_forged_verdicts_count_nothing_and_are_told(tmp_path):
    data = json.loads(bundle("x", ["M04", "M01"], right=()))
    for entry in data["attempts"]:
        entry |= {"verdict": "RIGHT", "misconception": None}
    data["checksum"] = checksum_of(data["attempts"])
    (tmp_path / "x.json").write_text(json.dumps(data), "utf-8")
    table = collect(tmp_path)
    assert table.learners[0].right == () and dict(table.misconceptions) == {"M01": 1, "M04": 1}
    assert table.problems == (
        "x.json: 2 verdicts do not fit what was typed; what was typed counts",)
    assert table.to_text().splitlines()[0] == "1 learner, 1 remark on files."


def test_no_folder_is_refused(tmp_path):
    with pytest.raises(ValueError, match="folder must be a folder"):
        collect(tmp_path / "nothing")


def test_empty_folder_is_an_empty_class(tmp_path):
    table = collect(tmp_path)
    assert table.learners == ()
    assert table.to_text().splitlines()[0] == "0 learners, 0 remarks on files."


def hand_in(folder, name, text, day):
    path = folder / name
    path.write_text(text, "utf-8")
    os.utime(path, (day * 86_400, day * 86_400))


def test_two_learners_of_one_name_are_two(tmp_path):
    for number, right in enumerate((("01-downtime",), ("01-recall-once", "01-downtime"))):
        hand_in(tmp_path, f"{number}.json", bundle("Anna", right=right), 1)
    table = collect(tmp_path)
    assert [(one.label, len(one.right)) for one in table.learners] == [("Anna", 1), ("Anna", 2)]
    assert len({one.name for one in table.learners}) == 2, "a page tells them apart"
    assert table.problems == () and all("1970-01-02" in one.handed_in for one in table.learners)


@pytest.mark.parametrize("keep_identity", [True, False])
def test_a_copy_under_another_name_is_told_and_counts_for_nobody(keep_identity, tmp_path):
    own = record_of("Anna", ["M04", "M01"])
    data = json.loads(own.to_bundle()) | {"label": "Bob"}
    if not keep_identity:
        data["identity"] = "0" * 32
    hand_in(tmp_path, "a_copy.json", json.dumps(data), 2)
    hand_in(tmp_path, "b_own.json", own.to_bundle(), 1)
    table = collect(tmp_path)
    assert [one.label for one in table.learners] == ["Anna"]
    (told,) = table.problems
    assert told.startswith("a_copy.json: 'Bob'") and "the copy counts for nobody" in told
    # Of one record it may be one person, who should know how to get both weeks counted.
    assert ("take b_own.json away" in told) == keep_identity


def test_one_answer_in_the_same_second_is_no_copy(tmp_path):
    for name in ("Anna", "Bob"):
        hand_in(tmp_path, f"{name}.json", bundle(name), 1)
    assert len(collect(tmp_path).learners) == 2


@pytest.mark.parametrize(("taken", "learners"), [(4, 2), (5, 1)])
def test_a_record_is_a_copy_once_most_of_it_is_of_another(taken, learners, tmp_path):
    """Nine answers: four of another are less than half of them, five are more."""
    hand_in(tmp_path, "own.json", bundle("Anna", attempts=7), 1)
    data = json.loads(bundle("3", attempts=8 - taken))
    data["attempts"] += json.loads(bundle("Anna", attempts=7))["attempts"][:taken]
    assert len(data["attempts"]) == 9
    data["checksum"] = checksum_of(data["attempts"])
    hand_in(tmp_path, "other.json", json.dumps(data), 2)
    assert len(collect(tmp_path).learners) == learners


ODD = [
    {"misconception": ["M04"]}, {"misconception": 4}, {"raw": None}, {"digest": {}},
    {"when": "2031-13-03T08:00:00+00:00"}, {"when": "9" * 400}, {"item_id": 1}, {"seed": 1.5},
    {"verdict": []}, {"kind": 0}, {"course": None},
]


@pytest.mark.parametrize("odd", ODD, ids=lambda odd: next(iter(odd)))
def test_one_odd_field_takes_the_table_from_nobody(odd, tmp_path):
    data = json.loads(bundle("odd"))
    data["attempts"][0] |= odd
    data["checksum"] = checksum_of(data["attempts"])
    (tmp_path / "odd.json").write_text(json.dumps(data), "utf-8")
    (tmp_path / "good.json").write_text(bundle("good"), "utf-8")
    table = collect(tmp_path)
    assert [one.label for one in table.learners] == ["good"]
    assert table.problems[0].startswith("odd.json: ") and table.to_text() and table.to_csv()


def test_half_letters_and_turned_letters_reach_no_terminal(tmp_path):
    label = "\ud800\u202e\x1b[2J=1"
    (tmp_path / "odd.json").write_text(json.dumps(
        json.loads(of_another_version(bundle("x"), "\ud801\x1b")) | {"label": label}), "utf-8")
    table = collect(tmp_path)
    assert len(table.learners) == 1
    table.to_csv().encode()
    assert table.to_text().isprintable() or "\n" in table.to_text()
    assert not set("\x1b\u202e") & set(table.to_text())


def test_a_folder_that_cannot_be_opened_is_told(class_folder, monkeypatch):
    (class_folder / "late").mkdir()
    within = Path.iterdir

    def refused(folder):
        if folder.name == "late":
            raise PermissionError(13, "Permission denied", str(folder))
        return within(folder)

    monkeypatch.setattr(Path, "iterdir", refused)
    assert f"{class_folder / 'late'}: Permission denied" in collect(class_folder).problems


@pytest.mark.skipif(os.name != "posix", reason="names of other bytes, links and pipes")
def test_no_name_no_link_and_no_pipe_hangs_the_table(tmp_path):
    (tmp_path / "good.json").write_text(bundle("good"), "utf-8")
    with open(os.fsencode(tmp_path) + b"/\xff.json", "w") as file:
        file.write("no bundle")
    (tmp_path / "zero.json").symlink_to("/dev/zero")
    (tmp_path / "around").symlink_to(tmp_path)
    os.mkfifo(tmp_path / "pipe.json")
    table = collect(tmp_path)
    assert len(table.learners) == 1 and len(table.problems) == 1
    table.to_text().encode()


def test_ten_thousand_kinds_of_mistake_take_no_minute(tmp_path):
    kinds = [f"X{number}" for number in range(10_000)]
    (tmp_path / "x.json").write_text(of_another_version(bundle("x"), *kinds), "utf-8")
    table = collect(tmp_path)
    assert len(table.misconceptions) == 10_000
    assert "and 9960 kinds more." in table.to_text() and len(table.to_text()) < 10_000
