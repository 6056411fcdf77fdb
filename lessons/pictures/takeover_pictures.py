"""Still pictures of a takeover: the beats before it, and how its length is spread."""

import numpy as np

from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.switchover.timing import switchover_sweep
from labkit.wording import percent
from lessons.pictures.charts import along
from lessons.pictures.look import markup
from lessons.pictures.svg import captioned
from lessons.pictures.two_states_picture import Picture


def beats_picture(settings: PairSettings) -> Picture:
    """Draw the last beat that was heard, the missed ones, and the moment of the time-out.

    Parameters
    ----------
    settings : PairSettings
        Up to 10 missed beats.

    Returns
    -------
    Picture
        A line of beats with the longest and the shortest time to detection.

    Raises
    ------
    ValueError
        If more than 10 beats may be missed.

    Examples
    --------
    >>> print(repr(beats_picture(PairSettings()))[:66])
    Beats every 50 ms. One is heard, 3 are missed, then a margin of 10
    """
    beats, beat_ms = settings.missed_beats, settings.heartbeat_ms
    if beats > 10:
        raise ValueError(f"missed_beats must be <= 10 in this picture, got {beats}")
    most, least = settings.detection_most_ms, settings.detection_least_ms
    words = (
        f"Beats every {beat_ms} ms. One is heard, {beats} are missed, then a margin of "
        f"{settings.margin_ms} ms. A failure right after the heard beat is found after {most} ms, "
        f"one right before the next beat after {least} ms."
    )
    drawn = markup(__file__, "beats", settings=settings, beat_ms=beat_ms, most=most, least=least,
                   x=along(0, most, 90, 690))
    return Picture(captioned(__file__, "lk-take", "760 230", words, drawn), words)


def spread_picture(settings: PairSettings, runs: int = 20_000, seed: int = 6) -> Picture:
    """Draw how the switchover times are spread over the phases of the clocks.

    Parameters
    ----------
    settings : PairSettings
    runs : int
        How many takeovers are drawn, >= 1.
    seed : int
        The same seed gives the same takeovers.

    Returns
    -------
    Picture
        A histogram in steps of 10 ms with the bounds of the budget.

    Examples
    --------
    >>> print(repr(spread_picture(PairSettings(), 1000))[:52])
    Histogram of 1000 switchover times in steps of 10 ms
    """
    budget = switchover_budget(settings)
    total = switchover_sweep(settings, runs, np.random.default_rng(seed)).total_ms
    first = 10 * (budget.least_ms // 10)
    edges = np.arange(first, budget.most_ms + 20, 10)
    counts, _ = np.histogram(total, edges)
    shares = counts / runs
    peak = int(edges[int(np.argmax(shares))])
    words = (
        f"Histogram of {runs} switchover times in steps of 10 ms: from {total.min()} to "
        f"{total.max()} ms, most often {peak} to {peak + 10} ms, mean {total.mean():.0f} ms; "
        f"budget {budget.least_ms} to {budget.most_ms} ms."
    )
    top, x = max(shares), along(first, edges[-1], 70, 710)
    y = along(0, top, 190, 50)
    drawn = markup(
        __file__, "spread", x=x, least=budget.least_ms, most=budget.most_ms, width=x(first + 10) - x(first),
        ticks=[(percent(share), y(share)) for share in np.arange(0, top, 0.05)],
        bars=[(x(edge), y(share), 190 - y(share)) for edge, share in zip(edges, shares)],
        edges=[(x(edge), edge) for edge in edges[::2]])
    return Picture(captioned(__file__, "lk-take", "760 246", words, drawn), words)
