"""The record as a table in a file."""

import csv

import pytest

from labkit.rig.rig import Rig
from labkit.switchover.record import HEADS, record_csv, save_record
from labkit.switchover.roles import Entry


def test_a_reader_of_the_standard_library_gets_every_entry_back(tmp_path):
    rig = Rig()
    rig.switch_on("KF1: no power")
    rig.wait(30)
    file = save_record(rig.record, tmp_path)
    with file.open(encoding="utf-8-sig", newline="") as opened:
        rows = list(csv.reader(opened))
    assert tuple(rows[0]) == HEADS
    assert rows[1:] == [[f"{e.time_ms / 1000:.3f}", e.who, e.what, e.old, e.new, e.why]
                        for e in rig.record]
    assert "\r\n" in record_csv(rig.record)


def test_nothing_is_written_over(tmp_path):
    (tmp_path / "record.csv").write_text("mine")
    assert save_record([], tmp_path).name == "record-2.csv"
    assert (tmp_path / "record.csv").read_text() == "mine"


def test_a_folder_that_is_not_there_is_an_error(tmp_path):
    with pytest.raises(OSError):
        save_record([], tmp_path / "nowhere")


def test_times_are_written_in_seconds_and_taken_names_are_counted(tmp_path):
    # 60 000 ms are 60.000 s
    entry = Entry(60_000, "KF1", "role", "active", "off", "KF1 has no supply, or so.")
    file = save_record([entry], tmp_path / ".", stem="drill")
    assert file == (tmp_path / "drill.csv").resolve()
    assert file.read_bytes() == (
        b"\xef\xbb\xbftime_s,who,what,from,to,why\r\n"
        b'60.000,KF1,role,active,off,"KF1 has no supply, or so."\r\n')
    assert save_record([], tmp_path, stem="drill").name == "drill-2.csv"
