"""The deck of a lesson: one claim and one picture on a slide, from the source of the run sheet.

A vote stands before the run that answers it, and the answer on a slide of its own. Pictures come
from the functions that draw on the screen, each in the light and in the dark theme; what is
expected of a run is worked out, and never written down.
"""

import functools
import tempfile
from base64 import b64encode
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

from labkit.plant.plant import Plant, load_plant
from labkit.rig.rig import Rig
from labkit.switchover.settings import PairSettings
from labkit.wording import capital, percent, unbroken
from lessons.desk.lecture import STORIES
from lessons.exercises.control_frame import prose
from lessons.exercises.item import LETTERS, Item, fill
from lessons.exercises.lookup import lesson_of, plant_asked
from lessons.pictures.boards import verdict_of
from lessons.pictures.dead_standby import latent_alt_text, latent_svg
from lessons.pictures.figure import Still, slide_svg
from lessons.pictures.figure_choice import stills
from lessons.pictures.limits_bar import limits_alt_text, limits_svg, limits_verdict
from lessons.pictures.loss_and_price import worth_alt_text, worth_svg
from lessons.pictures.page import THEMES
from lessons.pictures.plant_picture import plant_alt_text, plant_svg
from lessons.pictures.seen import seen_at
from lessons.pictures.settling import Histories, settling_alt_text, settling_svg, settling_verdict
from lessons.teaching.key import asked_of
from lessons.teaching.lesson_file import LessonFile
from lessons.teaching.pages import formula, macro, page
from lessons.teaching.teacher_notes import teacher_notes
from lessons.teaching.worksheet import question_of

# The rig stands on a slide of its own already, and what was cut on the one of the result.
DRAWN_ELSEWHERE = ("plant", "power_cut", "dark_panel")
WORTH = "What a step gains, less what it costs, decides; not the number of nines."


on_slide = functools.partial(macro, "slide.html.j2")


@dataclass(frozen=True)
class Slide:
    """Hold one slide.

    Parameters
    ----------
    kind : str
        "title", "situation", "plant", "vote", "run", "result", "reveal", "claim", "formula",
        "board" or "exit".
    claim : str
        The sentence at its head.
    html : str
        What stands below.
    notes : tuple of str
        What is said to it.
    """

    kind: str
    claim: str
    html: str = ""
    notes: tuple[str, ...] = field(default=())


def deck(lesson: LessonFile, *, seed: int = 0) -> str:
    """Return the deck of a lesson as one HTML file that needs no network.

    Parameters
    ----------
    seed : int
        Which numbers, and which order of the options: 0 for those of the plant.
    """
    return page("deck.html.j2", lesson=lesson, slides=[*slides_of(lesson, seed=seed)], seed=seed)


def demonstration(number: str, seed: int = 0) -> list[dict]:
    """Return the ten minutes step by step, with what is expected and what to do otherwise.

    Returns
    -------
    list of dict
        "minute", "do", "expect" (lines, worked out by the model that runs; empty where nothing is
        run) and "otherwise".
    """
    item = predicted(number)
    numbers = lesson_of(item.id).numbers(item.case, seed)
    return [{"minute": step["minute"], "do": fill(step["do"], numbers),
             "expect": item.run(numbers).strip().splitlines() if step.get("run") else [],
             "otherwise": fill(step.get("otherwise", ""), numbers)}
            for step in teacher_notes(number)["demonstration"]]


def predicted(number: str) -> Item:
    """Return the question of a lesson that its run answers."""
    return next(item for item in lesson_of(f"{number}-").items if item.predicts)


def slides_of(lesson: LessonFile, *, seed: int = 0) -> Iterator[Slide]:
    """Yield the slides of a lesson, 10 to 15 of them, in the order of the hour.

    The plant that is asked for is drawn on its slide, and gives the numbers of questions whose text
    holds for it.
    """
    plant = plant_asked() or load_plant()
    notes = teacher_notes(lesson.number)
    exercises = lesson_of(f"{lesson.number}-deck")
    voted = predicted(lesson.number)
    steps = demonstration(lesson.number, seed)
    run = next(step for step in steps if step["expect"])
    yield Slide("title", lesson.title, on_slide("objectives", listed=lesson.objectives),
                (f"{lesson.minutes} minutes. {steps[0]['do']}",))
    yield Slide("situation", capital(lesson.title.partition(": ")[2] or "the question of today"),
                f'<p class="large">{prose(notes["situation"])}</p>', tuple(notes["discuss"][:1]))
    rig = Rig(plant)
    yield Slide("plant", f"{plant.name}, all healthy", _rig_picture(rig),
                ("Name the parts aloud: controllers, racks, panel, supplies. All data invented.",))
    yield from _vote(lesson, voted, seed, reveal=False)
    on_rig = any("faults" in step for step in notes["demonstration"])
    where = on_slide("run", seen=question_of(lesson, voted, seed).form.seen,
                     story=STORIES[lesson.number] if "runs_story" in notes else "",
                     where="On the rig" if on_rig else f"On the panel of lesson {lesson.number}")
    yield Slide("run", "Run it now", where,
                (*([f"On the wall: workbook lecture {lesson.number}"] if "runs_story" in notes else []),
                 *(f"Minute {step['minute']}: {step['do']}" for step in steps),
                 "Expected: " + " / ".join(run["expect"]), f"Otherwise: {run['otherwise']}"))
    drawn = [still for name, still in stills().items()
             if still.lesson == lesson.number and name not in DRAWN_ELSEWHERE]
    # One of two shows the result, where that is no state of the rig.
    drawn = drawn[:1 if on_rig else 2]
    own = _panel_of(voted, seed)
    if own:
        drawn = drawn[1:]
    yield _result(lesson, voted, seed, drawn, run, plant, own)
    yield from _vote(lesson, voted, seed, vote=False)
    for still in drawn:
        yield Slide("claim", still.caption, _still_picture(still), (still.alternative,))
    yield Slide("formula", notes["formula_says"], f"<p>{formula(notes['formula'], size_pt=14)}</p>",
                ("Read it aloud in words, then put one pair of numbers in.",))
    for item in exercises.items:
        if item.voting:
            yield from _vote(lesson, item, seed)
    yield Slide("board", "On the board", f"<pre>{escape(notes['board'].strip(chr(10)))}</pre>",
                tuple(notes["goes_wrong"]))
    for item in exercises.items:
        if item.id.endswith("-exit"):
            yield from _vote(lesson, item, seed, reveal=False, kind="exit")


