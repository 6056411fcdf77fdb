"""Does a worksheet tell the answer of a question on the same page, or on one before?

This finder reads the printed page as a learner does, and knows each usual way to write a number.
It has nothing in common with the code that lays the pages out.

Run `python -m tests.paper_leaks --seeds 20` for all lessons; the tests take one seed for some.
"""

import argparse
import functools
import os
import re
from html import unescape

from lessons.exercises.item import fill
from lessons.exercises.quantities import unit
from lessons.teaching.lesson_file import lesson_files, read_lesson
from lessons.teaching.worksheet import NAMES, worksheets

# The tests take these; with WORKBOOK_LESSONS=all in the environment they take every lesson.
SHARE = ("01", "04", "08")
CHOSEN = [read_lesson(path) for path in lesson_files()
          if path.stem[:2] in SHARE or os.environ.get("WORKBOOK_LESSONS") == "all"]

SCALE = {"ms": 1e-3 / 3600, "s": 1 / 3600, "min": 1 / 60, "h": 1.0, "d": 24.0, "a": 8760.0}
SPOKEN = {"year": "a", "years": "a", "hour": "h", "hours": "h", "day": "d", "days": "d",
          "minutes": "min", "seconds": "s"}
SPACES = "\u202f\u00a0\u2009"


def words(html):
    """Return what a reader sees and hears of a page."""
    html = re.sub(r"<style>.*?</style>", " ", html, flags=re.DOTALL)
    heard = re.findall(r'(?:aria-label|alt)="([^"]*)"', html)
    seen = re.sub(r"<sup>(-?\d+)</sup>", r"^\1", html)
    # What is set apart by tags alone is read on.
    seen = re.sub(r"</?(?:b|i|u|span|em|strong)\b[^>]*>", "", seen)
    return unescape(" | ".join([re.sub(r"<[^>]+>", " | ", seen), *heard]))


@functools.lru_cache(maxsize=64)
def numbers_in(text):
    """Return each number of a text: value, figures, unit above and below, and what stands before."""
    plain = re.sub(rf"(?<=\d)[{SPACES} ,](?=\d{{3}}(?!\d))", "", text)
    plain = re.sub(r" ?[×x·] ?10\^?(-?\d+)", r"e\1", plain).replace("−", "-")
    found_here = []
    for found in re.finditer(r"(?<![\w.,])(\d+(?:\.\d+)?(?: ?e-?\d+)?)"
                             rf"[ {SPACES}]?(%|[a-zA-ZΩ]+)?(?:(?:/| an? | per | each )(\w+))?", plain):
        digits = found[1].replace(" ", "")
        mantissa = re.sub(r"e.*", "", digits)
        figures = len(mantissa.replace(".", "").lstrip("0") if "." in mantissa
                      else mantissa.strip("0"))
        above = SPOKEN.get(found[2], found[2])
        below = SPOKEN.get(found[3], found[3])
        if found[2] and not found[3] and (more := re.match(
                r" (?:down |lost |dead )?(?:in )?(?:an?|each|per) (year|day|hour)", plain[found.end(2):])):
            below = SPOKEN[more[1]]
        found_here.append((float(digits), figures, above, below, plain[max(0, found.start() - 14):found.start()]))
    return found_here


def told_as_number(text, value, of_unit):
    """Return the numbers of a text that tell a value."""
    own = unit(of_unit)
    found = []
    for number, figures, above, below, before in numbers_in(text):
        said = re.search(r"(?:=|≈|about|nearly|result:?|answer:?|is)\s*$", before, re.IGNORECASE)
        if figures < 3 and not said:
            continue
        candidates = {number}
        if own.kind[0] == "time" and above in SCALE:
            candidates = {number * SCALE[above] / (own.factor * (SCALE["a"] if own.kind[1] else 1))}
            if own.kind[1] and below not in (None, "a"):
                continue
        elif own.kind == ("", "time") and below in SCALE:
            candidates = {number / SCALE[below] / own.factor}
        elif own.text == "%" and above is None and below is None:
            candidates = {100 * number}
        elif above in SCALE or above == "%" and own.text != "%":
            continue
        if any(abs(each - value) <= 0.005 * abs(value) for each in candidates):
            found.append(f"{before}{number:g} {above or ''} {below or ''}")
    return found


