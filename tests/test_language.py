"""Another language: what is missing, mixed or too long; two languages that only look like ones."""

import json
import os
import re
import subprocess
import sys

import pytest

from labkit.plant.plant import load_plant
from labkit.switchover.engine import Switchover
from labkit.switchover.lamps import lamps_of
from lessons.__main__ import main
from lessons.language.catalogue import catalogue_of, turner_of
from lessons.language.notebooks import ANCHOR, turned_notebook
from lessons.language.turning import Turner, is_neutral
from lessons.teaching.deck import deck
from lessons.teaching.exam import draw_exam, exam_key, exam_paper
from lessons.teaching.lesson_file import chosen_lessons, read_lesson
from tests.language import (
    ENGLISH,
    LESSONS,
    findings,
    missing,
    pseudo,
    pseudo_text,
    too_long,
    write,
)
from tests.language_sources import ROOT, code_templates
from tests.language_tour import go_through

GERMAN = catalogue_of("de")
IDS = [message.id for message in GERMAN if message.id]


def german(**changed):
    """Return what turns into German, with some entries changed: None takes one out."""
    entries = {m.id: m.string for m in GERMAN if m.id} | changed
    return Turner({said: turned for said, turned in entries.items() if turned}, ",")


def notebook(number):
    [path] = (ROOT / "lessons").glob(f"{number}_*.ipynb")
    return path.read_text("utf-8")


def test_the_catalogue_is_whole_and_in_one_language():
    assert findings(GERMAN) == []
    assert [line for number in LESSONS for line in missing(GERMAN, number)] == []


@pytest.mark.parametrize("turned, word", [
    ("", "untranslated"), ("{unit} lit", "names in braces differ"),
    ("{leads} führt nach 2 s mit `pair`", "code or links differ"),
    ("{leads} führt nach 3 s mit `Rig()`", "numbers differ"),
    ("{leads} führt after 2 s with `Rig()`, the", "English in it: the with"),
])
def test_what_is_wrong_is_found(turned, word):
    from babel.messages.catalog import Catalog

    catalogue = Catalog(locale="de")
    catalogue.add("{leads} leads after 2 s with the `Rig()`", turned)
    assert word in "; ".join(findings(catalogue))


@pytest.mark.parametrize("number", LESSONS)
def test_all_that_a_learner_meets_can_be_looked_up(number):
    """A share of the questions; all of them: python -m tests.language check de."""
    turner = german()
    labels = go_through(number, turner, seeds=(1,), faults=["KF1: no power"], part=slice(1, None, 7))
    assert turner.missed == set()
    assert too_long(labels) == []


def test_a_sentence_that_is_missing_is_told_and_stays_english():
    turner = german(**{"Failures in a year": None})
    assert turner("Failures in a year\nHow many times a year does it fail on the average?") == (
        "Failures in a year\nWie oft im Jahr fällt sie im Mittel aus?")
    assert turner.missed == {"Failures in a year"}


@pytest.mark.parametrize("number", LESSONS)
def test_a_lesson_keeps_its_cells_and_its_code(number):
    turner, before = german(), json.loads(notebook(number))
    after = json.loads(turned_notebook(notebook(number), turner))
    assert turner.missed == set()
    assert [c["id"] for c in after["cells"]] == [c["id"] for c in before["cells"]]
    for one, two in zip(before["cells"], after["cells"], strict=True):
        assert one["cell_type"] != "code" or one["source"] == two["source"]
    text = "".join(line for c in after["cells"] if c["cell_type"] == "markdown"
                   for line in [*c["source"], "\n"])
    headings = {line.replace(" ", "-") for line in re.findall(r"(?m)^#+ (.+)$", text)}
    assert {*ANCHOR.findall(text)} <= headings


