"""Two actives: who leads, who writes the rack, and which value stands there."""

from __future__ import annotations

import ipywidgets as widgets

from labkit.rig.writers import (
    AFTER_MS,
    BEFORE_MS,
    RACK,
    SITUATIONS,
    VALUES,
    WritersRun,
    writers_run,
    writers_text,
)
from lessons.panels.frame import Panel
from lessons.pictures.svg import document, line, rectangle, text, text_width

__all__ = ["WritersPanel", "writers_alt_text", "writers_panel", "writers_svg"]

WIDTH, HEIGHT = 900.0, 424.0
LEFT, RIGHT, TOP, AXIS = 120.0, 880.0, 40.0, 338.0
ROLE_Y = {"KF1": 50.0, "KF2": 90.0}
WRITE_Y = {"KF1": 148.0, "KF2": 186.0}
VALUE_TOP, VALUE_BOTTOM = 248.0, 332.0
# Style of the bar and of the word in it.
ROLES = {"active": ("now", "back b"), "standby": ("card", ""), "loading": ("water", ""),
         "off": ("frame", "q"), "stopped": ("frame", "q")}
CLOCKS = 8

TASK = "Let the racks be asked, then not. Who leads, and who writes the rack?"


def _x(ms: float) -> float:
    return LEFT + (ms + BEFORE_MS) / (AFTER_MS + BEFORE_MS) * (RIGHT - LEFT)


def _value_y(percent: float) -> float:
    low, high = min(VALUES.values()) - 5, max(VALUES.values()) + 5
    return VALUE_BOTTOM - (percent - low) / (high - low) * (VALUE_BOTTOM - VALUE_TOP)


def writers_alt_text(run: WritersRun) -> str:
    """Say in at most 60 words what the picture shows.

    Parameters
    ----------
    run : WritersRun

    Returns
    -------
    str

    Examples
    --------
    >>> writers_alt_text(writers_run("sync cable cut"))[-76:]
    'Leading at the end: KF1. KF1 alone writes; longest gap between writes 40 ms.'
    """
    verdict = run.verdict
    return (
        f"Time bars from {BEFORE_MS} ms before to {AFTER_MS} ms after: roles of KF1 and KF2, "
        f"writes to rack {RACK}, value there. Situation: {run.situation}. Leading at the end: "
        f"{' and '.join(run.leaders) or 'nobody'}. {verdict[0].upper()}{verdict[1:]}."
    )


def writers_svg(run: WritersRun, *, standalone: bool = False) -> str:
    """Draw roles, writes and the value at the rack over the time.

    Parameters
    ----------
    run : WritersRun
    standalone : bool
        Whether the picture carries its own style, to stand in a file.

    Returns
    -------
    str
        SVG text.

    Examples
    --------
    >>> writers_svg(writers_run("no fault")).count("<svg")
    1
    """
    parts = [text(LEFT, 24, "Roles, and who writes the rack", "b", size=17)]
    for ms in range(-BEFORE_MS, AFTER_MS + 1, 100):
        parts.append(line([(_x(ms), TOP), (_x(ms), AXIS)], "grid"))
        parts.append(text(_x(ms), AXIS + 18, f"{ms}", "q", size=14, anchor="middle"))
    parts.append(text((LEFT + RIGHT) / 2, AXIS + 38, "ms after the fault", "q", size=14,
                      anchor="middle"))
    for unit, roles in run.roles.items():
        parts += _roles(unit, roles)
        parts += _writes(unit, [ms for ms, writer in run.writes if writer == unit])
    parts += _values(run)
    parts.append(line([(_x(0), TOP), (_x(0), AXIS)], "event"))
    good = len(run.writers) == 1
    words = f"{run.verdict[0].upper()}{run.verdict[1:]}."
    parts.append(text(20, HEIGHT - 14, words, "b" if good else "b f", size=17))
    return document(parts, WIDTH, HEIGHT, writers_alt_text(run), standalone=standalone)


def _roles(unit: str, roles: tuple[tuple[int, str], ...]) -> list[str]:
    y = ROLE_Y[unit]
    parts = [text(LEFT - 10, y + 19, unit, "b", anchor="end")]
    ends = [ms for ms, _ in roles[1:]] + [AFTER_MS]
    for (begin, role), end in zip(roles, ends, strict=True):
        left, width = _x(begin), _x(end) - _x(begin)
        if width <= 0:
            continue
        bar, word = ROLES[role]
        parts.append(rectangle(left, y, width, 27, bar, 0))
        if text_width(role, 15, bold=True) + 8 < width:
            parts.append(text(left + 8, y + 19, role, word))
    return parts


