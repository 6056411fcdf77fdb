"""Pictures of single parts: how long they last, when they are down."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np

from labkit.arguments import positive
from labkit.wording import HOURS_PER_YEAR, grouped, percent
from lessons.pictures.page import axes, inks, type_size

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot_survival(mtbf_h: float, ax: Axes | None = None) -> Axes:
    """Draw the share of parts that have not failed yet, over three times the MTBF.

    Parameters
    ----------
    mtbf_h : float
        Mean operating time between failures, > 0, in h.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Raises
    ------
    ValueError
        When `mtbf_h` is not positive and finite.

    Notes
    -----
    Constant failure rate, no repair: R(t) = exp(-t / MTBF).

    >>> plot_survival(60_000).get_ylabel()
    'not failed yet [%]'
    """
    positive("mtbf_h", mtbf_h)
    ax = axes(ax, f"What an MTBF of {grouped(mtbf_h)} h promises", "time [years]",
              "not failed yet [%]")
    ink = inks(ax)
    time_h = np.linspace(0, 3 * mtbf_h, 301)
    ax.plot(time_h / HOURS_PER_YEAR, 100 * np.exp(-time_h / mtbf_h), color=ink["curve"],
            linewidth=3.5)
    for at_h, words, marker in ((HOURS_PER_YEAR, "after one year", "o"),
                                (mtbf_h, "at the MTBF", "s")):
        share = 100 * float(np.exp(-at_h / mtbf_h))
        ax.plot([at_h / HOURS_PER_YEAR], [share], marker, color=ink["ink"], markersize=11)
        ax.annotate(f"{words}: {share:.1f} %", (at_h / HOURS_PER_YEAR, share),
                    xytext=(12, 8), textcoords="offset points", fontsize=type_size(ax),
                    color=ink["ink"])
    ax.set_xlim(0, 3 * mtbf_h / HOURS_PER_YEAR)
    ax.set_ylim(0, 105)
    return ax


def drawn_stops(parts: Mapping[str, tuple[float, float]], duration_h: float, *, seed: int = 1
                ) -> dict[str, list[tuple[float, float]]]:
    """Draw by chance when each of several parts is down.

    Parameters
    ----------
    parts : mapping of str to (float, float)
        Name to MTBF and MTTR, each > 0, in h.
    duration_h : float
        How long, > 0, in h.
    seed : int
        Seed of the random numbers.

    Returns
    -------
    dict of str to list of (float, float)
        For each part the begin and the length of its stops, in h.

    >>> len(drawn_stops({"A": (99, 1)}, 8760)["A"]) > 50
    True
    """
    random = np.random.default_rng(seed)
    drawn = {}
    for name, (mtbf_h, mttr_h) in parts.items():
        stops = drawn[name] = []
        now = random.exponential(mtbf_h)
        while now < duration_h:
            down = random.exponential(mttr_h)
            stops.append((now, min(down, duration_h - now)))
            now += down + random.exponential(mtbf_h)
    return drawn


def plot_histories(parts: Mapping[str, tuple[float, float]], duration_h: float, *, seed: int = 1,
                   ax: Axes | None = None) -> Axes:
    """Draw a drawn history of up and down for each of several parts.

    Parameters
    ----------
    parts : mapping of str to (float, float)
        Name to MTBF and MTTR, each > 0, in h.
    duration_h : float
        How long, > 0, in h.
    seed : int
        Seed of the random numbers.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    >>> ax = plot_histories({"rare and long": (9900, 100), "often and short": (99, 1)}, 8760)
    >>> [label.get_text() for label in ax.get_yticklabels()]
    ['rare and long', 'often and short']
    """
    drawn = drawn_stops(parts, duration_h, seed=seed)
    ax = axes(ax, "Up and down, drawn by chance", "time [h]", "")
    ink = inks(ax)
    for row, downs in enumerate(drawn.values()):
        ax.broken_barh([(0, duration_h)], (row - 0.3, 0.6), facecolor=ink["paper"],
                       edgecolor=ink["ink"])
        ax.broken_barh(downs, (row - 0.3, 0.6), facecolor=ink["fault"], edgecolor=ink["fault"],
                       hatch="xx")
        lost = sum(length for _, length in downs) / duration_h
        ax.text(duration_h, row + 0.42,
                f"{len(downs)} {'stop' if len(downs) == 1 else 'stops'}, "
                f"down {percent(lost, 2)} of the time",
                ha="right", va="center", fontsize=type_size(ax), color=ink["ink"])
    ax.set_yticks(range(len(parts)), list(parts))
    ax.set_ylim(len(parts) - 0.4, -0.6)
    ax.set_xlim(0, duration_h)
    ax.grid(False, axis="y")
    return ax