@pytest.mark.parametrize("kind", ["long", "rtl"])
def test_in_a_language_of_marks_nothing_stands_outside_them(kind):
    """Whatever is read lies between the marks of a sentence, or has no words."""
    turner = Turner({said: pseudo_text(said, kind) for said in IDS}, ".")
    for said in ("0.229 s: KF2 took over, outputs held 234 ms, nothing lost; "
                 "from here 0.64 outages a year instead of 0.46.",
                 "Works. 0.46 outages a year from here, as when healthy.",
                 "KF1 controller 1: no power", "a) below 5 min/a\nb) not sure"):
        bare = turner(said)
        while (inner := re.sub(r"⟦[^⟦⟧]*⟧", "", bare)) != bare:
            bare = inner
        assert is_neutral(bare), bare
    cells = json.loads(turned_notebook(notebook("04"), turner))["cells"]
    assert turner.missed == set()
    assert sum("⟦" in "".join(cell["source"]) for cell in cells) > 20


def test_what_is_typed_in_german_is_read():
    turner = german()
    assert [turner.back(word) for word in ("Nicht sicher", "in Bereitschaft", "35 min/a", "off")] == [
        "not sure", "standby", "35 min/a", "off"]


SAID_BACK = """
from lessons.exercises.session import Session
from lessons.language.edges import turner_now
for typed, said in {"0,01 pro Jahr": "0,01 pro Jahr ist etwa 10-mal zu klein", "zwei Stunden": "keine Einheit",
                    "1.234,5": "1.234,5 ist etwa 10", "alle acht Jahre": "Gelesen als 0,125 im Jahr"}.items():
    read = turner_now()(Session(seed=0).check("01-recall-once", typed, 0).feedback.split("\\n")[0])
    assert said in read, (typed, read)
assert not turner_now().missed, turner_now().missed
"""


def test_what_was_typed_is_said_back_as_it_was_typed():
    """In a process of its own: what is kept as it is stays so."""
    subprocess.run([sys.executable, "-c", SAID_BACK], cwd=ROOT, check=True,
                   env=os.environ | {"WORKBOOK_LANGUAGE": "de", "WORKBOOK_RECORD": ""})


@pytest.mark.parametrize("said, read", [
    ("Kept in /home/Anna Groß/my-workbook/record.json, and nowhere else.",
     "Liegt in /home/Anna Groß/my-workbook/record.json und nirgends sonst."),
    ("Label: the tall one. Actions: 3. Minutes active: 0.",
     "Kennung: the tall one. Handlungen: 3. Aktive Minuten: 0."),
    ("7 h comes out without the travel and the search, doubled: which parts are missing?",
     "7 h kommt heraus, wenn ohne „Anfahrt und Fehlersuche“ gerechnet und verdoppelt wird: "
     "welche Teile fehlen?"),
    ("'1/a' does not measure money per time.", "'1/a' ist keine Einheit für „Geld je Zeit“."),
])
def test_what_people_wrote_stays_and_quotes_hold_what_is_quoted(said, read):
    turner = german()
    assert turner(said) == read and turner.missed == set()


def test_the_lamp_of_a_shared_interface_is_turned():
    """No lesson of this language has such a plant; somebody's own may."""
    pair = Switchover(load_plant(ROOT / "tests" / "plant_files" / "heat_station.toml"))
    pair.switch_on("KF1: no power")
    pair.run_to(10_000)
    said = [lamp.text for lamp in lamps_of(pair.snapshot()) if lamp.unit == "KF10A"]
    turner = german()
    assert list(map(turner, said)) == [
        "keine Daten von KF1", "keine Schreibbefehle von hier", "Daten laufen von KF2", "KF2 schreibt"]
    assert turner.missed == set()


def test_texts_of_code_are_found_as_their_forms():
    source = '"""No."""\nsaid = f"{unit} leads" + (" again" if back else f" at {t:.1f} s")\nraise E("no")'
    assert [*code_templates(source)] == ["{unit} leads again", "{unit} leads at {t} s"]


def test_texts_of_a_script_are_turned_and_its_names_are_not():
    source = 'toggle("on"); say("Full screen", `${words}: what can fail`, `No fault is called "${w}". `);'
    turned = Turner({"on": "ein", "Full screen": "Ganz", "{words}: what can fail": "{words}: Fehler",
                     'No fault is called "{w}".': "Kein Fehler heißt {w}."}, ",").script(source)
    assert turned == 'toggle("on"); say("Ganz", `${words}: Fehler`, `Kein Fehler heißt ${w}. `);'


