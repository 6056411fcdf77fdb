"""Marks of a class: the points of the printed key at the last try, for each item that stands on it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from labkit.writing import csv_text
from lessons.teaching.class_table import ClassTable, Learner
from lessons.teaching.lesson_file import chosen_lessons, read_lesson
from lessons.teaching.worksheet import worksheets


@dataclass(frozen=True)
class Marks:
    """Hold what counts, and what is needed to pass.

    Parameters
    ----------
    points : mapping of str to int
        Of each item of the key that has any.
    pass_percent : float or None
        None where nobody passes or fails.
    """

    table: ClassTable
    points: Mapping[str, int]
    pass_percent: float | None = None

    @property
    def lessons(self) -> tuple[str, ...]:
        """Numbers of the lessons that count."""
        return tuple(dict.fromkeys(name.partition("-")[0] for name in self.points))

    @property
    def most(self) -> int:
        """All points together."""
        return sum(self.points.values())

    def of(self, learner: Learner) -> dict[str, float]:
        """Return the points of a learner for each item that was tried."""
        return {name: learner.by_item[name][1].points for name in self.points
                if name in learner.by_item}

    def to_csv(self) -> str:
        """Return one row per learner: points in all, per cent, passed, and the points by item."""
        judged = self.pass_percent is not None
        return csv_text([
            ["learner", "file", "points", "of", "per cent",
             *(["passed"] if judged else ()),
             *(f"{name} of {most}" for name, most in self.points.items())],
            *(self._row(one, judged) for one in self.table.learners)])

    def _row(self, learner: Learner, judged: bool) -> list:
        points = self.of(learner)
        total = round(sum(points.values()), 2)
        passed = judged and total * 100 >= self.pass_percent * self.most
        return [learner.label, learner.file, total, self.most,
                round(100 * total / self.most, 1) if self.most else 0.0,
                *(["yes" if passed else "no"] if judged else ()),
                *(points.get(name, "") for name in self.points)]


def marks_of(table: ClassTable, only: Iterable[str] = (), pass_percent: float | None = None
             ) -> Marks:
    """Return the marks of a class.

    Parameters
    ----------
    only : iterable of str
        Numbers of the lessons that count; where it is empty those that at least half the class
        has begun.

    Raises
    ------
    ValueError
        When a number is not that of a lesson, or the pass mark is no share.
    """
    if pass_percent is not None and not 0 <= pass_percent <= 100:
        raise ValueError(f"the pass mark must be from 0 to 100 %, got {pass_percent:g}")
    points: dict[str, int] = {}
    wanted = list(only) or table.begun
    for path in chosen_lessons(wanted, own=True) if wanted else ():
        _, questions = worksheets(read_lesson(path))
        points |= {each.item.id: each.item.points for each in questions if each.item.points}
    return Marks(table, points, pass_percent)
