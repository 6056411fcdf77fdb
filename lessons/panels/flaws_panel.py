"""The pair's flaws, one at a time: what each of them makes of the down time and the outages."""

import math
from dataclasses import replace

from labkit.markov.flaws import Flaws, flaws_text
from labkit.plant.plant import load_plant
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

    drawn = flaws_svg, flaws_alt_text, flaws_text

    def __init__(self, task: str = TASK, begin: Flaws | None = None):
        self.begin = begin or Flaws()
        self.cause = _choice("Common causes", CAUSES, self.begin.common_cause, "{:.3%}")
        self.taken = _choice("Taken over", TAKEN, self.begin.coverage, "{:.3%}")
        self.seen = _choice("Standby faults seen", SEEN, self.begin.diagnosed, "{:.3%}")
        self.tested = _choice("Standby tested every", TESTS_H, self.begin.test_interval_h, "{:g} h")
        self.restored = _choice("Restored in", RESTORED_H, self.begin.mttr_h, "{:.4g} h")
        rows = [self.cause, self.taken, self.restored], [self.seen, self.tested]
        super().__init__(task, *rows, watch=[each for row in rows for each in row])

    @property
    def flaws(self) -> Flaws:
        """The pair as it stands in the controls."""
        return replace(
            self.begin, mttr_h=self.restored.value, common_cause=self.cause.value, coverage=self.taken.value,
            diagnosed=self.seen.value, test_interval_h=self.tested.value)

    @property
    def shown(self) -> tuple[Flaws]:
        return (self.flaws,)

    def line(self) -> str:
        return f"<b>{self.state_text().splitlines()[-1]}</b>"


def _choice(words: str, options: dict[str, float], value: float, form: str):
    """Return a list to choose from in which the number of the plant stands too."""
    there = {} if value in options.values() else {form.format(value).replace("%", " %"): value}
    return choice(words, options | there, value)


def flaws_panel(plant: str | None = None, *, task: str = TASK) -> FlawsPanel:
    """Open the panel "the pair's flaws, one at a time".

    Parameters
    ----------
    plant : str, optional
        A plant file, or the name of one that comes along: its pair, or that of its first variant
        with one, is where the panel begins. Default: an ideal pair.
    task : str
        What the reader is to do; it stands in the panel.

    Returns
    -------
    FlawsPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        If neither the plant nor a variant of it has a pair.

    Examples
    --------
    >>> flaws_panel(task="Try each.").text().splitlines()[0]
    'Task: Try each.'
    """
    if plant is None:
        return FlawsPanel(task)
    own = load_plant(plant)
    paired = next((each for each in (own, *map(own.variant, own.variants)) if each.pair), None)
    if paired is None:
        raise ValueError(f"plant must have a pair, got {own.name}, which has none")
    own, unit = paired, paired.parts[paired.pair.units[0]]
    return FlawsPanel(task, Flaws(unit.mtbf_h, unit.mttr_h, **{
        key: getattr(own.pair, key) for key in (
            "common_cause", "coverage", "diagnosed", "test_interval_h", "restart_h")}))
