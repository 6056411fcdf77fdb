"""Do worksheet, key, deck and exam have the numbers and answers of the screen, question by question?

What stands on a page is read from its HTML, as a learner reads it, and set beside the control that
asks the same question on a screen; what the key says is typed there and has to be right.

Run `python -m tests.paper_numbers --seeds 5` for all lessons; the tests take one seed for some.
"""

import argparse
import re

from lessons.exercises.item_controls import control_for
from lessons.exercises.lookup import lesson_of
from lessons.exercises.session import Session
from lessons.teaching.deck import predicted, slides_of
from lessons.teaching.exam import draw_exam, exam_key, exam_paper
from lessons.teaching.key import key_page
from lessons.teaching.lesson_file import lesson_files, read_lesson
from lessons.teaching.worksheet import question_of, worksheets
from tests.paper_leaks import SPACES, words

NEXT = re.compile(r'<section class="q">|<h2>|<figure class="lk rig">|<span class="n">|<p class="note">|<footer>')
NUMBER = re.compile(r"(?<![\w.])\d+(?:\.\d+)?(?:e-?\d+)?(?!\w)")


def numbers_in(text):
    """Return the numbers of a text."""
    text = re.sub(rf"(?<=\d)[{SPACES} ](?=\d{{3}}(?!\d))", "", text)
    return {float(each) for each in NUMBER.findall(text)}


def asked_on_screen(question):
    """Return what a control shows of a question: situation and question, options, given cells."""
    desk, item = Session(seed=question.seed), question.item
    if question.form.bench:
        return desk.task(item.id, question.seed)
    shown = words(re.sub("<h4.*?</h4>", "", control_for(item.id, question.seed, desk).heading().value))
    return " | ".join([shown, *item.form(question.numbers, question.seed)]).replace("\u00a0", " ")


def told_on_paper(question, pages):
    """Return what stands on paper for a question: its section, and the case that it is a step of."""
    before, _, own = "".join(pages).partition(f'<span class="n">{question.number}</span>')
    # Without its title, or in an exam its points, and what the lesson has printed before it.
    own = re.sub(r"^.*?</h3>|<pre>.*?</pre>", "", NEXT.split(own)[0], flags=re.DOTALL)
    chain = next((each for each in lesson_of(question.item.id).chains
                  if any(step.item == question.item.id for step in each.steps)), None)
    case = "" if chain is None else before.rpartition(f"<h2>{chain.title}</h2>")[2]
    return words(own), words(case)


def unlike_the_screen(question, pages):
    """Yield each number that only one of paper and screen has, but for results that stay open."""
    screen = numbers_in(asked_on_screen(question))
    own, case = told_on_paper(question, pages)
    paper = numbers_in(re.sub(r"____ \(question \d+\)", "", own))
    if not ("____" in own + case or question.form.bench):
        for number in screen - paper - numbers_in(case):
            yield f"{number:g} is on the screen alone"
    for number in paper - screen:
        yield f"{number:g} is on paper alone"


def typed(question, lines):
    """Return what somebody types who copies the key: the value, the letters, or a table of texts."""
    if question.form.grid:
        places = [" / ".join(place) for place in question.form.grid.cells]
        found = {place: line.removeprefix(f"{place}: ") for line in lines for place in places
                 if line.startswith(f"{place}: ")}
        return {place: said[3:] if said[1:3] == ") " else said.partition(" (")[0]
                for place, said in found.items()}
    said = lines[0].partition(" (")[0]
    return f"{said} because of this" if question.form.reason else said


def judged(question, said):
    """Return what the screen says to an answer."""
    return Session(seed=question.seed).check(question.item.id, said, question.seed).verdict.name


def wrong_in_key(question, lines):
    """Yield what a screen does not call right of what the key says; own words are never marked."""
    own_words = question.form.grid and any(
        not isinstance(cell, str) and cell.words for cell in question.form.grid.cells.values())
    verdict = "RIGHT" if question.form.bench else judged(question, typed(question, lines))
    if verdict not in ("RIGHT", "NOTED", "PARTLY" if own_words else ""):
        yield f"the key says {lines}, the screen {verdict}"


