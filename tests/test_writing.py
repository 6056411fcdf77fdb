"""What leaves the program: cells that cannot act, lines that cannot steer, files that are whole."""

import csv
import importlib.util
import io
import os
import re
from pathlib import Path

import pytest

from labkit.writing import (
    csv_text,
    is_odd,
    problem_text,
    safe_line,
    stem_of,
    write_new,
    write_whole,
)


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


def test_a_name_made_from_many_words_has_sixty_letters():
    assert stem_of("x" * 300, "none") == "x" * 60 and stem_of("x" * 59 + "-y", "none") == "x" * 59


@pytest.mark.parametrize("letter", [
    "\x00", "\x7f", "\u200b", "\u202e", "\ud800", "\u2028", "\u2029", "\ufffe", "\uffff"])
def test_a_letter_that_steers_or_stands_nowhere_is_odd(letter):
    assert is_odd(letter) and not is_odd(" ") and not is_odd("\ufffd")


@pytest.mark.parametrize(("problem", "said"), [
    (FileExistsError(17, "File exists", "papers"), "papers: File exists"),
    (OSError(28, "No space left"), "No space left"), (OSError("odd\x1b"), "odd\\x1b"),
    (ValueError("one\ntwo\x1b"), "one\ntwo\\x1b")])
def test_a_problem_is_told_without_its_number(problem, said):
    assert problem_text(problem) == said


def test_only_windows_is_waited_for_and_a_second_at_most(monkeypatch):
    """Five times, longer and longer, from a hundredth of a second on; 1.04 s in all."""
    spec = importlib.util.find_spec("labkit.writing")
    found = {}
    for system in ("nt", "posix"):
        monkeypatch.setattr(os, "name", system)
        module = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(module)
        monkeypatch.undo()
        found[system] = module.WAITS_S
    assert found["posix"] == ()
    assert len(found["nt"]) == 5 and list(found["nt"]) == sorted(found["nt"]) and found["nt"][0] == 0.01
    assert sum(found["nt"]) == pytest.approx(1.04)


def test_new_files_never_take_a_name_that_is_taken(tmp_path, monkeypatch):
    link, tried = os.link, []

    def counted(part, path):
        tried.append(path)
        if len(tried) > 9:
            raise RuntimeError("no name is ever free")
        link(part, path)

    monkeypatch.setattr(os, "link", counted)
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


def test_a_long_name_in_any_letters_is_written(tmp_path):
    """60 letters of 4 bytes: a name may have 255 bytes, and that of the part has 39 of its own."""
    for write in (write_whole, lambda path, text: write_new(path.parent, path.name, text)):
        path = write(tmp_path / ("\U0001f600" * 60 + f".{len(list(tmp_path.iterdir()))}"), "whole")
        assert path.read_text() == "whole"


def test_a_name_that_another_has_taken_away_meanwhile_hides_no_trouble(tmp_path, monkeypatch):
    def none(*_):
        raise OSError(95, "Operation not supported")

    def gone(_, path):
        Path(path).unlink()
        raise PermissionError(13, "Access is denied")

    monkeypatch.setattr(os, "link", none)
    monkeypatch.setattr(os, "replace", gone)
    with pytest.raises(PermissionError):
        write_new(tmp_path, "a.txt", "new")
    assert not list(tmp_path.iterdir())


def test_two_who_write_one_file_at_once_leave_it_whole(tmp_path, monkeypatch):
    replace = os.replace

    def late(part, path):
        monkeypatch.setattr(os, "replace", replace)
        write_whole(path, "that of the other")
        replace(part, path)

    monkeypatch.setattr(os, "replace", late)
    write_whole(tmp_path / "a.txt", "mine")
    assert [path.read_text() for path in tmp_path.iterdir()] == ["mine"]
