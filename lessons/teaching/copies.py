"""A lesson, or the glossary, as one file for those without the controls: copy and handout.

Pictures stand inside the file; where the lesson has controls, their text stands with a line that
says so. The reading copy shows the code, the handout leaves it out.
"""

from __future__ import annotations

import re

from lessons.teaching.lesson_file import LessonFile
from lessons.teaching.pages import CONTROLS, markdown, outputs, page

__all__ = ["glossary_copy", "handout", "reading_copy"]

FENCED = re.compile(r"^```python\n.*?^```", re.MULTILINE | re.DOTALL)
COMPARE = "*Compare at the screen: what this cell shows would fill in your paper.*"
ON_SCREEN = "*The lines to type stand in the lesson.*"


def reading_copy(lesson: LessonFile) -> str:
    """Return a lesson as one HTML file with its code.

    Parameters
    ----------
    lesson : LessonFile
        As stored, or as run by `lessons.teaching.kit.run_lesson` with pictures.

    Returns
    -------
    str
        A whole HTML document; it needs no network.
    """
    return _copy(lesson, code=True)


def handout(lesson: LessonFile) -> str:
    """Return a lesson as one HTML file without code, to print and to write on.

    Parameters
    ----------
    lesson : LessonFile
        As in `reading_copy`.

    Returns
    -------
    str
        A whole HTML document; it needs no network.
    """
    return _copy(lesson, code=False)


def glossary_copy(glossary: LessonFile) -> str:
    """Return the words of the course as one HTML file, to which the other copies lead.

    Parameters
    ----------
    glossary : LessonFile
        The notebook of the glossary.

    Returns
    -------
    str
        A whole HTML document; it needs no network.
    """
    sections = [{"heading": section.heading, "anchor": section.heading.replace(" ", "-"),
                 "text": markdown("\n\n".join(cell.source for cell in section.cells))}
                for section in glossary.sections]
    return page("glossary.html.j2", title=glossary.title, opening=markdown(glossary.opening),
                sections=sections)


def _copy(lesson: LessonFile, *, code: bool) -> str:
    sections = []
    for section in lesson.sections:
        if section.heading == "Start":
            continue
        blocks = []
        asked = False
        for cell in section.cells:
            if cell.kind == "text":
                text = cell.source if code else FENCED.sub(ON_SCREEN, cell.source)
                blocks.append({"text": markdown(text)})
            elif asked and not code and not CONTROLS.search(cell.source):
                blocks.append({"text": markdown(COMPARE)})
            else:
                blocks.append({"code": cell.source if code else "",
                               "outputs": list(outputs(cell, on_paper=not code))})
                # what a cell prints below the product is the product
                asked = section.heading == "Make" and bool(CONTROLS.search(cell.source))
        sections.append({"heading": section.heading, "minutes": section.minutes,
                         "anchor": section.heading.replace(" ", "-"), "blocks": blocks})
    return page("copy.html.j2", lesson=lesson, opening=markdown(lesson.opening),
                sections=sections, on_paper=not code,
                kind="Reading copy" if code else "Handout")
