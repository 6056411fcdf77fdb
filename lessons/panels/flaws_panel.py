"""The pair's flaws, one at a time: what each of them makes of the down time and the outages."""

from __future__ import annotations

import math

import ipywidgets as widgets

from labkit.markov.flaws import FlawRow, Flaws, flaw_rows, flaws_text, years_in_words
from lessons.panels.frame import Panel
from lessons.pictures.svg import document, line, rectangle, text

__all__ = ["FlawsPanel", "flaws_alt_text", "flaws_panel", "flaws_svg"]

WIDTH, HEIGHT = 900.0, 330.0
LEFT, RIGHT, TOP, STEP = 196.0, 640.0, 52.0, 36.0
# Decades of minutes a year on the scale.
LOW, HIGH = -3, 4
AXIS = TOP + 6 * STEP + 4

CAUSES = {"none": 0.0, "2 %": 0.02, "5 %": 0.05, "10 %": 0.1}
TAKEN = {"100 %": 1.0, "99 %": 0.99, "97 %": 0.97, "90 %": 0.9}
SEEN = {"100 %": 1.0, "90 %": 0.9, "60 %": 0.6, "none": 0.0}
TESTS_H = {"month": 730.0, "half a year": 4380.0, "year": 8760.0, "never": math.inf}
RESTORED_H = {"4 h": 4.0, "12 h": 12.0, "72 h": 72.0}

TASK = "Switch one flaw on at a time. Which makes the minutes, which makes the stops?"


def _x(minutes: float) -> float:
    place = (math.log10(minutes) - LOW) / (HIGH - LOW)
    return LEFT + min(max(place, 0.004), 1.0) * (RIGHT - LEFT)


def flaws_alt_text(flaws: Flaws) -> str:
    """Say in at most 60 words what the picture shows.

    Parameters
    ----------
    flaws : Flaws

    Returns
    -------
    str

    Examples
    --------
    >>> flaws_alt_text(Flaws())[:36]
    'Bars of down time in minutes a year,'
    """
    said = ", ".join(f"{row.name} {row.down_min_per_a:.3g}" for row in flaw_rows(flaws))
    return ("Bars of down time in minutes a year, scale in powers of ten from 0.001 to 10 000: "
            f"{said}.")


def flaws_svg(flaws: Flaws, *, standalone: bool = False) -> str:
    """Draw the down time of each version as a bar, with its outages in words.

    Parameters
    ----------
    flaws : Flaws
    standalone : bool
        Whether the picture carries its own style, to stand in a file.

    Returns
    -------
    str
        SVG text.

    Examples
    --------
    >>> flaws_svg(Flaws()).count("<svg")
    1
    """
    parts = [text(LEFT, 24, "Down time, min a year", "b", size=17),
             text(RIGHT + 16, 24, "min a year", "b"),
             text(WIDTH - 8, 24, "one outage in", "b", anchor="end")]
    for decade in range(LOW, HIGH + 1):
        x = LEFT + (decade - LOW) / (HIGH - LOW) * (RIGHT - LEFT)
        parts.append(line([(x, TOP - 14), (x, AXIS)], "grid"))
        words = f"{10.0**decade:g}" if decade < 4 else "10 000"
        parts.append(text(x, AXIS + 19, words, "q", size=14, anchor="middle"))
    parts.append(text((LEFT + RIGHT) / 2, AXIS + 40,
                      "min a year; each step of the scale is ten times the one before", "q",
                      size=14, anchor="middle"))
    for place, row in enumerate(flaw_rows(flaws)):
        parts += _bar(row, TOP + place * STEP, here=place == 5)
    return document(parts, WIDTH, HEIGHT, flaws_alt_text(flaws), standalone=standalone)


def _bar(row: FlawRow, y: float, *, here: bool) -> list[str]:
    strong = "b" if here else ""
    kind = "now" if here or row.name == "one controller" else "water"
    return [
        text(LEFT - 10, y + 7, row.name, strong, anchor="end"),
        rectangle(LEFT, y - 10, _x(row.down_min_per_a) - LEFT, 24, kind, 0),
        text(RIGHT + 16, y + 7, f"{row.down_min_per_a:.3g}", strong),
        text(WIDTH - 8, y + 7, years_in_words(row.years_between), strong, anchor="end"),
    ]


class FlawsPanel(Panel):
    """Show what each flaw makes of the pair, while it is switched on.

    Parameters
    ----------
    task : str
        What the reader is to do.

    Examples
    --------
    >>> panel = FlawsPanel(TASK)
    >>> panel.cause.value = 0.05
    >>> "137 years" in panel.picture.value
    True
    """

    def __init__(self, task: str = TASK):
        def drop(name: str, options: dict, value: float) -> widgets.Dropdown:
            return widgets.Dropdown(
                description=name, options=list(options.items()), value=value,
                style={"description_width": "auto"}, layout=widgets.Layout(width="auto"))

        self.cause = drop("Common causes", CAUSES, 0.0)
        self.taken = drop("Taken over", TAKEN, 1.0)
        self.seen = drop("Standby faults seen", SEEN, 1.0)
        self.tested = drop("Standby tested every", TESTS_H, 4380.0)
        self.restored = drop("Restored in", RESTORED_H, 4.0)
        self.picture = widgets.HTML()
        self.said = widgets.HTML()
        for control in (self.cause, self.taken, self.seen, self.tested, self.restored):
            control.observe(self.guarded(lambda _: self.draw()), "value")
        rows = [widgets.HBox([self.cause, self.taken, self.restored]),
                widgets.HBox([self.seen, self.tested])]
        for row in rows:
            row.layout.flex_flow = "row wrap"
        super().__init__(task, [*rows, self.picture, self.said])
        self.draw()

    @property
    def flaws(self) -> Flaws:
        """The pair as it stands in the controls."""
        return Flaws(
            mttr_h=self.restored.value, common_cause=self.cause.value, coverage=self.taken.value,
            diagnosed=self.seen.value, test_interval_h=self.tested.value)

    def draw(self) -> None:
        """Show the pair as set."""
        self.picture.value = flaws_svg(self.flaws)
        against = flaws_text(self.flaws).splitlines()[-1]
        self.said.value = f'<div class="lk-task"><b>{against}</b></div>'

    def state_text(self) -> str:
        """Return what the picture shows, as text."""
        return flaws_text(self.flaws)

    def still_picture(self) -> tuple[str, str]:
        """Return the picture as SVG text that stands alone, and its alternative text."""
        return flaws_svg(self.flaws, standalone=True), flaws_alt_text(self.flaws)


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
