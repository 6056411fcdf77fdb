"""One hundred controllers and their first failures: picture and text twin of lesson 01."""

import math
import random
from collections.abc import Sequence

from labkit.arguments import positive
from labkit.wording import HOURS_PER_YEAR, shown
from lessons.pictures import charts
from lessons.pictures.svg import document, line, rectangle, text


def longest_years(mtbf_h: float) -> float:
    """Return how long the controllers are watched: 20 years, and more where the MTBF is late.

    >>> longest_years(60_000), longest_years(200_000)
    (20.0, 50.0)
    """
    return max(20.0, charts.nice_step(1.2 * positive("mtbf_h", mtbf_h) / HOURS_PER_YEAR, 1))


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
        Where ``mtbf_h`` is not above zero.

    Notes
    -----
    Exponential lives: the failure rate does not depend on age.

    >>> len(lives_h(60_000))
    100
    """
    positive("mtbf_h", mtbf_h)
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
    times = sorted((0.0, HOURS_PER_YEAR, mtbf_h / 2, mtbf_h, 2 * mtbf_h))
    return "\n".join(
        f"after {t / HOURS_PER_YEAR:.2f} years: {still_running(lives, t)} of {len(lives)} "
        "have not failed yet"
        for t in times
    )


def first_failures_alt_text(lives: Sequence[float], t_h: float, mtbf_h: float) -> str:
    """Say what the picture shows."""
    return (
        f"{still_running(lives, t_h)} of {len(lives)} controllers have not failed after "
        f"{t_h / HOURS_PER_YEAR:.2f} years; the MTBF is {mtbf_h / HOURS_PER_YEAR:.2f} years."
    )


def first_failures_svg(lives: Sequence[float], t_h: float, mtbf_h: float) -> str:
    """Draw the controllers, at most 100 of them, and how many still run, up to a time.

    >>> "1 of 2" in first_failures_svg((5.0, 15.0), 10.0, 10.0)
    True
    """
    parts = [text(20, 24, "One square for each", "b", size=17),
             *(piece for i, life in enumerate(lives) for piece in _square(i, life > t_h)),
             text(20, 342, "filled: not failed yet; crossed: has failed", "q"),
             *_curve(lives, t_h, mtbf_h)]
    return document(parts, 880, 352, first_failures_alt_text(lives, t_h, mtbf_h))


def _square(place: int, runs: bool) -> list[str]:
    x, y = 20 + 29 * (place % 10), 40 + 28 * (place // 10)
    if runs:
        return [rectangle(x, y, 20, 20, "now", 0)]
    return [rectangle(x, y, 20, 20, "frame", 0),
            line([(x + 4, y + 4), (x + 16, y + 16)], "event"),
            line([(x + 16, y + 4), (x + 4, y + 16)], "event")]


def _curve(lives: Sequence[float], t_h: float, mtbf_h: float) -> list[str]:
    left, right, top, bottom = 400.0, 855.0, 40.0, 285.0

    years = longest_years(mtbf_h)
    x = charts.along(0, years * HOURS_PER_YEAR, left, right)
    y = charts.along(0, len(lives), bottom, top)
    failed = sorted(life for life in lives if life <= t_h)
    points = [(left, top), *((x(life), y(len(lives) - gone)) for before, life in enumerate(failed)
                             for gone in (before, before + 1)), (x(t_h), y(len(lives) - len(failed)))]
    return [
        text(left, 24, "Number that has not failed yet", "b", size=17),
        rectangle(left, top, right - left, bottom - top, "frame", 0),
        *charts.ticks_beside(((y(len(lives) * share), f"{len(lives) * share:g}")
                       for share in (0, 0.25, 0.5, 0.75, 1)), left, right),
        *charts.ticks_below(((x(tick * HOURS_PER_YEAR), shown(tick))
                      for tick in charts.ticks_of(0, years, charts.nice_step(years, 5))), top, bottom),
        charts.axis_words(left, right, bottom + 42, "years since the common start"),
        line([(x(mtbf_h), top), (x(mtbf_h), bottom)], "aim"),
        text(x(mtbf_h) + 6, top + 16, "MTBF", "over"),
        line(points, "curve", 0),
        f'<circle cx="{points[-1][0]:.1f}" cy="{points[-1][1]:.1f}" r="6" class="now"/>',
    ]
