"""Two states in time: drawn histories, the share of them that is down, and the exact U(t)."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from pathlib import Path

import ipywidgets as widgets
import numpy as np

from labkit.evidence.limits import Limits, success_limits
from labkit.markov.chain import MarkovModel, two_state
from labkit.simulation.histories import Span, chain_history
from lessons.panels.frame import Panel
from lessons.pictures.svg import document, line, rectangle, text
from lessons.pictures.trend import nice_step

__all__ = [
    "Lives", "TwoStatesPanel", "live", "two_states_alt_text", "two_states_panel", "two_states_svg",
    "two_states_text",
]

WIDTH, HEIGHT = 900.0, 512.0
LEFT, RIGHT = 92.0, 860.0
# Rows of histories, the curve, and the difference, from top to bottom.
SHOWN, ROW, ROWS_TOP = 8, 17.0, 34.0
CURVE_TOP, CURVE_BOTTOM = 202.0, 362.0
DIFF_TOP, DIFF_BOTTOM = 398.0, 464.0
# The lives are counted at equal steps: over 12 times the MTTR, once after each MTTR.
LOOKS = 11
CONFIDENCE = 0.95
# The long run counts as reached where U(t) differs from it by less than this share of it.
NEAR = 0.05

WINDOWS = {"12 times the MTTR": (0.0, 12.0), "2 times the MTBF": (2.0, 0.0)}
COUNTS = (8, 50, 200)
STARTS = {"all up": False, "all down": True}
TASK = "From when on does the curve stay at its long run? Change one time after the other."


@dataclass(frozen=True)
class Lives:
    """Hold lives of one repairable unit, each drawn by itself, and the chain they come from.

    Parameters
    ----------
    mtbf_h, mttr_h : float
        Mean times in hours, > 0.
    window_h : float
        Length of each life, hours, > 0.
    starts_down : bool
        Whether all lives begin with a failure.
    outages : tuple of tuple of Span
        For each life the stretches in which the unit is down.

    Examples
    --------
    >>> Lives(100, 10, 120, False, ((Span(3.0, 7.5),),)).down_at(5.0)
    1
    """

    mtbf_h: float
    mttr_h: float
    window_h: float
    starts_down: bool
    outages: tuple[tuple[Span, ...], ...]

    @property
    def model(self) -> MarkovModel:
        """The chain of the unit, with its start."""
        chain = two_state(self.mtbf_h, self.mttr_h)
        return MarkovModel(chain.rates, up=["up"], start="down" if self.starts_down else "up")

    @property
    def near_h(self) -> float:
        """Time in hours from which on U(t) differs from its long run by less than 5 % of it.

        After a start up U(t) is off by the long run itself at first; after a failure it is off by
        far more, and takes longer.
        """
        off = self.mtbf_h / self.mttr_h if self.starts_down else 1.0
        return max(0.0, math.log(off / NEAR) / (1 / self.mtbf_h + 1 / self.mttr_h))

    def looks_h(self) -> tuple[float, ...]:
        """Return the times in hours at which the lives are counted."""
        return tuple(self.window_h * (i + 1) / (LOOKS + 1) for i in range(LOOKS))

    def down_at(self, t_h: float) -> int:
        """Return how many lives are down at a time in hours."""
        return sum(
            any(span.begin_h <= t_h < span.end_h for span in spans) for spans in self.outages
        )

    def counted(self, t_h: float) -> Limits:
        """Return the share of lives that are down at a time, with its exact 95 % limits."""
        return success_limits(self.down_at(t_h), len(self.outages), confidence=CONFIDENCE)


def live(mtbf_h: float, mttr_h: float, window_h: float, *, lives: int = 200,
         starts_down: bool = False, seed: int = 1) -> Lives:
    """Draw lives of one repairable unit.

    Parameters
    ----------
    mtbf_h, mttr_h : float
        Mean times in hours, > 0.
    window_h : float
        Length of each life, hours, > 0.
    lives : int
        How many, >= 1.
    starts_down : bool
        Whether all lives begin with a failure.
    seed : int
        The same seed gives the same lives.

    Returns
    -------
    Lives

    Raises
    ------
    TypeError, ValueError
        If a time is not > 0 and finite, or there is no life.

    Examples
    --------
    >>> drawn = live(100, 10, 120, lives=50)
    >>> len(drawn.outages), drawn.outages == live(100, 10, 120, lives=50).outages
    (50, True)
    """
    if not lives >= 1:
        raise ValueError(f"lives must be >= 1, got {lives}")
    empty = Lives(mtbf_h, mttr_h, window_h, starts_down, ())
    model, source = empty.model, np.random.default_rng(seed)
    outages = tuple(chain_history(model, window_h, source).outages for _ in range(lives))
    return Lives(mtbf_h, mttr_h, window_h, starts_down, outages)


def _held(lives: Lives) -> int:
    """Count the looks at which the exact value lies inside the limits of the drawn lives."""
    looks = lives.looks_h()
    exact = lives.model.unavailability_at(np.array(looks))
    found = [lives.counted(t_h) for t_h in looks]
    return sum(each.lower <= u <= each.upper for each, u in zip(found, exact, strict=True))


def _number(hours: float) -> str:
    """Write hours with at most four digits, and no power of ten."""
    return f"{hours:,.0f}" if hours >= 1000 else f"{hours:.3g}"


def two_states_alt_text(lives: Lives) -> str:
    """Say in at most 60 words what the picture shows.

    Parameters
    ----------
    lives : Lives

    Returns
    -------
    str

    Examples
    --------
    >>> two_states_alt_text(live(100, 10, 120))[:39]
    'Up to 8 drawn histories over 0 to 120 h'
    """
    model = lives.model
    begin = float(model.unavailability_at(0.0))
    return (
        f"Up to {SHOWN} drawn histories over 0 to {_number(lives.window_h)} h. Below, U(t) from "
        f"{begin:.0f} to its long run {model.unavailability:.3g}, within 5 % from "
        f"{_number(lives.near_h)} h on, beside the share of {len(lives.outages)} histories that "
        f"is down. Last, their difference: {_held(lives)} of {LOOKS} intervals hold the exact "
        "value."
    )


def two_states_text(lives: Lives) -> str:
    """Say in text all that the picture shows.

    Parameters
    ----------
    lives : Lives

    Returns
    -------
    str
        One line for each time at which the lives are counted.

    Examples
    --------
    >>> print(two_states_text(live(100, 10, 120)).splitlines()[1])
    Long run U = 0.0909. From 27.2 h on U(t) is within 5 % of it.
    """
    model = lives.model
    start = "down" if lives.starts_down else "up"
    lines = [
        f"MTBF {_number(lives.mtbf_h)} h, MTTR {_number(lives.mttr_h)} h, start: all {start}; "
        f"{len(lives.outages)} histories of {_number(lives.window_h)} h.",
        f"Long run U = {model.unavailability:.3g}. From {_number(lives.near_h)} h on U(t) is "
        "within 5 % of it.",
    ]
    looks = lives.looks_h()
    for t_h, exact in zip(looks, model.unavailability_at(np.array(looks)), strict=True):
        found = lives.counted(t_h)
        holds = "holds" if found.lower <= exact <= found.upper else "misses"
        lines.append(
            f"t = {_number(t_h)} h: U exact {exact:.3g}; drawn {found.point:.3g}, 95 % interval "
            f"{found.lower:.3g} to {found.upper:.3g} {holds} it"
        )
    lines.append(f"{_held(lives)} of {LOOKS} intervals hold the exact value.")
    return "\n".join(lines)


def two_states_svg(lives: Lives, *, standalone: bool = False) -> str:
    """Draw histories, U(t) by the chain and by counting, and the difference of both.

    Parameters
    ----------
    lives : Lives
        The lives and the chain they come from.
    standalone : bool
        Whether the picture carries its own style, to stand in a file.

    Returns
    -------
    str
        SVG text.

    Examples
    --------
    >>> two_states_svg(live(100, 10, 120)).count("<svg")
    1
    """
    window_h, model = lives.window_h, lives.model

    def x(t_h: float) -> float:
        return LEFT + min(t_h / window_h, 1.0) * (RIGHT - LEFT)

    looks = lives.looks_h()
    found = [lives.counted(t_h) for t_h in looks]
    exact = model.unavailability_at(np.array(looks))
    marks, said = _marks(lives, x)
    parts = [*_histories(lives, x), *_time_axis(lives, x), *marks]
    parts += _curve(lives, x, found)
    parts += said
    parts += _difference(x, looks, exact, found)
    return document(parts, WIDTH, HEIGHT, two_states_alt_text(lives), standalone=standalone)


def _histories(lives: Lives, x) -> list[str]:
    shown = lives.outages[:SHOWN]
    parts = [text(LEFT, 20, f"{len(shown)} of {len(lives.outages)} histories: thin line up, "
                            "block down", "b")]
    for number, spans in enumerate(shown):
        y = ROWS_TOP + ROW * (number + 0.5)
        parts.append(text(LEFT - 8, y + 5, str(number + 1), "q", size=14, anchor="end"))
        parts.append(line([(LEFT, y), (RIGHT, y)], "idle"))
        for span in spans:
            left, right = x(span.begin_h), x(span.end_h)
            # A short outage stays in sight: it is at least as wide as a thick line.
            parts.append(rectangle(left, y - 5.5, right - left, 11, "tag", 1) if right > left + 5
                         else line([(left, y - 6), (left, y + 6)], "mark"))
    return parts


def _time_axis(lives: Lives, x) -> list[str]:
    step = nice_step(lives.window_h, 6)
    parts = []
    for i in range(int(lives.window_h / step * (1 + 1e-9)) + 1):
        at = x(i * step)
        parts.append(line([(at, CURVE_TOP), (at, CURVE_BOTTOM)], "grid"))
        parts.append(line([(at, DIFF_TOP), (at, DIFF_BOTTOM)], "grid"))
        parts.append(text(at, DIFF_BOTTOM + 19, f"{i * step:,.10g}", "q", size=14,
                          anchor="middle"))
    parts.append(text((LEFT + RIGHT) / 2, DIFF_BOTTOM + 40, "time since the start [h]", "q",
                      anchor="middle"))
    return parts


def _marks(lives: Lives, x) -> tuple[list[str], list[str]]:
    """Return the lines below the curve, and the words above it."""
    times = ((lives.near_h, "5 % from the long run"), (lives.mtbf_h, "MTBF"),
             (lives.mttr_h, "MTTR"))
    marks = [(x(at_h), words) for at_h, words in times if at_h <= lives.window_h]
    lines, said = [], []
    for row, (at, words) in enumerate(marks):
        # The words stand to the right of their mark, if they do not cross another one there.
        end = at + 10 + 7.5 * len(words)
        left = end > RIGHT or any(at < other < end for other, _ in marks)
        lines.append(line([(at, CURVE_TOP - 8), (at, CURVE_BOTTOM)], "limit"))
        said.append(text(at + (-5 if left else 5), CURVE_TOP + 14 + 18 * row, words,
                         "f over", size=14, anchor="end" if left else "start"))
    return lines, said


def _curve(lives: Lives, x, found: list[Limits]) -> list[str]:
    model, window_h = lives.model, lives.window_h
    t_h = np.linspace(0.0, window_h, 161)
    exact = model.unavailability_at(t_h)
    top = 1.1 * max(float(exact.max()), max(each.upper for each in found))

    def y(share: float) -> float:
        return CURVE_BOTTOM - share / top * (CURVE_BOTTOM - CURVE_TOP)

    parts = _share_axis(CURVE_TOP, CURVE_BOTTOM, 0.0, top, "U(t), share down")
    parts.append(line([(LEFT, y(model.unavailability)), (RIGHT, y(model.unavailability))], "aim"))
    parts.append(text(RIGHT, CURVE_TOP - 14, f"dots: long run {model.unavailability:.3g}", "b",
                      anchor="end"))
    points = " ".join(f"{x(t):.1f},{y(u):.1f}" for t, u in zip(t_h, exact, strict=True))
    parts.append(f'<polyline points="{points}" class="curve"/>')
    for at_h, each in zip(lives.looks_h(), found, strict=True):
        parts += _bar(x(at_h), y(each.point), y(each.lower), y(each.upper))
    parts.append(text(LEFT, CURVE_TOP - 14, "line: exact; squares: counted in "
                      f"{len(lives.outages)} histories; bars: 95 % interval", "b"))
    return parts


def _difference(x, looks, exact, found: list[Limits]) -> list[str]:
    lows = [each.lower - u for each, u in zip(found, exact, strict=True)]
    highs = [each.upper - u for each, u in zip(found, exact, strict=True)]
    most = 1.1 * max(*map(abs, lows), *map(abs, highs))
    middle, half = (DIFF_TOP + DIFF_BOTTOM) / 2, (DIFF_BOTTOM - DIFF_TOP) / 2

    def y(difference: float) -> float:
        return middle - difference / most * half

    parts = _share_axis(DIFF_TOP, DIFF_BOTTOM, -most, most, "difference")
    parts.append(line([(LEFT, middle), (RIGHT, middle)], "curve"))
    for t_h, u, each, low, high in zip(looks, exact, found, lows, highs, strict=True):
        parts += _bar(x(t_h), y(each.point - u), y(low), y(high))
    parts.append(text(LEFT, DIFF_TOP - 10, "counted less exact", "b"))
    return parts


def _bar(at: float, middle: float, low: float, high: float) -> list[str]:
    return [line([(at, low), (at, high)], "event"),
            line([(at - 5, low), (at + 5, low)], "event"),
            line([(at - 5, high), (at + 5, high)], "event"),
            rectangle(at - 4, middle - 4, 8, 8, "eventhead", 0)]


def _share_axis(top: float, bottom: float, low: float, high: float, words: str) -> list[str]:
    parts = [rectangle(LEFT, top, RIGHT - LEFT, bottom - top, "frame", 0)]
    step = nice_step(high - low, 4)
    for i in range(math.ceil(low / step), math.floor(high / step) + 1):
        y = bottom - (i * step - low) / (high - low) * (bottom - top)
        parts.append(line([(LEFT, y), (RIGHT, y)], "grid"))
        parts.append(text(LEFT - 8, y + 5, f"{i * step:.3g}", "q", size=14, anchor="end"))
    middle = (top + bottom) / 2
    parts.append(f'<g transform="rotate(-90 20 {middle:g})">'
                 + text(20, middle, words, "q", size=14, anchor="middle") + "</g>")
    return parts


class TwoStatesPanel(Panel):
    """Show histories of one repairable unit, and how their share down settles.

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    mtbf_h, mttr_h : float
        Where the controls stand first, hours; MTBF 1 to 100 000, MTTR 0.5 to 100.
    seed : int
        Seed of the first lives.

    Examples
    --------
    >>> panel = TwoStatesPanel("Look.")
    >>> panel.mttr.value = 20
    >>> panel.lives.window_h
    240.0
    """

    def __init__(self, task: str, *, mtbf_h: float = 100.0, mttr_h: float = 10.0, seed: int = 1):
        self.seed = seed
        labelled = {"description_width": "auto"}
        narrow = widgets.Layout(width="auto")
        self.mtbf, mtbf_row = self._time("MTBF [h]", mtbf_h, 0, 5, 1.0, 100_000.0)
        self.mttr, mttr_row = self._time("MTTR [h]", mttr_h, math.log10(0.5), 2, 0.5, 100.0)
        self.window = widgets.Dropdown(description="Time shown", options=list(WINDOWS.items()),
                                       style=labelled, layout=narrow)
        self.count = widgets.Dropdown(description="Histories", options=COUNTS, value=200,
                                      style=labelled, layout=narrow)
        self.start = widgets.Dropdown(description="Start", options=list(STARTS.items()),
                                      style=labelled, layout=narrow)
        self.others = widgets.Button(description="Other histories", layout=narrow)
        self.keep_button = widgets.Button(description="Keep picture", layout=narrow)
        self.kept = widgets.HTML()
        self.picture = widgets.HTML()
        for control in (self.mtbf, self.mttr, self.window, self.count, self.start):
            control.observe(self.guarded(lambda _: self.draw()), "value")
        self.others.on_click(self.guarded(lambda _: self.draw_others()))
        self.keep_button.on_click(self.guarded(lambda _: self.keep()))
        rows = [widgets.HBox([mtbf_row, mttr_row]),
                widgets.HBox([self.window, self.count, self.start, self.others,
                              self.keep_button])]
        for row in rows:
            row.layout.flex_flow = "row wrap"
        super().__init__(task, [*rows, self.picture, self.kept])
        self.draw()

    @staticmethod
    def _time(words: str, value: float, low: float, high: float, least: float, most: float):
        """Return a typed entry, and a row of it and a slider that goes with it."""
        labelled = {"description_width": "auto"}
        entry = widgets.BoundedFloatText(value=value, min=least, max=most, description=words,
                                         style=labelled, layout=widgets.Layout(width="150px"))
        slider = widgets.FloatLogSlider(value=value, min=low, max=high, step=0.05, readout=False,
                                        continuous_update=False, style=labelled,
                                        description=f"slide {words.split()[0]}",
                                        layout=widgets.Layout(width="225px"))

        def slid(change: dict) -> None:
            # What was typed came here from the entry, and keeps all its digits.
            if change["new"] != entry.value:
                entry.value = float(f"{change['new']:.3g}")

        slider.observe(slid, "value")
        entry.observe(lambda change: setattr(slider, "value", change["new"]), "value")
        return entry, widgets.HBox([entry, slider])

    @property
    def lives(self) -> Lives:
        """The lives as they stand in the controls."""
        mtbf_h, mttr_h = self.mtbf.value, self.mttr.value
        of_mtbf, of_mttr = self.window.value
        return live(mtbf_h, mttr_h, of_mtbf * mtbf_h + of_mttr * mttr_h, lives=self.count.value,
                    starts_down=self.start.value, seed=self.seed)

    def draw(self) -> None:
        """Show the present settings."""
        self.picture.value = two_states_svg(self.lives)

    def draw_others(self) -> None:
        """Draw other lives with the same settings."""
        self.seed += 1
        self.draw()

    def keep(self) -> None:
        """Write the picture into the working folder, never over one that is there."""
        count = 1
        while (path := Path.cwd() / f"two-states-{count}.svg").exists():
            count += 1
        part = path.with_suffix(".part")
        part.write_text(two_states_svg(self.lives, standalone=True), encoding="utf-8")
        os.replace(part, path)
        self.kept.value = f"<p>Kept: {path.name}, beside this notebook.</p>"

    def state_text(self) -> str:
        """Return what the picture shows, as text."""
        return two_states_text(self.lives)

    def still_picture(self) -> tuple[str, str]:
        """Return the picture as SVG text that stands alone, and its alternative text."""
        return two_states_svg(self.lives, standalone=True), two_states_alt_text(self.lives)


def two_states_panel(*, task: str = TASK, mtbf_h: float = 100.0, mttr_h: float = 10.0,
                     seed: int = 1) -> TwoStatesPanel:
    """Open the panel "two states in time".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    mtbf_h, mttr_h : float
        Where the controls stand first, hours; MTBF 1 to 100 000, MTTR 0.5 to 100.
    seed : int
        Seed of the first lives.

    Returns
    -------
    TwoStatesPanel
        As the last value of a cell it shows itself.

    Examples
    --------
    >>> two_states_panel(task="Look.").text().splitlines()[0]
    'Task: Look.'
    """
    return TwoStatesPanel(task, mtbf_h=mtbf_h, mttr_h=mttr_h, seed=seed)
