"""One slide file for each lesson: opens without a network, arrow keys turn the slides."""

from __future__ import annotations

import re
from math import ceil

from lessons.exercises.item import fill
from lessons.exercises.lookup import lesson_of
from lessons.teaching.lesson_file import LessonFile, LessonSection
from lessons.teaching.pages import CONTROLS, markdown, outputs, page

__all__ = ["slides"]

SUBHEADING = re.compile(r"^(?=### )", re.MULTILINE)
BLOCKS = re.compile(r"\n\s*\n")
SPOKEN = ("Question", "Explain", "Sum up")
# a text of fewer letters before an exercise only leads on to it
LEADS_ON = 220
# heights in hundredths of the slide, at the type size of the template
PAGE_VH, LINE_VH, GAP_VH, ROW_VH, CODE_VH, PICTURE_VH = 76.0, 5.7, 2.2, 6.6, 4.2, 47.0
LINE_LETTERS = 62


def slides(lesson: LessonFile, *, seed: int = 0) -> str:
    """Return the slides of a lesson, in the order of the lesson.

    A question stands before what answers it. What does not fit in large type goes on to a next
    slide.

    Parameters
    ----------
    lesson : LessonFile
        Pictures come from its outputs, so run it first (`lessons.teaching.kit.run_lesson`).
    seed : int
        Which numbers, and which order of the options: 0 for those of the plant, or for the
        fresh ones that the lesson names.

    Returns
    -------
    str
        A whole HTML document. It shows questions and options; the answers are in the key.
    """
    exercises = lesson_of(f"{lesson.number}-slides")
    items = {item.id: item for item in exercises.items}
    found = [{"title": lesson.title, "html": "", "points": list(lesson.objectives),
              "kind": "title"}]
    for section in lesson.sections:
        if section.heading in SPOKEN:
            found += _spoken(section, exercises, items, lesson.fresh, seed)
        else:
            found += _questions(section.items, exercises, items, lesson.fresh, seed)
    return page("slides.html.j2", lesson=lesson, slides=found)


def _spoken(section: LessonSection, exercises, items, fresh, seed: int) -> list[dict]:
    """Make slides of texts with what their cells show, and of the questions between them."""
    found: list[dict] = []
    title = section.heading
    for cell, following in zip(section.cells, (*section.cells[1:], None)):
        if cell.kind == "text":
            *before, last = SUBHEADING.split(cell.source)
            leads_on = following is None or CONTROLS.search(following.source)
            for part in (*before, last):
                heading = re.match(r"### (.+)\n*", part)
                title = heading[1].strip() if heading else title
                text = part[heading.end():] if heading else part
                if (not leads_on or part is not last or section.heading == "Sum up"
                        or len(text) > LEADS_ON):
                    found += _paged(title, [(markdown(block), _height_vh(block))
                                            for block in _blocks(text)])
        else:
            if found and not CONTROLS.search(cell.source):
                shown = [one["html"] for one in outputs(cell)]
                last = found[-1] if found[-1]["kind"] == "text" else None
                more = _paged(title, [(html, _shown_vh(html)) for html in shown],
                              last if last and last["title"] == title else None)
                found += more
            found += _questions(cell.items, exercises, items, fresh, seed)
    return found


def _blocks(text: str) -> list[str]:
    """Return the blocks of a text; a line that announces stays with what it announces."""
    found: list[str] = []
    for block in filter(str.strip, BLOCKS.split(text)):
        if found and found[-1].rstrip().endswith(":"):
            found[-1] += f"\n\n{block}"
        else:
            found.append(block)
    return found


def _paged(title: str, blocks, last: dict | None = None) -> list[dict]:
    """Put blocks on slides, as many as fit; `last` is a slide that may take the first ones."""
    found: list[dict] = []
    for html, height_vh in blocks:
        if last is None or last["used_vh"] + height_vh > PAGE_VH:
            kind = "text" if html.startswith("<p") or height_vh != PICTURE_VH else "picture"
            last = {"title": title, "html": "", "points": [], "kind": kind, "used_vh": 0.0}
            found.append(last)
        last["html"] += html
        last["used_vh"] += height_vh
    return found


def _height_vh(block: str) -> float:
    """Return about how high a block of text stands, in hundredths of the slide."""
    height_vh = 0.0
    for part in BLOCKS.split(block.strip()):
        rows = part.splitlines()
        if rows[0].startswith("|"):
            height_vh += ROW_VH * (len(rows) - 1) + GAP_VH
        else:
            listed = re.split(r"\n(?=[-*] |\d+\. )", part)
            lines = sum(ceil(len(one) / LINE_LETTERS) for one in listed)
            height_vh += LINE_VH * lines + GAP_VH * (1 + len(listed)) / 2
    return height_vh


def _shown_vh(html: str) -> float:
    """Return about how high the output of a cell stands."""
    if html.startswith("<pre>"):
        return CODE_VH * (html.count("\n") + 1) + 2 * GAP_VH
    return PICTURE_VH


def _questions(names, exercises, items, fresh, seed: int) -> list[dict]:
    """Make a slide of each question that a class answers together: predictions and votes."""
    found = []
    for item in (items[name] for name in names if name in items):
        used = seed or fresh.get(item.id, 0)
        numbers = exercises.numbers(item.case, used)
        # the order that learners with this seed have on their screens
        lines = item.slide_lines(numbers, used)
        # lines of a board of lamps stay lines
        situation = fill(item.case.text, numbers).replace("\n", "  \n")
        if lines:
            found.append({"title": item.title, "kind": "question", "points": lines,
                          "html": markdown(f"{situation}\n\n**{fill(item.ask, numbers)}**")})
    return found
