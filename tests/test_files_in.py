"""Files that people made: what is no file, too long, or in other letters is said with its line."""

import contextlib
import json
import os

import pytest

from labkit.evidence.log import COLUMNS, LogRow, read_log, write_log
from labkit.plant.file_check import check_file
from labkit.reading import read_bytes, read_decoded, read_utf8, rows_of
from labkit.rig.stories import Story, find_stories
from labkit.writing import csv_text
from lessons.papers.results import read_results


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
@pytest.mark.parametrize("read", [read_bytes, read_log, read_results, check_file])
def test_a_pipe_hangs_no_reader(read, tmp_path):
    pipe = tmp_path / "pipe.toml"
    os.mkfifo(pipe)
    with pytest.raises(ValueError, match="must be a file"):
        read(pipe)


@pytest.mark.parametrize("head", [b"PK\x03\x04", b"\x1f\x8b"])
@pytest.mark.parametrize("read", [read_log, read_results])
def test_a_packed_file_is_told_from_a_sheet(read, head, tmp_path):
    (tmp_path / "sheet.csv").write_bytes(head + b"\x00" * 99)
    with pytest.raises(ValueError, match="must be text, such as CSV, got a packed file"):
        read(tmp_path / "sheet.csv")


def test_a_file_that_is_too_long_is_not_read_whole(tmp_path, monkeypatch):
    monkeypatch.setattr("labkit.reading.LARGEST_BYTES", 10)
    (tmp_path / "long").write_bytes(b"x" * 11)
    with pytest.raises(ValueError, match="must have at most 10 bytes, got more"):
        read_bytes(tmp_path / "long")
    (tmp_path / "long").write_bytes(b"x" * 10)
    assert read_bytes(tmp_path / "long") == b"x" * 10


def test_a_file_may_have_twenty_megabytes_and_no_byte_more(tmp_path):
    for more, said in ((0, ""), (1, "must have at most 20000000 bytes")):
        with (tmp_path / "long").open("wb") as file:
            file.truncate(20_000_000 + more)
        with pytest.raises(ValueError, match=said) if said else contextlib.nullcontext():
            assert len(read_bytes(tmp_path / "long")) == 20_000_000


@pytest.mark.parametrize(("content", "said"), [
    (b"\xe4", "line 1: must be text in UTF-8, got byte 0xe4"),
    (b"\n\xe4", "line 2: must be text in UTF-8, got byte 0xe4"),
    (b"one\ntwo\nthr\x80e\n", "line 3: must be text in UTF-8, got byte 0x80"),
])
def test_a_byte_that_is_no_text_is_named_with_its_line(content, said, tmp_path):
    (tmp_path / "a.json").write_bytes(content)
    with pytest.raises(ValueError, match=f"^{said}$"):
        read_utf8(tmp_path / "a.json")


@pytest.mark.parametrize(("encoding", "odd"), [
    ("utf-8", ""), ("utf-8-sig", ""), ("utf-16", ""), ("cp1252", "line 2: not UTF-8"),
])
def test_the_letters_of_spreadsheets(encoding, odd, tmp_path):
    (tmp_path / "a.csv").write_bytes("a\nGerät\n".encode(encoding))
    text, problems = read_decoded(tmp_path / "a.csv")
    assert text == "a\nGerät\n" and "".join(problems)[:len(odd)] == odd
    assert len(problems) == bool(odd)


def test_a_cell_that_no_reader_takes_is_named_by_its_line(tmp_path):
    head = ";".join(COLUMNS)
    (tmp_path / "log.csv").write_text(f"{head}\n1;{'x' * 200_000}\n", encoding="utf-8")
    with pytest.raises(ValueError, match="line 2: the row cannot be read: field larger"):
        read_log(tmp_path / "log.csv")
    (tmp_path / "sheet.csv").write_text(f"a heading\nstep,type\n4,{'x' * 200_000}\n", "utf-8")
    with pytest.raises(ValueError, match="line 3: the row cannot be read: field larger"):
        read_results(tmp_path / "sheet.csv")


def test_the_line_of_a_letter_that_is_none_counts_from_the_first(tmp_path):
    (tmp_path / "log.csv").write_bytes(b"\n\nfl\xf6d\n")
    text, problems = read_decoded(tmp_path / "log.csv")
    assert text == "\n\nfl\xf6d\n"
    assert problems == ["line 3: not UTF-8; read as Windows-1252 (cp1252), look at accents"]


def test_lines_are_those_of_the_file():
    assert list(rows_of('a,b\n"1\n2",3\n', ",", first_line=5)) == [
        (5, ["a", "b"]), (7, ["1\n2", "3"])]


def test_what_was_kept_from_being_calculated_comes_back_as_it_was():
    cells = ["=1+1", "-dash", "'quoted", "it's", "-2.5", "@x"]
    ((_, back),) = rows_of(csv_text([cells]), ",")
    assert back == cells


def test_a_log_with_such_texts_comes_back_whole(tmp_path):
    (row,) = read_log(write_log([], tmp_path / "a.csv")).rows or [None]
    assert row is None
    (tmp_path / "b.csv").write_text(
        "start;designation;class;text\n2031-01-01 10:00:00;KF1;note;=HYPERLINK(1)\n", "utf-8")
    rows = read_log(tmp_path / "b.csv").rows
    assert isinstance(rows[0], LogRow) and rows[0].text == "=HYPERLINK(1)"
    assert read_log(write_log(rows, tmp_path / "c.csv")).rows == rows
    assert ";'=HYPERLINK(1)" in (tmp_path / "c.csv").read_text("utf-8")


STORY = json.loads(find_stories()[0][0].to_json())
HOSTILE = {
    "brackets": "[" * 100_000,
    "an end beyond all days": json.dumps(STORY | {"end_ms": 10**14}),
    "an end that is no number": json.dumps(STORY | {"end_ms": "soon"}),
    "a time that is no number": json.dumps(STORY | {"actions": [
        {"time_ms": "0", "verb": "on", "fault_id": "KF1: no power"}]}),
    "actions without number": json.dumps(STORY | {"actions": [
        {"time_ms": 0, "verb": "on", "fault_id": "KF1: no power"}] * 10_001}),
    "no text": "\x00",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_story_is_refused_at_once_and_harms_no_other(text, tmp_path):
    with pytest.raises(ValueError, match="must"):
        Story.from_json(text)
    (tmp_path / "a.json").write_text(text, encoding="utf-8")
    stories, wrong = find_stories(folder=tmp_path)
    assert len(wrong) == 1 and "a.json" in wrong[0] and stories
