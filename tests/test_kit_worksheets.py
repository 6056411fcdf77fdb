"""On paper nothing is answered by what stands near it, and the key has the numbers of the paper."""

import re
from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest

from labkit.plant.plant import load_plant
from lessons.exercises.lookup import at_plant, lesson_of
from lessons.exercises.measuring import checks_of
from lessons.language import VARIABLE
from lessons.teaching.key import key_page
from lessons.teaching.lesson_file import lesson_files, read_lesson
from lessons.teaching.worksheet import question_of, worksheets
from tests.paper_leaks import CHOSEN, answers_told, leaks, marked_options, words
from tests.paper_numbers import wrong_in_lesson, wrong_on_leaf

LESSONS = {lesson.number: lesson for lesson in CHOSEN}
# One seed for each; `python -m tests.paper_leaks` takes all lessons and many seeds.
SEEDS = {number: 0 if int(number) % 2 else int(number) for number in LESSONS}


@pytest.fixture(scope="module", params=LESSONS)
def number(request):
    return request.param


@pytest.fixture(scope="module")
def seed(number):
    return SEEDS[number]


@pytest.fixture(scope="module")
def made(number, seed):
    return worksheets(LESSONS[number], seed=seed)


def test_no_page_tells_the_answer_of_a_question_on_it_or_before(made):
    sheets, questions = made
    assert leaks(sheets, questions) == []
    assert [] == [odd for sheet in sheets for html in sheet.pages for odd in marked_options(html)]


def test_the_finder_finds_each_way_to_tell():
    sheets, questions = worksheets(LESSONS["01"])
    at = {question.item.id: question for question in questions}
    down = replace(at["01-downtime"], numbers=lesson_of("01-x").numbers(at["01-downtime"].item.case, 0))
    for said in ("= 35.0 min a year", "0.584 h a year", "2 102 s/a", "about 35 min a year",
                 "2.10 x 10^3 s a year", "down 35.04 min in a year", "0.02433 d a year"):
        assert answers_told(down, said), said
    for said in ("MTTR 35 min", "page 35", "36.1 min a year", "3504 min a year"):
        assert not answers_told(down, said), said
    order = question_of(LESSONS["01"], lesson_of("01-x").item("01-restoration"), 0)
    cards = order.item.right_answer(order.numbers)
    assert answers_told(order, " | ".join(cards)) and not answers_told(order, " | ".join(cards[::-1]))
    letters = order.item.marked_by(order.numbers, order.seed)[0]
    assert answers_told(order, f"Order: {letters}") and answers_told(order, letters.replace(" ", ", "))
    assert answers_told(order, at["01-mttr"].item.task(at["01-mttr"].numbers, 0))
    choice = at["01-first-failures"]
    best = choice.item.best(choice.numbers).text
    assert answers_told(choice, f"It is {best}.") and not answers_told(choice, "nothing of it")
    assert marked_options('<ul class="in1"><li>a) one</li><li><b>b) two</b></li></ul>')
    assert not marked_options('<ul class="in1"><li>a) one</li><li>b) two</li></ul>')


def test_the_finder_fails_the_printed_notebook():
    """The first edition printed the lesson with its outputs: what is told there is found."""
    cells = [cell for section in LESSONS["08"].sections for cell in section.cells]
    printed = " | ".join(["".join(output.get("data", {}).get("text/plain", output.get("text", "")))
                          for cell in cells for output in cell.outputs])
    _, questions = worksheets(LESSONS["08"])
    assert any(answers_told(question, printed) for question in questions if not question.seed)


def test_no_page_has_a_worked_example_alone(made):
    assert all('class="n"' in page for page in made[0][1].pages if "<dl" in page)


def test_no_line_ends_between_a_number_and_its_unit(made):
    html = "".join(page for sheet in made[0] for page in sheet.pages)
    written = re.findall(r"<(p|dd|li)\b[^>]*>(.*?)</\1>", html, re.DOTALL)
    assert not [text for _, text in written if re.search(r"\d (?:h|min|s|ms|%)(?!\w)", text)]
    assert any("&nbsp;" in text for _, text in written)


