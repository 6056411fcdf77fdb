"""What all pictures share: the paper, the colours that can be seen on it, the size of type."""

from __future__ import annotations

import operator
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from labkit.writing import safe_text
from lessons.pictures.look import PAGE

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# On a picture of this size 18 pt can be read from the last row.
SIZE_IN = (16.0, 9.0)
TYPE_PT = 18.0
DOTS_PER_INCH = 100
THEMES = ("light", "dark")
_SMALL = 0.62


def sheet(theme: str = "light") -> Figure:
    """Return an empty figure of 1600 by 900 points that can be saved without a screen.

    Parameters
    ----------
    theme : {"light", "dark"}
        White paper, or that of the dark theme.

    Raises
    ------
    ValueError
        When there is no such theme.

    >>> sheet("dark").get_facecolor()[0] < 0.1
    True
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    if theme not in THEMES:
        raise ValueError(f"theme must be {' or '.join(THEMES)}, got {theme!r}")
    figure = Figure(figsize=SIZE_IN, dpi=DOTS_PER_INCH, layout="constrained",
                    facecolor=PAGE["paper"][THEMES.index(theme)])
    figure.get_layout_engine().set(w_pad=0.25, h_pad=0.2)
    FigureCanvasAgg(figure)
    return figure


def safe_words(figure: Figure) -> None:
    """Make the texts of a figure such as may stand in XML: matplotlib escapes < and & only."""
    from matplotlib.text import Text

    for words in figure.findobj(Text):
        if (safe := safe_text(words.get_text())) != words.get_text():
            words.set_text(safe)


def inks(ax: Axes) -> Mapping[str, str]:
    """Return the colours of the page that can be seen on the paper of these axes.

    Returns
    -------
    mapping of str to str
        By the names of `lessons.pictures.look.PAGE`.

    >>> inks(sheet("dark").add_subplot())["ink"]
    '#f2f5f8'
    """
    from matplotlib.colors import to_rgb

    # Green is the brightest part of a colour for the eye, and blue the darkest.
    dark = sum(map(operator.mul, to_rgb(ax.figure.get_facecolor()), (0.21, 0.72, 0.07))) < 0.5
    return {name: pair[dark] for name, pair in PAGE.items()}


def type_size(ax: Axes) -> float:
    """Return the size of type in pt, in proportion to the picture, so that it looks alike.

    >>> type_size(sheet().add_subplot())
    18.0
    """
    return float(TYPE_PT * ax.figure.get_figwidth() / SIZE_IN[0])


def axes(ax: Axes | None, title: str, x_label: str, y_label: str) -> Axes:
    """Return axes with title, labels, grid and sizes; new ones where none are given.

    >>> axes(sheet().add_subplot(), "Level", "time [s]", "level [m]").get_ylabel()
    'level [m]'
    """
    if ax is None:
        import matplotlib.pyplot as plt

        _, ax = plt.subplots(figsize=(SIZE_IN[0] * _SMALL, SIZE_IN[1] * _SMALL),
                             layout="constrained")
    size, ink = type_size(ax), inks(ax)
    ax.set_facecolor(ink["paper"])
    ax.set_title(title, fontsize=1.25 * size, loc="left", color=ink["ink"], pad=0.7 * size)
    ax.set_xlabel(x_label, fontsize=size, color=ink["ink"])
    ax.set_ylabel(y_label, fontsize=size, color=ink["ink"])
    ax.tick_params(labelsize=size, colors=ink["ink"])
    ax.grid(True, color=ink["rule"], linewidth=0.9, alpha=0.6)
    ax.set_axisbelow(True)
    for side, spine in ax.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(ink["ink"])
    return ax


def draw_bars(ax: Axes, names: Sequence[str], values: Sequence[float], form: str, more: str = "", *,
              room: int = 0) -> None:
    """Draw a bar for each name, the first on top, with its value beside it.

    `more` stands on a line of its own below the bars; for fewer of them there is the room of so many.
    """
    ink, size = inks(ax), type_size(ax)
    bars = ax.barh(range(len(values)), values, color=ink["water"], edgecolor=ink["ink"], height=0.7)
    ax.bar_label(bars, [f" {value:{form}}" for value in values], fontsize=size, color=ink["ink"])
    ax.set_yticks(range(len(names)), names)
    rows = max(len(names), room) + bool(more)
    ax.set_ylim(rows - 0.4, -0.6)
    ax.grid(False, axis="y")
    ax.text(0.98, rows - 1, more, transform=ax.get_yaxis_transform(), ha="right", va="center", fontsize=size,
            color=ink["ink"])


def draw_legend(ax: Axes, place: str) -> None:
    """Name the curves in a frame on paper, at a place as matplotlib names it."""
    ink = inks(ax)
    ax.legend(fontsize=type_size(ax), loc=place, facecolor=ink["paper"], framealpha=1.0,
              edgecolor=ink["rule"], labelcolor=ink["ink"])
