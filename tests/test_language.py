"""Another language: what is missing, mixed or too long; two languages that only look like ones."""

import json
import os
import re
import subprocess
import sys

import pytest

from lessons.language.catalogue import catalogue_of
from lessons.language.notebooks import ANCHOR, turned_notebook
from lessons.language.turning import Turner, is_neutral
from tests.language import LESSONS, findings, missing, pseudo_text, too_long
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


def test_texts_of_code_are_found_as_their_forms():
    source = '"""No."""\nsaid = f"{unit} leads" + (" again" if back else f" at {t:.1f} s")\nraise E("no")'
    assert [*code_templates(source)] == ["{unit} leads again", "{unit} leads at {t} s"]


def test_a_picture_in_german_is_laid_out_for_its_words(tmp_path):
    """In a process of its own: widths of words are kept for one language."""
    made = subprocess.run(
        [sys.executable, "-c", "import lessons.language.edges as e, labkit\n"
         "from lessons.pictures.plant_picture import plant_svg\n"
         "rig = labkit.Rig(); rig.switch_on('KF1: no power'); rig.wait(10)\n"
         "print(e.turned_page(plant_svg(rig.plant, rig.snapshot(), width=840.0)))"],
        env=os.environ | {"WORKBOOK_LANGUAGE": "de"}, cwd=ROOT, capture_output=True, text=True, check=True)
    read = re.findall(r">([^<>]+)</text>", made.stdout)
    assert {"ohne Spannung", "Zulaufpumpe 2"} & {*read}, read
    assert not [text for text in read if re.search(r"\b(power|pump|supply|rack)\b", text)]
