"""What a count of failures proves: the limits of an MTBF, while years and failures are moved."""

import ipywidgets as widgets

from labkit.wording import grouped
from lessons.panels.frame import PicturePanel
from lessons.pictures.limits_bar import CLAIM_H, UNITS, limits_alt_text, limits_svg, limits_verdict

MOST_YEARS, MOST_FAILURES = 50, 30

TASK = "One failure more, then ten times the years. Which end of the bar moves, and how far?"


class LimitsPanel(PicturePanel):
    """Show what years and failures say about an MTBF, while they are moved."""

    drawn = limits_svg, limits_alt_text

    def __init__(self, task: str = TASK):
        self.years, years = self.number("Years watched", "Years watched", 1, 1, MOST_YEARS, "a")
        self.failures, failures = self.number("Failures", "Failures", 1, 0, MOST_FAILURES, "")
        given = widgets.HTML(
            f'<div class="lk-task">{UNITS} controllers run side by side; the plant file assumes '
            f"{grouped(CLAIM_H)} h for each.</div>")
        pairs = [widgets.HBox([self.years, years]), widgets.HBox([self.failures, failures])]
        super().__init__(task, [given], pairs, watch=[self.years, self.failures])

    @property
    def shown(self) -> tuple[int, int]:
        return self.years.value, self.failures.value

    def line(self) -> str:
        return "<b>{}</b> {}".format(*limits_verdict(*self.shown))


def limits_panel(*, task: str = TASK) -> LimitsPanel:
    """Open the panel "what a count of failures proves".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.

    Returns
    -------
    LimitsPanel
        As the last value of a cell it shows itself.

    Examples
    --------
    >>> limits_panel(task="Try 1 and 10 years.").text().splitlines()[0]
    'Task: Try 1 and 10 years.'
    """
    return LimitsPanel(task)