def wrong_on_leaf(questions, pages, html):
    """Yield what differs between a paper, its key and the screen."""
    rows = {int(number): [words(line).strip(" |") for line in re.findall("<div>(.*?)</div>", marked)]
            for number, marked in re.findall(
                r"<tr><td><b>(\d+)</b></td>.*?<td><div[^>]*>(.*?)</div></td>", html, re.DOTALL)}
    for question in questions:
        for said in (*unlike_the_screen(question, pages(question)),
                     *wrong_in_key(question, rows.get(question.number, ["nothing"]))):
            yield question.item.id, said


def wrong_in_lesson(sheets, questions, html):
    """Yield what differs between the worksheets of a lesson, its key and the screen."""
    yield from wrong_on_leaf(questions, lambda each: sheets[each.sheet - 1].pages[:each.page], html)
    reasons = html.partition("<h2>Reasons</h2>")[2]
    for question in questions:
        # A number stands in the reasons with its unit, unrounded: it is right as well.
        if question.form.unit is not None:
            told = re.search(rf"<code>{re.escape(question.item.id)}</code>.*?<li>(.*?)</li>", reasons,
                             re.DOTALL)
            if (verdict := judged(question, words(told[1]))) != "RIGHT":
                yield question.item.id, f"the reasons say {told[1]}, the screen {verdict}"


def wrong_in_deck(lesson, seed, slides, html):
    """Yield what differs between the votes of a deck and the screen; the key has their letters."""
    key = words(html)
    for item in lesson_of(f"{lesson.number}-").items:
        if not (item is predicted(lesson.number) or item.voting or item.id.endswith("-exit")):
            continue
        question = question_of(lesson, item, seed)
        screen = asked_on_screen(question)
        (vote,) = (place for place, slide in enumerate(slides) if slide.kind in ("vote", "exit")
                   and slide.claim.replace("\u00a0", " ") in screen)
        shown = words(slides[vote].claim + slides[vote].html).replace("\u00a0", " ")
        for number in numbers_in(shown) ^ numbers_in(screen):
            yield item.id, f"{number:g} is on one of slide and screen alone"
        for option in re.findall(r"\b([a-h]\) [^|]+?) \|", screen):
            if option.replace(") ", " ", 1) not in shown:
                yield item.id, f"{option} stands otherwise on the slide"
        if slides[vote].kind == "exit":
            continue
        told = next(slide for slide in slides[vote:] if slide.kind == "reveal").claim[0]
        said = f"{told} because of this" if item.predicts else told
        if (verdict := judged(question, said)) not in ("RIGHT", "NOTED"):
            yield item.id, f"the deck reveals {told}, the screen {verdict}"
        title = re.escape(item.title.removeprefix("For voting: "))
        if item.voting and not re.search(rf"{title}\s+{told}\b", key):
            yield item.id, f"the deck reveals {told}, and the key has it otherwise"


def wrong_in_exam(exam):
    """Yield what differs between the papers of an exam, its key and the screen."""
    leaves = exam_key(exam).split('<div class="leaf">')[1:]
    for variant, leaf in zip(exam.variants, leaves, strict=True):
        paper = exam_paper(exam, variant).split('<section class="page">')[1:]
        yield from wrong_on_leaf(variant.questions, lambda each, paper=paper: paper[:each.page], leaf)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=5)
    seeds, compared, wrong = range(parser.parse_args().seeds), 0, 0
    for lesson in map(read_lesson, lesson_files()):
        for seed in seeds:
            sheets, questions = worksheets(lesson, seed=seed)
            html = key_page(lesson, seed=seed)
            exam = draw_exam([lesson.number], seed=seed + 1, minutes=20)
            for found in (*wrong_in_lesson(sheets, questions, html),
                          *wrong_in_deck(lesson, seed, [*slides_of(lesson, seed=seed)], html),
                          *wrong_in_exam(exam)):
                wrong += 1
                print(lesson.number, seed, *found)
            compared += len(questions) + exam.count * len(exam.variants)
    print(f"{compared} questions on paper against the screen: {wrong} differences")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
