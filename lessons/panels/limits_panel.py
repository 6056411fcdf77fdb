"""What a count of failures proves: the limits of an MTBF, while years and failures are moved."""

from __future__ import annotations

import math

import ipywidgets as widgets

from labkit.arguments import count, positive
from labkit.evidence.limits import Limits, mtbf_limits
from labkit.wording import HOURS_PER_YEAR
from lessons.panels.frame import Panel
from lessons.pictures.svg import document, line, rectangle, text

__all__ = ["LimitsPanel", "limits_alt_text", "limits_panel", "limits_svg"]

WIDTH, HEIGHT = 900.0, 232.0
LEFT, RIGHT, TOP, BOTTOM = 40.0, 860.0, 44.0, 176.0
# Decades of hours on the scale.
LOW, HIGH = 2, 8
DECADES = {2: "100 h", 3: "1000 h", 4: "10 000 h", 5: "100 000 h", 6: "1 million h",
           7: "10 million h"}
UNITS, CLAIM_H = 2, 60_000.0
MOST_YEARS, MOST_FAILURES = 50, 30

TASK = "One failure more, then ten times the years. Which end of the bar moves, and how far?"


def _x(hours: float) -> float:
    place = (math.log10(hours) - LOW) / (HIGH - LOW)
    return LEFT + min(max(place, 0.0), 1.0) * (RIGHT - LEFT)


def _grouped(hours: float) -> str:
    return f"{float(f'{hours:.4g}'):,.0f}".replace(",", " ")


def _limits(years: float, failures: int) -> Limits:
    positive("years", years)
    return mtbf_limits(UNITS * years * HOURS_PER_YEAR, count("failures", failures))


def _verdict(limits: Limits) -> str:
    if CLAIM_H < limits.lower:
        return "the records are better"
    if CLAIM_H > limits.upper:
        return "the records speak against it"
    return "neither proved nor disproved"


def limits_alt_text(years: float, failures: int) -> str:
    """Say in at most 60 words what the picture shows.

    Parameters
    ----------
    years : float
        Years for which two units were watched, > 0.
    failures : int
        Failures in them, >= 0.

    Returns
    -------
    str

    Raises
    ------
    TypeError, ValueError
        If an argument is no number or out of its range.

    Examples
    --------
    >>> limits_alt_text(1, 1)[-28:]
    'either proved nor disproved.'
    """
    limits = _limits(years, failures)
    upper = f"to {_grouped(limits.upper)} h" if failures else "without an upper limit"
    mean = f", mean {_grouped(limits.point)} h" if failures else ""
    return (
        f"A bar on a scale of hours: two units, {years:g} year{'s' if years != 1 else ''}, "
        f"{failures} failure{'s' if failures != 1 else ''}. The 90 % limits of the MTBF reach from "
        f"{_grouped(limits.lower)} h {upper}{mean}. {_grouped(CLAIM_H)} h of the plant file: "
        f"{_verdict(limits)}."
    )


def limits_svg(years: float, failures: int, *, standalone: bool = False) -> str:
    """Draw the limits of an MTBF as a bar, beside the value of the plant file.

    Parameters
    ----------
    years : float
        Years for which two units were watched, > 0.
    failures : int
        Failures in them, >= 0.
    standalone : bool
        Whether the picture carries its own style, to stand in a file.

    Returns
    -------
    str
        SVG text.

    Raises
    ------
    TypeError, ValueError
        If an argument is no number or out of its range.

    Examples
    --------
    >>> limits_svg(1, 0).count("<svg")
    1
    """
    limits = _limits(years, failures)
    left, right = _x(limits.lower), _x(limits.upper)
    parts = [text(LEFT, 24, "MTBF that fits the records, 90 % limits", "b", size=17),
             rectangle(LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP, "frame", 0)]
    for decade, words in DECADES.items():
        x = _x(10.0**decade)
        parts.append(line([(x, TOP), (x, BOTTOM)], "grid"))
        parts.append(text(x, BOTTOM + 19, words, "q", size=14,
                          anchor="start" if decade == LOW else "middle"))
    claim = _x(CLAIM_H)
    parts.append(rectangle(left, 112, right - left, 34, "now", 0))
    if not failures:
        parts.append(text(right - 8, 104, "no upper limit", "b over", size=16, anchor="end"))
    parts.append(line([(claim, TOP), (claim, BOTTOM)], "limit"))
    parts.append(text(claim + 8, TOP + 20, f"plant file: {_grouped(CLAIM_H)} h", "over", size=15))
    if failures:
        mean = _x(limits.point)
        parts.append(line([(mean, 104), (mean, 154)], "event"))
        parts.append(text(mean, 100, f"mean {_grouped(limits.point)} h", "over", size=14,
                          anchor="middle"))
    ends = f"{_grouped(limits.lower)} h " + (
        f"to {_grouped(limits.upper)} h" if failures else "and more")
    parts.append(text(LEFT, HEIGHT - 8, f"{ends}: {_verdict(limits)}", "b", size=17))
    return document(parts, WIDTH, HEIGHT, limits_alt_text(years, failures), standalone=standalone)


class LimitsPanel(Panel):
    """Show what years and failures say about an MTBF, while they are moved.

    Parameters
    ----------
    task : str
        What the reader is to do.

    Examples
    --------
    >>> panel = LimitsPanel(TASK)
    >>> panel.failures.value = 2
    >>> "the records speak against it" in panel.picture.value
    True
    """

    def __init__(self, task: str = TASK):
        labelled = {"description_width": "auto"}
        self.years, years = self._number("Years watched", 1, MOST_YEARS, 1, labelled)
        self.failures, failures = self._number("Failures", 0, MOST_FAILURES, 1, labelled)
        self.picture = widgets.HTML()
        for control in (self.years, self.failures):
            control.observe(self.guarded(lambda _: self.draw()), "value")
        row = widgets.HBox([years, failures])
        row.layout.flex_flow = "row wrap"
        said = widgets.HTML(
            f'<div class="lk-task">{UNITS} controllers run side by side; the plant file assumes '
            f"{_grouped(CLAIM_H)} h for each.</div>")
        super().__init__(task, [said, row, self.picture])
        self.draw()

    def _number(self, name: str, least: int, most: int, value: int, style: dict):
        limits = {"min": least, "max": most, "value": value}
        slider = widgets.IntSlider(
            description=name, continuous_update=False, readout=False, style=style,
            layout=widgets.Layout(width="280px"), tooltip=name, **limits)
        typed = widgets.BoundedIntText(
            description="or type", style=style, layout=widgets.Layout(width="120px"),
            tooltip=name, **limits)
        widgets.link((slider, "value"), (typed, "value"))
        return slider, widgets.HBox([slider, typed])

    def draw(self) -> None:
        """Show the present years and failures."""
        self.picture.value = limits_svg(self.years.value, self.failures.value)

    def state_text(self) -> str:
        """Return what the picture shows, as text."""
        return limits_alt_text(self.years.value, self.failures.value)

    def still_picture(self) -> tuple[str, str]:
        """Return the picture as SVG text that stands alone, and its alternative text."""
        years, failures = self.years.value, self.failures.value
        return limits_svg(years, failures, standalone=True), limits_alt_text(years, failures)


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
