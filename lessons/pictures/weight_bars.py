"""Pictures of what weighs most: next failures, flaws of a pair, variants of a plant."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from labkit.markov.flaws import FlawRow
from labkit.plant.plant import PlantState
from labkit.plant.variants import Outcome
from labkit.wording import HOURS_PER_YEAR
from lessons.pictures.page import axes, grouped, inks, type_size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_flaws", "plot_next_failures", "plot_variants"]

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

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When the plant has no such function, or nothing alone would stop it.

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> ax = plot_next_failures(load_plant().state({"KF1"}), "control kept")
    >>> ax.get_yticklabels()[0].get_text()
    'KF2'
    """
    if function not in state.works:
        raise ValueError(f"function must be one of {', '.join(state.works)}, got {function!r}")
    failures = state.next_failure_details[function]
    if not failures:
        raise ValueError(f"function must have failures that would stop it next, got {function!r}")
    ax = axes(ax, f"What would stop it next: {function}", "failures a year", "")
    ink = inks(ax)
    rest, failures = failures[_MOST_BARS:], failures[:_MOST_BARS]
    rates = [HOURS_PER_YEAR * failure.rate_per_h for failure in failures]
    bars = ax.barh(range(len(rates)), rates, color=ink["water"], edgecolor=ink["ink"], height=0.7)
    ax.bar_label(bars, [f" {rate:.3f}" for rate in rates], fontsize=type_size(ax), color=ink["ink"])
    ax.set_yticks(range(len(rates)), [failure.name for failure in failures])
    ax.set_ylim(len(rates) - 0.4, -0.6)
    ax.set_xlim(0, 1.15 * max(rates))
    ax.grid(False, axis="y")
    if rest:
        more = HOURS_PER_YEAR * sum(failure.rate_per_h for failure in rest)
        ax.text(0.98, 0.04, f"and {len(rest)} more, together {more:.3f}",
                transform=ax.transAxes, ha="right", fontsize=type_size(ax), color=ink["ink"])
    return ax


def plot_flaws(rows: Sequence[FlawRow], ax: Axes | None = None) -> Axes:
    """Draw the down time of one controller, the ideal pair, and the pair flaw by flaw.

    Parameters
    ----------
    rows : sequence of FlawRow
        From `labkit.markov.flaws.flaw_rows`, at least one.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When there is no row.

    Examples
    --------
    >>> from labkit.markov.flaws import Flaws, flaw_rows
    >>> ax = plot_flaws(flaw_rows(Flaws(common_cause=0.05)))
    >>> ax.get_xlabel()
    'minutes down a year'
    """
    if not rows:
        raise ValueError("rows must hold at least one row, got none")
    ax = axes(ax, "What the second controller buys, flaw by flaw", "minutes down a year", "")
    ink = inks(ax)
    minutes = [row.down_min_per_a for row in rows]
    bars = ax.barh(range(len(rows)), minutes, color=ink["water"], edgecolor=ink["ink"], height=0.7)
    bars[0].set_hatch("//")
    ax.set_xscale("log")
    ax.set_xlim(min(minutes) / 3, 4 * max(minutes))
    ax.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    ax.bar_label(bars, [f" {each:.3g}" for each in minutes], fontsize=type_size(ax),
                 color=ink["ink"])
    ax.set_yticks(range(len(rows)), [row.name for row in rows])
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.grid(False, axis="y")
    return ax


def plot_variants(outcomes: Sequence[Outcome], ax: Axes | None = None, *,
                  currency: str = "EUR") -> Axes:
    """Draw what each variant of a plant loses and costs a year.

    Parameters
    ----------
    outcomes : sequence of Outcome
        From `labkit.plant.variants.compare_variants`, at least one.
    ax : Axes, optional
        Where to draw; new axes where it is left out.
    currency : str

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When there is no outcome.

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> from labkit.plant.variants import compare_variants
    >>> ax = plot_variants(compare_variants(load_plant()))
    >>> ax.get_yticklabels()[0].get_text()
    'V0'
    """
    if not outcomes:
        raise ValueError("outcomes must hold at least one outcome, got none")
    ax = axes(ax, "What each variant loses and costs", f"{currency} a year", "")
    ink, size, rows = inks(ax), type_size(ax), range(len(outcomes))
    losses = [outcome.loss_per_year for outcome in outcomes]
    prices = [outcome.price_per_year for outcome in outcomes]
    ax.barh(rows, losses, color=ink["water"], edgecolor=ink["ink"], height=0.7,
            label="expected loss by outages")
    ax.barh(rows, prices, left=losses, color=ink["paper"], edgecolor=ink["ink"], hatch="//",
            height=0.7, label="price of the variant")
    for row, outcome in zip(rows, outcomes):
        ax.text(outcome.total_per_year, row, f"  {grouped(outcome.total_per_year)}",
                va="center", fontsize=size, color=ink["ink"])
    ax.set_yticks(rows, [outcome.variant for outcome in outcomes])
    ax.set_ylim(len(outcomes) - 0.4, -0.6)
    ax.set_xlim(0, 1.15 * max(outcome.total_per_year for outcome in outcomes))
    ax.xaxis.set_major_formatter(lambda value, _: grouped(value))
    ax.grid(False, axis="y")
    ax.legend(fontsize=size, loc="lower right", facecolor=ink["paper"], edgecolor=ink["rule"],
              labelcolor=ink["ink"], framealpha=1.0)
    return ax
