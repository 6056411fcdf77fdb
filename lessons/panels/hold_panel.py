"""Hold time and tank: the outputs in milliseconds above, the level in seconds below."""

import ipywidgets as widgets

from labkit.arguments import count, one_of
from labkit.rig.holding import CAUSES, EXTRAS, FAULT_MS, HoldRun, hold_run, hold_text
from lessons.panels.frame import PicturePanel, choice
from lessons.pictures.output_bars import outputs_alt_text, outputs_svg
from lessons.pictures.trend import Mark, level_alt_text, level_svg

LEAST_HOLD_MS, MOST_HOLD_MS, STEP_MS = 80, 1000, 10
NONE = "nothing else"

TASK = "Shorten the hold time step by step. Where does the tank begin to notice?"


class HoldPanel(PicturePanel):
    """Show what the hold time of the racks makes of a takeover."""

    drawn = outputs_svg, outputs_alt_text, hold_text

    def __init__(self, task: str = TASK, *, hold_ms: int = 500, cause: str = CAUSES[0],
                 extra: str = ""):
        count("hold_ms", hold_ms, least=LEAST_HOLD_MS, most=MOST_HOLD_MS)
        one_of("cause", cause, CAUSES)
        if extra:
            one_of("extra", extra, EXTRAS)
        self.hold, self.typed = self.number(
            "Hold time", "Hold time of the racks in ms", hold_ms, LEAST_HOLD_MS, MOST_HOLD_MS, "ms",
            step=STEP_MS, typed="or type, ms", width=300)
        self.cause = choice("Fault", CAUSES, cause)
        self.extra = choice("and", {NONE: "", **{each: each for each in EXTRAS}}, extra)
        self.phase = choice("Clocks", {f"draw {seed}": seed for seed in range(1, 9)}, 1)
        self.level = widgets.HTML()
        super().__init__(task, [self.hold, self.typed], [self.cause, self.extra, self.phase],
                         watch=[self.hold, self.cause, self.extra, self.phase],
                         below=[self.level])

    def work_out(self) -> None:
        """Run the takeover once more."""
        run = self.run = hold_run(self.hold.value, cause=self.cause.value, seed=self.phase.value,
                                  extras=tuple(filter(None, [self.extra.value])))
        marks = [Mark(FAULT_MS / 1000, "fault"),
                 *(Mark(each.time_s, each.name) for each in run.happenings)]
        self.level.value = level_svg(run.trend, run.tank, marks=marks)

    @property
    def shown(self) -> tuple[HoldRun]:
        return (self.run,)

    def alternative(self) -> str:
        return f"{super().alternative()} {level_alt_text(self.run.trend, self.run.tank)}"

    def line(self) -> str:
        kept = "The racks held." if self.run.dropped_ms is None else "The racks let go."
        return (f"<b>{kept}</b> Level moved {self.run.moved_mm:.0f} mm at most. "
                f"Cost of the event: {self.run.cost_text}.")


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
    >>> hold_panel(hold_ms=200).run.event_cost
    11000.0
    """
    return HoldPanel(task, hold_ms=hold_ms, cause=cause, extra=extra)
