"""What leaves the program: cells that cannot act, lines that cannot steer, files that are whole."""

import csv
import io
import os
import re
from pathlib import Path

import pytest

from labkit.writing import csv_text, safe_line, stem_of, write_new, write_whole


@pytest.mark.parametrize("cell", ["=1+1", "+SUM(A1)", "-2+3", "@now", "\t=1", "\r=1"])
def test_what_a_spreadsheet_would_calculate_is_a_text(cell):
    (row,) = csv.reader(io.StringIO(csv_text([[cell, "x"]]), newline=""))
    assert row == [f"'{cell}".replace("\r", "\n"), "x"]


@pytest.mark.parametrize("cell", ["-2.5", "+3", "-1,5", "+4.1e-3", "-3 %", "+15\u00a0237", -2.5, "KF1=off", ""])
def test_a_number_and_a_word_stay_as_they_are(cell):
    assert list(csv.reader(io.StringIO(csv_text([[cell, "x"]])))) == [[str(cell), "x"]]


def test_half_a_letter_is_written_as_its_number():
    assert csv_text([["a\ud800"]]).encode() == b"a\\ud800\n"


def test_a_line_is_one_line_and_no_command():
    said = safe_line("a\n\x1b]0;x\x07\u202eb\u2066c\u2028d\x9b2J é 60\u202f000")
    assert said == "a\\n\\x1b]0;x\\x07\\u202eb\\u2066c\\u2028d\\x9b2J é 60\u202f000"


@pytest.mark.parametrize("words", ["CON", "com1", "Lpt\u00b2", "nul.", "a:b", "a/../b", "..\\c", "d. ", "?*",
                                   "x" * 300, "\x00", "aux"])
def test_a_name_made_from_words_is_one_on_every_system(words):
    # The rules are Microsoft's, "Naming Files, Paths, and Namespaces" (from memory).
    stem = stem_of(words, "none")
    assert stem and len(stem) <= 61 and not re.search(r'[<>:"/\\|?*\x00-\x1f]|[. ]$', stem)
    assert stem.lower() not in {"con", "prn", "aux", "nul", "com1", "lpt\u00b2"}


def test_new_files_never_take_a_name_that_is_taken(tmp_path):
    names = [write_new(tmp_path, "a.b.csv", text).name for text in ("1", "2", "3")]
    assert names == ["a.b.csv", "a.b-2.csv", "a.b-3.csv"]
    assert [(tmp_path / name).read_text() for name in names] == ["1", "2", "3"]


def test_the_name_of_a_new_file_never_stands_for_less(tmp_path, monkeypatch):
    """Whoever ends the program at any moment leaves the whole file, or none of that name."""
    link, seen = os.link, []

    def watched(part, path):
        seen.append((Path(part).read_text(), Path(path).exists()))
        link(part, path)

    monkeypatch.setattr(os, "link", watched)
    assert write_new(tmp_path, "a.txt", "new").read_text() == "new"
    assert seen == [("new", False)]


def test_a_drive_without_links_takes_new_files_too(tmp_path, monkeypatch):
    def none(*_):
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(os, "link", none)
    names = [write_new(tmp_path, "a.csv", text).name for text in ("1", "2")]
    assert names == ["a.csv", "a-2.csv"]
    assert [(tmp_path / name).read_text() for name in names] == ["1", "2"]
    assert len(list(tmp_path.iterdir())) == 2


@pytest.mark.parametrize("trouble", [
    OSError(28, "No space left on device"), PermissionError(13, "Access is denied", ".a.part"),
    KeyboardInterrupt()])
@pytest.mark.parametrize("write", [lambda folder: write_whole(folder / "a.txt", "new"),
                                   lambda folder: write_new(folder, "b.txt", "new")])
def test_what_stops_it_leaves_what_was_there_and_nothing_else(write, trouble, tmp_path, monkeypatch):
    (tmp_path / "a.txt").write_text("old")

    def full(*_):
        raise trouble

    monkeypatch.setattr(os, "replace", full)
    monkeypatch.setattr(os, "link", full)
    with pytest.raises(type(trouble)) as caught:
        write(tmp_path)
    if isinstance(trouble, OSError):
        # Windows gives the name of the part where a spreadsheet holds the file open.
        assert Path(caught.value.filename).name in ("a.txt", "b.txt")
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
    assert (tmp_path / "a.txt").read_text() == "old"


def test_two_who_write_one_file_at_once_leave_it_whole(tmp_path, monkeypatch):
    replace = os.replace

    def late(part, path):
        monkeypatch.setattr(os, "replace", replace)
        write_whole(path, "that of the other")
        replace(part, path)

    monkeypatch.setattr(os, "replace", late)
    write_whole(tmp_path / "a.txt", "mine")
    assert [path.read_text() for path in tmp_path.iterdir()] == ["mine"]
