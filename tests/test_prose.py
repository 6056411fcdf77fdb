"""The prose of the lessons: short sentences, numbers that code gives, words that are explained."""

import re
from statistics import mean

import nbformat
import pytest

import labkit
import lessons as course
from lessons.exercises.item import fill
from lessons.exercises.lookup import lesson_of
from tests.notebooks import ROOT, lessons, stored_text
from tests.prose import (
    GLOSSARY,
    given_numbers,
    glossary,
    numbers_of,
    paragraphs,
    sentences,
    words_line,
)

LESSONS = {path: nbformat.read(path, as_version=4) for path in lessons()}

# "At most 20 words as a rule": plain-language practice. The share of exceptions, the longest of
# them, and a mean well below the rule are our choice.
USUAL_WORDS = 20
MOST_WORDS = 25
MEAN_WORDS = 12
MOST_EXCEPTIONS = 0.02

# Whole numbers up to ten count things in a text, as words would: "three tasks", "2 lines".
COUNTS = range(11)


@pytest.fixture(params=LESSONS, ids=lambda path: path.stem)
def lesson(request):
    return request.param


@pytest.fixture
def notebook(lesson):
    return LESSONS[lesson]


def texts(notebook):
    return [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]


def length(sentence):
    return sum(bool(re.search(r"\w", token)) for token in sentence.split())


def test_sentences_are_short(notebook):
    said = [s for text in texts(notebook) for part in paragraphs(text) for s in sentences(part)
            if "glossary.ipynb" not in part]
    long = [(length(s), s) for s in said if length(s) > USUAL_WORDS]
    assert not [pair for pair in long if pair[0] > MOST_WORDS]
    assert len(long) <= MOST_EXCEPTIONS * len(said), long
    assert mean(map(length, said)) < MEAN_WORDS


def test_sentences_of_tasks_and_hints_are_short():
    said = []
    for number in (path.stem[:2] for path in LESSONS):
        exercises = lesson_of(f"{number}-")
        for item in exercises.items:
            numbers = exercises.numbers(item.case, 0)
            asked = [option.text for option in getattr(item, "options", ())]
            asked += [getattr(item, "ask", ""), getattr(item, "at_panel", "")]
            asked += [item.hints.pointer, item.hints.relation, item.hints.route]
            asked += [item.case.text] if item.case.picture is None else []
            said += [(item.id, sentence) for text in asked
                     for line in fill(text, numbers).splitlines() for sentence in sentences(line)]
    long = [(length(sentence), place) for place, sentence in said if length(sentence) > USUAL_WORDS]
    assert not [pair for pair in long if pair[0] > MOST_WORDS]
    assert len(long) <= MOST_EXCEPTIONS * len(said), long
    assert mean(length(sentence) for _, sentence in said) < MEAN_WORDS


@pytest.mark.parametrize(("text", "count"), [
    ("One. Two? Three: four; five.", 5),
    ("It takes 2.5 s, e.g. here.", 2),
    ("`a.b. c` and $x. y$ stay whole.", 1),
    ('He says: "Stop." Then he goes.', 3),
])
def test_sentences_are_told_apart(text, count):
    assert len(sentences(text)) == count


def test_lists_and_tables_are_read_line_by_line():
    text = "# A\n\nOne\ntwo.\n\n| a | b |\n\n1. first\n   line\n- second"
    assert paragraphs(text) == ["One two.", "first line", "second"]


def test_numbers_in_prose_are_given_by_code(notebook):
    given, loose = given_numbers(notebook) | set(COUNTS), []
    for text in texts(notebook):
        # Years and pages of books are no numbers of ours, minutes are held elsewhere.
        before, *_ = re.split(r"^(?:\*\*Time|#* ?\**References)", text, flags=re.MULTILINE)
        # What a reader is to type into a cell stands in the letters of code.
        before = re.sub(r"`[^`\n]*`", "X", before)
        for part in paragraphs(before):
            loose += [(number, part) for number in numbers_of(part) if number not in given]
    assert not loose


