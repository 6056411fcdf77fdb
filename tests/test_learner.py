"""The learner's record: whole after each action, shared by two notebooks, never half a file."""

import csv
import doctest
import io
import json
import multiprocessing
import os
from datetime import UTC, datetime, timedelta

import pytest

from labkit.exercises import learner
from labkit.exercises.recording import Attempt
from labkit.exercises.learner import FOLDER_VARIABLE, LearnerRecord, open_record, read_bundle

BEGIN = datetime(2031, 3, 3, 8, 0, tzinfo=UTC)


def attempt(number=0, verdict="RIGHT", item_id="01-downtime", **more):
    when = (BEGIN + timedelta(minutes=number)).isoformat(timespec="seconds")
    return Attempt(item_id, 0, when, "answer", "35 min/a", verdict, 35.0, **more)


def test_doctests():
    result = doctest.testmod(learner)
    assert result.attempted > 0 and result.failed == 0


def test_record_outlives_the_kernel(tmp_path):
    record = LearnerRecord(tmp_path / "deep" / "folder", label="7")
    for number in range(3):
        record.add(attempt(number))
    again = LearnerRecord(tmp_path / "deep" / "folder")
    assert again.attempts() == record.attempts() and len(again.attempts()) == 3
    assert again.label == "7" and again.problem == ""


def test_five_old_ones_are_kept_and_no_half_file_is_left(tmp_path):
    record = LearnerRecord(tmp_path)
    for number in range(9):
        record.add(attempt(number))
    names = sorted(path.name for path in tmp_path.iterdir())
    assert names == ["record.1.json", "record.2.json", "record.3.json", "record.4.json",
                     "record.5.json", "record.json"]
    counts = [len(json.loads((tmp_path / name).read_text())["attempts"]) for name in names]
    assert counts == [8, 7, 6, 5, 4, 9]


def test_two_notebooks_lose_nothing(tmp_path):
    one, two = LearnerRecord(tmp_path), LearnerRecord(tmp_path)
    one.add(attempt(1))
    two.add(attempt(2))
    one.add(attempt(3))
    assert len(LearnerRecord(tmp_path).attempts()) == 3


def _write(folder, begin):
    record = LearnerRecord(folder)
    for number in range(begin, begin + 10):
        record.add(attempt(number))


