"""Picture of what would stop a function next, the most frequent first."""

from __future__ import annotations

from typing import TYPE_CHECKING

from labkit.arguments import one_of
from labkit.plant.plant import PlantState
from labkit.wording import HOURS_PER_YEAR
from lessons.pictures.page import axes, draw_bars

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_MOST_BARS = 14


def plot_next_failures(state: PlantState, function: str, ax: Axes | None = None) -> Axes:
    """Draw how often each single failure would stop a function now, the most frequent first.

    Parameters
    ----------
    state : PlantState
        What is left of the plant.
    function : str
        Name of the function.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Raises
    ------
    ValueError
        When the plant has no such function, or nothing alone would stop it.

    >>> from labkit import load_plant
    >>> ax = plot_next_failures(load_plant().state({"KF1"}), "control kept")
    >>> ax.get_yticklabels()[0].get_text()
    'KF2'
    """
    failures = state.next_failure_details[one_of("function", function, state.works)]
    if not failures:
        raise ValueError(f"function must have failures that would stop it next, got {function!r}")
    ax = axes(ax, f"What would stop it next: {function}", "failures a year", "")
    rest, failures = failures[_MOST_BARS:], failures[:_MOST_BARS]
    rates = [HOURS_PER_YEAR * failure.rate_per_h for failure in failures]
    more = HOURS_PER_YEAR * sum(failure.rate_per_h for failure in rest)
    draw_bars(ax, [failure.name for failure in failures], rates, ".3f",
              f"and {len(rest)} more, together {more:.3f}" if rest else "")
    ax.set_xlim(0, 1.15 * max(rates))
    return ax
