"""What a learner does with the own record, by text and by controls."""

import json
import logging
import os
from datetime import UTC, datetime

import pytest

from lessons.exercises.attempts import Attempt
from lessons.exercises.by_text import my_record
from lessons.exercises.learner_record import NO_LABEL, LearnerRecord, read_bundle
from lessons.exercises.lookup import lesson_of
from lessons.exercises.progress import lesson_progress
from lessons.exercises.record_actions import ACTIONS, act, record_text
from lessons.exercises.record_control import RecordControl
from lessons.exercises.report import report_html
from lessons.exercises.session import Session, session
from lessons.teaching.class_table import collect


@pytest.fixture
def record(tmp_path, monkeypatch):
    """Return a record of two answers in a folder, with another folder to work in."""
    (tmp_path / "work").mkdir()
    monkeypatch.chdir(tmp_path / "work")
    desk = Session(LearnerRecord(tmp_path / "record"))
    desk.check("01-downtime", "240 min/a")
    desk.check("01-mttr", "9 h")
    return desk.recorder


@pytest.fixture
def no_callback_errors(caplog):
    caplog.set_level(logging.ERROR)
    yield
    assert not caplog.records, caplog.text


def files(tmp_path):
    return sorted(path.name for path in (tmp_path / "work").iterdir())


def test_it_says_where_the_record_lies_and_what_can_be_done(record, tmp_path):
    text = record_text(record)
    assert f"Kept in {tmp_path / 'record' / 'record.json'}, and nowhere else." in text
    count = lesson_progress("01", ()).count
    assert "Actions: 2." in text
    assert f"\n01 One controller: done 1 of {count}, missed 1\n" in text
    assert all(f"my_record({call})" in text for call in ACTIONS)
    assert "Kept in memory only" in record_text(LearnerRecord())
    assert max(map(len, repr(RecordControl(LearnerRecord())).splitlines())) <= 88


def test_files_are_written_whole_and_never_over_one_another(record, tmp_path):
    record.label = "Zoë / 7"
    for _ in range(2):
        said = [act(record, action) for action in ("report", "table", "hand in")]
    assert files(tmp_path) == [
        "actions-Zoë-7-2.csv", "actions-Zoë-7.csv", "hand-in-Zoë-7-2.json",
        "hand-in-Zoë-7.json", "report-Zoë-7-2.html", "report-Zoë-7.html"]
    work = tmp_path / "work"
    assert said[0] == f"Written: {(work / 'report-Zoë-7-2.html').resolve()}."
    assert (work / "report-Zoë-7.html").read_text("utf-8") == report_html(record)
    assert (work / "actions-Zoë-7.csv").read_text("utf-8") == record.to_csv()
    bundle = read_bundle((work / "hand-in-Zoë-7.json").read_text("utf-8"))
    assert bundle.attempts == record.attempts() and bundle.label == "Zoë / 7"


def test_files_go_to_a_folder_that_is_named(record, tmp_path):
    other = tmp_path / "handed in"
    other.mkdir()
    assert "Written" in act(record, "hand in", other)
    assert len(list(other.iterdir())) == 1 and not files(tmp_path)
    said = act(record, "hand in", tmp_path / "nowhere")
    assert said.startswith("Not written:") and said.endswith("Name another folder.")


