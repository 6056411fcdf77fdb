"""The proof-test interval: the chance of a dead standby from test to test, and its price."""

from __future__ import annotations

import ipywidgets as widgets

from labkit.markov.latent import LatentFaults, latent_faults, latent_text
from lessons.panels.frame import Panel
from lessons.pictures.svg import document, line, text
from lessons.pictures.trend import nice_step

__all__ = ["ProofTestPanel", "latent_alt_text", "latent_svg", "proof_test_panel"]

WIDTH, HEIGHT = 900.0, 272.0
LEFT, RIGHT, TOP, BOTTOM = 74.0, 880.0, 44.0, 246.0
LEAST_WEEKS, MOST_WEEKS = 1, 520
SHOWN_INTERVALS = 3
SEEN = {"none": 0.0, "60 %": 0.6, "90 %": 0.9, "99 %": 0.99}

TASK = "Make the interval longer, step by step. What happens to the standby, and to the pair?"


def latent_alt_text(found: LatentFaults) -> str:
    """Say in at most 60 words what the picture shows.

    Parameters
    ----------
    found : LatentFaults

    Returns
    -------
    str

    Examples
    --------
    >>> len(latent_alt_text(latent_faults(4380)).split()) <= 60
    True
    """
    return (
        f"Saw teeth over {SHOWN_INTERVALS} test intervals of {found.interval_h / 168:.0f} weeks. "
        f"The chance that the standby is dead and nobody knows climbs from 0 to "
        f"{found.dead[-1]:.2%} and falls back at each test. A dotted line marks the mean, "
        f"{found.mean_dead:.2%}."
    )


def latent_svg(found: LatentFaults, *, standalone: bool = False) -> str:
    """Draw the chance of a dead standby from test to test.

    Parameters
    ----------
    found : LatentFaults
    standalone : bool
        Whether the picture carries its own style, to stand in a file.

    Returns
    -------
    str
        SVG text.

    Examples
    --------
    >>> latent_svg(latent_faults(4380)).count("<svg")
    1
    """
    most = max(float(found.dead.max()), 1e-6)
    step = nice_step(100 * most, 4) / 100
    top = step * (int(most / step) + 1)
    span_h = SHOWN_INTERVALS * found.interval_h

    def x(time_h: float) -> float:
        return LEFT + time_h / span_h * (RIGHT - LEFT)

    def y(share: float) -> float:
        return BOTTOM - share / top * (BOTTOM - TOP)

    parts = [text(LEFT, 22, "Chance that the standby is dead and nobody knows [%]", "b", size=16)]
    for i in range(round(top / step) + 1):
        parts.append(line([(LEFT, y(i * step)), (RIGHT, y(i * step))], "grid"))
        parts.append(text(LEFT - 8, y(i * step) + 5, f"{100 * i * step:.3g}", "q", size=14,
                          anchor="end"))
    curve: list[tuple[float, float]] = []
    for tooth in range(SHOWN_INTERVALS):
        start_h = tooth * found.interval_h
        curve += [(x(start_h + t), y(p)) for t, p in zip(found.time_h, found.dead, strict=True)]
        test = x(start_h + found.interval_h)
        parts.append(line([(test, TOP), (test, BOTTOM)], "event"))
        week = (tooth + 1) * found.interval_h / 168
        parts.append(text(test - 6, BOTTOM + 18, f"test, week {week:.0f}", size=14, anchor="end"))
    curve.append((x(span_h), y(0.0)))
    parts.append(line(curve, "curve", 0))
    mean = y(found.mean_dead)
    parts.append(line([(LEFT, mean), (RIGHT, mean)], "aim"))
    parts.append(text(LEFT + 8, mean - 6, f"mean {found.mean_dead:.2%}", "b over", size=15))
    return document(parts, WIDTH, HEIGHT, latent_alt_text(found), standalone=standalone)


class ProofTestPanel(Panel):
    """Show what the interval of the proof test makes of the standby.

    Parameters
    ----------
    task : str
        What the reader is to do.
    weeks : int
        Interval at the start, 1 to 520 weeks.
    seen : str
        One of `SEEN`: what diagnosis sees of the standby's faults.

    Raises
    ------
    ValueError
        If the interval or the share is not among those.

    Examples
    --------
    >>> panel = ProofTestPanel(weeks=52, seen="none")
    >>> panel.weeks.value = 26
    >>> round(100 * panel.found.mean_dead, 1)
    3.5
    """

    def __init__(self, task: str = TASK, *, weeks: int = 26, seen: str = "90 %"):
        if not LEAST_WEEKS <= weeks <= MOST_WEEKS:
            raise ValueError(f"weeks must be {LEAST_WEEKS} to {MOST_WEEKS}, got {weeks!r}")
        if seen not in SEEN:
            raise ValueError(f"seen must be one of {', '.join(SEEN)}, got {seen!r}")
        labelled = {"description_width": "auto"}
        limits = {"min": LEAST_WEEKS, "max": MOST_WEEKS, "step": 1, "value": weeks}
        self.weeks = widgets.IntSlider(
            description="Test every", continuous_update=False, readout=False, style=labelled,
            layout=widgets.Layout(width="340px"), tooltip="Weeks from test to test", **limits)
        self.typed = widgets.BoundedIntText(
            description="or type, weeks", style=labelled, layout=widgets.Layout(width="180px"),
            tooltip="Weeks from test to test", **limits)
        widgets.link((self.weeks, "value"), (self.typed, "value"))
        self.seen = widgets.Dropdown(
            description="Diagnosis sees", options=list(SEEN), value=seen, style=labelled,
            layout=widgets.Layout(width="auto"))
        self.said, self.picture = widgets.HTML(), widgets.HTML()
        for control in (self.weeks, self.seen):
            control.observe(self.guarded(lambda _: self.draw()), "value")
        row = widgets.HBox([self.weeks, self.typed, self.seen])
        row.layout.flex_flow = "row wrap"
        super().__init__(task, [row, self.picture, self.said])
        self.draw()

    def draw(self) -> None:
        """Work out the interval once more, and show it."""
        self.found = latent_faults(168.0 * self.weeks.value, SEEN[self.seen.value])
        self.picture.value = latent_svg(self.found)
        lines = latent_text(self.found).splitlines()
        self.said.value = f'<div class="lk-task">{"<br>".join(lines)}</div>'

    def state_text(self) -> str:
        """Return what the picture shows, as text."""
        return latent_text(self.found)

    def still_picture(self) -> tuple[str, str]:
        """Return the picture, to stand alone, and its alternative text."""
        return latent_svg(self.found, standalone=True), latent_alt_text(self.found)


def proof_test_panel(*, task: str = TASK, weeks: int = 26, seen: str = "90 %") -> ProofTestPanel:
    """Open the panel "proof-test interval".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    weeks : int
        Interval at the start, 1 to 520 weeks.
    seen : str
        One of `SEEN`.

    Returns
    -------
    ProofTestPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        If the interval or the share is not among those.

    Examples
    --------
    >>> proof_test_panel(weeks=52, seen="none").text().splitlines()[-1][:31]
    'Pair: 2.324 min a year down by '
    """
    return ProofTestPanel(task, weeks=weeks, seen=seen)