def _writes(unit: str, times: list[int]) -> list[str]:
    y = WRITE_Y[unit]
    parts = [text(LEFT - 10, y + 19, f"{unit} writes", anchor="end"),
             line([(LEFT, y + 27), (RIGHT, y + 27)], "grid")]
    for ms in times:
        # A bar for the first unit and a triangle for the second, so that no colour is needed.
        x = _x(ms)
        parts.append(
            rectangle(x - 2.5, y + 4, 5, 23, "now", 0) if unit == "KF1"
            else f'<path d="M{x:.1f},{y + 4:.1f}l7,23h-14z" class="eventhead"/>')
    return parts


def _values(run: WritersRun) -> list[str]:
    parts = [text(LEFT - 10, VALUE_TOP - 6, "outlet opens", anchor="end")]
    for unit, percent in VALUES.items():
        y = _value_y(percent)
        parts.append(line([(LEFT, y), (RIGHT, y)], "aim", 0))
        parts.append(text(LEFT - 10, y + 5, f"{percent:.0f} %, {unit}", "q", size=14,
                          anchor="end"))
    value = VALUES["KF1"]
    points = [(_x(-BEFORE_MS), _value_y(value))]
    for ms, unit in run.writes:
        points += [(_x(ms), _value_y(value)), (_x(ms), _value_y(VALUES[unit]))]
        value = VALUES[unit]
    end = next((ms for ms, state in run.outputs if state == "fail state"), AFTER_MS)
    points.append((_x(end), _value_y(value)))
    parts.append(line(points, "curve", 0))
    if end < AFTER_MS:
        parts.append(line([(_x(end), VALUE_TOP), (_x(end), AXIS)], "limit"))
        parts.append(text(_x(end) + 6, VALUE_TOP + 14, "fail state", "f b over"))
    return parts


class WritersPanel(Panel):
    """Show who leads and who writes, while the fault and the rules are changed.

    Parameters
    ----------
    task : str
        What the reader is to do.
    situation : str
        One of `labkit.rig.writers.SITUATIONS`.
    ask_racks : bool
        Whether the racks are asked at the start.

    Examples
    --------
    >>> panel = WritersPanel(TASK)
    >>> panel.ask.value = False
    >>> "50 times a second" in panel.picture.value
    True
    """

    def __init__(self, task: str = TASK, *, situation: str = "sync cable cut",
                 ask_racks: bool = True):
        labelled = {"description_width": "auto"}
        auto = widgets.Layout(width="auto", max_width="100%")
        self.situation = widgets.Dropdown(
            description="Fault at 0 ms", options=list(SITUATIONS), value=situation,
            style=labelled, layout=auto)
        self.ask = widgets.Checkbox(description="ask the racks first", value=ask_racks,
                                    indent=False,
                                    layout=widgets.Layout(width="auto", margin="2px 24px 2px 2px"))
        self.vote = widgets.Checkbox(description="third voter must agree", value=False,
                                     indent=False, layout=auto)
        self.phase = widgets.Dropdown(
            description="Clocks", options=[(f"draw {n}", n) for n in range(1, CLOCKS + 1)],
            value=1, style=labelled, layout=auto)
        self.picture = widgets.HTML()
        for control in (self.situation, self.ask, self.vote, self.phase):
            control.observe(self.guarded(lambda _: self.draw()), "value")
        rows = [widgets.HBox([self.situation, self.phase]), widgets.HBox([self.ask, self.vote])]
        for row in rows:
            row.layout.flex_flow = "row wrap"
        super().__init__(task, [*rows, self.picture])
        self.draw()

    def draw(self) -> None:
        """Run the situation once more, and show it."""
        self.run = writers_run(self.situation.value, ask_racks=self.ask.value,
                               third_vote=self.vote.value, seed=self.phase.value)
        self.picture.value = writers_svg(self.run)

    def state_text(self) -> str:
        """Return what the picture shows, as text."""
        return writers_text(self.run)

    def still_picture(self) -> tuple[str, str]:
        """Return the picture as SVG text that stands alone, and its alternative text."""
        return writers_svg(self.run, standalone=True), writers_alt_text(self.run)


def writers_panel(*, task: str = TASK, situation: str = "sync cable cut",
                  ask_racks: bool = True) -> WritersPanel:
    """Open the panel "two actives".

    Parameters
    ----------
    task : str
        What the reader is to do; it stands in the panel.
    situation : str
        One of `labkit.rig.writers.SITUATIONS`.
    ask_racks : bool
        Whether the racks are asked at the start.

    Returns
    -------
    WritersPanel
        As the last value of a cell it shows itself.

    Raises
    ------
    ValueError
        If there is no such situation.

    Examples
    --------
    >>> writers_panel(ask_racks=False).text().splitlines()[-1]
    'In short: both write by turns: the rack changes its writer 50 times a second.'
    """
    if situation not in SITUATIONS:
        raise ValueError(f"situation must be one of {', '.join(SITUATIONS)}; got {situation!r}")
    return WritersPanel(task, situation=situation, ask_racks=ask_racks)