def test_each_question_has_its_form(made):
    sheets, questions = made
    html = "".join(sheet.html for sheet in sheets)
    for question in questions:
        form = question.form
        assert f'<span class="n">{question.number}</span>' in sheets[question.sheet - 1].pages[
            question.page - 1]
        for letter, option in zip("abcdefghij", form.options):
            assert f"{letter}) {option}" in unescape(html).replace("\u00a0", " ")
        assert any((form.options, form.unit is not None, form.grid, form.bench, form.words))
    assert html.count('class="places"') == sum(bool(question.form.places) for question in questions)
    assert html.count('class="answer"') == sum(
        question.form.unit is not None for question in questions)
    open_cells = sum(len(question.item.open_cells()) for question in questions
                     if question.form.grid)
    asked = re.findall(r'<td class="(?:letter|number|words)"|<td><span class="tick"', html)
    assert len(asked) == open_cells


def test_pages_have_name_date_seed_and_number(made, seed):
    sheets, _ = made
    for sheet in sheets:
        pages = sheet.html.split('<section class="page">')[1:]
        assert len(pages) == len(sheet.pages)
        for place, html in enumerate(pages, 1):
            text = words(html)
            assert "Name" in text and "Date" in text and f"numbers {seed}" in text
            assert f"page {place} of {len(pages)}" in text
    assert 4 <= sum(len(sheet.pages) for sheet in sheets) <= 6


def test_paper_speaks_of_nothing_on_a_screen(made):
    for sheet in made[0]:
        assert not re.findall(r"\b(?:cells?|box(?:es)?|buttons?|click|python|check\()",
                              words(sheet.html), re.IGNORECASE)


@pytest.mark.parametrize(("number", "above"), [
    ("02", "TB1 MTBF 250 000 h MTTR 3 h"), ("07", "Rule 10. If the partner is silent"),
    ("10", "98.6 % KF2: no power")])
def test_what_a_question_says_stands_above_it_does(number, above):
    """On a screen the lesson has printed it; on paper it stands in the question."""
    file = next(path for path in lesson_files() if path.stem.startswith(number))
    sheets, questions = worksheets(read_lesson(file))
    (asked,) = [each for each in questions if re.search(r"\babove\b", each.item.ask)]
    page = " ".join(words(sheets[asked.sheet - 1].pages[asked.page - 1]).split())
    assert above in page and page.index(above) < page.index(asked.item.ask)


def test_paper_and_key_have_the_numbers_and_answers_of_the_screen(made, number, seed):
    assert [*wrong_in_lesson(*made, key_page(LESSONS[number], seed=seed))] == []
    assert all(each.seed == (seed or LESSONS[number].fresh.get(each.item.id, 0)) for each in made[1])


def test_a_number_or_a_letter_that_differs_from_the_screen_is_found():
    sheets, questions = worksheets(LESSONS["01"], seed=3)
    html = key_page(LESSONS["01"], seed=3)

    def found(question, pages=lambda each: each, key=lambda each: each):
        paper = [*map(pages, sheets[question.sheet - 1].pages[:question.page])]
        return len([*wrong_on_leaf([question], lambda _: paper, key(html))])

    asked = {question.item.id: question for question in questions}
    down, share = asked["01-downtime"], asked["01-recall-share"]
    assert (found(down), found(share)) == (0, 0)
    assert found(down, pages=lambda text: text.replace("MTTR of 6", "MTTR of 7")) == 2
    assert found(down, key=lambda text: text.replace(down.marked[0], "9 h/a")) == 1
    assert found(share, key=lambda text: text.replace(">b</div>", ">a</div>")) == 1


