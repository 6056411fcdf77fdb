"""Pages of a class: learner by item, what was written in own words, feedback for each learner."""

from collections import Counter
from collections.abc import Iterable
from pathlib import Path

from labkit.writing import safe_line, safe_text, stem_of, write_new
from lessons.exercises.item import fill
from lessons.exercises.learner_record import NO_LABEL
from lessons.exercises.lookup import lesson_of
from lessons.exercises.misconceptions import safety_concern
from lessons.exercises.progress import begun_lessons, few, item_name, lesson_progress
from lessons.teaching.class_table import TALK_RULE, ClassTable, Learner, says
from lessons.teaching.class_tries import Try
from lessons.teaching.lesson_file import lesson_files
from lessons.teaching.pages import page

LONGEST_TEXT = 600
COLUMNS = 10
LOOKED_AT = 5
RIGHT_NAMED = 16
NOTHING_OPEN = "Nothing is open."


def class_page(table: ClassTable) -> str:
    """Return one page: safety first, who needs a talk, then first and last try, lesson by lesson."""
    lessons = [(number, [name for name in table.tried if name.startswith(f"{number}-")])
               for number in _numbers_of(table.tried)]
    grids = [(number, f"{at + 1} to {at + len(here)} of {len(names)}" * (len(names) > COLUMNS), here,
              *_who_tried(table, here)) for number, names in lessons
             for wide in [-(-len(names) // -(-len(names) // COLUMNS))]  # no grid of one question
             for at in range(0, len(names), wide) for here in [names[at:at + wide]]]
    met = [(name, count, says(name), table.met_at(name))
           for name, count in table.misconceptions.items()]
    return page(
        "class.html.j2", table=table, grids=grids, rule=TALK_RULE, line=safe_line, item=item_name,
        safety=[each for each in met if safety_concern(each[0])],
        again=[each for each in met if not safety_concern(each[0])][:LOOKED_AT],
        talks=table.to_talk_to(),
        weeks=[(one, [_of_week(one, week) for week in table.weeks]) for one in table.learners])


def _who_tried(table: ClassTable, names: Iterable[str]) -> tuple[list[Learner], list[Learner]]:
    """Return the learners who tried one of some items, and those who did not."""
    sides: tuple[list[Learner], list[Learner]] = ([], [])
    for one in table.learners:
        sides[one.by_item.keys().isdisjoint(names)].append(one)
    return sides


def _numbers_of(names: Iterable[str]) -> list[str]:
    """Return the numbers of the lessons of some items, in order."""
    return sorted({name.partition("-")[0] for name in names})


def _of_week(learner: Learner, week: str) -> str:
    marked = learner.of_week(week)
    return f"{sum(marked)} of {len(marked)}" if marked else ""


def aloud_page(table: ClassTable, *, names: bool = False) -> str:
    """Return what was last written in own words, question by question.

    Without names the answers stand in the order of the alphabet, so that none is known by its place,
    and the same words once.
    """
    found: dict[str, Counter[tuple[str, str, str]]] = {}
    asked: dict[str, str] = {}
    for learner in table.learners:
        for name, (_, last) in learner.by_item.items():
            for place, words in last.item.free_texts(last.judged.value, last.numbers):
                asked.setdefault(name, fill(last.item.ask, last.numbers))
                found.setdefault(name, Counter())[
                    learner.name if names else "", place, _short(words)] += 1
    questions = [(item_name(name), asked[name],
                  sorted(((*one, count) for one, count in found[name].items()),
                         key=lambda one: (one[0], one[1], one[2].lower())))
                 for name in table.tried if name in found]
    return page("aloud.html.j2", questions=questions, line=safe_line)


def _short(words: str) -> str:
    words = safe_text(words.strip())
    return words if len(words) <= LONGEST_TEXT else f"{words[:LONGEST_TEXT]} …"


def feedback_page(learner: Learner) -> str:
    """Return the page of one learner: what was right, what to look at again, the next step."""
    last = [one for _, one in learner.by_item.values() if one.item.points]
    right = []
    numbers = _numbers_of(one.item.id for one in last)
    for number in numbers:
        here = [one for one in last if one.item.id.startswith(f"{number}-")]
        names = [item_name(one.item.id).rpartition(" (")[0].replace(", ", ": ")
                 for one in here if one.right]
        right.append((lesson_of(f"{number}-").title, number, len(names), len(here),
                      few(names, max(1, RIGHT_NAMED // len(numbers)))))
    again = sorted((one for one in last if not one.right), key=lambda one: not one.concern)
    return page(
        "feedback.html.j2", label=safe_line(learner.name), lessons=right,
        right=sum(one.right for one in last), marked=len(last),
        again=[{"name": item_name(one.item.id), "mark": one.mark, "concern": bool(one.concern),
                "question": fill(one.item.ask, one.numbers), "asked": _short(one.asked)}
               for one in again[:LOOKED_AT]],
        more=len(again) - LOOKED_AT, next_step=_next_step(again, learner))


def _next_step(again: list[Try], learner: Learner) -> str:
    """Return one thing to do: what concerns safety, then what was missed, then what is open."""
    if again and again[0].concern:
        return (f"Speak with your instructor about {item_name(again[0].item.id)} before you go near "
                "a plant.")
    if again:
        return f"Answer {item_name(again[0].item.id)} once more."
    attempts = [one.attempt for one in learner.tries]
    begun = begun_lessons(attempts)
    for number in begun:
        lesson = lesson_of(f"{number}-")
        for name in lesson_progress(number, attempts).waiting:
            if lesson.item(name).points:
                return f"Answer {item_name(name)}."
    fresh = [path.stem[:2] for path in lesson_files() if path.stem[:2] not in begun]
    return f"Begin lesson {fresh[0]}, {lesson_of(f'{fresh[0]}-').title}." if fresh else NOTHING_OPEN


def new_folder(folder: Path) -> None:
    """Refuse a folder in which there is something.

    Raises
    ------
    ValueError
        When it is not empty, or is no folder.
    """
    if folder.exists() and not (folder.is_dir() and not any(folder.iterdir())):
        raise ValueError(f"{folder} is there already: name a new folder, or empty it")


def write_feedback(table: ClassTable, folder: Path) -> tuple[Path, ...]:
    """Write the page of each learner into a new folder.

    Raises
    ------
    ValueError
        When there is something in the folder.
    OSError
        When it cannot be written.
    """
    new_folder(folder)
    folder.mkdir(parents=True, exist_ok=True)
    return tuple(write_new(folder, f"{stem_of(one.name, NO_LABEL, '-')}.html", feedback_page(one))
                 for one in table.learners)
