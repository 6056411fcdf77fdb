"""The page of a lesson for whoever writes its questions: each number, its slips and the replies.

For some draws it holds the formula and its value, each near miss with its id and what is said to
it, and the forms in which the right answer is taken. What goes wrong is marked: a slip that is
called right, and one that is answered as another.
"""

import functools
from collections.abc import Iterator
from types import SimpleNamespace

from lessons.exercises.item import Item, Lesson
from lessons.exercises.lookup import lesson_of
from lessons.exercises.numeric import Numeric, on_board
from lessons.exercises.quantities import unit
from lessons.exercises.replies import Verdict
from lessons.teaching.lesson_file import chosen_lessons, number_of

TOLD_APART = 2e-3


def item_page(number: str, *, draws: int = 2, only: str = "") -> str:
    """Return the page of a lesson.

    Parameters
    ----------
    number : str
        Two digits, or the name of a file of own questions.
    draws : int
        How many sets of numbers, those of the plant first.
    only : str
        First letters of the identifiers that are wanted; all without any.

    >>> page = item_page("01", draws=1, only="01-recall-once")
    >>> page.splitlines()[2]
    'Value: 1 / years, in 1/a.'
    """
    (path,) = chosen_lessons([number], own=True)
    lesson = lesson_of(f"{number_of(path)}-page")
    lines = []
    for item in lesson.items:
        for cell in item.numeric_parts():
            if cell.id.startswith(only):
                lines += _of(lesson, item, cell, draws)
    return "\n".join(lines)


def _of(lesson: Lesson, item: Item, cell: Numeric, draws: int) -> Iterator[str]:
    yield f"## {cell.id}"
    yield ""
    yield f"Value: {cell.worked.text}, in {cell.unit or 'plain numbers'}."
    yield from (f"  {name} = {line}" for name, line in cell.worked.lines().items())
    seen = []
    for seed in range(draws):
        numbers = lesson.numbers(item.case, seed)
        if numbers not in seen:
            seen.append(numbers)
            yield from _drawn(item, cell, numbers, seed)
    yield ""


def _drawn(item: Item, cell: Numeric, numbers: SimpleNamespace, seed: int) -> Iterator[str]:
    board = functools.partial(on_board, unit=cell.unit, digits=8 if cell.complement else 4)
    yield ""
    yield f"Draw {seed}: {item.task(numbers, seed).splitlines()[0]}"
    yield f"  right: {'; '.join(_accepted(cell, numbers))}"
    right, known = cell.solve(numbers), cell.near_misses(numbers)
    known += [(right * cell.own.factor / unit(other).factor, f"unit: {other}")
              for other in cell.other_units()]
    for value, slip in known:
        judged = cell.judge(f"{value!r} {cell.unit}", numbers, seed, {})
        if judged.verdict is Verdict.RIGHT:
            near = abs(value - right) < TOLD_APART * abs(right)
            note = "not told from the right value" if near else "! called right"
        elif slip not in judged.slip.split(" or "):
            same = any(other == judged.slip and abs(its - value) < TOLD_APART * abs(value)
                       for its, other in known)
            note = f"{'' if same else '! '}as {judged.slip or judged.verdict.value}"
        else:
            note = judged.shows.removeprefix(f"{value!r} {cell.unit} ")
        yield f"  {board(value)} ({slip}): {note}"


def _accepted(cell: Numeric, numbers: SimpleNamespace) -> Iterator[str]:
    """Yield forms of the right answer that are taken, those that are refused with a mark."""
    right, own = cell.solve(numbers), unit(cell.unit)
    forms = [(right, cell.unit)]
    for other in cell.other_units():
        shown = "" if other == "1" else other
        forms.append((right * own.factor / unit(other).factor, shown))
        if other.endswith("/a") and own.kind != ("", "time"):
            forms.append((right * own.factor / unit(other).factor, other.removesuffix("/a")))
    if cell.shows_unit:
        forms.append((right, ""))
    for value, text in forms:
        said = on_board(value, text, digits=8 if cell.complement else 4)
        taken = cell.judge(said, numbers, 0, {}).verdict is Verdict.RIGHT
        yield said if taken else f"! {said}"
