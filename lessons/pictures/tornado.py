"""Picture of what a verdict hangs on: one bar for each assumption, the widest on top."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from labkit.plant.sensitivity import Swing
from lessons.pictures.page import axes, grouped, inks, type_size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["plot_tornado", "tornado_words"]

MOST_BARS = 7


def _number(value: float) -> str:
    return grouped(value) if abs(value) >= 100 else f"{value:g}"


def _named(swing: Swing) -> str:
    key = swing.assumption.key.replace("_per_year", " a year").replace("_", " ")
    for word in ("mtbf", "mttr"):
        key = key.replace(f"{word} h", f"{word.upper()} [h]")
    # A step of the costs has a long name of its own.
    name, _, what = key.rpartition(": ")
    name = name.split(",")[0][:22].rstrip()
    return f"{name}: {what}" if name else what


def tornado_words(swings: Sequence[Swing], currency: str = "EUR") -> str:
    """Say in at most 60 words what the picture shows.

    Parameters
    ----------
    swings : sequence of Swing
        From `labkit.plant.sensitivity.sensitivity`, at least one.
    currency : str

    Returns
    -------
    str

    Raises
    ------
    ValueError
        When there is no swing.

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> from labkit.plant.sensitivity import sensitivity
    >>> tornado_words(sensitivity(load_plant(), "V1a", "V0"))[:43]
    'Bars of gain less price, EUR a year, one fo'
    """
    if not swings:
        raise ValueError("swings must hold at least one swing, got none")
    first, turning = swings[0], [swing for swing in swings if swing.turns]
    low, high = sorted((first.net_low, first.net_high))
    names = ", ".join(_named(swing) for swing in turning[:3])
    return (
        f"Bars of gain less price, {currency} a year, one for each assumption. As the file has it: "
        f"{grouped(first.net_per_year)}. Widest: {_named(first)}, from {grouped(low)} to "
        f"{grouped(high)}. "
        + (f"{len(turning)} assumptions turn the verdict, first {names}." if turning
           else "No assumption turns the verdict within its limits.")
    )


def plot_tornado(swings: Sequence[Swing], ax: Axes | None = None, *,
                 currency: str = "EUR") -> Axes:
    """Draw how a verdict moves when each assumption goes to its limits.

    Parameters
    ----------
    swings : sequence of Swing
        From `labkit.plant.sensitivity.sensitivity`, at least one; the first seven are drawn.
    ax : Axes, optional
        Where to draw; new axes where it is left out.
    currency : str

    Returns
    -------
    Axes

    Raises
    ------
    ValueError
        When there is no swing.

    Examples
    --------
    >>> from labkit.plant.plant import load_plant
    >>> from labkit.plant.sensitivity import sensitivity
    >>> ax = plot_tornado(sensitivity(load_plant(), "V1a", "V0"))
    >>> ax.get_xlabel()
    'gain less price [EUR a year]'
    """
    from matplotlib.patches import Patch

    if not swings:
        raise ValueError("swings must hold at least one swing, got none")
    swings = list(swings)[:MOST_BARS]
    ax = axes(ax, "What the verdict hangs on", f"gain less price [{currency} a year]", "")
    ink, size = inks(ax), type_size(ax)
    here = swings[0].net_per_year
    ends = [net for swing in swings for net in (swing.net_low, swing.net_high, here, 0.0)]
    least, most = min(ends), max(ends)
    room = 0.17 * (most - least)
    for row, swing in enumerate(swings):
        for net, limit, hatch in ((swing.net_low, swing.assumption.low, ""),
                                  (swing.net_high, swing.assumption.high, "//")):
            ax.barh(row, net - here, left=here, height=0.66, hatch=hatch, edgecolor=ink["ink"],
                    color=ink["paper"] if hatch else ink["water"])
            left = net < here or (net == here and limit == swing.assumption.low)
            ax.text(net, row, f" {_number(limit)} ", va="center", ha="right" if left else "left",
                    fontsize=size, color=ink["ink"])
    ax.axvline(here, color=ink["ink"], linewidth=2)
    ax.axvline(0, color=ink["fault"], linewidth=2.5, linestyle="--")
    for x, words, side in ((min(0.0, here), "does not pay ", "right"),
                           (max(0.0, here), " pays", "left")):
        ax.text(x, -0.62, words, ha=side, va="bottom", fontsize=size, color=ink["fault"])
    ax.set_yticks(range(len(swings)), [_named(swing) for swing in swings])
    ax.set_ylim(len(swings) - 0.5, -1.1)
    ax.set_xlim(least - room, most + room)
    ax.xaxis.set_major_formatter(lambda value, _: grouped(value))
    ax.grid(False, axis="y")
    ends = [Patch(facecolor=ink["water"], edgecolor=ink["ink"], label="its smallest usual value"),
            Patch(facecolor=ink["paper"], edgecolor=ink["ink"], hatch="//",
                  label="its largest usual value")]
    key = ax.legend(handles=ends, title="one assumption, set to", loc="best",
                    fontsize=size, title_fontsize=size, facecolor=ink["paper"], framealpha=1.0,
                    edgecolor=ink["rule"], labelcolor=ink["ink"])
    key.get_title().set_color(ink["ink"])
    return ax
