"""Pictures of what is not seen and what is not known: latent faults, and limits of an MTBF."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from labkit.arguments import positive, share
from labkit.evidence.limits import mtbf_limits
from labkit.markov.proof_tests import latent_unavailability
from labkit.wording import HOURS_PER_YEAR
from lessons.pictures.page import axes, grouped, inks, type_size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_dead_standby", "plot_mtbf_limits"]

_TESTS = 4


def plot_dead_standby(mtbf_h: float, test_interval_h: float, diagnosed: float,
                      ax: Axes | None = None) -> Axes:
    """Draw the chance that the standby is dead and nobody knows, from proof test to proof test.

    Parameters
    ----------
    mtbf_h : float
        Mean operating time between failures of the standby, > 0 and finite, in h.
    test_interval_h : float
        Hours between proof tests, > 0 and finite.
    diagnosed : float
        Share of its failures that it reports by itself, in (0, 1).
    ax : Axes, optional
        Where to draw; new axes where it is left out.

    Returns
    -------
    Axes

    Raises
    ------
    TypeError, ValueError
        If an argument is no number or out of its range.

    Notes
    -----
    t hours after a test the chance is 1 - exp(-(1 - diagnosed) t / MTBF): constant failure rate,
    every test finds the fault, and what is found is put right in no time.

    Examples
    --------
    >>> plot_dead_standby(60_000, 4380, 0.9).get_xlabel()
    'time [years]'
    """
    positive("mtbf_h", mtbf_h)
    interval_h = positive("test_interval_h", test_interval_h)
    share("diagnosed", diagnosed)
    ax = axes(ax, f"Is the standby alive? Tested every {grouped(interval_h)} h", "time [years]",
              "dead, and nobody knows [%]")
    ink = inks(ax)
    since_h = np.linspace(0, interval_h, 50)
    time_h = np.concatenate([since_h + n * interval_h for n in range(_TESTS)])
    for seen, colour, style in ((0.0, "fault", "-"), (diagnosed, "curve", "--")):
        dead = -100 * np.expm1(-(1 - seen) * np.tile(since_h, _TESTS) / mtbf_h)
        mean = 100 * latent_unavailability(mtbf_h / (1 - seen), interval_h)
        ax.plot(time_h / HOURS_PER_YEAR, dead, color=ink[colour], linewidth=3.5, linestyle=style,
                label=f"{100 * seen:g} % of its faults seen at once: mean {mean:.2f} %")
    ax.set_xlim(0, _TESTS * interval_h / HOURS_PER_YEAR)
    ax.set_ylim(0, -135 * np.expm1(-interval_h / mtbf_h))
    ax.legend(fontsize=type_size(ax), loc="upper left", facecolor=ink["paper"], framealpha=1.0,
              edgecolor=ink["rule"], labelcolor=ink["ink"])
    return ax


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

    Returns
    -------
    Axes

    Raises
    ------
    TypeError, ValueError
        If an argument is no number or out of its range, or there are more than three counts.

    Examples
    --------
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
