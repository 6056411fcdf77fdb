"""Picture of how much of an MTBF a log proves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from labkit.arguments import positive
from labkit.evidence.limits import mtbf_limits
from labkit.wording import grouped
from lessons.pictures.page import axes, inks, type_size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_mtbf_limits"]


def plot_mtbf_limits(claim_h: float, watched_h: float, ax: Axes | None = None, *,
                     failures: Sequence[int] = (0, 1, 3), confidence: float = 0.9) -> Axes:
    """Draw how much of an MTBF is proven, by how long was watched and what failed meanwhile.

    Parameters
    ----------
    claim_h : float
        The MTBF that is claimed, > 0, in h.
    watched_h : float
        Unit-hours that are marked, > 0.
    ax : Axes, optional
        Where to draw; new axes where it is left out.
    failures : sequence of int
        Counts of failures, a line for each, at most three.
    confidence : float
        Of the one-sided lower limit, in (0, 1).

    Raises
    ------
    TypeError, ValueError
        If an argument is no number or out of its range, or there are more than three counts.

    >>> plot_mtbf_limits(60_000, 17_520).get_xlabel()
    'unit-hours watched [h]'
    """
    claim = positive("claim_h", claim_h)
    positive("watched_h", watched_h)
    if not 1 <= len(failures) <= 3:
        raise ValueError(f"failures must hold 1 to 3 counts, got {len(failures)}")
    ax = axes(ax, f"What a log proves: lower limits at {100 * confidence:g} % confidence",
              "unit-hours watched [h]", "MTBF at least [h]")
    ink, size = inks(ax), type_size(ax)
    hours = np.geomspace(min(watched_h, claim) / 20, 20 * claim, 60)
    for count, colour, style in zip(failures, ("curve", "curve-2", "good"), ("-", "--", "-.")):
        proven = [mtbf_limits(each, count, confidence=confidence, sided="lower").lower
                  for each in hours]
        ax.plot(hours, proven, color=ink[colour], linewidth=3.5, linestyle=style,
                label=f"{count} {'failure' if count == 1 else 'failures'}")
    ax.axhline(claim, color=ink["fault"], linewidth=2.5, linestyle=":")
    ax.text(hours[0], claim, f" claimed: {grouped(claim)} h", va="bottom", fontsize=size,
            color=ink["fault"])
    here = mtbf_limits(watched_h, failures[0], confidence=confidence, sided="lower").lower
    ax.plot([watched_h], [here], "o", color=ink["ink"], markersize=12)
    ax.annotate(f"{grouped(watched_h)} h without a failure:\n{grouped(here)} h proven"
                if failures[0] == 0 else f"{grouped(here)} h proven", (watched_h, here),
                xytext=(-18, 10), textcoords="offset points", ha="right", fontsize=size,
                color=ink["ink"])
    ax.set_xscale("log")
    ax.set_yscale("log")
    ax.set_xlim(hours[0], hours[-1])
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_formatter(lambda value, _: grouped(value))
    ax.legend(fontsize=size, loc="lower right", facecolor=ink["paper"], framealpha=1.0,
              edgecolor=ink["rule"], labelcolor=ink["ink"])
    return ax
