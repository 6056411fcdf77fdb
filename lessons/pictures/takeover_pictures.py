"""Still pictures of a takeover: the beats before it, and how its length is spread."""

import numpy as np

from labkit.switchover.settings import PairSettings, switchover_budget
from labkit.switchover.timing import switchover_sweep
from labkit.wording import percent
from lessons.pictures.svg import captioned
from lessons.pictures.two_states_picture import Picture


def _span(left: float, right: float, y: float) -> str:
    return (f'<path class="span" d="M{left:.1f} {y}H{right:.1f}'
            f'M{left:.1f} {y - 6}v12M{right:.1f} {y - 6}v12"/>')


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
    scale = 600 / most

    def x(ms: float) -> float:
        return 90 + scale * ms

    parts = [f'<path class="axis" d="M20 90H{x(most) + 30:.0f}"/>']
    for number in range(-1, beats + 1):
        place = x(number * beat_ms)
        if place < 24:
            continue
        if number <= 0:
            parts.append(f'<circle class="heard" cx="{place:.1f}" cy="90" r="8"/>')
        else:
            parts.append(
                f'<path class="missed" d="M{place - 7:.1f} 83l14 14m0 -14l-14 14"/>'
                f'<text class="m q" x="{place:.1f}" y="120">{number}</text>'
            )
    parts.append(f'<text class="m" x="{x(0):.1f}" y="120">heard</text>')
    parts.append(f'<text class="m" x="{x(beat_ms / 2):.1f}" y="62">{beat_ms} ms</text>')
    parts.append(_span(x(0), x(beat_ms), 72))
    parts.append(f'<path class="limit" d="M{x(most):.1f} 18V222"/>')
    parts.append(f'<text class="e" x="{x(most) - 8:.1f}" y="30">found silent</text>')
    if settings.margin_ms:
        parts.append(f'<text class="e" x="{x(most) - 8:.1f}" y="62">'
                     f"margin {settings.margin_ms} ms</text>")
        parts.append(_span(x(beats * beat_ms), x(most), 72))
    for y, start, words_ in (
        (160, 0, f"longest: {most} ms, KF1 fails right after a beat"),
        (204, beat_ms, f"shortest: {least} ms, it fails right before the next beat"),
    ):
        parts.append(_span(x(start), x(most), y))
        parts.append(f'<text class="e" x="{x(most) - 8:.1f}" y="{y - 9}">{words_}</text>')
    return Picture(captioned(__file__, "lk-take", "760 230", words, parts), words)


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
    left, bottom, height = 70, 190, 140
    width = 640 / len(counts)
    top = max(shares)
    parts = []
    for share in np.arange(0, top, 0.05):
        y = bottom - height * share / top
        parts.append(f'<path class="grid" d="M{left} {y:.1f}h640"/>'
                     f'<text class="e q" x="{left - 8}" y="{y + 5:.1f}">{percent(share)}</text>')
    for place, share in enumerate(shares):
        tall = height * share / top
        parts.append(f'<rect class="bar" x="{left + place * width:.1f}" y="{bottom - tall:.1f}" '
                     f'width="{width:.1f}" height="{tall:.1f}"/>')
    for place in range(0, len(edges), 2):
        parts.append(f'<text class="m q" x="{left + place * width:.1f}" y="{bottom + 20}">'
                     f"{edges[place]}</text>")
    for bound, anchor, shift in ((budget.least_ms, "", 6), (budget.most_ms, "e", -6)):
        place = left + (bound - first) / 10 * width
        parts.append(f'<path class="limit" d="M{place:.1f} 24V{bottom}"/>'
                     f'<text class="{anchor}" x="{place + shift:.1f}" y="36">{bound} ms</text>')
    parts.append(f'<path class="axis" d="M{left} {bottom}h640"/>'
                 f'<text class="m q" x="{left + 320}" y="{bottom + 44}">'
                 "fault to first right output [ms]</text>"
                 '<text class="q" x="6" y="16">share of takeovers</text>')
    return Picture(captioned(__file__, "lk-take", "760 246", words, parts), words)
