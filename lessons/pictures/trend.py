"""The level of the header tank in time, with its limits and the tank beside it, as SVG text.

A pure function of the record; the tank and the curve share one scale, so that a glance from one
to the other needs no reading.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lessons.pictures.charts import nice_step, ticks_below, ticks_beside, ticks_of
from lessons.pictures.svg import document, line, rectangle, text, text_width

if TYPE_CHECKING:
    from labkit.rig.rig import RigView
    from labkit.rig.tank import TankSettings

__all__ = ["Mark", "level_alt_text", "level_picture", "level_svg", "window_s"]

WIDTH = 900.0
HEIGHT = 172.0
LEFT, RIGHT, TOP, BOTTOM = 58.0, 718.0, 42.0, HEIGHT - 22
WINDOWS_S = (60, 120, 300, 600, 1800)
COLUMNS = 220


@dataclass(frozen=True)
class Mark:
    """Hold something that happened, to be marked on the time axis.

    Parameters
    ----------
    time_s : float
        When, in s.
    words : str
        What, in a few words.

    >>> Mark(12.0, "KF1: no power").words
    'KF1: no power'
    """

    time_s: float
    words: str


def window_s(now_s: float) -> tuple[float, float]:
    """Return the piece of time that the trend shows: all of it, or the last half hour.

    Parameters
    ----------
    now_s : float
        Time since the start, >= 0, in s.

    Returns
    -------
    (float, float)
        Beginning and end, in s.

    >>> window_s(0), window_s(61), window_s(2000)
    ((0.0, 60.0), (0.0, 120.0), (200.0, 2000.0))
    """
    for width in WINDOWS_S:
        if now_s <= width:
            return 0.0, float(width)
    return float(now_s - WINDOWS_S[-1]), float(now_s)


def _thinned(time_s: np.ndarray, level_m: np.ndarray) -> tuple[list[float], list[float]]:
    """Return at most a low and a high point for each column, so that no peak is lost."""
    size = -(-len(time_s) // COLUMNS)
    if size <= 2:
        return time_s.tolist(), level_m.tolist()
    whole = len(time_s) // size * size
    pieces = level_m[:whole].reshape(-1, size)
    starts = np.arange(0, whole, size)
    kept = np.concatenate([
        starts, starts + pieces.argmin(axis=1), starts + pieces.argmax(axis=1),
        np.arange(whole, len(time_s)),
    ])
    kept = np.unique(np.append(kept, len(time_s) - 1))
    return time_s[kept].tolist(), level_m[kept].tolist()


def level_alt_text(time_s: Sequence[float], level_m: Sequence[float], tank: TankSettings) -> str:
    """Say in at most 60 words what the level picture shows.

    Parameters
    ----------
    time_s, level_m : sequence of float
        The record, in s and m, oldest first; at least one point.
    tank : TankSettings
        Its limits are drawn.

    >>> from labkit.rig.tank import TankSettings
    >>> level_alt_text([0, 10], [1.2, 1.25], TankSettings())[:50]
    'Line chart of the level of the header tank [m] ove'
    """
    last, low, high = level_m[-1], float(np.min(level_m)), float(np.max(level_m))
    if high >= tank.overflow_m:
        point = "The tank has overflowed."
    elif low <= tank.low_trip_m:
        point = "The low trip has acted."
    else:
        point = "Neither overflow nor low trip was reached."
    return (
        f"Line chart of the level of the header tank [m] over time [s], {time_s[0]:.0f} to "
        f"{time_s[-1]:.0f} s. Now {last:.3f} m, lowest {low:.3f} m, highest {high:.3f} m; "
        f"set-point {tank.set_point_m:.2f} m, overflow {tank.overflow_m:.2f} m, low trip "
        f"{tank.low_trip_m:.2f} m. {point}"
    )


def level_svg(time_s: Sequence[float], level_m: Sequence[float], tank: TankSettings, *,
              opening: Sequence[float] | None = None, inflow_l_per_s: float | None = None,
              marks: Sequence[Mark] = (), name: str = "",
              beside: tuple[str, Sequence[float], Sequence[float]] | None = None,
              height: float = HEIGHT, standalone: bool = False) -> str:
    """Draw the level of the header tank in time, and the tank.

    Parameters
    ----------
    time_s, level_m : sequence of float
        The record, in s and m, oldest first; at least one point.
    tank : TankSettings
        Its limits are drawn.
    opening : sequence of float, optional
        Opening of the outlet valve, 0 to 1; the last one is written beside the tank.
    inflow_l_per_s : float, optional
        Present inflow, in L/s.
    marks : sequence of Mark
        What happened; marks outside the time shown are left out.
    name : str
        What the curve is, where another one stands beside it.
    beside : tuple of str, sequence and sequence of float, optional
        Name, time_s and level_m of another curve, drawn dashed.
    height : float
        Of the picture, whose width is 900.
    standalone : bool
        Whether the picture carries its own style, to stand in a file.

    Raises
    ------
    ValueError
        When there is no point, or the sequences differ in length.

    >>> from labkit.rig.tank import TankSettings
    >>> level_svg([0, 10], [1.2, 1.25], TankSettings()).count("<svg")
    1
    """
    if len(time_s) != len(level_m) or not len(time_s):
        raise ValueError(
            f"time_s and level_m must have one length >= 1, got {len(time_s)} and {len(level_m)}"
        )
    bottom = height - (HEIGHT - BOTTOM)
    start, end = window_s(time_s[-1])
    span = tank.overflow_m - tank.low_trip_m
    low, high = tank.low_trip_m - 0.15 * span, tank.overflow_m + 0.2 * span

    def x(t: float) -> float:
        return round(LEFT + (t - start) / (end - start) * (RIGHT - LEFT), 1)

    def y(level: float) -> float:
        inside = min(max(level, low), high)
        return round(bottom - (inside - low) / (high - low) * (bottom - TOP), 1)

    parts = [rectangle(LEFT, TOP, RIGHT - LEFT, bottom - TOP, "frame", 0)]
    parts += ticks_beside(((y(level), f"{level:.1f}")
                           for level in ticks_of(low, high, nice_step(high - low, 5))), LEFT, RIGHT)
    unit_s, unit = (60, "min") if end - start > 600 else (1, "s")
    step = nice_step((end - start) / unit_s, 6) * unit_s
    parts += ticks_below(((x(t), f"{t / unit_s:g}") for t in ticks_of(start, end, step)),
                         TOP, bottom)
    parts.append(text(6, bottom + 17, f"[{unit}]", "q", size=14))
    middle = (TOP + bottom) / 2
    parts.append(f'<g transform="rotate(-90 15 {middle:g})">'
                 + text(15, middle, "level [m]", "q", size=14, anchor="middle") + "</g>")

    for level, words, kind in ((tank.overflow_m, "overflow", "limit"),
                               (tank.low_trip_m, "low trip", "limit"),
                               (tank.set_point_m, "set-point", "aim")):
        parts.append(line([(LEFT, y(level)), (RIGHT, y(level))], kind))
        parts.append(text(RIGHT - 6, y(level) - 4, f"{words} {level:.2f} m", "q over", size=14,
                          anchor="end"))

    taken = [0.0, 0.0]
    flags: list[str] = []
    stems: list[str] = []
    heads: list[str] = []
    for mark in sorted(marks, key=lambda each: each.time_s):
        if not start <= mark.time_s <= end:
            continue
        at = x(mark.time_s)
        width = text_width(mark.words, 14)
        left = min(at + 5, RIGHT - width)
        row = next((row for row in (0, 1) if left >= taken[row]), None)
        top = TOP - 2 if row is None else TOP - 17 - 16 * row
        stems.append(f"M{at:g},{top:g}V{bottom:g}")
        heads.append(f"M{at - 5:g},{TOP - 8:g}h10l-5,8z")
        if row is not None:
            flags.append(text(left, TOP - 10 - 16 * row, mark.words, "f over", size=14))
            taken[row] = left + width + 8
    if stems:
        # One piece for all: after many switches they were most of the picture.
        parts.append(f'<path d="{"".join(stems)}" class="event"/>')
        parts.append(f'<path d="{"".join(heads)}" class="eventhead"/>')
    parts += flags

    times, levels = np.asarray(time_s, float), np.asarray(level_m, float)
    seen = times >= start
    curve = zip(*_thinned(times[seen], levels[seen]))
    if len(time_s) > 1:
        points = " ".join(f"{x(t):g},{y(h):g}" for t, h in curve)
        parts.append(f'<polyline points="{points}" class="curve"/>')
    if beside:
        words, other_s, other_m = beside
        others = zip(*_thinned(np.asarray(other_s, float), np.asarray(other_m, float)))
        parts.append(line([(x(t), y(h)) for t, h in others], "curve-2", 0))
        parts.append(text(LEFT + 12, bottom - 10, f"line: {name}; dashed: {words}", "b over"))
    now = level_m[-1]
    parts.append(f'<circle cx="{x(time_s[-1]):g}" cy="{y(now):g}" r="5" class="now"/>')

    left, width = RIGHT + 20, 62.0
    parts.append(rectangle(left, y(now), width, bottom - y(now), "water", 0))
    parts.append(line([(left, TOP), (left, bottom), (left + width, bottom), (left + width, TOP)],
                      "wall", 0))
    for level, kind in ((tank.overflow_m, "limit"), (tank.low_trip_m, "limit"),
                        (tank.set_point_m, "aim")):
        parts.append(line([(left, y(level)), (left + width, y(level))], kind))
    aside = left + width + 10
    parts.append(text(aside, 62, f"{now:.2f} m", "b", size=22))
    state = "overflows" if now >= tank.overflow_m else "too low" if now <= tank.low_trip_m \
        else "level"
    parts.append(text(aside, 80, state, "q" if state == "level" else "f b", size=14))
    if opening is not None:
        parts.append(text(aside, 110, f"valve {100 * opening[-1]:.0f} %", size=14))
    if inflow_l_per_s is not None:
        parts.append(text(aside, 130, f"in {inflow_l_per_s:.0f} L/s", size=14))
    return document(parts, WIDTH, height, level_alt_text(time_s, level_m, tank),
                    standalone=standalone)


def level_picture(view: RigView, **how) -> str:
    """Draw the level of a rig in time, with its faults as marks.

    Parameters
    ----------
    view : RigView
        State of the rig.
    **how
        Further arguments of `level_svg`.

    Returns
    -------
    str
        SVG text; empty for a plant without a tank.

    >>> from labkit.rig.rig import Rig
    >>> level_picture(Rig().view()).count("<svg")
    1
    """
    if view.trend is None or view.tank is None:
        return ""
    marks = [
        Mark(entry.time_ms / 1000, entry.who if entry.new == "on" else f"{entry.who} over")
        for entry in view.record if entry.what == "fault"
    ]
    return level_svg(view.trend.time_s, view.trend.level_m, view.tank, opening=view.trend.opening,
                     inflow_l_per_s=view.trend.inflow_l_per_s[-1], marks=marks, **how)
