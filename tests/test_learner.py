"""The learner's record: whole after each action, shared by two notebooks, never half a file."""

import csv
import io
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import time
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from functools import partial
from types import SimpleNamespace

import pytest

from lessons.desk.learner_folder import lay_lessons
from lessons.exercises import learner_record as learner
from lessons.exercises.attempts import Attempt
from lessons.exercises.judging_again import judged_again
from lessons.exercises.learner_record import (
    FOLDER_VARIABLE,
    LearnerRecord,
    minutes_active,
    open_record,
    read_bundle,
)
from lessons.exercises.progress import trouble_text
from lessons.exercises.session import Session
from lessons.teaching.class_tries import first_and_last, tries_of

BEGIN = datetime(2031, 3, 3, 8, 0, tzinfo=UTC)


def attempt(number=0, verdict="RIGHT", item_id="01-downtime", **more):
    when = (BEGIN + timedelta(minutes=number)).isoformat(timespec="seconds")
    return Attempt(item_id, 0, when, "answer", "35 min/a", verdict, 35.0, **more)


def test_record_outlives_the_kernel(tmp_path):
    record = LearnerRecord(tmp_path / "deep" / "folder", label="7")
    for number in range(3):
        record.add(attempt(number))
    again = LearnerRecord(tmp_path / "deep" / "folder")
    assert again.attempts() == record.attempts() and len(again.attempts()) == 3
    assert again.label == "7" and again.problem == ""


def test_a_clock_that_was_set_back_puts_no_answer_before_another(tmp_path):
    """What is judged by the last answer, or by what was shown before it, keeps to the order."""
    record = LearnerRecord(tmp_path)
    desk = Session(record, clock=iter([attempt(9).when, attempt(0).when]).__next__)
    desk.check("01-downtime", "240 min/a")
    desk.check("01-downtime", "35 min/a")
    again = judged_again(read_bundle(LearnerRecord(tmp_path).to_bundle()).attempts)
    (first, last), = first_and_last(tries_of(again)).values()
    assert (first.right, last.right) == (False, True) and first.when > last.when
    # Another machine's answers are set among one's own by the time of day.
    other = LearnerRecord()
    other.add(attempt(5))
    other.take_bundle(record.to_bundle())
    assert [each.when for each in other.attempts()] == [attempt(at).when for at in (0, 5, 9)]


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


@pytest.mark.parametrize("change", [{"kind": "recipe"}, {"label": 3}, {"identity": 5}])
def test_what_only_looks_like_a_record_is_set_aside(change, tmp_path):
    record = LearnerRecord(tmp_path)
    for number in range(2):
        record.add(attempt(number))
    file = tmp_path / "record.json"
    file.write_text(json.dumps(json.loads(file.read_text()) | change))
    again = LearnerRecord(tmp_path)
    assert len(again.attempts()) == 1 and len(again.set_aside) == 1


def test_folder_that_cannot_be_written_goes_on_in_memory(tmp_path):
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where the folder should be")
    record = LearnerRecord(blocked)
    record.add(attempt())
    assert len(record.attempts()) == 1
    assert "Kept in memory only" in record.problem and "blocked" in record.problem


def test_full_disk_loses_nothing_and_recovers(tmp_path, monkeypatch):
    record = LearnerRecord(tmp_path)
    record.add(attempt(0))

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    for place in ("fsync", "replace"):
        with monkeypatch.context() as patched:
            patched.setattr(learner.os, place, full)
            record.add(attempt(1))
            assert "No space left on device" in record.problem
        assert len(json.loads((tmp_path / "record.json").read_text())["attempts"]) == 1
        assert max(path.name for path in tmp_path.iterdir()) == "record.json"
    record.add(attempt(2))
    assert record.problem == "" and len(LearnerRecord(tmp_path).attempts()) == 4


def test_disk_that_fills_while_the_old_one_is_kept_harms_no_copy(tmp_path, monkeypatch):
    record = LearnerRecord(tmp_path)
    for number in range(7):
        record.add(attempt(number))
    before = {path: path.read_text() for path in tmp_path.iterdir()}
    calls = []

    def full_at_the_second(*_):
        calls.append(1)
        if len(calls) == 2:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(learner.os, "fsync", full_at_the_second)
    record.add(attempt(7))
    assert "No space" in record.problem
    assert {path: path.read_text() for path in tmp_path.iterdir()} == before


