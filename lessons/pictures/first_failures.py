"""One hundred controllers and their first failures: picture, text twin and panel of lesson 01."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from html import escape

from labkit.wording import HOURS_PER_YEAR
from lessons.pictures.svg import captioned

__all__ = [
    "LONGEST_YEARS",
    "first_failures_panel",
    "first_failures_svg",
    "first_failures_text",
    "lives_h",
    "still_running",
]

LONGEST_YEARS = 20.0


def lives_h(mtbf_h: float, count: int = 100, seed: int = 2) -> tuple[float, ...]:
    """Draw the times to first failure of controllers that all have one MTBF.

    Parameters
    ----------
    mtbf_h : float
        Mean time in hours, > 0.
    count : int
        How many controllers, > 0.
    seed : int
        The same seed gives the same lives.

    Returns
    -------
    tuple of float
        Hours, > 0, in the order of the controllers.

    Raises
    ------
    ValueError
        Where ``mtbf_h`` or ``count`` is not above zero.

    Notes
    -----
    Exponential lives: the failure rate does not depend on age.

    >>> len(lives_h(60_000))
    100
    """
    if not mtbf_h > 0:
        raise ValueError(f"mtbf_h must be > 0, got {mtbf_h!r}")
    if not count > 0:
        raise ValueError(f"count must be > 0, got {count!r}")
    source = random.Random(f"first failures {seed}")
    return tuple(-mtbf_h * math.log(1.0 - source.random()) for _ in range(count))


def still_running(lives: Sequence[float], t_h: float) -> int:
    """Count the controllers that have not failed by a time.

    Parameters
    ----------
    lives : sequence of float
        Times to first failure in hours.
    t_h : float
        Time since the common start in hours.

    Returns
    -------
    int
        0 to the number of controllers.

    >>> still_running((5.0, 15.0), 10.0)
    1
    """
    return sum(life > t_h for life in lives)


def first_failures_text(lives: Sequence[float], mtbf_h: float) -> str:
    """Say in text what the panel shows: how many still run at a few times.

    Parameters
    ----------
    lives : sequence of float
        Times to first failure in hours.
    mtbf_h : float
        MTBF in hours, > 0.

    Returns
    -------
    str
        One line for each time.

    >>> print(first_failures_text((4_000.0, 70_000.0), 60_000.0).splitlines()[1])
    after 1.00 years: 1 of 2 have not failed yet
    """
    times = (0.0, HOURS_PER_YEAR, mtbf_h / 2, mtbf_h, 2 * mtbf_h)
    return "\n".join(
        f"after {t / HOURS_PER_YEAR:.2f} years: {still_running(lives, t)} of {len(lives)} "
        "have not failed yet"
        for t in times
    )


def first_failures_svg(lives: Sequence[float], t_h: float, mtbf_h: float) -> str:
    """Draw the controllers and how many still run, up to a time.

    Parameters
    ----------
    lives : sequence of float
        Times to first failure in hours, at most 100.
    t_h : float
        Time since the common start in hours.
    mtbf_h : float
        MTBF in hours, marked on the time axis.

    Returns
    -------
    str
        SVG text with a title for screen readers.

    Raises
    ------
    ValueError
        Where there are more than 100 lives.

    >>> "1 of 2" in first_failures_svg((5.0, 15.0), 10.0, 10.0)
    True
    """
    if len(lives) > 100:
        raise ValueError(f"lives must hold at most 100 times, got {len(lives)}")
    running = still_running(lives, t_h)
    title = (
        f"{running} of {len(lives)} controllers have not failed after "
        f"{t_h / HOURS_PER_YEAR:.2f} years; the MTBF is {mtbf_h / HOURS_PER_YEAR:.2f} years"
    )
    squares = "".join(_square(i, life > t_h) for i, life in enumerate(lives))
    return captioned(
        __file__, "lk-first", "880 350", title,
        f'<text x="20" y="24">{running} of {len(lives)} have not failed yet</text>'
        f'{squares}<text class="q" x="20" y="338">filled: not failed yet &#160; crossed: has failed</text>'
        f"{_curve(lives, t_h, mtbf_h)}")


def _square(place: int, runs: bool) -> str:
    x, y = 20 + 29 * (place % 10), 40 + 28 * (place // 10)
    if runs:
        return f'<rect class="run" x="{x}" y="{y}" width="20" height="20"/>'
    return (
        f'<rect class="out" x="{x}" y="{y}" width="20" height="20"/>'
        f'<path class="out" d="M{x + 4} {y + 4}l12 12m0 -12l-12 12"/>'
    )


def _curve(lives: Sequence[float], t_h: float, mtbf_h: float) -> str:
    left, top, width, height = 400, 40, 455, 245
    longest_h = LONGEST_YEARS * HOURS_PER_YEAR
    across, down = width / longest_h, height / len(lives)
    pieces = []
    for share in range(0, 101, 25):
        y = top + height * (1 - share / 100)
        pieces.append(f'<path class="grid" d="M{left} {y:.1f}h{width}"/>')
        label = f"{len(lives) * share / 100:g}"
        pieces.append(f'<text x="{left - 8}" y="{y + 6:.1f}" text-anchor="end">{label}</text>')
    for year in range(0, int(LONGEST_YEARS) + 1, 5):
        x = left + year * HOURS_PER_YEAR * across
        pieces.append(f'<path class="grid" d="M{x:.1f} {top}v{height}"/>')
        pieces.append(
            f'<text x="{x:.1f}" y="{top + height + 22}" text-anchor="middle">{year}</text>'
        )
    path, left_over = f"M{left} {top}", len(lives)
    for life in sorted(life for life in lives if life <= t_h):
        left_over -= 1
        path += f"H{left + life * across:.1f}V{top + (len(lives) - left_over) * down:.1f}"
    here = left + t_h * across
    mark = left + mtbf_h * across
    pieces.append(f'<path class="axis" d="M{left} {top}v{height}h{width}"/>')
    pieces.append(f'<path class="mark" d="M{mark:.1f} {top}v{height}"/>')
    pieces.append(f'<text x="{mark + 6:.1f}" y="{top + 16}">MTBF</text>')
    pieces.append(f'<path class="curve" d="{path}H{here:.1f}"/>')
    y = top + (len(lives) - left_over) * down
    pieces.append(f'<circle class="now" cx="{here:.1f}" cy="{y:.1f}" r="6"/>')
    pieces.append(
        f'<text x="{left + width / 2}" y="{top + height + 47}" text-anchor="middle">'
        "years since the common start</text>"
    )
    pieces.append(f'<text x="{left}" y="24">number that has not failed yet</text>')
    return "".join(pieces)


def first_failures_panel(*, task: str = "", mtbf_h: float = 60_000.0, seed: int = 2):
    """Show one hundred controllers, and let time run by a slider or a typed entry.

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    mtbf_h : float
        MTBF in hours, > 0.
    seed : int
        Which hundred lives.

    Returns
    -------
    ipywidgets.VBox
        The panel.

    Raises
    ------
    ValueError
        Where ``mtbf_h`` is not above zero.

    Examples
    --------
    >>> panel = first_failures_panel()
    >>> panel.children[0].children[0].value = 1.0
    >>> "after 1.00 years" in panel.children[1].value
    True
    """
    import ipywidgets as widgets

    lives = lives_h(mtbf_h, seed=seed)
    limits = {"min": 0.0, "max": LONGEST_YEARS}
    slider = widgets.FloatSlider(
        value=0.0, step=0.1, readout=False, continuous_update=False,
        description="Years", tooltip="Years since the common start", **limits,
    )
    entry = widgets.BoundedFloatText(
        value=0.0, step=0.1, description="or type", tooltip="Years since the common start",
        layout=widgets.Layout(width="180px"), **limits,
    )
    widgets.link((slider, "value"), (entry, "value"))
    picture = widgets.HTML(first_failures_svg(lives, 0.0, mtbf_h))

    def draw(change) -> None:
        picture.value = first_failures_svg(lives, change["new"] * HOURS_PER_YEAR, mtbf_h)

    slider.observe(draw, "value")
    said = widgets.HTML(f'<div class="lkx-text"><p><b>Task:</b> {escape(task)}</p></div>')
    controls = widgets.HBox([slider, entry])
    return widgets.VBox([*([said] if task else []), controls, picture])