def test_names_of_code_in_prose_are_those_of_code(notebook):
    """What a text sets in the letters of code can be imported, or stands in a cell."""
    blocks = re.findall(r"^```python.*?^```", "\n".join(texts(notebook)), re.M | re.S)
    code = [c.source + str(c.outputs) for c in notebook.cells if c.cell_type == "code"]
    known = {*dir(labkit), *dir(course), *re.findall(r"\w+", "\n".join(code + blocks)), "workbook"}
    named = {name for text in texts(notebook) for said in re.findall(r"`([^`\n]+)`", text)
             for name in re.findall(r"^[a-z]\w+", said)}
    assert named <= known


@pytest.mark.parametrize(("text", "numbers"), [
    ("MTBF 60 000 h, 8.5 % of KF10", [60_000, 8.5]),
    ("IEC 61508-6 and lesson 04, at 02:40", []),
    ("[twice](x.ipynb#200) in 8760\u202fh", [8760]),
])
def test_numbers_are_read_as_a_reader_does(text, numbers):
    assert numbers_of(text) == numbers


# ---------------------------------------------------------------- the glossary


def test_the_words_of_a_lesson_are_named_at_its_start(lesson, notebook):
    last = notebook.cells[0].source.split("\n\n")[-1]
    assert last == words_line(notebook, lesson.stem[:2]), "run: python -m tests.prose, with the path of this lesson"


def test_new_words_stand_out_where_they_are_explained(lesson, notebook):
    for word in glossary():
        if word.lesson == lesson.stem[:2]:
            marked = re.compile(rf"\*\*?{word.pattern.pattern}\*", word.pattern.flags)
            assert any(marked.search(text) for text in texts(notebook)[1:]), word.term


def test_the_glossary_is_kept_as_lessons_are():
    notebook = nbformat.read(GLOSSARY, as_version=4)
    assert GLOSSARY.read_text(encoding="utf-8") == stored_text(notebook)
    assert all(cell.cell_type == "markdown" for cell in notebook.cells)
    terms = [word.term for word in glossary()]
    assert len(terms) == len({term.lower() for term in terms})
    for word in glossary():
        assert 4 <= length(word.text) <= 40, word.term
        assert all(length(sentence) <= USUAL_WORDS for sentence in sentences(word.text)), word.term


def test_each_word_has_a_cell_of_its_own_and_stands_in_the_index():
    cells = {cell.id: cell.source for cell in nbformat.read(GLOSSARY, as_version=4).cells}
    for word in glossary():
        assert cells[word.cell_id].startswith(f"### {word.term}\n")
    index = [term for line in cells["glossary-a-to-z"].splitlines() if line.startswith("- **")
             for term in re.findall(r"\[([^]]+)\]", line)]
    assert sorted(index) == sorted(word.term for word in glossary())
    assert index == sorted(index, key=str.lower)


def test_the_glossary_holds_the_words_of_the_course():
    # The words of IEC 60050-192 that the models and texts use, and the roles of the pair.
    wanted = {"availability", "unavailability", "MTBF", "MTTR", "failure rate",
              "restoration rate", "latent fault", "common cause", "coverage", "proof test",
              "active", "standby", "switchover", "takeover", "heartbeat", "hold time"}
    assert wanted <= {word.term for word in glossary()}


def test_the_contents_and_links_of_the_glossary_hold():
    source = "\n".join(texts(nbformat.read(GLOSSARY, as_version=4)))
    anchors = {title.replace(" ", "-") for title in re.findall(r"^#+ (.+)$", source, re.MULTILINE)}
    for target in re.findall(r"\]\(#([^)]+)\)", source):
        assert target in anchors
    listed = re.findall(r"\[([^\]]+)\]\(#", texts(nbformat.read(GLOSSARY, as_version=4))[0])
    assert {word.term for word in glossary()} <= set(listed)
    for name in re.findall(r"\]\((\w+\.ipynb)\)", source):
        assert (ROOT / "lessons" / name).is_file()


def test_names_in_code_are_names_of_the_packages():
    code = "\n".join(p.read_text("utf-8") for package in ("labkit", "lessons")
                     for p in (ROOT / package).rglob("*.py"))
    for word in glossary():
        for name in re.findall(r"`([\w.]+)", word.text):
            assert re.search(rf"\b{name.split('.')[-1]}\b", code), name
