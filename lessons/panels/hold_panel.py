"""Hold time and tank: the outputs in milliseconds above, the level in seconds below."""

from __future__ import annotations

from itertools import pairwise

import ipywidgets as widgets

from labkit.rig.holding import CAUSES, EXTRAS, FAULT_MS, HoldRun, hold_run, hold_text
from lessons.panels.frame import Panel
from lessons.pictures.svg import document, line, rectangle, text, text_width
from lessons.pictures.trend import Mark, level_alt_text, level_svg

__all__ = ["HoldPanel", "hold_panel", "outputs_alt_text", "outputs_svg"]

WIDTH, HEIGHT = 900.0, 148.0
LEFT, RIGHT, TOP, BAR, AXIS = 58.0, 880.0, 30.0, 66.0, 112.0
BEFORE_MS = 100
LEAST_HOLD_MS, MOST_HOLD_MS, STEP_MS = 80, 1000, 10
# Style of the bar and of the word in it.
KINDS = {"written": ("now", "back b"), "held": ("water", ""), "fail state": ("limit", "f b")}
NONE = "nothing else"

TASK = "Shorten the hold time step by step. Where does the tank begin to notice?"


def outputs_alt_text(run: HoldRun) -> str:
    """Say in at most 60 words what the picture of the outputs shows.

    Parameters
    ----------
    run : HoldRun

    Returns
    -------
    str

    Examples
    --------
    >>> outputs_alt_text(hold_run(500))[-33:]
    'The hold time of 500 ms sufficed.'
    """
    states = [f"{state} from {ms} ms" for ms, state in run.outputs[1:]]
    end = "sufficed" if run.dropped_ms is None else "did not suffice"
    return (
        "Time bar of the outputs of the pump rack in milliseconds after the fault: written before, "
        f"{', '.join(states)}. {_since(run)}The hold time of {run.hold_ms} ms {end}."
    )


def _since(run: HoldRun) -> str:
    return "" if run.last_write_ms is None else f"Last write at {run.last_write_ms} ms. "


