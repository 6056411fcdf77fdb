"""A folder of bundles: planted misconceptions are found, and bad files harm nothing."""

import csv
import io
import json
import random

import pytest

from lessons.exercises.attempts import Attempt
from lessons.exercises.learner_record import LearnerRecord
from lessons.teaching.class_table import collect

PLANTED = {"M04": 17, "M12": 9, "M21": 4}


def bundle(label, mistakes=(), right=("01-downtime",), attempts=0):
    record = LearnerRecord(label=label)
    number = 0
    for name in mistakes:
        record.add(Attempt("02-product", 3, f"2031-03-03T08:{number:02d}:00+00:00", "answer",
                           "0.9913", "LOOK_AGAIN", 0.9913, name))
        number += 1
    for item in (*right, *("01-size",) * attempts):
        record.add(Attempt(item, 0, f"2031-03-03T08:{number % 60:02d}:00+00:00", "answer", "35",
                           "RIGHT", 35.0))
        number += 1
    return record.to_bundle()


@pytest.fixture
def class_folder(tmp_path):
    draw = random.Random(1)
    chosen = {name: set(draw.sample(range(30), count)) for name, count in PLANTED.items()}
    for number in range(30):
        mistakes = [name for name in PLANTED if number in chosen[name]]
        (tmp_path / f"learner_{number:02d}.json").write_text(
            bundle(f"{number:02d}", mistakes), "utf-8")
    return tmp_path


def test_planted_misconceptions_are_found(class_folder):
    table = collect(class_folder)
    assert len(table.learners) == 30 and table.problems == ()
    assert dict(table.misconceptions) == PLANTED
    assert list(table.misconceptions) == ["M04", "M12", "M21"]
    assert table.items["01-downtime"] == (30, 30)
    assert table.items["02-product"][0] == 0
    rows = list(csv.DictReader(io.StringIO(table.to_csv())))
    assert rows[-1]["M04"] == "17" and len(rows) == 31
    assert dict(table.places["M04"]) == {"02-product": 17}
    lines = table.to_text().splitlines()
    words = next(place for place, line in enumerate(lines) if "M04   17" in line) + 1
    assert "average" in lines[words] and lines[words].endswith("Met at 02-product (17).")
    items = lines[lines.index("Items, right of tried, what went worst first:") + 1:]
    assert items[0].startswith("  02-product: 0 of") and items[1] == "  01-downtime: 30 of 30"


def test_a_misconception_of_another_course_is_counted(tmp_path):
    (tmp_path / "one.json").write_text(bundle("one", ["X99"]), "utf-8")
    table = collect(tmp_path)
    assert dict(table.misconceptions) == {"X99": 1} and "Not one of this course" in table.to_text()


def test_bad_files_are_listed_and_harm_nothing(class_folder):
    good = (class_folder / "learner_00.json").read_text("utf-8")
    (class_folder / "again.json").write_text(good, "utf-8")
    (class_folder / "cut.json").write_text(good[:200], "utf-8")
    (class_folder / "photo.jpg").write_bytes(b"\xff\xd8\xff\xe0" * 50)
    (class_folder / "changed.json").write_text(good.replace('"35"', '"36"'), "utf-8")
    (class_folder / "program.json").write_text("__import__('os').remove('x')", "utf-8")
    (class_folder / "deep.json").write_text("[" * 100_000, "utf-8")
    (class_folder / "longer.json").write_text(bundle("01", (), attempts=9), "utf-8")
    table = collect(class_folder)
    assert len(table.learners) == 30
    text = "\n".join(table.problems)
    assert len(table.problems) == 7
    assert "learner_00.json: the same as again.json" in text
    assert "changed.json: checksum must fit" in text
    assert "photo.jpg: a bundle must be text, got other bytes" in text
    assert "a second bundle of '01'; longer.json has more and counts" in text
    assert {name.split(":")[0] for name in table.problems} >= {
        "cut.json", "photo.jpg", "program.json", "deep.json"}


def test_five_hundred_bundles(tmp_path):
    data = json.loads(bundle("0", ["M04"], attempts=60))
    for number in range(500):
        data["label"] = str(number)
        (tmp_path / f"{number}.json").write_text(json.dumps(data), "utf-8")
    seen = []
    table = collect(tmp_path, progress=lambda done, of: seen.append((done, of)))
    assert len(table.learners) == 500 and seen[-1] == (500, 500)


def test_no_folder_is_refused(tmp_path):
    with pytest.raises(ValueError, match="folder must be a folder"):
        collect(tmp_path / "nothing")


def test_empty_folder_is_an_empty_class(tmp_path):
    table = collect(tmp_path)
    assert table.learners == () and table.to_text().startswith("0 learners")
