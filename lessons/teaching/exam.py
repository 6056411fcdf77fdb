"""An exam from the questions of the lessons: variants, their papers, and one key for all of them.

Every variant has the same questions in the same order, with numbers and an order of the options of
its own. What is right, what is taken too and what it counts is what the items say.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import zip_longest
from types import SimpleNamespace

from labkit.arguments import count
from labkit.writing import csv_text
from lessons.exercises.item import LETTERS, Item, fill, lettered, shuffled
from lessons.exercises.lookup import lesson_of
from lessons.exercises.numeric import Numeric
from lessons.exercises.quantities import unit
from lessons.exercises.replies import Verdict
from lessons.teaching.pages import page, piece
from lessons.teaching.teacher_notes import teacher_notes
from lessons.teaching.telling import tells
from lessons.teaching.worksheet import Question, question_of, question_pages

MOST_VARIANTS = 26
# One point a minute is common practice; a time that a class has needed is worth more.
POINTS_PER_MINUTE = 1
# Some platforms round what is smaller than this to nothing: a time a year is asked in a smaller unit.
SMALL = 0.1
IN_PLACE = ("min/a", "s/a", "ms/a")


@dataclass(frozen=True)
class ExamVariant:
    """Hold one variant: its letter, the seed of its numbers, its pages and its questions."""

    letter: str
    seed: int
    pages: tuple[str, ...]
    questions: tuple[Question, ...]


@dataclass(frozen=True)
class Exam:
    """Hold an exam.

    Parameters
    ----------
    lessons : tuple of str
        Their numbers, two digits each.
    pass_percent : int
        Which share of the points is enough.
    """

    lessons: tuple[str, ...]
    seed: int
    minutes: int
    pass_percent: int
    variants: tuple[ExamVariant, ...]

    @property
    def count(self) -> int:
        """How many questions each variant has."""
        return len(self.variants[0].questions)

    @property
    def points(self) -> int:
        """All points."""
        return sum(question.item.points for question in self.variants[0].questions)

    @property
    def pass_points(self) -> int:
        """The least number of points that is enough."""
        return _pass_points(self.points, self.pass_percent)

    def differing(self, variant: ExamVariant) -> int:
        """Return how many answers of a variant are others than those of the first one."""
        return sum(one.marked != other.marked for one, other in zip(
            self.variants[0].questions, variant.questions, strict=True))


def draw_exam(lessons: Sequence[str], *, seed: int = 1, variants: int = 2, minutes: int = 60,
              pass_percent: int = 60) -> Exam:
    """Draw questions of lessons in turn until the minutes are used, and write each variant.

    Parameters
    ----------
    lessons : sequence of str
        Their numbers, two digits each.
    seed : int
        Which questions and which numbers.
    variants, minutes, pass_percent : int
        How many variants, how long the exam lasts, which share of the points is enough.

    Raises
    ------
    ValueError
        When a number is out of its range, or no question fits.
    """
    for name, value, most in (("variants", variants, MOST_VARIANTS), ("minutes", minutes, 600),
                              ("pass", pass_percent, 100)):
        count(name, value, least=1, most=most)
    seeds = [100 * seed + place for place in range(1, variants + 1)]
    items = _drawn(lessons, seed, seeds, minutes * POINTS_PER_MINUTE)
    if not items:
        raise ValueError(f"minutes must be enough for one question, got {minutes}")
    points = sum(item.points for item in items)
    lead = (f"{len(items)} questions, {points} points, {minutes} minutes. "
            f"{_pass_points(points, pass_percent)} points are enough. One try, no hints; \"not sure\" "
            "counts nothing. Write the unit where there is room for it.")
    return Exam(tuple(lessons), seed, minutes, pass_percent, tuple(
        ExamVariant(letter.upper(), each, *question_pages(items, seed=each, lead=lead))
        for letter, each in zip(LETTERS, seeds, strict=False)))


def may_be_asked(item: Item) -> bool:
    """Say whether a question stands alone on paper and has one answer that is marked in full."""
    lesson = lesson_of(item.id)
    left_out = {*teacher_notes(lesson.number).get("not_on_paper", ()),
                *(step.item for chain in lesson.chains for step in chain.steps)}
    if item.id in left_out or item.predicts or item.many_answers or not item.points:
        return False
    form = item.on_paper(lesson.numbers(item.case, 0), 0)
    return not (form.words or form.reason or form.grid and any(
        cell.words or cell.unit is not None
        for cell in form.grid.cells.values() if not isinstance(cell, str)))


def exam_paper(exam: Exam, variant: ExamVariant) -> str:
    """Return the paper of a variant as a page to print."""
    return page("exam.html.j2", exam=exam, variant=variant, pages=variant.pages)


def exam_key(exam: Exam) -> str:
    """Return what the papers are marked by, one leaf for each variant; for instructors, in English."""
    return piece("exam_key.html.j2", exam=exam)


def exam_table(exam: Exam) -> str:
    """Return all questions with their answers as CSV, a row for each."""
    rows = [("variant", "question", "item", "points", "text", "options", "answer")]
    for variant in exam.variants:
        for each in variant.questions:
            options = "\n".join(lettered(list(each.form.options)))
            rows.append((variant.letter, each.number, each.item.id, each.item.points, question_text(each),
                         options, "\n".join(each.marked)))
    return csv_text(rows)


def exam_quiz(exam: Exam) -> str:
    """Return the questions as XML for the question bank of a learning platform.

    The variants of a question stand in one category, so that a quiz can draw one of them. A number
    is asked in a unit that is given, since a platform reads no units as the items do.

    References
    ----------
    The documented question XML with the root `quiz`: types multichoice, numerical and matching.
    """
    return piece("quiz.xml.j2", seed=exam.seed, places=[
        [_in_bank(variant.questions[place], variant.letter) for variant in exam.variants]
        for place in range(exam.count)])


def _in_bank(question: Question, letter: str) -> dict[str, object]:
    """Return a question: a number, one option of some, or what belongs to what."""
    form, item, numbers = question.form, question.item, question.numbers
    found = {"name": f"{question.number:02d} {letter} {item.id}", "points": item.points,
             "text": question_text(question)}
    if form.unit is not None:
        (part,) = item.numeric_parts()
        of_unit, factor = asked_in(part, numbers)
        said = f"Answer in {of_unit}." if of_unit else "Answer with a number."
        return found | {"kind": "numerical", "text": f"{found['text']}\n{said}", "answers": [
            (f"{value:.9g}", f"{far:.9f}".rstrip("0").rstrip("."))
            for value, far in taken(part, numbers, of_unit, factor)]}
    if not form.places and not form.grid:
        return found | {"kind": "multichoice", "options": [
            (option, 100 if place == question.right_place else 0) for place, option in enumerate(form.options)]}
    right = item.right_answer(numbers)
    pairs = ([(" / ".join(place), str(said)) for place, said in right.items()] if form.grid else
             [(card, str(right.index(card) + 1)) for card in form.options])
    offered = dict.fromkeys(option for cell in (form.grid.cells if form.grid else {}).values()
                            if not isinstance(cell, str) for option in cell.options)
    # What is offered and belongs nowhere stands without a question.
    return found | {"kind": "matching", "pairs": [*pairs, *(
        ("", said) for said in offered if said not in dict(pairs).values())]}


def question_text(question: Question) -> str:
    """Return situation and question, and what stands in a table already."""
    grid = question.form.grid
    given = [f"{' / '.join(place)}: {cell}" for place, cell in (grid.cells if grid else {}).items()
             if isinstance(cell, str) and cell]
    told = fill(question.item.case.text, question.numbers).strip()
    ask = fill(question.item.ask, question.numbers).strip()
    place = ["Which place has each card? 1 is the first."] if question.form.places else []
    return "\n".join(filter(None, (told, *given, ask, *place)))


def asked_in(part: Numeric, numbers: SimpleNamespace) -> tuple[str, float]:
    """Return the unit in which a platform asks for a number, and the factor to it."""
    own, value = unit(part.unit), abs(part.solve(numbers))
    for other in (part.unit, *IN_PLACE):
        factor = own.factor / unit(other).factor
        if unit(other).kind == own.kind and value * factor >= SMALL:
            return other, factor
    return part.unit, 1.0


def taken(part: Numeric, numbers: SimpleNamespace, of_unit: str, factor: float
          ) -> list[tuple[float, float]]:
    """Return the right value and how far others are taken, then what is right with two figures.

    A platform counts no figures: it takes all that is as near as what is right with three or four.
    """
    value = factor * part.solve(numbers)

    def rounded(figures: int) -> list[float]:
        near = float(f"{value:.{figures}g}")
        judged = part.judge(f"{near:.9g} {of_unit}", numbers, 0, {})
        return [near] if judged.verdict is Verdict.RIGHT else []

    right = [factor * float(each) for figures in (3, 4) for each in part.taken(numbers, figures) or ()]
    # The last digit in which a value is written must not turn an answer on the edge away.
    far = max(abs(each - value) for each in (value, *right, *rounded(3), *rounded(4)))
    far += 1e-6 * abs(value)
    return [(value, far), *((each, 0.0) for each in rounded(2) if abs(each - value) > far)]


def _pass_points(points: int, percent: int) -> int:
    return math.ceil(points * percent / 100)


def _drawn(lessons: Sequence[str], seed: int, seeds: Sequence[int], most_points: int
           ) -> tuple[Item, ...]:
    """Return questions of the lessons in turn, none of which answers another in any variant."""
    chosen: list[Item] = []
    queues = [_queue(number, seed) for number in lessons]
    for item in (item for turn in zip_longest(*queues) for item in turn if item is not None):
        left = most_points - sum(each.points for each in chosen)
        if (item.points <= left and item.ask not in {each.ask for each in chosen}
                and not any(_answers(one, other, each) for each in seeds for chose in chosen
                            for one, other in ((item, chose), (chose, item)))):
            chosen.append(item)
    return tuple(sorted(chosen, key=lambda item: item.id.partition("-")[0]))


def _queue(number: str, seed: int) -> list[Item]:
    """Return the questions of a lesson in the order of the seed, each objective once in a round."""
    items = shuffled([item for item in lesson_of(f"{number}-exam").items if may_be_asked(item)],
                     f"exam:{number}:{seed}")
    rounds: Counter[str] = Counter()
    placed = []
    for item in items:
        placed.append((rounds[item.objective], item))
        rounds[item.objective] += 1
    return [item for _, item in sorted(placed, key=lambda each: each[0])]


def _answers(one: Item, other: Item, seed: int) -> bool:
    """Say whether the text of one question tells what another one asks for."""
    asked = question_of(None, other, seed)
    text = one.task(question_of(None, one, seed).numbers, seed)
    # A share may be told without its per cent.
    shares = [(value / 100, "") for value, of_unit in asked.results if of_unit == "%"]
    if any(tells(text, *result) for result in (*asked.results, *shares)):
        return True
    options = () if asked.form.places else asked.form.options
    return bool(options) and options[asked.right_place].rstrip(".").lower() in text.lower()
