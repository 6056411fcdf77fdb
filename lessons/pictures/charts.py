"""What the charts share: ticks of an axis, a row of states in time, a pair of bars end to end."""

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import pairwise
from types import MappingProxyType

from lessons.pictures.svg import line, rectangle, text, text_width

# Style of the bar and of the word in it. The word stands in each bar that has room for it, so no
# state is told by its colour alone.
_STATES = MappingProxyType({
    "active": ("now", "back b"), "standby": ("card", ""), "loading": ("water", ""),
    "off": ("frame", "q"), "stopped": ("frame", "q"),
    "written": ("now", "back b"), "held": ("water", ""), "fail state": ("limit", "f b"),
    "one writer": ("now", "back b"), "two writers by turns": ("limit", "f b"),
})


def nice_step(span: float, most: int) -> float:
    """Return a step of 1, 2 or 5 times a power of ten that cuts a span into few pieces.

    Parameters
    ----------
    span : float
        Length of the axis, > 0.
    most : int
        How many pieces at most.

    Raises
    ------
    ValueError
        When `span` is not positive.

    >>> nice_step(1.1, 4)
    0.5
    """
    if not span > 0:
        raise ValueError(f"span must be > 0, got {span}")
    power = 10.0 ** math.floor(math.log10(span / most))
    return next(round(power * k, 12) for k in (1, 2, 5, 10) if power * k * most >= span * 0.999999)


def ticks_of(low: float, high: float, step: float) -> list[float]:
    """Return the multiples of a step within an axis."""
    return [step * n for n in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def along(low: float, high: float, start: float, end: float) -> Callable[[float], float]:
    """Return where values lie on an axis that shows `low` at `start` and `high` at `end`."""
    return lambda value: start + (value - low) / (high - low) * (end - start)


def ticks_below(places: Iterable[tuple[float, str]], top: float, bottom: float) -> list[str]:
    """Draw a line down the chart at each place, and its words below."""
    return [piece for x, words in places
            for piece in (line([(x, top), (x, bottom)], "grid"),
                          text(x, bottom + 18, words, "q", size=14, anchor="middle"))]


def ticks_beside(places: Iterable[tuple[float, str]], left: float, right: float, *,
                 size: float = 14) -> list[str]:
    """Draw a line across the chart at each place, and its words on the left."""
    return [piece for y, words in places
            for piece in (line([(left, y), (right, y)], "grid"),
                          text(left - 7, y + 5, words, "q", size=size, anchor="end"))]


def axis_words(left: float, right: float, y: float, words: str) -> str:
    """Write what an axis shows below the middle of it."""
    return text((left + right) / 2, y, words, "q", size=14, anchor="middle")


def upright_words(x: float, y: float, words: str) -> str:
    """Write what an axis shows beside the middle of it, from below upwards."""
    return (f'<g transform="rotate(-90 {x:g} {y:g})">'
            + text(x, y, words, "q", size=14, anchor="middle") + "</g>")


def row_of_states(spans: Sequence[tuple[float, float, str]], x: Callable[[float], float],
                  y: float, height: float, *, cut: float | None = None) -> Iterator[str]:
    """Draw the states of one thing, given as (begin, end, state), as bars in time.

    The word stands in the longest stretch of its bar that a mark at `cut` leaves.
    """
    for begin, end, state in spans:
        left, right = x(begin), x(end)
        if right <= left:
            continue
        bar, word = _STATES[state]
        yield rectangle(left, y, right - left, height, bar, 0)
        cuts = [left, *([x(cut)] if cut is not None and begin < cut < end else []), right]
        room = max(pairwise(cuts), key=lambda pair: pair[1] - pair[0])
        if text_width(state, 15, bold=True) + 8 < room[1] - room[0]:
            yield text(sum(room) / 2, y + height / 2 + 5.5, state, word, anchor="middle")
