"""The decks: claims with one picture, votes before their answers, readings worked out."""

import re
from dataclasses import replace
from html import unescape

import pytest

from labkit.plant.plant import load_plant
from lessons.exercises.item import fill
from lessons.exercises.lookup import at_plant, lesson_of
from lessons.teaching.deck import deck, demonstration, predicted, slides_of
from lessons.teaching.key import key_page
from lessons.teaching.lesson_file import lesson_files, read_lesson
from lessons.teaching.teacher_notes import teacher_notes
from lessons.teaching.worksheet import question_of
from tests.paper_leaks import CHOSEN, words
from tests.paper_numbers import numbers_in, wrong_in_deck

LESSONS = {lesson.number: lesson for lesson in CHOSEN}


# The curves of lesson 01 take their time; WORKBOOK_LESSONS=all has them too.
@pytest.fixture(scope="module", params=[*LESSONS][len(LESSONS) < 12:])
def number(request):
    return request.param


@pytest.fixture(scope="module")
def slides(number):
    return [*slides_of(LESSONS[number])]


def test_ten_to_fifteen_slides_in_the_order_of_the_hour(slides):
    kinds = [slide.kind for slide in slides]
    assert 10 <= len(kinds) <= 15
    firsts = [kinds.index(kind) for kind in (
        "title", "situation", "plant", "vote", "run", "result", "reveal", "formula", "board")]
    assert firsts == sorted(firsts) and kinds.count("reveal") == 3


def test_a_slide_has_one_claim_at_most_one_picture_and_words_to_say(slides):
    for slide in slides:
        assert slide.claim and slide.notes or slide.kind == "result"
        pictures = re.findall(r'<img class="(?!formula)(\w+)" alt="([^"]+)"', slide.html)
        assert [theme for theme, _ in pictures] in ([], ["light", "dark"])
        said = words(f"{slide.claim} {slide.html} {' '.join(slide.notes)}")
        assert not re.search(r"\bcells?\b|python|\bimport\b|check\(", said, re.IGNORECASE), said
        # What stands on a slide is read from the last row: no more than a few lines.
        read = re.sub(r'(?:alt|aria-label)="[^"]*"|<title>.*?</title>', "", slide.html)
        assert len(re.findall(r"\w+", words(read))) <= 130


def test_no_slide_tells_the_answer_before_its_reveal(slides):
    """The right option stands marked on the reveal, and before that nowhere but among the options."""
    for place, slide in enumerate(slides):
        if slide.kind != "reveal":
            continue
        right = re.search(r'class="right"><b>(\w)</b> ✓ (.+?)</li>', slide.html)
        assert slide.claim == unescape(f"{right[1]}: {right[2]}")
        before = [each for each in slides[:place] if "options" not in each.html]
        assert not [each.claim for each in before if unescape(right[2]) in
                    unescape(each.html) + each.claim]


# What the vote of a lesson gives must stand in the picture of its result.
VOTED = {"03": "MTBF {mtbf_h} h and MTTR {mttr_h} h", "09": "intervals of {weeks} weeks",
         "11": "two units, {years:g} year, {failures} failure", "12": "Everything single: loss"}


@pytest.mark.parametrize("number", VOTED)
def test_vote_and_result_are_of_one_case(number):
    lesson = read_lesson(lesson_files()[int(number) - 1])
    (shown,) = [slide for slide in slides_of(lesson) if slide.kind == "result"]
    numbers = question_of(lesson, predicted(number), 0).numbers
    assert fill(VOTED[number], numbers) in words(re.search('alt="([^"]+)"', shown.html)[1])
    if number == "09":
        assert f"{numbers.years} years" in shown.claim and f"{100 * numbers.dead:.0f}" in shown.claim


@pytest.mark.parametrize("number", [path.stem[:2] for path in lesson_files()])
def test_a_demonstration_takes_the_numbers_of_its_vote_and_types_none(number):
    given = vars(question_of(read_lesson(lesson_files()[int(number) - 1]), predicted(number), 0).numbers)
    given = {float(value) for value in given.values() if type(value) in (int, float) and value > 9}
    for step in teacher_notes(number)["demonstration"]:
        typed = numbers_in(f"{step['do']} {step.get('otherwise', '')} {step.get('settings', '')}")
        assert not typed & given, step


def test_what_is_expected_is_what_the_model_shows(number, slides):
    (run,) = [step for step in demonstration(number) if step["expect"]]
    item = next(item for item in lesson_of(f"{number}-x").items if item.predicts)
    shown = item.run(lesson_of(f"{number}-x").numbers(item.case, 0))
    assert "\n".join(run["expect"]) == shown.strip() and run["otherwise"]
    said = " ".join(next(slide for slide in slides if slide.kind == "run").notes)
    assert all(line in said for line in run["expect"])


def test_slides_have_the_numbers_and_letters_of_screen_and_key(number, slides):
    html = key_page(LESSONS[number])
    assert [*wrong_in_deck(LESSONS[number], 0, slides, html)] == []
    *_, reveal = (place for place, each in enumerate(slides) if each.kind == "reveal")
    letter, rest = slides[reveal].claim[0], slides[reveal].claim[1:]
    other = replace(slides[reveal], claim=f"{'ab'[letter == 'a']}{rest}")
    assert [*wrong_in_deck(LESSONS[number], 0, (*slides[:reveal], other, *slides[reveal + 1:]), html)]


def test_a_deck_has_its_seed_both_themes_and_notes():
    text = deck(LESSONS["08"], seed=7)
    assert "numbers 7" in text and "dark-theme" in text and 'class="notes"' in text


def test_the_plant_on_the_slide_is_the_one_that_is_asked_for():
    plant = load_plant("mirelow")
    with at_plant(plant):
        drawn = next(slide for slide in slides_of(LESSONS["04"]) if slide.kind == "plant")
    assert drawn.claim.startswith(plant.name)