def test_full_disk_leaves_no_part_of_a_file(record, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    monkeypatch.setattr(os, "link", full)
    assert "No space left on device" in act(record, "report")
    assert not files(tmp_path)


def test_labels_that_nobody_chose_stand_apart_in_a_class(record, tmp_path):
    other = LearnerRecord()
    for each in (record, other):
        assert each.label == NO_LABEL
        act(each, "hand in")
        assert each.label.startswith(f"{NO_LABEL}-")
    table = collect(tmp_path / "work")
    assert len(table.learners) == 2 and not table.problems


def test_another_machine_goes_on_and_writes_the_same(record, tmp_path):
    act(record, "label", "7")
    act(record, "hand in")
    other = LearnerRecord(tmp_path / "other")
    file = tmp_path / "work" / "hand-in-7.json"
    assert act(other, "take in", file) == "Taken in: new actions 2, label 7."
    assert act(other, "take in", str(file)) == "Taken in: new actions 0, label 7."
    assert other.attempts() == record.attempts()
    assert report_html(other) == report_html(record)
    assert other.to_csv() == record.to_csv() and other.to_bundle() == record.to_bundle()
    assert Session(other).rung("01-downtime") == 1


@pytest.mark.parametrize(("content", "words"), [
    (b'{"kind": "recipe"}', "it must be what Hand in writes"),
    (b"\xff\xd8\xff", "line 1: must be text in UTF-8, got byte 0xff"),
    (b"{", "what is handed in must be JSON, got line 1, column 2: Expecting property name"),
    (b"[" * 200_000, "what is handed in must be JSON, got lists in one another"),
    (b"\xef\xbb\xbf{}", "it must be what Hand in writes"), (None, "cannot be read"),
])
def test_what_is_no_bundle_is_refused_in_words(record, tmp_path, content, words):
    file = tmp_path / "file.json"
    if content is not None:
        file.write_bytes(content)
    said = act(record, "take in", file)
    assert said.startswith("Nothing taken in:") and words in said
    assert said.endswith(
        ").") if content is None else said.endswith("Choose a file that was made by Hand in, such as hand-in-7.json.")
    assert len(record.attempts()) == 2
    assert "name the file" in act(record, "take in")


def test_delete_asks_and_a_cell_that_runs_again_deletes_nothing(record, tmp_path):
    act(record, "report")
    asked = act(record, "delete")
    assert asked.startswith("Not deleted yet:") and "my_record('delete', 2)" in asked
    assert act(record, "delete", 3).startswith("Not deleted yet:")
    assert len(record.attempts()) == 2
    said = act(record, "delete", 2)
    assert said.startswith("Deleted:") and list((tmp_path / "record").iterdir()) == []
    assert files(tmp_path) == ["report-learner.html"]
    assert act(record, "delete", 2) == "Nothing to delete: the record is empty."
    Session(record).check("01-mttr", "9 h")
    assert act(record, "delete", 2).startswith("Not deleted yet:")


def test_delete_says_where_the_disk_refuses(record, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("lessons.exercises.learner_record.os.open", refuse)
    said = act(record, "delete", 2)
    assert said.startswith("Deleted in memory, and not on the disk:")
    assert record.path.exists()


@pytest.fixture
def new_kernel():
    """What other tests have answered in this process is another kernel's."""
    session.cache_clear()


def test_refusals(record, new_kernel):
    with pytest.raises(ValueError, match="action must be one of report, .*, got 'burn'"):
        act(record, "burn")
    assert act(record, "label", "  ").startswith("Not changed")
    assert my_record("delete") == "Nothing to delete: the record is empty."


# ---------------------------------------------------------------- controls


def test_the_text_form_of_the_control_is_the_text(record):
    control = RecordControl(record)
    bundle = control._repr_mimebundle_()
    assert bundle["text/plain"] == repr(control)
    assert " ".join(repr(control).split()) == " ".join(record_text(record).split())
    assert isinstance(my_record(), RecordControl)


def test_every_button_does_what_the_text_does(record, tmp_path, no_callback_errors):
    control = RecordControl(record)
    assert "missed 1" in control.state.value
    control.label.value = "<7>"
    control.name()
    assert record.label == "<7>" and "Label: &lt;7&gt;." in control.state.value
    control.report()
    control.table()
    control.hand_in()
    assert files(tmp_path) == ["actions-7.csv", "hand-in-7.json", "report-7.html"]
    assert "<b>Written</b>:" in control.reply.value
    control.folder.value = str(tmp_path / "nowhere")
    control.hand_in()
    assert "<b>Not written</b>:" in control.reply.value
    control.delete_row.children[0].click()
    control.delete_row.children[1].click()
    assert "nothing was deleted" in control.reply.value and len(record.attempts()) == 2
    control.ask_to_delete()
    control.delete()
    assert "<b>Deleted</b>:" in control.reply.value and record.attempts() == ()
    assert "Actions: 0." in control.state.value and len(control.delete_row.children) == 1


def test_all_changes_are_listed_by_text_and_behind_a_line_of_the_control():
    record = LearnerRecord()
    assert "<details>" not in RecordControl(record).state.value
    for item in lesson_of("01-").items:
        record.add(Attempt(item.id, 0, "2031-03-03T08:00:00+00:00", "answer", "", "RIGHT",
                           digest="00000000"))
    control = RecordControl(record)
    for item in lesson_of("01-").items:
        assert f"({item.id})" in record_text(record) and f"({item.id})" in control.state.value
    assert control.state.value.count("<details>") == 1


def test_a_file_is_taken_in_by_the_control(record, tmp_path, no_callback_errors):
    other = RecordControl(LearnerRecord(tmp_path / "other"))
    other.take_in()
    assert "choose a file" in other.reply.value
    for content, words in ((record.to_bundle().encode(), "new actions 2"),
                           (b"\xff\xfe", "Nothing taken in"), (json.dumps([]).encode(), "made by Hand in")):
        other.upload.value = ({"name": "hand-in.json", "type": "application/json",
                               "size": len(content), "content": memoryview(content),
                               "last_modified": datetime(2031, 3, 3, tzinfo=UTC)},)
        other.take_in()
        assert words in other.reply.value
    assert other.record.attempts() == record.attempts()


def test_more_was_answered_while_it_asked(record):
    control = RecordControl(record)
    control.ask_to_delete()
    Session(LearnerRecord(record.folder)).check("01-mttr", "9 h")
    control.delete()
    assert "Not deleted yet" in control.reply.value and len(record.attempts()) == 3


def test_a_failing_button_is_shown_and_logged(record, caplog):
    control = RecordControl(record)
    control.record = None
    control.children[1].children[1].click()
    assert "This did not work" in control.reply.value and caplog.records


def test_the_record_of_the_kernel_is_in_the_folder_that_is_named(tmp_path, monkeypatch):
    monkeypatch.setenv("WORKBOOK_RECORD", os.fspath(tmp_path / "mine"))
    desk = session.__wrapped__()
    assert f"Kept in {tmp_path / 'mine' / 'record.json'}" in record_text(desk.recorder)
