"""The copy of the lessons: nothing of the learner's is ever written over."""

import datetime
import json

import nbformat
import pytest
from nbformat.sign import NotebookNotary
from nbformat.v4 import new_code_cell, new_notebook

from lessons.desk.learner_folder import Laid, Laying, lay_lessons, lessons_source, trust

DAY = datetime.date(2031, 5, 7)


@pytest.fixture
def source(tmp_path):
    folder = tmp_path / "source"
    (folder / "items").mkdir(parents=True)
    (folder / ".ipynb_checkpoints").mkdir()
    (folder / "01_one.ipynb").write_text("one, first version")
    (folder / "02_two.ipynb").write_text("two, first version")
    (folder / "glossary.ipynb").write_text("a word")
    # The code of the course lies beside its notebooks, and is none of the learner's.
    (folder / "items" / "lesson_01.py").write_text("")
    (folder / "__init__.py").write_text("")
    (folder / ".ipynb_checkpoints" / "01_one-checkpoint.ipynb").write_text("of no use")
    return folder


@pytest.fixture
def lay(source, tmp_path):
    def lay_again():
        return lay_lessons(tmp_path / "mine", source=source, today=DAY)

    return lay_again


def contents(folder):
    return {
        path.relative_to(folder).as_posix(): path.read_text()
        for path in folder.rglob("*")
        if path.is_file() and ".workbook" not in path.parts
    }


def test_first_start_lays_all_files(lay, tmp_path):
    assert lay() == (
        Laid("01_one.ipynb", Laying.NEW),
        Laid("02_two.ipynb", Laying.NEW),
        Laid("glossary.ipynb", Laying.NEW),
    )
    assert contents(tmp_path / "mine") == {
        "01_one.ipynb": "one, first version",
        "02_two.ipynb": "two, first version",
        "glossary.ipynb": "a word",
    }


def test_second_start_keeps_what_the_learner_changed(lay, tmp_path):
    lay()
    (tmp_path / "mine" / "01_one.ipynb").write_text("my answers")
    (tmp_path / "mine" / "notes.txt").write_text("my notes")
    before = contents(tmp_path / "mine")
    outcomes = [entry.outcome for entry in lay()]
    assert outcomes == [Laying.KEPT, Laying.SAME, Laying.SAME]
    assert contents(tmp_path / "mine") == before


def test_new_version_replaces_only_what_was_not_touched(lay, source, tmp_path):
    lay()
    (tmp_path / "mine" / "01_one.ipynb").write_text("my answers")
    (source / "01_one.ipynb").write_text("one, second version")
    (source / "02_two.ipynb").write_text("two, second version")
    assert lay() == (
        Laid("01_one.ipynb", Laying.BESIDE, "01_one_2031-05-07.ipynb"),
        Laid("02_two.ipynb", Laying.UPDATED),
        Laid("glossary.ipynb", Laying.SAME),
    )
    after = contents(tmp_path / "mine")
    assert after["01_one.ipynb"] == "my answers"
    assert after["01_one_2031-05-07.ipynb"] == "one, second version"
    assert after["02_two.ipynb"] == "two, second version"
    # The third start brings nothing that was brought already.
    assert [entry.outcome for entry in lay()] == [Laying.KEPT, Laying.SAME, Laying.SAME]
    assert contents(tmp_path / "mine") == after


def test_two_new_versions_on_one_day_have_two_names(lay, source, tmp_path):
    lay()
    (tmp_path / "mine" / "01_one.ipynb").write_text("my answers")
    for version in ("second", "third"):
        (source / "01_one.ipynb").write_text(f"one, {version} version")
        last = lay()[0]
    assert last == Laid("01_one.ipynb", Laying.BESIDE, "01_one_2031-05-07-2.ipynb")
    after = contents(tmp_path / "mine")
    assert after["01_one_2031-05-07.ipynb"] == "one, second version"
    assert after["01_one_2031-05-07-2.ipynb"] == "one, third version"


@pytest.mark.parametrize("damage", ["", "not json", "[]"])
def test_without_the_note_every_difference_is_the_learners(lay, source, tmp_path, damage):
    lay()
    (tmp_path / "mine" / ".workbook" / "laid.json").write_text(damage)
    (source / "02_two.ipynb").write_text("two, second version")
    assert [entry.outcome for entry in lay()] == [Laying.SAME, Laying.BESIDE, Laying.SAME]
    assert contents(tmp_path / "mine")["02_two.ipynb"] == "two, first version"


def test_a_file_that_the_learner_removed_comes_back(lay, tmp_path):
    lay()
    (tmp_path / "mine" / "02_two.ipynb").unlink()
    assert lay()[1] == Laid("02_two.ipynb", Laying.NEW)


def test_no_half_files_remain(lay, tmp_path):
    lay()
    assert not list((tmp_path / "mine").rglob("*.part"))
    note = json.loads((tmp_path / "mine" / ".workbook" / "laid.json").read_text())
    assert set(note) == {"01_one.ipynb", "02_two.ipynb", "glossary.ipynb"}


def test_a_file_in_place_of_the_folder_is_named(source, tmp_path):
    (tmp_path / "mine").write_text("a file")
    with pytest.raises(NotADirectoryError, match="folder must be a folder, got the file .*mine"):
        lay_lessons(tmp_path / "mine", source=source)


@pytest.mark.parametrize("inside", [".", "data"])
def test_the_lessons_are_not_laid_on_themselves(source, inside):
    with pytest.raises(ValueError, match="folder must lie outside"):
        lay_lessons(source / inside, source=source)


def test_an_empty_source_is_an_error_and_makes_no_folder(tmp_path):
    (tmp_path / "empty").mkdir()
    with pytest.raises(FileNotFoundError, match="no lessons in"):
        lay_lessons(tmp_path / "mine", source=tmp_path / "empty")
    assert not (tmp_path / "mine").exists()


def test_only_untouched_notebooks_are_trusted(tmp_path, monkeypatch):
    monkeypatch.setenv("JUPYTER_DATA_DIR", str(tmp_path / "data"))
    ours, theirs = (new_notebook(cells=[new_code_cell(text)]) for text in ("1", "2"))
    nbformat.write(ours, tmp_path / "ours.ipynb")
    nbformat.write(theirs, tmp_path / "theirs.ipynb")
    laid = [
        Laid("ours.ipynb", Laying.NEW),
        Laid("theirs.ipynb", Laying.KEPT),
        Laid("log.csv", Laying.NEW),
    ]
    assert trust(tmp_path, laid) == 1
    notary = NotebookNotary()
    assert notary.check_signature(nbformat.read(tmp_path / "ours.ipynb", 4))
    assert not notary.check_signature(nbformat.read(tmp_path / "theirs.ipynb", 4))
    notary.store.close()


def test_the_source_holds_lessons():
    assert [path.name for path in lessons_source().glob("*.ipynb")]
