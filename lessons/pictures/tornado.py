"""Picture of what a verdict hangs on: one bar for each assumption, the widest on top."""

import re
from collections.abc import Sequence
from html import escape
from textwrap import fill

from labkit.plant.sensitivity import Swing
from labkit.wording import grouped
from lessons.pictures.charts import along, axis_words, nice_step, ticks_below, ticks_of
from lessons.pictures.svg import alone, document, fit, line, rectangle, text, text_width
from lessons.pictures.two_states_picture import Picture

WIDTH, LEFT, MOST_LEFT, RIGHT, TOP, ROW = 900.0, 250.0, 380.0, 884.0, 74.0, 34.0
MOST_BARS = 7


def _number(value: float) -> str:
    return grouped(value) if abs(value) >= 100 else f"{value:.4g}"


def _named(swing: Swing) -> str:
    key = swing.assumption.key.replace("_per_year", " a year").replace("_", " ")
    # A step of the costs has a long name of its own.
    name, _, what = key.rpartition(": ")
    what = re.sub(r" h$", " [h]", re.sub("mtbf|mttr", lambda word: word[0].upper(), what))
    name = name.split(",")[0]
    return f"{name}: {what}" if name else what


def tornado_words(swings: Sequence[Swing]) -> str:
    """Say in at most 60 words what the picture shows.

    Parameters
    ----------
    swings : sequence of Swing
        From `labkit.plant.sensitivity.sensitivity`, at least one.

    Raises
    ------
    ValueError
        When there is no swing.

    >>> from labkit import load_plant, sensitivity
    >>> tornado_words(sensitivity(load_plant(), "V1a", "V0"))[:43]
    'Bars of gain less price, EUR a year, one fo'
    """
    if not swings:
        raise ValueError("swings must hold at least one swing, got none")
    first, turning = swings[0], [swing for swing in swings if swing.turns]
    low, high = sorted((first.net_low, first.net_high))
    names = ", ".join(_named(swing) for swing in turning[:3])
    return (
        f"Bars of gain less price, {first.currency} a year, one for each assumption. As the file has it: "
        f"{grouped(first.net_per_year)}. Widest: {_named(first)}, from {grouped(low)} to "
        f"{grouped(high)}. "
        + (f"{len(turning)} assumptions turn the verdict, first {names}." if turning
           else "No assumption turns the verdict within its limits.")
    )


def tornado_svg(swings: Sequence[Swing], *, most: int = MOST_BARS) -> str:
    """Draw how a verdict moves when each assumption goes to its limits, one after the other."""
    words, shown = tornado_words(swings), swings[:most]
    here = shown[0].net_per_year
    ends = [0.0, here, *(net for swing in shown for net in (swing.net_low, swing.net_high))]
    spread = (max(ends) - min(ends)) or 1.0
    # Beside the outermost bars there is room for the values at their ends.
    low, high = min(ends) - 0.16 * spread, max(ends) + 0.16 * spread
    floor = TOP + ROW * len(shown)
    longest = max(text_width(_named(swing), 15, bold=swing.turns) for swing in shown)
    side = min(max(LEFT, longest + 22), MOST_LEFT)

    x = along(low, high, side, RIGHT)
    parts = [text(12, 24, "One assumption, set to", "b"),
             rectangle(214, 10, 26, 18, "now", 0), text(248, 24, "its smallest usual value"),
             rectangle(450, 10, 26, 18, "card", 0), text(484, 24, "its largest usual value"),
             text(WIDTH - 8, 24, "bold: turns the verdict", "b", anchor="end")]
    parts += ticks_below(((x(net), grouped(net))
                          for net in ticks_of(low, high, nice_step(high - low, 6))), TOP, floor)
    parts.append(axis_words(side, RIGHT, floor + 40, f"gain less price [{shown[0].currency} a year]"))
    values = []
    for place, swing in enumerate(shown):
        y = TOP + ROW * place
        parts.append(text(side - 10, y + 22, fit(_named(swing), side - 22, bold=swing.turns),
                          "b" if swing.turns else "", anchor="end"))
        for net, limit, kind in ((swing.net_low, swing.assumption.low, "now"),
                                 (swing.net_high, swing.assumption.high, "card")):
            parts.append(rectangle(min(x(net), x(here)), y + 5, abs(x(net) - x(here)), ROW - 10,
                                   kind, 0))
            left = net < here or (net == here and kind == "now")
            values.append(text(x(net) + (-6 if left else 6), y + 22, _number(limit), "over", size=14,
                               anchor="end" if left else "start"))
    parts += [line([(x(here), TOP - 8), (x(here), floor)], "event"),
              line([(x(0), TOP - 8), (x(0), floor)], "limit"), *values]
    parts.append(text(x(min(0.0, here)) - 6, TOP - 12, "does not pay", "f", anchor="end"))
    parts.append(text(x(max(0.0, here)) + 6, TOP - 12, "pays", "f"))
    return document(parts, WIDTH, floor + 50, words)


def tornado_picture(swings: Sequence[Swing]) -> Picture:
    """Show how a verdict moves when each assumption goes to its limits.

    Parameters
    ----------
    swings : sequence of Swing
        From `labkit.sensitivity`, the widest first; the first seven are shown.

    Returns
    -------
    Picture
        As the last value of a cell it shows itself; its words say the same.

    Raises
    ------
    ValueError
        When there are no swings.

    Examples
    --------
    >>> from labkit import load_plant, sensitivity
    >>> tornado_picture(sensitivity(load_plant(), "V1a air", "V0 air")).words[:23]
    'Bars of gain less price'
    """
    words = tornado_words(swings)
    svg = alone(tornado_svg(swings))
    return Picture(f"{svg}<p>{escape(words)}</p>", fill(words, 88))
