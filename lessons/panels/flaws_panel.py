"""The pair's flaws, one at a time: what each of them makes of the down time and the outages."""

from __future__ import annotations

import math

from labkit.markov.flaws import Flaws, flaws_text
from lessons.panels.frame import PicturePanel, choice
from lessons.pictures.flaw_bars import flaws_alt_text, flaws_svg

CAUSES = {"none": 0.0, "2 %": 0.02, "5 %": 0.05, "10 %": 0.1}
TAKEN = {"100 %": 1.0, "99 %": 0.99, "97 %": 0.97, "90 %": 0.9}
SEEN = {"100 %": 1.0, "90 %": 0.9, "60 %": 0.6, "none": 0.0}
TESTS_H = {"month": 730.0, "half a year": 4380.0, "year": 8760.0, "never": math.inf}
RESTORED_H = {"4 h": 4.0, "12 h": 12.0, "72 h": 72.0}

TASK = "Switch one flaw on at a time. Which makes the minutes, which makes the stops?"


class FlawsPanel(PicturePanel):
    """Show what each flaw makes of the pair, while it is switched on."""

    def __init__(self, task: str = TASK):
        self.cause = choice("Common causes", CAUSES, 0.0)
        self.taken = choice("Taken over", TAKEN, 1.0)
        self.seen = choice("Standby faults seen", SEEN, 1.0)
        self.tested = choice("Standby tested every", TESTS_H, 4380.0)
        self.restored = choice("Restored in", RESTORED_H, 4.0)
        rows = [self.cause, self.taken, self.restored], [self.seen, self.tested]
        super().__init__(task, *rows, watch=[each for row in rows for each in row])

    @property
    def flaws(self) -> Flaws:
        """The pair as it stands in the controls."""
        return Flaws(
            mttr_h=self.restored.value, common_cause=self.cause.value, coverage=self.taken.value,
            diagnosed=self.seen.value, test_interval_h=self.tested.value)

    def svg(self, *, standalone: bool = False) -> str:
        return flaws_svg(self.flaws, standalone=standalone)

    def alternative(self) -> str:
        return flaws_alt_text(self.flaws)

    def line(self) -> str:
        return f"<b>{self.state_text().splitlines()[-1]}</b>"

    def state_text(self) -> str:
        return flaws_text(self.flaws)


def flaws_panel(*, task: str = TASK) -> FlawsPanel:
    """Open the panel "the pair's flaws, one at a time".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.

    Returns
    -------
    FlawsPanel
        As the last value of a cell it shows itself.

    Examples
    --------
    >>> flaws_panel(task="Try each.").text().splitlines()[0]
    'Task: Try each.'
    """
    return FlawsPanel(task)
