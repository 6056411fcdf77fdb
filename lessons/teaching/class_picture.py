"""The picture of a class: how many learners met which misconception."""

from __future__ import annotations

from textwrap import wrap
from typing import TYPE_CHECKING

from lessons.exercises.misconceptions import REGISTER
from lessons.pictures.page import axes, draw_bars
from lessons.teaching.class_table import ClassTable

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST_BARS = 11
_WIDTH = 44


def plot_class(table: ClassTable, ax: Axes | None = None) -> Axes:
    """Draw how many learners of a class met each misconception, in the order of its table.

    Parameters
    ----------
    table : ClassTable
        From `lessons.teaching.class_table.collect`.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes
        Eleven misconceptions, safety first, then the most frequent; of a class without one, a line
        that says so.

    >>> plot_class(ClassTable((), (), {})).get_xlabel()
    'learners who met it, of 0'
    """
    learners = len(table.learners)
    ax = axes(ax, "What the next hour is about", f"learners who met it, of {learners}", "")
    met = [*table.misconceptions.items()]
    shown = met[:_MOST_BARS]
    more = f"and {len(met) - len(shown)} more, met by no more" if len(met) > len(shown) else ""
    draw_bars(ax, [_named(name) for name, _ in shown], [count for _, count in shown], "d",
              more if met else "no misconception met", room=3)
    ax.set_xlim(0, max(learners, 1))
    ax.xaxis.get_major_locator().set_params(integer=True)
    return ax


def _named(name: str) -> str:
    """Return a misconception by number and what learners say, in at most two lines."""
    says = next((f"{'(safety) ' * known.safety}{known.says}" for known in REGISTER
                 if known.id == name), "")
    return "\n".join(wrap(f"{name} {says}".strip(), _WIDTH, max_lines=2, placeholder=" …"))
