"""The record as a table in a file."""

import csv

import pytest

from labkit.rig.rig import Rig
from labkit.switchover.record import HEADS, record_csv, save_record


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
    (tmp_path / "record-1.csv").write_text("mine")
    assert save_record([], tmp_path).name == "record-2.csv"
    assert (tmp_path / "record-1.csv").read_text() == "mine"


def test_a_folder_that_is_not_there_is_an_error(tmp_path):
    with pytest.raises(OSError):
        save_record([], tmp_path / "nowhere")
