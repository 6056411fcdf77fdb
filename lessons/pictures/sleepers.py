"""Formula, chain and lives beside the exact model of a standby that fails unnoticed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from labkit.markov.latent import latent_faults, periodic_lives
from labkit.markov.pair import redundant_pair
from labkit.wording import HOURS_PER_YEAR, percent
from lessons.pictures.page import axes, draw_legend, inks

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MTBF_H, MTTR_H = 60_000.0, 4.0


def sleepers(intervals_h: Sequence[float], *, years: float = 60_000.0,
             seed: int = 1) -> tuple[tuple[float, float, float, float, float, float], ...]:
    """Work out how long a standby is dead unnoticed, four ways, for faults that all sleep.

    Parameters
    ----------
    intervals_h : sequence of float
        Test intervals, each > 0, in h.
    years : float
        How long to live for each interval, > 0.
    seed : int
        Seed of the lives.

    Returns
    -------
    tuple of tuples
        Interval in h; share of time by the first term, by the rate 2/T, exact, by lives; standard
        error of the lives.

    Raises
    ------
    ValueError
        If there is no interval, or a number is outside its range.

    Examples
    --------
    >>> ((_, first, _, exact, _, _),) = sleepers([8760], years=200)
    >>> first > exact
    True
    """
    if not len(intervals_h):
        raise ValueError("intervals_h must hold at least one interval, got none")
    rows = []
    for interval_h in intervals_h:
        exact = latent_faults(interval_h, 0.0, mtbf_h=MTBF_H, mttr_h=MTTR_H)
        chain = redundant_pair(MTBF_H, MTTR_H, diagnosed=0.0, test_interval_h=interval_h)
        by_rate = chain.steady_state()[chain.states.index("standby failed unnoticed")]
        lives, error = periodic_lives(interval_h, years=years, rng=np.random.default_rng(seed),
                                      mtbf_h=MTBF_H, mttr_h=MTTR_H)
        rows.append((float(interval_h), exact.first_term, float(by_rate), exact.mean_dead, lives,
                     error))
    return tuple(rows)


def plot_sleepers(rows: Sequence[tuple], ax: Axes | None = None) -> Axes:
    """Draw how far formula, chain and lives are from the exact model.

    Parameters
    ----------
    rows : sequence of tuples
        From `sleepers`.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Examples
    --------
    >>> plot_sleepers(sleepers([8760], years=200)).get_xlabel()
    'test interval [years]'
    """
    ax = axes(ax, "A dead standby: how far from the exact model?", "test interval [years]",
              "difference in the share of time [%]")
    ink = inks(ax)
    interval, first, rate, exact, lives, error = np.array(rows).T
    years = interval / HOURS_PER_YEAR
    for values, words, colour, style, mark in (
        (first, "by hand: T / (2 MTBF)", "fault", "--", "s"),
        (rate, "chain with the rate 2/T", "curve", "-", "o"),
    ):
        ax.plot(years, 100 * (values / exact - 1), color=ink[colour], linestyle=style, marker=mark,
                markersize=9, linewidth=3, label=words)
    ax.errorbar(years, 100 * (lives / exact - 1), yerr=200 * error / exact, color=ink["ink"],
                linestyle="none", marker="D", markersize=8, capsize=6, linewidth=2,
                label="lives, two standard errors")
    ax.axhline(0, color=ink["rule"], linewidth=2)
    draw_legend(ax, "best")
    return ax


def sleepers_words(rows: Sequence[tuple]) -> str:
    """Say what the picture shows, one line for each interval.

    Parameters
    ----------
    rows : sequence of tuples
        From `sleepers`.

    Returns
    -------
    str

    Examples
    --------
    >>> print(sleepers_words(sleepers([8760], years=200)).splitlines()[0])
    Share of time with a dead standby, by test interval:
    """
    # Each number has its name beside it: a page sets these lines without columns.
    lines = ["Share of time with a dead standby, by test interval:"]
    for interval, *shares in rows:
        first, rate, exact, lives, error = (percent(share, 2) for share in shares)
        lines.append(f"{interval / HOURS_PER_YEAR:.2f} a: by hand {first}, "
                     f"rate 2/T {rate}, exact {exact}, lives {lives} +- {error}")
    return "\n".join(lines)
