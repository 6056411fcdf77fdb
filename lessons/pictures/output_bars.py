"""Hold time and tank: the outputs in milliseconds above, the level in seconds below."""

from labkit.rig.holding import HoldRun
from lessons.pictures.charts import along, axis_words, row_of_states, ticks_below
from lessons.pictures.svg import document, line, text, text_width

WIDTH, HEIGHT = 900.0, 148.0
LEFT, RIGHT, TOP, BAR, AXIS = 58.0, 880.0, 30.0, 66.0, 112.0
BEFORE_MS = 100


def outputs_alt_text(run: HoldRun) -> str:
    """Say in at most 60 words what the picture of the outputs shows."""
    states = [f"{state} from {ms} ms" for ms, state in run.outputs[1:]]
    end = "sufficed" if run.dropped_ms is None else "did not suffice"
    return (
        "Time bar of the outputs of the pump rack in milliseconds after the fault: written before, "
        f"{', '.join(states)}. {_since(run)}The hold time of {run.hold_ms} ms {end}."
    )


def _since(run: HoldRun) -> str:
    return "" if run.last_write_ms is None else f"Last write at {run.last_write_ms} ms. "


def outputs_svg(run: HoldRun) -> str:
    """Draw what the outputs of the pump rack did around the takeover."""
    last = max([ms for ms, _ in run.outputs] + [run.hold_ms])
    end = 100 * (last // 100 + 2)

    x = along(-BEFORE_MS, end, LEFT, RIGHT)
    parts = [text(LEFT, 18, "Outputs of the pump rack KF10", "b", size=16)]
    parts += ticks_below(((x(ms), f"{ms}")
                          for ms in range(-BEFORE_MS, end + 1, 100 if end <= 800 else 200)), TOP, AXIS)
    parts.append(axis_words(LEFT, RIGHT, AXIS + 35, "ms after the fault"))
    since = run.last_write_ms or 0
    limit = run.dropped_ms if run.dropped_ms is not None else since + run.hold_ms
    starts = [-BEFORE_MS, *(ms for ms, _ in run.outputs[1:])]
    spans = [(begin, stop, state) for (_, state), begin, stop
             in zip(run.outputs, starts, [*starts[1:], end], strict=True)]
    parts += row_of_states(spans, x, BAR, 26, cut=limit)
    parts.append(line([(x(0), TOP + 8), (x(0), AXIS)], "event"))
    parts.append(text(x(0) + 5, BAR - 12, "fault", "over", size=14))
    ends = "would end" if run.dropped_ms is None else "over"
    words = f"hold time of {run.hold_ms} ms {ends}"
    parts.append(line([(x(limit), TOP), (x(limit), AXIS)], "limit"))
    if run.last_write_ms is not None:
        parts.append(f'<path d="M{x(since) - 5:g},{BAR - 9:g}h10l-5,8z" class="eventhead"/>')
        parts.append(text(x(since) - 8, BAR - 4, "last write", "over", size=14, anchor="end"))
    fits = x(limit) + 5 + text_width(words, 14, bold=True) <= RIGHT
    side, anchor = (5, "start") if fits else (-5, "end")
    parts.append(text(x(limit) + side, TOP + 10, words, "f b over", size=14, anchor=anchor))
    if run.gap_ms is not None:
        parts.append(text(x(run.gap_ms) + 4, BAR - 4, f"{run.first_output} {run.gap_ms} ms",
                          "over", size=14))
    return document(parts, WIDTH, HEIGHT, outputs_alt_text(run))

