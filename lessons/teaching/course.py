"""A course: one plan with its minutes, and all the paper that it needs, ready to print."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from importlib.resources import files

from labkit.arguments import one_of
from labkit.plant.plant import load_plant
from labkit.rig.rig import Rig
from labkit.switchover.lamps import lamps_of
from lessons.exercises.item import LETTERS, fill
from lessons.exercises.lookup import lesson_of, plant_asked
from lessons.pictures import svg
from lessons.pictures.plant_picture import plant_svg
from lessons.teaching.deck import deck, demonstration, predicted
from lessons.teaching.key import key_page
from lessons.teaching.lesson_file import BY_CHOICE, LessonFile, lesson_files, read_lesson
from lessons.teaching.pages import Files, page, piece
from lessons.teaching.run_sheet import run_sheet
from lessons.teaching.teacher_notes import teacher_notes
from lessons.teaching.worksheet import NAMES, question_of, worksheets

EXIT_MIN, BREAK_MIN, LONG_MIN = 3, 10, 100
CORE = ("Start", "Recall", "Question", "Predict", "Run and observe", "Explain")
CARD_SHAPES = ("square", "circle", "triangle", "diamond", "ring", "question")


@dataclass(frozen=True)
class CoursePart:
    """Hold what a session takes of a lesson.

    Parameters
    ----------
    minutes : int
        What is left of the lesson's minutes.
    cut : tuple of str
        What was dropped for the minutes.
    home : tuple of str
        Titles of what goes home.
    """

    lesson: LessonFile
    how: str
    minutes: int
    cut: tuple[str, ...]
    home: tuple[str, ...]


@dataclass(frozen=True)
class CourseSession:
    """Hold one meeting: its parts, each pause, and the lessons that are done at home after it."""

    title: str
    minutes: int
    parts: tuple[CoursePart, ...]
    pause_min: int
    homework: tuple[LessonFile, ...]

    @property
    def taken_min(self) -> int:
        """Minutes of all parts and their exit tickets, with a pause between two parts."""
        return (sum(part.minutes + EXIT_MIN for part in self.parts)
                + self.pause_min * (len(self.parts) - 1))


def _plans() -> Mapping[str, Mapping]:
    return tomllib.loads((files("lessons.teaching") / "plans.toml").read_text("utf-8"))


def course_plan(name: str) -> tuple[str, str, tuple[CourseSession, ...]]:
    """Return title, purpose and sessions of a plan; each session fits into its minutes.

    Raises
    ------
    ValueError
        When there is no such plan, or a session is longer than its minutes with all cuts made.
    """
    plan = (plans := _plans())[one_of("plan", name, plans)]
    order = _order(plan)
    lessons = {path.stem[:2]: read_lesson(path) for path in lesson_files()}
    lessons |= {number: _after(lessons[number], frozenset(order[:at])) for at, number in enumerate(order)}
    return plan["title"], plan["about"], tuple(_session(each, lessons) for each in plan["session"])


def _after(lesson: LessonFile, taught: frozenset[str]) -> LessonFile:
    """Return a lesson for a class that has had others; where it has nothing to recall, that takes no time."""
    lesson, exercises = replace(lesson, taught=taught), lesson_of(f"{lesson.number}-course")
    if any(lesson.has_had(exercises.item(name).title) for name in exercises.recall):
        return lesson
    return replace(lesson, sections=tuple(
        replace(each, minutes=each.minutes * (each.heading != "Recall")) for each in lesson.sections))


def lessons_of(plan: str) -> list[str]:
    """Return the numbers of the lessons of a plan, those done at home too.

    >>> lessons_of("evening")
    ['01', '04', '08']
    """
    return sorted({*_order(_plans()[plan])})


def _order(plan: Mapping) -> list[str]:
    return [number for told in plan["session"] for number in (
        *(part["lesson"] for part in told["part"]), *told["homework"])]


def _session(told: Mapping, lessons: Mapping[str, LessonFile]) -> CourseSession:
    pause = BREAK_MIN if told["minutes"] > LONG_MIN else 0
    chosen = [(lessons[part["lesson"]], part["how"]) for part in told["part"]]
    left = told["minutes"] - pause * (len(chosen) - 1) - EXIT_MIN * len(chosen)
    over = sum(_minutes(lesson, how) for lesson, how in chosen) - left
    parts = []
    for lesson, how in chosen:
        dropped = []
        for cut in teacher_notes(lesson.number)["cut"]:
            if over <= 0:
                break
            if how == "whole" or cut["section"] in CORE:
                dropped.append(cut)
                over -= cut["minutes"]
        parts.append(_part(lesson, how, dropped))
    if over > 0:
        raise ValueError(f"minutes of {told['title']!r} must hold its lessons with all cuts, "
                         f"got {told['minutes']}, which is {over} too few")
    return CourseSession(told["title"], told["minutes"], tuple(parts), pause,
                         tuple(lessons[number] for number in told["homework"]))


def _minutes(lesson: LessonFile, how: str) -> int:
    return lesson.minutes if how == "whole" else sum(
        section.minutes for section in lesson.sections if section.heading in CORE)


def _part(lesson: LessonFile, how: str, dropped: list) -> CoursePart:
    exercises = lesson_of(f"{lesson.number}-course")
    titles = {one.id: one.title for one in (*exercises.all_items, *exercises.chains)}
    home = [name for cut in dropped for name in cut["items"]]
    if how == "core":
        home += [name for section in lesson.sections if section.heading in ("Your turn", "Drill", "Make")
                 for name in section.items]
    return CoursePart(lesson, how, _minutes(lesson, how) - sum(cut["minutes"] for cut in dropped),
                      tuple(f"{cut['section']}: {cut['what']}" for cut in dropped),
                      tuple(titles[name] for name in dict.fromkeys(home)))


def course(*, plan: str, seed: int = 0) -> Files:
    """Yield a course: plan, papers of each lesson, cards, index, and one document of all to print.

    Parameters
    ----------
    plan : str
        "evening", "two-days" or "five-weeks", as in `plans.toml`.
    seed : int
        Which numbers the class has.

    Raises
    ------
    ValueError
        When there is no such plan.
    """
    title, about, sessions = course_plan(plan)
    # What goes home is met by nobody: it has sheets and a key, and no paper for the room.
    taught = [part.lesson for session in sessions for part in session.parts]
    lessons = [lesson for session in sessions for lesson in (
        *(part.lesson for part in session.parts), *session.homework)]
    class_pages, links = [], []
    teacher_parts = [
        page("plan.html.j2", title=title, about=about, sessions=sessions, seed=seed, exit_min=EXIT_MIN,
             machines=_plans()[plan].get("machines", True)),
        page("substitute.html.j2", title=title, lessons=[_brief(one, seed) for one in taught])]
    yield "plan.html", teacher_parts[0], ""
    yield "substitute.html", teacher_parts[1], ""
    for lesson in lessons:
        row = {"lesson": lesson, "files": []}
        links.append(row)
        for number, sheet in enumerate(worksheets(lesson, seed=seed)[0], 1):
            file = f"{lesson.number}_{number}_{sheet.name.replace(' ', '_')}.html"
            yield file, sheet.html, ""
            row["files"].append((sheet.name, file))
            class_pages.append(sheet.html)
        for kind, make in (("key", key_page), ("run sheet", run_sheet), ("slides", deck)):
            if kind == "key" or lesson in taught:
                file, text = f"{lesson.number}_{kind.replace(' ', '_')}.html", make(lesson, seed=seed)
                yield file, text, ""
                row["files"].append((kind, file))
                if kind != "slides":
                    teacher_parts.append(text)
    plant = plant_asked() or load_plant()
    cards = page("cards.html.j2", title=title, tickets=[_ticket(one, seed) for one in taught],
                 letters=[*LETTERS[:5], "?"], shapes=CARD_SHAPES, lamps=lamp_card(),
                 tallies=[_votes(one) for one in taught], plant=plant,
                 poster=plant_svg(plant, Rig(plant).snapshot(), marks=False))
    yield "cards.html", cards, ""
    index = page("index.html.j2", title=title, about=about, rows=links, names=NAMES, seed=seed)
    yield "index.html", index, ""
    yield "to_print.html", page("to_print.html.j2", title=title, teacher=[*map(_body, teacher_parts)],
                                pupil=[*map(_body, (*class_pages, cards))]), ""
    yield "Begin with index.html."


def lamp_card() -> str:
    """Return what each lamp says, from the lesson that explains it, with its shape lit and dark."""
    forms = {each.name: each.shape for each in lamps_of(Rig().snapshot())}
    lesson = read_lesson(next(path for path in lesson_files() if path.stem.startswith("04")))
    text = next(cell.source for section in lesson.sections for cell in section.cells
                if "| Lamp | Says |" in cell.source)
    rows = [[cell.strip(" *") for cell in line.strip("|").split("|")]
            for line in text[text.index("| Lamp"):].splitlines() if line.startswith("|")]
    head, _, *body = rows
    return piece("lamps.html.j2", style=svg.STYLE, lamp=svg.lamp, head=head,
                 rows=[(forms.get(cells[0]), cells) for cells in body])


def _brief(lesson: LessonFile, seed: int) -> Mapping[str, object]:
    """Return what somebody needs who stands in and has not read the lesson."""
    notes = teacher_notes(lesson.number)
    asked = question_of(lesson, predicted(lesson.number), seed)
    minutes = dict.fromkeys(("alone", "together", "pairs"), 0)
    for section in lesson.sections:
        if section.heading not in ("Sum up", BY_CHOICE):
            minutes["together" if section.heading in ("Predict", "Run and observe") else
                    "pairs" if minutes["together"] else "alone"] += section.minutes
    return {"lesson": lesson, "notes": notes, "steps": demonstration(lesson.number, seed),
            "minutes": minutes,
            "on_rig": any("faults" in step for step in notes["demonstration"]),
            "vote": asked.item.title, "letter": asked.marked[0],
            "right": asked.form.options[asked.right_place]}


def _ticket(lesson: LessonFile, seed: int) -> Mapping[str, object]:
    """Return the question at the door, with its options."""
    item = next(item for item in lesson_of(f"{lesson.number}-x").items if item.id.endswith("-exit"))
    asked = question_of(lesson, item, seed)
    return {"lesson": lesson, "told": fill(item.case.text, asked.numbers),
            "ask": fill(item.ask, asked.numbers), "options": list(zip(LETTERS, asked.form.options))}


def _votes(lesson: LessonFile) -> Mapping[str, object]:
    items = lesson_of(f"{lesson.number}-x").items
    return {"lesson": lesson, "titles": [item.title.partition(": ")[2] or item.title for item in items
                                         if item.predicts or item.voting]}


def _body(html: str) -> str:
    return re.search(r"<body>(.*)</body>", html, re.DOTALL)[1]