def test_folder_without_leave_to_write_is_named_at_once(tmp_path, monkeypatch):
    LearnerRecord(tmp_path).add(attempt())
    monkeypatch.setattr(learner.os, "access", lambda *_: False)
    record = LearnerRecord(tmp_path)
    assert "no leave to write there" in record.problem and len(record.attempts()) == 1


def test_stale_lock_is_broken(tmp_path, monkeypatch):
    monkeypatch.setattr(learner, "LOCK_STALE_S", 0.05)
    (tmp_path / "record.json.lock").write_text("")
    record = LearnerRecord(tmp_path)
    record.add(attempt())
    assert record.problem == "" and not (tmp_path / "record.json.lock").exists()


def test_lock_that_others_keep_taking_is_not_stale(tmp_path, monkeypatch):
    """Time stands but for the waits of the record; in each of them somebody takes the lock anew."""
    record, lock = LearnerRecord(tmp_path), tmp_path / "record.json.lock"
    lock.write_text("")
    waited = []

    def others(_):
        waited.append(learner.LOCK_STALE_S / 2)
        if len(waited) > 10:
            lock.unlink(missing_ok=True)
            return
        fresh = tmp_path / "fresh"
        fresh.write_text("")
        os.replace(fresh, lock)

    monkeypatch.setattr(learner, "time", SimpleNamespace(
        monotonic=lambda: sum(waited), sleep=others, time=time.time))
    record.add(attempt())
    assert len(waited) == 11 and record.problem == ""