def test_two_kernels_at_once_lose_nothing(tmp_path):
    context = multiprocessing.get_context("spawn")
    workers = [context.Process(target=_write, args=(tmp_path, begin)) for begin in (0, 100)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
        assert worker.exitcode == 0
    assert len(LearnerRecord(tmp_path).attempts()) == 20


def test_damaged_file_falls_back_to_the_newest_copy(tmp_path):
    record = LearnerRecord(tmp_path)
    for number in range(3):
        record.add(attempt(number))
    (tmp_path / "record.json").write_text('{"format": 1, "kind": "rec')
    again = LearnerRecord(tmp_path)
    assert len(again.attempts()) == 2
    again.add(attempt(9))
    assert len(LearnerRecord(tmp_path).attempts()) == 3
    assert list(tmp_path.glob("record.damaged-*.json"))


def test_folder_that_cannot_be_written_goes_on_in_memory(tmp_path):
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder should be")
    record = LearnerRecord(blocked)
    record.add(attempt())
    assert len(record.attempts()) == 1
    assert "kept in memory only" in record.problem and "blocked" in record.problem


def test_full_disk_loses_nothing_and_recovers(tmp_path, monkeypatch):
    record = LearnerRecord(tmp_path)
    record.add(attempt(0))

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(learner.os, "replace", full)
        record.add(attempt(1))
        assert "No space left on device" in record.problem
    assert len(json.loads((tmp_path / "record.json").read_text())["attempts"]) == 1
    record.add(attempt(2))
    assert record.problem == "" and len(LearnerRecord(tmp_path).attempts()) == 3


def test_stale_lock_is_broken(tmp_path, monkeypatch):
    monkeypatch.setattr(learner, "LOCK_STALE_S", 0.05)
    (tmp_path / "record.json.lock").write_text("")
    record = LearnerRecord(tmp_path)
    record.add(attempt())
    assert record.problem == "" and not (tmp_path / "record.json.lock").exists()


def test_older_form_loads(tmp_path):
    from dataclasses import asdict
    (tmp_path / "record.json").write_text(json.dumps({
        "format": 0, "kind": "record", "label": "old", "course": "0.0.1",
        "attempts": [asdict(attempt(0)), asdict(attempt(1))]}))
    record = LearnerRecord(tmp_path)
    assert len(record.attempts()) == 2 and record.label == "old"
    record.add(attempt(2))
    assert len(LearnerRecord(tmp_path).attempts()) == 3


def test_newer_form_is_set_aside_and_not_written_over(tmp_path):
    newer = json.dumps({"format": 99, "kind": "record", "label": "x", "attempts": {}})
    (tmp_path / "record.json").write_text(newer)
    LearnerRecord(tmp_path).add(attempt())
    assert [path.read_text() for path in tmp_path.glob("record.damaged-*.json")] == [newer]


def test_delete_leaves_nothing(tmp_path):
    record = LearnerRecord(tmp_path)
    for number in range(3):
        record.add(attempt(number))
    record.delete()
    assert record.attempts() == () and list(tmp_path.iterdir()) == []


def test_bundle_goes_to_another_machine(tmp_path):
    record = LearnerRecord(tmp_path / "a", label="Zoë")
    record.add(attempt(0, "LOOK_AGAIN", misconception="M04"))
    record.add(attempt(1))
    text = record.to_bundle()
    other = LearnerRecord(tmp_path / "b")
    assert other.take_bundle(text) == 2
    assert other.take_bundle(text) == 0
    assert other.attempts() == record.attempts() and other.label == "Zoë"
    bundle = read_bundle(text)
    assert bundle.label == "Zoë" and bundle.minutes_active == 1.0


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda data: data.update(kind="recipe"), "kind must be 'bundle'"),
        (lambda data: data["attempts"][0].update(raw="36"), "the file is damaged"),
        (lambda data: data.update(attempts={}), "attempts must be a list"),
        (lambda data: data.update(label=3), "label and course must be text"),
        (lambda data: data.update(attempts=[{"a": 1}],
                                  checksum=learner.checksum_of([{"a": 1}])), "each attempt must"),
    ],
)
def test_bad_bundle_is_refused(change, words):
    record = LearnerRecord()
    record.add(attempt())
    data = json.loads(record.to_bundle())
    change(data)
    with pytest.raises(ValueError, match=words):
        read_bundle(json.dumps(data))


def test_bundle_that_is_no_json():
    with pytest.raises(ValueError, match="a bundle must be JSON"):
        read_bundle("print('run me')")


def test_pauses_do_not_count_as_work():
    record = LearnerRecord()
    for number in (0, 2, 3, 63, 64):
        record.add(attempt(number))
    assert learner.minutes_active(record.attempts()) == 4.0


def test_exports():
    record = LearnerRecord(label="<7>")
    record.add(attempt(0, "LOOK_AGAIN", misconception="M04"))
    record.add(attempt(1))
    rows = list(csv.DictReader(io.StringIO(record.to_csv())))
    assert [row["verdict"] for row in rows] == ["LOOK_AGAIN", "RIGHT"]
    report = record.to_report()
    assert "&lt;7&gt;" in report and "M04: 1" in report and "look again 1, right 1" in report


def test_record_in_memory_when_no_folder_is_named(tmp_path, monkeypatch):
    monkeypatch.delenv(FOLDER_VARIABLE, raising=False)
    assert open_record().path is None
    monkeypatch.setenv(FOLDER_VARIABLE, os.fspath(tmp_path))
    assert open_record().path == tmp_path / "record.json"


def test_empty_label_is_refused():
    with pytest.raises(ValueError, match="label must not be empty, got ' '"):
        LearnerRecord().label = " "