def _vote(lesson: LessonFile, item: Item, seed: int, *, vote: bool = True,
          reveal: bool = True, kind: str = "vote") -> Iterator[Slide]:
    """Ask, and tell on the slide after it."""
    asked = question_of(lesson, item, seed)
    numbers, options, right = asked.numbers, asked.form.options, asked.right_place
    drawn = item.case.picture(numbers) if item.case.picture else ""
    ask = unbroken(fill(item.ask, numbers))
    wrong = [error for error in item.known_errors(numbers) if error.says]
    if vote:
        yield Slide(kind, ask, on_slide("vote", drawn=drawn, told=fill(item.case.text, numbers),
                                        options=options),
                    ("40 s in silence, then all cards up at once; count and write the tally.",
                     *(f"Said wrong: {each.says}. {each.reply or asked_of(each.misconception)}"
                       for each in wrong)))
    if reveal:
        reason = item.best(numbers).said_back(numbers)
        yield Slide("reveal", unbroken(f"{LETTERS[right]}: {options[right]}"),
                    on_slide("reveal", options=options[:-1], right=right,
                             reason=capital(reason) if reason and reason != options[right] else ""),
                    ("Ask first what was seen, then why the most popular wrong answer is tempting.",))


def _panel_of(item: Item, seed: int) -> tuple[str, str, str] | None:
    """Return claim, picture and its words of a vote whose case is not that of the lesson's picture."""
    numbers = lesson_of(item.id).numbers(item.case, seed)
    match item.id:
        case "03-long-run":
            part = Histories(numbers.mtbf_h, numbers.mttr_h, 6 * numbers.mttr_h, False, ())
            return settling_verdict(part), settling_svg(part), settling_alt_text(part)
        case "09-silent":
            said = f"Of {numbers.years} years without a test it is dead for {percent(numbers.dead)}, and nobody knows."
            return said, latent_svg(numbers.untested), latent_alt_text(numbers.untested)
        case "11-one-failure":
            watched = numbers.years, numbers.failures
            return " ".join(limits_verdict(*watched)), limits_svg(*watched), limits_alt_text(*watched)
        case "12-first-step":
            return WORTH, worth_svg(), worth_alt_text()
    return None


def _result(lesson: LessonFile, voted: Item, seed: int, drawn: list[Still], run: Mapping, plant: Plant,
            own: tuple[str, str, str] | None) -> Slide:
    """Show what the run shows: the rig of the lessons as it stands then, or a picture."""
    step = next(step for step in teacher_notes(lesson.number)["demonstration"] if step.get("run"))
    if "faults" in step:
        # A setting that has the name of a number is that number of the vote.
        numbers = vars(question_of(lesson, voted, seed).numbers)
        rig = Rig(settings=PairSettings(**{
            name: numbers[value] if isinstance(value, str) else value
            for name, value in step.get("settings", {}).items()}))
        rig.wait(step["before_s"])
        for fault in step["faults"]:
            rig.switch_on(fault)
        rig.wait(step["wait_s"])
        at = "" if plant.name == rig.plant.name else f"{rig.plant.name}: "
        verdict = verdict_of(rig.view())
        lost = [each for each in verdict.more if verdict.level == "abnormal" and each.endswith(": lost.")]
        return Slide("result", at + " ".join((verdict.sentence, *lost)), _rig_picture(rig, marks=True),
                     (seen_at(rig).replace("\n", " / "), " / ".join(run["expect"])))
    if own:
        claim, picture, alternative = own
        return Slide("result", unbroken(claim), _drawn(picture, alternative), (" / ".join(run["expect"]), alternative))
    still = drawn.pop(0)
    return Slide("result", still.caption, _still_picture(still),
                 (" / ".join(run["expect"]), still.alternative))


# ------------------------------------------------------------ pictures, for both themes


def _rig_picture(rig: Rig, *, marks: bool = False) -> str:
    drawn = plant_svg(rig.plant, rig.snapshot(), marks=marks)
    return _drawn(drawn, plant_alt_text(rig.plant, rig.snapshot(), marks=marks))


def _drawn(picture: str, alternative: str) -> str:
    return _both({theme: slide_svg(picture, theme, alternative, cut=True).encode() for theme in THEMES},
                 alternative)


def _still_picture(still: Still) -> str:
    if still.draw is None:
        return _drawn(still.picture, still.alternative)
    from lessons.pictures.figure_writing import write_picture

    with tempfile.TemporaryDirectory() as folder:
        return _both({theme: write_picture(still.draw, Path(folder) / f"{theme}.svg",
                                           theme=theme).read_bytes() for theme in THEMES},
                     still.alternative)


def _both(pictures: Mapping[str, bytes], alternative: str) -> str:
    return on_slide("picture", alternative=alternative, drawn={
        theme: b64encode(drawn).decode() for theme, drawn in pictures.items()})
