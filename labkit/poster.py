"""The whole main panel as one picture, for a page without controls: a README, a slide, a print."""

from __future__ import annotations

from labkit import boards
from labkit.rig import RigView
from labkit.scheme import plant_alt_text, plant_svg
from labkit.svg import document, lamp, line, rectangle, text, words_in_lines
from labkit.trend import Mark, Tank, level_svg

__all__ = ["level_picture", "main_panel_svg"]

WIDTH = 1290.0
MARGIN = 10.0
PICTURE = 900.0
HEAD = 78.0


def level_picture(view: RigView) -> str:
    """Return the level trend of a rig as SVG text.

    Parameters
    ----------
    view : RigView
        State of the rig.

    Returns
    -------
    str
        Empty for a plant without a tank.

    Examples
    --------
    >>> from labkit.rig import Rig
    >>> level_picture(Rig().view()).count("<svg")
    1
    """
    if view.trend is None or view.tank is None:
        return ""
    tank = Tank(view.tank.set_point_m, view.tank.overflow_m, view.tank.low_trip_m)
    marks = [
        Mark(entry.time_ms / 1000, entry.who if entry.new == "on" else f"{entry.who} over")
        for entry in view.record if entry.what == "fault"
    ]
    return level_svg(view.trend.time_s, view.trend.level_m, tank, opening=view.trend.opening,
                     inflow_l_per_s=view.trend.inflow_l_per_s[-1], marks=marks)


def _placed(svg: str, x: float, y: float, width: float) -> tuple[str, float]:
    """Return a picture placed inside another one, and the height that it takes."""
    size = svg[svg.index('viewBox="') + 9 :].split('"', 1)[0].split()
    height = width * float(size[3]) / float(size[2])
    # The class would let the style sheet stretch it.
    inner = svg.replace('class="lk-svg', 'class="lk-in', 1)
    at = f'<svg x="{x:g}" y="{y:g}" width="{width:g}" height="{height:g}" '
    return inner.replace("<svg ", at, 1), height


def _head(view: RigView) -> str:
    verdict = boards.verdict_of(view)
    shape, colour = boards.SHAPES[verdict.level]
    more = words_in_lines(f"{verdict.level.upper()}. {' '.join(verdict.more)}", 900, 2, 15)
    gap = boards.gap_words(view.record, view.snapshot.time_ms) or "no gap at the outputs so far"
    right = WIDTH - MARGIN - 18
    return "".join([
        rectangle(MARGIN, MARGIN, WIDTH - 2 * MARGIN, HEAD, "plate", 8),
        lamp(MARGIN + 38, MARGIN + HEAD / 2, shape, colour, lit=True, reach=16),
        text(MARGIN + 84, MARGIN + 30, verdict.sentence, "b p", size=23),
        *(text(MARGIN + 84, MARGIN + 51 + 18 * i, words, "pq") for i, words in enumerate(more)),
        text(right, MARGIN + 33, boards.clock_words(view.snapshot.time_ms), "b p", size=21,
             anchor="end"),
        text(right, MARGIN + 56, gap, "pq", anchor="end"),
    ])


def _cards(view: RigView, x: float, y: float, width: float) -> tuple[str, float]:
    """Draw a card for each function, and return where the last one ends."""
    drawn = []
    for card in boards.cards_of(view):
        lines = [line for said in card.lines for line in words_in_lines(said, width - 24, 5, 14)]
        height = 36 + 18 * len(lines)
        shape, colour = boards.SHAPES[card.level]
        drawn.append(rectangle(x, y, width, height, "card", 8))
        drawn.append(rectangle(x + 10, y + 8, 30, 20, "plate", 4))
        drawn.append(lamp(x + 25, y + 18, shape, colour, lit=True, reach=7))
        drawn.append(text(x + 50, y + 24, card.heading, "b", size=17))
        drawn += [text(x + 12, y + 45 + 18 * i, said, size=14) for i, said in enumerate(lines)]
        y += height + 8
    return "".join(drawn), y


def _record(view: RigView, x: float, y: float, width: float, bottom: float) -> str:
    """Draw the latest changes of role and owner, as many as there is room for."""
    drawn = [rectangle(x, y, width, bottom - y, "card", 8),
             text(x + 12, y + 22, "Record, latest first", "b", size=15)]
    y += 44
    for entry in reversed(view.record):
        if y > bottom - 10:
            break
        when = f"{entry.time_ms / 1000:.3f} s"
        said = f"{entry.who} {entry.what}: {entry.old or 'none'} → {entry.new or 'none'}"
        left = x + 92
        fitted = words_in_lines(said, width - 104, 1, 14)
        drawn.append(text(left - 10, y, when, "q", size=14, anchor="end"))
        drawn.append(text(left, y, fitted[0], size=14))
        drawn.append(line([(x + 10, y + 5), (x + width - 10, y + 5)], "grid"))
        y += 21
    return "".join(drawn)


def main_panel_svg(view: RigView) -> tuple[str, str]:
    """Return the main panel as one picture that stands alone, and its alternative text.

    Parameters
    ----------
    view : RigView
        State of the rig.

    Returns
    -------
    (str, str)
        SVG text, and at most 60 words.

    Examples
    --------
    >>> from labkit.rig import Rig
    >>> svg, alternative = main_panel_svg(Rig().view())
    >>> alternative in svg
    True
    """
    top = 2 * MARGIN + HEAD
    scheme, height = _placed(plant_svg(view.plant, view.snapshot, still=True), MARGIN, top,
                             PICTURE)
    pictures, bottom = [scheme], top + height
    level = level_picture(view)
    if level:
        trend, height = _placed(level, MARGIN, bottom + 4, PICTURE)
        pictures.append(trend)
        bottom += 4 + height
    x = 2 * MARGIN + PICTURE
    width = WIDTH - MARGIN - x
    cards, after = _cards(view, x, top, width)
    alternative = plant_alt_text(view.plant, view.snapshot).replace("Plant picture", "Main panel")
    return document(
        [_head(view), *pictures, cards, _record(view, x, after, width, bottom)],
        WIDTH, bottom + MARGIN, alternative, standalone=True, still=True), alternative
