"""A takeover in time: the roles of the controllers and the outputs of the racks, row by row."""

from collections.abc import Sequence
from itertools import pairwise

from labkit.rig.rig import Rig
from labkit.switchover.roles import Entry
from lessons.pictures.charts import (
    along,
    axis_words,
    nice_step,
    row_of_states,
    ticks_below,
    ticks_of,
)
from lessons.pictures.svg import document, line, text

WIDTH, LEFT, RIGHT, TOP, FLOOR = 900.0, 150.0, 870.0, 72.0, 442.0


def _spans(record: Sequence[Entry], who: str, what: str, present: str, start_ms: int,
           end_ms: int) -> list[tuple[int, int, str]]:
    """Return (begin, end, state) of one thing from a record of its changes, in ms."""
    changes = [e for e in record if e.who == who and e.what == what and e.old != e.new]
    states = [changes[0].old if changes else present, *(e.new for e in changes)]
    times = [start_ms, *(min(max(e.time_ms, start_ms), end_ms) for e in changes), end_ms]
    return [(begin, end, state) for (begin, end), state in zip(pairwise(times), states) if begin < end]


def takeover_svg(rig: Rig, start_ms: int, end_ms: int, alternative: str, *,
                 title: str = "A takeover in time") -> str:
    """Draw the states of controllers and racks between two moments, and the faults as lines."""
    snapshot = rig.snapshot()
    rows = [(unit, "role", role.value) for unit, role in snapshot.roles.items()]
    fought = {entry.who for entry in rig.record if entry.what == "writes"}
    rows += [(rack, "writes", "one writer") if rack in fought else (rack, "outputs", state.value)
             for rack, state in snapshot.outputs.items()]
    high = (FLOOR - TOP) / len(rows)

    x = along(start_ms, end_ms, LEFT, RIGHT)
    parts = [text(12, 24, title, "b", size=17)]
    parts += ticks_below(
        ((x(ms), f"{ms:.0f}") for ms in ticks_of(start_ms, end_ms, nice_step(end_ms - start_ms, 8))),
        TOP - 8, FLOOR)
    parts.append(axis_words(LEFT, RIGHT, FLOOR + 40, "time [ms]"))
    for row, (who, what, present) in enumerate(rows):
        y = TOP + high * row
        parts.append(text(LEFT - 10, y + high / 2 + 5.5, f"{who} {what}", "b", anchor="end"))
        parts += row_of_states(_spans(rig.record, who, what, present, start_ms, end_ms), x,
                               y + 0.12 * high, 0.76 * high)
    for entry in rig.record:
        if entry.what == "fault" and start_ms <= entry.time_ms <= end_ms:
            at = x(entry.time_ms)
            words = entry.who if entry.new == "on" else f"{entry.who} over"
            parts.append(line([(at, TOP - 20), (at, FLOOR)], "limit"))
            parts.append(text(at + 6, TOP - 14, words, "f over"))
    return document(parts, WIDTH, FLOOR + 48, alternative)
