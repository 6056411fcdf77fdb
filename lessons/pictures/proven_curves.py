"""Picture of how much of an MTBF a log proves."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from labkit.arguments import positive
from labkit.evidence.limits import mtbf_limits
from labkit.wording import grouped
from lessons.pictures.page import axes, draw_legend, inks, type_size

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot_mtbf_limits(claim_h: float, watched_h: float, ax: Axes | None = None) -> Axes:
    """Draw how much of an MTBF is proven, by how long was watched and for 0, 1 and 3 failures.

    Parameters
    ----------
    claim_h : float
        The MTBF that is claimed, > 0, in h.
    watched_h : float
        Unit-hours that are marked, > 0.
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Raises
    ------
    TypeError, ValueError
        If an argument is no number or out of its range.

    >>> plot_mtbf_limits(60_000, 17_520).get_xlabel()
    'unit-hours watched [h]'
    """
    claim = positive("claim_h", claim_h)
    positive("watched_h", watched_h)
    ax = axes(ax, "What a log proves: lower limits at 90 % confidence",
              "unit-hours watched [h]", "MTBF at least [h]")
    ink, size = inks(ax), type_size(ax)
    hours = np.geomspace(min(watched_h, claim) / 20, 20 * claim, 60)
    for count, colour, style in ((0, "curve", "-"), (1, "curve-2", "--"), (3, "good", "-.")):
        proven = [mtbf_limits(each, count, sided="lower").lower for each in hours]
        ax.plot(hours, proven, color=ink[colour], linewidth=3.5, linestyle=style,
                label=f"{count} {'failure' if count == 1 else 'failures'}")
    ax.axhline(claim, color=ink["fault"], linewidth=2.5, linestyle=":")
    ax.text(hours[0], claim, f" claimed: {grouped(claim)} h", va="bottom", fontsize=size,
            color=ink["fault"])
    here = mtbf_limits(watched_h, 0, sided="lower").lower
    ax.plot([watched_h], [here], "o", color=ink["ink"], markersize=12)
    ax.annotate(f"{grouped(watched_h)} h without a failure:\n{grouped(here)} h proven",
                (watched_h, here), xytext=(-18, 10), textcoords="offset points", ha="right",
                fontsize=size, color=ink["ink"])
    ax.set_xscale("log")
    ax.set_yscale("log")
    ax.set_xlim(hours[0], hours[-1])
    for axis in (ax.xaxis, ax.yaxis):
        axis.set_major_formatter(lambda value, _: grouped(value))
    draw_legend(ax, "lower right")
    return ax
