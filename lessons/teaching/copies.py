"""A lesson, or the glossary, as one file for those without the controls.

Pictures stand inside the file; where the lesson has controls, their text stands with a line that
says so.
"""

from lessons.teaching.lesson_file import LessonFile
from lessons.teaching.pages import markdown, outputs, page


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
    sections = []
    for section in lesson.sections:
        if section.heading == "Start":
            continue
        blocks = [{"text": markdown(cell.source)} if cell.kind == "text"
                  else {"code": cell.source, "outputs": list(outputs(cell))}
                  for cell in section.cells]
        sections.append({"heading": section.heading, "minutes": section.minutes,
                         "anchor": section.heading.replace(" ", "-"), "blocks": blocks})
    return page("copy.html.j2", lesson=lesson, opening=markdown(lesson.opening), sections=sections)


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