def test_what_marks_the_paper_is_what_the_tutor_takes():
    """Letters and numbers of the key are judged right, and what lies outside is not."""
    for question in worksheets(LESSONS["01"], seed=2)[1]:
        item, numbers = question.item, question.numbers
        for part in item.numeric_parts():
            for figures in (3, 2):
                span = part.taken(numbers, figures)
                for text in span or ():
                    said = f"{text} {part.unit}"
                    assert part.judge(said, numbers, 0, {}).verdict.name == "RIGHT", said
                for text in _outside(*span) if span else ():
                    said = f"{text} {part.unit}"
                    assert part.judge(said, numbers, 0, {}).verdict.name != "RIGHT", said
        if question.form.options:
            said = item.marked_by(numbers, question.seed)[0]
            because = " because of this" if question.form.reason else ""
            judged = item.judge(said + because, numbers, question.seed, {})
            assert judged.verdict.name in ("RIGHT", "NOTED") and not judged.misconception


def test_the_key_writes_a_value_as_on_a_board_and_not_twice():
    lessons = [lesson for lesson in map(read_lesson, lesson_files())
               if lesson.number in ("11", "12")]
    marked = {question.item.id: question.marked for lesson in lessons
              for question in worksheets(lesson, seed=0)[1]}
    # half of 182 days; 0.05 ** (1 / 11) = 0.761596, with two figures 0.76
    assert marked["11-recall-sleep"] == ("91 d",)
    assert marked["12-recall-tests"] == ("76.16 % (76.2; 76)",)


def _outside(low, high):
    """The next answers with as many figures on both sides."""
    decimals = len(low.partition(".")[2])
    step = 10.0**-decimals
    if not decimals:
        step = 10.0 ** (len(low) - len(low.rstrip("0")))
    return f"{float(low) - step:.{decimals}f}", f"{float(high) + step:.{decimals}f}"


def test_the_key_begins_with_what_stands_on_the_paper():
    leaf = words(key_page(LESSONS["04"], seed=4).partition("<h2>Reasons")[0])
    questions = worksheets(LESSONS["04"], seed=4)[1]
    for question in questions:
        for line in question.item.marked_by(question.numbers, question.seed):
            assert line in leaf
    points = sum(question.item.points for question in questions)
    assert re.search(rf"in all \W+{points}\b", leaf)


def test_another_seed_has_other_numbers():
    one, other = (worksheets(LESSONS["04"], seed=seed)[1] for seed in (3, 4))
    assert any(vars(a.numbers) != vars(b.numbers) for a, b in zip(one, other))


def test_a_drill_is_played_at_the_plant_that_is_named():
    lesson = read_lesson(next(path for path in lesson_files() if path.stem.startswith("10")))
    plant = load_plant("mirelow")
    with at_plant(plant):
        drills = [each for each in worksheets(lesson)[1] if each.form.bench]
    assert drills and all(each.numbers.scene.plant is plant for each in drills)
    card = drills[0].item.card(drills[0].numbers)
    shown = {name for name, minutes, reading in card["checks"] if minutes > 0 and reading}
    assert shown == set(checks_of(plant)) and "bridge relay KF90" not in str(card["forbidden"])


@pytest.mark.parametrize("number", ["01", "04"])
def test_german_sheets_have_as_many_pages(number, monkeypatch):
    """German words are longer: what fits on a page has to be measured in the language that is read."""
    monkeypatch.setenv(VARIABLE, "de")
    assert 4 <= sum(len(sheet.pages) for sheet in worksheets(LESSONS[number])[0]) <= 6


def test_a_plant_without_the_parts_of_a_question_is_not_drawn_beside_it(tmp_path):
    """With other names of its controllers a plant shows nothing of KF1; the paper says whose rig it is."""
    lesson, text = read_lesson(lesson_files()[3]), Path(load_plant().path).read_text("utf-8")
    (odd := tmp_path / "odd.toml").write_text(re.sub(r"\bKF([12])\b", r"CPU\1", text), "utf-8")
    for plant, own in ((load_plant(odd), False), (load_plant(), True)):
        with at_plant(plant):
            page = worksheets(lesson)[0][0].html
        assert "CPU1" not in page and ("The rig of the lessons, whose parts" in page) is not own
