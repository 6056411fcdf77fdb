"""Time-out and false takeovers: one setting, two ways to be wrong, in one picture."""

import math
from collections.abc import Sequence
from itertools import pairwise

from labkit.switchover.clocks import Channel
from labkit.switchover.settings import PairSettings
from labkit.switchover.time_outs import MOST_BEATS, false_alarms_by_beats, how_often, time_out
from lessons.pictures.charts import along, axis_words, ticks_below, ticks_beside
from lessons.pictures.svg import document, line, rectangle, text, text_width

WIDTH, HEIGHT = 900.0, 372.0
# Decades of false alarms per year, and the place of the diagram.
LOW, HIGH = -4, 8
THIN = "\N{NARROW NO-BREAK SPACE}"
DECADES = {8: "100 million/a", 6: "1 million/a", 4: f"10{THIN}000/a", 2: "100/a", 0: "1/a",
           -2: "1 in 100 a", -4: f"1 in 10{THIN}000 a"}
LEFT, RIGHT, TOP, BOTTOM = 116.0, 452.0, 44.0, 316.0
END, BAR_LEFT, BAR_RIGHT, MOST_MS = 540.0, 556.0, 880.0, 1000
BOUND_PER_YEAR = 0.1


_x = along(0.5, MOST_BEATS + 0.5, LEFT, RIGHT)


def _y(per_year: float) -> float:
    return BOTTOM - (math.log10(per_year) - LOW) / (HIGH - LOW) * (BOTTOM - TOP)


def _points(rates: Sequence[float]) -> list[tuple[float, float]]:
    """Return the places of rates for 1, 2, 3 and more missed beats, as far as they are in sight."""
    return [(_x(n), _y(rate)) for n, rate in enumerate(rates, 1) if rate >= 10.0**LOW]


def _at(ms: float) -> float:
    return along(0, MOST_MS, BAR_LEFT, BAR_RIGHT)(min(ms, MOST_MS))


def time_out_alt_text(settings: PairSettings, channel: Channel) -> str:
    """Say in at most 60 words what the picture shows."""
    found = time_out(settings, channel)
    return (
        f"Left: false alarms per year over missed beats, 1 to {MOST_BEATS}, falling; at "
        f"{settings.missed_beats}: {how_often(found.false_alarms_per_year)}. Right: time since the "
        "failure; partner found silent after {} to {} ms, first correct output after {} to {} ms, "
        "hold time {} ms.".format(*found.silent_ms, *found.takeover_ms, found.hold_ms)
    )


def time_out_svg(settings: PairSettings, channel: Channel) -> str:
    """Draw the false alarms over at most `MOST_BEATS` missed beats, beside them the takeover time."""
    parts = [*_trips(settings, channel), *_times(settings, channel)]
    return document(parts, WIDTH, HEIGHT, time_out_alt_text(settings, channel))


def _trips(settings: PairSettings, channel: Channel) -> list[str]:
    parts = [text(LEFT, 24, "A living partner taken for dead", "b", size=17),
             rectangle(LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP, "frame", 0)]
    parts += ticks_beside(((_y(10.0**decade), words) for decade, words in DECADES.items()),
                          LEFT, RIGHT)
    # Counts stand below their points; only the scale on the left has lines.
    parts += [text(_x(beats), BOTTOM + 19, f"{beats}", "q", size=14, anchor="middle")
              for beats in range(1, MOST_BEATS + 1)]
    parts.append(axis_words(LEFT, RIGHT, BOTTOM + 42, "missed beats"))
    bound = _y(BOUND_PER_YEAR)
    parts.append(line([(LEFT, bound), (RIGHT, bound)], "limit"))
    # Beside the axis, where neither a curve nor the mark of a choice can cross it.
    parts.append(text(LEFT - 6, bound + 5, "bound 0.1/a", "f", size=14, anchor="end"))
    if channel.beat_gap_ms:
        rates = false_alarms_by_beats(settings, Channel(loss=channel.loss))
        parts.append(line(_points(rates), "aim", 0))
        # Left of its own line, which falls more steeply than the curve above it.
        parts.append(text(_x(4) - 10, min(_y(rates[3]) + 5, BOTTOM - 6), "single losses alone",
                          "q over", size=14, anchor="end"))
    rates = false_alarms_by_beats(settings, channel)
    points = _points(rates)
    parts.append(line(points, "curve", 0))
    parts += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" class="now"/>' for x, y in points]
    chosen = settings.missed_beats
    words = how_often(rates[chosen - 1])
    x, y = points[chosen - 1] if chosen <= len(points) else (_x(chosen), BOTTOM)
    width = text_width(words, 16, bold=True)
    # Right of its point and above; further right and above; at the end, ever higher.
    places = [*((x + right, max(y - 14, TOP + 18)) for right in (14, 10, 24, 34)),
              *((END - width, BOTTOM - above) for above in (18, 42, 66, 90))]
    if chosen <= len(points):
        parts.append(line([(x, BOTTOM), (x, y)], "event"))
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="9" class="now"/>')
        places.insert(4, (x - 12 - width, min(y + 24, BOTTOM - 8)))  # left of its point and below
    else:
        parts.append(f'<path d="M{x - 7:.1f},{y - 12:.1f}h14l-7,12z" class="eventhead"/>')
    parts.append(text(*_clear(places, width, points), words, "b over", size=16))
    return parts


def _clear(places: Sequence[tuple[float, float]], width: float, curve: Sequence[tuple[float, float]]
           ) -> tuple[float, float]:
    """Return the first place within the room for words that a curve does not cross."""
    on_it = [(x + (to_x - x) * step / 20, y + (to_y - y) * step / 20)
             for (x, y), (to_x, to_y) in pairwise(curve) for step in range(21)]
    return min((at for at in places if LEFT < at[0] < END - width + 1), key=lambda at: sum(
        at[0] - 5 < x < at[0] + width + 5 and at[1] - 16 < y < at[1] + 7 for x, y in on_it))


def _times(settings: PairSettings, channel: Channel) -> list[str]:
    found = time_out(settings, channel)
    parts = [text(BAR_LEFT, 24, "A dead partner replaced", "b", size=17)]
    parts += ticks_below(((_at(ms), f"{ms}") for ms in range(0, MOST_MS + 1, 200)), TOP, BOTTOM)
    parts.append(axis_words(BAR_LEFT, BAR_RIGHT, BOTTOM + 40, "ms since the failure"))
    hold = _at(found.hold_ms)
    # In two pieces, so that it does not cross the words above the bars.
    for begin, end in ((TOP + 44, TOP + 132), (TOP + 156, BOTTOM)):
        parts.append(line([(hold, begin), (hold, end)], "limit"))
    parts.append(text(hold + 6, TOP + 118, f"hold time {found.hold_ms} ms", "q over", size=14))
    for top, words, (least, most) in (
        (TOP + 24, "found silent", found.silent_ms),
        (TOP + 136, "first correct output", found.takeover_ms),
    ):
        parts.append(text(BAR_LEFT + 2, top + 12, f"{words}: {least} to {most} ms", "over"))
        parts.append(rectangle(BAR_LEFT, top + 20, _at(least) - BAR_LEFT, 26, "card", 0))
        parts.append(rectangle(_at(least), top + 20, _at(most) - _at(least), 26, "now", 0))
    return parts
