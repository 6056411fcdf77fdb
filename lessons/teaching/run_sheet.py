"""The run sheet of a lesson: minutes, votes, board, and what goes wrong in the room."""

from labkit.plant.plant import load_plant
from labkit.rig.stories import Replay
from lessons.desk.lecture import STORIES
from lessons.exercises.lookup import lesson_of
from lessons.panels.story_desk import StoryDesk
from lessons.teaching.deck import demonstration
from lessons.teaching.key import answer_key
from lessons.teaching.lesson_file import BY_CHOICE, LessonFile
from lessons.teaching.pages import page
from lessons.teaching.teacher_notes import teacher_notes

READ = ("Roles", "Control now", "Alarms", "Panel")


def story_acts(number: str) -> list[dict]:
    """Return the story of a lesson act by act: what is done, said and read, and what otherwise.

    What is read is worked out by the engine at the moment before the next act.
    """
    said = teacher_notes(number).get("act", ())
    if not said:
        return []
    replay = Replay(StoryDesk(load_plant()).named(STORIES[number]))
    acts = []
    for place, (act, one) in enumerate(zip(replay.acts(), said, strict=True)):
        lines = dict(line[:2] for line in replay.go_to(place).view().lines)
        acts.append({"act": act, **one,
                     "expect": [f"{name}: {lines[name]}" for name in READ if name in lines]})
    return acts


def run_sheet(lesson: LessonFile, *, seed: int = 0) -> str:
    """Return the run sheet of a lesson as a page that prints on A4.

    Parameters
    ----------
    seed : int
        Which numbers the key is for: 0 for those of the plant.

    Raises
    ------
    ValueError
        When the lesson has no notes.
    """
    key = {answer.id: answer for answer in answer_key(lesson.number, seed, lesson.fresh)}
    exercises = lesson_of(f"{lesson.number}-sheet")
    titles = {one.id: one.title for one in (*key.values(), *exercises.chains)}
    clock = 0
    rows = []
    for section in lesson.sections:
        recall = section.heading == "Recall"
        names = [name for name in exercises.recall if lesson.has_had(titles[name])] if recall else section.items
        note = ("nothing yet that was taught before" if recall and not names
                else "three of: " if recall and len(names) > 3
                else "by choice, beside the hour: " if section.heading == BY_CHOICE else "")
        rows.append({"from": clock, "to": clock + section.minutes, "heading": section.heading,
                     "note": note, "items": [titles[name] for name in dict.fromkeys(names)]})
        clock += section.minutes
    notes = teacher_notes(lesson.number)
    return page(
        "runsheet.html.j2", title=f"Run sheet {lesson.number}: {lesson.title}", lesson=lesson,
        seed=seed, rows=rows, notes=notes, story=STORIES.get(lesson.number),
        acts=story_acts(lesson.number),
        demonstration=demonstration(lesson.number, seed), shown=key[notes["vote"]],
        votes=[answer for answer in key.values() if answer.voting])