def outputs_svg(run: HoldRun, *, standalone: bool = False) -> str:
    """Draw what the outputs of the pump rack did around the takeover.

    Parameters
    ----------
    run : HoldRun
    standalone : bool
        Whether the picture carries its own style, to stand in a file.

    Returns
    -------
    str
        SVG text.

    Examples
    --------
    >>> outputs_svg(hold_run(200)).count("fail state") > 1
    True
    """
    last = max([ms for ms, _ in run.outputs] + [run.hold_ms])
    end = 100 * (last // 100 + 2)

    def x(ms: float) -> float:
        return LEFT + (ms + BEFORE_MS) / (end + BEFORE_MS) * (RIGHT - LEFT)

    parts = [text(LEFT, 18, "Outputs of the pump rack KF10", "b", size=16)]
    for ms in range(-BEFORE_MS, end + 1, 100 if end <= 800 else 200):
        parts.append(line([(x(ms), TOP), (x(ms), AXIS)], "grid"))
        parts.append(text(x(ms), AXIS + 16, f"{ms}", "q", size=14, anchor="middle"))
    parts.append(text((LEFT + RIGHT) / 2, AXIS + 33, "ms after the fault", "q", size=14,
                      anchor="middle"))
    since = run.last_write_ms or 0
    limit = run.dropped_ms if run.dropped_ms is not None else since + run.hold_ms
    starts = [-BEFORE_MS, *(ms for ms, _ in run.outputs[1:])]
    ends = [*starts[1:], end]
    for (_, state), begin, stop in zip(run.outputs, starts, ends, strict=True):
        left, width = x(begin), x(stop) - x(begin)
        if width <= 0:
            continue
        bar, word = KINDS[state]
        parts.append(rectangle(left, BAR, width, 26, bar, 0))
        # The word stands in the longest stretch that the line of the hold time leaves.
        cuts = [begin, *([limit] if begin < limit < stop else []), stop]
        room = max(pairwise(map(x, cuts)), key=lambda pair: pair[1] - pair[0])
        words = state if text_width(state, 14, bold=True) + 8 < room[1] - room[0] else ""
        parts.append(text(sum(room) / 2, BAR + 18, words, word, size=14, anchor="middle"))
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
    return document(parts, WIDTH, HEIGHT, outputs_alt_text(run), standalone=standalone)


def _level(run: HoldRun, standalone: bool = False) -> str:
    marks = [Mark(FAULT_MS / 1000, "fault"),
             *(Mark(each.time_s, each.name) for each in run.happenings)]
    return level_svg(run.trend.time_s, run.trend.level_m, run.tank, opening=run.trend.opening,
                     inflow_l_per_s=run.trend.inflow_l_per_s[-1], marks=marks,
                     standalone=standalone)


class HoldPanel(Panel):
    """Show what the hold time of the racks makes of a takeover.

    Parameters
    ----------
    task : str
        What the reader is to do.
    hold_ms : int
        Hold time at the start, in ms, 80 to 1000.
    cause : str
        One of `labkit.rig.holding.CAUSES`.
    extra : str
        One of `labkit.rig.holding.EXTRAS`, or empty.

    Raises
    ------
    ValueError
        If the hold time, the cause or the extra is not among those.

    Examples
    --------
    >>> panel = HoldPanel()
    >>> panel.hold.value = 200
    >>> panel.run.cost_eur
    11000.0
    """

    def __init__(self, task: str = TASK, *, hold_ms: int = 500, cause: str = CAUSES[0],
                 extra: str = ""):
        if not LEAST_HOLD_MS <= hold_ms <= MOST_HOLD_MS:
            raise ValueError(
                f"hold_ms must be {LEAST_HOLD_MS} to {MOST_HOLD_MS}, got {hold_ms!r}")
        if cause not in CAUSES:
            raise ValueError(f"cause must be one of {', '.join(CAUSES)}, got {cause!r}")
        if extra and extra not in EXTRAS:
            raise ValueError(f"extra must be one of {', '.join(EXTRAS)}, got {extra!r}")
        labelled = {"description_width": "auto"}
        auto = widgets.Layout(width="auto")
        limits = {"min": LEAST_HOLD_MS, "max": MOST_HOLD_MS, "step": STEP_MS, "value": hold_ms}
        self.hold = widgets.IntSlider(
            description="Hold time", continuous_update=False, readout=False, style=labelled,
            layout=widgets.Layout(width="300px"), tooltip="Hold time of the racks in ms", **limits)
        self.typed = widgets.BoundedIntText(
            description="or type, ms", style=labelled, layout=widgets.Layout(width="160px"),
            tooltip="Hold time of the racks in ms", **limits)
        widgets.link((self.hold, "value"), (self.typed, "value"))
        self.cause = widgets.Dropdown(description="Fault", options=CAUSES, value=cause,
                                      style=labelled, layout=auto)
        self.extra = widgets.Dropdown(description="and", value=extra, style=labelled, layout=auto,
                                      options=[(NONE, ""), *((each, each) for each in EXTRAS)])
        self.phase = widgets.Dropdown(
            description="Clocks", options=[(f"draw {seed}", seed) for seed in range(1, 9)],
            value=1, style=labelled, layout=auto)
        self.said = widgets.HTML()
        self.pictures = (widgets.HTML(), widgets.HTML())
        for control in (self.hold, self.cause, self.extra, self.phase):
            control.observe(self.guarded(lambda _: self.draw()), "value")
        rows = [widgets.HBox([self.hold, self.typed]),
                widgets.HBox([self.cause, self.extra, self.phase])]
        for row in rows:
            row.layout.flex_flow = "row wrap"
        super().__init__(task, [*rows, self.said, *self.pictures])
        self.draw()

    def draw(self) -> None:
        """Run the takeover once more, and show it."""
        extras = (self.extra.value,) if self.extra.value else ()
        self.run = hold_run(self.hold.value, cause=self.cause.value, extras=extras,
                            seed=self.phase.value)
        kept = "The racks held." if self.run.dropped_ms is None else "The racks let go."
        self.said.value = (
            f'<div class="lk-task"><b>{kept}</b> Level moved {self.run.moved_mm:.0f} mm at most. '
            f"Cost of the event: {self.run.cost_text}.</div>")
        outputs, level = self.pictures
        outputs.value, level.value = outputs_svg(self.run), _level(self.run)

    def state_text(self) -> str:
        """Return what the picture shows, as text."""
        return hold_text(self.run)

    def still_picture(self) -> tuple[str, str]:
        """Return the picture of the outputs, to stand alone, and the text of both pictures."""
        level = level_alt_text(self.run.trend.time_s, self.run.trend.level_m, self.run.tank)
        return outputs_svg(self.run, standalone=True), f"{outputs_alt_text(self.run)} {level}"


def hold_panel(*, task: str = TASK, hold_ms: int = 500, cause: str = CAUSES[0],
               extra: str = "") -> HoldPanel:
    """Open the panel "hold time and the tank".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    hold_ms : int
        Hold time at the start, in ms, 80 to 1000.
    cause : str
        One of `labkit.rig.holding.CAUSES`.
    extra : str
        One of `labkit.rig.holding.EXTRAS`, or empty.

    Returns
    -------
    HoldPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        If the hold time, the cause or the extra is not among those.

    Examples
    --------
    >>> hold_panel(hold_ms=200).run.cost_eur
    11000.0
    """
    return HoldPanel(task, hold_ms=hold_ms, cause=cause, extra=extra)