WRITER = """
import itertools
import sys
from lessons.exercises.learner_record import LearnerRecord
from lessons.exercises.attempts import Attempt
from lessons.exercises.judging_again import judged_again
record = LearnerRecord(sys.argv[1])
for number in itertools.count():
    record.add(Attempt("01-mttr", 0, "2031-03-03T08:00:00+00:00", "hint", "x" * 2000, "HINT"))
    if number == 1:
        print("two are written", flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_kernel_killed_while_it_writes_leaves_a_whole_file(tmp_path, monkeypatch):
    monkeypatch.setattr(learner, "LOCK_STALE_S", 0.05)
    kept = 0
    for pause_s in (0.2, 0.23, 0.31):
        writer = subprocess.Popen([sys.executable, "-c", WRITER, tmp_path],
                                  stdout=subprocess.PIPE)
        writer.stdout.readline()
        time.sleep(pause_s)
        writer.send_signal(signal.SIGKILL)
        writer.communicate()
        if (tmp_path / "record.json").exists():
            json.loads((tmp_path / "record.json").read_text("utf-8"))
        record = LearnerRecord(tmp_path)
        assert len(record.attempts()) >= kept and not record.set_aside
        record.add(attempt())
        kept = len(record.attempts())
        assert record.problem == ""
    assert kept > 3


def test_older_form_without_digests_loads_and_is_not_altered(tmp_path):
    old = {name: value for name, value in asdict(attempt(0)).items()
           if name not in ("digest", "course")}
    (tmp_path / "record.json").write_text(json.dumps({
        "format": 1, "kind": "record", "label": "old", "course": "0.0.1", "attempts": {"a": old}}))
    record = LearnerRecord(tmp_path)
    assert record.attempts() == (attempt(0),) and record.attempts()[0].digest == ""
    record.add(attempt(1, digest="01234567", course="0.1.0"))
    assert json.loads(record.path.read_text())["attempts"]["a"] == old


def test_what_a_newer_version_wrote_is_left_as_it_is(tmp_path):
    newer = json.dumps({"format": 99, "kind": "record", "label": "x", "attempts": {}})
    (tmp_path / "record.json").write_text(newer)
    record = LearnerRecord(tmp_path)
    record.add(attempt())
    assert "a newer version of the course wrote the record" in record.problem
    assert len(record.attempts()) == 1
    assert [path.read_text() for path in tmp_path.iterdir()] == [newer]


def test_fields_of_a_newer_version_are_carried_on(tmp_path):
    newer = {**asdict(attempt()), "mood": "good"}
    (tmp_path / "record.json").write_text(json.dumps({
        "format": 1, "kind": "record", "label": "x", "course": "9", "attempts": {"a": newer}}))
    record = LearnerRecord(tmp_path)
    record.add(attempt(1))
    assert json.loads(record.path.read_text())["attempts"]["a"] == newer


def test_delete_leaves_nothing(tmp_path):
    record = LearnerRecord(tmp_path)
    for number in range(3):
        record.add(attempt(number))
    (tmp_path / "record.damaged-5.json").write_text("{")
    mine = tmp_path / "record_of_music.json"
    mine.write_text("mine")
    record.delete()
    assert record.attempts() == () and list(tmp_path.iterdir()) == [mine]
    assert record.label == learner.NO_LABEL


def test_what_one_notebook_deletes_no_other_writes_back(tmp_path):
    one, two = LearnerRecord(tmp_path), LearnerRecord(tmp_path)
    one.add(attempt(1))
    two.add(attempt(2))
    one.label = "Zoë"
    one.delete()
    assert two.attempts() == ()
    two.add(attempt(3))
    assert one.attempts() == two.attempts() == (attempt(3),)
    assert LearnerRecord(tmp_path).label == two.label == learner.NO_LABEL


def test_folder_that_was_deleted_by_hand_is_made_again(tmp_path):
    record = LearnerRecord(tmp_path / "record")
    record.add(attempt(1))
    for path in (tmp_path / "record").iterdir():
        path.unlink()
    (tmp_path / "record").rmdir()
    record.add(attempt(2))
    assert record.problem == "" and LearnerRecord(tmp_path / "record").attempts() == (attempt(2),)


def test_folder_that_is_away_for_a_while_loses_nothing(tmp_path):
    folder = tmp_path / "stick" / "record"
    record = LearnerRecord(folder)
    record.add(attempt(1))
    os.rename(tmp_path / "stick", tmp_path / "pulled out")
    record.add(attempt(2))
    assert "Kept in memory only" in record.problem and len(record.attempts()) == 2
    os.rename(tmp_path / "pulled out", tmp_path / "stick")
    record.add(attempt(3))
    assert record.problem == "" and len(LearnerRecord(folder).attempts()) == 3


def test_label_of_one_notebook_is_not_undone_by_another(tmp_path):
    one, two = LearnerRecord(tmp_path), LearnerRecord(tmp_path)
    one.label = "7"
    two.add(attempt())
    assert two.label == LearnerRecord(tmp_path).label == "7"


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
    assert bundle.label == "Zoë" and minutes_active(bundle.attempts) == 1.0
    assert other.to_bundle() == text and other.to_csv() == record.to_csv()


def test_label_of_ones_own_stays_when_a_bundle_comes():
    mine, other = LearnerRecord(label="7"), LearnerRecord(label="8")
    mine.take_bundle(other.to_bundle())
    assert mine.label == "7"


def test_two_hints_in_one_second_both_travel():
    record = LearnerRecord(label="7")
    for _ in range(2):
        record.add(attempt())
    other = LearnerRecord()
    assert other.take_bundle(record.to_bundle()) == 2
    assert other.take_bundle(record.to_bundle()) == 0


def test_bundle_of_an_older_version_is_read():
    record = LearnerRecord(label="7")
    record.add(attempt())
    data = json.loads(record.to_bundle())
    for entry in data["attempts"]:
        del entry["digest"], entry["course"]
    data["checksum"] = learner.checksum_of(data["attempts"])
    assert read_bundle(json.dumps(data)).attempts == (attempt(),)


def resealed(data, **change):
    data["attempts"][0].update(change)
    data["checksum"] = learner.checksum_of(data["attempts"])


@pytest.mark.parametrize(
    "change, words",
    [
        (lambda data: data.update(kind="recipe"), "it must be what Hand in writes"),
        (lambda data: data["attempts"][0].update(raw="36"), "the file is damaged"),
        (lambda data: data.update(attempts={}), "attempts must be a list"),
        (lambda data: data.update(label=3), "label, course and identity must be text"),
        (lambda data: data.update(label="x" * 301), "at most 300 letters"),
        (lambda data: resealed(data, misconception=["M04"]), "a text or nothing, got ..M04"),
        (lambda data: resealed(data, raw=5), "raw of an attempt must be a text, got 5"),
        (lambda data: resealed(data, seed=True), "seed of an attempt must be a whole number"),
        (lambda data: data.update(attempts=[{"a": 1}],
                                  checksum=learner.checksum_of([{"a": 1}])), "each attempt must"),
        (lambda data: resealed(data, when="today"), "today"),
        (lambda data: resealed(data, when="2031-03-03T08:00:00"), "must be a time with its zone"),
        (lambda data: resealed(data, when="0001-01-01T00:00:00+14:00"), "must be a time with its zone"),
        (lambda data: resealed(data, seed="0"), "seed of an attempt must be a whole number, got '0'"),
    ],
)
def test_bad_bundle_is_refused(change, words):
    record = LearnerRecord()
    record.add(attempt())
    data = json.loads(record.to_bundle())
    change(data)
    with pytest.raises(ValueError, match=words):
        read_bundle(json.dumps(data))


@pytest.mark.parametrize("text", ["print('run me')", "[" * 100_000, '{"format": ' + "1" * 5000])
def test_bundle_that_is_no_json(text):
    with pytest.raises(ValueError, match="what is handed in must be JSON"):
        read_bundle(text)


def test_pauses_do_not_count_as_work():
    record = LearnerRecord()
    for number in (0, 2, 3, 63, 64):
        record.add(attempt(number))
    assert learner.minutes_active(record.attempts()) == 4.0


def test_table():
    record = LearnerRecord(label="7")
    cells = {"KF1 / U": ["1,5 h", "Right"]}
    record.add(attempt(0, "LOOK_AGAIN", misconception="M04"))
    record.add(Attempt("01-card", 0, BEGIN.isoformat(), "answer", "{}", "PARTLY", cells))
    rows = list(csv.DictReader(io.StringIO(record.to_csv())))
    assert [row["verdict"] for row in rows] == ["LOOK_AGAIN", "PARTLY"]
    assert rows[0]["value"] == "35.0" and rows[0]["misconception"] == "M04"
    assert json.loads(rows[1]["value"]) == cells


def test_record_in_memory_when_no_folder_is_named(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv(FOLDER_VARIABLE, raising=False)
    assert open_record().path is None
    monkeypatch.setenv(FOLDER_VARIABLE, os.fspath(tmp_path))
    assert open_record().path == tmp_path / "record.json"


def test_record_lies_beside_the_lessons_however_they_are_opened(tmp_path, monkeypatch):
    lay_lessons(tmp_path / "mine")
    monkeypatch.chdir(tmp_path / "mine")
    monkeypatch.delenv(FOLDER_VARIABLE, raising=False)
    assert open_record().path == tmp_path / "mine" / "record" / "record.json"
    monkeypatch.setenv(FOLDER_VARIABLE, os.fspath(tmp_path / "named"))
    assert open_record().path == tmp_path / "named" / "record.json"


def test_an_accent_is_one_letter_however_a_system_writes_it():
    record = LearnerRecord()
    record.label = " Zoe\u0308 "
    other = json.dumps(json.loads(record.to_bundle()) | {"label": "Zoe\u0308"})
    assert record.label == read_bundle(other).label == "Zo\u00eb"


def test_where_windows_gives_no_leave_for_a_moment_nothing_is_lost(tmp_path, monkeypatch):
    """Simulated: a lock that is about to be deleted, a record that another notebook reads."""
    left = {"open": 2, "replace": 2}

    def refused(name, real, *words):
        if left[name] and "record.json" in str(words[0]):
            left[name] -= 1
            raise PermissionError(13, "Access is denied")
        return real(*words)

    for name in left:
        monkeypatch.setattr(os, name, partial(refused, name, getattr(os, name)))
    monkeypatch.setattr("labkit.writing.WAITS_S", (0, 0, 0))
    record = LearnerRecord(tmp_path)
    record.add(attempt())
    assert left == {"open": 0, "replace": 0} and record.problem == ""
    assert LearnerRecord(tmp_path).attempts() == (attempt(),)


@pytest.mark.parametrize(("label", "rule"), [
    (" ", "label must not be empty, got ' '"), ("x" * 301, "label must have at most 300 letters, got 301")])
def test_a_label_that_no_class_would_take_is_refused(label, rule):
    with pytest.raises(ValueError, match=rule):
        LearnerRecord().label = label


@pytest.mark.parametrize("answer", ["x" * 3_000_000, ["x"] * 300_000, {"a": "x" * 3_000_000}])
def test_a_book_pasted_as_an_answer_does_not_make_a_record_too_long_to_hand_in(answer):
    desk = Session(LearnerRecord())
    desk.check("01-downtime", answer)
    assert len(desk.recorder.attempts()) == 1 and len(desk.recorder.to_bundle()) < 50_000


@pytest.mark.parametrize("odd", ["half a letter \ud800", "\x00\x1b[2J", "\u202eturned round"])
def test_no_answer_stops_a_record(odd, tmp_path):
    record = LearnerRecord(tmp_path)
    for raw in (odd, "35 min/a"):
        record.add(Attempt("01-downtime", 0, BEGIN.isoformat(), "answer", raw, "UNCLEAR", {odd: raw}))
    assert record.problem == ""
    assert [each.raw for each in LearnerRecord(tmp_path).attempts()] == [odd, "35 min/a"]
    assert [each.raw for each in read_bundle(record.to_bundle()).attempts] == [odd, "35 min/a"]
    record.to_csv().encode()


def test_a_value_that_no_file_can_hold_is_kept_as_it_was_written(tmp_path):
    deep = []
    for _ in range(5000):
        deep = [deep]
    record = LearnerRecord(tmp_path)
    for value in (deep, {(1, 2): 3}):
        record.add(Attempt("01-downtime", 0, BEGIN.isoformat(), "answer", "odd", "UNCLEAR", value))
    assert [each.raw for each in LearnerRecord(tmp_path).attempts()] == ["odd", "odd"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_in_place_of_the_record_is_said_and_hangs_nothing(tmp_path):
    os.mkfifo(tmp_path / "record.json")
    record = LearnerRecord(tmp_path)
    record.add(attempt())
    assert "record.json is there and is no file" in record.problem
    assert len(record.attempts()) == 1


def test_what_was_deleted_from_outside_is_said(tmp_path):
    record = LearnerRecord(tmp_path)
    for number in range(8):
        record.add(attempt(number))
    for path in tmp_path.iterdir():
        path.unlink()
    assert record.attempts() == ()
    assert "gone from here too: answers 8." in trouble_text(record)


def test_the_format_is_looked_at_before_the_kind(tmp_path):
    text = json.dumps({"format": 99, "kind": "something new", "label": "7", "attempts": {}})
    (tmp_path / "record.json").write_text(text)
    record = LearnerRecord(tmp_path)
    assert "newer version" in record.problem and record.path.read_text() == text


def test_parts_that_a_killed_kernel_left_are_cleared_once_they_are_old(tmp_path):
    old, young = tmp_path / "record.json.0a", tmp_path / "record.json.0b"
    for part in (old, young):
        part.write_text("{")
    os.utime(old, (0, 0))
    LearnerRecord(tmp_path)
    assert not old.exists() and young.exists()


def test_a_lock_that_was_broken_while_the_drive_was_slow_loses_no_answer(tmp_path, monkeypatch):
    slow, quick = LearnerRecord(tmp_path), LearnerRecord(tmp_path)
    real, begun = os.fsync, []

    def slow_fsync(number):
        if not begun:
            begun.append(True)
            # The lock of the slow one counts as stale, and the quick one writes meanwhile.
            (tmp_path / "record.json.lock").unlink()
            quick.add(attempt(2))
        real(number)

    monkeypatch.setattr(learner.os, "fsync", slow_fsync)
    slow.add(attempt(1))
    assert set(LearnerRecord(tmp_path).attempts()) == {attempt(1), attempt(2)}


def test_an_identity_stays_with_its_record_and_moves_with_it(tmp_path):
    record = LearnerRecord(tmp_path)
    record.add(attempt())
    moved = LearnerRecord()
    moved.take_bundle(record.to_bundle())
    other = LearnerRecord()
    other.add(attempt(3))
    own = other.identity
    other.take_bundle(record.to_bundle())
    assert LearnerRecord(tmp_path).identity == moved.identity == record.identity
    assert other.identity == own != record.identity