def answers_told(question, text):
    """Return what a page that stands at or behind a question tells of its answer."""
    item, numbers, seed, form = question.item, question.numbers, question.seed, question.form
    # A number that the task itself gives tells nothing, even where it is the result too.
    given, text = fill(item.case.text, numbers).strip(), text.replace("\u00a0", " ")
    text = text.replace(given, " ") if given else text
    for cell in form.grid.cells.values() if form.grid else ():
        if isinstance(cell, str):
            text = text.replace(f"| {cell} |", "|  |")
    found = [said for part in item.numeric_parts()
             for said in told_as_number(text, part.solve(numbers), part.unit)]
    flat = plain(text)
    if form.options and not form.places:
        right = form.options["abcdefgh".index(item.marked_by(numbers, seed)[0])]
        if len(right) > 9 and plain(right) in flat:
            found.append(right)
    if form.places:
        cards = [plain(card) for card in item.right_answer(numbers)]
        spots = [flat.find(card) for card in cards]
        if -1 not in spots and spots == sorted(spots):
            found.append("the cards in order")
        if any(told_in_order(cards, passage) for passage in text.lower().split("|")):
            found.append("a story in the order of the cards")
        if re.search(r"\W+".join(item.marked_by(numbers, seed)[0].split()), text):
            found.append("the letters in order")
    return found


def told_in_order(cards, passage):
    """Say whether a passage comes to what four or more cards are about, in their order."""
    begins = [{word[:4] for word in re.findall("[a-z]{4,}", card)} for card in cards]
    own = [each - {word for other in begins if other is not each for word in other} for each in begins]
    spots = [found.start() for each in own if each
             if (found := re.search(rf"\b(?:{'|'.join(sorted(each))})", passage))]
    return len(spots) >= 4 and spots == sorted(spots)


def plain(text):
    return " ".join(re.sub(r"[^\w%/+-]+", " ", text).lower().split())


LIST = re.compile(r'<ul class="in[12]">(.*?)</ul>', re.DOTALL)


def marked_options(html):
    """Return the lists of options in which one looks unlike the others."""
    return [listed for listed in LIST.findall(html)
            if len({re.sub(r">[^<]+<", "><", each)
                    for each in re.findall(r"<li.*?</li>", listed, re.DOTALL)}) > 1]


def without_options(html):
    """Return a page without its lists of options, none of which is marked: they tell nothing."""
    return LIST.sub(" ", html)


def leaks(sheets, questions):
    """Return each answer that stands on the page of its question or on a later one."""
    found = []
    for question in questions:
        for place, sheet in enumerate(sheets, 1):
            if place < question.sheet or (place > question.sheet and (
                    question.form.seen or sheet.name == NAMES[2])):
                continue
            first = question.page if place == question.sheet else 1
            for at, html in enumerate(sheet.pages[first - 1:], first):
                found += [(question.item.id, sheet.name, at, said)
                          for said in answers_told(question, words(without_options(html)))]
    return found


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    seeds = range(parser.parse_args().seeds)
    count = 0
    for path in lesson_files():
        lesson = read_lesson(path)
        for seed in seeds:
            sheets, questions = worksheets(lesson, seed=seed)
            found = leaks(sheets, questions)
            found += [odd for sheet in sheets for html in sheet.pages for odd in marked_options(html)]
            count += len(found)
            for each in found:
                print(path.stem, seed, each)
            pages = sum(len(sheet.pages) for sheet in sheets)
            if not 4 <= pages <= 6:
                print(path.stem, seed, "pages:", pages)
    print(f"{len(lesson_files())} lessons, {len(seeds)} seeds: {count} answers told")
    return 1 if count else 0


if __name__ == "__main__":
    raise SystemExit(main())