def test_a_language_that_is_not_there_is_refused(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("WORKBOOK_LANGUAGE", "en")
    assert main(["worksheets", str(tmp_path / "paper"), "--language", "xx"]) == 2
    assert "language must be one of en, de, got 'xx'" in capsys.readouterr().err


def test_the_paper_of_an_exam_is_german_and_its_key_is_english(monkeypatch):
    monkeypatch.setenv("WORKBOOK_LANGUAGE", "de")
    exam = draw_exam(["01"], variants=1, minutes=20)
    paper, key = exam_paper(exam, exam.variants[0]), exam_key(exam)
    said = re.sub(r"<[^>]+>", " ", paper.partition("<body>")[2])
    assert '<html lang="de"' in paper and "Prüfung" in said and "Seite 1 von" in said
    assert not {*re.findall(r"[^\W\d_]+", said)} & ENGLISH
    assert '<html lang="en"' in key and "In brackets stands what is taken too" in key


def test_slides_are_english_whatever_the_language(monkeypatch):
    monkeypatch.setenv("WORKBOOK_LANGUAGE", "de")
    [path] = chosen_lessons(["01"])
    assert '<html lang="en"' in (slides := deck(read_lesson(path))) and "Fehler" not in slides


PICTURE = """
from itertools import combinations
import labkit
from lessons.language.edges import turned_page, turner_now
from lessons.pictures.plant_picture import plant_svg
from tests.test_layout import overlap, words_of
rig = labkit.Rig()
rig.switch_on("KF1: no power")
rig.wait(10)
words = words_of(turned_page(plant_svg(rig.plant, rig.snapshot(), width=840.0)))
assert sum("\u27e6" in text for text, _ in words) > 2
assert not [text for text, _ in words if " power" in text and "\u27e6" not in text]
assert not [1 for one, two in combinations(words, 2) if overlap(one[1], two[1])]
assert not turner_now().missed, turner_now().missed
"""


def test_a_picture_has_room_for_words_twice_as_long(tmp_path):
    """In a process of its own: widths of words are kept for one language."""
    write(pseudo("long"), tmp_path / "long.po")
    subprocess.run([sys.executable, "-c", PICTURE], cwd=ROOT, check=True,
                   env=os.environ | {"WORKBOOK_LANGUAGE": str(tmp_path / "long.po")})


LESSON = """
import contextlib, io, json, sys
from IPython.core.interactiveshell import InteractiveShell
shell, read = InteractiveShell.instance(), []
import lessons
from lessons.language.edges import turner_now
with contextlib.redirect_stdout(io.StringIO()):
    for cell in json.load(sys.stdin)["cells"]:
        if cell["cell_type"] == "code":
            ran = shell.run_cell("".join(cell["source"]), store_history=False)
            assert ran.success, cell["id"]
            if ran.result is not None:
                read.append(shell.display_formatter.format(ran.result)[0].get("text/plain", ""))
assert not turner_now().missed, turner_now().missed
assert any("Wie oft im Jahr ist das?" in text for text in read)
"""


def test_a_lesson_runs_in_german():
    """Its code as it stands, through the edges of a real shell; by hand so for lesson 04 too."""
    subprocess.run([sys.executable, "-c", LESSON], input=notebook("01"), text=True, cwd=ROOT, check=True,
                   env=os.environ | {"WORKBOOK_LANGUAGE": "de", "WORKBOOK_RECORD": ""})


@pytest.mark.parametrize(("content", "rule"), [
    (b"", "must say in its head which language"),
    (b"\xff\x00", "must be a catalogue of gettext in UTF-8"),
    (b'msgid "x\n', "must be a catalogue of gettext in UTF-8"),
    (b'msgid ""\nmsgstr ""\n"Language: de\\n"\n\nmsgid "{a} {b} {c} {d} xx"\nmsgstr "{a}"\n',
     ".*at most 2 of less than 4 letters"),
])
def test_what_is_no_catalogue_is_refused_with_its_name(content, rule, tmp_path):
    (tmp_path / "own.po").write_bytes(content)
    with pytest.raises(ValueError, match=f"own.po:? {rule}"):
        turner_of(str(tmp_path / "own.po"))
