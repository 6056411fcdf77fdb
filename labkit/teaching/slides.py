"""One slide file for each lesson: opens without a network, arrow keys turn the slides."""

from __future__ import annotations

from labkit.exercises.choosing import LETTERS, Choice
from labkit.exercises.items import fill
from labkit.exercises.predicting import Prediction
from labkit.exercises.session import lesson_of
from labkit.teaching.lessonfile import LessonFile, Section
from labkit.teaching.pages import CONTROLS, markdown, outputs, page

__all__ = ["slides"]

SHORT = 160
SPOKEN = ("Question", "Explain", "Sum up")


def slides(lesson: LessonFile, *, seed: int = 0) -> str:
    """Return the slides of a lesson.

    Parameters
    ----------
    lesson : LessonFile
        Pictures come from its outputs, so run it first (`labkit.teaching.kit.run_lesson`).
    seed : int
        Which numbers, and which order of the options: 0 for those of the plant.

    Returns
    -------
    str
        A whole HTML document. It shows questions and options; the answers are in the key.
    """
    items = lesson_of(f"{lesson.number}-slides")
    found = [{"title": lesson.title, "html": "", "points": list(lesson.objectives),
              "kind": "title"}]
    for section in lesson.sections:
        if section.heading in SPOKEN:
            found += _spoken(section)
        for name in section.items:
            item = next((one for one in items.items if one.id == name), None)
            if isinstance(item, Prediction) or (isinstance(item, Choice) and item.voting):
                found.append(_question(items, item, seed))
    # a line that only leads to an exercise needs no slide of its own
    found = [slide for slide in found if slide["kind"] != "text" or len(slide["html"]) > SHORT]
    return page("slides.html.j2", lesson=lesson, slides=found)


def _spoken(section: Section) -> list[dict]:
    """Make a slide of each text, with the first picture that follows it."""
    found: list[dict] = []
    for cell in section.cells:
        if cell.kind == "text":
            found.append({"title": section.heading, "html": markdown(cell.source), "points": [],
                          "kind": "text"})
        elif found and not CONTROLS.search(cell.source) and found[-1]["kind"] == "text":
            shown = list(outputs(cell))
            if shown:
                found[-1]["html"] += shown[0]["html"]
                found[-1]["kind"] = "shown"
    return found


def _question(lesson, item, seed: int) -> dict:
    numbers = lesson.numbers(item.case, seed)
    situation = fill(item.case.text, numbers)
    # the order that learners with this seed have on their screens
    texts = [fill(option.text, numbers) for option in item.arranged(seed)]
    lines = [f"{LETTERS[place]}) {text}" for place, text in enumerate([*texts, "not sure"])]
    return {"title": item.title, "kind": "question", "points": lines,
            "html": markdown(f"{situation}\n\n**{fill(item.ask, numbers)}**")}
